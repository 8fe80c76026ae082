"""Readings of drinks that were made first on paper, so that the truth is known: what instruments would show of them.

The paper is `tests/oracle`, which imports nothing of the service. Where no tolerance is named, answers may differ by
their own rounding.
"""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from tests.oracle.instruments import hydrometer_shows, refracto_density, solids_of, titrated_g_per_l_citric
from tests.oracle.liquids import WATER_KG_M3
from tests.oracle.whole_job import (
    abv_by_real_extract,
    ferment,
    sucrose_must,
)
from tests.planner.drawn import Draw, ask

# --- Readings of drinks that were made first.


def _check_two_gravities(seed: int) -> None:
    draw = Draw(seed)
    of = sucrose_must(draw.number(1.035, 1.11, 5))
    end = ferment(of, of.extract_g * draw.number(0.6, 0.95))
    calibrated = draw.one_of([20.0, 60.0])
    cal_c, cal = (20.0, "20 C") if calibrated == 20.0 else ((60.0 - 32.0) / 1.8, "60 F")
    t1, t2 = draw.number(5, 35, 1), draw.number(5, 35, 1)
    naoh, sample = draw.number(4, 12, 2), draw.one_of([10.0, 15.0])

    def shown(gravity: float, abv: float, t: float) -> dict[str, Any]:
        reading = round(hydrometer_shows(gravity, abv, t, cal_c), 6)
        return {"reading": reading, "sample_temperature": f"{t} C", "calibrated_at": cal}

    answer = ask(
        "interpret_readings",
        {
            "original_gravity": shown(of.gravity, 0.0, t1),
            "hydrometer": shown(end.gravity, end.abv_percent, t2),
            "titration": {"naoh_ml": naoh, "naoh_mol_per_l": 0.1, "sample_ml": sample, "degassed": True},
        },
    )
    # The oracle's hydrometer has the drink's own expansion; what is not known of it may cost 0.0001.
    assert answer["original_gravity"]["value"] == pytest.approx(of.gravity, abs=2e-5)
    assert answer["gravity"]["value"] == pytest.approx(end.gravity, abs=1e-4)
    by = {method["method"]: method for method in answer["alcohol"]}
    assert by["two_gravities"]["abv_percent"] == pytest.approx(end.abv_percent, abs=0.015)
    assert by["two_gravities"]["low"] < end.abv_percent < by["two_gravities"]["high"]
    assert by["factor_131_25"]["abv_percent"] == pytest.approx(131.25 * (of.gravity - end.gravity), abs=0.015)
    # The degrees Plato of the trade's rule come of a cubic there and of ICUMSA here: 0.04 °P to 30 °P.
    rule = abv_by_real_extract(of.gravity, end.gravity)
    assert by["real_extract_rule"]["abv_percent"] == pytest.approx(rule, abs=0.04)
    _, _, solids = solids_of(end.gravity, end.abv_percent)
    assert answer["sugar"]["extract_g_per_l"]["value"] == pytest.approx(solids, abs=0.4)
    acid = titrated_g_per_l_citric(naoh, 0.1, sample)
    assert answer["acidity"]["g_per_l_citric"]["value"] == pytest.approx(acid, abs=6e-3)
    assert answer["acidity"]["meq_per_l"]["value"] == pytest.approx(1000.0 * acid / 64.04, abs=0.06)


def _check_refractometer(seed: int) -> None:
    draw = Draw(seed)
    sugar, ethanol, acid = draw.number(1, 14, 2), draw.number(3, 10, 2), draw.number(0.3, 0.8, 3)
    gravity, brix = refracto_density(sugar, ethanol, acid)
    g_per_percent = gravity * WATER_KG_M3 / 100.0
    answer = ask(
        "interpret_readings",
        {
            "hydrometer": round(gravity, 6),
            "refractometer": f"{brix:.4f} Bx",
            "titratable_acidity": f"{acid * g_per_percent:.4f} g/L citric",
        },
    )
    (method,) = answer["alcohol"]
    assert method["method"] == "hydrometer_and_refractometer"
    assert method["abv_percent"] == pytest.approx(ethanol * g_per_percent / 7.8924, abs=0.01)
    assert answer["refractometer"]["true_extract_percent"] == pytest.approx(sugar + acid, abs=0.012)


def _check_known_strength(seed: int) -> None:
    draw = Draw(seed)
    abv, t = draw.number(0, 14, 2), draw.number(5, 35, 1)
    gravity = draw.number(1.0 - 0.0012 * abv, 1.05, 5)
    reading = round(hydrometer_shows(gravity, abv, t), 6)
    request = {"hydrometer": {"reading": reading, "sample_temperature": f"{t} C"}, "abv_percent": abv}
    assert ask("interpret_readings", request)["gravity"]["value"] == pytest.approx(gravity, abs=2e-5)


def _check_series(seed: int) -> None:
    draw = Draw(seed)
    first, falls = draw.number(1.005, 1.04, 4), [draw.number(0, 0.004, 4) for _ in range(4)]
    gravities = [round(first - fallen, 4) for fallen in itertools.accumulate([0.0, *falls])]
    series = [{"date": f"2026-03-{1 + 3 * k:02d}", "gravity": g} for k, g in enumerate(gravities)]
    trend = ask("interpret_readings", {"series": series, "original_gravity": 1.06})["trend"]
    assert trend["days"] == 12.0
    assert trend["fall"] == pytest.approx(gravities[0] - gravities[-1], abs=1e-6)
    days = np.array([0.0, 3.0, 6.0, 9.0, 12.0])
    slope = float(np.polyfit(days, np.array(gravities), 1)[0])
    assert trend["fall_per_day"]["value"] == pytest.approx(-slope, abs=2e-6)
    # 1 g/L of hexose takes 0.47 points (computed).
    assert trend["sugar_fermented_g_per_l"] == pytest.approx(max(0.0, trend["fall"]) / 0.47e-3, abs=0.06)


@pytest.mark.parametrize("check", [_check_two_gravities, _check_refractometer, _check_known_strength, _check_series])
def test_readings(check: Any) -> None:
    for seed in range(12):
        check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("check", [_check_two_gravities, _check_refractometer, _check_known_strength, _check_series])
def test_many_readings(check: Any) -> None:
    for seed in range(100, 400):
        check(seed)
