"""Drinks with a haze, and what the tests of fining plans read off an answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.catalogue.fining import AgentName
from service.catalogue.lookup import get_ingredient
from service.planner.asked import Circumstances, Instruments, Intended
from service.planner.drink import Drink, DrinkRead, Held, Span, drink_from_figures
from service.planner.fining.answers import AgentReport, FiningPlan, HazeDropper, HazeSource
from service.planner.fining.asked import FiningAsked

FINE = Circumstances(instruments=Instruments(scale_step_g=0.01, given=frozenset({"scale"})))
MEQ = 90.0


def held(name: str, g_per_l: float | None = None, treatment: str | None = None) -> Held:
    return Held(get_ingredient(name), g_per_l, treatment)


def drink(*holds: Held, litres: float = 19.0, **change: Any) -> Drink:
    """An invented drink of 6.5 % vol and 60 g/L of sugar."""
    figures: dict[str, Any] = {
        "gravity": Span.exact(1.018),
        "abv_percent": Span.exact(6.5),
        "sugar_g_per_l": Span.exact(60.0),
        "titratable_meq_per_l": MEQ,
        "ph": Span.exact(3.3),
        "holds": holds,
        **change,
    }
    return drink_from_figures(DrinkRead(change.pop("volume_l", Span.exact(litres)), **_without(figures, "volume_l")))


def _without(figures: dict[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in figures.items() if key != name}


CONCENTRATE = drink(held("orange_juice_concentrate_frozen", 70.0), citrus_percent=25.0, juice_percent=25.0)
RAW = drink(held("lemon_juice_fresh", 40.0, "raw"), citrus_percent=4.0, juice_percent=4.0)
PLAIN = drink(citrus_percent=0.0, juice_percent=0.0, pectin_g_per_l=0.0, protein_g_per_l=0.0)

CLEAR = FiningAsked(CONCENTRATE, "clear", circumstances=FINE)
KEEP = FiningAsked(CONCENTRATE, "keep", circumstances=FINE)


def intended(asked: FiningAsked, **what: Any) -> FiningAsked:
    return replace(asked, circumstances=replace(asked.circumstances, intended=Intended(**what)))


def agents(plan: FiningPlan) -> dict[AgentName, AgentReport]:
    return {report.agent: report for report in plan.agents}


def proposed(plan: FiningPlan) -> list[str]:
    return [report.agent for report in plan.agents if report.proposed]


def source(plan: FiningPlan, what: str) -> HazeSource:
    return next(found for found in plan.haze_sources if found.what == what)


def dropper(plan: FiningPlan, what: str) -> HazeDropper:
    return next(found for found in plan.what_would_drop_the_haze if found.what == what)


def codes(plan: FiningPlan) -> dict[str, str]:
    return {c.code: c.level for c in plan.cautions}
