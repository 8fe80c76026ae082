"""Every caution of the undo table: given where it belongs, at its level, and not elsewhere."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import service
from service.chemistry.sulfite_limits import Market
from service.planner.correction.answers import Consistency
from service.planner.undo.asked import SulfiteFound, UndoAsked
from service.planner.undo.undo import undo
from tests.planner.undo_cases import CLEARED, SOUR, STRONG, SULFITED, SWEET, intended, lot, to

NEAR_SEVEN = replace(STRONG, in_vessel=(lot("strong", 20.0, 1.012, 9.0, 6.0, 3.4),), targets=(to("abv_percent", 7.1),))
LOW = replace(SOUR, in_vessel=(lot("sour", 20.0, 1.012, 7.0, 6.2, 3.0),), targets=(to("titratable_acidity", 4.6),))
RELIES_ON_SULFITE = intended(SOUR, hurdles=("sulfite",))

# code: (level, a question that raises it, the like of it that does not)
CASES: dict[str, tuple[str, UndoAsked, UndoAsked]] = {
    "never_seal_a_moving_ferment": ("warning", SWEET, intended(SWEET, hurdles=("sorbate", "sulfite"))),
    "carbonate_below_five_grams": ("note", LOW, replace(LOW, market=Market.EU)),
    "higher_ph_weakens_sulfite": ("warning", RELIES_ON_SULFITE, SOUR),
    "near_seven_percent_line": ("note", NEAR_SEVEN, replace(NEAR_SEVEN, market=Market.EU)),
    "sulfite_sensitivity": ("warning", SULFITED, SWEET),
    "sulfite_fumes": ("warning", SULFITED, SWEET),
    "no_peroxide_at_home": ("warning", SULFITED, SWEET),
    "total_so2_over_limit": ("stop", SULFITED, replace(SULFITED, market=Market.US)),
    "molecular_so2_irritates": ("warning", SULFITED, replace(SULFITED, sulfite=SulfiteFound(60.0, 260.0))),
    "less_sulfite_holds_less": ("note", SULFITED, UndoAsked("over_sulfited")),
    "readings_do_not_fit": (
        "stop",
        replace(SWEET, consistency=Consistency("inconsistent", 0.001, (), "")),
        replace(SWEET, consistency=Consistency("consistent", 0.4, (), "")),
    ),
    "readings_hardly_fit": ("warning", replace(SWEET, consistency=Consistency("doubtful", 0.02, (), "")), SWEET),
    "pectinase_clears_for_good": ("warning", CLEARED, SWEET),
    "calcium_drops_citrus_cloud": ("warning", CLEARED, SWEET),
    "raw_juice_loses_its_cloud": ("warning", CLEARED, SWEET),
}
_ALWAYS = {"estimate", "try_it_in_a_glass"}


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    assert {c.code: c.level for c in undo(with_it).cautions}[code] == level
    assert code not in {c.code for c in undo(without_it).cautions}


def test_every_caution_has_a_case() -> None:
    found: set[str] = set()
    for path in (Path(service.__file__).parent / "planner" / "undo").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Caution":
                code = node.args[0]
                assert isinstance(code, ast.Constant)
                assert isinstance(code.value, str)
                found.add(code.value)
    assert found - set(CASES) == _ALWAYS


def test_what_is_always_said_is_said_always() -> None:
    for asked in (SWEET, SULFITED, CLEARED, UndoAsked("too_weak")):
        assert {c.code for c in undo(asked).cautions} >= _ALWAYS


def test_a_caution_of_one_option_names_it() -> None:
    answer = undo(SULFITED)
    fumes = next(c for c in answer.cautions if c.code == "sulfite_fumes")
    assert fumes.about == "wait_and_air"
    assert next(c for c in answer.cautions if c.code == "sulfite_sensitivity").about is None


def test_how_much_molecular_sulfite_a_higher_ph_leaves() -> None:
    answer = undo(RELIES_ON_SULFITE)
    found = next(o for o in answer.options if o.name == "potassium_bicarbonate")
    (caution,) = [c for c in found.cautions if c.code == "higher_ph_weakens_sulfite"]
    assert answer.now is not None
    assert answer.now.ph is not None
    assert found.predicted is not None
    assert found.predicted.ph is not None
    # molecular = free/(1 + 10^(pH - 1.81)) (Waterhouse, Sacks and Jeffery 2016): 3.20 to 3.74 leaves 29 %
    before, after = (1.0 / (1.0 + 10.0 ** (ph.value - 1.81)) for ph in (answer.now.ph, found.predicted.ph))
    assert f"only {100.0 * after / before:.0f} %" in caution.text
    assert 100.0 * after / before < 35.0
    water = next(o for o in answer.options if o.name == "water")
    assert "higher_ph_weakens_sulfite" not in {c.code for c in water.cautions}


def test_what_the_drink_is_cautioned_of_is_not_repeated_by_every_option() -> None:
    answer = undo(intended(SWEET, container="bottle"))
    assert [c.code for c in answer.cautions].count("refermentable_sugar_no_hurdle") == 1
