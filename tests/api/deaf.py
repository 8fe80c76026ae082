"""A worker that says that it is ready and then takes nothing, in a module that loads little."""

from __future__ import annotations

import time
from multiprocessing.connection import Connection


def run(connection: Connection, _: object) -> None:
    """What stands in for `service.api.serving.worker.run`."""
    connection.send(True)
    time.sleep(600.0)
