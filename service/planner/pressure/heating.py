"""Pasteurising in closed containers: minutes for a target, what a log gave, and what becomes of the headspace."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.errors import InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import SHARE_OF_ERROR
from service.physics.headspace import LEAST_HEATED_SHARE, drink_swelling_share
from service.physics.headspace import SOURCE_KEY as SWELLING_SOURCE
from service.physics.pasteurising import (
    DEFAULT_MINIMUM_UNITS,
    HIGHEST_TEMPERATURE_C,
    LOWEST_TEMPERATURE_C,
    minutes_for_units,
    units_of_log,
)
from service.physics.pasteurising import SOURCE_KEY as HEAT_SOURCE
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.pressure.answers import HeatedHeadspace, HeatReport
from service.planner.pressure.asked import COLD_FILL_C, Closed
from service.planner.pressure.gas import USUAL, WORDS, rated_bar_of, rating_words, temperature_words
from service.planner.pressure.room import check_closed, headspace_too_small, warmed_headspace
from service.planner.refermentation import FERMENTABLE_LIMIT_G_PER_L
from service.planner.stabilising.answers import HeatMinutes
from service.planner.stabilising.hurdles import HEAT_TEMPERATURES_C, HIGHER_UNITS
from service.planner.work import WorkStep

DEFAULT_HEAT_C: Final = 65.0
"""Temperature of the coldest spot that minutes are told for, where none was stated (our choice)."""

STILL_CO2_BAR: Final = 3.0
"""Pressure of carbon dioxide alone, heated, above which a container without a rating is not heated (our default)."""

UNRATED_HEATED_BAR: Final = 3.0
"""Pressure above which a closed container without any rating is not heated [bar] (our default)."""

MOST_OF_GLASS_BAR: Final = USUAL["sparkling_bottle"].bar
"""What even the strongest common glass is usually made for [bar]: the line where nothing was said of the container."""

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
    carbonated: bool = False,
    container_told: bool = True,
) -> HeatReport:
    """Minutes at a temperature for a target of units, what a log of the coldest spot gave, and the headspace.

    t = PU·1.393^(60 − T); the headspace holds squeezed air, carbon dioxide and vapour

    Parameters: drink; closed, the container and how warm it was closed; temperature_c of the coldest spot [°C];
        target_units [PU]; log, pairs of minutes and °C in order of time; carbonated, whether gas was put in;
        container_told, whether anything was said of the container: if not, only what no common glass holds is a stop.
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
    if not _FILLED_C[0] <= closed.closed_at_c <= _FILLED_C[1]:
        raise OutOfRangeError(f"Filled at {closed.closed_at_c:g} °C is not reckoned with: 0 to 50 °C.", "/filled_at")
    check_closed(closed)
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
    least = max(LEAST_HEATED_SHARE, _ROOM_PER_SWELLING * drink_swelling_share(closed.closed_at_c, hottest))
    room = warmed_headspace(drink, closed, hottest, least)
    limit = rated_bar_of(closed) or UNRATED_HEATED_BAR
    if not container_told:
        limit = MOST_OF_GLASS_BAR
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
        cautions=sorted_once(
            [
                *_of_container(closed, room, limit, carbonated, container_told),
                *_of_units(drink, target, held_c, given, missing_minutes),
            ]
        ),
        assumed=tuple(_assumed(closed, target_units, temperature_c)),
    )


def _units(log: Sequence[tuple[float, float]]) -> float:
    try:
        return units_of_log(log)
    except InputError as error:
        raise error.below("/log") from error


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


def _of_container(
    closed: Closed, room: HeatedHeadspace, limit_bar: float, carbonated: bool, told: bool
) -> Iterator[Caution]:
    """What the heated headspace does to the container."""
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
        stated = closed.rated_bar is not None
        high_bar = room.gauge_bar + SHARE_OF_ERROR * room.co2_bar
        held = high_bar <= limit_bar
        if not (stated and held) and (carbonated or room.co2_bar > STILL_CO2_BAR):
            yield Caution(
                "heating_carbonated",
                "stop",
                f"Gas leaves a heated drink: {room.gauge_bar:.1f} bar at {temperature_words(room.heated_to_c)}. Heat "
                "still drink, or only containers rated for more.",
                PRACTICE,
            )
        elif not held:
            whose, source = rating_words(closed)
            if not told:
                whose, source = "even of strong glass: state container and headspace", OUR_DEFAULT
            yield Caution(
                "heated_pressure_over_rating",
                "stop",
                f"{high_bar:.3g} bar may build up at {temperature_words(room.heated_to_c)}, more than the "
                f"{limit_bar:.3g} bar {whose}. Leave more headspace or fill less cold.",
                source,
            )
        elif not stated:
            yield Caution(
                "heating_closed_containers",
                "warning",
                f"Heated, a closed {name} may hold {room.gauge_bar:.1f} bar, and no rating was stated: heat slowly, "
                "covered, and try one first.",
                PRACTICE,
            )
        if closed.headspace < room.least_headspace_share - 1e-9:
            yield headspace_too_small(closed.headspace, room.least_headspace_share)


def _of_units(
    drink: Drink, target: float, held_c: float, given: float | None, missing_minutes: float | None
) -> Iterator[Caution]:
    """What the units are worth, and what heat does to hands."""
    if max(target, given or 0.0) < DEFAULT_MINIMUM_UNITS:
        yield Caution(
            "pasteurising_below_target",
            "warning",
            f"{target:g} units are below {DEFAULT_MINIMUM_UNITS:g}, the least that counts as pasteurised here: yeast "
            "and microbes may live on. Hold it longer.",
            OUR_DEFAULT,
        )
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


def units_hold(report: HeatReport) -> bool:
    """Whether a heat treatment counts against yeast and microbes: its log, or else its target, is no less than the
    least that counts, and the log reaches the target."""
    units = report.target_units if report.units_given is None else report.units_given
    return units >= DEFAULT_MINIMUM_UNITS and report.reached is not False


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
    if closed.filled_at_c is None:
        yield Assumed(
            "temperature when it is closed",
            f"{COLD_FILL_C:g} °C",
            "our default, the careful side for swelling",
            "a thermometer",
        )
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
