"""Starts the process that serves: a socket, its protocol, the application, and a graceful end."""

from __future__ import annotations

import gc
import logging
import os
import socket
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Final

from service.api.logs import write_log_lines
from service.api.serving.workers import prepare
from service.api.settings import Settings

if TYPE_CHECKING:
    import uvicorn

    from service.api.app import SolverApp

__all__ = ["configuration", "listening_socket", "serve"]

_BACKLOG: Final = 2048
_FILES_BESIDE_CONNECTIONS: Final = 192
"""Tables, what belongs to the process itself, and connections that are refused."""
_FILES_OF_A_WORKER: Final = 6
_FEWEST_CONNECTIONS: Final = 4
_log = logging.getLogger("service.errors")


def serve(listening: socket.socket, settings: Settings, on_start: Callable[[], None] = lambda: None) -> None:
    """Serve until SIGTERM or Ctrl+C; then finish what was asked, for `shutdown_s` at most.

    Parameters: listening, of `listening_socket`; settings; on_start, called once requests are answered.
    """
    write_log_lines()
    settings = _with_files(settings)
    os.environ["SERVICE_WORKERS"] = str(settings.workers)  # what workers are forked from reads the same settings
    os.environ["SERVICE_MAX_CONNECTIONS"] = str(settings.max_connections)
    with _loading():
        from service.api.main import break_off_start, build_app
        from service.api.serving.ending import EndingServer

    if settings.workers:
        prepare(from_here=True)  # so that what they share gets warm beside the rest of the start
    app = build_app(settings)
    server = EndingServer(configuration(app, settings), on_start, partial(break_off_start, app))
    server.run(sockets=[listening])


def configuration(app: SolverApp, settings: Settings) -> uvicorn.Config:
    """How the application is served, with the limits of connections.

    Parameters: app; settings.
    """
    import uvicorn

    from service.api.serving.protocol import limited_protocol

    return uvicorn.Config(
        app,
        http=limited_protocol(settings, app.state.metrics.rejected),
        ws="none",
        log_config=None,
        access_log=False,
        server_header=False,
        h11_max_incomplete_event_size=settings.max_header_bytes,
        timeout_keep_alive=settings.keep_alive_s,
        timeout_graceful_shutdown=settings.shutdown_s,
    )


@contextmanager
def _loading() -> Iterator[None]:
    """While modules are loaded nothing is garbage; afterwards they are spared by the garbage collector, so that they
    stay shared with processes that are forked."""
    gc.disable()
    try:
        yield
    finally:
        gc.freeze()
        gc.enable()


def _with_files(settings: Settings) -> Settings:
    """Have this process open as many files as its connections need, or else let in fewer of them.

    What cannot be accepted could not be refused either.
    """
    try:
        import resource
    except ImportError:  # not on every system
        return settings
    beside = _FILES_BESIDE_CONNECTIONS + _FILES_OF_A_WORKER * settings.workers
    needed = settings.max_connections + beside
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY or soft >= needed:
        return settings
    got = needed if hard == resource.RLIM_INFINITY else min(hard, needed)
    resource.setrlimit(resource.RLIMIT_NOFILE, (got, hard))
    if got == needed:
        return settings
    fewer = max(_FEWEST_CONNECTIONS, got - beside)
    _log.error("this process may open %d files only: at most %d connections are let in", got, fewer)
    return replace(settings, max_connections=fewer)


def listening_socket(host: str, port: int) -> socket.socket:
    """A socket that listens at an address of this machine.

    The protocol is named, because asyncio sends small answers at once only where a socket says that it is TCP.

    Raises: OSError.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    found = socket.getaddrinfo(host, port, family, socket.SOCK_STREAM, socket.IPPROTO_TCP)[0]
    listening = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(found[4])
        listening.listen(_BACKLOG)  # at once: who asks while it starts waits, and a second service finds the port taken
    except BaseException:
        listening.close()
        raise
    return listening
