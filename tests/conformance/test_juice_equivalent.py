"""Percent juice by 21 CFR 101.30: the table of minima, and what concentrates and pressed juice stand for in a drink."""

from __future__ import annotations

import pytest

from service.catalogue import derived
from service.catalogue.label import Label, with_label
from service.catalogue.loader import ingredients, juice_standards
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Category, Ingredient, JuiceBasis
from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.model.contents import Contents, contents_per_g
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.model.properties import property_value
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import Component
from tests.tables import Row, rows

REGULATION = rows("percent_juice_brix")
DENSITY_G_ML = {float(r["sucrose_mass_pct"]): float(r["density20_g_mL"] or 0.0) for r in rows("sucrose_checks")} | {
    float(r["sucrose_mass_pct"]): float(r["density20_kg_m3"]) / 1000.0
    for r in rows("sucrose_checks")
    if r["density20_kg_m3"]
}
WORKED = {r["check"].split()[2]: r for r in rows("label_worked_examples") if r["check"].startswith("percent juice")}
BATCH_L = 30.0


def sugar_density_g_ml(brix: float) -> float:
    """ICUMSA SPS-4 at whole per cents, a straight line between them."""
    low = float(int(brix))
    return DENSITY_G_ML[low] + (brix - low) * (DENSITY_G_ML[low + 1.0] - DENSITY_G_ML[low])


def in_thirty_litres(*poured: tuple[Ingredient, float]) -> Contents:
    """Volumes [L] of ingredients made up with water to thirty litres; contraction is made up for."""
    drink = Contents.of({})
    for ingredient, litres in poured:
        drink = drink.plus(contents_per_g(ingredient).scaled(1000.0 * litres * derived.density_g_ml(ingredient)))
    for _ in range(5):
        missing_ml = 1000.0 * BATCH_L - (drink.volume_ml if drink.mass_g else 0.0)
        drink = drink.plus(Contents.of({Component.WATER: missing_ml * WATER_G_PER_ML}))
    assert drink.volume_ml == pytest.approx(1000.0 * BATCH_L, rel=1e-9)
    return drink


def percent(name: str, drink: Contents) -> float:
    value = property_value(name, drink, drink.volume_ml / 1000.0)
    assert value is not None
    return value


OUR_NAMES = {
    "orange": ("Orange",),
    "tangerine": ("Mandarin / tangerine",),
    "grapefruit": ("Grapefruit",),
    "pineapple": ("Pineapple",),
    "apple": ("Apple",),
    "grape": ("Grape, slip-skin (labrusca type)", "Grape, Vitis vinifera"),
    "lemon": ("Lemon",),
    "lime": ("Lime",),
}


@pytest.mark.parametrize("row", REGULATION, ids=lambda r: r["juice"])
def test_minima_of_the_regulation(row: Row) -> None:
    """21 CFR 101.30(h)(1), 2015 edition."""
    for fruit in OUR_NAMES[row["juice"]]:
        standard = juice_standards()[fruit]
        brix, citric = row["single_strength_min_degBx"], row["single_strength_min_citric_anhydrous_mass_pct"]
        assert standard.us_min_brix == (float(brix) if brix else None)
        assert standard.us_min_citric_percent == (float(citric) if citric else None)


CONCENTRATES = [i for i in ingredients().values() if i.category is Category.CONCENTRATE]


@pytest.mark.parametrize("row", [r for r in REGULATION if r["single_strength_min_degBx"]], ids=lambda r: r["juice"])
def test_concentrates_count_by_their_soluble_solids(row: Row) -> None:
    """(h) to (j): litres of single strength are mass times Brix over the least Brix and its density."""
    least = float(row["single_strength_min_degBx"])
    of_fruit = [
        c for c in CONCENTRATES if c.juice_basis is JuiceBasis.BRIX and c.juice_standard in OUR_NAMES[row["juice"]]
    ]
    for concentrate in of_fruit:
        for brix in (30.0, 41.8, 65.0):
            lot = with_measured(concentrate, brix=brix).ingredient
            litres_per_kg = brix / (least * sugar_density_g_ml(least))
            assert derived.juice_equivalent_l_per_kg(lot) == pytest.approx(litres_per_kg, rel=1e-4)
    assert of_fruit or row["juice"] == "tangerine"


@pytest.mark.parametrize(
    "concentrate", [c for c in CONCENTRATES if c.juice_basis is not JuiceBasis.DECLARED], ids=lambda c: c.id
)
def test_a_concentrate_diluted_to_its_standard_is_all_juice(concentrate: Ingredient) -> None:
    """At the least Brix, or 4.5 % citric acid by weight, the drink is 100 % juice; 0.5 % because acids are dense."""
    share = concentrate.ph_sample_mass_fraction
    assert share is not None
    drink = contents_per_g(concentrate).scaled(share).plus(Contents.of({Component.WATER: 1.0 - share}))
    assert percent("juice_percent", drink) == pytest.approx(100.0, abs=0.5)


def worked_concentrates() -> dict[str, tuple[Ingredient, float]]:
    orange = with_measured(get_ingredient("orange_concentrate"), brix=41.8).ingredient
    lemon = with_measured(
        get_ingredient("lemon_concentrate"),
        titratable_acidity_meq_per_l=meq_per_l_from_acid_g_per_l(400.0, Acid.CITRIC),
    ).ingredient
    return {"2.0": (orange, 2.0), "0.10": (lemon, 0.10), "0.75": (get_ingredient("lemon_juice"), 0.75)}


@pytest.mark.parametrize("litres", ["2.0", "0.10", "0.75"])
def test_worked_shares_of_thirty_litres(litres: str) -> None:
    """Worked with 21 CFR 101.30 (computed): 26.8, 2.9 and 2.5 % of 30 L."""
    drink = in_thirty_litres(worked_concentrates()[litres])
    assert percent("juice_percent", drink) == pytest.approx(float(WORKED[litres]["juice_pct"]), abs=0.05)
    assert percent("citrus_percent", drink) == percent("juice_percent", drink)


def test_concentrate_and_pressed_juice_add_up() -> None:
    """Expressed juice by volume, concentrates by single strength: 26.8 + 2.9 + 2.5 % (computed)."""
    parts = worked_concentrates()
    everything = in_thirty_litres(*parts.values())
    total = sum(float(row["juice_pct"]) for row in WORKED.values())
    assert percent("citrus_percent", everything) == pytest.approx(total, abs=0.15)
    alone = [percent("juice_percent", in_thirty_litres(part)) for part in parts.values()]
    assert percent("juice_percent", everything) == pytest.approx(sum(alone), rel=1e-9)
    apple = in_thirty_litres(*parts.values(), (get_ingredient("apple_juice"), 3.0))
    assert percent("juice_percent", apple) == pytest.approx(sum(alone) + 10.0, rel=1e-6)
    assert percent("citrus_percent", apple) == pytest.approx(sum(alone), rel=1e-9)


def test_three_to_one_is_the_fold_of_the_worked_can() -> None:
    """2.0 L of 41.8 °Bx are 4.02-fold, a can for one part and three of water (computed)."""
    (orange, litres) = worked_concentrates()["2.0"]
    single = litres * derived.density_g_ml(orange) * derived.juice_equivalent_l_per_kg(orange)
    assert single == pytest.approx(float(WORKED["2.0"]["single_strength_L"]), abs=0.01)
    assert single / litres == pytest.approx(4.02, abs=0.005)
    # The same can by its label: 100 % juice when one part is made up with three of water.
    labelled = with_label(get_ingredient("orange_concentrate"), Label(240.0, 21.0, 100.0, (1.0, 3.0))).ingredient
    by_label = derived.density_g_ml(labelled) * derived.juice_equivalent_l_per_kg(labelled)
    assert by_label == pytest.approx(single / litres, rel=0.006)


@pytest.mark.parametrize("name", ["citric_acid", "sugar", "honey", "water"])
def test_what_is_added_besides_juice_adds_none(name: str) -> None:
    """Acid and sugar beside the juice do not count, (h) to (j): only that of the juice does."""
    lemon = worked_concentrates()["0.75"]
    without = in_thirty_litres(lemon)
    more = without.plus(contents_per_g(get_ingredient(name)).scaled(300.0))
    litres = percent("juice_percent", more) * more.volume_ml
    assert litres == pytest.approx(percent("juice_percent", without) * without.volume_ml, rel=1e-9)


@pytest.mark.parametrize("kind", [LotClass.MEAD, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY, LotClass.GRAPE_WINE])
def test_fermented_juice_is_no_juice(kind: LotClass) -> None:
    """(k): juice changed past recognition does not count."""
    lot = lot_from_readings("base", LotReadings(10.0, None, 0.998, 8.0, kind))
    assert percent("juice_percent", lot.contents) == 0.0
