"""What the picture of a trade-off tells in words: above the curve, in the table, and below it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from service.api.pictures.page import (
    EDGE,
    FAINT,
    INSIDE,
    SMALL,
    TITLE,
    Block,
    Lettering,
    Page,
    boxed,
    entry,
    gap_block,
    heading_block,
    text_block,
)
from service.api.pictures.words import (
    LINES,
    MOST_BREAKPOINTS,
    PouredLine,
    cautions_of,
    figure_text,
    interval_text,
    marks_of,
    plain,
    question_of,
    sentence,
    title_of,
)
from service.planner.plain_words import plain_property
from service.planner.trade_off.answers import Axis, TradeOff

Figures = tuple[float | None, float | None, float | None]
"""A value, and the ends of its interval."""

IN_BRACKETS: Final = (
    "In brackets the 90 % interval of what the drink will be, by the errors of readings and measures and the spread of "
    "tables."
)
_MOST_ROWS: Final = 12
_MOST_COLUMNS: Final = 6
_MOST_WARNING_LINES: Final = 8
_MOST_READINGS: Final = 3


def table_blocks(trade: TradeOff, lettering: Lettering, poured: Sequence[PouredLine]) -> list[Block]:
    """The marked points, and some between, side by side: the properties, and each amount in the words of the scale."""
    marks = marks_of(trade)
    last = len(trade.points) - 1
    chosen = _columns(sorted(marks)[:4] if marks else sorted({0, last}))
    first = 130.0
    wide = min(150.0, (INSIDE - first) / len(chosen))
    points = [trade.points[k] for k in chosen]
    figures: list[tuple[Axis | None, list[Figures]]] = [
        (trade.x, [(p.x, p.x_low, p.x_high) for p in points]),
        (trade.y, [(p.y, p.y_low, p.y_high) for p in points]),
        (trade.also, [(p.also, p.also_low, p.also_high) for p in points]),
    ]
    rows: list[tuple[str, list[str], int | None]] = [
        (sentence(plain_property(axis.property)), [interval_text(*three, axis, trade) for three in values], None)
        for axis, values in figures
        if axis is not None
    ]
    bracketed = any(low is not None for _, values in figures for _, low, _ in values)
    shown = [one for one in poured if any(one.masses_g[k] > 0.0 for k in chosen)]
    rows += [(one.in_full, [one.texts[k] for k in chosen], one.style) for one in shown[:_MOST_ROWS]]
    titles = [title_of(k, marks) for k in chosen]
    heading = "At the point" if last == 0 else "At the marked points" if marks else "At the first and the last point"
    heading += ", and at some between" if len(chosen) > max(len(marks), 2) else ""
    blocks = [*heading_block(heading), _row(lettering, ("Point", titles, None), first, wide, True)]
    blocks += [_row(lettering, row, first, wide, False) for row in rows]
    if bracketed:
        blocks.append(text_block(lettering.wrap(IN_BRACKETS, INSIDE, SMALL), SMALL, after=3.0))
    if len(shown) > _MOST_ROWS:
        blocks.append(text_block([f"and {len(shown) - _MOST_ROWS} more amounts: see the answer."]))
    elif any(one.style is None for one in shown) and last > 0:
        blocks.append(text_block(["Amounts without a line are those that change least."]))
    return blocks


def _columns(marked: list[int]) -> list[int]:
    """Points of the table: the marked ones, and more where the steps between two of them are most."""
    chosen = list(marked)
    while len(chosen) < _MOST_COLUMNS:
        apart, low = max(((b - a, a) for a, b in pairwise(chosen)), default=(0, 0))
        if apart < 2:
            break
        chosen = sorted([*chosen, low + apart // 2])
    return chosen


def _row(lettering: Lettering, row: tuple[str, list[str], int | None], first: float, wide: float, bold: bool) -> Block:
    name, cells, style = row
    wrapped = [lettering.wrap(name, first - 34.0, SMALL, bold, 3)]
    parts = [cell.split("\n") for cell in cells]
    wrapped += [[line for part in cell for line in lettering.wrap(part, wide - 9.0, SMALL, bold, 6)] for cell in parts]
    height = 11.8 * max(map(len, wrapped)) + 4.5

    def draw(page: Page, top: float) -> None:
        page.line([EDGE, EDGE + first + wide * len(cells)], [top + height - 1.0] * 2, color=FAINT, linewidth=0.6)
        if style is not None:
            colour, dashes, marker = LINES[style]
            page.line(
                [EDGE, EDGE + 24.0],
                [top + 6.5] * 2,
                color=colour,
                linewidth=1.5,
                linestyle=(0, dashes) if dashes else "-",
            )
            page.line([EDGE + 12.0], [top + 6.5], color=colour, marker=marker, markersize=4.5)
        for column, lines in enumerate(wrapped):
            left = EDGE + 30.0 if column == 0 else EDGE + first + wide * (column - 1)
            for k, words in enumerate(lines):
                page.text(left, top + 9.8 + 11.8 * k, words, SMALL, bold)

    return Block(height, draw)


def above_curve(trade: TradeOff, lettering: Lettering) -> list[Block]:
    """What stands above the curve: the question, what forbids going on, the answer in words, and warnings."""
    blocks = [
        gap_block(16.0),
        text_block(lettering.wrap(question_of(trade), INSIDE, TITLE, True, 3), TITLE, True, after=3.0),
    ]
    told = ", ".join(word for word in (trade.batch, trade.date) if word)
    if told:
        blocks.append(text_block(lettering.wrap(told, INSIDE, SMALL, most=2), SMALL))
    stops = cautions_of(trade, "stop")
    if stops:
        blocks.append(boxed([entry(lettering, "STOP", text, 9) for text in stops]))
    if trade.summary:
        blocks.append(text_block(lettering.wrap(trade.summary, INSIDE, most=6)))
    codes = dict.fromkeys(c.code.replace("_", " ") for c in trade.cautions if c.level == "warning")
    if codes:
        count = "1 warning" if len(codes) == 1 else f"{len(codes)} warnings"
        blocks.append(entry(lettering, f"{count}, below:", "; ".join(codes), 3))
    return [*blocks, gap_block(6.0)]


def _warnings(trade: TradeOff, lettering: Lettering) -> list[Block]:
    """The warnings in small type; those for which there is no room are counted."""
    warnings = cautions_of(trade, "warning")
    if not warnings:
        return []
    told: list[Block] = []
    room = _MOST_WARNING_LINES
    for text in warnings:
        lines = lettering.wrap(text, INSIDE - 18.0, SMALL)
        if len(lines) > room and told:
            break
        told.append(entry(lettering, "–", text, room, SMALL))
        room -= min(len(lines), room)
    left = len(warnings) - len(told)
    more = [text_block([f"and {left} more in the answer"], SMALL, indent=18.0)] if left else []
    return [*heading_block("Warnings"), *told, *more]


def below_table(trade: TradeOff, lettering: Lettering) -> list[Block]:
    """What stands below: warnings, breakpoints, ends, the next readings, and what the figures are not."""
    blocks = _warnings(trade, lettering)
    if trade.breakpoints:
        blocks += heading_block("Where another mix takes over")
        for k, change in enumerate(trade.breakpoints[:MOST_BREAKPOINTS]):
            blocks.append(
                entry(
                    lettering,
                    chr(ord("a") + k),
                    f"{figure_text(change.x, trade.x, trade)}: {plain(change.text, trade)}",
                )
            )
        if len(trade.breakpoints) > MOST_BREAKPOINTS:
            blocks.append(
                text_block([f"and {len(trade.breakpoints) - MOST_BREAKPOINTS} more, without a letter: see the answer."])
            )
    if trade.ends:
        blocks += heading_block("Why it goes no further")
        blocks += [entry(lettering, f"{end.side} end", plain(end.text, trade), 3) for end in trade.ends]
    if trade.next_reading:
        blocks += heading_block("Measure before choosing")
        for reading in trade.next_reading[:_MOST_READINGS]:
            told = f"{sentence(plain(reading.do, trade))} ({reading.instrument})"
            blocks.append(text_block(lettering.wrap(told, INSIDE, most=3), after=2.0))
    if trade.notes:
        blocks += [gap_block(6.0), text_block(lettering.wrap(trade.notes[0], INSIDE, SMALL, most=4), SMALL)]
    return [*blocks, gap_block(14.0)]


_WITHOUT_POINTS: Final = {
    "targets_clash": "There is no curve to draw: the targets cannot all be met together.",
    "no_plan_found": "There is no curve to draw: no plan was found, and it is not proved that there is none.",
}


def why_no_curve(trade: TradeOff, lettering: Lettering) -> list[Block]:
    """What stands in place of the curve where there is none."""
    words = _WITHOUT_POINTS.get(trade.outcome, "There is no curve to draw: the answer holds no points.")
    why = [text_block(lettering.wrap(words, INSIDE, 11.0, True), 11.0, True)]
    if trade.clash is not None:
        told = plain(trade.clash.text, trade)
        why += [] if trade.clash.text in trade.summary else [text_block(lettering.wrap(told, INSIDE))]
        ways = [plain(f"{one.member}: {one.to}", trade) for one in trade.clash.relax]
        why += [*heading_block("Any one of these would do")] if ways else []
        why += [entry(lettering, "–", way, 3) for way in ways[:_MOST_ROWS]]
    return why
