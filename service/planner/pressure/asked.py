"""What is asked about the closed container of a drink, in base units: None wherever nothing was said."""

from __future__ import annotations

from dataclasses import dataclass

from service.planner.pressure.answers import ContainerKind
from service.planner.stabilising.asked import GravityOfDay

DEFAULT_WARMEST_C = 30.0
"""Hottest storage reckoned with where none was stated (our default)."""

ROOM_C = 20.0
"""A closed container sees a room one day, and a power cut: colder than this is not reckoned with (our default)."""

DEFAULT_HEADSPACE_SHARE = 0.04
"""Headspace as a share of the volume of the drink, where none was stated (our default)."""

COLD_FILL_C = 4.0
"""The coldest that a container is taken to be closed at, where no temperature was stated: a cold drink swells most (our
default, the careful side)."""

DEFAULT_CO2_G_PER_L = 1.0
"""Carbon dioxide left in a drink after racking or degassing, where none was measured (our default)."""


@dataclass(frozen=True, slots=True)
class Closed:
    """A container that is filled with the drink and closed.

    `headspace_share` counts to the volume of the drink, not of the container; `rated_bar` is what its maker states;
    `storage_c` the warmest storage meant; `co2_g_per_l` what was measured in the drink, or put there; `filled_at_c` the
    temperature of the drink when it is closed. `purged` means that the headspace holds no air but carbon dioxide,
    `headspace_co2_g_per_l` of it to a litre of drink: a keg under gas.
    """

    kind: ContainerKind = "bottle"
    headspace_share: float | None = None
    rated_bar: float | None = None
    storage_c: float | None = None
    co2_g_per_l: float | None = None
    filled_at_c: float | None = None
    purged: bool = False
    headspace_co2_g_per_l: float = 0.0

    @property
    def closed_at_c(self) -> float:
        """The temperature at which it is closed [°C]: as stated, else cold, from where the drink swells most."""
        return COLD_FILL_C if self.filled_at_c is None else self.filled_at_c

    @property
    def warmest_c(self) -> float:
        """The warmest temperature reckoned with [°C]: the stated storage, but no less than a room's 20; else 30."""
        return DEFAULT_WARMEST_C if self.storage_c is None else max(self.storage_c, ROOM_C)

    @property
    def headspace(self) -> float:
        """Headspace as a share of the volume of the drink."""
        return DEFAULT_HEADSPACE_SHARE if self.headspace_share is None else self.headspace_share

    @property
    def co2(self) -> float:
        """Carbon dioxide in the drink when it is closed [g/L]."""
        return DEFAULT_CO2_G_PER_L if self.co2_g_per_l is None else self.co2_g_per_l

    @property
    def all_co2(self) -> float:
        """Carbon dioxide in drink and headspace when it is closed, to a litre of drink [g/L]."""
        return self.co2 + self.headspace_co2_g_per_l


@dataclass(frozen=True, slots=True)
class Rest:
    """What shows that the ferment is at rest, and what the yeast is said to stand.

    `finished` is the caller's word; `readings` of a hold test count before it; `tolerance_abv_percent` is printed on
    the packet.
    """

    finished: bool | None = None
    readings: tuple[GravityOfDay, ...] = ()
    hydrometer_error: float = 0.001
    tolerance_abv_percent: float | None = None
