"""Reads nutrients of a must: the demand of the yeast, and sources of nitrogen of food grade only."""

from __future__ import annotations

from functools import partial
from typing import Final

from service.api.reading import MASS, Reader, distinct
from service.api.reading_prices import price_per_g
from service.api.requests import PriceIn
from service.api.requests_must import NitrogenIn, NitrogenSourceIn
from service.chemistry.nitrogen import (
    DEMAND_MG_N_PER_G,
    LEAST_NITROGEN_SHARE,
    MOST_NITROGEN_SHARE,
    is_no_food,
    salt_called,
)
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.planner.must.asked import NitrogenAsked, NitrogenSource

_FORMULA_SLACK: Final = 0.005


def nitrogen_from(given: NitrogenIn, reader: Reader) -> NitrogenAsked:
    """What the yeast asks for and what there is to meet it, as the planner takes it; faults go to the reader.

    Parameters: given; reader.
    Returns: NitrogenAsked.
    """
    reader.attempt("", lambda: distinct([s.name for s in given.sources], "sources of nitrogen", "/nitrogen/sources"))
    found = [
        reader.attempt(f"/nitrogen/sources/{k}", partial(_nitrogen_source, one, reader))
        for k, one in enumerate(given.sources)
    ]
    demand = "medium" if given.demand is None else given.demand
    figure = DEMAND_MG_N_PER_G[demand] if isinstance(demand, str) else float(demand)
    return NitrogenAsked(
        demand if isinstance(demand, str) else "the caller's own",
        figure,
        tuple(source for source in found if source is not None),
        given.must_yan_mg_n_per_l,
        given.demand is not None,
        bool(given.sources),
    )


def _nitrogen_source(given: NitrogenSourceIn, reader: Reader) -> NitrogenSource:
    if is_no_food(given.name):
        raise InputError(
            f"“{given.name}” is not for drinks: name a nutrient of food grade, such as diammonium phosphate or "
            "autolysed yeast; never fertiliser, urea, nitrate or ammonia.",
            "/name",
        )
    salt = salt_called(given.name)
    if given.nitrogen_percent is None and salt is None:
        raise InputError(
            "Say how much of it is nitrogen that yeast can use (nitrogen_percent). Known by name: diammonium "
            "phosphate, monoammonium phosphate, autolysed yeast.",
            "/nitrogen_percent",
        )
    share = salt.nitrogen_share if salt is not None else 0.0
    if given.nitrogen_percent is not None:
        share = given.nitrogen_percent / 100.0
        if salt is not None and salt.phosphate and share > salt.nitrogen_share + _FORMULA_SLACK:
            raise InconsistentError(
                f"{salt.name} holds {100.0 * salt.nitrogen_share:.1f} % nitrogen by its formula, not "
                f"{given.nitrogen_percent:g}: is that its phosphate?",
                "/nitrogen_percent",
            )
        if share < LEAST_NITROGEN_SHARE:
            raise OutOfRangeError(
                f"{given.nitrogen_percent:g} % nitrogen is next to nothing: per cent of the mass are meant, so that "
                "0.212 of it is 21.2.",
                "/nitrogen_percent",
            )
        if share > MOST_NITROGEN_SHARE:
            raise OutOfRangeError(
                f"No food-grade nutrient holds {given.nitrogen_percent:g} % nitrogen: diammonium phosphate is the "
                "richest, with 21.2. Is that protein, or a fertiliser, which is not for drinks?",
                "/nitrogen_percent",
            )
    phosphate = None if salt is None else salt.phosphate
    if given.organic is not None:
        if given.organic and phosphate:
            raise InconsistentError(f"{given.name} is an ammonium salt, not yeast matter.", "/organic")
        phosphate = False if given.organic else phosphate
    amount = price = None
    if given.amount is not None:
        amount = reader.quantity(given.amount, MASS, "/amount").value_base
    if given.price is not None:
        price = _price_per_g(given.price, reader)
    mark = "as given" if given.nitrogen_percent is not None or salt is None else salt.mark
    return NitrogenSource(given.name, share, phosphate, mark, amount, price)


def _price_per_g(given: PriceIn, reader: Reader) -> float:
    return price_per_g(given.amount, reader.quantity(given.per, MASS, "/price/per").value_base)
