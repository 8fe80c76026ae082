"""What a tasting answers: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. No field ever says that a drink is harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading, SourceCited
from service.planner.tasting.asked import Kind, Scale, Sides
from service.planner.tasting.finding import Direction
from service.planner.work import NextCall

Outcome = Literal[
    "best_dose",
    "best_dose_without_interval",
    "extend_range",
    "no_optimum_found",
    "difference_found",
    "no_difference_shown",
]


@dataclass(frozen=True, slots=True)
class ScaledDose:
    """A dose for a volume, by plain scaling."""

    __pydantic_config__ = SHOWN

    volume_l: float
    """Volume of drink before the dose [L]."""
    amount: float
    """How much of what is dosed, in `unit`."""
    unit: Literal["g", "mL"]
    """Unit of `amount`."""
    amount_text: str
    """The same in the caller's system."""
    low_text: str | None
    """For the lower end of the interval; null without one."""
    high_text: str | None
    """For the upper end."""


@dataclass(frozen=True, slots=True)
class BestDose:
    """The best dose, in `unit`, with its interval where one can be told."""

    __pydantic_config__ = SHOWN

    dose: float
    """The best dose inside the tested range."""
    unit: str
    """Unit of every dose here, in the caller's words."""
    text: str
    """The dose rounded to no finer than half a just-noticeable step."""
    low: float | None
    """Lower end of the 95 % interval, by Fieller; null where none is told."""
    high: float | None
    """Upper end; null where none is told, or where it has none within reach."""
    widened: bool
    """Whether an end was moved out to half a just-noticeable step: nothing finer is told."""
    half_step: float
    """Half a just-noticeable step at this dose."""
    standard_error: float | None
    """Standard error of the optimum, by the delta method."""
    delta_low: float | None
    """Lower end of the 95 % interval by the delta method, for comparison."""
    delta_high: float | None
    """Upper end."""
    score: float
    """Score that the tasters' mean is expected to give it [points]."""
    flat_low: float | None
    """Lowest tested dose from which the expected score is within `flat_within` points of the best, or of just right."""
    flat_high: float | None
    """Highest such dose."""
    flat_within: float
    """Points within which two doses are called alike."""
    at_the_edge: bool
    """Whether the curve has its best outside the tested range, so that `dose` is only the nearest tested one."""
    beyond: float | None
    """Where the curve has its best then: an extrapolation, for the direction only; null inside the range."""
    in_glass: ScaledDose | None
    """The dose for the glass, where its volume and the unit allow."""
    in_batch: ScaledDose | None
    """The dose for the batch, where its volume and the unit allow."""


@dataclass(frozen=True, slots=True)
class DoseTested:
    """One tested dose."""

    __pydantic_config__ = SHOWN

    dose: float
    """Dose, in the unit of the request."""
    scores: int
    """How many scores."""
    mean: float
    """Their plain mean [points]."""
    adjusted_mean: float
    """The mean freed of who happened to taste it [points]; equal to `mean` where everyone tasted everything."""
    expected: float | None
    """Score by the fitted curve [points]; null without one."""


@dataclass(frozen=True, slots=True)
class TasterReport:
    """One taster."""

    __pydantic_config__ = SHOWN

    taster: str
    """Name as given, or the place in the lists of scores."""
    scores: int
    """How many scores."""
    mean: float
    """Their mean [points]."""
    level: float | None
    """How much higher than the mean taster this one scores at equal doses [points]; null without a fit."""
    best_dose: float
    """The tested dose that this one scored best, or nearest to just right; the lower of equals."""


@dataclass(frozen=True, slots=True)
class ScoresFit:
    """The curve through the scores."""

    __pydantic_config__ = SHOWN

    curve: Literal["parabola", "line_in_ln_dose"]
    """y = intercept + slope·x + curvature·x² with x the dose; or x = ln(dose + level before) and no curvature."""
    intercept: float
    """Of the tasters' mean [points]."""
    slope: float
    """[points per unit of x]."""
    curvature: float | None
    """[points per unit of x²]; null for a line."""
    scatter: float
    """Standard deviation of a score about the curve, each taster's level taken out [points]."""
    degrees_of_freedom: int
    """Scores less everything fitted, the tasters' levels included."""
    t: float | None
    """Two-sided 95 % quantile of Student's t for these; null without any."""


@dataclass(frozen=True, slots=True)
class TryNext:
    """What another tasting should hold."""

    __pydantic_config__ = SHOWN

    direction: Direction
    """Where to look."""
    doses: tuple[float, ...]
    """Doses to taste, in the unit of the request."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class Bounded:
    """An estimate with its bounds. Where the test has one side each holds with 95 %, so that both together are a 90 %
    interval; where it has two sides both together are a 95 % interval. Null where there is none within reach."""

    __pydantic_config__ = SHOWN

    value: float | None
    """Estimate."""
    low: float
    """Lower bound."""
    high: float | None
    """Upper bound."""


@dataclass(frozen=True, slots=True)
class PanelPlan:
    """How many answers the next test takes."""

    __pydantic_config__ = SHOWN

    kind: Kind
    """Kind of test."""
    first: int | None
    """Least number of answers that reaches the power; null beyond 10,000."""
    from_then_on: int | None
    """Number from which every larger one reaches it too, since power saws; null beyond 10,000."""


@dataclass(frozen=True, slots=True)
class DifferenceReport:
    """A difference test by the exact binomial."""

    __pydantic_config__ = SHOWN

    kind: Kind
    """Kind of test."""
    standard: str
    """The standard that describes it; key of /v1/sources."""
    n: int
    """Answers."""
    correct: int
    """Right ones; two-sided, those for one of the two samples."""
    sides: Sides
    """One: the right answer is known beforehand. Two: either sample may be the stronger."""
    guessing: float
    """Chance of a right answer by guessing."""
    alpha: float
    """Chance of calling a difference where there is none that the test allows."""
    p: float
    """Chance of so many right answers, or more, if everyone guessed; 0 where it is too small for a number of JSON."""
    significant: bool
    """Whether p is at most alpha."""
    critical_count: int | None
    """Right answers from which a test of this size is significant; null where not even all would be."""
    discriminators: Bounded
    """Share of people who truly tell the samples apart [-], by Abbott's formula; `high` bounds what may be there."""
    d_prime: Bounded
    """Distance d′ between the samples in standard deviations of what is perceived; Thurstonian formulas, from memory,
    unverified."""
    planned_discriminators: float | None
    """Share of discriminators that power was computed for [-]; null where d′ was given."""
    planned_d_prime: float | None
    """d′ that power was computed for; null where discriminators were given or assumed."""
    power: float
    """Chance that a test of this size finds that difference [-]."""
    power_wanted: float
    """Power that the next panel is planned for [-]."""
    next_panels: tuple[PanelPlan, ...]
    """Answers that it takes for the same kind of test; where d′ is given, for the others too."""


@dataclass(frozen=True, slots=True)
class Tasting:
    """The answer to `judge_tasting`."""

    __pydantic_config__ = SHOWN

    outcome: Outcome
    """What was found, in words; read the cautions with it."""
    summary: str
    """One or two sentences about the whole."""
    scale: Scale | None
    """What the scores mean; null for a difference test."""
    best: BestDose | None
    """The best dose; null where no optimum was found."""
    best_tested: DoseTested | None
    """The tested dose that did best; null for a difference test."""
    tested: tuple[DoseTested, ...]
    """Every tested dose, ascending."""
    tasters: tuple[TasterReport, ...]
    """Every taster, in the order of the request; empty where nobody knows who scored what."""
    fit: ScoresFit | None
    """The curve; null where none could be fitted."""
    try_next: TryNext | None
    """What another tasting should hold; null where there is a best dose with its interval."""
    difference: DifferenceReport | None
    """The difference test; null for scores."""
    next: dict[str, NextCall]
    """Requests that can follow, by operation: a blend plan for a level, a bench trial for an amount, or another
    tasting. What stands in for a lot, an ingredient or a score stands in `replace`."""
    units: str
    """The system that texts are written in: metric, us or imperial."""
    assumed: tuple[Assumed, ...]
    """Every default used, and what would replace it."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    next_reading: tuple[NextReading, ...]
    """What to taste or measure next."""
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
