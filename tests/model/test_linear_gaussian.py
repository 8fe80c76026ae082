"""Normal unknowns and linear readings, against general libraries: numpy's algebra and scipy's distributions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import lsq_linear
from scipy.stats import chi2, multivariate_normal

from service.model.linear_gaussian import (
    Independent,
    LinearReading,
    chance_of_more,
    fit_of,
    mean_within,
    narrowed,
)

Case = tuple[Independent, list[LinearReading]]
SIZE = 7


def case(seed: int, size: int = SIZE, count: int = 4) -> Case:
    """A random law of independent unknowns, and some readings of it."""
    rng = np.random.default_rng(seed)
    law = Independent(tuple(rng.normal(size=size)), tuple(rng.uniform(0.2, 2.0, size)))
    readings = [
        LinearReading(tuple(rng.normal(size=size)), float(rng.normal(scale=3.0)), float(rng.uniform(0.01, 2.0)))
        for _ in range(count)
    ]
    return law, readings


def by_matrices(law: Independent, readings: list[LinearReading]) -> tuple[Any, Any, float]:
    """Mean, covariance and chi-square by the textbook formula for a joint normal law."""
    mean, p = np.array(law.mean), np.array(law.covariance)
    h = np.array([r.slopes for r in readings])
    s = h @ p @ h.T + np.diag([r.variance for r in readings])
    miss = np.array([r.value for r in readings]) - h @ mean
    gain = p @ h.T @ np.linalg.inv(s)
    return mean + gain @ miss, p - gain @ h @ p, float(miss @ np.linalg.solve(s, miss))


@pytest.mark.parametrize("seed", range(8))
def test_the_law_after_readings_is_the_joint_formula(seed: int) -> None:
    law, readings = case(seed)
    found = narrowed(law, readings)
    mean, covariance, chi_square = by_matrices(law, readings)
    assert found.mean == pytest.approx(mean, rel=1e-9, abs=1e-9)
    assert np.array(found.covariance) == pytest.approx(covariance, abs=1e-9)
    assert np.array(found.sds) == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-8)
    assert found.fit.chi_square == pytest.approx(chi_square, rel=1e-9)


@given(seed=st.integers(0, 10_000), order=st.permutations(range(4)))
@settings(deadline=None, max_examples=60)
def test_the_order_of_readings_does_not_matter(seed: int, order: list[int]) -> None:
    law, readings = case(seed)
    one, other = narrowed(law, readings), narrowed(law, [readings[k] for k in order])
    assert one.mean == pytest.approx(other.mean, rel=1e-8, abs=1e-8)
    assert one.fit.chi_square == pytest.approx(other.fit.chi_square, rel=1e-8)
    assert one.sds == pytest.approx(other.sds, abs=1e-8)


@given(seed=st.integers(0, 10_000), factor=st.floats(0.01, 0.99))
@settings(deadline=None, max_examples=60)
def test_more_readings_and_smaller_errors_never_widen(seed: int, factor: float) -> None:
    law, readings = case(seed)
    fewer, all_ = narrowed(law, readings[:-1]), narrowed(law, readings)
    best = narrowed(law, [LinearReading(r.slopes, r.value, factor * r.variance) for r in readings])
    for k in range(SIZE):
        assert law.sd(k) >= fewer.sd(k) >= all_.sd(k) - 1e-12
        assert all_.sd(k) >= best.sd(k) - 1e-9


def test_a_reading_that_says_what_was_expected_moves_nothing() -> None:
    law, readings = case(3)
    quiet = [LinearReading(r.slopes, float(np.dot(r.slopes, law.mean)), r.variance) for r in readings]
    found = narrowed(law, quiet)
    assert found.mean == pytest.approx(law.mean, abs=1e-12)
    assert found.fit.chi_square == pytest.approx(0.0, abs=1e-12)
    assert all(found.sd(k) < law.sd(k) for k in range(SIZE))


def test_no_readings_leave_a_law_as_it_is() -> None:
    law = Independent((1.0, 2.0), (0.5, 0.0))
    found = narrowed(law, [])
    assert (found.mean, found.sds, found.covariance) == (law.mean, law.sds, law.covariance)
    assert law.covariance == ((0.25, 0.0), (0.0, 0.0))


@pytest.mark.parametrize("seed", range(6))
def test_what_sums_share_makes_up_their_covariance(seed: int) -> None:
    """Covariance of two sums of the unknowns, from the independent variables and from the matrix formula."""
    law, readings = case(seed)
    found = narrowed(law, readings)
    _, covariance, _ = by_matrices(law, readings)
    one, other = np.random.default_rng(seed + 99).normal(size=(2, SIZE))
    assert np.dot(found.shared(one), found.shared(other)) == pytest.approx(one @ covariance @ other, abs=1e-9)


def test_a_perfect_reading_leaves_nothing_open() -> None:
    law, _ = case(2)
    slopes = tuple(1.0 if k == 3 else 0.0 for k in range(SIZE))
    found = narrowed(law, [LinearReading(slopes, 0.25, 0.0)])
    assert found.mean[3] == pytest.approx(0.25)
    assert found.sd(3) == pytest.approx(0.0, abs=1e-7)
    assert found.shared(slopes) == pytest.approx([0.0] * SIZE, abs=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_a_mean_outside_one_limit_is_the_nearest_inside(seed: int) -> None:
    """Nearest in the measure of the law: least squares with bounds (scipy)."""
    prior, readings = case(seed)
    law = narrowed(prior, readings)
    low = [-np.inf] * SIZE
    high = [np.inf] * SIZE
    high[2] = law.mean[2] - 0.7
    mean, held = mean_within(law, low, high)
    root = np.linalg.cholesky(np.linalg.inv(np.array(law.covariance))).T
    best = lsq_linear(root, root @ np.array(law.mean), bounds=(low, high), tol=1e-12)
    assert mean == pytest.approx(best.x, abs=1e-6)
    assert held == (2,)


@given(seed=st.integers(0, 10_000))
@settings(deadline=None, max_examples=60)
def test_held_means_lie_inside_all_limits(seed: int) -> None:
    prior, readings = case(seed)
    rng = np.random.default_rng(seed + 1)
    low = [float(v) for v in rng.uniform(-1.0, 0.0, SIZE)]
    high = [float(v) for v in rng.uniform(0.0, 1.0, SIZE)]
    mean, held = mean_within(narrowed(prior, readings), low, high)
    assert all(a - 1e-9 <= m <= b + 1e-9 for a, m, b in zip(low, mean, high, strict=True))
    assert all(mean[k] in (low[k], high[k]) for k in held)


def test_a_mean_inside_stays() -> None:
    law = narrowed(*case(1))
    assert mean_within(law, [-1e9] * SIZE, [1e9] * SIZE) == (law.mean, ())


@pytest.mark.parametrize("size", [1, 2, 5])
def test_density_is_that_of_the_normal_law(size: int) -> None:
    rng = np.random.default_rng(size)
    root = rng.normal(size=(size, size))
    covariance = root @ root.T + 0.1 * np.eye(size)
    misses = rng.normal(size=size)
    fit = fit_of(list(misses), covariance.tolist())
    assert fit.log_density == pytest.approx(multivariate_normal(np.zeros(size), covariance).logpdf(misses), rel=1e-10)
    assert fit.weighted == pytest.approx(np.linalg.solve(covariance, misses), rel=1e-9)
    assert fit.chi_square == pytest.approx(float(misses @ np.linalg.solve(covariance, misses)), rel=1e-10)


@pytest.mark.parametrize("degrees", [1, 2, 3, 4, 5, 6, 7])
@pytest.mark.parametrize("value", [0.0, 0.01, 0.5, 3.0, 12.0, 40.0, 900.0, 2000.0])
def test_chances_are_those_of_chi_square(degrees: int, value: float) -> None:
    assert chance_of_more(value, degrees) == pytest.approx(chi2.sf(value, degrees), rel=1e-10, abs=1e-300)
