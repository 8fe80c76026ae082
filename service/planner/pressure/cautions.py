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
from service.physics.carbon_dioxide import HIGHEST_BAR, SHARE_OF_ERROR, STILL_BAR_20C, US_STILL_G_PER_L
from service.physics.carbon_dioxide import SOURCE_KEY as GAS_SOURCE
from service.physics.headspace import LEAST_HEADSPACE_SHARE
from service.planner.acidity_cautions import HIGH_PH, STOP_PH, high_ph
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.drink import Drink, fermented
from service.planner.pressure.answers import HurdleHeld, PressureAt, Rating
from service.planner.pressure.asked import Closed, Rest
from service.planner.pressure.gas import NEVER_WITH_SUGAR, UNRATED_BAR, WORDS, gas_of, rating_words, temperature_words
from service.planner.pressure.hurdles import KILLING, SALTS
from service.planner.pressure.room import headspace_too_small
from service.planner.raw_juice import RAW_JUICE, juice_cautions
from service.planner.refermentation import (
    FERMENTABLE_LIMIT_G_PER_L,
    WARM_C,
    hurdles_named,
    may_referment,
    stabiliser_cautions,
    warm_storage,
)
from service.planner.stabilising.blocks import LEAST_DAYS, moving_ferment, ph_block, rest_fault
from service.planner.stabilising.cautions import WEAK_PH, weak_hurdles
from service.planner.stabilising.limits import over

_INSTEAD: Final = "Do not seal it"
FAR_G_PER_L: Final = 10.0
"""By how much more sugar than expected there may be before that alone forbids closing it up [g/L] (our default)."""


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
    killed = any(one.counted and one.hurdle in KILLING for one in held)
    ferment = list(_ferment(drink, rest, hurdles, killed))
    yield from ferment
    yield from _raw_juice(drink, hurdles, held)
    yield from _sugar(drink, closed, full, hurdles, holds, rating, at_rest=not ferment)
    yield from _container(drink, closed, baseline, worst, rating, holds)
    yield from _salts(drink, hurdles, market)
    if drink.ph is not None and drink.ph.high > STOP_PH:
        yield ph_block(drink.ph.high).caution
    elif drink.ph is not None and drink.ph.high > HIGH_PH:
        yield high_ph(drink.ph.high)
    if closed.storage_c is not None and closed.storage_c > WARM_C:
        yield warm_storage(closed.storage_c)
    if closed.headspace < LEAST_HEADSPACE_SHARE - 1e-9:
        yield headspace_too_small(closed.headspace)
    yield from _about_gas(drink, closed, worst, full)


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


def _ferment(drink: Drink, rest: Rest, hurdles: Collection[str], killed: bool) -> Iterator[Caution]:
    if any(lot.on_lees for lot in drink.lots):
        yield Caution(
            "yeast_still_active",
            "stop",
            f"A lot still stands on its lees, and yeast goes along: rack it first. A closed container would burst "
            f"unless two gravities {LEAST_DAYS} days apart are equal.",
            PRACTICE,
        )
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
    elif rest.finished is None and SALTS & set(hurdles) and not killed and _may_be_sweet(drink):
        yield moving_ferment().caution
    elif rest.finished is None:
        yield Caution(
            "end_of_ferment_not_shown",
            "warning",
            f"Nothing shows that the ferment has ended: close up only after two equal gravities {LEAST_DAYS} days "
            "apart or more.",
            PRACTICE,
        )


def _may_be_sweet(drink: Drink) -> bool:
    return drink.fermentable_sugar_g_per_l.high > FERMENTABLE_LIMIT_G_PER_L


def _raw_juice(drink: Drink, hurdles: Collection[str], held: Sequence[HurdleHeld]) -> Iterator[Caution]:
    """Raw juice, unless heat that counts was given to the whole in its container."""
    killed = any(one.counted and one.hurdle == "pasteurised" for one in held)
    lasting = (SALTS & set(hurdles)) | ({"pasteurised"} if killed else set())
    yield from (caution for caution in juice_cautions(drink, lasting) if caution.code in RAW_JUICE)


def _sugar(
    drink: Drink,
    closed: Closed,
    full: PressureAt,
    hurdles: Collection[str],
    holds: bool,
    rating: Rating,
    *,
    at_rest: bool,
) -> Iterator[Caution]:
    sugar = drink.fermentable_sugar_g_per_l
    where = f"{full.high_bar:.0f} bar at {temperature_words(closed.warmest_c)} if all ferments"
    limit = UNRATED_BAR if rating.rated_bar is None else rating.rated_bar
    if sugar.value <= FERMENTABLE_LIMIT_G_PER_L:
        if sugar.high <= FERMENTABLE_LIMIT_G_PER_L or holds:
            return
        if full.high_bar <= limit or (at_rest and sugar.high - sugar.value <= FAR_G_PER_L):
            yield may_referment(sugar.high)
            return
    much = f"{sugar.high:.0f} g/L fermentable sugar"
    if sugar.value <= FERMENTABLE_LIMIT_G_PER_L:
        much = f"Perhaps {sugar.high:.0f} g/L sugar"
    name = WORDS[closed.kind]
    if not hurdles:
        yield Caution(
            "refermentable_sugar_no_hurdle",
            "stop",
            f"{much} in a {name}, nothing holds yeast: up to {where}; it can burst. Pasteurise or filter.",
            OUR_DEFAULT,
        )
    elif not holds:
        yield Caution(
            "hurdle_does_not_hold",
            "stop",
            f"{much} behind {hurdles_named(hurdles)}: not shown to hold it, up to {where}. Pasteurise, filter or "
            "keep dry.",
            PRACTICE,
        )
    else:
        yield Caution(
            "hurdle_is_not_proof",
            "warning",
            f"{much} rests on {hurdles_named(hurdles)}: up to {where}. No blocker found, no proof: watch a test "
            "bottle.",
            PRACTICE,
        )


def _container(
    drink: Drink, closed: Closed, baseline: PressureAt, worst: PressureAt, rating: Rating, holds: bool
) -> Iterator[Caution]:
    name = WORDS[closed.kind]
    sweet = drink.fermentable_sugar_g_per_l.value > FERMENTABLE_LIMIT_G_PER_L
    known = closed.co2_g_per_l is not None and (closed.kind != "keg" or closed.storage_c is not None)
    measured = rating.exceeded_by_gas_alone and known
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
        bar = max(baseline.high_bar, worst.high_bar)
        whose, source = rating_words(closed)
        yield Caution(
            "pressure_over_rating",
            "stop" if certain else "warning",
            f"{bar:.3g} bar may build up at {temperature_words(closed.warmest_c)}, more than the "
            f"{rating.rated_bar:.3g} bar {whose}: it can burst.",
            source,
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
    bar = gas_of(drink, closed).at(20.0, closed.all_co2).high_bar
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
