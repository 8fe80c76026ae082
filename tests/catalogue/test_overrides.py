"""Measured values replace the table's: worked rows, round trips, and refusals."""

from __future__ import annotations

from typing import Any, NamedTuple

import pytest

from service.catalogue import derived
from service.catalogue.acidity import acids_per_kg
from service.catalogue.loader import ingredients
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import Measured, with_measured
from service.chemistry.acids import Acid, meq_per_kg_from_citric_g_per_100g, meq_per_l_from_acid_g_per_l
from service.chemistry.charge_balance import ph_of, titratable_meq_per_l
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.physics.solutes import Component


class Golden(NamedTuple):
    name: str
    sid_meq_per_kg: float
    brix: float | None
    ta_g_citric_per_100g: float | None
    f: float
    q: float
    h: float
    water: float
    sucrose: float
    glucose: float
    fructose: float
    citric: float
    malic: float
    potassium: float
    density: float


# Mass balances worked by hand; the strong ion differences are inferred from each row's pH and acidity.
GOLDEN = [
    Golden(
        "orange_juice_fresh",
        59.4,
        12.6,
        None,
        1.09565,
        1.0,
        1.0,
        87.181,
        4.383,
        2.410,
        2.630,
        0.986,
        0.164,
        219.1,
        1.0490,
    ),
    Golden(
        "orange_juice_fresh",
        59.4,
        12.6,
        0.95,
        1.09565,
        1.1102,
        0.9865,
        87.181,
        4.324,
        2.378,
        2.594,
        1.095,
        0.182,
        219.1,
        1.0490,
    ),
    Golden(
        "orange_juice_fresh",
        59.4,
        None,
        0.95,
        1.0,
        1.1883,
        1.0,
        88.102,
        4.000,
        2.200,
        2.400,
        1.069,
        0.178,
        200.0,
        1.0452,
    ),
    Golden(
        "lemon_juice_fresh",
        32.4,
        8.6,
        5.2,
        1.05392,
        1.0699,
        0.8668,
        91.147,
        0.393,
        0.904,
        1.005,
        5.131,
        0.282,
        108.6,
        1.0333,
    ),
    Golden(
        "orange_juice_concentrate_frozen",
        226.1,
        44.3,
        3.0,
        1.05602,
        1.0362,
        0.9957,
        55.489,
        17.475,
        7.392,
        8.485,
        3.545,
        0.591,
        711.8,
        1.1990,
    ),
]


def measured_as(golden: Golden) -> Measured:
    ta = golden.ta_g_citric_per_100g
    return with_measured(
        get_ingredient(golden.name),
        brix=golden.brix,
        titratable_acidity_meq_per_kg=None if ta is None else meq_per_kg_from_citric_g_per_100g(ta),
    )


@pytest.mark.parametrize("golden", GOLDEN)
def test_worked_rows(golden: Golden) -> None:
    lot = measured_as(golden)
    assert lot.solids_factor == pytest.approx(golden.f, abs=5.1e-6)
    assert lot.acid_factor == pytest.approx(golden.q, abs=5.1e-5)
    assert lot.sugar_factor == pytest.approx(golden.h, abs=5.1e-5)
    grams = lot.ingredient.grams
    for component, mass in (
        (Component.WATER, golden.water),
        (Component.SUCROSE, golden.sucrose),
        (Component.GLUCOSE, golden.glucose),
        (Component.FRUCTOSE, golden.fructose),
        (Component.CITRIC, golden.citric),
        (Component.MALIC, golden.malic),
    ):
        assert grams(component) == pytest.approx(mass, abs=5.1e-4)
    assert lot.ingredient.minerals.potassium_mg_per_100g == pytest.approx(golden.potassium, abs=0.051)
    assert derived.density_g_ml(lot.ingredient) == pytest.approx(golden.density, abs=5.1e-5)
    assert sum(lot.ingredient.composition.values()) == pytest.approx(100.0, abs=1e-9)
    if golden.ta_g_citric_per_100g is not None:
        assert lot.ingredient.ta_g_citric_per_100g is not None
        assert lot.ingredient.ta_g_citric_per_100g.typical == pytest.approx(golden.ta_g_citric_per_100g)


PH_OF_MEASURED = {
    ("orange_juice_fresh", 12.6): 3.56,
    ("orange_juice_fresh", None): 3.48,
    ("lemon_juice_fresh", 8.6): 2.27,
    ("orange_juice_concentrate_frozen", 44.3): 3.70,
}
"""pH that a charge balance written apart from this project gives these lots at single strength (computed)."""


@pytest.mark.parametrize("golden", [g for g in GOLDEN if g.ta_g_citric_per_100g is not None])
def test_a_measured_lot_titrates_as_measured_and_its_ph_follows(golden: Golden) -> None:
    lot = measured_as(golden).ingredient
    share = lot.ph_sample_mass_fraction
    assert share is not None
    litre = acids_per_kg(lot).state.scaled(share * derived.diluted_density_g_ml(lot, share))
    assert titratable_meq_per_l(litre) == pytest.approx(
        derived.titratable_meq_per_kg(lot) * share * derived.diluted_density_g_ml(lot, share), rel=1e-6
    )
    assert ph_of(litre) == pytest.approx(PH_OF_MEASURED[golden.name, golden.brix], abs=0.006)
    assert acids_per_kg(lot).state.sid_meq == pytest.approx(golden.sid_meq_per_kg * golden.f, rel=0.003)


def test_honey_by_moisture() -> None:
    lot = with_measured(get_ingredient("honey"), moisture_percent=18.6)
    assert lot.solids_factor == pytest.approx(0.98309, abs=5e-6)
    expected = {
        Component.WATER: 18.600,
        Component.SUCROSE: 1.278,
        Component.GLUCOSE: 30.771,
        Component.FRUCTOSE: 37.554,
        Component.DISACCHARIDES: 7.177,
        Component.HIGHER_SUGARS: 1.475,
        Component.GLUCONIC: 0.560,
    }
    for component, mass in expected.items():
        assert lot.ingredient.grams(component) == pytest.approx(mass, abs=5.1e-4)
    assert lot.ingredient.minerals.potassium_mg_per_100g == pytest.approx(51.1, abs=0.05)
    assert derived.density_g_ml(lot.ingredient) == pytest.approx(1.4123, abs=5e-5)
    assert lot.ingredient.brix is not None
    assert lot.ingredient.brix.sd == 0.3
    assert lot.cautions == ()


@pytest.mark.parametrize(
    ("readings", "moisture"),
    [
        ({"refractive_index": 1.4940}, 17.0),  # Chataway's table
        ({"refractive_index": 1.4940, "refractive_index_temperature_c": 30.0}, 16.1),
        ({"brix": 81.5, "brix_is_refractometer_reading": True}, 17.0),
        ({"brix": 83.0}, 17.0),
    ],
)
def test_honey_by_other_scales(readings: dict[str, Any], moisture: float) -> None:
    lot = with_measured(get_ingredient("honey"), **readings)
    assert lot.ingredient.grams(Component.WATER) == pytest.approx(moisture, abs=0.03)


def test_wet_honey_gets_a_caution() -> None:
    codes = dict(with_measured(get_ingredient("honey"), moisture_percent=23.5).cautions)
    assert codes.keys() == {"honey_moisture_above_limit", "brix_outside_row"}


@pytest.mark.parametrize("name", ["orange_juice_fresh", "honey_average", "lemon_juice_concentrate_400", "mango_puree"])
def test_density_and_brix_are_each_others_inverse(name: str) -> None:
    ingredient = get_ingredient(name)
    assert ingredient.brix is not None
    lot = with_measured(ingredient, brix=ingredient.brix.typical * 1.03).ingredient
    back = with_measured(ingredient, density_g_ml=derived.density_g_ml(lot))
    assert back.solids_factor == pytest.approx(1.03, abs=1e-9)
    assert back.ingredient.brix is not None
    assert back.ingredient.brix.sd == 0.2


@pytest.mark.parametrize("name", [i.id for i in ingredients().values() if i.brix and i.category not in ("water",)])
def test_the_tables_own_figures_change_nothing(name: str) -> None:
    ingredient = get_ingredient(name)
    assert ingredient.brix is not None
    lot = with_measured(ingredient, brix=ingredient.brix.typical)
    assert lot.solids_factor == 1.0
    for component, mass in ingredient.composition.items():
        assert lot.ingredient.grams(component) == pytest.approx(mass, abs=0.006)
    assert with_measured(ingredient).ingredient == ingredient


def test_refractometer_reading_of_lemon_is_raised_for_its_acid() -> None:
    lot = with_measured(get_ingredient("lemon_juice"), brix=7.24, brix_is_refractometer_reading=True)
    assert lot.solids_factor == pytest.approx(1.0, abs=1e-9)  # 8.16 − 0.2 × 4.6
    assert lot.cautions == ()
    with_acid = with_measured(
        get_ingredient("lemon_juice"),
        brix=7.0,
        brix_is_refractometer_reading=True,
        titratable_acidity_meq_per_kg=meq_per_kg_from_citric_g_per_100g(5.0),
    )
    assert with_acid.ingredient.brix is not None
    assert with_acid.ingredient.brix.typical == pytest.approx(8.0)
    per_litre = with_measured(
        get_ingredient("lemon_juice"),
        brix=7.0,
        brix_is_refractometer_reading=True,
        titratable_acidity_meq_per_l=meq_per_l_from_acid_g_per_l(51.5, Acid.CITRIC),
    )
    assert per_litre.ingredient.brix is not None
    assert per_litre.ingredient.brix.typical == pytest.approx(8.0, abs=0.01)


def test_acid_correction_outside_citrus_is_declared() -> None:
    lot = with_measured(get_ingredient("blackcurrant_juice"), brix=11.73, brix_is_refractometer_reading=True)
    assert lot.solids_factor == pytest.approx(1.0, abs=1e-9)
    assert dict(lot.cautions).keys() == {"acid_correction_from_citrus"}


def test_acid_per_litre_goes_through_the_lots_own_density() -> None:
    """A concentrate graded 400 g/L is 31.5 % acid at its density of 1.270 g/mL."""
    lot = with_measured(
        get_ingredient("lemon_concentrate"),
        titratable_acidity_meq_per_l=meq_per_l_from_acid_g_per_l(400.0, Acid.CITRIC),
    ).ingredient
    assert lot.ta_g_citric_per_100g is not None
    assert lot.ta_g_citric_per_100g.typical == pytest.approx(31.49, abs=0.01)
    assert lot.ta_g_citric_per_100g.typical * derived.density_g_ml(lot) == pytest.approx(40.0, abs=1e-9)
    by_density = with_measured(
        get_ingredient("orange_juice"), density_g_ml=1.05, titratable_acidity_meq_per_l=120.0
    ).ingredient
    assert by_density.ta_g_citric_per_100g is not None
    assert meq_per_kg_from_citric_g_per_100g(by_density.ta_g_citric_per_100g.typical) == pytest.approx(120 / 1.05)


def test_a_stronger_concentrate_is_diluted_further_to_single_strength() -> None:
    lot = with_measured(get_ingredient("orange_concentrate"), brix=44.3).ingredient
    assert lot.ph_sample_mass_fraction == pytest.approx(11.8 / 44.3, abs=2e-5)
    lemon = with_measured(
        get_ingredient("lemon_concentrate"), titratable_acidity_meq_per_kg=meq_per_kg_from_citric_g_per_100g(33.0)
    ).ingredient
    assert lemon.ph_sample_mass_fraction == pytest.approx(4.5 / 33.0, abs=2e-5)
    assert with_measured(get_ingredient("honey"), moisture_percent=18.0).ingredient.ph_sample_mass_fraction == 0.11783


def test_measured_ph_takes_the_meters_spread() -> None:
    lot = with_measured(get_ingredient("orange_concentrate"), ph=4.4)
    assert lot.ingredient.ph is not None
    assert (lot.ingredient.ph.low, lot.ingredient.ph.high) == pytest.approx((4.3, 4.5))
    assert dict(lot.cautions).keys() == {"ph_outside_row", "ph_of_diluted_sample"}
    assert lot.changed == ("ph",)


def test_readings_are_named_in_the_provenance() -> None:
    lot = with_measured(get_ingredient("orange_juice"), brix=12.0, ph=3.6)
    assert lot.changed == ("brix", "composition", "minerals", "ph")
    assert lot.ingredient.provenance["measured"].mark == "measured on the lot: brix, composition, minerals, ph"
    assert lot.ingredient.id == "orange_juice_fresh"


def test_energy_follows_the_new_components() -> None:
    lot = with_measured(get_ingredient("orange_juice"), brix=12.6).ingredient
    assert lot.energy_kcal_per_100g == pytest.approx(derived.label_energy_kcal_per_100g(lot))


def test_outside_the_rows_range_is_a_caution() -> None:
    lot = with_measured(get_ingredient("orange_juice"), brix=16.0, titratable_acidity_meq_per_kg=300.0)
    assert {"brix_outside_row", "titratable_acidity_outside_row"} <= dict(lot.cautions).keys()


def test_assay_scales_acid_and_salt() -> None:
    lactic = with_measured(get_ingredient("lactic_acid"), assay_percent=80.0).ingredient
    assert lactic.grams(Component.LACTIC) == pytest.approx(80.0)
    assert lactic.grams(Component.WATER) == pytest.approx(20.0)
    assert derived.titratable_meq_per_kg(lactic) == pytest.approx(1e6 * 0.80 / 90.08, rel=1e-3)
    salt = with_measured(get_ingredient("potassium_bicarbonate"), assay_percent=99.0).ingredient
    assert derived.gas_lost_g_per_g(salt) == pytest.approx(0.4356)
    assert salt.minerals.sid_minerals_meq_per_kg == pytest.approx(0.99 * 9988.5)


def test_ingredient_without_a_titration_takes_one() -> None:
    lot = with_measured(get_ingredient("agave_syrup"), titratable_acidity_meq_per_kg=10.0)
    assert lot.acid_factor == 1.0
    assert dict(lot.cautions).keys() == {"no_acids_to_scale"}
    assert derived.titratable_meq_per_kg(lot.ingredient) == pytest.approx(10.0)
    assert lot.ingredient.composition == get_ingredient("agave_syrup").composition


@pytest.mark.parametrize(
    ("name", "readings", "error", "match"),
    [
        ("honey", {"moisture_percent": 17.0, "refractive_index": 1.494}, InputError, "give one"),
        ("orange_juice", {"brix": -1.0}, OutOfRangeError, "above 0"),
        ("orange_juice", {"brix": float("nan")}, OutOfRangeError, "above 0"),
        ("orange_juice", {"brix": 120.0}, OutOfRangeError, "between 0 and 100"),
        ("mango_puree", {"brix": 99.9}, InconsistentError, "another scale"),
        ("spirit", {"density_g_ml": 0.95}, InputError, "% vol"),
        ("orange_juice", {"assay_percent": 99.0}, InputError, "assay belongs"),
        ("orange_juice", {"refractive_index": 1.35}, InputError, "moisture of honey"),
        ("citric_acid", {"brix": 50.0}, InputError, "no Brix"),
        ("sugar", {"density_g_ml": 1.2}, InputError, "dry solid"),
        ("orange_juice", {"density_g_ml": 0.99}, OutOfRangeError, "dense"),
        ("orange_juice", {"titratable_acidity_meq_per_kg": 0.0}, OutOfRangeError, "above 0"),
        ("water", {"titratable_acidity_meq_per_kg": 5.0}, InputError, "no acid"),
        ("citric_acid", {"titratable_acidity_meq_per_l": 5.0}, InputError, "per kilogram"),
        ("lactic_acid", {"assay_percent": 80.0, "titratable_acidity_meq_per_kg": 9000.0}, InputError, "assay fixes"),
        (
            "orange_juice",
            {"titratable_acidity_meq_per_kg": 100.0, "titratable_acidity_meq_per_l": 100.0},
            InputError,
            "give one",
        ),
        ("lemon_juice", {"brix": 8.2, "titratable_acidity_meq_per_kg": 1400.0}, InconsistentError, "give way"),
        ("lemon_concentrate", {"titratable_acidity_meq_per_kg": 13000.0}, InconsistentError, "measure the solids"),
        ("orange_concentrate", {"brix": 11.0}, InconsistentError, "weaker than single strength"),
        ("orange_juice", {"ph": 15.0}, OutOfRangeError, "between 0 and 14"),
        ("citric_acid", {"ph": 2.0}, InputError, "no pH of its own"),
    ],
)
def test_readings_that_cannot_be_are_refused(
    name: str, readings: dict[str, Any], error: type[InputError], match: str
) -> None:
    with pytest.raises(error, match=match) as caught:
        with_measured(get_ingredient(name), **readings)
    assert type(caught.value) is error
