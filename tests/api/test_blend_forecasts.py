"""`POST /v1/blend-forecasts`: recipes side by side, and their rows."""

from __future__ import annotations

import csv
import io

import pytest

from tests.api.real import BASE, PATHS, app, example, forecast, plan

PATH = PATHS["forecast_blend"]
TWO = example("forecast_blend", "01")
LOT = BASE["lots"][0]


def test_recipes_are_answered_in_their_order() -> None:
    answer = forecast(TWO)
    assert [r["name"] for r in answer["recipes"]] == ["honey and lemon", "orange concentrate"]
    assert (answer["batch"], answer["note"]) == (TWO["batch"], TWO["note"])
    for name in ("assumed", "cautions", "sources", "model_version", "data_version"):
        assert answer[name]
    for recipe in answer["recipes"]:
        assert recipe["predicted"]["volume"]["value"] > 24.0
        assert recipe["amounts"][0]["mass_g"] == pytest.approx(24.0 * 0.998 * 998.2, rel=1e-5)


def test_a_recipe_says_what_to_measure_next() -> None:
    alone = forecast({**TWO, "recipes": TWO["recipes"][:1]})
    assert "hydrometer" in [reading["instrument"] for reading in alone["next_reading"]]


def test_a_plan_forecast_with_its_own_amounts_is_itself() -> None:
    solved = plan(BASE)
    (honey,) = (a for a in solved["amounts"] if a["kind"] == "addition")
    recipe = {
        "name": "again",
        "lots": BASE["lots"],
        "additions": [{"ingredient": honey["name"], "amount": f"{honey['mass_g']} g"}],
    }
    (again,) = forecast({"recipes": [recipe]})["recipes"]
    for name, prediction in solved["predicted"].items():
        if prediction is not None:
            assert again["predicted"][name]["value"] == pytest.approx(prediction["value"], rel=2e-5), name
    assert again["cross_check"] == solved["cross_check"]


def test_a_lot_alone_is_what_was_read() -> None:
    (recipe,) = forecast({"recipes": [{"name": "alone", "lots": [LOT]}]})["recipes"]
    predicted = recipe["predicted"]
    assert predicted["gravity"]["value"] == pytest.approx(0.998, abs=1e-9)
    assert predicted["abv_percent"]["value"] == pytest.approx(8.0, abs=1e-9)
    assert predicted["volume"]["value"] == pytest.approx(10.0, abs=1e-9)
    assert predicted["titratable_acidity"]["value"] == pytest.approx(5.0, abs=1e-9)
    assert predicted["added_mass"]["value"] == 0.0


def test_prices_add_up() -> None:
    priced = [
        {"ingredient": "honey", "amount": "500 g", "price": {"amount": 8.0, "per": "1 kg"}},
        {"ingredient": "lemon_juice_fresh", "amount": "250 mL", "price": {"amount": 4.0, "per": "1 L"}},
    ]
    answer = forecast({"recipes": [{"name": "r", "lots": [LOT], "additions": priced}], "currency": "EUR"})
    assert answer["recipes"][0]["predicted"]["cost"]["value"] == pytest.approx(5.0, abs=1e-3)
    assert answer["currency"] == "EUR"


def test_rows_hold_one_line_for_each_recipe() -> None:
    response = app().post(f"{PATH}.csv", json=TWO)
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text)))
    answer = forecast(TWO)
    assert [row["recipe"] for row in rows] == [r["name"] for r in answer["recipes"]]
    for row, recipe in zip(rows, answer["recipes"], strict=True):
        for column, name in (("gravity", "gravity"), ("volume_l", "volume"), ("citrus_percent", "citrus_percent")):
            assert float(row[column]) == recipe["predicted"][name]["value"]
        for amount in recipe["amounts"]:
            assert float(row[f"{amount['name']}_mass_g"]) == amount["mass_g"]
        assert row["total_cost"] == ""
    named = {"recipes": [{"name": "=1+1", "lots": [LOT]}]}
    (row,) = csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=named).text))
    assert row["recipe"] == "'=1+1"
