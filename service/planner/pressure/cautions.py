"""Cautions about a drink that is closed up: what forbids it, with the pressure, and how to handle what may burst.

Codes and texts that other questions raise too come from where those are written. Nothing here ever says that a drink
is harmless.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import Final

from service.chemistry.sorbate import sorbic_limit
from service.chemistry.sulfite_limits import Market
from service.model.lot_class import JUICE_ROW
from service.physics.carbon_dioxide import HIGHEST_BAR, SHARE_OF_ERROR, STILL_BAR_20C, US_STILL_G_PER_L
from service.physics.carbon_dioxide import SOURCE_KEY as GAS_SOURCE
from service.physics.headspace import LEAST_HEADSPACE_SHARE
from service.planner.acidity_cautions import STOP_PH
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import juice_and_spirit_cautions, raw_juice
from service.planner.drink import Drink, fermented
from service.planner.pressure.answers import HurdleHeld, PressureAt, Rating
from service.planner.pressure.asked import Closed, Rest
from service.planner.pressure.gas import NEVER_WITH_SUGAR, WORDS, Gas, temperature_words
from service.planner.pressure.hurdles import SALTS
from service.planner.refermentation import (
    FERMENTABLE_LIMIT_G_PER_L,
    WARM_C,
    may_referment,
    stabiliser_cautions,
    warm_storage,
)
from service.planner.stabilising.blocks import LEAST_DAYS, ph_block, rest_fault
from service.planner.stabilising.cautions import WEAK_PH, weak_hurdles
from service.planner.stabilising.limits import over

_INSTEAD: Final = "Do not seal it"
_RAW: Final = ("raw_juice", "raw_juice_after_stabilising")


def sealing_cautions(
    drink: Drink,
    closed: Closed,
    rest: Rest,
    hurdles: Collection[str],
    held: Sequence[HurdleHeld],
    full: PressureAt,
    worst: PressureAt,
    baseline: PressureAt,
    rating: Rating,
    market: Market,
) -> Iterator[Caution]:
    """All that speaks against closing the drink up, or that has to be said with it."""
    holds = any(one.counted for one in held)
    yield from _ferment(drink, rest)
    yield from _raw_juice(drink, hurdles)
    yield from _sugar(drink, closed, full, hurdles, holds)
    yield from _container(drink, closed, baseline, worst, rating, holds)
    yield from _salts(drink, hurdles, market)
    if drink.ph is not None and drink.ph.high > STOP_PH:
        yield ph_block(drink.ph.high).caution
    if closed.storage_c is not None and closed.storage_c > WARM_C:
        yield warm_storage(closed.storage_c)
    if closed.headspace < LEAST_HEADSPACE_SHARE - 1e-9:
        yield headspace_too_small(closed.headspace, LEAST_HEADSPACE_SHARE)
    yield from _about_gas(drink, closed, worst, full)


def headspace_too_small(share: float, least: float) -> Caution:
    """Too little room above the drink, both as a share of its volume."""
    return Caution(
        "headspace_too_small",
        "warning",
        f"A headspace of {100.0 * share:.2g} % is less than {100.0 * least:.2g} %: the drink swells as it warms and "
        "squeezes what air there is. Fill less.",
        OUR_DEFAULT,
    )


def priming_refused(hurdles: Collection[str]) -> Caution:
    """Why no sugar goes into bottles for carbonation, whether the batch was stabilised or not."""
    text = (
        "No priming: yeast held by stabilisers, heat or filtration does not carbonate, or starts late and unevenly. "
        "Carbonate in a keg."
        if set(hurdles) - {"cold"}
        else "No priming: yeast does not stop at the priming sugar but ferments the sweetness too, and bottles burst. "
        "Carbonate in a keg."
    )
    return Caution("priming_refused", "stop", text, PRACTICE)


def _ferment(drink: Drink, rest: Rest) -> Iterator[Caution]:
    fault = rest_fault(rest.readings, rest.hydrometer_error, _INSTEAD)
    if fault is not None:
        code = fault.caution.code
        # the readings, not a salt, are what is too little here
        yield replace(
            fault.caution,
            code="hold_test_too_short" if code == "stabilisers_on_a_moving_ferment" else code,
        )
    elif rest.readings or not fermented(drink):
        return
    elif rest.finished is False:
        yield Caution(
            "yeast_still_active",
            "stop",
            f"The ferment has not ended: a closed container would burst. Wait for two equal gravities {LEAST_DAYS} "
            "days apart, then rack.",
            PRACTICE,
        )
    elif rest.finished is None:
        yield Caution(
            "end_of_ferment_not_shown",
            "warning",
            f"Nothing shows that the ferment has ended: close up only after two equal gravities {LEAST_DAYS} days "
            "apart or more.",
            PRACTICE,
        )


def _raw_juice(drink: Drink, hurdles: Collection[str]) -> Iterator[Caution]:
    killed = "pasteurised" in hurdles
    stabilised = bool(SALTS & set(hurdles)) and not killed
    for one in drink.holds:
        for caution in juice_and_spirit_cautions(
            one.ingredient, one.ingredient.id, one.treatment, stabilised=stabilised
        ):
            if caution.code in _RAW and not killed:
                yield caution
    for lot in drink.lots:
        if lot.lot.lot_class in JUICE_ROW and not killed:
            yield raw_juice(lot.lot.name, "of unknown treatment")


def _sugar(drink: Drink, closed: Closed, full: PressureAt, hurdles: Collection[str], holds: bool) -> Iterator[Caution]:
    sugar = drink.fermentable_sugar_g_per_l
    where = f"{full.high_bar:.0f} bar at {temperature_words(closed.warmest_c)} if all ferments"
    if sugar.value <= FERMENTABLE_LIMIT_G_PER_L:
        if sugar.high > FERMENTABLE_LIMIT_G_PER_L and not holds:
            yield may_referment(sugar.high)
        return
    much = f"{sugar.high:.0f} g/L of fermentable sugar"
    name = WORDS[closed.kind]
    if not hurdles:
        yield Caution(
            "refermentable_sugar_no_hurdle",
            "stop",
            f"{much} closed in a {name} without a hurdle: up to {where}; it can burst. Pasteurise or filter first.",
            OUR_DEFAULT,
        )
    elif not holds:
        yield Caution(
            "hurdle_does_not_hold",
            "stop",
            f"{much} behind {', '.join(sorted(hurdles))}: not shown to hold it, up to {where}. Pasteurise, filter or "
            "keep it dry.",
            PRACTICE,
        )
    else:
        yield Caution(
            "hurdle_is_not_proof",
            "warning",
            f"{much} rests on {', '.join(sorted(hurdles))}: up to {where}. No blocker found, which proves "
            "nothing: watch a test bottle.",
            PRACTICE,
        )


def _container(
    drink: Drink, closed: Closed, baseline: PressureAt, worst: PressureAt, rating: Rating, holds: bool
) -> Iterator[Caution]:
    name = WORDS[closed.kind]
    sweet = drink.fermentable_sugar_g_per_l.value > FERMENTABLE_LIMIT_G_PER_L
    measured = rating.exceeded_by_gas_alone and closed.co2_g_per_l is not None
    certain = measured or (rating.exceeded_if_it_referments and sweet and not holds)
    if rating.rated_bar is None:
        never = closed.kind in NEVER_WITH_SUGAR and sweet
        if never or certain or rating.exceeded_if_it_referments:
            yield Caution(
                "container_without_rating",
                "stop" if never or certain else "warning",
                f"A {name} has no known pressure rating and may have to hold {worst.high_bar:.3g} bar: never with "
                "fermentable sugar or gas. Use pressure-rated containers.",
                PRACTICE,
            )
        return
    if rating.exceeded_if_it_referments or rating.exceeded_by_gas_alone:
        bar = baseline.high_bar if rating.exceeded_by_gas_alone else worst.high_bar
        said = "stated" if rating.stated else "usual for its kind"
        yield Caution(
            "pressure_over_rating",
            "stop" if certain else "warning",
            f"{bar:.3g} bar may build up at {temperature_words(closed.warmest_c)}, more than the "
            f"{rating.rated_bar:.3g} bar {said} for this {name}: it can burst.",
            rating.source_id if not rating.stated else PRACTICE,
        )


def _salts(drink: Drink, hurdles: Collection[str], market: Market) -> Iterator[Caution]:
    yield from stabiliser_cautions(set(hurdles), drink.abv_percent.value, drink.abv_percent.low)
    if SALTS & set(hurdles) and drink.ph is not None and drink.ph.high > WEAK_PH:
        yield weak_hurdles(drink.ph.high)
    limit = sorbic_limit(market)
    sorbic = drink.sorbic_acid_mg_per_l
    if sorbic is not None and over(sorbic, limit.mg_per_l):
        yield Caution(
            "sorbic_acid_over_limit",
            "stop",
            f"{sorbic:.0f} mg/L sorbic acid in the drink is over {limit.mg_per_l:.0f} mg/L "
            f"({limit.regulation.split(';')[0]}, {limit.edition}). Only dilution lowers it.",
            limit.source_key,
        )


def _about_gas(drink: Drink, closed: Closed, worst: PressureAt, full: PressureAt) -> Iterator[Caution]:
    if worst.high_bar >= 1.0:
        yield Caution(
            "handle_bottles_that_may_burst",
            "warning",
            "Failing glass under gas throws fragments 10 m and more: chill and cover a suspicious batch, wear eye "
            "protection, open outdoors, carry no warm bottles.",
            "willhoft_1996",
        )
    if full.pressure_bar > HIGHEST_BAR:
        yield Caution(
            "pressure_beyond_the_law",
            "note",
            "Above 10 bar the law of solubility no longer holds: the figure is an order of magnitude, far beyond what "
            "bottles hold.",
            GAS_SOURCE,
        )
    if closed.co2_g_per_l is not None:
        yield from above_still_lines(drink, closed)


def above_still_lines(drink: Drink, closed: Closed) -> Iterator[Caution]:
    """Where gas that was measured, or put in, takes the drink out of the class of still wine."""
    gas = Gas(drink.abv_percent.value, drink.sugar_g_per_l.high, closed.headspace)
    bar = gas.at(20.0, closed.co2).high_bar
    over_us = closed.co2 > US_STILL_G_PER_L
    if over_us:
        yield Caution(
            "above_still_line_us",
            "note",
            f"{closed.co2:.2f} g/L of carbon dioxide is more than the {US_STILL_G_PER_L:g} g/L of a still wine in the "
            "US (2015 edition): class and tax may change.",
            "cfr27_24_257",
        )
    if bar >= STILL_BAR_20C:
        yield Caution(
            "above_still_line_oiv",
            "note",
            f"Perhaps {bar:.2g} bar at 20 °C: a still wine shows less than {STILL_BAR_20C:g} bar there. Check which "
            "class local law puts it in.",
            "oiv_as314_01",
        )


ERROR_TEXT: Final = f"within {100.0 * SHARE_OF_ERROR:.0f} %, by two published solubilities"
"""How good the pressures are, for `assumed`."""
