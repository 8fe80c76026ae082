"""A blend request of any kind as a plain body answered by a status and a plain body.

One path for batches and for the command line: validated, read, solved and written as over HTTP.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from pydantic import BaseModel, TypeAdapter, ValidationError

from service.api.problems import problem_document, problem_from_error
from service.api.reading_bench import bench_from
from service.api.reading_blend import forecast_from, plan_or_portions_from, trade_from
from service.api.reading_correction import correction_from
from service.api.reading_fining import fining_from
from service.api.reading_instruments import readings_from
from service.api.reading_must import must_from
from service.api.reading_packaging import packaging_from
from service.api.reading_stabilising import stabilising_from
from service.api.reading_tastings import tasting_from
from service.api.reading_undo import no_fault_no_fields, undo_from
from service.api.requests_bench import BenchTrialRequest
from service.api.requests_blend import BlendForecastRequest, BlendPlanRequest, TradeOffRequest
from service.api.requests_correction import CorrectionRequest
from service.api.requests_fining import FiningPlanRequest
from service.api.requests_must import MustPlanRequest
from service.api.requests_packaging import PackagingPlanRequest
from service.api.requests_readings import ReadingsRequest
from service.api.requests_stabilising import StabilisingPlanRequest
from service.api.requests_tastings import TastingRequest
from service.api.settings import Settings
from service.api.validation import faults_from_validation
from service.errors import ServiceError, SolverError
from service.planner.answers_blend import BlendForecast, BlendPlan, PortionedPlan
from service.planner.asked import PortionsAsked
from service.planner.bench_trial.answers import BenchTrial
from service.planner.bench_trial.plan import scale_bench_trial
from service.planner.blend_forecast import forecast_blend
from service.planner.blend_plan import solve_blend
from service.planner.correction.answers import Correction
from service.planner.correction.correct import correct_blend
from service.planner.fining.answers import FiningPlan
from service.planner.fining.plan import plan_fining
from service.planner.interpreting.answers import Interpretation
from service.planner.interpreting.interpret import interpret_readings
from service.planner.must.answers import MustPlan
from service.planner.must.plan import plan_must
from service.planner.packaging.answers import PackagingPlan
from service.planner.packaging.plan import plan_packaging
from service.planner.portions import solve_blend_portions
from service.planner.progress import Progress
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.stabilising.plan import plan_stabilising
from service.planner.tasting.answers import Tasting
from service.planner.tasting.judge import judge_tasting
from service.planner.trade_off.answers import TradeOff
from service.planner.trade_off.plan import trade_off
from service.planner.undo.answers import Undo
from service.planner.undo.undo import undo

Plan = BlendPlan | PortionedPlan
Corrected = Correction | Undo
_log = logging.getLogger("service.errors")


def planned(request: BlendPlanRequest, deadline_s: float) -> Plan:
    """The plan for a request, of one drink or of several portions."""
    asked = plan_or_portions_from(request, deadline_s)
    return solve_blend_portions(asked) if isinstance(asked, PortionsAsked) else solve_blend(asked)


def corrected(request: CorrectionRequest, deadline_s: float) -> Corrected:
    """The correction for a request, or the undo table where it names a fault."""
    if request.fault is not None:
        return undo(undo_from(request, deadline_s))
    no_fault_no_fields(request)
    return correct_blend(correction_from(request, deadline_s))


@dataclass(frozen=True, slots=True)
class Operation:
    """An operation by its request, its answer, and what leads from one to the other within a time [s].

    `told` does the same and tells how far it is, where that may take long.
    """

    request: type[BaseModel]
    answer: Any
    run: Callable[[Any, float], Any]
    reads: Callable[..., Any]
    told: Callable[[Any, float, Progress], Any] | None = None


OPERATIONS: Final[Mapping[str, Operation]] = {
    "solve_blend": Operation(BlendPlanRequest, Plan, planned, plan_or_portions_from),
    "forecast_blend": Operation(
        BlendForecastRequest, BlendForecast, lambda r, _: forecast_blend(forecast_from(r)), forecast_from
    ),
    "trade_off": Operation(
        TradeOffRequest,
        TradeOff,
        lambda r, s: trade_off(trade_from(r, s)),
        trade_from,
        lambda r, s, progress: trade_off(trade_from(r, s), progress),
    ),
    "correct_blend": Operation(CorrectionRequest, Corrected, corrected, correction_from),
    "plan_must": Operation(MustPlanRequest, MustPlan, lambda r, s: plan_must(must_from(r, s)), must_from),
    "interpret_readings": Operation(
        ReadingsRequest, Interpretation, lambda r, _: interpret_readings(readings_from(r)), readings_from
    ),
    "plan_stabilising": Operation(
        StabilisingPlanRequest, StabilisingPlan, lambda r, _: plan_stabilising(stabilising_from(r)), stabilising_from
    ),
    "plan_fining": Operation(FiningPlanRequest, FiningPlan, lambda r, _: plan_fining(fining_from(r)), fining_from),
    "plan_packaging": Operation(
        PackagingPlanRequest, PackagingPlan, lambda r, _: plan_packaging(packaging_from(r)), packaging_from
    ),
    "judge_tasting": Operation(TastingRequest, Tasting, lambda r, _: judge_tasting(tasting_from(r)), tasting_from),
    "scale_bench_trial": Operation(
        BenchTrialRequest, BenchTrial, lambda r, s: scale_bench_trial(bench_from(r, s)), bench_from
    ),
}
"""By operation id."""


@cache
def writer(operation: str) -> TypeAdapter[Any]:
    """What writes the answers of an operation as plain values."""
    return TypeAdapter(OPERATIONS[operation].answer)


def answer_body(
    operation: str, body: Any, settings: Settings, path: str, progress: Progress | None = None
) -> tuple[int, dict[str, Any]]:
    """The status and body that the service answers to a request's body.

    Parameters: operation, of OPERATIONS; body, as parsed from JSON; settings, whose deadline bounds a solve; path,
    named in a problem as its instance; progress, told how far long work is.
    Returns: HTTP status and the answer or problem document.
    """
    chosen = OPERATIONS[operation]
    try:
        request = chosen.request.model_validate(body)
        if progress is None or chosen.told is None:
            answer = chosen.run(request, settings.deadline_s)
        else:
            answer = chosen.told(request, settings.deadline_s, progress)
        return 200, writer(operation).dump_python(answer, mode="json")
    except (ValidationError, ServiceError) as error:
        document = refusal(error, body, chosen.reads, {"path": path, "state": {}})
        return int(document["status"]), document


def refusal(
    error: ValidationError | ServiceError, body: Any, reads: Callable[..., Any], scope: Mapping[str, Any]
) -> dict[str, Any]:
    """The problem document that a body alone would have been refused with over HTTP.

    Parameters: error; body, as parsed from JSON; reads, whose annotations tell the fields that exist; scope, with the
    path and the request id.
    Returns: the document; a failure of the optimiser is logged.
    """
    if isinstance(error, ValidationError):
        located = [{**e, "loc": ("body", *e["loc"])} for e in error.errors()]
        _, faults = faults_from_validation(located, body, reads)
        detail = faults[0].detail
        if len(faults) > 1:
            detail = f"{len(faults)} places in the request have to change; see errors."
        return problem_document(dict(scope), "request-invalid", detail, errors=faults)
    if isinstance(error, SolverError):
        _log.error("a request to %s: %s", scope["path"], error.detail, exc_info=error)
    return problem_from_error(dict(scope), error)
