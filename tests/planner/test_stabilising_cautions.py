"""Every caution of a stabilising plan: given where it belongs, at its level, and not elsewhere."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import service
from service.chemistry.sulfite import PkBasis
from service.chemistry.sulfite_limits import Market
from service.planner.asked import Intended
from service.planner.stabilising.asked import Sorbate, StabilisingAsked, Sulfite
from service.planner.stabilising.plan import plan_stabilising
from tests.planner.stabilising_cases import DRINK, FINE, MEQ_PER_G_TARTARIC, SWEET, day, drink

BOTTLE = replace(FINE, intended=Intended(container="bottle"))
SEALED = replace(SWEET, circumstances=BOTTLE)
ALONE = replace(SWEET, hurdles=("sulfite",))
US = replace(ALONE, market=Market.US)


def intended(**what: float) -> StabilisingAsked:
    return replace(SWEET, circumstances=replace(FINE, intended=Intended(**what)))  # type: ignore[arg-type]


def two(first: float, second: float, days: int = 7) -> StabilisingAsked:
    return replace(SWEET, fermentation_finished=None, readings=(day(1, first), day(1 + days, second)))


CASES: dict[str, tuple[str, StabilisingAsked, StabilisingAsked]] = {
    "yeast_still_active": ("stop", replace(SWEET, fermentation_finished=False), SWEET),
    "stabilisers_on_a_moving_ferment": ("stop", replace(SWEET, fermentation_finished=None), SWEET),
    "gravity_falling_in_hold_test": ("stop", two(1.012, 1.010), two(1.012, 1.012)),
    "readings_of_gravity_disagree": ("stop", two(1.012, 1.015), two(1.012, 1.012)),
    "raw_juice_after_stabilising": ("stop", replace(SWEET, raw_juice_after=True), SWEET),
    "ph_above_4_6": ("stop", drink(ph=4.7, titratable_meq_per_l=None), drink(ph=4.4, titratable_meq_per_l=None)),
    "malolactic_blocks_sorbate": ("stop", replace(SWEET, malolactic_possible=True), SWEET),
    "sorbate_without_sulfite": ("stop", replace(SWEET, hurdles=("sorbate",)), SWEET),
    "sorbic_acid_over_limit": ("stop", replace(SWEET, sorbate=Sorbate(201.0)), replace(SWEET, sorbate=Sorbate(200.0))),
    "total_so2_over_limit": ("stop", replace(ALONE, sulfite=Sulfite(125.0)), replace(ALONE, sulfite=Sulfite(115.0))),
    "vessel_too_small": ("stop", intended(vessel_l=19.0), intended(vessel_l=21.0)),
    "vessel_may_be_too_small": ("warning", intended(vessel_l=20.5), intended(vessel_l=21.0)),
    "refermentable_sugar_no_hurdle": ("stop", replace(SEALED, hurdles=()), replace(SEALED, hurdles=("pasteurised",))),
    "hurdle_does_not_hold": ("stop", replace(SEALED, hurdles=("sulfite",)), SEALED),
    "hurdle_is_not_proof": ("warning", SEALED, replace(SEALED, sugar_g_per_l=1.0)),
    "sorbate_outside_published_table": ("warning", drink(abv_percent=9.0), SWEET),
    "sorbate_may_be_outside_published_table": ("warning", drink(abv_percent=10.2), drink(abv_percent=10.5)),
    "sorbate_below_published_dose": ("warning", replace(SWEET, sorbate=Sorbate(50.0)), SWEET),
    "sorbate_raises_ph": (
        "warning",
        drink(ph=3.5, titratable_meq_per_l=3.0 * MEQ_PER_G_TARTARIC),
        replace(SWEET, sorbate=Sorbate(130.0)),
    ),
    "ph_high": ("warning", replace(US, dosing=replace(DRINK, ph=4.05)), replace(US, dosing=replace(DRINK, ph=3.95))),
    "acid_first": ("warning", replace(US, dosing=replace(DRINK, ph=3.85)), replace(US, dosing=replace(DRINK, ph=3.75))),
    "weak_hurdles_at_this_ph": ("warning", replace(US, dosing=replace(DRINK, ph=3.55)), SWEET),
    "over_sulfited": (
        "warning",
        replace(ALONE, sulfite=Sulfite(free_now_mg_per_l=90.0)),
        replace(ALONE, sulfite=Sulfite(free_now_mg_per_l=40.0)),
    ),
    "free_so2_above_target": ("note", replace(ALONE, sulfite=Sulfite(free_now_mg_per_l=40.0)), ALONE),
    "molecular_so2_irritates": ("warning", replace(ALONE, sulfite=Sulfite(None, 2.1)), ALONE),
    "molecular_so2_below_usual": ("warning", replace(ALONE, sulfite=Sulfite(None, 0.5)), ALONE),
    "pk_asks_for_less": ("warning", replace(ALONE, sulfite=Sulfite(pk_basis=PkBasis.THERMO)), ALONE),
    "convention_asks_for_less": (
        "note",
        replace(drink(abv_percent=5.0), temperature_c=8.0),
        replace(drink(abv_percent=5.0), temperature_c=20.0),
    ),
    "limit_within_volume_error": (
        "warning",
        replace(SWEET, sorbate=Sorbate(194.0)),
        replace(SWEET, sorbate=Sorbate(192.0)),
    ),
    "stabilisers_do_not_stop_yeast_or_bacteria": ("warning", SWEET, replace(SWEET, hurdles=("pasteurised",))),
    "sulfite_sensitivity": ("note", SWEET, replace(SWEET, hurdles=("pasteurised",))),
    "sulfite_fumes": ("warning", SWEET, replace(SWEET, fermentation_finished=False)),
    "old_metabisulfite_is_weaker": ("note", SWEET, replace(SWEET, fermentation_finished=False)),
    "grams_of_another_salt_differ": ("note", SWEET, replace(SWEET, fermentation_finished=False)),
    "part_of_the_sulfite_is_bound": ("note", SWEET, replace(SWEET, fermentation_finished=False)),
    "geranium_taint_is_irreversible": ("note", SWEET, ALONE),
    "sorbate_taste": ("note", SWEET, ALONE),
    "sorbate_sensitivity": ("note", SWEET, ALONE),
    "warm_storage": ("note", intended(storage_temperature_c=26.0), intended(storage_temperature_c=24.0)),
    "alcohol": ("note", SWEET, drink(abv_percent=0.0)),
}


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    assert {c.code: c.level for c in plan_stabilising(with_it).cautions}[code] == level
    assert code not in {c.code for c in plan_stabilising(without_it).cautions}


def test_every_caution_has_a_case() -> None:
    found: set[str] = set()
    for path in (Path(service.__file__).parent / "planner" / "stabilising").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("Caution", "_stop"):
                parts = node.args[0]
                constants = [n.value for n in ast.walk(parts) if isinstance(n, ast.Constant)]
                found.update(value for value in constants if isinstance(value, str))
    # an estimate is always one
    assert found - set(CASES) == {"estimate"}


@pytest.mark.parametrize("hurdle", ["sealed", "open"])
def test_what_could_be_sealed_later_is_a_warning(hurdle: str) -> None:
    asked = replace(SEALED, hurdles=("cold",))
    if hurdle == "open":
        asked = replace(asked, circumstances=replace(FINE, intended=Intended(container="open")))
    levels = {c.code: c.level for c in plan_stabilising(asked).cautions}
    assert levels["hurdle_does_not_hold"] == ("stop" if hurdle == "sealed" else "warning")
