"""`POST /v1/readings`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.reading_instruments import readings_from
from service.api.readings_table import readings_rows
from service.api.requests_readings import ReadingsRequest
from service.api.tables import CsvResponse
from service.planner.interpreting.answers import Interpretation
from service.planner.interpreting.interpret import interpret_readings as interpret

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("interpret_readings")}}}
}


def readings_router() -> APIRouter:
    """The question what readings mean. Answers are computed beside the event loop.

    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["readings"])

    @router.post(
        "/readings",
        summary="What readings mean: true gravity, strength, sugar, acidity, and whether it still ferments",
        openapi_extra=_EXAMPLES,
    )
    def interpret_readings(request: ReadingsRequest) -> Interpretation:
        """Any of a hydrometer, a refractometer, a titration, a pH and a series of gravities, alone or together.

        Answers the corrected gravity, strength, sugar that is left and acidity with their intervals, says whether the
        gravity rests, and names the likeliest culprit where readings do not fit.
        """
        return interpret(readings_from(request))

    @router.post(
        "/readings.csv",
        summary="The same as one flat row",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def interpret_readings_csv(request: ReadingsRequest) -> CsvResponse:
        """One row, ready to paste into a batch record. The request is the same."""
        return CsvResponse(readings_rows(interpret(readings_from(request))))

    return router
