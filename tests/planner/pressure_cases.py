"""Drinks to close up, and what the tests of pressure read off an answer. All of them are invented."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from service.catalogue.lookup import get_ingredient
from service.planner.answers import Caution
from service.planner.drink import Drink, DrinkRead, Held, Span, drink_from_figures
from service.planner.pressure.asked import Closed, Rest
from service.planner.stabilising.asked import GravityOfDay

FINISHED = Rest(finished=True)
CHAMPAGNE_GLASS = Closed("sparkling_bottle")


def drink(sugar: float | Span = 100.0, abv: float | Span = 6.5, **more: Any) -> Drink:
    """A drink by its figures, exact unless a span is given; all its sugar fermentable unless `fermentable` is."""
    spanned = sugar if isinstance(sugar, Span) else Span.exact(sugar)
    strength = abv if isinstance(abv, Span) else Span.exact(abv)
    fermentable = more.pop("fermentable", spanned)
    return drink_from_figures(DrinkRead(Span.exact(20.0), None, strength, spanned, fermentable, **more))


def holding(ingredient: str, treatment: str | None) -> tuple[Held, ...]:
    return (Held(get_ingredient(ingredient), 50.0, treatment),)


def hold_test(*gravities: float, days: int = 7) -> Rest:
    readings = tuple(GravityOfDay(date(2026, 3, 1 + days * k), gravity) for k, gravity in enumerate(gravities))
    return Rest(readings=readings)


def codes(cautions: Iterable[Caution], level: str | None = None) -> set[str]:
    return {c.code for c in cautions if level in (None, c.level)}


def texts(value: Any) -> list[str]:
    """Every text in an answer."""
    if isinstance(value, str):
        return [value]
    if is_dataclass(value):
        return [t for field in fields(value) for t in texts(getattr(value, field.name))]
    if isinstance(value, list | tuple):
        return [t for part in value for t in texts(part)]
    return []
