"""The application behind a real socket, as a spreadsheet, a browser or a script meets it, with a record of what it saw.

What a test needs of the machine (LibreOffice, Chromium, curl, a package) may be missing where a maker runs the tests:
`needs` then skips with the reason. Where the environment says CI=true everything is required, and it fails.
"""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

import httpx
import pytest
import uvicorn
from starlette.types import Message, Receive, Scope, Send

from service.api.main import build_app
from service.api.settings import Settings
from tests.api.real import patient

__all__ = ["Served", "Started", "needs", "served", "started"]

_STARTS_WITHIN_S = 60.0
_READY_WITHIN_S = 120.0
_ENDS_WITHIN_S = 20.0
_KEPT_ALIVE_S = 75
"""Longer than clients keep a connection, so that none sends over one that is closed at that moment."""


@dataclass
class Served:
    """A running service."""

    address: str
    """Such as http://127.0.0.1:41234."""
    saw: list[tuple[str, str, int]] = field(default_factory=list)
    """Method, path with query, and status of every request, in order."""
    callers: set[tuple[str, int]] = field(default_factory=set)
    """Address and port of every connection that asked something."""

    def methods(self, path: str) -> list[str]:
        """The methods of the requests for a path, which may end in its query."""
        return [method for method, seen, _ in self.saw if seen == path or seen.split("?")[0] == path]


def needs(*, command: str = "", package: str = "", file: str = "", get: str = "") -> None:
    """Skip a test, or fail it where CI=true, unless a command, a Python package or a file is there.

    Parameters: command, found on the PATH; package, that can be imported; file, an absolute path; get, how to install
    it, told in the reason.
    """
    missing = (
        (command and shutil.which(command) is None)
        or (package and find_spec(package) is None)
        or (file and not Path(file).exists())
    )
    if not missing:
        return
    reason = f"needs {command or package or file}" + (f": {get}" if get else "")
    if os.environ.get("CI") == "true":
        pytest.fail(f"{reason} (required where CI=true)", pytrace=False)
    pytest.skip(reason)


@contextmanager
def served(settings: Settings | None = None) -> Iterator[Served]:
    """The application on a free port of this machine, in a thread of this process.

    Without settings it is the one that the other tests of this process ask, which may have kept answers of theirs.
    """
    app = patient().app if settings is None else build_app(settings)
    # asyncio sends small answers at once (TCP_NODELAY) only where a socket says that it is TCP
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP) as listening:
        listening.bind(("127.0.0.1", 0))
        seen = Served(f"http://127.0.0.1:{listening.getsockname()[1]}")

        async def recorded(scope: Scope, receive: Receive, send: Send) -> None:
            if scope["type"] != "http":
                await app(scope, receive, send)
                return
            query = scope["query_string"].decode("latin-1")
            seen.callers.add((scope["client"][0], scope["client"][1]))
            asked = scope["raw_path"].decode("latin-1").split("?")[0] + (f"?{query}" if query else "")

            async def sent(message: Message) -> None:
                if message["type"] == "http.response.start":
                    seen.saw.append((scope["method"], asked, message["status"]))
                await send(message)

            await app(scope, receive, sent)

        server = uvicorn.Server(
            uvicorn.Config(recorded, log_level="error", ws="none", lifespan="off", timeout_keep_alive=_KEPT_ALIVE_S)
        )
        running = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
        running.start()
        until = time.monotonic() + _STARTS_WITHIN_S
        while not server.started:
            assert running.is_alive(), "the server ended while it started"
            assert time.monotonic() < until, "the server did not start"
            time.sleep(0.02)
        try:
            yield seen
        finally:
            server.should_exit = True
            running.join(10.0)


@dataclass
class Started:
    """A server process of its own, with its workers in a process group of their own."""

    address: str
    """Such as http://127.0.0.1:41234."""
    port: int
    pid: int
    """Of the process that serves, and of its process group."""
    process: subprocess.Popen[bytes]
    written: Path
    """The file with everything that the server and its workers wrote, on standard output and standard error."""

    def log(self) -> str:
        """What was written so far."""
        return self.written.read_text(encoding="utf-8", errors="replace")

    def group(self) -> list[int]:
        """Ids of the processes of the group that live, the serving one among them; only where there is /proc."""
        return [pid for pid, group, _ in _processes() if group == self.pid]

    def workers(self) -> list[int]:
        """Ids of the processes that compute, in the order in which they were started."""
        kin = [(pid, parent) for pid, group, parent in _processes() if group == self.pid]
        forking = {pid for pid, parent in kin if parent == self.pid}  # and the one that keeps track of resources
        return sorted(pid for pid, parent in kin if parent in forking)

    def metric(self, name: str, **labels: str) -> float:
        """The sum of a metric over all its labels but the given ones, 0 where it was never counted."""
        text = httpx.get(f"{self.address}/metrics", timeout=60.0).raise_for_status().text
        given = [f'{label}="{value}"' for label, value in labels.items()]
        found = re.findall(rf"^{name}(?:\{{(.*)\}})? (\S+)$", text, re.MULTILINE)
        return sum(float(value) for has, value in found if all(part in has for part in given))


def _processes() -> Iterator[tuple[int, int, int]]:
    """Id, group and parent of every process that lives; one that has ended and is not waited for does not."""
    for entry in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            state, parent, group = entry.read_text(encoding="utf-8", errors="replace").rpartition(")")[2].split()[:3]
            if state not in "ZX":
                yield int(entry.parent.name), int(group), int(parent)


@contextmanager
def started(*options: str, **variables: str) -> Iterator[Started]:
    """`python -m service serve` on a free port, as an operator starts it, ready, and ended with all its processes.

    Parameters: options, further ones of the command line; variables, of the environment, such as
    `SERVICE_WORKERS="2"`; no other `SERVICE_` variable is set.
    """
    environment = {name: value for name, value in os.environ.items() if not name.startswith("SERVICE_")}
    with tempfile.TemporaryDirectory() as directory:
        written = Path(directory, "written")
        with written.open("wb") as out:
            process = subprocess.Popen(
                [sys.executable, "-m", "service", "serve", "--port", "0", *options],
                cwd=Path(__file__).parents[2],
                env={**environment, **variables},
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                start_new_session=True,
            )
        try:
            yield _ready(process, written)
        finally:
            if process.poll() is None:
                process.terminate()
                with suppress(subprocess.TimeoutExpired):
                    process.wait(_ENDS_WITHIN_S)
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait(_ENDS_WITHIN_S)


def _ready(process: subprocess.Popen[bytes], written: Path) -> Started:
    until = time.monotonic() + _READY_WITHIN_S
    address = ""
    while True:
        assert process.poll() is None, f"the server ended while it started:\n{written.read_text()}"
        assert time.monotonic() < until, f"the server did not start:\n{written.read_text()}"
        address = address or "".join(re.findall(r"In a browser +(http://\S+)/\s", written.read_text())[:1])
        with suppress(httpx.TransportError):
            if address and httpx.get(f"{address}/readyz", timeout=10.0).status_code == 200:
                return Started(address, int(address.rpartition(":")[2]), process.pid, process, written)
        time.sleep(0.05)
