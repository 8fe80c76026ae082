"""Drinks with a fault, and what the tests of the undo table read off an answer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from service.catalogue.lookup import get_ingredient
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.planner.asked import AdditionAsked, Intended, LotAsked, TargetAsked
from service.planner.undo.answers import Option, Undo
from service.planner.undo.asked import Mistake, SulfiteFound, UndoAsked

MEQ_PER_G_TARTARIC = 1000.0 / 75.0435  # half the formula mass of tartaric acid


def lot(
    name: str,
    litres: float,
    gravity: float,
    abv: float,
    ta: float | None = None,
    ph: float | None = None,
    kind: LotClass = LotClass.MEAD,
    free: bool = False,
) -> LotAsked:
    """A lot by its readings: all of it, or as much as one likes (`free`)."""
    titratable = None if ta is None else ta * MEQ_PER_G_TARTARIC
    read = LotReadings(litres, None, gravity, abv, kind, titratable, None, ph)
    return LotAsked(lot_from_readings(name, read), 0.0 if free else litres, litres, degassed=True)


def some(ingredient: str, grams: float) -> AdditionAsked:
    return AdditionAsked(get_ingredient(ingredient), least_g=grams, most_g=grams)


def at_hand(ingredient: str, most_g: float | None = None, **more: Any) -> AdditionAsked:
    return AdditionAsked(get_ingredient(ingredient), most_g=most_g, **more)


def to(name: str, value: float) -> TargetAsked:
    return TargetAsked(name, value, value, value, f"{value:g}")


CHERRY = lot("cherry", 24.0, 1.035, 6.2, 6.5, 3.4)
SWEET = UndoAsked("too_sweet", (CHERRY,), targets=(to("gravity", 1.028),))
SOUR = UndoAsked("too_sour", (lot("sour", 20.0, 1.012, 7.0, 7.5, 3.2),), targets=(to("titratable_acidity", 6.0),))
STRONG = UndoAsked("too_strong", (lot("strong", 20.0, 1.012, 9.0, 6.0, 3.4),), targets=(to("abv_percent", 7.5),))
WEAK = UndoAsked("too_weak", (lot("weak", 20.0, 1.012, 5.0, 6.0, 3.4),), targets=(to("abv_percent", 6.5),))
SULFITED = UndoAsked("over_sulfited", (CHERRY,), sulfite=SulfiteFound(90.0, 260.0))
CLEARED = UndoAsked("haze_lost", (CHERRY,))
BASE = lot("base", 20.0, 0.998, 8.0, 5.0, 3.4)
HONEY, LEMON = some("honey", 1800.0), some("lemon_juice_concentrate", 150.0)
WRONG = UndoAsked("wrong_amount", (BASE,), (HONEY, LEMON), mistake=Mistake("honey_average", 1500.0, 1800.0))
EVERY = (SWEET, SOUR, STRONG, WEAK, SULFITED, CLEARED, WRONG)


def intended(asked: UndoAsked, **what: Any) -> UndoAsked:
    return replace(asked, circumstances=replace(asked.circumstances, intended=Intended(**what)))


def option(answer: Undo, start: str) -> Option:
    """The option whose name is, or begins with, a text."""
    exact = [o for o in answer.options if o.name == start]
    (found,) = exact or [o for o in answer.options if o.name.startswith(start)]
    return found


def grams(found: Option) -> dict[str, float]:
    return {amount.name: amount.mass_g for amount in found.amounts}


def texts(answer: Any) -> list[str]:
    """Every text of an answer."""
    if isinstance(answer, str):
        return [answer]
    if isinstance(answer, tuple | list):
        return [text for part in answer for text in texts(part)]
    if hasattr(answer, "__dataclass_fields__"):
        return [text for name in answer.__dataclass_fields__ for text in texts(getattr(answer, name))]
    return []
