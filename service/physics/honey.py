"""Water in honey, from the refractometer.

The refractive index falls with the water content along the line that Wedmore drew through Chataway's
measurements; it is the method of AOAC 969.38, of the International Honey Commission and of the Codex standard.
"""

from __future__ import annotations

from math import log10, pow

from service.errors import OutOfRangeError

INDEX_PER_C = 0.00023
"""Added to an index read above 20 °C, per °C, and taken off below. S. Bogdanov, The Book of Honey, ch. 4."""

SUGAR_SCALE_SUM = 98.5
"""Moisture % plus the sugar-scale reading of the same honey (from memory)."""

REFRACTIVE_INDEX_MIN = 1.4740
REFRACTIVE_INDEX_MAX = 1.5044
_ROUNDING = 1e-9


def _check_index(index_20c: float) -> None:
    if not REFRACTIVE_INDEX_MIN - _ROUNDING <= index_20c <= REFRACTIVE_INDEX_MAX + _ROUNDING:
        raise OutOfRangeError(
            f"Honey is tabulated from n = {REFRACTIVE_INDEX_MIN} (25 % water) to {REFRACTIVE_INDEX_MAX} (13 %) at "
            f"20 °C, not at {index_20c:.4f}. Liquefy the honey, let it cool and read again."
        )


def _check_temperature(temperature_c: float) -> None:
    if not 10.0 <= temperature_c <= 40.0:
        raise OutOfRangeError(f"A honey refractometer is corrected between 10 and 40 °C, not at {temperature_c:g} °C.")


def moisture_percent_from_refractive_index(refractive_index: float, temperature_c: float = 20.0) -> float:
    """Water content of honey from its refractive index.

    n₂₀ = n + 0.00023 (t − 20);  W = [1.73190 − log₁₀(100 (n₂₀ − 1))]/0.002243

    Parameters: refractive_index (sodium light), scalar [-]; temperature_c of the prism, scalar [°C].
    Returns: water, scalar [% by mass].
    Raises: OutOfRangeError outside 13–25 % water (n₂₀ 1.4740–1.5044) or 10–40 °C.
    Source: Wedmore (1955) after Chataway; AOAC 969.38. S. Bogdanov, The Book of Honey, ch. 4, prints the formula
    without the factor 100, which gives a water content of about 905 %; with it the printed table is met to 0.022 %.

    Example: Chataway's table in the same chapter has 17 % for 1.4940.

    >>> round(moisture_percent_from_refractive_index(1.4940), 1)
    17.0
    """
    _check_temperature(temperature_c)
    index = refractive_index + INDEX_PER_C * (temperature_c - 20.0)
    _check_index(index)
    return (1.73190 - log10(100.0 * (index - 1.0))) / 0.002243


def refractive_index_from_moisture_percent(moisture_percent: float, temperature_c: float = 20.0) -> float:
    """Refractive index that a honey of this water content shows: Wedmore's line read backwards.

    Parameters: moisture_percent, scalar [% by mass]; temperature_c of the prism, scalar [°C].
    Returns: refractive index, scalar [-].
    Raises: OutOfRangeError outside 13–25 % water (n₂₀ 1.4740–1.5044) or 10–40 °C.
    Source: Wedmore (1955).

    Example: Chataway's table (Bogdanov, The Book of Honey, ch. 4) has 1.4890 for 19 %.

    >>> round(refractive_index_from_moisture_percent(19.0), 4)
    1.489
    """
    _check_temperature(temperature_c)
    index = 1.0 + pow(10.0, 1.73190 - 0.002243 * moisture_percent) / 100.0
    _check_index(index)
    return index - INDEX_PER_C * (temperature_c - 20.0)


def moisture_percent_from_sugar_scale(reading_brix: float) -> float:
    """Water content of honey from a refractometer that shows degrees Brix.

    W = 98.5 − B: honey's sugars bend light less than sucrose does, so water and reading do not add up to 100.

    Parameters: reading_brix at 20 °C, scalar [°Bx].
    Returns: water, scalar [% by mass].
    Raises: OutOfRangeError outside 73.5–85.5 °Bx (13–25 % water).
    Source: from memory.

    Example: 81.5 °Bx is a honey of 17 % (from memory).

    >>> moisture_percent_from_sugar_scale(81.5)
    17.0
    """
    if not 73.5 <= reading_brix <= 85.5:
        raise OutOfRangeError(
            f"Honey reads from 73.5 to 85.5 on the sugar scale, not {reading_brix:g} °Bx. "
            "A honey refractometer with a water scale shows the moisture itself."
        )
    return SUGAR_SCALE_SUM - reading_brix
