"""Which measurable amounts miss the targets least: a plan rounded as a whole, not each amount alone.

Amounts are chosen among their measurable neighbours so that, one after the other,

1. ranges are missed least, by priority, in noticeable steps beyond what still counts as met,
2. values are missed least, the sum of distances in noticeable steps,
3. the preferences are served, in their order,
4. the plan moves least, in steps of each amount.

Every property is a ratio of forms (`service.planner.ratios`), so all combinations of the neighbours are looked through
with the volume and the acids linear beside the unrounded plan. The combinations that could be best, by how far that was
seen to be wrong, are then reckoned in full, and moves of one or two amounts by one step more are tried on the best.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations, product
from math import inf
from operator import mul, sub

from service.errors import ServiceError
from service.model.acidity import chemistry_of
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES, depends_on_acids
from service.physics.mixture import volume_and_gradient_ml
from service.planner.answers import Caution
from service.planner.asked import AdditionAsked, Circumstances, Preference, TargetAsked
from service.planner.materials import Material, poured
from service.planner.measures import Measure, assumed_steps, measures_for
from service.planner.predict import value_of
from service.planner.ratios import Ratios
from service.planner.rounding_worth import Judge, Score, miss_steps, noticeable_step
from service.planner.steps import Senses
from service.solver.problem import Form, Ratio

_EXHAUSTIVE = 12
"""Combinations of so many amounts are looked through, 4096 of them; further amounts start at their nearest step."""

_SURELY = 8
"""So many combinations are reckoned in full at least, to see how far the linear ones are wrong."""

_LOOKS, _LOOKS_WITH_ACIDS = 400, 100
"""At most so many are reckoned in full: below them the choice among up to six amounts is the best there is."""

_ROUNDS = 12
_FAR = 0.01
"""Linear values that may be wrong by more noticeable steps than this are taken anew beside the best blend."""

_SURELY_BESIDE, _LOOKS_BESIDE = 2, 40
_SLACK = 3.0
"""The largest error seen so far, times this, bounds those not seen."""

_NO_DIVISOR = 1e-12


@dataclass(frozen=True, slots=True)
class Rounded:
    """A plan that can be measured.

    `texts` name each amount that was rounded, and are None for the others; `missed_by` holds the targets that the
    rounded amounts no longer meet, with the noticeable steps by which they are outside their range; `assumed` the
    steps of instruments that nobody named.
    """

    masses_g: tuple[float, ...]
    texts: tuple[str | None, ...]
    cautions: tuple[Caution, ...] = ()
    missed_by: tuple[tuple[str, float], ...] = ()
    assumed: tuple[Assumed, ...] = ()


class _Linear:
    """The properties as ratios of forms that are linear in the changes of the free masses."""

    def __init__(
        self, materials: Sequence[Material], free: Sequence[int], masses_g: Sequence[float], end: float, senses: Senses
    ) -> None:
        held = [
            m if i in free else replace(m, least_g=g, most_g=g)
            for i, (m, g) in enumerate(zip(materials, masses_g, strict=True))
        ]
        contents = poured(materials, masses_g)
        self._litres = contents.volume_ml / 1000.0
        self._ratios = Ratios(held, tuple(free), self._litres, senses)
        self._chemistry = chemistry_of(contents, end)
        self._x = [masses_g[i] / (1000.0 * self._litres) for i in free]
        gradient = volume_and_gradient_ml(contents.sums)[1]
        self._volumes = [sum(map(mul, gradient, materials[i].per_g.sums)) for i in free]

    def _tangent(self, form: Form) -> tuple[float, tuple[float, ...]]:
        slopes = (a + form.volume * v for a, v in zip(form.coefficients, self._volumes, strict=True))
        return form.at(self._x, 1.0), tuple(s / (1000.0 * self._litres) for s in slopes)

    def forms(self, name: str) -> tuple[tuple[float, tuple[float, ...]], tuple[float, tuple[float, ...]] | None]:
        """Numerator and denominator of a property: value and slope with each free mass [per g]."""
        ratio: Ratio = self._ratios.ratio(PROPERTIES[name], f"/targets/{name}", self._chemistry)
        return self._tangent(ratio.numerator), None if ratio.denominator is None else self._tangent(ratio.denominator)


@dataclass(frozen=True, slots=True)
class _Choice:
    """An amount to choose: its place, its mass before rounding, its measure and what may be measured of it."""

    at: int
    mass_g: float
    measure: Measure
    lowest_g: float
    highest_g: float

    def _inside(self, mass_g: float) -> float:
        return min(max(mass_g, self.lowest_g), self.highest_g)

    def neighbours(self) -> tuple[float, ...]:
        """The amounts below and above, inside the limits; one where they are the same."""
        low, high = self._inside(self.measure.below(self.mass_g)), self._inside(self.measure.above(self.mass_g))
        return (low,) if low == high else (low, high)

    def nearest(self) -> float:
        """The nearest amount inside the limits."""
        return self._inside(self.measure.nearest(self.mass_g))

    def window(self) -> tuple[float, ...]:
        """The neighbours with one step more on either side."""
        near = self.neighbours()
        further = self._inside(self.measure.next_below(near[0])), self._inside(self.measure.next_above(near[-1]))
        return tuple(sorted({*near, *further}))


class _Search:
    """The search among the choices of one plan."""

    def __init__(
        self,
        materials: Sequence[Material],
        masses_g: Sequence[float],
        choices: Sequence[_Choice],
        targets: Sequence[TargetAsked],
        prefer: Sequence[Preference],
        end_point_ph: float,
        senses: Senses,
    ) -> None:
        self._materials, self._masses, self._choices, self._end = materials, list(masses_g), choices, end_point_ph
        self._senses = senses
        self._names = [*(t.name for t in targets), *(p.name for p in prefer)]
        self._start = [c.mass_g for c in choices]
        self._per_step = [1.0 / c.measure.step_g(c.mass_g) for c in choices]
        self._windows = [c.window() for c in choices]
        here = self.values(self._start)[len(targets) :]
        steps = tuple(senses.noticeable(p.name, v or 1.0) for p, v in zip(prefer, here, strict=True))
        self.judge = Judge(tuple(targets), tuple(prefer), steps, senses)
        self._linear_beside(self._start)
        self._looks = _LOOKS_WITH_ACIDS if any(map(depends_on_acids, self._names)) else _LOOKS
        self._seen: set[tuple[float, ...]] = set()
        self.best: tuple[tuple[int, ...], tuple[float, ...]] | None = None

    def _linear_beside(self, centre: Sequence[float]) -> None:
        """Take everything linear beside some masses, and forget what was learned of other linear values."""
        self._centre = list(centre)
        linear = _Linear(
            self._materials, [c.at for c in self._choices], self.all_masses(centre), self._end, self._senses
        )
        self._forms = [linear.forms(name) for name in self._names]
        self._guesses: dict[tuple[float, ...], tuple[Score, Sequence[float | None]]] = {}
        self._wrong = [0.0] * len(self._names)
        self._off = self.judge.spread(self._wrong)

    def all_masses(self, chosen: Sequence[float]) -> list[float]:
        """The masses of all materials."""
        masses = list(self._masses)
        for choice, mass in zip(self._choices, chosen, strict=True):
            masses[choice.at] = mass
        return masses

    def values(self, chosen: Sequence[float]) -> list[float | None]:
        """Targets and preferences of a blend, reckoned in full."""
        masses = self.all_masses(chosen)
        contents = poured(self._materials, masses)
        try:
            _ = contents.volume_ml
            return [value_of(name, self._materials, masses, contents, self._end, self._senses) for name in self._names]
        except ServiceError:  # no liquid any more, or nothing at all
            return [None] * len(self._names)

    def _estimate(self, several: Sequence[tuple[float, ...]]) -> None:
        """Scores and values of blends with everything linear."""
        changes = [list(map(sub, chosen, self._centre)) for chosen in several]
        columns: list[Sequence[float | None]] = []
        for (top, slopes), below in self._forms:
            tops = [top + sum(map(mul, slopes, d)) for d in changes]
            if below is not None:
                bottoms = [below[0] + sum(map(mul, below[1], d)) for d in changes]
                columns.append([t / b if abs(b) > _NO_DIVISOR else None for t, b in zip(tops, bottoms, strict=True)])
            else:
                columns.append(tops)
        scores = self.judge.scores(columns, [self._moved(chosen) for chosen in several])
        rows = zip(*columns, strict=True) if columns else [()] * len(several)
        self._guesses.update(zip(several, zip(scores, rows, strict=True), strict=True))

    def _moved(self, chosen: Sequence[float]) -> float:
        """How far amounts lie from the unrounded ones, in steps."""
        moved: float = sum(map(mul, map(abs, map(sub, chosen, self._start)), self._per_step))
        return moved

    def _look(self, chosen: tuple[float, ...]) -> None:
        """Reckon a blend in full, keep it if it is the best, and learn how far the linear values were wrong."""
        values = self.values(chosen)
        self._seen.add(chosen)
        for k, (true, guess) in enumerate(zip(values, self._guesses[chosen][1], strict=True)):
            if true is not None and guess is not None:
                self._wrong[k] = max(self._wrong[k], abs(true - guess))
        self._off = self.judge.spread([_SLACK * wrong for wrong in self._wrong])
        (score,) = self.judge.scores([[v] for v in values], [self._moved(chosen)])
        found = self.judge.key(score), chosen
        if self.best is None or found < self.best:
            self.best = found

    def _hopeless(self, chosen: tuple[float, ...]) -> bool:
        """Whether a blend is worse than the best even where the linear values are wrong in its favour."""
        assert self.best is not None
        ranks = zip(self._guesses[chosen][0], self._off, self._floors, self.judge.grain, self.best[0], strict=True)
        for guess, off, floor, grain, best in ranks:
            least = round(max(guess - off, floor) / grain)
            if least != best:
                return least > best
        return False

    def look_through(self, several: Iterable[tuple[float, ...]], surely: int) -> bool:
        """Reckon what could be best among some blends, the first few surely; whether the best changed."""
        before = self.best
        fresh = {chosen for chosen in several if chosen not in self._seen}
        self._estimate(sorted(fresh - self._guesses.keys()))
        for rank, chosen in enumerate(sorted(fresh, key=lambda c: (self._guesses[c][0], c))):
            if len(self._seen) >= self._looks:
                break
            if rank < surely or not self._hopeless(chosen):
                self._look(chosen)
        return self.best != before

    @cached_property
    def _floors(self) -> Score:
        """No score lies below these: misses and distances are not negative."""
        wishes = len(self.judge.prefer)
        misses = len(self.judge.spread([0.0] * len(self._names))) - wishes - 1
        return (*(0.0,) * misses, *(-inf,) * wishes, 0.0)

    def effects(self) -> list[float]:
        """How much a step of each amount moves the targets, all together [noticeable steps]."""
        moves = [
            tuple(c.neighbours()[-1] if i == j else m for j, m in enumerate(self._start))
            for i, c in enumerate(self._choices)
        ]
        here = self.values(self._start)
        return [
            sum(
                abs(a - b) / noticeable_step(t, self._senses)
                for t, a, b in zip(self.judge.targets, here, self.values(moved), strict=False)
                if a is not None and b is not None
            )
            for moved in moves
        ]

    def moves(self, chosen: Sequence[float]) -> Iterable[tuple[float, ...]]:
        """The blends one step of one amount, or of each of two, away."""
        beside = []
        for window, mass in zip(self._windows, chosen, strict=True):
            at = window.index(mass)
            beside.append([window[k] for k in (at - 1, at + 1) if 0 <= k < len(window)])
        for i, masses in enumerate(beside):
            for mass in masses:
                yield (*chosen[:i], mass, *chosen[i + 1 :])
        for (i, first), (j, second) in combinations(enumerate(beside), 2):
            for a, b in product(first, second):
                yield (*chosen[:i], a, *chosen[i + 1 : j], b, *chosen[j + 1 :])

    def run(self) -> tuple[float, ...]:
        """The best blend found."""
        nearest = tuple(c.nearest() for c in self._choices)
        ranks = list(range(len(self._choices)))
        if len(ranks) > _EXHAUSTIVE:
            effects = self.effects()
            ranks.sort(key=lambda k: (-round(effects[k], 9), k))
        free = set(ranks[:_EXHAUSTIVE])
        options = [c.neighbours() if k in free else (nearest[k],) for k, c in enumerate(self._choices)]
        self.look_through([nearest, tuple(o[0] for o in options), tuple(o[-1] for o in options)], surely=3)
        self.look_through(product(*options), surely=_SURELY)
        for _ in range(_ROUNDS):
            assert self.best is not None
            if max(self._off[:-1]) > _FAR:
                self._linear_beside(self.best[1])
                self._looks = len(self._seen) + _LOOKS_BESIDE
            if not self.look_through(self.moves(self.best[1]), surely=_SURELY_BESIDE):
                break
        assert self.best is not None
        return self.best[1]


def _no_step(name: str, rounding: str, measure: Measure) -> Caution:
    what = (
        f"No multiple of the scale's step ({measure.steps})"
        if rounding == "scale"
        else "No amount that can be measured"
    )
    return Caution(
        "no_step_within_limits",
        "warning",
        f"{what} lies within the limits of {name}: its amount is not rounded.",
        "arithmetic",
    )


def rounded_masses(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    targets: Sequence[TargetAsked],
    prefer: Sequence[Preference],
    circumstances: Circumstances,
    rounding: str,
    *,
    units: Sequence[str | None] | None = None,
    keep: Collection[int] = (),
) -> Rounded:
    """The measurable plan that misses the targets least; see the module's text.

    A given amount and whole packs stay as they are, one that the plan does not use stays unused unless a step of it
    saves a target, and one that has no measurable amount inside its limits stays unrounded, with a caution.

    Parameters: materials, sorted, with limits; masses_g, the plan before rounding, shape (n,) [g]; targets; prefer, in
    order; circumstances, whose instruments, system and end point are used; rounding, "none", "scale" or "kitchen";
    units, how the caller spelled each material's amounts, shape (n,), else the units of the additions' limits; keep,
    places of amounts that stay as they are.
    Returns: Rounded, amounts inside their limits.
    Validity: each amount ends at most one step beyond its measurable neighbours.
    """
    if rounding == "none":
        return Rounded(tuple(masses_g), (None,) * len(materials))
    if units is None:
        units = [m.source.unit if isinstance(m.source, AdditionAsked) else None for m in materials]
    measures = measures_for(materials, circumstances, rounding, units)
    choices: list[_Choice] = []
    unused: list[_Choice] = []
    cautions, used = [], []
    for at, (material, mass, measure) in enumerate(zip(materials, masses_g, measures, strict=True)):
        if material.fixed or material.whole_g is not None or at in keep:
            continue
        used.append(measure)
        lowest = measure.above(material.least_g)
        highest = inf if material.most_g is None else measure.below(material.most_g)
        if lowest > highest:
            cautions.append(_no_step(material.said, rounding, measure))
        else:
            (choices if mass > 0.0 else unused).append(_Choice(at, mass, measure, lowest, highest))
    ordered = sorted(targets, key=lambda t: t.name)
    masses = list(masses_g)
    texts: list[str | None] = [None] * len(materials)
    end_point, senses = circumstances.end_point_ph, circumstances.senses
    search = _Search(materials, masses_g, choices, ordered, prefer, end_point, senses)
    if choices and unused and _misses(ordered, search.values(search.run()), senses):
        # a step of what the plan does not use may still save it
        choices = sorted((*choices, *unused), key=lambda choice: choice.at)
        search = _Search(materials, masses_g, choices, ordered, prefer, end_point, senses)
    if choices:
        chosen = search.run()
        masses = search.all_masses(chosen)
        for choice, mass in zip(choices, chosen, strict=True):
            texts[choice.at] = choice.measure.words(mass) if mass > 0.0 else None
    reached = search.values([masses[c.at] for c in choices])
    return Rounded(
        tuple(masses),
        tuple(texts),
        tuple(cautions),
        _misses(ordered, reached, senses),
        tuple(assumed_steps(used)),
    )


def _misses(
    targets: Sequence[TargetAsked], values: Sequence[float | None], senses: Senses
) -> tuple[tuple[str, float], ...]:
    """The targets that are missed, and by how many noticeable steps."""
    steps = [
        (t.name, miss_steps(t, value, noticeable_step(t, senses))) for t, value in zip(targets, values, strict=False)
    ]
    return tuple((name, missed) for name, missed in steps if missed > 0.0)
