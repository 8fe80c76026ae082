"""Every worked request of `openapi_examples/` fits its model and is answered as the file says.

`pytest tests/api/test_examples.py --update-examples` rewrites the answers; look at the difference before keeping it.
"""

from __future__ import annotations

import json
from math import isclose
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter

from service.api.answering import Corrected, Plan
from service.api.batch import BatchAnswer
from service.api.requests_bench import BenchTrialRequest
from service.api.requests_blend import BlendBatchRequest, BlendForecastRequest, BlendPlanRequest, TradeOffRequest
from service.api.requests_correction import CorrectionRequest
from service.api.requests_fining import FiningPlanRequest
from service.api.requests_must import MustPlanRequest
from service.api.requests_packaging import PackagingPlanRequest
from service.api.requests_readings import ReadingsRequest
from service.api.requests_stabilising import StabilisingPlanRequest
from service.api.requests_tastings import TastingRequest
from service.planner.answers_blend import BlendForecast
from service.planner.bench_trial.answers import BenchTrial
from service.planner.fining.answers import FiningPlan
from service.planner.interpreting.answers import Interpretation
from service.planner.must.answers import MustPlan
from service.planner.packaging.answers import PackagingPlan
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.tasting.answers import Tasting
from service.planner.trade_off.answers import TradeOff
from tests.api.real import EXAMPLES, PATHS, all_examples, app, patient, worked

MODELS: dict[str, tuple[type[BaseModel], Any]] = {
    "solve_blend": (BlendPlanRequest, Plan),
    "solve_blends": (BlendBatchRequest, BatchAnswer),
    "trade_off": (TradeOffRequest, TradeOff),
    "forecast_blend": (BlendForecastRequest, BlendForecast),
    "plan_must": (MustPlanRequest, MustPlan),
    "interpret_readings": (ReadingsRequest, Interpretation),
    "plan_stabilising": (StabilisingPlanRequest, StabilisingPlan),
    "plan_fining": (FiningPlanRequest, FiningPlan),
    "plan_packaging": (PackagingPlanRequest, PackagingPlan),
    "correct_blend": (CorrectionRequest, Corrected),
    "judge_tasting": (TastingRequest, Tasting),
    "scale_bench_trial": (BenchTrialRequest, BenchTrial),
}
FILES = sorted(EXAMPLES.glob("*/*.json"))
OF_THE_RUN = {"milliseconds", "model_version", "data_version", "request_id"}
"""Fields that differ between runs or releases without the answer being another."""

_LEAST = 1e-9


def differences(found: Any, expected: Any, rel_tol: float, where: str = "") -> list[str]:
    """Places at which an answer is not the one of the file."""
    if isinstance(found, dict) and isinstance(expected, dict):
        missing = [f"{where}/{key}: in one only" for key in sorted(found.keys() ^ expected.keys())]
        common = [key for key in found if key in expected and key not in OF_THE_RUN]
        return missing + [d for k in common for d in differences(found[k], expected[k], rel_tol, f"{where}/{k}")]
    if isinstance(found, list) and isinstance(expected, list) and len(found) == len(expected):
        pairs = enumerate(zip(found, expected, strict=True))
        return [d for i, (a, b) in pairs for d in differences(a, b, rel_tol, f"{where}/{i}")]
    numbers = isinstance(found, int | float) and isinstance(expected, int | float)
    if numbers and not isinstance(found, bool) and not isinstance(expected, bool):
        close = isclose(found, expected, rel_tol=rel_tol, abs_tol=_LEAST)
        return [] if close else [f"{where}: {found} instead of {expected}"]
    return [] if found == expected else [f"{where}: {found!r} instead of {expected!r}"]


def test_every_folder_is_an_operation_with_a_success_and_a_refusal() -> None:
    folders = {path.name for path in EXAMPLES.iterdir()}
    assert folders == set(PATHS) == set(MODELS)
    for name in folders:
        assert {worked(path)["response"]["status"] for path in all_examples(name)} == {200, 422}, name
    assert {path.suffix for path in EXAMPLES.rglob("*") if path.is_file()} == {".json"}


def test_every_folder_is_an_operation_of_the_document() -> None:
    paths = app().get("/v1/openapi.json").json()["paths"]
    known = {operation["operationId"] for path in paths.values() for operation in path.values()}
    assert {path.name for path in EXAMPLES.iterdir()} <= known


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_an_example_is_answered_as_it_says(path: Path, request: pytest.FixtureRequest) -> None:
    example = worked(path)
    assert list(example) == ["summary", "description", "request", "response"]
    asked, expected = example["request"], example["response"]
    response = patient().post(PATHS[path.parent.name], json=asked)
    different = differences(response.json(), expected["body"], expected["rel_tol"])
    if request.config.getoption("--update-examples"):
        if different or response.status_code != expected["status"]:
            example["response"] = {**expected, "status": response.status_code, "body": response.json()}
            path.write_text(json.dumps(example, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
        return
    assert response.status_code == expected["status"], response.text
    assert different == []
    rows = patient().post(f"{PATHS[path.parent.name]}.csv", json=asked)
    assert rows.status_code == expected["status"]
    if expected["status"] == 200:
        model, answer = MODELS[path.parent.name]
        model.model_validate(asked)
        TypeAdapter[Any](answer).validate_python(response.json())
        if "requests" not in asked:
            assert asked["note"] == response.json()["note"]
        assert len(rows.text.splitlines()) > 1


def test_a_difference_is_seen() -> None:
    body = {"a": [1.0, {"b": "x"}], "milliseconds": 3.0}
    assert differences(body, {"a": [1.0 + 1e-9, {"b": "x"}], "milliseconds": 9.0}, 1e-6) == []
    assert differences(body, {"a": [1.001, {"b": "y"}], "milliseconds": 3.0}, 1e-6) == [
        "/a/0: 1.0 instead of 1.001",
        "/a/1/b: 'x' instead of 'y'",
    ]
    assert differences(body, {"a": [1.0]}, 1e-6) != []
