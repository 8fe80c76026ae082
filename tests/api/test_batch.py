"""`POST /v1/blend-plans:batch`: every request is answered or refused by itself, in the order sent."""

from __future__ import annotations

import csv
import io
import json
from time import process_time
from typing import Any

import pytest
from starlette.testclient import TestClient

from service.api.answering import planned
from service.api.main import build_app
from service.api.settings import Settings
from tests.api.real import BASE, PATHS, all_examples, app, changed, plan, post, worked

PATH = PATHS["solve_blends"]
PLANS = PATHS["solve_blend"]
PORTIONED = {
    **changed("targets", to={}),
    "portions": [{"name": "dry", "volume": "4 L"}, {"name": "rest", "volume": {"min": "3 L", "max": "8 L"}}],
}


def results(*requests: Any) -> list[dict[str, Any]]:
    """The results of a batch."""
    found: list[dict[str, Any]] = post(PATH, {"requests": list(requests)})["results"]
    assert len(found) == len(requests)
    for result in found:
        assert set(result) == {"status", "plan", "problem"}
        assert (result["plan"] is None) is (result["status"] != 200) is not (result["problem"] is None)
    return found


def timeless(answer: dict[str, Any]) -> dict[str, Any]:
    """An answer without what differs between two runs."""
    proof = {name: value for name, value in answer["proof"].items() if name != "milliseconds"}
    return {**answer, "proof": proof}


def gravities(*values: float) -> list[dict[str, Any]]:
    """The base request at several gravities."""
    return [changed("targets", "gravity", to=value) for value in values]


def test_each_answer_is_the_one_it_would_be_alone_in_the_order_sent() -> None:
    asked = [
        *(worked(path)["request"] for path in all_examples("solve_blend")),
        *gravities(1.02, 1.005, 1.011),
        PORTIONED,
    ]
    for request, result in zip(asked, results(*asked), strict=True):
        alone = app().post(PLANS, json=request)
        assert result["status"] == alone.status_code
        if alone.status_code == 200:
            assert timeless(result["plan"]) == timeless(alone.json())
        else:
            assert {**result["problem"], "request_id": ""} == {**alone.json(), "request_id": ""}


BAD: list[tuple[Any, str, str]] = [
    (7, "", "names and values in braces"),
    (None, "", "names and values in braces"),
    ("lots", "", "names and values in braces"),
    ([BASE], "", "names and values in braces"),
    ({}, "/lots", "needed"),
    (changed("lots", 0, "volume", to="10"), "/lots/0/volume", "the unit is missing"),
    (changed("targets", "gravity", to=1012), "/targets/gravity", "Did you mean 1.012?"),
    ({**BASE, "target": {}}, "/target", 'Did you mean "targets"?'),
    (changed("additions", 0, "ingredient", to="honney"), "/additions/0/ingredient", "honey_average"),
    (changed("additions", to=51 * BASE["additions"]), "/additions", "at most 50 items; these are 51"),
    ({**BASE, "note": 201 * "x"}, "/note", "at most 200 characters; these are 201"),
    ({**BASE, 201 * "n": 1}, "", "field's name here has 201 characters"),
    ({**BASE, "note": "\ud800"}, "/note", "surrogate"),
    ({"requests": [BASE]}, "/requests", 'There is no field "requests" here'),
]


@pytest.mark.parametrize(("body", "pointer", "words"), BAD, ids=lambda value: str(value)[:24])
def test_a_bad_request_is_refused_alone_with_its_own_pointers(body: Any, pointer: str, words: str) -> None:
    """The text is sent as such: a lone surrogate has no UTF-8."""
    text = json.dumps({"requests": [BASE, body, BASE]})
    response = app().post(PATH, content=text, headers={"Content-Type": "application/json"})
    assert response.status_code == 200
    first, refused, last = response.json()["results"]
    assert (first["status"], refused["status"], last["status"]) == (200, 422, 200)
    told = {error["pointer"]: error["detail"] for error in refused["problem"]["errors"]}
    assert words in told[pointer]
    assert not any(pointer.startswith("/requests/") for pointer in told)
    assert timeless(first["plan"]) == timeless(last["plan"]) == timeless(plan(BASE))
    alone = app().post(PLANS, content=json.dumps(body), headers={"Content-Type": "application/json"})
    if body is not None:  # a body of null alone is told that there is none
        assert {**alone.json(), "request_id": ""} == {**refused["problem"], "request_id": ""}


def test_problems_carry_the_id_of_the_call() -> None:
    response = app().post(PATH, json={"requests": [{}, 3]}, headers={"X-Request-ID": "sweep-7"})
    assert [r["problem"]["request_id"] for r in response.json()["results"]] == 2 * [response.headers["X-Request-ID"]]


@pytest.mark.parametrize(
    ("body", "pointer", "words"),
    [
        ({"requests": []}, "/requests", "at least 1 item"),
        ({}, "/requests", "needed"),
        ({"requests": BASE}, "/requests", "a list in square brackets"),
        ({"requests": [BASE], "note": "n"}, "/note", 'There is no field "note" here'),
        ([BASE], "", "names and values in braces"),
    ],
)
@pytest.mark.parametrize("suffix", ["", ".csv"])
def test_what_is_wrong_with_the_list_refuses_the_whole(body: Any, pointer: str, words: str, suffix: str) -> None:
    ((told,),) = [post(PATH + suffix, body, 422)["errors"]]
    assert (told["pointer"], words in told["detail"]) == (pointer, True), told


def test_too_many_requests_are_refused_whole() -> None:
    few = TestClient(build_app(Settings(max_batch_requests=3)))
    assert few.post(PATH, json={"requests": 3 * [{}]}).status_code == 200
    response = few.post(PATH, json={"requests": 4 * [{}]})
    assert response.status_code == 422
    (told,) = response.json()["errors"]
    assert told == {"pointer": "/requests", "detail": "Send at most 3 requests at once; these are 4."}


def test_a_batch_up_to_the_limit_of_a_body_is_answered() -> None:
    limit = app().get("/v1/limits").json()["max_body_bytes"]
    lot = {"name": "b", "volume": "10 L", "gravity": 0.998, "abv_percent": 8}
    good = json.dumps({"lots": [lot], "targets": {"gravity": 0.998}})
    wrong = json.dumps({"lots": 3, "note": 130 * "n"})
    requests = 200 * [good]
    requests += (limit - 100 - len(good) * 202) // (len(wrong) + 1) * [wrong]
    text = '{"requests":[' + ",".join(requests) + "]}"
    text += (limit - len(text)) * " "
    assert limit == len(text.encode()) == 256 * 1024
    assert 1500 < len(requests) <= app().get("/v1/limits").json()["max_batch_requests"]
    response = app().post(PATH, content=text, headers={"Content-Type": "application/json"})
    assert response.status_code == 200
    assert [r["status"] for r in response.json()["results"]] == [200 if r == good else 422 for r in requests]
    over = app().post(PATH, content=text + " ", headers={"Content-Type": "application/json"})
    assert over.status_code == 413


def test_what_would_start_too_late_is_to_be_sent_again() -> None:
    hurried = TestClient(build_app(Settings(batch_deadline_s=0.05)))
    answered = hurried.post(PATH, json={"requests": gravities(*(1.0 + 0.0001 * k for k in range(150)))})
    assert answered.status_code == 200
    statuses = [r["status"] for r in answered.json()["results"]]
    on_time = statuses.count(200)
    assert 0 < on_time < 150
    assert statuses == on_time * [200] + (150 - on_time) * [503]
    late = answered.json()["results"][-1]["problem"]
    assert (late["type"], late["errors"]) == ("/problems/busy", [])
    assert "send it again" in late["detail"]
    rows = hurried.post(f"{PATH}.csv", json={"requests": gravities(*(1.0 + 0.0001 * k for k in range(150)))})
    assert [row["status"] for row in read(rows.text)][-1] == "503"


def test_a_defect_that_one_request_meets_is_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(request: Any, deadline_s: float) -> Any:
        if request.note == "break":
            raise ZeroDivisionError
        return planned(request, deadline_s)

    monkeypatch.setattr("service.api.batch.planned", broken)
    first, failed, last = results(BASE, {**BASE, "note": "break"}, BASE)
    assert (first["status"], failed["status"], last["status"]) == (200, 500, 200)
    assert failed["problem"]["type"] == "/problems/internal-error"
    assert "ZeroDivision" not in json.dumps(failed)


def test_a_batch_takes_no_longer_than_its_requests_one_by_one() -> None:
    asked = gravities(*(1.003 + 0.0005 * k for k in range(25)))
    results(*asked)  # warm
    ratios: list[float] = []
    while len(ratios) < 2 or (len(ratios) < 6 and min(ratios) >= 1.25):
        begun = process_time()
        for request in asked:
            plan(request)
        single = process_time() - begun
        begun = process_time()
        results(*asked)
        ratios.append((process_time() - begun) / single)
    assert min(ratios) < 1.25, ratios


def read(text: str) -> list[dict[str, str]]:
    """Rows of a CSV."""
    return list(csv.DictReader(io.StringIO(text)))


def test_rows_are_numbered_and_hold_what_each_answer_holds() -> None:
    other = changed("additions", to=[{"ingredient": "sugar_white"}])
    asked = [BASE, 3, PORTIONED, other, {**BASE, "batch": "=1+1"}]
    response = app().post(f"{PATH}.csv", json={"requests": asked})
    assert response.headers["content-type"].startswith("text/csv")
    rows = read(response.text)
    assert [row["request"] for row in rows] == ["1", "2", "3", "3", "4", "5"]
    assert [row["status"] for row in rows] == ["200", "422", "200", "200", "200", "200"]
    assert rows[1]["problem"] == "Write names and values in braces."
    assert {value for name, value in rows[1].items() if name not in ("request", "status", "problem")} == {""}
    assert [row["portion"] for row in rows] == ["", "", "dry", "rest", "", ""]
    single = results(*asked)
    assert float(rows[0]["honey_acacia_mass_g"]) == single[0]["plan"]["amounts"][1]["mass_g"]
    assert rows[0]["sugar_white_mass_g"] == rows[4]["honey_acacia_mass_g"] == ""
    assert float(rows[4]["sugar_white_mass_g"]) == single[3]["plan"]["amounts"][1]["mass_g"]
    assert float(rows[3]["volume_l"]) == single[2]["plan"]["portions"][1]["predicted"]["volume"]["value"]
    assert rows[5]["batch"] == "'=1+1"


def test_the_document_shows_the_body_of_one_request() -> None:
    document = app().get("/v1/openapi.json").json()
    operation = document["paths"][PATH]["post"]
    assert operation["operationId"] == "solve_blends"
    assert document["paths"][f"{PATH}.csv"]["post"]["operationId"] == "solve_blends_csv"
    schemas = document["components"]["schemas"]
    items = schemas["BlendBatchRequest"]["properties"]["requests"]["items"]
    assert items == {"$ref": "#/components/schemas/BlendPlanRequest"}
    assert "lots" in schemas["BlendPlanRequest"]["properties"]
    shown = schemas["BatchResult"]["properties"]
    assert {"$ref": "#/components/schemas/BlendPlan"} in shown["plan"]["anyOf"]
    assert {"$ref": "#/components/schemas/PortionedPlan"} in shown["plan"]["anyOf"]
    assert {"$ref": "#/components/schemas/Problem"} in shown["problem"]["anyOf"]
    examples = operation["requestBody"]["content"]["application/json"]["examples"]
    assert sorted(examples) == [path.stem for path in all_examples("solve_blends")]


def test_get_is_not_answered_here() -> None:
    response = app().get(PATH)
    assert response.status_code == 405
    assert "POST" in response.headers["allow"]
