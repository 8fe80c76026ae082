"""The cell question about packaging: how many containers a volume fills after its losses."""

from __future__ import annotations

from typing import Any, Final

from pydantic import Field

from service.api.cell_pressure import hurdles_from
from service.api.cell_queries import CellQuery
from service.api.numbers import QueryInteger, QueryNumber, ShortText
from service.api.question import Question
from service.api.reading_packaging import packaging_from
from service.api.requests_packaging import KindIn, PackagingPlanRequest
from service.errors import InputError, StopError
from service.planner.cautions import sorted_once
from service.planner.packaging.closed import CLOSING_NOT_JUDGED
from service.planner.packaging.plan import plan_packaging
from service.planner.single import Answer

_ABOUT: Final = "how many there may be, by the error of the volume"
_NAME_IN_URL: Final = {
    "racking": "racking_percent",
    "settling": "settling_percent",
    "headspace": "headspace_percent",
    "kind": "container",
    "storage_temperature": "temperature",
}


class FillCount(CellQuery):
    """How many containers of one size does a volume fill, after losses?"""

    volume: ShortText = Field(description="Of the blend, such as 25L or 5gal; with its error 25L±0.5L.")
    fill: ShortText = Field(description="Drink in each container, such as 330mL or 12floz.")
    reserve: ShortText | None = Field(None, description="Kept back, such as 250mL; default none.")
    racking_percent: QueryNumber | None = Field(
        None, ge=0, le=90, description="Left in one transfer of it [%]; default none. Lees are not of a blend."
    )
    settling_percent: QueryNumber | None = Field(
        None, ge=0, le=90, description="Settled layer, as in a jar test [%]; default none."
    )
    dead_volume: ShortText | None = Field(None, description="What stays in pipes and vessels, such as 0.3L.")
    samples: ShortText | None = Field(None, description="What is drawn to measure, such as 200mL.")
    volume_error_percent: QueryNumber | None = Field(
        None, ge=0, lt=50, description="Standard deviation of the volume [%], for bounds; default 2."
    )
    container: KindIn = Field("bottle", description="Kind of container, where closing is judged too.")
    abv_percent: QueryNumber | None = Field(
        None, ge=0, le=100, description="Strength [% vol]; with the sugar it is judged whether to close them."
    )
    sugar_g_per_l: QueryNumber | None = Field(None, ge=0, le=1000, description="Sugar that yeast can use [g/L].")
    ph: QueryNumber | None = Field(None, gt=0, lt=14, description="Needed where sulfite and sorbate are to hold it.")
    temperature: ShortText | None = Field(None, description="The warmest it will see, such as 25C; default 30C.")
    hurdles: ShortText | None = Field(
        None, description="With commas: sulfite, sorbate, pasteurised, sterile_filtered, cold."
    )
    fermentation_finished: QueryInteger | None = Field(
        None, ge=0, le=1, description="1 if two equal gravities days apart showed it."
    )


_OF_CLOSING: Final = ("ph", "temperature", "hurdles", "fermentation_finished")


def _request(query: FillCount) -> PackagingPlanRequest:
    judged = query.abv_percent is not None and query.sugar_g_per_l is not None
    losses: dict[str, Any] = {
        name: None if value is None else f"{value:g} %"
        for name, value in (
            ("racking", query.racking_percent),
            ("settling", query.settling_percent),
        )
    }
    losses |= {"dead_volume": query.dead_volume, "samples": query.samples}
    losses = {name: value for name, value in losses.items() if value is not None}
    sugar = query.sugar_g_per_l or 0.0
    body: dict[str, Any] = {
        "drink": {
            "volume": query.volume,
            "abv_percent": query.abv_percent if judged else {"value": 0.0},
            "sugar_g_per_l": sugar,
            "fermentable_sugar_g_per_l": sugar,
        },
        "containers": [{"kind": query.container, "fill": query.fill}],
        "only": ["fills", "pressure"] if judged else ["fills"],
    }
    if query.reserve is not None:
        body["reserve"] = query.reserve
    if losses:
        body["losses"] = losses
    if query.volume_error_percent is not None:
        body["instruments"] = {"volume": {"error": f"{query.volume_error_percent:g} %"}}
    if judged:
        if query.ph is not None:
            body["drink"]["ph"] = query.ph
        if query.temperature is not None:
            body["storage_temperature"] = query.temperature
        if query.hurdles is not None:
            body["intended"] = {"hurdles": list(hurdles_from(query.hurdles))}
        if query.fermentation_finished is not None:
            body["refermentation"] = {"fermentation_finished": bool(query.fermentation_finished)}
    return PackagingPlanRequest.model_validate(body)


def _fill_count(query: FillCount) -> Answer:
    if (query.abv_percent is None) is not (query.sugar_g_per_l is None):
        missing = "abv_percent" if query.abv_percent is None else "sugar_g_per_l"
        raise InputError("Give strength and sugar both to have closing judged, or none of them.", f"/{missing}")
    if query.abv_percent is None:
        for name in _OF_CLOSING:
            if getattr(query, name) is not None:
                raise InputError("It belongs to closing: give abv_percent and sugar_g_per_l too.", f"/{name}")
    plan = plan_packaging(packaging_from(_request(query)))
    for caution in plan.cautions:
        if caution.level == "stop":
            raise StopError(caution.text, "/sugar_g_per_l")
    fill = plan.fills[0]
    number, low, high = fill.count, fill.count_low, fill.count_high
    assert number is not None  # as many as the volume fills
    assert low is not None
    assert high is not None
    told = plan.cautions if query.abv_percent is not None else sorted_once([*plan.cautions, CLOSING_NOT_JUDGED])
    return Answer(
        float(number),
        f"{fill.text} {plan.left_over_l:.3g} L left over. {plan.needed_text}",
        told,
        plan.assumed,
        float(low),
        float(high),
        "containers",
    )


PACKAGING_QUESTIONS: tuple[Question, ...] = (
    Question(
        "fill-count",
        FillCount,
        _fill_count,
        "volume=25L&fill=330mL&settling_percent=10&reserve=250mL",
        "volume",
        _ABOUT,
        inner=_NAME_IN_URL,
    ),
)
"""For the list of all cell questions."""
