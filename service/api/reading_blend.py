"""Reads additions, targets and preferences, and whole blend requests."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import partial
from math import inf
from typing import Final

from service.api.later import KITCHEN_ROUNDING, PACK_PRICE
from service.api.numbers import RequestModel
from service.api.reading import (
    MASS,
    MASS_OR_VOLUME,
    VOLUME,
    Reader,
    circumstances_from,
    distinct,
    end_point_from,
    lot_from,
    meq_per_l,
)
from service.api.requests import (
    AdditionBase,
    AdditionIn,
    AdditionPoured,
    BlendForecastRequest,
    BlendPlanRequest,
    CompositionIn,
    LotIn,
    MeasuredIn,
    PreferenceIn,
    PriceIn,
    TargetIn,
    TargetNear,
    TargetRange,
)
from service.catalogue.derived import density_g_ml
from service.catalogue.inline import ingredient_from_composition
from service.catalogue.lookup import get_ingredient, resolve_id
from service.catalogue.overrides import Measured, with_measured
from service.catalogue.records import FruitFamily, Ingredient
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, NotBuiltYetError, QuantityError, ServiceError
from service.model.properties import PROPERTIES
from service.planner.asked import (
    AdditionAsked,
    ForecastAsked,
    LotAsked,
    PlanAsked,
    Preference,
    RecipeAsked,
    TargetAsked,
)
from service.quantities import AcidityBasis, Kind, parse_acidity, parse_quantity, parse_sugar_concentration

_DENSITY: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*(g/ml|kg/l|kg/m3|kg/m³)\s*", re.IGNORECASE)
_PLAUSIBLE: Final = {
    "gravity": (0.7, 1.6),
    "abv_percent": (0.0, 100.0),
    "ph": (1.5, 10.0),
    "brix": (0.0, 100.0),
    "juice_percent": (0.0, 1000.0),
    "citrus_percent": (0.0, 1000.0),
    "energy_kcal_per_100ml": (0.0, 1000.0),
    "sugar_acid_ratio": (0.0, 1e5),
    "cost": (0.0, 1e12),
}
_GRAMS_PER_LITRE: Final = (0.0, 2000.0)
_MOST_L: Final = 1e8
_MOST_G: Final = 1e11


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
    temperature = 20.0
    if given.refractive_index_temperature is not None:
        if given.refractive_index is None:
            raise InputError("A temperature without a refractive index.", "/refractive_index_temperature")
        temperature = parse_quantity(
            given.refractive_index_temperature, {Kind.TEMPERATURE}, pointer="/refractive_index_temperature"
        ).value_base
    if given.titration_end_point_ph is not None and given.titratable_acidity is None:
        raise InputError("An end point belongs to a titration: give titratable_acidity too.", "/titration_end_point_ph")
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


def _inline(given: CompositionIn) -> Ingredient:
    return ingredient_from_composition(
        given.name,
        given.components_g_per_100g,
        ta_g_citric_per_100g=given.ta_g_citric_per_100g,
        ph=given.ph,
        juice_share_percent=given.juice_share_percent,
        fruit_family=FruitFamily(given.fruit_family),
    )


def mass_from(text: str, ingredient: Ingredient, reader: Reader, pointer: str) -> float:
    """The mass [g] of an amount given by mass or, for a liquid, by volume."""
    quantity = reader.quantity(text, MASS_OR_VOLUME, pointer, liquid=not ingredient.bulk_solid)
    if quantity.kind is Kind.MASS:
        return _within(quantity.value_base, _MOST_G, "100,000 t", pointer)
    try:
        return _within(quantity.value_base * density_g_ml(ingredient), _MOST_G, "100,000 t", pointer)
    except ServiceError as error:
        raise error.below(pointer) from error


def _price_per_g(given: PriceIn, ingredient: Ingredient, reader: Reader) -> float:
    if parse_quantity(given.per, MASS_OR_VOLUME | {Kind.PACKS}, pointer="/price/per").kind is Kind.PACKS:
        raise NotBuiltYetError(PACK_PRICE, "/price/per")
    mass_g = mass_from(given.per, ingredient, reader, "/price/per")
    if mass_g <= 0.0:
        raise InputError("A price is for more than nothing.", "/price/per")
    return float(given.amount) / mass_g


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


def addition_from(given: AdditionIn | AdditionPoured, reader: Reader) -> AdditionAsked:
    """An addition as the planner takes it."""
    table, alias, measured = _ingredient(given)
    ingredient = table if measured is None else measured.ingredient
    least, most = 0.0, None
    if given.amount is not None:
        if isinstance(given, AdditionIn) and (given.min is not None or given.max is not None):
            raise InputError("Give a fixed amount or limits, not both.", "/amount")
        least = most = mass_from(given.amount, ingredient, reader, "/amount")
    elif isinstance(given, AdditionIn):
        least = 0.0 if given.min is None else mass_from(given.min, ingredient, reader, "/min")
        most = None if given.max is None else mass_from(given.max, ingredient, reader, "/max")
        if most is not None and least > most:
            raise InconsistentError("The least to add is more than the most.", "/min")
    return AdditionAsked(
        ingredient,
        alias,
        least,
        most,
        None if given.price is None else _price_per_g(given.price, ingredient, reader),
        given.treatment,
        () if measured is None else measured.changed,
        () if measured is None else measured.cautions,
        given.model_dump_json(exclude_defaults=True),
        given.amount,
    )


def _within(value: float, most: float, words: str, pointer: str) -> float:
    """Refuse an amount that no cellar holds."""
    if value > most:
        raise InputError(f"That is more than {words}: check the unit.", pointer)
    return value


def _target_value(name: str, given: float | str, pointer: str, reader: Reader) -> float:
    """One number of a target in its property's unit."""
    law = PROPERTIES[name]
    if isinstance(given, str):
        if name == "titratable_acidity":
            acidity = parse_acidity(given, pointer=pointer)
            if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
                raise InputError("Give the acidity of a drink per litre, such as “7 g/L tartaric”.", pointer)
            return acid_g_per_l_from_meq_per_l(meq_per_l(acidity, 1.0), Acid.TARTARIC)
        if name in ("volume", "added_volume"):
            litres = reader.quantity(given, VOLUME, pointer, liquid=True).value_base / 1000.0
            return _within(litres, _MOST_L, "100,000,000 L", pointer)
        if name == "added_mass":
            return _within(reader.quantity(given, MASS, pointer).value_base, _MOST_G, "100,000 t", pointer)
        if name.endswith("_g_per_l"):
            return parse_sugar_concentration(given, pointer=pointer).g_per_l
        raise InputError(f"Write {name} as a number ({law.unit or 'a ratio'}), without quotes.", pointer)
    if name in ("titratable_acidity", "volume", "added_mass", "added_volume"):
        example = {"titratable_acidity": "7 g/L tartaric", "added_mass": "2.5 kg"}.get(name, "25 L")
        raise QuantityError(f"Write {name} with its unit, such as “{example}”.", pointer)
    value = float(given)
    low, high = _PLAUSIBLE.get(name, _GRAMS_PER_LITRE)
    if not low <= value <= high:
        hint = f" Did you mean {value / 1000.0:g}?" if name == "gravity" and 700.0 <= value <= 1600.0 else ""
        raise InputError(f"{name} of a drink lies between {low:g} and {high:g}, not at {value:g}.{hint}", pointer)
    return value


def target_from(name: str, given: TargetIn, reader: Reader) -> TargetAsked:
    """A target as the planner takes it."""
    law = PROPERTIES[name]
    if isinstance(given, TargetRange):
        if given.min is None and given.max is None:
            raise InputError("Give a min, a max, or both.")
        low = -inf if given.min is None else _target_value(name, given.min, "/min", reader)
        high = inf if given.max is None else _target_value(name, given.max, "/max", reader)
        if low > high:
            raise InconsistentError("The least is more than the most.", "/min")
        words = " to ".join(str(v) for v in (given.min, given.max) if v is not None)
        if given.min is None or given.max is None:
            words = f"{'at most' if given.min is None else 'at least'} {words}"
        return TargetAsked(name, low, high, None, words, given.priority or 1)
    if isinstance(given, TargetNear):
        value = _target_value(name, given.value, "/value", reader)
        half = law.tolerance(value)
        words = str(given.value)
        if given.tolerance is not None:
            half = _tolerance(name, given.tolerance, reader)
            words += f" ± {given.tolerance}"
        return TargetAsked(name, value - half, value + half, value, words, given.priority or 1)
    value = _target_value(name, given, "", reader)
    half = law.tolerance(value)
    return TargetAsked(name, value - half, value + half, value, str(given))


def _tolerance(name: str, given: float | str, reader: Reader) -> float:
    if isinstance(given, str):
        half = _target_value(name, given, "/tolerance", reader)
    elif name in ("titratable_acidity", "volume", "added_mass", "added_volume"):
        half = _target_value(name, given, "/tolerance", reader)  # refuses the bare number in its own words
    else:
        half = float(given)
    if half < 0.0:
        raise InputError("A tolerance is zero or more.", "/tolerance")
    return half


def preference_from(given: PreferenceIn) -> Preference:
    """A preference as the planner takes it."""
    if (given.maximise is None) == (given.minimise is None):
        raise InputError("Name one property to maximise or one to minimise.")
    name = given.maximise or given.minimise or ""
    return Preference(name, given.maximise is not None)


def _lots(given: Sequence[LotIn], hydrometer_c: float, reader: Reader, pointer: str) -> tuple[LotAsked, ...]:
    reader.attempt("", lambda: distinct([lot.name for lot in given], "lots", pointer))
    found = [
        reader.attempt(f"{pointer}/{i}", partial(lot_from, lot, hydrometer_c, reader)) for i, lot in enumerate(given)
    ]
    return tuple(lot for lot in found if lot is not None)


def _additions(given: Sequence[RequestModel], reader: Reader, pointer: str) -> tuple[AdditionAsked, ...]:
    found = []
    for i, addition in enumerate(given):
        assert isinstance(addition, AdditionIn | AdditionPoured)
        asked = reader.attempt(f"{pointer}/{i}", partial(addition_from, addition, reader))
        if asked is not None:
            found.append(asked)
    return tuple(found)


def _no_shared_names(
    lots: Sequence[LotAsked], additions: Sequence[AdditionAsked], reader: Reader, pointer: str
) -> None:
    """A lot that is called like an ingredient could not be told from it in the answer."""
    ids = {addition.ingredient.id for addition in additions}
    for k, lot in enumerate(lots):
        if lot.lot.name in ids:
            reader.faults.append(
                InputError(f"“{lot.lot.name}” is the id of an ingredient too: rename the lot.", f"{pointer}/{k}/name")
            )


def plan_from(given: BlendPlanRequest, deadline_s: float) -> PlanAsked:
    """A blend request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    hydrometer_c = instruments.hydrometer_calibrated_at_c
    lots = _lots(given.lots, hydrometer_c, reader, "/lots")
    additions = _additions(given.additions, reader, "/additions")
    targets = [
        reader.attempt(f"/targets/{name}", partial(target_from, name, target, reader))
        for name, target in sorted(given.targets.items())
    ]
    prefer = [
        reader.attempt(f"/prefer/{i}", partial(preference_from, preference))
        for i, preference in enumerate(given.prefer)
    ]
    if given.rounding == "kitchen":
        reader.faults.append(NotBuiltYetError(KITCHEN_ROUNDING, "/rounding"))
    if not given.lots and not given.additions:
        reader.faults.append(InputError("Name at least one lot or one addition.", "/lots"))
    _no_shared_names(lots, additions, reader, "/lots")
    reader.finish()
    return PlanAsked(
        lots,
        additions,
        tuple(t for t in targets if t is not None),
        tuple(p for p in prefer if p is not None),
        given.rounding,
        circumstances(),
        deadline_s,
    )


def forecast_from(given: BlendForecastRequest) -> ForecastAsked:
    """A forecast request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    hydrometer_c = instruments.hydrometer_calibrated_at_c
    reader.attempt("", lambda: distinct([r.name for r in given.recipes], "recipes", "/recipes"))
    recipes = []
    for i, recipe in enumerate(given.recipes):
        lots = _lots(recipe.lots, hydrometer_c, reader, f"/recipes/{i}/lots")
        for k, lot in enumerate(lots):
            if not lot.fixed:
                reader.faults.append(
                    InputError("A recipe pours a given amount: let min and max be equal.", f"/recipes/{i}/lots/{k}/use")
                )
        additions = _additions(recipe.additions, reader, f"/recipes/{i}/additions")
        _no_shared_names(lots, additions, reader, f"/recipes/{i}/lots")
        if not recipe.lots and not recipe.additions:
            reader.faults.append(InputError("A recipe needs a lot or an addition.", f"/recipes/{i}"))
        recipes.append(RecipeAsked(recipe.name, lots, additions))
    reader.finish()
    return ForecastAsked(tuple(recipes), circumstances())
