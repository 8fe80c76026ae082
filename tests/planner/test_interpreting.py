"""What readings mean: which strength is used, what a series says, and who is suspected when a recipe does not fit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from service.catalogue.lookup import get_ingredient
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.physics.refraction import refractometer_brix
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.drink import DrinkRead, Span, drink_from_recipe
from service.planner.interpreting.answers import Interpretation
from service.planner.interpreting.asked import Expected, ReadingsAsked, RefractometerRead
from service.planner.interpreting.interpret import interpret_readings
from service.planner.interpreting.trend import by_chance
from service.planner.work import WorkStep
from tests.planner.readings_cases import FIRST, STOPPED, SWEET, acid, by_method, codes, error_of, series, sg


def read(**change: Any) -> Interpretation:
    return interpret_readings(replace(STOPPED, **change))


# strength


def test_it_stopped_at_1004() -> None:
    """OG 1.050 to 1.004: 131.25·0.046 = 6.04 % vol by the trade's factor; the mass balance lies within 0.1 of it there
    (computed). A honey must of 1.050 ends at 0.996 (0.993 to 0.998, computed): 6 to 11 points are left."""
    found = read()
    assert found.abv_percent is not None
    assert found.abv_percent.value == pytest.approx(6.04, abs=0.1)
    assert found.abv_percent.low < 5.8
    assert found.abv_percent.high > 6.3
    assert found.sugar is not None
    assert 0.006 < found.sugar.possible_drop.value < 0.011
    assert found.sugar.possible_drop.low <= 0.006
    assert found.sugar.possible_drop.high >= 0.011
    assert found.fermentation == "steady"
    assert "not finished" in found.action


def test_the_strength_used_is_the_best_known() -> None:
    asked = replace(STOPPED, refractometer=RefractometerRead(3.6), acidity=acid(4.0), abv_percent=6.2)
    for method, less in (
        ("given", asked),
        ("two_gravities", replace(asked, abv_percent=None)),
        ("hydrometer_and_refractometer", replace(asked, abv_percent=None, original=None)),
    ):
        found = interpret_readings(less)
        assert [report.method for report in found.alcohol if report.used] == [method]
        assert found.alcohol[0].method == method
        assert found.abv_percent is not None
        assert found.alcohol[0].abv_percent == found.abv_percent.value


def test_nothing_tells_the_strength() -> None:
    found = interpret_readings(ReadingsAsked(sg(1.010)))
    assert found.abv_percent is None
    assert found.sugar is None
    assert found.alcohol == ()
    assert "do not tell the strength" in found.summary
    assert any(reading.instrument == "refractometer" for reading in found.next_reading)
    assert not {"plan_stabilising", "solve_blend"} & set(found.next)


def test_two_gravities_say_nothing_once_honey_went_in() -> None:
    asked = ReadingsAsked(sg(1.020), sg(1.050), sweetened=True)
    found = interpret_readings(asked)
    assert by_method(found)["two_gravities"].abv_percent is None
    assert "went in after" in by_method(found)["two_gravities"].text
    assert not {"factor_131_25", "real_extract_rule"} & set(by_method(found))
    assert found.abv_percent is None
    assert interpret_readings(replace(asked, sweetened=False)).abv_percent is not None


def test_a_gravity_above_the_original_is_refused_or_flagged() -> None:
    with pytest.raises(InconsistentError, match="above the original gravity") as caught:
        interpret_readings(ReadingsAsked(sg(1.060), sg(1.050)))
    assert caught.value.pointer == "/original_gravity"
    both = ReadingsAsked(sg(1.060), sg(1.050), RefractometerRead(17.0))
    found = interpret_readings(both)
    assert found.abv_percent is not None
    assert by_method(found)["two_gravities"].abv_percent is None
    assert codes(found)["readings_contradict"] == "warning"


def test_a_refractometer_is_never_read_as_sugar_of_a_ferment() -> None:
    alone = interpret_readings(ReadingsAsked(refractometer=RefractometerRead(11.0)))
    assert alone.sugar is None
    assert alone.refractometer is not None
    assert alone.refractometer.true_extract_percent is None
    assert "no sugar" in alone.refractometer.text
    both = interpret_readings(SWEET).refractometer
    assert both is not None
    assert both.reads_too_high_brix is not None
    assert both.true_extract_percent is not None
    assert both.reads_too_high_brix == pytest.approx(11.0 - both.true_extract_percent, abs=0.011)
    assert both.reads_too_high_brix > 1.0


def test_of_juice_it_is_sugar() -> None:
    """0.2 °Bx to add for each % of citric acid (the juice trade's correction, from memory)."""
    juice = ReadingsAsked(refractometer=RefractometerRead(11.0), acidity=acid(10.0), lot_class=LotClass.CITRUS_JUICE)
    found = interpret_readings(juice)
    assert found.refractometer is not None
    assert found.refractometer.true_extract_percent == pytest.approx(11.2)
    assert found.steps == ()
    both = interpret_readings(replace(juice, hydrometer=sg(1.045)))
    assert both.alcohol[0].method == "no_alcohol_in_juice"
    assert both.sugar is not None
    assert both.sugar.sugar_g_per_l.value > 70.0


def test_readings_that_contradict_each_other_are_refused() -> None:
    with pytest.raises(InconsistentError, match="contradict each other") as caught:
        interpret_readings(ReadingsAsked(sg(1.050), refractometer=RefractometerRead(5.0)))
    assert caught.value.pointer == "/refractometer"
    with pytest.raises(InconsistentError, match="cannot ferment below"):
        interpret_readings(ReadingsAsked(sg(0.975), sg(1.030)))


def test_an_acidity_that_leaves_no_room_is_refused_where_it_was_titrated() -> None:
    dry = ReadingsAsked(sg(0.9905), abv_percent=7.0, acidity=acid(9.0))
    with pytest.raises(InputError) as caught:
        interpret_readings(dry)
    assert caught.value.pointer == "/titration"


def test_a_sugar_test_counts_and_needs_a_strength() -> None:
    tested = read(residual_sugar_g_per_l=3.0, residual_sugar_error_g_per_l=0.5).sugar
    assert tested is not None
    assert tested.sugar_g_per_l.value == 3.0
    assert tested.sugar_g_per_l.high == pytest.approx(3.0 + 1.645 * 0.5, abs=0.06)
    with pytest.raises(InputError) as caught:
        interpret_readings(ReadingsAsked(sg(1.010), residual_sugar_g_per_l=3.0))
    assert caught.value.pointer == "/residual_sugar"


def test_better_instruments_know_more() -> None:
    def width(hydrometer: float, refractometer: float) -> float:
        told = interpret_readings(replace(SWEET, circumstances=error_of(hydrometer, refractometer))).abv_percent
        assert told is not None
        return told.high - told.low

    assert width(0.0005, 0.1) < width(0.001, 0.2) < width(0.002, 0.2)


# series


def trend(*readings: tuple[int, float], **change: Any) -> Interpretation:
    return read(series=series(*readings), **change)


@pytest.mark.parametrize(
    ("readings", "verdict"),
    [
        (((0, 1.004), (3, 1.004)), "steady"),
        (((0, 1.004), (2, 1.004)), "unknown"),
        (((0, 1.005), (7, 1.003)), "falling"),
        (((0, 1.005), (3, 1.004)), "falling"),
        (((0, 1.010), (3, 1.006), (6, 1.004), (9, 1.004)), "steady"),
        (((0, 1.0048), (3, 1.0044), (6, 1.0040), (9, 1.0036)), "falling"),
        (((0, 1.003), (7, 1.006)), "unknown"),
        (((0, 1.004),), "unknown"),
    ],
)
def test_whether_it_rests(readings: tuple[tuple[int, float], ...], verdict: str) -> None:
    """Two equal readings three days apart (common practice "days apart"; three is our default)."""
    assert trend(*readings).fermentation == verdict


def test_the_order_of_a_series_does_not_matter() -> None:
    told = series((0, 1.010), (3, 1.006), (6, 1.004))
    assert read(series=told) == read(series=tuple(reversed(told)))


def test_what_a_series_says_in_figures() -> None:
    found = trend((0, 1.012), (4, 1.008), (8, 1.004)).trend
    assert found is not None
    assert found.fall == pytest.approx(0.008)
    assert found.fall_per_day is not None
    assert found.fall_per_day.value == pytest.approx(0.001)
    # the least-squares slope of readings at −4, 0 and 4 days has a standard deviation of 0.001/√32
    assert found.fall_per_day.high - found.fall_per_day.value == pytest.approx(1.645 * 0.001 / 32.0**0.5, rel=1e-3)
    assert found.sugar_fermented_g_per_l == pytest.approx(0.008 / 0.00047, abs=0.1)
    assert [day.change_per_day for day in found.readings] == [None, -0.001, -0.001]
    assert found.days_until_seen == pytest.approx(0.002 / found.fall_per_day.high, abs=0.06)


def test_a_hydrometer_does_not_see_the_first_sugar() -> None:
    """1.645·√2·0.001 = 0.0023, or 4.9 g/L of sugar, 1.2 volumes of gas (computed), half a one for each 0.001."""
    found = trend((0, 1.004), (7, 1.004)).trend
    assert found is not None
    assert found.could_hide_g_per_l == pytest.approx(4.9, abs=0.1)
    assert found.could_hide_co2_volumes == pytest.approx(1.2, abs=0.05)
    fine = replace(STOPPED, circumstances=error_of(0.0002))
    finer = interpret_readings(fine).trend
    assert finer is not None
    assert finer.could_hide_g_per_l < 0.25 * found.could_hide_g_per_l


def test_what_chance_does() -> None:
    """The difference of two readings has √2 times the error of one: beyond 1.96 √2 σ in 5 % of cases (normal law)."""
    assert by_chance(1.96 * 2.0**0.5 * 0.001, 0.001) == pytest.approx(0.05, abs=1e-3)
    assert by_chance(0.0, 0.001) == 1.0
    assert by_chance(0.001, 0.0) == 0.0
    fell = trend((0, 1.005), (7, 1.004))
    assert fell.fermentation == "falling"  # the careful side
    assert "by chance" not in fell.summary
    assert fell.trend is not None
    assert "hydrometer alone" in fell.trend.text


def test_days_to_wait() -> None:
    assert trend((0, 1.004), (7, 1.004)).wait_days == 7  # two weeks in all, with sugar left
    assert trend((0, 1.004), (14, 1.004)).wait_days == 0
    assert trend((0, 1.004), (1, 1.004)).wait_days == 2
    assert interpret_readings(ReadingsAsked(sg(1.004), sg(1.050))).wait_days == 3
    fast, slow = trend((0, 1.024), (4, 1.004)), trend((0, 1.006), (4, 1.004))
    assert 3 < fast.wait_days < slow.wait_days <= 60
    # at rest by two readings, and no higher one in the two weeks before: the 6th day is the 1st of the fifteen to wait
    assert trend((0, 1.010), (3, 1.006), (6, 1.004), (9, 1.004)).wait_days == 15 - 6


def test_steady_by_the_makers_word() -> None:
    asked = ReadingsAsked(sg(1.004), sg(1.050), steady_days=5.0)
    found = interpret_readings(asked)
    assert found.fermentation == "steady"
    assert found.wait_days == 9
    assert any(a.what == "gravity unchanged" for a in found.assumed)
    assert interpret_readings(replace(asked, steady_days=2.0)).fermentation == "unknown"


def test_steps_and_their_days() -> None:
    start = replace(STOPPED.circumstances, start_date="2026-03-08")
    found = read(circumstances=start)
    assert [a.date for a in found.schedule] == ["2026-03-15", "2026-03-15", "2026-03-15"]
    falling = read(circumstances=start, series=series((0, 1.024), (4, 1.004)))
    waits = [step.wait_min_h for step in falling.steps]
    assert waits == [0.0, 24.0 * falling.wait_days, 72.0, 0.0]
    assert len(falling.schedule) == len(falling.steps)
    assert all(isinstance(step, WorkStep) and step.source_id for step in falling.steps)
    with pytest.raises(InputError) as caught:
        interpret_readings(ReadingsAsked(ph=3.4, circumstances=start))
    assert caught.value.pointer == "/start_date"


# beside a recipe


def base(litres: float, told_litres: float | None = None) -> LotAsked:
    lot = lot_from_readings(
        "base", LotReadings(told_litres or litres, None, 0.998, 8.0, LotClass.MEAD, 70.0, None, 3.4)
    )
    return LotAsked(lot, told_litres or litres, told_litres or litres)


def honey(grams: float) -> AdditionAsked:
    return AdditionAsked(get_ingredient("honey_average"), least_g=grams, most_g=grams)


def true_readings(litres: float, grams: float) -> ReadingsAsked:
    """What a perfect cellar would read of a drink."""
    drink = drink_from_recipe((base(litres),), (honey(grams),), Circumstances())
    assert drink.gravity is not None
    assert drink.volume_l is not None
    assert drink.ph is not None
    assert drink.titratable_meq_per_l is not None
    return ReadingsAsked(
        sg(drink.gravity.value),
        refractometer=RefractometerRead(refractometer_brix(drink.masses_g_per_l)),
        acidity=acid(drink.titratable_meq_per_l * 0.06404),
        ph=drink.ph.value,
        volume_l=Span.read(drink.volume_l.value, 0.02 * drink.volume_l.value),
    )


def expecting(litres: float, grams: float) -> Expected:
    return Expected((base(litres),), (honey(grams),))


def test_a_recipe_that_was_followed_fits() -> None:
    found = interpret_readings(replace(true_readings(19.0, 2000.0), expected=expecting(19.0, 2000.0)))
    assert found.mismatch is not None
    assert found.mismatch.consistency.verdict == "consistent"
    assert found.mismatch.consistency.culprits == ()
    assert {r.property for r in found.mismatch.readings} == {
        "gravity",
        "titratable_acidity",
        "ph",
        "volume",
        "refractometer",
    }
    # of all but the pH, which the skewed spread of the honey's own moves, the recipe's figure is the expected one
    assert all(abs(r.surprise) < (0.6 if r.property == "ph" else 0.05) for r in found.mismatch.readings)


@pytest.mark.parametrize("really", [14.0, 15.0, 24.0])
def test_a_volume_that_was_misread_is_the_likeliest_culprit(really: float) -> None:
    found = interpret_readings(replace(true_readings(really, 2000.0), expected=expecting(19.0, 2000.0)))
    assert found.mismatch is not None
    assert found.mismatch.consistency.verdict == "inconsistent"
    first = found.mismatch.consistency.culprits[0]
    assert (first.kind, first.of, first.told) == ("volume", "base", 19.0)
    assert first.probably == pytest.approx(really, rel=0.04)
    assert "volume" in found.summary
    assert any("volumes again" in reading.do for reading in found.next_reading)


def test_honey_that_was_misweighed_is_the_likeliest_culprit() -> None:
    found = interpret_readings(replace(true_readings(19.0, 2600.0), expected=expecting(19.0, 2000.0)))
    assert found.mismatch is not None
    first = found.mismatch.consistency.culprits[0]
    assert (first.kind, first.of) == ("amount", "honey_average")
    assert first.probably == pytest.approx(2600.0, rel=0.03)


def test_a_refractometer_that_is_off_is_the_likeliest_culprit() -> None:
    asked = true_readings(19.0, 2000.0)
    assert asked.refractometer is not None
    wrong = RefractometerRead(asked.refractometer.shown_brix + 2.0)
    found = interpret_readings(replace(asked, refractometer=wrong, expected=expecting(19.0, 2000.0)))
    assert found.mismatch is not None
    first = found.mismatch.consistency.culprits[0]
    assert (first.kind, first.of) == ("reading", "refractometer")
    assert first.told - first.probably == pytest.approx(2.0, abs=0.25)


def test_the_recipe_tells_the_strength_where_nothing_else_does() -> None:
    asked = ReadingsAsked(sg(1.030), expected=expecting(19.0, 2000.0))
    found = interpret_readings(asked)
    assert found.alcohol[0].method == "recipe"
    assert found.ph is not None
    assert found.ph.how == "by_the_recipe"
    drink = drink_from_recipe((base(19.0),), (honey(2000.0),), Circumstances())
    assert found.abv_percent is not None
    assert found.abv_percent.value == pytest.approx(drink.abv_percent.value, abs=1e-3)


def test_additions_of_the_recipe_make_two_gravities_useless() -> None:
    asked = replace(true_readings(19.0, 2000.0), original=sg(1.055), expected=expecting(19.0, 2000.0))
    found = interpret_readings(asked)
    assert by_method(found)["two_gravities"].abv_percent is None
    assert any(a.what == "sweetened" and a.value == "yes" for a in found.assumed)
    plain = interpret_readings(replace(asked, sweetened=False, hydrometer=sg(1.000), refractometer=None))
    assert by_method(plain)["two_gravities"].abv_percent is not None


def figures(gravity: float, abv: float) -> Expected:
    return Expected(figures=DrinkRead(Span.read(20.0, 0.4), Span.read(gravity, 0.001), Span.read(abv, 0.25)))


def test_expected_figures() -> None:
    fits = interpret_readings(ReadingsAsked(sg(1.0285), expected=figures(1.028, 6.2)))
    assert fits.mismatch is not None
    assert fits.mismatch.consistency.verdict == "consistent"
    off = interpret_readings(replace(SWEET, hydrometer=sg(1.028), expected=figures(1.028, 6.2)))
    wrong = interpret_readings(
        replace(SWEET, hydrometer=sg(1.028), refractometer=RefractometerRead(13.5), expected=figures(1.028, 6.2))
    )
    assert off.mismatch is not None
    assert off.mismatch.consistency.verdict == "consistent"
    assert wrong.mismatch is not None
    assert wrong.mismatch.consistency.verdict == "inconsistent"
    assert wrong.mismatch.consistency.culprits[0].of == "refractometer"
    assert 1.5 < wrong.mismatch.consistency.culprits[0].told - wrong.mismatch.consistency.culprits[0].probably < 3.0


def test_something_to_hold_against_what_was_expected_is_needed() -> None:
    with pytest.raises(InputError) as caught:
        interpret_readings(ReadingsAsked(original=sg(1.050), expected=expecting(19.0, 2000.0)))
    assert caught.value.pointer == "/expected"
    with pytest.raises(InputError) as caught:
        interpret_readings(ReadingsAsked(ph=3.4, expected=figures(1.028, 6.2)))
    assert caught.value.pointer == "/expected"


def test_a_refractometer_outside_its_table_is_refused_by_the_physics() -> None:
    with pytest.raises(OutOfRangeError):
        interpret_readings(replace(SWEET, refractometer=RefractometerRead(11.0, 26.0)))
    cold = interpret_readings(replace(SWEET, refractometer=RefractometerRead(11.0, 10.0)))
    own = interpret_readings(replace(SWEET, refractometer=RefractometerRead(11.0, 26.0, compensates=True)))
    assert cold.refractometer is not None
    # OIV-MA-AS2-02, Table I, 10 °C: −0.59 at 10, −0.62 at 15 °Bx
    assert cold.refractometer.value_brix == pytest.approx(11.0 - 0.596, abs=0.006)
    assert own.refractometer is not None
    assert own.refractometer.value_brix == 11.0


def test_the_days_of_a_series_are_told() -> None:
    found = trend((0, 1.010), (3, 1.004)).trend
    assert found is not None
    assert [day.date for day in found.readings] == [FIRST.isoformat(), (FIRST + timedelta(days=3)).isoformat()]
