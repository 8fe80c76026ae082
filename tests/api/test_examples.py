"""Every worked request of `openapi_examples/`: it fits its model, it is answered, and the answer fits its own."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel, TypeAdapter

from service.api.requests import BlendForecastRequest, BlendPlanRequest
from service.planner.answers import BlendForecast, BlendPlan
from tests.api.real import EXAMPLES, PATHS, app, examples, post

MODELS: dict[str, tuple[type[BaseModel], type[Any]]] = {
    "solve_blend": (BlendPlanRequest, BlendPlan),
    "forecast_blend": (BlendForecastRequest, BlendForecast),
}
FILES = sorted(EXAMPLES.glob("*/*.json"))


def test_every_folder_is_an_operation_and_has_examples() -> None:
    folders = {path.name for path in EXAMPLES.iterdir()}
    assert folders == set(PATHS)
    assert all(examples(name) for name in folders)
    assert {path.suffix for path in EXAMPLES.rglob("*") if path.is_file()} == {".json"}


def test_every_folder_is_an_operation_of_the_document() -> None:
    paths = app().get("/v1/openapi.json").json()["paths"]
    known = {operation["operationId"] for path in paths.values() for operation in path.values()}
    assert {path.name for path in EXAMPLES.iterdir()} <= known


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_an_example_is_answered(path: Path) -> None:
    body: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    request, answer = MODELS[path.parent.name]
    request.model_validate(body)
    found = post(PATHS[path.parent.name], body)
    TypeAdapter[Any](answer).validate_python(found)
    assert body["note"]
    assert found["note"] == body["note"]
    rows = app().post(f"{PATHS[path.parent.name]}.csv", json=body)
    assert rows.status_code == 200
    assert len(rows.text.splitlines()) > 1
