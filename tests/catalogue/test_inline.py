from __future__ import annotations

import pytest

from service.catalogue import derived
from service.catalogue.inline import ingredient_from_composition
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Category, FruitFamily
from service.chemistry.acids import meq_per_kg_from_citric_g_per_100g
from service.errors import InputError, OutOfRangeError
from service.physics.solutes import Component


def test_a_row_typed_by_hand_is_the_row() -> None:
    juice = get_ingredient("orange_juice")
    typed = ingredient_from_composition(
        "My juice",
        {component.value: mass for component, mass in juice.composition.items()},
        ta_g_citric_per_100g=0.75,
    )
    assert typed.id == "custom_my_juice"
    assert typed.category is Category.CUSTOM
    assert typed.composition == juice.composition
    assert derived.density_g_ml(typed) == derived.density_g_ml(juice)
    assert derived.titratable_meq_per_kg(typed) == pytest.approx(derived.titratable_meq_per_kg(juice))
    assert derived.juice_equivalent_l_per_kg(typed) == 0.0


def test_water_fills_the_rest() -> None:
    typed = ingredient_from_composition("Syrup", {"glucose": 20.0, "fructose": 20.0, "citric_acid": 1.0})
    assert typed.grams(Component.WATER) == pytest.approx(59.0)
    assert derived.titratable_meq_per_kg(typed) == pytest.approx(meq_per_kg_from_citric_g_per_100g(1.0))
    assert typed.provenance["acid"].mark.startswith("derived")
    assert not typed.bulk_solid


def test_dry_mixture_takes_no_volume() -> None:
    typed = ingredient_from_composition("Drink powder", {"sucrose": 96.0, "citric_acid": 4.0})
    assert typed.bulk_solid
    with pytest.raises(InputError, match="weigh it"):
        derived.density_g_ml(typed)


def test_declared_juice_share() -> None:
    typed = ingredient_from_composition(
        "Nectar", {"sucrose": 12.0}, juice_share_percent=50.0, fruit_family=FruitFamily.CITRUS
    )
    assert derived.juice_equivalent_l_per_kg(typed) * derived.density_g_ml(typed) == pytest.approx(0.5)
    assert typed.is_citrus


def test_spirit_has_no_brix() -> None:
    assert ingredient_from_composition("Liqueur", {"ethanol": 20.0, "sucrose": 30.0}).brix is None


def test_measured_values_work_on_it_too() -> None:
    typed = ingredient_from_composition("Acid water", {"citric_acid": 5.0})
    with pytest.raises(InputError, match="could give way"):
        with_measured(typed, brix=5.0, titratable_acidity_meq_per_kg=900.0)
    assert with_measured(typed, ph=2.2).ingredient.ph is not None


@pytest.mark.parametrize(
    ("composition", "error", "match"),
    [
        ({"sucrose": 60.0, "glucose": 41.0}, InputError, "cannot exceed"),
        ({"sucrose": 60.0, "water": 30.0}, InputError, "missing 10.000 g"),
        ({"sucros": 60.0}, InputError, "Close to it: sucrose"),
        ({"zz/~": 60.0}, InputError, "Known are"),
        ({"sucrose": -1.0}, OutOfRangeError, "not negative"),
        ({"sucrose": float("inf")}, OutOfRangeError, "not negative"),
        ({"ferment_acids": 1.0}, InputError, "titratable acidity"),
    ],
)
def test_refusals(composition: dict[str, float], error: type[InputError], match: str) -> None:
    with pytest.raises(error, match=match):
        ingredient_from_composition("Thing", composition)


def test_refused_figures() -> None:
    with pytest.raises(OutOfRangeError, match="ta_g_citric"):
        ingredient_from_composition("Thing", {"sucrose": 1.0}, ta_g_citric_per_100g=-1.0)
    with pytest.raises(OutOfRangeError, match="pH"):
        ingredient_from_composition("Thing", {"sucrose": 1.0}, ph=20.0)
    with pytest.raises(InputError, match="name"):
        ingredient_from_composition("—", {"sucrose": 1.0})
