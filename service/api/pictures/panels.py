"""The panels of the picture: the curve with its points, what is poured along it, and a third property."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from service.api.pictures.page import (
    BODY,
    EDGE,
    INK,
    INSIDE,
    LEFT,
    RIGHT,
    SMALL,
    SOFT,
    WIDTH,
    Block,
    Frame,
    Lettering,
    Page,
    text_block,
)
from service.api.pictures.words import (
    LINES,
    MOST_BREAKPOINTS,
    SHAPES,
    Marks,
    PouredLine,
    marks_of,
    mass_unit,
    sentence,
    shape_of,
    span,
    title_of,
    with_unit,
)
from service.planner.trade_off.answers import Axis, TradeOff, TradePoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes


BAND: Final = "#dcdcdc"
BAND_EDGE: Final = "#8c8c8c"
"""An interval: darker at its edges, so that it is seen across the grid and in a poor print."""

_SEEN_PT: Final = 2.5
"""A band that is nowhere higher than this [pt] hides behind the line of the curve."""


def _breakpoint_lines(axes: Axes, trade: TradeOff) -> None:
    for change in trade.breakpoints:
        axes.axvline(change.x, color="#8a8a8a", linewidth=0.9, linestyle=(0, (1.0, 2.0)), zorder=1)


Edge = tuple[float, float, float]
"""A level of the first property, and the lower and upper end of an interval there."""


def _bands(trade: TradeOff) -> list[list[Edge]]:
    """The intervals of the second property in runs of neighbours that have one, and where the curve bends between two
    of them, there as wide as the two by their distance."""
    kinks = sorted(trade.breakpoints, key=lambda change: change.x)
    runs: list[list[Edge]] = [[]]
    before: TradePoint | None = None
    for point in trade.points:
        if point.y_low is None or point.y_high is None:
            runs.append([])
            before = None
            continue
        if before is not None:
            runs[-1] += [_between(before, point, c.x, c.y) for c in kinks if before.x < c.x < point.x]
        runs[-1].append((point.x, point.y_low, point.y_high))
        before = point
    return [run for run in runs if run]


def _between(before: TradePoint, after: TradePoint, x: float, y: float) -> Edge:
    share = (x - before.x) / (after.x - before.x)
    below, above = (
        (1.0 - share) * abs(before.y - a) + share * abs(after.y - b)
        for a, b in ((before.y_low or 0.0, after.y_low or 0.0), (before.y_high or 0.0, after.y_high or 0.0))
    )
    return x, y - below, y + above


def _draw_bands(axes: Axes, runs: Sequence[Sequence[Edge]], gid: str) -> None:
    """A band where neighbouring points have an interval, a bar where one stands alone."""
    for run in runs:
        x, low, high = zip(*run, strict=True)
        if len(run) > 1:
            axes.fill_between(x, low, high, color=BAND, edgecolor=BAND_EDGE, linewidth=0.7, zorder=2, gid=gid)
        else:
            axes.plot([x[0]] * 2, [low[0], high[0]], "_-", color=BAND_EDGE, markersize=8.0, zorder=2, clip_on=False)


class CurvePanel:
    """The panel of the curve: points with their numbers, marks, intervals and the letters of the breakpoints."""

    HEIGHT: Final = 190.0

    def __init__(self, trade: TradeOff, lettering: Lettering, xs: tuple[float, float]) -> None:
        self.trade, self.lettering, self.xs = trade, lettering, xs
        self.marks = marks_of(trade)
        self.bands = _bands(trade)
        values = [p.y for p in trade.points] + [value for run in self.bands for edge in run for value in edge[1:]]
        self.ys = span([*values, *(c.y for c in trade.breakpoints)], 0.14)
        self.rows = self._letter_rows()

    def _letter_rows(self) -> list[int]:
        """The row above the panel in which each letter stands, so that none covers another."""
        frame, ends, rows = Frame(0.0, 1.0, self.xs, (0.0, 1.0)), [-99.0] * 4, []
        for change in self.trade.breakpoints[:MOST_BREAKPOINTS]:
            x = frame.across(change.x)
            row = next((k for k, end in enumerate(ends) if x - end >= 12.0), 3)
            ends[row] = x
            rows.append(row)
        return rows

    def block(self) -> Block:
        """The panel below its title."""
        header = text_block(
            self.lettering.wrap(sentence(with_unit(self.trade.y, self.trade)), INSIDE, BODY, True), bold=True
        )
        above = 12.0 * (max(self.rows, default=-1) + 1) + 4.0

        def draw(page: Page, top: float) -> None:
            header.draw(page, top)
            self._draw(page, Frame(top + header.height + above, self.HEIGHT, self.xs, self.ys))

        return Block(header.height + above + self.HEIGHT + 20.0, draw)

    def _draw(self, page: Page, frame: Frame) -> None:
        trade, axes = self.trade, page.axes(frame, True, 6)
        points = trade.points
        _breakpoint_lines(axes, trade)
        for k, (change, row) in enumerate(zip(trade.breakpoints, self.rows, strict=False)):
            x = frame.across(change.x)
            page.text(x, frame.top - 4.0 - 12.0 * row, chr(ord("a") + k), BODY, True, ha="center", color=SOFT)
        _draw_bands(axes, self.bands, "interval")
        kinks = [(c.x, c.y) for c in trade.breakpoints if points[0].x < c.x < points[-1].x]
        path = sorted([*((p.x, p.y) for p in points), *kinks])
        axes.plot([x for x, _ in path], [y for _, y in path], color=INK, linewidth=1.4, zorder=3, gid="curve")
        for k, point in enumerate(points):
            marker, size = shape_of(self.marks.get(k, ()))
            fill = INK if point.proof.verdict == "proved_best" else "white"
            axes.plot(
                [point.x],
                [point.y],
                marker,
                markersize=size,
                markerfacecolor=fill,
                markeredgecolor=INK,
                zorder=4,
                clip_on=False,
            )
        edges = [[(edge[0], edge[k]) for edge in run] for run in self.bands for k in (1, 2)]
        changes = [[(c.x, self.ys[0]), (c.x, self.ys[1])] for c in trade.breakpoints]
        _Labels(page, frame, [path, *edges, *changes]).write(points, self.marks)
        self._draw_key(page, frame)

    def _draw_key(self, page: Page, frame: Frame) -> None:
        """What the shapes mean, right of the panel."""
        shown = {mark for found in self.marks.values() for mark in found}
        most = "least" if self.trade.y.wish == "least" else "most"
        rows = [
            (SHAPES[mark][0], SHAPES[mark][1], INK, words)
            for mark, words in (
                ("best", f"best: the {most} of all"),
                ("knee", "knee: where the curve bends"),
                ("low_end", "end: it goes no further"),
            )
            if mark in shown or (mark == "low_end" and "high_end" in shown)
        ]
        if any(point.proof.verdict != "proved_best" for point in self.trade.points):
            rows.append(("o", 4.5, "white", "hollow: best found, not proved best"))
        if self.bands:
            widest = max(frame.down(low) - frame.down(high) for run in self.bands for _, low, high in run)
            words = "grey: 90 % interval" if widest > _SEEN_PT else "90 % interval: no wider than the line"
            rows.append(("_", 8.0, BAND_EDGE, words))
        if self.trade.breakpoints:
            rows.append((":", 0.0, "#8a8a8a", "a, b, …: another mix takes over"))
        left, y = WIDTH - RIGHT + 16.0, frame.top + 12.0
        for marker, size, fill, words in rows:
            if marker == ":":
                page.line([left + 6.0] * 2, [y - 8.0, y + 2.0], color=fill, linewidth=1.2, linestyle=(0, (1.0, 2.0)))
            elif marker == "_":
                page.line([left, left + 12.0], [y - 3.0] * 2, color=BAND_EDGE, linewidth=9.4, solid_capstyle="butt")
                page.line([left + 0.7, left + 11.3], [y - 3.0] * 2, color=BAND, linewidth=8.0, solid_capstyle="butt")
            else:
                page.line([left + 6.0], [y - 3.0], marker=marker, markersize=size, markerfacecolor=fill, color=INK)
            for line in self.lettering.wrap(words, RIGHT - 50.0, SMALL):
                page.text(left + 20.0, y, line, SMALL)
                y += 12.0
            y += 5.0


class _Labels:
    """Numbers and marks of points, placed so that none covers another, a marker, or more of the curve than it must."""

    def __init__(self, page: Page, frame: Frame, paths: Sequence[Sequence[tuple[float, float]]]) -> None:
        self.page, self.frame = page, frame
        self.boxes: list[tuple[float, float, float, float]] = []
        self.trace: list[tuple[float, float]] = []
        for path in paths:
            places = [(frame.across(x), frame.down(y)) for x, y in path]
            for (x0, y0), (x1, y1) in pairwise(places):
                steps = max(1, int(math.hypot(x1 - x0, y1 - y0) / 3.0))
                self.trace += [(x0 + (x1 - x0) * k / steps, y0 + (y1 - y0) * k / steps) for k in range(steps + 1)]

    def write(self, points: Sequence[TradePoint], marks: Marks) -> None:
        places = [(self.frame.across(point.x), self.frame.down(point.y)) for point in points]
        for k, (x, y) in enumerate(places):
            half = shape_of(marks.get(k, ()))[1] / 2.0 + 1.0
            self.boxes.append((x - half, y - half, x + half, y + half))
        told: list[tuple[float, float]] = []
        room = (WIDTH - LEFT - RIGHT) / 20.0
        every = next((k for k in (1, 2, 5, 10, 20) if len(points) <= k * room), 50)
        for k in sorted(range(len(points)), key=lambda k: k not in marks):
            crowded = any(math.dist(places[k], place) < 9.0 for place in told)
            if k in marks or ((k + 1) % every == 0 and not crowded):
                self._place(*places[k], title_of(k, marks), k in marks)
                told.append(places[k])

    def _place(self, x: float, y: float, words: str, needed: bool) -> None:
        """Write a label at the best of many places around a point; one that is not needed may be left out."""
        width, height = self.page.lettering.width(words, SMALL, needed) + 2.0, 10.0
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
        self.page.text(left + 1.0, top + height - 1.6, words, SMALL, needed)

    def _cost(self, left: float, top: float, right: float, bottom: float) -> float:
        outside = (
            left < LEFT + 2.0
            or right > WIDTH - RIGHT + 12.0
            or top < self.frame.top
            or bottom > self.frame.bottom - 2.0
        )
        covered = sum(left < x1 and right > x0 and top < y1 and bottom > y0 for x0, y0, x1, y1 in self.boxes)
        crossed = sum(left - 1.0 < x < right + 1.0 and top - 1.0 < y < bottom + 1.0 for x, y in self.trace)
        return 400.0 * outside + 150.0 * covered + 6.0 * crossed


def pour_panel(
    trade: TradeOff,
    lettering: Lettering,
    xs: tuple[float, float],
    lines: Sequence[PouredLine],
    small: bool,
    lowest: bool,
) -> Block:
    """Grams or kilograms along the curve, each line named at its end."""
    unit, grams = mass_unit(max(one.most_g for one in lines), trade.units)
    ys = span([m / grams for one in lines for m in one.masses_g], 0.08, 0.0)
    names = [lettering.wrap(one.name, RIGHT - 26.0 - EDGE / 2.0, SMALL, most=3) for one in lines]
    heights = [11.5 * len(name) + 3.0 for name in names]
    height = max(50.0 if small else 110.0, sum(heights))
    title = f"What is poured in small amounts, {unit}" if small else f"What is poured, {unit}"
    header = text_block([title], bold=True)

    def draw(page: Page, top: float) -> None:
        header.draw(page, top)
        frame = Frame(top + header.height + 3.0, height, xs, ys)
        axes = page.axes(frame, lowest, 3 if small else 5)
        _breakpoint_lines(axes, trade)
        x = [point.x for point in trade.points]
        for one in lines:
            _draw_line(axes, one, x, grams)
        ends = [frame.down(one.masses_g[-1] / grams) for one in lines]
        for one, name, end, middle, tall in zip(lines, names, ends, _apart(ends, heights, frame), heights, strict=True):
            colour = LINES[one.style or 0][0]
            left = WIDTH - RIGHT + 16.0
            page.line([frame.across(x[-1]) + 5.0, left - 3.0], [end, middle], color=colour, linewidth=0.7)
            for k, words in enumerate(name):
                page.text(left, middle - tall / 2.0 + 10.0 + 11.5 * k, words, SMALL)

    return Block(header.height + 3.0 + height + (20.0 if lowest else 12.0), draw)


def _draw_line(axes: Axes, one: PouredLine, x: Sequence[float], grams: float) -> None:
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


def _apart(wanted: Sequence[float], heights: Sequence[float], frame: Frame) -> list[float]:
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


def third_panel(trade: TradeOff, also: Axis, lettering: Lettering, xs: tuple[float, float]) -> Block:
    """The third property along the curve; a gap where it is not defined."""
    ends = [(p.also, p.also_low, p.also_high) for p in trade.points]
    values = [value for three in ends for value in three if value is not None]
    header = text_block(lettering.wrap(sentence(with_unit(also, trade)), INSIDE, BODY, True), bold=True)

    def draw(page: Page, top: float) -> None:
        header.draw(page, top)
        axes = page.axes(Frame(top + header.height + 3.0, 60.0, xs, span(values, 0.12)), True, 3)
        _breakpoint_lines(axes, trade)
        _draw_bands(axes, _third_bands(trade), "also-interval")
        y = [math.nan if point.also is None else point.also for point in trade.points]
        axes.plot(
            [point.x for point in trade.points],
            y,
            color=INK,
            linewidth=0.9,
            marker="o",
            markersize=2.5,
            zorder=3,
            gid="also",
        )

    return Block(header.height + 63.0 + 20.0, draw)


def _third_bands(trade: TradeOff) -> list[list[Edge]]:
    """The intervals of the third property in runs of neighbours that have one."""
    runs: list[list[Edge]] = [[]]
    for point in trade.points:
        if point.also_low is None or point.also_high is None:
            runs.append([])
        else:
            runs[-1].append((point.x, point.also_low, point.also_high))
    return [run for run in runs if run]


def x_label(trade: TradeOff, lettering: Lettering) -> Block:
    """What the first property is, below the lowest panel."""
    lines = lettering.wrap(sentence(with_unit(trade.x, trade)), WIDTH - LEFT - RIGHT + 60.0, BODY, True)

    def draw(page: Page, top: float) -> None:
        for k, words in enumerate(lines):
            page.text((WIDTH + LEFT - RIGHT) / 2.0, top + 10.0 + 12.5 * k, words, BODY, True, ha="center")

    return Block(12.5 * len(lines) + 6.0, draw)
