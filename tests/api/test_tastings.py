"""`POST /v1/tastings`: requests as makers write them, refusals with their place, rows, the command line's table."""

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
from service.api.later import NOT_ANSWERED_YET
from service.api.settings import Settings
from tests.api.real import EXAMPLES, PATHS, app, codes, examples, plan, post, taste, worked

PATH = PATHS["judge_tasting"]
WORKED = dict(zip((0, 10, 20, 30, 40), (4.0, 5.6, 6.6, 6.4, 5.2), strict=True))
SCORES: dict[str, Any] = {"doses": [{"dose": dose, "scores": {"A": score}} for dose, score in WORKED.items()]}
TEST: dict[str, Any] = {"difference_test": {"kind": "triangle", "n": 6, "correct": 4}}


def scored(**change: Any) -> dict[str, Any]:
    return {**copy.deepcopy(SCORES), **change}


def compared(**change: Any) -> dict[str, Any]:
    return {"difference_test": {**TEST["difference_test"], **change}}


def doses(rows: dict[Any, Any], **more: Any) -> dict[str, Any]:
    return {"doses": [{"dose": dose, "scores": scores} for dose, scores in rows.items()], **more}


def refused(body: Any) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(PATH, body, 422)["errors"]}


@pytest.mark.parametrize("body", [SCORES, TEST])
def test_an_answer_carries_what_every_answer_carries(body: dict[str, Any]) -> None:
    answer = taste({**body, "batch": "orchard 7", "date": "2024-05-09", "note": "try"})
    assert (answer["batch"], answer["date"], answer["note"]) == ("orchard 7", "2024-05-09", "try")
    for name in ("assumed", "cautions", "next_reading", "sources", "model_version", "data_version", "next", "summary"):
        assert answer[name], name
    assert {source["key"] for source in answer["sources"]} >= {c["source_id"] for c in answer["cautions"]}


def test_the_worked_best_dose_through_the_endpoint() -> None:
    # computed: x* 23.29, SE 0.42, delta 21.5 to 25.1, Fieller 21.7 to 25.4, df 2
    answer = taste(scored(noticeable_step_percent=0.1))
    best = answer["best"]
    assert (best["dose"], best["standard_error"]) == pytest.approx((23.29, 0.42), abs=5e-3)
    found = [best[name] for name in ("delta_low", "delta_high", "low", "high")]
    assert found == pytest.approx([21.5, 25.1, 21.7, 25.4], abs=0.05)
    assert answer["fit"]["degrees_of_freedom"] == 2


# A dose for a glass and for a batch.


@pytest.mark.parametrize(
    ("unit", "glass", "batch", "amount", "kind"),
    [
        ("g/L lemon juice", None, "25 L", 25 * 23.2941, "g"),
        ("g per L", "200 mL", "25 L", 25 * 23.2941, "g"),
        ("g/100 mL honey", None, "10 L", 100 * 23.2941, "g"),
        ("mL/glass syrup", "100 mL", "24 L", 240 * 23.2941, "mL"),
        ("mL in a glass syrup", "100 mL", "24 L", 240 * 23.2941, "mL"),
        ("tsp/gal lemon juice", None, "5 gal", 5 * 23.2941 * 4.92892159375, "mL"),  # NIST Handbook 44, Appendix C
        ("oz/gal honey", None, "5 gal", 5 * 23.2941 * 28.349523125, "g"),
        ("mg/L", None, "1 hL", 0.1 * 23.2941, "g"),
    ],
)
def test_a_dose_is_scaled(unit: str, glass: str | None, batch: str, amount: float, kind: str) -> None:
    more = {} if glass is None else {"glass": glass}
    best = taste(scored(dose_unit=unit, batch_volume=batch, **more))["best"]
    assert best["in_batch"]["amount"] == pytest.approx(amount, rel=1e-5)
    assert best["in_batch"]["unit"] == kind
    assert (best["in_glass"] is None) == (glass is None)


def test_amounts_are_told_in_the_callers_system() -> None:
    us = taste(scored(dose_unit="oz/gal honey", batch_volume="5 gal"))
    assert us["units"] == "us"
    assert "lb" in us["best"]["in_batch"]["amount_text"]
    metric = taste(scored(dose_unit="oz/gal honey", batch_volume="5 gal", units="metric"))
    assert metric["best"]["in_batch"]["amount_text"].endswith(" kg")


def test_a_free_unit_is_echoed_and_not_scaled() -> None:
    best = taste(scored(dose_unit="spoons of syrup"))["best"]
    assert best["text"] == "23 spoons of syrup"
    assert set(refused(scored(dose_unit="spoons of syrup", batch_volume="20 L"))) == {"/dose_unit"}
    assert set(refused(scored(batch_volume="20 L"))) == {"/dose_unit"}
    assert set(refused(scored(dose_unit="mL/glass", batch_volume="20 L"))) == {"/glass"}


# A level of a property, and what the next step takes.


def test_a_level_becomes_a_target_that_a_blend_plan_takes() -> None:
    answer = taste(scored(property="sugar_g_per_l"))
    call = answer["next"]["solve_blend"]
    assert call["path"] == "/v1/blend-plans"
    assert {"/lots/0/gravity", "/additions"} <= set(call["replace"])
    targets = call["request"]["targets"]
    (target,) = targets.values()
    best = answer["best"]
    assert target["value"] == pytest.approx(23.2941)
    assert target["tolerance"] == pytest.approx(min(best["dose"] - best["low"], best["high"] - best["dose"]), rel=1e-4)
    lots = [{"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8}]
    planned = plan({"lots": lots, "additions": [{"ingredient": "honey"}], "targets": targets})
    assert planned["outcome"] == "targets_met"
    assert planned["predicted"]["sugar_g_per_l"]["value"] == pytest.approx(23.2941, abs=0.01)


@pytest.mark.parametrize(
    ("name", "levels"),
    [
        ("gravity", (8, 12, 16, 20)),
        ("ph", (3.4, 8, 12, 18)),
        ("abv_percent", (5, 50, 100, 150)),
        ("brix", (9, 10, 101)),
    ],
)
def test_a_level_that_no_drink_has_is_refused(name: str, levels: tuple[float, ...]) -> None:
    body = doses({level: [5] for level in levels}, property=name)
    found = refused(body)
    assert f"/doses/{len(levels) - 1}/dose" in found
    assert all("lies between" in text for text in found.values())


def test_an_acidity_that_no_drink_has_is_refused() -> None:
    rows = {5.0: [4], 60.0: [6], 500.0: [5]}
    found = refused(doses(rows, property="titratable_acidity", dose_unit="g/L tartaric"))
    assert set(found) == {"/doses/2/dose"}


def test_near_nothing_no_finer_level_is_told_than_anybody_notices() -> None:
    rows = {0.5: [4], 1.0: [6], 1.5: [7], 2.0: [5.9], 2.5: [4.2]}
    answer = taste(doses(rows, property="sugar_g_per_l"))
    # half a step of 12 % at the floor of 8 g/L (our default)
    assert answer["best"]["half_step"] == pytest.approx(0.48)


def test_a_level_of_acid_carries_its_unit() -> None:
    rows = {5.0: [4], 6.0: [6], 7.0: [7], 8.0: [5.9], 9.0: [4.2]}
    answer = taste(doses(rows, property="titratable_acidity", dose_unit="g/L tartaric"))
    targets = answer["next"]["solve_blend"]["request"]["targets"]
    assert all(text.endswith(" g/L tartaric") for text in targets["titratable_acidity"].values())
    assert answer["best"]["half_step"] == pytest.approx(0.1 * answer["best"]["dose"], rel=1e-5)  # half of 20 %
    lots = [{"name": "b", "volume": "10 L", "gravity": 1.0, "abv_percent": 8, "titratable_acidity": "5 g/L tartaric"}]
    body = {
        "lots": lots,
        "additions": [{"ingredient": "tartaric_acid"}],
        "targets": targets,
    }
    assert plan(body)["outcome"] == "targets_met"
    assert set(refused(doses(rows, property="titratable_acidity"))) == {"/dose_unit"}
    assert set(refused(doses(rows, property="titratable_acidity", dose_unit="spoons"))) == {"/dose_unit"}


@pytest.mark.parametrize("field", ["dose_unit", "level_before", "glass", "batch_volume"])
def test_a_level_is_not_scaled(field: str) -> None:
    value = {"dose_unit": "g/L", "level_before": 3, "glass": "100 mL", "batch_volume": "20 L"}[field]
    assert set(refused(scored(property="brix", **{field: value}))) == {f"/{field}"}


def test_an_amount_becomes_a_glass_for_a_bench_trial() -> None:
    found = taste(scored(dose_unit="mL/glass lemon juice", glass="100 mL"))["next"]
    call = found["scale_bench_trial"]
    assert call["path"] == "/v1/bench-trials"
    glass = call["request"]["glass"]
    assert glass["base"] == "100 mL"
    assert glass["stocks"] == [{"name": "lemon juice", "amount": "23.2941 mL", "ingredient": "lemon_juice_fresh"}]
    assert "/glass/stocks/0/ingredient" in call["replace"]


# The same in other words.


@pytest.mark.parametrize(
    "body",
    [
        {"doses": [{"dose": dose, "scores": [score]} for dose, score in WORKED.items()]},
        {"doses": [{"dose": dose, "scores": [score, None]} for dose, score in WORKED.items()]},
        {"doses": [{"dose": dose, "scores": [score]} for dose, score in WORKED.items()], "anonymous": True},
        {"doses": [{"dose": dose, "scores": {" A  ": score}} for dose, score in reversed(WORKED.items())]},
        scored(scale="liking", flat_within=0.2, noticeable_step_percent=12, level_before=0),
    ],
)
def test_the_same_in_other_words(body: dict[str, Any]) -> None:
    expected, found = taste(SCORES)["best"], taste(body)["best"]
    assert found == expected


def test_a_name_is_one_person_however_it_is_written() -> None:
    rows = {0: {"Taster A": 4}, 10: {"taster  a": 6}, 20: {"TASTER A": 7}, 30: {"Taster A": 5}}
    assert [t["taster"] for t in taste(doses(rows))["tasters"]] == ["Taster A"]


def test_a_taster_may_miss_a_dose() -> None:
    by_name = {0: {"A": 4, "B": 5}, 10: {"A": 6}, 20: {"A": 7, "B": 8}, 30: {"A": 5, "B": 6.5}}
    in_order = {0: [4, 5], 10: [6, None], 20: [7, 8], 30: [5, 6.5]}
    names, places = taste(doses(by_name)), taste(doses(in_order))
    assert names["best"] == places["best"]
    assert [(t["taster"], t["scores"]) for t in names["tasters"]] == [("A", 4), ("B", 3)]
    assert [t["taster"] for t in places["tasters"]] == ["1", "2"]
    # B scores higher than A: the mean of the dose that B missed is freed of that
    ten = names["tested"][1]
    assert ten["adjusted_mean"] > ten["mean"]


def test_repeated_doses_are_one_dose() -> None:
    body = {"doses": [{"dose": d, "scores": {"A": s + e}} for d, s in WORKED.items() for e in (-0.1, 0.1)]}
    answer = taste(body)
    assert [one["scores"] for one in answer["tested"]] == [2] * 5
    assert answer["best"]["dose"] == pytest.approx(23.2941, rel=1e-5)


def test_every_default_is_named() -> None:
    assert {a["what"] for a in taste(SCORES)["assumed"]} == {
        "scale",
        "dose_unit",
        "just-noticeable step",
        "level_before",
        "flat_within",
        "blind",
        "random_order",
    }
    assert {a["what"] for a in taste(TEST)["assumed"]} == {
        "alpha",
        "power_wanted",
        "discriminators",
        "tasters",
        "blind",
        "random_order",
    }
    told = scored(
        scale="liking", dose_unit="g/L", noticeable_step_percent=12, level_before=0, flat_within=0.2, blind=True,
        random_order=True,
    )  # fmt: skip
    assert taste(told)["assumed"] == []
    pairs = compared(kind="two_afc", alpha=0.05, power_wanted=0.8, d_prime=1, tasters=6)
    assert {a["what"] for a in taste(pairs)["assumed"]} == {"sides", "blind", "random_order"}


def test_the_least_doses_are_told_in_figures() -> None:
    rows = {d * 1e-4: [s] for d, s in ((4, 4), (5, 6.1), (6, 6.9), (7, 6.3), (8, 4.2))}
    answer = taste(doses(rows))
    assert answer["summary"].startswith("Liked best at 0.0006; 95 % interval 0.0005")


def test_the_document_and_the_service_agree_on_how_many_scores_a_list_holds() -> None:
    schemas = app().get("/v1/openapi.json").json()["components"]["schemas"]
    lists = [s for s in schemas["ScoredDose"]["properties"]["scores"]["oneOf"] if s.get("type") == "array"]
    most = Settings().max_list_items
    assert [s["maxItems"] for s in lists] == [most]
    assert taste(doses({d: [5 + d % 2] * most for d in (1, 2, 3)}))["outcome"]
    assert taste(doses({d: {f"t{k}": 5 + d % 2 for k in range(most + 1)} for d in (1, 2, 3)}))["outcome"]


# Refusals.


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({}, {"/doses"}),
        ({**SCORES, **TEST}, {"/difference_test"}),
        ({"doses": SCORES["doses"][:1]}, {"/doses"}),
        (doses({10: {"A": 4}, 10.0000001: {"A": 5}}), {"/doses"}),
        ({"doses": [{"dose": 10, "scores": {"A": 4}}] * 3}, {"/doses"}),
        (doses({-1: {"A": 4}, 10: {"A": 5}}), {"/doses/0/dose"}),
        (doses({1e9: {"A": 4}, 10: {"A": 5}}), {"/doses/0/dose"}),
        (doses({1e-12: {"A": 4}, 10: {"A": 5}}), {"/doses/0/dose"}),
        (doses({4e-8: {"A": 4}, 8e-8: {"A": 5}}), {"/doses/0/dose"}),
        (doses({5: [5] * 51, 10: [6] * 51}), {"/doses/0/scores", "/doses/1/scores"}),
        (doses({0: {"A": "4"}, 10: {"A": 5}}), {"/doses/0/scores/A"}),
        (doses({0: {"A": 1e9}, 10: {"A": 5}}), {"/doses/0/scores/A"}),
        (doses({0: 5, 10: {"A": 5}}), {"/doses/0/scores"}),
        (doses({0: {}, 10: {"A": 5}}), {"/doses/0/scores"}),
        (doses({0: [None], 10: [5]}), {"/doses/0/scores"}),
        (doses({0: {"A": 1, " a": 2}, 10: {"A": 5}}), {"/doses/0/scores"}),
        (doses({0: {" ": 1}, 10: {"A": 5}}), {"/doses/0/scores"}),
        (doses({0: [1, 2], 10: [5]}), {"/doses/1/scores"}),
        (doses({0: [1], 10: {"A": 5}}), {"/doses/1/scores"}),
        (doses({0: {"A": 1}, 10: {"A": 5}}, anonymous=True), {"/anonymous"}),
        (doses({0: [1, None], 10: [5]}, anonymous=True), {"/doses/0/scores/1"}),
        (doses({5: {"A": -1}, 10: {"A": 1}}), {"/scale"}),
        (doses({0: {"A": -1}, 10: {"A": 1}}, scale="just_about_right"), {"/doses/0/dose"}),
        (doses({5: {"A": -3}, 10: {"A": 1}}, scale="just_about_right"), {"/doses/0/scores"}),
        (scored(dose_unit="  "), {"/dose_unit"}),
        (scored(dose_unit="g/0 L"), {"/dose_unit"}),
        (scored(dose_unit="g/L", batch_volume="0 L"), {"/batch_volume"}),
        (scored(dose_unit="g/L", batch_volume="20"), {"/batch_volume"}),
        (scored(scale="hedonic"), {"/scale"}),
        (scored(scores=[1, 2]), {"/scores"}),
        (scored(noticeable_step_percent=0), {"/noticeable_step_percent"}),
        (compared(correct=7), {"/difference_test/correct"}),
        (compared(n=0), {"/difference_test/n"}),
        (compared(n=10_001), {"/difference_test/n"}),
        (compared(n=6.0), {"/difference_test/n"}),
        (compared(kind="tetrad"), {"/difference_test/kind"}),
        (compared(sides="two"), {"/difference_test/sides"}),
        (compared(alpha=0), {"/difference_test/alpha"}),
        (compared(discriminators=0.3, d_prime=1), {"/difference_test/d_prime"}),
        (compared(power_wanted=0.05), {"/difference_test/power_wanted"}),
        (compared(tasters=7), {"/difference_test/tasters"}),
        ({**TEST, "scale": "liking", "glass": "100 mL"}, {"/scale", "/glass"}),
        ({**compared(correct=7, tasters=7)}, {"/difference_test/correct", "/difference_test/tasters"}),
    ],
)
def test_a_refusal_says_where(body: dict[str, Any], pointers: set[str]) -> None:
    found = refused(body)
    assert set(found) == pointers
    assert all(text.endswith((".", "?")) for text in found.values())


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e400"])
def test_what_is_no_number_is_refused(word: str) -> None:
    for body in (SCORES, TEST):
        text = json.dumps(body).replace("6.6" if body is SCORES else "4", word, 1)
        response = app().post(PATH, content=text, headers={"content-type": "application/json"})
        assert response.status_code in (400, 422), response.text


def test_scores_inside_a_tasting_are_not_refused_as_a_part_to_come() -> None:
    assert taste(SCORES)["outcome"] == "best_dose"
    assert "/v1/tastings" in NOT_ANSWERED_YET["scores"]


_SCORE = st.one_of(st.none(), st.sampled_from([-2, -1, 0, 1, 2, 9, 1000, -1000, 1e-300]), st.floats(-2, 9))
_DOSE = st.one_of(st.sampled_from([0, 1e-9, 1, 1 + 1e-9, 1e6, 5e-324]), st.floats(0, 100))


@settings(max_examples=120, deadline=None)
@given(
    st.lists(st.tuples(_DOSE, st.lists(_SCORE, min_size=3, max_size=3)), min_size=2, max_size=6),
    st.fixed_dictionaries(
        {},
        optional={
            "scale": st.sampled_from(["liking", "just_about_right"]),
            "level_before": st.sampled_from([0, 1e-9, 5, 1e6]),
            "dose_unit": st.sampled_from(["g/L x", "mL/glass", "tsp/gal", "% vol", "g/L/L"]),
            "glass": st.sampled_from(["100 mL", "6 fl oz"]),
            "batch_volume": st.sampled_from(["20 L", "5 gal"]),
            "property": st.sampled_from(["ph", "gravity", "citrus_percent"]),
            "flat_within": st.sampled_from([1e-9, 100]),
            "noticeable_step_percent": st.sampled_from([1e-9, 1000]),
        },
    ),
)
def test_any_scores_are_answered_or_refused_in_words(rows: list[tuple[float, list[Any]]], more: dict[str, Any]) -> None:
    body = {"doses": [{"dose": dose, "scores": scores} for dose, scores in rows], **more}
    response = app().post(PATH, json=body)
    assert response.status_code in (200, 422), response.text
    if response.status_code == 200:
        assert table(response.json())


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["triangle", "two_afc", "duo_trio"]),
    st.integers(1, 10_000),
    st.floats(0, 1),
    st.fixed_dictionaries(
        {},
        optional={
            "alpha": st.floats(0.0001, 0.4),
            "power_wanted": st.floats(0.41, 0.999),
            "discriminators": st.floats(0.01, 1),
            "tasters": st.just(1),
        },
    ),
)
def test_any_difference_test_is_answered(kind: str, n: int, share: float, more: dict[str, Any]) -> None:
    answer = taste({"difference_test": {"kind": kind, "n": n, "correct": round(share * n), **more}})
    found = answer["difference"]
    assert found["significant"] == (answer["outcome"] == "difference_found")
    if found["critical_count"] is not None:
        assert found["significant"] == (found["correct"] >= found["critical_count"])
    assert found["discriminators"]["low"] <= found["discriminators"]["value"] <= found["discriminators"]["high"]
    assert "not_significant_proves_nothing" in codes(answer) or found["significant"]
    assert table(answer)


# Rows and the command line.


def _rows(body: dict[str, Any]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(app().post(f"{PATH}.csv", json=body).text)))


def test_a_row_for_every_dose() -> None:
    rows = _rows(scored(dose_unit="g/L honey", batch_volume="25 L"))
    assert [float(row["dose"]) for row in rows] == [0, 10, 20, 30, 40]
    assert {row["best_dose"] for row in rows} == {"23.2941"}
    assert float(rows[0]["batch_amount"]) == pytest.approx(582.353)
    assert rows[0]["outcome"] == "best_dose"


def test_a_row_for_a_test() -> None:
    (row,) = _rows(TEST)
    assert (row["outcome"], row["critical_count"], row["next_n_first"]) == ("no_difference_shown", "5", "16")
    assert "Not significant is no proof" in row["cautions"]


@pytest.mark.parametrize("file", examples("judge_tasting"), ids=lambda path: path.stem)
def test_a_file_is_told_by_its_doses_or_its_test(file: Path) -> None:
    status, body = answer_file(file, None)
    assert (status, body["outcome"]) == (200, worked(file)["response"]["body"]["outcome"])
    lines = table(body).splitlines()
    assert max(len(line) for line in lines if not line.startswith("Note: ")) <= 120
    words = "power of this test" if body["difference"] else "Dose: scores, mean"
    assert any(words in line for line in lines)
    assert any(line.startswith("NOTE: Alcohol") for line in lines)


def test_examples_are_invented_and_of_every_kind() -> None:
    files = sorted((EXAMPLES / "judge_tasting").glob("*.json"))
    assert all(worked(file)["summary"].startswith("Invented") for file in files)
    outcomes = {worked(file)["response"]["body"].get("outcome") for file in files}
    assert outcomes >= {"best_dose", "no_optimum_found", "no_difference_shown", "difference_found", None}
