"""Writes what is sent in one turn of the event loop at once.

The head of an answer and its body then leave together, in one packet if they fit: a process that is killed cannot have
sent one without the other, which nobody could repeat, because the answer has begun.
"""

from __future__ import annotations

import asyncio
from typing import Any, Final

__all__ = ["Together"]


_MOST_HELD_BYTES: Final = 32 * 1024
"""More is written on at once, so that the transport can tell when its reader is slow."""


class Together(asyncio.Transport):
    """A transport around another.

    Parameters: transport, that writes; loop.
    """

    def __init__(self, transport: asyncio.Transport, loop: asyncio.AbstractEventLoop) -> None:
        super().__init__()
        self._transport, self._loop = transport, loop
        self._held = bytearray()
        self.written = 0
        """All that was given to be written [B], also what waits still."""

    def write(self, data: Any) -> None:
        """Hold data until the end of this turn, unless it is much."""
        if not self._held and data:
            self._loop.call_soon(self.flush)
        self._held += data
        self.written += len(data)
        if len(self._held) >= _MOST_HELD_BYTES:
            self.flush()

    def flush(self) -> None:
        """Write what is held."""
        if self._held:
            held, self._held = bytes(self._held), bytearray()
            self._transport.write(held)

    def write_eof(self) -> None:
        """Write what is held, and the end."""
        self.flush()
        self._transport.write_eof()

    def close(self) -> None:
        """Write what is held, and close."""
        self.flush()
        self._transport.close()

    def abort(self) -> None:
        """Close at once."""
        self._held.clear()
        self._transport.abort()

    def get_write_buffer_size(self) -> int:
        """What waits to be written [B], held data too."""
        return self._transport.get_write_buffer_size() + len(self._held)

    def can_write_eof(self) -> bool:
        """As of the transport."""
        return self._transport.can_write_eof()

    def get_extra_info(self, name: str, default: Any = None) -> Any:
        """As of the transport."""
        return self._transport.get_extra_info(name, default)

    def is_closing(self) -> bool:
        """As of the transport."""
        return self._transport.is_closing()

    def pause_reading(self) -> None:
        """As of the transport."""
        self._transport.pause_reading()

    def resume_reading(self) -> None:
        """As of the transport."""
        self._transport.resume_reading()

    def set_protocol(self, protocol: asyncio.BaseProtocol) -> None:
        """As of the transport."""
        self._transport.set_protocol(protocol)

    def get_protocol(self) -> asyncio.BaseProtocol:
        """As of the transport."""
        return self._transport.get_protocol()
