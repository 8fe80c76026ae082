"""The sheet that sets four test batches of one lot side by side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from service.api.workbook.asked import INGREDIENT, THREE_FIGURES, Entry, Units
from service.api.workbook.blend import LOT_EITHER, LOT_MAY
from service.api.workbook.formulas import (
    NO_NUMBER,
    address,
    cut_out_number,
    filled,
    form_text,
    heed,
    plain_number,
    sent_xml,
)
from service.api.workbook.paper import (
    choice,
    heading,
    merged,
    number_limits,
    protected,
    put,
    set_page,
    tell_no_number,
    validate_entry,
    widths,
)

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

__all__ = ["draw_batches"]

_BLEND: Final = "Blend!"
_WATER_KG_PER_L: Final = 0.998203
"""Density of water at 20 °C (ICUMSA SPS-4); SG 20/20 times this is the density of a liquid [kg/L]."""
_LITRES: Final = {
    "L": "1",
    "mL": "0.001",
    "gal": "3.785411784",
    "qt": "0.946352946",
    "hL": "100",
    "fl oz": "0.0295735295625",
}
_GRAMS: Final = {"g": "1", "kg": "1000", "oz wt": "28.349523125", "lb": "453.59237"}
"""Exact by definition (NIST Handbook 44, appendix C)."""
_VARIANTS: Final = "CDEF"
_FIGURES: Final = (
    ("gravity-after", "Gravity, SG 20/20", "SG", "0.0000"),
    ("abv-after", "Strength", "% vol", "0.00"),
    ("acidity-after", "Titratable acidity", "g/L tartaric", "0.00"),
    ("ph-after", "pH", "pH", "0.00"),
)
_TOLD: Final = (
    "The same lot, that of the sheet Blend, four times: change the amounts, pour the glasses, taste, score. Weigh the "
    "additions. A variant without additions stays empty; choose water and 0 for a plain one. The grey rows below the "
    "page hold the addresses asked."
)
_COLUMNS: Final = ("Variant", "Unit", "first", "second", "third", "fourth")

_NAMES, _BASE, _ONE, _ONE_MASS, _TWO, _TWO_MASS = 7, 8, 9, 10, 11, 12
_HEED, _BECOMES = 14, 15
_SUGAR, _VOLUME = 19, 20
_DIFFERENCES = 22
_TASTING = 28
_SCALED = 32
_HELPERS = 37
_FIRST, _BETWEEN, _BETWEEN_L, _SECOND = _HELPERS, _HELPERS + 4, _HELPERS + 8, _HELPERS + 9
_LAST_PH, _SENT, _SUGAR_ASKED, _HEEDED = _HELPERS + 13, _HELPERS + 14, _HELPERS + 15, _HELPERS + 16
"""Rows: names and amounts, what it becomes, and below the page the addresses and the steps in between."""
_PH: Final = 3
"""The last of the four figures, whose answer brings the cautions of all."""
_SUGAR_QUESTION: Final = "sugar-from-gravity-and-abv"
_LOT_FORMS: Final = {
    "gravity": "number",
    "abv": "number",
    "original": "number",
    "class": "text",
    "acidity": "acidity",
    "ph": "number",
    "sample": "quantity",
    "calibrated": "quantity",
}


def draw_batches(sheet: Worksheet, units: Units, lot: Mapping[str, int]) -> None:
    """Draw the sheet.

    Parameters: sheet, an empty one; units, that its inputs start with; lot, the rows of the inputs of the sheet Blend.
    """
    heading(sheet, "Test batches side by side", _TOLD, _COLUMNS, "F")
    widths(sheet, (32.0, 15.0, 29.0, 29.0, 29.0, 29.0))
    merged(sheet, "A5:F5", _lot_in_words(lot), "maker band")
    merged(sheet, "A6:F6", "What goes into each (invented amounts: overwrite them)", "maker heading")
    merged(sheet, "A13:F13", "What it becomes: heed first, then the figures", "maker band")
    merged(sheet, f"A{_DIFFERENCES - 1}:F{_DIFFERENCES - 1}", "Differences from the first", "maker band")
    merged(sheet, f"A{_TASTING - 1}:F{_TASTING - 1}", "Tasting", "maker band")
    merged(sheet, f"A{_SCALED - 1}:F{_SCALED - 1}", "The same in the whole lot of the sheet Blend", "maker band")
    merged(sheet, f"A{_HELPERS - 1}:F{_HELPERS - 1}", "Addresses asked, and steps in between", "maker helper")
    _inputs(sheet, units)
    _labels(sheet)
    for k, column in enumerate(_VARIANTS):
        _asked(sheet, column, lot)
        _figures(sheet, column)
        _compared(sheet, column, k, lot)
    tell_no_number(sheet, f"C{_BECOMES}:F{_VOLUME}", f"C{_HEED}:F{_HEED}")
    set_page(sheet, units, f"A1:F{_HELPERS - 2}")
    protected(sheet)


def _lot_in_words(lot: Mapping[str, int]) -> str:
    volume, gravity = f"{_BLEND}$B${lot['volume']}", f"{_BLEND}$B${lot['gravity']}"
    return f'="The lot of the sheet Blend: "&{volume}&" "&{_BLEND}$C${lot["volume"]}&" of SG "&{gravity}'


def _inputs(sheet: Worksheet, units: Units) -> None:
    masses = units.pick(("g", "kg", "oz wt", "lb"), ("oz wt", "lb", "g", "kg"))
    volume = Entry(
        "",
        "Volume of the base",
        None,
        "quantity",
        units.pick(("L", "mL", "gal", "qt", "fl oz"), ("qt", "fl oz", "gal", "L", "mL")),
        most=1e5,
    )
    mass = Entry("", "Amount, weighed", None, "quantity", masses, most=1e6)
    kind = Entry("", INGREDIENT, None, "ingredient")
    honey, sour = (
        units.pick((25.0, 25.0, 30.0, 35.0), (0.9, 0.9, 1.1, 1.3)),
        units.pick((None, 6.0, 9.0, 12.0), (None, 0.2, 0.3, 0.4)),
    )
    put(sheet, f"A{_NAMES}", "Name")
    rows = ((_BASE, volume), (_ONE, kind), (_ONE_MASS, mass), (_TWO, kind), (_TWO_MASS, mass))
    labels = ("Base, volume", "First addition", "of it", "Second addition, after the first", "of it")
    for (row, entry), label in zip(rows, labels, strict=True):
        put(sheet, f"A{row}", label)
        put(sheet, f"B{row}", entry.units[0] if entry.units else None, "maker input" if entry.units else "maker unit")
        if entry.units:
            choice(sheet, f"B{row}", entry.units, "Unit", f"The unit of the whole row: {label}.")
    for k, column in enumerate(_VARIANTS):
        values = (units.pick(1.0, 1.0), "honey_acacia", honey[k], None if k == 0 else "lemon_juice_fresh", sour[k])
        put(sheet, f"{column}{_NAMES}", f"glass {k + 1}", "maker input")
        for (row, entry), value in zip(rows, values, strict=True):
            put(sheet, f"{column}{row}", value, "maker input")
            validate_entry(
                sheet, Entry("", labels[row - _BASE], None, entry.form, most=entry.most), f"{column}{row}", ""
            )


def _labels(sheet: Worksheet) -> None:
    figures = [(label, unit) for _, label, unit, _ in _FIGURES] + [("Sugar that yeast can use", "g/L"), ("Volume", "L")]
    put(sheet, f"A{_HEED}", "Heed (notes: see Blend)")
    sheet.row_dimensions[_HEED].height = 150
    for k, (label, unit) in enumerate(figures):
        put(sheet, f"A{_BECOMES + k}", label)
        put(sheet, f"B{_BECOMES + k}", unit, "maker unit")
        if k < 5:
            put(sheet, f"A{_DIFFERENCES + k}", label)
            put(sheet, f"B{_DIFFERENCES + k}", unit, "maker unit")
    for k, label in enumerate(("Score, 1 to 9", "What it tastes of")):
        put(sheet, f"A{_TASTING + k}", label)
        for column in _VARIANTS:
            put(sheet, f"{column}{_TASTING + k}", None, "maker input" if k == 0 else "maker input text")
    number_limits(sheet, f"C{_TASTING}:F{_TASTING}", 1, 9, "Score", "1 dislike very much, 9 like very much.")
    sheet.row_dimensions[_TASTING + 1].height = 60
    put(sheet, f"A{_SCALED}", "First addition")
    put(sheet, f"A{_SCALED + 1}", "Second addition")
    put(sheet, f"B{_SCALED}", f"=B{_ONE_MASS}", "maker unit")
    put(sheet, f"B{_SCALED + 1}", f"=B{_TWO_MASS}", "maker unit")
    helpers = [f"{when}: {label}" for when in ("asked first", "after the first") for _, label, _, _ in _FIGURES]
    helpers += ["after the first: volume, L", *(f"asked second: {label}" for _, label, _, _ in _FIGURES)]
    helpers += ["asked last: pH and cautions", "as sent", "asked last: sugar", "to heed, with notes"]
    for k, label in enumerate(helpers):
        put(sheet, f"A{_HELPERS + k}", label, "maker helper")


def _times(cell: str, factors: Mapping[str, str]) -> str:
    """A factor chosen by the unit in a cell."""
    words = ",".join(f'"{unit}"' for unit in factors)
    return f"CHOOSE(MATCH({cell},{{{words}}},0),{','.join(factors.values())})"


def _mixed_l(litres: str, gravity: str, mass: str, after: str) -> str:
    """Volume of a mix [L]: the mass of both over the density that the mix has."""
    kilos = f"{mass}*{_times('$B$' + mass[1:], _GRAMS)}/1000"
    return f"({litres}*{gravity}*{_WATER_KG_PER_L}+{kilos})/({after}*{_WATER_KG_PER_L})"


def _asked(sheet: Worksheet, c: str, lot: Mapping[str, int]) -> None:
    """The addresses of one variant, and what it is between its two additions."""

    def helper(row: int, formula: str) -> None:
        put(sheet, f"{c}{row}", formula, "maker helper")

    def of_lot(name: str, key: str) -> tuple[str, str, str]:
        value, unit = (f"{_BLEND}${column}${lot[key]}" for column in "BC")
        return name, value, form_text(_LOT_FORMS[key], value, unit)

    gravity = of_lot("gravity", "gravity")
    either = [of_lot(*pair) for pair in LOT_EITHER]
    missing = filled([f"{c}{_BASE}", f"{c}{_ONE}", f"{c}{_ONE_MASS}", gravity[1]], [cell for _, cell, _ in either])
    needs = [
        ("ingredient", form_text("ingredient", f"{c}{_ONE}", "")),
        ("amount", form_text("quantity", f"{c}{_ONE_MASS}", f"$B${_ONE_MASS}")),
        ("volume", form_text("quantity", f"{c}{_BASE}", f"$B${_BASE}")),
        ("gravity", gravity[2]),
    ]
    for k, (question, *_) in enumerate(_FIGURES):
        helper(_FIRST + k, address(question, missing, needs, [of_lot(*pair) for pair in LOT_MAY], either))
        if k < _PH:
            helper(_BETWEEN + k, "=" + plain_number(f"{c}{_FIRST + k}"))
    # a pH that cannot be told, of a drink without acid, is left out of the second question
    ph = plain_number(f"{c}{_FIRST + _PH}")
    helper(_BETWEEN + _PH, f'=IF(OR({c}{_TWO}="",{c}{_TWO_MASS}=""),"",IFERROR(0+{ph},""))')
    litres = f"{c}{_BASE}*{_times(f'$B${_BASE}', _LITRES)}"
    mixed = _mixed_l(litres, gravity[1], f"{c}{_ONE_MASS}", f"{c}{_BETWEEN}")
    helper(_BETWEEN_L, f'=IFERROR({mixed},"")')
    after = [form_text("number", f"ROUND({c}{_BETWEEN + k},5)", "") for k in range(len(_FIGURES))]
    needs = [
        ("ingredient", form_text("ingredient", f"{c}{_TWO}", "")),
        ("amount", form_text("quantity", f"{c}{_TWO_MASS}", f"$B${_TWO_MASS}")),
        ("volume", form_text("number", f"ROUND({c}{_BETWEEN_L},6)", "") + '&"L"'),
        ("gravity", after[0]),
        ("abv_percent", after[1]),
        ("titratable_acidity", after[2] + '&"%20g%2FL%20tartaric"'),
    ]
    known = f"COUNT({c}{_BETWEEN}:{c}{_BETWEEN + 2},{c}{_BETWEEN_L})<4"
    missing = f'OR({c}{_TWO}="",{c}{_TWO_MASS}="",{known})'
    may = [("ph", f"{c}{_BETWEEN + _PH}", after[_PH]), of_lot("class", "class")]
    for k, (question, *_) in enumerate(_FIGURES):
        helper(_SECOND + k, address(question, missing, needs, may))
    helper(_LAST_PH, f'=IF({c}{_SECOND + _PH}="",{c}{_FIRST + _PH},{c}{_SECOND + _PH})')
    helper(_SENT, sent_xml(f"{c}{_LAST_PH}"))
    needs = [
        ("gravity", form_text("number", f"ROUND({c}{_BECOMES},5)", "")),
        ("abv_percent", form_text("number", f"ROUND({c}{_BECOMES + 1},4)", "")),
    ]
    helper(_SUGAR_ASKED, address(_SUGAR_QUESTION, f"COUNT({c}{_BECOMES}:{c}{_BECOMES + 1})<2", needs, may[1:]))


def _figures(sheet: Worksheet, c: str) -> None:
    """What a variant becomes: after the second addition, or after the first where there is no second."""
    wanted = [(f'{c}{row}=""', name) for row, name in ((_BASE, "Base"), (_ONE, "First addition"), (_ONE_MASS, "of it"))]
    wanted.append(("TRUE", "(and the lot of the sheet Blend)"))
    put(sheet, f"{c}{_HEEDED}", heed(f"{c}{_LAST_PH}", f"{c}{_SENT}", wanted), "maker helper")
    told = f"{c}{_HEEDED}"
    put(sheet, f"{c}{_HEED}", f'=IFERROR(LEFT({told},FIND("NOTE:",{told})-1),{told})', "maker heed")
    for k, (*_, shown) in enumerate(_FIGURES[:_PH]):
        second = f"{c}{_SECOND + k}"
        put(
            sheet,
            f"{c}{_BECOMES + k}",
            f'=IF({second}="",{c}{_BETWEEN + k},{plain_number(second)})',
            "maker answer",
            shown,
        )
    number = cut_out_number(f"{c}{_LAST_PH}", f"{c}{_SENT}", "value", NO_NUMBER)
    put(sheet, f"{c}{_BECOMES + _PH}", number, "maker answer", "0.00")
    put(sheet, f"{c}{_SUGAR}", "=" + plain_number(f"{c}{_SUGAR_ASKED}"), "maker answer", "0.0")
    mixed = _mixed_l(f"{c}{_BETWEEN_L}", f"{c}{_BETWEEN}", f"{c}{_TWO_MASS}", f"{c}{_BECOMES}")
    put(
        sheet,
        f"{c}{_VOLUME}",
        f'=IF({c}{_SECOND}="",{c}{_BETWEEN_L},IFERROR({mixed},""))',
        "maker answer",
        "0.000",
    )


def _compared(sheet: Worksheet, c: str, k: int, lot: Mapping[str, int]) -> None:
    """The differences from the first variant, and the amounts that the whole lot takes."""
    shown = [*(shown for *_, shown in _FIGURES), "0.0"]
    if k > 0:
        for row, form in enumerate(shown):
            here, first = f"{c}{_BECOMES + row}", f"$C${_BECOMES + row}"
            formula = f'=IF(COUNT({here},{first})=2,{here}-{first},"")'
            put(sheet, f"{c}{_DIFFERENCES + row}", formula, "maker end", f"+{form};-{form};{form}")
    batch, unit = (f"{_BLEND}${column}${lot['volume']}" for column in "BC")
    glass = f"({c}{_BASE}*{_times(f'$B${_BASE}', _LITRES)})"
    for row, mass in enumerate((_ONE_MASS, _TWO_MASS)):
        whole = f"{c}{mass}*{batch}*{_times(unit, _LITRES)}/{glass}"
        formula = f'=IF(OR({c}{mass}="",{c}{_BASE}="",{batch}=""),"",IFERROR({whole},""))'
        put(sheet, f"{c}{_SCALED + row}", formula, "maker answer", THREE_FIGURES)
