"""What is written in one turn of the event loop leaves at once, in order, before an end."""

from __future__ import annotations

import asyncio
from typing import Any

from service.api.serving.together import Together


class Recorded(asyncio.Transport):
    def __init__(self) -> None:
        super().__init__()
        self.did: list[Any] = []

    def write(self, data: Any) -> None:
        self.did.append(data)

    def write_eof(self) -> None:
        self.did.append("end")

    def close(self) -> None:
        self.did.append("closed")

    def abort(self) -> None:
        self.did.append("aborted")

    def get_write_buffer_size(self) -> int:
        return 5


def test_head_and_body_leave_together() -> None:
    recorded = Recorded()

    async def sent() -> None:
        transport = Together(recorded, asyncio.get_running_loop())
        transport.write(b"head")
        transport.write(b"")
        transport.write(b"body")
        assert recorded.did == []
        assert transport.get_write_buffer_size() == 13
        await asyncio.sleep(0)
        assert recorded.did == [b"headbody"]
        transport.write(b"next")
        await asyncio.sleep(0)
        transport.write(b"last")
        transport.write_eof()
        transport.close()

    asyncio.run(sent())
    assert recorded.did == [b"headbody", b"next", b"last", "end", "closed"]


def test_much_is_written_on_before_the_turn_ends() -> None:
    recorded = Recorded()

    async def sent() -> None:
        transport = Together(recorded, asyncio.get_running_loop())
        transport.write(b"head")
        transport.write(b"b" * 65536)
        assert [len(part) for part in recorded.did] == [65540]
        await asyncio.sleep(0)
        assert len(recorded.did) == 1

    asyncio.run(sent())


def test_what_is_broken_off_is_not_written() -> None:
    recorded = Recorded()

    async def sent() -> None:
        transport = Together(recorded, asyncio.get_running_loop())
        transport.write(b"never")
        transport.abort()
        await asyncio.sleep(0)

    asyncio.run(sent())
    assert recorded.did == ["aborted"]
