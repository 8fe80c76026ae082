"""Field types and base models of requests: finite numbers, short texts, and no unknown field."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any, Final

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints
from pydantic_core import PydanticCustomError

__all__ = [
    "FiniteNumber",
    "NoQuery",
    "NonNegativeNumber",
    "PositiveNumber",
    "QueryInteger",
    "QueryModel",
    "QueryNumber",
    "RequestModel",
    "ShortText",
    "WholeNumber",
]

_DECIMAL: Final = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_INTEGER: Final = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_COMMA: Final = re.compile(r"[+-]?\d+,\d+", re.ASCII)


def _printable(text: str) -> str:
    if not text.isprintable():
        raise PydanticCustomError(
            "unprintable", "Leave out line breaks and other characters that cannot be printed on one line."
        )
    return text


def _number_from_query(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    text = value.strip()
    if _COMMA.fullmatch(text):
        raise PydanticCustomError(
            "decimal_comma", "Use a decimal point: {better}.", {"better": text.replace(",", ".")[:40]}
        )
    if text.endswith("%") and _DECIMAL.fullmatch(text[:-1].strip()):
        raise PydanticCustomError("percent_sign", "Write {better}, without a percent sign.", {"better": text[:-1][:40]})
    if not _DECIMAL.fullmatch(text):
        raise PydanticCustomError("not_a_number", "Write a number with a decimal point, for example 1.012.")
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
