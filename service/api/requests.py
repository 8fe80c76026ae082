"""What blend requests are made of: shapes only. What the texts in them mean is read by `service.api.reading`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import (
    FiniteNumber,
    Money,
    NonNegativeNumber,
    PositiveNumber,
    RequestModel,
    ShortText,
    WholeNumber,
)
from service.api.settings import MOST_DRAWS
from service.model.lot_class import LotClass

PropertyName = Literal[
    "gravity",
    "abv_percent",
    "titratable_acidity",
    "ph",
    "volume",
    "extract_g_per_l",
    "sugar_g_per_l",
    "fermentable_sugar_g_per_l",
    "sucrose_equivalent_g_per_l",
    "brix",
    "sugar_acid_ratio",
    "juice_percent",
    "citrus_percent",
    "added_mass",
    "added_volume",
    "cost",
    "energy_kcal_per_100ml",
]

TargetName = Literal[PropertyName, "packaged_volume"]
"""A property, or the volume that losses leave to fill."""

QuantityText = Annotated[ShortText, Field(examples=["2.5 kg", "7 lb 8 oz", "3.5 gal", "250 mL"])]
VolumeText = Annotated[ShortText, Field(examples=["24 L", "5 gal", "250 mL"])]
MassText = Annotated[ShortText, Field(examples=["2.5 kg", "7 lb 8 oz"])]
TemperatureText = Annotated[ShortText, Field(examples=["18 C", "68 F"])]


class GravityReading(RequestModel):
    """What an instrument showed: a hydrometer in SG, or on a sugar scale where `scale` says hydrometer."""

    reading: FiniteNumber | ShortText = Field(description='SG as a number, or "7.6 Bx" with scale "hydrometer".')
    sample_temperature: TemperatureText | None = Field(None, description='Temperature of the sample, such as "68 F".')
    calibrated_at: TemperatureText | None = Field(None, description="Temperature on the hydrometer; default 20 °C.")
    scale: Literal["hydrometer"] | None = Field(None, description="What a sugar scale was read on.")


def _kind_of_gravity(given: Any) -> str | None:
    """Which form of a gravity was sent."""
    return "GravityReading" if isinstance(given, dict | GravityReading) else _scalar(given)


GravityIn = Annotated[
    Annotated[FiniteNumber, Tag("number")]
    | Annotated[ShortText, Tag("text")]
    | Annotated[GravityReading, Tag("GravityReading")],
    Discriminator(
        _kind_of_gravity,
        custom_error_type="gravity",
        custom_error_message='Write SG as a number such as 1.012, "7.6 Bx", or {"reading": …}.',
    ),
    Field(description='SG 20/20 as a number; "7.6 Bx" for a liquid without alcohol; or a reading to be corrected.'),
]


class UseRange(RequestModel):
    """How much of a lot may be used."""

    min: VolumeText | None = Field(None, description="The least of it that has to go in.")
    max: VolumeText | None = Field(None, description="The most of it that may go in.")


class LotIn(RequestModel):
    """A liquid known by its readings: a volume or a mass, a gravity, and a strength or an original gravity."""

    name: ShortText = Field(min_length=1, description="What you call it; answers use the same name.")
    volume: VolumeText | None = Field(
        None,
        description='How much of it there is, at 20 °C; it may carry its error, such as "24 L ± 0.2 L".',
    )
    mass: MassText | None = Field(None, description="Its weight, instead of a volume.")
    gross: MassText | None = Field(None, description="Full bucket; with `tare` instead of a mass.")
    tare: MassText | None = Field(None, description="Empty bucket.")
    gravity: GravityIn
    abv_percent: NonNegativeNumber | None = Field(
        None, le=100, description="Strength [% vol at 20 °C]; or give `original_gravity`."
    )
    original_gravity: GravityIn | None = Field(None, description="Before fermentation; nothing added since.")
    titratable_acidity: ShortText | None = Field(
        None,
        examples=["4.6 g/L tartaric", "80 meq/L"],
        description="As titrated, with its unit and acid; default typical of the class.",
    )
    titration_end_point_ph: PositiveNumber | None = Field(None, description="Of titratable_acidity; default 8.2.")
    ph: PositiveNumber | None = Field(None, lt=14, description="As read; with the acidity it fixes the acids.")
    residual_sugar: ShortText | None = Field(
        None, examples=["4 g/L"], description="Fermentable sugar that is left, by a test; default typical of the class."
    )
    lot_class: LotClass = Field(LotClass.MEAD, alias="class", description="What kind of liquid it is.")
    degassed: bool | None = Field(
        None, strict=True, description="Whether its gas was out before it was read; gas makes an acidity read too high."
    )
    on_lees: bool | None = Field(
        None,
        strict=True,
        description="Whether it stands on its yeast; unless it is said not to, the steps rack it off.",
    )
    use: UseRange | Literal["all"] = Field(
        "all", description="How much of it goes in: all, or between a `min` and a `max`."
    )


class LabelIn(RequestModel):
    """A can by its nutrition label: per serving of the drink made of it, `diluted` as 1 part can + n parts water."""

    serving: VolumeText = Field(examples=["250 mL", "8 fl oz"], description="The serving that the label speaks of.")
    sugar_g: PositiveNumber = Field(description="Sugars per serving [g].")
    juice_percent: NonNegativeNumber | None = Field(None, le=100, description="Juice in the drink as served [%].")
    diluted: ShortText | None = Field(
        None, examples=["1+3"], description="Parts of can + parts of water; default as sold."
    )


class MeasuredIn(RequestModel):
    """Readings of one lot of an ingredient, which override the table: solids are scaled, the sugar split is kept."""

    brix: PositiveNumber | None = Field(None, le=100, description="True soluble solids [°Bx], corrected for acid.")
    brix_is_refractometer_reading: bool = Field(
        False, strict=True, description="The Brix is what a refractometer showed: 0.2 °Bx per 1 % citric is added."
    )
    moisture_percent: PositiveNumber | None = Field(None, lt=100, description="Honey.")
    refractive_index: PositiveNumber | None = Field(None, lt=2, description="Honey, at 20 °C unless said.")
    refractive_index_temperature: TemperatureText | None = Field(
        None, description="Temperature of the refractive index; default 20 °C."
    )
    titratable_acidity: ShortText | None = Field(
        None, examples=["55 g/L citric", "0.75 % citric"], description="As titrated, with its unit and acid."
    )
    ph: PositiveNumber | None = Field(None, lt=14, description="As read, of the ingredient as it is poured.")
    titration_end_point_ph: PositiveNumber | None = Field(None, description="Of titratable_acidity; default 8.2.")
    density: ShortText | None = Field(
        None, examples=["1.045 g/mL", "1045 kg/m3"], description="Mass per volume, with its unit, at 20 °C."
    )
    label: LabelIn | None = Field(None, description="Instead of Brix, for a can with a nutrition label.")


class CompositionIn(RequestModel):
    """An ingredient that the catalogue does not hold, in g per 100 g; water may be left out and is then the rest."""

    name: ShortText = Field(min_length=1, description="What you call it; answers use the same name.")
    components_g_per_100g: dict[ShortText, NonNegativeNumber] = Field(
        min_length=1,
        max_length=30,
        description="Grams of each component in 100 g, named as in `composition_g_per_100g` of the catalogue.",
    )
    ta_g_citric_per_100g: NonNegativeNumber | None = Field(
        None,
        description="Acidity to pH 8.2 as anhydrous citric acid [g/100 g], where the single acids are not known.",
    )
    ph: PositiveNumber | None = Field(None, lt=14, description="Of the ingredient as it is poured.")
    juice_share_percent: NonNegativeNumber = Field(
        0.0, le=100, description="Single-strength juice in it, as its package declares [%]."
    )
    fruit_family: Literal["citrus", "pome", "grape", "berry", "stone", "tropical", "none"] = Field(
        "none", description="Which fruit the juice is of; citrus counts for `citrus_percent`."
    )


class PriceIn(RequestModel):
    """What an ingredient costs."""

    amount: Money = Field(description="Money, in the `currency` of the request.")
    per: QuantityText = Field(
        examples=["1 kg", "1 L", "1 pack"], description="The amount that costs it; of a `pack` also “1 pack”."
    )


class AdditionBase(RequestModel):
    """An ingredient: an id of the catalogue (or a short name), or its own composition."""

    ingredient: ShortText | None = Field(
        None, examples=["honey_acacia", "honey"], description="Its id in the catalogue, or a short name such as honey."
    )
    composition: CompositionIn | None = Field(
        None, description="What it is made of, instead of an ingredient of the catalogue."
    )
    measured: MeasuredIn | None = Field(
        None, description="What you read on this very lot of it, instead of the table's figures."
    )
    price: PriceIn | None = Field(None, description="What it costs; needed where the cost is a target or a preference.")
    treatment: Literal["raw", "pasteurised", "sterile_filtered"] | None = Field(
        None, description="How a juice was treated; one of unknown treatment is cautioned like a raw one."
    )


class OfFruit(AdditionBase):
    """A juice may be told by the whole fruit it is pressed from."""

    fruit: MassText | None = Field(
        None,
        examples=["3 kg"],
        description="Whole fruit that the juice is pressed from, instead of an amount or a max.",
    )
    fruit_count: PositiveNumber | None = Field(None, le=1e7, description="The same by its count, of the usual size.")
    pressed: QuantityText | None = Field(
        None, examples=["1.1 L"], description="The juice that this fruit gave, measured: instead of the usual yield."
    )


class AdditionIn(OfFruit):
    """An ingredient to choose an amount of, within limits, or in a given amount; of fruit, as much as it gives."""

    min: QuantityText | None = Field(None, description="The least of it that has to go in, with its unit.")
    max: QuantityText | None = Field(None, description="The most of it that may go in, with its unit.")
    amount: QuantityText | None = Field(None, description="A fixed amount, instead of limits.")
    pack: QuantityText | None = Field(None, description="What one pack holds: it is then used in whole packs only.")
    max_packs: WholeNumber | None = Field(None, ge=0, le=100_000, description="How many packs there are.")
    half_packs: bool = Field(False, strict=True, description="Half a pack may be used too.")


class AdditionPoured(OfFruit):
    """An ingredient in a given amount, or all the juice of given fruit."""

    amount: QuantityText | None = Field(
        None, description="How much of it goes in, with its unit; or the `fruit` of a juice."
    )


class TargetRange(RequestModel):
    """A range; either end may be open."""

    min: FiniteNumber | ShortText | None = Field(
        None, description="Lower end, a number or a text with its unit; none unless said."
    )
    max: FiniteNumber | ShortText | None = Field(
        None, description="Upper end, a number or a text with its unit; none unless said."
    )
    priority: WholeNumber | None = Field(None, ge=1, le=9, description="1 rules over 2; all equal unless said.")
    confidence: FiniteNumber | ShortText | None = Field(
        None, description="How sure the real drink is to lie in the range, such as 0.95.", examples=[0.95, "95 %"]
    )


class TargetNear(RequestModel):
    """A hard range around a value, whose nearness is sought before the preferences."""

    value: FiniteNumber | ShortText = Field(description="What is aimed at, a number or a text with its unit.")
    tolerance: FiniteNumber | ShortText | None = Field(
        None, description="Half width of the hard range; half an instrument step unless said."
    )
    priority: WholeNumber | None = Field(None, ge=1, le=9, description="1 rules over 2; all equal unless said.")


class TargetSteps(RequestModel):
    """So many just-noticeable steps from what a recipe of the request has: −1 is a notch less."""

    recipe: ShortText = Field(alias="from", description="Name of a recipe in `recipes`.")
    steps: FiniteNumber = Field(
        ge=-50, le=50, description="How many just-noticeable steps more than that recipe has; below zero for less."
    )
    tolerance: FiniteNumber | ShortText | None = Field(
        None, description="Half width of the hard range; half an instrument step unless said."
    )
    priority: WholeNumber | None = Field(None, ge=1, le=9, description="1 rules over 2; all equal unless said.")


def _kind_of_target(given: Any) -> str | None:
    """Which form of a target was sent, so that a fault is told in that form's words only.

    A form goes by the name of its model, which no field of a request has: a fault's place is told from it.
    """
    if isinstance(given, dict):
        return (
            "TargetNear" if "value" in given else "TargetSteps" if {"from", "steps"} & given.keys() else "TargetRange"
        )
    return type(given).__name__ if isinstance(given, TargetNear | TargetRange | TargetSteps) else _scalar(given)


def _scalar(given: Any) -> str | None:
    if isinstance(given, bool):
        return None
    return "text" if isinstance(given, str) else "number" if isinstance(given, int | float) else None


# In the document the forms with a field of their own come first: readers of it that try one after another would take
# each for a range, whose every field may be left out.
TargetIn = Annotated[
    Annotated[FiniteNumber, Tag("number")]
    | Annotated[ShortText, Tag("text")]
    | Annotated[TargetSteps, Tag("TargetSteps")]
    | Annotated[TargetNear, Tag("TargetNear")]
    | Annotated[TargetRange, Tag("TargetRange")],
    Discriminator(
        _kind_of_target,
        custom_error_type="target",
        custom_error_message=(
            'Write a number, a text with a unit, {"min", "max"}, {"value", "tolerance"} or {"from", "steps"}.'
        ),
    ),
]


class PreferenceIn(RequestModel):
    """One property to maximise or to minimise."""

    maximise: PropertyName | None = Field(
        None, description="The property of which the most is wanted; or give `minimise`."
    )
    minimise: PropertyName | None = Field(
        None, description="The property of which the least is wanted; or give `maximise`."
    )


class HydrometerIn(RequestModel):
    """The caller's hydrometer."""

    error: NonNegativeNumber | None = Field(
        None, le=0.05, description="Standard deviation of a reading, in SG; default 0.001."
    )
    calibrated_at: TemperatureText | None = Field(None, description="Temperature on its stem; default 20 °C.")


class ErrorIn(RequestModel):
    """The error of an instrument, as a number."""

    error: NonNegativeNumber = Field(description="Standard deviation of a reading, in what the instrument reads.")


class StepIn(RequestModel):
    """The smallest step that an instrument shows."""

    step: QuantityText = Field(description="Its smallest division, with its unit.")


class VolumeErrorIn(RequestModel):
    """How well volumes are known."""

    error: ShortText = Field(examples=["2 %"], description="Standard deviation of a volume, as a share of it.")


class ShareErrorIn(RequestModel):
    """The error of a reading as a share of it."""

    error: ShortText = Field(examples=["2 %"], description="Standard deviation of a reading, as a share of it.")


class InstrumentsIn(RequestModel):
    """The caller's instruments; each has a trade default. An error is a standard deviation: two readings of three lie
    within it."""

    hydrometer: HydrometerIn | None = Field(None, description="Default: 0.001 SG, calibrated at 20 °C.")
    ph_meter: ErrorIn | None = Field(None, description="Error in pH; default 0.05.")
    scale: StepIn | None = Field(None, description="What you weigh with; default 1 g.")
    jug: StepIn | None = Field(None, description="What you measure volumes with; default 50 mL.")
    volume: VolumeErrorIn | None = Field(
        None, description="How well volumes are known that carry no error of their own; default 2 %."
    )
    titration: ShareErrorIn | None = Field(
        None, description="How well acidities are known that carry no error of their own; default 2 %."
    )
    refractometer: ErrorIn | None = Field(None, description="Error in °Bx.")
    strength: ErrorIn | None = Field(None, description="Error of the strengths of lots, in % vol.")


class IntendedIn(RequestModel):
    """What the drink is meant for; cautions depend on it."""

    container: Literal["bottle", "can", "keg", "jar", "flask", "open"] | None = Field(
        None, description="What it will be kept in; in a sealed one, sugar that nothing holds is a stop."
    )
    storage_temperature: TemperatureText | None = Field(None, description="The warmest it will be kept.")
    hurdles: list[Literal["sulfite", "sorbate", "pasteurised", "sterile_filtered", "cold"]] = Field(
        default_factory=list, max_length=5, description="What is to hold yeast back."
    )
    vessel: VolumeText | None = Field(
        None, description="Volume of the vessel it is mixed in; a plan that would overflow it is cautioned."
    )


class SensesIn(RequestModel):
    """What is just noticed, in place of our defaults; a person's figure, not a measurement of flavour."""

    steps: dict[PropertyName, FiniteNumber | ShortText] = Field(
        default_factory=dict,
        description='Just-noticeable step of a property: a share such as "15 %", or a number in its unit.',
    )
    relative_sweetness: dict[ShortText, NonNegativeNumber] = Field(
        default_factory=dict,
        max_length=10,
        description="Sweetness of sugars by mass, sucrose being 1, in place of our central figures.",
        examples=[{"fructose": 1.5, "glucose": 0.5}],
    )


class Common(RequestModel):
    """What every blend request may carry; `batch`, `date` and `note` are echoed."""

    batch: ShortText | None = Field(None, description="Your name for the batch; echoed.")
    date: ShortText | None = Field(None, description="The day of the question or the reading; echoed.")
    note: ShortText | None = Field(None, description="A line of your own; echoed.")
    units: Literal["metric", "us"] | None = Field(None, description="Default: those of the request's quantities.")
    currency: ShortText | None = Field(
        None, description="A word of yours for the money of all prices; echoed, never converted."
    )
    titration_end_point_ph: PositiveNumber | None = Field(
        None, description="Of the acidities asked for and predicted: 8.2 (default), 8.1 juice, 7.0 OIV."
    )
    instruments: InstrumentsIn = Field(InstrumentsIn(), description="How well you measure.")
    intended: IntendedIn = Field(IntendedIn(), description="What the drink is meant for.")
    senses: SensesIn = Field(
        SensesIn(), description="What is just noticed, and how sweet sugars are, if not our defaults."
    )
    draws: WholeNumber | None = Field(
        None, ge=1_000, le=MOST_DRAWS, description="Simulate so many drinks for the intervals, instead of first order."
    )
    seed: WholeNumber = Field(0, description="Where the random numbers of `draws` begin.")
    start_date: ShortText | None = Field(
        None,
        examples=["2026-03-14", "2026-03-14T18:00"],
        description="Day, or day and hour, on which the work begins: the answer then has a `schedule`.",
    )
