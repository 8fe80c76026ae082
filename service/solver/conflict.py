"""Why goals cannot all be met: an irreducible set of goals and limits.

Goals and limits of amounts are *members* of a clash. A set of members is irreducible if no amounts meet all of it,
with everything else given up, and some amounts do as soon as any one member is dropped (Chinneck's "irreducible
infeasible subsystem"). It says what stands in the way of what, in the fewest words.

The empty linear programme at a likely state ends with a ray, a combination of rows and bounds that proves it empty:
members outside of it are dropped for nothing. The rest are dropped one at a time, each by a small programme with
the rows that are left, in the order in which they teach least (a deletion filter):

1. limits outside of the first ray, which do not bind;
2. goals that do not have the first priority, the last priority first;
3. the other limits all at once, then whatever is outside of the ray at hand;
4. the other limits one by one, first those that would have to move furthest in proportion;
5. the goals of the first priority.

Programmes speak of tangents. So every point that a programme finds is moved onto the true volume by Newton, and
the final set is proved empty by branch and bound over the states. Where a tangent was wrong, or where whole packs
alone are in the way, the same filter runs on the verdicts of complete solves.

Source of the method (both from memory, unverified): J. W. Chinneck, E. W. Dravnieks, ORSA Journal on Computing 3 (1991)
157; rays as irreducible sets: J. Gleeson, J. Ryan, ORSA Journal on Computing 2 (1990) 61.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from time import perf_counter

from service.solver.local import is_liquid
from service.solver.packs import solve_whole
from service.solver.problem import Form, Problem, Row, Tangent
from service.solver.proof import search
from service.solver.simplex import LpResult, LpStatus, solve_lp
from service.solver.solve import Verdict, states_across
from service.solver.stages import Goal, range_rows, typical_divisor
from service.solver.vertex import vertex_of

_COUNTS = 1e-9
"""A ray's coefficient above this share of its largest belongs to it."""

_TANGENTS = 3
"""States to follow from the likely one before those across the range are tried."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds of one amount that may be given up.

    `lower` and `upper` are the bounds that column `column` has once the limit is given up, finite and no tighter than
    the problem's; `whole` False says that the amount then need not come in whole packs either.
    """

    name: str
    column: int
    lower: float
    upper: float
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Member:
    """A goal, or all limits of one name: what a clash is made of."""

    name: str
    goal: Goal | None = None
    limits: tuple[Limit, ...] = ()


def without_limits(problem: Problem, limits: Iterable[Limit], rows: tuple[Row, ...]) -> Problem:
    """The problem with other rows and without some limits."""
    lower, upper, whole = list(problem.lower), list(problem.upper), list(problem.whole)
    for limit in limits:
        at = limit.column
        lower[at] = min(lower[at], limit.lower)
        upper[at] = max(upper[at], limit.upper)
        if whole and not limit.whole:
            whole[at] = 0.0
    return Problem(tuple(lower), tuple(upper), problem.fixed_sums, problem.columns, rows, problem.aims, tuple(whole))


def members_of(goals: Sequence[Goal], limits: Sequence[Limit]) -> list[Member]:
    """Goals, then limits of one name together, each sorted by name."""
    by_name: dict[str, list[Limit]] = {}
    for limit in limits:
        by_name.setdefault(limit.name, []).append(limit)
    return [
        *(Member(goal.name, goal) for goal in sorted(goals, key=lambda g: g.name)),
        *(Member(name, limits=tuple(by_name[name])) for name in sorted(by_name)),
    ]


class _System:
    """Members over a problem: which rows and bounds stand when only some members do."""

    def __init__(self, problem: Problem, members: Sequence[Member], sums: Sequence[float]) -> None:
        self.problem, self.members, self.sums = problem, members, sums
        self.everything = list(range(len(members)))
        divisors: dict[Form | None, float] = {}
        self.rows: list[tuple[Row, ...]] = []
        for goal in (m.goal for m in members):
            if goal is None:
                self.rows.append(())
                continue
            bottom = goal.ratio.denominator
            if bottom not in divisors:
                divisors[bottom] = typical_divisor(goal.ratio, problem, sums)
            self.rows.append(range_rows([goal], [divisors[bottom]], at_value=False))
        self.first = min((m.goal.priority for m in members if m.goal is not None), default=1)

    def problem_with(self, keep: Sequence[int]) -> Problem:
        """The problem with some members, in ascending order, and without the others."""
        standing = set(keep)
        limits = [limit for i, m in enumerate(self.members) if i not in standing for limit in m.limits]
        rows = [row for i in keep for row in self.rows[i]]
        return without_limits(self.problem, limits, (*rows, *self.problem.rows))

    def attempts(self, keep: Sequence[int], leverage: dict[int, float]) -> tuple[list[list[int]], list[list[int]]]:
        """What to drop of a set, one after the other: the order of the module's text to all limits at once, the rest.

        `leverage` sorts the limits.
        """
        early: list[tuple[int, str, int]] = []
        limits: list[tuple[float, str, int]] = []
        late: list[tuple[str, int]] = []
        for i in keep:
            member = self.members[i]
            if member.goal is None:
                limits.append((leverage.get(i, 0.0), member.name, i))
            elif member.goal.priority > self.first:
                early.append((-member.goal.priority, member.name, i))
            else:
                late.append((member.name, i))
        bounds = [i for _, _, i in sorted(limits)]
        singly = bounds if len(bounds) > 1 else []
        return [*([i] for _, _, i in sorted(early)), bounds], [[i] for i in (*singly, *(i for _, i in sorted(late)))]


class _Tangents:
    """The programmes of a system at one state."""

    def __init__(self, system: _System, sums: Sequence[float]) -> None:
        self.system = system
        tangent = self.tangent = Tangent(system.problem, sums)

        def sides(row: Row) -> tuple[list[float], float, float]:
            offset = tangent.offset(row.form)
            return tangent.row(row.form), row.lower - offset, row.upper - offset

        self.sides = [[sides(row) for row in rows] for rows in system.rows]
        self.standing = [sides(row) for row in system.problem.rows]
        # a generic cost, so that nothing ties
        self.cost = [1.0 + 0.618 * ((j * 0.754877) % 1.0) for j in range(system.problem.size)]

    def programme(self, keep: Sequence[int], problem: Problem) -> LpResult:
        """Look for amounts that meet some members; `problem` is what `_System.problem_with` made of them."""
        sides = [side for i in keep for side in self.sides[i]]
        sides += self.standing
        return solve_lp(
            [self.cost],
            problem.lower,
            problem.upper,
            [line for line, _, _ in sides],
            [low for _, low, _ in sides],
            [high for _, _, high in sides],
            by_miss=True,
        )

    def leverage(self, ray: dict[int, float], keep: Sequence[int]) -> dict[int, float]:
        """The members that a ray rests on: how much of it a member's limits move by their own size."""
        problem, n = self.system.problem, self.system.problem.size
        owners = [i for i in keep for _ in self.sides[i]]
        least = _COUNTS * max(map(abs, ray.values()))
        found = {owners[k - n]: inf for k, a in ray.items() if 0 <= k - n < len(owners) and abs(a) > least}
        for i in keep:
            for limit in self.system.members[i].limits:
                a, at = ray.get(limit.column, 0.0), limit.column
                low, high = problem.lower[at], problem.upper[at]
                if (a > least and limit.lower < low) or (a < -least and limit.upper > high):
                    share = round(abs(a * (low if a > 0.0 else high)), 12)
                    found[i] = max(found.get(i, 0.0), share)
        return found

    def multipliers(self, ray: dict[int, float], before: Sequence[int], keep: Sequence[int]) -> list[float]:
        """A ray over some members as multipliers of the rows of those that are left of them."""
        n, left = self.system.problem.size, set(keep)
        owners = [i for i in before for _ in self.sides[i]]
        own = [ray.get(n + k, 0.0) for k, i in enumerate(owners) if i in left]
        return own + [ray.get(n + len(owners) + k, 0.0) for k in range(len(self.standing))]


@dataclass(frozen=True, slots=True)
class _Point:
    """Amounts that a programme found for some members, with their problem and the tangent that it was taken at."""

    members: list[int]
    problem: Problem
    lp: LpResult
    tangent: Tangent

    def is_met(self) -> bool:
        """Whether Newton on the programme's basis moves them onto the true volume inside of all bounds."""
        if any(self.problem.whole):
            return False
        vertex = vertex_of(self.problem, self.lp, self.tangent)
        return vertex is not None and vertex.is_feasible()


@dataclass(frozen=True, slots=True)
class _Guess:
    """An irreducible set by tangents: points that show its members to be needed, multipliers of its rows against it."""

    keep: list[int]
    points: list[_Point]
    against: list[float]


def irreducible_conflict(
    problem: Problem,
    goals: Sequence[Goal],
    limits: Sequence[Limit],
    sums: Sequence[float],
    *,
    until: float = inf,
    verify: bool = True,
) -> tuple[Member, ...] | None:
    """An irreducible set of goals and limits that cannot be met together.

    Parameters: problem, whose rows always stand, and whose goals are known to clash; goals, of distinct names, whose
    ranges count and whose values do not; limits, that may be given up (several of one name only together); sums, a
    likely state of the blend, shape (7,); until, a `perf_counter` time [s] to stop at; verify, False to trust the
    tangents at a likely state, for a quick guess.
    Returns: members sorted, goals first, by name. None if no such set could be established: the goals do not clash,
    or clash even with all limits given up, or a proof was not found in time.
    """
    system = _System(problem, members_of(goals, limits), sums)
    state, seen = sums, None
    for _ in range(_TANGENTS):
        found = _by_programmes(system, state)
        if found is None or found.keep == seen:
            break
        seen = found.keep
        if not verify:
            return _named(system, seen)
        together = system.problem_with(seen)
        if search(together, until=until, against=found.against).closed:
            return _named(system, _with_points(system, seen, found.points, until))
        there = solve_whole(together, sums, until=until, prove=False)
        if not there.found:
            break
        state = together.sums_at(there.x)
    if not _is_empty(system, system.everything, until):
        return None
    return _named(system, _by_solves(system, system.everything, until))


def _named(system: _System, keep: Sequence[int] | None) -> tuple[Member, ...] | None:
    return tuple(system.members[i] for i in keep) if keep else None


def _by_programmes(system: _System, sums: Sequence[float]) -> _Guess | None:
    """The set at the first state whose programme is empty, and the points that show each member to be needed."""
    whole = system.problem_with(system.everything)
    state: Sequence[float] = sums
    for _ in range(_TANGENTS):
        tangents = _Tangents(system, state)
        lp = tangents.programme(system.everything, whole)
        if lp.status is LpStatus.INFEASIBLE:
            return _filtered(system, tangents, lp)
        if lp.status is LpStatus.STALLED or not is_liquid(whole.sums_at(lp.x)):
            break
        state = whole.sums_at(lp.x)
    for state in states_across(whole):
        tangents = _Tangents(system, state)
        lp = tangents.programme(system.everything, whole)
        if lp.status is LpStatus.INFEASIBLE:
            return _filtered(system, tangents, lp)
    return None


def _filtered(system: _System, tangents: _Tangents, lp: LpResult) -> _Guess | None:
    """Drop members in their order as long as the programme stays empty."""
    rests_on = tangents.leverage(lp.ray, system.everything)
    keep = [i for i in system.everything if i in rests_on or system.members[i].goal is not None]
    points: list[_Point] = []
    ray, before = lp.ray, system.everything
    first, then = system.attempts(keep, rests_on)
    for step, group in enumerate((*first, *then)):
        if step == len(first):  # what is left is all of one rank
            keep = [i for i in keep if i in rests_on]
        rest = [i for i in keep if i not in group]
        if not any(i in rests_on and i in keep for i in group):
            keep = rest
            continue
        smaller = system.problem_with(rest)
        lp = tangents.programme(rest, smaller)
        if lp.status is LpStatus.INFEASIBLE:
            keep, rests_on, ray, before = rest, tangents.leverage(lp.ray, rest), lp.ray, rest
        elif lp.status is LpStatus.STALLED:
            return None
        elif len(group) == 1:
            points.append(_Point(rest, smaller, lp, tangents.tangent))
    return _Guess(keep, points, tangents.multipliers(ray, before, keep)) if keep else None


def _with_points(system: _System, keep: list[int], points: Sequence[_Point], until: float) -> list[int] | None:
    """The set if its points can be moved onto the true volume, or else a smaller one; None without a verdict."""
    for point in points:
        if not point.is_met():
            solution = solve_whole(point.problem, system.sums, until=until, prove=False)
            if solution.verdict is Verdict.PROVED_IMPOSSIBLE:
                return _by_solves(system, point.members, until)
            if not solution.found:
                return None
    return keep


def _is_empty(system: _System, keep: Sequence[int], until: float) -> bool | None:
    """Whether no amounts meet some members, by a complete solve; None if that is not known."""
    if perf_counter() > until:
        return None
    solution = solve_whole(system.problem_with(keep), system.sums, until=until, prove=False)
    return None if solution.verdict is Verdict.NOTHING_FOUND else not solution.found


def _by_solves(system: _System, keep: list[int], until: float) -> list[int] | None:
    """The same filter on a set that is empty, with verdicts of complete solves; None if one of them is missing."""
    first, then = system.attempts(keep, {})
    for group in (*first, *then):
        rest = [i for i in keep if i not in group]
        if len(rest) == len(keep):
            continue
        empty = _is_empty(system, rest, until)
        if empty is None:
            return None
        if empty:
            keep = rest
    return keep
