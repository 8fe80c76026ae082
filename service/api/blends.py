"""`POST /v1/blend-plans` and `POST /v1/blend-forecasts`."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from service.api.examples import examples_of
from service.api.reading_blend import forecast_from, plan_from
from service.api.requests import BlendForecastRequest, BlendPlanRequest
from service.api.settings import Settings
from service.api.tables import CsvResponse, forecast_rows, plan_rows
from service.planner.answers import BlendForecast, BlendPlan
from service.planner.blend_forecast import forecast_blend as forecast
from service.planner.blend_plan import solve_blend as solve


def _with_examples(operation_id: str) -> dict[str, Any]:
    return {"requestBody": {"content": {"application/json": {"examples": examples_of(operation_id)}}}}


def blends_router(settings: Settings) -> APIRouter:
    """The blend questions.

    Parameters: settings, whose deadline bounds a solve.
    Returns: the router. Answers are computed beside the event loop, which stays free for the probes.
    """
    router = APIRouter(prefix="/v1", tags=["blends"])

    @router.post(
        "/blend-plans",
        summary="How much of what: amounts that bring lots to targets",
        openapi_extra=_with_examples("solve_blend"),
    )
    def solve_blend(request: BlendPlanRequest) -> BlendPlan:
        return solve(plan_from(request, settings.deadline_s))

    @router.post(
        "/blend-plans.csv",
        summary="The same as one flat row, grams of each part in its own column",
        response_class=CsvResponse,
        openapi_extra=_with_examples("solve_blend"),
    )
    def solve_blend_csv(request: BlendPlanRequest) -> CsvResponse:
        return CsvResponse(plan_rows(solve(plan_from(request, settings.deadline_s))))

    @router.post(
        "/blend-forecasts",
        summary="What given recipes will be, side by side",
        openapi_extra=_with_examples("forecast_blend"),
    )
    def forecast_blend(request: BlendForecastRequest) -> BlendForecast:
        return forecast(forecast_from(request))

    @router.post(
        "/blend-forecasts.csv",
        summary="The same as flat rows: one for each recipe",
        response_class=CsvResponse,
        openapi_extra=_with_examples("forecast_blend"),
    )
    def forecast_blend_csv(request: BlendForecastRequest) -> CsvResponse:
        return CsvResponse(forecast_rows(forecast(forecast_from(request))))

    return router
