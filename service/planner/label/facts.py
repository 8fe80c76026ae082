"""Label facts of a drink: all figures, rules and lines in one record."""

from __future__ import annotations

from math import isfinite
from typing import Final

from service.chemistry.sulfite_limits import Market
from service.errors import InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.planner.answers import NextReading
from service.planner.asked import Circumstances
from service.planner.drink import Drink, fermented
from service.planner.label.allergens import allergens_found, not_vegetarian
from service.planner.label.answers import ClassLine, LabelFacts, LabelStrength, SulfiteStated
from service.planner.label.cautions import label_cautions
from service.planner.label.figures import (
    amounts_of,
    drinks_of,
    ingredients_of,
    juice_of,
    lines_of,
    strength_of,
    sulfites_of,
)
from service.planner.label.lines import ESTIMATE, contents_of, label_lines
from service.planner.label.rules import rules_of

DRUNK_AT_ONCE_ML: Final = 1000.0
"""A container larger than this is poured from (our default)."""
GLASS_ML: Final = 330.0
GLASS_US_ML: Final = 355.0
"""A glass poured from a keg or a large container, where no serving was stated (our default; 12 US fl oz)."""
LEAST_SERVING_ML: Final = 10.0
"""The least that is called a serving, two teaspoons (our default)."""
_MOST_ML: Final = 1e6
_MOST_NAMES: Final = 50


def label_facts(
    drink: Drink,
    market: str,
    serving_ml: float | None,
    container_ml: float | None,
    circumstances: Circumstances,
    *,
    colours: tuple[str, ...] = (),
    fining_agents: tuple[str, ...] = (),
    from_keg: bool = False,
) -> LabelFacts:
    """What a label could say of a drink.

    E = 7·7.8924·ABV + 4·sugar + 3·acid in kcal/L by the factors of EU labels, and all other components by theirs

    Parameters: drink; market, us, eu or none; serving_ml [mL], None where it is that of the container, or a glass
        of it where it is a keg or larger than 1 L; container_ml [mL], None where it is not known; circumstances, of
        which system and hurdles matter (salts as they are in it, heat and filtration only where they counted); colours
        and fining_agents that went in, in the caller's words; from_keg, whether the container is a keg.
    Returns: LabelFacts, an estimate and no laboratory analysis.
    Raises: InputError for a market that is not on file; OutOfRangeError for a volume that is none, or a serving below
        10 mL.
    Validity: figures as good as the drink's; rules as of the editions named, in our words. Local law decides.
    Source: Regulation (EU) No 1169/2011, Annexes XII and XIV; 27 CFR 4.10, 4.32, 4.32a, 4.36, 16.21, 24.75, 24.182,
        24.203, 24.246, 24.257 and 21 CFR 74.705, 101.30, 2015 edition.

    Example: 330 mL of 5.5 % vol with 88 g/L sugar and 5.5 g/L acid have 222 kcal (computed).

    >>> from service.planner.drink import DrinkRead, Span, drink_from_figures
    >>> exact = Span.exact
    >>> read = DrinkRead(None, None, exact(5.5), exact(88.0), titratable_meq_per_l=5.5 / 0.06404)
    >>> facts = label_facts(drink_from_figures(read), "eu", 330.0, None, Circumstances())
    >>> facts.amounts[1].energy_text, facts.amounts[1].sugar_text
    ('933 kJ / 222 kcal', '29 g sugar')
    """
    where = _market(market)
    for volume, pointer in ((serving_ml, "/serving"), (container_ml, "/containers")):
        if volume is not None and not (isfinite(volume) and 0.0 < volume <= _MOST_ML):
            raise OutOfRangeError(f"A volume lies above 0 and up to {_MOST_ML / 1000.0:g} L: check it.", pointer)
    if serving_ml is not None and serving_ml < LEAST_SERVING_ML * (1.0 - 1e-9):
        raise OutOfRangeError(f"A serving holds {LEAST_SERVING_ML:g} mL or more: check its unit.", "/serving")
    if len(colours) > _MOST_NAMES or len(fining_agents) > _MOST_NAMES:
        raise InputError(f"At most {_MOST_NAMES} colours and {_MOST_NAMES} fining agents can be named.")
    poured = container_ml is not None and (from_keg or container_ml > DRUNK_AT_ONCE_ML)
    serving = serving_ml
    if serving is None:
        glass = GLASS_US_ML if circumstances.system == "us" else GLASS_ML
        serving = min(glass, container_ml) if poured and container_ml is not None else container_ml
    strength = strength_of(drink, where)
    lines = lines_of(drink, where)
    amounts = amounts_of(drink, where, serving, container_ml)
    drinks = drinks_of(drink, serving, container_ml)
    juice = juice_of(drink)
    sulfites = sulfites_of(drink, where, "sulfite" in circumstances.intended.hurdles)
    allergens = allergens_found((i for i, _ in ingredients_of(drink)), fining_agents, where)
    animal = not_vegetarian(fining_agents)
    contents = contents_of(drink, circumstances, colours, where)
    rules = rules_of(drink, where, colours)
    text = label_lines(
        drink,
        where,
        circumstances,
        contents=contents,
        strength=strength,
        lines=lines,
        amounts=amounts,
        drinks=drinks,
        juice=juice,
        sulfites=sulfites,
        allergens=allergens,
        animal=animal,
        rules=rules,
    )
    cautions = label_cautions(
        drink,
        where,
        circumstances,
        strength=strength,
        lines=lines,
        drinks=drinks,
        poured=poured,
        juice=juice,
        sulfites=sulfites,
        allergens=allergens,
        animal=animal,
        colours=colours,
        agents=fining_agents,
    )
    keys = {"eu_1169_2011", "memory_handbook", sulfites.source_id, *(c.source_id for c in cautions)}
    for told in (strength.tolerances, lines, drinks, allergens, rules, text):
        keys |= {one.source_id for one in told}
    if juice is not None:
        keys.add(juice.source_id)
    return LabelFacts(
        where.value,
        serving,
        container_ml,
        strength,
        lines,
        amounts,
        drinks,
        juice,
        sulfites,
        allergens,
        animal,
        contents,
        rules,
        text,
        ESTIMATE,
        cautions,
        _assumed(drink, market, serving_ml, container_ml, serving if poured else None),
        _readings(strength, lines, sulfites),
        tuple(sorted(keys)),
    )


def _market(name: str) -> Market:
    try:
        return Market(name)
    except ValueError as error:
        raise InputError(f"No market is called “{name[:20]}”: choose us, eu or none.", "/market") from error


def _assumed(
    drink: Drink, market: str, serving_ml: float | None, container_ml: float | None, glass_ml: float | None
) -> tuple[Assumed, ...]:
    found = []
    if serving_ml is None and container_ml is not None:
        serving = "the whole container" if glass_ml is None else f"{glass_ml:.0f} mL, a glass poured from it"
        found.append(Assumed("serving", serving, "our default", "state the serving"))
    if drink.titratable_meq_per_l is None:
        found.append(
            Assumed("acid of the drink", "none, for its energy", "our default: 3 kcal/g too little", "titrate it")
        )
    if not drink.materials:
        found.append(
            Assumed(
                "energy of other solids",
                "none: alcohol, sugar and acid only",
                "a drink by its figures tells no glycerol, protein or other solids",
                "a recipe with its amounts",
            )
        )
        if fermented(drink):
            found.append(Assumed("what was fermented", "not told", "a drink by its figures", "write it on the label"))
    if drink.juice_percent is None:
        found.append(
            Assumed("juice in the drink", "not told, so none is declared", "our default", "a recipe with its amounts")
        )
    if market == "none":
        found.append(
            Assumed("market", "none: not sold", "our default", "name the market: us or eu, and read its current law")
        )
    return tuple(found)


def _readings(
    strength: LabelStrength, lines: tuple[ClassLine, ...], sulfites: SulfiteStated
) -> tuple[NextReading, ...]:
    found = []
    unsure = any(line.position == "straddled" for line in lines)
    if unsure or any(not rule.interval_fits for rule in strength.tolerances):
        found.append(
            NextReading(
                "have the strength measured by distillation before a label states it",
                "a laboratory",
                strength.abv_percent,
                "% vol",
                "20 °C",
                low=strength.low,
                high=strength.high,
            )
        )
    if sulfites.due == "measure":
        found.append(NextReading("measure total SO2 of the finished drink", "a total-SO2 test or a laboratory"))
    return tuple(found)
