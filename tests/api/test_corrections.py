"""`POST /v1/corrections`: shape, refusals, what leads on, and its twins."""

from __future__ import annotations

import copy
import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.command import answer_file, table
from tests.api.real import EXAMPLES, PATHS, app, codes, example, examples, post, worked

PATH = PATHS["correct_blend"]

BASE: dict[str, Any] = {
    "lots": [
        {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0, "titratable_acidity": "5 g/L tartaric"}
    ],
    "additions": [
        {"ingredient": "honey_acacia", "max": "2 kg"},
        {"ingredient": "lemon_juice_fresh", "max": "1 L", "treatment": "pasteurised"},
    ],
    "targets": {"gravity": 1.012},
    "added": [{"ingredient": "honey_acacia", "amount": "250 g"}],
    "measured": {"gravity": 1.0059},
}


def changed(*path: str | int, to: Any) -> dict[str, Any]:
    body = copy.deepcopy(BASE)
    here: Any = body
    for part in path[:-1]:
        here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
    if to is None:
        del here[path[-1]]
    else:
        here[path[-1]] = to
    return body


def faults(body: Any) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(PATH, body, 422)["errors"]}


def correct(**changes: Any) -> dict[str, Any]:
    return post(PATH, {**BASE, **changes})


def test_the_rest_is_planned_for_what_is_in_the_vessel() -> None:
    found = correct()
    amounts = {a["name"]: a["mass_g"] for a in found["plan"]["amounts"]}
    assert found["outcome"] == "targets_met"
    assert set(amounts) == {"drink in the vessel", "honey_acacia", "lemon_juice_fresh"}
    # about 26 g of extract a litre for 0.01 SG (0.385 per thousand, Balling's tables); acacia honey is 83 % solids
    assert amounts["honey_acacia"] == pytest.approx((1.012 - 1.0059) / 0.000385 / 0.83 * 10.2, rel=0.12)
    assert found["plan"]["predicted"]["gravity"]["value"] == pytest.approx(1.012, abs=5e-4)


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        (changed("measured", to=None), "/measured", "one at least"),
        (changed("measured", to={}), "/measured", "one at least"),
        (changed("measured", "gravity", to="5 Bx"), "/measured/gravity", "hydrometer"),
        (changed("measured", "gravity", to=1012), "/measured/gravity", "1.012"),
        (changed("measured", "volume", to="10"), "/measured/volume", "unit"),
        (changed("measured", "volume", to="0 L"), "/measured/volume", "above zero"),
        (changed("measured", "refractometer", to="7.3"), "/measured/refractometer", "scale"),
        (changed("measured", "titratable_acidity", to="6 g/kg citric"), "/measured/titratable_acidity", "per litre"),
        (changed("measured", "sugar", to=3), "/measured/sugar", ""),
        (changed("errors", to={"ph": 0.05}), "/errors/ph", "no such reading"),
        (changed("errors", to={"gravity": 0.0}), "/errors/gravity", ""),
        (changed("added", to=[{"ingredient": "honey_acacia"}]), "/added/0/amount", ""),
        (changed("added", 0, "amount", to="250"), "/added/0/amount", "unit"),
        (changed("added", 0, "ingredient", to="hony"), "/added/0/ingredient", "honey"),
        (changed("added", 0, "lot", to="base"), "/added/0/lot", "one of the three"),
        (changed("added", 0, to={"lot": "wine", "amount": "1 L"}), "/added/0/lot", "“base”"),
        (changed("added", 0, to={"lot": "base", "amount": "12 L"}), "/added", "holds 10 L"),
        (changed("added", 0, to={"amount": "1 L"}), "/added/0/ingredient", "one of the three"),
        (changed("added", 0, "amount", to="2 packs"), "/added/0/amount", "pack"),
        (changed("lots", 0, "name", to="drink in the vessel"), "/lots/0/name", "rename"),
        (changed("targets", to=None), "/targets", "at least one target"),
        (changed("portions", to=[]), "/portions", ""),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(body: dict[str, Any], pointer: str, words: str) -> None:
    found = faults(body)
    assert pointer in found
    assert words in found[pointer]


def test_an_empty_vessel_is_refused() -> None:
    body = changed("lots", 0, "use", to={"max": "5 L"})
    body["added"] = []
    assert "Nothing is in the vessel yet" in faults(body)["/added"]


def test_an_error_is_given_once() -> None:
    body = changed("measured", to={"volume": "10.2 L ± 0.1 L"})
    assert post(PATH, body)["readings"][0]["error"] == pytest.approx(0.1)
    body["errors"] = {"volume": "0.1 L"}
    assert "give it once" in faults(body)["/measured/volume"]


@pytest.mark.parametrize(
    ("measured", "errors", "error"),
    [
        ({"gravity": 1.006}, {}, 0.001),
        ({"gravity": 1.006}, {"gravity": 0.0005}, 0.0005),
        ({"volume": "10.2 L"}, {"volume": "1 %"}, 0.102),
        ({"volume": "10.2 L"}, {}, 0.204),
        ({"titratable_acidity": "5 g/L tartaric"}, {"titratable_acidity": "0.2 g/L tartaric"}, 0.2),
        ({"titratable_acidity": "5 g/L tartaric ± 0.3 g/L tartaric"}, {}, 0.3),
        ({"refractometer": "4.1 Bx ± 0.1 Bx"}, {}, 0.1),
        ({"refractometer": "4.1 Bx"}, {}, 0.2),
        ({"abv_percent": 7.8}, {}, 0.25),
    ],
)
def test_the_error_of_a_reading_is_stated_or_the_instruments(
    measured: dict[str, Any], errors: dict[str, Any], error: float
) -> None:
    found = correct(measured=measured, errors=errors)
    assert found["readings"][0]["error"] == pytest.approx(error, rel=1e-2)
    defaults = [a for a in found["assumed"] if a["what"].startswith("error of the")]
    stated = bool(errors) or "±" in str(next(iter(measured.values())))
    assert bool(defaults) is not stated


def test_a_hydrometer_is_corrected_for_its_sample() -> None:
    warm = {"reading": 1.0059, "sample_temperature": "30 C"}
    cold = correct(measured={"gravity": warm})["readings"][0]["measured"]
    assert cold == pytest.approx(1.0059 + 0.0025, abs=0.0006)


def test_packs_are_counted_by_the_addition() -> None:
    additions = [{"ingredient": "honey_acacia", "pack": "125 g", "max_packs": 10}]
    counted = correct(additions=additions, added=[{"ingredient": "honey_acacia", "amount": "2 packs"}])
    weighed = correct(additions=additions, added=[{"ingredient": "honey_acacia", "amount": "250 g"}])
    assert counted["drink"] == weighed["drink"]
    honey = next(a for a in counted["plan"]["amounts"] if a["name"] == "honey_acacia")
    assert honey["packs"] == round(honey["packs"])
    assert honey["packs"] <= 8


def test_an_ingredient_measured_otherwise_is_its_own() -> None:
    same = correct(added=[{"ingredient": "honey_acacia", "amount": "250 g"}])
    own = correct(added=[{"ingredient": "honey_acacia", "measured": {"moisture_percent": 19.0}, "amount": "250 g"}])
    stock = {m["name"]: m["mass_g"] for m in own["plan"]["amounts"]}
    # all of the acacia honey that was meant is still there, and little else sweetens
    assert 0.0 < stock["honey_acacia"] <= 2000.0
    assert own["next"]["added"][0]["measured"] == {"moisture_percent": 19.0}
    assert own["drink"]["gravity"]["value"] != same["drink"]["gravity"]["value"]


def test_several_stocks_of_one_ingredient_are_told_apart() -> None:
    additions = [
        {"ingredient": "lemon_juice_fresh", "max": "1 L", "measured": {"titratable_acidity": f"{acid} g/L citric"}}
        for acid in (45, 55)
    ]
    body = changed("additions", to=[*BASE["additions"][:1], *additions])
    body["added"] = [{"ingredient": "lemon_juice_fresh", "amount": "100 g"}]
    assert "repeat the measured" in faults(body)["/added/0/measured"]
    body["added"][0]["measured"] = {"titratable_acidity": "55 g/L citric"}
    assert post(PATH, body)["outcome"] == "targets_met"


MEASURED = [path for path in examples("correct_blend") if "fault" not in worked(path)["request"]]


@pytest.mark.parametrize("path", MEASURED, ids=lambda path: path.stem)
def test_the_next_request_is_answered_once_it_is_measured(path: Path) -> None:
    asked = worked(path)["request"]
    first = post(PATH, asked)
    following = first["next"]
    assert "measured" not in following
    assert following["added"][: len(asked["added"])] == asked["added"]
    predicted = first["plan"]["predicted"]
    gravity = predicted["gravity"]["value"]
    again = post(PATH, {**following, "measured": {"gravity": gravity}})
    if first["outcome"] == "targets_met" and first["consistency"]["verdict"] == "consistent":
        assert again["drink"]["gravity"]["value"] == pytest.approx(gravity, abs=0.0006)
        assert again["consistency"]["verdict"] == "consistent"


def test_the_demo_finds_the_sour_lemon_juice_and_comes_back_on_target() -> None:
    found = post(PATH, example("correct_blend", "01"))
    (lemon,) = [u for u in found["updated"] if (u["of"], u["what"]) == ("lemon_juice_fresh", "acidity")]
    assert lemon["now"]["value"] > 1.08 * lemon["before"]["value"]
    assert lemon["now"]["high"] == pytest.approx(1.2 * 4.6, abs=0.15)
    assert found["drink"]["titratable_acidity"]["value"] > 7.3
    assert found["outcome"] == "targets_met"
    assert found["plan"]["predicted"]["titratable_acidity"]["value"] == pytest.approx(7.0, abs=0.1)


def test_the_demo_names_the_misread_volume() -> None:
    found = post(PATH, example("correct_blend", "03"))
    culprit = found["consistency"]["culprits"][0]
    assert (culprit["kind"], culprit["of"]) == ("volume", "dry base")
    assert culprit["probably"] == pytest.approx(21.5, abs=0.3)
    assert codes(found)["readings_do_not_fit"] == "stop"
    assert found["cautions"][0]["level"] == "stop"


def test_the_row_has_everything_in_one_line() -> None:
    body = example("correct_blend", "03")
    (row,) = csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text))
    assert row["readings_fit"] == "inconsistent"
    assert "dry base" in row["likeliest_culprit"]
    assert float(row["gravity_measured"]) == pytest.approx(1.0134)
    assert float(row["now_gravity"]) < float(row["gravity_measured"])
    columns = list(row)
    assert columns.index("stop") < columns.index("now_gravity") < columns.index("drink in the vessel_mass_g")


def test_the_table_says_it_in_words() -> None:
    status, body = answer_file(EXAMPLES / "correct_blend" / "01_lemon_more_acid_than_assumed.json", None)
    assert status == 200
    text = " ".join(table(body).split())
    for words in ("Read in the vessel:", "lemon juice: acidity probably", "Cannot be undone:", "drink in the vessel"):
        assert words in text
    status, body = answer_file(EXAMPLES / "correct_blend" / "05_refused_readings.json", None)
    assert status == 422
    assert "wet base" in table(body)


def test_the_document_shows_the_operation() -> None:
    document = app().get("/v1/openapi.json").json()
    operation = document["paths"][PATH]["post"]
    assert operation["operationId"] == "correct_blend"
    assert len(operation["requestBody"]["content"]["application/json"]["examples"]) == len(
        list((EXAMPLES / "correct_blend").iterdir())
    )


_READ = st.fixed_dictionaries(
    {},
    optional={
        "gravity": st.floats(0.7, 1.6),
        "abv_percent": st.floats(0.0, 100.0),
        "titratable_acidity": st.floats(0.0, 80.0).map(lambda v: f"{v:.3f} g/L tartaric"),
        "ph": st.floats(0.1, 13.9),
        "volume": st.floats(0.0, 1000.0).map(lambda v: f"{v:.3f} L"),
        "refractometer": st.floats(-5.0, 90.0).map(lambda v: f"{v:.2f} Bx"),
    },
)
_ADDED = st.lists(
    st.sampled_from(
        ["honey_acacia", "lemon_juice_fresh", "sugar_white", "potassium_bicarbonate", "neutral_spirit_96"]
    ).flatmap(lambda name: st.floats(0.0, 3000.0).map(lambda g: {"ingredient": name, "amount": f"{g:.3f} g"})),
    max_size=4,
)


@given(measured=_READ, added=_ADDED)
@settings(deadline=None, max_examples=40)
def test_any_readings_are_answered_or_refused(measured: dict[str, Any], added: list[dict[str, Any]]) -> None:
    response = app().post(PATH, json={**BASE, "measured": measured, "added": added})
    assert response.status_code in (200, 422), response.text
    json.dumps(response.json(), allow_nan=False)
    if response.status_code == 200:
        answer = response.json()
        assert answer["outcome"] in {
            "nothing_to_add",
            "targets_met",
            "nearest_measurable",
            "targets_clash",
            "no_plan_found",
        }
        for found in answer["updated"]:
            assert found["now"]["low"] <= found["now"]["value"] <= found["now"]["high"]
        assert table(answer)
    else:
        assert all(error["detail"] for error in response.json()["errors"])
