"""What HAProxy, set up as the README tells, does with one request, before stand-ins for replicas.

Whatever a replica answers, its stand-ins here answer what they are told.
"""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Literal

import httpx2
import pytest

from tests.api.real import PATHS
from tests.clients.fronting import HONEY, LARGEST_BODY, LOT, WAITS_S, Front, free_ports, fronted, wait_for
from tests.clients.serving import served

Does = Literal["answers", "goes", "is full", "streams"]
LINES = 20


@dataclass
class StandIn:
    """A replica that is always ready, and does with every request what it is told."""

    port: int
    does: Does
    heads: list[dict[str, str]] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)
    next_line: threading.Semaphore = field(default_factory=lambda: threading.Semaphore(1))
    """What a stream waits for before each of its lines."""


@contextmanager
def standing_in(does: Does) -> Iterator[StandIn]:
    """A stand-in that listens."""

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *_: object) -> None:
            """Nothing: the log of a test is what it asserts."""

        def answer(self, status: int, **headers: str) -> None:
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name.replace("_", "-"), value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def do_POST(self) -> None:
            self.do_GET()

        def do_GET(self) -> None:
            if self.path == "/readyz":
                self.answer(200)
                return
            seen.heads.append({name.lower(): value for name, value in self.headers.items()})
            seen.bodies.append(self.rfile.read(int(self.headers.get("Content-Length", 0))))
            if does == "goes":
                self.close_connection = True
            elif does == "is full":
                self.answer(503, Retry_After="7")
            elif does == "streams":
                self.send_response(200)
                self.send_header("Transfer-Encoding", "chunked")
                self.end_headers()
                for _ in range(LINES):
                    seen.next_line.acquire(timeout=WAITS_S)
                    self.wfile.write(b"3\r\n{}\n\r\n")
                self.wfile.write(b"0\r\n\r\n")
            else:
                self.answer(200)

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        seen = StandIn(server.server_port, does)
        listening = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
        listening.start()
        try:
            yield seen
        finally:
            server.shutdown()
            listening.join(WAITS_S)


@contextmanager
def before_stand_ins(
    place: Path, first: Does, second: Does, **instead: str
) -> Iterator[tuple[httpx2.Client, Front, list[StandIn]]]:
    """Somebody who asks HAProxy before two stand-ins."""
    with (
        standing_in(first) as one,
        standing_in(second) as two,
        fronted(place, (one.port, two.port), **instead) as front,
        httpx2.Client(base_url=front.address) as ask,
    ):
        yield ask, front, [one, two]


def test_a_request_of_any_size_is_sent_again_whole(tmp_path: Path) -> None:
    """A replica that ends while it computes has read the request and answers nothing."""
    bodies = [b"1" * size for size in (1, 20_000, 100_000, LARGEST_BODY) for _ in range(2)]
    with before_stand_ins(tmp_path, "goes", "answers") as (ask, front, (first, second)):
        assert [ask.post("/v1/blend-plans", content=body).status_code for body in bodies] == [200] * len(bodies)
        wait_for(lambda: len(front.sent_again()) == len(first.bodies), "not all that was sent again is logged")
    assert second.bodies == bodies
    assert LARGEST_BODY in map(len, first.bodies)


def test_a_crowd_is_turned_away_at_most_twice(tmp_path: Path) -> None:
    """Where all replicas are full a request costs two refusals, and the caller reads that of a replica."""
    with before_stand_ins(tmp_path, "is full", "is full") as (ask, _, (first, second)):
        answered = [ask.post("/v1/blend-plans", content=b"1") for _ in range(5)]
    assert {(answer.status_code, answer.headers["retry-after"]) for answer in answered} == {(503, "7")}
    assert (len(first.bodies), len(second.bodies)) == (5, 5)


def test_the_place_at_a_free_replica_is_found(tmp_path: Path) -> None:
    with before_stand_ins(tmp_path, "is full", "answers") as (ask, _, (first, second)):
        assert {ask.get("/v1/cell").status_code for _ in range(6)} == {200}
    assert first.bodies
    assert len(second.bodies) == 6


def test_replicas_learn_who_asks_and_the_id_of_the_request(tmp_path: Path) -> None:
    """What a caller claims about where he is does not count; an id that could not stand in a log is replaced."""
    claimed = {"X-Forwarded-For": "192.0.2.1", "X-Forwarded-Proto": "https"}
    with before_stand_ins(tmp_path, "answers", "answers") as (ask, _, (first, second)):
        for given in ("order-14.a_B", 'a"b', "x" * 65):
            assert ask.get("/v1/cell", headers={**claimed, "X-Request-ID": given}).status_code == 200
        assert ask.get("/v1/cell").status_code == 200
    heads = [*first.heads, *second.heads]
    assert {(head["x-forwarded-for"], head["x-forwarded-proto"]) for head in heads} == {("127.0.0.1", "http")}
    ids = {head["x-request-id"] for head in heads}
    assert len(ids) == 4
    assert "order-14.a_B" in ids
    assert all(re.fullmatch(r"[A-Za-z0-9._-]{1,64}", one) for one in ids)


@pytest.mark.parametrize(("does", "status"), [("goes", 502), (None, 503)])
def test_what_haproxy_answers_itself_is_a_problem_document(
    tmp_path: Path, does: Literal["goes"] | None, status: int
) -> None:
    """RFC 9457: the members of a problem; RFC 9110, 10.2.3: Retry-After with 503."""
    with ExitStack() as stack:
        ports = [stack.enter_context(standing_in(does)).port for _ in range(2)] if does else free_ports(2)
        front = stack.enter_context(fronted(tmp_path, tuple(ports)))
        ask = stack.enter_context(httpx2.Client(base_url=front.address))
        answered = ask.post('/v1/"blend"\\plans', content=b"{}", headers={"X-Request-ID": "order-14"})
    assert answered.status_code == status
    assert answered.headers["content-type"] == "application/problem+json"
    told = answered.json()
    assert told.keys() == {"type", "title", "status", "detail", "instance", "errors", "request_id"}
    assert (told["status"], told["request_id"], told["errors"]) == (status, "order-14", [])
    assert told["instance"].startswith("/v1/")
    assert ("retry-after" in answered.headers) == (status == 503)
    assert "haproxy" not in answered.text.lower() + str(answered.headers).lower()


def test_a_request_that_does_not_arrive_holds_no_replica(tmp_path: Path) -> None:
    with (
        before_stand_ins(tmp_path, "answers", "answers", timeout_http_request="300ms") as (_, front, stand_ins),
        socket.create_connection(("127.0.0.1", front.port), timeout=WAITS_S) as slow,
    ):
        slow.sendall(b"POST /v1/blend-plans HTTP/1.1\r\nHost: localhost\r\nContent-Length: 100\r\n\r\n{")
        assert slow.recv(1000).startswith(b"HTTP/1.1 408 ")
    assert not any(stand_in.heads for stand_in in stand_ins)


def test_each_line_of_a_stream_passes_before_the_next_is_written(tmp_path: Path) -> None:
    """Where lines are held back for the next one, as is usual for long bodies, each takes a fifth of a second."""
    with (
        before_stand_ins(tmp_path, "streams", "answers") as (ask, _, (first, second)),
        ask.stream("POST", "/v1/trade-offs", content=b"{}", timeout=WAITS_S) as response,
    ):
        waited_s, began = [], time.monotonic()
        for line in response.iter_lines():
            assert line == "{}"
            waited_s.append(time.monotonic() - began)
            began = time.monotonic()
            first.next_line.release()
    assert not second.bodies
    assert len(waited_s) == LINES
    assert sorted(waited_s)[LINES // 2] < 0.1


@pytest.mark.parametrize("media_type", ["application/x-ndjson", "text/event-stream"])
def test_a_trade_off_tells_its_progress_through_the_front(tmp_path: Path, media_type: str) -> None:
    lemon = {"ingredient": "lemon_juice", "max": "1 L", "treatment": "pasteurised"}
    trade = {"lots": [LOT], "additions": [*HONEY, lemon], "points": 12}
    with (
        served() as running,
        fronted(tmp_path, (int(running.address.rsplit(":", 1)[1]), *free_ports(1))) as front,
        httpx2.stream(
            "POST", front.address + PATHS["trade_off"], json=trade, headers={"Accept": media_type}, timeout=WAITS_S
        ) as response,
    ):
        assert response.status_code == 200
        assert response.headers["content-type"].startswith(media_type)
        pieces = list(response.iter_raw())
    *progress, last = re.findall(rb"(?:event: |\{\")(progress|result|problem)", b"".join(pieces))
    assert (set(progress), last) == ({b"progress"}, b"result")
    assert len(pieces) > 1
    assert b"result" not in pieces[0]
