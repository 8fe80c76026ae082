"""The cell question about sugar left in a drink of known gravity and strength."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.api.cell_queries import GravityQuery
from service.api.cell_readings import NO_CHECK
from service.api.numbers import QueryNumber
from service.api.question import Question
from service.api.reading import TEMPERATURE
from service.errors import InputError, OutOfRangeError
from service.model.lot_class import LotClass
from service.planner.answers import PRACTICE, Caution
from service.planner.interpreting.asked import HydrometerRead, ReadingsAsked
from service.planner.interpreting.strength import strengths_of
from service.planner.interpreting.sugar import sugar_of
from service.planner.single import Answer
from service.quantities import parse_quantity

_MOST_ABV_PERCENT = 25.0
_GRAVITIES = (0.97, 1.2)
_CAUTIONS = (
    Caution(
        "gravity_is_no_sugar_test",
        "note",
        "A gravity is no sugar test: what is no sugar is judged by the drink's class. A reducing-sugar test tells.",
        PRACTICE,
    ),
    NO_CHECK,
)


class SugarFromGravityAndAbv(GravityQuery):
    """Sugar that yeast could still use in a drink of known gravity and strength, in g/L."""

    gravity: QueryNumber = Field(description="SG, such as 1.012.")
    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength, % vol.")
    drink_class: Literal["mead", "grape_wine", "fruit_wine", "cider_perry"] = Field(
        "mead", alias="class", description="What kind of ferment it is."
    )


def _sugar(query: SugarFromGravityAndAbv) -> Answer:
    if not _GRAVITIES[0] <= query.gravity <= _GRAVITIES[1]:
        raise OutOfRangeError(
            f"A drink reads between 0.970 and 1.200, not {query.gravity:g}: read again, as SG.", "/gravity"
        )
    if query.abv_percent > _MOST_ABV_PERCENT:
        raise OutOfRangeError(f"No ferment reaches {query.abv_percent:g} % vol. Was it typed in proof?", "/abv_percent")
    sample = calibrated = None
    if query.sample_temperature is not None:
        sample = parse_quantity(query.sample_temperature, TEMPERATURE, pointer="/sample_temperature").value_base
    if query.calibrated_at is not None:
        calibrated = parse_quantity(query.calibrated_at, TEMPERATURE, pointer="/calibrated_at").value_base
        if sample is None:
            raise InputError("A hydrometer's reading needs the temperature of the sample.", "/sample_temperature")
    read = HydrometerRead(query.gravity, sample, 20.0 if calibrated is None else calibrated)
    asked = ReadingsAsked(read, abv_percent=query.abv_percent, lot_class=LotClass(query.drink_class))
    used = strengths_of(asked, None).used
    assert used is not None
    found = sugar_of(asked, used)
    sugar = found.sugar
    return Answer(
        sugar.value,
        f"About {sugar.value:.0f} g/L of sugar that yeast could use ({sugar.low:.0f} to {sugar.high:.0f}): of "
        f"{used.extract.value:.0f} g/L of extract some is no sugar, judged by the class.",
        _CAUTIONS,
        found.lot.assumed,
        sugar.low,
        sugar.high,
        "g/L",
    )


SUGAR_QUESTIONS: tuple[Question, ...] = (
    Question(
        "sugar-from-gravity-and-abv",
        SugarFromGravityAndAbv,
        _sugar,
        "gravity=1.012&abv_percent=7.2",
        "gravity",
        "what the sugar may be, by the errors of both readings and by what is no sugar",
    ),
)
"""For the list of all cell questions."""
