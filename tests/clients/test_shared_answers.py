"""The service as a process: the same address from many callers at once, callers who leave, and few files.

One server for all, which may open few files, because a start takes longest. Workers are stopped by a signal where
something has to be under way. Status 499 for a caller who left is common practice, no source.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.api.real import PATHS, example
from tests.clients.loading import ANSWERED_S, client_of, until
from tests.clients.serving import Started, started

pytestmark = pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="looks at processes in /proc")

CONNECTIONS = 64
FILES = CONNECTIONS + 192 + 6
"""What is beside the connections, and one worker."""
OPERATION = "cell_amount_for_gravity"


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Started]:
    """One worker of each kind; the limit is set where a process of Python begins, before it is ours."""
    place = tmp_path_factory.mktemp("few_files")
    limited = f"import resource\nresource.setrlimit(resource.RLIMIT_NOFILE, ({FILES // 2}, {FILES}))\n"
    (place / "sitecustomize.py").write_text(limited, encoding="utf-8")
    path = os.pathsep.join(filter(None, (str(place), os.environ.get("PYTHONPATH"))))
    with started(PYTHONPATH=path, SERVICE_WORKERS="1", SERVICE_DEADLINE_S="10", SERVICE_KEEP_ALIVE_S="120") as running:
        yield running


@contextmanager
def stopped(server: Started) -> Iterator[None]:
    """Workers that stand still, and go on afterwards."""
    workers = server.workers()
    for pid in workers:
        os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        for pid in workers:
            os.kill(pid, signal.SIGCONT)


def cell(volume_l: float) -> str:
    """An address that has to be solved; each test has one of its own."""
    return (
        f"/v1/cell/amount-for-gravity?ingredient=honey&volume={volume_l}L&gravity=0.998&abv_percent=7.2"
        "&target=1.016&unit=kg"
    )


class Asking:
    """A connection over which something was asked."""

    def __init__(self, server: Started, target: str, method: str = "GET", body: bytes = b"", **headers: str) -> None:
        given = {"Host": f"127.0.0.1:{server.port}", "Connection": "close", **headers}
        if body:
            given |= {"Content-Type": "application/json", "Content-Length": str(len(body))}
        head = [f"{method} {target} HTTP/1.1", *(f"{name.replace('_', '-')}: {given[name]}" for name in given), "", ""]
        self.socket = socket.create_connection(("127.0.0.1", server.port), timeout=ANSWERED_S)
        self.socket.sendall("\r\n".join(head).encode() + body)

    def __enter__(self) -> Asking:
        return self

    def __exit__(self, *_: object) -> None:
        self.socket.close()

    def answer(self) -> tuple[int, dict[str, str], bytes]:
        """Status, headers and content."""
        read = b""
        while more := self.socket.recv(65536):
            read += more
        head, _, content = read.partition(b"\r\n\r\n")
        first, *lines = head.decode("latin-1").split("\r\n")
        return int(first.split()[1]), dict(line.lower().split(": ", 1) for line in lines), content


def all_arrived(server: Started) -> None:
    """What was sent before has been read by the server: connections are answered in the order in which they come."""
    for _ in range(3):
        with Asking(server, "/healthz") as probe:
            assert probe.answer()[0] == 200


def counts(server: Started) -> dict[str, float]:
    """What the server has counted of the cell."""
    return {
        "answered": server.metric("service_requests_total", operation=OPERATION, status="200"),
        "not changed": server.metric("service_requests_total", operation=OPERATION, status="304"),
        "left": server.metric("service_requests_total", operation=OPERATION, status="499"),
        "computed": server.metric("service_solve_seconds_count", operation=OPERATION),
        "shared": server.metric("service_kept_answers_total", kept="shared"),
        "kept": server.metric("service_kept_answers_total", kept="yes"),
    }


def counted(server: Started, before: dict[str, float]) -> dict[str, float]:
    """The same since then, without what was not counted."""
    return {name: value - before[name] for name, value in counts(server).items() if value != before[name]}


def lines(server: Started, status: int) -> list[dict[str, Any]]:
    """The lines of the log with a status."""
    found = re.findall(r'^\{"time".*"request_id".*\}$', server.log(), re.MULTILINE)
    return [line for line in map(json.loads, found) if line.get("status") == status]


def test_fifty_equal_requests_at_once_are_computed_once(server: Started) -> None:
    before, logged = counts(server), len(lines(server, 200))
    with ExitStack() as open_until_the_end:
        with stopped(server):
            asked = [open_until_the_end.enter_context(Asking(server, cell(9.01))) for _ in range(50)]
            all_arrived(server)
            waits = server.metric("service_waiting_requests") + server.metric("service_running_requests")
            assert waits == 1.0, "who waits for an equal request waits for no worker"
        answers = [each.answer() for each in asked]
    assert {(status, content) for status, _, content in answers} == {(200, answers[0][2])}
    assert 0.3 < float(answers[0][2]) < 0.6
    assert len({headers["x-request-id"] for _, headers, _ in answers}) == 50
    assert counted(server, before) == {"answered": 50.0, "computed": 1.0, "shared": 49.0}
    assert len(lines(server, 200)) == logged + 50
    print(f"50 equal requests at once: {counted(server, before)}")


def test_head_and_what_has_not_changed_beside_an_equal_request(server: Started) -> None:
    """RFC 9110, sections 9.3.2 and 15.4.5."""
    with Asking(server, cell(9.02)) as earlier:
        etag = earlier.answer()[1]["etag"]
    before = counts(server)
    target = cell(9.02) + "&"  # the same question at another address, which is not kept
    with stopped(server), ExitStack() as stack:
        head = stack.enter_context(Asking(server, target, "HEAD"))
        whole = stack.enter_context(Asking(server, target))
        same = stack.enter_context(Asking(server, target, If_None_Match=etag))
        all_arrived(server)
        answered = stack.pop_all()
    with answered:
        statuses, headers, contents = zip(*(each.answer() for each in (head, whole, same)), strict=True)
    assert statuses == (200, 200, 304)
    assert [len(content) for content in contents] == [0, int(headers[0]["content-length"]), 0]
    assert {each["etag"] for each in headers} == {etag}
    assert counted(server, before) == {"answered": 2.0, "not changed": 1.0, "computed": 1.0, "shared": 2.0}


def test_callers_who_leave_are_told_of_and_cost_nothing(server: Started) -> None:
    """One that waits for an equal request leaves, then the one that is computed: the third has the answer."""
    before, logged = counts(server), len(lines(server, 499))
    with ExitStack() as stack:
        with stopped(server):
            first = Asking(server, cell(9.03), X_Request_ID="left-first")
            all_arrived(server)
            other = Asking(server, cell(9.03), X_Request_ID="left-other")
            third = stack.enter_context(Asking(server, cell(9.03)))
            all_arrived(server)
            other.socket.close()
            until(lambda: counted(server, before) == {"left": 1.0}, 30.0, "counted")
            first.socket.close()
            all_arrived(server)
        status, _, content = third.answer()
    assert status == 200
    assert 0.3 < float(content) < 0.6
    expected = {"answered": 1.0, "left": 2.0, "computed": 1.0, "shared": 1.0}
    until(lambda: counted(server, before) == expected, 30.0, "counted")
    told = lines(server, 499)[logged:]
    assert {line["request_id"] for line in told} == {"left-first", "left-other"}
    assert {(line["operation"], line["bytes"]) for line in told} == {(OPERATION, 0)}


def test_a_caller_who_leaves_before_the_answer_is_499(server: Started) -> None:
    """Whether the request waits for a worker or one is at it."""
    logged = len(lines(server, 499))
    before = server.metric("service_requests_total", operation="solve_blend", status="499")
    body = json.dumps(example("solve_blend", "01")).encode()
    with stopped(server):
        with Asking(server, PATHS["solve_blend"], "POST", body, X_Request_ID="left-13"):
            until(lambda: server.metric("service_running_requests") == 1.0, 30.0, "taken")
            with Asking(server, PATHS["solve_blend"], "POST", body, X_Request_ID="left-14"):
                until(lambda: server.metric("service_waiting_requests") == 1.0, 30.0, "waiting")
            until(lambda: len(lines(server, 499)) > logged, 30.0, "told")
            assert server.metric("service_waiting_requests") == 0.0
        all_arrived(server)
    until(lambda: len(lines(server, 499)) == logged + 2, 30.0, "told")
    told = lines(server, 499)[logged:]
    assert [line["request_id"] for line in told] == ["left-14", "left-13"]
    assert {(line["operation"], line["bytes"]) for line in told} == {("solve_blend", 0)}
    assert all(line["milliseconds"] > 0.0 for line in told)
    assert server.metric("service_requests_total", operation="solve_blend", status="499") == before + 2.0


def test_as_many_connections_as_there_are_files_for(server: Started) -> None:
    """Those beyond are refused so that they can read it, and a worker is replaced although all places are taken."""
    assert f"may open {FILES} files only: at most {CONNECTIONS} connections are let in" in server.log()
    with client_of(server) as client:
        assert client.get("/v1/limits").json()["max_connections"] == CONNECTIONS
    workers = server.workers()
    with ExitStack() as stack:
        until(lambda: len(os.listdir(f"/proc/{server.pid}/fd")) < FILES - CONNECTIONS, 30.0, "earlier ones are closed")
        held = [
            stack.enter_context(socket.create_connection(("127.0.0.1", server.port), timeout=ANSWERED_S))
            for _ in range(CONNECTIONS)
        ]
        for connection in held:
            connection.sendall(b"GET /healthz HTTP/1.1\r\nHost: a\r\n\r\n")
            assert connection.recv(65536).startswith(b"HTTP/1.1 200 ")
        refused = [stack.enter_context(Asking(server, "/healthz")) for _ in range(50)]
        for each in refused:
            status, headers, content = each.answer()
            assert (status, headers["retry-after"]) == (503, "1")
            assert f"{CONNECTIONS} connections are open already" in json.loads(content)["detail"]
        os.kill(workers[0], signal.SIGKILL)
        until(lambda: workers[0] not in (now := server.workers()) and len(now) == len(workers), 60.0, "replaced")
        held[0].sendall(f"GET {cell(9.05)} HTTP/1.1\r\nHost: a\r\n\r\n".encode())
        assert held[0].recv(65536).startswith(b"HTTP/1.1 200 ")
        assert len(os.listdir(f"/proc/{server.pid}/fd")) <= FILES
    assert "Too many open files" not in server.log()
    assert "Traceback" not in server.log()
