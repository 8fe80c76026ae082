"""A drink to stabilise, and what the tests of stabilising plans read off an answer."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

from service.planner.asked import Circumstances, Instruments
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.stabilising.asked import DrinkRead, GravityOfDay, StabilisingAsked

MEQ_PER_G_TARTARIC = 1000.0 / 75.0435  # half the formula mass of tartaric acid
FINE = Circumstances(instruments=Instruments(scale_step_g=0.01, given=frozenset({"scale"})))
DRINK = DrinkRead(volume_l=20.0, ph=3.3, abv_percent=12.0, titratable_meq_per_l=6.0 * MEQ_PER_G_TARTARIC)
SWEET = StabilisingAsked(DRINK, sugar_g_per_l=60.0, fermentation_finished=True, circumstances=FINE)


def codes(plan: StabilisingPlan, level: str | None = None) -> set[str]:
    return {c.code for c in plan.cautions if level in (None, c.level)}


def grams(plan: StabilisingPlan) -> dict[str, float]:
    return {dose.salt: dose.mass_g for dose in plan.doses}


def drink(**change: Any) -> StabilisingAsked:
    return replace(SWEET, dosing=replace(DRINK, **change))


def texts(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        return [t for part in value.values() for t in texts(part)]
    if isinstance(value, list | tuple):
        return [t for part in value for t in texts(part)]
    return []


def day(number: int, gravity: float) -> GravityOfDay:
    return GravityOfDay(date(2024, 5, number), gravity)
