"""What answers hand on: every request that can follow is answered as it stands, and there is a schedule of the work."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from service.planner.hand_over import PATHS as ASKED_AT
from tests.api.real import BASE, EXAMPLES, PATHS, example, patient, post, worked

FILES = [path for path in sorted(EXAMPLES.glob("*/*.json")) if worked(path)["response"]["status"] == 200]
WITHOUT_STEPS = ("forecast_blend", "trade_off")
DAY = "2026-03-14"


def answers(path: Path) -> list[dict[str, Any]]:
    """The answers of an example; several where it sends several requests."""
    answer = post(PATHS[path.parent.name], worked(path)["request"], client=patient())
    return [one["plan"] for one in answer["results"] if one["plan"]] if "results" in answer else [answer]


def calls(path: Path) -> Iterator[tuple[dict[str, Any], str, dict[str, Any]]]:
    """Every request that can follow, with its answer and operation."""
    for answer in answers(path):
        for operation, call in answer["next"].items():
            yield answer, operation, call


def at(body: Any, pointer: str) -> Any:
    """What a JSON Pointer points at (RFC 6901)."""
    for part in pointer.split("/")[1:]:
        body = body[int(part) if isinstance(body, list) else part.replace("~1", "/").replace("~0", "~")]
    return body


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_every_request_that_can_follow_is_answered_as_it_stands(path: Path) -> None:
    for answer, operation, call in calls(path):
        assert set(call) == {"path", "request", "replace", "text"}
        assert call["path"] == ASKED_AT[operation] == PATHS[operation]
        for pointer in call["replace"]:
            at(call["request"], pointer)
        followed = post(call["path"], call["request"], client=patient())
        assert followed["batch"] == answer["batch"]
        assert "start_date" not in call["request"]
        if answer["units"] != "imperial":
            assert followed["units"] == answer["units"]


def test_the_drink_goes_on_with_its_intervals_and_ingredients() -> None:
    answer = post(PATHS["solve_blend"], example("solve_blend", "01"))
    drink = answer["next"]["plan_packaging"]["request"]["drink"]
    for name in ("abv_percent", "sugar_g_per_l", "fermentable_sugar_g_per_l", "ph"):
        told = answer["predicted"][name]
        assert drink[name] == {key: told[key] for key in ("value", "low", "high")}
    litres = answer["predicted"]["volume"]["value"]
    added = {a["name"]: a["mass_g"] for a in answer["amounts"] if a["kind"] == "addition" and a["mass_g"]}
    held = {h["ingredient"]: h["g_per_l"] for h in drink["holds"]}
    assert held == pytest.approx({name: mass / litres for name, mass in added.items()}, rel=1e-3)
    assert {h["treatment"] for h in drink["holds"] if h["ingredient"] == "lemon_juice_fresh"} == {"pasteurised"}
    intended = answer["next"]["plan_packaging"]["request"]["intended"]
    assert intended == example("solve_blend", "01")["intended"] | {"hurdles": ["sorbate", "sulfite"]}


def test_the_base_is_dosed_before_the_blend_thins_it() -> None:
    answer = post(PATHS["solve_blend"], example("solve_blend", "01"))
    (lot,) = example("solve_blend", "01")["lots"]
    body = answer["next"]["plan_stabilising"]["request"]
    assert body["volume_at_dosing"] == lot["volume"]
    assert body["ph"] == pytest.approx(lot["ph"], abs=0.01)
    assert body["abv_percent"] == pytest.approx(lot["abv_percent"], abs=0.001)
    assert float(body["volume_at_packaging"].split()[0]) == pytest.approx(answer["predicted"]["volume"]["value"])
    # the careful side: the upper end of what yeast can use
    assert body["sugar_g_per_l"] == answer["predicted"]["fermentable_sugar_g_per_l"]["high"]


def test_a_far_larger_blend_is_dosed_whole() -> None:
    body = copy.deepcopy(BASE)
    body["additions"].append({"ingredient": "water_deionised", "amount": "25 L"})
    body["targets"] = {"gravity": 1.004}
    answer = post(PATHS["solve_blend"], body)
    dosed = answer["next"]["plan_stabilising"]["request"]
    assert "volume_at_packaging" not in dosed
    assert float(dosed["volume_at_dosing"].split()[0]) == pytest.approx(answer["predicted"]["volume"]["value"])


def test_what_is_in_the_vessel_already_stays_in_what_is_handed_on() -> None:
    answer = post(PATHS["correct_blend"], example("correct_blend", "01"))
    held = {h["ingredient"] for h in answer["next"]["plan_fining"]["request"]["drink"]["holds"]}
    assert {a["ingredient"] for a in example("correct_blend", "01")["added"]} <= held
    fault = post(PATHS["correct_blend"], {**example("correct_blend", "01"), "fault": "too_sour", "prefer": []})
    held = {h["ingredient"] for h in fault["next"]["plan_fining"]["request"]["drink"]["holds"]}
    assert {a["ingredient"] for a in example("correct_blend", "01")["added"]} <= held


def test_readings_that_do_not_fit_hand_nothing_on_but_the_question_itself() -> None:
    answer = post(PATHS["correct_blend"], example("correct_blend", "03"))
    assert answer["consistency"]["verdict"] == "inconsistent"
    assert set(answer["next"]) == {"correct_blend"}
    assert "Add nothing yet" in answer["steps"][0]["do"]
    assert all(not step["amount_text"] for step in answer["steps"])


def test_a_clash_hands_nothing_on() -> None:
    answer = post(PATHS["solve_blend"], {**example("solve_blend", "03"), "start_date": DAY})
    assert answer["outcome"] == "targets_clash"
    assert answer["next"] == {}
    (step,) = answer["steps"]
    assert step["do"].startswith("Pour nothing yet")
    assert len(answer["schedule"]) == 1


def test_the_hold_back_is_poured_first_and_corrected_after() -> None:
    answer = post(PATHS["solve_blend"], {**example("solve_blend", "01"), "hold_back": 0.05})
    call = answer["next"]["correct_blend"]
    assert call["request"]["measured"]["gravity"] == pytest.approx(
        answer["first_addition"]["predicted"]["gravity"]["value"], abs=6e-5
    )
    assert {a["ingredient"] for a in call["request"]["added"]} <= {
        a["ingredient"] for a in answer["first_addition"]["added"]
    }
    rest = post(call["path"], call["request"])
    assert rest["consistency"]["verdict"] == "consistent"
    assert any("how much of the rest" in step["do"] for step in answer["steps"])


def test_part_of_a_lot_that_was_fixed_is_told() -> None:
    body = copy.deepcopy(BASE)
    body["lots"][0]["use"] = {"min": "6 L", "max": "6 L"}
    for hold_back in ({}, {"hold_back": 0.05}):
        answer = post(PATHS["solve_blend"], {**body, **hold_back})
        call = answer["next"]["correct_blend"]
        lots = [a for a in call["request"]["added"] if "lot" in a]
        assert [a["lot"] for a in lots] == ["base"]
        assert float(lots[0]["amount"].split()[0]) == pytest.approx(6.0, rel=1e-5)
        assert post(call["path"], call["request"])["consistency"]["verdict"] == "consistent"
    assert [p["lot"] for p in answer["first_addition"]["added"] if p["lot"]] == ["base"]


def test_losses_go_on_to_packaging_and_are_a_volume_for_a_correction() -> None:
    body = copy.deepcopy(BASE)
    body |= {"losses": {"racking": "4 %", "dead_volume": "0.3 L"}}
    body["additions"].append({"ingredient": "water_deionised"})
    body["targets"]["packaged_volume"] = {"min": "10 L", "max": "11 L"}
    answer = post(PATHS["solve_blend"], body)
    packaging, correction = (answer["next"][name] for name in ("plan_packaging", "correct_blend"))
    assert packaging["request"]["losses"] == body["losses"]
    assert "losses" not in correction["request"]
    volume = correction["request"]["targets"]["volume"]
    assert [float(volume[end].split()[0]) for end in ("min", "max")] == pytest.approx([10.3 / 0.96, 11.3 / 0.96])
    for call in (packaging, correction):
        post(call["path"], call["request"])


def test_pure_sugar_in_the_vessel_leaves_nothing_unknown() -> None:
    """Of white sugar nothing is unknown, and the rest of it can still be planned."""
    body = copy.deepcopy(BASE)
    body["additions"].append({"ingredient": "sugar_white", "max": "1 kg"})
    added = [{"ingredient": "sugar_white", "amount": "200 g"}]
    answer = post(PATHS["correct_blend"], {**body, "added": added, "measured": {"gravity": 1.005}})
    assert answer["outcome"] == "targets_met"


def test_the_knee_of_a_curve_is_a_plan() -> None:
    curve = post(PATHS["trade_off"], example("trade_off", "01"), client=patient())
    assert curve["knee"] is not None
    point, call = curve["points"][curve["knee"]], curve["next"]["solve_blend"]
    planned = post(call["path"], call["request"], client=patient())
    assert planned["outcome"] == "targets_met"
    for axis, value in (("x", point["x"]), ("y", point["y"])):
        name = curve[axis]["property"]
        assert planned["predicted"][name]["value"] == pytest.approx(value, rel=2e-2)


# Days.


@pytest.mark.parametrize(
    ("operation", "start"),
    [
        ("solve_blend", "02"),
        ("solve_blend", "07"),
        ("correct_blend", "01"),
        ("correct_blend", "10"),
        ("plan_stabilising", "02"),
        ("scale_bench_trial", "01"),
    ],
)
def test_a_start_gives_each_step_its_day(operation: str, start: str) -> None:
    body = {name: value for name, value in example(operation, start).items() if name != "start_date"}
    without = post(PATHS[operation], body)
    assert without["steps"]
    assert without["schedule"] == []
    answer = post(PATHS[operation], {**body, "start_date": DAY})
    assert answer["steps"] == without["steps"]
    assert [a["step"] for a in answer["schedule"]] == list(range(1, len(answer["steps"]) + 1))
    assert answer["schedule"][0]["date"] >= DAY
    days = [a["date"] for a in answer["schedule"]]
    assert days == sorted(days)
    known = {source["key"] for source in answer["sources"]}
    assert {step["source_id"] for step in answer["steps"]} <= known


@pytest.mark.parametrize("operation", WITHOUT_STEPS)
def test_a_start_is_refused_where_nothing_has_steps(operation: str) -> None:
    refused = post(PATHS[operation], {**example(operation, "01"), "start_date": DAY}, 422)
    (error,) = refused["errors"]
    assert error["pointer"] == "/start_date"
    assert error["detail"].startswith("Nothing here has steps")


@pytest.mark.parametrize("told", ["14.3.2026", "2026-02-30", "2026-03-14T25:00", "tomorrow", ""])
def test_a_day_that_is_none_is_refused(told: str) -> None:
    refused = post(PATHS["solve_blend"], {**BASE, "start_date": told}, 422)
    assert [error["pointer"] for error in refused["errors"]] == ["/start_date"]


def test_a_start_at_the_end_of_the_calendar_is_refused() -> None:
    refused = post(PATHS["solve_blend"], {**BASE, "start_date": "9999-12-30"}, 422)
    assert [error["pointer"] for error in refused["errors"]] == ["/start_date"]


@pytest.mark.parametrize(
    ("operation", "start"), [("solve_blend", "01"), ("solve_blend", "04"), ("correct_blend", "02")]
)
def test_what_is_handed_on_does_not_depend_on_the_order_of_a_request(operation: str, start: str) -> None:
    body = example(operation, start)
    turned = {
        **body,
        "lots": body["lots"][::-1],
        "additions": body["additions"][::-1],
        "targets": dict(reversed(body["targets"].items())),
    }
    ways = [post(PATHS[operation], one, client=patient()) for one in (body, turned)]
    assert ways[0]["next"] == ways[1]["next"]
    assert ways[0]["steps"] == ways[1]["steps"]
