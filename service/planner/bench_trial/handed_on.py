"""What can be asked after a bench trial: the batch as a recipe, as what was poured, and what follows a blend."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any, Final

from service.model.acidity import DEFAULT_END_POINT_PH
from service.planner.asked import AdditionAsked
from service.planner.bench_trial.answers import BatchDose
from service.planner.bench_trial.asked import BenchAsked
from service.planner.bench_trial.glass import Glass
from service.planner.hand_over import OF_AN_INGREDIENT, Blended, call, circumstances_body
from service.planner.materials import Material, poured
from service.planner.next_of_blend import amount_body, poured_recipe
from service.planner.next_of_drink import drink_calls
from service.planner.work import NextCall

_KEPT: Final = frozenset({*OF_AN_INGREDIENT, "price"})


def next_calls(asked: BenchAsked, glass: Glass, used: Sequence[Material], dose: BatchDose) -> dict[str, NextCall]:
    """Requests that can follow.

    Parameters: asked; glass; used, what the batch is made of; dose, the batch that is like the glass.
    Returns: calls by operation.
    """
    circumstances = asked.circumstances
    dyes = {s.asked.name for s in glass.stocks if s.asked.dye is not None}
    told = {m.name: m.source for m in used if isinstance(m.source, AdditionAsked)}
    added = []
    for amount in dose.amounts:
        if amount.kind != "addition" or amount.mass_g <= 0.0:
            continue
        sent = _as_sent(told[amount.name]) if amount.name not in dyes else _water_called(amount.name)
        added.append({**sent, "amount": amount_body(amount.mass_g, circumstances.system)})
    common = circumstances_body(circumstances, priced=True)
    if circumstances.end_point_ph != DEFAULT_END_POINT_PH:
        common["titration_end_point_ph"] = circumstances.end_point_ph
    lots = [dict(asked.batch_as_sent)]
    recipe = {"name": "batch like the glass", "lots": lots, "additions": added}
    by_name = {a.name: a.mass_g for a in dose.amounts}
    masses = [by_name.get(m.name, 0.0) for m in used]
    batch = Blended(used, masses, poured(used, masses), dose.predicted, circumstances)
    return {
        "forecast_blend": call(
            "forecast_blend",
            {**common, "recipes": [recipe]},
            (),
            "This batch as a recipe: to hold against readings, or to scale.",
        ),
        "correct_blend": poured_recipe(lots, added, dose.predicted, circumstances, common),
        **drink_calls(batch, "the batch"),
    }


def _as_sent(source: AdditionAsked) -> dict[str, Any]:
    """An ingredient as the request named it, without limits and amounts."""
    sent = json.loads(source.order) if source.order else {"ingredient": source.ingredient.id}
    return {name: value for name, value in sent.items() if name in _KEPT}


def _water_called(name: str) -> dict[str, Any]:
    """A liquid colour, which counts as water."""
    return {"composition": {"name": name, "components_g_per_100g": {"water": 100.0}}}
