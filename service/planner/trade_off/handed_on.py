"""What can be asked after a trade-off: the plan of the point where the curve bends most, or of the best one."""

from __future__ import annotations

from typing import Final

from service.planner.asked import TradeAsked
from service.planner.hand_over import call, canonical
from service.planner.next_of_blend import level_body
from service.planner.trade_off.answers import TradePoint
from service.planner.work import NextCall

_OF_THE_CURVE: Final = frozenset({"x", "y", "points", "also"})


def next_calls(asked: TradeAsked, point: TradePoint, *, bends: bool) -> dict[str, NextCall]:
    """The plan of one point.

    Parameters: asked, with the body that was sent; point; bends, whether the curve bends there, else it is the best.
    Returns: a call of `solve_blend`; none where the body is not known, or a remembered drink sets the level.
    """
    by_match = {t.name for t in asked.plan.targets} - asked.plan.sent.get("targets", {}).keys()
    if not asked.plan.sent or asked.x in by_match:  # a remembered drink has no second target on the same
        return {}
    body = {name: value for name, value in asked.plan.sent.items() if name not in _OF_THE_CURVE}
    body["targets"] = {**body.get("targets", {}), asked.x: level_body(asked.x, point.x)}
    body["prefer"] = [{"maximise" if asked.y.maximise else "minimise": asked.y.name}]
    where = "where the curve bends most" if bends else "with the best of it"
    return {
        "solve_blend": call(
            "solve_blend",
            canonical(body, asked.plan.circumstances.system),
            (f"/targets/{asked.x}",),
            f"The plan of the point {where}, with steps; put in the level of another point instead, as you like.",
        )
    }
