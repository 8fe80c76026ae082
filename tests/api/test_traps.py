"""What a default application of this framework gets wrong: one test for each trap."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any

import pytest

from service.api.settings import Settings
from tests.api.echo import client

app = client()
JSON = {"Content-Type": "application/json"}


def post(body: str | bytes, **headers: str) -> Any:
    return app.post("/v1/echoes", content=body, headers={**JSON, **headers})


def lot_with_gravity(gravity: str) -> Any:
    return post('{"lots": [{"name": "dry", "gravity": ' + gravity + "}]}")


def assert_problem(response: Any, status: int, slug: str, pointer: str | None = None) -> dict[str, Any]:
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["cache-control"] == "no-store"
    problem: dict[str, Any] = json.loads(response.content.decode("utf-8"), parse_constant=pytest.fail)
    assert list(problem) == ["type", "title", "status", "detail", "instance", "errors", "request_id"]
    assert problem["type"] == f"/problems/{slug}"
    assert problem["status"] == status
    assert problem["request_id"] == response.headers["x-request-id"]
    if pointer is not None:
        assert [error["pointer"] for error in problem["errors"]] == [pointer]
    return problem


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_not_finite(number: str) -> None:
    problem = assert_problem(lot_with_gravity(number), 422, "request-invalid", "/lots/0/gravity")
    assert "finite" in problem["errors"][0]["detail"]


def test_a_lone_surrogate() -> None:
    assert_problem(post('{"batch": "\\ud800"}'), 422, "request-invalid", "/batch")
    assert_problem(post('{"\\ud800": 1}'), 422, "request-invalid", "")


@pytest.mark.parametrize("value", ["true", '"1.5"', "null", "[1.0]"])
def test_only_a_number_is_a_number(value: str) -> None:
    assert_problem(lot_with_gravity(value), 422, "request-invalid")


def test_whole_numbers_are_numbers_and_fractions_are_no_whole_numbers() -> None:
    response = post('{"lots": [{"name": "dry", "gravity": 1}], "packs": 4}')
    assert response.json() == {"batch": None, "gravities": [1.0]}
    assert_problem(post('{"packs": 4.5}'), 422, "request-invalid", "/packs")
    assert_problem(post('{"packs": true}'), 422, "request-invalid", "/packs")


def test_an_unknown_field() -> None:
    problem = assert_problem(
        post('{"lots": [{"name": "dry", "gravty": 1.0}]}'), 422, "request-invalid", "/lots/0/gravty"
    )
    assert 'Did you mean "gravity"?' in problem["detail"]
    problem = assert_problem(post('{"zzz/~": 1}'), 422, "request-invalid", "/zzz~1~0")
    assert "Known: anything, batch, lots, packs." in problem["detail"]


def test_a_misspelt_query_parameter() -> None:
    problem = assert_problem(app.get("/v1/echo?gravty=1.01"), 422, "request-invalid", "/gravty")
    assert problem["detail"] == 'There is no query parameter "gravty" here. Did you mean "gravity"?'


def test_a_query_parameter_given_twice() -> None:
    assert_problem(app.get("/v1/echo?gravity=1.01&gravity=1.02"), 422, "request-has-to-change", "/gravity")


@pytest.mark.parametrize("text", ["1,012", "nan", "inf", "1_0", "1e999", "", "true"])
def test_numbers_in_a_url(text: str) -> None:
    problem = assert_problem(app.get("/v1/echo", params={"gravity": text}), 422, "request-invalid", "/gravity")
    if "," in text:
        assert problem["detail"] == "Use a decimal point: 1.012."


def test_numbers_in_a_url_are_read() -> None:
    response = app.get("/v1/echo?gravity=1.012&steps=2&note=spring%20batch")
    assert response.json() == {"batch": "spring batch", "gravities": [1.012, 1.012]}
    assert_problem(app.get("/v1/echo?steps=1.5"), 422, "request-invalid", "/steps")
    assert_problem(app.get("/v1/echo?note=a%00b"), 422, "request-invalid", "/note")


@pytest.mark.parametrize("body", ["{", '{"batch": }', "[1,]", "'a'", '{"batch": "a\nb"}'])
def test_unreadable_json(body: str) -> None:
    problem = assert_problem(post(body), 400, "json-unreadable", "")
    assert re.search(r"line \d+, column \d+", problem["detail"])


@pytest.mark.parametrize("body", [b'{"batch": "\xff"}', b"9" * 5000])
def test_bytes_that_cannot_be_read(body: bytes) -> None:
    problem = assert_problem(post(body), 400, "bad-request")
    assert "UTF-8" in problem["detail"]


def test_a_body_of_the_wrong_shape() -> None:
    assert "braces" in assert_problem(post("[]"), 422, "request-invalid", "")["detail"]
    assert "needs a JSON body" in assert_problem(post(""), 422, "request-invalid", "")["detail"]
    assert_problem(post('{"lots": {}}'), 422, "request-invalid", "/lots")
    assert_problem(post('{"lots": [{}]}'), 422, "request-invalid", "/lots/0/name")
    assert_problem(post('{"batch": 7}'), 422, "request-invalid", "/batch")


def test_the_branches_of_a_union_do_not_show() -> None:
    range_with_a_typo = '{"lots": [{"name": "dry", "gravity": {"min": 1.0, "maxx": 1.1}}]}'
    problem = assert_problem(post(range_with_a_typo), 422, "request-invalid", "/lots/0/gravity/maxx")
    assert 'Did you mean "max"?' in problem["detail"]
    assert_problem(
        post('{"lots": [{"name": "dry", "gravity": {"min": "1"}}]}'), 422, "request-invalid", "/lots/0/gravity/min"
    )
    assert_problem(post('{"lots": [{"name": "dry", "gravity": "1"}]}'), 422, "request-invalid", "/lots/0/gravity")


def test_a_quantity_that_cannot_be_read_keeps_its_place() -> None:
    problem = assert_problem(
        post('{"lots": [{"name": "dry", "volume": "12 oz"}]}'), 422, "request-invalid", "/lots/0/volume"
    )
    assert "fl oz, or oz by weight?" in problem["detail"]
    problem = assert_problem(
        post('{"lots": [{"name": "dry", "volume": 24}]}'), 422, "request-invalid", "/lots/0/volume"
    )
    assert '"2.5 kg"' in problem["detail"]
    two = assert_problem(post('{"packs": -1, "lots": [{"name": "a\\nb"}]}'), 422, "request-invalid")
    assert {error["pointer"] for error in two["errors"]} == {"/packs", "/lots/0/name"}
    assert two["detail"] == "2 places in the request have to change; see errors."


def test_many_faults_are_cut() -> None:
    body = json.dumps({f"field {number}": 1 for number in range(200)})
    problem = assert_problem(post(body), 422, "request-invalid")
    assert len(problem["errors"]) == 51
    assert problem["errors"][-1]["detail"] == "150 more places have to change."


def test_an_unknown_path() -> None:
    assert_problem(app.get("/v1/nothing"), 404, "not-found")
    assert_problem(app.post("/v1/nothing", content=b"x" * 400_000), 404, "not-found")


def test_an_unknown_method() -> None:
    response = app.get("/v1/echoes")
    assert_problem(response, 405, "method-not-allowed")
    assert response.headers["allow"] == "POST, OPTIONS"
    response = app.post("/v1/echo", content=b"{}")
    assert_problem(response, 405, "method-not-allowed")
    assert response.headers["allow"] == "GET, HEAD, OPTIONS"


def test_a_body_declared_too_large() -> None:
    assert_problem(post(b" " * (256 * 1024 + 1)), 413, "body-too-large")
    assert_problem(app.request("GET", "/v1/echo", content=b" " * (256 * 1024 + 1)), 413, "body-too-large")
    assert post(b'{"batch": "a"}' + b" " * (256 * 1024 - 14)).status_code == 200


def test_a_body_counted_too_large() -> None:
    def chunks() -> Iterator[bytes]:
        for _ in range(9):
            yield b" " * 32 * 1024

    response = app.post("/v1/echoes", content=chunks(), headers=JSON)
    assert "content-length" not in response.request.headers
    assert_problem(response, 413, "body-too-large")


def test_a_chunked_body_is_read() -> None:
    response = app.post("/v1/echoes", content=iter([b'{"batch": ', b'"a"}']), headers=JSON)
    assert response.json()["batch"] == "a"


def test_a_url_too_long() -> None:
    path = "/v1/echo?note="
    assert_problem(app.get(path + "a" * 60_000), 414, "url-too-long")
    assert_problem(app.get(path + "a" * (2049 - len(path))), 414, "url-too-long")
    assert_problem(app.get(path + "a" * (2048 - len(path))), 422, "request-has-to-change", "/note")


@pytest.mark.parametrize(
    "headers",
    [
        {"Content-Type": "text/plain"},
        {"Content-Type": "application/x-www-form-urlencoded"},
        {"Content-Type": "application/json; charset=latin-1"},
        {"Content-Type": "application/json", "Content-Encoding": "gzip"},
        {},
    ],
)
def test_a_body_that_is_not_sent_as_json(headers: dict[str, str]) -> None:
    assert_problem(app.post("/v1/echoes", content=b"{}", headers=headers), 415, "media-type-unsupported")


@pytest.mark.parametrize("content_type", ["application/json; charset=UTF-8", "application/merge-patch+json"])
def test_json_under_its_other_names(content_type: str) -> None:
    assert app.post("/v1/echoes", content=b"{}", headers={"Content-Type": content_type}).status_code == 200


def test_nesting() -> None:
    assert_problem(post('{"anything": ' + "[" * 32 + "]" * 32 + "}"), 400, "nesting-too-deep")
    assert_problem(post("[" * 100_000), 400, "nesting-too-deep")
    assert post('{"anything": ' + "[" * 31 + "]" * 31 + "}").status_code == 200
    assert post(json.dumps({"batch": "[{" * 50})).status_code == 200


def test_head_validates_like_get() -> None:
    for path in ("/v1/echo?gravity=1.01", "/v1/echo?gravity=1,01", "/v1/echo?x=1", "/v1/failures/solver", "/nothing"):
        got, asked = app.get(path), app.head(path)
        assert asked.status_code == got.status_code
        assert asked.content == b""
        assert asked.headers["content-type"] == got.headers["content-type"]
        assert asked.headers["content-length"] == got.headers["content-length"]


def test_options() -> None:
    for path, allow in (("/v1/echo", "GET, HEAD, OPTIONS"), ("/v1/echoes", "POST, OPTIONS")):
        response = app.options(path)
        assert (response.status_code, response.content, response.headers["allow"]) == (204, b"", allow)
    assert_problem(app.options("/v1/nothing"), 404, "not-found")


def test_a_slash_at_the_end_is_another_path() -> None:
    assert_problem(app.get("/v1/echo/", follow_redirects=False), 404, "not-found")


def test_long_lists_and_texts_are_refused_wherever_they_stand() -> None:
    assert_problem(post(json.dumps({"anything": {"a/b": [0] * 51}})), 422, "request-has-to-change", "/anything/a~1b")
    assert_problem(post(json.dumps({"anything": ["a" * 201]})), 422, "request-has-to-change", "/anything/0")
    problem = assert_problem(post(json.dumps({"anything": {"a" * 201: 1}})), 422, "request-has-to-change")
    assert problem["title"] == "Something in the request is too long, or given twice"
    narrower = client(Settings(max_list_items=10, max_string_characters=20))
    assert narrower.post("/v1/echoes", json={"anything": [["a" * 20]] + [0] * 9}).status_code == 200
    assert narrower.post("/v1/echoes", json={"anything": [["a" * 21]]}).status_code == 422
    assert narrower.post("/v1/echoes", json={"anything": [0] * 11}).status_code == 422


def test_a_route_without_a_body_ignores_what_is_sent() -> None:
    assert app.post("/v1/empty", content=b"{", headers=JSON).status_code == 200
