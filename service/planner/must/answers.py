"""What a must plan answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import (
    Amount,
    Caution,
    NextReading,
    Predicted,
    Prediction,
    Proof,
    SourceCited,
)
from service.planner.answers_blend import TargetReport
from service.planner.answers_decisions import SHOWN, Clash
from service.planner.must.answers_finished import BaseNeeded, CostPerContainer, FinishedDrink, ShoppingLine
from service.planner.work import Appointment, NextCall, WorkStep

Outcome = Literal["targets_met", "as_given", "nearest_measurable", "targets_clash", "no_plan_found"]


Stage = Literal[
    "end of lag", "a day after the first feed", "two days after the first feed", "before one third of the sugar is gone"
]


@dataclass(frozen=True, slots=True)
class Expected:
    """A figure that is expected, with the least and the most that practice leaves open; no 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """By Balling's balance and the share of the table's row, in `unit`."""
    unit: str
    """Unit of `value`."""
    low: float
    """The least of what practice leaves open."""
    high: float
    """The most."""


@dataclass(frozen=True, slots=True)
class Ferment:
    """Where the must ends when everything that yeast can use has gone."""

    __pydantic_config__ = SHOWN

    fermentable_share: Expected
    """Part of the dry extract that yeast can use [g/g], from the composition of what goes in; of a honey's reducing
    disaccharides 0.5 (0 to 1, judged)."""
    ethanol_yield_g_per_g: Expected
    """Alcohol from a gram of what ferments [g/g]: Balling's factor, 0.46 in practice at the low end."""
    abv_percent: Expected
    """Strength, by volume of the finished drink."""
    abv_per_litre_of_must: Expected
    """The same by volume of the must, as potential alcohol is often told [% vol]."""
    final_gravity: Expected
    """Where the gravity ends; the high end holds 0.002 for glycerol and acids, for which Balling has no place."""
    volume_ratio: float
    """Volume at the end over that of the must, lees included."""
    volume_after_l: float
    """Volume at the end, before any racking [L]."""
    ends_by_itself: bool
    """False where the final gravity that was named lies above the range in which such a must usually ends."""
    sugar_break_gravity: float
    """The gravity at which a third of the sugar is gone."""
    text: str
    """The same in words, with what it does not know."""


@dataclass(frozen=True, slots=True)
class RuleOfThumb:
    """The trade's rule for honey beside the balance of masses."""

    __pydantic_config__ = SHOWN

    text: str
    """The rule, in words."""
    points: float
    """What it reckons, in thousandths of SG above 1.000."""
    gravity: float
    """The same as a gravity."""
    gap_points: float
    """This plan's gravity less the rule's, in thousandths."""
    reason: str
    """Why they differ, where that is more than two points."""


@dataclass(frozen=True, slots=True)
class MoistureEffect:
    """What the water in the honey does to the gravity, at the amounts of the plan."""

    __pydantic_config__ = SHOWN

    honey: str
    """Which honey."""
    moisture_percent: float
    """What is reckoned with [% by mass]."""
    gravity_if_one_more: float
    """The gravity with 1 % more water in it."""
    gravity_if_one_less: float
    """The gravity with 1 % less."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class NutrientDose:
    """How much of one source of nitrogen goes in, over all feeds."""

    __pydantic_config__ = SHOWN

    name: str
    """The source, in the caller's words."""
    nitrogen_percent: float
    """Nitrogen that yeast can use [% by mass]."""
    mass_g: float
    """Mass [g]."""
    amount_text: str
    """What the caller's scale shows."""
    g_per_l: float
    """Per litre of must [g/L]."""
    nitrogen_mg_per_l: float
    """Nitrogen that it brings [mg/L]."""
    phosphate: bool | None
    """Whether it is an ammonium phosphate; null where nothing says so."""
    mark: str
    """Where its share of nitrogen is from."""
    at_limit: bool
    """Whether it would be more, were phosphates not held at their limit."""


@dataclass(frozen=True, slots=True)
class Feed:
    """One portion of one source, at one stage of the ferment."""

    __pydantic_config__ = SHOWN

    stage: Stage
    """When, by what the ferment shows; a strong must is fed twice more between the two."""
    not_below_gravity: float
    """The gravity that must not have been passed: below it a third of the sugar is gone."""
    source: str
    """What to add."""
    mass_g: float
    """Mass [g]."""
    amount_text: str
    """What the caller's scale shows."""
    nitrogen_mg_per_l: float
    """Nitrogen that it brings [mg/L]."""
    how: str
    """How to add it."""


@dataclass(frozen=True, slots=True)
class NutrientLimit:
    """A limit on nutrients, and where this plan stands; check the current text."""

    __pydantic_config__ = SHOWN

    what: str
    """What is limited."""
    limit_g_per_l: float
    """The most [g/L]."""
    ours_g_per_l: float
    """What this plan adds [g/L]."""
    exceeded: bool
    """Whether it is exceeded."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class Nitrogen:
    """What the yeast needs, what is there, and what goes in."""

    __pydantic_config__ = SHOWN

    demand: str
    """Class of the strain, or the caller's own figure."""
    demand_mg_n_per_g: float
    """Nitrogen per gram of fermentable sugar [mg/g]."""
    fermentable_sugar_g_per_l: float
    """Sugar of the must that yeast can use [g/L]."""
    must_yan_mg_n_per_l: float
    """Nitrogen that yeast can take up, in the must already [mg/L]."""
    need_mg_per_l: float
    """What is lacking [mg/L]."""
    need_low_mg_per_l: float
    """The same by the least of the measured optimum, 0.62 mg/g."""
    need_high_mg_per_l: float
    """By the demand of the high class, 1.25 mg/g."""
    need_g: float
    """What is lacking in the whole must [g of nitrogen]."""
    added_mg_per_l: float
    """What the doses bring [mg/L]."""
    short_mg_per_l: float
    """What is still lacking with them [mg/L]; 0 where nothing is."""
    doses: tuple[NutrientDose, ...]
    """The sources, over all feeds; none of phosphates goes beyond their limit unless its amount was given so."""
    limits: tuple[NutrientLimit, ...]
    """Legal limits."""
    excess_mg_per_l: float
    """What is added, or was there, beyond the need [mg/L]; 0 where there is none."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """How much yeast, by two practices that differ, and what its tolerance says."""

    __pydantic_config__ = SHOWN

    cells: float
    """Living cells by brewing practice, 0.75 million per mL and °P."""
    cells_low: float
    """By 0.5 million."""
    cells_high: float
    """By 1 million."""
    viable_cells_per_g: float
    """Living cells in a gram [1/g]."""
    brewing_g: float
    """Dry yeast that holds `cells` [g]."""
    wine_low_g: float
    """Dry yeast by wine practice, 0.2 g/L [g]."""
    wine_high_g: float
    """By 0.25 g/L [g]."""
    amount_text: str
    """What the caller's scale shows: what was given, or the most of wine practice."""
    given_g: float | None
    """What the caller has [g]."""
    million_per_ml_per_plato: float | None
    """What that comes to; null where no grams were given."""
    verdict: Literal["not_given", "below_both", "between_the_two", "as_both_or_more"]
    """Where it stands between the two practices."""
    can_it_finish: Literal["yes_by_the_stated_tolerance", "in_doubt", "no_by_the_stated_tolerance", "unknown"]
    """Whether the tolerance reaches what the must can become, judged by the bad end of its range."""
    tolerance_abv_percent: float | None
    """Tolerance of the yeast, as stated [% vol]."""
    sugar_left_g_per_l: float | None
    """Sugar that such a yeast would leave [g/L]; null where no tolerance was stated."""
    could_still_burn_g_per_l: float | None
    """Sugar that it could still burn in the drink as it ends, were more put in [g/L]; null without a tolerance."""
    text: str
    """The same in words; tolerance is never a protection."""


@dataclass(frozen=True, slots=True)
class MustPlan:
    """The answer to `plan_must`."""

    __pydantic_config__ = SHOWN

    outcome: Outcome
    """What became of what was asked, must and finished drink; `as_given` where every amount was given."""
    proof: Proof
    """What is proved about it."""
    summary: str
    """One sentence about the whole."""
    amounts: tuple[Amount, ...]
    """What goes into the must."""
    original_gravity: Prediction
    """SG 20 °C/20 °C, with its 90 % interval."""
    brix: Prediction
    """Mass per cent of dry extract [°Bx, °P]."""
    predicted: Predicted
    """Every property of the must, before yeast."""
    ferment: Ferment
    """Where it ends."""
    rule_of_thumb: RuleOfThumb | None
    """The trade's rule beside it; null where the sugar is not honey alone."""
    moisture: MoistureEffect | None
    """What the water in the honey does; null without honey."""
    nitrogen: Nitrogen
    """What the yeast needs."""
    feeds: tuple[Feed, ...]
    """Each portion of each source, in order; empty where nothing is lacking. Phosphates that were given beyond their
    limit are left out."""
    yeast: Pitch
    """How much yeast, and what its tolerance says."""
    targets: tuple[TargetReport, ...]
    """What became of the gravity and the volume asked for."""
    clash: Clash | None
    """Why the must cannot be made so; null where it can."""
    base: BaseNeeded | None
    """Of a finished drink: how strong its base has to be, and how much of it; else null."""
    finished: FinishedDrink | None
    """Of a finished drink: what goes into the base, and what comes of it; else null."""
    shopping: tuple[ShoppingLine, ...]
    """Everything to buy, must and blend together."""
    cost: float | None
    """What all with a price costs, whole packs where they are sold so, in `currency`; null without prices."""
    cost_without: tuple[str, ...]
    """What has no price and is not in `cost`."""
    cost_per_container: tuple[CostPerContainer, ...]
    """`cost` by container, each by its volume; empty without containers or prices."""
    currency: str | None
    """As asked."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation."""
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
