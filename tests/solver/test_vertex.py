"""Vertices taken from tables and changed inverses: against Newton and numpy."""

from __future__ import annotations

import pickle
import random
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from service.solver import follow, vertex
from service.solver.local import LocalStatus, basis_of, newton_on_basis, stationary_from
from service.solver.problem import Amounts, Form, Gradients, Problem, Row, Tangent, volume_at
from service.solver.simplex import LpResult, LpStatus, Vector, solve_lp
from service.solver.vertex import Basis, Vertex, inverse_of, is_liquid, settled, vertex_of
from tests.benchmarks.rivals import Floats
from tests.solver.cases import held
from tests.solver.curves import draw
from tests.solver.instances import make

SAME = 1e-11
IDENTITY = 1e-9
SIZES = (1, 2, 3, 6, 12, 30)


def programme(problem: Problem, tangent: Tangent) -> LpResult:
    middle = [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    volume = tangent.constant + sum(a * b for a, b in zip(tangent.partial, middle, strict=True))
    costs = Gradients(tangent, problem.aims, middle, volume)
    return solve_lp(costs, problem.lower, problem.upper, *tangent.sides(problem.rows))


def linearised(problem: Problem, *states: tuple[float, ...]) -> Iterator[tuple[Tangent, LpResult]]:
    """The programmes with an optimum at some states, and at the half and the whole of everything."""
    half = [0.5 * u for u in problem.upper]
    for state in (*states, problem.sums_at(half), problem.sums_at(problem.upper)):
        if is_liquid(state):
            tangent = Tangent(problem, state)
            lp = programme(problem, tangent)
            if lp.status is LpStatus.OPTIMAL:
                yield tangent, lp


def active_rows(problem: Problem, basis: Basis, tangent: Tangent) -> Floats:
    """Gradients of the active rows by the free amounts, shape (m, m)."""
    lines = [tangent.row(problem.rows[i].form) for i in basis.rows]
    return np.array([[line[j] for j in basis.free] for line in lines]).reshape(len(basis.rows), len(basis.free))


def miss(problem: Problem, basis: Basis, x: Amounts) -> float:
    """How far an active row is from its bound with the true volume."""
    volume, rows = volume_at(problem, x), [problem.rows[i] for i in basis.rows]
    sides = zip(rows, basis.upper, strict=True)
    return max((abs((r.upper if up else r.lower) - r.form.at(x, volume)) for r, up in sides), default=0.0)


def away(inverse: list[list[float]], rows: Floats) -> float:
    """How far the product with the rows is from the identity."""
    count = len(rows)
    return float(abs(rows @ np.array(inverse).reshape(count, count).T - np.eye(count)).max(initial=0.0))


def unlike(inverse: list[list[float]], rows: Floats) -> float:
    """The largest difference from numpy's inverse as a share of that row's largest, and of its condition."""
    if not len(rows):
        return 0.0
    right = np.linalg.inv(rows).T
    shares = abs(np.array(inverse) - right).max(axis=1) / abs(right).max(axis=1)
    return float(shares.max() / np.linalg.cond(rows))


# ---------------------------------------------------------------- vertices


@pytest.mark.parametrize("size", SIZES)
def test_the_vertex_of_a_table_is_where_newton_ends(size: int) -> None:
    """Amounts to 1e-11, the inverse of the rows at them to 1e-9; numpy multiplies."""
    checked = by_table = 0
    for seed in range(40):
        instance = make(seed, size)
        problem = held(instance)
        for tangent, lp in linearised(problem, instance.start):
            found, basis = vertex_of(problem, lp, tangent), basis_of(problem, lp)
            x = newton_on_basis(problem, basis, list(lp.x))
            x = x and newton_on_basis(problem, basis, x)  # a second time, for what is left of the first
            assert (found is None) is (x is None)
            if found is None or x is None:
                continue
            checked += 1
            by_table += found.changes == 1
            assert found.basis == basis
            assert found.exact
            assert found.x == pytest.approx(x, rel=0.0, abs=SAME)
            assert miss(problem, basis, found.x) <= 1e-14
            assert found.volume == pytest.approx(volume_at(problem, found.x), rel=1e-14)
            there = Tangent(problem, problem.sums_at(found.x))
            assert away(found.inverse, active_rows(problem, basis, there)) <= IDENTITY
    assert checked >= 30
    assert by_table >= 0.95 * checked  # few are so far from their tangent that Newton had to start anew


def test_a_miss_within_trust_is_mended_in_all_rows_at_once() -> None:
    """Tables that are off by half a billionth of a millionth leave rows that hold to rounding all the same."""
    rng = random.Random(5)
    checked = 0
    for seed in range(60):
        instance = make(seed, 6)
        problem = held(instance)
        for tangent, lp in linearised(problem, instance.start):
            basis = basis_of(problem, lp)
            if len(basis.rows) < 2:
                continue
            x = [v + 2e-13 * rng.uniform(-1, 1) * (j in basis.free) for j, v in enumerate(lp.x)]
            found = vertex_of(problem, replace(lp, x=x), tangent)
            if found is not None:
                checked += 1
                assert miss(problem, basis, found.x) <= 5e-15
    assert checked >= 30


@pytest.mark.parametrize("share", [1e-9, 1e-3, 0.5])
def test_a_table_that_cannot_be_trusted_is_not(share: float) -> None:
    """Errors planted in a table: the vertex is the same, its inverse taken anew."""
    rng = random.Random(3)
    checked = 0
    for seed in range(30):
        instance = make(seed, 6)
        problem = held(instance)
        for tangent, lp in linearised(problem, instance.start):
            basis = basis_of(problem, lp)
            sound = vertex_of(problem, lp, tangent)
            if sound is None or not basis.rows:
                continue
            table: list[Vector] = [[a * (1.0 + share * rng.choice([-1, 1])) for a in row] for row in lp.table]
            found = vertex_of(problem, replace(lp, table=table), tangent)
            assert found is not None
            there = Tangent(problem, problem.sums_at(found.x))
            assert found.x == pytest.approx(sound.x, rel=0.0, abs=SAME)
            assert miss(problem, basis, found.x) <= 1e-13
            if found.changes:  # the error did not show in the amounts: where nothing had to move
                assert found.is_optimal() is sound.is_optimal()
            else:
                checked += 1
                assert away(found.inverse, active_rows(problem, basis, there)) <= IDENTITY
    assert checked >= 10


def optimum(seed: int, size: int) -> Vertex:
    """The optimal vertex of a seed with two active rows or more."""
    for at in range(seed, seed + 100):
        instance = make(at, size)
        problem = held(instance)
        for tangent, lp in linearised(problem, instance.start):
            found = vertex_of(problem, lp, tangent)
            if found is not None and len(found.basis.rows) > 1 and found.is_feasible() and found.is_optimal():
                return found
    raise AssertionError("no such seed")


@pytest.mark.parametrize("seed", range(0, 1000, 100))
def test_multipliers_of_a_wrong_inverse_are_found_out(seed: int) -> None:
    """Free amounts have no reduced cost by right multipliers; if they have, the inverse is taken anew."""
    right = optimum(seed, 6)
    problem, basis = right.problem, right.basis
    wrong = [[1.001 * a + 1e-3 for a in moves] for moves in right.inverse]
    found = Vertex(problem, basis, list(right.x), right.tangent, wrong, changes=1)
    assert found.is_optimal()
    assert found.changes == 0
    cost = right.tangent.cost(problem.aims[0], right.x, right.volume)
    rows = active_rows(problem, basis, right.tangent)
    expected = np.linalg.solve(rows.T, np.array([cost[j] for j in basis.free]))
    assert found.prices(0) == pytest.approx(expected.tolist(), rel=1e-9, abs=1e-11)

    first = basis.rows[0]
    twice = replace(
        problem, rows=tuple(problem.rows[first] if i in basis.rows else r for i, r in enumerate(problem.rows))
    )
    assert not Vertex(twice, basis, list(right.x), right.tangent, wrong, changes=1).is_optimal()


def test_nearly_parallel_rows_give_the_multipliers_of_an_inverse_taken_anew() -> None:
    """Where nothing moves an error of the table does not show in the amounts: rows of nought, apart by a millionth."""
    checked = 0
    for seed in range(300):
        rng = random.Random(seed)
        n = rng.randint(3, 6)
        lines = [[rng.uniform(-1, 1) for _ in range(n)]]
        lines += [[a + 1e-6 * rng.uniform(-1, 1) for a in lines[0]] for _ in range(2)]
        sides = [rng.choice([(0.0, 0.0), (0.0, 1e9), (-1e9, 0.0)]) for _ in lines]
        rows = [Row("row", Form(0.0, tuple(a)), *side) for a, side in zip(lines, sides, strict=True)]
        problem = replace(make(seed, n).problem, upper=(1.0,) * n, rows=tuple(rows))
        for tangent, lp in linearised(problem):
            found = vertex_of(problem, lp, tangent)
            if found is None or not found.is_feasible() or not found.is_optimal() or len(found.basis.rows) < 2:
                continue
            anew = inverse_of([problem.rows[i].form for i in found.basis.rows], found.basis.free, found.tangent)
            assert anew is not None
            expected = Vertex(problem, found.basis, found.x, found.tangent, anew).prices(0)
            assert found.prices(0) == pytest.approx(expected, rel=1e-8, abs=1e-8 * max(map(abs, expected)))
            checked += 1
    assert checked >= 50


def test_a_singular_basis_gives_no_vertex() -> None:
    right = optimum(2, 6)
    problem, basis = right.problem, right.basis
    row = problem.rows[basis.rows[0]]
    twice = replace(problem, rows=tuple(row if i in basis.rows else r for i, r in enumerate(problem.rows)))
    assert settled(twice, basis, list(right.x)) is None
    n = problem.size
    nonbasic = [*(j for j in range(n) if j not in basis.free), *(n + i for i in basis.rows)]
    lp = LpResult(LpStatus.OPTIMAL, list(right.x), list(basis.free), nonbasic, [False] * n, 0, {}, [])
    assert vertex_of(twice, lp, right.tangent) is None
    # the same without a table of its own, where the rows are not singular: the tangent and inverse of the very point
    lp.at_upper[n - len(basis.rows) :] = basis.upper
    found = vertex_of(problem, lp, right.tangent)
    assert found is not None
    assert found.x == pytest.approx(right.x, rel=0.0, abs=SAME)
    assert away(found.inverse, active_rows(problem, basis, right.tangent)) <= IDENTITY


def test_as_many_free_amounts_as_rows_or_no_vertex() -> None:
    right = optimum(2, 6)
    spare = next(j for j in range(6) if j not in right.basis.free)
    more = replace(right.basis, free=tuple(sorted((*right.basis.free, spare))))
    fewer = replace(right.basis, free=right.basis.free[1:])
    assert settled(right.problem, more, list(right.x)) is None
    assert settled(right.problem, fewer, list(right.x)) is None


def test_without_rows_every_amount_is_at_a_bound() -> None:
    problem = make(4, 6).problem
    found = stationary_from(problem, problem.fixed_sums)
    assert found.status is LocalStatus.STATIONARY
    assert found.basis == Basis((), (), ())
    for value, low, high in zip(found.x, problem.lower, problem.upper, strict=True):
        assert value in (low, high)


@pytest.mark.parametrize("seed", range(12))
def test_without_volume_in_any_row_a_vertex_is_that_of_the_programme(seed: int) -> None:
    instance = make(seed, 6)
    mass = Form(0.0, tuple(sum(c[:3]) for c in instance.problem.columns))
    solids = Form(0.0, tuple(c[2] for c in instance.problem.columns))
    rows = (Row("mass", mass, 0.3, 0.3), Row("solids", solids, 0.05, 0.1))
    problem = replace(instance.problem, rows=rows)
    for tangent, lp in linearised(problem, instance.start):
        found = vertex_of(problem, lp, tangent)
        assert found is not None
        assert found.x == pytest.approx(lp.x, rel=0.0, abs=1e-15)
        assert away(found.inverse, active_rows(problem, found.basis, found.tangent)) <= 1e-12


@pytest.mark.parametrize("size", [3, 6, 12])
def test_amounts_that_are_fixed_count_as_what_is_there_already(size: int) -> None:
    """The same blend with each fixed amount poured into the base gives the same other amounts."""
    checked = 0
    for seed in range(15):
        instance = make(seed, size)
        problem = held(instance)
        whole = stationary_from(problem, instance.start)
        if whole.status is not LocalStatus.STATIONARY:
            continue
        fixed = [j for j in range(size) if j not in whole.basis.free][::2]
        rest = [j for j in range(size) if j not in fixed]
        at = {j: whole.x[j] for j in fixed}

        def poured(form: Form, at: dict[int, float] = at, rest: list[int] = rest) -> Form:
            constant = form.constant + sum(form.coefficients[j] * v for j, v in at.items())
            return Form(constant, tuple(form.coefficients[j] for j in rest), form.volume)

        aims = tuple(
            replace(
                aim,
                terms=tuple(
                    replace(t, numerator=poured(t.numerator), denominator=t.denominator and poured(t.denominator))
                    for t in aim.terms
                ),
            )
            for aim in problem.aims
        )
        smaller = Problem(
            tuple(problem.lower[j] for j in rest),
            tuple(problem.upper[j] for j in rest),
            tuple(problem.sums_at([at.get(j, 0.0) for j in range(size)])),
            tuple(problem.columns[j] for j in rest),
            tuple(replace(row, form=poured(row.form)) for row in problem.rows),
            aims,
        )
        narrow = replace(
            problem,
            lower=tuple(at.get(j, low) for j, low in enumerate(problem.lower)),
            upper=tuple(at.get(j, high) for j, high in enumerate(problem.upper)),
        )
        one, other = stationary_from(narrow, instance.start), stationary_from(smaller, instance.start)
        assert one.status is other.status is LocalStatus.STATIONARY
        assert not set(one.basis.free) & set(fixed)
        assert [one.x[j] for j in rest] == pytest.approx(other.x, rel=0.0, abs=1e-9)
        checked += 1
    assert checked >= 8


# ---------------------------------------------------------------- changed inverses


@pytest.mark.parametrize("size", [2, 6, 12])
def test_a_changed_inverse_is_that_taken_anew(size: int) -> None:
    """The state moves and the last active row becomes another, eight times in a row; numpy inverts."""
    rng = random.Random(size)
    checked = 0
    for seed in range(25):
        instance = make(seed, size)
        problem = held(instance)
        for tangent, lp in linearised(problem, instance.start):
            kept = vertex_of(problem, lp, tangent)
            if kept is None or not kept.basis.rows or np.linalg.cond(active_rows(problem, kept.basis, tangent)) > 1e4:
                continue
            kept.changes = 0
            for times in range(10):
                at = kept.basis.rows[-1]
                old, rows = kept.problem.rows[at], list(kept.problem.rows)
                by = Form(0.0, tuple(0.02 * rng.uniform(-1, 1) for _ in range(size)), 0.02 * rng.uniform(-1, 1))
                rows[at] = replace(old, form=old.form.minus(-1.0, by))
                other = replace(kept.problem, rows=tuple(rows))
                sums = [s * (1.0 + 0.05 * rng.uniform(-1, 1)) for s in problem.sums_at(kept.x)]
                there = Tangent(other, sums)
                inverse = kept.inverse_at(other, there)
                if inverse is None:
                    assert times >= 8 or unsafe(kept, other, there)
                    break
                assert times < 8
                matrix = active_rows(other, kept.basis, there)
                assert unlike(inverse, matrix) <= 1e-11
                checked += 1
                kept = Vertex(other, kept.basis, kept.x, there, inverse, changes=kept.changes + 1)
    assert checked >= 100


def unsafe(kept: Vertex, problem: Problem, there: Tangent) -> bool:
    """Whether a change makes the inverse several times as large, or one of its two steps could: by numpy."""
    old = active_rows(kept.problem, kept.basis, kept.tangent)
    between = active_rows(problem, kept.basis, kept.tangent)
    new = active_rows(problem, kept.basis, there)
    # determinants change by the very rates that are compared with UNSAFE
    first, second = np.linalg.det(between) / np.linalg.det(old), np.linalg.det(new) / np.linalg.det(between)
    return bool(min(abs(first), abs(second)) < 1.001 * vertex.UNSAFE)


def test_an_unsafe_change_is_refused() -> None:
    """A last row that becomes nearly the first one, or the same."""
    right = optimum(2, 6)
    first, last = right.basis.rows[0], right.basis.rows[-1]
    for share in (0.0, 1e-3):
        rows = list(right.problem.rows)
        rows[last] = replace(rows[last], form=rows[first].form.minus(-share, rows[last].form))
        assert right.inverse_at(replace(right.problem, rows=tuple(rows)), right.tangent) is None
    assert right.inverse_at(right.problem, right.tangent) is not None


@pytest.mark.parametrize("size", [3, 6, 12])
def test_every_exchange_gives_the_inverse_of_its_rows(size: int) -> None:
    """An amount or a row leaves, an amount or a row enters, whether its pivot is large or small; numpy inverts."""
    kinds: dict[tuple[bool, bool], int] = {}
    renewed = 0
    for seed in range(0, 300, 30):
        right = optimum(seed, size)
        problem, basis, n = right.problem, right.basis, size
        inactive = [i for i in range(len(problem.rows)) if i not in basis.rows]
        for leaving in (*basis.free, *(n + i for i in inactive)):
            if leaving < n:
                line = [0.0] * n
                weights = [moves[basis.free.index(leaving)] for moves in right.inverse]
            else:
                line = right.tangent.row(problem.rows[leaving - n].form)
                weights = right.multipliers(line)
            alphas = right.reduced(line, weights)
            amounts = [(j, alphas[j]) for j in range(n) if j not in basis.free]
            for entering, pivot in (*amounts, *((n + i, w) for i, w in zip(basis.rows, weights, strict=True))):
                if abs(pivot) <= 1e-6:
                    continue
                here = Vertex(problem, basis, list(right.x), right.tangent, right.inverse, changes=3)
                bound = follow._Miss(leaving, 0.0, True, 1e-9)
                found = follow._pivoted(here, bound, entering, weights, alphas)
                assert found is not None
                assert found.changes in (0, 4)
                assert unlike(found.inverse, active_rows(problem, found.basis, right.tangent)) <= 1e-13
                kinds[leaving < n, entering < n] = kinds.get((leaving < n, entering < n), 0) + 1
                renewed += found.changes == 0
    assert min(kinds.get((one, other), 0) for one in (False, True) for other in (False, True)) >= 5
    assert renewed >= 10


def test_gradients_are_taken_with_the_volume_where_the_amounts_are() -> None:
    """A step after the tangent was taken, the gradient of a ratio to volume errs by the curvature alone."""
    checked = 0
    for seed in range(40):
        instance = make(seed, 6)
        problem = instance.problem
        term = problem.aims[0].terms[0]
        if term.denominator is None or not any(term.numerator.coefficients):
            continue
        old = [0.3 * u for u in problem.upper]
        x = [0.31 * u for u in problem.upper]
        here = Vertex(problem, Basis((), (), ()), x, Tangent(problem, problem.sums_at(old)), [], exact=False)
        gradient = Tangent(problem, problem.sums_at(x)).cost(problem.aims[0], x, volume_at(problem, x))
        size = max(map(abs, gradient))
        assert here.priced(0)[0] == pytest.approx(gradient, rel=0.0, abs=3e-4 * size)
        checked += 1
    assert checked >= 5


@pytest.mark.parametrize("size", [3, 6, 12])
def test_what_a_curve_keeps_is_sound(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Along curves: every exchange's inverse, and every point's, at the tangent that it belongs to."""
    exchanges: list[Vertex] = []
    exchanged = follow._exchanged

    def told(here: Vertex, bound: follow._Miss) -> Vertex | None:
        found = exchanged(here, bound)
        exchanges.extend([] if found is None else [found])
        return found

    monkeypatch.setattr(follow, "_exchanged", told)
    points = most = 0
    for seed in range(8):
        curve = draw(seed, size).curve()
        for point in curve.even(15):
            if (kept := point.vertex) is None:
                continue
            points += 1
            assert kept.basis == point.basis
            assert tuple(kept.x) == point.x
            most = max(most, kept.changes)
            if kept.changes < 8:
                beside = settled(curve.problem_at(point.level), kept.basis, list(kept.x), kept=kept)
                assert beside is not None
                assert beside.changes == kept.changes + 1
            assert miss(kept.problem, kept.basis, kept.x) <= 1e-11
            assert unlike(kept.inverse, active_rows(kept.problem, kept.basis, kept.tangent)) <= 1e-12
    for kept in exchanges:
        assert unlike(kept.inverse, active_rows(kept.problem, kept.basis, kept.tangent)) <= 1e-12
    assert points >= 50
    assert 4 <= most <= 10  # so many changes, and those of an exchange on top, before one is taken anew
    assert len(exchanges) >= 8


def test_what_a_point_keeps_can_be_sent_and_does_not_grow() -> None:
    """Pickled and read again a point leads to the same neighbours; it holds on to no other point."""
    curve = draw(3, 12).curve()
    points = [point for point in curve.even(41) if point.vertex is not None]
    sizes = [len(pickle.dumps(point)) for point in points]
    assert len(points) >= 30
    assert max(sizes[-5:]) <= 1.5 * max(sizes[:5])
    for point in points[::5]:
        again = pickle.loads(pickle.dumps(point))
        assert again == point
        assert replace(point, vertex=None) == point
        level = point.level + 1e-3 * curve.range
        problem = curve.problem_at(level)
        one, other = (curve.follow(problem, level, p, exchanges=0) for p in (point, again))
        anew = curve.follow(problem, level, replace(point, vertex=None), exchanges=0)
        assert (one is None) is (other is None) is (anew is None)
        if one is not None and other is not None and anew is not None:
            assert other.x == one.x
            assert anew.x == pytest.approx(one.x, rel=0.0, abs=SAME)
            assert anew.moves == pytest.approx(one.moves, rel=1e-9, abs=1e-9)
