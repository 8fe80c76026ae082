"""Just-noticeable steps: worked figures, the inverse, the metric, and what has no step.

The Weber fractions 0.17 (sucrose) and 0.22 (citric acid) are Schutz and Pilgrim's of 1957, 0.10 to 0.17 McBride's, all
from memory, unverified; the counts of steps that follow from them are computed, n = ln(b/a)/ln(1 + k).
"""

from __future__ import annotations

from itertools import pairwise
from math import log

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.loader import sources
from service.errors import InputError, OutOfRangeError
from service.model.properties import PROPERTIES
from service.planner.steps import (
    DEFAULT_STEPS,
    DIMENSIONS,
    LEVEL_FLOORS,
    OURS,
    STEPS_ARE,
    STEPS_SOURCE,
    Senses,
    Step,
    perceptual_distance,
    steps_between,
    value_after_steps,
)

ALWAYS = settings(derandomize=True, max_examples=60, deadline=None, database=None)


def sharing(name: str, share: float) -> Senses:
    return Senses(((name, Step(share, True)),))


@pytest.mark.parametrize(
    ("name", "a", "b", "share", "steps", "within"),
    [
        ("sugar_g_per_l", 60.0, 120.0, 0.10, 7.3, 0.05),
        ("sugar_g_per_l", 60.0, 120.0, 0.15, 5.0, 0.05),
        ("sugar_g_per_l", 60.0, 120.0, 0.17, 4.4, 0.05),
        ("titratable_acidity", 3.0, 8.0, 0.20, 5.4, 0.05),
        ("titratable_acidity", 3.0, 8.0, 0.22, 4.9, 0.05),
        ("sugar_g_per_l", 100.0, 110.0, 0.17, 0.61, 0.005),
    ],
)
def test_worked_figures(name: str, a: float, b: float, share: float, steps: float, within: float) -> None:
    found = steps_between(name, a, b, sharing(name, share))
    assert found == pytest.approx(steps, abs=within)
    back = steps_between(name, b, a, sharing(name, share))
    assert found is not None
    assert back == pytest.approx(-found)


def test_acidity_of_our_default_step_is_the_worked_one() -> None:
    assert steps_between("titratable_acidity", 3.0, 8.0) == pytest.approx(5.4, abs=0.05)
    assert DEFAULT_STEPS["titratable_acidity"] == Step(0.20, True)


def test_sugar_of_our_default_step_lies_between_the_published_ones() -> None:
    step = OURS.step("sugar_g_per_l")
    assert step.relative
    assert 0.10 <= step.size <= 0.17
    for name in ("sucrose_equivalent_g_per_l", "fermentable_sugar_g_per_l", "extract_g_per_l", "brix"):
        assert OURS.step(name) == step


def test_every_property_has_a_step_and_the_rest_are_those_of_the_instruments() -> None:
    assert DEFAULT_STEPS.keys() == PROPERTIES.keys()
    assert OURS.step("gravity") == Step(0.002, False)  # a division of a triple-scale hydrometer (common practice)
    assert OURS.step("abv_percent") == Step(1.0, False)  # no source
    assert OURS.step("juice_percent") == OURS.step("citrus_percent") == Step(0.25, True)  # no source
    assert steps_between("gravity", 1.010, 1.016) == pytest.approx(3.0)
    assert steps_between("abv_percent", 6.5, 5.0) == pytest.approx(-1.5)


def test_a_share_of_nothing_is_no_step() -> None:
    # what nobody tastes, or what has no level that it begins at
    assert steps_between("cost", 0.0, 8.0) is None
    assert steps_between("sugar_acid_ratio", 20.0, 0.0) is None
    assert steps_between("cost", 0.0, 0.0) == 0.0
    assert steps_between("abv_percent", 0.0, 6.0) == pytest.approx(6.0)
    with pytest.raises(InputError, match="give the value itself"):
        value_after_steps("cost", 0.0, -1.0)
    assert value_after_steps("cost", 0.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("name", "a", "b", "steps"),
    [
        # a step is never finer than ln(1 + k) of the floor: 8·0.1133 = 0.907 g/L, 4·0.2231 = 0.893 %, 0.0912 g/L
        ("sucrose_equivalent_g_per_l", 1.8, 1.83, 0.03 / 0.907),
        ("sugar_g_per_l", 0.0, 0.907, 1.0),
        ("juice_percent", 0.05, 0.15, 0.1 / 0.893),
        ("citrus_percent", 0.0, 4.0, 4.0 / 0.893),
        ("titratable_acidity", 0.0, 0.1, 0.1 / 0.0912),
        ("titratable_acidity", -0.1, 0.1, 0.2 / 0.0912),
        # across the floor both add up; above it Weber's law is untouched
        ("juice_percent", 0.0, 8.0, 4.0 / 0.893 + log(2.0) / log(1.25)),
        ("juice_percent", 4.0, 5.0, 1.0),
        ("sugar_g_per_l", 8.0, 8.96, 1.0),
        ("brix", 0.0, 0.8, 1.0 / log(1.12)),
    ],
)
def test_near_nothing_a_step_gets_no_finer(name: str, a: float, b: float, steps: float) -> None:
    assert steps_between(name, a, b) == pytest.approx(steps, rel=2e-3)
    assert steps_between(name, b, a) == pytest.approx(-steps, rel=2e-3)


@pytest.mark.parametrize("name", sorted(LEVEL_FLOORS))
def test_steps_pass_smoothly_over_the_floor(name: str) -> None:
    floor = LEVEL_FLOORS[name]
    below, above = (steps_between(name, floor, floor * (1.0 + way * 1e-6)) for way in (-1.0, 1.0))
    assert below == pytest.approx(-(above or 0.0), rel=1e-5)
    assert value_after_steps(name, floor, -0.5) < floor < value_after_steps(name, floor, 0.5)
    # the floors are those of about 1 g/L of sugar, 0.1 g/L of acid and 1 % of juice (our default)
    share = OURS.step(name).size
    usual = {"brix": 0.1, "titratable_acidity": 0.1, "juice_percent": 1.0, "citrus_percent": 1.0}.get(name, 1.0)
    assert share * floor == pytest.approx(usual, rel=0.05)


def test_steps_that_lead_below_zero_or_nowhere_are_refused() -> None:
    for name, level in (("abv_percent", 0.5), ("juice_percent", 0.0), ("sugar_g_per_l", 0.5)):
        with pytest.raises(InputError, match="below zero"):
            value_after_steps(name, level, -1.0)
    for n in (1e3, float("nan"), float("inf")):
        with pytest.raises(OutOfRangeError, match="at most 100"):
            value_after_steps("sugar_g_per_l", 80.0, n)


LEVELS = {"sugar_g_per_l": (0.0, 300.0), "titratable_acidity": (0.0, 20.0), "juice_percent": (0.0, 100.0)} | {
    "abv_percent": (0.0, 20.0),
    "gravity": (0.99, 1.1),
    "ph": (2.5, 4.5),
}


@ALWAYS
@given(st.sampled_from(sorted(LEVELS)), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_steps_and_levels_are_each_others_inverse(name: str, at_a: float, at_b: float) -> None:
    low, high = LEVELS[name]
    a, b = (low + at * (high - low) for at in (at_a, at_b))
    n = steps_between(name, a, b)
    assert n is not None
    assert value_after_steps(name, a, n) == pytest.approx(b, rel=1e-9, abs=1e-9)


def test_the_callers_own_step_may_be_a_share_or_a_difference() -> None:
    senses = Senses((("sugar_g_per_l", Step(10.0, False)), ("abv_percent", Step(0.10, True))))
    assert steps_between("sugar_g_per_l", 80.0, 100.0, senses) == pytest.approx(2.0)
    assert value_after_steps("abv_percent", 6.0, 1.0, senses) == pytest.approx(6.6)
    assert senses.step("ph") == OURS.step("ph")


@pytest.mark.parametrize(
    ("name", "step", "error", "match"),
    [
        ("colour", Step(0.1, True), InputError, "no property"),
        ("ph", Step(0.0, False), OutOfRangeError, "above zero"),
        ("sugar_g_per_l", Step(-0.1, True), OutOfRangeError, "above zero"),
        ("sugar_g_per_l", Step(11.0, True), OutOfRangeError, "at most 1000 %"),
        ("ph", Step(float("inf"), False), OutOfRangeError, "above zero"),
        ("ph", Step(float("nan"), False), OutOfRangeError, "above zero"),
    ],
)
def test_what_is_no_step_is_refused(name: str, step: Step, error: type[InputError], match: str) -> None:
    with pytest.raises(error, match=match) as caught:
        Senses(((name, step),))
    assert caught.value.pointer == f"/steps/{name}"


DRINK = {"sugar_g_per_l": 80.0, "titratable_acidity": 6.0, "abv_percent": 6.5, "juice_percent": 8.0}


def test_distance_adds_squares_of_steps() -> None:
    other = {
        name: value_after_steps(name, DRINK[name], n)
        for name, n in (
            ("sugar_g_per_l", 2.0),
            ("titratable_acidity", -3.0),
            ("abv_percent", 6.0),
            ("juice_percent", 0.0),
        )
    }
    assert perceptual_distance(DRINK, other) == pytest.approx(7.0)  # 2² + 3² + 6² = 7²
    assert perceptual_distance(DRINK, DRINK) == 0.0


LEVEL = st.floats(0.0, 100.0)
ANY_DRINK = st.fixed_dictionaries(dict.fromkeys(DRINK, LEVEL))


@ALWAYS
@given(ANY_DRINK, ANY_DRINK, ANY_DRINK)
def test_distance_is_a_metric(a: dict[str, float], b: dict[str, float], c: dict[str, float]) -> None:
    assert perceptual_distance(a, b) == pytest.approx(perceptual_distance(b, a))
    assert perceptual_distance(a, c) <= perceptual_distance(a, b) + perceptual_distance(b, c) + 1e-9


def test_levels_below_the_floors_do_not_count() -> None:
    none = {"sugar_g_per_l": 0.0, "titratable_acidity": 0.0, "abv_percent": 6.5, "juice_percent": 0.0}
    traces = {"sugar_g_per_l": 1.0, "titratable_acidity": 0.5, "abv_percent": 6.5, "juice_percent": 1.0}
    assert perceptual_distance(none, traces) == 0.0
    # From no juice to 8 %: ln 8/ln 1.25 steps above the floor of 1 %.
    assert perceptual_distance(DRINK | {"juice_percent": 0.0}, DRINK) == pytest.approx(9.32, abs=0.005)
    assert [floor for _, floor in DIMENSIONS] == [1.0, 0.5, 0.0, 1.0]


def test_distance_takes_sweetness_before_sugar_and_what_both_name() -> None:
    both = {"sugar_g_per_l": 80.0, "sucrose_equivalent_g_per_l": 70.0}
    sweeter = {"sugar_g_per_l": 80.0, "sucrose_equivalent_g_per_l": 70.0 * 1.12}
    assert perceptual_distance(both, sweeter) == pytest.approx(1.0)
    assert perceptual_distance(both, {"sugar_g_per_l": 80.0 * 1.12}) == pytest.approx(1.0)
    assert perceptual_distance({"citrus_percent": 8.0}, {"citrus_percent": 10.0}) == pytest.approx(1.0)
    with pytest.raises(InputError, match="at least one of"):
        perceptual_distance({"ph": 3.4}, {"ph": 3.5})


def test_finer_senses_make_more_distance() -> None:
    dry, sweet = {"sugar_g_per_l": 60.0}, {"sugar_g_per_l": 120.0}
    shares = (0.17, 0.15, 0.12, 0.10)
    distances = [perceptual_distance(dry, sweet, sharing("sugar_g_per_l", share)) for share in shares]
    assert all(coarse < fine for coarse, fine in pairwise(distances))


def test_what_steps_are_is_said_with_its_source() -> None:
    assert "Weber" in STEPS_ARE
    assert "no measurement of flavour" in STEPS_ARE
    assert len(STEPS_ARE.split()) <= 30
    assert STEPS_SOURCE in sources()
