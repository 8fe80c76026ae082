"""One rule of raw juice for whatever is closed up and labelled: heat that held has killed what it can carry."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from service.model.lot_class import JUICE_ROW
from service.planner.answers import Caution
from service.planner.cautions import juice_and_spirit_cautions, raw_juice
from service.planner.drink import Drink
from service.planner.plain_words import in_plain_words

RAW_JUICE: Final = frozenset({"raw_juice", "raw_juice_after_stabilising"})
"""Codes of the rule."""
_SALTS: Final = frozenset({"sulfite", "sorbate"})
_KILLING: Final = "pasteurised"


def juice_cautions(drink: Drink, hurdles: Collection[str]) -> Iterator[Caution]:
    """What to heed about the juices and spirits of a drink; nothing about raw juice where heat held.

    Salts, filters and cold do not kill what raw juice can carry.

    Parameters: drink; hurdles: salts as they are in the drink, heat only where it counted.
    Returns: cautions, `raw_juice_after_stabilising` (stop) where salts are in it and no heat held.
    """
    killed = _KILLING in hurdles
    stabilised = bool(_SALTS & set(hurdles)) and not killed
    for one in drink.holds:
        found = juice_and_spirit_cautions(
            one.ingredient, in_plain_words(one.ingredient.id), one.treatment, stabilised=stabilised
        )
        yield from (caution for caution in found if not (killed and caution.code in RAW_JUICE))
    if not killed:
        for lot in drink.lots:
            if lot.lot.lot_class in JUICE_ROW:
                yield raw_juice(lot.lot.name, "of unknown treatment")


def holds_raw_juice(drink: Drink, hurdles: Collection[str]) -> bool:
    """Whether an ingredient that is told to be raw is in the drink, and no heat held."""
    return _KILLING not in hurdles and any(one.treatment == "raw" for one in drink.holds)
