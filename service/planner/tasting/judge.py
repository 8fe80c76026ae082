"""What a tasting shows: the one question that it asks, answered."""

from __future__ import annotations

from service.errors import InputError
from service.planner.tasting.answers import Tasting
from service.planner.tasting.asked import TastingAsked
from service.planner.tasting.judged_difference import judge_difference
from service.planner.tasting.judged_scores import judge_scores


def judge_tasting(asked: TastingAsked) -> Tasting:
    """The best dose of a tasting with its interval, or what a difference test shows.

    Parameters: asked, scores at two doses or more, or a difference test.
    Returns: Tasting.
    Raises: InputError where it holds neither or both.

    Example: six triangles, four right: not significant, and 35 % power if half tell the samples apart (computed).

    >>> from service.planner.tasting.asked import DifferenceAsked
    >>> found = judge_tasting(TastingAsked(difference=DifferenceAsked("triangle", 6, 4)))
    >>> found.outcome, found.difference.critical_count, round(found.difference.power, 2)
    ('no_difference_shown', 5, 0.35)
    """
    if asked.scores is not None and asked.difference is None:
        return judge_scores(asked, asked.scores)
    if asked.difference is not None and asked.scores is None:
        return judge_difference(asked, asked.difference)
    raise InputError("Give doses with their scores, or a difference_test: one of the two.")
