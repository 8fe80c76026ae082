"""The shape of a drink in the requests that come after the blend: by its figures, or by a recipe with its amounts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import FiniteNumber, NonNegativeNumber, RequestModel, ShortText
from service.api.requests import AdditionPoured, Common, GravityIn, LotIn, VolumeText

TraceText = Annotated[ShortText, Field(examples=["30 mg/L", "30 ppm"])]


class FigureIn(RequestModel):
    """A figure with the ends of its 90 % interval, as answers tell it."""

    value: FiniteNumber
    low: FiniteNumber | None = None
    high: FiniteNumber | None = None


def _kind_of_figure(given: Any) -> str | None:
    if isinstance(given, dict | FigureIn):
        return "FigureIn"
    return "number" if isinstance(given, int | float) and not isinstance(given, bool) else None


Figure = Annotated[
    Annotated[NonNegativeNumber, Tag("number")] | Annotated[FigureIn, Tag("FigureIn")],
    Discriminator(
        _kind_of_figure,
        custom_error_type="figure",
        custom_error_message='Write a number, or {"value", "low", "high"} where its interval is known.',
    ),
]


class HeldIn(RequestModel):
    """An ingredient that is in the drink."""

    ingredient: ShortText = Field(examples=["orange_juice_concentrate_frozen"])
    g_per_l: NonNegativeNumber | None = Field(None, description="How much of it, in the finished drink.")
    treatment: Literal["raw", "pasteurised", "sterile_filtered"] | None = None


class DrinkIn(RequestModel):
    """A drink by its figures, read or expected; intervals are kept where they are given."""

    volume: VolumeText | None = None
    gravity: GravityIn | None = None
    abv_percent: Figure | None = None
    sugar_g_per_l: Figure | None = Field(None, description="All sugars; else the extract by gravity and strength.")
    fermentable_sugar_g_per_l: Figure | None = Field(None, description="Sugar that yeast can use; else all sugar.")
    titratable_acidity: ShortText | None = Field(None, examples=["7 g/L tartaric"])
    ph: Figure | None = None
    juice_percent: NonNegativeNumber | None = Field(None, le=100)
    citrus_percent: NonNegativeNumber | None = Field(None, le=100)
    pectin_g_per_l: NonNegativeNumber | None = Field(None, le=50)
    protein_g_per_l: NonNegativeNumber | None = Field(None, le=50)
    free_so2: TraceText | None = None
    total_so2: TraceText | None = None
    sorbic_acid: TraceText | None = None
    holds: list[HeldIn] = Field(
        default_factory=list, max_length=50, description="What is in it, as far as allergens, haze and cautions care."
    )


class StabilisedIn(RequestModel):
    """What a recipe does not tell: preservatives in the drink."""

    free_so2: TraceText | None = None
    total_so2: TraceText | None = None
    sorbic_acid: TraceText | None = None


class OfADrink(Common):
    """Of which drink: its figures (`drink`), or the recipe it is made of (`lots`, `additions` with amounts)."""

    drink: DrinkIn | None = Field(None, description="The drink by its figures; or give lots and additions.")
    lots: list[LotIn] = Field(default_factory=list, max_length=50)
    additions: list[AdditionPoured] = Field(default_factory=list, max_length=50)
    preservatives: StabilisedIn | None = Field(
        None, description="Sulfite and sorbic acid in the drink of a recipe; of a drink by figures they stand there."
    )
