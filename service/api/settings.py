"""Limits that an operator may change, by environment variable, read when the application is created."""

from __future__ import annotations

import difflib
import math
import os
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
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
    "workers": (0, 64),
    "max_waiting": (1, 10_000),
    "max_wait_s": (0.1, 60.0),
    "max_connections": (4, 100_000),
    "max_header_bytes": (1024, 65_536),
    "header_timeout_s": (0.1, 120.0),
    "body_timeout_s": (0.1, 120.0),
    "keep_alive_s": (1, 300),
    "shutdown_s": (1, 600),
    "requests_per_s": (0.1, 10_000.0),
    "request_burst": (1, 100_000),
}

_KEY: Final = re.compile(r"[A-Za-z0-9._~-]{16,200}", re.ASCII)
_PORT: Final = r"(?::(?:[1-9]\d{0,3}|[1-5]\d{4}|6[0-4]\d{3}|65[0-4]\d\d|655[0-2]\d|6553[0-5]))?"
# As a browser writes an origin: small letters, and no port where it is the usual one.
_ORIGIN: Final = re.compile(rf"(?!http://.*:80\Z|https://.*:443\Z)https?://[a-z0-9.-]{{1,253}}{_PORT}", re.ASCII)

_ADDRESS: Final = re.compile(
    rf"https?://(?:[A-Za-z0-9.-]{{1,253}}|\[[0-9A-Fa-f:.]{{2,45}}\]){_PORT}(?:/[A-Za-z0-9._~/-]*)?", re.ASCII
)

MOST_DRAWS: Final = 50_000
"""Most drinks that one answer may simulate for its intervals; what takes too long ends at the deadline as anything."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The limits a stranger meets; each is the environment variable `SERVICE_` plus its name in capitals.

    Of one request: `max_body_bytes` [B] is declared and counted; `max_url_characters` counts path and query;
    `max_nesting_depth` counts brackets within brackets; `deadline_s` [s] is the longest that one answer may be
    computed.

    Of all together: `workers` processes compute (0: threads of the serving process do); beyond `max_waiting` requests,
    or an expected wait of `max_wait_s` [s], a request is refused with 503. `requests_per_s` and `request_burst` hold
    for each key or address.

    Of a connection: `header_timeout_s` and `body_timeout_s` [s] are the longest that a request may take to arrive.

    No limits are `public_url`, the address under which others reach the service, for formulas that it writes (where it
    is empty, the one that each request was sent to); `api_keys`, of which a caller has to send one if there are any;
    `cors_origins`, whose pages may ask.
    """

    max_body_bytes: int = 256 * 1024
    max_url_characters: int = 2048
    max_nesting_depth: int = 32
    max_list_items: int = 50
    max_string_characters: int = 200
    deadline_s: float = 2.0
    max_batch_requests: int = 2000
    batch_deadline_s: float = 30.0
    workers: int = field(default_factory=lambda: min(os.cpu_count() or 1, 64))
    max_waiting: int = 200
    max_wait_s: float = 5.0
    max_connections: int = 1000
    max_header_bytes: int = 16 * 1024
    header_timeout_s: float = 10.0
    body_timeout_s: float = 10.0
    keep_alive_s: int = 15
    shutdown_s: int = 35
    requests_per_s: float = 30.0
    request_burst: int = 600
    public_url: str = ""
    api_keys: tuple[str, ...] = field(default=(), repr=False)
    cors_origins: tuple[str, ...] = ()

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
        if not all(_KEY.fullmatch(key) for key in self.api_keys):
            raise InputError(
                f"{_PREFIX}API_KEYS has to be keys between commas, each of 16 to 200 letters, digits or . _ ~ -"
            )
        if not all(_ORIGIN.fullmatch(origin) for origin in self.cors_origins):
            raise InputError(
                f"{_PREFIX}CORS_ORIGINS has to be origins such as https://sheets.example.org, in small letters and "
                "without a path, a usual port or *, with commas between them."
            )

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Read the settings from environment variables; a variable that is absent, or empty, keeps the default.

        Parameters: environment, the variables (the process's own if None).
        Returns: the settings.
        Raises: InputError for a value that is not a number or lies outside its range, and for keys that are there and
            list nothing, a mistake that would leave a service open, or origins that are nothing but commas.

        >>> Settings.from_environment({"SERVICE_DEADLINE_S": "0.5"}).deadline_s
        0.5
        """
        variables = os.environ if environment is None else environment
        found: dict[str, Any] = {}
        defaults = cls()
        for setting in fields(cls):
            name = _PREFIX + setting.name.upper()
            text = variables.get(name, "").strip()
            if setting.name == "public_url":
                found[setting.name] = text.rstrip("/")
            elif setting.name in ("api_keys", "cors_origins"):
                found[setting.name] = tuple(dict.fromkeys(part.strip() for part in text.split(",") if part.strip()))
                if not found[setting.name] and (text or (setting.name == "api_keys" and name in variables)):
                    raise InputError(f"{name} lists nothing. Leave the variable away, or list something.")
            elif text:
                found[setting.name] = _number(name, text, whole=isinstance(getattr(defaults, setting.name), int))
        return cls(**found)

    @classmethod
    def unread(cls, environment: Mapping[str, str] | None = None) -> list[str]:
        """A sentence about every variable that begins like ours and is none.

        >>> Settings.unread({"SERVICE_API_KEY": "", "SERVICE_WORKERS": "1"})
        ['SERVICE_API_KEY is not read. Is SERVICE_API_KEYS meant?']
        """
        known = [_PREFIX + setting.name.upper() for setting in fields(cls)]
        told = []
        for name in sorted(os.environ if environment is None else environment):
            if name.startswith(_PREFIX) and name not in known:
                close = difflib.get_close_matches(name, known, n=1)
                told.append(f"{name} is not read." + (f" Is {close[0]} meant?" if close else ""))
        return told

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
