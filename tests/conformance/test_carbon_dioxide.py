"""Carbon dioxide, pressure and the swelling of heated drink against published figures and computed check values."""

from __future__ import annotations

import math
from math import inf, nan
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import OutOfRangeError
from service.physics import headspace
from service.physics.carbon_dioxide import (
    ATMOSPHERE_BAR,
    G_PER_L_PER_VOLUME,
    SHARE_OF_ERROR,
    STILL_BAR_20C,
    US_STILL_G_PER_L,
    closed_co2_g_per_l,
    closed_pressure_bar,
    co2_from_sugar_g_per_l,
    co2_g_per_l_at_gauge,
    co2_g_per_l_from_volumes,
    co2_solubility_g_per_l_bar,
    co2_solubility_in_water_g_per_l_bar,
    co2_volumes_from_g_per_l,
    gauge_bar_for_co2,
    psi_from_bar,
    sugar_within_tolerance_g_per_l,
    wine_co2_g_per_l_at_20c,
)
from service.physics.pasteurising import minutes_for_units, pasteurising_units
from service.physics.water import kell_water_density_kg_m3, water_density_kg_m3
from tests.tables import Row, label, rows

TEMPERATURES = st.floats(0.0, 60.0)
STRENGTHS = st.floats(0.0, 20.0)
SUGARS = st.floats(0.0, 300.0)
ROOMS = st.floats(0.0, 1.0)


def figure(row: Row, column: str) -> float:
    return float(row[column])


def drink_of(row: Row) -> tuple[float, float, float]:
    return figure(row, "temp_degC"), figure(row, "abv_pct_vol"), figure(row, "sugar_g_per_L")


@pytest.mark.parametrize(
    "row", rows("co2_checks", check="solubility") + rows("co2_checks", check="solubility, water"), ids=label
)
def test_solubility_as_computed(row: Row) -> None:
    """Computed from Carroll, Slupsky and Mather 1991 and Regulation (EEC) No 2676/90, Annex, ch. 37."""
    found = co2_solubility_g_per_l_bar(*drink_of(row))
    assert found == pytest.approx(figure(row, "k_g_per_L_bar"), rel=figure(row, "tolerance_relative"))


@pytest.mark.parametrize("drink", ["champagne", "lager"])
def test_solubility_in_two_published_drinks(drink: str) -> None:
    """Champagne at 10 °C about 2.1, lager at 6 °C about 2.4 g/(L·bar): Liger-Belair and Cilindre, ACS Omega 6 (2021)
    9672, table 1; strength and sugar of both are assumed."""
    (row,) = rows("co2_checks", check=f"solubility, {drink}")
    found = co2_solubility_g_per_l_bar(*drink_of(row))
    assert found == pytest.approx(figure(row, "k_g_per_L_bar"), rel=SHARE_OF_ERROR)
    assert figure(row, "tolerance_relative") == SHARE_OF_ERROR


def weiss_g_per_l_atm(temperature_c: float) -> float:
    """Weiss, Mar. Chem. 2 (1974) 203, freshwater: ln K₀ = −58.0931 + 90.5069·100/T + 22.2940·ln(T/100)."""
    hundreds = (temperature_c + 273.15) / 100.0
    return math.exp(-58.0931 + 90.5069 / hundreds + 22.2940 * math.log(hundreds)) * 44.0095


def test_water_against_another_law_of_solubility() -> None:
    """Weiss 1974: 1.6 % apart at 20 °C, and no more than 3 % from 0 to 40 °C (computed)."""
    ours = co2_solubility_in_water_g_per_l_bar(20.0) * ATMOSPHERE_BAR
    assert weiss_g_per_l_atm(20.0) == pytest.approx(1.721, abs=0.001)
    assert ours / weiss_g_per_l_atm(20.0) - 1.0 == pytest.approx(0.016, abs=0.001)
    for temperature in range(0, 41, 5):
        other = weiss_g_per_l_atm(float(temperature))
        assert co2_solubility_in_water_g_per_l_bar(float(temperature)) * ATMOSPHERE_BAR == pytest.approx(
            other, rel=0.03
        )


def test_the_method_for_sparkling_wine_is_close() -> None:
    """Regulation (EEC) No 2676/90, Annex, ch. 37: 1.951·0.86 = 1.678 g/(L·bar) in water, ours 1.725 (computed)."""
    for abv, sugar in ((0.0, 0.0), (6.5, 100.0), (12.5, 10.0)):
        ratio = wine_co2_g_per_l_at_20c(1.0, abv, sugar) / co2_solubility_g_per_l_bar(20.0, abv, sugar)
        assert ratio == pytest.approx(0.973, abs=0.001)
    assert wine_co2_g_per_l_at_20c(1.0, 0.0, 0.0) == pytest.approx(1.951 * 0.86)


def test_heat_drives_gas_out() -> None:
    """At 65 °C carbon dioxide is 2.6 times less soluble than at 20 °C (computed)."""
    ratio = co2_solubility_in_water_g_per_l_bar(20.0) / co2_solubility_in_water_g_per_l_bar(65.0)
    assert ratio == pytest.approx(2.57, abs=0.03)


@pytest.mark.parametrize("row", rows("co2_checks", check="bottle pressure after refermentation"), ids=label)
def test_pressure_after_refermentation(row: Row) -> None:
    """Computed: P = C/(k + h·44.0095/(R·T)), C = c₀ + 0.4886·0.95·ΔS."""
    content = figure(row, "c0_co2_g_per_L") + co2_from_sugar_g_per_l(figure(row, "hexose_burned_g_per_L"))
    tolerance = figure(row, "tolerance_relative")
    assert content == pytest.approx(figure(row, "co2_g_per_L"), rel=tolerance)
    assert co2_volumes_from_g_per_l(content) == pytest.approx(figure(row, "co2_volumes"), rel=tolerance)
    found = closed_pressure_bar(content, *drink_of(row), figure(row, "headspace_fraction"))
    assert found == pytest.approx(figure(row, "pressure_bar"), rel=tolerance)


@pytest.mark.parametrize("row", rows("co2_checks", check="sugar needed to reach a pressure"), ids=label)
def test_sugar_that_reaches_a_pressure(row: Row) -> None:
    """Computed."""
    content = closed_co2_g_per_l(figure(row, "pressure_bar"), *drink_of(row), figure(row, "headspace_fraction"))
    sugar = (content - figure(row, "c0_co2_g_per_L")) / co2_from_sugar_g_per_l(1.0)
    assert sugar == pytest.approx(figure(row, "hexose_burned_g_per_L"), rel=figure(row, "tolerance_relative"))


@pytest.mark.parametrize("row", rows("co2_checks", check="keg, gauge pressure"), ids=label)
def test_keg_pressure(row: Row) -> None:
    """Computed; the tolerance goes with the absolute pressure."""
    content = co2_g_per_l_from_volumes(figure(row, "co2_volumes"))
    found = gauge_bar_for_co2(content, *drink_of(row)) + ATMOSPHERE_BAR
    wanted = figure(row, "pressure_bar") + ATMOSPHERE_BAR
    assert found == pytest.approx(wanted, rel=figure(row, "tolerance_relative"))


@pytest.mark.parametrize("row", rows("co2_checks", check="keg left under CO2, gauge pressure"), ids=label)
def test_a_keg_left_under_gas(row: Row) -> None:
    """Computed."""
    found = co2_g_per_l_at_gauge(figure(row, "pressure_bar"), *drink_of(row))
    assert found == pytest.approx(figure(row, "co2_g_per_L"), rel=figure(row, "tolerance_relative"))
    assert co2_volumes_from_g_per_l(found) == pytest.approx(figure(row, "co2_volumes"), rel=0.005)


@pytest.mark.parametrize("row", rows("co2_checks", check="saturation after fermentation, 1 atm"), ids=label)
def test_what_a_ferment_leaves(row: Row) -> None:
    """Computed: all of 1 atm taken as carbon dioxide."""
    assert co2_g_per_l_at_gauge(0.0, *drink_of(row)) == pytest.approx(figure(row, "co2_g_per_L"), rel=0.005)


def test_the_rule_of_sparkling_wine() -> None:
    """24 g/L of sucrose give 6 bar at 10 °C (from memory, unverified); 5.7 to 6.1 with 0 to 1 g/L of gas before."""
    (row,) = rows("co2_checks", check="24 g/L sucrose in sparkling wine")
    made = co2_from_sugar_g_per_l(0.0, 24.0)
    assert made == pytest.approx(figure(row, "co2_g_per_L"), abs=0.01)
    for before, bar in ((0.0, 5.66), (1.0, 6.15)):
        found = closed_pressure_bar(before + made, *drink_of(row), 0.04)
        assert found == pytest.approx(bar, abs=0.01)
        assert found == pytest.approx(figure(row, "pressure_bar"), rel=SHARE_OF_ERROR)


def test_the_lines_of_still_wine() -> None:
    """Below 0.5 bar at 20 °C: OIV-MA-AS314-01. 0.392 g in 100 mL, 1.98 volumes (computed): 27 CFR 24.257, 2015."""
    assert STILL_BAR_20C == 0.5
    assert pytest.approx(10.0 * 0.392) == US_STILL_G_PER_L
    assert co2_volumes_from_g_per_l(US_STILL_G_PER_L) == pytest.approx(1.98, abs=0.005)


def test_units_of_gas() -> None:
    """1 volume is 1.9768 g/L (from memory, unverified), ideal gas 1.9635; 1 bar is 14.5038 psi (NIST SP 811)."""
    assert G_PER_L_PER_VOLUME == 1.9768
    ideal = 44.0095 / (0.0831446 * 273.15) * ATMOSPHERE_BAR
    assert ideal == pytest.approx(1.9635, abs=2e-4)
    assert psi_from_bar(1.0) == pytest.approx(14.5038, abs=1e-4)


@pytest.mark.parametrize(("hexose", "sucrose", "volumes"), [(0.0, 4.05, 1.0), (4.26, 0.0, 1.0)])
def test_sugar_for_one_volume(hexose: float, sucrose: float, volumes: float) -> None:
    """Computed, 95 % of the carbon."""
    found = co2_volumes_from_g_per_l(co2_from_sugar_g_per_l(hexose, sucrose))
    assert found == pytest.approx(volumes, abs=0.002)


@pytest.mark.parametrize(("tolerance", "sugar"), [(8.0, 25.0), (10.0, 59.0), (12.0, 92.0), (14.0, 126.0), (6.0, 0.0)])
def test_sugar_within_a_tolerance(tolerance: float, sugar: float) -> None:
    """Computed from 6.5 % vol: (tolerance − A)·7.8924/0.47."""
    assert sugar_within_tolerance_g_per_l(tolerance, 6.5) == pytest.approx(sugar, abs=0.51)


@pytest.mark.parametrize(("start", "end", "percent"), [(4.0, 40.0, 0.78), (20.0, 65.0, 1.80), (20.0, 70.0, 2.09)])
def test_how_water_swells(start: float, end: float, percent: float) -> None:
    """Computed from Kell 1975; a drink is taken to swell 1.15 times as much (our default)."""
    assert 100.0 * headspace.water_swelling_share(start, end) == pytest.approx(percent, abs=0.006)
    assert 100.0 * headspace.drink_swelling_share(start, end) == pytest.approx(1.15 * percent, abs=0.007)


@pytest.mark.parametrize("temperature", [0.0, 10.0, 20.0, 30.0, 40.0])
def test_density_of_water_agrees_with_the_newer_formula(temperature: float) -> None:
    """Tanaka et al., Metrologia 38 (2001) 301."""
    assert kell_water_density_kg_m3(temperature) == pytest.approx(water_density_kg_m3(temperature), abs=0.004)


@pytest.mark.parametrize(
    ("temperature", "density"), [(50.0, 988.03), (60.0, 983.20), (70.0, 977.76), (80.0, 971.79), (100.0, 958.35)]
)
def test_density_of_hot_water(temperature: float, density: float) -> None:
    """CRC Handbook of Chemistry and Physics, density of standard mean ocean water free of salt and air (from memory,
    unverified)."""
    assert kell_water_density_kg_m3(temperature) == pytest.approx(density, abs=0.03)


@pytest.mark.parametrize(("share", "end", "bar"), [(0.04, 70.0, 2.5), (0.03, 70.0, 3.9), (0.02, 65.0, 11.7)])
def test_squeezed_air(share: float, end: float, bar: float) -> None:
    """Computed for water: P = 1.013·(T₂/T₁)·h/(h − ΔV), in bar absolute."""
    found = headspace.squeezed_air_bar(share, headspace.water_swelling_share(20.0, end), 20.0, end)
    assert found == pytest.approx(bar, abs=0.06)


def test_a_container_full_of_liquid() -> None:
    """Headspace 2 %, water from 20 to 70 °C: nothing gives way but the container (computed)."""
    assert headspace.squeezed_air_bar(0.02, headspace.water_swelling_share(20.0, 70.0), 20.0, 70.0) is None


@pytest.mark.parametrize(
    ("temperature", "bar"), [(20.0, 0.02339), (60.0, 0.19946), (70.0, 0.31201), (80.0, 0.47414), (100.0, 1.01418)]
)
def test_vapour_of_water(temperature: float, bar: float) -> None:
    """IAPWS industrial formulation 1997, saturation pressures in steam tables (from memory, unverified)."""
    assert headspace.vapour_bar(temperature, 0.0) == pytest.approx(bar, rel=0.017)
    assert headspace.vapour_bar(temperature, 6.0) == pytest.approx(1.24 * headspace.vapour_bar(temperature, 0.0))


@pytest.mark.parametrize("row", rows("pasteurisation_units", note="PU from time and temperature"), ids=label)
def test_pasteurising_units_of_the_table(row: Row) -> None:
    """Computed from the formula of Del Vecchio et al. 1951, to the last digit."""
    found = pasteurising_units(figure(row, "time_min"), figure(row, "temp_degC"))
    assert found == pytest.approx(figure(row, "pasteurisation_units_PU"), abs=0.51)


@pytest.mark.parametrize("row", [r for r in rows("pasteurisation_units") if "time for 60" in r["note"]], ids=label)
def test_minutes_of_the_table(row: Row) -> None:
    """Computed, to the last digit; 0.1 at 68 °C."""
    found = minutes_for_units(60.0, figure(row, "temp_degC"))
    minutes = figure(row, "time_min")
    assert found == pytest.approx(minutes, abs=0.51 if minutes == int(minutes) else 0.101)


@given(
    temperature=TEMPERATURES,
    step=st.floats(0.01, 20.0),
    abv=STRENGTHS,
    sugar=SUGARS,
    room=ROOMS,
    content=st.floats(0.01, 20.0),
)
@settings(max_examples=50)
def test_pressure_rises_with_temperature_and_gas(
    temperature: float, step: float, abv: float, sugar: float, room: float, content: float
) -> None:
    here = closed_pressure_bar(content, temperature, abv, sugar, room)
    assert closed_pressure_bar(content, temperature + step, abv, sugar, room) > here
    assert closed_pressure_bar(content * 1.01, temperature, abv, sugar, room) > here
    assert closed_pressure_bar(content, temperature, abv, sugar, room + 0.01) < here
    if sugar + 1.0 <= 300.0:
        assert closed_pressure_bar(content, temperature, abv, sugar + 1.0, room) > here


@given(temperature=TEMPERATURES, abv=STRENGTHS, sugar=SUGARS, room=ROOMS, content=st.floats(0.0, 50.0))
@settings(max_examples=50)
def test_content_and_pressure_are_inverses(
    temperature: float, abv: float, sugar: float, room: float, content: float
) -> None:
    bar = closed_pressure_bar(content, temperature, abv, sugar, room)
    assert closed_co2_g_per_l(bar, temperature, abv, sugar, room) == pytest.approx(content, rel=1e-12)
    gauge = gauge_bar_for_co2(content, temperature, abv, sugar)
    assert co2_g_per_l_at_gauge(gauge, temperature, abv, sugar) == pytest.approx(content, rel=1e-9, abs=1e-9)
    assert co2_g_per_l_from_volumes(co2_volumes_from_g_per_l(content)) == pytest.approx(content)


BEYOND: dict[str, Any] = {
    "ice": lambda: co2_solubility_g_per_l_bar(-0.1, 6.0, 50.0),
    "steam": lambda: co2_solubility_g_per_l_bar(100.1, 6.0, 50.0),
    "no temperature": lambda: co2_solubility_in_water_g_per_l_bar(nan),
    "spirit": lambda: co2_solubility_g_per_l_bar(20.0, 20.1, 0.0),
    "syrup": lambda: co2_solubility_g_per_l_bar(20.0, 6.0, 300.1),
    "wine method with spirit": lambda: wine_co2_g_per_l_at_20c(1.0, 40.0, 0.0),
    "less than nothing": lambda: closed_pressure_bar(-0.1, 20.0, 6.0, 50.0, 0.04),
    "endless gas": lambda: co2_volumes_from_g_per_l(inf),
    "volumes below nothing": lambda: co2_g_per_l_from_volumes(-1.0),
    "less than a vacuum": lambda: co2_g_per_l_at_gauge(-1.02, 4.0, 6.0, 50.0),
    "no headspace": lambda: closed_pressure_bar(1.0, 20.0, 6.0, 50.0, -0.01),
    "sugar below nothing": lambda: co2_from_sugar_g_per_l(-1.0),
    "tolerance below nothing": lambda: sugar_within_tolerance_g_per_l(-1.0, 6.0),
    "pressure below nothing": lambda: closed_co2_g_per_l(-1.0, 20.0, 6.0, 50.0, 0.04),
    "boiling water": lambda: kell_water_density_kg_m3(100.1),
    "frozen water": lambda: headspace.water_swelling_share(-1.0, 20.0),
    "headspace below nothing": lambda: headspace.squeezed_air_bar(-0.01, 0.0, 20.0, 60.0),
    "boiling headspace": lambda: headspace.squeezed_air_bar(0.04, 0.02, 20.0, 101.0),
    "vapour beyond boiling": lambda: headspace.vapour_bar(100.1, 6.0),
    "vapour of spirit": lambda: headspace.vapour_bar(60.0, 40.0),
}


@pytest.mark.parametrize("case", BEYOND)
def test_outside_the_range_is_refused(case: str) -> None:
    with pytest.raises(OutOfRangeError):
        BEYOND[case]()
