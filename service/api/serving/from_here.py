"""Has the process that others are forked from be forked itself, from one that has loaded the application already.

The standard library starts that process as a new interpreter, which loads everything once more. What is loaded here is
shared instead, and costs neither its time nor its memory twice. Only how that process begins is another: the command
that it would be started with is executed in a copy of this one. If it ends, the standard library starts it as usual.
"""

from __future__ import annotations

import os
import sys
import threading
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing import util
from pathlib import Path
from typing import Final

__all__ = ["can_fork", "fork_server_from_here"]

_OPEN_FILES: Final = Path("/proc/self/fd")
_STANDARD: Final = (0, 1, 2)


def can_fork() -> bool:
    """Whether a copy of this process would be whole (no other thread, open files known) and can be put in place."""
    return threading.active_count() == 1 and _OPEN_FILES.is_dir() and hasattr(util, "spawnv_passfds")


@contextmanager
def fork_server_from_here() -> Iterator[None]:
    """Within it, a fork server that is started is forked from this process."""
    spawned = util.spawnv_passfds

    def started(path: str, args: Sequence[str], passed: Sequence[int]) -> int:
        command = args[-1]
        if "multiprocessing.forkserver" not in command:
            return spawned(path, args, passed)  # type: ignore[arg-type]
        return _forked(command, passed)

    util.spawnv_passfds = started  # type: ignore[assignment]
    try:
        yield
    finally:
        util.spawnv_passfds = spawned


def _forked(command: str, passed: Sequence[int]) -> int:
    """Execute a command in a copy of this process, which has the passed files open and the standard ones.

    Returns: the id of the copy, which itself never returns.
    """
    for stream in (sys.stdout, sys.stderr):
        stream.flush()  # or else what is held would be written twice
    pid = os.fork()
    if pid:
        return pid
    ended = 1
    try:
        _close_all_but((*_STANDARD, *passed))
        exec(command, {})
        ended = 0
    except SystemExit:
        ended = 0
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(ended)


def _close_all_but(kept: Sequence[int]) -> None:
    """Close what a new interpreter would not have open either, such as the socket at which requests arrive."""
    for name in os.listdir(_OPEN_FILES):
        if int(name) not in kept:
            with suppress(OSError):  # that of the list itself
                os.close(int(name))
