"""The shipped tables: no digit drifts, every row closes, every source resolves and is used."""

from __future__ import annotations

import csv
from decimal import Decimal
from importlib.resources import files
from pathlib import Path

import pytest

import service
from service.catalogue import loader
from service.catalogue.fining import sources_of_agents
from service.catalogue.juice_yield import juice_yields
from service.catalogue.records import Category, Ingredient, Spread
from service.physics.solutes import Component

COLUMN_SUMS = {
    "water_g_per_100g": "3583.777",
    "sucrose_g_per_100g": "541.967",
    "glucose_g_per_100g": "908.168",
    "fructose_g_per_100g": "976.774",
    "maltose_and_other_disaccharides_g_per_100g": "67.533",
    "other_sugars_g_per_100g": "18.849",
    "polyols_g_per_100g": "16.486",
    "citric_acid_g_per_100g": "339.728",
    "malic_acid_g_per_100g": "136.674",
    "tartaric_acid_g_per_100g": "102.187",
    "lactic_acid_g_per_100g": "88.2",
    "quinic_acid_g_per_100g": "9.584",
    "other_acids_as_gluconic_g_per_100g": "6.053",
    "ethanol_g_per_100g": "261.98",
    "protein_g_per_100g": "41.150",
    "fat_g_per_100g": "12.466",
    "ash_g_per_100g": "341.519",
    "pectin_g_per_100g": "6.139",
    "other_solids_g_per_100g": "140.762",
    "ta_typical_g_citric_per_100g": "318.358",
    "ta_low_g_citric_per_100g": "285.497",
    "ta_high_g_citric_per_100g": "375.900",
    "ta_sd_g_citric_per_100g": "5.96",
    "ph_typical": "208.84",
    "ph_low": "188.03",
    "ph_high": "239.78",
    "brix_typical": "2962.36",
    "brix_low": "2817.0",
    "brix_high": "3108.6",
    "brix_sd": "55.72",
    "potassium_mg_per_100g": "113630.1",
    "sodium_mg_per_100g": "406.4",
    "calcium_mg_per_100g": "41643.1",
    "magnesium_mg_per_100g": "1248.2",
    "phosphorus_mg_per_100g": "1518.3",
    "vitamin_c_mg_per_100g": "2512.6",
    "energy_kcal_per_100g": "14468.6",
    "yan_mg_n_per_kg": "17874.3",
    "sid_minerals_meq_per_kg": "51047.3",
    "juice_share_percent": "3969",
    "ph_sample_mass_fraction": "32.36903",
    "co2_released_g_per_g": "1.198",
    "alkalinity_meq_per_l": "2",
    "alkalinity_low_meq_per_l": "0.4",
    "alkalinity_high_meq_per_l": "6.05",
}

MARKS = {
    "published",
    "memory",
    "derived",
    "judged",
    "chemistry",
    "our default",
    "chemistry/memory",
    "published/judged",
    "published/derived",
    "published/memory",
    "published sources / value judged",
    "published range / typical judged",
    "published anchors / limits+SD judged",
    "published total / free share in TA memory",
    "published, seen in a secondary copy",
}


def raw_rows(name: str) -> list[dict[str, str]]:
    text = files("service.catalogue").joinpath("tables", name).read_text(encoding="utf-8")
    return list(csv.DictReader(text.splitlines()))


def all_ingredients() -> list[Ingredient]:
    return list(loader.ingredients().values())


def test_row_counts() -> None:
    assert len(loader.ingredients()) == 76
    assert len(loader.sources()) == 188
    assert len(loader.juice_standards()) == 54


def test_every_category_has_its_rows() -> None:
    counts = dict.fromkeys(Category, 0)
    for ingredient in all_ingredients():
        counts[ingredient.category] += 1
    assert counts == {
        Category.JUICE: 25,
        Category.CONCENTRATE: 17,
        Category.HONEY: 10,
        Category.SUGAR: 10,
        Category.ACID: 5,
        Category.SALT: 3,
        Category.WATER: 2,
        Category.SPIRIT: 4,
        Category.CUSTOM: 0,
    }


@pytest.mark.parametrize("column", COLUMN_SUMS)
def test_no_digit_of_a_column_drifts(column: str) -> None:
    cells = [row[column] for row in raw_rows("ingredients.csv")]
    assert sum((Decimal(cell) for cell in cells if cell), Decimal(0)) == Decimal(COLUMN_SUMS[column])


def test_every_numeric_column_has_a_sum() -> None:
    columns = raw_rows("ingredients.csv")[0].keys()
    numeric = {column for column in columns if "_g_per_" in column or "_meq_per_" in column or "_mg_" in column}
    assert numeric <= COLUMN_SUMS.keys()


def test_juice_standards_keep_their_digits() -> None:
    standards = loader.juice_standards().values()
    assert sum(s.us_min_brix or 0.0 for s in standards) == pytest.approx(602.9)
    assert sum(s.us_customs_average_brix or 0.0 for s in standards) == pytest.approx(399.7)
    assert sum(s.eu_min_brix or 0.0 for s in standards) == pytest.approx(227.8)
    assert {s.fruit for s in standards if s.us_min_citric_percent == 4.5} == {"Lemon", "Lime"}


@pytest.mark.parametrize("ingredient", all_ingredients(), ids=lambda i: i.id)
def test_components_add_up_to_100_g(ingredient: Ingredient) -> None:
    assert sum(ingredient.composition.values()) == pytest.approx(100.0, abs=loader.CLOSURE_TOLERANCE_G)
    assert all(mass > 0.0 for mass in ingredient.composition.values())


def test_every_source_resolves_and_is_used() -> None:
    cited = {key for i in all_ingredients() for p in i.provenance.values() for key in p.sources}
    cited |= {key for y in juice_yields().values() for key in y.sources}
    cited |= sources_of_agents()
    assert cited <= set(loader.sources())
    code = "".join(path.read_text(encoding="utf-8") for path in Path(service.__file__).parent.rglob("*.py"))
    unused = [key for key in set(loader.sources()) - cited if f'"{key}"' not in code]
    assert unused == []


def test_marks_are_the_known_ones() -> None:
    marks = {p.mark for i in all_ingredients() for p in i.provenance.values()} | {
        s.mark for s in loader.sources().values()
    }
    assert marks - {""} <= MARKS


@pytest.mark.parametrize("ingredient", all_ingredients(), ids=lambda i: i.id)
def test_spreads_are_in_order(ingredient: Ingredient) -> None:
    spreads: list[Spread | None] = [ingredient.ph, ingredient.brix, ingredient.ta_g_citric_per_100g]
    for spread in spreads:
        if spread is not None:
            assert spread.typical in spread
            assert spread.sd is None or spread.sd > 0.0


@pytest.mark.parametrize("ingredient", all_ingredients(), ids=lambda i: i.id)
def test_brix_is_what_is_not_water_or_fat(ingredient: Ingredient) -> None:
    if ingredient.brix is None:
        assert ingredient.category in (Category.ACID, Category.SALT, Category.SPIRIT)
        return
    solids = 100.0 - ingredient.grams(Component.WATER) - ingredient.grams(Component.FAT)
    assert ingredient.brix.typical == pytest.approx(solids, abs=0.01)


@pytest.mark.parametrize("ingredient", all_ingredients(), ids=lambda i: i.id)
def test_mineral_sum_is_that_of_the_cations(ingredient: Ingredient) -> None:
    m = ingredient.minerals
    if m.sid_minerals_meq_per_kg is None:
        return
    total = 10.0 * (
        (m.potassium_mg_per_100g or 0.0) / 39.098
        + (m.sodium_mg_per_100g or 0.0) / 22.990
        + 2.0 * (m.calcium_mg_per_100g or 0.0) / 40.078
        + 2.0 * (m.magnesium_mg_per_100g or 0.0) / 24.305
    )
    assert m.sid_minerals_meq_per_kg == pytest.approx(total, abs=max(0.1, 0.0005 * total))


def test_data_version_is_stable_within_a_process() -> None:
    assert loader.data_version() == loader.data_version()
    assert len(loader.data_version()) == 12


def test_an_undeclared_deviation_is_a_quarter_of_the_limits() -> None:
    assert Spread(3.7, 3.3, 4.1).deviation() == pytest.approx(0.2)
    assert Spread(3.7, 3.3, 4.1, 0.15).deviation() == 0.15
    assert Spread(3.7).deviation() == 0.0
    assert 99.0 in Spread(3.7)
