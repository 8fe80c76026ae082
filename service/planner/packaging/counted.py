"""How many containers are filled after the losses, by the volume itself and by the ends of its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.errors import InconsistentError
from service.planner.losses import Losses, LossReport, blended_l, loss_report, packaged_span
from service.planner.packaging.answers import Outcome
from service.planner.packaging.asked import ContainerAsked, PackagingAsked
from service.planner.packaging.fill import Filling, fill, least_and_most
from service.planner.pressure.gas import WORDS
from service.planner.span import Span
from service.quantities import System, volume_text

_STEP_ML: Final = 10.0
_FILL_STEP_ML: Final = 1.0


@dataclass(frozen=True, slots=True)
class Counted:
    """What is filled: the volume to fill, the filling, counts at the ends of the volume, and what it takes to blend."""

    losses: LossReport | None
    packaged_l: Span
    filling: Filling
    least: tuple[int, ...]
    most: tuple[int, ...]
    outcome: Outcome
    filled_l: float
    needed_blend_l: float
    needed_text: str


def counted(asked: PackagingAsked) -> Counted:
    """The filling of a drink of known volume.

    Parameters: asked.
    Returns: Counted.
    Raises: InconsistentError where losses or the reserve take more than there is; InputError where the filling is too
        large to be solved exactly.
    """
    volume = asked.drink.volume_l
    assert volume is not None  # read with the request
    losses = Losses() if asked.losses is None else asked.losses
    system = asked.circumstances.system
    try:
        to_fill = packaged_span(volume, losses)
    except InconsistentError as error:
        raise error.below("/losses") from error
    reserve_l = asked.reserve_ml / 1000.0
    if reserve_l > to_fill.value:
        raise InconsistentError(
            f"The reserve is more than the {volume_words(to_fill.value, system)} there are to fill: keep back less.",
            "/reserve",
        )
    sizes = [container.size for container in asked.containers]

    def ml(litres: float) -> float:
        return max(litres - reserve_l, 0.0) * 1000.0

    found = fill(ml(to_fill.value), sizes)
    least, most = least_and_most(ml(to_fill.low), ml(to_fill.high), sizes, found)
    held = [_held_l(asked.containers, found, place) for place in range(len(sizes))]
    wish = _wish_l(asked.containers, held)
    needed = blended_l(wish + reserve_l, losses)
    outcome: Outcome = "filled"
    if found.missing_ml > 0.0:
        outcome = "too_little"
    elif not any(found.counts):
        outcome = "nothing_filled"
    return Counted(
        None if asked.losses is None else loss_report(volume, losses, system),
        to_fill,
        found,
        least,
        most,
        outcome,
        sum(held),
        needed,
        _needed(asked, found, needed, volume.value),
    )


def _held_l(containers: Sequence[ContainerAsked], found: Filling, place: int) -> float:
    """Drink in all containers of a kind [L]."""
    number = found.counts[place]
    if place == found.part_of:
        return ((number - 1) * containers[place].fill_ml + (found.part_ml or 0.0)) / 1000.0
    return number * containers[place].fill_ml / 1000.0


def held_l(asked: PackagingAsked, found: Filling) -> tuple[float, ...]:
    """Drink in all containers of each kind [L]."""
    return tuple(_held_l(asked.containers, found, place) for place in range(len(asked.containers)))


def _wish_l(containers: Sequence[ContainerAsked], held: Sequence[float]) -> float:
    """Drink in the counts that were asked for, or else in all that is told [L]."""
    if any(container.count is not None for container in containers):
        return sum((container.count or 0) * container.fill_ml for container in containers) / 1000.0
    return sum(held)


def _needed(asked: PackagingAsked, found: Filling, needed_l: float, blended: float) -> str:
    """What the counts take to blend, and what lacks."""
    system = asked.circumstances.system
    fixed = any(container.count is not None for container in asked.containers)
    numbers = [container.count or 0 for container in asked.containers] if fixed else list(found.counts)
    parts = [
        f"{number} × {fill_words(container.fill_ml, system)}"
        for number, container in zip(numbers, asked.containers, strict=True)
        if number
    ]
    if asked.reserve_ml:
        parts.append(f"{volume_words(asked.reserve_ml / 1000.0, system)} in reserve")
    if not parts:
        return "Nothing is filled."
    text = f"{' and '.join(parts)} take {volume_words(needed_l, system)} blended"
    if needed_l > blended * (1.0 + 1e-9):
        return (
            f"{text}; there are {volume_words(blended, system)}, so {volume_words(needed_l - blended, system)} more "
            "have to be blended."
        )
    return f"{text}."


def volume_words(litres: float, system: System) -> str:
    """A volume of a batch, to 10 mL."""
    return volume_text(1000.0 * litres, system, _STEP_ML)


def fill_words(fill_ml: float, system: System) -> str:
    """The fill of a container, to 1 mL.

    >>> fill_words(330.0, "metric"), fill_words(354.88235475, "us")
    ('330 mL', '12 fl oz (355 mL)')
    """
    return volume_text(fill_ml, system, _FILL_STEP_ML)


def name_of(container: ContainerAsked, system: System) -> str:
    """A container by its size and kind."""
    kind = "bottle" if container.kind == "bottle" else WORDS[container.kind]
    return f"{fill_words(container.fill_ml, system)} {kind}"
