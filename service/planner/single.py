"""Questions with one number for an answer: what a spreadsheet cell asks."""

from __future__ import annotations

from dataclasses import dataclass

from service.errors import InputError
from service.model.lot_class import Assumed
from service.planner.answers import Caution
from service.planner.answers_blend import BlendForecast, BlendPlan
from service.planner.asked import (
    AdditionAsked,
    Circumstances,
    ForecastAsked,
    LotAsked,
    PlanAsked,
    RecipeAsked,
    TargetAsked,
)
from service.planner.blend_forecast import forecast_blend
from service.planner.blend_plan import solve_blend

_AT_THE_VALUE = 2e-5
"""A single number has to hit its target itself, not only the instrument's half step around it (relative)."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One number, a sentence that explains it, and the cautions that go with it."""

    value: float
    sentence: str
    cautions: tuple[Caution, ...] = ()
    assumed: tuple[Assumed, ...] = ()


def amount_for(
    target: TargetAsked, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances
) -> tuple[float, BlendPlan]:
    """The mass of one ingredient that brings a lot to a target [g], and the plan behind it.

    Raises: InputError where no amount of it does, saying what it does reach.
    """
    plan = solve_blend(PlanAsked((lot,), (addition,), (target,), (), "none", circumstances))
    report = plan.targets[0]
    aimed = target.value
    if plan.proof.verdict == "best_found" and any(c.code == "amount_without_limit" for c in plan.cautions):
        raise InputError(f"More {addition.ingredient.id} than a thousand times the lot would be needed.", "/target")
    if (
        plan.outcome != "targets_met"
        or report.reached is None
        or (aimed is not None and abs(report.reached - aimed) > _AT_THE_VALUE * max(1.0, abs(aimed)))
    ):
        nearest = f"the nearest is {report.reached:g}" if report.reached is not None else "none comes near"
        raise InputError(
            f"No amount of {addition.ingredient.id} brings this lot to {target.name} {target.asked}: {nearest}. "
            "Choose another ingredient or another target.",
            "/target",
        )
    return next(a.mass_g for a in plan.amounts if a.kind == "addition"), plan


def property_after(
    name: str, lot: LotAsked, addition: AdditionAsked, circumstances: Circumstances
) -> tuple[float, BlendForecast]:
    """A property of a lot after a given addition, and the forecast behind it."""
    forecast = forecast_blend(ForecastAsked((RecipeAsked("cell", (lot,), (addition,)),), circumstances))
    prediction = getattr(forecast.recipes[0].predicted, name)
    if prediction is None:
        raise InputError(
            f"{name} is not defined for this blend: it holds no acid, or more carbonate than acid.", "/amount"
        )
    return float(prediction.value), forecast
