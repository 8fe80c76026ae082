"""HAProxy before two replicas, set up as the README tells: replicas end, and nobody who asks notices.

They are real ones, processes that are killed and ended while many ask.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx2
import pytest

from tests.api.real import EXAMPLES, PATHS, worked
from tests.clients.fronting import WAITS_S, Front, answers, blends, free_ports, fronted, wait_for
from tests.clients.serving import needs

ROOT = Path(__file__).parents[2]


@dataclass
class Replica:
    """A replica: a process of its own group, which may be started again at the same port."""

    port: int
    log: Path
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        """Where it is asked directly."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it, and do not wait."""
        times = {"SERVICE_DEADLINE_S": "10", "SERVICE_MAX_WAIT_S": "60"}
        plenty = {**times, "SERVICE_REQUESTS_PER_S": "10000", "SERVICE_REQUEST_BURST": "100000"}
        command = [sys.executable, "-m", "service", "serve", "--port", str(self.port), "--workers", "1"]
        with self.log.open("ab") as log:
            self.process = subprocess.Popen(
                command, cwd=ROOT, env={**os.environ, **plenty}, stdout=log, stderr=log, start_new_session=True
            )

    def send(self, number: signal.Signals, *, to_all: bool) -> None:
        """Send a signal to its first process, or to all of its processes as a terminal and systemd do."""
        assert self.process is not None
        (os.killpg if to_all else os.kill)(self.process.pid, number)

    def ended(self) -> bool:
        """Whether its first process has ended."""
        assert self.process is not None
        return self.process.poll() is not None

    def kill(self) -> None:
        """End all of its processes at once."""
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait(WAITS_S)

    def answered(self) -> int:
        """How many requests of the load it has answered."""
        return self.log.read_bytes().count(b'"request_id": "load-')


@dataclass(frozen=True)
class Asked:
    """A request of the load, and what one replica by itself answers to it."""

    method: str
    path: str
    body: Any = None
    status: int = 0
    answer: Any = None


def comparable(answer: Any) -> Any:
    """An answer without what differs each time: how long a proof took, and the id of the request."""
    if isinstance(answer, dict):
        return {name: comparable(part) for name, part in answer.items() if name not in ("milliseconds", "request_id")}
    return [comparable(part) for part in answer] if isinstance(answer, list) else answer


def content(response: httpx2.Response) -> Any:
    """What a response holds, to be compared."""
    is_json = response.headers.get("content-type", "").endswith("json")
    return comparable(response.json()) if is_json and response.content else response.text


def mixed() -> list[Asked]:
    """Requests of many kinds, light and less light ones, a refused one among them."""
    files = [
        ("solve_blend", "02_how_much_honey_to_1030"),
        ("solve_blend", "08_like_a_remembered_drink"),
        ("solve_blend", "06_refused_readings"),
        ("forecast_blend", "01_two_recipes"),
        ("plan_stabilising", "01_dry_base_at_8_percent"),
    ]
    posts = [Asked("POST", PATHS[what], worked(EXAMPLES / what / f"{name}.json")["request"]) for what, name in files]
    cell = "amount-for-gravity?ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2&target=1.016&unit=kg"
    gets = [f"/v1/cell/{cell}", f"/v1/cell/caution/{cell}", "/v1/cell/sg-from-brix?brix=20", "/v1/ingredients/honey"]
    return [
        *posts,
        *(Asked("GET", path) for path in gets),
        Asked("HEAD", "/v1/cell/sg-from-brix?brix=20"),
        Asked("POST", PATHS["solve_blends"], blends(3)),
    ]


class Load:
    """Threads that ask a front again and again, each over a connection of its own, and hold each answer to be right."""

    def __init__(self, address: str, asked: list[Asked], threads: int) -> None:
        self.address, self.asked = address, asked
        self.took_s: list[float] = []
        self.kinds: Counter[str] = Counter()
        self.failed: list[str] = []
        self.pause_s = 0.0
        self._stop = threading.Event()
        self._threads = [threading.Thread(target=self._ask, args=(n,), daemon=True) for n in range(threads)]

    def __enter__(self) -> Load:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(WAITS_S)

    def more(self, many: int) -> None:
        """Wait until so many more have been answered."""
        until = len(self.took_s) + many
        self.wait_for(lambda: len(self.took_s) >= until, "the load stands still")

    def wait_for(self, what: Callable[[], object], told: str) -> None:
        """Wait until something holds, and no longer than all goes well."""
        wait_for(lambda: self.failed or what(), told)
        assert self.failed == []

    def _ask(self, thread: int) -> None:
        with httpx2.Client(base_url=self.address, timeout=WAITS_S) as client:
            count = 3 * thread
            while not self._stop.wait(self.pause_s):
                count += 1
                asked = self.asked[count % len(self.asked)]
                name = f"load-{thread}-{count}"
                began = time.monotonic()
                try:
                    response = client.request(asked.method, asked.path, json=asked.body, headers={"X-Request-ID": name})
                    right = (response.status_code, content(response)) == (asked.status, asked.answer)
                    if not right or response.headers["x-request-id"] != name:
                        self.failed.append(f"{name} {asked.path}: {response.status_code} {response.text[:300]}")
                except httpx2.HTTPError as error:
                    took_s = time.monotonic() - began
                    self.failed.append(f"{name} {asked.method} {asked.path}: {error!r} after {took_s:.3f} s")
                self.took_s.append(time.monotonic() - began)
                self.kinds[f"{asked.method} {asked.path.split('?')[0]}"] += 1


@contextmanager
def cluster(place: Path) -> Iterator[tuple[Front, list[Replica]]]:
    """Two replicas, started and ready, and HAProxy before them."""
    needs(command="haproxy", get="apt-get install haproxy")
    replicas = [Replica(port, place / f"replica_{n}.log") for n, port in enumerate(free_ports(2))]
    try:
        for replica in replicas:
            replica.start()
        with fronted(place, (replicas[0].port, replicas[1].port)) as front:
            for address in (*(replica.address for replica in replicas), front.address):
                wait_for(lambda address=address: answers(address), "not ready")  # type: ignore[misc]
            yield front, replicas
    finally:
        for replica in replicas:
            replica.kill()


def answered_alone(replica: Replica) -> list[Asked]:
    """The load with the answers of one replica."""
    known = []
    with httpx2.Client(base_url=replica.address, timeout=WAITS_S) as client:
        for asked in mixed():
            response = client.request(asked.method, asked.path, json=asked.body)
            assert response.status_code in (200, 422)
            known.append(Asked(asked.method, asked.path, asked.body, response.status_code, content(response)))
    assert {asked.status for asked in known} == {200, 422}
    return known


def back_at_work(replica: Replica, load: Load) -> None:
    """Start a replica again and wait until it gets its part of the load."""
    before, load.pause_s = replica.answered(), 0.3  # it starts in peace: its processor may be the load's
    replica.start()
    load.wait_for(lambda: replica.answered() > before, "the replica is not asked any more")
    load.pause_s = 0.0


def killed(replica: Replica, load: Load) -> None:
    """Kill a replica in the middle of its work."""
    replica.kill()
    load.more(60)


def drained(replica: Replica, load: Load, *, to_all: bool = False) -> None:
    """End a replica by SIGTERM, with streams under way, which it ends as if nothing had happened."""
    ends: list[bytes] = []

    def stream() -> None:
        with httpx2.stream(
            "POST",
            load.address + PATHS["solve_blends"],
            json=blends(40),
            headers={"Accept": "application/x-ndjson"},
            timeout=WAITS_S,
        ) as response:
            pieces = list(response.iter_raw())
        ends.append(b"".join(pieces).splitlines()[-1])

    streams = [threading.Thread(target=stream, daemon=True) for _ in range(2)]
    for thread in streams:
        thread.start()
    time.sleep(0.25)
    replica.send(signal.SIGTERM, to_all=to_all)
    load.more(60)
    for thread in streams:
        thread.join(WAITS_S)
    assert [set(json.loads(end)) for end in ends] == [{"result"}, {"result"}]
    wait_for(replica.ended, "a replica that was told to end goes on")


def test_nobody_notices_that_replicas_end(tmp_path: Path) -> None:
    """One is killed and started again, then the other one ends in order: no request fails, no answer is another."""
    with cluster(tmp_path) as (front, (first, second)):
        with Load(front.address, answered_alone(first), threads=4) as load:
            load.more(60)
            killed(first, load)
            back_at_work(first, load)
            drained(second, load)
        assert load.failed == []
        assert len(load.took_s) >= 200
        assert len(load.kinds) >= 8
        assert front.sent_again()
        assert first.answered()
        assert second.answered()


@pytest.mark.slow
def test_nobody_notices_that_replicas_end_again_and_again(tmp_path: Path) -> None:
    with cluster(tmp_path) as (front, replicas):
        with Load(front.address, answered_alone(replicas[0]), threads=6) as load:
            for n in range(12):
                replica = replicas[n % 2]
                load.more(60)
                if n % 3 == 2:
                    drained(replica, load, to_all=n % 2 == 0)
                else:
                    killed(replica, load)
                back_at_work(replica, load)
        assert load.failed == []
        assert len(load.took_s) >= 1500
