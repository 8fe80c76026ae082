"""What a stabilising plan answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading, SourceCited
from service.planner.work import Appointment, NextCall, WorkStep

Verdict = Literal["do_not_dose", "dose_and_verify", "dose_sulfite_only", "dose_but_do_not_seal", "nothing_to_dose"]
HurdleName = Literal["sulfite", "sorbate", "pasteurised", "sterile_filtered", "cold"]


@dataclass(frozen=True, slots=True)
class StockSolution:
    """A solution to measure from where the caller's scale is too coarse for the dose itself."""

    __pydantic_config__ = SHOWN

    strength_percent: float
    """Grams of salt in 100 mL of solution [% w/v]."""
    salt_g: float
    """Salt to weigh for the solution [g]; for one of 0.1 %, for that of 1 % which it is thinned from."""
    made_up_to_ml: float
    """Volume that this mass is made up to with water [mL]."""
    add_ml: float
    """Solution to add to the drink [mL]."""
    text: str
    """The recipe in words."""


@dataclass(frozen=True, slots=True)
class SaltDose:
    """How much of one salt goes in."""

    __pydantic_config__ = SHOWN

    salt: Literal["potassium_metabisulfite", "potassium_sorbate"]
    """Which salt."""
    mass_g: float
    """Mass of the product as it is [g], before any rounding."""
    amount_text: str
    """What the caller's scale shows, or the measure of the stock solution."""
    adds_mg_per_l: float
    """SO2, or sorbic acid, that it adds to the volume at dosing [mg/L]."""
    tablets: float | None
    """Tablets of the stated mass; null without one."""
    tablets_text: str | None
    """Whole and half tablets, and how much of the dose they are."""
    stock: StockSolution | None
    """Where the mass is below ten divisions of the scale: a solution to measure from; else null."""


@dataclass(frozen=True, slots=True)
class SulfurDioxide:
    """Sulfur dioxide in the drink at one moment."""

    __pydantic_config__ = SHOWN

    volume_l: float
    """Volume [L]."""
    ph: float
    """pH with the sorbate of this plan in it."""
    free_mg_per_l: float
    """Free SO2 [mg/L]."""
    molecular_mg_per_l: float
    """Molecular SO2, part of the free [mg/L], with `pk` of the plan."""
    bound_mg_per_l: float
    """Bound SO2 [mg/L]."""
    total_mg_per_l: float
    """Total SO2 [mg/L]."""


@dataclass(frozen=True, slots=True)
class OtherPk:
    """The same target by another pK, which moves it by up to 40 %."""

    __pydantic_config__ = SHOWN

    basis: str
    """convention, thermo or oiv."""
    pk: float
    """pK of SO2·H2O."""
    free_wanted_mg_per_l: float
    """Free SO2 that this pK would ask for [mg/L]."""
    molecular_at_packaging_mg_per_l: float
    """Molecular SO2 that it would see in the drink of this plan [mg/L]."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class SulfiteReport:
    """Sulfite: what is wanted, what is added, and what comes of it."""

    __pydantic_config__ = SHOWN

    target: str
    """The target in words; it is held at packaging."""
    free_wanted_mg_per_l: float
    """Free SO2 that the target asks for at packaging [mg/L]."""
    low_mg_per_l: float
    """The same at a pH lower by the error of the pH meter [mg/L]."""
    high_mg_per_l: float
    """At a pH higher by it [mg/L]."""
    added_mg_per_l: float
    """SO2 that this plan adds, per litre at dosing [mg/L]; 0 where none is needed or none may go in."""
    bound_share: float
    """Share of the addition taken to be bound."""
    pk: float
    """pK that the dose was computed with: the lower one of convention and thermo unless another basis was asked for."""
    pk_basis: str
    """Where it comes from."""
    other_pk: tuple[OtherPk, ...]
    """The figures by the other pKs."""
    at_dosing: SulfurDioxide
    """After dosing, when the addition has been bound."""
    at_packaging: SulfurDioxide
    """In the volume at packaging; further binding by what is blended in is not reckoned."""


@dataclass(frozen=True, slots=True)
class SorbicReport:
    """Sorbic acid: the published dose, and what this plan adds."""

    __pydantic_config__ = SHOWN

    published_mg_per_l: float | None
    """Sorbic acid that the printed table asks for at packaging [mg/L], by pH before the salt; null where it holds
    none: nothing is extrapolated."""
    inside_table: bool
    """Whether the drink lies inside the table: 10 to 14 % vol, pH 3.1 to 3.5."""
    reason: str
    """Why there is a dose, or none."""
    published_at_final_ph_mg_per_l: float | None
    """The same read at the pH that the salt itself leads to: the careful reading; null where the table holds none."""
    target_mg_per_l: float | None
    """Sorbic acid aimed at, at packaging [mg/L]; null where none is proposed."""
    at_dosing_mg_per_l: float
    """Sorbic acid after dosing [mg/L]."""
    at_packaging_mg_per_l: float
    """Sorbic acid at packaging [mg/L]."""
    undissociated_percent: float
    """Share of it that is undissociated, the form that acts, at the final pH [%]."""
    mark: str
    """How the table was seen."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LimitReport:
    """A limit, or the content from which a label has to say so, and where this drink stands; check the current text."""

    __pydantic_config__ = SHOWN

    what: Literal["total_so2", "sorbic_acid", "declaration_contains_sulfites"]
    """What is limited or declared."""
    category: str
    """The class of drink it speaks of."""
    limit_mg_per_l: float
    """The figure [mg/L]."""
    comparison: Literal["above", "at or above"]
    """When it is exceeded."""
    ours_mg_per_l: float
    """What the drink would hold at packaging if it were dosed as wanted [mg/L]."""
    exceeded: bool
    """Whether it is exceeded; for a declaration, whether it is due."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""
    note: str
    """What else to know."""


@dataclass(frozen=True, slots=True)
class HeatMinutes:
    """Minutes at one temperature of the coldest spot."""

    __pydantic_config__ = SHOWN

    temperature_c: float
    """Temperature of the coldest spot [°C]."""
    units: float
    """Pasteurising units aimed at [minutes at 60 °C]."""
    minutes: float
    """Minutes at temperature, heating up and cooling down not counted."""


@dataclass(frozen=True, slots=True)
class HurdleReport:
    """What one hurdle does for this drink."""

    __pydantic_config__ = SHOWN

    hurdle: HurdleName
    """Which hurdle."""
    planned: bool
    """Whether it is planned."""
    verdict: Literal["no_blocker_found", "not_shown_to_hold", "does_not_hold", "slows_only", "may_hold_if_done_right"]
    """What it is worth here; no verdict is a promise."""
    text: str
    """Why, with its numbers."""
    heat: tuple[HeatMinutes, ...]
    """For heat: minutes by temperature; else empty."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another way to the same end."""

    __pydantic_config__ = SHOWN

    do: str
    """What to do instead."""
    because: str
    """What it does, and what it costs."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class StabilisingPlan:
    """The answer to `plan_stabilising`."""

    __pydantic_config__ = SHOWN

    verdict: Verdict
    """What to do, in words; read the cautions with it."""
    summary: str
    """One sentence about the whole."""
    doses: tuple[SaltDose, ...]
    """The salts, in the order they go in; empty where none may go in."""
    so2: SulfiteReport
    """Sulfur dioxide."""
    sorbic: SorbicReport
    """Sorbic acid."""
    ph_before: float
    """pH at dosing, as given."""
    ph_after_sorbate: float
    """pH at dosing with the sorbate in it, from the balance of charges; `ph_before` where none goes in."""
    ph_after_all: float
    """pH at dosing with sorbate and sulfite."""
    ph_at_packaging: float
    """pH at packaging with both."""
    limits: tuple[LimitReport, ...]
    """Limits and declarations."""
    hurdles: tuple[HurdleReport, ...]
    """Each hurdle, planned or not."""
    dilute_with_l: float | None
    """Drink without sulfite that would bring too much of it down [L]; null where there is not too much."""
    alternatives: tuple[Alternative, ...]
    """Other ways."""
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
