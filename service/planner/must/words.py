"""Figures of a must in words, in the caller's units."""

from __future__ import annotations

from math import floor, log10
from typing import Final

from service.quantities import System, volume_text

_L_PER_CUBIC_FOOT: Final = 28.316846592
"""NIST Handbook 44, Appendix C."""


def litres_words(volume_l: float, system: System) -> str:
    """A volume in four digits.

    >>> litres_words(18.92706, "us"), litres_words(10_000.0, "metric")
    ('5 gal (18.93 L)', '10000 L')
    """
    millilitres = 1000.0 * volume_l
    step = 10.0 ** (floor(log10(millilitres)) - 3) if millilitres > 0.0 else 1.0
    return volume_text(millilitres, system, max(step, 1.0))


def gas_words(volume_l: float, system: System) -> str:
    """A volume of gas in three digits: litres, cubic metres from ten thousand of them, cubic feet beside them.

    >>> gas_words(562.9, "metric"), gas_words(562.9, "us"), gas_words(297_625.0, "metric")
    ('563 L', '563 L (20 cubic feet)', '298 m³')
    """
    metric = f"{float(f'{volume_l:.3g}'):.0f} L" if volume_l < 1e4 else f"{float(f'{volume_l / 1e3:.3g}'):g} m³"
    return metric if system == "metric" else f"{metric} ({float(f'{volume_l / _L_PER_CUBIC_FOOT:.2g}'):.0f} cubic feet)"
