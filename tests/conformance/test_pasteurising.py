"""Pasteurising units against Del Vecchio's formula (1951, as a weak secondary source quotes it); values computed."""

from __future__ import annotations

import math
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.errors import InconsistentError, InputError, OutOfRangeError
from service.physics.pasteurising import (
    DEFAULT_MINIMUM_UNITS,
    Z_VALUE_C,
    minutes_for_units,
    pasteurising_units,
    units_of_log,
)

TEMPERATURES = st.floats(55.0, 85.0)
MINUTES = st.floats(0.01, 120.0)
Log = list[tuple[float, float]]


def test_a_minute_at_sixty_degrees_is_one_unit() -> None:
    """The definition of the unit."""
    assert pasteurising_units(1.0, 60.0) == 1.0


@pytest.mark.parametrize(
    ("temperature", "minutes", "units"),
    [(60, 20, 20), (65, 10, 52), (65, 20, 105), (70, 20, 550), (72, 0.25, 13), (75, 0.5, 72)],
)
def test_units(temperature: float, minutes: float, units: float) -> None:
    """Computed, to the last digit. 70 °C for 20 min: an equipment maker's advice for apple juice (weak source)."""
    assert pasteurising_units(minutes, temperature) == pytest.approx(units, abs=0.51)


@pytest.mark.parametrize(("temperature", "minutes"), [(60, 60), (63, 22), (65, 11.4), (68, 4.2), (70, 2.2)])
def test_minutes_for_sixty_units(temperature: float, minutes: float) -> None:
    """Computed, to the last digit."""
    found = minutes_for_units(DEFAULT_MINIMUM_UNITS, temperature)
    assert found == pytest.approx(minutes, abs=0.51 if minutes == int(minutes) else 0.051)


def test_z_value() -> None:
    """6.95 °C (computed), next to the z = 7 °C form of the formula (weak secondary source)."""
    assert pytest.approx(6.95, abs=0.005) == Z_VALUE_C
    assert pasteurising_units(1.0, 60.0 + Z_VALUE_C) == pytest.approx(10.0)
    for temperature in (60.0, 65.0, 70.0):
        seven = 10.0 ** ((temperature - 60.0) / 7.0)
        assert pasteurising_units(1.0, temperature) == pytest.approx(seven, rel=0.03)


@given(units=st.floats(0.0, 1000.0), temperature=TEMPERATURES)
def test_minutes_and_units_are_inverses(units: float, temperature: float) -> None:
    minutes = minutes_for_units(units, temperature)
    assert pasteurising_units(minutes, temperature) == pytest.approx(units, rel=1e-12)


@given(minutes=MINUTES, temperature=st.floats(55.0, 84.0), step=st.floats(0.01, 1.0))
def test_units_rise_with_time_and_temperature(minutes: float, temperature: float, step: float) -> None:
    here = pasteurising_units(minutes, temperature)
    assert pasteurising_units(minutes, temperature + step) > here
    assert pasteurising_units(minutes + step, temperature) > here


@given(start=st.floats(-100.0, 100.0), minutes=MINUTES, temperature=TEMPERATURES)
def test_a_log_of_one_temperature_is_that_temperature(start: float, minutes: float, temperature: float) -> None:
    log = [(start, temperature), (start + minutes, temperature)]
    assert units_of_log(log) == pytest.approx(pasteurising_units(minutes, temperature), rel=1e-9)


@given(
    temperatures=st.lists(st.floats(0.0, 85.0), min_size=3, max_size=12),
    cut=st.integers(1, 10),
    interval=st.floats(0.1, 10.0),
)
def test_a_log_can_be_cut_in_two(temperatures: list[float], cut: int, interval: float) -> None:
    log: Log = [(interval * k, temperature) for k, temperature in enumerate(temperatures)]
    at = min(cut, len(log) - 2)
    assert units_of_log(log) == pytest.approx(units_of_log(log[: at + 1]) + units_of_log(log[at:]))


@given(low=st.floats(55.0, 70.0), rise=st.floats(0.5, 15.0), minutes=st.floats(1.0, 30.0), parts=st.integers(1, 40))
def test_a_warming_log_never_counts_more_than_the_drink_had(
    low: float, rise: float, minutes: float, parts: int
) -> None:
    """Against the exact integral of a steady rise, t·(r₂ − r₁)/ln(r₂/r₁); and finer readings come closer to it."""
    first, last = (pasteurising_units(1.0, temperature) for temperature in (low, low + rise))
    exact = minutes * (last - first) / math.log(last / first)

    def logged(n: int) -> float:
        return units_of_log([(minutes * k / n, low + rise * k / n) for k in range(n + 1)])

    assert logged(parts) < exact
    assert logged(parts) < logged(2 * parts) < exact
    assert logged(2000) == pytest.approx(exact, rel=2e-3)


def test_one_degree_between_readings_falls_short_by_a_sixth() -> None:
    """ln 1.393/0.393 = 0.843 of the exact integral (computed)."""
    rise: Log = [(float(k), 60.0 + k) for k in range(11)]
    exact = (pasteurising_units(1.0, 70.0) - 1.0) / math.log(1.393)
    assert units_of_log(rise) / exact == pytest.approx(0.843, abs=0.001)


def test_below_55_degrees_nothing_counts() -> None:
    assert units_of_log([(0.0, 54.9), (600.0, 54.9)]) == 0.0
    assert units_of_log([(0.0, 54.9), (10.0, 65.0), (20.0, 54.9)]) == 0.0
    assert units_of_log([(0.0, 55.0), (10.0, 55.0)]) == pytest.approx(10.0 / 1.393**5)


@pytest.mark.parametrize("temperature", [54.9, 85.1, 20.0, 150.0, nan])
def test_outside_55_to_85_degrees_is_refused(temperature: float) -> None:
    with pytest.raises(OutOfRangeError, match="55 to 85"):
        pasteurising_units(10.0, temperature)
    with pytest.raises(OutOfRangeError, match="55 to 85"):
        minutes_for_units(60.0, temperature)


def test_a_log_above_85_degrees_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="55 to 85"):
        units_of_log([(0.0, 60.0), (10.0, 85.1)])


@pytest.mark.parametrize("bad", [-0.1, inf, nan])
def test_times_and_units_that_cannot_be(bad: float) -> None:
    with pytest.raises(InputError):
        pasteurising_units(bad, 65.0)
    with pytest.raises(InputError):
        minutes_for_units(bad, 65.0)


def test_logs_that_cannot_be_read() -> None:
    short: tuple[Log, ...] = ([], [(0.0, 65.0)])
    for log in short:
        with pytest.raises(InconsistentError, match="two readings"):
            units_of_log(log)
    backwards: tuple[Log, ...] = ([(0.0, 65.0), (0.0, 65.0)], [(5.0, 65.0), (0.0, 65.0)])
    for log in backwards:
        with pytest.raises(InconsistentError, match="rise"):
            units_of_log(log)
    empty: tuple[Log, ...] = ([(0.0, nan), (5.0, 65.0)], [(0.0, 65.0), (inf, 65.0)])
    for log in empty:
        with pytest.raises(InputError, match="numbers only"):
            units_of_log(log)
