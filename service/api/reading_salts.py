"""What share of a preserving salt counts: a percentage of its mass, never a fraction by mistake."""

from __future__ import annotations

from typing import Final

from service.chemistry.sulfite import METABISULFITE_SO2_SHARE
from service.errors import OutOfRangeError

__all__ = ["LEAST_SALT_PERCENT", "so2_share_from", "sorbate_purity_from"]

LEAST_SALT_PERCENT: Final = 20.0
"""A salt that yields less has gone off or is another product: our own bound, judged. A fraction typed for a percentage
would multiply the dose by a hundred."""


def so2_share_from(percent: float | None, pointer: str) -> float | None:
    """The SO2 that a metabisulfite yields as a share of its mass; None if it was not told.

    Raises: OutOfRangeError below what such a salt yields.
    """
    share = _share(percent, "SO2 from metabisulfite", "57 fresh, about 50 as it ages", pointer)
    return None if share is None else min(share, METABISULFITE_SO2_SHARE)


def sorbate_purity_from(percent: float | None, pointer: str) -> float | None:
    """The part of a product that is potassium sorbate; None if it was not told.

    Raises: OutOfRangeError below what such a product holds.
    """
    return _share(percent, "sorbate in a product", "near 100", pointer)


def _share(percent: float | None, what: str, usual: str, pointer: str) -> float | None:
    if percent is None:
        return None
    if percent < LEAST_SALT_PERCENT:
        hint = f" It is told in percent: did you mean {100.0 * percent:.4g}?" if 0.2 <= percent <= 1.0 else ""
        raise OutOfRangeError(f"{percent:.4g} % is too little {what}: it is {usual}.{hint}", pointer)
    return percent / 100.0
