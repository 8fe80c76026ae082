"""Bodies of the blend requests: plans, batches of plans, trade-offs and forecasts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.numbers import FiniteNumber, NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import (
    AdditionIn,
    AdditionPoured,
    Common,
    GravityIn,
    LotIn,
    PreferenceIn,
    PropertyName,
    TargetIn,
    TargetName,
    VolumeText,
)
from service.api.requests_losses import LossesIn

Careful = Literal["spirit", "carbonates", "raw_juice"]


class MatchIn(RequestModel):
    """A remembered drink, from its label or from readings of a flat sample without alcohol."""

    serving: VolumeText | None = Field(
        None, examples=["330 mL", "12 fl oz"], description="The serving that the label speaks of."
    )
    sugar_g: PositiveNumber | None = Field(None, description="Sugars per serving [g].")
    juice_percent: NonNegativeNumber | None = Field(None, le=100, description="Juice by its label [%].")
    acid: ShortText | None = Field(
        None, examples=["0.55 % citric", "5.5 g/L citric"], description="Acidity, with its unit and acid."
    )
    brix: PositiveNumber | None = Field(None, le=100, description="Of a flat sample, instead of the sugar on a label.")
    brix_is_refractometer_reading: bool = Field(False, strict=True, description="As shown, not corrected for acid.")
    gravity: GravityIn | None = Field(None, description="Of a flat sample, instead of Brix.")
    ph: PositiveNumber | None = Field(None, lt=14, description="Of a flat sample.")


class RecipeIn(RequestModel):
    """A recipe whose every amount is given; a lot is used whole unless `use` gives one amount as min and max."""

    name: ShortText = Field(min_length=1, description="What you call it; targets and comparisons use the same name.")
    lots: list[LotIn] = Field(max_length=50, description="Its liquids, by their readings.")
    additions: list[AdditionPoured] = Field(
        default_factory=list, max_length=50, description="What goes into them, each with its amount."
    )


class DrinkMeasuredIn(RequestModel):
    """Readings of the drink that came of a recipe."""

    gravity: GravityIn | None = Field(None, description="Of the drink, without gas.")
    abv_percent: NonNegativeNumber | None = Field(
        None, le=100, description="Strength, if it was measured [% vol at 20 °C]."
    )
    titratable_acidity: ShortText | None = Field(None, description="As titrated, with its unit and acid.")
    ph: PositiveNumber | None = Field(None, lt=14, description="As read.")
    volume: VolumeText | None = Field(None, description="How much of the drink there is.")


class RecipeForecastIn(RecipeIn):
    """A recipe to forecast, to scale to another volume, and to hold against readings of what came of it."""

    scale_to: VolumeText | None = Field(None, description="Volume of drink that all amounts are multiplied for.")
    measured: DrinkMeasuredIn | None = Field(
        None, description="Readings of the drink as it was poured, before any scaling."
    )


class PortionIn(RequestModel):
    """One of several drinks made from the same lots and stocks."""

    name: ShortText = Field(min_length=1, description="What you call it; answers use the same name.")
    volume: TargetIn = Field(description='How much of it, such as "10 L" or a range.')
    targets: dict[PropertyName, TargetIn] = Field(
        default_factory=dict, description="Its own targets; those of the request hold for every portion besides."
    )


class BlendRequest(Common):
    """Lots, additions and targets: what plans and trade-offs share."""

    lots: list[LotIn] = Field(max_length=50, description="Liquids that you have, by their readings.")
    additions: list[AdditionIn] = Field(
        default_factory=list, max_length=50, description="What may go into them, with limits or fixed amounts."
    )
    targets: dict[TargetName, TargetIn] = Field(
        default_factory=dict,
        description="What the drink is to be, by property: a value, a range, or steps from a recipe.",
    )
    match: MatchIn | None = Field(None, description="A remembered drink, turned into targets on sugar and acid.")
    recipes: list[RecipeIn] = Field(
        default_factory=list, max_length=10, description="Recipes to step from, and to compare the plan with."
    )
    allow: list[Careful] = Field(
        default_factory=list,
        max_length=3,
        description="Kinds of ingredient that may be proposed where targets clash, although they need care.",
    )


HoldBack = Annotated[
    FiniteNumber | ShortText | None,
    Field(
        description="Tell a first addition too, which overshoots any target with at most this chance.",
        examples=[0.05, "5 %"],
    ),
]

Rounding = Annotated[
    Literal["none", "scale", "kitchen"],
    Field(
        description="How amounts are rounded: not, to the step of your scale, or to what scale, jug and spoons show."
    ),
]


class BlendPlanRequest(BlendRequest):
    """How much of what brings these lots to these targets?"""

    prefer: list[PreferenceIn] = Field(
        default_factory=list, max_length=5, description="In order of importance; default the least added mass."
    )
    rounding: Rounding = "none"
    hold_back: HoldBack = None
    losses: LossesIn | None = Field(
        None,
        description="What is lost between the blend and the bottles; the target `packaged_volume` is what they leave.",
    )
    portions: list[PortionIn] = Field(
        default_factory=list, max_length=10, description="Several drinks from these lots and stocks, solved together."
    )


class BlendBatchRequest(RequestModel):
    """Many blend requests; each is answered or refused on its own."""

    requests: list[Any] = Field(
        min_length=1,
        description="Bodies of POST /v1/blend-plans, as many as the size of a body allows.",
        json_schema_extra={"items": {"$ref": "#/components/schemas/BlendPlanRequest"}},
    )


class TradeOffRequest(BlendRequest):
    """What does one property cost in another?"""

    x: PropertyName = Field("sucrose_equivalent_g_per_l", description="The property whose levels are walked through.")
    y: PropertyName | PreferenceIn = Field(
        "citrus_percent",
        description="The property whose best is sought at each level; most of it, or least of mass, volume and cost.",
    )
    points: Annotated[int, Field(strict=True, ge=3, le=60)] = Field(
        25, description="At most so many points; both ends and the best are among them."
    )
    also: PropertyName | None = Field(None, description="A third property to show along the curve.")


class BlendForecastRequest(Common):
    """What will these recipes be?"""

    recipes: list[RecipeForecastIn] = Field(
        min_length=1, max_length=10, description="The recipes; differences are told from the first."
    )
