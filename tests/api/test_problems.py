"""Errors of the service and failures as problem documents; ids, headers and the log line around them."""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.api.app import create_app
from service.api.guards import Envelope, nesting_exceeds
from service.api.logs import ACCESS_LOGGER
from service.api.problems import PROBLEM_KINDS, json_safe, problem_from_error, request_id_of
from service.api.settings import Settings
from service.errors import OutOfRangeError
from tests.api.echo import ERRORS, client, router

app = client()


@pytest.mark.parametrize(
    ("name", "status", "slug"),
    [
        ("range", 422, "out-of-range"),
        ("readings", 422, "readings-contradict"),
        ("later", 422, "not-answered-yet"),
        ("unknown", 422, "unknown-ingredient"),
        ("path", 404, "unknown-ingredient"),
        ("plain", 422, "not-answered"),
        ("solver", 500, "optimiser-failed"),
        ("other", 500, "internal-error"),
        ("400", 400, "bad-request"),
        ("404", 404, "not-found"),
        ("409", 409, "bad-request"),
        ("422", 422, "request-invalid"),
        ("429", 429, "too-many-requests"),
        ("500", 500, "internal-error"),
        ("503", 503, "busy"),
        ("504", 504, "internal-error"),
        ("599", 599, "internal-error"),
    ],
)
def test_every_error_is_a_problem(name: str, status: int, slug: str, caplog: pytest.LogCaptureFixture) -> None:
    response = app.get(f"/v1/failures/{name}")
    problem = response.json()
    assert (response.status_code, problem["status"], problem["type"]) == (status, status, f"/problems/{slug}")
    assert response.headers["content-type"] == "application/problem+json"
    assert response.headers["x-content-type-options"] == "nosniff"
    assert problem["instance"] == f"/v1/failures/{name}"
    assert "secret" not in response.text
    if name in ("solver", "other"):
        assert "secret inner state" in caplog.text
        assert problem["request_id"] in caplog.text
    if name.isdigit():
        assert response.headers["retry-after"] == "1"
    assert app.get(problem["type"]).status_code == 200


def test_an_answer_without_a_body_stays_without() -> None:
    response = app.get("/v1/failures/304")
    assert (response.status_code, response.content) == (304, b"")


def test_the_fault_of_an_error_keeps_its_pointer() -> None:
    problem = app.get("/v1/failures/range").json()
    assert problem["errors"] == [{"pointer": "/lots/0/temperature", "detail": "Too warm."}]
    assert problem["title"] == "A value lies outside the range of a formula"


def test_an_error_as_one_result_among_several() -> None:
    document = problem_from_error({"type": "http", "path": "/v1/batch"}, ERRORS["unknown"])
    assert (document["status"], document["request_id"], document["instance"]) == (422, "", "/v1/batch")


def test_every_kind_of_problem_has_its_own_words() -> None:
    assert len({kind.title for kind in PROBLEM_KINDS.values()}) == len(PROBLEM_KINDS)


def test_an_error_of_a_new_class_is_answered_as_its_parent() -> None:
    class NewError(OutOfRangeError):
        title = "New"

    document = problem_from_error({"type": "http"}, NewError("x"))
    assert (document["type"], document["title"]) == ("/problems/out-of-range", "New")


@pytest.mark.parametrize("given_id", ["abc-1._Z", "a" * 64])
def test_a_request_id_comes_back(given_id: str) -> None:
    assert app.get("/healthz", headers={"X-Request-ID": given_id}).headers["x-request-id"] == given_id


@pytest.mark.parametrize("given_id", ["", "a" * 65, "a b", 'a"b', "a;b", "<b>"])
def test_a_request_id_that_cannot_be_used_is_replaced(given_id: str) -> None:
    request_id = app.get("/healthz", headers={"X-Request-ID": given_id}).headers["x-request-id"]
    assert request_id != given_id
    assert len(request_id) == 32


def test_security_headers_stand_on_every_answer() -> None:
    for path in ("/healthz", "/v1/limits", "/nothing", "/docs", "/v1/failures/other"):
        headers = app.get(path).headers
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert headers["content-security-policy"].startswith("default-src 'none'")


def test_one_log_line_without_body_or_query(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.INFO, logger=ACCESS_LOGGER):
        app.post("/v1/echoes?secret=1", json={"batch": "secret"})
    lines = [record.getMessage() for record in caplog.records if record.name == ACCESS_LOGGER]
    assert len(lines) == 1
    line = json.loads(lines[0])
    assert {"method": "POST", "path": "/v1/echoes", "operation": "echo_body", "status": 200}.items() <= line.items()
    assert line["milliseconds"] > 0
    assert line["bytes"] > 0
    assert "secret" not in lines[0]


def test_an_answer_that_has_begun_is_broken_off() -> None:
    async def half(_scope: Any, _receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": []})
        raise ZeroDivisionError

    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        raise AssertionError

    scope: dict[str, Any] = {"type": "http", "method": "GET", "path": "/", "headers": []}
    with pytest.raises(ZeroDivisionError):
        Envelope(half)(scope, receive, send).send(None)
    assert [message["type"] for message in sent] == ["http.response.start"]
    assert request_id_of(scope)


def test_a_client_that_leaves_gets_no_answer() -> None:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.disconnect"}

    scope = {"type": "http", "method": "POST", "path": "/v1/echoes", "query_string": b"", "headers": []}
    asyncio.run(create_app(Settings(), [router])(scope, receive, send))
    assert sent == []


def test_the_lifespan_passes_through_the_guards() -> None:
    seen: list[str] = []

    @asynccontextmanager
    async def lifespan(_app: Any) -> AsyncIterator[None]:
        seen.append("start")
        yield
        seen.append("stop")

    with client(lifespan=lifespan) as running:
        assert running.get("/healthz").status_code == 200
    assert seen == ["start", "stop"]


@given(
    st.recursive(
        st.floats() | st.text(st.characters()) | st.integers() | st.none(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters()), inner),
        max_leaves=10,
    )
)
def test_json_safe_is_readable_by_any_reader(value: Any) -> None:
    text = json.dumps(json_safe(value), allow_nan=False, ensure_ascii=False)
    assert text.encode("utf-8")


brackets = st.recursive(st.just(0), lambda inner: st.lists(inner, max_size=3), max_leaves=20)


@given(brackets, st.integers(0, 5))
def test_nesting_is_counted(value: Any, max_depth: int) -> None:
    def depth(here: Any) -> int:
        return 1 + max(map(depth, here), default=0) if isinstance(here, list) else 0

    body = json.dumps(["]", value, '[\\"[']).encode()
    assert nesting_exceeds(body, max_depth) is (depth(value) + 1 > max_depth)


@given(st.binary(max_size=200))
def test_nesting_takes_any_bytes(body: bytes) -> None:
    assert nesting_exceeds(body, 10**6) is False
    nesting_exceeds(body, 0)
