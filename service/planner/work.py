"""Work in order: steps with the least wait before each, the days they fall on, and what the next question takes.

A step says what to do, after what wait, and what to look at before going on. The wait counts from the end of the step
before it. A schedule gives the first day on which each step can be done; a wait is the least, never a promise that
what is waited for has happened: the check decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from service.errors import OutOfRangeError
from service.planner.answers import NextReading
from service.planner.answers_decisions import SHOWN

_MOST_HOURS: Final = 24.0 * 3660.0


@dataclass(frozen=True, slots=True)
class WorkStep:
    """One step, in order."""

    __pydantic_config__ = SHOWN

    do: str
    """What to do."""
    amount_text: str
    """How much; empty where nothing is measured out."""
    wait_min_h: float
    """Least wait after the step before it [h]."""
    check: str
    """What to look at before going on."""
    source_id: str
    """Key of /v1/sources; `common_practice` where the wait or the way has no document."""


@dataclass(frozen=True, slots=True)
class Appointment:
    """The first day on which a step can be done."""

    __pydantic_config__ = SHOWN

    date: str
    """Year-month-day, with the hour where the start had one."""
    day: int
    """Whole days since the start; the start is day 0."""
    step: int
    """Number of the step, 1 the first."""
    do: str
    """What to do."""
    check: str
    """What to look at before going on; it decides, not the date."""
    source_id: str
    """Key of /v1/sources for the wait; `common_practice` where it has no document."""


@dataclass(frozen=True, slots=True)
class NextCall:
    """A request that can follow this answer, filled in with what is known."""

    __pydantic_config__ = SHOWN

    path: str
    """Where to POST it."""
    request: dict[str, Any]
    """Its body, complete: it can be sent as it stands."""
    replace: tuple[str, ...]
    """JSON Pointers into `request` of what is expected so far, to be replaced by what was read."""
    text: str
    """What it answers, and when to ask it."""


def schedule_of(steps: Sequence[WorkStep], start: str | None) -> tuple[Appointment, ...]:
    """The first day on which each step can be done.

    t₁ = start + w₁, tₙ = tₙ₋₁ + wₙ, w being the least waits

    Parameters: steps, in order; start, year-month-day with or without an hour as in ISO 8601, or None.
    Returns: one appointment for each step; none without a start.
    Raises: OutOfRangeError where the waits lead beyond the calendar.
    Validity: earliest days; a ferment keeps no calendar.
    Source: arithmetic.

    >>> steps = [WorkStep("rack", "", 0.0, "", "common_practice"), WorkStep("read", "", 72.0, "", "common_practice")]
    >>> [a.date for a in schedule_of(steps, "2026-02-27")]
    ['2026-02-27', '2026-03-02']
    """
    if start is None:
        return ()
    begin = datetime.fromisoformat(start)
    with_hour = len(start) > len("2026-02-27")
    found, hours = [], 0.0
    for number, step in enumerate(steps, 1):
        hours += step.wait_min_h
        if not hours <= _MOST_HOURS:
            raise OutOfRangeError("These waits lead beyond ten years: check them.", "/start_date")
        try:
            when = begin + timedelta(hours=hours)
        except OverflowError as error:
            raise OutOfRangeError(
                "The waits lead beyond the calendar: choose an earlier day.", "/start_date"
            ) from error
        day = when.isoformat(sep="T", timespec="minutes") if with_hour else _whole_day(when)
        days = (when - begin).total_seconds() / 86_400.0
        found.append(
            Appointment(day, int(days) if with_hour else -int(-days // 1), number, step.do, step.check, step.source_id)
        )
    return tuple(found)


def _whole_day(when: datetime) -> str:
    """The day itself, or the next one where it has begun."""
    whole = datetime(when.year, when.month, when.day, tzinfo=when.tzinfo)
    return (when if when == whole else when + timedelta(days=1)).date().isoformat()


def readings_in_order(readings: Iterable[NextReading]) -> tuple[NextReading, ...]:
    """Readings by their least waits, each once."""
    return tuple(sorted(dict.fromkeys(readings), key=lambda r: r.wait_min_h))
