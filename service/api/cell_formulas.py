"""Ready formulas for the cells of spreadsheets: an address of this service, asked by the function that each has for it.

Excel for Windows and LibreOffice fetch an address with WEBSERVICE, the one with a comma between arguments, the other
(in most languages) with a semicolon; Google Sheets has IMPORTDATA, and asks from its maker's computers, so that it
reaches public addresses only. NUMBERVALUE reads the decimal point whatever the sheet's language writes. Excel takes no
text of more than 255 characters within a formula (from memory, unverified): a long address is joined from pieces.
"""

from __future__ import annotations

from typing import Final, Literal

__all__ = ["SHEETS", "Sheet", "number_formula", "words_formula"]

Sheet = Literal["excel", "libreoffice", "google_sheets"]

SHEETS: Final[dict[Sheet, str]] = {
    "excel": "Excel for Windows",
    "libreoffice": "LibreOffice Calc",
    "google_sheets": "Google Sheets (public addresses only)",
}
"""The spreadsheets that formulas are written for, and what people call them."""

_PIECE: Final = 200


def number_formula(sheet: Sheet, url: str) -> str:
    """The formula whose cell holds the number that an address answers.

    Parameters: sheet; url, absolute, without a quotation mark.
    Returns: the formula, to paste as it is.

    >>> number_formula("libreoffice", "http://localhost:8000/v1/cell/sg-from-brix?brix=20")
    '=NUMBERVALUE(WEBSERVICE("http://localhost:8000/v1/cell/sg-from-brix?brix=20");".")'
    """
    if sheet == "google_sheets":
        return f'=IMPORTDATA({_literal(url)},",","en_US")'
    between = "," if sheet == "excel" else ";"
    return f'=NUMBERVALUE(WEBSERVICE({_literal(url)}){between}".")'


def words_formula(sheet: Sheet, url: str) -> str:
    """The formula whose cell holds the words that an address answers.

    Parameters, Returns: as of `number_formula`.

    >>> words_formula("excel", "http://localhost:8000/v1/cell/caution/sg-from-brix?brix=20")
    '=WEBSERVICE("http://localhost:8000/v1/cell/caution/sg-from-brix?brix=20")'
    """
    if sheet == "google_sheets":  # a comma within the words must not divide them
        return f"=IMPORTDATA({_literal(url)},CHAR(9))"
    return f"=WEBSERVICE({_literal(url)})"


def _literal(url: str) -> str:
    """The address as a text within a formula, or several that are joined."""
    told = url.replace('"', "%22")
    return "&".join(f'"{told[at : at + _PIECE]}"' for at in range(0, max(len(told), 1), _PIECE))
