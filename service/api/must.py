"""`POST /v1/must-plans`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.must_table import must_rows
from service.api.reading_must import must_from
from service.api.requests_must import MustPlanRequest
from service.api.settings import Settings
from service.api.tables import CsvResponse
from service.planner.must.answers import MustPlan
from service.planner.must.plan import plan_must as plan

_EXAMPLES: dict[str, Any] = {"requestBody": {"content": {"application/json": {"examples": examples_of("plan_must")}}}}


def must_router(settings: Settings) -> APIRouter:
    """The question about the must. Answers are computed beside the event loop.

    Parameters: settings, whose deadline bounds a solve.
    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["must"])

    @router.post(
        "/must-plans",
        summary="Honey and water: how much, how strong it becomes, and what the yeast needs",
        openapi_extra=_EXAMPLES,
    )
    def plan_must(request: MustPlanRequest) -> MustPlan:
        """Honey, other sources and water to a gravity, to a strength, or backwards from the bottles.

        With the nitrogen that the yeast needs and when, the strength and the final gravity to expect as ranges, a
        shopping list, and the cost where prices are given. `next` holds the requests that follow.
        """
        return plan(must_from(request, settings.deadline_s))

    @router.post(
        "/must-plans.csv",
        summary="The same as one flat row",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def plan_must_csv(request: MustPlanRequest) -> CsvResponse:
        """One row, ready to paste into a batch record. The request is the same."""
        return CsvResponse(must_rows(plan(must_from(request, settings.deadline_s))))

    return router
