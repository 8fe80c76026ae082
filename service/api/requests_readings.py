"""Body of the readings request: shapes only. What its texts mean is read by `service.api.reading_instruments`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import AdditionPoured, Common, GravityIn, LotIn, TemperatureText, VolumeText
from service.api.requests_drink import DrinkIn

LiquidClass = Literal["mead", "grape_wine", "fruit_wine", "cider_perry", "citrus_juice", "berry_juice"]


class RefractometerIn(RequestModel):
    """What a refractometer with a sugar scale showed. Alcohol bends light too: alone it says nothing of the sugar."""

    reading: ShortText = Field(examples=["11.0 Bx"], description="As shown, never corrected for alcohol or acid.")
    sample_temperature: TemperatureText | None = Field(
        None, description="Of the prism; default 20 °C. Corrected from 5 to 20 °C where `atc` is not true."
    )
    atc: bool | None = Field(None, strict=True, description="Whether the instrument compensates for temperature.")
    acid: ShortText | None = Field(
        None,
        examples=["6 g/L citric"],
        description="Acid of the sample, if known without a titration in this request; default that of the titration.",
    )


def _kind_of_refractometer(given: Any) -> str | None:
    if isinstance(given, dict | RefractometerIn):
        return "RefractometerIn"
    return "text" if isinstance(given, str) else None


RefractometerReading = Annotated[
    Annotated[ShortText, Tag("text")] | Annotated[RefractometerIn, Tag("RefractometerIn")],
    Discriminator(
        _kind_of_refractometer,
        custom_error_type="refractometer",
        custom_error_message='Write "11.0 Bx", or {"reading": "11.0 Bx", "sample_temperature", "atc"}.',
    ),
]


class TitrationIn(RequestModel):
    """A titration with sodium hydroxide."""

    naoh_ml: PositiveNumber = Field(le=1000, description="Base used, without that of a blank [mL].", examples=[10.4])
    naoh_mol_per_l: PositiveNumber = Field(le=5, description="Strength of the base [mol/L].", examples=[0.1])
    sample_ml: PositiveNumber = Field(ge=0.01, description="Sample titrated, before any dilution [mL].", examples=[10])
    end_point_ph: PositiveNumber | None = Field(
        None, description="8.2 (default, as with phenolphthalein), 8.1 juice, 7.0 OIV."
    )
    degassed: bool | None = Field(None, strict=True, description="Dissolved carbon dioxide counts as acid.")
    burette_error_ml: NonNegativeNumber | None = Field(None, le=5, description="Default 0.05.")


class GravityInSeries(RequestModel):
    """A gravity with the day it was read."""

    date: ShortText = Field(examples=["2026-03-14"], description="Year-month-day, as in ISO 8601.")
    gravity: GravityIn = Field(description="SG 20/20 as a number, or a reading to be corrected.")
    temperature: TemperatureText | None = Field(
        None, description="Of the sample: the number is then what the hydrometer showed, and is corrected."
    )


class ExpectedIn(RequestModel):
    """What the drink should be: the recipe it was made by with what really went in, or its expected figures."""

    lots: list[LotIn] = Field(
        default_factory=list, max_length=50, description="Liquids that went in, by their readings."
    )
    additions: list[AdditionPoured] = Field(
        default_factory=list, max_length=50, description="What else went in, each with its amount."
    )
    drink: DrinkIn | None = Field(None, description="Its figures; or give lots and additions.")


class ReadingsRequest(Common):
    """What do these readings mean? One at least."""

    hydrometer: GravityIn | None = Field(None, description="Of the drink as it is now, SG or on a sugar scale.")
    original_gravity: GravityIn | None = Field(None, description="Before fermentation.")
    refractometer: RefractometerReading | None = Field(
        None, description="What a refractometer showed [°Bx], never corrected for alcohol or acid."
    )
    titration: TitrationIn | None = Field(
        None, description="A titration with sodium hydroxide: base and sample [mL], strength of the base [mol/L]."
    )
    titratable_acidity: ShortText | None = Field(
        None, examples=["6.2 g/L citric"], description="Instead of a titration, to `titration_end_point_ph`."
    )
    ph: PositiveNumber | None = Field(None, description="As read.")
    abv_percent: NonNegativeNumber | None = Field(None, le=100, description="If known: distilled, or by a laboratory.")
    residual_sugar: ShortText | None = Field(None, examples=["4 g/L"], description="By a sugar test.")
    volume: VolumeText | None = Field(None, description="Of the drink in the vessel.")
    series: list[GravityInSeries] = Field(
        default_factory=list, max_length=200, description="Gravities by date; the last is the drink as it is now."
    )
    steady_days: NonNegativeNumber | None = Field(
        None, le=3660, description="Instead of a series: for so many days the hydrometer has shown the same."
    )
    sweetened: bool | None = Field(
        None,
        strict=True,
        description="Whether honey, juice, sugar or anything else went in after the original gravity was read: the two "
        "gravities then say nothing of the strength. Default no, or yes where the expected recipe has additions.",
    )
    expected: ExpectedIn | None = Field(None, description="What the drink should be, to hold the readings against.")
    drink_class: LiquidClass | None = Field(None, alias="class", description="Default mead.")
