"""Bottles filled from a cold, carbonated keg: what they reach as they warm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from service.errors import InputError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import (
    ERROR_SOURCE_KEY,
    co2_g_per_l_at_gauge,
    co2_g_per_l_from_volumes,
    co2_volumes_from_g_per_l,
    gauge_bar_for_co2,
)
from service.physics.headspace import LEAST_HEADSPACE_SHARE
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.pressure.answers import ColdFilled, PressureAt, Rating
from service.planner.pressure.asked import ROOM_C, Closed
from service.planner.pressure.cautions import ERROR_TEXT, above_still_lines
from service.planner.pressure.gas import WORDS, bar_words, gas_of, rating_of, rating_words, temperature_words
from service.planner.pressure.keg import check_keg
from service.planner.pressure.room import headspace_too_small

CAR_C: Final = (40.0, 50.0)
"""A parked car in summer [°C] (common practice, no source)."""


def cold_filled(
    drink: Drink,
    closed: Closed,
    filled_at_c: float,
    *,
    volumes: float | None = None,
    gauge_bar: float | None = None,
) -> ColdFilled:
    """Pressure of bottles filled from a cold keg, in a room, in store and in a car.

    C from volumes, or from the gauge of the keg; P = C/[k(T, A, S) + h·44.0095/(R·T)]

    Parameters: drink; closed, the bottle (what it says of gas is not used: the keg decides); filled_at_c of the keg
        [°C]; one of volumes and gauge_bar, the keg's.
    Returns: ColdFilled.
    Raises: InputError unless one of volumes and gauge_bar is given; OutOfRangeError outside the law of solubility.
    Validity: no gas lost in filling, air in the headspace: the careful side. Within 7 %.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37.
    """
    if (volumes is None) is (gauge_bar is None):
        raise InputError("Say what is in the keg: its volumes of gas, or the pressure on its gauge.", "/volumes")
    check_keg(filled_at_c, volumes, gauge_bar)
    abv, sugar = drink.abv_percent.value, drink.sugar_g_per_l.value
    if volumes is not None:
        content = co2_g_per_l_from_volumes(volumes)
        keg_bar = gauge_bar_for_co2(content, filled_at_c, abv, sugar)
    else:
        keg_bar = gauge_bar or 0.0
        content = co2_g_per_l_at_gauge(keg_bar, filled_at_c, abv, sugar)
    closed = replace(closed, co2_g_per_l=content)
    gas = gas_of(drink, closed)
    rows = {t: gas.at(t, content) for t in sorted({filled_at_c, ROOM_C, closed.warmest_c, *CAR_C})}
    stored, hottest = rows[closed.warmest_c], rows[max(rows)]
    rating = rating_of(closed, stored, stored)
    return ColdFilled(
        filled_at_c=filled_at_c,
        co2_g_per_l=round(content, 4),
        co2_volumes=round(co2_volumes_from_g_per_l(content), 4),
        keg_gauge_bar=round(keg_bar, 4),
        pressures=tuple(rows.values()),
        rating=rating,
        text=f"Filled at {temperature_words(filled_at_c)} with {content:.1f} g/L CO2: "
        f"{bar_words(rows[ROOM_C].pressure_bar)} at {temperature_words(ROOM_C)}, {bar_words(stored.pressure_bar)} at "
        f"{temperature_words(closed.warmest_c)}, {bar_words(hottest.pressure_bar)} in a hot car.",
        cautions=sorted_once(list(_cautions(drink, closed, rows[ROOM_C], stored, hottest, rating))),
        assumed=tuple(_assumed(closed)),
    )


def _cautions(
    drink: Drink, closed: Closed, room: PressureAt, stored: PressureAt, hottest: PressureAt, rating: Rating
) -> Iterator[Caution]:
    name = WORDS[closed.kind]
    if rating.rated_bar is None and rating.exceeded_by_gas_alone:
        yield Caution(
            "container_without_rating",
            "stop",
            f"A {name} has no known pressure rating and may have to hold {stored.high_bar:.3g} bar: never with "
            "fermentable sugar or gas. Use pressure-rated containers.",
            PRACTICE,
        )
    elif rating.rated_bar is not None and rating.exceeded_by_gas_alone:
        whose, source = rating_words(closed)
        yield Caution(
            "pressure_over_rating",
            "stop",
            f"{stored.high_bar:.3g} bar may build up at {temperature_words(stored.temperature_c)}, more than the "
            f"{rating.rated_bar:.3g} bar {whose}: it can burst.",
            source,
        )
    elif rating.rated_bar is not None and hottest.high_bar > rating.rated_bar:
        yield Caution(
            "too_much_gas_for_a_hot_car",
            "warning",
            f"In a car at {temperature_words(hottest.temperature_c)} it may reach {hottest.high_bar:.3g} bar, more "
            f"than {rating.rated_bar:.3g}: keep it cold on the way.",
            PRACTICE,
        )
    yield Caution(
        "bottles_from_a_cold_keg_warm_up",
        "warning",
        f"What is calm when cold reaches {room.high_bar:.2g} bar at {temperature_words(room.temperature_c)} and "
        f"{hottest.high_bar:.2g} in a hot car: keep such bottles cold and drink them soon.",
        PRACTICE,
    )
    if closed.headspace < LEAST_HEADSPACE_SHARE - 1e-9:
        yield headspace_too_small(closed.headspace, LEAST_HEADSPACE_SHARE)
    yield from above_still_lines(drink, closed)


def _assumed(closed: Closed) -> Iterator[Assumed]:
    yield Assumed("gas lost in filling", "none", f"{OUR_DEFAULT.replace('_', ' ')}, the careful side", "a gauge cap")
    if closed.headspace_share is None:
        yield Assumed(
            "headspace",
            f"{100.0 * closed.headspace:g} % of the drink",
            "our default",
            "weigh a container filled and brimful",
        )
    if closed.storage_c is None:
        yield Assumed(
            "warmest storage", f"{closed.warmest_c:g} °C", "our default", "state the warmest place it will see"
        )
    yield Assumed(
        "law of solubility",
        ERROR_TEXT,
        f"our default for the drink, see {ERROR_SOURCE_KEY}",
        "a gauge on a test bottle",
    )
