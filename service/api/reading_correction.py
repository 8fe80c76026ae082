"""Reads corrections: the readings of what is in the vessel, with their errors, at each measuring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

from service.api.reading import VOLUME, Reader, gravity_from, meq_per_l
from service.api.reading_blend import SharedReading, chance_from
from service.api.reading_poured import PouredReading, StageIn, stages_of, with_stocks_measured
from service.api.reading_targets import preference_from, target_value
from service.api.requests_correction import CorrectionRequest
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InputError, ServiceError
from service.model.lot_class import Assumed
from service.model.properties import property_value
from service.physics.ethanol_water import ethanol_water_density_kg_m3, mass_fraction_from_abv_percent
from service.planner.asked import Instruments
from service.planner.compare import LEAST_TITRATION_ERROR_G_PER_L
from service.planner.correction.asked import READ, REFRACTOMETER, VESSEL, CorrectionAsked, ReadingAsked
from service.planner.correction.belief import least_error
from service.quantities import AcidityBasis, parse_acidity, parse_percent, parse_sugar_scale, sound_error

_GRAVITY: Final = (0.97, 1.2)
"""Between these lies the gravity of a drink that is not strong, nor meant as a syrup (our default)."""

_STRONGER_PERCENT: Final = 5.0
_DENSER: Final = 0.05
"""A drink is no stronger or denser than what was poured by more than this (our default)."""

_READ_WITH: Final = {"ph_meter": "pH meter", "strength": "reading of the strength", "volume": "reading of the volume"}
"""Fields of the instruments as one says them; the others are plain."""


def correction_from(given: CorrectionRequest, deadline_s: float) -> CorrectionAsked:
    """A correction as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    given = with_stocks_measured(given)
    shared = SharedReading(given, targets_needed=given.fault is None)
    reader = shared.reader
    prefer = [
        reader.attempt(f"/prefer/{i}", partial(preference_from, preference))
        for i, preference in enumerate(given.prefer)
    ]
    for k, lot in enumerate(shared.lots):
        if lot.lot.name == VESSEL:
            reader.faults.append(InputError(f"“{VESSEL}” is what the mixture is called: rename.", f"/lots/{k}/name"))
    vessel = PouredReading(given, shared.lots, shared.additions, shared.instruments, reader)
    if not reader.faults:
        vessel.read()
    readable = not reader.faults
    found: list[ReadingAsked] = []
    for s, stage in enumerate(stages_of(given)):
        drink = reader.attempt(f"{stage.pointer}/added", partial(_drink, vessel, s)) if readable else None
        readings = _Readings(stage, s, shared.instruments, reader, drink)
        found += readings.found()
        shared.assumed = (*shared.assumed, *(a for a in readings.assumed if a not in shared.assumed))
    if given.fault is None and not given.earlier and "added" not in given.model_fields_set:
        text = "Say what is in the vessel besides the lots that are used whole: [] if nothing was added yet."
        reader.faults.append(InputError(text, "/added"))
    hold_back = None
    if given.hold_back is not None:
        told = given.hold_back
        hold_back = reader.attempt("/hold_back", lambda: chance_from(told))
    if given.measured is None or not given.measured.model_fields_set:
        _not_measured(given, found, reader)
    plan = shared.plan(given, [p for p in prefer if p is not None], given.rounding, deadline_s)
    return CorrectionAsked(
        replace(plan, hold_back=hold_back),
        tuple(vessel.lots),
        tuple(vessel.additions),
        tuple(vessel.besides),
        tuple(vessel.stages),
        tuple(found),
        given.model_dump(mode="json", by_alias=True, exclude_unset=True),
    )


def readings_of_nothing(given: CorrectionRequest, reader: Reader) -> None:
    """Note what speaks of a reading in a request that tells of no vessel, but only of a fault in words."""
    for name in sorted(given.errors.model_fields_set):
        if getattr(given.errors, name) is not None:
            reader.faults.append(InputError("There is no such reading in measured.", f"/errors/{name}"))
    if given.lost is not None:
        text = "Say what was in the vessel, and what was read there: without that a loss changes nothing."
        reader.faults.append(InputError(text, "/lost"))


def _not_measured(given: CorrectionRequest, found: Sequence[ReadingAsked], reader: Reader) -> None:
    if given.fault is None:
        reader.faults.append(
            InputError(
                "Measure what is in the vessel: gravity, strength, acidity, pH, volume or refractometer, one at least.",
                "/measured",
            )
        )
    elif not found and (given.lost is not None or any(e.lost is not None for e in given.earlier)):
        text = "What was lost is only reckoned with beside a reading: measure the drink, or leave it out."
        reader.faults.append(InputError(text, "/lost"))


@dataclass(frozen=True, slots=True)
class _Drink:
    """What was poured, as far as readings of it are held against it."""

    abv_percent: float
    gravity: float


def _drink(vessel: PouredReading, stage: int) -> _Drink:
    contents = vessel.contents(stage)
    litres = contents.volume_ml / 1000.0
    return _Drink(
        property_value("abv_percent", contents, litres) or 0.0, property_value("gravity", contents, litres) or 1.0
    )


class _Readings:
    """The readings of the vessel at one stage, each with its standard deviation."""

    def __init__(
        self, stage: StageIn, number: int, instruments: Instruments, reader: Reader, drink: _Drink | None
    ) -> None:
        self.given, self.pointer, self.number = stage.given, stage.pointer, number
        self.instruments, self.reader, self.drink = instruments, reader, drink
        self.assumed: list[Assumed] = []

    def found(self) -> tuple[ReadingAsked, ...]:
        """All readings that could be read."""
        measured = self.given.measured
        names = [name for name in READ if measured is not None and getattr(measured, name) is not None]
        for name in sorted(self.given.errors.model_fields_set - set(names)):
            if getattr(self.given.errors, name) is not None:
                self.reader.faults.append(
                    InputError("There is no such reading in measured.", f"{self.pointer}/errors/{name}")
                )
        found = [self.reader.attempt(f"{self.pointer}/measured/{name}", partial(self._reading, name)) for name in names]
        return tuple(r for r in found if r is not None)

    def _reading(self, name: str) -> ReadingAsked:
        value, stated = self._value(name)
        try:
            separate = self._stated(name, value)
        except ServiceError as fault:
            fault.pointer = f"{self.pointer}/errors/{name}"
            self.reader.faults.append(fault)
            separate = None
        if stated is not None and separate is not None:
            raise InputError("The error stands behind ± and in errors: give it once.")
        error = stated if separate is None else separate
        error = self._usual(name, value) if error is None else error
        least = least_error(name, value)
        if error < least:
            error = least
            self.assumed.append(
                Assumed(
                    f"error of the {name} read",
                    f"{least:.6f}".rstrip("0"),
                    "our default",
                    "no reading counts as better",
                )
            )
        return ReadingAsked(name, value, error, self.number)

    def _value(self, name: str) -> tuple[float, float | None]:
        """A reading in its property's unit, and its error where that stands behind it."""
        measured, reader = self.given.measured, self.reader
        assert measured is not None
        if name == "gravity":
            assert measured.gravity is not None
            hydrometer_c = self.instruments.hydrometer_calibrated_at_c
            abv_percent = self.drink.abv_percent if self.drink is not None else 0.0
            read = gravity_from(measured.gravity, abv_percent, hydrometer_c, reader, fermented=abv_percent > 0.0)
            value = target_value(name, read, "", reader)
            if self.drink is not None:
                _plausible_gravity(value, self.drink)
            return value, None
        text = getattr(measured, name)
        if name == "titratable_acidity":
            value, error = _acidity(text)
            if value <= 0.0:
                raise InputError("Every drink of honey or juice takes some base: titrate again, or leave this out.")
            return value, error
        if name == "volume":
            quantity = reader.quantity(text, VOLUME, liquid=True, read=True)
            litres = quantity.value_base / 1000.0
            if litres <= 0.0:
                raise InputError("A volume in the vessel is above zero.")
            return litres, None if quantity.error_base is None else quantity.error_base / 1000.0
        if name == REFRACTOMETER:
            scale = parse_sugar_scale(text)
            return scale.value, scale.error
        return target_value(name, text, "", reader), None

    def _stated(self, name: str, value: float) -> float | None:
        """The error of a reading in `errors`, in its property's unit."""
        told = getattr(self.given.errors, name)
        if not isinstance(told, str):
            return None if told is None else float(told)
        if told.rstrip().endswith(("%", "percent")):
            error = parse_percent(told) / 100.0 * abs(value)
        elif name == "volume":
            error = self.reader.quantity(told, VOLUME, liquid=True).value_base / 1000.0
        else:
            error = _acidity(told)[0]
        sound_error(value, error, told, "")
        return error

    def _usual(self, name: str, value: float) -> float:
        """The error of the instrument, with what was assumed about it."""
        told = self.instruments
        field, error, words = {
            "gravity": ("hydrometer", told.hydrometer_error, f"{told.hydrometer_error:g}"),
            "abv_percent": ("strength", told.strength_error_percent, f"{told.strength_error_percent:g} % vol"),
            "titratable_acidity": (
                "titration",
                max(told.titration_error_percent / 100.0 * abs(value), LEAST_TITRATION_ERROR_G_PER_L),
                f"{told.titration_error_percent:g} %",
            ),
            "ph": ("ph_meter", told.ph_meter_error, f"{told.ph_meter_error:g}"),
            "volume": ("volume", told.volume_error_percent / 100.0 * value, f"{told.volume_error_percent:g} %"),
            REFRACTOMETER: ("refractometer", told.refractometer_error_brix, f"{told.refractometer_error_brix:g} °Bx"),
        }[name]
        if field not in told.given:
            how = f"what your {_READ_WITH.get(field, field)} errs by"
            self.assumed.append(Assumed(f"error of the {name} read", words, "trade default", how))
        return error


def _plausible_gravity(value: float, drink: _Drink) -> None:
    """Refuse a gravity that no drink near what was poured can have."""
    fraction = mass_fraction_from_abv_percent(min(drink.abv_percent + _STRONGER_PERCENT, 100.0))
    lightest = ethanol_water_density_kg_m3(fraction) / ethanol_water_density_kg_m3(0.0)
    low, high = min(_GRAVITY[0], lightest), max(_GRAVITY[1], drink.gravity + _DENSER)
    if not low <= value <= high:
        what = f"a drink of {drink.abv_percent:.1f} % vol" if value < low else "such a drink"
        raise InputError(
            f"The gravity of {what} lies between {low:.3f} and {high:.3f}, not at {value:g}: read it again."
        )


def _acidity(text: str) -> tuple[float, float | None]:
    """An acidity of a drink and its error [g/L tartaric]."""
    acidity = parse_acidity(text)
    if acidity.basis in (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG):
        raise InputError("Give the acidity of a drink per litre, such as “7 g/L tartaric”.")
    value = acid_g_per_l_from_meq_per_l(meq_per_l(acidity, 1.0), Acid.TARTARIC)
    error = None if acidity.error is None else value * acidity.error / acidity.value if acidity.value > 0.0 else None
    return value, error
