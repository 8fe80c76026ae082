"""Starts the process that serves: a socket, its protocol, the application, and a graceful end."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from typing import Final

from service.api.logs import write_log_lines
from service.api.serving.workers import prepare
from service.api.settings import Settings

__all__ = ["listening_socket", "serve"]

_BACKLOG: Final = 2048
_FILES_BESIDE_CONNECTIONS: Final = 256
"""Pipes to workers, tables, and connections that are refused."""


def serve(listening: socket.socket, settings: Settings, on_start: Callable[[], None] = lambda: None) -> None:
    """Serve until SIGTERM or Ctrl+C; then finish what was asked, for `shutdown_s` at most.

    Parameters: listening, of `listening_socket`; settings; on_start, called once requests are answered.
    """
    os.environ["SERVICE_WORKERS"] = str(settings.workers)  # what workers are forked from reads the same settings
    if settings.workers:
        prepare()
    write_log_lines()
    _allow_open_files(settings.max_connections + _FILES_BESIDE_CONNECTIONS)
    import uvicorn  # while the processes that compute are loading already

    from service.api.main import build_app
    from service.api.serving.ending import EndingServer
    from service.api.serving.protocol import limited_protocol

    app = build_app(settings)
    server = EndingServer(
        uvicorn.Config(
            app,
            http=limited_protocol(settings, app.state.metrics.rejected),
            ws="none",
            log_config=None,
            access_log=False,
            server_header=False,
            h11_max_incomplete_event_size=settings.max_header_bytes,
            timeout_keep_alive=settings.keep_alive_s,
            timeout_graceful_shutdown=settings.shutdown_s,
        ),
        on_start,
    )
    server.run(sockets=[listening])


def _allow_open_files(needed: int) -> None:
    """Have this process open as many files as it needs, where it may: what cannot be accepted could not be refused."""
    try:
        import resource
    except ImportError:  # not on every system
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = needed if hard == resource.RLIM_INFINITY else min(hard, needed)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))


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
