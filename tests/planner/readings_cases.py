"""Readings for the tests of what they mean."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked
from service.planner.interpreting.answers import AlcoholReport, Interpretation
from service.planner.interpreting.asked import AcidityRead, GravityOn, HydrometerRead, ReadingsAsked, RefractometerRead

FIRST = date(2026, 3, 1)


def sg(value: float, sample_c: float | None = None) -> HydrometerRead:
    return HydrometerRead(value, sample_c)


def series(*readings: tuple[int, float]) -> tuple[GravityOn, ...]:
    """Gravities by the number of the day."""
    return tuple(GravityOn(FIRST + timedelta(days=day), sg(value)) for day, value in readings)


def acid(g_per_l_citric: float, *, degassed: bool | None = True, end_point_ph: float = 8.2) -> AcidityRead:
    meq = g_per_l_citric / 64.04 * 1000.0
    return AcidityRead(meq, 0.02 * meq, end_point_ph, degassed, "As given", titrated_here=True)


def error_of(hydrometer: float, refractometer: float = 0.2) -> Circumstances:
    return Circumstances(
        instruments=Instruments(
            hydrometer_error=hydrometer,
            refractometer_error_brix=refractometer,
            given=frozenset({"hydrometer", "refractometer"}),
        )
    )


def codes(found: Interpretation) -> dict[str, str]:
    return {c.code: c.level for c in found.cautions}


def by_method(found: Interpretation) -> dict[str, AlcoholReport]:
    return {report.method: report for report in found.alcohol}


STOPPED = ReadingsAsked(original=sg(1.050), series=series((0, 1.004), (7, 1.004)))
"""It stopped at 1.004."""

SWEET = ReadingsAsked(hydrometer=sg(1.028), refractometer=RefractometerRead(11.0), acidity=acid(5.5))
"""A sweetened drink by two instruments."""

__all__ = [
    "FIRST",
    "STOPPED",
    "SWEET",
    "AdditionAsked",
    "LotAsked",
    "acid",
    "by_method",
    "codes",
    "error_of",
    "replace",
    "series",
    "sg",
]
