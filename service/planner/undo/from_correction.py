"""From what is in a vessel, and what was read there, to the question of the undo table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from service.errors import InputError
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.correction.asked import CorrectionAsked
from service.planner.correction.belief import believed
from service.planner.correction.culprit import judged
from service.planner.correction.rest import Rest
from service.planner.correction.told import Told
from service.planner.undo.asked import Fault, Mistake, UndoAsked

LEFT: Final = "{}, what is left"
"""What the rest of a lot is called, of which part is in the vessel."""

_GONE: Final = 1e-9
_SAME: Final = 1e-6


def undo_asked(correction: CorrectionAsked, fault: Fault) -> UndoAsked:
    """The question of the undo table about what is in the vessel.

    With readings the drink is what they leave to believe; without, what was poured.

    Parameters: correction, whose readings may be none; fault.
    Returns: UndoAsked, without what only the fault needs.
    Raises: InputError for readings beside a wrong amount, which is reckoned from the recipe alone.
    """
    plan = correction.plan
    asked = UndoAsked(fault, targets=plan.targets, rounding=plan.rounding, circumstances=plan.circumstances)
    if not correction.readings:
        poured = [lot for lot in correction.poured_lots if lot.most_l > 0.0]
        added = [a for a in (*correction.poured_additions, *correction.poured_besides) if a.least_g > 0.0]
        return replace(
            asked,
            in_vessel=tuple(poured),
            added=tuple(added),
            lots=_left_of_lots(plan.lots, correction.poured_lots),
            additions=_left_of_additions(plan.additions, correction.poured_additions),
        )
    if fault == "wrong_amount":
        text = "A wrong amount is reckoned from the recipe: leave the readings out, or leave the fault out."
        raise InputError(text, "/measured")
    belief = believed(correction)
    rest = Rest(correction, belief)
    return replace(
        asked,
        in_vessel=(rest.vessel,),
        lots=rest.lots[1:],
        additions=tuple(a for a in rest.additions if a.most_g is None or a.most_g > 0.0),
        consistency=Told(belief).consistency(judged(belief)),
        held=tuple(zip(belief.materials, belief.left_g, strict=True)),
    )


def _left_of_lots(whole: Sequence[LotAsked], poured: Sequence[LotAsked]) -> tuple[LotAsked, ...]:
    found = []
    for lot, used in zip(whole, poured, strict=True):
        left = min(lot.lot.volume_l, lot.most_l) - used.most_l
        if left <= _GONE * lot.lot.volume_l:
            continue
        name = LEFT.format(lot.lot.name) if used.most_l > 0.0 else lot.lot.name
        found.append(replace(lot, lot=replace(lot.lot, name=name), least_l=0.0, most_l=left))
    return tuple(found)


def _left_of_additions(meant: Sequence[AdditionAsked], poured: Sequence[AdditionAsked]) -> tuple[AdditionAsked, ...]:
    found = []
    for addition, used in zip(meant, poured, strict=True):
        most = None if addition.most_g is None else addition.most_g - used.least_g
        if most is not None and most <= _GONE * used.least_g:
            continue
        found.append(replace(addition, least_g=0.0, most_g=most, given=None, amount_sd_g=None))
    return tuple(found)


def mistake_of(correction: CorrectionAsked) -> Mistake:
    """The one amount of the recipe that differs from what went in.

    Parameters: correction.
    Returns: Mistake.
    Raises: InputError where none does, or several do.
    """
    found = []
    for meant, used in zip(correction.plan.additions, correction.poured_additions, strict=True):
        fixed = meant.most_g is not None and meant.least_g == meant.most_g
        if fixed and used.least_g > 0.0 and abs(used.least_g - meant.least_g) > _SAME * meant.least_g:
            found.append(Mistake(meant.ingredient.id, meant.least_g, used.least_g, told=False))
    if len(found) != 1:
        which = ", ".join(m.name for m in found) if found else "none differs from its amount in the recipe"
        raise InputError(f"Say which amount was wrong: ingredient or lot, and what was meant ({which}).", "/mistake")
    return found[0]
