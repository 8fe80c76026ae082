"""What the undo table answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Amount, Caution, LeastKnown, NextReading, Predicted, SourceCited
from service.planner.answers_blend import TargetReport
from service.planner.compare import Difference
from service.planner.correction.answers import Consistency
from service.planner.stabilising.answers import LimitReport, SulfurDioxide
from service.planner.undo.asked import Fault
from service.planner.work import Appointment, NextCall, WorkStep

Possible = Literal["yes", "partly", "no"]


@dataclass(frozen=True, slots=True)
class Option:
    """One way out."""

    __pydantic_config__ = SHOWN

    name: str
    """What it is, in words with underscores."""
    do: str
    """What to do."""
    possible: Possible
    """Whether it reaches what is wanted and meets the other targets too: `yes`, `partly`, or `no`, which is then told
    so that nobody tries."""
    limit: str
    """How far it goes, and what ends it."""
    needs: tuple[str, ...]
    """What has to be at hand."""
    amounts: tuple[Amount, ...]
    """What to add; empty where nothing is known of the drink, or nothing can be reckoned."""
    predicted: Predicted | None
    """The drink afterwards; null without amounts."""
    so2: SulfurDioxide | None
    """Sulfur dioxide afterwards, for a drink with too much of it; else null."""
    targets: tuple[TargetReport, ...]
    """What becomes of each target; empty without amounts."""
    changes: tuple[Difference, ...]
    """What it does to the drink: afterwards less now, in units and in just-noticeable steps; for a wrong amount,
    afterwards less what was meant."""
    costs: str
    """The same in words; empty without amounts."""
    distance: float | None
    """How far it moves the drink in all, in just-noticeable steps of sweetness, strength, juice and sourness (acidity
    or pH, whichever moves more), or for a wrong amount how far it stays from what was meant; null without amounts.
    Options of one kind of `possible` stand in this order, those within a tenth of a step as is usual."""
    cautions: tuple[Caution, ...]
    """What to heed with it, `stop` first."""
    source_id: str
    """Key of /v1/sources for what it rests on."""


@dataclass(frozen=True, slots=True)
class Irreversible:
    """Something that cannot be undone."""

    __pydantic_config__ = SHOWN

    text: str
    """What, and what comes nearest."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class SulfiteLevel:
    """A level that sulfite can be thinned to, the limits of total SO2 kept too."""

    __pydantic_config__ = SHOWN

    text: str
    """The level in words."""
    molecular_mg_per_l: float
    """Molecular SO2 of the level [mg/L]."""
    dilute_times: float
    """Volume afterwards over volume now, with drink of the same pH without sulfite; 1 where nothing has to be done."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class SulfiteNow:
    """Sulfur dioxide in the drink as it is."""

    __pydantic_config__ = SHOWN

    so2: SulfurDioxide
    """By the pK that sees more of it as molecular: the careful side where there is too much."""
    pk: float
    """That pK."""
    pk_basis: Literal["convention", "thermo"]
    """Where it comes from."""
    molecular_other_mg_per_l: float
    """Molecular SO2 by the other of the two [mg/L]."""
    levels: tuple[SulfiteLevel, ...]
    """What it can be thinned to: what was asked for, else where it no longer stings, and where it is as usual."""
    limits: tuple[LimitReport, ...]
    """Limits of total SO2, and from how much a label has to say so."""


@dataclass(frozen=True, slots=True)
class Undo:
    """The answer to `correct_blend` where a fault is named."""

    __pydantic_config__ = SHOWN

    fault: Fault
    """As asked."""
    summary: str
    """The whole in a few sentences."""
    goal: str | None
    """What is aimed at, in words; null where nothing is reckoned."""
    now: Predicted | None
    """The drink as it is; null where nothing is known of it."""
    consistency: Consistency | None
    """Whether the readings fit what was poured; null without readings."""
    least_known: tuple[LeastKnown, ...]
    """What leaves most of its intervals open."""
    meant: Predicted | None
    """The drink as it was meant, for a wrong amount; else null."""
    sulfite: SulfiteNow | None
    """For a drink with too much sulfite that was read; else null."""
    options: tuple[Option, ...]
    """Ways out: what reaches the aim first, of these the least change of the drink; what does not work comes last."""
    cannot_be_undone: tuple[Irreversible, ...]
    """What stays."""
    steps_are: str
    """What the figures in just-noticeable steps are, and are not."""
    steps: tuple[WorkStep, ...]
    """What to do, in order, for the way out that stands first."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow that way out, by operation; empty where nothing is poured."""
    currency: str | None
    """As asked."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and the reading that would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first; those of one option say which in `about`."""
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
