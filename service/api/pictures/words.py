"""What the picture of a trade-off says: names, figures, marks, warnings, and what is poured along the curve."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.model.properties import PROPERTIES
from service.planner.answers import Level
from service.planner.plain_words import plain_names, plain_property
from service.planner.trade_off.answers import Axis, Mark, TradeOff

LINES: Final[tuple[tuple[str, tuple[float, ...], str], ...]] = (
    ("#0072B2", (), "o"),
    ("#D55E00", (6.0, 2.0), "s"),
    ("#000000", (1.0, 1.5), "^"),
    ("#009E73", (8.0, 2.0, 1.5, 2.0), "D"),
    ("#CC79A7", (3.0, 1.5), "v"),
    ("#56B4E9", (10.0, 2.0, 1.5, 2.0, 1.5, 2.0), "P"),
    ("#E69F00", (12.0, 3.5), "X"),
)
"""Colour, dashes [line widths] and marker of each line of amounts. Colours: M. Okabe and K. Ito (2008), "Color
Universal Design" (from memory), without their yellow, which is too light on white."""
SHAPES: Final = {"best": ("*", 13.0), "knee": ("D", 7.5), "low_end": ("s", 7.5), "high_end": ("s", 7.5)}
"""Marker and its size [pt] of what is special about a point; the first that holds is drawn."""
Marks = dict[int, list[Mark]]
MOST_BREAKPOINTS: Final = 12
_FIGURE: Final = re.compile(r"(\d+(?:\.\d+)?)")
_ID: Final = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")
_SMALL_SHARE: Final = 1.0 / 12.0
"""Amounts below this share of the largest get a panel of their own: in grams they may matter most."""


def _unit(axis: Axis, trade: TradeOff) -> str:
    return axis.unit or (trade.currency or "" if axis.property == "cost" else "")


def with_unit(axis: Axis, trade: TradeOff) -> str:
    """What an axis is, in full, and its unit."""
    unit = _unit(axis, trade)
    return f"{axis.meaning}, {unit}" if unit else axis.meaning


def figure_text(value: float | None, axis: Axis, trade: TradeOff) -> str:
    """A value of an axis with its unit; a dash where there is none."""
    if value is None:
        return "–"
    law = PROPERTIES.get(axis.property)
    digits = f"{value:.4g}" if law is None else f"{value:.{law.decimals}f}"
    return f"{digits} {_unit(axis, trade)}".strip()


def interval_text(value: float | None, low: float | None, high: float | None, axis: Axis, trade: TradeOff) -> str:
    """A value of an axis with its unit and, in brackets on a line of its own, its interval."""
    told = figure_text(value, axis, trade)
    if value is None or low is None or high is None:
        return told
    law = PROPERTIES.get(axis.property)
    ends = [f"{end:.4g}" if law is None else f"{end:.{law.decimals}f}" for end in (low, high)]
    return told if ends[0] == ends[1] else f"{told}\n({ends[0]} to {ends[1]})"


def plain(text: str, trade: TradeOff) -> str:
    """A text of the answer with plain names in place of ids."""
    names = plain_names(list(dict.fromkeys(a.name for p in trade.points for a in p.amounts)))
    return _ID.sub(lambda found: names.get(found[0]) or plain_names([found[0]])[found[0]], text)


def sentence(text: str) -> str:
    """The text with a capital."""
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def question_of(trade: TradeOff) -> str:
    """What the picture answers."""
    most = "least" if trade.y.wish == "least" else "most"
    return f"What is the {most} {plain_property(trade.y.property)} at each level of {plain_property(trade.x.property)}?"


def span(values: Sequence[float], margin: float, low: float | None = None) -> tuple[float, float]:
    """What a panel shows: all values with a margin, from `low` where one is given; never empty."""
    least, most = min(values) if low is None else low, max(values)
    if most - least <= 1e-9 * max(abs(most), 1e-9):
        pad = 0.05 * abs(most) or 1.0
        return (least - pad if low is None else low), most + pad
    pad = margin * (most - least)
    return (least - pad if low is None else low), most + pad


def marks_of(trade: TradeOff) -> Marks:
    """What is special about each point, by its index."""
    marks = {k: list(point.marks) for k, point in enumerate(trade.points)}
    named: tuple[tuple[int | None, Mark], ...] = ((trade.knee, "knee"), (trade.best, "best"))
    for k, mark in named:
        if k is not None and k in marks and mark not in marks[k]:
            marks[k].append(mark)
    return {k: found for k, found in marks.items() if found}


def shape_of(marks: Sequence[Mark]) -> tuple[str, float]:
    """Marker of a point, and its size [pt]."""
    return next((shape for mark, shape in SHAPES.items() if mark in marks), ("o", 4.5))


def title_of(k: int, marks: Marks) -> str:
    """Number of a point as people count, and what is special about it."""
    return f"{k + 1} {', '.join(mark.replace('_', ' ') for mark in marks.get(k, ()))}".strip()


def between_points(trade: TradeOff) -> str:
    """How far points are apart, and what holds between them."""
    if len(trade.points) < 2:
        return ""
    steps = sorted(p.steps_from_previous for p in trade.points if p.steps_from_previous is not None)
    apart = f"Neighbouring points are about {steps[len(steps) // 2]:.2g} just-noticeable steps apart. " if steps else ""
    return f"{apart}Amounts are worked out at the points; lines join them."


def cautions_of(trade: TradeOff, level: Level) -> list[str]:
    """The cautions of one level, each with the points that it belongs to."""
    return [
        plain(f"{sentence(caution.about)}: {caution.text}" if caution.about else caution.text, trade)
        for caution in trade.cautions
        if caution.level == level
    ]


@dataclass(frozen=True, slots=True)
class PouredLine:
    """One lot or addition along the curve: grams at each point, and the same in the words of the caller's scale."""

    name: str
    in_full: str
    masses_g: tuple[float, ...]
    texts: tuple[str, ...]
    style: int | None = None

    @property
    def most_g(self) -> float:
        """The most of it anywhere [g]."""
        return max(self.masses_g)

    @property
    def moves_g(self) -> float:
        """How much it changes [g]."""
        return max(self.masses_g) - min(self.masses_g)


def poured_along(trade: TradeOff) -> tuple[list[PouredLine], list[PouredLine]]:
    """What changes along the curve, those that change most with a line of their own, and what stays the same."""
    keys = dict.fromkeys((amount.kind, amount.name) for point in trade.points for amount in point.amounts)
    tables = [{(amount.kind, amount.name): amount for amount in point.amounts} for point in trade.points]
    names = plain_names(list(dict.fromkeys(name for _, name in keys)))
    every = []
    for key in keys:
        found = [table.get(key) for table in tables]
        every.append(
            PouredLine(
                names[key[1]],
                _in_full(key[1], names[key[1]]),
                tuple(0.0 if amount is None else amount.mass_g for amount in found),
                tuple("none" if amount is None else amount.amount_text for amount in found),
            )
        )
    every = [one for one in every if one.most_g > 0.0]
    changing = [one for one in every if one.moves_g > 1e-3 * one.most_g and len(set(one.texts)) > 1]
    drawn = sorted(changing, key=lambda one: -one.moves_g)[: len(LINES)]
    styled = [replace(one, style=drawn.index(one) if one in drawn else None) for one in changing]
    return styled, [one for one in every if one not in changing]


def _in_full(name: str, short: str) -> str:
    """The plain name, and what of its id is not in it: `tart cherry concentrate (68)`."""
    said = {*short.split(), "juice"}
    rest = [word for word in re.split(r"[_ ]", name) if word not in said]
    return f"{short} ({' '.join(rest)})" if rest and short != name.replace("_", " ") else short


def split_by_size(drawn: Sequence[PouredLine]) -> list[list[PouredLine]]:
    """The lines of one panel, or of two where some amounts are too small to be seen beside the largest."""
    ranked = sorted(drawn, key=lambda one: -one.most_g)
    if len(ranked) > 1 and ranked[-1].most_g < _SMALL_SHARE * ranked[0].most_g:
        cut = max(range(1, len(ranked)), key=lambda k: ranked[k - 1].most_g / ranked[k].most_g)
        return [[one for one in drawn if one in ranked[:cut]], [one for one in drawn if one in ranked[cut:]]]
    return [list(drawn)] if drawn else []


def mass_unit(most_g: float, units: str) -> tuple[str, float]:
    """The unit that a panel of masses is drawn in, and its grams (NIST Handbook 44, Appendix C: exact)."""
    if units == "metric":
        return ("kg", 1000.0) if most_g >= 1000.0 else ("g", 1.0)
    return ("lb", 453.59237) if most_g >= 453.59237 else ("oz", 28.349523125)
