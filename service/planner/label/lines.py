"""Lines for a bottle: what is in it, how strong, for whom, and how to keep and open it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.chemistry.dyes import dye_named
from service.chemistry.label_rules import (
    HEALTH_WARNING_FROM_ABV_PERCENT,
    US_WINE_FROM_ABV_PERCENT,
)
from service.chemistry.sulfite_limits import Market
from service.model.lot_class import LotClass
from service.planner.answers import OUR_DEFAULT, PRACTICE
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.drink import Drink, Span, fermented
from service.planner.label.allergens import allergen_words
from service.planner.label.answers import (
    AllergenFound,
    ClassLine,
    DrinksIn,
    JuiceDeclared,
    LabelAmounts,
    LabelLine,
    LabelStrength,
    RuleStated,
    SulfiteStated,
)
from service.planner.label.figures import declared_of, energy_between_text
from service.planner.raw_juice import holds_raw_juice

ESTIMATE: Final = "Figures are estimates by calculation, not a laboratory analysis."
FERMENTABLE_FROM_G_PER_L: Final = 2.0
"""Sugar that yeast can use from which a closed bottle is told to be kept cold (our default)."""
LASTING: Final = frozenset({"pasteurised", "sterile_filtered"})
SULFITES: Final = "sulfites (preservative)"

_CLASS_WORDS: Final = {
    LotClass.MEAD: "honey ferment (mead)",
    LotClass.GRAPE_WINE: "grape wine",
    LotClass.FRUIT_WINE: "fruit wine",
    LotClass.CIDER_PERRY: "cider or perry",
    LotClass.CITRUS_JUICE: "citrus juice",
    LotClass.BERRY_JUICE: "berry juice",
    LotClass.SPIRIT: "spirit",
}


def contents_of(
    drink: Drink, circumstances: Circumstances, colours: tuple[str, ...], market: Market
) -> tuple[str, ...]:
    """What is in the drink, the most first, then preservatives and colours, as far as told."""
    by_mass: dict[str, float] = {}
    if drink.materials:
        for material in drink.materials:
            if material.least_g > 0.0:
                name = _name(material.source)
                by_mass[name] = by_mass.get(name, 0.0) + material.least_g
    else:
        if fermented(drink):
            by_mass["ferment (… say of what)"] = float("inf")
        for held in drink.holds:
            name = _plain(held.ingredient.name)
            by_mass[name] = by_mass.get(name, 0.0) + (held.g_per_l or 0.0)
    found = sorted(by_mass, key=lambda name: -by_mass[name])
    hurdles = circumstances.intended.hurdles
    if "sulfite" in hurdles or (drink.total_so2_mg_per_l or 0.0) > 0.0 or (drink.free_so2_mg_per_l or 0.0) > 0.0:
        found.append(SULFITES)
    if "sorbate" in hurdles or (drink.sorbic_acid_mg_per_l or 0.0) > 0.0:
        found.append("sorbic acid (preservative)")
    found += [_colour(name, market) for name in colours]
    return tuple(dict.fromkeys(found))


def _name(source: LotAsked | AdditionAsked) -> str:
    if isinstance(source, AdditionAsked):
        return _plain(source.ingredient.name)
    return _CLASS_WORDS[source.lot.lot_class]


def _plain(name: str) -> str:
    return name[:1].lower() + name[1:]


def _colour(name: str, market: Market) -> str:
    dye = dye_named(name)
    if dye is None:
        return f"colour ({name})"
    return f"colour ({dye.name}, {dye.e_number})" if market is Market.EU else f"colour ({dye.us_name})"


def label_lines(
    drink: Drink,
    market: Market,
    circumstances: Circumstances,
    *,
    contents: tuple[str, ...],
    strength: LabelStrength,
    lines: tuple[ClassLine, ...],
    amounts: tuple[LabelAmounts, ...],
    drinks: tuple[DrinksIn, ...],
    juice: JuiceDeclared | None,
    sulfites: SulfiteStated,
    allergens: tuple[AllergenFound, ...],
    animal: tuple[str, ...],
    rules: tuple[RuleStated, ...],
) -> tuple[LabelLine, ...]:
    """All lines, in the order of a label."""
    alcoholic = drink.abv_percent.high >= HEALTH_WARNING_FROM_ABV_PERCENT
    found = [LabelLine("Name: …   Batch: …   Filled on: …", "so that a batch can be found again", PRACTICE)]
    # sulfites have a line of their own wherever they are or may be due
    named = [one for one in contents if one != SULFITES or sulfites.due == "no"]
    if named:
        found.append(LabelLine(f"Contains: {'; '.join(named)}.", "the ingredients as told", PRACTICE))
    found += _measured(drink.abv_percent, market, circumstances, strength, lines, amounts, drinks)
    if juice is not None and juice.percent > 0.0 and market is not Market.EU:
        found.append(LabelLine(f"{juice.text.capitalize()}.", _by(juice.regulation, juice.edition), juice.source_id))
    if sulfites.due != "no":
        unsure = (
            "Contains sulfites (total not measured)."
            if SULFITES in contents
            else "May contain sulfites (not measured)."
        )
        found.append(
            LabelLine(
                "Contains sulfites." if sulfites.due == "yes" else unsure,
                _by(sulfites.regulation, sulfites.edition),
                sulfites.source_id,
            )
        )
    if allergens:
        found.append(
            LabelLine(
                f"Allergens: {', '.join(allergen_words(allergens))}.",
                _by(allergens[0].regulation, allergens[0].edition),
                allergens[0].source_id,
            )
        )
    if animal:
        found.append(LabelLine(f"Fined with {', '.join(animal)}: not vegetarian.", "made from animals", PRACTICE))
    found += [
        LabelLine(f"Contains {rule.text.split(' is named')[0]}.", _by(rule.regulation, rule.edition), rule.source_id)
        for rule in rules
        if rule.topic == "colour named"
    ]
    found += _keeping(drink, circumstances)
    if alcoholic:
        found.append(
            LabelLine(
                "For adults of legal age only. Not in pregnancy. Not before driving or work with machines. "
                "Keep from children: it tastes milder than it is.",
                "alcohol; after the government's warning, 27 CFR 16.21"
                if market is Market.US
                else "alcohol; common practice, local law decides",
                "cfr27_16_21" if market is Market.US else PRACTICE,
            )
        )
    if alcoholic and market is Market.US:
        found.append(
            LabelLine(
                "GOVERNMENT WARNING: … (for sale: the exact words of 27 CFR 16.21)",
                "the words are fixed by the section; take them from its current text",
                "cfr27_16_21",
            )
        )
    if market is Market.NONE:
        found.append(LabelLine("Home-made, not for sale.", "27 CFR 24.75 and most local law", "cfr27_24_75"))
    found.append(LabelLine(f"{ESTIMATE} Local law decides what a label says.", "honest figures", OUR_DEFAULT))
    return tuple(found)


def _by(regulation: str, edition: str) -> str:
    return f"{regulation}, {edition}"


_SIDES: Final = {
    "below": "Below 7 % vol: food law rules this label.",
    "straddled": "Below or above 7 % vol: have it measured before food law or wine law is followed here.",
    "above": "7 % vol or more: food law alone no longer rules this label.",
}


def _measured(
    abv: Span,
    market: Market,
    circumstances: Circumstances,
    strength: LabelStrength,
    lines: tuple[ClassLine, ...],
    amounts: tuple[LabelAmounts, ...],
    drinks: tuple[DrinksIn, ...],
) -> Iterator[LabelLine]:
    """Strength, drinks, energy and sugar, each with what is not known of it."""
    declared, low, high = declared_of(abv, market)
    text = f"Alcohol about {declared:.1f} % vol ({low:.1f} to {high:.1f})."
    yield LabelLine(text, "the 90 % interval of the strength, by what is known of it", OUR_DEFAULT)
    for rule in strength.tolerances:
        yield LabelLine(
            f"Strength within ±{rule.plus_minus_percent:g} % vol as {rule.applies_to}: declared as "
            f"{rule.declared_percent:.1f}, from {rule.low:g} to {rule.high:g}.",
            f"tolerance of {_by(rule.regulation, rule.edition)}",
            rule.source_id,
        )
    if market is Market.US and abv.high >= HEALTH_WARNING_FROM_ABV_PERCENT:
        (line,) = (line for line in lines if line.at_abv_percent == US_WINE_FROM_ABV_PERCENT)
        yield LabelLine(_SIDES[line.position], _by(line.regulation, line.edition), line.source_id)
    wanted = _size(market, circumstances)
    told = next((d for d in drinks if d.size == wanted and d.per_container is not None), None)
    if told is not None and told.container_high is not None:
        yield LabelLine(
            f"This container holds about {told.per_container:.1f} drinks (up to {told.container_high:.1f}); one is a "
            f"{told.one_drink}.",
            f"size of a drink: {told.mark}",
            told.source_id,
        )
    portion = next((a for a in amounts if a.per == "serving"), amounts[-1])
    yield LabelLine(
        f"In {portion.volume_ml:.0f} mL: {energy_between_text(market, portion)}, {portion.sugar_text} "
        f"({portion.sugar_low_g:.0f} to {portion.sugar_high_g:.0f} g).",
        "factors of food law; an estimate",
        "memory_handbook" if market is Market.US else "eu_1169_2011",
    )


def _size(market: Market, circumstances: Circumstances) -> str:
    """Whose drinks the label counts in."""
    if market is Market.US or (market is Market.NONE and circumstances.system == "us"):
        return "us"
    return "uk" if circumstances.system == "imperial" else "who"


def _keeping(drink: Drink, circumstances: Circumstances) -> Iterator[LabelLine]:
    if drink.fermentable_sugar_g_per_l.high > FERMENTABLE_FROM_G_PER_L and fermented(drink):
        lasting = LASTING & set(circumstances.intended.hurdles)
        if not lasting:
            yield LabelLine(
                "Keep in the refrigerator, drink by …: it may ferment again and build pressure when warm.",
                "sugar that yeast can use, and nothing planned that removes or kills yeast",
                OUR_DEFAULT,
            )
        yield LabelLine(
            "Open cold, over a sink, pointing away from faces. If it bulges, leaks or gushes, do not carry it warm.",
            "a bottle with sugar can hold pressure",
            PRACTICE,
        )
    if holds_raw_juice(drink, circumstances.intended.hurdles):
        yield LabelLine(
            "Holds raw juice: not for children, the pregnant, the old or the ill.", "21 CFR 120.24", "cfr21_120_24"
        )
