"""A drink whose label is wanted, and what the tests of label facts read off an answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Ingredient
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.planner.asked import AdditionAsked, Circumstances, Intended, LotAsked
from service.planner.drink import Drink, DrinkRead, Held, Span, drink_from_figures, drink_from_recipe
from service.planner.label.answers import LabelFacts
from service.planner.label.facts import label_facts

READ = DrinkRead(
    volume_l=Span.exact(20.0),
    gravity=None,
    abv_percent=Span.exact(5.5),
    sugar_g_per_l=Span.exact(20.0),
    titratable_meq_per_l=80.0,
    juice_percent=0.0,
    citrus_percent=0.0,
    total_so2_mg_per_l=5.0,
)
WORDS_MOST = 30


def facts(market: str = "us", hurdles: tuple[str, ...] = ("pasteurised",), **change: Any) -> LabelFacts:
    besides = {name: change.pop(name) for name in ("colours", "fining_agents", "from_keg") if name in change}
    serving, container = change.pop("serving_ml", 330.0), change.pop("container_ml", 330.0)
    system = change.pop("system", "metric")
    return label_facts(
        drink_from_figures(replace(READ, **change)),
        market,
        serving,
        container,
        Circumstances(system=system, intended=Intended(hurdles=hurdles)),
        **besides,
    )


def codes(found: LabelFacts) -> set[str]:
    return {caution.code for caution in found.cautions}


def held(name: str, g_per_l: float | None = 50.0, treatment: str | None = "pasteurised") -> Held:
    return Held(get_ingredient(name), g_per_l, treatment)


def custom(name: str) -> Ingredient:
    return replace(get_ingredient("sugar_white"), id="own", name=name)


def topics(found: LabelFacts) -> set[str]:
    return {rule.topic for rule in found.rules}


def text(found: LabelFacts) -> str:
    return " ".join(line.text for line in found.label_text)


def recipe(*additions: tuple[str, float, str | None], lot_class: LotClass = LotClass.MEAD, abv: float = 8.0) -> Drink:
    lot = lot_from_readings("base", LotReadings(20.0, None, 0.998, abv, lot_class))
    poured = [AdditionAsked(get_ingredient(n), least_g=g, most_g=g, treatment=t) for n, g, t in additions]
    return drink_from_recipe([LotAsked(lot, 20.0, 20.0)], poured, Circumstances())
