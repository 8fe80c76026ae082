"""Every caution of a fining plan: given where it belongs, at its level, and not elsewhere."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import service
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.drink import Span, drink_from_recipe
from service.planner.fining.asked import FiningAsked, Observations
from service.planner.fining.plan import plan_fining
from tests.planner.fining_cases import CLEAR, FINE, KEEP, PLAIN, RAW, codes, drink, held, intended


def recipe(*, on_lees: bool | None = None, lot_class: LotClass = LotClass.MEAD) -> FiningAsked:
    readings = LotReadings(20.0, None, 0.998, 8.0, LotClass.MEAD, 60.0, None, 3.4, 8.2, None)
    lots = [LotAsked(lot_from_readings("base", readings), 20.0, 20.0, None, on_lees)]
    if lot_class is not LotClass.MEAD:
        juice = LotReadings(2.0, None, 1.045, 0.0, lot_class, None, None, None, 8.2, None)
        lots.append(LotAsked(lot_from_readings("pressed", juice), 2.0, 2.0))
    honey = AdditionAsked(held("honey_acacia").ingredient, None, 500.0, 500.0)
    return FiningAsked(drink_from_recipe(lots, [honey], FINE), "clear", circumstances=FINE)


HARD = replace(KEEP, drink=RAW, water_calcium_mg_per_l=150.0)
NO_YEAST = Observations(cloudy_with_yeast=False)
DRY = replace(CLEAR, drink=drink(gravity=Span.exact(0.996), sugar_g_per_l=Span.exact(1.0)))
BOTH = replace(CLEAR, problem="pulp", observations=Observations(clears_when_warm=True))
TANNIN = replace(CLEAR, problem="tannin")

CASES: dict[str, tuple[str, FiningAsked, FiningAsked]] = {
    "filtration_takes_the_haze": (
        "stop",
        intended(KEEP, hurdles=("sterile_filtered",)),
        intended(CLEAR, hurdles=("sterile_filtered",)),
    ),
    "raw_citrus_may_lose_its_haze": ("warning", replace(KEEP, drink=RAW), KEEP),
    "calcium_drops_citrus_haze": ("warning", HARD, replace(HARD, water_calcium_mg_per_l=20.0)),
    "pectinase_clears_for_good": ("warning", replace(KEEP, pectinase_used=True), replace(KEEP, pectinase_used=False)),
    "warm_stand_drops_haze": (
        "note",
        intended(KEEP, storage_temperature_c=21.0),
        intended(KEEP, storage_temperature_c=19.0),
    ),
    "pectinase_is_irreversible": ("warning", replace(CLEAR, problem="pectin"), replace(CLEAR, problem="pulp")),
    "gelatin_leaves_pectin_haze": (
        "note",
        replace(CLEAR, problem="pulp"),
        replace(CLEAR, problem="pulp", drink=PLAIN),
    ),
    "chill_haze_shows_only_cold": ("note", replace(CLEAR, problem="protein"), replace(CLEAR, problem="pulp")),
    "let_the_ferment_end_first": ("warning", replace(CLEAR, problem="yeast"), replace(CLEAR, problem="pulp")),
    "vessel_too_small": ("stop", intended(CLEAR, vessel_l=18.0), intended(CLEAR, vessel_l=20.0)),
    "vessel_may_be_too_small": (
        "warning",
        intended(replace(CLEAR, drink=drink(volume_l=Span(19.0, 18.0, 20.5))), vessel_l=20.0),
        intended(CLEAR, vessel_l=20.0),
    ),
    "fining_is_no_hurdle": ("stop", intended(CLEAR, container="bottle"), intended(DRY, container="bottle")),
    "allergen_from_fining": ("warning", TANNIN, replace(TANNIN, avoid=("animal",))),
    "chitosan_may_be_of_shellfish": (
        "warning",
        replace(CLEAR, problem="yeast", agents=("chitosan",)),
        replace(CLEAR, problem="yeast"),
    ),
    "not_vegetarian": ("note", replace(CLEAR, problem="pulp"), replace(CLEAR, problem="pulp", avoid=("animal",))),
    "not_on_the_list_of_2015": ("note", CLEAR, replace(CLEAR, market="eu")),
    "remove_by_filtration": ("note", TANNIN, replace(CLEAR, problem="protein")),
    "water_over_one_percent": ("warning", BOTH, replace(CLEAR, problem="pulp")),
    "fine_powder": ("note", replace(CLEAR, problem="protein"), replace(CLEAR, problem="pectin")),
    "lees_in_the_volume": ("warning", recipe(on_lees=True), recipe(on_lees=False)),
    "bench_trial_first": ("note", CLEAR, KEEP),
    "spirit_burns": ("warning", CLEAR, replace(CLEAR, observations=Observations(spirit_test_strings=False))),
    "alcohol": ("note", CLEAR, replace(CLEAR, drink=drink(abv_percent=Span.exact(0.0)))),
    "raw_juice": ("warning", replace(CLEAR, drink=RAW), CLEAR),
}


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    assert codes(plan_fining(with_it))[code] == level
    assert code not in codes(plan_fining(without_it))


def test_every_caution_has_a_case() -> None:
    found: set[str] = set()
    for path in (Path(service.__file__).parent / "planner" / "fining").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Caution":
                first = node.args[0]
                assert isinstance(first, ast.Constant)
                found.add(str(first.value))
    # an estimate is always one
    assert found - set(CASES) == {"estimate"}


def test_sugar_goes_by_the_upper_end_of_its_interval() -> None:
    # 2 g/L of fermentable sugar (our default): judged by the bad end
    unsure = replace(CLEAR, drink=drink(gravity=Span.exact(0.996), sugar_g_per_l=Span(1.0, 0.0, 3.0)))
    assert codes(plan_fining(intended(unsure, container="keg")))["fining_is_no_hurdle"] == "stop"
    assert codes(plan_fining(unsure))["fining_is_no_hurdle"] == "warning"
    held_by = intended(CLEAR, container="bottle", hurdles=("pasteurised",))
    assert codes(plan_fining(held_by))["fining_is_no_hurdle"] == "warning"
    salts = intended(CLEAR, container="bottle", hurdles=("sulfite",))
    assert codes(plan_fining(salts))["fining_is_no_hurdle"] == "stop"


def test_the_list_of_the_united_states_weighs_more_where_it_rules() -> None:
    assert codes(plan_fining(replace(CLEAR, market="us")))["not_on_the_list_of_2015"] == "warning"
    allowed = replace(CLEAR, market="us", agents=("gelatin",))
    assert "not_on_the_list_of_2015" not in codes(plan_fining(allowed))


def test_raw_juice_in_lots_and_behind_salts() -> None:
    assert codes(plan_fining(recipe(lot_class=LotClass.CITRUS_JUICE)))["raw_juice"] == "warning"
    assert "raw_juice" not in codes(plan_fining(recipe()))
    salted = intended(replace(CLEAR, drink=RAW), hurdles=("sulfite", "sorbate"))
    assert codes(plan_fining(salted))["raw_juice_after_stabilising"] == "stop"


def test_allergens_are_named() -> None:
    # 27 CFR 4.32a: milk, egg, fish
    found = [c.text for c in plan_fining(TANNIN).cautions if c.code == "allergen_from_fining"]
    assert any("milk" in text for text in found)
    assert any("egg" in text for text in found)
    yeast = [c for c in plan_fining(replace(CLEAR, problem="yeast")).cautions if c.code == "allergen_from_fining"]
    assert ["fish" in c.text for c in yeast] == [True]
    assert yeast[0].source_id == "cfr27_4_32a"
