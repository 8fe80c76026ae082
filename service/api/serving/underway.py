"""GETs that are being computed: an equal one that comes meanwhile waits for the answer to the first, not for a worker.

A sheet that recalculates asks the same address from many cells, and so do all who have it open. Of those only the first
takes a place among those who wait for workers, and only it is computed.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any, Final

from starlette.types import Message, Receive

from service.api.serving.kept import Key, may_be_kept
from service.api.serving.worker import Answered

__all__ = ["Asker", "Underway"]

_LOOKS_FOR_THE_ASKER_AFTER_S: Final = 0.1


class Asker:
    """Who waits for an answer, and may leave before it comes; called, what else they send.

    Parameters: receive, of ASGI.
    """

    def __init__(self, receive: Receive) -> None:
        self.receive = receive
        self.left = False

    async def __call__(self) -> Message:
        """The next message, as of ASGI."""
        message = await self.receive()
        self.left = self.left or message["type"] == "http.disconnect"
        return message

    async def waits_for(self, what: asyncio.Future[Any]) -> bool:
        """Wait until something has come or the asker leaves; whether it has come.

        Only after a while it is looked whether they are there, because most answers come before.
        """
        done, _ = await asyncio.wait((what,), timeout=_LOOKS_FOR_THE_ASKER_AFTER_S)
        if done:
            return True
        leaving = asyncio.ensure_future(self._leaves())
        try:
            await asyncio.wait((what, leaving), return_when=asyncio.FIRST_COMPLETED)
        finally:
            leaving.cancel()
        return what.done()

    async def _leaves(self) -> None:
        while not self.left:
            await self()


class Underway:
    """The first of equal requests, by what their answer depends on. Used in the event loop alone."""

    def __init__(self) -> None:
        self._firsts: dict[Key, asyncio.Future[Answered | None]] = {}

    async def answer(
        self, key: Key, computed: Callable[[], Awaitable[Answered | None]], asker: Asker
    ) -> tuple[Answered | None, bool]:
        """The answer to a request: that of an equal one that is computed already, or else its own.

        Where the first has no answer, because its asker left, it was refused or its worker was lost, the next of those
        who wait takes its place. Where its answer may not be kept it is nobody else's: each of them is computed.

        Parameters: key; computed, has the request computed and returns None where there was no answer; asker.
        Returns: the answer, and whether it is that of an equal request; None where there is none, or the asker left
        while another's was waited for.
        """
        while (first := self._firsts.get(key)) is not None:
            if not await asker.waits_for(first):
                return None, False
            answer = first.result()
            if answer is not None:
                return (answer, True) if may_be_kept(answer) else (await computed(), False)
        first = self._firsts[key] = asyncio.get_running_loop().create_future()
        answer = None
        try:
            answer = await computed()
        finally:
            del self._firsts[key]
            first.set_result(answer)
        return answer, False
