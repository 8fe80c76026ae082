"""The service as a process with its workers: turned away where too many wait, and how it starts and ends.

What has to hold is common practice for a service behind a balancer, no source; statuses, Retry-After and the problem
document are those of RFC 9110 and RFC 9457.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from multiprocessing.context import BaseContext
from pathlib import Path

import httpx
import pytest

from service.api.serving.workers import WorkerLostError, Workers
from service.api.settings import Settings
from tests.api.real import PATHS, example
from tests.clients.loading import (
    ANSWERED_S,
    LINES,
    WITHOUT_HURRY,
    Asked,
    answer_over,
    batch,
    client_of,
    in_flight,
    is_busy,
    left_open,
    lets_nobody_in,
    posted,
    request_head,
    until,
)
from tests.clients.serving import Started, started

pytestmark = pytest.mark.skipif(not Path("/proc/self/smaps_rollup").exists(), reason="looks at processes in /proc")


def test_a_flood_is_turned_away_and_an_end_is_graceful() -> None:
    """One server for both: its start takes longest. The end is told to all processes, as a service manager does."""
    plenty = {"SERVICE_DEADLINE_S": "10", "SERVICE_BATCH_DEADLINE_S": "120", "SERVICE_SHUTDOWN_S": "120"}
    with started(SERVICE_WORKERS="1", SERVICE_MAX_WAITING="5", **plenty, **WITHOUT_HURRY) as server:
        flooded(server)
        ended_gracefully(server)


def flooded(server: Started) -> None:
    """Sixty at once where one is computed and five may wait: over connections that are there, each in one go."""
    most = [0.0]

    def answered() -> bool:
        most.append(server.metric("service_waiting_requests"))
        return server.metric("service_requests_total", operation="solve_blend") == 60.0

    with client_of(server) as client, ExitStack() as held:
        wire = [held.enter_context(socket.create_connection(("127.0.0.1", server.port), ANSWERED_S)) for _ in range(60)]
        asked = posted("solve_blend", "01")
        for connection in wire:
            connection.sendall(request_head(asked.path, asked.body) + asked.body)
        until(answered, ANSWERED_S, "all are answered")
        answers = [answer_over(connection) for connection in wire]
        refused = [answer for answer in answers if is_busy(answer)]
        assert all(answer.status_code == 200 for answer in answers if answer not in refused)
        assert 5 <= len(answers) - len(refused) < 55  # five, where all were there before the worker began the first
        assert max(most) <= 5.0
        assert in_flight(server) == 0.0
        assert server.metric("service_rejections_total", reason="queue_full") == len(refused)
        assert {asked.sent(client).status_code for _ in range(3)} == {200}
    taken_ms = [float(ms) for ms in re.findall(r'"status": 503, "milliseconds": ([0-9.]+)', server.log())]
    assert len(taken_ms) == len(refused)
    print(
        f"{len(refused)} of 60 refused, within {sorted(taken_ms)[len(taken_ms) // 2]} ms (median), {max(taken_ms)} ms"
    )
    assert sorted(taken_ms)[len(taken_ms) // 2] < 100.0


def ended_gracefully(server: Started) -> None:
    """What was asked is answered whole; nothing new is let in; nothing stays behind."""
    with client_of(server, 8) as client, ThreadPoolExecutor(8) as pool:
        asked = [
            posted("trade_off", "02"),
            posted("trade_off", "01", **LINES),
            posted("solve_blend", "01"),
            posted("trade_off", "02", ".csv"),
            posted("trade_off", "01", ".csv"),
            Asked("POST", PATHS["solve_blends"], batch(100)),
        ]
        sent = [pool.submit(one.sent, client) for one in asked]

        def all_let_in() -> bool:
            answered = sum(each.done() for each in sent)  # looked at first: none is counted twice
            return answered + in_flight(server) >= len(asked)

        until(all_let_in, ANSWERED_S, "all are let in")
        begun = time.monotonic()
        os.killpg(server.pid, signal.SIGTERM)
        until(lambda: lets_nobody_in(server), ANSWERED_S, "nobody is let in any more")
        answers = [each.result() for each in sent]
        assert [answer.status_code for answer in answers] == [200] * len(asked)
        assert "result" in json.loads(answers[1].text.splitlines()[-1])
        assert [result["status"] for result in answers[-1].json()["results"]] == [200] * 100
        with pytest.raises(httpx.ConnectError), client_of(server) as late:
            late.get("/healthz")
    server.process.wait(ANSWERED_S)
    print(f"ended after {time.monotonic() - begun:.2f} s with {server.process.returncode}")
    assert server.process.returncode in (0, -signal.SIGTERM)
    until(lambda: not server.group(), ANSWERED_S, "no process is left")
    assert "Traceback" not in server.log()


def test_ctrl_c_in_a_terminal_ends_cleanly() -> None:
    """A terminal sends SIGINT to every process of the group in the foreground (POSIX.1-2017, 11.1.9)."""
    with (
        started(SERVICE_WORKERS="1", SERVICE_SHUTDOWN_S="120") as server,
        client_of(server) as client,
        ThreadPoolExecutor(1) as pool,
    ):
        sent = pool.submit(Asked("POST", PATHS["solve_blends"], batch(300)).sent, client)
        until(lambda: in_flight(server) == 1.0, ANSWERED_S, "in flight")
        os.killpg(server.pid, signal.SIGINT)
        assert sent.result().status_code == 200
        assert server.process.wait(ANSWERED_S) == 0
        until(lambda: not server.group(), ANSWERED_S, "no process is left")
        assert "Traceback" not in server.log()
        assert "KeyboardInterrupt" not in server.log()


def test_no_worker_outlives_a_killed_server() -> None:
    with (
        started(SERVICE_WORKERS="1", SERVICE_MAX_WAIT_S="60") as server,
        left_open(server, PATHS["solve_blends"] + ".csv", batch(1500)),
        ExitStack() as singles,
    ):
        for _ in range(60):  # one after the other, so that one of them is seen
            singles.enter_context(
                left_open(server, PATHS["trade_off"], json.dumps(example("trade_off", "01")).encode())
            )
        until(lambda: server.metric("service_running_requests") == 2.0, ANSWERED_S, "both compute")
        server.process.kill()
        print(f"gone after {until(lambda: not server.group(), 10.0, 'no process is left'):.2f} s")


@pytest.mark.slow
def test_workers_serve_on_without_what_forks_them() -> None:
    """The process that others are forked from is no single point of failure: it is started again when it is needed."""
    with started(SERVICE_WORKERS="1") as server, client_of(server) as client:
        workers = server.workers()
        (forking,) = {Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[1] for pid in workers}
        os.kill(int(forking), signal.SIGKILL)
        time.sleep(2.0)
        assert posted("solve_blend", "02").sent(client).status_code == 200
        assert server.metric("service_workers_lost_total") == 0.0
        for pid in workers:
            os.kill(pid, signal.SIGKILL)
        time.sleep(0.1)
        assert posted("solve_blend", "02").sent(client).status_code in (200, 503)
        assert posted("solve_blend", "02").sent(client).status_code == 200
        until(lambda: len(server.workers()) == 2, ANSWERED_S, "both are back")


@pytest.mark.slow
@pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.parametrize("after_s", [0.2, 1.0, 2.0, 2.5, 3.0, 3.5])
def test_an_end_while_it_starts(told: signal.Signals, after_s: float) -> None:
    """Told to all processes of the group, at whatever stage; the output ends where the last of them has ended."""
    with subprocess.Popen(
        [sys.executable, "-m", "service", "serve", "--port", "0"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    ) as process:
        assert process.stdout is not None
        assert any("Ctrl+C stops it" in line for line in process.stdout)
        time.sleep(after_s)
        os.killpg(process.pid, told)
        assert process.wait(5.0) in (0, -told)
        written = process.communicate(timeout=ANSWERED_S)[0]
    assert "Traceback" not in written


def test_a_server_whose_workers_cannot_start_does_not_start(monkeypatch: pytest.MonkeyPatch) -> None:
    class Starting(BaseContext):
        def Process(self, *_: object, **__: object) -> object:
            return self

        def start(self) -> None:
            raise OSError

    monkeypatch.setattr("service.api.serving.workers._PAUSE_S", 0.001)
    workers = Workers(2, Settings(), Starting(), patience_s=1.0)
    with pytest.raises(WorkerLostError):
        asyncio.run(workers.start())


@pytest.mark.slow
def test_a_second_ctrl_c_waits_for_nobody() -> None:
    with started(SERVICE_WORKERS="1") as server, left_open(server, PATHS["solve_blends"], batch(1500)):
        until(lambda: in_flight(server) == 1.0, 10.0, "in flight")
        os.killpg(server.pid, signal.SIGINT)
        time.sleep(0.5)
        os.killpg(server.pid, signal.SIGINT)
        assert server.process.wait(8.0) in (0, -signal.SIGINT)
        until(lambda: not server.group(), 5.0, "no process is left")


@pytest.mark.slow
def test_what_outlasts_the_time_to_end_is_told_so() -> None:
    with (
        started(SERVICE_WORKERS="1", SERVICE_SHUTDOWN_S="1", SERVICE_BATCH_DEADLINE_S="60") as server,
        client_of(server) as client,
        ThreadPoolExecutor(1) as pool,
    ):
        sent = pool.submit(Asked("POST", PATHS["solve_blends"], batch(1500)).sent, client)
        until(lambda: in_flight(server) == 1.0, 10.0, "in flight")
        server.process.terminate()
        answer = sent.result()
        assert is_busy(answer), answer.text
        assert "ended before this was answered" in answer.json()["detail"]
        assert server.process.wait(8.0) in (0, -signal.SIGTERM)
        until(lambda: not server.group(), 5.0, "no process is left")
