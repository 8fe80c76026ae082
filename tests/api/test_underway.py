"""Equal GETs at once: one is computed, the others wait for it; and what becomes of them where it has no answer.

What HEAD and 304 are is RFC 9110, sections 9.3.2 and 15.4.5; status 499 for a caller who left is common practice, no
source.
"""

from __future__ import annotations

import asyncio
import json
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.types import Message, Scope

from service.api.guards import Envelope
from service.api.routing import get_and_head
from service.api.serving.forwarding import Forwarding
from service.api.serving.lanes import Lane
from service.api.serving.metrics import Metrics
from service.api.serving.worker import Answered, Ended
from service.api.serving.workers import Job, WorkerLostError, Workers

PATH = "/v1/cell/number"


class Held(Workers):
    """Workers that take a request when the test does."""

    def __init__(self) -> None:
        self.queued: list[Job] = []
        self.alive = 1

    def submit(self, job: Job) -> None:
        self.queued.append(job)


@dataclass
class Caller:
    """Somebody who asks, and may leave."""

    asking: asyncio.Task[None]
    leave: Callable[[], None]
    start: Message
    content: bytearray

    @property
    def status(self) -> int:
        """What the answer begins with; 0 where there was none."""
        return int(self.start.get("status", 0))

    def header(self, name: bytes) -> bytes | None:
        """A header of the answer."""
        return dict(self.start["headers"]).get(name)


def cell_number() -> None:
    """What a worker would do: it is never called here."""
    raise AssertionError


class Front:
    """What hands requests on, with workers that wait for the test, and a lane before them."""

    def __init__(self, max_waiting: int = 100, max_wait_s: float = 60.0) -> None:
        self.metrics, self.workers = Metrics(), Held()
        self.lane = Lane("single", self.workers, 1, max_waiting, max_wait_s, self.metrics)
        routes = FastAPI()
        routes.state.lanes = type("Lanes", (), {"lanes": {"single": self.lane}})()
        get_and_head(routes, PATH)(cell_number)
        self.app = Envelope(Forwarding(routes, routes, self.metrics), self.metrics.request)

    @property
    def jobs(self) -> list[Job]:
        """All that went to a worker so far."""
        return self.workers.queued

    def ask(self, method: str = "GET", *headers: tuple[bytes, bytes]) -> Caller:
        """Send the request."""
        left = asyncio.Event()
        start: Message = {}
        content = bytearray()
        received = False

        async def receive() -> Message:
            nonlocal received
            if not received:
                received = True
                return {"type": "http.request", "body": b"", "more_body": False}
            await left.wait()
            return {"type": "http.disconnect"}

        async def send(message: Message) -> None:
            if message["type"] == "http.response.start":
                start.update(message)
            content.extend(message.get("body", b""))

        scope: Scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": PATH,
            "raw_path": PATH.encode(),
            "query_string": b"volume=9L",
            "root_path": "",
            "headers": list(headers),
            "client": ("127.0.0.1", 1),
            "server": ("127.0.0.1", 8000),
        }
        return Caller(asyncio.ensure_future(self.app(scope, receive, send)), left.set, start, content)

    def counted(self, name: str, **labels: str) -> float:
        """The sum of a metric over all its labels but the given ones."""
        given = [f'{label}="{value}"' for label, value in labels.items()]
        lines = [line for line in self.metrics.written().decode().splitlines() if line.startswith(name)]
        return sum(float(line.rpartition(" ")[2]) for line in lines if all(part in line for part in given))


def answered(status: int = 200, content: bytes = b"1.25") -> Answered:
    headers = [(b"content-length", str(len(content)).encode()), (b"etag", b'"tag"'), (b"cache-control", b"public")]
    return Answered(status, headers, content, Ended(0.01, "answered" if status == 200 else "refused"))


def run(test: Callable[[], Awaitable[Any]]) -> None:
    async def within() -> None:
        async with asyncio.timeout(20.0):
            await test()

    asyncio.run(within())


async def turns(holds: Callable[[], bool]) -> None:
    """Let others go on until something holds."""
    while not holds():
        await asyncio.sleep(0.005)


async def settled() -> None:
    """Let everybody come as far as they can."""
    for _ in range(20):
        await asyncio.sleep(0)


def test_equal_requests_are_computed_once_and_each_is_counted_and_logged(caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.INFO, logger="service.access")

    async def test() -> None:
        front = Front(max_waiting=1)
        callers = [front.ask("GET", (b"x-request-id", b"cell-%d" % k)) for k in range(50)]
        await settled()
        assert (len(front.jobs), front.lane.waiting) == (1, 1), "who waits for another's answer takes no place"
        front.jobs[0].begun()
        front.jobs[0].outcome.set_result(answered())
        await asyncio.gather(*(caller.asking for caller in callers))
        assert len(front.jobs) == 1
        assert {(caller.status, bytes(caller.content)) for caller in callers} == {(200, b"1.25")}
        assert {caller.header(b"x-request-id") for caller in callers} == {b"cell-%d" % k for k in range(50)}
        operation = "cell_number"
        assert front.counted("service_requests_total", operation=operation, status="200") == 50.0
        assert front.counted("service_solve_seconds_count", operation=operation) == 1.0
        assert front.counted("service_kept_answers_total", kept="no") == 1.0
        assert front.counted("service_kept_answers_total", kept="shared") == 49.0
        assert (front.lane.waiting, front.lane.running) == (0, 0)
        later = front.ask()
        await later.asking
        assert (later.status, len(front.jobs)) == (200, 1)
        assert front.counted("service_kept_answers_total", kept="yes") == 1.0

    run(test)
    lines = [json.loads(record.getMessage()) for record in caplog.records if record.name == "service.access"]
    assert {line["request_id"] for line in lines} >= {f"cell-{k}" for k in range(50)}
    assert [line["status"] for line in lines] == [200] * 51


def test_head_and_what_has_not_changed_share_the_answer() -> None:
    async def test() -> None:
        front = Front()
        head = front.ask("HEAD")
        got = front.ask("GET")
        same = front.ask("GET", (b"if-none-match", b'"tag"'))
        other = front.ask("HEAD", (b"if-none-match", b'"another"'))
        await settled()
        assert [(job.scope["method"], job.scope["headers"][:-1]) for job in front.jobs] == [("GET", [])]
        front.jobs[0].outcome.set_result(answered())
        await asyncio.gather(head.asking, got.asking, same.asking, other.asking)
        assert [caller.status for caller in (head, got, same, other)] == [200, 200, 304, 200]
        assert [bytes(caller.content) for caller in (head, got, same, other)] == [b"", b"1.25", b"", b""]
        assert [caller.header(b"content-length") for caller in (head, got, same, other)] == [b"4", b"4", None, b"4"]
        assert same.header(b"etag") == b'"tag"'

    run(test)


def test_requests_that_may_be_answered_otherwise_share_nothing() -> None:
    async def test() -> None:
        front = Front()
        asked = [front.ask(), front.ask("GET", (b"accept", b"text/html")), front.ask("GET", (b"host", b"a.example"))]
        await settled()
        assert len(front.jobs) == 3
        for k, job in enumerate(front.jobs):
            job.outcome.set_result(answered(content=b"%d" % k))
        await asyncio.gather(*(caller.asking for caller in asked))
        assert [bytes(caller.content) for caller in asked] == [b"0", b"1", b"2"]

    run(test)


def test_a_refusal_is_nobody_elses() -> None:
    async def test() -> None:
        front = Front()
        callers = [front.ask() for _ in range(4)]
        await settled()
        front.jobs[0].outcome.set_result(answered(422, b"first"))
        await turns(lambda: len(front.jobs) == 4)
        assert callers[0].asking.done()
        for job in front.jobs[1:]:
            job.outcome.set_result(answered(422, b"its own"))
        await asyncio.gather(*(caller.asking for caller in callers))
        assert [bytes(caller.content) for caller in callers] == [b"first", *[b"its own"] * 3]
        assert front.counted("service_kept_answers_total", kept="no") == 4.0

    run(test)


@pytest.mark.parametrize("taken", [False, True], ids=["waits", "is computed"])
def test_where_the_first_caller_leaves_the_next_one_is_computed(taken: bool) -> None:
    async def test() -> None:
        front = Front()
        first, *others = (front.ask() for _ in range(4))
        await settled()
        if taken:
            assert front.jobs[0].outcome.set_running_or_notify_cancel()
            front.jobs[0].begun()
        first.leave()
        await turns(lambda: not front.jobs[0].wanted)
        if taken:
            front.jobs[0].outcome.set_result(Ended(0.2, "left"))
        await turns(lambda: len(front.jobs) == 2)
        assert first.asking.done()
        assert (first.status, front.counted("service_requests_total", status="499")) == (0, 1.0)
        front.jobs[1].outcome.set_result(answered())
        await asyncio.gather(*(other.asking for other in others))
        assert len(front.jobs) == 2
        assert {(other.status, bytes(other.content)) for other in others} == {(200, b"1.25")}
        assert (front.lane.waiting, front.lane.running) == (0, 0)

    run(test)


def test_an_answer_that_comes_although_its_caller_left_is_that_of_the_others() -> None:
    async def test() -> None:
        front = Front()
        first, other = front.ask(), front.ask()
        await settled()
        assert front.jobs[0].outcome.set_running_or_notify_cancel()
        first.leave()
        await turns(lambda: not front.jobs[0].wanted)
        front.jobs[0].outcome.set_result(answered())
        await other.asking
        assert (other.status, len(front.jobs)) == (200, 1)

    run(test)


def test_a_caller_who_leaves_while_another_is_computed_costs_nothing() -> None:
    async def test() -> None:
        front = Front()
        first, leaves, stays = front.ask(), front.ask(), front.ask()
        await settled()
        leaves.leave()
        await leaves.asking
        assert (leaves.status, front.counted("service_requests_total", status="499")) == (0, 1.0)
        assert front.jobs[0].wanted
        assert not front.jobs[0].outcome.cancelled()
        assert (len(front.jobs), front.lane.waiting) == (1, 1)
        front.jobs[0].outcome.set_result(answered())
        await asyncio.gather(first.asking, stays.asking)
        assert (first.status, stays.status, len(front.jobs)) == (200, 200, 1)

    run(test)


def test_where_the_first_is_broken_off_the_next_one_is_computed() -> None:
    """A service that ends breaks off what it is at; here only one."""

    async def test() -> None:
        front = Front()
        first, other = front.ask(), front.ask()
        await settled()
        first.asking.cancel()
        await turns(lambda: len(front.jobs) == 2)
        front.jobs[1].outcome.set_result(answered())
        await asyncio.gather(first.asking, other.asking)
        assert (first.status, other.status) == (503, 200)

    run(test)


def test_where_a_worker_is_lost_only_the_first_is_told() -> None:
    async def test() -> None:
        front = Front()
        first, *others = (front.ask() for _ in range(3))
        await settled()
        front.jobs[0].outcome.set_exception(WorkerLostError())
        await turns(lambda: len(front.jobs) == 2)
        front.jobs[1].outcome.set_result(answered())
        await asyncio.gather(first.asking, *(other.asking for other in others))
        assert [caller.status for caller in (first, *others)] == [503, 200, 200]
        assert front.counted("service_rejections_total", reason="worker_lost") == 1.0

    run(test)


def test_where_there_is_no_place_each_is_refused() -> None:
    async def test() -> None:
        front = Front(max_waiting=1)
        front.lane.enter(Job({"headers": []}, b"", lambda _: None))
        callers = [front.ask() for _ in range(5)]
        await asyncio.gather(*(caller.asking for caller in callers))
        assert {(caller.status, caller.header(b"retry-after")) for caller in callers} == {(503, b"1")}
        assert front.counted("service_rejections_total", reason="queue_full") == 5.0
        assert len(front.jobs) == 1

    run(test)


def test_the_time_that_another_was_waited_for_is_part_of_the_wait(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever has waited as long as anybody may is refused, and does not wait so long once more for a worker."""
    now_s = 1000.0
    for module in ("forwarding", "lanes"):
        monkeypatch.setattr(f"service.api.serving.{module}.monotonic", lambda: now_s)

    async def test() -> None:
        nonlocal now_s
        front = Front(max_wait_s=5.0)
        first, early = front.ask(), front.ask()
        await settled()
        now_s += 3.0
        late = front.ask()
        await settled()
        now_s += 3.0
        front.jobs[0].outcome.set_exception(WorkerLostError())
        await asyncio.gather(first.asking, early.asking)
        assert (early.status, early.header(b"retry-after")) == (503, b"1")
        assert front.counted("service_rejections_total", reason="queue_full") == 1.0
        await turns(lambda: len(front.jobs) == 2)
        assert [job.due_at for job in front.jobs] == [1005.0, 1008.0]
        front.jobs[1].outcome.set_result(answered())
        await late.asking
        assert late.status == 200

    run(test)
