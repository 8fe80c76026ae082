"""Pressures in words and levels, what kinds of container hold, and what gas a drink's sugar gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.physics.carbon_dioxide import (
    ATMOSPHERE_BAR,
    HIGHEST_BAR,
    SHARE_OF_ERROR,
    closed_pressure_bar,
    co2_from_sugar_g_per_l,
    co2_volumes_from_g_per_l,
    psi_from_bar,
)
from service.physics.solutes import Component
from service.planner.answers import OUR_DEFAULT, PRACTICE
from service.planner.drink import Drink
from service.planner.pressure.answers import ContainerKind, PressureAt, PressureLevel, Rating
from service.planner.pressure.asked import Closed

LEVELS: Final[tuple[tuple[float, PressureLevel, str], ...]] = (
    (0.5, "still", "counts as still"),
    (1.0, "prickle", "will prickle, corks may creep"),
    (3.0, "pressure", "pressure: only crown-capped or pressure-rated containers"),
    (6.0, "beyond_beer_glass", "beyond beer-type glass"),
)
"""Lines between levels, each the first pressure of the next [bar] (our default)."""

_BURST: Final = "burst hazard in any common bottle"

UNRATED_BAR: Final = 1.0
"""Pressure in store from which a container without a rating is no longer trusted [bar] (our default)."""

NEVER_WITH_SUGAR: Final = frozenset({"still_bottle", "swing_top", "growler", "jar", "flask"})
"""Kinds that have no rating: never with sugar that yeast can use (common practice, no source)."""

WORDS: Final[Mapping[ContainerKind, str]] = MappingProxyType(
    {
        "bottle": "bottle of no stated kind",
        "still_bottle": "still-wine bottle",
        "beer_bottle": "beer-type bottle",
        "sparkling_bottle": "sparkling-wine bottle",
        "swing_top": "swing-top bottle",
        "can": "can",
        "keg": "keg",
        "plastic_bottle": "plastic bottle",
        "growler": "growler",
        "jar": "jar",
        "flask": "flask",
    }
)


@dataclass(frozen=True, slots=True)
class UsualRating:
    """What a kind of container is usually made for [bar], and who says so."""

    bar: float
    source_id: str


USUAL: Final[Mapping[str, UsualRating]] = MappingProxyType(
    {
        "beer_bottle": UsualRating(3.0, "glass_guide"),
        "sparkling_bottle": UsualRating(6.0, "memory_trade"),
        "can": UsualRating(6.0, "memory_trade"),
        "keg": UsualRating(9.0, "memory_trade"),
    }
)
"""Upper end of service 2 to 3 bar for beer-type glass (weak secondary source: a packaging maker's guide); the others
from memory, unverified. A figure of a kind is no rating of the container at hand."""


def level_of(bar: float) -> PressureLevel:
    """The level of a pressure.

    >>> [level_of(bar) for bar in (0.49, 0.5, 1.0, 3.0, 6.0)]
    ['still', 'prickle', 'pressure', 'beyond_beer_glass', 'burst_hazard']
    """
    return next((level for line, level, _ in LEVELS if bar < line), "burst_hazard")


def level_words(bar: float) -> str:
    """The level of a pressure in words."""
    return next((words for line, _, words in LEVELS if bar < line), _BURST)


def bar_words(bar: float) -> str:
    """A pressure in both units.

    >>> bar_words(1.3417), bar_words(42.468)
    ('1.3 bar (19 psi)', '42 bar (616 psi)')
    """
    return (
        f"{bar:.0f} bar ({psi_from_bar(bar):.0f} psi)"
        if bar >= 10.0
        else f"{bar:.1f} bar ({psi_from_bar(bar):.0f} psi)"
    )


def temperature_words(temperature_c: float) -> str:
    """A temperature without needless decimals."""
    return f"{temperature_c:.3g} °C"


@dataclass(frozen=True, slots=True)
class Gas:
    """What the gas of a closed drink is computed with: strength [% vol], sugar [g/L], headspace [share of drink].

    `purged` leaves out the air: a gauge then shows 1 atm less than the partial pressure.
    """

    abv_percent: float
    sugar_g_per_l: float
    headspace_share: float
    purged: bool = False

    def bar(self, co2_g_per_l: float, temperature_c: float) -> float:
        """About what a gauge on the container shows [bar]."""
        partial = closed_pressure_bar(
            co2_g_per_l, temperature_c, self.abv_percent, self.sugar_g_per_l, self.headspace_share
        )
        return partial - ATMOSPHERE_BAR if self.purged else partial

    def at(
        self, temperature_c: float, co2_g_per_l: float, high_g_per_l: float | None = None, burned_g_per_l: float = 0.0
    ) -> PressureAt:
        """The pressure of a content at a temperature, with its upper end and its level.

        Parameters: temperature_c; co2_g_per_l; high_g_per_l, the most gas that it may be; burned_g_per_l, the sugar
            that gave it.
        Returns: PressureAt.
        Raises: OutOfRangeError outside the range of the solubility.
        """
        bar = self.bar(co2_g_per_l, temperature_c)
        off = ATMOSPHERE_BAR if self.purged else 0.0
        most = self.bar(co2_g_per_l if high_g_per_l is None else high_g_per_l, temperature_c)
        high = (most + off) * (1.0 + SHARE_OF_ERROR) - off
        volumes = co2_volumes_from_g_per_l(co2_g_per_l)
        beyond = ", above 10 bar only an order of magnitude" if bar > HIGHEST_BAR else ""
        return PressureAt(
            temperature_c,
            round(burned_g_per_l, 3),
            round(co2_g_per_l, 4),
            round(volumes, 4),
            round(bar, 4),
            round(psi_from_bar(bar), 2),
            round(high, 4),
            level_of(high),
            f"{co2_g_per_l:.1f} g/L CO2 ({volumes:.1f} volumes): {bar_words(bar)}, perhaps {high:.3g} bar, at "
            f"{temperature_words(temperature_c)}{beyond}: {level_words(high)}.",
        )


def gas_of(drink: Drink, closed: Closed) -> Gas:
    """The gas of a closed drink, by the upper end of its sugar: more sugar dissolves less."""
    return Gas(drink.abv_percent.value, drink.sugar_g_per_l.high, closed.headspace, closed.purged)


def co2_per_g_of_sugar(drink: Drink) -> tuple[float, float]:
    """Carbon dioxide from a gram of the drink's fermentable sugar, and the most that it may be [g/g].

    Of a recipe the sugars are known; of figures they are taken as glucose and fructose, as in honey, and as sucrose
    for the upper end.
    """
    hexose, sucrose = co2_from_sugar_g_per_l(1.0), co2_from_sugar_g_per_l(0.0, 1.0)
    if drink.predicted is None:
        return hexose, sucrose
    masses = drink.masses_g_per_l
    single = masses.get(Component.GLUCOSE, 0.0) + masses.get(Component.FRUCTOSE, 0.0)
    double = masses.get(Component.SUCROSE, 0.0) + masses.get(Component.DISACCHARIDES, 0.0)
    if single + double <= 0.0:
        return hexose, sucrose
    both = (single * hexose + double * sucrose) / (single + double)
    return both, both


def rated_bar_of(closed: Closed) -> float | None:
    """What a container is made for [bar]: as stated, else as usual for its kind; None where there is no figure."""
    usual = USUAL.get(closed.kind)
    return closed.rated_bar if closed.rated_bar is not None else None if usual is None else usual.bar


def rating_words(closed: Closed) -> tuple[str, str]:
    """Whose figure the rating is, for "more than the 3 bar …", and the key of its source."""
    name, usual = WORDS[closed.kind], USUAL.get(closed.kind)
    if closed.rated_bar is not None:
        return f"stated for this {name}", PRACTICE
    if usual is not None:
        return f"usual for a {name}", usual.source_id
    return "for containers without a rating", OUR_DEFAULT


def rating_of(closed: Closed, gas_alone: PressureAt, worst: PressureAt) -> Rating:
    """What the container is made for, beside the pressures it may see; both are judged by their upper ends.

    Parameters: closed; gas_alone, the gas that is there already; worst, the worst case.
    Returns: Rating. A container without any counts as exceeded from 1 bar on.
    """
    usual = USUAL.get(closed.kind)
    stated = closed.rated_bar is not None
    rated = rated_bar_of(closed)
    name = WORDS[closed.kind]
    line = UNRATED_BAR if rated is None else rated
    if rated is None:
        text = f"A {name} has no known pressure rating; it may have to hold {worst.high_bar:.3g} bar."
    else:
        said = f"stated for this {name}" if stated else f"usual for a {name}, no rating of the one at hand"
        relation = "more than" if worst.high_bar > rated else "within"
        text = f"It may have to hold {worst.high_bar:.3g} bar, {relation} {rated:.3g} bar {said}."
    source = "reading" if stated else "common_practice" if usual is None else usual.source_id
    return Rating(closed.kind, rated, stated, gas_alone.high_bar > line, worst.high_bar > line, text, source)
