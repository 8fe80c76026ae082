"""Every sentence of the worked answers can be read aloud in a cellar: no path, no backtick, no field's name, no id."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

import pytest

from tests.api.real import EXAMPLES, worked

FILES: Final = sorted(EXAMPLES.glob("*/*.json"))
JARGON: Final = re.compile(r"POST /|/v1/|`|[A-Za-z0-9]+_[A-Za-z0-9_]+")
FOR_PEOPLE: Final = {
    "text": "cautions, clashes, costs, what is least known, what a step takes, what can follow",
    "summary": "the whole answer",
    "do": "steps and readings",
    "check": "what a step ends with",
    "amount_text": "what scale and jug show",
    "marginal": "what a small change of a target takes",
    "notes": "what figures mean",
    "steps_are": "what figures in steps mean",
    "measure_by": "what would replace an assumption",
    "limit": "what stands in the way",
    "costs": "what a way out costs",
}
"""Fields that hold sentences, wherever they stand. Not among them: `what`, `value` and `source` of an assumption, which
name fields, rows and documents for scripts; `of`, `member`, `conflict`, `largest_share_from`, which are keys."""

MAY_NAME_A_FIELD: Final = {"detail": "a refusal tells the author of a script which field to change"}


def sentences(value: Any, key: str = "", where: str = "") -> Iterator[tuple[str, str]]:
    """The sentences of an answer with their places."""
    if isinstance(value, dict):
        for name, inner in value.items():
            yield from sentences(inner, name, f"{where}/{name}")
    elif isinstance(value, list):
        for i, inner in enumerate(value):
            yield from sentences(inner, key, f"{where}/{i}")
    elif isinstance(value, str) and key in FOR_PEOPLE:
        yield where, value


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_the_sentences_of_an_example_are_plain(path: Any) -> None:
    response = worked(path)["response"]
    found = {where: text for where, text in sentences(response["body"]) if JARGON.search(text)}
    assert found == {}


def test_refusals_name_a_field_in_no_backticks_and_no_path() -> None:
    refused = [worked(path)["response"]["body"] for path in FILES if worked(path)["response"]["status"] != 200]
    details = [error[name] for body in refused for error in body["errors"] for name in MAY_NAME_A_FIELD]
    assert details
    assert [text for text in details if re.search(r"`|POST /|/v1/", text)] == []


def test_jargon_is_seen() -> None:
    body = {
        "cautions": [{"code": "a_code", "text": "honey_acacia has no price"}],
        "steps": [{"do": "Ask POST /v1/corrections.", "check": "Clear."}],
        "assumed": [{"what": "base: residual_sugar", "measure_by": "give `losses`"}],
    }
    told = list(sentences(body))
    assert [where for where, _ in told] == [
        "/cautions/0/text",
        "/steps/0/do",
        "/steps/0/check",
        "/assumed/0/measure_by",
    ]
    assert [where for where, text in told if JARGON.search(text)] == [
        "/cautions/0/text",
        "/steps/0/do",
        "/assumed/0/measure_by",
    ]


def test_what_is_joined_by_a_semicolon_goes_on_in_small_letters() -> None:
    summaries = [worked(path)["response"]["body"].get("summary", "") for path in FILES]
    assert any("; at least" in text for text in summaries)
    assert [text for text in summaries if re.search(r"; (?:[A-Z][a-z]+|A) ", text)] == []
