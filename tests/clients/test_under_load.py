"""The service as a process with its workers, under load: many callers, workers that are killed, callers who leave, and
memory.

What has to hold is common practice for a service behind a balancer, no source; statuses, Retry-After and the problem
document are those of RFC 9110 and RFC 9457. Times are measured on whatever machine runs the tests, so a bound holds
for the best of some rounds.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from service.api.serving.kept import Kept, key_of
from service.api.serving.worker import Answered, Ended
from tests.api.real import PATHS
from tests.clients.loading import (
    ANSWERED_S,
    LINES,
    MIX,
    WITHOUT_HURRY,
    Asked,
    batch,
    busiest,
    client_of,
    constant_load,
    content,
    is_busy,
    left_open,
    posted,
    request_head,
    until,
)
from tests.clients.serving import Started, started

pytestmark = pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="looks at processes in /proc")


@pytest.fixture(scope="module")
def server() -> Iterator[Started]:
    """Two workers for single answers and one for batches, and time enough that no answer depends on it."""
    plenty = {"SERVICE_DEADLINE_S": "10", "SERVICE_BATCH_DEADLINE_S": "120", "SERVICE_MAX_WAIT_S": "60"}
    with started(SERVICE_WORKERS="2", **plenty, **WITHOUT_HURRY) as running:
        yield running


@pytest.fixture(scope="module")
def quiet(server: Started) -> dict[Asked, tuple[int, str]]:
    """What each request of the mix is answered with where it is the only one."""
    with client_of(server) as client:
        return {asked: content(asked.sent(client)) for asked in MIX}


@pytest.mark.parametrize(("clients", "rounds"), [(1, 1), (8, 2), (64, 4)])
def test_answers_under_load_are_those_of_a_quiet_server(
    server: Started, quiet: dict[Asked, tuple[int, str]], clients: int, rounds: int
) -> None:
    mixed(server, quiet, clients, rounds)


@pytest.mark.slow
@pytest.mark.parametrize("clients", [1, 8, 64])
def test_long_load(server: Started, quiet: dict[Asked, tuple[int, str]], clients: int) -> None:
    mixed(server, quiet, clients, 30)


def mixed(server: Started, quiet: dict[Asked, tuple[int, str]], clients: int, rounds: int) -> None:
    """Send the mix; other Accept headers than before, so that the serving process cannot give kept answers."""
    asked = [(request, f"*/*;q=0.{clients:02}{k}") for k in range(rounds) for request in MIX]
    random.Random(clients).shuffle(asked)
    with client_of(server, clients) as client, ThreadPoolExecutor(clients) as pool:
        begun = time.monotonic()
        answers = list(pool.map(lambda one: one[0].sent(client, Accept=one[1]), asked))
        taken_s = time.monotonic() - begun
    print(f"{clients} clients: {len(asked) / taken_s:.0f} requests/s; {Counter(a.status_code for a in answers)}")
    told = [(request, answer) for (request, _), answer in zip(asked, answers, strict=True) if not is_busy(answer)]
    assert len(told) > len(asked) // 2
    for request, answer in told:
        assert answer.status_code < 500, (request.path, answer.text)
        assert content(answer) == quiet[request], request.path


@pytest.mark.parametrize(("path", "accept"), [("/v1/cell", "text/html"), ("/v1/workbook.xlsx", "*/*")])
def test_what_has_not_changed_has_the_headers_of_what_was_sent(server: Started, path: str, accept: str) -> None:
    """RFC 9110, section 15.4.5: a cache takes them over (RFC 9111, section 4.3.4)."""
    with client_of(server) as client:
        whole = client.get(path, headers={"Accept": accept})
        same = client.get(path, headers={"Accept": accept, "If-None-Match": whole.headers["etag"]})
    assert (whole.status_code, same.status_code, same.content) == (200, 304, b"")
    its_own = {"content-length", "content-type", "date", "x-request-id"}
    told = [{name: value for name, value in a.headers.items() if name not in its_own} for a in (whole, same)]
    assert told[0] == told[1]


def test_light_answers_come_soon_while_all_workers_compute(server: Started) -> None:
    """99 of 100 within 50 ms, in the best of some rounds.

    Beside it a bare process is asked, which computes a millisecond for each answer: where even that one waits for a
    processor, the machine is too busy to tell, and what counts is that the service waits no longer than three times so.
    """
    heavy = [
        posted("trade_off", "01"),
        posted("trade_off", "02", ".csv"),
        Asked("POST", PATHS["solve_blends"], batch(30)),
    ]
    rounds: list[dict[str, float]] = []
    paths = ("/healthz", "/v1/cell/sg-from-brix?brix=")

    def soon(path: str) -> bool:
        return any(each[path] < max(0.05, 3.0 * each["bare"]) for each in rounds)

    with bare_process() as port, constant_load(server, heavy[:2], 3), constant_load(server, heavy[2:], 2):
        until(lambda: server.metric("service_running_requests") == 3.0, ANSWERED_S, "all workers compute")
        begun = time.monotonic()
        while not all(map(soon, paths)) and (len(rounds) < 8 or time.monotonic() - begun < 60.0):
            bare, *served = p99s_s((port, "/"), *((server.port, path) for path in paths))
            rounds.append({"bare": bare, **dict(zip(paths, served, strict=True))})
        until(lambda: server.metric("service_running_requests") >= 2.0, ANSWERED_S, "workers compute still")
    print(f"p99 in seconds: {rounds}")
    for path in paths:
        assert soon(path), (path, rounds)


def p99s_s(*asked: tuple[int, str]) -> list[float]:
    """The time within which 99 of 100 answers come [s], of several ports and paths that are asked in turns.

    A path that ends in = gets a new number each time.
    """
    taken: list[list[float]] = [[] for _ in asked]
    lines = [http.client.HTTPConnection("127.0.0.1", port, timeout=ANSWERED_S) for port, _ in asked]
    for k in range(100):
        for line, (_, path), times in zip(lines, asked, taken, strict=True):
            begun = time.perf_counter()
            line.request("GET", path + (f"{random.uniform(1, 30):.4f}{k}" if path.endswith("=") else ""))
            response = line.getresponse()
            response.read()
            times.append(time.perf_counter() - begun)
            assert response.status == 200
    for line in lines:
        line.close()
    return [sorted(times)[98] for times in taken]


BARE = """
import socket
from time import process_time
with socket.create_server(("127.0.0.1", 0)) as listening:
    print(listening.getsockname()[1], flush=True)
    while True:
        with listening.accept()[0] as connection:
            while connection.recv(65536):
                until = process_time() + 0.001
                while process_time() < until:
                    pass
                connection.sendall(b"HTTP/1.1 200 OK\\r\\nContent-Length: 0\\r\\n\\r\\n")
"""


@contextmanager
def bare_process() -> Iterator[int]:
    """The port of a process that answers everything alike."""
    with subprocess.Popen([sys.executable, "-c", BARE], stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            yield int(process.stdout.readline())
        finally:
            process.kill()


def test_a_killed_worker_takes_only_its_own_request_with_it(server: Started) -> None:
    lost = server.metric("service_workers_lost_total")
    turned_away = server.metric("service_rejections_total", reason="worker_lost")
    took_s: list[float] = []
    with constant_load(server, [posted("trade_off", "03"), posted("solve_blend", "01")], 4) as answers:
        # one that is killed between two requests takes none with it, so that it may need some more
        while len(took_s) < 3 or (len(took_s) < 30 and (min(took_s) >= 2.0 or not any(map(is_busy, list(answers))))):
            until(lambda: server.metric("service_running_requests", lane="single") == 2.0, ANSWERED_S, "both compute")
            took_s.append(replaced_s(server, killed=busiest(server)))
            until(lambda: server.metric("service_workers_lost_total") == lost + len(took_s), ANSWERED_S, "counted")
    print(f"replaced after {took_s} s")
    refused = [answer for answer in answers if is_busy(answer)]
    assert all(answer.status_code == 200 for answer in answers if answer not in refused)
    assert 1 <= len(refused) <= len(took_s)
    assert len(refused) == server.metric("service_rejections_total", reason="worker_lost") - turned_away
    assert all("ended before it was done" in answer.json()["detail"] for answer in refused)
    assert min(took_s) < 2.0


def replaced_s(server: Started, killed: int) -> float:
    """Kill a worker and wait until there are as many as before; returns how long it took [s]."""
    count = len(server.workers())
    os.kill(killed, signal.SIGKILL)
    return until(lambda: killed not in server.workers() and len(server.workers()) == count, ANSWERED_S, "replaced")


def test_all_workers_killed_at_once(server: Started) -> None:
    workers = server.workers()
    with client_of(server) as client:
        for pid in workers:
            os.kill(pid, signal.SIGKILL)
        until(lambda: not set(workers) & set(server.workers()), ANSWERED_S, "killed")
        answers = [posted("solve_blend", "02").sent(client), posted("solve_blends", "01").sent(client)]
        assert [answer.status_code for answer in answers] == [200, 200]
        until(lambda: len(server.workers()) == len(workers), ANSWERED_S, "replaced")
        assert client.get("/readyz").status_code == 200


def test_a_worker_killed_in_the_middle_of_a_stream_cuts_the_stream(server: Started) -> None:
    """What has begun with status 200 must not look complete: chunks without an end (RFC 9112, section 8)."""
    lost = server.metric("service_workers_lost_total", lane="batch")
    lines: list[str] = []
    with client_of(server) as client, pytest.raises(httpx.RemoteProtocolError):
        read_until_cut(server, client, lines)
    assert len(lines) >= 3
    assert all("progress" in json.loads(line) for line in lines)
    until(lambda: server.metric("service_workers_lost_total", lane="batch") == lost + 1, ANSWERED_S, "counted")


def read_until_cut(server: Started, client: httpx.Client, lines: list[str]) -> None:
    """Read the lines of a batch, whose worker is killed after the third."""
    headers = {**LINES, "Content-Type": "application/json"}
    with client.stream("POST", PATHS["solve_blends"], content=batch(1500), headers=headers) as response:
        assert response.status_code == 200
        for line in response.iter_lines():
            lines.append(line)
            if len(lines) == 3:
                os.kill(busiest(server), signal.SIGKILL)


@pytest.mark.parametrize("twin", ["", ".csv"])
def test_a_caller_who_leaves_ends_the_work(server: Started, twin: str) -> None:
    left = {"operation": f"solve_blends{twin.replace('.', '_')}", "outcome": "left"}
    before = server.metric("service_solve_seconds_count", **left)
    with left_open(server, PATHS["solve_blends"] + twin, batch(1500)):
        until(lambda: server.metric("service_running_requests", lane="batch") == 1.0, ANSWERED_S, "computing")
        time.sleep(0.3)
    freed_s = until(lambda: server.metric("service_running_requests", lane="batch") == 0.0, 10.0, "given up")
    print(f"free again after {freed_s:.2f} s")
    until(lambda: server.metric("service_solve_seconds_count", **left) == before + 1, ANSWERED_S, "counted as left")


def test_a_caller_who_leaves_while_waiting_is_not_answered_at_all(server: Started) -> None:
    computed = server.metric("service_solve_seconds_count", operation="solve_blends")
    with left_open(server, PATHS["solve_blends"], batch(1500)):
        until(lambda: server.metric("service_running_requests", lane="batch") == 1.0, ANSWERED_S, "computing")
        with left_open(server, PATHS["solve_blends"], batch(1400)):
            until(lambda: server.metric("service_waiting_requests", lane="batch") == 1.0, ANSWERED_S, "waiting")
        until(lambda: server.metric("service_waiting_requests", lane="batch") == 0.0, 10.0, "its place is free")
        # before the turn of its batch would have come:
        assert server.metric("service_running_requests", lane="batch") == 1.0
    with client_of(server) as client:
        assert posted("solve_blends", "01").sent(client).status_code == 200
    assert server.metric("service_solve_seconds_count", operation="solve_blends") == computed + 2  # left, and the last


@pytest.mark.slow
def test_a_slow_reader_holds_no_worker(server: Started) -> None:
    with socket.socket() as connection:
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        connection.connect(("127.0.0.1", server.port))
        connection.settimeout(ANSWERED_S)
        body = batch(600)
        connection.sendall(request_head(PATHS["solve_blends"], body, Accept=LINES["Accept"]) + body)
        until(lambda: server.metric("service_running_requests", lane="batch") == 1.0, 10.0, "computing")
        until(lambda: server.metric("service_running_requests", lane="batch") == 0.0, ANSWERED_S, "computed")
        response = http.client.HTTPResponse(connection)
        response.begin()
        last = response.read().splitlines()[-1]
    assert len(last) > 4_000_000  # more than the system holds for a socket
    assert len(json.loads(last)["result"]["results"]) == 600


def test_kept_answers_count_what_they_are_asked_by_and_are_never_mixed_up() -> None:
    """Host and Accept are as long as a caller likes, so they count; and so does whatever formulas are written from."""
    kept, answer = Kept(20_000), Answered(200, [], b"1.047", Ended(0.0, "answered"))
    asked = {"path": "/v1/cell", "query_string": b"", "scheme": "http", "server": ("127.0.0.1", 8000), "headers": []}
    for k in range(10):
        kept.keep(key_of({**asked, "headers": [(b"accept", b"x" * 8000 + b"%d" % k)]}), answer)
        assert kept.bytes <= 20_000
    assert kept.bytes > 16_000
    others = [
        {**asked, "scheme": "https"},
        {**asked, "server": ("10.0.0.1", 8000)},
        {**asked, "query_string": b"explain=1"},
        {**asked, "headers": [(b"host", b"solver.example.org")]},
        {**asked, "headers": [(b"accept", b"application/json"), (b"accept", b"text/html")]},
        {**asked, "headers": [(b"accept", b"application/json")]},
    ]
    assert len({key_of(each) for each in (asked, *others)}) == 7


def own_kb(pid: int) -> int:
    """Memory that a process shares with no other [kB] (proc(5), smaps_rollup: Private_Clean and Private_Dirty)."""
    text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    return sum(int(kb) for kb in re.findall(r"^Private_(?:Clean|Dirty): +(\d+)", text, re.MULTILINE))


def test_memory_stays(server: Started) -> None:
    grown(server, warm_up=800, requests=2000, most=0.05)


@pytest.mark.slow
def test_memory_stays_for_long(server: Started) -> None:
    grown(server, warm_up=50_000, requests=50_000, most=0.05)  # pages shared at the fork become own ones by and by


def grown(server: Started, warm_up: int, requests: int, most: float) -> None:
    """How much the serving process and the workers of single answers grow, by requests of a set that repeats itself.

    Of answers that are kept there are so few that all are kept when the warm-up ends: how many are kept at most is
    for other tests, here nothing may grow by having answered.
    """
    asked = [
        *(Asked("GET", f"/v1/cell/sg-from-brix?brix={brix}") for brix in range(1, 21)),
        *(Asked("GET", f"/v1/cell/gravity-from-reading?reading=1.0{k}&sample_temperature=25C") for k in range(10, 30)),
        posted("plan_stabilising", "04"),
        posted("plan_packaging", "03"),
        posted("judge_tasting", "02"),
        posted("interpret_readings", "06"),
        posted("solve_blend", "06"),
        posted("plan_must", "05"),
        Asked("GET", "/v1/nowhere"),
        Asked("GET", "/v1/limits"),
    ]
    with client_of(server, 4) as client, ThreadPoolExecutor(4) as pool:

        def send(count: int) -> dict[int, int]:
            statuses = Counter(pool.map(lambda k: asked[k % len(asked)].sent(client).status_code, range(count)))
            assert set(statuses) <= {200, 404, 422}, statuses
            return {pid: own_kb(pid) for pid in (server.pid, *server.workers())}

        before = send(warm_up)
        after = send(requests)
    print({pid: f"{before[pid]} -> {after[pid]} kB" for pid in before})
    assert before.keys() == after.keys()
    for pid, kb in before.items():
        assert after[pid] < (1.0 + most) * kb, f"{'the serving process' if pid == server.pid else 'a worker'} grows"
