"""Nutrition labels: what is poured back together has the label's figures, whatever the can."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from service.catalogue import derived
from service.catalogue.acidity import acids_per_kg
from service.catalogue.inline import ingredient_from_composition
from service.catalogue.label import Label, dilution_from_text, label_assumptions, with_label
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Ingredient, JuiceBasis
from service.chemistry.acids import meq_per_kg_from_citric_g_per_100g
from service.chemistry.charge_balance import titratable_meq_per_l
from service.errors import InconsistentError, InputError, OutOfRangeError, QuantityError
from service.model.contents import Contents, contents_per_g
from service.model.properties import property_value
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import SUGARS, Component
from tests.tables import rows


def poured(can: Ingredient, parts: tuple[float, float]) -> Contents:
    """A litres of can and b litres of water, poured by mass: the model's own mixture."""
    can_ml, water_ml = (1000.0 * part for part in parts)
    return (
        contents_per_g(can)
        .scaled(can_ml * derived.density_g_ml(can))
        .plus(Contents.of({Component.WATER: water_ml * WATER_G_PER_ML}))
    )


def read(name: str, drink: Contents) -> float:
    value = property_value(name, drink, drink.volume_ml / 1000.0)
    assert value is not None
    return value


ORANGE = Label(250.0, 26.0, 100.0, (1.0, 3.0))

LABELS = [
    ("orange_concentrate", ORANGE),
    ("orange_juice_concentrate_65", Label(200.0, 18.0, 100.0, (1.0, 6.0))),
    ("apple_concentrate", Label(240.0, 26.0, 100.0, (1.0, 3.0))),
    ("lemonade_concentrate", Label(240.0, 26.0, 12.0, (1.0, 4.333))),
    ("cranberry_cocktail_concentrate_frozen", Label(240.0, 33.0, 27.0, (1.0, 3.0))),
    ("lemon_concentrate", Label(100.0, 3.0, 100.0, (1.0, 6.0))),
    ("grape_juice", Label(240.0, 36.0, 100.0, (1.0, 0.0))),
    ("honey", Label(15.0, 17.0, None, None)),
    ("invert_syrup", Label(30.0, 25.0, 0.0, None)),
]


@pytest.mark.parametrize(("name", "label"), LABELS)
def test_the_prepared_drink_has_the_labels_figures(name: str, label: Label) -> None:
    lot = with_label(get_ingredient(name), label)
    drink = poured(lot.ingredient, label.parts)
    assert read("sugar_g_per_l", drink) == pytest.approx(1000.0 * label.sugar_g / label.serving_ml, rel=1e-6)
    if label.juice_percent is not None:
        assert read("juice_percent", drink) == pytest.approx(label.juice_percent, rel=1e-6, abs=1e-9)
    assert sum(lot.ingredient.composition.values()) == pytest.approx(100.0, abs=1e-9)
    assert lot.changed[0] == "label"


@pytest.mark.parametrize(("name", "label"), LABELS)
def test_sugars_and_other_solids_keep_the_rows_ratios(name: str, label: Label) -> None:
    row = get_ingredient(name)
    lot = with_label(row, label)
    for component, mass in row.composition.items():
        if component is not Component.WATER:
            assert lot.ingredient.grams(component) == pytest.approx(lot.solids_factor * mass, rel=1e-9)
    assert row.brix is not None
    same = with_measured(row, brix=lot.solids_factor * row.brix.typical)
    assert same.ingredient.composition == lot.ingredient.composition
    assert same.ingredient.acids == lot.ingredient.acids


def test_frozen_concentrate_by_label_is_what_the_usda_measured_after_dilution() -> None:
    """USDA SR28, NDB 09018, apple juice from concentrate with three volumes of water: 87.9 g water in 100 g.

    A serving of 240 mL (248 g) with its 10.93 g of sugars in 100 g, rounded as a label: 27 g.
    """
    (water,) = (
        float(r["value_per_100g"]) for r in rows("usda_sr28_extract") if (r["ndb"], r["nutrient"]) == ("09018", "water")
    )
    label = Label(240.0, 27.0, 100.0, (1.0, 3.0))
    drink = poured(with_label(get_ingredient("apple_concentrate"), label).ingredient, label.parts)
    found = 100.0 * drink.masses_g[Component.WATER] / drink.mass_g
    # The row has 10.00 g of measured sugar at this dilution where the USDA imputes 10.93: on 12.2 g of solids 1.1 g.
    assert found == pytest.approx(water - 12.2 * (10.93 / 10.00 - 1.0), abs=0.15)


def test_honey_by_the_spoon() -> None:
    """USDA SR28, NDB 19296: 82.12 g of sugars in 100 g and a tablespoon of 21 g, so 17 g in 14.79 mL (NIST HB 44)."""
    assert round(0.21 * 82.12) == 17
    label = Label(14.79, 17.0)
    lot = with_label(get_ingredient("honey"), label).ingredient
    row = get_ingredient("honey")
    assert lot.brix is not None
    assert row.brix is not None
    assert lot.brix.typical == pytest.approx(row.brix.typical, rel=label.rounding)


def test_declared_juice_replaces_the_reckoning_from_brix_and_its_absence_does_not() -> None:
    row = get_ingredient("orange_concentrate")
    by_brix = with_label(row, replace(ORANGE, juice_percent=None)).ingredient
    assert by_brix.juice_basis is JuiceBasis.BRIX
    declared = with_label(row, ORANGE)
    assert declared.changed[-1] == "juice_share"
    can_l_of_juice = derived.juice_equivalent_l_per_kg(declared.ingredient) * derived.density_g_ml(declared.ingredient)
    # percent × (a + b)/a but for the contraction of mixing, which is small; by the Brix of the can it is more.
    assert can_l_of_juice == pytest.approx(4.0, rel=0.002)
    assert derived.juice_equivalent_l_per_kg(by_brix) > 1.05 * derived.juice_equivalent_l_per_kg(declared.ingredient)
    half = with_label(row, replace(ORANGE, juice_percent=50.0)).ingredient
    assert derived.juice_equivalent_l_per_kg(half) == pytest.approx(
        0.5 * derived.juice_equivalent_l_per_kg(declared.ingredient), rel=1e-12
    )
    none = with_label(row, replace(ORANGE, juice_percent=0.0)).ingredient
    assert derived.juice_equivalent_l_per_kg(none) == 0.0


def test_citrus_stays_citrus_and_an_ingredient_of_the_callers_may_be_juice() -> None:
    label = Label(250.0, 26.0, 100.0, (1.0, 3.0))
    drink = poured(with_label(get_ingredient("orange_concentrate"), label).ingredient, label.parts)
    assert read("citrus_percent", drink) == pytest.approx(100.0, rel=1e-6)
    own = ingredient_from_composition("Squash", {"sucrose": 35.0, "citric_acid": 2.0})
    label = Label(200.0, 16.0, 8.0, (1.0, 4.0))
    drink = poured(with_label(own, label).ingredient, label.parts)
    assert read("sugar_g_per_l", drink) == pytest.approx(80.0, rel=1e-6)
    assert read("juice_percent", drink) == pytest.approx(8.0, rel=1e-6)


@pytest.mark.parametrize(
    ("name", "label", "readings"),
    [
        ("lemon_juice", Label(100.0, 2.5, 100.0), {"titratable_acidity_meq_per_kg": 800.0}),
        ("lemon_juice", Label(100.0, 2.5, 100.0), {"titratable_acidity_meq_per_l": 700.0, "end_point_ph": 7.0}),
        ("orange_concentrate", ORANGE, {"titratable_acidity_meq_per_kg": 430.0, "ph": 3.8}),
        ("orange_concentrate", ORANGE, {"titratable_acidity_meq_per_l": 560.0}),
    ],
)
def test_an_acidity_may_be_measured_besides(name: str, label: Label, readings: dict[str, Any]) -> None:
    lot = with_label(get_ingredient(name), label, **readings)
    drink = poured(lot.ingredient, label.parts)
    assert read("sugar_g_per_l", drink) == pytest.approx(1000.0 * label.sugar_g / label.serving_ml, rel=1e-6)
    assert read("juice_percent", drink) == pytest.approx(100.0, rel=1e-6)
    assert "titratable_acidity" in lot.changed
    if "titratable_acidity_meq_per_kg" in readings:
        assert lot.ingredient.ta_g_citric_per_100g is not None
        assert meq_per_kg_from_citric_g_per_100g(lot.ingredient.ta_g_citric_per_100g.typical) == pytest.approx(
            readings["titratable_acidity_meq_per_kg"]
        )
    if "end_point_ph" in readings:  # a litre of the can takes to pH 7.0 what was read
        litre = acids_per_kg(lot.ingredient).state.scaled(derived.density_g_ml(lot.ingredient))
        assert titratable_meq_per_l(litre, 7.0) == pytest.approx(700.0, rel=2e-3)


def test_the_spread_of_the_brix_is_the_labels_rounding() -> None:
    lot = with_label(get_ingredient("orange_concentrate"), ORANGE).ingredient
    assert lot.brix is not None
    assert lot.brix.sd is not None
    # A rounding error is uniform: half width over √3 is one standard deviation.
    assert lot.brix.sd == pytest.approx(lot.brix.typical * (0.5 / 26.0) / 3.0**0.5)
    low, high = (
        with_label(get_ingredient("orange_concentrate"), replace(ORANGE, sugar_g=sugar)).ingredient.brix
        for sugar in (25.5, 26.5)
    )
    assert low is not None
    assert high is not None
    assert low.typical < lot.brix.typical - lot.brix.sd
    assert high.typical > lot.brix.typical + lot.brix.sd
    assert lot.provenance["measured"].mark.startswith("nutrition label")


@pytest.mark.parametrize(
    ("sugar_g", "words"),
    [(26.0, "rounded to 1 g: ± 2 %"), (8.9, "rounded to 0.1 g: ± 0.6 %"), (1.0, "rounded to 1 g: ± 50 %")],
)
def test_rounding_is_told(sugar_g: float, words: str) -> None:
    assert words in label_assumptions(Label(250.0, sugar_g))[0][1]


def test_a_coarse_label_and_one_that_does_not_fit_its_row_get_cautions() -> None:
    lemon = with_label(get_ingredient("lemon_juice"), Label(100.0, 3.0))
    assert "label_sugar_coarse" in dict(lemon.cautions)
    sweetened = with_label(get_ingredient("orange_concentrate"), replace(ORANGE, juice_percent=30.0))
    assert "sugar was probably added" in dict(sweetened.cautions)["label_juice_and_sugar_differ"]
    thin = with_label(get_ingredient("orange_concentrate"), replace(ORANGE, sugar_g=18.0))
    assert "check the dilution" in dict(thin.cautions)["label_juice_and_sugar_differ"]
    assert (
        not {"label_sugar_coarse", "label_juice_and_sugar_differ"}
        & dict(with_label(get_ingredient("orange_concentrate"), ORANGE).cautions).keys()
    )


@pytest.mark.parametrize(
    ("text", "parts"), [("1+3", (1.0, 3.0)), (" 1 + 4.33 ", (1.0, 4.33)), ("2+5", (2.0, 5.0)), ("1+0", (1.0, 0.0))]
)
def test_dilutions_are_read(text: str, parts: tuple[float, float]) -> None:
    assert dilution_from_text(text) == parts


@pytest.mark.parametrize("text", ["1:3", "3", "", "1+", "1 to 3", "-1+3", "0+3", "1+1e9", "1+99999", "١+٣ + "])
def test_other_texts_are_no_dilution(text: str) -> None:
    with pytest.raises((QuantityError, OutOfRangeError), match=r"like 1\+3") as caught:
        dilution_from_text(text)
    assert caught.value.pointer == "/label/diluted"


def test_as_sold_is_written_in_two_ways() -> None:
    row = get_ingredient("grape_juice")
    assert with_label(row, Label(240.0, 36.0, 100.0, (1.0, 0.0))) == with_label(row, Label(240.0, 36.0, 100.0))


@pytest.mark.parametrize(
    ("name", "label", "error", "match", "pointer"),
    [
        ("orange_concentrate", Label(250.0, 99.0, 100.0, (1.0, 3.0)), OutOfRangeError, "any syrup", "/label/sugar_g"),
        ("orange_concentrate", replace(ORANGE, sugar_g=-1.0), OutOfRangeError, "not negative", "/label/sugar_g"),
        ("orange_concentrate", replace(ORANGE, sugar_g=float("nan")), OutOfRangeError, "negative", "/label/sugar_g"),
        ("orange_concentrate", replace(ORANGE, sugar_g=0.0), InputError, "give its Brix", "/label/sugar_g"),
        ("orange_concentrate", replace(ORANGE, serving_ml=0.0), OutOfRangeError, "serving", "/label/serving"),
        (
            "orange_concentrate",
            replace(ORANGE, juice_percent=101.0),
            OutOfRangeError,
            "0 to 100",
            "/label/juice_percent",
        ),
        (
            "orange_concentrate",
            replace(ORANGE, juice_percent=-1.0),
            OutOfRangeError,
            "0 to 100",
            "/label/juice_percent",
        ),
        ("orange_concentrate", replace(ORANGE, dilution=(0.0, 3.0)), OutOfRangeError, "part of can", "/label/diluted"),
        ("orange_concentrate", replace(ORANGE, dilution=(1.0, -1.0)), OutOfRangeError, "part of", "/label/diluted"),
        ("orange_concentrate", Label(250.0, 26.0, 100.0), InconsistentError, "give the dilution", "/label/diluted"),
        (
            "orange_concentrate",
            replace(ORANGE, sugar_g=20.0, dilution=(1.0, 0.0)),
            InconsistentError,
            "weaker than single",
            "/label/sugar_g",
        ),
        ("honey", Label(15.0, 17.0, 10.0), InputError, "no juice", "/label/juice_percent"),
        ("sugar", Label(15.0, 12.0), InputError, "dry solid", "/label"),
        ("spirit", Label(100.0, 5.0), InputError, "no Brix", "/label/sugar_g"),
        ("lactic_acid", Label(100.0, 5.0), InputError, "no sugar", "/label/sugar_g"),
    ],
)
def test_impossible_labels_are_refused_in_words(
    name: str, label: Label, error: type[InputError], match: str, pointer: str
) -> None:
    with pytest.raises(error, match=match) as caught:
        with_label(get_ingredient(name), label)
    assert caught.value.pointer == pointer


def test_more_sucrose_than_dissolves_is_refused() -> None:
    """Saturation 66.7 % at 20 °C (from memory, unverified): a plain syrup ends at about 885 g/L, by ICUMSA SPS-4."""
    syrup = ingredient_from_composition("Plain syrup", {"sucrose": 60.0})
    assert with_label(syrup, Label(20.0, 17.0)).ingredient.grams(Component.SUCROSE) < 66.7
    with pytest.raises(OutOfRangeError, match="dissolves at most") as caught:
        with_label(syrup, Label(20.0, 19.0))
    assert caught.value.pointer == "/label/sugar_g"


def test_sugar_and_acidity_that_no_can_has_are_refused() -> None:
    with pytest.raises(InconsistentError) as caught:
        with_label(get_ingredient("lemon_juice"), Label(100.0, 1.0), titratable_acidity_meq_per_kg=9000.0)
    assert caught.value.pointer in ("/label/sugar_g", "/titratable_acidity")


def test_every_sugar_counts() -> None:
    label = Label(15.0, 17.0)
    honey = with_label(get_ingredient("honey"), label).ingredient
    sugar = sum(honey.grams(component) for component in SUGARS) / 100.0 * derived.density_g_ml(honey)
    assert 15.0 * sugar == pytest.approx(17.0, rel=1e-9)
