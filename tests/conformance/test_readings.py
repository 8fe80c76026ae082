"""What readings mean, against tables and figures worked out by hand: strength, temperature, acidity, gas, sugar."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.chemistry.acid_state import AcidState
from service.chemistry.charge_balance import titratable_meq_per_l
from service.chemistry.weak_acids import WeakAcid
from service.physics.mixture import WATER_G_PER_ML, volume_ml
from service.physics.solutes import Component
from service.planner.interpreting.acidity import citric_per_g_co2
from service.planner.interpreting.asked import AcidityRead, HydrometerRead, ReadingsAsked, RefractometerRead
from service.planner.interpreting.interpret import interpret_readings
from service.planner.interpreting.sugar import FALL_PER_HEXOSE_G_PER_L, honey_fermentable_share, volumes_of_hexose
from tests.planner.readings_cases import acid, by_method, error_of, sg
from tests.tables import Row, label, rows


@pytest.mark.parametrize("row", rows("refracto_density"), ids=label)
def test_strength_and_extract_of_a_sweet_drink(row: Row) -> None:
    """Rounded readings of hydrometer and refractometer with a known acid; binary sum and Lorentz–Lorenz (computed, two
    decimals of the table; no measured mixtures)."""
    gravity, percent = float(row["rounded_sg20_20"]), float(row["citric_acid_mass_pct"])
    known = acid(percent * 10.0 * gravity * 0.9982) if percent else None
    found = interpret_readings(
        ReadingsAsked(sg(gravity), None, RefractometerRead(float(row["rounded_refractometer_degBx"])), known)
    )
    (two,) = (r for r in found.alcohol if r.method == "hydrometer_and_refractometer")
    assert two.abv_percent == pytest.approx(float(row["abv_from_rounded_pct_vol"]), abs=0.0061)
    assert found.sugar is not None
    assert found.sugar.extract_percent - percent == pytest.approx(float(row["sugar_from_rounded_mass_pct"]), abs=0.011)
    assert two.low is not None
    assert two.high is not None
    assert two.low < float(row["true_abv_pct_vol"]) < two.high


@pytest.mark.parametrize(("hydrometer", "error"), [(0.001, 0.48), (0.002, 0.80)])
def test_how_well_two_instruments_know_a_strength(hydrometer: float, error: float) -> None:
    """±0.001 and ±0.2 °Bx leave ±0.48 % vol at 9 % extract, ±0.002 leave ±0.8 (computed)."""
    asked = ReadingsAsked(sg(1.029), None, RefractometerRead(11.3), acid(0.5 * 10.0 * 1.029 * 0.9982))
    found = interpret_readings(replace(asked, circumstances=error_of(hydrometer)))
    assert by_method(found)["hydrometer_and_refractometer"].error_percent == pytest.approx(error, abs=0.02)


@pytest.mark.parametrize("row", [r for r in rows("og_fg_abv") if r["method"].startswith("mass balance")], ids=label)
def test_strength_from_two_gravities(row: Row) -> None:
    """Balling's factors and the density of the mixture (computed), four decimals of the table."""
    found = interpret_readings(ReadingsAsked(sg(float(row["fg_sg20_20"])), sg(float(row["og_sg20_20"]))))
    assert found.abv_percent is not None
    assert found.abv_percent.value == pytest.approx(float(row["abv20_pct_vol"]), abs=0.0011)
    assert found.sugar is not None
    assert found.sugar.extract_percent == pytest.approx(float(row["real_extract_mass_pct"]), abs=0.006)
    factor = by_method(found)["factor_131_25"]
    assert factor.abv_percent == pytest.approx(float(row["abv_131_25_rule_pct_vol"]), abs=0.0006)
    assert not factor.used


def test_the_spread_of_published_yields() -> None:
    """OG 1.100 to 1.000: 13.43 by Balling, 13.77 at 0.480 g/g, 13.98 by theory (computed)."""
    found = interpret_readings(ReadingsAsked(sg(1.000), sg(1.100)))
    assert "13.43 to 13.98" in by_method(found)["two_gravities"].text
    two = by_method(found)["two_gravities"]
    assert two.error_percent == pytest.approx(131.25 * 2.0**0.5 * 0.001, abs=0.03)  # ±0.19 by the rule's factor


@pytest.mark.parametrize(
    ("sample_c", "corrected"), [(4.0, 1.0086), (10.0, 1.0087), (25.0, 1.0111), (30.0, 1.0123), (38.0, 1.0149)]
)
def test_a_reading_of_1010_at_other_temperatures(sample_c: float, corrected: float) -> None:
    """R·[1 − 25e-6 (t − 20)]·ρ_w(20)/ρ_w(t), water alone (computed): a drink near water follows within 0.0002."""
    found = interpret_readings(ReadingsAsked(sg(1.010, sample_c), abv_percent=0.0))
    assert found.gravity is not None
    assert found.gravity.value == pytest.approx(corrected, abs=3e-4)
    assert found.gravity.shown == 1.010
    assert found.gravity.value - found.gravity.shown == pytest.approx(found.gravity.correction, abs=2e-5)


@pytest.mark.parametrize(
    ("sample_c", "correction"), [(10.0, -0.0019), (15.0, -0.0011), (18.0, -0.0005), (22.0, 0.0005), (30.0, 0.0029)]
)
def test_a_drink_of_12_percent_expands_more_than_water(sample_c: float, correction: float) -> None:
    """12 % vol with 20 g/L: corrections by the liquid's own expansion (computed, four decimals)."""
    found = interpret_readings(ReadingsAsked(sg(0.992, sample_c), abv_percent=12.0))
    assert found.gravity is not None
    assert found.gravity.correction == pytest.approx(correction, abs=1.1e-4)


def test_ten_millilitres_of_base_for_ten_of_sample() -> None:
    """10 mL of 0.1 mol/L for 10 mL: 0.1·64.04 = 6.40 g/L as citric, 0.1·75.04 = 7.50 as tartaric (formula masses)."""
    read = AcidityRead(100.0, 2.0, 8.2, True, "10 mL", titrated_here=True)
    found = interpret_readings(ReadingsAsked(acidity=read)).acidity
    assert found is not None
    assert found.g_per_l_citric.value == 6.40
    assert found.g_per_l_tartaric.value == 7.50
    assert found.meq_per_l.value == 100.0


def test_what_gas_and_the_end_point_do_to_an_acidity() -> None:
    """1 g/L of carbon dioxide titrates like 1.46 g/L citric to 8.2 (computed); citric acid shows 1.7 to 6.3 % less at
    7.0, by which pKa3 is taken (computed)."""
    assert citric_per_g_co2(8.2) == pytest.approx(1.46, abs=0.005)
    lemonade = AcidState.of({WeakAcid.CITRIC: 31.2}, 5.0)
    less = 1.0 - titratable_meq_per_l(lemonade, 7.0) / titratable_meq_per_l(lemonade, 8.2)
    assert 0.015 < less < 0.063


def test_an_undegassed_ferment() -> None:
    """A dry drink of 6.5 % vol holds 1.616 g/L of carbon dioxide at 20 °C without pressure (computed): 2.36 citric."""
    read = acid(6.0, degassed=False)
    found = interpret_readings(ReadingsAsked(sg(0.996), abv_percent=6.5, acidity=read)).acidity
    assert found is not None
    assert found.co2_could_add_g_per_l_citric == pytest.approx(1.616 * 1.46, rel=0.01)
    assert found.g_per_l_citric.low < 6.0 - 2.3
    assert found.g_per_l_citric.high < 6.3


def test_what_a_fall_of_gravity_means() -> None:
    """A gram of hexose in a litre gives 0.484 g of ethanol (Balling) and leaves: gravity falls by 0.47 points, so that
    0.001 is 2.1 g/L of sugar and half a volume of gas (computed)."""
    before = {Component.WATER: 990.0, Component.GLUCOSE: 4.5, Component.FRUCTOSE: 5.5, Component.ETHANOL: 45.0}
    after = {**before, Component.GLUCOSE: 4.0, Component.FRUCTOSE: 5.0, Component.ETHANOL: 45.484}
    gravities = [sum(m.values()) / volume_ml(m) / WATER_G_PER_ML for m in (before, after)]
    litres = volume_ml(before) / 1000.0
    assert (gravities[0] - gravities[1]) * litres == pytest.approx(FALL_PER_HEXOSE_G_PER_L, abs=1e-5)
    sugar = 0.001 / FALL_PER_HEXOSE_G_PER_L
    assert sugar == pytest.approx(2.1, abs=0.05)
    assert volumes_of_hexose(sugar) == pytest.approx(0.5, abs=0.01)


def test_what_of_honey_ferments() -> None:
    """Fructose, glucose, sucrose and half of the disaccharides over the solids: 0.89, 0.85 to 0.94 by White's means
    (computed); the row's own differ a little."""
    share = honey_fermentable_share()
    assert (share.low, share.value, share.high) == pytest.approx((0.85, 0.89, 0.94), abs=0.011)


@pytest.mark.parametrize(
    ("og", "ends"), [(1.048, (0.996, 0.993, 0.998)), (1.050, (0.996, 0.993, 0.998)), (1.055, (0.995, 0.992, 0.998))]
)
def test_where_a_honey_must_ends(og: float, ends: tuple[float, float, float]) -> None:
    """Balling's factors, fermentable share 0.89 (0.94 to 0.85): computed, to the last digit but for the row's share."""
    found = interpret_readings(ReadingsAsked(HydrometerRead(1.010), sg(og))).sugar
    assert found is not None
    assert found.expected_final_gravity is not None
    told = found.expected_final_gravity
    assert (told.value, told.low, told.high) == pytest.approx(ends, abs=1.1e-3)
