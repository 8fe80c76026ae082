"""From a question to the solver's answer, with the chemistry that belongs to the answer.

Rows on pH and acidity are tangents at one blend (`service.model.acidity`). The search is repeated with the chemistry of
where it ended until that no longer moves, mostly in two rounds, of which the first is not proved. What is proved
therefore speaks of the tangents at the plan itself. Where two optima send the search to each other its steps are
halved, and nothing is proved. That goals of acidity clash is only said where they clash by more than the rows could be
wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

from service.model.acidity import Chemistry, chemistry_of
from service.model.properties import PROPERTIES, Of, Per, depends_on_acids
from service.planner.asked import PlanAsked
from service.planner.materials import Material, poured
from service.planner.numbers import Numbers, likely_blend, numbers_from, ph_counted_from
from service.solver.goals import GoalResult, Outcome, ranges_cannot_be_met, solve_goals
from service.solver.problem import Problem
from service.solver.solve import Verdict

_SETTLED_PH, _SETTLED_MEQ_PER_L = 2e-6, 1e-4
"""Rows wrong by less than this are right."""

_ROUNDS = 20
_FREE_ROUNDS = 4
"""After so many rounds the search may only move by half as far each time, and proves nothing any more."""

_MARGIN = {Of.PH: 0.05, Of.TITRATION: 0.005}
"""Ranges are widened by this (pH; share of an acidity) before a clash counts as proved: ionic strength and alcohol
move pH by less within the blends that a search compares (judged; held against random blends in the tests)."""


@dataclass(frozen=True, slots=True)
class Answered:
    """A question in numbers and the solver's result; `settled` is False where the chemistry went on moving."""

    numbers: Numbers
    result: GoalResult
    settled: bool


def answer(asked: PlanAsked, materials: Sequence[Material]) -> Answered:
    """Solve a question.

    Parameters: asked, in base units; materials, sorted.
    Returns: Answered.
    Raises: InputError where a preference needs what a material lacks.
    """
    end_point = asked.circumstances.end_point_ph
    until = perf_counter() + asked.deadline_s
    blend = likely_blend(materials, asked.targets)
    chemistry = chemistry_of(blend, end_point)
    names = {*(t.name for t in asked.targets), *(p.name for p in asked.prefer)}
    acid = any(map(depends_on_acids, names))
    numbers = numbers_from(materials, asked.targets, asked.prefer, chemistry)
    start: Sequence[float] = numbers.start
    milliseconds, settled, radius, before = 0.0, not acid, inf, None
    for round_ in range(_ROUNDS):
        left = max(until - perf_counter(), 0.0)
        problem = numbers.problem if before is None or radius == inf else _around(numbers.problem, before, radius)
        found = solve_goals(problem, numbers.goals, start, deadline_s=left, prove=not acid or 0 < round_ < _FREE_ROUNDS)
        milliseconds += found.milliseconds
        if radius < inf and found.outcome is not Outcome.MET:
            break
        result = found
        if not acid or not result.solution.found:
            break
        blend = poured(materials, numbers.masses_g(result.x))
        after = chemistry_of(blend, end_point)
        if round_ > 0 and _settled(names, chemistry, after) and not _aims_moved(numbers, names, after):
            settled = True
            break
        if round_ >= _FREE_ROUNDS - 1 and before is not None:
            apart = max((abs(a - b) for a, b in zip(result.x, before, strict=True)), default=0.0)
            radius = 0.5 * min(radius, apart)
        chemistry, before = after, result.x
        numbers = numbers.with_chemistry(chemistry)
        start = numbers.problem.sums_at(result.x)
    if radius < inf and result.verdict is Verdict.PROVED_BEST:
        result = replace(result, verdict=Verdict.BEST_FOUND, gap=inf)
    result = replace(result, milliseconds=milliseconds)
    if acid and result.outcome is Outcome.CLASH and not _clash_stands(numbers, start, until):
        result = replace(result, outcome=Outcome.NOT_FOUND, verdict=Verdict.BEST_FOUND, gap=inf)
    return Answered(numbers, result, settled)


def _around(problem: Problem, x: Sequence[float], radius: float) -> Problem:
    """The problem with amounts near x only: two optima that send the search to each other meet in between."""
    return replace(
        problem,
        lower=tuple(max(low, a - radius) for low, a in zip(problem.lower, x, strict=True)),
        upper=tuple(min(high, a + radius) for high, a in zip(problem.upper, x, strict=True)),
    )


def _settled(names: set[str], before: Chemistry, after: Chemistry) -> bool:
    """Whether the rows that were used are right where the search ended."""
    if "ph" in names and after.ph_error_of(before) >= _SETTLED_PH:
        return False
    by_titration = any(depends_on_acids(name) for name in names - {"ph"})
    return not by_titration or after.titration_error_of(before) < _SETTLED_MEQ_PER_L


def _aims_moved(numbers: Numbers, names: set[str], after: Chemistry) -> bool:
    """Whether a distance from a pH, or a preference for one, was counted beside another pH than where it ended."""
    if "ph" not in names:
        return False
    beside = ph_counted_from(numbers.targets, after.ph)
    if beside is None or numbers.ph_beside is None:
        return beside is not numbers.ph_beside
    if abs(beside - numbers.ph_beside) <= _SETTLED_PH:
        return False
    held = next((t for t in numbers.targets if t.name == "ph"), None)
    preferred = any(p.name == "ph" for p in numbers.prefer)
    # inside its range, with no value to be near and no preference, a pH is not counted at all
    return preferred or held is None or held.value is not None or not held.low <= beside <= held.high


def _clash_stands(numbers: Numbers, start: Sequence[float], until: float) -> bool:
    """Whether the ranges clash even when those of acidity are widened by what the constants could move."""
    wide = []
    for goal in numbers.goals:
        law = PROPERTIES[goal.name]
        margin = _MARGIN.get(law.of, _MARGIN[Of.TITRATION] if law.per is Per.ACID else 0.0)
        if law.of is Of.PH:
            low, high = goal.low - margin, goal.high + margin
        else:
            low = goal.low - margin * abs(goal.low) if goal.low > -inf else goal.low
            high = goal.high + margin * abs(goal.high) if goal.high < inf else goal.high
        wide.append(replace(goal, low=low, high=high, value=None))
    return ranges_cannot_be_met(numbers.problem, wide, start, until=until)
