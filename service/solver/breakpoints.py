"""Where a trade-off curve changes its basis: "from here on the concentrate replaces the juice".

Along a basis every amount, row and price moves smoothly with the level. The first to reach its bound ends the basis;
Newton on the room that is left finds the level for amounts and rows, false position for prices, halving whatever else
may be, as the optima inside an edge.
"""

from __future__ import annotations

from dataclasses import dataclass

from service.physics.roots import root_between
from service.solver.follow import Margins, margins
from service.solver.frontier import RESOLUTION, Curve, CurvePoint
from service.solver.local import TOLERANCE
from service.solver.problem import volume_at

_STEPS = 8


@dataclass(frozen=True, slots=True)
class Breakpoint:
    """A level at which the optimal basis changes, with the points right beside it."""

    level: float
    left: CurvePoint
    right: CurvePoint

    @property
    def entering(self) -> tuple[int, ...]:
        """Amounts that are free above the level and at a bound below it."""
        return _only_in(_free(self.right), _free(self.left))

    @property
    def leaving(self) -> tuple[int, ...]:
        """Amounts that are free below the level and at a bound above it."""
        return _only_in(_free(self.left), _free(self.right))

    @property
    def rows_entering(self) -> tuple[int, ...]:
        """Rows that hold with equality above the level and not below it."""
        return _only_in(_rows(self.right), _rows(self.left))

    @property
    def rows_leaving(self) -> tuple[int, ...]:
        """Rows that hold with equality below the level and not above it."""
        return _only_in(_rows(self.left), _rows(self.right))


def _free(point: CurvePoint) -> tuple[int, ...]:
    return point.basis.free if point.basis else ()


def _rows(point: CurvePoint) -> tuple[int, ...]:
    return point.basis.rows if point.basis else ()


def _only_in(one: tuple[int, ...], other: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(at for at in one if at not in other)


def breakpoints_of(curve: Curve) -> list[Breakpoint]:
    """The levels at which the optimal basis changes, from the least on, located to `RESOLUTION` of the range.

    Parameters: curve, which knows the points it was asked for from then on.
    Returns: breakpoints by level; empty where one basis serves the whole curve.
    Validity: with strength left free the bases followed may be those of a local optimum (see `Curve`).
    """
    width = RESOLUTION * curve.range
    last = curve.high.level - width
    found: list[Breakpoint] = []
    here, stride = None, width
    while here is None and (level := curve.low.level + stride) < last:
        here, stride = curve.at(level), 2.0 * stride
    stride = 0.5 * width
    while here is not None and (level := _extent(curve, here, last, 0.5 * width)) < last:
        left = here if level == here.level else _moved(curve, here, level)
        step, right = stride, None
        while right is None and level + step <= last:
            right, step = curve.at(level + step), 2.0 * step
        if right is None:
            break
        if (earlier := _better_before(curve, here, left, right, 0.5 * width)) is not None:
            left, right = earlier
        if not _alike(left, right):
            found.append(Breakpoint(0.5 * (left.level + right.level), left, right))
        # where nothing lasts, as where SLSQP found the points, go on in longer strides
        stride = 2.0 * stride if right.level - here.level < 2.0 * stride else 0.5 * width
        here = right
    return found


def _better_before(
    curve: Curve, here: CurvePoint, left: CurvePoint, right: CurvePoint, width: float
) -> tuple[CurvePoint, CurvePoint] | None:
    """Where two local optima exchange their ranks: the points beside that level, if it lies before `left`."""

    def other(level: float) -> CurvePoint | None:
        return curve.follow(curve.problem_at(level), level, right, exchanges=0)

    def is_better(level: float) -> bool:
        there = other(level)
        return there is not None and there.value < _moved(curve, here, level).value - TOLERANCE

    low, high = here.level, left.level
    if not curve.can_be_followed(here) or not is_better(high) or is_better(low):
        return None
    while high - low > width:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if is_better(middle) else (middle, high)
    return _moved(curve, here, low), other(high) or right


def _moved(curve: Curve, point: CurvePoint, level: float) -> CurvePoint:
    """The point of the same basis at another level where it is optimal too."""
    moved = curve.follow(curve.problem_at(level), level, point, exchanges=0)
    return moved or curve.at(level) or point


def _extent(curve: Curve, point: CurvePoint, last: float, width: float) -> float:
    """A level up to which the basis of a point stays optimal, at most `width` below where it ends."""

    def stays(level: float) -> bool:
        if not curve.can_be_followed(point):
            other = curve.at(level)
            return other is not None and _alike(point, other)
        return curve.follow(curve.problem_at(level), level, point, exchanges=0) is not None

    def sign(level: float) -> float:
        left = _margins(curve, point, level)
        return -1.0 if left is None else left.sign

    low, high = point.level, last
    if point.moves:
        ends = _rooms_end(curve, point, last, 0.2 * width)
        tries = [last] if ends >= last else [ends - 0.4 * width, ends + 0.4 * width]
        for level in tries:
            if low < level < high or level == last:
                low, high = (level, high) if stays(level) else (low, level)
        if high - low > width and sign(low) > 0.0 > sign(high):
            root = root_between(sign, low, high, tolerance=0.2 * width / (1.0 + abs(high)))
            for level in (root - 0.4 * width, root + 0.4 * width):
                if low < level < high:
                    low, high = (level, high) if stays(level) else (low, level)
    elif stays(last):
        return last
    while high - low > width:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if stays(middle) else (low, middle)
    return low


def _rooms_end(curve: Curve, point: CurvePoint, last: float, near: float) -> float:
    """The level at which an amount or a row of a point's basis reaches a bound, or the last level: by Newton."""
    level = point.level
    for _ in range(_STEPS):
        left = _margins(curve, point, level)
        if left is None:
            break
        step = min(left.rise / curve.per_level(point.x, volume_at(curve.problem, point.x)), last - level)
        level += step
        if abs(step) <= near:
            break
    return level


def _margins(curve: Curve, point: CurvePoint, level: float) -> Margins | None:
    assert point.basis is not None
    return margins(curve.problem_at(level), point.basis, curve.expected(level, point), point.vertex)


def _alike(one: CurvePoint, other: CurvePoint) -> bool:
    """Whether two points have the same basis and the same bounds for the amounts that are not free."""
    if one.basis is None or one.basis != other.basis:
        return one.basis is other.basis
    free = set(one.basis.free)
    return all(j in free or a == b for j, (a, b) in enumerate(zip(one.x, other.x, strict=True)))
