"""Cautions about what a label tells: lines of the law, doubt, sulfite, allergens, colours, juice, hidden strength."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.chemistry.dyes import dye_named
from service.chemistry.sorbate import sorbic_limit
from service.chemistry.sulfite_limits import LegalClass, Market, sulfite_limits
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution
from service.planner.asked import Circumstances
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.label.allergens import unknown_agents
from service.planner.label.answers import (
    AllergenFound,
    ClassLine,
    DrinksIn,
    JuiceDeclared,
    LabelStrength,
    SulfiteStated,
)
from service.planner.label.figures import whole_juice_percent
from service.planner.label.rules import (
    US_CITRIC_BESIDES_CITRUS_G_PER_L,
    acidity_as_tartaric_g_per_l,
    acids_added,
    citric_added_g_per_l,
    holds_citrus,
    us_acid_limit_g_per_l,
)
from service.planner.raw_juice import juice_cautions

HIDING_SUGAR_G_PER_L: Final = 35.0
"""Sugar that hides the taste of alcohol (our default: about that of a lightly sweetened soft drink)."""
_MANY_DRINKS: Final = 1.5
_NEAR: Final = {
    0.5: "near_half_percent_line",
    1.2: "near_one_point_two_percent_line",
    7.0: "near_seven_percent_line",
    14.0: "near_fourteen_percent_line",
    24.0: "near_twenty_four_percent_line",
}
_TINY: Final = 1e-9

ESTIMATE: Final = Caution(
    "estimate",
    "note",
    "Estimates from composition tables: verify by measurement; follow local law and licensed practice.",
    OUR_DEFAULT,
)


def label_cautions(
    drink: Drink,
    market: Market,
    circumstances: Circumstances,
    *,
    strength: LabelStrength,
    lines: tuple[ClassLine, ...],
    drinks: tuple[DrinksIn, ...],
    poured: bool,
    juice: JuiceDeclared | None,
    sulfites: SulfiteStated,
    allergens: tuple[AllergenFound, ...],
    animal: tuple[str, ...],
    colours: tuple[str, ...],
    agents: tuple[str, ...],
) -> tuple[Caution, ...]:
    """All cautions of a label, `stop` first, each once; `poured` from a container that nobody drinks at once."""
    found = [
        *_limits(drink, market),
        *_strength(strength, lines),
        *_sulfites(sulfites),
        *_made_from(allergens, animal, colours, agents),
        *_acid(drink, market),
        *_juice(juice),
        *_hidden(drink, drinks, poured),
        *juice_cautions(drink, circumstances.intended.hurdles),
    ]
    if drink.abv_percent.value > 0.0:
        found.append(ALCOHOL)
    return sorted_once([*found, ESTIMATE])


def _limits(drink: Drink, market: Market) -> Iterator[Caution]:
    """Preservatives above a limit; the class is taken as mead, whatever is not known."""
    total = drink.total_so2_mg_per_l
    limit = sulfite_limits(market, LegalClass.MEAD)[0]
    if total is not None and total > limit.mg_per_l * (1.0 + _TINY):
        yield Caution(
            "total_so2_over_limit",
            "stop",
            f"{total:.0f} mg/L total SO2 is over {limit.mg_per_l:.0f} ({limit.regulation}): thin it with drink without "
            "sulfite, and check the current text.",
            limit.source_key,
        )
    sorbic, most = drink.sorbic_acid_mg_per_l, sorbic_limit(market)
    if sorbic is not None and sorbic > most.mg_per_l * (1.0 + _TINY):
        yield Caution(
            "sorbic_acid_over_limit",
            "stop",
            f"{sorbic:.0f} mg/L sorbic acid is over {most.mg_per_l:.0f} ({most.regulation}): thin it, and check the "
            "current text.",
            most.source_key,
        )


def _strength(strength: LabelStrength, lines: tuple[ClassLine, ...]) -> Iterator[Caution]:
    for line in lines:
        if line.position == "straddled":
            yield Caution(
                _NEAR[line.at_abv_percent],
                "warning",
                f"By what is known the strength is {strength.low:.2f} to {strength.high:.2f} % vol, on both sides of "
                f"{line.at_abv_percent:g}, where another rule begins. Have it measured first.",
                line.source_id,
            )
    for rule in strength.tolerances:
        half = rule.plus_minus_percent + _TINY
        if strength.low < strength.abv_percent - half or strength.high > strength.abv_percent + half:
            yield Caution(
                "strength_less_sure_than_its_tolerance",
                "warning",
                f"{strength.low:.1f} to {strength.high:.1f} % vol is wider than ±{rule.plus_minus_percent:g} "
                f"({rule.applies_to}): have the strength measured before a label states it.",
                rule.source_id,
            )
            return


def _sulfites(sulfites: SulfiteStated) -> Iterator[Caution]:
    if sulfites.due == "no":
        return
    if sulfites.due == "measure":
        yield Caution(
            "sulfites_not_measured",
            "warning",
            "Total SO2 is not known. Yeast and bottled lemon juice bring some: measure it, or write “contains "
            "sulfites”.",
            sulfites.source_id,
        )
    yield Caution(
        "sulfite_sensitivity",
        "note",
        "Sulfite: about 5 % of people with asthma react, some severely. Say so to whoever drinks it.",
        "fda_consumer_1996",
    )


def _made_from(
    allergens: tuple[AllergenFound, ...], animal: tuple[str, ...], colours: tuple[str, ...], agents: tuple[str, ...]
) -> Iterator[Caution]:
    for allergen in allergens:
        yield Caution(
            "allergen",
            "warning",
            f"{allergen.brought_by}: {allergen.allergen}, an allergen. Name it on the label and to whoever drinks it.",
            allergen.source_id,
        )
    if animal:
        yield Caution(
            "not_vegetarian",
            "note",
            f"{', '.join(animal)}: made from animals; say so where it matters to whoever drinks it.",
            PRACTICE,
        )
    for name in unknown_agents(agents):
        yield Caution(
            "fining_agent_not_on_file",
            "warning",
            f"“{name[:40]}” is not on file here: whether it brings an allergen stands on its package.",
            PRACTICE,
        )
    for name in dict.fromkeys(colours):
        dye = dye_named(name)
        if dye is None:
            yield Caution(
                "colour_not_on_file",
                "note",
                f"“{name[:40]}” is not on file here: write its colours as its package names them.",
                PRACTICE,
            )
        elif dye.us_declared_by_name:
            yield Caution(
                "colour_must_be_named",
                "warning",
                f"{dye.us_name} ({dye.e_number}): some people react to it; it is named on the label.",
                dye.us_source_id,
            )


def _acid(drink: Drink, market: Market) -> Iterator[Caution]:
    if market is not Market.US:
        return
    acidity, limit = acidity_as_tartaric_g_per_l(drink), us_acid_limit_g_per_l(drink)
    if acids_added(drink) and acidity is not None and acidity > limit * (1.0 + _TINY):
        yield Caution(
            "acid_over_us_limit",
            "warning",
            f"With acid added it has {acidity:.1f} g/L as tartaric, over {limit:g} g/L: not for sale as US wine. "
            "Check the section.",
            "cfr27_24_182",
        )
    citric = citric_added_g_per_l(drink)
    if citric is not None and citric > US_CITRIC_BESIDES_CITRUS_G_PER_L and not holds_citrus(drink):
        yield Caution(
            "citric_acid_besides_citrus",
            "warning",
            f"{citric:.1f} g/L citric acid without citrus is over {US_CITRIC_BESIDES_CITRUS_G_PER_L:g} g/L: not for "
            "sale as US wine. Check the current text.",
            "cfr27_24_246",
        )


def _juice(juice: JuiceDeclared | None) -> Iterator[Caution]:
    if juice is None or juice.percent < 1.0 or juice.declared_percent == whole_juice_percent(juice.percent):
        return
    yield Caution(
        "juice_percent_may_be_less",
        "note",
        f"{juice.percent:.1f} % juice may be only {juice.low:.1f}: the lower figure is declared. Measure the Brix or "
        "acid of the concentrates.",
        juice.source_id,
    )


def _hidden(drink: Drink, drinks: tuple[DrinksIn, ...], poured: bool) -> Iterator[Caution]:
    """A bottle is drunk by the bottle; a keg or a large container, from which it is poured, by the serving."""
    us = next((d for d in drinks if d.size == "us"), None)
    if us is None or drink.sugar_g_per_l.high < HIDING_SUGAR_G_PER_L:
        return
    by_serving = (us.serving_high or 0.0, "in one serving")
    by_container = (0.0, "") if poured else (us.container_high or 0.0, "in it")
    most, where = max(by_container, by_serving, key=lambda one: one[0])
    if most < _MANY_DRINKS:
        return
    yield Caution(
        "strength_hidden_by_sweetness",
        "warning",
        f"It tastes milder than it is: up to {most:.1f} US standard drinks {where}. Write that on it, keep it from "
        "children, no driving.",
        OUR_DEFAULT,
    )
