"""What a maker asks about packaging, in base units: None wherever nothing was said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Literal

from service.planner.asked import Circumstances
from service.planner.drink import Drink
from service.planner.losses import Losses
from service.planner.packaging.fill import Size
from service.planner.pressure.answers import ContainerKind
from service.planner.pressure.asked import Rest

Part = Literal["fills", "pressure", "gas", "heat", "label"]
PARTS: Final[tuple[Part, ...]] = ("fills", "pressure", "gas", "heat", "label")
"""What a packaging plan is made of."""

DEFAULT_KEG_C: Final = 4.0
"""Temperature of a keg where none was stated (our default)."""


@dataclass(frozen=True, slots=True)
class ContainerAsked:
    """Containers of one kind and size; `headspace_share` counts to the volume of the drink in it."""

    kind: ContainerKind
    fill_ml: float
    count: int | None = None
    most: int | None = None
    part_filled: bool = False
    rated_bar: float | None = None
    headspace_share: float | None = None
    price_each: float | None = None

    @property
    def size(self) -> Size:
        """What of it decides how many are filled."""
        return Size(self.fill_ml, self.count, self.most, self.part_filled)


@dataclass(frozen=True, slots=True)
class FromKeg:
    """Filled from a cold keg: its temperature [°C] and either its gauge pressure [bar] or its volumes of gas."""

    temperature_c: float
    gauge_bar: float | None = None
    volumes: float | None = None


@dataclass(frozen=True, slots=True)
class GasAsked:
    """Gas in the drink and on a keg: a carbonation in volumes, or a drink that stays still under a pressure [bar].

    `still` is the caller's word for it; without a keg it changes no figure.
    """

    volumes: float | None = None
    temperature_c: float | None = None
    gauge_bar: float | None = None
    co2_g_per_l: float | None = None
    nitrogen: bool = False
    from_keg: FromKeg | None = None
    still: bool = False


@dataclass(frozen=True, slots=True)
class HeatAsked:
    """Pasteurising in the container: temperature of the coldest spot [°C], units aimed at, pairs of minute and °C."""

    temperature_c: float | None = None
    target_units: float | None = None
    log: tuple[tuple[float, float], ...] = ()
    filled_at_c: float | None = None


@dataclass(frozen=True, slots=True)
class LabelAsked:
    """What a label needs besides the drink: market, serving [mL], and what else went in, in the caller's words."""

    market: str = "none"
    serving_ml: float | None = None
    colours: tuple[str, ...] = ()
    fining_agents: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PackagingAsked:
    """The question: a drink, into which containers, by which parts of the answer.

    `losses` lie between the drink's volume and what is filled, `reserve_ml` is kept back of it. `sent` is the request
    as it came.
    """

    drink: Drink
    containers: tuple[ContainerAsked, ...]
    losses: Losses | None = None
    reserve_ml: float = 0.0
    gas: GasAsked = field(default_factory=GasAsked)
    heat: HeatAsked | None = None
    rest: Rest = field(default_factory=Rest)
    label: LabelAsked = field(default_factory=LabelAsked)
    parts: frozenset[Part] = frozenset(PARTS)
    circumstances: Circumstances = field(default_factory=Circumstances)
    sent: Mapping[str, Any] = field(default_factory=dict)

    def is_heated(self, container: ContainerAsked) -> bool:
        """Whether a heat treatment is meant for a container: not for kegs, unless there is nothing else."""
        only_kegs = all(other.kind == "keg" for other in self.containers)
        return self.heat is not None and "heat" in self.parts and (container.kind != "keg" or only_kegs)

    def filled_at_c(self, container: ContainerAsked) -> float | None:
        """Temperature of the drink when a container is closed [°C]: as stated, else of the keg it is filled from."""
        if self.heat is not None and self.heat.filled_at_c is not None:
            return self.heat.filled_at_c
        if container.kind != "keg" and self.gas.from_keg is not None:
            return self.gas.from_keg.temperature_c
        return None

    def hurdles_of(self, container: ContainerAsked) -> tuple[str, ...]:
        """Hurdles stated, and heat where it is planned for this container."""
        told = set(self.circumstances.intended.hurdles)
        return tuple(sorted(told | ({"pasteurised"} if self.is_heated(container) else set())))
