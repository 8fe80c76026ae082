"""Finding an ingredient: by id, by a short everyday name, by category or by a word in its text."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from service.catalogue.loader import ingredients
from service.catalogue.records import Category, Ingredient
from service.errors import InputError, UnknownIngredientError

ALIASES: Mapping[str, str] = MappingProxyType(
    {
        "honey": "honey_average",
        "clover_honey": "honey_white_clover",
        "orange_blossom_honey": "honey_orange_blossom",
        "acacia_honey": "honey_acacia",
        "buckwheat_honey": "honey_buckwheat",
        "chestnut_honey": "honey_chestnut",
        "forest_honey": "honeydew_honey",
        "sugar": "sugar_white",
        "sucrose": "sugar_white",
        "table_sugar": "sugar_white",
        "brown_sugar": "sugar_brown",
        "dextrose": "dextrose_monohydrate",
        "glucose": "dextrose_anhydrous",
        "fructose": "fructose_crystalline",
        "invert_sugar": "invert_syrup",
        "orange_juice": "orange_juice_fresh",
        "orange_concentrate": "orange_juice_concentrate_frozen",
        "orange_juice_concentrate": "orange_juice_concentrate_frozen",
        "mandarin_juice": "mandarin_juice_fresh",
        "tangerine_juice": "mandarin_juice_fresh",
        "grapefruit_juice": "grapefruit_juice_fresh",
        "grapefruit_concentrate": "grapefruit_juice_concentrate_frozen",
        "lemon_juice": "lemon_juice_fresh",
        "lemon_concentrate": "lemon_juice_concentrate_400",
        "lemon_juice_concentrate": "lemon_juice_concentrate_400",
        "lime_juice": "lime_juice_fresh",
        "lime_concentrate": "lime_juice_concentrate_400",
        "lime_juice_concentrate": "lime_juice_concentrate_400",
        "lemonade_concentrate": "lemonade_concentrate_frozen",
        "apple_juice": "apple_juice_bottled",
        "apple_concentrate": "apple_juice_concentrate_frozen",
        "apple_juice_concentrate": "apple_juice_concentrate_frozen",
        "grape_juice": "grape_juice_purple",
        "grape_must": "grape_must_vinifera",
        "grape_concentrate": "grape_juice_concentrate_68",
        "grape_juice_concentrate": "grape_juice_concentrate_68",
        "pineapple_concentrate": "pineapple_juice_concentrate_frozen",
        "pineapple_juice_concentrate": "pineapple_juice_concentrate_frozen",
        "cranberry_juice": "cranberry_juice_unsweetened",
        "cranberry_concentrate": "cranberry_juice_concentrate_50",
        "cherry_juice": "cherry_tart_juice",
        "cherry_concentrate": "cherry_tart_juice_concentrate_68",
        "raspberry_concentrate": "raspberry_juice_concentrate_65",
        "pomegranate_concentrate": "pomegranate_juice_concentrate_65",
        "blackcurrant_concentrate": "blackcurrant_juice_concentrate_65",
        "passion_fruit_juice": "passion_fruit_juice_yellow",
        "citric_acid": "citric_acid_anhydrous",
        "lactic_acid": "lactic_acid_88",
        "water": "water_tap",
        "tap_water": "water_tap",
        "distilled_water": "water_deionised",
        "deionised_water": "water_deionised",
        "spirit": "neutral_spirit_40",
        "vodka": "neutral_spirit_40",
        "neutral_spirit": "neutral_spirit_96",
    }
)
"""Short names and the id each one stands for; an answer echoes the id. The choice of row is our default."""

_CLOSE_MATCHES = 5
_SHORTEST = 2
_FEW = 8


def resolve_id(name: str) -> str:
    """The catalogue id that a maker's spelling means: an id, an alias, or either with spaces, capitals or hyphens.

    Parameters: name, text.
    Returns: the id.
    Raises: UnknownIngredientError, naming the closest ids.

    >>> resolve_id("Lemon juice")
    'lemon_juice_fresh'
    """
    key = "_".join(name.strip().lower().replace("-", " ").split())
    if key in ingredients():
        return key
    if key in ALIASES:
        return ALIASES[key]
    if not key:
        raise UnknownIngredientError("No ingredient is named here: write one of the catalogue, such as “honey”.")
    close = close_matches(name)
    if close:
        hint = f" Close to it: {', '.join(close)}."
    else:
        kinds = ", ".join(category.value for category in categories())
        hint = f" It lists kinds, not brands: look under {kinds}. Or describe it by its own composition."
    raise UnknownIngredientError(f"There is no ingredient “{name}” in the catalogue.{hint}")


def get_ingredient(name: str) -> Ingredient:
    """One ingredient by id or alias; its `id` says which row was taken.

    Parameters: name, an id of the table or a key of `ALIASES`.
    Returns: the record.
    Raises: UnknownIngredientError, naming the closest ids.

    >>> get_ingredient("honey").id
    'honey_average'
    """
    return ingredients()[resolve_id(name)]


def close_matches(name: str, limit: int = _CLOSE_MATCHES) -> list[str]:
    """Ids that resemble a text, by their id, their name or an alias, the nearest first.

    >>> close_matches("hony")[0]
    'honey_average'
    """
    text = " ".join(name.strip().lower().replace("_", " ").replace("-", " ").split())
    spellings: dict[str, str] = {}
    for ingredient in ingredients().values():
        spellings.setdefault(ingredient.name.lower(), ingredient.id)
        spellings.setdefault(ingredient.id.replace("_", " "), ingredient.id)
    for alias, target in ALIASES.items():
        spellings.setdefault(alias.replace("_", " "), target)
    near = difflib.get_close_matches(text, spellings, n=4 * limit, cutoff=0.6)
    near += [spelling for spelling in spellings if len(text) > _SHORTEST and text in spelling]
    words = {word for spelling in spellings for word in spelling.split()}
    for word in difflib.get_close_matches(text, words if len(text) > _SHORTEST else (), n=1, cutoff=0.75):
        near += [spelling for spelling in spellings if word in spelling.split()]
    if not near:  # a long name of its own, such as a label's: by its words that few ingredients share
        by_word = [[s for s in spellings if word in s.split()] for word in text.split() if len(word) > _SHORTEST]
        near = [spelling for found in by_word if len(found) <= _FEW for spelling in found]
    return list(dict.fromkeys(spellings[spelling] for spelling in near))[:limit]


def find_ingredients(category: str | None = None, text: str | None = None) -> list[Ingredient]:
    """The ingredients of a category, or whose id, name or aliases hold every word of a text.

    Parameters: category, a value of `Category` or None for all; text, words or None.
    Returns: records in the order of the table.
    Raises: InputError where the category is none.

    >>> [i.id for i in find_ingredients("water")]
    ['water_tap', 'water_deionised']
    >>> [i.id for i in find_ingredients("acid", "tartaric")]
    ['tartaric_acid']
    """
    if category is not None and category not in tuple(Category):
        raise InputError(
            f"There is no category “{category}”; the categories are {', '.join(c.value for c in categories())}.",
            "/category",
        )
    words = (text or "").lower().replace("_", " ").split()
    found = []
    for ingredient in ingredients().values():
        if category is not None and ingredient.category != category:
            continue
        names = [ingredient.id, ingredient.name, *aliases_of(ingredient.id)]
        searched = " ".join(names).lower().replace("_", " ")
        if all(word in searched for word in words):
            found.append(ingredient)
    return found


def aliases_of(ingredient_id: str) -> list[str]:
    """The short names that stand for an id.

    >>> aliases_of("sugar_white")
    ['sugar', 'sucrose', 'table_sugar']
    """
    return [alias for alias, target in ALIASES.items() if target == ingredient_id]


def categories() -> list[Category]:
    """The categories that the table uses, in its order.

    >>> [c.value for c in categories()][:3]
    ['honey', 'sugar', 'juice']
    """
    return list(dict.fromkeys(ingredient.category for ingredient in ingredients().values()))
