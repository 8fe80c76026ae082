"""The cell questions that need no lot: readings into strength and gravity, one scale into another, mass and volume."""

from __future__ import annotations

from math import hypot

from service.api.cell_queries import (
    AbvFromGravities,
    AcidFromAcid,
    BrixFromSg,
    ExtractFromGravityAndAbv,
    GravityFromReading,
    MassFromVolume,
    SgFromBrix,
    VolumeFromMass,
)
from service.api.question import Question
from service.api.reading import MASS, TEMPERATURE, VOLUME, Reader
from service.catalogue.derived import density_g_ml
from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Ingredient
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l, meq_per_l_from_acid_g_per_l
from service.errors import InputError, OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.physics.extract import extract_g_per_l_from_sg_and_abv
from service.physics.fermentation import abv_from_gravities
from service.physics.scales import sg_20_20_from_hydrometer
from service.physics.sucrose import brix_from_sg, sg_from_brix
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.asked import Instruments
from service.planner.interpreting.cautions import sweetened_perhaps
from service.planner.intervals import Z_90
from service.planner.single import Answer
from service.quantities.units import UNIT_BY_SPELLING

_HYDROMETER_ERROR = Instruments().hydrometer_error
_COLDEST_C, _WARMEST_C = 0.0, 40.0

SG = "SG 20/20"
"""Unit of a gravity."""

NO_CHECK = Caution(
    "estimate",
    "note",
    "Estimates: verify by measurement; follow local law and licensed practice.",
    OUR_DEFAULT,
)


def in_unit(base: float, unit: str) -> float:
    """Grams or millilitres in another unit."""
    return base / UNIT_BY_SPELLING[unit.lower()].factor


def figure_words(value: float, decimals: int = 4) -> str:
    """A figure of a sentence, without zeros at its end."""
    return f"{value:.{decimals}f}".rstrip("0").rstrip(".")


def from_meq(meq_per_l: float, wanted_as: str) -> float:
    """An acidity as an acid [g/L], or as it is [meq/L]."""
    return meq_per_l if wanted_as == "meq" else acid_g_per_l_from_meq_per_l(meq_per_l, Acid(wanted_as))


def acidity_unit(wanted_as: str) -> str:
    """The unit of an acidity that is expressed as an acid, or in milliequivalents."""
    return "meq/L" if wanted_as == "meq" else f"g/L {wanted_as}"


def density_of(ingredient: Ingredient, pointer: str = "/ingredient") -> float:
    """Density of an ingredient [g/mL]; the fault of one that has none points at a parameter."""
    try:
        return density_g_ml(ingredient)
    except ServiceError as error:
        raise error.below(pointer) from error


def _acid_from_acid(query: AcidFromAcid) -> Answer:
    meq = query.value if query.given_as == "meq" else meq_per_l_from_acid_g_per_l(query.value, Acid(query.given_as))
    value = from_meq(meq, query.wanted_as)
    return Answer(
        value,
        f"{figure_words(value)} as {query.wanted_as} is the same acidity as {query.value:g} as {query.given_as}.",
        (NO_CHECK,),
        unit=acidity_unit(query.wanted_as),
    )


def _corrected(reading: float, sample: str | None, calibrated: str | None, abv_percent: float, what: str) -> float:
    calibrated_c = (
        20.0 if calibrated is None else Reader().quantity(calibrated, TEMPERATURE, "/calibrated_at").value_base
    )
    if sample is None:
        if calibrated_c != 20.0:
            raise InputError("A hydrometer's reading needs the temperature of the sample.", f"/{what}")
        return reading
    sample_c = Reader().quantity(sample, TEMPERATURE, f"/{what}").value_base
    if not _COLDEST_C <= sample_c <= _WARMEST_C:
        raise OutOfRangeError(
            f"Corrections are known for samples of {_COLDEST_C:g}–{_WARMEST_C:g} °C, not {sample_c:.0f} °C. Let it "
            "come to room temperature and read again.",
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
    error = Z_90 * _strength_error(original, final, abv)
    low = max(abv - hypot(abv - found.abv_low_percent, error), 0.0)
    high = abv + hypot(found.abv_high_percent - abv, error)
    return Answer(
        found.abv_percent,
        f"{found.abv_percent:.2f} % vol by Balling's mass balance; {found.abv_low_percent:.2f} to "
        f"{found.abv_high_percent:.2f} by other published yields. With both gravities good to {_HYDROMETER_ERROR:g} it "
        f"may be {low:.2f} to {high:.2f}. Holds only if nothing was added in between.",
        (*sweetened_perhaps(final), NO_CHECK),
        _unstated(query),
        low,
        high,
        "% vol",
    )


def _strength_error(original: float, final: float, abv_percent: float) -> float:
    """Standard deviation of a strength from two gravities, by the errors of both readings [% vol]."""

    def off(more: float, less: float) -> float:
        return abv_from_gravities(original + more, final + less).abv_percent - abv_percent

    try:
        return hypot(off(_HYDROMETER_ERROR, 0.0), off(0.0, -_HYDROMETER_ERROR))
    except ServiceError:  # at the edge of what is known, the other way
        return hypot(off(-_HYDROMETER_ERROR, 0.0), off(0.0, _HYDROMETER_ERROR))


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
    return Answer(value, f"SG 20/20 is {value:.4f} for a reading of {query.reading:g}.", (NO_CHECK,), unit=SG)


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
        (NO_CHECK,),
        unit="g/L",
    )


def _sg_from_brix(query: SgFromBrix) -> Answer:
    value = sg_from_brix(query.brix)
    return Answer(value, f"SG 20/20 is {value:.4f} at {query.brix:g} °Bx (ICUMSA SPS-4).", (NO_CHECK,), unit=SG)


def _brix_from_sg(query: BrixFromSg) -> Answer:
    if query.sg < 1.0:
        raise InputError("No sugar solution is lighter than water: the sugar scale starts at SG 1.000.", "/sg")
    value = brix_from_sg(query.sg)
    return Answer(
        value,
        f"{value:.2f} °Bx at SG {query.sg:g} (ICUMSA SPS-4); not for a liquid with alcohol.",
        (NO_CHECK,),
        unit="°Bx",
    )


def _known(name: str) -> Ingredient:
    try:
        return get_ingredient(name)
    except ServiceError as error:
        raise error.below("/ingredient") from error


def _mass_from_volume(query: MassFromVolume) -> Answer:
    ingredient = _known(query.ingredient)
    volume_ml = Reader().quantity(query.volume, VOLUME, "/volume", liquid=True).value_base
    density = density_of(ingredient)
    value = in_unit(volume_ml * density, query.unit)
    return Answer(
        value,
        f"{figure_words(value)} {query.unit} of {ingredient.name} at {density:.4f} g/mL.",
        (NO_CHECK,),
        unit=query.unit,
    )


def _volume_from_mass(query: VolumeFromMass) -> Answer:
    ingredient = _known(query.ingredient)
    mass_g = Reader().quantity(query.mass, MASS, "/mass").value_base
    density = density_of(ingredient)
    value = in_unit(mass_g / density, query.unit)
    thick = Caution("thick_liquids_cling", "note", "Thick liquids cling to a measure: weigh them.", PRACTICE)
    return Answer(
        value,
        f"{figure_words(value)} {query.unit} of {ingredient.name} at {density:.4f} g/mL.",
        (thick, NO_CHECK),
        unit=query.unit,
    )


READING_QUESTIONS: tuple[Question, ...] = (
    Question(
        "acid-from-acid",
        AcidFromAcid,
        _acid_from_acid,
        "value=6.5&given_as=tartaric&wanted_as=citric",
        "value",
        light=True,
    ),
    Question(
        "abv-from-gravities",
        AbvFromGravities,
        _abv_from_gravities,
        "original_gravity=1.054&final_gravity=0.998",
        "original_gravity",
        "what the strength may be, by published yields and the errors of both readings",
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
        light=True,
    ),
    Question("sg-from-brix", SgFromBrix, _sg_from_brix, "brix=11.8", "brix", light=True),
    Question("brix-from-sg", BrixFromSg, _brix_from_sg, "sg=1.048", "sg", light=True),
    Question(
        "mass-from-volume",
        MassFromVolume,
        _mass_from_volume,
        "ingredient=orange_juice_concentrate_frozen&volume=12floz&unit=g",
        "volume",
        light=True,
    ),
    Question(
        "volume-from-mass", VolumeFromMass, _volume_from_mass, "ingredient=honey&mass=1lb&unit=mL", "mass", light=True
    ),
)
"""For the list of all cell questions."""
