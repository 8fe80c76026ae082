"""What can be asked after a stabilising plan: packaging the drink as dosed, or the same once the ferment rests."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any, Final

from service.planner.asked import Circumstances
from service.planner.drink import DrinkRead, Span, unexplained_extract_g_per_l
from service.planner.hand_over import call, circumstances_body, volume_in
from service.planner.stabilising.answers import SulfiteReport, Verdict
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS
from service.planner.stabilising.choice import Choice
from service.planner.stabilising.situation import Situation
from service.planner.work import NextCall

_NOT_AGAIN: Final = frozenset({"fermentation_finished", "start_date"})
"""What holds of one moment only."""


def next_calls(here: Situation, choice: Choice, so2: SulfiteReport, ph: float, verdict: Verdict) -> dict[str, NextCall]:
    """Requests that can follow.

    Parameters: here; choice; so2 at dosing and at packaging; ph at packaging, with the salts; verdict.
    Returns: calls by operation; none to package a drink that must not be dosed yet.
    """
    if verdict == "do_not_dose":
        again = _again(here)
        return {} if again is None else {"plan_stabilising": again}
    packaging = _packaging(here, choice, so2, ph)
    return {} if packaging is None else {"plan_packaging": packaging}


def _packaging(here: Situation, choice: Choice, so2: SulfiteReport, ph: float) -> NextCall | None:
    """The drink by its figures; None where neither its sugar nor a gravity that tells it is known."""
    circumstances = here.asked.circumstances
    drink: dict[str, Any] = {
        "volume": volume_in(here.packaging.volume_l, circumstances.system),
        "abv_percent": round(here.packaging.abv_percent, 3),
        "ph": round(ph, 3),
        "free_so2": f"{so2.at_packaging.free_mg_per_l:.4g} mg/L",
        "total_so2": f"{so2.at_packaging.total_mg_per_l:.4g} mg/L",
        "sorbic_acid": f"{choice.sorbic:.4g} mg/L",
    }
    replace_ = ["/drink/volume", "/drink/ph", "/drink/free_so2", "/drink/total_so2"]
    if here.asked.readings and here.growth == 1.0:
        drink["gravity"] = here.asked.readings[-1].gravity
        replace_.append("/drink/gravity")
    if here.sugar_g_per_l is not None and not _too_little(here.sugar_g_per_l, drink, circumstances):
        drink["fermentable_sugar_g_per_l"] = here.sugar_g_per_l
    elif "gravity" not in drink:
        return None
    told = replace(circumstances, intended=replace(circumstances.intended, hurdles=hurdles_left(here, choice)))
    body = {**circumstances_body(told), "drink": drink}
    return call(
        "plan_packaging",
        body,
        replace_,
        "How many containers it fills and at what pressure, with the hurdles that this plan leaves; once pH and free "
        "SO2 are read.",
    )


def _too_little(sugar_g_per_l: float, drink: dict[str, Any], circumstances: Circumstances) -> bool:
    """Whether the last gravity tells of more sugar than was told: then it stands alone, the careful side."""
    if "gravity" not in drink:
        return False
    instruments = circumstances.instruments
    gravity = Span.read(drink["gravity"], instruments.hydrometer_error)
    abv = Span.read(drink["abv_percent"], instruments.strength_error_percent)
    return unexplained_extract_g_per_l(DrinkRead(None, gravity, abv), Span.exact(sugar_g_per_l)) > 0.0


def hurdles_left(here: Situation, choice: Choice) -> tuple[str, ...]:
    """The hurdles planned, without a salt that may not go in or of which none is proposed."""
    gone = {"sulfite"} if choice.blocked("sulfite") else set()
    if not choice.sorbic:
        gone.add("sorbate")
    return tuple(hurdle for hurdle in here.hurdles if hurdle not in gone)


def _again(here: Situation) -> NextCall | None:
    """The same question with the gravities that would show a ferment at rest; None where none were read so far."""
    readings, sent = sorted(here.asked.readings, key=lambda r: r.day), here.asked.sent
    if not readings or not sent:
        return None
    last = readings[-1]
    expected = []
    try:
        for days in (SLOW_DAYS, SLOW_DAYS + LEAST_DAYS):
            expected.append({"date": (last.day + timedelta(days=days)).isoformat(), "gravity": last.gravity})
    except OverflowError:
        return None
    body = {name: value for name, value in sent.items() if name not in _NOT_AGAIN}
    body["readings"] = [*sent.get("readings", ()), *expected]
    first = len(body["readings"]) - len(expected)
    return call(
        "plan_stabilising",
        body,
        [f"/readings/{k}/{field}" for k in range(first, first + len(expected)) for field in ("date", "gravity")],
        "The same, once the gravity has stood still: with the readings of those days.",
    )
