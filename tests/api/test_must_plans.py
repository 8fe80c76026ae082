"""`POST /v1/must-plans`: requests as makers write them, refusals, the flat row, the cell, what follows."""

from __future__ import annotations

import copy
import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest

from service.api.command import answer_file, table
from tests.api.real import PATHS, all_examples, amounts, app, codes, example, examples, post, worked

PATH = PATHS["plan_must"]
LIGHT: dict[str, Any] = {"original_gravity": 1.048, "volume": "20 L", "volume_is": "final"}
FINISHED: dict[str, Any] = {
    "finished": {
        "additions": [{"ingredient": "honey_acacia"}],
        "targets": {"abv_percent": 6, "gravity": 1.01},
        "containers": [{"fill": "500 mL", "count": 20}],
    }
}


def ask(body: Any) -> dict[str, Any]:
    return post(PATH, body)


def refused(body: Any) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(PATH, body, 422)["errors"]}


def finished(**change: Any) -> dict[str, Any]:
    body = copy.deepcopy(FINISHED)
    for name, value in change.items():
        if value is None:
            body["finished"].pop(name, None)
        else:
            body["finished"][name] = value
    return body


def test_an_answer_carries_what_every_answer_carries() -> None:
    answer = ask({**LIGHT, "batch": "hill", "date": "2026-03-01", "note": "try", "start_date": "2026-03-02"})
    assert (answer["batch"], answer["date"], answer["note"]) == ("hill", "2026-03-01", "try")
    names = ("summary", "assumed", "cautions", "next_reading", "sources", "steps", "schedule", "next", "model_version")
    for name in names:
        assert answer[name], name
    assert answer["units"] == "metric"
    assert answer["data_version"]


def test_question_1_honey_and_water_for_five_gallons() -> None:
    """In pounds and grams, °Bx, extract and nutrient need; 6.5 % dry as well."""
    body = {"original_gravity": 1.048, "volume": "5 gal", "volume_is": "final"}
    answer = ask(body)
    honey = answer["amounts"][0]
    assert honey["amount_text"].startswith("6 lb 4")
    assert honey["mass_g"] == pytest.approx(3015.2 * 5 * 3.785411784 / 20.0, rel=1e-4)
    assert answer["brix"]["value"] == pytest.approx(11.93, abs=0.01)
    assert answer["predicted"]["extract_g_per_l"]["value"] == pytest.approx(124.8, abs=0.1)
    assert answer["nitrogen"]["need_mg_per_l"] > 90.0
    dry = ask({"potential_abv_percent": 6.5, "volume": "5 gal", "volume_is": "final"})
    assert dry["ferment"]["abv_percent"]["value"] == pytest.approx(6.5, abs=1e-3)


def test_question_2_what_will_it_read() -> None:
    body = {"sources": [{"ingredient": "honey", "amount": "3 kg"}], "volume": "18 L", "volume_is": "final"}
    answer = ask(body)
    assert answer["outcome"] == "as_given"
    assert answer["original_gravity"]["value"] == pytest.approx(1.0530, abs=1e-4)
    strength = answer["ferment"]["abv_percent"]
    assert strength["low"] < 7.2 < strength["high"]
    assert answer["rule_of_thumb"]["gravity"] == pytest.approx(1.0487, abs=1e-4)
    assert ask({**body, "volume_is": "water_added"})["original_gravity"]["value"] == pytest.approx(1.0476, abs=1e-4)


def test_question_3_nutrient_and_when() -> None:
    body = {**LIGHT, "nitrogen": {"demand": "medium", "sources": [{"name": "salt", "nitrogen_percent": 21.2}]}}
    answer = ask(body)
    assert [feed["stage"] for feed in answer["feeds"]] == ["end of lag", "before one third of the sugar is gone"]
    assert answer["feeds"][0]["mass_g"] == pytest.approx(answer["feeds"][1]["mass_g"])
    assert answer["feeds"][0]["not_below_gravity"] == pytest.approx(1.030, abs=1e-3)
    us = answer["nitrogen"]["limits"][0]
    assert (us["exceeded"], us["source_id"]) == (False, "cfr27_24_246")
    assert "2015" in us["edition"]


def test_question_5_how_strong_must_the_base_be() -> None:
    juice = {"ingredient": "apple_juice_bottled", "amount": "4 L", "treatment": "pasteurised"}
    answer = ask(finished(additions=[juice], containers=None, targets={"abv_percent": 6.0, "volume": "24 L"}))
    assert answer["base"]["abv_percent"] == pytest.approx(7.2, abs=0.02)  # computed
    assert answer["base"]["original_gravity"] == pytest.approx(1.050, abs=5e-4)


@pytest.mark.parametrize(
    "change",
    [
        {"volume": "20000 mL"},
        {"original_gravity": {"reading": 1.048}},
        {"original_gravity": "11.921 Bx"},
        {"sources": [{"ingredient": "honey"}]},
        {"sources": [{"ingredient": "honey_average", "measured": {"moisture_percent": 17.2}}]},
        {"water": "water_deionised"},
        {"nitrogen": {}, "yeast": {}},
    ],
)
def test_the_same_in_other_words(change: dict[str, Any]) -> None:
    assert amounts(ask({**LIGHT, **change})) == pytest.approx(amounts(ask(LIGHT)), rel=2e-4)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"volume_is": None}, "/volume_is"),
        ({"volume": None}, "/volume"),
        ({"volume": None, "volume_is": None}, "/volume"),
        ({"original_gravity": None}, "/original_gravity"),
        ({"potential_abv_percent": 6}, "/potential_abv_percent"),
        ({"original_gravity": 1.25}, "/original_gravity"),
        ({"original_gravity": 0.99}, "/original_gravity"),
        ({"original_gravity": "48"}, "/original_gravity"),
        ({"original_gravity": None, "potential_abv_percent": 0}, "/potential_abv_percent"),
        ({"original_gravity": None, "potential_abv_percent": 25}, None),
        ({"volume": "20"}, "/volume"),
        ({"volume": "0 L"}, "/volume"),
        ({"volume": "20 kg"}, "/volume"),
        ({"volume": "20 L ± 1 L"}, "/volume"),
        ({"volume_is": "total"}, "/volume_is"),
        ({"water": "honey"}, "/water"),
        ({"water": "rain"}, "/water"),
        ({"sources": [{"ingredient": "water_tap"}]}, "/sources/0"),
        ({"sources": [{"ingredient": "neutral_spirit_40", "amount": "1 L"}]}, "/sources/0"),
        ({"sources": [{"ingredient": "honey"}, {"ingredient": "sugar"}]}, "/sources/1"),
        ({"sources": [{"ingredient": "citric_acid"}]}, "/sources"),
        ({"sources": [{"ingredient": "honey", "amount": "3"}]}, "/sources/0/amount"),
        ({"sources": [{"ingredient": "honey", "pack": "1 kg", "sold_in": "1 kg"}]}, "/sources/0/sold_in"),
        ({"sources": [{"ingredient": "honey", "sold_in": "0 kg"}]}, "/sources/0/sold_in"),
        ({"sources": [{"ingredient": "honey", "price": {"amount": 3, "per": "1 pack"}}]}, "/sources/0/price/per"),
        ({"losses": {"lees": "4 %"}}, "/losses"),
        ({"nitrogen": {"demand": "huge"}}, "/nitrogen/demand"),
        ({"nitrogen": {"demand": 46}}, "/nitrogen/demand"),
        ({"nitrogen": {"sources": [{"name": "meadow mix"}]}}, "/nitrogen/sources/0/nitrogen_percent"),
        (
            {"nitrogen": {"sources": [{"name": "DAP", "nitrogen_percent": 46}]}},
            "/nitrogen/sources/0/nitrogen_percent",
        ),
        (
            {"nitrogen": {"sources": [{"name": "garden fertiliser", "nitrogen_percent": 20}]}},
            "/nitrogen/sources/0/name",
        ),
        ({"nitrogen": {"sources": [{"name": "urea", "nitrogen_percent": 46}]}}, "/nitrogen/sources/0/name"),
        (
            {"nitrogen": {"sources": [{"name": "nutrient", "nitrogen_percent": 21.4}]}},
            "/nitrogen/sources/0/nitrogen_percent",
        ),
        ({"nitrogen": {"sources": [{"name": "DAP", "organic": True}]}}, "/nitrogen/sources/0/organic"),
        ({"nitrogen": {"sources": [{"name": "DAP"}, {"name": "dap"}]}}, "/nitrogen/sources/1/name"),
        ({"nitrogen": {"sources": [{"name": "DAP", "amount": "1 tsp"}]}}, "/nitrogen/sources/0/amount"),
        (
            {"nitrogen": {"sources": [{"name": "nutrient", "nitrogen_percent": 0.212}]}},
            "/nitrogen/sources/0/nitrogen_percent",
        ),
        ({"volume": "1 mL"}, "/volume"),
        ({"yeast": {"grams": 5000}}, "/yeast/grams"),
        ({"yeast": {"viable_cells_per_g": 5}}, "/yeast/viable_cells_per_g"),
        ({"yeast": {"tolerance_abv_percent": 40}}, "/yeast/tolerance_abv_percent"),
        ({"yeast": {"name": "a product"}}, "/yeast/name"),
        ({"start_date": "soon"}, "/start_date"),
    ],
)
def test_refusals_say_where(change: dict[str, Any], pointer: str | None) -> None:
    body = {name: value for name, value in {**LIGHT, **change}.items() if value is not None}
    if pointer is None:
        assert ask(body)["original_gravity"]["value"] > 1.15
        return
    assert pointer in refused(body)


def test_nitrogen_that_no_food_holds_is_refused_in_words() -> None:
    def source(**one: Any) -> dict[str, Any]:
        return {**LIGHT, "nitrogen": {"sources": [one]}}

    (words,) = refused(source(name="Lawn fertilizer", nitrogen_percent=10)).values()
    assert "not for drinks" in words
    (words,) = refused(source(name="white salt", nitrogen_percent=21.4)).values()
    assert "not for drinks" in words
    assert ask(source(name="white salt", nitrogen_percent=21.2))["nitrogen"]["doses"][0]["phosphate"] is None


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"targets": {"gravity": 1.01}}, "/finished/targets"),
        ({"containers": None}, "/finished/containers"),
        ({"targets": {"abv_percent": 6, "volume": "10 L"}}, "/finished/targets/volume"),
        ({"containers": None, "targets": {"abv_percent": 6, "volume": {"min": "5 L"}}}, "/finished/targets/volume"),
        (
            {"targets": {"abv_percent": {"min": 5, "max": 7, "confidence": 0.9}}},
            "/finished/targets/abv_percent/confidence",
        ),
        ({"targets": {"abv_percent": 60}}, "/finished/targets/abv_percent"),
        ({"base": {"name": "honey_acacia"}}, "/finished/base/name"),
        ({"base": {"final_gravity": 998}}, "/finished/base/final_gravity"),
        ({"base": {"final_gravity": "2 Bx"}}, "/finished/base/final_gravity"),
        ({"base": {"titratable_acidity": "5"}}, "/finished/base/titratable_acidity"),
        ({"containers": [{"fill": "1 mL", "count": 1}]}, "/finished/containers"),
        ({"containers": [{"fill": "0 mL", "count": 3}]}, "/finished/containers/0/fill"),
        ({"containers": [{"fill": "500 mL", "count": 0}]}, "/finished/containers/0/count"),
        ({"containers": [{"fill": "9000 L", "count": 1000000}]}, "/finished/containers/0/count"),
        ({"losses": {"lees": "4"}}, "/finished/losses/lees"),
        ({"lots": []}, "/finished/lots"),
        ({"prefer": [{}]}, "/finished/prefer/0"),
        ({"match": {"serving": "330 mL"}}, "/finished/match"),
    ],
)
def test_refusals_of_a_finished_drink_say_where(change: dict[str, Any], pointer: str) -> None:
    found = refused(finished(**change))
    assert any(place == pointer or place.startswith(pointer + "/") for place in found), found


def texts(answer: dict[str, Any]) -> str:
    """All that a maker reads of amounts."""
    parts = [answer["summary"], answer["nitrogen"]["text"], answer["yeast"]["text"], answer["rule_of_thumb"]["text"]]
    parts += [caution["text"] for caution in answer["cautions"]]
    parts += [step["amount_text"] for step in answer["steps"]]
    if answer["base"] is not None:
        parts.append(answer["base"]["text"])
    return "\n".join(parts)


@pytest.mark.parametrize("volume", ["60 mL", "20 L", "10000 L", "8 hL", "1 cup", "3 gal", "4000 gal"])
def test_figures_in_words_are_in_the_callers_units_and_written_out(volume: str) -> None:
    answer = ask({**LIGHT, "volume": volume})
    words = texts(answer)
    assert "e+" not in words
    assert " 0 g" not in words
    assert "0 oz" not in words.replace("10 oz", "").replace(".0 oz", "")
    us = answer["units"] == "us"
    assert (" gal (" in answer["summary"] or " fl oz (" in answer["summary"]) is us
    assert ("cubic feet" in words) is (us and "carbon_dioxide_in_the_room" in codes(answer))


def test_a_base_is_told_in_gallons_too() -> None:
    answer = ask({**finished(containers=[{"kind": "keg", "fill": "5 gal", "count": 1}]), "units": "us"})
    assert " gal (" in answer["base"]["text"]
    assert " gal (" in answer["steps"][-2]["amount_text"]
    assert " gal " not in ask(finished())["base"]["text"]


def test_packs_are_named_as_they_were() -> None:
    source = {"ingredient": "orange_juice_concentrate_frozen"}
    for how in ("sold_in", "pack"):
        answer = ask({**LIGHT, "units": "metric", "sources": [{**source, how: "12 fl oz"}]})
        assert "packs of 12 fl oz" in answer["shopping"][0]["amount_text"]


def test_the_rule_of_thumb_says_why_it_is_off_for_the_volume_that_was_named() -> None:
    honey = {"sources": [{"ingredient": "honey", "amount": "1 kg"}], "volume": "4 L"}
    final, water = (ask({**honey, "volume_is": meant})["rule_of_thumb"] for meant in ("final", "water_added"))
    assert final["gap_points"] > 2.0
    assert "agrees only where the volume is that of the water" in final["reason"]
    assert water["gap_points"] < -2.0
    assert "Here the volume is that of the water" in water["reason"]
    assert "agrees only" not in water["reason"]


def test_no_must_is_offered_acid_for_its_gravity() -> None:
    answer = ask({**LIGHT, "original_gravity": 1.05, "sources": [{"ingredient": "apple_juice_bottled"}]})
    offered = {one["ingredient"] for one in answer["clash"]["helpful_ingredients"]}
    assert "citric_acid_anhydrous" not in answer["summary"]
    assert offered
    assert not any("acid" in name for name in offered)
    assert " makes 20 L" in answer["summary"]
    assert (
        ", "
        in ask({**LIGHT, "sources": [{"ingredient": "honey"}, {"ingredient": "citric_acid", "amount": "10 g"}]})[
            "summary"
        ].split(" and ")[0]
    )


def test_a_must_is_no_blend_where_it_overflows() -> None:
    answer = ask({**LIGHT, "intended": {"vessel": "15 L"}})
    (stop,) = [caution for caution in answer["cautions"] if caution["code"] == "vessel_too_small"]
    assert stop["text"].startswith("The must makes")


def test_no_source_that_brings_nothing_is_called_too_little_to_weigh() -> None:
    sources = [{"name": "DAP", "amount": "0 g"}]
    assert "no source brings it" in ask({**LIGHT, "nitrogen": {"sources": sources}})["nitrogen"]["text"]
    assert "too little to weigh" in ask({**LIGHT, "nitrogen": {"demand": 0.001}})["nitrogen"]["text"]


def test_a_finished_drink_decides_the_must() -> None:
    assert set(refused({**FINISHED, "volume": "20 L", "volume_is": "final"})) == {"/volume", "/volume_is"}
    assert "/finished" in refused({**FINISHED, "original_gravity": 1.05})


def test_a_remembered_drink_can_be_the_aim() -> None:
    match = {"serving": "330 mL", "sugar_g": 20, "acid": "0.5 % citric"}
    additions = [{"ingredient": "honey_acacia"}, {"ingredient": "citric_acid"}]
    answer = ask(finished(match=match, additions=additions, targets={"abv_percent": 5.5}))
    assert answer["finished"]["outcome"] == "targets_met"
    assert answer["finished"]["predicted"]["abv_percent"]["value"] == pytest.approx(5.5, abs=2e-3)
    assert "remembered_drink" in codes(answer) or answer["assumed"]


def test_prefer_decides_among_free_sources() -> None:
    sources = [
        {"ingredient": "honey"},
        {"ingredient": "apple_juice_bottled", "max": "10 L", "treatment": "pasteurised"},
    ]
    answer = ask({**LIGHT, "sources": sources, "prefer": [{"maximise": "juice_percent"}]})
    apple = next(a for a in answer["amounts"] if a["name"] == "apple_juice_bottled")
    assert apple["volume_ml"] == pytest.approx(10_000.0, abs=1.0)


@pytest.mark.parametrize("path", examples("plan_must"), ids=lambda p: p.stem)
def test_the_row_and_the_table_of_every_example(path: Path) -> None:
    asked, answer = worked(path)["request"], worked(path)["response"]["body"]
    text = app().post(f"{PATH}.csv", json=asked).text
    (row,) = csv.DictReader(io.StringIO(text))
    assert row["outcome"] == answer["outcome"]
    assert float(row["original_gravity"]) == pytest.approx(answer["original_gravity"]["value"])
    assert float(row["honey_average_mass_g" if "honey_average_mass_g" in row else _honey(answer)]) > 0.0
    status, body = answer_file(path, None)
    assert status == 200
    shown = table(body)
    assert "Original gravity" in shown
    assert "Steps:" in shown
    assert "To buy:" in shown
    if body["base"] is not None:
        assert "Base: " in shown
        assert f"{body['cost']:.2f} EUR" in shown


def _honey(answer: dict[str, Any]) -> str:
    return next(f"{a['name']}_mass_g" for a in answer["amounts"] if a["name"].startswith("honey"))


def test_the_file_tells_which_question_it_is(tmp_path: Path) -> None:
    file = tmp_path / "must.json"
    file.write_text(json.dumps(LIGHT), encoding="utf-8")
    status, body = answer_file(file, None)
    assert (status, body["outcome"]) == (200, "targets_met")
    assert {worked(p)["response"]["status"] for p in all_examples("plan_must")} == {200, 422}


def test_the_cell_is_one_number() -> None:
    at = "/v1/cell/honey-for-must"
    query = {"original_gravity": "1.048", "volume": "20L", "volume_is": "final", "unit": "kg"}
    answer = app().get(at, params=query)
    assert answer.status_code == 200
    assert float(answer.text) == pytest.approx(amounts(ask(LIGHT))["honey_average"] / 1000.0, rel=1e-5)
    assert "°Bx" in app().get(at, params={**query, "explain": "1"}).text
    wetter = app().get(at, params={**query, "moisture_percent": "18.2"})
    assert float(wetter.text) == pytest.approx(float(answer.text) * 82.8 / 81.8, rel=1e-3)
    for change in ({"volume_is": ""}, {"volume": "20"}, {"original_gravity": "1.3"}, {"bound": "low"}):
        assert app().get(at, params={**query, **change}).status_code >= 400
    assert app().get(at, params={"original_gravity": "1.048", "volume": "20L"}).status_code >= 400


@pytest.mark.parametrize("body", [LIGHT, FINISHED, example("plan_must", "04")], ids=["light", "finished", "example"])
def test_what_follows_can_be_sent_as_it_stands(body: dict[str, Any]) -> None:
    answer = ask(body)
    assert set(answer["next"]) == {"interpret_readings", "plan_stabilising", "solve_blend"}
    for call in answer["next"].values():
        response = app().post(call["path"], json=call["request"])
        assert response.status_code == 200, response.text
        for pointer in call["replace"]:
            here: Any = call["request"]
            for part in pointer.strip("/").split("/"):
                here = here[int(part)] if isinstance(here, list) else here[part]
            assert here is not None


def test_the_next_blend_is_the_planned_one() -> None:
    answer = ask(FINISHED)
    call = answer["next"]["solve_blend"]
    blend = post(call["path"], call["request"])
    planned = {a["name"]: a["mass_g"] for a in answer["finished"]["amounts"]}
    assert blend["outcome"] == "targets_met"
    assert amounts(blend) == pytest.approx(planned, rel=2e-3)
    again = post(
        PATHS["plan_stabilising"], {**answer["next"]["plan_stabilising"]["request"], "fermentation_finished": True}
    )
    assert again["so2"]["at_dosing"]["volume_l"] == pytest.approx(answer["base"]["volume_l"], rel=1e-3)
