"""What tests of a server under load send to it, and how they wait for what becomes of it."""

from __future__ import annotations

import http.client
import json
import re
import socket
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import httpx

from service.api.cell_questions import QUESTIONS
from tests.api.real import PATHS, example
from tests.clients.serving import Started

LINES = {"Accept": "application/x-ndjson"}
PLAN = {
    "lots": [{"name": "base", "volume": "9 L", "gravity": 0.998, "abv_percent": 7.2}],
    "additions": [{"ingredient": "honey_acacia"}],
    "targets": {"gravity": 1.016},
}
ANSWERED_S = 120.0
"""Longer than any answer may take on a busy machine."""
WITHOUT_HURRY = {
    "SERVICE_KEEP_ALIVE_S": "300",
    "SERVICE_HEADER_TIMEOUT_S": "120",
    "SERVICE_BODY_TIMEOUT_S": "120",
}
"""For callers that a busy machine may stop for long between two lines: none is cut off because of that."""
_SEEN_TICKS = 10
"""What a worker has to compute to be seen at it; one that starts or only looks after its pipe takes less."""


@dataclass(frozen=True)
class Asked:
    """A request."""

    method: str
    path: str
    body: bytes = b""
    headers: dict[str, str] = field(default_factory=dict, hash=False, compare=False)

    def sent(self, client: httpx.Client, **headers: str) -> httpx.Response:
        """Its answer."""
        given = {"Content-Type": "application/json"} if self.body else {}
        return client.request(self.method, self.path, content=self.body, headers={**given, **self.headers, **headers})


def posted(operation: str, start: str, twin: str = "", **headers: str) -> Asked:
    """A worked example of an operation as a request."""
    return Asked("POST", PATHS[operation] + twin, json.dumps(example(operation, start)).encode(), headers)


def batch(count: int) -> bytes:
    """A sweep of so many different plans."""
    wanted = [{**PLAN, "targets": {"gravity": round(1.012 + 1e-5 * k, 5)}} for k in range(count)]
    return json.dumps({"requests": wanted}, separators=(",", ":")).encode()


MIX = (
    *(Asked("GET", f"/v1/cell/{question.name}?{question.example}") for question in QUESTIONS),
    *(Asked("GET", f"/v1/cell/caution/{question.name}?{question.example}") for question in QUESTIONS[:4]),
    *(posted("solve_blend", start) for start in ("02", "08", "10")),
    *(posted("trade_off", "03", twin) for twin in ("", ".csv")),
    posted("correct_blend", "11"),
    posted("solve_blends", "01"),
    posted("forecast_blend", "04"),
    posted("plan_stabilising", "02"),
    posted("plan_packaging", "02"),
    *(Asked("GET", path) for path in ("/v1/cell", "/v1/cell.csv", "/v1/ingredients", "/v1/limits", "/version")),
    *(posted(operation, "06") for operation in ("solve_blend", "interpret_readings", "judge_tasting")),
    Asked("GET", "/v1/cell/sg-from-brix?brix=much"),
    Asked("GET", "/v1/cell/amount-for-gravity?volume=1L"),
    Asked("GET", "/v1/nowhere"),
    Asked("DELETE", "/v1/limits"),
    Asked("POST", PATHS["solve_blend"], b"honey", {"Content-Type": "text/plain"}),
)


def content(response: httpx.Response) -> tuple[int, str]:
    """What an answer is, without what differs from run to run."""
    return response.status_code, re.sub(r'"(milliseconds|request_id)":("[^"]*"|[^,}]*)', "", response.text)


def until(holds: Callable[[], bool], within_s: float, what: str) -> float:
    """Wait until something holds; returns how long it took [s]."""
    begun = time.monotonic()
    while not holds():
        assert time.monotonic() - begun < within_s, f"{what}: not within {within_s} s"
        time.sleep(0.02)
    return time.monotonic() - begun


def client_of(server: Started, connections: int = 1) -> httpx.Client:
    """A client with so many connections that stay open."""
    limits = httpx.Limits(max_connections=connections, max_keepalive_connections=connections)
    return httpx.Client(base_url=server.address, timeout=ANSWERED_S, limits=limits)


def is_busy(response: httpx.Response) -> bool:
    """A refusal for now, which tells in a problem document when to come again."""
    told = response.status_code == 503
    if told:
        assert int(response.headers["retry-after"]) >= 1
        assert response.headers["content-type"] == "application/problem+json"
        assert response.json()["type"].endswith("busy")
    return told


@contextmanager
def constant_load(server: Started, requests: Sequence[Asked], callers: int) -> Iterator[list[httpx.Response]]:
    """Callers who each send the requests over and over meanwhile; gives the answers so far."""
    answers: list[httpx.Response] = []
    over = threading.Event()

    def call() -> None:
        with client_of(server) as client:
            while not over.is_set():
                answers.extend(request.sent(client) for request in requests)

    with ThreadPoolExecutor(callers) as pool:
        calling = [pool.submit(call) for _ in range(callers)]
        try:
            yield answers
        finally:
            over.set()
            for caller in calling:
                caller.result()


def left_open(server: Started, path: str, body: bytes) -> socket.socket:
    """A connection over which a request was sent whose answer nobody has read yet."""
    connection = socket.create_connection(("127.0.0.1", server.port), timeout=ANSWERED_S)
    connection.sendall(request_head(path, body) + body)
    return connection


def request_head(path: str, body: bytes, **headers: str) -> bytes:
    """The head of a POST with a body of JSON, and further headers."""
    given = {"Host": "x", "Content-Type": "application/json", "Content-Length": str(len(body)), **headers}
    lines = [f"POST {path} HTTP/1.1", *(f"{name}: {value}" for name, value in given.items()), "", ""]
    return "\r\n".join(lines).encode()


def cpu_ticks(pid: int) -> int:
    """Time that a process has computed, in ticks of the system's clock (proc(5), stat: utime and stime)."""
    with suppress(OSError):
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return int(fields[11]) + int(fields[12])
    return 0


def busiest(server: Started) -> int:
    """The worker that is the first to be seen computing."""
    before = {pid: cpu_ticks(pid) for pid in server.workers()}
    seen: list[int] = []

    def computes() -> bool:
        seen[:] = sorted(before, key=lambda pid: cpu_ticks(pid) - before[pid])
        return cpu_ticks(seen[-1]) - before[seen[-1]] >= _SEEN_TICKS

    until(computes, ANSWERED_S, "a worker computes")
    return seen[-1]


def in_flight(server: Started) -> float:
    """How many requests wait or are computed, told at once: between two questions one may go from here to there."""
    return server.metric("service_(?:waiting|running)_requests")


def lets_nobody_in(server: Started) -> bool:
    """Whether a new connection is refused."""
    try:
        socket.create_connection(("127.0.0.1", server.port), timeout=ANSWERED_S).close()
    except ConnectionRefusedError:
        return True
    except ConnectionError:  # let in no more, while it was waiting to be
        return False
    return False


def answer_over(connection: socket.socket) -> httpx.Response:
    """What comes over a connection over which something was asked."""
    response = http.client.HTTPResponse(connection)
    response.begin()
    return httpx.Response(response.status, headers=response.getheaders(), content=response.read())
