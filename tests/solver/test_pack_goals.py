"""Goals over whole packs: every count of packs as the oracle, and what is said where packs stand in the way."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from math import inf

import pytest

from service.solver import packs as packs_module
from service.solver.goals import GoalResult, Outcome, ranges_cannot_be_met, solve_goals
from service.solver.problem import Amounts, Form, Problem, Ratio, volume_at
from service.solver.solve import Verdict
from service.solver.stages import Goal
from tests.solver.instances import Instance
from tests.solver.packed import assert_whole, box, each_count, packed


def run(instance: Instance, goals: Sequence[Goal]) -> GoalResult:
    return solve_goals(instance.problem, goals, instance.start, deadline_s=20.0)


def misses(problem: Problem, goals: Sequence[Goal], x: Amounts) -> float:
    volume = volume_at(problem, x)
    reached = [(g, g.ratio.at(x, volume)) for g in goals]
    return sum(max(g.low - v, v - g.high, 0.0) / g.step for g, v in reached)


def test_goals_over_packs_are_the_best_of_all_counts() -> None:
    """The outcome, the verdict and the misses of `solve_goals` against the same for every count of packs held."""
    outcomes: Counter[tuple[Outcome, bool]] = Counter()
    for seed in range(24):
        instance = packed(seed, 2 + seed % 2, 1 + seed % 3, combinations=9, reached=seed % 3 == 0)
        goals = [replace(g, value=None) if seed % 2 else g for g in instance.goals]
        result = run(instance, goals)
        each = [
            solve_goals(held_packs, goals, instance.start, deadline_s=20.0, prove=False)
            for held_packs in each_count(instance.problem)
        ]
        met = any(r.outcome is Outcome.MET for r in each)
        assert result.outcome is (Outcome.MET if met else Outcome.CLASH)
        outcomes[result.outcome, result.packs_only] += 1
        assert_whole(replace(result.problem, rows=()), result.solution.x)
        if not met:
            assert result.verdict is Verdict.PROVED_IMPOSSIBLE
            best = min(misses(instance.problem, goals, r.x) for r in each)
            ours = misses(instance.problem, goals, result.x)
            assert ours == pytest.approx(best, rel=1e-5, abs=1e-6)
            without = solve_goals(replace(instance.problem, whole=()), goals, instance.start, deadline_s=20.0)
            assert result.packs_only is (without.outcome is Outcome.MET)
            assert ranges_cannot_be_met(instance.problem, goals, instance.start, until=inf)
            assert ranges_cannot_be_met(replace(instance.problem, whole=()), goals, instance.start, until=inf) is (
                not result.packs_only
            )
    assert outcomes[Outcome.MET, False] >= 5
    assert outcomes[Outcome.CLASH, True] >= 3


def sweet(low: float, high: float, *, value: float | None = None, size: int = 1) -> Goal:
    """Solids over mass, of a base with 2 % of them."""
    solids = Form(0.02, (0.7,) * size)
    return Goal("solids", Ratio(solids, Form(0.97, (1.0,) * size)), low, high, value, 0.001)


def test_only_packs_stand_in_the_way() -> None:
    """One pack too little, two too much: the nearer is taken, and it is said that packs alone are why."""
    problem = box((0.0,), (1.0,), (0.1,))
    one, two = ((0.02 + 0.7 * k) / (0.97 + k) for k in (0.1, 0.2))
    low = one + 0.4 * (two - one)
    clash = solve_goals(problem, [sweet(low, low + 0.01)], problem.fixed_sums)
    assert (clash.outcome, clash.verdict, clash.packs_only) == (Outcome.CLASH, Verdict.PROVED_IMPOSSIBLE, True)
    assert clash.x == pytest.approx((0.1,), abs=1e-12)
    parts = solve_goals(replace(problem, whole=()), [sweet(low, low + 0.01)], problem.fixed_sums)
    assert (parts.outcome, parts.packs_only) == (Outcome.MET, False)
    far = solve_goals(problem, [sweet(0.75, 0.8)], problem.fixed_sums)  # sweeter than the syrup itself
    assert (far.outcome, far.packs_only) == (Outcome.CLASH, False)
    assert far.x == pytest.approx((1.0,))


def test_a_value_between_packs_is_approached() -> None:
    """A value that whole packs pass by, in a range that they meet, is no clash: the nearer count is the plan."""
    problem = box((0.0,), (1.0,), (0.1,))
    one, two = ((0.02 + 0.7 * k) / (0.97 + k) for k in (0.1, 0.2))
    for share, count in ((0.3, 1), (0.7, 2)):
        aimed = sweet(one - 0.01, two + 0.01, value=one + share * (two - one))
        result = solve_goals(problem, [aimed], problem.fixed_sums)
        assert (result.outcome, result.verdict, result.packs_only) == (Outcome.MET, Verdict.PROVED_BEST, False)
        assert result.x == (count * 0.1,)


def test_a_limit_without_a_whole_pack_is_a_clash_without_a_plan() -> None:
    """Between 0.06 and 0.09 of a pack of 0.1 there is none, so not even a nearest plan."""
    problem = box((0.06,), (0.09,), (0.1,))
    result = solve_goals(problem, [sweet(0.0, 1.0)], problem.fixed_sums)
    assert (result.outcome, result.packs_only, result.x) == (Outcome.CLASH, True, ())


def test_without_a_proof_nothing_is_said_of_packs(monkeypatch: pytest.MonkeyPatch) -> None:
    """A search cut short before it has a plan or a proof is no clash, and packs are not blamed."""
    problem = box((0.0, 0.0), (1.0, 1.0), (0.2, 0.2))
    total = Goal("total", Ratio(Form(0.0, (1.0, 1.0))), 0.45, 0.55, None, 0.01)
    proved = solve_goals(problem, [total], problem.fixed_sums)
    assert (proved.outcome, proved.packs_only) == (Outcome.CLASH, True)
    monkeypatch.setattr(packs_module, "_MOST_NODES", 1)
    result = solve_goals(problem, [total], problem.fixed_sums)
    assert (result.outcome, result.packs_only) == (Outcome.NOT_FOUND, False)
