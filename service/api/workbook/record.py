"""The sheet that keeps a batch record: a line for each day, with its gravity corrected and its strength so far."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Any, Final

from service.api.workbook.asked import ACIDITY_UNITS, Entry, Units
from service.api.workbook.formulas import BASE, NO_NUMBER, form_text, plain_number, words_without_number
from service.api.workbook.paper import (
    choice,
    heading,
    limits_by_unit,
    merged,
    number_limits,
    protected,
    put,
    set_page,
    tell_no_number,
    validate_entry,
    widths,
)
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["draw_record"]

_COLUMNS: Final = (
    "Date",
    "What was done",
    "Hydrometer",
    "Sample at",
    "Gravity, SG 20/20",
    "Strength so far, % vol",
    "pH",
    "Acidity",
    "Ferment",
    "Heed",
    "Notes",
    "",
    "Gravity: address",
    "Strength: address",
)
_TOLD: Final = (
    "One line a day. The reading is corrected for its temperature; without one it is taken as it is. The strength "
    f"holds only until something is added. Equal within 0.001 over {LEAST_DAYS} days or more shows as steady, which is "
    f"not finished: a slow ferment may still fall over {SLOW_DAYS} days. The lines of the demo are invented: overwrite "
    "them. Make a row higher where words are cut off."
)
_ABOVE, _FIRST, _LINES = 4, 9, 32
_LINE_PT: Final = 25.0
"""Height of a line [pt]: all of them fit on one page."""
_SAME: Final = 0.001
_DEGREES: Final = {"C": (0.0, 40.0), "F": (32.0, 104.0)}
"""Sample temperatures that corrections are known for, 0 to 40 °C, in both units."""
_OF_GRAVITY: Final = (
    ("reading", "Hydrometer"),
    ("sample_temperature", "Sample at"),
    ("calibrated_at", "Hydrometer calibrated at"),
    ("abv_percent", "Strength of the line above"),
)
_OF_STRENGTH: Final = (("original_gravity", "Original gravity"), ("final_gravity", "Gravity"))
"""Parameters, and what their inputs are called here."""
_DEMO: Final = (
    (date(2026, 3, 1), "honey into water, yeast", 1.060, 24.0, 3.9, None, "demo"),
    (date(2026, 3, 8), "reading", 1.028, 22.0, 3.5, None, "demo"),
    (date(2026, 3, 22), "reading", 1.002, 20.0, 3.4, 4.5, "demo"),
    (date(2026, 4, 2), "reading", 0.998, 19.0, 3.4, 4.6, "demo"),
    (date(2026, 4, 9), "reading", 0.998, 19.0, 3.4, 4.6, "demo: same as a week before"),
)


def draw_record(sheet: Worksheet, units: Units) -> None:
    """Draw the sheet.

    Parameters: sheet, an empty one; units, that its inputs start with.
    """
    heading(sheet, "Batch record", _TOLD, (), "K")
    widths(sheet, (13.0, 30.0, 13.0, 12.0, 18.0, 22.0, 8.0, 11.0, 16.0, 34.0, 34.0, 2.0, 24.0, 24.0))
    entries = (
        Entry("", "Original gravity", f"=E{_FIRST}", "number", ("SG 20/20",), least=0.99, most=1.5, shown="0.0000"),
        Entry("", "Hydrometer calibrated at", units.pick(20.0, 60.0), "quantity", units.temperatures, most=110.0),
        _of_all("All sample temperatures in", units.temperatures),
        _of_all("All acidities in", ACIDITY_UNITS),
    )
    for k, entry in enumerate(entries):
        row = _ABOVE + k
        put(sheet, f"B{row}", entry.label)
        put(sheet, f"C{row}", entry.value, "maker input", entry.shown)
        put(
            sheet,
            f"D{row}",
            entry.units[0] if entry.units else None,
            "maker input" if len(entry.units) > 1 else "maker unit",
        )
        validate_entry(sheet, entry, f"C{row}", f"D{row}")
    merged(sheet, f"E{_ABOVE}:K{_ABOVE + 3}", "Batch: name, yeast, honey, water …", "maker input text")
    for column, name in zip("ABCDEFGHIJKLMN", _COLUMNS, strict=True):
        if name:
            put(sheet, f"{column}{_FIRST - 1}", name, "maker heading")
    sheet.freeze_panes = f"A{_FIRST}"
    for k in range(_LINES):
        _line(sheet, units, k)
    last = _FIRST + _LINES - 1
    _limits(sheet, last)
    tell_no_number(sheet, f"E{_FIRST}:F{last}", f"J{_FIRST}:J{last}")
    set_page(sheet, units, f"A1:K{last}", pages=1)
    sheet.print_title_rows = None
    protected(sheet)


def _of_all(label: str, choices: tuple[str, ...]) -> Entry:
    """The input of a unit that every line has."""
    hint = "The unit of every line below. Changing it converts no number."
    return Entry("", label, choices[0], "text", units=("all lines",), choices=choices, hint=hint)


def _limits(sheet: Worksheet, last: int) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    def column(name: str) -> str:
        return f"{name}{_FIRST}:{name}{last}"

    number_limits(sheet, column("C"), 0.97, 1.5, "Hydrometer", "Specific gravity as the hydrometer shows it.")
    told = f"In the unit of the cell C{_ABOVE + 2} above, which holds for all lines."
    limits_by_unit(sheet, column("D"), f"$C${_ABOVE + 2}", _DEGREES, "Sample temperature", told)
    number_limits(sheet, column("G"), 1.5, 9.0, "pH", "By a calibrated meter.")
    number_limits(sheet, column("H"), 0.0, 200.0, "Acidity", f"In the unit of the cell C{_ABOVE + 3} above.")
    dates = DataValidation(
        type="date",
        operator="greaterThan",
        formula1="36526",  # 2000-01-01
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
        promptTitle="Date",
        prompt="The day of the reading.",
        errorTitle="Date",
        error="A date of this century.",
    )
    sheet.add_data_validation(dates)
    dates.add(column("A"))
    done = ("reading", "yeast", "nutrients", "racked", "sweetened", "sulfite", "sorbate", "fined", "packed")
    choice(sheet, column("B"), done, "What was done", "Choose, or write your own words.")
    free: Any = sheet.data_validations.dataValidation[-1]
    free.showErrorMessage = False


def _line(sheet: Worksheet, units: Units, k: int) -> None:
    row = _FIRST + k
    demo: tuple[Any, ...] = _DEMO[k] if k < len(_DEMO) else (None,) * 7
    day, done, reading, celsius, ph, acidity, note = demo
    at = celsius if celsius is None else units.pick(celsius, round(1.8 * celsius + 32.0))
    for column, value, shown in (
        ("A", day, "yyyy-mm-dd"),
        ("B", done, "General"),
        ("C", reading, "0.000"),
        ("D", at, "General"),
        ("G", ph, "0.00"),
        ("H", acidity, "0.0"),
        ("K", note, "General"),
    ):
        put(sheet, f"{column}{row}", value, "maker line", shown)
    asked, strength = f"M{row}", f"N{row}"
    put(sheet, asked, _gravity_asked(row, first=k == 0), "maker helper")
    put(sheet, strength, _strength_asked(row), "maker helper")
    found = f'=IF(C{row}="","",IF({asked}="",C{row},{plain_number(asked)}))'
    put(sheet, f"E{row}", found, "maker end", "0.0000")
    put(sheet, f"F{row}", "=" + plain_number(strength), "maker end", "0.00")
    of_gravity, of_strength = words_without_number(asked, _OF_GRAVITY), words_without_number(strength, _OF_STRENGTH)
    why = f'IF(E{row}="{NO_NUMBER}",{of_gravity},{of_strength})'
    told = f'=IF(OR(E{row}="{NO_NUMBER}",F{row}="{NO_NUMBER}"),{why},"")'
    put(sheet, f"J{row}", told, "maker heed")
    put(sheet, f"I{row}", None if k == 0 else _state(row), "maker unit")
    sheet.row_dimensions[row].height = _LINE_PT


def _gravity_asked(row: int, *, first: bool) -> str:
    calibrated, unit = f"$C${_ABOVE + 1}", f"$D${_ABOVE + 1}"
    degrees = f"$C${_ABOVE + 2}"
    so_far = (
        ""
        if first
        else f'&IF(ISNUMBER(F{row - 1}),"&abv_percent="&{form_text("number", f"ROUND(F{row - 1},2)", "")},"")'
    )
    asked = (
        f'{BASE}&"/v1/cell/gravity-from-reading?reading="&{form_text("number", f"C{row}", "")}'
        f'&"&sample_temperature="&{form_text("quantity", f"D{row}", degrees)}'
        f'&"&calibrated_at="&{form_text("quantity", calibrated, unit)}{so_far}'
    )
    return f'=IF(OR(C{row}="",D{row}="",{calibrated}=""),"",{asked})'


def _strength_asked(row: int) -> str:
    original = f"$C${_ABOVE}"
    asked = (
        f'{BASE}&"/v1/cell/abv-from-gravities?original_gravity="&{form_text("number", f"ROUND({original},5)", "")}'
        f'&"&final_gravity="&{form_text("number", f"ROUND(E{row},5)", "")}'
    )
    return f'=IF(OR({original}="",NOT(ISNUMBER(E{row}))),"",{asked})'


def _state(row: int) -> str:
    here, before = f"E{row}", f"E{row - 1}"
    days = f"A{row}-A{row - 1}"
    equal = f'IF({days}>={LEAST_DAYS},"steady","same, too soon to tell")'
    moved = f'IF({here}<{before},"falling","risen: something added?")'
    told = f"IF(ABS(ROUND({here}-{before},5))<={_SAME},{equal},{moved})"
    return f'=IF(AND(COUNT({here},{before})=2,A{row}<>"",A{row - 1}<>""),{told},"")'
