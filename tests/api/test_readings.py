"""`POST /v1/readings`: readings as makers write them, refusals with their place, what can follow, the flat row."""

from __future__ import annotations

import copy
import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest

from service.api.command import answer_file, table
from tests.api.real import PATHS, all_examples, app, codes, example, examples, post, worked

PATH = PATHS["interpret_readings"]
EQUAL = [{"date": "2026-03-01", "gravity": 1.004}, {"date": "2026-03-08", "gravity": 1.004}]
STOPPED: dict[str, Any] = {"original_gravity": 1.050, "series": EQUAL}
RECIPE: dict[str, Any] = {
    "lots": [
        {
            "name": "base",
            "volume": "19 L",
            "gravity": 0.998,
            "abv_percent": 8.0,
            "titratable_acidity": "5 g/L tartaric",
            "ph": 3.4,
        }
    ],
    "additions": [{"ingredient": "honey", "amount": "2 kg"}],
}
SWEET: dict[str, Any] = {"hydrometer": 1.029, "refractometer": "12.2 Bx", "titratable_acidity": "4.4 g/L citric"}


def read(body: Any) -> dict[str, Any]:
    return post(PATH, body)


def refused(body: Any) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(PATH, body, 422)["errors"]}


def methods(answer: dict[str, Any]) -> dict[str, Any]:
    return {report["method"]: report for report in answer["alcohol"]}


# the maker's questions


def test_question_4_it_stopped_at_1004() -> None:
    """ABV with its spread, residual sugar, possible further drop, action; the sample read at 64 °F on a hydrometer for
    60 °F. 131.25·(1.050 − 1.0043) = 6.00 (common practice); the honey must would end at 0.996 (computed)."""
    warm = {"reading": 1.004, "sample_temperature": "64 F", "calibrated_at": "60 F"}
    body = {**STOPPED, "series": [{**one, "gravity": warm} for one in EQUAL], "start_date": "2026-03-08"}
    found = read(body)
    assert found["abv_percent"]["value"] == pytest.approx(6.0, abs=0.1)
    assert found["abv_percent"]["low"] < 5.8 < 6.2 < found["abv_percent"]["high"]
    assert found["gravity"]["value"] == pytest.approx(1.0043, abs=2e-4)
    assert found["sugar"]["extract_g_per_l"]["value"] > found["sugar"]["sugar_g_per_l"]["value"] > 5.0
    assert found["sugar"]["possible_drop"]["value"] == pytest.approx(1.0043 - 0.996, abs=0.0015)
    assert found["fermentation"] == "steady"
    assert "rests with sugar left" in found["action"]
    assert found["schedule"][0]["date"] == "2026-03-15"
    assert codes(found)["at_rest_is_not_finished"] == "warning"


def test_question_15_what_are_ta_and_ph() -> None:
    """10.4 mL of 0.1 mol/L for 10 mL: 104 meq/L, 6.66 g/L as citric, 7.80 as tartaric (formula masses)."""
    titration = {"naoh_ml": 10.4, "naoh_mol_per_l": 0.1, "sample_ml": 10, "end_point_ph": 7.0, "degassed": True}
    found = read({"titration": titration, "ph": 3.3})
    acidity = found["acidity"]
    assert acidity["meq_per_l"]["value"] == pytest.approx(104.0)
    assert acidity["g_per_l_citric"]["value"] == 6.66
    assert acidity["g_per_l_tartaric"]["value"] == 7.80
    assert (acidity["end_point_ph"], [a["end_point_ph"] for a in acidity["at_other_end_points"]]) == (7.0, [8.2])
    assert acidity["at_other_end_points"][0]["g_per_l_citric"] >= 6.66
    assert found["ph"] == {"value": 3.3, "low": 3.218, "high": 3.382, "how": "read"}
    assert found["acidity"]["g_per_l_citric"]["low"] < 6.5 < 6.8 < found["acidity"]["g_per_l_citric"]["high"]


def test_question_25_hydrometer_against_refractometer() -> None:
    """1.028 and 11.0 °Bx with 5.5 g/L citric acid: the two equations give about 6.2 % vol and 8.8 % extract beside the
    acid (computed as the row 1.029, 11.3 °Bx: 6.28 and 9.04)."""
    body = {
        "hydrometer": 1.028,
        "refractometer": {"reading": "11.0 Bx", "sample_temperature": "68 F"},
        "titratable_acidity": "5.5 g/L citric",
    }
    found = read(body)
    two = methods(found)["hydrometer_and_refractometer"]
    assert two["used"]
    assert two["abv_percent"] == pytest.approx(6.2, abs=0.12)
    assert two["error_percent"] == pytest.approx(0.48, abs=0.02)
    assert found["sugar"]["extract_percent"] - 0.54 == pytest.approx(8.75, abs=0.15)
    assert found["refractometer"]["reads_too_high_brix"] > 1.0


def test_question_25_a_misread_volume_is_named() -> None:
    """The base was 15 L, not 19: what the forecast makes of 15 L is read, and the volume is told to be about 15."""
    really = copy.deepcopy(RECIPE)
    really["lots"][0]["volume"] = "15 L"
    made = post(PATHS["forecast_blend"], {"recipes": [{"name": "really", **really}]})["recipes"][0]["predicted"]
    body = {
        "hydrometer": made["gravity"]["value"],
        "abv_percent": made["abv_percent"]["value"],
        "titratable_acidity": f"{made['titratable_acidity']['value']} g/L tartaric",
        "volume": f"{made['volume']['value']} L",
        "expected": RECIPE,
    }
    found = read(body)
    (first, *_) = found["mismatch"]["consistency"]["culprits"]
    assert (first["kind"], first["of"]) == ("volume", "base")
    assert first["probably"] == pytest.approx(15.0, abs=0.4)
    assert "volume" in found["summary"]


# the same in other words


@pytest.mark.parametrize(
    "change",
    [
        {"hydrometer": "7.32 Bx", "refractometer": "12.2 °Brix"},
        {"hydrometer": {"reading": 1.029}},
        {"hydrometer": {"reading": 1.029, "sample_temperature": "20 C", "calibrated_at": "20 C"}},
        {"refractometer": {"reading": "12.2 Bx"}},
        {"refractometer": {"reading": "12.2 Bx", "sample_temperature": "31 C", "atc": True}},
        {"refractometer": {"reading": "12.2 Bx", "acid": "4.4 g/L citric"}, "titratable_acidity": None},
        {"titratable_acidity": "5.156 g/L tartaric"},
        {"titratable_acidity": None, "titration": {"naoh_ml": 6.871, "naoh_mol_per_l": 0.1, "sample_ml": 10}},
        {"hydrometer": None, "series": [{"date": "2026-03-01", "gravity": 1.029}]},
        {"class": "mead", "instruments": {"hydrometer": {"error": 0.001}, "refractometer": {"error": 0.2}}},
    ],
)
def test_the_same_strength_in_other_words(change: dict[str, Any]) -> None:
    body = {name: value for name, value in {**SWEET, **change}.items() if value is not None}
    found, plain = read(body)["abv_percent"], read(SWEET)["abv_percent"]
    assert found["value"] == pytest.approx(plain["value"], abs=0.03)


def test_an_answer_carries_what_every_answer_carries() -> None:
    found = read({**SWEET, "batch": "orchard 7", "date": "2026-03-14", "note": "try", "units": "us"})
    assert (found["batch"], found["date"], found["note"], found["units"]) == ("orchard 7", "2026-03-14", "try", "us")
    for name in ("summary", "assumed", "cautions", "next_reading", "sources", "model_version", "data_version", "steps"):
        assert found[name], name
    keys = {source["key"] for source in found["sources"]}
    assert keys >= {c["source_id"] for c in found["cautions"]} | {s["source_id"] for s in found["steps"]}


def test_defaults_are_named() -> None:
    found = {a["what"] for a in read({**SWEET, "original_gravity": 1.05})["assumed"]}
    assert found >= {"class", "sweetened", "refractometer", "errors of readings, each a standard deviation"}
    told = {**SWEET, "class": "mead", "refractometer": {"reading": "12.2 Bx", "sample_temperature": "20 C"}}
    assert not {"class", "refractometer"} & {a["what"] for a in read(told)["assumed"]}


def test_a_hydrometer_for_another_temperature() -> None:
    """Water at 60 °F reads 1.000 on a hydrometer for 60 °F: SG 20/20 1.000 too."""
    cold = {"reading": 1.000, "sample_temperature": "60 F", "calibrated_at": "60 F"}
    assert read({"hydrometer": cold, "abv_percent": 0})["gravity"]["value"] == pytest.approx(1.0, abs=2e-5)
    body = {"hydrometer": {"reading": 1.0, "sample_temperature": "60 F"}, "abv_percent": 0}
    stem = {**body, "instruments": {"hydrometer": {"calibrated_at": "60 F"}}}
    assert read(stem)["gravity"]["value"] == pytest.approx(1.0, abs=2e-5)
    assert read(body)["gravity"]["value"] == pytest.approx(0.9993, abs=1e-4)  # water 15.56 °C: 0.9991/0.9982


def test_a_series_with_temperatures_of_its_own() -> None:
    warm = [{"date": "2026-03-01", "gravity": 1.004}, {"date": "2026-03-08", "gravity": 1.0017, "temperature": "30 C"}]
    assert read({**STOPPED, "series": warm})["fermentation"] == "steady"
    cold = [EQUAL[0], {"date": "2026-03-08", "gravity": 1.0017}]
    assert read({**STOPPED, "series": cold})["fermentation"] == "falling"


# refusals


REFUSED: list[tuple[dict[str, Any], str, str]] = [
    ({}, "/hydrometer", "at least one reading"),
    ({"volume": "20 L"}, "/hydrometer", "at least one reading"),
    ({"hydrometer": 1.3}, "/hydrometer", "between 0.970 and 1.200"),
    ({"hydrometer": 1028}, "/hydrometer", "Did you mean 1.028"),
    ({"hydrometer": "1.028"}, "/hydrometer", "without quotes"),
    ({"hydrometer": "40 C"}, "/hydrometer", "scale"),
    ({"hydrometer": {"reading": 1.03, "calibrated_at": "60 F"}}, "/hydrometer/sample_temperature", "temperature"),
    ({"hydrometer": {"reading": 1.03, "sample_temperature": "60 C"}}, "/hydrometer/sample_temperature", "0–40 °C"),
    ({**STOPPED, "original_gravity": 1.25}, "/original_gravity", "between"),
    ({**STOPPED, "original_gravity": 0.99}, "/original_gravity", "original gravity"),
    ({"hydrometer": 1.06, "original_gravity": 1.05}, "/original_gravity", "swapped"),
    ({"ph": 9}, "/ph", "No must or drink has pH 9"),
    ({"ph": 1.5}, "/ph", "buffers"),
    ({"abv_percent": 40, "hydrometer": 0.99}, "/abv_percent", "proof"),
    (
        {"titration": {"naoh_ml": 270, "naoh_mol_per_l": 0.1, "sample_ml": 10}},
        "/titration/naoh_ml",
        "203 g/L as tartaric",
    ),
    (
        {"titration": {"naoh_ml": 6, "naoh_mol_per_l": 0.1, "sample_ml": 10, "end_point_ph": 4}},
        "/titration/end_point_ph",
        "ends",
    ),
    (
        {"titration": {"naoh_ml": 6, "naoh_mol_per_l": 0.1, "sample_ml": 10}, "titratable_acidity": "6 g/L citric"},
        "/titratable_acidity",
        "not both",
    ),
    ({"titratable_acidity": "6 g/kg citric"}, "/titratable_acidity", "per litre"),
    ({"titratable_acidity": "200 g/L tartaric"}, "/titratable_acidity", "no acidity of such a drink"),
    ({"ph": 3.4, "titration_end_point_ph": 7.0}, "/titration_end_point_ph", "belongs to a titration"),
    ({**SWEET, "refractometer": "50 Bx"}, "/refractometer", "35 °Bx"),
    ({**SWEET, "refractometer": 12.2}, "/refractometer", "11.0 Bx"),
    (
        {**SWEET, "refractometer": {"reading": "12.2 Bx", "sample_temperature": "25 C"}},
        "/refractometer/sample_temperature",
        "atc",
    ),
    (
        {**SWEET, "refractometer": {"reading": "12.2 Bx", "acid": "5 g/L citric"}},
        "/refractometer/acid",
        "leave this out",
    ),
    ({**SWEET, "refractometer": "4 Bx"}, "/refractometer", "contradict each other"),
    ({**STOPPED, "series": [{"date": "yesterday", "gravity": 1.0}]}, "/series/0/date", "year-month-day"),
    ({**STOPPED, "series": [{"date": "2026-03-01", "gravity": 1.4}]}, "/series/0/gravity", "between"),
    (
        {**STOPPED, "series": [{"date": "2026-03-01", "gravity": {"reading": 1.0}, "temperature": "20 C"}]},
        "/series/0/temperature",
        "once",
    ),
    (
        {**STOPPED, "series": [{"date": "2026-02-21", "gravity": 1.07}, *EQUAL]},
        "/series/0/gravity",
        "above the original",
    ),
    ({**STOPPED, "hydrometer": 1.010}, "/hydrometer", "series ends at 1.004"),
    ({**STOPPED, "steady_days": 5}, "/steady_days", "series tells"),
    ({"ph": 3.4, "steady_days": 5}, "/hydrometer", "stood still"),
    ({"ph": 3.4, "sweetened": True}, "/sweetened", "original gravity"),
    ({"hydrometer": 1.01, "residual_sugar": "4 g/L"}, "/residual_sugar", "gravity and strength"),
    ({**STOPPED, "class": "citrus_juice"}, "/original_gravity", "juice"),
    ({"hydrometer": 1.045, "class": "citrus_juice", "abv_percent": 3}, "/abv_percent", "no alcohol"),
    ({"ph": 3.4, "expected": {"drink": {"gravity": 1.02, "abv_percent": 6}}}, "/expected", "held against"),
    ({**SWEET, "expected": {}}, "/expected", "lot or an addition"),
    ({**SWEET, "expected": {**RECIPE, "drink": {"gravity": 1.02}}}, "/expected/drink", "not both"),
    (
        {**SWEET, "expected": {**RECIPE, "additions": [{"ingredient": "honey", "amount": "2"}]}},
        "/expected/additions/0/amount",
        "unit",
    ),
    ({**SWEET, "expected": {"drink": {"gravity": 9}}}, "/expected/drink/gravity", "no drink"),
    ({"ph": 3.4, "start_date": "2026-03-01"}, "/start_date", "no steps|has steps"),
    ({**SWEET, "currency": "EUR"}, "/currency", "price"),
    ({**SWEET, "draws": 2000}, "/draws", "first order"),
    ({**SWEET, "seed": 1}, "/seed", "random"),
    ({**SWEET, "senses": {"steps": {"gravity": 0.002}}}, "/senses", "tasted"),
    ({**SWEET, "brix": 11}, "/brix", "no field"),
]


@pytest.mark.parametrize(("body", "pointer", "words"), REFUSED, ids=[f"{p}-{k}" for k, (_, p, _) in enumerate(REFUSED)])
def test_what_cannot_be_is_refused_in_words(body: dict[str, Any], pointer: str, words: str) -> None:
    found = refused(body)
    assert pointer in found
    assert re.search(words, found[pointer]), found[pointer]


def test_all_faults_are_told_at_once() -> None:
    assert set(refused({"hydrometer": 2.0, "ph": 9, "titratable_acidity": "6"})) == {
        "/hydrometer",
        "/ph",
        "/titratable_acidity",
    }


# what can follow


def follow(answer: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {name: post(call["path"], call["request"]) for name, call in answer["next"].items()}


def point(body: Any, pointer: str) -> Any:
    for part in pointer.split("/")[1:]:
        body = body[int(part)] if isinstance(body, list) else body[part]
    return body


BODIES: dict[str, dict[str, Any]] = {
    "steady": STOPPED,
    "falling": {**STOPPED, "series": [{"date": "2026-03-01", "gravity": 1.010}, EQUAL[1]]},
    "begins": {"hydrometer": 1.004, "original_gravity": 1.05, "start_date": "2026-03-01T18:00", "volume": "5 gal"},
    "sweet": {**SWEET, "expected": RECIPE, "volume": "20.3 L ± 0.3 L", "ph": 3.45},
    "oiv": {**SWEET, "titration_end_point_ph": 7.0, "expected": RECIPE},
    "tested": {**STOPPED, "residual_sugar": "9 g/L ± 1 g/L", "titratable_acidity": "80 meq/L", "ph": 3.3},
    "part of a lot": {
        **SWEET,
        "expected": {
            **RECIPE,
            "lots": [{**RECIPE["lots"][0], "volume": "25 L", "use": {"min": "19 L", "max": "19 L"}}],
        },
    },
    "imperial": {**STOPPED, "volume": "5 imp gal", "instruments": {"ph_meter": {"error": 0.02}}},
    "cider": {"hydrometer": 1.002, "original_gravity": 1.048, "class": "cider_perry", "steady_days": 20},
    "juice": {"hydrometer": 1.045, "class": "citrus_juice", "volume": "2 L"},
}


@pytest.mark.parametrize("name", BODIES)
def test_every_request_that_can_follow_is_answered(name: str) -> None:
    answer = read(BODIES[name])
    for call in answer["next"].values():
        for pointer in call["replace"]:
            point(call["request"], pointer)  # raises where there is no such place
    answers = follow(answer)
    if name == "falling":
        assert "solve_blend" not in answers
        assert answers["plan_stabilising"]["verdict"] == "do_not_dose"
        assert answers["interpret_readings"]["trend"]["days"] > answer["trend"]["days"]
    if name in ("sweet", "oiv", "part of a lot"):
        assert answers["correct_blend"]["consistency"]["probability"] > 0.0
    if name == "begins":
        assert answers["interpret_readings"]["trend"]["days"] == answer["wait_days"]
    if name == "steady":
        assert set(answers) == {"plan_stabilising", "solve_blend", "interpret_readings"}
        assert answer["next"]["plan_stabilising"]["replace"] == ["/volume_at_dosing", "/ph"]


def test_the_correction_that_follows_tells_the_same_culprit() -> None:
    body = {**BODIES["sweet"], "hydrometer": 1.0385, "refractometer": "14.3 Bx"}
    answer = read(body)
    again = follow(answer)["correct_blend"]
    assert again["consistency"]["verdict"] == answer["mismatch"]["consistency"]["verdict"]
    assert again["consistency"]["probability"] == pytest.approx(
        answer["mismatch"]["consistency"]["probability"], rel=0.05
    )


def test_the_lot_of_the_next_blend_is_the_drink_as_read() -> None:
    answer = read({**SWEET, "volume": "20 L"})
    (lot,) = answer["next"]["solve_blend"]["request"]["lots"]
    assert lot["gravity"] == answer["gravity"]["value"]
    assert lot["abv_percent"] == answer["abv_percent"]["value"]
    assert "/lots/0/volume" not in answer["next"]["solve_blend"]["replace"]


# table, row, cell


def test_the_flat_row() -> None:
    def row(body: Any) -> dict[str, str]:
        response = app().post(f"{PATH}.csv", json=body)
        assert response.status_code == 200
        (only,) = csv.DictReader(io.StringIO(response.text))
        return only

    full = row({**SWEET, "expected": RECIPE})
    answer = read({**SWEET, "expected": RECIPE})
    assert list(full) == list(row({"ph": 3.4})) == list(row(STOPPED))
    assert float(full["abv_percent"]) == answer["abv_percent"]["value"]
    assert full["readings_fit"] == answer["mismatch"]["consistency"]["verdict"]
    assert row(BODIES["falling"])["stop"].startswith("Gravity still falls")
    assert row({"ph": 3.4})["gravity"] == ""


@pytest.mark.parametrize("path", examples("interpret_readings"), ids=lambda path: path.stem)
def test_the_command_line_answers_the_same(path: Path, tmp_path: Path) -> None:
    plain = tmp_path / "request.json"
    plain.write_text(json.dumps(worked(path)["request"]), encoding="utf-8")
    status, body = answer_file(plain, None)
    assert status == 200
    assert body["summary"] == worked(path)["response"]["body"]["summary"]
    shown = table(body)
    lines = shown.splitlines()
    assert max(map(len, lines)) <= 100
    stops = [c["text"] for c in body["cautions"] if c["level"] == "stop"]
    assert all(lines[k].startswith("STOP") for k in range(1) if stops)
    for report in body["alcohol"]:
        assert report["method"].replace("_", " ") in shown


def test_examples_cover_a_refusal_and_the_makers_questions() -> None:
    assert len(all_examples("interpret_readings")) >= 5
    assert example("interpret_readings", "01")["series"]


def test_nothing_is_promised() -> None:
    for body in BODIES.values():
        text = json.dumps(read(body), ensure_ascii=False).lower()
        assert "safe" not in text


def test_sugar_in_a_cell() -> None:
    """1.012 at 7.2 % vol: the same as the answer's own figures."""
    query = {"gravity": 1.012, "abv_percent": 7.2}
    sugar = read({"hydrometer": 1.012, "abv_percent": 7.2})["sugar"]["sugar_g_per_l"]

    def cell(**more: Any) -> float:
        response = app().get("/v1/cell/sugar-from-gravity-and-abv", params={**query, **more})
        assert response.status_code == 200, response.text
        return float(response.text)

    assert cell() == pytest.approx(sugar["value"], abs=0.06)
    assert cell(bound="low") == pytest.approx(sugar["low"], abs=0.06)
    assert cell(bound="high") == pytest.approx(sugar["high"], abs=0.06)
    assert cell(sample_temperature="28C") > cell()


@pytest.mark.parametrize(
    "query",
    [
        {"gravity": 1.3, "abv_percent": 7},
        {"gravity": 1.01, "abv_percent": 30},
        {"gravity": 0.98, "abv_percent": 2},
        {"gravity": 1.01, "abv_percent": 7, "calibrated_at": "60F"},
        {"gravity": 1.01, "abv_percent": 7, "sample_temperature": "warm"},
    ],
)
def test_a_cell_refuses_what_cannot_be(query: dict[str, Any]) -> None:
    assert app().get("/v1/cell/sugar-from-gravity-and-abv", params=query).status_code == 422
