"""What scale, jug and spoons show, and that every amount in words reads back to itself."""

from __future__ import annotations

from itertools import pairwise

import pytest

from service.catalogue.lookup import get_ingredient
from service.planner.asked import AdditionAsked, Circumstances, Instruments
from service.planner.materials import Material, materials_of
from service.planner.measures import Measure, assumed_steps, measure_for, scale_measure
from service.quantities import Kind, System, parse_quantity
from tests.planner.rounding_cases import lot

CUBIC_INCH_ML = 2.54**3
"""NIST Handbook 44, Appendix C: 1 in = 2.54 cm; a gallon is 231 cubic inches, a quart 57.75, a cup 1/16 gallon."""
CUP_ML = 231.0 * CUBIC_INCH_ML / 16.0
OUNCE_G = 453.59237 / 16.0


def material(name: str) -> Material:
    """An ingredient as a material."""
    return materials_of([], [AdditionAsked(get_ingredient(name))])[0]


def measured(
    name: str, system: System = "metric", unit: str | None = None, instruments: Instruments | None = None
) -> Measure:
    """What an ingredient is measured with in a kitchen."""
    return measure_for(material(name), Circumstances(system, instruments or Instruments()), "kitchen", unit)


def said(measure: Measure, units: float) -> str:
    """The nearest measurable amount in words."""
    return measure.words(measure.nearest(units * measure.g_per_unit))


@pytest.mark.parametrize(
    ("cups", "words"),
    [
        (0.75 / 48.0, "3/4 tsp"),
        (2.75 / 48.0, "2 3/4 tsp"),
        (1.0 / 16.0, "1 tbsp"),
        (1.5 / 16.0, "1 1/2 tbsp"),
        (0.25, "1/4 cup"),
        (0.875, "3/4 cup + 2 tbsp"),
        (1.0, "1 cup"),
        (1.1875, "1 cup + 3 tbsp"),
        (2.25, "2 1/4 cups"),
        (4.0, "1 qt"),
        (5.25, "1 qt + 1 1/4 cups"),
        (16.0, "1 gal"),
        (25.25, "1 gal + 2 qt + 1 1/4 cups"),
    ],
)
def test_cups_and_spoons(cups: float, words: str) -> None:
    measure = measured("water_deionised", "us")
    assert said(measure, cups * CUP_ML) == words
    assert parse_quantity(words, {Kind.VOLUME}).value_base == pytest.approx(cups * CUP_ML, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "system", "unit", "units", "words"),
    [
        ("honey_acacia", "metric", None, 612.3, "612 g"),
        ("honey_acacia", "us", None, 1.0 * 453.59237 + 5.55 * OUNCE_G, "1 lb 5.5 oz"),
        ("citric_acid_anhydrous", "us", None, 0.36 * OUNCE_G, "0.35 oz"),
        ("lemon_juice_fresh", "metric", None, 4.0, "3.75 mL"),
        ("lemon_juice_fresh", "metric", None, 83.0, "85 mL"),
        ("lemon_juice_fresh", "metric", None, 352.0, "350 mL"),
        ("lemon_juice_fresh", "metric", None, 1234.0, "1.23 L"),
        ("water_deionised", "metric", None, 4321.0, "4.3 L"),
        ("water_deionised", "metric", "gal", 1.5 * 16 * CUP_ML, "1 gal + 2 qt"),
        ("water_deionised", "metric", "fl oz", 1.6 * CUP_ML, "13 fl oz"),
        ("water_deionised", "metric", "fluid ounces", 0.31 * CUP_ML, "2 1/2 fl oz"),
        ("water_deionised", "us", "mL", 352.0, "350 mL"),
        ("water_deionised", "us", "lb", 2.0 * 453.6, "2 lb"),
        ("honey_acacia", "us", "cups", 1.2 * CUP_ML, "1 cup + 3 tbsp"),
        ("honey_acacia", "us", "kg", 1234.4, "1.234 kg"),
        ("citric_acid_anhydrous", "metric", "oz", 3.1 * OUNCE_G, "3 oz"),
        ("water_deionised", "metric", "imp gal", 6300.0, "1 imp gal + 3 imp pt"),
        ("water_deionised", "imperial", None, 40.0, "1 1/2 imp fl oz"),
    ],
)
def test_each_thing_is_measured_in_its_own_way(
    name: str, system: System, unit: str | None, units: float, words: str
) -> None:
    assert said(measured(name, system, unit), units) == words


def test_powders_are_weighed_and_lots_poured() -> None:
    assert measured("citric_acid_anhydrous", "us", "tsp").kind is Kind.MASS
    assert measured("apple_juice_concentrate_70").kind is Kind.MASS
    assert measured("neutral_spirit_96").kind is Kind.VOLUME
    assert measured("orange_juice_fresh").kind is Kind.VOLUME
    (base,) = materials_of([lot("base", 20.0, 0.0)], [])
    assert measure_for(base, Circumstances(), "kitchen").kind is Kind.VOLUME
    assert measure_for(base, Circumstances(), "scale").kind is Kind.MASS


def _grid(measure: Measure, most: float) -> list[float]:
    found, mass = [], 0.0
    while mass < most * measure.g_per_unit:
        mass = measure.next_above(mass)
        found.append(mass)
    return found


GRIDS = [
    ("water_deionised", "us", None, Instruments(), 40_000.0),
    ("water_deionised", "us", "fl oz", Instruments(), 6_000.0),
    ("lemon_juice_fresh", "us", None, Instruments(jug_step_ml=CUP_ML / 4.0), 9_000.0),
    ("water_deionised", "us", None, Instruments(jug_step_ml=CUP_ML), 40_000.0),
    ("water_deionised", "metric", None, Instruments(), 120_000.0),
    ("lemon_juice_fresh", "metric", None, Instruments(jug_step_ml=1.0), 500.0),
    ("lemon_juice_fresh", "metric", None, Instruments(jug_step_ml=7.0), 900.0),
    ("lemon_juice_fresh", "metric", None, Instruments(jug_step_ml=100.0), 9_000.0),
    ("water_deionised", "imperial", None, Instruments(), 60_000.0),
    ("honey_acacia", "us", None, Instruments(), 5_000.0),
    ("honey_acacia", "us", None, Instruments(5.0, given=frozenset({"scale"})), 5_000.0),
    ("honey_acacia", "us", None, Instruments(0.1 * OUNCE_G, given=frozenset({"scale"})), 2_000.0),
    ("honey_acacia", "metric", None, Instruments(0.1), 300.0),
    ("honey_acacia", "metric", None, Instruments(2.5), 3_000.0),
]


@pytest.mark.parametrize(("name", "system", "unit", "instruments", "most"), GRIDS)
def test_every_amount_reads_back(
    name: str, system: System, unit: str | None, instruments: Instruments, most: float
) -> None:
    measure = measured(name, system, unit, instruments)
    amounts = _grid(measure, most)
    assert len(amounts) > 100
    texts = [measure.words(mass) for mass in amounts]
    assert len(set(texts)) == len(texts)
    for text, mass in zip(texts, amounts, strict=True):
        quantity = parse_quantity(text, {measure.kind})
        assert quantity.value_base * measure.g_per_unit == pytest.approx(mass, rel=1e-9)


@pytest.mark.parametrize(("name", "system", "unit", "instruments", "most"), GRIDS)
def test_neighbours_enclose_an_amount(
    name: str, system: System, unit: str | None, instruments: Instruments, most: float
) -> None:
    measure = measured(name, system, unit, instruments)
    amounts = _grid(measure, most)
    for low, high in pairwise(amounts):
        between = 0.3 * low + 0.7 * high
        assert measure.below(between) == pytest.approx(low, rel=1e-12)
        assert measure.above(between) == pytest.approx(high, rel=1e-12)
        assert measure.nearest(between) == pytest.approx(high, rel=1e-12)
        assert measure.below(low) == pytest.approx(low, rel=1e-12)
        assert measure.above(high) == pytest.approx(high, rel=1e-12)
        assert measure.next_below(high) == pytest.approx(low, rel=1e-12)
        assert high - low <= 2.0 * measure.step_g(low) * (1.0 + 1e-9)
    assert measure.next_below(amounts[0]) == 0.0
    assert measure.next_below(0.0) == 0.0


@pytest.mark.parametrize("system", ["metric", "us", "imperial"])
def test_steps_are_a_small_share_of_what_is_measured(system: System) -> None:
    """Half a step of water is at most 13 % from 30 g on, 6.5 % from 120 g, and 1.6 % from 2 kg."""
    measure = measured("water_deionised", system)
    for mass in _grid(measure, 40_000.0):
        share = 0.5 * measure.step_g(mass) / mass
        if mass >= 30.0:
            assert share <= 0.13
        if mass >= 120.0:
            assert share <= 0.065
        if mass >= 2000.0:
            assert share <= 0.016


def test_a_scale_shows_the_unit_of_its_step() -> None:
    assert scale_measure(0.25 * OUNCE_G, given=True).words(21.5 * OUNCE_G) == "1 lb 5.5 oz"
    assert scale_measure(OUNCE_G / 8.0, given=True).words(16.375 * OUNCE_G) == "1 lb 0.375 oz"
    assert scale_measure(1.0, given=False).words(612.0) == "612 g"


def test_steps_that_nobody_named_are_assumed() -> None:
    ours = [measured("water_deionised"), measured("honey_acacia"), measured("sugar_white")]
    spoons, scale = assumed_steps(ours)
    assert (scale.what, scale.value, scale.source) == ("scale step", "1 g", "common practice, no source")
    assert spoons.what == "jug and spoons"
    assert spoons.value == "1.25 mL, 5 mL from 15 mL on, 10 mL from 500 mL on, 50 mL from 2 L on"
    named = measured("honey_acacia", instruments=Instruments(2.0, given=frozenset({"scale"})))
    assert assumed_steps([named]) == []
