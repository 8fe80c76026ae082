"""The steps of packaging: what is cleaned, purged, filled first, closed, watched and stored; or done instead."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from service.planner.answers import PRACTICE, Caution
from service.planner.packaging.answers import ContainerFill
from service.planner.packaging.asked import PackagingAsked
from service.planner.packaging.closed import Held, keg_disagrees
from service.planner.packaging.counted import Counted, volume_words
from service.planner.pressure.answers import HeatReport, KegGas
from service.planner.pressure.gas import temperature_words
from service.planner.pressure.keg import carbonating_steps
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
        "stabilisers_on_a_moving_ferment",
    }
)
SUGAR_CODES: Final = frozenset({"refermentable_sugar_no_hurdle", "hurdle_does_not_hold"})
"""Stops that a hurdle which holds would settle."""

_CONTAINER_CODES: Final = frozenset(
    {
        "container_without_rating",
        "pressure_over_rating",
        "squeezed_headspace",
        "container_full_when_warm",
        "container_full_when_heated",
        "heated_pressure_over_rating",
        "heating_carbonated",
        "keg_over_pressure",
        "keg_over_pressure_when_warm",
    }
)

_HEAT_CODES: Final = frozenset({"container_full_when_heated", "heated_pressure_over_rating", "heating_carbonated"})
_SALT_CODES: Final = frozenset({"total_so2_over_limit", "sorbic_acid_over_limit"})


def steps_of(
    asked: PackagingAsked,
    fills: Sequence[ContainerFill],
    count: Counted | None,
    keg: KegGas | None,
    held: Sequence[Held],
    heat: HeatReport | None,
    stops: Sequence[Caution],
) -> tuple[WorkStep, ...]:
    """What to do, in order; where something speaks against closing it up, what to do instead.

    Parameters: asked; fills; count, None where fills were not asked for; keg; held, what each container holds; heat;
        stops, cautions that forbid it, those of the label among them.
    Returns: steps.
    """
    if stops:
        return tuple(_instead(stops))
    if count is None or not any(fill.count for fill in fills):
        return tuple(replace(step) for step in keg.steps) if keg is not None and count is None else ()
    return tuple(_filling(asked, fills, count, keg, held, heat))


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
            f"Two equal readings {LEAST_DAYS} days apart or more; then rack, and ask again with both readings.",
            PRACTICE,
        )
    if codes & SUGAR_CODES:
        yield WorkStep(
            "Choose what holds the sugar: pasteurise in rated containers, filter sterile, or stabilise where a printed "
            "dose exists; or keep it in a keg with a relief valve, cold, and drink it soon.",
            "",
            0.0,
            "Ask again, naming what is to hold the yeast, or with the heat.",
            PRACTICE,
        )
    if "raw_juice_after_stabilising" in codes:
        yield WorkStep(
            "Heat-treat the whole in its containers, or take juice that was: raw juice brings yeast and bacteria back.",
            "",
            0.0,
            "Ask again with the heat, or with the treatment of the juice.",
            PRACTICE,
        )
    if codes & _SALT_CODES:
        yield WorkStep(
            "Thin it with drink that holds none of the salt, then measure it again: nothing takes it out at home.",
            "",
            0.0,
            "Below the limit of the market by a laboratory or a test; ask again with that figure.",
            PRACTICE,
        )
    if "ph_above_4_6" in codes:
        yield WorkStep(
            "Acidify it, stir, and measure the pH.", "", 0.0, "Clearly below 4.6, better below 3.8.", PRACTICE
        )
    if "vessel_too_small" in codes:
        yield WorkStep("Split it over two vessels.", "", 0.0, "Each has room to stir.", PRACTICE)
    if codes & _HEAT_CODES:
        yield WorkStep(
            "Heat no container so: leave more headspace, fill less cold, take a lower temperature for longer, or "
            "containers rated for more; still drink only.",
            "",
            0.0,
            "Ask again with the headspace, the fill and heat temperatures or the rating.",
            PRACTICE,
        )
    if codes & _CONTAINER_CODES:
        yield WorkStep(
            "Change the containers: ones whose maker states a pressure above what is told, with more headspace.",
            "",
            0.0,
            "The rating is printed or embossed, the glass without scratches; ask again with that rating.",
            PRACTICE,
        )


def _filling(
    asked: PackagingAsked,
    fills: Sequence[ContainerFill],
    count: Counted,
    keg: KegGas | None,
    held: Sequence[Held],
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
    from_keg = asked.gas.from_keg is not None
    source, others = _keg_steps(asked, keg, held)
    for fill in sorted(used, key=lambda fill: (from_keg and fill.kind != "keg", fill.wanted is None)):
        if from_keg and fill.kind != "keg":
            yield from source
            source = ()
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
        yield from (*source, *others)
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


def _keg_steps(
    asked: PackagingAsked, keg: KegGas | None, held: Sequence[Held]
) -> tuple[tuple[WorkStep, ...], tuple[WorkStep, ...]]:
    """The keg that is filled from: chilled, on gas, at rest, before any bottle is filled; and any other keg."""
    own = () if keg is None else keg.steps
    bottled = next((one.cold_filled for one in held if one.cold_filled is not None), None)
    if bottled is None:
        return (), own
    if keg is not None and not keg.still and keg_disagrees(asked) is None:
        return own, ()
    return tuple(carbonating_steps(bottled.keg_gauge_bar, bottled.filled_at_c)), own


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
