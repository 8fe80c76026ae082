"""Hostile connections and heads over a real socket: slow, idle, oversized, ambiguous, malformed.

The rules of HTTP are those of RFC 9110 and RFC 9112; those of problem documents RFC 9457.
"""

from __future__ import annotations

import contextlib
import re
import socket
import threading
import time
from dataclasses import replace
from typing import Final

import pytest

from service.api.serving.protocol import MOST_HEADERS
from service.api.serving.server import listening_socket
from tests.clients.attacking import AT_EASE, QUICK, Quick, get, post, quick_server

# What is slow


@pytest.mark.parametrize("begun", [b"", b"G", get("/healthz")[:-2]], ids=["silent", "a letter", "all but the end"])
def test_a_head_that_does_not_come(quick: Quick, begun: bytes) -> None:
    begin = time.monotonic()  # before there is a connection, whose time may begin sooner than it is sent over
    with quick.wire() as wire:
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
    sent = post(b"{}")
    statuses: list[int] = []
    for _ in range(30):  # whoever was stopped meanwhile, by our own clock, was not in time, and tries again
        statuses.clear()
        begin = time.monotonic()
        with quick.wire() as wire:
            for _ in range(2):  # the time begins anew for each request
                wire.send(sent[:20])
                time.sleep(0.6 * QUICK.header_timeout_s)
                wire.send(sent[20:-1])
                time.sleep(0.6 * QUICK.body_timeout_s)
                wire.send(sent[-1:])
                statuses.append(wire.answer().status)
                if statuses[-1] != 422:
                    break
        if statuses == [422, 422] or time.monotonic() - begin < 3.0 * QUICK.header_timeout_s * len(statuses) / 2:
            break
    assert statuses == [422, 422]


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


def idle_s(quick: Quick) -> float | None:
    """How long a connection may be idle [s]; None where we were stopped meanwhile, by our own clock, for too long."""
    with quick.wire() as wire:
        begin = time.monotonic()
        wire.send(get("/healthz"))
        assert wire.answer().status == 200
        time.sleep(0.6 * QUICK.keep_alive_s)
        if time.monotonic() - begin > 0.9 * QUICK.keep_alive_s:
            return None
        begin = time.monotonic()
        wire.send(get("/healthz"))
        assert wire.answer().status == 200
        assert wire.closed()
        return time.monotonic() - begin


def test_an_idle_connection_is_closed(quick: Quick) -> None:
    tried = (idle_s(quick) for _ in range(30))
    idle = next(found for found in tried if found is not None)
    assert 0.9 * QUICK.keep_alive_s < idle < QUICK.keep_alive_s + 2.0


def test_as_many_connections_as_there_may_be(at_ease: Quick) -> None:
    with contextlib.ExitStack() as stack:
        held = [stack.enter_context(at_ease.wire()) for _ in range(QUICK.max_connections)]
        for wire in held:
            wire.send(get("/healthz"))
            assert wire.answer().status == 200
        refused = [stack.enter_context(at_ease.wire()) for _ in range(20)]
        for wire in refused:
            wire.send(get("/healthz"))  # also where it is sent after the refusal, the refusal can be read
            answer = wire.answer()
            assert (answer.status, answer.headers["retry-after"]) == (503, "1")
            assert f"{QUICK.max_connections} connections" in answer.problem()["detail"]
            assert wire.closed()
        held[0].send(get("/healthz"))
        assert held[0].answer().status == 200
        held.pop().socket.close()
        connections = at_ease.server.server_state.connections
        at_ease.until(lambda: len(connections) < QUICK.max_connections, "a connection that was closed is kept")
        at_ease.lives()  # and refused connections take no place


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

        def waits() -> bool:
            nonlocal most
            most = max(most, _waiting_bytes(quick))
            return most > 0

        quick.until(waits, "everything was taken")
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
        waiting = 0
        for _ in range(200):
            wire.send(get("/healthz") * 10)
            time.sleep(0.02)
            waiting = _waiting_bytes(quick)
            if waiting > 0:
                break
        assert 0 < waiting < 60_000
        quick.quiet()


def test_a_caller_who_reads_slowly_gets_all(quick: Quick) -> None:
    for _ in range(30):
        with quick.wire((socket.SOL_SOCKET, socket.SO_RCVBUF, 16_384)) as wire:
            wire.send(get(LARGE))
            begin = last = time.monotonic()
            longest = 0.0
            try:
                while time.monotonic() - begin < 2.5 * QUICK.body_timeout_s:
                    wire._read_more()
                    time.sleep(0.05)
                    now = time.monotonic()
                    longest, last = max(longest, now - last), now
                answer = wire.answer()
            except (AssertionError, ConnectionResetError):
                if max(longest, time.monotonic() - last) < 0.5 * QUICK.body_timeout_s:
                    raise
                continue  # it was stopped meanwhile, by our own clock, and read nothing for too long: it tries again
            break
    assert answer.status == 200
    assert len(answer.content) == int(answer.headers["content-length"]) > 1_000_000


def test_a_caller_who_asks_on_and_on_is_never_cut() -> None:
    """What was written a moment ago waits for nobody: only what waited at the last look may cost a connection."""
    with quick_server(replace(AT_EASE, body_timeout_s=0.1)) as server, contextlib.ExitStack() as stack:
        wires = [stack.enter_context(server.wire()) for _ in range(8)]
        until = time.monotonic() + 4.0
        while time.monotonic() < until:
            for wire in wires:
                wire.send(get("/healthz"))
            assert {wire.answer().status for wire in wires} == {200}


# Heads


def _head_of(size: int) -> bytes:
    return get("/healthz", "X-Long: " + "x" * (size - len(get("/healthz", "X-Long: "))))


@pytest.mark.parametrize(("size", "status"), [(4095, 200), (4096, 200), (4097, 431), (100_000, 431), (3_000_000, 431)])
@pytest.mark.parametrize("at_once", [True, False])
def test_the_size_of_a_head(at_ease: Quick, size: int, status: int, at_once: bool) -> None:
    head = _head_of(size)
    with at_ease.wire() as wire:
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


def test_a_large_head_behind_another_request(at_ease: Quick) -> None:
    with at_ease.wire() as wire:
        wire.send(get("/healthz") + _head_of(4097))
        assert [wire.answer().status, wire.answer().status] == [200, 431]


@pytest.mark.parametrize(("more", "status"), [(-1, 200), (0, 431)])
def test_the_number_of_headers(at_ease: Quick, more: int, status: int) -> None:
    head = get("/healthz", *(f"X-{k}: 1" for k in range(MOST_HEADERS + more)))
    assert at_ease.ask(head).status == status


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
def test_heads(at_ease: Quick, sent: bytes, status: int) -> None:
    assert at_ease.ask(sent).status == status


def test_a_caller_who_says_that_no_more_comes_is_answered(at_ease: Quick) -> None:
    """Half a close, as some simple clients do; what is answered in the event loop is not lost."""
    with at_ease.wire() as wire:
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


def test_requests_behind_one_another_are_answered_in_order(at_ease: Quick) -> None:
    with at_ease.wire() as wire:
        wire.send(get("/healthz") + post(b"{}") + get("/version") + b"garbage\r\n\r\n")
        answers = [wire.answer() for _ in range(4)]
        assert [answer.status for answer in answers] == [200, 422, 200, 400]
        assert b"model_version" in answers[2].content
        assert wire.closed()
