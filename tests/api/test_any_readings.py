"""Any readings, sound or not: answered or refused in words, every figure in its interval, all that follows asked."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.api.real import PATHS, app

FIRST = date(2026, 1, 5)


def maybe(strategy: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.one_of(st.none(), strategy)


GRAVITIES = st.floats(0.985, 1.08).map(lambda x: round(x, 4))
TEMPERATURES = st.integers(5, 35).map(lambda t: f"{t} C")
READ = st.fixed_dictionaries(
    {
        "hydrometer": maybe(
            st.one_of(GRAVITIES, st.fixed_dictionaries({"reading": GRAVITIES, "sample_temperature": TEMPERATURES}))
        ),
        "original_gravity": maybe(st.floats(1.02, 1.12).map(lambda x: round(x, 4))),
        "refractometer": maybe(st.floats(0.0, 25.0).map(lambda b: f"{b:.1f} Bx")),
        "titratable_acidity": maybe(st.floats(0.5, 15.0).map(lambda g: f"{g:.2f} g/L citric")),
        "ph": maybe(st.floats(2.6, 5.0).map(lambda x: round(x, 2))),
        "abv_percent": maybe(st.floats(0.0, 16.0).map(lambda x: round(x, 2))),
        "volume": maybe(st.floats(0.5, 500.0).map(lambda v: f"{v:.3g} L")),
        "residual_sugar": maybe(st.floats(0.0, 60.0).map(lambda s: f"{s:.1f} g/L")),
        "sweetened": maybe(st.booleans()),
        "class": maybe(st.sampled_from(["mead", "grape_wine", "fruit_wine", "cider_perry", "citrus_juice"])),
        "series": maybe(
            st.lists(st.tuples(st.integers(0, 40), GRAVITIES), min_size=1, max_size=5).map(
                lambda found: [{"date": (FIRST + timedelta(days=day)).isoformat(), "gravity": sg} for day, sg in found]
            )
        ),
        "start_date": maybe(st.just("2026-03-01")),
        "expected": maybe(
            st.floats(0.2, 4.0).map(
                lambda kg: {
                    "lots": [{"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8.0}],
                    "additions": [{"ingredient": "honey", "amount": f"{kg:.2f} kg"}],
                }
            )
        ),
    }
).map(lambda body: {name: value for name, value in body.items() if value is not None})


def inside(figure: dict[str, float]) -> bool:
    return figure["low"] <= figure["value"] <= figure["high"]


def check(body: dict[str, Any]) -> None:
    response = app().post(PATHS["interpret_readings"], json=body)
    answer = response.json()
    if response.status_code == 422:
        assert all(error["detail"] and error["pointer"].startswith("/") for error in answer["errors"]), answer
        return
    assert response.status_code == 200, response.text
    for name in ("gravity", "original_gravity", "abv_percent", "ph"):
        assert answer[name] is None or inside(answer[name]), name
    if answer["sugar"] is not None:
        for name in ("extract_g_per_l", "sugar_g_per_l", "possible_drop"):
            assert inside(answer["sugar"][name]), name
        assert answer["sugar"]["sugar_g_per_l"]["low"] >= 0.0
        assert answer["sugar"]["possible_drop"]["low"] >= 0.0
    assert sum(report["used"] for report in answer["alcohol"]) == (answer["abv_percent"] is not None)
    assert all(len(caution["text"].split()) <= 30 for caution in answer["cautions"])
    assert response.json() == app().post(PATHS["interpret_readings"], json=body).json()
    if "series" in body:
        turned = {**body, "series": sorted(body["series"], key=lambda one: one["date"])}
        if len({one["date"] for one in body["series"]}) == len(body["series"]):
            again = app().post(PATHS["interpret_readings"], json=turned).json()
            assert again["fermentation"] == answer["fermentation"]
            assert again["trend"] == answer["trend"]
    for operation, call in answer["next"].items():
        following = app().post(call["path"], json=call["request"])
        assert following.status_code == 200, (operation, following.text, call["request"])


@settings(max_examples=30, deadline=None)
@given(READ)
def test_any_readings(body: dict[str, Any]) -> None:
    check(body)


@pytest.mark.slow
@settings(max_examples=1500, deadline=None)
@given(READ)
def test_many_readings(body: dict[str, Any]) -> None:
    check(body)
