"""Every analytic derivative against a numeric one, to 1e-8.

The numeric derivative is Romberg's: central differences at h, h/2, h/4, h/8, extrapolated to h = 0, so that the
error of truncation falls as h⁸ and h may stay large enough (0.01) for rounding not to matter. Relative means
relative to the derivative itself or, where it passes through zero, to a hundredth of its largest value.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.physics.ethanol_water import ethanol_water_density_kg_m3, specific_volume_ml_g
from service.physics.mixture import VOLUME_SUMS, volume_and_gradient_ml, volume_sums
from service.physics.solutes import SOLUTE_LAWS, Component
from service.physics.sucrose import apparent_specific_volume_ml_g, sucrose_density_kg_m3
from service.physics.water import icumsa_water_density_kg_m3

RELATIVE = 1e-8


def derivative(function: Callable[[float], float], x: float, h: float) -> float:
    """Four central differences and three rounds of Richardson's extrapolation."""
    column = [(function(x + step) - function(x - step)) / (2.0 * step) for step in (h, h / 2, h / 4, h / 8)]
    weight = 1.0
    while len(column) > 1:
        weight *= 4.0
        column = [(weight * fine - coarse) / (weight - 1.0) for coarse, fine in pairwise(column)]
    return column[0]


P = [0.0, 0.01, 0.05, 0.0807, 0.15, 0.25, 0.4, 0.55, 0.7, 0.85, 0.95]
W = [0.0, 0.01, 0.05, 0.12, 0.25, 0.4, 0.55, 0.7, 0.83, 0.9]


def largest(function: Callable[[float], tuple[float, float, float]], order: int, points: list[float]) -> float:
    return max(abs(function(x)[order]) for x in points)


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("p", P)
def test_specific_volume_of_ethanol_and_water(p: float, order: int) -> None:
    """OIML R 22: v′ and v″ to 1e-8."""
    numeric = derivative(lambda x: specific_volume_ml_g(x)[order - 1], p, 0.005)
    floor = 0.01 * largest(specific_volume_ml_g, order, P)
    analytic = specific_volume_ml_g(p)[order]
    assert abs(numeric - analytic) <= RELATIVE * max(abs(analytic), floor)


@pytest.mark.parametrize("order", [1, 2])
@pytest.mark.parametrize("w", W)
def test_apparent_volume_of_sucrose(w: float, order: int) -> None:
    """ICUMSA SPS-4: φ′ and φ″ to 1e-8."""
    numeric = derivative(lambda x: apparent_specific_volume_ml_g(x)[order - 1], w, 0.01)
    floor = 0.01 * largest(apparent_specific_volume_ml_g, order, W)
    analytic = apparent_specific_volume_ml_g(w)[order]
    assert abs(numeric - analytic) <= RELATIVE * max(abs(analytic), floor)


@pytest.mark.parametrize("p", [0.0, 0.08, 0.3, 0.7, 1.0])
def test_specific_volume_is_the_reciprocal_of_density(p: float) -> None:
    assert specific_volume_ml_g(p)[0] == pytest.approx(1000.0 / ethanol_water_density_kg_m3(p), rel=1e-14)


@pytest.mark.parametrize("w", [0.01, 0.2, 0.5, 0.85])
def test_apparent_volume_is_that_of_the_solution(w: float) -> None:
    """φ = [1/ρ − (1 − w)/ρ_w]/w by its definition, ICUMSA SPS-4."""
    defined = 1000.0 * (1.0 / sucrose_density_kg_m3(w) - (1.0 - w) / icumsa_water_density_kg_m3(20.0)) / w
    assert apparent_specific_volume_ml_g(w)[0] == pytest.approx(defined, rel=1e-12)


MUST = {Component.WATER: 850.0, Component.FRUCTOSE: 62.0, Component.GLUCOSE: 55.0, Component.CITRIC: 4.0}
MEAD = {
    Component.WATER: 880.0,
    Component.ETHANOL: 95.0,
    Component.SUCROSE: 18.0,
    Component.FRUCTOSE: 50.0,
    Component.GLYCEROL: 6.0,
    Component.LACTIC: 3.0,
    Component.FAT: 0.5,
    Component.ASH: 1.5,
}
HONEY = {Component.WATER: 172.0, Component.FRUCTOSE: 382.0, Component.GLUCOSE: 313.0, Component.DISACCHARIDES: 133.0}
LIQUEUR = {Component.WATER: 420.0, Component.ETHANOL: 240.0, Component.SUCROSE: 340.0}
DRINKS = {"must": MUST, "mead": MEAD, "honey": HONEY, "liqueur": LIQUEUR}


@pytest.mark.parametrize("k", range(len(VOLUME_SUMS)), ids=VOLUME_SUMS)
@pytest.mark.parametrize("drink", DRINKS)
def test_gradient_of_the_volume(drink: str, k: int) -> None:
    """∂V/∂(each volume sum) to 1e-8; ethanol is varied from a drink that has some."""
    sums = list(volume_sums(DRINKS[drink]))
    sums[1] += 20.0

    def volume(value: float) -> float:
        return volume_and_gradient_ml([*sums[:k], value, *sums[k + 1 :]])[0]

    numeric = derivative(volume, sums[k], 8.0)
    analytic = volume_and_gradient_ml(sums)[1][k]
    assert abs(numeric - analytic) <= RELATIVE * max(abs(analytic), 0.01)


masses = st.floats(min_value=0.0, max_value=300.0)


@settings(deadline=None)
@given(
    water=st.floats(min_value=300.0, max_value=2000.0),
    ethanol=masses,
    solids=st.dictionaries(st.sampled_from(sorted(SOLUTE_LAWS)), masses, max_size=5),
    times=st.floats(min_value=0.01, max_value=100.0),
)
def test_euler_identity(water: float, ethanol: float, solids: dict[Component, float], times: float) -> None:
    """V is homogeneous of degree one: Σ (∂V/∂sum)·sum = V, k times the masses take k times the room."""
    sums = volume_sums({Component.WATER: water, Component.ETHANOL: ethanol} | solids)
    volume, gradient = volume_and_gradient_ml(sums)
    assert sum(g * s for g, s in zip(gradient, sums, strict=True)) == pytest.approx(volume, rel=1e-12)
    again, same = volume_and_gradient_ml([times * s for s in sums])
    assert again == pytest.approx(times * volume, rel=1e-12)
    assert same == pytest.approx(gradient, rel=1e-9, abs=1e-12)
