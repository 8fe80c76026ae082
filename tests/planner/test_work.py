"""Work in order: the first day for each step. Calendars by ISO 8601 and the Gregorian rule of leap years."""

from __future__ import annotations

from datetime import datetime

import pytest

from service.errors import OutOfRangeError
from service.planner.answers import NextReading
from service.planner.work import WorkStep, readings_in_order, schedule_of


def steps(*waits_h: float) -> list[WorkStep]:
    return [WorkStep(f"step {k}", "", wait, "look", "common_practice") for k, wait in enumerate(waits_h, 1)]


def dates(start: str | None, *waits_h: float) -> list[str]:
    return [a.date for a in schedule_of(steps(*waits_h), start)]


@pytest.mark.parametrize(
    ("start", "waits", "expected"),
    [
        ("2028-02-28", (0.0, 24.0, 24.0), ["2028-02-28", "2028-02-29", "2028-03-01"]),
        ("2100-02-28", (0.0, 24.0), ["2100-02-28", "2100-03-01"]),  # a century that is no leap year
        ("2000-02-28", (0.0, 24.0), ["2000-02-28", "2000-02-29"]),  # and one that is
        ("2026-12-31", (0.0, 72.0), ["2026-12-31", "2027-01-03"]),
        ("2026-02-27T18:00", (0.0, 30.0), ["2026-02-27T18:00", "2026-03-01T00:00"]),
        ("2026-03-14T23:30", (0.5,), ["2026-03-15T00:00"]),
    ],
)
def test_waits_lead_to_days(start: str, waits: tuple[float, ...], expected: list[str]) -> None:
    assert dates(start, *waits) == expected


def test_a_day_that_has_begun_is_not_promised_whole() -> None:
    assert dates("2026-03-14", 30.0) == ["2026-03-16"]
    (one,) = schedule_of(steps(30.0), "2026-03-14")
    assert one.day == 2


def test_days_are_counted_from_the_start() -> None:
    found = schedule_of(steps(0.0, 72.0, 0.0, 47.0), "2026-03-14T18:00")
    assert [a.day for a in found] == [0, 3, 3, 4]
    assert [a.step for a in found] == [1, 2, 3, 4]
    start = datetime(2026, 3, 14, 18)
    for one, hours in zip(found, (0.0, 72.0, 72.0, 119.0), strict=True):
        assert (datetime.fromisoformat(one.date) - start).total_seconds() == hours * 3600.0
    assert found[1].do == "step 2"
    assert (found[1].check, found[1].source_id) == ("look", "common_practice")


def test_without_a_start_there_is_no_schedule() -> None:
    assert schedule_of(steps(0.0, 24.0), None) == ()


def test_the_calendar_ends() -> None:
    assert dates("9999-12-30", 24.0) == ["9999-12-31"]
    with pytest.raises(OutOfRangeError) as caught:
        dates("9999-12-30", 72.0)
    assert caught.value.pointer == "/start_date"
    assert "earlier day" in str(caught.value)


def test_waits_of_more_than_ten_years_are_a_slip() -> None:
    with pytest.raises(OutOfRangeError, match="ten years"):
        dates("2026-03-14", 24.0 * 3661.0)
    with pytest.raises(OutOfRangeError, match="ten years"):
        dates("2026-03-14", float("nan"))


def test_readings_stand_by_their_waits_and_once() -> None:
    late, soon = NextReading("late", "", wait_min_h=24.0), NextReading("soon", "")
    assert readings_in_order([late, soon, late]) == (soon, late)
