"""Draws the sheets of questions: inputs on the left, on the right what to heed, and below that the answers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from service.api.workbook.asked import Ask, Block, Entry, Units
from service.api.workbook.formulas import (
    NO_NUMBER,
    address,
    cut_out,
    cut_out_number,
    filled,
    form_text,
    heed,
    sent_xml,
)
from service.api.workbook.paper import (
    break_between,
    heading,
    merged,
    protected,
    put,
    set_page,
    tell_no_number,
    validate_entry,
    widths,
)

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["draw_questions"]

_COLUMNS: Final = (
    "What",
    "Yours",
    "Unit",
    "",
    "Heed first, then the answer",
    "",
    "",
    "",
    "",
    "",
    "Address asked",
    "Answer as sent",
)
_WIDTHS: Final = (31.0, 25.0, 14.0, 2.0, 28.0, 13.0, 16.0, 11.0, 11.0, 2.0, 26.0, 26.0)
_ROW_HEIGHT: Final = 18.0
_FIRST_ROW: Final = 5
_TOLD: Final = (
    "Boxed cells are yours to fill, the unit beside each; changing a unit does not convert the number. Everything else "
    "is asked of the server. Read what to heed before the number. The two columns right of the page hold the address "
    "that each answer came from (paste it into a browser) and the answer as it was sent. Make a row higher where "
    "words are cut off."
)


def draw_questions(sheet: Worksheet, title: str, blocks: Sequence[Block], units: Units) -> dict[str, int]:
    """Draw a sheet.

    Parameters: sheet, an empty one; title; blocks, whose questions may use every input of the sheet; units, for the
        paper.
    Returns: the row of each input by its key.
    """
    heading(sheet, title, _TOLD, _COLUMNS, "I")
    widths(sheet, _WIDTHS)
    entries = {entry.key: entry for block in blocks for entry in block.entries}
    rows: dict[str, int] = {}
    starts, row = [], _FIRST_ROW
    for block in blocks:
        starts.append(row)
        rows |= {entry.key: row + 1 + k for k, entry in enumerate(block.entries)}
        row += 2 + _height(block)
    for block, start in zip(blocks, starts, strict=True):
        _draw(sheet, block, start, entries, rows)
    set_page(sheet, units, f"A1:I{row - 1}")
    break_between(sheet, starts, row)
    protected(sheet)
    answers = [
        f"F{_first_answer(b, s)}:F{_first_answer(b, s) + len(b.asks) - 1}"
        for b, s in zip(blocks, starts, strict=True)
        if b.asks
    ]
    heeds = [f"E{start + 1}" for block, start in zip(blocks, starts, strict=True) if block.asks]
    for where, told in zip(answers, heeds, strict=True):
        tell_no_number(sheet, where, told)
    return rows


def _height(block: Block) -> int:
    right = _heed_rows(block) + (1 + len(block.asks) if block.asks else 0)
    return max(len(block.entries), right)


def _heed_rows(block: Block) -> int:
    answers = 1 + len(block.asks) if block.asks else 0
    return max(block.heed_rows if block.asks else 1, len(block.entries) - answers)


def _first_answer(block: Block, start: int) -> int:
    return start + 1 + _heed_rows(block) + 1


def _draw(sheet: Worksheet, block: Block, start: int, entries: dict[str, Entry], rows: dict[str, int]) -> None:
    merged(sheet, f"A{start}:I{start}", block.title, "maker band")
    for k in range(1 + _height(block)):
        sheet.row_dimensions[start + k].height = _ROW_HEIGHT
    for entry in block.entries:
        _draw_entry(sheet, entry, rows[entry.key])
    until = start + _heed_rows(block)
    if not block.asks:
        merged(sheet, f"E{start + 1}:I{until}", block.note, "maker text")
        return
    first = _first_answer(block, start)
    asked = [(f"$K${first + k}", f"$L${first + k}") for k in range(len(block.asks))]
    told = heed(*asked[0], _missing(block.asks[0], entries, rows), asked[1:])
    merged(sheet, f"E{start + 1}:I{until}", told, "maker heed")
    for column, name in zip("EFGHI", ("Answer", "Number", "Unit", "from", "to"), strict=True):
        put(sheet, f"{column}{first - 1}", name, "maker heading")
    for k, ask in enumerate(block.asks):
        row, (url, sent) = first + k, asked[k]
        put(sheet, f"K{row}", _address(ask, entries, rows), "maker helper")
        put(sheet, f"L{row}", sent_xml(url), "maker helper")
        put(sheet, f"E{row}", ask.label)
        put(sheet, f"F{row}", cut_out_number(url, sent, "value", NO_NUMBER), "maker answer", ask.shown)
        put(sheet, f"G{row}", cut_out(url, sent, "unit"), "maker unit")
        put(sheet, f"H{row}", cut_out_number(url, sent, "low", "-"), "maker end", ask.shown)
        put(sheet, f"I{row}", cut_out_number(url, sent, "high", "-"), "maker end", ask.shown)


def _draw_entry(sheet: Worksheet, entry: Entry, row: int) -> None:
    put(sheet, f"A{row}", entry.label)
    put(sheet, f"B{row}", entry.value, "maker input", entry.shown)
    unit = entry.units[0] if entry.units else None
    put(sheet, f"C{row}", unit, "maker input" if len(entry.units) > 1 else "maker unit")
    validate_entry(sheet, entry, f"B{row}", f"C{row}")


def _text_of(key: str, entries: dict[str, Entry], rows: dict[str, int]) -> str:
    return form_text(entries[key].form, f"$B${rows[key]}", f"$C${rows[key]}")


def _address(ask: Ask, entries: dict[str, Entry], rows: dict[str, int]) -> str:
    def optional(pairs: Sequence[tuple[str, str]]) -> list[tuple[str, str, str]]:
        return [(name, f"$B${rows[key]}", _text_of(key, entries, rows)) for name, key in pairs]

    missing = filled([f"$B${rows[key]}" for _, key in ask.needs], [f"$B${rows[key]}" for _, key in ask.either])
    needs = [(name, _text_of(key, entries, rows)) for name, key in ask.needs]
    needs += [(name, f'"{text}"') for name, text in ask.fixed]
    return address(ask.question, missing, needs, optional(ask.may), optional(ask.either))


def _missing(ask: Ask, entries: dict[str, Entry], rows: dict[str, int]) -> list[tuple[str, str]]:
    """What the caution cell names while a needed input is empty."""
    wanted = [(f'$B${rows[key]}=""', entries[key].label) for _, key in ask.needs]
    if ask.either:
        labels = " ".join(entries[key].label for _, key in ask.either)
        wanted.append((filled((), [f"$B${rows[key]}" for _, key in ask.either]), labels))
    return wanted
