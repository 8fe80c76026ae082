"""Reads additions: ingredients as measured, their limits, packs and prices."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

from service.api.reading import (
    MASS_OR_VOLUME,
    MIN_ABOVE_MAX,
    VOLUME,
    Reader,
    end_point_from,
    meq_per_l,
    share_of_error,
)
from service.api.reading_fruit import fruit_assumed, fruit_from, price_assumed, price_per_juice_g
from service.api.reading_prices import price_per_g
from service.api.requests import AdditionBase, AdditionIn, AdditionPoured, CompositionIn, LabelIn, MeasuredIn, PriceIn
from service.catalogue.inline import ingredient_from_composition
from service.catalogue.label import Label, dilution_from_text, label_assumptions, with_label
from service.catalogue.lookup import get_ingredient, resolve_id
from service.catalogue.overrides import Measured, with_measured
from service.catalogue.records import FruitFamily, Ingredient
from service.errors import InconsistentError, InputError, QuantityError, ServiceError
from service.model.lot_class import Assumed
from service.planner.asked import AdditionAsked, FruitGiven, Instruments
from service.planner.fruit import juice_sd_g
from service.planner.materials import liquid_density_g_ml
from service.quantities import AcidityBasis, Kind, parse_acidity, parse_quantity

_DENSITY: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(g/ml|kg/l|kg/m3|kg/m³)\s*", re.IGNORECASE)
_MOST_G: Final = 1e11
_DUST: Final = 1e-9


def within(value: float, most: float, words: str, pointer: str) -> float:
    """Refuse an amount that no cellar holds."""
    if value > most:
        raise InputError(f"That is more than {words}: check the unit.", pointer)
    return value


def _density(text: str) -> float:
    found = _DENSITY.fullmatch(text)
    if found is None:
        raise QuantityError(f"“{text}”: write a density such as “1.045 g/mL” or “1045 kg/m3”.", "/density")
    value = float(found.group(1))
    return value / 1000.0 if found.group(2).lower().startswith("kg/m") else value


def _measured(ingredient: Ingredient, given: MeasuredIn) -> Measured:
    per_l = per_kg = None
    if given.titratable_acidity is not None:
        acidity = parse_acidity(given.titratable_acidity, pointer="/titratable_acidity")
        value = meq_per_l(acidity, 1.0)
        if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
            per_kg = value
        else:
            per_l = value
    if given.titration_end_point_ph is not None and given.titratable_acidity is None:
        raise InputError(
            "An end point belongs to a titration: give the acidity too (titratable_acidity).", "/titration_end_point_ph"
        )
    if given.refractive_index_temperature is not None and given.refractive_index is None:
        raise InputError("A temperature without a refractive index.", "/refractive_index_temperature")
    if given.label is not None:
        return _labelled(ingredient, given, per_kg, per_l)
    temperature = 20.0
    if given.refractive_index_temperature is not None:
        temperature = parse_quantity(
            given.refractive_index_temperature, {Kind.TEMPERATURE}, pointer="/refractive_index_temperature"
        ).value_base
    if given.brix_is_refractometer_reading and given.brix is None:
        raise InputError("Give the refractometer's reading as brix.", "/brix")
    return with_measured(
        ingredient,
        brix=given.brix,
        brix_is_refractometer_reading=given.brix_is_refractometer_reading,
        moisture_percent=given.moisture_percent,
        refractive_index=given.refractive_index,
        refractive_index_temperature_c=temperature,
        density_g_ml=None if given.density is None else _density(given.density),
        titratable_acidity_meq_per_kg=per_kg,
        titratable_acidity_meq_per_l=per_l,
        ph=given.ph,
        end_point_ph=end_point_from(given.titration_end_point_ph),
    )


_BESIDE_LABEL = ("brix", "moisture_percent", "refractive_index", "density", "brix_is_refractometer_reading")


def _label(given: LabelIn) -> Label:
    serving = parse_quantity(given.serving, VOLUME, liquid=True, pointer="/label/serving").value_base
    if serving <= 0.0:
        raise InputError("A serving holds more than nothing.", "/label/serving")
    return Label(
        serving,
        float(given.sugar_g),
        None if given.juice_percent is None else float(given.juice_percent),
        None if given.diluted is None else dilution_from_text(given.diluted),
    )


def _labelled(ingredient: Ingredient, given: MeasuredIn, per_kg: float | None, per_l: float | None) -> Measured:
    """The ingredient by its nutrition label; acidity and pH may be measured besides."""
    assert given.label is not None
    for name in _BESIDE_LABEL:
        if name in given.model_fields_set and getattr(given, name):
            raise InputError(f"The label and {name} both speak of the solids: give one of them.", f"/{name}")
    return with_label(
        ingredient,
        _label(given.label),
        titratable_acidity_meq_per_kg=per_kg,
        titratable_acidity_meq_per_l=per_l,
        ph=given.ph,
        end_point_ph=end_point_from(given.titration_end_point_ph),
    )


def _inline(given: CompositionIn) -> Ingredient:
    return ingredient_from_composition(
        given.name,
        given.components_g_per_100g,
        ta_g_citric_per_100g=given.ta_g_citric_per_100g,
        ph=given.ph,
        juice_share_percent=given.juice_share_percent,
        fruit_family=FruitFamily(given.fruit_family),
    )


@dataclass(frozen=True, slots=True)
class Weighed:
    """A mass, its stated error, and whether it was poured by volume instead; all in grams."""

    mass_g: float
    error_g: float | None
    by_volume: bool
    density_g_ml: float


def weighed_from(text: str, ingredient: Ingredient, reader: Reader, pointer: str, *, read: bool = True) -> Weighed:
    """An amount given by mass or, for a liquid, by volume, with its error where it was `read` off something."""
    quantity = reader.quantity(text, MASS_OR_VOLUME, pointer, liquid=not ingredient.bulk_solid, read=read)
    density, by_volume = 1.0, quantity.kind is not Kind.MASS
    if by_volume:
        try:
            density = liquid_density_g_ml(ingredient)
        except ServiceError as error:
            raise error.below(pointer) from error
    mass_g = within(quantity.value_base * density, _MOST_G, "100,000 t", pointer)
    error_g = None if quantity.error_base is None else quantity.error_base * density
    return Weighed(mass_g, error_g, by_volume, density)


def mass_from(text: str, ingredient: Ingredient, reader: Reader, pointer: str) -> float:
    """The mass [g] of an amount given by mass or, for a liquid, by volume, without an error."""
    return weighed_from(text, ingredient, reader, pointer, read=False).mass_g


def _price_per_g(given: PriceIn, ingredient: Ingredient, pack_g: float | None, reader: Reader) -> float:
    if parse_quantity(given.per, MASS_OR_VOLUME | {Kind.PACKS}, pointer="/price/per").kind is Kind.PACKS:
        mass_g = _packs(given.per, pack_g, "/price/per")
    else:
        mass_g = mass_from(given.per, ingredient, reader, "/price/per")
    return price_per_g(given.amount, mass_g)


def _packs(text: str, pack_g: float | None, pointer: str) -> float:
    """The mass [g] of a number of packs."""
    packs = parse_quantity(text, {Kind.PACKS}, pointer=pointer).value_base
    if pack_g is None:
        raise InputError("Say what a pack holds: “pack”, such as “1 kg” or “12 fl oz”.", pointer)
    return packs * pack_g


def _ingredient(given: AdditionBase) -> tuple[Ingredient, str | None, Measured | None]:
    """The ingredient as measured, and the short name it was asked for by."""
    if (given.ingredient is None) == (given.composition is None):
        raise InputError("Name an ingredient of the catalogue or give its composition, one of the two.", "/ingredient")
    alias = None
    if given.ingredient is not None:
        try:
            ingredient = get_ingredient(given.ingredient)
        except ServiceError as error:
            raise error.below("/ingredient") from error
        alias = given.ingredient if resolve_id(given.ingredient) != given.ingredient else None
    else:
        assert given.composition is not None
        try:
            ingredient = _inline(given.composition)
        except ServiceError as error:
            error.pointer = error.pointer.replace("/composition", "/components_g_per_100g", 1)
            raise error.below("/composition") from error
    if given.measured is None or not given.measured.model_fields_set:
        return ingredient, alias, None
    try:
        return ingredient, alias, _measured(ingredient, given.measured)
    except ServiceError as error:
        raise error.below("/measured") from error


def _speaks_of_packs(text: str, pack_g: float | None, pointer: str) -> bool:
    try:
        return parse_quantity(text, MASS_OR_VOLUME | {Kind.PACKS}, liquid=False, pointer=pointer).kind is Kind.PACKS
    except QuantityError:
        if pack_g is not None:
            raise
        return False  # refused in the words of masses and volumes


def _limit(
    text: str | None, ingredient: Ingredient, pack_g: float | None, reader: Reader, pointer: str
) -> float | None:
    """A limit [g], given as a mass, a volume or a number of packs."""
    if text is None:
        return None
    if _speaks_of_packs(text, pack_g, pointer):
        return within(_packs(text, pack_g, pointer), _MOST_G, "100,000 t", pointer)
    return mass_from(text, ingredient, reader, pointer)


def _pack(given: AdditionIn, ingredient: Ingredient, reader: Reader) -> float | None:
    """What a pack holds [g]."""
    if given.pack is None:
        if given.max_packs is not None or given.half_packs:
            raise InputError("Say what a pack holds: “pack”, such as “1 kg” or “12 fl oz”.", "/pack")
        return None
    mass_g = mass_from(given.pack, ingredient, reader, "/pack")
    if mass_g <= 0.0:
        raise InputError("A pack holds more than nothing. Write what one holds, such as “1 kg”.", "/pack")
    return mass_g


@dataclass(frozen=True, slots=True)
class _Limits:
    least_g: float = 0.0
    most_g: float | None = None
    pack_g: float | None = None
    whole_g: float | None = None
    unit: str | None = None
    amount_sd_g: float | None = None


JUG_SD_STEPS = 0.25
"""Standard deviation of a volume poured by a jug in steps of its marks: it is read to half a step (judged)."""


def amount_sd_g(poured: Weighed, jug_step_ml: float) -> float | None:
    """The standard deviation of an amount [g]: as stated, or the jug's; None where a scale showed it."""
    if poured.error_g is not None:
        return poured.error_g
    if not poured.by_volume:
        return None
    step_ml = min(jug_step_ml, max(poured.mass_g / poured.density_g_ml / _MARKS, 0.1))
    return JUG_SD_STEPS * step_ml * poured.density_g_ml


_MARKS = 20.0
"""A small amount is poured by a small measure: one with marks at no more than a twentieth of it (judged)."""


def _limits(given: AdditionIn, ingredient: Ingredient, reader: Reader, jug_step_ml: float) -> _Limits:
    """Between what masses it may be chosen, and in what packs."""
    pack_g = _pack(given, ingredient, reader)
    if given.amount is not None:
        if given.min is not None or given.max is not None or given.max_packs is not None:
            raise InputError("Give a fixed amount or limits, not both.", "/amount")
        if pack_g is None and not _speaks_of_packs(given.amount, pack_g, "/amount"):
            poured = weighed_from(given.amount, ingredient, reader, "/amount")
            return _Limits(poured.mass_g, poured.mass_g, amount_sd_g=amount_sd_g(poured, jug_step_ml))
        fixed = _limit(given.amount, ingredient, pack_g, reader, "/amount") or 0.0
        if pack_g is not None:
            part_g = 0.5 * pack_g if given.half_packs else pack_g
            if abs(fixed / part_g - round(fixed / part_g)) > _DUST * max(fixed / part_g, 1.0):
                raise InputError("That is no whole number of packs: change it, or leave pack out.", "/amount")
        return _Limits(fixed, fixed, pack_g)
    least = _limit(given.min, ingredient, pack_g, reader, "/min") or 0.0
    most = _limit(given.max, ingredient, pack_g, reader, "/max")
    unit = next((_unit(text) for text in (given.max, given.min) if text is not None), None)
    if pack_g is None:
        if most is not None and least > most:
            raise InconsistentError(MIN_ABOVE_MAX, "/min")
        return _Limits(least, most, unit=unit)
    if given.max_packs is not None:
        if most is not None:
            raise InputError("Give max or max_packs, not both.", "/max_packs")
        most = within(given.max_packs * pack_g, _MOST_G, "100,000 t", "/max_packs")
    whole_g = 0.5 * pack_g if given.half_packs else pack_g
    if most is not None and ceil(least / whole_g * (1.0 - _DUST)) > floor(most / whole_g * (1.0 + _DUST)):
        raise InconsistentError("No whole number of packs lies between the least and the most.", "/min")
    return _Limits(least, most, pack_g, whole_g, unit)


def _unit(text: str) -> str | None:
    quantity = parse_quantity(text, MASS_OR_VOLUME | {Kind.PACKS})
    return None if quantity.kind is Kind.PACKS else quantity.unit


def addition_from(
    given: AdditionIn | AdditionPoured, reader: Reader, jug_step_ml: float = Instruments().jug_step_ml
) -> AdditionAsked:
    """An addition as the planner takes it."""
    table, alias, measured = _ingredient(given)
    ingredient = table if measured is None else measured.ingredient
    fruit = _fruit(given, ingredient, reader, jug_step_ml)
    if fruit is not None:
        limits = _limits_of_fruit(given, fruit, ingredient, reader)
    elif isinstance(given, AdditionIn):
        limits = _limits(given, ingredient, reader, jug_step_ml)
    elif given.amount is None:
        raise InputError("Say how much of it: amount, or for juice the fruit it is pressed from.", "/amount")
    else:
        poured = weighed_from(given.amount, ingredient, reader, "/amount")
        limits = _Limits(poured.mass_g, poured.mass_g, amount_sd_g=amount_sd_g(poured, jug_step_ml))
    price, priced = _priced(given, fruit, ingredient, limits.pack_g, reader)
    return AdditionAsked(
        ingredient,
        alias,
        limits.least_g,
        limits.most_g,
        price,
        given.treatment,
        () if measured is None else measured.changed,
        () if measured is None else measured.cautions,
        given.model_dump_json(exclude_defaults=True),
        given.amount,
        limits.unit,
        limits.pack_g,
        limits.whole_g,
        (*_label_assumed(given), *fruit_assumed(fruit, ingredient), *priced),
        limits.amount_sd_g,
        _acidity_share(given),
        fruit=fruit,
    )


def _priced(
    given: AdditionIn | AdditionPoured,
    fruit: FruitGiven | None,
    ingredient: Ingredient,
    pack_g: float | None,
    reader: Reader,
) -> tuple[float | None, tuple[Assumed, ...]]:
    """The price of a gram [1/g], and what it was taken to be for where that has to be said.

    Beside fruit a price by mass is that of the fruit, one by volume that of its juice.
    """
    if given.price is None:
        return None, ()
    if fruit is None:
        return _price_per_g(given.price, ingredient, pack_g, reader), ()
    kind = parse_quantity(given.price.per, MASS_OR_VOLUME | {Kind.PACKS}, pointer="/price/per").kind
    if kind is Kind.PACKS:
        raise InputError("Beside fruit a price is per mass of fruit, or per volume of juice.", "/price/per")
    price = _price_per_g(given.price, ingredient, pack_g, reader)
    if kind is Kind.MASS:
        price = price_per_juice_g(price, fruit, ingredient)
    return price, (price_assumed(fruit, ingredient, of_fruit=kind is Kind.MASS),)


def _fruit(
    given: AdditionIn | AdditionPoured, ingredient: Ingredient, reader: Reader, jug_step_ml: float
) -> FruitGiven | None:
    """The fruit of an addition; a juice told without an error was measured in the caller's jug."""
    if given.pressed is None:
        return fruit_from(given, ingredient, reader, 0.0)
    juice = weighed_from(given.pressed, ingredient, Reader(), "/pressed")
    return fruit_from(given, ingredient, reader, amount_sd_g(juice, jug_step_ml) or 0.0)


def _limits_of_fruit(
    given: AdditionIn | AdditionPoured, fruit: FruitGiven, ingredient: Ingredient, reader: Reader
) -> _Limits:
    """All the juice that fruit gives where the amount is to be told, at most so much where it is to be chosen."""
    if isinstance(given, AdditionPoured):
        return _Limits(fruit.juice_g, fruit.juice_g, amount_sd_g=juice_sd_g(fruit) or None)
    least = _limit(given.min, ingredient, None, reader, "/min") or 0.0
    if least > fruit.juice_g:
        raise InconsistentError(f"The fruit gives about {fruit.juice_g:.0f} g of juice, less than min.", "/min")
    return _Limits(least, fruit.juice_g, unit=None if given.min is None else _unit(given.min))


def _acidity_share(given: AdditionBase) -> float | None:
    text = None if given.measured is None else given.measured.titratable_acidity
    return None if text is None else share_of_error(parse_acidity(text))


def _label_assumed(given: AdditionBase) -> tuple[Assumed, ...]:
    if given.measured is None or given.measured.label is None:
        return ()
    return tuple(Assumed(*words) for words in label_assumptions(_label(given.measured.label)))
