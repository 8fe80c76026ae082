"""One bracketed root finder for the small inverse problems of this service.

scipy has better ones, but importing it costs more time and memory than everything else a light request needs.
"""

from __future__ import annotations

from collections.abc import Callable

from service.errors import SolverError

_STEPS = 100


def root_between(function: Callable[[float], float], low: float, high: float, *, tolerance: float = 1e-12) -> float:
    """The root of a continuous function that changes sign between two points: false position, Illinois rule.

    Parameters: function; low, high, the bracket; tolerance, the width of the bracket or the size of a step,
    relative to 1 + |x|, at which to stop.
    Returns: x with function(x) = 0.
    Raises: SolverError if the signs at the ends are equal (the caller chooses the bracket).
    Source: M. Dowell and P. Jarratt, BIT 11 (1971) 168 (from memory).

    >>> round(root_between(lambda x: x * x - 2.0, 0.0, 2.0), 9)
    1.414213562
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0.0:
        return low
    if at_high == 0.0:
        return high
    if (at_low > 0.0) is (at_high > 0.0):
        raise SolverError(f"No change of sign between {low:g} and {high:g}.")
    side = 0
    previous = low
    for _ in range(_STEPS):
        x = (low * at_high - high * at_low) / (at_high - at_low)
        value = function(x)
        if value == 0.0 or min(abs(x - previous), abs(high - low)) <= tolerance * (1.0 + abs(x)):
            return x
        previous = x
        if (value > 0.0) is (at_high > 0.0):
            high, at_high = x, value
            at_low = 0.5 * at_low if side == 1 else at_low
            side = 1
        else:
            low, at_low = x, value
            at_high = 0.5 * at_high if side == -1 else at_high
            side = -1
    return 0.5 * (low + high)
