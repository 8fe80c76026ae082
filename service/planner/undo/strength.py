"""Too strong, too weak: thinning, spirit or a stronger lot, and what is not done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from service.catalogue.records import Category
from service.chemistry.sulfite_limits import Market
from service.planner.answers import PRACTICE, Caution, Predicted
from service.planner.undo.answers import Irreversible
from service.planner.undo.goal import Goal
from service.planner.undo.mixing import Vessel
from service.planner.undo.options import Way, of_stock
from service.planner.undo.sweetness import ferment_on
from service.planner.undo.thinning import (
    ARITHMETIC,
    category_or,
    everything_at_hand,
    holding,
    juice_in_general,
    thinner_at_hand,
    water,
)

LINE_ABV_PERCENT: Final = 7.0
"""Strength at which US law changes hands: 27 CFR 4.10, FDA CPG Sec. 510.450."""

_KEEP: Final = ("sucrose_equivalent_g_per_l", "titratable_acidity")
_SWEET: Final = (Category.HONEY, Category.SUGAR)

WEAKER: Final = Way(
    "weaker_liquid",
    "Blend it with {}, which is weaker.",
    "It goes as far as there is of it; sweetness and acidity move towards its own.",
    ARITHMETIC,
    "yes",
    ("a weaker lot, or juice",),
)

JUICE: Final = juice_in_general(
    "Thin it with juice, pasteurised.",
    "Name the juice with its Brix and acidity as an addition, and its amount is reckoned: it brings sugar and acid "
    "along.",
)

THIN_AND_HOLD: Final = Way(
    "water_honey_and_acid",
    "Thin it with water, and make up sweetness and acidity.",
    "Sweetness and acidity stay; juice falls, and there is more drink.",
    ARITHMETIC,
    "yes",
    ("water", "honey or sugar", "citric acid", "room in the vessel"),
)

TAKE_OUT: Final = Way(
    "take_alcohol_out",
    "Alcohol is not boiled, frozen or distilled out of a drink.",
    "Boiling takes the aroma first and spoils the rest; freezing and distilling concentrate alcohol, which is unlawful "
    "without a licence in many places. Not reckoned here.",
    PRACTICE,
    "no",
)

SPIRIT: Final = Way(
    "spirit",
    "Add bought neutral spirit.",
    "It can change the legal class and the duty of the drink, and is forbidden in some classes of wine: for a drink "
    "that is sold, ask first. It thins sweetness and acidity a little.",
    PRACTICE,
    "yes",
    ("bought neutral spirit of known strength", "room in the vessel"),
)

SPIRIT_AND_HOLD: Final = Way(
    "spirit_and_honey",
    "Add bought neutral spirit, and make up sweetness and acidity.",
    "Sweetness and acidity stay. The rules for spirit hold as for spirit alone.",
    PRACTICE,
    "yes",
    ("bought neutral spirit of known strength", "honey or sugar", "citric acid", "room in the vessel"),
)

STRONGER: Final = Way(
    "stronger_lot",
    "Blend it with {}, which is stronger.",
    "It goes as far as there is of it; sweetness and acidity move towards its own.",
    ARITHMETIC,
    "yes",
    ("a stronger lot that has stopped fermenting",),
)

FERMENT_ON: Final = Way(
    "feed_and_ferment_on",
    "Feed it with honey and let it ferment on.",
    "Only where neither sorbate nor sulfite went in. What was there to sweeten ferments too, and where it ends nobody "
    "knows beforehand. Nothing may be sealed meanwhile.",
    PRACTICE,
    "partly",
    ("active yeast and nutrient", "an airlock", "weeks"),
)

CONCENTRATE: Final = Way(
    "freeze_it_out",
    "Alcohol is not concentrated by freezing or distilling.",
    "Unlawful without a licence in many places, and what else is concentrated is not known. Not reckoned here.",
    PRACTICE,
    "no",
)

STRONG: Final = (
    Irreversible("Alcohol cannot be taken out again: it is only thinned.", ARITHMETIC),
    Irreversible("Thinning does not undo what a strong ferment left behind: harsh aromas stay.", PRACTICE),
)

WEAK: Final = (
    Irreversible(
        "A drink that holds sorbate or sulfite is not made stronger by yeast: neither comes out again.", PRACTICE
    ),
    Irreversible("Water that is in stays in: strength comes only with something stronger.", ARITHMETIC),
)


def too_strong(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    """Every way for a drink that is too strong."""
    yield water(vessel, goal)
    if vessel is None or goal is None:
        yield replace(WEAKER, do=WEAKER.do.format("another lot"))
        yield JUICE
    else:
        found = list(thinner_at_hand(vessel, goal, WEAKER))
        yield from found or [JUICE]
        parts = [
            category_or(vessel, (Category.WATER,), "water"),
            category_or(vessel, _SWEET, "honey"),
            category_or(vessel, (Category.ACID,), "citric_acid"),
        ]
        yield from holding(vessel, goal, THIN_AND_HOLD, parts, _KEEP)
        yield from everything_at_hand(vessel, goal, _KEEP)
    yield TAKE_OUT


def too_weak(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    """Every way for a drink that is too weak."""
    if vessel is None or goal is None:
        yield SPIRIT
        yield replace(STRONGER, do=STRONGER.do.format("another lot"))
    else:
        spirit, assumed = category_or(vessel, (Category.SPIRIT,), "spirit")
        way = of_stock(vessel, spirit, goal.name, goal.aim, SPIRIT, "No amount of this spirit reaches it.")
        yield replace(way, targets=goal.targets, judged=len(goal.targets), assumed=assumed)
        parts = [
            (spirit, assumed),
            category_or(vessel, _SWEET, "honey"),
            category_or(vessel, (Category.ACID,), "citric_acid"),
        ]
        yield from holding(vessel, goal, SPIRIT_AND_HOLD, parts, _KEEP)
        yield from thinner_at_hand(vessel, goal, STRONGER)
        yield from everything_at_hand(vessel, goal, _KEEP)
    yield ferment_on(vessel, FERMENT_ON)
    yield CONCENTRATE


def line_caution(drink: Predicted, market: Market | None) -> Iterator[Caution]:
    """The strength at which US law changes hands, where the interval of the drink straddles it."""
    abv = drink.abv_percent
    if market is not Market.EU and abv.low < LINE_ABV_PERCENT < abv.high:
        yield Caution(
            "near_seven_percent_line",
            "note",
            f"{abv.low:.1f} to {abv.high:.1f} % vol lies across 7 % vol, where US labels pass from food law to wine "
            "law: measure the strength before labelling.",
            "fda_cpg_510_450",
        )
