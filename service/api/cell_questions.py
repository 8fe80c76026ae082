"""The questions that a spreadsheet cell can ask, and how each becomes one number."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from service.api.cell_queries import (
    AbvFromGravities,
    AcidFromAcid,
    AcidityAfter,
    AfterAddition,
    AmountForAcidity,
    AmountForGravity,
    AmountForPh,
    BrixFromSg,
    ExtractFromGravityAndAbv,
    GravityFromReading,
    IngredientQuery,
    LotQuery,
    MassFromVolume,
    SgFromBrix,
    VolumeFromMass,
)
from service.api.cell_share import SHARE_QUESTIONS
from service.api.cell_stabilising import STABILISING_QUESTIONS
from service.api.question import Question
from service.api.reading import TEMPERATURE, VOLUME, Reader, end_point_from, lot_from
from service.api.reading_additions import addition_from
from service.api.reading_targets import target_from
from service.api.requests import AdditionPoured, LotIn
from service.catalogue.derived import density_g_ml
from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Ingredient
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l, meq_per_l_from_acid_g_per_l
from service.errors import InputError, OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.model.properties import depends_on_acids
from service.physics.extract import extract_g_per_l_from_sg_and_abv
from service.physics.fermentation import abv_from_gravities
from service.physics.scales import sg_20_20_from_hydrometer
from service.physics.sucrose import brix_from_sg, sg_from_brix
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution, PhPrediction
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.single import Answer, amount_for, property_after
from service.quantities import Kind, parse_quantity
from service.quantities.units import UNIT_BY_SPELLING

_COLDEST_C, _WARMEST_C = 0.0, 40.0

ACIDITY_STOPS = ("more_carbonate_than_acid", "ph_above_4_6", "ph_very_low")
"""Cautions of a plan that leave a question about acidity without a number."""

_NO_CHECK = Caution(
    "estimate",
    "note",
    "Estimates: verify by measurement; follow local law and licensed practice.",
    OUR_DEFAULT,
)


def _lot(query: LotQuery) -> LotAsked:
    reader = Reader()
    gravity: Any = query.gravity
    if query.sample_temperature is not None or query.calibrated_at is not None:
        gravity = {
            "reading": query.gravity,
            "sample_temperature": query.sample_temperature,
            "calibrated_at": query.calibrated_at,
        }
    given = LotIn.model_validate(
        {
            "name": "lot",
            "volume": query.volume,
            "gravity": gravity,
            "abv_percent": query.abv_percent,
            "original_gravity": query.original_gravity,
            "class": query.lot_class,
            "titratable_acidity": query.titratable_acidity,
            "ph": query.ph,
            "titration_end_point_ph": None if query.titratable_acidity is None else query.titration_end_point_ph,
            "residual_sugar": query.residual_sugar,
        }
    )
    return lot_from(given, 20.0, reader)


def _addition(query: IngredientQuery, amount: str) -> AdditionAsked:
    measured = {
        name: value
        for name, value in (
            ("brix", query.brix),
            ("moisture_percent", query.moisture_percent),
            ("titratable_acidity", query.ingredient_titratable_acidity),
            ("ph", query.ingredient_ph),
        )
        if value is not None
    }
    given = AdditionPoured.model_validate(
        {"ingredient": query.ingredient, "measured": measured or None, "amount": amount}
    )
    return addition_from(given, Reader())


def _in_unit(base: float, unit: str) -> float:
    return base / UNIT_BY_SPELLING[unit.lower()].factor


def _words(value: float, decimals: int = 4) -> str:
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".")


def _circumstances(query: LotQuery) -> Circumstances:
    return Circumstances(end_point_ph=end_point_from(query.titration_end_point_ph))


def _amount_for(name: str) -> Callable[[AmountForGravity | AmountForAcidity | AmountForPh], Answer]:
    def answer(query: AmountForGravity | AmountForAcidity | AmountForPh) -> Answer:
        lot = _lot(query)
        asked = replace(_addition(query, "0 g"), most_g=None, given=None)
        target = target_from(name, query.target, Reader())
        mass_g, plan = amount_for(target, lot, asked, _circumstances(query))
        stop = next((c for c in plan.cautions if c.level == "stop" and c.code in ACIDITY_STOPS), None)
        if depends_on_acids(name) and stop is not None:
            raise InputError(stop.text, "/target")
        if UNIT_BY_SPELLING[query.unit.lower()].kind is Kind.MASS:
            value = _in_unit(mass_g, query.unit)
        else:
            value = _in_unit(mass_g / _density(asked.ingredient, "/unit"), query.unit)
        predicted = plan.predicted
        reached = [f"SG {predicted.gravity.value:.4f}", f"{predicted.abv_percent.value:.2f} % vol"]
        if depends_on_acids(name):
            reached.append(f"{predicted.titratable_acidity.value:.2f} g/L tartaric")
            reached += [] if predicted.ph is None else [_ph_words(predicted.ph)]
        return Answer(
            value,
            f"{_words(value)} {query.unit} of {asked.ingredient.name} brings {lot.lot.volume_l:.4g} L to "
            f"{', '.join(reached)}, {predicted.volume.value:.3f} L.",
            plan.cautions,
            plan.assumed,
        )

    return answer


def _ph_words(prediction: PhPrediction) -> str:
    return f"pH {prediction.value:.2f} ({prediction.low:.2f} to {prediction.high:.2f})"


def _after(name: str) -> Callable[[AfterAddition], Answer]:
    unit = {"gravity": "SG 20/20", "abv_percent": "% vol", "ph": "pH"}[name]

    def answer(query: AfterAddition) -> Answer:
        lot, addition = _lot(query), _addition(query, query.amount)
        value, forecast = property_after(name, lot, addition, _circumstances(query))
        ph = forecast.recipes[0].predicted.ph
        shown = _ph_words(ph) if name == "ph" and ph is not None else f"{_words(value)} {unit}"
        return Answer(
            value,
            f"{shown} after {query.amount} of {addition.ingredient.name} in {lot.lot.volume_l:.4g} L.",
            forecast.cautions,
            forecast.assumed,
        )

    return answer


def _acidity_after(query: AcidityAfter) -> Answer:
    lot, addition = _lot(query), _addition(query, query.amount)
    _, forecast = property_after("titratable_acidity", lot, addition, _circumstances(query))
    acidity = forecast.recipes[0].predicted.titratable_acidity
    value = _from_meq(acidity.meq_per_l, query.acid)
    unit = "meq/L" if query.acid == "meq" else f"g/L {query.acid}"
    return Answer(
        value,
        f"{_words(value, 2)} {unit} to pH {acidity.end_point_ph:g} after {query.amount} of "
        f"{addition.ingredient.name} in {lot.lot.volume_l:.4g} L.",
        forecast.cautions,
        forecast.assumed,
    )


def _from_meq(meq_per_l: float, wanted_as: str) -> float:
    return meq_per_l if wanted_as == "meq" else acid_g_per_l_from_meq_per_l(meq_per_l, Acid(wanted_as))


def _acid_from_acid(query: AcidFromAcid) -> Answer:
    meq = query.value if query.given_as == "meq" else meq_per_l_from_acid_g_per_l(query.value, Acid(query.given_as))
    value = _from_meq(meq, query.wanted_as)
    return Answer(
        value,
        f"{_words(value)} as {query.wanted_as} is the same acidity as {query.value:g} as {query.given_as}.",
        (_NO_CHECK,),
    )


def _corrected(reading: float, sample: str | None, calibrated: str | None, abv_percent: float, what: str) -> float:
    calibrated_c = (
        20.0 if calibrated is None else parse_quantity(calibrated, TEMPERATURE, pointer="/calibrated_at").value_base
    )
    if sample is None:
        if calibrated_c != 20.0:
            raise InputError("A hydrometer's reading needs the temperature of the sample.", f"/{what}")
        return reading
    sample_c = parse_quantity(sample, TEMPERATURE, pointer=f"/{what}").value_base
    if not _COLDEST_C <= sample_c <= _WARMEST_C:
        raise OutOfRangeError(
            f"Corrections are known for samples of {_COLDEST_C:g}–{_WARMEST_C:g} °C, not {sample_c:.0f} °C: cool it.",
            f"/{what}",
        )
    return sg_20_20_from_hydrometer(reading, sample_c, calibrated_c, abv_percent)


def _abv_from_gravities(query: AbvFromGravities) -> Answer:
    original = _corrected(
        query.original_gravity,
        query.original_sample_temperature,
        query.calibrated_at,
        0.0,
        "original_sample_temperature",
    )
    final = query.final_gravity
    abv = 0.0
    for _ in range(2):
        final = _corrected(
            query.final_gravity, query.final_sample_temperature, query.calibrated_at, abv, "final_sample_temperature"
        )
        found = abv_from_gravities(original, final)
        abv = found.abv_percent
    return Answer(
        found.abv_percent,
        f"{found.abv_percent:.2f} % vol by Balling's mass balance; {found.abv_low_percent:.2f} to "
        f"{found.abv_high_percent:.2f} by other published yields. Holds only if nothing was added in between.",
        (_NO_CHECK,),
        _unstated(query),
    )


def _unstated(query: AbvFromGravities) -> tuple[Assumed, ...]:
    temperatures = query.original_sample_temperature, query.final_sample_temperature
    if query.calibrated_at is None and temperatures != (None, None):
        return (Assumed("hydrometer", "calibrated at 20 °C", "our default", "read it off its stem"),)
    if None in temperatures:
        return (Assumed("gravities", "SG 20/20", "a bare number is taken as corrected", "give the temperatures"),)
    return ()


def _gravity_from_reading(query: GravityFromReading) -> Answer:
    value = _corrected(
        query.reading, query.sample_temperature, query.calibrated_at, query.abv_percent, "sample_temperature"
    )
    return Answer(value, f"SG 20/20 is {value:.4f} for a reading of {query.reading:g}.", (_NO_CHECK,))


def _extract(query: ExtractFromGravityAndAbv) -> Answer:
    gravity = _corrected(
        query.gravity, query.sample_temperature, query.calibrated_at, query.abv_percent, "sample_temperature"
    )
    value = extract_g_per_l_from_sg_and_abv(gravity, query.abv_percent)
    if value < 0.0:
        raise InputError(
            f"SG {gravity:.4f} is lighter than {query.abv_percent:g} % vol in water: check both readings.", "/gravity"
        )
    return Answer(
        value,
        f"{value:.1f} g/L total dry extract (sucrose of the same gravity), OIV-MA-AS2-03B.",
        (_NO_CHECK,),
    )


def _sg_from_brix(query: SgFromBrix) -> Answer:
    value = sg_from_brix(query.brix)
    return Answer(value, f"SG 20/20 is {value:.4f} at {query.brix:g} °Bx (ICUMSA SPS-4).", (_NO_CHECK,))


def _brix_from_sg(query: BrixFromSg) -> Answer:
    if query.sg < 1.0:
        raise InputError("No sugar solution is lighter than water: the sugar scale starts at SG 1.000.", "/sg")
    value = brix_from_sg(query.sg)
    return Answer(
        value,
        f"{value:.2f} °Bx at SG {query.sg:g} (ICUMSA SPS-4); not for a liquid with alcohol.",
        (_NO_CHECK,),
    )


def _known(name: str) -> Ingredient:
    try:
        return get_ingredient(name)
    except ServiceError as error:
        raise error.below("/ingredient") from error


def _density(ingredient: Ingredient, pointer: str = "/ingredient") -> float:
    try:
        return density_g_ml(ingredient)
    except ServiceError as error:
        raise error.below(pointer) from error


def _mass_from_volume(query: MassFromVolume) -> Answer:
    ingredient = _known(query.ingredient)
    volume_ml = parse_quantity(query.volume, VOLUME, liquid=True, pointer="/volume").value_base
    density = _density(ingredient)
    value = _in_unit(volume_ml * density, query.unit)
    return Answer(value, f"{_words(value)} {query.unit} of {ingredient.name} at {density:.4f} g/mL.", (_NO_CHECK,))


def _volume_from_mass(query: VolumeFromMass) -> Answer:
    ingredient = _known(query.ingredient)
    mass_g = parse_quantity(query.mass, {Kind.MASS}, pointer="/mass").value_base
    density = _density(ingredient)
    value = _in_unit(mass_g / density, query.unit)
    thick = Caution("thick_liquids_cling", "note", "Thick liquids cling to a measure: weigh them.", PRACTICE)
    return Answer(
        value, f"{_words(value)} {query.unit} of {ingredient.name} at {density:.4f} g/mL.", (thick, _NO_CHECK)
    )


_LOT_EXAMPLE = "ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2"
_SOUR_EXAMPLE = (
    "ingredient=lemon_juice&volume=9.5L&gravity=0.9985&abv_percent=7.2&titratable_acidity=4.8+g/L+tartaric&ph=3.5"
)
QUESTIONS: tuple[Question, ...] = (
    Question(
        "amount-for-gravity",
        AmountForGravity,
        _amount_for("gravity"),
        f"{_LOT_EXAMPLE}&target=1.016&unit=kg",
        "target",
    ),
    Question(
        "amount-for-acidity",
        AmountForAcidity,
        _amount_for("titratable_acidity"),
        f"{_SOUR_EXAMPLE}&target=6.5+g/L+tartaric&unit=mL",
        "target",
    ),
    Question("amount-for-ph", AmountForPh, _amount_for("ph"), f"{_SOUR_EXAMPLE}&target=3.3&unit=mL", "target"),
    Question("gravity-after", AfterAddition, _after("gravity"), f"{_LOT_EXAMPLE}&amount=500g", "amount"),
    Question("abv-after", AfterAddition, _after("abv_percent"), f"{_LOT_EXAMPLE}&amount=500g", "amount"),
    Question("acidity-after", AcidityAfter, _acidity_after, f"{_SOUR_EXAMPLE}&amount=300mL", "amount"),
    Question("ph-after", AfterAddition, _after("ph"), f"{_SOUR_EXAMPLE}&amount=300mL", "amount"),
    Question("acid-from-acid", AcidFromAcid, _acid_from_acid, "value=6.5&given_as=tartaric&wanted_as=citric", "value"),
    Question(
        "abv-from-gravities",
        AbvFromGravities,
        _abv_from_gravities,
        "original_gravity=1.054&final_gravity=0.998",
        "original_gravity",
    ),
    Question(
        "gravity-from-reading",
        GravityFromReading,
        _gravity_from_reading,
        "reading=1.012&sample_temperature=75F&calibrated_at=60F&abv_percent=7",
        "reading",
    ),
    Question(
        "extract-from-gravity-and-abv",
        ExtractFromGravityAndAbv,
        _extract,
        "gravity=1.012&abv_percent=7.2",
        "gravity",
    ),
    Question("sg-from-brix", SgFromBrix, _sg_from_brix, "brix=11.8", "brix"),
    Question("brix-from-sg", BrixFromSg, _brix_from_sg, "sg=1.048", "sg"),
    Question(
        "mass-from-volume",
        MassFromVolume,
        _mass_from_volume,
        "ingredient=orange_juice_concentrate_frozen&volume=12floz&unit=g",
        "volume",
    ),
    Question("volume-from-mass", VolumeFromMass, _volume_from_mass, "ingredient=honey&mass=1lb&unit=mL", "mass"),
    *SHARE_QUESTIONS,
    *STABILISING_QUESTIONS,
)
