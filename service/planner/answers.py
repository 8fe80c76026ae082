"""What the planner answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from service.model.lot_class import Assumed

Level = Literal["stop", "warning", "note"]

PRACTICE: Final = "common_practice"
OUR_DEFAULT: Final = "our_default"
"""Keys of the bibliography for what has no document."""

SHOWN: Final = {"use_attribute_docstrings": True}
"""Makes the text below each field its description in the published document."""


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to heed: a code in words, how serious, one sentence, and the key of its source."""

    __pydantic_config__ = SHOWN

    code: str
    """What it is about, in words."""
    level: Level
    """`stop`: do not go on as it stands; `warning`; `note`."""
    text: str
    """What to heed, at most 30 words."""
    source_id: str
    """Key of /v1/sources."""
    about: str | None = None
    """The recipe it speaks of, where an answer holds several."""


ALCOHOL: Final = Caution(
    "alcohol",
    "note",
    "Alcohol: adults of legal age only, not in pregnancy, not before driving or work with machines.",
    "cfr27_16_21",
)
"""Goes with every drink that holds any."""


@dataclass(frozen=True, slots=True)
class NextReading:
    """The next thing to measure: what to do, with what, what to expect, at which temperature, after what wait."""

    __pydantic_config__ = SHOWN

    do: str
    """What to do."""
    instrument: str
    """What with."""
    expect: float | None = None
    """The figure to expect, in `unit`; null where it is the reading that tells."""
    unit: str = ""
    """Unit of `expect`."""
    at_temperature: str | None = None
    """Temperature of the sample."""
    wait_min_h: float = 0.0
    """Least wait before it [h]."""
    low: float | None = None
    """Lower end of what to expect, where an interval is known."""
    high: float | None = None
    """Upper end of what to expect."""


@dataclass(frozen=True, slots=True)
class SourceCited:
    """A document behind the answer; `mark` says whether it was read, remembered or judged."""

    __pydantic_config__ = SHOWN

    key: str
    """Key of /v1/sources."""
    title: str
    """The document."""
    mark: str
    """Whether it was read (published), remembered (memory), judged or derived."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """A predicted property."""

    __pydantic_config__ = SHOWN

    value: float
    """In `unit`."""
    unit: str
    """Unit of `value`; empty for a ratio."""


@dataclass(frozen=True, slots=True)
class VolumePrediction:
    """Volume at 20 °C, in litres and US gallons."""

    __pydantic_config__ = SHOWN

    value: float
    """Litres at 20 °C, contraction included."""
    unit: str
    """L."""
    us_gallons: float
    """The same in US gallons."""


@dataclass(frozen=True, slots=True)
class AcidityPrediction:
    """Titratable acidity to `end_point_ph`, degassed, expressed in six ways, with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """g/L as tartaric acid."""
    unit: str
    """Unit of `value`."""
    low: float
    """Lower end of the 90 % interval, from the spread of readings and tables, in `unit`."""
    high: float
    """Upper end, in `unit`."""
    g_per_l_tartaric: float
    """As tartaric acid [g/L]."""
    g_per_l_citric: float
    """As anhydrous citric acid [g/L]."""
    g_per_l_malic: float
    """As malic acid [g/L]."""
    g_per_l_lactic: float
    """As lactic acid [g/L]."""
    g_per_l_sulfuric: float
    """As sulfuric acid [g/L]."""
    meq_per_l: float
    """Milliequivalents per litre."""
    end_point_ph: float
    """pH to which it is titrated."""


@dataclass(frozen=True, slots=True)
class PhPrediction:
    """pH at 20 °C from the balance of charges, with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """pH."""
    unit: str
    """pH."""
    low: float
    """Lower end of the 90 % interval, from the spread of readings and tables and the model's own."""
    high: float
    """Upper end."""
    buffer_capacity_meq_per_l: float
    """Strong base that would raise the pH of a litre by one [meq/L]: small means that it moves easily."""
    largest_share_from: str
    """What leaves most of the interval open: measure it first."""
    largest_share: float
    """Its share of the variance, 0 to 1."""


@dataclass(frozen=True, slots=True)
class SweetnessPrediction:
    """Sweetness as sucrose; the published relative sweetness of the sugars spans `published_low`…`published_high`."""

    __pydantic_config__ = SHOWN

    value: float
    """g/L of sucrose that would be as sweet, central."""
    unit: str
    """Unit of `value`."""
    published_low: float
    """By the lowest published relative sweetness [g/L]."""
    published_high: float
    """By the highest [g/L]."""


@dataclass(frozen=True, slots=True)
class Predicted:
    """Every property of the drink; null where it cannot be computed (no acid, no prices)."""

    __pydantic_config__ = SHOWN

    gravity: Prediction
    """SG 20 °C/20 °C."""
    abv_percent: Prediction
    """Alcoholic strength [% vol at 20 °C]."""
    titratable_acidity: AcidityPrediction
    """To the end point of the request."""
    ph: PhPrediction | None
    """pH from the balance of charges; null without any acid, or with more carbonate than acid."""
    volume: VolumePrediction
    """Volume [L]."""
    extract_g_per_l: Prediction
    """Total dry extract by mass [g/L]."""
    sugar_g_per_l: Prediction
    """All sugars [g/L]."""
    fermentable_sugar_g_per_l: Prediction
    """Sugar that yeast can use [g/L]."""
    sucrose_equivalent_g_per_l: SweetnessPrediction
    """Sweetness as sucrose [g/L]."""
    brix: Prediction
    """Mass per cent of true extract; no refractometer reading."""
    sugar_acid_ratio: Prediction | None
    """True extract [°Bx] over % acid as citric; null without acid."""
    juice_percent: Prediction
    """Single-strength juice equivalent, all fruit [%], 21 CFR 101.30."""
    citrus_percent: Prediction
    """Single-strength juice equivalent, citrus [%]."""
    added_mass: Prediction
    """Mass of everything added [g]."""
    added_volume: Prediction | None
    """Volume of everything added, each on its own [L]; null with a dry solid."""
    cost: Prediction | None
    """Price of everything added, in `currency`; null without prices."""
    energy_kcal_per_100ml: Prediction
    """Food energy [kcal/100 mL], EU label factors."""


@dataclass(frozen=True, slots=True)
class CrossCheck:
    """The extract by the OIV densimetric rule (Tabarié) beside the mass balance's, both as g/L of sucrose."""

    __pydantic_config__ = SHOWN

    extract_oiv_g_per_l: float
    """Extract by the OIV rule from the predicted gravity and strength [g/L sucrose]."""
    extract_by_density_g_per_l: float
    """The same by the mixture rule of this service [g/L sucrose]."""
    text: str
    """What the two say."""


@dataclass(frozen=True, slots=True)
class Amount:
    """How much of one lot or addition; `volume_ml` null for dry solids."""

    __pydantic_config__ = SHOWN

    name: str
    """Lot or ingredient."""
    kind: Literal["lot", "addition"]
    """`lot` or `addition`."""
    mass_g: float
    """Mass [g]."""
    volume_ml: float | None
    """Volume at 20 °C [mL]; null for dry solids."""
    amount_text: str
    """What the caller's scale and jug show."""
    share_of_volume_percent: float | None
    """Own volume over that of the blend [%]."""
    cost: float | None
    """Price of this amount; null without a price."""


@dataclass(frozen=True, slots=True)
class TargetReport:
    """What became of one target: the miss is the distance outside what counts as met, in the property's unit."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    asked: str
    """The target in words."""
    reached: float | None
    """What the amounts give, in `unit`; null where it is not defined."""
    unit: str
    """Unit of `reached` and `miss`."""
    miss: float
    """Distance from the value asked for, or outside the range; 0 if it counts as met."""
    met: bool
    """Whether it counts as met."""
    binding: bool
    """Whether it holds the optimum where it is."""
    marginal: str | None
    """What a small change of a binding target takes."""


@dataclass(frozen=True, slots=True)
class Proof:
    """What is proved: the verdict, the share of the first preference still open (null if unknown), and the time."""

    __pydantic_config__ = SHOWN

    verdict: Literal["proved_best", "best_found", "proved_impossible", "nothing_found"]
    """What is proved."""
    gap: float | None
    """Share of the first aim that is still open; null if unknown or not meant."""
    milliseconds: float
    """Time of the solve [ms]."""


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
    targets: tuple[TargetReport, ...]
    """What became of each target."""
    cross_check: CrossCheck | None
    """A second rule for the extract; null above 20 % vol."""
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
    cross_check: CrossCheck | None
    """A second rule for the extract; null above 20 % vol."""


@dataclass(frozen=True, slots=True)
class BlendForecast:
    """The answer to `forecast_blend`."""

    __pydantic_config__ = SHOWN

    recipes: tuple[RecipeForecast, ...]
    """In the order asked."""
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
