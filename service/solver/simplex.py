"""Bounded dual simplex with lexicographic costs, on small dense lists.

Minimise c⁰·x, then c¹·x among the optima, then c²·x …, subject to

    lower_j ≤ x_j ≤ upper_j   (all finite, j = 1 … n)
    row_lower_i ≤ a_i·x ≤ row_upper_i   (i = 1 … m; either side may be infinite)

Because every variable is boxed, putting each at the bound that suits the first non-zero of its costs is dual
feasible from the start: there is no phase one, and an empty problem ends with a row that names the clash. Where
the ratio test ties in the first cost, the later ones are compared (scaled to one and rounded, or noise would break
the ties), so a later cost decides among the optima of an earlier one, and degenerate cycling does not arise as long
as the last cost is generic. Only the first cost is carried through the pivots; the others are asked for on a tie.
Passing a boxed column's break point while the slope lasts flips it to its other bound (the long-step rule), which
saves most pivots on boxes. Equalities that are missed leave first, for they never come back, which saves a quarter.

At n ≤ 50 and m ≤ 20 plain Python floats beat array libraries, whose call overhead dominates at this size.
"""

# ruff: noqa: B905
# `strict=True` takes a quarter of the time of a loop over few numbers; what is paired here is of one length by
# construction.

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum
from operator import mul
from typing import Protocol

Vector = Sequence[float]


class Costs(Protocol):
    """The lexicographic costs: a list of them, or something that computes one when it is asked for."""

    def __len__(self) -> int:
        """How many there are, one or more."""

    def __getitem__(self, k: int, /) -> Vector:
        """Cost k."""


FEASIBILITY = 1e-11
"""Rows and bounds are met to within this, relative to 1 + |bound|; problems come scaled to about one."""

_PIVOT = 1e-9
_ZERO_COST = 1e-8
_TIE = 1e-10
_TIE_DIGITS = 10
_MAX_PIVOTS = 400
_EQUAL = 1e6
"""How much more urgent the miss of an equality is than another: once it holds it does so for good."""


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
    keep to their bounds. `table` says how each basic moves with each nonbasic, shape (m, n).
    """

    status: LpStatus
    x: list[float]
    basic: list[int]
    nonbasic: list[int]
    at_upper: list[bool]
    pivots: int
    ray: dict[int, float]
    reduced: list[float]
    table: list[Vector] = field(default_factory=list)


def solve_lp(
    costs: Costs,
    lower: Vector,
    upper: Vector,
    rows: Sequence[Vector],
    row_lower: Vector,
    row_upper: Vector,
    *,
    by_miss: bool = False,
) -> LpResult:
    """Solve the lexicographic linear programme of the module's text.

    Parameters: costs, shape (k, n); lower, upper, shape (n,), finite; rows, shape (m, n); row_lower, row_upper,
    shape (m,); by_miss, True to let whatever is missed most leave first, equality or not, at the price of more pivots:
    the ray of an empty programme then rests on what is missed most.
    Returns: LpResult; STALLED if the pivots ran out or a pivot was too small to trust.

    >>> # least of x + y with x + 2y ≥ 2 in the unit box: y = 1
    >>> solve_lp([[1.0, 1.0]], [0.0, 0.0], [1.0, 1.0], [[1.0, 2.0]], [2.0], [9.0]).x
    [0.0, 1.0]
    """
    n, m, aims = len(lower), len(rows), len(costs)
    table = list(rows)
    reduced = list(costs[0])
    size = max(map(abs, reduced), default=0.0) or 1.0
    zero, tie = _ZERO_COST * size, _TIE * size
    scaled: list[list[float]] = []
    low = [*lower, *row_lower]
    high = [*upper, *row_upper]
    nonbasic = list(range(n))
    basic = list(range(n, n + m))

    def later(k: int) -> list[float]:
        """Cost k, from the second on, brought to a largest coefficient of one when it is first needed."""
        while len(scaled) < k:
            cost = costs[len(scaled) + 1]
            by = max(map(abs, cost), default=0.0) or 1.0
            scaled.append([c / by for c in cost])
        return scaled[k - 1]

    def starts_at_upper(j: int) -> bool:
        for k in range(1, aims):
            d = later(k)[j]
            if abs(d) > _ZERO_COST:
                return d < 0.0
        return False

    at_upper = [d < 0.0 if d > zero or d < -zero else starts_at_upper(j) for j, d in enumerate(reduced)]
    value = [high[j] if up else low[j] for j, up in enumerate(at_upper)]
    ways = [0.0 if a == b else -1.0 if up else 1.0 for a, b, up in zip(lower, upper, at_upper)]
    x_basic = [sum(map(mul, row, value)) for row in table]

    def result(status: LpStatus, x: list[float], pivots: int, ray: dict[int, float]) -> LpResult:
        return LpResult(status, x, basic, nonbasic, at_upper, pivots, ray, reduced, table)

    def ranked(group: list[int]) -> list[int]:
        """Nonbasic columns that tie in the first cost, in the order of their ratios in the later ones."""
        keys: dict[int, tuple[float, ...]] = dict.fromkeys(group, ())
        for k in range(1, aims):
            cost = later(k)
            carried = [(cost[b], row) for b, row in zip(basic, table) if b < n and cost[b]]
            for j in group:
                at = nonbasic[j]
                priced = cost[at] if at < n else 0.0
                for c, row in carried:
                    priced += c * row[j]
                per = -abs(pivot_row[j]) if at_upper[j] else abs(pivot_row[j])
                keys[j] += (round(priced / per, _TIE_DIGITS),)
            if len(set(keys.values())) == len(group):
                break
        return sorted(group, key=keys.__getitem__)

    for pivots in range(_MAX_PIVOTS):
        first, r, worst, target, rising = 0.0, -1, 0.0, 0.0, False
        for i, (b, xb) in enumerate(zip(basic, x_basic)):
            if xb < low[b]:
                bound, up = low[b], True
                miss = bound - xb
            elif xb > high[b]:
                bound, up = high[b], False
                miss = xb - bound
            else:
                continue
            urgency = miss * _EQUAL if low[b] == high[b] and not by_miss else miss
            if urgency > first and miss > FEASIBILITY * (1.0 + abs(bound)):
                first, r, worst, target, rising = urgency, i, miss, bound, up
        if r < 0:
            x = [0.0] * (n + m)
            for j, k in enumerate(nonbasic):
                x[k] = value[j]
            for i, k in enumerate(basic):
                x[k] = x_basic[i]
            return result(LpStatus.OPTIMAL, x[:n], pivots, {})

        pivot_row = table[r]
        turn = 1.0 if rising else -1.0
        pairs = enumerate(zip(pivot_row, ways))
        candidates = [(abs(reduced[j] / alpha), j) for j, (alpha, way) in pairs if alpha * way * turn > _PIVOT]
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
                ray = {k: sign * a for a, k in zip(pivot_row, nonbasic) if abs(a) > _PIVOT}
                ray[basic[r]] = -sign
                return result(LpStatus.INFEASIBLE, [], pivots, ray)
            if not candidates:
                return result(LpStatus.STALLED, [], pivots, {})
        start, end, ratio = at, at + 1, candidates[at][0]
        while start > 0 and ratio - candidates[start - 1][0] <= tie:
            start -= 1
        while end < len(order) and candidates[end][0] - ratio <= tie:
            end += 1
        if end - start > 1 and aims > 1:
            order[start:end] = ranked(order[start:end])
            slope, at = worst, -1
            for j in order:
                slope -= abs(pivot_row[j]) * (high[nonbasic[j]] - low[nonbasic[j]])
                at += 1
                if slope <= 0.0:
                    break
        for j in order[:at]:
            new = low[nonbasic[j]] if at_upper[j] else high[nonbasic[j]]
            step = new - value[j]
            at_upper[j] = not at_upper[j]
            ways[j] = -ways[j]
            value[j] = new
            x_basic = [xb + row[j] * step for xb, row in zip(x_basic, table)]

        enter = order[at]
        alpha = pivot_row[enter]
        step = (target - x_basic[r]) / alpha
        inverse = 1.0 / alpha
        new_row = [a * -inverse for a in pivot_row]
        new_row[enter] = inverse
        for i, row in enumerate(table):
            factor = row[enter]
            if factor and i != r:
                x_basic[i] += factor * step
                changed = [a + factor * b for a, b in zip(row, new_row)]
                changed[enter] = factor * inverse
                table[i] = changed
        factor = reduced[enter]
        if factor:
            reduced = [a + factor * b for a, b in zip(reduced, new_row)]
            reduced[enter] = factor * inverse
        table[r] = new_row
        x_basic[r] = value[enter] + step
        value[enter] = target
        at_upper[enter] = not rising
        ways[enter] = 0.0 if low[basic[r]] == high[basic[r]] else 1.0 if rising else -1.0
        basic[r], nonbasic[enter] = nonbasic[enter], basic[r]
    return result(LpStatus.STALLED, [], _MAX_PIVOTS, {})
