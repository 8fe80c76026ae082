"""The watch over processes that compute, and how many connections the files of a process are enough for."""

from __future__ import annotations

import asyncio
import logging
import multiprocessing
from time import monotonic

import pytest

from service.api.serving.server import _with_files
from service.api.serving.workers import Job, WorkerLostError, Workers
from service.api.settings import Settings
from tests.api import deaf

PATIENCE_S = 0.4
LARGE = b"x" * 4_000_000
"""More than any pipe holds."""


@pytest.mark.parametrize("body", [LARGE, b"x"], ids=["does not take it", "does not answer it"])
def test_a_worker_that_stands_still_is_killed_and_replaced(
    body: bytes, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """A large request fills the pipe, so that handing it over never ends; of a small one only the answer is missing."""
    monkeypatch.setattr("service.api.serving.workers.run", deaf.run)
    monkeypatch.setattr("service.api.serving.workers._ENDS_WITHIN_S", 0.2)
    lost: list[None] = []
    job = Job({"headers": [(b"x-request-id", b"stuck-1")]}, body, lambda _: None)
    workers = Workers(
        1,
        Settings(workers=1),
        multiprocessing.get_context("spawn"),
        patience_s=PATIENCE_S,
        on_loss=lambda: lost.append(None),
    )

    async def asked() -> None:
        await workers.start()
        process = workers._processes[0]
        begun = monotonic()
        workers.submit(job)
        with pytest.raises(WorkerLostError):
            await asyncio.wait_for(asyncio.wrap_future(job.outcome), 30.0)
        assert monotonic() - begun >= PATIENCE_S
        while workers._processes.get(0, process) is process or not workers.alive:
            await asyncio.sleep(0.02)
        assert process.exitcode == -9
        assert lost == [None]
        await workers.end()

    asyncio.run(asyncio.wait_for(asked(), 60.0))
    assert "the worker of request stuck-1 was lost" in caplog.text


def test_a_watch_ends_with_what_it_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Or else it would kill the process at a later request."""
    workers = Workers(0, Settings(), multiprocessing.get_context("spawn"), patience_s=0.05)
    killed: list[None] = []
    monkeypatch.setattr(workers, "_processes", {0: type("Process", (), {"kill": lambda _: killed.append(None)})()})
    with workers._watched(0, 1_000_000):
        pass
    begun = monotonic()
    with workers._watched(0, 1_000_000):
        while not killed and monotonic() - begun < 20.0:
            pass
    assert killed == [None]
    assert monotonic() - begun >= 0.05


NEEDED = 100 + 192 + 6 * 2
"""Files for so many connections, what is beside them, and two workers."""


@pytest.mark.parametrize(
    ("soft", "hard", "then", "connections"),
    [
        (NEEDED, 4096, None, 100),
        (NEEDED - 1, 4096, NEEDED, 100),
        (256, NEEDED, NEEDED, 100),
        (256, -1, NEEDED, 100),
        (-1, -1, None, 100),
        (256, NEEDED - 1, NEEDED - 1, 99),
        (256, 256, 256, 52),
        (64, 210, 210, 6),
        (64, 206, 206, 4),
        (64, 64, 64, 4),
    ],
)
def test_no_more_connections_than_there_are_files_for(
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
    soft: int,
    hard: int,
    then: int | None,
    connections: int,
) -> None:
    """The soft limit is raised as far as the hard one allows (getrlimit(2); -1: none); what cannot be is told."""
    resource = pytest.importorskip("resource")
    was = {-1: resource.RLIM_INFINITY}
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(resource, "getrlimit", lambda _: (was.get(soft, soft), was.get(hard, hard)))
    monkeypatch.setattr(resource, "setrlimit", lambda _, limits: told.append(limits))
    caplog.set_level(logging.ERROR, logger="service.errors")
    asked = Settings(workers=2, max_connections=100)
    settings = _with_files(asked)
    assert settings.max_connections == connections
    assert told == ([] if then is None else [(then, was.get(hard, hard))])
    if connections == 100:
        assert settings is asked
        assert not caplog.text
    else:
        assert f"may open {then} files only: at most {connections} connections are let in" in caplog.text
