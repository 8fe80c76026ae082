"""Tables for a batch record: both ends of every prediction, chances, what goes in first, what being sure costs."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from service.api.command import table
from tests.api.real import BASE, app, forecast, plan, post

NAMES = {
    "titratable_acidity": "titratable_acidity_g_per_l_tartaric",
    "volume": "volume_l",
    "added_mass": "added_mass_g",
    "added_volume": "added_volume_l",
    "cost": "total_cost",
}
"""Columns that carry the unit which their property's name lacks."""

LEMON = {"ingredient": "lemon_juice_fresh", "max": "500 mL"}
SURE: dict[str, Any] = {
    **BASE,
    "additions": [*BASE["additions"], {"ingredient": "water", "max": "3 L"}],
    "targets": {"gravity": {"min": 1.008, "max": 1.014}, "abv_percent": {"min": 6.5, "confidence": 0.9}},
    "prefer": [{"maximise": "volume"}],
    "hold_back": 0.05,
}


def rows(path: str, body: Any) -> list[dict[str, str]]:
    response = app().post(path, json=body)
    assert response.status_code == 200, response.text
    return list(csv.DictReader(io.StringIO(response.text)))


def check(row: dict[str, str], predicted: dict[str, Any]) -> None:
    """Every prediction stands in its row with both ends beside it."""
    columns = list(row)
    for name, prediction in predicted.items():
        column = NAMES.get(name, name)
        place = columns.index(column)
        assert columns[place + 1 : place + 3] == [f"{column}_low", f"{column}_high"]
        told = [row[c] for c in columns[place : place + 3]]
        if prediction is None:
            assert told == ["", "", ""]
        else:
            assert [float(t) for t in told] == [prediction[key] for key in ("value", "low", "high")]


def test_a_plan_has_both_ends_and_the_chance_of_each_target() -> None:
    answer = plan(BASE)
    (row,) = rows("/v1/blend-plans.csv", BASE)
    check(row, answer["predicted"])
    assert float(row["gravity_low"]) < float(row["gravity"]) < float(row["gravity_high"])
    for target in answer["targets"]:
        assert float(row[f"{NAMES.get(target['property'], target['property'])}_chance"]) == target["chance"]
    assert "caution_price" not in row
    assert not any("_first_mass_g" in column for column in row)


def test_what_goes_in_first_stands_before_the_whole() -> None:
    answer = plan(SURE)
    (row,) = rows("/v1/blend-plans.csv", SURE)
    columns = list(row)
    held = {change["name"]: change["mass_g"] for change in answer["first_addition"]["held_back"]}
    assert held
    for first, whole in zip(answer["first_addition"]["amounts"], answer["amounts"], strict=True):
        assert float(row[f"{first['name']}_first_mass_g"]) == first["mass_g"]
        assert float(row[f"{first['name']}_held_back_mass_g"]) == held.get(first["name"], 0.0)
        sum_g = float(row[f"{first['name']}_first_mass_g"]) + float(row[f"{first['name']}_held_back_mass_g"])
        assert sum_g == pytest.approx(whole["mass_g"], rel=1e-3)
        assert columns.index("stop") < columns.index(f"{first['name']}_first_mass_g")
        assert columns.index(f"{first['name']}_first_mass_g") < columns.index(f"{first['name']}_mass_g")
    assert row["caution_price"].lstrip("'") == answer["caution_price"]["text"]
    assert answer["caution_price"]["text"] in " ".join(table(answer).split())


def test_recipes_have_both_ends() -> None:
    body = {
        "recipes": [
            {"name": "plain", "lots": BASE["lots"]},
            {"name": "sweet", "lots": BASE["lots"], "additions": [{"ingredient": "honey", "amount": "500 g"}]},
        ]
    }
    answer = forecast(body)
    for row, recipe in zip(rows("/v1/blend-forecasts.csv", body), answer["recipes"], strict=True):
        check(row, recipe["predicted"])


def test_portions_share_their_columns() -> None:
    portions = [
        {"name": "dry", "volume": "5 L", "targets": {"gravity": {"max": 1.004}}},
        {"name": "strong", "volume": "5 L", "targets": {"gravity": 1.01, "abv_percent": {"min": 5.0}}},
    ]
    body = {"lots": BASE["lots"], "additions": BASE["additions"], "portions": portions}
    answer = plan(body)
    found = rows("/v1/blend-plans.csv", body)
    assert list(found[0]) == list(found[1])
    assert (found[0]["abv_percent_chance"], float(found[1]["abv_percent_chance"])) == (
        "",
        next(t["chance"] for t in answer["portions"][1]["targets"] if t["property"] == "abv_percent"),
    )
    for row, portion in zip(found, answer["portions"], strict=True):
        check(row, portion["predicted"])


def test_every_point_of_a_curve_has_both_ends_of_its_levels() -> None:
    body = {
        **BASE,
        "additions": [*BASE["additions"], LEMON],
        "targets": {"gravity": {"min": 1.0, "max": 1.02}},
        "points": 4,
        "also": "ph",
    }
    answer = post("/v1/trade-offs", body)
    for row, point in zip(rows("/v1/trade-offs.csv", body), answer["points"], strict=True):
        check(row, point["predicted"])
        for axis, column in (("x", f"x_{answer['x']['property']}"), ("y", f"y_{answer['y']['property']}")):
            assert float(row[column]) == point[axis]
            assert (float(row[f"{axis}_low"]), float(row[f"{axis}_high"])) == (
                point[f"{axis}_low"],
                point[f"{axis}_high"],
            )
            prediction = point["predicted"][answer[axis]["property"]]
            assert point[f"{axis}_low"] == min(prediction["low"], point[axis])
            assert point[f"{axis}_high"] == max(prediction["high"], point[axis])
        assert point["x_low"] < point["x"] < point["x_high"]
        assert point["also_low"] < point["also"] < point["also_high"]
        assert (float(row["also_low"]), float(row["also_high"])) == (point["also_low"], point["also_high"])
