"""Reads acidity, sugar concentration, the sugar scales and percent.

Nothing is converted between acids here: an `Acidity` keeps the value, its basis and the acid it is expressed as,
and the rooms that know equivalent weights convert it.
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from enum import Enum
from typing import Final, Literal

from service.errors import QuantityError
from service.quantities.lexer import clean, quoted, read_number, sound_error, split_error

__all__ = [
    "ACIDS",
    "Acidity",
    "AcidityBasis",
    "SugarConcentration",
    "SugarScaleReading",
    "parse_acidity",
    "parse_percent",
    "parse_sugar_concentration",
    "parse_sugar_scale",
]

ACIDS: Final = ("tartaric", "citric", "malic", "lactic", "sulfuric")
"""Acids as which an acidity may be expressed."""

SUGAR_TEST_G_PER_L: Final = 2.0
SCALE_DEGREES: Final = 1.0
"""Errors that are believed near zero too, where a dry drink is read: of a test for sugar, and of a sugar scale [°Bx or
°P] (our default)."""

_PER: Final = re.compile(r"\s*(?:/|\bper\b)\s*")
_LITRE: Final = re.compile(r"/(?:liters?|litres?)\b")
_HUNDRED: Final = re.compile(r"/100 ?ml\b")
_ACID: Final = re.compile(r"(?P<unit>.*?)\s*\b(?:as )?(?P<acid>[a-z]+ic)(?: acid)?$")


class AcidityBasis(Enum):
    """What an acidity is counted in and over. The value is the unit in words."""

    G_PER_L = "g/L"
    G_PER_KG = "g/kg"
    MEQ_PER_L = "meq/L"
    MEQ_PER_KG = "meq/kg"


_BASIS: Final = {
    "g/l": (AcidityBasis.G_PER_L, 1.0),
    "g/kg": (AcidityBasis.G_PER_KG, 1.0),
    "g/100ml": (AcidityBasis.G_PER_L, 10.0),
    "%": (AcidityBasis.G_PER_L, 10.0),
    "% w/v": (AcidityBasis.G_PER_L, 10.0),
    "% w/w": (AcidityBasis.G_PER_KG, 10.0),
    "meq/l": (AcidityBasis.MEQ_PER_L, 1.0),
    "meq/kg": (AcidityBasis.MEQ_PER_KG, 1.0),
}
_CONCENTRATION: Final = {"g/l": 1.0, "g/100ml": 10.0}
_SCALE: Final[dict[str, Literal["brix", "plato"]]] = {
    "bx": "brix",
    "brix": "brix",
    "p": "plato",
    "plato": "plato",
}


@dataclass(frozen=True, slots=True)
class Acidity:
    """An acidity as read: `value` and `error` in the unit of `basis`, as `acid` (None for meq)."""

    value: float
    basis: AcidityBasis
    acid: str | None
    error: float | None
    text: str


@dataclass(frozen=True, slots=True)
class SugarConcentration:
    """A concentration of sugar as read [g/L]."""

    g_per_l: float
    error_g_per_l: float | None
    text: str


@dataclass(frozen=True, slots=True)
class SugarScaleReading:
    """A reading of a sugar scale [°Bx or °P]."""

    value: float
    scale: Literal["brix", "plato"]
    error: float | None
    text: str


def _unit(written: str) -> str:
    """Bring a written unit to one spelling: lower case, `/`, single spaces."""
    unit = _PER.sub("/", " ".join(written.lower().replace(".", " ").split()))
    unit = _LITRE.sub("/l", unit.replace("percent", "%"))
    unit = _HUNDRED.sub("/100ml", unit).replace("grams/", "g/").replace("gram/", "g/")
    return unit.replace("sulphuric", "sulfuric")


def _parts(text: str, pointer: str, example: str) -> tuple[str, str | None]:
    """The value and the error of a text; a value without a unit borrows the error's, as in `6.5 ± 0.2 g/L`."""
    value, error = split_error(clean(text, pointer, example), pointer)
    if error is not None and not error.endswith("%"):
        number, error_number = read_number(value, pointer, example), read_number(error, pointer, example)
        if number is not None and number[1] == len(value) and error_number is not None:
            value = f"{value} {error[error_number[1] :]}"
    return value, error


def _value_and_rest(part: str, text: str, pointer: str, how: str, example: str) -> tuple[float, str]:
    read = read_number(part, pointer, example)
    if read is None:
        raise QuantityError(f"{quoted(text)} does not begin with a number. {how}", pointer)
    number, place = read
    if number < 0 and example != _SCALE_EXAMPLE:
        raise QuantityError(f"{quoted(text)} is negative. {how}", pointer)
    return number + 0.0, _unit(part[place:])


def _finite(value: float, error: float | None, text: str, pointer: str, how: str) -> None:
    if not math.isfinite(value) or (error is not None and not math.isfinite(error)):
        raise QuantityError(f"{quoted(text)} is too large. {how}", pointer)


_ACIDITY_EXAMPLE: Final = '"6.5 g/L tartaric"'
_ACIDITY_HOW: Final = (
    'Write it like "6.5 g/L tartaric", "0.55 % citric" (grams in 100 mL), "55 g/kg citric" or "80 meq/L". '
    f"Acids: {', '.join(ACIDS)}."
)


def _acidity_part(part: str, text: str, pointer: str) -> tuple[float, str, str | None]:
    number, rest = _value_and_rest(part, text, pointer, _ACIDITY_HOW, _ACIDITY_EXAMPLE)
    found = _ACID.match(rest)
    unit, acid = (found["unit"], found["acid"]) if found else (rest, None)
    if acid is not None and acid not in ACIDS:
        close = difflib.get_close_matches(acid[:40], ACIDS, n=1, cutoff=0.88)
        meant = f"Did you mean {close[0]}?" if close else _ACIDITY_HOW
        raise QuantityError(f"{quoted(text)}: the acid {quoted(acid)} is not known. {meant}", pointer)
    if unit not in _BASIS:
        why = f"the unit {quoted(unit)} is not known" if unit else "the unit is missing"
        raise QuantityError(f"{quoted(text)}: {why}. {_ACIDITY_HOW}", pointer)
    return number, unit, acid


def parse_acidity(text: str, *, pointer: str = "") -> Acidity:
    """Read an acidity: `6.5 g/L tartaric`, `0.55 % citric`, `80 meq/L`, `55 g/kg citric`.

    A plain percent means grams in 100 mL, the drinks trade's use (common practice, no source): 0.55 % is 5.5 g/L.
    `% w/w` means grams in 100 g. An error may follow: `6.5 g/L tartaric ± 0.2 g/L`, or `± 3 %` of the value; after
    a value in percent it has to be in g/L, since `± 0.02 %` could be meant either way.

    Parameters: text; pointer, where it stands.
    Returns: value and error in the unit of the basis, and the acid (None for meq).
    Raises: QuantityError for anything else, with the acids and what to write.

    >>> parse_acidity("0.5 % citric").value
    5.0
    """
    value_part, error_part = _parts(text, pointer, _ACIDITY_EXAMPLE)
    number, unit, acid = _acidity_part(value_part, text, pointer)
    basis, factor = _BASIS[unit]
    error: float | None = None
    if error_part is not None:
        error_number, error_unit, error_acid = _acidity_part(error_part, text, pointer)
        if error_unit == "%" and not unit.startswith("%") and not (acid and error_acid):
            error = number * factor * error_number / 100.0
        elif _BASIS[error_unit][0] is not basis or error_unit.startswith("%"):
            raise QuantityError(f"{quoted(text)}: write the error in {basis.value}. {_ACIDITY_HOW}", pointer)
        elif acid and error_acid and acid != error_acid:
            raise QuantityError(f"{quoted(text)} names two acids. {_ACIDITY_HOW}", pointer)
        else:
            error = error_number * _BASIS[error_unit][1]
        acid = acid or error_acid
    counted = basis in (AcidityBasis.MEQ_PER_L, AcidityBasis.MEQ_PER_KG)
    if counted and acid is not None:
        raise QuantityError(f"{quoted(text)}: meq counts every acid alike; leave out the acid's name.", pointer)
    if not counted and acid is None:
        raise QuantityError(
            f"{quoted(text)}: say as which acid it is told: {' '.join(value_part.split())} tartaric or citric, for "
            f"example. Acids: {', '.join(ACIDS)}.",
            pointer,
        )
    _finite(number * factor, error, text, pointer, _ACIDITY_HOW)
    sound_error(number * factor, error, text, pointer)
    return Acidity(number * factor, basis, acid, error, text)


_SUGAR_EXAMPLE: Final = '"4 g/L"'
_SUGAR_HOW: Final = 'Write a concentration of sugar like "4 g/L".'


def parse_sugar_concentration(text: str, *, pointer: str = "") -> SugarConcentration:
    """Read a concentration of sugar: `4 g/L`, `0.4 g/100 mL`, `4 g/L ± 1 g/L`, `4 g/L ± 10 %`.

    Parameters: text; pointer, where it stands.
    Returns: the concentration [g/L].
    Raises: QuantityError for anything else.

    >>> parse_sugar_concentration("0.4 g/100 mL").g_per_l
    4.0
    """
    value_part, error_part = _parts(text, pointer, _SUGAR_EXAMPLE)
    number, unit = _value_and_rest(value_part, text, pointer, _SUGAR_HOW, _SUGAR_EXAMPLE)
    if unit not in _CONCENTRATION:
        why = f"the unit {quoted(unit)} is not known" if unit else "the unit is missing"
        raise QuantityError(f"{quoted(text)}: {why}. {_SUGAR_HOW}", pointer)
    value = number * _CONCENTRATION[unit]
    error: float | None = None
    if error_part is not None:
        error_number, error_unit = _value_and_rest(error_part, text, pointer, _SUGAR_HOW, _SUGAR_EXAMPLE)
        if error_unit == "%":
            error = value * error_number / 100.0
        elif error_unit in _CONCENTRATION:
            error = error_number * _CONCENTRATION[error_unit]
        else:
            raise QuantityError(f'{quoted(text)}: write the error like "± 1 g/L" or "± 10 %".', pointer)
    _finite(value, error, text, pointer, _SUGAR_HOW)
    sound_error(value, error, text, pointer, at_most=SUGAR_TEST_G_PER_L)
    return SugarConcentration(value, error, text)


_SCALE_EXAMPLE: Final = '"7.6 Bx"'
_SCALE_HOW: Final = 'Write a reading of a sugar scale like "7.6 Bx" or "7.6 P".'


def parse_sugar_scale(text: str, *, pointer: str = "") -> SugarScaleReading:
    """Read a value of a sugar scale: `7.6 Bx`, `7.6 °Brix`, `7.6 P`, `7.6 Plato`, with or without `± 0.2 Bx`.

    Parameters: text; pointer, where it stands.
    Returns: the reading [°Bx or °P]. It may be negative: a hydrometer in a dry wine reads below zero.
    Raises: QuantityError for anything else, and above 100, where nothing but sugar would be left.

    >>> parse_sugar_scale("7.6 °P").scale
    'plato'
    """
    value_part, error_part = _parts(text, pointer, _SCALE_EXAMPLE)
    value, scale = _scale_part(value_part, text, pointer)
    error: float | None = None
    if error_part is not None:
        error, error_scale = _scale_part(error_part, text, pointer)
        if error_scale is not scale or error < 0:
            raise QuantityError(f'{quoted(text)}: write the error in the same scale, like "± 0.2 Bx".', pointer)
    if abs(value) > 100.0:
        raise QuantityError(f"{quoted(text)} lies beyond 100, which is pure sugar. {_SCALE_HOW}", pointer)
    sound_error(value, error, text, pointer, at_most=SCALE_DEGREES)
    return SugarScaleReading(value, scale, error, text)


def _scale_part(part: str, text: str, pointer: str) -> tuple[float, Literal["brix", "plato"]]:
    number, rest = _value_and_rest(part, text, pointer, _SCALE_HOW, _SCALE_EXAMPLE)
    name = rest.replace("degrees", "").replace("deg", "").replace("°", "").strip()
    if name not in _SCALE:
        why = f"the scale {quoted(name)} is not known" if name else "the scale is missing"
        raise QuantityError(f"{quoted(text)}: {why}. {_SCALE_HOW}", pointer)
    return number, _SCALE[name]


_PERCENT_HOW: Final = 'Write a percentage like "2 %".'


def parse_percent(text: str, *, pointer: str = "") -> float:
    """Read a percentage: `2 %`, `2.5%`, `17 percent`.

    Parameters: text; pointer, where it stands.
    Returns: the percentage [%], not negative and not bounded above.
    Raises: QuantityError for anything else.

    >>> parse_percent("2.5%")
    2.5
    """
    part = clean(text, pointer, '"2 %"')
    number, unit = _value_and_rest(part, text, pointer, _PERCENT_HOW, '"2 %"')
    if unit != "%":
        raise QuantityError(f"{quoted(text)} is not a percentage. {_PERCENT_HOW}", pointer)
    return number
