"""A difference test, judged and put into an answer."""

from __future__ import annotations

from service import MODEL_VERSION
from service.catalogue.loader import data_version
from service.planner.answers import NextReading
from service.planner.tasting.answers import Bounded, DifferenceReport, PanelPlan, Tasting
from service.planner.tasting.asked import (
    DEFAULT_ALPHA,
    DEFAULT_DISCRIMINATORS,
    DEFAULT_POWER,
    DifferenceAsked,
    Kind,
    TastingAsked,
)
from service.planner.tasting.assumptions import assumed_in_difference
from service.planner.tasting.cautions import cautions_of_difference
from service.planner.tasting.difference import (
    GUESS,
    STANDARD,
    bounds_of_share,
    critical_count,
    d_prime_from_right,
    discriminators_from_right,
    p_value,
    panel_sizes,
    power,
    right_from_d_prime,
    right_from_discriminators,
)
from service.planner.tasting.handed_on import next_of_difference
from service.planner.tasting.shown import cited, finite_or_none, rounded
from service.planner.tasting.words import difference_summary, panel_text

_STANDS_ON = ("fao_348", "abbott_1925", "clopper_pearson_1934", "ennis_1993")


def judge_difference(asked: TastingAsked, given: DifferenceAsked) -> Tasting:
    """Whether a difference was shown, how many people tell the samples apart, and how many answers it takes next time.

    Parameters: asked, how the glasses were served; given, the test.
    Returns: Tasting.
    Source: as `service.planner.tasting.difference`.
    """
    report = _report(given)
    cautions = cautions_of_difference(asked, given, report)
    return Tasting(
        outcome="difference_found" if report.significant else "no_difference_shown",
        summary=difference_summary(report),
        scale=None,
        best=None,
        best_tested=None,
        tested=(),
        tasters=(),
        fit=None,
        try_next=None,
        difference=report,
        next=next_of_difference(asked, given, report, _planned_right(given)),
        units=asked.system,
        assumed=assumed_in_difference(asked, given),
        cautions=cautions,
        next_reading=(
            NextReading(
                f"for {100.0 * report.power_wanted:g} % power plan "
                + "; or ".join(map(panel_text, report.next_panels)),
                "coded glasses, random order for each taster",
            ),
        ),
        sources=cited((*_STANDS_ON, STANDARD[given.kind]), cautions),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=asked.echo.batch,
        date=asked.echo.date,
        note=asked.echo.note,
    )


def _planned_share(given: DifferenceAsked) -> float | None:
    """The share of discriminators that is planned for; None where a distance is."""
    if given.d_prime is not None:
        return None
    return DEFAULT_DISCRIMINATORS if given.discriminators is None else given.discriminators


def _planned_right(given: DifferenceAsked, of: Kind | None = None) -> float:
    """Chance of a right answer with the difference that is planned for, in a test of the same kind or another."""
    share, kind = _planned_share(given), given.kind if of is None else of
    if share is not None:
        return right_from_discriminators(kind, share)
    return right_from_d_prime(kind, given.d_prime or 0.0)


def _report(given: DifferenceAsked) -> DifferenceReport:
    kind, n, sides = given.kind, given.n, given.sides
    alpha = DEFAULT_ALPHA if given.alpha is None else given.alpha
    wanted = DEFAULT_POWER if given.power_wanted is None else given.power_wanted
    share = _planned_share(given)

    def right_of(of: Kind) -> float:
        return _planned_right(given, of)

    p = p_value(kind, n, given.correct, sides)
    counted = max(given.correct, n - given.correct) if sides == "two" else given.correct
    low, high = bounds_of_share(n, counted, 0.975 if sides == "two" else 0.95)
    # the same d′ in every kind of test is the same pair of drinks; the same share of discriminators is not
    kinds = (kind, *(other for other in GUESS if other != kind)) if share is None and sides == "one" else (kind,)
    return DifferenceReport(
        kind=kind,
        standard=STANDARD[kind],
        n=n,
        correct=given.correct,
        sides=sides,
        guessing=rounded(GUESS[kind]),
        alpha=alpha,
        p=rounded(p),
        significant=p <= alpha * (1.0 + 1e-12),
        critical_count=critical_count(kind, n, alpha, sides),
        discriminators=Bounded(
            rounded(discriminators_from_right(kind, counted / n)),
            rounded(discriminators_from_right(kind, low)),
            rounded(discriminators_from_right(kind, high)),
        ),
        d_prime=Bounded(
            finite_or_none(d_prime_from_right(kind, counted / n)),
            finite_or_none(d_prime_from_right(kind, low)) or 0.0,
            finite_or_none(d_prime_from_right(kind, high)),
        ),
        planned_discriminators=share,
        planned_d_prime=given.d_prime,
        power=rounded(power(kind, n, alpha, right_of(kind), sides)),
        power_wanted=wanted,
        next_panels=tuple(PanelPlan(of, *panel_sizes(of, alpha, right_of(of), wanted, sides)) for of in kinds),
    )
