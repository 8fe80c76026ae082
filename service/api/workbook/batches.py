"""The sheet that sets four test batches of one lot side by side."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from service.api.workbook.asked import DRINKS, DRINKS_SENT, INGREDIENT, THREE_FIGURES, Entry, Units
from service.api.workbook.blend import LOT_EITHER, LOT_MAY
from service.api.workbook.formulas import (
    NO_NUMBER,
    STOP,
    address,
    cut_out_number,
    fill_in,
    filled,
    form_text,
    plain_number,
    sent_xml,
    told,
    why_no_number,
    without_cautions,
    words_without_number,
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
_NOTHING: Final = "No caution of its own; those of the sheets Blend and Notes hold."
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
    ("sugar-after", "Sugar that yeast can use", "g/L", "0.0"),
    ("citrus-after", "Citrus juice", "%", "0.0"),
)
_PH, _SUGAR, _CITRUS = 3, 4, 5
"""Among them. The answer about sugar brings both ends of it, and the cautions of all."""
_TOLD: Final = (
    "The same lot, that of the sheet Blend, four times: change the amounts, pour the glasses, taste, score. Weigh the "
    "additions. A variant without additions stays empty; choose water and 0 for a plain one. The grey rows below the "
    "page hold the addresses asked."
)
_COLUMNS: Final = ("Variant", "Unit", "first", "second", "third", "fourth")

_NAMES, _BASE, _ONE, _ONE_MASS, _TWO, _TWO_MASS = 7, 8, 9, 10, 11, 12
_HEED, _BECOMES = 14, 15
_HEED_PT: Final = 260.0
_VOLUME = _BECOMES + len(_FIGURES)
_DIFFERENCES = _VOLUME + 2
_TASTING = _DIFFERENCES + len(_FIGURES) + 1
_SCALED = _TASTING + 3
"""Rows of the page: names and amounts, what it becomes, differences, tasting, the whole lot."""
_HELPERS = _SCALED + 4
_FIRST, _BETWEEN = _HELPERS, _HELPERS + 6
_BETWEEN_L, _TESTED = _BETWEEN + 6, _BETWEEN + 7
_SECOND = _TESTED + 1
_SENT, _WHY, _WORDS = _SECOND + 6, _SECOND + 8, _SECOND + 11
"""Rows below the page: addresses, what it is in between, addresses, two answers as sent, why there is no number after
the first, after the second and of the pH, and the words to heed after the first and after the second."""
_SD_FROM_ENDS: Final = 1.0 / (2.0 * 1.6449)
"""Standard deviation over the width of a 90 % interval of a normal distribution (quantile 0.95: 1.6449)."""
_MOST_ERROR: Final = 0.49
"""Of a reading that the service takes: half of it leaves nothing known [-]."""
_COMMON: Final = tuple(("NOTE: ", code) for code in ("gas_counts_as_acid", "foam_over", "alcohol", "estimate"))
"""Notes about every blend: the sheet Blend tells them once."""
_OF_THE_DRINK: Final = (
    *(("WARNING: ", code) for code in ("ferment_must_have_ended", "residual_sugar_unknown", "sugar_may_referment")),
    *((level, "refermentable_sugar_no_hurdle") for level in (STOP, "WARNING: ")),
)
"""Cautions about the drink, not about what goes in: those after the second addition replace the first ones."""
_LABELS: Final = (("ingredient", "First addition"), ("amount", "of it"), ("volume", "Volume of the base"))
_LOT_LABELS: Final = (
    ("gravity", "Gravity (sheet Blend)"),
    ("abv_percent", "Strength (sheet Blend)"),
    ("original_gravity", "Original gravity (sheet Blend)"),
    ("titratable_acidity", "Titratable acidity (sheet Blend)"),
    ("ph", "pH (sheet Blend)"),
    ("residual_sugar", "Sugar left (sheet Blend)"),
    ("sample_temperature", "Sample temperature (sheet Blend)"),
    ("calibrated_at", "Hydrometer calibrated at (sheet Blend)"),
)
_SECOND_LABELS: Final = (("ingredient", "Second addition"), ("amount", "of the second"))
_LOT_FORMS: Final = {
    "gravity": "number",
    "abv": "number",
    "original": "number",
    "class": "text",
    "acidity": "acidity",
    "ph": "number",
    "sample": "quantity",
    "calibrated": "quantity",
    "residual": "quantity",
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
    set_page(sheet, units, f"A1:F{_HELPERS - 2}", pages=1)
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
    figures = [*((label, unit) for _, label, unit, _ in _FIGURES), ("Volume", "L")]
    put(sheet, f"A{_HEED}", "Heed (notes that hold for every blend: see the sheet Blend)", "maker text")
    sheet.row_dimensions[_HEED].height = _HEED_PT
    for k, (label, unit) in enumerate(figures):
        put(sheet, f"A{_BECOMES + k}", label)
        put(sheet, f"B{_BECOMES + k}", unit, "maker unit")
        if k < len(_FIGURES):
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
    helpers += ["after the first: volume, L", "after the first: sugar with its error, as sent"]
    helpers += [f"asked second: {label}" for _, label, _, _ in _FIGURES]
    helpers += ["first answer as sent", "second answer as sent"]
    helpers += ["why no number: first", "why no number: second", "why no pH", "to heed: first", "to heed: second"]
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
        words = (DRINKS, DRINKS_SENT) if key == "class" else ((), ())
        return name, value, form_text(_LOT_FORMS[key], value, unit, *words)

    gravity = of_lot("gravity", "gravity")
    either = [of_lot(*pair) for pair in LOT_EITHER]
    missing = filled([f"{c}{_BASE}", f"{c}{_ONE}", f"{c}{_ONE_MASS}", gravity[1]], [cell for _, cell, _ in either])
    needs = [
        ("ingredient", form_text("ingredient", f"{c}{_ONE}", "")),
        ("amount", form_text("quantity", f"{c}{_ONE_MASS}", f"$B${_ONE_MASS}")),
        ("volume", form_text("quantity", f"{c}{_BASE}", f"$B${_BASE}")),
        ("gravity", gravity[2]),
    ]
    may = [of_lot(*pair) for pair in LOT_MAY]
    for k, (question, *_) in enumerate(_FIGURES):
        helper(_FIRST + k, address(question, missing, _with_sugar(k, needs), may, either))
        helper(_BETWEEN + k, "=" + plain_number(f"{c}{_FIRST + k}"))
    first, second = (f"{c}{row + _SUGAR}" for row in (_FIRST, _SECOND))
    helper(_SENT, sent_xml(first))
    helper(_BETWEEN + _SUGAR, cut_out_number(first, f"{c}{_SENT}", "value", NO_NUMBER))
    # a pH that cannot be told, of a drink without acid, is left out of the second question
    helper(_BETWEEN + _PH, f'=IFERROR(0+{plain_number(f"{c}{_FIRST + _PH}")},"")')
    litres = f"{c}{_BASE}*{_times(f'$B${_BASE}', _LITRES)}"
    mixed = _mixed_l(litres, gravity[1], f"{c}{_ONE_MASS}", f"{c}{_BETWEEN}")
    helper(_BETWEEN_L, f'=IFERROR({mixed},"")')
    helper(_TESTED, _sugar_tested(c))
    after = [form_text("number", f"ROUND({c}{_BETWEEN + k},5)", "") for k in range(_PH + 1)]
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
    tested = f"{c}{_TESTED}"
    may = [("ph", f"{c}{_BETWEEN + _PH}", after[_PH]), of_lot("class", "class"), ("residual_sugar", tested, tested)]
    for k, (question, *_) in enumerate(_FIGURES):
        helper(_SECOND + k, address(question, missing, _with_sugar(k, needs), may))
    helper(_SENT + 1, sent_xml(second))
    helper(_WHY, why_no_number(first, f"{c}{_SENT}", (*_LABELS, *_LOT_LABELS)))
    helper(_WHY + 1, why_no_number(second, f"{c}{_SENT + 1}", _SECOND_LABELS))


def _with_sugar(k: int, needs: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """The parameters of a figure; of sugar, that which yeast can use is asked for."""
    return [*needs, ("sugar", '"fermentable"')] if k == _SUGAR else needs


def _sugar_tested(c: str) -> str:
    """The sugar after the first addition as the second question takes it, with its standard deviation.

    It is left out where that is too much of it for a reading: then the sugar is judged from the gravity, in which acid
    and other solids of the first addition count as sugar, so that rather too much of it is told.
    """
    sent, sugar = f"{c}{_SENT}", f"{c}{_BETWEEN + _SUGAR}"
    low, high = (cut_out_number(sent, sent, end, "")[1:] for end in ("low", "high"))
    error = f"({high}-{low})*{_SD_FROM_ENDS:.6f}"
    value, spread = (form_text("number", f"ROUND({number},3)", "") for number in (sugar, error))
    read = f'IF({error}<{_MOST_ERROR}*{sugar},{value}&"%C2%B1"&{spread}&"%20g%2FL","")'
    return f'=IF(ISNUMBER({sugar}),IFERROR({read},""),"")'


def _figures(sheet: Worksheet, c: str) -> None:
    """What a variant becomes: after the second addition, or after the first where there is no second."""
    first, second = f"{c}{_FIRST}", f"{c}{_SECOND}"
    for k, (*_, shown) in enumerate(_FIGURES):
        here, before = f"{c}{_SECOND + k}", f"{c}{_BETWEEN + k}"
        after = plain_number(here)
        if k == _PH:
            before = f'IF({first}="","",IF({before}="","{NO_NUMBER}",{before}))'
        if k == _SUGAR:
            after = cut_out_number(here, f"{c}{_SENT + 1}", "value", NO_NUMBER)[1:]
        if k == _CITRUS:  # the juice that was in it already, thinned, and that of the second addition
            after = f'IFERROR({before}*{c}{_BETWEEN_L}/{c}{_VOLUME}+{after},"{NO_NUMBER}")'
        put(sheet, f"{c}{_BECOMES + k}", f'=IF({second}="",{before},{after})', "maker answer", shown)
    mixed = _mixed_l(f"{c}{_BETWEEN_L}", f"{c}{_BETWEEN}", f"{c}{_TWO_MASS}", f"{c}{_BECOMES}")
    volume = f'=IF({second}="",{c}{_BETWEEN_L},IFERROR({mixed},""))'
    put(sheet, f"{c}{_VOLUME}", volume, "maker answer", "0.000")
    _heeded(sheet, c, first, second)


def _heeded(sheet: Worksheet, c: str, first: str, second: str) -> None:
    """What is to heed of both additions, each under its own heading."""
    ph = f"{c}{_BECOMES + _PH}"
    last = f'IF({second}="",{c}{_FIRST + _PH},{c}{_SECOND + _PH})'
    why = words_without_number(last, (*_LABELS, *_LOT_LABELS))
    put(sheet, f"{c}{_WHY + 2}", f'=IF(OR({first}="",{ph}<>"{NO_NUMBER}"),"",{why})', "maker helper")
    one, two = f"{c}{_SENT}", f"{c}{_SENT + 1}"
    of_one = told(without_cautions(one, _COMMON, _OF_THE_DRINK, two), _NOTHING)
    of_two = told(without_cautions(two, _COMMON), _NOTHING)
    for k, (sent, words) in enumerate(((one, of_one), (two, of_two))):
        put(sheet, f"{c}{_WORDS + k}", f'=IF({sent}="",{c}{_WHY + k},{words})', "maker helper")
    wanted = [(f'{c}{row}=""', name) for row, name in ((_BASE, "Base"), (_ONE, "First addition"), (_ONE_MASS, "of it"))]
    wanted.append(("TRUE", "(and the lot of the sheet Blend)"))
    half = f'({c}{_TWO}="")<>({c}{_TWO_MASS}="")'
    only_one = f'IF({half},"Second addition left out: fill in both its name and its amount."&CHAR(10),"")'
    both = f'"After the first addition:"&CHAR(10)&{c}{_WORDS}&CHAR(10)&"After both:"&CHAR(10)&{c}{_WORDS + 1}'
    # the pH is of the same drink as the rest: its words are told only where the rest has its numbers
    no_ph = f'IF(OR({c}{_WHY + 2}="",{c}{_WHY}<>"",{c}{_WHY + 1}<>""),"",CHAR(10)&{c}{_WHY + 2})'
    words = f'IF({second}="",{c}{_WORDS},{both})'
    put(sheet, f"{c}{_HEED}", f'=IF({first}="",{fill_in(wanted)},{only_one}&{words}&{no_ph})', "maker heed")


def _compared(sheet: Worksheet, c: str, k: int, lot: Mapping[str, int]) -> None:
    """The differences from the first variant, and the amounts that the whole lot takes."""
    shown = [shown for *_, shown in _FIGURES]
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
