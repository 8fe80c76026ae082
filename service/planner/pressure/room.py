"""The room above a closed drink as it warms, in store or in a water bath: what the swelling drink leaves of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.errors import OutOfRangeError
from service.physics.carbon_dioxide import ATMOSPHERE_BAR, SHARE_OF_ERROR, closed_pressure_bar, psi_from_bar
from service.physics.headspace import (
    LEAST_HEADSPACE_SHARE,
    drink_swelling_share,
    squeezed_air_bar,
    vapour_bar,
)
from service.physics.headspace import SOURCE_KEY as SWELLING_SOURCE
from service.planner.answers import OUR_DEFAULT, Caution
from service.planner.drink import Drink
from service.planner.pressure.answers import HeatedHeadspace
from service.planner.pressure.asked import Closed
from service.planner.pressure.gas import UNRATED_BAR, bar_words, rated_bar_of, rating_words, temperature_words

STORED_C: Final = (0.0, 60.0)
"""Storage that is reckoned with [°C] (our choice)."""

MOST_CO2_G_PER_L: Final = 20.0
"""Carbon dioxide in a drink beyond which nothing is reckoned [g/L] (our choice: far above a sparkling wine)."""

_AIR_IS_HALF: Final = 0.5
"""Share of the rating from which squeezed air counts together with gas that nobody measured (our default)."""


def warmed_headspace(drink: Drink, closed: Closed, warmed_to_c: float, least_share: float) -> HeatedHeadspace:
    """The headspace of a closed container that has warmed since it was closed.

    P = 1.01325·(T₂/T₁)·h/(h − ΔV) + C/[k + (h − ΔV)·44.0095/(R·T)] + vapour; without the air where it was purged

    Parameters: drink; closed, which says when it was closed; warmed_to_c [°C]; least_share, the least headspace that
        the check lets pass, to be told [share of the drink].
    Returns: HeatedHeadspace; no pressures where the drink fills it.
    Raises: OutOfRangeError outside 0–100 °C or outside the law of solubility.
    Validity: at rest and at equilibrium, which a short heating does not reach: the careful side.
    Source: Kell 1975 with our factor for alcohol; ideal gas; Carroll, Slupsky and Mather 1991.
    """
    filled_c = closed.closed_at_c
    swelling = max(drink_swelling_share(filled_c, max(warmed_to_c, filled_c)), 0.0)
    share = closed.headspace
    air = squeezed_air_bar(share, swelling, filled_c, max(warmed_to_c, filled_c))
    grows = f"Warmed to {temperature_words(warmed_to_c)} the drink swells by {100.0 * swelling:.2g} %"
    if air is None:
        return HeatedHeadspace(
            filled_c,
            warmed_to_c,
            share,
            round(swelling, 6),
            True,
            None,
            None,
            None,
            None,
            None,
            round(least_share, 4),
            f"{grows}, as much as the headspace of {100.0 * share:.2g} % or more: the container breaks.",
        )
    if closed.purged:
        air = 0.0
    co2 = closed_pressure_bar(
        closed.all_co2, warmed_to_c, drink.abv_percent.value, drink.sugar_g_per_l.high, share - swelling
    )
    vapour = vapour_bar(warmed_to_c, drink.abv_percent.value)
    gauge = air + co2 + vapour - ATMOSPHERE_BAR
    return HeatedHeadspace(
        filled_c,
        warmed_to_c,
        share,
        round(swelling, 6),
        False,
        round(air, 4),
        round(co2, 4),
        round(vapour, 4),
        round(gauge, 4),
        round(psi_from_bar(gauge), 2),
        round(least_share, 4),
        f"{grows}: air {air:.1f} bar absolute, carbon dioxide {co2:.1f}, vapour {vapour:.1f}, together "
        f"{bar_words(gauge)} above the air outside.",
    )


def check_closed(closed: Closed) -> None:
    """Refuse a container that is none, or gas that is beyond what is reckoned with.

    Parameters: closed.
    Raises: OutOfRangeError.
    """
    if not 0.0 <= closed.headspace <= 2.0:
        raise OutOfRangeError(
            f"A headspace of {100.0 * closed.headspace:g} % of the drink cannot be: 0 to 200 %.", "/headspace"
        )
    if not 0.0 <= closed.co2 <= MOST_CO2_G_PER_L:
        raise OutOfRangeError(
            f"{closed.co2:.3g} g/L of carbon dioxide before closing is not reckoned with: 0 to "
            f"{MOST_CO2_G_PER_L:g} g/L.",
            "/co2_g_per_l",
        )
    if closed.rated_bar is not None and not 0.0 < closed.rated_bar <= 100.0:
        raise OutOfRangeError(
            f"A container for {closed.rated_bar:g} bar is none: give its rating, above 0, up to 100 bar.",
            "/rated_pressure",
        )


def check_storage(warmest_c: float) -> None:
    """Refuse a storage that is not reckoned with.

    Parameters: warmest_c [°C].
    Raises: OutOfRangeError.
    """
    if not STORED_C[0] <= warmest_c <= STORED_C[1]:
        raise OutOfRangeError(
            f"Storage is told from {STORED_C[0]:g} to {STORED_C[1]:g} °C, not at {warmest_c:g} °C: check the unit.",
            "/storage_temperature",
        )


def room_cautions(closed: Closed, room: HeatedHeadspace) -> Iterator[Caution]:
    """What warming in store does to the headspace: the drink fills it, or squeezes it beyond what the container holds.

    Gas that nobody measured is no reason to stop by itself; where squeezed air is half of the rating, it counts too.
    """
    if room.full_of_liquid or room.gauge_bar is None or room.co2_bar is None:
        yield full_when_warm(room.heated_to_c, room.swelling_share, room.headspace_share)
        return
    rated = rated_bar_of(closed)
    limit = UNRATED_BAR if rated is None else rated
    gas = (1.0 + SHARE_OF_ERROR) * room.co2_bar
    high = room.gauge_bar + SHARE_OF_ERROR * room.co2_bar
    known = closed.co2_g_per_l is not None
    squeezed = high - gas
    if high <= limit or squeezed <= 0.0 or (known and gas > limit):  # gas alone has cautions of its own
        return
    stops = known or squeezed >= _AIR_IS_HALF * limit
    if not stops and closed.headspace_share is None:
        return
    whose, source = rating_words(closed)
    yield Caution(
        "squeezed_headspace",
        "stop" if stops else "warning",
        f"Warmed to {temperature_words(room.heated_to_c)}, {100.0 * room.headspace_share:.2g} % headspace is squeezed "
        f"to {high:.3g} bar, more than the {limit:.3g} bar {whose}. Fill less.",
        SWELLING_SOURCE if source == OUR_DEFAULT else source,
    )


def full_when_warm(warmest_c: float, swelling_share: float, headspace_share: float) -> Caution:
    """The drink fills its container when it warms."""
    return Caution(
        "container_full_when_warm",
        "stop",
        f"Warmed to {temperature_words(warmest_c)} the drink swells by {100.0 * swelling_share:.2g} % into "
        f"{100.0 * headspace_share:.2g} % of headspace: nothing gives way, and the container bursts. Fill less.",
        SWELLING_SOURCE,
    )


def headspace_too_small(share: float, least: float = LEAST_HEADSPACE_SHARE) -> Caution:
    """Too little room above the drink, both as a share of its volume."""
    return Caution(
        "headspace_too_small",
        "warning",
        f"A headspace of {100.0 * share:.2g} % is less than {100.0 * least:.2g} %: the drink swells as it warms and "
        "squeezes what air there is. Fill less.",
        OUR_DEFAULT,
    )
