"""What to heed along a curve: the cautions of every point, told once with the range of what differs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from service.planner.answers import Caution
from service.planner.cautions import sorted_once
from service.planner.plain_words import joined

_FIGURE = re.compile(r"\d+(?:\.\d+)?")
_PERHAPS = re.compile(r"perhaps (?:only )?$")
_UPPER_END = re.compile(r"(?:\bto|as high as)(?: about)? $")


def heeded(by_point: Sequence[Sequence[Caution]]) -> tuple[Caution, ...]:
    """The cautions of a curve.

    Parameters: by_point, the cautions of each point, from the first on.
    Returns: each kind once, `stop` first. A text with a figure names the points that it holds for and the range of the
    figure over them, or its worst where it is the end of an interval; one without belongs to the whole.

    >>> sugar = [[Caution("c", "stop", f"{g} g/L (perhaps {g + 5}) may burst it.", "s")] for g in (9, 20, 50)]
    >>> [(c.about, c.text) for c in heeded([[], *sugar])]
    [('points 2 to 4', '9 to 50 g/L (at worst 55) may burst it.')]
    """
    alike: dict[tuple[str, str, str], list[tuple[int, Caution]]] = {}
    for number, cautions in enumerate(by_point, start=1):
        for caution in cautions:
            kind = _FIGURE.sub("#", caution.text)
            alike.setdefault((caution.code, caution.level, kind), []).append((number, caution))
    return sorted_once([_told(found, len(by_point)) for found in alike.values()])


def _told(found: Sequence[tuple[int, Caution]], count: int) -> Caution:
    first = found[0][1]
    if not _FIGURE.search(first.text):
        return first
    words = _FIGURE.split(first.text)
    text = words[0]
    columns = zip(*(_FIGURE.findall(caution.text) for _, caution in found), strict=True)
    for figures, after in zip(columns, words[1:], strict=True):
        text = _over_them(text, figures, after) + after
    return replace(first, text=text, about=points_in_words([number for number, _ in found], count))


def _over_them(text: str, figures: Sequence[str], after: str) -> str:
    """A text with what a figure behind it is over the points: its range, or the worst where it is an end already."""
    least, most = min(figures, key=float), max(figures, key=float)
    if least == most:
        return text + least
    if _PERHAPS.search(text):
        worst = least if text.endswith("only ") else most
        return _PERHAPS.sub("at worst ", text) + worst
    if after.startswith(" to "):
        return text + least
    return text + (most if _UPPER_END.search(text) else f"{least} to {most}")


def points_in_words(numbers: Sequence[int], count: int) -> str:
    """Points of a curve by their numbers: `points 2 to 4 and 7`.

    >>> points_in_words([2, 3, 4, 7], 9), points_in_words([3], 9), points_in_words([1, 2], 2)
    ('points 2 to 4 and 7', 'point 3', 'every point')
    """
    if len(numbers) == count:
        return "every point"
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = [str(run[0]) if len(run) == 1 else f"{run[0]} {'and' if len(run) == 2 else 'to'} {run[-1]}" for run in runs]
    return f"{'point' if len(numbers) == 1 else 'points'} {joined(words)}"
