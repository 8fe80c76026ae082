"""What a packaging plan answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading, SourceCited
from service.planner.label.answers import LabelFacts, LabelLine
from service.planner.losses import LossReport
from service.planner.pressure.answers import (
    ColdFilled,
    ContainerKind,
    HeatedHeadspace,
    HeatReport,
    KegGas,
    Refermentation,
)
from service.planner.work import Appointment, NextCall, WorkStep

Outcome = Literal["filled", "too_little", "nothing_filled", "not_counted"]
Sealing = Literal["do_not_seal", "no_blocker_found", "not_judged"]


@dataclass(frozen=True, slots=True)
class FilledFigure:
    """A figure with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """The figure."""
    low: float
    """Lower end of its 90 % interval."""
    high: float
    """Upper end."""


@dataclass(frozen=True, slots=True)
class PackagedDrink:
    """The drink that this plan speaks of."""

    __pydantic_config__ = SHOWN

    volume_l: FilledFigure | None
    """As blended, before losses [L]; null where it was not given."""
    gravity: FilledFigure | None
    """SG 20 °C/20 °C."""
    abv_percent: FilledFigure
    """Strength [% vol at 20 °C]."""
    sugar_g_per_l: FilledFigure
    """All sugars [g/L]."""
    fermentable_sugar_g_per_l: FilledFigure
    """Sugar that yeast can use [g/L]."""
    ph: FilledFigure | None
    """pH; null where it is not known."""


@dataclass(frozen=True, slots=True)
class ThermalRoom:
    """What is left of the headspace when the drink warms in store."""

    __pydantic_config__ = SHOWN

    filled_at_c: float
    """Temperature at which it is closed [°C]."""
    warmest_c: float
    """The warmest temperature reckoned with [°C]."""
    swells_ml: float
    """By how much the drink swells [mL]."""
    headspace_ml: float
    """Headspace when it is closed [mL]."""
    left_ml: float
    """Headspace that is left then [mL]; below 0 the container is full of liquid and nothing gives way."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class ContainerFill:
    """Containers of one kind and size: how many are filled, and what each has to hold."""

    __pydantic_config__ = SHOWN

    name: str
    """Size and kind in words; `about` of a caution names it."""
    kind: ContainerKind
    """Kind of container."""
    fill_ml: float
    """Drink in each [mL]."""
    fill_text: str
    """The same in the caller's system."""
    count: int | None
    """How many are filled, a partly filled one among them; null where fills were not asked for."""
    count_low: int | None
    """How many are filled at least, by the lower end of the volume."""
    count_high: int | None
    """How many to have clean and ready, by the upper end."""
    wanted: int | None
    """How many were asked for; null where that was left open."""
    part_filled_ml: float | None
    """What the partly filled one holds [mL]; null where none is."""
    volume_l: float | None
    """Drink in all of them [L]."""
    headspace_share: float
    """Room above the drink, as a share of the volume of the drink."""
    headspace_ml: float
    """The same [mL]."""
    cost: float | None
    """Price of the containers filled; null without a price."""
    thermal_room: ThermalRoom
    """What warming in store leaves of the headspace."""
    pressure: Refermentation | None
    """Pressure if it warms and if it referments; null where it was not asked for."""
    cold_filled: ColdFilled | None
    """Filled from a cold keg; null where it is not."""
    heated: HeatedHeadspace | None
    """The headspace at the temperature of a heat treatment; null where none is planned."""
    text: str
    """The counts in words."""


@dataclass(frozen=True, slots=True)
class PackagingPlan:
    """The answer to `plan_packaging`."""

    __pydantic_config__ = SHOWN

    outcome: Outcome
    """too_little: the counts asked for need more than there is; not_counted where fills were not asked for."""
    sealing: Sealing
    """do_not_seal where a caution says stop, else no_blocker_found: by this check only, which proves nothing."""
    summary: str
    """One sentence about the whole."""
    drink: PackagedDrink
    """The drink."""
    losses: LossReport | None
    """What is lost between the blend and the containers; null where nothing was counted."""
    packaged_l: FilledFigure | None
    """What there is to fill, the reserve included [L]; null where fills were not asked for."""
    reserve_l: float
    """What is kept back of it [L]."""
    fills: tuple[ContainerFill, ...]
    """Each kind of container, in the order of the request."""
    filled_l: float | None
    """Drink in all containers [L]."""
    left_over_l: float | None
    """What fills no container, besides the reserve [L]."""
    missing_l: float | None
    """What the counts asked for lack [L]; 0 where they are met."""
    needed_blend_l: float | None
    """How much to blend for the counts asked for, or else for those told, and the reserve [L]."""
    needed_text: str
    """The same in words; empty where fills were not asked for."""
    cost: float | None
    """Price of all containers filled; null without prices."""
    currency: str | None
    """Echo."""
    keg: KegGas | None
    """Gas on the keg; null without a keg."""
    heat: HeatReport | None
    """Pasteurising, told for the container whose headspace stands it least; null where none is planned."""
    label: LabelFacts | None
    """What a label could say; null where it was not asked for."""
    label_text: tuple[LabelLine, ...]
    """Lines ready for a bottle that is given away: those of `label`."""
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
    """What to measure or watch next."""
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
