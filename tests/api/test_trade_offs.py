"""`POST /v1/trade-offs` over HTTP: every pair of properties, what is refused and where, and its table."""

from __future__ import annotations

import csv
import io
from itertools import pairwise
from time import process_time
from typing import Any, get_args

import pytest

from service.api.requests import PropertyName
from service.api.settings import Settings
from tests.api.real import EXAMPLES, PATHS, app, example, post, worked
from tests.planner.trade_off_cases import LOT, ORANGE, trade

PATH = PATHS["trade_off"]
NAMES: tuple[str, ...] = get_args(PropertyName)
SMALL = {
    **ORANGE,
    "additions": [a for a in ORANGE["additions"] if a["ingredient"] in ("honey_acacia", "lemon_juice_fresh")],
    "points": 3,
}
"""A request that is answered quickly."""


def faults(**changed: Any) -> dict[str, str]:
    """What is refused in the small request with some fields changed, by pointer."""
    body = {key: value for key, value in {**SMALL, **changed}.items() if value is not None}
    return {fault["pointer"]: fault["detail"] for fault in post(PATH, body, 422)["errors"]}


def pair_is_answered(x: str, y: str) -> None:
    """A curve from the least to the most of x, or one point; and a refusal where there is nothing to trade."""
    begun = process_time()
    response = app().post(PATH, json={**SMALL, "x": x, "y": y})
    assert process_time() - begun < Settings().deadline_s + 1.0, (x, y)
    answer = response.json()
    if x == y:
        assert response.status_code == 422
        assert [fault["pointer"] for fault in answer["errors"]] == ["/x"]
        return
    assert response.status_code == 200, (x, y, response.text)
    assert (answer["x"]["property"], answer["y"]["property"]) == (x, y)
    assert answer["outcome"] == "curve", (x, y, answer["summary"])
    levels = [point["x"] for point in answer["points"]]
    assert 2 <= len(levels) <= 3
    assert all(a < b for a, b in pairwise(levels)), (x, y, levels)


@pytest.mark.parametrize("x", NAMES)
def test_pairs_of_properties_are_answered(x: str) -> None:
    at = NAMES.index(x)
    for shift in (0, 1, 5, 11):  # every property is the second one of three
        pair_is_answered(x, NAMES[(at + shift) % len(NAMES)])


@pytest.mark.slow
@pytest.mark.parametrize("x", NAMES)
def test_all_pairs_of_properties_are_answered(x: str) -> None:
    for y in NAMES:
        pair_is_answered(x, y)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("prefer", [{"maximise": "citrus_percent"}]),
        ("rounding", "scale"),
        ("portions", [{"name": "sharp", "volume": "10 L"}]),
    ],
)
def test_parts_of_a_plan_request_are_refused_by_name(name: str, value: Any) -> None:
    ((pointer, detail),) = faults(**{name: value}).items()
    assert pointer == f"/{name}"
    assert f'"{name}"' in detail


@pytest.mark.parametrize(
    ("changed", "pointer", "words"),
    [
        ({"x": "citrus_percent"}, "/x", "Two different properties"),
        ({"x": "cost", "y": {"minimise": "cost"}}, "/x", "Two different properties"),
        ({"y": {}}, "/y", "Name one property"),
        ({"y": {"maximise": "volume", "minimise": "cost"}}, "/y", "Name one property"),
        ({"x": "sweetness"}, "/x", "sucrose_equivalent_g_per_l"),
        ({"y": "taste"}, "/y", "citrus_percent"),
        ({"also": "aroma"}, "/also", "abv_percent"),
        ({"points": "12"}, "/points", "without quotes"),
        ({"points": 1}, "/points", ""),
        ({"points": 61}, "/points", "60"),
        ({"lots": [], "additions": []}, "/lots", "at least one lot"),
    ],
)
def test_what_cannot_be_traded_is_refused_at_its_place(changed: Any, pointer: str, words: str) -> None:
    found = faults(**changed)
    assert set(found) == {pointer}
    assert words in found[pointer]


def test_what_the_materials_lack_is_refused_at_its_axis() -> None:
    free = [{"ingredient": "honey_acacia", "max": "3 kg"}]
    assert set(faults(x="cost", additions=free)) == {"/x"}
    assert set(faults(y="cost", additions=free)) == {"/y"}
    dry = [{"ingredient": "sugar_white", "max": "3 kg"}]
    assert set(faults(x="added_volume", additions=dry)) == {"/x"}
    assert set(faults(y="added_volume", additions=dry)) == {"/y"}
    nothing_sour: dict[str, Any] = {"lots": [], "targets": {"volume": "2 L"}, "titration_end_point_ph": None}
    water = [{"ingredient": "water_deionised", "max": "5 L"}, *dry]
    assert set(faults(x="ph", **nothing_sour, additions=water)) == {"/x"}
    assert set(faults(y="ph", **nothing_sour, additions=water)) == {"/y"}


def test_levels_of_an_amount_need_to_know_how_much_is_made() -> None:
    lot = {**LOT, "use": {"min": "0 L", "max": "24 L"}}
    targets = {k: v for k, v in SMALL["targets"].items() if k != "volume"}
    assert set(faults(lots=[lot], targets=targets, x="added_mass")) == {"/targets/volume"}
    assert set(faults(lots=[lot], targets=targets, y="cost")) == {"/targets/volume"}


def test_a_target_on_either_property_is_a_range() -> None:
    wide = trade(ORANGE, x="gravity", points=4)
    for target, ends in (
        ({"min": 1.01, "max": 1.02}, (1.01, 1.02)),
        ({"value": 1.012, "tolerance": 0.004}, (1.008, 1.016)),
        (1.012, (1.0115, 1.0125)),  # half an instrument step to either side
    ):
        answer = trade(ORANGE, x="gravity", points=4, targets={**ORANGE["targets"], "gravity": target})
        assert (answer["points"][0]["x"], answer["points"][-1]["x"]) == pytest.approx(ends, abs=1e-6)
    least = {**ORANGE["targets"], "citrus_percent": {"value": 25.0, "tolerance": 5.0}}
    answer = trade(ORANGE, x="gravity", points=4, targets=least)
    assert min(p["y"] for p in answer["points"]) == pytest.approx(20.0, abs=1e-2)
    assert max(p["y"] for p in answer["points"]) == pytest.approx(30.0, abs=1e-2)
    assert wide["points"][0]["x"] < 1.0 < 1.05 < wide["points"][-1]["x"]


def test_targets_that_leave_nothing_or_one_point() -> None:
    alone = trade(SMALL, additions=[], targets={})
    assert (alone["outcome"], len(alone["points"]), alone["best"]) == ("one_point", 1, 0)
    assert (alone["ends"], alone["points"][0]["marks"]) == ([], ["best"])
    clash = trade(SMALL, targets={"volume": {"min": "60 L"}})
    assert (clash["outcome"], clash["points"], clash["best"]) == ("targets_clash", [], None)
    assert clash["clash"] is not None


def test_an_addition_without_a_limit_is_no_end() -> None:
    answer = trade(SMALL, additions=[{"ingredient": "honey_acacia"}], targets={}, y="gravity")
    assert "no limit" in answer["ends"][1]["text"]
    assert answer["points"][-1]["proof"]["verdict"] == "best_found"


def test_a_third_property_is_shown_along_the_curve() -> None:
    answer = trade(ORANGE, also="cost", points=6)
    assert (answer["also"]["property"], answer["also"]["wish"]) == ("cost", "shown")
    for point in answer["points"]:
        assert point["also"] == pytest.approx(sum(a["cost"] or 0.0 for a in point["amounts"]), abs=0.01)
    assert trade(ORANGE, points=6)["also"] is None


def test_the_table_has_a_row_for_each_point() -> None:
    body = {**ORANGE, "points": 6, "also": "ph", "batch": "orchard 7"}
    answer = post(PATH, body)
    response = app().post(f"{PATH}.csv", json=body)
    assert response.headers["content-type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(response.text)))
    assert len(rows) == len(answer["points"])
    for row, point in zip(rows, answer["points"], strict=True):
        assert float(row["x_sucrose_equivalent_g_per_l"]) == point["x"]
        assert float(row["y_citrus_percent"]) == point["y"]
        assert float(row["also"]) == point["also"]
        assert row["marks"].split() == point["marks"]
        assert row["batch"] == "orchard 7"
        for amount in point["amounts"]:
            assert float(row[f"{amount['name']}_mass_g"]) == amount["mass_g"]


def test_a_table_without_points_says_why() -> None:
    body = {**SMALL, "targets": {"volume": {"min": "60 L"}}}
    (row,) = csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text))
    assert row["outcome"] == "targets_clash"
    assert row["summary"] == post(PATH, body)["summary"]


def test_both_ways_to_ask_for_the_second_property_are_one() -> None:
    assert trade(ORANGE, y={"minimise": "cost"}, points=4) == trade(ORANGE, y="cost", points=4)
    most, least = (trade(ORANGE, y={way: "citrus_percent"}, points=4) for way in ("maximise", "minimise"))
    assert most == trade(ORANGE, points=4)
    assert least["points"][least["best"]]["y"] == 0.0 < most["points"][most["best"]]["y"]


def test_the_examples_show_each_kind_of_answer() -> None:
    found = {path.name[:2]: worked(path)["response"]["body"] for path in sorted((EXAMPLES / "trade_off").glob("*"))}
    assert {start: body.get("outcome") for start, body in found.items()} == {
        "01": "curve",
        "02": "curve",
        "03": "targets_clash",
        "04": None,
    }
    assert found["04"]["errors"][0]["pointer"] == "/x"
    assert "cost" in (found["02"]["x"]["property"], found["02"]["y"]["property"])
    demo = example("trade_off", "01")
    assert [a["ingredient"] for a in demo["additions"]] == [a["ingredient"] for a in ORANGE["additions"]]


def test_every_point_carries_its_own_stop() -> None:
    """A bottle without a hurdle: each point's stop is what the same amounts get as a plan."""
    body = {**SMALL, "points": 6, "intended": {"container": "bottle", "hurdles": []}}
    answer = post(PATH, body)
    rows = list(csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text)))
    assert len(rows) == len(answer["points"])
    stopped = 0
    for point, row in zip(answer["points"], rows, strict=True):
        recipe = {
            "name": "point",
            "lots": body["lots"],
            "additions": [
                {"ingredient": a["name"], "amount": f"{a['mass_g']} g"}
                for a in point["amounts"]
                if a["kind"] == "addition" and a["mass_g"] > 0.0
            ],
        }
        forecast = post("/v1/blend-forecasts", {"recipes": [recipe], "intended": body["intended"]})
        stops = {c["code"] for c in forecast["cautions"] if c["level"] == "stop"}
        assert bool(point["stops"]) is bool(stops)
        assert row["stop"] == " | ".join(point["stops"])
        stopped += bool(stops)
    assert stopped > 2
    told = [c for c in answer["cautions"] if c["level"] == "stop" and c["about"]]
    assert told
    assert all(c["about"] == "every point" or c["about"].startswith("point") for c in told)


def test_recipes_that_no_target_steps_from_are_refused() -> None:
    recipe = {"name": "last year", "lots": SMALL["lots"], "additions": []}
    assert list(faults(recipes=[recipe])) == ["/recipes"]
