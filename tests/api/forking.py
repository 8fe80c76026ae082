"""Run as a program: starts processes by a fork server that was forked from this one, and prints what they tell."""

from __future__ import annotations

import contextlib
import json
import multiprocessing
import os
import signal
import socket
import sys
from multiprocessing import forkserver, resource_tracker
from multiprocessing.connection import Connection
from types import ModuleType
from typing import Any

from service.api.serving.from_here import can_fork, fork_server_from_here

MARK = "loaded_by_whom_it_was_forked_from"


def tell(connection: Connection) -> None:
    """What a started process finds."""
    files = []
    for name in os.listdir("/proc/self/fd"):
        with contextlib.suppress(OSError):  # that of the list itself
            files.append(os.readlink(f"/proc/self/fd/{name}"))
    connection.send({"shares": MARK in sys.modules, "files": files, "forked by": os.getppid()})


def started() -> dict[str, Any]:
    """Start a process; what it tells."""
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("forkserver").Process(target=tell, args=(theirs,))
    process.start()
    assert ours.poll(60.0)
    told: dict[str, Any] = ours.recv()
    process.join(60.0)
    return {**told, "ended with": process.exitcode}


def main() -> None:
    """Start one; another after the fork server was killed."""
    sys.modules[MARK] = ModuleType(MARK)
    print("written before", end=" ")  # and held, so that a copy could write it too
    with socket.create_server(("127.0.0.1", 0)) as listening:
        resource_tracker.ensure_running()
        could = can_fork()
        with fork_server_from_here():
            forkserver.ensure_running()
        first = started()
        os.kill(first["forked by"], signal.SIGKILL)
        os.waitid(os.P_PID, first["forked by"], os.WEXITED | os.WNOWAIT)
        second = started()
        inode = os.readlink(f"/proc/self/fd/{listening.fileno()}")
        print(json.dumps({"could": could, "first": first, "second": second, "listening": inode, "own": os.getpid()}))


if __name__ == "__main__":
    main()
