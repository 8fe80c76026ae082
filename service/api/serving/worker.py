"""A process that computes: it runs the whole application, and gets its requests through a pipe instead of a socket.

For every request it sends what became of it: an `Answered`; or, where the application sends its answer in parts, each
message as of ASGI and then an `Ended`. After a part, and after a `Still`, it is told whether anybody waits any more.
It ends where the pipe ends, so it never outlives the process that serves.
"""

from __future__ import annotations

import asyncio
import gc
import json
import multiprocessing
import os
import re
import signal
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from multiprocessing.connection import Connection
from time import perf_counter
from typing import Final

from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from starlette.types import Message, Scope

from service.api.examples import examples_of
from service.api.logs import write_log_lines
from service.api.settings import Settings

__all__ = ["Answered", "Ended", "Still", "run", "warm_application"]

_OUTCOME: Final = re.compile(rb'"outcome":"([a-z_]{1,40})"')
_LOOKED_THROUGH_BYTES: Final = 2048
_BATCH: Final = ":batch"
_BEHIND_THE_SERVING_PROCESS: Final = 5
"""How much sooner the process that serves gets a processor, so that light answers do not wait for heavy ones."""


@dataclass(frozen=True, slots=True)
class Ended:
    """The end of an answer in parts: how long it was computed [s], and in a word what came out."""

    seconds: float
    outcome: str


@dataclass(frozen=True, slots=True)
class Answered:
    """A whole answer, how long it was computed [s], and in a word what came out."""

    status: int
    headers: list[tuple[bytes, bytes]]
    body: bytes
    ended: Ended


@dataclass(frozen=True, slots=True)
class Still:
    """Asks whether anybody still waits for work that takes long."""


@cache
def warm_application(settings: Settings) -> FastAPI:
    """The application with everything in memory that its answers need: tables, and libraries imported when needed.

    The first example of every operation is answered. What is there by then is spared by the garbage collector, and
    stays shared by the processes that are forked from here.
    """
    from service.api.main import build_app  # which knows what starts this process

    app = build_app(settings, in_worker=True)
    with asyncio.Runner() as runner:
        for path, body in _first_examples(app):
            runner.run(_Exchange(None).answer(app, _scope(path), body))
    gc.collect()
    gc.freeze()
    return app


def _first_examples(app: FastAPI) -> Iterator[tuple[str, bytes]]:
    for context in iter_route_contexts(app.routes):
        for example in list(examples_of(getattr(context.endpoint, "__name__", "")).values())[:1]:
            yield str(context.path), json.dumps(example["value"]).encode()


def _scope(path: str) -> Scope:
    return {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "POST",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": b"",
        "root_path": "",
        "headers": [(b"content-type", b"application/json")],
    }


class _Exchange:
    """One request and its answer.

    Parameters: connection, where parts of an answer and questions go; None where nobody listens.
    """

    def __init__(self, connection: Connection | None) -> None:
        self.connection = connection
        self.gone = asyncio.Event()

    async def answer(self, app: FastAPI, scope: Scope, body: bytes) -> Answered | Ended:
        """Have a request answered; what is sent in parts is passed on, what is sent at once is returned."""
        begun = perf_counter()
        scope["state"] = {"still_wanted": self._still_wanted}
        start: Message = {}
        content = b""
        in_parts = handed_on = False

        async def receive() -> Message:
            nonlocal handed_on
            if handed_on:
                await self.gone.wait()
                return {"type": "http.disconnect"}
            handed_on = True
            return {"type": "http.request", "body": body, "more_body": False}

        async def send(message: Message) -> None:
            nonlocal start, content, in_parts
            if message["type"] == "http.response.start":
                start = message
                return
            if not in_parts and not message.get("more_body", False):
                content = message.get("body", b"")
                return
            if not in_parts:
                in_parts = True
                self._pass_on(start)
            self._pass_on(message)

        try:
            await app(scope, receive, send)
        except Exception:
            if not in_parts:
                raise
            return Ended(perf_counter() - begun, "failed")  # it is logged, and what serves cuts the connection
        if not start:
            return Ended(perf_counter() - begun, "left")
        status = int(start["status"])
        ended = Ended(
            perf_counter() - begun, "left" if self.gone.is_set() else _outcome(status, content, scope["path"])
        )
        return ended if in_parts else Answered(status, list(start["headers"]), content, ended)

    def _ask(self, what: Message | Still) -> bool:
        """Tell something and hear whether anybody still waits."""
        if self.connection is None:
            return True
        self.connection.send(what)
        return bool(self.connection.recv())

    def _pass_on(self, message: Message) -> None:
        wanted = self._ask(message)
        if not wanted and message.get("more_body", True):  # after the last part nobody waits for more
            self.gone.set()
            raise OSError("the caller has gone")

    def _still_wanted(self) -> bool:
        return self._ask(Still())


def _outcome(status: int, content: bytes, path: str) -> str:
    if status >= 400:
        return "failed" if status == 500 else "refused"
    if _BATCH in path:  # whose plans have outcomes of their own
        return "answered"
    found = _OUTCOME.search(content, 0, _LOOKED_THROUGH_BYTES)
    return found[1].decode() if found else "answered"


def run(connection: Connection, settings: Settings) -> None:
    """The process: say that it is ready, and answer one request after the other, until the pipe ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # both are for the process that serves, which ends the pipe
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with suppress(AttributeError, OSError):  # not on every system
        os.nice(_BEHIND_THE_SERVING_PROCESS)
    write_log_lines()
    app = warm_application(settings)
    with suppress(EOFError, OSError):
        asyncio.run(_answer_one_by_one(connection, app))


async def _answer_one_by_one(connection: Connection, app: FastAPI) -> None:
    """Say that the process is ready, and answer. One task for all requests, because threads are kept for each task;
    nothing else waits in its event loop while it waits for the next request."""
    connection.send(True)
    while True:
        scope, body = connection.recv()
        connection.send(await _Exchange(connection).answer(app, scope, body))
        del scope, body


def _end_with_parent() -> None:
    """End, whatever is computed, once the process that serves has ended without a word."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
