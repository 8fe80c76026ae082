"""What each kind of container has to hold: pressure, gas, heat, room to swell, and what speaks against closing it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Final

from service.chemistry.sulfite_limits import Market
from service.errors import ServiceError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import G_PER_L_PER_VOLUME, SHARE_OF_ERROR, co2_g_per_l_at_gauge
from service.physics.headspace import drink_swelling_share
from service.planner.answers import OUR_DEFAULT, Caution, NextReading
from service.planner.packaging.answers import ThermalRoom
from service.planner.packaging.asked import DEFAULT_KEG_C, ContainerAsked, FromKeg, PackagingAsked
from service.planner.plain_words import plain_figure
from service.planner.pressure.answers import ColdFilled, HeatReport, HurdleHeld, KegGas, Refermentation
from service.planner.pressure.asked import Closed
from service.planner.pressure.cold_filled import cold_filled
from service.planner.pressure.gas import temperature_words
from service.planner.pressure.heating import heat
from service.planner.pressure.hurdles import hurdles_held, without_what_failed
from service.planner.pressure.keg import keg, under_gas
from service.planner.pressure.refermentation import refermentation
from service.planner.pressure.room import check_storage, full_when_warm

CLOSING_NOT_JUDGED: Final = Caution(
    "closing_not_judged",
    "warning",
    "Nothing here says whether to close it up: sugar that can ferment bursts containers. Ask for its pressure too.",
    OUR_DEFAULT,
)
"""Goes with counts, gas or heat of a sweet drink whose pressure was not asked for."""


@dataclass(frozen=True, slots=True)
class Held:
    """What one kind of container has to hold."""

    container: ContainerAsked
    closed: Closed
    thermal: ThermalRoom
    pressure: Refermentation | None
    cold_filled: ColdFilled | None
    heat: HeatReport | None
    hurdles: tuple[HurdleHeld, ...]
    gas_told: Assumed | None

    @property
    def cautions(self) -> Iterator[Caution]:
        """All cautions about it: what two parts tell of the same thing is told once, with the higher pressure.

        Of bottles filled from a keg the gas is part of the worst case of their pressure, which is never lower.
        """
        told = () if self.pressure is None else self.pressure.cautions
        of_heat = () if self.heat is None else self.heat.cautions
        small = {c.code for c in of_heat} & {"headspace_too_small"}
        yield from (c for c in told if c.code not in small)
        codes = {caution.code for caution in told}
        if self.cold_filled is not None:
            yield from (c for c in self.cold_filled.cautions if c.code not in codes)
        yield from of_heat
        if self.pressure is None and self.thermal.left_ml <= 0.0:
            share = self.thermal.swells_ml / self.container.fill_ml
            yield full_when_warm(self.thermal.warmest_c, share, self.closed.headspace)

    def lasting(self, hurdles: Iterable[str]) -> tuple[str, ...]:
        """The hurdles that go on its label: salts as they are in it, heat and filtration only where they count."""
        return without_what_failed(tuple(hurdles), self.hurdles)

    @property
    def assumed(self) -> Iterator[Assumed]:
        """Defaults used for it."""
        if self.gas_told is not None:
            yield self.gas_told
        for part in (self.pressure, self.cold_filled, self.heat):
            if part is not None:
                yield from part.assumed

    @property
    def next_reading(self) -> Iterable[NextReading]:
        """What to measure or watch next."""
        return () if self.pressure is None else self.pressure.next_reading


def held_by(asked: PackagingAsked) -> tuple[Held, ...]:
    """What each kind of container has to hold.

    Parameters: asked.
    Returns: one for each, in order.
    Raises: OutOfRangeError, InputError, InconsistentError with the place in the request.
    """
    return tuple(_held(asked, place, container) for place, container in enumerate(asked.containers))


def _held(asked: PackagingAsked, place: int, container: ContainerAsked) -> Held:
    drink, gas = asked.drink, asked.gas
    closed, bottled, gas_told = _filled(asked, place, container)
    heated = None
    if asked.heat is not None and asked.is_heated(container):
        try:
            heated = heat(
                drink,
                closed,
                temperature_c=asked.heat.temperature_c,
                target_units=asked.heat.target_units,
                log=asked.heat.log,
                carbonated=gas.from_keg is not None or gas.volumes is not None,
            )
        except ServiceError as error:
            raise _placed(asked, error, "/heat", place) from error
    pressure, hurdles = None, asked.hurdles_of(container)
    if "pressure" in asked.parts:
        market = Market(asked.label.market)
        try:
            pressure = refermentation(drink, closed, hurdles, asked.rest, heated, market)
        except ServiceError as error:
            raise _placed(asked, error, "", place) from error
    held = hurdles_held(drink, hurdles, heated) if pressure is None else pressure.hurdles
    thermal = _thermal(asked, closed, container.fill_ml)
    return Held(container, closed, thermal, pressure, bottled, heated, held, gas_told)


def _filled(
    asked: PackagingAsked, place: int, container: ContainerAsked
) -> tuple[Closed, ColdFilled | None, Assumed | None]:
    """A container with the gas that it is closed with, what a cold keg makes of it, and what was taken of its gas."""
    drink, gas = asked.drink, asked.gas
    closed = Closed(
        container.kind,
        container.headspace_share,
        container.rated_bar,
        asked.circumstances.intended.storage_temperature_c,
        gas.co2_g_per_l,
        asked.filled_at_c(container),
    )
    if not asked.parts & {"pressure", "gas", "heat"}:
        return closed, None, None
    if container.kind != "keg" and gas.from_keg is not None:
        source = gas.from_keg
        try:
            bottled = cold_filled(
                drink, closed, source.temperature_c, volumes=source.volumes, gauge_bar=source.gauge_bar
            )
        except ServiceError as error:
            raise _placed(asked, error, "/gas/filled_from_keg", place) from error
        closed = replace(closed, co2_g_per_l=bottled.co2_g_per_l)
        return closed, bottled if "gas" in asked.parts else None, None
    told = None
    try:
        if closed.co2_g_per_l is None and any(lot.degassed is False for lot in drink.lots):
            closed, told = _saturated(asked, closed)
        if container.kind == "keg" and (gas.volumes is not None or gas.gauge_bar is not None):
            at_c = DEFAULT_KEG_C if gas.temperature_c is None else gas.temperature_c
            closed, told = under_gas(drink, closed, at_c, volumes=gas.volumes, gauge_bar=gas.gauge_bar), None
    except ServiceError as error:
        raise _placed(asked, error, "/gas", place) from error
    return closed, None, told


def _saturated(asked: PackagingAsked, closed: Closed) -> tuple[Closed, Assumed]:
    """A drink that was not degassed: it holds what carbon dioxide without pressure dissolves at its temperature."""
    drink, at_c = asked.drink, closed.closed_at_c
    content = co2_g_per_l_at_gauge(0.0, at_c, drink.abv_percent.value, drink.sugar_g_per_l.value)
    told = Assumed(
        "carbon dioxide in the drink when it is closed",
        f"{content:.1f} g/L",
        f"a lot was not degassed: what the drink holds without pressure at {temperature_words(at_c)}",
        "degas until nothing rises, or a carbonation tester",
    )
    return replace(closed, co2_g_per_l=content), told


def _gas_pointer(asked: PackagingAsked, place: int) -> str:
    """Where a request says how much gas a container is closed with."""
    gas, kind = asked.gas, asked.containers[place].kind
    if kind != "keg" and gas.from_keg is not None:
        return f"/gas/filled_from_keg/{'gauge' if gas.from_keg.volumes is None else 'volumes'}"
    if kind == "keg" and gas.volumes is not None:
        return "/gas/volumes"
    return "/gas/gauge" if kind == "keg" and gas.gauge_bar is not None else "/gas/co2_g_per_l"


def _placed(asked: PackagingAsked, error: ServiceError, below: str, place: int) -> ServiceError:
    """A fault with its place in the request."""
    sent = asked.sent
    drink = "/drink" if "drink" in sent else None
    told = {
        "/headspace": f"/containers/{place}/headspace",
        "/rated_pressure": f"/containers/{place}/rated_pressure",
        "/co2_g_per_l": _gas_pointer(asked, place),
        "/tolerance_abv_percent": "/refermentation/tolerance_abv_percent",
        "/storage_temperature": f"{'' if 'storage_temperature' in sent else '/intended'}/storage_temperature",
        "/abv_percent": f"{drink}/abv_percent" if drink else "",
        "/sugar_g_per_l": f"{drink}/sugar_g_per_l" if drink else "",
        "/gauge_pressure": f"{below}/gauge",
    }
    if error.pointer in ("/abv_percent", "/sugar_g_per_l"):
        error.detail += " Counts and label facts can be asked for alone (only)."
    if error.pointer in told:
        error.pointer = told[error.pointer]
        return error
    return error.below(below)


def _thermal(asked: PackagingAsked, closed: Closed, fill_ml: float) -> ThermalRoom:
    """What warming in store leaves of the headspace."""
    filled_c, warmest = closed.closed_at_c, closed.warmest_c
    try:
        check_storage(warmest)
    except ServiceError as error:
        raise _placed(asked, error, "", 0) from error
    swells = max(drink_swelling_share(filled_c, max(warmest, filled_c)), 0.0) * fill_ml
    room = closed.headspace * fill_ml
    left = room - swells
    from_to = f"from {temperature_words(filled_c)} to {temperature_words(warmest)}"
    swells_text, room_text, left_text = (f"{plain_figure(ml, 3)} mL" for ml in (swells, room, left))
    text = (
        f"Warmed {from_to} it swells by {swells_text} into {room_text}: {left_text} are left."
        if left > 0.0
        else f"Warmed {from_to} it swells by {swells_text} into {room_text}: nothing is left to give way."
    )
    return ThermalRoom(filled_c, warmest, round(swells, 3), round(room, 3), round(left, 3), text)


def keg_gas(asked: PackagingAsked, filled_l: float | None) -> KegGas | None:
    """Gas on the kegs; None where there is no keg, or nobody asked.

    Parameters: asked; filled_l, drink in all kegs [L], None where it was not counted.
    Returns: KegGas.
    Raises: OutOfRangeError, InputError with the place in the request.
    """
    kegs = [(k, container) for k, container in enumerate(asked.containers) if container.kind == "keg"]
    if not kegs or "gas" not in asked.parts:
        return None
    gas = asked.gas
    rated = [container.rated_bar for _, container in kegs if container.rated_bar is not None]
    shares = [container.headspace_share for _, container in kegs if container.headspace_share is not None]
    litres = filled_l or kegs[0][1].fill_ml / 1000.0
    try:
        return keg(
            asked.drink,
            DEFAULT_KEG_C if gas.temperature_c is None else gas.temperature_c,
            volumes=gas.volumes,
            gauge_bar=gas.gauge_bar,
            nitrogen=gas.nitrogen,
            volume_l=litres,
            rated_bar=min(rated) if rated else None,
            headspace_share=min(shares) if len(shares) == len(kegs) else None,
            storage_c=asked.circumstances.intended.storage_temperature_c,
        )
    except ServiceError as error:
        raise _placed(asked, error, "/gas", kegs[0][0]) from error


def keg_disagrees(asked: PackagingAsked) -> Caution | None:
    """The keg that is asked for and the one that bottles are filled from, where they do not hold the same gas.

    Parameters: asked.
    Returns: Caution; None where both are one keg, or only one was told of.
    Raises: OutOfRangeError with the place in the request.
    """
    gas = asked.gas
    if gas.from_keg is None or gas.volumes is None or "gas" not in asked.parts:
        return None
    try:
        there = _volumes_in(asked, gas.from_keg)
    except ServiceError as error:
        raise _placed(asked, error, "/gas/filled_from_keg", 0) from error
    if abs(there - gas.volumes) <= SHARE_OF_ERROR * gas.volumes:
        return None
    return Caution(
        "keg_gas_disagrees",
        "warning",
        f"The keg is to hold {gas.volumes:.3g} volumes, and bottles are filled from one that holds {there:.3g}: "
        "reckoned as two kegs. If it is one, correct the gauge or the volumes.",
        "carroll_1991",
    )


def _volumes_in(asked: PackagingAsked, source: FromKeg) -> float:
    if source.volumes is not None:
        return source.volumes
    drink = asked.drink
    content = co2_g_per_l_at_gauge(
        source.gauge_bar or 0.0, source.temperature_c, drink.abv_percent.value, drink.sugar_g_per_l.value
    )
    return content / G_PER_L_PER_VOLUME


def worst_heat(held: Iterable[Held]) -> HeatReport | None:
    """The report of the container whose headspace stands the heat least."""
    reports = [one.heat for one in held if one.heat is not None]
    if not reports:
        return None

    def rank(report: HeatReport) -> tuple[int, int, float]:
        stops = sum(caution.level == "stop" for caution in report.cautions)
        room = report.headspace
        return (stops, int(room.full_of_liquid), room.gauge_bar or 0.0)

    return max(reports, key=rank)
