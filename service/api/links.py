"""Which question can follow which, for the OpenAPI document: links that a generated client or a tester can walk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

__all__ = ["FOLLOWERS", "link_answers"]

_OF_A_DRINK: Final = ("correct_blend", "plan_fining", "plan_stabilising", "plan_packaging")
FOLLOWERS: Final[Mapping[str, tuple[str, ...]]] = {
    "solve_blend": _OF_A_DRINK,
    "solve_blends": _OF_A_DRINK,
    "forecast_blend": _OF_A_DRINK,
    "trade_off": ("solve_blend",),
    "correct_blend": _OF_A_DRINK,
    "scale_bench_trial": (*_OF_A_DRINK, "forecast_blend"),
    "judge_tasting": ("judge_tasting", "scale_bench_trial", "solve_blend"),
    "plan_must": ("interpret_readings", "plan_stabilising", "solve_blend"),
    "interpret_readings": ("interpret_readings", "plan_stabilising", "solve_blend", "correct_blend"),
    "plan_stabilising": ("plan_stabilising", "plan_packaging"),
    "plan_fining": ("plan_stabilising", "plan_packaging", "scale_bench_trial"),
    "plan_packaging": ("plan_packaging", "plan_stabilising", "interpret_readings"),
}
"""The operations that an answer's `next` can name, by the operation that gave it."""

_PLACES: Final = {"solve_blends": "/results/0/plan/next"}
"""Where `next` stands, if not at the top."""


def link_answers(document: dict[str, Any]) -> None:
    """Link the answers of the document to the questions that can follow (OpenAPI 3.1, Link Object).

    Parameters: document, changed in place.
    """
    for operations in document["paths"].values():
        for operation in operations.values():
            links = _links(operation["operationId"])
            if links:
                operation["responses"]["200"]["links"] = links


def _links(operation_id: str) -> dict[str, Any]:
    if operation_id == "list_ingredients":
        told = {"parameters": {"id": "$response.body#/ingredients/0/id"}, "description": "An ingredient in full."}
        return {"get_ingredient": {"operationId": "get_ingredient", **told}}
    place = _PLACES.get(operation_id, "/next")
    return {
        follower: {
            "operationId": follower,
            "requestBody": f"$response.body#{place}/{follower}/request",
            "description": "The request handed on, where the answer has it: put in what was read, then send it.",
        }
        for follower in FOLLOWERS.get(operation_id, ())
    }
