"""Gas on a keg, bottles filled from it, and pasteurising in closed containers. Demo drinks are invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.loader import sources
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.planner.answers import Caution
from service.planner.pressure.answers import HeatReport, KegGas
from service.planner.pressure.asked import Closed
from service.planner.pressure.cold_filled import cold_filled
from service.planner.pressure.heating import heat
from service.planner.pressure.keg import keg
from tests.planner.pressure_cases import codes, drink, texts

SWEET = drink(90.0)
DRY = drink(0.0)
RATED = Closed("beer_bottle", 0.04, 6.0)


@pytest.mark.parametrize(
    ("temperature", "volumes", "bar", "psi"),
    [(4.0, 2.0, 0.71, 10.3), (4.0, 2.5, 1.14, 16.5), (20.0, 2.0, 1.83, 26.6), (20.0, 2.5, 2.55, 36.9)],
)
def test_gauge_of_a_keg(temperature: float, volumes: float, bar: float, psi: float) -> None:
    """6.5 % vol, 90 g/L (computed)."""
    found = keg(SWEET, temperature, volumes=volumes)
    assert found.gauge_bar == pytest.approx(bar, abs=0.01)
    assert found.gauge_psi == pytest.approx(psi, abs=0.06)
    assert found.low_bar is not None
    assert found.high_bar is not None
    assert found.low_bar < bar < found.high_bar
    assert not found.still


def test_a_sweet_drink_needs_more_than_water() -> None:
    """2 volumes at 4 °C: 0.71 against 0.37 bar, 24 % more absolute pressure (computed)."""
    found = keg(SWEET, 4.0, volumes=2.0, volume_l=19.0)
    assert found.water_gauge_bar == pytest.approx(0.37, abs=0.01)
    assert found.gauge_bar is not None
    assert found.water_gauge_bar is not None
    assert (found.gauge_bar + 1.01325) / (found.water_gauge_bar + 1.01325) == pytest.approx(1.24, abs=0.01)
    assert found.co2_mass_g == pytest.approx(2.0 * 1.9768 * 19.0, abs=0.1)
    rows = {r.temperature_c: r.pressure_bar for r in found.by_temperature}
    assert list(rows.values()) == sorted(rows.values())
    assert rows[4.0] == pytest.approx(found.gauge_bar, abs=1e-3)


@pytest.mark.parametrize(("gauge", "content", "volumes"), [(0.3, 3.01, 1.52), (0.7, 3.93, 1.99)])
def test_a_still_drink_left_under_gas(gauge: float, content: float, volumes: float) -> None:
    """4 °C, 6.5 % vol, 90 g/L (computed)."""
    found = keg(SWEET, 4.0, gauge_bar=gauge)
    (row,) = (r for r in found.left_under if r.gauge_bar == gauge)
    assert row.co2_g_per_l == pytest.approx(content, abs=0.01)
    assert row.co2_volumes == pytest.approx(volumes, abs=0.01)
    assert found.still
    assert found.gauge_bar is None
    assert f"{content:.2f} g/L" in found.text
    assert any("nitrogen" in way for way in found.stays_still)


KEG: dict[str, tuple[str, str, dict[str, Any], dict[str, Any]]] = {
    "over the rating": ("keg_over_pressure", "stop", {"volumes": 4.0, "rated_bar": 2.5}, {"volumes": 2.0}),
    "over it when warm": (
        "keg_over_pressure_when_warm",
        "warning",
        {"volumes": 2.5, "rated_bar": 3.0},
        {"volumes": 2.5, "rated_bar": 9.0},
    ),
    "over it when warm, and stored so": (
        "keg_over_pressure_when_warm",
        "stop",
        {"volumes": 2.5, "rated_bar": 3.0, "storage_c": 30.0},
        {"volumes": 2.5, "rated_bar": 9.0, "storage_c": 30.0},
    ),
    "still, over it when warm": (
        "keg_over_pressure_when_warm",
        "warning",
        {"gauge_bar": 1.5, "rated_bar": 3.0},
        {"gauge_bar": 0.3, "rated_bar": 3.0},
    ),
    "left under gas": ("still_keg_takes_up_gas", "warning", {}, {"nitrogen": True}),
}


@pytest.mark.parametrize("case", KEG)
def test_cautions_of_a_keg(case: str) -> None:
    code, level, bad, good = KEG[case]
    assert code in codes(keg(SWEET, 4.0, **bad).cautions, level)
    assert code not in codes(keg(SWEET, 4.0, **good).cautions)


def test_every_keg_has_a_valve_and_a_room() -> None:
    for found in (keg(SWEET, 4.0), keg(SWEET, 4.0, volumes=2.0), keg(SWEET, 4.0, nitrogen=True)):
        assert {"keg_relief_valve", "gas_in_closed_rooms"} <= codes(found.cautions, "warning")
        assert found.steps


@pytest.mark.parametrize(
    ("given", "pointer"),
    [
        ({"volumes": 0.5}, "/volumes"),
        ({"volumes": 5.1}, "/volumes"),
        ({"volumes": 2.0, "gauge_bar": 0.3}, "/volumes"),
        ({"volumes": 2.0, "nitrogen": True}, "/nitrogen"),
        ({"gauge_bar": -0.1}, "/gauge_pressure"),
        ({"gauge_bar": 9.1}, "/gauge_pressure"),
        ({"rated_bar": 0.0}, "/rated_pressure"),
        ({"volume_l": 0.0}, "/volume"),
        ({"temperature_c": 40.1}, "/temperature"),
        ({"temperature_c": -1.0}, "/temperature"),
    ],
)
def test_kegs_that_are_refused(given: dict[str, Any], pointer: str) -> None:
    with pytest.raises(InputError) as found:
        keg(SWEET, **{"temperature_c": 4.0, **given})
    assert found.value.pointer == pointer


def test_bottles_from_a_cold_keg() -> None:
    """2 volumes, 90 g/L, 6.5 % vol; warming multiplies the pressure by k(4 °C)/k(T), headspace aside (computed)."""
    found = cold_filled(SWEET, Closed("sparkling_bottle"), 4.0, volumes=2.0)
    rows = {r.temperature_c: r for r in found.pressures}
    assert set(rows) == {4.0, 20.0, 30.0, 40.0, 50.0}
    assert [r.pressure_bar for r in found.pressures] == sorted(r.pressure_bar for r in found.pressures)
    assert rows[20.0].pressure_bar / rows[4.0].pressure_bar == pytest.approx(2.8529 / 1.7250, rel=0.02)
    assert found.keg_gauge_bar == pytest.approx(0.71, abs=0.01)
    assert found.rating.rated_bar == 6.0
    by_gauge = cold_filled(SWEET, Closed("sparkling_bottle"), 4.0, gauge_bar=found.keg_gauge_bar)
    assert by_gauge.co2_volumes == pytest.approx(2.0, abs=1e-3)


COLD: dict[str, tuple[str, str, Closed, Closed]] = {
    "no rating": ("container_without_rating", "stop", Closed("swing_top"), Closed("sparkling_bottle")),
    "over the rating": (
        "pressure_over_rating",
        "stop",
        Closed("beer_bottle", storage_c=30.0),
        Closed("beer_bottle", rated_bar=6.0),
    ),
    "hot car": (
        "too_much_gas_for_a_hot_car",
        "warning",
        Closed("sparkling_bottle", rated_bar=5.0),
        Closed("sparkling_bottle", rated_bar=10.0),
    ),
    "little headspace": ("headspace_too_small", "warning", Closed("can", 0.02), Closed("can", 0.03)),
}


@pytest.mark.parametrize("case", COLD)
def test_cautions_of_bottles_from_a_keg(case: str) -> None:
    code, level, bad, good = COLD[case]
    assert code in codes(cold_filled(SWEET, bad, 4.0, volumes=2.0).cautions, level)
    fine = cold_filled(SWEET, good, 4.0, volumes=2.0).cautions
    assert code not in codes(fine)
    assert "bottles_from_a_cold_keg_warm_up" in codes(fine, "warning")


def test_bottles_from_a_keg_that_says_too_little_or_too_much() -> None:
    for said in ({}, {"volumes": 2.0, "gauge_bar": 0.7}):
        with pytest.raises(InputError, match="Say what is in the keg"):
            cold_filled(SWEET, Closed("can"), 4.0, **said)
    with pytest.raises(OutOfRangeError):
        cold_filled(SWEET, Closed("can"), 41.0, volumes=2.0)


@pytest.mark.parametrize(
    ("temperature", "minutes"), [(60.0, 60.0), (63.0, 22.0), (65.0, 11.4), (68.0, 4.2), (70.0, 2.2)]
)
def test_minutes(temperature: float, minutes: float) -> None:
    """60 units by the formula of Del Vecchio et al. 1951 (computed)."""
    found = heat(DRY, RATED, temperature_c=temperature)
    assert found.minutes == pytest.approx(minutes, abs=0.51 if minutes == int(minutes) else 0.051)
    assert found.target_units == 60.0
    assert "pasteurising units aimed at" in {a.what for a in found.assumed}


def test_a_log_and_what_it_lacks() -> None:
    """20 min at 65 °C are 105 units (computed); 60 of 105 leave nothing, 200 leave 95, 18 min at 65 °C."""
    log = [(0.0, 20.0), (25.0, 65.0), (45.0, 65.0), (60.0, 30.0)]
    done = heat(DRY, RATED, temperature_c=65.0, target_units=60.0, log=log)
    assert done.units_given == pytest.approx(105.0, abs=0.51)
    assert (done.missing_units, done.missing_minutes, done.reached) == (0.0, 0.0, True)
    assert "is reached" in done.text
    short = heat(DRY, RATED, temperature_c=65.0, target_units=200.0, log=log)
    assert short.missing_units == pytest.approx(95.0, abs=0.51)
    assert short.missing_minutes == pytest.approx(95.0 / 1.393**5, abs=0.1)
    assert short.reached is False
    assert "pasteurising_below_target" in codes(short.cautions, "warning")
    assert "pasteurising_below_target" not in codes(done.cautions)
    without = heat(DRY, RATED, temperature_c=65.0)
    assert (without.units_given, without.missing_minutes, without.reached) == (None, None, None)
    hot = heat(DRY, RATED, temperature_c=65.0, log=[(0.0, 65.0), (5.0, 75.0), (10.0, 65.0)])
    assert hot.headspace.heated_to_c == 75.0


def test_the_headspace_when_heated() -> None:
    """Water swells 2.09 % from 20 to 70 °C, a drink is taken to swell 1.15 times that (computed; our default)."""
    room = heat(DRY, replace(RATED, filled_at_c=20.0), temperature_c=70.0).headspace
    assert room.swelling_share == pytest.approx(1.15 * 0.0209, abs=1e-4)
    assert room.air_bar_absolute == pytest.approx(
        1.01325 * 343.15 / 293.15 * 0.04 / (0.04 - room.swelling_share), abs=0.01
    )
    assert room.air_bar_absolute is not None
    assert room.co2_bar is not None
    assert room.vapour_bar is not None
    assert room.gauge_bar == pytest.approx(room.air_bar_absolute + room.co2_bar + room.vapour_bar - 1.01325, abs=1e-3)
    assert room.vapour_bar > 0.31  # water alone at 70 °C, steam tables
    full = heat(DRY, Closed("beer_bottle", 0.02, 6.0), temperature_c=70.0).headspace
    assert full.full_of_liquid
    assert full.gauge_bar is None
    assert "the container breaks" in full.text


HEAT: dict[str, tuple[str, str, dict[str, Any], dict[str, Any]]] = {
    "full of liquid": (
        "container_full_when_heated",
        "stop",
        {"closed": Closed("beer_bottle", 0.02, 6.0), "temperature_c": 70.0},
        {"closed": Closed("beer_bottle", 0.04, 6.0), "temperature_c": 70.0},
    ),
    "full when hotter in the log": (
        "container_full_when_heated",
        "stop",
        {"closed": Closed("can", 0.025, 9.0), "log": [(0.0, 60.0), (5.0, 75.0)]},
        {"closed": Closed("can", 0.025, 9.0), "log": [(0.0, 60.0), (5.0, 65.0)]},
    ),
    "carbonated": (
        "heating_carbonated",
        "stop",
        {"closed": Closed("bottle", 0.04), "carbonated": True},
        {"closed": Closed("sparkling_bottle", 0.04, 12.0), "carbonated": True},
    ),
    "much gas": (
        "heating_carbonated",
        "stop",
        {"closed": Closed("bottle", 0.04, co2_g_per_l=2.7)},
        {"closed": Closed("bottle", 0.04, co2_g_per_l=1.0)},
    ),
    "over a stated rating": (
        "heated_pressure_over_rating",
        "stop",
        {"closed": Closed("bottle", 0.04, 2.0)},
        {"closed": Closed("bottle", 0.04, 6.0)},
    ),
    "over a usual rating": (
        "heated_pressure_over_rating",
        "stop",
        {"closed": Closed("beer_bottle", 0.04)},
        {"closed": Closed("beer_bottle", 0.08)},
    ),
    "nearly full, without a rating": (
        "heated_pressure_over_rating",
        "stop",
        {"closed": Closed("bottle", 0.021, filled_at_c=20.0)},
        {"closed": Closed("bottle", 0.08, filled_at_c=20.0)},
    ),
    "hot, and nothing said of the container": (
        "heated_pressure_over_rating",
        "stop",
        {"closed": Closed(), "temperature_c": 80.0, "container_told": False},
        {"closed": Closed(), "temperature_c": 70.0, "container_told": False},
    ),
    "no rating": (
        "heating_closed_containers",
        "warning",
        {"closed": Closed("still_bottle", 0.08)},
        {"closed": Closed("still_bottle", 0.08, 6.0)},
    ),
    "little headspace": (
        "headspace_too_small",
        "warning",
        {"closed": Closed("can", 0.035, 9.0)},
        {"closed": Closed("can", 0.04, 9.0)},
    ),
    "little headspace for 80 °C": (
        "headspace_too_small",
        "warning",
        {"closed": Closed("can", 0.045, 20.0, filled_at_c=20.0), "temperature_c": 80.0},
        {"closed": Closed("can", 0.051, 20.0, filled_at_c=20.0), "temperature_c": 80.0},
    ),
    "too few units": (
        "pasteurising_below_target",
        "warning",
        {"log": [(0.0, 65.0), (5.0, 65.0)]},
        {"log": [(0.0, 65.0), (12.0, 65.0)]},
    ),
    "a target that is none": (
        "pasteurising_below_target",
        "warning",
        {"target_units": 59.9},
        {"target_units": 60.0},
    ),
    "sweet and weak": (
        "sweet_weak_drink_may_need_more_units",
        "note",
        {"target_units": 60.0},
        {"target_units": 100.0},
    ),
}


def heated(given: dict[str, Any]) -> HeatReport:
    return heat(SWEET, **{"closed": RATED, "temperature_c": 65.0, **given})


@pytest.mark.parametrize("case", HEAT)
def test_cautions_of_heat(case: str) -> None:
    code, level, bad, good = HEAT[case]
    assert code in codes(heated(bad).cautions, level)
    fine = heated(good).cautions
    assert code not in codes(fine)
    assert "hot_glass_and_scalds" in codes(fine, "warning")


@pytest.mark.parametrize(
    ("given", "pointer"),
    [
        ({"temperature_c": 54.9}, "/temperature"),
        ({"temperature_c": 85.1}, "/temperature"),
        ({"target_units": 0.0}, "/target_units"),
        ({"target_units": 10_001.0}, "/target_units"),
        ({"closed": replace(RATED, filled_at_c=51.0)}, "/filled_at"),
        ({"closed": Closed("can", rated_bar=0.0)}, "/rated_pressure"),
        ({"log": [(0.0, 65.0), (5.0, 86.0)]}, "/log"),
    ],
)
def test_heat_that_is_refused(given: dict[str, Any], pointer: str) -> None:
    with pytest.raises(OutOfRangeError) as found:
        heated(given)
    assert found.value.pointer == pointer


def test_a_log_that_cannot_be_read() -> None:
    with pytest.raises(InconsistentError) as found:
        heated({"log": [(5.0, 65.0), (0.0, 65.0)]})
    assert found.value.pointer == "/log"


def test_what_is_told_without_figures() -> None:
    found = heat(DRY, Closed("can"))
    assert found.temperature_c == 65.0
    assert {a.what for a in found.assumed} == {
        "pasteurising units aimed at",
        "temperature of the coldest spot",
        "temperature when it is closed",
        "headspace",
        "carbon dioxide in the drink when it is closed",
    }
    assert heat(DRY, Closed("can"), temperature_c=65.0, target_units=0.5).text.startswith("6 s at 65 °C")


def answers() -> list[KegGas | HeatReport | Any]:
    return [
        keg(SWEET, 4.0, volumes=4.0, rated_bar=2.5),
        keg(SWEET, 4.0, gauge_bar=0.7),
        keg(DRY, 4.0, nitrogen=True),
        cold_filled(SWEET, Closed("swing_top", 0.02), 4.0, volumes=2.5),
        cold_filled(DRY, Closed("sparkling_bottle", rated_bar=4.0), 4.0, volumes=2.0),
        heated({"closed": Closed("bottle", 0.02), "temperature_c": 80.0}),
        heated({"closed": Closed("bottle", 0.03, 1.0), "log": [(0.0, 65.0), (5.0, 65.0)]}),
        heated({"carbonated": True, "closed": Closed("bottle")}),
    ]


def test_cautions_are_short_cited_and_never_call_anything_safe() -> None:
    for answer in answers():
        cautions: tuple[Caution, ...] = answer.cautions
        levels = [caution.level for caution in cautions]
        assert levels == sorted(levels, key=("stop", "warning", "note").index)
        for caution in cautions:
            assert len(caution.text.split()) <= 30, caution
            assert caution.source_id in sources()
        for step in getattr(answer, "steps", ()):
            assert step.source_id in sources()
        words = " ".join(texts(answer)).lower()
        assert all(word not in words for word in (" safe", "safely", "harmless"))


@given(
    volumes=st.floats(1.8, 4.5),
    temperature=st.floats(0.0, 29.0),
    warmer=st.floats(0.1, 10.0),
    sugar=st.floats(0.0, 200.0),
    more=st.floats(1.0, 60.0),
)
@settings(max_examples=40, deadline=None)
def test_a_keg_needs_more_when_warmer_and_sweeter(
    volumes: float, temperature: float, warmer: float, sugar: float, more: float
) -> None:
    here = keg(drink(sugar), temperature, volumes=volumes).gauge_bar
    assert here is not None
    assert (keg(drink(sugar), temperature + warmer, volumes=volumes).gauge_bar or 0.0) > here
    assert (keg(drink(sugar + more), temperature, volumes=volumes).gauge_bar or 0.0) > here


@given(temperature=st.floats(55.0, 84.0), hotter=st.floats(0.01, 1.0), share=st.floats(0.04, 0.2))
@settings(max_examples=40, deadline=None)
def test_a_hotter_headspace_holds_more(temperature: float, hotter: float, share: float) -> None:
    closed = Closed("can", share)
    here, there = (heat(DRY, closed, temperature_c=t) for t in (temperature, temperature + hotter))
    assert there.minutes <= here.minutes
    assert (there.headspace.gauge_bar or 1e9) >= (here.headspace.gauge_bar or 0.0)
    assert there.headspace.least_headspace_share >= here.headspace.least_headspace_share
