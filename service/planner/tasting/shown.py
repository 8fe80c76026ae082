"""Figures and sources as an answer about a tasting shows them."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite

from service.catalogue.loader import sources
from service.planner.answers import Caution, SourceCited

_DIGITS = 6


def rounded(value: float) -> float:
    """Six significant digits: more than any tasting holds."""
    return float(f"{value:.{_DIGITS}g}") + 0.0


def points(value: float) -> float:
    """A score to a millionth of a point, without the sign of nothing."""
    return round(value, _DIGITS) + 0.0


def rounded_or_none(value: float | None) -> float | None:
    """The same where there is a figure."""
    return None if value is None else rounded(value)


def finite_or_none(value: float) -> float | None:
    """The same of what has a bound."""
    return rounded(value) if isfinite(value) else None


def cited(keys: Iterable[str], cautions: Iterable[Caution]) -> tuple[SourceCited, ...]:
    """The documents behind an answer and its cautions, by key."""
    table = sources()
    every = {*keys, *(caution.source_id for caution in cautions)}
    return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(every))
