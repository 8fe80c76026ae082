"""The cell question about cost: what an amount of an ingredient costs."""

from __future__ import annotations

from math import ceil
from typing import Final

from pydantic import Field

from service.api.cell_queries import CellQuery
from service.api.cell_readings import NO_CHECK, figure_words
from service.api.numbers import QueryNumber, ShortText
from service.api.question import Question
from service.api.reading import MASS_OR_VOLUME, Reader
from service.api.reading_additions import addition_from, mass_from, within
from service.api.requests import AdditionIn
from service.errors import InputError
from service.planner.answers import Caution
from service.planner.asked import AdditionAsked
from service.planner.single import Answer
from service.quantities import Kind

_MOST_G: Final = 1e11
_DUST: Final = 1e-9
_NO_CURRENCY: Final = "1"
"""Unit of a cost whose currency was not named."""


class Cost(CellQuery):
    """What does an amount of an ingredient cost, at a price per mass, volume or pack?"""

    ingredient: ShortText = Field(description="An id or short name of the catalogue, such as honey.")
    amount: ShortText = Field(description="Such as 2.5kg, 1.2L, or with pack 3packs.")
    price: QueryNumber = Field(ge=0, le=1e9, description="A number, such as 6.5.")
    per: ShortText = Field(description="What the price buys, such as 1kg, 12floz, or with pack 1pack.")
    pack: ShortText | None = Field(None, description="What a pack holds, such as 1kg or 12floz.")
    currency: ShortText | None = Field(None, description="Told with the answer; nothing is exchanged.")
    brix: QueryNumber | None = Field(None, gt=0, le=100, description="Measured, corrected for acid.")
    moisture_percent: QueryNumber | None = Field(None, gt=0, lt=100, description="Measured on the honey.")


def _addition(query: Cost) -> AdditionAsked:
    measured = {name: getattr(query, name) for name in ("brix", "moisture_percent")}
    measured = {name: value for name, value in measured.items() if value is not None}
    given = {
        "ingredient": query.ingredient,
        "measured": measured or None,
        "pack": query.pack,
        "price": {"amount": query.price, "per": query.per},
    }
    return addition_from(AdditionIn.model_validate(given), Reader())


def _mass_g(query: Cost, addition: AdditionAsked) -> float:
    """The mass of the amount, which may be counted in packs [g]."""
    liquid = not addition.ingredient.bulk_solid
    read = Reader().quantity(query.amount, MASS_OR_VOLUME | {Kind.PACKS}, "/amount", liquid=liquid)
    if read.kind is not Kind.PACKS:
        return mass_from(query.amount, addition.ingredient, Reader(), "/amount")
    if addition.pack_g is None:
        raise InputError("Say what a pack holds: “pack”, such as “1 kg” or “12 fl oz”.", "/pack")
    return within(read.value_base * addition.pack_g, _MOST_G, "100,000 t", "/amount")


def _cost(query: Cost) -> Answer:
    addition = _addition(query)
    mass_g = _mass_g(query, addition)
    per_g = addition.price_per_g
    assert per_g is not None  # a price was given
    value = mass_g * per_g
    currency = "" if query.currency is None else f" {query.currency}"
    words = (
        f"{figure_words(value)}{currency} for {query.amount} of {addition.ingredient.name}, at "
        f"{query.price:g}{currency} for {query.per}."
    )
    if addition.pack_g is not None:
        count = ceil(mass_g / addition.pack_g * (1.0 - _DUST))
        whole = figure_words(count * addition.pack_g * per_g)
        words += f" Bought whole: {count} {'pack' if count == 1 else 'packs'} of {query.pack}, {whole}{currency}."
    warned = tuple(Caution(code, "warning", text, "reading") for code, text in addition.cautions)
    return Answer(value, words, (*warned, NO_CHECK), addition.assumed, unit=query.currency or _NO_CURRENCY)


COST_QUESTIONS: tuple[Question, ...] = (
    Question(
        "cost",
        Cost,
        _cost,
        "ingredient=honey&amount=2.2kg&price=6.5&per=1pack&pack=1kg&currency=EUR",
        "amount",
        no_interval="A price has no interval: ask without bound.",
    ),
)
"""For the list of all cell questions."""
