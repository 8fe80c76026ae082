"""What leaves an interval open, in words: which reading to take first."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from service.planner.answers import LeastKnown
from service.planner.intervals import THE_MODEL, Interval, Part
from service.planner.plain_words import in_plain_words, plain_property

TOLD: Final = ("gravity", "abv_percent", "titratable_acidity", "ph", "volume", "sugar_g_per_l", "citrus_percent")
"""Properties whose largest part is told."""

_NEARLY_ALL, _MOST, _HALF, _A_THIRD = 0.9, 0.6, 0.4, 0.27


def least_known(intervals: Mapping[str, Interval]) -> tuple[LeastKnown, ...]:
    """The largest part of the variance of each property that makers read or taste.

    Parameters: intervals, by property.
    Returns: one LeastKnown for each of TOLD that has an interval of any width.
    """
    largest = {name: intervals[name].largest for name in TOLD if name in intervals and intervals[name].sd > 0.0}
    # what everything else is called besides, so that no two things are called alike
    others = [by if isinstance(by, str) else by.of for i in intervals.values() for own, by in i.variances if own]
    ids = "\n".join(dict.fromkeys([*(part.name for part in largest.values()), *others]))
    said = dict(zip(ids.split("\n"), in_plain_words(ids).split("\n"), strict=True))
    return tuple(
        LeastKnown(name, part.name, round(part.share, 2), _words(name, part, said[part.name]))
        for name, part in largest.items()
    )


def share_in_words(share: float) -> str:
    """A share of the whole as it is said.

    >>> [share_in_words(s) for s in (0.95, 0.7, 0.5, 0.3, 0.1)]
    ['nearly all', 'most', 'about half', 'about a third', '10 %']
    """
    if share >= _NEARLY_ALL:
        return "nearly all"
    if share >= _MOST:
        return "most"
    if share >= _HALF:
        return "about half"
    return "about a third" if share >= _A_THIRD else f"{100.0 * share:.0f} %"


def _words(name: str, part: Part, of: str) -> str:
    how = part.unknown.measure_by if part.unknown is not None else ""
    text = f"{share_in_words(part.share).capitalize()} of the spread in {plain_property(name)} is the {of}"
    if part.name == THE_MODEL:
        text = text.replace("is the the model", "is the model's own")
    return f"{text}: {how}." if how else f"{text}."
