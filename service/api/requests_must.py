"""Body of the must request: shapes only. What its texts mean is read by `service.api.reading_must`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import (
    FiniteNumber,
    NonNegativeNumber,
    PositiveNumber,
    RequestModel,
    ShortText,
)
from service.api.requests import (
    AdditionIn,
    Common,
    GravityIn,
    MassText,
    PreferenceIn,
    PriceIn,
    PropertyName,
    QuantityText,
    TargetIn,
    VolumeText,
)
from service.api.requests_blend import MatchIn
from service.api.requests_losses import LossesOfTheBaseIn
from service.api.requests_packaging import KindIn

VolumeMeaning = Literal["final", "water_added"]


class SourceIn(AdditionIn):
    """Honey, sugar, juice or concentrate: an addition, and what it is sold in."""

    sold_in: QuantityText | None = Field(
        None,
        examples=["3 kg"],
        description="What it is sold in: shopping is then in whole packs, whatever is used of them. `pack` is another "
        "thing: only whole packs are then used.",
    )


def _kind_of_demand(given: Any) -> str | None:
    if isinstance(given, bool):
        return None
    return "class" if isinstance(given, str) else "number" if isinstance(given, int | float) else None


Demand = Annotated[
    Annotated[Literal["low", "medium", "high"], Tag("class")] | Annotated[PositiveNumber, Tag("number")],
    Discriminator(
        _kind_of_demand,
        custom_error_type="demand",
        custom_error_message="Write low, medium or high, or a number of mg of nitrogen per gram of sugar.",
    ),
]


class NitrogenSourceIn(RequestModel):
    """Something that brings nitrogen, by its share and not by a product."""

    name: ShortText = Field(
        min_length=1,
        examples=["diammonium phosphate", "autolysed yeast"],
        description="What it is; it names the doses.",
    )
    nitrogen_percent: PositiveNumber | None = Field(
        None,
        le=100,
        description="Nitrogen that yeast can use [% by mass], 0.5 to 21.3; known for diammonium phosphate (21.2), "
        "monoammonium phosphate (12.2) and autolysed yeast (4.5).",
    )
    organic: bool | None = Field(
        None,
        strict=True,
        description="Whether it is yeast matter and no ammonium salt; if nobody says, it counts as phosphate.",
    )
    amount: MassText | None = Field(None, description="A fixed amount for the whole must; else what is lacking.")
    price: PriceIn | None = Field(None, description="What it costs, per mass.")


class NitrogenIn(RequestModel):
    """What the yeast asks for, what is there, and what there is to meet it."""

    demand: Demand | None = Field(None, description="Class of the strain, or mg of nitrogen per gram of sugar.")
    sources: list[NitrogenSourceIn] = Field(
        default_factory=list,
        max_length=10,
        description="Default diammonium phosphate; several share the need equally, phosphates up to their limit.",
    )
    must_yan_mg_n_per_l: NonNegativeNumber | None = Field(
        None, le=2000, description="Measured in the must; default that of juices by their rows, none of honey."
    )


class YeastIn(RequestModel):
    """The yeast by its numbers."""

    grams: PositiveNumber | None = Field(None, le=1e7, description="What there is [g].")
    viable_cells_per_g: PositiveNumber | None = Field(None, description="Living cells in a gram; default 1e10.")
    tolerance_abv_percent: PositiveNumber | None = Field(None, le=25, description="As its maker states it [% vol].")


class BottlesWantedIn(RequestModel):
    """Containers of one size to fill."""

    kind: KindIn = Field("bottle", description="What they are; it names them in the answer.")
    fill: VolumeText = Field(examples=["330 mL", "12 fl oz"], description="Drink in each, not its brimful volume.")
    count: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = Field(description="How many are to be filled.")


class BaseIn(RequestModel):
    """The dry base that is looked for: what is known of it beforehand."""

    name: ShortText = Field("base", min_length=1, description="Its name in the blend.")
    final_gravity: GravityIn | None = Field(
        None, description="Where it is to end; default where all that can ferment has."
    )
    titratable_acidity: ShortText | None = Field(None, examples=["4.6 g/L tartaric"], description="Default typical.")
    ph: PositiveNumber | None = Field(None, lt=14, description="Default typical.")


class FinishedIn(RequestModel):
    """The drink that the must is for: a blend request whose one lot, the base, is what is looked for."""

    base: BaseIn = Field(BaseIn(), description="What is known of the base beforehand; default typical figures.")
    additions: list[SourceIn] = Field(
        default_factory=list, max_length=50, description="What goes into the base after its ferment."
    )
    targets: dict[PropertyName, TargetIn] = Field(
        default_factory=dict, description="A strength, and a volume unless `containers` say how much."
    )
    match: MatchIn | None = Field(None, description="A remembered drink to be like: sweetness and acid of a serving.")
    prefer: list[PreferenceIn] = Field(
        default_factory=list, max_length=5, description="What to seek where targets leave a choice, first things first."
    )
    containers: list[BottlesWantedIn] = Field(
        default_factory=list, max_length=20, description="All of them are to be filled, after losses."
    )
    losses: LossesOfTheBaseIn | None = Field(
        None, description="Lees and racking are those of the base, before the blend; the rest is lost after it."
    )


class MustPlanRequest(Common):
    """How much honey and water, and what does the yeast need?

    One of `original_gravity`, `potential_abv_percent` and `finished`; or none, with an amount for every source.
    """

    sources: list[SourceIn] = Field(
        default_factory=list, max_length=20, description="Default honey, as much as it takes."
    )
    water: ShortText | None = Field(
        None, examples=["water_tap"], description="A water of the catalogue; default water_deionised."
    )
    original_gravity: GravityIn | None = Field(
        None, description='Of the must: SG 20/20 as a number, or "22 Bx"; a reading is corrected.'
    )
    potential_abv_percent: FiniteNumber | None = Field(
        None, gt=0, le=25, description="Strength of the drink when all that can ferment has."
    )
    finished: FinishedIn | None = Field(
        None, description="The drink that it is for: the must is then reckoned back from it."
    )
    volume: VolumeText | None = Field(None, description="How much, with its unit: of what, `volume_is` says.")
    volume_is: VolumeMeaning | None = Field(
        None, description="What the volume is: the must's own, or that of the water that goes in. Never guessed."
    )
    prefer: list[PreferenceIn] = Field(
        default_factory=list, max_length=5, description="Where several sources are free; default the least added mass."
    )
    rounding: Literal["none", "scale", "kitchen"] = Field(
        "none", description="Amounts as reckoned, in steps of the scale, or in amounts that a kitchen weighs."
    )
    nitrogen: NitrogenIn = Field(NitrogenIn(), description="Demand of the yeast, and what meets it.")
    yeast: YeastIn = Field(YeastIn(), description="The yeast that is at hand, by its numbers.")
