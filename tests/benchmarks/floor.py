"""The floor under `POST /v1/blend-plans`: the same application with one more path that solves nothing.

`python -m tests.benchmarks.floor <port>` serves it as the service serves itself. `POST /v1/floor` validates the same
bodies and writes an answer of the same kind, on the event loop, without a worker.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import uvicorn
from fastapi import APIRouter

from service.api.answering import Plan, planned
from service.api.main import build_app
from service.api.requests_blend import BlendPlanRequest
from service.api.serving.protocol import limited_protocol
from service.api.serving.server import listening_socket
from service.api.settings import Settings
from tests.benchmarks.plans import bodies

PATH = "/v1/floor"


def main() -> None:
    """Serve until ended."""
    settings = replace(Settings(), workers=0)
    app = build_app(settings)
    answer = planned(BlendPlanRequest.model_validate(bodies(1)[0]), 10.0)
    router = APIRouter()

    @router.post(PATH)
    async def floor(request: BlendPlanRequest) -> Plan:
        """The same answer to everything."""
        del request
        return answer

    app.include_router(router)
    config = uvicorn.Config(app, http=limited_protocol(settings), ws="none", log_level="error", access_log=False)
    uvicorn.Server(config).run(sockets=[listening_socket("127.0.0.1", int(sys.argv[1]))])


if __name__ == "__main__":
    main()
