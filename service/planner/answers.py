"""What the planner answers: plain records that the HTTP edge and the command line both write out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot import Assumed

Level = Literal["stop", "warning", "note"]


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to heed: a code in words, how serious, one sentence, and the key of its source."""

    code: str
    level: Level
    text: str
    source_id: str


@dataclass(frozen=True, slots=True)
class NextReading:
    """The next thing to measure: what to do, with what, what to expect, at which temperature, after what wait."""

    do: str
    instrument: str
    expect: float | None = None
    at_temperature: str | None = None
    wait_min_h: float = 0.0


@dataclass(frozen=True, slots=True)
class SourceCited:
    """A document behind the answer; `mark` says whether it was read, remembered or judged."""

    key: str
    title: str
    mark: str


@dataclass(frozen=True, slots=True)
class Prediction:
    """A predicted property."""

    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class VolumePrediction:
    """Volume at 20 °C, in litres and US gallons."""

    value: float
    unit: str
    us_gallons: float


@dataclass(frozen=True, slots=True)
class AcidityPrediction:
    """Titratable acidity to `end_point_ph`, expressed in three ways."""

    value: float
    unit: str
    g_per_l_tartaric: float
    g_per_l_citric: float
    meq_per_l: float
    end_point_ph: float


@dataclass(frozen=True, slots=True)
class SweetnessPrediction:
    """Sweetness as sucrose; the published relative sweetness of the sugars spans `published_low`…`published_high`."""

    value: float
    unit: str
    published_low: float
    published_high: float


@dataclass(frozen=True, slots=True)
class Predicted:
    """Every property of the drink; null where it cannot be computed (no acid, no prices)."""

    gravity: Prediction
    abv_percent: Prediction
    titratable_acidity: AcidityPrediction
    volume: VolumePrediction
    extract_g_per_l: Prediction
    sugar_g_per_l: Prediction
    fermentable_sugar_g_per_l: Prediction
    sucrose_equivalent_g_per_l: SweetnessPrediction
    brix: Prediction
    sugar_acid_ratio: Prediction | None
    juice_percent: Prediction
    citrus_percent: Prediction
    added_mass: Prediction
    added_volume: Prediction | None
    cost: Prediction | None
    energy_kcal_per_100ml: Prediction


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """The extract by the OIV densimetric rule (Tabarié) beside the mass balance's, both as g/L of sucrose."""

    extract_oiv_g_per_l: float
    extract_by_density_g_per_l: float
    text: str


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of one lot or addition; `volume_ml` null for dry solids."""

    name: str
    kind: Literal["lot", "addition"]
    mass_g: float
    volume_ml: float | None
    amount_text: str
    share_of_volume_percent: float | None
    cost: float | None


@dataclass(frozen=True, slots=True)
class TargetReport:
    """What became of one target: the miss is the distance outside what counts as met, in the property's unit."""

    property: str
    asked: str
    reached: float | None
    unit: str
    miss: float
    met: bool
    binding: bool
    marginal: str | None


@dataclass(frozen=True, slots=True)
class Proof:
    """What is proved: the verdict, the share of the first preference still open (null if unknown), and the time."""

    verdict: Literal["proved_best", "best_found", "proved_impossible", "nothing_found"]
    gap: float | None
    milliseconds: float


@dataclass(frozen=True, slots=True)
class BlendPlan:
    """The answer to `solve_blend`. Amounts and predictions are null only if no plan at all was found."""

    outcome: Literal["targets_met", "nearest_measurable", "targets_clash", "no_plan_found"]
    proof: Proof
    summary: str
    amounts: tuple[Amount, ...]
    predicted: Predicted | None
    targets: tuple[TargetReport, ...]
    cross_check: CrossCheck | None
    currency: str | None
    assumed: tuple[Assumed, ...]
    cautions: tuple[Caution, ...]
    next_reading: tuple[NextReading, ...]
    sources: tuple[SourceCited, ...]
    model_version: str
    data_version: str
    batch: str | None
    date: str | None
    note: str | None


@dataclass(frozen=True, slots=True)
class RecipeForecast:
    """What one recipe will be."""

    name: str
    amounts: tuple[Amount, ...]
    predicted: Predicted
    cross_check: CrossCheck | None


@dataclass(frozen=True, slots=True)
class BlendForecast:
    """The answer to `forecast_blend`."""

    recipes: tuple[RecipeForecast, ...]
    currency: str | None
    assumed: tuple[Assumed, ...]
    cautions: tuple[Caution, ...]
    next_reading: tuple[NextReading, ...]
    sources: tuple[SourceCited, ...]
    model_version: str
    data_version: str
    batch: str | None
    date: str | None
    note: str | None
