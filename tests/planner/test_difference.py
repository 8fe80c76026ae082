"""Difference tests against a published table, general libraries of statistics, and simulated tasters."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import binom, binomtest, norm

from service.errors import InputError, OutOfRangeError
from service.planner.tasting.asked import DifferenceAsked, Kind, Sides, TastingAsked
from service.planner.tasting.difference import (
    GUESS,
    bounds_of_share,
    chance_of_at_least,
    critical_count,
    d_prime_from_right,
    discriminators_from_right,
    p_value,
    panel_sizes,
    power,
    right_from_d_prime,
    right_from_discriminators,
)
from service.planner.tasting.judge import judge_tasting
from tests.planner.tasting_cases import WORKED, codes, judged, liking
from tests.tables import Row, label, rows

KINDS: list[Kind] = ["triangle", "two_afc", "duo_trio"]
_KIND: dict[str, Kind] = {"triangle": "triangle", "2-AFC": "two_afc"}
_SIDES: dict[str, Sides] = {"one-sided": "one", "two-sided": "two"}


@pytest.mark.parametrize("row", rows("triangle_critical"), ids=lambda row: f"{row['test']}-{row['sides']}-{label(row)}")
def test_critical_counts(row: Row) -> None:
    # triangle cells agree with FAO Fisheries Technical Paper 348, Appendix A; the others are computed
    found = critical_count(_KIND[row["test"]], int(row["n_responses"]), float(row["alpha"]), _SIDES[row["sides"]])
    assert found == (int(row["critical_correct_count"]) if row["critical_correct_count"] else None)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("alpha", [0.2, 0.05, 0.01, 0.001])
def test_critical_counts_against_a_library(kind: Kind, alpha: float) -> None:
    for n in (1, 2, 5, 11, 50, 333, 10_000):
        found = critical_count(kind, n, alpha)
        k = int(binom.isf(alpha, n, GUESS[kind])) + 1  # smallest k with P(X ≥ k) ≤ α
        assert found == (k if k <= n else None)


def test_a_tie_with_alpha_is_significant() -> None:
    assert critical_count("two_afc", 5, 1 / 32) == 5
    assert critical_count("triangle", 4, 3.0**-4) == 4


@settings(max_examples=100, deadline=None)
@given(st.sampled_from(KINDS), st.integers(1, 400), st.floats(0, 1))
def test_p_against_a_library(kind: Kind, n: int, share: float) -> None:
    k = round(share * n)
    assert p_value(kind, n, k) == pytest.approx(
        float(binomtest(k, n, GUESS[kind], alternative="greater").pvalue), rel=1e-8
    )
    assert p_value("two_afc", n, k, "two") == pytest.approx(float(binomtest(k, n, 0.5).pvalue), rel=1e-8)


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 400), st.floats(0, 1), st.sampled_from([0.9, 0.95]))
def test_bounds_against_a_library(n: int, share: float, confidence: float) -> None:
    k = round(share * n)
    exact = binomtest(k, n, 0.5).proportion_ci(2 * confidence - 1, "exact")  # both one-sided bounds at once
    assert bounds_of_share(n, k, confidence) == pytest.approx((exact.low, exact.high), rel=1e-7, abs=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_power_against_a_library(kind: Kind) -> None:
    for n in (3, 6, 24, 100):
        for right in (0.4, 0.667, 0.9):
            k = critical_count(kind, n, 0.05)
            expected = 0.0 if k is None else float(binom.sf(k - 1, n, right))
            assert power(kind, n, 0.05, right) == pytest.approx(expected, rel=1e-9)
    k = critical_count("two_afc", 24, 0.05, "two")
    assert k is not None
    both = float(binom.sf(k - 1, 24, 0.7) + binom.cdf(24 - k, 24, 0.7))
    assert power("two_afc", 24, 0.05, 0.7, "two") == pytest.approx(both, rel=1e-9)


def test_the_six_person_triangle() -> None:
    # computed: 35 % power even if half truly discriminate
    assert power("triangle", 6, 0.05, right_from_discriminators("triangle", 0.5)) == pytest.approx(0.35, abs=5e-3)


@pytest.mark.parametrize(
    ("d_prime", "pairs", "triangles"),
    [(1.0, (23, 26), (202, 220)), (2.0, (8, 8), (23, 23)), (3.0, (5, 5), (7, 9))],  # computed
)
def test_panels_for_80_percent(d_prime: float, pairs: tuple[int, int], triangles: tuple[int, int]) -> None:
    assert panel_sizes("two_afc", 0.05, right_from_d_prime("two_afc", d_prime), 0.8) == pairs
    assert panel_sizes("triangle", 0.05, right_from_d_prime("triangle", d_prime), 0.8) == triangles


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("alpha", "right_share", "wanted"), [(0.05, 0.3, 0.8), (0.01, 0.12, 0.9), (0.2, 0.06, 0.5), (0.05, 1.0, 0.8)]
)
def test_panels_against_a_library(kind: Kind, alpha: float, right_share: float, wanted: float) -> None:
    right = right_from_discriminators(kind, right_share)
    n = np.arange(1, 13_001)
    k = binom.isf(alpha, n, GUESS[kind]) + 1
    reached = np.where(k <= n, binom.sf(k - 1, n, right), 0.0) >= wanted
    first, later = panel_sizes(kind, alpha, right, wanted)
    assert first == int(n[reached][0])
    assert later == int(n[~reached][-1]) + 1


def test_a_difference_too_small_for_any_panel() -> None:
    assert panel_sizes("triangle", 0.05, right_from_discriminators("triangle", 0.005), 0.8) == (None, None)


# Thurstonian distances: formulas from memory, unverified; so they are held against simulated tasters too.


@pytest.mark.parametrize(
    ("d_prime", "triangle", "pair"),
    [(0.954, 0.41, 0.75), (1.5, 0.51, 0.86), (3.0, 0.78, 0.98)],  # computed
)
def test_chances_at_a_distance(d_prime: float, triangle: float, pair: float) -> None:
    assert right_from_d_prime("triangle", d_prime) == pytest.approx(triangle, abs=5e-3)
    assert right_from_d_prime("two_afc", d_prime) == pytest.approx(pair, abs=5e-3)


@pytest.mark.parametrize("d_prime", [0.0, 0.3, 1.0, 2.0, 4.0, 10.0])
def test_triangles_against_the_integral(d_prime: float) -> None:
    def inner(z: float) -> float:
        shift = d_prime * math.sqrt(2 / 3)
        both = norm.cdf(-z * math.sqrt(3) + shift) + norm.cdf(-z * math.sqrt(3) - shift)
        return float(2 * both * norm.pdf(z))

    assert right_from_d_prime("triangle", d_prime) == pytest.approx(quad(inner, 0, 12, epsabs=1e-12)[0], abs=1e-9)


@pytest.mark.parametrize("d_prime", [0.0, 1.0, 2.0])
def test_distances_against_simulated_tasters(d_prime: float) -> None:
    rng = np.random.default_rng(4120)
    n = 400_000
    a, b, reference = rng.normal(size=n), rng.normal(size=n), rng.normal(size=n)
    odd = rng.normal(d_prime, size=n)
    # triangle: the two nearest are taken for the pair; duo-trio: the nearer to the reference is called alike
    triangle = (np.abs(a - b) < np.abs(a - odd)) & (np.abs(a - b) < np.abs(b - odd))
    duo_trio = np.abs(a - reference) < np.abs(odd - reference)
    for kind, found in (("triangle", triangle), ("two_afc", odd > a), ("duo_trio", duo_trio)):
        assert right_from_d_prime(kind, d_prime) == pytest.approx(float(found.mean()), abs=0.004)  # type: ignore[arg-type]


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(KINDS), st.floats(0.05, 5.0))
def test_there_and_back(kind: Kind, d_prime: float) -> None:
    assert d_prime_from_right(kind, right_from_d_prime(kind, d_prime)) == pytest.approx(d_prime, rel=1e-6)
    share = d_prime / 5.0
    assert discriminators_from_right(kind, right_from_discriminators(kind, share)) == pytest.approx(share)


def test_distances_at_the_ends() -> None:
    for kind in KINDS:
        assert d_prime_from_right(kind, GUESS[kind]) == d_prime_from_right(kind, 0.1) == 0.0
        assert d_prime_from_right(kind, 1.0) == math.inf
        assert discriminators_from_right(kind, 0.1) == 0.0
    with pytest.raises(OutOfRangeError):
        right_from_d_prime("triangle", 11.0)


def test_all_of_none() -> None:
    assert (chance_of_at_least(0, 5, 0.3), chance_of_at_least(6, 5, 0.3)) == (1.0, 0.0)


# The answer.


def test_a_small_panel_is_told_that_it_proves_nothing() -> None:
    answer = judged(DifferenceAsked("triangle", 6, 4))
    report = answer.difference
    assert report is not None
    assert (answer.outcome, report.significant, report.critical_count) == ("no_difference_shown", False, 5)
    assert "proves nothing" in answer.summary
    assert {"not_significant_proves_nothing", "panel_too_small_for_this_test"} <= set(codes(answer))
    high = float(binomtest(4, 6, 0.5).proportion_ci(0.9, "exact").high)
    assert report.discriminators.high == pytest.approx((high - 1 / 3) / (2 / 3), rel=1e-5)


@pytest.mark.parametrize(("n", "k"), [(20, 12), (12, 9), (24, 15)])
def test_one_side_is_told_with_one_bound_and_two_sides_with_an_interval(n: int, k: int) -> None:
    answer = judged(DifferenceAsked("triangle", n, k))
    report = answer.difference
    assert report is not None
    assert report.significant
    # a lower bound that holds with 95 % is the lower end of a central 90 % interval, rounded down
    right = float(binomtest(k, n).proportion_ci(0.90, "exact").low)
    assert f"At least {int(100.0 * (right - 1 / 3) / (2 / 3))} % of people" in answer.summary
    assert "Between" not in answer.summary
    sided = judged(DifferenceAsked("two_afc", 24, 21, "two"))
    ends = binomtest(21, 24).proportion_ci(0.95, "exact")
    low, high = int(100.0 * (2.0 * ends.low - 1.0)), 1 + int(100.0 * (2.0 * ends.high - 1.0))
    assert f"Between {low} and {high} % of people tell the samples apart (95 % interval)" in sided.summary


def test_a_chance_too_small_for_a_number_is_not_told_as_nothing() -> None:
    answer = judged(DifferenceAsked("triangle", 10_000, 10_000))
    assert "p below 1e-300" in answer.summary
    assert "p = 0 " not in answer.summary
    assert "At least 99 %" in answer.summary  # 0.05^(1/10000) is 0.9997


def test_all_right_leaves_the_distance_open() -> None:
    report = judged(DifferenceAsked("duo_trio", 8, 8)).difference
    assert report is not None
    assert (report.d_prime.value, report.d_prime.high) == (None, None)
    assert report.d_prime.low > 0.0
    assert report.discriminators.value == report.discriminators.high == 1.0


def test_two_sides_are_the_same_from_either() -> None:
    one = judged(DifferenceAsked("two_afc", 20, 16, "two")).difference
    other = judged(DifferenceAsked("two_afc", 20, 4, "two")).difference
    assert one is not None
    assert other is not None
    assert one.significant
    assert (one.p, one.discriminators, one.d_prime) == (other.p, other.discriminators, other.d_prime)
    assert judged(DifferenceAsked("two_afc", 20, 4)).outcome == "no_difference_shown"


def test_a_distance_is_planned_for_in_every_kind_of_test() -> None:
    report = judged(DifferenceAsked("triangle", 12, 8, d_prime=1.0)).difference
    assert report is not None
    assert {(p.kind, p.first, p.from_then_on) for p in report.next_panels} >= {
        ("triangle", 202, 220),
        ("two_afc", 23, 26),
    }
    shares = judged(DifferenceAsked("triangle", 12, 8, discriminators=0.3)).difference
    assert shares is not None
    assert [p.kind for p in shares.next_panels] == ["triangle"]


def test_one_question_at_a_time() -> None:
    for asked in (TastingAsked(), TastingAsked(liking({"A": WORKED}), DifferenceAsked("triangle", 6, 4))):
        with pytest.raises(InputError):
            judge_tasting(asked)
