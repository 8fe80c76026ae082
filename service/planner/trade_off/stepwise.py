"""A curve with ingredients in whole packs: it goes in steps.

Hardly a level of one property can be met exactly with whole packs, and the best at exactly that level may be much worse
than at the next. So below the best point the best plan with *at most* a level is sought, and above it with *at least*
that level; every point is a plan that no other of its side betters with so little, or so much, of the first property.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import inf
from time import perf_counter

from service.model.properties import PROPERTIES
from service.planner.asked import PlanAsked, Preference
from service.planner.solving import Answered, answer
from service.planner.trade_off.curve import Held, Spot, Traced, Tracer, best_of, increasing, limited, question_of
from service.solver.frontier import CurvePoint
from service.solver.goals import Outcome
from service.solver.solve import Verdict

_NEAR = 0.5
"""Points nearer than this to the one before are left out, but for the ends and the best [steps]."""

_FAR = 1.5
"""Where neighbours are farther apart, a plan between them is looked for [steps]."""

_LEAST_S = 0.02
"""What a single plan gets at least of what is left until the deadline [s]."""

_BESIDE = 1e-6
"""The next level lies at least this share of the range beyond the plan before."""


@dataclass(frozen=True, slots=True)
class _Step:
    spot: Spot
    held: Held


class _Steps:
    """Solves plans of one stepwise curve."""

    def __init__(self, tracer: Tracer) -> None:
        self.tracer, self.asked, self.found = tracer, tracer.asked, 0
        plan = question_of(tracer.asked)
        self.plan = (
            plan if tracer.at_value else replace(plan, targets=tuple(replace(t, value=None) for t in plan.targets))
        )

    def left(self) -> float:
        """Time until the deadline [s]."""
        return self.tracer.until - perf_counter()

    def solved(self, asked: PlanAsked, share: float) -> _Step | None:
        """A plan in a share of the time that is left."""
        self.tracer.counted.still()
        answered = answer(replace(asked, deadline_s=max(share * self.left(), _LEAST_S)), self.tracer.materials)
        return self.read(answered)

    def read(self, answered: Answered) -> _Step | None:
        """A solved plan as a point; None if it is none."""
        result = answered.result
        if result.outcome is not Outcome.MET or not answered.settled:
            return None
        spot = self.tracer.spot(result.x, proved=result.verdict is Verdict.PROVED_BEST)
        if spot is None:
            return None
        self.found += 1
        self.tracer.counted.at(self.found)
        point = CurvePoint(spot.x, spot.y, result.solution.x, result.solution.basis)
        return _Step(spot, Held(point, tuple(row.target for row in result.problem.rows)))

    def end(self, *, high: bool) -> _Step | None:
        """The least or the most of the first property, and the best of the second there."""
        return self.solved(replace(self.plan, prefer=(Preference(self.asked.x, high), self.asked.y)), 0.25)

    def arm(self, best: Spot, end: Spot, count: int) -> Iterator[Spot]:
        """Points from the best towards an end, at most so many between them."""
        away = end.x > best.x
        level, span = best.x, abs(end.x - best.x)
        for k in range(1, count + 1):
            wanted = _between(self.asked.x, best.x, end.x, k / (count + 1))
            if abs(wanted - best.x) < abs(level - best.x) + _BESIDE * span:
                continue
            if self.left() <= 0.0:
                return
            low, high = (wanted, inf) if away else (-inf, wanted)
            targets = limited(self.plan.targets, self.asked.x, low, high)
            step = self.solved(replace(self.plan, targets=targets), 1.0 / (count + 2 - k))
            if step is None:
                continue
            level = step.spot.x
            if abs(end.x - level) <= _BESIDE * span:
                return
            yield step.spot


def _between(name: str, one: float, other: float, share: float) -> float:
    """A level a share of the way, in equal steps as they are noticed."""
    if PROPERTIES[name].sensed_as_share and one > 0.0 and other > 0.0:
        return float(one * (other / one) ** share)
    return one + share * (other - one)


def stepwise(tracer: Tracer, answered: Answered) -> Traced | None:
    """The curve of a question with whole packs.

    Parameters: tracer; answered, the best of the second property at any level.
    Returns: the curve; None if not even its best is a plan.
    """
    steps = _Steps(tracer)
    best = steps.read(answered)
    if best is None:
        return None
    low, high = steps.end(high=False), steps.end(high=True)
    apart, asked = tracer.tastes.apart, tracer.asked
    spots = [best.spot]
    arms = [(one.spot, one.spot.x > best.spot.x) for one in (low, high) if one is not None]
    arms = [(end, away) for end, away in arms if abs(end.x - best.spot.x) > 1e-9 * max(abs(end.x), 1.0)]
    lengths = [apart(best.spot.masses_g, end.masses_g) for end, _ in arms]
    room = max(asked.points - 1 - len(arms), 0)
    for (end, _), length in zip(arms, lengths, strict=True):
        share = int(room * length / sum(lengths)) if sum(lengths) > 0.0 else 0
        found = steps.arm(best.spot, end, min(share, round(4.0 * length)))
        spots += _apart(tracer, best.spot, found, end)
    _fill(steps, best.spot, spots)
    known = _undominated(increasing(spots, maximise=asked.y.maximise), maximise=asked.y.maximise)
    return Traced(
        tuple(known),
        best_of(known, best.spot.x, maximise=asked.y.maximise),
        (),
        (low.held if low else None, high.held if high else None),
        tracer.numbers,
        steps.left() > 0.0,
    )


def _fill(steps: _Steps, best: Spot, spots: list[Spot]) -> None:
    """More plans where neighbours are far apart, as long as there is room and time."""
    apart = steps.tracer.tastes.apart
    closed: set[tuple[float, float]] = set()
    while len(spots) < steps.asked.points and steps.left() > 0.0:
        spots.sort(key=lambda spot: spot.x)
        pairs = [(a, b) for a, b in pairwise(spots) if (a.x, b.x) not in closed]
        gaps = [apart(a.masses_g, b.masses_g) for a, b in pairs]
        if max(gaps, default=0.0) <= _FAR:
            break
        a, b = pairs[gaps.index(max(gaps))]
        level = _between(steps.asked.x, a.x, b.x, 0.5)
        low, high = (-inf, level) if b.x <= best.x else (level, inf)
        step = steps.solved(replace(steps.plan, targets=limited(steps.plan.targets, steps.asked.x, low, high)), 0.3)
        near = step is None or min(apart(step.spot.masses_g, other.masses_g) for other in (a, b)) < _NEAR
        if step is None or near or not a.x < step.spot.x < b.x:
            closed.add((a.x, b.x))
        else:
            spots.append(step.spot)


def _apart(tracer: Tracer, best: Spot, found: Iterator[Spot], end: Spot) -> list[Spot]:
    """Those of the points that are half a step from the one before and from the end, and the end."""
    apart, kept = tracer.tastes.apart, [best]
    for spot in found:
        if min(apart(kept[-1].masses_g, spot.masses_g), apart(spot.masses_g, end.masses_g)) >= _NEAR:
            kept.append(spot)
    return [*kept[1:], end]


def _undominated(spots: Sequence[Spot], *, maximise: bool) -> list[Spot]:
    """Spots of which each betters all that lie farther out on its side of the best one.

    A plan that is not proved the best may be bettered by one farther out, which meets its level too.
    """
    sign = -1.0 if maximise else 1.0
    top = best_of(spots, spots[0].x, maximise=maximise)
    kept: list[Spot] = [spots[top]]
    for arm in (list(spots[:top]), list(reversed(spots[top + 1 :]))):
        reached = inf
        for spot in arm:
            if sign * spot.y <= reached:
                kept.append(spot)
                reached = sign * spot.y
    return sorted(kept, key=lambda spot: spot.x)
