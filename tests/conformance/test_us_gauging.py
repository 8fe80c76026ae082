"""The gauging tables of the United States: 27 CFR 21.161, 30.25, 30.41 and 30.64.

Proof is twice the volume per cent at 60 °F; gallons are US gallons; weights are taken in air. Published figures
hold within 2e-4 relative: the legal ethanol of SG 0.7939 is 1.2e-4 heavier than that of OIML R 22.
"""

from __future__ import annotations

import pytest

from service.physics.ethanol_water import (
    abv_percent_from_mass_fraction,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.scales import AIR_DENSITY_KG_M3, SIXTY_FAHRENHEIT_C, sg_in_air_from_in_vacuo
from service.physics.water import water_density_kg_m3
from tests.conformance.alcohol import mass_fraction_from_abv_at_60f, sg_from_mass_fraction
from tests.tables import Row, label, rows

RELATIVE = 2e-4
LITRE_PER_GALLON = 3.785411784
KILOGRAM_PER_POUND = 0.45359237
BRASS_DENSITY_KG_M3 = 8400.0  # weights of that day (from memory)


def published(check: str, column: str) -> float:
    (row,) = rows("cfr_30_64", check=check, mark="published")
    return float(row[column])


WATER_LB_PER_GALLON = published("water at 60 F in air", "water_lb_per_gal")


def gallons_per_pound(proof: float) -> float:
    p = mass_fraction_from_abv_at_60f(proof / 2.0)
    in_air = sg_in_air_from_in_vacuo(sg_from_mass_fraction(p, SIXTY_FAHRENHEIT_C), SIXTY_FAHRENHEIT_C)
    return 1.0 / (WATER_LB_PER_GALLON * in_air)


def test_a_gallon_of_water_weighs_8_32823_pounds() -> None:
    """27 CFR 21.161, water at 60 °F weighed in air with brass weights."""
    apparent_kg_m3 = (water_density_kg_m3(SIXTY_FAHRENHEIT_C) - AIR_DENSITY_KG_M3) / (
        1.0 - AIR_DENSITY_KG_M3 / BRASS_DENSITY_KG_M3
    )
    pounds = apparent_kg_m3 / 1000.0 * LITRE_PER_GALLON / KILOGRAM_PER_POUND
    assert pounds == pytest.approx(WATER_LB_PER_GALLON, rel=RELATIVE)


def test_a_pound_of_water_fills_0_120074_gallons() -> None:
    """27 CFR 30.41."""
    assert gallons_per_pound(0.0) == pytest.approx(published("water", "gal_per_lb"), rel=RELATIVE)


def test_gallons_in_a_pound_of_190_proof() -> None:
    """27 CFR 30.64: 0.14718 wine gallons and 0.27964 proof gallons."""
    gallons = gallons_per_pound(190.0)
    assert gallons == pytest.approx(published("190 proof", "wine_gal_per_lb"), rel=RELATIVE)
    assert 1.9 * gallons == pytest.approx(published("190 proof", "proof_gal_per_lb"), rel=RELATIVE)


def test_proof_gallons_in_1000_pounds_of_200_proof() -> None:
    """27 CFR 30.64: 302.58 proof gallons."""
    assert 2000.0 * gallons_per_pound(200.0) == pytest.approx(
        published("200 proof", "proof_gal_per_1000lb"), rel=RELATIVE
    )


def test_water_to_bring_1000_pounds_from_200_to_190_proof() -> None:
    """27 CFR 30.64: 82.03 pounds of water; a matter of weights, no volumes in it."""
    water = 1000.0 / mass_fraction_from_abv_at_60f(95.0) - 1000.0
    expected = published("reduce 1000 lb from 200 to 190 proof", "water_lb_per_1000lb")
    assert water == pytest.approx(expected, rel=RELATIVE)


def test_spirit_of_115_proof_gauged_at_68_f() -> None:
    """27 CFR 30.25: factor 0.996 to the volume at 60 °F; the table has three digits, hence 0.0005."""
    p = mass_fraction_from_abv_at_60f(57.5)
    factor = ethanol_water_density_kg_m3(p, 20.0) / ethanol_water_density_kg_m3(p, SIXTY_FAHRENHEIT_C)
    assert factor == pytest.approx(published("volume correction 115 proof, 68 F", "volume_factor"), abs=5e-4)


def test_proof_spirit_is_50_parts_of_alcohol_and_53_73_of_water() -> None:
    """TTB Table 6 (from memory): SG 0.93426 at 60 °F, 53.73 volumes of water in 100."""
    (row,) = rows("cfr_30_64", check="100 proof: 50.00 alcohol + water", source="TTB Table 6")
    p = mass_fraction_from_abv_at_60f(50.0)
    gravity = sg_from_mass_fraction(p, SIXTY_FAHRENHEIT_C)
    assert gravity == pytest.approx(float(row["sg_60F_60F"]), abs=3e-5)
    assert 100.0 * (1.0 - p) * gravity == pytest.approx(float(row["water_parts_per_100"]), rel=RELATIVE)


def test_legal_ethanol_is_a_little_heavier_than_that_of_oiml() -> None:
    """27 CFR 5.11 and 19.1: SG 0.7939 at 60 °F; OIML R 22 gives 0.79382 in vacuo and 0.79357 in air."""
    in_vacuo = sg_from_mass_fraction(1.0, SIXTY_FAHRENHEIT_C)
    legal = published("legal ethanol SG", "sg_60F_60F")
    assert in_vacuo == pytest.approx(legal, rel=RELATIVE)
    assert in_vacuo == pytest.approx(0.79382, abs=5e-6)
    assert sg_in_air_from_in_vacuo(in_vacuo, SIXTY_FAHRENHEIT_C) == pytest.approx(0.79357, abs=5e-6)


@pytest.mark.parametrize("row", rows("cfr_30_64", check="strength at 60 F to 20 C"), ids=label)
def test_strength_at_60_f_is_a_little_less_than_at_20_c(row: Row) -> None:
    """OIML R 22 (computed): 0.02 to 0.07 % vol more at 20 °C, inside any label tolerance."""
    p = mass_fraction_from_abv_at_60f(float(row["vol_pct_at_60F"]))
    assert abv_percent_from_mass_fraction(p) == pytest.approx(float(row["vol_pct_at_20C"]), abs=6e-4)
    assert mass_fraction_from_abv_percent(float(row["vol_pct_at_20C"])) == pytest.approx(p, abs=6e-6)
