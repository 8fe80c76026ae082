"""Bodies of blend requests answered without a server: what a cluster, a notebook or a script of one's own calls.

Each element of the answer is what POST /v1/blend-plans:batch answers in its place, as plain values; there is no limit
to how many there may be, nor to how long all take together, because whoever calls it owns the machine.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from typing import Any

from pydantic import TypeAdapter

from service.api.batch import BatchResult, answer_batch
from service.api.settings import Settings

__all__ = ["answer_bodies"]


@cache
def _writer() -> TypeAdapter[BatchResult]:
    return TypeAdapter(BatchResult)


def answer_bodies(bodies: Iterable[Any], settings: Settings | None = None) -> list[dict[str, Any]]:
    """Answer bodies of POST /v1/blend-plans, each by itself, in their order.

    Parameters: bodies, as parsed from JSON; settings, whose limits of size and whose `deadline_s` hold for each (the
        defaults if None). A list of any length can be cut into parts and the answers put together again.
    Returns: for each the status that it would have over HTTP, and its plan or its problem, one of them None.

    >>> refused, = answer_bodies([{"lots": [], "additions": [], "targets": {"gravity": 1.012}}])
    >>> refused["status"], refused["plan"], refused["problem"]["title"]
    (422, None, 'Something in the request has to change')
    """
    limits = settings or Settings()
    # one at a time: the time that a batch may take is counted anew for each
    return [_writer().dump_python(answer_batch([body], limits).results[0], mode="json") for body in bodies]
