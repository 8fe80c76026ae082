"""What a bench trial answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Amount, Caution, NextReading, Predicted, SourceCited
from service.planner.answers_decisions import PropertyChange
from service.planner.work import Appointment, NextCall, WorkStep

Outcome = Literal[
    "composition_matched",
    "matched_but_for_stock_water",
    "properties_matched",
    "nearest_match",
    "nothing_to_add",
]


@dataclass(frozen=True, slots=True)
class StockPoured:
    """One stock in the glass."""

    __pydantic_config__ = SHOWN

    name: str
    """Name of the stock."""
    amount: str
    """As asked."""
    mass_g: float
    """Mass of it in the glass [g]."""
    volume_ml: float | None
    """Volume of it in the glass [mL]; null for a dry solid."""
    density_g_ml: float | None
    """Its density at 20 °C [g/mL]; null for a dry solid."""
    holds: tuple[Held, ...]
    """What it brings to the glass."""


@dataclass(frozen=True, slots=True)
class Held:
    """What a stock brings of one ingredient."""

    __pydantic_config__ = SHOWN

    ingredient: str
    """Id in the catalogue, or name of the colour."""
    mass_g: float
    """Mass in the glass [g]."""
    g_per_l: float
    """The same in a litre of the glass [g/L]."""
    stock_water: bool
    """Whether it is only the water that the stock was made with."""


@dataclass(frozen=True, slots=True)
class GlassDosed:
    """The glass."""

    __pydantic_config__ = SHOWN

    base_ml: float
    """Base before dosing [mL]."""
    volume_ml: float
    """Volume with everything in it, at 20 °C [mL]."""
    stocks: tuple[StockPoured, ...]
    """What was dosed."""
    stock_water_ml: float
    """Water that came with the stocks [mL]."""
    predicted: Predicted
    """What is in the glass, with the errors of measuring it."""


@dataclass(frozen=True, slots=True)
class BatchDose:
    """One way to dose the batch, and the drink that it makes."""

    __pydantic_config__ = SHOWN

    text: str
    """What this way is."""
    amounts: tuple[Amount, ...]
    """How much of the lot and of everything that goes into it."""
    predicted: Predicted
    """The drink, from these very amounts."""


@dataclass(frozen=True, slots=True)
class Beside:
    """One property of the glass and of the batch, made in each way."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    unit: str
    """Unit of the figures."""
    glass: float
    """Of the glass."""
    matched: float | None
    """Of the batch by `batch_plan`."""
    matched_difference: float | None
    """Batch minus glass."""
    matched_steps: float | None
    """The same in just-noticeable steps; null where none is defined."""
    plain: float | None
    """Of the batch by `plain_scaling`."""
    plain_difference: float | None
    """Batch minus glass."""
    plain_steps: float | None
    """The same in just-noticeable steps."""
    without_water: float | None
    """Of the batch by `without_stock_water`; null without it."""
    without_water_difference: float | None
    """Batch minus glass."""
    without_water_steps: float | None
    """The same in just-noticeable steps."""


@dataclass(frozen=True, slots=True)
class Grams:
    """A small amount of one ingredient."""

    __pydantic_config__ = SHOWN

    ingredient: str
    """Id in the catalogue, or name of the colour."""
    mass_g: float
    """Mass [g]."""
    volume_ml: float | None
    """Volume [mL]; null for a dry solid."""


@dataclass(frozen=True, slots=True)
class PerGraduation:
    """What one smallest graduation more or less in the glass is in the batch, to first order."""

    __pydantic_config__ = SHOWN

    stock: str
    """Name of the stock."""
    graduation: str
    """The smallest step that it was measured in."""
    graduations: float
    """How many of them the dose is."""
    dose_percent: float
    """One of them as a share of the dose [%]."""
    stock_in_batch: Grams
    """One of them scaled to the batch, as the stock itself."""
    ingredients_in_batch: tuple[Grams, ...]
    """The same as the ingredients that the stock holds, without the water it was made with."""
    changes: tuple[PropertyChange, ...]
    """What it moves in the glass, and in a batch that is matched to it; acidity no further than to none."""
    text: str
    """The whole in words."""


@dataclass(frozen=True, slots=True)
class Advice:
    """How to make the trial tell more."""

    __pydantic_config__ = SHOWN

    code: Literal["glass_too_small", "one_graduation_is_noticeable", "stock_water_is_noticeable", "batch_dose_too_fine"]
    """What it is about, in words."""
    stock: str | None
    """The stock it speaks of."""
    glass_ml: float | None
    """Base in which the same taste takes ten smallest graduations [mL]; null where another remedy is meant."""
    thin_times: float | None
    """How many times thinner a stock would have to be for that in this glass."""
    text: str
    """What to do, and why."""


@dataclass(frozen=True, slots=True)
class DyeLimit:
    """What the law of one market says about a colour; check the current text."""

    __pydantic_config__ = SHOWN

    market: Literal["us", "eu"]
    """Whose rule."""
    regulation: str
    """The rule and its edition."""
    limit_mg_per_l: float | None
    """Most that it allows [mg/L]; null where it names no figure."""
    ours_mg_per_l: float | None
    """What the batch holds of what the limit speaks of [mg/L]; null where the strength is not stated."""
    exceeded: bool | None
    """Whether it is more than the limit; null where that cannot be told."""
    text: str
    """What the rule asks."""
    mark: str
    """Whether it was read (published) or remembered."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class Colour:
    """One liquid colour in the glass and in the batch."""

    __pydantic_config__ = SHOWN

    stock: str
    """Name of the stock."""
    dye: str
    """The dye, or the colour as named."""
    glass_ml: float
    """Stock in the glass [mL]."""
    batch_ml: float
    """Stock for the batch [mL]."""
    ml_per_l: float
    """Stock in a litre of either [mL/L]."""
    glass_mg_per_l: float | None
    """Dye in the glass [mg/L]; null where the strength of the stock is not stated."""
    low_mg_per_l: float | None
    """Lower end of the 90 % interval, from the error of the dose alone [mg/L]."""
    high_mg_per_l: float | None
    """Upper end [mg/L]."""
    batch_mg_per_l: float | None
    """Dye in the batch [mg/L]."""
    limits: tuple[DyeLimit, ...]
    """What the law says, where the dye is on file."""
    text: str
    """The whole in words."""


@dataclass(frozen=True, slots=True)
class Absorbance:
    """What all dyes of known strength absorb together at one wavelength, in a clear drink."""

    __pydantic_config__ = SHOWN

    wavelength_nm: float
    """Wavelength [nm]."""
    per_cm: float
    """Absorbance in 1 cm, of the dyes alone."""
    low: float
    """Lower end of the 90 % interval, from the errors of the doses alone."""
    high: float
    """Upper end."""
    depth_cm: float | None
    """Depth of the glass as given [cm]."""
    at_depth: float | None
    """Absorbance at that depth; null without one."""
    counted: tuple[str, ...]
    """Stocks whose absorptivity at this wavelength is known."""
    not_counted: tuple[str, ...]
    """Stocks that may add to it by what is not known of them here."""


@dataclass(frozen=True, slots=True)
class BenchTrial:
    """The answer to `scale_bench_trial`."""

    __pydantic_config__ = SHOWN

    outcome: Outcome
    """What the plan matches."""
    summary: str
    """One sentence about the whole."""
    glass: GlassDosed
    """What is in the glass."""
    batch_plan: BatchDose
    """The batch that has the composition of the glass."""
    plain_scaling: BatchDose
    """The same stocks, each as many times as the batch is the glass: their water goes along."""
    without_stock_water: BatchDose | None
    """What the stocks hold, as many times as the batch is the glass, without their water: dosed more strongly than the
    glass; null where the stocks held no water, or it is copied."""
    differences: tuple[Beside, ...]
    """Property by property, each way beside the glass."""
    steps_are: str
    """What the figures in just-noticeable steps are, and are not."""
    per_graduation: tuple[PerGraduation, ...]
    """What one smallest graduation of each stock does."""
    advice: tuple[Advice, ...]
    """How to make the trial tell more."""
    colour: tuple[Colour, ...]
    """The dyes."""
    absorbance: tuple[Absorbance, ...]
    """What the dyes absorb; empty in a hazy drink, and where no strength is stated."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    schedule: tuple[Appointment, ...]
    """The first day for each step; empty without `start_date`."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation: this batch as a recipe to forecast, as what was poured to correct (its
    gravity and acidity are the targets, within a just-noticeable step), and what follows a blend."""
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
