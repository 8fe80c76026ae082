"""The dose that is just right, from scores of too little and too much at several doses: a straight line in ln(dose)."""

from __future__ import annotations

from math import exp, log, sqrt
from typing import Final

from service.planner.tasting.asked import ScoresAsked
from service.planner.tasting.finding import (
    LEAST_DOSES_OF_A_LINE,
    Direction,
    Finding,
    Reason,
    distinct_doses,
    with_floor,
)
from service.planner.tasting.least_squares import Fit, fieller, fit_scores, quantile_t

_FLAT: Final = 1e-9
_FARTHEST: Final = 30.0
"""Natural logarithms beyond the tested doses after which a figure means nothing."""


def just_right(asked: ScoresAsked) -> Finding:
    """The dose at which the tasters' mean says "just about right", or why none is found.

    y = a + b·ln(dose + what is there already), each taster with a level of their own, a being the mean of these;
    x* = −a/b, with Fieller's set of that ratio

    Parameters: asked, scores of −2 (far too little) to +2 (far too much) at doses above nothing.
    Returns: Finding. No optimum where the scores do not rise with the dose or the set has no ends; the nearest tested
        dose where the line crosses zero outside; no interval below three doses; none finer than half a step.
    Validity: doses on both sides of just right; the interval is that of these tasters' mean.
    Source: linear least squares; Weber's law for the logarithm; Fieller (1954), from memory, unverified.

    Example: −1, 0 and +1 at doses that double.

    >>> from service.planner.tasting.asked import Score
    >>> scores = zip((10.0, 20.0, 40.0), (-1.0, 0.0, 1.0))
    >>> round(just_right(ScoresAsked(tuple(Score("A", d, s) for d, s in scores), "just_about_right")).dose, 9)
    20.0
    """
    doses = distinct_doses(asked)
    before = asked.before
    fit = fit_scores(
        [s.taster for s in asked.scores],
        [log(s.dose + before) for s in asked.scores],
        [s.score for s in asked.scores],
        curved=False,
    )
    if fit is None:
        return _none("not_determined", None, "same_again")
    t = quantile_t(fit.df) if fit.df > 0 else 0.0
    if fit.slope <= _FLAT:
        sure = fit.df > 0 and -fit.slope > max(_FLAT, t * sqrt(fit.var_slope))
        return _none("falls" if sure else "not_sloped", fit, "wider")
    found = fieller(-fit.level, fit.slope, fit.var_level, -fit.cov_level_slope, fit.var_slope, t)
    if fit.df > 0 and found.shape != "between":
        return _none("not_sloped", fit, "wider")
    least, most = log(doses[0] + before), log(doses[-1] + before)

    def dose_at(u: float) -> float:
        place = fit.x(u)
        return exp(min(max(place, least - _FARTHEST), most + _FARTHEST)) - before

    crossing = -fit.level / fit.slope
    zero = dose_at(crossing)
    dose = min(max(zero, doses[0]), doses[-1])
    width = asked.flat / fit.slope
    flat_low = min(max(dose_at(crossing - width), doses[0]), doses[-1])
    flat_high = min(max(dose_at(crossing + width), doses[0]), doses[-1])
    # with the best dose at an end of what was tested, the flat region is told only where there is one
    flat = (flat_low, flat_high) if flat_low < flat_high else (None, None)
    score = fit.level + fit.slope * fit.u(log(dose + before))
    if not doses[0] <= _at_an_end(zero, doses) <= doses[-1]:
        above = zero > doses[-1]
        return Finding(
            "extend_range",
            "above_range" if above else "below_range",
            fit,
            direction="higher" if above else "lower",
            dose=dose,
            fitted=zero if abs(fit.x(crossing) - 0.5 * (least + most)) < _FARTHEST else None,
            score=score,
            flat_low=flat[0],
            flat_high=flat[1],
        )
    if len(doses) < LEAST_DOSES_OF_A_LINE or fit.df < 1:
        return Finding(
            "best_dose_without_interval",
            "found",
            fit,
            direction="more_scores",
            dose=dose,
            fitted=zero,
            score=score,
            flat_low=flat[0],
            flat_high=flat[1],
        )
    variance = fit.var_level + 2.0 * crossing * fit.cov_level_slope + crossing**2 * fit.var_slope
    error = sqrt(max(0.0, variance)) / fit.slope  # of the scaled logarithm
    low, high, widened = with_floor(asked, dose, dose_at(found.low), dose_at(found.high))
    return Finding(
        "best_dose",
        "found",
        fit,
        dose=dose,
        fitted=zero,
        score=score,
        low=low,
        high=high,
        widened=widened,
        standard_error=error * fit.half * (zero + before),
        delta_low=dose_at(crossing - t * error),
        delta_high=dose_at(crossing + t * error),
        flat_low=flat[0],
        flat_high=flat[1],
    )


def _at_an_end(zero: float, doses: list[float]) -> float:
    """A crossing that misses an end by rounding alone lies on it."""
    for end in (doses[0], doses[-1]):
        if abs(zero - end) <= 1e-9 * max(abs(end), 1e-9):
            return end
    return zero


def _none(reason: Reason, fit: Fit | None, direction: Direction) -> Finding:
    return Finding("no_optimum_found", reason, fit, direction=direction)
