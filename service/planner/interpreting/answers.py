"""What the reading of readings answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading, SourceCited
from service.planner.correction.answers import Consistency, Figure, ReadingReport
from service.planner.work import Appointment, NextCall, WorkStep

Fermentation = Literal["falling", "steady", "unknown"]
Method = Literal[
    "given",
    "two_gravities",
    "factor_131_25",
    "real_extract_rule",
    "hydrometer_and_refractometer",
    "no_alcohol_in_juice",
    "recipe",
]


@dataclass(frozen=True, slots=True)
class GravityReport:
    """A hydrometer's reading brought to SG 20/20."""

    __pydantic_config__ = SHOWN

    value: float
    """SG 20/20."""
    low: float
    """Lower end of the 90 % interval, by the hydrometer's error."""
    high: float
    """Upper end."""
    shown: float
    """What the hydrometer showed."""
    correction: float
    """What its temperature added."""
    brix: float | None
    """The same on the sugar scale, as a hydrometer in degrees Brix would read; null off the scale."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class RefractometerReport:
    """A refractometer's reading brought to 20 °C. In a drink with alcohol it is no sugar."""

    __pydantic_config__ = SHOWN

    shown_brix: float
    """As shown [°Bx]."""
    value_brix: float
    """At 20 °C [°Bx]."""
    true_extract_percent: float | None
    """Dissolved solids as found with the hydrometer [% by mass]; null without one."""
    reads_too_high_brix: float | None
    """By how much the reading exceeds them, alcohol being most of it [°Bx]; null without a hydrometer."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class AlcoholReport:
    """The strength by one method."""

    __pydantic_config__ = SHOWN

    method: Method
    """Which method; `factor_131_25` and `real_extract_rule` are rules of the trade, shown beside only."""
    abv_percent: float | None
    """Strength [% vol]; null where the method says nothing here."""
    low: float | None
    """Lower end of the 90 % interval: errors of the readings and the spread of the method."""
    high: float | None
    """Upper end."""
    error_percent: float | None
    """Standard deviation by the errors of the instruments alone, to first order [% vol]; null where there is none."""
    used: bool
    """Whether the rest of the answer is reckoned with it."""
    assumption: str
    """What has to be true for it to hold."""
    text: str
    """The figure in words, or why there is none."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class SugarReport:
    """What is dissolved, how much of it is sugar, and how far gravity could still fall."""

    __pydantic_config__ = SHOWN

    extract_g_per_l: Figure
    """All that is dissolved, as sucrose of the same gravity [g/L]; a little below zero where readings are off."""
    extract_percent: float
    """The same by mass: the real extract [%]."""
    sugar_g_per_l: Figure
    """Sugar that yeast could use [g/L]: by a test, or extract less what is no sugar; not below nothing."""
    expected_final_gravity: Figure | None
    """Where a honey must of this original gravity ends; null where the original gravity says nothing or it is another
    must."""
    possible_drop: Figure
    """How far gravity could still fall were all of that sugar to ferment [SG]."""
    alcohol_still_to_come_percent: float
    """Strength that the likeliest of it would add [% vol]."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class AcidityAt:
    """The acidity that the same drink would show at another end point, by the kinds of acid of its class."""

    __pydantic_config__ = SHOWN

    end_point_ph: float
    """End point of the titration."""
    meq_per_l: float
    """Milliequivalents per litre."""
    g_per_l_citric: float
    """As anhydrous citric acid [g/L]."""
    g_per_l_tartaric: float
    """As tartaric acid [g/L]."""


@dataclass(frozen=True, slots=True)
class AcidityReport:
    """Titratable acidity."""

    __pydantic_config__ = SHOWN

    g_per_l_citric: Figure
    """As anhydrous citric acid [g/L], with its 90 % interval."""
    g_per_l_tartaric: Figure
    """As tartaric acid [g/L]."""
    g_per_l_malic: float
    """As malic acid [g/L]."""
    meq_per_l: Figure
    """Milliequivalents per litre."""
    end_point_ph: float
    """End point of the titration."""
    at_other_end_points: tuple[AcidityAt, ...]
    """At pH 8.2 and 7.0, as far as they are not the one titrated to."""
    co2_could_add_g_per_l_citric: float
    """What a sample that was not degassed could show too much [g/L citric]: as much carbon dioxide as a ferment of
    20 °C holds without pressure. Where it was not degassed, the lower ends reach down by it."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class PhReport:
    """pH with its 90 % interval."""

    __pydantic_config__ = SHOWN

    value: float
    """pH."""
    low: float
    """Lower end of the 90 % interval."""
    high: float
    """Upper end."""
    how: Literal["read", "by_the_recipe"]
    """Whether it was read."""


@dataclass(frozen=True, slots=True)
class DayRead:
    """One reading of a series."""

    __pydantic_config__ = SHOWN

    date: str
    """Day."""
    gravity: float
    """SG 20/20."""
    change_per_day: float | None
    """Change since the reading before, for each day [SG]; null for the first and within one day."""


@dataclass(frozen=True, slots=True)
class Trend:
    """What a series of gravities says."""

    __pydantic_config__ = SHOWN

    readings: tuple[DayRead, ...]
    """By date."""
    days: float
    """From the first to the last."""
    fall: float
    """First less last [SG]; below zero where gravity rose."""
    fall_per_day: Figure | None
    """Straight line through all readings, as a fall [SG per day], with its 90 % interval by the hydrometer's error;
    null within one day."""
    by_chance: float
    """How often first and last of a drink at rest would differ as much by the hydrometer's error alone."""
    sugar_fermented_g_per_l: float
    """Sugar that the fall stands for [g/L hexose]."""
    could_hide_g_per_l: float
    """Sugar that could have fermented unseen between two equal readings [g/L], by the hydrometer's error."""
    could_hide_co2_volumes: float
    """Carbon dioxide that it makes [volumes]."""
    days_until_seen: float | None
    """Days in which a fall of 0.002 shows at the fastest pace that these readings leave possible; null where they leave
    none."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class Mismatch:
    """Whether the readings fit the recipe, and what is likeliest to be off."""

    __pydantic_config__ = SHOWN

    consistency: Consistency
    """The verdict and its culprits, the likeliest first."""
    readings: tuple[ReadingReport, ...]
    """Each reading beside what the recipe makes it."""


@dataclass(frozen=True, slots=True)
class Interpretation:
    """The answer to `interpret_readings`."""

    __pydantic_config__ = SHOWN

    summary: str
    """The whole in a few sentences."""
    fermentation: Fermentation
    """`steady` needs two equal readings three days apart at least; steady is not finished."""
    action: str
    """What to do now."""
    wait_days: int
    """Least days until the next reading of gravity can tell more; 0 where nothing is waited for."""
    gravity: GravityReport | None
    """Of the drink now."""
    original_gravity: GravityReport | None
    """Before fermentation."""
    refractometer: RefractometerReport | None
    """Its reading."""
    alcohol: tuple[AlcoholReport, ...]
    """The strength by each method, the one used first."""
    abv_percent: Figure | None
    """The strength to go on with [% vol]; null where nothing tells it."""
    sugar: SugarReport | None
    """Extract and sugar; null without gravity and strength."""
    acidity: AcidityReport | None
    """By the titration."""
    ph: PhReport | None
    """As read, else by the recipe."""
    trend: Trend | None
    """What the series says."""
    mismatch: Mismatch | None
    """Readings beside the expected recipe; null without one."""
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
