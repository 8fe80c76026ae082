"""`POST /v1/fining-plans`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.fining_table import fining_rows
from service.api.reading_fining import fining_from
from service.api.requests_fining import FiningPlanRequest
from service.api.tables import CsvResponse
from service.planner.fining.answers import FiningPlan
from service.planner.fining.plan import plan_fining as plan

_EXAMPLES: dict[str, Any] = {"requestBody": {"content": {"application/json": {"examples": examples_of("plan_fining")}}}}


def fining_router() -> APIRouter:
    """The question about haze. Answers are computed beside the event loop.

    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["fining"])

    @router.post(
        "/fining-plans",
        summary="Clear it, or keep the haze: which agents, how much, in what order",
        openapi_extra=_EXAMPLES,
    )
    def plan_fining(request: FiningPlanRequest) -> FiningPlan:
        """What each agent takes and leaves, how much of it, in what order; or what would drop a haze.

        Doses are ranges for a trial in glasses; agents that the market does not list, or that are to be avoided, are
        named as such.
        """
        return plan(fining_from(request))

    @router.post(
        "/fining-plans.csv",
        summary="The same as one flat row for each agent",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def plan_fining_csv(request: FiningPlanRequest) -> CsvResponse:
        """One row for each agent. The request is the same."""
        return CsvResponse(fining_rows(plan(fining_from(request))))

    return router
