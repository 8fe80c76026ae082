"""What a trade-off answers: plain records that the HTTP edge, the pictures and the command line all write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Amount, Caution, NextReading, Predicted, Proof, SourceCited
from service.planner.answers_decisions import Clash
from service.planner.work import NextCall

Mark = Literal["low_end", "high_end", "best", "knee"]
Wish = Literal["most", "least", "each_level", "shown"]


@dataclass(frozen=True, slots=True)
class Axis:
    """One of the two properties that are traded, or the third that is shown along the curve."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    unit: str
    """Its unit; empty for a ratio."""
    meaning: str
    """What it is, in words."""
    wish: Wish
    """`most` or `least` of it is sought at every level of the other; `each_level` is the other; `shown` is a third."""


@dataclass(frozen=True, slots=True)
class TradePoint:
    """One point of the curve: a full plan."""

    __pydantic_config__ = SHOWN

    x: float
    """Level of the first property."""
    x_low: float | None
    """Lower end of the 90 % interval of `x`: what the drink may turn out to have."""
    x_high: float | None
    """Upper end."""
    y: float
    """Best of the second at this level."""
    y_low: float | None
    """Lower end of the 90 % interval of `y`: what the drink may turn out to have."""
    y_high: float | None
    """Upper end."""
    also: float | None
    """The third property, if one was asked for."""
    also_low: float | None
    """Lower end of the 90 % interval of `also`."""
    also_high: float | None
    """Upper end."""
    steps_from_previous: float | None
    """Distance from the point before, in just-noticeable steps of sweetness, acidity, strength and fruit together."""
    marks: tuple[Mark, ...]
    """What is special about it."""
    proof: Proof
    """What is proved about it."""
    stops: tuple[str, ...]
    """What forbids going on with this very point as it stands."""
    amounts: tuple[Amount, ...]
    """How much of each lot and addition."""
    predicted: Predicted
    """The drink, from these very amounts."""


@dataclass(frozen=True, slots=True)
class Breakpoint:
    """A level where another mix of ingredients takes over."""

    __pydantic_config__ = SHOWN

    x: float
    """Level of the first property."""
    y: float
    """Best of the second there."""
    text: str
    """What changes from here on, towards more of the first property."""


@dataclass(frozen=True, slots=True)
class End:
    """Where the curve ends, and what holds it there."""

    __pydantic_config__ = SHOWN

    side: Literal["low", "high"]
    """Least or most of the first property."""
    x: float
    """Its level."""
    y: float
    """Best of the second there."""
    text: str
    """Why it goes no further."""


@dataclass(frozen=True, slots=True)
class TradeOff:
    """The answer to `trade_off`."""

    __pydantic_config__ = SHOWN

    outcome: Literal["curve", "one_point", "targets_clash", "no_plan_found"]
    """`curve`; `one_point` where the targets leave no choice; or what kept every point from being found."""
    summary: str
    """The curve in a few sentences."""
    x: Axis
    """The property whose level is chosen."""
    y: Axis
    """The property whose best is sought."""
    also: Axis | None
    """A third property, shown along the curve."""
    points: tuple[TradePoint, ...]
    """From the least to the most of the first property."""
    breakpoints: tuple[Breakpoint, ...]
    """Where another mix takes over."""
    knee: int | None
    """Index of the point where the curve bends most; null where it does not bend."""
    best: int | None
    """Index of the point with the best of the second property."""
    ends: tuple[End, ...]
    """Both ends."""
    clash: Clash | None
    """Why the targets cannot be met, where they cannot."""
    notes: tuple[str, ...]
    """What the figures are and are not."""
    next: dict[str, NextCall]
    """The plan of the point where the curve bends most, or else of the best, as a request of `solve_blend`."""
    currency: str | None
    """As asked."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and the reading that would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    next_reading: tuple[NextReading, ...]
    """What to measure before choosing a point."""
    sources: tuple[SourceCited, ...]
    """Documents behind the answer."""
    model_version: str
    """Release whose equations answered."""
    data_version: str
    """Version of the catalogue."""
    batch: str | None
    """Echo."""
    date: str | None
    """Echo."""
    note: str | None
    """Echo."""
