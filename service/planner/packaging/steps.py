"""The steps of packaging: what is cleaned, purged, filled first, closed, watched and stored; or done instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from service.planner.answers import PRACTICE, Caution
from service.planner.packaging.answers import ContainerFill
from service.planner.packaging.asked import PackagingAsked
from service.planner.packaging.counted import Counted, volume_words
from service.planner.pressure.answers import HeatReport, KegGas
from service.planner.pressure.gas import temperature_words
from service.planner.stabilising.blocks import LEAST_DAYS
from service.planner.work import WorkStep

SENTINEL_DAYS: Final = 14.0
"""Days that the plastic bottle is kept warm and felt before it says anything (common practice, no source)."""

SETTLE_H: Final = 48.0
"""Hours cold that a jar test or a blend needs to settle at least (common practice, no source)."""

_ALIVE: Final = frozenset(
    {
        "yeast_still_active",
        "gravity_falling_in_hold_test",
        "hold_test_too_short",
        "readings_of_gravity_disagree",
        "raw_juice_after_stabilising",
    }
)
SUGAR_CODES: Final = frozenset({"refermentable_sugar_no_hurdle", "hurdle_does_not_hold"})
"""Stops that a hurdle which holds would settle."""

_CONTAINER_CODES: Final = frozenset(
    {
        "container_without_rating",
        "pressure_over_rating",
        "container_full_when_warm",
        "container_full_when_heated",
        "heating_carbonated",
        "keg_over_pressure",
    }
)


def steps_of(
    asked: PackagingAsked,
    fills: Sequence[ContainerFill],
    count: Counted | None,
    keg: KegGas | None,
    heat: HeatReport | None,
    stops: Sequence[Caution],
) -> tuple[WorkStep, ...]:
    """What to do, in order; where something speaks against closing it up, what to do instead.

    Parameters: asked; fills; count, None where fills were not asked for; keg; heat; stops, cautions that forbid it.
    Returns: steps.
    """
    if stops:
        return tuple(_instead(stops))
    if count is None or not any(fill.count for fill in fills):
        return tuple(replace(step) for step in keg.steps) if keg is not None and count is None else ()
    return tuple(_filling(asked, fills, count, keg, heat))


def _instead(stops: Sequence[Caution]) -> Iterator[WorkStep]:
    codes = {caution.code for caution in stops}
    yield WorkStep(
        "Close nothing up yet: keep the drink cold, in a vessel with an airlock or a relief valve.",
        "",
        0.0,
        f"What speaks against it: {', '.join(sorted(code.replace('_', ' ') for code in codes))}.",
        PRACTICE,
    )
    if codes & _ALIVE:
        yield WorkStep(
            "Wait, then read the gravity of a degassed sample that was kept warm.",
            "",
            24.0 * LEAST_DAYS,
            f"Two equal readings {LEAST_DAYS} days apart or more; then rack and ask again with `hold_test`.",
            PRACTICE,
        )
    if codes & SUGAR_CODES:
        yield WorkStep(
            "Choose what holds the sugar: pasteurise in rated containers, filter sterile, or stabilise where a printed "
            "dose exists; or keep it in a keg with a relief valve, cold, and drink it soon.",
            "",
            0.0,
            "Ask again with the hurdle in `intended.hurdles`, or with `heat`.",
            PRACTICE,
        )
    if codes & _CONTAINER_CODES:
        yield WorkStep(
            "Change the containers: ones whose maker states a pressure above what is told, with more headspace.",
            "",
            0.0,
            "The rating is printed or embossed, the glass without scratches; ask again with `rated_pressure`.",
            PRACTICE,
        )


def _filling(
    asked: PackagingAsked,
    fills: Sequence[ContainerFill],
    count: Counted,
    keg: KegGas | None,
    heat: HeatReport | None,
) -> Iterator[WorkStep]:
    system = asked.circumstances.system
    if asked.losses is not None and (asked.losses.estimate or asked.losses.settling is not None):
        yield WorkStep(
            "Let the blend settle cold, then draw the clear drink off.",
            "",
            SETTLE_H,
            f"About {volume_words(count.packaged_l.value, system)} run clear; what stays below is as reckoned.",
            PRACTICE,
        )
    used = [fill for fill in fills if fill.count]
    ready = ", ".join(f"{fill.count_high or fill.count} × {fill.name}" for fill in used)
    yield WorkStep(
        "Clean and sanitise containers and closures, a few more than expected; throw out chipped or scratched glass.",
        ready,
        0.0,
        "Clean, drained, no smell of sanitiser.",
        PRACTICE,
    )
    still = asked.gas.from_keg is None and asked.gas.volumes is None
    yield WorkStep(
        "Drive the air out of the containers with nitrogen or carbon dioxide if you can; ventilate the room."
        if still
        else "Purge keg and bottles with carbon dioxide before they are filled; ventilate the room.",
        "",
        0.0,
        "Less air keeps colour and aroma; nothing is left under pressure.",
        PRACTICE,
    )
    yield WorkStep(
        "Fill one plastic bottle first and keep it warm, apart: it feels hard when pressure builds up."
        if heat is None
        else "Fill one plastic bottle first, not to be heated, and keep it apart: it shows whether the yeast is alive.",
        _sentinel_from(asked, fills, count),
        0.0,
        "Squeezed out of air until the drink stands in the neck; a plastic bottle for gassy drinks.",
        PRACTICE,
    )
    for fill in sorted(used, key=lambda fill: fill.wanted is None):
        amount = f"{fill.count} × {fill.fill_text}"
        if fill.part_filled_ml is not None:
            amount += f", the last with {volume_words(fill.part_filled_ml / 1000.0, system)}"
        yield WorkStep(
            f"Fill and close: {fill.name}.",
            amount,
            0.0,
            f"{fill.headspace_ml:.0f} mL headspace in each; at least {fill.count_low} are expected.",
            PRACTICE,
        )
    if keg is not None:
        yield from keg.steps
    if heat is not None:
        yield from heat.steps[1:]
    yield WorkStep(
        "Label every container with content, strength and day, and store it cool and dark, upright, in a closed box.",
        "",
        0.0,
        f"Never warmer than {temperature_words(fills[0].thermal_room.warmest_c)}.",
        PRACTICE,
    )
    yield WorkStep(
        "Feel the plastic bottle every few days. If it hardens: chill all, cover, and open outdoors with eye "
        "protection, bottles pointing away.",
        "",
        24.0 * SENTINEL_DAYS,
        "Soft as on the first day; gravity of its drink as when it was filled.",
        PRACTICE,
    )


def _sentinel_from(asked: PackagingAsked, fills: Sequence[ContainerFill], count: Counted) -> str:
    """Where the drink of the test bottle comes from."""
    system = asked.circumstances.system
    if asked.reserve_ml:
        return f"from the reserve of {volume_words(asked.reserve_ml / 1000.0, system)}"
    if any(fill.kind == "plastic_bottle" and fill.count for fill in fills):
        return "one of the plastic bottles"
    if count.filling.left_ml >= 100.0:
        return f"from the {volume_words(count.filling.left_ml / 1000.0, system)} left over"
    return "instead of one of the containers: nothing is left over for it"
