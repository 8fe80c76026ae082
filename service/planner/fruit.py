"""Whole fruit for the juice of a recipe: how much of it, and how many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Any

from service.catalogue.juice_yield import SIZE_SD_SHARE, JuiceYield, juice_yields
from service.errors import InputError
from service.planner.answers_decisions import SHOWN
from service.planner.asked import AdditionAsked, Circumstances, FruitGiven
from service.planner.materials import Material
from service.planner.span import NORMAL_90
from service.quantities import mass_text

ZEST = "zest and peel add no juice, and no flavour that is reckoned"


@dataclass(frozen=True, slots=True)
class FruitNeeded:
    """How much whole fruit an amount of juice takes."""

    __pydantic_config__ = SHOWN

    ingredient: str
    """Name of the addition."""
    fruit_mass_g: float | None
    """Whole fruit [g]; null where only its count is known."""
    low: float | None
    """The least that may do [g], where the fruit is at its juiciest."""
    high: float | None
    """The most that it may take [g]."""
    fruit_count: float | None
    """Pieces of the usual size; null where their size is not known."""
    text: str
    """The same in words."""
    source_id: str
    """Key of /v1/sources; `reading` where the caller pressed and measured."""


def juice_of_fruit(known: JuiceYield, *, mass_g: float | None = None, count: float | None = None) -> FruitGiven:
    """The juice that whole fruit gives.

    juice = mass · juice per gram of whole fruit, or count · juice of one piece

    Parameters: known, the yield of the fruit; one of mass_g of whole fruit [g] and count of pieces.
    Returns: FruitGiven, its juice with the ends of what it may be [g].
    Raises: InputError where not just one of the two is given.
    Validity: fruit of the usual size and ripeness, pressed by hand or by a small press.
    Source: USDA SR28 (juice, edible part and refuse of one piece); ranges of the yield derived or judged, that of one
    piece by the published deviation of limes, judged alike for other fruit.

    Example: ten lemons give 480 g of juice (USDA SR28 NDB 09152: 48 g a lemon, n = 70).

    >>> juice_of_fruit(juice_yields()["lemon_juice_fresh"], count=10).juice_g
    480.0
    """
    if (mass_g is None) == (count is None):
        raise InputError("Give the fruit by its mass or by its count, one of the two.")
    if count is not None:
        juice_g = count * known.juice_g_of_one
        spread = NORMAL_90 * SIZE_SD_SHARE
        return FruitGiven(None, count, juice_g, juice_g * (1.0 - spread), juice_g * (1.0 + spread), False)
    assert mass_g is not None
    low_g, high_g = mass_g * known.per_whole_low, mass_g * known.per_whole_high
    return FruitGiven(mass_g, None, mass_g * known.per_whole, low_g, high_g, False)


def juice_sd_g(fruit: FruitGiven) -> float:
    """Standard deviation of the juice of fruit [g]: its wider side taken as that of a 90 % interval."""
    return max(fruit.juice_high_g - fruit.juice_g, fruit.juice_g - fruit.juice_low_g) / NORMAL_90


def fruit_needed(
    materials: Sequence[Material], masses_g: Sequence[float], circumstances: Circumstances
) -> tuple[FruitNeeded, ...]:
    """The whole fruit that the juices of a blend are pressed from, of each whose yield is known.

    Parameters: materials; masses_g of each [g]; circumstances, in whose units it is told.
    Returns: one for each such juice of which there is any.
    """
    found = []
    for material, mass_g in zip(materials, masses_g, strict=True):
        asked = material.source
        if mass_g <= 0.0 or not isinstance(asked, AdditionAsked):
            continue
        known = juice_yields().get(asked.ingredient.id)
        if asked.fruit is not None and asked.fruit.pressed:
            found.append(_by_own_yield(material.name, mass_g, asked.fruit, known, circumstances))
        elif known is not None:
            found.append(_by_table(material.name, mass_g, known, circumstances))
    return tuple(found)


def price_body(asked: AdditionAsked, sent: Mapping[str, Any]) -> dict[str, Any]:
    """The price of an addition whose fruit a further request no longer names: that of its juice.

    Parameters: asked; sent, the addition as the request has it.
    Returns: `price` of a body, as it was sent where no fruit was; empty without a price.
    """
    if asked.price_per_g is None or "price" not in sent:
        return {}
    if asked.fruit is None:
        return {"price": sent["price"]}
    return {"price": {"amount": float(f"{1000.0 * asked.price_per_g:.7g}"), "per": "1 kg"}}


def fruit_sources(needed: Sequence[FruitNeeded]) -> tuple[str, ...]:
    """The documents behind the fruit of a blend, by key.

    Parameters: needed, as of `fruit_needed`.
    Returns: keys of the bibliography, each once.
    """
    own = dict.fromkeys(n.source_id for n in needed)
    beside = {known.sources[0]: known.sources for known in juice_yields().values()}
    return tuple(dict.fromkeys(key for first in own for key in beside.get(first, (first,))))


def _by_table(name: str, juice_g: float, known: JuiceYield, circumstances: Circumstances) -> FruitNeeded:
    fruit_g, low, high = (juice_g / y for y in (known.per_whole, known.per_whole_high, known.per_whole_low))
    count = juice_g / known.juice_g_of_one
    told, least, most = (_rough(g, circumstances) for g in (fruit_g, low, high))
    text = f"About {told} of whole fruit ({least} to {most}), or {_pieces(count, known)}; {ZEST}."
    return FruitNeeded(name, round(fruit_g, 1), round(low, 1), round(high, 1), round(count, 1), text, known.sources[0])


def _rough(mass_g: float, circumstances: Circumstances) -> str:
    """A mass of fruit in two digits: no more is known of it."""
    return mass_text(mass_g, circumstances.system, 10.0 ** (floor(log10(mass_g)) - 1))


def _pieces(count: float, known: JuiceYield) -> str:
    """Whole pieces, as many as it takes to have enough."""
    return f"{ceil(count - 0.05)} {known.fruit_plural}" if count >= 1.5 else f"{count:.1f} of one {known.fruit}"


def _by_own_yield(
    name: str, juice_g: float, fruit: FruitGiven, known: JuiceYield | None, circumstances: Circumstances
) -> FruitNeeded:
    """By what the caller's fruit gave."""
    share = juice_g / fruit.juice_g
    mass_g = None if fruit.mass_g is None else share * fruit.mass_g
    count = None if fruit.count is None else share * fruit.count
    if mass_g is not None and count is None and known is not None:
        count = mass_g / known.whole_fruit_g
    told = [] if mass_g is None else [f"{_rough(mass_g, circumstances)} of whole fruit"]
    if count is not None:
        told.append(f"{count:.1f} pieces" if known is None or mass_g is None else _pieces(count, known))
    exact = None if mass_g is None else round(mass_g, 1)
    text = f"{' or '.join(told)}, by the juice that was pressed; {ZEST}."
    return FruitNeeded(
        name, exact, exact, exact, None if count is None else round(count, 1), text[:1].upper() + text[1:], "reading"
    )
