"""Refractive index, the sugar scale of a refractometer, and extract and strength from it beside a hydrometer."""

from __future__ import annotations

from math import hypot

import pytest

from service.errors import InconsistentError, OutOfRangeError
from service.physics.mixture import WATER_G_PER_ML, density_g_ml
from service.physics.refraction import (
    SPECIFIC_REFRACTION_ML_G,
    brix_from_refractive_index,
    extract_and_abv_from_refractometer,
    refractive_index_from_brix,
    refractive_index_of,
    refractometer_brix,
    refractometer_brix_and_gradient,
)
from service.physics.solutes import ACIDS, Component
from service.physics.sucrose import brix_from_sg
from tests.tables import Row, label, rows

SUCROSE = [row for row in rows("sucrose_checks") if row["refractive_index_nD20"]]
HEXOSES = rows("glucose_fructose_checks")
READINGS = rows("refracto_density")
SUGAR_ROWS = [("sucrose", row["sucrose_mass_pct"], row) for row in SUCROSE] + [
    (row["solute"], row["solute_mass_pct"], row) for row in HEXOSES
]
COMPONENTS = tuple(Component)


def in_water(component: Component, percent: float) -> dict[Component, float]:
    """100 g of a solution of one thing in water."""
    return {Component.WATER: 100.0 - percent, component: percent}


def sweet_drink(sugar: float, ethanol: float, acid: float) -> dict[Component, float]:
    """100 g whose sugars are 55 parts of fructose to 45 of glucose, the acid citric."""
    return {
        Component.WATER: 100.0 - sugar - ethanol - acid,
        Component.ETHANOL: ethanol,
        Component.FRUCTOSE: 0.55 * sugar,
        Component.GLUCOSE: 0.45 * sugar,
        Component.CITRIC: acid,
    }


def of_row(row: Row) -> dict[Component, float]:
    return sweet_drink(*(float(row[k]) for k in ("sugar_mass_pct", "ethanol_mass_pct", "citric_acid_mass_pct")))


@pytest.mark.parametrize("row", SUCROSE, ids=label)
def test_index_of_sucrose_against_the_handbook(row: Row) -> None:
    """CRC Handbook of Chemistry and Physics, 102nd ed. (2021), concentrative properties: 8e-5 up to 84 %."""
    brix = float(row["sucrose_mass_pct"])
    index = float(row["refractive_index_nD20"])
    assert refractive_index_from_brix(brix) == pytest.approx(index, abs=8e-5)
    assert brix_from_refractive_index(index) == pytest.approx(brix, abs=0.05)


ICUMSA_INDEX = {0: 1.33299, 10: 1.34782, 20: 1.36384, 30: 1.38115, 40: 1.39986, 50: 1.42009, 60: 1.44193, 70: 1.46546}


@pytest.mark.parametrize("brix", ICUMSA_INDEX)
def test_index_of_sucrose_against_the_sugar_trade_table(brix: int) -> None:
    """ICUMSA SPS-3, 20 °C, 589 nm; the figures are from memory, unverified."""
    assert refractive_index_from_brix(brix) == pytest.approx(ICUMSA_INDEX[brix], abs=8e-5)


@pytest.mark.parametrize("brix", [-0.9, -0.2, 0.0, 0.5, 7.3, 20.0, 42.0, 65.0, 83.9])
def test_scale_and_index_undo_each_other(brix: float) -> None:
    assert brix_from_refractive_index(refractive_index_from_brix(brix)) == pytest.approx(brix, abs=1e-10)


@pytest.mark.parametrize(
    ("solute", "percent", "row"), [s for s in SUGAR_ROWS if float(s[1]) == 10.0], ids=["sucrose", "glucose", "fructose"]
)
def test_specific_refraction_of_the_sugars_from_their_rows(solute: str, percent: str, row: Row) -> None:
    """CRC Handbook, 102nd ed. (2021), rows of 10 %: index and density rounded to 1e-4 leave 0.0004 mL/g."""
    w, index = float(percent) / 100.0, float(row["refractive_index_nD20"])
    whole = (index**2 - 1.0) / (index**2 + 2.0) / float(row["density20_g_mL"])
    water = (1.33299**2 - 1.0) / (1.33299**2 + 2.0) / 0.99820
    assert SPECIFIC_REFRACTION_ML_G[Component.WATER] == pytest.approx(water, abs=1e-5)
    own = (whole - (1.0 - w) * water) / w
    assert SPECIFIC_REFRACTION_ML_G[Component(solute)] == pytest.approx(own, abs=0.0004)


@pytest.mark.parametrize(("solute", "percent", "row"), [s for s in SUGAR_ROWS if float(s[1]) <= 20.0])
def test_index_of_one_sugar_by_lorentz_and_lorenz(solute: str, percent: str, row: Row) -> None:
    """CRC Handbook, 102nd ed. (2021), index of sucrose, glucose and fructose up to 20 %: 0.08 °Bx."""
    mixture = in_water(Component(solute), float(percent))
    assert refractive_index_of(mixture) == pytest.approx(float(row["refractive_index_nD20"]), abs=1.25e-4)


HANDBOOK_FROM_MEMORY = [
    (Component.ETHANOL, 1.0, 1.3336),
    (Component.ETHANOL, 2.0, 1.3342),
    (Component.ETHANOL, 5.0, 1.3360),
    (Component.ETHANOL, 10.0, 1.3395),
    (Component.ETHANOL, 20.0, 1.3469),
    (Component.GLYCEROL, 10.0, 1.3448),
    (Component.GLYCEROL, 20.0, 1.3575),
]


@pytest.mark.parametrize(("component", "percent", "index"), HANDBOOK_FROM_MEMORY)
def test_index_of_alcohol_and_glycerol(component: Component, percent: float, index: float) -> None:
    """Handbook rows at 20 °C, from memory, unverified: half a unit of the last digit to 10 %, 2.5e-4 at 20 %."""
    tolerance = 7e-5 if percent <= 10.0 else 2.5e-4
    assert refractive_index_of(in_water(component, percent)) == pytest.approx(index, abs=tolerance)


@pytest.mark.parametrize(
    ("ethanol", "reading"), [(0.0, 0.0), (1.0, 0.40), (2.0, 0.81), (5.0, 2.10), (6.0, 2.55), (10.0, 4.44)]
)
def test_what_alcohol_reads_as_sugar(ethanol: float, reading: float) -> None:
    """Lorentz–Lorenz on OIML R 22 density, worked out once and written down (computed)."""
    assert refractometer_brix(in_water(Component.ETHANOL, ethanol)) == pytest.approx(reading, abs=0.006)


def test_what_acid_reads_as_sugar() -> None:
    """1 % citric acid: 0.92 °Bx on a refractometer and 1.05 on a hydrometer (computed)."""
    drink = in_water(Component.CITRIC, 1.0)
    assert refractometer_brix(drink) == pytest.approx(0.92, abs=0.006)
    assert brix_from_sg(density_g_ml(drink) / WATER_G_PER_ML) == pytest.approx(1.05, abs=0.006)


@pytest.mark.parametrize(
    ("sucrose", "high", "tolerance"), [(1, 0, 0.03), (5, 0, 0.03), (10, 0, 0.03), (20, 0, 0.03), (30, 0.12, 0.005)]
)
def test_how_far_sucrose_reads_from_itself(sucrose: float, high: float, tolerance: float) -> None:
    """Within 0.03 °Bx up to 20 %, 0.12 high at 30 % (computed)."""
    assert refractometer_brix(in_water(Component.SUCROSE, sucrose)) - sucrose == pytest.approx(high, abs=tolerance)


def test_every_component_refracts_and_stand_ins_are_what_they_say() -> None:
    """No row, no number of its own: acids count as citric and other extract as sucrose (our default)."""
    assert set(SPECIFIC_REFRACTION_ML_G) == set(Component)
    assert {SPECIFIC_REFRACTION_ML_G[acid] for acid in ACIDS} == {0.196}
    own = {Component.WATER, Component.ETHANOL, Component.GLUCOSE, Component.FRUCTOSE, Component.GLYCEROL, *ACIDS}
    assert {SPECIFIC_REFRACTION_ML_G[c] for c in Component if c not in own} == {0.2065}


@pytest.mark.parametrize("row", READINGS, ids=label)
def test_both_readings_of_a_drink(row: Row) -> None:
    """Binary sum and Lorentz–Lorenz, worked out once and written down (computed; no measured mixtures)."""
    drink = of_row(row)
    gravity = density_g_ml(drink) / WATER_G_PER_ML
    assert gravity == pytest.approx(float(row["sg20_20"]), abs=float(row["tolerance_sg"]))
    assert refractometer_brix(drink) == pytest.approx(
        float(row["refractometer_degBx"]), abs=float(row["tolerance_degBx"])
    )


@pytest.mark.parametrize("row", READINGS, ids=label)
def test_extract_and_strength_from_rounded_readings(row: Row) -> None:
    """The same drinks from readings rounded to 0.001 and 0.1 °Bx, two decimals of the table (computed)."""
    found = extract_and_abv_from_refractometer(
        float(row["rounded_sg20_20"]), float(row["rounded_refractometer_degBx"]), float(row["citric_acid_mass_pct"])
    )
    assert found.extract_percent == pytest.approx(float(row["sugar_from_rounded_mass_pct"]), abs=0.006)
    assert found.abv_percent == pytest.approx(float(row["abv_from_rounded_pct_vol"]), abs=0.006)
    assert found.abv_percent == pytest.approx(float(row["true_abv_pct_vol"]), abs=0.15)


@pytest.mark.parametrize("acid", [0.0, 0.6, 3.0])
@pytest.mark.parametrize("ethanol", [-0.3, 0.0, 4.0, 9.0, 15.0])
@pytest.mark.parametrize("sugar", [-0.2, 0.0, 1.0, 8.0, 20.0])
def test_a_drink_comes_back_from_its_two_readings(sugar: float, ethanol: float, acid: float) -> None:
    drink = sweet_drink(sugar * 0.9999, ethanol * 0.9999, acid)
    density = density_g_ml(drink)
    found = extract_and_abv_from_refractometer(density / WATER_G_PER_ML, refractometer_brix(drink), acid)
    assert found.extract_percent == pytest.approx(sugar * 0.9999, abs=1e-8)
    assert found.ethanol_percent == pytest.approx(ethanol * 0.9999, abs=1e-8)
    # the definition: volume of the ethanol at 20 °C (789.24 kg/m³, OIML R 22) over the volume of the drink
    assert found.abv_percent == pytest.approx(ethanol * 0.9999 / 0.78924 / (100.0 / density) * 100.0, abs=1e-8)


def test_an_unknown_acid_is_found_as_extract() -> None:
    """0.5 % citric left out: a little more extract than that, and the strength hardly moves (computed)."""
    drink = sweet_drink(9.0, 4.8, 0.5)
    readings = density_g_ml(drink) / WATER_G_PER_ML, refractometer_brix(drink)
    without = extract_and_abv_from_refractometer(*readings)
    assert without.extract_percent == pytest.approx(9.5, abs=0.05)
    assert abs(without.abv_percent - extract_and_abv_from_refractometer(*readings, 0.5).abv_percent) < 0.15


def test_what_errors_of_the_readings_do() -> None:
    """0.001 in gravity: 0.37 % vol, 0.12 % extract; 0.2 °Bx: 0.31 and 0.10; together 0.48 and 0.16 (computed).

    With a hydrometer of ±0.002 the strength is known to 0.8 % vol (computed).
    """
    moved = [
        (extract_and_abv_from_refractometer(1.029 + sg, 11.3 + brix, 0.5), factor)
        for sg, brix, factor in ((0.001, 0.0, 0.5), (-0.001, 0.0, -0.5), (0.0, 0.2, 0.5), (0.0, -0.2, -0.5))
    ]
    by_sg, by_brix = (
        [sum(f * getattr(x, k) for x, f in pair) for k in ("abv_percent", "extract_percent")]
        for pair in (moved[:2], moved[2:])
    )
    assert by_sg == pytest.approx([-0.37, 0.12], abs=0.006)
    assert by_brix == pytest.approx([0.31, 0.10], abs=0.006)
    assert hypot(by_sg[0], by_brix[0]) == pytest.approx(0.48, abs=0.006)
    assert hypot(by_sg[1], by_brix[1]) == pytest.approx(0.16, abs=0.006)
    assert hypot(2.0 * by_sg[0], by_brix[0]) == pytest.approx(0.8, abs=0.02)


@pytest.mark.parametrize(("row", "factor"), list(zip(READINGS, (1.43, 1.51, 1.58, 1.63), strict=True)))
def test_no_single_factor_serves_a_sweet_drink(row: Row, factor: float) -> None:
    """Strength over the difference of the two sugar scales: 1.43 dry, 1.51, 1.58, 1.63 at 12 % (computed)."""
    drink = of_row(row)
    difference = refractometer_brix(drink) - brix_from_sg(density_g_ml(drink) / WATER_G_PER_ML)
    assert float(row["true_abv_pct_vol"]) / difference == pytest.approx(factor, abs=0.02)


WHOLE = {component: 1.0 + 0.3 * place for place, component in enumerate(COMPONENTS)} | {Component.WATER: 800.0}
MIXTURES = {
    "water": {Component.WATER: 100.0},
    "dry": sweet_drink(0.9, 5.3, 0.0),
    "sweet": sweet_drink(12.0, 4.5, 0.6),
    "everything": WHOLE,
    "syrup": in_water(Component.SUCROSE, 65.0),
}


@pytest.mark.parametrize("name", MIXTURES)
def test_gradient_against_differences(name: str) -> None:
    """Central differences of the reading itself, over every component, also those that are not there."""
    drink = MIXTURES[name]
    step = 1e-4 * sum(drink.values())
    brix, gradient = refractometer_brix_and_gradient(drink)
    assert brix == pytest.approx(refractometer_brix(drink), abs=1e-11)
    for component, slope in zip(COMPONENTS, gradient, strict=True):
        more, less = (refractometer_brix(drink | {component: drink.get(component, 0.0) + s}) for s in (step, -step))
        assert slope == pytest.approx((more - less) / (2.0 * step), rel=2e-5, abs=1e-8), component
    # a reading does not depend on the size of the sample (Euler)
    assert sum(drink.get(c, 0.0) * g for c, g in zip(COMPONENTS, gradient, strict=True)) == pytest.approx(0, abs=1e-10)
    twice, half = refractometer_brix_and_gradient({c: 2.0 * m for c, m in drink.items()})
    assert twice == pytest.approx(brix, abs=1e-11)
    assert half == pytest.approx([g / 2.0 for g in gradient], rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("readings", "error", "says"),
    [
        ((1.050, 5.0), InconsistentError, "too low for that gravity even without alcohol"),
        ((1.100, -0.5), InconsistentError, "too low for that gravity even without alcohol"),
        ((0.980, 0.5), InconsistentError, "leave less than no extract"),
        ((0.9941, 3.1, 3.0), InconsistentError, "leave less than no extract"),
        ((1.100, 25.5), OutOfRangeError, "more than 20 % extract or 15 % ethanol"),
        ((0.990, 12.0), OutOfRangeError, "more than 20 % extract or 15 % ethanol"),
        ((1.020, 35.0), OutOfRangeError, "more than 20 % extract or 15 % ethanol"),
        ((1012.0, 7.3), OutOfRangeError, "typed in points"),
        ((1.012, 73.0), OutOfRangeError, "up to 35 °Bx"),
        ((1.012, 7.3, 6.0), OutOfRangeError, "given per litre"),
    ],
)
def test_readings_that_cannot_be_solved(readings: tuple[float, ...], error: type[Exception], says: str) -> None:
    with pytest.raises(error, match=says):
        extract_and_abv_from_refractometer(*readings)


def test_what_is_off_the_sugar_scale_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="known from 0 to 84 °Bx"):
        refractive_index_from_brix(85.0)
    with pytest.raises(OutOfRangeError, match="Check the zero with water"):
        brix_from_refractive_index(1.3300)
    with pytest.raises(OutOfRangeError, match="84 °Bx"):
        refractometer_brix_and_gradient(in_water(Component.GLUCOSE, 88.0))
    with pytest.raises(OutOfRangeError, match="no liquid"):
        refractive_index_of(in_water(Component.SUCROSE, 95.0))
