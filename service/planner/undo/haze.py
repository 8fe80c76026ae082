"""A haze that was lost: what brings cloud back for a while, and what never does.

Citrus cloud is carried by pectin. Native pectin methylesterase of the fruit strips it of its methyl esters, calcium
then clots it; pectinase cuts it. Neither is undone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category
from service.model.lot_class import Assumed
from service.planner.answers import PRACTICE, Caution
from service.planner.asked import AdditionAsked
from service.planner.plain_words import plain_names
from service.planner.undo.answers import Irreversible, Possible
from service.planner.undo.goal import Goal
from service.planner.undo.mixing import Vessel, at_hand, own_value, unlimited
from service.planner.undo.options import Way, of_stock

CLOUD: Final = "galant_2014"
_TRIAL: Final = "a trial glass, kept a week"
_DEFAULT: Final = "orange_concentrate"

STIR: Final = Way(
    "stir_up",
    "Stir what has settled up again before serving.",
    "It lasts hours: what has clotted sinks faster each time. Do not stir up yeast.",
    PRACTICE,
    "partly",
    ("the sediment, if it is pulp and no yeast",),
)

CLOUDY: Final = Way(
    "cloudy_juice",
    "Add {} for new cloud.",
    "Pasteurised and cloudy only: what cleared the first cloud, enzyme or calcium, is still there and may take this "
    "one too, so keep a glass of it a week before the rest.",
    CLOUD,
    "partly",
    ("pasteurised cloudy juice or concentrate", _TRIAL),
)

STARCH: Final = Way(
    "thicken",
    "Gums and starches are not reckoned here.",
    "They hold pulp up for a while, and their rules differ by market and class of drink.",
    PRACTICE,
    "no",
)

AVOID: Final = (
    Caution(
        "pectinase_clears_for_good",
        "warning",
        "Pectinase clears a citrus haze for good: none in a drink that is to stay cloudy, and none of it in what is "
        "added.",
        CLOUD,
    ),
    Caution(
        "calcium_drops_citrus_cloud",
        "warning",
        "Calcium clots the pectin of a citrus cloud: no calcium carbonate, and soft water only.",
        CLOUD,
    ),
    Caution(
        "raw_juice_loses_its_cloud",
        "warning",
        "Raw juice carries the enzyme that drops its own cloud in weeks; 60 to 70 °C do not reliably stop it (from "
        "memory).",
        "ellerbee",
    ),
)

IRREVERSIBLE: Final = (
    Irreversible(
        "Pectin that was cut by pectinase, or stripped by the fruit's own enzyme and clotted by calcium, does not "
        "carry cloud again: in one study it was lost as the methylation fell from 74.7 to 68.3 %.",
        CLOUD,
    ),
    Irreversible(
        "A haze of protein that comes in the cold and goes in the warm is another thing: this table speaks of citrus "
        "cloud.",
        PRACTICE,
    ),
)

_CLOUDY: Final = (Category.CONCENTRATE, Category.JUICE, Category.CUSTOM)


def ways(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    """Every way for a haze that was lost."""
    yield STIR
    yield from _cloudy(vessel, goal)
    yield STARCH


def _cloudy(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    if vessel is None or goal is None:
        yield replace(CLOUDY, do=CLOUDY.do.format("cloudy juice or concentrate"))
        return
    mine = [a for a in at_hand(vessel.asked.additions, _CLOUDY) if _brings(vessel, a, goal)]
    if not mine and goal.name != "citrus_percent":
        yield replace(CLOUDY, do=CLOUDY.do.format("cloudy juice or concentrate of the same fruit"))
        return
    sources: list[tuple[AdditionAsked, tuple[Assumed, ...]]] = [(unlimited(a), ()) for a in mine]
    if not sources:
        row = get_ingredient(_DEFAULT)
        why = Assumed("cloudy juice", row.id, "our default: none is at hand", "name yours as an addition")
        sources = [(AdditionAsked(row), (why,))]
    names = plain_names(sorted({a.ingredient.id for a, _ in sources}))
    for addition, assumed in sources:
        name = names[addition.ingredient.id]
        told = replace(
            CLOUDY, name=f"{CLOUDY.name}: {name}", do=CLOUDY.do.format(name), needs=(f"{name}, pasteurised", _TRIAL)
        )
        found = of_stock(vessel, addition, goal.name, goal.aim, told, "No amount of it brings so much juice.")
        # juice is reckoned, cloud is not: nobody promises that it stays
        possible: Possible = "no" if found.possible == "no" else "partly"
        yield replace(found, possible=possible, targets=goal.targets, judged=len(goal.targets), assumed=assumed)


def _brings(vessel: Vessel, addition: AdditionAsked, goal: Goal) -> bool:
    own = own_value(vessel, addition, goal.name)
    return own is not None and own > goal.aim
