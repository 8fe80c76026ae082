"""Each caution of a must: a request that raises it, and one like it that does not."""

from __future__ import annotations

from typing import Any

import pytest

from service.catalogue.loader import sources
from tests.planner.must_cases import ask, backwards, codes, light

CASES: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    (
        "phosphates_over_limit",
        {"nitrogen": {"demand": 2.0}},
        {"nitrogen": {"demand": 2.0, "sources": [{"name": "autolysed yeast"}]}},
    ),
    (
        "phosphates_over_limit",
        {"nitrogen": {"demand": 2.0, "sources": [{"name": "unknown salt", "nitrogen_percent": 12}]}},
        {"nitrogen": {"demand": 2.0, "sources": [{"name": "unknown", "nitrogen_percent": 12, "organic": True}]}},
    ),
    (
        "excess_nitrogen",
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "15 g"}]}},
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "10 g"}]}},
    ),
    ("excess_nitrogen", {"nitrogen": {"must_yan_mg_n_per_l": 160}}, {"nitrogen": {"must_yan_mg_n_per_l": 140}}),
    (
        "nitrogen_short",
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "5 g"}]}},
        {"nitrogen": {"sources": [{"name": "DAP", "amount": "9.5 g"}]}},
    ),
    ("nutrients_of_food_grade", {}, {"nitrogen": {"must_yan_mg_n_per_l": 120}}),
    ("little_yeast", {"yeast": {"grams": 3}}, {"yeast": {"grams": 5}}),
    (
        "may_stop_before_dry",
        {"yeast": {"tolerance_abv_percent": 7.0}},
        {"yeast": {"tolerance_abv_percent": 7.5}},
    ),
    ("below_honey_wine_standard", {}, {"original_gravity": 1.056}),
    ("below_honey_wine_standard", {}, {"sources": [{"ingredient": "sugar_white"}]}),
    ("above_honey_wine_standard", {"original_gravity": 1.110}, {"original_gravity": 1.090}),
    ("strong_must", {"original_gravity": 1.115}, {"original_gravity": 1.100}),
    ("stronger_than_yeast_bears", {"original_gravity": 1.150}, {"original_gravity": 1.130}),
    ("carbon_dioxide_in_the_room", {}, {"volume": "3 L"}),
    ("never_seal_a_ferment", {}, {"intended": {"container": "open"}}),
    ("vessel_too_small", {"intended": {"vessel": "18 L"}}, {"intended": {"vessel": "30 L"}}),
    ("little_room_for_foam", {"intended": {"vessel": "21.5 L"}}, {"intended": {"vessel": "30 L"}}),
    (
        "raw_juice",
        {"sources": [{"ingredient": "honey"}, {"ingredient": "apple_juice_bottled", "amount": "2 L"}]},
        {
            "sources": [
                {"ingredient": "honey"},
                {"ingredient": "apple_juice_bottled", "amount": "2 L", "treatment": "pasteurised"},
            ]
        },
    ),
]


@pytest.mark.parametrize(("code", "raises", "does_not"), CASES, ids=[f"{c[0]}-{k}" for k, c in enumerate(CASES)])
def test_a_caution_is_raised_where_it_should_be(code: str, raises: dict[str, Any], does_not: dict[str, Any]) -> None:
    assert code in codes(light(**raises))
    assert code not in codes(light(**does_not))


def test_a_must_is_no_drink_to_be_sealed() -> None:
    """Cautions on sealed sugar and on stabilisers speak of the drink, not of its must."""
    plan = light(intended={"container": "bottle", "hurdles": ["sorbate"], "storage_temperature": "30 C"})
    spoken = {"refermentable_sugar_no_hurdle", "hurdle_does_not_hold", "sorbate_without_sulfite", "warm_storage"}
    assert spoken.isdisjoint(codes(plan))
    drink = backwards(intended={"container": "bottle", "hurdles": ["sorbate"], "storage_temperature": "30 C"})
    assert {"hurdle_does_not_hold", "sorbate_without_sulfite", "warm_storage"} <= codes(drink)


def test_words_are_few_and_sources_exist() -> None:
    plans = [light(**raises) for _, raises, _ in CASES] + [backwards()]
    for caution in {c for plan in plans for c in plan.cautions}:
        assert len(caution.text.split()) <= 30, caution
        assert caution.source_id in sources()
        assert "safe" not in caution.text.lower().split()
    for plan in plans:
        cited = {source.key for source in plan.sources}
        assert {c.source_id for c in plan.cautions} <= cited
        assert {limit.source_id for limit in plan.nitrogen.limits} <= cited
        levels = [c.level for c in plan.cautions]
        assert levels == sorted(levels, key=["stop", "warning", "note"].index)


def test_gas_of_a_whole_batch() -> None:
    """Computed: 19 L at 125 g/L of extract give about 570 L of carbon dioxide."""
    plan = ask(original_gravity=1.0481, volume="19 L", volume_is="final")
    (gas,) = (c for c in plan.cautions if c.code == "carbon_dioxide_in_the_room")
    litres = float(gas.text.split()[4])
    assert litres == pytest.approx(570.0, rel=0.02)


def test_what_to_take_beyond_the_limit() -> None:
    text = light(nitrogen={"demand": 2.0}).nitrogen.text
    assert "19.2 g of phosphates" in text
    assert "of autolysed yeast of 4.5 % nitrogen" in text
