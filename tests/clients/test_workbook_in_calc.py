"""The workbook in a real LibreOffice Calc: no error cell, every number that of the service, few requests."""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.error import HTTPError
from urllib.request import Request, urlopen
from xml.etree import ElementTree

import pytest
from openpyxl import load_workbook

from tests.clients.calc import Cell, Report, recalculated
from tests.clients.serving import Served, served

QUESTIONS = ("Blend", "Must", "Stabilising", "Packaging")
_MOST_REQUESTS = 90
"""Distinct addresses that the workbook asks; each is OPTIONS, HEAD and GET."""
_FOR_EVERY_BLEND = {"gas_counts_as_acid", "foam_over", "alcohol", "estimate"}
"""Cautions that the test batches leave to the sheet Blend."""


_ORIGINAL = ("or original gravity", "The lot")
_HELD_BY_STABILISERS = (
    ("Strength", "The drink", "12"),
    ("What holds the yeast", "What pressure", "sulfite and sorbate"),
    ("Gravity stood still for days?", "What pressure", "yes"),
    ("Free SO2 in it", "What pressure", "40"),
    ("Sorbic acid in it", "What pressure", "190"),
    ("pH", "What pressure", "3.3"),
)


@dataclass(frozen=True, slots=True)
class Opened:
    """A workbook worked out by Calc, and what that took."""

    service: Served
    report: Report
    typed: dict[str, str]
    """Cells that were changed first, by what they are."""
    saw: list[tuple[str, str, int]]

    def cells(self, sheet: str) -> dict[str, Cell]:
        return dict(self.report.workbook[sheet])

    def text(self, sheet: str, where: str) -> str:
        cell = self.report.workbook[sheet].get(where)
        return "" if cell is None else cell.text


def _label_row(content: bytes, sheet: str, label: str, after: str) -> int:
    """The row of an input of a block."""
    rows = list(load_workbook(io.BytesIO(content))[sheet].iter_rows(min_col=1, max_col=1))
    begins = next(k for k, (cell,) in enumerate(rows) if str(cell.value).startswith(after))
    return next(k for k, (cell,) in enumerate(rows) if k > begins and cell.value == label) + 1


def _opened(units: str, place: Path) -> Iterator[Opened]:
    with served() as service:
        content = urlopen(f"{service.address}/v1/workbook.xlsx?units={units}", timeout=120).read()
        file = place / "workbook.xlsx"
        file.write_bytes(content)
        typed = {
            "out of reach": f"B{_label_row(content, 'Blend', 'Strength wanted', 'How much water')}",
            "cleared": f"B{_label_row(content, 'Must', 'Reading', 'What does a hydrometer')}",
            "live ferment": f"B{_label_row(content, 'Stabilising', 'Gravity stood still for days?', 'The drink')}",
        }
        inputs = {
            "Blend": {typed["out of reach"]: "60", f"B{_label_row(content, 'Blend', *_ORIGINAL)}": "1.06"},
            "Must": {typed["cleared"]: ""},
            "Stabilising": {typed["live ferment"]: "no"},
            "Packaging": {
                f"B{_label_row(content, 'Packaging', label, after)}": value
                for label, after, value in _HELD_BY_STABILISERS
            },
            "Test batches": {
                "C9": "grapefruit_juice_fresh",
                "C10": "60",
                "C11": "honey_acacia",
                "C12": "25",
                "F12": "",
            },
        }
        service.saw.clear()
        report = recalculated(workbook=file, inputs=inputs)
        yield Opened(service, report, typed, list(service.saw))


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    yield from _opened("metric", tmp_path_factory.mktemp("workbook"))


def ask(address: str) -> tuple[int, str]:
    """Status and text of an address."""
    try:
        with urlopen(Request(address), timeout=120) as answer:
            return answer.status, answer.read().decode("utf-8")
    except HTTPError as refused:
        return refused.code, refused.read().decode("utf-8")


def rows_of_questions(opened: Opened) -> Iterator[tuple[str, int, str]]:
    """Sheet, row and address of every question that is asked."""
    for sheet in QUESTIONS:
        for where, cell in opened.cells(sheet).items():
            if where.startswith("K") and cell.text.startswith("http"):
                yield sheet, int(where[1:]), cell.text


def test_no_cell_shows_an_error(opened: Opened) -> None:
    assert opened.report.errors() == []
    assert sum(len(cells) for cells in opened.report.workbook.values()) > 1500


def test_it_is_connected(opened: Opened) -> None:
    assert opened.text("Start", "B6") == "connected"
    assert opened.text("Start", "B5") == opened.service.address


def test_every_number_is_that_of_the_service(opened: Opened) -> None:
    """To the digit, with both ends of its interval and its unit; where there is none the reason stands above."""
    numbers = refused = 0
    for sheet, row, address in rows_of_questions(opened):
        status, text = ask(address)
        shown = opened.cells(sheet)[f"F{row}"]
        if status != 200:
            assert shown.text == "no number", (sheet, row)
            refused += 1
            continue
        assert shown.value == float(text), (sheet, row)
        assert opened.text(sheet, f"G{row}"), (sheet, row)
        for column, end in (("H", "low"), ("I", "high")):
            status, text = ask(f"{address}&bound={end}")
            cell = opened.cells(sheet)[f"{column}{row}"]
            assert (cell.text == "-") if status != 200 else (cell.value == float(text)), (sheet, row, end)
        assert opened.text(sheet, f"G{row}") != "oz"
        numbers += 1
    assert numbers > 20
    assert refused == 3


def test_what_to_heed_stands_above_every_answer(opened: Opened) -> None:
    """In the words of the service, each thing on a line of its own, an input by its label."""
    boxes = 0
    for sheet in QUESTIONS:
        questions = {row: address for name, row, address in rows_of_questions(opened) if name == sheet}
        for where, cell in opened.cells(sheet).items():
            if not (where.startswith("E") and '"Fill in:"' in cell.formula) or cell.text.startswith("Fill in"):
                continue
            first = min(row for row in questions if row > int(where[1:]))
            status, words = ask(questions[first].replace("/v1/cell/", "/v1/cell/caution/"))
            assert status == 200
            lines = cell.text.split("\n")
            if words.startswith(("No number: ", "No number. STOP: ")):
                _, parameter, reason = words.split(": ", 2)
                assert cell.text.endswith(f": {reason}"), (sheet, where)
                assert f"{parameter}: " not in cell.text
            elif words == "-":
                assert cell.text.startswith("No caution")
            else:
                assert " ".join(lines) == words, (sheet, where)
                assert all(re.match("STOP: |WARNING: |NOTE: ", line) for line in lines)
                assert len(lines) == len(re.findall("STOP: |WARNING: |NOTE: ", words))
            boxes += 1
    assert boxes > 20


def test_the_box_of_a_block_has_the_cautions_of_all_its_questions(opened: Opened) -> None:
    shared = 0
    for sheet, row, address in rows_of_questions(opened):
        if opened.text(sheet, f"F{row}") == "no number":
            continue
        boxes = [int(w[1:]) for w, c in opened.cells(sheet).items() if w[0] == "E" and '"Fill in:"' in c.formula]
        box = max(other for other in boxes if other < row)
        _, words = ask(address.replace("/v1/cell/", "/v1/cell/caution/"))
        told = re.split(" (?=STOP: |WARNING: |NOTE: )", words)
        assert set(told) <= set(opened.text(sheet, f"E{box}").split("\n")), (sheet, row)
        shared += 1
    assert shared > 20


def test_a_target_out_of_reach_says_why(opened: Opened) -> None:
    row = int(opened.typed["out of reach"][1:])
    answers = {r: a for s, r, a in rows_of_questions(opened) if s == "Blend" and "water_deionised" in a}
    (answer,) = answers
    assert opened.text("Blend", f"F{answer}") == "no number"
    assert opened.text("Blend", f"H{answer}") == opened.text("Blend", f"I{answer}") == "-"
    assert opened.text("Blend", f"E{row - 1}").startswith("No number: Strength wanted: ")


def test_no_dose_for_a_moving_ferment(opened: Opened) -> None:
    """And that is a stop."""
    for answer, address in ((r, a) for s, r, a in rows_of_questions(opened) if s == "Stabilising"):
        assert "fermentation_finished=0" in address
        assert opened.text("Stabilising", f"F{answer}") == "no number"
    boxes = [c.text for w, c in opened.cells("Stabilising").items() if w[0] == "E" and c.text.startswith("No number")]
    assert len(boxes) == 2
    assert all(box.startswith("No number. STOP: Gravity stood still for days: The ferment has not") for box in boxes)


def test_both_filled_is_said(opened: Opened) -> None:
    """Of strength and original gravity the strength is used."""
    assert opened.text("Blend", "E6").startswith("Both are filled. Strength is used, ")
    asked = [address for sheet, _, address in rows_of_questions(opened) if sheet == "Blend"]
    assert not any("original_gravity" in address for address in asked)


def test_a_drink_held_by_stabilisers_has_its_pressure(opened: Opened) -> None:
    """All that it takes to say so can be told on the sheet."""
    ((row, address),) = [(r, a) for _, r, a in rows_of_questions(opened) if "/pressure-if-refermented" in a]
    assert "&hurdles=sulfite%2Csorbate&fermentation_finished=1&free=40mg%2FL&sorbic=190mg%2FL" in address
    assert opened.cells("Packaging")[f"F{row}"].value > 1.0


def test_an_empty_input_asks_nothing_and_is_named(opened: Opened) -> None:
    row = int(opened.typed["cleared"][1:])
    assert opened.text("Must", f"E{row}") == "Fill in: Reading;"
    assert not any("/gravity-from-reading.xml" in path for _, path, _ in opened.saw)
    later = range(row, row + 6)
    assert all(opened.text("Must", f"{column}{k}") == "" for column in "K" for k in later)


def test_few_requests_and_none_twice(opened: Opened) -> None:
    asked = Counter((method, path) for method, path, _ in opened.saw)
    assert set(asked.values()) == {1}
    assert {method for method, _ in asked} == {"OPTIONS", "HEAD", "GET"}
    assert 50 <= len({path for _, path in asked}) <= _MOST_REQUESTS
    assert all(len(path) <= 2048 for _, path in asked)


def test_batches_are_what_both_additions_together_give(opened: Opened) -> None:
    """One addition after the other, against a forecast of the whole recipe by the service."""
    cells = opened.cells("Test batches")
    lot = {"name": "lot", "volume": "1 L", "gravity": 0.998, "abv_percent": 8.1, "ph": 3.42}
    lot["titratable_acidity"] = "4.6 g/L tartaric"
    recipes = []
    for column in "CDEF":
        poured = [
            (cells[f"{column}{row}"].text, cells[f"{column}{row + 1}"].value)
            for row in (9, 11)
            if f"{column}{row + 1}" in cells
        ]
        additions = [{"ingredient": name, "amount": f"{grams:g} g"} for name, grams in poured]
        recipes.append({"name": column, "lots": [lot], "additions": additions})
    body = json.dumps({"recipes": recipes}).encode()
    request = Request(f"{opened.service.address}/v1/blend-forecasts", body, {"Content-Type": "application/json"})
    with urlopen(request, timeout=120) as answer:
        predicted = {recipe["name"]: recipe["predicted"] for recipe in json.load(answer)["recipes"]}
    for column, found in predicted.items():
        assert cells[f"{column}15"].value == pytest.approx(found["gravity"]["value"], abs=1e-4)
        assert cells[f"{column}16"].value == pytest.approx(found["abv_percent"]["value"], abs=0.01)
        assert cells[f"{column}17"].value == pytest.approx(found["titratable_acidity"]["value"], abs=0.02)
        assert cells[f"{column}18"].value == pytest.approx(found["ph"]["value"], abs=0.02)
        assert cells[f"{column}19"].value == pytest.approx(found["fermentable_sugar_g_per_l"]["value"], abs=0.1)
        assert cells[f"{column}20"].value == pytest.approx(found["citrus_percent"]["value"], abs=0.02)
        assert cells[f"{column}21"].value == pytest.approx(found["volume"]["value"], rel=1e-3)
    assert cells["C20"].value > 5.0
    assert cells["D23"].value == pytest.approx(cells["D15"].value - cells["C15"].value)
    assert cells["C33"].value == pytest.approx(24.0 * cells["C10"].value)


def test_batches_tell_what_to_heed_of_both_additions(opened: Opened) -> None:
    """What the first one brings is not forgotten after the second; sugar is told of the drink as it is at last."""
    cells = opened.cells("Test batches")
    for column in "CDEF":
        told = cells[f"{column}14"].text
        addresses = [cells[f"{column}{row}"].text for row in (41, 55) if f"{column}{row}" in cells]
        asked = [address for address in addresses if "/sugar-after?" in address]
        assert len(asked) == (1 if column == "F" else 2)
        answers = [ElementTree.fromstring(ask(address.replace("?", ".xml?"))[1]) for address in asked]
        last = {each.get("code") for each in answers[-1].iterfind("caution")}
        for answer in answers:
            for caution in answer.iterfind("caution"):
                line = f"{str(caution.get('level')).upper()}: {caution.text}"
                code = caution.get("code")
                renewed = answer is not answers[-1] and code == "refermentable_sugar_no_hurdle" and code in last
                assert (line in told.split("\n")) is not (code in _FOR_EVERY_BLEND or renewed), (column, line)
        assert float(answers[-1].findtext("value", "")) == cells[f"{column}19"].value
    assert "grapefruit" in cells["C14"].text.lower().split("after both:")[0]
    assert cells["F14"].text.startswith("Second addition left out: fill in both its name and its amount.")


def test_the_batch_record(opened: Opened) -> None:
    """Two equal gravities a week apart are steady; a strength is 0 where nothing has fermented."""
    cells = opened.cells("Batch record")
    assert [opened.text("Batch record", f"I{row}") for row in range(10, 14)] == [
        "falling",
        "falling",
        "falling",
        "steady",
    ]
    assert cells["F9"].value == pytest.approx(0.0, abs=0.01)
    assert cells["F13"].value == pytest.approx(8.2, abs=0.2)
    status, text = ask(cells["M10"].text)
    assert (status, float(text)) == (200, cells["E10"].value)
    assert re.search(r"&abv_percent=4(\.\d+)?$", cells["M11"].text)
    assert opened.text("Batch record", "M20") == opened.text("Batch record", "E20") == ""


@pytest.mark.slow
def test_us_units_work_as_well(tmp_path: Path) -> None:
    for us in _opened("us", tmp_path):
        assert us.report.errors() == []
        shown = {
            sheet: [c.text for w, c in us.cells(sheet).items() if w[0] == "F" and c.formula[:1] == "="]
            for sheet in QUESTIONS
        }
        assert [text for sheet in ("Must", "Packaging") for text in shown[sheet] if text == "no number"] == []
        assert us.cells("Test batches")["C15"].value > 1.0
