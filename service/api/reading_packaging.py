"""From a packaging request's texts to the planner's terms, with the place of each fault."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Final, cast

from service.api.reading import TEMPERATURE, VOLUME, Reader
from service.api.reading_circumstances import circumstances_from
from service.api.reading_drink import drink_from
from service.api.reading_losses import losses_from
from service.api.reading_packaging_limits import (
    check_containers,
    container_agrees,
    nothing_unused,
    only_what_applies,
    parts_of,
)
from service.api.reading_stabilising import gravity_of_day
from service.api.requests_packaging import ContainerIn, GasIn, HeatIn, PackagingPlanRequest
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.planner.asked import Circumstances, Instruments
from service.planner.drink import Drink
from service.planner.losses import Losses
from service.planner.packaging.asked import (
    ContainerAsked,
    FromKeg,
    GasAsked,
    HeatAsked,
    LabelAsked,
    PackagingAsked,
)
from service.planner.packaging.counted import name_of
from service.planner.pressure.answers import ContainerKind
from service.planner.pressure.asked import Rest
from service.planner.pressure.cautions import priming_refused
from service.planner.pulp import settled, settled_by_figures
from service.quantities import Kind, parse_percent

PRESSURE: Final = frozenset({Kind.PRESSURE})

_KPA_PER_BAR: Final = 100.0
_FILL_ML: Final = (10.0, 1e6)
_MOST_HEADSPACE: Final = 2.0

_USUAL_FILL_ML: Final = {
    "bottle": (500.0, 354.88235475),
    "can": (330.0, 354.88235475),
    "keg": (19_000.0, 18_927.05892),
    "jar": (1000.0, 946.352946),
    "flask": (1000.0, 946.352946),
}
"""Fill where no containers were named: metric, and in US units 12 fl oz, 5 gal or a quart (our default)."""


def packaging_from(given: PackagingPlanRequest) -> PackagingAsked:
    """A packaging request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    parts = parts_of(given)
    only_what_applies(given, reader)
    nothing_unused(given, parts, reader)
    if "priming" in given.model_fields_set and given.priming is not None:
        reader.faults.append(InputError(priming_refused(given.intended.hurdles).text, "/priming"))
    read = [
        reader.attempt(f"/containers/{k}", partial(_container, container, reader))
        for k, container in enumerate(given.containers)
    ]
    gas = reader.attempt("/gas", lambda: _gas(given.gas, reader)) or GasAsked()
    heat = None if given.heat is None else reader.attempt("/heat", partial(_heat, given.heat, reader))
    reserve = _ml(given.reserve, "/reserve", reader)
    serving = _ml(given.serving, "/serving", reader)
    losses = None
    if given.losses is not None:
        told = given.losses
        losses = reader.attempt("/losses", lambda: losses_from(told, reader))
    stored = None
    if given.storage_temperature is not None:
        text = given.storage_temperature
        stored = reader.attempt("/storage_temperature", lambda: reader.quantity(text, TEMPERATURE).value_base)
    drink = drink_from(given, instruments, circumstances(), reader, volume_needed="fills" in parts)
    rest = _rest(given, drink.abv_percent.value, instruments, reader)
    built = _stored(circumstances(), stored, reader)
    if "heat" in parts and heat is None:
        heat = HeatAsked()
    containers = tuple(container for container in read if container is not None)
    if not containers:
        containers, built = _usual(given, built)
    container_agrees(built.intended.container, containers, reader)
    check_containers(given, containers, gas, reader)
    reader.finish()
    _distinct(containers, built)
    return PackagingAsked(
        drink=drink,
        containers=containers,
        losses=None if losses is None else _settled(losses, drink),
        reserve_ml=0.0 if reserve is None else reserve,
        gas=gas,
        heat=heat,
        rest=rest,
        label=LabelAsked(
            "none" if given.market is None else given.market,
            serving,
            tuple(dict.fromkeys(given.colours)),
            tuple(dict.fromkeys(given.fining_agents)),
        ),
        parts=parts,
        circumstances=built,
        sent=given.model_dump(mode="json", by_alias=True, exclude_unset=True),
    )


def _container(given: ContainerIn, reader: Reader) -> ContainerAsked:
    fill = _positive_ml(given.fill, "/fill", reader)
    if not _FILL_ML[0] <= fill <= _FILL_ML[1]:
        raise OutOfRangeError(f"“{given.fill}” in a container: 10 mL to 1000 L can be reckoned with.", "/fill")
    if given.count is not None and given.max is not None:
        raise InputError("Give the count wanted, or how many there are (max), not both.", "/max")
    rated = None
    if given.rated_pressure is not None:
        rated = _bar(given.rated_pressure, "/rated_pressure", reader)
        if rated <= 0.0:
            raise InputError("A rating is a pressure above zero.", "/rated_pressure")
    price = None if given.price is None else given.price.amount / given.price.per
    return ContainerAsked(
        given.kind,
        fill,
        given.count,
        given.max,
        given.part_filled,
        rated,
        _headspace(given, fill, reader),
        price,
    )


def _headspace(given: ContainerIn, fill_ml: float, reader: Reader) -> float | None:
    """Room above the drink as a share of the volume of the drink."""
    if given.brimful is not None and given.headspace is not None:
        raise InputError("Give the brimful volume or the headspace, not both.", "/headspace")
    if given.brimful is not None:
        brimful = _positive_ml(given.brimful, "/brimful", reader)
        if brimful < fill_ml * (1.0 - 1e-9):
            raise InconsistentError("It holds less to the brim than is filled in: were they exchanged?", "/brimful")
        share = max(brimful / fill_ml - 1.0, 0.0)
    elif given.headspace is not None:
        share = parse_percent(given.headspace, pointer="/headspace") / 100.0
    else:
        return None
    if share > _MOST_HEADSPACE:
        raise OutOfRangeError(
            f"A headspace of {100.0 * share:.0f} % of the drink is more air than drink: up to 200 % is reckoned with.",
            "/brimful" if given.headspace is None else "/headspace",
        )
    return share


def _gas(given: GasIn, reader: Reader) -> GasAsked:
    if given.still is True and given.volumes is not None:
        raise InputError("A still drink has no volumes of gas: leave out one of the two.", "/volumes")
    if given.still is False and given.volumes is None and given.filled_from_keg is None:
        raise InputError("Say how many volumes of gas are wanted: volumes.", "/volumes")
    if given.volumes is not None and given.gauge is not None:
        raise InputError("Give the volumes wanted, or the pressure left on a still drink, not both.", "/gauge")
    temperature = None
    if given.temperature is not None:
        temperature = reader.quantity(given.temperature, TEMPERATURE, "/temperature").value_base
    source = None
    if given.filled_from_keg is not None:
        keg, at = given.filled_from_keg, "/filled_from_keg"
        if (keg.gauge is None) is (keg.volumes is None):
            raise InputError("Say what is in the keg: its pressure (gauge) or its volumes of gas.", f"{at}/gauge")
        if given.co2_g_per_l is not None:
            raise InputError("What is filled from a keg has the keg's gas: leave it out.", "/co2_g_per_l")
        if given.still is True:
            name = "volumes" if keg.gauge is None else "gauge"
            raise InputError(
                "What is filled from a keg under gas takes its gas along and is not still: leave out one of the two.",
                f"{at}/{name}",
            )
        source = FromKeg(
            reader.quantity(keg.temperature, TEMPERATURE, f"{at}/temperature").value_base,
            None if keg.gauge is None else _bar(keg.gauge, f"{at}/gauge", reader),
            None if keg.volumes is None else float(keg.volumes),
        )
    return GasAsked(
        None if given.volumes is None else float(given.volumes),
        temperature,
        None if given.gauge is None else _bar(given.gauge, "/gauge", reader),
        None if given.co2_g_per_l is None else float(given.co2_g_per_l),
        bool(given.nitrogen),
        source,
        given.still is True,
    )


def _heat(given: HeatIn, reader: Reader) -> HeatAsked:
    def celsius(text: str | None, pointer: str) -> float | None:
        return None if text is None else reader.quantity(text, TEMPERATURE, pointer).value_base

    if len(given.log) == 1:
        raise InputError("One reading is no log: give at least two minutes.", "/log")
    log = tuple(
        (float(one.minute), reader.quantity(one.temperature, TEMPERATURE, f"/log/{k}/temperature").value_base)
        for k, one in enumerate(given.log)
    )
    return HeatAsked(
        celsius(given.temperature, "/temperature"),
        None if given.target_units is None else float(given.target_units),
        log,
        celsius(given.filled_at, "/filled_at"),
    )


def _rest(given: PackagingPlanRequest, abv_percent: float, instruments: Instruments, reader: Reader) -> Rest:
    told = given.refermentation
    at = "/refermentation/hold_test"
    if len(told.hold_test) == 1:
        reader.faults.append(InputError("One gravity shows nothing: give two, days apart.", at))
    if told.hold_test and told.fermentation_finished is not None:
        reader.faults.append(
            InputError(
                "The hold test shows whether it has ended: leave this out.", "/refermentation/fermentation_finished"
            )
        )
    readings = [
        reader.attempt(
            f"{at}/{k}", partial(gravity_of_day, one, abv_percent, instruments.hydrometer_calibrated_at_c, reader)
        )
        for k, one in enumerate(told.hold_test)
    ]
    tolerance = told.tolerance_abv_percent
    return Rest(
        told.fermentation_finished,
        tuple(one for one in readings if one is not None),
        instruments.hydrometer_error,
        None if tolerance is None else float(tolerance),
    )


def _stored(circumstances: Circumstances, stored: float | None, reader: Reader) -> Circumstances:
    """Circumstances with the storage temperature of the request."""
    intended = circumstances.intended
    if stored is None:
        return circumstances
    if intended.storage_temperature_c is not None and abs(intended.storage_temperature_c - stored) > 1e-6:
        fault = InconsistentError("It differs from the storage temperature of intended: leave one of them out.")
        reader.faults.append(fault.below("/storage_temperature"))
    return replace(circumstances, intended=replace(intended, storage_temperature_c=stored))


def _usual(
    given: PackagingPlanRequest, circumstances: Circumstances
) -> tuple[tuple[ContainerAsked, ...], Circumstances]:
    """The containers of a request that names none, with what was assumed."""
    on_gas = given.gas.volumes is not None or given.gas.gauge is not None or given.gas.nitrogen is not None
    kind = circumstances.intended.container or ("keg" if on_gas else "bottle")
    fill = _USUAL_FILL_ML.get(kind, _USUAL_FILL_ML["bottle"])[circumstances.system == "us"]
    known = cast("ContainerKind", kind if kind in _USUAL_FILL_ML else "bottle")
    container = ContainerAsked(known, fill, part_filled=known == "keg")
    told = Assumed(
        "containers",
        name_of(container, circumstances.system),
        "our default; a bottle of no stated kind has no pressure rating",
        "say which containers: kind, size and rated pressure",
    )
    return (container,), replace(circumstances, assumed=(*circumstances.assumed, told))


def _distinct(containers: tuple[ContainerAsked, ...], circumstances: Circumstances) -> None:
    seen: set[str] = set()
    for place, container in enumerate(containers):
        name = name_of(container, circumstances.system)
        if name in seen:
            raise InputError(f"{name} stands here twice: one line for each kind and size.", f"/containers/{place}")
        seen.add(name)


def _settled(losses: Losses, drink: Drink) -> Losses:
    """Losses whose settled layer is reckoned from the juice in the drink, where an estimate was asked for."""
    if drink.materials:
        return settled(losses, drink.materials, [material.least_g for material in drink.materials])
    return settled_by_figures(losses, drink.citrus_percent, drink.juice_percent)


def _positive_ml(text: str, pointer: str, reader: Reader) -> float:
    found = reader.quantity(text, VOLUME, pointer, liquid=True).value_base
    if found <= 0.0:
        raise InputError("A volume is larger than zero.", pointer)
    return found


def _ml(text: str | None, pointer: str, reader: Reader) -> float | None:
    return None if text is None else reader.attempt("", lambda: _positive_ml(text, pointer, reader))


def _bar(text: str, pointer: str, reader: Reader) -> float:
    return reader.quantity(text, PRESSURE, pointer).value_base / _KPA_PER_BAR
