"""Figures at the ends of what a number can be: a plain finite number or a refusal in words, never a failure."""

from __future__ import annotations

import re
from typing import Any
from urllib.parse import parse_qsl

import pytest

from service.api.cell_questions import QUESTIONS
from service.api.question import Question
from tests.api.real import app

PLAIN = re.compile(r"-?\d+(\.\d+)?")
ENDS = ("1e-320", "1e308", "-1e308", "0")
FEW = ("1e-320", "1e308")


def numbers_of(question: Question) -> list[str]:
    """The parameters that take a number."""
    shape = question.query.model_json_schema(by_alias=True)["properties"]
    return [
        name
        for name in question.parameters
        if name != "explain" and "number" in {part.get("type") for part in (shape[name], *shape[name].get("anyOf", ()))}
    ]


def check(question: Question, changed: dict[str, Any]) -> None:
    query = dict(parse_qsl(question.example)) | changed
    answers = {end: app().get(f"/v1/cell/{question.name}", params=query | end_of(end)) for end in ("", "low")}
    for response in answers.values():
        assert response.status_code in (200, 422), (question.name, changed, response.text)
        if response.status_code == 200:
            assert PLAIN.fullmatch(response.text), (question.name, changed, response.text)
        else:
            told = response.json()["errors"]
            assert all(error["pointer"].count("/") == 1 for error in told), (question.name, changed, told)
            assert not re.search(r"\b(inf|nan)\b", str([error["detail"] for error in told])), (question.name, told)


def end_of(end: str) -> dict[str, str]:
    return {"bound": end} if end else {}


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_no_figure_is_too_small_or_too_large_to_be_answered_in_words(question: Question) -> None:
    for name in numbers_of(question):
        for value in FEW:
            check(question, {name: value})


@pytest.mark.slow
@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_every_end_of_every_figure(question: Question) -> None:
    for name in numbers_of(question):
        for value in ENDS:
            check(question, {name: value})


@pytest.mark.parametrize("path", ["titration_end_point_ph=0", "titration_end_point_ph=-3"])
def test_an_end_point_that_is_none_is_refused_at_its_parameter(path: str) -> None:
    lot = "ingredient=lemon_juice&volume=9.5L&gravity=0.9985&abv_percent=7.2&titratable_acidity=4.8+g/L+tartaric&ph=3.5"
    refused = app().get(f"/v1/cell/gravity-after?{lot}&amount=300mL&{path}")
    assert refused.status_code == 422
    assert [error["pointer"] for error in refused.json()["errors"]] == ["/titration_end_point_ph"]
    assert app().get(f"/v1/cell/caution/gravity-after?{lot}&amount=300mL&{path}").text.startswith("No number: ")


def test_faults_that_come_together_each_have_their_parameter() -> None:
    refused = app().get("/v1/cell/honey-for-must?original_gravity=1.048&volume=0L&volume_is=final&ingredient=kg")
    assert {error["pointer"] for error in refused.json()["errors"]} <= {"/volume", "/ingredient"}


def test_a_dose_of_acid_that_stops_has_no_number() -> None:
    lot = "volume=9.5L&gravity=0.9985&abv_percent=7.2&titratable_acidity=4.8+g/L+tartaric&ph=3.5"
    refused = app().get(f"/v1/cell/amount-for-gravity?ingredient=citric_acid&{lot}&target=1.06")
    assert refused.status_code == 422
    assert refused.json()["errors"][0]["pointer"] == "/ingredient"
    assert app().get(f"/v1/cell/amount-for-gravity?ingredient=citric_acid&{lot}&target=1.0&unit=g").status_code == 200


@pytest.mark.parametrize("value", ["-0", "-0.0", "0"])
def test_nothing_is_no_less_than_nothing(value: str) -> None:
    assert app().get(f"/v1/cell/acid-from-acid?value={value}&given_as=tartaric&wanted_as=citric").text == "0"


def test_the_row_of_a_cell_writes_numbers_as_the_cell_does() -> None:
    small = "value=0.00000546&given_as=tartaric&wanted_as=citric"
    number = app().get(f"/v1/cell/acid-from-acid?{small}").text
    assert number in app().get(f"/v1/cell/acid-from-acid.csv?{small}").text.split("\r\n")[1].split(",")


ANY_LOT = "volume=9.5L&gravity=0.9985&abv_percent=7.2"


@pytest.mark.parametrize(
    ("path", "pointer", "words"),
    [
        ("sweetness-after?ingredient=honey&amount=600g&ingredient_ph=2", "/ingredient_ph", ""),
        ("gravity-after?ingredient=honey&amount=1kg&brix=0.8", "/brix", "a Brix is told in percent"),
        ("gravity-after?ingredient=honey&amount=1kg&brix=30", "/brix", "If it is the moisture"),
        ("gravity-after?ingredient=orange_concentrate&amount=1kg&brix=5", "/brix", "weaker than single strength"),
        ("gravity-after?ingredient=honey&amount=1kg&moisture_percent=0.17", "/moisture_percent", "did you mean 17?"),
        ("gravity-after?ingredient=lemon_juice&amount=1L&brix=0.082", "/brix", "a Brix is told in percent"),
    ],
)
def test_what_was_measured_on_the_ingredient_is_refused_there(path: str, pointer: str, words: str) -> None:
    refused = app().get(f"/v1/cell/{path}&{ANY_LOT}&titratable_acidity=4.8+g/L+tartaric&ph=3.5")
    assert refused.status_code == 422, refused.text
    (error,) = refused.json()["errors"]
    assert error["pointer"] == pointer
    assert words in error["detail"]


def test_a_half_that_no_honey_has_is_not_proposed() -> None:
    refused = app().get(f"/v1/cell/gravity-after?ingredient=honey&amount=1kg&moisture_percent=0.5&{ANY_LOT}")
    assert "did you mean" not in refused.text
