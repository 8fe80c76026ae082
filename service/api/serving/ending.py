"""A server that ends soon when it is told to, also while it starts, and that takes its workers with it."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from typing import Final

import uvicorn

__all__ = ["EndingServer"]

_LOOKS_S: Final = 0.05
"""Between two looks whether it has to end while it starts [s]."""


class EndingServer(uvicorn.Server):
    """A server whose start can be broken off, and whose application is ended however hurried its own end is.

    Parameters: config; on_start, called once it has started; break_off, which has the start of the application end
        soon, as if it had started.
    """

    def __init__(self, config: uvicorn.Config, on_start: Callable[[], None], break_off: Callable[[], None]) -> None:
        super().__init__(config)
        self.on_start, self.break_off = on_start, break_off

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Start; or give up starting when told to end, so that workers that are long in coming are not waited for."""
        if self.should_exit:
            return
        starting = asyncio.ensure_future(super().startup(sockets))
        while not starting.done() and not self.should_exit:
            await asyncio.wait((starting,), timeout=_LOOKS_S)
        if starting.done():
            starting.result()
            self.on_start()
        else:
            starting.cancel()
            self.break_off()
            await self.lifespan.startup_event.wait()
            await self.lifespan.shutdown()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End gracefully; where told twice to, only what was started is ended."""
        await super().shutdown(sockets)
        if self.force_exit:
            await self.lifespan.shutdown()
