"""What rules of labels say of strength, the size of a drink, and energy by general factors.

Laws change and differ by what a drink is called: every figure comes with its regulation, the edition it was taken
from and whether that was read. Local law decides, not this table; whoever sells checks the current text.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from service.chemistry.checks import check_not_negative
from service.chemistry.sulfite_limits import FROM_MEMORY, PUBLISHED, Market
from service.errors import InputError
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component

CFR_EDITION: Final = "2015 annual edition; check the current text"
EU_EDITION: Final = "unofficial copy of the text; check the current one"
WEAK: Final = "weak secondary source"

HEALTH_WARNING_FROM_ABV_PERCENT: Final = 0.5
"""27 CFR 16.10."""
US_WINE_FROM_ABV_PERCENT: Final = 7.0
US_WINE_TO_ABV_PERCENT: Final = 24.0
"""27 CFR 4.10."""
US_TABLE_WINE_TO_ABV_PERCENT: Final = 14.0
"""27 CFR 4.36."""
EU_STRENGTH_STATED_ABOVE_ABV_PERCENT: Final = 1.2
"""Regulation (EU) No 1169/2011, Annex XII."""

_ETHANOL_G_PER_ML: Final = ETHANOL_DENSITY_20C_KG_M3 / 1000.0
_TINY: Final = 1e-9
_HAIR: Final = 1e-6


@dataclass(frozen=True, slots=True)
class StrengthRule:
    """How far a declared strength may lie from the real one, and the lines that it may not cross [% vol]."""

    applies_to: str
    plus_minus_percent: float
    least_percent: float
    most_percent: float
    regulation: str
    edition: str
    mark: str
    source_key: str

    def ends(self, declared_percent: float) -> tuple[float, float]:
        """Least and most real strength that a declared one allows [% vol]."""
        low = max(declared_percent - self.plus_minus_percent, self.least_percent)
        return low, min(declared_percent + self.plus_minus_percent, self.most_percent)


_WEAK_US = StrengthRule(
    "wine below 7 % vol", 0.75, 0.0, US_WINE_FROM_ABV_PERCENT, "27 CFR 24.257(a)(3)", CFR_EDITION, PUBLISHED,
    "cfr27_24_257",
)  # fmt: skip
_TABLE_US = StrengthRule(
    "wine of 7 to 14 % vol", 1.5, US_WINE_FROM_ABV_PERCENT, US_TABLE_WINE_TO_ABV_PERCENT, "27 CFR 4.36", CFR_EDITION,
    PUBLISHED, "cfr27_4_36",
)  # fmt: skip
_STRONG_US = StrengthRule(
    "wine above 14 and up to 24 % vol", 1.0, US_TABLE_WINE_TO_ABV_PERCENT, US_WINE_TO_ABV_PERCENT, "27 CFR 4.36",
    CFR_EDITION, PUBLISHED, "cfr27_4_36",
)  # fmt: skip
_EU_MEAD = StrengthRule(
    "mead and fruit wine", 1.0, EU_STRENGTH_STATED_ABOVE_ABV_PERCENT, 100.0,
    "Regulation (EU) No 1169/2011, Annex XII", EU_EDITION, PUBLISHED, "eu_1169_2011",
)  # fmt: skip
_EU_OTHER = StrengthRule(
    "other drinks above 1.2 % vol", 0.3, EU_STRENGTH_STATED_ABOVE_ABV_PERCENT, 100.0,
    "Regulation (EU) No 1169/2011, Annex XII", EU_EDITION, PUBLISHED, "eu_1169_2011",
)  # fmt: skip


def strength_rules(market: Market, declared_percent: float) -> tuple[StrengthRule, ...]:
    """Rules for a declared strength; of the European Union both that can apply, for it depends on the drink's name.

    Parameters: market; declared_percent [% vol].
    Returns: rules; none without a market, for what is hardly alcoholic, and in the US above 24 % vol, where no wine is.
    Raises: InputError for a negative strength.
    Validity: that the rule of weak US wine stops at its line as that of the others does is our reading.
    Source: 27 CFR 4.36 and 24.257(a)(3), 2015; Regulation (EU) No 1169/2011, Annex XII.

    >>> [rule.plus_minus_percent for abv in (6.6, 12.0, 16.0) for rule in strength_rules(Market.US, abv)]
    [0.75, 1.5, 1.0]
    >>> [rule.plus_minus_percent for rule in strength_rules(Market.EU, 6.6)]
    [1.0, 0.3]
    """
    check_not_negative(declared_percent, "A strength")
    if market is Market.EU and declared_percent > EU_STRENGTH_STATED_ABOVE_ABV_PERCENT:
        return (_EU_MEAD, _EU_OTHER)
    if market is not Market.US or declared_percent < HEALTH_WARNING_FROM_ABV_PERCENT:
        return ()
    if declared_percent < US_WINE_FROM_ABV_PERCENT:
        return (_WEAK_US,)
    if declared_percent <= US_TABLE_WINE_TO_ABV_PERCENT:
        return (_TABLE_US,)
    return (_STRONG_US,) if declared_percent <= US_WINE_TO_ABV_PERCENT else ()


@dataclass(frozen=True, slots=True)
class StrengthLine:
    """A strength at which another rule begins; `line_is_above` where the line itself falls under the rule above it."""

    at_abv_percent: float
    line_is_above: bool
    what: str
    regulation: str
    edition: str
    mark: str
    source_key: str

    def position(self, low: float, high: float) -> Literal["below", "straddled", "above"]:
        """Where an interval lies: below, above, or straddled where its ends fall under different rules."""

        def over(strength: float) -> bool:
            if self.line_is_above:
                return strength >= self.at_abv_percent - _TINY
            return strength > self.at_abv_percent + _TINY

        if over(low) != over(high):
            return "straddled"
        return "above" if over(low) else "below"


STRENGTH_LINES: Final[Mapping[Market, tuple[StrengthLine, ...]]] = MappingProxyType(
    {
        Market.US: (
            StrengthLine(
                HEALTH_WARNING_FROM_ABV_PERCENT,
                True,
                "from here the health warning goes on every container",
                "27 CFR 16.10 and 16.21",
                CFR_EDITION,
                PUBLISHED,
                "cfr27_16_21",
            ),
            StrengthLine(
                US_WINE_FROM_ABV_PERCENT,
                True,
                "below, food law rules the label (ingredients, nutrition, net contents); from here wine law does",
                "27 CFR 4.10; FDA CPG Sec. 510.450",
                CFR_EDITION,
                PUBLISHED,
                "fda_cpg_510_450",
            ),
            StrengthLine(
                US_TABLE_WINE_TO_ABV_PERCENT,
                False,
                "above, the tolerance is narrower and the class is another; lines of duty may have moved since",
                "27 CFR 4.36",
                CFR_EDITION,
                PUBLISHED,
                "cfr27_4_36",
            ),
            StrengthLine(
                US_WINE_TO_ABV_PERCENT,
                False,
                "above, wine law knows no wine",
                "27 CFR 4.10",
                CFR_EDITION,
                PUBLISHED,
                "cfr27_4_10",
            ),
        ),
        Market.EU: (
            StrengthLine(
                EU_STRENGTH_STATED_ABOVE_ABV_PERCENT,
                False,
                "above, the strength is stated with one decimal",
                "Regulation (EU) No 1169/2011, Annex XII",
                EU_EDITION,
                PUBLISHED,
                "eu_1169_2011",
            ),
        ),
        Market.NONE: (),
    }
)
"""Lines by market, the lowest first."""


def declared_abv_percent(market: Market, abv_percent: float) -> float:
    """Strength to one decimal, never rounded over a line of the market: 6.97 is declared 6.9 and 14.04 as 14.1.

    Parameters: market; abv_percent [% vol].
    Returns: strength as declared [% vol], on the side of every line on which the strength lies.
    Raises: InputError for a negative strength.
    Validity: within 0.1 % vol of the strength, as the lines lie at whole tenths; no lines without a market.
    Source: lines of 27 CFR 4.10, 4.36 and 16.10, 2015; Regulation (EU) No 1169/2011, Annex XII.

    >>> [declared_abv_percent(Market.US, abv) for abv in (6.97, 7.0, 14.04, 6.84)]
    [6.9, 7.0, 14.1, 6.8]
    >>> declared_abv_percent(Market.EU, 1.24), declared_abv_percent(Market.NONE, 6.97)
    (1.3, 7.0)
    """
    check_not_negative(abv_percent, "A strength")
    declared = round(abv_percent, 1)
    for line in STRENGTH_LINES[market]:
        if line.position(abv_percent, declared) == "straddled":
            return round(declared - 0.1 if declared > abv_percent else declared + 0.1, 1)
    return declared


def rules_within(market: Market, low: float, value: float, high: float) -> tuple[tuple[StrengthRule, float], ...]:
    """Every tolerance that can apply between two strengths, each with the strength that would be declared under it.

    Parameters: market; low, value and high [% vol].
    Returns: rule and declared strength [% vol]: first those of the value, then those of the ends and of the classes
        between them, with the declared strength nearest to the value in that class.
    Raises: InputError for a negative strength.

    >>> [(rule.plus_minus_percent, at) for rule, at in rules_within(Market.US, 6.6, 6.97, 7.3)]
    [(0.75, 6.9), (1.5, 7.0)]
    """
    declared = declared_abv_percent(market, value)
    found = dict.fromkeys(strength_rules(market, value), declared)
    inside = [line.at_abv_percent for line in STRENGTH_LINES[market] if low < line.at_abv_percent < high]
    # at a line one of its two rules applies, a hair beside it the other
    beside = [at + step for at in inside for step in (-_HAIR, 0.0, _HAIR)]
    for strength in sorted((low, *beside, high), key=lambda one: abs(one - value)):
        for rule in strength_rules(market, strength):
            found.setdefault(rule, declared_abv_percent(market, strength))
    return tuple(found.items())


@dataclass(frozen=True, slots=True)
class DrinkSizeRule:
    """One drink of a country: its alcohol [mL at 20 °C], in words, and how that is known."""

    size: str
    ethanol_ml: float
    one_drink: str
    mark: str
    source_key: str


DRINK_SIZES: Final[Mapping[str, DrinkSizeRule]] = MappingProxyType(
    {
        rule.size: rule
        for rule in (
            DrinkSizeRule(
                "us", 14.0 / _ETHANOL_G_PER_ML, "US standard drink, 14 g of alcohol (17.7 mL)", WEAK, "who_audit"
            ),
            DrinkSizeRule("uk", 10.0, "UK unit, 10 mL of alcohol (about 8 g)", FROM_MEMORY, "memory_handbook"),
            DrinkSizeRule(
                "au", 10.0 / _ETHANOL_G_PER_ML, "Australian standard drink, 10 g of alcohol", FROM_MEMORY,
                "memory_handbook",
            ),
            DrinkSizeRule(
                "who", 10.0 / _ETHANOL_G_PER_ML, "drink of the WHO questionnaire, 10 g of alcohol", WEAK, "who_audit"
            ),
        )
    }
)  # fmt: skip
"""Countries' drinks run from 8 to 20 g of alcohol (weak secondary source quoting the WHO questionnaire AUDIT)."""


def drinks_in(volume_ml: float, abv_percent: float, size: str = "us") -> float:
    """How many drinks of a country's size are in a volume.

    n = V·a/(100·V₁)

    Parameters: volume_ml [mL]; abv_percent [% vol at 20 °C]; size, a key of DRINK_SIZES.
    Returns: drinks [-].
    Raises: InputError for negative figures or a size that is not on file.
    Validity: arithmetic of labels; it says nothing of what anyone may drink.
    Source: sizes as marked in DRINK_SIZES.

    Example: 330 mL at 5.5 % vol are 1.02 US drinks, 1.81 UK units and 1.43 Australian drinks (computed).

    >>> [round(drinks_in(330.0, 5.5, size), 3) for size in ("us", "uk", "au")]
    [1.023, 1.815, 1.432]
    """
    check_not_negative(volume_ml, "A volume")
    check_not_negative(abv_percent, "A strength")
    if size not in DRINK_SIZES:
        raise InputError(f"No size of a drink is called “{size}”: choose one of {', '.join(DRINK_SIZES)}.")
    return volume_ml * abv_percent / 100.0 / DRINK_SIZES[size].ethanol_ml


_US_KCAL_PER_G: Final[Mapping[Component, float]] = MappingProxyType(
    {
        Component.WATER: 0.0,
        Component.ASH: 0.0,
        Component.ETHANOL: 7.0,
        Component.PROTEIN: 4.0,
        Component.FAT: 9.0,
    }
)
_US_CARBOHYDRATE_KCAL_PER_G: Final = 4.0


def energy_us_kcal(masses_g: Mapping[Component, float]) -> float:
    """Food energy of a mixture by the general factors 4-4-9, and 7 for alcohol.

    E = 4 (protein + carbohydrate) + 9 fat + 7 alcohol; carbohydrate by difference: all that is no water, ash, protein,
    fat or alcohol, acids included.

    Parameters: masses_g, component to mass [g].
    Returns: energy [kcal].
    Validity: label arithmetic; acid counts 4 here and 3 kcal/g in the European Union.
    Source: general factors, from memory, unverified.

    >>> round(energy_us_kcal({Component.ETHANOL: 14.323, Component.SUCROSE: 29.04, Component.CITRIC: 1.815}))
    224
    """
    return sum(_US_KCAL_PER_G.get(part, _US_CARBOHYDRATE_KCAL_PER_G) * mass for part, mass in masses_g.items())
