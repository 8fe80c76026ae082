"""`POST /v1/bench-trials`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.reading_bench import bench_from
from service.api.requests_bench import BenchTrialRequest
from service.api.settings import Settings
from service.api.tables import CsvResponse, bench_rows
from service.planner.bench_trial.answers import BenchTrial
from service.planner.bench_trial.plan import scale_bench_trial as scale

_EXAMPLES: dict[str, Any] = {
    "requestBody": {"content": {"application/json": {"examples": examples_of("scale_bench_trial")}}}
}


def bench_trials_router(settings: Settings) -> APIRouter:
    """The question about a glass and a batch. Answers are computed beside the event loop.

    Parameters: settings, whose deadline bounds a solve.
    Returns: the router.
    """
    router = APIRouter(prefix="/v1", tags=["tastings"])

    @router.post(
        "/bench-trials",
        summary="A glass that tasted, or looked, right: what it holds, and the batch that is like it",
        openapi_extra=_EXAMPLES,
    )
    def scale_bench_trial(request: BenchTrialRequest) -> BenchTrial:
        """The batch that holds what the glass holds, beside plain scaling, and what one drop more does to it.

        Water that a stock was made with is not taken into the batch unless it may be; then what it would change is
        told.
        """
        return scale(bench_from(request, settings.deadline_s))

    @router.post(
        "/bench-trials.csv",
        summary="The same as flat rows: the glass, and the batch made in each way",
        response_class=CsvResponse,
        openapi_extra=_EXAMPLES,
    )
    def scale_bench_trial_csv(request: BenchTrialRequest) -> CsvResponse:
        """One row for the glass and one for each way to make the batch. The request is the same."""
        return CsvResponse(bench_rows(scale(bench_from(request, settings.deadline_s))))

    return router
