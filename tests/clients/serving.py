"""The application behind a real socket, as a spreadsheet, a browser or a script meets it, with a record of what it saw.

What a test needs of the machine (LibreOffice, Chromium, curl, a package) may be missing where a maker runs the tests:
`needs` then skips with the reason. Where the environment says CI=true everything is required, and it fails.
"""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

import pytest
import uvicorn
from starlette.types import Message, Receive, Scope, Send

from service.api.main import build_app
from service.api.settings import Settings
from tests.api.real import patient

__all__ = ["Served", "needs", "served"]

_STARTS_WITHIN_S = 30.0


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

        server = uvicorn.Server(uvicorn.Config(recorded, log_level="error", ws="none", lifespan="off"))
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
