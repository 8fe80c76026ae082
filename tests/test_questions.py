"""The questions a maker asks around one batch, each answered by one call, with the figure or behaviour expected.

Figures marked "computed" follow from the cited formulas by hand; numbers of demo batches are invented.
"""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from tests.api.real import (
    PATHS,
    amounts,
    codes,
    example,
    examples,
    forecast,
    plan,
    post,
    reports,
    stabilise,
    taste,
    worked,
)

BASE: dict[str, Any] = {
    "name": "dry base",
    "volume": "20 L",
    "gravity": 0.998,
    "abv_percent": 6.6,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.3,
    "degassed": True,
    "residual_sugar": "2 g/L",
}


def test_06_how_much_honey_brings_a_dry_batch_to_1030() -> None:
    """Sugar takes 0.62 mL/g in solution (CRC Handbook 102nd ed., sucrose at 10 %: 10 g in 96.3 mL of 1.0381 g/mL), so
    honey of 17.2 % water takes 0.172/0.9982 + 0.828·0.62 = 0.686 mL/g, and 20 L of 0.998 take 2.16 kg (computed)."""
    found = plan({"lots": [BASE], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.03}, "units": "us"})
    assert found["predicted"]["gravity"]["value"] == pytest.approx(1.03, abs=1e-5)
    by_hand_g = 20000.0 * (1.030 - 0.998) * 0.9982 / (1.0 - 0.686 * 1.030 * 0.9982)
    assert amounts(found)["honey_average"] == pytest.approx(by_hand_g, rel=0.015)
    honey = next(a for a in found["amounts"] if a["name"] == "honey_average")
    assert "lb" in honey["amount_text"]
    assert found["predicted"]["volume"]["value"] > 21.0
    assert found["predicted"]["abv_percent"]["value"] == pytest.approx(
        6.6 * 20.0 / found["predicted"]["volume"]["value"], abs=0.03
    )


def test_07_match_a_remembered_label() -> None:
    """29 g sugar in 330 mL and 0.55 % acid are 87.9 g/L of sugar (computed) and 5.5 g per 100 g × SG of acid."""
    found = plan(example("solve_blend", "08"))
    assert found["outcome"] == "targets_met"
    assert found["predicted"]["sugar_g_per_l"]["value"] == pytest.approx(1000 * 29 / 330, rel=0.012)
    met = reports(found)
    assert "gravity" not in met  # a label says nothing of a gravity, which alcohol lowers
    assert all(t["met"] for t in met.values())
    assert found["cautions"]


def test_08_how_close_do_two_packs_come() -> None:
    body = copy.deepcopy(example("solve_blend", "02"))
    body["additions"] = [{"ingredient": "honey", "pack": "500 g", "max_packs": 2}]
    found = plan(body)
    assert found["outcome"] in ("targets_clash", "nearest_measurable")
    assert next(a["packs"] for a in found["amounts"] if a["name"] == "honey_average") == 2.0
    assert any("honey" in name for name in found["clash"]["conflict"])
    assert found["clash"]["relax"]
    assert found["clash"]["text"]


def test_09_a_notch_less_sweet_and_sharper() -> None:
    found = plan(example("solve_blend", "09"))
    (beside,) = found["compared"]
    steps = {d["property"]: d["steps"] for d in beside["differences"]}
    assert steps["sucrose_equivalent_g_per_l"] == pytest.approx(-1.0, abs=0.15)
    assert steps["titratable_acidity"] == pytest.approx(1.0, abs=0.15)


def test_10_overshot_to_1035_where_1028_was_wanted() -> None:
    """Diluting 24 L of 1.035 with a base of 0.998: volumes add, so x = 24 (1.035 - 1.028)/(1.028 - 0.998) = 5.6 L
    (computed)."""
    found = post(PATHS["correct_blend"], example("correct_blend", "10"))
    assert "5.6 L" in found["summary"]
    assert found["cannot_be_undone"]
    assert found["options"]


def test_11_too_sour_without_moving_the_sweetness() -> None:
    body = copy.deepcopy(example("correct_blend", "10"))
    body["fault"] = "too_sour"
    body["lots"] = [{**body["lots"][0], "titratable_acidity": "9 g/L tartaric", "ph": 3.1}]
    body["targets"] = {"titratable_acidity": "7 g/L tartaric"}
    found = post(PATHS["correct_blend"], body)
    told = json.dumps(found["options"])
    assert "bicarbonate" in told
    assert "sweet" in told


def test_12_which_targets_clash() -> None:
    found = plan(example("solve_blend", "03"))
    assert found["outcome"] == "targets_clash"
    assert found["proof"]["verdict"] == "proved_impossible"
    assert (
        set(found["clash"]["conflict"]) == {"abv_percent", "volume", "all 24 L of dry base"}
        or len(found["clash"]["conflict"]) == 3
    )
    # 24 L of 8.1 % carry 1.944 L of alcohol: 29.9 L at 6.5 % (computed)
    assert "29.9 L" in found["summary"]
    assert found["clash"]["relax"]


def test_13_the_trade_off_between_sugar_and_citrus() -> None:
    found = post(PATHS["trade_off"], example("trade_off", "01"))
    xs = [p["x"] for p in found["points"]]
    assert len(xs) >= 5
    assert xs == sorted(xs)
    assert found["ends"]


def test_14_what_if_a_litre_of_orange_juice_more() -> None:
    with_it = {"ingredient": "orange_juice_fresh", "amount": "1 L", "treatment": "pasteurised"}
    found = forecast(
        {
            "recipes": [
                {"name": "as it is", "lots": [BASE], "additions": [{"ingredient": "honey", "amount": "1 kg"}]},
                {
                    "name": "a litre more",
                    "lots": [BASE],
                    "additions": [{"ingredient": "honey", "amount": "1 kg"}, with_it],
                },
            ]
        }
    )
    before, after = found["recipes"]
    gained = after["predicted"]["volume"]["value"] - before["predicted"]["volume"]["value"]
    assert gained == pytest.approx(1.0, abs=0.01)
    changed = {d["property"] for d in after["differences"]}
    assert {"gravity", "abv_percent", "titratable_acidity", "citrus_percent"} <= changed


def test_16_sulfite_and_sorbate_at_6_percent() -> None:
    """The printed table of sorbate begins at 10 % vol: there is no dose to read, and nothing is extrapolated."""
    found = stabilise(
        {
            "volume_at_dosing": "20 L",
            "volume_at_packaging": "24 L",
            "ph": 3.3,
            "abv_percent": 6.5,
            "sugar_g_per_l": 80,
            "fermentation_finished": True,
        }
    )
    assert found["sorbic"]["published_mg_per_l"] is None
    assert not found["sorbic"]["inside_table"]
    assert found["alternatives"]
    assert found["so2"]["at_packaging"]["volume_l"] == pytest.approx(24.0)


def test_22_five_doses_scored() -> None:
    """Doses 0 to 40 scored 4.0 5.6 6.6 6.4 5.2: best 23.29, Fieller 21.7 to 25.4 (computed)."""
    doses = [
        {"dose": d, "scores": {"panel": s}} for d, s in zip((0, 10, 20, 30, 40), (4.0, 5.6, 6.6, 6.4, 5.2), strict=True)
    ]
    found = taste({"dose_unit": "g/L honey", "scale": "liking", "doses": doses})
    assert found["best"]["dose"] == pytest.approx(23.29, abs=0.005)
    assert found["best"]["low"] == pytest.approx(21.7, abs=0.05)
    assert found["best"]["high"] == pytest.approx(25.4, abs=0.05)


def test_23_can_they_tell_a_from_b() -> None:
    """ISO 4120: of 6 triangles 5 have to be right at 0.05."""
    found = taste({"difference_test": {"kind": "triangle", "n": 6, "correct": 4, "tasters": 6}})
    assert found["outcome"] == "no_difference_shown"
    assert "5 are needed" in found["summary"]
    assert "proves nothing" in found["summary"]


def must(body: dict[str, Any]) -> dict[str, Any]:
    return post(PATHS["plan_must"], body)


def read(body: dict[str, Any]) -> dict[str, Any]:
    return post(PATHS["interpret_readings"], body)


def package(body: dict[str, Any]) -> dict[str, Any]:
    return post(PATHS["plan_packaging"], body)


SWEET: dict[str, Any] = {"abv_percent": 6.5, "sugar_g_per_l": 100, "titratable_acidity": "6 g/L citric", "ph": 3.3}


def test_01_how_much_honey_and_water_for_five_gallons_at_1048() -> None:
    """3.013 kg of honey of 17.2 % water for 20 L (computed from ICUMSA sucrose): 2.852 kg for 5 US gal, 18.93 L."""
    found = must({"original_gravity": 1.048, "volume": "5 gal", "volume_is": "final"})
    assert amounts(found)["honey_average"] == pytest.approx(3013 * 18.927 / 20.0, rel=0.003)
    assert found["brix"]["value"] == pytest.approx(11.9, abs=0.05)
    assert found["original_gravity"]["value"] == pytest.approx(1.048, abs=2e-5)
    assert found["nitrogen"]["need_mg_per_l"] > 0.0
    assert "lb" in found["amounts"][0]["amount_text"]
    dry = must({"potential_abv_percent": 6.5, "volume": "5 gal", "volume_is": "final"})
    assert dry["ferment"]["abv_percent"]["value"] == pytest.approx(6.5, abs=0.02)
    assert 1.044 < dry["original_gravity"]["value"] < 1.049


def test_02_three_kilograms_of_honey_and_eighteen_litres() -> None:
    """The litre is the water's or the must's: five points of gravity lie between them (computed)."""
    asked = {"sources": [{"ingredient": "honey", "amount": "3 kg"}], "volume": "18 L"}
    as_water, as_must = (must({**asked, "volume_is": meaning}) for meaning in ("water_added", "final"))
    by_solids = 100.0 * 3.0 * 0.828 / (3.0 + 18.0 * 0.9982)
    assert as_water["brix"]["value"] == pytest.approx(by_solids, abs=0.15)
    assert as_must["original_gravity"]["value"] - as_water["original_gravity"]["value"] == pytest.approx(
        0.005, abs=0.001
    )
    ferment = as_water["ferment"]["abv_percent"]
    assert ferment["low"] < ferment["value"] < ferment["high"]
    assert as_must["rule_of_thumb"]["gravity"] == pytest.approx(1.0 + 0.292 * 3.0 / 18.0, abs=2e-4)
    assert as_must["rule_of_thumb"]["reason"]
    refused = post(PATHS["plan_must"], asked, 422)
    assert any("volume_is" in e["pointer"] for e in refused["errors"])


def test_03_how_much_nutrient_and_when() -> None:
    """0.9 mg/g × 125 g/L are 112 mg/L: 10.0 g of diammonium phosphate in 19 L, 21.2 % nitrogen (computed); a third of
    the sugar of 1.048 is gone at 1.031; 27 CFR 24.246 (2015): 0.96 g/L."""
    found = must(
        {
            "original_gravity": 1.048,
            "volume": "19 L",
            "volume_is": "final",
            "nitrogen": {"demand": "medium", "sources": [{"name": "diammonium phosphate"}]},
        }
    )
    grams = sum(feed["mass_g"] for feed in found["feeds"])
    assert grams == pytest.approx(10.0 * 0.9, rel=0.04)  # the yeast lives on the fermentable nine tenths
    assert found["ferment"]["sugar_break_gravity"] == pytest.approx(1.031, abs=0.001)
    assert {feed["stage"] for feed in found["feeds"]} == {"end of lag", "before one third of the sugar is gone"}
    limit = next(one for one in found["nitrogen"]["limits"] if "2015" in one["edition"])
    assert limit["limit_g_per_l"] == pytest.approx(0.96, abs=0.002)
    assert not limit["exceeded"]


def test_04_it_stopped_at_1004() -> None:
    """1.050 to 1.004: 6.0 % vol by mass balance; 131.25 × 0.046 = 6.04 (common practice, no source)."""
    found = read(example("interpret_readings", "01"))
    assert found["abv_percent"]["value"] == pytest.approx(131.25 * 0.046, abs=0.15)
    assert found["abv_percent"]["low"] < found["abv_percent"]["value"] < found["abv_percent"]["high"]
    assert found["sugar"]["sugar_g_per_l"]["value"] > 10.0
    assert found["sugar"]["possible_drop"]["value"] > 0.0
    assert found["fermentation"] == "steady"
    assert found["action"]


def test_05_how_strong_must_the_base_be() -> None:
    """6.0 % in 24 L of which 4 L are juice without alcohol: 6.0 × 24/20 = 7.20 % (computed, contraction aside)."""
    found = must(
        {
            "finished": {
                "base": {"name": "dry base"},
                "additions": [{"ingredient": "orange_juice_fresh", "amount": "4 L", "treatment": "pasteurised"}],
                "targets": {"abv_percent": 6.0, "volume": "24 L"},
            }
        }
    )
    assert found["base"]["abv_percent"] == pytest.approx(7.2, abs=0.03)
    assert found["base"]["original_gravity"] == pytest.approx(1.05, abs=0.002)
    assert found["shopping"]


def test_15_what_are_acidity_and_ph() -> None:
    """10.0 mL of 0.1 mol/L for 10 mL: 6.404 g/L as citric acid, 64.04 g a mole of protons; 7.504 as tartaric."""
    found = read(
        {"titration": {"naoh_ml": 10.0, "naoh_mol_per_l": 0.1, "sample_ml": 10, "end_point_ph": 8.2}, "ph": 3.3}
    )
    assert found["acidity"]["g_per_l_citric"]["value"] == pytest.approx(6.404, abs=0.005)
    assert found["acidity"]["g_per_l_tartaric"]["value"] == pytest.approx(7.504, abs=0.005)
    assert found["ph"]["low"] < 3.3 < found["ph"]["high"]


def test_17_is_it_fit_to_bottle() -> None:
    """100 g/L that ferment whole reach 53 bar at 40 °C (computed by Carroll 1991 and Regulation (EEC) 2676/90)."""
    found = package(
        {
            "drink": {**SWEET, "volume": "20 L"},
            "containers": [{"kind": "beer_bottle", "fill": "500 mL"}],
            "storage_temperature": "40 C",
        }
    )
    assert found["sealing"] == "do_not_seal"
    assert codes(found)["refermentable_sugar_no_hurdle"] == "stop"
    (held,) = found["fills"]
    assert held["pressure"]["full"]["pressure_bar"] == pytest.approx(53.0, rel=0.01)
    assert held["pressure"]["blockers"]
    told = json.dumps(found).lower()
    assert "is safe" not in told
    heated = package(
        {
            "drink": {**SWEET, "volume": "20 L"},
            "containers": [{"kind": "beer_bottle", "fill": "500 mL", "rated_pressure": "3 bar", "headspace": "5 %"}],
            "storage_temperature": "20 C",
            "heat": {"target_units": 100},
        }
    )
    assert "No blocker found by this check" in heated["fills"][0]["pressure"]["text"]
    assert "bar" in heated["fills"][0]["pressure"]["text"].split(";")[1]


def test_18_what_pressure_if_it_referments_or_warms_to_30() -> None:
    """8 g/L of hexose at 30 °C, 6.5 % vol, 100 g/L, headspace 4 %, 1 g/L of gas before: 4.2 bar; gas alone 0.9."""
    asked = {
        "abv_percent": 6.5,
        "sugar_g_per_l": 100,
        "fermentable_sugar_g_per_l": 8,
        "volume": "20 L",
    }
    found = package(
        {
            "drink": asked,
            "containers": [{"kind": "beer_bottle", "fill": "330 mL", "headspace": "4 %"}],
            "storage_temperature": "30 C",
            "gas": {"co2_g_per_l": 1.0},
        }
    )
    pressure = found["fills"][0]["pressure"]
    assert pressure["full"]["pressure_bar"] == pytest.approx(4.2, abs=0.05)
    assert pressure["baseline"]["pressure_bar"] == pytest.approx(0.9, abs=0.05)
    assert pressure["full"]["pressure_psi"] == pytest.approx(14.5038 * pressure["full"]["pressure_bar"], rel=1e-3)
    assert {round(row["temperature_c"]) for row in pressure["table"]} >= {4, 20, 30}


def test_19_how_long_to_pasteurise() -> None:
    """PU = t × 1.393^(T − 60) (Del Vecchio 1951, weak secondary source): 60 units take 11.4 min at 65 °C."""
    found = package(
        {
            "drink": {**SWEET, "volume": "20 L"},
            "containers": [{"kind": "beer_bottle", "fill": "330 mL", "headspace": "5 %"}],
            "heat": {"temperature": "65 C", "target_units": 60},
        }
    )
    assert found["heat"]["minutes"] == pytest.approx(11.4, abs=0.1)
    assert found["heat"]["headspace"]["gauge_bar"] is not None


@pytest.mark.parametrize(("volume", "counts"), [("25 L", (75, 50, 33)), ("20 L", (60, 40, 26)), ("4.5 L", (13, 9, 6))])
def test_20_how_many_bottles_after_losses(volume: str, counts: tuple[int, int, int]) -> None:
    """n = floor(V/fill) (arithmetic); a jar test of a fifth leaves four fifths of them."""
    for fill, count in zip(("330 mL", "500 mL", "750 mL"), counts, strict=True):
        asked = {"drink": {**SWEET, "volume": volume}, "containers": [{"kind": "bottle", "fill": fill}]}
        assert package(asked)["fills"][0]["count"] == count
    lost = package(
        {
            "drink": {**SWEET, "volume": "25 L"},
            "containers": [{"kind": "bottle", "fill": "500 mL"}],
            "losses": {"jar_test": {"layer": "36 mm", "height": "180 mm"}},
        }
    )
    assert lost["packaged_l"]["value"] == pytest.approx(20.0, abs=0.01)
    assert lost["fills"][0]["count"] == 40
    assert lost["needed_blend_l"] == pytest.approx(25.0, abs=0.02)


def test_21_what_keg_pressure() -> None:
    """2.0 volumes at 4 °C in 6.5 % vol and 90 g/L: 0.71 bar gauge, 10.3 psi; 0.3 bar left on a still keg at 4 °C gives
    3.01 g/L (computed by Carroll 1991 and Regulation (EEC) No 2676/90)."""
    keg = {"containers": [{"kind": "keg", "fill": "19 L"}], "drink": {**SWEET, "sugar_g_per_l": 90, "volume": "19 L"}}
    carbonated = package({**keg, "gas": {"volumes": 2.0, "temperature": "4 C"}, "intended": {"hurdles": ["cold"]}})
    assert carbonated["keg"]["gauge_bar"] == pytest.approx(0.71, abs=0.005)
    assert carbonated["keg"]["gauge_psi"] == pytest.approx(10.3, abs=0.05)
    still = package({**keg, "gas": {"still": True, "temperature": "4 C", "gauge": "0.3 bar"}})
    assert any(row["co2_g_per_l"] == pytest.approx(3.01, abs=0.01) for row in still["keg"]["left_under"])
    assert any("nitrogen" in way.lower() for way in still["keg"]["stays_still"])


def test_24_what_would_the_label_say() -> None:
    """5.5 % vol, 88 g/L sugar, 5.5 g/L acid in 330 mL: 222 kcal, 933 kJ, 29.0 g, 14.3 g of alcohol, 1.02 US drinks
    (computed by Regulation (EU) No 1169/2011, Annex XIV); 27 CFR 24.257 (2015): ± 0.75 below 7 %."""
    found = package(
        {
            "drink": {
                "abv_percent": 5.5,
                "sugar_g_per_l": 88,
                "titratable_acidity": "5.5 g/L citric",
                "volume": "20 L",
            },
            "containers": [{"kind": "beer_bottle", "fill": "330 mL"}],
            "market": "us",
            "serving": "330 mL",
        }
    )
    label = found["label"]
    serving = next(a for a in label["amounts"] if a["per"] == "serving")
    assert serving["energy_kcal"] == pytest.approx(222, abs=0.5)
    assert serving["energy_kj"] == pytest.approx(933, abs=0.5)
    assert serving["sugar_g"] == pytest.approx(29.0, abs=0.05)
    assert serving["ethanol_g"] == pytest.approx(14.3, abs=0.05)
    us = next(d for d in label["drinks"] if d["size"] == "us")
    assert us["per_serving"] == pytest.approx(1.02, abs=0.01)
    assert any(t["plus_minus_percent"] == 0.75 for t in label["strength"]["tolerances"])
    assert found["label_text"]


def test_25_hydrometer_and_refractometer_disagree_with_the_recipe() -> None:
    """Sugar 9 %, alcohol 4.8 % w/w and acid 0.5 % read 1.029 and 11.3 °Bx: 6.28 % vol by two equations, ± 0.48
    (computed by specific refraction)."""
    both = read({"hydrometer": 1.029, "refractometer": "11.3 Bx", "titratable_acidity": "0.5 % citric"})
    assert both["abv_percent"]["value"] == pytest.approx(6.28, abs=0.15)
    assert (both["abv_percent"]["high"] - both["abv_percent"]["low"]) / 2.0 == pytest.approx(0.48 * 1.645, rel=0.15)
    found = read(example("interpret_readings", "03"))
    assert found["mismatch"]["consistency"]["verdict"] == "inconsistent"
    assert "volume" in found["mismatch"]["consistency"]["culprits"][0]["what"]


def test_no_answer_calls_anything_safe() -> None:
    """Every answered example of every question: the word is only ever used to say that nothing was shown to be so."""
    for path in sorted(PATHS):
        for body in (worked(one)["response"]["body"] for one in examples(path)):
            told = json.dumps(body).lower()
            assert " is safe" not in told
            assert "safe to" not in told
