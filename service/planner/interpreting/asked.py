"""What a maker read, in base units: None wherever nothing was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final

from service.model.lot_class import JUICE_ROW, Assumed, LotClass
from service.physics.refractometer_temperature import brix_at_20c
from service.physics.scales import sg_20_20_from_hydrometer
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.drink import DrinkRead, Span

BURETTE_ERROR_ML: Final = 0.05
"""What a burette or a kit's syringe is read to, a standard deviation (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class HydrometerRead:
    """What a hydrometer showed in a sample; without a temperature the figure is SG 20/20 already."""

    shown: float
    sample_c: float | None = None
    calibrated_c: float = 20.0

    def at_20c(self, abv_percent: float) -> float:
        """Gravity 20/20 of a liquid of that strength."""
        if self.sample_c is None:
            return self.shown
        return sg_20_20_from_hydrometer(self.shown, self.sample_c, self.calibrated_c, abv_percent)


@dataclass(frozen=True, slots=True)
class RefractometerRead:
    """What a refractometer showed, with its own error where one was stated, and the acid of the sample [meq/L] where
    that was told beside it."""

    shown_brix: float
    sample_c: float | None = None
    compensates: bool = False
    acid_meq_per_l: float | None = None
    error_brix: float | None = None

    @property
    def at_20c(self) -> float:
        """The reading at 20 °C; the instrument's own compensation is trusted."""
        if self.sample_c is None or self.compensates:
            return self.shown_brix
        return brix_at_20c(self.shown_brix, self.sample_c)


@dataclass(frozen=True, slots=True)
class AcidityRead:
    """An acidity with its standard deviation [meq/L]; `text` says how it was come by."""

    meq_per_l: float
    sd_meq_per_l: float
    end_point_ph: float
    degassed: bool | None
    text: str
    titrated_here: bool


@dataclass(frozen=True, slots=True)
class GravityOn:
    """A gravity on a day."""

    day: date
    read: HydrometerRead


@dataclass(frozen=True, slots=True)
class Expected:
    """What the drink should be: what was poured, every amount given, or figures. `body` is that part of the request."""

    lots: tuple[LotAsked, ...] = ()
    additions: tuple[AdditionAsked, ...] = ()
    figures: DrinkRead | None = None
    body: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ReadingsAsked:
    """Readings of one drink, one at least. `request` is the body as it was sent, from which the next ones are made."""

    hydrometer: HydrometerRead | None = None
    original: HydrometerRead | None = None
    refractometer: RefractometerRead | None = None
    acidity: AcidityRead | None = None
    ph: float | None = None
    abv_percent: float | None = None
    residual_sugar_g_per_l: float | None = None
    residual_sugar_error_g_per_l: float | None = None
    volume_l: Span | None = None
    series: tuple[GravityOn, ...] = ()
    steady_days: float | None = None
    sweetened: bool | None = None
    expected: Expected | None = None
    lot_class: LotClass | None = None
    assumed: tuple[Assumed, ...] = ()
    circumstances: Circumstances = field(default_factory=Circumstances)
    request: Mapping[str, Any] = field(default_factory=dict)

    @property
    def kind(self) -> LotClass:
        """The class of the liquid, mead unless said."""
        return LotClass.MEAD if self.lot_class is None else self.lot_class

    @property
    def juice(self) -> bool:
        """Whether it is a juice, which holds no alcohol."""
        return self.kind in JUICE_ROW

    @property
    def changed(self) -> bool:
        """Whether something went in after the original gravity was read: as told, or as the recipe has it."""
        if self.sweetened is not None:
            return self.sweetened
        return self.expected is not None and any(a.least_g > 0.0 for a in self.expected.additions)


def acid_of(asked: ReadingsAsked) -> float:
    """The acid of the sample that a refractometer sees [meq/L]; none where it was not titrated."""
    if asked.refractometer is not None and asked.refractometer.acid_meq_per_l is not None:
        return asked.refractometer.acid_meq_per_l
    return 0.0 if asked.acidity is None else asked.acidity.meq_per_l
