"""Reads what all blend questions share besides lots and additions: instruments, senses, what a drink is meant for."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from typing import Final

from service.api.reading import MASS, TEMPERATURE, VOLUME, Reader, end_point_from
from service.api.requests import Common
from service.chemistry.sugars import RELATIVE_SWEETNESS
from service.errors import InputError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot_class import Assumed
from service.planner.asked import Circumstances, Echo, Instruments, Intended
from service.planner.steps import OURS, Senses, Step
from service.quantities import Kind, parse_percent, parse_quantity

_DAY_OF_READING: Final = re.compile(r"(\d{4}-\d{2}-\d{2})(?:[T ].*)?", re.ASCII)
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}(?:[T ]\d{2}:\d{2})?", re.ASCII)


def circumstances_from(given: Common, reader: Reader) -> tuple[Instruments, Callable[[], Circumstances]]:
    """Instruments, and what builds the circumstances when all quantities have shown their system."""
    instruments = reader.attempt("/instruments", lambda: _instruments(given, reader)) or Instruments()
    intended = reader.attempt("/intended", lambda: _intended(given, reader)) or Intended()
    end_point = reader.attempt("", lambda: end_point_from(given.titration_end_point_ph)) or DEFAULT_END_POINT_PH

    senses = reader.attempt("/senses", lambda: _senses(given)) or OURS

    told = given.start_date
    start_date = None if told is None else reader.attempt("/start_date", lambda: start_date_from(told))

    own = tuple(
        Assumed(f"relative sweetness of {sugar.value}", f"{value:g}", "the caller's own", "a tasting")
        for sugar, value in senses.relative_sweetness
    )

    def build() -> Circumstances:
        return Circumstances(
            reader.system(given.units),
            instruments,
            intended,
            given.currency,
            own,
            Echo(given.batch, given.date, given.note),
            end_point,
            senses,
            given.draws,
            given.seed,
            start_date,
        )

    return instruments, build


def day_from(text: str) -> date:
    """The day of a reading, as ISO 8601 writes it; an hour behind it is not needed."""
    found = _DAY_OF_READING.fullmatch(text.strip())
    try:
        if found:
            return date.fromisoformat(found.group(1))
    except ValueError:
        pass
    raise InputError("Write the day as year-month-day, for example 2026-03-14.", "/date")


def start_date_from(text: str) -> str:
    """A day, or a day and an hour, as ISO 8601 writes them, without a zone: a cellar keeps its own time."""
    found = _DAY.fullmatch(text.strip())
    try:
        if found:
            datetime.fromisoformat(text.strip())
            return text.strip().replace(" ", "T")
    except ValueError:
        pass
    raise InputError("Write the day as year-month-day, for example 2026-03-14, or with an hour: 2026-03-14T18:00.")


def _instruments(given: Common, reader: Reader) -> Instruments:
    told = given.instruments
    base = Instruments()
    hydrometer, scale, jug = told.hydrometer, told.scale, told.jug
    stated = {
        name: getattr(told, name) is not None
        for name in ("scale", "jug", "ph_meter", "volume", "titration", "refractometer", "strength")
    }
    stated["hydrometer"] = hydrometer is not None and hydrometer.error is not None
    return Instruments(
        scale_step_g=base.scale_step_g if scale is None else _step(scale.step, MASS, "/scale/step", reader),
        jug_step_ml=base.jug_step_ml if jug is None else _step(jug.step, VOLUME, "/jug/step", reader),
        hydrometer_error=base.hydrometer_error
        if hydrometer is None or hydrometer.error is None
        else float(hydrometer.error),
        hydrometer_calibrated_at_c=base.hydrometer_calibrated_at_c
        if hydrometer is None or hydrometer.calibrated_at is None
        else parse_quantity(hydrometer.calibrated_at, TEMPERATURE, pointer="/hydrometer/calibrated_at").value_base,
        ph_meter_error=base.ph_meter_error if told.ph_meter is None else float(told.ph_meter.error),
        volume_error_percent=base.volume_error_percent
        if told.volume is None
        else _percent(told.volume.error, "/volume/error"),
        titration_error_percent=base.titration_error_percent
        if told.titration is None
        else _percent(told.titration.error, "/titration/error"),
        refractometer_error_brix=base.refractometer_error_brix
        if told.refractometer is None
        else float(told.refractometer.error),
        strength_error_percent=base.strength_error_percent if told.strength is None else float(told.strength.error),
        given=frozenset(name for name, was in stated.items() if was),
    )


_NOTHING_KNOWN_PERCENT = 50.0


def _percent(text: str, pointer: str) -> float:
    """An instrument's error as a share of what it reads [%]; zero counts it out."""
    percent = parse_percent(text, pointer=pointer)
    if percent >= _NOTHING_KNOWN_PERCENT:
        raise InputError(f"“{text}”: an error of half the reading or more leaves nothing known. Check it.", pointer)
    return percent


def _senses(given: Common) -> Senses:
    """The caller's just-noticeable steps: shares as text, differences as numbers."""
    steps = []
    for name, told in sorted(given.senses.steps.items()):
        if isinstance(told, str):
            steps.append((name, Step(parse_percent(told, pointer=f"/steps/{name}") / 100.0, True)))
        else:
            steps.append((name, Step(float(told), False)))
    sugars = {c.value: c for c in RELATIVE_SWEETNESS}
    sweetness = []
    for sugar, value in sorted(given.senses.relative_sweetness.items()):
        if sugar not in sugars:
            raise InputError(
                f"“{sugar}” is no sugar here: {', '.join(sorted(sugars))}.", f"/relative_sweetness/{sugar}"
            )
        sweetness.append((sugars[sugar], float(value)))
    return Senses(tuple(steps), tuple(sweetness))


def _step(text: str, kinds: frozenset[Kind], pointer: str, reader: Reader) -> float:
    value = reader.quantity(text, kinds, pointer, liquid=kinds == VOLUME).value_base
    if value <= 0.0:
        raise InputError("A step is larger than zero.", pointer)
    return value


def _intended(given: Common, reader: Reader) -> Intended:
    told = given.intended
    storage = None
    if told.storage_temperature is not None:
        storage = parse_quantity(told.storage_temperature, TEMPERATURE, pointer="/storage_temperature").value_base
    vessel = None
    if told.vessel is not None:
        vessel = reader.quantity(told.vessel, VOLUME, "/vessel", liquid=True).value_base / 1000.0
        if vessel <= 0.0:
            raise InputError("A vessel holds more than nothing.", "/vessel")
    return Intended(told.container, storage, tuple(sorted(set(told.hurdles))), vessel)
