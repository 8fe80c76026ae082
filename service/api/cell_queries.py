"""The parameters of each cell question, as they stand in a URL."""

from __future__ import annotations

from typing import ClassVar, Literal, Self

from pydantic import Field

from service.api.numbers import QueryInteger, QueryModel, QueryNumber, ShortText
from service.model.lot_class import LotClass

MassUnit = Literal["g", "kg", "oz", "lb"]
VolumeUnit = Literal["mL", "L", "tsp", "tbsp", "cup", "fl oz", "floz", "pt", "qt", "gal"]
AcidityUnit = Literal["tartaric", "citric", "malic", "lactic", "sulfuric", "meq"]
AnyUnit = Literal["g", "kg", "oz", "lb", "mL", "L", "tsp", "tbsp", "cup", "fl oz", "floz", "pt", "qt", "gal"]


class CellQuery(QueryModel):
    """What every cell may carry."""

    EITHER: ClassVar[tuple[tuple[str, ...], ...]] = ()
    """Sets of parameters of which one is needed."""

    explain: QueryInteger = Field(0, ge=0, le=1, description="1 for a sentence with cautions instead of the number.")
    bound: Literal["low", "high"] | None = Field(
        None,
        description="low or high for that end of the interval in place of the number; refused where there is none.",
    )

    @property
    def wants_ends(self) -> bool:
        """Whether an interval is asked for, or told."""
        return self.bound is not None or self.explain == 1

    def explained(self) -> Self:
        """The same question with its interval and its words."""
        return self.model_copy(update={"explain": 1})


class GravityQuery(CellQuery):
    """Where a gravity is given: the sample's temperature corrects a hydrometer's reading."""

    sample_temperature: ShortText | None = Field(None, description="Such as 68F; without it gravities are SG 20/20.")
    calibrated_at: ShortText | None = Field(None, description="Temperature on the hydrometer; default 20C.")


class LotQuery(GravityQuery):
    """A lot in a URL."""

    EITHER = (("abv_percent", "original_gravity"),)

    volume: ShortText = Field(description="Such as 9.5L or 5gal.")
    gravity: QueryNumber = Field(description="SG, such as 0.998.")
    abv_percent: QueryNumber | None = Field(None, ge=0, le=100, description="Strength, % vol.")
    original_gravity: QueryNumber | None = Field(None, description="Instead of abv_percent; SG 20/20.")
    lot_class: LotClass = Field(LotClass.MEAD, alias="class", description="What kind of liquid it is.")
    titratable_acidity: ShortText | None = Field(None, description="Such as 5 g/L tartaric.")
    ph: QueryNumber | None = Field(None, gt=0, lt=14, description="As read on the lot.")
    titration_end_point_ph: QueryNumber | None = Field(
        None, gt=0, lt=14, description="Of the titration read, and of the acidity asked for; default 8.2."
    )
    residual_sugar: ShortText | None = Field(None, description="Such as 4 g/L.")
    hydrometer_error: QueryNumber | None = Field(
        None, ge=0, le=0.05, description="Standard deviation, SG, for intervals; default 0.001."
    )


class IngredientQuery(LotQuery):
    """A lot and an ingredient to add to it."""

    ingredient: ShortText = Field(description="An id or short name of the catalogue, such as honey.")
    brix: QueryNumber | None = Field(None, gt=0, le=100, description="Measured, corrected for acid.")
    moisture_percent: QueryNumber | None = Field(None, gt=0, lt=100, description="Measured on the honey.")
    ingredient_titratable_acidity: ShortText | None = Field(None, description="Measured on the juice: 52 g/L citric.")
    ingredient_ph: QueryNumber | None = Field(None, gt=0, lt=14, description="Measured on the juice.")


class AmountQuery(IngredientQuery):
    """A lot, an ingredient, and how its amount is told: in a unit, or in packs."""

    unit: AnyUnit | None = Field(None, description="Of the answer; default g. Not with pack: packs are counted.")
    pack: ShortText | None = Field(
        None, description="What a pack holds, such as 1kg or 12floz: the answer is then the number of whole packs."
    )
    half_packs: QueryInteger | None = Field(None, ge=0, le=1, description="1 where half a pack may be used.")


class AmountForGravity(AmountQuery):
    """How much of an ingredient brings a lot to a gravity?"""

    target: QueryNumber = Field(description="SG 20/20 wanted, such as 1.016.")


class AmountForAbv(AmountQuery):
    """How much of an ingredient (spirit, honey, juice, water) brings a lot to a strength?"""

    target: QueryNumber = Field(description="Strength wanted, % vol at 20 °C, such as 6.5.")


class AmountForAcidity(AmountQuery):
    """How much of an ingredient (juice, acid, carbonate) brings a lot to a titratable acidity?"""

    target: ShortText = Field(description="Such as 6.5 g/L tartaric, or 80 meq/L.")


class AmountForPh(AmountQuery):
    """How much of an ingredient (juice, acid, carbonate) brings a lot to a pH?"""

    target: QueryNumber = Field(description="pH wanted, such as 3.4.")


class AmountForCitrus(AmountQuery):
    """How much of a citrus juice or concentrate brings a lot to a share of citrus juice?"""

    target: QueryNumber = Field(
        description="Single-strength citrus juice wanted, % of the volume by 21 CFR 101.30, such as 10."
    )


class AfterAddition(IngredientQuery):
    """A lot and how much of an ingredient goes into it."""

    amount: ShortText = Field(description="Such as 600g or 1.5lb.")


class GravityAfter(AfterAddition):
    """Gravity of a lot after this addition, SG 20/20."""


class AbvAfter(AfterAddition):
    """Strength of a lot after this addition, % vol."""


class AcidityAfter(AfterAddition):
    """Titratable acidity of a lot after this addition."""

    acid: AcidityUnit = Field("tartaric", description="What to express it as; meq for meq/L.")


class PhAfter(AfterAddition):
    """The pH of a lot after this addition."""


class VolumeAfter(AfterAddition):
    """Volume of a lot after this addition, at 20 °C, contraction included."""

    unit: VolumeUnit = Field("L", description="Of the answer.")


class SugarAfter(AfterAddition):
    """Sugar in a lot after this addition, in g/L."""

    sugar: Literal["all", "fermentable"] = Field(
        "all", description="all, or fermentable: what yeast can use, as questions about pressure take it."
    )


class SweetnessAfter(AfterAddition):
    """Sweetness of a lot after this addition, as sucrose that would be as sweet, in g/L."""


class CitrusAfter(AfterAddition):
    """Single-strength citrus juice in a lot after this addition, in % of the volume by 21 CFR 101.30."""


class AcidFromAcid(CellQuery):
    """The same acidity, expressed as another acid."""

    value: QueryNumber = Field(ge=0, le=1e6, description="g/L, or meq/L.")
    given_as: AcidityUnit = Field(description="What the value is expressed as; meq for meq/L.")
    wanted_as: AcidityUnit = Field(description="What to express it as.")


class AbvFromGravities(CellQuery):
    """Strength from original and final gravity."""

    original_gravity: QueryNumber = Field(description="SG before fermentation.")
    final_gravity: QueryNumber = Field(description="SG now.")
    original_sample_temperature: ShortText | None = Field(None, description="Of the first sample; without it SG 20/20.")
    final_sample_temperature: ShortText | None = Field(None, description="Of the last sample.")
    calibrated_at: ShortText | None = Field(None, description="Temperature on the hydrometer; default 20C.")


class GravityFromReading(CellQuery):
    """A hydrometer's reading brought to SG 20/20."""

    reading: QueryNumber = Field(description="What the hydrometer showed, SG.")
    sample_temperature: ShortText = Field(description="Such as 68F.")
    calibrated_at: ShortText = Field("20C", description="Temperature on the hydrometer.")
    abv_percent: QueryNumber = Field(0.0, ge=0, le=60, description="Of the sample; its alcohol expands more.")


class ExtractFromGravityAndAbv(GravityQuery):
    """Total dry extract by the OIV rule (Tabarié), in g/L."""

    gravity: QueryNumber = Field(description="SG 20/20.")
    abv_percent: QueryNumber = Field(ge=0, le=100, description="Strength, % vol.")


class SgFromBrix(CellQuery):
    """Specific gravity 20/20 of a sugar solution."""

    brix: QueryNumber = Field(description="Degrees Brix.")


class BrixFromSg(CellQuery):
    """Degrees Brix of a sugar solution; meaningless for a liquid with alcohol."""

    sg: QueryNumber = Field(description="SG 20/20.")


class MassFromVolume(CellQuery):
    """Mass of a volume of an ingredient at 20 °C."""

    ingredient: ShortText = Field(description="An id or short name of the catalogue.")
    volume: ShortText = Field(description="Such as 12floz or 250mL.")
    unit: MassUnit = Field("g", description="Of the answer.")


class VolumeFromMass(CellQuery):
    """Volume of a mass of an ingredient at 20 °C."""

    ingredient: ShortText = Field(description="An id or short name of the catalogue.")
    mass: ShortText = Field(description="Such as 1lb or 500g.")
    unit: VolumeUnit = Field("mL", description="Of the answer.")
