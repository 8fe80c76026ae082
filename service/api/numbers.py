"""Field types and base models of requests: finite numbers, short texts, and no unknown field."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

from service.quantities import plain_digits

__all__ = [
    "MOST_MONEY",
    "FiniteNumber",
    "Money",
    "NoQuery",
    "NonNegativeNumber",
    "PositiveNumber",
    "QueryInteger",
    "QueryModel",
    "QueryNumber",
    "RequestModel",
    "ShortText",
    "WholeNumber",
    "number_meant",
    "words_for_number",
]

_DECIMAL: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_INTEGER: Final = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_COMMA: Final = re.compile(r"[+-]?\d+,\d+", re.ASCII)
_FRACTION: Final = re.compile(r"(\d{1,3})\s*/\s*(\d{1,3})", re.ASCII)
_BESIDE: Final = re.compile(r"^(?:pH|SG|OG|FG|=)\s*|\s*(?:SG|%\s*(?:vol|abv)?\.?|vol\.?|abv)$", re.IGNORECASE)
_SPACES: Final = re.compile("[\u00a0\u2007\u2009\u202f]")
_LONGEST: Final = 40


def number_meant(text: str) -> str | None:
    """The number that a text means which is not written as one; None where that is not clear.

    >>> [number_meant(t) for t in ("1,016", "7.2 %", "pH 3.4", "1/2", "12 Bx", "")]
    ['1.016', '7.2', '3.4', '0.5', None, None]
    """
    plain = _BESIDE.sub("", plain_digits(text).strip())
    fraction = _FRACTION.fullmatch(plain)
    if fraction is not None and int(fraction[2]) > 0:
        return f"{int(fraction[1]) / int(fraction[2]):g}"
    if _COMMA.fullmatch(plain):
        plain = plain.replace(",", ".")
    return plain if _DECIMAL.fullmatch(plain) and len(plain) <= _LONGEST else None


def words_for_number(text: str) -> str:
    """What to write in place of a text in a URL that is no number.

    >>> words_for_number("7.2%"), words_for_number("1,012")
    ('Write 7.2, without a percent sign.', 'Use a decimal point: 1.012.')
    """
    meant, plain = number_meant(text), plain_digits(text).strip()
    if not plain:
        return "Nothing stands here. Write a number, for example 1.012, or, if it is not needed, leave it out."
    if "proof" in plain.lower():
        return "Proof is not read here. Write the strength in % vol, as a number alone; US proof is twice that."
    if meant is None:
        return "Write a number alone, with a decimal point and without a unit, for example 1.012."
    if _COMMA.fullmatch(plain):
        return f"Use a decimal point: {meant}."
    if "/" in plain:
        return f"Use a decimal point: {meant}."
    if plain.endswith("%"):
        return f"Write {meant}, without a percent sign."
    if _DECIMAL.fullmatch(plain):
        return f"Write it in the digits 0 to 9: {meant}."
    return f"Write the number alone: {meant}."


def _printable(text: str) -> str:
    """The text with plain spaces, as spreadsheets and pages paste others; what is not one line is refused."""
    same = _SPACES.sub(" ", text)
    if same.isprintable():
        return same
    if same.strip().isprintable() and same.strip():
        raise PydanticCustomError("unprintable", "A line break or a tab stands before or after this text: take it out.")
    raise PydanticCustomError(
        "unprintable", "Leave out line breaks and other characters that cannot be printed on one line."
    )


def _number_from_query(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    text = value.strip()
    if not _DECIMAL.fullmatch(text):
        raise PydanticCustomError("not_a_number", "{words}", {"words": words_for_number(value)})
    number = float(text)
    if not math.isfinite(number):
        raise PydanticCustomError("too_large", "This number is too large.")
    return number


def _integer_from_query(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    if not _INTEGER.fullmatch(value.strip()):
        raise PydanticCustomError("not_whole", "Write a whole number, for example 12; for a yes or no 1 or 0.")
    return int(value)


FiniteNumber = Annotated[float, Field(strict=True, allow_inf_nan=False)]
"""A JSON number, whole or not; true, "1.5", NaN and Infinity are refused."""

PositiveNumber = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0)]
"""A JSON number above zero."""

NonNegativeNumber = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0)]
"""A JSON number, zero or above."""

MOST_MONEY: Final = 1e12
"""Largest price, in whatever currency: costs are added up, and their errors squared."""

Money = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=MOST_MONEY)]
"""A price as a JSON number."""

WholeNumber = Annotated[int, Field(strict=True, ge=0, le=1_000_000_000)]
"""A JSON whole number from zero; 1.0 is refused."""

QueryNumber = Annotated[float, BeforeValidator(_number_from_query), Field(allow_inf_nan=False)]
"""A number in a URL; a decimal comma is refused with a hint."""

QueryInteger = Annotated[int, BeforeValidator(_integer_from_query)]
"""A whole number in a URL."""

ShortText = Annotated[str, StringConstraints(strict=True, max_length=200), AfterValidator(_printable)]
"""One line of text of at most 200 characters."""


class RequestModel(BaseModel):
    """Base of every request body and of its parts: an unknown field is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)


class QueryModel(BaseModel):
    """Base of every set of query parameters, used as `Annotated[Q, Query()]`: a misspelt one is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)


class NoQuery(QueryModel):
    """For a route without query parameters: any is refused."""
