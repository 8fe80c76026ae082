"""The steps of a must in order, and what to read between them. Waits are the least, from common practice."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from service.planner.answers import PRACTICE, Amount, NextReading
from service.planner.asked import Circumstances
from service.planner.must.answers import Feed, Ferment, NutrientDose, Pitch, Stage
from service.planner.must.answers_finished import BaseNeeded
from service.planner.must.feeds import STRONG_STAGES
from service.planner.must.pitch import doubt_of
from service.planner.must.words import litres_words
from service.planner.plain_words import plain_names
from service.planner.work import WorkStep
from service.quantities import System

LAG_H: Final = 12.0
"""End of the lag at the earliest [h]: 12 to 24 h, common practice, no source."""

BETWEEN_FEEDS_H: Final = 12.0
_WAITS_H: Final[dict[Stage, float]] = {
    "end of lag": LAG_H,
    "a day after the first feed": 24.0,
    "two days after the first feed": 24.0,
    "before one third of the sugar is gone": BETWEEN_FEEDS_H,
}
FERMENT_H: Final = 168.0
"""A light must is not read as finished before a week (common practice, no source)."""

APART_H: Final = 72.0
"""Two gravities that are to agree lie three days apart (common practice, no source)."""


def steps_of(
    amounts: Sequence[Amount],
    gravity: float,
    ferment: Ferment,
    feeds: Sequence[Feed],
    pitch: Pitch,
    base: BaseNeeded | None,
    left_out: Sequence[NutrientDose] = (),
    system: System = "metric",
) -> tuple[WorkStep, ...]:
    """What to do with a must, from the honey to the racked base.

    Parameters: amounts of the must; gravity expected; ferment, where it ends; feeds; pitch; base, of a finished drink;
        left_out, nutrients that were given beyond their limit; system, in which volumes are told.
    Returns: steps.
    """
    return tuple(_steps(amounts, gravity, ferment, feeds, pitch, base, left_out, system))


def _steps(
    amounts: Sequence[Amount],
    gravity: float,
    ferment: Ferment,
    feeds: Sequence[Feed],
    pitch: Pitch,
    base: BaseNeeded | None,
    left_out: Sequence[NutrientDose],
    system: System,
) -> Iterator[WorkStep]:
    plain = plain_names([a.name for a in amounts])
    yield WorkStep(
        "Clean and disinfect; weigh everything. Warm the honey gently in a part of the water, never boil it; stir "
        "until nothing lies on the bottom, then stir in the rest.",
        "; ".join(f"{plain[a.name]}: {a.amount_text}" for a in amounts if a.mass_g > 0.0),
        0.0,
        f"Read the gravity at 20 °C, or with its temperature: {gravity:.3f} is expected. Low: honey on the bottom.",
        PRACTICE,
    )
    yield WorkStep(
        "Cool to what the yeast likes, stir air in well, and pitch the yeast, woken as its packet says: no ammonium "
        "salts on dry yeast.",
        pitch.amount_text,
        0.0,
        "Temperature of the must; an airlock or a loose lid; a quarter of the vessel free for foam.",
        PRACTICE,
    )
    if left_out:
        yield WorkStep(
            f"Do not add the {' and '.join(dose.name for dose in left_out)}: what was given is above the limit. Lower "
            "the amount and ask again.",
            "",
            0.0,
            "",
            PRACTICE,
        )
    for stage in STRONG_STAGES:
        portion = [feed for feed in feeds if feed.stage == stage]
        if portion:
            yield WorkStep(
                f"Feed, {stage}: {portion[0].how}",
                "; ".join(f"{feed.source}: {feed.amount_text}" for feed in portion),
                _WAITS_H[stage],
                "Foam and a falling gravity show the end of the lag (often 12 to 24 h)."
                if stage == STRONG_STAGES[0]
                else f"Gravity still above {portion[0].not_below_gravity:.3f}; if it is below, leave this feed out.",
                PRACTICE,
            )
    ends = ferment.final_gravity
    doubt = doubt_of(pitch.can_it_finish, pitch.tolerance_abv_percent, ferment)
    beyond = ", but only where the yeast gets beyond what it is said to bear" if doubt else ""
    yield WorkStep(
        "Read the gravity of a degassed sample.",
        "",
        FERMENT_H,
        f"It ends near {ends.value:.3f} ({ends.low:.3f} to {ends.high:.3f}){beyond}; still falling: wait.",
        PRACTICE,
    )
    yield WorkStep(
        "Read the gravity again, days later.",
        "",
        APART_H,
        "Two equal gravities, three days apart at least: only then it has ended. A stop far above the range is stuck, "
        "not done.",
        PRACTICE,
    )
    into = ""
    if base is not None:
        fermented, used = litres_words(base.before_racking_l, system), litres_words(base.volume_l, system)
        into = f"{fermented} fermented, {used} go into the blend"
    yield WorkStep(
        "Rack off the lees, without air.",
        into,
        0.0,
        "Read volume, gravity, pH and acidity of the base: the blend goes by them, not by this plan.",
        PRACTICE,
    )
    if base is not None and not doubt:
        yield WorkStep(
            "Ask for the doses that hold it, then for the blend, with the readings in place of what was expected.",
            "",
            0.0,
            "The requests that this plan hands on, with the readings put in.",
            PRACTICE,
        )


def readings_of(
    gravity: float,
    low: float,
    high: float,
    volume_l: float,
    ferment: Ferment,
    circumstances: Circumstances,
    *,
    measure_honey: bool,
) -> tuple[NextReading, ...]:
    """What to read: the honey before, the must at once, then the ferment."""
    found = []
    if measure_honey:
        found.append(NextReading("read the water of the honey", "honey refractometer"))
    ends = ferment.final_gravity
    error = circumstances.instruments.hydrometer_error
    found += [
        NextReading(
            "stir the must well and read its gravity",
            "hydrometer",
            round(gravity, 4),
            "SG 20/20",
            "20 °C, or enter the sample's temperature",
            low=round(low - error, 4),
            high=round(high + error, 4),
        ),
        NextReading("read the volume in the vessel", "marks of the vessel", round(volume_l, 2), "L", "20 °C"),
        NextReading(
            "read the pH when it ferments: a honey must is weakly buffered and may fall below 3.2",
            "pH meter, checked in pH 4.01 and 7.00",
            wait_min_h=24.0,
        ),
        NextReading(
            "read the gravity of a degassed sample, twice, three days apart: it must not fall",
            "hydrometer",
            round(ends.value, 4),
            "SG 20/20",
            "20 °C, or enter the sample's temperature",
            FERMENT_H,
            round(ends.low, 4),
            round(ends.high, 4),
        ),
    ]
    return tuple(found)
