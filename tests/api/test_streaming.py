"""Progress before the answer: lines of JSON and server-sent events, over the test client and over a real socket.

The lines are those of the newline-delimited JSON that is common practice (no published standard); the events are read
as the HTML standard (WHATWG, section 9.2.6) tells a browser to; quality values are those of RFC 9110, section 12.5.1.
"""

from __future__ import annotations

import json
import logging
import threading
from collections.abc import Iterator
from itertools import pairwise
from time import monotonic
from typing import Any

import anyio
import httpx2
import pytest
from starlette.testclient import TestClient

from service.api.answering import planned
from service.api.app import create_app
from service.api.blends import blends_router
from service.api.reading_blend import trade_from
from service.api.requests_blend import TradeOffRequest
from service.api.settings import Settings
from service.api.streaming import EVENTS, LINES, Work, _Streamed
from service.api.trade_offs import trade_offs_router
from service.errors import InputError, SolverError
from service.planner.trade_off import plan as tracing
from tests.api.real import BASE, PATHS, changed, example, examples, patient, worked
from tests.clients.serving import Served, served
from tests.planner.trade_off_cases import ORANGE, without_acids

BATCH, TRADE = PATHS["solve_blends"], PATHS["trade_off"]
MANY = {"requests": [changed("targets", "gravity", to=1.003 + 0.001 * k) for k in range(6)]}
CURVE = {**ORANGE, "points": 8}
IN_PACKS = {
    **ORANGE,
    "additions": [
        {"ingredient": "orange_juice_concentrate_frozen", "pack": "340 g", "max_packs": 8},
        {"ingredient": "honey_acacia", "pack": "500 g", "max_packs": 5},
        {"ingredient": "water_deionised", "max": "5 L"},
    ],
    "points": 8,
}
WITHOUT_ACIDS = {**without_acids(ORANGE), "points": 8}
SHORT = {"lots": [{"name": "b", "volume": "10 L", "gravity": 0.998, "abv_percent": 8}], "targets": {"gravity": 0.998}}
WAITS_S = 60.0


@pytest.fixture(autouse=True)
def begins_when_something_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """And not after a while, in which a busy machine may not have found out that there is something to refuse."""
    monkeypatch.setattr("service.api.streaming._PATIENCE_S", WAITS_S)


def asked(path: str, body: Any, accept: str, client: TestClient | None = None) -> httpx2.Response:
    response: httpx2.Response = (client or patient()).post(path, json=body, headers={"Accept": accept})
    return response


def lines_of(text: str) -> list[tuple[str, Any]]:
    """Name and document of every line."""
    assert text.endswith("\n")
    found = [json.loads(line) for line in text[:-1].split("\n")]
    assert all(len(line) == 1 for line in found)
    return [next(iter(line.items())) for line in found]


def events_of(text: str) -> list[tuple[str, Any]]:
    """Name and data of every event, read by the rules of the HTML standard, section 9.2.6."""
    found, name, data = [], "", list[str]()
    for line in text.split("\n"):
        if not line:
            if data:
                found.append((name or "message", json.loads("\n".join(data))))
            name, data = "", []
            continue
        key, _, value = line.partition(":")
        value = value.removeprefix(" ")
        if key == "event":
            name = value
        elif key == "data":
            data.append(value)
    assert data == []
    return found


def read(response: httpx2.Response) -> list[tuple[str, Any]]:
    """What a stream holds, its form checked."""
    assert response.status_code == 200, response.text
    kind = response.headers["content-type"].split(";")[0]
    found = {LINES: lines_of, EVENTS: events_of}[kind](response.text)
    told = [document for name, document in found[:-1] if name == "progress"]
    assert len(told) == len(found) - 1 >= 2
    assert all(set(one) == {"done", "of", "what"} for one in told)
    assert len({(one["of"], one["what"]) for one in told}) == 1
    assert (told[0]["done"], told[-1]["done"]) == (0, told[0]["of"]) or found[-1][0] == "problem"
    assert all(a["done"] < b["done"] <= b["of"] for a, b in pairwise(told))
    return found


def quiet(answer: Any) -> Any:
    """An answer without how long it took and the id of its request."""
    if isinstance(answer, dict):
        return {k: quiet(v) for k, v in answer.items() if k not in ("milliseconds", "request_id")}
    return [quiet(v) for v in answer] if isinstance(answer, list) else answer


@pytest.mark.parametrize("media_type", [LINES, EVENTS])
@pytest.mark.parametrize(
    ("path", "body", "of", "what"),
    [
        (BATCH, MANY, 6, "requests"),
        (BATCH, {"requests": [BASE, {}, 3, {**BASE, "note": "a\u2028b\x85c\nd\u2029"}]}, 4, "requests"),
        (TRADE, CURVE, 8, "points"),
        (TRADE, IN_PACKS, 8, "points"),
        (TRADE, WITHOUT_ACIDS, 8, "points"),
        (TRADE, example("trade_off", "03"), None, "points"),
    ],
    ids=["batch", "problems", "acids", "packs", "no acids", "clash"],
)
def test_the_last_line_is_the_answer_as_it_is_without(
    media_type: str, path: str, body: Any, of: int | None, what: str
) -> None:
    response = asked(path, body, media_type)
    found = read(response)
    name, answer = found[-1]
    assert name == "result"
    assert quiet(answer) == quiet(asked(path, body, "application/json").json())
    assert found[0][1] == {"done": 0, "of": of or body.get("points", 25), "what": what}
    assert (response.headers["cache-control"], response.headers["x-accel-buffering"]) == ("no-store", "no")
    assert "content-length" not in response.headers
    # no character at which a reader of lines might break one, but the ends of lines themselves
    assert len(response.text.splitlines()) == len(response.text.split("\n")) - 1


def test_a_result_is_the_same_bytes_as_without() -> None:
    body = {"requests": [{}, 3]}
    named = {"X-Request-ID": "one-id"}
    plain = patient().post(BATCH, json=body, headers=named).text
    lines = patient().post(BATCH, json=body, headers={**named, "Accept": LINES}).text
    assert lines.split("\n")[-2] == f'{{"result":{plain}}}'


@pytest.mark.parametrize(
    ("accept", "expected"),
    [
        ("", "application/json"),
        ("*/*", "application/json"),
        ("application/json", "application/json"),
        (LINES, LINES),
        (EVENTS, EVENTS),
        ("Application/X-NDJSON", LINES),
        ("application/x-ndjson;charset=utf-8", LINES),
        (f"{LINES}, application/json", "application/json"),
        (f"application/json, {EVENTS}", "application/json"),
        (f"{LINES}, application/json;q=0.9", LINES),
        (f"{LINES};q=0.5, application/json;q=0.9", "application/json"),
        (f"{EVENTS}, {LINES};q=0.5", EVENTS),
        (f"{EVENTS};q=0.2, {LINES};q=0.5", LINES),
        (f"{LINES}, */*;q=0.1", LINES),
        (f"application/json;q=0, {LINES};q=0.001", LINES),
        (f"{LINES};q=0", "application/json"),
        ("application/*", "application/json"),
        ("text/*", EVENTS),
        ("text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8", "application/json"),
        ("text/html", "application/json"),
        ("image/png;q=1", "application/json"),
        (f"{LINES};q=much", "application/json"),
        (";;,/,=", "application/json"),
    ],
)
def test_what_a_caller_accepts(accept: str, expected: str) -> None:
    response = asked(BATCH, {"requests": [{}]}, accept)
    assert response.status_code == 200
    assert response.headers["content-type"].split(";")[0] == expected
    assert response.headers["vary"] == "Accept"
    if expected != "application/json":
        read(response)
    else:
        assert len(response.json()["results"]) == 1


def test_two_accept_headers_are_one_list() -> None:
    response = patient().post(
        BATCH, json={"requests": [{}]}, headers=[("Accept", "application/json;q=0.5"), ("Accept", LINES)]
    )
    assert response.headers["content-type"] == LINES


def test_a_trade_off_varies_too() -> None:
    assert asked(TRADE, CURVE, "").headers["vary"] == "Accept"


REFUSED: list[tuple[str, Any, int]] = [
    (BATCH, {"requests": []}, 422),
    (BATCH, [BASE], 422),
    (BATCH, {"requests": 2001 * [1]}, 422),
    (TRADE, {**CURVE, "points": 2}, 422),
    (TRADE, {**CURVE, "x": "citrus_percent"}, 422),
    (TRADE, {**CURVE, "lots": [], "additions": []}, 422),
    (TRADE, {**CURVE, "additions": [{"ingredient": "honney"}]}, 422),
    (TRADE, {**CURVE, "x": "cost", "additions": [{"ingredient": "honey_acacia", "max": "3 kg"}]}, 422),
]


@pytest.mark.parametrize("media_type", [LINES, EVENTS])
@pytest.mark.parametrize(("path", "body", "status"), REFUSED, ids=lambda value: str(value)[:20])
def test_what_is_refused_before_the_work_is_refused_as_ever(path: str, body: Any, status: int, media_type: str) -> None:
    plain, streamed = asked(path, body, ""), asked(path, body, media_type)
    assert plain.status_code == streamed.status_code == status
    assert streamed.headers["content-type"] == "application/problem+json"
    assert quiet(streamed.json()) == quiet(plain.json())


@pytest.mark.parametrize("path", [BATCH, TRADE])
def test_headers_and_other_methods_are_refused_as_ever(path: str) -> None:
    accept = {"Accept": LINES}
    json_type = {**accept, "Content-Type": "application/json"}
    client = patient()
    assert client.post(path, content="{}", headers={**accept, "Content-Type": "text/plain"}).status_code == 415
    assert client.post(path, content="{", headers=json_type).status_code == 400
    assert client.post(path, content=300_000 * b" ", headers=json_type).status_code == 413
    assert client.head(path, headers=accept).status_code == client.get(path, headers=accept).status_code == 405
    options = client.options(path, headers=accept)
    assert (options.status_code, options.headers["allow"]) == (204, "POST, OPTIONS")


def failing(error: Exception, after: int) -> Any:
    """A trade-off that fails after it told some points; none before the question is understood if `after` is 0."""

    def trade(_: Any, progress: Any) -> Any:
        for done in range(after):
            progress(done, 8)
        raise error

    return trade


@pytest.mark.parametrize(
    ("error", "status", "kind", "words"),
    [
        (ZeroDivisionError("inner state"), 500, "internal-error", "defect of the service"),
        (SolverError("inner state"), 500, "optimiser-failed", "defect of the service"),
        (InputError("Give a max.", "/additions/0/max"), 422, "request-has-to-change", "Give a max."),
    ],
)
@pytest.mark.parametrize("media_type", [LINES, EVENTS])
def test_what_fails_while_the_work_goes_on_is_the_last_line(
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    media_type: str,
    error: Exception,
    status: int,
    kind: str,
    words: str,
) -> None:
    monkeypatch.setattr("service.api.trade_offs.trade", failing(error, 3))
    response = patient().post(TRADE, json=CURVE, headers={"Accept": media_type, "X-Request-ID": "the-id"})
    name, problem = read(response)[-1]
    assert (name, problem["status"], problem["type"]) == ("problem", status, f"/problems/{kind}")
    assert (problem["instance"], problem["request_id"], words in problem["detail"]) == (TRADE, "the-id", True)
    assert "inner state" not in response.text
    logged = [record for record in caplog.records if record.name == "service.errors"]
    assert [record.exc_info is not None and record.exc_info[1] is error for record in logged] == (
        [True] if status == 500 else []
    )
    assert all("the-id" in record.getMessage() for record in logged)
    # the same before anything was told
    monkeypatch.setattr("service.api.trade_offs.trade", failing(error, 0))
    early = patient().post(TRADE, json=CURVE, headers={"Accept": media_type, "X-Request-ID": "the-id"})
    assert (early.status_code, early.headers["content-type"]) == (status, "application/problem+json")
    assert early.json() == problem


def test_an_answer_that_cannot_be_written_is_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.api.trade_offs.trade", lambda _, progress: (progress(8, 8), object())[1])
    name, problem = read(asked(TRADE, CURVE, LINES))[-1]
    assert (name, problem["status"]) == ("problem", 500)


def test_work_that_tells_nothing_for_long_is_answered_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("service.api.streaming._PATIENCE_S", 0.01)
    go_on = threading.Event()
    real = tracing.trade_off

    def silent(asked: Any, progress: Any) -> Any:
        assert go_on.wait(WAITS_S)
        return real(asked, progress)

    monkeypatch.setattr("service.api.trade_offs.trade", silent)
    with patient().stream("POST", TRADE, json=CURVE, headers={"Accept": LINES}) as response:
        pieces = response.iter_text()
        assert json.loads(next(pieces)) == {"progress": {"done": 0, "of": 8, "what": "points"}}
        go_on.set()
        *_, last = lines_of("".join(pieces))
    assert last[0] == "result"


@pytest.mark.parametrize("body", [CURVE, IN_PACKS, WITHOUT_ACIDS], ids=["acids", "packs", "no acids"])
def test_who_is_told_changes_nothing_and_may_end_the_work_at_any_word(body: Any) -> None:
    def question() -> Any:
        return trade_from(TradeOffRequest.model_validate(body), 10.0)

    told: list[tuple[int, int | None]] = []
    answer = tracing.trade_off(question(), lambda done, of: told.append((done, of)))
    assert answer == tracing.trade_off(question())
    assert (told[0], told[-1]) == ((0, 8), (8, 8))
    assert all(a[0] <= b[0] for a, b in pairwise(told))
    assert len({done for done, _ in told}) >= 4
    assert [done for done, _ in told].count(8) == 1  # all are done only at the end

    class EnoughError(Exception):
        pass

    for most in {1, 2, len(told) // 3, len(told) // 2, len(told) - 1}:
        words = 0

        def enough(_: int, __: int | None, most: int = most) -> None:
            nonlocal words
            words += 1
            if words == most:
                raise EnoughError

        with pytest.raises(EnoughError):
            tracing.trade_off(question(), enough)
        assert words == most


@pytest.fixture(scope="module")
def service() -> Iterator[Served]:
    with served() as running:
        yield running


class Gated:
    """Plans that are made one by one, as the test allows, and counted; or slowly, once it lets go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.allowed, self.begun, self.slow = threading.Semaphore(0), 0, False
        monkeypatch.setattr("service.api.batch.planned", self.planned)

    def planned(self, request: Any, deadline_s: float) -> Any:
        self.begun += 1
        assert self.allowed.acquire(timeout=0.02 if self.slow else WAITS_S) or self.slow
        return planned(request, deadline_s)


class Ended(logging.Handler):
    """Hears the line that the service logs when it has done with one request, known by its id."""

    request_id = "the-one-who-goes-away"

    def __init__(self) -> None:
        super().__init__()
        self.heard = threading.Event()

    def emit(self, record: logging.LogRecord) -> None:
        if self.request_id in record.getMessage():
            self.heard.set()


@pytest.mark.parametrize("media_type", [LINES, EVENTS])
def test_lines_arrive_while_the_work_goes_on(service: Served, monkeypatch: pytest.MonkeyPatch, media_type: str) -> None:
    """A plan is made only when the line before it was read: lines kept until the end would never come."""
    gate = Gated(monkeypatch)
    body = {"requests": 3 * [BASE]}
    with httpx2.stream(
        "POST", service.address + BATCH, json=body, headers={"Accept": media_type}, timeout=WAITS_S
    ) as response:
        assert response.headers["transfer-encoding"] == "chunked"
        text, pieces = "", response.iter_text()
        for done in range(3):
            while f'"done":{done},' not in text:
                text += next(pieces)
            assert gate.begun <= done + 1
            assert "result" not in text
            gate.allowed.release()
        text += "".join(pieces)
    found = {LINES: lines_of, EVENTS: events_of}[media_type](text)
    assert [document["done"] for _, document in found[:-1]] == [0, 1, 2, 3]
    assert [result["status"] for result in found[-1][1]["results"]] == [200, 200, 200]


def test_a_caller_who_goes_away_ends_the_work(
    service: Served, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Left alone, fifteen hundred plans of 20 ms each would go on for 30 s, the time that a batch has."""
    gate, ended = Gated(monkeypatch), Ended()
    log = logging.getLogger("service.access")
    caplog.set_level(logging.INFO, log.name)
    log.addHandler(ended)
    try:
        with httpx2.stream(
            "POST",
            service.address + BATCH,
            json={"requests": 1500 * [SHORT]},
            headers={"Accept": LINES, "X-Request-ID": ended.request_id},
            timeout=WAITS_S,
        ) as response:
            text, pieces = "", response.iter_text()
            gate.allowed.release()
            while '"done":1,' not in text:
                text += next(pieces)
        gate.slow = True
        gate.allowed.release()
        assert ended.heard.wait(20.0)
    finally:
        log.removeHandler(ended)
    made = gate.begun
    assert made < 150
    # the thread is free, and the service answers
    gate.allowed.release()
    again = httpx2.post(service.address + BATCH, json={"requests": [BASE]}, timeout=WAITS_S)
    assert (again.status_code, gate.begun) == (200, made + 1)


def test_lines_are_few_however_often_the_work_tells(monkeypatch: pytest.MonkeyPatch) -> None:
    """At most about twenty a second, and one at either end."""
    begun = monotonic()
    answered = tracing.trade_off(trade_from(TradeOffRequest.model_validate(CURVE), 10.0))

    def chatty(_: Any, progress: Any) -> Any:
        for k in range(100_000):
            progress(k // 12_500, 8)
        progress(8, 8)
        return answered

    monkeypatch.setattr("service.api.trade_offs.trade", chatty)
    found = read(asked(TRADE, CURVE, LINES))
    assert len(found) <= 3 + 20.0 * (monotonic() - begun)
    assert found[-1][0] == "result"


def test_the_service_stays_awake_beside_a_stream(service: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    gate = Gated(monkeypatch)
    with httpx2.stream(
        "POST", service.address + BATCH, json={"requests": [BASE]}, headers={"Accept": LINES}, timeout=WAITS_S
    ) as response:
        pieces = response.iter_text()
        assert "progress" in next(pieces)
        assert httpx2.get(service.address + "/healthz", timeout=WAITS_S).json() == {"status": "alive"}
        gate.allowed.release()
        assert "result" in "".join(pieces)


def test_a_server_that_tells_of_a_lost_caller_by_an_error_is_understood() -> None:
    """ASGI 2.4: `send` raises OSError once the caller has gone."""
    stopped = threading.Event()

    def run(progress: Any) -> int:
        progress(0, 1)
        try:
            while not stopped.wait(0.001):
                progress(0, 1)
        except BaseException:
            stopped.set()
            raise
        return 1

    async def receive() -> Any:
        await anyio.sleep_forever()

    async def send(message: Any) -> None:
        if message["type"] == "http.response.body":
            raise OSError

    anyio.run(_Streamed(LINES, Work(run, 1, "points", int)), {"type": "http"}, receive, send)
    assert stopped.is_set()


def test_the_document_tells_of_the_lines() -> None:
    document = create_app(Settings(), [blends_router(Settings()), trade_offs_router(Settings())]).openapi()
    for path, answer, what in ((BATCH, "BatchAnswer", "requests"), (TRADE, "TradeOff", "points")):
        content = document["paths"][path]["post"]["responses"]["200"]["content"]
        assert list(content) == ["application/json", LINES, EVENTS]
        assert content["application/json"]["schema"] == {"$ref": f"#/components/schemas/{answer}"}
        line = content[LINES]["schema"]
        parts = {name: part for one in line["oneOf"] for name, part in one["properties"].items()}
        assert parts["result"] == content["application/json"]["schema"]
        (_, told), *_ = lines_of(asked(path, {"requests": [{}]} if path == BATCH else CURVE, LINES).text)
        assert list(parts["progress"]["properties"]) == parts["progress"]["required"] == list(told)
        assert parts["progress"]["properties"]["what"] == {"const": what, "description": "What is counted."}
        assert content[EVENTS]["schema"]["type"] == "string"


@pytest.mark.slow
@pytest.mark.parametrize("path", examples("trade_off"), ids=lambda path: str(path.stem))
def test_every_worked_curve_is_streamed_as_it_is_answered(path: Any) -> None:
    body = worked(path)["request"]
    assert quiet(read(asked(TRADE, body, LINES))[-1][1]) == quiet(asked(TRADE, body, "").json())
