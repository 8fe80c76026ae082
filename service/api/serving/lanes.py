"""Who waits for whom: a lane of workers for single answers, another for batches, and a limit to what waits before each.

A request is refused at once, with the time after which it may be sent again, where too many wait already, or where by
the time that answers took lately its turn would come too late; and it is refused at its turn where that came too late
all the same. So nobody waits longer than was said, and no queue grows.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from math import ceil
from time import monotonic, perf_counter
from typing import Final, Literal

from service.api.serving.metrics import Metrics
from service.api.serving.workers import Job, Workers, prepare
from service.api.settings import Settings

__all__ = ["BusyError", "Lane", "LaneName", "Lanes"]

LaneName = Literal["single", "batch"]

_WEIGHT: Final = 0.1
"""Of the latest answer in the running mean of the time that answers take."""
_FIRST_GUESS_S: Final = 0.01
_PATIENCE: Final = 10.0
_LEAST_PATIENCE_S: Final = 30.0
"""A worker may take so many deadlines, and at least so long, before it is taken for lost."""


class BusyError(Exception):
    """No place in the queue; after `retry_after_s` there may be one."""

    def __init__(self, waiting: int, retry_after_s: int) -> None:
        super().__init__(waiting)
        self.waiting, self.retry_after_s = waiting, retry_after_s


@dataclass(slots=True)
class _Mean:
    seconds: float = _FIRST_GUESS_S

    def add(self, seconds: float) -> None:
        self.seconds += _WEIGHT * (seconds - self.seconds)


class Lane:
    """Workers and those who wait for them. Used in the event loop alone.

    Parameters: name; workers; count of them; max_waiting; max_wait_s, the longest wait that a caller is let in for [s];
    metrics.
    """

    def __init__(
        self, name: LaneName, workers: Workers, count: int, max_waiting: int, max_wait_s: float, metrics: Metrics
    ) -> None:
        self.name, self.workers, self.count = name, workers, count
        self.max_waiting, self.max_wait_s, self.metrics = max_waiting, max_wait_s, metrics
        self.waiting = self.running = 0
        self._mean = _Mean()

    def retry_after_s(self) -> int:
        """After how many whole seconds there may be a place again."""
        return max(1, ceil(self.waiting * self._mean.seconds / self.count))

    def enter(self, job: Job) -> Callable[[], None]:
        """Queue a request.

        Parameters: job, whose `begun` and `due_at` are set here.
        Returns: what has to be called, in the event loop, once the request is answered or given up.
        Raises: BusyError where there is no place.
        """
        now = monotonic()
        due_at = (now if job.came_at is None else job.came_at) + self.max_wait_s
        wait_s = self.waiting * self._mean.seconds / self.count
        if self.waiting >= self.max_waiting or now + wait_s > due_at:
            raise BusyError(self.waiting, self.retry_after_s())
        entered = _Place(self)
        job.begun = entered.begin
        job.due_at = due_at
        self.workers.submit(job)
        return entered.leave


class _Place:
    """A request's place in a lane: first among those who wait, then among those who are answered."""

    def __init__(self, lane: Lane) -> None:
        self.lane = lane
        self.begun_at: float | None = None
        self.left = False
        lane.waiting += 1
        self._tell()

    def begin(self) -> None:
        """A worker has taken the request."""
        if not self.left:
            self.lane.waiting -= 1
            self.lane.running += 1
            self.begun_at = perf_counter()
            self._tell()

    def leave(self) -> None:
        """The request is answered, or was given up."""
        if self.left:
            return
        self.left = True
        if self.begun_at is None:
            self.lane.waiting -= 1
        else:
            self.lane.running -= 1
            self.lane._mean.add(perf_counter() - self.begun_at)
        self._tell()

    def _tell(self) -> None:
        self.lane.metrics.queue(self.lane.name, self.lane.waiting, self.lane.running)


class Lanes:
    """All workers: `settings.workers` for single answers, and half as many, at least one, for batches.

    Those for batches share the processors with the others, so that a batch slows single answers a little and never
    stands in their way.
    """

    def __init__(self, settings: Settings, metrics: Metrics) -> None:
        context = prepare()
        counts: Mapping[LaneName, int] = {"single": settings.workers, "batch": max(1, settings.workers // 2)}
        deadlines: Mapping[LaneName, float] = {"single": settings.deadline_s, "batch": settings.batch_deadline_s}
        self.lanes = {
            name: Lane(
                name,
                Workers(
                    count,
                    settings,
                    context,
                    patience_s=max(_LEAST_PATIENCE_S, _PATIENCE * deadlines[name]),
                    on_loss=partial(metrics.worker_lost, name),
                ),
                count,
                settings.max_waiting,
                settings.max_wait_s if name == "single" else settings.batch_deadline_s,
                metrics,
            )
            for name, count in counts.items()
        }

    async def start(self) -> None:
        """Start all workers and wait until they are ready.

        Raises: WorkerLostError where one cannot start.
        """
        await asyncio.gather(*(lane.workers.start() for lane in self.lanes.values()))

    async def end(self) -> None:
        """End all workers."""
        await asyncio.gather(*(lane.workers.end() for lane in self.lanes.values()))

    def without_workers(self) -> list[str]:
        """The lanes none of whose workers is alive."""
        return [name for name, lane in self.lanes.items() if not lane.workers.alive]
