"""What each stated hurdle is worth for a drink that is to be closed up: counted or not, and why.

Judged by the bad ends: the lower strength, the higher pH. A pair of salts counts only where the printed table holds a
dose for the drink, and where what is in the drink, if it is known, is as much. Nothing that counts is proof.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final

from service.chemistry.sorbate import sorbic_dose
from service.chemistry.sulfite import (
    MOLECULAR_TARGET_DRY_MG_PER_L,
    SO2_PK_CONVENTION,
    molecular_so2_mg_per_l,
)
from service.errors import InputError
from service.physics.pasteurising import DEFAULT_MINIMUM_UNITS
from service.physics.pasteurising import SOURCE_KEY as HEAT_SOURCE
from service.planner.answers import PRACTICE
from service.planner.drink import Drink
from service.planner.pressure.answers import HeatReport, HurdleHeld
from service.planner.pressure.heating import units_hold
from service.planner.stabilising.asked import HURDLES
from service.planner.stabilising.choice import enough_beside_sorbate

SALTS: Final = frozenset({"sulfite", "sorbate"})
KILLING: Final = frozenset({"pasteurised", "sterile_filtered"})
"""Hurdles that kill yeast or take it out, where they hold."""

_PAIR: Final = "sulfite and sorbate"


def hurdles_held(drink: Drink, hurdles: Collection[str], heat: HeatReport | None) -> tuple[HurdleHeld, ...]:
    """Each stated hurdle with what it is worth; the two salts as a pair.

    Parameters: drink; hurdles, of `HURDLES`; heat, what a temperature log gave, or None.
    Returns: HurdleHeld for each.
    Raises: InputError for a hurdle that is not known.
    """
    unknown = sorted(set(hurdles) - set(HURDLES))
    if unknown:
        raise InputError(f"{unknown[0]} is no hurdle known here: choose from {', '.join(HURDLES)}.", "/hurdles")
    return tuple(_held(drink, set(hurdles), heat))


def without_what_failed(hurdles: Collection[str], held: Collection[HurdleHeld]) -> tuple[str, ...]:
    """The stated hurdles but for heat or filtration that does not count; salts stay, as they are in the drink.

    Parameters: hurdles stated; held, what each is worth.
    Returns: hurdles in order.
    """
    failed = {one.hurdle for one in held if not one.counted} & KILLING
    return tuple(sorted(set(hurdles) - failed))


def _held(drink: Drink, hurdles: set[str], heat: HeatReport | None) -> Iterator[HurdleHeld]:
    if hurdles >= SALTS:
        yield _pair(drink)
    elif "sulfite" in hurdles:
        yield HurdleHeld("sulfite", False, "Sulfite alone does not hold yeast that has sugar.", PRACTICE)
    elif "sorbate" in hurdles:
        yield HurdleHeld(
            "sorbate", False, "Sorbate without sulfite: lactic bacteria turn it into a taint.", "oxford_companion"
        )
    if "pasteurised" in hurdles:
        holds = heat is None or units_hold(heat)
        text = "Counted, if the coldest spot had its units and the container stayed closed."
        if heat is not None and not holds:
            text = (
                f"The log gave {heat.units_given:.0f} of {heat.target_units:g} units: not counted."
                if heat.reached is False
                else f"Less than {DEFAULT_MINIMUM_UNITS:g} units are aimed at or given: not counted."
            )
        yield HurdleHeld("pasteurised", holds, text, HEAT_SOURCE)
    if "sterile_filtered" in hurdles:
        yield HurdleHeld(
            "sterile_filtered",
            True,
            "Counted, if the filter was 0.45 µm absolute and everything behind it sterile (from memory, unverified).",
            "memory_trade",
        )
    if "cold" in hurdles:
        yield HurdleHeld("cold", False, "Cold slows yeast and does not stop it; a power cut ends it.", PRACTICE)


def _pair(drink: Drink) -> HurdleHeld:
    if drink.ph is None:
        text = "Without the pH no printed dose can be read: give it."
        return HurdleHeld(_PAIR, False, text, "underhill")
    abv, ph = max(drink.abv_percent.low, 0.0), drink.ph.high
    printed = sorbic_dose(abv, ph)
    source = printed.source_key
    if printed.dose_mg_per_l is None:
        text = f"At {abv:.1f} % vol and pH {ph:.2f} they are {printed.reason}. No dose is published that holds it."
        return HurdleHeld(_PAIR, False, text, source)
    need = f"{printed.dose_mg_per_l:.0f} mg/L sorbic acid of the printed table"
    held = drink.sorbic_acid_mg_per_l
    if held is not None and held < printed.dose_mg_per_l * (1.0 - 1e-9):
        return HurdleHeld(_PAIR, False, f"{held:.0f} mg/L is less than the {need}.", source)
    free = drink.free_so2_mg_per_l
    if free is not None:
        molecular = molecular_so2_mg_per_l(free, ph, SO2_PK_CONVENTION)
        if not enough_beside_sorbate(molecular):
            text = (
                f"{molecular:.2f} mg/L molecular SO2 beside the sorbate is too little; at least "
                f"{MOLECULAR_TARGET_DRY_MG_PER_L:g} is usual."
            )
            return HurdleHeld(_PAIR, False, text, "oxford_companion")
    if held is None and free is None:
        text = f"Neither sorbic acid nor free SO2 in the drink is known, and it takes {need}: give both."
        return HurdleHeld(_PAIR, False, text, source)
    unread = [name for name, value in (("sorbic acid", held), ("free SO2", free)) if value is None]
    rest = f"; {' and '.join(unread)} in the drink not stated, so not checked" if unread else ""
    return HurdleHeld(_PAIR, True, f"Counted by the {need}{rest}.", source)
