"""Reads hydrometers and refractometers as they were shown, and refuses what none of them can show."""

from __future__ import annotations

from datetime import date
from typing import Final

from service.api.reading import TEMPERATURE, Reader, meq_per_l, refuse_number_as_text
from service.api.reading_circumstances import day_from
from service.api.requests import GravityIn, GravityReading
from service.api.requests_readings import GravityInSeries, RefractometerIn
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.physics.fermentation import ORIGINAL_GRAVITY_MAX
from service.physics.refractometer_temperature import AT_20_C
from service.physics.slips import gravity_meant
from service.physics.sucrose import sg_from_brix
from service.planner.asked import Instruments
from service.planner.interpreting.asked import GravityOn, HydrometerRead, RefractometerRead
from service.planner.interpreting.strength import DISAGREE
from service.quantities import parse_acidity, parse_sugar_scale

MOST_FERMENT_MEQ, MOST_JUICE_MEQ = 330.0, 1000.0
"""About 25 g/L as tartaric in a ferment; in juice more than lemon has (judged)."""

_GRAVITY: Final = (0.97, ORIGINAL_GRAVITY_MAX)
_MOST_BRIX, _MOST_JUICE_BRIX = 35.0, 84.0


def hydrometer_from(
    given: GravityIn, instruments: Instruments, reader: Reader, assumed: list[Assumed], name: str
) -> HydrometerRead:
    """A hydrometer's reading in SG; a sugar scale is that of a hydrometer here."""
    hydrometer_c = instruments.hydrometer_calibrated_at_c
    if isinstance(given, float | int):
        if hydrometer_c != 20.0:
            assumed.append(
                Assumed(
                    name,
                    f"{given:g} is SG 20/20",
                    "a bare number is taken as corrected already, whatever the hydrometer",
                    "the reading itself and the sample's temperature, to have it corrected",
                )
            )
        return _plausible_gravity(HydrometerRead(float(given)), "")
    if isinstance(given, str):
        return _plausible_gravity(HydrometerRead(_sg(given, "")), "")
    assert isinstance(given, GravityReading)
    shown = _sg(given.reading, "/reading") if isinstance(given.reading, str) else float(given.reading)
    calibrated = hydrometer_c
    if given.calibrated_at is not None:
        calibrated = reader.quantity(given.calibrated_at, TEMPERATURE, "/calibrated_at").value_base
    if given.sample_temperature is None:
        if given.calibrated_at is not None or calibrated != 20.0:
            raise InputError("A hydrometer's reading needs the temperature of the sample.", "/sample_temperature")
        assumed.append(Assumed("sample temperature", "20 °C", "our default", "a thermometer in the sample"))
        return _plausible_gravity(HydrometerRead(shown), "/reading")
    if given.calibrated_at is None:
        assumed.append(Assumed("hydrometer", f"calibrated at {calibrated:g} °C", "our default", "read it off its stem"))
    sample = reader.quantity(given.sample_temperature, TEMPERATURE, "/sample_temperature").value_base
    return _plausible_gravity(HydrometerRead(shown, sample, calibrated), "/reading")


def _sg(text: str, pointer: str) -> float:
    """SG from a reading on a sugar scale."""
    refuse_number_as_text(text, pointer)
    try:
        return sg_from_brix(parse_sugar_scale(text, pointer=pointer).value)
    except ServiceError as error:
        error.pointer = error.pointer or pointer
        raise


def _plausible_gravity(read: HydrometerRead, pointer: str) -> HydrometerRead:
    low, high = _GRAVITY
    if not low <= read.shown <= high:
        raise OutOfRangeError(
            f"A must or a drink reads between {low:.3f} and {high:.3f}, not {read.shown:g}: read again, as SG."
            f"{gravity_meant(read.shown)}",
            pointer,
        )
    try:
        _can_be_corrected(read)
    except ServiceError as error:
        error.pointer = error.pointer or ("/sample_temperature" if pointer else "")
        raise
    return read


def _can_be_corrected(read: HydrometerRead) -> None:
    """Refuse a reading that no correction for temperature is known for."""
    try:
        read.at_20c(0.0)
    except InconsistentError as error:
        raise InconsistentError(
            f"{read.shown:g} in a sample of {read.sample_c or 0.0:.3g} °C is too light to be corrected: the correction "
            "begins without alcohol, whatever the strength. Let the sample come to 20 °C and read again.",
            error.pointer,
        ) from error


def on_day_from(given: GravityInSeries, instruments: Instruments, reader: Reader, assumed: list[Assumed]) -> GravityOn:
    """A gravity of a series; with its own temperature a bare number is what the hydrometer showed."""
    day = day_from(given.date)
    told = given.gravity
    if given.temperature is not None:
        if not isinstance(told, float | int):
            raise InputError("The temperature of that sample stands in its gravity: give it once.", "/temperature")
        try:
            sample = reader.quantity(given.temperature, TEMPERATURE).value_base
            read = HydrometerRead(float(told), sample, instruments.hydrometer_calibrated_at_c)
            _can_be_corrected(read)
        except ServiceError as error:
            raise error.below("/temperature") from error
        try:
            return GravityOn(day, _plausible_gravity(read, ""))
        except ServiceError as error:
            raise error.below("/gravity") from error
    try:
        return GravityOn(day, hydrometer_from(told, instruments, reader, assumed, "gravity of the series"))
    except ServiceError as error:
        raise error.below("/gravity") from error


def one_gravity_a_day(series: tuple[GravityOn, ...], instruments: Instruments, reader: Reader) -> None:
    """Refuse gravities of one day that differ by more than their errors: their order would decide."""
    most = DISAGREE * 2.0**0.5 * instruments.hydrometer_error + 1e-9
    by_day: dict[date, float] = {}
    for k, one in enumerate(series):
        gravity = one.read.at_20c(0.0)
        if abs(by_day.setdefault(one.day, gravity) - gravity) > most:
            reader.faults.append(
                InconsistentError(
                    f"Two gravities of {one.day.isoformat()} do not agree: leave one of them out.", f"/series/{k}"
                )
            )


def now_from(
    now: HydrometerRead | None, series: tuple[GravityOn, ...], instruments: Instruments, reader: Reader
) -> HydrometerRead | None:
    """The reading of now, which has to be the last of the series where both are given."""
    if now is None or not series:
        return now
    last = sorted(series, key=lambda one: one.day)[-1].read
    if abs(now.at_20c(0.0) - last.at_20c(0.0)) > DISAGREE * 2.0**0.5 * instruments.hydrometer_error + 1e-9:
        reader.faults.append(
            InconsistentError(
                f"The series ends at {last.shown:g} and the hydrometer shows {now.shown:g}: put the reading of now "
                "into the series with its date, and leave this out.",
                "/hydrometer",
            )
        )
    return now


def refractometer_from(
    given: str | RefractometerIn, reader: Reader, assumed: list[Assumed], *, juice: bool
) -> RefractometerRead:
    """A refractometer's reading, as a text or with the temperature of its prism."""
    told = RefractometerIn(reading=given) if isinstance(given, str) else given
    at = "" if isinstance(given, str) else "/reading"
    scale = parse_sugar_scale(told.reading, pointer=at)
    most = _MOST_JUICE_BRIX if juice else _MOST_BRIX
    if not -1.0 <= scale.value <= most:
        raise OutOfRangeError(
            f"A refractometer shows -1 to {most:g} °Bx of such a liquid, not {scale.value:g}: read it again; thin a "
            "sweeter sample with water by mass.",
            at,
        )
    sample = None
    if told.sample_temperature is not None:
        sample = reader.quantity(told.sample_temperature, TEMPERATURE, "/sample_temperature").value_base
    elif told.atc is not True:
        assumed.append(
            Assumed(
                "refractometer", "read at 20 °C", "our default", "a thermometer, or an instrument that allows for it"
            )
        )
    if told.atc is True:
        assumed.append(
            Assumed(
                "refractometer's own compensation",
                "right",
                "made for sugar in water; with alcohol it is a little off (judged)",
                "read at 20 °C",
            )
        )
    acid = None
    if told.acid is not None:
        if juice:
            raise InputError(
                "Of juice nothing is solved for with the acid: give the acidity (titratable_acidity).", "/acid"
            )
        try:
            acid = meq_per_l(parse_acidity(told.acid), 1.0)
        except ServiceError as error:
            raise error.below("/acid") from error
        if acid > MOST_FERMENT_MEQ:
            raise OutOfRangeError(too_sour(acid), "/acid")
    read = RefractometerRead(scale.value, sample, told.atc is True, acid, scale.error)
    corrected = read.at_20c  # refuses what no table corrects, at its place
    if sample is not None and told.atc is not True and abs(sample - 20.0) > AT_20_C and not 5.0 <= sample <= 16.0:
        assumed.append(
            Assumed(
                "temperature correction of the refractometer",
                f"{corrected - read.shown_brix:+.2f} °Bx",
                "a straight line from the table's last row, 16 °C, to none at 20 °C",
                "read at 20 °C",
            )
        )
    return read


def too_sour(meq: float, *, titrated: bool = False) -> str:
    """Why an acidity is refused, given or titrated."""
    check = "the strength of the base and the volumes" if titrated else "its decimal point and its unit"
    return (
        f"{acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC):.0f} g/L as tartaric is no acidity of such a drink: check "
        f"{check}."
    )
