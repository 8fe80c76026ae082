"""What to do after readings: the hold test with its waits, or on to racking; and what to measure next."""

from __future__ import annotations

from collections.abc import Iterator
from math import sqrt
from typing import Final

from service.planner.answers import OUR_DEFAULT, PRACTICE, NextReading
from service.planner.interpreting.answers import Mismatch
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import Strengths, gravity_now
from service.planner.interpreting.sugar import SugarFound
from service.planner.interpreting.trend import SEEN, Rest
from service.planner.span import NORMAL_90
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS
from service.planner.work import WorkStep, readings_in_order

_DAY_H: Final = 24.0
_HYDROMETER: Final = "hydrometer"
_MOST_ITS_OWN: Final = "20 °C, or enter the sample's temperature"


def steps_of(asked: ReadingsAsked, rest: Rest) -> tuple[WorkStep, ...]:
    """The hold test, in order; nothing where no gravity of a ferment was read."""
    if asked.juice or gravity_now(asked) is None:
        return ()
    return tuple(_hold_test(rest))


def _hold_test(rest: Rest) -> Iterator[WorkStep]:
    wait_h = _DAY_H * rest.wait_days
    if rest.fermentation == "steady":
        if rest.wait_days:
            yield _read_again(wait_h, f"The same as now for {SLOW_DAYS} days in all: then it rests.")
        yield WorkStep(
            "Rack it off its lees into a clean vessel, with little air.",
            "",
            0.0,
            "Gravity unchanged; clear above the lees.",
            PRACTICE,
        )
        yield WorkStep(
            "Read gravity, pH and acidity of the racked drink, degassed: the stabilising plan takes them.",
            "",
            0.0,
            "Write them down with date and temperature.",
            PRACTICE,
        )
        return
    if rest.fermentation == "falling":
        yield WorkStep(
            "Leave it under its airlock, neither sealed nor sweetened.",
            "",
            0.0,
            "The airlock moves, or gravity falls.",
            PRACTICE,
        )
    yield _read_again(wait_h, f"Write it down; a fall of {SEEN:.3f} or more shows that it still ferments.")
    yield _read_again(
        _DAY_H * LEAST_DAYS,
        f"Equal to the one before within 0.001: it rests; else begin this test again. Only {SLOW_DAYS} days without a "
        "fall show a slow one.",
    )
    yield WorkStep(
        "Rack it off its lees only when the two agree, and ask again with both readings.",
        "",
        0.0,
        "Two equal readings, by date.",
        PRACTICE,
    )


def _read_again(wait_h: float, check: str) -> WorkStep:
    return WorkStep(
        "Draw a sample, degas it by pouring it to and fro, read its gravity and its temperature.",
        "",
        wait_h,
        check,
        OUR_DEFAULT,
    )


def readings_to_take(
    asked: ReadingsAsked,
    strengths: Strengths,
    sugar: SugarFound | None,
    rest: Rest,
    mismatch: Mismatch | None,
) -> tuple[NextReading, ...]:
    """What to measure next, the soonest first."""
    return readings_in_order(_to_take(asked, strengths, sugar, rest, mismatch))


def _to_take(
    asked: ReadingsAsked,
    strengths: Strengths,
    sugar: SugarFound | None,
    rest: Rest,
    mismatch: Mismatch | None,
) -> Iterator[NextReading]:
    now = gravity_now(asked)
    used = strengths.used
    if now is None:
        yield NextReading("read the gravity of a degassed sample", _HYDROMETER, at_temperature=_MOST_ITS_OWN)
    if mismatch is not None and mismatch.consistency.culprits:
        kind = mismatch.consistency.culprits[0].kind
        what = {
            "volume": ("read the volumes again: the drink's and those of its parts", "marks of the vessel"),
            "loss": ("read the volume of the drink again", "marks of the vessel"),
            "amount": ("weigh what is left of what was added: it tells how much went in", "scale"),
            "composition": ("read Brix and acidity of what went in", "refractometer, acid kit"),
            "reading": ("take that reading again from a fresh, degassed sample", "the instrument checked in water"),
        }[kind]
        yield NextReading(*what)
    if used is None and now is not None and not asked.juice:
        yield NextReading(
            "read the refractometer in the same degassed sample: with the gravity it tells the strength",
            "refractometer",
            at_temperature="20 °C",
        )
    if asked.acidity is None or asked.acidity.degassed is not True:
        yield NextReading("titrate a degassed sample to pH 8.2", "burette or acid kit")
    if asked.ph is None:
        yield NextReading(
            "read the pH of a degassed sample", "pH meter, checked in pH 4.01 and 7.00", None, "pH", "20 °C"
        )
    if sugar is not None and not asked.juice and asked.residual_sugar_g_per_l is None:
        yield NextReading(
            "test for reducing sugar",
            "sugar test",
            round(sugar.sugar.value, 1),
            "g/L",
            low=round(sugar.sugar.low, 1),
            high=round(sugar.sugar.high, 1),
        )
    if now is not None and not asked.juice and used is not None and rest.wait_days:
        gravity = used.found.gravity
        error = asked.circumstances.instruments.hydrometer_error
        falling = rest.fermentation == "falling" and sugar is not None
        falls, most = (sugar.drop.value, sugar.drop.high) if falling and sugar is not None else (0.0, 0.0)
        apart = NORMAL_90 * sqrt(2.0) * error
        yield NextReading(
            "read the gravity again",
            _HYDROMETER,
            round(gravity - falls, 4),
            "SG 20/20",
            _MOST_ITS_OWN,
            wait_min_h=_DAY_H * rest.wait_days,
            low=round(gravity - most - apart, 4),
            high=round(gravity + apart, 4),
        )
