"""Bounded dual simplex with lexicographic costs, on small dense lists.

Minimise c⁰·x, then c¹·x among the optima, then c²·x …, subject to

    lower_j ≤ x_j ≤ upper_j   (all finite, j = 1 … n)
    row_lower_i ≤ a_i·x ≤ row_upper_i   (i = 1 … m; either side may be infinite)

Because every variable is boxed, putting each at the bound that suits the first non-zero of its costs is dual
feasible from the start: there is no phase one, and an empty problem ends with a row that names the clash. The
ratio test compares whole columns of costs (scaled to one and rounded, or noise would break the ties), so a later
cost decides among the optima of an earlier one, and degenerate cycling does not arise as long as the last cost is
generic. Passing a boxed column's break point while the slope
lasts flips it to its other bound (the long-step rule), which saves most pivots on boxes.

At n ≤ 50 and m ≤ 20 plain Python floats beat array libraries, whose call overhead dominates at this size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from operator import mul

Vector = Sequence[float]

FEASIBILITY = 1e-11
"""Rows and bounds are met to within this, relative to 1 + |bound|; problems come scaled to about one."""

_PIVOT = 1e-9
_ZERO_COST = 1e-8
_RATIO_DIGITS = 10
_MAX_PIVOTS = 400


class LpStatus(Enum):
    """How a linear programme ended."""

    OPTIMAL = "optimal"
    INFEASIBLE = "infeasible"
    STALLED = "stalled"


@dataclass(slots=True)
class LpResult:
    """Optimal values and basis, or the row that proves the problem empty.

    `basic` and `nonbasic` hold indices below n for variables and n + i for row i; `at_upper` says at which bound
    each nonbasic stands. On INFEASIBLE, `ray` maps an index to its coefficient in the combination of rows and
    bounds that cannot be met.
    """

    status: LpStatus
    x: list[float]
    basic: list[int]
    nonbasic: list[int]
    at_upper: list[bool]
    pivots: int
    ray: dict[int, float]


def _starts_at_upper(costs: list[list[float]], j: int) -> bool:
    for row in costs:
        d = row[j]
        if d > _ZERO_COST:
            return False
        if d < -_ZERO_COST:
            return True
    return False


def solve_lp(
    costs: Sequence[Vector],
    lower: Vector,
    upper: Vector,
    rows: Sequence[Vector],
    row_lower: Vector,
    row_upper: Vector,
) -> LpResult:
    """Solve the lexicographic linear programme of the module's text.

    Parameters: costs, shape (k, n); lower, upper, shape (n,), finite; rows, shape (m, n); row_lower, row_upper,
    shape (m,).
    Returns: LpResult; STALLED if the pivots ran out or a pivot was too small to trust.

    >>> # least of x + y with x + 2y ≥ 2 in the unit box: y = 1
    >>> solve_lp([[1.0, 1.0]], [0.0, 0.0], [1.0, 1.0], [[1.0, 2.0]], [2.0], [9.0]).x
    [0.0, 1.0]
    """
    n, m = len(lower), len(rows)
    table = [list(row) for row in rows]
    sizes = [max(map(abs, c), default=0.0) or 1.0 for c in costs]
    reduced = [[c / size for c in row] for row, size in zip(costs, sizes, strict=True)]
    low = [*lower, *row_lower]
    high = [*upper, *row_upper]
    nonbasic = list(range(n))
    basic = list(range(n, n + m))
    at_upper = [_starts_at_upper(reduced, j) for j in range(n)]
    value = [high[j] if at_upper[j] else low[j] for j in range(n)]
    x_basic = [sum(map(mul, row, value)) for row in table]

    for pivots in range(_MAX_PIVOTS):
        worst, r, target, rising = 0.0, -1, 0.0, False
        for i in range(m):
            b, xb = basic[i], x_basic[i]
            bound = low[b]
            miss = bound - xb
            if miss > 0.0:
                if miss > worst and miss > FEASIBILITY * (1.0 + abs(bound)):
                    worst, r, target, rising = miss, i, bound, True
                continue
            bound = high[b]
            miss = xb - bound
            if miss > worst and miss > FEASIBILITY * (1.0 + abs(bound)):
                worst, r, target, rising = miss, i, bound, False
        if r < 0:
            x = [0.0] * (n + m)
            for j, k in enumerate(nonbasic):
                x[k] = value[j]
            for i, k in enumerate(basic):
                x[k] = x_basic[i]
            return LpResult(LpStatus.OPTIMAL, x[:n], basic, nonbasic, at_upper, pivots, {})

        pivot_row = table[r]
        candidates: list[tuple[list[float], int]] = []
        for j in range(n):
            alpha = pivot_row[j]
            if -_PIVOT < alpha < _PIVOT:
                continue
            k = nonbasic[j]
            if low[k] == high[k]:
                continue
            if (alpha > 0.0) is (rising is not at_upper[j]):
                size = -abs(alpha) if at_upper[j] else abs(alpha)
                candidates.append(([round(row[j] / size, _RATIO_DIGITS) for row in reduced], j))
        candidates.sort()
        slope = worst
        enter = -1
        for _, j in candidates:
            k = nonbasic[j]
            slope -= abs(pivot_row[j]) * (high[k] - low[k])
            if slope <= 0.0:
                enter = j
                break
        if enter < 0:
            if slope > FEASIBILITY * (1.0 + abs(target)):
                ray = {nonbasic[j]: pivot_row[j] for j in range(n) if abs(pivot_row[j]) > _PIVOT}
                ray[basic[r]] = -1.0
                return LpResult(LpStatus.INFEASIBLE, [], basic, nonbasic, at_upper, pivots, ray)
            if not candidates:
                return LpResult(LpStatus.STALLED, [], basic, nonbasic, at_upper, pivots, {})
            enter = candidates[-1][1]
        for _, j in candidates:
            if j == enter:
                break
            k = nonbasic[j]
            new = low[k] if at_upper[j] else high[k]
            step = new - value[j]
            at_upper[j] = not at_upper[j]
            value[j] = new
            for i in range(m):
                x_basic[i] += table[i][j] * step

        alpha = pivot_row[enter]
        step = (target - x_basic[r]) / alpha
        entering_value = value[enter] + step
        for i in range(m):
            x_basic[i] += table[i][enter] * step
        x_basic[r] = entering_value
        value[enter] = target
        at_upper[enter] = not rising
        basic[r], nonbasic[enter] = nonbasic[enter], basic[r]

        inverse = 1.0 / alpha
        pivot_row = [-a * inverse for a in pivot_row]
        pivot_row[enter] = inverse
        table[r] = pivot_row
        for lines in (table, reduced):
            for i, row in enumerate(lines):
                if row is pivot_row:
                    continue
                factor = row[enter]
                if factor:
                    new_row = [a + factor * b for a, b in zip(row, pivot_row, strict=True)]
                    new_row[enter] = factor * inverse
                    lines[i] = new_row
    return LpResult(LpStatus.STALLED, [], basic, nonbasic, at_upper, _MAX_PIVOTS, {})
