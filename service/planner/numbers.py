"""From materials and targets to the solver's problem, and back.

Everything is divided by a reference volume, the lots' or the target's, so that the solver sees numbers of order one
and a batch k times as large is the same problem.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log

from service.errors import InputError
from service.model.contents import Contents, together
from service.model.properties import ACID_AS_CITRIC, PROPERTIES, TOTAL_MASS, Of, Per, Property, dot
from service.physics.ethanol_water import (
    ETHANOL_DENSITY_20C_KG_M3,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.mixture import WATER_G_PER_ML
from service.planner.asked import Preference, TargetAsked
from service.planner.materials import Material
from service.solver.goals import Goal
from service.solver.problem import Aim, Form, Problem, Ratio, Row

_DENSEST_KG_PER_L = 1.75
"""No solid takes less room in solution than 1/1.75 L per kg (citric acid, 0.594 mL/g): bounds amounts by volume."""

_BOUNDLESS = 1000.0
"""An addition without any limit is searched up to this many kilograms per litre of reference volume."""

_SOME_DRINK, _LIQUID, _SOME_ACID = "some drink", "a liquid", "some acid"
GUARDS = {_SOME_DRINK, _SOME_ACID}
"""Rows of our own that keep divisors above zero; an optimum that rests on one proves nothing."""

_MOST_SOLIDS = 0.899
"""Share of solids in solids + water, a little inside the range of the volume rule."""

_SOME_VOLUME = 1e-3
_SOME_ACID_G = 1e-6


@dataclass(frozen=True, slots=True)
class Numbers:
    """A problem in the solver's terms; column j is the mass of `free[j]` in kilograms per litre of `litres`."""

    problem: Problem
    goals: tuple[Goal, ...]
    start: tuple[float, ...]
    materials: tuple[Material, ...]
    free: tuple[int, ...]
    litres: float
    boundless: tuple[int, ...]

    def masses_g(self, x: Sequence[float]) -> list[float]:
        """The mass of every material at a point of the solver."""
        masses = [m.least_g for m in self.materials]
        for value, at in zip(x, self.free, strict=True):
            masses[at] = value * 1000.0 * self.litres
        return masses


def _reference_litres(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> float:
    lots = [m for m in materials if m.kind == "lot" and m.density_g_ml]
    poured = sum((m.most_g or 0.0) / (m.density_g_ml or 1.0) for m in lots) / 1000.0
    if poured > 0.0:
        return poured
    if lots:
        raise InputError("None of the lots may be used: raise a lot's use.max above zero.", "/lots")
    for target in targets:
        if target.name == "volume":
            litres = target.high if target.high < inf else target.low
            if litres > 0.0:
                return litres
            raise InputError("A drink has a volume above zero.", "/targets/volume")
    raise InputError("Without a lot, a target for the volume has to say how much to make.", "/targets/volume")


def scale_is_free(materials: Sequence[Material], targets: Sequence[TargetAsked]) -> bool:
    """Whether nothing says how much to make: lots could shrink towards nothing without missing a target."""
    if any(m.least_g > 0.0 for m in materials if m.kind == "lot"):
        return False
    return not any(PROPERTIES[t.name].per is Per.ONE and t.low > 0.0 for t in targets)


def _form(weights: Sequence[float], fixed: Contents, columns: Sequence[Contents]) -> Form:
    row = tuple(weights)
    return Form(dot(row, fixed), tuple(dot(row, c) for c in columns))


def _likely_state(targets: Sequence[TargetAsked], fallback: tuple[float, ...]) -> tuple[float, ...]:
    """Volume sums of a litre at the middle of the gravity and strength asked for.

    A place to start the search: the round figures in it (a dry drink four fifths liquor, solids like sugar with a
    little acid) move no answer.
    """
    middle = {}
    for target in targets:
        if target.name in ("gravity", "abv_percent"):
            ends = [v for v in (target.low, target.high) if abs(v) < inf]
            middle[target.name] = target.value if target.value is not None else sum(ends) / len(ends)
    if "gravity" not in middle or not 0.0 <= middle.get("abv_percent", 0.0) <= 100.0:
        return fallback
    if "abv_percent" not in middle:
        whole = fallback[0] + fallback[1]
        abv = 100.0 * fallback[1] / whole / 0.8 if whole else 0.0
    else:
        abv = middle["abv_percent"]
    abv = min(abv, 96.0)
    mass = middle["gravity"] * WATER_G_PER_ML
    liquor = ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(abv)) / 1000.0
    solids = max((mass - liquor) / 0.385, 1e-4)
    ethanol = abv * ETHANOL_DENSITY_20C_KG_M3 / 1e5
    water = mass - ethanol - solids
    if water <= 0.2 * solids:
        return fallback
    return (water, ethanol, solids, 0.95 * solids, 0.03 * solids, 0.006 * solids, 0.0)


class _Builder:
    """Ratios of properties over the free materials."""

    def __init__(self, materials: Sequence[Material], free: Sequence[int], litres: float) -> None:
        self.materials = materials
        self.free = free
        self.litres = litres
        held = [m.per_g.scaled(m.least_g / (1000.0 * litres)) for i, m in enumerate(materials) if i not in free]
        self.fixed = together(held)
        self.columns = [materials[i].per_g for i in free]
        self.volume = Form(0.0, (0.0,) * len(free), 1.0)
        self.mass = _form(TOTAL_MASS, self.fixed, self.columns)
        self.acid = _form(ACID_AS_CITRIC, self.fixed, self.columns)

    def _over_added(self, per_kg: Sequence[float | None], what: str, pointer: str) -> Form:
        """A sum over what is added, from a figure for each kilogram of every material; `what` says one is missing."""
        constant, coefficients = 0.0, []
        for i, (material, share) in enumerate(zip(self.materials, per_kg, strict=True)):
            counts = material.kind == "addition"
            if counts and share is None and (material.most_g is None or material.most_g > 0.0):
                raise InputError(what.format(material.name), pointer)
            value = (share or 0.0) if counts else 0.0
            if i in self.free:
                coefficients.append(value)
            else:
                constant += value * material.least_g / (1000.0 * self.litres)
        return Form(constant, tuple(coefficients))

    def ratio(self, law: Property, pointer: str) -> Ratio:
        """The ratio whose value is the property, in its unit; `pointer` is where it was asked for."""
        if law.of is Of.VOLUME:
            return Ratio(self.volume.scaled(self.litres))
        if law.of is Of.ADDED_MASS:
            return Ratio(self._over_added([1000.0] * len(self.materials), "", pointer).scaled(self.litres))
        if law.of is Of.ADDED_VOLUME:
            per_kg = [None if m.density_g_ml is None else 1.0 / m.density_g_ml for m in self.materials]
            dry = "{} is a dry solid without a volume of its own: ask about added_mass instead of added_volume."
            return Ratio(self._over_added(per_kg, dry, pointer).scaled(self.litres))
        if law.of is Of.COST:
            prices = [None if m.price_per_g is None else 1000.0 * m.price_per_g for m in self.materials]
            unpriced = "{} has no price: give one, or leave the cost out of the question."
            return Ratio(self._over_added(prices, unpriced, pointer).scaled(self.litres))
        top = _form(law.weights, self.fixed, self.columns)
        if law.per is Per.VOLUME:
            return Ratio(top.scaled(1000.0), self.volume)
        if law.per is Per.MASS:
            return Ratio(top, self.mass)
        if self.acid.constant <= 0.0 and all(a <= 0.0 for a in self.acid.coefficients):
            raise InputError("Nothing in this blend brings acid, so it has no ratio of sugar to acid.", pointer)
        return Ratio(top, self.acid)

    def guards(self, uses_acid: bool) -> tuple[Row, ...]:
        """Rows that always hold: some drink, liquid (solids dissolve), some acid where a ratio to it was asked for."""
        sums, columns = self.fixed.sums, [c.sums for c in self.columns]
        liquid = Form(
            _MOST_SOLIDS * sums[0] - (1.0 - _MOST_SOLIDS) * sums[2],
            tuple(_MOST_SOLIDS * c[0] - (1.0 - _MOST_SOLIDS) * c[2] for c in columns),
        )
        rows = [Row(_SOME_DRINK, self.volume, lower=_SOME_VOLUME), Row(_LIQUID, liquid, lower=0.0)]
        if uses_acid:
            rows.append(Row(_SOME_ACID, self.acid, lower=_SOME_ACID_G))
        return tuple(rows)

    def aim(self, preference: Preference, pointer: str) -> Aim:
        """A preference as something to minimise, scaled to the reference volume."""
        law = PROPERTIES[preference.name]
        ratio = self.ratio(law, pointer)
        factor = -1.0 if preference.maximise else 1.0
        if law.per is Per.ONE:
            factor /= self.litres * (1000.0 if law.of is Of.ADDED_MASS else 1.0)
        return Aim((Ratio(ratio.numerator.scaled(factor), ratio.denominator),))

    def tie_breakers(self) -> tuple[Aim, Aim]:
        """Least added mass, then the names: an earlier one is preferred to a later one."""
        added = tuple(float(self.materials[i].kind == "addition") for i in self.free)
        order = sorted(range(len(self.free)), key=lambda j: self.materials[self.free[j]].name)
        rank = [0.0] * len(self.free)
        for k, j in enumerate(order):
            rank[j] = log(2.0 + k)  # increasing, and no two sums of them are equal by chance
        return Aim((Ratio(Form(0.0, added)),)), Aim((Ratio(Form(0.0, tuple(rank))),))


def numbers_from(
    materials: Sequence[Material], targets: Sequence[TargetAsked], prefer: Sequence[Preference]
) -> Numbers:
    """The solver's problem for some materials, targets and preferences.

    Parameters: materials, sorted; targets; prefer, in order.
    Returns: Numbers.
    Raises: InputError where a preference needs a price or a volume that a material lacks.
    """
    litres = _reference_litres(materials, targets)
    unscaled = scale_is_free(materials, targets)
    shrinking = next((p.name for p in prefer if PROPERTIES[p.name].per is Per.ONE and not p.maximise), None)
    if unscaled and shrinking is not None:
        raise InputError(
            f"Least {shrinking} of nothing is nothing: say how much to make by a target for the volume.",
            "/targets/volume",
        )
    free = tuple(i for i, m in enumerate(materials) if not m.fixed)
    builder = _Builder(materials, free, litres)
    floor_l = max((t.low for t in targets if t.name == "volume"), default=0.0)
    lower, upper, boundless = [], [], []
    for j, i in enumerate(free):
        material = materials[i]
        least = material.least_g / (1000.0 * litres)
        most = inf if material.most_g is None else material.most_g / (1000.0 * litres)
        searched = max(_BOUNDLESS, 2.0 * _DENSEST_KG_PER_L * floor_l / litres, least)
        if most > searched:
            most = searched
            boundless.append(j)
        lower.append(least)
        upper.append(most)
    asked = {*(t.name for t in targets), *(p.name for p in prefer)}
    problem = Problem(
        tuple(lower),
        tuple(upper),
        builder.fixed.sums,
        tuple(c.sums for c in builder.columns),
        builder.guards(any(PROPERTIES[name].per is Per.ACID for name in asked)),
        (
            *(builder.aim(p, f"/prefer/{i}") for i, p in enumerate(prefer)),
            *((Aim((Ratio(builder.volume.scaled(-1.0)),)),) if unscaled else ()),
            *builder.tie_breakers(),
        ),
    )
    goals = []
    for target in targets:
        law = PROPERTIES[target.name]
        ends = [abs(v) for v in (target.low, target.high) if abs(v) < inf]
        size = abs(target.value) if target.value is not None else max(ends)
        goals.append(
            Goal(
                target.name,
                builder.ratio(law, f"/targets/{target.name}"),
                target.low,
                target.high,
                target.value,
                law.step(size),
                target.priority,
            )
        )
    fallback = builder.fixed.sums if builder.fixed.sums[0] > 0.0 else (0.9, 0.05, 0.08, 0.08, 0.0, 0.0005, 0.0)
    return Numbers(
        problem,
        tuple(sorted(goals, key=lambda g: g.name)),
        _likely_state(targets, fallback),
        tuple(materials),
        free,
        litres,
        tuple(boundless),
    )
