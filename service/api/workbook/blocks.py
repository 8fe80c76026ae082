"""Draws the sheets of questions: inputs on the left, on the right what to heed, and below that the answers."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import TYPE_CHECKING, Final

from service.api.workbook.asked import Ask, Block, Entry, Units
from service.api.workbook.formulas import (
    NO_NUMBER,
    address,
    cut_out_number,
    cut_out_unit,
    filled,
    form_text,
    heed,
    literal,
    sent_xml,
    why_no_number,
)
from service.api.workbook.paper import (
    BOTH_FILLED,
    break_between,
    heading,
    merged,
    protected,
    put,
    set_page,
    tell_both,
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
    "Why there is none",
)
_WIDTHS: Final = (30.0, 25.0, 12.0, 1.5, 26.0, 12.0, 13.0, 10.5, 10.5, 2.0, 26.0, 26.0, 26.0)
_ROW_PT: Final = 16.0
_LINE_PT: Final = 12.0
"""Heights of a row, and of a line of the words to heed [pt]."""
_FIRST_ROW: Final = 5
_TOLD: Final = (
    "Boxed cells are yours to fill, the unit beside each; changing a unit does not convert the number. Everything else "
    "is asked of the server. Read what to heed before the number. The columns right of the page hold the address that "
    "each answer came from (paste it into a browser) and the answer as it was sent. Make a row higher where words are "
    "cut off."
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
    set_page(sheet, units, f"A1:I{row - 2}", to_width=False)
    break_between(sheet, units, starts, row - 1)
    protected(sheet)
    answers = [
        f"F{_first_answer(b, s)}:F{_first_answer(b, s) + len(b.asks) - 1}"
        for b, s in zip(blocks, starts, strict=True)
        if b.asks
    ]
    heeds = [f"E{start + 1}" for block, start in zip(blocks, starts, strict=True) if block.asks]
    for where, told in zip(answers, heeds, strict=True):
        tell_no_number(sheet, where, told)
    for block, start in zip(blocks, starts, strict=True):
        if block.one_of is not None:
            tell_both(sheet, f"E{start + 1}")
    return rows


def _height(block: Block) -> int:
    right = _heed_rows(block) + (1 + len(block.asks) if block.asks else 0)
    return max(len(block.entries), right)


def _heed_rows(block: Block) -> int:
    answers = 1 + len(block.asks) if block.asks else 0
    return max(ceil(block.lines * _LINE_PT / _ROW_PT) if block.asks else 1, len(block.entries) - answers)


def _first_answer(block: Block, start: int) -> int:
    return start + 1 + _heed_rows(block) + 1


def _draw(sheet: Worksheet, block: Block, start: int, entries: dict[str, Entry], rows: dict[str, int]) -> None:
    merged(sheet, f"A{start}:I{start}", block.title, "maker band")
    for k in range(2 + _height(block)):
        sheet.row_dimensions[start + k].height = _ROW_PT
    for entry in block.entries:
        _draw_entry(sheet, entry, rows[entry.key])
    until = start + _heed_rows(block)
    if not block.asks:
        merged(sheet, f"E{start + 1}:I{until}", _note(block, entries, rows), "maker text")
        return
    first = _first_answer(block, start)
    asked, sent, why = ([f"${c}${first + k}" for k in range(len(block.asks))] for c in "KLM")
    told = heed(asked[0], sent, why, _missing(block.asks[0], entries, rows))
    merged(sheet, f"E{start + 1}:I{until}", told, "maker heed")
    for column, name in zip("EFGHI", ("Answer", "Number", "Unit", "from", "to"), strict=True):
        put(sheet, f"{column}{first - 1}", name, "maker heading")
    for k, ask in enumerate(block.asks):
        row = first + k
        put(sheet, f"K{row}", _address(ask, entries, rows), "maker helper")
        put(sheet, f"L{row}", sent_xml(asked[k]), "maker helper")
        put(sheet, f"M{row}", why_no_number(asked[k], sent[k], _labels(ask, entries)), "maker helper")
        put(sheet, f"E{row}", ask.label)
        put(sheet, f"F{row}", cut_out_number(asked[k], sent[k], "value", NO_NUMBER), "maker answer", ask.shown)
        put(sheet, f"G{row}", cut_out_unit(asked[k], sent[k]), "maker unit")
        put(sheet, f"H{row}", cut_out_number(asked[k], sent[k], "low", "-"), "maker end", ask.shown)
        put(sheet, f"I{row}", cut_out_number(asked[k], sent[k], "high", "-"), "maker end", ask.shown)


def _note(block: Block, entries: dict[str, Entry], rows: dict[str, int]) -> str:
    """The note of a block, and before it a word where two inputs are filled of which one is used."""
    if block.one_of is None:
        return block.note
    both = ",".join(f'B{rows[key]}<>""' for key in block.one_of)
    used, other = (entries[key].label for key in block.one_of)
    told = f"{BOTH_FILLED} {used} is used, “{other}” is left out: clear one of them. "
    return f'=IF(AND({both}),{literal(told)},"")&{literal(block.note)}'


def _labels(ask: Ask, entries: dict[str, Entry]) -> list[tuple[str, str]]:
    """The parameters of a question, and what the inputs are called that they come from."""
    return [(name, entries[key].label) for name, key in (*ask.needs, *ask.may, *ask.either)]


def _draw_entry(sheet: Worksheet, entry: Entry, row: int) -> None:
    put(sheet, f"A{row}", entry.label)
    put(sheet, f"B{row}", entry.value, "maker input", entry.shown)
    unit = entry.units[0] if entry.units else None
    put(sheet, f"C{row}", unit, "maker input" if len(entry.units) > 1 else "maker unit")
    validate_entry(sheet, entry, f"B{row}", f"C{row}")


def _text_of(key: str, entries: dict[str, Entry], rows: dict[str, int]) -> str:
    entry = entries[key]
    return form_text(entry.form, f"$B${rows[key]}", f"$C${rows[key]}", entry.choices, entry.sent)


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
