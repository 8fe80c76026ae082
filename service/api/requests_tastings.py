"""Body of the tasting request: shapes only. What it means is read by `service.api.reading_tastings`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from service.api.numbers import FiniteNumber, NonNegativeNumber, PositiveNumber, RequestModel, ShortText
from service.api.requests import VolumeText

ScoreIn = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-1000, le=1000)]
TasterName = Annotated[ShortText, Field(min_length=1)]
LevelName = Literal[
    "gravity",
    "abv_percent",
    "titratable_acidity",
    "ph",
    "extract_g_per_l",
    "sugar_g_per_l",
    "fermentable_sugar_g_per_l",
    "sucrose_equivalent_g_per_l",
    "brix",
    "sugar_acid_ratio",
    "juice_percent",
    "citrus_percent",
    "energy_kcal_per_100ml",
]


def _shape(given: Any) -> str | None:
    return "by name" if isinstance(given, dict) else "in order" if isinstance(given, list) else None


ScoresIn = Annotated[
    Annotated[dict[TasterName, ScoreIn], Tag("by name"), Field(min_length=1, max_length=200)]
    | Annotated[list[ScoreIn | None], Tag("in order"), Field(min_length=1, max_length=50)],
    Discriminator(
        _shape,
        custom_error_type="scores",
        custom_error_message='Write scores by taster, {"A": 6, "B": 7}, or as a list, [6, 7].',
    ),
]


class ScoredDose(RequestModel):
    """One dose, and what the tasters gave it."""

    dose: NonNegativeNumber = Field(le=1e6, description="In `dose_unit`, or the level of `property`.")
    scores: ScoresIn = Field(
        description="By taster, or as a list in one order of tasters at every dose, null where one missed a glass.",
        examples=[{"A": 6, "B": 7}, [6, 7, None]],
    )


class DifferenceTestIn(RequestModel):
    """A test of whether people tell two samples apart."""

    kind: Literal["triangle", "two_afc", "duo_trio"] = Field(
        description="triangle: which of three is odd; two_afc: which of two is stronger; duo_trio: which is like the "
        "reference."
    )
    n: int = Field(strict=True, ge=1, le=10_000, description="Answers.")
    correct: int = Field(
        strict=True, ge=0, le=10_000, description="Right ones; with two sides, those for one of the samples."
    )
    sides: Literal["one", "two"] | None = Field(
        None, description="Default one: the right answer is known beforehand. Two only for two_afc."
    )
    alpha: FiniteNumber | None = Field(None, ge=0.0001, le=0.4, description="Default 0.05.")
    power_wanted: FiniteNumber | None = Field(None, gt=0, le=0.999, description="Of the next test; default 0.8.")
    discriminators: FiniteNumber | None = Field(
        None, gt=0, le=1, description="Share of people who truly tell them apart, to plan for; default 0.5."
    )
    d_prime: FiniteNumber | None = Field(
        None, gt=0, le=10, description="Or the distance to plan for, in standard deviations of what is perceived."
    )
    tasters: int | None = Field(
        None, strict=True, ge=1, le=10_000, description="People, where some answered more than once."
    )


class TastingRequest(RequestModel):
    """Which dose is best, and how sure is that? Or: can people tell two samples apart?"""

    batch: ShortText | None = Field(None, description="Your name for the batch; echoed.")
    date: ShortText | None = Field(None, description="The day of the tasting; echoed.")
    note: ShortText | None = Field(None, description="A line of your own; echoed.")
    units: Literal["metric", "us"] | None = Field(None, description="Default: those of the request's quantities.")
    doses: list[ScoredDose] | None = Field(
        None, min_length=2, max_length=50, description="Scores at several doses; or give `difference_test`."
    )
    dose_unit: ShortText | None = Field(
        None,
        examples=["g/L lemon juice", "mL/glass honey syrup", "tsp/gal lemon juice"],
        description="What a dose of 1 is. Written as an amount per volume, or per glass, it can be scaled to a batch.",
    )
    property: LevelName | None = Field(
        None,
        description="Where the doses are no amounts but levels of a property of the drink: which one. Its "
        "just-noticeable step counts then, and `next` holds a request of /v1/blend-plans.",
    )
    scale: Literal["liking", "just_about_right"] | None = Field(
        None,
        description="liking (default): more is better. just_about_right: -2 far too little, 0 just right, +2 far too "
        "much.",
    )
    level_before: NonNegativeNumber | None = Field(
        None, le=1e6, description="What the drink held of it before the dose, in the same unit; default 0."
    )
    glass: VolumeText | None = Field(None, description="Volume of drink in a glass, before the dose.")
    batch_volume: VolumeText | None = Field(None, description="Volume of drink to dose.")
    anonymous: bool | None = Field(
        None, strict=True, description="Whether nobody knows which scores are of the same taster; only with lists."
    )
    flat_within: PositiveNumber | None = Field(
        None, le=100, description="Points within which two doses are called alike; default 0.2."
    )
    noticeable_step_percent: PositiveNumber | None = Field(
        None, le=1000, description="Just-noticeable step as a share of the level; default 12, or that of `property`."
    )
    blind: bool | None = Field(None, strict=True, description="Whether the glasses were coded.")
    random_order: bool | None = Field(None, strict=True, description="Whether each taster had another order.")
    difference_test: DifferenceTestIn | None = Field(
        None, description="Whether people told two samples apart; or give `doses`."
    )
