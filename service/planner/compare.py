"""One drink beside another, and a drink beside its readings: differences in units and in just-noticeable steps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

from service.errors import InputError
from service.model.properties import PROPERTIES
from service.planner.answers import SHOWN, Predicted
from service.planner.asked import Instruments
from service.planner.intervals import Z_90
from service.planner.plain_words import plain_property
from service.planner.steps import OURS, Senses, steps_between

ABV_ERROR_PERCENT: Final = 0.5
"""Error of a strength from hydrometer and refractometer read to 0.001 and 0.2 °Bx [% vol]: 0.48, computed."""

LEAST_TITRATION_ERROR_G_PER_L: Final = 0.05
"""No titration at home is better than this, as tartaric acid [g/L]: 0.05 mL in a 10 mL sample with 0.1 mol/L is 0.03 as
citric acid (computed)."""

READ: Final = ("gravity", "abv_percent", "titratable_acidity", "ph", "volume")
"""Properties that a maker reads."""


@dataclass(frozen=True, slots=True)
class Difference:
    """How one property of a drink differs from that of the first."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    unit: str
    """Unit of `difference`."""
    difference: float
    """This drink minus the first, in `unit`."""
    steps: float | None
    """The same in just-noticeable steps, by published Weber fractions and `senses`; arithmetic on composition, no
    tasting. Null where a share of nothing would have to be taken."""
    exceeds_instruments: bool | None
    """Whether one reading of each drink could tell them apart; null where no instrument of the request reads it."""


@dataclass(frozen=True, slots=True)
class AgainstReading:
    """A reading of a drink beside what was predicted."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    unit: str
    """Unit of the figures."""
    predicted: float
    """What the recipe gives, in `unit`."""
    measured: float
    """What was read, in `unit`."""
    difference: float
    """Measured minus predicted, in `unit`."""
    steps: float | None
    """The same in just-noticeable steps; null where a share of nothing would have to be taken."""
    instrument_error: float
    """What the instrument may be off by, in `unit`."""
    exceeds_instruments: bool
    """Whether the difference is more than that: then an amount, a reading or an assumption is off."""
    within_interval: bool
    """Whether the reading lies in the 90 % interval of the prediction, the instrument's own error included: then what
    is off is no more than usual."""


def instrument_error(name: str, level: float, instruments: Instruments) -> float | None:
    """What a reading of a property may be off by.

    Parameters: name of the property; level [its unit]; instruments of the request.
    Returns: the error in the property's unit, one way; None where nothing reads it.
    Source: the request's instruments; ABV_ERROR_PERCENT.

    >>> instrument_error("volume", 25.0, Instruments()), instrument_error("cost", 1.0, Instruments())
    (0.5, None)
    """
    if name == "gravity":
        return instruments.hydrometer_error
    if name == "ph":
        return instruments.ph_meter_error
    if name == "volume":
        return instruments.volume_error_percent / 100.0 * abs(level)
    if name == "titratable_acidity":
        return max(instruments.titration_error_percent / 100.0 * abs(level), LEAST_TITRATION_ERROR_G_PER_L)
    return ABV_ERROR_PERCENT if name == "abv_percent" else None


def differences(
    first: Predicted, other: Predicted, instruments: Instruments, senses: Senses = OURS
) -> tuple[Difference, ...]:
    """How one predicted drink differs from another.

    Two drinks are told apart by a reading of each: their errors add up as √(e₁² + e₂²).

    Parameters: first, the drink to compare with; other; instruments; senses.
    Returns: one Difference for each property that both drinks have, in the order of the properties.
    """
    found = []
    for name in PROPERTIES:
        before, after = _value(first, name), _value(other, name)
        if before is None or after is None:
            continue
        found.append(
            Difference(
                name,
                _unit(other, name),
                _shown(name, after - before),
                _shown_steps(name, before, after, senses),
                _exceeds(name, before, after, instruments),
            )
        )
    return tuple(found)


def against_readings(
    predicted: Predicted,
    measured: Mapping[str, float],
    instruments: Instruments,
    senses: Senses = OURS,
) -> tuple[AgainstReading, ...]:
    """A drink's readings beside what was predicted for it.

    Parameters: predicted; measured, property to reading in its unit: gravity, abv_percent, titratable_acidity (g/L
        tartaric, to the end point of the prediction), ph, volume; instruments; senses.
    Returns: one AgainstReading for each, in the order of the properties.
    Raises: InputError for any other property, or where the recipe has no such figure.
    """
    for name in measured:
        if name not in READ:
            raise InputError(f"“{name}” is not read from a drink: give {', '.join(READ)}.", f"/{name}")
    found = []
    for name in READ:
        if name not in measured:
            continue
        value, reading = _value(predicted, name), measured[name]
        if value is None:
            raise InputError(
                f"No {plain_property(name)} could be predicted for this recipe: leave its reading out.", f"/{name}"
            )
        error = instrument_error(name, reading, instruments)
        assert error is not None
        found.append(
            AgainstReading(
                name,
                _unit(predicted, name),
                value,
                reading,
                _shown(name, reading - value),
                _shown_steps(name, value, reading, senses),
                _shown(name, error),
                abs(reading - value) > error * (1.0 + _SLACK),
                _within(predicted, name, reading, error),
            )
        )
    return tuple(found)


_NOT_SENSED: Final = frozenset({"volume", "added_mass", "added_volume", "cost", "energy_kcal_per_100ml"})
"""What nobody tastes: differences in it are not counted in steps."""

_SLACK: Final = 1e-9
"""A difference that is the error itself, but for the rounding of binary numbers, does not exceed it."""


def _exceeds(name: str, before: float, after: float, instruments: Instruments) -> bool | None:
    errors = instrument_error(name, before, instruments), instrument_error(name, after, instruments)
    if errors[0] is None or errors[1] is None:
        return None
    return abs(after - before) > sqrt(errors[0] ** 2 + errors[1] ** 2) * (1.0 + _SLACK)


def readings_expected(drink: Predicted, name: str, error: float) -> tuple[float, float]:
    """The 90 % interval of what an instrument will read of a property: that of the prediction, widened by its error.

    Half widths of independent errors add up as √(a² + b²).

    Parameters: drink; name of a property that it has; error of the instrument, a standard deviation [its unit].
    Returns: lower and upper end [the property's unit].
    """
    prediction = getattr(drink, name)
    half = Z_90 * error
    low = prediction.value - hypot(prediction.value - prediction.low, half)
    return low, prediction.value + hypot(prediction.high - prediction.value, half)


def _within(drink: Predicted, name: str, reading: float, error: float) -> bool:
    """Whether a reading lies in the interval of a prediction, widened by the error of the reading."""
    low, high = readings_expected(drink, name, error)
    return low <= reading <= high


def _value(drink: Predicted, name: str) -> float | None:
    prediction = getattr(drink, name)
    return None if prediction is None else float(prediction.value)


def _unit(drink: Predicted, name: str) -> str:
    return str(getattr(drink, name).unit)


def _shown(name: str, difference: float) -> float:
    return round(difference, PROPERTIES[name].decimals + 1) + 0.0


def _shown_steps(name: str, before: float, after: float, senses: Senses) -> float | None:
    steps = None if name in _NOT_SENSED else steps_between(name, before, after, senses)
    return None if steps is None else round(steps, 2) + 0.0
