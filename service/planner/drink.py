"""A drink as the questions after the blend take it: by its figures, read or expected, or by the recipe it is made of.

Figures carry their 90 % interval, so that what follows can be told by its bad end: more sugar and less strength where
pressure counts, the line of a class where a label does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from service.catalogue.derived import fermentable_g_per_100g
from service.catalogue.records import Ingredient
from service.chemistry.energy import energy_kcal, energy_kj
from service.errors import InconsistentError, InputError, ServiceError
from service.model.contents import together
from service.model.lot_class import DRY_EXTRACT, Assumed
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.extract import litre_from_sg_and_abv
from service.physics.solutes import SUGARS, Component
from service.planner.answers import Predicted
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.evidence import assumed_in
from service.planner.materials import Material, materials_of
from service.planner.predict import predict
from service.planner.span import NORMAL_90 as NORMAL_90
from service.planner.span import Span as Span


@dataclass(frozen=True, slots=True)
class Held:
    """An ingredient that is in the drink: how much to the litre [g/L] where known, and how it was treated."""

    ingredient: Ingredient
    g_per_l: float | None
    treatment: str | None


@dataclass(frozen=True, slots=True)
class DrinkRead:
    """A drink by its figures, as asked: what is None was not given."""

    volume_l: Span | None
    gravity: Span | None
    abv_percent: Span | None
    sugar_g_per_l: Span | None = None
    fermentable_sugar_g_per_l: Span | None = None
    titratable_meq_per_l: float | None = None
    ph: Span | None = None
    juice_percent: float | None = None
    citrus_percent: float | None = None
    pectin_g_per_l: float | None = None
    protein_g_per_l: float | None = None
    free_so2_mg_per_l: float | None = None
    total_so2_mg_per_l: float | None = None
    sorbic_acid_mg_per_l: float | None = None
    holds: tuple[Held, ...] = ()


@dataclass(frozen=True, slots=True)
class Drink:
    """A drink with every figure that the questions after the blend need; what is None is not known.

    `masses_g_per_l` is its composition as far as known: of a recipe all of it, of figures alcohol, sugar as sucrose and
    acid as citric. `lots` are the liquids it is made of, `materials` all there is to say about the recipe.
    """

    volume_l: Span | None
    gravity: Span | None
    abv_percent: Span
    sugar_g_per_l: Span
    fermentable_sugar_g_per_l: Span
    masses_g_per_l: Mapping[Component, float]
    titratable_meq_per_l: float | None
    ph: Span | None
    juice_percent: float | None
    citrus_percent: float | None
    pectin_g_per_l: float | None
    protein_g_per_l: float | None
    free_so2_mg_per_l: float | None
    total_so2_mg_per_l: float | None
    sorbic_acid_mg_per_l: float | None
    holds: tuple[Held, ...]
    lots: tuple[LotAsked, ...]
    materials: tuple[Material, ...]
    predicted: Predicted | None
    assumed: tuple[Assumed, ...]

    @property
    def ethanol_g_per_l(self) -> float:
        """Alcohol by mass [g/L]."""
        return ETHANOL_DENSITY_20C_KG_M3 / 100.0 * self.abv_percent.value

    @property
    def energy_kcal_per_l(self) -> float:
        """Food energy by the factors of EU labels [kcal/L]."""
        return energy_kcal(self.masses_g_per_l)

    @property
    def energy_kj_per_l(self) -> float:
        """Food energy by the factors of EU labels [kJ/L]."""
        return energy_kj(self.masses_g_per_l)


_MEQ_PER_G_CITRIC: Final = 1000.0 / 64.04
_EXTRACT_STEP: Final = 1e-4

EXTRACT_BESIDES_SUGAR_G_PER_L: Final = 40.0
"""Most dry extract of a drink that is no sugar, apart from its acid and what its ingredients are known to bring (our
default: glycerol, minerals and proteins of a ferment stay well below it)."""
HELD_SHARE_SPARED: Final = 0.1
EXTRACT_SPARED_G_PER_L: Final = 100.0
"""By so much, and a tenth, stated sugar may exceed the whole extract by gravity and strength [g/L]: more sugar is the
careful side of a pressure, and beyond this a slip of the pen (our default)."""

HELD_SPARED_G_PER_L: Final = 5.0
"""By how much the sugar of what a drink holds may exceed the sugar stated: a tenth and 5 g/L (our default)."""
_TELL_SUGAR: Final = ("sugar_g_per_l", "fermentable_sugar_g_per_l")
_SUGAR_AND_LIQUID: Final = frozenset({*SUGARS, Component.WATER, Component.ETHANOL})
_ACIDS: Final = frozenset(
    {
        Component.CITRIC,
        Component.MALIC,
        Component.TARTARIC,
        Component.LACTIC,
        Component.QUINIC,
        Component.GLUCONIC,
        Component.FERMENT_ACIDS,
    }
)


def drink_from_figures(read: DrinkRead) -> Drink:
    """A drink by its figures; what the sugar is was read, or is taken as all the extract that gravity and strength
    leave: the careful side for pressure.

    Parameters: read.
    Returns: Drink.
    Raises: InputError where neither the strength nor what tells the sugar was given; InconsistentError where gravity
        and strength, or what the drink holds, tell of clearly more sugar than was stated.
    Validity: sugar is taken to be too little where the extract, by its lower end, exceeds it by more than
        EXTRACT_BESIDES_SUGAR_G_PER_L, or the sugars of what it holds by more than a tenth and 5 g/L.
    """
    if read.abv_percent is None:
        raise InputError("Say how strong the drink is (abv_percent).", "/abv_percent")
    assumed: list[Assumed] = []
    sugar = read.sugar_g_per_l or read.fermentable_sugar_g_per_l
    if sugar is None:
        if read.gravity is None:
            raise InputError("Give the sugar (sugar_g_per_l), or the gravity that tells it.", "/sugar_g_per_l")
        sugar = _extract(read.gravity, read.abv_percent)
        assumed.append(
            Assumed(
                "sugar of the drink",
                f"{sugar.value:.0f} g/L ({sugar.low:.0f} to {sugar.high:.0f})",
                "all the extract that gravity and strength leave, the careful side",
                "a recipe with its amounts, or a sugar test",
            )
        )
    fermentable = read.fermentable_sugar_g_per_l
    if fermentable is None:
        fermentable = sugar
        assumed.append(
            Assumed(
                "fermentable sugar of the drink",
                f"{sugar.value:.0f} g/L",
                "all of the sugar, the careful side",
                "a recipe with its amounts",
            )
        )
    if fermentable.value > sugar.value * 1.001 + 0.05:
        raise InputError("More sugar that yeast can use than sugar: check both.", "/fermentable_sugar_g_per_l")
    if fermentable.high > (1.0 + HELD_SHARE_SPARED) * sugar.high + HELD_SPARED_G_PER_L:
        raise InconsistentError(
            f"Up to {fermentable.high:.4g} g/L of sugar that yeast can use is more than all sugar may be, "
            f"{sugar.high:.4g}: check the ends of both.",
            "/fermentable_sugar_g_per_l",
        )
    _check_lightest(read)
    _check_sugar(read, sugar, fermentable)
    unused = sugar.low - fermentable.high
    if unused > HELD_SHARE_SPARED * sugar.high + HELD_SPARED_G_PER_L:
        assumed.append(
            Assumed(
                "fermentable sugar of the drink",
                f"{fermentable.value:.0f} of {sugar.value:.0f} g/L: yeast is taken to leave the rest",
                "the figure of the request, and nothing here bears it out",
                "a recipe with its amounts, or leave the sugar that yeast can use out: the careful side",
            )
        )
    masses = {
        Component.ETHANOL: ETHANOL_DENSITY_20C_KG_M3 / 100.0 * read.abv_percent.value,
        Component.SUCROSE: sugar.value,
    }
    if read.titratable_meq_per_l is not None:
        masses[Component.CITRIC] = read.titratable_meq_per_l / _MEQ_PER_G_CITRIC
    besides = ((Component.PECTIN, read.pectin_g_per_l), (Component.PROTEIN, read.protein_g_per_l))
    masses |= {component: mass for component, mass in besides if mass is not None}
    return Drink(
        read.volume_l,
        read.gravity,
        read.abv_percent,
        sugar,
        fermentable,
        masses,
        read.titratable_meq_per_l,
        read.ph,
        read.juice_percent,
        read.citrus_percent,
        read.pectin_g_per_l,
        read.protein_g_per_l,
        read.free_so2_mg_per_l,
        read.total_so2_mg_per_l,
        read.sorbic_acid_mg_per_l,
        read.holds,
        (),
        (),
        None,
        tuple(assumed),
    )


def _check_lightest(read: DrinkRead) -> None:
    """Whether a liquid of that strength can be so light: not lighter than alcohol and water alone."""
    if read.gravity is None or read.abv_percent is None:
        return
    try:
        extract = litre_from_sg_and_abv(read.gravity.high, read.abv_percent.value).get(Component.SUCROSE, 0.0)
    except ServiceError:
        return  # beyond the range of the rule, where no extract is told
    if extract < 0.0:
        raise InconsistentError(
            f"SG {read.gravity.value:.4g} is lighter than water with {read.abv_percent.value:.3g} % vol and nothing "
            "else in it: check gravity and strength.",
            "/gravity",
        )


def _check_sugar(read: DrinkRead, sugar: Span, fermentable: Span) -> None:
    """Whether the sugar stated fits what gravity and strength tell, and what the drink holds."""
    told_by = next((name for name in _TELL_SUGAR if getattr(read, name) is not None), "gravity")
    if told_by != "gravity" and read.gravity is not None and read.abv_percent is not None:
        try:
            extract = _extract(read.gravity, read.abv_percent)
        except ServiceError:
            extract = None  # no extract is told there
        if extract is not None and sugar.low > (1.0 + HELD_SHARE_SPARED) * extract.high + EXTRACT_SPARED_G_PER_L:
            raise InconsistentError(
                f"{sugar.value:.4g} g/L of sugar is far more than SG {read.gravity.value:.4g} at "
                f"{read.abv_percent.value:.3g} % vol has room for: about {extract.value:.0f} g/L of extract in all. "
                "Check gravity, strength and sugar.",
                f"/{told_by}",
            )
    if unexplained_extract_g_per_l(read, sugar) > 0.0:
        assert read.gravity is not None
        assert read.abv_percent is not None
        raise InconsistentError(
            f"SG {read.gravity.value:.4g} at {read.abv_percent.value:.3g} % vol leaves far more extract than "
            f"{sugar.high:.3g} g/L of sugar explain: about {_extract(read.gravity, read.abv_percent).value:.0f} g/L. "
            f"Check gravity, strength and sugar, or leave the sugar out ({told_by}): then the extract counts as sugar.",
            f"/{told_by}",
        )
    checked = (("sugar", sugar, told_by), ("sugar that yeast can use", fermentable, "fermentable_sugar_g_per_l"))
    for (what, stated, name), brought in zip(checked, held_sugars_g_per_l(read.holds), strict=True):
        if getattr(read, name) is not None and too_much_held(brought, stated):
            by = "gravity and strength tell" if name == "gravity" else "the sugar stated tells"
            raise InconsistentError(
                f"What the drink holds brings {brought:.0f} g/L of {what}, and {by} of {stated.high:.3g}. State under "
                "holds what is in it now, not what was fermented, or correct the other.",
                f"/{name}",
            )


def unexplained_extract_g_per_l(read: DrinkRead, sugar: Span) -> float:
    """Extract by gravity and strength, at its lower end, beyond what can be sugar or something else [g/L].

    What is not sugar: that of the ingredients, the acid of the titration (or of the ingredients where that is more),
    and EXTRACT_BESIDES_SUGAR_G_PER_L.

    Parameters: read; sugar, all of it.
    Returns: extract that nothing explains [g/L], negative where there is none.
    Validity: negative too where gravity or strength were not given, or are such that no extract can be told.
    """
    if read.gravity is None or read.abv_percent is None:
        return -sugar.high
    try:
        extract = _extract(read.gravity, read.abv_percent).low
    except ServiceError:
        return -sugar.high
    titrated = 0.0 if read.titratable_meq_per_l is None else read.titratable_meq_per_l / _MEQ_PER_G_CITRIC
    acid = others = 0.0
    for held in read.holds:
        for component, grams in held.ingredient.composition.items():
            brought = (held.g_per_l or 0.0) * grams / 100.0
            if component in _ACIDS:
                acid += brought
            elif component not in _SUGAR_AND_LIQUID:
                others += brought
    return extract - sugar.high - others - max(titrated, acid) - EXTRACT_BESIDES_SUGAR_G_PER_L


def held_sugars_g_per_l(holds: Sequence[Held]) -> tuple[float, float]:
    """All sugar, and sugar that yeast can use, of what a drink holds, by the rows of the ingredients [g/L].

    >>> from service.catalogue.lookup import get_ingredient
    >>> [round(sugar) for sugar in held_sugars_g_per_l([Held(get_ingredient("sugar_white"), 90.0, None)])]
    [90, 90]
    """
    told = [(held.ingredient, held.g_per_l / 100.0) for held in holds if held.g_per_l is not None]
    return (
        sum(share * ingredient.grams(sugar) for ingredient, share in told for sugar in SUGARS),
        sum(share * fermentable_g_per_100g(ingredient).typical for ingredient, share in told),
    )


def too_much_held(brought_g_per_l: float, stated: Span) -> bool:
    """Whether what a drink holds brings clearly more sugar than was stated: by more than a tenth and 5 g/L."""
    return brought_g_per_l > stated.high * (1.0 + HELD_SHARE_SPARED) + HELD_SPARED_G_PER_L


def _extract(gravity: Span, abv: Span) -> Span:
    """Sugar that would account for a gravity and a strength [g/L], with first-order ends."""

    def at(sg: float, strength: float) -> float:
        try:
            return litre_from_sg_and_abv(sg, strength).get(Component.SUCROSE, 0.0)
        except ServiceError as error:
            raise error.below("/gravity") from error

    value = at(gravity.value, abv.value)
    by_gravity = (at(gravity.value + _EXTRACT_STEP, abv.value) - value) / _EXTRACT_STEP
    by_strength = (at(gravity.value, abv.value + 0.01) - value) / 0.01
    down = hypot(by_gravity * (gravity.value - gravity.low), by_strength * (abv.high - abv.value))
    up = hypot(by_gravity * (gravity.high - gravity.value), by_strength * (abv.value - abv.low))
    return Span(max(value, 0.0), max(value - down, 0.0), max(value + up, 0.0))


def drink_from_recipe(
    lots: Sequence[LotAsked],
    additions: Sequence[AdditionAsked],
    circumstances: Circumstances,
    besides: DrinkRead | None = None,
) -> Drink:
    """A drink by what is poured together, every amount given.

    Parameters: lots; additions; circumstances; besides, what is known of the drink that no recipe tells (sulfite,
        sorbic acid).
    Returns: Drink, its figures predicted with their 90 % intervals.
    Raises: InputError where nothing is poured.
    """
    materials = materials_of(lots, additions)
    masses_g = [m.least_g for m in materials]
    contents = together([m.per_g for m in materials], masses_g)
    if contents.mass_g <= 0.0:
        raise InputError("A recipe of nothing is no drink: give lots or additions with their amounts.", "/lots")
    predicted = predict(materials, masses_g, circumstances)
    litres = contents.volume_ml / 1000.0

    def span(name: str) -> Span:
        told = getattr(predicted, name)
        return Span(told.value, told.low, told.high)

    per_l = {component: mass / litres for component, mass in contents.masses_g.items()}
    held = tuple(
        Held(m.source.ingredient, g / litres, m.source.treatment)
        for m, g in zip(materials, masses_g, strict=True)
        if isinstance(m.source, AdditionAsked) and g > 0.0
    )
    known = DrinkRead(None, None, None) if besides is None else besides
    return Drink(
        span("volume"),
        span("gravity"),
        span("abv_percent"),
        span("sugar_g_per_l"),
        span("fermentable_sugar_g_per_l"),
        per_l,
        predicted.titratable_acidity.meq_per_l,
        None if predicted.ph is None else span("ph"),
        predicted.juice_percent.value,
        predicted.citrus_percent.value,
        per_l.get(Component.PECTIN, 0.0),
        per_l.get(Component.PROTEIN, 0.0),
        known.free_so2_mg_per_l,
        known.total_so2_mg_per_l,
        known.sorbic_acid_mg_per_l,
        held,
        tuple(lots),
        materials,
        predicted,
        assumed_in(materials, circumstances),
    )


def fermented(drink: Drink) -> bool:
    """Whether the drink holds a ferment, in which yeast can have stayed alive."""
    if not drink.lots:
        return drink.abv_percent.value > 0.0
    return any(lot.lot.lot_class in DRY_EXTRACT for lot in drink.lots)
