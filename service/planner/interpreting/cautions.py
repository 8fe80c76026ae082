"""Cautions of readings: what a figure does not say, what hurts, and what must not be done yet.

Each at most thirty words, with the key of its source. Nothing here ever says that a drink is harmless.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from service.planner.acidity_cautions import too_little_acid
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.interpreting.answers import AcidityReport, Mismatch, PhReport
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import Strengths
from service.planner.interpreting.sugar import SugarFound
from service.planner.interpreting.trend import SWEET_DROP, Rest
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS

_EXTRACT_FROM_BELOW: Final = -1.0

SWEET_FROM_SG: Final = 1.005
"""From here on a fermented drink tastes of sugar that was left, or went in (judged)."""


def cautions_of(
    asked: ReadingsAsked,
    strengths: Strengths,
    sugar: SugarFound | None,
    rest: Rest,
    acidity: AcidityReport | None,
    ph: PhReport | None,
    mismatch: Mismatch | None,
) -> tuple[Caution, ...]:
    """All cautions of an answer, `stop` first."""
    return sorted_once(
        [
            *_ferment(asked, rest, sugar),
            *_strength(asked, strengths, falling=rest.fermentation == "falling"),
            *_sugar(asked, sugar),
            *_acid(asked, acidity),
            *_ph(ph),
            *_recipe(mismatch),
            *_always(asked, strengths),
        ]
    )


def _ferment(asked: ReadingsAsked, rest: Rest, sugar: SugarFound | None) -> Iterator[Caution]:
    if rest.fermentation == "falling":
        yield Caution(
            "still_fermenting",
            "stop",
            "Gravity still falls: do not seal, stabilise or sweeten. A sealed container of a moving ferment can burst.",
            PRACTICE,
        )
    elif rest.rose:
        yield Caution(
            "gravity_rose",
            "warning",
            "Gravity rose, which no ferment does: degas, correct for temperature, and read twice again before you rely "
            "on it.",
            OUR_DEFAULT,
        )
    elif rest.fermentation == "unknown" and (asked.series or asked.steady_days is not None):
        yield Caution(
            "hold_test_too_short",
            "warning",
            f"The readings span less than {LEAST_DAYS} days: nothing shows yet that the ferment rests.",
            OUR_DEFAULT,
        )
    elif rest.fermentation == "unknown" and not asked.juice and sugar is not None and sugar.drop.high >= SWEET_DROP:
        yield Caution(
            "nothing_shows_rest",
            "warning",
            f"Nothing shows that it rests, and up to {sugar.drop.high / 0.00047:.0f} g/L of sugar may be left, enough "
            "to burst a sealed container: two equal gravities days apart first.",
            PRACTICE,
        )
    if rest.fell_lately:
        yield Caution(
            "slow_fall_not_excluded",
            "warning",
            f"Gravity fell within the last {SLOW_DAYS} days, though the last readings are equal: stabilise or seal "
            f"only when {SLOW_DAYS} days show no fall.",
            OUR_DEFAULT,
        )
    if rest.fermentation == "steady" and sugar is not None and sugar.drop.high >= SWEET_DROP:
        yield Caution(
            "at_rest_is_not_finished",
            "warning",
            f"At rest is not finished: up to {sugar.drop.high / 0.00047:.0f} g/L of sugar may be left, enough to burst "
            f"a sealed container. Warm it, and read for {SLOW_DAYS} days.",
            OUR_DEFAULT,
        )


def sweetened_perhaps(final_gravity: float) -> Iterator[Caution]:
    """What two gravities do not tell of a drink that is sweet now: the sugar may have gone in between them."""
    if final_gravity >= SWEET_FROM_SG:
        yield Caution(
            "sweetened_after_first_reading",
            "warning",
            "Was it sweetened after the first reading? Then the two gravities no longer tell its strength: use those "
            "from before, or a laboratory's figure.",
            PRACTICE,
        )


def _strength(asked: ReadingsAsked, strengths: Strengths, *, falling: bool) -> Iterator[Caution]:
    if asked.original is not None and asked.changed and not asked.juice:
        yield Caution(
            "original_gravity_says_nothing",
            "warning",
            "Something went in after the original gravity was read: two gravities then say nothing of the strength.",
            PRACTICE,
        )
    if asked.refractometer is not None and not asked.juice:
        yield Caution(
            "refractometer_reads_alcohol",
            "note",
            "A refractometer reads alcohol as sugar: alone its figure is no sugar and no gravity of this drink.",
            "crc_2021",
        )
        read = asked.refractometer
        if read.sample_c is not None and read.sample_c != 20.0:
            yield Caution(
                "compensation_is_for_sugar",
                "note",
                "Temperature corrections of a refractometer, its own too, are made for sugar in water; with alcohol "
                "read at 20 °C.",
                "oiv_as2_02",
            )
    used = strengths.used
    if used is not None and used.method == "two_gravities" and asked.sweetened is None and not falling:
        yield from sweetened_perhaps(used.found.gravity)
    if used is not None and used.method == "hydrometer_and_refractometer":
        yield Caution(
            "strength_is_a_check",
            "warning",
            f"This strength is known to ±{used.error:.1f} % vol only: no figure for a label or a legal line; a "
            "laboratory distils.",
            OUR_DEFAULT,
        )
    for method in strengths.impossible:
        yield Caution(
            "readings_contradict",
            "warning",
            f"By {method.replace('_', ' ')} the readings contradict each other: see there, and read them again from "
            "one degassed sample.",
            OUR_DEFAULT,
        )
    apart = strengths.apart()
    if apart is not None:
        _, second, gap = apart
        which = "The two gravities" if second.method == "two_gravities" else "Hydrometer and refractometer"
        yield Caution(
            "strengths_disagree",
            "warning",
            f"{which} give {abs(gap):.1f} % vol {'more' if gap > 0 else 'less'} than the strength "
            "used: something was added, or a reading is off.",
            OUR_DEFAULT,
        )


def _sugar(asked: ReadingsAsked, sugar: SugarFound | None) -> Iterator[Caution]:
    if sugar is None or asked.juice:
        return
    if sugar.report.extract_g_per_l.value < _EXTRACT_FROM_BELOW:
        yield Caution(
            "extract_below_nothing",
            "warning",
            "Gravity and strength leave less than no extract: one of them is off; check the hydrometer in water.",
            "arithmetic",
        )
    if asked.residual_sugar_g_per_l is None:
        yield Caution(
            "gravity_is_no_sugar_test",
            "note",
            "A gravity is no sugar test: alcohol hides sugar, and SG 1.000 does not mean none. A reducing-sugar test "
            "tells.",
            PRACTICE,
        )


def _acid(asked: ReadingsAsked, acidity: AcidityReport | None) -> Iterator[Caution]:
    read = asked.acidity
    if read is None or acidity is None:
        return
    if read.degassed is not True:
        yield Caution(
            "gas_counts_as_acid",
            "warning" if read.degassed is False else "note",
            f"Dissolved carbon dioxide titrates like acid, up to {acidity.co2_could_add_g_per_l_citric:.1f} g/L as "
            "citric: degas, or heat the sample and let it cool, and titrate again.",
            "minteq_v4",
        )
    if read.titrated_here:
        yield Caution(
            "sodium_hydroxide",
            "note",
            "Sodium hydroxide burns skin and eyes: wear eye protection, rinse spills with much water, and never drink "
            "the sample.",
            PRACTICE,
        )


def _ph(ph: PhReport | None) -> Iterator[Caution]:
    if ph is not None:
        yield from too_little_acid(ph.value, ph.high)


def _recipe(mismatch: Mismatch | None) -> Iterator[Caution]:
    if mismatch is None or mismatch.consistency.verdict == "consistent":
        return
    if mismatch.consistency.verdict == "inconsistent":
        yield Caution(
            "readings_do_not_fit",
            "warning",
            "The readings do not fit what was expected: find out what is off and read again before adding.",
            OUR_DEFAULT,
        )
        return
    yield Caution(
        "readings_hardly_fit",
        "warning",
        "The readings hardly fit what was expected: read again before anything is added.",
        OUR_DEFAULT,
    )


def _always(asked: ReadingsAsked, strengths: Strengths) -> Iterator[Caution]:
    used = strengths.used
    if not asked.juice and not (used is not None and used.strength.high <= 0.0):
        yield ALCOHOL
    yield Caution(
        "estimate",
        "note",
        "Estimates from readings and tables: verify by measurement; follow local law and licensed practice.",
        OUR_DEFAULT,
    )
