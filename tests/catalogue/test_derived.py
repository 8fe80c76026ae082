"""Density, reconstitution, juice equivalents and what else follows from a composition."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest

from service.catalogue import derived
from service.catalogue.loader import ingredients
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Category, Ingredient
from service.errors import InputError
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import Component
from tests.tables import rows

SINGLE_SUGARS = {
    Component.SUCROSE: "sucrose",
    Component.GLUCOSE: "glucose",
    Component.FRUCTOSE: "fructose",
}
MOVED_WATER_G = {
    "lemon_juice_fresh": 0.711,  # SR28 leaves no room for the acid
    "grape_juice_purple": 0.611,  # moved inside the SR28 range so that the row closes
    "cherry_sweet_juice": 0.651,  # raw fruit less insoluble matter
    "water_tap": 0.08,
    "neutral_spirit_40": 0.15,  # row by OIML R 22
}


def usda() -> Mapping[str, Mapping[str, float]]:
    foods: dict[str, dict[str, float]] = {}
    for row in rows("usda_sr28_extract"):
        foods.setdefault(row["ndb"], {})[row["nutrient"]] = float(row["value_per_100g"])
    return foods


USDA = usda()


def reconstituted_g(ingredient: Ingredient, volumes_of_water: float) -> tuple[float, float]:
    """Mass fraction of the ingredient in one volume of it with n volumes of water, and the mass of the whole."""
    density = derived.density_g_ml(ingredient)
    whole = density + volumes_of_water * WATER_G_PER_ML
    return density / whole, whole


@pytest.mark.parametrize(
    ("name", "density_g_ml"),
    [
        ("orange_juice_fresh", 1.0444),
        ("orange_juice_concentrate_frozen", 1.1867),
        ("lemon_juice_concentrate_400", 1.2701),
        ("honey_average", 1.4213),
    ],
)
def test_density_of_a_row(name: str, density_g_ml: float) -> None:
    assert derived.density_g_ml(get_ingredient(name)) == pytest.approx(density_g_ml, abs=5.1e-5)


def test_lactic_acid_88_has_its_trade_density() -> None:
    assert derived.density_g_ml(get_ingredient("lactic_acid_88")) == pytest.approx(1.20, abs=0.005)


def test_every_liquid_has_a_density_and_every_powder_is_refused() -> None:
    for ingredient in ingredients().values():
        if ingredient.bulk_solid:
            with pytest.raises(InputError, match="weigh it"):
                derived.density_g_ml(ingredient)
        else:
            assert 0.8 < derived.density_g_ml(ingredient) < 1.45


@pytest.mark.parametrize("name", [i.id for i in ingredients().values() if i.usda_ndb])
def test_row_agrees_with_the_food_it_cites(name: str) -> None:
    ingredient = get_ingredient(name)
    food = USDA[ingredient.usda_ndb or ""]
    assert ingredient.grams(Component.WATER) == pytest.approx(food["water"], abs=MOVED_WATER_G.get(name, 0.0015))
    if ingredient.minerals.potassium_mg_per_100g is not None:
        assert ingredient.minerals.potassium_mg_per_100g == pytest.approx(food["potassium"], abs=0.5)
    published = ingredient.provenance["composition"].mark == "published"
    if published and "usda_sr28" in ";".join(ingredient.provenance["composition"].sources):
        for component, nutrient in SINGLE_SUGARS.items():
            if nutrient in food:  # honey_table: all non-water components times 0.9965
                assert ingredient.grams(component) == pytest.approx(food[nutrient], rel=0.0036, abs=0.005)


@pytest.mark.parametrize(
    ("name", "ndb"),
    [
        ("apple_juice_concentrate_frozen", "09018"),
        ("grapefruit_juice_concentrate_frozen", "09126"),
        ("pineapple_juice_concentrate_frozen", "09275"),
    ],
)
def test_frozen_concentrate_with_three_volumes_of_water_is_the_usda_diluted_food(name: str, ndb: str) -> None:
    ingredient = get_ingredient(name)
    share, _ = reconstituted_g(ingredient, 3.0)
    water = share * ingredient.grams(Component.WATER) + 100.0 * (1.0 - share)
    assert water == pytest.approx(USDA[ndb]["water"], abs=0.15)
    assert share * (ingredient.minerals.potassium_mg_per_100g or 0.0) == pytest.approx(USDA[ndb]["potassium"], abs=4.0)


def test_orange_concentrate_reconstitutes_to_the_sr26_diluted_food() -> None:
    """SR26, NDB 09215: water 88.1 g, K 190 mg in 100 g."""
    ingredient = get_ingredient("orange_juice_concentrate_frozen")
    share, _ = reconstituted_g(ingredient, 3.0)
    assert share * ingredient.grams(Component.WATER) + 100.0 * (1.0 - share) == pytest.approx(88.1, abs=0.15)
    assert share * (ingredient.minerals.potassium_mg_per_100g or 0.0) == pytest.approx(190.0, abs=4.0)


def test_orange_concentrate_of_41_8_brix_gives_the_standard_of_11_8() -> None:
    lot = with_measured(get_ingredient("orange_concentrate"), brix=41.8).ingredient
    share, _ = reconstituted_g(lot, 3.0)
    assert lot.brix is not None
    assert share * lot.brix.typical == pytest.approx(11.8, abs=0.1)


def test_lemonade_concentrate_meets_its_standard_of_identity() -> None:
    """21 CFR 146.120: diluted, at least 10.5 % solids and 0.70 g citric acid in 100 mL; SR28 14293 has K 15."""
    ingredient = get_ingredient("lemonade_concentrate_frozen")
    share, _ = reconstituted_g(ingredient, 4.333)
    assert ingredient.brix is not None
    assert ingredient.ta_g_citric_per_100g is not None
    assert share * ingredient.brix.typical == pytest.approx(11.12, abs=0.02)
    acid_g_per_100ml = share * ingredient.ta_g_citric_per_100g.typical * derived.diluted_density_g_ml(ingredient, share)
    assert acid_g_per_100ml >= 0.70
    assert share * (ingredient.minerals.potassium_mg_per_100g or 0.0) == pytest.approx(
        USDA["14293"]["potassium"], abs=2
    )


def test_single_strength_litres_of_orange_concentrate() -> None:
    """2.0 L at 41.8 °Bx are 8.03 L of juice by 21 CFR 101.30: 26.8 % of 30 L."""
    lot = with_measured(get_ingredient("orange_concentrate"), brix=41.8).ingredient
    litres = 2.0 * derived.density_g_ml(lot) * derived.juice_equivalent_l_per_kg(lot)
    assert litres == pytest.approx(8.03, abs=0.01)
    assert 100.0 * litres / 30.0 == pytest.approx(26.8, abs=0.05)


def test_single_strength_litres_of_lemon_concentrate() -> None:
    """0.10 L at 400 g/L of acid are 0.87 L by the rounded divisor 46 g/L, 0.86 L by 45 g/kg × 1.030 kg/L."""
    ingredient = get_ingredient("lemon_concentrate")
    litres = 0.10 * derived.density_g_ml(ingredient) * derived.juice_equivalent_l_per_kg(ingredient)
    assert litres == pytest.approx(0.87, abs=0.01)
    assert 100.0 * litres / 30.0 == pytest.approx(2.9, abs=0.05)


def test_pressed_juice_counts_by_volume() -> None:
    ingredient = get_ingredient("lemon_juice")
    litres = 0.75 * derived.density_g_ml(ingredient) * derived.juice_equivalent_l_per_kg(ingredient)
    assert litres == pytest.approx(0.75)


def test_declared_share_holds_at_label_dilution() -> None:
    ingredient = get_ingredient("cranberry_cocktail_concentrate_frozen")
    d = ingredient.ph_sample_mass_fraction or 0.0
    drink_l_per_kg = 1.0 / (d * derived.diluted_density_g_ml(ingredient, d))
    assert derived.juice_equivalent_l_per_kg(ingredient) / drink_l_per_kg == pytest.approx(0.27)
    assert derived.juice_equivalent_l_per_kg(get_ingredient("cranberry_cocktail")) == pytest.approx(0.2563, abs=5e-5)


def test_what_is_no_juice_counts_for_nothing() -> None:
    for ingredient in ingredients().values():
        if ingredient.category not in (Category.JUICE, Category.CONCENTRATE):
            assert derived.juice_equivalent_l_per_kg(ingredient) == 0.0
            assert not ingredient.is_citrus


def test_juice_share_needs_the_figure_of_its_basis() -> None:
    with pytest.raises(InputError, match="no Brix"):
        derived.juice_equivalent_l_per_kg(replace(get_ingredient("orange_concentrate"), brix=None))
    lemon = get_ingredient("lemon_concentrate")
    with pytest.raises(InputError, match="no titratable acidity"):
        derived.juice_equivalent_l_per_kg(replace(lemon, ta_g_citric_per_100g=None))
    weak = replace(lemon, ta_g_citric_per_100g=get_ingredient("orange_juice").ta_g_citric_per_100g)
    with pytest.raises(InputError, match="weaker than juice"):
        derived.juice_equivalent_l_per_kg(weak)
    with pytest.raises(InputError, match="label dilution"):
        derived.juice_equivalent_l_per_kg(replace(get_ingredient("lemonade_concentrate"), ph_sample_mass_fraction=None))
    with pytest.raises(InputError, match="share of"):
        derived.diluted_density_g_ml(lemon, 1.5)


def test_fermentable_sugar_of_honey_has_a_range() -> None:
    spread = derived.fermentable_g_per_100g(get_ingredient("honey"))
    assert (spread.low, spread.typical, spread.high) == pytest.approx((70.8, 74.45, 78.1))


def test_fermentable_sugar_elsewhere_counts_the_disaccharides_whole() -> None:
    spread = derived.fermentable_g_per_100g(get_ingredient("lemonade_concentrate"))
    assert (spread.low, spread.typical, spread.high) == pytest.approx((44.45, 44.45, 44.45))


def test_titratable_acidity() -> None:
    assert derived.titratable_meq_per_kg(get_ingredient("citric_acid")) == pytest.approx(15615, rel=1e-4)
    assert derived.titratable_meq_per_kg(get_ingredient("potassium_bicarbonate")) == pytest.approx(-9988.5, rel=2e-4)
    assert derived.titratable_meq_per_kg(get_ingredient("potassium_carbonate")) == pytest.approx(-14470.8, rel=5e-4)
    assert derived.titratable_meq_per_kg(get_ingredient("calcium_carbonate")) == pytest.approx(-19982.0, rel=5e-4)
    assert derived.titratable_meq_per_kg(get_ingredient("water")) == pytest.approx(-2.0 / 0.998, rel=1e-3)
    assert derived.titratable_meq_per_kg(get_ingredient("sugar")) == 0.0


def test_carbonates_lose_their_carbon_dioxide() -> None:
    losses = {name: derived.gas_lost_g_per_g(i) for name, i in ingredients().items() if derived.gas_lost_g_per_g(i)}
    co2, potassium_salt = 44.010, 100.115
    assert losses.keys() == {"potassium_bicarbonate", "potassium_carbonate", "calcium_carbonate"}
    assert losses["potassium_bicarbonate"] == pytest.approx(co2 / potassium_salt, abs=5e-4)
    assert losses["potassium_carbonate"] == pytest.approx(co2 / 138.205, abs=5e-4)
    assert losses["calcium_carbonate"] == pytest.approx(co2 / 100.087, abs=5e-4)


def test_missing_titrations_are_flagged() -> None:
    flagged = {name for name, i in ingredients().items() if derived.effect_on_acidity_unknown(i)}
    assert flagged == {"sugar_raw_cane", "sugar_brown", "invert_syrup", "agave_syrup", "molasses"}


def test_label_energy_of_honey_differs_from_the_food_tables_own_factor() -> None:
    honey = get_ingredient("honey")
    assert derived.label_energy_kcal_per_100g(honey) == pytest.approx(330.0, abs=2.0)
    assert honey.energy_kcal_per_100g == USDA["19296"]["energy"]
