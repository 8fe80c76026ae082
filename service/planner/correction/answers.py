"""What a correction answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, LeastKnown, NextReading, Predicted, SourceCited
from service.planner.answers_blend import BlendPlan
from service.planner.work import Appointment, NextCall, WorkStep


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """Most likely."""
    low: float
    """Lower end of the 90 % interval."""
    high: float
    """Upper end."""


@dataclass(frozen=True, slots=True)
class Updated:
    """What the readings changed in what is known of something that was poured."""

    __pydantic_config__ = SHOWN

    of: str
    """Lot or ingredient."""
    what: str
    """What of it: Brix, moisture, acidity, pH, strength, residual sugar, volume, amount."""
    unit: str
    """Unit of the figures; empty for pH and SG."""
    before: Figure
    """As the request and the tables have it."""
    now: Figure
    """With the readings."""
    moved: float
    """By how many of its standard deviations before it moved."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class Culprit:
    """One thing that, being off, would explain readings that do not fit."""

    __pydantic_config__ = SHOWN

    kind: Literal["amount", "volume", "composition", "reading", "loss"]
    """What kind of thing; `loss` is drink that went without being told, or a volume that was read too low."""
    of: str
    """Lot, ingredient or reading."""
    what: str
    """What of it."""
    unit: str
    """Unit of the figures."""
    told: float
    """As entered, read or assumed, in `unit`."""
    probably: float
    """What it then probably is, in `unit`."""
    times_likelier: float
    """How many times as likely the readings are then; a million at most."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class Consistency:
    """Whether the readings fit what was poured."""

    __pydantic_config__ = SHOWN

    verdict: Literal["consistent", "doubtful", "inconsistent"]
    """By `probability`: below 0.05 doubtful, below 0.005 inconsistent."""
    probability: float
    """The chance of readings at least so far off (chi-square)."""
    culprits: tuple[Culprit, ...]
    """What would explain them, the likeliest first; empty where they fit or nothing alone explains them."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class ReadingReport:
    """One reading beside what was expected of it."""

    __pydantic_config__ = SHOWN

    property: str
    """What was read: a property, or `refractometer`."""
    stage: int
    """At which measuring, 1 the first; those before the last are in `earlier_readings`."""
    unit: str
    """Unit of the figures."""
    measured: float
    """What was read."""
    error: float
    """Its standard deviation."""
    expected: float
    """What it should have been by what was poured and by the readings of the stages before."""
    expected_low: float
    """Lower end of the 90 % interval of such a reading."""
    expected_high: float
    """Upper end."""
    now: float
    """What the drink is now believed to read."""
    surprise: float
    """Measured minus expected, in standard deviations of such a reading."""


@dataclass(frozen=True, slots=True)
class NotUndone:
    """A target that the vessel has passed, or that nothing at hand leads to: what is in cannot be taken out."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    unit: str
    """Unit of `now`."""
    now: float
    """What is in the vessel."""
    asked: str
    """The target in words."""
    passed: bool
    """Whether the vessel has passed it, so that something is to be undone; else it is out of reach."""
    settled: bool
    """Whether the plan reaches the target all the same."""
    would_help: tuple[str, ...]
    """What moves it the right way: lots and additions of the request first, then ingredients that would."""
    text: str
    """What cannot be undone, and what would help."""


@dataclass(frozen=True, slots=True)
class Correction:
    """The answer to `correct_blend`."""

    __pydantic_config__ = SHOWN

    outcome: Literal["nothing_to_add", "targets_met", "nearest_measurable", "targets_clash", "no_plan_found"]
    """`nothing_to_add` where the vessel meets every target as it is; else what becomes of the plan for the rest."""
    summary: str
    """The whole in a few sentences."""
    consistency: Consistency
    """Whether the readings fit what was poured."""
    readings: tuple[ReadingReport, ...]
    """Each reading beside what was expected."""
    earlier_readings: tuple[ReadingReport, ...]
    """The same of the stages in `earlier`, whose readings count as well."""
    updated: tuple[Updated, ...]
    """What the readings changed, the largest move first; small ones are left out."""
    drink: Predicted
    """What is in the vessel now."""
    least_known: tuple[LeastKnown, ...]
    """What still leaves most of its intervals open."""
    cannot_be_undone: tuple[NotUndone, ...]
    """What was overshot, and what nothing at hand brings."""
    plan: BlendPlan
    """What to add now: what is in the vessel is a lot called “drink in the vessel”. Readings that do not fit make it
    what would follow if all of them were true, and nothing to pour."""
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
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation. That of `correct_blend` is for when the plan has been poured: put in what
    was read, and in `added` what really went in. What was poured and read before stands in its `earlier`, and keeps
    what it told."""
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
