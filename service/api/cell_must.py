"""The cell question about a must: how much honey."""

from __future__ import annotations

from typing import Final

from pydantic import Field

from service.api.cell_queries import CellQuery, MassUnit
from service.api.numbers import QueryNumber, ShortText
from service.api.question import Question
from service.api.reading_must import must_from
from service.api.requests_must import MustPlanRequest, VolumeMeaning
from service.errors import InputError
from service.planner.must.plan import plan_must
from service.planner.plain_words import plain_figure
from service.planner.single import Answer
from service.quantities.units import UNIT_BY_SPELLING

_DEADLINE_S: Final = 2.0
_MOISTURE: Final = "No interval is told here: the water in the honey leaves it open. Vary moisture_percent."


class HoneyForMust(CellQuery):
    """How much honey brings water to the original gravity of a must?"""

    original_gravity: QueryNumber = Field(description="SG 20/20 wanted, such as 1.048.")
    volume: ShortText = Field(description="Such as 20L or 5gal.")
    volume_is: VolumeMeaning = Field(description="final: of the must; water_added: of the water. Never guessed.")
    ingredient: ShortText = Field("honey_average", description="Another honey or sugar of the catalogue.")
    moisture_percent: QueryNumber | None = Field(None, gt=0, lt=100, description="Measured on the honey.")
    water: ShortText | None = Field(None, description="water_deionised (default) or water_tap.")
    unit: MassUnit = Field("g", description="Unit of the mass answered.")


def _honey(query: HoneyForMust) -> Answer:
    measured = None if query.moisture_percent is None else {"moisture_percent": query.moisture_percent}
    given = MustPlanRequest.model_validate(
        {
            "sources": [{"ingredient": query.ingredient, "measured": measured}],
            "water": query.water,
            "original_gravity": query.original_gravity,
            "volume": query.volume,
            "volume_is": query.volume_is,
        }
    )
    plan = plan_must(must_from(given, _DEADLINE_S))
    if plan.outcome != "targets_met":
        raise InputError(plan.summary, "/original_gravity")
    honey = next(amount for amount in plan.amounts if not amount.name.startswith("water_"))
    value = honey.mass_g / UNIT_BY_SPELLING[query.unit.lower()].factor
    ferment, predicted = plan.ferment, plan.predicted
    return Answer(
        value,
        f"{plain_figure(value)} {query.unit} of {honey.name} make "
        f"{plain_figure(predicted.volume.value)} L of must of "
        f"{predicted.gravity.value:.4f}, {predicted.brix.value:.1f} °Bx. {ferment.text}",
        plan.cautions,
        plan.assumed,
        unit=query.unit,
    )


MUST_QUESTIONS: tuple[Question, ...] = (
    Question(
        "honey-for-must",
        HoneyForMust,
        _honey,
        "original_gravity=1.048&volume=20L&volume_is=final&unit=kg",
        "original_gravity",
        no_interval=_MOISTURE,
    ),
)
"""For the list of all cell questions."""
