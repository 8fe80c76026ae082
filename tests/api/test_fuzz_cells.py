"""Cell questions with parameters of their own that were mistyped: a number or a problem document, and the twins and the
words beside the cell tell of the same."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from random import Random
from typing import Final
from urllib.parse import parse_qsl, urlencode
from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.cell_questions import QUESTIONS
from service.api.problems import PROBLEM_MEDIA_TYPE
from service.api.question import Question
from tests.api.attack import TEXTS, Line, attacked

Pairs = list[tuple[str, str]]

FACTORS: Final = (0.0, 1e-9, 0.5, 0.9, 0.99, 1.01, 1.1, 2.0, 10.0, 1e3, 1e9, -1.0)
BESIDE: Final = (" ", "%", "\u00a0", "x", "e9", "e999", ".", ",5", "/0", "\u0000", "\u0661", "&", "+")
ALONE: Final = (*TEXTS, "1e308", "-1e308", "5e-324", "nan", "inf", "-0", "1e-300kg", "1e300L", "0kg", "low", "high")


@pytest.fixture(scope="module")
def line() -> Iterator[Line]:
    found = Line(attacked())
    yield found
    found.close()


def spoiled(random: Random, question: Question) -> Pairs:
    """The parameters of a question's example, some of them changed; explain is no matter here."""
    pairs = parse_qsl(question.example)
    for _ in range(random.choice((1, 1, 2, 3))):
        kind = random.random()
        if pairs and kind < 0.65:
            at = random.randrange(len(pairs))
            name, text = pairs[at]
            pairs[at] = (name, _mistyped(random, text))
        elif pairs and kind < 0.75:
            pairs.pop(random.randrange(len(pairs)))
        elif pairs and kind < 0.8:
            pairs.append(random.choice(pairs))
        else:
            names = [name for name in question.parameters if name != "explain"]
            pairs.append((random.choice([*names, "x", "\u0000"]), random.choice((*ALONE, "1", "0.5", "20", "1.01"))))
    return pairs


def _mistyped(random: Random, text: str) -> str:
    kind = random.random()
    if kind < 0.5:
        try:
            return f"{float(text) * random.choice(FACTORS):.9g}"
        except ValueError:
            return random.choice((text + random.choice(BESIDE), "9" + text, "0." + text, random.choice(ALONE)))
    return text + random.choice(BESIDE) if kind < 0.65 else random.choice(ALONE)


def check(line: Line, question: Question, pairs: Pairs) -> None:
    """Ask for the number, both twins and the words, and hold them against each other."""
    query = urlencode(pairs, errors="replace")
    number = line.send("GET", f"/v1/cell/{question.name}", query)
    row = line.send("GET", f"/v1/cell/{question.name}.csv", query)
    tree = line.send("GET", f"/v1/cell/{question.name}.xml", query)
    words = line.send("GET", f"/v1/cell/caution/{question.name}", query)
    assert number.status in (200, 422), query
    assert (row.status, tree.status, words.status) == (number.status, number.status, 200), query
    told = words.content.decode("utf-8")
    assert told.startswith("No number") == (number.status == 422), query
    if number.status == 422:
        for refusal in (number, row, tree):
            assert refusal.media_type == PROBLEM_MEDIA_TYPE
            problem = json.loads(refusal.content)
            assert problem["errors"], query
            known = {"", *(f"/{name}".replace("/~", "/~0") for name in (*question.parameters, *dict(pairs)))}
            assert {fault["pointer"] for fault in problem["errors"]} <= known, query
        return
    text = number.content.decode("ascii")
    assert math.isfinite(float(text)), query
    assert "e" not in text.lower(), query
    names, cells = row.content.decode("utf-8").split("\r\n")[0], row.content.decode("utf-8").split("\r\n")[1]
    assert names.startswith("question,value,"), query
    assert cells.split(",")[:2] == [question.name, text], query
    assert fromstring(tree.content.decode("utf-8")).findtext("value") == text, query
    assert fromstring(tree.content.decode("utf-8")).findtext("heed") == told, query


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
@settings(max_examples=10, derandomize=True, database=None)
@given(random=st.randoms(use_true_random=False))
def test_a_mistyped_cell_is_a_number_or_a_problem_and_its_twins_agree(
    question: Question, line: Line, random: Random
) -> None:
    check(line, question, spoiled(random, question))


@pytest.mark.slow
@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_a_great_many_mistyped_cells(question: Question, line: Line) -> None:
    random = Random(question.name)
    for _ in range(400):
        check(line, question, spoiled(random, question))
