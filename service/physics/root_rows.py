"""The roots of many functions at once, one in each row of an array: for sweeps of the small inverse problems.

Smooth functions that are nearly straight are solved by inverse interpolation from a good start in three evaluations;
what does not settle there is solved in a bracket. numpy is imported when a function is called.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = NDArray[np.float64]
    Places = NDArray[np.intp]
    Function = Callable[[Rows], Rows]
else:
    Rows = Places = Function = object

_STEPS = 200
_EXACT = 1e-15
"""A value this small beside that at the start is a rounding."""


def roots_from(
    function: Function, x0: Rows | float, f0: Rows, x1: Rows, *, evaluations: int = 3
) -> tuple[Rows, Rows, Rows]:
    """Roots near a start: a secant, then steps of inverse quadratic interpolation.

    x₂ = x₁ − f₁ [x₁, x₀],   xₙ₊₁ = xₙ − fₙ [xₙ, xₙ₋₁] + fₙ fₙ₋₁ [xₙ, xₙ₋₁, xₙ₋₂],   [·] divided differences of x by f

    Parameters: function, of an array to an array of its shape; x0, a point, and f0, the function there; x1, a second
        and better one; evaluations of the function, two or more. Shapes (N,).
    Returns: x; the length of the last step, which bounds the error of the point before; and the slope df/dx near x.
        Where the function took one value twice they are not finite. The caller judges whether a row has settled: the
        error of x is that of the point before times a number as small as the errors of the two points before that.
    Source: inverse interpolation, any textbook; R. P. Brent, Algorithms for Minimization without Derivatives (1973),
        ch. 4, for the order 1.84 of the method.

    >>> import numpy as np
    >>> square = np.array([2.0, 3.0])
    >>> x, step, slope = roots_from(lambda x: x * x - square, 1.3, 1.69 - square, np.array([1.4, 1.7]))
    >>> bool(np.all(abs(x * x - square) < 1e-6)), np.round(slope / x, 1).tolist()
    (True, [2.0, 2.0])
    """
    import numpy as np

    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        f1 = function(x1)
        by_f = (x1 - x0) / (f1 - f0)
        step = f1 * by_f
        x2 = x1 - step
        for _ in range(evaluations - 1):
            f2 = function(x2)
            rise = f2 - f1
            newer = step / rise
            np.negative(newer, out=newer)
            # − [x₂, x₁, x₀] f₁
            np.subtract(newer, by_f, out=by_f)
            np.divide(by_f, f2 - f0, out=by_f)
            np.multiply(by_f, f1, out=by_f)
            step = np.subtract(newer, by_f, out=by_f)
            np.multiply(step, f2, out=step)
            # where a point is exact already, the quotient of two roundings is no slope
            exact = np.abs(f2) <= _EXACT * np.abs(f0)
            if exact.any():
                newer[exact] = ((x2 - x1) / rise)[exact]
                step[exact] = 0.0
            x1, f0, f1, by_f = x2, f1, f2, newer
            x2 = x1 - step
        return x2, np.abs(step, out=step), 1.0 / by_f


def roots_near_or_between(
    function: Callable[[Places, Rows], Rows], start: tuple[Rows, Rows, Rows], low: Rows, high: Rows, settled: float
) -> Rows:
    """Roots by `roots_from`, and in their bracket where that does not settle inside it.

    Parameters: function, of places of rows and of an array of as many values; start, the points x₀, f₀ and x₁ of
        `roots_from`; low, high, between which the root is; settled, the length of a last step that is short enough.
        Shapes (N,).
    Returns: x with function(x) = 0, shape (N,).

    >>> import numpy as np
    >>> square = np.array([2.0, 9.0])
    >>> start = (np.ones(2), 1.0 - square, np.array([1.4, 3e3]))
    >>> roots = roots_near_or_between(lambda at, x: x * x - square[at], start, np.zeros(2), 2.0 * square, 1e-2)
    >>> roots.round(4).tolist()
    [1.4142, 3.0]
    """
    import numpy as np

    every = np.arange(len(low))
    x, step, _ = roots_from(lambda values: function(every, values), *start)
    with np.errstate(invalid="ignore"):
        left = np.flatnonzero(~((step <= settled) & (x >= low) & (x <= high)))
    x[left] = roots_between(lambda values: function(left, values), low[left], high[left])
    return x


def roots_between(function: Function, low: Rows, high: Rows, *, tolerance: float = 1e-13) -> Rows:
    """Roots inside brackets: false position by the Illinois rule, with a halving where it lags.

    Parameters: function, of an array to an array of its shape, which has unlike signs at low and high in every row;
        low, high, shape (N,); tolerance, the width of the bracket or the size of a step, relative to 1 + |x|.
    Returns: x with function(x) = 0, shape (N,).
    Source: M. Dowell and P. Jarratt, BIT 11 (1971) 168 (from memory), row by row.

    >>> import numpy as np
    >>> roots_between(lambda x: x * x - np.array([2.0, 9.0]), np.zeros(2), np.full(2, 10.0)).round(9).tolist()
    [1.414213562, 3.0]
    """
    import numpy as np

    low, high = low.astype(float), high.astype(float)
    at_low, at_high = function(low), function(high)
    x = np.where(at_low == 0.0, low, high)
    done = (at_low == 0.0) | (at_high == 0.0)
    side = np.zeros(len(low), dtype=np.int8)
    with np.errstate(divide="ignore", invalid="ignore"):
        for turn in range(_STEPS):
            if done.all():
                break
            new = 0.5 * (low + high) if turn % 8 == 7 else (low * at_high - high * at_low) / (at_high - at_low)
            new = np.where(done, x, new)
            value = function(new)
            small = tolerance * (1.0 + np.abs(new))
            settled = (value == 0.0) | (np.abs(new - x) <= small) | (np.abs(high - low) <= small)
            x = new
            done |= settled
            above = (value > 0.0) == (at_high > 0.0)
            at_low = np.where(above & (side == 1), 0.5 * at_low, at_low)
            at_high = np.where(~above & (side == -1), 0.5 * at_high, at_high)
            high, at_high = np.where(above, new, high), np.where(above, value, at_high)
            low, at_low = np.where(above, low, new), np.where(above, at_low, value)
            side = np.where(above, 1, -1).astype(np.int8)
    return x
