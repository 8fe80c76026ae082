"""`POST /v1/blend-forecasts`: recipes side by side, and their rows."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from tests.api.real import BASE, PATHS, amounts, app, example, forecast, plan, post

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


# Scaled to another volume, beside readings, and beside the first recipe.

GLASS: dict[str, Any] = {
    "name": "glass",
    "lots": [{**LOT, "volume": "200 mL", "ph": 3.4}],
    "additions": [{"ingredient": "honey_acacia", "amount": "10 g"}, {"ingredient": "sugar_white", "amount": "2 g"}],
}


def errors(*recipes: Any) -> dict[str, str]:
    """Faults by pointer."""
    return {e["pointer"]: e["detail"] for e in post(PATH, {"recipes": list(recipes)}, 422)["errors"]}


def test_scaling_multiplies_every_amount_and_nothing_else() -> None:
    glass, batch = forecast({"recipes": [GLASS, {**GLASS, "name": "batch", "scale_to": "25 L"}]})["recipes"]
    assert glass["scaled_by"] == 1.0
    assert batch["predicted"]["volume"]["value"] == pytest.approx(25.0, abs=1e-4)
    factor = 25.0 / glass["predicted"]["volume"]["value"]
    assert batch["scaled_by"] == pytest.approx(factor, rel=1e-3)
    for name, mass_g in amounts(glass).items():
        assert amounts(batch)[name] == pytest.approx(batch["scaled_by"] * mass_g, rel=1e-5)
    for name, prediction in glass["predicted"].items():
        if name not in ("volume", "added_mass", "added_volume", "cost") and prediction is not None:
            assert batch["predicted"][name]["value"] == pytest.approx(prediction["value"], rel=1e-6), name
    again = forecast({"recipes": [{**GLASS, "scale_to": "200 L"}, {**GLASS, "name": "b", "scale_to": "20 L"}]})
    one, other = again["recipes"]
    assert one["scaled_by"] / other["scaled_by"] == pytest.approx(10.0, rel=1e-6)


def test_a_scaled_amount_is_told_as_what_is_poured() -> None:
    (batch,) = forecast({"recipes": [{**GLASS, "scale_to": "20 L"}]})["recipes"]
    words = {a["name"]: a["amount_text"] for a in batch["amounts"]}
    assert "10 g" not in words["honey_acacia"].split(",")[0].split()
    for amount in batch["amounts"]:
        shown = words[amount["name"]].split("or")[-1].split(",")[0].split()
        grams = float(shown[0]) * (1000.0 if shown[1] == "kg" else 1.0)
        assert grams == pytest.approx(amount["mass_g"], abs=0.51)


def test_readings_stand_beside_the_prediction() -> None:
    (alone,) = forecast({"recipes": [GLASS]})["recipes"]
    assert alone["against_readings"] == []
    predicted = {name: alone["predicted"][name]["value"] for name in ("gravity", "abv_percent", "ph", "volume")}
    measured = {
        "gravity": round(predicted["gravity"] + 0.0012, 5),
        "abv_percent": round(predicted["abv_percent"] - 0.4, 3),
        "ph": round(predicted["ph"] + 0.04, 3),
        "titratable_acidity": "5.5 g/L tartaric",
        "volume": "210 mL",
    }
    (read,) = forecast({"recipes": [{**GLASS, "measured": measured}]})["recipes"]
    found = {r["property"]: r for r in read["against_readings"]}
    assert list(found) == ["gravity", "abv_percent", "titratable_acidity", "ph", "volume"]
    assert found["gravity"]["difference"] == pytest.approx(0.0012, abs=1e-5)
    assert found["gravity"]["instrument_error"] == 0.001
    beyond = {name for name, reading in found.items() if reading["exceeds_instruments"]}
    too_far = {"volume"} if abs(predicted["volume"] - 0.21) > 0.02 * 0.21 else set()
    assert beyond == {"gravity", "titratable_acidity"} | too_far
    for name, reading in found.items():
        assert reading["predicted"] == pytest.approx(read["predicted"][name]["value"], rel=1e-6)
        assert reading["unit"] == read["predicted"][name]["unit"]
    finer = {"instruments": {"hydrometer": {"error": 0.002}}}
    (coarse,) = forecast({"recipes": [{**GLASS, "measured": measured}], **finer})["recipes"]
    assert not coarse["against_readings"][0]["exceeds_instruments"]


def test_a_reading_may_be_corrected_and_in_other_acids() -> None:
    """1 g/L as citric acid is 75.04/64.04 g/L as tartaric; a warm sample reads lower."""
    measured = {"titratable_acidity": "4.27 g/L citric", "gravity": {"reading": 1.013, "sample_temperature": "30 C"}}
    (read,) = forecast({"recipes": [{**GLASS, "measured": measured}]})["recipes"]
    gravity, acidity = read["against_readings"]
    assert acidity["measured"] == pytest.approx(4.27 * 75.04 / 64.04, rel=1e-3)
    assert gravity["measured"] == pytest.approx(1.013 + 0.0024, abs=5e-4)  # water: 0.9982/0.9957 less glass


def test_differences_are_from_the_first_recipe() -> None:
    less = {**GLASS, "name": "less", "additions": [{"ingredient": "honey_acacia", "amount": "8 g"}]}
    answer = forecast({"recipes": [GLASS, {**GLASS, "name": "same"}, less]})
    first, same, other = answer["recipes"]
    assert first["differences"] == []
    assert {d["difference"] for d in same["differences"]} == {0.0}
    found = {d["property"]: d for d in other["differences"]}
    for name, difference in found.items():
        apart = other["predicted"][name]["value"] - first["predicted"][name]["value"]
        assert difference["difference"] == pytest.approx(apart, rel=1e-3, abs=1e-6), name
    assert found["sugar_g_per_l"]["steps"] < 0.0
    assert "no measurement of flavour" in answer["steps_are"]
    finer = forecast({"recipes": [GLASS, less], "senses": {"steps": {"sugar_g_per_l": "6 %"}}})
    steps = {d["property"]: d["steps"] for d in finer["recipes"][1]["differences"]}
    # ln 1.12/ln 1.06 = 1.945 times as many of the finer steps
    assert steps["sugar_g_per_l"] / found["sugar_g_per_l"]["steps"] == pytest.approx(1.945, rel=0.01)


@pytest.mark.parametrize(
    ("change", "pointer", "words"),
    [
        ({"scale_to": "0 L"}, "/recipes/0/scale_to", "above zero"),
        ({"scale_to": "25"}, "/recipes/0/scale_to", "the unit is missing"),
        ({"scale_to": "25 kg"}, "/recipes/0/scale_to", "a volume is needed"),
        ({"measured": {"gravity": "1.012"}}, "/recipes/0/measured/gravity", "without quotes"),
        ({"measured": {"gravity": "3 Bx"}}, "/recipes/0/measured/gravity", "needs its instrument"),
        ({"measured": {"gravity": 1012}}, "/recipes/0/measured/gravity", "Did you mean 1.012?"),
        ({"measured": {"gravity": {"reading": "3 Bx"}}}, "/recipes/0/measured/gravity/scale", "was read on"),
        ({"measured": {"ph": 0.4}}, "/recipes/0/measured/ph", "between 1.5 and 10"),
        ({"measured": {"ph": 14}}, "/recipes/0/measured/ph", "less than 14"),
        ({"measured": {"volume": "3"}}, "/recipes/0/measured/volume", "the unit is missing"),
        ({"measured": {"titratable_acidity": "6 g/L"}}, "/recipes/0/measured/titratable_acidity", "as which acid"),
        ({"measured": {"titratable_acidity": "6 g/kg citric"}}, "/recipes/0/measured/titratable_acidity", "per litre"),
        ({"measured": {"brix": 9}}, "/recipes/0/measured/brix", "Known: abv_percent, gravity"),
    ],
)
def test_what_cannot_be_held_against_a_recipe_is_refused(change: Any, pointer: str, words: str) -> None:
    ((told, detail),) = errors({**GLASS, **change}).items()
    assert (told, words in detail) == (pointer, True), (told, detail)


def test_every_bad_reading_of_every_recipe_is_told() -> None:
    bad = {"measured": {"gravity": 1012, "ph": 0.4, "volume": "3"}, "scale_to": "0 L"}
    found = errors({**GLASS, **bad}, {**GLASS, "name": "b", **bad})
    places = ("measured/gravity", "measured/ph", "measured/volume", "scale_to")
    assert set(found) == {f"/recipes/{i}/{place}" for i in (0, 1) for place in places}


def test_a_reading_of_what_a_recipe_lacks_is_refused() -> None:
    """Sugar and water have no acid and no pH of their own."""
    plain = {
        "name": "syrup",
        "lots": [],
        "additions": [
            {"ingredient": "sugar_white", "amount": "1 kg"},
            {"ingredient": "water_deionised", "amount": "1 L"},
        ],
    }
    assert list(errors({**plain, "measured": {"ph": 5.0}})) == ["/recipes/0/measured/ph"]
    nothing = {**plain, "additions": [{"ingredient": "sugar_white", "amount": "0 g"}], "scale_to": "3 L"}
    assert list(errors(GLASS, nothing)) == list(errors(GLASS, {**nothing, "scale_to": None})) == ["/recipes/1"]


def test_rows_tell_readings_and_steps() -> None:
    body = {"recipes": [{**GLASS, "measured": {"gravity": 1.02, "ph": 3.4}}, {**GLASS, "name": "b", "scale_to": "9 L"}]}
    first, second = csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text))
    assert (first["scaled_by"], float(second["scaled_by"]) > 40.0) == ("1.0", True)
    assert (first["gravity_measured"], first["ph_measured"], second["gravity_measured"]) == ("1.02", "3.4", "")
    assert first["readings_beyond_instruments"] == "gravity"
    assert (first["gravity_steps_from_first"], first["told_apart_from_first_by_instruments"]) == ("", "")
    assert second["volume_steps_from_first"] == ""  # nobody tastes how much there is
    assert second["told_apart_from_first_by_instruments"] == "volume"
    assert float(second["gravity_steps_from_first"]) == 0.0


def test_readings_stand_beside_the_recipe_as_it_was_poured() -> None:
    """A recipe that is scaled afterwards: the volume read belongs to what was poured."""
    once = forecast({"recipes": [GLASS]})["recipes"][0]["predicted"]["volume"]["value"]
    scaled = {**GLASS, "scale_to": "9 L", "measured": {"volume": f"{once} L"}}
    (recipe,) = forecast({"recipes": [scaled]})["recipes"]
    assert recipe["predicted"]["volume"]["value"] == pytest.approx(9.0, abs=1e-3)
    (reading,) = recipe["against_readings"]
    assert reading["predicted"] == pytest.approx(once, abs=1e-3)
    assert not reading["exceeds_instruments"]
