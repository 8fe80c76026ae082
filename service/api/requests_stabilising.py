"""Body of the stabilising request: shapes only. What its texts mean is read by `service.api.reading_stabilising`."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from service.api.numbers import NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import Common, GravityIn, MassText, TemperatureText, VolumeText

TraceText = Annotated[ShortText, Field(examples=["30 mg/L", "30 ppm"])]
DrinkClass = Literal["mead", "grape_wine", "fruit_wine", "cider_perry"]
MarketName = Literal["us", "eu", "none"]
ColourName = Literal["red", "white_or_rose"]
PkName = Literal["convention", "thermo", "oiv"]
HurdleIn = Literal["sulfite", "sorbate", "pasteurised", "sterile_filtered", "cold"]


class GravityOnDay(RequestModel):
    """A gravity with the day it was read."""

    date: ShortText = Field(examples=["2024-05-01"], description="Year-month-day, as in ISO 8601.")
    gravity: GravityIn = Field(description="What was read that day.")


class MetabisulfiteIn(RequestModel):
    """The potassium metabisulfite at hand."""

    so2_share_percent: PositiveNumber | None = Field(
        None, le=57.6, description="SO2 that it yields: 57 fresh (default), 50 as it ages, 57.6 if pure."
    )
    tablet_mass: MassText | None = Field(None, examples=["0.44 g"], description="If it comes as tablets.")


class PotassiumSorbateIn(RequestModel):
    """The potassium sorbate at hand."""

    purity_percent: PositiveNumber | None = Field(None, le=100, description="Default 100.")


class StabilisingPlanRequest(Common):
    """How much sulfite and sorbate, and are they enough?"""

    volume_at_dosing: VolumeText | None = Field(None, description="How much drink there is when the salts go in.")
    volume_at_packaging: VolumeText | None = Field(
        None, description="After blending; of two volumes one may be left out and equals the other."
    )
    ph: PositiveNumber = Field(lt=14, description="At dosing, as read, before any of the salts.")
    ph_at_packaging: PositiveNumber | None = Field(
        None, lt=14, description="Of the blend, before any of the salts; default as at dosing."
    )
    abv_percent: NonNegativeNumber = Field(le=100, description="At dosing.")
    abv_percent_at_packaging: NonNegativeNumber | None = Field(
        None, le=100, description="Of the blend; default as if what is added held no alcohol."
    )
    titratable_acidity: ShortText | None = Field(
        None,
        examples=["4.6 g/L tartaric"],
        description="At dosing; it says how far sorbate lifts the pH. Default typical of the class.",
    )
    titratable_acidity_at_packaging: ShortText | None = Field(
        None, examples=["7 g/L tartaric"], description="Of the blend, with its unit and acid; default as at dosing."
    )
    drink_class: DrinkClass | None = Field(None, alias="class", description="Default mead.")
    colour: ColourName | None = Field(None, description="Of a grape wine, for European limits.")
    sugar_g_per_l: NonNegativeNumber | None = Field(None, le=1000, description="Fermentable sugar at packaging.")
    temperature: TemperatureText | None = Field(None, description="Of the drink as it is kept; default 20 °C.")
    fermentation_finished: bool | None = Field(None, strict=True, description="Or give `readings`.")
    readings: list[GravityOnDay] = Field(
        default_factory=list, max_length=50, description="Two or more gravities, days apart: they must not fall."
    )
    free_so2_target: TraceText | None = Field(None, description="At packaging.")
    molecular_so2_target: TraceText | None = Field(
        None, description="At packaging; default 0.5 mg/L dry, 0.8 sweet (common practice)."
    )
    free_so2_now: TraceText | None = Field(None, description="Before dosing; default 0.")
    total_so2_now: TraceText | None = Field(None, description="Before dosing; yeast makes some itself.")
    bound_share: NonNegativeNumber | None = Field(
        None, lt=0.9, description="Share of the addition that gets bound; default 0.4."
    )
    pk_basis: PkName | None = Field(
        None,
        description="Of molecular SO2: convention (1.81, default; thermo takes over where it asks for more), thermo "
        "(strength and temperature) or oiv (table, 20 to 40 °C).",
    )
    metabisulfite: MetabisulfiteIn = Field(MetabisulfiteIn(), description="What is known of yours.")
    potassium_sorbate: PotassiumSorbateIn = Field(PotassiumSorbateIn(), description="What is known of yours.")
    sorbic_acid_target: TraceText | None = Field(
        None, description="As sorbic acid, at packaging; default the published dose, none outside its table."
    )
    market: MarketName | None = Field(None, description="Whose limits; default none: the lowest known, as a caution.")
    hurdles: list[HurdleIn] | None = Field(
        None, max_length=5, description="What is planned; default sulfite and sorbate."
    )
    raw_juice_after: bool | None = Field(None, strict=True, description="Whether raw juice goes in afterwards.")
    malolactic_possible: bool | None = Field(None, strict=True, description="It forbids sorbate; default no.")
