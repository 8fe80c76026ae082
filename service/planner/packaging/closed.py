"""What each kind of container has to hold: pressure, gas, heat, room to swell, and what speaks against closing it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from service.chemistry.sulfite_limits import Market
from service.errors import OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import co2_g_per_l_from_volumes
from service.physics.headspace import drink_swelling_share
from service.planner.answers import OUR_DEFAULT, Caution, NextReading
from service.planner.packaging.answers import ThermalRoom
from service.planner.packaging.asked import DEFAULT_FILLED_C, DEFAULT_KEG_C, ContainerAsked, PackagingAsked
from service.planner.pressure.answers import ColdFilled, HeatReport, KegGas, Refermentation
from service.planner.pressure.asked import Closed
from service.planner.pressure.cold_filled import cold_filled
from service.planner.pressure.gas import temperature_words
from service.planner.pressure.heating import heat
from service.planner.pressure.keg import keg
from service.planner.pressure.refermentation import refermentation

COLD_FILL_C: Final = 4.0
"""The coldest that a container is taken to be closed at, where no temperature was stated (our default)."""

CLOSING_NOT_JUDGED: Final = Caution(
    "closing_not_judged",
    "warning",
    "Nothing here says whether to close it up: sugar that can ferment bursts containers. Ask for its pressure too.",
    OUR_DEFAULT,
)
"""Goes with counts, gas or heat of a sweet drink whose pressure was not asked for."""

_STORED_C: Final = (0.0, 60.0)


@dataclass(frozen=True, slots=True)
class Held:
    """What one kind of container has to hold."""

    container: ContainerAsked
    closed: Closed
    thermal: ThermalRoom
    pressure: Refermentation | None
    cold_filled: ColdFilled | None
    heat: HeatReport | None

    @property
    def cautions(self) -> Iterator[Caution]:
        """All cautions about it."""
        for part in (self.pressure, self.cold_filled, self.heat):
            if part is not None:
                yield from part.cautions
        if self.thermal.left_ml <= 0.0:
            yield Caution(
                "container_full_when_warm",
                "stop",
                f"Warmed to {temperature_words(self.thermal.warmest_c)} the drink swells by "
                f"{self.thermal.swells_ml:.2g} mL and no headspace is left: the container bursts. Fill less.",
                "kell_1975",
            )

    @property
    def assumed(self) -> Iterator[Assumed]:
        """Defaults used for it."""
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
    storage = asked.circumstances.intended.storage_temperature_c
    closed = Closed(container.kind, container.headspace_share, container.rated_bar, storage, gas.co2_g_per_l)
    bottled = None
    if container.kind == "keg" and gas.volumes is not None:
        closed = _with_gas(closed, co2_g_per_l_from_volumes(gas.volumes))
    elif container.kind != "keg" and gas.from_keg is not None:
        source = gas.from_keg
        try:
            bottled = cold_filled(
                drink, closed, source.temperature_c, volumes=source.volumes, gauge_bar=source.gauge_bar
            )
        except ServiceError as error:
            raise _placed(asked, error, "/gas/filled_from_keg", place) from error
        closed = _with_gas(closed, bottled.co2_g_per_l)
        if "gas" not in asked.parts:
            bottled = None
    heated = None
    if asked.heat is not None and "heat" in asked.parts and asked.is_heated(container):
        try:
            heated = heat(
                drink,
                closed,
                temperature_c=asked.heat.temperature_c,
                target_units=asked.heat.target_units,
                log=asked.heat.log,
                filled_at_c=DEFAULT_FILLED_C if asked.heat.filled_at_c is None else asked.heat.filled_at_c,
                carbonated=gas.from_keg is not None or gas.volumes is not None,
            )
        except ServiceError as error:
            raise _placed(asked, error, "/heat", place) from error
    pressure = None
    if "pressure" in asked.parts:
        market = Market(asked.label.market)
        try:
            pressure = refermentation(drink, closed, asked.hurdles_of(container), asked.rest, heated, market)
        except ServiceError as error:
            raise _placed(asked, error, "", place) from error
    return Held(container, closed, _thermal(asked, closed, container.fill_ml), pressure, bottled, heated)


def _placed(asked: PackagingAsked, error: ServiceError, below: str, place: int) -> ServiceError:
    """A fault with its place in the request."""
    sent = asked.sent
    drink = "/drink" if "drink" in sent else None
    told = {
        "/headspace": f"/containers/{place}/headspace",
        "/rated_pressure": f"/containers/{place}/rated_pressure",
        "/co2_g_per_l": "/gas/co2_g_per_l",
        "/tolerance_abv_percent": "/refermentation/tolerance_abv_percent",
        "/storage_temperature": f"{'' if 'storage_temperature' in sent else '/intended'}/storage_temperature",
        "/abv_percent": f"{drink}/abv_percent" if drink else "",
        "/sugar_g_per_l": f"{drink}/sugar_g_per_l" if drink else "",
        "/gauge_pressure": f"{below}/gauge",
    }
    if error.pointer in told:
        error.pointer = told[error.pointer]
        return error
    return error.below(below)


def _with_gas(closed: Closed, co2_g_per_l: float) -> Closed:
    return Closed(closed.kind, closed.headspace_share, closed.rated_bar, closed.storage_c, co2_g_per_l)


def _thermal(asked: PackagingAsked, closed: Closed, fill_ml: float) -> ThermalRoom:
    """What warming in store leaves of the headspace."""
    filled_c = COLD_FILL_C
    if asked.gas.from_keg is not None:
        filled_c = asked.gas.from_keg.temperature_c
    elif asked.heat is not None and asked.heat.filled_at_c is not None:
        filled_c = asked.heat.filled_at_c
    warmest = closed.warmest_c
    if not _STORED_C[0] <= warmest <= _STORED_C[1]:
        fault = OutOfRangeError(
            f"Storage is told from 0 to 60 °C, not at {warmest:g} °C: check the unit.", "/storage_temperature"
        )
        raise _placed(asked, fault, "", 0)
    swells = max(drink_swelling_share(filled_c, max(warmest, filled_c)), 0.0) * fill_ml
    room = closed.headspace * fill_ml
    left = room - swells
    from_to = f"from {temperature_words(filled_c)} to {temperature_words(warmest)}"
    text = (
        f"Warmed {from_to} it swells by {swells:.3g} mL into {room:.3g} mL: {left:.3g} mL are left."
        if left > 0.0
        else f"Warmed {from_to} it swells by {swells:.3g} mL into {room:.3g} mL: nothing is left to give way."
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
        )
    except ServiceError as error:
        raise _placed(asked, error, "/gas", kegs[0][0]) from error


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
