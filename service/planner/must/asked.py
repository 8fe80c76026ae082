"""What a maker asks about a must, in base units: None wherever nothing was said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from service.chemistry.nitrogen import DEMAND_MG_N_PER_G
from service.planner.asked import AdditionAsked, Circumstances, Preference, TargetAsked
from service.planner.losses import Losses

VolumeIs = Literal["final", "water_added"]


@dataclass(frozen=True, slots=True)
class SourceAsked:
    """Something with sugar in it, and what it is sold in [g]; with `sold_in_g` shopping is in whole packs.

    `sold_as` is what a pack holds in the caller's words.
    """

    addition: AdditionAsked
    sold_in_g: float | None = None
    sold_as: str | None = None


@dataclass(frozen=True, slots=True)
class NitrogenSource:
    """A source of nitrogen: share [g/g], whether it is an ammonium phosphate, a fixed mass [g] where it was given."""

    name: str
    nitrogen_share: float
    phosphate: bool | None
    mark: str
    amount_g: float | None = None
    price_per_g: float | None = None


@dataclass(frozen=True, slots=True)
class NitrogenAsked:
    """Demand of the strain: a class, or a figure [mg N per g of sugar]; and what there is to meet it."""

    demand: str
    demand_mg_n_per_g: float
    sources: tuple[NitrogenSource, ...]
    must_yan_mg_n_per_l: float | None = None
    demand_given: bool = False
    sources_given: bool = False


@dataclass(frozen=True, slots=True)
class YeastAsked:
    """What is known of the yeast."""

    grams: float | None = None
    viable_cells_per_g: float | None = None
    tolerance_abv_percent: float | None = None


@dataclass(frozen=True, slots=True)
class ContainerAsked:
    """Containers of one size to fill."""

    kind: str
    fill_l: float
    count: int


@dataclass(frozen=True, slots=True)
class BaseAsked:
    """The dry base of a finished drink: what is known of it beforehand."""

    name: str = "base"
    final_gravity: float | None = None
    titratable_meq_per_l: float | None = None
    ph: float | None = None


@dataclass(frozen=True, slots=True)
class FinishedAsked:
    """The drink that the must is for.

    `targets` hold a strength; `containers` or a target on volume say how much. `body` holds additions and targets as
    they were asked, for the request that can follow.
    """

    base: BaseAsked
    additions: tuple[SourceAsked, ...]
    targets: tuple[TargetAsked, ...]
    prefer: tuple[Preference, ...] = ()
    containers: tuple[ContainerAsked, ...] = ()
    losses: Losses = field(default_factory=Losses)
    losses_given: bool = False
    remembered: tuple[str, ...] = ()
    body: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MustAsked:
    """How much of what makes this must; or what these amounts make.

    One of `original_gravity`, `potential_abv_percent` and `finished`, or none where all sources have their amounts.
    `volume_l` is the must's, or that of the water, as `volume_is` says.
    """

    sources: tuple[SourceAsked, ...]
    water: AdditionAsked
    original_gravity: float | None = None
    potential_abv_percent: float | None = None
    finished: FinishedAsked | None = None
    volume_l: float | None = None
    volume_is: VolumeIs | None = None
    prefer: tuple[Preference, ...] = ()
    rounding: str = "none"
    nitrogen: NitrogenAsked = NitrogenAsked("medium", DEMAND_MG_N_PER_G["medium"], ())
    yeast: YeastAsked = YeastAsked()
    circumstances: Circumstances = field(default_factory=Circumstances)
    deadline_s: float = 2.0
    water_given: bool = False
    sources_given: bool = True
