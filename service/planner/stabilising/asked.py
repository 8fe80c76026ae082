"""What a maker asks about stabilising, in base units: None wherever nothing was said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from service.chemistry.sulfite import DEFAULT_SO2_SHARE, PkBasis
from service.chemistry.sulfite_limits import Market, WineColour
from service.model.lot_class import LotClass
from service.planner.asked import Circumstances

HURDLES = ("sulfite", "sorbate", "pasteurised", "sterile_filtered", "cold")
"""What can be planned against refermentation, in the order of an answer."""

DEFAULT_BOUND_SHARE = 0.4
"""Share of an addition of SO2 that gets bound, where nobody measured it (common practice 0.3 to 0.5, no source)."""

MOST_GROWTH = 3.0
"""Growth of the volume between dosing and packaging beyond which a dose would be far too strong at first: dose after
blending instead (our default)."""


@dataclass(frozen=True, slots=True)
class GravityOfDay:
    """A gravity read on a day, SG 20/20."""

    day: date
    gravity: float


@dataclass(frozen=True, slots=True)
class Sulfite:
    """What is wanted of sulfite, what is in the drink already [mg/L at dosing], and the salt at hand."""

    free_target_mg_per_l: float | None = None
    molecular_target_mg_per_l: float | None = None
    free_now_mg_per_l: float | None = None
    total_now_mg_per_l: float | None = None
    bound_share: float | None = None
    pk_basis: PkBasis | None = None
    so2_share: float | None = None
    tablet_g: float | None = None

    @property
    def salt_share(self) -> float:
        """SO2 that the salt yields [g/g]."""
        return DEFAULT_SO2_SHARE if self.so2_share is None else self.so2_share


@dataclass(frozen=True, slots=True)
class Sorbate:
    """What is wanted of sorbic acid, at packaging [mg/L], and the salt at hand."""

    target_mg_per_l: float | None = None
    purity: float | None = None

    @property
    def salt_purity(self) -> float:
        """Potassium sorbate in the product [g/g]."""
        return 1.0 if self.purity is None else self.purity


@dataclass(frozen=True, slots=True)
class DrinkRead:
    """Readings of the drink at one moment; pH before any salt of this plan goes in."""

    volume_l: float | None = None
    ph: float | None = None
    abv_percent: float | None = None
    titratable_meq_per_l: float | None = None


@dataclass(frozen=True, slots=True)
class StabilisingAsked:
    """How much sulfite and sorbate, and whether they are enough.

    `dosing` holds pH and strength; of `packaging` everything may be missing. `volume_error_percent` is the caller's
    own error of a volume where one was stated; `sent` the body of the request, from which the next one is made.
    """

    dosing: DrinkRead
    packaging: DrinkRead = DrinkRead()
    lot_class: LotClass | None = None
    colour: WineColour | None = None
    sugar_g_per_l: float | None = None
    temperature_c: float | None = None
    fermentation_finished: bool | None = None
    readings: tuple[GravityOfDay, ...] = ()
    sulfite: Sulfite = Sulfite()
    sorbate: Sorbate = Sorbate()
    market: Market | None = None
    hurdles: tuple[str, ...] | None = None
    raw_juice_after: bool | None = None
    malolactic_possible: bool | None = None
    volume_error_percent: float | None = None
    circumstances: Circumstances = field(default_factory=Circumstances)
    sent: Mapping[str, Any] = field(default_factory=dict)
