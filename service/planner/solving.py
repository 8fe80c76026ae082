"""From a question to the solver's answer, with the chemistry that belongs to the answer.

Rows on pH and acidity are tangents at one blend (`service.model.acidity`). The search is repeated with the chemistry of
where it ended until that no longer moves, mostly in two rounds, of which the first is not proved. What is proved
therefore speaks of the tangents at the plan itself. Where two optima send the search to each other its steps are
halved, and nothing is proved. That goals of acidity clash is only said where they clash with the constants of the acids
anywhere that strength and ionic strength can move them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import inf
from time import perf_counter

from service.model.acidity import Chemistry, chemistry_of
from service.model.contents import Contents
from service.model.properties import depends_on_acids
from service.planner.asked import Circumstances, PlanAsked
from service.planner.chances import Margins, confident, margins_of
from service.planner.chances import settled as margins_settled
from service.planner.materials import Material, poured
from service.planner.numbers import Numbers, Strengths, likely_blend, numbers_from, ph_counted_from, strengths_of
from service.solver.goals import GoalResult, Outcome, ranges_cannot_be_met, solve_goals
from service.solver.problem import Problem, volume_at
from service.solver.solve import Verdict
from service.solver.stages import Goal

_SETTLED_PH, _SETTLED_MEQ_PER_L = 2e-6, 1e-4
"""Rows wrong by less than this are right."""

_ROUNDS = 20
_FREE_ROUNDS = 4
"""After so many rounds the search may only move by half as far each time, and proves nothing any more."""

_LATE_END_POINT = 8.0
_LATE_MARGIN, _EARLY_MARGIN = 0.005, 0.03
"""Ranges of acidity are widened by this share before a clash counts as proved: what ionic strength and alcohol do to a
titration, 2.8 % to pH 7.0 at the most and 0.3 % to 8.2 (computed on drinks of very unlike ionic strength)."""

_STRICT_ROUNDS = 8
"""A nearest plan's margins have so many rounds to settle as well as those of a plan; then less will do."""

_ONE_STRENGTH = 1.0
"""Within so many % vol one tangent speaks for a whole question [% vol] (judged). Beyond it a pH need not be a steady
function of the amounts, because alcohol moves it too: the search starts from the weakest and the strongest blend as
well, and what it finds is not called proved."""


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
    until = perf_counter() + asked.deadline_s
    end_point = asked.circumstances.end_point_ph
    likely = likely_blend(materials, asked.targets)
    numbers = numbers_from(
        materials,
        asked.targets,
        asked.prefer,
        chemistry_of(likely, end_point),
        senses=asked.circumstances.senses,
    )
    names = {*(t.name for t in asked.targets), *(p.name for p in asked.prefer)}
    sure = bool(confident(asked.targets))
    if not sure and not any(map(depends_on_acids, names)):
        return Answered(
            numbers, solve_goals(numbers.problem, numbers.goals, numbers.start, deadline_s=asked.deadline_s), True
        )
    found = _settle(numbers, names, likely, asked.circumstances, until)
    if sure and found.result.outcome is Outcome.CLASH:
        found = _unless_sure(found, asked.circumstances, until)
    if any(t.low > -inf and t.high < inf for t in confident(asked.targets)):
        found = _unproved(found)  # what the one end leaves of the doubt for the other changes with the amounts
    if "ph" not in names and found.result.outcome is not Outcome.CLASH:
        return found
    strengths = strengths_of(materials, asked.targets)
    if "ph" not in names or strengths.strongest - strengths.weakest <= _ONE_STRENGTH:
        return _unless_close(found, strengths, end_point, until)
    others = [
        _settle(numbers.with_chemistry(chemistry_of(blend, end_point)), names, blend, asked.circumstances, until)
        for blend in strengths.ends
    ]
    best = min([found, *others], key=_rank)
    return _unless_close(_unproved(best), strengths, end_point, until)


def _unproved(found: Answered) -> Answered:
    """The answer without a proof that nothing is better."""
    if found.result.verdict is not Verdict.PROVED_BEST:
        return found
    return replace(found, result=replace(found.result, verdict=Verdict.BEST_FOUND, gap=inf))


def _rank(found: Answered) -> tuple[object, ...]:
    """Met before unmet, held values before near ones, then the aims in their order."""
    result = found.result
    if not result.solution.found:
        return (2,)
    problem, x = result.problem, result.solution.x
    volume = volume_at(problem, x)
    aims = [round(aim.at(x, volume), 9) for aim in problem.aims]
    return (0 if result.outcome is Outcome.MET and found.settled else 1, len(aims), *aims)


def _settle(numbers: Numbers, names: set[str], blend: Contents, circumstances: Circumstances, until: float) -> Answered:
    """Solve, take the chemistry and the margins of where it ended, and solve again until they no longer move."""
    end_point = circumstances.end_point_ph
    chemistry = chemistry_of(blend, end_point)
    start: Sequence[float] = numbers.start
    milliseconds, settled, radius, before = 0.0, False, inf, None
    for round_ in range(_ROUNDS):
        left = max(until - perf_counter(), 0.0)
        if round_ > 0 and left == 0.0:
            break
        problem = numbers.problem if before is None or radius == inf else _around(numbers.problem, before, radius)
        found = solve_goals(problem, numbers.goals, start, deadline_s=left, prove=0 < round_ < _FREE_ROUNDS)
        milliseconds += found.milliseconds
        if radius < inf and found.outcome is not Outcome.MET:
            break
        result = found
        if not result.solution.found:
            break
        after = chemistry_of(poured(numbers.materials, numbers.masses_g(result.x)), end_point)
        margins = _margins(numbers, result.x, circumstances)
        right = _settled(names, chemistry, after) and margins_settled(
            numbers.margins, margins, result.x, met=result.outcome is Outcome.MET or round_ < _STRICT_ROUNDS
        )
        if round_ > 0 and right and not _aims_moved(numbers, names, after):
            settled = True
            break
        if round_ >= _FREE_ROUNDS - 1 and before is not None:
            apart = max((abs(a - b) for a, b in zip(result.x, before, strict=True)), default=0.0)
            radius = 0.5 * min(radius, apart)
        chemistry, before = after, result.x
        numbers = numbers.with_chemistry(chemistry)
        if margins:
            numbers = numbers.with_margins(margins, chemistry, result.x)
        start = numbers.problem.sums_at(result.x)
    if radius < inf and result.verdict is Verdict.PROVED_BEST:
        result = replace(result, verdict=Verdict.BEST_FOUND, gap=inf)
    return Answered(numbers, replace(result, milliseconds=milliseconds), settled)


def _margins(
    numbers: Numbers, x: Sequence[float], circumstances: Circumstances, *, least: bool = False
) -> dict[str, Margins]:
    """The margins of all targets that are to hold with a chance, at the amounts x; `least` as in `margins_of`."""
    masses, ratios = numbers.masses_g(x), numbers.ratios
    found = {
        target.name: margins_of(
            target, numbers.materials, ratios.free, ratios.litres, masses, circumstances, least=least
        )
        for target in confident(numbers.targets)
    }
    return {name: margins for name, margins in found.items() if margins is not None}


def _unless_sure(found: Answered, circumstances: Circumstances, until: float) -> Answered:
    """The answer; a clash only where it stands with a little less than the margins asked for."""
    numbers = found.numbers
    if not numbers.margins or not found.result.x:
        return found
    x = found.result.x
    chemistry = chemistry_of(poured(numbers.materials, numbers.masses_g(x)), circumstances.end_point_ph)
    margins = _margins(numbers, x, circumstances, least=True)
    less = {name: both.scaled(_MARGIN_FOR_PROOF) for name, both in margins.items()}
    easier = numbers.with_margins(less, chemistry, x)
    if ranges_cannot_be_met(easier.problem, easier.goals, easier.start, until=until):
        return found
    return replace(found, result=replace(found.result, outcome=Outcome.NOT_FOUND, verdict=Verdict.BEST_FOUND, gap=inf))


_MARGIN_FOR_PROOF = 0.9
"""That targets clash is only said where they do with so much of their margins: skewness and gradients are those of the
nearest plan (judged)."""


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
    if preferred or held is None:
        return True
    # inside its range, or at its value, a pH is held by rows and not counted at all
    return beside != held.value if held.value is not None else not held.low <= beside <= held.high


def _unless_close(found: Answered, strengths: Strengths, end_point: float, until: float) -> Answered:
    """The answer; a clash only where it stands whatever strength and ionic strength do to the acids' constants."""
    if found.result.outcome is not Outcome.CLASH:
        return found
    ratios, weakest, strongest = found.numbers.ratios, strengths.weakest, strengths.strongest
    goals = [
        replace(goal, at=partial(ratios.outer_ph_ratio, weakest, strongest, goal.low), value=None)
        if goal.name == "ph"
        else widened(goal, end_point)
        for goal in map(_firm, found.numbers.goals)
    ]
    if ranges_cannot_be_met(found.numbers.problem, goals, found.numbers.start, until=until):
        return found
    return replace(found, result=replace(found.result, outcome=Outcome.NOT_FOUND, verdict=Verdict.BEST_FOUND, gap=inf))


def _firm(goal: Goal) -> Goal:
    """A goal with what its margins are at the nearest plan taken off its range for good."""
    if not goal.chance:
        return goal
    low, high = (goal.low, goal.high) if goal.low <= goal.high else (0.5 * (goal.low + goal.high),) * 2
    return replace(goal, low=low, high=high, at=None, chance=False)


def widened(goal: Goal, end_point: float) -> Goal:
    """A goal on acidity with the margin that any chemistry may take; others as they are, all without a value."""
    margin = _LATE_MARGIN if end_point >= _LATE_END_POINT else _EARLY_MARGIN
    share = margin if depends_on_acids(goal.name) else 0.0
    low = goal.low - share * abs(goal.low) if goal.low > -inf else goal.low
    high = goal.high + share * abs(goal.high) if goal.high < inf else goal.high
    return replace(goal, low=low, high=high, value=None)
