"""A remembered drink becomes targets: worked figures, published densities, ranges, and refusals."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.physics.mixture import density_g_ml, volume_ml
from service.physics.solutes import Component
from service.planner.asked import Instruments, TargetAsked
from service.planner.remembered import (
    ALCOHOL_AND_TASTE,
    BRIX_ERROR,
    HOLD_BOTH,
    PH_BELOW_ITS_ACID,
    PH_IS_NO_TARGET,
    REMEMBERED_ACID_G_PER_L,
    Matched,
    Remembered,
    match_of,
)
from service.quantities import parse_acidity

TOOLS = Instruments(hydrometer_error=0.001)


def matched(acid: str | None = None, **known: Any) -> Matched:
    return match_of(Remembered(acid=None if acid is None else parse_acidity(acid), **known), TOOLS)


def target(found: Matched, name: str) -> TargetAsked:
    (one,) = (t for t in found.targets if t.name == name)
    return one


def citric_g_per_l(found: Matched) -> float:
    assert found.acid_meq_per_l is not None
    return acid_g_per_l_from_meq_per_l(found.acid_meq_per_l, Acid.CITRIC)


def test_a_label_with_acid_by_weight() -> None:
    """An invented drink of 6 % vol, 29 g in 330 mL, 0.55 % acid w/w: 87.9 g/L are 8.57 % w/w, with the acid 9.12 °Bx.

    Its gravity is 1.0277. All computed: regression values.
    """
    found = matched("0.55 % w/w citric", serving_ml=330.0, sugar_g=29.0, abv_percent=6.0)
    assert found.sugar_g_per_l == pytest.approx(87.9, abs=0.05)
    assert found.gravity == pytest.approx(1.0277, abs=5e-5)
    assert found.brix == pytest.approx(9.12, abs=0.005)
    assert found.litre_g is not None
    mass = sum(found.litre_g.values())
    assert 100.0 * found.litre_g[Component.SUCROSE] / mass == pytest.approx(8.57, abs=0.005)
    assert citric_g_per_l(found) == pytest.approx(0.0055 * mass, rel=1e-9)
    assert volume_ml(found.litre_g) == pytest.approx(1000.0, abs=1e-9)


def test_the_same_drink_without_its_alcohol_is_denser_so_its_acid_by_weight_is_more() -> None:
    strong = matched("0.55 % w/w citric", serving_ml=330.0, sugar_g=29.0, abv_percent=6.0)
    plain = matched("0.55 % w/w citric", serving_ml=330.0, sugar_g=29.0)
    assert plain.sugar_g_per_l == strong.sugar_g_per_l
    assert plain.gravity is not None
    assert strong.gravity is not None
    assert citric_g_per_l(plain) / citric_g_per_l(strong) == pytest.approx(plain.gravity / strong.gravity, rel=1e-9)
    assert ALCOHOL_AND_TASTE in plain.warnings
    assert ALCOHOL_AND_TASTE not in strong.warnings


def test_targets_are_sugar_acid_and_juice_and_never_gravity() -> None:
    found = matched("0.55 % citric", serving_ml=330.0, sugar_g=29.0, juice_percent=8.0, ph=3.1)
    assert [t.name for t in found.targets] == ["sugar_g_per_l", "titratable_acidity", "juice_percent"]
    sugar = target(found, "sugar_g_per_l")
    # 28.5 to 29.5 g round to 29
    assert (sugar.low, sugar.high) == pytest.approx((28.5 / 0.33, 29.5 / 0.33))
    assert sugar.asked == "29 g sugar in 330 mL"
    acid = target(found, "titratable_acidity")
    # 5.5 g/L citric × 75.04/64.04, by the equivalent weights
    assert acid.value == pytest.approx(5.5 * 75.04 / 64.04, rel=1e-9)
    assert acid.high - acid.low == pytest.approx(2.0 * REMEMBERED_ACID_G_PER_L)
    assert acid.asked == "0.55 % citric"
    juice = target(found, "juice_percent")
    # 21 CFR 101.30: a whole number not above the actual one
    assert juice.low == pytest.approx(8.0, rel=0.0101)
    assert (juice.value, juice.high) == (8.0, 9.0)
    assert PH_IS_NO_TARGET in found.warnings


@pytest.mark.parametrize(("sugar_g", "half_g"), [(29.0, 0.5), (28.7, 0.05), (0.0, 0.5)])
def test_the_range_of_sugar_is_the_labels_rounding(sugar_g: float, half_g: float) -> None:
    sugar = target(matched(serving_ml=250.0, sugar_g=sugar_g), "sugar_g_per_l")
    assert sugar.high == pytest.approx((sugar_g + half_g) / 0.25)
    assert sugar.low == pytest.approx(max(sugar_g - half_g, 0.0) / 0.25)


@pytest.mark.parametrize(
    ("acid", "citric"),
    [("0.55 % citric", 5.5), ("0.55 g/100 mL citric", 5.5), ("5.5 g/L citric", 5.5), ("100 meq/L", 6.404)],
)
def test_acid_by_volume_needs_no_density(acid: str, citric: float) -> None:
    """A plain percent is grams in 100 mL (common practice, no source); 1 meq is 64.04 mg of citric acid."""
    for known in ({}, {"serving_ml": 330.0, "sugar_g": 29.0}, {"brix": 9.0}):
        assert citric_g_per_l(matched(acid, **known)) == pytest.approx(citric, rel=1e-9)


def test_acid_by_mass_goes_through_the_drinks_own_density() -> None:
    for acid in ("5.5 g/kg citric", "0.55 % w/w citric", f"{5.5 / 0.06404} meq/kg"):
        found = matched(acid, brix=9.0)
        assert found.gravity is not None
        assert citric_g_per_l(found) == pytest.approx(5.5 * found.gravity * 0.9982012, rel=1e-6)


def test_the_error_of_an_acidity_is_its_range() -> None:
    acid = target(matched("6.5 g/L tartaric ± 0.4 g/L", brix=9.0), "titratable_acidity")
    assert (acid.low, acid.value, acid.high) == pytest.approx((6.1, 6.5, 6.9))


@pytest.mark.parametrize(("percent", "density"), [(5.0, 1.0178), (10.0, 1.0381), (15.0, 1.0592), (20.0, 1.0810)])
def test_sample_without_acid_is_a_sucrose_solution(percent: float, density: float) -> None:
    """CRC Handbook of Chemistry and Physics, 102nd ed. (2021), concentrative properties, sucrose: density at 20 °C."""
    by_brix = matched(brix=percent)
    assert by_brix.sugar_g_per_l == pytest.approx(10.0 * percent * density, rel=2e-4)
    by_gravity = matched(gravity=density / 0.99820)
    assert by_gravity.sugar_g_per_l == pytest.approx(10.0 * percent * density, abs=0.2)


def test_acid_is_taken_out_of_what_is_dissolved() -> None:
    plain, sour = matched(brix=9.12), matched("5.5 g/L citric", brix=9.12)
    assert plain.sugar_g_per_l is not None
    assert sour.sugar_g_per_l is not None
    assert sour.brix == pytest.approx(9.12, abs=1e-9)
    assert plain.sugar_g_per_l - sour.sugar_g_per_l == pytest.approx(5.5, abs=0.05)
    assert sour.litre_g is not None
    assert volume_ml(sour.litre_g) == pytest.approx(1000.0, abs=1e-9)


def test_brix_gravity_and_label_of_one_drink_agree() -> None:
    by_label = matched("5.5 g/L citric", serving_ml=330.0, sugar_g=29.0)
    by_brix = matched("5.5 g/L citric", brix=by_label.brix)
    by_gravity = matched("5.5 g/L citric", gravity=by_label.gravity)
    assert by_brix.sugar_g_per_l == pytest.approx(by_label.sugar_g_per_l, rel=1e-9)
    assert by_gravity.sugar_g_per_l == pytest.approx(by_label.sugar_g_per_l, rel=1e-9)
    assert by_label.litre_g is not None
    assert by_label.gravity == pytest.approx(density_g_ml(by_label.litre_g) / 0.9982012, rel=1e-7)


def test_refractometer_is_raised_for_acid() -> None:
    """Kimball, Citrus Processing (1991), Appendix A: 0.20 °Bx low at 1.00 % citric acid."""
    read = matched("1.00 % w/w citric", brix=9.80, brix_is_refractometer_reading=True)
    assert read.brix == pytest.approx(10.0, abs=1e-6)
    assert read.sugar_g_per_l == pytest.approx(matched("1.00 % w/w citric", brix=10.0).sugar_g_per_l, rel=1e-7)
    assert any(a.what == "match: refractometer" for a in read.assumed)


def test_the_range_of_a_reading_is_its_instruments_error() -> None:
    by_gravity = target(matched(gravity=1.036), "sugar_g_per_l")
    # OIV-MA-AS2-03B, Table I: 2.6 g/L of sucrose for 0.001 (from memory)
    assert by_gravity.value is not None
    assert by_gravity.high - by_gravity.value == pytest.approx(2.6, abs=0.05)
    coarse = match_of(Remembered(gravity=1.036), replace(TOOLS, hydrometer_error=0.002))
    assert coarse.targets[0].high - by_gravity.high == pytest.approx(2.6, abs=0.05)
    by_brix = target(matched(brix=9.0), "sugar_g_per_l")
    assert by_brix.value is not None
    # 10 (ρ + B dρ/dB) g/L for 1 °Bx: 1.0341 g/mL at 9 %, 0.0041 more with each per cent (CRC Handbook, as above)
    assert by_brix.high - by_brix.value == pytest.approx(BRIX_ERROR * 10.0 * (1.0341 + 9.0 * 0.0041), abs=0.01)


def test_assumptions_are_told() -> None:
    by_label = {a.what: a.value for a in matched("0.55 % citric", serving_ml=330.0, sugar_g=29.0).assumed}
    assert by_label["match: sugar of the label"] == "rounded to 1 g in a serving"
    assert by_label["match: percent of acid"] == "grams in 100 mL of drink"
    assert by_label["match: alcohol"] == "the remembered drink held none"
    by_sample = {a.what: a.value for a in matched(gravity=1.036).assumed}
    assert by_sample["match: dissolved solids"] == "all sugar but none, its acid included"
    assert "match: sugar of the label" not in by_sample
    by_weight = {a.what for a in matched("0.55 % w/w citric", brix=9.0).assumed}
    assert "match: percent of acid" not in by_weight


def test_warnings() -> None:
    assert HOLD_BOTH in matched(brix=9.0).warnings
    assert HOLD_BOTH in matched("5 g/L citric").warnings
    assert HOLD_BOTH not in matched("5 g/L citric", brix=9.0).warnings
    # A solution of 0.1 mol/L citric acid has pH 2.1 (handbook value, from memory); no cation lowers it.
    assert PH_BELOW_ITS_ACID in matched("19.2 g/L citric", brix=12.0, ph=1.8).warnings
    assert PH_BELOW_ITS_ACID not in matched("19.2 g/L citric", brix=12.0, ph=2.3).warnings


def test_acid_or_juice_alone_is_a_match() -> None:
    assert [t.name for t in matched("5 g/L citric").targets] == ["titratable_acidity"]
    assert [t.name for t in matched(juice_percent=12.0).targets] == ["juice_percent"]


@pytest.mark.parametrize(
    ("known", "acid", "error", "match", "pointer"),
    [
        ({}, None, InputError, "what is remembered", ""),
        ({"ph": 3.2}, None, InputError, "pH alone", "/ph"),
        ({"sugar_g": 29.0}, None, InputError, "both", "/serving"),
        ({"serving_ml": 330.0}, None, InputError, "both", "/sugar_g"),
        ({"serving_ml": 330.0, "sugar_g": 29.0, "brix": 9.0}, None, InputError, "give one", "/brix"),
        ({"brix": 9.0, "gravity": 1.036}, None, InputError, "give one", "/gravity"),
        ({"serving_ml": 0.0, "sugar_g": 29.0}, None, OutOfRangeError, "above 0", "/serving"),
        ({"serving_ml": 330.0, "sugar_g": -1.0}, None, OutOfRangeError, "between", "/sugar_g"),
        ({"serving_ml": 330.0, "sugar_g": float("nan")}, None, OutOfRangeError, "between", "/sugar_g"),
        ({"serving_ml": 30.0, "sugar_g": 60.0}, None, OutOfRangeError, "dissolves", "/sugar_g"),
        ({"brix": 9.0, "juice_percent": 101.0}, None, OutOfRangeError, "between", "/juice_percent"),
        ({"brix": 90.0}, None, OutOfRangeError, "between", "/brix"),
        ({"gravity": 0.995}, None, OutOfRangeError, "without alcohol", "/gravity"),
        ({"gravity": 1036.0}, None, OutOfRangeError, "without alcohol", "/gravity"),
        ({"brix": 9.0, "ph": 15.0}, None, OutOfRangeError, "pH", "/ph"),
        ({"brix": 9.0, "abv_percent": 6.0}, None, InputError, "Alcohol moves", "/brix"),
        ({"gravity": 1.03, "abv_percent": 6.0}, None, InputError, "Alcohol moves", "/gravity"),
        ({"brix": 0.5}, "7 g/L citric", InconsistentError, "acid alone", "/acid"),
        ({"gravity": 1.001}, "7 g/L citric", InconsistentError, "acid alone", "/gravity"),
        ({"brix": 9.0}, "55 % citric", OutOfRangeError, "grams in 100 mL", "/acid"),
        ({}, "0.55 % w/w citric", InputError, "per litre", "/acid"),
    ],
)
def test_what_cannot_be_matched_is_refused_in_words(
    known: dict[str, float], acid: str | None, error: type[InputError], match: str, pointer: str
) -> None:
    with pytest.raises(error, match=match) as caught:
        matched(acid, **known)
    assert caught.value.pointer == pointer
