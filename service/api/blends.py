"""`POST /v1/blend-plans`, its batch, and `POST /v1/blend-forecasts`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.api.answering import Plan, planned
from service.api.batch import BatchAnswer, answer_batch, batch_rows
from service.api.examples import examples_of
from service.api.problems import request_id_of
from service.api.reading_blend import forecast_from
from service.api.requests_blend import BlendBatchRequest, BlendForecastRequest, BlendPlanRequest
from service.api.settings import Settings
from service.api.streaming import Work, answer_or_stream, stream_documented, until_unwanted
from service.api.tables import CsvResponse, forecast_rows, plan_rows
from service.planner.answers_blend import BlendForecast
from service.planner.blend_forecast import forecast_blend as forecast
from service.planner.progress import Progress


def with_examples(operation_id: str) -> dict[str, Any]:
    """The worked examples of an operation, for its entry in the document."""
    return {"requestBody": {"content": {"application/json": {"examples": examples_of(operation_id)}}}}


def blends_router(settings: Settings) -> APIRouter:
    """The blend questions.

    Parameters: settings, whose deadlines bound a solve and a batch.
    Returns: the router. Answers are computed beside the event loop, which stays free for the probes.
    """
    router = APIRouter(prefix="/v1", tags=["blends"])

    @router.post(
        "/blend-plans",
        summary="How much of what: amounts that bring lots to targets",
        openapi_extra=with_examples("solve_blend"),
    )
    def solve_blend(request: BlendPlanRequest) -> Plan:
        """The best amounts by your targets, their limits and what you prefer, and what the drink will be with them.

        Targets that cannot all be met are no refusal: the answer holds the nearest plan, what is in the way, and the
        smallest changes that would do.
        """
        return planned(request, settings.deadline_s)

    @router.post(
        "/blend-plans.csv",
        summary="The same as flat rows, one for each drink, grams of each part in its own column",
        response_class=CsvResponse,
        openapi_extra=with_examples("solve_blend"),
    )
    def solve_blend_csv(request: BlendPlanRequest) -> CsvResponse:
        """One row for a drink, or one for each portion. The request is the same."""
        return CsvResponse(plan_rows(planned(request, settings.deadline_s)))

    @router.post(
        "/blend-plans:batch",
        summary="Many requests in one call, each with its own plan or problem, in their order",
        response_model=BatchAnswer,
        responses=stream_documented("BatchAnswer", "requests"),
        openapi_extra=with_examples("solve_blends"),
    )
    def solve_blends(request: BlendBatchRequest, sent: Request, response: Response) -> Any:
        """Each request is answered as if it were sent alone; what is wrong with one of them refuses only that one.

        A long batch tells how far it is where the Accept header prefers application/x-ndjson or text/event-stream to
        application/json. Ending the connection then ends the work.
        """

        def run(progress: Progress | None) -> BatchAnswer:
            return answer_batch(request.requests, settings, request_id_of(sent.scope), progress)

        return answer_or_stream(sent, response, Work(run, len(request.requests), "requests", BatchAnswer))

    @router.post(
        "/blend-plans:batch.csv",
        summary="The same as flat rows: one for each plan or problem",
        response_class=CsvResponse,
        openapi_extra=with_examples("solve_blends"),
    )
    def solve_blends_csv(request: BlendBatchRequest, sent: Request) -> CsvResponse:
        """The rows of all answers below each other, with the number and the status of each request."""
        answer = answer_batch(request.requests, settings, request_id_of(sent.scope), until_unwanted(sent))
        return CsvResponse(batch_rows(answer))

    @router.post(
        "/blend-forecasts",
        summary="What given recipes will be, side by side",
        openapi_extra=with_examples("forecast_blend"),
    )
    def forecast_blend(request: BlendForecastRequest) -> BlendForecast:
        """Up to ten recipes as they will be, compared with the first of them and with what was measured of them.

        Differences stand in units and in the steps that a taster can just notice.
        """
        return forecast(forecast_from(request))

    @router.post(
        "/blend-forecasts.csv",
        summary="The same as flat rows: one for each recipe",
        response_class=CsvResponse,
        openapi_extra=with_examples("forecast_blend"),
    )
    def forecast_blend_csv(request: BlendForecastRequest) -> CsvResponse:
        """One row for each recipe. The request is the same."""
        return CsvResponse(forecast_rows(forecast(forecast_from(request))))

    return router
