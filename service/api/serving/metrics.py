"""What is counted, and shown at `/metrics` in the text format of Prometheus, an open exposition format.

Labels have few values: names of operations, lanes and reasons, never a path or a caller.
"""

from __future__ import annotations

from typing import Final, Literal

from fastapi import APIRouter
from prometheus_client import (
    CONTENT_TYPE_LATEST,
    CollectorRegistry,
    Counter,
    Gauge,
    Histogram,
    ProcessCollector,
    disable_created_metrics,
    generate_latest,
)
from starlette.responses import Response

from service import MODEL_VERSION
from service.api.routing import get_and_head

__all__ = ["Metrics", "metrics_router"]

_BUCKETS: Final = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0, 30.0)


class Metrics:
    """The counters of one application."""

    def __init__(self) -> None:
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self.registry = CollectorRegistry()
        ProcessCollector(registry=self.registry)
        self._requests = Counter(
            "service_requests", "Requests answered.", ("operation", "method", "status"), registry=self.registry
        )
        self._seconds = Histogram(
            "service_request_seconds",
            "From the head of a request to the end of its answer.",
            ("operation",),
            buckets=_BUCKETS,
            registry=self.registry,
        )
        self._solving = Histogram(
            "service_solve_seconds",
            "Computing an answer in a worker, by operation and by what came out.",
            ("operation", "outcome"),
            buckets=_BUCKETS,
            registry=self.registry,
        )
        self._waiting = Gauge(
            "service_waiting_requests",
            "Requests that wait for a worker; lane batch: many requests in one.",
            ("lane",),
            registry=self.registry,
        )
        self._running = Gauge(
            "service_running_requests", "Requests that a worker is at.", ("lane",), registry=self.registry
        )
        self._refused = Counter(
            "service_rejections", "Requests turned away, by the reason.", ("reason",), registry=self.registry
        )
        self._lost = Counter(
            "service_workers_lost", "Workers that ended unasked and were replaced.", ("lane",), registry=self.registry
        )
        self._kept = Counter(
            "service_kept_answers",
            "Answers that needed no computing (yes), that of an equal request (shared), and those that did (no).",
            ("kept",),
            registry=self.registry,
        )
        Gauge(
            "service_version", "1, by the version of the equations.", ("model_version",), registry=self.registry
        ).labels(MODEL_VERSION).set(1)

    def request(self, operation: str, method: str, status: int, seconds: float) -> None:
        """A request was answered."""
        self._requests.labels(operation, method, str(status)).inc()
        self._seconds.labels(operation).observe(seconds)

    def solved(self, operation: str, outcome: str, seconds: float) -> None:
        """A worker computed an answer."""
        self._solving.labels(operation, outcome).observe(seconds)

    def queue(self, lane: str, waiting: int, running: int) -> None:
        """So many wait, and so many are answered."""
        self._waiting.labels(lane).set(waiting)
        self._running.labels(lane).set(running)

    def rejected(self, reason: str) -> None:
        """A request was turned away."""
        self._refused.labels(reason).inc()

    def worker_lost(self, lane: str) -> None:
        """A worker ended unasked."""
        self._lost.labels(lane).inc()

    def kept(self, how: Literal["yes", "shared", "no"]) -> None:
        """An answer was kept from before, was computed for an equal request meanwhile, or had to be computed."""
        self._kept.labels(how).inc()

    def written(self) -> bytes:
        """Everything, as it is sent."""
        return generate_latest(self.registry)


def metrics_router(metrics: Metrics) -> APIRouter:
    """Build `/metrics`, which stands outside the document."""
    router = APIRouter(include_in_schema=False)

    @get_and_head(router, "/metrics")
    async def get_metrics() -> Response:
        return Response(metrics.written(), headers={"Content-Type": CONTENT_TYPE_LATEST, "Cache-Control": "no-store"})

    return router
