"""Refusals that the modules of this room share."""

from __future__ import annotations

from math import inf

from service.errors import InputError, OutOfRangeError


def check_range(value: float, low: float, high: float, what: str, advice: str) -> None:
    """Refuse a value outside a closed range.

    Parameters: value, low and high in one unit; what, the start of the sentence; advice, what to change.
    Raises: OutOfRangeError.

    >>> check_range(2.5, 3.1, 3.5, "A pH", "Measure again.")
    Traceback (most recent call last):
    service.errors.OutOfRangeError: A pH of 2.5 lies outside 3.1–3.5. Measure again.
    """
    if not low <= value <= high:
        raise OutOfRangeError(f"{what} of {value:g} lies outside {low:g}–{high:g}. {advice}")


def check_not_negative(value: float, what: str) -> None:
    """Refuse an amount that is negative, endless or no number.

    Parameters: value; what, the start of the sentence.
    Raises: InputError.

    >>> check_not_negative(-1.0, "Free SO2")
    Traceback (most recent call last):
    service.errors.InputError: Free SO2 has to be zero or more, not -1.
    """
    if not 0.0 <= value < inf:
        raise InputError(f"{what} has to be zero or more, not {value:g}.")


def check_volume(volume_l: float) -> None:
    """Refuse a volume that nothing can be dissolved in.

    Parameters: volume_l, scalar [L].
    Raises: InputError.

    >>> check_volume(0.0)
    Traceback (most recent call last):
    service.errors.InputError: The volume has to be above zero, not 0 L.
    """
    if not 0.0 < volume_l < inf:
        raise InputError(f"The volume has to be above zero, not {volume_l:g} L.")
