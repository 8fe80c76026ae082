"""The fields of a correction that name a fault: shapes only; `service.api.reading_undo` reads their texts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from service.api.numbers import NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import LotIn, QuantityText, TemperatureText
from service.api.requests_blend import BlendRequest
from service.api.requests_stabilising import ColourName, MarketName, TraceText

FaultName = Literal["too_sweet", "too_sour", "too_strong", "too_weak", "over_sulfited", "haze_lost", "wrong_amount"]


class MistakeIn(RequestModel):
    """The amount that was not the one meant, for `wrong_amount`."""

    ingredient: ShortText | None = Field(None, description="Of the recipe; or give `lot`.")
    lot: ShortText | None = Field(None, description="A lot of the request; or give `ingredient`.")
    meant: QuantityText | None = Field(
        None, description="What should have gone in; default its one amount in the recipe.", examples=["1.5 kg"]
    )
    added: QuantityText | None = Field(
        None,
        description="What went in; default what `added` says. Where the request has no `added` at all, everything else "
        "went in by the recipe: lots used whole, or of which `use` gives one amount as min and max, and additions with "
        "an `amount`.",
    )


class MetabisulfiteAddedIn(RequestModel):
    """Potassium metabisulfite that went in: it stands in for a test of total SO2."""

    amount: QuantityText = Field(examples=["12 g"], description="How much went in, by weight.")
    so2_share_percent: PositiveNumber | None = Field(
        None, le=57.6, description="SO2 that it yields: 57 fresh (default), 50 as it ages, 57.6 if pure."
    )


class FaultRequest(BlendRequest):
    """A blend request that may name a fault of the drink, and is then answered by the undo table."""

    lots: list[LotIn] = Field(
        default_factory=list,
        max_length=50,
        description="Lots used whole are in the vessel; others, as `use` has it, are at hand. Only with a `fault` may "
        "they be left out: the table is then told in words.",
    )
    fault: FaultName | None = Field(
        None,
        description="What is wrong with what is in the vessel. The answer is then what can be done, how far and at "
        "what cost; `measured` and `targets` may be left out.",
    )
    mistake: MistakeIn | None = Field(
        None,
        description="With wrong_amount; default the one amount of the recipe that differs from what was added.",
    )
    market: MarketName | None = Field(
        None, description="With a fault: whose limits; default none, the lowest known as a caution."
    )
    colour: ColourName | None = Field(None, description="Of a grape wine, for European limits of SO2.")
    free_so2_now: TraceText | None = Field(None, description="With over_sulfited.")
    total_so2_now: TraceText | None = Field(None, description="With over_sulfited.")
    free_so2_target: TraceText | None = Field(None, description="With over_sulfited: what to thin it to.")
    molecular_so2_target: TraceText | None = Field(
        None, description="The same as molecular SO2; default where it stings, and the usual."
    )
    metabisulfite_added: MetabisulfiteAddedIn | None = Field(
        None, description="With over_sulfited: what went in, where total SO2 was not tested."
    )
    bound_share: NonNegativeNumber | None = Field(
        None, lt=0.9, description="Share of the SO2 that is bound, where only one of free and total is known."
    )
    temperature: TemperatureText | None = Field(None, description="With over_sulfited; default 20 °C.")
