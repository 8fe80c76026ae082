"""Body of the bench trial: shapes only. What its texts mean is read by `service.api.reading_bench`."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Discriminator, Field, Tag

from service.api.numbers import NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import AdditionBase, AdditionIn, Common, LotIn, QuantityText, VolumeText

PartsText = Annotated[ShortText, Field(examples=["1:1", "2:1"])]


class SolutionIn(AdditionBase):
    """How a stock was made: its ingredient, a solvent, and one of three ways to say how much of each."""

    solvent: ShortText = Field("water_deionised", alias="with", description="What it was made with; default water.")
    by_mass: PartsText | None = Field(None, description="Parts of the ingredient to parts of the solvent, weighed.")
    by_volume: PartsText | None = Field(None, description="The same by volume, for two liquids.")
    percent_w_v: PositiveNumber | None = Field(
        None, le=200, description="Grams of the ingredient in 100 mL of solution, made up with the solvent."
    )


class AbsorptivityIn(RequestModel):
    """Absorbance of a dye at one wavelength, from its certificate: that of 1 g/100 mL in 1 cm."""

    wavelength_nm: PositiveNumber = Field(ge=200, le=1100, description="Wavelength of the light [nm].")
    e_1_percent_1_cm: PositiveNumber = Field(
        le=10_000, description="Absorbance of 1 g/100 mL in a cell of 1 cm, at that wavelength."
    )


class DyeIn(RequestModel):
    """A liquid colour."""

    name: ShortText = Field(
        min_length=1,
        description="tartrazine and brilliant_blue_fcf are on file (their United States names and E numbers work too); "
        "any other name is only scaled.",
        examples=["tartrazine", "brilliant_blue_fcf", "green drops"],
    )
    percent_w_v: PositiveNumber | None = Field(
        None, le=50, description="Grams of dye in 100 mL; leave it out where no strength is stated."
    )
    total_colour_percent: PositiveNumber | None = Field(
        None, le=100, description="Of the powder that the stock was made from, by its certificate; default 100."
    )
    absorptivity: list[AbsorptivityIn] = Field(
        default_factory=list, max_length=10, description="In place of what is on file."
    )


class DropsIn(RequestModel):
    """A number of drops."""

    drops: Annotated[int, Field(strict=True, ge=1, le=10_000)] = Field(description="How many went in.")
    drops_per_ml: PositiveNumber | None = Field(
        None, ge=1, le=200, description="Of this very bottle: count the drops in 1 mL. Default 20 (common practice)."
    )
    error_drops: NonNegativeNumber | None = Field(
        None, le=1_000, description="Standard deviation of the count; default one drop."
    )


def _kind_of_amount(given: Any) -> str | None:
    if isinstance(given, dict | DropsIn):
        return "DropsIn"
    return "text" if isinstance(given, str) else None


AmountIn = Annotated[
    Annotated[QuantityText, Tag("text")] | Annotated[DropsIn, Tag("DropsIn")],
    Discriminator(
        _kind_of_amount,
        custom_error_type="amount",
        custom_error_message='Write "10 mL", "2 g", or {"drops": 5, "drops_per_ml": 20}.',
    ),
]


class StockIn(AdditionBase):
    """One stock of the glass: an ingredient as it is, a solution of one, or a dye."""

    name: ShortText = Field(min_length=1, description="What you call it; answers use the same name.")
    solution: SolutionIn | None = Field(None, description="How it was made, if it is a solution of an ingredient.")
    dye: DyeIn | None = Field(None, description="The colour, if it is one.")
    amount: AmountIn = Field(
        description='How much of it went into the glass; "10 mL ± 0.2 mL" says how well it was measured.'
    )


class GlassIn(RequestModel):
    """The glass that tasted, or looked, right."""

    base: VolumeText = Field(description="Volume of the batch that was poured into it.", examples=["100 mL"])
    stocks: list[StockIn] = Field(max_length=20, description="What was dosed into the glass, each with its amount.")
    graduation: VolumeText | None = Field(
        None, description="Smallest graduation of the syringe or pipette; default 0.1 mL.", examples=["0.1 mL"]
    )
    haze: bool | None = Field(
        None, strict=True, description="Whether the drink is hazy; default yes where juice was dosed."
    )
    depth_cm: PositiveNumber | None = Field(None, le=100, description="Depth of drink that is looked through [cm].")


class BenchTrialRequest(Common):
    """What does this glass hold, and how much of what makes the batch like it?"""

    glass: GlassIn = Field(description="What went into the glass.")
    lot: LotIn = Field(description="The batch that is to be dosed, all of it; the base of the glass is the same.")
    additions: list[AdditionIn] = Field(
        default_factory=list,
        max_length=50,
        description="What the batch may be dosed with instead of what the stocks hold; then sweetness, acidity, juice "
        "and strength are matched as nearly as these allow.",
    )
    water_allowed: bool = Field(
        False, strict=True, description="Whether the water that the stocks were made with goes into the batch too."
    )
