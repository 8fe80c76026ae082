"""A sheet of a real LibreOffice Calc that asks the running service: what its cells show, and what that costs.

One run of Calc serves the module. What a cell must show is what the application answers without any spreadsheet. How
Calc asks (OPTIONS, HEAD and GET for each address, no GET after a refusal) is observed of version 7.4, no source.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPConnection
from typing import Any
from urllib.parse import parse_qsl, quote, urlsplit
from xml.etree.ElementTree import fromstring

import pytest

from service.api.cell_queries import CellQuery
from service.api.cell_questions import QUESTIONS
from service.api.settings import Settings
from service.planner.single import Answer
from tests.clients.calc import Cell, Report, recalculated
from tests.clients.calc_uno import sheet_text
from tests.clients.serving import Served, served

LOT = "ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2"
SOUR = "titratable_acidity=4.8+g/L+tartaric&ph=3.5"
PRESSURE = "sugar_g_per_l=8&total_sugar_g_per_l=100&abv_percent=6.5"
DOSE = "volume=20L&ph=3.4&abv_percent=12&free=30mg/L"
EXAMPLES = {question.name: question.example for question in QUESTIONS}
VARIED = [
    f"amount-for-gravity?{LOT}&target=1.004",
    f"amount-for-gravity?{LOT}&target=1.016&unit=fl+oz",
    f"amount-for-gravity?{LOT}&target=1.016&unit=kg&bound=low",
    f"amount-for-gravity?{LOT}&target=1.016&unit=kg&bound=high",
    f"gravity-after?{LOT}&amount=1.5lb",
    f"gravity-after?{LOT}&amount=500g&bound=high",
    f"abv-after?{LOT}&amount=2cup",
    f"acidity-after?{LOT}&{SOUR}&amount=600g&acid=meq",
    f"ph-after?{LOT}&{SOUR}&amount=600g",
    "acid-from-acid?value=0&given_as=malic&wanted_as=sulfuric",
    "acid-from-acid?value=80&given_as=meq&wanted_as=tartaric",
    "abv-from-gravities?original_gravity=1.1&final_gravity=1.02",
    "gravity-from-reading?reading=1.012&sample_temperature=25C",
    "extract-from-gravity-and-abv?gravity=0.9945&abv_percent=11.5",
    *(f"sg-from-brix?brix={brix}" for brix in ("0", "5", "20", "65.5")),
    *(f"brix-from-sg?sg={sg}" for sg in ("1.0", "1.083", "1.1")),
    "mass-from-volume?ingredient=honey&volume=1gal&unit=lb",
    "volume-from-mass?ingredient=lemon_juice&mass=2.5kg&unit=cup",
    f"dose-of-sulfite?{DOSE}&fermentation_finished=1&unit=g&market=us",
    "keg-pressure?volumes=2.5&temperature=4C&abv_percent=6.5&sugar_g_per_l=90",
    "pasteurising-minutes?temperature=145.4F",
    "fill-count?volume=20L&fill=500mL",
    "honey-for-must?original_gravity=1.1&volume=5gal&volume_is=water_added&unit=lb",
]
NUMBERS = [*(f"{name}?{query}" for name, query in EXAMPLES.items()), *VARIED]

UNREADABLE = ["sg-from-brix?brik=20", "sg-from-brix?brix=sweet", "sg-from-brix?brix=1,016"]
STOPPED = [
    f"dose-of-sulfite?{DOSE}&fermentation_finished=0",
    f"pressure-if-refermented?{PRESSURE}&container=beer_bottle",
]
REFUSED = [
    f"amount-for-gravity?{LOT}&target=0.99",
    "mass-from-volume?ingredient=moonlight&volume=1L",
    *STOPPED,
]
"""Those whose parameters can be read, so that something is worked out before they are refused."""
FEW = 5
"""Of what every question has, so many are typed: an address costs Calc 40 ms, whatever answers it."""
UNKNOWN = "sweetness-of-tomorrow?brix=20"
TWINS = [
    f"amount-for-gravity?{LOT}&target=1.012&unit=kg",
    f"dose-of-sulfite?{DOSE}&fermentation_finished=1",
    f"pressure-if-refermented?{PRESSURE}&container=sparkling_bottle&hurdles=pasteurised",
]
FIGURES = ("value", "low", "high")
WORDS = ("question", "unit", "sentence", "heed", "caution[1]", "caution[1]/@level")
ACROSS = "amount-for-gravity?ingredient=honey&gravity=0.9985&abv_percent=7.2&unit=kg&target=1.016&volume="
COMMA = f"amount-for-gravity?{LOT}&unit=kg&target="


def asked(question: str) -> str:
    return f"/v1/cell/{question}"


def twin(question: str, suffix: str) -> str:
    name, query = question.split("?")
    return f"/v1/cell/{name}.{suffix}?{query}"


def beside(question: str) -> str:
    return f"/v1/cell/caution/{question}"


def number(url: str) -> str:
    return f'=NUMBERVALUE(WEBSERVICE("{url}");".")'


def text(url: str) -> str:
    return f'=WEBSERVICE("{url}")'


@dataclass(frozen=True, slots=True)
class Sheet:
    """What one run of Calc found, and what the service saw of it."""

    service: Served
    report: Report
    typed: list[str]
    saw: list[tuple[str, str, int]]
    connections: int
    worked_out: Counter[tuple[str, CellQuery]]

    def cell(self, formula: str) -> Cell:
        return self.report.cells[self.typed.index(formula)]

    def number(self, question: str) -> Cell:
        return self.cell(number(self.service.address + asked(question)))

    def text(self, path: str) -> Cell:
        return self.cell(text(self.service.address + path))

    def requests(self, path: str) -> list[str]:
        """Method and status of the requests for a path by the first sheet, before other documents were opened."""
        others = next(place for place, (_, seen, _) in enumerate(self.saw) if seen == "/v1/ingredients.csv")
        return [f"{method} {status}" for method, seen, status in self.saw[:others] if seen == path]

    def times(self, question: str) -> int:
        """How often its number was worked out in all."""
        name, query = question.split("?")
        model = next(q.query for q in QUESTIONS if q.name == name)
        wanted = model.model_validate(dict(parse_qsl(query)))
        return self.worked_out[name, wanted]


@contextmanager
def counted() -> Iterator[Counter[tuple[str, CellQuery]]]:
    """Count how often each question is worked out with the same parameters."""
    worked_out: Counter[tuple[str, CellQuery]] = Counter()

    def counting(name: str, answer: Callable[[Any], Answer]) -> Callable[[Any], Answer]:
        def answered(query: CellQuery) -> Answer:
            worked_out[name, query] += 1
            return answer(query)

        return answered

    before = {question.name: question.answer for question in QUESTIONS}
    for question in QUESTIONS:
        object.__setattr__(question, "answer", counting(question.name, question.answer))
    try:
        yield worked_out
    finally:
        for question in QUESTIONS:
            object.__setattr__(question, "answer", before[question.name])


def answered(service: Served, path: str, status: int = 200) -> str:
    """What the service answers a plain client."""
    connection = HTTPConnection(urlsplit(service.address).netloc, timeout=120)
    try:
        connection.request("GET", path)
        response = connection.getresponse()
        content = response.read().decode("utf-8")
    finally:
        connection.close()
    assert response.status == status, (path, content)
    return content


def formulas(service: Served) -> list[str]:
    """Everything that is typed into the sheet of this module."""
    address = service.address
    listed = list(csv.DictReader(io.StringIO(answered(service, "/v1/cell.csv"))))
    ready = [row["libreoffice"] for row in listed] + [row["caution_libreoffice"] for row in listed[:FEW]]
    typed = [number(address + asked(question)) for question in NUMBERS]
    typed += [text(address + asked(question)) for question in NUMBERS]
    for question in [*UNREADABLE, *REFUSED, UNKNOWN]:
        typed += [text(address + asked(question)), caught(address + asked(question))]
    typed += [text(address + beside(question)) for question in [*UNREADABLE, *REFUSED, *TWINS]]
    for question in TWINS:
        typed += [figure(address + twin(question, "xml"), name) for name in FIGURES]
        typed += [words(address + twin(question, "xml"), name) for name in WORDS]
    typed += across(address)
    return [*typed, *(formula for formula in ready if formula not in typed)]


def caught(url: str) -> str:
    return f'=IFERROR(NUMBERVALUE(WEBSERVICE("{url}");".");"ask again")'


def figure(url: str, name: str) -> str:
    """number() reads the decimal point in every language."""
    return f'=FILTERXML(WEBSERVICE("{url}");"number(/cell/{name})")'


def words(url: str, name: str) -> str:
    """The place itself, not string() of it: Calc garbles what string() gives beyond ASCII."""
    return f'=FILTERXML(WEBSERVICE("{url}");"/cell/{name}")'


def across(address: str) -> list[str]:
    """Texts with spaces and a sign beyond ASCII: encoded by the sheet, and as they are."""
    url = address + asked(ACROSS)
    return [
        f'=NUMBERVALUE(WEBSERVICE("{url}"&ENCODEURL("9.5 L ± 0.2 L"));".")',
        f'=NUMBERVALUE(WEBSERVICE("{url}9.5 L ± 0.2 L");".")',
    ]


def german(address: str) -> list[str]:
    """Where people write a decimal comma, a number joined to a text brings it along."""
    url = address + asked(COMMA)
    return [
        f'=WEBSERVICE("{url}"&1.016)',
        f'=IFERROR(WEBSERVICE("{url}"&1.016);"ask again")',
        f'=WEBSERVICE("{address}{beside(COMMA)}"&1.016)',
        f'=NUMBERVALUE(WEBSERVICE("{url}"&SUBSTITUTE(1.016;",";"."));".")',
        f'=NUMBERVALUE(WEBSERVICE("{url}1.016");".")*2',
        figure(address + twin(f"{COMMA}1.016", "xml"), "value"),
        *(number(address + asked(question)) for question in NUMBERS[:10]),
    ]


@pytest.fixture(scope="module")
def service() -> Iterator[Served]:
    """An application that nobody has asked before: what it works out is counted."""
    with served(Settings(deadline_s=10.0)) as running:
        yield running


@pytest.fixture(scope="module")
def sheet(service: Served, tmp_path_factory: pytest.TempPathFactory) -> Sheet:
    address = service.address
    book = tmp_path_factory.mktemp("book") / "book.fods"
    book.write_text(sheet_text(["=1+1", f'=WEBSERVICE("{address}{asked("sg-from-brix")}?brix="&A1)', "=1/0"]), "utf-8")
    with counted() as worked_out:
        typed = formulas(service)
        report = recalculated(
            typed,
            [f"{address}/v1/ingredients.csv", f"{address}/v1/cell.csv", address + twin(TWINS[0], "csv")],
            book,
            inputs={"S": {"A1": "11.8"}},
            decimal_comma=german(address),
        )
    return Sheet(service, report, typed, list(service.saw), len(service.callers), worked_out)


def test_every_number_is_that_of_the_service_to_the_digit(sheet: Sheet) -> None:
    assert len(NUMBERS) == len(set(NUMBERS)) >= 50
    for question in NUMBERS:
        answer = answered(sheet.service, asked(question))
        assert sheet.text(asked(question)).text == answer
        cell = sheet.number(question)
        assert (cell.error, cell.value) == (0, float(answer)), question


def test_a_cell_asks_three_times_and_costs_one_computation(sheet: Sheet) -> None:
    """Two cells with the same address ask once; the OPTIONS between them is answered empty."""
    for question in NUMBERS:
        assert sheet.requests(asked(question)) == ["OPTIONS 204", "HEAD 200", "GET 200"], question
        assert sheet.times(question) == 1, question


def test_nothing_is_worked_out_twice(sheet: Sheet) -> None:
    """Nor by the cautions beside the numbers, by the twins, or by other documents that ask again."""
    assert len(sheet.worked_out) >= len(NUMBERS) + len(REFUSED)
    assert {key: times for key, times in sheet.worked_out.items() if times > 1} == {}


def test_a_refused_cell_shows_err_540_and_costs_one_computation(sheet: Sheet) -> None:
    for question in [*UNREADABLE, *REFUSED]:
        cell = sheet.text(asked(question))
        assert (cell.text, cell.error) == ("Err:540", 540)
        assert sheet.requests(asked(question)) == ["OPTIONS 204", "HEAD 422"]
        assert sheet.cell(caught(sheet.service.address + asked(question))).text == "ask again"
    assert [sheet.times(question) for question in REFUSED] == [1] * len(REFUSED)
    cell = sheet.text(asked(UNKNOWN))
    assert (cell.text, cell.error) == ("Err:540", 540)
    assert sheet.cell(caught(sheet.service.address + asked(UNKNOWN))).text == "ask again"
    assert set(sheet.requests(asked(UNKNOWN))) == {"OPTIONS 204", "HEAD 404", "GET 404"}


def test_the_cell_beside_a_number_has_the_words(sheet: Sheet) -> None:
    for question in [*UNREADABLE, *REFUSED]:
        cell = sheet.text(beside(question))
        assert cell.error == 0
        assert cell.text.startswith(("No number: ", "No number. STOP: "))
        assert cell.text == answered(sheet.service, beside(question))
    assert "decimal point" in sheet.text(beside(UNREADABLE[2])).text
    for question in TWINS:
        cell = sheet.text(beside(question))
        assert cell.error == 0
        assert cell.text == answered(sheet.service, beside(question))
        assert not cell.text.startswith("No number")
    moving, bursting = (sheet.text(beside(question)).text for question in STOPPED)
    assert "ferment" in moving
    assert "bar" in bursting


@pytest.mark.parametrize("question", TWINS)
def test_filterxml_reads_the_twin(sheet: Sheet, question: str) -> None:
    url = sheet.service.address + twin(question, "xml")
    root = fromstring(answered(sheet.service, twin(question, "xml")))
    for name in FIGURES:
        cell, written = sheet.cell(figure(url, name)), root.findtext(name)
        if written:
            assert (cell.value, cell.error) == (float(written), 0)
        else:  # nothing is told there, which is no number
            assert (cell.text, cell.error) == ("#NUM!", 503)
    assert sheet.cell(figure(url, "value")).value == float(answered(sheet.service, asked(question)))
    level = root.find("caution")
    assert level is not None
    texts = [*(root.findtext(name) for name in WORDS[:4]), level.text, level.get("level")]
    assert all(texts)
    assert [sheet.cell(words(url, name)).text for name in WORDS] == texts
    assert sheet.requests(twin(question, "xml")) == ["OPTIONS 204", "HEAD 200", "GET 200"]


def test_texts_with_spaces_and_signs_arrive(sheet: Sheet) -> None:
    expected = float(answered(sheet.service, asked(ACROSS) + quote("9.5 L ± 0.2 L")))
    for formula in across(sheet.service.address):
        assert (sheet.cell(formula).value, sheet.cell(formula).error) == (expected, 0)


def test_ready_formulas_of_the_list_have_a_value(sheet: Sheet) -> None:
    listed = list(csv.DictReader(io.StringIO(answered(sheet.service, "/v1/cell.csv"))))
    assert [row["question"] for row in listed] == list(EXAMPLES)
    for row in listed:
        cell = sheet.cell(row["libreoffice"])
        assert (cell.error, cell.value) == (0, float(row["example_answer"]))
    for row in listed[:FEW]:
        cell, question = sheet.cell(row["caution_libreoffice"]), row["example"].removeprefix("/v1/cell/")
        assert (cell.error, cell.text) == (0, answered(sheet.service, beside(question)))


def test_csv_by_address(sheet: Sheet) -> None:
    address, found = sheet.service.address, sheet.report.csv
    rows = found[f"{address}/v1/ingredients.csv"]
    expected = list(csv.reader(io.StringIO(answered(sheet.service, "/v1/ingredients.csv"))))
    assert [row[:3] for row in rows] == [row[:3] for row in expected]
    assert len(rows) > 50
    header, row = found[address + twin(TWINS[0], "csv")]
    told = dict(zip(header, row, strict=True))
    assert (told["question"], told["unit"]) == ("amount-for-gravity", "kg")
    assert float(told["value"]) == sheet.cell(figure(address + twin(TWINS[0], "xml"), "value")).value
    header, *rows = found[f"{address}/v1/cell.csv"]
    assert [row[header.index("question")] for row in rows] == list(EXAMPLES)
    pasted = [row[header.index("libreoffice")].removeprefix("'") for row in rows]
    assert pasted == [number(address + asked(f"{name}?{query}")) for name, query in EXAMPLES.items()]


def test_a_locale_with_a_decimal_comma(sheet: Sheet) -> None:
    refused, instead, words, mended, doubled, from_xml, *numbers = sheet.report.decimal_comma
    assert (refused.text, refused.error) == ("Err:540", 540)
    assert instead.text == "ask again"
    assert words.text.startswith(("No number: ", "No number. STOP: "))
    assert "decimal point" in words.text
    answer = answered(sheet.service, asked(f"{COMMA}1.016"))
    assert (mended.value, mended.error) == (float(answer), 0)
    assert mended.text.startswith("0,")
    assert doubled.value == 2.0 * float(answer)
    assert from_xml.value == float(answer)
    assert [cell.value for cell in numbers] == [sheet.number(question).value for question in NUMBERS[:10]]


def test_inputs_typed_into_a_book(sheet: Sheet) -> None:
    cells = sheet.report.workbook["S"]
    assert cells["A1"].value == 11.8
    assert cells["A2"].text == answered(sheet.service, asked("sg-from-brix?brix=11.8"))
    assert (cells["A3"].text, cells["A3"].error) == ("#DIV/0!", 532)
    assert any("S!A3 =1/0 shows #DIV/0!" in words for words in sheet.report.errors())


def test_one_connection_for_each_address(sheet: Sheet) -> None:
    """Calc keeps a connection for the three requests of an address; a body after OPTIONS would cost one more."""
    ended = [seen for method, seen, status in sheet.saw if method == "GET" or status == 422]
    assert len(ended) > 100
    assert sheet.connections <= len(ended) + 5


def test_a_sheet_is_recalculated_in_seconds(sheet: Sheet) -> None:
    """Some 90 addresses, 40 ms each of Calc's own; generous, for a busy machine."""
    assert sheet.report.seconds["formulas"] < 60.0
