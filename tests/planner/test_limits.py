"""Where limits are missing, zero, absurd or contradictory: a plan, a proved clash or a refusal, never nonsense."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import PATHS, amounts, app, codes, plan, reports

LOT: dict[str, Any] = {
    "name": "base",
    "volume": "20 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
}
HONEY = {"ingredient": "honey"}
WATER = {"ingredient": "water_deionised"}
USED_UP_TO = {**LOT, "use": {"max": "20 L"}}


def ask(additions: list[dict[str, Any]], targets: dict[str, Any], lot: dict[str, Any] = LOT, **more: Any) -> Any:
    return plan({"lots": [lot], "additions": additions, "targets": targets, **more})


def refusal(body: dict[str, Any]) -> dict[str, str]:
    response = app().post(PATHS["solve_blend"], json=body)
    assert response.status_code == 422, response.text
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


@pytest.mark.parametrize(
    ("addition", "targets"),
    [
        (HONEY, {"gravity": 1.40}),
        (WATER, {"volume": {"min": "1000 L"}}),
        (WATER, {"volume": {"min": "1000000 L"}}),
        (WATER, {"abv_percent": {"max": 0.3}}),
    ],
)
def test_what_takes_very_much_is_still_found(addition: dict[str, Any], targets: dict[str, Any]) -> None:
    answer = ask([addition], targets)
    assert answer["outcome"] == "targets_met"
    assert any(a["what"].endswith(": max") for a in answer["assumed"])


def test_nothing_is_proved_at_the_edge_of_the_search() -> None:
    answer = ask([HONEY, WATER], {"gravity": 1.01}, prefer=[{"maximise": "volume"}])
    assert answer["proof"]["verdict"] == "best_found"
    assert "amount_without_limit" in codes(answer)


def test_an_implied_limit_does_not_overrule_the_first_priority() -> None:
    answer = ask(
        [HONEY],
        {"gravity": {"value": 1.25, "tolerance": 0.001, "priority": 1}, "volume": {"max": "5 L", "priority": 2}},
    )
    assert answer["outcome"] == "targets_clash"
    assert reports(answer)["gravity"]["met"]
    assert not reports(answer)["volume"]["met"]


@pytest.mark.parametrize("gravity", [1.01, {"min": 1.005, "max": 1.02}])
def test_a_lot_that_may_be_used_is_poured_where_nobody_says_how_much(gravity: Any) -> None:
    answer = ask([{**HONEY, "max": "3 kg"}], {"gravity": gravity}, USED_UP_TO)
    assert answer["outcome"] == "targets_met"
    lot = next(a for a in answer["amounts"] if a["kind"] == "lot")
    assert lot["volume_ml"] == pytest.approx(20_000.0)
    assert "how much to make" in [a["what"] for a in answer["assumed"]]


def test_least_of_nothing_is_refused() -> None:
    for prefer in ([{"minimise": "added_mass"}], [{"maximise": "juice_percent"}, {"minimise": "added_mass"}]):
        body = {"lots": [USED_UP_TO], "additions": [HONEY], "targets": {"gravity": 1.01}, "prefer": prefer}
        assert "how much to make" in refusal(body)["/targets/volume"]


@pytest.mark.parametrize(
    ("additions", "targets"),
    [
        ([{**HONEY, "amount": "1 kg"}], {"sugar_g_per_l": {"max": 0}}),
        ([{**HONEY, "amount": "5 kg"}], {"fermentable_sugar_g_per_l": {"max": 0}}),
        ([HONEY], {"volume": {"max": "10 mL"}}),
        ([{**HONEY, "min": "5 kg"}], {"added_mass": {"max": "1 g"}}),
        ([{**HONEY, "amount": "5 kg", "price": {"amount": 6, "per": "1 kg"}}], {"cost": {"max": 0.001}}),
        ([{"ingredient": "sugar_white"}], {"gravity": 1.5}),
        ([{**HONEY, "amount": "1 kg"}], {"gravity": 1.005}),
    ],
)
def test_the_impossible_is_proved_and_has_a_nearest_plan(
    additions: list[dict[str, Any]], targets: dict[str, Any]
) -> None:
    answer = ask(additions, targets)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    assert answer["amounts"]
    (report,) = answer["targets"]
    assert report["miss"] > 0.0


def test_a_point_without_freedom_is_proved() -> None:
    answer = ask([{**HONEY, "amount": "1 kg"}], {"gravity": {"min": 1.0}})
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")


def test_a_ratio_to_acid_needs_acid() -> None:
    body = {
        "lots": [],
        "additions": [{"ingredient": "sugar_white", "max": "2 kg"}, {**WATER, "max": "20 L"}],
        "targets": {"brix": 10, "volume": "10 L"},
        "prefer": [{"maximise": "sugar_acid_ratio"}],
    }
    assert "acid" in refusal(body)["/prefer/0"]


def test_an_optimum_that_rests_on_a_guard_of_ours_is_not_called_proved() -> None:
    answer = ask(
        [{"ingredient": "potassium_bicarbonate", "max": "500 g"}],
        {"gravity": {"min": 0.99}},
        prefer=[{"maximise": "sugar_acid_ratio"}],
    )
    assert answer["proof"]["verdict"] == "best_found"


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({"lots": [], "additions": [WATER], "targets": {"volume": "0 L"}}, "/targets/volume", "above zero"),
        ({"lots": [], "additions": [WATER], "targets": {"gravity": 1.0}}, "/targets/volume", "how much to make"),
        (
            {"lots": [{**LOT, "use": {"max": "0 L"}}], "additions": [HONEY], "targets": {"gravity": 1.01}},
            "/lots",
            "use.max",
        ),
        ({"lots": [LOT], "additions": [HONEY], "targets": {"volume": "1e12 L"}}, "/targets/volume", "check the unit"),
        (
            {"lots": [{**LOT, "volume": "1e300 L"}], "additions": [HONEY], "targets": {"gravity": 1.01}},
            "/lots/0/volume",
            "10,000,000 L",
        ),
    ],
)
def test_what_is_no_drink_is_refused(body: dict[str, Any], pointer: str, words: str) -> None:
    assert words in refusal(body)[pointer]


def test_rounding_stays_inside_the_limits() -> None:
    scale: dict[str, Any] = {"rounding": "scale", "instruments": {"scale": {"step": "100 g"}}}
    answer = ask([{**HONEY, "min": "310 g", "max": "330 g"}], {"gravity": {"min": 1.0}}, **scale)
    assert 310.0 <= amounts(answer)["honey_average"] <= 330.0
    assert "no_step_within_limits" in codes(answer)


def test_a_given_amount_is_repeated_in_the_callers_words() -> None:
    answer = ask([{"ingredient": "orange_juice_fresh", "amount": "2 qt"}], {"gravity": {"min": 0.9}})
    texts = {a["name"]: a["amount_text"] for a in answer["amounts"]}
    assert texts["orange_juice_fresh"].startswith("2 qt, or ")
