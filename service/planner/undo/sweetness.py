"""Too sweet: sugar stays in; it is thinned, or acid balances it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from service.catalogue.records import Category
from service.errors import InputError
from service.model.contents import COMPONENTS, Contents
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import Assumed, LotClass
from service.model.properties import property_value
from service.physics.roots import root_between
from service.physics.solutes import SUGARS
from service.planner.answers import PRACTICE, Caution
from service.planner.asked import LotAsked
from service.planner.undo.answers import Irreversible
from service.planner.undo.goal import Goal
from service.planner.undo.mixing import Vessel, own_value
from service.planner.undo.options import Way, of_stock
from service.planner.undo.thinning import (
    ARITHMETIC,
    category_or,
    everything_at_hand,
    holding,
    thinner_at_hand,
    water,
)

DRY_GRAVITY: Final = 0.998
"""Gravity of a dry base where the caller has none to name (our default)."""

LEAST_PH: Final = 2.8
"""Below this a drink is sourer than drinks are; no acid is proposed beyond it (our default)."""

_MOST_ACID_STEPS: Final = 3.0

DRIER: Final = Way(
    "drier_lot",
    "Blend it with {}, which is drier.",
    "It goes as far as there is of the drier lot; strength and acidity move towards its own.",
    ARITHMETIC,
    "yes",
    ("a drier lot that has stopped fermenting",),
)

ACID: Final = Way(
    "acid_for_balance",
    "Add acid for the balance: the sugar stays, but it tastes less sweet.",
    "It lowers no sugar. Citric acid suppresses sweetness, the more the more of it there is. The amount brings sugar "
    "over acid to where less sugar would: try half of it in a glass.",
    "schifferstein_frijters_1990",
    "partly",
    ("citric acid", "a scale that shows 0.1 g"),
)

HOLD: Final = Way(
    "water_and_acid",
    "Thin it with water, and make up the acid.",
    "Acidity stays; strength and juice fall.",
    ARITHMETIC,
    "yes",
    ("water", "citric acid", "room in the vessel"),
)

FERMENT_ON: Final = Way(
    "ferment_on",
    "Let it ferment on with fresh yeast.",
    "Only where neither sorbate nor sulfite went in. It ends where the yeast likes, not where it is wanted, makes the "
    "drink stronger, and nothing may be sealed meanwhile.",
    PRACTICE,
    "partly",
    ("active yeast and nutrient", "an airlock", "weeks"),
)

STABILISED: Final = (
    "By the request sorbate or sulfite is in it or is planned: they hinder fresh yeast, and what is in does not come "
    "out again. A half-stopped ferment may start again in the bottle."
)

IRREVERSIBLE: Final = (
    Irreversible(
        "Sugar cannot be taken out again: it is thinned with something drier, or fermented by yeast that nothing "
        "hinders.",
        ARITHMETIC,
    ),
    Irreversible(
        "More acid makes a drink taste less sweet, in a lemon drink only at the highest level tried; it lowers neither "
        "the sugar nor what yeast could make of it.",
        "mcbride_johnson",
    ),
)


def ways(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    """Every way for a drink that is too sweet."""
    yield water(vessel, goal)
    yield from _drier(vessel, goal)
    yield _acid(vessel, goal)
    if vessel is not None and goal is not None:
        parts = [category_or(vessel, (Category.WATER,), "water"), category_or(vessel, (Category.ACID,), "citric_acid")]
        yield from holding(vessel, goal, HOLD, parts, ("titratable_acidity",))
    yield from everything_at_hand(vessel, goal, ("titratable_acidity", "abv_percent"))
    yield ferment_on(vessel, FERMENT_ON)


def ferment_on(vessel: Vessel | None, which: Way) -> Way:
    """Fermenting on: not where the drink is stabilised, and never reckoned."""
    hurdles = () if vessel is None else vessel.circumstances.intended.hurdles
    if {"sulfite", "sorbate"} & set(hurdles):
        return replace(which, possible="no", limit=STABILISED)
    caution = Caution(
        "never_seal_a_moving_ferment",
        "warning",
        "A ferment that moves again bursts what is sealed: airlock only, and two equal gravities days apart before any "
        "bottle.",
        PRACTICE,
    )
    return replace(which, cautions=(caution,))


def _drier(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    plain = replace(DRIER, do=DRIER.do.format("a lot of the same kind"))
    if vessel is None or goal is None:
        yield plain
        return
    found = list(thinner_at_hand(vessel, goal, DRIER))
    if found:
        yield from found
        return
    if vessel.asked.lots:
        text = "None of the lots named is drier than what is wanted."
        yield replace(plain, possible="no", limit=text)
        return
    try:
        base = _dry_base(vessel)
    except InputError:  # no alcohol, no dry base
        yield plain
        return
    own = own_value(vessel, base, goal.name)
    if own is None or own >= goal.aim:
        yield replace(plain, possible="no", limit="A usual dry base is not drier than what is wanted.")
        return
    abv = vessel.now.predicted.abv_percent.value
    assumed = Assumed(
        "drier lot",
        f"gravity {DRY_GRAVITY:g}, {abv:.1f} % vol, acids typical of its class",
        "our default: no lot at hand was named",
        "name the lot with its readings",
    )
    told = replace(plain, do=DRIER.do.format("a dry base of the same kind and strength"))
    way = of_stock(vessel, base, goal.name, goal.aim, told, "No amount of it reaches what is wanted.")
    yield replace(way, targets=goal.targets, judged=len(goal.targets), assumed=(assumed, *_assumed_of(base)))


def _assumed_of(lot: LotAsked) -> tuple[Assumed, ...]:
    return tuple(Assumed(f"{lot.lot.name}: {a.what}", a.value, a.source, a.measure_by) for a in lot.lot.assumed)


def _dry_base(vessel: Vessel) -> LotAsked:
    """A usual dry base of the drink's own class and strength, as much of it as could be wanted."""
    classes = [lot.lot.lot_class for lot in vessel.asked.in_vessel]
    fermented = [c for c in classes if c not in (LotClass.CITRUS_JUICE, LotClass.BERRY_JUICE, LotClass.SPIRIT)]
    lot_class = fermented[0] if fermented else LotClass.MEAD
    abv = min(vessel.now.predicted.abv_percent.value, 20.0)
    most_l = 10.0 * vessel.litres
    lot = lot_from_readings("a usual dry base", LotReadings(most_l, None, DRY_GRAVITY, abv, lot_class))
    return LotAsked(lot, 0.0, most_l, degassed=True)


def _acid(vessel: Vessel | None, goal: Goal | None) -> Way:
    if vessel is None or goal is None:
        return ACID
    source, assumed = category_or(vessel, (Category.ACID,), "citric_acid")
    wanted = _balance_without_the_sugar(vessel, goal)
    now = vessel.value("titratable_acidity")
    if wanted is None or now is None or now <= 0.0:
        return replace(
            ACID, possible="no", limit="The drink holds no acid to balance by: taste it with acid in a glass."
        )
    mix = vessel.with_((source,))
    step = vessel.circumstances.senses.step("titratable_acidity")
    far = now * (1.0 + step.size) ** _MOST_ACID_STEPS if step.relative else now + _MOST_ACID_STEPS * step.size
    most = mix.until("ph", LEAST_PH, mix.stock_g(), falling=True)
    most = mix.until("titratable_acidity", far, most, falling=False)
    if most <= 0.0:
        return replace(ACID, possible="no", limit=f"It is as sour as a drink can be. {ACID.limit}")
    mass = mix.amount_to("sugar_acid_ratio", wanted, most)
    limit = ACID.limit
    if mass is None:
        mass = most
        limit = f"Three noticeable steps of acidity, pH {LEAST_PH:g} or the stock end it. {limit}"
    return replace(
        ACID,
        mix=mix,
        added_g=(mass,),
        targets=goal.targets,
        judged=len(goal.targets),
        first_told=True,
        assumed=assumed,
        limit=limit,
    )


def _balance_without_the_sugar(vessel: Vessel, goal: Goal) -> float | None:
    """Sugar over acid of the same drink with so much of its sugars missing that it meets the goal."""
    places = [COMPONENTS.index(c) for c in SUGARS]
    vector = vessel.contents.vector
    senses, end_point = vessel.circumstances.senses, vessel.circumstances.end_point_ph
    total = sum(vector[k] for k in places)
    if total <= 0.0:
        return None
    share_that_ferments = vessel.contents.tally("fermentable_g") / total

    def without(share: float) -> Contents:
        masses = list(vector)
        for k in places:
            masses[k] *= 1.0 - share
        missing = Contents.of({}, fermentable_g=-share * share_that_ferments * total)
        return Contents(tuple(masses)).plus(missing)

    def beyond(share: float) -> float:
        contents = without(share)
        value = property_value(senses.law(goal.name), contents, contents.volume_ml / 1000.0, end_point)
        return (value or 0.0) - goal.aim

    if beyond(1.0) > 0.0:
        return None
    contents = without(root_between(beyond, 0.0, 1.0))
    return property_value("sugar_acid_ratio", contents, contents.volume_ml / 1000.0, end_point)
