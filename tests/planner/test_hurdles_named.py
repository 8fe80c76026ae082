"""Cautions that name hurdles stay short, however many were stated: at most two by name."""

from __future__ import annotations

import pytest

from service.planner.pressure.asked import Closed
from service.planner.pressure.refermentation import refermentation
from service.planner.refermentation import _sugar_and_hurdles, hurdle_in_words, hurdles_named
from service.planner.span import Span
from service.planner.stabilising.asked import HURDLES
from tests.planner.pressure_cases import FINISHED, drink

MOST_WORDS = 30
BEHIND = ["cold", "sorbate", "sulfite"]


@pytest.mark.parametrize("sugar", [Span.exact(120.0), Span(1.5, 0.0, 120.0)], ids=["sweet", "perhaps sweet"])
@pytest.mark.parametrize(
    ("hurdles", "code"),
    [
        (list(HURDLES), "hurdle_is_not_proof"),
        ([h for h in HURDLES if h != "cold"], "hurdle_is_not_proof"),
        (BEHIND, "hurdle_does_not_hold"),
    ],
)
def test_what_is_closed_up(sugar: Span, hurdles: list[str], code: str) -> None:
    found = refermentation(drink(sugar), Closed("sparkling_bottle"), hurdles, FINISHED)
    texts = [c.text for c in found.cautions if c.code == code]
    assert texts or (sugar.value <= 2.0 and code == "hurdle_is_not_proof")
    assert all(len(text.split()) <= MOST_WORDS for text in texts), texts
    assert all(hurdles_named(hurdles) in text for text in texts)


@pytest.mark.parametrize("hurdles", [set(HURDLES), {"sulfite", "cold"}, {"sorbate", "cold"}])
def test_what_is_blended(hurdles: set[str]) -> None:
    found = _sugar_and_hurdles(120.0, 131.0, hurdles, "bottle")
    assert found.code == ("hurdle_is_not_proof" if len(hurdles) > 2 else "hurdle_does_not_hold")
    assert len(found.text.split()) <= MOST_WORDS
    assert sum(hurdle_in_words(hurdle) in found.text for hurdle in hurdles) == 2


def test_those_that_kill_are_named_first() -> None:
    assert hurdles_named(HURDLES) == "pasteurising, sterile filtration and others"
    assert hurdles_named(["cold"]) == "cold"
