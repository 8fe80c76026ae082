"""The workbook as a file: its formulas, what they ask, what may be typed where, how it is sent.

What it shows once a spreadsheet has worked it out is in `tests/clients/test_workbook_in_calc.py`.
"""

from __future__ import annotations

import ast
import inspect
import io
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet
from starlette.testclient import TestClient

from service.api.app import create_app
from service.api.cell_questions import QUESTIONS
from service.api.settings import Settings
from service.api.workbook import workbook_router
from service.api.workbook.asked import Ask, Block, Entry, System, Units
from service.api.workbook.batches import _GRAMS, _LITRES
from service.api.workbook.blend import blend_blocks
from service.api.workbook.build import workbook_bytes
from service.api.workbook.must import must_blocks
from service.api.workbook.packaging import packaging_blocks
from service.api.workbook.router import MEDIA_TYPE
from service.api.workbook.stabilising import stabilising_blocks
from service.catalogue.loader import ingredients
from service.quantities import Kind
from service.quantities.units import UNIT_BY_SPELLING

PATH = "/v1/workbook.xlsx"
SYSTEMS: tuple[System, ...] = ("metric", "us")
SHEETS = ["Start", "Blend", "Must", "Stabilising", "Packaging", "Test batches", "Batch record", "Ingredients", "Notes"]
OF_QUESTIONS = {
    "Blend": blend_blocks,
    "Must": must_blocks,
    "Stabilising": stabilising_blocks,
    "Packaging": packaging_blocks,
}
QUESTION = {question.name: question for question in QUESTIONS}
_NAMES = "ABS AND CHAR CHOOSE COUNT FIND IF IFERROR ISNUMBER LEFT LEN MATCH MID NOT OR RIGHT ROUND SUBSTITUTE TRIM"
PLAIN = frozenset(_NAMES.split())
"""Functions of ISO/IEC 29500-1, section 18.17.7 (IFERROR among them)."""
PREFIXED = {"WEBSERVICE", "ENCODEURL", "NUMBERVALUE"}
"""Later functions, written with `_xlfn.` in a file ([MS-XLSX], section 2.2.2, future functions)."""


@cache
def app(public_url: str = "") -> TestClient:
    """A client of an application that answers nothing but the workbook."""
    return TestClient(create_app(Settings(public_url=public_url), (workbook_router(),)))


@cache
def sent(system: System) -> bytes:
    answer = app().get(f"{PATH}?units={system}")
    assert answer.status_code == 200, answer.text
    return answer.content


@cache
def book(system: System) -> Workbook:
    return load_workbook(io.BytesIO(sent(system)))


def cells(sheet: Worksheet) -> Iterator[Any]:
    for row in sheet.iter_rows():
        yield from (cell for cell in row if cell.value is not None)


def formulas(system: System) -> Iterator[tuple[str, str]]:
    for sheet in book(system).worksheets:
        for cell in cells(sheet):
            if isinstance(cell.value, str) and cell.value.startswith("="):
                yield f"{sheet.title}!{cell.coordinate}", cell.value


def blocks() -> Iterator[tuple[str, Block, dict[str, Entry]]]:
    for system in SYSTEMS:
        for name, made in OF_QUESTIONS.items():
            drawn = made(Units(system))
            entries = {entry.key: entry for block in drawn for entry in block.entries}
            assert len(entries) == sum(len(block.entries) for block in drawn), name
            for block in drawn:
                yield name, block, entries


def asks() -> Iterator[tuple[Ask, dict[str, Entry]]]:
    for _, block, entries in blocks():
        for ask in block.asks:
            yield ask, entries


def unlocked(sheet: Worksheet) -> Iterator[Any]:
    for row in sheet.iter_rows():
        yield from (cell for cell in row if isinstance(cell, Cell) and not cell.protection.locked)


# --- the file -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_sheets_in_their_order(system: System) -> None:
    assert book(system).sheetnames == SHEETS


def test_how_it_is_sent() -> None:
    """IANA: the media type of Office Open XML spreadsheets; RFC 6266: a name to save it by; RFC 9110: ETag and 304."""
    answer = app().get(PATH)
    assert answer.headers["content-type"] == MEDIA_TYPE
    assert MEDIA_TYPE == "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    assert re.fullmatch(r'attachment; filename="[a-z-]+\.xlsx"', answer.headers["content-disposition"])
    head = app().head(PATH)
    assert head.status_code == 200
    assert head.content == b""
    for name in ("etag", "content-length", "content-type", "cache-control"):
        assert head.headers[name] == answer.headers[name], name
    again = app().get(PATH, headers={"If-None-Match": answer.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_the_units_are_metric_unless_told_otherwise() -> None:
    assert app().get(PATH).content == sent("metric") != sent("us")


@pytest.mark.parametrize("query", ["units=imperial", "units=", "unit=us", "units=us&x=1"])
def test_other_queries_are_refused(query: str) -> None:
    answer = app().get(f"{PATH}?{query}")
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")


def test_the_same_bytes_whenever_it_is_made() -> None:
    first = workbook_bytes.__wrapped__("http://a.example", "us")
    assert workbook_bytes.__wrapped__("http://a.example", "us") == first


def test_without_the_library_the_refusal_names_the_extra(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 9110, section 15.6.2: 501, the server lacks what the request needs."""
    workbook_bytes.cache_clear()
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    answer = app().get(PATH)
    assert (answer.status_code, answer.json()["type"]) == (501, "/problems/not-installed")
    assert "back-sweetening-solver[workbook]" in answer.json()["detail"]
    assert app().head(PATH).status_code == 501


def test_a_server_starts_without_the_library() -> None:
    """Only what runs when a workbook is asked for may import it."""
    seen = 0
    for path in Path(inspect.getfile(workbook_router)).parent.glob("*.py"):
        for statement in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(statement, ast.Import | ast.ImportFrom):
                names = [alias.name for alias in statement.names] + [getattr(statement, "module", "") or ""]
                assert not any(name.startswith("openpyxl") for name in names), path.name
                seen += 1
    assert seen > 50


# --- the server's address --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_address_stands_in_one_cell_only(system: System) -> None:
    """So that a server that has moved means one change."""
    found = [
        f"{sheet.title}!{cell.coordinate}"
        for sheet in book(system).worksheets
        for cell in cells(sheet)
        if "testserver" in str(cell.value)
    ]
    names = {name: defined.attr_text for name, defined in book(system).defined_names.items()}
    assert found == [names["server"].replace("$", "")]
    assert book(system)["Start"]["B4"].value == "http://testserver"
    assert not book(system)["Start"]["B4"].protection.locked


def test_the_address_that_others_reach_it_by() -> None:
    found = load_workbook(io.BytesIO(app("https://solver.example.org/honey").get(PATH).content))
    assert found["Start"]["B4"].value == "https://solver.example.org/honey"


# --- the formulas ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_function_is_one_that_a_file_may_name(system: System) -> None:
    for where, formula in formulas(system):
        outside_texts = re.sub(r'"[^"]*"', '""', formula)
        for name in re.findall(r"([A-Za-z_.]+)\(", outside_texts):
            prefix, _, later = name.rpartition("_xlfn.")
            assert name in PLAIN or (prefix == "" and later in PREFIXED and name != later), (where, name)


@pytest.mark.parametrize("system", SYSTEMS)
def test_formulas_are_short_enough_and_closed(system: System) -> None:
    """Excel specifications and limits (published by its maker): 8,192 characters, 64 levels of nesting."""
    for where, formula in formulas(system):
        outside_texts = re.sub(r'"[^"]*"', "", formula)
        assert len(formula) <= 8192, where
        assert outside_texts.count("(") == outside_texts.count(")"), where
        depth = deepest = 0
        for mark in outside_texts:
            depth += (mark == "(") - (mark == ")")
            deepest = max(deepest, depth)
        assert deepest <= 64, where
        assert max((len(text) for text in re.findall(r'"([^"]*)"', formula)), default=0) <= 255, where


@pytest.mark.parametrize("system", SYSTEMS)
def test_every_address_asks_a_known_question_by_known_parameters(system: System) -> None:
    asked = set()
    for where, formula in formulas(system):
        for name, rest in re.findall(r'"/v1/cell/([a-z-]+)\?(.*)', formula):
            asked.add(name)
            question = QUESTION[name]
            told = re.findall(r'(?:^|"&)([a-z_0-9]+)=', rest.replace('"&"', "").replace('"&"&', ""))
            told += re.findall(r'"&([a-z_0-9]+)="', rest)
            assert set(told) <= set(question.parameters), (where, set(told) - set(question.parameters))
            needed = {f.alias or n for n, f in question.query.model_fields.items() if f.is_required()}
            assert needed <= set(told), (where, needed - set(told))
    assert len(asked) >= 25


@pytest.mark.parametrize("system", SYSTEMS)
def test_nothing_is_asked_while_an_input_is_empty(system: System) -> None:
    """Each formula that asks looks first whether there is an address, each address whether its inputs are filled."""
    for where, formula in formulas(system):
        if "_xlfn.WEBSERVICE" in formula and where != "Start!B6":
            before = formula.split("_xlfn.WEBSERVICE")[0]
            assert '=""' in before or 'no number"' in before, where
        if "/v1/cell/" in formula and "WEBSERVICE" not in formula:
            assert re.match(r"=IF\((OR|COUNT)\(", formula), where


def test_every_choice_is_one_that_the_question_takes() -> None:
    """Of the choices of an input, and of its own demo value."""
    seen = 0
    for ask, entries in asks():
        fields = QUESTION[ask.question].query
        for name, key in (*ask.needs, *ask.may, *ask.either):
            entry = entries[key]
            given = {n: _sent(entries[k]) for n, k in (*ask.needs, *ask.either[:1])} | dict(ask.fixed)
            for value in entry.choices:
                fields.model_validate(given | {name: _sent(entry, value)})
                seen += 1
    assert seen > 150


def _sent(entry: Entry, value: float | str | None = None) -> str:
    """What the formula makes of a value, or of the one of the demo."""
    value = entry.value if value is None else value
    assert value is not None, entry.key
    if entry.form in ("quantity", "acidity"):
        return f"{value} {entry.units[0]}"
    if entry.form == "yes_no":
        return {"yes": "1", "no": "0"}[str(value)]
    return dict(zip(entry.choices, entry.sent, strict=True))[str(value)] if entry.sent else str(value)


def test_choices_are_words_and_not_names_of_the_service() -> None:
    """Of lists other than that of the ingredients, whose ids the sheet Ingredients explains."""
    mapped = 0
    for _, block, _ in blocks():
        for entry in block.entries:
            for choice in entry.choices:
                assert not set(choice) & set("_+,"), (entry.key, choice)
            assert entry.form == "ingredient" or "_" not in str(entry.value), entry.key
            assert len(entry.sent) in (0, len(entry.choices)), entry.key
            mapped += bool(entry.sent)
    assert mapped > 20


def test_an_ounce_says_whether_it_is_one_of_mass() -> None:
    """NIST Handbook 44, appendix C: avoirdupois ounce and fluid ounce are units of different kinds."""
    seen = 0
    for system in SYSTEMS:
        for sheet in book(system).worksheets:
            for rule in sheet.data_validations.dataValidation:
                if rule.type == "list":
                    choices = rule.formula1.strip('"').split(",")
                    assert "oz" not in choices
                    seen += "oz wt" in choices
    assert seen > 20
    for ask, entries in asks():
        for name, key in ask.needs:
            if name == "unit" and "oz wt" in entries[key].choices:
                QUESTION[ask.question].query.model_validate(
                    {n: _sent(entries[k]) for n, k in (*ask.needs, *ask.either[:1])} | {"unit": "oz"}
                )
                assert _sent(entries[key], "oz wt") == "oz"


@pytest.mark.parametrize("system", SYSTEMS)
def test_words_without_a_number_name_the_input_and_not_the_parameter(system: System) -> None:
    for name, made in OF_QUESTIONS.items():
        sheet = book(system)[name]
        words = [str(cell.value) for cell in cells(sheet) if cell.column_letter == "M" and "WEBSERVICE" in cell.value]
        drawn = made(Units(system))
        entries = {entry.key: entry for block in drawn for entry in block.entries}
        questions = [ask for block in drawn for ask in block.asks]
        assert len(words) == len(questions)
        for ask, formula in zip(questions, words, strict=True):
            for parameter, key in (*ask.needs, *ask.may, *ask.either):
                assert f'" {parameter}: "," {entries[key].label.rstrip("?")}: "' in formula, ask.question


@pytest.mark.parametrize("name", ["gravity-after", "abv-after", "acidity-after", "ph-after", "volume-after"])
def test_what_a_caution_tells_to_measure_can_be_told(name: str) -> None:
    """A sugar test of the lot among it."""
    (ask,) = [ask for block in blend_blocks(Units("us")) for ask in block.asks if ask.question == name]
    assert "residual_sugar" in {parameter for parameter, _ in ask.may}


def test_what_holds_the_yeast_can_be_told_in_full() -> None:
    """Whatever a refusal of the pressure can ask for: that it has ended, what is in it, the room left."""
    asked = [ask for block in packaging_blocks(Units("metric")) for ask in block.asks]
    told = {ask.question: {parameter for parameter, _ in (*ask.needs, *ask.may)} for ask in asked}
    hurdles = {"hurdles", "fermentation_finished", "ph", "free", "sorbic"}
    assert hurdles | {"container", "rated_pressure", "headspace_percent"} <= told["pressure-if-refermented"]
    assert {"container", "headspace_percent", "filled_at", "co2_g_per_l"} <= told["pasteurising-minutes"]
    assert "rated_pressure" in told["keg-pressure"]
    (entry,) = [e for b in packaging_blocks(Units("us")) for e in b.entries if e.key == "finished"]
    assert entry.value is None  # nobody has it said for them


def test_every_unit_is_one_that_the_service_reads() -> None:
    known = set()
    for _, block, _ in blocks():
        for entry in block.entries:
            if entry.form == "quantity":
                known |= set(entry.units) - {"mg/L", "g/L"}
    assert known <= set(UNIT_BY_SPELLING) | {unit for unit in known if unit.lower() in UNIT_BY_SPELLING}
    assert known >= {"L", "mL", "gal", "fl oz", "g", "kg", "lb", "oz wt", "C", "F", "bar", "psi"}


def test_factors_of_the_test_batches_are_those_of_the_trade() -> None:
    """NIST Handbook 44, appendix C: 1 gal = 231 in³ = 3.785 411 784 L, 1 lb = 453.592 37 g."""
    assert (_LITRES["gal"], _GRAMS["lb"]) == ("3.785411784", "453.59237")
    for unit, litres in _LITRES.items():
        assert UNIT_BY_SPELLING[unit.lower()].kind is Kind.VOLUME
        assert float(litres) == pytest.approx(UNIT_BY_SPELLING[unit.lower()].factor / 1000.0, rel=1e-10)
    for unit, grams in _GRAMS.items():
        assert float(grams) == pytest.approx(UNIT_BY_SPELLING[unit.lower()].factor, rel=1e-10)


# --- what may be typed -----------------------------------------------------------------------------------------------


FREE = {"Batch record": "K", "Test batches": ""}
"""Columns of free words."""


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("name", ["Start", *OF_QUESTIONS, "Test batches", "Batch record"])
def test_every_input_says_what_may_be_typed(system: System, name: str) -> None:
    sheet = book(system)[name]
    validations = sheet.data_validations.dataValidation
    free = {"Test batches": {7, 31}, "Batch record": {4, 5, 6, 7}}.get(name, set())
    inputs = [cell for cell in unlocked(sheet) if cell.column_letter != FREE.get(name)]
    assert inputs
    for cell in inputs:
        told = [v for v in validations if cell.coordinate in v.sqref]
        if not told and cell.row in free:  # names and tasting notes
            continue
        assert len(told) == 1, f"{name}!{cell.coordinate}"
        rule = told[0]
        assert rule.prompt
        assert rule.promptTitle
        assert len(rule.prompt) <= 255
        assert rule.showInputMessage
        if rule.type == "list" and rule.formula1.startswith('"'):
            choices = rule.formula1.strip('"').split(",")
            assert cell.value is None or cell.value in choices or not rule.showErrorMessage, cell.coordinate
            assert len(rule.formula1) <= 257
        limited = rule.type == "decimal" and not rule.formula1.startswith("IF(")
        if limited and isinstance(cell.value, int | float):
            assert float(rule.formula1) <= cell.value <= float(rule.formula2), cell.coordinate


@pytest.mark.parametrize("system", SYSTEMS)
def test_sheets_with_formulas_are_protected_without_a_password(system: System) -> None:
    for sheet in book(system).worksheets:
        has = any(isinstance(c.value, str) and c.value.startswith("=") for c in cells(sheet))
        assert sheet.protection.sheet is has, sheet.title
        assert sheet.protection.password is None
        for cell in unlocked(sheet):
            if isinstance(cell.value, str) and cell.value.startswith("="):
                assert (sheet.title, cell.coordinate) == ("Batch record", "C4")  # a default that may be overwritten


@pytest.mark.parametrize("system", SYSTEMS)
def test_inputs_are_told_by_a_box_and_not_by_colour_alone(system: System) -> None:
    """WCAG 2.2, success criterion 1.4.1: colour is not the only means of telling."""
    for sheet in book(system).worksheets:
        for cell in unlocked(sheet):
            assert str(cell.style).startswith("maker "), cell.coordinate
            assert cell.border.left.style == cell.border.bottom.style in ("medium", "thin"), cell.coordinate


@pytest.mark.parametrize("system", SYSTEMS)
def test_units_stand_beside_numbers(system: System) -> None:
    for name, block, _ in blocks():
        for entry in block.entries:
            assert entry.units or entry.choices or entry.form == "ingredient", (name, entry.key)
    paper = {"metric": 9, "us": 1}[system]  # ISO/IEC 29500-1, 18.3.1.63: 9 is A4, 1 is US letter
    for sheet in book(system).worksheets:
        assert sheet.page_setup.paperSize == paper
        assert sheet.print_area
        assert sheet.freeze_panes


@pytest.mark.parametrize("system", SYSTEMS)
def test_pages_are_one_sheet_wide_and_hold_whole_blocks(system: System) -> None:
    """ISO/IEC 29500-1, 18.3.1.63: a scale, or a width and a height in pages; 0 is as many as it takes.

    Spreadsheets heed breaks between pages only beside a scale. A page of A4 (ISO 216, 210 mm) or US letter (8.5 in)
    without two margins of half an inch holds that height over the scale.
    """
    page_pt = {"metric": 210.0 / 25.4 * 72.0 - 72.0, "us": 8.5 * 72.0 - 72.0}[system]
    for sheet in book(system).worksheets:
        properties: Any = sheet.sheet_properties.pageSetUpPr
        if sheet.title not in OF_QUESTIONS:
            assert properties.fitToPage
            one = sheet.title in ("Test batches", "Batch record")
            assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 1 if one else 0), sheet.title
            continue
        assert not properties.fitToPage
        ends = [each.id for each in sheet.row_breaks.brk]
        bands = [c.row for c in cells(sheet) if c.column_letter == "A" and c.style == "maker band"]
        assert {end + 1 for end in ends} <= set(bands), sheet.title
        last = int(str(sheet.print_area).rsplit("$", 1)[1])
        fills = []
        for first, end in zip([0, *ends], [*ends, last], strict=True):
            height = sum(sheet.row_dimensions[row].height or 15.0 for row in range(first + 1, end + 1))
            scale = float(sheet.page_setup.scale or 100) / 100.0
            fills.append((height + (16.0 if first else 0.0)) * scale / page_pt)
        assert max(fills) <= 1.0, sheet.title
        assert min(fills[:-1], default=1.0) > 0.6, (sheet.title, fills)


@pytest.mark.parametrize("system", SYSTEMS)
def test_the_batch_record_limits_temperatures_by_the_unit_chosen(system: System) -> None:
    """The fixed points of both scales (NIST Special Publication 811, appendix B): F = 1.8 C + 32."""
    sheet = book(system)["Batch record"]
    (rule,) = [rule for rule in sheet.data_validations.dataValidation if "D20" in rule.sqref]
    limits = [re.fullmatch(r'IF\(\$C\$6="C",(\d+),(\d+)\)', formula) for formula in (rule.formula1, rule.formula2)]
    for limit in limits:
        assert limit is not None
        assert float(limit[2]) == pytest.approx(1.8 * float(limit[1]) + 32.0)
    assert "C6" in rule.prompt
    assert sheet["B6"].value == "All sample temperatures in"
    assert sheet["D6"].value == "all lines"


# --- the tables ------------------------------------------------------------------------------------------------------


def test_the_ingredients_are_those_of_the_catalogue_and_all_can_be_chosen() -> None:
    sheet = book("metric")["Ingredients"]
    ids = [row[0].value for row in sheet.iter_rows(min_row=4) if row[0].value]
    assert ids == list(ingredients())
    assert book("metric").defined_names["ingredient_ids"].attr_text == f"Ingredients!$A$4:$A${3 + len(ids)}"
    assert sheet.auto_filter.ref == f"A3:K{3 + len(ids)}"
    found = {row[0].value: row for row in sheet.iter_rows(min_row=4)}
    for one in ingredients().values():
        shown = found[one.id]
        assert shown[1].value == one.name
        assert shown[4].value == (None if one.brix is None else one.brix.typical)
        assert (shown[3].value is None) is one.bulk_solid


@pytest.mark.parametrize("system", SYSTEMS)
def test_cautions_are_told_and_nothing_is_called_safe(system: System) -> None:
    words = " ".join(str(cell.value) for sheet in book(system).worksheets for cell in cells(sheet))
    assert not re.search(r"\b(safe|safely|harmless)\b", words, re.IGNORECASE)
    for told in ("pressure", "asthmatics", "not before driving", "law where you are", "licensed practice", "Raw juice"):
        assert told in words


@pytest.mark.parametrize("name", OF_QUESTIONS)
def test_what_to_heed_stands_above_the_number(name: str) -> None:
    sheet = book("metric")[name]
    answers = [c for c in cells(sheet) if c.column_letter == "F" and str(c.value).startswith("=")]
    boxes = [c.row for c in cells(sheet) if c.column_letter == "E" and str(c.value).startswith("=")]
    assert answers
    for answer in answers:
        assert any(row < answer.row <= row + 20 for row in boxes)


def test_an_entry_is_needed_by_some_question() -> None:
    """An input that nothing reads would mislead."""
    for system in SYSTEMS:
        for name, made in OF_QUESTIONS.items():
            drawn = made(Units(system))
            read = {k for b in drawn for a in b.asks for _, k in (*a.needs, *a.may, *a.either)}
            assert read == {entry.key for block in drawn for entry in block.entries}, name
