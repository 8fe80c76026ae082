"""What a fining plan answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.catalogue.fining import AgentName, Charge, Cloud, HazeKind, Origin
from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading, SourceCited
from service.planner.fining.asked import Haze, MarketName
from service.planner.work import Appointment, NextCall, WorkStep

AgentVerdict = Literal["suits", "needs_bench_test", "of_little_use", "works_against_haze", "not_allowed", "avoid"]
Presence = Literal["yes", "possible", "no", "unknown"]
TestName = Literal["clears_when_warm", "spirit_test_strings", "cloudy_with_yeast"]


@dataclass(frozen=True, slots=True)
class Dispersion:
    """An agent stirred into water before it goes in, so that it can be measured and spreads evenly."""

    __pydantic_config__ = SHOWN

    strength_percent: float
    """Grams of the product in 100 mL [% w/v]; 100 for one that is a liquid as it is sold."""
    weigh_g: float | None
    """Product to weigh for it [g]: enough for the high dose, and ten divisions of the scale; null for a liquid."""
    made_up_to_ml: float | None
    """Volume that this mass is made up to with water [mL]; null for a liquid."""
    low_ml: float
    """What holds the low dose [mL]."""
    high_ml: float
    """What holds the high dose [mL]."""
    water_percent: float
    """Water that the high dose brings along, of the volume at the low end of its interval [%]."""
    within_water_limit: bool
    """Whether that is at most 1 % (27 CFR 24.246, 2015 edition)."""
    text: str
    """How to make it."""


@dataclass(frozen=True, slots=True)
class AgentDose:
    """How much of an agent, for the volume of this drink: a range to try in glasses, not a dose."""

    __pydantic_config__ = SHOWN

    low_mg_per_l: float | None
    """Low end [mg/L]; null where none is on file."""
    high_mg_per_l: float | None
    """High end [mg/L]; null where none is on file."""
    low_g: float | None
    """Low end for the whole volume [g]."""
    high_g: float | None
    """High end [g], at most what a limit admits in the volume at the low end of its interval."""
    amount_text: str
    """The range as the caller's scale or syringe shows it, or what else rules it."""
    dispersion: Dispersion | None
    """How to measure it; null where there is no range or no way on file."""
    mark: str
    """Whether the range was read, and where, or remembered."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LegalNote:
    """What one list says about an agent; a guide for home makers, and for others no advice: check the current text."""

    __pydantic_config__ = SHOWN

    status: Literal["listed", "absent", "not_on_file"]
    """Whether the list names it."""
    text: str
    """What it says."""
    limit_mg_per_l: float | None
    """Its limit [mg/L]; null without one."""
    limit_g: float | None
    """The same for the volume at the low end of its interval [g]."""
    edition: str
    """Which text was taken."""
    mark: str
    """Whether it was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LeesLeft:
    """What stays behind with the lees of an agent."""

    __pydantic_config__ = SHOWN

    low_percent: float
    """At least [% of the volume]."""
    high_percent: float
    """At most [%]."""
    low_l: float
    """At least [L]."""
    high_l: float
    """At most [L]."""
    mark: str
    """How this share is known."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class AgentReport:
    """One fining agent for this drink."""

    __pydantic_config__ = SHOWN

    agent: AgentName
    """Which one."""
    name: str
    """The same in words."""
    verdict: AgentVerdict
    """What it is worth here: `not_allowed` by the market's list or the request's, `avoid` for what it is made of."""
    because: str
    """Why."""
    rank: int | None
    """Place among those that may be tried, 1 the first; null for the others."""
    proposed: bool
    """Whether the steps use it: in glasses, and in the whole where it is known what the haze is."""
    takes: str
    """What it takes out."""
    leaves: str
    """What it leaves."""
    charge: Charge
    """Charge that it carries in the drink."""
    keeps_pectin_cloud: Cloud
    """What becomes of a cloud of pectin: kept, mostly or partly kept, or lost."""
    cloud_text: str
    """The same in words."""
    dose: AgentDose
    """How much."""
    legal: LegalNote
    """What the list of the market says."""
    origin: Origin
    """What it is made of."""
    allergen: str | None
    """Allergen that it is made from; null without one."""
    vegetarian: bool
    """Whether no animal died for it."""
    lees: LeesLeft | None
    """What stays behind; null where no share is on file."""
    source_id: str
    """Key of /v1/sources for what it takes."""


@dataclass(frozen=True, slots=True)
class HazePart:
    """What one ingredient or lot brings to the haze."""

    __pydantic_config__ = SHOWN

    name: str
    """Lot or ingredient."""
    g_per_l: float | None
    """How much of the substance it brings, per litre of drink [g/L]; null where its amount is not known."""


@dataclass(frozen=True, slots=True)
class HazeSource:
    """Something that clouds, or could cloud, this drink."""

    __pydantic_config__ = SHOWN

    what: HazeKind
    """Which kind of haze."""
    present: Presence
    """Whether it is in the drink, by its composition and the tests told."""
    g_per_l: float | None
    """Mass in the drink [g/L], from the composition; null where it is not known or not reckoned by mass."""
    parts: tuple[HazePart, ...]
    """Where it comes from, the most first."""
    text: str
    """What is known about it."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class HazeDropper:
    """Something that drops a citrus haze, wanted or not."""

    __pydantic_config__ = SHOWN

    what: Literal[
        "pectinase", "own_enzyme_of_raw_citrus", "calcium", "bentonite", "warm_stand", "sterile_filtration", "settling"
    ]
    """What does it."""
    present: Presence
    """Whether it is at work in this drink, as far as told."""
    figure: float | None
    """What was reckoned, in `unit`; null without a figure."""
    unit: str
    """Unit of `figure`."""
    text: str
    """How it acts, and why it is or is not at work here."""
    do: str
    """What to do about it, for the wish of the request."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """A simple test that tells one haze from another."""

    __pydantic_config__ = SHOWN

    test: TestName
    """Name of the observation in the request."""
    how: str
    """How to do it."""
    if_yes: str
    """What a yes says."""
    if_no: str
    """What a no says."""
    told: Literal["yes", "no", "not_done"]
    """What the request says."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class VolumeAfter:
    """Volume that is left after the lees of what is proposed."""

    __pydantic_config__ = SHOWN

    value_l: float
    """Between the two [L]."""
    low_l: float
    """If the volume was small and the lees are bulky [L]."""
    high_l: float
    """If it was large and they are compact [L]."""
    text: str
    """What it rests on."""


@dataclass(frozen=True, slots=True)
class FiningPlan:
    """The answer to `plan_fining`."""

    __pydantic_config__ = SHOWN

    haze: Haze
    """The wish: keep it, or clear it."""
    summary: str
    """One or two sentences about the whole."""
    market: MarketName
    """Whose list was read."""
    problems: tuple[HazeKind, ...]
    """What the haze is, as told or tested; empty where it is not known."""
    agents: tuple[AgentReport, ...]
    """Every agent, those that may be tried first, in the order of their rank."""
    haze_sources: tuple[HazeSource, ...]
    """What clouds this drink, or could."""
    what_would_drop_the_haze: tuple[HazeDropper, ...]
    """What drops a citrus haze, and whether it is at work here."""
    diagnosis: tuple[Diagnosis, ...]
    """Tests of a glass that tell one haze from another."""
    volume_l: float
    """Volume that doses are reckoned on [L]."""
    after: VolumeAfter
    """Volume after racking off the lees."""
    water_percent: float
    """Water that everything proposed brings at its high dose, of the volume at the low end of its interval [%]."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and what would replace it."""
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
