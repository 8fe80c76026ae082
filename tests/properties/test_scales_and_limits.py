"""Round trips, monotonicity and limits of the physics, on whatever hypothesis thinks of."""

from __future__ import annotations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from service.physics.ethanol_water import (
    abv_percent_from_mass_fraction,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.extract import (
    extract_g_per_l_from_sg_and_abv,
    litre_from_abv_and_extract,
    litre_from_sg_and_abv,
    sg_from_extract_and_abv,
    sg_from_sucrose_g_per_l,
    sucrose_g_per_l_from_sg,
)
from service.physics.fermentation import abv_from_gravities, fermented_out
from service.physics.honey import moisture_percent_from_refractive_index, refractive_index_from_moisture_percent
from service.physics.mixture import WATER_G_PER_ML, density_g_ml, volume_ml
from service.physics.scales import (
    SgScale,
    hydrometer_from_sg_20_20,
    scale_from_sg_20_20,
    sg_20_20_from_hydrometer,
    sg_20_20_from_scale,
    sg_in_air_from_in_vacuo,
    sg_in_vacuo_from_in_air,
)
from service.physics.solutes import Component
from service.physics.sucrose import brix_from_sg, sg_from_brix, sucrose_density_kg_m3

brixes = st.floats(min_value=0.0, max_value=85.0)
strengths = st.floats(min_value=0.0, max_value=100.0)
drinkable = st.floats(min_value=0.0, max_value=25.0)
extracts = st.floats(min_value=0.0, max_value=350.0)
temperatures = st.floats(min_value=0.0, max_value=40.0)


@given(brix=brixes)
def test_brix_and_gravity_round_trip(brix: float) -> None:
    assert brix_from_sg(sg_from_brix(brix)) == pytest.approx(brix, abs=1e-10)


@given(brix=st.floats(min_value=0.0, max_value=84.9), step=st.floats(min_value=1e-6, max_value=0.1))
def test_more_sugar_is_heavier(brix: float, step: float) -> None:
    assert sg_from_brix(brix + step) > sg_from_brix(brix)


@given(gravity=st.floats(min_value=0.98, max_value=1.445))
def test_sucrose_per_litre_round_trip(gravity: float) -> None:
    assert sg_from_sucrose_g_per_l(sucrose_g_per_l_from_sg(gravity)) == pytest.approx(gravity, abs=1e-12)


@given(abv=strengths)
def test_strength_and_mass_fraction_round_trip(abv: float) -> None:
    p = mass_fraction_from_abv_percent(abv)
    # at 100 % vol the coefficients add up to 789.23912 and the definition divides by 789.24
    assert abv_percent_from_mass_fraction(p) == pytest.approx(abv, abs=1e-9 if abv < 99.999 else 2e-4)


@given(abv=st.floats(min_value=0.0, max_value=99.9), step=st.floats(min_value=1e-4, max_value=0.1))
def test_more_alcohol_is_lighter_and_more_by_mass(abv: float, step: float) -> None:
    weak, strong = mass_fraction_from_abv_percent(abv), mass_fraction_from_abv_percent(abv + step)
    assert strong > weak
    assert ethanol_water_density_kg_m3(strong) < ethanol_water_density_kg_m3(weak)


@settings(deadline=None)
@given(abv=drinkable, extract=extracts)
def test_both_extract_rules_round_trip(abv: float, extract: float) -> None:
    gravity = sg_from_extract_and_abv(extract, abv)
    assert extract_g_per_l_from_sg_and_abv(gravity, abv) == pytest.approx(extract, abs=1e-8)
    litre = litre_from_abv_and_extract(abv, extract)
    assert volume_ml(litre) == pytest.approx(1000.0, abs=1e-9)
    assert litre[Component.ETHANOL] == pytest.approx(7.8924 * abv)
    back = litre_from_sg_and_abv(density_g_ml(litre) / WATER_G_PER_ML, abv)
    assert back[Component.SUCROSE] == pytest.approx(extract, abs=1e-8)


@settings(deadline=None)
@given(abv=drinkable, extract=extracts, temperature=temperatures, calibrated=st.floats(min_value=4.0, max_value=25.0))
def test_hydrometer_round_trip(abv: float, extract: float, temperature: float, calibrated: float) -> None:
    gravity = density_g_ml(litre_from_abv_and_extract(abv, extract)) / WATER_G_PER_ML
    reading = hydrometer_from_sg_20_20(gravity, temperature, calibrated, abv)
    assert sg_20_20_from_hydrometer(reading, temperature, calibrated, abv) == pytest.approx(gravity, abs=1e-12)


@settings(deadline=None)
@given(
    abv=drinkable,
    extract=extracts,
    cool=st.floats(min_value=10.0, max_value=35.0),
    warmer=st.floats(min_value=0.1, max_value=5.0),
)
def test_a_warm_sample_reads_lower(abv: float, extract: float, cool: float, warmer: float) -> None:
    """Above 10 °C every drink swells more than the glass does, so the same reading means more, the warmer it is."""
    gravity = density_g_ml(litre_from_abv_and_extract(abv, extract)) / WATER_G_PER_ML
    warm_reading = hydrometer_from_sg_20_20(gravity, cool + warmer, abv_percent=abv)
    assert warm_reading < hydrometer_from_sg_20_20(gravity, cool, abv_percent=abv)


@settings(deadline=None)
@given(abv=drinkable, extract=extracts, scale=st.sampled_from(SgScale))
def test_scales_round_trip(abv: float, extract: float, scale: SgScale) -> None:
    gravity = density_g_ml(litre_from_abv_and_extract(abv, extract)) / WATER_G_PER_ML
    there = scale_from_sg_20_20(gravity, scale, abv)
    assert sg_20_20_from_scale(there, scale, abv) == pytest.approx(gravity, abs=1e-12)
    # mixing scales up costs at most 0.0025 in a drink, which is why each has its name
    assert abs(there - gravity) < 0.0025


@given(gravity=st.floats(min_value=0.75, max_value=1.45), temperature=temperatures)
def test_air_round_trip(gravity: float, temperature: float) -> None:
    in_air = sg_in_air_from_in_vacuo(gravity, temperature)
    assert sg_in_vacuo_from_in_air(in_air, temperature) == pytest.approx(gravity, abs=1e-14)
    assert abs(in_air - 1.0) >= abs(gravity - 1.0)


@given(moisture=st.floats(min_value=13.0, max_value=25.0), temperature=st.floats(min_value=10.0, max_value=40.0))
def test_honey_moisture_round_trip(moisture: float, temperature: float) -> None:
    index = refractive_index_from_moisture_percent(moisture, temperature)
    assert moisture_percent_from_refractive_index(index, temperature) == pytest.approx(moisture, abs=1e-9)
    assert index > refractive_index_from_moisture_percent(25.0, temperature) - 1e-12


@settings(deadline=None)
@given(og=st.floats(min_value=1.01, max_value=1.15), attenuation=st.floats(min_value=0.05, max_value=0.95))
def test_drier_is_stronger(og: float, attenuation: float) -> None:
    fg = og - attenuation * (og - 1.0)
    result = abv_from_gravities(og, fg)
    assert abv_from_gravities(og, fg - 0.0005).abv_percent > result.abv_percent
    assert result.abv_low_percent <= result.abv_percent <= result.abv_high_percent
    assert 0.97 < result.volume_ratio < 1.0


@settings(deadline=None)
@given(og=st.floats(min_value=1.005, max_value=1.15), share=st.floats(min_value=0.001, max_value=0.999))
def test_gravities_give_back_the_fermentation(og: float, share: float) -> None:
    end = fermented_out(og, share)
    assert abv_from_gravities(og, end.final_gravity).abv_percent == pytest.approx(end.abv_percent, abs=1e-8)


@given(p=st.floats(min_value=0.0, max_value=1.0))
def test_without_sugar_the_mixture_is_oiml(p: float) -> None:
    """OIML R 22: sugar → 0 leaves ethanol and water."""
    assume(p < 1.0)
    masses = {Component.WATER: 1.0 - p, Component.ETHANOL: p}
    assert 1000.0 * density_g_ml(masses) == pytest.approx(ethanol_water_density_kg_m3(p), rel=1e-14)
    traces = masses | {Component.SUCROSE: 1e-9 * (1.0 - p)}
    assert 1000.0 * density_g_ml(traces) == pytest.approx(ethanol_water_density_kg_m3(p), rel=1e-9)


@given(w=st.floats(min_value=0.0, max_value=0.85))
def test_without_alcohol_the_mixture_is_icumsa(w: float) -> None:
    """ICUMSA SPS-4: ethanol → 0 leaves sugar and water; the two standards' waters part by 0.0022 kg/m³."""
    density = 1000.0 * density_g_ml({Component.WATER: 1.0 - w, Component.SUCROSE: w})
    assert density == pytest.approx(sucrose_density_kg_m3(w), abs=0.0025)
    assert density / 998.2012300 == pytest.approx(sg_from_brix(100.0 * w), abs=2.2e-6)
