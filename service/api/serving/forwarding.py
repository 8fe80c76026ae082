"""Hands requests that have to be computed to the workers, and keeps what a GET was answered with.

Answers are functions of their request and the version of the data alone, so a kept answer is as good as a new one, and
so is that of an equal request.
"""

from __future__ import annotations

import asyncio
from functools import partial
from inspect import iscoroutinefunction
from time import monotonic
from typing import Final

from fastapi import FastAPI
from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.api.cached import caller_has
from service.api.problems import problem_response, request_id_of
from service.api.routing import route_of
from service.api.serving.kept import Kept, key_of, may_be_kept
from service.api.serving.lanes import BusyError, Lanes
from service.api.serving.metrics import Metrics
from service.api.serving.underway import Asker, Underway
from service.api.serving.worker import Answered, Ended
from service.api.serving.workers import Job, TooLateError, WorkerLostError

__all__ = ["Forwarding"]

_HANDED_ON: Final = (
    "type",
    "asgi",
    "http_version",
    "method",
    "scheme",
    "path",
    "raw_path",
    "query_string",
    "root_path",
    "headers",
    "client",
    "server",
)
_BATCH: Final = ":batch"
_OF_A_BODY: Final = (b"content-length", b"content-type")
"""What a 304 leaves out; everything else is as with the answer itself (RFC 9110, section 15.4.5)."""
_ID_HEADER: Final = b"x-request-id"


class Forwarding:
    """Innermost: what a coroutine answers goes on to it; what a function computes goes to a worker, if there are any.

    Parameters: app; routes_of, the application; metrics.
    """

    def __init__(self, app: ASGIApp, routes_of: FastAPI, metrics: Metrics) -> None:
        self.app, self.routes_of, self.metrics = app, routes_of, metrics
        self.kept, self.underway = Kept(), Underway()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one connection."""
        lanes: Lanes | None = getattr(self.routes_of.state, "lanes", None)
        route = route_of(self.routes_of, scope) if lanes is not None and scope["type"] == "http" else None
        if lanes is None or route is None or iscoroutinefunction(route.endpoint):
            await self.app(scope, receive, send)
            return
        scope["endpoint"] = route.endpoint
        answered = self._looked_up if scope["method"] in ("GET", "HEAD") else self._computed
        await answered(lanes, scope, Asker(receive), send)

    async def _looked_up(self, lanes: Lanes, scope: Scope, asker: Asker, send: Send) -> None:
        """A GET or HEAD: both have the answer of the GET, which is kept unless it is a refusal."""
        headers = Headers(scope=scope)
        key, came_at = key_of(scope), monotonic()
        answer = self.kept.get(key)
        if answer is not None:
            self.metrics.kept("yes")
        else:
            asked = [(name, value) for name, value in scope["headers"] if not name.startswith(b"if-")]
            asked_for = {**scope, "method": "GET", "headers": asked}
            computed = partial(self._got, lanes, asked_for, asker, send, came_at)
            answer, is_anothers = await self.underway.answer(key, computed, asker)
            if answer is not None:
                self.metrics.kept("shared" if is_anothers else "no")
                if may_be_kept(answer):
                    self.kept.keep(key, answer)
        if answer is None or asker.left:
            return
        etag = next((value.decode() for name, value in answer.headers if name == b"etag"), None)
        if etag is not None and caller_has(headers, etag):
            await _send(304, [(n, v) for n, v in answer.headers if n not in _OF_A_BODY], b"", send)
        else:
            await _send(answer.status, answer.headers, answer.body, send)

    async def _got(self, lanes: Lanes, scope: Scope, asker: Asker, send: Send, came_at: float) -> Answered | None:
        """What a GET was answered with by a worker; None where there was nothing that others could get too."""
        outcome = await self._outcome(lanes, scope, b"", asker, send, came_at)
        return outcome if isinstance(outcome, Answered) else None

    async def _computed(self, lanes: Lanes, scope: Scope, asker: Asker, send: Send) -> None:
        """A request with a body."""
        body = b""
        more = True
        while more:
            message = await asker()
            if message["type"] == "http.disconnect":
                return
            body += message.get("body", b"")
            more = message.get("more_body", False)
        outcome = await self._outcome(lanes, scope, body, asker, send)
        if isinstance(outcome, Answered) and not asker.left:
            await _send(outcome.status, outcome.headers, outcome.body, send)

    async def _outcome(
        self, lanes: Lanes, scope: Scope, body: bytes, asker: Asker, send: Send, came_at: float | None = None
    ) -> Answered | Ended | None:
        """What a worker answered; None where there was no answer from one, and so a refusal was sent.

        Whoever came at `came_at` and waited for something else first waits for a worker so much less.
        """
        parts = _Parts(send)
        handed_on = {name: scope[name] for name in _HANDED_ON if name in scope}
        handed_on["headers"] = [
            *((name, value) for name, value in scope["headers"] if name != _ID_HEADER),
            (_ID_HEADER, request_id_of(scope).encode()),
        ]
        job = Job(handed_on, body, parts.add, came_at=came_at)
        lane = lanes.lanes["batch" if _BATCH in scope["path"] else "single"]
        try:
            leave = lane.enter(job)
        except BusyError as busy:
            self.metrics.rejected("queue_full")
            await _busy(scope, asker, send, busy)
            return None
        answering = asyncio.wrap_future(job.outcome)
        try:
            await _until(answering, asker, job)
            outcome = answering.result()
        except TooLateError:
            self.metrics.rejected("queue_full")
            await _busy(scope, asker, send, BusyError(lane.waiting, lane.retry_after_s()))
            return None
        except WorkerLostError:
            parts.give_up()
            self.metrics.rejected("worker_lost")
            if parts.begun:  # the answer cannot be completed: the connection is cut, so that nobody takes it for whole
                raise
            await _lost(scope, asker, send)
            return None
        except asyncio.CancelledError:
            if answering.cancelled():  # it was given up before a worker took it
                return None
            job.wanted = False
            answering.cancel()
            parts.give_up()
            raise
        finally:
            leave()
        await parts.sent()
        ended = outcome.ended if isinstance(outcome, Answered) else outcome
        self.metrics.solved(scope["endpoint"].__name__, ended.outcome, ended.seconds)
        return outcome


async def _until(answering: asyncio.Future[Answered | Ended], asker: Asker, job: Job) -> None:
    """Wait for an answer; a caller who goes away meanwhile makes it unwanted, which ends what takes long."""
    if not await asker.waits_for(answering):
        job.wanted = False
        if job.outcome.cancel():  # which takes its place from it, unless a worker is at it
            job.body = b""  # it stands in the queue until its turn, and takes no memory there
        await asyncio.wait((answering,))


class _Parts:
    """An answer in parts on its way to its caller: sent as fast as that one reads, and no worker waits for it.

    Parameters: send, of ASGI.
    """

    def __init__(self, send: Send) -> None:
        self.send = send
        self.queue: asyncio.Queue[Message | None] = asyncio.Queue()
        self.sending: asyncio.Task[None] | None = None

    @property
    def begun(self) -> bool:
        """Whether there was a part."""
        return self.sending is not None

    def add(self, message: Message) -> None:
        """Send one more, after those before it."""
        self.queue.put_nowait(message)
        if self.sending is None:
            self.sending = asyncio.ensure_future(self._send_all())

    async def _send_all(self) -> None:
        while (message := await self.queue.get()) is not None:
            await self.send(message)

    async def sent(self) -> None:
        """No more comes: wait until everything is sent."""
        if self.sending is not None:
            self.queue.put_nowait(None)
            await self.sending

    def give_up(self) -> None:
        """Send no more."""
        if self.sending is not None:
            self.sending.cancel()


async def _send(status: int, headers: list[tuple[bytes, bytes]], body: bytes, send: Send) -> None:
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})


async def _busy(scope: Scope, receive: Receive, send: Send, busy: BusyError) -> None:
    detail = f"{busy.waiting} requests wait already. Send this one again after {busy.retry_after_s} s."
    response = problem_response(scope, "busy", detail, headers={"Retry-After": str(busy.retry_after_s)})
    await response(scope, receive, send)


async def _lost(scope: Scope, receive: Receive, send: Send) -> None:
    detail = "What computed this answer ended before it was done, and was replaced. Send the request again."
    response = problem_response(scope, "busy", detail, headers={"Retry-After": "1"})
    await response(scope, receive, send)
