"""Whole fruit as the juice it gives, and the fruit that a juice takes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.reading import Reader
from service.api.reading_additions import addition_from
from service.api.requests import AdditionIn, AdditionPoured
from service.catalogue.derived import density_g_ml
from service.catalogue.juice_yield import juice_yields
from service.catalogue.lookup import get_ingredient
from service.errors import InputError, ServiceError
from service.planner.asked import AdditionAsked, Circumstances, Instruments
from service.planner.beliefs import amount_unknown
from service.planner.fruit import fruit_needed, fruit_sources, juice_of_fruit, juice_sd_g
from service.planner.materials import materials_of
from service.planner.span import NORMAL_90

LEMON = juice_yields()["lemon_juice_fresh"]
KINDS = st.sampled_from(sorted(juice_yields()))


def poured(**given: Any) -> AdditionAsked:
    return addition_from(AdditionPoured.model_validate({"ingredient": "lemon_juice_fresh", **given}), Reader())


def planned(**given: Any) -> AdditionAsked:
    return addition_from(AdditionIn.model_validate({"ingredient": "lemon_juice_fresh", **given}), Reader())


def needed(masses: Mapping[str, float], *additions: AdditionAsked) -> Any:
    asked = additions or tuple(AdditionAsked(get_ingredient(name)) for name in masses)
    materials = materials_of((), asked)
    return fruit_needed(materials, [masses[m.name] for m in materials], Circumstances())


def test_three_kilograms_of_lemons() -> None:
    # derived from USDA SR28 NDB 09152 and 09150: 0.36 g of juice per g of whole fruit (0.30 to 0.44)
    asked = poured(fruit="3 kg")
    assert (asked.least_g, asked.most_g) == pytest.approx((1080.0, 1080.0))
    assert asked.fruit is not None
    assert (asked.fruit.juice_low_g, asked.fruit.juice_high_g) == pytest.approx((900.0, 1320.0))
    assert asked.amount_sd_g == pytest.approx(240.0 / NORMAL_90)
    assert "0.36" in asked.assumed[0].value
    assert "09150" in asked.assumed[0].source
    assert "zest and peel" in asked.assumed[0].measure_by


def test_ten_limes() -> None:
    asked = poured(ingredient="lime_juice_fresh", fruit_count=10)
    assert asked.least_g == pytest.approx(440.0)  # USDA SR28 NDB 09160: 44 g a lime
    assert asked.amount_sd_g == pytest.approx(110.0)  # the same, SD 11.0, n = 12
    assert "published" in asked.assumed[0].source


def test_in_a_plan_fruit_is_the_most_that_can_be_used() -> None:
    asked = planned(fruit="3 kg")
    assert (asked.least_g, asked.amount_sd_g) == (0.0, None)
    assert asked.most_g == pytest.approx(1080.0)
    assert planned(fruit_count=12, min="100 g").least_g == 100.0


def test_pressed_juice_overrides_the_yield() -> None:
    lemon = get_ingredient("lemon_juice_fresh")
    asked = poured(fruit="3 kg", pressed="1.1 L")
    assert asked.least_g == pytest.approx(1100.0 * density_g_ml(lemon))
    assert asked.assumed == ()
    assert asked.amount_sd_g == pytest.approx(
        0.25 * 50.0 * density_g_ml(lemon), rel=1e-6
    )  # a quarter of the jug's step
    assert poured(fruit="3 kg", pressed="1 kg ± 20 g").amount_sd_g == pytest.approx(20.0)
    (found,) = needed({"lemon_juice_fresh": 550.0 * density_g_ml(lemon)}, planned(fruit="3 kg", pressed="1.1 L"))
    assert (found.fruit_mass_g, found.low, found.high) == pytest.approx((1500.0, 1500.0, 1500.0))
    assert found.source_id == "reading"


def test_pressed_juice_of_fruit_without_a_known_yield() -> None:
    asked = planned(ingredient="apple_juice_bottled", fruit_count=20, pressed="1 kg")
    (found,) = needed({"apple_juice_bottled": 500.0}, asked)
    assert (found.fruit_mass_g, found.low, found.high, found.fruit_count) == (None, None, None, 10.0)


@settings(max_examples=30)
@given(KINDS, st.floats(1.0, 1e6))
def test_fruit_and_its_juice_there_and_back(kind: str, mass_g: float) -> None:
    juice = juice_of_fruit(juice_yields()[kind], mass_g=mass_g)
    (found,) = needed({kind: juice.juice_g})
    assert found.fruit_mass_g == pytest.approx(mass_g, rel=1e-6, abs=0.06)
    assert found.low <= found.fruit_mass_g <= found.high
    assert juice.juice_low_g <= juice.juice_g <= juice.juice_high_g


@settings(max_examples=30)
@given(KINDS, st.integers(1, 1000))
def test_count_and_its_juice_there_and_back(kind: str, count: int) -> None:
    juice = juice_of_fruit(juice_yields()[kind], count=count)
    (found,) = needed({kind: juice.juice_g})
    assert found.fruit_count == pytest.approx(count, abs=0.06)
    assert juice_sd_g(juice) == pytest.approx(0.25 * juice.juice_g)


def test_fruit_is_told_of_juices_with_a_yield_and_of_no_others() -> None:
    found = needed({"lemon_juice_fresh": 480.0, "orange_juice_concentrate_frozen": 900.0, "lime_juice_fresh": 0.0})
    assert [f.ingredient for f in found] == ["lemon_juice_fresh"]
    assert found[0].fruit_count == 10.0
    assert "10 lemons" in found[0].text
    assert fruit_sources(found) == ("usda_sr28:09152", "usda_sr28:09150")
    assert fruit_sources(()) == ()
    (one,) = needed({"lemon_juice_fresh": 24.0})
    assert "0.5 of one lemon" in one.text


def test_what_is_not_known_of_fruit_is_settled_by_pressing_it() -> None:
    (material,) = materials_of((), [poured(fruit="3 kg")])
    unknown = amount_unknown(material, 1080.0, Instruments())
    assert unknown is not None
    assert "press" in unknown.measure_by
    (material,) = materials_of((), [poured(amount="1 kg")])
    unknown = amount_unknown(material, 1000.0, Instruments())
    assert unknown is not None
    assert "press" not in unknown.measure_by


_PLAN: tuple[tuple[dict[str, Any], str, str], ...] = (
    ({"fruit": "3 kg", "max": "1 kg"}, "/max", "leave max out"),
    ({"fruit": "3 kg", "amount": "1 kg"}, "/amount", "leave amount out"),
    ({"fruit_count": 12, "pack": "1 kg"}, "/pack", "leave pack out"),
    ({"fruit_count": 12, "max_packs": 3}, "/max_packs", "leave max_packs out"),
    ({"fruit": "3 kg", "fruit_count": 12}, "/fruit_count", "one of the two"),
    ({"fruit": "3 L"}, "/fruit", "a mass is needed"),
    ({"fruit": "3 kg ± 0.1 kg"}, "/fruit", "Leave it out here"),
    ({"fruit": "0 kg"}, "/fruit", "more than nothing"),
    ({"fruit": "3 kg", "min": "2 kg"}, "/min", "less than min"),
    ({"pressed": "1 L"}, "/pressed", "write it as amount"),
    ({"fruit": "1 kg", "pressed": "2 kg"}, "/pressed", "exchanged"),
    ({"fruit": "1 kg", "pressed": "0 mL"}, "/pressed", "bove nothing|between"),
    ({"ingredient": "apple_juice_bottled", "fruit": "3 kg"}, "/fruit", "lemon juice, lime juice"),
    ({"ingredient": "apple_juice_bottled", "fruit_count": 3}, "/fruit_count", "not known here"),
    ({"ingredient": "honey_acacia", "fruit": "3 kg", "pressed": "1 kg"}, "/pressed", "not pressed from fruit"),
)


@pytest.mark.parametrize(("given_", "pointer", "words"), _PLAN)
def test_fruit_that_cannot_be_meant_is_refused(given_: dict[str, Any], pointer: str, words: str) -> None:
    with pytest.raises(ServiceError, match=words) as refused:
        planned(**given_)
    assert refused.value.pointer == pointer


def test_a_recipe_needs_an_amount_or_fruit() -> None:
    with pytest.raises(InputError, match="Say how much") as refused:
        poured()
    assert refused.value.pointer == "/amount"
    with pytest.raises(InputError, match="one of the two"):
        juice_of_fruit(LEMON)
    with pytest.raises(InputError, match="one of the two"):
        juice_of_fruit(LEMON, mass_g=1.0, count=1.0)
