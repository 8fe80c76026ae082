"""`POST /v1/bench-trials`: requests as makers write them, refusals with their place, rows, table, and what follows."""

from __future__ import annotations

import ast
import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import service
from service.api.command import answer_file, table
from service.api.requests_correction import CorrectionRequest
from tests.api.real import EXAMPLES, PATHS, app, codes, example, examples, forecast, post
from tests.planner.bench_cases import ACID, BLUE, DROPS, LEMON, LOT, SYRUP, YELLOW, body

PATH = PATHS["scale_bench_trial"]


def scale(request: Any, status: int = 200) -> dict[str, Any]:
    """The answer."""
    return post(PATH, request, status)


def one(stock: Any) -> dict[str, Any]:
    """A glass with one stock."""
    return body(stock)


def changed(stock: dict[str, Any], **more: Any) -> dict[str, Any]:
    """A glass with one stock that has some of its fields changed, or taken out."""
    return one({k: v for k, v in {**stock, **more}.items() if v is not None})


SOLUTION = SYRUP["solution"]

REFUSED: dict[str, tuple[dict[str, Any], str]] = {
    "no drops": (changed(LEMON, amount={"drops": 0}), "/glass/stocks/0/amount/drops"),
    "drops below nothing": (changed(LEMON, amount={"drops": -3}), "/glass/stocks/0/amount/drops"),
    "a wavelength that is none": (
        changed(
            YELLOW,
            dye={
                "name": "ours",
                "percent_w_v": 1,
                "absorptivity": [{"wavelength_nm": 10, "e_1_percent_1_cm": 0}],
            },
        ),
        "/glass/stocks/0/dye/absorptivity/0/wavelength_nm",
    ),
    "no depth": (body(YELLOW, glass={"depth_cm": 0}), "/glass/depth_cm"),
    "half a drop": (changed(LEMON, amount={"drops": 1.5}), "/glass/stocks/0/amount/drops"),
    "no drops in a millilitre": (
        changed(LEMON, amount={"drops": 3, "drops_per_ml": 0}),
        "/glass/stocks/0/amount/drops_per_ml",
    ),
    "below nothing": (changed(SYRUP, amount="-1 mL"), "/glass/stocks/0/amount"),
    "nothing": (changed(SYRUP, amount="0 mL"), "/glass/stocks/0/amount"),
    "a bare number": (changed(SYRUP, amount=10), "/glass/stocks/0/amount"),
    "an unknown unit": (changed(SYRUP, amount="10 glugs"), "/glass/stocks/0/amount"),
    "drops as a text": (changed(SYRUP, amount="5 drops"), "/glass/stocks/0/amount"),
    "a dye by the gram": (changed(YELLOW, amount="1 g"), "/glass/stocks/0/amount"),
    "a powder by the millilitre": (
        one({"name": "p", "ingredient": "citric_acid", "amount": "1 mL"}),
        "/glass/stocks/0/amount",
    ),
    "larger than the glass": (changed(SYRUP, amount="101 mL"), "/glass/stocks/0/amount"),
    "a litre into a glass": (changed(SYRUP, amount="1 L"), "/glass/stocks/0/amount"),
    "a glass larger than the batch": (body(SYRUP, base="26 L"), "/glass/base"),
    "no glass": (body(SYRUP, base="0 mL"), "/glass/base"),
    "a glass by the gram": (body(SYRUP, base="100 g"), "/glass/base"),
    "no graduation": (body(SYRUP, glass={"graduation": "0 mL"}), "/glass/graduation"),
    "nothing that it is": (changed(SYRUP, solution=None), "/glass/stocks/0"),
    "two things that it is": (changed(SYRUP, ingredient="honey"), "/glass/stocks/0"),
    "an error larger than the dose": (changed(SYRUP, amount="5 mL ± 50 mL"), "/glass/stocks/0/amount"),
    "no error": (changed(SYRUP, amount="5 mL ± 0 mL"), "/glass/stocks/0/amount"),
    "an error of half the drops": (
        changed(LEMON, amount={"drops": 12, "error_drops": 6}),
        "/glass/stocks/0/amount/error_drops",
    ),
    "a glass that may be empty": (body(SYRUP, base="100 mL ± 80 mL"), "/glass/base"),
    "two stocks of one name": (body(SYRUP, {**ACID, "name": "Syrup"}), "/glass/stocks/1/name"),
    "a stock called like the lot": (changed(SYRUP, name="Base"), "/glass/stocks/0/name"),
    "no strength": (changed(SYRUP, solution={"ingredient": "honey"}), "/glass/stocks/0/solution"),
    "two strengths": (changed(SYRUP, solution={**SOLUTION, "percent_w_v": 10}), "/glass/stocks/0/solution"),
    "parts that are none": (
        changed(SYRUP, solution={**SOLUTION, "by_mass": "half"}),
        "/glass/stocks/0/solution/by_mass",
    ),
    "parts of nothing": (changed(SYRUP, solution={**SOLUTION, "by_mass": "0:1"}), "/glass/stocks/0/solution/by_mass"),
    "dry parts by volume": (
        changed(ACID, solution={"ingredient": "citric_acid", "by_volume": "1:1"}),
        "/glass/stocks/0/solution/by_volume",
    ),
    "more than 100 mL hold": (
        changed(SYRUP, solution={"ingredient": "honey", "percent_w_v": 150}),
        "/glass/stocks/0/solution/percent_w_v",
    ),
    "an unknown solvent": (changed(SYRUP, solution={**SOLUTION, "with": "watr"}), "/glass/stocks/0/solution/with"),
    "a dry solvent": (changed(SYRUP, solution={**SOLUTION, "with": "sugar_white"}), "/glass/stocks/0/solution/with"),
    "an unknown ingredient": (
        changed(SYRUP, solution={**SOLUTION, "ingredient": "hony"}),
        "/glass/stocks/0/solution/ingredient",
    ),
    "a heap of solids": (
        changed(ACID, solution={"ingredient": "citric_acid", "by_mass": "50:1"}),
        "/glass/stocks/0",
    ),
    "readings beside a solution": (changed(SYRUP, measured={"brix": 40}), "/glass/stocks/0/measured"),
    "a purity without a strength": (
        changed(YELLOW, dye={"name": "tartrazine", "total_colour_percent": 87}),
        "/glass/stocks/0/dye/total_colour_percent",
    ),
    "one wavelength twice": (
        changed(
            YELLOW,
            dye={
                "name": "ours",
                "percent_w_v": 1,
                "absorptivity": [{"wavelength_nm": 426, "e_1_percent_1_cm": e} for e in (1, 2)],
            },
        ),
        "/glass/stocks/0/dye/absorptivity",
    ),
    "a part of the batch": (body(SYRUP, lot={**LOT, "use": {"max": "5 L"}}), "/lot/use"),
    "water twice": (
        body(SYRUP, water_allowed=True, additions=[{"ingredient": "water_deionised"}]),
        "/water_allowed",
    ),
    "an unknown field": (body(SYRUP, glasses=2), "/glasses"),
    "no lot": ({"glass": {"base": "100 mL", "stocks": []}}, "/lot"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_cannot_be_is_refused_with_its_place(what: str) -> None:
    request, pointer = REFUSED[what]
    problem = scale(request, 422)
    assert pointer in [error["pointer"] for error in problem["errors"]], problem["errors"]
    assert all(len(error["detail"]) > 10 for error in problem["errors"])


def test_all_faults_are_told_at_once() -> None:
    problem = scale(body({**SYRUP, "amount": "0 mL"}, {**YELLOW, "amount": "1 g"}, base="soon"), 422)
    assert [e["pointer"] for e in problem["errors"]] == [
        "/glass/base",
        "/glass/stocks/0/amount",
        "/glass/stocks/1/amount",
    ]


_TEXT = st.sampled_from(["1 mL", "0.05 mL", "99 mL", "2 g", "1 tsp", "0.3 fl oz", "x", "", "1e9 L", "5 mL ± 9 mL"])
_WHAT = st.sampled_from(
    [
        {"ingredient": "honey"},
        {"ingredient": "citric_acid"},
        {"ingredient": "potassium_bicarbonate"},
        {"ingredient": "neutral_spirit_96"},
        {"ingredient": "water"},
        {"ingredient": "molasses"},
        {"solution": {"ingredient": "potassium_bicarbonate", "percent_w_v": 20}},
        {"solution": {"ingredient": "sugar_white", "by_mass": "2:1"}},
        {"solution": {"ingredient": "honey", "with": "neutral_spirit_96", "percent_w_v": 60}},
        {"solution": {"ingredient": "citric_acid", "percent_w_v": 200}},
        {"solution": {"ingredient": "lactic_acid_88", "by_volume": "1:3"}},
        {"dye": {"name": "tartrazine", "percent_w_v": 50}},
        {"dye": {"name": "carrot"}},
    ]
)
_AMOUNT = _TEXT | st.builds(lambda n, per: {"drops": n, "drops_per_ml": per}, st.integers(1, 3000), st.integers(1, 60))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(_WHAT, _AMOUNT), max_size=3),
    st.booleans(),
    st.sampled_from([[], [{"ingredient": "sugar_white"}], [{"ingredient": "citric_acid", "max": "1 g"}]]),
)
def test_anything_is_answered_or_refused(stocks: Any, water: bool, additions: Any) -> None:
    made = [{"name": f"stock {k}", **what, "amount": amount} for k, (what, amount) in enumerate(stocks)]
    response = app().post(PATH, json=body(*made, water_allowed=water and not additions, additions=additions))
    assert response.status_code in (200, 422), response.text
    if response.status_code == 200:
        answer = response.json()
        assert table(answer)
        assert {c["source_id"] for c in answer["cautions"]} <= {s["key"] for s in answer["sources"]}


# What is answered.


def test_echo_and_versions() -> None:
    answer = scale(body(SYRUP, batch="orchard 7", date="2024-05-01", note="invented"))
    assert (answer["batch"], answer["date"], answer["note"]) == ("orchard 7", "2024-05-01", "invented")
    assert answer["model_version"]
    assert answer["data_version"]


def test_every_default_is_told() -> None:
    told = " | ".join(a["what"] for a in scale(body(SYRUP, LEMON, YELLOW))["assumed"])
    for what in (
        "syringe: smallest graduation",
        "syringe: standard deviation",
        "lemon: size of a drop",
        "lemon: standard deviation of the drops",
        "yellow: absorptivity",
    ):
        assert what in told
    counted = {**LEMON, "amount": {"drops": 12, "drops_per_ml": 22, "error_drops": 0.5}}
    measured = {**SYRUP, "amount": "10 mL ± 0.05 mL"}
    fewer = " | ".join(a["what"] for a in scale(body(measured, counted, glass={"graduation": "0.05 mL"}))["assumed"])
    assert "syringe" not in fewer
    assert "drop" not in fewer


def test_the_next_request_is_this_batch() -> None:
    for request in (
        body(SYRUP, ACID, YELLOW),
        body({**LEMON, "measured": {"titratable_acidity": "55 g/L citric"}, "treatment": "pasteurised"}),
        body(SYRUP, DROPS, additions=[{"ingredient": "sugar_white", "max": "3 kg"}, {"ingredient": "water"}]),
    ):
        answer = scale(request)
        calls = answer["next"]
        (recipe,) = forecast(calls["forecast_blend"]["request"])["recipes"]
        for name in ("gravity", "abv_percent", "titratable_acidity", "ph", "volume", "sugar_g_per_l"):
            assert recipe["predicted"][name]["value"] == pytest.approx(
                answer["batch_plan"]["predicted"][name]["value"], rel=1e-4
            ), name
        correction = calls["correct_blend"]["request"]
        CorrectionRequest.model_validate({**correction, "measured": {"gravity": 1.01}})
        assert correction["added"] == calls["forecast_blend"]["request"]["recipes"][0]["additions"]
        assert correction["targets"]["gravity"]["value"] == answer["batch_plan"]["predicted"]["gravity"]["value"]


def test_gallons_in_gallons_out() -> None:
    answer = scale(body({**SYRUP, "amount": "2 tsp"}, base="4 fl oz", lot={**LOT, "volume": "6 gal"}))
    assert answer["units"] == "us"
    (honey,) = [a for a in answer["batch_plan"]["amounts"] if a["name"] == "honey_average"]
    assert "lb" in honey["amount_text"]


def test_the_flat_rows() -> None:
    request = body(SYRUP, YELLOW, intended={"container": "bottle"})
    rows = list(csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=request).text)))
    assert [row["drink"] for row in rows] == ["glass", "batch_plan", "plain_scaling", "without_stock_water"]
    answer = scale(request)
    assert float(rows[1]["honey_average_mass_g"]) == answer["batch_plan"]["amounts"][1]["mass_g"]
    assert float(rows[0]["yellow_dye_mg_per_l"]) == answer["colour"][0]["glass_mg_per_l"]
    assert float(rows[0]["abv_percent"]) == answer["glass"]["predicted"]["abv_percent"]["value"]
    assert all("referment" in row["stop"] for row in rows)
    columns = list(rows[0])
    assert columns.index("stop") < columns.index("honey_average_mass_g")


def test_the_table_of_the_command_line() -> None:
    path = EXAMPLES / "scale_bench_trial" / "03_two_dyes_in_a_clear_drink.json"
    status, answer = answer_file(path, None)
    assert status == 200
    assert answer == scale(example("scale_bench_trial", "03"))
    text = table(answer)
    for words in (
        "Glass: 200 mL of base",
        "Plain scaling",
        "One graduation:",
        "Absorbance at 426 nm",
        "For the next glass:",
    ):
        assert words in text
    assert max(len(line) for line in text.splitlines() if not line.startswith("Note: ")) <= 100


def test_examples_are_invented_and_say_so() -> None:
    paths = examples("scale_bench_trial")
    assert len(paths) >= 3
    assert all("nvented" in json.loads(path.read_text(encoding="utf-8"))["summary"] for path in paths)


# Every caution of this room: its level, a request that raises it, the like of it that does not.

STRONG = [{**d, "dye": {**d["dye"], "percent_w_v": 3}, "amount": "0.4 mL"} for d in (YELLOW, BLUE)]
CASES: dict[str, tuple[str, dict[str, Any], dict[str, Any] | None]] = {
    "taste_the_batch_again": ("note", body(SYRUP), None),
    "stocks_overflow_the_vessel": (
        "warning",
        body(SYRUP, intended={"vessel": "27 L"}),
        body(SYRUP, intended={"vessel": "28 L"}),
    ),
    "haze_scatters_light": ("note", body(LEMON), body(SYRUP)),
    "absorbance_of_the_dye_alone": ("note", body(YELLOW), body(YELLOW, glass={"haze": True})),
    "colour_last": ("note", body(DROPS), body(SYRUP)),
    "natural_colours_fade": ("note", body(DROPS), body(YELLOW)),
    "tartrazine_is_declared": ("warning", body(YELLOW), body(BLUE)),
    "colour_rules": ("note", body(BLUE), body(DROPS)),
    "colour_above_remembered_limit": ("warning", body(*STRONG), body(STRONG[0])),
}


@pytest.mark.parametrize("code", CASES)
def test_a_caution_is_given_where_it_belongs_and_not_elsewhere(code: str) -> None:
    level, with_it, without_it = CASES[code]
    answer = scale(with_it)
    assert codes(answer)[code] == level
    (caution,) = [c for c in answer["cautions"] if c["code"] == code]
    assert len(caution["text"].split()) <= 30
    if without_it is not None:
        assert code not in codes(scale(without_it))


def test_every_caution_of_the_room_has_a_case() -> None:
    found = set()
    for path in (Path(service.__file__).parent / "planner" / "bench_trial").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Caution":
                assert isinstance(node.args[0], ast.Constant)
                found.add(node.args[0].value)
    assert found == set(CASES)


def test_cautions_of_the_blend_itself_are_there_too() -> None:
    sealed = scale(body(SYRUP, intended={"container": "bottle", "vessel": "25 L"}))
    assert codes(sealed)["refermentable_sugar_no_hurdle"] == "stop"
    assert codes(sealed)["vessel_too_small"] == "stop"
    raw = scale(body({**LEMON, "treatment": "raw"}))
    assert codes(raw)["raw_juice"] == "warning"
    grapefruit = scale(body({"name": "g", "ingredient": "grapefruit_juice_fresh", "amount": "5 mL"}))
    assert codes(grapefruit)["grapefruit_and_medicines"] == "warning"
