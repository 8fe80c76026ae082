"""What a maker asks, in base units: the planner's side of a request, free of HTTP and of units of measure."""

from __future__ import annotations

from dataclasses import dataclass

from service.catalogue.records import Ingredient
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot import Lot
from service.model.lot_class import Assumed
from service.planner.steps import OURS, Senses
from service.quantities import System


@dataclass(frozen=True, slots=True)
class Instruments:
    """The caller's instruments; the defaults are common practice, no source. `scale_given`: its step is no default."""

    scale_step_g: float = 1.0
    jug_step_ml: float = 50.0
    hydrometer_error: float = 0.001
    hydrometer_calibrated_at_c: float = 20.0
    ph_meter_error: float = 0.05
    volume_error_percent: float = 2.0
    scale_given: bool = False


@dataclass(frozen=True, slots=True)
class Intended:
    """What the drink is meant for: container, its storage, what keeps it from fermenting, and the mixing vessel."""

    container: str | None = None
    storage_temperature_c: float | None = None
    hurdles: tuple[str, ...] = ()
    vessel_l: float | None = None


@dataclass(frozen=True, slots=True)
class LotAsked:
    """A lot to pour from: all of it, or between two volumes [L]."""

    lot: Lot
    least_l: float
    most_l: float
    degassed: bool | None = None
    on_lees: bool | None = None

    @property
    def fixed(self) -> bool:
        """Whether the volume to pour is given."""
        return self.least_l == self.most_l


@dataclass(frozen=True, slots=True)
class AdditionAsked:
    """An ingredient to add, as measured, between two masses [g]; `most_g` None where no limit was named.

    `order` tells apart two additions of one ingredient, whatever their place in the request; `given` is a fixed
    amount in the caller's words; `unit` the one that its limits were written in. With `pack_g` it comes in packs of
    that mass, `whole_g` being the part of a pack that may be used: all of it, or half.
    """

    ingredient: Ingredient
    alias: str | None = None
    least_g: float = 0.0
    most_g: float | None = None
    price_per_g: float | None = None
    treatment: str | None = None
    measured: tuple[str, ...] = ()
    cautions: tuple[tuple[str, str], ...] = ()
    order: str = ""
    given: str | None = None
    unit: str | None = None
    pack_g: float | None = None
    whole_g: float | None = None
    assumed: tuple[Assumed, ...] = ()


@dataclass(frozen=True, slots=True)
class TargetAsked:
    """A target in the property's unit: a range, with or without a value to be near; `asked` in the caller's words."""

    name: str
    low: float
    high: float
    value: float | None
    asked: str
    priority: int = 1


@dataclass(frozen=True, slots=True)
class Preference:
    """Maximise or minimise a property."""

    name: str
    maximise: bool


@dataclass(frozen=True, slots=True)
class Echo:
    """What a caller wants to find again in the answer."""

    batch: str | None = None
    date: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What all blend questions share besides lots and additions.

    `end_point_ph` is that of the acidities asked for and predicted. `errors_given`: the request states errors of
    readings, which no interval of this version uses.
    """

    system: System = "metric"
    instruments: Instruments = Instruments()
    intended: Intended = Intended()
    currency: str | None = None
    assumed: tuple[Assumed, ...] = ()
    echo: Echo = Echo()
    errors_given: bool = False
    end_point_ph: float = DEFAULT_END_POINT_PH
    senses: Senses = OURS


@dataclass(frozen=True, slots=True)
class RecipeAsked:
    """One recipe to forecast: every amount given.

    `measured` are readings of the drink that came of it, by property; `scale_to_l` the volume of drink that all its
    amounts are multiplied for.
    """

    name: str
    lots: tuple[LotAsked, ...]
    additions: tuple[AdditionAsked, ...]
    measured: tuple[tuple[str, float], ...] = ()
    scale_to_l: float | None = None


@dataclass(frozen=True, slots=True)
class PlanAsked:
    """The main question: how much of what.

    `allow` names the kinds of ingredient that may be proposed although they need care; `beside` are recipes whose
    differences from the plan are wanted, `remembered` what to heed about a drink that is matched.
    """

    lots: tuple[LotAsked, ...]
    additions: tuple[AdditionAsked, ...]
    targets: tuple[TargetAsked, ...]
    prefer: tuple[Preference, ...] = ()
    rounding: str = "none"
    circumstances: Circumstances = Circumstances()
    deadline_s: float = 2.0
    allow: frozenset[str] = frozenset()
    beside: tuple[RecipeAsked, ...] = ()
    remembered: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TradeAsked:
    """A trade-off: the best of `y` for each level of `x` while the plan's targets hold, in at most `points` points."""

    plan: PlanAsked
    x: str
    y: Preference
    points: int
    also: str | None = None


@dataclass(frozen=True, slots=True)
class PortionAsked:
    """One of several drinks that share lots and stocks: its volume is one of its targets."""

    name: str
    targets: tuple[TargetAsked, ...]


@dataclass(frozen=True, slots=True)
class PortionsAsked:
    """Several drinks from one store, solved together; the targets of `plan` are those of no drink in particular."""

    plan: PlanAsked
    portions: tuple[PortionAsked, ...]


@dataclass(frozen=True, slots=True)
class ForecastAsked:
    """Recipes to forecast side by side."""

    recipes: tuple[RecipeAsked, ...]
    circumstances: Circumstances = Circumstances()
