"""`POST /v1/corrections`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.answering import Corrected, corrected
from service.api.examples import examples_of
from service.api.requests_correction import CorrectionRequest
from service.api.settings import Settings
from service.api.tables import CsvResponse, correction_rows

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("correct_blend")}}}
}


def corrections_router(settings: Settings) -> APIRouter:
    """The question after a part was added and measured. Answers are computed beside the event loop.

    Parameters: settings, whose deadline bounds the solve of the plan for the rest.
    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["corrections"])

    @router.post(
        "/corrections",
        summary="Part was added and measured: what is in it, what was off, and what now; or what undoes a fault",
        openapi_extra=_EXAMPLES,
    )
    def correct_blend(request: CorrectionRequest) -> Corrected:
        """The drink in the vessel by what was poured and read, what does not fit, and what to add now.

        Amounts poured and readings are weighed against each other by their errors. With a `fault` it answers the ways
        out instead, the mildest first. `next.correct_blend` holds the request to send after the next pour.
        """
        return corrected(request, settings.deadline_s)

    @router.post(
        "/corrections.csv",
        summary="The same as one flat row; of a fault one for each way out",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def correct_blend_csv(request: CorrectionRequest) -> CsvResponse:
        """One row, ready to paste into a batch record; of a fault one row for each way out. The request is the same."""
        return CsvResponse(correction_rows(corrected(request, settings.deadline_s)))

    return router
