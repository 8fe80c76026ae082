"""Hydrometers and gravity scales against the saccharometer corrections of NBS and the OIML expansion."""

from __future__ import annotations

import pytest

from service.errors import InconsistentError, OutOfRangeError
from service.physics.ethanol_water import ethanol_water_density_kg_m3
from service.physics.extract import litre_from_abv_and_extract
from service.physics.mixture import density_g_ml
from service.physics.scales import (
    SIXTY_FAHRENHEIT_C,
    SgScale,
    density_at_temperature_kg_m3,
    hydrometer_from_sg_20_20,
    scale_from_sg_20_20,
    sg_20_20_from_hydrometer,
    sg_20_20_from_scale,
)
from service.physics.sucrose import brix_from_sg, sg_from_brix, sucrose_density_kg_m3
from service.physics.water import OIML_WATER_20C_KG_M3
from tests.tables import Row, label, rows

SACCHAROMETER = rows("hydrometer_temperature", check="saccharometer 20 C")
HYDROMETER = rows("hydrometer_temperature", check="SG hydrometer 20/20")
WATER_ONLY = rows("hydrometer_temperature", check="SG hydrometer 20/20, water expansion only")


def sg(abv_percent: float, extract_g_per_l: float) -> float:
    return 1000.0 * density_g_ml(litre_from_abv_and_extract(abv_percent, extract_g_per_l)) / OIML_WATER_20C_KG_M3


LIQUIDS = {
    "water": (1.0, 0.0),
    "must SG 1.100": (1.1, 0.0),
    "12 % vol, 20 g/L": (sg(12.0, 20.0), 12.0),
    "14 % vol, 120 g/L": (sg(14.0, 120.0), 14.0),
}


@pytest.mark.parametrize("row", SACCHAROMETER, ids=label)
def test_saccharometer_corrections_of_nbs_c440(row: Row) -> None:
    """NBS Circular C440/AOAC, saccharometer calibrated at 20 °C (from memory): within 0.02 °Bx."""
    reading = float(row["reading_degBx"])
    gravity = sg_20_20_from_hydrometer(sg_from_brix(reading), float(row["temp_degC"]))
    correction = brix_from_sg(gravity) - reading
    assert correction == pytest.approx(float(row["correction_to_add_degBx"]), abs=0.02)
    assert correction == pytest.approx(float(row["computed_correction_degBx"]), abs=0.006)


@pytest.mark.parametrize("row", HYDROMETER, ids=lambda row: f"{row['liquid']}-{row['temp_degC']}")
def test_hydrometer_corrections_of_four_liquids(row: Row) -> None:
    """The liquid's own expansion and the glass's 25e-6/°C (OIML R 22, tables VIII–IX); rows computed, to 0.0001."""
    gravity, abv = LIQUIDS[row["liquid"]]
    temperature = float(row["temp_degC"])
    reading = hydrometer_from_sg_20_20(gravity, temperature, abv_percent=abv)
    assert gravity - reading == pytest.approx(float(row["correction_to_add_sg"]), abs=1e-4)
    assert sg_20_20_from_hydrometer(reading, temperature, abv_percent=abv) == pytest.approx(gravity, abs=1e-12)


@pytest.mark.parametrize("row", WATER_ONLY, ids=label)
def test_a_weak_drink_corrected_by_water_alone(row: Row) -> None:
    """SG₂₀ = R (1 − 25e-6 (t − 20)) ρ_w(20)/ρ_w(t) (computed), and how far a drink's own expansion moves it.

    At 1.010 the two agree within 0.0002; a must of 1.100 or a sweet mead would miss by up to 0.0015.
    """
    reading, temperature = float(row["reading_sg20_20"]), float(row["temp_degC"])
    glass = 1.0 - 25e-6 * (temperature - 20.0)
    water = ethanol_water_density_kg_m3(0.0, 20.0) / ethanol_water_density_kg_m3(0.0, temperature)
    assert reading * glass * water == pytest.approx(float(row["corrected_sg20_20"]), abs=1e-4)
    own = sg_20_20_from_hydrometer(reading, temperature)
    assert own == pytest.approx(float(row["corrected_sg20_20"]), abs=2e-4)


@pytest.mark.parametrize(
    ("gravity", "abv", "sixty", "fifteen"),
    [
        (1.05, 0.0, 1.05023, 1.05027),
        (1.10, 0.0, 1.10045, 1.10052),
        (1.15, 0.0, 1.15066, 1.15075),
        (0.98413, 12.0, 0.98437, None),
        (1.02276, 12.0, 1.02321, None),
    ],
)
def test_older_hydrometers_read_another_scale(gravity: float, abv: float, sixty: float, fifteen: float | None) -> None:
    """SG 60 °F/60 °F and 15/15 of sugar solutions, a dry and a sweet drink (computed): to the last digit, 1e-5."""
    assert scale_from_sg_20_20(gravity, SgScale.SG_60F_60F, abv) == pytest.approx(sixty, abs=1e-5)
    assert sg_20_20_from_scale(sixty, SgScale.SG_60F_60F, abv) == pytest.approx(gravity, abs=1e-5)
    if fifteen is not None:
        assert scale_from_sg_20_20(gravity, SgScale.SG_15_15, abv) == pytest.approx(fifteen, abs=1e-5)


def test_a_60_f_hydrometer_at_its_own_temperature_reads_its_own_scale() -> None:
    at_home = sg_20_20_from_hydrometer(1.048, SIXTY_FAHRENHEIT_C, SIXTY_FAHRENHEIT_C)
    assert at_home == sg_20_20_from_scale(1.048, SgScale.SG_60F_60F)


def test_20_4_and_in_air_need_no_knowledge_of_the_liquid() -> None:
    """ICUMSA SPS-4: 20 % sucrose is d20/4 1.08101 and SG 20/20 1.08292; 10 % is 1.04003 in air (computed)."""
    assert sg_20_20_from_scale(1.08101, SgScale.SG_20_4) == pytest.approx(1.08292, abs=1e-5)
    assert scale_from_sg_20_20(1.08292, SgScale.SG_20_4) == pytest.approx(1.08101, abs=1e-5)
    assert sg_20_20_from_scale(1.04003, SgScale.SG_20_20_IN_AIR) == pytest.approx(1.03998, abs=1e-5)
    assert scale_from_sg_20_20(1.03998, SgScale.SG_20_20_IN_AIR) == pytest.approx(1.04003, abs=1e-5)
    assert sg_20_20_from_scale(1.05, SgScale.SG_20_20) == scale_from_sg_20_20(1.05, SgScale.SG_20_20) == 1.05


@pytest.mark.parametrize("temperature", [5.0, 15.0, 30.0, 40.0])
def test_the_expansion_is_oiml_without_sugar_and_icumsa_without_alcohol(temperature: float) -> None:
    """OIML R 22 for the dry drink; ICUMSA SPS-4 for the must, within the 0.005 kg/m³ between the two waters."""
    p = 0.0806
    dry = ethanol_water_density_kg_m3(p) / OIML_WATER_20C_KG_M3
    abv = 100.0 * p * ethanol_water_density_kg_m3(p) / 789.24
    assert density_at_temperature_kg_m3(dry, abv, temperature) == pytest.approx(
        ethanol_water_density_kg_m3(p, temperature), abs=1e-6
    )
    must = density_at_temperature_kg_m3(sg_from_brix(24.0), 0.0, temperature)
    assert must == pytest.approx(sucrose_density_kg_m3(0.24, temperature), abs=0.008)


def test_readings_that_cannot_be_are_refused() -> None:
    with pytest.raises(OutOfRangeError, match="0–40 °C"):
        sg_20_20_from_hydrometer(1.050, 50.0)
    with pytest.raises(OutOfRangeError, match="calibration"):
        sg_20_20_from_hydrometer(1.050, 20.0, 60.0)
    with pytest.raises(OutOfRangeError, match="points"):
        sg_20_20_from_hydrometer(50.0, 20.0)
    with pytest.raises(OutOfRangeError, match="points"):
        scale_from_sg_20_20(12.0, SgScale.SG_20_4)
    with pytest.raises(OutOfRangeError, match="% vol"):
        sg_20_20_from_hydrometer(0.90, 20.0, abv_percent=75.0)
    with pytest.raises(InconsistentError, match="without alcohol"):
        sg_20_20_from_hydrometer(0.965, 15.0)
