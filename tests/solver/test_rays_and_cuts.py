"""Programmes in either order of leaving, against HiGHS; and cuts of any multipliers, which never cut off a point."""

from __future__ import annotations

import random
from dataclasses import replace
from math import inf
from typing import Any

import pytest

from service.solver import conflict, proof
from service.solver import envelope as envelopes
from service.solver.local import worst_violation
from service.solver.problem import Problem, Row, Tangent, ratio_rows, volume_at
from service.solver.simplex import LpStatus, solve_lp
from tests.benchmarks.rivals import linprog_once
from tests.solver.cases import row_scale
from tests.solver.clashes import clash
from tests.solver.instances import make
from tests.solver.test_vertex import programme


@pytest.mark.parametrize("block", range(2))
def test_which_miss_leaves_first_does_not_change_the_optimum(block: int) -> None:
    """200 boxed programmes with equalities: both orders and HiGHS agree on verdict and value, and both on the point."""
    optima = empty = 0
    for seed in range(100 * block, 100 * block + 100):
        rng = random.Random(seed)
        n, m = rng.randint(3, 16), rng.randint(2, 6)
        lower = [rng.choice([0.0, rng.uniform(-1, 0)]) for _ in range(n)]
        upper = [a + rng.choice([0.0, 1.0, rng.uniform(0, 2)]) for a in lower]
        inside = [rng.uniform(a, b) for a, b in zip(lower, upper, strict=True)]
        rows = [[rng.uniform(-1, 1) for _ in range(n)] for _ in range(m)]
        low, high = [], []
        for i, row in enumerate(rows):
            at = sum(a * b for a, b in zip(row, inside, strict=True)) + (3.0 if rng.random() < 0.04 else 0.0)
            a, b = (at, at) if i < max(1, m // 2) else rng.choice([(at, inf), (-inf, at), (at - 0.1, at)])
            low.append(a)
            high.append(b)
        costs = [[rng.uniform(-1, 1) for _ in range(n)], [1.0 + 0.3 * ((j * 0.618034) % 1.0) for j in range(n)]]
        one = solve_lp(costs, lower, upper, rows, low, high)
        other = solve_lp(costs, lower, upper, rows, low, high, by_miss=True)
        theirs = linprog_once(costs[0], lower, upper, rows, low, high)
        assert one.status is other.status
        if one.status is LpStatus.INFEASIBLE:
            empty += 1
            assert theirs.status == 2
            for lp in (one, other):
                check_ray(lp.ray, rows, [*lower, *low], [*upper, *high])
            continue
        optima += 1
        assert one.status is LpStatus.OPTIMAL
        assert other.x == pytest.approx(one.x, rel=0.0, abs=1e-8)
        value = sum(a * b for a, b in zip(costs[0], one.x, strict=True))
        assert value == pytest.approx(theirs.fun, rel=1e-8, abs=1e-8)
    assert optima >= 60
    assert empty >= 5


def check_ray(ray: dict[int, float], rows: list[list[float]], low: list[float], high: list[float]) -> None:
    """A combination that is nought everywhere and positive within all bounds (J. Farkas, J. Reine Angew. Math. 124
    (1902) 1)."""
    n = len(rows[0])
    for j in range(n):
        assert ray.get(j, 0.0) + sum(ray.get(n + i, 0.0) * row[j] for i, row in enumerate(rows)) == pytest.approx(
            0.0, abs=1e-8
        )
    assert sum(c * (low[k] if c > 0.0 else high[k]) for k, c in ray.items()) > 1e-12


def test_by_miss_lets_what_is_missed_most_leave_first() -> None:
    """An equality missed by 0.1 and a row missed by 5, both out of reach: the ray rests on one or the other."""
    rows, low, high = [[1.0, 0.0], [0.0, 1.0]], [1.1, 6.0], [1.1, inf]
    plain = solve_lp([[1.0, 1.0]], [0.0, 0.0], [1.0, 1.0], rows, low, high)
    by_miss = solve_lp([[1.0, 1.0]], [0.0, 0.0], [1.0, 1.0], rows, low, high, by_miss=True)
    assert set(plain.ray) == {0, 2}
    assert set(by_miss.ray) == {1, 3}


# ---------------------------------------------------------------- cuts of any multipliers


@pytest.mark.parametrize("size", [2, 6, 12])
def test_no_multipliers_cut_off_a_point_that_meets_the_rows(size: int) -> None:
    """Of either sign, of either size, on open sides too: the cut holds at the point, and no search with it closes."""
    rng = random.Random(size)
    checked = open_sides = 0
    for seed in range(25):
        instance = make(seed, size)
        base = instance.problem
        x = [rng.random() * u for u in base.upper]
        volume = volume_at(base, x)
        rows: list[Row] = []
        for goal in instance.goals:
            at = goal.ratio.at(x, volume)
            low, high = rng.choice([(at, at), (at, inf), (-inf, at), (at - 0.3 * goal.size(), at)])
            rows.extend(ratio_rows(goal.name, goal.ratio, low, high, row_scale(goal, base)))
        problem = replace(base, rows=tuple(rows))
        assert worst_violation(problem, x, volume) <= 1e-13
        for trial in range(20):
            y = [rng.choice([0.0, 1.0, -1.0]) * 10.0 ** rng.uniform(-3, 3) for _ in rows]
            for multiplier, row in zip(y, rows, strict=True):
                open_sides += abs(row.lower if multiplier > 0.0 else row.upper) == inf and multiplier != 0.0
            cut = proof._cut(problem, y, -1, 1.0, 0.0)
            assert cut.form.at(x, volume) + cut.floor <= 1e-12 * (1.0 + sum(map(abs, y)))
            if trial < 1:
                assert not proof.search(problem, against=y, nodes=2).closed
            checked += 1
    assert checked >= 400
    assert open_sides >= 100


def test_the_multipliers_of_an_empty_programme_settle_a_clash_in_one_box(monkeypatch: pytest.MonkeyPatch) -> None:
    """A gravity out of reach by a hundredth: the ray of its linearisation; with the other sign it says nothing."""
    settled_at_once = 0
    programmes: list[int] = []
    by_programmes = proof._by_programmes

    def told(*given: Any) -> envelopes.StateBox | None:
        programmes.append(1)
        return by_programmes(*given)

    monkeypatch.setattr(proof, "_by_programmes", told)
    for seed in range(20):
        instance = make(seed, 6)
        gravity = next(goal for goal in instance.goals if goal.name == "gravity")
        corners = [gravity.ratio.at(u, volume_at(instance.problem, u)) for u in corner_amounts(instance.problem)]
        beyond = max(corners) + 0.01
        problem = replace(instance.problem, rows=ratio_rows("gravity", gravity.ratio, beyond, beyond))
        tangent = Tangent(problem, problem.fixed_sums)
        lp = programme(problem, tangent)
        if lp.status is not LpStatus.INFEASIBLE:
            continue
        y = [lp.ray.get(problem.size + i, 0.0) for i in range(len(problem.rows))]
        box = envelopes.root_box(problem)
        right, wrong = (proof._cut(problem, z, -1, 1.0, 0.0) for z in (y, [-v for v in y]))
        hull = envelopes.envelope(problem, box)
        at_once = proof._by_cuts(problem, box, hull, [right]) is None
        settled_at_once += at_once
        assert proof._by_cuts(problem, box, hull, [wrong]) == box
        programmes.clear()
        assert proof.search(problem, against=y).closed
        assert not (at_once and programmes)
    assert settled_at_once >= 3


@pytest.mark.parametrize("size", [3, 6, 12])
def test_the_multipliers_of_an_irreducible_set_are_against_its_own_rows(size: int) -> None:
    """Members were dropped since the ray was found: what is left of it still combines to the clash (Farkas)."""
    checked = dropped = 0
    for drawn in (clash(seed, size) for seed in range(20)):
        if drawn is None:
            continue
        members = conflict.members_of(drawn.goals, drawn.limits)
        system = conflict._System(drawn.problem, members, drawn.start)
        tangents = conflict._Tangents(system, drawn.start)
        lp = tangents.programme(system.everything, system.problem_with(system.everything))
        guess = conflict._filtered(system, tangents, lp) if lp.status is LpStatus.INFEASIBLE else None
        if guess is None:
            continue
        problem = system.problem_with(guess.keep)
        lines, low, high = tangents.tangent.sides(problem.rows)
        total, line = 0.0, [0.0] * problem.size
        for y, row, a, b in zip(guess.against, lines, low, high, strict=True):
            total += y * (a if y > 0.0 else b) if y else 0.0
            line = [c - y * r for c, r in zip(line, row, strict=True)]
        assert total + proof.least_over_box(line, problem) > 0.0
        checked += 1
        dropped += len(guess.keep) < len(members)
    assert checked >= 5
    assert dropped >= 5


def corner_amounts(problem: Problem) -> list[list[float]]:
    """All corners of the box of amounts."""
    count = problem.size
    return [[u if k >> j & 1 else 0.0 for j, u in enumerate(problem.upper)] for k in range(2**count)]
