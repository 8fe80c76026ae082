"""Confidence and holding back as they are answered: what is told is what it says."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.api.real import PATHS, plan, post

B: dict[str, Any] = {
    "lots": [
        {
            "name": "base",
            "volume": "10 L",
            "gravity": 0.998,
            "abv_percent": 8.0,
            "titratable_acidity": "5 g/L tartaric",
            "ph": 3.4,
        }
    ],
    "additions": [
        {"ingredient": "honey_acacia", "max": "2 kg"},
        {"ingredient": "lemon_juice", "max": "1 L"},
        {"ingredient": "water", "max": "2 L"},
    ],
    "targets": {"gravity": 1.012, "titratable_acidity": "6.5 g/L tartaric"},
}


def asked(**changes: Any) -> dict[str, Any]:
    return plan({**copy.deepcopy(B), **changes})


def target(answer: dict[str, Any], name: str) -> dict[str, Any]:
    found: dict[str, Any] = next(t for t in answer["targets"] if t["property"] == name)
    return found


def first(answer: dict[str, Any]) -> dict[str, float]:
    return {a["name"]: a["mass_g"] for a in answer["first_addition"]["amounts"]}


# Confidence.


def test_a_range_that_is_met_surely_enough_is_met() -> None:
    """The doubt of both ends together counts, however it is shared: here nearly all of it lies at one end."""
    honey = [{"ingredient": "honey", "amount": "367 g"}]
    answer = asked(additions=honey, targets={"gravity": {"min": 1.008, "max": 1.03, "confidence": 0.9}})
    assert target(answer, "gravity")["chance"] > 0.9
    assert (answer["outcome"], target(answer, "gravity")["met"]) == ("targets_met", True)


def test_the_least_that_is_sure_enough_is_added() -> None:
    answer = asked(
        additions=[{"ingredient": "honey"}], targets={"gravity": {"min": 1.008, "max": 1.03, "confidence": 0.9}}
    )
    assert target(answer, "gravity")["chance"] == pytest.approx(0.9, abs=1e-3)
    assert answer["proof"]["verdict"] == "best_found"


def test_what_a_clash_says_to_accept_is_accepted() -> None:
    """What would have to be written, margin and all."""
    honey = [{"ingredient": "honey", "max": "100 g"}]
    answer = asked(additions=honey, targets={"gravity": {"min": 1.01, "confidence": 0.95}})
    assert answer["outcome"] == "targets_clash"
    relaxed = next(r for r in answer["clash"]["relax"] if r["member"] == "gravity")
    assert relaxed["proved"] is False
    assert f"accept {relaxed['to']} to be as sure of it" in answer["clash"]["text"]
    for less, met in ((2e-5, True), (-2e-4, False)):
        minimum = {"min": relaxed["value"] - less, "confidence": 0.95}
        assert (asked(additions=honey, targets={"gravity": minimum})["outcome"] == "targets_met") is met


def test_a_target_of_a_clash_that_is_sure_enough_is_met() -> None:
    targets = {
        "gravity": {"min": 1.012, "confidence": 0.95, "priority": 1},
        "abv_percent": {"min": 7.9, "confidence": 0.9, "priority": 2},
    }
    answer = asked(targets=targets)
    assert answer["outcome"] == "targets_clash"
    assert (target(answer, "gravity")["met"], target(answer, "abv_percent")["met"]) == (True, False)


def test_chances_are_those_of_the_simulated_drinks() -> None:
    """A quantile and a chance of one answer belong together."""
    lot = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
    answer = asked(
        lots=[lot],
        additions=[{"ingredient": "honey"}],
        targets={"sugar_acid_ratio": {"max": 40}, "gravity": 1.01},
        draws=20_000,
        seed=1,
    )
    high = answer["predicted"]["sugar_acid_ratio"]["high"]
    assert high > 40.0
    assert target(answer, "sugar_acid_ratio")["chance"] < 0.95


# Holding back.


def test_a_carbonate_does_not_go_in_before_its_acid() -> None:
    lot = {**B["lots"][0], "volume": "20 L", "titratable_acidity": "4 g/L tartaric"}
    answer = asked(
        lots=[lot],
        additions=[
            {"ingredient": "lemon_juice", "max": "3 L"},
            {"ingredient": "potassium_bicarbonate", "max": "200 g"},
            {"ingredient": "honey"},
        ],
        targets={
            "titratable_acidity": {"min": "6.5 g/L tartaric", "max": "6.7 g/L tartaric"},
            "ph": {"min": 3.3, "max": 3.7},
            "gravity": 1.01,
        },
        hold_back="5 %",
    )
    whole, now = {a["name"]: a["mass_g"] for a in answer["amounts"]}, first(answer)
    assert 0.0 < now["lemon_juice_fresh"] < whole["lemon_juice_fresh"]
    shares = {name: now[name] / whole[name] for name in ("lemon_juice_fresh", "potassium_bicarbonate")}
    assert shares["potassium_bicarbonate"] <= shares["lemon_juice_fresh"] + 0.1
    assert 3.3 < answer["first_addition"]["predicted"]["ph"]["value"] < 3.7
    ends = {(o["property"], o["end"]) for o in answer["first_addition"]["overshoot"]}
    assert {("ph", "upper"), ("ph", "lower"), ("gravity", "upper"), ("titratable_acidity", "upper")} == ends
    assert sum(o["chance"] for o in answer["first_addition"]["overshoot"]) <= 0.05 + 1e-3


def test_a_lot_that_is_blended_in_is_held_back_too() -> None:
    lots = [
        {"name": name, "volume": "5 L", "gravity": gravity, "abv_percent": 8, "use": {"min": "0 L", "max": "5 L"}}
        for name, gravity in (("dry", 0.998), ("sweet", 1.05))
    ]
    answer = asked(lots=lots, additions=[], targets={"gravity": 1.012}, hold_back=0.05)
    whole = {a["name"]: a["mass_g"] for a in answer["amounts"]}
    assert first(answer)["dry"] == whole["dry"]
    assert 0.0 < first(answer)["sweet"] < whole["sweet"]
    assert [a["lot"] for a in answer["first_addition"]["added"]] == ["dry", "sweet"]


def test_honey_is_held_back_from_water() -> None:
    answer = asked(
        lots=[],
        additions=[{"ingredient": "honey"}, {"ingredient": "water"}],
        targets={"gravity": 1.04, "volume": "10 L"},
        hold_back=0.05,
    )
    whole = {a["name"]: a["mass_g"] for a in answer["amounts"]}
    assert first(answer)["water_tap"] == pytest.approx(whole["water_tap"])
    assert 0.0 < first(answer)["honey_average"] < whole["honey_average"]


def test_what_to_measure_next_is_what_the_first_addition_gives() -> None:
    answer = asked(hold_back=0.05)
    expected = next(r for r in answer["next_reading"] if r["unit"] == "SG/20" or r["unit"] == "SG 20/20")
    assert expected["expect"] == pytest.approx(answer["first_addition"]["predicted"]["gravity"]["value"], abs=1e-4)
    assert expected["expect"] < answer["predicted"]["gravity"]["value"]


def test_a_first_addition_speaks_the_callers_units() -> None:
    answer = asked(hold_back=0.05, units="us")
    text = answer["first_addition"]["text"]
    assert " oz" in text
    assert "honey_acacia" not in text
    assert " g of" not in text


# From a plan to its correction.


def test_a_correction_takes_the_request_of_the_plan() -> None:
    """The same request, `hold_back` and all, with the first addition as it was told and a reading."""
    request = {**copy.deepcopy(B), "hold_back": "5 %"}
    held = plan(request)["first_addition"]
    reading = {"gravity": 1.0106, "titratable_acidity": "6.2 g/L tartaric", "ph": 3.3, "volume": "10.4 L"}
    answer = post(PATHS["correct_blend"], {**request, "added": held["added"], "measured": reading})
    now = answer["plan"]["first_addition"]
    assert {a["ingredient"] for a in now["added"]} <= {"honey_acacia", "lemon_juice_fresh", "water_tap"}
    first = {a["name"]: a["mass_g"] for a in now["amounts"]}
    call = answer["next"]["correct_blend"]["request"]
    following = {a["ingredient"]: float(a["amount"].split()[0]) for a in call["added"]}
    assert following["honey_acacia"] == pytest.approx(first["honey_acacia"])
    assert " first." in answer["summary"]
    again = post(PATHS["correct_blend"], {**call, "measured": {"gravity": 1.0115}})
    assert again["consistency"]["verdict"] == "consistent"


def test_what_was_poured_has_to_be_said() -> None:
    reading = {"gravity": 1.0106}
    refused = post(PATHS["correct_blend"], {**B, "measured": reading}, 422)
    assert [e["pointer"] for e in refused["errors"]] == ["/added"]
    assert post(PATHS["correct_blend"], {**B, "added": [], "measured": {"gravity": 0.998}})["plan"]


def test_ways_out_of_a_fault_are_not_held_back() -> None:
    refused = post(PATHS["correct_blend"], {**B, "fault": "too_sweet", "hold_back": 0.05}, 422)
    assert [e["pointer"] for e in refused["errors"]] == ["/hold_back"]
