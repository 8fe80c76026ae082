"""What a maker asks, in base units: the planner's side of a request, free of HTTP and of units of measure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from service.catalogue.records import Ingredient
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.contents import Contents
from service.model.lot import Lot
from service.model.lot_class import Assumed
from service.model.unknowns import Unknown
from service.planner.losses import Losses
from service.planner.steps import OURS, Senses
from service.quantities import System


@dataclass(frozen=True, slots=True)
class Instruments:
    """The caller's instruments; the defaults are common practice, no source. `given` names those that were stated.

    An error is a standard deviation: two readings of three lie within it. `strength_error_percent` is that of a
    strength that was given [% vol]: two gravities read to 0.001 leave 0.19, and the mass balance its own (judged).
    """

    scale_step_g: float = 1.0
    jug_step_ml: float = 50.0
    hydrometer_error: float = 0.001
    hydrometer_calibrated_at_c: float = 20.0
    ph_meter_error: float = 0.05
    volume_error_percent: float = 2.0
    titration_error_percent: float = 2.0
    refractometer_error_brix: float = 0.2
    strength_error_percent: float = 0.25
    given: frozenset[str] = frozenset()

    @property
    def scale_given(self) -> bool:
        """Whether the step of the scale is no default."""
        return "scale" in self.given


@dataclass(frozen=True, slots=True)
class Intended:
    """What the drink is meant for: container, its storage, what keeps it from fermenting, and the mixing vessel."""

    container: str | None = None
    storage_temperature_c: float | None = None
    hurdles: tuple[str, ...] = ()
    vessel_l: float | None = None


@dataclass(frozen=True, slots=True)
class LotAsked:
    """A lot to pour from: all of it, or between two volumes [L].

    `volume_sd_share` is the standard deviation of its volume as a share of it, where it was stated or the lot was
    weighed. `unknowns`, of a litre, stand in the place of all that its readings leave open, the volume too.
    """

    lot: Lot
    least_l: float
    most_l: float
    degassed: bool | None = None
    on_lees: bool | None = None
    volume_sd_share: float | None = None
    unknowns: tuple[Unknown, ...] | None = None

    @property
    def fixed(self) -> bool:
        """Whether the volume to pour is given."""
        return self.least_l == self.most_l


@dataclass(frozen=True, slots=True)
class FruitGiven:
    """Whole fruit that an addition's juice is pressed from: its mass [g] or its count, and the juice it gives.

    `juice_low_g` and `juice_high_g` are the ends of what it may give; all three are equal where it was `pressed` and
    measured.
    """

    mass_g: float | None
    count: float | None
    juice_g: float
    juice_low_g: float
    juice_high_g: float
    pressed: bool


@dataclass(frozen=True, slots=True)
class AdditionAsked:
    """An ingredient to add, as measured, between two masses [g]; `most_g` None where no limit was named.

    `order` tells apart two additions of one ingredient, whatever their place in the request; `given` is a fixed
    amount in the caller's words; `unit` the one that its limits were written in. With `pack_g` it comes in packs of
    that mass, `whole_g` being the part of a pack that may be used: all of it, or half. `amount_sd_g` is the standard
    deviation of a given amount where it was stated or poured by a jug, `acidity_sd_share` that of a titration of it as
    a share; `fruit` what its juice is pressed from. `per_g` and `unknowns`, of a gram, stand in the
    place of what the ingredient's own figures say, once a drink that holds some of it has been measured.
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
    amount_sd_g: float | None = None
    acidity_sd_share: float | None = None
    per_g: Contents | None = None
    unknowns: tuple[Unknown, ...] | None = None
    fruit: FruitGiven | None = None


@dataclass(frozen=True, slots=True)
class TargetAsked:
    """A target in the property's unit: a range, with or without a value to be near; `asked` in the caller's words.

    With a `confidence` the drink is to lie in the range with that chance, not only by the plan's own figures.
    """

    name: str
    low: float
    high: float
    value: float | None
    asked: str
    priority: int = 1
    confidence: float | None = None


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

    `end_point_ph` is that of the acidities asked for and predicted. With `draws` intervals are quantiles of so many
    simulated drinks, the random numbers beginning at `seed`; without, they are first order. `start_date` is the day
    (and hour) on which the work begins, as in ISO 8601.
    """

    system: System = "metric"
    instruments: Instruments = Instruments()
    intended: Intended = Intended()
    currency: str | None = None
    assumed: tuple[Assumed, ...] = ()
    echo: Echo = Echo()
    end_point_ph: float = DEFAULT_END_POINT_PH
    senses: Senses = OURS
    draws: int | None = None
    seed: int = 0
    start_date: str | None = None


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
    differences from the plan are wanted, `remembered` what to heed about a drink that is matched. With `hold_back` a
    first addition is wanted that overshoots any target with no more than that chance. `sent` is the body of the
    request, from which the next one is made. `losses` are between the blend and the bottles; with a target on what is
    left to fill (`packaged`, in litres of that) `targets` hold what it asks of the volume of the blend.
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
    hold_back: float | None = None
    sent: Mapping[str, Any] = field(default_factory=dict)
    losses: Losses | None = None
    packaged: TargetAsked | None = None


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
    """Recipes to forecast side by side; `sent` is the body of the request, from which the next one is made."""

    recipes: tuple[RecipeAsked, ...]
    circumstances: Circumstances = Circumstances()
    sent: Mapping[str, Any] = field(default_factory=dict)
