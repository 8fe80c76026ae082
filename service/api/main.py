"""The application with every question this version answers, and its self-check."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI

from service.api.app import SolverApp, create_app
from service.api.bench_trials import bench_trials_router
from service.api.blends import blends_router
from service.api.catalogue import catalogue_router
from service.api.cells import cells_router
from service.api.corrections import corrections_router
from service.api.fining import fining_router
from service.api.must import must_router
from service.api.packaging import packaging_router
from service.api.page import page_router
from service.api.reading_blend import plan_from
from service.api.readings import readings_router
from service.api.requests_blend import BlendPlanRequest
from service.api.serving.lanes import Lanes
from service.api.settings import Settings
from service.api.stabilising import stabilising_router
from service.api.tastings import tastings_router
from service.api.trade_offs import trade_offs_router
from service.api.workbook import workbook_router
from service.catalogue.loader import data_version, ingredients
from service.planner.blend_plan import solve_blend

_SELF_CHECK = {
    "lots": [{"name": "check", "volume": "10 L", "gravity": 0.998, "abv_percent": 7.5}],
    "additions": [{"ingredient": "honey_average"}],
    "targets": {"gravity": 1.015},
}


def solves() -> str | None:
    """Whether a small plan comes out as asked: tables loaded, optimiser alive."""
    plan = solve_blend(plan_from(BlendPlanRequest.model_validate(_SELF_CHECK), 2.0))
    if abs(plan.predicted.gravity.value - 1.015) > 1e-4:
        return "The self-check plan does not reach its gravity."
    return None


@asynccontextmanager
async def _with_workers(app: FastAPI) -> AsyncIterator[None]:
    """The life of the serving process: its workers live within it."""
    settings: Settings = app.state.settings
    if settings.workers == 0:
        yield
        return
    lanes = Lanes(settings, app.state.metrics)
    app.state.starting = starting = asyncio.ensure_future(lanes.start())
    try:
        await asyncio.wait((starting,))
        if not starting.cancelled():  # by `break_off_start`
            starting.result()
            app.state.lanes = lanes
        yield
    finally:
        app.state.lanes = None
        starting.cancel()
        await lanes.end()


def break_off_start(app: FastAPI) -> None:
    """Have an application that still waits for its workers wait no longer, because it has to end."""
    starting: asyncio.Future[None] | None = app.state.starting
    if starting is not None:
        starting.cancel()


def build_app(settings: Settings | None = None, *, in_worker: bool = False) -> SolverApp:
    """The application, with its tables loaded.

    Parameters: settings (read from the environment if None); in_worker, whether it computes for a process that serves.
    Returns: the application. Where its lifespan is run, it starts workers and ends them.
    """
    settings = Settings.from_environment() if settings is None else settings
    ingredients()

    def computes() -> str | None:
        lanes: Lanes | None = app.state.lanes
        without = [] if lanes is None else lanes.without_workers()
        return f"No worker is alive for: {', '.join(without)}." if without else None

    app = create_app(
        settings,
        (
            blends_router(settings),
            trade_offs_router(settings),
            corrections_router(settings),
            must_router(settings),
            readings_router(),
            stabilising_router(),
            fining_router(),
            packaging_router(),
            tastings_router(),
            bench_trials_router(settings),
            catalogue_router(),
            cells_router(),
            workbook_router(),
            page_router(),
        ),
        readiness=(solves, computes),
        data_version=data_version(),
        lifespan=None if in_worker else _with_workers,
        in_worker=in_worker,
    )
    return app
