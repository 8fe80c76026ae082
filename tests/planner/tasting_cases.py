"""Scores and tests to judge, and what the tests of tastings read off an answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from service.planner.tasting.answers import Tasting
from service.planner.tasting.asked import DifferenceAsked, DoseUnit, Score, ScoresAsked, TastingAsked
from service.planner.tasting.judge import judge_tasting

DOSES = (0.0, 10.0, 20.0, 30.0, 40.0)
WORKED = (4.0, 5.6, 6.6, 6.4, 5.2)
PER_LITRE = DoseUnit("g/L lemon juice", "g", 1.0, 1000.0, "lemon juice")


def by_taster(doses: Sequence[float], tasters: Mapping[Any, Sequence[float | None]]) -> tuple[Score, ...]:
    """Scores of every taster at every dose, None where one missed it."""
    return tuple(
        Score(taster, dose, score)
        for taster, scores in tasters.items()
        for dose, score in zip(doses, scores, strict=True)
        if score is not None
    )


def liking(tasters: Mapping[Any, Sequence[float | None]], doses: Sequence[float] = DOSES, **more: Any) -> ScoresAsked:
    return ScoresAsked(by_taster(doses, tasters), **more)


def right(
    tasters: Mapping[Any, Sequence[float | None]], doses: Sequence[float] = (10.0, 20.0, 40.0), **more: Any
) -> ScoresAsked:
    return ScoresAsked(by_taster(doses, tasters), "just_about_right", **more)


def judged(asked: ScoresAsked | DifferenceAsked, **more: Any) -> Tasting:
    if isinstance(asked, ScoresAsked):
        return judge_tasting(TastingAsked(scores=asked, **more))
    return judge_tasting(TastingAsked(difference=asked, **more))


def codes(answer: Tasting) -> dict[str, str]:
    return {caution.code: caution.level for caution in answer.cautions}
