"""`POST /v1/blend-plans`: the shape of an answer, what is echoed, units, and the flat rows."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest

from service.model.properties import PROPERTIES
from tests.api.real import BASE, PATHS, amounts, app, changed, example, plan

PATH = PATHS["solve_blend"]
DEMO = example("solve_blend", "01")


def test_an_answer_carries_what_every_answer_carries() -> None:
    answer = plan(DEMO)
    version = app().get("/version").json()
    assert answer["model_version"] == version["model_version"]
    assert answer["data_version"] == version["data_version"]
    for name in ("assumed", "cautions", "next_reading", "sources"):
        assert isinstance(answer[name], list)
        assert answer[name]
    for assumed in answer["assumed"]:
        assert set(assumed) == {"what", "value", "source", "measure_by"}
        assert all(assumed.values())
    for reading in answer["next_reading"]:
        assert {"do", "instrument", "expect", "at_temperature", "wait_min_h"} <= set(reading)
    assert answer["proof"]["milliseconds"] > 0.0
    assert answer["proof"]["gap"] == 0.0


def test_what_is_asked_is_echoed() -> None:
    body = {**BASE, "batch": "7 B", "date": "2024-02-30", "note": "anything"}
    answer = plan(body)
    assert {name: answer[name] for name in ("batch", "date", "note")} == {
        "batch": "7 B",
        "date": "2024-02-30",
        "note": "anything",
    }
    assert (plan(BASE)["batch"], plan(BASE)["currency"]) == (None, None)


def test_every_property_is_predicted_and_reported() -> None:
    answer = plan(DEMO)
    assert list(answer["predicted"]) == list(PROPERTIES)
    for name, prediction in answer["predicted"].items():
        assert prediction is None or prediction["unit"] == PROPERTIES[name].unit
    assert answer["predicted"]["cost"] is None
    acidity = answer["predicted"]["titratable_acidity"]
    assert acidity["g_per_l_tartaric"] / acidity["g_per_l_citric"] == pytest.approx(75.04 / 64.04, rel=1e-3)
    assert acidity["meq_per_l"] * 0.07504 == pytest.approx(acidity["g_per_l_tartaric"], abs=2e-3)
    volume = answer["predicted"]["volume"]
    assert volume["us_gallons"] * 3.785411784 == pytest.approx(volume["value"], abs=1e-3)
    assert [t["property"] for t in answer["targets"]] == sorted(DEMO["targets"])
    for target in answer["targets"]:
        assert target["reached"] == answer["predicted"][target["property"]]["value"]
        assert target["met"]


def test_amounts_are_masses_volumes_and_words() -> None:
    answer = plan(DEMO)
    assert [a["kind"] for a in answer["amounts"]] == ["lot"] + 4 * ["addition"]
    for amount in answer["amounts"]:
        if amount["kind"] == "addition":
            assert amount["mass_g"] % 5.0 == 0.0  # the scale's step
        assert amount["volume_ml"] is not None
        assert amount["amount_text"]
    shares = sum(a["share_of_volume_percent"] for a in answer["amounts"])
    assert shares == pytest.approx(100.0, abs=0.2)  # contraction
    assert answer["amounts"][0]["amount_text"].startswith("24 L")
    dry = plan(changed("additions", to=[{"ingredient": "sugar_white"}]))["amounts"][1]
    assert (dry["volume_ml"], dry["share_of_volume_percent"]) == (None, None)


def test_amounts_speak_the_language_of_the_request() -> None:
    american = changed("lots", 0, "volume", to="5 gal", body=changed("additions", to=[{"ingredient": "honey"}]))
    words = [a["amount_text"] for a in plan(american)["amounts"]]
    assert words[0].startswith("5 gal")
    assert "lb" in words[1]
    assert "kg" in plan({**american, "units": "metric"})["amounts"][0]["amount_text"]
    assert "lb" in plan({**BASE, "units": "us"})["amounts"][0]["amount_text"]
    assert "kg" in plan(BASE)["amounts"][0]["amount_text"]


def test_an_alias_is_echoed_by_the_id_it_stands_for() -> None:
    answer = plan(changed("additions", to=[{"ingredient": "honey"}]))
    assert "honey_average" in amounts(answer)
    assert {"what": "honey: ingredient", "value": "honey_average"}.items() <= next(
        a for a in answer["assumed"] if a["what"].startswith("honey:")
    ).items()


def test_measured_values_override_the_table() -> None:
    drier = changed("additions", to=[{"ingredient": "honey", "measured": {"moisture_percent": 15.0}}])
    wetter = changed("additions", to=[{"ingredient": "honey", "measured": {"moisture_percent": 19.0}}])
    few, many = amounts(plan(drier))["honey_average"], amounts(plan(wetter))["honey_average"]
    # a little more than the ratio of the solids, for the water comes along
    assert many / few == pytest.approx(85.0 / 81.0, abs=0.012)
    assert "honey_average: composition" not in [a["what"] for a in plan(drier)["assumed"]]


def test_an_ingredient_of_ones_own() -> None:
    syrup = {"composition": {"name": "Own syrup", "components_g_per_100g": {"sucrose": 60.0}}, "max": "2 kg"}
    answer = plan(changed("additions", to=[syrup]))
    sugar = {"ingredient": "sugar_white"}
    dry = amounts(plan(changed("additions", to=[sugar])))["sugar_white"]
    assert amounts(answer)["custom_own_syrup"] * 0.6 == pytest.approx(dry, rel=0.03)


@pytest.mark.parametrize("body", [DEMO, BASE, example("solve_blend", "03")])
def test_rows_hold_what_the_answer_holds(body: dict[str, Any]) -> None:
    response = app().post(f"{PATH}.csv", json=body)
    assert response.status_code == 200
    assert response.headers["content-type"].startswith("text/csv")
    (row,) = csv.DictReader(io.StringIO(response.text))
    answer = plan(body)
    for amount in answer["amounts"]:
        assert float(row[f"{amount['name']}_mass_g"]) == amount["mass_g"]
    assert row["outcome"] == answer["outcome"]
    assert float(row["gravity"]) == answer["predicted"]["gravity"]["value"]
    assert float(row["volume_l"]) == answer["predicted"]["volume"]["value"]
    assert float(row["titratable_acidity_g_per_l_tartaric"]) == answer["predicted"]["titratable_acidity"]["value"]
    assert list(row).index("stop") < min(list(row).index(f"{a['name']}_mass_g") for a in answer["amounts"])


@pytest.mark.parametrize("formula", ["=1+1", "+1", "-1", "@SUM(A1)", '=HYPERLINK("x")'])
def test_rows_defuse_formulas(formula: str) -> None:
    body = {**changed("lots", 0, "name", to=formula), "batch": formula}
    (row,) = csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text))
    assert row["batch"] == "'" + formula
    assert f"'{formula}_mass_g" in row
    for value in (*row, *row.values()):
        assert not value.startswith(("=", "+", "@"))


def test_rows_of_a_refused_request_are_a_problem() -> None:
    response = app().post(f"{PATH}.csv", json=changed("targets", "ph", to=34.0))
    assert response.status_code == 422
    assert response.headers["content-type"] == "application/problem+json"


def test_a_clash_answers_with_200() -> None:
    response = app().post(PATH, json=example("solve_blend", "03"))
    assert response.status_code == 200
    assert response.json()["outcome"] == "targets_clash"


def test_get_is_not_answered_here() -> None:
    response = app().get(PATH)
    assert response.status_code == 405
    assert "POST" in response.headers["allow"]
