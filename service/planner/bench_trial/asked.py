"""What a maker asks about a glass dosed with measured stocks, in base units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from service.chemistry.dyes import Absorptivity, Dye
from service.model.lot_class import Assumed
from service.planner.asked import AdditionAsked, Circumstances, LotAsked

DROPS_PER_ML: Final = 20.0
"""Common practice, no source: a drop of 0.05 mL."""

SYRINGE_STEP_ML: Final = 0.1
"""Smallest graduation of a small syringe [mL] (common practice, no source)."""

ERROR_GRADUATIONS: Final = 1.0
"""Standard deviation of a dose in smallest graduations: a drop more or less, or 0.1 mL (judged)."""


@dataclass(frozen=True, slots=True)
class Measure:
    """How much of a stock went into the glass: millilitres where `by_volume`, else grams.

    `graduation` is the smallest step of what it was measured with, `sd` the standard deviation of the dose, both in the
    same unit; the texts are the caller's.
    """

    amount: float
    by_volume: bool
    graduation: float
    sd: float
    text: str
    graduation_text: str
    in_drops: bool = False

    @property
    def graduations(self) -> float:
        """How many of the smallest graduations the dose is."""
        return self.amount / self.graduation


@dataclass(frozen=True, slots=True)
class Solution:
    """How a stock was made of its ingredient and a solvent: parts by mass, parts by volume, or g in 100 mL made up."""

    solvent: AdditionAsked
    by_mass: tuple[float, float] | None = None
    by_volume: tuple[float, float] | None = None
    percent_w_v: float | None = None


@dataclass(frozen=True, slots=True)
class DyeAsked:
    """A liquid colour: `dye` None where nothing is on file, `percent_w_v` None where its strength is not stated."""

    name: str
    dye: Dye | None
    percent_w_v: float | None = None
    total_colour_percent: float | None = None
    absorptivities: tuple[Absorptivity, ...] = ()


@dataclass(frozen=True, slots=True)
class StockAsked:
    """One stock of the glass: an ingredient as it is, a solution of one, or a dye; `pointer` is its place."""

    name: str
    measure: Measure
    addition: AdditionAsked | None = None
    solution: Solution | None = None
    dye: DyeAsked | None = None
    pointer: str = ""


@dataclass(frozen=True, slots=True)
class BenchAsked:
    """A glass of `base_l` of the batch with stocks in it, and the batch to be like it.

    `additions` are what the batch may be dosed with instead of what the stocks hold; `batch_as_sent` the lot in the
    caller's words.
    """

    batch: LotAsked
    base_l: float
    stocks: tuple[StockAsked, ...]
    base_sd_share: float | None = None
    additions: tuple[AdditionAsked, ...] = ()
    water_allowed: bool = False
    haze: bool | None = None
    depth_cm: float | None = None
    assumed: tuple[Assumed, ...] = ()
    batch_as_sent: Mapping[str, Any] = field(default_factory=dict)
    circumstances: Circumstances = field(default_factory=Circumstances)
    deadline_s: float = 2.0
