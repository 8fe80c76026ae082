"""The picture of a trade-off: the curve, what is poured along it, and in words what is needed to choose a point.

Drawn with matplotlib (the extra `plots`), which is imported only when a picture is asked for. Everything is placed in
points [pt, 1/72 in] on one page of fixed width, so both formats hold the same picture. Words are measured in DejaVu
Sans, which matplotlib brings along; a character that it lacks becomes an empty square. Shapes, dashes, numbers and
words carry the meaning; colour only helps, so that a print in grey says the same.
"""

from __future__ import annotations

import io
import math
import re
import threading
import unicodedata
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from html import escape
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final, Literal

from service.errors import MissingExtraError
from service.model.properties import PROPERTIES
from service.planner.trade_off.answers import Axis, Mark, TradeOff, TradePoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

__all__ = ["trade_off_picture"]

_WIDTH, _EDGE, _LEFT, _RIGHT = 648.0, 22.0, 60.0, 150.0
"""Width of the page, margin of text, and room left and right of the panels [pt]."""
_INSIDE: Final = _WIDTH - 2.0 * _EDGE
_SMALL, _BODY, _TITLE = 9.0, 9.5, 13.0
_INK, _SOFT, _FAINT = "#1a1a1a", "#4d4d4d", "#dedede"
_PNG_DPI: Final = 200
_SETTINGS: Final[dict[str, Any]] = {
    "svg.fonttype": "none",  # words stay words
    "svg.hashsalt": "trade-off",  # the same picture, the same bytes
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "font.family": ["DejaVu Sans"],
}
_DRAWING: Final = threading.Lock()
"""matplotlib's settings are one for the whole process: they are ours while a picture is drawn, and put back."""

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
_SHAPES: Final = {"best": ("*", 13.0), "knee": ("D", 7.5), "low_end": ("s", 7.5), "high_end": ("s", 7.5)}
"""Marker and its size [pt] of what is special about a point; the first that holds is drawn."""
_Marks = dict[int, list[Mark]]
_MOST_BREAKPOINTS: Final = 12
_MOST_ROWS: Final = 12
_SMALL_SHARE: Final = 1.0 / 12.0
"""Amounts below this share of the largest get a panel of their own: in grams they may matter most."""


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a panel stands on the page [pt, from the top], and the ranges that it shows."""

    top: float
    height: float
    xs: tuple[float, float]
    ys: tuple[float, float]

    @property
    def bottom(self) -> float:
        return self.top + self.height

    def across(self, x: float) -> float:
        return _LEFT + (x - self.xs[0]) / (self.xs[1] - self.xs[0]) * (_WIDTH - _LEFT - _RIGHT)

    def down(self, y: float) -> float:
        return self.bottom - (y - self.ys[0]) / (self.ys[1] - self.ys[0]) * self.height


class _Lettering:
    """Measures, cleans and wraps words."""

    def __init__(self) -> None:
        from matplotlib.font_manager import FontProperties, findfont, get_font
        from matplotlib.textpath import text_to_path

        faces = [FontProperties(family=["DejaVu Sans"], weight=weight) for weight in ("normal", "bold")]
        self._glyphs = set.intersection(*(set(get_font(findfont(face)).get_charmap()) for face in faces))

        @cache
        def face(size: float, bold: bool) -> FontProperties:
            return FontProperties(family=["DejaVu Sans"], weight="bold" if bold else "normal", size=size)

        @cache
        def em(word: str, bold: bool) -> float:
            """Width of a word at a size of 1 [pt]."""
            return float(text_to_path.get_text_width_height_descent(word, face(100.0, bold), False)[0]) / 100.0

        self.face, self._em = face, em

    def width(self, text: str, size: float = _BODY, bold: bool = False) -> float:
        """Width [pt]; words are measured one by one, since most of them come again."""
        words = text.split(" ")
        gap = self._em("a b", bold) - self._em("a", bold) - self._em("b", bold)
        return size * (sum(self._em(word, bold) for word in words if word) + gap * (len(words) - 1))

    def clean(self, text: str) -> str:
        return "".join(c if ord(c) in self._glyphs else "□" for c in _readable(text))

    def wrap(self, text: str, width: float, size: float = _BODY, bold: bool = False, most: int = 99) -> list[str]:
        """Lines no wider than `width` [pt], at most `most` of them; what is cut off ends in an ellipsis.

        A figure stays with its unit.
        """
        lines, line = [], ""
        glued = re.sub(r"(?<=\babout) (?=\d)|(?<=\d) (?=[^\d\s])", "\u00a0", self.clean(text))
        for word in glued.split(" "):
            both = f"{line} {word}" if line else word
            if self.width(both, size, bold) <= width:
                line = both
                continue
            if line:
                lines.append(line)
            line = word
            while self.width(line, size, bold) > width and len(line) > 1:
                fit = next(
                    k for k in range(len(line) - 1, 0, -1) if k == 1 or self.width(line[:k], size, bold) <= width
                )
                lines.append(line[:fit])
                line = line[fit:]
        lines.append(line)
        if len(lines) > most:
            last = lines[most - 1]
            while last and self.width(last + "…", size, bold) > width:
                last = last[:-1]
            lines = [*lines[: most - 1], last + "…"]
        return [line.replace("\u00a0", " ") for line in lines]


class _Page:
    """A sheet whose places are points from its top left corner."""

    def __init__(self, height: float, lettering: _Lettering) -> None:
        from matplotlib.figure import Figure

        self.height, self.lettering = height, lettering
        self.figure: Figure = Figure(figsize=(_WIDTH / 72.0, height / 72.0), facecolor="white")

    def text(self, x: float, y: float, words: str, size: float = _BODY, bold: bool = False, **options: Any) -> None:
        """Write one line with its base line at y."""
        face = self.lettering.face(size, bold)
        options = {"color": _INK, "va": "baseline", **options}
        self.figure.text(x / _WIDTH, 1.0 - y / self.height, words, fontproperties=face, **options)

    def line(self, xs: Sequence[float], ys: Sequence[float], **options: Any) -> None:
        from matplotlib.lines import Line2D

        shown = [x / _WIDTH for x in xs], [1.0 - y / self.height for y in ys]
        self.figure.add_artist(Line2D(*shown, **options))

    def axes(self, frame: _Frame, numbered: bool, ticks: int) -> Axes:
        """An empty panel with a quiet grid; the figures of the first property stand below it where `numbered`."""
        from matplotlib.ticker import MaxNLocator, ScalarFormatter

        place = (
            _LEFT / _WIDTH,
            1.0 - frame.bottom / self.height,
            (_WIDTH - _LEFT - _RIGHT) / _WIDTH,
            frame.height / self.height,
        )
        axes: Axes = self.figure.add_axes(place, facecolor="none", xlim=frame.xs, ylim=frame.ys)
        for side, count in ((axes.xaxis, 8), (axes.yaxis, ticks)):
            plain = ScalarFormatter(useOffset=False)
            plain.set_scientific(False)
            side.set_major_locator(MaxNLocator(count))
            side.set_major_formatter(plain)
        axes.spines[["top", "right"]].set_visible(False)
        axes.spines[["left", "bottom"]].set_color(_SOFT)
        axes.tick_params(labelsize=_SMALL, labelcolor=_INK, color=_SOFT, length=3.0, labelbottom=numbered)
        axes.grid(color=_FAINT, linewidth=0.6)
        axes.set_axisbelow(True)
        return axes


@dataclass(frozen=True, slots=True)
class _Block:
    """A piece of the page: its height [pt], and what draws it below a given top [pt]."""

    height: float
    draw: Callable[[_Page, float], None]


def _readable(text: str) -> str:
    """One line without controls, which may turn the order of letters round, or what XML 1.0 cannot hold."""
    instead = {"Cc": " ", "Cf": "", "Cs": "□", "Cn": "□", "Co": "□"}
    kept = (instead.get(unicodedata.category(c), c) for c in unicodedata.normalize("NFC", text))
    return " ".join("".join(kept).split())


def _lines(
    lines: Sequence[str], size: float = _BODY, bold: bool = False, indent: float = 0.0, after: float = 4.0
) -> _Block:
    def draw(page: _Page, top: float) -> None:
        for k, words in enumerate(lines):
            page.text(_EDGE + indent, top + (k + 0.8) * 1.3 * size, words, size, bold)

    return _Block(1.3 * size * len(lines) + after, draw)


def _entry(lettering: _Lettering, tag: str, text: str, most: int = 2) -> _Block:
    """A bold tag, and words beside it."""
    indent = max(18.0, lettering.width(lettering.clean(tag), _BODY, True) + 6.0)
    words = _lines(lettering.wrap(text, _INSIDE - indent, most=most), indent=indent, after=2.0)

    def draw(page: _Page, top: float) -> None:
        page.text(_EDGE, top + 0.8 * 1.3 * _BODY, lettering.clean(tag), _BODY, True)
        words.draw(page, top)

    return _Block(words.height, draw)


def _heading(text: str) -> list[_Block]:
    return [_gap(6.0), _lines([text], _BODY, True, after=2.0)]


def _gap(height: float) -> _Block:
    return _Block(height, lambda _page, _top: None)


def _short(axis: Axis) -> str:
    """What an axis is, up to the first remark."""
    return re.split(r"[,;(]", axis.meaning, maxsplit=1)[0].strip() or axis.property.replace("_", " ")


def _unit(axis: Axis, trade: TradeOff) -> str:
    return axis.unit or (trade.currency or "" if axis.property == "cost" else "")


def _with_unit(axis: Axis, trade: TradeOff) -> str:
    unit = _unit(axis, trade)
    return f"{axis.meaning}, {unit}" if unit else axis.meaning


def _figure_text(value: float | None, axis: Axis, trade: TradeOff) -> str:
    if value is None:
        return "–"
    law = PROPERTIES.get(axis.property)
    digits = f"{value:.4g}" if law is None else f"{value:.{law.decimals}f}"
    return f"{digits} {_unit(axis, trade)}".strip()


def _name(name: str) -> str:
    return name.replace("_", " ")


def _question(trade: TradeOff) -> str:
    most = "least" if trade.y.wish == "least" else "most"
    return f"What is the {most} {_short(trade.y)} at each level of {_short(trade.x)}?"


def _range(values: Sequence[float], margin: float, low: float | None = None) -> tuple[float, float]:
    """What a panel shows: all values with a margin, from `low` where one is given; never empty."""
    least, most = min(values) if low is None else low, max(values)
    if most - least <= 1e-9 * max(abs(most), 1e-9):
        pad = 0.05 * abs(most) or 1.0
        return (least - pad if low is None else low), most + pad
    pad = margin * (most - least)
    return (least - pad if low is None else low), most + pad


def _marks(trade: TradeOff) -> _Marks:
    """What is special about each point, by its index."""
    marks = {k: list(point.marks) for k, point in enumerate(trade.points)}
    named: tuple[tuple[int | None, Mark], ...] = ((trade.knee, "knee"), (trade.best, "best"))
    for k, mark in named:
        if k is not None and k in marks and mark not in marks[k]:
            marks[k].append(mark)
    return {k: found for k, found in marks.items() if found}


def _shape(marks: Sequence[Mark]) -> tuple[str, float]:
    """Marker of a point, and its size [pt]."""
    return next((shape for mark, shape in _SHAPES.items() if mark in marks), ("o", 4.5))


def _title(k: int, marks: _Marks) -> str:
    """Number of a point as people count, and what is special about it."""
    return f"{k + 1} {', '.join(mark.replace('_', ' ') for mark in marks.get(k, ()))}".strip()


@dataclass(frozen=True, slots=True)
class _Poured:
    """One lot or addition along the curve: grams at each point, and the same in the words of the caller's scale."""

    name: str
    masses_g: tuple[float, ...]
    texts: tuple[str, ...]
    style: int | None = None

    @property
    def most_g(self) -> float:
        return max(self.masses_g)

    @property
    def moves_g(self) -> float:
        return max(self.masses_g) - min(self.masses_g)


def _poured(points: Sequence[TradePoint]) -> tuple[list[_Poured], list[_Poured]]:
    """What changes along the curve, those that change most with a line of their own, and what stays the same."""
    keys = dict.fromkeys((amount.kind, amount.name) for point in points for amount in point.amounts)
    tables = [{(amount.kind, amount.name): amount for amount in point.amounts} for point in points]
    every = []
    for key in keys:
        found = [table.get(key) for table in tables]
        every.append(
            _Poured(
                _name(key[1]),
                tuple(0.0 if amount is None else amount.mass_g for amount in found),
                tuple("none" if amount is None else amount.amount_text for amount in found),
            )
        )
    every = [one for one in every if one.most_g > 0.0]
    changing = [one for one in every if one.moves_g > 1e-3 * one.most_g and len(set(one.texts)) > 1]
    drawn = sorted(changing, key=lambda one: -one.moves_g)[: len(LINES)]
    styled = [replace(one, style=drawn.index(one) if one in drawn else None) for one in changing]
    return styled, [one for one in every if one not in changing]


def _split(drawn: Sequence[_Poured]) -> list[list[_Poured]]:
    """The lines of one panel, or of two where some amounts are too small to be seen beside the largest."""
    ranked = sorted(drawn, key=lambda one: -one.most_g)
    if len(ranked) > 1 and ranked[-1].most_g < _SMALL_SHARE * ranked[0].most_g:
        cut = max(range(1, len(ranked)), key=lambda k: ranked[k - 1].most_g / ranked[k].most_g)
        return [[one for one in drawn if one in ranked[:cut]], [one for one in drawn if one in ranked[cut:]]]
    return [list(drawn)] if drawn else []


def _mass_unit(most_g: float, units: str) -> tuple[str, float]:
    """The unit that a panel of masses is drawn in, and its grams (NIST Handbook 44, Appendix C: exact)."""
    if units == "metric":
        return ("kg", 1000.0) if most_g >= 1000.0 else ("g", 1.0)
    return ("lb", 453.59237) if most_g >= 453.59237 else ("oz", 28.349523125)


def _breakpoint_lines(axes: Axes, trade: TradeOff) -> None:
    for change in trade.breakpoints:
        axes.axvline(change.x, color="#8a8a8a", linewidth=0.9, linestyle=(0, (1.0, 2.0)), zorder=1)


class _Curve:
    """The panel of the curve: points with their numbers, marks, intervals and the letters of the breakpoints."""

    HEIGHT: Final = 190.0

    def __init__(self, trade: TradeOff, lettering: _Lettering, xs: tuple[float, float]) -> None:
        self.trade, self.lettering, self.xs = trade, lettering, xs
        self.marks = _marks(trade)
        values = [value for p in trade.points for value in (p.y, p.y_low, p.y_high) if value is not None]
        self.ys = _range([*values, *(c.y for c in trade.breakpoints)], 0.14)
        self.rows = self._letter_rows()

    def _letter_rows(self) -> list[int]:
        """The row above the panel in which each letter stands, so that none covers another."""
        frame, ends, rows = _Frame(0.0, 1.0, self.xs, (0.0, 1.0)), [-99.0] * 4, []
        for change in self.trade.breakpoints[:_MOST_BREAKPOINTS]:
            x = frame.across(change.x)
            row = next((k for k, end in enumerate(ends) if x - end >= 12.0), 3)
            ends[row] = x
            rows.append(row)
        return rows

    def block(self) -> _Block:
        header = _lines(
            self.lettering.wrap(_sentence(_with_unit(self.trade.y, self.trade)), _INSIDE, _BODY, True), bold=True
        )
        above = 12.0 * (max(self.rows, default=-1) + 1) + 4.0

        def draw(page: _Page, top: float) -> None:
            header.draw(page, top)
            self._draw(page, _Frame(top + header.height + above, self.HEIGHT, self.xs, self.ys))

        return _Block(header.height + above + self.HEIGHT + 20.0, draw)

    def _draw(self, page: _Page, frame: _Frame) -> None:
        trade, axes = self.trade, page.axes(frame, True, 6)
        points = trade.points
        _breakpoint_lines(axes, trade)
        for k, (change, row) in enumerate(zip(trade.breakpoints, self.rows, strict=False)):
            x = frame.across(change.x)
            page.text(x, frame.top - 4.0 - 12.0 * row, chr(ord("a") + k), _BODY, True, ha="center", color=_SOFT)
        self._draw_intervals(axes)
        kinks = [(c.x, c.y) for c in trade.breakpoints if points[0].x < c.x < points[-1].x]
        path = sorted([*((p.x, p.y) for p in points), *kinks])
        axes.plot([x for x, _ in path], [y for _, y in path], color=_INK, linewidth=1.4, zorder=3, gid="curve")
        for k, point in enumerate(points):
            marker, size = _shape(self.marks.get(k, ()))
            fill = _INK if point.proof.verdict == "proved_best" else "white"
            axes.plot(
                [point.x],
                [point.y],
                marker,
                markersize=size,
                markerfacecolor=fill,
                markeredgecolor=_INK,
                zorder=4,
                clip_on=False,
            )
        edges = [
            [(p.x, edge) for p in points if (edge := p.y_low if low else p.y_high) is not None] for low in (True, False)
        ]
        changes = [[(c.x, self.ys[0]), (c.x, self.ys[1])] for c in trade.breakpoints]
        _Labels(page, frame, [path, *edges, *changes]).write(points, self.marks)
        self._draw_key(page, frame)

    def _draw_intervals(self, axes: Axes) -> None:
        """A band where neighbouring points have an interval, a bar where one stands alone."""
        run: list[tuple[float, float, float]] = []
        for point in (*self.trade.points, None):
            if point is not None and point.y_low is not None and point.y_high is not None:
                run.append((point.x, point.y_low, point.y_high))
                continue
            if len(run) > 1:
                x, low, high = zip(*run, strict=True)
                axes.fill_between(x, low, high, color="#e9e9e9", edgecolor="#bdbdbd", linewidth=0.6, zorder=2)
            elif run:
                axes.plot([run[0][0]] * 2, run[0][1:], "_-", color="#9a9a9a", markersize=8.0, zorder=2, clip_on=False)
            run = []

    def _draw_key(self, page: _Page, frame: _Frame) -> None:
        """What the shapes mean, right of the panel."""
        shown = {mark for found in self.marks.values() for mark in found}
        most = "least" if self.trade.y.wish == "least" else "most"
        rows = [
            (_SHAPES[mark][0], _SHAPES[mark][1], _INK, words)
            for mark, words in (
                ("best", f"best: the {most} of all"),
                ("knee", "knee: where the curve bends most"),
                ("low_end", "end: it goes no further"),
            )
            if mark in shown or (mark == "low_end" and "high_end" in shown)
        ]
        if any(point.proof.verdict != "proved_best" for point in self.trade.points):
            rows.append(("o", 4.5, "white", "hollow: best found, not proved best"))
        if any(point.y_low is not None for point in self.trade.points):
            rows.append(("_", 8.0, "#9a9a9a", "grey: 90 % interval"))
        if self.trade.breakpoints:
            rows.append((":", 0.0, "#8a8a8a", "a, b, …: another mix takes over"))
        left, y = _WIDTH - _RIGHT + 16.0, frame.top + 12.0
        for marker, size, fill, words in rows:
            if marker == ":":
                page.line([left + 6.0] * 2, [y - 8.0, y + 2.0], color=fill, linewidth=1.2, linestyle=(0, (1.0, 2.0)))
            elif marker == "_":
                page.line([left, left + 12.0], [y - 3.0] * 2, color="#d0d0d0", linewidth=8.0, solid_capstyle="butt")
            else:
                page.line([left + 6.0], [y - 3.0], marker=marker, markersize=size, markerfacecolor=fill, color=_INK)
            for line in self.lettering.wrap(words, _RIGHT - 50.0, _SMALL):
                page.text(left + 20.0, y, line, _SMALL)
                y += 12.0
            y += 5.0


class _Labels:
    """Numbers and marks of points, placed so that none covers another, a marker, or more of the curve than it must."""

    def __init__(self, page: _Page, frame: _Frame, paths: Sequence[Sequence[tuple[float, float]]]) -> None:
        self.page, self.frame = page, frame
        self.boxes: list[tuple[float, float, float, float]] = []
        self.trace: list[tuple[float, float]] = []
        for path in paths:
            places = [(frame.across(x), frame.down(y)) for x, y in path]
            for (x0, y0), (x1, y1) in pairwise(places):
                steps = max(1, int(math.hypot(x1 - x0, y1 - y0) / 3.0))
                self.trace += [(x0 + (x1 - x0) * k / steps, y0 + (y1 - y0) * k / steps) for k in range(steps + 1)]

    def write(self, points: Sequence[TradePoint], marks: _Marks) -> None:
        places = [(self.frame.across(point.x), self.frame.down(point.y)) for point in points]
        for k, (x, y) in enumerate(places):
            half = _shape(marks.get(k, ()))[1] / 2.0 + 1.0
            self.boxes.append((x - half, y - half, x + half, y + half))
        told: list[tuple[float, float]] = []
        room = (_WIDTH - _LEFT - _RIGHT) / 20.0
        every = next((k for k in (1, 2, 5, 10, 20) if len(points) <= k * room), 50)
        for k in sorted(range(len(points)), key=lambda k: k not in marks):
            crowded = any(math.dist(places[k], place) < 9.0 for place in told)
            if k in marks or ((k + 1) % every == 0 and not crowded):
                self._place(*places[k], _title(k, marks), k in marks)
                told.append(places[k])

    def _place(self, x: float, y: float, words: str, needed: bool) -> None:
        """Write a label at the best of many places around a point; one that is not needed may be left out."""
        width, height = self.page.lettering.width(words, _SMALL, needed) + 2.0, 10.0
        found: list[tuple[float, int, float, float]] = []
        for far in (4.0, 9.0, 15.0, 24.0, 38.0) if needed else (3.0, 7.0, 12.0, 18.0):
            for turn in range(16):
                along, up = math.cos(turn * math.pi / 8.0), math.sin(turn * math.pi / 8.0)
                left = x + (far + 4.0) * along - width * (1.0 - along) / 2.0
                top = y - (far + 4.0) * up - height * (1.0 + up) / 2.0
                found.append((self._cost(left, top, left + width, top + height) + far / 8.0, len(found), left, top))
        cost, _, left, top = min(found)
        if cost >= 100.0 and not needed:
            return
        self.boxes.append((left, top, left + width, top + height))
        near = min(max(x, left), left + width), min(max(y, top), top + height)
        if math.hypot(near[0] - x, near[1] - y) > 12.0:
            self.page.line([x, near[0]], [y, near[1]], color="#8a8a8a", linewidth=0.6)
        self.page.text(left + 1.0, top + height - 1.6, words, _SMALL, needed)

    def _cost(self, left: float, top: float, right: float, bottom: float) -> float:
        outside = (
            left < _LEFT + 2.0
            or right > _WIDTH - _RIGHT + 12.0
            or top < self.frame.top
            or bottom > self.frame.bottom - 2.0
        )
        covered = sum(left < x1 and right > x0 and top < y1 and bottom > y0 for x0, y0, x1, y1 in self.boxes)
        crossed = sum(left - 1.0 < x < right + 1.0 and top - 1.0 < y < bottom + 1.0 for x, y in self.trace)
        return 400.0 * outside + 150.0 * covered + 6.0 * crossed


def _pour_panel(
    trade: TradeOff,
    lettering: _Lettering,
    xs: tuple[float, float],
    lines: Sequence[_Poured],
    small: bool,
    lowest: bool,
) -> _Block:
    """Grams or kilograms along the curve, each line named at its end."""
    unit, grams = _mass_unit(max(one.most_g for one in lines), trade.units)
    ys = _range([m / grams for one in lines for m in one.masses_g], 0.08, 0.0)
    names = [lettering.wrap(one.name, _RIGHT - 26.0 - _EDGE / 2.0, _SMALL, most=3) for one in lines]
    heights = [11.5 * len(name) + 3.0 for name in names]
    height = max(50.0 if small else 110.0, sum(heights))
    title = f"What is poured in small amounts, {unit}" if small else f"What is poured, {unit}"
    header = _lines([title], bold=True)

    def draw(page: _Page, top: float) -> None:
        header.draw(page, top)
        frame = _Frame(top + header.height + 3.0, height, xs, ys)
        axes = page.axes(frame, lowest, 3 if small else 5)
        _breakpoint_lines(axes, trade)
        x = [point.x for point in trade.points]
        for one in lines:
            _draw_line(axes, one, x, grams)
        ends = [frame.down(one.masses_g[-1] / grams) for one in lines]
        for one, name, end, middle, tall in zip(lines, names, ends, _apart(ends, heights, frame), heights, strict=True):
            colour = LINES[one.style or 0][0]
            left = _WIDTH - _RIGHT + 16.0
            page.line([frame.across(x[-1]) + 5.0, left - 3.0], [end, middle], color=colour, linewidth=0.7)
            for k, words in enumerate(name):
                page.text(left, middle - tall / 2.0 + 10.0 + 11.5 * k, words, _SMALL)

    return _Block(header.height + 3.0 + height + (20.0 if lowest else 12.0), draw)


def _draw_line(axes: Axes, one: _Poured, x: Sequence[float], grams: float) -> None:
    colour, dashes, marker = LINES[one.style or 0]
    axes.plot(
        x,
        [mass / grams for mass in one.masses_g],
        color=colour,
        linewidth=1.5,
        linestyle=(0, dashes) if dashes else "-",
        marker=marker,
        markersize=4.5,
        markevery=max(1, len(x) // 12),
        clip_on=False,
        zorder=3,
        gid=f"poured-{one.style}",
    )


def _apart(wanted: Sequence[float], heights: Sequence[float], frame: _Frame) -> list[float]:
    """Middles as near the wanted ones as labels of these heights can stand inside a panel without overlap."""
    order = sorted(range(len(wanted)), key=lambda k: wanted[k])
    middles, floor = [0.0] * len(wanted), frame.top - 4.0
    for k in order:
        middles[k] = max(wanted[k], floor + heights[k] / 2.0)
        floor = middles[k] + heights[k] / 2.0
    ceiling = frame.bottom + 6.0
    for k in reversed(order):
        middles[k] = min(middles[k], ceiling - heights[k] / 2.0)
        ceiling = middles[k] - heights[k] / 2.0
    return middles


def _third_panel(trade: TradeOff, also: Axis, lettering: _Lettering, xs: tuple[float, float]) -> _Block:
    """The third property along the curve; a gap where it is not defined."""
    values = [point.also for point in trade.points if point.also is not None]
    header = _lines(lettering.wrap(_sentence(_with_unit(also, trade)), _INSIDE, _BODY, True), bold=True)

    def draw(page: _Page, top: float) -> None:
        header.draw(page, top)
        axes = page.axes(_Frame(top + header.height + 3.0, 60.0, xs, _range(values, 0.12)), True, 3)
        _breakpoint_lines(axes, trade)
        y = [math.nan if point.also is None else point.also for point in trade.points]
        axes.plot(
            [point.x for point in trade.points], y, color=_INK, linewidth=0.9, marker="o", markersize=2.5, gid="also"
        )

    return _Block(header.height + 63.0 + 20.0, draw)


def _x_label(trade: TradeOff, lettering: _Lettering) -> _Block:
    lines = lettering.wrap(_sentence(_with_unit(trade.x, trade)), _WIDTH - _LEFT - _RIGHT + 60.0, _BODY, True)

    def draw(page: _Page, top: float) -> None:
        for k, words in enumerate(lines):
            page.text((_WIDTH + _LEFT - _RIGHT) / 2.0, top + 10.0 + 12.5 * k, words, _BODY, True, ha="center")

    return _Block(12.5 * len(lines) + 6.0, draw)


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _table(trade: TradeOff, lettering: _Lettering, poured: Sequence[_Poured]) -> list[_Block]:
    """The marked points side by side: both properties, the third, and each amount in the words of the scale."""
    marks = _marks(trade)
    last = len(trade.points) - 1
    chosen = sorted(marks)[:4] if marks else sorted({0, last})
    first = 150.0
    wide = min(150.0, (_INSIDE - first) / len(chosen))
    axes = [axis for axis in (trade.x, trade.y, trade.also) if axis is not None]
    values = [(p.x, p.y, p.also) for p in (trade.points[k] for k in chosen)]
    rows: list[tuple[str, list[str], int | None]] = [
        (_sentence(_short(axis)), [_figure_text(value[k], axis, trade) for value in values], None)
        for k, axis in enumerate(axes)
    ]
    shown = [one for one in poured if any(one.masses_g[k] > 0.0 for k in chosen)]
    rows += [(one.name, [one.texts[k] for k in chosen], one.style) for one in shown[:_MOST_ROWS]]
    titles = [_title(k, marks) for k in chosen]
    heading = "At the point" if last == 0 else "At the marked points" if marks else "At the first and the last point"
    blocks = [*_heading(heading), _row(lettering, ("Point", titles, None), first, wide, True)]
    blocks += [_row(lettering, row, first, wide, False) for row in rows]
    if len(shown) > _MOST_ROWS:
        blocks.append(_lines([f"and {len(shown) - _MOST_ROWS} more amounts: see the answer."]))
    elif any(one.style is None for one in shown) and last > 0:
        blocks.append(_lines(["Amounts without a line are those that change least."]))
    return blocks


def _row(
    lettering: _Lettering, row: tuple[str, list[str], int | None], first: float, wide: float, bold: bool
) -> _Block:
    name, cells, style = row
    wrapped = [lettering.wrap(name, first - 34.0, _SMALL, bold, 3)]
    wrapped += [lettering.wrap(cell, wide - 8.0, _SMALL, bold, 3) for cell in cells]
    height = 11.8 * max(map(len, wrapped)) + 4.5

    def draw(page: _Page, top: float) -> None:
        page.line([_EDGE, _EDGE + first + wide * len(cells)], [top + height - 1.0] * 2, color=_FAINT, linewidth=0.6)
        if style is not None:
            colour, dashes, marker = LINES[style]
            page.line(
                [_EDGE, _EDGE + 24.0],
                [top + 6.5] * 2,
                color=colour,
                linewidth=1.5,
                linestyle=(0, dashes) if dashes else "-",
            )
            page.line([_EDGE + 12.0], [top + 6.5], color=colour, marker=marker, markersize=4.5)
        for column, lines in enumerate(wrapped):
            left = _EDGE + 30.0 if column == 0 else _EDGE + first + wide * (column - 1)
            for k, words in enumerate(lines):
                page.text(left, top + 9.8 + 11.8 * k, words, _SMALL, bold)

    return _Block(height, draw)


def _before(trade: TradeOff, lettering: _Lettering) -> list[_Block]:
    """What stands above the curve: the question, what forbids going on, the answer in words, and warnings."""
    blocks = [_gap(16.0), _lines(lettering.wrap(_question(trade), _INSIDE, _TITLE, True, 3), _TITLE, True, after=3.0)]
    told = ", ".join(word for word in (trade.batch, trade.date) if word)
    if told:
        blocks.append(_lines(lettering.wrap(told, _INSIDE, _SMALL, most=2), _SMALL))
    stops = [caution for caution in trade.cautions if caution.level == "stop"]
    if stops:
        blocks.append(
            _boxed([_entry(lettering, "STOP", c.text if c.about is None else f"{c.about}: {c.text}", 9) for c in stops])
        )
    if trade.summary:
        blocks.append(_lines(lettering.wrap(trade.summary, _INSIDE, most=6)))
    codes = dict.fromkeys(c.code.replace("_", " ") for c in trade.cautions if c.level == "warning")
    if codes:
        count = "1 warning" if len(codes) == 1 else f"{len(codes)} warnings"
        blocks.append(_entry(lettering, f"{count}, in the answer:", "; ".join(codes), 3))
    return [*blocks, _gap(6.0)]


def _boxed(inside: Sequence[_Block]) -> _Block:
    height = sum(block.height for block in inside)

    def draw(page: _Page, top: float) -> None:
        left, right, low, high = _EDGE - 8.0, _WIDTH - _EDGE + 8.0, top, top + height + 8.0
        page.line([left, right, right, left, left], [low, low, high, high, low], color=_INK, linewidth=1.6)
        place = top + 4.0
        for block in inside:
            block.draw(page, place)
            place += block.height

    return _Block(height + 16.0, draw)


def _after(trade: TradeOff, lettering: _Lettering) -> list[_Block]:
    """What stands below: breakpoints, ends, the next reading, and what the figures are not."""
    blocks: list[_Block] = []
    if trade.breakpoints:
        blocks += _heading("Where another mix takes over")
        for k, change in enumerate(trade.breakpoints[:_MOST_BREAKPOINTS]):
            blocks.append(
                _entry(lettering, chr(ord("a") + k), f"{_figure_text(change.x, trade.x, trade)}: {change.text}")
            )
        if len(trade.breakpoints) > _MOST_BREAKPOINTS:
            blocks.append(
                _lines([f"and {len(trade.breakpoints) - _MOST_BREAKPOINTS} more, without a letter: see the answer."])
            )
    if trade.ends:
        blocks += _heading("Why it goes no further")
        blocks += [_entry(lettering, f"{end.side} end", end.text, 3) for end in trade.ends]
    if trade.next_reading:
        reading = trade.next_reading[0]
        blocks += _heading("Measure before choosing")
        blocks.append(_lines(lettering.wrap(f"{_sentence(reading.do)} ({reading.instrument})", _INSIDE, most=3)))
    if trade.notes:
        blocks += [_gap(6.0), _lines(lettering.wrap(trade.notes[0], _INSIDE, _SMALL, most=4), _SMALL)]
    return [*blocks, _gap(14.0)]


_WITHOUT_POINTS: Final = {
    "targets_clash": "There is no curve to draw: the targets cannot all be met together.",
    "no_plan_found": "There is no curve to draw: no plan was found, and it is not proved that there is none.",
}


def _blocks(trade: TradeOff, lettering: _Lettering) -> list[_Block]:
    if not trade.points:
        words = _WITHOUT_POINTS.get(trade.outcome, "There is no curve to draw: the answer holds no points.")
        why = [_lines(lettering.wrap(words, _INSIDE, 11.0, True), 11.0, True)]
        if trade.clash is not None:
            why += [] if trade.clash.text in trade.summary else [_lines(lettering.wrap(trade.clash.text, _INSIDE))]
            ways = [f"{_name(one.member)}: {one.to}" for one in trade.clash.relax]
            why += [*_heading("Any one of these would do")] if ways else []
            why += [_entry(lettering, "–", way, 3) for way in ways[:_MOST_ROWS]]
        return [*_before(trade, lettering), *why, *_after(trade, lettering)]
    xs = _range([*(p.x for p in trade.points), *(c.x for c in trade.breakpoints)], 0.05)
    changing, same = _poured(trade.points)
    blocks = [*_before(trade, lettering), _Curve(trade, lettering, xs).block()]
    panels = _split([one for one in changing if one.style is not None])
    third = trade.also is not None and any(point.also is not None for point in trade.points)
    for k, lines in enumerate(panels):
        lowest = not third and k == len(panels) - 1
        blocks.append(_pour_panel(trade, lettering, xs, lines, k > 0, lowest))
    if trade.also is not None and third:
        blocks.append(_third_panel(trade, trade.also, lettering, xs))
    blocks.append(_x_label(trade, lettering))
    one_point = len(trade.points) == 1
    blocks += _table(trade, lettering, [*changing, *same] if one_point else changing)
    if same and not one_point:
        words = "; ".join(f"{one.name} {one.texts[0]}" for one in same)
        blocks += [_gap(3.0), _lines(lettering.wrap(f"The same at every point: {words}.", _INSIDE, most=4))]
    return [*blocks, *_after(trade, lettering)]


def trade_off_picture(trade: TradeOff, kind: Literal["svg", "png"]) -> bytes:
    """Draw a trade-off so that a point can be chosen from the picture alone.

    Parameters: trade, the answer to `trade_off`; kind, `svg` (words stay words, with a title and a description for
        readers of the screen) or `png` (1800 pixels wide).
    Returns: the file; equal answers give equal bytes with one release of matplotlib.
    Raises: MissingExtraError where matplotlib is not installed.
    Validity: amounts that do not change along the curve are told in words; at most seven lines are drawn, those that
        change most. Masses, since every amount has one.
    Source: colours, M. Okabe and K. Ito (2008), "Color Universal Design" (from memory).
    """
    try:
        import matplotlib
    except ImportError as missing:
        raise MissingExtraError("Pictures", "plots") from missing
    with _DRAWING, matplotlib.rc_context():
        matplotlib.rcdefaults()
        settings: dict[Any, Any] = matplotlib.rcParams
        settings.update(_SETTINGS)
        lettering = _Lettering()
        blocks = _blocks(trade, lettering)
        page = _Page(sum(block.height for block in blocks), lettering)
        top = 0.0
        for block in blocks:
            block.draw(page, top)
            top += block.height
        return _svg(page, trade) if kind == "svg" else _png(page)


def _png(page: _Page) -> bytes:
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    out = io.BytesIO()
    page.figure.set_dpi(_PNG_DPI)
    canvas: Any = FigureCanvasAgg(page.figure)
    canvas.print_png(out, metadata={"Software": None})
    return out.getvalue()


def _svg(page: _Page, trade: TradeOff) -> bytes:
    """The page as SVG 1.1 without an outside document type and without style sheets, which a strict content policy
    would drop; `title` and `desc` say in words what is seen."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    canvas: Any = FigureCanvasSVG(page.figure)
    canvas.print_svg(out, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    drawn = re.sub(r"<!DOCTYPE[^>]*>\s*", "", out.getvalue(), count=1)
    drawn = re.sub(r"<style.*?</style>", "", drawn, count=1, flags=re.DOTALL)
    drawn = re.sub(r"<[a-z][^>]*>", lambda tag: re.sub(r' style="([^"]*)"', _as_attributes, tag[0]), drawn)
    drawn = drawn.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif")
    stops = [caution.text for caution in trade.cautions if caution.level == "stop"]
    told = " ".join(_readable(text) for text in (*stops, trade.summary, *trade.notes[:1]))
    words = (
        f'<title id="picture-title">{escape(_readable(_question(trade)))}</title>'
        f'<desc id="picture-description">{escape(told)}</desc>'
    )
    root = ' role="img" aria-labelledby="picture-title picture-description" stroke-linejoin="round"'
    return re.sub(r"<svg ([^>]*)>", lambda tag: f"<svg {tag[1]}{root}>{words}", drawn, count=1).encode("utf-8")


def _as_attributes(style: re.Match[str]) -> str:
    """Turn a style into presentation attributes, which mean the same (SVG 1.1, section 6.4)."""
    pairs = [declaration.split(":", 1) for declaration in style[1].split(";") if ":" in declaration]
    if any(name.strip() == "font" for name, _ in pairs):
        return style[0]
    return "".join(f' {name.strip()}="{value.strip()}"' for name, value in pairs)
