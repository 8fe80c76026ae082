"""Hostile requests over a real socket: slow, oversized, ambiguous, malformed; and what no answer may ever tell.

The rules of HTTP are those of RFC 9110 and RFC 9112; those of problem documents RFC 9457.
"""

from __future__ import annotations

import contextlib
import csv
import gzip
import io
import json
import logging
import re
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pytest
import uvicorn
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.requests import Request

from service.api.addresses import address_of
from service.api.guards import SECURITY_HEADERS
from service.api.main import build_app
from service.api.serving.protocol import MOST_HEADERS, limited_protocol
from service.api.serving.server import listening_socket
from service.api.settings import Settings
from service.api.tables import csv_text
from tests.api.real import BASE
from tests.clients.serving import started

QUICK: Final = Settings(
    workers=0,
    max_connections=12,
    max_header_bytes=4096,
    header_timeout_s=0.4,
    body_timeout_s=0.4,
    keep_alive_s=1,
    deadline_s=2.0,
)

_NEVER_TOLD: Final = re.compile(
    r"Traceback|File \"|site-packages|\.py\b|/usr/|/home/|/root/|/tmp/|/proc/"
    + rf"|{re.escape(str(Path(__file__).parents[2]))}/|{re.escape(sys.prefix)}/"
    r"|\b[A-Za-z]*(?:Error|Exception|Interrupt)\b|<class|\bobject at 0x"
    r"|uvicorn|starlette|fastapi|pydantic|numpy|scipy|\bh11\b|python|multiprocessing|forkserver",
    re.IGNORECASE,
)
_OURS: Final = re.compile(r"/problems/internal-error|In a script|python -m")


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer as it came over the wire."""

    status: int
    headers: dict[str, str]
    content: bytes

    def problem(self) -> dict[str, Any]:
        """The problem document that it has to be."""
        assert self.headers["content-type"] == "application/problem+json"
        found: dict[str, Any] = json.loads(self.content)
        assert set(found) == {"type", "title", "status", "detail", "instance", "errors", "request_id"}
        assert found["status"] == self.status
        assert found["request_id"] == self.headers["x-request-id"]
        return found


@dataclass
class Wire:
    """One connection."""

    port: int
    options: tuple[tuple[int, int, int], ...] = ()
    held: bytes = b""
    socket: socket.socket = field(init=False)

    def __post_init__(self) -> None:
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        for option in self.options:
            self.socket.setsockopt(*option)
        self.socket.settimeout(15.0)
        self.socket.connect(("127.0.0.1", self.port))

    def __enter__(self) -> Wire:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def send(self, content: bytes) -> None:
        """Send bytes; a server may have closed the connection already."""
        with contextlib.suppress(BrokenPipeError, ConnectionResetError):
            self.socket.sendall(content)

    def answer(self, method: str = "GET") -> Answer:
        """Read one answer, and hold it against what stands on every answer."""
        while b"\r\n\r\n" not in self.held:
            self._read_more()
        head, _, self.held = self.held.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        status = int(first.split(" ")[1])
        pairs = [(name.lower(), value) for name, value in (line.split(": ", 1) for line in lines)]
        headers = dict(pairs)
        if status == 100:
            return Answer(status, headers, b"")
        assert len(headers) == len(pairs), f"a header stands twice: {head!r}"
        length = 0 if method == "HEAD" or status in (204, 304) else int(headers["content-length"])
        while len(self.held) < length:
            self._read_more()
        content, self.held = self.held[:length], self.held[length:]
        found = Answer(status, headers, content)
        _check(found)
        return found

    def _read_more(self) -> None:
        read = self.socket.recv(65536)
        assert read, f"closed within an answer, after {self.held!r}"
        self.held += read

    def closed(self) -> bool:
        """Wait for the other end to close; whether it then had sent nothing more."""
        rest = self.held
        try:
            while read := self.socket.recv(65536):
                rest += read
        except ConnectionResetError:
            pass
        return rest == b""


def test_no_security_header_is_forgotten() -> None:
    """What the OWASP HTTP Headers Cheat Sheet asks of an API and of a page, from memory; TLS is for who speaks it."""
    assert SECURITY_HEADERS == {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    }


def _check(answer: Answer) -> None:
    for name, value in SECURITY_HEADERS.items():
        if name != "Content-Security-Policy":
            assert answer.headers[name.lower()] == value
    assert answer.headers["content-security-policy"].startswith("default-src 'none'")
    assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
    assert re.fullmatch(r"[A-Za-z0-9._-]{1,64}", answer.headers["x-request-id"])
    assert not {"server", "x-powered-by", "via"} & set(answer.headers)
    assert not [name for name in answer.headers if name.startswith("access-control-")]
    told = " ".join(answer.headers.values())
    for_operators = "version=" in answer.headers.get("content-type", "")  # /metrics may tell of processes
    if answer.status >= 400 or (len(answer.content) < 20_000 and not for_operators):
        told += _OURS.sub("", answer.content.decode("utf-8"))
    assert not _NEVER_TOLD.search(told), f"{_NEVER_TOLD.search(told)} in {answer}"
    if answer.status >= 400:
        assert answer.headers["cache-control"] == "no-store"
    if answer.status >= 400 and answer.content:
        answer.problem()


@dataclass(frozen=True, slots=True)
class Quick:
    """A server in this process, with small limits."""

    port: int
    server: uvicorn.Server

    def wire(self, *options: tuple[int, int, int]) -> Wire:
        """A connection to it."""
        return Wire(self.port, options)

    def ask(self, sent: bytes, method: str = "GET") -> Answer:
        """What a connection is answered first, whatever it sends."""
        with self.wire() as wire:
            wire.send(sent)
            return wire.answer(method)

    def lives(self) -> None:
        """Others are served."""
        assert self.ask(get("/healthz", "Connection: close")).status == 200

    def until(self, holds: Callable[[], bool], otherwise: str) -> None:
        """Wait until something holds."""
        end = time.monotonic() + 10.0
        while not holds():
            assert time.monotonic() < end, otherwise
            time.sleep(0.01)

    def quiet(self) -> None:
        """Wait until no connection is left of those before."""
        self.until(lambda: not self.server.server_state.connections, "connections stay open")


@contextlib.contextmanager
def quick_server(settings: Settings) -> Iterator[Quick]:
    app = build_app(settings)
    listening = listening_socket("127.0.0.1", 0)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 16_384)  # so that little is taken that nobody reads
    server = uvicorn.Server(
        uvicorn.Config(
            app,
            http=limited_protocol(settings, app.state.metrics.rejected),
            ws="none",
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            h11_max_incomplete_event_size=settings.max_header_bytes,
            timeout_keep_alive=settings.keep_alive_s,
            timeout_graceful_shutdown=1,
        )
    )
    running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    running.start()
    until = time.monotonic() + 30.0
    while not server.started:
        assert running.is_alive(), "the server ended while it started"
        assert time.monotonic() < until, "the server did not start"
        time.sleep(0.01)
    try:
        yield Quick(listening.getsockname()[1], server)
    finally:
        server.should_exit = True
        running.join(10.0)
        listening.close()


@pytest.fixture(scope="module")
def attacked() -> Iterator[Quick]:
    with quick_server(QUICK) as server:
        yield server


@pytest.fixture
def quick(attacked: Quick, caplog: pytest.LogCaptureFixture) -> Iterator[Quick]:
    """The server, and afterwards the proof that it still serves, holds nothing, and has logged no failure."""
    yield attacked
    attacked.lives()
    attacked.quiet()
    told = [*caplog.get_records("call"), *caplog.get_records("teardown")]
    failures = [record.getMessage() for record in told if record.levelno >= logging.ERROR]
    assert not failures, failures


def get(target: str, *lines: str, method: str = "GET", version: str = "1.1", host: str = "a") -> bytes:
    return "\r\n".join([f"{method} {target} HTTP/{version}", f"Host: {host}", *lines, "", ""]).encode("latin-1")


def post(content: bytes, *lines: str, target: str = "/v1/blend-plans") -> bytes:
    given = {line.split(":")[0].lower() for line in lines}
    length = [] if {"transfer-encoding", "content-length"} & given else [f"Content-Length: {len(content)}"]
    media = [] if "content-type" in given else ["Content-Type: application/json"]
    return get(target, *lines, *length, *media, method="POST") + content


# 1. What is slow


@pytest.mark.parametrize("begun", [b"", b"G", get("/healthz")[:-2]], ids=["silent", "a letter", "all but the end"])
def test_a_head_that_does_not_come(quick: Quick, begun: bytes) -> None:
    with quick.wire() as wire:
        begin = time.monotonic()
        wire.send(begun)
        answer = wire.answer()
        assert answer.status == 408
        assert answer.problem()["type"] == "/problems/request-too-slow"
        assert QUICK.header_timeout_s * 0.9 < time.monotonic() - begin < QUICK.header_timeout_s + 2.0
        assert wire.closed()


def test_a_head_that_never_ends_while_others_are_served(quick: Quick) -> None:
    with quick.wire() as wire:
        begin = time.monotonic()
        ended = threading.Event()

        def drip() -> None:
            wire.send(b"GET /healthz HTTP/1.1\r\nHost: a\r\nX-Slow: ")
            while not ended.wait(0.03):
                wire.send(b"x")

        dripping = threading.Thread(target=drip)
        dripping.start()
        quick.lives()
        assert wire.answer().status == 408
        assert time.monotonic() - begin < QUICK.header_timeout_s + 2.0
        ended.set()
        dripping.join()


def test_a_head_and_a_body_that_come_just_in_time(quick: Quick) -> None:
    with quick.wire() as wire:
        for _ in range(2):  # the time begins anew for each request
            sent = post(b"{}")
            wire.send(sent[:20])
            time.sleep(0.6 * QUICK.header_timeout_s)
            wire.send(sent[20:-1])
            time.sleep(0.6 * QUICK.body_timeout_s)
            wire.send(sent[-1:])
            assert wire.answer().status == 422


@pytest.mark.parametrize(
    "sent",
    [
        post(b"{", "Content-Length: 100"),
        post(b"5\r\n{    \r\n", "Transfer-Encoding: chunked"),
        post(b"5\r\n{  ", "Transfer-Encoding: chunked"),
    ],
    ids=["of a length", "between chunks", "within a chunk"],
)
def test_a_body_that_does_not_come(quick: Quick, sent: bytes) -> None:
    with quick.wire() as wire:
        wire.send(sent)
        answer = wire.answer()
        assert (answer.status, answer.problem()["instance"]) == (408, "/v1/blend-plans")
        assert answer.headers["connection"] == "close"
        assert wire.closed()


def test_a_body_that_drips(quick: Quick) -> None:
    with quick.wire() as wire:
        wire.send(post(b"", "Transfer-Encoding: chunked"))
        begin = time.monotonic()
        while time.monotonic() - begin < QUICK.body_timeout_s:
            wire.send(b"1\r\n \r\n")
            time.sleep(0.03)
        assert wire.answer().status == 408


def test_the_rest_of_a_body_that_nobody_reads(quick: Quick) -> None:
    """Nothing at this path: the refusal comes at once; the declared body is waited for no longer than for a head."""
    with quick.wire() as wire:
        wire.send(post(b" ", "Content-Length: 1000000000", target="/nothing"))
        assert wire.answer().status == 404
        begin = time.monotonic()
        while time.monotonic() - begin < 3.0:
            try:
                wire.socket.sendall(b" ")
            except OSError:
                break
            time.sleep(0.03)
        assert time.monotonic() - begin < 2.5


def test_an_idle_connection_is_closed(quick: Quick) -> None:
    with quick.wire() as wire:
        wire.send(get("/healthz"))
        assert wire.answer().status == 200
        time.sleep(0.6 * QUICK.keep_alive_s)
        wire.send(get("/healthz"))
        assert wire.answer().status == 200
        begin = time.monotonic()
        assert wire.closed()
        assert 0.9 * QUICK.keep_alive_s < time.monotonic() - begin < QUICK.keep_alive_s + 2.0


def test_as_many_connections_as_there_may_be(quick: Quick) -> None:
    with contextlib.ExitStack() as stack:
        held = [stack.enter_context(quick.wire()) for _ in range(QUICK.max_connections)]
        for wire in held:
            wire.send(get("/healthz"))
            assert wire.answer().status == 200
        refused = [stack.enter_context(quick.wire()) for _ in range(20)]
        for wire in refused:
            wire.send(get("/healthz"))  # also where it is sent after the refusal, the refusal can be read
            answer = wire.answer()
            assert (answer.status, answer.headers["retry-after"]) == (503, "1")
            assert f"{QUICK.max_connections} connections" in answer.problem()["detail"]
            assert wire.closed()
        held[0].send(get("/healthz"))
        assert held[0].answer().status == 200
        held.pop().socket.close()
        time.sleep(0.1)
        quick.lives()  # and refused connections take no place


LARGE: Final = "/docs/swagger-ui-bundle.js"


def _waiting_bytes(server: Quick) -> int:
    return sum(each.transport.get_write_buffer_size() for each in list(server.server.server_state.connections))


def test_a_caller_who_does_not_read(quick: Quick) -> None:
    with contextlib.ExitStack() as stack:
        small = (socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        held = [stack.enter_context(quick.wire(small)) for _ in range(5)]
        most = 0
        for wire in held:
            wire.send(get(LARGE) * 20)
        quick.until(lambda: _waiting_bytes(quick) > 0, "everything was taken")
        until = time.monotonic() + 10.0
        while quick.server.server_state.connections:
            assert time.monotonic() < until, "callers who do not read are kept"
            most = max(most, _waiting_bytes(quick))
            quick.lives()
            time.sleep(0.02)
        assert 0 < most <= 5 * 160 * 1024  # whatever they ask for


def test_small_answers_that_are_not_read(quick: Quick) -> None:
    """They fit into what a server sends without waiting, so that it is done with each: the connection is left too."""
    with quick.wire((socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)) as wire:
        for _ in range(200):
            wire.send(get("/healthz") * 10)
            time.sleep(0.02)
            if _waiting_bytes(quick) > 0:
                break
        assert 0 < _waiting_bytes(quick) < 60_000
        quick.quiet()


def test_a_caller_who_reads_slowly_gets_all(quick: Quick) -> None:
    with quick.wire((socket.SOL_SOCKET, socket.SO_RCVBUF, 16_384)) as wire:
        wire.send(get(LARGE))
        begin = time.monotonic()
        wire._read_more()
        while time.monotonic() - begin < 2.5 * QUICK.body_timeout_s:
            wire._read_more()
            time.sleep(0.05)
        answer = wire.answer()
        assert answer.status == 200
        assert len(answer.content) == int(answer.headers["content-length"]) > 1_000_000


# 2. Heads


def _head_of(size: int) -> bytes:
    return get("/healthz", "X-Long: " + "x" * (size - len(get("/healthz", "X-Long: "))))


@pytest.mark.parametrize(("size", "status"), [(4095, 200), (4096, 200), (4097, 431), (100_000, 431), (3_000_000, 431)])
@pytest.mark.parametrize("at_once", [True, False])
def test_the_size_of_a_head(quick: Quick, size: int, status: int, at_once: bool) -> None:
    head = _head_of(size)
    with quick.wire() as wire:
        if at_once:
            wire.send(head)
        else:
            wire.send(head[:3000])
            time.sleep(0.02)
            wire.send(head[3000:])
        answer = wire.answer()
        assert answer.status == status
        if status == 431:
            assert answer.problem()["type"] == "/problems/headers-too-large"
            assert wire.closed()


def test_a_large_head_behind_another_request(quick: Quick) -> None:
    with quick.wire() as wire:
        wire.send(get("/healthz") + _head_of(4097))
        assert [wire.answer().status, wire.answer().status] == [200, 431]


@pytest.mark.parametrize(("more", "status"), [(-1, 200), (0, 431)])
def test_the_number_of_headers(quick: Quick, more: int, status: int) -> None:
    head = get("/healthz", *(f"X-{k}: 1" for k in range(MOST_HEADERS + more)))
    assert quick.ask(head).status == status


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET /healthz\r\n\r\n", 400),  # HTTP/0.9
        (b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n", 400),  # the preface of HTTP/2, RFC 9113, section 3.4
        (get("/healthz", version="3.0"), 400),
        (get("/healthz", version="1.15"), 400),
        (bytes.fromhex("16030100c8010000c40303") + b"\x07" * 180, 400),  # a TLS hello, RFC 8446
        (b"\x00" * 64, 400),
        (b"\xff\xfe" * 64 + b"\r\n\r\n", 400),
        (b"GET /healthz HTTP/1.1\r\n\r\n", 400),  # no Host, RFC 9112, section 3.2
        (b"GET /healthz HTTP/1.1\r\nHost: a\r\nHost: b\r\n\r\n", 400),
        (get("/healthz", "X: a\x00b"), 400),
        (get("/healthz", "X: a\rb"), 400),
        (get("/healthz", "X\x01: a"), 400),
        (get("/healthz", "X : a"), 400),  # RFC 9112, section 5.1
        (get("/healthz", ": a"), 400),
        (get("/healthz", "no colon"), 400),
        (b"GET /healthz HTTP/1.1\r\n folded: a\r\nHost: a\r\n\r\n", 400),
        (get("/healthz", "X: a", " b"), 200),  # obsolete folding is one space, RFC 9112, section 5.2
        (get("/healthz", "X: \xe9\xff"), 200),
        (get("/health z"), 400),
        (get("/healthz\x01"), 400),
        (get("/healthz\xe9"), 400),
        (get("/healthz", version="1.0"), 200),
        (get("/healthz", "Upgrade: websocket", "Connection: Upgrade", "Sec-WebSocket-Version: 13"), 200),
        (get("/healthz", "Upgrade: h2c", "HTTP2-Settings: AAMAAABk", "Connection: Upgrade, HTTP2-Settings"), 200),
        (get("/healthz", method="TRACE"), 405),
        (get("/healthz", method="DELETE"), 405),
        (get("/healthz", method="M" * 3000), 405),
        (get("/healthz", method="get"), 405),
        (get("a:443", method="CONNECT"), 404),
        (get("*", method="OPTIONS"), 404),
        (get("http://elsewhere.example/healthz"), 404),
        (get("/healthz", method="OPTIONS"), 204),
        (get("/" + "x" * 2048), 414),
        (get("/v1/limits?" + "x" * 2048), 414),
    ],
)
def test_heads(quick: Quick, sent: bytes, status: int) -> None:
    assert quick.ask(sent).status == status


@pytest.mark.parametrize(
    "lines",
    [
        ("Content-Length: 5", "Transfer-Encoding: chunked"),  # RFC 9112, section 6.1
        ("Transfer-Encoding: chunked", "Content-Length: 5"),
        ("Content-Length: 5", "Content-Length: 6"),
        ("Content-Length: 5, 6",),
        ("Content-Length: -1",),
        ("Content-Length: +5",),
        ("Content-Length: 5.0",),
        ("Content-Length: 0x5",),
        ("Content-Length: five",),
        ("Content-Length: ",),
        ("Content-Length: " + "9" * 3000,),
        ("Transfer-Encoding: chunked, gzip",),
        ("Transfer-Encoding: gzip, chunked",),
        ("Transfer-Encoding: xchunked",),
        ("Transfer-Encoding: chunked", "Transfer-Encoding: identity"),
        ("Transfer-Encoding:\x0bchunked",),
    ],
)
def test_a_length_in_doubt_is_no_length(quick: Quick, lines: tuple[str, ...]) -> None:
    """What follows is never taken for another request."""
    with quick.wire() as wire:
        wire.send(post(b"0\r\n\r\n" + get("/version"), *lines))
        assert wire.answer().status in (400, 501)
        assert wire.closed()


def test_a_chunked_body_of_an_older_version(quick: Quick) -> None:
    sent = post(b"0\r\n\r\n", "Transfer-Encoding: chunked").replace(b"HTTP/1.1", b"HTTP/1.0")
    assert quick.ask(sent).status == 400


@pytest.mark.parametrize(
    "content", [b"zz\r\n", b"-1\r\n", b"5\r\nabcdefgh\r\n", b"f" * 30 + b"\r\n", b"1;" + b"x" * 9000]
)
@pytest.mark.parametrize("method", ["POST", "HEAD"])
def test_chunks_that_are_none(quick: Quick, content: bytes, method: str) -> None:
    target = "/v1/blend-plans" if method == "POST" else "/v1/limits"
    with quick.wire() as wire:
        wire.send(get(target, "Transfer-Encoding: chunked", "Content-Type: application/json", method=method) + content)
        status = wire.answer(method).status
        assert status == 400 or (method == "HEAD" and status == 200)  # which may be answered before its body came


@pytest.mark.parametrize(("parts", "status"), [(4000, 422), (5000, 400), (40_000, 400)])
def test_a_body_in_very_many_parts(quick: Quick, parts: int, status: int) -> None:
    sent = post(b"1\r\n \r\n" * parts + b"2\r\n{}\r\n0\r\n\r\n", "Transfer-Encoding: chunked")
    begin = time.monotonic()
    assert quick.ask(sent).status == status
    assert time.monotonic() - begin < 2.0


def test_a_caller_who_says_that_no_more_comes_is_answered(quick: Quick) -> None:
    """Half a close, as some simple clients do; what is answered in the event loop is not lost."""
    with quick.wire() as wire:
        wire.send(get("/v1/ingredients"))
        wire.socket.shutdown(socket.SHUT_WR)
        answer = wire.answer()
        assert answer.status == 200
        assert len(answer.content) > 10_000


@pytest.mark.parametrize(
    ("sent", "reason"),
    [
        (b"no request\r\n\r\n", "bad_request"),
        (get("/healthz", *(f"X-{k}: a" for k in range(200))), "headers_too_large"),
        (b"GET /healthz HTTP/1.1\r\n", "request_too_slow"),
    ],
)
def test_what_is_refused_before_there_is_a_request_is_counted(quick: Quick, sent: bytes, reason: str) -> None:
    def counted() -> float:
        told = quick.ask(get("/metrics", "Connection: close")).content.decode()
        found = re.search(rf'^service_rejections_total{{reason="{reason}"}} (\S+)$', told, re.MULTILINE)
        return float(found[1]) if found else 0.0

    before = counted()
    assert quick.ask(sent).status >= 400
    assert counted() == before + 1.0


def test_a_port_is_held_before_anything_is_served() -> None:
    with listening_socket("127.0.0.1", 0) as first, pytest.raises(OSError, match="in use"):
        listening_socket("127.0.0.1", first.getsockname()[1])


def test_requests_behind_one_another_are_answered_in_order(quick: Quick) -> None:
    with quick.wire() as wire:
        wire.send(get("/healthz") + post(b"{}") + get("/version") + b"garbage\r\n\r\n")
        answers = [wire.answer() for _ in range(4)]
        assert [answer.status for answer in answers] == [200, 422, 200, 400]
        assert b"model_version" in answers[2].content
        assert wire.closed()


def test_expecting_to_continue(quick: Quick) -> None:
    """RFC 9110, section 10.1.1: told to go on where the body is wanted, refused without it where it is not."""
    with quick.wire() as wire:
        wire.send(
            get(
                "/v1/blend-plans",
                "Expect: 100-continue",
                "Content-Length: 2",
                "Content-Type: application/json",
                method="POST",
            )
        )
        assert wire.answer().status == 100
        wire.send(b"{}")
        assert wire.answer().status == 422
    assert quick.ask(post(b"", "Expect: 100-continue", "Content-Length: 999999")).status == 413


# 3. Bodies


def test_a_large_body_is_refused_where_the_refusal_can_be_read(quick: Quick) -> None:
    content = b" " * 4_000_000
    for sent in (post(content), post(b"%x\r\n%b\r\n0\r\n\r\n" % (len(content), content), "Transfer-Encoding: chunked")):
        with quick.wire() as wire:
            wire.socket.sendall(sent)  # not cut, as by a caller who sends all before reading
            assert wire.answer().problem()["type"] == "/problems/body-too-large"
            assert wire.closed()


_TEXT: Final = json.dumps(BASE)
_BOMB: Final = gzip.compress(b" " * 20_000_000)


@pytest.mark.parametrize(
    ("content", "lines", "status"),
    [
        (b"[" * 100_000, (), 400),
        (b"[" * 100_000 + b"]" * 100_000, (), 400),
        (b'{"lots":' * 20_000, (), 400),
        (b"[]" * 120_000, (), 400),
        (b'"' * 250_000, (), 400),
        (b'"\\' * 120_000, (), 400),
        (b"\\" * 250_000 + b"[" * 40, (), 400),
        (b'{"lots":' + b"9" * 100_000 + b"}", (), (400, 422)),
        (b'{"lots":1e' + b"9" * 100_000 + b"}", (), (400, 422)),
        (b'{"lots":-0.' + b"0" * 100_000 + b"1}", (), (400, 422)),
        (b'{"targets":{"gravity":' + b"1" * 100_000 + b"}}", (), (400, 422)),
        (b'{"lots":[],"lots":[]}', (), 422),
        (b'{"batch":"a",' + _TEXT[1:].encode(), (), 200),
        (_BOMB, ("Content-Encoding: gzip",), 415),
        (b"{}", ("Content-Encoding: br",), 415),
        (b"{}", ("Content-Encoding: identity, gzip",), 415),
        (_BOMB, (), 400),
        (_TEXT.encode("utf-8-sig"), (), (200, 400)),
        (_TEXT.encode("utf-16"), (), 400),
        (_TEXT.encode("utf-32"), (), 400),
        (_TEXT.encode(), ("Content-Type: application/json; charset=utf-16",), 415),
        (_TEXT.encode(), ("Content-Type: application/json; charset=UTF-8",), 200),
        (_TEXT.encode(), ('Content-Type: application/json; charset="utf-8',), (200, 415)),
        (_TEXT.encode(), ("Content-Type: application/json" + ";" * 3000,), (200, 415)),
        (_TEXT.encode(), ("Content-Type: text/plain",), 415),
        (_TEXT.encode(), ("Content-Type: \xe9\xff/json",), 415),
        (b"--x\r\n\r\n{}\r\n--x--", ("Content-Type: multipart/form-data; boundary=x",), 415),
        (b"a=1", ("Content-Type: application/x-www-form-urlencoded",), 415),
        (b'{"batch":"a\\u0000b"}', (), 422),
        (b'{"batch":"a\x00b"}', (), 400),
        (b'{"batch":"\\ud800"}', (), 422),
        (b'{"\\ud800":1}', (), 422),
        (b'{"batch":"\xed\xa0\x80"}', (), 400),
        (b'{"batch":"\xff"}', (), 400),
        (b"", (), (400, 422)),
        (b"null", (), (400, 422)),
        (b"NaN", (), (400, 422)),
    ],
)
def test_bodies(quick: Quick, content: bytes, lines: tuple[str, ...], status: int | tuple[int, ...]) -> None:
    answer = quick.ask(post(content, *lines))
    assert answer.status in (status if isinstance(status, tuple) else (status,)), answer.content[:300]


def test_brackets_do_not_hold_up_others(quick: Quick) -> None:
    """Bodies of nothing but brackets and quotation marks are looked through in the event loop."""
    ended = threading.Event()

    def flood() -> None:
        while not ended.is_set():
            for content in (b"[]" * 130_000, b'"",' * 87_000 + b"[" * 40):
                quick.ask(post(content, "Connection: close"))

    flooding = threading.Thread(target=flood)
    flooding.start()
    try:
        took = []
        for _ in range(15):
            begin = time.monotonic()
            quick.lives()
            took.append(time.monotonic() - begin)
        assert sorted(took)[7] < 0.2
    finally:
        ended.set()
        flooding.join()


# 4. Paths, hosts, ids


@pytest.mark.parametrize(
    "target",
    [
        "/v1/../etc/passwd", "/../../etc/passwd", "//v1/limits", "/v1//limits", "/v1/./limits", "/v1/limits/",
        "/V1/limits",
        "/%2e%2e/%2e%2e/etc/passwd", "/%00", "/v1/limits%00", "/v1/limits%0d%0aX-Evil:%201", "/%ff%fe",
        "/%", "/%zz", "/page/..%2f..%2fsettings", "/page/%2e%2e/%2e%2e/app", "/docs/", "/docs/..%2fpage%2findex.html",
        "/docs/../page/index.html", "/page/../../../settings", "/problems/", "/problems/x", "/problems/../docs",
        "/problems/%2e%2e", "/v1/ingredients/..%2f..%2fsettings", "/v1/cell/..%2flimits", "/v1/cell/%3Cscript%3E",
        "/v1/cell/%0d%0aX-Evil:%201", "/v1/ingredients/%0d%0a", "/static/page/index.html", "/.env", "/.git/config",
        "/docs/docs-init.js.map", "/v1/limits;a=b", "/v1/limits%3Fa", "\\..\\..\\windows", "/" + "../" * 600,
    ],
)  # fmt: skip
def test_paths_that_lead_nowhere(quick: Quick, target: str) -> None:
    answer = quick.ask(get(target))
    assert answer.status == 404
    assert "x-evil" not in answer.headers
    assert answer.problem()["type"] in ("/problems/not-found", "/problems/unknown-ingredient")


@pytest.mark.parametrize(
    "query", ["a%0d%0aX-Evil:%201=1", "brix=20%00", "brix=%ff", "brix=20&brix=21", "&&&=&=", "%", "brix"]
)
def test_queries(quick: Quick, query: str) -> None:
    answer = quick.ask(get(f"/v1/cell/sg-from-brix?{query}"))
    assert answer.status == 422
    assert "x-evil" not in answer.headers


HOSTS: Final = (
    "a\" onload=\"x", "<script>alert(1)</script>", "a/../b", "a?b", "a#b", "a@b", "user:pw@a", "a b", "a,b", "=1+1",
    "a'b", 'a")&cmd|',
    "a\\b", "a:99999999", "a%0d%0ab", "\xe9.example", "x" * 300, "[::1", "[::1]x", "a:b", "", "a;b", "{{a}}", "${a}",
)  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
def test_a_host_that_is_none_stands_nowhere(quick: Quick, host: str) -> None:
    """Formulas that would carry it name the socket instead; seen here without a socket, for all hosts quickly."""
    scope = {
        "type": "http",
        "app": quick.server.config.app,
        "scheme": "http",
        "path": "/v1/cell",
        "server": ("192.0.2.7", 8000),
        "headers": [(b"host", host.encode("latin-1")), (b"x-forwarded-host", b"evil.example")],
    }
    assert address_of(Request(scope)) == "http://192.0.2.7:8000"


@pytest.mark.parametrize(
    ("target", "accept"), [("/v1/cell", "text/html"), ("/v1/cell", "application/json"), ("/v1/cell.csv", "*/*")]
)
def test_a_host_in_no_page(quick: Quick, target: str, accept: str) -> None:
    host = '"><script>=1+1'
    answer = quick.ask(get(target, f"Accept: {accept}", "X-Forwarded-Host: evil.example", host=host))
    assert answer.status == 200
    assert f"http://127.0.0.1:{quick.port}/v1/cell/".encode() in answer.content
    assert b"script>=1" not in answer.content
    assert b"evil.example" not in answer.content


@pytest.mark.parametrize("scheme", ["javascript", "https, http", "", "http\x00"])
def test_a_forwarded_scheme_is_http_or_https(quick: Quick, scheme: str) -> None:
    answer = quick.ask(get("/v1/cell", f"X-Forwarded-Proto: {scheme}", host="sheets.example"))
    assert answer.status in (200, 400)
    if answer.status == 200:
        assert b"http://sheets.example/v1/cell" in answer.content


def test_whose_forwarded_addresses_count() -> None:
    """Those that a proxy on this machine names, of several the last that is not its own; nobody names themselves."""
    with quick_server(Settings(workers=0, request_burst=2, requests_per_s=0.1)) as server:

        def statuses(*forwarded: str) -> list[int]:
            lines = [f"X-Forwarded-For: {each}" for each in forwarded]
            return [server.ask(get("/v1/limits", *lines)).status for _ in range(3)]

        assert statuses() == [200, 200, 200]  # a program on this machine
        assert statuses("203.0.113.7") == [200, 200, 429]
        assert statuses("127.0.0.1, 203.0.113.7") == [429, 429, 429]
        assert statuses("198.51.100.1", "203.0.113.7") == [429, 429, 429]
        assert statuses("203.0.113.7, 127.0.0.1") == [429, 429, 429]
        assert statuses("[2001:db8::1]") == [200, 200, 429]
        assert statuses("2001:db8::2") == [429, 429, 429]


@pytest.mark.parametrize("given", ['a"b', "a b", "<b>", "a" * 65, "é", "a\tb", "../..", "${a}"])
def test_a_request_id_that_cannot_be_used(quick: Quick, given: str) -> None:
    assert quick.ask(get("/healthz", f"X-Request-ID: {given}")).headers["x-request-id"] != given


@pytest.mark.parametrize("accept", ["a" * 3000, "," * 3000, ";q=" * 900, "*/*;q=nan", "text/html;q=1e999,\xff"])
def test_any_accept_is_answered(quick: Quick, accept: str) -> None:
    assert quick.ask(get("/v1/cell", f"Accept: {accept}")).status == 200


@pytest.mark.parametrize(
    ("target", "lines", "method", "status"),
    [
        ("/", (), "GET", 200),
        ("/docs", (), "GET", 200),
        ("/page/icon.svg", (), "GET", 200),
        ("/page/app.js", (), "GET", 200),
        ("/v1/ingredients", ("If-None-Match: *",), "GET", 304),
        ("/v1/ingredients.csv", (), "GET", 200),
        ("/v1/cell", ("Accept: text/html",), "GET", 200),
        ("/v1/cell/sg-from-brix?brix=20", (), "GET", 200),
        ("/v1/cell/sg-from-brix.xml?brix=20", (), "GET", 200),
        ("/problems/busy", (), "GET", 200),
        ("/v1/limits", ("Origin: https://elsewhere.example",), "GET", 200),
        ("/v1/limits", ("Origin: null",), "OPTIONS", 204),
        ("/v1/blend-plans", ("Origin: https://a.example", "Access-Control-Request-Method: POST"), "OPTIONS", 204),
    ],
)
def test_headers_of_every_kind_of_answer(
    quick: Quick, target: str, lines: tuple[str, ...], method: str, status: int
) -> None:
    """What stands on every answer is checked where it is read, and that no origin is let in unless it is listed."""
    assert quick.ask(get(target, *lines, method=method), method).status == status


@given(st.lists(st.text("=+-@;,\t\n \"'a\uff1d", max_size=12), min_size=1, max_size=4))
@settings(max_examples=150)
def test_no_cell_of_a_table_is_a_formula(texts: list[str]) -> None:
    """Opened with either separator that spreadsheets use (which may end a cell although it stands within quotes)."""
    written = csv_text([{"first": 1.0, **{f"name {k}": text for k, text in enumerate(texts)}}])
    for separator in ",;":
        for row in csv.reader(io.StringIO(written), delimiter=separator):
            assert not [cell for cell in row if re.match(r"\s*[=+@\uff1d-]", cell)], (written, separator)


def test_a_table_of_a_hostile_recipe(quick: Quick) -> None:
    """Names that a recipe brings along become cells and, as those of lots, titles of columns."""
    formula = 'x;=HYPERLINK("http://evil.example";"open")'
    body = {**BASE, "batch": "=1+1", "lots": [{**BASE["lots"][0], "name": formula}]}
    answer = quick.ask(post(json.dumps(body).encode(), target="/v1/blend-plans.csv"))
    assert answer.status == 200
    text = answer.content.decode()
    assert "'=1+1" in text
    assert "x;'=HYPERLINK(" in text
    assert ";=" not in text


# 5. A real process, with keys


KEYS: Final = ("first-key-of-a-maker-0001", "second~key.of_a-maker-02")


@pytest.mark.slow
def test_keys_and_rates_of_a_real_process() -> None:
    variables = {"SERVICE_API_KEYS": ", ".join(KEYS), "SERVICE_WORKERS": "1", "SERVICE_DEADLINE_S": "5"}
    with started(**variables) as server:
        ask = Quick(server.port, None).ask  # type: ignore[arg-type]
        computed = "/v1/cell.csv"
        for target in ("/v1/cell", "/v1/workbook.xlsx", "/v1/openapi.json", "/metrics", "/", computed, "/nothing"):
            assert ask(get(target)).status == 401
            assert ask(get(target, f"Authorization: Bearer {KEYS[0]}x")).status == 401
            assert ask(get(f"{target}{'&' if '?' in target else '?'}api_key=")).status == 401
        assert ask(get("/healthz")).status == ask(get("/readyz")).status == 200

        def with_key(target: str) -> Answer:
            return ask(get(target, f"Authorization: Bearer {KEYS[0]}"))

        # kept answers are for those with a key, with whichever, and for no cache between
        first = with_key(computed)
        again = ask(get(f"{computed}?api_key={KEYS[1]}"))
        assert (first.status, first.content) == (again.status, again.content)
        assert first.status == 200
        assert first.headers["cache-control"].startswith("private")
        assert ask(get(computed, f"If-None-Match: {first.headers['etag']}")).status == 401
        assert ask(get(computed)).status == 401
        # a key is told to nobody
        for target in ("/v1/cell", "/v1/cell.csv", f"/nothing?api_key={KEYS[1]}", f"/v1/limits?x=1&api_key={KEYS[0]}"):
            content = with_key(target).content
            assert not [key for key in KEYS if key.encode() in content]
        metrics = with_key("/metrics").content
        log = server.log()
        assert not [key for key in KEYS if key.encode() in metrics or key in log]
        assert b'service_rejections_total{reason="no_key"}' in metrics
        assert "Traceback" not in log
        # a workbook asks 240 things at once, a column of formulas 190
        with Wire(server.port) as wire:
            for _ in range(430):
                wire.send(get(f"/v1/cell/sg-from-brix?brix=20&api_key={KEYS[1]}"))
                assert wire.answer().status == 200
