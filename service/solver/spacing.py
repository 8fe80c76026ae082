"""Which points of a trade-off curve to show, and where it bends."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from itertools import pairwise
from math import atan2, ceil, sqrt

from service.solver.frontier import RESOLUTION, Curve, CurvePoint
from service.solver.problem import Amounts

Distance = Callable[[Amounts, Amounts], float]
"""How different two blends are, a function of their amounts."""

_NEAR = 0.5  # neighbours nearer than this are dropped
_FINE = 0.25  # how far apart points may be that a distance along the curve is measured by
_CELLS = 8
_MEASURED_EACH = 20  # so many points at most are looked at for each that may be shown
_BEND = 0.05
_FAR = 0.8  # of the farthest from the chord


def spaced(curve: Curve, distance: Distance, *, most: int) -> list[CurvePoint]:
    """Points about a distance of one apart, from the least level on.

    Parameters: curve; distance, how different two blends are, a function of their amounts; most, how many points at
    most (the ends and the best point are always among them).
    Returns: points evenly spaced along the curve on either side of the best one, neighbours nearer than a half
    left out unless they are an end or the best.
    """
    best = curve.best()
    fixed = [curve.low, *([best] if curve.low.level < best.level < curve.high.level else []), curve.high]
    arms = [_measured(curve, distance, a, b, _MEASURED_EACH * most) for a, b in pairwise(fixed) if b.level > a.level]
    if not arms:
        return [best]
    lengths = [arm[-1][0] for arm in arms]
    pieces = [max(1, round(length)) for length in lengths]
    room = max(most - 1, len(arms))
    if sum(pieces) > room:
        share = [length * room / sum(lengths) for length in lengths]
        pieces = [max(1, int(s)) for s in share]
        while sum(pieces) > room:
            pieces[pieces.index(max(pieces))] -= 1
        while sum(pieces) < room:
            pieces[max(range(len(arms)), key=lambda k: share[k] - pieces[k])] += 1
    chosen = [fixed[0]]
    for arm, count in zip(arms, pieces, strict=True):
        for k in range(1, count):
            point = curve.at(_level_at(arm, arm[-1][0] * k / count))
            if point is None or distance(chosen[-1].x, point.x) < _NEAR or distance(point.x, arm[-1][1].x) < _NEAR:
                continue
            chosen.append(point)
        chosen.append(arm[-1][1])
    return chosen


def _measured(
    curve: Curve, distance: Distance, start: CurvePoint, end: CurvePoint, most: int
) -> list[tuple[float, CurvePoint]]:
    """Points from one to another, close enough to measure by, with the distance gone since the first."""
    span = end.level - start.level
    inner = (curve.at(start.level + span * k / _CELLS) for k in range(1, _CELLS))
    ahead = [start, *(point for point in inner if point is not None), end][::-1]
    here = ahead.pop()
    passed, gone, looked = [(0.0, here)], 0.0, 0
    finest = ceil(1.0 / RESOLUTION)
    while ahead:
        step = distance(here.x, ahead[-1].x)
        if step > _FINE and looked < most and (ahead[-1].level - here.level) * finest > span:
            looked += 1
            middle = curve.at(0.5 * (here.level + ahead[-1].level))
            if middle is not None:
                ahead.append(middle)
                continue
        gone, here = gone + step, ahead.pop()
        passed.append((gone, here))
    return passed


def _level_at(arm: Sequence[tuple[float, CurvePoint]], distance: float) -> float:
    """The level at a distance along a measured part of the curve."""
    at = min(max(bisect_left(arm, distance, key=lambda pair: pair[0]), 1), len(arm) - 1)
    (before, one), (after, other) = arm[at - 1], arm[at]
    share = (distance - before) / (after - before) if after > before else 0.0
    return one.level + share * (other.level - one.level)


def knee_of(points: Sequence[CurvePoint]) -> CurvePoint | None:
    """The point where a curve bends most: up to there the level is cheap, from there on it is dear.

    On either side of the best point the distance of every point from the chord, on the better side of it, is taken,
    with the levels of that side and the values of the whole curve scaled to 0…1: a bend in a side that hardly falls is
    none.

    Parameters: points of a curve, sorted by level.
    Returns: the sharpest corner among the points that are nearly the farthest from their chord; None if none is more
    than 0.05 away.

    >>> knee_of([CurvePoint(x, y, (), None) for x, y in ((0.0, 0.0), (2.0, 0.1), (3.0, 1.0))]).level
    2.0
    """
    if not points:
        return None
    best = min(range(len(points)), key=lambda k: points[k].value)
    whole = max(point.value for point in points) - points[best].value
    found: list[tuple[float, CurvePoint]] = []
    for arm in (points[: best + 1], points[best:]):
        across, up = arm[-1].level - arm[0].level, arm[-1].value - arm[0].value
        if across <= 0.0 or up == 0.0:
            continue
        bends = [
            (arm[0].value + up * (point.level - arm[0].level) / across - point.value) / (whole * sqrt(2.0))
            for point in arm
        ]
        most = max(bends)
        if most <= _BEND:
            continue
        # along a stretch beside the chord all points are as far from it: the sharpest corner of them is the knee
        far = [k for k in range(1, len(arm) - 1) if bends[k] >= _FAR * most]
        corner = max(far, key=lambda k: _turn(arm[k - 1], arm[k], arm[k + 1], across, whole))
        found.append((most, arm[corner]))
    return max(found, key=lambda pair: pair[0])[1] if found else None


def _turn(before: CurvePoint, here: CurvePoint, after: CurvePoint, across: float, whole: float) -> float:
    """The angle by which a curve turns at a point, both axes scaled."""
    slopes = [
        atan2((b.value - a.value) / whole, (b.level - a.level) / across) for a, b in ((before, here), (here, after))
    ]
    return abs(slopes[1] - slopes[0])
