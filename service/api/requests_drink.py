"""The shape of a drink in the requests that come after the blend: by its figures, or by a recipe with its amounts."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import FiniteNumber, NonNegativeNumber, RequestModel, ShortText
from service.api.requests import AdditionPoured, Common, GravityIn, LotIn, VolumeText

TraceText = Annotated[ShortText, Field(examples=["30 mg/L", "30 ppm"])]


class FigureIn(RequestModel):
    """A figure with the ends of its 90 % interval, as answers tell it."""

    value: FiniteNumber = Field(description="The figure, in the unit of the field it stands in.")
    low: FiniteNumber | None = Field(None, description="Lower end, in the same unit; default the value.")
    high: FiniteNumber | None = Field(None, description="Upper end, in the same unit; default the value.")


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

    ingredient: ShortText = Field(
        examples=["orange_juice_concentrate_frozen"], description="Its id in the catalogue, or a short name."
    )
    g_per_l: NonNegativeNumber | None = Field(None, description="How much of it, in the finished drink [g/L].")
    treatment: Literal["raw", "pasteurised", "sterile_filtered"] | None = Field(
        None, description="How it was treated before it went in; default not known."
    )


class DrinkIn(RequestModel):
    """A drink by its figures, read or expected; intervals are kept where they are given."""

    volume: VolumeText | None = Field(None, description="How much of it there is, with its unit.")
    gravity: GravityIn | None = Field(
        None, description="SG 20/20 as a number, or a hydrometer's reading to be corrected; of the drink as it is."
    )
    abv_percent: Figure | None = Field(None, description="Strength [% vol at 20 °C].")
    sugar_g_per_l: Figure | None = Field(
        None,
        description="All sugars [g/L]; else the extract by gravity and strength. Checked against the gravity and what "
        "it `holds`.",
    )
    fermentable_sugar_g_per_l: Figure | None = Field(
        None, description="Sugar that yeast can use [g/L]; else all sugar."
    )
    titratable_acidity: ShortText | None = Field(
        None, examples=["7 g/L tartaric"], description="With unit and acid; in g/L of an acid, or in meq/L."
    )
    ph: Figure | None = Field(None, description="As read.")
    juice_percent: NonNegativeNumber | None = Field(
        None, le=100, description="Single-strength juice of all fruit in the drink [% by volume]."
    )
    citrus_percent: NonNegativeNumber | None = Field(
        None, le=100, description="Single-strength juice of citrus fruit [% by volume], part of `juice_percent`."
    )
    pectin_g_per_l: NonNegativeNumber | None = Field(None, le=50, description="Pectin in the drink [g/L].")
    protein_g_per_l: NonNegativeNumber | None = Field(None, le=50, description="Protein in the drink [g/L].")
    free_so2: TraceText | None = Field(None, description="Free sulfite, as SO2 [mg/L or ppm].")
    total_so2: TraceText | None = Field(None, description="Total sulfite, as SO2 [mg/L or ppm].")
    sorbic_acid: TraceText | None = Field(None, description="Sorbate, as sorbic acid [mg/L or ppm].")
    holds: list[HeldIn] = Field(
        default_factory=list, max_length=50, description="What is in it, as far as allergens, haze and cautions care."
    )


class StabilisedIn(RequestModel):
    """What a recipe does not tell: preservatives in the drink."""

    free_so2: TraceText | None = Field(None, description="Free sulfite, as SO2 [mg/L or ppm].")
    total_so2: TraceText | None = Field(None, description="Total sulfite, as SO2 [mg/L or ppm].")
    sorbic_acid: TraceText | None = Field(None, description="Sorbate, as sorbic acid [mg/L or ppm].")


class OfADrink(Common):
    """Of which drink: its figures (`drink`), or the recipe it is made of (`lots`, `additions` with amounts)."""

    drink: DrinkIn | None = Field(None, description="The drink by its figures; or give lots and additions.")
    lots: list[LotIn] = Field(
        default_factory=list, max_length=50, description="Liquids of the recipe by their readings, all of each."
    )
    additions: list[AdditionPoured] = Field(
        default_factory=list, max_length=50, description="What goes into them, each with its amount."
    )
    preservatives: StabilisedIn | None = Field(
        None, description="Sulfite and sorbic acid in the drink of a recipe; of a drink by figures they stand there."
    )
