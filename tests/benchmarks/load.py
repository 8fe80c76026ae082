"""Asks a server as fast as it answers, over so many connections, and tells how many answers came and how soon.

Run as a process of its own, `python -m tests.benchmarks.load`, with what to ask as JSON on standard input, so that it
shares no interpreter with what it measures; what it saw goes to standard output. A request costs it about 50 µs.
"""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from time import perf_counter
from typing import Any
from urllib.parse import urlsplit

_CONTENT_LENGTH = b"content-length:"


@dataclass(frozen=True, slots=True)
class Seen:
    """What a load saw: answers in a second, the time of the middle and of all but a hundredth [s], the statuses."""

    per_second: float
    median_s: float
    p99_s: float
    statuses: Mapping[str, int]


class _Client(asyncio.Protocol):
    """One connection, which asks again as soon as it is answered."""

    def __init__(self, requests: Sequence[bytes], first: int, pause_s: float, until: float) -> None:
        self.requests, self.next, self.pause_s, self.until = requests, first, pause_s, until
        self.transport: asyncio.Transport | None = None
        self.done = asyncio.get_running_loop().create_future()
        self.times: list[float] = []
        self.statuses: Counter[str] = Counter()
        self._buffer = b""
        self._needed = -1
        self._asked = 0.0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        self._ask()

    def _ask(self) -> None:
        assert self.transport is not None
        if perf_counter() >= self.until:
            self.transport.close()
            return
        self._asked = perf_counter()
        self.transport.write(self.requests[self.next % len(self.requests)])
        self.next += 1

    def data_received(self, data: bytes) -> None:
        self._buffer += data
        if self._needed < 0:
            head, separator, _ = self._buffer.partition(b"\r\n\r\n")
            if not separator:
                return
            length = head.lower().partition(_CONTENT_LENGTH)[2].partition(b"\r\n")[0]
            self._needed = len(head) + 4 + int(length)
        if len(self._buffer) < self._needed:
            return
        self.times.append(perf_counter() - self._asked)
        self.statuses[self._buffer[9:12].decode()] += 1
        self._buffer, self._needed = self._buffer[self._needed :], -1
        if self.pause_s:
            asyncio.get_running_loop().call_later(self.pause_s, self._ask)
        else:
            self._ask()

    def connection_lost(self, exc: Exception | None) -> None:
        if not self.done.done():
            self.done.set_result(exc)


async def _seen(asked: Mapping[str, Any]) -> Seen:
    where = urlsplit(asked["address"])
    loop = asyncio.get_running_loop()
    requests = [
        f"{method} {path} HTTP/1.1\r\nHost: {where.netloc}\r\nContent-Type: application/json\r\n"
        f"Content-Length: {len(body.encode())}\r\n\r\n{body}".encode()
        for method, path, body in asked["requests"]
    ]
    begun = perf_counter()
    until = begun + asked["seconds"]
    clients = []
    for k in range(asked["clients"]):
        first = k * len(requests) // asked["clients"]
        _, client = await loop.create_connection(
            partial(_Client, requests, first, asked["pause_s"], until), where.hostname, where.port
        )
        clients.append(client)
    await asyncio.gather(*(client.done for client in clients))
    took = perf_counter() - begun
    times = sorted(time for client in clients for time in client.times)
    statuses = sum((client.statuses for client in clients), Counter[str]())
    return Seen(len(times) / took, times[len(times) // 2], times[int(0.99 * (len(times) - 1))], dict(statuses))


Request = tuple[str, str, str]
"""Method, path with query, body."""


def begin(
    address: str, requests: Sequence[Request], clients: int, seconds: float, pause_s: float = 0.0
) -> subprocess.Popen[bytes]:
    """Begin to ask a server from another process; `end` waits for what it saw."""
    asked = {"address": address, "requests": requests, "clients": clients, "seconds": seconds, "pause_s": pause_s}
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.load"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert process.stdin is not None
    process.stdin.write(json.dumps(asked).encode())
    process.stdin.close()
    return process


def end(process: subprocess.Popen[bytes]) -> Seen:
    """What a load saw, when it is over."""
    assert process.stdout is not None
    with process.stdout as told:
        written = told.read()
    if process.wait() != 0:
        raise RuntimeError("the load failed")
    return Seen(**json.loads(written))


if __name__ == "__main__":
    print(json.dumps(asdict(asyncio.run(_seen(json.load(sys.stdin))))))
