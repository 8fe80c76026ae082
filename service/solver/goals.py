"""From goals to amounts: the order of aims of a blend.

Goals are hard ranges of ratios, with or without a value to be near. The order in which they rule is

1. feasibility by priority (1 first), within a priority the least sum of misses in noticeable steps,
2. nearness to the values, the least sum of distances in noticeable steps,
3. the preferences in their order,
4. the tie-breakers.

The cheap way comes first: hold every value with equality. Where that cannot be, deviations become columns of the
same programme (an absolute value is two of them). Where the ranges themselves cannot be met, and only with a proof
of it or when nothing was found, misses become columns too.

Amounts in whole packs are whole in every stage. Where that is all that stands in the way of the ranges, it is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from time import perf_counter

from service.solver.packs import solve_whole
from service.solver.problem import Problem, volume_at
from service.solver.solve import Solution, Verdict, solve
from service.solver.stages import Goal, least_misses, near_values, range_rows, typical_divisor

_NOTHING = 1e-7
"""A sum of misses below this, in noticeable steps, is none."""


class Outcome(Enum):
    """What became of the goals."""

    MET = "targets_met"
    CLASH = "targets_clash"
    NOT_FOUND = "no_plan_found"


@dataclass(frozen=True, slots=True)
class GoalResult:
    """Amounts for a set of goals.

    `problem` and `solution` are those of the last stage, whose first `size` columns are the amounts; `verdict`
    and `gap` speak of the whole: PROVED_IMPOSSIBLE belongs to a clash, whose amounts are the nearest plan. `packs_only`
    says of a clash that the same ranges can be met as soon as packs may be opened in part.
    """

    outcome: Outcome
    verdict: Verdict
    gap: float
    x: tuple[float, ...]
    problem: Problem
    solution: Solution
    milliseconds: float
    packs_only: bool = False


def _no_miss(loose: Problem, nearest: Solution, goals: Sequence[Goal]) -> bool:
    """Whether the nearest plan misses nothing after all: the search for it went another way."""
    volume = volume_at(loose, nearest.x)
    priorities = len({goal.priority for goal in goals})
    return all(aim.at(nearest.x, volume) <= _NOTHING for aim in loose.aims[:priorities])


def _met_in_parts(
    problem: Problem, goals: Sequence[Goal], references: Sequence[float], sums: Sequence[float], until: float
) -> bool:
    """Whether amounts that need not be whole packs are found in all ranges."""
    rows = (*range_rows(goals, references, at_value=False), *problem.rows)
    return solve(replace(problem, whole=(), rows=rows), sums, until=until, prove=False).found


def ranges_cannot_be_met(problem: Problem, goals: Sequence[Goal], sums: Sequence[float], *, until: float) -> bool:
    """Whether it is proved that no amounts bring every goal into its range.

    Parameters: problem and goals as for `solve_goals`; sums, a likely state; until, a `perf_counter` time [s].
    Returns: True only with a proof.
    """
    references = [typical_divisor(g.ratio, problem, sums) for g in goals]
    ranged = replace(problem, rows=(*range_rows(goals, references, at_value=False), *problem.rows))
    return solve_whole(ranged, sums, until=until, prove=False).verdict is Verdict.PROVED_IMPOSSIBLE


def solve_goals(
    problem: Problem, goals: Sequence[Goal], sums: Sequence[float], *, deadline_s: float = 2.0, prove: bool = True
) -> GoalResult:
    """Amounts that meet the goals in the order of the module's text.

    Parameters: problem, whose rows always hold and whose aims are the preferences and tie-breakers; goals, of distinct
    names; sums, a likely state of the blend, shape (7,); deadline_s [s] after which proofs stop; prove, False to
    skip the proof of global optimality.
    Returns: GoalResult. CLASH only with a proof that no amounts meet the ranges.
    """
    begun = perf_counter()
    until = begun + deadline_s
    references = [typical_divisor(g.ratio, problem, sums) for g in goals]

    def result(outcome: Outcome, verdict: Verdict, stage: Problem, solution: Solution) -> GoalResult:
        spent = 1000.0 * (perf_counter() - begun)
        return GoalResult(outcome, verdict, solution.gap, solution.x[: problem.size], stage, solution, spent)

    held = replace(problem, rows=(*range_rows(goals, references, at_value=True), *problem.rows))
    exact = solve_whole(held, sums, until=until, prove=prove)
    if exact.found:
        return result(Outcome.MET, exact.verdict, held, exact)
    impossible = exact.verdict is Verdict.PROVED_IMPOSSIBLE
    if any(g.value is not None for g in goals):
        near = near_values(problem, goals, references)
        nearby = solve_whole(near, sums, until=until, prove=prove)
        if nearby.found:
            return result(Outcome.MET, nearby.verdict, near, nearby)
        impossible = nearby.verdict is Verdict.PROVED_IMPOSSIBLE
    loose = least_misses(problem, goals, references)
    nearest = solve_whole(loose, sums, until=until, prove=False)
    if not nearest.found:  # any drink at all within the limits, by the preferences
        anything = solve_whole(problem, sums, until=until, prove=False)
        if anything.found:
            return result(Outcome.NOT_FOUND, Verdict.BEST_FOUND, problem, anything)
    elif not impossible and _no_miss(loose, nearest, goals):
        return result(Outcome.MET, Verdict.BEST_FOUND, loose, nearest)
    outcome = Outcome.CLASH if impossible else Outcome.NOT_FOUND
    verdict = (
        Verdict.PROVED_IMPOSSIBLE if impossible else Verdict.BEST_FOUND if nearest.found else Verdict.NOTHING_FOUND
    )
    only = impossible and any(problem.whole) and _met_in_parts(problem, goals, references, sums, until)
    return replace(result(outcome, verdict, loose, nearest), packs_only=only)
