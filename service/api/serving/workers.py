"""The processes that compute, seen from the one that serves: each has a thread that hands it one request at a time.

Nothing is shared between two workers, so one that dies takes nothing with it but the request it was at. Its thread
starts another in its place. How many requests may wait is for `lanes` to say.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from dataclasses import dataclass, field
from functools import partial
from math import inf
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from queue import Empty, SimpleQueue
from time import monotonic
from typing import Final

from starlette.types import Message, Scope

from service.api.serving.from_here import can_fork, fork_server_from_here
from service.api.serving.worker import Answered, Ended, Still, run
from service.api.settings import Settings

__all__ = ["Job", "TooLateError", "WorkerLostError", "Workers", "prepare"]

_log = logging.getLogger("service.errors")

_LOOKS_AFTER_ITS_PROCESS_S: Final = 0.5
"""How often an idle thread looks whether its process still lives [s]."""
_STARTS_WITHIN_S: Final = 120.0
_ENDS_WITHIN_S: Final = 2.0
_PIPE_HOLDS_BYTES: Final = 16 * 1024
_PAUSE_S: Final = 1.0
"""Before a process that could not start is tried again [s]."""
_FIRST_TRIES: Final = 3
"""A server none of whose workers could start so often does not start."""

_ONE_THREAD: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
"""Threads of numerical libraries only make arrays as small as ours slower, and there is a process for every core."""


class WorkerLostError(Exception):
    """The process that computed an answer ended before it was done."""


class TooLateError(Exception):
    """The turn of a request came later than its caller was let in for."""


class OverdueError(WorkerLostError):
    """An answer took far longer than its deadline allows, so its process was ended."""


@dataclass(slots=True)
class Job:
    """A request on its way to a worker and back.

    `part` takes a message of an answer in parts, in the event loop; `wanted` tells whether anybody still waits, and
    `came_at` since when, as of `monotonic`, if it has waited for something else before.
    """

    scope: Scope
    body: bytes
    part: Callable[[Message], None]
    wanted: bool = True
    begun: Callable[[], None] = lambda: None
    came_at: float | None = None
    due_at: float = inf
    outcome: Future[Answered | Ended] = field(default_factory=Future)


def prepare(*, from_here: bool = False) -> BaseContext:
    """Begin to get ready for workers: where processes can be forked, what they share is made once, beside this one.

    Parameters: from_here, whether the modules that this process has loaded are shared too, if it can be forked.
    Returns: what starts them. What they share is made with the settings of the environment.
    """
    for name in _ONE_THREAD:
        os.environ.setdefault(name, "1")
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["service.api.serving.preloaded"])
    from multiprocessing import forkserver, resource_tracker

    resource_tracker.ensure_running()  # whose start lets signals through again
    through = signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, signal.SIGTERM))
    try:
        with fork_server_from_here() if from_here and can_fork() else contextlib.nullcontext():
            forkserver.ensure_running()  # which does not hear of Ctrl+C even before it can say that it ignores it
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, through)
    return context


class Workers:
    """Some processes that compute, and the queue before them.

    Parameters: count; settings; context, of `prepare`; patience_s, after which a worker that tells nothing is taken
    for lost [s]; on_loss, called in any thread whenever a process ended unasked.
    """

    def __init__(
        self,
        count: int,
        settings: Settings,
        context: BaseContext,
        *,
        patience_s: float,
        on_loss: Callable[[], None] = lambda: None,
    ) -> None:
        self.settings, self.context, self.patience_s, self.on_loss = settings, context, patience_s, on_loss
        self.jobs: SimpleQueue[Job | None] = SimpleQueue()
        self.alive = 0
        self._counting = threading.Lock()
        self._threads = [
            threading.Thread(target=self._look_after, args=(k,), name=f"worker-{k}", daemon=True) for k in range(count)
        ]
        self._ready: list[Future[None]] = [Future() for _ in range(count)]
        self._processes: dict[int, BaseProcess] = {}
        self._ending = threading.Event()
        self._loop: asyncio.AbstractEventLoop | None = None

    async def start(self) -> None:
        """Start every process and wait until each is ready.

        Raises: WorkerLostError where one cannot start.
        """
        self._loop = asyncio.get_running_loop()
        for thread, ready in zip(self._threads, self._ready, strict=True):
            ready.set_running_or_notify_cancel()  # so that it is not cancelled where the start is broken off
            thread.start()
        await asyncio.gather(*map(asyncio.wrap_future, self._ready))

    async def end(self) -> None:
        """End every process; one that is still at an answer, for which nobody waits any more, is killed."""
        self._ending.set()
        for _ in self._threads:
            self.jobs.put(None)
        await asyncio.to_thread(self._join)

    def _join(self) -> None:
        until = monotonic() + _ENDS_WITHIN_S
        for thread in self._threads:
            thread.join(max(0.0, until - monotonic()))
        for process in list(self._processes.values()):
            process.kill()
        for thread in self._threads:
            thread.join(_ENDS_WITHIN_S)

    def submit(self, job: Job) -> None:
        """Queue a request; what becomes of it is told by the future in it."""
        self.jobs.put(job)

    def _look_after(self, number: int) -> None:
        """The life of one thread: a process, its jobs, another process where that one is lost."""
        connection = self._started(number, _FIRST_TRIES)
        if connection is None:
            self._ready[number].set_exception(WorkerLostError("a worker could not start"))
            return
        self._ready[number].set_result(None)
        while connection is not None:
            try:
                job = self.jobs.get(timeout=_LOOKS_AFTER_ITS_PROCESS_S)
            except Empty:
                if not _lives(connection):
                    connection = self._replaced(number, connection)
                continue
            if job is None:
                connection.close()
                break
            if not (job.wanted and job.outcome.set_running_or_notify_cancel()):
                job.outcome.cancel()
            elif monotonic() > job.due_at:
                job.outcome.set_exception(TooLateError())
            else:
                connection = self._computed(number, connection, job)
            del job  # or else it would be kept, with its answer, until the next one comes
        self._stop(number)

    def _computed(self, number: int, connection: Connection, job: Job) -> Connection | None:
        """Have a job done, by another process if this one is gone; returns where the next one goes."""
        if not _lives(connection):
            found = self._replaced(number, connection)
            if found is None:
                job.outcome.set_exception(WorkerLostError())
                return None
            connection = found
        self._loop_call(job.begun)
        try:
            outcome = self._exchanged(number, connection, job)
        except Exception as error:
            job.outcome.set_exception(error if isinstance(error, WorkerLostError) else WorkerLostError())
            _log.error("the worker of request %s was lost: %s", _id_of(job), type(error).__name__)
            return self._replaced(number, connection)
        job.outcome.set_result(outcome)
        return connection

    @contextlib.contextmanager
    def _watched(self, number: int, size: int) -> Iterator[None]:
        """While more is handed over than a pipe holds: a process that does not take it is killed after a while."""
        if size < _PIPE_HOLDS_BYTES:
            yield
            return
        watch = threading.Timer(self.patience_s, self._processes[number].kill)
        watch.start()
        try:
            yield
        finally:
            watch.cancel()

    def _exchanged(self, number: int, connection: Connection, job: Job) -> Answered | Ended:
        """Hand a request to the process, and pass on what it tells until its answer is complete."""
        with self._watched(number, len(job.body)):
            connection.send((job.scope, job.body))
        while True:
            if not connection.poll(self.patience_s):
                raise OverdueError
            told = connection.recv()
            if isinstance(told, Answered | Ended):
                return told
            if not isinstance(told, Still) and job.wanted:
                self._loop_call(partial(job.part, told))
            connection.send(job.wanted)

    def _loop_call(self, what: Callable[[], None]) -> None:
        assert self._loop is not None
        with contextlib.suppress(RuntimeError):  # the loop has ended
            self._loop.call_soon_threadsafe(what)

    def _started(self, number: int, tries: int | None = None) -> Connection | None:
        """A process that is ready; tried again and again, because a server without workers is none.

        Parameters: number, of the thread; tries, at most (None: without end).
        Returns: the pipe to it, or None where it could not be started, or need not be any more.
        """
        tried = 0
        while not self._ending.is_set():
            connection = self._once_started(number)
            if connection is not None:
                return connection
            if self._ending.is_set():
                return None
            _log.error("a worker could not start")
            tried += 1
            if tried == tries:
                return None
            self._ending.wait(_PAUSE_S)
        return None

    def _once_started(self, number: int) -> Connection | None:
        ours, theirs = self.context.Pipe()
        process: BaseProcess = self.context.Process(  # type: ignore[attr-defined]
            target=run, args=(theirs, self.settings), daemon=True
        )
        with contextlib.suppress(EOFError, OSError):  # what starts it may end meanwhile, and is itself started again
            process.start()
            self._processes[number] = process
            theirs.close()
            if self._ending.is_set():  # too late for being found among those that are ended
                process.kill()
            if ours.poll(_STARTS_WITHIN_S) and ours.recv():
                with self._counting:
                    self.alive += 1
                return ours
        theirs.close()
        ours.close()
        self._stop(number)
        return None

    def _replaced(self, number: int, connection: Connection) -> Connection | None:
        with self._counting:
            self.alive -= 1
        connection.close()
        self._stop(number, within_s=0.0)
        if self._ending.is_set():
            return None
        _log.error("a worker ended unasked and is replaced")
        self.on_loss()
        return self._started(number)

    def _stop(self, number: int, within_s: float = _ENDS_WITHIN_S) -> None:
        """Wait until a process has ended, or else kill it."""
        process = self._processes.pop(number, None)
        if process is None:
            return
        process.join(within_s)
        if process.is_alive():
            process.kill()
            process.join()


def _lives(connection: Connection) -> bool:
    """Whether an idle process is there: it says nothing unasked, so there is something to read only at its end."""
    try:
        return not connection.poll()
    except OSError:
        return False


def _id_of(job: Job) -> str:
    return next((value.decode("latin-1") for name, value in job.scope["headers"] if name == b"x-request-id"), "")
