"""What can be asked after a must plan: the readings of the ferment, the doses that hold its base, the blend."""

from __future__ import annotations

from typing import Any, Final

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.model.lot_class import TYPICAL_ACIDITY, LotClass
from service.planner.hand_over import acidity_in, call, circumstances_body, volume_in
from service.planner.must.answers import Ferment
from service.planner.must.asked import BaseAsked, FinishedAsked, MustAsked
from service.planner.stabilising.situation import STRONGEST_ABV_PERCENT
from service.planner.work import NextCall

LEAST_L: Final = 2e-3
"""A lot is no smaller [L]."""

MEAD_PH: Final = TYPICAL_ACIDITY[LotClass.MEAD].ph
_SWEETER: Final = 0.014
"""How much above the dry base a gravity is proposed, where nobody said what the drink is to be (our default)."""


def next_calls(
    asked: MustAsked,
    original_gravity: float,
    ferment: Ferment,
    base_l: float,
    blended_l: float | None,
    *,
    dry: bool = True,
) -> dict[str, NextCall]:
    """Requests that can follow, by operation.

    Parameters: asked; original_gravity of the must; ferment, where it ends; base_l, what will stand racked
        [L]; blended_l, of a finished drink [L]; dry, False where the yeast is not said to ferment it through.
    Returns: calls, each complete; none about a base that the next question refuses, or that may never be dry.
    """
    found = {"interpret_readings": _readings(asked, original_gravity, ferment)}
    if base_l < LEAST_L or not dry:
        return found
    if ferment.abv_percent.value <= STRONGEST_ABV_PERCENT:
        found["plan_stabilising"] = _stabilising(asked, ferment, base_l)
    return {**found, "solve_blend": _blend(asked, ferment, base_l, blended_l)}


def _readings(asked: MustAsked, original_gravity: float, ferment: Ferment) -> NextCall:
    body = circumstances_body(asked.circumstances) | {
        "hydrometer": round(ferment.final_gravity.value, 4),
        "original_gravity": round(original_gravity, 4),
        "class": LotClass.MEAD.value,
    }
    return call(
        "interpret_readings",
        body,
        ("/hydrometer", "/original_gravity"),
        "What the gravities say of strength, sugar left and whether it has ended; send all readings with their days.",
    )


def _stabilising(asked: MustAsked, ferment: Ferment, base_l: float) -> NextCall:
    finished = asked.finished
    base = BaseAsked() if finished is None else finished.base
    body = circumstances_body(asked.circumstances) | {
        "volume_at_dosing": volume_in(base_l, asked.circumstances.system),
        "ph": MEAD_PH if base.ph is None else base.ph,
        "abv_percent": round(ferment.abv_percent.value, 2),
        "class": LotClass.MEAD.value,
    }
    replace = ["/volume_at_dosing", "/ph", "/abv_percent"]
    if base.titratable_meq_per_l is not None:
        body["titratable_acidity"] = acidity_in(base.titratable_meq_per_l)
        replace.append("/titratable_acidity")
    return call(
        "plan_stabilising",
        body,
        replace,
        "Sulfite and sorbate for the racked base; add two gravities read days apart (readings): without them no "
        "dose is given.",
    )


def _blend(asked: MustAsked, ferment: Ferment, base_l: float, blended_l: float | None) -> NextCall:
    circumstances, finished = asked.circumstances, asked.finished
    base = BaseAsked() if finished is None else finished.base
    lot: dict[str, Any] = {
        "name": base.name,
        "volume": volume_in(base_l, circumstances.system),
        "gravity": round(ferment.final_gravity.value, 5),
        "abv_percent": round(ferment.abv_percent.value, 3),
        "class": LotClass.MEAD.value,
    }
    replace = ["/lots/0/volume", "/lots/0/gravity", "/lots/0/abv_percent"]
    if base.titratable_meq_per_l is not None:
        tartaric = acid_g_per_l_from_meq_per_l(base.titratable_meq_per_l, Acid.TARTARIC)
        lot["titratable_acidity"] = f"{tartaric:.4g} g/L tartaric"
        replace.append("/lots/0/titratable_acidity")
    if base.ph is not None:
        lot["ph"] = base.ph
        replace.append("/lots/0/ph")
    body = circumstances_body(circumstances, priced=finished is not None)
    if finished is None:
        body |= {
            "lots": [lot],
            "additions": [{"ingredient": "honey_average"}],
            "targets": {"gravity": round(ferment.final_gravity.value + _SWEETER, 3)},
        }
        replace.append("/targets/gravity")
        return call("solve_blend", body, replace, "Sweeten the racked base: put in its readings and your own targets.")
    body |= {"lots": [{**lot, "use": {"max": lot["volume"]}}], **_as_asked(asked, finished, blended_l)}
    replace.append("/lots/0/use/max")
    return call(
        "solve_blend",
        body,
        replace,
        "The blend again, by what the base turned out to be: put in its readings.",
    )


def _as_asked(asked: MustAsked, finished: FinishedAsked, blended_l: float | None) -> dict[str, Any]:
    """Additions and targets as they were asked for, with the volume that fills the containers."""
    body = dict(finished.body)
    if finished.containers and blended_l is not None:
        volume = volume_in(blended_l, asked.circumstances.system)
        body["targets"] = {**body.get("targets", {}), "volume": volume}
    return body
