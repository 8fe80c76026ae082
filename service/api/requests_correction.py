"""Body of the correction request: shapes only. What its texts mean is read by `service.api.reading_correction`."""

from __future__ import annotations

from pydantic import Field

from service.api.numbers import PositiveNumber, RequestModel, ShortText
from service.api.requests import OfFruit, PreferenceIn, QuantityText
from service.api.requests_blend import DrinkMeasuredIn, HoldBack, Rounding
from service.api.requests_undo import FaultRequest


class AddedIn(OfFruit):
    """Something that is in the vessel already: an ingredient, a composition of one's own, or part of a lot."""

    lot: ShortText | None = Field(
        None, description="A lot of the request. A lot with `use` “all” is in the vessel whole unless it is named here."
    )
    amount: QuantityText | None = Field(
        None,
        description="How much of it went in; it may carry its error, such as “770 g ± 5 g”. Or the fruit of a juice.",
    )


class VesselMeasuredIn(DrinkMeasuredIn):
    """Readings of what is in the vessel: one at least, of a stirred and degassed sample."""

    refractometer: ShortText | None = Field(
        None, examples=["7.3 Bx"], description="As shown, not corrected for alcohol or acid."
    )


class ReadingErrorsIn(RequestModel):
    """Standard deviations of single readings, in place of those of `instruments`."""

    gravity: PositiveNumber | None = Field(None, le=0.05, description="In SG.")
    abv_percent: PositiveNumber | None = Field(None, le=10, description="In % vol.")
    titratable_acidity: ShortText | None = Field(
        None, examples=["2 %", "0.1 g/L tartaric"], description="As a share, or with unit and acid."
    )
    ph: PositiveNumber | None = Field(None, le=2, description="In pH.")
    volume: ShortText | None = Field(None, examples=["1 %", "0.3 L"], description="As a share, or with its unit.")
    refractometer: PositiveNumber | None = Field(None, le=5, description="In °Bx.")


_ADDED = (
    "What is in the vessel besides the lots that are used whole, each amount as it was poured; with `earlier` what "
    "went in since. `measured` here updates an addition of the recipe that has none."
)
_LOST = (
    "Drink that went after all this was in and before it was measured: racked off, drawn as samples, spilled. It takes "
    "of everything in proportion; such as “0.7 L ± 0.2 L”."
)


class EarlierIn(RequestModel):
    """One stage of an earlier correction: what went in, and what was read then."""

    added: list[AddedIn] = Field(
        default_factory=list, max_length=50, description="What went in during this stage; lots used whole at first."
    )
    measured: VesselMeasuredIn | None = Field(None, description="What was read at the end of this stage.")
    errors: ReadingErrorsIn = Field(ReadingErrorsIn(), description="How well it was read then.")
    lost: QuantityText | None = Field(None, description=_LOST)


class CorrectionRequest(FaultRequest):
    """Part was added and the drink measured: what is in it, and what now?

    Lots, additions with their limits and targets are the recipe that was meant; what of it is in the vessel stands in
    `added`. A second correction keeps what the first was told in `earlier`, as `next` of an answer does: each reading
    speaks of what was in the vessel then. With a `fault` the question is what can be done about it, and readings and
    targets are not needed.
    """

    prefer: list[PreferenceIn] = Field(
        default_factory=list, max_length=5, description="In order of importance; default the least added mass."
    )
    rounding: Rounding = "none"
    hold_back: HoldBack = None
    earlier: list[EarlierIn] = Field(
        default_factory=list, max_length=50, description="What went in and was read before, oldest first."
    )
    added: list[AddedIn] = Field(default_factory=list, max_length=50, description=_ADDED)
    measured: VesselMeasuredIn | None = Field(None, description="What was read; needed unless a `fault` is named.")
    errors: ReadingErrorsIn = Field(ReadingErrorsIn(), description="How well it was read; default by `instruments`.")
    lost: QuantityText | None = Field(None, description=_LOST)
