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
    LinearReading,
    Normal,
    chance_of_more,
    columns_of,
    conditioned,
    fit_of,
    independent,
    within,
)

Case = tuple[Normal, list[LinearReading]]


def case(seed: int, size: int = 7, count: int = 4) -> Case:
    """A random law with correlations, and some readings of it."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(size, size))
    law = Normal(tuple(rng.normal(size=size)), tuple(map(tuple, root @ root.T)))
    readings = [
        LinearReading(tuple(rng.normal(size=size)), float(rng.normal(scale=3.0)), float(rng.uniform(0.01, 2.0)))
        for _ in range(count)
    ]
    return law, readings


def by_matrices(law: Normal, readings: list[LinearReading]) -> tuple[Any, Any, float]:
    """Mean, covariance and chi-square by the textbook formula for a joint normal law."""
    mean, p = np.array(law.mean), np.array(law.covariance)
    h = np.array([r.slopes for r in readings])
    s = h @ p @ h.T + np.diag([r.variance for r in readings])
    miss = np.array([r.value for r in readings]) - h @ mean
    gain = p @ h.T @ np.linalg.inv(s)
    return mean + gain @ miss, p - gain @ h @ p, float(miss @ np.linalg.solve(s, miss))


@pytest.mark.parametrize("seed", range(8))
def test_readings_one_by_one_are_the_joint_formula(seed: int) -> None:
    law, readings = case(seed)
    found = conditioned(law, readings)
    mean, covariance, chi_square = by_matrices(law, readings)
    assert found.after.mean == pytest.approx(mean, rel=1e-9, abs=1e-9)
    assert np.array(found.after.covariance) == pytest.approx(covariance, abs=1e-9)
    assert found.chi_square == pytest.approx(chi_square, rel=1e-9)


@given(seed=st.integers(0, 10_000), order=st.permutations(range(4)))
@settings(deadline=None, max_examples=60)
def test_the_order_of_readings_does_not_matter(seed: int, order: list[int]) -> None:
    law, readings = case(seed)
    one, other = conditioned(law, readings), conditioned(law, [readings[k] for k in order])
    assert one.after.mean == pytest.approx(other.after.mean, rel=1e-8, abs=1e-8)
    assert one.chi_square == pytest.approx(other.chi_square, rel=1e-8)
    assert [one.after.sd(k) for k in range(7)] == pytest.approx([other.after.sd(k) for k in range(7)], abs=1e-8)


@given(seed=st.integers(0, 10_000), factor=st.floats(0.01, 0.99))
@settings(deadline=None, max_examples=60)
def test_more_readings_and_smaller_errors_never_widen(seed: int, factor: float) -> None:
    law, readings = case(seed)
    before, fewer, all_ = law, conditioned(law, readings[:-1]).after, conditioned(law, readings).after
    sharper = [LinearReading(r.slopes, r.value, factor * r.variance) for r in readings]
    best = conditioned(law, sharper).after
    for k in range(7):
        assert before.sd(k) >= fewer.sd(k) >= all_.sd(k) >= best.sd(k) - 1e-9


def test_a_reading_that_says_what_was_expected_moves_nothing() -> None:
    law, readings = case(3)
    quiet = [LinearReading(r.slopes, float(np.dot(r.slopes, law.mean)), r.variance) for r in readings]
    found = conditioned(law, quiet)
    assert found.after.mean == pytest.approx(law.mean, abs=1e-12)
    assert found.chi_square == pytest.approx(0.0, abs=1e-12)
    assert all(found.after.sd(k) < law.sd(k) for k in range(7))


def test_no_readings_leave_a_law_as_it_is() -> None:
    law = independent([1.0, 2.0], [0.5, 0.0])
    assert conditioned(law, []).after == law
    assert law.covariance == ((0.25, 0.0), (0.0, 0.0))


@pytest.mark.parametrize("seed", range(6))
def test_columns_make_up_the_covariance(seed: int) -> None:
    law, readings = case(seed)
    after = conditioned(law, readings).after.covariance
    shifts = np.array([column.shifts for column in columns_of(after)])
    assert shifts.T @ shifts == pytest.approx(np.array(after), abs=1e-9)


def test_columns_without_anything_are_left_out() -> None:
    # the second unknown is twice the first, the third is known
    covariance = ((1.0, 2.0, 0.0), (2.0, 4.0, 0.0), (0.0, 0.0, 0.0))
    assert [column.of for column in columns_of(covariance)] == [0]


@pytest.mark.parametrize("seed", range(6))
def test_a_mean_outside_one_limit_is_the_nearest_inside(seed: int) -> None:
    """Nearest in the measure of the law: least squares with bounds (scipy)."""
    law, _ = case(seed)
    low = [-np.inf] * 7
    high = [np.inf] * 7
    high[2] = law.mean[2] - 0.7
    mean, held = within(law, low, high)
    root = np.linalg.cholesky(np.linalg.inv(np.array(law.covariance))).T
    best = lsq_linear(root, root @ np.array(law.mean), bounds=(low, high), tol=1e-12)
    assert mean == pytest.approx(best.x, abs=1e-6)
    assert held == (2,)


@given(seed=st.integers(0, 10_000))
@settings(deadline=None, max_examples=60)
def test_held_means_lie_inside_all_limits(seed: int) -> None:
    law, _ = case(seed)
    rng = np.random.default_rng(seed + 1)
    low = [float(v) for v in rng.uniform(-1.0, 0.0, 7)]
    high = [float(v) for v in rng.uniform(0.0, 1.0, 7)]
    mean, held = within(law, low, high)
    assert all(a - 1e-9 <= m <= b + 1e-9 for a, m, b in zip(low, mean, high, strict=True))
    assert all(mean[k] in (low[k], high[k]) for k in held)


def test_a_mean_inside_stays() -> None:
    law, _ = case(1)
    assert within(law, [-1e9] * 7, [1e9] * 7) == (law.mean, ())


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
