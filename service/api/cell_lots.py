"""What cell questions about a lot and an ingredient share: both as the planner takes them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Final

from service.api.cell_queries import AfterAddition, AmountQuery, IngredientQuery, LotQuery
from service.api.reading import Reader, end_point_from, lot_from
from service.api.reading_additions import addition_from
from service.api.requests import AdditionIn, AdditionPoured, LotIn
from service.errors import ServiceError
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked

LOT_EXAMPLE: Final = "ingredient=honey&volume=9.5L&gravity=0.9985&abv_percent=7.2"
SOUR_EXAMPLE: Final = (
    "ingredient=lemon_juice&volume=9.5L&gravity=0.9985&abv_percent=7.2&titratable_acidity=4.8+g/L+tartaric&ph=3.5"
)
"""Queries of worked examples, without what is asked."""


def lot_of(query: LotQuery) -> LotAsked:
    """The lot of a URL, as one of a blend request."""
    gravity: Any = query.gravity
    if query.sample_temperature is not None or query.calibrated_at is not None:
        gravity = {
            "reading": query.gravity,
            "sample_temperature": query.sample_temperature,
            "calibrated_at": query.calibrated_at,
        }
    given = LotIn.model_validate(
        {
            "name": "lot",
            "volume": query.volume,
            "gravity": gravity,
            "abv_percent": query.abv_percent,
            "original_gravity": query.original_gravity,
            "class": query.lot_class,
            "titratable_acidity": query.titratable_acidity,
            "ph": query.ph,
            "titration_end_point_ph": None if query.titratable_acidity is None else query.titration_end_point_ph,
            "residual_sugar": query.residual_sugar,
        }
    )
    return lot_from(given, 20.0, Reader())


def _ingredient_of(query: IngredientQuery) -> dict[str, Any]:
    measured = {
        name: value
        for name, value in (
            ("brix", query.brix),
            ("moisture_percent", query.moisture_percent),
            ("titratable_acidity", query.ingredient_titratable_acidity),
            ("ph", query.ingredient_ph),
        )
        if value is not None
    }
    return {"ingredient": query.ingredient, "measured": measured or None}


def _at_the_ingredient(error: ServiceError) -> None:
    """Point a fault of what was measured on the ingredient at the parameter of it, not at the lot's of that name."""
    for part in (error, *getattr(error, "parts", ())):
        for name in ("titratable_acidity", "ph"):
            part.pointer = part.pointer.replace(f"/measured/{name}", f"/ingredient_{name}")


def poured_of(query: AfterAddition) -> AdditionAsked:
    """The ingredient of a URL, so much of it."""
    given = {**_ingredient_of(query), "amount": query.amount}
    try:
        return addition_from(AdditionPoured.model_validate(given), Reader())
    except ServiceError as error:
        _at_the_ingredient(error)
        raise


def to_choose_of(query: AmountQuery) -> AdditionAsked:
    """The ingredient of a URL, its amount left open; in whole or half packs where it comes in packs."""
    given = {**_ingredient_of(query), "pack": query.pack, "half_packs": bool(query.half_packs)}
    try:
        return addition_from(AdditionIn.model_validate(given), Reader())
    except ServiceError as error:
        _at_the_ingredient(error)
        raise


def circumstances_of(query: LotQuery) -> Circumstances:
    """The instruments of a URL, and the end point of its acidities."""
    usual = Instruments()
    error = usual.hydrometer_error if query.hydrometer_error is None else query.hydrometer_error
    return Circumstances(
        instruments=replace(usual, hydrometer_error=error), end_point_ph=end_point_from(query.titration_end_point_ph)
    )
