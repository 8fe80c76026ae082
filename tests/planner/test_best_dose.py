"""Best doses from scores: worked values, a general library's regressions, what must not matter, and how often the
interval holds the truth."""

from __future__ import annotations

import math
import random
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import curve_fit
from scipy.stats import t as student

from service.planner.steps import Step
from service.planner.tasting.asked import Score, ScoresAsked
from service.planner.tasting.best_dose import best_liked
from service.planner.tasting.finding import Finding, nice_step
from service.planner.tasting.just_right import just_right
from service.planner.tasting.least_squares import Fit, fieller, fit_scores, quantile_t
from tests.planner.tasting_cases import DOSES, WORKED, by_taster, codes, judged, liking, right

FINE = Step(1e-9, True)
"""A step so fine that nothing is widened."""


def test_the_worked_best_dose() -> None:
    # computed: doses 0 to 40, x* 23.29, SE 0.42, delta 21.5 to 25.1, Fieller 21.7 to 25.4, df 2, y* 6.58, s 0.112
    found = best_liked(liking({"A": WORKED}, step=FINE))
    assert found.outcome == "best_dose"
    assert found.fit is not None
    assert found.fit.df == 2
    assert found.fit.scatter == pytest.approx(0.112, abs=5e-4)
    assert found.dose == pytest.approx(23.29, abs=5e-3)
    assert found.score == pytest.approx(6.58, abs=5e-3)
    assert found.standard_error == pytest.approx(0.42, abs=5e-3)
    assert (found.delta_low, found.delta_high) == pytest.approx((21.5, 25.1), abs=0.05)
    assert (found.low, found.high) == pytest.approx((21.7, 25.4), abs=0.05)
    assert not found.widened


def test_quantiles_against_a_library() -> None:
    for df in (1, 2, 5, 30, 1000):
        assert quantile_t(df) == pytest.approx(float(student.ppf(0.975, df)), rel=1e-9)


def _by_dummies(asked: ScoresAsked) -> tuple[NDArray[Any], NDArray[Any]]:
    """Coefficients of dose and its square, and their covariance, with a column for each taster: numpy.linalg.lstsq."""
    tasters = list(dict.fromkeys(s.taster for s in asked.scores))
    x = np.array([s.dose for s in asked.scores])
    y = np.array([s.score for s in asked.scores])
    columns = [np.array([float(s.taster == taster) for s in asked.scores]) for taster in tasters]
    design = np.column_stack([x, x**2, *columns])
    beta, *_ = np.linalg.lstsq(design, y, rcond=None)
    residual = y - design @ beta
    variance = float(residual @ residual) / (len(y) - design.shape[1])
    return beta[:2], variance * np.linalg.inv(design.T @ design)[:2, :2]


GAPS = {"A": (4, 6, 7, 6, 5), "B": (5, None, 8, 8, 6), "C": (2, 4, None, 5, None), "D": (None, 7, 8, 6, 5)}


def test_gaps_are_fitted_jointly_as_a_library_does_with_dummies() -> None:
    asked = liking(GAPS, step=FINE)
    (b1, b2), covariance = _by_dummies(asked)
    found = best_liked(asked)
    assert found.dose == pytest.approx(-b1 / (2 * b2), rel=1e-9)
    gradient = np.array([-1 / (2 * b2), b1 / (2 * b2**2)])
    assert found.standard_error == pytest.approx(float(np.sqrt(gradient @ covariance @ gradient)), rel=1e-9)
    assert found.fit is not None
    assert found.fit.df == 16 - 4 - 2
    # the ends of Fieller's set solve its equation
    t = float(student.ppf(0.975, found.fit.df))
    for end in (found.low, found.high):
        assert end is not None
        direction = np.array([1.0, 2.0 * end])
        assert (b1 + 2 * b2 * end) ** 2 == pytest.approx(t**2 * float(direction @ covariance @ direction), rel=1e-7)


def test_a_parabola_against_polyfit() -> None:
    (b2, b1, b0), covariance = np.polyfit(DOSES, WORKED, 2, cov="unscaled")
    answer = judged(liking({"A": WORKED}))
    assert answer.fit is not None
    assert (answer.fit.intercept, answer.fit.slope, answer.fit.curvature) == pytest.approx((b0, b1, b2), rel=1e-5)
    fit = fit_scores(["A"] * 5, DOSES, WORKED, curved=True)
    assert fit is not None
    assert fit.var_curvature / fit.scatter**2 == pytest.approx(covariance[0, 0] * 20.0**4, rel=1e-9)


RIGHT = {"A": (-2, -1, 0, 1), "B": (-1, -1, 0, 2), "C": (-2, -1, 1, 1)}


def test_just_right_against_a_library() -> None:
    doses = (20.0, 30.0, 45.0, 60.0)
    found = just_right(right(RIGHT, doses, step=FINE))
    x = np.log(np.array(doses * 3))
    y = np.array([score for scores in RIGHT.values() for score in scores], dtype=float)
    group = np.repeat(np.arange(3), 4)

    def line(_: Any, b: float, *levels: float) -> NDArray[Any]:
        return np.asarray(b * x + np.array(levels)[group])

    beta, covariance = curve_fit(line, x, y, p0=[1.0, 0.0, 0.0, 0.0])
    weights = np.array([0.0, 1 / 3, 1 / 3, 1 / 3])
    a, b = float(weights @ beta), float(beta[0])
    assert found.dose == pytest.approx(math.exp(-a / b), rel=1e-6)
    t = float(student.ppf(0.975, 8))
    for end in (found.low, found.high):
        assert end is not None
        direction = weights + np.array([math.log(end), 0.0, 0.0, 0.0])
        assert (a + b * math.log(end)) ** 2 == pytest.approx(t**2 * float(direction @ covariance @ direction), rel=1e-4)


def test_just_right_counts_what_the_drink_held_before() -> None:
    # 20 g/L there already and 0, 20, 60 added are 20, 40, 80 in all
    added = just_right(right({"A": (-1, 0, 1.2)}, (0.0, 20.0, 60.0), level_before=20.0))
    whole = just_right(right({"A": (-1, 0, 1.2)}, (20.0, 40.0, 80.0)))
    assert added.dose is not None
    assert whole.dose is not None
    assert added.dose + 20.0 == pytest.approx(whole.dose, rel=1e-9)


@pytest.mark.parametrize(
    ("asked", "outcome", "reason", "direction"),
    [
        (liking({"A": (1, 2, 3, 4, 5.2)}), "no_optimum_found", "not_bent", "higher"),
        (liking({"A": (5.2, 4, 3, 2, 1)}), "no_optimum_found", "not_bent", "between"),
        (liking({"A": (5.2, 4, 3, 2, 1)}, (10, 20, 30, 40, 50)), "no_optimum_found", "not_bent", "lower"),
        (liking({"A": (5, 5, 5, 5, 5)}), "no_optimum_found", "not_bent", "wider"),
        (liking({"A": (4, 6, 3, 6, 4)}), "no_optimum_found", "not_bent", "wider"),
        (liking({"A": (7, 4.1, 3, 4, 7.1)}), "no_optimum_found", "valley", "wider"),
        (liking({"A": (1, 3, 4.6, 6, 7)}), "extend_range", "above_range", "higher"),
        (liking({"A": (7, 6, 4.6, 3, 1)}), "extend_range", "below_range", "between"),
        (liking({"A": (4, 6)}, (0, 10)), "no_optimum_found", "too_few_doses", "higher"),
        (liking({"A": (4, 6, 5)}, (0, 10, 20)), "best_dose_without_interval", "found", "more_scores"),
        (liking({"A": (4, 6, 5, 4.9)}, (0, 10, 20, 20)), "best_dose_without_interval", "found", "more_scores"),
        (
            liking({"A": (4, None, None), "B": (None, 6, None), "C": (None, None, 3)}, (0, 10, 20)),
            "no_optimum_found",
            "not_determined",
            "same_again",
        ),
        (right({"A": (1, 0, -1.1)}), "no_optimum_found", "falls", "wider"),
        (right({"A": (0.5, 0, 0.4)}), "no_optimum_found", "not_sloped", "wider"),
        (right({"A": (0, 1, 0.5)}), "no_optimum_found", "not_sloped", "wider"),
        (right({"A": (-2, -1.5, -1.01)}), "extend_range", "above_range", "higher"),
        (right({"A": (1, 1.5, 2.01)}), "extend_range", "below_range", "lower"),
        (right({"A": (-1, 1)}, (10, 20)), "best_dose_without_interval", "found", "more_scores"),
        (right({"A": (-1, None), "B": (None, 1)}, (10, 20)), "no_optimum_found", "not_determined", "same_again"),
    ],
)
def test_what_scores_do_not_show_is_said(asked: ScoresAsked, outcome: str, reason: str, direction: str) -> None:
    found = best_liked(asked) if asked.scale == "liking" else just_right(asked)
    assert (found.outcome, found.reason, found.direction) == (outcome, reason, direction)
    answer = judged(asked)
    assert answer.outcome == outcome
    assert (answer.best is None) == (outcome == "no_optimum_found")
    assert answer.best_tested is not None
    assert answer.try_next is not None
    assert answer.try_next.doses
    if outcome == "extend_range":
        assert answer.best is not None
        assert answer.best.dose in {score.dose for score in asked.scores}
        assert (answer.best.low, answer.best.high) == (None, None)


def test_where_to_look_next() -> None:
    rising = judged(liking({"A": (1, 2, 3, 4, 5.2)})).try_next
    assert rising is not None
    assert rising.doses == (20.0, 30.0, 40.0, 50.0, 60.0)
    weak = judged(right({"A": (-2, -1.5, -1.01)})).try_next
    assert weak is not None
    assert weak.doses == (20.0, 28.3, 40.0, 56.6, 80.0)  # proportions, √2 apart


def test_nothing_finer_than_half_a_noticeable_step() -> None:
    # exact scores: only the senses limit the interval; 12 % of 20 is 2.4
    found = best_liked(liking({"A": [6 - 0.01 * (d - 20) ** 2 for d in DOSES]}))
    assert found.fit is not None
    assert found.fit.exact
    assert found.widened
    assert (found.dose, found.low, found.high) == pytest.approx((20.0, 18.8, 21.2))
    answer = judged(liking({"A": [6 - 0.01 * (d - 20) ** 2 for d in DOSES]}))
    assert "scores_lie_on_the_curve" in codes(answer)
    assert answer.best is not None
    assert answer.best.text == "20"


def test_the_flat_region() -> None:
    # 6 − 0.01·(d − 20)² loses 0.2 at 20 ± √20
    found = best_liked(liking({"A": [6 - 0.01 * (d - 20) ** 2 for d in DOSES]}))
    assert (found.flat_low, found.flat_high) == pytest.approx((20 - math.sqrt(20), 20 + math.sqrt(20)))
    line = just_right(right({"A": (-1, 0, 1)}))  # one point for each doubling
    assert (line.flat_low, line.flat_high) == pytest.approx((20 * 2**-0.2, 20 * 2**0.2))


def test_a_taster_with_one_score_says_nothing_about_liking() -> None:
    alone = best_liked(liking({"A": WORKED}, step=FINE))
    beside = best_liked(liking({"A": WORKED, "B": (None, None, 9, None, None)}, step=FINE))
    for name in ("dose", "low", "high", "standard_error"):
        assert getattr(beside, name) == pytest.approx(getattr(alone, name), rel=1e-9)


def test_fieller_sets_of_every_shape() -> None:
    between = fieller(2.0, 1.0, 0.01, 0.0, 0.01, 2.0)
    assert between.shape == "between"
    assert between.low < 2.0 < between.high
    outside = fieller(2.0, 0.1, 0.01, 0.0, 0.01, 2.0)
    assert outside.shape == "outside"
    assert fieller(0.01, 0.01, 1.0, 0.0, 1.0, 2.0).shape == "everything"
    for found in (between, outside):
        b = 1.0 if found is between else 0.1
        for end in (found.low, found.high):
            assert (2.0 - end * b) ** 2 == pytest.approx(4.0 * (0.01 + end**2 * 0.01))


def test_nice_steps() -> None:
    for at_most in (0.001, 0.73, 1.0, 1.99, 2.0, 4.9, 5.0, 99.0):
        step = nice_step(at_most)
        assert step <= at_most * (1 + 1e-9) <= 2.5 * step * (1 + 2e-9)
        assert round(step / 10 ** math.floor(math.log10(step * (1 + 1e-9))), 6) in (1.0, 2.0, 5.0)


# What must not matter.

SCORES = st.lists(st.floats(1, 9).map(lambda v: round(v, 1)), min_size=5, max_size=5)
PANELS = st.lists(SCORES, min_size=1, max_size=4).map(lambda rows: {f"T{k}": row for k, row in enumerate(rows)})


def _figures(found: Finding) -> list[float]:
    names = ("dose", "fitted", "low", "high", "standard_error", "flat_low", "flat_high")
    return [value for name in names if (value := getattr(found, name)) is not None]


def _well_bent(found: Finding) -> bool:
    """Not so near the border between two outcomes that rounding decides."""
    fit = found.fit
    if fit is None or fit.curvature is None or fit.exact or fit.df < 1:
        return False
    t = abs(fit.curvature) / math.sqrt(fit.var_curvature)
    return abs(t - quantile_t(fit.df)) > 1e-3 and fit.curvature < -1e-3


@settings(max_examples=60, deadline=None)
@given(PANELS, st.floats(-100, 100))
def test_a_generous_taster_changes_nothing(panel: dict[str, list[float]], shift: float) -> None:
    plain = best_liked(liking(panel))
    assume(_well_bent(plain))
    first = next(iter(panel))
    moved = best_liked(liking({**panel, first: [score + shift for score in panel[first]]}))
    assert moved.outcome == plain.outcome
    assert _figures(moved) == pytest.approx(_figures(plain), rel=1e-6, abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(PANELS, st.floats(1e-3, 1e3))
def test_times_k_in_is_times_k_out(panel: dict[str, list[float]], k: float) -> None:
    plain = best_liked(liking(panel))
    assume(_well_bent(plain))
    scaled = best_liked(liking(panel, [k * dose for dose in DOSES]))
    assert scaled.outcome == plain.outcome
    assert _figures(scaled) == pytest.approx([k * value for value in _figures(plain)], rel=1e-6, abs=1e-9)


@settings(max_examples=40, deadline=None)
@given(PANELS, st.randoms(use_true_random=False))
def test_the_order_of_scores_does_not_matter(panel: dict[str, list[float]], shuffler: random.Random) -> None:
    scores = list(by_taster(DOSES, panel))
    plain = best_liked(ScoresAsked(tuple(scores)))
    assume(_well_bent(plain))
    shuffler.shuffle(scores)
    assert _figures(best_liked(ScoresAsked(tuple(scores)))) == pytest.approx(_figures(plain), rel=1e-9)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from("ABC"), st.sampled_from([1e-9, 0.5, 1.0, 7.0, 1e6]), st.floats(-2, 2)),
        min_size=2,
        max_size=12,
    ),
    st.sampled_from(["liking", "just_about_right"]),
)
def test_any_scores_are_answered_with_finite_figures(scores: list[tuple[str, float, float]], scale: Any) -> None:
    assume(len({dose for _, dose, _ in scores}) > 1)
    answer = judged(ScoresAsked(tuple(Score(*one) for one in scores), scale))
    best = answer.best
    if best is not None:
        assert math.isfinite(best.dose)
        for end in (best.low, best.high, best.beyond, best.flat_low, best.flat_high):
            assert end is None or math.isfinite(end)
        if best.low is not None:
            assert 0.0 <= best.low <= best.dose * (1 + 1e-9)
        assert best.high is None or best.high >= best.dose * (1 - 1e-9)
    assert answer.summary


# How often the interval holds the truth.


def _fit(rng: random.Random, *, gaps: bool) -> Fit:
    """A panel of four with levels of their own and an optimum at 22, standard deviation 0.8 point."""
    groups: list[str | None] = []
    x, y = [], []
    for taster in "ABCD":
        level = rng.gauss(6.0, 1.5)
        for dose in DOSES:
            if gaps and rng.random() < 0.2:
                continue
            groups.append(taster)
            x.append(dose)
            y.append(level - 0.006 * (dose - 22.0) ** 2 + rng.gauss(0.0, 0.8))
    fit = fit_scores(groups, x, y, curved=True)
    assert fit is not None
    return fit


@pytest.mark.parametrize("gaps", [False, True])
def test_the_interval_of_the_optimum_holds_the_truth_95_times_in_100(gaps: bool) -> None:
    # 2,000 sets: the standard error of the count is 0.5 %
    rng = random.Random(1954)
    held = bounded = 0
    for _ in range(2000):
        fit = _fit(rng, gaps=gaps)
        bend = fit.curvature or 0.0
        found = fieller(-fit.slope, 2 * bend, fit.var_slope, -2 * fit.cov, 4 * fit.var_curvature, quantile_t(fit.df))
        inside = found.low <= fit.u(22.0) <= found.high
        bounded += found.shape == "between"
        held += found.shape == "everything" or inside == (found.shape == "between")
    assert 0.93 < held / 2000 < 0.97
    assert bounded > 1000


def test_the_interval_of_just_right_holds_the_truth_95_times_in_100() -> None:
    # just right at 25 for the mean of three tasters, whose own levels add up to nothing
    rng = random.Random(2007)
    held = 0
    for _ in range(2000):
        rows = {
            taster: [level + 1.5 * math.log(dose / 25.0) + rng.gauss(0.0, 0.4) for dose in (10.0, 20.0, 40.0, 60.0)]
            for taster, level in (("A", -0.5), ("B", 0.1), ("C", 0.4))
        }
        found = just_right(right(rows, (10.0, 20.0, 40.0, 60.0), step=FINE))
        held += found.outcome == "best_dose" and (found.low or 0.0) <= 25.0 <= (found.high or math.inf)
    assert 0.93 < held / 2000 < 0.97
