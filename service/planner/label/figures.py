"""The figures of a label: strength with its tolerance, energy, sugar, drinks, percent juice, sulfite.

Everything comes with the 90 % interval of the drink; where an interval crosses a line, its bad end is told.
"""

from __future__ import annotations

from math import floor, hypot
from typing import Final, Literal

from service.catalogue.records import Category, Ingredient
from service.chemistry.energy import ENERGY_KCAL_AND_KJ_PER_G
from service.chemistry.label_rules import (
    CFR_EDITION,
    DRINK_SIZES,
    EU_EDITION,
    STRENGTH_LINES,
    StrengthRule,
    declared_abv_percent,
    drinks_in,
    energy_us_kcal,
    rules_within,
)
from service.chemistry.sulfite_limits import EU_DECLARATION, PUBLISHED, US_DECLARATION, Market
from service.model.contents import together
from service.model.lot_class import LotClass
from service.model.properties import property_value
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component
from service.planner.drink import Drink, Span
from service.planner.label.answers import (
    ClassLine,
    DrinksIn,
    Due,
    JuiceDeclared,
    LabelAmounts,
    LabelStrength,
    SulfiteStated,
)
from service.planner.label.answers import StrengthTolerance as Tolerance

ETHANOL_G_PER_L_PERCENT: Final = ETHANOL_DENSITY_20C_KG_M3 / 100.0
_TINY: Final = 1e-9
_US_WINE_ABV_PERCENT: Final = 7.0
_LABEL_KCAL_STEP: Final = 10
_ALL: Final = 100.0

_FERMENTED: Final = {
    LotClass.MEAD: "what was fermented in it is juice no longer",
    LotClass.GRAPE_WINE: "fermented grape juice is juice no longer",
    LotClass.FRUIT_WINE: "fermented fruit juice is juice no longer",
    LotClass.CIDER_PERRY: "fermented apple or pear juice is juice no longer",
}
_FRUIT_FERMENTS: Final = (LotClass.GRAPE_WINE, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY)


def ingredients_of(drink: Drink) -> tuple[tuple[Ingredient, str | None], ...]:
    """What was added to the drink and is in it, with its treatment."""
    return tuple((held.ingredient, held.treatment) for held in drink.holds)


def strength_of(drink: Drink, market: Market) -> LabelStrength:
    """Strength to one decimal on its side of every line of the market, and what the market allows there and wherever
    its interval reaches."""
    abv = drink.abv_percent
    declared, low, high = declared_of(abv, market)
    rules = rules_within(market, *(max(strength, 0.0) for strength in (abv.low, abv.value, abv.high)))
    shown = f"{declared:.1f} % vol ({low:.1f} to {high:.1f} by what is known)"
    told = "; ".join(
        f"{rule.applies_to} ±{rule.plus_minus_percent:g} % vol ({rule.regulation}, {rule.edition})" for rule, _ in rules
    )
    text = f"{shown}. {'Allowed: ' + told if told else 'No tolerance on file applies'}."
    return LabelStrength(
        declared,
        round(abv.low, 2),
        round(abv.high, 2),
        tuple(_tolerance(rule, at, abv) for rule, at in rules),
        text,
    )


def declared_of(abv: Span, market: Market) -> tuple[float, float, float]:
    """A strength and the ends of its interval, each to one decimal on its side of every line of the market [% vol]."""
    value, low, high = (declared_abv_percent(market, max(one, 0.0)) for one in (abv.value, abv.low, abv.high))
    return value, low, high


def _tolerance(rule: StrengthRule, declared: float, abv: Span) -> Tolerance:
    low, high = rule.ends(declared)
    return Tolerance(
        rule.applies_to,
        declared,
        rule.plus_minus_percent,
        round(low, 2),
        round(high, 2),
        abv.low >= low - _TINY and abv.high <= high + _TINY,
        rule.regulation,
        rule.edition,
        rule.mark,
        rule.source_key,
    )


def lines_of(drink: Drink, market: Market) -> tuple[ClassLine, ...]:
    """Where the drink lies at each line of the market."""
    abv = drink.abv_percent
    return tuple(
        ClassLine(
            line.at_abv_percent,
            line.position(abv.low, abv.high),
            line.what,
            line.regulation,
            line.edition,
            line.mark,
            line.source_key,
        )
        for line in STRENGTH_LINES[market]
    )


def amounts_of(
    drink: Drink, market: Market, serving_ml: float | None, container_ml: float | None
) -> tuple[LabelAmounts, ...]:
    """Energy, sugar and alcohol in 100 mL, in a serving, in a container."""
    found = [_amounts(drink, market, "100 mL", _ALL)]
    if serving_ml is not None:
        found.append(_amounts(drink, market, "serving", serving_ml))
    if container_ml is not None:
        found.append(_amounts(drink, market, "container", container_ml))
    return tuple(found)


def energy_span_kcal_per_l(drink: Drink) -> Span:
    """Food energy with its interval [kcal/L]: of a recipe as predicted, else by strength and sugar to first order."""
    value = drink.energy_kcal_per_l
    if drink.predicted is not None:
        told = drink.predicted.energy_kcal_per_100ml
        return Span(value, value - 10.0 * (told.value - told.low), value + 10.0 * (told.high - told.value))
    alcohol = ETHANOL_G_PER_L_PERCENT * ENERGY_KCAL_AND_KJ_PER_G[Component.ETHANOL][0]
    sweet = ENERGY_KCAL_AND_KJ_PER_G[Component.SUCROSE][0]
    abv, sugar = drink.abv_percent, drink.sugar_g_per_l
    down = hypot(alcohol * (abv.value - abv.low), sweet * (sugar.value - sugar.low))
    up = hypot(alcohol * (abv.high - abv.value), sweet * (sugar.high - sugar.value))
    return Span(value, max(value - down, 0.0), value + up)


def _amounts(
    drink: Drink, market: Market, per: Literal["100 mL", "serving", "container"], volume_ml: float
) -> LabelAmounts:
    litres = volume_ml / 1000.0
    energy, sugar = energy_span_kcal_per_l(drink), drink.sugar_g_per_l
    kj = drink.energy_kj_per_l * litres
    kcal = round(energy.value * litres, 2)
    us_kcal = round(energy_us_kcal(drink.masses_g_per_l) * litres, 2)
    return LabelAmounts(
        per=per,
        volume_ml=volume_ml,
        energy_kcal=kcal,
        energy_low_kcal=round(energy.low * litres, 2),
        energy_high_kcal=round(energy.high * litres, 2),
        energy_kj=round(kj, 2),
        energy_us_kcal=us_kcal,
        sugar_g=round(sugar.value * litres, 3),
        sugar_low_g=round(sugar.low * litres, 3),
        sugar_high_g=round(sugar.high * litres, 3),
        ethanol_g=round(drink.ethanol_g_per_l * litres, 3),
        energy_text=_energy_text(market, kcal, kj, us_kcal),
        sugar_text=_sugar_text(sugar.value * litres),
    )


def _energy_text(market: Market, kcal: float, kj: float, us_kcal: float) -> str:
    """To 1 kcal as European labels do and below 10 kcal, to 10 kcal elsewhere (our default)."""
    if market is Market.EU:
        return f"{kj:.0f} kJ / {kcal:.0f} kcal"
    shown = us_kcal if market is Market.US else kcal
    return f"about {_to_step(shown, _step_kcal(market, shown))} kcal"


def energy_between_text(market: Market, portion: LabelAmounts) -> str:
    """The energy of a portion with the ends of its interval, all rounded alike.

    Parameters: market, whose factors and rounding; portion.
    Returns: such as "about 220 kcal (210 to 230 kcal)".
    """
    of_us = market is Market.US
    shown = portion.energy_us_kcal if of_us else portion.energy_kcal
    more = portion.energy_us_kcal - portion.energy_kcal if of_us else 0.0
    step = _step_kcal(market, shown)
    low, high = (_to_step(round(end + more, 2), step) for end in (portion.energy_low_kcal, portion.energy_high_kcal))
    return f"{portion.energy_text} ({low} to {high} kcal)"


def _step_kcal(market: Market, kcal: float) -> int:
    return 1 if market is Market.EU or kcal < _LABEL_KCAL_STEP else _LABEL_KCAL_STEP


def _to_step(kcal: float, step: int) -> int:
    return step * round(kcal / step)


def _sugar_text(grams: float) -> str:
    return "less than 1 g sugar" if grams < 0.5 else f"{grams:.0f} g sugar"


def drinks_of(drink: Drink, serving_ml: float | None, container_ml: float | None) -> tuple[DrinksIn, ...]:
    """Drinks by the sizes of several countries; none without alcohol or without a volume."""
    abv = drink.abv_percent
    if abv.value <= 0.0 or (serving_ml is None and container_ml is None):
        return ()

    def inside(volume_ml: float | None, strength: float, size: str) -> float | None:
        return None if volume_ml is None else round(drinks_in(volume_ml, strength, size), 3)

    return tuple(
        DrinksIn(
            rule.size,  # type: ignore[arg-type]
            rule.one_drink,
            inside(serving_ml, abv.value, rule.size),
            inside(serving_ml, abv.high, rule.size),
            inside(container_ml, abv.value, rule.size),
            inside(container_ml, abv.low, rule.size),
            inside(container_ml, abv.high, rule.size),
            rule.mark,
            rule.source_key,
        )
        for rule in DRINK_SIZES.values()
    )


def whole_juice_percent(percent: float) -> int | None:
    """The whole number not above a share of juice; None below 1, where "less than 1 percent" is said instead.

    Source: 21 CFR 101.30, 2015 edition.

    >>> whole_juice_percent(26.8), whole_juice_percent(2.5), whole_juice_percent(0.9)
    (26, 2, None)
    """
    return floor(percent + _TINY) if percent >= 1.0 - _TINY else None


def juice_words(percent: float) -> str:
    """What would be declared of a share of juice [%].

    >>> juice_words(26.8), juice_words(0.4), juice_words(0.0)
    ('26 percent juice', 'less than 1 percent juice', '0 percent juice')
    """
    if percent <= _TINY:
        return "0 percent juice"
    whole = whole_juice_percent(percent)
    return "less than 1 percent juice" if whole is None else f"{whole} percent juice"


def _juice_unrounded(drink: Drink) -> float:
    contents = together([m.per_g for m in drink.materials], [m.least_g for m in drink.materials])
    return property_value("juice_percent", contents, contents.volume_ml / 1000.0) or 0.0


def juice_of(drink: Drink) -> JuiceDeclared | None:
    """Percent juice as declared, by the lower end of its interval; None where it is not known."""
    percent = drink.juice_percent
    if percent is None:
        return None
    low = high = percent
    if drink.predicted is not None:
        # predictions are rounded, and a rounding must not lift the whole number
        percent = _juice_unrounded(drink)
        low, high = min(drink.predicted.juice_percent.low, percent), max(drink.predicted.juice_percent.high, percent)
    ferments = [lot.lot for lot in drink.lots if lot.lot.lot_class in _FRUIT_FERMENTS]
    not_counted = [f"{lot.name}: {_FERMENTED[lot.lot_class]}" for lot in ferments]
    not_counted += [
        f"{ingredient.name}: acid beside the juice does not count"
        for ingredient, _ in ingredients_of(drink)
        if ingredient.category is Category.ACID
    ]
    # a share that may be nothing at its lower end is still some
    careful = max(low, min(percent, 1e-3))
    return JuiceDeclared(
        round(percent, 2),
        round(low, 2),
        round(high, 2),
        whole_juice_percent(careful),
        juice_words(careful),
        None if drink.citrus_percent is None else round(drink.citrus_percent, 2),
        tuple(not_counted),
        "21 CFR 101.30",
        CFR_EDITION,
        PUBLISHED,
        "cfr21_101_30",
    )


def sulfites_of(drink: Drink, market: Market, planned: bool) -> SulfiteStated:
    """Whether sulfite has to be declared; without a market by the stricter line."""
    rule = EU_DECLARATION if market is Market.EU else US_DECLARATION
    weak_us = market is Market.US and drink.abv_percent.high < _US_WINE_ABV_PERCENT
    total, free = drink.total_so2_mg_per_l, drink.free_so2_mg_per_l
    bringers = tuple(
        dict.fromkeys(ingredient.name for ingredient, treated in ingredients_of(drink) if _brings(ingredient, treated))
    )
    known = free if total is None else total
    due: Due
    if known is not None and rule.is_due(known):
        due, text = "yes", f"Write “contains sulfites”: {known:.0f} mg/L {'free' if total is None else 'total'} SO2."
    elif total is not None:
        due, text = "no", f"Not due at {total:.0f} mg/L total SO2; some people react to less."
    elif planned:
        due, text = "yes", "Sulfite is planned: write “contains sulfites” unless total SO2 is measured and lower."
    else:
        due, text = (
            "measure",
            "Total SO2 is not known, and yeast makes some itself: measure it before leaving this out.",
        )
    if bringers:
        text += f" {', '.join(bringers)}: bottled or from concentrate it may hold sulfite; read the package."
    return SulfiteStated(
        due,
        total,
        rule.threshold_mg_per_l,
        "at or above" if rule.at_threshold else "above",
        bringers,
        text,
        "21 CFR 101.100(a)(4) and 130.9" if weak_us else rule.regulation,
        EU_EDITION if market is Market.EU else CFR_EDITION,
        "published; that it rules below 7 % vol is from memory, unverified" if weak_us else rule.mark,
        "cfr21_101_100" if weak_us else rule.source_key,
    )


def _brings(ingredient: Ingredient, treatment: str | None) -> bool:
    """Lemon and lime juice that was not pressed by the maker, and their concentrates."""
    name = ingredient.name.lower()
    return (
        treatment != "raw"
        and any(word in name for word in ("lemon", "lime "))
        and ingredient.category
        in (
            Category.JUICE,
            Category.CONCENTRATE,
            Category.CUSTOM,
        )
    )
