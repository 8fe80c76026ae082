"""Pasteurising units: how much killing a time at a temperature is worth, against a minute at 60 °C.

    PU = t·1.393^(T − 60)

with t in minutes and T in °C at the coldest spot of the load, usually the middle of the slowest container; the water
around it proves nothing. Ten times the rate takes z = ln 10/ln 1.393 = 6.95 °C more.

Heat only still drink, or carbonated drink in containers whose maker rates them for the pressure it reaches: carbon
dioxide is about 2.6 times less soluble at 65 than at 20 °C (computed), and the swelling drink squeezes the headspace.
Hot glass breaks and hot drink scalds. Units are an estimate from a formula: how many a drink needs depends on what
lives in it, and local rules or a licensed process authority may ask for more.

Source: Del Vecchio, Dayharsh and Baselt 1951 (weak secondary source quoting the formula; the paper was not read).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

from service.errors import InconsistentError, InputError, OutOfRangeError

PU_BASE_PER_C = 1.393
"""How much one degree more multiplies the rate. Del Vecchio et al. 1951 (weak secondary source quoting it)."""

PU_REFERENCE_C = 60.0
"""Temperature at which one minute is one unit, by definition of the unit."""

Z_VALUE_C = math.log(10.0) / math.log(PU_BASE_PER_C)
"""Degrees that multiply the rate by ten, 6.95 °C (computed); the rounder z = 7 °C is common practice, no source."""

LOWEST_TEMPERATURE_C = 55.0
"""Below this nothing is counted: a minute is worth less than 0.2 units, and long warm hours would add up to a kill that
the formula was not made for (our default)."""

HIGHEST_TEMPERATURE_C = 85.0
"""Above this nothing is computed: a unit takes 15 ms, so that an error of seconds or of one sensor lag is everything,
and the straight line has been drawn 25 °C past its reference (our default)."""

DEFAULT_MINIMUM_UNITS = 60.0
"""Units asked for where the caller names none (our default; 50 to 100 and more for sweet, acid drinks of low strength
is from memory, unverified)."""

SOURCE_KEY = "del_vecchio_1951"


def _rate_per_minute(temperature_c: float) -> float:
    rate: float = PU_BASE_PER_C ** (temperature_c - PU_REFERENCE_C)
    return rate


def _check_temperature(temperature_c: float) -> None:
    if not LOWEST_TEMPERATURE_C <= temperature_c <= HIGHEST_TEMPERATURE_C:
        raise OutOfRangeError(
            f"Pasteurising units are computed from {LOWEST_TEMPERATURE_C:g} to {HIGHEST_TEMPERATURE_C:g} °C, not at "
            f"{temperature_c:g} °C. Choose a temperature between; give it in degrees Celsius."
        )


def pasteurising_units(minutes: float, temperature_c: float) -> float:
    """Units that a time at one temperature is worth.

    PU = t·1.393^(T − 60)

    Parameters: minutes t at temperature, heating up and cooling down not counted, scalar [min]; temperature_c T of
    the coldest spot, scalar [°C].
    Returns: pasteurising units, scalar [PU, minutes at 60 °C].
    Raises: OutOfRangeError outside 55–85 °C; InputError for a negative or endless time.
    Validity: 55–85 °C (our default, see the constants of this module).
    Source: Del Vecchio, Dayharsh and Baselt 1951 (weak secondary source quoting the formula).

    Example: 70 °C for 20 min, a maker's advice for bottled apple juice of pH 3.5 or less (weak secondary source).

    >>> round(pasteurising_units(20.0, 70.0))
    550
    """
    _check_temperature(temperature_c)
    if not 0.0 <= minutes < math.inf:
        raise InputError(f"A time of {minutes:g} min cannot be held. Give the minutes at temperature, zero or more.")
    return minutes * _rate_per_minute(temperature_c)


def minutes_for_units(units: float, temperature_c: float) -> float:
    """Time at one temperature that gives the units: the inverse of `pasteurising_units`.

    t = PU·1.393^(60 − T)

    Parameters: units, scalar [PU]; temperature_c T of the coldest spot, scalar [°C].
    Returns: time at temperature, counted from when the coldest spot has reached it, scalar [min].
    Raises: OutOfRangeError outside 55–85 °C; InputError for negative or endless units.
    Validity: 55–85 °C (our default).
    Source: Del Vecchio, Dayharsh and Baselt 1951 (weak secondary source quoting the formula).

    Example: 60 units at 65 °C (computed).

    >>> round(minutes_for_units(60.0, 65.0), 1)
    11.4
    """
    _check_temperature(temperature_c)
    if not 0.0 <= units < math.inf:
        raise InputError(f"{units:g} pasteurising units cannot be aimed at. Give a number, zero or more.")
    return units / _rate_per_minute(temperature_c)


def units_of_log(readings: Sequence[tuple[float, float]]) -> float:
    """Units of a temperature log of the coldest spot.

    PU = Σ (t_{i+1} − t_i)·1.393^(min(T_i, T_{i+1}) − 60)

    Each interval counts at the *lower* of its two readings. The rate bends upwards, so that the trapezoid rule would
    credit a warming load with more than it had; the lower step never does, unless the temperature dipped between two
    readings. The price is a shortfall where readings are far apart: about 16 % at 1 °C between readings (computed).
    Intervals with a reading below 55 °C count nothing.

    Parameters: readings, pairs of time since any start [min] and temperature [°C], in order of time, two or more.
    Returns: pasteurising units, a lower estimate, scalar [PU].
    Raises: InconsistentError for fewer than two readings or times that do not rise; OutOfRangeError above 85 °C;
    InputError for a reading that is no number.
    Validity: up to 85 °C (our default).
    Source: Del Vecchio, Dayharsh and Baselt 1951 (weak secondary source quoting the formula); the step is our choice.

    Example: warming up, 20 min at 65 °C (105 units, computed), cooling down.

    >>> round(units_of_log([(0.0, 20.0), (25.0, 65.0), (45.0, 65.0), (60.0, 30.0)]))
    105
    """
    if len(readings) < 2:
        raise InconsistentError("A log needs two readings or more: nothing is known of the time around a single one.")
    for minutes, temperature_c in readings:
        if not (math.isfinite(minutes) and math.isfinite(temperature_c)):
            raise InputError("A log holds numbers only: minutes and degrees Celsius.")
        if temperature_c > HIGHEST_TEMPERATURE_C:
            _check_temperature(temperature_c)
    units = 0.0
    for (start, before_c), (end, after_c) in pairwise(readings):
        if end <= start:
            raise InconsistentError(
                f"The times of a log have to rise: {end:g} min follows {start:g} min. Put the readings in order."
            )
        lower_c = min(before_c, after_c)
        if lower_c >= LOWEST_TEMPERATURE_C:
            units += (end - start) * _rate_per_minute(lower_c)
    return units
