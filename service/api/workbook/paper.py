"""How the sheets look: styles, widths, protection, validation and the page that they print on.

An input is a boxed cell with its unit beside it; a box, a word or a heading always says what a colour says too. Sheets
with formulas are protected without a password: the tabulator key then goes from input to input, and no formula is
overwritten by accident. Whoever wants to change a sheet takes the protection off.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from service.api.workbook.asked import Entry, Units
from service.api.workbook.formulas import NO_NUMBER

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = [
    "BOTH_FILLED",
    "INGREDIENTS_RANGE",
    "add_styles",
    "break_between",
    "choice",
    "heading",
    "limits_by_unit",
    "merged",
    "number_limits",
    "protected",
    "put",
    "set_page",
    "tell_both",
    "tell_no_number",
    "validate_entry",
    "widths",
]

INGREDIENTS_RANGE: Final = "ingredient_ids"
"""Defined name of the list that ingredients are chosen from."""

_SCALE_PERCENT: Final = (77, 72)
"""At which a sheet of questions is one page wide on A4 and on US letter, in the widest of the usual fonts."""
_PAGE_PT: Final = (675.0, 745.0)
"""What a page of either takes of its height then, without margins of half an inch [pt]."""
BOTH_FILLED: Final = "Both are filled."
"""What a note begins with where two inputs are filled of which one is used."""
_HEADING_ROW: Final = "3:3"
_HEADING_PT: Final = 16.0
_INK, _GREY, _LINE = "1F1F1F", "767676", "8C8C8C"
_INPUT_FILL, _BAND_FILL, _HEED_FILL, _STOP_FILL = "FFF6D6", "DCE6EC", "FFFFFF", "F8D7D3"


def add_styles(book: Workbook) -> None:
    """Give a workbook the named styles that every sheet uses; all names begin with `maker`."""
    from openpyxl.styles import Alignment, Border, Font, NamedStyle, PatternFill, Protection, Side

    def fill(colour: str) -> PatternFill:
        return PatternFill("solid", start_color=colour, end_color=colour)

    thin, thick, hair = Side("thin", color=_LINE), Side("medium", color=_INK), Side("hair", color=_LINE)
    box, framed = Border(thick, thick, thick, thick), Border(thin, thin, thin, thin)
    left = Alignment(horizontal="left", vertical="center")
    wrapped = Alignment(horizontal="left", vertical="top", wrap_text=True)
    plain: dict[str, Any] = {"font": Font(name="Calibri", size=11, color=_INK), "alignment": left}
    styles: dict[str, dict[str, Any]] = {
        "maker title": {"font": Font(name="Calibri", size=16, bold=True, color=_INK), "alignment": left},
        "maker text": {**plain, "alignment": wrapped},
        "maker heading": {"font": Font(name="Calibri", size=11, bold=True, color=_INK), "border": Border(bottom=thin)},
        "maker band": {
            "font": Font(name="Calibri", size=12, bold=True, color=_INK),
            "fill": fill(_BAND_FILL),
            "alignment": left,
        },
        "maker label": {**plain, "border": Border(bottom=hair)},
        "maker unit": {
            "font": Font(name="Calibri", size=11, color=_INK),
            "alignment": Alignment(horizontal="left", vertical="center", indent=1),
            "border": Border(bottom=hair),
        },
        "maker name": {
            "font": Font(name="Calibri", size=11, bold=True, color=_INK),
            "alignment": wrapped,
        },
        "maker line": {
            "font": Font(name="Calibri", size=11, color=_INK),
            "alignment": Alignment(horizontal="left", vertical="center", wrap_text=True),
            "fill": fill(_INPUT_FILL),
            "border": framed,
            "protection": Protection(locked=False),
        },
        "maker input": {
            "font": Font(name="Calibri", size=11, color=_INK),
            "alignment": Alignment(horizontal="left", vertical="center", shrink_to_fit=True),
            "fill": fill(_INPUT_FILL),
            "border": box,
            "protection": Protection(locked=False),
        },
        "maker input text": {
            "font": Font(name="Calibri", size=11, color=_INK),
            "alignment": wrapped,
            "fill": fill(_INPUT_FILL),
            "border": box,
            "protection": Protection(locked=False),
        },
        "maker answer": {
            "font": Font(name="Calibri", size=13, bold=True, color=_INK),
            "alignment": Alignment(horizontal="right", vertical="center"),
            "border": framed,
        },
        "maker end": {
            "font": Font(name="Calibri", size=11, color=_INK),
            "alignment": Alignment(horizontal="right", vertical="center"),
            "border": framed,
        },
        "maker heed": {
            "font": Font(name="Calibri", size=9, color=_INK),
            "alignment": wrapped,
            "fill": fill(_HEED_FILL),
            "border": framed,
        },
        "maker helper": {
            "font": Font(name="Calibri", size=8, color=_GREY),
            "alignment": Alignment(horizontal="left", vertical="center", wrap_text=False),
        },
    }
    for name, parts in styles.items():
        book.add_named_style(NamedStyle(name=name, **parts))


def put(sheet: Worksheet, where: str, value: Any, style: str = "maker label", shown: str = "") -> None:
    """Write one cell: its value or formula, its style and its number format."""
    cell: Any = sheet[where]
    cell.value = value
    cell.style = style
    if shown:
        cell.number_format = shown


def merged(sheet: Worksheet, area: str, value: Any, style: str) -> None:
    """Write into an area joined to one cell, framed all around."""
    for row in sheet[area]:
        for cell in row:
            cell.style = style
    sheet.merge_cells(area)
    first: Any = sheet[area.split(":")[0]]
    first.value = value


def heading(sheet: Worksheet, title: str, told: str, columns: Sequence[str], last: str) -> None:
    """The first three rows, which stay in sight and stand on every printed page: title, how to read it, headings."""
    merged(sheet, f"A1:{last}1", title, "maker title")
    merged(sheet, f"A2:{last}2", told, "maker text")
    sheet.row_dimensions[1].height = 26
    sheet.row_dimensions[2].height = 48
    for column, name in zip("ABCDEFGHIJKLMNOPQRST", columns, strict=False):
        if name:
            put(sheet, f"{column}3", name, "maker heading")
    sheet.freeze_panes = "A4"


def widths(sheet: Worksheet, by_column: Sequence[float]) -> None:
    """Widths of the columns from A on [characters]."""
    for column, width in zip("ABCDEFGHIJKLMNOPQRST", by_column, strict=False):
        sheet.column_dimensions[column].width = width


def set_page(
    sheet: Worksheet, units: Units, area: str, *, landscape: bool = True, pages: int = 0, to_width: bool = True
) -> None:
    """Print an area one page wide, its headings on every page, with the name of the sheet and page numbers.

    Parameters: sheet; units, for the paper; area; landscape; pages, that it is to fit on, 0: as many as it takes;
        to_width, whether it is made to fit. Spreadsheets heed breaks between pages only where it is not.
    """
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.paperSize = units.pick(9, 1)  # ISO A4, US letter
    properties: Any = sheet.sheet_properties
    properties.pageSetUpPr.fitToPage = to_width
    if to_width:
        sheet.page_setup.fitToWidth = 1
        sheet.page_setup.fitToHeight = pages
    else:
        sheet.page_setup.scale = units.pick(*_SCALE_PERCENT)
    sheet.print_area = area
    sheet.print_title_rows = _HEADING_ROW if landscape else None
    sheet.print_options.horizontalCentered = True
    footer: Any = sheet.oddFooter
    footer.left.text, footer.center.text, footer.right.text = "&A", "Estimates: verify by measurement", "&P / &N"
    for name in ("left", "right", "top", "bottom"):
        setattr(sheet.page_margins, name, 0.5)
    sheet.sheet_view.showGridLines = False


def break_between(sheet: Worksheet, units: Units, starts: Sequence[int], end: int) -> None:
    """Begin a new page where a block would not fit on the rest of one.

    Parameters: sheet, whose rows all have their heights; units, for the paper; starts, the first row of each block;
        end, the row after the last.
    """
    from openpyxl.worksheet.pagebreak import Break

    def height_pt(first: int, after: int) -> float:
        return sum(float(sheet.row_dimensions[row].height or _HEADING_PT) for row in range(first, after))

    used_pt = height_pt(1, starts[0])
    for start, following in zip(starts, [*starts[1:], end], strict=True):
        block_pt = height_pt(start, following)
        if used_pt + block_pt > units.pick(*_PAGE_PT):
            sheet.row_breaks.append(Break(id=start - 1))
            used_pt = _HEADING_PT
        used_pt += block_pt


def protected(sheet: Worksheet) -> None:
    """Protect a sheet without a password; columns and rows may still be made wider."""
    sheet.protection.sheet = True
    sheet.protection.formatColumns = False
    sheet.protection.formatRows = False


def choice(sheet: Worksheet, where: str, choices: Sequence[str] | str, title: str, told: str) -> None:
    """Let a cell, or an area, be chosen from a list: words, or the name of a range."""
    words = choices if isinstance(choices, str) else '"' + ",".join(choices) + '"'
    _validation(sheet, where, {"type": "list", "formula1": words}, title, told, "Choose one of the list.")


def number_limits(sheet: Worksheet, where: str, least: float, most: float, title: str, told: str) -> None:
    """Let a cell, or an area, be a number between limits."""
    wrong = f"A number between {least:g} and {most:g}."
    _validation(sheet, where, _between(f"{least:g}", f"{most:g}"), title, told, wrong)


def limits_by_unit(
    sheet: Worksheet, where: str, unit: str, limits: dict[str, tuple[float, float]], title: str, told: str
) -> None:
    """Let an area be a number between limits that depend on the unit told in a cell; limits, of two units."""
    (first, ends), (_, others) = limits.items()
    least, most = (f'IF({unit}="{first}",{a:g},{b:g})' for a, b in zip(ends, others, strict=True))
    wrong = " or ".join(f"{low:g} to {high:g} {name}" for name, (low, high) in limits.items())
    _validation(sheet, where, _between(least, most), title, told, f"A number from {wrong}.")


def _between(least: str, most: str) -> dict[str, Any]:
    return {"type": "decimal", "operator": "between", "formula1": least, "formula2": most}


def _validation(sheet: Worksheet, where: str, rule: dict[str, Any], title: str, told: str, wrong: str) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    validation = DataValidation(
        allow_blank=True,
        showErrorMessage=True,
        showInputMessage=True,
        promptTitle=title[:32],
        prompt=(told or wrong)[:255],
        errorTitle=title[:32],
        error=wrong[:255],
        **rule,
    )
    sheet.add_data_validation(validation)
    validation.add(where)


def validate_entry(sheet: Worksheet, entry: Entry, value: str, unit: str) -> None:
    """Tell what may be typed into an input, and from which units its own may be chosen."""
    if entry.form == "ingredient":
        choice(sheet, value, INGREDIENTS_RANGE, entry.label, entry.hint or "Choose an id of the sheet Ingredients.")
    elif entry.choices:
        choice(sheet, value, entry.choices, entry.label, entry.hint)
    else:
        number_limits(sheet, value, entry.least, entry.most, entry.label, entry.hint)
    if len(entry.units) > 1:
        choice(sheet, unit, entry.units, "Unit", f"The unit of: {entry.label}.")


def tell_no_number(sheet: Worksheet, answers: str, heeds: str) -> None:
    """Make a missing number and a `stop` stand out; both are told in words already."""
    from openpyxl.formatting import rule as rules
    from openpyxl.styles import Font, PatternFill

    made: Any = rules
    fill = PatternFill("solid", start_color=_STOP_FILL, end_color=_STOP_FILL)
    first = answers.split(":")[0].split(" ")[0]
    sheet.conditional_formatting.add(
        answers, made.FormulaRule(formula=[f'{first}="{NO_NUMBER}"'], font=Font(bold=True, italic=True), fill=fill)
    )
    first = heeds.split(":")[0].split(" ")[0]
    alarming = f'OR(LEFT({first},9)="No number",LEFT({first},9)="No answer",ISNUMBER(FIND("STOP:",{first})))'
    sheet.conditional_formatting.add(heeds, made.FormulaRule(formula=[alarming], font=Font(bold=True), fill=fill))


def tell_both(sheet: Worksheet, where: str) -> None:
    """Make it stand out where a note says that one of two inputs is not used."""
    from openpyxl.formatting import rule as rules
    from openpyxl.styles import Font

    made: Any = rules
    both = f'LEFT({where},{len(BOTH_FILLED)})="{BOTH_FILLED}"'
    sheet.conditional_formatting.add(where, made.FormulaRule(formula=[both], font=Font(bold=True)))
