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
    """One reading of what is in the vessel: a property or the refractometer, in its unit, with its standard
    deviation."""

    name: str
    value: float
    error: float


@dataclass(frozen=True, slots=True)
class CorrectionAsked:
    """A recipe, what of it is in the vessel, and what was read there.

    `plan` is the recipe that was meant: lots, additions with their limits, targets. `poured_lots` stand beside
    `plan.lots` and `poured_additions` beside `plan.additions`, each between two equal amounts: what is in the vessel,
    which may be nothing. `poured_besides` is in the vessel without being of the recipe. `request` is the body that was
    sent, from which the next one is made.
    """

    plan: PlanAsked
    poured_lots: tuple[LotAsked, ...]
    poured_additions: tuple[AdditionAsked, ...]
    poured_besides: tuple[AdditionAsked, ...]
    readings: tuple[ReadingAsked, ...]
    request: Mapping[str, Any]
