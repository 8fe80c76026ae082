"""`POST /v1/stabilising-plans`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.reading_stabilising import stabilising_from
from service.api.requests_stabilising import StabilisingPlanRequest
from service.api.tables import CsvResponse, stabilising_rows
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.stabilising.plan import plan_stabilising as plan

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("plan_stabilising")}}}
}


def stabilising_router() -> APIRouter:
    """The question about sulfite and sorbate. Answers are computed beside the event loop.

    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["stabilising"])

    @router.post(
        "/stabilising-plans",
        summary="Sulfite and sorbate: how much, or why they are not enough",
        openapi_extra=_EXAMPLES,
    )
    def plan_stabilising(request: StabilisingPlanRequest) -> StabilisingPlan:
        """Grams of potassium metabisulfite and potassium sorbate, with free, molecular and total SO2 at packaging.

        Sorbate is reckoned first, because it raises the pH. Where salts are not enough, or would do harm, the verdict
        says so and nothing is dosed. Verify by measurement; local law and licensed practice decide.
        """
        return plan(stabilising_from(request))

    @router.post(
        "/stabilising-plans.csv",
        summary="The same as one flat row",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def plan_stabilising_csv(request: StabilisingPlanRequest) -> CsvResponse:
        """One row, ready to paste into a batch record. The request is the same."""
        return CsvResponse(stabilising_rows(plan(stabilising_from(request))))

    return router
