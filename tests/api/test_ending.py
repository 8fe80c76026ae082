"""The end of a service that still starts: nothing is waited for, nothing is left, and nothing is told as an error."""

from __future__ import annotations

import asyncio
import logging
from functools import partial
from typing import Any

import pytest
import uvicorn

from service.api import main
from service.api.serving.ending import EndingServer
from service.api.settings import Settings


class NeverReady:
    """Lanes whose workers do not come."""

    started = ended = False

    def __init__(self, *_: Any) -> None:
        NeverReady.started = NeverReady.ended = False

    async def start(self) -> None:
        NeverReady.started = True
        await asyncio.Event().wait()

    async def end(self) -> None:
        NeverReady.ended = True


@pytest.mark.parametrize("before", [True, False])
def test_an_end_while_workers_are_waited_for(
    before: bool, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(main, "Lanes", NeverReady)
    NeverReady.started = False
    app = main.build_app(Settings(workers=1))
    config = uvicorn.Config(app, log_config=None, lifespan="on")
    server = EndingServer(config, lambda: pytest.fail("it has not started"), partial(main.break_off_start, app))

    async def told_to_end() -> None:
        config.load()
        server.lifespan = config.lifespan_class(config)
        starting = asyncio.ensure_future(server.startup([]))
        if before:
            server.should_exit = True
        else:
            while not NeverReady.started:
                await asyncio.sleep(0.01)
            server.should_exit = True
        await asyncio.wait_for(starting, 30.0)

    with caplog.at_level(logging.WARNING):
        asyncio.run(told_to_end())
    assert not caplog.records
    assert NeverReady.started is not before
    assert NeverReady.ended is not before
