"""Body of the packaging request: shapes only. What its texts mean is read by `service.api.reading_packaging`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Field

from service.api.numbers import Money, NonNegativeNumber, PositiveNumber, RequestModel, ShortText, WholeNumber
from service.api.requests import TemperatureText, VolumeText
from service.api.requests_drink import OfADrink
from service.api.requests_losses import LossesIn
from service.api.requests_stabilising import GravityOnDay, MarketName

PressureText = Annotated[ShortText, Field(examples=["6 bar", "90 psi"])]
KindIn = Literal[
    "bottle",
    "still_bottle",
    "beer_bottle",
    "sparkling_bottle",
    "swing_top",
    "can",
    "keg",
    "plastic_bottle",
    "growler",
    "jar",
    "flask",
]
PartIn = Literal["fills", "pressure", "gas", "heat", "label"]


class ContainerPriceIn(RequestModel):
    """What so many of the containers cost."""

    amount: Money = Field(description="Price, in the currency of the request.")
    per: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] = Field(1, description="How many containers that buys.")


class ContainerIn(RequestModel):
    """Containers of one kind and size. Least is left over; then the fewest containers; then those named first."""

    kind: KindIn = Field(description="`bottle` where its kind is not known: it then counts as having no rating.")
    fill: VolumeText = Field(examples=["330 mL", "12 fl oz"], description="Drink in each, not its brimful volume.")
    count: WholeNumber | None = Field(None, ge=1, le=1_000_000, description="So many, no more and no fewer.")
    max: WholeNumber | None = Field(None, ge=0, le=1_000_000, description="How many there are, instead of a count.")
    part_filled: bool = Field(
        False, strict=True, description="Whether one of them may be partly filled, as the last of a batch."
    )
    rated_pressure: PressureText | None = Field(None, description="As its maker states it, above the air outside.")
    brimful: VolumeText | None = Field(None, description="What it holds to the brim; it tells the headspace.")
    headspace: ShortText | None = Field(
        None, examples=["4 %"], description="Room above the drink, of the volume of the drink; default 4 %."
    )
    price: ContainerPriceIn | None = Field(None, description="What they cost, empty.")


class FilledFromKegIn(RequestModel):
    """Bottles filled from a cold keg that is under carbon dioxide: its pressure, or how much gas the drink holds."""

    temperature: TemperatureText = Field(description="Of the keg, when it is filled from.")
    gauge: PressureText | None = Field(None, examples=["0.7 bar", "10 psi"], description="What the regulator shows.")
    volumes: PositiveNumber | None = Field(None, le=10, description="Volumes of gas in the drink, instead.")


class GasIn(RequestModel):
    """Gas in the drink, and on a keg."""

    still: bool | None = Field(None, strict=True, description="Whether the drink is to stay still.")
    volumes: PositiveNumber | None = Field(None, le=10, description="Carbonation wanted in a keg [volumes].")
    temperature: TemperatureText | None = Field(None, description="Of the keg; default 4 °C.")
    gauge: PressureText | None = Field(
        None, examples=["0.3 bar"], description="Carbon dioxide left on top of a still drink in a keg."
    )
    co2_g_per_l: NonNegativeNumber | None = Field(
        None, le=20, description="Carbon dioxide in the drink when it is closed up; default 1 g/L, as after racking."
    )
    nitrogen: bool | None = Field(None, strict=True, description="Whether nitrogen is at hand to push a still drink.")
    filled_from_keg: FilledFromKegIn | None = Field(
        None, description="Where bottles are filled from a cold keg that is under gas: its temperature and pressure."
    )


class RefermentationIn(RequestModel):
    """What shows that the ferment has ended, and what the yeast is said to stand."""

    tolerance_abv_percent: PositiveNumber | None = Field(None, le=25, description="Printed on the packet [% vol].")
    fermentation_finished: bool | None = Field(None, strict=True, description="Or give `hold_test`.")
    hold_test: list[GravityOnDay] = Field(
        default_factory=list, max_length=50, description="Gravities of a sample kept warm, days apart."
    )


class MinuteIn(RequestModel):
    """What the coldest spot showed at a minute."""

    minute: NonNegativeNumber = Field(le=100_000, description="Since the log began [min].")
    temperature: TemperatureText = Field(description="What the coldest spot showed then, with its unit.")


class HeatIn(RequestModel):
    """Pasteurising in the container."""

    temperature: TemperatureText | None = Field(None, description="Of the coldest spot; default 65 °C.")
    target_units: PositiveNumber | None = Field(
        None, le=100_000, description="Pasteurising units, minutes at 60 °C; default 60."
    )
    filled_at: TemperatureText | None = Field(
        None, description="Of the drink when it is closed up; default that of the keg it is filled from, else 4 °C."
    )
    log: list[MinuteIn] = Field(default_factory=list, max_length=2_000, description="Of the coldest spot.")


class PackagingPlanRequest(OfADrink):
    """How many containers does it fill, what do they have to hold, and what does their label say?"""

    losses: LossesIn | None = Field(None, description="Between the blend and the bottles; default none.")
    containers: list[ContainerIn] = Field(
        default_factory=list, max_length=10, description="Default one kind, by `intended.container`."
    )
    reserve: VolumeText | None = Field(None, examples=["250 mL"], description="Kept back, for a test bottle.")
    gas: GasIn = Field(GasIn(), description="Gas in the drink and on a keg; default a still drink.")
    storage_temperature: TemperatureText | None = Field(
        None, description="The warmest that it will see; the same as `intended.storage_temperature`."
    )
    refermentation: RefermentationIn = Field(
        RefermentationIn(), description="What shows that the ferment has ended; default nothing does."
    )
    heat: HeatIn | None = Field(None, description="Pasteurising in the container; default none.")
    market: MarketName | None = Field(None, description="Whose rules; default none: not sold.")
    serving: VolumeText | None = Field(None, description="Of the label; default the first container.")
    colours: list[ShortText] = Field(default_factory=list, max_length=50, description="Colours that went in.")
    fining_agents: list[ShortText] = Field(default_factory=list, max_length=50, description="Agents that went in.")
    priming: Any = Field(None, description="Sugar for bottle fermentation: refused, with the reason.")
    only: list[PartIn] | None = Field(
        None, min_length=1, max_length=5, description="Parts wanted; default all that the request tells enough for."
    )
