"""What happens in a closed container if the drink warms, and if what is left of its sugar ferments."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from typing import Final

from service.chemistry.sulfite_limits import Market
from service.errors import OutOfRangeError
from service.model.lot_class import Assumed
from service.physics.carbon_dioxide import (
    ATMOSPHERE_BAR,
    ERROR_SOURCE_KEY,
    SHARE_OF_ERROR,
    closed_co2_g_per_l,
    sugar_within_tolerance_g_per_l,
)
from service.physics.headspace import LEAST_HEADSPACE_SHARE
from service.planner.answers import Caution, NextReading
from service.planner.cautions import sorted_once
from service.planner.drink import Drink, fermented
from service.planner.pressure.answers import HeatReport, PressureAt, Refermentation, SugarToReach
from service.planner.pressure.asked import Closed, Rest
from service.planner.pressure.cautions import ERROR_TEXT, sealing_cautions
from service.planner.pressure.gas import (
    bar_words,
    co2_per_g_of_sugar,
    gas_of,
    level_words,
    rating_of,
    temperature_words,
)
from service.planner.pressure.hurdles import hurdles_held
from service.planner.pressure.room import check_closed, check_storage, room_cautions, warmed_headspace

NOTHING_SHOWN: Final = Rest()
"""Nothing was said about the ferment or the yeast."""

TABLE_C: Final = (4.0, 20.0, 30.0)
TABLE_SUGAR_G_PER_L: Final = (0.0, 2.0, 4.0)
REACH_BAR: Final = (3.0, 6.0)

_GRAVITY_PER_G_PER_L: Final = 0.00047
"""Fall of gravity for 1 g/L of hexose that ferments (computed)."""

_HOLD_TEST_C: Final = 25.0
_PH_TEXT: Final = (
    "Read the pH of a degassed sample: above 4.6 dangerous bacteria can grow, and hurdles are judged by it."
)


def refermentation(
    drink: Drink,
    closed: Closed,
    hurdles: Collection[str] = (),
    rest: Rest = NOTHING_SHOWN,
    heat: HeatReport | None = None,
    market: Market = Market.NONE,
) -> Refermentation:
    """Pressure if the closed drink warms and if it ferments again, and whether anything speaks against closing it.

    C = c₀ + g·ΔS, P = C/[k(T, A, S) + h·44.0095/(R·T)]; the worst case burns the least of the fermentable sugar, by
    its upper end, and the sugar that the yeast's tolerance leaves it, from the lower end of the strength.

    Parameters: drink; closed, the container; hurdles stated, of `HURDLES`; rest, what shows that the ferment has
        ended; heat, what a temperature log gave, where the drink was pasteurised; market, for the limit of sorbic acid.
    Returns: Refermentation. The verdict is at best that this check found no blocker.
    Raises: OutOfRangeError for a drink or a temperature beyond the law of solubility; InputError for an unknown hurdle.
    Validity: within 7 %; above 10 bar an order of magnitude.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37; levels are our default.
    """
    _check(closed, rest)
    warmest = closed.warmest_c
    gas = gas_of(drink, closed)
    per_g, most_per_g = co2_per_g_of_sugar(drink)
    sugar = max(drink.fermentable_sugar_g_per_l.high, 0.0)
    least_abv = max(drink.abv_percent.low, 0.0)
    tolerance = rest.tolerance_abv_percent
    tolerated = sugar if tolerance is None else sugar_within_tolerance_g_per_l(tolerance, least_abv)
    burned = min(sugar, tolerated)

    def at(temperature_c: float, burned_g_per_l: float) -> PressureAt:
        return gas.at(
            temperature_c,
            closed.all_co2 + per_g * burned_g_per_l,
            closed.all_co2 + most_per_g * burned_g_per_l,
            burned_g_per_l,
        )

    baseline, worst, full = at(warmest, 0.0), at(warmest, burned), at(warmest, sugar)
    held = hurdles_held(drink, hurdles, heat)
    rating = rating_of(closed, baseline, full)  # a tolerance printed on a packet is a claim, no limit
    room = warmed_headspace(drink, closed, warmest, LEAST_HEADSPACE_SHARE)
    told = sealing_cautions(drink, closed, rest, hurdles, held, full, worst, baseline, rating, market)
    cautions = sorted_once([*told, *room_cautions(closed, room)])
    blockers = tuple(caution.text for caution in cautions if caution.level == "stop")
    temperatures = sorted({*TABLE_C, warmest})
    sugars = sorted({s for s in TABLE_SUGAR_G_PER_L if s < sugar} | {0.0, round(burned, 6), round(sugar, 6)})
    return Refermentation(
        verdict="do_not_seal" if blockers else "no_blocker_found",
        text=_verdict_text(cautions, full),
        blockers=blockers,
        baseline=baseline,
        increment_bar=round(worst.pressure_bar - baseline.pressure_bar, 4),
        worst=worst,
        full=full,
        table=tuple(at(t, s) for s in sugars for t in temperatures),
        sugar_to_reach=tuple(_to_reach(drink, closed, most_per_g, at, sugar)),
        fermentable_sugar_g_per_l=round(sugar, 3),
        can_ferment_g_per_l=round(burned, 3),
        limited_by="sugar" if burned >= sugar else "tolerance",
        co2_before_g_per_l=closed.co2,
        headspace_share=closed.headspace,
        warm_headspace=room,
        warmest_c=warmest,
        alcohol_text=_alcohol(drink, tolerance, tolerated, sugar),
        hurdles=held,
        rating=rating,
        cautions=cautions,
        assumed=tuple(_assumed(drink, closed)),
        next_reading=tuple(_readings(drink, sugar)),
    )


def _check(closed: Closed, rest: Rest) -> None:
    check_storage(closed.warmest_c)
    check_closed(closed)
    tolerance = rest.tolerance_abv_percent
    if tolerance is not None and not 0.0 <= tolerance <= 25.0:
        raise OutOfRangeError(
            f"A yeast that stands {tolerance:g} % vol is not known: 0 to 25.", "/tolerance_abv_percent"
        )


def _verdict_text(cautions: Sequence[Caution], full: PressureAt) -> str:
    """The verdict and what full refermentation would do, on one line."""
    codes = [c.code.replace("_", " ") for c in cautions if c.level == "stop"]
    ends = (
        f"if all its sugar ferments it reaches {bar_words(full.pressure_bar)}, perhaps {full.high_bar:.3g} bar, at "
        f"{temperature_words(full.temperature_c)}: {level_words(full.high_bar)}."
    )
    return f"Do not seal it ({', '.join(codes)}); {ends}" if codes else f"No blocker found by this check; {ends}"


def _to_reach(
    drink: Drink, closed: Closed, most_per_g: float, at: Callable[[float, float], PressureAt], sugar: float
) -> Iterator[SugarToReach]:
    """By the upper ends: the law 7 % low, and the sugar sucrose where its kind is not known."""
    off = ATMOSPHERE_BAR if closed.purged else 0.0
    for temperature in sorted({20.0, closed.warmest_c}):
        for bar in REACH_BAR:
            partial = (bar + off) / (1.0 + SHARE_OF_ERROR)
            gas = closed_co2_g_per_l(
                partial, temperature, drink.abv_percent.value, drink.sugar_g_per_l.high, closed.headspace
            )
            needed = max(gas - closed.all_co2, 0.0) / most_per_g
            yield SugarToReach(
                bar,
                temperature,
                round(needed, 3),
                round(_GRAVITY_PER_G_PER_L * needed, 5),
                at(temperature, sugar).high_bar >= bar,
            )


def _alcohol(drink: Drink, tolerance: float | None, tolerated: float, sugar: float) -> str:
    least = max(drink.abv_percent.low, 0.0)
    if tolerance is None:
        return (
            f"Alcohol does not protect this batch: no tolerance of the yeast was stated, so all {sugar:.3g} g/L count "
            "as what it can burn."
        )
    if tolerated > 0.0:
        return (
            f"Alcohol does not protect this batch: from {least:.1f} % vol a yeast that stands {tolerance:g} can burn "
            f"{tolerated:.0f} g/L more."
        )
    return (
        f"Do not lean on alcohol: {least:.1f} % vol is at or above the {tolerance:g} printed for the yeast, which is a "
        "claim and no limit, and other yeasts get in."
    )


def _assumed(drink: Drink, closed: Closed) -> Iterator[Assumed]:
    if closed.co2_g_per_l is None:
        yield Assumed(
            "carbon dioxide in the drink when it is closed",
            f"{closed.co2:g} g/L",
            "our default after racking or degassing; right after a ferment 1.6 at 20 °C or 2.7 at 4 °C (computed)",
            "a carbonation tester, or degas until nothing rises",
        )
    if closed.storage_c is None:
        yield Assumed(
            "warmest storage", f"{closed.warmest_c:g} °C", "our default", "state the warmest place it will see"
        )
    elif closed.storage_c < closed.warmest_c:
        yield Assumed(
            "warmest temperature",
            f"{closed.warmest_c:g} °C",
            f"our default: {closed.storage_c:g} °C does not last through a power cut or the way to a table",
            "a thermometer that keeps its highest reading",
        )
    if closed.headspace_share is None:
        yield Assumed(
            "headspace",
            f"{100.0 * closed.headspace:g} % of the drink",
            "our default",
            "weigh a container filled and brimful",
        )
    if closed.filled_at_c is None:
        yield Assumed(
            "temperature when it is closed",
            f"{closed.closed_at_c:g} °C",
            "our default, the careful side for swelling",
            "a thermometer",
        )
    if drink.ph is None:
        yield Assumed("pH of the drink", "not told, so not judged", "our default", "read it: no line at 4.6 is checked")
    if drink.predicted is None and drink.fermentable_sugar_g_per_l.high > 0.0:
        yield Assumed(
            "kind of fermentable sugar",
            "glucose and fructose, as in honey; sucrose for the upper end",
            "our default; sucrose gives 5 % more gas (formula masses)",
            "a recipe with its amounts",
        )
    yield Assumed(
        "law of solubility",
        ERROR_TEXT,
        f"our default for the drink, see {ERROR_SOURCE_KEY}",
        "a gauge on a test bottle",
    )


def _readings(drink: Drink, sugar: float) -> Iterator[NextReading]:
    if fermented(drink) and sugar > 0.0:
        yield NextReading(
            "Keep a sample warm under an airlock and read its gravity again: 0.001 less is about 2 g/L sugar and half "
            "a volume of gas, so run it until 0.002 would show.",
            "hydrometer",
            None if drink.gravity is None else drink.gravity.value,
            "SG",
            f"{_HOLD_TEST_C:.0f} °C",
            72.0,
        )
    if drink.ph is None:
        yield NextReading(_PH_TEXT, "pH meter, checked in pH 4.01 and 7.00", None, "pH", "20 °C")
    yield NextReading(
        "Squeeze the plastic test bottle, filled and kept with the batch: if it turns hard, chill everything, then "
        "vent or pour back, with eye protection.",
        "one plastic bottle of the batch",
        wait_min_h=24.0,
    )
