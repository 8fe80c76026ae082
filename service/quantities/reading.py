"""Reads masses, volumes, temperatures, pressures, times and packs, with their errors, into base units."""

from __future__ import annotations

import math
import re
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

from service.errors import QuantityError
from service.quantities.lexer import clean, quoted, read_number, sound_error, split_error
from service.quantities.units import (
    UNIT_BY_SPELLING,
    Kind,
    System,
    Unit,
    close_unit,
    example_text,
    kinds_text,
    two_examples_text,
    units_text,
)

__all__ = ["Quantity", "parse_quantity"]

ABSOLUTE_ZERO_C: Final = -273.15

# A unit ends where a digit, a sign or a decimal such as ".5" begins.
_UNIT: Final = re.compile(r"(?:[^\d±+.]|\.(?!\d))*", re.ASCII)
_JOINED: Final = re.compile(r"(?:,|\s+and|\s*&)\s*$")
_RANGE: Final = frozenset({"-", "–", "—", "to"})
_BARE_OUNCE: Final = frozenset({"oz", "ozs", "ounce", "ounces"})
_COMPOUND: Final = frozenset({Kind.MASS, Kind.VOLUME, Kind.TIME})
_TWO_MEANINGS: Final = {
    "G": '"G" could be grams or gallons: write g or gal',
    "T": '"T" could be tablespoons or tonnes: write tbsp or kg',
    "t": '"t" could be teaspoons or tonnes: write tsp or kg',
    "Mg": '"Mg" is a tonne by the rules of the metric system: write mg or kg',
    "°": 'a degree sign needs its letter: write "18 C" or "65 F"',
    "degrees": 'degrees of which scale? Write "18 C" or "65 F"',
    "deg": 'degrees of which scale? Write "18 C" or "65 F"',
    "K": 'write temperatures in degrees Celsius or Fahrenheit: "18 C" or "65 F"',
    "#": '"#" could be pounds or pieces: write lb for pounds',
    "dL": "write it in mL: 1 dL is 100 mL",
    "dl": "write it in mL: 1 dL is 100 mL",
    "cL": "write it in mL: 1 cL is 10 mL",
    "cl": "write it in mL: 1 cL is 10 mL",
    "cc": "write mL: a cubic centimetre is 1 mL",
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A quantity as read: base units are g, mL, °C, kPa, min and packs (`kind.base_unit`).

    `error_base` is the plus-or-minus in the same unit, or None if the text gave none. `system` is the system of
    the units written (None for times and packs). `text` is what the caller wrote, `unit` its first unit.
    """

    kind: Kind
    value_base: float
    error_base: float | None
    system: System | None
    text: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class _Term:
    number: float
    unit: Unit
    spelling: str


@dataclass(frozen=True, slots=True)
class _Reader:
    """What one reading needs to refuse in words: the text, the place, and what would be welcome there."""

    text: str
    pointer: str
    kinds: Collection[Kind]
    liquid: bool

    def refusal(self, why: str) -> QuantityError:
        return QuantityError(f"{quoted(self.text)}: {why}.", self.pointer)

    def unit_refusal(self, why: str, instead: str | None = None) -> QuantityError:
        how = f"Write a number and a unit, for example {example_text(self.kinds)}." if instead is None else instead
        return QuantityError(f"{quoted(self.text)}: {why}. {how} Units: {units_text(self.kinds)}.", self.pointer)

    def unit_missing(self, number: str, value: float) -> QuantityError:
        examples = two_examples_text(number, value, self.kinds)
        return self.unit_refusal("the unit is missing", f"Write for example {examples}.")

    def unit(self, written: str) -> tuple[Unit, str]:
        name = _JOINED.sub("", written).strip()
        if name in _TWO_MEANINGS:
            raise self.refusal(_TWO_MEANINGS[name])
        if name in _RANGE:
            raise self.unit_refusal("this is a range, and one amount is needed here")
        spelling = " ".join(name.lower().replace(".", " ").replace("°", " °").split()).replace("° ", "°")
        unit = UNIT_BY_SPELLING.get(spelling)
        if unit is None and not name:
            raise self.unit_refusal("the unit is missing")
        if unit is None:
            close = close_unit(spelling, self.kinds)
            raise self.unit_refusal(
                f"the unit {quoted(name)} is not known", None if close is None else f"Did you mean {quoted(close)}?"
            )
        return unit, spelling

    def terms(self, part: str) -> list[_Term] | float:
        """Terms such as 7 lb and 8 oz; or a float where one number stands without a unit."""
        terms: list[_Term] = []
        place = 0
        while place < len(part):
            read = read_number(part, self.pointer, example_text(self.kinds), place)
            if read is None:
                raise self.unit_refusal("this does not begin with a number" if not terms else "this cannot be read")
            number, place = read
            if place == len(part) and not terms:
                return number
            found = _UNIT.match(part, place)
            written = found[0] if found else ""
            place += len(written)
            if place == len(part) and _JOINED.search(written):
                raise self.refusal("this ends in the middle")
            unit, spelling = self.unit(written)
            terms.append(_Term(number, unit, spelling))
        return terms

    def check_kind(self, terms: list[_Term]) -> None:
        unit = terms[0].unit
        if len(terms) == 1 and terms[0].spelling in _BARE_OUNCE and Kind.VOLUME in self.kinds:
            if Kind.MASS not in self.kinds:
                raise self.refusal('an ounce is a mass: fl oz, or oz by weight? A volume is needed here, so "fl oz"')
            if self.liquid:
                raise self.refusal('fl oz, or oz by weight? Write "fl oz" for a volume or "oz wt" for a mass')
        if unit.kind not in self.kinds:
            raise self.unit_refusal(f"this is a {unit.kind.value}, and {kinds_text(self.kinds)} is needed here")
        if len(terms) > 1 and unit.kind not in _COMPOUND:
            raise self.refusal(f"a {unit.kind.value} has one number and one unit")
        for larger, smaller in pairwise(terms):
            if smaller.unit.kind is not unit.kind:
                raise self.refusal(f"this mixes a {unit.kind.value} and a {smaller.unit.kind.value}")
            if smaller.unit.system != larger.unit.system:
                raise self.refusal(
                    f"this mixes two systems of units, {larger.unit.symbol} and {smaller.unit.symbol}. Write all of it "
                    "in one"
                )
            if smaller.unit.factor >= larger.unit.factor:
                raise self.refusal('the larger unit stands first, as in "7 lb 8 oz"')
        if terms[0].number < 0 and unit.kind is not Kind.TEMPERATURE:
            raise self.refusal(f"a {unit.kind.value} cannot be negative. Leave the minus sign out")

    def error_base(self, part: str, terms: list[_Term] | float, value_base: float | None) -> tuple[float, list[_Term]]:
        """The error in the base unit, and the value's terms, which may borrow the error's unit (`19 ± 0.5 L`)."""
        if part.endswith("%") and not isinstance(terms, float) and value_base is not None:
            read = read_number(part, self.pointer, example_text(self.kinds))
            if read is None or part[read[1] :] != "%" or read[0] < 0:
                raise self.refusal('the error after "±" cannot be read; write it like "± 2 %" or with a unit')
            if terms[0].unit.kind is Kind.TEMPERATURE:
                raise self.refusal('a percent of a temperature means nothing; write the error like "± 1 C"')
            return value_base * read[0] / 100.0, terms
        errors = self.terms(part) if part else 0.0
        if isinstance(errors, float):
            raise self.refusal('the error after "±" lacks its unit')
        if isinstance(terms, float):
            terms = [_Term(terms, errors[0].unit, errors[0].spelling)]
        kind = terms[0].unit.kind
        if any(error.unit.kind is not kind for error in errors):
            raise self.refusal(f'the error after "±" has to be a {kind.value} too')
        if errors[0].number < 0:
            raise self.refusal('the error after "±" cannot be negative')
        return sum(error.number * error.unit.factor for error in errors), terms


def _value_base(terms: list[_Term]) -> float:
    value = sum(term.number * term.unit.factor for term in terms) + terms[0].unit.offset
    return value + 0.0  # turns −0.0 into 0.0


def parse_quantity(text: str, kinds: Collection[Kind], *, liquid: bool = False, pointer: str = "") -> Quantity:
    """Read a quantity as people write it: `2.5 kg`, `7 lb 8 oz`, `1 1/2 cup`, `9.5L`, `19 L ± 0.5 L`, `2 packs`.

    Spellings, singular or plural, dots and case do not matter. US customary unless "imp" (or "imperial", "UK")
    stands before the unit. The error is a quantity, or a percent of the value.

    Parameters: text; kinds, what is welcome here; liquid, whether the thing measured is a liquid or a pack, for
        which a bare `oz` is refused if a mass and a volume are both welcome; pointer, where the text stands.
    Returns: the quantity in base units.
    Raises: QuantityError, naming the units, for anything that is not such a quantity, is not finite, is a
        negative amount, or lies below absolute zero; and for an error of an amount that is nothing, or half of it.
    Source: NIST Handbook 44, Appendix C.

    >>> round(parse_quantity("7 lb 8 oz", {Kind.MASS}).value_base, 6)  # 7.5 × 453.59237 g
    3401.942775
    >>> parse_quantity("1 gal +/- 2 %", {Kind.VOLUME}).error_base
    75.70823568
    """
    return _read(text, frozenset(kinds), liquid, pointer)


@lru_cache(maxsize=512)
def _read(text: str, kinds: frozenset[Kind], liquid: bool, pointer: str) -> Quantity:
    """`parse_quantity`; a request reads the same text several times, once for its kind and once for its amount."""
    reader = _Reader(text, pointer, kinds, liquid)
    value_part, error_part = split_error(clean(text, pointer, example_text(kinds)), pointer)
    terms = reader.terms(value_part)
    if not isinstance(terms, float) and not terms:
        raise reader.refusal('a value has to stand before "±"')
    error: float | None = None
    if error_part is not None:
        before = None if isinstance(terms, float) else _value_base(terms)
        error, terms = reader.error_base(error_part, terms, before)
    if isinstance(terms, float):
        raise reader.unit_missing(value_part, terms)
    reader.check_kind(terms)
    value = _value_base(terms)
    if not math.isfinite(value) or (error is not None and not math.isfinite(error)):
        raise reader.refusal("this is too large")
    unit = terms[0].unit
    if unit.kind is not Kind.TEMPERATURE:
        sound_error(value, error, text, pointer)
    elif value < ABSOLUTE_ZERO_C:
        raise reader.refusal("this is below absolute zero, −273.15 °C")
    return Quantity(unit.kind, value, error, unit.system, text, unit.symbol)
