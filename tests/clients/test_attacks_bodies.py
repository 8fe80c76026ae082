"""Hostile bodies over a real socket: of a length in doubt, too large, nested, compressed, no text.

The rules of HTTP are those of RFC 9110 and RFC 9112; those of problem documents RFC 9457.
"""

from __future__ import annotations

import gzip
import json
import threading
import time
from typing import Final

import pytest

from tests.api.real import BASE
from tests.clients.attacking import Quick, get, post


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
def test_a_length_in_doubt_is_no_length(at_ease: Quick, lines: tuple[str, ...]) -> None:
    """What follows is never taken for another request."""
    with at_ease.wire() as wire:
        wire.send(post(b"0\r\n\r\n" + get("/version"), *lines))
        assert wire.answer().status in (400, 501)
        assert wire.closed()


def test_a_chunked_body_of_an_older_version(at_ease: Quick) -> None:
    sent = post(b"0\r\n\r\n", "Transfer-Encoding: chunked").replace(b"HTTP/1.1", b"HTTP/1.0")
    assert at_ease.ask(sent).status == 400


@pytest.mark.parametrize(
    "content", [b"zz\r\n", b"-1\r\n", b"5\r\nabcdefgh\r\n", b"f" * 30 + b"\r\n", b"1;" + b"x" * 9000]
)
@pytest.mark.parametrize("method", ["POST", "HEAD"])
def test_chunks_that_are_none(at_ease: Quick, content: bytes, method: str) -> None:
    target = "/v1/blend-plans" if method == "POST" else "/v1/limits"
    with at_ease.wire() as wire:
        wire.send(get(target, "Transfer-Encoding: chunked", "Content-Type: application/json", method=method) + content)
        status = wire.answer(method).status
        assert status == 400 or (method == "HEAD" and status == 200)  # which may be answered before its body came


@pytest.mark.parametrize(("parts", "status"), [(4000, 422), (5000, 400), (40_000, 400)])
def test_a_body_in_very_many_parts(at_ease: Quick, parts: int, status: int) -> None:
    sent = post(b"1\r\n \r\n" * parts + b"2\r\n{}\r\n0\r\n\r\n", "Transfer-Encoding: chunked")
    begin = time.process_time()  # of this process, in which the server is a thread
    assert at_ease.ask(sent).status == status
    assert time.process_time() - begin < 2.0


def test_expecting_to_continue(at_ease: Quick) -> None:
    """RFC 9110, section 10.1.1: told to go on where the body is wanted, refused without it where it is not."""
    with at_ease.wire() as wire:
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
    assert at_ease.ask(post(b"", "Expect: 100-continue", "Content-Length: 999999")).status == 413


def test_a_large_body_is_refused_where_the_refusal_can_be_read(at_ease: Quick) -> None:
    content = b" " * 4_000_000
    for sent in (post(content), post(b"%x\r\n%b\r\n0\r\n\r\n" % (len(content), content), "Transfer-Encoding: chunked")):
        with at_ease.wire() as wire:
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
def test_bodies(at_ease: Quick, content: bytes, lines: tuple[str, ...], status: int | tuple[int, ...]) -> None:
    answer = at_ease.ask(post(content, *lines))
    assert answer.status in (status if isinstance(status, tuple) else (status,)), answer.content[:300]


def test_brackets_do_not_hold_up_others(at_ease: Quick) -> None:
    """Bodies of nothing but brackets and quotation marks are looked through in the event loop."""
    ended = threading.Event()

    def flood() -> None:
        while not ended.is_set():
            for content in (b"[]" * 130_000, b'"",' * 87_000 + b"[" * 40):
                at_ease.ask(post(content, "Connection: close"))

    flooding = threading.Thread(target=flood)
    flooding.start()
    try:
        took = []
        for _ in range(15):
            begin = time.monotonic()
            at_ease.lives()
            took.append(time.monotonic() - begin)
        assert sorted(took)[7] < 0.2
    finally:
        ended.set()
        flooding.join()
