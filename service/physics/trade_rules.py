"""Rules of the trade for the strength from two gravities, shown beside the mass balance and never instead of it.

Both are for brewers' worts of 10 to 18 °P. They are told so that a maker who knows them sees how far they lie from
`service.physics.fermentation`.
"""

from __future__ import annotations

from service.errors import InconsistentError
from service.physics.sucrose import brix_from_sg

FACTOR_PERCENT_PER_SG = 131.25
"""% vol for each unit of gravity that was lost (common practice, no source)."""

ORIGINAL_SHARE, APPARENT_SHARE = 0.1808, 0.8192
"""Weights of original and apparent extract in the real extract (De Clerck, ASBC; from memory, unverified)."""

_ETHANOL_SG = 0.7907


def abv_by_factor(original_gravity: float, final_gravity: float) -> float:
    """Strength by the factor of 131.25.

    ABV = 131.25 (OG − FG)

    Parameters: original_gravity and final_gravity, SG 20/20, scalar [-].
    Returns: strength, scalar [% vol]; 0.3 % vol low at OG 1.100, 0.8 low at 1.140 (computed).
    Raises: InconsistentError where the final gravity is above the original one.
    Validity: OG to about 1.060; nothing added in between.
    Source: common practice, no source.

    >>> round(abv_by_factor(1.048, 0.998), 2)
    6.56
    """
    _check(original_gravity, final_gravity)
    return FACTOR_PERCENT_PER_SG * (original_gravity - final_gravity)


def real_extract_percent_by_rule(original_gravity: float, final_gravity: float) -> float:
    """Real extract from original and apparent extract.

    RE = 0.1808 OE + 0.8192 AE

    Parameters: original_gravity and final_gravity, SG 20/20, scalar [-].
    Returns: real extract, scalar [% by mass]; low by 0.1 to 0.2 on five published means of beers (computed).
    Raises: InconsistentError as `abv_by_factor`; OutOfRangeError as `brix_from_sg`.
    Validity: 10 to 18 °P.
    Source: De Clerck, ASBC (from memory, unverified); extracts by ICUMSA SPS-4. The means: Cutaia, Reid and Speers,
    J. Inst. Brew. 115 (2009) 318, Table III.

    >>> round(real_extract_percent_by_rule(1.050, 1.000), 2)
    2.24
    """
    _check(original_gravity, final_gravity)
    return ORIGINAL_SHARE * brix_from_sg(original_gravity) + APPARENT_SHARE * brix_from_sg(final_gravity)


def abv_by_real_extract(original_gravity: float, final_gravity: float) -> float:
    """Strength by the rule of the real extract.

    A = (OE − RE)/(2.0665 − 0.010665 OE),  ABV = A·FG/0.7907

    Parameters: original_gravity and final_gravity, SG 20/20, scalar [-].
    Returns: strength, scalar [% vol]; 0.1 to 0.3 high over OG 1.05 to 1.14 against the mass balance (computed).
    Raises: as `real_extract_percent_by_rule`.
    Validity: 10 to 18 °P; nothing added in between.
    Source: C. J. N. Balling, Die Gährungschemie, with the rule of De Clerck and ASBC (from memory, unverified).

    >>> round(abv_by_real_extract(1.048, 0.998), 2)
    6.63
    """
    original = brix_from_sg(original_gravity)
    real = real_extract_percent_by_rule(original_gravity, final_gravity)
    return (original - real) / (2.0665 - 0.010665 * original) * final_gravity / _ETHANOL_SG


def _check(original_gravity: float, final_gravity: float) -> None:
    if final_gravity > original_gravity:
        raise InconsistentError(
            f"The final gravity {final_gravity:g} is above the original gravity {original_gravity:g}: these rules hold "
            "only for a must to which nothing was added."
        )
