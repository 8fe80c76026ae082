"""`POST /v1/tastings`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.reading_tastings import tasting_from
from service.api.requests_tastings import TastingRequest
from service.api.tables import CsvResponse
from service.api.tastings_table import tasting_rows
from service.planner.tasting.answers import Tasting
from service.planner.tasting.judge import judge_tasting as judge

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("judge_tasting")}}}
}


def tastings_router() -> APIRouter:
    """The question about scores and difference tests. Answers are computed beside the event loop.

    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["tastings"])

    @router.post(
        "/tastings",
        summary="Scores to a best dose with its interval; difference tests",
        openapi_extra=_EXAMPLES,
    )
    def judge_tasting(request: TastingRequest) -> Tasting:
        """The dose that tasters liked best with its 95 % interval, or that none was found; or a test.

        `dose_unit` lets the best dose be scaled to a batch; with `property` the answer's `next` asks for a blend.
        """
        return judge(tasting_from(request))

    @router.post(
        "/tastings.csv",
        summary="The same as flat rows: one for each dose, or one for a test",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def judge_tasting_csv(request: TastingRequest) -> CsvResponse:
        """One row for each dose, or one for a test. The request is the same."""
        return CsvResponse(tasting_rows(judge(tasting_from(request))))

    return router
