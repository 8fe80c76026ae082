"""The curve of a trade-off in the planner's terms: masses at each level, and where the mix changes.

Without acids in the question one curve of the solver holds from end to end. With them its rows are tangents at one
blend, so it only says where to look: see `service.planner.trade_off.acids`. Whole packs leave steps:
`service.planner.trade_off.stepwise`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from time import perf_counter

from service.errors import SolverError
from service.model.acidity import Chemistry, chemistry_of
from service.model.properties import PROPERTIES, Per
from service.planner.asked import PlanAsked, TargetAsked, TradeAsked
from service.planner.materials import Material, poured
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.planner.progress import Counted
from service.planner.solving import Answered
from service.planner.steps import perceptual_distance, steps_between
from service.planner.trade_off.changes import Change, reduced
from service.solver.breakpoints import Breakpoint, breakpoints_of
from service.solver.frontier import Curve, CurvePoint
from service.solver.problem import Problem, Row, ratio_rows
from service.solver.solve import Solution
from service.solver.spacing import spaced
from service.solver.stages import range_rows, typical_divisor

_SENSED = ("sucrose_equivalent_g_per_l", "titratable_acidity", "abv_percent", "juice_percent")
_ONE_LEVEL = 1e-9
"""Levels nearer than this, relative above one and absolute below, are one."""

_SEGMENT = "the stretch looked at"
"""What the rows between two levels are called; no target has this name."""

_EDGE = 0.999
"""An addition without a limit at this share of where the search for it ends stands at that edge."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One point: the masses of all materials [g], what is proved, and the levels of both properties."""

    masses_g: tuple[float, ...]
    proved: bool
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Held:
    """An end of the curve as the solver left it, and the target of each row there: what holds it."""

    point: CurvePoint
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Traced:
    """The curve as asked: spots from the least level on, which is best, where the mix changes, and what holds the ends.

    `complete` is False where time ran out before all of it was looked at.
    """

    spots: tuple[Spot, ...]
    best: int
    changes: tuple[Change, ...]
    ends: tuple[Held | None, Held | None]
    numbers: Numbers
    complete: bool = True


class OutOfTimeError(SolverError):
    """Nothing new is looked for on a curve any more."""


class _Timed(Curve):
    """A curve that gives up, instead of going on past its deadline where it cannot be followed from point to point."""

    def _solve(self, problem: Problem, sums: Sequence[float], *, prove: bool = False) -> Solution:
        if perf_counter() > self.until:
            raise OutOfTimeError("The time for this curve is over.")
        return super()._solve(problem, sums, prove=prove)


def question_of(asked: TradeAsked) -> PlanAsked:
    """The plan with the best of the second property, at whatever level of the first.

    What is traded is not held at a value: targets on the two are ranges only.
    """
    traded = (asked.x, asked.y.name)
    targets = tuple(replace(t, value=None) if t.name in traded else t for t in asked.plan.targets)
    return replace(asked.plan, targets=targets, prefer=(asked.y,), rounding="none")


class Tastes:
    """How unlike two blends are, in just-noticeable steps."""

    def __init__(self, asked: TradeAsked, materials: Sequence[Material]) -> None:
        self.x, self.materials, self.circumstances = asked.x, materials, asked.plan.circumstances
        self._known: dict[tuple[float, ...], dict[str, float]] = {}

    def value(self, name: str, masses_g: Sequence[float]) -> float | None:
        """A property of the blend of these masses."""
        contents = poured(self.materials, masses_g)
        return value_of(
            name, self.materials, masses_g, contents, self.circumstances.end_point_ph, self.circumstances.senses
        )

    def _of(self, masses_g: tuple[float, ...]) -> dict[str, float]:
        if masses_g not in self._known:
            values = {name: self.value(name, masses_g) for name in {*_SENSED, self.x}}
            self._known[masses_g] = {name: value for name, value in values.items() if value is not None}
        return self._known[masses_g]

    def apart(self, one: tuple[float, ...], other: tuple[float, ...]) -> float:
        """Just-noticeable steps between two blends; at least the steps of the first property between them."""
        a, b, senses = self._of(one), self._of(other), self.circumstances.senses
        level = 0.0
        if self.x in a and self.x in b:
            level = steps_between(self.x, a[self.x], b[self.x], senses) or 0.0
        return max(perceptual_distance(a, b, senses), abs(level))


class Tracer:
    """Makes curves of a question that can be met; those that speak of acids hold near one blend.

    `counted` is told how many points are found.
    """

    def __init__(
        self, asked: TradeAsked, materials: Sequence[Material], answered: Answered, until: float, counted: Counted
    ) -> None:
        self.asked, self.materials, self.until, self.counted = asked, materials, until, counted
        self.numbers, self.x = answered.numbers, answered.result.x
        self.tastes = Tastes(asked, materials)
        self.at_value = len(answered.result.problem.aims) == len(self.numbers.problem.aims)
        """Whether values asked for are held; else their ranges."""
        law = PROPERTIES[asked.x]
        self._size = max(abs(self.tastes.value(asked.x, self.masses(self.x)) or 0.0), law.step(0.0), law.exact_within)

    def masses(self, x: Sequence[float]) -> tuple[float, ...]:
        """The mass of every material at a point of the solver [g], its dust taken off."""
        problem = self.numbers.problem
        clean = [min(max(v, low), high) for v, low, high in zip(x, problem.lower, problem.upper, strict=False)]
        return tuple(self.numbers.masses_g(clean))

    def spot(self, x: Sequence[float], *, proved: bool, level: float | None = None) -> Spot | None:
        """A point of the solver; None where one of the properties is not defined there."""
        masses = self.masses(x)
        found, y = self.tastes.value(self.asked.x, masses), self.tastes.value(self.asked.y.name, masses)
        if found is None or y is None:
            return None
        at_edge = any(self.is_at_edge(x, j) for j in self.numbers.boundless)
        return Spot(masses, proved and not at_edge, found if level is None else level, y)

    def is_at_edge(self, x: Sequence[float], j: int) -> bool:
        """Whether an amount without a limit stands where the search for it ended."""
        return x[j] >= _EDGE * self.numbers.problem.upper[j]

    def distance(self, one: Sequence[float], other: Sequence[float]) -> float:
        """Just-noticeable steps between two points of the solver."""
        self.counted.still()
        return self.tastes.apart(self.masses(one), self.masses(other))

    def curve(
        self,
        chemistry: Chemistry,
        start: Sequence[float],
        between: tuple[float, float] | None = None,
        *,
        until: float | None = None,
    ) -> tuple[Curve, Numbers]:
        """The curve with the acids of a blend, whole or between two levels.

        Parameters: chemistry; start, a point of the solver near which it is wanted; between, levels of the first
        property; until, a `perf_counter` time [s] after which it gives up, that of the question if None.
        Returns: the curve, and the numbers that its rows were made of.
        Raises: SolverError if no amounts meet the rows.
        """
        numbers = self.numbers.with_chemistry(chemistry)
        problem, by_name = numbers.problem, {t.name: t for t in numbers.targets}
        ratio = numbers.ratios.ratio(PROPERTIES[self.asked.x], "/x", chemistry)
        scale = 1.0 / (typical_divisor(ratio, problem, numbers.start) * self._size)
        goals = [g if self.at_value else replace(g, value=None) for g in numbers.goals if g.name != self.asked.x]
        references = [typical_divisor(g.ratio, problem, numbers.start) for g in goals]
        rows: list[Row] = list(range_rows(goals, references, at_value=self.at_value))
        if self.asked.x in by_name:  # by the ratio of the level itself, so that an end at its limit is an end
            target = by_name[self.asked.x]
            rows += ratio_rows(self.asked.x, ratio, target.low, target.high, scale)
        rows += problem.rows
        if PROPERTIES[self.asked.x].per is Per.ACID:
            rows.append(numbers.ratios.some_acid(chemistry))
        if between is not None:
            rows += ratio_rows(_SEGMENT, ratio, *between, scale)
        whole = replace(problem, rows=tuple(rows))
        limit = self.until if until is None else until
        return _Timed(whole, ratio, scale=scale, sums=problem.sums_at(start), until=limit), numbers

    def smooth(self) -> Traced:
        """The curve of a question without acids, its spots about one step apart.

        Raises: OutOfTimeError where the time was not enough to place the spots.
        """
        curve, numbers = self.curve(self.chemistry_at(self.x), self.x)
        points: list[CurvePoint] = []
        for point in spaced(curve, self.distance, most=self.asked.points):
            points.append(self._proved(curve, point))
            self.counted.at(len(points))
        spots = [self.spot(p.x, proved=p.proved) for p in points]
        known = increasing([s for s in spots if s is not None], maximise=self.asked.y.maximise)
        best = best_of(known, curve.best().level, maximise=self.asked.y.maximise)
        rows = tuple(row.target for row in curve.problem.rows)
        complete, found = True, list[Breakpoint]()
        try:
            found = breakpoints_of(curve) if curve.range else []
        except OutOfTimeError:
            complete = False
        return Traced(
            tuple(known),
            best,
            tuple(self.change(b, rows, numbers) for b in reduced(found, curve.range)),
            (Held(curve.low, rows), Held(curve.high, rows)),
            numbers,
            complete,
        )

    def _proved(self, curve: Curve, point: CurvePoint) -> CurvePoint:
        try:
            return curve.prove(point)
        except OutOfTimeError:
            return point

    def change(self, found: Breakpoint, rows: tuple[str, ...], numbers: Numbers) -> Change:
        """A breakpoint with the levels of both properties there."""
        masses = self.masses(found.right.x)
        x, y = self.tastes.value(self.asked.x, masses), self.tastes.value(self.asked.y.name, masses)
        return Change(found, found.level if x is None else x, 0.0 if y is None else y, rows, numbers)

    def chemistry_at(self, x: Sequence[float]) -> Chemistry:
        """The acids of the blend at a point of the solver."""
        return chemistry_of(poured(self.materials, self.masses(x)), self.asked.plan.circumstances.end_point_ph)


def best_of(spots: Sequence[Spot], level: float, *, maximise: bool) -> int:
    """The index of the best spot; of equal ones that nearest to a level."""
    sign = -1.0 if maximise else 1.0
    return min(range(len(spots)), key=lambda k: (sign * spots[k].y, abs(spots[k].x - level)), default=0)


def increasing(spots: Sequence[Spot], *, maximise: bool) -> list[Spot]:
    """Spots by their levels; of those at one level the best."""
    found: list[Spot] = []
    for spot in sorted(spots, key=lambda s: (s.x, -s.y if maximise else s.y)):
        if not found or spot.x - found[-1].x > _ONE_LEVEL * max(abs(spot.x), 1.0):
            found.append(spot)
        elif (spot.y > found[-1].y) is maximise and spot.y != found[-1].y:
            found[-1] = spot
    return found


def limited(targets: Sequence[TargetAsked], name: str, low: float, high: float) -> tuple[TargetAsked, ...]:
    """The targets with one property held between two levels, inside what was asked of it."""
    others = [t for t in targets if t.name != name]
    asked = next((t for t in targets if t.name == name), None)
    if asked is not None:
        low, high = max(low, asked.low), min(high, asked.high)
    level = TargetAsked(name, low, high, None, f"{low:g} to {high:g}")
    return tuple(sorted((*others, level), key=lambda t: t.name))
