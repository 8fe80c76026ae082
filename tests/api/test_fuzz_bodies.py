"""Worked requests of every question, spoiled: answered, or refused by a problem document whose pointers lead to what
has to change. Never a failure of the service."""

from __future__ import annotations

import json
from collections.abc import Iterator
from random import Random
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.problems import PROBLEM_MEDIA_TYPE
from service.physics.solutes import Component
from tests.api import real
from tests.api.attack import NUMBERS, SHAPES, TEXTS, Line, as_json, attacked, spoiler, unresolved

OPERATIONS: Final = sorted(real.PATHS)
DEEPEST: Final = attacked().state.settings.max_nesting_depth


@pytest.fixture(scope="module")
def line() -> Iterator[Line]:
    found = Line(attacked())
    yield found
    found.close()


def check(line: Line, path: str, body: Any) -> int:
    """The status of the answer to a body."""
    answer = line.post(path, as_json(body))
    assert answer.status in (200, 422), (body, answer.content[:1000])
    found = json.loads(answer.content)
    if answer.status == 422:
        assert answer.media_type == PROBLEM_MEDIA_TYPE
        assert found["errors"], body
        assert unresolved(found, body) == [], body
    elif path.endswith(":batch"):
        for number, result in enumerate(found["results"]):
            assert result["status"] in (200, 422, 503), (body, result)
            assert result["problem"] is None or unresolved(result["problem"], body["requests"][number]) == [], body
    return answer.status


@pytest.mark.parametrize("operation", OPERATIONS)
@settings(max_examples=12, derandomize=True, database=None)
@given(random=st.randoms(use_true_random=False))
def test_a_spoiled_request_is_answered_or_refused_at_its_place(operation: str, line: Line, random: Random) -> None:
    check(line, real.PATHS[operation], spoiler(operation).spoiled(random))


@pytest.mark.slow
@pytest.mark.parametrize("operation", OPERATIONS)
def test_a_great_many_spoiled_requests(operation: str, line: Line) -> None:
    random = Random(operation)
    for _ in range(200 if operation == "solve_blends" else 1500):
        check(line, real.PATHS[operation], spoiler(operation).spoiled(random))


amounts = st.sampled_from(NUMBERS) | st.floats(0.0, 120.0) | st.sampled_from(TEXTS) | st.sampled_from(SHAPES)
compositions = st.recursive(
    st.fixed_dictionaries(
        {
            "name": st.sampled_from(["own syrup", *TEXTS]),
            "components_g_per_100g": st.dictionaries(
                st.sampled_from([*(component.value for component in Component), "sugar", "\u0000", "a/b~c"]),
                amounts,
                max_size=6,
            ),
        },
        optional={
            "ta_g_citric_per_100g": amounts,
            "ph": amounts,
            "juice_share_percent": amounts,
            "fruit_family": st.sampled_from(["citrus", "none", "x", None]),
        },
    ),
    lambda inner: st.fixed_dictionaries({"composition": inner}) | st.lists(inner, max_size=2),
    max_leaves=3,
)


@settings(max_examples=60, derandomize=True, database=None)
@given(composition=compositions, amount=st.sampled_from(["1.5 kg", "1 L", *TEXTS]))
def test_any_composition_is_reckoned_with_or_refused_at_its_place(line: Line, composition: Any, amount: str) -> None:
    body = {
        "lots": real.BASE["lots"],
        "additions": [{"composition": composition, "amount": amount}],
    }
    check(line, real.PATHS["forecast_blend"], body)


@pytest.mark.parametrize("operation", OPERATIONS)
def test_brackets_within_brackets_are_refused(operation: str, line: Line) -> None:
    body = spoiler(operation).requests[0]
    for name in (*body, "x"):
        told = as_json({**body, name: "here"})
        for depth in (DEEPEST - 1, DEEPEST, 10_000):
            answer = line.post(real.PATHS[operation], told.replace(b'"here"', b"[" * depth + b"]" * depth, 1))
            one_by_one = operation == "solve_blends" and name == "requests"  # each is refused on its own there
            assert answer.status == (400 if depth >= DEEPEST else 200 if one_by_one else 422), (name, depth)
            assert answer.media_type == PROBLEM_MEDIA_TYPE or answer.status == 200


def test_a_mistake_that_nobody_named_is_refused_where_it_belongs(line: Line) -> None:
    body = real.example("correct_blend", "12")
    assert "mistake" not in body
    honey = next(part for part in body["added"] if part.get("ingredient") == "honey_acacia")
    honey["amount"] = "180 kg"
    problem = real.post(real.PATHS["correct_blend"], body, 422)
    assert [fault["pointer"] for fault in problem["errors"]] == ["/mistake"]
    assert check(line, real.PATHS["correct_blend"], body) == 422
