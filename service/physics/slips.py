"""What a figure outside every range may have been meant as: the points, scales and lost decimal points of makers.

Hints for refusals only. Nothing is ever taken to mean what a hint says.
"""

from __future__ import annotations

from typing import Final

from service.physics.sucrose import sg_from_brix

_THOUSANDS: Final = (700.0, 1600.0)
_MOST_POINTS: Final = 200.0
_MOST_BRIX: Final = 85.0


def sg_text(specific_gravity: float) -> str:
    """A gravity with three to five decimals.

    Parameters: specific_gravity, scalar [-].
    Returns: text.

    >>> sg_text(1.05), sg_text(1.0155)
    ('1.050', '1.0155')
    """
    text = f"{specific_gravity:.5f}".rstrip("0")
    return text if len(text.partition(".")[2]) >= 3 else f"{specific_gravity:.3f}"


def gravity_meant(shown: float) -> str:
    """What a number that is no specific gravity may have been meant as, as the end of a refusal.

    Points are thousandths above water, 1000 (SG − 1) (the trade's use, common practice, no source); a sugar scale is
    told as the gravity that sugar in water has there.

    Parameters: shown, scalar [-].
    Returns: a text that begins with a space, or an empty one.
    Source: ICUMSA SPS-4 for the sugar scale.

    >>> gravity_meant(1016.0), gravity_meant(0.5)
    (' Did you mean 1.016?', '')
    >>> gravity_meant(12.0)  # ICUMSA SPS-4
    ' 12 points are SG 1.012; 12 °Bx or °P of a liquid without alcohol is SG 1.0483.'
    """
    low, high = _THOUSANDS
    if low <= shown <= high:
        return f" Did you mean {sg_text(shown / 1000.0)}?"
    if not 2.0 <= shown <= _MOST_POINTS:
        return ""
    points = f" {shown:g} points are SG {sg_text(1.0 + shown / 1000.0)}"
    if shown > _MOST_BRIX:
        return f"{points}."
    return f"{points}; {shown:g} °Bx or °P of a liquid without alcohol is SG {sg_from_brix(shown):.4f}."


def ph_meant(shown: float) -> str:
    """What a number that is no drink's pH may have been meant as: one whose decimal point was lost.

    Parameters: shown, scalar [-].
    Returns: a text that begins with a space, or an empty one.

    >>> ph_meant(33.0), ph_meant(345.0), ph_meant(9.0)
    (' Did you mean 3.3?', ' Did you mean 3.45?', '')
    """
    for factor in (10.0, 100.0):
        if 2.0 <= shown / factor <= 7.0:
            return f" Did you mean {shown / factor:g}?"
    return ""


def strength_meant(abv_percent: float) -> str:
    """What a strength that cannot be may have been meant as: a share instead of a percentage, or a lost point.

    Parameters: abv_percent, scalar [% vol].
    Returns: a text that begins with a space, or an empty one.

    >>> strength_meant(0.072), strength_meant(72.0)
    (' Strength is in % vol: did you mean 7.2?', ' Did you mean 7.2 % vol?')
    """
    if 0.01 <= abv_percent < 0.3:
        return f" Strength is in % vol: did you mean {100.0 * abv_percent:g}?"
    if 25.0 < abv_percent <= 250.0:
        return f" Did you mean {abv_percent / 10.0:g} % vol?"
    return ""
