"""`POST /v1/packaging-plans`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.packaging_table import packaging_rows
from service.api.reading_packaging import packaging_from
from service.api.requests_packaging import PackagingPlanRequest
from service.api.tables import CsvResponse
from service.planner.packaging.answers import PackagingPlan
from service.planner.packaging.plan import plan_packaging as plan

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("plan_packaging")}}}
}


def packaging_router() -> APIRouter:
    """The question about packaging. Answers are computed beside the event loop.

    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["packaging"])

    @router.post(
        "/packaging-plans",
        summary="Containers after losses, pressure, gas, heat, and what a label says",
        openapi_extra=_EXAMPLES,
    )
    def plan_packaging(request: PackagingPlanRequest) -> PackagingPlan:
        """What is left after losses, in how many containers; pressures, heat, and the facts of a label.

        The pressure told is the worst case at the hottest storage with the whole sugar gone. No figure here shows that
        a sealed container holds: verify, and follow local law.
        """
        return plan(packaging_from(request))

    @router.post(
        "/packaging-plans.csv",
        summary="The same as flat rows, one for each kind of container",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def plan_packaging_csv(request: PackagingPlanRequest) -> CsvResponse:
        """One row for each kind of container. The request is the same."""
        return CsvResponse(packaging_rows(plan(packaging_from(request))))

    return router
