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
        (changed("measured", "gravity", to=0.8), "/measured/gravity", "of 7.9 % vol lies between 0.970 and 1.200"),
        (changed("measured", "gravity", to=1.3), "/measured/gravity", "lies between 0.970 and 1.200"),
        (
            changed("measured", "titratable_acidity", to="0 g/L tartaric"),
            "/measured/titratable_acidity",
            "titrate again",
        ),
        (changed("lost", to="0 L"), "/lost", "above zero"),
        (changed("lost", to="0.5"), "/lost", "unit"),
        (changed("lost", to="12 L"), "/lost", "cannot have been lost of 10.17 L"),
        (changed("earlier", to=[{"measured": {"gravity": 0.8}}]), "/earlier/0/measured/gravity", "lies between"),
        (changed("earlier", to=[{"errors": {"ph": 0.05}}]), "/earlier/0/errors/ph", "no such reading"),
        (changed("earlier", to=[{"added": [{"lot": "x", "amount": "1 L"}]}]), "/earlier/0/added/0/lot", "“base”"),
        (changed("earlier", to=[{"lost": "11 L"}]), "/earlier/0/lost", "cannot have been lost of 10 L"),
        (changed("added", to=BASE["added"] * 51), "/added", "50"),
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


def test_what_was_measured_when_it_was_poured_is_the_stock_that_is_left() -> None:
    """One stock: its limit counts, its reading holds for the rest, and there is no second one."""
    additions = [BASE["additions"][0], {"ingredient": "lemon_juice", "max": "300 mL", "treatment": "pasteurised"}]
    poured = {"ingredient": "lemon_juice_fresh", "amount": "250 mL", "measured": {"titratable_acidity": "5.5 % citric"}}
    found = post(
        PATH,
        {
            **BASE,
            "additions": additions,
            "added": [{"ingredient": "honey_acacia", "amount": "400 g"}, poured],
            "measured": {"gravity": 1.0105, "titratable_acidity": "6.4 g/L tartaric"},
            "targets": {"titratable_acidity": {"min": "7.5 g/L tartaric"}, "gravity": {"min": 1.01, "max": 1.014}},
        },
    )
    amounts = {a["name"]: a for a in found["plan"]["amounts"]}
    assert set(amounts) == {"drink in the vessel", "honey_acacia", "lemon_juice_fresh"}
    assert amounts["lemon_juice_fresh"]["volume_ml"] == pytest.approx(50.0, rel=0.01)
    following = found["next"]["correct_blend"]["request"]
    lemon = following["additions"][1]
    assert lemon["measured"] == {"titratable_acidity": "5.5 % citric"}
    assert {u["of"] for u in found["updated"]} <= {"base", "honey_acacia", "lemon_juice_fresh"}
    assert post(PATH, {**following, "measured": {"gravity": 1.011}})["plan"]["amounts"]


def test_an_ingredient_measured_otherwise_than_its_stock_is_its_own() -> None:
    additions = [{**BASE["additions"][0], "measured": {"moisture_percent": 17.0}}, BASE["additions"][1]]
    poured = {"ingredient": "honey_acacia", "measured": {"moisture_percent": 19.0}, "amount": "250 g"}
    own = correct(additions=additions, added=[poured])
    same = correct(additions=additions, added=[{"ingredient": "honey_acacia", "amount": "250 g"}])
    following = own["next"]["correct_blend"]["request"]
    assert following["earlier"][0]["added"][0]["measured"] == {"moisture_percent": 19.0}
    assert following["added"][0]["measured"] == {"moisture_percent": 17.0}
    assert own["drink"]["gravity"]["value"] != same["drink"]["gravity"]["value"]


def test_a_reading_of_what_was_poured_that_cannot_be_read_is_refused_where_it_stands() -> None:
    body = changed("added", 0, "measured", to={"titratable_acidity": "sour"})
    assert list(faults(body)) == ["/added/0/measured/titratable_acidity"]


def test_alike_stocks_are_used_up_one_after_the_other() -> None:
    lemon = {"ingredient": "lemon_juice_fresh", "max": "300 mL", "treatment": "pasteurised"}
    found = correct(
        additions=[BASE["additions"][0], lemon, {**lemon, "price": {"amount": 2.0, "per": "1 L"}}],
        added=[{"ingredient": "lemon_juice_fresh", "amount": "500 mL"}],
        measured={"gravity": 1.0},
        targets={"titratable_acidity": {"min": "12 g/L tartaric"}},
        currency="EUR",
    )
    left = sum(a["volume_ml"] for a in found["plan"]["amounts"] if a["name"].startswith("lemon"))
    assert left == pytest.approx(100.0, rel=0.01)
    assert "more_than_meant" not in codes(found)


def test_what_is_poured_keeps_how_it_was_treated() -> None:
    raw = {"ingredient": "lemon_juice_fresh", "amount": "200 mL", "treatment": "raw"}
    assert "raw_juice" in codes(correct(added=[raw], targets={"gravity": {"max": 1.02}}))
    assert "raw_juice" not in codes(correct(added=[{**raw, "treatment": "pasteurised"}]))
    both = [raw, {**raw, "treatment": "pasteurised"}]
    assert "raw_juice" in codes(correct(added=both, targets={"gravity": {"max": 1.02}}))


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
    # one of them unmeasured is that one, and what is measured as neither could be either
    del body["additions"][1]["measured"], body["added"][0]["measured"]
    assert post(PATH, body)["outcome"] == "targets_met"
    body["added"][0]["measured"] = {"titratable_acidity": "50 g/L citric"}
    assert "repeat the measured" in faults(body)["/added/0/measured"]


def test_the_next_request_names_the_stock_that_it_takes_from() -> None:
    honey = BASE["additions"][0]
    found = correct(
        additions=[{**honey, "max": "50 g", "measured": {"moisture_percent": 16.0}}, honey, BASE["additions"][1]],
        added=[{"ingredient": "lemon_juice_fresh", "amount": "200 mL"}],
        measured={"gravity": 1.0},
    )
    following = found["next"]["correct_blend"]["request"]["added"]
    assert [a.get("measured") for a in following if a["ingredient"] == "honey_acacia"] == [
        None,
        {"moisture_percent": 16.0},
    ]
    again = post(PATH, {**found["next"]["correct_blend"]["request"], "measured": {"gravity": 1.012}})
    assert again["outcome"] in ("targets_met", "nothing_to_add")
    left = {a["name"]: a["mass_g"] for a in again["plan"]["amounts"]}
    assert left.get("honey_acacia 2", 0.0) == 0.0


MEASURED = [path for path in examples("correct_blend") if "fault" not in worked(path)["request"]]


@pytest.mark.parametrize("path", MEASURED, ids=lambda path: path.stem)
def test_the_next_request_is_answered_once_it_is_measured(path: Path) -> None:
    asked = worked(path)["request"]
    first = post(PATH, asked)
    call = first["next"]["correct_blend"]
    following = call["request"]
    assert not {"errors", "lost"} & set(following)
    assert set(call["replace"]) == {f"/measured/{name}" for name in following["measured"]}
    kept = {key: asked[key] for key in ("added", "measured", "errors", "lost") if key in asked}
    assert following["earlier"] == [kept]
    predicted = first["plan"]["predicted"]
    gravity = predicted["gravity"]["value"]
    again = post(PATH, {**following, "measured": {"gravity": gravity}})
    assert [r["property"] for r in again["earlier_readings"]] == [r["property"] for r in first["readings"]]
    whole = "hold_back" not in asked  # else `added` is the first addition, not the plan
    if whole and first["outcome"] == "targets_met" and first["consistency"]["verdict"] == "consistent":
        acidity = [answer["titratable_acidity"]["value"] for answer in (predicted, again["drink"])]
        assert acidity[1] == pytest.approx(acidity[0], abs=0.02)
        assert again["drink"]["gravity"]["value"] == pytest.approx(gravity, abs=0.0006)
        assert again["consistency"]["verdict"] == "consistent"


def test_a_loss_is_told_and_taken_off() -> None:
    read = {"gravity": 1.0059, "volume": "9.3 L"}
    unsaid = correct(measured=read)
    (gone, *_) = unsaid["consistency"]["culprits"]
    assert (gone["kind"], gone["unit"]) == ("loss", "L")
    assert gone["told"] - gone["probably"] == pytest.approx(0.87, abs=0.1)
    told = correct(measured=read, lost="0.9 L ± 0.1 L")
    assert told["consistency"]["verdict"] == "consistent"
    assert told["drink"]["volume"]["value"] == pytest.approx(9.3, abs=0.05)
    honey = [next(a["mass_g"] for a in f["plan"]["amounts"] if a["name"] == "honey_acacia") for f in (told, correct())]
    assert honey[0] == pytest.approx(honey[1] * 9.3 / 10.18, rel=0.03)
    assert told["next"]["correct_blend"]["request"]["earlier"][0]["lost"] == "0.9 L ± 0.1 L"
    fault = {**BASE, "fault": "too_sweet", "lost": "0.9 L"}
    del fault["measured"]
    assert "beside a reading" in faults(fault)["/lost"]


def test_errors_without_readings_are_refused_with_a_fault_in_words_too() -> None:
    assert "no such reading" in faults({"fault": "too_sweet", "errors": {"gravity": 0.001}})["/errors/gravity"]
    assert "what was in the vessel" in faults({"fault": "too_sweet", "lost": "1 L"})["/lost"]
    assert post(PATH, {"fault": "too_sweet"})["fault"] == "too_sweet"


def test_an_error_below_what_counts_is_told() -> None:
    found = correct(errors={"gravity": 1e-12})
    assert found["readings"][0]["error"] == pytest.approx(1e-5)
    (told,) = [a for a in found["assumed"] if a["what"] == "error of the gravity read"]
    assert (told["value"], told["source"]) == ("0.00001", "our default")


def test_the_document_takes_no_more_than_the_service() -> None:
    document = app().get("/v1/openapi.json").json()["components"]["schemas"]
    most = app().get("/v1/limits").json()["max_list_items"]
    for name, fields in (("CorrectionRequest", ("added", "earlier", "lots", "additions")), ("EarlierIn", ("added",))):
        for field in fields:
            assert document[name]["properties"][field]["maxItems"] <= most


def test_the_demo_finds_the_sour_lemon_juice_and_comes_back_on_target() -> None:
    found = post(PATH, example("correct_blend", "01"))
    (lemon,) = [u for u in found["updated"] if (u["of"], u["what"]) == ("lemon_juice_fresh", "acidity")]
    assert lemon["now"]["value"] > 1.08 * lemon["before"]["value"]
    assert lemon["now"]["high"] > lemon["before"]["high"]
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
