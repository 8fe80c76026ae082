"""Writes a mass or a volume as the caller's scale or jug shows it: rounded to the step, no digit beyond it."""

from __future__ import annotations

import math
from typing import Final

from service.errors import OutOfRangeError
from service.quantities.units import (
    GRAMS_PER_OUNCE,
    ML_PER_IMPERIAL_FLUID_OUNCE,
    ML_PER_IMPERIAL_GALLON,
    ML_PER_US_FLUID_OUNCE,
    ML_PER_US_GALLON,
    ML_PER_US_TEASPOON,
    System,
)

__all__ = ["mass_text", "number_text", "volume_text"]

_OUNCES_PER_POUND: Final = 16
_MOST_DECIMALS: Final = 6
_MOST_GALLON_DECIMALS: Final = 2  # 0.01 gal is 38 mL; the litres beside it are finer


def _decimals(step: float) -> int:
    """Digits after the point that a step carries: all of a decimal step's, the nearest decade for another."""
    for decimals in range(_MOST_DECIMALS + 1):
        scaled = step * 10.0**decimals
        if scaled > 0.5 and math.isclose(scaled, round(scaled), rel_tol=1e-9):
            return decimals
    return min(_MOST_DECIMALS, max(0, round(-math.log10(step))))


def _rounded(value: float, step: float) -> float:
    if not math.isfinite(value) or not math.isfinite(step) or step <= 0.0 or not math.isfinite(value / step):
        raise OutOfRangeError(
            f"An amount to be shown has to be finite and its step positive; these are {value:g} and {step:g}."
        )
    return round(value / step) * step


def _digits(value: float, decimals: int) -> str:
    digits = f"{value:.{decimals}f}"
    if "." in digits:
        digits = digits.rstrip("0").rstrip(".")
    return "0" if digits == "-0" else digits


def number_text(value: float, step: float) -> str:
    """Write a number rounded to a multiple of a step, without trailing zeros and without a unit.

    Parameters: value and step, both in the same unit.
    Returns: the digits.
    Raises: OutOfRangeError if value is not finite or step is not a positive number.

    >>> number_text(12.13, 0.25)
    '12.25'
    """
    return _digits(_rounded(value, step), _decimals(step))


def mass_text(mass_g: float, system: System | None, step_g: float) -> str:
    """Write a mass as the caller's scale shows it.

    Grams below 1 kg and kilograms from there; pounds and ounces in the US and imperial systems.

    Parameters: mass_g [g]; system, None is metric; step_g, one division of the scale [g].
    Returns: number and unit.
    Raises: OutOfRangeError if mass_g is not finite or step_g is not a positive number.
    Source of the ounce: NIST Handbook 44, Appendix C.

    >>> mass_text(1250.3, "metric", 1.0), mass_text(612.0, "us", 0.1 * 28.349523125)
    ('1.25 kg', '1 lb 5.6 oz')
    """
    shown_g = _rounded(mass_g, step_g)
    if system is None or system == "metric":
        if abs(shown_g) < 1000.0:
            return f"{_digits(shown_g, _decimals(step_g))} g"
        return f"{_digits(shown_g / 1000.0, _decimals(step_g / 1000.0))} kg"
    decimals = _decimals(step_g / GRAMS_PER_OUNCE)
    ounces = round(abs(shown_g) / GRAMS_PER_OUNCE, decimals)
    pounds, rest = divmod(ounces, _OUNCES_PER_POUND)
    sign = "-" if shown_g < 0 and ounces > 0 else ""
    ounce_digits = _digits(rest, decimals)
    if not pounds:
        return f"{sign}{ounce_digits} oz"
    return f"{sign}{pounds:.0f} lb" + ("" if ounce_digits == "0" else f" {ounce_digits} oz")


def volume_text(volume_ml: float, system: System | None, step_ml: float) -> str:
    """Write a volume as the caller's jug shows it; outside the metric system with litres or millilitres beside it.

    Metric: millilitres below 1 L and litres from there. Otherwise gallons from one gallon up, fluid ounces below,
    and US teaspoons below half a fluid ounce.

    Parameters: volume_ml [mL]; system, None is metric; step_ml, one division of the jug [mL].
    Returns: number and unit.
    Raises: OutOfRangeError if volume_ml is not finite or step_ml is not a positive number.
    Source of the gallons: NIST Handbook 44, Appendix C.

    >>> volume_text(12_110.0, "us", 50.0), volume_text(1210.0, "metric", 50.0)
    ('3.2 gal (12.1 L)', '1.2 L')
    """
    shown_ml = _rounded(volume_ml, step_ml)
    if abs(shown_ml) < 1000.0:
        metric = f"{_digits(shown_ml, _decimals(step_ml))} mL"
    else:
        metric = f"{_digits(shown_ml / 1000.0, _decimals(step_ml / 1000.0))} L"
    if system is None or system == "metric":
        return metric
    if system == "imperial":
        gallon_ml, ounce_ml, prefix = ML_PER_IMPERIAL_GALLON, ML_PER_IMPERIAL_FLUID_OUNCE, "imp "
    else:
        gallon_ml, ounce_ml, prefix = ML_PER_US_GALLON, ML_PER_US_FLUID_OUNCE, ""
    if abs(shown_ml) >= gallon_ml - step_ml / 2.0:
        unit_ml, unit = gallon_ml, "gal"
    elif system == "us" and 0.0 < abs(shown_ml) < ounce_ml / 2.0:
        unit_ml, unit = ML_PER_US_TEASPOON, "tsp"
    else:
        unit_ml, unit = ounce_ml, "fl oz"
    decimals = _decimals(step_ml / unit_ml)
    if unit == "gal":
        decimals = min(decimals, _MOST_GALLON_DECIMALS)
    return f"{_digits(shown_ml / unit_ml, decimals)} {prefix}{unit} ({metric})"
