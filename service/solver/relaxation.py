"""What one member of a clash would have to give for everything else to be met.

A goal gives the least miss of its range: the largest value below it and the smallest above, searched apart, because
whole packs leave gaps. A limit gives the least excess of its amount over its bounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf

from service.solver.conflict import Member, without_limits
from service.solver.packs import solve_whole
from service.solver.problem import Aim, Form, Problem, Ratio, Row, ratio_rows, volume_at
from service.solver.solve import Solution, Verdict
from service.solver.stages import Goal, range_rows, typical_divisor

_ROUNDS = 30
_FURTHEST_STEPS = 20.0
"""A bound of a quantity that is a ratio only beside its value moves by so many noticeable steps a round."""

_SETTLED = 1e-10


@dataclass(frozen=True, slots=True)
class Relaxation:
    """The least that one member has to give for the rest to be met.

    `to` is the value nearest to a goal's range, in the goal's unit (`column` None), or the amount of `column`
    nearest to its bounds; `x` are amounts that then meet everything else; `proved` says that nothing less will do,
    within the tolerance of a proved optimum.
    """

    member_name: str
    to: float
    column: int | None
    x: tuple[float, ...]
    proved: bool


def least_relaxation(
    problem: Problem,
    goals: Sequence[Goal],
    member: Member,
    sums: Sequence[float],
    *,
    until: float = inf,
) -> Relaxation | None:
    """The least that one member has to give, alone, for everything else to be met.

    A goal gives the least miss of its range; the rest, limits too, stays as asked. A limit gives the least excess of
    its amount over its bounds; of several amounts the least sum of excesses, and the largest of them is told. A limit
    on whole packs alone gives no least: its amount is the one that the problem's aims like best. Among equally near
    plans the problem's own aims decide.

    Parameters: problem, with limits as they are, and goals, as for `irreducible_conflict`; member, one of its members;
    sums, a likely state; until, a `perf_counter` time [s] after which no new proof starts.
    Returns: Relaxation, or None if nothing was found: other members clash as well.
    """
    others = [goal for goal in goals if member.goal is None or goal.name != member.name]
    references = [typical_divisor(goal.ratio, problem, sums) for goal in others]
    ranged = replace(problem, rows=(*range_rows(others, references, at_value=False), *problem.rows))
    if member.goal is not None:
        return _least_miss(ranged, member.goal, sums, until)
    return _least_excess(ranged, member, sums, until)


def _least_miss(ranged: Problem, goal: Goal, sums: Sequence[float], until: float) -> Relaxation | None:
    """The nearest value below a range and the nearest above, the nearer of the two."""
    best: Relaxation | None = None
    least, proved = inf, True
    scale = 1.0 / (typical_divisor(goal.ratio, ranged, sums) * goal.size())
    for sign, bound in ((1.0, goal.low), (-1.0, goal.high)):
        if abs(bound) == inf:
            continue
        low, high = (-inf, bound) if sign > 0.0 else (bound, inf)
        side = ratio_rows(goal.name, goal.ratio_at(bound), low, high, scale)
        half = replace(ranged, rows=(*side, *ranged.rows))
        solution, to = _nearest(half, goal, sign, bound, sums, until)
        proved = proved and solution.verdict in (Verdict.PROVED_BEST, Verdict.PROVED_IMPOSSIBLE)
        if solution.found and abs(to - bound) < least:
            least, best = abs(to - bound), Relaxation(goal.name, to, None, solution.x, proved)
    return None if best is None else replace(best, proved=proved)


def _nearest(
    half: Problem, goal: Goal, sign: float, bound: float, sums: Sequence[float], until: float
) -> tuple[Solution, float]:
    """The plan on one side of a goal's range that comes nearest to it, and the value it reaches.

    A quantity that is a ratio only beside its value is found by Newton's steps, each a search of its own.
    """
    to, settled = bound, goal.at is None
    for _ in range(_ROUNDS):
        ratio = goal.ratio_at(to)
        aim = Aim((Ratio(ratio.numerator.scaled(-sign), ratio.denominator),))
        solution = solve_whole(replace(half, aims=(aim, *half.aims)), sums, until=until, prove=settled)
        if not solution.found:
            break
        reached = ratio.at(solution.x, volume_at(half, solution.x))
        if settled:
            return solution, reached
        furthest = _FURTHEST_STEPS * goal.step
        step = min(max(reached - to, -furthest), furthest)
        settled = abs(step) <= _SETTLED * goal.size()
        to += step
    return solution, to


def _least_excess(ranged: Problem, member: Member, sums: Sequence[float], until: float) -> Relaxation | None:
    """The least sum of excesses over the bounds of a member, with a column for each."""
    loose = without_limits(ranged, member.limits, ranged.rows)
    n, columns = ranged.size, sorted({limit.column for limit in member.limits})
    most = [max(ranged.lower[j] - loose.lower[j], loose.upper[j] - ranged.upper[j]) for j in columns]
    wide = loose.with_columns([0.0] * len(columns), most)
    rows = []
    for k, j in enumerate(columns):
        for sign, low, high in ((-1.0, -inf, ranged.upper[j]), (1.0, ranged.lower[j], inf)):
            coefficients = [0.0] * wide.size
            coefficients[j], coefficients[n + k] = 1.0, sign
            rows.append(Row(member.name, Form(0.0, tuple(coefficients)), low, high))
    excess = Aim((Ratio(Form(0.0, (0.0,) * n + (1.0,) * len(columns))),))
    aims = (excess, *wide.aims) if any(most) else wide.aims
    solution = solve_whole(replace(wide, rows=(*rows, *wide.rows), aims=aims), sums, until=until, prove=True)
    if not solution.found:
        return None
    x = solution.x[:n]

    def departure(j: int) -> tuple[float, float, int]:
        packs = x[j] / ranged.whole[j] if ranged.whole and ranged.whole[j] else 0.0
        return max(ranged.lower[j] - x[j], x[j] - ranged.upper[j], 0.0), abs(packs - round(packs)), -j

    column = max(columns, key=departure)
    return Relaxation(member.name, x[column], column, x, solution.verdict is Verdict.PROVED_BEST)
