"""The work of undoing a fault, and what can be asked of the drink afterwards."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from service.planner.answers import Caution, NextReading
from service.planner.asked import AdditionAsked, TargetAsked
from service.planner.blend_steps import MIXED_H, expectations, step, stops
from service.planner.fruit import price_body
from service.planner.hand_over import OF_AN_INGREDIENT, Blended, call, circumstances_body, lot_body
from service.planner.next_of_blend import amount_body, target_body
from service.planner.next_of_drink import drink_calls
from service.planner.plain_words import plain_names
from service.planner.undo.answers import Option
from service.planner.undo.asked import UndoAsked
from service.planner.work import NextCall, WorkStep
from service.quantities import System

_AFTERWARDS: Final = "drink afterwards"


def steps_of(
    asked: UndoAsked, best: Option, cautions: Sequence[Caution], readings: Sequence[NextReading]
) -> tuple[WorkStep, ...]:
    """What to do, in order: the way out that stands first, tried in a glass before.

    Parameters: asked; best, the first of the options; cautions; readings that follow, in the caller's units.
    Returns: steps.
    """
    known = bool(asked.in_vessel or asked.added)
    found = [*stops([c for c in cautions if c.about in (None, best.name)])]
    if not known:
        found.append(
            step("Read the drink, then ask again with it for amounts.", check="; ".join(r.do for r in readings))
        )
    if best.possible == "no":
        return (*found, step("Nothing here does it: choose among the options with open eyes.", check=best.limit))
    if not best.amounts:
        return (*found, replace(step(best.do, check=best.limit), source_id=best.source_id))
    found.append(step("Try it in a glass of the drink first, in the same proportion.", check="Taste it at once."))
    plain = plain_names([a.name for a in best.amounts])
    amounts = "; ".join(f"{a.amount_text} of {plain[a.name]}" for a in best.amounts)
    found.append(
        step("Taste that glass again, and decide.", wait_h=MIXED_H, check="It is what you want, a day after too.")
    )
    found.append(replace(step(best.do, amounts, check=best.limit), source_id=best.source_id))
    expected = [r for r in readings if r.expect is not None]
    found.append(
        step("Stir, degas a sample and read it.", wait_h=MIXED_H, check=expectations(expected))
        if expected
        else step("Stir and taste it beside the glass.", wait_h=MIXED_H, check="As the glass was.")
    )
    return tuple(found)


def next_calls(asked: UndoAsked, best: Option, blended: Blended | None) -> dict[str, NextCall]:
    """Requests that can follow the way out that stands first.

    Parameters: asked; best, the first of the options; blended, the drink afterwards, None where it is not reckoned.
    Returns: calls by operation; none where nothing is poured.
    """
    if blended is None or best.possible == "no" or not best.amounts:
        return {}
    blended = replace(blended, already=asked.held)
    found = drink_calls(blended)
    if best.so2 is not None and "plan_packaging" in found:
        packaging = found["plan_packaging"]
        free, total = best.so2.free_mg_per_l, best.so2.total_mg_per_l
        drink = {**packaging.request["drink"], "free_so2": f"{free:.4g} mg/L", "total_so2": f"{total:.4g} mg/L"}
        pointers = (*packaging.replace, "/drink/free_so2", "/drink/total_so2")
        found["plan_packaging"] = replace(packaging, request={**packaging.request, "drink": drink}, replace=pointers)
    blend = _blend(asked, blended)
    return found if blend is None else {"solve_blend": blend, **found}


def _blend(asked: UndoAsked, blended: Blended) -> NextCall | None:
    """The drink afterwards as a lot, with what is at hand and what is wanted; None where neither is told."""
    if not asked.targets or not asked.additions:
        return None
    lot = lot_body(blended.predicted, blended.circumstances, _AFTERWARDS, blended.lot_class)
    targets: Sequence[TargetAsked] = asked.targets
    body = {
        **circumstances_body(blended.circumstances, priced=True),
        "lots": [lot],
        "additions": [_at_hand(a, blended.circumstances.system) for a in asked.additions],
        "targets": {t.name: target_body(t) for t in targets},
    }
    read = ("volume", "gravity", "abv_percent", "titratable_acidity", "ph")
    return call(
        "solve_blend",
        body,
        [f"/lots/0/{name}" for name in read if name in lot],
        "What is still missing to the targets, once this was done and read.",
    )


def _at_hand(asked: AdditionAsked, system: System) -> dict[str, Any]:
    """An addition as the request named it, with what there is of it."""
    sent = json.loads(asked.order) if asked.order else {"ingredient": asked.ingredient.id}
    found = {name: sent[name] for name in (*OF_AN_INGREDIENT, "pack", "half_packs") if name in sent}
    found |= price_body(asked, sent)
    if asked.most_g is not None:
        found["max"] = amount_body(asked.most_g, system)
    return found
