"""Body of the fining request: shapes only. What its texts mean is read by `service.api.reading_fining`."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.api.numbers import NonNegativeNumber, RequestModel
from service.api.requests_drink import OfADrink
from service.catalogue.fining import AgentName

HazeIn = Literal["keep", "clear"]
AvoidIn = Literal["egg", "milk", "fish", "shellfish", "animal"]
ProblemIn = Literal["yeast", "pulp", "pectin", "protein", "tannin", "unknown"]
MarketIn = Literal["us", "eu", "none"]


class ObservationsIn(RequestModel):
    """What simple tests of a glass showed; leave out what was not done."""

    clears_when_warm: bool | None = Field(
        None, strict=True, description="Whether a hazy, cold glass clears when it is warmed: a chill haze."
    )
    spirit_test_strings: bool | None = Field(
        None, strict=True, description="Whether one part in three to four parts of 95 % spirit makes strings: pectin."
    )
    cloudy_with_yeast: bool | None = Field(
        None, strict=True, description="Whether a glass in the cold makes a creamy, even layer that swirls up: yeast."
    )


class FiningPlanRequest(OfADrink):
    """Clear a drink, or keep its haze."""

    haze: HazeIn = Field("clear", description="What it is to become; default to clear it.")
    agents: list[AgentName] | None = Field(
        None, min_length=1, max_length=20, description="Agents that may be used; default all of them."
    )
    avoid: list[AvoidIn] = Field(
        default_factory=list,
        max_length=10,
        description="What nobody may find in the glass: an allergen, or everything of animals.",
    )
    market: MarketIn | None = Field(
        None, description="Whose list; default none: that of the United States stands as a guide."
    )
    problem: ProblemIn | None = Field(None, description="What the haze is, where it is known.")
    observations: ObservationsIn = Field(
        ObservationsIn(), description="What simple tests of a glass showed; default none was done."
    )
    water_calcium_mg_per_l: NonNegativeNumber | None = Field(
        None, le=1000, description="Calcium of the water that the drink was made with, by its report."
    )
    pectinase_used: bool | None = Field(
        None, strict=True, description="Whether a pectinase went in, in the must or later."
    )
    colour_wanted: bool = Field(False, strict=True, description="Whether the drink is to be coloured.")
