"""Scores at several doses, judged and put into an answer."""

from __future__ import annotations

from math import log

from service import MODEL_VERSION
from service.catalogue.loader import data_version
from service.planner.answers import NextReading
from service.planner.steps import STEPS_SOURCE
from service.planner.tasting.answers import (
    BestDose,
    DoseTested,
    ScaledDose,
    ScoresFit,
    TasterReport,
    Tasting,
    TryNext,
)
from service.planner.tasting.asked import ScoresAsked, TastingAsked
from service.planner.tasting.assumptions import assumed_in_scores
from service.planner.tasting.best_dose import best_liked
from service.planner.tasting.cautions import cautions_of_scores
from service.planner.tasting.finding import Finding, best_tested, doses_to_try, level_fit, nice_step, tested_doses
from service.planner.tasting.handed_on import next_of_scores
from service.planner.tasting.just_right import just_right
from service.planner.tasting.least_squares import Fit, quantile_t
from service.planner.tasting.shown import cited, points, rounded, rounded_or_none
from service.planner.tasting.words import dose_text, score_summary, try_text
from service.quantities import System, mass_text, volume_text

_STANDS_ON = ("fieller_1954", STEPS_SOURCE)


def judge_scores(asked: TastingAsked, given: ScoresAsked) -> Tasting:
    """The best dose with its interval, or why there is none and what to taste next.

    Parameters: asked, how the glasses were served; given, scores at two doses or more.
    Returns: Tasting.
    Source: as `best_liked` and `just_right`.
    """
    finding = best_liked(given) if given.scale == "liking" else just_right(given)
    fit = finding.fit
    levels = fit if given.scale == "just_about_right" else level_fit(given, fit)
    means = tested_doses(given, levels)
    tested = tuple(
        DoseTested(
            dose=one.dose,
            scores=one.count,
            mean=points(one.mean),
            adjusted_mean=points(one.adjusted),
            expected=None if fit is None else points(fit.at(_place(given, one.dose))),
        )
        for one in means
    )
    top = best_tested(given, means)
    champion = next(one for one in tested if one.dose == top.dose)
    best = _best(asked, given, finding)
    tries = None
    if finding.direction is not None:
        doses = doses_to_try(given, finding.direction, top.dose)
        tries = TryNext(finding.direction, doses, try_text(given, finding.direction, doses))
    cautions = cautions_of_scores(asked, given, finding, best)
    mean = sum(score.score for score in given.scores) / len(given.scores)
    return Tasting(
        outcome=finding.outcome,
        summary=score_summary(given, finding, best, champion),
        scale=given.scale,
        best=best,
        best_tested=champion,
        tested=tested,
        tasters=_tasters(given, levels),
        fit=None if fit is None else _fit(given, fit),
        try_next=tries,
        difference=None,
        next=next_of_scores(asked, given, best, tries, mean),
        units=asked.system,
        assumed=assumed_in_scores(asked, given),
        cautions=cautions,
        next_reading=_tastings(best, tries),
        sources=cited(_STANDS_ON, cautions),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=asked.echo.batch,
        date=asked.echo.date,
        note=asked.echo.note,
    )


def _best(asked: TastingAsked, given: ScoresAsked, finding: Finding) -> BestDose | None:
    dose = finding.dose
    if dose is None or finding.score is None:
        return None
    return BestDose(
        dose=rounded(dose),
        unit=given.unit.text,
        text=dose_text(given, dose),
        low=rounded_or_none(finding.low),
        high=rounded_or_none(finding.high),
        widened=finding.widened,
        half_step=rounded(given.finest(dose)),
        standard_error=rounded_or_none(finding.standard_error),
        delta_low=rounded_or_none(finding.delta_low),
        delta_high=rounded_or_none(finding.delta_high),
        score=points(finding.score),
        flat_low=rounded_or_none(finding.flat_low),
        flat_high=rounded_or_none(finding.flat_high),
        flat_within=given.flat,
        at_the_edge=finding.outcome == "extend_range",
        beyond=rounded_or_none(finding.fitted) if finding.outcome == "extend_range" else None,
        in_glass=None if given.glass_ml is None else _scaled(given, finding, given.glass_ml / 1000.0, asked.system),
        in_batch=None if given.batch_l is None else _scaled(given, finding, given.batch_l, asked.system),
    )


def _scaled(given: ScoresAsked, finding: Finding, litres: float, system: System) -> ScaledDose | None:
    """The best dose for a volume of drink; None where the unit of the dose cannot be scaled."""
    unit = given.unit
    into_ml = given.glass_ml if unit.per_ml is None else unit.per_ml
    if unit.kind is None or into_ml is None or finding.dose is None:
        return None
    each = unit.amount * litres * 1000.0 / into_ml

    def told(dose: float | None) -> str | None:
        return None if dose is None else _amount_text(dose * each, unit.kind, system)

    return ScaledDose(
        volume_l=rounded(litres),
        amount=rounded(finding.dose * each),
        unit=unit.kind,
        amount_text=_amount_text(finding.dose * each, unit.kind, system),
        low_text=told(finding.low),
        high_text=told(finding.high),
    )


def _amount_text(amount: float, kind: str | None, system: System) -> str:
    """An amount to about one part in a hundred: no tasting tells more."""
    step = nice_step(amount / 50.0) if amount > 1e-6 else 1e-6
    return mass_text(amount, system, step) if kind == "g" else volume_text(amount, system, step)


def _place(given: ScoresAsked, dose: float) -> float:
    return log(dose + given.before) if given.scale == "just_about_right" else dose


def _fit(given: ScoresAsked, fit: Fit) -> ScoresFit:
    """The curve in the unit of the doses instead of the scaled one it was fitted in."""
    bend = 0.0 if fit.curvature is None else fit.curvature / fit.half**2
    slope = fit.slope / fit.half - 2.0 * bend * fit.centre
    intercept = fit.level - fit.slope / fit.half * fit.centre + bend * fit.centre**2
    return ScoresFit(
        curve="parabola" if given.scale == "liking" else "line_in_ln_dose",
        intercept=rounded(intercept),
        slope=rounded(slope),
        curvature=None if fit.curvature is None else rounded(bend),
        scatter=points(fit.scatter),
        degrees_of_freedom=fit.df,
        t=rounded(quantile_t(fit.df)) if fit.df > 0 else None,
    )


def _tasters(given: ScoresAsked, fit: Fit | None) -> tuple[TasterReport, ...]:
    found = []
    for taster in dict.fromkeys(score.taster for score in given.scores):
        if taster is None:
            return ()
        own = [score for score in given.scores if score.taster == taster]
        if given.scale == "liking":
            favourite = min(own, key=lambda score: (-score.score, score.dose))
        else:
            favourite = min(own, key=lambda score: (abs(score.score), score.dose))
        level = None if fit is None else points(fit.levels[taster] - fit.level)
        mean = sum(score.score for score in own) / len(own)
        found.append(TasterReport(taster, len(own), points(mean), level, favourite.dose))
    return tuple(found)


def _tastings(best: BestDose | None, tries: TryNext | None) -> tuple[NextReading, ...]:
    found = []
    if tries is not None:
        found.append(NextReading(tries.text.removesuffix("."), "coded glasses, random order for each taster"))
    if best is not None and not best.at_the_edge:
        unit = best.unit or "dose"
        found.append(
            NextReading(
                "blend the best dose, and taste it blind against one just-noticeable step less",
                "a 2-AFC test: which is stronger?",
                best.dose,
                unit,
                low=best.low,
                high=best.high,
            )
        )
    return tuple(found)
