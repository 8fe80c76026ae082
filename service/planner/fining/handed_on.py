"""What can be asked after a fining plan: the glasses of its bench trial, the salts, and the bottles."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Any, Final

from service.catalogue.fining import AgentName, FiningAgent
from service.errors import ServiceError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import DRY_EXTRACT, LotClass
from service.planner.drink import Drink, Span
from service.planner.fining.answers import AgentDose, VolumeAfter
from service.planner.fining.asked import FiningAsked
from service.planner.fining.choice import Judged
from service.planner.hand_over import acidity_in, call, circumstances_body, volume_in
from service.planner.next_of_drink import can_be_closed
from service.planner.stabilising.situation import HIGHEST_PH, LOWEST_PH, STRONGEST_ABV_PERCENT
from service.planner.work import NextCall

_GLASS_L: Final = 0.2
_STRENGTHS: Final = (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
_LEAST_ML: Final = 1.0
_THE_DRINK: Final = ("drink", "lots", "additions", "preservatives")


def next_of(
    asked: FiningAsked,
    chosen: Sequence[Judged],
    dosed: Sequence[Judged],
    doses: dict[AgentName, AgentDose],
    volume_l: Span,
    after: VolumeAfter,
) -> dict[str, NextCall]:
    """Requests that can follow, by operation; one that lacks a reading is left out.

    Parameters: asked; chosen agents, to try in glasses; dosed, those that go into the whole; doses by agent; volume_l
    [L]; after, the volume that is left.
    Returns: bodies that can be sent as they stand.
    """
    found = {
        "scale_bench_trial": _bench(asked, chosen, doses, volume_l),
        "plan_stabilising": _stabilising(asked, after),
        "plan_packaging": _packaging(asked, dosed, volume_l, after) if can_be_closed(asked.drink) else None,
    }
    return {operation: one for operation, one in found.items() if one is not None}


def _class_of(drink: Drink) -> LotClass:
    """What kind of liquid it is: as the one kind of ferment in it, else our default."""
    kinds = {lot.lot.lot_class for lot in drink.lots} & DRY_EXTRACT.keys()
    return kinds.pop() if len(kinds) == 1 else LotClass.MEAD


def _acids(drink: Drink) -> dict[str, Any]:
    """Acidity and pH, the acidity only where the acids of that kind of drink can have both."""
    if drink.ph is None:
        return {"titratable_acidity": acidity_in(drink.titratable_meq_per_l)} if drink.titratable_meq_per_l else {}
    ph = round(drink.ph.value, 2)
    if drink.titratable_meq_per_l:
        readings = AcidReadings(ph, drink.titratable_meq_per_l, DEFAULT_END_POINT_PH, drink.abv_percent.value)
        try:
            acids_of_lot(_class_of(drink), readings, with_spread=False)
        except ServiceError:
            return {"ph": ph}
        return {"ph": ph, "titratable_acidity": acidity_in(drink.titratable_meq_per_l)}
    return {"ph": ph}


def _bench(
    asked: FiningAsked, chosen: Sequence[Judged], doses: dict[AgentName, AgentDose], volume_l: Span
) -> NextCall | None:
    drink = asked.drink
    stocks = [stock for one in chosen if (stock := _stock(one.agent, doses[one.agent.id])) is not None]
    if drink.gravity is None or not stocks or not _a_lot(drink, volume_l):
        return None
    lot = {
        "name": "the drink",
        "volume": volume_in(volume_l.value, asked.circumstances.system),
        "gravity": round(drink.gravity.value, 4),
        "abv_percent": round(drink.abv_percent.value, 3),
        "class": _class_of(drink).value,
        **_acids(drink),
    }
    read = [f"/lot/{name}" for name in ("volume", "gravity", "titratable_acidity", "ph") if name in lot]
    return call(
        "scale_bench_trial",
        {
            **circumstances_body(asked.circumstances),
            "glass": {"base": "200 mL", "haze": True, "stocks": stocks},
            "lot": lot,
        },
        [*(f"/glass/stocks/{k}/amount" for k in range(len(stocks))), *read],
        "From the glass that looked and tasted best to the batch: put in the amounts of that glass. An agent counts as "
        "dissolved there, which moves no figure by what an instrument shows.",
    )


def _a_lot(drink: Drink, volume_l: Span) -> bool:
    """Whether the figures of a drink hold together as those of a lot."""
    assert drink.gravity is not None
    acids = _acids(drink)
    readings = LotReadings(
        volume_l.value,
        None,
        round(drink.gravity.value, 4),
        round(drink.abv_percent.value, 3),
        _class_of(drink),
        drink.titratable_meq_per_l if "titratable_acidity" in acids else None,
        None,
        acids.get("ph"),
    )
    try:
        lot_from_readings("the drink", readings)
    except ServiceError:
        return False
    return True


def _stock(agent: FiningAgent, dose: AgentDose) -> dict[str, Any] | None:
    """A stock to try an agent with, in the amount that makes the middle of its range in a glass."""
    if agent.bench_component is None or dose.low_mg_per_l is None or dose.high_mg_per_l is None:
        return None
    middle_g = sqrt(dose.low_mg_per_l * dose.high_mg_per_l) * _GLASS_L / 1000.0
    most = agent.disperse_most_percent or _STRENGTHS[0]
    strength = next((s for s in _STRENGTHS if s <= most and 100.0 * middle_g / s >= _LEAST_ML), _STRENGTHS[-1])
    return {
        "name": agent.id,
        "solution": {
            "composition": {
                "name": agent.id,
                "components_g_per_100g": {agent.bench_component: agent.bench_share_percent},
            },
            "percent_w_v": strength,
        },
        "amount": f"{100.0 * middle_g / strength:.1f} mL",
    }


def _stabilising(asked: FiningAsked, after: VolumeAfter) -> NextCall | None:
    drink = asked.drink
    acids = _acids(drink)
    if drink.ph is None or not LOWEST_PH <= acids["ph"] <= HIGHEST_PH:
        return None
    strength = round(drink.abv_percent.value, 3)
    if strength > STRONGEST_ABV_PERCENT:
        return None
    body: dict[str, Any] = {
        **circumstances_body(asked.circumstances),
        "volume_at_dosing": volume_in(after.value_l, asked.circumstances.system),
        **acids,
        "abv_percent": strength,
        "class": _class_of(drink).value,
        "sugar_g_per_l": round(drink.fermentable_sugar_g_per_l.high, 1),
    }
    for name, value in (("free_so2_now", drink.free_so2_mg_per_l), ("total_so2_now", drink.total_so2_mg_per_l)):
        if value is not None:
            body[name] = f"{value:.6g} mg/L"
    if asked.market is not None:
        body["market"] = asked.market
    return call(
        "plan_stabilising",
        body,
        [f"/{name}" for name in ("volume_at_dosing", "ph", "titratable_acidity") if name in body],
        "Stabilise after fining, not before: put in the volume and the pH as they are then, and two equal gravities "
        "read days apart.",
    )


def _packaging(asked: FiningAsked, dosed: Sequence[Judged], volume_l: Span, after: VolumeAfter) -> NextCall | None:
    """The same drink, as it was sent; what is proposed settles from it."""
    sent = {name: asked.sent[name] for name in _THE_DRINK if name in asked.sent}
    if not sent:
        return None
    body: dict[str, Any] = {**circumstances_body(asked.circumstances), **sent}
    replace = [f"/drink/{name}" for name in ("volume", "gravity", "abv_percent") if name in sent.get("drink", {})]
    lees_percent = 100.0 * (1.0 - after.value_l / volume_l.value)
    if dosed:
        body["fining_agents"] = [one.agent.name for one in dosed]
        replace.append("/fining_agents")
    if any(one.agent.lees_percent is not None for one in dosed):
        body["losses"] = {"settling": f"{max(lees_percent, 0.0):.3g} %"}
        replace.append("/losses/settling")
    if asked.market is not None:
        body["market"] = asked.market
    return call(
        "plan_packaging",
        body,
        replace,
        "How many containers it fills, what they have to hold and what a label says; once it is clear, or as hazy as "
        "it should be, and stabilised.",
    )
