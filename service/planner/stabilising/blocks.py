"""What forbids a dose: a ferment that may still move, bacteria, raw juice, a pH that no salt helps, a legal limit.

A block is a `stop` caution together with the salts that may then not go in.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from service.chemistry.sulfite import MOLECULAR_TARGET_DRY_MG_PER_L
from service.planner.acidity_cautions import STOP_PH
from service.planner.answers import OUR_DEFAULT, PRACTICE, Caution
from service.planner.refermentation import SEALED
from service.planner.stabilising.asked import GravityOfDay
from service.planner.stabilising.situation import Situation

SULFITE: Final = frozenset({"sulfite"})
SORBATE: Final = frozenset({"sorbate"})
BOTH: Final = SULFITE | SORBATE

LEAST_DAYS: Final = 3
"""Days between two readings of gravity that show a ferment at rest (our default; "days apart" is common practice)."""

SLOW_DAYS: Final = 14
"""Days before the last reading in which a slow ferment has to show (our default)."""

_FALL: Final = 0.001
"""A fall of gravity in a hold test that says: still fermenting (our default)."""


@dataclass(frozen=True, slots=True)
class Block:
    """A `stop` and the salts that it keeps out."""

    caution: Caution
    salts: frozenset[str]


def _stop(code: str, text: str, source_id: str, salts: frozenset[str] = BOTH) -> Block:
    return Block(Caution(code, "stop", text, source_id), salts)


def blocks_before(here: Situation) -> list[Block]:
    """What forbids a dose whatever its size; what endangers the drink itself is said without a salt too."""
    return [*_ferment(here), *_raw_juice(here), *_ph(here), *_sorbate(here)]


def _ferment(here: Situation) -> Iterator[Block]:
    asked = here.asked
    fault = rest_fault(asked.readings, asked.circumstances.instruments.hydrometer_error)
    if fault is not None:
        yield fault
        return
    sealed = asked.circumstances.intended.container in SEALED
    if not (sealed or (BOTH | {"sterile_filtered"}) & set(here.hurdles)):
        return
    if asked.fermentation_finished is False:
        yield _stop(
            "yeast_still_active",
            "The ferment has not ended: stabilisers do not stop it, and yeast binds sulfite. Wait for two equal "
            f"gravities {LEAST_DAYS} days apart, then rack.",
            "umn_enology",
        )
    elif asked.fermentation_finished is None and not asked.readings:
        yield moving_ferment()


def moving_ferment() -> Block:
    """Salts that go into a ferment which nothing shows to have ended."""
    return _stop(
        "stabilisers_on_a_moving_ferment",
        "Nothing shows that the ferment has ended, and stabilisers do not stop it: give two gravities "
        f"{LEAST_DAYS} days apart, or state that it has finished.",
        "umn_enology",
    )


def rest_fault(
    readings: Sequence[GravityOfDay], hydrometer_error: float, instead: str = "Give no stabiliser"
) -> Block | None:
    """What two or more gravities say against a ferment being at rest; None where they are equal and days apart.

    Compared are the last reading and all back to the latest one that lies three days or more before it. Equal means
    nearer than the hydrometer's error and than 0.001. A slow fall adds up to that only over two weeks, or over a series
    in which every reading is lower than the one before.

    Parameters: readings in any order; hydrometer_error, scalar [SG]; instead, what a falling gravity forbids.
    Returns: a Block, or None, also without readings.

    >>> from datetime import date
    >>> two = [GravityOfDay(date(2024, 5, 1), 1.004), GravityOfDay(date(2024, 5, 8), 1.001)]
    >>> rest_fault(two, 0.001).caution.code
    'gravity_falling_in_hold_test'
    """
    if not readings:
        return None
    ordered = sorted(readings, key=lambda reading: reading.day)
    last = ordered[-1]
    early = [k for k, reading in enumerate(ordered) if (last.day - reading.day).days >= LEAST_DAYS]
    compared = ordered[early[-1] :] if early else ordered
    step = min(hydrometer_error, _FALL) if hydrometer_error > 0.0 else _FALL
    step -= 1e-9
    fall = max(reading.gravity for reading in compared) - last.gravity
    rise = last.gravity - min(reading.gravity for reading in compared)
    if fall >= step:
        return _stop(
            "gravity_falling_in_hold_test",
            f"Gravity fell by {fall:.4f} to {last.gravity:.4f}: still fermenting. {instead}; wait "
            f"for two equal readings {LEAST_DAYS} days apart.",
            OUR_DEFAULT,
        )
    if not early:
        return _stop(
            "stabilisers_on_a_moving_ferment",
            f"The readings span {(last.day - ordered[0].day).days} days; a slow ferment does not show in them. Read "
            f"again {LEAST_DAYS} days or more after the first.",
            PRACTICE,
        )
    slow = _slow_fall(ordered)
    if slow >= step:
        return _stop(
            "gravity_falling_in_hold_test",
            f"Gravity fell slowly, by {slow:.4f} to {last.gravity:.4f}: it may still ferment. {instead}; wait "
            f"until the readings of {SLOW_DAYS} days agree.",
            OUR_DEFAULT,
        )
    if rise >= step:
        return _stop(
            "readings_of_gravity_disagree",
            f"Gravity rose by {rise:.4f}, which no ferment does: degas, correct for temperature, and read twice again.",
            OUR_DEFAULT,
        )
    return None


def _slow_fall(ordered: Sequence[GravityOfDay]) -> float:
    """Fall to the last reading from the highest of the days before, or from the first where each is lower [SG]."""
    last = ordered[-1]
    falling = all(a.gravity > b.gravity for a, b in pairwise(ordered))
    since = ordered if falling else [r for r in ordered if (last.day - r.day).days <= SLOW_DAYS]
    return max(reading.gravity for reading in since) - last.gravity


def _raw_juice(here: Situation) -> Iterator[Block]:
    if here.asked.raw_juice_after:
        yield _stop(
            "raw_juice_after_stabilising",
            "Raw juice after stabilising brings yeast and bacteria back: heat-treat the juice, blend, then dose the "
            "whole.",
            "cfr21_120_24",
        )


def _ph(here: Situation) -> Iterator[Block]:
    ph = max(here.dosing.ph, here.packaging.ph)
    if ph > STOP_PH:
        yield ph_block(ph)


def ph_block(ph: float) -> Block:
    """No salt goes into a drink that is, or would become, this little acid."""
    return _stop(
        "ph_above_4_6",
        f"pH {ph:.2f} is above 4.6, where dangerous bacteria can grow and sulfite hardly works: acidify and measure "
        "first.",
        "cfr21_114_3",
    )


def little_sulfite_block(molecular_mg_per_l: float) -> Block:
    """No sorbate where the sulfite beside it is too little to hold lactic bacteria."""
    return _stop(
        "sorbate_without_sulfite",
        f"{molecular_mg_per_l:.2f} mg/L molecular SO2 is too little beside sorbate, at least "
        f"{MOLECULAR_TARGET_DRY_MG_PER_L:g} is usual: lactic bacteria can turn the sorbate into a geranium taint "
        "that nothing removes.",
        "oxford_companion",
        SORBATE,
    )


def _sorbate(here: Situation) -> Iterator[Block]:
    if "sorbate" not in here.hurdles:
        return
    if here.malolactic_possible:
        yield _stop(
            "malolactic_blocks_sorbate",
            "Malolactic bacteria may be at work: they turn sorbate into a geranium taint that nothing removes. "
            "No sorbate.",
            "oxford_companion",
            SORBATE,
        )
    if "sulfite" not in here.hurdles:
        yield _stop(
            "sorbate_without_sulfite",
            "Sorbate without sulfite: lactic bacteria can turn it into a geranium taint that nothing removes.",
            "oxford_companion",
            SORBATE,
        )
