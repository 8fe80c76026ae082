"""Where a pH is hard: alcohol that moves it, ranges that only just hold, and readings that no drink has."""

from __future__ import annotations

import random
from typing import Any

import pytest

from tests.api.real import forecast, plan, post

# Alcohol moves a pH too.

STRONG = {
    "name": "base",
    "volume": "10 L",
    "gravity": 1.0,
    "abv_percent": 12,
    "titratable_acidity": "6 g/L tartaric",
    "ph": 3.4,
}


def diluted(kilograms: float, **asked: Any) -> dict[str, Any]:
    return {"lots": [STRONG], "additions": [{"ingredient": "water_tap", "max": f"{kilograms} kg"}], **asked}


def test_along_a_dilution_with_hard_water_the_ph_turns_round() -> None:
    """Alcohol falls first, which lowers the pH; the alkalinity takes over later. Both ends of it are looked at."""
    poured_in = [{"ingredient": "water_tap", "amount": amount} for amount in ("0 kg", "1.5 kg", "20 kg")]
    recipes = [{"name": a["amount"], "lots": [STRONG], "additions": [a]} for a in poured_in]
    none, some, much = (r["predicted"]["ph"]["value"] for r in forecast({"recipes": recipes})["recipes"])
    assert some <= none < much
    highest = plan(diluted(20, targets={"gravity": {"min": 0.9}}, prefer=[{"maximise": "ph"}]))
    assert highest["predicted"]["ph"]["value"] == pytest.approx(much, abs=2e-3)
    assert highest["proof"]["verdict"] == "best_found"
    for kilograms, asked in ((20, {"min": 3.5}), (5, {"min": 3.407}), (20, 3.45)):
        assert plan(diluted(kilograms, targets={"ph": asked}))["outcome"] == "targets_met", asked
    assert plan(diluted(20, targets={"ph": 3.9}))["outcome"] == "targets_clash"


def test_no_false_clash_where_spirit_and_water_are_free() -> None:
    """The ends of what random blends reach are never called impossible, and mostly found."""
    chance, lost, asked = random.Random(20_261_126), 0, 0
    names = (
        "neutral_spirit_96",
        "water_deionised",
        "water_tap",
        "honey_acacia",
        "apple_juice_bottled",
        "lemon_juice_fresh",
    )
    for _ in range(25):
        lot = {**STRONG, "abv_percent": chance.choice([8, 12, 16]), "ph": round(chance.uniform(3.1, 3.8), 2)}
        most = {name: chance.choice([0.5, 2.0, 10.0, 30.0]) for name in chance.sample(names, 2)}
        recipes = []
        for k in range(10):
            shares = [chance.choice([0.0, 1.0]) if k < 6 else chance.random() for _ in most]
            poured_in = [
                {"ingredient": n, "amount": f"{1000.0 * s * kg:.1f} g"}
                for (n, kg), s in zip(most.items(), shares, strict=True)
            ]
            recipes.append({"name": f"{k}", "lots": [lot], "additions": poured_in})
        reached = sorted(r["predicted"]["ph"]["value"] for r in forecast({"recipes": recipes})["recipes"])
        limits = [{"ingredient": n, "max": f"{1000.0 * kg:.1f} g"} for n, kg in most.items()]
        for target in ({"max": reached[0] + 1e-3}, {"min": reached[-1] - 1e-3}):
            answer = plan({"lots": [lot], "additions": limits, "targets": {"ph": target}})
            assert answer["outcome"] != "targets_clash", (lot, most, target)
            asked += 1
            lost += answer["outcome"] != "targets_met"
    assert lost <= 0.04 * asked


def test_readings_that_fit_no_drink_are_refused_not_failed() -> None:
    for readings in (
        {"ph": 2.8, "titratable_acidity": "0.02 g/L tartaric"},
        {"ph": 0.36},
        {"ph": 1.0},
        {"ph": 13.0},
        {"ph": 8.3, "titratable_acidity": "5 g/L tartaric"},
    ):
        lot = {k: v for k, v in STRONG.items() if k not in ("ph", "titratable_acidity")}
        body = {"lots": [{**lot, **readings}], "additions": [{"ingredient": "honey"}], "targets": {"gravity": 1.01}}
        found = post("/v1/blend-plans", body, 422)
        assert found["errors"][0]["pointer"].startswith("/lots/0/"), readings
    for name, measured in (("pineapple_juice", {"ph": 0.3}), ("maple_syrup", {"ph": 2.0}), ("water_tap", {"ph": 7.0})):
        addition = {"ingredient": name, "measured": measured}
        body = {"lots": [STRONG], "additions": [addition], "targets": {"gravity": 1.01}}
        assert post("/v1/blend-plans", body, 422)["errors"][0]["pointer"] == "/additions/0/measured/ph", name
