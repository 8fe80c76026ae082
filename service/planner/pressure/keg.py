"""Gas on a keg: the gauge pressure for a carbonation, or how a drink stays still under gas."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from service.errors import InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import (
    ATMOSPHERE_BAR,
    ERROR_SOURCE_KEY,
    SHARE_OF_ERROR,
    closed_co2_g_per_l,
    co2_g_per_l_at_gauge,
    co2_g_per_l_from_volumes,
    co2_volumes_from_g_per_l,
    gauge_bar_for_co2,
    psi_from_bar,
)
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.pressure.answers import KegGas, LeftUnder, PressureAt
from service.planner.pressure.asked import Closed
from service.planner.pressure.cautions import ERROR_TEXT
from service.planner.pressure.gas import USUAL, bar_words, gas_of, temperature_words
from service.planner.work import WorkStep

LEFT_BAR: Final = (0.0, 0.3, 0.7, 1.0)
"""Gauge pressures that a still drink is told the uptake for [bar] (our choice)."""

NOTICED_G_PER_L: Final = 1.0
"""Carbon dioxide that is noticed on the tongue from about here [g/L] (from memory, unverified)."""

MOST_VOLUMES: Final = 5.0
_KEG_C: Final = (0.0, 40.0)
_AS_IT_WARMS_C: Final = (4.0, 20.0, 30.0)

ROOM_AIR: Final = Caution(
    "gas_in_closed_rooms",
    "warning",
    "Carbon dioxide or nitrogen from a cylinder or keg displaces air unnoticed: ventilate cellars and cupboards; 5000 "
    "ppm CO2 is a workplace limit (from memory, unverified).",
    "memory_trade",
)
"""Goes with every keg on gas."""


def keg(
    drink: Drink,
    temperature_c: float,
    *,
    volumes: float | None = None,
    gauge_bar: float | None = None,
    nitrogen: bool = False,
    volume_l: float | None = None,
    rated_bar: float | None = None,
    headspace_share: float | None = None,
    storage_c: float | None = None,
) -> KegGas:
    """Gauge pressure of a keg for a carbonation, or what keeps it still.

    P = v·1.9768/k(T, A, S) − 1.01325; left on top, C = (P + 1.01325)·k(T, A, S)

    Parameters: drink; temperature_c of the keg [°C]; volumes v of carbon dioxide wanted, None for a still drink;
        gauge_bar, carbon dioxide left on top of a still drink [bar]; nitrogen, whether that serves it; volume_l of
        drink in the keg [L]; rated_bar, its working pressure [bar]; headspace_share, room in it to a litre of drink;
        storage_c, the warmest storage that was stated [°C].
    Returns: KegGas.
    Raises: OutOfRangeError for what lies outside the law of solubility; InputError where volumes and a pressure left
        on top are both given, or where nitrogen is to carbonate.
    Validity: at equilibrium, in a keg purged of air; within 7 % of the absolute pressure.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37.
    """
    check_keg(temperature_c, volumes, gauge_bar, volume_l, rated_bar)
    abv, sugar = drink.abv_percent.value, drink.sugar_g_per_l.value
    closed = Closed("keg", headspace_share, rated_bar, storage_c)
    if volumes is None:
        return _still(drink, closed, temperature_c, gauge_bar, nitrogen)
    if gauge_bar is not None:
        raise InputError("Give the volumes wanted, or the pressure left on a still drink, not both.", "/volumes")
    if nitrogen:
        raise InputError("Nitrogen does not carbonate: leave it out, or leave out the volumes.", "/nitrogen")
    content = co2_g_per_l_from_volumes(volumes)
    bar = _gauge_for(content, temperature_c, abv, sugar)
    low = (bar + ATMOSPHERE_BAR) * (1.0 - SHARE_OF_ERROR) - ATMOSPHERE_BAR
    high = (bar + ATMOSPHERE_BAR) * (1.0 + SHARE_OF_ERROR) - ATMOSPHERE_BAR
    water = gauge_bar_for_co2(content, temperature_c, 0.0, 0.0)
    warming = _as_it_warms(drink, under_gas(drink, closed, temperature_c, volumes=volumes), temperature_c)
    mass = None if volume_l is None else content * volume_l
    taken = "" if mass is None else f" It takes {mass:.0f} g of carbon dioxide."
    return KegGas(
        still=False,
        temperature_c=temperature_c,
        co2_volumes=volumes,
        co2_g_per_l=round(content, 4),
        gauge_bar=round(bar, 4),
        gauge_psi=round(psi_from_bar(bar), 2),
        low_bar=round(max(low, 0.0), 4),
        high_bar=round(high, 4),
        water_gauge_bar=round(water, 4),
        by_temperature=warming,
        left_under=(),
        stays_still=(),
        co2_mass_g=None if mass is None else round(mass, 1),
        text=f"{volumes:g} volumes ({content:.2f} g/L) at {temperature_words(temperature_c)} take "
        f"{bar:.2f} bar ({psi_from_bar(bar):.1f} psi) on the gauge; plain water would take {water:.2f}.{taken}",
        steps=tuple(carbonating_steps(bar, temperature_c)),
        cautions=sorted_once([*_keg_cautions(high, closed, warming), ROOM_AIR]),
        assumed=tuple(_assumed(rated_bar)),
    )


def _gauge_for(co2_g_per_l: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """Gauge of a keg for a content, above nothing [bar]."""
    bar = gauge_bar_for_co2(co2_g_per_l, temperature_c, abv_percent, sugar_g_per_l)
    if bar <= 0.0:
        under_air = co2_volumes_from_g_per_l(co2_g_per_l_at_gauge(0.0, temperature_c, abv_percent, sugar_g_per_l))
        raise OutOfRangeError(
            f"At {temperature_words(temperature_c)} carbon dioxide without any gauge pressure already dissolves "
            f"{under_air:.2f} volumes: ask for more than that, or for a still drink.",
            "/volumes",
        )
    return bar


def under_gas(
    drink: Drink,
    closed: Closed,
    temperature_c: float,
    *,
    volumes: float | None = None,
    gauge_bar: float | None = None,
) -> Closed:
    """A keg with the gas that it is closed with: carbon dioxide in the drink and above it, and no air.

    C = 1.9768·v, or (P + 1.01325)·k(T, A, S); above it h·44.0095/(R·T) for each bar

    Parameters: drink; closed, the keg; temperature_c, at which it stands under gas [°C]; one of volumes in the drink
        and gauge_bar of the regulator [bar].
    Returns: Closed, purged, with its carbon dioxide; what was measured before counts where it is more.
    Raises: OutOfRangeError outside the law of solubility.
    Validity: at equilibrium, which a rolled keg reaches in hours and a standing one in days.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37; ideal gas.
    """
    check_keg(temperature_c, volumes, gauge_bar)
    abv, sugar = drink.abv_percent.value, drink.sugar_g_per_l.value
    if volumes is not None:
        content = co2_g_per_l_from_volumes(volumes)
        partial = _gauge_for(content, temperature_c, abv, sugar) + ATMOSPHERE_BAR
    else:
        partial = (gauge_bar or 0.0) + ATMOSPHERE_BAR
        content = co2_g_per_l_at_gauge(gauge_bar or 0.0, temperature_c, abv, sugar)
    above = closed_co2_g_per_l(partial, temperature_c, abv, sugar, closed.headspace) - content
    if closed.co2_g_per_l is not None and volumes is None:
        content = max(content, closed.co2_g_per_l)
    return replace(closed, co2_g_per_l=content, headspace_co2_g_per_l=max(above, 0.0), purged=True)


def _as_it_warms(drink: Drink, filled: Closed, temperature_c: float) -> tuple[PressureAt, ...]:
    """Gauge of a purged keg at some temperatures, that of the keg and of its store among them."""
    gas = gas_of(drink, filled)
    stored = () if filled.storage_c is None else (filled.warmest_c,)
    return tuple(gas.at(t, filled.all_co2) for t in sorted({*_AS_IT_WARMS_C, temperature_c, *stored}))


def check_keg(
    temperature_c: float,
    volumes: float | None,
    gauge_bar: float | None,
    volume_l: float | None = None,
    rated_bar: float | None = None,
) -> None:
    """Refuse what no keg is; pointers are those of a request about gas.

    Parameters: temperature_c [°C]; volumes; gauge_bar [bar]; volume_l [L]; rated_bar [bar]; None where not given.
    Raises: OutOfRangeError.
    """
    if not _KEG_C[0] <= temperature_c <= _KEG_C[1]:
        raise OutOfRangeError(f"A keg is reckoned with from 0 to 40 °C, not at {temperature_c:g} °C.", "/temperature")
    if volumes is not None and not 0.0 < volumes <= MOST_VOLUMES:
        raise OutOfRangeError(
            f"{volumes:g} volumes are not reckoned with: more than 0, up to {MOST_VOLUMES:g}; 2 to 3 are usual.",
            "/volumes",
        )
    if gauge_bar is not None and not 0.0 <= gauge_bar <= USUAL["keg"].bar:
        raise OutOfRangeError(
            f"{gauge_bar:g} bar on a keg is not reckoned with: 0 to {USUAL['keg'].bar:g} bar on the gauge.",
            "/gauge_pressure",
        )
    if volume_l is not None and not 0.0 < volume_l <= 1e6:
        raise OutOfRangeError(f"A keg of {volume_l:g} L is none: give its volume.", "/volume")
    if rated_bar is not None and not 0.0 < rated_bar <= 100.0:
        raise OutOfRangeError(
            f"A keg for {rated_bar:g} bar is none: give the pressure stamped on it, above 0, up to 100 bar.",
            "/rated_pressure",
        )


def _still(drink: Drink, closed: Closed, temperature_c: float, gauge_bar: float | None, nitrogen: bool) -> KegGas:
    abv, sugar = drink.abv_percent.value, drink.sugar_g_per_l.value

    def left(bar: float) -> LeftUnder:
        content = co2_g_per_l_at_gauge(bar, temperature_c, abv, sugar)
        return LeftUnder(
            bar,
            round(psi_from_bar(bar), 2),
            round(content, 4),
            round(co2_volumes_from_g_per_l(content), 4),
        )

    rows = tuple(left(bar) for bar in sorted({*LEFT_BAR, *(() if gauge_bar is None else (gauge_bar,))}))
    told = left(LEFT_BAR[1] if gauge_bar is None else gauge_bar)
    warming: tuple[PressureAt, ...] = ()
    if gauge_bar is not None:
        warming = _as_it_warms(drink, under_gas(drink, closed, temperature_c, gauge_bar=gauge_bar), temperature_c)
    takes = "dissolves" if gauge_bar is not None else "would dissolve"
    cautions = [*_keg_cautions(gauge_bar or 0.0, closed, warming), ROOM_AIR]
    if gauge_bar is not None or not nitrogen:
        cautions.append(
            Caution(
                "still_keg_takes_up_gas",
                "warning",
                f"CO2 left on top at {told.gauge_bar:g} bar {takes} {told.co2_g_per_l:.1f} g/L, "
                f"{told.co2_volumes:.1f} volumes: the drink is still no longer. Vent it, or serve with nitrogen.",
                OUR_DEFAULT,
            )
        )
    stay = "nitrogen pushes it" if nitrogen else "vent after sealing, or serve with nitrogen"
    where = f"carbon dioxide of {bar_words(told.gauge_bar)} at {temperature_words(temperature_c)}"
    uptake = f"{told.co2_g_per_l:.2f} g/L, {told.co2_volumes:.2f} volumes"
    return KegGas(
        still=True,
        temperature_c=temperature_c,
        co2_volumes=None,
        co2_g_per_l=None,
        gauge_bar=None,
        gauge_psi=None,
        low_bar=None,
        high_bar=None,
        water_gauge_bar=None,
        by_temperature=warming,
        left_under=rows,
        stays_still=(
            "Seat the lid with carbon dioxide, purge the air, then vent it and leave no pressure on.",
            "Or serve with nitrogen at any pressure within the keg's rating: it hardly dissolves.",
            f"Carbon dioxide is noticed from about {NOTICED_G_PER_L:g} g/L (from memory, unverified).",
        ),
        co2_mass_g=None,
        text=f"Left under {where} it takes up {uptake}. To stay still: {stay}."
        if gauge_bar is not None
        else f"No pressure on it was stated; left under {where} it would take up {uptake}. To stay still: {stay}.",
        steps=(
            WorkStep(
                "Fill the keg, seat its lid with carbon dioxide, pull the relief valve a few times to drive air out, "
                "then vent to no pressure.",
                "",
                0.0,
                "The lid stays tight without pressure; no hiss after the last vent.",
                PRACTICE,
            ),
            WorkStep(
                "Serve with nitrogen."
                if nitrogen
                else "Serve with nitrogen, or with carbon dioxide only while pouring.",
                "",
                0.0,
                "The drink does not prickle after days.",
                PRACTICE,
            ),
        ),
        cautions=sorted_once(cautions),
        assumed=tuple(_assumed(closed.rated_bar)),
    )


def carbonating_steps(bar: float, temperature_c: float) -> Iterator[WorkStep]:
    """Chill the keg, set its regulator to a pressure [bar], wait."""
    yield WorkStep(
        f"Chill the closed, purged keg to {temperature_words(temperature_c)}.",
        "",
        12.0,
        "The drink itself has that temperature.",
        PRACTICE,
    )
    yield WorkStep(
        "Set the regulator and leave it.",
        bar_words(bar),
        0.0,
        "The relief valve opens when pulled; nothing leaks under soapy water.",
        PRACTICE,
    )
    yield WorkStep(
        "Leave it on gas until it has taken it up: days, or hours if rolled.",
        "",
        72.0,
        "The gauge no longer falls with the gas turned off.",
        PRACTICE,
    )


def _keg_cautions(high_bar: float, closed: Closed, warming: tuple[PressureAt, ...]) -> Iterator[Caution]:
    usual, rated_bar = USUAL["keg"], closed.rated_bar
    rated = usual.bar if rated_bar is None else rated_bar
    said = "usual for a keg" if rated_bar is None else "stated"
    stored = closed.storage_c is not None and any(
        at.high_bar > rated and at.temperature_c <= closed.warmest_c for at in warming
    )
    hottest = max(warming, key=lambda at: at.high_bar, default=None)
    if high_bar > rated:
        yield Caution(
            "keg_over_pressure",
            "stop",
            f"Perhaps {high_bar:.2g} bar, more than the {rated:g} bar {said}: ask for fewer volumes or a colder keg.",
            usual.source_id if rated_bar is None else PRACTICE,
        )
    elif hottest is not None and hottest.high_bar > rated:
        yield Caution(
            "keg_over_pressure_when_warm",
            "stop" if stored else "warning",
            f"Warmed to {temperature_words(hottest.temperature_c)} it may show {hottest.high_bar:.2g} bar, more than "
            f"the {rated:g} bar {said}: keep it cold, with a working relief valve.",
            usual.source_id if rated_bar is None else PRACTICE,
        )
    yield Caution(
        "keg_relief_valve",
        "warning",
        "Use a regulator and a relief valve that match the keg, never more than the pressure stamped on it; chain the "
        "cylinder upright.",
        "memory_trade",
    )


def _assumed(rated_bar: float | None) -> Iterator[Assumed]:
    if rated_bar is None:
        yield Assumed(
            "working pressure of the keg",
            f"{USUAL['keg'].bar:g} bar",
            "from memory, unverified",
            "read what is stamped on it",
        )
    yield Assumed(
        "law of solubility", ERROR_TEXT, f"our default for the drink, see {ERROR_SOURCE_KEY}", "the keg's own gauge"
    )
