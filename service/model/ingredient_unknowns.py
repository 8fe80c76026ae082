"""How far a lot of an ingredient may lie from its record: Brix, acidity, pH, and what is never measured.

Brix scales all solids but the acids; acidity and pH are drawn beside it. More acid at the same Brix is less sugar.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from math import inf

from service.catalogue.acidity import acids_per_kg
from service.catalogue.derived import fermentable_g_per_100g
from service.catalogue.loader import ingredients
from service.catalogue.overrides import PHOSPHATE_MEQ_PER_KG_PER_MG_PER_100G
from service.catalogue.records import Category, Ingredient, JuiceBasis, Spread
from service.chemistry.acid_state import NO_ACID, AcidState
from service.chemistry.acids import ACID_OF_COMPONENT, meq_per_kg_from_citric_g_per_100g
from service.model.contents import Contents, contents_per_g
from service.model.unknowns import Unknown
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import SUGARS, Component

HONEY_GLUCOSE_SD_G_PER_100G = 3.04
"""Lot-to-lot standard deviation of glucose in honey: J. W. White Jr, J. Assoc. Off. Anal. Chem. 63 (1980) 11."""

SPIRIT_SD_PERCENT = 0.15
"""Standard deviation of a labelled strength [% vol]: half of the 0.3 that Regulation (EU) No 1169/2011, Annex XII, lets
a label be off by (from memory)."""

_LIQUID = (Component.WATER, Component.ETHANOL)
_HOW = {
    Category.HONEY: "read its moisture",
    Category.SPIRIT: "measure its strength",
}


def unknowns_per_g(ingredient: Ingredient) -> tuple[Unknown, ...]:
    """The unknowns of a gram of ingredient.

    Parameters: ingredient of the catalogue, as measured, or described by the caller (which has no spread).
    Returns: unknowns, independent of each other.
    Validity: limits of the table are plausible limits of a lot, not quantiles: nothing lies outside them.
    Source: spreads of the row; a missing standard deviation is a quarter of the limits (our default).

    Example: a honey's moisture varies by 1.46 % (J. W. White Jr et al., USDA Technical Bulletin 1261, 1962).

    >>> from service.catalogue.lookup import get_ingredient
    >>> solids = unknowns_per_g(get_ingredient("honey"))[0]
    >>> solids.what, round(-100 * solids.shift[0], 2)
    ('solids', 1.46)
    """
    if ingredients().get(ingredient.id) is ingredient:
        return _of_row(ingredient.id)
    return tuple(_unknowns(ingredient))


@cache
def _of_row(ingredient_id: str) -> tuple[Unknown, ...]:
    return tuple(_unknowns(ingredients()[ingredient_id]))


def _limits(spread: Spread, sd: float) -> tuple[float, float]:
    low = -inf if spread.low is None else min((spread.low - spread.typical) / sd, 0.0)
    high = inf if spread.high is None else max((spread.high - spread.typical) / sd, 0.0)
    return low, high


def _while_there_is_acid(state: AcidState, shift: AcidState, low: float, high: float) -> tuple[float, float]:
    """Limits within which no acid falls below nothing: where nearly all of one is neutralised, shifts are large."""
    for acid, change in zip(state.acids_mmol, shift.acids_mmol, strict=True):
        if change > 0.0:
            low = max(low, -acid / change)
        elif change < 0.0:
            high = min(high, -acid / change)
    return low, high


def _unknowns(ingredient: Ingredient) -> Iterator[Unknown]:
    whole = contents_per_g(ingredient)
    acids = acids_per_kg(ingredient)
    shifts = {what: shift.scaled(1e-3) for what, shift in acids.spread}
    if ingredient.category is Category.SPIRIT:
        yield _strength(whole)
        return
    brix, ta, ph = ingredient.brix, ingredient.ta_g_citric_per_100g, ingredient.ph
    if brix is not None and (sd := brix.deviation()) > 0.0:
        yield Unknown(
            "solids",
            _solids(ingredient, whole, sd / brix.typical).vector,
            0.0,
            *_limits(brix, sd),
            _HOW.get(ingredient.category, "read its Brix"),
        )
    if ta is not None and (sd := ta.deviation()) > 0.0:
        state = shifts.get("acidity", NO_ACID)
        if ingredient.category in (Category.ACID, Category.SALT):
            state = whole.acids.scaled(sd / ta.typical)
        shift = _acidity(ingredient, whole, sd / ta.typical, state)
        yield Unknown("acidity", shift.vector, 0.0, *_limits(ta, sd), "titrate it")
    if ph is not None and "pH" in shifts:
        limits = _while_there_is_acid(whole.acids, shifts["pH"], *_limits(ph, ph.deviation()))
        yield Unknown("pH", Contents.of({}, acids=shifts["pH"]).vector, 0.0, *limits, "read it")
    if ingredient.alkalinity_meq_per_l is not None and "alkalinity" in shifts:
        alkalinity = ingredient.alkalinity_meq_per_l
        yield Unknown(
            "alkalinity",
            Contents.of({}, acids=shifts["alkalinity"]).vector,
            0.0,
            *_limits(alkalinity, alkalinity.deviation()),
            "see the local water report",
        )
    if ingredient.category is Category.HONEY:
        yield from _honey(ingredient)


def _solids(ingredient: Ingredient, whole: Contents, share: float) -> Contents:
    """More solids by a share of all of them; the acids stay, so the sugars take their part."""
    masses = ingredient.composition
    sugars = sum(masses.get(c, 0.0) for c in SUGARS)
    acids = sum(masses.get(c, 0.0) for c in ACID_OF_COMPONENT)
    on_sugar = share * (1.0 + acids / sugars) if sugars > 0.0 else share
    shift: dict[Component, float] = {}
    for component, mass in masses.items():
        if component in _LIQUID or (component in ACID_OF_COMPONENT and sugars > 0.0):
            continue
        shift[component] = mass / 100.0 * (on_sugar if component in SUGARS else share)
    shift[Component.WATER] = -sum(shift.values())
    by_brix = ingredient.juice_basis is JuiceBasis.BRIX and ingredient.category is not Category.JUICE
    juice = share if by_brix else 0.0
    return Contents.of(
        shift,
        fermentable_g=on_sugar * whole.tally("fermentable_g"),
        juice_ml=juice * whole.tally("juice_ml"),
        citrus_juice_ml=juice * whole.tally("citrus_juice_ml"),
    )


def _acidity(ingredient: Ingredient, whole: Contents, share: float, state: AcidState) -> Contents:
    """More acid by a share of the titration, in the place of sugar where there is enough of it, else of water."""
    masses = ingredient.composition
    own = share * _titrated_share(ingredient, whole)
    shift = {c: own * masses[c] / 100.0 for c in ACID_OF_COMPONENT if c in masses}
    displaced = sum(shift.values())
    sugars: Mapping[Component, float] = {c: masses[c] / 100.0 for c in SUGARS if c in masses}
    sugar = sum(sugars.values())
    gives_way = ingredient.brix is not None and sugar > 2.0 * displaced
    fermentable = 0.0
    if gives_way:
        for component, mass in sugars.items():
            shift[component] = -displaced * mass / sugar
        fermentable = -displaced / sugar * whole.tally("fermentable_g")
    else:
        shift[Component.WATER] = -displaced
    by_acid = ingredient.juice_basis is JuiceBasis.CITRIC_PERCENT and ingredient.category is not Category.JUICE
    juice = share if by_acid else 0.0
    return Contents.of(
        shift,
        acids=state,
        fermentable_g=fermentable,
        juice_ml=juice * whole.tally("juice_ml"),
        citrus_juice_ml=juice * whole.tally("citrus_juice_ml"),
    )


def _titrated_share(ingredient: Ingredient, whole: Contents) -> float:
    """What of the acids a titration finds; the rest is neutralised, and does not grow with it."""
    ta = ingredient.ta_g_citric_per_100g
    assert ta is not None
    titrated = meq_per_kg_from_citric_g_per_100g(ta.typical)
    phosphate = PHOSPHATE_MEQ_PER_KG_PER_MG_PER_100G * (ingredient.minerals.phosphorus_mg_per_100g or 0.0)
    neutralised = 1000.0 * whole.acids.sid_meq - phosphate
    return titrated / (titrated + neutralised) if titrated + neutralised > 0.0 else 1.0


def _honey(ingredient: Ingredient) -> Iterator[Unknown]:
    """What is not measured of a honey: the split of its sugars, and what of the higher ones yeast can use."""
    split = HONEY_GLUCOSE_SD_G_PER_100G / 100.0
    glucose, fructose = (ingredient.grams(c) / 100.0 for c in (Component.GLUCOSE, Component.FRUCTOSE))
    if glucose > 0.0 and fructose > 0.0:
        shift = Contents.of({Component.GLUCOSE: split, Component.FRUCTOSE: -split})
        yield Unknown("split of the sugars", shift.vector, 0.0, -glucose / split, fructose / split)
    band = fermentable_g_per_100g(ingredient)
    sd = Spread(band.typical, band.low, band.high).deviation() / 100.0
    if sd > 0.0:
        yield Unknown("fermentable share", Contents.of({}, fermentable_g=sd).vector, 0.0, -2.0, 2.0)


def _strength(whole: Contents) -> Unknown:
    """A spirit a little stronger than its label: ethanol in the place of water."""
    masses = whole.masses_g
    ethanol = masses.get(Component.ETHANOL, 0.0)
    abv = 1e5 * ethanol / (whole.volume_ml * ETHANOL_DENSITY_20C_KG_M3)
    more = ethanol * SPIRIT_SD_PERCENT / abv if abv > 0.0 else 0.0
    shift = Contents.of({Component.ETHANOL: more, Component.WATER: -more})
    return Unknown("strength", shift.vector, 0.0, -2.0, 2.0, _HOW[Category.SPIRIT])
