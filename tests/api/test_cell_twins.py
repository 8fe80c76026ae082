"""The twins of a cell say what the cell says, with its interval, its unit and its cautions; a refusal is kept too."""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from typing import Any
from xml.etree.ElementTree import fromstring

import pytest

from service.api.cell_kept import KeptAnswers
from service.api.cell_queries import SgFromBrix
from service.api.cell_questions import QUESTIONS
from service.api.question import Question
from service.errors import OutOfRangeError
from tests.api.real import app

EXAMPLES = {question.name: question.example for question in QUESTIONS}
SWEET = EXAMPLES["amount-for-gravity"]
MOVING = "volume=20L&ph=3.4&abv_percent=11&fermentation_finished=0"


def row_of(path: str) -> dict[str, str]:
    response = app().get(path)
    assert response.status_code == 200, response.text
    assert response.headers["content-type"].startswith("text/csv")
    header, row = csv.reader(io.StringIO(response.text))
    return dict(zip(header, row, strict=True))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_twins_hold_the_number_of_the_cell(name: str) -> None:
    number = app().get(f"/v1/cell/{name}?{EXAMPLES[name]}").text
    row = row_of(f"/v1/cell/{name}.csv?{EXAMPLES[name]}")
    answered = app().get(f"/v1/cell/{name}.xml?{EXAMPLES[name]}")
    assert answered.headers["content-type"] == "application/xml"
    root = fromstring(answered.text)
    assert [child.tag for child in root][:7] == ["question", "value", "low", "high", "unit", "sentence", "heed"]
    assert root.findtext("question") == row["question"] == name
    assert root.findtext("value") == number
    assert float(row["value"]) == float(number)
    for column in ("unit", "sentence", "heed"):
        assert (root.findtext(column) or "") == row[column]
        assert row[column]
    for end in ("low", "high"):
        assert (root.findtext(end) or "") == row[end]


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_ends_of_the_twins_are_those_of_bound(name: str) -> None:
    question = next(q for q in QUESTIONS if q.name == name)
    row = row_of(f"/v1/cell/{name}.csv?{EXAMPLES[name]}")
    for end in ("low", "high"):
        alone = app().get(f"/v1/cell/{name}?{EXAMPLES[name]}&bound={end}")
        if alone.status_code == 200:
            assert float(row[end]) == float(alone.text)
        else:
            assert not question.interval or row[end] == ""


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_caution_beside_a_cell_is_that_of_its_twin(name: str) -> None:
    beside = app().get(f"/v1/cell/caution/{name}?{EXAMPLES[name]}")
    assert (beside.status_code, beside.headers["content-type"]) == (200, "text/plain; charset=utf-8")
    root = fromstring(app().get(f"/v1/cell/{name}.xml?{EXAMPLES[name]}").text)
    told = [f"{caution.get('level', '').upper()}: {caution.text}" for caution in root.iter("caution")]
    assert sorted(told) == sorted(re.split(r" (?=(?:STOP|WARNING|NOTE): )", root.findtext("heed") or ""))
    assert beside.text == root.findtext("heed")
    assert beside.text.startswith(("STOP: ", "WARNING: ", "NOTE: "))


def test_stop_cautions_come_first() -> None:
    text = app().get(f"/v1/cell/caution/amount-for-gravity?{SWEET}").text
    levels = [text.find(f"{level}: ") for level in ("WARNING", "NOTE")]
    assert 0 == levels[0] < levels[1]


REFUSED = [
    ("amount-for-gravity", SWEET.replace("1.016", "1,016"), "target: Use a decimal point: 1.016."),
    ("sg-from-brix", "brx=20", 'Did you mean "brix"?'),
    ("sg-from-brix", "", "brix: This is needed and was not given."),
    ("amount-for-gravity", SWEET.replace("=honey", "=hony"), "hony"),
    ("dose-of-sulfite", MOVING, "ferment"),
]


@pytest.mark.parametrize(("name", "query", "words"), REFUSED)
def test_where_there_is_no_number_the_caution_says_why(name: str, query: str, words: str) -> None:
    assert app().get(f"/v1/cell/{name}?{query}").status_code == 422
    for twin in (".csv", ".xml"):
        assert app().get(f"/v1/cell/{name}{twin}?{query}").status_code == 422
    beside = app().get(f"/v1/cell/caution/{name}?{query}")
    assert beside.status_code == 200
    assert beside.text.startswith(("No number: ", "No number. STOP: "))
    assert words in beside.text
    assert beside.text == beside.text.strip()


@pytest.mark.parametrize("path", ["amount-for-gravty", "amount-for-gravty.csv", "caution/amount-for-gravty"])
def test_a_misspelt_question_is_told_its_name(path: str) -> None:
    response = app().get(f"/v1/cell/{path}?{SWEET}")
    assert response.status_code == 404
    assert 'Did you mean "amount-for-gravity"?' in response.json()["detail"]


def counted(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often each question is worked out from now on."""
    worked: Counter[str] = Counter()
    answered = Question.answered

    def count(self: Question, query: Any) -> Any:
        worked[self.name] += 1
        return answered(self, query)

    monkeypatch.setattr(Question, "answered", count)
    return worked


@pytest.mark.parametrize(
    ("query", "status"), [("brix=21.2468", 200), ("brix=1024.6", 422)], ids=["a number", "a refusal"]
)
def test_whatever_a_spreadsheet_sends_costs_one_computation(
    monkeypatch: pytest.MonkeyPatch, query: str, status: int
) -> None:
    client, worked = app(), counted(monkeypatch)
    path = f"/v1/cell/sg-from-brix?{query}"
    for method in ("OPTIONS", "HEAD", "GET", "HEAD", "GET"):
        response = client.request(method, path)
        assert response.status_code == (204 if method == "OPTIONS" else status)
    assert client.get(f"/v1/cell/caution/sg-from-brix?{query}").status_code == 200
    assert worked["sg-from-brix"] == 1
    for twin in (".csv", ".xml"):
        assert client.get(f"/v1/cell/sg-from-brix{twin}?{query}").status_code == status
    assert worked["sg-from-brix"] == 2  # with its interval and its words


def test_a_refusal_is_raised_anew_each_time() -> None:
    def refuse(query: SgFromBrix) -> Any:
        raise OutOfRangeError(f"{query.brix:g} is too much.", "/brix")

    kept = KeptAnswers([Question("invented", SgFromBrix, refuse, "brix=1", "brix")])
    depths = []
    for _ in range(3):
        with pytest.raises(OutOfRangeError, match="20 is too much") as caught:
            kept.answer("invented", SgFromBrix(brix=20.0))
        depths.append(len(caught.traceback))
    assert len(set(depths)) == 1  # no traceback that grows with every request


def test_the_names_of_the_twins_are_in_the_document() -> None:
    document = app().get("/v1/openapi.json").json()
    paths = document["paths"]
    for path in ("/v1/cell/{question}.csv", "/v1/cell/{question}.xml", "/v1/cell/caution/{question}"):
        by_name = {parameter["name"]: parameter for parameter in paths[path]["get"]["parameters"]}
        shape = by_name["question"]["schema"]
        shape = document["components"]["schemas"][shape["$ref"].rsplit("/", 1)[-1]] if "$ref" in shape else shape
        assert shape["enum"] == [question.name for question in QUESTIONS]
        assert "404" in paths[path]["get"]["responses"]
        assert by_name["parameters"]["explode"] is True


def test_every_question_has_an_endpoint_of_its_own() -> None:
    assert {route for route in app().get("/v1/openapi.json").json()["paths"] if route.startswith("/v1/cell/")} >= {
        f"/v1/cell/{question.name}" for question in QUESTIONS
    }


def test_a_stop_is_told_as_one() -> None:
    """Ferments that still move get no salts (common practice, no source); a mere slip is no stop."""
    assert app().get(f"/v1/cell/dose-of-sulfite?{MOVING}").json()["type"] == "/problems/stopped"
    assert (
        app()
        .get(f"/v1/cell/caution/dose-of-sulfite?{MOVING}")
        .text.startswith("No number. STOP: fermentation_finished: ")
    )
    slip = MOVING.replace("ph=3.4", "ph=3,4")
    assert app().get(f"/v1/cell/caution/dose-of-sulfite?{slip}").text.startswith("No number: ph: ")
