"""Unknowns in a maker's own terms: Brix, moisture, per cent of acid, litres, grams, as figures with their units."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

from service.catalogue.records import Category, Ingredient, Spread
from service.model.contents import Contents
from service.model.ingredient_unknowns import HONEY_GLUCOSE_SD_G_PER_100G, unknowns_per_g
from service.model.properties import PROPERTIES, property_value
from service.model.unknowns import Unknown
from service.physics.solutes import Component
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.beliefs import AMOUNT
from service.planner.materials import Material
from service.planner.plain_words import FINE_ML, amount_in_words
from service.quantities import Kind, volume_text
from service.quantities.units import UNIT_BY_SPELLING

VOLUME: Final = "volume"
"""Name of the unknown that is how much there was of a lot."""


@dataclass(frozen=True, slots=True)
class Term:
    """An unknown in a maker's terms: `value_at` its value is the figure in `unit`, told with so many `decimals`.

    `more` and `less` say what a material is whose figure is higher or lower; `rests_on` what the figure came from.
    `words`, where there are any, tell a figure as the caller's jug or scale shows it.
    """

    what: str
    unit: str
    decimals: int
    value_at: Callable[[float], float]
    rests_on: str
    more: str = ""
    less: str = ""
    words: Callable[[float], str] | None = None

    def digits(self, value: float) -> str:
        """A figure without its unit, or in the caller's own."""
        return f"{value:.{self.decimals}f}" if self.words is None else self.words(value)

    def shown(self, value: float) -> str:
        """A figure with its unit."""
        return f"{value:.{self.decimals}f} {self.unit}".strip() if self.words is None else self.words(value)


_OF_LOT: Final = {
    "gravity": ("gravity", "gravity", "denser", "lighter"),
    "strength": ("abv_percent", "strength", "stronger", "weaker"),
    "original gravity": ("abv_percent", "strength by its original gravity", "stronger", "weaker"),
    "residual sugar": ("sugar_g_per_l", "residual sugar", "sweeter", "drier"),
    "pH": ("ph", "pH", "", ""),
    "acidity": ("titratable_acidity", "acidity", "more acid", "less acid"),
}
_ASSUMED, _ENTERED = "assumed", "entered"


def term_of(unknown: Unknown, material: Material, mass_g: float, circumstances: Circumstances) -> Term | None:
    """An unknown of a material in its maker's terms; None where makers have no term for it.

    Parameters: unknown of the whole amount of the material, or of a gram of it; material; mass_g of it [g];
        circumstances.
    Returns: Term.
    """
    if unknown.what in (AMOUNT, VOLUME):
        return _of_amount(unknown, material, mass_g, circumstances)
    if isinstance(material.source, LotAsked):
        return _of_lot(unknown, material, material.source, circumstances)
    return _of_ingredient(unknown, material, material.source, circumstances)


def _of_amount(unknown: Unknown, material: Material, mass_g: float, circumstances: Circumstances) -> Term:
    """How much went in: litres of a lot or of what was poured by volume, grams of all else."""
    share = -1.0 / unknown.low  # the limit below is where nothing is left
    source = material.source
    unit = None if isinstance(source, LotAsked) else source.unit
    by_volume = unit is not None and UNIT_BY_SPELLING[unit.lower()].kind is Kind.VOLUME
    what = "volume" if isinstance(source, LotAsked) else "amount"
    if isinstance(source, LotAsked) or (by_volume and material.density_g_ml):
        return litres_term(what, mass_g * material.per_g.volume_ml / 1000.0, share, circumstances)
    words: Callable[[float], str] | None = None
    if circumstances.system != "metric":
        words = partial(amount_in_words, circumstances=circumstances, liquid=material.density_g_ml is not None)
    decimals = 0 if mass_g >= _HEAVY_G else 1
    return Term(what, "g", decimals, lambda z: mass_g * (1.0 + share * z), _ENTERED, words=words)


def litres_term(what: str, litres: float, share: float, circumstances: Circumstances) -> Term:
    """A volume of which `share` is the standard deviation; less than a litre of an addition in mL."""
    system = circumstances.system
    if system != "metric":
        return Term(
            what,
            "L",
            2,
            lambda z: litres * (1.0 + share * z),
            _ENTERED,
            words=lambda value: volume_text(1000.0 * value, system, FINE_ML),
        )
    if what == "amount" and litres < 1.0:
        return Term(what, "mL", 0, lambda z: 1000.0 * litres * (1.0 + share * z), _ENTERED)
    return Term(what, "L", 2, lambda z: litres * (1.0 + share * z), _ENTERED)


_HEAVY_G = 100.0
_STEP = 0.1


def _of_lot(unknown: Unknown, material: Material, asked: LotAsked, circumstances: Circumstances) -> Term | None:
    known = _OF_LOT.get(unknown.what)
    if known is None:
        return None
    name, what, more, less = known
    read = {
        "pH": asked.lot.ph_known,
        "acidity": asked.lot.titratable_known,
        "residual sugar": asked.lot.sugar_known,
    }.get(unknown.what, True)
    return _by_property(name, unknown, material, circumstances, what, _ENTERED if read else _ASSUMED, more, less)


def _by_property(
    name: str,
    unknown: Unknown,
    material: Material,
    circumstances: Circumstances,
    what: str,
    rests_on: str,
    more: str,
    less: str,
) -> Term | None:
    """A term that is a property of the material itself, which its contents tell."""
    law = PROPERTIES[name]

    def value_at(z: float) -> float | None:
        contents = material.per_g.plus(Contents(unknown.shift).scaled(z))
        return property_value(law, contents, contents.volume_ml / 1000.0, circumstances.end_point_ph)

    low, usual, high = value_at(-_STEP), value_at(0.0), value_at(_STEP)
    if low is None or usual is None or high is None:
        return None
    slope, middle = (high - low) / (2.0 * _STEP), usual
    unit = {"SG": "", "pH": ""}.get(law.unit, law.unit)
    return Term(what, unit, law.decimals, lambda z: middle + slope * z, rests_on, more, less)


def _of_ingredient(
    unknown: Unknown, material: Material, asked: AdditionAsked, circumstances: Circumstances
) -> Term | None:
    ingredient = asked.ingredient
    measured = set(asked.measured)
    if unknown.what == "strength":
        return _by_property(
            "abv_percent", unknown, material, circumstances, "strength", "its label", "stronger", "weaker"
        )
    if unknown.what == "split of the sugars":
        usual = ingredient.grams(Component.GLUCOSE)
        split = Spread(usual, sd=HONEY_GLUCOSE_SD_G_PER_100G)
        return _by_table(unknown, ingredient, split, "glucose", "g/100 g", 1, "the table", "", "")
    if unknown.what == "solids" and ingredient.brix is not None:
        rests = "measured" if measured - {"titratable_acidity", "ph"} else "the table"
        if ingredient.category is Category.HONEY:
            usual, sd = ingredient.grams(Component.WATER), ingredient.brix.deviation()
            moisture = Spread(usual, sd=-sd)
            return _by_table(unknown, ingredient, moisture, "moisture", "%", 1, rests, "wetter", "drier")
        return _by_table(unknown, ingredient, ingredient.brix, "Brix", "°Bx", 1, rests, "richer", "thinner")
    if unknown.what == "acidity" and ingredient.ta_g_citric_per_100g is not None:
        rests = "measured" if "titratable_acidity" in measured else "the table"
        spread = ingredient.ta_g_citric_per_100g
        return _by_table(unknown, ingredient, spread, "acidity", "% as citric", 2, rests, "more acid", "less acid")
    if unknown.what == "pH" and ingredient.ph is not None:
        rests = "measured" if "ph" in measured else "the table"
        return _by_table(unknown, ingredient, ingredient.ph, "pH", "", 2, rests, "", "")
    if unknown.what == "alkalinity" and ingredient.alkalinity_meq_per_l is not None:
        spread = ingredient.alkalinity_meq_per_l
        return _by_table(unknown, ingredient, spread, "alkalinity", "meq/L", 1, "the table", "", "")
    return None


def _by_table(
    unknown: Unknown,
    ingredient: Ingredient,
    spread: Spread,
    what: str,
    unit: str,
    decimals: int,
    rests_on: str,
    more: str,
    less: str,
) -> Term:
    """A term that a row of the catalogue, or a reading of the ingredient, gives with its spread."""
    factor = _times(unknown, ingredient)
    typical, sd = spread.typical, factor * spread.deviation()
    return Term(what, unit, decimals, lambda z: typical + sd * z, rests_on, more, less)


def _times(unknown: Unknown, ingredient: Ingredient) -> float:
    """How much wider or narrower an unknown is than the spread of the row, because it was measured."""
    for own in unknowns_per_g(ingredient):
        if own.what == unknown.what:
            largest = max(range(len(own.shift)), key=lambda k: abs(own.shift[k]))
            return unknown.shift[largest] / own.shift[largest]
    return 1.0
