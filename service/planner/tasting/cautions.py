"""Cautions of a tasting: what the glasses do to people, and what the figures do not show.

Each at most thirty words, with the key of its source. Nothing here ever says that a drink is harmless.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Final

from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution
from service.planner.cautions import sorted_once
from service.planner.tasting.answers import BestDose, DifferenceReport
from service.planner.tasting.asked import DifferenceAsked, ScoresAsked, TastingAsked
from service.planner.tasting.difference import GUESS, STANDARD, chance_of_at_least
from service.planner.tasting.finding import LEAST_DOSES, LEAST_DOSES_OF_A_LINE, Finding, distinct_doses

SMALL_PANEL: Final = 8
"""People below whom a panel of scores is called small (our default)."""

_UNLIKELY: Final = 0.05


def cautions_of_scores(
    asked: TastingAsked, given: ScoresAsked, finding: Finding, best: BestDose | None
) -> tuple[Caution, ...]:
    """All cautions of scores at several doses, the gravest first."""
    return sorted_once([*_found(given, finding, best), *_panel(given), *_always(asked)])


def cautions_of_difference(
    asked: TastingAsked, given: DifferenceAsked, report: DifferenceReport
) -> tuple[Caution, ...]:
    """All cautions of a difference test, the gravest first."""
    return sorted_once([*_test(given, report), *_always(asked)])


def _found(given: ScoresAsked, finding: Finding, best: BestDose | None) -> Iterator[Caution]:
    doses = distinct_doses(given)
    least = LEAST_DOSES if given.scale == "liking" else LEAST_DOSES_OF_A_LINE
    if len(doses) < least:
        yield Caution(
            "few_doses",
            "warning",
            f"{len(doses)} doses fix the curve whatever was said: no interval is told. Taste at least {least}, better "
            "five.",
            OUR_DEFAULT,
        )
    if finding.outcome == "no_optimum_found":
        yield Caution(
            "no_optimum_found",
            "warning",
            "These scores do not show a best dose: the best tested one is only the best of those tasted. Taste again.",
            OUR_DEFAULT,
        )
    if best is None:
        return
    if best.at_the_edge:
        yield Caution(
            "best_dose_at_the_edge",
            "warning",
            "The curve has its best outside the tested doses: the dose shown is only the nearest tested one. Extend "
            "the range.",
            OUR_DEFAULT,
        )
    if finding.outcome == "best_dose" and finding.fit is not None:
        if best.high is None or best.low is None or best.low < doses[0] or best.high > doses[-1]:
            yield Caution(
                "interval_beyond_the_doses",
                "warning",
                "The interval reaches beyond the doses that were tasted, where the curve is only a guess: add doses "
                "there.",
                OUR_DEFAULT,
            )
        if finding.fit.exact:
            yield Caution(
                "scores_lie_on_the_curve",
                "warning",
                "The scores lie exactly on the curve, so their scatter shows no error: the interval is only half a "
                "noticeable step each way.",
                OUR_DEFAULT,
            )
        yield Caution(
            "interval_is_of_this_panel",
            "note",
            "The interval is that of these tasters' average on that day; other people, and other days, may differ.",
            PRACTICE,
        )
    if best.in_batch is not None:
        yield Caution(
            "plain_scaling",
            "note",
            "Plain scaling by volume, for drink and stock as in the glass: add four fifths, taste, then the rest; "
            "water in a stock dilutes.",
            PRACTICE,
        )


def _panel(given: ScoresAsked) -> Iterator[Caution]:
    counts = Counter(score.taster for score in given.scores)
    if None in counts:
        yield Caution(
            "tasters_not_told_apart",
            "warning",
            "Nobody knows who gave which score: generous and strict tasters cannot be told apart, and the interval "
            "takes scores of one person as independent.",
            PRACTICE,
        )
        people = max(Counter(score.dose for score in given.scores).values())
    else:
        people = len(counts)
        once = [str(taster) for taster, count in counts.items() if count == 1]
        if once:
            yield Caution(
                "taster_with_one_score",
                "note",
                f"{len(once)} of {people} tasters gave a single score, which says nothing about doses: nothing to "
                "compare it with.",
                "arithmetic",
            )
    if people < SMALL_PANEL:
        yield Caution(
            "small_panel",
            "note",
            f"{people} taster{'s' if people > 1 else ''}: what they like need not be what others like. Repeat on "
            "another day, or ask more people.",
            PRACTICE,
        )


def _test(given: DifferenceAsked, report: DifferenceReport) -> Iterator[Caution]:
    standard = STANDARD[given.kind]
    if not report.significant:
        yield Caution(
            "not_significant_proves_nothing",
            "warning",
            f"Not significant is no proof of sameness: up to {100.0 * (report.discriminators.high or 0.0):.0f} % of "
            "people may still tell these samples apart.",
            standard,
        )
    if report.power < report.power_wanted:
        yield Caution(
            "panel_too_small_for_this_test",
            "warning",
            f"{given.n} answers find the difference planned for only {100.0 * report.power:.0f} times in 100.",
            standard,
        )
    if report.critical_count is None:
        yield Caution(
            "nothing_could_be_significant",
            "warning",
            f"With {given.n} answers not even all right would be significant: this test could not find anything.",
            standard,
        )
    if given.sides == "one" and 1.0 - chance_of_at_least(given.correct + 1, given.n, GUESS[given.kind]) <= _UNLIKELY:
        yield Caution(
            "fewer_right_than_guessing",
            "warning",
            "Fewer right than guessing would give: were labels exchanged, or the question misread? One-sided, this "
            "shows no difference.",
            PRACTICE,
        )
    if given.people is None:
        yield Caution(
            "answers_taken_as_independent",
            "note",
            "Each answer is taken as another person's; say how many people there were if some answered more than once.",
            standard,
        )
    elif given.people < given.n:
        yield Caution(
            "repeated_tasters",
            "warning",
            f"{given.people} people gave {given.n} answers: the result speaks for them, not for people at large, and "
            "answers of one person are alike.",
            standard,
        )


def _always(asked: TastingAsked) -> Iterator[Caution]:
    if asked.blind is not True:
        yield Caution(
            "not_blind",
            "note" if asked.blind is None else "warning",
            "Who knows what is in the glass tastes it: code the glasses, and let somebody else pour.",
            PRACTICE,
        )
    if asked.random_order is not True:
        yield Caution(
            "order_not_random",
            "note" if asked.random_order is None else "warning",
            "The first glass, and the one after a sweet or sour one, tastes different: give each taster another random "
            "order.",
            PRACTICE,
        )
    yield ALCOHOL
    yield Caution(
        "small_sips",
        "note",
        "A series of glasses adds up: small sips, spit, water and a pause between, and few samples a day.",
        PRACTICE,
    )
    yield Caution(
        "estimate",
        "note",
        "Estimates from what these people said: verify by tasting again; follow local law and licensed practice.",
        OUR_DEFAULT,
    )
