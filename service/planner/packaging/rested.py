"""Of what a hold test speaks: of the drink that is closed up, or of its base before it was sweetened."""

from __future__ import annotations

from typing import Final

from service.errors import InconsistentError, InputError
from service.model.lot_class import Assumed
from service.planner.packaging.asked import PackagingAsked

RESTED_BELOW_SG: Final = 1.02
"""A ferment that stands at this gravity or above is not taken as a base that has ended (our default)."""
_LEAST_ERROR_SG: Final = 0.001
_AT: Final = "/refermentation/hold_test"


def whose_rest(asked: PackagingAsked) -> Assumed | None:
    """What the gravities of a hold test are taken to be of, by the last of them.

    At the gravity of the drink, within the error of a hydrometer, it is the drink that stood. Lower, it can be the base
    before it was sweetened, which is told. Higher, it is another liquid, and shows nothing of this one.

    Parameters: asked, of which the drink and the hold test matter.
    Returns: Assumed where the gravities are not those of the drink, or where that of the drink is not known; else None.
    Raises: InconsistentError for gravities that cannot be of this drink or its base; InputError where the gravity of
        the drink has to be known first.
    Validity: a drink that was blended, not thinned with water or a drier drink after the last reading.
    Source: common practice; that a base has ended only below 1.020 is our default.
    """
    readings, gravity = asked.rest.readings, asked.drink.gravity
    if not readings:
        return None
    last = max(readings, key=lambda reading: reading.day).gravity
    error = max(asked.rest.hydrometer_error, _LEAST_ERROR_SG) + 1e-9
    if gravity is not None and last > gravity.high + error:
        raise InconsistentError(
            f"The hold test ends at {last:.4g}, above the {gravity.value:.4g} of the drink: it is of another liquid. "
            "Give gravities of this drink, or of its base before it was sweetened.",
            _AT,
        )
    if gravity is not None and last >= gravity.low - error:
        return None
    if last >= RESTED_BELOW_SG:
        if gravity is None:
            raise InputError(
                f"Whether a hold test that ends at {last:.4g} is of this drink cannot be told: give the gravity of the "
                "drink too.",
                _AT,
            )
        raise InconsistentError(
            f"The hold test ends at {last:.4g}, below the {gravity.value:.4g} of the drink and not below "
            f"{RESTED_BELOW_SG:.3f}, as a base that has ended: give gravities of the drink itself.",
            _AT,
        )
    return Assumed(
        "hold test",
        f"that of the base before it was sweetened, last {last:.4g}"
        if gravity is not None
        else f"that of the drink or of its base, last {last:.4g}",
        "its gravity is lower than that of the drink" if gravity is not None else "the drink has no gravity stated",
        "two gravities of the drink itself, days apart",
    )
