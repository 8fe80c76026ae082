"""Reads small concentrations, such as those of preservatives: milligrams in a litre, or parts per million."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from service.errors import QuantityError
from service.quantities.lexer import clean, quoted, read_number

__all__ = ["TraceConcentration", "parse_trace"]

_EXAMPLE: Final = '"30 mg/L"'
_HOW: Final = 'Write a small concentration like "30 mg/L", "30 ppm" or "0.03 g/L".'
_PER: Final = re.compile(r"\s*(?:/|\bper\b)\s*")
_LITRE: Final = re.compile(r"/(?:liters?|litres?)$")
_MG_PER_L: Final = {"mg/l": 1.0, "ppm": 1.0, "g/l": 1000.0}


@dataclass(frozen=True, slots=True)
class TraceConcentration:
    """A small concentration as read [mg/L]."""

    mg_per_l: float
    text: str


def parse_trace(text: str, *, pointer: str = "") -> TraceConcentration:
    """Read a small concentration: `30 mg/L`, `30 ppm`, `0.03 g/L`.

    A part per million is read as a milligram in a litre, the drinks trade's use (common practice, no source): by mass
    it would be a milligram in a kilogram, which in a drink of SG 1.03 differs by 3 %.

    Parameters: text; pointer, where it stands.
    Returns: the concentration [mg/L].
    Raises: QuantityError for anything else, a negative one among them.

    >>> parse_trace("30 ppm").mg_per_l, parse_trace("0.2 g/L").mg_per_l
    (30.0, 200.0)
    """
    part = clean(text, pointer, _EXAMPLE)
    if "±" in part or "+/-" in part:
        raise QuantityError(f"{quoted(text)}: write it without its error. {_HOW}", pointer)
    read = read_number(part, pointer, _EXAMPLE)
    if read is None:
        raise QuantityError(f"{quoted(text)} does not begin with a number. {_HOW}", pointer)
    number, place = read
    if number < 0.0:
        raise QuantityError(f"{quoted(text)} is negative. {_HOW}", pointer)
    unit = _LITRE.sub("/l", _PER.sub("/", " ".join(part[place:].lower().split())))
    if unit not in _MG_PER_L:
        why = f"the unit {quoted(unit)} is not known" if unit else "the unit is missing"
        raise QuantityError(f"{quoted(text)}: {why}. {_HOW}", pointer)
    value = (number + 0.0) * _MG_PER_L[unit]
    if not math.isfinite(value):
        raise QuantityError(f"{quoted(text)} is too large. {_HOW}", pointer)
    return TraceConcentration(value, text)
