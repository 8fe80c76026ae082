"""Rules that bear on a drink and its label, in our own words; the current text and local law decide."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.catalogue.records import Category
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.chemistry.dyes import dye_named
from service.chemistry.label_rules import (
    CFR_EDITION,
    EU_EDITION,
    EU_STRENGTH_STATED_ABOVE_ABV_PERCENT,
    HEALTH_WARNING_FROM_ABV_PERCENT,
    US_TABLE_WINE_TO_ABV_PERCENT,
    US_WINE_FROM_ABV_PERCENT,
    US_WINE_TO_ABV_PERCENT,
)
from service.chemistry.sulfite_limits import FROM_MEMORY, PUBLISHED, Market
from service.model.lot_class import LotClass
from service.physics.solutes import Component
from service.planner.drink import Drink, fermented
from service.planner.label.answers import RuleStated
from service.planner.label.figures import ingredients_of

US_ACID_LIMIT_G_PER_L: Final = 9.0
US_ACID_LIMIT_WITH_SOLIDS_G_PER_L: Final = 11.0
US_SOLIDS_FOR_MORE_ACID_G_PER_L: Final = 80.0
"""27 CFR 24.182(c), 2015: the higher limit from 8 g of solids in 100 mL."""
US_CITRIC_BESIDES_CITRUS_G_PER_L: Final = 0.7
"""27 CFR 24.246, 2015: citric acid as a stabiliser in wine other than citrus wine."""


def acids_added(drink: Drink) -> tuple[str, ...]:
    """Names of the acids that were added as such."""
    return tuple(i.name for i, _ in ingredients_of(drink) if i.category is Category.ACID)


def us_acid_limit_g_per_l(drink: Drink) -> float:
    """Most acid of a US fruit wine whose acidity was raised [g/L]; the lower one where its solids may be too few."""
    enough = drink.sugar_g_per_l.low >= US_SOLIDS_FOR_MORE_ACID_G_PER_L
    return US_ACID_LIMIT_WITH_SOLIDS_G_PER_L if enough else US_ACID_LIMIT_G_PER_L


def acidity_as_tartaric_g_per_l(drink: Drink) -> float | None:
    """Titratable acidity [g/L as tartaric]: of the usual expressions the larger figure."""
    meq = drink.titratable_meq_per_l
    return None if meq is None else acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC)


def citric_added_g_per_l(drink: Drink) -> float | None:
    """Citric acid added as such [g/L]; None where its amount was not told."""
    found = 0.0
    for held in drink.holds:
        if held.ingredient.category is Category.ACID and held.ingredient.grams(Component.CITRIC) > 0.0:
            if held.g_per_l is None:
                return None
            found += held.g_per_l * held.ingredient.grams(Component.CITRIC) / 100.0
    return found


def holds_citrus(drink: Drink) -> bool:
    """Whether any citrus juice is in the drink."""
    by_lot = any(lot.lot.lot_class is LotClass.CITRUS_JUICE for lot in drink.lots)
    return by_lot or (drink.citrus_percent or 0.0) > 0.0 or any(i.is_citrus for i, _ in ingredients_of(drink))


def _cfr(topic: str, text: str, section: str, key: str) -> RuleStated:
    return RuleStated(topic, text, section, CFR_EDITION, PUBLISHED, key)


def rules_of(drink: Drink, market: Market, colours: tuple[str, ...]) -> tuple[RuleStated, ...]:
    """Every rule on file that bears on this drink in this market."""
    found: list[RuleStated] = []
    if market is Market.US:
        found += _american(drink)
    if market is Market.EU:
        found += _european(drink)
    if market is not Market.EU and drink.abv_percent.value > 0.0:
        found.append(
            _cfr(
                "home production",
                "In the US an adult may make up to 100 gallons of wine a year at home, a household of two or more "
                "adults 200; it is never sold, and may be taken to tastings and competitions. State law comes on top.",
                "27 CFR 24.75",
                "cfr27_24_75",
            )
        )
    if (drink.juice_percent or 0.0) > 0.0 and market is not Market.EU:
        found.append(
            _cfr(
                "percent juice",
                "Juice from concentrate counts by its least single-strength Brix (lemon and lime by 4.5 % acid), "
                "pressed juice by volume, fermented juice not at all; a whole number not above the actual is declared.",
                "21 CFR 101.30",
                "cfr21_101_30",
            )
        )
    found += _colours(market, colours)
    return tuple(found)


def _american(drink: Drink) -> Iterator[RuleStated]:
    abv = drink.abv_percent
    if abv.high >= HEALTH_WARNING_FROM_ABV_PERCENT:
        yield _rules_by_strength(drink)
        yield _cfr(
            "health warning",
            "From 0.5 % vol every container carries the government's warning on pregnancy, driving, machines and "
            "health, in the exact words of the section.",
            "27 CFR 16.21",
            "cfr27_16_21",
        )
    if fermented(drink) and (not drink.lots or any(lot.lot.lot_class is LotClass.MEAD for lot in drink.lots)):
        yield _cfr(
            "standard honey wine",
            "A honey wine for sale is made from a must thinned to no less than 13 °Bx (about SG 1.053), and ends at no "
            "more than 14 % vol and 35 °Bx. Home production is not touched.",
            "27 CFR 24.203",
            "cfr27_24_203",
        )
    if acids_added(drink):
        acidity = acidity_as_tartaric_g_per_l(drink)
        stands = "its acidity is not known" if acidity is None else f"this one has {acidity:.1f} as tartaric"
        yield _cfr(
            "acid additions",
            f"Acid may raise a fruit wine to {US_ACID_LIMIT_G_PER_L:g} g/L, to "
            f"{US_ACID_LIMIT_WITH_SOLIDS_G_PER_L:g} from 8 g of solids in 100 mL, with citric acid in citrus wine "
            f"only; {stands}. Look up how the section expresses acid.",
            "27 CFR 24.182(c)",
            "cfr27_24_182",
        )
    citric = citric_added_g_per_l(drink)
    if citric != 0.0 and not holds_citrus(drink):
        stands = "how much went in is not known" if citric is None else f"{citric:.2f} g/L went in"
        yield _cfr(
            "citric acid besides citrus",
            f"In wine other than citrus wine citric acid serves as a stabiliser up to "
            f"{US_CITRIC_BESIDES_CITRUS_G_PER_L:g} g/L; {stands}.",
            "27 CFR 24.246",
            "cfr27_24_246",
        )


def _rules_by_strength(drink: Drink) -> RuleStated:
    abv = drink.abv_percent
    if abv.high < US_WINE_FROM_ABV_PERCENT:
        text = "Below 7 % vol food law rules the label: ingredients, nutrition, net contents."
    elif abv.low < US_WINE_FROM_ABV_PERCENT:
        text = "It may lie on either side of 7 % vol: below, food law rules the label, from there wine law. Measure it."
    elif abv.low > US_WINE_TO_ABV_PERCENT:
        text = "Above 24 % vol wine law knows no wine: other rules apply."
    elif abv.low > US_TABLE_WINE_TO_ABV_PERCENT:
        text = "Wine law rules the label, in the class above 14 % vol, with a narrower tolerance."
    else:
        text = "From 7 to 24 % vol wine law rules the label."
    return _cfr("who rules the label", text, "27 CFR 4.10; FDA CPG Sec. 510.450", "fda_cpg_510_450")


def _european(drink: Drink) -> Iterator[RuleStated]:
    if drink.abv_percent.high <= EU_STRENGTH_STATED_ABOVE_ABV_PERCENT:
        return
    yield RuleStated(
        "strength on the label",
        "Above 1.2 % vol the strength is stated with no more than one decimal, at 20 °C.",
        "Regulation (EU) No 1169/2011, Annex XII",
        EU_EDITION,
        PUBLISHED,
        "eu_1169_2011",
    )
    yield RuleStated(
        "ingredients and nutrition",
        "Above 1.2 % vol the general law asks for neither a list of ingredients nor a table of nutrition; allergens "
        "are named all the same, and wine has rules of its own.",
        "Regulation (EU) No 1169/2011, Article 16(4)",
        "not read",
        FROM_MEMORY,
        "eu_1169_2011",
    )


def _colours(market: Market, colours: tuple[str, ...]) -> Iterator[RuleStated]:
    for name in dict.fromkeys(colours):
        dye = dye_named(name)
        if dye is not None and dye.us_declared_by_name and market is not Market.EU:
            yield _cfr(
                "colour named",
                f"{dye.us_name} ({dye.name.lower()}) is named on the label, because some people react to it.",
                dye.us_regulation,
                dye.us_source_id,
            )
        elif dye is not None and market is not Market.EU:
            yield _cfr(
                "colour",
                f"{dye.us_name} ({dye.name}) is listed for food by good manufacturing practice, but not where a "
                "standard of identity leaves no room for colour.",
                dye.us_regulation,
                dye.us_source_id,
            )
        elif dye is not None:
            yield RuleStated(
                "colour",
                f"{dye.name} ({dye.e_number}): of colours of its group together at most 200 mg/L in alcoholic drinks.",
                "Regulation (EC) No 1333/2008, Annex II",
                "not read",
                FROM_MEMORY,
                "eu_1333_2008",
            )
