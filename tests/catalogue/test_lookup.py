from __future__ import annotations

import pytest

from service.catalogue.loader import ingredients
from service.catalogue.lookup import ALIASES, aliases_of, close_matches, find_ingredients, get_ingredient, resolve_id
from service.errors import InputError, UnknownIngredientError


def test_every_id_finds_itself() -> None:
    assert all(get_ingredient(key).id == key for key in ingredients())


def test_every_alias_leads_to_a_row_and_hides_none() -> None:
    assert set(ALIASES.values()) <= set(ingredients())
    assert not set(ALIASES) & set(ingredients())


@pytest.mark.parametrize(
    ("name", "ingredient_id"),
    [
        ("honey", "honey_average"),
        ("sugar", "sugar_white"),
        ("water", "water_tap"),
        ("orange_juice", "orange_juice_fresh"),
        ("Orange Juice Concentrate", "orange_juice_concentrate_frozen"),
        (" lemon-juice ", "lemon_juice_fresh"),
        ("citric_acid", "citric_acid_anhydrous"),
        ("spirit", "neutral_spirit_40"),
    ],
)
def test_everyday_names(name: str, ingredient_id: str) -> None:
    assert resolve_id(name) == ingredient_id


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("hony", "honey_average"),
        ("orange_juise", "orange_juice_fresh"),
        ("lemmon concentrate", "lemon_juice_concentrate_400"),
    ],
)
def test_unknown_name_is_told_what_is_close(name: str, expected: str) -> None:
    with pytest.raises(UnknownIngredientError) as caught:
        get_ingredient(name)
    assert expected in caught.value.detail
    assert expected in close_matches(name)


def test_unknown_name_without_any_likeness() -> None:
    with pytest.raises(UnknownIngredientError, match="no ingredient"):
        get_ingredient("xyzzy")
    assert close_matches("") == []


def test_find_by_category_and_text() -> None:
    assert len(find_ingredients()) == 76
    assert len(find_ingredients("honey")) == 10
    assert [i.id for i in find_ingredients("concentrate", "lemon")] == [
        "lemon_juice_concentrate_400",
        "lemonade_concentrate_frozen",
    ]
    assert [i.id for i in find_ingredients(text="tangerine")] == ["mandarin_juice_fresh"]
    assert find_ingredients("salt", "lemon") == []


def test_find_refuses_an_unknown_category() -> None:
    with pytest.raises(InputError, match="categories are honey"):
        find_ingredients("vegetable")


def test_aliases_are_echoed() -> None:
    assert "tangerine_juice" in aliases_of("mandarin_juice_fresh")
