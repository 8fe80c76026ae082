"""Questions with one number for an answer: what a spreadsheet cell asks."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import floor, inf

from service.catalogue.loader import ingredients
from service.errors import InputError, ServiceError
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.physics.roots import root_between
from service.planner.acidity_cautions import of_an_ingredient
from service.planner.answers import Caution
from service.planner.answers_blend import BlendForecast, BlendPlan
from service.planner.asked import (
    AdditionAsked,
    Circumstances,
    ForecastAsked,
    LotAsked,
    PlanAsked,
    RecipeAsked,
    TargetAsked,
)
from service.planner.blend_forecast import forecast_blend
from service.planner.blend_plan import solve_blend
from service.planner.intervals import spreads_of
from service.planner.materials import Material, materials_of, poured
from service.planner.plain_words import in_plain_words, plain_property, target_in_words
from service.planner.predict import value_of

_AT_THE_VALUE = 2e-5
"""A single number has to hit its target itself, not only the instrument's half step around it (relative)."""


_FEW, _WIDER, _MOST_LOTS = 1e-5, 1.5, 1000.0
"""Of a lot's mass: an amount that changes little, and the most that is looked at; by what the search widens."""

_CLOSE = 1e-6


@dataclass(frozen=True, slots=True)
class Answer:
    """One number, a sentence that explains it, and the cautions that go with it.

    `low` and `high` are the ends of what the number may be; None where there is no such end, or none was worked out.
    `unit` is the unit of all three: a spelling that a quantity takes, or a scale such as "SG 20/20".
    """

    value: float
    sentence: str
    cautions: tuple[Caution, ...] = ()
    assumed: tuple[Assumed, ...] = ()
    low: float | None = None
    high: float | None = None
    unit: str = ""


def amount_for(
    target: TargetAsked, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances
) -> tuple[float, BlendPlan]:
    """The mass of one ingredient that brings a lot to a target [g], and the plan behind it.

    Raises: InputError where no amount of it does, saying what it does reach.
    """
    plan = _plan(target, lot, addition, circumstances)
    aimed, reached = target.value, plan.targets[0].reached
    met = plan.outcome == "targets_met" and reached is not None
    if met and aimed is not None:
        shown = 0.5 * 10.0 ** -(PROPERTIES[target.name].decimals + 1)  # what is told as reached is rounded so
        met = abs((reached or 0.0) - aimed) <= _AT_THE_VALUE * max(1.0, abs(aimed)) + shown
    if not met:
        raise _out_of_reach(target, addition, reached)
    return _added_g(plan), plan


def packs_for(
    target: TargetAsked, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances
) -> tuple[float, BlendPlan]:
    """The number of packs of one ingredient that brings a lot nearest to a target, and the plan behind it.

    Parameters: target, an exact one; lot; addition, which comes in packs, their number left open; circumstances.
    Returns: the number, whole or in halves, and the plan with it. It counts as met where the packs that stay whole
        are within the target's own tolerance.
    Raises: InputError where no amount of it reaches the target, packs opened or not.
    """
    assert addition.pack_g is not None
    part_g = addition.whole_g or addition.pack_g
    plan = _plan(target, lot, addition, circumstances)
    found = round(_added_g(plan) / part_g)
    if plan.outcome in ("targets_met", "nearest_measurable"):
        return found * part_g / addition.pack_g, _without_proposals(plan)
    if plan.outcome == "targets_clash":
        raise _out_of_reach(target, addition, plan.targets[0].reached)
    # the search proves nothing about pH and acidity: the nearer one of the counts on both sides of the amount itself
    aimed = target.low if target.value is None else target.value
    mass_g, _ = amount_for(target, lot, replace(addition, pack_g=None, whole_g=None), circumstances)
    drink = _Ends(target.name, lot, addition, circumstances)

    def miss(count: int) -> float:
        try:
            return abs(drink.value(count * part_g) - aimed)
        except ServiceError:  # not defined with so much of it
            return inf

    fewer = floor(mass_g / part_g)
    count = min((fewer, fewer + 1), key=miss)
    if found != count:
        fixed = replace(addition, least_g=count * part_g, most_g=count * part_g)
        plan = _plan(target, lot, fixed, circumstances)
    return count * part_g / addition.pack_g, _without_proposals(plan)


def _plan(target: TargetAsked, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances) -> BlendPlan:
    plan = solve_blend(PlanAsked((lot,), (addition,), (target,), (), "none", circumstances))
    if plan.proof.verdict == "best_found" and any(c.code == "amount_without_limit" for c in plan.cautions):
        raise InputError(
            f"No amount of {in_plain_words(addition.ingredient.id)}, up to a thousand times the lot, brings it there.",
            "/target",
        )
    return plan


def _without_proposals(plan: BlendPlan) -> BlendPlan:
    """The plan without the cautions about other ingredients, which it proposes where packs miss the target."""
    proposed = [] if plan.clash is None else [helpful.ingredient for helpful in plan.clash.helpful_ingredients]
    others = {c for name in proposed for c in of_an_ingredient(in_plain_words(name), ingredients()[name])}
    return replace(plan, cautions=tuple(c for c in plan.cautions if c not in others))


def _added_g(plan: BlendPlan) -> float:
    return next(a.mass_g for a in plan.amounts if a.kind == "addition")


def _out_of_reach(target: TargetAsked, addition: AdditionAsked, reached: float | None) -> InputError:
    nearest = "none comes near" if reached is None else f"the nearest is {reached:g}"
    return InputError(
        f"No amount of {in_plain_words(addition.ingredient.id)} brings this lot to {target_in_words(target)}: "
        f"{nearest}. Choose another ingredient or another target.",
        "/target",
    )


def amount_interval(
    target: TargetAsked, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances, mass_g: float
) -> tuple[float, float | None]:
    """The amounts that would bring a lot to a target, were the true drink at either end of its 90 % interval.

    Where an amount m gives a drink between a(m) and b(m), the two solve a(m) = target and b(m) = target: between them
    lie the amounts for which the target is inside the interval.

    Parameters: target, an exact one; lot; addition; circumstances, whose instruments count; mass_g, the amount that the
        plan's own figures ask for [g].
    Returns: the smaller and the larger amount [g]; 0 where the lot may be at the target already, and None for the
        larger where no amount up to a thousand times the lot is certain to reach it.
    Validity: as that of the intervals (`service.planner.intervals`), first order in what is not known.
    """
    aimed = target.low if target.value is None else target.value
    between = _Ends(target.name, lot, addition, circumstances)
    at_none, (low, high) = between.value(0.0), between.ends(0.0)
    few_g = _FEW * between.lot_g
    rises = at_none < aimed if mass_g > few_g else between.value(few_g) > at_none
    # the end of the drink's interval that lies behind asks for more, the one that lies ahead for less
    behind, ahead = (0, 1) if rises else (1, 0)
    there = low if ahead == 0 else high
    less = 0.0
    if mass_g > 0.0 and (there < aimed) is rises:
        less = root_between(lambda m: between.ends(m)[ahead] - aimed, 0.0, mass_g, tolerance=_CLOSE)
    lower, upper = mass_g, max(mass_g, few_g)
    while upper <= _MOST_LOTS * between.lot_g:
        upper *= _WIDER
        try:
            reached = (between.ends(upper)[behind] < aimed) is not rises
        except ServiceError:
            break
        if reached:
            more = root_between(lambda m: between.ends(m)[behind] - aimed, lower, upper, tolerance=_CLOSE)
            return min(less, mass_g), max(more, mass_g)
        lower = upper
    return min(less, mass_g), None


@dataclass(frozen=True, slots=True)
class _Ends:
    """A property of a lot with some grams of an addition in it, and the ends of its interval."""

    name: str
    lot: LotAsked
    addition: AdditionAsked
    circumstances: Circumstances

    @property
    def lot_g(self) -> float:
        return self.lot.lot.contents.mass_g

    def _masses(self, mass_g: float) -> tuple[tuple[Material, ...], list[float]]:
        materials = tuple(materials_of((self.lot,), (self.addition,)))
        return materials, [self.lot_g if m.kind == "lot" else mass_g for m in materials]

    def value(self, mass_g: float) -> float:
        materials, masses = self._masses(mass_g)
        where = self.circumstances
        value = value_of(self.name, materials, masses, poured(materials, masses), where.end_point_ph, where.senses)
        if value is None:
            of = in_plain_words(self.addition.ingredient.id)
            raise InputError(f"The {plain_property(self.name)} is not defined with {mass_g:.4g} g of {of}.")
        return value

    def ends(self, mass_g: float) -> tuple[float, float]:
        value = self.value(mass_g)
        interval = spreads_of(*self._masses(mass_g), self.circumstances).interval(self.name, value)
        return min(interval.low, value), max(interval.high, value)


def property_after(
    name: str, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances
) -> tuple[float, BlendForecast]:
    """A property of a lot after a given addition, and the forecast behind it."""
    forecast = forecast_blend(ForecastAsked((RecipeAsked("cell", (lot,), (addition,)),), circumstances))
    prediction = getattr(forecast.recipes[0].predicted, name)
    if prediction is None:
        raise InputError(
            f"The {plain_property(name)} is not defined for this blend: it holds no acid, or more carbonate than acid.",
            "/amount",
        )
    return float(prediction.value), forecast
