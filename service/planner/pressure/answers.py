"""What is told about pressure, gas and heat: plain records that a packaging plan and the cells write out.

Pressures of a closed container are partial pressures of carbon dioxide. The air that is shut in with it adds about
1 bar absolute, so that a gauge on the container shows about the same figure. `high_bar` is the upper end by which
lines are judged. No field ever says that a drink is harmless.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading
from service.planner.stabilising.answers import HeatMinutes
from service.planner.work import WorkStep

PressureLevel = Literal["still", "prickle", "pressure", "beyond_beer_glass", "burst_hazard"]
ContainerKind = Literal[
    "bottle",
    "still_bottle",
    "beer_bottle",
    "sparkling_bottle",
    "swing_top",
    "can",
    "keg",
    "plastic_bottle",
    "growler",
    "jar",
    "flask",
]
SealVerdict = Literal["do_not_seal", "no_blocker_found"]


@dataclass(frozen=True, slots=True)
class PressureAt:
    """Pressure of one content of carbon dioxide at one temperature."""

    __pydantic_config__ = SHOWN

    temperature_c: float
    """Temperature [°C]."""
    sugar_burned_g_per_l: float
    """Sugar that has fermented in the container [g/L]; 0 for the gas that is there already."""
    co2_g_per_l: float
    """Carbon dioxide in the container to a litre of drink [g/L]."""
    co2_volumes: float
    """The same in volumes of gas at 0 °C and 1 atm."""
    pressure_bar: float
    """Pressure [bar]; about what a gauge on the container shows."""
    pressure_psi: float
    """The same [psi]."""
    high_bar: float
    """Upper end, by which the level is judged [bar]: the law's 7 %, and the kind of sugar where it is not known."""
    level: PressureLevel
    """still below 0.5 bar; prickle to 1; pressure to 3; beyond_beer_glass to 6; burst_hazard above."""
    text: str
    """The figures and the level in words."""


@dataclass(frozen=True, slots=True)
class SugarToReach:
    """How little sugar has to ferment for a pressure to be reached."""

    __pydantic_config__ = SHOWN

    pressure_bar: float
    """The pressure [bar]."""
    temperature_c: float
    """At this temperature [°C]."""
    sugar_g_per_l: float
    """Least sugar to ferment, by the upper ends of gas and law [g/L]; 0 where the gas that is there does it."""
    gravity_fall: float
    """By how much the gravity falls meanwhile [SG]."""
    there_is_enough: bool
    """Whether the sugar that may be in the drink reaches it, by the upper ends."""


@dataclass(frozen=True, slots=True)
class Rating:
    """What the container is made for, beside what it would have to hold."""

    __pydantic_config__ = SHOWN

    container: ContainerKind
    """Kind of container."""
    rated_bar: float | None
    """Pressure it is taken to hold [bar]; null where its kind has no rating and none was stated."""
    stated: bool
    """Whether the caller stated it; a figure for a kind is no rating of the one at hand."""
    exceeded_by_gas_alone: bool
    """Whether the gas that is there already passes it at the warmest temperature, by the upper end."""
    exceeded_if_it_referments: bool
    """Whether the worst case passes it, by the upper end; true where there is no rating and pressure would build."""
    text: str
    """The comparison in words."""
    source_id: str
    """Key of /v1/sources for the figure."""


@dataclass(frozen=True, slots=True)
class HurdleHeld:
    """Whether one stated hurdle, or a pair of them, holds by what is known of the drink."""

    __pydantic_config__ = SHOWN

    hurdle: str
    """The hurdle, or `sulfite and sorbate`."""
    counted: bool
    """Whether this check counts it against refermentation; counting is no proof."""
    text: str
    """Why."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class Refermentation:
    """What happens in a closed container if the drink warms, and if what is left of its sugar ferments."""

    __pydantic_config__ = SHOWN

    verdict: SealVerdict
    """do_not_seal, or no_blocker_found: by this check only, which proves nothing."""
    text: str
    """The verdict with the pressure of full refermentation on the same line."""
    blockers: tuple[str, ...]
    """What forbids sealing, each in a sentence; empty where none was found."""
    baseline: PressureAt
    """The gas that is there already, at the warmest temperature."""
    increment_bar: float
    """What the worst case adds to the baseline [bar]."""
    worst: PressureAt
    """The worst case: all that can ferment, by the upper end of the sugar and the lower of the strength."""
    full: PressureAt
    """If all fermentable sugar ferments, whatever the yeast is said to tolerate."""
    table: tuple[PressureAt, ...]
    """By temperature (4, 20, 30 °C and the warmest) and sugar fermented (0, 2, 4 g/L and all that can)."""
    sugar_to_reach: tuple[SugarToReach, ...]
    """Sugar that brings it to 3 and 6 bar, at 20 °C and at the warmest temperature."""
    fermentable_sugar_g_per_l: float
    """Fermentable sugar, upper end [g/L]."""
    can_ferment_g_per_l: float
    """How much of it can ferment in the worst case [g/L]."""
    limited_by: Literal["sugar", "tolerance"]
    """What limits it."""
    co2_before_g_per_l: float
    """Carbon dioxide in the drink when it is sealed [g/L]; what a keg holds above it comes on top."""
    headspace_share: float
    """Headspace as a share of the volume of the drink."""
    warm_headspace: HeatedHeadspace
    """What the headspace becomes at the warmest temperature, before anything ferments."""
    warmest_c: float
    """The warmest temperature reckoned with [°C]."""
    alcohol_text: str
    """Whether the strength stands in the way of yeast."""
    hurdles: tuple[HurdleHeld, ...]
    """The stated hurdles, each with what it is worth here."""
    rating: Rating
    """The container."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    assumed: tuple[Assumed, ...]
    """Defaults used."""
    next_reading: tuple[NextReading, ...]
    """What to measure or watch next."""


@dataclass(frozen=True, slots=True)
class LeftUnder:
    """What a keg of still drink takes up if carbon dioxide is left on top of it."""

    __pydantic_config__ = SHOWN

    gauge_bar: float
    """Gauge pressure of carbon dioxide [bar]."""
    gauge_psi: float
    """The same [psi]."""
    co2_g_per_l: float
    """Carbon dioxide dissolved in the end [g/L]."""
    co2_volumes: float
    """The same in volumes."""


@dataclass(frozen=True, slots=True)
class KegGas:
    """Gas on a keg: the gauge pressure for a carbonation, or how to keep a drink still."""

    __pydantic_config__ = SHOWN

    still: bool
    """Whether the drink is to stay still."""
    temperature_c: float
    """Temperature of the keg [°C]."""
    co2_volumes: float | None
    """Carbonation asked for [volumes]; null for a still drink."""
    co2_g_per_l: float | None
    """The same [g/L]."""
    gauge_bar: float | None
    """What the regulator has to show [bar]; null for a still drink."""
    gauge_psi: float | None
    """The same [psi]."""
    low_bar: float | None
    """Lower end, by the 7 % of the law [bar]."""
    high_bar: float | None
    """Upper end [bar]."""
    water_gauge_bar: float | None
    """What plain water would need [bar]: sugar and alcohol take the rest."""
    by_temperature: tuple[PressureAt, ...]
    """What the gauge shows with the same content as the keg warms, at 4, 20, 30 °C and the temperature asked for, the
    keg purged of air; empty for a still drink under no stated pressure."""
    left_under: tuple[LeftUnder, ...]
    """What carbon dioxide left on top does at this temperature."""
    stays_still: tuple[str, ...]
    """How to keep it still; empty for a carbonated drink."""
    co2_mass_g: float | None
    """Carbon dioxide that the carbonation takes [g]; null without a volume or for a still drink."""
    text: str
    """The whole in one sentence."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    assumed: tuple[Assumed, ...]
    """Defaults used."""


@dataclass(frozen=True, slots=True)
class ColdFilled:
    """Bottles filled from a cold, carbonated keg, as they warm."""

    __pydantic_config__ = SHOWN

    filled_at_c: float
    """Temperature of the keg [°C]."""
    co2_g_per_l: float
    """Carbon dioxide in the drink [g/L]."""
    co2_volumes: float
    """The same in volumes."""
    keg_gauge_bar: float
    """Gauge pressure of the keg [bar]."""
    pressures: tuple[PressureAt, ...]
    """At the filling, in a room of 20 °C, at the warmest storage, and at 40 and 50 °C as in a parked car."""
    rating: Rating
    """The container, judged at the warmest storage."""
    text: str
    """The whole in one sentence."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    assumed: tuple[Assumed, ...]
    """Defaults used."""


@dataclass(frozen=True, slots=True)
class HeatedHeadspace:
    """What the headspace of a closed container becomes when it is heated, or warms in store."""

    __pydantic_config__ = SHOWN

    filled_at_c: float
    """Temperature at which it was closed [°C]."""
    heated_to_c: float
    """Temperature of the heat treatment, or the warmest of the store [°C]."""
    headspace_share: float
    """Headspace at filling, as a share of the volume of the drink."""
    swelling_share: float
    """By how much the drink swells, as a share of its volume."""
    full_of_liquid: bool
    """Whether the drink swells by more than the headspace: nothing gives way then but the container."""
    air_bar_absolute: float | None
    """The air, squeezed and heated [bar absolute]; 0 in a purged keg, null where it is full of liquid."""
    co2_bar: float | None
    """Carbon dioxide beside it [bar]; null where it is full of liquid."""
    vapour_bar: float | None
    """Vapour of water and alcohol beside it [bar]; null where it is full of liquid."""
    gauge_bar: float | None
    """All of it above 1 atm [bar]; null where it is full of liquid."""
    gauge_psi: float | None
    """The same [psi]."""
    least_headspace_share: float
    """Least headspace that this check lets pass: 3 % in store, 4 % heated, or more where the drink swells more."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class HeatReport:
    """Pasteurising: minutes for a target, units that a log gave, and the headspace at that temperature."""

    __pydantic_config__ = SHOWN

    target_units: float
    """Units aimed at [minutes at 60 °C]."""
    temperature_c: float
    """Temperature of the coldest spot that minutes are told for [°C]."""
    minutes: float
    """Minutes at temperature for the whole target, heating up and cooling down not counted."""
    units_given: float | None
    """Units that the log gave; null without one."""
    missing_units: float | None
    """What is missing to the target; null without a log."""
    missing_minutes: float | None
    """Minutes at `temperature_c` that would make it up; null without a log."""
    reached: bool | None
    """Whether the log reached the target; null without one."""
    by_temperature: tuple[HeatMinutes, ...]
    """Minutes for the target at other temperatures."""
    headspace: HeatedHeadspace
    """What the headspace becomes."""
    text: str
    """The whole in one sentence."""
    steps: tuple[WorkStep, ...]
    """What to do, in order."""
    cautions: tuple[Caution, ...]
    """What to heed, `stop` first."""
    assumed: tuple[Assumed, ...]
    """Defaults used."""
