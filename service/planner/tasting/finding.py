"""What a fit of scores amounts to, before it is put into words; and the doses worth trying next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, floor, isfinite, log, log10
from typing import Final, Literal

from service.planner.tasting.asked import ScoresAsked
from service.planner.tasting.least_squares import Fit, fit_scores

FoundOutcome = Literal["best_dose", "best_dose_without_interval", "extend_range", "no_optimum_found"]
Reason = Literal[
    "found",
    "too_few_doses",
    "not_determined",
    "not_bent",
    "valley",
    "not_sloped",
    "falls",
    "above_range",
    "below_range",
]
Direction = Literal["higher", "lower", "wider", "between", "more_scores", "same_again"]

LEAST_DOSES: Final = 4
"""Doses below which a parabola is given no interval: three fix it whatever was said (our default)."""

LEAST_DOSES_OF_A_LINE: Final = 3
"""The like for a straight line (our default)."""

_POINTS: Final = 5
_TOO_FAR: Final = 1e6


@dataclass(frozen=True, slots=True)
class Finding:
    """The best dose [unit of the dose], where there is one, and why there is none.

    `dose` lies in the tested range; `fitted` is where the curve has its best, wherever that is. `low` and `high` are
    the 95 % set of Fieller, `delta_low` and `delta_high` those of the delta method; None where none is told.
    """

    outcome: FoundOutcome
    reason: Reason
    fit: Fit | None
    direction: Direction | None = None
    dose: float | None = None
    fitted: float | None = None
    score: float | None = None
    low: float | None = None
    high: float | None = None
    widened: bool = False
    standard_error: float | None = None
    delta_low: float | None = None
    delta_high: float | None = None
    flat_low: float | None = None
    flat_high: float | None = None


@dataclass(frozen=True, slots=True)
class DoseMeans:
    """One tested dose: how many scores, their mean, and the mean freed of who happened to taste it."""

    dose: float
    count: int
    mean: float
    adjusted: float


def distinct_doses(asked: ScoresAsked) -> list[float]:
    """The doses tested, ascending, each once."""
    return sorted({score.dose for score in asked.scores})


def tested_doses(asked: ScoresAsked, fit: Fit | None) -> tuple[DoseMeans, ...]:
    """Every tested dose with its means, ascending.

    Parameters: asked; fit, whose levels of the tasters are taken out, None for plain means.
    Returns: one record for each dose.
    """
    found = []
    for dose in distinct_doses(asked):
        here = [score for score in asked.scores if score.dose == dose]
        mean = sum(score.score for score in here) / len(here)
        off = 0.0 if fit is None else sum(fit.levels[score.taster] for score in here) / len(here) - fit.level
        found.append(DoseMeans(dose, len(here), mean, mean - off))
    return tuple(found)


def best_tested(asked: ScoresAsked, tested: Sequence[DoseMeans]) -> DoseMeans:
    """The tested dose liked best, or nearest to just right; the lower of equals."""
    if asked.scale == "just_about_right":
        return min(tested, key=lambda t: (round(abs(t.adjusted), 9), t.dose))
    return min(tested, key=lambda t: (-round(t.adjusted, 9), t.dose))


def level_fit(asked: ScoresAsked, fit: Fit | None) -> Fit | None:
    """A fit that knows the tasters' levels: the one found, else a straight line, else None."""
    if fit is not None:
        return fit
    scores = asked.scores
    return fit_scores([s.taster for s in scores], [s.dose for s in scores], [s.score for s in scores], curved=False)


def with_floor(asked: ScoresAsked, dose: float, low: float, high: float) -> tuple[float | None, float | None, bool]:
    """An interval no finer than half a just-noticeable step, from zero upwards; an end out of all reach is None.

    Parameters: asked; dose, the best one; low and high, ends of the interval [all in the unit of the dose].
    Returns: both ends, and whether they had to be widened.
    """
    finest = asked.finest(dose)
    widened = low > dose - finest or high < dose + finest
    low, high = min(low, dose - finest), max(high, dose + finest)
    reach = _TOO_FAR * (max(distinct_doses(asked)) + asked.before)
    return max(0.0, low) if isfinite(low) else 0.0, high if isfinite(high) and high <= reach else None, widened


def nice_step(at_most: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is no larger.

    >>> nice_step(1.4), nice_step(0.73)
    (1.0, 0.5)
    """
    power = 10.0 ** floor(log10(at_most))
    return next(k * power for k in (5.0, 2.0, 1.0) if k * power <= at_most * (1.0 + 1e-9))


def doses_to_try(asked: ScoresAsked, direction: Direction, best: float) -> tuple[float, ...]:
    """Five doses for another tasting, evenly spaced, or evenly in proportion for just-about-right scores.

    Parameters: asked; direction; best, the best tested dose.
    Returns: doses [unit of the dose], ascending, without repetition.
    Source: our default.
    """
    tested = distinct_doses(asked)
    if direction == "same_again":
        return tuple(tested)
    ratio = asked.scale == "just_about_right"

    def place(dose: float) -> float:
        return log(dose + asked.before) if ratio else dose

    low, high = place(tested[0]), place(tested[-1])
    middle, span = 0.5 * (low + high), high - low
    start, end = {
        "higher": (middle, middle + span),
        "lower": (middle - span, middle),
        "between": (low, middle),
        "more_scores": (low, high),
        "wider": (place(best) - 0.75 * span, place(best) + 0.75 * span),
    }[direction]
    if not ratio:
        start = max(0.0, start)
    places = [start + (end - start) * i / (_POINTS - 1) for i in range(_POINTS)]
    if ratio:
        rounded = {float(f"{max(0.0, exp(p) - asked.before):.3g}") for p in places}
    else:
        rounded = {float(f"{p:.6g}") for p in places}
    return tuple(sorted(dose for dose in rounded if dose + asked.before > 0.0 or not ratio))
