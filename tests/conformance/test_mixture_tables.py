"""Water, alcohol and extract together: two mixing rules, and what adding volumes gets wrong."""

from __future__ import annotations

import pytest

from service.physics.ethanol_water import ethanol_water_density_kg_m3, mass_fraction_from_abv_percent
from service.physics.extract import (
    litre_from_abv_and_extract,
    litre_from_sg_and_abv,
    sg_from_extract_and_abv,
)
from service.physics.mixture import WATER_G_PER_ML, density_g_ml, volume_ml
from service.physics.solutes import Component
from service.physics.water import OIML_WATER_20C_KG_M3
from tests.conformance.test_honey_tables import honey_g
from tests.tables import Row, label, rows

GOLDEN = rows("mixing_golden")
LIGHT = [
    row
    for row in GOLDEN
    if float(row["ethanol_vol_pct_20C"]) <= 14.0 and float(row["extract_sucrose_g_per_L"]) <= 100.0
]
BLENDS = rows("blend_nonadditivity")
ETHANOL_G_PER_ML = 0.78924  # OIML R 22 (1975)


@pytest.mark.parametrize("row", GOLDEN, ids=label)
def test_golden_gravities(row: Row) -> None:
    """Binary sum and Tabarié for 0–20 % vol and 0–300 g/L (computed), to the last digit of the row."""
    abv, extract = float(row["ethanol_vol_pct_20C"]), float(row["extract_sucrose_g_per_L"])
    density = 1000.0 * density_g_ml(litre_from_abv_and_extract(abv, extract))
    assert density == pytest.approx(float(row["density20_rule_B_kg_m3"]), abs=0.00055)
    assert density / OIML_WATER_20C_KG_M3 == pytest.approx(float(row["sg20_20_rule_B"]), abs=1e-6)
    assert sg_from_extract_and_abv(extract, abv) == pytest.approx(float(row["sg20_20_rule_T"]), abs=1e-6)


@pytest.mark.parametrize("row", LIGHT, ids=label)
def test_the_two_mixing_rules_agree_in_ordinary_drinks(row: Row) -> None:
    """OIV-MA-AS2-03B (Tabarié) against the binary sum: within 0.15 kg/m³ to 14 % vol and 100 g/L."""
    abv, extract = float(row["ethanol_vol_pct_20C"]), float(row["extract_sucrose_g_per_L"])
    tabarie = sg_from_extract_and_abv(extract, abv) * OIML_WATER_20C_KG_M3
    assert tabarie == pytest.approx(1000.0 * density_g_ml(litre_from_abv_and_extract(abv, extract)), abs=0.15)


def test_the_two_mixing_rules_part_in_liqueurs() -> None:
    """J. J. Hackbarth, J. Am. Soc. Brew. Chem. 69 (2011) 39: strong mixtures are less dense than Tabarié says.

    At 40 % vol and 300 g/L Tabarié is 4.74 kg/m³ above the binary sum (computed).
    """
    tabarie = sg_from_extract_and_abv(300.0, 40.0) * OIML_WATER_20C_KG_M3
    binary = 1000.0 * density_g_ml(litre_from_abv_and_extract(40.0, 300.0))
    assert tabarie - binary == pytest.approx(4.74, abs=0.006)


def invert_g(mass_g: float, brix: float) -> dict[Component, float]:
    solids = mass_g * brix / 100.0
    return {Component.WATER: mass_g - solids, Component.GLUCOSE: solids / 2, Component.FRUCTOSE: solids / 2}


def addition_g(text: str) -> dict[Component, float]:
    """The masses of "honey 50 g", "conc 65Bx 100 mL", "juice 12Bx 200 mL", "water 500 mL" or "spirit 40% 100 mL"."""
    what, *words = text.split()
    amount = float(words[-2])
    if what == "honey":
        return honey_g(amount, 17.0)
    if what == "water":
        return {Component.WATER: amount * WATER_G_PER_ML}
    if what == "spirit":
        p = mass_fraction_from_abv_percent(float(words[0].rstrip("%")))
        mass = amount * ethanol_water_density_kg_m3(p) / 1000.0
        return {Component.WATER: mass * (1.0 - p), Component.ETHANOL: mass * p}
    brix = float(words[0].removesuffix("Bx"))
    return invert_g(amount * density_g_ml(invert_g(1.0, brix)), brix)


@pytest.mark.parametrize("row", BLENDS, ids=lambda row: f"{row['base_abv_pct_vol']}-{row[list(row)[1]]}")
def test_what_adding_volumes_gets_wrong(row: Row) -> None:
    """A litre of drink at SG 1.000 with honey, concentrate, juice, water or spirit (computed), to the last digit.

    Honey and concentrate cost 1 to 3 points of gravity when volumes are added, strong spirit 4 to 8.
    """
    base = litre_from_sg_and_abv(1.0, float(row["base_abv_pct_vol"]))
    addition = addition_g(row["addition_to_1_L_of_base_at_sg_1_000"])
    blend = {key: base.get(key, 0.0) + addition.get(key, 0.0) for key in base | addition}
    true_ml, added_ml = volume_ml(blend), volume_ml(base) + volume_ml(addition)
    gravity = density_g_ml(blend) / WATER_G_PER_ML
    naive = sum(blend.values()) / added_ml / WATER_G_PER_ML
    abv = 100.0 * blend[Component.ETHANOL] / ETHANOL_G_PER_ML / true_ml
    assert gravity == pytest.approx(float(row["blend_sg20_20"]), abs=6e-5)
    assert abv == pytest.approx(float(row["blend_abv_pct_vol"]), abs=6e-5)
    assert 1000.0 * (true_ml - added_ml) / true_ml == pytest.approx(float(row["delta_volume_mL_per_L"]), abs=1e-4)
    assert 1000.0 * (naive - gravity) == pytest.approx(float(row["sg_error_1e_3"]), abs=1e-4)
    assert abv * (true_ml / added_ml - 1.0) == pytest.approx(float(row["abv_error_pct_vol"]), abs=6e-5)
