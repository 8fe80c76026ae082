"""The service as it is served: throughput against its own floor, light answers beside heavy ones, start and memory.

Real processes on real sockets; what asks them is a process of its own. Server and load share the processors, so the
ratios are what one machine of this size gives, load included. Targets: a solve endpoint at 0.60 of the floor, where a
solve takes a third of a millisecond; a plan of this service takes many times that, because an answer also tells
intervals, prices of targets, steps and cautions. So the share of the floor is told with the time that a plan needs.
"""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from statistics import median

from service.api.answering import planned
from service.api.requests_blend import BlendPlanRequest
from tests.benchmarks import floor
from tests.benchmarks.load import Request, Seen, begin, end
from tests.benchmarks.plans import bodies
from tests.benchmarks.timing import Row, interleaved

_STARTS_WITHIN_S = 60.0
_MIB = 1024.0 * 1024.0
_GATE_OF_FLOOR = {1: 0.07, 2: 0.10}
"""About a third below what was measured, at the crowd where the share is least."""

PLANS: Sequence[Request] = [("POST", "/v1/blend-plans", json.dumps(body)) for body in bodies(200)]
FLOORS: Sequence[Request] = [("POST", floor.PATH, body) for _, _, body in PLANS]
LIGHT: Sequence[Request] = [("GET", f"/v1/cell/sg-from-brix?brix={k / 100.0}", "") for k in range(100, 2100)]
CELLS: Sequence[Request] = [
    (
        "GET",
        f"/v1/cell/amount-for-gravity?ingredient=honey&volume={9.0 + k / 1000.0:.3f}L&gravity=0.9985&abv_percent=7.2"
        "&target=1.016&unit=kg",
        "",
    )
    for k in range(20_000)
]
KEPT: Sequence[Request] = CELLS[:20]
HEALTH: Sequence[Request] = [("GET", "/healthz", "")]
HEAVY: Sequence[Request] = [
    (
        "POST",
        "/v1/trade-offs",
        json.dumps(
            {key: value for key, value in body.items() if key != "targets"} | {"targets": {"volume": {"max": "60 L"}}}
        ),
    )
    for body in bodies(50)
]


@dataclass(frozen=True, slots=True)
class Started:
    """A server process and how long it took to be ready [s]."""

    address: str
    pid: int
    ready_s: float


@contextmanager
def started(module: str, *arguments: str, **variables: str) -> Iterator[Started]:
    """A server of this repository on a free port, with environment variables, until the end of the context."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    begun = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", module, *(part.format(port=port) for part in arguments)],
        stdout=subprocess.DEVNULL,
        env={**os.environ, **variables},
    )
    try:
        address = f"http://127.0.0.1:{port}"
        while not _answers(address + "/readyz"):
            if process.poll() is not None or time.perf_counter() - begun > _STARTS_WITHIN_S:
                raise RuntimeError(f"{module} did not start")
            time.sleep(0.02)
        yield Started(address, process.pid, time.perf_counter() - begun)
    finally:
        process.terminate()
        process.wait(30.0)


def _answers(address: str) -> bool:
    try:
        with urllib.request.urlopen(address, timeout=5.0) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


def _serves(workers: int) -> AbstractContextManager[Started]:
    return started("service", "serve", "--port={port}", SERVICE_WORKERS=str(workers))


def _load(server: Started, requests: Sequence[Request], clients: int, seconds: float) -> Seen:
    seen = end(begin(server.address, requests, clients, seconds))
    if set(seen.statuses) != {"200"}:
        raise RuntimeError(f"refused under load: {dict(seen.statuses)}")
    return seen


def _medians(contenders: dict[str, partial[Seen]], rounds: int) -> dict[str, float]:
    """Answers in a second of each contender, the median of interleaved rounds, after one that is not counted."""
    seen: dict[str, list[float]] = {name: [] for name in contenders}
    for turn in range(rounds + 1):
        for name, ask in contenders.items():
            per_second = ask().per_second
            if turn:
                seen[name].append(per_second)
    return {name: median(values) for name, values in seen.items()}


def throughput(
    lowest: Started, one: Started, two: Started, seconds: float, rounds: int, crowds: Sequence[int]
) -> Iterator[Row]:
    """P1 and P14: plans in a second with one worker and two, of what the floor answers."""
    single = interleaved(
        {"plan": [partial(planned, BlendPlanRequest.model_validate(body), 10.0) for body in bodies(20)]}, rounds
    )["plan"]
    yield Row("   one plan, no server", f"{1e3 * single:.1f} ms")
    for clients in crowds:
        seen = _medians(
            {
                "floor": partial(_load, lowest, FLOORS, clients, seconds),
                "1": partial(_load, one, PLANS, clients, seconds),
                "2": partial(_load, two, PLANS, clients, seconds),
            },
            rounds,
        )
        yield Row(f"   validated echo, {clients} clients", f"{seen['floor']:.0f} answers/s")
        for workers in (1, 2):
            figure = seen[str(workers)]
            yield Row(
                f"P1 plans of the echo's, {clients} clients, {workers} worker{'s'[: workers - 1]}",
                f"{figure / seen['floor']:.2f}  ({figure:.0f} plans/s; {figure * single:.2f} cores of solving)",
                figure / seen["floor"],
                0.60,
                _GATE_OF_FLOOR[workers],
            )
        if clients >= 8:
            yield Row(
                f"P14 two workers of one, {clients} clients",
                f"{seen['2'] / seen['1']:.2f} ×",
                seen["2"] / seen["1"],
                1.6,
                1.25,
                " ×",
            )


def beside_heavy(server: Started, seconds: float, rounds: int) -> Iterator[Row]:
    """P13: the times of light answers, quiet and while every worker is at a trade-off."""
    ratios, health = [], []
    for turn in range(rounds + 1):
        quiet = end(begin(server.address, LIGHT, 1, seconds, pause_s=0.005))
        heavy = begin(server.address, HEAVY, 4, seconds + 1.0)
        time.sleep(0.5)
        beside = end(begin(server.address, LIGHT, 1, seconds / 2.0, pause_s=0.005))
        probes = end(begin(server.address, HEALTH, 1, seconds / 2.0, pause_s=0.005))
        end(heavy)
        if turn:
            ratios.append((beside.p99_s / quiet.p99_s, beside.median_s / quiet.median_s, beside.p99_s))
            health.append(probes.p99_s)
    ratio, middle, p99_s = (median(column) for column in zip(*ratios, strict=True))
    yield Row(
        "P13 p99 of light answers beside heavy work, of quiet",
        f"{ratio:.1f} ×  (median {middle:.1f} ×; {1e3 * p99_s:.1f} ms)",
        ratio,
        1.5,
        10.0,
        " ×",
        at_most=True,
    )
    yield Row(
        "   p99 of /healthz beside heavy work",
        f"{1e3 * median(health):.1f} ms",
        1e3 * median(health),
        50.0,
        50.0,
        " ms",
        at_most=True,
    )


def start_and_memory(server: Started, rounds: int) -> Iterator[Row]:
    """P12: when a server was ready, how soon a lost worker is replaced, and what a worker adds to the memory."""
    _load(server, PLANS, 8, 1.0)
    workers = _workers_of(server.pid)
    own, front = [_private_mib(pid) for pid in workers], _private_mib(server.pid)
    replaced = []
    for _ in range(rounds):
        before = _workers_of(server.pid)
        begun = time.perf_counter()
        os.kill(before[0], 9)
        while len(set(_workers_of(server.pid)) - {before[0]}) < len(before):
            time.sleep(0.005)
        replaced.append(time.perf_counter() - begun)
    yield Row("   serve: from its start to the first answer", f"{server.ready_s:.2f} s")
    yield Row("P12 a worker replaced", f"{median(replaced):.2f} s", median(replaced), 1.0, 2.0, " s", at_most=True)
    yield Row(
        "P12 a worker's own memory, after some plans",
        f"{median(own):.0f} MiB  (the serving process: {front:.0f} MiB)",
        median(own),
        80.0,
        80.0,
        " MiB",
        at_most=True,
    )


def capacity(server: Started, seconds: float, rounds: int) -> Iterator[Row]:
    """What one machine answers in a second, by kind: the figures of the capacity plan."""
    kinds = {
        "plans": PLANS,
        "cells that solve, each asked once": CELLS,
        "cells asked again": KEPT,
        "conversions": LIGHT,
        "curves": HEAVY,
    }
    seen = _medians({name: partial(_load, server, asked, 8, seconds) for name, asked in kinds.items()}, rounds)
    for name, per_second in seen.items():
        yield Row(f"   {name}", f"{per_second:.0f} answers/s with two workers")


def _children(pid: int) -> list[int]:
    found: list[int] = []
    for tasks in Path(f"/proc/{pid}/task").glob("*/children"):
        found += [int(child) for child in tasks.read_text().split()]
    return found


def _workers_of(pid: int) -> list[int]:
    """The processes that were forked from the one that all share."""
    return [worker for child in _children(pid) for worker in _children(child)]


def _private_mib(pid: int) -> float:
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return sum(float(line.split()[1]) for line in lines if line.startswith("Private_")) * 1024.0 / _MIB


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    if not Path("/proc/self/smaps_rollup").exists():
        return [Row("   the served service", "needs Linux")]
    seconds, rounds, crowds = (0.6, 2, (8,)) if quick else (2.0, 5, (1, 8, 64))
    with ExitStack() as servers:
        lowest = servers.enter_context(started("tests.benchmarks.floor", "{port}"))
        one, two = (servers.enter_context(_serves(workers)) for workers in (1, 2))
        return [
            *throughput(lowest, one, two, seconds, rounds, crowds),
            *beside_heavy(two, 2.0 * seconds, max(1, rounds - 1)),
            *([] if quick else capacity(two, seconds, rounds)),
            *start_and_memory(two, rounds),
        ]
