"""Every caution of a tasting: when it is given and when not."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import service
from service.catalogue.loader import sources
from service.planner.tasting.answers import Tasting
from service.planner.tasting.asked import DifferenceAsked, ScoresAsked
from tests.planner.tasting_cases import DOSES, PER_LITRE, WORKED, codes, judged, liking

ONE = liking({"A": WORKED})
EIGHT = liking(dict.fromkeys("ABCDEFGH", WORKED))
BATCH = replace(ONE, unit=PER_LITRE, batch_l=20.0)
TEST = DifferenceAsked("triangle", 30, 20, people=30)

Case = tuple[ScoresAsked | DifferenceAsked, dict[str, Any]]


def _case(asked: ScoresAsked | DifferenceAsked, **more: Any) -> Case:
    return asked, more


# code: (level, what raises it, the like of it that does not)
CASES: dict[str, tuple[str, Case, Case]] = {
    "few_doses": ("warning", _case(liking({"A": (4, 6, 5)}, (0, 10, 20))), _case(ONE)),
    "no_optimum_found": ("warning", _case(liking({"A": (1, 2, 3, 4, 5.2)})), _case(ONE)),
    "best_dose_at_the_edge": ("warning", _case(liking({"A": (1, 3, 4.6, 6, 7)})), _case(ONE)),
    "interval_beyond_the_doses": ("warning", _case(liking({"A": (4, 5.2, 6.2, 6.5, 6.6)})), _case(ONE)),
    "scores_lie_on_the_curve": (
        "warning",
        _case(liking({"A": [6 - 0.01 * (d - 20) ** 2 for d in DOSES]})),
        _case(ONE),
    ),
    "interval_is_of_this_panel": ("note", _case(ONE), _case(liking({"A": (4, 6, 5)}, (0, 10, 20)))),
    "plain_scaling": ("note", _case(BATCH), _case(ONE)),
    "tasters_not_told_apart": ("warning", _case(liking({None: WORKED})), _case(ONE)),
    "taster_with_one_score": ("note", _case(liking({"A": WORKED, "B": (None, None, 9, None, None)})), _case(ONE)),
    "small_panel": ("note", _case(ONE), _case(EIGHT)),
    "not_significant_proves_nothing": ("warning", _case(replace(TEST, correct=14)), _case(replace(TEST, correct=15))),
    "panel_too_small_for_this_test": ("warning", _case(replace(TEST, discriminators=0.1)), _case(TEST)),
    "nothing_could_be_significant": (
        "warning",
        _case(DifferenceAsked("two_afc", 4, 4)),
        _case(DifferenceAsked("two_afc", 5, 5)),
    ),
    "fewer_right_than_guessing": ("warning", _case(replace(TEST, correct=5)), _case(replace(TEST, correct=9))),
    "answers_taken_as_independent": ("note", _case(replace(TEST, people=None)), _case(TEST)),
    "repeated_tasters": ("warning", _case(replace(TEST, people=10)), _case(TEST)),
    "not_blind": ("warning", _case(ONE, blind=False), _case(ONE, blind=True)),
    "order_not_random": ("warning", _case(ONE, random_order=False), _case(ONE, random_order=True)),
}
ALWAYS = {"alcohol", "small_sips", "estimate"}


def _answer(case: Case) -> Tasting:
    asked, more = case
    return judged(asked, **more)


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    assert codes(_answer(with_it))[code] == level
    assert code not in codes(_answer(without_it))


def test_every_caution_has_a_case() -> None:
    found: set[str] = set()
    for path in (Path(service.__file__).parent / "planner" / "tasting").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Caution":
                assert isinstance(node.args[0], ast.Constant)
                found.add(str(node.args[0].value))
    assert found == set(CASES) | ALWAYS - {"alcohol"}


def test_some_are_always_given() -> None:
    for _, *pair in CASES.values():
        for case in pair:
            answer = _answer(case)
            assert set(codes(answer)) >= ALWAYS
            assert all(len(c.text.split()) <= 30 and c.text.endswith(".") for c in answer.cautions)
            assert {c.source_id for c in answer.cautions} <= {s.key for s in answer.sources} <= set(sources())


def test_how_glasses_were_served_is_a_note_where_nobody_said() -> None:
    for asked in (ONE, TEST):
        found = codes(judged(asked))
        assert (found["not_blind"], found["order_not_random"]) == ("note", "note")
