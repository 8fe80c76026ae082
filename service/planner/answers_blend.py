"""What blend plans and forecasts answer: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import (
    Amount,
    Caution,
    CrossCheck,
    LeastKnown,
    NextReading,
    Predicted,
    Proof,
    SourceCited,
)
from service.planner.answers_decisions import SHOWN, AmountChange, Clash, Marginal, PropertyChange
from service.planner.compare import AgainstReading, Difference
from service.planner.fruit import FruitNeeded
from service.planner.losses import LossReport
from service.planner.work import Appointment, NextCall, WorkStep


@dataclass(frozen=True, slots=True)
class TargetReport:
    """What became of one target: the miss is the distance outside what counts as met, in the property's unit."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property, or `packaged_volume`: what losses leave to fill."""
    asked: str
    """The target in words."""
    reached: float | None
    """What the amounts give, in `unit`; null where it is not defined."""
    unit: str
    """Unit of `reached` and `miss`."""
    miss: float
    """Distance from the value asked for, or outside the range; 0 if it counts as met."""
    met: bool
    """Whether it counts as met; with a confidence, whether the real drink meets it that surely."""
    chance: float | None
    """Chance that the real drink lies in the range, or within half an instrument step of an exact value, 0 to 1."""
    binding: bool
    """Whether it holds the optimum where it is."""
    marginal: str | None
    """What a small change of a binding target takes."""


@dataclass(frozen=True, slots=True)
class Compared:
    """A recipe beside the plan."""

    __pydantic_config__ = SHOWN

    recipe: str
    """Name of the recipe."""
    predicted: Predicted
    """What the recipe gives."""
    differences: tuple[Difference, ...]
    """The plan's drink minus the recipe's."""
    steps_are: str
    """What the figures in just-noticeable steps are, and are not."""


@dataclass(frozen=True, slots=True)
class Overshoot:
    """An end of a target's range that could be overshot, and how likely that is."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    bound: float
    """The end, in `unit`."""
    end: Literal["upper", "lower"]
    """Which end of the range it is."""
    unit: str
    """Unit of `bound`."""
    chance_before: float
    """Chance that it is overshot before anything is added, 0 to 1."""
    chance: float
    """The same after the first addition."""
    chance_at_once: float
    """The same if everything were added at once."""


@dataclass(frozen=True, slots=True)
class Poured:
    """What was poured, as `added` of /v1/corrections takes it: an ingredient or a lot."""

    __pydantic_config__ = SHOWN

    ingredient: str | None
    """Id of the ingredient; null for a lot."""
    lot: str | None
    """Name of the lot; null for an ingredient."""
    amount: str
    """How much, with its unit."""


@dataclass(frozen=True, slots=True)
class FirstAddition:
    """What to add before measuring, so that no target is overshot with more than the chance asked for."""

    __pydantic_config__ = SHOWN

    overshoot_at_most: float
    """The chance asked for, of overshooting any target, 0 to 1."""
    amounts: tuple[Amount, ...]
    """How much of each lot and addition now."""
    held_back: tuple[AmountChange, ...]
    """What the plan adds beyond it: expect to add about this after measuring."""
    predicted: Predicted
    """The drink after the first addition."""
    overshoot: tuple[Overshoot, ...]
    """Each end of a range that additions could carry the drink beyond."""
    added: tuple[Poured, ...]
    """The same amounts as `added` of /v1/corrections takes them."""
    text: str
    """The same in words, and what to measure before the rest."""


@dataclass(frozen=True, slots=True)
class CautionPrice:
    """What it costs to be as sure as was asked: the plan beside the one that only its own figures would ask for."""

    __pydantic_config__ = SHOWN

    chances_without: tuple[ChanceWithout, ...]
    """How sure the other plan would be of each target with a confidence."""
    amounts: tuple[AmountChange, ...]
    """This plan's amounts less the other's, the largest first."""
    changes: tuple[PropertyChange, ...]
    """This plan's drink less the other's: what is preferred, strength, gravity, acidity, volume, cost."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class ChanceWithout:
    """How sure a plan made without regard to chances would be of a target."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    chance: float
    """Chance that the real drink would lie in the range, 0 to 1."""


@dataclass(frozen=True, slots=True)
class BlendPlan:
    """The answer to `solve_blend`."""

    __pydantic_config__ = SHOWN

    outcome: Literal["targets_met", "nearest_measurable", "targets_clash", "no_plan_found"]
    """What became of the targets."""
    proof: Proof
    """What is proved about it."""
    summary: str
    """One sentence about the whole."""
    amounts: tuple[Amount, ...]
    """How much of each lot and addition."""
    predicted: Predicted
    """The drink, from these very amounts."""
    least_known: tuple[LeastKnown, ...]
    """What leaves most of the intervals open: measure it first."""
    targets: tuple[TargetReport, ...]
    """What became of each target."""
    marginals: tuple[Marginal, ...]
    """What a small change of each binding target and stock costs."""
    clash: Clash | None
    """Why the targets cannot all be met, and what would settle it; null where they can."""
    caution_price: CautionPrice | None
    """What the confidence asked for costs; null where none was, or where it costs nothing."""
    first_addition: FirstAddition | None
    """What to add first, where `hold_back` was asked for: the rest after a measurement."""
    compared: tuple[Compared, ...]
    """How the drink differs from each recipe of the request."""
    cross_check: CrossCheck | None
    """A second rule for the extract; null above 20 % vol."""
    losses: LossReport | None
    """What is lost of the blend and what is left to fill; null where no losses were given."""
    fruit: tuple[FruitNeeded, ...]
    """How much whole fruit each pressed juice takes, where its yield is known."""
    steps: tuple[WorkStep, ...]
    """What to do, in order; empty in the plan of a correction, which has its own."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation."""
    currency: str | None
    """As asked."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and the reading that would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    next_reading: tuple[NextReading, ...]
    """What to measure next."""
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


@dataclass(frozen=True, slots=True)
class PortionPlan:
    """One of several drinks made from the same lots and stocks."""

    __pydantic_config__ = SHOWN

    name: str
    """Name of the portion."""
    amounts: tuple[Amount, ...]
    """How much of each lot and addition goes into it."""
    predicted: Predicted
    """The drink, from these very amounts."""
    least_known: tuple[LeastKnown, ...]
    """What leaves most of the intervals open: measure it first."""
    targets: tuple[TargetReport, ...]
    """What became of each of its targets."""
    compared: tuple[Compared, ...]
    """How the drink differs from each recipe of the request."""
    cross_check: CrossCheck | None
    """A second rule for the extract; null above 20 % vol."""


@dataclass(frozen=True, slots=True)
class PortionedPlan:
    """The answer to `solve_blend` where the request splits a batch into portions."""

    __pydantic_config__ = SHOWN

    outcome: Literal["targets_met", "targets_clash", "no_plan_found"]
    """What became of the targets of all portions together."""
    proof: Proof
    """What is proved about it."""
    summary: str
    """One sentence about the whole."""
    portions: tuple[PortionPlan, ...]
    """Each drink, in the order asked."""
    totals: tuple[Amount, ...]
    """How much of each lot and addition all portions take together."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Empty: forecast or package each portion by its own figures."""
    currency: str | None
    """As asked."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and the reading that would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    next_reading: tuple[NextReading, ...]
    """What to measure next."""
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


@dataclass(frozen=True, slots=True)
class RecipeForecast:
    """What one recipe will be."""

    __pydantic_config__ = SHOWN

    name: str
    """Name of the recipe."""
    amounts: tuple[Amount, ...]
    """Its amounts."""
    predicted: Predicted
    """What it will be."""
    least_known: tuple[LeastKnown, ...]
    """What leaves most of the intervals open: measure it first."""
    cross_check: CrossCheck | None
    """A second rule for the extract; null above 20 % vol."""
    fruit: tuple[FruitNeeded, ...]
    """How much whole fruit each pressed juice takes, where its yield is known."""
    scaled_by: float
    """What all given amounts were multiplied by; 1 unless `scale_to` asked for another volume."""
    differences: tuple[Difference, ...]
    """How it differs from the first recipe; empty for the first."""
    against_readings: tuple[AgainstReading, ...]
    """Its readings beside the prediction, where `measured` was given."""


@dataclass(frozen=True, slots=True)
class BlendForecast:
    """The answer to `forecast_blend`."""

    __pydantic_config__ = SHOWN

    recipes: tuple[RecipeForecast, ...]
    """In the order asked."""
    steps_are: str
    """What the figures in just-noticeable steps are, and are not."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation; of several recipes the first one's."""
    currency: str | None
    """As asked."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and the reading that would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    next_reading: tuple[NextReading, ...]
    """What to measure next."""
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
