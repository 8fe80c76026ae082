"""What a correction asks, in base units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from service.planner.asked import AdditionAsked, LotAsked, PlanAsked

REFRACTOMETER: Final = "refractometer"
READ: Final = ("gravity", "abv_percent", "titratable_acidity", "ph", "volume", REFRACTOMETER)
"""What is read from a drink, in the order in which readings are told."""

VESSEL: Final = "drink in the vessel"
"""What the mixture is called as a lot of the plan for the rest."""


@dataclass(frozen=True, slots=True)
class ReadingAsked:
    """One reading of what was in the vessel at the end of a stage: a property or the refractometer, in its unit, with
    its standard deviation."""

    name: str
    value: float
    error: float
    stage: int = 0


@dataclass(frozen=True, slots=True)
class PourAsked:
    """How much of something went in during one stage, and its standard deviation: both litres of a lot, or grams."""

    amount: float = 0.0
    sd: float | None = None


NO_POUR: Final = PourAsked()


@dataclass(frozen=True, slots=True)
class StageAsked:
    """What went in from one measuring to the next, and what was lost [L] before the next.

    `lots`, `additions` and `besides` stand beside what the correction says of all that was poured.
    """

    lots: tuple[PourAsked, ...]
    additions: tuple[PourAsked, ...]
    besides: tuple[PourAsked, ...]
    lost_l: float = 0.0
    lost_sd_l: float = 0.0


@dataclass(frozen=True, slots=True)
class CorrectionAsked:
    """A recipe, what of it is in the vessel, and what was read there.

    `plan` is the recipe that was meant: lots, additions with their limits, targets. `poured_lots` stand beside
    `plan.lots` and `poured_additions` beside `plan.additions`, each between two equal amounts: what was poured in all,
    which may be nothing. `poured_besides` was poured without being of the recipe. `stages` say what of it went in
    before which measuring, oldest first; the `readings` are of all stages. `request` is the body that was sent, from
    which the next one is made.
    """

    plan: PlanAsked
    poured_lots: tuple[LotAsked, ...]
    poured_additions: tuple[AdditionAsked, ...]
    poured_besides: tuple[AdditionAsked, ...]
    stages: tuple[StageAsked, ...]
    readings: tuple[ReadingAsked, ...]
    request: Mapping[str, Any]
