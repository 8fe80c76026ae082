"""The work of a blend in order. Ways and waits are common practice, no source: checked is that they stand in order."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from service.planner.blend_steps import HAZE_H, MIXED_H
from service.planner.stabilising.blocks import LEAST_DAYS
from service.planner.stabilising.steps import SETTLE_H
from tests.api.real import BASE, PATHS, example, plan, post

EVERYTHING: dict[str, Any] = {
    "lots": [
        {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 9.0, "titratable_acidity": "5 g/L tartaric"}
    ],
    "additions": [
        {"ingredient": "potassium_bicarbonate", "amount": "2 g"},
        {"ingredient": "tartaric_acid", "amount": "5 g"},
        {"ingredient": "honey_acacia", "amount": "200 g"},
        {"ingredient": "sugar_white", "amount": "100 g"},
        {"ingredient": "orange_juice_concentrate_frozen", "amount": "300 g"},
        {"ingredient": "lemon_juice_fresh", "amount": "200 mL", "treatment": "pasteurised"},
        {"ingredient": "neutral_spirit_40", "amount": "100 mL"},
        {"ingredient": "water_deionised", "amount": "500 mL"},
    ],
    "targets": {"volume": {"min": "1 L"}},
}
IN_ORDER = (
    "Add water", "neutral spirit", "lemon juice", "orange concentrate", "white sugar", "acacia honey", "tartaric acid",
    "potassium bicarbonate",
)  # fmt: skip


def steps(body: dict[str, Any]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = plan(body)["steps"]
    return found


def place(found: list[dict[str, Any]], words: str) -> int:
    """Where the one step stands that speaks so."""
    (at,) = (k for k, step in enumerate(found) if words in step["do"])
    return at


def with_(**change: Any) -> dict[str, Any]:
    return {**copy.deepcopy(BASE), **change}


def test_thin_goes_in_before_thick_and_acids_and_carbonates_last() -> None:
    answer = plan(EVERYTHING)
    found = answer["steps"]
    places = [place(found, name) for name in IN_ORDER]
    assert places == sorted(places)
    texts = {a["name"]: a["amount_text"] for a in answer["amounts"]}
    measured = [step["amount_text"] for step in found if step["amount_text"]]
    assert sorted(measured) == sorted(texts.values())
    assert place(found, "Stir slowly") > places[-1]
    assert "never boiled" in found[place(found, "acacia honey")]["do"]
    for name in ("tartaric acid", "potassium bicarbonate"):
        assert "protect the eyes" in found[place(found, name)]["do"]
    assert "flames" in found[place(found, "neutral spirit")]["do"]
    assert all(step["source_id"] == "common_practice" for step in found)


def test_the_ferment_rests_before_anything_goes_in() -> None:
    found = steps(BASE)
    assert (place(found, "Read the gravity of base again"), found[1]["wait_min_h"]) == (1, 24.0 * LEAST_DAYS)
    assert place(found, "Rack base") < place(found, "Pour base") < place(found, "acacia honey")
    assert place(found, "Degas it") < place(found, "acacia honey")
    racked = with_(lots=[{**BASE["lots"][0], "on_lees": False, "degassed": True}])
    assert not any(word in step["do"] for step in steps(racked) for word in ("Rack", "Degas it"))
    juice = {"name": "juice", "volume": "2 L", "gravity": 1.045, "abv_percent": 0, "class": "citrus_juice"}
    assert not any("gravity of" in step["do"] for step in steps(with_(lots=[juice], additions=BASE["additions"])))


def test_salts_go_in_before_the_sweetness_and_have_their_time() -> None:
    found = steps(with_(intended={"hurdles": ["sulfite", "sorbate"]}))
    dosed = place(found, "Stabilise the ferment")
    honey = place(found, "acacia honey")
    assert dosed < honey
    assert found[honey]["wait_min_h"] == SETTLE_H
    unsalted = steps(with_(intended={"hurdles": ["pasteurised"]}))
    assert not any("Stabilise" in step["do"] for step in unsalted)
    assert unsalted[place(unsalted, "acacia honey")]["wait_min_h"] == 0.0


def test_what_is_expected_stands_in_the_check() -> None:
    answer = plan(BASE)
    found = answer["steps"]
    reading = found[place(found, "degas a sample and read it")]
    assert reading["wait_min_h"] == MIXED_H
    for expected in answer["next_reading"]:
        if expected["expect"] is not None:
            assert f"{expected['expect']:g} {expected['unit']} ({expected['low']:g}" in reading["check"]
    us = plan(with_(units="us"))
    check = us["steps"][place(us["steps"], "degas a sample and read it")]["check"]
    assert " gal (" in check
    assert " L (" not in check


def test_only_pulp_is_waited_for_in_the_cold() -> None:
    assert not any("pulp" in step["do"] for step in steps(BASE))
    found = steps(EVERYTHING)
    assert found[-1]["wait_min_h"] == HAZE_H
    assert "48 to 72 h" in found[-1]["do"]


def test_juice_that_is_not_heated_is_heated_first() -> None:
    raw = copy.deepcopy(EVERYTHING)
    raw["additions"][5]["treatment"] = "raw"
    assert "Heat-treat" in steps(raw)[place(steps(raw), "lemon juice")]["do"]
    assert "pasteurised and cooled" in steps(EVERYTHING)[place(steps(EVERYTHING), "lemon juice")]["do"]


def test_a_stop_comes_before_all_work() -> None:
    sealed = with_(intended={"container": "bottle"})
    answer = plan(sealed)
    assert answer["cautions"][0]["level"] == "stop"
    assert "marked stop" in answer["steps"][0]["do"]
    assert not any("marked stop" in step["do"] for step in steps(BASE))


def test_several_drinks_rest_once_and_are_poured_each() -> None:
    body = example("solve_blend", "07")
    answer = plan(body)
    found = answer["steps"]
    assert sum(step["wait_min_h"] == SETTLE_H for step in found) == 1
    assert place(found, "Read the gravity of dry base again") == 1
    names = [portion["name"] for portion in body["portions"]]
    ordered = [next(k for k, step in enumerate(found) if step["do"].startswith(f"{name}: ")) for name in names]
    assert ordered == sorted(ordered)
    for name in names:
        assert f"{name} " in found[-1]["check"]
    assert answer["next"] == {}


def test_what_is_in_the_vessel_is_not_poured_again() -> None:
    body = {**copy.deepcopy(BASE), "added": [{"ingredient": "honey_acacia", "amount": "100 g"}]}
    answer = post(PATHS["correct_blend"], {**body, "measured": {"gravity": 1.0015}})
    found = answer["steps"]
    assert not any(word in step["do"] for step in found for word in ("Rack", "gravity of", "mixing vessel"))
    honey = found[place(found, "acacia honey")]
    assert honey["amount_text"] == next(
        a["amount_text"] for a in answer["plan"]["amounts"] if a["name"] == "honey_acacia"
    )
    assert answer["plan"]["steps"] == []
    there = post(
        PATHS["correct_blend"], {**body, "measured": {"gravity": 1.0015}, "targets": {"gravity": {"min": 1.0}}}
    )
    assert there["outcome"] == "nothing_to_add"
    assert [step["do"] for step in there["steps"]] == ["Leave it as it is: every target is met."]


def test_targets_that_are_passed_are_decided_upon_first() -> None:
    body = {**copy.deepcopy(BASE), "added": [{"ingredient": "honey_acacia", "amount": "900 g"}]}
    answer = post(PATHS["correct_blend"], {**body, "measured": {"gravity": 1.028}})
    assert answer["outcome"] == "targets_clash"
    assert answer["steps"][0]["do"].startswith("Decide first")


@pytest.mark.parametrize(("fault", "amounts"), [("too_sweet", True), ("over_sulfited", False), ("haze_lost", False)])
def test_the_work_of_a_fault_is_that_of_its_first_way_out(fault: str, amounts: bool) -> None:
    body: dict[str, Any] = {"fault": fault}
    if amounts:
        body = example("correct_blend", "10")
    answer = post(PATHS["correct_blend"], body)
    best = answer["options"][0]
    found = answer["steps"]
    if not amounts:
        assert "ask again with it" in found[0]["do"]
        assert answer["next"] == {}
        return
    assert "in a glass" in found[0]["do"]
    worked = found[place(found, best["do"])]
    assert worked["source_id"] == best["source_id"]
    assert all(amount["amount_text"] in worked["amount_text"] for amount in best["amounts"])
    assert {"plan_packaging", "plan_fining"} <= set(answer["next"])
