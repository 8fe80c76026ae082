"""What a refractometer without temperature compensation would have shown at 20 °C.

Warm sugar water bends light less than cold, and a sugar scale takes it for thinner. The published corrections are for
sugar solutions; alcohol moves the index about as much again with temperature, so that a drink is better read at 20 °C
itself. Nothing is reckoned beyond the printed figures but a straight line from the last printed row, 16 °C, to 20 °C,
where the correction is zero by definition.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from types import MappingProxyType

from service.errors import OutOfRangeError

TABLE_BRIX: tuple[float, ...] = tuple(10.0 + 5.0 * k for k in range(14))
"""Columns of the table, 10 to 75 °Bx."""

CORRECTION_BRIX: Mapping[float, tuple[float, ...]] = MappingProxyType(
    {
        5.0: (-0.82, -0.87, -0.92, -0.95, -0.99),
        6.0: (-0.80, -0.82, -0.87, -0.90, -0.94),
        7.0: (-0.74, -0.78, -0.82, -0.84, -0.88),
        8.0: (-0.69, -0.73, -0.76, -0.79, -0.82),
        9.0: (-0.64, -0.67, -0.71, -0.73, -0.75),
        10.0: (-0.59, -0.62, -0.65, -0.67, -0.69, -0.71, -0.72, -0.73, -0.74, -0.75, -0.75, -0.75, -0.75, -0.75),
        11.0: (-0.54, -0.57, -0.59, -0.61, -0.63, -0.64, -0.65, -0.66, -0.67, -0.68, -0.68, -0.68, -0.68, -0.67),
        12.0: (-0.49, -0.51, -0.53, -0.55, -0.56, -0.57, -0.58, -0.59, -0.60, -0.60, -0.61, -0.61, -0.60, -0.60),
        13.0: (-0.43, -0.45, -0.47, -0.48, -0.50, -0.51, -0.52, -0.52, -0.53, -0.53, -0.53, -0.53, -0.53, -0.53),
        14.0: (-0.38, -0.39, -0.40, -0.42, -0.43, -0.44, -0.44, -0.45, -0.45, -0.46, -0.46, -0.46, -0.46, -0.45),
        15.0: (-0.32, -0.33, -0.34, -0.35, -0.36, -0.37, -0.37, -0.38, -0.38, -0.38, -0.38, -0.38, -0.38, -0.38),
        16.0: (-0.26, -0.27, -0.28, -0.28, -0.29, -0.30, -0.30, -0.30, -0.31, -0.31, -0.31, -0.31, -0.31, -0.30),
        20.0: (0.0,) * 14,
    }
)
"""To add to the reading [°Bx], by temperature [°C]: OIV-MA-AS2-02, Table I, rows 5 to 16 °C; at 20 °C by definition.
Rows below 10 °C are printed to 30 °Bx."""

AT_20_C = 0.5
"""A sample this near to 20 °C needs no correction: it would be 0.03 °Bx (our default)."""


def brix_at_20c(reading_brix: float, sample_temperature_c: float) -> float:
    """What a refractometer without compensation would have shown at 20 °C.

    B₂₀ = B + c(t, B), c by straight lines between the figures of the table

    Parameters: reading_brix, as shown, scalar [°Bx]; sample_temperature_c of the prism, scalar [°C].
    Returns: reading at 20 °C, scalar [°Bx].
    Raises: OutOfRangeError outside 5–20 °C, below 10 °Bx and above 75 °Bx (30 below 10 °C), unless within 0.5 °C of 20.
    Validity: sugar solutions; between 16 and 20 °C a straight line to zero (ours), within 0.02 °Bx of the rows' trend.
    Source: OIV-MA-AS2-02, Table I.

    Example: the table has −0.59 for 10 °Bx at 10 °C.

    >>> round(brix_at_20c(10.0, 10.0), 2)
    9.41
    """
    if abs(sample_temperature_c - 20.0) <= AT_20_C:
        return reading_brix
    for (cold, colder), (warm, warmer) in pairwise(CORRECTION_BRIX.items()):
        if cold <= sample_temperature_c <= warm:
            share = (sample_temperature_c - cold) / (warm - cold)
            rows = [(row, weight) for row, weight in ((colder, 1.0 - share), (warmer, share)) if weight > 0.0]
            return reading_brix + sum(w * _along(row, reading_brix, sample_temperature_c) for row, w in rows)
    raise OutOfRangeError(
        f"A refractometer without compensation is corrected from 5 to 20 °C, not at {sample_temperature_c:g} °C. Let a "
        "few drops rest on the prism until they are at 20 °C and read again, or say that it compensates (atc).",
        "/sample_temperature",
    )


def _along(row: tuple[float, ...], brix: float, temperature_c: float) -> float:
    """A row of the table at a reading, by straight lines between its figures."""
    points = list(zip(TABLE_BRIX[: len(row)], row, strict=True))
    for (low, c_low), (high, c_high) in pairwise(points):
        if low <= brix <= high:
            share = (brix - low) / (high - low)
            return c_low * (1.0 - share) + c_high * share
    raise OutOfRangeError(
        f"At {temperature_c:g} °C a refractometer without compensation is corrected from {points[0][0]:g} to "
        f"{points[-1][0]:g} °Bx, not at {brix:g} °Bx. Read it again at 20 °C.",
        "/sample_temperature",
    )
