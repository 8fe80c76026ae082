"""Bounded dual simplex with lexicographic costs, on small dense lists.

Minimise c⁰·x, then c¹·x among the optima, then c²·x …, subject to

    lower_j ≤ x_j ≤ upper_j   (all finite, j = 1 … n)
    row_lower_i ≤ a_i·x ≤ row_upper_i   (i = 1 … m; either side may be infinite)

Because every variable is boxed, putting each at the bound that suits the first non-zero of its costs is dual
feasible from the start: there is no phase one, and an empty problem ends with a row that names the clash. Where
the ratio test ties in the first cost, the later ones are compared (scaled to one and rounded, or noise would break
the ties), so a later cost decides among the optima of an earlier one, and degenerate cycling does not arise as long
as the last cost is generic. Only the first cost is carried through the pivots; the others are priced on a tie.
Passing a boxed column's break point while the slope lasts flips it to its other bound (the long-step rule), which
saves most pivots on boxes.

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
_TIE = 1e-10
_TIE_DIGITS = 10
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
    each nonbasic stands, `reduced` what the first cost is worth per unit of it. On INFEASIBLE, `ray` maps an index to
    its coefficient in a combination of variables and rows that vanishes identically, but is positive wherever all
    keep to their bounds.
    """

    status: LpStatus
    x: list[float]
    basic: list[int]
    nonbasic: list[int]
    at_upper: list[bool]
    pivots: int
    ray: dict[int, float]
    reduced: list[float]


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
    scaled = [[c / size for c in row] for row, size in zip(costs, sizes, strict=True)]
    low = [*lower, *row_lower]
    high = [*upper, *row_upper]
    nonbasic = list(range(n))
    basic = list(range(n, n + m))
    at_upper = [d < 0.0 if abs(d) > _ZERO_COST else _starts_at_upper(scaled, j) for j, d in enumerate(scaled[0])]
    value = [high[j] if at_upper[j] else low[j] for j in range(n)]
    x_basic = [sum(map(mul, row, value)) for row in table]
    reduced = list(scaled[0])
    later = [row + [0.0] * m for row in scaled[1:]]

    def result(status: LpStatus, x: list[float], pivots: int, ray: dict[int, float]) -> LpResult:
        return LpResult(status, x, basic, nonbasic, at_upper, pivots, ray, [sizes[0] * d for d in reduced])

    def ranked(group: list[int]) -> list[int]:
        """Nonbasic columns that tie in the first cost, in the order of their ratios in the later ones."""
        keys: dict[int, tuple[float, ...]] = dict.fromkeys(group, ())
        for cost in later:
            carried = [(cost[b], row) for b, row in zip(basic, table, strict=True) if cost[b]]
            for j in group:
                priced = cost[nonbasic[j]]
                for c, row in carried:
                    priced += c * row[j]
                size = -abs(pivot_row[j]) if at_upper[j] else abs(pivot_row[j])
                keys[j] += (round(priced / size, _TIE_DIGITS),)
            if len(set(keys.values())) == len(group):
                break
        return sorted(group, key=keys.__getitem__)

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
            return result(LpStatus.OPTIMAL, x[:n], pivots, {})

        pivot_row = table[r]
        candidates: list[tuple[float, int]] = []
        for j, alpha in enumerate(pivot_row):
            if -_PIVOT < alpha < _PIVOT or (alpha > 0.0) is (rising is at_upper[j]):
                continue
            k = nonbasic[j]
            if low[k] != high[k]:
                candidates.append((abs(reduced[j] / alpha), j))
        candidates.sort()
        order = [j for _, j in candidates]
        slope, at = worst, -1
        for j in order:
            k = nonbasic[j]
            slope -= abs(pivot_row[j]) * (high[k] - low[k])
            at += 1
            if slope <= 0.0:
                break
        if slope > 0.0:
            if slope > FEASIBILITY * (1.0 + abs(target)):
                sign = -1.0 if rising else 1.0
                ray = {k: sign * a for a, k in zip(pivot_row, nonbasic, strict=True) if abs(a) > _PIVOT}
                ray[basic[r]] = -sign
                return result(LpStatus.INFEASIBLE, [], pivots, ray)
            if not candidates:
                return result(LpStatus.STALLED, [], pivots, {})
        first, last, ratio = at, at + 1, candidates[at][0]
        while first > 0 and ratio - candidates[first - 1][0] <= _TIE:
            first -= 1
        while last < len(order) and candidates[last][0] - ratio <= _TIE:
            last += 1
        if last - first > 1 and later:
            order[first:last] = ranked(order[first:last])
        slope = worst
        for j in order:
            k = nonbasic[j]
            slope -= abs(pivot_row[j]) * (high[k] - low[k])
            if slope <= 0.0 or j == order[-1]:
                enter = j
                break
            new = low[k] if at_upper[j] else high[k]
            step = new - value[j]
            at_upper[j] = not at_upper[j]
            value[j] = new
            x_basic = [xb + row[j] * step for xb, row in zip(x_basic, table, strict=True)]

        alpha = pivot_row[enter]
        step = (target - x_basic[r]) / alpha
        entering_value = value[enter] + step
        x_basic = [xb + row[enter] * step for xb, row in zip(x_basic, table, strict=True)]
        x_basic[r] = entering_value
        value[enter] = target
        at_upper[enter] = not rising
        basic[r], nonbasic[enter] = nonbasic[enter], basic[r]

        inverse = 1.0 / alpha
        pivot_row = [-a * inverse for a in pivot_row]
        pivot_row[enter] = inverse
        table[r] = pivot_row
        for i in range(m):
            row = table[i]
            factor = row[enter]
            if factor and i != r:
                row = [a + factor * b for a, b in zip(row, pivot_row, strict=True)]
                row[enter] = factor * inverse
                table[i] = row
        factor = reduced[enter]
        if factor:
            reduced = [a + factor * b for a, b in zip(reduced, pivot_row, strict=True)]
            reduced[enter] = factor * inverse
    return result(LpStatus.STALLED, [], _MAX_PIVOTS, {})
