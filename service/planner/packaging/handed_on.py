"""What can be asked after a packaging plan: whether the ferment rests, what would hold its sugar, heat instead."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any, Final

from service.planner.hand_over import call, circumstances_body, volume_in
from service.planner.packaging.asked import PackagingAsked
from service.planner.packaging.steps import SENTINEL_DAYS, SUGAR_CODES
from service.planner.span import NORMAL_90, Span
from service.planner.stabilising.situation import HIGHEST_PH, LOWEST_PH, STRONGEST_ABV_PERCENT
from service.planner.work import NextCall

_ONE_MOMENT: Final = frozenset({"start_date"})
_PASTEURISING_C: Final = "65 C"


def next_calls(asked: PackagingAsked, stops: Collection[str]) -> dict[str, NextCall]:
    """Requests that can follow.

    Parameters: asked; stops, the codes that speak against closing it up.
    Returns: calls by operation.
    """
    found: dict[str, NextCall | None] = {"interpret_readings": _hold_test(asked)}
    if SUGAR_CODES & set(stops):
        found["plan_stabilising"] = _stabilising(asked)
        found["plan_packaging"] = _heated(asked)
    return {name: told for name, told in found.items() if told is not None}


def _hold_test(asked: PackagingAsked) -> NextCall | None:
    """The reading of the test bottle, or of a sample kept warm: the gravity it should still have."""
    gravity = asked.drink.gravity
    if gravity is None:
        return None
    body: dict[str, Any] = {
        **circumstances_body(asked.circumstances),
        "hydrometer": round(gravity.value, 4),
        "abv_percent": max(round(asked.drink.abv_percent.value, 3), 0.0),
        "steady_days": SENTINEL_DAYS,
    }
    return call(
        "interpret_readings",
        body,
        ("/hydrometer", "/steady_days"),
        "Whether it rests: the degassed drink of the plastic bottle, or of a sample kept warm, and for how many days "
        "its gravity has been the same.",
    )


def _stabilising(asked: PackagingAsked) -> NextCall | None:
    """Sulfite and sorbate for the drink as it is; None where the constants of sulfite do not reach."""
    drink = asked.drink
    if drink.ph is None or drink.volume_l is None:
        return None
    strength = max(round(drink.abv_percent.value, 3), 0.0)
    ph = round(drink.ph.value, 2)
    if not LOWEST_PH <= ph <= HIGHEST_PH or strength > STRONGEST_ABV_PERCENT:
        return None
    body: dict[str, Any] = {
        **circumstances_body(asked.circumstances),
        "volume_at_dosing": _volume(drink.volume_l, asked),
        "ph": ph,
        "abv_percent": strength,
        "sugar_g_per_l": max(drink.fermentable_sugar_g_per_l.high, 0.0),
        "market": asked.label.market,
        "hurdles": ["sulfite", "sorbate"],
    }
    if "intended" in body:
        body["intended"] = {name: value for name, value in body["intended"].items() if name != "hurdles"}
    for name, value in (("free_so2_now", drink.free_so2_mg_per_l), ("total_so2_now", drink.total_so2_mg_per_l)):
        if value is not None:
            body[name] = f"{value:.4g} mg/L"
    return call(
        "plan_stabilising",
        body,
        ("/volume_at_dosing", "/ph", "/abv_percent"),
        "Whether sulfite and sorbate can hold it, and how much; add two gravities read days apart (readings).",
    )


def _volume(volume: Span, asked: PackagingAsked) -> str:
    sd = (volume.high - volume.low) / (2.0 * NORMAL_90)
    system = asked.circumstances.system
    if system == "imperial" or not 0.0 < sd < 0.45 * volume.value:
        return volume_in(volume.value, system)
    return f"{volume.value:.6g} L ± {sd:.3g} L"


def _heated(asked: PackagingAsked) -> NextCall | None:
    """The same with pasteurising in the container."""
    if asked.heat is not None or not asked.sent:
        return None
    body = {name: value for name, value in asked.sent.items() if name not in _ONE_MOMENT}
    body["heat"] = {"temperature": _PASTEURISING_C}
    if body.get("only"):
        body["only"] = list(dict.fromkeys([*body["only"], "heat"]))
    return call(
        "plan_packaging",
        body,
        ("/heat/temperature",),
        "The same, pasteurised in the container: how long, and whether headspace and rating stand it.",
    )
