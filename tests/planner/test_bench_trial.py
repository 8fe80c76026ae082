"""A glass and its batch: against a recipe poured on paper, against figures worked by hand, and what must not change."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.planner.bench_trial.answers import BenchTrial
from service.planner.bench_trial.graduation import round_up, short
from tests.oracle.liquids import COMPONENTS, WATER, binary_sum_volume_ml, bisect
from tests.oracle.pour import Lot, Part, composition, density_g_per_ml, load_compositions, pour
from tests.planner.bench_cases import ACID, DROPS, LEMON, LOT, SYRUP, YELLOW, line, masses, trial

GRAVITY, ABV, ACIDITY = 2e-5, 2e-3, 5e-3
"""How far the oracle may be off, whose lot holds all its extract as sucrose and whose acids add up: SG, % vol, g/L
tartaric."""


def _syrup_g_per_ml() -> float:
    honey = load_compositions()["honey_average"].grams_per_100g
    half = {name: 0.5 * grams for name, grams in zip(COMPONENTS, honey, strict=True) if grams}
    half["water"] += 50.0
    return density_g_per_ml(composition("syrup", **half))


def _water_in_100_ml(citric_g: float) -> float:
    def spare(water: float) -> float:
        grams = dict.fromkeys(COMPONENTS, 0.0)
        grams.update(water=water, citric_acid=citric_g)
        return binary_sum_volume_ml(tuple(grams.values())) - 100.0

    return bisect(spare, 50.0, 110.0, "water of a solution [g]")


OF_THE_GLASS = Lot(0.1, 0.998, 6.5, 4.6)


def _glass_parts() -> list[Part]:
    syrup_g = 10.0 * _syrup_g_per_ml()
    water_g = 0.5 * syrup_g + _water_in_100_ml(10.0) / 100.0
    return [
        Part("honey_average", 0.5 * syrup_g),
        Part("citric_acid_anhydrous", 0.1),
        Part("water_deionised", water_g),
    ]


def test_the_glass_is_as_poured_on_paper() -> None:
    answer, paper = trial(SYRUP, ACID), pour([OF_THE_GLASS], _glass_parts())
    predicted = answer.glass.predicted
    assert predicted.gravity.value == pytest.approx(paper.specific_gravity_20_20, abs=GRAVITY)
    assert predicted.abv_percent.value == pytest.approx(paper.abv_percent, abs=ABV)
    assert predicted.titratable_acidity.value == pytest.approx(paper.ta_g_per_l_tartaric, abs=ACIDITY)
    assert answer.glass.volume_ml == pytest.approx(1000.0 * paper.volume_l, rel=1e-5)


def test_the_batch_is_as_poured_on_paper() -> None:
    answer, paper = trial(SYRUP, ACID), pour([OF_THE_GLASS], _glass_parts())
    dosed = masses(answer.batch_plan)
    honey, citric = dosed["honey_average"], dosed["citric_acid_anhydrous"]
    batch = pour([Lot(25.0, 0.998, 6.5, 4.6)], [Part("honey_average", honey), Part("citric_acid_anhydrous", citric)])
    syrup_g = 10.0 * _syrup_g_per_ml()
    assert honey / batch.volume_l == pytest.approx(0.5 * syrup_g / paper.volume_l, rel=2e-5)
    assert citric / batch.volume_l == pytest.approx(0.1 / paper.volume_l, rel=2e-5)
    predicted = answer.batch_plan.predicted
    assert predicted.gravity.value == pytest.approx(batch.specific_gravity_20_20, abs=GRAVITY)
    assert predicted.abv_percent.value == pytest.approx(batch.abv_percent, abs=ABV)
    assert predicted.titratable_acidity.value == pytest.approx(batch.ta_g_per_l_tartaric, abs=ACIDITY)
    # what plain scaling of the honey alone would hold of it in a litre
    over = answer.without_stock_water
    assert over is not None
    assert masses(over)["honey_average"] / over.predicted.volume.value > 1.03 * honey / predicted.volume.value


def test_a_litre_of_batch_holds_what_a_litre_of_glass_does() -> None:
    answer = trial(SYRUP, ACID, LEMON)
    held = {h.ingredient: h.g_per_l for s in answer.glass.stocks for h in s.holds if not h.stock_water}
    litres = answer.batch_plan.predicted.volume.value
    dosed = masses(answer.batch_plan)
    assert held.keys() == dosed.keys() - {"base"}
    for name, g_per_l in held.items():
        assert dosed[name] / litres == pytest.approx(g_per_l, rel=1e-4), name


# Figures worked by hand.


def test_a_millilitre_of_ten_per_cent_citric_in_100_is_0_99_g_per_l() -> None:
    # 0.1 g in 101 mL
    answer = trial(ACID)
    (held,) = [h for h in answer.glass.stocks[0].holds if not h.stock_water]
    assert held.mass_g == pytest.approx(0.1, abs=1e-9)
    assert held.g_per_l == pytest.approx(0.1 / 0.101, abs=0.005)


def test_ten_millilitres_of_syrup_take_the_strength_from_6_5_to_5_9() -> None:
    # 6.5 · 100/110 = 5.9; the volumes contract by a few hundredths of a per cent
    assert trial(SYRUP).glass.predicted.abv_percent.value == pytest.approx(650.0 / 110.0, abs=0.06)


def test_four_drops_in_200_mL_are_25_mL_in_25_L_and_a_drop_is_a_quarter() -> None:
    answer = trial(DROPS, base="200 mL")
    amount = next(a for a in answer.batch_plan.amounts if a.name == "green")
    assert amount.volume_ml == pytest.approx(25.0, abs=1e-3)
    assert amount.amount_text.startswith("25 mL")
    (effect,) = answer.per_graduation
    assert effect.dose_percent == 25.0
    assert effect.stock_in_batch.volume_ml == pytest.approx(6.25, abs=1e-3)


def test_a_tenth_of_a_millilitre_of_acid_is_a_tenth_of_a_gram_per_litre() -> None:
    # 0.01 g citric in about 101 mL: 0.099 g/L citric, 0.116 as tartaric, less what the water dilutes (0.005)
    effect = next(e for e in trial(ACID).per_graduation if e.stock == "acid")
    change = next(c for c in effect.changes if c.property == "titratable_acidity")
    assert effect.graduation == "0.1 mL"
    assert change.change * 64.04 / 75.04 == pytest.approx(0.1, abs=0.01)
    assert "acidity by +0.11" in effect.text


def test_a_graduation_in_the_batch_is_its_share_of_the_dose() -> None:
    answer = trial(SYRUP, ACID)
    dosed = masses(answer.batch_plan)
    for effect in answer.per_graduation:
        (grams,) = effect.ingredients_in_batch
        assert grams.mass_g == pytest.approx(dosed[grams.ingredient] * effect.dose_percent / 100.0, rel=1e-4)


def test_two_stocks_of_one_ingredient_share_its_mass_in_the_batch() -> None:
    pure = {"name": "honey", "ingredient": "honey_average", "amount": "2 mL"}
    answer = trial(SYRUP, pure)
    dosed = masses(answer.batch_plan)
    assert list(dosed) == ["base", "honey_average"]
    each = {
        e.stock: e.ingredients_in_batch[0].mass_g * e.graduations for e in answer.per_graduation
    }  # every graduation of both
    assert sum(each.values()) == pytest.approx(dosed["honey_average"], rel=1e-5)


# The three ways side by side.


def test_plain_scaling_reproduces_the_glass_and_the_match_keeps_the_strength() -> None:
    answer = trial(SYRUP, ACID)
    assert answer.outcome == "matched_but_for_stock_water"
    for found in answer.differences:
        assert found.plain_difference == pytest.approx(0.0, abs=1e-3), found.property
    strength = line(answer, "abv_percent")
    assert strength.matched is not None
    assert 0.3 < strength.matched - strength.glass < 0.5
    assert strength.matched_steps == pytest.approx(strength.matched - strength.glass, abs=0.01)
    sugar = line(answer, "sugar_g_per_l")
    assert abs(sugar.matched_difference or 0.0) < 0.3 < (sugar.without_water_difference or 0.0)


def test_with_water_allowed_everything_is_that_of_the_glass() -> None:
    answer = trial(SYRUP, ACID, water_allowed=True)
    assert answer.outcome == "composition_matched"
    assert answer.without_stock_water is None
    assert all(abs(b.matched_difference or 0.0) < 1e-3 for b in answer.differences)
    plain, ours = masses(answer.plain_scaling), masses(answer.batch_plan)
    assert ours["water_deionised"] + ours["honey_average"] + ours["citric_acid_anhydrous"] == pytest.approx(
        plain["syrup"] + plain["acid"], rel=1e-6
    )


def test_a_solvent_that_is_no_water_is_dosed_like_an_ingredient() -> None:
    syrup = {**SYRUP, "solution": {"ingredient": "honey_average", "with": "apple_juice_bottled", "by_mass": "1:1"}}
    answer = trial(syrup)
    assert answer.outcome == "composition_matched"
    assert masses(answer.batch_plan)["apple_juice_bottled"] == pytest.approx(
        masses(answer.batch_plan)["honey_average"], rel=1e-6
    )


def test_other_ingredients_come_to_the_same_taste() -> None:
    additions = [{"ingredient": "sugar_white"}, {"ingredient": "citric_acid"}, {"ingredient": "water_deionised"}]
    answer = trial(SYRUP, ACID, additions=additions)
    assert answer.outcome == "properties_matched"
    for name in ("sucrose_equivalent_g_per_l", "titratable_acidity", "abv_percent"):
        assert abs(line(answer, name).matched_steps or 0.0) < 0.02, name
    # SG differs: honey holds solids that are not sweet
    assert abs(line(answer, "gravity").matched_difference or 0.0) > 5e-4


def test_other_ingredients_that_cannot_come_as_near_as_they_can() -> None:
    answer = trial(SYRUP, ACID, LEMON, additions=[{"ingredient": "sugar_white"}])
    assert answer.outcome == "nearest_match"
    assert abs(line(answer, "sucrose_equivalent_g_per_l").matched_steps or 0.0) < 0.02
    juice = line(answer, "juice_percent")
    # no juice instead of half a per cent, at 4·ln 1.25 = 0.893 % a step
    assert juice.matched_steps == pytest.approx(-juice.glass / 0.893, abs=0.02)


def test_dye_beside_other_ingredients_keeps_its_share_of_a_litre() -> None:
    answer = trial(SYRUP, YELLOW, additions=[{"ingredient": "sugar_white"}, {"ingredient": "water_deionised"}])
    (colour,) = answer.colour
    assert colour.batch_mg_per_l == pytest.approx(colour.glass_mg_per_l, rel=1e-4)


def test_the_interval_of_the_glass_grows_with_the_error_of_the_dose() -> None:
    def width(amount: str) -> float:
        found = trial({**SYRUP, "amount": amount}).glass.predicted.sugar_g_per_l
        return found.high - found.low

    # 1 mL of 10 is 4 g/L of 44 for one standard deviation, 1.645 of them to either side
    assert width("10 mL ± 1 mL") == pytest.approx(2 * 1.645 * 4.2, rel=0.15)
    assert width("10 mL ± 0.01 mL") < 0.6 * width("10 mL ± 1 mL")


def test_two_stocks_of_one_ingredient_have_one_composition() -> None:
    def width(*stocks: dict[str, Any]) -> float:
        found = trial(*stocks, base="500 mL").glass.predicted.titratable_acidity
        return found.high - found.low

    lemon = {"ingredient": "lemon_juice_fresh", "amount": "20 mL ± 0.01 mL"}
    one = width({**lemon, "name": "a", "amount": "40 mL ± 0.01 mL"})
    # the same bottle from two syringes: whatever its acidity is, it is the same; bought apart, at two prices, too
    assert width({**lemon, "name": "a"}, {**lemon, "name": "b"}) == pytest.approx(one, rel=1e-3)
    dearer = {"amount": 3, "per": "1 L"}
    assert width({**lemon, "name": "a"}, {**lemon, "name": "b", "price": dearer}) == pytest.approx(one, rel=1e-3)
    # of two bottles titrated each, one error does not go with the other
    apart = [
        {**lemon, "name": n, "measured": {"titratable_acidity": f"{ta} g/L citric ± 5 g/L"}}
        for n, ta in (("a", 47), ("b", 48))
    ]
    same = [{**lemon, "name": n, "measured": {"titratable_acidity": "47 g/L citric ± 5 g/L"}} for n in "ab"]
    assert width(*apart) < 0.9 * width(*same)


def test_the_error_of_an_instrument_widens_what_is_to_be_read() -> None:
    def expected(error: float) -> float:
        answer = trial(SYRUP, instruments={"hydrometer": {"error": error}})
        (found,) = [r for r in answer.next_reading if r.unit == "SG 20/20"]
        assert found.low is not None
        assert found.high is not None
        predicted = answer.batch_plan.predicted.gravity
        own = predicted.high - predicted.low
        # independent errors add up as squares; 1.645 standard deviations to either side
        assert found.high - found.low == pytest.approx((own**2 + (2.0 * 1.645 * error) ** 2) ** 0.5, rel=0.02)
        return found.high - found.low

    assert expected(0.004) > 2.0 * expected(0.001)


# Advice.


def test_a_dose_of_few_graduations_asks_for_a_larger_glass_or_a_thinner_stock() -> None:
    (advice,) = trial(DROPS, base="200 mL").advice
    assert (advice.code, advice.glass_ml, advice.thin_times) == ("glass_too_small", 500.0, 2.5)
    (acid,) = [a for a in trial({**ACID, "amount": "0.4 mL"}).advice if a.code == "glass_too_small"]
    assert "4 % w/v" in acid.text
    assert acid.glass_ml == 250.0
    assert not [a for a in trial(ACID).advice if a.code == "glass_too_small"]  # ten graduations are enough
    larger = trial({**DROPS, "amount": {"drops": 10}}, base="500 mL")
    assert larger.advice == ()


def test_a_powder_weighed_by_the_gram_is_better_dosed_as_a_solution() -> None:
    (advice,) = trial({"name": "powder", "ingredient": "citric_acid", "amount": "1 g"}, base="500 mL").advice
    assert advice.thin_times is None
    assert "solution" in advice.text


def test_water_that_is_tasted_is_spoken_of() -> None:
    much = {**SYRUP, "amount": "25 mL"}
    assert "stock_water_is_noticeable" in {a.code for a in trial(much).advice}
    assert "stock_water_is_noticeable" not in {a.code for a in trial(much, water_allowed=True).advice}


def test_a_graduation_that_is_tasted_is_spoken_of() -> None:
    # a tenth of nearly all the sugar is less than ln 1.1/ln 1.12 = 0.84 steps; half a step takes 1.6 times the glass
    (advice,) = trial({"name": "honey", "ingredient": "honey_average", "amount": "1 mL"}, base="20 mL").advice
    assert advice.code == "one_graduation_is_noticeable"
    assert advice.glass_ml == 40.0
    assert "sweetness by 0.77" in advice.text


def test_less_than_the_scale_shows_is_measured_as_the_stock() -> None:
    answer = trial({**ACID, "amount": "1 mL"}, base="1000 mL")  # 2.5 g in 25 L
    (advice,) = [a for a in answer.advice if a.code == "batch_dose_too_fine"]
    assert "25 mL of acid" in advice.text


@pytest.mark.parametrize(("value", "text"), [(0.0, "0"), (1e-3, "0.001"), (999.6, "1000"), (0.4, "0.4"), (10.0, "10")])
def test_three_digits(value: float, text: str) -> None:
    assert short(value) == text


@given(st.floats(0.01, 1e6))
def test_a_round_figure_is_not_below_and_not_far_above(value: float) -> None:
    assert value * (1.0 - 1e-6) <= round_up(value) <= 1.51 * value


# One graduation.


def test_a_drop_of_lemon_is_no_step_of_juice() -> None:
    # 0.05 mL of juice in 100.05 mL is 0.05 %, and a step is never finer than 4 % · ln 1.25 = 0.89 %
    (effect,) = trial({**LEMON, "amount": {"drops": 1}}).per_graduation
    steps = {c.property: c.steps for c in effect.changes}
    assert steps["juice_percent"] == pytest.approx(0.05 / 0.893, abs=0.006)
    assert abs(steps["sucrose_equivalent_g_per_l"] or 0.0) <= 0.02


def test_of_what_is_sour_the_acidity_is_told() -> None:
    (effect,) = trial(LEMON).per_graduation
    change = next(c for c in effect.changes if c.property == "titratable_acidity")
    assert 0.01 < change.change < 0.05
    assert f"acidity by {change.change:+g}" in effect.text
    # a syrup that thins the acid by next to nothing is not sour
    fine = trial({**SYRUP, "amount": "1 mL"}, base="1000 mL")
    assert "acidity" not in fine.per_graduation[0].text


def test_a_graduation_takes_no_more_acid_than_there_is() -> None:
    powder = {"name": "carbonate", "ingredient": "potassium_bicarbonate", "amount": "0.1 g"}
    answer = trial(powder)
    (effect,) = answer.per_graduation
    change = next(c for c in effect.changes if c.property == "titratable_acidity")
    assert change.change == pytest.approx(-answer.glass.predicted.titratable_acidity.value, abs=1e-3)
    assert "all that there is" in effect.text
    assert "ph" not in {c.property for c in effect.changes}
    assert "10 times the whole dose" in effect.text
    assert "more or less" not in effect.text
    weaker = trial({**powder, "amount": "0.1 g"}, instruments={"scale": {"step": "0.01 g"}})
    assert "all that there is" not in weaker.per_graduation[0].text


def test_large_amounts_are_told_in_large_units() -> None:
    barrel = {**LOT, "volume": "50000 L"}
    (effect,) = trial({**SYRUP, "name": "a", "amount": "0.1 mL"}, base="1 mL", lot=barrel).per_graduation
    assert "5000 L of a" in effect.text
    assert "kg average honey" in effect.text
    (advice,) = [a for a in trial(DROPS, base="4000 mL").advice if a.code == "glass_too_small"]
    assert "a glass of 10 L" in advice.text


def test_gallons_and_ounces_outside_the_metric_system() -> None:
    glass = {**SYRUP, "amount": "0.3 fl oz"}, {**ACID, "amount": "0.2 fl oz"}
    answer = trial(*glass, DROPS, base="4 fl oz", lot={**LOT, "volume": "5 gal"})
    assert answer.units == "us"
    assert "gal (" in answer.summary
    plain = {a.name: a.amount_text for a in answer.plain_scaling.amounts}
    assert "fl oz (" in plain["syrup"]
    assert plain["acid"].startswith("32 fl oz (") or "fl oz (" in plain["acid"]
    (volume,) = [r for r in answer.next_reading if "volume" in r.do]
    # NIST Handbook 44, Appendix C: 3.785412 L
    assert volume.unit == "gal"
    assert volume.expect == pytest.approx(answer.batch_plan.predicted.volume.value / 3.785412, abs=0.01)
    assert volume.low is not None
    assert volume.high is not None
    assert volume.low < (volume.expect or 0.0) < volume.high
    assert [r.unit for r in trial(*glass[:0], SYRUP).next_reading if "volume" in r.do] == ["L"]


# What must not change.


def test_a_glass_dosed_with_nothing_changes_nothing() -> None:
    answer = trial()
    assert answer.outcome == "nothing_to_add"
    assert masses(answer.batch_plan).keys() == {"base"}
    assert answer.batch_plan.predicted.volume.value == pytest.approx(25.0, rel=1e-6)
    assert all(b.matched_difference == 0.0 for b in answer.differences)
    assert not answer.advice
    assert not answer.per_graduation
    assert not answer.steps


ML = st.floats(0.5, 20.0).map(lambda v: round(v, 2))


def _dosed(syrup_ml: float, acid_ml: float, times: float, litres: float) -> BenchTrial:
    return trial(
        {**SYRUP, "amount": f"{times * syrup_ml:.4f} mL"},
        {**ACID, "amount": f"{times * acid_ml:.4f} mL"},
        base=f"{100.0 * times:.4f} mL",
        lot={**LOT, "volume": f"{litres:.4f} L"},
    )


@settings(max_examples=20, deadline=None)
@given(ML, ML, st.floats(0.2, 20.0).map(lambda k: round(k, 2)))
def test_a_batch_k_times_as_large_takes_k_times_as_much(syrup_ml: float, acid_ml: float, k: float) -> None:
    one, other = _dosed(syrup_ml, acid_ml, 1.0, 10.0), _dosed(syrup_ml, acid_ml, 1.0, 10.0 * k)
    for name, mass in masses(one.batch_plan).items():
        assert masses(other.batch_plan)[name] == pytest.approx(k * mass, rel=1e-5, abs=2e-4), name


@settings(max_examples=20, deadline=None)
@given(ML, ML, st.sampled_from([0.5, 2.0, 3.0, 5.0]))
def test_the_size_of_the_glass_does_not_matter(syrup_ml: float, acid_ml: float, times: float) -> None:
    one, other = _dosed(syrup_ml, acid_ml, 1.0, 10.0), _dosed(syrup_ml, acid_ml, times, 10.0)
    assert masses(other.batch_plan) == pytest.approx(masses(one.batch_plan), rel=1e-5, abs=2e-4)
    for a, b in zip(one.differences, other.differences, strict=True):
        assert b.glass == pytest.approx(a.glass, rel=1e-5, abs=2e-4), a.property


def test_the_order_of_the_stocks_does_not_matter() -> None:
    one, other = trial(SYRUP, ACID, LEMON), trial(LEMON, ACID, SYRUP)
    assert masses(one.batch_plan) == masses(other.batch_plan)
    assert one.batch_plan.predicted == other.batch_plan.predicted


def test_water_of_the_oracle_is_where_it_is_expected() -> None:
    # 10 g citric in 100 mL, CRC Handbook: 10 % by mass is 1.0392 g/mL, so that 9.6 % w/w is near 1.038
    assert _water_in_100_ml(10.0) == pytest.approx(93.8, abs=0.3)
    assert COMPONENTS[WATER] == "water"
