"""What the next questions take from these readings: stabilising, blending, correcting, and the next readings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from service.chemistry.charge_balance import ph_of
from service.errors import ServiceError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import DRY_EXTRACT
from service.planner.fruit import price_body
from service.planner.hand_over import acidity_in, call, circumstances_body, volume_in
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import ByMethod, gravity_now
from service.planner.interpreting.sugar import SugarFound
from service.planner.interpreting.trend import Rest, readings_at_20c
from service.planner.span import NORMAL_90
from service.planner.stabilising.asked import GravityOfDay
from service.planner.stabilising.situation import HIGHEST_PH, LOWEST_PH, STRONGEST_ABV_PERCENT
from service.planner.work import NextCall

_STAND_IN_L: Final = 20.0
"""A volume to be replaced, where none was read (our default)."""

_SWEETER_BY: Final = 0.010
"""How much sweeter a blend that may follow is asked to be; to be replaced (our default)."""

_MOST_GRAVITY: Final = 1.15
_NAME: Final = "drink as read"
_HOW_MUCH: Final = ("amount", "fruit", "fruit_count", "pressed")
_MOST_SUGAR_G_PER_L: Final = 1000.0


@dataclass(frozen=True, slots=True)
class Known:
    """What the next questions can be filled in with; `contradictory`, whether a method found readings impossible."""

    asked: ReadingsAsked
    used: ByMethod | None
    sugar: SugarFound | None
    rest: Rest
    by_recipe: Mapping[str, float]
    contradictory: bool


def calls_of(known: Known) -> dict[str, NextCall]:
    """The requests that can follow, by operation."""
    found = {
        "plan_stabilising": _stabilise(known),
        "solve_blend": _blend(known),
        "correct_blend": _correct(known),
        "interpret_readings": _again(known),
    }
    return {name: one for name, one in found.items() if one is not None}


def _volume(known: Known) -> tuple[str, bool]:
    """The volume in the caller's words, and whether it only stands in."""
    system = known.asked.circumstances.system
    if known.asked.volume_l is not None:
        span = known.asked.volume_l
        sd = (span.high - span.value) / NORMAL_90
        if system != "imperial" and sd > 1e-4 * span.value:
            return f"{span.value:.6g} L ± {min(sd, 0.45 * span.value):.3g} L", False
        return volume_in(span.value, system), False
    litres = known.by_recipe.get("volume", _STAND_IN_L)
    return volume_in(litres, system), True


def _strength(used: ByMethod) -> float:
    return round(max(used.found.abv_percent, 0.0), 3)


def _acidity(known: Known) -> dict[str, Any]:
    read = known.asked.acidity
    if read is None:
        return {}
    body: dict[str, Any] = {"titratable_acidity": acidity_in(read.meq_per_l)}
    if read.end_point_ph != DEFAULT_END_POINT_PH:
        body["titration_end_point_ph"] = read.end_point_ph
    return body


def _ph(known: Known, abv_percent: float) -> tuple[float, bool] | None:
    """pH as read, else what it should be by the recipe, or usual in such a drink: then it only stands in."""
    asked = known.asked
    if asked.ph is not None:
        return asked.ph, False
    if "ph" in known.by_recipe:
        return round(known.by_recipe["ph"], 2), True
    meq = None if asked.acidity is None else asked.acidity.meq_per_l
    try:
        readings = AcidReadings(None, meq, asked.circumstances.end_point_ph, abv_percent)
        acids, _ = acids_of_lot(asked.kind, readings, with_spread=False)
        return round(ph_of(acids.state, abv_percent=abv_percent), 2), True
    except ServiceError:
        return None


def _stabilise(known: Known) -> NextCall | None:
    asked, used = known.asked, known.used
    if used is None or asked.kind not in DRY_EXTRACT or gravity_now(asked) is None:
        return None
    abv = _strength(used)
    ph = _ph(known, abv)
    if ph is None or not LOWEST_PH <= ph[0] <= HIGHEST_PH or abv > STRONGEST_ABV_PERCENT:
        return None
    volume, stands_in = _volume(known)
    body: dict[str, Any] = {
        **circumstances_body(asked.circumstances),
        "volume_at_dosing": volume,
        "ph": ph[0],
        "abv_percent": abv,
        "class": asked.kind.value,
        **_acidity(known),
    }
    replace = [*(["/volume_at_dosing"] if stands_in else []), *(["/ph"] if ph[1] else [])]
    if ph[1] and "titratable_acidity" in body:
        try:
            acids_of_lot(
                asked.kind,
                AcidReadings(ph[0], asked.acidity.meq_per_l if asked.acidity else None, _end_point(asked), abv),
                with_spread=False,
            )
        except ServiceError:  # a pH that only stands in must not contradict the titration
            body.pop("titratable_acidity")
            body.pop("titration_end_point_ph", None)
    if known.sugar is not None:
        body["sugar_g_per_l"] = round(min(known.sugar.sugar.high, _MOST_SUGAR_G_PER_L), 1)
    if len(asked.series) > 1:
        body["readings"] = [
            {"date": r.day.isoformat(), "gravity": round(r.gravity, 5)} for r in readings_at_20c(asked, abv)[-50:]
        ]
    elif known.rest.fermentation == "steady":
        body["fermentation_finished"] = True
    return call(
        "plan_stabilising",
        body,
        replace,
        "Sulfite and sorbate, or why they are not enough; once two gravities days apart are equal. The sugar is the "
        "most that these readings leave possible.",
    )


def _end_point(asked: ReadingsAsked) -> float:
    return DEFAULT_END_POINT_PH if asked.acidity is None else asked.acidity.end_point_ph


def _lot(known: Known, used: ByMethod) -> tuple[dict[str, Any], bool]:
    asked = known.asked
    volume, stands_in = _volume(known)
    lot: dict[str, Any] = {
        "name": _NAME,
        "volume": volume,
        "gravity": round(used.found.gravity, 5),
        "abv_percent": _strength(used),
        "class": asked.kind.value,
        **_acidity(known),
    }
    if asked.ph is not None:
        lot["ph"] = asked.ph
    if asked.residual_sugar_g_per_l is not None and not asked.juice:
        error = asked.residual_sugar_error_g_per_l
        lot["residual_sugar"] = f"{asked.residual_sugar_g_per_l:.5g} g/L" + (
            "" if error is None else f" ± {error:.3g} g/L"
        )
    if asked.acidity is not None and asked.acidity.degassed is not None:
        lot["degassed"] = asked.acidity.degassed
    return lot, stands_in


def _blend(known: Known) -> NextCall | None:
    """A lot with its true readings; not while it still ferments."""
    used = known.used
    if used is None or gravity_now(known.asked) is None or known.rest.fermentation == "falling":
        return None
    if used.found.gravity + _SWEETER_BY > _MOST_GRAVITY:
        return None
    lot, stands_in = _lot(known, used)
    body = {
        **circumstances_body(known.asked.circumstances, priced=True),
        "lots": [lot],
        "additions": [{"ingredient": "honey_average"}],
        "targets": {"gravity": round(used.found.gravity + _SWEETER_BY, 3)},
    }
    replace = [*(["/lots/0/volume"] if stands_in else []), "/additions", "/targets"]
    return call(
        "solve_blend",
        body,
        replace,
        "How much of what brings this drink where it should be: name additions and targets; once the ferment rests.",
    )


def _correct(known: Known) -> NextCall | None:
    """The recipe as it was poured, with the readings, for what to add now."""
    asked = known.asked
    expected = asked.expected
    if expected is None or expected.figures is not None or "gravity" not in known.by_recipe:
        return None
    measured = _measured(known)
    if not measured:
        return None
    given = expected.body
    added: list[dict[str, Any]] = []
    for lot in given.get("lots", []):
        use = lot.get("use", "all")
        if use != "all":
            added.append({"lot": lot["name"], "amount": use.get("max") or use.get("min")})
    meant: list[dict[str, Any]] = []
    for read, addition in zip(expected.additions, given.get("additions", []), strict=False):
        which = {key: value for key, value in addition.items() if key not in (*_HOW_MUCH, "price")}
        meant.append({**which, **price_body(read, addition)})
        added.append({**which, **{key: addition[key] for key in _HOW_MUCH if key in addition}})
    body = {
        **circumstances_body(asked.circumstances, priced=True),
        "lots": given.get("lots", []),
        "additions": meant,
        "targets": {"gravity": round(known.by_recipe["gravity"], 4)},
        "added": added,
        "measured": measured,
    }
    if asked.acidity is not None and asked.acidity.end_point_ph != DEFAULT_END_POINT_PH:
        body["titration_end_point_ph"] = asked.acidity.end_point_ph
    return call(
        "correct_blend",
        body,
        ["/targets"],
        "What to add now, by the recipe and these readings; the target is the gravity that the recipe should have had.",
    )


def _measured(known: Known) -> dict[str, Any]:
    asked = known.asked
    found: dict[str, Any] = {}
    now = gravity_now(asked)
    if now is not None:
        abv = 0.0 if known.used is None else max(known.used.found.abv_percent, 0.0)
        found["gravity"] = round(now.at_20c(abv), 5)
    if asked.abv_percent is not None:
        found["abv_percent"] = asked.abv_percent
    if asked.acidity is not None:
        found["titratable_acidity"] = acidity_in(asked.acidity.meq_per_l)
    if asked.ph is not None:
        found["ph"] = asked.ph
    if asked.volume_l is not None:
        found["volume"] = _volume(known)[0]
    if asked.refractometer is not None:
        found["refractometer"] = f"{asked.refractometer.at_20c:.4g} Bx"
    return found


def _again(known: Known) -> NextCall | None:
    """The same with one more gravity, expected as it is; where a series goes on, or can begin."""
    asked, used, rest = known.asked, known.used, known.rest
    now = gravity_now(asked)
    if used is None or now is None or asked.juice or not rest.wait_days or known.contradictory:
        return None
    abv = max(used.found.abv_percent, 0.0)
    readings = readings_at_20c(asked, abv)
    if not readings:
        start = asked.circumstances.start_date
        if start is None or asked.steady_days is not None:
            return None
        readings = (GravityOfDay(date.fromisoformat(start[:10]), used.found.gravity),)
    falling = rest.fermentation == "falling"
    tells = known.sugar is not None and falling and used.method == "two_gravities"
    drop = known.sugar.drop.value if known.sugar is not None and tells else 0.0
    series: list[dict[str, Any]] = [
        {"date": r.day.isoformat(), "gravity": round(r.gravity, 5)} for r in readings[-199:]
    ]
    try:
        day = readings[-1].day + timedelta(days=rest.wait_days)
    except OverflowError:  # the calendar ends
        return None
    expect = round(readings[-1].gravity - drop, 4)
    series.append({"date": day.isoformat(), "gravity": expect})
    gone = ["hydrometer", "series", "start_date", "date", "note"]
    if falling:  # read of a drink that will have become another
        gone += ["refractometer", "abv_percent", "residual_sugar", "volume", "ph"]
        gone += ["titration", "titratable_acidity", "titration_end_point_ph"]
    body = {key: value for key, value in asked.request.items() if key not in gone}
    body["series"] = series
    place = len(series) - 1
    return call(
        "interpret_readings",
        body,
        [f"/series/{place}/date", f"/series/{place}/gravity"],
        f"Whether it rests, after {rest.wait_days} more days: put in what the hydrometer then shows.",
    )
