"""`POST /v1/corrections` with a fault: shape, refusals, and its twins."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.command import table
from tests.api.real import PATHS, app, example, post

PATH = PATHS["correct_blend"]
DRINK: dict[str, Any] = {
    "name": "cherry",
    "volume": "24 L",
    "gravity": 1.035,
    "abv_percent": 6.2,
    "titratable_acidity": "6.5 g/L tartaric",
    "ph": 3.4,
}
DRY: dict[str, Any] = {
    "name": "dry base",
    "volume": "10 L",
    "gravity": 0.998,
    "abv_percent": 8.1,
    "use": {"max": "8 L"},
}
SWEET: dict[str, Any] = {"fault": "too_sweet", "lots": [DRINK], "targets": {"gravity": 1.028}}
BASE: dict[str, Any] = {**DRINK, "name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8.0}
RECIPE: dict[str, Any] = {
    "fault": "wrong_amount",
    "lots": [BASE],
    "additions": [
        {"ingredient": "honey", "amount": "1.5 kg"},
        {"ingredient": "lemon_juice_concentrate", "amount": "150 g"},
    ],
}
ADDED = [{"ingredient": "honey", "amount": "1.8 kg"}, {"ingredient": "lemon_juice_concentrate", "amount": "150 g"}]
FAULTS = ("too_sweet", "too_sour", "too_strong", "too_weak", "over_sulfited", "haze_lost", "wrong_amount")


def options(body: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {option["name"]: option for option in post(PATH, body)["options"]}


def faults(body: Any) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(PATH, body, 422)["errors"]}


def test_a_lot_used_whole_is_the_drink_and_another_is_at_hand() -> None:
    found = options({**SWEET, "lots": [DRINK, DRY]})
    drier = found["drier_lot: dry base"]
    # 24·(1.035 − 1.028)/(1.028 − 0.998) = 5.6 L (alligation; common practice, no source)
    assert drier["amounts"][0]["volume_ml"] == pytest.approx(5600.0, rel=0.01)
    assert drier["possible"] == "yes"
    little = options({**SWEET, "lots": [DRINK, {**DRY, "use": {"max": "3 L"}}]})["drier_lot: dry base"]
    assert (little["possible"], little["amounts"][0]["volume_ml"]) == ("partly", pytest.approx(3000.0))


def test_readings_of_the_drink_are_heeded() -> None:
    answer = post(PATH, {**SWEET, "measured": {"gravity": 1.0354, "volume": "23.6 L ± 0.1 L"}})
    assert answer["consistency"]["verdict"] == "consistent"
    # the volume is nearly that of the sharper reading
    assert answer["now"]["volume"]["value"] == pytest.approx(23.6, abs=0.1)
    assert post(PATH, SWEET)["consistency"] is None
    far = post(PATH, {**SWEET, "measured": {"gravity": 1.060}})
    assert far["cautions"][0]["code"] == "readings_do_not_fit"
    doubtful = post(PATH, {**SWEET, "measured": {"gravity": 1.0385}})
    assert "readings_hardly_fit" in {c["code"] for c in doubtful["cautions"]}


def test_the_recipe_with_one_amount_wrong_in_three_ways_of_saying() -> None:
    said = [
        {**RECIPE, "mistake": {"ingredient": "honey", "added": "1.8 kg"}},
        {**RECIPE, "mistake": {"ingredient": "honey", "meant": "1.5 kg", "added": "1.8 kg"}},
        {**RECIPE, "added": ADDED},
    ]
    answers = [post(PATH, body) for body in said]
    assert answers[0]["options"] == answers[1]["options"] == answers[2]["options"]
    exact = next(o for o in answers[0]["options"] if o["name"] == "make_everything_up")
    # a fifth more of everything else
    assert {a["name"]: a["mass_g"] for a in exact["amounts"]}["lemon_juice_concentrate_400"] == pytest.approx(30.0)


def test_an_amount_by_volume_is_the_same_amount() -> None:
    # honey of 17.1 % moisture is 1.42 g/mL (White, 1975): 1 L of it for 1.42 kg
    body = {**RECIPE, "mistake": {"ingredient": "honey", "added": "1.8 kg", "meant": "1 L"}}
    exact = options(body)["make_everything_up"]
    lemon = {a["name"]: a["mass_g"] for a in exact["amounts"]}["lemon_juice_concentrate_400"]
    assert lemon == pytest.approx(150.0 * (1800.0 / 1420.0 - 1.0), rel=0.03)


def test_a_lot_poured_too_much() -> None:
    body = {
        **RECIPE,
        "mistake": {"lot": "base", "meant": "16 L"},
        "added": [{"ingredient": "honey", "amount": "1.5 kg"}],
    }
    exact = options(body)["make_everything_up"]
    assert {a["name"]: a["mass_g"] for a in exact["amounts"]} == pytest.approx({"honey_average": 375.0})


def test_a_part_of_a_lot_that_was_poured_wrong() -> None:
    second = {**BASE, "name": "second", "volume": "10 L", "gravity": 1.030, "use": {"min": "2 L", "max": "2 L"}}
    body = {**RECIPE, "lots": [BASE, second], "mistake": {"lot": "second", "meant": "2 L", "added": "3 L"}}
    answer = post(PATH, body)
    exact = next(o for o in answer["options"] if o["name"] == "make_everything_up")
    # half as much again of everything else
    found = {a["name"]: a for a in exact["amounts"]}
    assert found["honey_average"]["mass_g"] == pytest.approx(750.0)
    assert found["base"]["volume_ml"] == pytest.approx(10_000.0)
    assert "second" not in found
    # the one amount of the recipe is what was meant, and another lot of one amount went in by it
    unsaid = post(PATH, {**body, "mistake": {"lot": "second", "added": "3 L"}})
    assert unsaid["options"] == answer["options"]
    honey = {**RECIPE, "lots": [BASE, second], "mistake": {"ingredient": "honey", "added": "1.8 kg"}}
    more = {a["name"]: a["volume_ml"] for a in options(honey)["make_everything_up"]["amounts"]}
    assert more["second"] == pytest.approx(0.2 * 2000.0)


def test_an_addition_with_limits_that_was_poured_wrong() -> None:
    recipe = {
        **RECIPE,
        "additions": [
            {"ingredient": "honey", "max": "3 kg"},
            {"ingredient": "lemon_juice_concentrate", "amount": "150 g"},
        ],
        "mistake": {"ingredient": "honey", "meant": "1.5 kg", "added": "1.8 kg"},
    }
    exact = options(recipe)["make_everything_up"]
    assert {a["name"]: a["mass_g"] for a in exact["amounts"]}["lemon_juice_concentrate_400"] == pytest.approx(30.0)


def test_sulfite_by_readings_or_by_what_went_in() -> None:
    drink = {"fault": "over_sulfited", "lots": [DRINK]}
    read = post(PATH, {**drink, "free_so2_now": "90 mg/L", "total_so2_now": "260 mg/L", "market": "eu"})
    assert read["sulfite"]["so2"]["total_mg_per_l"] == 260.0
    assert read["cautions"][0]["code"] == "total_so2_over_limit"
    # 12 g at 57 % in 24 L
    weighed = post(PATH, {**drink, "metabisulfite_added": {"amount": "12 g"}})
    assert weighed["sulfite"]["so2"]["total_mg_per_l"] == pytest.approx(285.0, abs=0.1)
    unread = post(PATH, drink)
    assert unread["sulfite"] is None
    assert unread["next_reading"][0]["do"].startswith("read free and total SO2")


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_alone_is_answered_in_words(fault: str) -> None:
    answer = post(PATH, {"fault": fault, "batch": "orchard 7", "units": "us"})
    assert (answer["now"], answer["batch"], answer["units"]) == (None, "orchard 7", "us")
    assert all(o["amounts"] == [] and o["limit"] for o in answer["options"])
    assert answer["cannot_be_undone"]


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({"fault": "too_dry"}, "/fault", "too_sweet"),
        ({**SWEET, "lots": []}, "/lots", "Name the drink"),
        ({**SWEET, "targets": {"gravity": 1.04}}, "/targets/gravity", "not too sweet"),
        ({**SWEET, "targets": {"gravity": {"min": 1.0}}}, "/targets/gravity", "a max"),
        (
            {**SWEET, "targets": {"gravity": {"max": 1.028, "confidence": 0.95}}},
            "/targets/gravity/confidence",
            "leave confidence out",
        ),
        ({**SWEET, "prefer": [{"maximise": "volume"}]}, "/prefer", "leave prefer out"),
        ({**SWEET, "allow": ["spirit"]}, "/allow", "leave allow out"),
        ({**SWEET, "free_so2_now": "30 mg/L"}, "/free_so2_now", "over_sulfited"),
        ({**SWEET, "mistake": {"ingredient": "honey"}}, "/mistake", "wrong_amount"),
        ({**SWEET, "lots": [{**DRINK, "use": {"max": "5 L"}}]}, "/added", "Nothing is in the vessel"),
        ({**SWEET, "lots": [{**DRINK, "gravity": 1035}]}, "/lots/0/gravity", "1.035"),
        ({"fault": "over_sulfited", "lots": [DRINK], "free_so2_now": "30"}, "/free_so2_now", "unit"),
        (
            {"fault": "over_sulfited", "lots": [DRINK], "free_so2_now": "90 mg/L", "total_so2_now": "60 mg/L"},
            "/free_so2_now",
            "more than",
        ),
        (
            {"fault": "over_sulfited", "lots": [DRINK], "metabisulfite_added": {"amount": "1 tsp"}},
            "/metabisulfite_added/amount",
            "mass",
        ),
        (
            {
                "fault": "over_sulfited",
                "lots": [DRINK],
                "metabisulfite_added": {"amount": "5 g"},
                "total_so2_now": "60 mg/L",
            },
            "/metabisulfite_added",
            "leave out",
        ),
        (RECIPE, "/mistake", "which amount was wrong"),
        ({**RECIPE, "mistake": {"ingredient": "honey"}}, "/mistake/meant", "same amount"),
        ({**RECIPE, "mistake": {"added": "1 kg"}}, "/mistake/ingredient", "one of the two"),
        ({**RECIPE, "mistake": {"ingredient": "hony", "added": "1 kg"}}, "/mistake/ingredient", "honey"),
        ({**RECIPE, "mistake": {"ingredient": "sugar", "added": "1 kg"}}, "/mistake/ingredient", "None of sugar_white"),
        ({**RECIPE, "mistake": {"lot": "wine", "meant": "1 L"}}, "/mistake/lot", "not among the lots"),
        ({**RECIPE, "mistake": {"lot": "base"}}, "/mistake/meant", "how much of the lot"),
        ({**RECIPE, "added": ADDED, "measured": {"gravity": 1.02}}, "/measured", "leave the readings out"),
        ({"fault": "wrong_amount", "mistake": {"ingredient": "honey", "added": "1 kg"}}, "/lots", "recipe"),
        ({"lots": [DRINK], "targets": {"gravity": 1.04}, "measured": {"ph": 3.4}, "market": "us"}, "/market", "fault"),
    ],
)
def test_what_cannot_be_answered_is_refused_in_words(body: dict[str, Any], pointer: str, words: str) -> None:
    found = faults(body)
    assert pointer in found, found
    assert words in found[pointer]


def test_several_faults_of_a_request_are_told_together() -> None:
    body = {**SWEET, "lots": [{**DRINK, "volume": "24"}], "allow": ["spirit"], "mistake": {"lot": "cherry"}}
    assert set(faults(body)) == {"/lots/0/volume", "/allow", "/mistake"}


def test_rows_hold_one_way_each_with_stop_before_amounts() -> None:
    body = {**SWEET, "intended": {"vessel": "25 L"}}
    answer = post(PATH, body)
    rows = list(csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text)))
    assert [row["option"] for row in rows] == [option["name"] for option in answer["options"]]
    columns = list(rows[0])
    assert columns.index("stop") < columns.index("water_tap_mass_g") < columns.index("gravity")
    water = next(row for row in rows if row["option"] == "water")
    assert "overflow" in water["stop"]
    assert float(water["gravity"]) == pytest.approx(1.028, abs=1e-5)
    assert next(row for row in rows if row["option"] == "ferment_on")["gravity"] == ""


@pytest.mark.parametrize("fault", FAULTS)
def test_rows_of_a_fault_alone(fault: str) -> None:
    response = app().post(f"{PATH}.csv", json={"fault": fault})
    assert response.status_code == 200
    assert len(list(csv.DictReader(io.StringIO(response.text)))) >= 3


def test_the_table_for_people_tells_every_way_below_what_stops() -> None:
    answer = post(PATH, {**SWEET, "intended": {"vessel": "25 L"}})
    lines = table(answer).splitlines()
    assert lines[0].startswith("STOP: ")
    text = "\n".join(lines)
    for option in answer["options"]:
        assert f"\n{option['name']} ({option['possible']}" in text
    assert "Cannot be undone:" in text
    assert "5.945 L" in text  # water, as the jug shows it (computed)


def test_examples_of_faults_are_examples_of_each_kind() -> None:
    kinds = {example("correct_blend", start)["fault"] for start in ("10_", "11_", "12_")}
    assert kinds == {"too_sweet", "over_sulfited", "wrong_amount"}


_WORDS: st.SearchStrategy[Any] = st.sampled_from([None, "", "3 mg/L", "nonsense", "12 g", 5, 1.02, -1, {}, [], True])


@given(
    fault=st.sampled_from(FAULTS),
    fields=st.dictionaries(
        st.sampled_from(
            ["mistake", "market", "free_so2_now", "total_so2_now", "temperature", "bound_share", "targets", "added"]
        ),
        _WORDS,
        max_size=3,
    ),
    gravity=st.floats(0.9, 1.3),
    abv=st.floats(0.0, 60.0),
    kind=st.sampled_from(["mead", "citrus_juice", "spirit", "cider_perry"]),
)
@settings(max_examples=120, deadline=None)
def test_nothing_ends_in_a_failure(fault: str, fields: dict[str, Any], gravity: float, abv: float, kind: str) -> None:
    lot = {"name": "x", "volume": "5 L", "gravity": gravity, "abv_percent": abv, "class": kind}
    for lots in ([lot], [DRINK]):
        response = app().post(PATH, json={"fault": fault, "lots": lots, **fields})
        assert response.status_code in (200, 422), response.text
