"""What a maker measured on a lot replaces the table's figures: scale the solids, keep the split of the sugars.

Let the row have water W, sugars s_i, acids a_j and titratable acidity T₀ [meq/kg] per 100 g.

1. *Solids factor.* Measured Brix B′: f = B′/B. Measured moisture W′: f = (100 − W′)/(100 − W). Measured density: the
   f at which the row's own solids, scaled, have it. Every component but water, the minerals and (unless measured)
   the titratable acidity are multiplied by f; the rest is water.
2. *Acid factor*, where T′ was measured: q = (T′ + f(S − P))/(f (T₀ + S − P)), with the strong ion difference S of the
   row and the charge P of its phosphate at pH 8.2, both per kg. The acids become f q a_j.
3. *Rebalance* by D = f (q − 1) Σ a_j. With measured solids D comes out of the sugars, all by one factor
   h = 1 − D/(f Σ s_i); with TA alone D displaces water.

**The sugar split is held, not measured**: a Brix says nothing about how much of the sugar is fructose.

S comes from the row's own pH and titratable acidity (`service.catalogue.acidity`). The closed form of q meets the
titration within 0.01 g/100 g; the acids that decide pH are solved for afresh, so that the lot titrates as it was
measured: with S held at f S where pH was not measured, with both inferred where it was.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isfinite
from types import MappingProxyType

from service.catalogue.acidity import PH_SD, TA_RELATIVE_SD, acids_of_measured, acids_per_kg, titration_ratio
from service.catalogue.readings import Reading, SolidsFactor, scaled_solids, solids_factor
from service.catalogue.records import Category, Ingredient, JuiceBasis, Provenance, Spread
from service.chemistry.acids import (
    ACID_OF_COMPONENT,
    TABLE_END_POINT_PH,
    citric_g_per_100g_from_meq_per_kg,
    meq_per_kg_from_citric_g_per_100g,
)
from service.chemistry.energy import energy_kcal
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.physics import mixture
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import SUGARS, Component
from service.physics.sucrose import sg_from_brix

PHOSPHATE_MEQ_PER_KG_PER_MG_PER_100G = 0.626
"""Charge of phosphate at pH 8.2, all phosphorus taken as phosphate: 10/30.974 mmol times 1.94 (judged)."""

HONEY_MOISTURE_LIMIT_PERCENT = 20.0
"""Council Directive 2001/110/EC, Annex II: moisture of most honeys (heather and baker's honey 23)."""

_DENSITY_PASSES = 30
_END_POINT_PASSES = 5


@dataclass(frozen=True, slots=True)
class Measured:
    """An ingredient with a lot's own figures in it.

    `cautions` are pairs of a code and a sentence; `changed` names what follows the reading instead of the table.
    `solids_factor`, `acid_factor` and `sugar_factor` are f, q and h of the module's text; the strong ion difference
    of the lot is f times that of the row.
    """

    ingredient: Ingredient
    cautions: tuple[tuple[str, str], ...]
    changed: tuple[str, ...]
    solids_factor: float = 1.0
    acid_factor: float = 1.0
    sugar_factor: float = 1.0


def with_measured(
    ingredient: Ingredient,
    *,
    brix: float | None = None,
    brix_is_refractometer_reading: bool = False,
    moisture_percent: float | None = None,
    refractive_index: float | None = None,
    refractive_index_temperature_c: float = 20.0,
    density_g_ml: float | None = None,
    assay_percent: float | None = None,
    titratable_acidity_meq_per_kg: float | None = None,
    titratable_acidity_meq_per_l: float | None = None,
    ph: float | None = None,
    end_point_ph: float = TABLE_END_POINT_PH,
) -> Measured:
    """An ingredient whose figures follow what was measured on the lot; the sugar split stays the table's.

    Parameters: brix, true soluble solids corrected for acid, or with `brix_is_refractometer_reading` what the
        instrument showed [°Bx]; moisture_percent [% by mass]; refractive_index of a honey [-] at
        refractive_index_temperature_c [°C]; density_g_ml at 20 °C [g/mL]; assay_percent of an acid or salt, as the
        pure substance [% by mass] (one of these five at most); titratable_acidity_meq_per_kg [meq/kg] or
        titratable_acidity_meq_per_l [meq/L]; ph, of a concentrate after dilution to single strength; end_point_ph of
        the titration, which is brought to 8.2 by the lot's own acids.
    Returns: the new ingredient, what changed, and cautions.
    Raises: InconsistentError where the readings cannot be true of such an ingredient; OutOfRangeError and InputError
        where one alone cannot.
    Validity: a lot of the same kind; outside the row's limits a caution is given, not a refusal.
    Source: mass balance; conversions as the constants of this module say.

    Example: honey at 18.6 % moisture instead of 17.2 %.

    >>> from service.catalogue.lookup import get_ingredient
    >>> lot = with_measured(get_ingredient("honey"), moisture_percent=18.6)
    >>> round(lot.solids_factor, 5), round(lot.ingredient.grams(Component.FRUCTOSE), 3)
    (0.98309, 37.554)
    """
    cautions: list[tuple[str, str]] = []
    changed: list[str] = []
    per_kg, per_l = titratable_acidity_meq_per_kg, titratable_acidity_meq_per_l
    _check_acidity(ingredient, per_kg, per_l, assay_percent is not None)
    if end_point_ph != TABLE_END_POINT_PH and (per_kg is not None or per_l is not None):
        lot = ingredient
        for _ in range(_END_POINT_PASSES):  # the lot's own acids say what its titration would take to 8.2
            ratio = titration_ratio(lot, end_point_ph)
            found = with_measured(
                ingredient,
                brix=brix,
                brix_is_refractometer_reading=brix_is_refractometer_reading,
                moisture_percent=moisture_percent,
                refractive_index=refractive_index,
                refractive_index_temperature_c=refractive_index_temperature_c,
                density_g_ml=density_g_ml,
                assay_percent=assay_percent,
                titratable_acidity_meq_per_kg=None if per_kg is None else per_kg * ratio,
                titratable_acidity_meq_per_l=None if per_l is None else per_l * ratio,
                ph=ph,
            )
            lot = found.ingredient
        return found
    sid_meq_per_kg = acids_per_kg(ingredient).state.sid_meq
    reading = _the_reading(
        ingredient,
        {
            "brix": brix,
            "moisture_percent": moisture_percent,
            "refractive_index": refractive_index,
            "density": density_g_ml,
            "assay_percent": assay_percent,
        },
        by_refractometer=brix_is_refractometer_reading,
        temperature_c=refractive_index_temperature_c,
    )
    solids = SolidsFactor(1.0, 0.0)
    masses = dict(ingredient.composition)
    if reading is not None:
        solids = solids_factor(ingredient, reading, _acid_of_refractometer(reading, per_kg, per_l))
        masses = scaled_solids(ingredient.composition, solids.factor, reading.pointer)
        cautions += solids.cautions
        changed += [reading.what, "composition", "minerals"]
    f, q, h = solids.factor, 1.0, 1.0
    ta = None if ingredient.ta_g_citric_per_100g is None else ingredient.ta_g_citric_per_100g.scaled(f)
    acids_before_g = sum(masses.get(component, 0.0) for component in ACID_OF_COMPONENT)

    if per_kg is not None or per_l is not None:
        if per_kg is None:
            per_kg = _meq_per_kg(ingredient, per_l or 0.0, density_g_ml, masses, f, sid_meq_per_kg, reading is not None)
        q = _acid_factor(ingredient, per_kg, f, sid_meq_per_kg)
        masses, h = _rebalanced(ingredient, masses, q, reading is not None)
        if reading is not None and density_g_ml is not None:
            solids, masses, q, h = _at_density(ingredient, reading, per_kg, sid_meq_per_kg)
            f = solids.factor
        measured_ta = citric_g_per_100g_from_meq_per_kg(per_kg)
        ta = _measured_spread(measured_ta, TA_RELATIVE_SD * measured_ta)
        changed.append("titratable_acidity")
        if reading is None and acids_before_g > 0.0:
            changed.append("composition")
        cautions += _acidity_cautions(ingredient, measured_ta, acids_before_g)

    new_ph = ingredient.ph
    if ph is not None:
        new_ph = _measured_ph(ingredient, ph, titrated=ta is not None)
        cautions += _ph_cautions(ingredient, ph)
        changed.append("ph")
    new_brix = ingredient.brix
    if reading is not None:
        new_brix = None if ingredient.brix is None else _measured_spread(f * ingredient.brix.typical, solids.brix_sd)
        cautions += _solids_cautions(ingredient, masses[Component.WATER], new_brix)
    elif ingredient.brix is not None:
        new_brix = _shifted(ingredient.brix, (q - 1.0) * acids_before_g)

    measured = replace(
        ingredient,
        composition=MappingProxyType(masses),
        brix=new_brix,
        ta_g_citric_per_100g=ta,
        ph=new_ph,
        minerals=ingredient.minerals.scaled(f),
        energy_kcal_per_100g=energy_kcal(masses) if "composition" in changed else ingredient.energy_kcal_per_100g,
        ph_sample_mass_fraction=_single_strength(ingredient, f, ta, "" if reading is None else reading.pointer),
        co2_released_g_per_g=ingredient.co2_released_g_per_g * f,
        provenance=_provenance(ingredient, changed),
    )
    if changed:
        measured = replace(
            measured, acids=acids_of_measured(ingredient, measured, f, per_kg, ph_measured=ph is not None)
        )
    return Measured(measured, tuple(cautions), tuple(changed), f, q, h)


def _the_reading(
    ingredient: Ingredient, readings: Mapping[str, float | None], *, by_refractometer: bool, temperature_c: float
) -> Reading | None:
    given = [(what, value) for what, value in readings.items() if value is not None]
    if not given:
        return None
    if len(given) > 1:
        names = " and ".join(what for what, _ in given)
        raise InputError(f"{names} each fix the solids of {ingredient.name}: give one of them.", f"/{given[1][0]}")
    return Reading(*given[0], by_refractometer=by_refractometer, temperature_c=temperature_c)


def _acid_of_refractometer(reading: Reading, per_kg: float | None, per_l: float | None) -> float | None:
    """Measured acidity [g citric/100 g] for the refractometer's correction; per litre by the reading's own density."""
    if not reading.by_refractometer or reading.what != "brix":
        return None
    if per_kg is None and per_l is not None:
        per_kg = per_l / (sg_from_brix(reading.value) * WATER_G_PER_ML)
    return None if per_kg is None else citric_g_per_100g_from_meq_per_kg(per_kg)


def _check_acidity(ingredient: Ingredient, per_kg: float | None, per_l: float | None, assayed: bool) -> None:
    if per_kg is None and per_l is None:
        return
    pointer = "/titratable_acidity"
    if per_kg is not None and per_l is not None:
        raise InputError("Titratable acidity was given per kilogram and per litre: give one.", pointer)
    value = per_kg if per_kg is not None else per_l
    if value is None or not isfinite(value) or value <= 0.0:
        raise OutOfRangeError(f"Titratable acidity is a number above 0, not {value}.", pointer)
    if ingredient.category in (Category.SALT, Category.WATER, Category.SPIRIT):
        raise InputError(f"{ingredient.name} holds no acid to titrate.", pointer)
    if assayed and ingredient.category is Category.ACID:
        raise InputError(f"An assay fixes the acidity of {ingredient.name}: give one of the two.", pointer)
    if per_l is not None and ingredient.bulk_solid:
        raise InputError(f"{ingredient.name} is a dry solid: give its acidity per kilogram.", pointer)


def _acid_factor(ingredient: Ingredient, acidity_meq_per_kg: float, f: float, sid_meq_per_kg: float) -> float:
    if ingredient.ta_g_citric_per_100g is None:
        return 1.0
    row_meq_per_kg = meq_per_kg_from_citric_g_per_100g(ingredient.ta_g_citric_per_100g.typical)
    phosphorus = ingredient.minerals.phosphorus_mg_per_100g or 0.0
    charge = sid_meq_per_kg - PHOSPHATE_MEQ_PER_KG_PER_MG_PER_100G * phosphorus
    top, bottom = acidity_meq_per_kg + f * charge, f * (row_meq_per_kg + charge)
    if bottom <= 0.0 or top <= 0.0:
        raise InconsistentError(
            f"A titratable acidity of {acidity_meq_per_kg:.1f} meq/kg leaves no acid in {ingredient.name}. "
            "Check its unit (g/L against g/100 mL), what it is expressed as, and the end point.",
            "/titratable_acidity",
        )
    return top / bottom


def _at_density(
    ingredient: Ingredient, reading: Reading, per_kg: float, sid_meq_per_kg: float
) -> tuple[SolidsFactor, dict[Component, float], float, float]:
    """Solids and acids that have the density read: acid in the place of sugar changes it a little, so aim again."""
    aim = reading.value
    for _ in range(_DENSITY_PASSES):
        solids = solids_factor(ingredient, replace(reading, value=aim), None)
        scaled = scaled_solids(ingredient.composition, solids.factor, reading.pointer)
        q = _acid_factor(ingredient, per_kg, solids.factor, sid_meq_per_kg)
        masses, h = _rebalanced(ingredient, scaled, q, solids_measured=True)
        miss = reading.value - mixture.density_g_ml(masses)
        if abs(miss) < 1e-13:
            break
        aim += miss
    return solids, masses, q, h


def _meq_per_kg(
    ingredient: Ingredient,
    per_l: float,
    density_g_ml: float | None,
    scaled: Mapping[Component, float],
    f: float,
    sid_meq_per_kg: float,
    solids_measured: bool,
) -> float:
    """Acidity per kilogram by the density of the lot that has it: a fixed point, since acid is dense too."""
    if density_g_ml is not None:
        return per_l / density_g_ml
    density = mixture.density_g_ml(scaled)
    for _ in range(_DENSITY_PASSES):
        before = density
        q = _acid_factor(ingredient, per_l / density, f, sid_meq_per_kg)
        density = mixture.density_g_ml(_rebalanced(ingredient, scaled, q, solids_measured)[0])
        if abs(density - before) < 1e-13:
            break
    return per_l / density


def _rebalanced(
    ingredient: Ingredient, scaled: Mapping[Component, float], q: float, solids_measured: bool
) -> tuple[dict[Component, float], float]:
    acids = {component: q * scaled[component] for component in ACID_OF_COMPONENT if component in scaled}
    displaced_g = sum(acids.values()) - sum(scaled[component] for component in acids)
    masses = {**scaled, **acids}
    if displaced_g == 0.0:
        return masses, 1.0
    if not solids_measured:
        masses[Component.WATER] = masses.get(Component.WATER, 0.0) - displaced_g
        if masses[Component.WATER] < 0.0:
            raise InconsistentError(
                f"So much acid leaves {masses[Component.WATER]:.1f} g of water in 100 g of {ingredient.name}. Check "
                "the unit of the titratable acidity, or measure the solids too.",
                "/titratable_acidity",
            )
        return masses, 1.0
    sugars = {component: scaled[component] for component in SUGARS if component in scaled}
    sugars_g = sum(sugars.values())
    if displaced_g > sugars_g or sugars_g == 0.0:
        raise InconsistentError(
            f"The acid changes by {displaced_g:+.2f} g per 100 g within the measured solids, but the sugars of "
            f"{ingredient.name} that could give way are {sugars_g:.2f} g. Check the unit of the titratable acidity, "
            "and whether the Brix is corrected for acid.",
            "/titratable_acidity",
        )
    h = 1.0 - displaced_g / sugars_g
    return {**masses, **{component: h * mass for component, mass in sugars.items()}}, h


def _acidity_cautions(ingredient: Ingredient, ta_g_citric_per_100g: float, acids_g: float) -> list[tuple[str, str]]:
    row = ingredient.ta_g_citric_per_100g
    if row is None or acids_g == 0.0:
        text = f"The table lists no acids for {ingredient.name}: the measured acidity is carried as a titration only."
        return [("no_acids_to_scale", text)]
    cautions = []
    if ta_g_citric_per_100g not in row:
        text = (
            f"{ta_g_citric_per_100g:.2f} % acid (as citric) lies outside the {row.low:g} to {row.high:g} % usual for "
            f"{ingredient.name}: check the unit and the end point."
        )
        cautions.append(("titratable_acidity_outside_row", text))
    return cautions


def _measured_ph(ingredient: Ingredient, ph: float, *, titrated: bool) -> Spread:
    if not 0.0 < ph < 14.0:
        raise OutOfRangeError(f"pH lies between 0 and 14, not at {ph:g}.", "/ph")
    if ingredient.ph_sample_mass_fraction is None:
        raise InputError(f"{ingredient.name} has no pH of its own: its effect follows from its acid or base.", "/ph")
    if not titrated:
        raise InputError(
            f"A pH alone does not say what {ingredient.name} does to a drink: its alkalinity or titratable acidity "
            "does. Leave the pH out, or give the acidity too.",
            "/ph",
        )
    return _measured_spread(ph, PH_SD)


def _ph_cautions(ingredient: Ingredient, ph: float) -> list[tuple[str, str]]:
    cautions = []
    row, share = ingredient.ph, ingredient.ph_sample_mass_fraction
    if row is not None and ph not in row:
        text = (
            f"pH {ph:g} lies outside the {row.low:g} to {row.high:g} usual for {ingredient.name}: calibrate the meter "
            "and read again."
        )
        cautions.append(("ph_outside_row", text))
    if share is not None and share < 1.0:
        text = f"The pH of {ingredient.name} was taken to hold once it is diluted with pure water to single strength."
        cautions.append(("ph_of_diluted_sample", text))
    return cautions


def _solids_cautions(ingredient: Ingredient, water_g: float, brix: Spread | None) -> list[tuple[str, str]]:
    cautions = []
    if ingredient.category is Category.HONEY and water_g > HONEY_MOISTURE_LIMIT_PERCENT:
        text = (
            f"{water_g:.1f} % moisture: Directive 2001/110/EC, Annex II, sets 20 % for most honeys (heather 23 %). "
            "Local law decides; wet honey may ferment in store (common practice, no source)."
        )
        cautions.append(("honey_moisture_above_limit", text))
    row = ingredient.brix
    if row is not None and brix is not None and brix.typical not in row:
        text = (
            f"{brix.typical:.1f} °Bx lies outside the {row.low:g} to {row.high:g} °Bx usual for {ingredient.name}: "
            "check the reading, or whether another ingredient fits better."
        )
        cautions.append(("brix_outside_row", text))
    return cautions


def _shifted(spread: Spread, by: float) -> Spread:
    low = None if spread.low is None else spread.low + by
    high = None if spread.high is None else spread.high + by
    return Spread(spread.typical + by, low, high, spread.sd)


def _measured_spread(value: float, sd: float) -> Spread:
    return Spread(value, value - 2.0 * sd, value + 2.0 * sd, sd)


def _single_strength(ingredient: Ingredient, f: float, ta: Spread | None, pointer: str) -> float | None:
    """The dilution at which the pH holds: the same strength as before, so less of a stronger lot."""
    d = ingredient.ph_sample_mass_fraction
    if d is None or ingredient.category not in (Category.CONCENTRATE, Category.SUGAR):
        return d
    row = ingredient.ta_g_citric_per_100g
    by_acid = ingredient.juice_basis is JuiceBasis.CITRIC_PERCENT and ta is not None and row is not None
    d = d * row.typical / ta.typical if by_acid and ta is not None and row is not None else d / f
    if d > 1.0:
        raise InconsistentError(
            f"By this reading {ingredient.name} is weaker than single strength. Was it measured after dilution? "
            "Measure the concentrate itself, or choose the juice.",
            "/titratable_acidity" if by_acid else pointer,
        )
    return d


def _provenance(ingredient: Ingredient, changed: list[str]) -> Mapping[str, Provenance]:
    if not changed:
        return ingredient.provenance
    return MappingProxyType(
        {**ingredient.provenance, "measured": Provenance((), f"measured on the lot: {', '.join(changed)}")}
    )
