"""Goals in their order: ranges by priority, nearness to values, preferences, tie-breakers."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Any

import numpy as np
import pytest

from service.solver import goals as goals_module
from service.solver.goals import GoalResult, Outcome, solve_goals
from service.solver.problem import Aim, Amounts, Form, Problem, Ratio, Row, ratio_rows, volume_at
from service.solver.solve import Solution, Verdict, solve
from service.solver.stages import Goal
from tests.benchmarks.rivals import slsqp_multistart
from tests.solver.cases import allowance, held, row_scale, value
from tests.solver.instances import Instance, make

SIZES = (2, 3, 6, 12, 30)

_SHRUNK = 1e-3
"""Factor that brings an oracle's aim in noticeable steps to order one."""


def at(problem: Problem, goal: Goal, x: Amounts) -> float:
    return goal.ratio.at(x, volume_at(problem, x))


def misses_in_steps(problem: Problem, goals: Sequence[Goal], x: Amounts) -> dict[int, float]:
    """The sum of misses in noticeable steps for every priority."""
    total = {goal.priority: 0.0 for goal in goals}
    for goal in goals:
        reached = at(problem, goal, x)
        total[goal.priority] += max(goal.low - reached, reached - goal.high, 0.0) / goal.step
    return total


def distance_in_steps(problem: Problem, goals: Sequence[Goal], x: Amounts) -> float:
    return sum(abs(at(problem, g, x) - g.value) / g.step for g in goals if g.value is not None)


def run(instance: Instance, goals: Sequence[Goal] | None = None, *, prove: bool = True) -> GoalResult:
    return solve_goals(
        instance.problem, instance.goals if goals is None else goals, instance.start, deadline_s=20.0, prove=prove
    )


def by_name(instance: Instance, name: str) -> Goal:
    return next(g for g in instance.goals if g.name == name)


def with_misses(
    problem: Problem, goals: Sequence[Goal], priority: int | None = None, *, hold: dict[int, float] | None = None
) -> Problem:
    """An oracle's own formulation: one column for the miss of each side, the sum of one priority as the only aim.

    It is written without the solver's own helpers for it; `hold` keeps the sums of other priorities.
    """
    n, sides = problem.size, []
    for k, goal in enumerate(goals):
        if goal.low > -inf:
            sides.append((k, 1.0, goal.low))
        if goal.high < inf:
            sides.append((k, -1.0, goal.high))
    wide = problem.with_columns([0.0] * len(sides), [1.0] * len(sides))
    rows: list[Row] = []
    sums: dict[int, list[float]] = {g.priority: [0.0] * wide.size for g in goals}
    for j, (k, sign, bound) in enumerate(sides):
        goal = goals[k]
        scale = row_scale(goal, problem)
        top, bottom = goal.ratio.numerator, goal.ratio.denominator
        form = (top if bottom is None else top.minus(bound, bottom)).scaled(sign * scale).widened(len(sides))
        limit = sign * scale * bound if bottom is None else 0.0
        coefficients = list(form.coefficients)
        coefficients[n + j] += 1.0
        rows.append(Row(goal.name, replace(form, coefficients=tuple(coefficients)), lower=limit))
        sums[goal.priority][n + j] = _SHRUNK / (scale * goal.step)
    # a miss in the row's units is a miss of the ratio times its denominator: the goals below all divide by volume
    volume = Form(0.0, (0.0,) * wide.size, 1.0)
    for key, most in (hold or {}).items():
        rows.append(Row(f"priority {key}", Form(0.0, tuple(sums[key]), -most * _SHRUNK), upper=0.0))
    chosen = priority if priority is not None else goals[0].priority
    return replace(wide, rows=tuple(rows), aims=(Aim((Ratio(Form(0.0, tuple(sums[chosen])), volume),)),))


def over_volume(instance: Instance) -> list[Goal]:
    """The goals that are ratios to the volume, so that misses in steps have one common denominator."""
    volume = Form(0.0, (0.0,) * instance.problem.size, 1.0)
    return [g for g in instance.goals if g.ratio.denominator == volume]


# ---------------------------------------------------------------- targets that can be met


@pytest.mark.parametrize("size", SIZES)
def test_reachable_goals_are_met_and_proved(size: int) -> None:
    """Exact targets to 1e-9 of their value, ranges inside their bounds; nothing beats the preference."""
    for seed in range(12):
        instance = make(seed, size)
        result = run(instance)
        assert result.outcome is Outcome.MET
        assert result.verdict is Verdict.PROVED_BEST
        assert result.gap <= 1e-6
        for goal in instance.goals:
            reached = at(instance.problem, goal, result.x)
            assert goal.low - 3e-9 * goal.size() <= reached <= goal.high + 3e-9 * goal.size()
        plain = solve(held(instance), instance.start)
        best = value(instance.problem, plain.x)
        assert abs(value(instance.problem, result.x) - best) <= allowance(best)


@pytest.mark.parametrize("size", SIZES)
def test_a_value_inside_its_range_is_hit_where_it_can_be(size: int) -> None:
    """Exact goals turned into wide ranges with the same value: the answer is the same."""
    for seed in range(10):
        instance = make(seed, size)
        wide = [
            replace(g, low=g.low - 5 * g.step, high=g.high + 5 * g.step) if g.value is not None else g
            for g in instance.goals
        ]
        result, exact = run(instance, wide), run(instance)
        assert result.outcome is Outcome.MET
        assert distance_in_steps(instance.problem, wide, result.x) <= 1e-5
        assert result.x == pytest.approx(exact.x, abs=1e-9)


@pytest.mark.parametrize("size", [2, 3, 6, 12])
def test_a_value_out_of_reach_is_approached_inside_its_range(size: int) -> None:
    """Gravity aimed beyond what the other goals leave: the answer is at the edge, and the distance is SLSQP's."""
    near = 0
    for seed in range(10):
        instance = make(seed, size)
        gravity = by_name(instance, "gravity")
        others = [g for g in instance.goals if g is not gravity]
        edge = _largest(instance, others, gravity.ratio)
        aimed = replace(gravity, low=edge - 0.01, high=edge + 0.02, value=edge + 0.005)
        goals = [aimed, *others]
        result = run(instance, goals)
        assert result.outcome is Outcome.MET
        assert result.verdict in (Verdict.PROVED_BEST, Verdict.BEST_FOUND)
        if sum(g.value is not None for g in goals) == 1:
            near += 1
            assert result.verdict is Verdict.PROVED_BEST
            assert at(instance.problem, gravity, result.x) == pytest.approx(edge, abs=2e-8)
        for goal in others:
            reached = at(instance.problem, goal, result.x)
            assert goal.low - 3e-9 * goal.size() <= reached <= goal.high + 3e-9 * goal.size()
    assert near >= 2


def _largest(instance: Instance, others: Sequence[Goal], ratio: Ratio) -> float:
    problem = held(instance, others)
    upward = Aim((Ratio(ratio.numerator.scaled(-1.0), ratio.denominator),))
    solution = solve(replace(problem, aims=(upward, *problem.aims)), instance.start)
    assert solution.verdict is Verdict.PROVED_BEST
    return ratio.at(solution.x, volume_at(problem, solution.x))


def test_nearness_of_several_values_against_a_fine_scan() -> None:
    """Two additions, three values that cannot all be hit: nothing on a fine grid of amounts is nearer."""
    for seed in range(6):
        instance = make(seed, 2)
        base = instance.problem
        rng = random.Random(seed)
        centre = [u * rng.uniform(0.2, 0.8) for u in base.upper]
        volume = volume_at(base, centre)
        goals = []
        for goal in over_volume(instance)[:2]:
            middle = goal.ratio.at(centre, volume)
            aimed = middle + goal.step * rng.uniform(-2, 2)
            goals.append(replace(goal, low=middle - 8 * goal.step, high=middle + 8 * goal.step, value=aimed))
        acid = Ratio(Form(0.05, (0.3, 0.7)), Form(0.0, (0.0, 0.0), 1.0))
        sour = acid.at(centre, volume)
        goals.append(Goal("acidity", acid, sour - 0.1, sour + 0.1, sour + 0.02, 0.005))
        result = run(instance, goals)
        assert result.outcome is Outcome.MET
        assert result.verdict is Verdict.PROVED_BEST
        ours = distance_in_steps(base, goals, result.x)
        best = inf
        for a in np.linspace(0.0, base.upper[0], 81):
            for b in np.linspace(0.0, base.upper[1], 81):
                x = (float(a), float(b))
                if max(misses_in_steps(base, goals, x).values()) <= 0.0:
                    best = min(best, distance_in_steps(base, goals, x))
        assert ours <= best + 1e-6


def test_among_equally_near_plans_the_preference_decides() -> None:
    """Only gravity is asked for, so many plans hit it: the best of them by the first preference is taken."""
    for seed in range(10):
        instance = make(seed, 6)
        gravity = by_name(instance, "gravity")
        middle = 0.5 * (gravity.low + gravity.high)
        goal = replace(gravity, low=middle - 0.01, high=middle + 0.01, value=middle)
        result = run(instance, [goal])
        exact = solve(held(instance, [goal]), instance.start)
        best = value(instance.problem, exact.x)
        assert abs(value(instance.problem, result.x) - best) <= allowance(best)


# ---------------------------------------------------------------- targets that clash


@pytest.mark.parametrize("size", [2, 3, 6, 12])
def test_a_clash_is_proved_and_the_nearest_plan_is_slsqps(size: int) -> None:
    """Gravity beyond reach by steps: the sum of misses in noticeable steps is the least."""
    for seed in range(8):
        instance = make(seed, size)
        goals = over_volume(instance)
        gravity = by_name(instance, "gravity")
        others = [g for g in goals if g is not gravity]
        edge = _largest(instance, others, gravity.ratio)
        goals = [replace(gravity, low=edge + 0.002, high=edge + 0.003, value=None), *others]
        result = run(instance, goals)
        assert result.outcome is Outcome.CLASH
        assert result.verdict is Verdict.PROVED_IMPOSSIBLE
        ours = misses_in_steps(instance.problem, goals, result.x)[1]
        assert ours > 0.0
        assert ours <= 2.0 + 1e-5  # missing gravity alone by its 0.002 is one way
        rival = slsqp_multistart(with_misses(instance.problem, goals), 4, seed)
        assert rival is not None
        assert ours <= rival.value / _SHRUNK + 1e-5 * max(1.0, rival.value / _SHRUNK)


@pytest.mark.parametrize("size", [3, 6, 12])
def test_priority_one_rules_over_priority_two(size: int) -> None:
    """Of two goals that clash the first keeps its range, and the second gives way by the least that allows it."""
    for seed in range(8):
        instance = make(seed, size)
        gravity = by_name(instance, "gravity")
        others = [g for g in over_volume(instance) if g is not gravity]
        edge = _largest(instance, others, gravity.ratio)
        top = max(_largest(instance, [], gravity.ratio), edge)
        target = 0.5 * (edge + top)
        if target - edge < 1e-4:
            continue  # strength does not stand in the way of gravity here
        goals = [
            replace(gravity, low=target, high=target, value=None, priority=1),
            *(replace(g, value=None, priority=2) for g in others),
        ]
        result = run(instance, goals)
        assert result.outcome is Outcome.CLASH
        misses = misses_in_steps(instance.problem, goals, result.x)
        assert misses[1] <= 1e-5
        assert misses[2] > 0.0
        rival = slsqp_multistart(with_misses(instance.problem, goals, 2, hold={1: 1e-7}), 4, seed, feasible=1e-8)
        if rival is not None:
            assert misses[2] <= rival.value / _SHRUNK + 1e-4 * max(1.0, rival.value / _SHRUNK)
        swapped = run(instance, [replace(g, priority=3 - g.priority) for g in goals])
        misses = misses_in_steps(instance.problem, goals, swapped.x)
        assert misses[2] <= 1e-5
        assert misses[1] == pytest.approx((target - edge) / gravity.step, rel=1e-4, abs=1e-5)


def test_two_sided_goals_without_a_denominator_clash_too() -> None:
    """A volume beyond what the materials fill: two-sided, one-sided and exact, by how much it is missed."""
    instance = make(4, 6)
    base = instance.problem
    most = volume_at(base, base.upper)
    volume = Ratio(Form(0.0, (0.0,) * base.size, 1.0))
    for low, high in ((most + 0.3, most + 0.5), (most + 0.3, inf), (most + 0.3, most + 0.3)):
        goal = Goal("volume", volume, low, high, None, 0.01)
        result = run(instance, [goal])
        assert result.outcome is Outcome.CLASH
        assert misses_in_steps(base, [goal], result.x)[1] == pytest.approx(30.0, rel=1e-6)
        assert result.x == pytest.approx(base.upper)
    goal = Goal("volume", volume, -inf, 0.5, None, 0.01)
    result = run(instance, [goal])
    assert result.outcome is Outcome.CLASH
    assert max(result.x) == 0.0


def test_a_clash_over_values_keeps_to_ranges_first() -> None:
    """With ranges that clash the values still draw, but never at the price of a range."""
    instance = make(3, 6)
    gravity = by_name(instance, "gravity")
    others = [replace(g, value=None) for g in over_volume(instance) if g is not gravity]
    edge = _largest(instance, others, gravity.ratio)
    ranged = replace(gravity, low=edge + 0.002, high=edge + 0.004, value=None)
    valued = replace(ranged, value=edge + 0.003)
    plain, drawn = run(instance, [ranged, *others]), run(instance, [valued, *others])
    assert plain.outcome is drawn.outcome is Outcome.CLASH
    a = misses_in_steps(instance.problem, [ranged, *others], plain.x)[1]
    b = misses_in_steps(instance.problem, [ranged, *others], drawn.x)[1]
    assert b == pytest.approx(a, rel=1e-6)


def test_nothing_free_is_a_plan_or_a_clash() -> None:
    """No amounts to choose at all: the base alone meets a range or misses it."""
    base = make(1, 2).problem
    fixed = replace(base, lower=(), upper=(), columns=(), aims=(Aim((Ratio(Form(0.0, ())),)),))
    density = Ratio(Form(sum(base.fixed_sums[:3]), ()), Form(0.0, (), 1.0))
    reached = density.at((), volume_at(fixed, ()))
    start = base.fixed_sums
    met = solve_goals(fixed, [Goal("gravity", density, reached - 0.01, reached + 0.01, None, 0.001)], start)
    assert met.outcome is Outcome.MET
    missed = solve_goals(fixed, [Goal("gravity", density, reached + 0.01, reached + 0.02, None, 0.001)], start)
    assert missed.outcome is Outcome.CLASH
    assert missed.x == ()


def test_without_goals_only_the_preference_speaks() -> None:
    instance = make(1, 6)
    added = Aim((Ratio(Form(0.0, (1.0,) * 6)),))
    free = replace(instance, problem=replace(instance.problem, aims=(added, *instance.problem.aims)))
    assert max(run(free, []).x) == 0.0


# ---------------------------------------------------------------- what must not matter


def shuffled(problem: Problem, goals: Sequence[Goal], order: Sequence[int]) -> tuple[Problem, list[Goal]]:
    """The same columns in another order."""

    def form(f: Form) -> Form:
        return Form(f.constant, tuple(f.coefficients[j] for j in order), f.volume)

    def ratio(r: Ratio) -> Ratio:
        return Ratio(form(r.numerator), None if r.denominator is None else form(r.denominator))

    moved = replace(
        problem,
        lower=tuple(problem.lower[j] for j in order),
        upper=tuple(problem.upper[j] for j in order),
        columns=tuple(problem.columns[j] for j in order),
        aims=tuple(Aim(tuple(ratio(t) for t in aim.terms)) for aim in problem.aims),
    )
    return moved, [replace(g, ratio=ratio(g.ratio)) for g in goals]


@pytest.mark.parametrize("size", SIZES)
def test_the_order_of_materials_and_goals_does_not_matter(size: int) -> None:
    for seed in range(10):
        instance = make(seed, size)
        rng = random.Random(seed)
        order = list(range(size))
        rng.shuffle(order)
        problem, goals = shuffled(instance.problem, instance.goals, order)
        rng.shuffle(goals)
        a = run(instance)
        b = solve_goals(problem, goals, instance.start)
        assert (a.outcome, a.verdict) == (b.outcome, b.verdict)
        back = [0.0] * size
        for place, j in enumerate(order):
            back[j] = b.x[place]
        assert back == pytest.approx(a.x, abs=1e-7)


@pytest.mark.parametrize("factor", [0.02, 0.5, 3.0, 50.0])
def test_k_times_the_goals_is_k_times_the_amounts(factor: float) -> None:
    """Base, limits and goals for volume times k; ratios as they are. Rows and aims are per unit of volume."""
    for seed in range(10):
        instance = make(seed, 6)
        base = instance.problem

        def grown(form: Form, *, extensive: float) -> Form:
            return Form(
                form.constant * extensive,
                tuple(a * extensive / factor for a in form.coefficients),
                form.volume * extensive / factor,
            )

        goals = []
        for goal in instance.goals:
            if goal.ratio.denominator is None:
                goals.append(replace(goal, ratio=Ratio(grown(goal.ratio.numerator, extensive=1.0))))
            else:
                top = grown(goal.ratio.numerator, extensive=factor)
                goals.append(replace(goal, ratio=Ratio(top, grown(goal.ratio.denominator, extensive=factor))))
        aims = []
        for aim in base.aims:
            (term,) = aim.terms
            if term.denominator is None:
                aims.append(Aim((Ratio(grown(term.numerator, extensive=1.0)),)))
            else:
                top = grown(term.numerator, extensive=factor)
                aims.append(Aim((Ratio(top, grown(term.denominator, extensive=factor)),)))
        large = replace(
            base,
            upper=tuple(u * factor for u in base.upper),
            fixed_sums=tuple(s * factor for s in base.fixed_sums),
            aims=tuple(aims),
        )
        a = run(instance)
        b = solve_goals(large, goals, instance.start)
        assert a.outcome is b.outcome
        assert [v / factor for v in b.x] == pytest.approx(a.x, rel=1e-6, abs=1e-8)


def test_a_row_for_a_denominator_of_one_is_scaled_with_its_bounds() -> None:
    rows = ratio_rows("volume", Ratio(Form(1.0, (2.0,))), 3.0, 5.0, 0.5)
    assert rows == (Row("volume", Form(0.5, (1.0,)), 1.5, 2.5, 0.5),)
    both = ratio_rows("share", Ratio(Form(0.0, (1.0,)), Form(1.0, (1.0,))), 0.2, 0.4)
    assert [(r.lower, r.upper) for r in both] == [(0.0, inf), (-inf, 0.0)]
    assert ratio_rows("share", Ratio(Form(0.0, (1.0,)), Form(1.0, (1.0,))), -inf, inf) == ()


def test_the_deadline_ends_proofs_but_not_the_answer() -> None:
    instance = make(1, 30, strength_bounded=False)
    result = solve_goals(instance.problem, instance.goals, instance.start, deadline_s=0.0)
    assert result.outcome is Outcome.MET
    assert result.verdict is Verdict.BEST_FOUND
    assert result.milliseconds < 2000.0
    assert run(instance, prove=False).verdict is Verdict.BEST_FOUND


# A clash needs a proof, whatever the stage that ends without one.


@pytest.mark.parametrize(
    ("at_values", "near", "outcome"),
    [
        (Verdict.NOTHING_FOUND, Verdict.NOTHING_FOUND, Outcome.NOT_FOUND),
        (Verdict.PROVED_IMPOSSIBLE, Verdict.NOTHING_FOUND, Outcome.NOT_FOUND),
        (Verdict.NOTHING_FOUND, Verdict.PROVED_IMPOSSIBLE, Outcome.CLASH),
        (Verdict.PROVED_IMPOSSIBLE, Verdict.PROVED_IMPOSSIBLE, Outcome.CLASH),
    ],
)
def test_a_clash_is_only_what_the_ranges_prove(
    monkeypatch: pytest.MonkeyPatch, at_values: Verdict, near: Verdict, outcome: Outcome
) -> None:
    instance = make(3, 4)
    gravity = by_name(instance, "gravity")
    goal = replace(gravity, low=1.39, high=1.41, value=1.4)
    pretended = iter([Solution(at_values, inf), Solution(near, inf)])
    real = solve

    def pretend(*arguments: Any, **options: Any) -> Solution:
        return next(pretended, None) or real(*arguments, **options)

    monkeypatch.setattr(goals_module, "solve_whole", pretend)
    assert solve_goals(instance.problem, [goal], instance.start).outcome is outcome
