"""Pressure of a closed drink that warms and ferments again: levels, tables, worst cases. Demo drinks are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.loader import sources
from service.errors import InputError, OutOfRangeError
from service.physics.carbon_dioxide import SHARE_OF_ERROR, closed_pressure_bar, co2_from_sugar_g_per_l
from service.physics.solutes import Component
from service.planner.answers import Predicted
from service.planner.drink import Span
from service.planner.pressure.answers import Refermentation
from service.planner.pressure.asked import Closed, Rest
from service.planner.pressure.gas import co2_per_g_of_sugar, level_of
from service.planner.pressure.refermentation import refermentation
from tests.planner.pressure_cases import CHAMPAGNE_GLASS, FINISHED, drink, texts


def cell(found: Refermentation, temperature: float, sugar: float) -> float:
    (row,) = (r for r in found.table if r.temperature_c == temperature and r.sugar_burned_g_per_l == sugar)
    return row.pressure_bar


def test_the_table_of_pressures() -> None:
    """6.5 % vol, 100 g/L, headspace 4 %, 1 g/L of gas before (computed)."""
    found = refermentation(drink(), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    expected = {
        (4.0, 0.0): 0.4285,
        (20.0, 0.0): 0.6958,
        (30.0, 0.0): 0.8956,
        (20.0, 2.0): 1.3417,
        (30.0, 2.0): 1.7271,
        (30.0, 4.0): 2.5585,
        (4.0, 100.0): 20.3168,
        (20.0, 100.0): 32.9917,
        (30.0, 100.0): 42.4680,
    }
    for (temperature, sugar), bar in expected.items():
        assert cell(found, temperature, sugar) == pytest.approx(bar, rel=1e-3)
    assert len(found.table) == 3 * 4
    assert found.baseline.pressure_bar == pytest.approx(0.8956, rel=1e-3)
    assert found.increment_bar == pytest.approx(42.468 - 0.8956, rel=1e-3)
    assert found.worst == found.full
    assert found.worst.level == "burst_hazard"
    assert found.worst.pressure_psi == pytest.approx(42.468 * 14.5038, rel=1e-3)


def test_sugar_to_reach() -> None:
    """By the upper ends (the law 7 % low, sucrose) 3 bar take 6.2 g/L at 20 °C, 4.3 at 30, 6 bar 14.4 and 10.7: that
    pressure is the upper end of what they give. 1 g/L is 0.47 points of gravity (computed)."""
    found = refermentation(drink(), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    rows = {(r.temperature_c, r.pressure_bar): r for r in found.sugar_to_reach}
    for key in ((20.0, 3.0), (30.0, 3.0), (20.0, 6.0), (30.0, 6.0)):
        held = 1.0 + co2_from_sugar_g_per_l(0.0, rows[key].sugar_g_per_l)
        bar = closed_pressure_bar(held, key[0], 6.5, 100.0, 0.04)
        assert (1.0 + SHARE_OF_ERROR) * bar == pytest.approx(key[1], abs=2e-3)
        assert rows[key].there_is_enough
    assert rows[20.0, 3.0].sugar_g_per_l == pytest.approx(6.2, abs=0.05)
    assert rows[20.0, 3.0].gravity_fall == pytest.approx(0.0029, abs=1e-4)
    less = refermentation(drink(100.0, fermentable=Span.exact(6.0)), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert [r.there_is_enough for r in less.sugar_to_reach if r.pressure_bar == 3.0] == [False, True]


def test_forty_degrees() -> None:
    """Computed: 1.1 bar of the gas that is there at 40 °C, and 3 bar from 3.1 g/L by the upper ends."""
    found = refermentation(drink(), Closed("sparkling_bottle", storage_c=40.0), ["pasteurised"], FINISHED)
    assert found.warmest_c == 40.0
    assert found.baseline.pressure_bar == pytest.approx(1.1134, rel=1e-3)
    (three,) = (r for r in found.sugar_to_reach if r.temperature_c == 40.0 and r.pressure_bar == 3.0)
    assert three.sugar_g_per_l == pytest.approx(3.107, rel=5e-3)
    assert {r.temperature_c for r in found.table} == {4.0, 20.0, 30.0, 40.0}


@pytest.mark.parametrize(
    ("bar", "level"),
    [
        (0.0, "still"),
        (0.499, "still"),
        (0.5, "prickle"),
        (0.999, "prickle"),
        (1.0, "pressure"),
        (2.999, "pressure"),
        (3.0, "beyond_beer_glass"),
        (5.999, "beyond_beer_glass"),
        (6.0, "burst_hazard"),
        (50.0, "burst_hazard"),
    ],
)
def test_levels(bar: float, level: str) -> None:
    """Our default; 0.5 bar at 20 °C after OIV-MA-AS314-01."""
    assert level_of(bar) == level


def test_a_level_is_judged_by_the_upper_end() -> None:
    """2.9 bar, perhaps 3.1: beyond beer-type glass."""
    found = refermentation(drink(100.0, fermentable=Span.exact(4.8)), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert 2.8 < found.worst.pressure_bar < 3.0 < found.worst.high_bar
    assert found.worst.level == "beyond_beer_glass"


def test_figures_count_sucrose_for_the_upper_end_and_recipes_what_is_in_them() -> None:
    """0.4886 g CO2 from a gram of hexose, 0.5143 from sucrose (formula masses), 95 % of it."""
    by_figures = drink()
    assert co2_per_g_of_sugar(by_figures) == pytest.approx((0.95 * 0.4886, 0.95 * 0.5143))
    found = refermentation(by_figures, CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    most = closed_pressure_bar(1.0 + co2_from_sugar_g_per_l(0.0, 100.0), 30.0, 6.5, 100.0, 0.04)
    assert found.full.high_bar == pytest.approx(most * (1.0 + SHARE_OF_ERROR), rel=1e-4)
    half = replace(
        by_figures,
        predicted=cast("Predicted", object()),
        masses_g_per_l={Component.SUCROSE: 50.0, Component.GLUCOSE: 20.0, Component.FRUCTOSE: 30.0},
    )
    both = 0.95 * (0.4886 + 0.5143) / 2.0
    assert co2_per_g_of_sugar(half) == pytest.approx((both, both))
    assert co2_per_g_of_sugar(replace(half, masses_g_per_l={})) == co2_per_g_of_sugar(by_figures)


def test_the_tolerance_counts_from_the_lower_end_of_the_strength() -> None:
    """From 6.0 % vol a yeast that stands 8 burns 2·7.8924/0.47 = 33.6 g/L (computed)."""
    asked = Rest(finished=True, tolerance_abv_percent=8.0)
    found = refermentation(drink(100.0, Span(6.5, 6.0, 7.0)), CHAMPAGNE_GLASS, ["pasteurised"], asked)
    assert found.can_ferment_g_per_l == pytest.approx(33.585, abs=0.001)
    assert found.limited_by == "tolerance"
    assert found.worst.pressure_bar < found.full.pressure_bar
    assert "Alcohol does not protect this batch" in found.alcohol_text
    assert "34 g/L more" in found.alcohol_text
    sugar = refermentation(drink(20.0), CHAMPAGNE_GLASS, ["pasteurised"], asked)
    assert (sugar.limited_by, sugar.can_ferment_g_per_l) == ("sugar", 20.0)


def test_alcohol_is_never_leant_on() -> None:
    nothing = refermentation(drink(), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert "Alcohol does not protect this batch" in nothing.alcohol_text
    stood = Rest(finished=True, tolerance_abv_percent=6.0)
    found = refermentation(drink(), CHAMPAGNE_GLASS, [], stood)
    assert "a claim and no limit" in found.alcohol_text
    assert found.worst == replace(found.baseline, sugar_burned_g_per_l=0.0)
    assert found.verdict == "do_not_seal"  # whatever the packet says
    assert "42 bar" in found.text


def test_the_upper_end_of_the_sugar_counts() -> None:
    found = refermentation(drink(Span(20.0, 15.0, 26.0)), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert found.fermentable_sugar_g_per_l == 26.0
    assert found.full.sugar_burned_g_per_l == 26.0
    exact = refermentation(drink(26.0), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert found.full == exact.full


def test_the_verdict_and_the_pressure_stand_on_one_line() -> None:
    held = refermentation(drink(), CHAMPAGNE_GLASS, ["pasteurised"], FINISHED)
    assert held.verdict == "no_blocker_found"
    assert held.text.startswith("No blocker found by this check; if all its sugar ferments it reaches 42 bar (616 psi)")
    assert held.text.endswith("burst hazard in any common bottle.")
    bare = refermentation(drink(), CHAMPAGNE_GLASS, [], FINISHED)
    assert bare.verdict == "do_not_seal"
    assert bare.text.startswith(
        "Do not seal it (refermentable sugar no hurdle, pressure over rating); if all its sugar"
    )
    assert len(bare.blockers) == 2
    assert "\n" not in bare.text + held.text


@pytest.mark.parametrize("hurdles", [(), ("pasteurised",), ("cold",), ("sulfite", "sorbate")])
@pytest.mark.parametrize("sugar", [0.0, 1.5, 100.0])
def test_nothing_is_called_safe(sugar: float, hurdles: tuple[str, ...]) -> None:
    found = refermentation(drink(sugar, ph=Span.exact(3.3)), Closed(), hurdles, FINISHED)
    words = " ".join(texts(found)).lower()
    assert "42 bar" in words or sugar < 100.0
    assert all(word not in words for word in ("safe", "harmless", "no risk", "cannot burst"))


def test_every_caution_is_short_and_has_a_source() -> None:
    for closed in (Closed("growler", 0.02, storage_c=40.0, co2_g_per_l=5.0), Closed("can", rated_bar=6.0)):
        found = refermentation(drink(ph=Span.exact(4.7), sorbic_acid_mg_per_l=400.0), closed, ["sorbate"], Rest(False))
        assert len(found.cautions) >= 8
        for caution in found.cautions:
            assert len(caution.text.split()) <= 30, caution
            assert caution.source_id in sources()
        levels = [caution.level for caution in found.cautions]
        assert levels == sorted(levels, key=("stop", "warning", "note").index)


def test_defaults_are_named_and_what_was_said_is_not() -> None:
    nothing = refermentation(drink(), Closed(), ["pasteurised"], FINISHED)
    named = {a.what for a in nothing.assumed}
    assert {
        "warmest storage",
        "headspace",
        "carbon dioxide in the drink when it is closed",
        "temperature when it is closed",
        "pH of the drink",
    } <= named
    told = Closed("bottle", 0.05, 6.0, 25.0, 0.8, filled_at_c=10.0)
    acid = drink(ph=Span.exact(3.3))
    all_told = {a.what for a in refermentation(acid, told, ["pasteurised"], FINISHED).assumed}
    assert all_told == {"kind of fermentable sugar", "law of solubility"}
    cold = refermentation(drink(), replace(told, storage_c=4.0), ["pasteurised"], FINISHED)
    assert cold.warmest_c == 20.0
    assert "warmest temperature" in {a.what for a in cold.assumed}


def test_what_to_watch() -> None:
    found = refermentation(drink(), Closed(), ["pasteurised"], FINISHED)
    meter = "pH meter, checked in pH 4.01 and 7.00"
    assert [r.instrument for r in found.next_reading] == ["hydrometer", meter, "one plastic bottle of the batch"]
    assert "0.002" in found.next_reading[0].do
    acid = refermentation(drink(ph=Span.exact(3.3)), Closed(), ["pasteurised"], FINISHED)
    assert [r.instrument for r in acid.next_reading] == ["hydrometer", "one plastic bottle of the batch"]
    juice = refermentation(drink(100.0, 0.0), Closed(), ["pasteurised"], FINISHED)
    assert [r.instrument for r in juice.next_reading] == [meter, "one plastic bottle of the batch"]


@pytest.mark.parametrize(
    ("closed", "rest", "pointer"),
    [
        (Closed(storage_c=61.0), Rest(), "/storage_temperature"),
        (Closed(storage_c=float("nan")), Rest(), "/storage_temperature"),
        (Closed(headspace_share=-0.01), Rest(), "/headspace"),
        (Closed(headspace_share=2.1), Rest(), "/headspace"),
        (Closed(co2_g_per_l=20.1), Rest(), "/co2_g_per_l"),
        (Closed(rated_bar=0.0), Rest(), "/rated_pressure"),
        (Closed(), Rest(tolerance_abv_percent=26.0), "/tolerance_abv_percent"),
    ],
)
def test_what_is_refused(closed: Closed, rest: Rest, pointer: str) -> None:
    with pytest.raises(OutOfRangeError) as found:
        refermentation(drink(), closed, (), rest)
    assert found.value.pointer == pointer


def test_a_drink_beyond_the_law_is_refused() -> None:
    for beyond in (drink(10.0, 21.0), drink(310.0, 6.0)):
        with pytest.raises(OutOfRangeError):
            refermentation(beyond, Closed())
    with pytest.raises(InputError, match="choose from") as found:
        refermentation(drink(), Closed(), ["prayer"])
    assert found.value.pointer == "/hurdles"


@given(
    sugar=st.floats(0.0, 250.0),
    more=st.floats(0.01, 40.0),
    abv=st.floats(0.0, 18.0),
    warm=st.floats(20.0, 50.0),
    warmer=st.floats(0.1, 10.0),
    share=st.floats(0.0, 0.2),
)
@settings(max_examples=40, deadline=None)
def test_pressure_rises_with_sugar_and_temperature(
    sugar: float, more: float, abv: float, warm: float, warmer: float, share: float
) -> None:
    def found(g_per_l: float, temperature: float) -> Refermentation:
        return refermentation(drink(g_per_l, abv), Closed("can", share, storage_c=temperature))

    here = found(sugar, warm)
    assert found(sugar + more, warm).worst.pressure_bar > here.worst.pressure_bar
    assert found(sugar, warm + warmer).worst.pressure_bar > here.worst.pressure_bar
    assert here.worst.high_bar >= here.worst.pressure_bar >= here.baseline.pressure_bar
    by_temperature: dict[float, list[float]] = {}
    for row in here.table:
        by_temperature.setdefault(row.temperature_c, []).append(row.pressure_bar)
    assert all(column == sorted(column) for column in by_temperature.values())
    assert here.text.startswith("Do not seal it" if here.blockers else "No blocker found by this check")


@given(tolerance=st.floats(0.0, 25.0), sugar=st.floats(0.0, 200.0), abv=st.floats(0.0, 18.0))
@settings(max_examples=30, deadline=None)
def test_a_tolerance_never_raises_the_pressure(tolerance: float, sugar: float, abv: float) -> None:
    limited = refermentation(drink(sugar, abv), Closed(), (), Rest(tolerance_abv_percent=tolerance))
    free = refermentation(drink(sugar, abv), Closed())
    assert limited.worst.pressure_bar <= free.worst.pressure_bar
    assert limited.full == free.full
    assert limited.verdict == free.verdict or limited.rating != free.rating
