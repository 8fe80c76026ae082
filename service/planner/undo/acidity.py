"""Too sour: carbonate takes acid away, sweetness hides it, thinning spreads it; and how far each may go."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category
from service.chemistry.sulfite_limits import Market
from service.planner.acidity_cautions import HIGH_PH
from service.planner.answers import PRACTICE, Caution
from service.planner.asked import AdditionAsked
from service.planner.undo.answers import Irreversible
from service.planner.undo.goal import Goal
from service.planner.undo.mixing import Mix, Vessel, at_hand, unlimited
from service.planner.undo.options import Way
from service.planner.undo.thinning import (
    ARITHMETIC,
    category_or,
    everything_at_hand,
    holding,
    thinner_at_hand,
    water,
)

LEAST_ACID_G_PER_L: Final = 5.0
"""Fixed acid below which carbonates may not take a wine, 27 CFR 24.246 (2015 annual edition); titratable acidity as
tartaric is taken for it, which counts the volatile acid too."""

REGULATION: Final = "cfr27_24_246"
_HONEY_CATEGORIES: Final = (Category.HONEY, Category.SUGAR)
_SOME_ACID_G_PER_L: Final = 0.5


@dataclass(frozen=True, slots=True)
class _Carbonate:
    ingredient: str
    way: Way


_TARTRATE: Final = (
    "With tartaric acid part of the potassium may crystallise in the cold, which lowers the acidity further than told."
)
_SPLIT: Final = f"It ends at pH {HIGH_PH:g} at the latest. Add half, stir, wait for the gas, measure, then the rest."

CARBONATES: Final = (
    _Carbonate(
        "potassium_bicarbonate",
        Way(
            "potassium_bicarbonate",
            "Take acid away with potassium bicarbonate.",
            f"{_SPLIT} {_TARTRATE}",
            REGULATION,
            "yes",
            ("potassium bicarbonate, food grade", "a scale that shows 0.1 g", "room for foam"),
        ),
    ),
    _Carbonate(
        "potassium_carbonate",
        Way(
            "potassium_carbonate",
            "Take acid away with potassium carbonate, which is stronger and harsher to handle.",
            f"{_SPLIT} {_TARTRATE}",
            REGULATION,
            "yes",
            ("potassium carbonate, food grade", "eye protection", "a scale that shows 0.1 g", "room for foam"),
        ),
    ),
    _Carbonate(
        "calcium_carbonate",
        Way(
            "calcium_carbonate",
            "Take acid away with calcium carbonate.",
            f"{_SPLIT} Calcium clots the pectin that carries a citrus cloud, and its salts drop for weeks: the last "
            "choice, and none for a drink that is to stay cloudy.",
            "galant_2014",
            "yes",
            ("calcium carbonate, food grade", "weeks to settle"),
        ),
    ),
)

SWEETEN: Final = Way(
    "sweeten_for_balance",
    "Add honey or sugar for the balance: the acid stays, but it tastes less sour.",
    "Sugar suppresses sourness; it takes no acid away, and it is more for yeast to referment. The amount brings sugar "
    "over acid to where less acid would: try half of it in a glass.",
    "schifferstein_frijters_1990",
    "partly",
    ("honey or sugar",),
)

LESS_SOUR: Final = Way(
    "less_sour_lot",
    "Blend it with {}, which is less sour.",
    "It goes as far as there is of it; sweetness and strength move towards its own.",
    ARITHMETIC,
    "yes",
    ("a less sour lot",),
)

HOLD: Final = Way(
    "water_and_honey",
    "Thin it with water, and make up the sweetness.",
    "Sweetness stays; strength and juice fall.",
    ARITHMETIC,
    "yes",
    ("water", "honey or sugar", "room in the vessel"),
)

IRREVERSIBLE: Final = (
    Irreversible(
        "Carbonate takes citric, malic and tartaric acid alike and leaves their salts in: too much of it is only "
        "answered with more acid, which adds more salt.",
        PRACTICE,
    ),
    Irreversible("Acid that went in with juice or powder cannot be picked out again.", ARITHMETIC),
)


def ways(vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    """Every way for a drink that is too sour."""
    for carbonate in CARBONATES:
        yield _carbonate(vessel, goal, carbonate)
    yield _sweeten(vessel, goal)
    yield water(vessel, goal)
    if vessel is None or goal is None:
        yield replace(LESS_SOUR, do=LESS_SOUR.do.format("another lot"))
        return
    yield from thinner_at_hand(vessel, goal, LESS_SOUR)
    parts = [category_or(vessel, (Category.WATER,), "water"), category_or(vessel, _HONEY_CATEGORIES, "honey")]
    yield from holding(vessel, goal, HOLD, parts, ("sucrose_equivalent_g_per_l",))
    yield from everything_at_hand(vessel, goal, ("sucrose_equivalent_g_per_l", "abv_percent"))


def _carbonate(vessel: Vessel | None, goal: Goal | None, which: _Carbonate) -> Way:
    if vessel is None or goal is None:
        text = f"{which.way.limit} {_rule(None)}"
        return replace(which.way, limit=text)
    market = vessel.asked.market
    own = [a for a in at_hand(vessel.asked.additions, (Category.SALT,)) if a.ingredient.id == which.ingredient]
    source = unlimited(own[0]) if own else AdditionAsked(get_ingredient(which.ingredient))
    mix = vessel.with_((source,))
    most, ends = _ends(mix, market)
    limit = f"{which.way.limit} {_rule(market)}"
    cloudy = which.ingredient == "calcium_carbonate" and vessel.now.predicted.citrus_percent.value > 0.0
    if cloudy:
        limit = f"The drink holds citrus juice. {limit}"
    mass = mix.amount_to(goal.name, goal.aim, most) if most > 0.0 else None
    possible, short = which.way.possible, mass is None
    if mass is None:
        if most <= 0.0:
            return replace(which.way, possible="no", limit=f"Nothing may go in: {ends}. {limit}")
        mass, possible, limit = most, "partly", f"It stops before what is wanted: {ends}. {limit}"
    return replace(
        which.way,
        possible="partly" if cloudy else possible,
        limit=limit,
        mix=mix,
        added_g=(mass,),
        targets=goal.targets,
        judged=len(goal.targets),
        first_told=short,
        cautions=tuple(_low_acid(mix, mass, market)),
    )


def _ends(mix: Mix, market: Market | None) -> tuple[float, str]:
    """The most carbonate that is proposed, and what ends it."""
    most = mix.stock_g()
    found = [(most, "there is no more of it" if mix.limited() else "so much is no correction any more")]
    found.append((mix.until("ph", HIGH_PH, most, falling=False), f"the pH reaches {HIGH_PH:g}"))
    # the pH is not told any more once the acid is used up
    left = mix.until("titratable_acidity", _SOME_ACID_G_PER_L, most, falling=True)
    found.append((left, "hardly any acid is left"))
    if market is Market.US:
        rule = mix.until("titratable_acidity", LEAST_ACID_G_PER_L, most, falling=True)
        found.append((rule, f"the rule for wine ends at {LEAST_ACID_G_PER_L:g} g/L"))
    return min(found, key=lambda end: end[0])


def _rule(market: Market | None) -> str:
    if market is Market.EU:
        return "European wine rules limit it too; their text was not read here."
    return (
        f"US rules let carbonates take wine no lower than {LEAST_ACID_G_PER_L:g} g/L of fixed acid (27 CFR 24.246, "
        "2015 edition; check the current text)."
    )


def _low_acid(mix: Mix, mass_g: float, market: Market | None) -> Iterator[Caution]:
    after = mix.value("titratable_acidity", [mass_g])
    if after is not None and after < LEAST_ACID_G_PER_L - 1e-6 and market is not Market.EU:
        yield Caution(
            "carbonate_below_five_grams",
            "note",
            f"This takes the acidity to {after:.1f} g/L tartaric; US rules let carbonates take wine no lower than 5 "
            "g/L. Local law decides.",
            REGULATION,
        )


def _sweeten(vessel: Vessel | None, goal: Goal | None) -> Way:
    if vessel is None or goal is None:
        return SWEETEN
    source, assumed = category_or(vessel, _HONEY_CATEGORIES, "honey")
    now, ratio = vessel.value("titratable_acidity"), vessel.value("sugar_acid_ratio")
    if goal.name != "titratable_acidity":
        text = f"pH is not a matter of sweetness: name an acidity to reach (titratable_acidity). {SWEETEN.limit}"
        return replace(SWEETEN, limit=text)
    if now is None or ratio is None or goal.aim <= 0.0:
        return replace(SWEETEN, possible="no", limit=f"The drink holds no acid to balance. {SWEETEN.limit}")
    mix = vessel.with_((source,))
    most = mix.stock_g()
    mass = mix.amount_to("sugar_acid_ratio", ratio * now / goal.aim, most)
    limit = SWEETEN.limit
    if mass is None:
        mass, limit = most, f"All that there is of it does not bring the balance. {limit}"
    return replace(
        SWEETEN,
        mix=mix,
        added_g=(mass,),
        targets=goal.targets,
        judged=len(goal.targets),
        first_told=True,
        assumed=assumed,
        limit=limit,
    )
