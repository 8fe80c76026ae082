"""The lexicographic dual simplex against HiGHS, and its verdicts against their certificates."""

from __future__ import annotations

import random
from dataclasses import dataclass
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.solver.simplex import LpResult, LpStatus, solve_lp
from tests.benchmarks.rivals import linprog_once

RELATIVE = 1e-8


@dataclass(frozen=True)
class Lp:
    """A boxed linear programme."""

    costs: list[list[float]]
    lower: list[float]
    upper: list[float]
    rows: list[list[float]]
    row_lower: list[float]
    row_upper: list[float]

    def solve(self) -> LpResult:
        return solve_lp(self.costs, self.lower, self.upper, self.rows, self.row_lower, self.row_upper)

    def value(self, x: list[float], k: int = 0) -> float:
        return dot(self.costs[k], x)

    def violation(self, x: list[float]) -> float:
        worst = 0.0
        for v, a, b in zip(x, self.lower, self.upper, strict=True):
            worst = max(worst, a - v, v - b)
        for row, a, b in zip(self.rows, self.row_lower, self.row_upper, strict=True):
            worst = max(worst, a - dot(row, x), dot(row, x) - b)
        return worst


def dot(a: list[float], b: list[float]) -> float:
    return sum(p * q for p, q in zip(a, b, strict=True))


def random_lp(seed: int) -> Lp:
    """Up to 30 columns and 8 rows of every kind, sparse, with zero and repeated costs; most are feasible."""
    rng = random.Random(seed)
    n, m = rng.choice([1, 2, 3, 5, 8, 12, 20, 30]), rng.randint(0, 8)
    lower = [rng.choice([0.0, 0.0, rng.uniform(-1, 1)]) for _ in range(n)]
    upper = [a + rng.choice([0.0, 1.0, rng.uniform(0, 2), rng.uniform(0, 2)]) for a in lower]
    inside = [rng.choice([a, b, rng.uniform(a, b)]) for a, b in zip(lower, upper, strict=True)]
    rows, row_lower, row_upper = [], [], []
    for _ in range(m):
        row = [rng.choice([0.0, rng.uniform(-1, 1), rng.uniform(-1, 1)]) for _ in range(n)]
        at = dot(row, inside) if rng.random() < 0.93 else rng.uniform(-2, 2)
        a, b = rng.choice(
            [
                (at, at),
                (at - rng.random(), inf),
                (-inf, at + rng.random()),
                (at - rng.random(), at + rng.random()),
                (at, at + rng.random()),
            ]
        )
        rows.append(row)
        row_lower.append(a)
        row_upper.append(b)
    first = [rng.choice([0.0, 1.0, -1.0, rng.uniform(-1, 1), rng.uniform(-1, 1)]) for _ in range(n)]
    second = [rng.choice([0.0, 1.0, rng.uniform(-1, 1)]) for _ in range(n)]
    last = [1.0 + 0.3 * ((j * 0.618034) % 1.0) for j in range(n)]
    return Lp([first, second, last], lower, upper, rows, row_lower, row_upper)


def degenerate_lp(seed: int) -> Lp:
    """Small integers, duplicate columns, repeated rows and right sides of zero: ties everywhere."""
    rng = random.Random(seed)
    n, m = rng.randint(2, 12), rng.randint(2, 8)
    rows = [[float(rng.randint(-1, 1)) for _ in range(n)] for _ in range(m)]
    for row in rows:
        row[1] = row[0]
        row[-1] = row[n // 2]
    if m > 3:
        rows[-1] = list(rows[0])
    inside = [float(rng.randint(0, 1)) for _ in range(n)]
    row_lower, row_upper = [], []
    for k, row in enumerate(rows):
        at = dot(row, inside)
        a, b = ((at, at), (at, inf), (-inf, at))[(seed + k) % 3]
        row_lower.append(a)
        row_upper.append(b)
    first = [float(rng.randint(-1, 1)) for _ in range(n)]
    first[1] = first[0]
    last = [1.0 + 0.3 * ((j * 0.618034) % 1.0) for j in range(n)]
    return Lp([first, last], [0.0] * n, [1.0] * n, rows, row_lower, row_upper)


def check_against_highs(lp: Lp) -> LpStatus:
    """Verdict and value of the first cost; then of every later one with the earlier ones held."""
    ours = lp.solve()
    assert ours.status is not LpStatus.STALLED
    theirs = linprog_once(lp.costs[0], lp.lower, lp.upper, lp.rows, lp.row_lower, lp.row_upper)
    if ours.status is LpStatus.INFEASIBLE:
        assert theirs.status == 2
        check_certificate(lp, ours)
        return ours.status
    assert theirs.status == 0
    assert lp.violation(ours.x) <= 1e-9
    rows, row_lower, row_upper = list(lp.rows), list(lp.row_lower), list(lp.row_upper)
    for k in range(len(lp.costs)):
        theirs = linprog_once(lp.costs[k], lp.lower, lp.upper, rows, row_lower, row_upper)
        assert theirs.status == 0
        value = lp.value(ours.x, k)
        # an earlier value held to 1e-8 lets a later one gain that times its multiplier
        gained = 1e-8 * float(abs(theirs.ineqlin.marginals[-k:]).sum()) if k else 0.0
        assert abs(value - theirs.fun) <= RELATIVE * (1.0 + abs(theirs.fun)) + 2.0 * gained
        rows.append(lp.costs[k])
        row_lower.append(-inf)
        row_upper.append(value + 1e-8)
    return ours.status


def check_certificate(lp: Lp, result: LpResult) -> None:
    """The ray combines rows and bounds to zero identically, yet cannot be zero anywhere in the boxes (Farkas)."""
    n = len(lp.lower)
    low, high = lp.lower + lp.row_lower, lp.upper + lp.row_upper
    for j in range(n):
        total = result.ray.get(j, 0.0) + sum(result.ray.get(n + i, 0.0) * row[j] for i, row in enumerate(lp.rows))
        assert total == pytest.approx(0.0, abs=1e-8)
    least = sum(c * (low[k] if c > 0.0 else high[k]) for k, c in result.ray.items())
    assert least > 1e-12


@pytest.mark.parametrize("block", range(6))
def test_random_programmes_agree_with_highs(block: int) -> None:
    """600 programmes: verdicts, values of all three costs in order, Farkas certificates."""
    verdicts = [check_against_highs(random_lp(seed)) for seed in range(100 * block, 100 * block + 100)]
    assert verdicts.count(LpStatus.OPTIMAL) >= 50
    assert verdicts.count(LpStatus.INFEASIBLE) >= 5


@pytest.mark.parametrize("block", range(3))
def test_degenerate_programmes_do_not_cycle(block: int) -> None:
    """150 programmes full of ties end, and in few pivots."""
    for seed in range(50 * block, 50 * block + 50):
        lp = degenerate_lp(seed)
        assert check_against_highs(lp) is LpStatus.OPTIMAL
        assert lp.solve().pivots <= 4 * (len(lp.lower) + len(lp.rows))


def test_the_dual_of_a_cycling_example_ends() -> None:
    """Beale's example (E. M. L. Beale, Nav. Res. Logist. Q. 2 (1955) 269; data from memory), optimum −1/20.

    The primal simplex with the usual rules cycles on it for ever.
    """
    cost = [-0.75, 150.0, -0.02, 6.0]
    rows = [[0.25, -60.0, -0.04, 9.0], [0.5, -90.0, -0.02, 3.0], [0.0, 0.0, 1.0, 0.0]]
    lp = Lp([cost, [1.0, 1.1, 1.2, 1.3]], [0.0] * 4, [1e3] * 4, rows, [-inf] * 3, [0.0, 0.0, 1.0])
    result = lp.solve()
    assert result.status is LpStatus.OPTIMAL
    assert lp.value(result.x) == pytest.approx(-0.05, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 10**6), shuffle=st.randoms(use_true_random=False))
def test_the_order_of_columns_and_rows_does_not_matter(seed: int, shuffle: random.Random) -> None:
    lp = random_lp(seed)
    columns, lines = list(range(len(lp.lower))), list(range(len(lp.rows)))
    shuffle.shuffle(columns)
    shuffle.shuffle(lines)
    moved = Lp(
        [[cost[j] for j in columns] for cost in lp.costs],
        [lp.lower[j] for j in columns],
        [lp.upper[j] for j in columns],
        [[lp.rows[i][j] for j in columns] for i in lines],
        [lp.row_lower[i] for i in lines],
        [lp.row_upper[i] for i in lines],
    )
    a, b = lp.solve(), moved.solve()
    assert a.status is b.status
    if a.status is LpStatus.OPTIMAL:
        back = [0.0] * len(columns)
        for place, j in enumerate(columns):
            back[j] = b.x[place]
        assert back == pytest.approx(a.x, abs=1e-7)


def test_a_later_cost_decides_among_the_optima_of_an_earlier_one() -> None:
    # x + y ≥ 1: every point of the edge is best for the first cost; the second wants y, the third never speaks
    costs = [[1.0, 1.0], [2.0, 1.0], [1.0, 1.3]]
    assert solve_lp(costs, [0.0, 0.0], [1.0, 1.0], [[1.0, 1.0]], [1.0], [inf]).x == [0.0, 1.0]


def test_without_rows_every_column_takes_the_bound_that_suits_it() -> None:
    result = solve_lp([[1.0, -1.0, 0.0], [0.0, 0.0, -1.0]], [0.1, 0.2, 0.3], [1.0, 2.0, 3.0], [], [], [])
    assert result.x == [0.1, 2.0, 3.0]
    assert result.pivots == 0


def test_without_columns_a_row_is_met_or_not() -> None:
    assert solve_lp([[]], [], [], [[]], [0.0], [0.0]).status is LpStatus.OPTIMAL
    assert solve_lp([[]], [], [], [[]], [1.0], [inf]).status is LpStatus.INFEASIBLE


def test_a_programme_feasible_by_a_hair_is_not_called_empty() -> None:
    """Equalities at the very edge of what the box reaches, off by 1e-12 either way at most."""
    rng = random.Random(7)
    for _ in range(200):
        n = rng.randint(1, 10)
        row = [rng.uniform(0.1, 1.0) for _ in range(n)]
        edge = sum(row) * (1.0 - 1e-14)
        assert solve_lp([row], [0.0] * n, [1.0] * n, [row], [edge], [edge]).status is LpStatus.OPTIMAL
        beyond = sum(row) + 1e-9
        assert solve_lp([row], [0.0] * n, [1.0] * n, [row], [beyond], [beyond]).status is LpStatus.INFEASIBLE
