"""What becomes of targets: met, missed by the scale, impossible; and what a small change of one would cost."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

import pytest

from service.planner.plain_words import plain_names
from tests.api.real import amounts, changed, example, forecast, plan, post, reports

LOT = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0, "titratable_acidity": "5 g/L tartaric"}


def ask(additions: list[dict[str, Any]], targets: dict[str, Any], **more: Any) -> dict[str, Any]:
    return plan({"lots": [LOT], "additions": additions, "targets": targets, **more})


# Targets: exact, range, near a value.


def test_an_exact_target_is_hit_at_the_value() -> None:
    answer = ask([{"ingredient": "honey"}], {"gravity": 1.012})
    report = reports(answer)["gravity"]
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    assert report["reached"] == 1.012
    assert (report["asked"], report["miss"], report["met"], report["binding"]) == ("1.012", 0.0, True, True)


@pytest.mark.parametrize(
    ("range_", "reached"),
    [
        ({"min": 1.010, "max": 1.014}, 1.010),  # least added mass: the near end
        ({"min": 1.012}, 1.012),
        ({"max": 1.014}, 0.998),  # nothing has to be added
    ],
)
def test_a_range_is_met_with_the_least_added_mass(range_: dict[str, float], reached: float) -> None:
    answer = ask([{"ingredient": "honey"}], {"gravity": range_})
    assert answer["outcome"] == "targets_met"
    assert reports(answer)["gravity"]["reached"] == pytest.approx(reached, abs=1e-5)


def test_a_range_is_used_to_its_end_by_a_preference() -> None:
    answer = ask(
        [{"ingredient": "honey"}], {"gravity": {"min": 1.010, "max": 1.014}}, prefer=[{"maximise": "sugar_g_per_l"}]
    )
    assert reports(answer)["gravity"]["reached"] == pytest.approx(1.014, abs=1e-5)


def test_nearness_to_a_value_comes_before_the_preference() -> None:
    target = {"value": 1.012, "tolerance": 0.003}
    answer = ask([{"ingredient": "honey"}], {"gravity": target}, prefer=[{"maximise": "sugar_g_per_l"}])
    assert reports(answer)["gravity"]["reached"] == pytest.approx(1.012, abs=1e-5)
    assert reports(answer)["gravity"]["asked"] == "1.012 ± 0.003"


def test_a_value_out_of_reach_is_approached_inside_its_tolerance() -> None:
    answer = ask([{"ingredient": "honey", "max": "400 g"}], {"gravity": {"value": 1.012, "tolerance": 0.003}})
    report = reports(answer)["gravity"]
    assert amounts(answer)["honey_average"] == pytest.approx(400.0)
    assert answer["outcome"] == "targets_met"
    assert report["met"]
    assert 1.009 <= report["reached"] < 1.012


def test_an_exact_target_counts_as_met_within_half_an_instrument_step() -> None:
    full = amounts(ask([{"ingredient": "honey"}], {"gravity": 1.012}))["honey_average"]
    just = ask([{"ingredient": "honey", "max": f"{full * 0.98:.3f} g"}], {"gravity": 1.012})  # 0.0003 short
    assert just["outcome"] == "targets_met"
    assert reports(just)["gravity"]["reached"] == pytest.approx(1.0117, abs=1e-4)
    short = ask([{"ingredient": "honey", "max": f"{full * 0.95:.3f} g"}], {"gravity": 1.012})  # 0.0007 short
    assert (short["outcome"], short["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    assert reports(short)["gravity"]["miss"] == pytest.approx(1.012 - reports(short)["gravity"]["reached"], abs=2e-5)


# Clashes and priorities.


def test_a_clash_is_proved_and_the_first_priority_kept() -> None:
    request = example("solve_blend", "03")
    answer = plan(request)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    found = reports(answer)
    assert found["abv_percent"]["met"]
    assert found["abv_percent"]["reached"] == pytest.approx(6.5, abs=1e-3)
    assert not found["volume"]["met"]
    # 24 L at 8.1 % vol hold 194.4 parts of alcohol: 6.5 % vol of them are 29.91 L
    assert found["volume"]["reached"] == pytest.approx(24 * 8.1 / 6.5, abs=0.01)
    assert found["volume"]["miss"] == pytest.approx(31.0 - 24 * 8.1 / 6.5, abs=0.01)
    assert answer["amounts"]
    assert "Proved" in answer["summary"]
    assert "31 L" in answer["summary"]
    assert all(report["marginal"] is None for report in found.values())


def test_priorities_decide_which_target_yields() -> None:
    request = example("solve_blend", "03")
    swapped = changed("targets", "abv_percent", to={"min": 6.5, "priority": 2}, body=request)
    swapped = changed("targets", "volume", to={"min": "31 L", "priority": 1}, body=swapped)
    found = reports(plan(swapped))
    assert found["volume"]["met"]
    assert not found["abv_percent"]["met"]
    assert found["abv_percent"]["reached"] == pytest.approx(24 * 8.1 / 31.0, abs=0.01)


def test_an_impossible_priority_does_not_give_up_the_next() -> None:
    answer = ask(
        [{"ingredient": "honey", "max": "1 kg"}],
        {"abv_percent": {"min": 9.0, "priority": 1}, "gravity": {"min": 1.005, "priority": 2}},
    )
    found = reports(answer)
    assert answer["outcome"] == "targets_clash"
    assert found["abv_percent"]["reached"] == pytest.approx(8.0, abs=1e-3)  # nothing dilutes it
    assert found["gravity"]["reached"] == pytest.approx(0.998, abs=1e-4)


def test_a_blend_without_a_choice_that_misses_is_a_proved_clash() -> None:
    answer = ask([{"ingredient": "honey", "amount": "1 kg"}], {"gravity": 1.012})
    assert reports(answer)["gravity"]["reached"] == pytest.approx(1.0278, abs=5e-4)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")


def test_a_blend_without_a_choice_that_fits_is_met() -> None:
    answer = ask([{"ingredient": "honey", "amount": "1 kg"}], {"gravity": {"min": 1.02, "max": 1.04}})
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")


# Rounding.


def test_a_coarse_scale_misses_what_could_be_measured_exactly() -> None:
    request = {"rounding": "scale", "instruments": {"scale": {"step": "250 g"}}}
    answer = ask([{"ingredient": "honey"}], {"gravity": 1.0125}, **request)
    assert answer["outcome"] == "nearest_measurable"
    assert answer["proof"]["verdict"] == "proved_best"
    assert amounts(answer)["honey_average"] == 500.0
    report = reports(answer)["gravity"]
    assert not report["met"]
    assert report["miss"] == pytest.approx(report["reached"] - 1.0125, abs=2e-5)
    assert "scale" in answer["summary"]
    # the prediction is of the rounded amount
    recipe = {"name": "r", "lots": [LOT], "additions": [{"ingredient": "honey", "amount": "500 g"}]}
    told = forecast({"recipes": [recipe], "instruments": request["instruments"]})["recipes"][0]
    assert told["predicted"] == answer["predicted"]


def test_a_fine_scale_meets_the_target() -> None:
    answer = ask([{"ingredient": "honey"}], {"gravity": 1.0125}, rounding="scale")
    assert answer["outcome"] == "targets_met"
    mass = amounts(answer)["honey_average"]
    assert mass == round(mass)
    exact = amounts(ask([{"ingredient": "honey"}], {"gravity": 1.0125}))["honey_average"]
    assert abs(mass - exact) <= 0.5


def test_rounding_stays_inside_the_limits() -> None:
    additions = [{"ingredient": "honey", "max": "449 g"}, {"ingredient": "citric_acid", "min": "3 g", "max": "14 g"}]
    steps = {"rounding": "scale", "instruments": {"scale": {"step": "10 g"}}}
    found = amounts(ask(additions, {"gravity": {"min": 1.008}}, prefer=[{"maximise": "brix"}], **steps))
    assert found["honey_average"] == 440.0
    assert found["citric_acid_anhydrous"] == 10.0
    least = amounts(ask(additions, {"gravity": {"min": 1.0}}, **steps))
    assert least["citric_acid_anhydrous"] == 10.0
    # a step that does not fit between the limits at all leaves the amount inside them
    narrow = [{"ingredient": "citric_acid", "min": "3 g", "max": "7 g"}, {"ingredient": "honey"}]
    answer = ask(narrow, {"gravity": 1.012}, **steps)
    assert 3.0 <= amounts(answer)["citric_acid_anhydrous"] <= 7.0
    assert "no_step_within_limits" in [caution["code"] for caution in answer["cautions"]]


# What holds the plan, and what it costs to move it.

_CHANGE = re.compile(r"([+−])([\d.]+) (g|kg) ([a-z ]+)")


def _changes(marginal: str, names: Iterable[str]) -> dict[str, float]:
    ids = {plain: name for name, plain in plain_names(list(names)).items()}
    found = {}
    for sign, number, unit, name in _CHANGE.findall(marginal):
        found[ids[name]] = (1.0 if sign == "+" else -1.0) * float(number) * (1000.0 if unit == "kg" else 1.0)
    return found


MARGINAL_REQUEST: dict[str, Any] = {
    "lots": [{**LOT, "volume": "100 L"}],
    "additions": [
        {"ingredient": "honey_acacia"},
        {"ingredient": "lemon_juice_fresh", "max": "20 L"},
        {"ingredient": "water_deionised"},
    ],
    "targets": {
        "gravity": 1.012,
        "abv_percent": {"min": 6.5, "max": 7.0},
        "titratable_acidity": "6.5 g/L tartaric",
    },
}


@pytest.mark.parametrize(
    ("name", "shifted"),
    [
        ("gravity", 1.013),
        ("abv_percent", {"min": 6.6, "max": 7.1}),
        ("titratable_acidity", "6.6 g/L tartaric"),
    ],
)
def test_a_marginal_is_what_solving_again_gives(name: str, shifted: Any) -> None:
    before = plan(MARGINAL_REQUEST)
    after = plan(changed("targets", name, to=shifted, body=MARGINAL_REQUEST))
    report = reports(before)[name]
    assert report["binding"]
    marginal = next(m for m in before["marginals"] if m["of"] == name)
    moved = {"gravity": 0.001, "abv_percent": 0.1, "titratable_acidity": 0.1}[name] / marginal["step"]
    told = {change["name"]: change["mass_g"] * moved for change in marginal["amounts"]}
    assert set(_changes(report["marginal"], amounts(before))) <= set(told)
    masses = amounts(before), amounts(after)
    largest = max(abs(mass) for mass in told.values())
    for material, mass in told.items():
        assert masses[1][material] - masses[0][material] == pytest.approx(mass, rel=0.05, abs=0.01 * largest)
    for material in masses[0]:
        if material not in told:
            assert masses[1][material] == pytest.approx(masses[0][material], abs=0.06 * largest)


def test_what_does_not_hold_the_plan_has_no_price() -> None:
    found = reports(ask([{"ingredient": "honey"}], {"gravity": 1.012, "abv_percent": {"min": 5.0}}))
    assert found["gravity"]["binding"]
    assert not found["abv_percent"]["binding"]
    assert found["abv_percent"]["marginal"] is None


# Preferences.


def test_preferences_are_lexicographic() -> None:
    additions = [
        {"ingredient": "lemon_juice_fresh", "max": "300 g"},
        {"ingredient": "honey", "max": "1 kg"},
        {"ingredient": "sugar_white", "max": "1 kg"},
    ]
    targets = {"gravity": {"min": 1.010, "max": 1.020}}
    citrus = {"maximise": "citrus_percent"}
    light = ask(additions, targets, prefer=[citrus, {"minimise": "sugar_g_per_l"}])
    sweet = ask(additions, targets, prefer=[citrus, {"maximise": "sugar_g_per_l"}])
    alone = ask(additions, targets, prefer=[citrus])
    for answer in (light, sweet, alone):
        assert answer["proof"]["verdict"] == "proved_best"
        assert amounts(answer)["lemon_juice_fresh"] == pytest.approx(300.0)
    # Citrus is a share of the volume: the least volume of sweetener, the dry sugar at the lower gravity, rules.
    for answer in (light, sweet):
        assert answer["predicted"]["citrus_percent"] == alone["predicted"]["citrus_percent"]
    turned = ask(additions, targets, prefer=[{"maximise": "sugar_g_per_l"}, citrus])
    assert turned["predicted"]["sugar_g_per_l"]["value"] > sweet["predicted"]["sugar_g_per_l"]["value"]
    assert turned["predicted"]["citrus_percent"]["value"] < alone["predicted"]["citrus_percent"]["value"]


def test_the_second_preference_decides_what_the_first_leaves_open() -> None:
    additions = [{"ingredient": "honey"}, {"ingredient": "sugar_white"}]
    targets = {"gravity": 1.012}
    first = {"maximise": "citrus_percent"}  # nothing here is citrus: everything ties
    more = ask(additions, targets, prefer=[first, {"maximise": "added_mass"}])
    less = ask(additions, targets, prefer=[first, {"minimise": "added_mass"}])
    assert amounts(more)["sugar_white"] == pytest.approx(0.0, abs=1e-3)
    assert amounts(less)["honey_average"] == pytest.approx(0.0, abs=1e-3)


def test_the_cheapest_way_is_found_and_priced() -> None:
    priced = [
        {"ingredient": "honey", "price": {"amount": 9.0, "per": "1 kg"}},
        {"ingredient": "sugar_white", "price": {"amount": 1.4, "per": "1 kg"}, "max": "200 g"},
    ]
    answer = ask(priced, {"gravity": 1.012}, prefer=[{"minimise": "cost"}], currency="EUR")
    found = amounts(answer)
    assert found["sugar_white"] == pytest.approx(200.0)
    assert found["honey_average"] > 100.0
    assert answer["currency"] == "EUR"
    cost = found["honey_average"] * 0.009 + 200.0 * 0.0014
    assert answer["predicted"]["cost"]["value"] == pytest.approx(cost, abs=6e-4)
    assert {a["name"]: a["cost"] for a in answer["amounts"]}["sugar_white"] == pytest.approx(0.28)
    dear = ask(priced, {"gravity": 1.012}, prefer=[{"maximise": "cost"}])
    assert amounts(dear)["sugar_white"] == pytest.approx(0.0, abs=1e-6)


def test_a_price_per_volume_is_turned_into_mass() -> None:
    lemon = {"ingredient": "lemon_juice_fresh", "amount": "500 mL", "price": {"amount": 4.0, "per": "1 L"}}
    answer = ask([lemon], {"gravity": {"max": 1.1}})
    assert answer["predicted"]["cost"]["value"] == pytest.approx(2.0, abs=1e-4)


def test_cost_with_a_missing_price_is_refused_where_it_is_missing() -> None:
    request = changed("prefer", to=[{"minimise": "cost"}])
    (error,) = post("/v1/blend-plans", request, 422)["errors"]
    assert "Acacia honey has no price" in error["detail"]
    assert error["pointer"].startswith(("/prefer/0", "/additions/0"))


# Limits, volumes and lots.


def test_additions_without_limits_find_their_amount() -> None:
    answer = ask(
        [{"ingredient": "honey"}, {"ingredient": "lemon_juice_fresh"}, {"ingredient": "water_deionised"}],
        {"gravity": 1.012, "titratable_acidity": "6.5 g/L tartaric", "abv_percent": {"max": 6.5}},
    )
    assert answer["outcome"] == "targets_met"
    assert answer["proof"]["verdict"] == "proved_best"
    assert all(0.0 < mass < 1e4 for mass in amounts(answer).values())
    assert "amount_without_limit" not in [caution["code"] for caution in answer["cautions"]]


def test_without_lots_the_volume_says_how_much() -> None:
    request = {
        "lots": [],
        "additions": [{"ingredient": i} for i in ("water_deionised", "sugar_white", "lemon_juice_fresh")],
        "targets": {"volume": "2 L", "brix": 10.0, "titratable_acidity": "5 g/L citric"},
    }
    answer = plan(request)
    assert answer["outcome"] == "targets_met"
    predicted = answer["predicted"]
    assert predicted["volume"]["value"] == pytest.approx(2.0, abs=1e-3)
    assert predicted["brix"]["value"] == pytest.approx(10.0, abs=1e-2)
    assert predicted["titratable_acidity"]["g_per_l_citric"] == pytest.approx(5.0, abs=2e-3)
    assert predicted["abv_percent"]["value"] == 0.0
    # 10 °Bx is SG 1.0400 and 1.0381 kg/L (ICUMSA SPS-4): 2 L hold about 208 g of dry extract
    assert predicted["extract_g_per_l"]["value"] == pytest.approx(103.9, abs=0.6)
    error = post("/v1/blend-plans", {**request, "targets": {"brix": 10.0}}, 422)["errors"][0]
    assert error["pointer"] == "/targets/volume"


def test_several_lots_stay_inside_their_use() -> None:
    lots = [
        {**LOT, "name": "dry", "volume": "20 L", "use": {"min": "4 L", "max": "12 L"}},
        {**LOT, "name": "sweet", "gravity": 1.045, "abv_percent": 6.0, "use": {"max": "5 L"}},
        {**LOT, "name": "sharp", "titratable_acidity": "12 g/L tartaric", "volume": "3 L", "use": {"min": "1 L"}},
        {**LOT, "name": "whole", "volume": "2 L"},
    ]
    targets = {"volume": "18 L", "gravity": 1.010, "titratable_acidity": {"min": "6 g/L tartaric"}}
    answer = plan({"lots": lots, "additions": [], "targets": targets})
    litres = {a["name"]: a["volume_ml"] / 1000.0 for a in answer["amounts"]}
    assert answer["outcome"] == "targets_met"
    assert 4.0 - 1e-6 <= litres["dry"] <= 12.0 + 1e-6
    assert 0.0 <= litres["sweet"] <= 5.0 + 1e-6
    assert 1.0 - 1e-6 <= litres["sharp"] <= 3.0 + 1e-6
    assert litres["whole"] == pytest.approx(2.0, abs=1e-6)
    assert answer["predicted"]["volume"]["value"] == pytest.approx(18.0, abs=1e-3)
    assert answer["predicted"]["added_mass"]["value"] == 0.0
    tight = plan({"lots": [{**lot, "use": {"max": "1 L"}} for lot in lots], "additions": [], "targets": targets})
    assert (tight["outcome"], tight["proof"]["verdict"]) == ("targets_clash", "proved_impossible")


# Acid down, strength up.


def test_carbonate_takes_acid_and_loses_its_gas() -> None:
    answer = ask([{"ingredient": "potassium_bicarbonate", "max": "50 g"}], {"titratable_acidity": "4 g/L tartaric"})
    mass = amounts(answer)["potassium_bicarbonate"]
    predicted = answer["predicted"]
    # 50 g of tartaric acid before, 4 g/L after; KHCO3 weighs 100.115 g/mol and takes one equivalent
    meq = (50.0 - 4.0 * predicted["volume"]["value"]) / 0.07504
    assert mass == pytest.approx(meq * 0.100115, abs=0.01)
    before = forecast({"recipes": [{"name": "r", "lots": [LOT]}]})["recipes"][0]["predicted"]
    grams = [p["gravity"]["value"] * 998.2 * p["volume"]["value"] for p in (before, predicted)]
    # a mole of it lets a mole of carbon dioxide go, 44.01 of 100.115 g; the gravity shows five decimals, 0.1 g here
    assert grams[1] - grams[0] == pytest.approx(mass * (1.0 - 44.01 / 100.115), abs=0.15)


def test_spirit_raises_the_strength() -> None:
    answer = ask([{"ingredient": "neutral_spirit_96"}], {"abv_percent": 10.0})
    assert answer["outcome"] == "targets_met"
    volume_ml = next(a["volume_ml"] for a in answer["amounts"] if a["kind"] == "addition")
    # alcohol before and after: 8 x 10 + 96 v = 10 V, and V is nearly 10 + v less a little contraction
    assert volume_ml == pytest.approx(1000.0 * 20.0 / 86.0, rel=0.01)
    total = answer["predicted"]["volume"]["value"]
    assert 80.0 + 0.096 * volume_ml == pytest.approx(10.0 * total, rel=1e-3)
    assert total < 10.0 + volume_ml / 1000.0
