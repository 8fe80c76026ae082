"""Yeast by numbers that are nobody's product: how many cells a must is given, and how strong a drink they bear.

Two practices of pitching stand side by side, because they differ fourfold: brewers count cells by volume and extract,
winemakers weigh dry yeast by volume. Both are from memory.
"""

from __future__ import annotations

from typing import Final

from service.errors import OutOfRangeError
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3

PITCH_MILLION_PER_ML_PER_PLATO: Final = (0.5, 0.75, 1.0)
"""Least, usual and most cells [10⁶/(mL·°P)]: brewing practice, from memory, unverified."""

DRY_YEAST_G_PER_L: Final = (0.2, 0.25)
"""Dry yeast by volume [g/L]: wine practice, from memory, unverified."""

USUAL_VIABLE_CELLS_PER_G: Final = 1e10
"""Living cells in a gram of dry yeast where nobody counted: from memory, unverified."""

PRACTICAL_YIELD_G_PER_G: Final = (0.46, 0.47, 0.48)
"""Ethanol from a gram of sugar in practice [g/g]: common practice, no source; theory 0.511."""

_ETHANOL_G_PER_L_PER_PERCENT = ETHANOL_DENSITY_20C_KG_M3 / 100.0
_LEAST_CELLS_PER_G, _MOST_CELLS_PER_G = 1e7, 1e11


def cells_to_pitch(
    volume_l: float, extract_percent: float, million_per_ml_per_plato: float = PITCH_MILLION_PER_ML_PER_PLATO[1]
) -> float:
    """Living cells that a must is given by brewing practice.

    n = r·V·P

    Parameters: volume_l, scalar [L]; extract_percent P, scalar [°P, % by mass]; million_per_ml_per_plato r, scalar
        [10⁶/(mL·°P)].
    Returns: cells, scalar [-].
    Raises: OutOfRangeError for anything below 0.
    Source: brewing practice, from memory, unverified.

    Example: 19 L at 12 °P by 0.75 are 171·10⁹ cells (computed).

    >>> round(cells_to_pitch(19.0, 12.0) / 1e9)
    171
    """
    if volume_l < 0.0 or extract_percent < 0.0 or million_per_ml_per_plato < 0.0:
        raise OutOfRangeError("Volume, extract and rate of pitching are 0 or more.")
    return million_per_ml_per_plato * 1e6 * volume_l * 1000.0 * extract_percent


def yeast_g(cells: float, viable_cells_per_g: float = USUAL_VIABLE_CELLS_PER_G) -> float:
    """Dry yeast that holds so many living cells.

    Parameters: cells, scalar [-]; viable_cells_per_g, scalar [1/g].
    Returns: mass, scalar [g].
    Raises: OutOfRangeError outside 10⁷ to 10¹¹ living cells per gram.
    Source: arithmetic.

    Example: 171·10⁹ cells at 10¹⁰ per gram are 17 g (computed).

    >>> round(yeast_g(171e9))
    17
    """
    if not _LEAST_CELLS_PER_G <= viable_cells_per_g <= _MOST_CELLS_PER_G:
        raise OutOfRangeError(
            f"A gram of yeast holds 1e7 (old, dead or wet) to 1e11 living cells, not {viable_cells_per_g:g}: check it."
        )
    return cells / viable_cells_per_g


def sugar_until_tolerance_g_per_l(
    tolerance_abv_percent: float, abv_percent: float, yield_g_per_g: float = 0.47
) -> float:
    """Sugar that yeast could still turn into alcohol before its tolerance stops it.

    S = max(T − A, 0)·7.8924/y

    Parameters: tolerance_abv_percent T and abv_percent A, scalar [% vol]; yield_g_per_g y of ethanol, scalar [g/g].
    Returns: sugar, scalar [g/L].
    Raises: OutOfRangeError outside 0–25 % vol, or for a yield outside 0.3–0.52 g/g.
    Validity: a stated tolerance is no wall; yeast has gone beyond it.
    Source: arithmetic; the yield common practice, no source.

    Example: at 6.5 % vol a yeast that bears 10 % can still burn 59 g/L (computed).

    >>> round(sugar_until_tolerance_g_per_l(10.0, 6.5))
    59
    """
    if not 0.0 <= tolerance_abv_percent <= 25.0:
        raise OutOfRangeError(f"Yeast bears up to 25 % vol, not {tolerance_abv_percent:g}: check it.")
    if not 0.0 <= abv_percent <= 100.0:
        raise OutOfRangeError(f"Strength lies between 0 and 100 % vol, not at {abv_percent:g}.")
    if not 0.3 <= yield_g_per_g <= 0.52:
        raise OutOfRangeError(f"Yeast makes 0.3 to 0.52 g of alcohol from a gram of sugar, not {yield_g_per_g:g} g.")
    return max(tolerance_abv_percent - abv_percent, 0.0) * _ETHANOL_G_PER_L_PER_PERCENT / yield_g_per_g
