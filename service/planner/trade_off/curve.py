"""The curve of a trade-off in the planner's terms: masses at each level, with the chemistry that belongs to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.model.acidity import chemistry_of
from service.model.properties import PROPERTIES, depends_on_acids
from service.planner.asked import PlanAsked, Preference, TargetAsked, TradeAsked
from service.planner.materials import Material, poured
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.planner.solving import Answered, answer
from service.planner.steps import perceptual_distance, steps_between
from service.solver.breakpoints import Breakpoint, breakpoints_of
from service.solver.frontier import Curve, CurvePoint
from service.solver.goals import Outcome
from service.solver.solve import Verdict
from service.solver.spacing import spaced
from service.solver.stages import range_rows, typical_divisor

_SENSED = ("sucrose_equivalent_g_per_l", "titratable_acidity", "abv_percent", "juice_percent")
_AT_LEVEL = 1e-9


@dataclass(frozen=True, slots=True)
class Spot:
    """One point: the masses of all materials [g], what is proved, the levels of both properties, and its basis."""

    masses_g: tuple[float, ...]
    proved: bool
    x: float
    y: float
    point: CurvePoint | None


@dataclass(frozen=True, slots=True)
class Traced:
    """The curve as asked: its spots from the least level on, where the mix changes, and the numbers behind it."""

    spots: tuple[Spot, ...]
    best: int
    breakpoints: tuple[Breakpoint, ...]
    numbers: Numbers
    curve: Curve
    gaps: tuple[float, ...]


def without_values(targets: Sequence[TargetAsked], names: Sequence[str]) -> tuple[TargetAsked, ...]:
    """The targets, those on the named properties as ranges only: what is traded is not held at a value."""
    return tuple(replace(t, value=None) if t.name in names else t for t in targets)


def question_of(asked: TradeAsked) -> PlanAsked:
    """The plan with the best of the second property, at whatever level of the first."""
    return replace(
        asked.plan,
        targets=without_values(asked.plan.targets, (asked.x, asked.y.name)),
        prefer=(asked.y,),
        rounding="none",
    )


class Tracer:
    """Walks along the curve of a question that can be met."""

    def __init__(self, asked: TradeAsked, materials: Sequence[Material], answered: Answered, until: float) -> None:
        self.asked, self.materials, self.until = asked, materials, until
        self.plan = question_of(asked)
        self.end_point = asked.plan.circumstances.end_point_ph
        numbers, result = answered.numbers, answered.result
        self.numbers = numbers
        at_value = len(result.problem.aims) == len(numbers.problem.aims)
        goals = [g if at_value else replace(g, value=None) for g in numbers.goals]
        problem = numbers.problem
        references = [typical_divisor(g.ratio, problem, numbers.start) for g in goals]
        rows = (*range_rows(goals, references, at_value=at_value), *problem.rows)
        masses = numbers.masses_g(result.x)
        contents = poured(materials, masses)
        chemistry = chemistry_of(contents, self.end_point)
        law = PROPERTIES[asked.x]
        ratio = numbers.ratios.ratio(law, "/x", chemistry)
        size = max(abs(self._value(asked.x, masses) or 0.0), law.step(0.0), law.exact_within)
        divisor = typical_divisor(ratio, problem, numbers.start)
        self.curve = Curve(
            replace(problem, rows=rows),
            ratio,
            scale=1.0 / (divisor * size),
            sums=problem.sums_at(result.x),
            until=until,
        )
        names = {asked.x, asked.y.name, *(t.name for t in asked.plan.targets)}
        self.by_acids = any(map(depends_on_acids, names))
        self._known: dict[tuple[float, ...], dict[str, float]] = {}

    def _value(self, name: str, masses_g: Sequence[float]) -> float | None:
        return value_of(name, self.materials, masses_g, poured(self.materials, masses_g), self.end_point)

    def _senses(self, x: Sequence[float]) -> dict[str, float]:
        """What is tasted of a blend, and the level of the first property."""
        key = tuple(x)
        if key not in self._known:
            masses = self.numbers.masses_g(x)
            contents = poured(self.materials, masses)
            found = {}
            for name in {*_SENSED, self.asked.x}:
                value = value_of(name, self.materials, masses, contents, self.end_point)
                if value is not None:
                    found[name] = value
            self._known[key] = found
        return self._known[key]

    def distance(self, one: Sequence[float], other: Sequence[float]) -> float:
        """Just-noticeable steps between two blends; at least the steps of the first property between them."""
        a, b = self._senses(one), self._senses(other)
        senses = self.asked.plan.circumstances.senses
        level = 0.0
        if self.asked.x in a and self.asked.x in b:
            level = steps_between(self.asked.x, a[self.asked.x], b[self.asked.x], senses) or 0.0
        return max(perceptual_distance(a, b, senses), abs(level))

    def apart(self, one: Spot, other: Spot) -> float:
        """The same between two spots."""
        return self.distance(self._columns(one), self._columns(other))

    def _columns(self, spot: Spot) -> tuple[float, ...]:
        return tuple(spot.masses_g[i] / (1000.0 * self.numbers.litres) for i in self.numbers.free)

    def value_at(self, point: CurvePoint) -> float:
        """The second property at a point."""
        return self._value(self.asked.y.name, self.numbers.masses_g(point.x)) or 0.0

    def trace(self) -> Traced:
        """The spots about one step apart, and the breakpoints."""
        points = spaced(self.curve, self.distance, most=self.asked.points)
        best = self.curve.best()
        at = min(range(len(points)), key=lambda k: (points[k].value, abs(points[k].level - best.level)))
        found: list[tuple[int, Spot]] = []
        for k, point in enumerate(points):
            spot = self._settled(point, k, len(points)) if self.by_acids else self._spot(self.curve.prove(point))
            if spot is not None:
                found.append((k, spot))
        spots = [spot for _, spot in found]
        index = min(range(len(found)), key=lambda k: abs(found[k][0] - at)) if found else 0
        breaks = breakpoints_of(self.curve) if self.curve.range and not any(self.curve.problem.whole) else []
        return Traced(tuple(spots), index, tuple(breaks), self.numbers, self.curve, tuple(self.curve.gaps))

    def _spot(self, point: CurvePoint) -> Spot:
        masses = tuple(self.numbers.masses_g(point.x))
        x, y = self._value(self.asked.x, masses), self._value(self.asked.y.name, masses)
        return Spot(masses, point.proved, point.level if x is None else x, 0.0 if y is None else y, point)

    def _settled(self, point: CurvePoint, k: int, count: int) -> Spot | None:
        """A point with the chemistry of its own blend: solved anew at its level, or at the end for the ends."""
        if k in (0, count - 1) and count > 1:
            asked = replace(self.plan, prefer=(Preference(self.asked.x, k > 0), self.asked.y))
        else:
            room = _AT_LEVEL * max(abs(point.level), 1.0)
            level = TargetAsked(self.asked.x, point.level - room, point.level + room, None, f"{point.level:g}")
            others = tuple(t for t in self.plan.targets if t.name != self.asked.x)
            asked = replace(self.plan, targets=tuple(sorted((*others, level), key=lambda t: t.name)))
        answered = answer(asked, self.materials)
        result = answered.result
        if result.outcome is not Outcome.MET or not answered.settled:
            return None
        masses = tuple(answered.numbers.masses_g(result.x))
        x, y = self._value(self.asked.x, masses), self._value(self.asked.y.name, masses)
        if x is None or y is None:
            return None
        return Spot(masses, result.verdict is Verdict.PROVED_BEST, x, y, point)
