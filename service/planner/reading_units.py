"""What is to be read next in the units that the caller measures in."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from service.planner.answers import NextReading
from service.quantities import System
from service.quantities.units import ML_PER_IMPERIAL_GALLON, ML_PER_US_GALLON

_GALLONS: Final[dict[System, tuple[str, float]]] = {
    "us": ("gal", ML_PER_US_GALLON / 1000.0),
    "imperial": ("imp gal", ML_PER_IMPERIAL_GALLON / 1000.0),
}
_DIGITS: Final = 2


def in_system(readings: Iterable[NextReading], system: System) -> tuple[NextReading, ...]:
    """Readings with their volumes in the caller's system; everything else is read in one unit everywhere.

    Parameters: readings; system of the answer.
    Returns: the same readings, volumes in gallons outside the metric system.
    Source: the gallons of NIST Handbook 44, Appendix C.

    >>> in_system([NextReading("read the volume", "marks", 18.93, "L")], "us")[0].expect
    5.0
    """
    if system not in _GALLONS:
        return tuple(readings)
    unit, litres = _GALLONS[system]

    def gallons(value: float | None) -> float | None:
        return None if value is None else round(value / litres, _DIGITS)

    return tuple(
        replace(r, expect=gallons(r.expect), unit=unit, low=gallons(r.low), high=gallons(r.high))
        if r.unit == "L"
        else r
        for r in readings
    )
