"""A server with small limits on a real socket, what is sent to it byte by byte, and what no answer may ever tell.

`tests/clients/conftest.py` hands its fixtures to the modules of attacks.
"""

from __future__ import annotations

import contextlib
import json
import logging
import re
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import pytest
import uvicorn

from service.api.guards import SECURITY_HEADERS
from service.api.main import build_app
from service.api.serving.server import configuration, listening_socket
from service.api.settings import Settings

__all__ = [
    "AT_EASE",
    "QUICK",
    "Answer",
    "Quick",
    "Wire",
    "at_ease",
    "attacked",
    "attacked_at_ease",
    "get",
    "post",
    "quick",
    "quick_server",
]

QUICK: Final = Settings(
    workers=0,
    max_connections=12,
    max_header_bytes=4096,
    header_timeout_s=0.4,
    body_timeout_s=0.4,
    keep_alive_s=1,
    deadline_s=2.0,
)
AT_EASE: Final = replace(QUICK, header_timeout_s=60.0, body_timeout_s=60.0, keep_alive_s=120)
"""For what is not slow: on a busy machine any caller may be stopped for half a second between two lines."""
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
    config = configuration(app, settings)
    config.lifespan, config.timeout_graceful_shutdown = "off", 1
    server = uvicorn.Server(config)
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


@pytest.fixture(scope="package")
def attacked() -> Iterator[Quick]:
    with quick_server(QUICK) as server:
        yield server


@pytest.fixture
def quick(attacked: Quick, caplog: pytest.LogCaptureFixture) -> Iterator[Quick]:
    """The server, and afterwards the proof that it still serves, holds nothing, and has logged no failure."""
    yield from _looked_after(attacked, caplog)


@pytest.fixture(scope="package")
def attacked_at_ease() -> Iterator[Quick]:
    with quick_server(AT_EASE) as server:
        yield server


@pytest.fixture
def at_ease(attacked_at_ease: Quick, caplog: pytest.LogCaptureFixture) -> Iterator[Quick]:
    """The same of a server that waits for long."""
    yield from _looked_after(attacked_at_ease, caplog)


def _looked_after(server: Quick, caplog: pytest.LogCaptureFixture) -> Iterator[Quick]:
    yield server
    server.lives()
    server.quiet()
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
