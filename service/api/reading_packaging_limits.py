"""What of a packaging request applies to which part of the answer; what would be ignored is refused in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from service.api.reading import Reader
from service.api.reading_drink import only_what_a_drink_takes
from service.api.requests_packaging import PackagingPlanRequest
from service.errors import InconsistentError, InputError
from service.planner.packaging.asked import ContainerAsked, GasAsked, Part

_FAMILY: Final = {
    "bottle": ("bottle", "still_bottle", "beer_bottle", "sparkling_bottle", "swing_top", "plastic_bottle", "growler"),
    "flask": ("flask", "swing_top", "growler"),
}
"""Kinds that a container of `intended` may stand for, where they are more than itself."""

_NO_PRICE: Final = "Only containers have a price here: leave it out."


def parts_of(given: PackagingPlanRequest) -> frozenset[Part]:
    """The parts of the answer that are wanted: as named, or all that the request tells enough for."""
    if given.only is not None:
        return frozenset(given.only)
    parts: set[Part] = {"fills", "pressure", "gas", "label"}
    return frozenset(parts | ({"heat"} if given.heat is not None else set()))


def only_what_applies(given: PackagingPlanRequest, reader: Reader) -> None:
    """Refuse what no part of the answer would use."""
    only_what_a_drink_takes(given, _NO_PRICE, reader)


_OF_PARTS: Final[tuple[tuple[str, frozenset[Part]], ...]] = (
    ("losses", frozenset({"fills"})),
    ("reserve", frozenset({"fills"})),
    ("gas", frozenset({"pressure", "gas", "heat"})),
    ("refermentation", frozenset({"pressure"})),
    ("heat", frozenset({"heat"})),
    ("market", frozenset({"label", "pressure"})),
    ("serving", frozenset({"label"})),
    ("colours", frozenset({"label"})),
    ("fining_agents", frozenset({"label"})),
)


def nothing_unused(given: PackagingPlanRequest, parts: frozenset[Part], reader: Reader) -> None:
    """Refuse fields that belong to a part that is not wanted.

    Parameters: given; parts wanted; reader, which gathers the faults.
    """
    if given.only is None:
        return
    for name, uses in _OF_PARTS:
        if name in given.model_fields_set and getattr(given, name) is not None and not uses & parts:
            told = " or ".join(sorted(uses))
            reader.faults.append(InputError(f"It belongs to {told}, which “only” leaves out.", f"/{name}"))
    if "fills" not in parts:
        for k, container in enumerate(given.containers):
            for name in ("count", "max", "part_filled", "price"):
                if name in container.model_fields_set and getattr(container, name) is not None:
                    fault = InputError("It belongs to fills, which “only” leaves out.", f"/containers/{k}/{name}")
                    reader.faults.append(fault)


def container_agrees(intended: str | None, containers: Sequence[ContainerAsked], reader: Reader) -> None:
    """Refuse a container of `intended` that is none of those to be filled."""
    if intended is None:
        return
    at = "/intended/container"
    if intended == "open":
        reader.faults.append(InputError("An open vessel is not packaged: name the containers it goes into.", at))
    elif not any(container.kind in _FAMILY.get(intended, (intended,)) for container in containers):
        fault = InconsistentError(f"No {intended} is among the containers: leave it out.", at)
        reader.faults.append(fault)


def check_containers(
    given: PackagingPlanRequest, containers: Sequence[ContainerAsked], gas: GasAsked, reader: Reader
) -> None:
    """Refuse gas that no container takes.

    Parameters: given; containers; gas; reader, which gathers the faults.
    """
    kegs = [container for container in containers if container.kind == "keg"]
    if gas.volumes is not None and not kegs:
        reader.faults.append(
            InputError(
                "Bottles are not carbonated here: name a keg among the containers, or say that they are filled from "
                "one (filled_from_keg).",
                "/gas/volumes",
            )
        )
    for name, told in (("temperature", given.gas.temperature), ("gauge", given.gas.gauge)):
        if told is not None and not kegs:
            reader.faults.append(InputError("It is of a keg, and none is among the containers.", f"/gas/{name}"))
    if given.gas.nitrogen is not None and not kegs:
        reader.faults.append(InputError("It is of a keg, and none is among the containers.", "/gas/nitrogen"))
    if gas.from_keg is not None and len(kegs) == len(containers):
        reader.faults.append(
            InputError("Nothing but kegs is filled: name what is filled from the keg.", "/gas/filled_from_keg")
        )
    if gas.co2_g_per_l is not None and gas.volumes is not None and len(kegs) == len(containers):
        reader.faults.append(InputError("In a keg the volumes decide: leave it out.", "/gas/co2_g_per_l"))
    if given.only is not None and "gas" in given.only and not kegs and gas.from_keg is None:
        reader.faults.append(InputError("No keg is among the containers, and none is filled from.", "/only"))
