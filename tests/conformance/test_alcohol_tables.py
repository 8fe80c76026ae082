"""Ethanol and water against OIML R 22 and the tables around it."""

from __future__ import annotations

import pytest
from scipy.optimize import brentq

from service.physics.ethanol_water import (
    abv_percent_from_mass_fraction,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.scales import SIXTY_FAHRENHEIT_C, sg_in_air_from_in_vacuo
from tests.conformance.alcohol import mass_fraction_from_abv_at_60f, sg_from_mass_fraction
from tests.tables import Row, label, rows

BY_STRENGTH = rows("oiml_r22_checks", check="R22 table, density at 20 C by strength")
PURE = rows("oiml_r22_checks", check="pure ethanol")
WATER = rows("oiml_r22_checks", check="water, p = 0")
BY_MASS = rows("oiml_r22_checks", check="density and strength by mass fraction, 20 C")
HANDBOOK = rows("oiml_r22_checks", check="older handbook data")
TRALLES = rows("oiml_r22_checks", check="Tralles table, water at maximum density = 1")
USP = rows("usp29_alcoholometric")


@pytest.mark.parametrize("row", BY_STRENGTH, ids=label)
def test_density_by_strength_is_that_of_oiml_r22_table_iva(row: Row) -> None:
    """OIML R 22 (1975), Table IVa (from memory): 10 to 100 % vol at 20 °C, within 0.006 kg/m³."""
    p = mass_fraction_from_abv_percent(float(row["ethanol_vol_pct_20C"]))
    assert ethanol_water_density_kg_m3(p) == pytest.approx(float(row["density_kg_m3"]), abs=0.006)


@pytest.mark.parametrize("row", PURE, ids=label)
def test_pure_ethanol_at_other_temperatures(row: Row) -> None:
    """A property data file that does not name its origin (weak secondary source), within 0.006 kg/m³."""
    density = ethanol_water_density_kg_m3(1.0, float(row["temp_degC"]))
    assert density == pytest.approx(float(row["density_kg_m3"]), abs=0.006)


def test_single_point_at_15_5_c() -> None:
    """Worked example in the documentation of a public implementation of OIML R 22 (weak secondary source)."""
    (row,) = rows("oiml_r22_checks", check="single point")
    density = ethanol_water_density_kg_m3(float(row["ethanol_mass_fraction"]), float(row["temp_degC"]))
    assert density == pytest.approx(float(row["density_kg_m3"]), abs=float(row["tolerance_kg_m3"]))


def test_mass_fraction_from_a_density_at_15_5_c() -> None:
    """The same documentation's inverse: 901.42 kg/m³ at 15.5 °C is a mass fraction of 0.570998000, within 5e-8."""
    (row,) = rows("oiml_r22_checks", check="inverse: mass fraction from density")
    density, temperature = float(row["density_kg_m3"]), float(row["temp_degC"])
    p = brentq(lambda x: ethanol_water_density_kg_m3(x, temperature) - density, 0.0, 1.0, xtol=1e-14)
    assert p == pytest.approx(float(row["ethanol_mass_fraction"]), abs=5e-8)


def test_the_coefficients_add_up_to_pure_ethanol() -> None:
    """OIML R 22 (1975): ΣA = 789.23912, the density that the definition of strength rounds to 789.24."""
    assert ethanol_water_density_kg_m3(1.0) == pytest.approx(789.23912, abs=1e-5)


@pytest.mark.parametrize("row", WATER, ids=label)
def test_water_of_oiml_r22(row: Row) -> None:
    """OIML R 22 with p = 0 (computed): 4 to 25 °C, within 0.0001 kg/m³."""
    density = ethanol_water_density_kg_m3(0.0, float(row["temp_degC"]))
    assert density == pytest.approx(float(row["density_kg_m3"]), abs=1e-4)


@pytest.mark.parametrize("row", BY_MASS, ids=label)
def test_density_and_strength_by_mass(row: Row) -> None:
    """OIML R 22 (computed): 0 to 100 % by mass, the rounding of the row."""
    p = float(row["ethanol_mass_fraction"])
    assert ethanol_water_density_kg_m3(p) == pytest.approx(float(row["density_kg_m3"]), abs=0.006)
    assert abv_percent_from_mass_fraction(p) == pytest.approx(float(row["ethanol_vol_pct_20C"]), abs=0.006)


@pytest.mark.parametrize("row", HANDBOOK, ids=label)
def test_older_handbook_data_stay_close(row: Row) -> None:
    """CRC Handbook, 102nd ed. (after Wolf 1966), and Lange's Handbook at 25 °C (weak secondary source).

    Older data than OIML: 0.12 kg/m³ to 30 % by mass, 0.27 above; no check beyond the fourth decimal.
    """
    density = ethanol_water_density_kg_m3(float(row["ethanol_mass_fraction"]), float(row["temp_degC"]))
    assert density == pytest.approx(1000.0 * float(row["density_g_mL"]), abs=float(row["tolerance_kg_m3"]))


@pytest.mark.parametrize("row", TRALLES, ids=label)
def test_tralles_table(row: Row) -> None:
    """A. Ure, A Dictionary of Arts, Manufactures, and Mines: 60 °F, water at maximum density = 1.

    OIML meets the old table to 0.0001 up to 50 %. Its 100 % row, 0.7939, is the origin of the legal US constant
    and lies 0.0008 above OIML's pure ethanol: Tralles' spirit was not quite free of water.
    """
    strength = float(row["given"].rsplit("=", 1)[1])
    p = mass_fraction_from_abv_at_60f(strength)
    gravity = ethanol_water_density_kg_m3(p, SIXTY_FAHRENHEIT_C) / ethanol_water_density_kg_m3(0.0, 4.0)
    tolerance = 0.00085 if strength == 100.0 else 0.00015
    assert gravity == pytest.approx(float(row["sg_60F_vs_water_max_density"]), abs=tolerance)


@pytest.mark.parametrize("row", USP, ids=label)
def test_usp_alcoholometric_table(row: Row) -> None:
    """USP 29–NF 24, Alcoholometric Table, after NBS Bulletin 9: 0 to 33 % vol at 60 °F.

    Within 0.01 % by mass and 1e-4 in the gravities, which the table gives in air at 60 °F and at 25 °C.
    """
    p = mass_fraction_from_abv_at_60f(float(row["ethanol_vol_pct_at_60F"]))
    assert 100.0 * p == pytest.approx(float(row["ethanol_mass_pct"]), abs=0.01)
    for temperature, column in ((SIXTY_FAHRENHEIT_C, "sg_in_air_60F_60F"), (25.0, "sg_in_air_25C_25C")):
        in_air = sg_in_air_from_in_vacuo(sg_from_mass_fraction(p, temperature), temperature)
        assert in_air == pytest.approx(float(row[column]), abs=1e-4)
