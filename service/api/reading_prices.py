"""Reads what a gram costs, within bounds in which costs can be added up and their errors squared."""

from __future__ import annotations

from typing import Final

from service.errors import InputError

__all__ = ["price_per_g"]

_LEAST_G: Final = 1e-3


def price_per_g(amount: float, mass_g: float) -> float:
    """The price of a gram: amount / mass.

    Parameters: amount, the money; mass_g, what it buys [g].
    Returns: the price [1/g], in the currency of amount.
    Raises: InputError for a price of nothing, or of less than 1 mg.

    >>> price_per_g(9.0, 1000.0)
    0.009
    """
    if mass_g <= 0.0:
        raise InputError("A price is for more than nothing.", "/price/per")
    if mass_g < _LEAST_G:
        raise InputError("A price is for 1 mg at least: check the number and its unit.", "/price/per")
    return amount / mass_g
