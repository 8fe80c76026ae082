"""Many blend requests in one body: each is answered or refused on its own, in its order.

Scripts that sweep a parameter send their sweep at once. The limits of sizes hold for every request by itself; how many
there may be, and for how long they may be computed together, are settings.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from time import perf_counter
from typing import Any, Final

from pydantic import ValidationError

from service.api.answering import Plan, planned, refusal
from service.api.problems import Problem, problem_document
from service.api.reading_blend import plan_or_portions_from
from service.api.requests_blend import BlendPlanRequest
from service.api.settings import Settings
from service.api.sizes import OversizeError, too_long
from service.api.tables import Row, plan_rows, same_columns
from service.errors import ServiceError
from service.planner.answers_decisions import SHOWN
from service.planner.progress import Progress

_PATH: Final = "/v1/blend-plans"
_log = logging.getLogger("service.errors")


@dataclass(frozen=True, slots=True)
class BatchResult:
    """What became of one request: a plan with status 200, or a problem."""

    __pydantic_config__ = SHOWN

    status: int
    """The HTTP status that the request alone would have had."""
    plan: Plan | None
    """The plan, as of POST /v1/blend-plans; null with a problem."""
    problem: Problem | None
    """The refusal; null with a plan."""


@dataclass(frozen=True, slots=True)
class BatchAnswer:
    """The answer to `solve_blends`."""

    __pydantic_config__ = SHOWN

    results: tuple[BatchResult, ...]
    """One for each request, in their order."""


def answer_batch(
    requests: Sequence[Any], settings: Settings, request_id: str = "", progress: Progress | None = None
) -> BatchAnswer:
    """Answer every request by itself.

    Parameters: requests, bodies of POST /v1/blend-plans; settings, whose `deadline_s` bounds each and whose
    `batch_deadline_s` bounds all: requests that would start later are refused with 503, to be sent again; request_id,
    the X-Request-ID of the whole, shown in problems; progress, told before each request how many are done, and at last
    that all are. What it raises ends the work.
    Returns: BatchAnswer.
    """
    until = perf_counter() + settings.batch_deadline_s
    scope = {"path": _PATH, "state": {"request_id": request_id}}
    results: list[BatchResult] = []
    for body in requests:
        if progress is not None:
            progress(len(results), len(requests))
        results.append(_one(body, settings, until, scope))
    if progress is not None:
        progress(len(results), len(requests))
    return BatchAnswer(tuple(results))


def _one(body: Any, settings: Settings, until: float, scope: Mapping[str, Any]) -> BatchResult:
    left = until - perf_counter()
    try:
        if left <= 0.0:
            detail = f"The batch took its {settings.batch_deadline_s:g} s before this request: send it again."
            return _refused(problem_document(dict(scope), "busy", detail))
        oversized = list(too_long(body, settings))
        if oversized:
            raise OversizeError(oversized)
        request = BlendPlanRequest.model_validate(body)
        return BatchResult(200, planned(request, min(settings.deadline_s, left)), None)
    except (ValidationError, ServiceError) as error:
        return _refused(refusal(error, body, plan_or_portions_from, scope))
    except Exception as error:  # a defect that one request meets is no reason to lose the answers to all the others
        _log.error("a request of a batch failed", exc_info=error)
        detail = "This is a defect of the service, not of the request. It is logged under the request id."
        return _refused(problem_document(dict(scope), "internal-error", detail))


def _refused(document: dict[str, Any]) -> BatchResult:
    return BatchResult(int(document["status"]), None, Problem.model_validate(document))


def batch_rows(answer: BatchAnswer) -> list[Row]:
    """One row for each plan or problem, numbered from 1; all have the columns of all."""
    rows: list[Row] = []
    for number, result in enumerate(answer.results, start=1):
        head: Row = {"request": number, "status": result.status, "problem": None}
        if result.plan is None:
            assert result.problem is not None
            rows.append({**head, "problem": result.problem.detail})
        else:
            rows.extend({**head, **row} for row in plan_rows(result.plan))
    return same_columns(rows)
