"""HAProxy before several replicas, set up as the README tells: replicas end, and nobody who asks notices.

The configuration is the README's own, with ports of this machine put in. Whatever a replica answers, its stand-ins here
answer what they are told; the tests of the load start real ones, as processes that are then killed.
"""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any, Literal

import httpx2
import pytest

from tests.api.real import EXAMPLES, PATHS, worked
from tests.clients.serving import needs, served
from tests.clients.test_recipes import recipes

ROOT = Path(__file__).parents[2]
WAITS_S = 60.0
LARGEST_BODY = 262_144
"""SERVICE_MAX_BODY_BYTES as it is by default."""

LOT = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
HONEY = [{"ingredient": "honey", "max": "2 kg"}]


def blends(many: int) -> dict[str, Any]:
    """A batch of requests that all differ."""
    wanted = [{"targets": {"gravity": round(1.003 + 0.0001 * n, 4)}} for n in range(many)]
    return {"requests": [{"lots": [LOT], "additions": HONEY, **targets} for targets in wanted]}


def wait_for(what: Callable[[], object], told: str) -> None:
    """Wait until something holds."""
    until = time.monotonic() + WAITS_S
    while not what():
        assert time.monotonic() < until, told
        time.sleep(0.02)


def free_ports(many: int) -> list[int]:
    """Ports of this machine at which nobody listens."""
    with ExitStack() as held:
        probes = [held.enter_context(socket.create_server(("127.0.0.1", 0))) for _ in range(many)]
        return [int(probe.getsockname()[1]) for probe in probes]


def answers(address: str, status: int = 200) -> bool:
    """Whether something is ready at an address."""
    with suppress(httpx2.HTTPError):
        return httpx2.get(f"{address}/readyz", timeout=5.0).status_code == status
    return False


@dataclass
class Front:
    """HAProxy with the README's configuration."""

    port: int
    log: Path
    """What it told: servers that go and come, requests that failed or were sent again."""

    @property
    def address(self) -> str:
        """Where callers ask."""
        return f"http://127.0.0.1:{self.port}"

    def sent_again(self) -> list[float]:
        """Seconds of every request that another replica was asked for too; its log counts those as +1."""
        return [int(found) / 1000.0 for found in re.findall(r"/(\d+) \d{3} .*/\+1 \d", self.log.read_text())]


@contextmanager
def fronted(place: Path, ports: tuple[int, ...], **instead: str) -> Iterator[Front]:
    """HAProxy before two ports, running.

    Parameters: place, an empty folder; ports of the replicas; instead, other values of directives, `_` for spaces and
    hyphens.
    """
    needs(command="haproxy", get="apt-get install haproxy")
    (block,) = recipes("haproxy", "backend replicas")
    (port,) = free_ports(1)
    for written, put in zip(("8000", "8001", "8002"), (port, *ports), strict=True):
        assert block.count(f"127.0.0.1:{written}") == 1
        block = block.replace(f"127.0.0.1:{written}", f"127.0.0.1:{put}")
    for name, value in instead.items():
        block, found = re.subn(rf"^(    {name.replace('_', '.')}) \S+", rf"\1 {value}", block, flags=re.MULTILINE)
        assert found == 1, name
    written_to = place / "front.cfg"
    written_to.write_text(block, encoding="utf-8")
    command = ["haproxy", "-dW", "-f", str(written_to)]  # -dW: a warning is an error
    checked = subprocess.run([*command, "-c"], capture_output=True, text=True, timeout=WAITS_S, check=False)
    assert checked.returncode == 0, checked.stderr
    assert "warning" not in (checked.stdout + checked.stderr).lower()
    front = Front(port, place / "front.log")
    with front.log.open("wb") as log:
        running = subprocess.Popen([*command, "-db"], stdout=log, stderr=log, start_new_session=True)
    try:
        wait_for(lambda: socket_opens(port), "HAProxy does not listen")
        yield front
    finally:
        running.kill()
        running.wait(WAITS_S)


def socket_opens(port: int) -> bool:
    """Whether somebody listens at a port."""
    with suppress(OSError), socket.create_connection(("127.0.0.1", port), timeout=1.0):
        return True
    return False


# What HAProxy does with one request, before stand-ins for replicas


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


# Real replicas that are killed and ended while many ask


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
        plenty = {"SERVICE_DEADLINE_S": "10", "SERVICE_REQUESTS_PER_S": "10000", "SERVICE_REQUEST_BURST": "100000"}
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
