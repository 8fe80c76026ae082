"""Requests drawn at random, most of them impossible: each is answered or refused, and the answer agrees with itself."""

from __future__ import annotations

import random
from typing import Any

import pytest

from service.catalogue.lookup import find_ingredients
from tests.api.real import PATHS, app

IDS = [ingredient.id for ingredient in find_ingredients()]
VERDICTS = {
    "targets_met": {"proved_best", "best_found"},
    "nearest_measurable": {"proved_best", "best_found"},
    "targets_clash": {"proved_impossible"},
    "no_plan_found": {"best_found"},
}


def _target(rng: random.Random, low: float, high: float, unit: str = "") -> Any:
    def words(value: float) -> Any:
        return f"{value:.4f} {unit}" if unit else round(value, 4)

    value, width = rng.uniform(low, high), (high - low) * rng.uniform(0.01, 0.2)
    target = rng.choice(
        [
            words(value),
            {"min": words(value), "max": words(value + width)},
            {"max": words(value)},
            {"min": words(value)},
            {"value": words(value), "tolerance": words(width)},
        ]
    )
    if isinstance(target, dict) and rng.random() < 0.4:
        target["priority"] = rng.randint(1, 3)
    return target


def _request(rng: random.Random) -> dict[str, Any]:
    litres = 10.0 ** rng.uniform(-0.5, 2.5)
    lots = []
    for k in range(rng.choice([0, 1, 1, 1, 2, 3])):
        lot = {
            "name": f"lot {k}",
            "volume": f"{litres:.5g} L",
            "gravity": round(rng.uniform(0.996, 1.03), 4),
            "abv_percent": round(rng.uniform(3.0, 15.0), 2),
        }
        lots.append({**lot, "use": {"max": f"{0.9 * litres:.5g} L"}} if rng.random() < 0.3 else lot)
    additions = []
    for name in rng.sample(IDS, rng.randint(1, 8)):
        most = litres * rng.uniform(0.002, 0.4)
        limits = rng.choice([{}, {"max": f"{most:.5g} kg"}, {"min": f"{most / 9:.5g} kg", "max": f"{most:.5g} kg"}])
        additions.append({"ingredient": name, **limits})
    possible = {
        "gravity": (0.998, 1.05, ""),
        "abv_percent": (3.0, 14.0, ""),
        "titratable_acidity": (3.0, 10.0, "g/L tartaric"),
        "volume": (0.8 * litres, 1.5 * litres, "L"),
        "sugar_g_per_l": (0.0, 120.0, ""),
        "sugar_acid_ratio": (2.0, 40.0, ""),
        "citrus_percent": (0.0, 30.0, ""),
        "extract_g_per_l": (5.0, 120.0, ""),
    }
    chosen = rng.sample(sorted(possible), rng.randint(1, 4))
    request: dict[str, Any] = {
        "lots": lots,
        "additions": additions,
        "targets": {name: _target(rng, *possible[name]) for name in chosen},
    }
    if rng.random() < 0.4:
        request["prefer"] = [{rng.choice(["maximise", "minimise"]): rng.choice(sorted(possible))}]
    return request


@pytest.mark.parametrize("seed", range(6))
def test_any_request_is_answered_or_refused_in_words(seed: int) -> None:
    rng = random.Random(seed)
    answered = 0
    for _ in range(40):
        request = _request(rng)
        response = app().post(PATHS["solve_blend"], json=request)
        answer = response.json()
        if response.status_code != 200:
            assert response.status_code == 422, request
            assert all(error["pointer"] for error in answer["errors"]), request
            continue
        answered += 1
        met = all(target["met"] for target in answer["targets"])
        assert answer["proof"]["verdict"] in VERDICTS[answer["outcome"]], request
        assert met is (answer["outcome"] == "targets_met"), request
        assert all(amount["mass_g"] >= 0.0 for amount in answer["amounts"]), request
        assert 0.7 < answer["predicted"]["gravity"]["value"] < 1.6, request
    assert answered > 20
