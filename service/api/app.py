"""Puts the application together: settings, guards, problems, documents, and the routers that answer questions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import AbstractAsyncContextManager
from typing import Any, Final
from urllib.parse import urlsplit

from fastapi import APIRouter, Depends, FastAPI, Request
from fastapi.routing import APIRoute

from service import MODEL_VERSION
from service.api.documents import ReadinessCheck, complete_openapi, documents_router, operations_router
from service.api.guards import BodyGuard, Envelope, OptionsAnswer, UrlGuard
from service.api.problems import add_problem_handlers
from service.api.serving.callers import Callers, Origins
from service.api.serving.forwarding import Forwarding
from service.api.serving.metrics import Metrics, metrics_router
from service.api.settings import Settings
from service.api.sizes import size_check

__all__ = ["TITLE", "SolverApp", "create_app", "settings_of"]

TITLE: Final = "Back-sweetening and blending solver"

_DESCRIPTION: Final = (
    "How much honey, concentrate, juice and water brings a dry ferment to the gravity, strength and acidity wanted. "
    'Quantities are texts with a unit, such as "2.5 kg"; a gravity is a number, specific gravity 20 °C/20 °C. '
    "Every refusal is `application/problem+json` and says what to change."
)


class SolverApp(FastAPI):
    """The application, whose document shows the refusals that it really answers."""

    def openapi(self) -> dict[str, Any]:
        """Build the OpenAPI document once."""
        if self.openapi_schema is None:
            keys: bool = bool(self.state.settings.api_keys)
            self.openapi_schema = complete_openapi(super().openapi(), needs_key=keys)
        return self.openapi_schema


def _operation_id(route: APIRoute) -> str:
    return route.name


def create_app(
    settings: Settings | None = None,
    routers: Sequence[APIRouter] = (),
    *,
    readiness: Sequence[ReadinessCheck] = (),
    data_version: str | None = None,
    lifespan: Callable[[Any], AbstractAsyncContextManager[Any]] | None = None,
    in_worker: bool = False,
) -> SolverApp:
    """Create the application.

    Parameters: settings (read from the environment if None); routers, the questions it answers, whose function names
        are the operation ids; readiness, checks of `/readyz`; data_version, shown by `/version`; lifespan, as of
        FastAPI; in_worker, whether it answers what another process has let in.
    Returns: the application; its settings stand in `app.state.settings`.
    Raises: InputError for an environment variable that cannot be used.
    """
    settings = Settings.from_environment() if settings is None else settings
    app = SolverApp(
        title=TITLE,
        version=MODEL_VERSION,
        description=_DESCRIPTION,
        servers=[{"url": urlsplit(settings.public_url).path or "/", "description": "The server that sends this."}],
        openapi_url=None,
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        generate_unique_id_function=_operation_id,
        dependencies=[Depends(size_check(settings))],
        lifespan=lifespan,
        telemetry={
            "auto_configure": False,
            "tracing": False,
            "metrics": False,
            "logs": False,
            "operation_spans": False,
        },
    )
    metrics = Metrics()
    app.state.settings, app.state.metrics = settings, metrics
    app.state.lanes = app.state.starting = None
    add_problem_handlers(app)
    for router in (
        *routers,
        operations_router(settings, readiness, data_version),
        metrics_router(metrics),
        documents_router(app.openapi),
    ):
        app.include_router(router)
    if not in_worker:
        _guard(app, settings, metrics)
    app.add_middleware(Envelope, on_answer=None if in_worker else metrics.request)
    return app


def _guard(app: SolverApp, settings: Settings, metrics: Metrics) -> None:
    """Put what lets requests in around the application; the last one added is the outermost."""
    app.add_middleware(Forwarding, routes_of=app, metrics=metrics)
    app.add_middleware(
        BodyGuard,
        routes_of=app,
        max_body_bytes=settings.max_body_bytes,
        max_nesting_depth=settings.max_nesting_depth,
        timeout_s=settings.body_timeout_s,
    )
    app.add_middleware(OptionsAnswer, routes_of=app)
    app.add_middleware(UrlGuard, max_url_characters=settings.max_url_characters)
    app.add_middleware(Callers, settings=settings, metrics=metrics)
    if settings.cors_origins:
        app.add_middleware(Origins, origins=settings.cors_origins)


def settings_of(request: Request) -> Settings:
    """The settings of the application that answers a request, for `Depends`."""
    settings: Settings = request.app.state.settings
    return settings
