"""Every caution of readings: given where it belongs, at its level, and not elsewhere."""

from __future__ import annotations

import ast
from dataclasses import replace
from pathlib import Path

import pytest

import service
from service.model.lot_class import LotClass
from service.planner.interpreting.asked import ReadingsAsked, RefractometerRead
from service.planner.interpreting.interpret import interpret_readings
from tests.planner.readings_cases import STOPPED, SWEET, acid, codes, series, sg
from tests.planner.test_interpreting import expecting, true_readings

TITRATED = ReadingsAsked(acidity=acid(6.0))
OFF = replace(true_readings(15.0, 2000.0), expected=expecting(19.0, 2000.0))
A_LITTLE_OFF = replace(true_readings(17.1, 2000.0), expected=expecting(19.0, 2000.0))
FITS = replace(true_readings(19.0, 2000.0), expected=expecting(19.0, 2000.0))
JUICE = ReadingsAsked(sg(1.045), lot_class=LotClass.CITRUS_JUICE)
ADDED = ReadingsAsked(sg(1.020), sg(1.050), sweetened=True)
TWICE = replace(STOPPED, refractometer=RefractometerRead(8.0))

CASES: dict[str, tuple[str, ReadingsAsked, ReadingsAsked]] = {
    "still_fermenting": ("stop", replace(STOPPED, series=series((0, 1.008), (4, 1.004))), STOPPED),
    "gravity_rose": ("warning", replace(STOPPED, series=series((0, 1.002), (7, 1.004))), STOPPED),
    "hold_test_too_short": ("warning", replace(STOPPED, series=series((0, 1.004), (2, 1.004))), STOPPED),
    "nothing_shows_rest": ("warning", replace(STOPPED, series=(), hydrometer=sg(1.004)), STOPPED),
    "slow_fall_not_excluded": ("warning", replace(STOPPED, series=series((0, 1.010), (4, 1.004), (8, 1.004))), STOPPED),
    "at_rest_is_not_finished": (
        "warning",
        STOPPED,
        replace(STOPPED, original=None, abv_percent=6.0, residual_sugar_g_per_l=0.5, residual_sugar_error_g_per_l=0.3),
    ),
    "original_gravity_says_nothing": ("warning", ADDED, replace(ADDED, sweetened=False)),
    "sweetened_after_first_reading": (
        "warning",
        replace(ADDED, sweetened=None),
        ReadingsAsked(sg(0.998), sg(1.050)),
    ),
    "refractometer_reads_alcohol": ("note", SWEET, replace(SWEET, refractometer=None)),
    "compensation_is_for_sugar": ("note", replace(SWEET, refractometer=RefractometerRead(11.0, 15.0)), SWEET),
    "strength_is_a_check": ("warning", SWEET, replace(SWEET, abv_percent=6.2)),
    "readings_contradict": (
        "warning",
        ReadingsAsked(sg(1.060), sg(1.050), RefractometerRead(17.0)),
        ReadingsAsked(sg(1.004), sg(1.050), RefractometerRead(6.0)),
    ),
    "strengths_disagree": ("warning", TWICE, replace(TWICE, refractometer=RefractometerRead(5.3))),
    "extract_below_nothing": (
        "warning",
        ReadingsAsked(sg(0.9885), abv_percent=7.8),
        ReadingsAsked(sg(0.9960), abv_percent=7.8),
    ),
    "gravity_is_no_sugar_test": ("note", STOPPED, replace(STOPPED, residual_sugar_g_per_l=10.0)),
    "gas_counts_as_acid": (
        "warning",
        replace(TITRATED, acidity=acid(6.0, degassed=False)),
        TITRATED,
    ),
    "sodium_hydroxide": ("note", TITRATED, replace(TITRATED, acidity=replace(acid(6.0), titrated_here=False))),
    "ph_above_4_6": ("stop", ReadingsAsked(ph=4.7), ReadingsAsked(ph=4.55)),
    "ph_may_be_above_4_6": ("warning", ReadingsAsked(ph=4.55), ReadingsAsked(ph=4.5)),
    "ph_high": ("warning", ReadingsAsked(ph=4.05), ReadingsAsked(ph=3.95)),
    "readings_do_not_fit": ("warning", OFF, FITS),
    "readings_hardly_fit": ("warning", A_LITTLE_OFF, FITS),
    "alcohol": ("note", STOPPED, JUICE),
}


@pytest.mark.parametrize("code", CASES)
def test_where_a_caution_is_given_and_where_not(code: str) -> None:
    level, given, other = CASES[code]
    assert codes(interpret_readings(given)).get(code) == level
    assert code not in codes(interpret_readings(other))


def test_gas_is_a_note_where_nothing_was_said() -> None:
    assert (
        codes(interpret_readings(replace(TITRATED, acidity=acid(6.0, degassed=None))))["gas_counts_as_acid"] == "note"
    )


def test_estimates_are_always_called_so() -> None:
    assert all("estimate" in codes(interpret_readings(asked)) for asked in (STOPPED, JUICE, TITRATED))


def test_every_caution_has_its_test() -> None:
    source = Path(service.__file__).parent / "planner" / "interpreting" / "cautions.py"
    calls = [n for n in ast.walk(ast.parse(source.read_text(encoding="utf-8"))) if isinstance(n, ast.Call)]
    named = {
        call.args[0].value
        for call in calls
        if isinstance(call.func, ast.Name) and call.func.id == "Caution" and isinstance(call.args[0], ast.Constant)
    }
    shared = {"alcohol", "ph_high", "ph_may_be_above_4_6", "ph_above_4_6"}  # named in other rooms
    assert named - {"estimate"} == set(CASES) - shared


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_short_and_promises_nothing(code: str) -> None:
    found = interpret_readings(CASES[code][1])
    for caution in found.cautions:
        assert len(caution.text.split()) <= 30, caution.text
        assert "safe" not in caution.text.lower()
    assert [c.level for c in found.cautions] == sorted(
        (c.level for c in found.cautions), key=["stop", "warning", "note"].index
    )
    assert {s.key for s in found.sources} >= {c.source_id for c in found.cautions}
    assert {s.key for s in found.sources} >= {r.source_id for r in found.alcohol}
