"""Sentences about a tasting: what was found, and what to taste next."""

from __future__ import annotations

from math import ceil, floor
from typing import Final

from service.planner.tasting.answers import BestDose, DifferenceReport, DoseTested, PanelPlan
from service.planner.tasting.asked import Kind, ScoresAsked
from service.planner.tasting.finding import Direction, Finding, Reason, distinct_doses, nice_step
from service.quantities import number_text

KINDS: Final[dict[Kind, str]] = {"triangle": "triangles", "two_afc": "pairs (2-AFC)", "duo_trio": "duo-trios"}

_WHY: Final[dict[Reason, str]] = {
    "too_few_doses": "a curve needs three doses or more",
    "not_determined": "too few tasters tasted several doses to tell doses from tasters",
    "not_bent": "the scores do not surely rise and fall again",
    "valley": "the scores dip in the middle, as if there were two camps",
    "not_sloped": "the scores do not surely rise with the dose",
    "falls": "the scores fall as the dose rises: on this scale −2 is far too little and +2 far too much; was it turned "
    "round?",
}

_WHERE: Final[dict[Direction, str]] = {
    "higher": "Taste higher doses",
    "lower": "Taste lower doses",
    "wider": "Taste doses farther apart, or ask more people",
    "between": "Taste smaller doses, none at all among them",
    "more_scores": "Taste more doses in the same range",
    "same_again": "Let every taster taste every dose",
}


def dose_text(given: ScoresAsked, dose: float, *, unit: bool = True) -> str:
    """A dose with its unit, rounded to no finer than half a just-noticeable step.

    Parameters: given, the question; dose, in its unit; unit, whether to write it.
    Returns: text.
    """
    doses = distinct_doses(given)
    finest = given.finest(dose)
    step = nice_step(finest if finest > 0.0 else (doses[-1] - doses[0]) / 40.0)
    return f"{number_text(dose, step)} {given.unit.text if unit else ''}".rstrip()


def _range_text(given: ScoresAsked, low: float, high: float) -> str:
    return f"{dose_text(given, low, unit=False)} to {dose_text(given, high)}"


def score_summary(given: ScoresAsked, finding: Finding, best: BestDose | None, tested: DoseTested) -> str:
    """What the scores show."""
    if best is None:
        why = _WHY[finding.reason]
        best_of_them = f"The best tested dose is {_plain(tested.dose)} {given.unit.text}".rstrip()
        return f"No optimum found: {why}{'' if why.endswith('?') else '.'} {best_of_them}."
    liked = given.scale == "liking"
    if best.at_the_edge:
        side = "above" if finding.reason == "above_range" else "below"
        what = "liking is best" if liked else "it would be just right"
        nearest = f"{best.text} is only the nearest tested one"
        return f"By the curve {what} {side} the tested doses: {nearest}. Extend the range."
    what = "Liked best" if liked else "Just about right"
    if finding.outcome == "best_dose_without_interval":
        return f"{what} at about {best.text}, with too few doses or scores to say how sure that is."
    low = best.low or 0.0
    if best.high is None:
        interval = f"from {dose_text(given, low)} upwards, with no end within reach"
    else:
        interval = _range_text(given, low, best.high)
    flat = ""
    if best.flat_low is not None and best.flat_high is not None and best.flat_low < best.flat_high:
        flat = (
            f" From {_range_text(given, best.flat_low, best.flat_high)} it stays within {best.flat_within:g} point of "
            f"{'the best' if liked else 'just right'}."
        )
    return f"{what} at {best.text}; 95 % interval {interval}.{flat}"


def try_text(given: ScoresAsked, direction: Direction, doses: tuple[float, ...]) -> str:
    """What to taste next, in words."""
    listed = ", ".join(_plain(dose) for dose in doses)
    return f"{_WHERE[direction]}: {listed} {given.unit.text}".rstrip() + "."


def difference_summary(report: DifferenceReport) -> str:
    """What a difference test shows."""
    chosen = f"{report.correct} of {report.n} {KINDS[report.kind]}"
    told = f"{chosen} for one sample" if report.sides == "two" else f"{chosen} right"
    needed = "none would do" if report.critical_count is None else f"{report.critical_count} are needed"
    # bounds are rounded outwards: nothing narrower is told
    least, most = floor(100.0 * report.discriminators.low), ceil(100.0 * (report.discriminators.high or 0.0))
    chance = f"{told}, {p_text(report.p)} ({needed} at {report.alpha:g})"
    if report.significant and report.sides == "two":
        return (
            f"A difference was found: {chance}. Between {least} and {most} % of people tell the samples apart (95 % "
            "interval)."
        )
    if report.significant:
        return f"A difference was found: {chance}. At least {least} % of people tell the samples apart (95 % sure)."
    return (
        f"No difference was shown: {chance}. That proves nothing: a test of this size finds the difference planned for "
        f"with a chance of {100.0 * report.power:.0f} %, and up to {most} % of people may tell the samples apart (95 % "
        "sure)."
    )


def p_text(p: float) -> str:
    """The chance of a test, however small.

    >>> p_text(0.0129733), p_text(0.0)
    ('p = 0.013', 'p below 1e-300')
    """
    return f"p = {p:.2g}" if p > 0.0 else "p below 1e-300"


def panel_text(plan: PanelPlan) -> str:
    """How many answers a test takes."""
    if plan.first is None:
        return f"more than 10,000 {KINDS[plan.kind]}"
    if plan.from_then_on is None or plan.from_then_on == plan.first:
        return f"{plan.first} {KINDS[plan.kind]}"
    return f"{plan.first} {KINDS[plan.kind]}, or {plan.from_then_on} and any larger number"


def _plain(value: float) -> str:
    return f"{value:.6g}"
