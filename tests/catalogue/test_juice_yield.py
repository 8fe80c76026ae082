"""Juice of whole fruit beside the figures of USDA SR28 that it is derived from."""

from __future__ import annotations

import pytest

from service.catalogue.juice_yield import SIZE_SD_SHARE, juice_yields
from service.catalogue.loader import ingredients
from service.catalogue.records import Category

# One piece of fruit in USDA SR28: juice [g] of the juice's own record, edible part [g] and refuse [%] of the fruit's.
USDA = {
    "orange_juice_fresh": (86.0, (131.0, 131.0), (27.0, 27.0)),  # NDB 09206, 09200
    "lemon_juice_fresh": (48.0, (58.0, 84.0), (47.0, 47.0)),  # NDB 09152 (n = 70), 09150
    "lime_juice_fresh": (44.0, (67.0, 67.0), (16.0, 16.0)),  # NDB 09160 (n = 12), 09159
    "grapefruit_juice_fresh": (196.0, (246.0, 246.0), (49.0, 51.0)),  # NDB 09128, 09112, 09116
}


@pytest.mark.parametrize("ingredient", USDA)
def test_figures_are_those_of_the_database(ingredient: str) -> None:
    known = juice_yields()[ingredient]
    assert (known.juice_g_per_fruit, known.edible_g, known.refuse_percent) == USDA[ingredient]


# USDA SR28, juice of one piece over its whole mass: 86/(131/0.73), 44/(67/0.84), 196/(246/0.50) g/g (derived)
@pytest.mark.parametrize(
    ("ingredient", "derived"),
    [
        ("orange_juice_fresh", 86.0 / (131.0 / 0.73)),
        ("lime_juice_fresh", 44.0 / (67.0 / 0.84)),
        ("grapefruit_juice_fresh", 196.0 / (246.0 / 0.50)),
    ],
)
def test_a_yield_is_the_juice_of_a_piece_over_its_mass(ingredient: str, derived: float) -> None:
    known = juice_yields()[ingredient]
    assert known.per_whole == pytest.approx(derived, abs=0.005)
    assert known.juice_g_of_one / known.whole_fruit_g == pytest.approx(derived, rel=1e-6)


def test_the_range_of_lemons_is_that_of_their_sizes() -> None:
    lemon = juice_yields()["lemon_juice_fresh"]  # 48/(84/0.53) to 48/(58/0.53) g/g (derived from NDB 09152, 09150)
    assert lemon.per_whole_low == pytest.approx(48.0 / (84.0 / 0.53), abs=0.005)
    assert lemon.per_whole_high == pytest.approx(48.0 / (58.0 / 0.53), abs=0.005)
    assert lemon.juice_g_of_one == pytest.approx(lemon.whole_fruit_g * lemon.per_whole, rel=0.01)


def test_mandarins_by_their_edible_part() -> None:
    mandarin = juice_yields()["mandarin_juice_fresh"]  # USDA SR28 NDB 09218: 88 g, refuse 26 %; juice 0.6 of it, judged
    assert mandarin.whole_fruit_g == pytest.approx(88.0 / 0.74)
    assert mandarin.juice_g_per_fruit is None
    assert mandarin.juice_g_of_one == pytest.approx(0.6 * 88.0, rel=0.02)


def test_the_deviation_of_one_piece_is_that_of_limes() -> None:
    lime = juice_yields()["lime_juice_fresh"]  # USDA SR28 NDB 09160: 44 g, SD 11.0, n = 12
    assert lime.juice_g_per_fruit is not None
    assert lime.juice_sd_g is not None
    assert lime.juice_sd_g / lime.juice_g_per_fruit == SIZE_SD_SHARE


def test_every_yield_is_of_a_juice_that_is_no_concentrate() -> None:
    assert {ingredients()[key].category for key in juice_yields()} == {Category.JUICE}
    assert all(ingredients()[key].is_citrus for key in juice_yields())
