"""Two-way tables as printed: straight lines between their figures, and nothing beyond them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from service.errors import OutOfRangeError


def linear(points: Sequence[tuple[float, float]], x: float) -> float:
    """Straight line between the two points around x, exact at the points.

    Parameters: points (x, y), x rising; x, scalar.
    Returns: y, scalar.
    Raises: OutOfRangeError outside the points.
    Source: linear interpolation.

    >>> linear([(0.0, 1.0), (10.0, 2.0)], 2.5)
    1.25
    """
    if points[0][0] <= x:
        for (low, y_low), (high, y_high) in pairwise(points):
            if x <= high:
                share = (x - low) / (high - low)
                return y_low * (1.0 - share) + y_high * share
    raise OutOfRangeError(f"{x:g} lies outside the table, which runs from {points[0][0]:g} to {points[-1][0]:g}.")


def bilinear(rows: Mapping[float, Sequence[float]], columns: Sequence[float], row: float, column: float) -> float:
    """Straight lines between the four figures around a place in a table, exact at the figures.

    Parameters: rows, value of the row to its figures, rising; columns, values of the columns, rising; row and column,
    scalars, the place.
    Returns: figure, scalar.
    Raises: OutOfRangeError outside the table.
    Source: bilinear interpolation.

    >>> bilinear({0.0: (1.0, 2.0), 1.0: (3.0, 4.0)}, (0.0, 1.0), 0.5, 0.5)
    2.5
    """
    across = [(value, linear(list(zip(columns, figures, strict=True)), column)) for value, figures in rows.items()]
    return linear(across, row)
