"""What to heed along a curve: the cautions of every point, told once with the range of what differs."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from service.planner.answers import Caution
from service.planner.cautions import sorted_once
from service.planner.plain_words import joined

_FIGURE = re.compile(r"\d+(?:\.\d+)?")


def heeded(by_point: Sequence[Sequence[Caution]]) -> tuple[Caution, ...]:
    """The cautions of a curve.

    Parameters: by_point, the cautions of each point, from the first on.
    Returns: each kind once, `stop` first. A text with a figure names the points that it holds for and the range of the
    figure over them; one without belongs to the whole.

    >>> sugar = [[Caution("c", "stop", f"{g} g/L may burst it.", "s")] for g in (9, 20, 50)]
    >>> [(c.about, c.text) for c in heeded([[], *sugar])]
    [('points 2 to 4', '9 to 50 g/L may burst it.')]
    """
    alike: dict[tuple[str, str, str], list[tuple[int, Caution]]] = {}
    for number, cautions in enumerate(by_point, start=1):
        for caution in cautions:
            alike.setdefault((caution.code, caution.level, _FIGURE.sub("#", caution.text)), []).append(
                (number, caution)
            )
    return sorted_once([_told(found, len(by_point)) for found in alike.values()])


def _told(found: Sequence[tuple[int, Caution]], count: int) -> Caution:
    first = found[0][1]
    if not _FIGURE.search(first.text):
        return first
    texts = [_FIGURE.split(caution.text) for _, caution in found]
    figures = zip(*(_FIGURE.findall(caution.text) for _, caution in found), strict=True)
    told = [_from_to(column) for column in figures]
    text = texts[0][0] + "".join(figure + after for figure, after in zip(told, texts[0][1:], strict=True))
    return replace(first, text=text, about=points_in_words([number for number, _ in found], count))


def _from_to(figures: Sequence[str]) -> str:
    least, most = min(figures, key=float), max(figures, key=float)
    return least if least == most else f"{least} to {most}"


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
