"""What a label could say of a drink: plain records that the HTTP edge and the command line both write out.

The text below a field is its description in the OpenAPI document. All figures are estimates from composition and no
laboratory analysis; every rule names the edition it was taken from, and local law decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.answers import SHOWN, Caution, NextReading

MarketOfLabel = Literal["us", "eu", "none"]
Position = Literal["below", "straddled", "above"]
Due = Literal["yes", "no", "measure"]
DrinkSize = Literal["us", "uk", "au", "who"]


@dataclass(frozen=True, slots=True)
class StrengthTolerance:
    """How far a declared strength may lie from the real one, by the rule of a market."""

    __pydantic_config__ = SHOWN

    applies_to: str
    """The class of drink that the rule speaks of."""
    declared_percent: float
    """Declared strength that it is reckoned with [% vol]: that of the label, or the nearest one of its class where the
    interval alone reaches into it."""
    plus_minus_percent: float
    """Tolerance [% vol]."""
    low: float
    """Least real strength that the declared one allows [% vol]; cut off at a class line where the rule says so."""
    high: float
    """Most [% vol]."""
    interval_fits: bool
    """Whether our whole 90 % interval lies inside."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LabelStrength:
    """Strength as a label tells it: one decimal."""

    __pydantic_config__ = SHOWN

    abv_percent: float
    """One decimal, not rounded over a line of the market [% vol at 20 °C]."""
    low: float
    """Lower end of the 90 % interval [% vol]."""
    high: float
    """Upper end [% vol]."""
    tolerances: tuple[StrengthTolerance, ...]
    """What the market allows; empty without a market. Where two classes are possible, by the name of the drink or by
    the interval of its strength, both; that of the strength itself comes first."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class ClassLine:
    """A strength at which another rule begins, and where the drink lies with its 90 % interval."""

    __pydantic_config__ = SHOWN

    at_abv_percent: float
    """The line [% vol]."""
    position: Position
    """Where the drink lies; `straddled` where the ends of its interval fall under different rules."""
    what: str
    """What changes there."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LabelAmounts:
    """Energy, sugar and alcohol in a volume of the drink, exact and as a label would round them."""

    __pydantic_config__ = SHOWN

    per: Literal["100 mL", "serving", "container"]
    """Of what."""
    volume_ml: float
    """How much that is [mL]."""
    energy_kcal: float
    """By the factors of EU labels [kcal]."""
    energy_low_kcal: float
    """Lower end of its 90 % interval [kcal]."""
    energy_high_kcal: float
    """Upper end [kcal]."""
    energy_kj: float
    """By the factors of EU labels [kJ]; its own factors, not a multiple of the kilocalories."""
    energy_us_kcal: float
    """By the general factors 4-4-9 and 7 for alcohol, acids counted as carbohydrate [kcal]; from memory."""
    sugar_g: float
    """All sugars [g]."""
    sugar_low_g: float
    """Lower end of its 90 % interval [g]."""
    sugar_high_g: float
    """Upper end [g]."""
    ethanol_g: float
    """Alcohol by mass [g]."""
    energy_text: str
    """Rounded as the market's labels are."""
    sugar_text: str
    """Rounded to a gram."""


@dataclass(frozen=True, slots=True)
class DrinksIn:
    """How many drinks of a country's size a serving and a container hold."""

    __pydantic_config__ = SHOWN

    size: DrinkSize
    """Whose size."""
    one_drink: str
    """What one drink is."""
    per_serving: float | None
    """In a serving; null without one."""
    serving_high: float | None
    """In a serving, by the upper end of the strength."""
    per_container: float | None
    """In a container; null without one."""
    container_low: float | None
    """By the lower end of the strength."""
    container_high: float | None
    """By the upper end."""
    mark: str
    """How its size is known."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class JuiceDeclared:
    """Percent juice of 21 CFR 101.30, as it would be declared."""

    __pydantic_config__ = SHOWN

    percent: float
    """Single-strength juice equivalent [%], fermented juice not counted."""
    low: float
    """Lower end of the 90 % interval [%]; as `percent` where none is known."""
    high: float
    """Upper end [%]."""
    declared_percent: int | None
    """Whole number not above the lower end; null below 1."""
    text: str
    """What would be declared."""
    citrus_percent: float | None
    """The part of it from citrus [%]."""
    not_counted: tuple[str, ...]
    """What holds fruit and does not count, each with the reason."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class SulfiteStated:
    """Whether sulfite has to be declared."""

    __pydantic_config__ = SHOWN

    due: Due
    """`yes` where a reading or a planned dose says so; `measure` where nothing tells the total."""
    total_so2_mg_per_l: float | None
    """Total SO2 of the drink [mg/L]; null where it was not given."""
    threshold_mg_per_l: float
    """From how much it is declared [mg/L]."""
    comparison: Literal["above", "at or above"]
    """How that is meant."""
    may_be_brought_by: tuple[str, ...]
    """What is in the drink and often brings sulfite of its own."""
    text: str
    """What to write or to do."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class AllergenFound:
    """An allergen that an ingredient or a fining agent is made from."""

    __pydantic_config__ = SHOWN

    allergen: str
    """Which one, in the words of the rule."""
    brought_by: str
    """The ingredient or agent."""
    text: str
    """What to write."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class RuleStated:
    """A rule that bears on the drink, in our own words."""

    __pydantic_config__ = SHOWN

    topic: str
    """What it is about, in words."""
    text: str
    """What it says; the current text and local law decide."""
    regulation: str
    """Where it stands."""
    edition: str
    """Which edition it was taken from."""
    mark: str
    """Whether that was read."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LabelLine:
    """A line for the bottle."""

    __pydantic_config__ = SHOWN

    text: str
    """Ready to write; … stands for what only the maker knows."""
    because: str
    """Why it is there, with the edition of a rule."""
    source_id: str
    """Key of /v1/sources."""


@dataclass(frozen=True, slots=True)
class LabelFacts:
    """What a label could say; an estimate from composition, no laboratory analysis."""

    __pydantic_config__ = SHOWN

    market: MarketOfLabel
    """Whose rules; `none` for a drink that is given away and not sold."""
    serving_ml: float | None
    """Volume of a serving [mL]; null where nothing tells it."""
    container_ml: float | None
    """Volume in a container [mL]; null where nothing tells it."""
    strength: LabelStrength
    """Strength."""
    lines: tuple[ClassLine, ...]
    """Strengths at which another rule begins."""
    amounts: tuple[LabelAmounts, ...]
    """Energy, sugar and alcohol in 100 mL, in a serving, in a container."""
    drinks: tuple[DrinksIn, ...]
    """Drinks by the sizes of several countries; empty without alcohol or without a volume."""
    juice: JuiceDeclared | None
    """Percent juice; null where it is not known."""
    sulfites: SulfiteStated
    """Sulfite."""
    allergens: tuple[AllergenFound, ...]
    """Allergens found by name; an ingredient's own package decides."""
    not_vegetarian: tuple[str, ...]
    """Agents from slaughtered animals or fish."""
    contents: tuple[str, ...]
    """What is in it, the most first, as far as told."""
    rules: tuple[RuleStated, ...]
    """Rules that bear on the drink."""
    label_text: tuple[LabelLine, ...]
    """Lines ready for a bottle that is given away."""
    estimate_text: str
    """What all these figures are."""
    cautions: tuple[Caution, ...]
    """What to heed about the label and what it tells, `stop` first."""
    assumed: tuple[Assumed, ...]
    """Defaults used here."""
    next_reading: tuple[NextReading, ...]
    """What to measure before the label is printed."""
    source_ids: tuple[str, ...]
    """Keys of /v1/sources of all of it."""
