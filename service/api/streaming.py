"""Progress of long work before its answer, where a caller asks for it: lines of JSON, or server-sent events.

The work runs in a thread beside the event loop. It tells how far it is whenever it likes; the loop looks about twenty
times a second and sends what is new, so that neither quick work nor a slow reader piles anything up. A caller who goes
away ends the work at its next word.

What is refused before anything was told keeps its status and its shape. Once the answer has begun its status is 200,
and a refusal is the last line instead.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from threading import Lock
from time import perf_counter
from typing import Any, Final, Literal

import anyio
from anyio.from_thread import run_sync as in_the_loop
from anyio.to_thread import run_sync as in_a_thread
from pydantic import TypeAdapter
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from service.api.accepting import accepted_type
from service.api.problems import failure_response, problem_from_error, request_id_of
from service.errors import ServiceError, SolverError
from service.planner.progress import Progress

__all__ = ["EVENTS", "LINES", "CallerGoneError", "Work", "answer_or_stream", "stream_documented", "until_unwanted"]

LINES: Final = "application/x-ndjson"
EVENTS: Final = "text/event-stream"
_JSON: Final = "application/json"

_TICK_S: Final = 0.05
"""Between two looks at how far the work is [s]."""

_LOOKS_S: Final = 0.25
"""Between two looks whether anybody still waits [s]."""

_PATIENCE_S: Final = 0.5
"""The answer to work that has told nothing for so long is begun all the same [s]."""

_SPLITTERS: Final = {c.encode(): f"\\u{ord(c):04x}".encode() for c in "\x85\u2028\u2029"}
"""Characters that JSON may hold as they are, and at which some readers of lines break a line."""

_BUILDING: Final = Lock()

_log = logging.getLogger("service.errors")


class CallerGoneError(Exception):
    """Nobody waits for this work any more. No part of the tree of refusals: nobody is there to be refused."""


@dataclass(frozen=True, slots=True)
class Work:
    """Long work: what does it, how many of what there are to do, and the type of its answer."""

    run: Callable[[Progress | None], Any]
    of: int
    what: Literal["requests", "points"]
    answer: Any


@dataclass(slots=True)
class _State:
    """What the thread of the work and the event loop tell each other."""

    latest: tuple[int, int | None]
    worth_beginning: anyio.Event = field(default_factory=anyio.Event)
    finished: anyio.Event = field(default_factory=anyio.Event)
    told: bool = False
    begun: bool = False
    gone: bool = False
    answer: bytes = b""
    error: Exception | None = None


def answer_or_stream(sent: Request, response: Response, work: Work) -> Any:
    """The answer of some work, or a stream of its progress with the answer at its end, as the caller accepts.

    Parameters: sent, whose Accept header tells; response, whose headers go with a plain answer; work.
    Returns: the answer itself for application/json and for whatever is not offered, or else a Response.
    Raises: what the work raises, where the answer is plain.
    """
    media_type = accepted_type(",".join(sent.headers.getlist("accept")), (_JSON, LINES, EVENTS))
    if media_type == _JSON:
        response.headers["Vary"] = "Accept"
        return work.run(until_unwanted(sent))
    return _Streamed(media_type, work)


def until_unwanted(sent: Request) -> Progress | None:
    """What long work tells, where nobody is told how far it is: it ends the work once nobody waits for it.

    Parameters: sent, the request; where it is answered in the process that serves, nothing can be told: None.
    """
    still_wanted: Callable[[], bool] | None = sent.scope["state"].get("still_wanted")
    if still_wanted is None:
        return None
    look_again = perf_counter() + _LOOKS_S

    def look(done: int, of: int | None) -> None:
        del done, of
        nonlocal look_again
        if perf_counter() >= look_again:
            look_again = perf_counter() + _LOOKS_S
            if not still_wanted():
                raise CallerGoneError

    return look


@cache
def _writer(answer: Any) -> TypeAdapter[Any]:
    with _BUILDING:  # two threads that parse the same source at once can fail
        return TypeAdapter(answer)


class _Streamed(Response):
    """A response that does its work while it is sent."""

    def __init__(self, media_type: str, work: Work) -> None:
        self.status_code, self.background, self.media_type, self.work = 200, None, media_type, work
        self.init_headers({"Cache-Control": "no-store", "X-Accel-Buffering": "no", "Vary": "Accept"})

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection.

        Raises: what the work refuses before the answer has begun.
        """
        state = _State((0, self.work.of))
        async with anyio.create_task_group() as group:

            async def work() -> None:
                await in_a_thread(self._do, state)
                state.finished.set()
                state.worth_beginning.set()

            async def listen() -> None:
                while (await receive())["type"] != "http.disconnect":
                    pass
                group.cancel_scope.cancel()

            group.start_soon(work)
            group.start_soon(listen)
            try:
                with suppress(OSError):  # some servers tell so that the caller has gone
                    await self._send(state, scope, send)
            finally:  # also where the server ends: the thread is waited for, and stops at its next word
                state.gone = True
                group.cancel_scope.cancel()
        if state.error is None or isinstance(state.error, CallerGoneError):
            return
        if not state.begun:
            raise state.error
        _problem(scope, state.error)  # nobody was there to read it, but it is logged

    def _do(self, state: _State) -> None:
        """The work, in its thread: ends in an answer or an error, never by raising."""

        def tell(done: int, of: int | None) -> None:
            if state.gone:
                raise CallerGoneError
            state.latest = (done, of)
            if not state.told:
                state.told = True
                in_the_loop(state.worth_beginning.set)

        try:
            state.answer = _writer(self.work.answer).dump_json(self.work.run(tell))
        except Exception as error:
            state.error = error

    async def _send(self, state: _State, scope: Scope, send: Send) -> None:
        """Begin when there is something to tell, tell what is new, and end with the answer or the problem."""
        with anyio.move_on_after(_PATIENCE_S):
            await state.worth_beginning.wait()
        if state.error is not None and not state.told:
            return
        state.begun = True
        await send({"type": "http.response.start", "status": self.status_code, "headers": self.raw_headers})
        latest: tuple[int, int | None] = (0, self.work.of)
        await self._progress(send, latest)
        ended = False
        while not ended:
            with anyio.move_on_after(_TICK_S):
                await state.finished.wait()
            ended = state.finished.is_set()
            if state.latest != latest:
                latest = state.latest
                await self._progress(send, latest)
        if state.error is None:
            await self._tell(send, "result", state.answer)
        else:
            error, state.error = state.error, None
            await self._tell(send, "problem", _problem(scope, error))
        await send({"type": "http.response.body", "body": b"", "more_body": False})

    async def _progress(self, send: Send, latest: tuple[int, int | None]) -> None:
        progress = {"done": latest[0], "of": latest[1], "what": self.work.what}
        await self._tell(send, "progress", json.dumps(progress, separators=(",", ":")).encode())

    async def _tell(self, send: Send, name: str, document: bytes) -> None:
        for splitter, escaped in _SPLITTERS.items():
            document = document.replace(splitter, escaped)
        parts = (b'{"', b'":', b"}\n") if self.media_type == LINES else (b"event: ", b"\ndata: ", b"\n\n")
        line = parts[0] + name.encode() + parts[1] + document + parts[2]
        await send({"type": "http.response.body", "body": line, "more_body": True})


def _problem(scope: Scope, error: Exception) -> bytes:
    """The problem document of an error, as JSON; what is a defect is logged and shows nothing of itself."""
    if not isinstance(error, ServiceError):
        return bytes(failure_response(scope, error).body)
    if isinstance(error, SolverError):
        _log.error("request %s: %s", request_id_of(scope), error.detail, exc_info=error)
    return json.dumps(problem_from_error(scope, error), ensure_ascii=False, separators=(",", ":")).encode()


def stream_documented(answer: str, what: str) -> dict[int | str, dict[str, Any]]:
    """What stands in the document about the streams of an operation, for its `responses`.

    Parameters: answer, the name of the schema of its answer; what, that is counted.
    Returns: the media types of status 200 besides JSON, each with what its lines are.
    """
    progress = {
        "type": "object",
        "description": "How far the work is.",
        "properties": {
            "done": {"type": "integer", "minimum": 0, "description": "How many are done; it never falls."},
            "of": {"type": ["integer", "null"], "minimum": 1, "description": "Of how many; null if not known."},
            "what": {"const": what, "description": "What is counted."},
        },
        "required": ["done", "of", "what"],
    }
    parts = {
        "progress": progress,
        "result": {"$ref": f"#/components/schemas/{answer}"},
        "problem": {"$ref": "#/components/schemas/Problem"},
    }
    lines = {
        "title": "ProgressLine",
        "description": "One line. The first and more tell the progress; the last one alone is the result, the same "
        "JSON as without this media type, or the problem, with its status, that was found once the work had begun.",
        "oneOf": [
            {"type": "object", "properties": {name: part}, "required": [name], "additionalProperties": False}
            for name, part in parts.items()
        ],
    }
    events = {
        "title": "ProgressEvents",
        "type": "string",
        "description": "Events `progress`, and at last one `result` or `problem`; the data of an event is what stands "
        "under this name in a line of application/x-ndjson.",
    }
    return {
        200: {
            "description": "The answer. With Accept: application/x-ndjson or text/event-stream, how far the work is, "
            f"counted in {what}, and then the answer.",
            "content": {LINES: {"schema": lines}, EVENTS: {"schema": events}},
        }
    }
