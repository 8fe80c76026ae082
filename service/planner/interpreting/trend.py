"""What a series of gravities says: whether a ferment falls or rests, how fast, and what a hydrometer cannot see.

The verdict follows the stabilising question (two equal readings three days apart, nothing falling slowly over two
weeks), but that two equal readings count as rest here, while a fall in the two weeks before is told. Beside it stands
what the hydrometer's own error would do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, erfc, sqrt
from typing import Final

from service.errors import InconsistentError
from service.planner.correction.answers import Figure
from service.planner.interpreting.answers import DayRead, Fermentation, Trend
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import DISAGREE
from service.planner.interpreting.sugar import FALL_PER_HEXOSE_G_PER_L, volumes_of_hexose
from service.planner.span import NORMAL_90, Span
from service.planner.stabilising.asked import GravityOfDay
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS, rest_fault

SEEN: Final = 0.002
"""A fall that a hold test has to be able to show: twice a hydrometer's division (computed: about one volume of carbon
dioxide)."""

SWEET_DROP: Final = 0.002
"""A ferment that could still fall by this much is at rest, and not finished (our default)."""

_MOST_WAIT_DAYS: Final = 60
_FALLING, _ROSE = "gravity_falling_in_hold_test", "readings_of_gravity_disagree"


@dataclass(frozen=True, slots=True)
class Rest:
    """Whether the ferment rests: the verdict, why not where it does not, the days to wait, and the series.

    `by_word`, whether the caller's word is all there is; `fell_lately`, whether two readings are equal and gravity
    still fell in the two weeks before.
    """

    fermentation: Fermentation
    why: str | None
    wait_days: int
    trend: Trend | None
    days: float
    by_word: bool = False
    fell_lately: bool = False

    @property
    def rose(self) -> bool:
        """Whether gravity rose."""
        return self.why == _ROSE


def check_series(asked: ReadingsAsked) -> None:
    """Refuse a series that stood above the original gravity, where nothing is said to have gone in.

    Raises: InconsistentError with the place of the reading.
    """
    if asked.original is None or asked.changed:
        return
    most = asked.original.at_20c(0.0) + DISAGREE * 2.0**0.5 * asked.circumstances.instruments.hydrometer_error
    for place, one in enumerate(asked.series):
        if one.read.at_20c(0.0) > most + 1e-9:
            raise InconsistentError(
                f"A gravity of {one.read.shown:g} is above the original gravity: check both, or say that something "
                "went in (sweetened).",
                f"/series/{place}/gravity",
            )


def readings_at_20c(asked: ReadingsAsked, abv_percent: float) -> tuple[GravityOfDay, ...]:
    """The series as SG 20/20, by date."""
    ordered = sorted(asked.series, key=lambda one: one.day)
    return tuple(GravityOfDay(one.day, one.read.at_20c(abv_percent)) for one in ordered)


def rest_of(asked: ReadingsAsked, abv_percent: float, drop: Span | None) -> Rest:
    """Whether a ferment falls or rests.

    Parameters: asked; abv_percent, for the temperature correction; drop, how far gravity may still fall.
    Returns: Rest.
    """
    error = asked.circumstances.instruments.hydrometer_error
    if not asked.series:
        if asked.steady_days is not None:
            steady = asked.steady_days >= LEAST_DAYS
            wait = _more(asked.steady_days, drop) if steady else ceil(LEAST_DAYS - asked.steady_days)
            return Rest("steady" if steady else "unknown", None, wait, None, asked.steady_days, by_word=True)
        return Rest("unknown", None, 0 if asked.juice else LEAST_DAYS, None, 0.0)
    readings = readings_at_20c(asked, abv_percent)
    span_days = float((readings[-1].day - readings[0].day).days)
    fault = rest_fault(readings, error)
    why = None if fault is None else fault.caution.code
    if len(readings) < 2:
        why = "stabilisers_on_a_moving_ferment"
    lately = None
    if why == _FALLING and not all(a.gravity > b.gravity for a, b in pairwise(readings)):
        early = [k for k, r in enumerate(readings) if (readings[-1].day - r.day).days >= LEAST_DAYS]
        if early and rest_fault(readings[early[-1] :], error) is None:
            why, lately = None, _days_since_higher(readings, error)
    fermentation: Fermentation = "steady" if why is None else "falling" if why == _FALLING else "unknown"
    rate = _rate(readings, error)
    if fermentation == "steady":
        wait = _more(span_days, drop) if lately is None else max(SLOW_DAYS + 1 - lately, 1)
    elif fermentation == "falling":
        wait = _until_done(rate, drop)
    else:
        wait = LEAST_DAYS if why == _ROSE else max(ceil(LEAST_DAYS - span_days), 1)
    trend = _trend(readings, rate, error, fermentation, why, lately)
    return Rest(fermentation, why, wait, trend, span_days, fell_lately=lately is not None)


def _days_since_higher(readings: Sequence[GravityOfDay], error: float) -> int:
    """Days from the latest reading that was higher than the last beyond its error."""
    last = readings[-1]
    step = min(error, 0.001) if error > 0.0 else 0.001
    return min((last.day - r.day).days for r in readings if r.gravity - last.gravity >= step - 1e-9)


def _more(days: float, drop: Span | None) -> int:
    """Days to go on with a hold test: two weeks in all where enough sugar may be left."""
    return max(ceil(SLOW_DAYS - days), 0) if drop is not None and drop.high >= SWEET_DROP else 0


def _until_done(rate: Span | None, drop: Span | None) -> int:
    """Days until a fall at this pace could be over, and two equal readings after it; a ferment slows as it ends."""
    if rate is None or drop is None or rate.value <= 0.0:
        return LEAST_DAYS
    return min(ceil(drop.value / rate.value) + LEAST_DAYS, _MOST_WAIT_DAYS)


def _rate(readings: Sequence[GravityOfDay], error: float) -> Span | None:
    """Fall of gravity per day by least squares, with its 90 % interval by the hydrometer's error."""
    days = [float((r.day - readings[0].day).days) for r in readings]
    middle = sum(days) / len(days)
    spread = sum((d - middle) ** 2 for d in days)
    if spread <= 0.0:
        return None
    slope = -sum((d - middle) * r.gravity for d, r in zip(days, readings, strict=True)) / spread
    half = NORMAL_90 * error / sqrt(spread)
    return Span(slope, slope - half, slope + half)


def by_chance(difference: float, error: float) -> float:
    """How often two readings of one gravity differ at least as much.

    p = erfc(|d|/(2 σ)), the difference of two readings having √2 σ

    Parameters: difference, scalar [SG]; error σ of one reading, scalar [SG].
    Returns: probability, scalar [-].
    Source: normal law of errors.

    Example: two readings to 0.001 differ by 0.001 or more in half of all cases (computed).

    >>> round(by_chance(0.001, 0.001), 2)
    0.48
    """
    if error <= 0.0:
        return 1.0 if difference == 0.0 else 0.0
    return erfc(abs(difference) / (2.0 * error))


def _trend(
    readings: Sequence[GravityOfDay],
    rate: Span | None,
    error: float,
    fermentation: Fermentation,
    why: str | None,
    lately: int | None,
) -> Trend:
    first, last = readings[0], readings[-1]
    fall = first.gravity - last.gravity
    days = float((last.day - first.day).days)
    hidden = NORMAL_90 * sqrt(2.0) * error / FALL_PER_HEXOSE_G_PER_L
    seen = SEEN / rate.high if rate is not None and rate.high > 0.0 else None
    chance = by_chance(fall, error)
    burned = max(fall, 0.0) / FALL_PER_HEXOSE_G_PER_L
    return Trend(
        (
            DayRead(first.day.isoformat(), round(first.gravity, 5), None),
            *(DayRead(b.day.isoformat(), round(b.gravity, 5), _per_day(a, b)) for a, b in pairwise(readings)),
        ),
        days,
        round(fall, 5) + 0.0,
        None if rate is None else Figure(*(round(r, 6) + 0.0 for r in (rate.value, rate.low, rate.high))),
        round(chance, 3),
        round(burned, 1),
        round(hidden, 1),
        round(volumes_of_hexose(hidden), 2),
        None if seen is None else round(seen, 1),
        _text(fermentation, why, days, fall, chance, burned, hidden, len(readings), fell_lately=lately is not None),
    )


def _per_day(before: GravityOfDay, after: GravityOfDay) -> float | None:
    days = (after.day - before.day).days
    return round((after.gravity - before.gravity) / days, 6) + 0.0 if days else None


def _text(
    fermentation: Fermentation,
    why: str | None,
    days: float,
    fall: float,
    chance: float,
    burned: float,
    hidden: float,
    count: int,
    *,
    fell_lately: bool,
) -> str:
    if count < 2:
        return "One reading says nothing of a ferment's rest: read again three days later at least."
    unseen = (
        f"a hydrometer does not see {hidden:.0f} g/L of sugar, or {volumes_of_hexose(hidden):.1f} volumes of carbon "
        f"dioxide: a hold test has to run until a fall of {SEEN:.3f} would show"
    )
    if fermentation == "falling":
        alone = (
            f"; the hydrometer alone would do as much in {100.0 * chance:.0f} % of such pairs" if chance > 0.05 else ""
        )
        if fall <= 0.0:
            return f"Gravity went up and down, and fell at the end{alone}. It counts as falling."
        return (
            f"Gravity fell by {fall:.4f} in {days:.0f} days: about {burned:.0f} g/L of sugar, or "
            f"{volumes_of_hexose(burned):.1f} volumes of carbon dioxide{alone}. It counts as falling until two "
            f"readings {LEAST_DAYS} days apart are equal."
        )
    if why == _ROSE:
        return (
            f"Gravity rose, which no ferment does: gas was driven out, honey was stirred up or added, the sample was "
            f"at another temperature, or the reading is off by chance ({100.0 * chance:.0f} % of such pairs). Degas "
            "and read twice again."
        )
    if fermentation == "unknown":
        return f"The readings span {days:.0f} days, too few to see a slow ferment; {unseen}."
    if fell_lately:
        return (
            f"The last readings, {LEAST_DAYS} days apart at least, are equal, yet gravity fell within {SLOW_DAYS} days "
            f"before: a slow ferment is not excluded; {unseen}."
        )
    return f"Equal readings over {days:.0f} days; {unseen}."
