"""What helps to decide: why targets clash, what would settle it, and what a small change costs.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SHOWN: Final = {"defer_build": True}
"""For all classes that answers are made of: how they are written is worked out when the first one is."""


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The smallest change of one member of a conflict that alone would let everything else hold."""

    __pydantic_config__ = SHOWN

    member: str
    """The member of the conflict: a property, or `stock of …`, `use of …`, `least of …`, `packs of …`."""
    to: str
    """What it would have to become, in words."""
    value: float
    """The same as a number, in `unit`."""
    unit: str
    """Unit of `value`."""
    proved: bool
    """Whether it is proved that no smaller change would do."""


@dataclass(frozen=True, slots=True)
class Helpful:
    """One ingredient of the catalogue with which all targets could be met."""

    __pydantic_config__ = SHOWN

    ingredient: str
    """Id in the catalogue."""
    mass_g: float
    """About the least of it that does [g]."""
    amount_text: str
    """The same in the caller's system."""


@dataclass(frozen=True, slots=True)
class Clash:
    """Why targets cannot all be met, and what would settle it."""

    __pydantic_config__ = SHOWN

    conflict: tuple[str, ...]
    """Targets and limits that cannot hold together: without any one of them the rest can."""
    relax: tuple[Relaxed, ...]
    """For each member, the smallest change of it alone that would do; members for which none would are left out."""
    helpful_ingredients: tuple[Helpful, ...]
    """Single ingredients that would make all targets reachable, the smallest amount first."""
    text: str
    """The whole in plain words."""


@dataclass(frozen=True, slots=True)
class AmountChange:
    """How one amount moves."""

    __pydantic_config__ = SHOWN

    name: str
    """Lot or ingredient."""
    mass_g: float
    """Change of its mass [g]."""


@dataclass(frozen=True, slots=True)
class PropertyChange:
    """How one property moves."""

    __pydantic_config__ = SHOWN

    property: str
    """Name of the property."""
    change: float
    """Change, in `unit`."""
    unit: str
    """Unit of `change`."""
    steps: float | None
    """The same in just-noticeable steps; null where none is defined."""


@dataclass(frozen=True, slots=True)
class Marginal:
    """What a small change of a binding target or limit takes, to first order: the plan's rate times the step.

    Whole packs stay as they are. A limit that the plan has reached but that costs it nothing is not listed.
    """

    __pydantic_config__ = SHOWN

    of: str
    """The target or limit: a property, or `stock of …`, `use of …`, `least of …`."""
    step: float
    """The change that is priced, in `unit`: a just-noticeable step, or one of the instrument; below 0 downwards."""
    unit: str
    """Unit of `step`; L for the use of a lot, g for what is weighed."""
    amounts: tuple[AmountChange, ...]
    """What moves, the largest first."""
    changes: tuple[PropertyChange, ...]
    """What else moves: gravity, strength, acidity, pH, cost and what is preferred."""
    text: str
    """The same in words, and how far the rate holds where that is less than the step."""
