"""What the planner answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from service.planner.answers_decisions import SHOWN as SHOWN

Level = Literal["stop", "warning", "note"]

PRACTICE: Final = "common_practice"
OUR_DEFAULT: Final = "our_default"
"""Keys of the bibliography for what has no document."""


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
    """A predicted property with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """In `unit`."""
    unit: str
    """Unit of `value`; empty for a ratio."""
    low: float
    """Lower end of the 90 % interval: spread of tables, errors of readings and of measuring, the model's own."""
    high: float
    """Upper end."""


@dataclass(frozen=True, slots=True)
class VolumePrediction:
    """Volume at 20 °C, in litres and US gallons, with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """Litres at 20 °C, contraction included."""
    unit: str
    """L."""
    low: float
    """Lower end of the 90 % interval [L]."""
    high: float
    """Upper end [L]."""
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
    low: float
    """Lower end of the 90 % interval of the sugars, at the central relative sweetness [g/L]."""
    high: float
    """Upper end [g/L]."""
    published_low: float
    """By the lowest published relative sweetness [g/L]."""
    published_high: float
    """By the highest [g/L]."""


@dataclass(frozen=True, slots=True)
class LeastKnown:
    """What leaves most of an interval open."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    largest_share_from: str
    """The reading or assumption behind most of its variance."""
    largest_share: float
    """Its share of the variance, 0 to 1."""
    text: str
    """The same in words, with what would settle it."""


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
    packs: float | None = None
    """How many packs; null where it does not come in packs."""


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
