"""The acids and strong ions of every row: worked values, round trips on paper, and what has no titration.

The paper calculation (`tests.oracle.charge`) knows nothing of the inference: it is handed the acids and strong ions
that came out, at single strength, and has to return the pH and the titratable acidity that went in.
"""

from __future__ import annotations

from dataclasses import replace
from statistics import median
from typing import Any

import pytest

from service.catalogue.acidity import acids_per_kg, own_acids_mmol_per_kg, titration_ratio
from service.catalogue.loader import ingredients
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Category, Ingredient
from service.chemistry.acid_state import NO_ACID
from service.chemistry.weak_acids import WeakAcid
from tests.api.real import codes, forecast
from tests.oracle import charge
from tests.oracle.charge import ACIDS, IONS, PHOSPHORUS_G_MOL, Drink
from tests.oracle.liquids import COMPONENTS, WATER
from tests.oracle.pour import Composition, composition, density_g_per_ml, load_compositions

ROWS = sorted(ingredients())
READ = [i for i in ROWS if ingredients()[i].ph is not None and ingredients()[i].ta_g_citric_per_100g is not None]
"""Rows with a typical pH and a titratable acidity."""


def minerals_meq_per_kg(row: Ingredient) -> float:
    """K + Na + 2 Ca + 2 Mg of a row, from mg/100 g."""
    found = row.minerals
    mg = {
        "K": found.potassium_mg_per_100g,
        "Na": found.sodium_mg_per_100g,
        "Ca": found.calcium_mg_per_100g,
        "Mg": found.magnesium_mg_per_100g,
    }
    return sum(10.0 * (amount or 0.0) * IONS[ion][1] / IONS[ion][0] for ion, amount in mg.items())


def sample(ingredient: str) -> tuple[Drink, float]:
    """A litre of the single-strength sample of a row as it was inferred, and the kilograms of the row in it."""
    row = ingredients()[ingredient]
    share = row.ph_sample_mass_fraction
    assert share is not None
    grams = [share * g for g in load_compositions()[ingredient].grams_per_100g]
    grams[WATER] += 100.0 * (1.0 - share)
    kg = share * density_g_per_ml(Composition(ingredient, tuple(grams)))
    state = acids_per_kg(row).state
    acids = {acid.value: kg * amount for acid, amount in state.present.items()}
    return Drink(acids, kg * state.sid_meq, kg * state.ionic_mmol), kg


# Acid scale and strong ion difference [meq/kg]: computed (two nested roots over the same constants).
GOLDEN = {
    "orange_juice_fresh": (1.018, 59.4),
    "orange_juice_concentrate_frozen": (1.035, 226.1),
    "lemon_juice_fresh": (0.998, 32.4),
    "apple_juice_bottled": (1.162, 35.4),
    "grape_juice_purple": (0.960, 38.5),
    "cranberry_juice_unsweetened": (0.947, 19.6),
    "blackcurrant_juice_concentrate_65": (0.967, 391.7),
    "honey_average": (1.487, 23.7),
    "honey_acacia": (1.276, 10.6),
}


@pytest.mark.parametrize("ingredient", GOLDEN)
def test_acid_scale_and_strong_ions_as_computed(ingredient: str) -> None:
    """Computed values, held as regression: 0.002 in the scale, 0.3 % in the ions."""
    scale, sid = GOLDEN[ingredient]
    acids = acids_per_kg(get_ingredient(ingredient))
    row = dict(zip(COMPONENTS, load_compositions()[ingredient].grams_per_100g, strict=True))
    columns = {
        "citric_acid": "citric",
        "malic_acid": "malic",
        "tartaric_acid": "tartaric",
        "quinic_acid": "quinic",
        "other_acids_as_gluconic": "gluconic",
    }
    assert acids.profile == "own"
    for column, name in columns.items():
        own = 1e4 * row[column] / ACIDS[name].molar_mass
        assert acids.state.mmol(WeakAcid(name)) == pytest.approx(scale * own, abs=0.002 * own + 1e-12), name
    assert acids.state.sid_meq == pytest.approx(sid, rel=0.003)


@pytest.mark.parametrize("ingredient", READ)
def test_every_row_returns_its_ph_and_acidity(ingredient: str) -> None:
    row = ingredients()[ingredient]
    assert row.ph is not None
    assert row.ta_g_citric_per_100g is not None
    of, kg = sample(ingredient)
    assert charge.ph(of) == pytest.approx(row.ph.typical, abs=1e-4)
    meq = 1e4 / 64.04 * row.ta_g_citric_per_100g.typical * kg
    assert charge.ta_meq(of) == pytest.approx(meq, rel=1e-4)
    assert of.sid_meq >= 0.0
    assert acids_per_kg(row).ph_known
    assert {what for what, _ in acids_per_kg(row).spread} == {"pH", "acidity"}


def test_every_row_with_juice_or_honey_has_both_readings() -> None:
    sour = {Category.JUICE, Category.CONCENTRATE, Category.HONEY}
    assert {i for i in ROWS if ingredients()[i].category in sour} <= set(READ)
    assert set(READ) - {i for i in ROWS if ingredients()[i].category in sour} == {"maple_syrup"}


@pytest.mark.parametrize("ingredient", READ)
def test_phosphorus_is_phosphate_in_known_amount(ingredient: str) -> None:
    row = ingredients()[ingredient]
    known = 10.0 * (row.minerals.phosphorus_mg_per_100g or 0.0) / PHOSPHORUS_G_MOL
    assert acids_per_kg(row).state.mmol(WeakAcid.PHOSPHORIC) == pytest.approx(known, rel=1e-9)


OUTSIDE = {"honeydew_honey", "honey_chestnut", "maple_syrup", "honey_tupelo"}
"""Where the ions inferred are not 0.25 to 1.5 times the minerals, or no acid of the row's own fits."""


@pytest.mark.parametrize("ingredient", sorted(set(READ) - OUTSIDE))
def test_strong_ions_are_about_the_minerals(ingredient: str) -> None:
    row = ingredients()[ingredient]
    ratio = acids_per_kg(row).state.sid_meq / minerals_meq_per_kg(row)
    assert 0.25 < ratio < 1.5
    assert acids_per_kg(row).profile == "own"


def test_strong_ions_of_juices_beside_their_minerals() -> None:
    """Part of Ca and Mg is bound, Cl and SO4 are not counted: 0.86 in the median, 0.27 to 1.30 (computed)."""
    ratios = {
        i: acids_per_kg(ingredients()[i]).state.sid_meq / minerals_meq_per_kg(ingredients()[i])
        for i in READ
        if ingredients()[i].category in (Category.JUICE, Category.CONCENTRATE)
    }
    assert median(ratios.values()) == pytest.approx(0.86, abs=0.01)
    assert min(ratios, key=lambda i: ratios[i]) == "lemonade_concentrate_frozen"
    assert max(ratios, key=lambda i: ratios[i]) == "cherry_tart_juice"
    assert (min(ratios.values()), max(ratios.values())) == pytest.approx((0.27, 1.30), abs=0.01)


@pytest.mark.parametrize(("ingredient", "sid"), [("honeydew_honey", 79.0), ("honey_chestnut", 178.0)])
def test_dark_honeys_are_one_acid_of_no_name(ingredient: str, sid: float) -> None:
    """Gluconic acid alone cannot titrate as they do at their pH; strong ions computed, the minerals give 83."""
    row = get_ingredient(ingredient)
    acids = acids_per_kg(row)
    assert acids.profile == "generic"
    assert set(acids.state.present) == {WeakAcid.GENERIC, WeakAcid.PHOSPHORIC}
    assert acids.state.sid_meq == pytest.approx(sid, abs=1.0)
    assert minerals_meq_per_kg(row) == pytest.approx(83.1, abs=0.1)


# Acids, salts, waters, and what has no titration.


@pytest.mark.parametrize(
    ("ingredient", "acid", "grams_per_kg"),
    [
        ("citric_acid_anhydrous", WeakAcid.CITRIC, 1000.0),
        ("citric_acid_monohydrate", WeakAcid.CITRIC, 1000.0 * 192.124 / 210.139),
        ("malic_acid", WeakAcid.MALIC, 1000.0),
        ("tartaric_acid", WeakAcid.TARTARIC, 1000.0),
        ("lactic_acid_88", WeakAcid.LACTIC, 880.0),
    ],
)
def test_acids_are_pure(ingredient: str, acid: WeakAcid, grams_per_kg: float) -> None:
    """Formula masses; the monohydrate is citric acid and a water, 18.015."""
    acids = acids_per_kg(get_ingredient(ingredient))
    assert acids.state.present == {acid: pytest.approx(1000.0 * grams_per_kg / ACIDS[acid.value].molar_mass, rel=2e-4)}
    assert (acids.state.sid_meq, acids.state.ionic_mmol, acids.spread) == (0.0, 0.0, ())


@pytest.mark.parametrize(
    ("ingredient", "meq", "ionic"),
    [
        ("potassium_bicarbonate", 1e6 / 100.115, 0.5e6 / 100.115),
        ("potassium_carbonate", 2e6 / 138.205, 1e6 / 138.205),
        ("calcium_carbonate", 2e6 / 100.086, 2e6 / 100.086),
    ],
)
def test_carbonates_are_their_base(ingredient: str, meq: float, ionic: float) -> None:
    """Formula masses. Half the sum of z² c: K counts one half a mole, Ca two, for each mole of ion."""
    state = acids_per_kg(get_ingredient(ingredient)).state
    assert state.present == {}
    assert state.sid_meq == pytest.approx(meq, rel=1e-4)
    assert state.ionic_mmol == pytest.approx(ionic, rel=1e-4)


@pytest.mark.parametrize(
    ("ingredient", "alkalinity", "low", "high"), [("water_deionised", 0.0, 0.0, 0.05), ("water_tap", 2.0, 0.4, 6.0)]
)
def test_waters_are_their_alkalinity(ingredient: str, alkalinity: float, low: float, high: float) -> None:
    """meq/L; the spread is a quarter of its range (judged)."""
    acids = acids_per_kg(get_ingredient(ingredient))
    density = density_g_per_ml(load_compositions()[ingredient])
    assert acids.state.present == {}
    assert acids.state.sid_meq == pytest.approx(alkalinity / density, rel=1e-6, abs=1e-12)
    spread = [state.sid_meq for _, state in acids.spread]
    assert spread == [pytest.approx((high - low) / 4.0 / density, rel=1e-6)]


@pytest.mark.parametrize(
    "ingredient", ["sugar_white", "dextrose_anhydrous", "fructose_crystalline", "neutral_spirit_40"]
)
def test_pure_sugars_and_spirits_move_no_acid(ingredient: str) -> None:
    acids = acids_per_kg(get_ingredient(ingredient))
    assert acids.state == NO_ACID
    assert acids.ph_known


@pytest.mark.parametrize("ingredient", ["invert_syrup", "agave_syrup", "molasses", "sugar_brown", "sugar_raw_cane"])
def test_sugars_without_a_titration_say_so(ingredient: str) -> None:
    row = get_ingredient(ingredient)
    acids = acids_per_kg(row)
    assert acids.state.present == own_acids_mmol_per_kg(row)
    assert acids.state.sid_meq == 0.0
    assert not acids.ph_known
    lot: dict[str, Any] = {
        "name": "base",
        "volume": "10 L",
        "gravity": 0.998,
        "abv_percent": 8.0,
        "titratable_acidity": "5 g/L tartaric",
        "ph": 3.5,
    }
    additions = [{"ingredient": ingredient, "amount": "500 g"}]
    answer = forecast({"recipes": [{"name": "dark", "lots": [lot], "additions": additions}]})
    assert codes(answer)["acidity_of_ingredient_unknown"] == "warning"
    assert answer["recipes"][0]["predicted"]["ph"]["largest_share_from"] == f"the acids of {ingredient}"


def test_every_row_is_of_one_of_these_kinds() -> None:
    kinds = {acids_per_kg(ingredients()[i]).profile for i in ROWS}
    assert kinds == {"own", "generic", "pure", "salt", "water", "none"}


@pytest.mark.parametrize("ingredient", ["orange_juice_fresh", "lemon_juice_fresh", "raspberry_juice"])
def test_titration_to_an_earlier_end_point(ingredient: str) -> None:
    """The ratio to pH 8.2 of the row's own acids, on paper."""
    of, _ = sample(ingredient)
    for end_point in (7.0, 8.1, 8.5):
        ratio = charge.ta_meq(of, 8.2) / charge.ta_meq(of, end_point)
        assert titration_ratio(get_ingredient(ingredient), end_point) == pytest.approx(ratio, rel=1e-4)


def test_the_sample_is_poured_on_paper() -> None:
    """11.8 °Bx of orange juice weighs 1.0458 g/mL by ICUMSA SPS-4 as sugar; with its acids a little less or more."""
    _, kg = sample("orange_juice_concentrate_frozen")
    assert kg == pytest.approx(11.8 / 41.95 * 1.0458, rel=2e-3)
    assert composition("water").grams_per_100g[WATER] == 100.0


def test_acids_that_would_take_more_ions_than_there_are_minerals_give_way() -> None:
    """A syrup whose acid columns fit by their scale, but whose readings would ask for more ions than it has."""
    syrup = get_ingredient("maple_syrup")
    poor = replace(syrup, id="poor", minerals=replace(syrup.minerals, sid_minerals_meq_per_kg=5.0))
    assert acids_per_kg(syrup).profile == "own"
    assert acids_per_kg(poor).profile == "generic"


def test_a_measured_acidity_keeps_an_uncertainty_of_its_own() -> None:
    lemon = get_ingredient("lemon_juice")
    lot = with_measured(lemon, titratable_acidity_meq_per_kg=760.0).ingredient
    spread = dict(acids_per_kg(lot).spread)
    table = dict(acids_per_kg(lemon).spread)
    # 2 % of the acid, against the table's 0.4 of 4.6 g/100 g
    citric = acids_per_kg(lot).state.mmol(WeakAcid.CITRIC)
    assert spread["acidity"].mmol(WeakAcid.CITRIC) == pytest.approx(0.02 * citric, rel=0.1)
    assert spread["acidity"].mmol(WeakAcid.CITRIC) < 0.5 * table["acidity"].mmol(WeakAcid.CITRIC)
