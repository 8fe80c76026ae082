"""Musts that the tests ask about."""

from __future__ import annotations

from typing import Any

from service.api.reading_must import must_from
from service.api.requests_must import MustPlanRequest
from service.planner.must.answers import MustPlan
from service.planner.must.plan import plan_must

DRINK: dict[str, Any] = {
    "additions": [
        {"ingredient": "honey_acacia"},
        {"ingredient": "lemon_juice_fresh", "max": "3 L", "treatment": "pasteurised"},
        {"ingredient": "cherry_tart_juice_concentrate_68", "amount": "700 g"},
    ],
    "targets": {"abv_percent": 6.2, "gravity": 1.012, "titratable_acidity": "7 g/L tartaric"},
    "containers": [{"kind": "bottle", "fill": "330 mL", "count": 60}],
}


def ask(**body: Any) -> MustPlan:
    """The plan for a request."""
    return plan_must(must_from(MustPlanRequest.model_validate(body), 10.0))


def light(**more: Any) -> MustPlan:
    """20 L of a light honey must."""
    return ask(**{"original_gravity": 1.048, "volume": "20 L", "volume_is": "final", **more})


def backwards(drink: dict[str, Any] | None = None, **more: Any) -> MustPlan:
    """A must for a finished drink."""
    return ask(finished={**DRINK, **(drink or {})}, **more)


def grams(amounts: Any) -> dict[str, float]:
    """Mass by name [g]."""
    return {amount.name: amount.mass_g for amount in amounts}


def codes(plan: MustPlan) -> set[str]:
    """Codes of all cautions."""
    return {caution.code for caution in plan.cautions}
