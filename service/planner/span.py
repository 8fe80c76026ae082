"""A figure with the ends of its 90 % interval."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

NORMAL_90: Final = 1.6448536269514722
"""Half the width of a 90 % interval in standard deviations, of a normal law."""


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with the ends of its 90 % interval; all three are equal where it is taken as exact."""

    value: float
    low: float
    high: float

    @classmethod
    def exact(cls, value: float) -> Span:
        """A figure without doubt."""
        return cls(value, value, value)

    @classmethod
    def read(cls, value: float, sd: float, least: float = 0.0) -> Span:
        """A reading with its standard deviation, which cannot be below `least`."""
        return cls(value, max(value - NORMAL_90 * sd, min(least, value)), value + NORMAL_90 * sd)
