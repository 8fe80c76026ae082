"""Limits that an operator may change, by environment variable, read when the application is created."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final

from service.errors import InputError

__all__ = ["Settings"]

_PREFIX: Final = "SERVICE_"

# Lowest and highest value that makes sense, by field.
_RANGE: Final = {
    "max_body_bytes": (1024, 16 * 1024 * 1024),
    "max_url_characters": (256, 65_536),
    "max_nesting_depth": (8, 200),
    "max_list_items": (1, 50),
    "max_string_characters": (16, 200),
    "deadline_s": (0.05, 10.0),
    "max_batch_requests": (1, 100_000),
    "batch_deadline_s": (0.05, 600.0),
}

_ADDRESS: Final = re.compile(
    r"https?://(?:[A-Za-z0-9.-]{1,253}|\[[0-9A-Fa-f:.]{2,45}\])(?::\d{1,5})?(?:/[A-Za-z0-9._~/-]*)?", re.ASCII
)

MOST_DRAWS: Final = 50_000
"""Most drinks that one answer may simulate for its intervals; what takes too long ends at the deadline as anything."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The limits a stranger meets; each is the environment variable `SERVICE_` plus its name in capitals.

    `max_body_bytes` [B] is declared and counted; `max_url_characters` counts path and query; `max_nesting_depth`
    counts brackets within brackets; `deadline_s` [s] is the longest that one answer may be computed. `public_url` is no
    limit: the address under which others reach the service, for formulas that it writes; where it is empty, the one
    that each request was sent to.
    """

    max_body_bytes: int = 256 * 1024
    max_url_characters: int = 2048
    max_nesting_depth: int = 32
    max_list_items: int = 50
    max_string_characters: int = 200
    deadline_s: float = 2.0
    max_batch_requests: int = 2000
    batch_deadline_s: float = 30.0
    public_url: str = ""

    def __post_init__(self) -> None:
        """Refuse a limit outside the range in which it makes sense."""
        for name, (lowest, highest) in _RANGE.items():
            value = getattr(self, name)
            if not lowest <= value <= highest:
                raise InputError(f"{_PREFIX}{name.upper()} has to lie between {lowest:g} and {highest:g}, not {value}.")
        if self.public_url and not _ADDRESS.fullmatch(self.public_url):
            raise InputError(
                f"{_PREFIX}PUBLIC_URL has to be an address such as https://solver.example.org, without a query, not "
                f"{self.public_url[:80]!r}."
            )

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Read the settings from environment variables; a variable that is absent or empty keeps the default.

        Parameters: environment, the variables (the process's own if None).
        Returns: the settings.
        Raises: InputError for a value that is not a number or lies outside its range.

        >>> Settings.from_environment({"SERVICE_DEADLINE_S": "0.5"}).deadline_s
        0.5
        """
        variables = os.environ if environment is None else environment
        found: dict[str, Any] = {}
        for field in fields(cls):
            text = variables.get(_PREFIX + field.name.upper(), "").strip()
            if field.name == "public_url":
                found[field.name] = text.rstrip("/")
            elif text:
                found[field.name] = _number(
                    _PREFIX + field.name.upper(), text, whole=not field.name.endswith("deadline_s")
                )
        return cls(**found)

    def limits(self) -> dict[str, float]:
        """Every limit by name, as `GET /v1/limits` shows them; that of draws is the same everywhere."""
        limits = {name: value for name, value in asdict(self).items() if name in _RANGE}
        return {**limits, "max_draws": MOST_DRAWS}


def _number(name: str, text: str, *, whole: bool) -> float:
    try:
        value = int(text) if whole else float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{name} has to be a {'whole ' if whole else ''}number, not {text[:40]!r}.")
    return value
