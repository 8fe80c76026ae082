"""What a maker asks about a tasting, in base units: None wherever nothing was said."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final, Literal

from service.planner.asked import Echo
from service.planner.steps import DEFAULT_STEPS, LEVEL_FLOORS, Step
from service.quantities import System

Scale = Literal["liking", "just_about_right"]
Kind = Literal["triangle", "two_afc", "duo_trio"]
Sides = Literal["one", "two"]

DEFAULT_STEP: Final = DEFAULT_STEPS["sugar_g_per_l"]
"""The just-noticeable step of a dose of which nothing is known: that of sugar, 12 % (our default)."""

FLAT_WITHIN: Final = 0.2
"""Points of a nine-point scale below which two levels of liking are called alike (our default)."""

DEFAULT_ALPHA: Final = 0.05
"""Chance of calling a difference where there is none (common practice)."""

DEFAULT_POWER: Final = 0.8
"""Chance of seeing a difference that is there (common practice)."""

DEFAULT_DISCRIMINATORS: Final = 0.5
"""Share of people who truly tell the samples apart, that a panel is planned for (our default)."""


@dataclass(frozen=True, slots=True)
class Score:
    """What one taster gave one dose; `taster` is None where nobody knows who it was."""

    taster: str | None
    dose: float
    score: float


@dataclass(frozen=True, slots=True)
class DoseUnit:
    """The unit of a dose in the caller's words, and what one of it is, where that can be scaled.

    `amount` is g or mL of what is dosed for a dose of 1, `kind` which of the two, `per_ml` the volume it goes into
    [mL], None for the glass of the request.
    """

    text: str = ""
    kind: Literal["g", "mL"] | None = None
    amount: float = 0.0
    per_ml: float | None = None
    of_what: str = ""


@dataclass(frozen=True, slots=True)
class ScoresAsked:
    """Scores at several doses.

    `level_before` is what the drink holds of it already [unit of the dose]; `level` the property that the doses are
    levels of, if they are no amounts; `glass_ml` and `batch_l` the volumes before the dose.
    """

    scores: tuple[Score, ...]
    scale: Scale = "liking"
    scale_given: bool = True
    unit: DoseUnit = DoseUnit()
    level: str | None = None
    level_before: float | None = None
    step: Step = DEFAULT_STEP
    step_given: bool = True
    glass_ml: float | None = None
    batch_l: float | None = None
    flat_within: float | None = None
    in_order: bool = False

    @property
    def before(self) -> float:
        """What the drink holds already, nothing if nobody said."""
        return 0.0 if self.level_before is None else self.level_before

    @property
    def flat(self) -> float:
        """Points within which two levels of liking are alike."""
        return FLAT_WITHIN if self.flat_within is None else self.flat_within

    def finest(self, dose: float) -> float:
        """Half a just-noticeable step at a dose [unit of the dose]: nothing finer is told."""
        if not self.step.relative:
            return 0.5 * self.step.size
        floor = 0.0 if self.level is None else LEVEL_FLOORS.get(self.level, 0.0)
        return 0.5 * self.step.size * max(dose + self.before, floor)


@dataclass(frozen=True, slots=True)
class DifferenceAsked:
    """A difference test: how many answers, how many right; `people` where some answered more than once."""

    kind: Kind
    n: int
    correct: int
    sides: Sides = "one"
    sides_given: bool = True
    alpha: float | None = None
    power_wanted: float | None = None
    discriminators: float | None = None
    d_prime: float | None = None
    people: int | None = None


@dataclass(frozen=True, slots=True)
class TastingAsked:
    """One of the two questions, and how the glasses were served."""

    scores: ScoresAsked | None = None
    difference: DifferenceAsked | None = None
    blind: bool | None = None
    random_order: bool | None = None
    system: System = "metric"
    echo: Echo = field(default_factory=Echo)
