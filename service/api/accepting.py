"""Which of the media types offered a caller wants (RFC 9110, section 12.5.1)."""

from __future__ import annotations

from collections.abc import Sequence

__all__ = ["accepted_type"]


def accepted_type(accept: str, offered: Sequence[str]) -> str:
    """The media type to answer with.

    Parameters: accept, the Accept header, empty where there is none; offered, in the order of our own preference.
    Returns: the one of the highest quality, the earlier of two alike; a range that names a type more closely rules.
        The first one where the header names none of them or cannot be read: an answer helps more than a refusal.

    >>> accepted_type("text/html,application/xml;q=0.9,*/*;q=0.8", ["application/json", "text/html"])
    'text/html'
    >>> accepted_type("text/*;q=0.3, text/plain;q=0.7", ["text/html", "text/plain"])  # after RFC 9110, 12.5.1
    'text/plain'
    >>> accepted_type("*/*", ["application/json", "text/html"])
    'application/json'
    """
    ranges = [_range(part) for part in accept.lower().split(",") if part.strip()]
    qualities = [_quality(name, ranges) for name in offered]
    best = max(qualities)
    return offered[qualities.index(best)] if best > 0.0 else offered[0]


def _range(part: str) -> tuple[str, float]:
    name, *parameters = (piece.strip() for piece in part.split(";"))
    quality = 1.0
    for parameter in parameters:
        key, _, value = parameter.partition("=")
        if key.strip() == "q":
            try:
                quality = min(max(float(value), 0.0), 1.0)
            except ValueError:
                quality = 0.0
    return name, quality


def _quality(name: str, ranges: Sequence[tuple[str, float]]) -> float:
    """Of a type: by its own name, else by its family, else by anything."""
    for known in (name, name.split("/")[0] + "/*", "*/*"):
        found = [quality for given, quality in ranges if given == known]
        if found:
            return max(found)
    return 0.0
