"""What one quantity costs another: the exact trade-off curve of a problem.

For every level s that a quantity X can take beside the goals, the curve gives the best value of the first aim Y with
X = s, later aims deciding ties as ever:

    value(s) = least Y(x)   with   rows of the problem,   X(x) = s

Between two *breakpoints* one basis stays optimal. A known point therefore gives its neighbours nearly for nothing:
its basis is kept or mended (see `service.solver.follow`), and only where that fails does a new search begin. Where
the known points on either side have different bases, both are followed and the better answer is taken.

The first-order conditions hold at every point. They do not exclude that another local optimum is better, which
happens, rarely, where strength is left free; `Curve.prove` settles a point. With whole packs nothing can be followed:
every level is a problem of its own, many have no answer, and the curve goes in steps.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import inf

from service.errors import SolverError
from service.solver.follow import followed, named
from service.solver.local import TOLERANCE, Basis
from service.solver.packs import solve_whole
from service.solver.problem import Aim, Amounts, Problem, Ratio, Row, volume_at
from service.solver.proof import search
from service.solver.solve import Solution, Verdict
from service.solver.vertex import Vertex

RESOLUTION = 1e-6
"""Levels are told apart, and breakpoints located, to within this share of the range of X."""

_EXCHANGES = 5
_LEAST_WIDTH = 100.0 * TOLERANCE  # a curve narrower than what rows are met to is one point


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """The best amounts at one level of X.

    `value` is the first aim there, as minimised; `basis` the amounts that are free to move and the rows that hold
    (None where SLSQP found the point): the row X = level has the number after the problem's last row and is left
    out at the ends and at the best point, which are found without it. More free amounts than rows mark an optimum
    inside an edge. `moves` is what each free amount gains per unit of X, empty where that is not known. `proved` says
    that no point at this level is better by more than `RELATIVE_GAP`. `vertex` is what its neighbours start from.
    """

    level: float
    value: float
    x: tuple[float, ...]
    basis: Basis | None
    moves: tuple[float, ...] = ()
    proved: bool = False
    vertex: Vertex | None = field(default=None, compare=False, repr=False)


class Curve:
    """The trade-off between a quantity X and the first aim of a problem, evaluated where it is asked for.

    Parameters: problem, whose rows hold the goals and whose first aim is Y; ratio, X, with a denominator that is
    positive wherever it is used; scale, the factor that brings the row of X to order one; sums, a likely state of
    the blend, shape (7,); until, a `perf_counter` time [s] after which no proof goes on.
    `low` and `high` are the ends: the least and the most X that the rows leave. `gaps` are the levels between them
    that were asked for and had no answer.
    Raises: SolverError if no amounts meet the rows (whether the goals can be met is asked before).
    """

    def __init__(
        self, problem: Problem, ratio: Ratio, *, scale: float, sums: Sequence[float], until: float = inf
    ) -> None:
        self.problem, self.ratio, self.scale, self.until = problem, ratio, scale, until
        self.gaps: list[float] = []
        self._top = ratio.numerator.scaled(scale)
        self._bottom = None if ratio.denominator is None else ratio.denominator.scaled(scale)
        self._sums = tuple(sums)
        self._best: CurvePoint | None = None
        self._packs = any(problem.whole)
        self._points: list[CurvePoint] = []
        self.low = replace(self._end(1.0), proved=False)  # what is proved of an end as yet is X alone
        self.high = replace(self._end(-1.0), proved=False)
        if self._width() <= _LEAST_WIDTH:
            self.high = self.low
        self._points = [self.low, self.high] if self.range else [self.low]

    def _width(self) -> float:
        """The width of the range in the units of the row of X."""
        row = self.problem_at(self.low.level).rows[-1]
        return row.form.at(self.high.x, volume_at(self.problem, self.high.x)) - row.lower

    @property
    def range(self) -> float:
        """The width of the range of X."""
        return max(self.high.level - self.low.level, 0.0)

    def _solve(self, problem: Problem, sums: Sequence[float], *, prove: bool = False) -> Solution:
        """The one place from which a whole problem is solved."""
        return solve_whole(problem, sums, until=self.until, prove=prove)

    def problem_at(self, level: float) -> Problem:
        """The problem with the row X = level after its own."""
        of, bound = self.problem, level * self.scale if self._bottom is None else 0.0
        form = self._top if self._bottom is None else self._top.minus(level, self._bottom)
        row = Row("the level", form, bound, bound, self.scale)
        return Problem(of.lower, of.upper, of.fixed_sums, of.columns, (*of.rows, row), of.aims, of.whole)

    def _towards(self, sign: float) -> Problem:
        """The problem whose first aim is X, upwards or downwards."""
        aim = Aim((Ratio(self.ratio.numerator.scaled(sign), self.ratio.denominator),))
        return replace(self.problem, aims=(aim, *self.problem.aims))

    def _end(self, sign: float, *, prove: bool = False) -> CurvePoint:
        solution = self._solve(self._towards(sign), self._sums, prove=prove)
        if not solution.found:
            raise SolverError("No amounts meet the rows of this problem; ask whether the goals can be met first.")
        return self._point(solution, proved=solution.verdict is Verdict.PROVED_BEST)

    def _point(self, solution: Solution, level: float | None = None, *, proved: bool = False) -> CurvePoint:
        """A solution as a point, of a problem with the row of X if there is a level."""
        x, problem = solution.x, self.problem if level is None else self.problem_at(level)
        volume = volume_at(problem, x)
        basis = None if solution.basis is None else named(problem, solution.basis)
        if basis is not None:
            free = set(basis.free)
            for j, (v, low, high) in enumerate(zip(x, problem.lower, problem.upper, strict=True)):
                if low < v < high and not (self._packs and problem.whole[j]):
                    free.add(j)
            basis = replace(basis, free=tuple(sorted(free)))
        reached = self.ratio.at(x, volume) if level is None else level
        return CurvePoint(reached, problem.aims[0].at(x, volume), x, basis, proved=proved)

    def _remember(self, point: CurvePoint) -> CurvePoint:
        at = bisect_left(self._points, point.level, key=_level)
        known = at < len(self._points) and self._points[at].level == point.level
        self._points[at : at + known] = [point]
        return point

    def _nearest(self, level: float) -> list[CurvePoint]:
        """Up to two known points on either side of a level, the nearest first."""
        at = bisect_left(self._points, level, key=_level)
        return sorted(self._points[max(at - 2, 0) : at + 2], key=lambda point: abs(point.level - level))

    def at(self, level: float) -> CurvePoint | None:
        """The best point at a level.

        Parameters: level, in the unit of X.
        Returns: CurvePoint; None outside the range, and in a gap.
        """
        near = 1e-12 * max(abs(self.low.level), abs(self.high.level))
        for end in (self.low, self.high):
            if abs(level - end.level) <= near:
                return end
        if not self.low.level < level < self.high.level:
            return None
        beside = self._nearest(level)
        if beside[0].level == level:
            return beside[0]
        return self._computed(level, beside)

    def _computed(self, level: float, beside: Sequence[CurvePoint]) -> CurvePoint | None:
        problem = self.problem_at(level)
        found: CurvePoint | None = None
        for point in () if self._packs else (beside[0], *_across(beside, level)):
            if found is not None and (point.basis == found.basis or point in (self.low, self.high)):
                continue
            other = self.follow(problem, level, point, beside, exchanges=0 if found else _EXCHANGES)
            if other is not None and (found is None or other.value < found.value - TOLERANCE):
                found = other
        if found is not None:
            return self._remember(found)
        solution = self._solve(problem, problem.sums_at(beside[0].x))
        if not solution.found:
            self.gaps.append(level)
            return None
        point = self._point(solution, level)
        return self._remember(self.follow(problem, level, point, exchanges=0) or point)

    def follow(
        self,
        problem: Problem,
        level: float,
        point: CurvePoint,
        beside: Sequence[CurvePoint] = (),
        *,
        exchanges: int = _EXCHANGES,
    ) -> CurvePoint | None:
        """The point at another level that the basis of a known point gives, mended if need be."""
        if point.basis is None or not self.can_be_followed(point):
            return None
        start = self.expected(level, point, beside)
        found = followed(problem, point.basis, start, exchanges=exchanges, kept=point.vertex)
        if found is None:
            return None
        moves: tuple[float, ...] = ()
        if len(self.problem.rows) in found.basis.rows[-1:]:
            per_level = self.per_level(found.x, found.volume)
            moves = tuple([per_level * move for move in found.inverse[-1]])
        value = self.problem.aims[0].at(found.x, found.volume)
        return CurvePoint(level, value, tuple(found.x), found.basis, moves, vertex=found)

    def can_be_followed(self, point: CurvePoint) -> bool:
        """Not inside an edge, nor where SLSQP found the point, nor with whole packs."""
        return not self._packs and point.basis is not None and len(point.basis.free) == len(point.basis.rows)

    def expected(self, level: float, point: CurvePoint, beside: Sequence[CurvePoint] = ()) -> Amounts:
        """Amounts to start from: along the tangent of a point, or the cubic through two points of its basis."""
        if not point.moves or point.basis is None:
            return point.x
        x, step = list(point.x), level - point.level
        for j, by in zip(point.basis.free, point.moves, strict=True):
            x[j] += by * step
        for other in beside:
            if other is point or other.basis != point.basis or not other.moves:
                continue
            width = other.level - point.level
            t = step / width
            for j, here, there in zip(point.basis.free, point.moves, other.moves, strict=True):
                rise = other.x[j] - point.x[j]
                x[j] += t * t * ((3.0 - 2.0 * t) * rise - width * ((2.0 - t) * here + (1.0 - t) * there))
            break
        return x

    def even(self, count: int) -> list[CurvePoint]:
        """Points at equal distances in X from end to end, two or more; levels in gaps are left out.

        The bases are followed upwards, and downwards again where they change: a better local optimum may reach
        further down than where the way up met it.
        """
        if not self.range:
            return [self.low]
        found = [self.low]
        for k in range(1, count - 1):
            point = self.at(self.low.level + self.range * k / (count - 1))
            found += [point] if point is not None else []
        found.append(self.high)
        for k in range(len(found) - 2, 0, -1):
            point, above = found[k], found[k + 1]
            if point.basis == above.basis or above is self.high:
                continue
            other = self.follow(self.problem_at(point.level), point.level, above, exchanges=0)
            if other is not None and other.value < point.value - TOLERANCE:
                found[k] = self._replaced(point, other)
        return found

    def best(self) -> CurvePoint:
        """The point with the best value of the first aim over all levels; no known point is better."""
        if not self.range:
            return self.low
        if self._best is None:
            self._best = self._best_from(self._sums)
        rival = min(self._points, key=lambda point: point.value)
        if rival.value < self._best.value - TOLERANCE:
            again = self._best_from(self.problem.sums_at(rival.x))
            self._best = again if again.value <= rival.value + TOLERANCE else rival
        return self._best

    def _best_from(self, sums: Sequence[float], *, prove: bool = False) -> CurvePoint:
        """The best point over all levels that is found from a state; one of the ends if it is as near as makes none."""
        solution = self._solve(self.problem, sums, prove=prove)
        if not solution.found:
            raise SolverError("No amounts meet the rows of this problem; ask whether the goals can be met first.")
        found = self._point(solution, proved=prove and solution.verdict is Verdict.PROVED_BEST)
        for end in (self.low, self.high):
            close = abs(found.level - end.level) <= RESOLUTION * self.range
            if close and end.value - found.value <= TOLERANCE * (1.0 + abs(end.value)):
                return replace(end, proved=found.proved) if prove else end
        return self._remember(found) if self.low.level < found.level < self.high.level else found

    def prove(self, point: CurvePoint, *, nodes: int = 400) -> CurvePoint:
        """Settle by branch and bound whether a point is the best at its level.

        Of an end it is settled as well that no level lies beyond it, of the best point that none is better at any.

        Parameters: point, one of this curve; nodes, boxes of one proof.
        Returns: the point, `proved` or not, or a better one that the proof came upon: at the same level, for an end
        further out (the curve is longer from then on), for the best at any level.
        """
        if point.proved:
            return point
        for sign, end in ((1.0, self.low), (-1.0, self.high)):
            if point != end:
                continue
            found = self._end(sign, prove=True)
            if sign * (end.level - found.level) > RESOLUTION * self.range:
                point = self._replaced(end, replace(found, proved=False))
            if not found.proved:
                return point
        if point == self._best:
            found = self._best_from(self.problem.sums_at(point.x), prove=True)
            best = found if found.value < point.value - TOLERANCE else point
            self._best = self._replaced(best, replace(best, proved=found.proved))
            return self._best
        problem = self.problem_at(point.level)
        if not self._packs:
            proof = search(problem, problem.aims[0], point.x, point.value, nodes=nodes, until=self.until)
            if proof.closed:
                return self._replaced(point, replace(point, proved=True))
        solution = self._solve(problem, problem.sums_at(point.x), prove=True)
        proved = solution.verdict is Verdict.PROVED_BEST
        if not solution.found:
            return point
        other = self._point(solution, point.level, proved=proved)
        return self._replaced(point, other) if proved or other.value < point.value else point

    def _replaced(self, old: CurvePoint, new: CurvePoint) -> CurvePoint:
        self._points = sorted((new if point.level == old.level else point for point in self._points), key=_level)
        if self._best == old:
            self._best = new
        if self.low == old:
            self.low = new
        if self.high == old:
            self.high = new
        return new

    def per_level(self, x: Amounts, volume: float) -> float:
        """What one unit of X is in the units of its row."""
        return self.scale * self.ratio.divisor(x, volume)


def _level(point: CurvePoint) -> float:
    return point.level


def _across(beside: Sequence[CurvePoint], level: float) -> list[CurvePoint]:
    """The nearest point on the other side of a level than the first."""
    return [point for point in beside if (point.level > level) is not (beside[0].level > level)][:1]
