"""From a request's texts to the planner's terms: quantities, gravities, acidities, with the place of each fault.

All faults of a request are gathered before it is refused, each with its JSON Pointer.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot
from typing import TypeVar

from service.api.numbers import number_meant
from service.api.requests import GravityIn, GravityReading, LotIn, UseRange
from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.chemistry.charge_balance import TITRATION_END_POINTS
from service.errors import InconsistentError, InputError, OutOfRangeError, QuantityError, ServiceError, SeveralErrors
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import Assumed
from service.physics.fermentation import Fermentation, abv_from_gravities
from service.physics.mixture import WATER_G_PER_ML
from service.physics.scales import sg_20_20_from_hydrometer
from service.physics.slips import gravity_meant, ph_meant
from service.physics.sucrose import sg_from_brix
from service.planner.asked import LotAsked
from service.quantities import (
    Acidity,
    AcidityBasis,
    Kind,
    Quantity,
    System,
    parse_acidity,
    parse_quantity,
    parse_sugar_concentration,
    parse_sugar_scale,
    sound_error,
)

T = TypeVar("T")

MIN_ABOVE_MAX = "The min is above the max. Were the two exchanged?"

MASS, VOLUME, TEMPERATURE = frozenset({Kind.MASS}), frozenset({Kind.VOLUME}), frozenset({Kind.TEMPERATURE})
MASS_OR_VOLUME = MASS | VOLUME

_ACIDS = {acid.value: acid for acid in Acid}


class Reader:
    """Reads the texts of one request, gathers its faults, and notes which system of units it speaks."""

    def __init__(self) -> None:
        self.faults: list[ServiceError] = []
        self.systems: list[System] = []

    def attempt(self, pointer: str, read: Callable[[], T]) -> T | None:
        """The result of `read`, or None with its fault noted below `pointer`."""
        try:
            return read()
        except ServiceError as error:
            self.faults.append(error.below(pointer))
            return None

    def finish(self) -> None:
        """Refuse the request if anything in it could not be read."""
        if len(self.faults) == 1:
            raise self.faults[0]
        if self.faults:
            raise SeveralErrors(self.faults)

    def quantity(
        self, text: str, kinds: frozenset[Kind], pointer: str = "", *, liquid: bool = False, read: bool = False
    ) -> Quantity:
        """A quantity, noting its system; only one that is `read` off something may carry an error."""
        quantity = parse_quantity(text, kinds, liquid=liquid, pointer=pointer)
        if quantity.system is not None and quantity.kind in (Kind.MASS, Kind.VOLUME):
            self.systems.append(quantity.system)
        if quantity.error_base is not None and not read:
            raise QuantityError(f"“{text}”: {_NO_ERROR_HERE}", pointer)
        return quantity

    def system(self, asked: str | None) -> System:
        """The system to answer in: as asked, or that of most quantities."""
        if asked is not None:
            return "us" if asked == "us" else "metric"
        counts = {s: self.systems.count(s) for s in ("metric", "us", "imperial")}
        best: System = "metric"
        for system in ("us", "imperial"):
            if counts[system] > counts[best]:
                best = system
        return best


_NO_ERROR_HERE = "an error (±) belongs to what was read or poured. Leave it out here."


def without_error(error: float | None, text: str, pointer: str = "") -> None:
    """Refuse an error where nothing was read."""
    if error is not None:
        raise QuantityError(f"“{text}”: {_NO_ERROR_HERE}", pointer)


_WEIGHED_SHARE = 0.002
"""Standard deviation of a vessel's mass as a share: a scale for heavy things shows 50 g in 25 kg (judged)."""


def share_of_error(acidity: Acidity) -> float | None:
    """The stated error of a titration as a share of it; None where none was stated."""
    return None if acidity.error is None or acidity.value <= 0.0 else acidity.error / acidity.value


def meq_per_l(acidity: Acidity, density_g_ml: float) -> float:
    """An acidity in milliequivalents per litre."""
    value = acidity.value
    if acidity.basis in (AcidityBasis.G_PER_L, AcidityBasis.G_PER_KG):
        value = meq_per_l_from_acid_g_per_l(value, _ACIDS[acidity.acid or "tartaric"])
    if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
        value *= density_g_ml
    return value


def gravity_from(
    given: GravityIn, abv_percent: float, hydrometer_c: float, reader: Reader, *, fermented: bool
) -> float:
    """Specific gravity 20/20 from a number, a sugar scale or a reading.

    Parameters: given; abv_percent of the liquid; hydrometer_c, where the caller's hydrometer is calibrated [°C];
    reader; fermented, whether the liquid holds alcohol, so that a bare sugar scale is refused.
    """
    if isinstance(given, float | int):
        return float(given)
    if isinstance(given, str):
        refuse_number_as_text(given)
        scale = parse_sugar_scale(given)
        if fermented:
            raise InputError(
                f"“{given}”: with alcohol a sugar scale needs its instrument. Write "
                f'{{"reading": "{given}", "scale": "hydrometer"}}; a refractometer reads alcohol too.'
            )
        return sg_from_brix(scale.value)
    reading = given.reading
    if isinstance(reading, str):
        refuse_number_as_text(reading, "/reading")
        if given.scale is None and fermented:
            raise InputError('Say what the sugar scale was read on: "scale": "hydrometer".', "/scale")
        value = sg_from_brix(parse_sugar_scale(reading, pointer="/reading").value)
    else:
        value = float(reading)
    return _corrected(given, value, abv_percent, hydrometer_c, reader)


def refuse_number_as_text(text: str, pointer: str = "") -> None:
    """Refuse a specific gravity that stands in quotes, or with its error: a text is a sugar scale."""
    if "±" in text or "+/-" in text or "+-" in text:
        raise InputError(
            "Write the gravity as a number alone; its error is the hydrometer's: instruments.hydrometer.error.", pointer
        )
    meant = number_meant(text)
    if meant is not None:
        hint = gravity_meant(float(meant))
        if hint:
            raise InputError(f"Write the gravity without quotes, as SG; {meant} is none.{hint}", pointer)
        raise InputError(f"Write the gravity without quotes and with a decimal point: {meant}.", pointer)


def _corrected(given: GravityReading, value: float, abv_percent: float, hydrometer_c: float, reader: Reader) -> float:
    calibrated = hydrometer_c
    if given.calibrated_at is not None:
        calibrated = reader.quantity(given.calibrated_at, TEMPERATURE, "/calibrated_at").value_base
    if given.sample_temperature is None:
        if given.calibrated_at is None and calibrated == 20.0:
            return value
        raise InputError("A hydrometer's reading needs the temperature of the sample.", "/sample_temperature")
    sample = reader.quantity(given.sample_temperature, TEMPERATURE, "/sample_temperature").value_base
    try:
        return sg_20_20_from_hydrometer(value, sample, calibrated, abv_percent)
    except ServiceError as error:
        error.pointer = error.pointer or ("/reading" if 0.0 <= sample <= 40.0 else "/sample_temperature")
        raise


_PH_OF_LOTS = (1.0, 10.0)
"""A pH outside is no reading of a liquid that anyone blends; nearer ones are held against the acidity."""


def lot_from(given: LotIn, hydrometer_c: float, reader: Reader) -> LotAsked:
    """A lot as the planner takes it."""
    assumed: list[Assumed] = []
    strength = _strength(given, hydrometer_c, reader, assumed)
    abv = strength.abv_percent
    gravity = _at("/gravity", lambda: gravity_from(given.gravity, abv, hydrometer_c, reader, fermented=abv > 0.0))
    size = _size(given, reader)
    acidity = acidity_share = None
    if given.titratable_acidity is not None:
        read = parse_acidity(given.titratable_acidity, pointer="/titratable_acidity")
        acidity, acidity_share = meq_per_l(read, gravity * WATER_G_PER_ML), share_of_error(read)
    sugar = sugar_error = None
    if given.residual_sugar is not None:
        tested = parse_sugar_concentration(given.residual_sugar, pointer="/residual_sugar")
        sugar, sugar_error = tested.g_per_l, tested.error_g_per_l
    if given.ph is not None and not _PH_OF_LOTS[0] <= given.ph <= _PH_OF_LOTS[1]:
        hint = ph_meant(given.ph) or " Check the meter in buffers of pH 4.01 and 7.00."
        raise OutOfRangeError(f"No drink has pH {given.ph:g}; they lie between 2 and 7.{hint}", "/ph")
    if given.titration_end_point_ph is not None and acidity is None:
        raise InputError(
            "An end point belongs to a titration: give the acidity too (titratable_acidity).", "/titration_end_point_ph"
        )
    end_point = end_point_from(given.titration_end_point_ph)
    lot = lot_from_readings(
        given.name,
        LotReadings(
            size.volume_l, size.mass_g, gravity, abv, given.lot_class, acidity, sugar, given.ph, end_point, sugar_error
        ),
    )
    if "lot_class" not in given.model_fields_set:
        assumed.append(Assumed("class", given.lot_class.value, "our default", "say what kind of liquid it is"))
    assumed += _unstated_temperature(given, hydrometer_c)
    lot = replace(
        lot,
        assumed=(*assumed, *lot.assumed),
        titratable_sd_share=acidity_share,
        strength_sd_percent=strength.sd_percent,
        strength_per_gravity=strength.per_gravity,
        strength_per_original=strength.per_original,
    )
    least, most = _use(given, lot.volume_l, reader)
    return LotAsked(lot, least, most, given.degassed, given.on_lees, size.sd_share)


def end_point_from(given: float | None) -> float:
    """The pH at which a titration ends: as given, or 8.2."""
    if given is None:
        return DEFAULT_END_POINT_PH
    low, high = TITRATION_END_POINTS
    if not low <= given <= high:
        raise OutOfRangeError(
            f"A titration ends between pH {low:g} and {high:g} (7.0, 8.1 and 8.2 are usual), not at {given:g}.",
            "/titration_end_point_ph",
        )
    return float(given)


def _unstated_temperature(given: LotIn, hydrometer_c: float) -> list[Assumed]:
    """What a gravity without its temperature is taken to be."""
    if isinstance(given.gravity, GravityReading):
        if given.gravity.sample_temperature is None:
            return [Assumed("sample temperature", "20 °C", "our default", "a thermometer in the sample")]
        if given.gravity.calibrated_at is None:
            return [Assumed("hydrometer", f"calibrated at {hydrometer_c:g} °C", "our default", "read it off its stem")]
    elif isinstance(given.gravity, float | int) and hydrometer_c != 20.0:
        return [
            Assumed(
                "gravity",
                f"{given.gravity:g} is SG 20/20",
                "a bare number is taken as corrected already, whatever the hydrometer",
                "the reading itself and the sample's temperature, to have it corrected",
            )
        ]
    return []


def _at(pointer: str, read: Callable[[], T]) -> T:
    try:
        return read()
    except ServiceError as error:
        raise error.below(pointer) from error


@dataclass(frozen=True, slots=True)
class _Strength:
    """A strength, and where it was reckoned from gravities its own spread and how it moves with both."""

    abv_percent: float
    sd_percent: float | None = None
    per_gravity: float = 0.0
    per_original: float = 0.0


_STEP_SG = 1e-4


def _strength(given: LotIn, hydrometer_c: float, reader: Reader, assumed: list[Assumed]) -> _Strength:
    if (given.abv_percent is None) == (given.original_gravity is None):
        raise InputError(
            "Give the strength (abv_percent) or the original gravity (original_gravity), one of the two.",
            "/abv_percent",
        )
    if given.abv_percent is not None:
        return _Strength(float(given.abv_percent))
    assert given.original_gravity is not None
    original_given = given.original_gravity
    original = _at(
        "/original_gravity", lambda: gravity_from(original_given, 0.0, hydrometer_c, reader, fermented=False)
    )
    found = _fermented(given, original, 0.0, hydrometer_c, reader)
    # the final reading's own temperature correction depends a little on the strength: a second pass settles it
    found = _fermented(given, original, found.abv_percent, hydrometer_c, reader)
    assumed.append(
        Assumed(
            "abv_percent",
            f"{found.abv_percent:.2f} ({found.abv_low_percent:.2f} to {found.abv_high_percent:.2f})",
            f"original gravity {original:.4f} by Balling's mass balance, nothing added since",
            "distillation, or an ebulliometer",
        )
    )
    final = _at(
        "/gravity", lambda: gravity_from(given.gravity, found.abv_percent, hydrometer_c, reader, fermented=True)
    )
    lower = abv_from_gravities(original - _STEP_SG, final - _STEP_SG).abv_percent
    less = abv_from_gravities(original, final - _STEP_SG).abv_percent
    return _Strength(
        found.abv_percent,
        (found.abv_high_percent - found.abv_low_percent) / 4.0,
        (found.abv_percent - less) / _STEP_SG,
        (less - lower) / _STEP_SG,
    )


def _fermented(given: LotIn, original: float, abv_percent: float, hydrometer_c: float, reader: Reader) -> Fermentation:
    final = _at("/gravity", lambda: gravity_from(given.gravity, abv_percent, hydrometer_c, reader, fermented=True))
    try:
        return abv_from_gravities(original, final)
    except ServiceError as error:
        error.pointer = "/gravity" if error.pointer == "/final_gravity" else "/original_gravity"
        raise


@dataclass(frozen=True, slots=True)
class _Size:
    """How much there is of a lot, by volume or by mass, and its standard deviation as a share, where it is stated."""

    volume_l: float | None
    mass_g: float | None
    sd_share: float | None


def _sized(quantity: Quantity) -> float | None:
    return None if quantity.error_base is None or not quantity.value_base else quantity.error_base / quantity.value_base


def _size(given: LotIn, reader: Reader) -> _Size:
    weighed = given.gross is not None or given.tare is not None
    if (given.volume is not None) + (given.mass is not None) + weighed != 1:
        raise InputError("Give the lot's volume, or its mass, or gross and tare: one of the three.", "/volume")
    if given.volume is not None:
        volume = reader.quantity(given.volume, VOLUME, "/volume", liquid=True, read=True)
        return _Size(volume.value_base / 1000.0, None, _sized(volume))
    if given.mass is not None:
        mass = reader.quantity(given.mass, MASS, "/mass", read=True)
        return _Size(None, mass.value_base, _sized(mass) or _WEIGHED_SHARE)
    if given.gross is None or given.tare is None:
        raise InputError("Give both gross (full) and tare (empty).", "/gross" if given.gross is None else "/tare")
    gross = reader.quantity(given.gross, MASS, "/gross", read=True)
    tare = reader.quantity(given.tare, MASS, "/tare", read=True)
    mass_g = gross.value_base - tare.value_base
    if mass_g <= 0.0:
        raise InconsistentError("The full vessel weighs no more than the empty one: were they exchanged?", "/gross")
    if gross.error_base is None and tare.error_base is None:
        return _Size(None, mass_g, _WEIGHED_SHARE)
    error_g = hypot(gross.error_base or 0.0, tare.error_base or 0.0)
    sound_error(mass_g, error_g, f"{given.gross} less {given.tare}", "/gross")
    return _Size(None, mass_g, error_g / mass_g)


def _use(given: LotIn, volume_l: float, reader: Reader) -> tuple[float, float]:
    if not isinstance(given.use, UseRange):
        return volume_l, volume_l
    least = 0.0
    most = volume_l
    if given.use.min is not None:
        least = reader.quantity(given.use.min, VOLUME, "/use/min", liquid=True).value_base / 1000.0
    if given.use.max is not None:
        most = reader.quantity(given.use.max, VOLUME, "/use/max", liquid=True).value_base / 1000.0
    if most > volume_l * (1.0 + 1e-4):  # an answer's own figures, sent back rounded
        raise InconsistentError(
            f"The lot holds {volume_l:.4g} L, less than the {most:.4g} L that may be used. Lower this, or correct the "
            "volume.",
            "/use/max",
        )
    most = min(most, volume_l)
    if least > most:
        raise InconsistentError(MIN_ABOVE_MAX, "/use/min")
    return least, most


def distinct(names: Sequence[str], what: str, pointer: str) -> None:
    """Refuse two things of one name, which an answer could not tell apart."""
    seen: set[str] = set()
    for i, name in enumerate(names):
        key = " ".join(name.casefold().split())
        if not key:
            raise InputError("A name needs a letter or a digit.", f"{pointer}/{i}/name")
        if key in seen:
            raise InputError(f"Two {what} are called “{name}”: give each its own name.", f"{pointer}/{i}/name")
        seen.add(key)
