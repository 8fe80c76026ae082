"""The first sheet: which server is asked, whether it answers, how to let it be asked, and what to heed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from service.api.workbook.asked import Units
from service.api.workbook.formulas import BASE
from service.api.workbook.paper import heading, merged, protected, put, set_page, widths
from service.api.workbook.tables import CAUTIONS

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["BASE_CELL", "CONNECTION_CELL", "SERVER", "SERVER_CELL", "draw_start"]

SERVER: Final = "server"
"""Defined name of the one cell to change when the server has moved."""
SERVER_CELL, BASE_CELL, CONNECTION_CELL = "B4", "B5", "B6"
_BRIX, _GRAVITY = 20, 1.0829
"""A sugar scale value and its gravity (ICUMSA density of sucrose solutions), by which a connection is known."""

_SHEETS: Final = (
    ("Blend", "honey, juice, acid or water into one lot; what it becomes; two lots mixed"),
    ("Must", "honey for a must; strength, sugar left; readings brought to one scale"),
    ("Stabilising", "sulfite and sorbate, or why there is no dose"),
    ("Packaging", "containers, pressure, keg, heat, energy, drinks, percent juice"),
    ("Test batches", "four glasses of the lot side by side"),
    ("Batch record", "a line a day, gravity and strength worked out"),
    ("Ingredients", "the catalogue"),
    ("Notes", "cautions, what the figures mean, sources"),
)
_CONNECT: Final = (
    (
        "LibreOffice Calc",
        "A yellow bar says that updating external links is off: press “Allow updating”. For it never to ask, do both: "
        "add a folder whose files are your own to the trusted file locations (Tools, Options, LibreOffice, Security, "
        "Macro Security), and let Calc always update links when opening (LibreOffice Calc, General).",
    ),
    (
        "Excel for Windows",
        "Press “Enable Editing”, then “Enable Content” where a bar offers it, then Ctrl+Alt+F9. Excel on other systems "
        "and on the web has no function that asks a server; the answers stay without a number there.",
    ),
    (
        "Google Sheets",
        "It has no such function either. The list of questions, at the address above with /v1/cell behind it, has "
        "ready formulas with IMPORTDATA; they reach servers with a public address only.",
    ),
    (
        "Still not connected",
        "Put the address above into a browser with /healthz behind it. If the server has moved, write its new address "
        "into the boxed cell: every sheet then asks there. A name such as 127.0.0.1 means the very machine that you "
        "sit at.",
    ),
)
_USE: Final = (
    (
        "Fill in",
        "Boxed cells with a tinted ground are yours; the tabulator key goes from one to the next. They start with "
        "invented figures. Choose the unit beside a number; that does not convert the number. Clear a cell that you "
        "know nothing of.",
    ),
    (
        "Read",
        "First the words under “Heed first”, then the number, then its ends “from” and “to”. Each thing to heed is a "
        "line; words in capitals tell how grave it is: STOP, WARNING, NOTE.",
    ),
    (
        "no number",
        "The words above it say which input is why, and what to change; with STOP: do not do it so. If a cell shows "
        "#VALUE!, #NAME? or Err: instead, your spreadsheet could not ask at all: see below.",
    ),
    (
        "Change",
        "The sheets are protected without a password, so that no formula is lost by accident. Take the protection off "
        "to change them.",
    ),
)


def draw_start(sheet: Worksheet, units: Units, server: str) -> None:
    """Draw the sheet.

    Parameters: sheet, an empty one; units, for the paper; server, the address of this service.
    """
    heading(
        sheet,
        "Sweetening and blending: a workbook that asks your server",
        "How much honey, juice, concentrate or water brings a ferment where you want it, one question a block. The "
        "arithmetic is done by the server below, which this workbook asks for each number.",
        (),
        "B",
    )
    widths(sheet, (24.0, 100.0))
    put(sheet, "A4", "Server", "maker heading")
    put(sheet, SERVER_CELL, server, "maker input")
    put(sheet, "A5", "Formulas begin with", "maker heading")
    trimmed = f"TRIM({SERVER})"
    put(sheet, BASE_CELL, f'=IF(RIGHT({trimmed},1)="/",LEFT({trimmed},LEN({trimmed})-1),{trimmed})', "maker unit")
    put(sheet, "A6", "Connection", "maker heading")
    asked = f'_xlfn.NUMBERVALUE(_xlfn.WEBSERVICE({BASE}&"/v1/cell/sg-from-brix?brix={_BRIX}"),".")'
    known = f'IF(ABS(IFERROR({asked},0)-{_GRAVITY})<0.0005,"connected","not connected: see “If it is not connected”")'
    put(sheet, CONNECTION_CELL, f"={known}", "maker answer")
    cell: Any = sheet[CONNECTION_CELL]
    from openpyxl.styles import Alignment
    from openpyxl.worksheet.datavalidation import DataValidation

    cell.alignment = Alignment(horizontal="left", vertical="center")
    rule = DataValidation(
        type="custom",
        formula1=f'LEFT({SERVER_CELL},4)="http"',
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
        promptTitle="Server",
        prompt="Its address, such as http://127.0.0.1:8000. The one cell to change when the server has moved.",
        errorTitle="Server",
        error="An address begins with http:// or https://.",
    )
    sheet.add_data_validation(rule)
    rule.add(SERVER_CELL)
    row = 8
    for title, lines in (("How to use it", _USE), ("If it is not connected", _CONNECT)):
        merged(sheet, f"A{row}:B{row}", title, "maker band")
        for name, told in lines:
            row += 1
            put(sheet, f"A{row}", name, "maker name")
            put(sheet, f"B{row}", told, "maker text")
            sheet.row_dimensions[row].height = 50 if len(told) > 190 else 34
        row += 2
    row = _caution_lines(sheet, row)
    merged(sheet, f"A{row}:B{row}", "The sheets", "maker band")
    for name, told in _SHEETS:
        row += 1
        put(sheet, f"A{row}", name, "maker name")
        link: Any = sheet[f"A{row}"]
        link.hyperlink = f"#'{name}'!A1"
        put(sheet, f"B{row}", told, "maker text")
    set_page(sheet, units, f"A1:B{row}", landscape=False)
    sheet.print_title_rows = None
    protected(sheet)


def _caution_lines(sheet: Worksheet, row: int) -> int:
    """Write the cautions, and tell the row of the next heading."""
    merged(sheet, f"A{row}:B{row}", "Before you rely on a number", "maker band")
    for line in CAUTIONS:
        row += 1
        merged(sheet, f"A{row}:B{row}", line, "maker text")
        sheet.row_dimensions[row].height = 34 if len(line) > 120 else 18
    return row + 2
