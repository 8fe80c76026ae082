"""Who is let in to wait for a worker, and for how long."""

from __future__ import annotations

import asyncio
from time import monotonic

import pytest
from starlette.testclient import TestClient

from service.api.main import build_app
from service.api.serving.lanes import BusyError, Lane
from service.api.serving.metrics import Metrics
from service.api.serving.workers import Job, TooLateError, Workers
from service.api.settings import Settings
from tests.api.real import BASE


class Idle(Workers):
    """Workers that never take anything."""

    def __init__(self) -> None:
        self.queued: list[Job] = []
        self.alive = 1

    def submit(self, job: Job) -> None:
        self.queued.append(job)


def job() -> Job:
    return Job({"headers": []}, b"x", lambda _: None)


def lane(max_waiting: int = 3, max_wait_s: float = 1.0) -> tuple[Lane, Idle]:
    workers = Idle()
    return Lane("single", workers, 1, max_waiting, max_wait_s, Metrics()), workers


def test_so_many_wait_and_no_more() -> None:
    entered, _ = lane()
    leave = [entered.enter(job()) for _ in range(3)]
    with pytest.raises(BusyError) as busy:
        entered.enter(job())
    assert (busy.value.waiting, busy.value.retry_after_s) == (3, 1)
    leave[0]()
    leave[0]()
    assert entered.waiting == 2, "a place is given back once"
    entered.enter(job())


def test_nobody_is_let_in_whose_turn_comes_too_late() -> None:
    """By the time that answers took lately: 100 waiting, 1 s each, 1 worker."""
    entered, workers = lane(max_waiting=100, max_wait_s=1.0)
    for _ in range(100):
        leave = entered.enter(job())
        workers.queued[-1].begun()
        entered._mean.seconds = 1.0
        leave()
    entered.enter(job())
    entered.enter(job())
    with pytest.raises(BusyError) as busy:
        entered.enter(job())
    assert busy.value.waiting == 2
    assert busy.value.retry_after_s == 2


def test_a_turn_that_came_too_late_all_the_same_is_refused() -> None:
    entered, workers = lane(max_wait_s=0.5)
    before = monotonic()
    entered.enter(job())
    assert before + 0.5 <= workers.queued[0].due_at <= monotonic() + 0.5


def test_a_late_turn_is_503_with_a_time_to_come_again() -> None:
    class TooLate(Idle):
        def submit(self, job: Job) -> None:
            asyncio.get_running_loop().call_soon(job.outcome.set_exception, TooLateError())

    app = build_app(Settings(workers=0))
    app.state.lanes = type("Lanes", (), {"lanes": {"single": Lane("single", TooLate(), 1, 5, 1.0, Metrics())}})()
    answer = TestClient(app).post("/v1/blend-plans", json=BASE)
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "1")
    assert answer.json()["type"] == "/problems/busy"
    assert b'service_rejections_total{reason="queue_full"} 1.0' in app.state.metrics.written()
    assert app.state.lanes.lanes["single"].waiting == 0
