"""A curve whose question speaks of pH or acidity: every point is solved with the acids of its own blend.

One curve with the acids of the best blend says about where the points lie. Its ends and its best are then solved
anew, its other levels moved along with them, and each level solved as a plan of its own. Where neighbours turn out
too far apart, levels between them follow; where too near, they go.

The changes of mix are looked for from each spot to halfway to its neighbours, with the acids of that spot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from time import perf_counter

from service.errors import SolverError
from service.planner.asked import PlanAsked, Preference, TargetAsked
from service.planner.solving import answer
from service.planner.trade_off.changes import Change, mix_of, reduced
from service.planner.trade_off.curve import (
    Held,
    OutOfTimeError,
    Spot,
    Traced,
    Tracer,
    best_of,
    increasing,
    limited,
    question_of,
)
from service.solver.breakpoints import Breakpoint, breakpoints_of
from service.solver.frontier import Curve, CurvePoint
from service.solver.goals import Outcome
from service.solver.solve import Verdict

_AT_LEVEL = 1e-9
_FAR, _NEAR = 1.5, 0.5
"""Neighbours farther apart than this get a level between them, nearer ones lose one [steps]."""

_UNEVEN = 0.6
"""With no spots left to add, one whose neighbours are nearer to each other than this share of a gap moves into it."""

_A_JUMP = 0.85
"""Half a gap that still holds this share of its steps holds a jump, which no level between resolves."""

_CLOSE = 1e-3
"""Levels nearer to each other than this share of the range are not told apart on purpose."""

_LEAST_S = 0.01
"""What is left to a plan past the deadline [s]: enough to be found, not to be proved."""

_STRAYED = 1e-4
"""Farther from its spot [kg per litre of lots], a curve is another's."""

_LEVELS_BY, _PROOFS_BY, _SPOTS_BY = 0.3, 0.65, 0.85
"""Shares of the time by which levels are chosen, proofs end, and the last spot is begun; the rest is for changes."""


@dataclass(frozen=True, slots=True)
class _Solved:
    """A spot with the point of the solver that it came from, and what holds there."""

    spot: Spot
    x: tuple[float, ...]
    held: Held


class Settling:
    """Solves the levels of one curve."""

    def __init__(self, tracer: Tracer) -> None:
        self.tracer, self.asked = tracer, tracer.asked
        plan = question_of(tracer.asked)
        self.plan = plan if tracer.at_value else replace(plan, targets=_as_ranges(plan.targets))

    def left(self, by: float = 1.0) -> float:
        """Time until a share of all that there is has passed [s]."""
        return self.tracer.until - (1.0 - by) * self.plan.deadline_s - perf_counter()

    def _solved(self, asked: PlanAsked) -> _Solved | None:
        self.tracer.counted.still()
        asked = replace(asked, deadline_s=max(self.left(_PROOFS_BY), _LEAST_S))
        answered = answer(asked, self.tracer.materials)
        result = answered.result
        if result.outcome is not Outcome.MET or not answered.settled:
            return None
        spot = self.tracer.spot(result.x, proved=result.verdict is Verdict.PROVED_BEST)
        if spot is None:
            return None
        rows = tuple(row.target for row in result.problem.rows)
        held = Held(CurvePoint(spot.x, spot.y, result.solution.x, result.solution.basis), rows)
        return _Solved(spot, result.x, held)

    def apart(self, found: dict[float, _Solved], a: float, b: float) -> float:
        """Steps between two spots."""
        return self.tracer.tastes.apart(found[a].spot.masses_g, found[b].spot.masses_g)

    def end(self, *, high: bool) -> _Solved | None:
        """The least or the most of the first property, and the best of the second there."""
        return self._solved(replace(self.plan, prefer=(Preference(self.asked.x, high), self.asked.y)))

    def best(self) -> _Solved | None:
        """The best of the second property at any level."""
        return self._solved(self.plan)

    def at(self, level: float) -> _Solved | None:
        """The best of the second property at a level."""
        room = _AT_LEVEL * max(abs(level), 1.0)
        return self._solved(
            replace(self.plan, targets=limited(self.plan.targets, self.asked.x, level - room, level + room))
        )


def _as_ranges(targets: Sequence[TargetAsked]) -> tuple[TargetAsked, ...]:
    return tuple(replace(target, value=None) for target in targets)


def settled(tracer: Tracer) -> Traced | None:
    """The curve of a question that speaks of acids.

    Parameters: tracer.
    Returns: the curve; None if none of it settled.
    """
    settling = Settling(tracer)
    low, best, high = settling.end(high=False), settling.best(), settling.end(high=True)
    anchors = [one for one in (low, best, high) if one is not None]
    if not anchors:
        return None
    maximise = tracer.asked.y.maximise
    found = {one.spot.x: one for one in reversed(anchors)}
    for level in _levels(settling, low, best, high):
        if settling.left(_SPOTS_BY) < 0.0:
            break
        one = settling.at(level)
        if one is not None:
            found[one.spot.x] = one
        tracer.counted.at(len(found))
    _spread(settling, found, {one.spot.x for one in anchors})
    spots = increasing([one.spot for one in found.values()], maximise=maximise)
    changes, complete = _changes(settling, [found[spot.x] for spot in spots])
    return Traced(
        tuple(spots),
        best_of(spots, spots[0].x if best is None else best.spot.x, maximise=maximise),
        changes,
        (low.held if low else None, high.held if high else None),
        tracer.numbers,
        complete,
    )


def _levels(settling: Settling, low: _Solved | None, best: _Solved | None, high: _Solved | None) -> list[float]:
    """Levels about one step apart: those of one curve, moved along with its ends and its best where these are known."""
    tracer = settling.tracer
    if low is None or high is None:
        return []
    try:
        curve, _ = tracer.curve(tracer.chemistry_at(tracer.x), tracer.x)
        marks = (curve.low, low), (curve.best(), best), (curve.high, high)
    except SolverError:
        return []
    pairs: list[tuple[CurvePoint, float]] = []
    for point, one in marks:
        if one is not None and (not pairs or (point.level > pairs[-1][0].level and one.spot.x > pairs[-1][1])):
            pairs.append((point, one.spot.x))
    arms = [(_measured(settling, curve, a, b), x_a, x_b) for (a, x_a), (b, x_b) in pairwise(pairs)]
    steps = [arm[-1][0] for arm, _, _ in arms]
    room = max(tracer.asked.points - 1 - len(arms), 0)
    each = max(sum(steps) / (room + len(arms)), 1.0)
    found = []
    for (arm, x_a, x_b), length in zip(arms, steps, strict=True):
        count = min(max(round(length / each), 1), room + 1)
        room -= count - 1
        a, b = arm[0][1].level, arm[-1][1].level
        found += [x_a + (_level_at(arm, length * k / count) - a) * (x_b - x_a) / (b - a) for k in range(1, count)]
    return found


def _measured(settling: Settling, curve: Curve, start: CurvePoint, end: CurvePoint) -> list[tuple[float, CurvePoint]]:
    """Points of a curve from one to another at most a step apart, each with the steps gone since the first."""
    ahead, here = [end], start
    passed, gone = [(0.0, start)], 0.0
    while ahead:
        steps, span = settling.tracer.distance(here.x, ahead[-1].x), ahead[-1].level - here.level
        if steps > 1.0 and span > _CLOSE * (end.level - start.level) and settling.left(_LEVELS_BY) > 0.0:
            middle = curve.at(here.level + 0.5 * span)
            if middle is not None:
                ahead.append(middle)
                continue
        gone, here = gone + steps, ahead.pop()
        passed.append((gone, here))
    return passed


def _level_at(arm: Sequence[tuple[float, CurvePoint]], steps: float) -> float:
    """The level so many steps from the start of a measured part."""
    for (before, one), (after, other) in pairwise(arm):
        if after >= steps:
            share = (steps - before) / (after - before) if after > before else 0.0
            return one.level + share * (other.level - one.level)
    return arm[-1][1].level


def _spread(settling: Settling, found: dict[float, _Solved], kept: set[float]) -> None:
    """Take away spots too near to others, and add some between those too far apart."""
    span = max(found) - min(found)
    closed: set[tuple[float, float]] = set()
    _thin(settling, found, kept)
    tries = 2 * settling.asked.points
    while tries and settling.left(_SPOTS_BY) > 0.0:
        tries -= 1
        levels = sorted(found)
        steps = {pair: settling.apart(found, *pair) for pair in pairwise(levels)}
        open_ = {pair: gap for pair, gap in steps.items() if pair[1] - pair[0] > _CLOSE * span and pair not in closed}
        (a, b), far = max(open_.items(), key=lambda item: item[1], default=((0.0, 0.0), 0.0))
        spare = None
        if len(found) >= settling.asked.points:
            joined = {m: steps[x, m] + steps[m, y] for x, m, y in zip(levels, levels[1:], levels[2:], strict=False)}
            least, spare = min(((gap, m) for m, gap in joined.items() if m not in kept), default=(far, None))
            far = far if spare is not None and least < _UNEVEN * far and spare not in (a, b) else 0.0
        if far <= _FAR:
            break
        one = settling.at(0.5 * (a + b))
        closed.add((a, b))
        if one is None or not a < one.spot.x < b:
            continue
        found[one.spot.x] = one
        settling.tracer.counted.at(len(found))
        halves = [(a, one.spot.x), (one.spot.x, b)]
        wider = max(halves, key=lambda half: settling.apart(found, *half))
        if settling.apart(found, *wider) > _A_JUMP * far:
            closed.add(wider)
            spare = one.spot.x if spare is not None else None
        if spare is not None:
            del found[spare]
    _thin(settling, found, kept)


def _thin(settling: Settling, found: dict[float, _Solved], kept: set[float]) -> None:
    """Take away spots that are nearer than half a step to the one before, or to the end or the best behind them."""
    before: float | None = None
    levels = sorted(found)
    for level, after in zip(levels, [*levels[1:], None], strict=True):
        beside = [other for other in (before, after if after in kept else None) if other is not None]
        if level not in kept and any(settling.apart(found, other, level) < _NEAR for other in beside):
            del found[level]
        else:
            before = level


def _kind(settling: Settling, one: _Solved) -> tuple[object, ...]:
    """Which amounts stand at which bound, and which targets hold, but for the level."""
    problem, basis = settling.tracer.numbers.problem, one.held.point.basis
    at = [
        0 if v <= low else 2 if v >= high else 1
        for v, low, high in zip(one.x, problem.lower, problem.upper, strict=True)
    ]
    rows = () if basis is None else basis.rows
    return (*at, frozenset(one.held.rows[i] for i in rows) - {settling.asked.x})


def _strays(curve: Curve, one: _Solved) -> bool:
    """Whether a curve does not pass through the spot that it was made for.

    Where a pH is sought, the best of a blend can lie between two mixes, and its tangents hold neither of them.
    """
    level = min(max(one.spot.x, curve.low.level), curve.high.level)
    point = curve.at(level)
    if point is None:
        return True
    return max((abs(a - b) for a, b in zip(point.x, one.x, strict=True)), default=0.0) > _STRAYED


def _changes(settling: Settling, solved: Sequence[_Solved]) -> tuple[tuple[Change, ...], bool]:
    """Where the mix changes, and whether there was time to look everywhere."""
    tracer, levels = settling.tracer, [one.spot.x for one in solved]
    kinds = [_kind(settling, one) for one in solved]
    looked_at = [k for k in range(len(solved)) if any(kind != kinds[k] for kind in kinds[max(k - 1, 0) : k + 2])]
    span = levels[-1] - levels[0]
    found: list[Breakpoint] = []
    numbers, rows, complete = tracer.numbers, tuple[str, ...](), True
    last: tuple[int, CurvePoint | None] = (-1, None)
    for number, k in enumerate(looked_at):
        tracer.counted.still()
        low = levels[k] - span if k == 0 else 0.5 * (levels[k - 1] + levels[k])
        high = levels[k] + span if k == len(levels) - 1 else 0.5 * (levels[k] + levels[k + 1])
        until = perf_counter() + min(2.0 / (len(looked_at) - number), 1.0) * settling.left()
        try:
            curve, numbers = tracer.curve(tracer.chemistry_at(solved[k].x), solved[k].x, (low, high), until=until)
            rows = tuple(row.target for row in curve.problem.rows)
            if not curve.range:
                continue
            if _strays(curve, solved[k]):
                complete = False
                continue
            inside = 1e-6 * curve.range
            first, after = curve.at(curve.low.level + inside), curve.at(curve.high.level - inside)
            before = last[1] if last[0] == k - 1 else None
            if before is not None and first is not None and mix_of(before) != mix_of(first):
                found.append(Breakpoint(first.level, before, first))
            found += breakpoints_of(curve)
            last = k, after
        except SolverError as error:
            complete = complete and not isinstance(error, OutOfTimeError)
    return tuple(tracer.change(b, rows, numbers) for b in reduced(found, span)), complete
