"""Properties and contents against sums small enough to do by hand."""

from __future__ import annotations

import math

import pytest

from service.catalogue.lookup import get_ingredient
from service.chemistry.acid_state import AcidState
from service.chemistry.weak_acids import WeakAcid
from service.model.acidity import chemistry_of
from service.model.contents import COMPONENTS, NOTHING, Contents, contents_per_g, together, weights
from service.model.properties import PROPERTIES, SWEETNESS_HIGH, SWEETNESS_LOW, Of, dot, property_value
from service.physics.solutes import Component
from tests.oracle.liquids import COMPONENTS as ON_PAPER
from tests.oracle.liquids import ETHANOL_KG_M3, binary_sum_volume_ml

ACID_MEQ_PER_G = 1000.0 / 64.04


def paper_volume_l(masses: dict[Component, float]) -> float:
    """The volume by the paper calculation, whose components carry their names in the tables."""
    grams = dict.fromkeys(ON_PAPER, 0.0)
    for component, mass in masses.items():
        grams[component.value] += mass
    return binary_sum_volume_ml(tuple(grams.values())) / 1000.0


def drink(sugar_g_per_l: float, acid_g: float, abv: float) -> Contents:
    """A litre that holds so much sucrose, citric acid and alcohol, the water found on paper."""
    solids = {
        Component.SUCROSE: sugar_g_per_l,
        Component.CITRIC: acid_g,
        Component.ETHANOL: abv / 100.0 * ETHANOL_KG_M3,
    }
    low, high = 0.0, 1000.0
    for _ in range(60):
        water = 0.5 * (low + high)
        low, high = (water, high) if paper_volume_l({**solids, Component.WATER: water}) < 1.0 else (low, water)
    return Contents.of(
        {**solids, Component.WATER: water},
        acids=AcidState.of({WeakAcid.CITRIC: acid_g * ACID_MEQ_PER_G / 3.0}),
        fermentable_g=sugar_g_per_l,
    )


def value(name: str, contents: Contents) -> float:
    found = property_value(name, contents, contents.volume_ml / 1000.0)
    assert found is not None
    return found


def test_the_worked_drink_of_88_g_of_sugar_at_6_percent() -> None:
    # Computed with ICUMSA SPS-4 and OIML R 22: 87.9 g/L sugar (29 g in 330 mL) and 0.55 % acid by mass at 6 % vol
    # are 9.12 °Bx and SG 1.0277. A litre weighs 1.0258 kg and so holds 5.64 g of acid.
    litre = drink(87.9, 5.642, 6.0)
    assert value("volume", litre) == pytest.approx(1.0, abs=1e-6)
    assert value("brix", litre) == pytest.approx(9.12, abs=0.005)
    assert value("gravity", litre) == pytest.approx(1.0277, abs=5e-5)
    assert value("abv_percent", litre) == pytest.approx(6.0, abs=1e-4)
    assert value("titratable_acidity", litre) == pytest.approx(5.642 * 75.04 / 64.04, rel=2e-3)  # 2.996 of 3 hydrogens
    assert value("sugar_g_per_l", litre) == pytest.approx(87.9, rel=1e-5)
    assert value("fermentable_sugar_g_per_l", litre) == pytest.approx(87.9, rel=1e-5)
    assert value("extract_g_per_l", litre) == pytest.approx(93.542, rel=1e-5)
    assert value("sugar_acid_ratio", litre) == pytest.approx(9.12 / 0.55, abs=0.03)


def test_the_sugar_acid_ratio_is_brix_over_percent_by_mass() -> None:
    litre = drink(60.0, 5.5, 6.0)
    acid_percent_by_mass = 100.0 * 5.5 / litre.mass_g
    assert value("sugar_acid_ratio", litre) == pytest.approx(value("brix", litre) / acid_percent_by_mass, rel=2e-3)
    assert property_value("sugar_acid_ratio", drink(50.0, 0.0, 6.0), 1.0) is None


@pytest.mark.parametrize(
    ("abv", "sugar", "acid", "serving_l", "kcal"), [(5.5, 88.0, 5.5, 0.33, 222.0), (7.0, 60.0, 5.0, 0.5, 321.0)]
)
def test_energy_of_the_worked_drinks(abv: float, sugar: float, acid: float, serving_l: float, kcal: float) -> None:
    # E = 7·ABV·7.8924 + 4·sugar + 3·acid (kcal/L), factors of Regulation (EU) No 1169/2011, Annex XIV.
    litre = drink(sugar, acid, abv)
    found = value("energy_kcal_per_100ml", litre)
    assert found == pytest.approx((7.0 * abv * 7.8924 + 4.0 * sugar + 3.0 * acid) / 10.0, rel=1e-4)
    assert 10.0 * found * serving_l == pytest.approx(kcal, abs=0.6)


def test_sweetness_lies_in_its_published_band() -> None:
    honey = contents_per_g(get_ingredient("honey_average")).scaled(100.0)
    litre = honey.plus(Contents.of({Component.WATER: 900.0}))
    volume_l = litre.volume_ml / 1000.0
    sweetness = value("sucrose_equivalent_g_per_l", litre)
    assert dot(SWEETNESS_LOW, litre) / volume_l < sweetness < dot(SWEETNESS_HIGH, litre) / volume_l
    sucrose = Contents.of({Component.WATER: 900.0, Component.SUCROSE: 100.0})
    assert dot(SWEETNESS_LOW, sucrose) == dot(SWEETNESS_HIGH, sucrose) == pytest.approx(100.0)


def test_juice_counts_by_volume_as_expressed_and_by_brix_as_concentrate() -> None:
    # 21 CFR 101.30, computed: 2.0 L orange concentrate of 41.8 °Bx are 8.03 L of single strength; 41.95 here.
    base = Contents.of({Component.WATER: 26_000.0})
    concentrate = contents_per_g(get_ingredient("orange_juice_concentrate_frozen")).scaled(2373.4)
    mixed = base.plus(concentrate)
    litres = mixed.tally("citrus_juice_ml") / 1000.0
    assert litres == pytest.approx(8.03 * 41.95 / 41.8, abs=0.03)
    assert value("citrus_percent", mixed) == pytest.approx(100.0 * litres / (mixed.volume_ml / 1000.0))
    lemon = contents_per_g(get_ingredient("lemon_juice_fresh"))
    pressed = lemon.scaled(1000.0)
    assert value("juice_percent", pressed) == pytest.approx(100.0, abs=1e-6)
    apple = contents_per_g(get_ingredient("apple_juice_bottled")).scaled(1000.0)
    assert value("juice_percent", apple) == pytest.approx(100.0, abs=1e-6)
    assert value("citrus_percent", apple) == 0.0


def test_contents_add_up_and_scale() -> None:
    one, two = drink(60.0, 5.0, 6.0), drink(10.0, 7.0, 9.0)
    both = together([one, two], [1.0, 1.0])
    assert both.vector == pytest.approx([a + b for a, b in zip(one.vector, two.vector, strict=True)])
    assert both.mass_g == pytest.approx(one.mass_g + two.mass_g)
    assert one.scaled(3.0).volume_ml == pytest.approx(3.0 * one.volume_ml)
    assert both.volume_ml < one.volume_ml + two.volume_ml + 5.0
    assert together([], []) == NOTHING
    assert set(one.masses_g) <= set(COMPONENTS)
    assert one.acids.mmol(WeakAcid.CITRIC) == pytest.approx(5.0 * ACID_MEQ_PER_G / 3.0)
    assert chemistry_of(one).titratable_meq_per_l == pytest.approx(5.0 * ACID_MEQ_PER_G, rel=2e-3)
    assert dot(weights({Component.WATER: 1.0}, {"juice_ml": 2.0}), one) == pytest.approx(one.masses_g[Component.WATER])


def test_the_volume_is_that_of_the_paper_calculation() -> None:
    for litre in (drink(60.0, 5.0, 6.0), drink(150.0, 9.0, 14.0), drink(0.0, 0.0, 40.0)):
        assert litre.volume_ml / 1000.0 == pytest.approx(paper_volume_l(litre.masses_g), rel=2e-6)


def test_a_gram_of_every_ingredient_weighs_a_gram() -> None:
    for name in ("honey_average", "lemon_juice_fresh", "citric_acid_monohydrate", "neutral_spirit_96", "water_tap"):
        assert contents_per_g(get_ingredient(name)).mass_g == pytest.approx(1.0, abs=1e-4), name
    gram = contents_per_g(get_ingredient("potassium_bicarbonate"))
    assert gram.mass_g == pytest.approx(1.0 - 44.01 / 100.115, abs=1e-3)
    assert gram.acids.sid_meq == pytest.approx(1000.0 / 100.115, rel=1e-3)
    assert contents_per_g(get_ingredient("honey_average")).tally("fermentable_g") < 0.8


def test_tolerances_are_those_of_the_instruments() -> None:
    absolute = {"gravity": 0.0005, "abv_percent": 0.05, "titratable_acidity": 0.1, "ph": 0.03}
    for name, within in absolute.items():
        assert PROPERTIES[name].tolerance(5.0) == within
    assert PROPERTIES["volume"].tolerance(20.0) == pytest.approx(0.1)
    for name, law in PROPERTIES.items():
        if name not in (*absolute, "volume"):
            assert law.tolerance(50.0) == pytest.approx(0.5), name
        assert law.step(0.0) > 0.0
        assert law.meaning
        assert math.isfinite(sum(law.weights))
        if law.of is not Of.CONTENTS:
            assert not any(law.weights)
