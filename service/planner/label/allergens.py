"""Allergens by the names of ingredients and fining agents, and which agents come from animals.

A name tells what a thing is usually made from; its own package decides. Nothing found is no promise of absence.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from service.catalogue.records import Category, Ingredient
from service.chemistry.label_rules import CFR_EDITION, EU_EDITION
from service.chemistry.sulfite_limits import FROM_MEMORY, PUBLISHED, Market
from service.planner.label.answers import AllergenFound

_SESAME: Final = "sesame"
_OF_PLANTS: Final = "".join(rf"(?<!{plant} )" for plant in ("almond", "coconut", "nut", "oat", "rice", "soy", "soya"))

_WORDS: Final[tuple[tuple[str, str], ...]] = (
    (rf"\b({_OF_PLANTS}(milk|cream|butter)|lactose|whey|casein\w*|yogh?urt)\b", "milk"),
    (r"\b(eggs?|eggnog|albumen|ovalbumin)\b", "egg"),
    (r"\b(fish|isinglass|anchov\w+)\b", "fish"),
    (r"\b(crustaceans?|shrimps?|prawns?|crabs?|lobsters?)\b", "crustacean shellfish"),
    (
        r"\b(almonds?|hazelnuts?|walnuts?|cashews?|pecans?|pistachios?|macadamias?|brazil nuts?|nuts?)\b",
        "tree nuts",
    ),
    (r"\b(wheat|spelt|durum|semolina)\b", "wheat"),
    (r"\b(peanuts?|groundnuts?)\b", "peanuts"),
    (r"\b(soya?|soybeans?|tofu)\b", "soybeans"),
    (r"\b(sesame|tahini)\b", _SESAME),
)


@dataclass(frozen=True, slots=True)
class _Agent:
    """A fining agent: the pattern of its names, the allergen it brings, whether an animal died for it."""

    pattern: str
    allergen: str | None
    slaughtered: bool = False
    unless: str = ""


_AGENTS: Final[tuple[_Agent, ...]] = (
    _Agent(r"fish.*gelatin|isinglass", "fish", slaughtered=True),
    _Agent(r"gelatin", None, slaughtered=True),
    _Agent(r"casein|milk|whey", "milk"),
    _Agent(r"albumen|albumin|egg|lysozyme", "egg"),
    _Agent(r"(fungal|fungi|mushroom|aspergillus).*chitosan|chitosan.*(fungal|fungi|mushroom|aspergillus)", None),
    _Agent(r"chitosan|chitin", "crustacean shellfish", unless="its package says that it comes from fungi"),
    _Agent(r"gluten|wheat", "wheat"),
    _Agent(r"soy", "soybeans"),
    _Agent(
        r"silica|kieselsol|bentonite|pvpp|polyvinylpolypyrrolidone|carbon|charcoal|pectinase|pectic|pectolytic|enzyme|"
        r"tannin|agar|alginate|carrageen|irish moss|pea protein|potato protein|yeast|cellulose|diatom|perlite",
        None,
    ),
)


def _words(name: str) -> str:
    return re.sub(r"[^a-z0-9&]+", " ", name.lower()).strip()


def _agent_of(name: str) -> _Agent | None:
    return next((agent for agent in _AGENTS if re.search(agent.pattern, _words(name))), None)


def unknown_agents(agents: Iterable[str]) -> tuple[str, ...]:
    """Agents that are not on file here, in the caller's words."""
    return tuple(name for name in agents if _agent_of(name) is None)


def not_vegetarian(agents: Iterable[str]) -> tuple[str, ...]:
    """Agents made from slaughtered animals or fish, in the caller's words."""
    return tuple(name for name in agents if (agent := _agent_of(name)) is not None and agent.slaughtered)


def allergens_found(
    ingredients: Iterable[Ingredient], agents: Iterable[str], market: Market
) -> tuple[AllergenFound, ...]:
    """Allergens of ingredients and fining agents, by their names.

    Parameters: ingredients; agents, fining agents in the caller's words; market.
    Returns: one record for each allergen and what brings it, in the order of what is in the drink.
    Validity: names only; traces of other production and what a supplier adds are not seen.
    Source: 27 CFR 4.32a, 2015 edition (milk, egg, fish, crustaceans, tree nuts, wheat, peanuts, soybeans); sesame since
        2023, from memory, unverified; Regulation (EU) No 1169/2011, Annex II, from memory, unverified.

    >>> [(a.allergen, a.brought_by) for a in allergens_found((), ("isinglass", "bentonite", "egg white"), Market.US)]
    [('fish', 'isinglass'), ('egg', 'egg white')]
    """
    found: list[AllergenFound] = []
    for ingredient in ingredients:
        if ingredient.category is Category.HONEY:  # a honey is named after its flowers
            continue
        text = _words(f"{ingredient.name} {ingredient.id}")
        for pattern, allergen in _WORDS:
            if re.search(pattern, text):
                found.append(_record(allergen, ingredient.name, market, ""))
    for name in agents:
        agent = _agent_of(name)
        if agent is not None and agent.allergen is not None:
            found.append(_record(agent.allergen, name, market, agent.unless))
    return tuple(dict.fromkeys(found))


def _record(allergen: str, brought_by: str, market: Market, unless: str) -> AllergenFound:
    text = f"Contains {allergen} ({brought_by})"
    if unless:
        text += f", unless {unless}"
    if market is Market.EU:
        spared = allergen == "fish" and re.search("gelatin|isinglass", _words(brought_by))
        more = " As a fining agent of beer and wine it is spared there, from memory: check." if spared else ""
        return AllergenFound(
            allergen,
            brought_by,
            f"{text}.{more}",
            "Regulation (EU) No 1169/2011, Annex II",
            EU_EDITION,
            FROM_MEMORY,
            "eu_1169_2011",
        )
    sesame = allergen == _SESAME
    return AllergenFound(
        allergen,
        brought_by,
        f"{text}.",
        "US food law since 2023" if sesame else "27 CFR 4.32a",
        "not read" if sesame else CFR_EDITION,
        FROM_MEMORY if sesame else PUBLISHED,
        "memory_handbook" if sesame else "cfr27_4_32a",
    )


def allergen_words(found: Iterable[AllergenFound]) -> Iterator[str]:
    """The words of the allergens found, each once."""
    yield from dict.fromkeys(one.allergen for one in found)
