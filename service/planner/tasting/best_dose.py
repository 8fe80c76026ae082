"""The dose liked best, from liking scores at several doses: a parabola, its top, and the 95 % set of that."""

from __future__ import annotations

from math import sqrt
from typing import Final

from service.planner.tasting.asked import ScoresAsked
from service.planner.tasting.finding import (
    LEAST_DOSES,
    Direction,
    Finding,
    Reason,
    best_tested,
    distinct_doses,
    level_fit,
    tested_doses,
    with_floor,
)
from service.planner.tasting.least_squares import Fit, fieller, fit_scores, quantile_t

_STRAIGHT: Final = 1e-9
"""Curvature [points] below which scores lie on a straight line for all that arithmetic tells."""


def best_liked(asked: ScoresAsked) -> Finding:
    """The dose liked best, or why none is found.

    y = level of the taster + b1·x + b2·x²; x* = −b1/(2·b2)
    Fieller: (2·b2·x + b1)² ≤ t²·Var(2·b2·x + b1); delta method: Var x* = g'Cg, g = (−1/(2·b2), b1/(2·b2²))

    Parameters: asked, scores of liking [points] at doses [unit of the dose].
    Returns: Finding. No optimum where the parabola does not bend down or its set has no ends; the nearest tested dose
        where the top lies outside; no interval below four doses; none finer than half a just-noticeable step.
    Validity: doses on both sides of the optimum, not so far apart that liking stops being a parabola; residuals
        alike and independent.
    Source: least squares and the delta method (textbook results); Fieller (1954), from memory, unverified.

    Example: doses 0 to 40 with scores 4.0, 5.6, 6.6, 6.4, 5.2 (computed).

    >>> from service.planner.tasting.asked import Score
    >>> scores = zip((0, 10, 20, 30, 40), (4.0, 5.6, 6.6, 6.4, 5.2))
    >>> found = best_liked(ScoresAsked(tuple(Score("A", dose, score) for dose, score in scores)))
    >>> [round(value, 2) for value in (found.dose, found.standard_error, found.delta_low, found.delta_high)]
    [23.29, 0.42, 21.5, 25.09]
    """
    doses = distinct_doses(asked)
    if len(doses) < 3:
        return _none(asked, "too_few_doses", None)
    scores = asked.scores
    fit = fit_scores([s.taster for s in scores], [s.dose for s in scores], [s.score for s in scores], curved=True)
    if fit is None:
        return _none(asked, "not_determined", None)
    bend = fit.curvature or 0.0
    t = quantile_t(fit.df) if fit.df > 0 else 0.0
    if bend > 0.0 and fit.df > 0 and bend > max(_STRAIGHT, t * sqrt(fit.var_curvature)):
        return _none(asked, "valley", fit)
    if bend >= -_STRAIGHT:
        return _none(asked, "not_bent", fit)
    found = fieller(-fit.slope, 2.0 * bend, fit.var_slope, -2.0 * fit.cov, 4.0 * fit.var_curvature, t)
    if fit.df > 0 and found.shape != "between":
        return _none(asked, "not_bent", fit)
    top_u = -0.5 * fit.slope / bend
    top = fit.x(top_u)
    dose = min(max(top, doses[0]), doses[-1])
    reach_u = sqrt(asked.flat / -bend + (fit.u(dose) - top_u) ** 2)
    flat = (max(doses[0], fit.x(top_u - reach_u)), min(doses[-1], fit.x(top_u + reach_u)))
    if not doses[0] <= top <= doses[-1]:
        above = top > doses[-1]
        return Finding(
            "extend_range",
            "above_range" if above else "below_range",
            fit,
            direction="higher" if above else _downwards(asked),
            dose=dose,
            fitted=top,
            score=fit.at(dose),
            flat_low=flat[0],
            flat_high=flat[1],
        )
    if len(doses) < LEAST_DOSES or fit.df < 1:
        return Finding(
            "best_dose_without_interval",
            "found",
            fit,
            direction="more_scores",
            dose=dose,
            fitted=top,
            score=fit.at(dose),
            flat_low=flat[0],
            flat_high=flat[1],
        )
    by_slope, by_bend = -0.5 / bend, 0.5 * fit.slope / bend**2
    error = fit.half * sqrt(
        max(
            0.0,
            by_slope**2 * fit.var_slope + 2.0 * by_slope * by_bend * fit.cov + by_bend**2 * fit.var_curvature,
        )
    )
    low, high, widened = with_floor(asked, dose, fit.x(found.low), fit.x(found.high))
    return Finding(
        "best_dose",
        "found",
        fit,
        dose=dose,
        fitted=top,
        score=fit.at(dose),
        low=low,
        high=high,
        widened=widened,
        standard_error=error,
        delta_low=top - t * error,
        delta_high=top + t * error,
        flat_low=flat[0],
        flat_high=flat[1],
    )


def _downwards(asked: ScoresAsked) -> Direction:
    """Below the lowest tested dose, or between it and the next where it was none at all."""
    return "lower" if distinct_doses(asked)[0] > 0.0 else "between"


def _none(asked: ScoresAsked, reason: Reason, fit: Fit | None) -> Finding:
    """No optimum: towards the best tested dose if it lies at an end, else farther to both sides."""
    doses = distinct_doses(asked)
    means = tested_doses(asked, level_fit(asked, fit))
    best = best_tested(asked, means).dose
    alike = max(m.adjusted for m in means) - min(m.adjusted for m in means) <= _STRAIGHT
    direction: Direction = "wider"
    if reason == "not_determined":
        direction = "same_again"
    elif alike or reason == "valley":
        direction = "wider"
    elif best == doses[-1]:
        direction = "higher"
    elif best == doses[0]:
        direction = _downwards(asked)
    elif reason == "too_few_doses":
        direction = "more_scores"
    return Finding("no_optimum_found", reason, fit, direction=direction)
