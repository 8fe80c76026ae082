"""The application as it is served, one request at a time: what the tests of the questions ask."""

from __future__ import annotations

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

from starlette.testclient import TestClient

from service.api.main import build_app
from service.api.settings import Settings

EXAMPLES = Path(__file__).parents[2] / "openapi_examples"
PATHS = {
    "solve_blend": "/v1/blend-plans",
    "solve_blends": "/v1/blend-plans:batch",
    "forecast_blend": "/v1/blend-forecasts",
    "trade_off": "/v1/trade-offs",
    "correct_blend": "/v1/corrections",
    "plan_must": "/v1/must-plans",
    "interpret_readings": "/v1/readings",
    "plan_stabilising": "/v1/stabilising-plans",
    "plan_fining": "/v1/fining-plans",
    "plan_packaging": "/v1/packaging-plans",
    "judge_tasting": "/v1/tastings",
    "scale_bench_trial": "/v1/bench-trials",
}

BASE: dict[str, Any] = {
    "lots": [
        {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0, "titratable_acidity": "5 g/L tartaric"}
    ],
    "additions": [{"ingredient": "honey_acacia", "max": "2 kg"}],
    "targets": {"gravity": 1.012},
}
"""A small request that is answered; tests change one thing in it."""


@cache
def app() -> TestClient:
    """A client of the whole application."""
    return TestClient(build_app(Settings()))


@cache
def patient() -> TestClient:
    """The same with time enough on a busy machine, where an answer must not depend on what time allows."""
    return TestClient(build_app(Settings(deadline_s=10.0)))


def post(path: str, body: Any, status: int = 200, client: TestClient | None = None) -> dict[str, Any]:
    """The JSON that a body is answered with, and its status checked."""
    response = (client or app()).post(path, json=body)
    assert response.status_code == status, response.text
    answer: dict[str, Any] = response.json()
    return answer


def plan(body: Any) -> dict[str, Any]:
    """The answer of `solve_blend`."""
    return post(PATHS["solve_blend"], body)


def forecast(body: Any) -> dict[str, Any]:
    """The answer of `forecast_blend`."""
    return post(PATHS["forecast_blend"], body)


def stabilise(body: Any) -> dict[str, Any]:
    """The answer of `plan_stabilising`."""
    return post(PATHS["plan_stabilising"], body)


def taste(body: Any) -> dict[str, Any]:
    """The answer of `judge_tasting`."""
    return post(PATHS["judge_tasting"], body)


def changed(*path: str | int, to: Any = None, body: Any = None) -> dict[str, Any]:
    """The base request with one place set to a value, or taken out."""
    result: dict[str, Any] = copy.deepcopy(BASE if body is None else body)
    here: Any = result
    for part in path[:-1]:
        here = here.setdefault(part, {}) if isinstance(here, dict) else here[part]
    if to is None:
        del here[path[-1]]
    else:
        here[path[-1]] = to
    return result


def amounts(answer: dict[str, Any]) -> dict[str, float]:
    """Mass [g] of every material by name."""
    return {a["name"]: a["mass_g"] for a in answer["amounts"]}


def reports(answer: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The report of every target by property."""
    return {t["property"]: t for t in answer["targets"]}


def codes(answer: dict[str, Any]) -> dict[str, str]:
    """Level of every caution by code."""
    return {c["code"]: c["level"] for c in answer["cautions"]}


def examples(operation_id: str) -> list[Path]:
    """The files of an operation's examples that are answered."""
    return [path for path in all_examples(operation_id) if worked(path)["response"]["status"] == 200]


def all_examples(operation_id: str) -> list[Path]:
    """The files of an operation's examples, refused ones too."""
    return sorted((EXAMPLES / operation_id).glob("*.json"))


def example(operation_id: str, start: str) -> Any:
    """The request of the example whose file name starts so."""
    (path,) = (EXAMPLES / operation_id).glob(f"{start}*.json")
    return worked(path)["request"]


def worked(path: Path) -> dict[str, Any]:
    """A whole example: summary, description, request, response."""
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found
