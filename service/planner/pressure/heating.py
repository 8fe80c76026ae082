"""Pasteurising in closed containers: minutes for a target, what a log gave, and what becomes of the headspace."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.errors import InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import (
    ATMOSPHERE_BAR,
    closed_pressure_bar,
    psi_from_bar,
)
from service.physics.headspace import (
    LEAST_HEATED_SHARE,
    drink_swelling_share,
    squeezed_air_bar,
    vapour_bar,
)
from service.physics.headspace import SOURCE_KEY as SWELLING_SOURCE
from service.physics.pasteurising import (
    DEFAULT_MINIMUM_UNITS,
    HIGHEST_TEMPERATURE_C,
    LOWEST_TEMPERATURE_C,
    minutes_for_units,
    units_of_log,
)
from service.physics.pasteurising import SOURCE_KEY as HEAT_SOURCE
from service.planner.answers import PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.pressure.answers import HeatedHeadspace, HeatReport
from service.planner.pressure.asked import Closed
from service.planner.pressure.cautions import headspace_too_small
from service.planner.pressure.gas import WORDS, bar_words, temperature_words
from service.planner.refermentation import FERMENTABLE_LIMIT_G_PER_L
from service.planner.stabilising.answers import HeatMinutes
from service.planner.stabilising.hurdles import HEAT_TEMPERATURES_C, HIGHER_UNITS
from service.planner.work import WorkStep

DEFAULT_HEAT_C: Final = 65.0
"""Temperature of the coldest spot that minutes are told for, where none was stated (our choice)."""

STILL_CO2_BAR: Final = 3.0
"""Pressure of carbon dioxide alone, heated, above which a container without a rating is not heated (our default)."""

_ROOM_PER_SWELLING: Final = 1.6
"""Headspace over swelling below which the air is squeezed more than 2.7 times (our default)."""

_MOST_UNITS: Final = 10_000.0
_FILLED_C: Final = (0.0, 50.0)
_WEAK_ABV_PERCENT: Final = 10.0


def heat(
    drink: Drink,
    closed: Closed,
    *,
    temperature_c: float | None = None,
    target_units: float | None = None,
    log: Sequence[tuple[float, float]] = (),
    filled_at_c: float = 20.0,
    carbonated: bool = False,
) -> HeatReport:
    """Minutes at a temperature for a target of units, what a log of the coldest spot gave, and the headspace.

    t = PU·1.393^(60 − T); the headspace holds squeezed air, carbon dioxide and vapour

    Parameters: drink; closed, the container; temperature_c of the coldest spot [°C]; target_units [PU]; log, pairs of
        minutes and °C in order of time; filled_at_c, when it was closed [°C]; carbonated, whether gas was put in.
    Returns: HeatReport.
    Raises: OutOfRangeError outside 55 to 85 °C or for a target that cannot be; InconsistentError for a log out of
        order.
    Validity: units 55–85 °C; pressures are estimates of a headspace at rest.
    Source: Del Vecchio, Dayharsh and Baselt 1951 (weak secondary source); Kell 1975; Carroll, Slupsky and Mather 1991.
    """
    target = DEFAULT_MINIMUM_UNITS if target_units is None else target_units
    if not 0.0 < target <= _MOST_UNITS:
        raise OutOfRangeError(
            f"{target:g} pasteurising units are no target: give more than 0, up to {_MOST_UNITS:g}.",
            "/target_units",
        )
    if not _FILLED_C[0] <= filled_at_c <= _FILLED_C[1]:
        raise OutOfRangeError(f"Filled at {filled_at_c:g} °C is not reckoned with: 0 to 50 °C.", "/filled_at")
    held_c = DEFAULT_HEAT_C if temperature_c is None else temperature_c
    if not LOWEST_TEMPERATURE_C <= held_c <= HIGHEST_TEMPERATURE_C:
        raise OutOfRangeError(
            f"Pasteurising units are computed from {LOWEST_TEMPERATURE_C:g} to {HIGHEST_TEMPERATURE_C:g} °C, not at "
            f"{held_c:g} °C. Choose a temperature between.",
            "/temperature",
        )
    minutes = minutes_for_units(target, held_c)
    given = _units(log) if log else None
    missing = None if given is None else max(target - given, 0.0)
    missing_minutes = None if missing is None else minutes_for_units(missing, held_c)
    hottest = max([held_c, *(reading for _, reading in log)]) if log else held_c
    room = heated_headspace(drink, closed, hottest, filled_at_c)
    return HeatReport(
        target_units=target,
        temperature_c=held_c,
        minutes=round(minutes, 3),
        units_given=None if given is None else round(given, 3),
        missing_units=None if missing is None else round(missing, 3),
        missing_minutes=None if missing_minutes is None else round(missing_minutes, 3),
        reached=None if missing is None else missing <= 0.0,
        by_temperature=tuple(
            HeatMinutes(t, units, round(minutes_for_units(units, t), 1))
            for units in sorted({target, HIGHER_UNITS})
            for t in HEAT_TEMPERATURES_C
        ),
        headspace=room,
        text=_text(target, held_c, minutes, given, missing, missing_minutes),
        steps=tuple(_steps(target, held_c, minutes, room)),
        cautions=sorted_once(list(_cautions(drink, closed, room, target, held_c, given, missing_minutes, carbonated))),
        assumed=tuple(_assumed(closed, target_units, temperature_c)),
    )


def _units(log: Sequence[tuple[float, float]]) -> float:
    try:
        return units_of_log(log)
    except InputError as error:
        raise error.below("/log") from error


def heated_headspace(drink: Drink, closed: Closed, heated_to_c: float, filled_at_c: float) -> HeatedHeadspace:
    """The headspace of a closed container at the temperature of a heat treatment.

    P = 1.01325·(T₂/T₁)·h/(h − ΔV) + C/[k + (h − ΔV)·44.0095/(R·T)] + vapour

    Parameters: drink; closed; heated_to_c and filled_at_c [°C].
    Returns: HeatedHeadspace; no pressures where the drink fills it.
    Raises: OutOfRangeError outside 0–100 °C or outside the law of solubility.
    Validity: at rest and at equilibrium, which a short heating does not reach: the careful side.
    Source: Kell 1975 with our factor for alcohol; ideal gas; Carroll, Slupsky and Mather 1991.
    """
    swelling = drink_swelling_share(filled_at_c, heated_to_c)
    share = closed.headspace
    air = squeezed_air_bar(share, swelling, filled_at_c, heated_to_c)
    least = max(LEAST_HEATED_SHARE, _ROOM_PER_SWELLING * swelling)
    grows = f"Heated to {temperature_words(heated_to_c)} the drink swells by {100.0 * swelling:.1f} %"
    if air is None:
        return HeatedHeadspace(
            filled_at_c,
            heated_to_c,
            share,
            round(swelling, 6),
            True,
            None,
            None,
            None,
            None,
            None,
            round(least, 4),
            f"{grows}, as much as the headspace of {100.0 * share:.2g} % or more: the container breaks.",
        )
    co2 = closed_pressure_bar(
        closed.co2, heated_to_c, drink.abv_percent.value, drink.sugar_g_per_l.high, share - swelling
    )
    vapour = vapour_bar(heated_to_c, drink.abv_percent.value)
    gauge = air + co2 + vapour - ATMOSPHERE_BAR
    return HeatedHeadspace(
        filled_at_c,
        heated_to_c,
        share,
        round(swelling, 6),
        False,
        round(air, 4),
        round(co2, 4),
        round(vapour, 4),
        round(gauge, 4),
        round(psi_from_bar(gauge), 2),
        round(least, 4),
        f"{grows}: air {air:.1f} bar absolute, carbon dioxide {co2:.1f}, vapour {vapour:.1f}, together "
        f"{bar_words(gauge)} above the air outside.",
    )


def _text(
    target: float,
    held_c: float,
    minutes: float,
    given: float | None,
    missing: float | None,
    missing_minutes: float | None,
) -> str:
    told = f"{_minutes(minutes)} at {temperature_words(held_c)} of the coldest spot give {target:g} units."
    if given is None or missing is None or missing_minutes is None:
        return told
    if missing <= 0.0:
        return f"The log gave {given:.1f} units, the target of {target:g} is reached. {told}"
    return (
        f"The log gave {given:.1f} of {target:g} units: {_minutes(missing_minutes)} more at "
        f"{temperature_words(held_c)} are missing. {told}"
    )


def _minutes(minutes: float) -> str:
    """A time with the decimals that matter, never rounded to less than it is by more than a tenth.

    >>> _minutes(11.409), _minutes(0.2)
    ('11.4 min', '12 s')
    """
    return f"{60.0 * minutes:.0f} s" if minutes < 1.0 else f"{minutes:.1f} min"


def _steps(target: float, held_c: float, minutes: float, room: HeatedHeadspace) -> Iterator[WorkStep]:
    yield WorkStep(
        "Fill to leave the headspace, close, and put a thermometer into the middle of the slowest container.",
        f"{100.0 * room.least_headspace_share:.2g} % headspace or more",
        0.0,
        "Only still drink, or containers whose maker rates them for the pressure told.",
        SWELLING_SOURCE,
    )
    yield WorkStep(
        "Warm the water bath slowly, containers and water together, lid on, face away.",
        f"to {temperature_words(held_c)} inside",
        0.0,
        "No container weeps, bulges or cracks; write down minutes and degrees.",
        PRACTICE,
    )
    yield WorkStep(
        "Hold it there.",
        _minutes(minutes),
        0.0,
        f"The log adds up to {target:g} units at the coldest spot.",
        HEAT_SOURCE,
    )
    yield WorkStep(
        "Let it cool slowly in the bath; no cold water on hot glass.",
        "",
        1.0,
        "Each closure is tight; one container is kept apart and watched warm for two weeks.",
        PRACTICE,
    )


def _cautions(
    drink: Drink,
    closed: Closed,
    room: HeatedHeadspace,
    target: float,
    held_c: float,
    given: float | None,
    missing_minutes: float | None,
    carbonated: bool,
) -> Iterator[Caution]:
    name = WORDS[closed.kind]
    if room.full_of_liquid or room.gauge_bar is None or room.co2_bar is None:
        yield Caution(
            "container_full_when_heated",
            "stop",
            f"At {temperature_words(room.heated_to_c)} the drink swells by {100.0 * room.swelling_share:.1f} % into "
            f"{100.0 * room.headspace_share:.2g} % of headspace: no room is left, and glass breaks. Fill less.",
            SWELLING_SOURCE,
        )
    else:
        rated = closed.rated_bar
        held = rated is not None and room.gauge_bar <= rated
        if not held and (carbonated or room.co2_bar > STILL_CO2_BAR):
            yield Caution(
                "heating_carbonated",
                "stop",
                f"Gas leaves a heated drink: {room.gauge_bar:.1f} bar at {temperature_words(room.heated_to_c)}. Heat "
                "still drink, or only containers rated for more.",
                PRACTICE,
            )
        elif rated is not None and not held:
            yield Caution(
                "pressure_over_rating",
                "stop",
                f"{room.gauge_bar:.3g} bar may build up at {temperature_words(room.heated_to_c)}, more than the "
                f"{rated:.3g} bar stated for this {name}: it can burst.",
                PRACTICE,
            )
        elif rated is None:
            yield Caution(
                "heating_closed_containers",
                "warning",
                f"Heated, a closed {name} may hold {room.gauge_bar:.1f} bar, and no rating was stated: heat slowly, "
                "covered, and try one first.",
                PRACTICE,
            )
        if closed.headspace < room.least_headspace_share - 1e-9:
            yield headspace_too_small(closed.headspace, room.least_headspace_share)
    if given is not None and missing_minutes is not None and missing_minutes > 0.0:
        yield Caution(
            "pasteurising_below_target",
            "warning",
            f"The log gave {given:.0f} of {target:.0f} units: {_minutes(missing_minutes)} more at "
            f"{temperature_words(held_c)} are missing, at the coldest spot.",
            HEAT_SOURCE,
        )
    sweet = drink.fermentable_sugar_g_per_l.high > FERMENTABLE_LIMIT_G_PER_L
    if sweet and drink.abv_percent.low < _WEAK_ABV_PERCENT and target < HIGHER_UNITS:
        yield Caution(
            "sweet_weak_drink_may_need_more_units",
            "note",
            f"Sweet, acid drinks of low strength are often given 50 to {HIGHER_UNITS:g} units and more (from memory, "
            "unverified).",
            "memory_trade",
        )
    yield Caution(
        "hot_glass_and_scalds",
        "warning",
        "Hot glass breaks and hot drink scalds: heat and cool slowly, wear gloves and eye protection, let nobody lean "
        "over it.",
        PRACTICE,
    )


def _assumed(closed: Closed, target_units: float | None, temperature_c: float | None) -> Iterator[Assumed]:
    if target_units is None:
        yield Assumed(
            "pasteurising units aimed at",
            f"{DEFAULT_MINIMUM_UNITS:g}",
            f"our default; sweet, weak, acid drinks 50 to {HIGHER_UNITS:g} and more (from memory, unverified)",
            "ask a process authority",
        )
    if temperature_c is None:
        yield Assumed("temperature of the coldest spot", f"{DEFAULT_HEAT_C:g} °C", "our choice", "state it")
    if closed.headspace_share is None:
        yield Assumed(
            "headspace",
            f"{100.0 * closed.headspace:g} % of the drink",
            "our default",
            "weigh a container filled and brimful",
        )
    if closed.co2_g_per_l is None:
        yield Assumed(
            "carbon dioxide in the drink when it is closed",
            f"{closed.co2:g} g/L",
            "our default after racking or degassing",
            "a carbonation tester, or degas until nothing rises",
        )
