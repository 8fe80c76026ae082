"""The stationary point: its derivatives, its first-order conditions, its multipliers, its way there."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.solver.local import (
    LocalStatus,
    is_liquid,
    newton_on_basis,
    solve_square,
    stationary_from,
    worst_violation,
)
from service.solver.problem import Aim, Form, Problem, Ratio, Row, Tangent, ratio_rows, volume_at
from service.solver.solve import states_across
from tests.benchmarks.rivals import linprog_inside
from tests.solver.cases import allowance, held, value
from tests.solver.instances import Instance, make

RELATIVE = 1e-8
SIZES = (2, 3, 6, 12, 30)


def derivative(problem: Problem, form: Form | Aim, x: list[float], j: int, h: float = 0.01) -> float:
    """Romberg's: central differences at h … h/8, extrapolated to zero, so that neither error reaches 1e-10."""

    def at(shift: float) -> float:
        moved = [v + shift if i == j else v for i, v in enumerate(x)]
        return form.at(moved, volume_at(problem, moved))

    column = [(at(step) - at(-step)) / (2.0 * step) for step in (h, h / 2, h / 4, h / 8)]
    weight = 1.0
    while len(column) > 1:
        weight *= 4.0
        column = [(weight * fine - coarse) / (weight - 1.0) for coarse, fine in pairwise(column)]
    return column[0]


def inner_point(instance: Instance, seed: int) -> list[float]:
    """Amounts far enough from zero for differences to stay inside the liquids."""
    rng = random.Random(seed)
    return [0.02 + 0.2 * u * rng.random() for u in instance.problem.upper]


@pytest.mark.parametrize("size", [2, 6, 12])
@pytest.mark.parametrize("seed", range(5))
def test_gradients_of_rows_and_aims_are_exact(seed: int, size: int) -> None:
    """`Tangent.row` and `Tangent.cost` to 1e-8 of the numeric derivative."""
    instance = make(seed, size)
    problem = held(instance)
    x = inner_point(instance, seed)
    volume = volume_at(problem, x)
    tangent = Tangent(problem, problem.sums_at(x))
    ratios = tuple(goal.ratio for goal in instance.goals)
    aims = [*problem.aims, Aim(ratios), *(Aim((ratio,)) for ratio in ratios)]
    pairs: list[tuple[Form | Aim, list[float]]] = [(row.form, tangent.row(row.form)) for row in problem.rows]
    pairs += [(aim, tangent.cost(aim, x, volume)) for aim in aims]
    for function, gradient in pairs:
        floor = 0.01 * max(map(abs, gradient))
        for j in range(size):
            numeric = derivative(problem, function, x, j)
            assert abs(gradient[j] - numeric) <= RELATIVE * max(abs(gradient[j]), floor) + 1e-13


@pytest.mark.parametrize("seed", range(5))
def test_a_tangent_meets_the_volume_at_its_state_and_only_there(seed: int) -> None:
    """Exact at the state and, the volume being homogeneous, at every multiple of it; second order beside it."""
    instance = make(seed, 6)
    problem, x = instance.problem, inner_point(instance, seed)
    tangent = Tangent(problem, problem.sums_at(x))
    plain = Form(0.0, (0.0,) * 6, 1.0)

    def error(shift: float) -> float:
        moved = [v * (1.0 + shift * (-1) ** j) for j, v in enumerate(x)]
        linear = tangent.offset(plain) + sum(a * b for a, b in zip(tangent.row(plain), moved, strict=True))
        error: float = abs(linear - volume_at(problem, moved))
        return error

    assert error(0.0) <= 1e-14
    assert error(0.1) / error(0.05) == pytest.approx(4.0, rel=0.2)
    doubled = Tangent(problem, [2.0 * s for s in problem.sums_at(x)])
    assert doubled.partial == pytest.approx(tangent.partial, rel=1e-12)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("seed", range(12))
def test_a_stationary_point_satisfies_the_first_order_conditions(seed: int, size: int) -> None:
    """Checked from the outside: feasibility, the sign of every multiplier, the reduced cost of every amount."""
    instance = make(seed, size)
    problem = held(instance)
    result = stationary_from(problem, instance.start)
    if result.status is not LocalStatus.STATIONARY:  # the linearisation of this state had no feasible point
        result = next(
            r for s in states_across(problem) if (r := stationary_from(problem, s)).status is LocalStatus.STATIONARY
        )
    x, basis = result.x, result.basis
    volume = volume_at(problem, x)
    assert worst_violation(problem, x, volume) <= 1e-9
    assert len(basis.free) == len(basis.rows) == len(basis.upper)
    tangent = Tangent(problem, problem.sums_at(x))
    gradient = tangent.cost(problem.aims[0], x, volume)
    size_of_cost = max(1e-12, *map(abs, gradient))
    for i, up in zip(basis.rows, basis.upper, strict=True):
        row = problem.rows[i]
        assert row.form.at(x, volume) == pytest.approx(row.upper if up else row.lower, abs=1e-11)
    for i, up, multiplier in zip(basis.rows, basis.upper, result.multipliers[0], strict=True):
        line = tangent.row(problem.rows[i].form)
        gradient = [g - multiplier * a for g, a in zip(gradient, line, strict=True)]
        if problem.rows[i].lower != problem.rows[i].upper:
            assert multiplier * (-1.0 if up else 1.0) >= -1e-7 * size_of_cost
    for j in range(size):
        if j in basis.free:
            assert abs(gradient[j]) <= 1e-7 * size_of_cost
        elif x[j] <= problem.lower[j]:
            assert gradient[j] >= -1e-7 * size_of_cost
        else:
            assert x[j] == problem.upper[j]
            assert gradient[j] <= 1e-7 * size_of_cost


@pytest.mark.parametrize("seed", range(20))
def test_multipliers_are_shadow_prices(seed: int) -> None:
    """The best value moves with a bound by the multiplier, as long as the basis stays."""
    instance = make(seed, 6)
    problem = held(instance)
    result = stationary_from(problem, instance.start)
    assert result.status is LocalStatus.STATIONARY
    largest = max([1.0, *map(abs, result.multipliers[0])])
    for i, multiplier in zip(result.basis.rows, result.multipliers[0], strict=True):

        def best(shift: float, at: int = i) -> float:
            rows = tuple(
                replace(row, lower=row.lower + shift, upper=row.upper + shift) if k == at else row
                for k, row in enumerate(problem.rows)
            )
            moved = newton_on_basis(replace(problem, rows=rows), result.basis, list(result.x))
            assert moved is not None
            return value(problem, moved)

        slope = (8.0 * (best(1e-4) - best(-1e-4)) - (best(2e-4) - best(-2e-4))) / 12e-4
        assert slope == pytest.approx(multiplier, rel=1e-5, abs=1e-7 * largest)


@pytest.mark.parametrize("size", [3, 12])
def test_the_programmes_of_highs_lead_to_the_same_value(size: int) -> None:
    """With `linprog` in the place of our simplex the search ends at the same first aim."""
    for seed in range(15):
        instance = make(seed, size)
        problem = held(instance)
        ours = stationary_from(problem, instance.start)
        with linprog_inside():
            theirs = stationary_from(replace(problem, aims=problem.aims[:1]), instance.start)
        if ours.status is theirs.status is LocalStatus.STATIONARY:
            best = value(problem, theirs.x)
            assert abs(value(problem, ours.x) - best) <= allowance(best)


def test_one_programme_is_enough_in_most_problems() -> None:
    counts = [stationary_from(held(i), i.start).programmes for i in (make(s, 6) for s in range(100))]
    assert sum(c == 1 for c in counts) >= 70
    assert max(counts) <= 6


def test_newton_keeps_what_is_not_free_and_meets_the_rows() -> None:
    instance = make(2, 6)
    problem = held(instance)
    result = stationary_from(problem, instance.start)
    start = [v * 1.02 if j in result.basis.free else v for j, v in enumerate(result.x)]
    assert newton_on_basis(problem, result.basis, start) == pytest.approx(result.x, abs=1e-10)


def test_newton_gives_up_on_a_singular_system() -> None:
    instance = make(2, 6)
    problem = held(instance)
    result = stationary_from(problem, instance.start)
    row = problem.rows[result.basis.rows[0]]
    twice = replace(problem, rows=(row, replace(row, lower=row.lower + 0.1, upper=row.upper + 0.1)))
    basis = replace(result.basis, free=(0, 1), rows=(0, 1), upper=(False, False))
    assert newton_on_basis(twice, basis, list(result.x)) is None


def test_newton_gives_up_outside_the_liquids() -> None:
    """A gravity that only a negative amount of water could give leads out of what the volume rule describes."""
    problem = Problem(
        (0.0,), (1.0,), (0.2, 0.0, 0.1, 0.1, 0.0, 0.0, 0.0), ((1.0,) + (0.0,) * 6,), (), (Aim((Ratio(Form(0, (1,))),)),)
    )
    rows = ratio_rows("gravity", Ratio(Form(0.3, (1.0,)), Form(0.0, (0.0,), 1.0)), 1.7, 1.7)
    problem = replace(problem, rows=rows)
    result = stationary_from(problem, problem.fixed_sums)
    assert result.status is not LocalStatus.STATIONARY


def test_a_state_that_is_no_liquid_is_not_followed() -> None:
    assert not is_liquid((0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0))
    assert not is_liquid((0.09, 0.5, 0.91, 0.91, 0.0, 0.0, 0.0))
    assert not is_liquid((1.0, -0.1, 0.1, 0.1, 0.0, 0.0, 0.0))
    assert is_liquid((0.11, 0.5, 0.89, 0.89, 0.0, 0.0, 0.0))


def test_violations_are_the_largest_miss_of_bounds_and_rows() -> None:
    instance = make(4, 3)
    problem = instance.problem
    x = list(problem.upper)
    x[0] += 0.25
    volume = volume_at(problem, x)
    assert worst_violation(problem, x, volume) == pytest.approx(0.25)
    narrow = replace(problem, rows=(Row("volume", Form(0.0, (0.0,) * 3, 1.0), upper=volume - 0.5),))
    assert worst_violation(narrow, x, volume) == pytest.approx(0.5)


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 10**6), size=st.integers(1, 8))
def test_elimination_agrees_with_numpy(seed: int, size: int) -> None:
    rng = np.random.default_rng(seed)
    matrix, right = rng.normal(size=(size, size)), rng.normal(size=size)
    ours = solve_square(matrix.tolist(), right.tolist())
    assert ours is not None
    condition = float(np.linalg.cond(matrix))
    assert ours == pytest.approx(np.linalg.solve(matrix, right).tolist(), rel=1e-13 * condition, abs=1e-13 * condition)


def test_elimination_says_when_a_system_is_singular() -> None:
    assert solve_square([[1.0, 2.0], [2.0, 4.0]], [1.0, 1.0]) is None
    assert solve_square([], []) == []


@pytest.mark.parametrize("factor", [1e-2, 0.3, 7.0, 1e3])
def test_k_times_the_batch_is_k_times_the_amounts(factor: float) -> None:
    """The volume is homogeneous: with every bound and fixed sum times k, the answer is times k."""
    for seed in range(10):
        instance = make(seed, 6)
        problem = held(instance)
        base = stationary_from(problem, instance.start)

        def grown(form: Form, k: float) -> Form:
            # the same ratio at k times the amounts, with the row still of order one
            return Form(form.constant, tuple(a / k for a in form.coefficients), form.volume / k)

        rows = tuple(replace(r, form=grown(r.form, factor)) for r in problem.rows)
        aims = tuple(
            Aim(
                tuple(
                    Ratio(grown(t.numerator, factor), None if t.denominator is None else grown(t.denominator, factor))
                    for t in aim.terms
                )
            )
            for aim in problem.aims
        )
        large = replace(
            problem,
            upper=tuple(u * factor for u in problem.upper),
            fixed_sums=tuple(s * factor for s in problem.fixed_sums),
            rows=rows,
            aims=aims,
        )
        result = stationary_from(large, instance.start)
        assert result.status is base.status
        assert [v / factor for v in result.x] == pytest.approx(base.x, rel=1e-8, abs=1e-10)
