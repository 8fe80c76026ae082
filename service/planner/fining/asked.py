"""What a maker asks about fining, in base units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from service.catalogue.fining import AgentName, HazeKind
from service.planner.asked import Circumstances
from service.planner.drink import Drink

Haze = Literal["keep", "clear"]
Avoided = Literal["egg", "milk", "fish", "shellfish", "animal"]
MarketName = Literal["us", "eu", "none"]


@dataclass(frozen=True, slots=True)
class Observations:
    """What simple tests of a glass showed; None where one was not done."""

    clears_when_warm: bool | None = None
    spirit_test_strings: bool | None = None
    cloudy_with_yeast: bool | None = None


@dataclass(frozen=True, slots=True)
class FiningAsked:
    """A drink, what its haze is to become, and what may go in.

    `agents` are those that may be used, None for all; `avoid` what nobody may find in the glass. `problem` is what the
    haze is known to be, None where it is not known; `sent` the body of the request, from which the next ones are made.
    """

    drink: Drink
    haze: Haze
    agents: tuple[AgentName, ...] | None = None
    avoid: tuple[Avoided, ...] = ()
    market: MarketName | None = None
    problem: HazeKind | None = None
    observations: Observations = Observations()
    water_calcium_mg_per_l: float | None = None
    pectinase_used: bool | None = None
    colour_wanted: bool = False
    sent: Mapping[str, Any] = field(default_factory=dict)
    circumstances: Circumstances = field(default_factory=Circumstances)
