"""What can be asked of a drink once it is there: clearing, stabilising, packaging."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.properties import property_value
from service.planner.drink import Drink
from service.planner.hand_over import Blended, acidity_in, call, circumstances_body, drink_body, volume_in, volume_told
from service.planner.stabilising.asked import MOST_GROWTH
from service.planner.stabilising.situation import HIGHEST_PH, LOWEST_PH, STRONGEST_ABV_PERCENT
from service.planner.work import NextCall

_MOST_SUGAR_G_PER_L: Final = 1000.0
"""A drink by its figures holds at most so much."""

_CLOSED_ABV_PERCENT, _CLOSED_SUGAR_G_PER_L = 20.0, 300.0


def can_be_closed(drink: Drink) -> bool:
    """Whether the question about packaging takes such a drink: the law of its gas ends there."""
    return drink.abv_percent.high <= _CLOSED_ABV_PERCENT and drink.sugar_g_per_l.high <= _CLOSED_SUGAR_G_PER_L


"""Up to these the pressure in a closed container is computed."""

_SOUREST_ALONE_PH: Final = 2.5
"""Below this a pH without its acidity would take more acid than any drink holds (our default)."""

_MOST_PROTONS, _HIGHEST_FIRST_PK = 3.0, 3.9
_READ: Final = ("volume", "gravity", "abv_percent", "titratable_acidity", "ph")
"""Figures of a drink that somebody reads once it is there."""

_READ_AT_DOSING: Final = ("volume_at_dosing", "volume_at_packaging", "ph", "abv_percent", "titratable_acidity")


def drink_calls(blended: Blended, what: str = "the drink") -> dict[str, NextCall]:
    """What can be asked of a drink once it is there: clearing, stabilising, packaging.

    Parameters: blended; what it is called in a sentence.
    Returns: calls by operation; those alone whose range the drink lies in.
    """
    predicted = blended.predicted
    if predicted.sugar_g_per_l.high > _MOST_SUGAR_G_PER_L:  # a syrup
        return {}
    drink = drink_body(blended)
    replace = tuple(f"/drink/{name}" for name in _READ if name in drink)
    shared = circumstances_body(blended.circumstances)
    body = {**shared, "drink": drink}
    found = {}
    stabilising = _stabilising(blended, what, shared)
    if stabilising is not None:
        found["plan_stabilising"] = stabilising
    found["plan_fining"] = call(
        "plan_fining",
        {**body, "haze": "clear"},
        ("/haze", *replace),
        f"How to clear {what}, or to keep its haze; before the stabilisers, once it is read.",
    )
    if predicted.abv_percent.high > _CLOSED_ABV_PERCENT or predicted.sugar_g_per_l.high > _CLOSED_SUGAR_G_PER_L:
        return found
    currency = blended.circumstances.currency
    priced = body if currency is None else {**body, "currency": currency}
    found["plan_packaging"] = call(
        "plan_packaging",
        priced,
        replace,
        f"How many containers {what} fills, at what pressure, and what a label says; once it is read.",
    )
    return found


def _stabilising(blended: Blended, what: str, shared: Mapping[str, Any]) -> NextCall | None:
    """Sulfite and sorbate for a drink: dosed into its one ferment before the rest goes in, else into the whole.

    Parameters: blended; what it is called in a sentence; shared, what the body says of its circumstances.
    Returns: NextCall; None where the constants of sulfite do not reach.
    """
    predicted, circumstances = blended.predicted, blended.circumstances
    if predicted.ph is None or not _within_reach(predicted.ph.value, predicted.abv_percent.value):
        return None
    volume = volume_told(predicted.volume, circumstances.system)
    strength = max(round(predicted.abv_percent.value, 3), 0.0)
    ph = round(predicted.ph.value, 2)
    sugar = max(predicted.fermentable_sugar_g_per_l.high, 0.0)
    kind = blended.lot_class
    base = _base(blended)
    acidity = _acidity(predicted.titratable_acidity.meq_per_l, ph)
    if base is None and not acidity and ph < _SOUREST_ALONE_PH:
        return None
    if base is None:
        dosed = {"volume_at_dosing": volume, "ph": ph, "abv_percent": strength, **acidity}
        where = what
    else:
        later = {f"{name}_at_packaging": value for name, value in acidity.items() if name == "titratable_acidity"}
        dosed = {
            **base,
            "volume_at_packaging": volume,
            "ph_at_packaging": ph,
            "abv_percent_at_packaging": strength,
            **(later if "titratable_acidity" in base else {}),
        }
        where = f"{blended.ferments[0][0].name}, before anything sweet goes in"
    body = {**shared, **dosed, "class": kind.value, "sugar_g_per_l": sugar}
    if "titratable_acidity" in body and circumstances.end_point_ph != DEFAULT_END_POINT_PH:
        body["titration_end_point_ph"] = circumstances.end_point_ph
    present = [f"/{name}" for name in _READ_AT_DOSING if name in body]
    return call(
        "plan_stabilising",
        body,
        present,
        f"Sulfite and sorbate for {where}; add two gravities read days apart (readings), or say that the ferment "
        "has ended.",
    )


def _within_reach(ph: float, abv_percent: float) -> bool:
    return LOWEST_PH <= ph <= HIGHEST_PH and abv_percent <= STRONGEST_ABV_PERCENT


def _base(blended: Blended) -> dict[str, Any] | None:
    """The one ferment of a blend at dosing; None where there are several, or the blend is far larger."""
    lots = [m for m, _ in blended.poured if m.kind == "lot"]
    ferments = blended.ferments
    if len(lots) != 1 or len(ferments) != 1:
        return None
    material, asked, mass_g = ferments[0]
    contents, whole_l = asked.lot.contents, asked.lot.volume_l
    litres = mass_g * material.per_g.volume_ml / 1000.0
    if blended.predicted.volume.high > MOST_GROWTH * litres:
        return None
    end_point = blended.circumstances.end_point_ph
    ph = property_value("ph", contents, whole_l, end_point)
    strength = max(round(property_value("abv_percent", contents, whole_l) or 0.0, 3), 0.0)
    if ph is None or ph < _SOUREST_ALONE_PH or not _within_reach(ph, strength):
        return None
    meq = meq_per_l_from_acid_g_per_l(
        property_value("titratable_acidity", contents, whole_l, end_point) or 0.0, Acid.TARTARIC
    )
    return {
        "volume_at_dosing": volume_in(litres, blended.circumstances.system),
        "ph": round(ph, 2),
        "abv_percent": strength,
        **(_acidity(meq, round(ph, 2)) if asked.lot.titratable_known else {}),
    }


def _acidity(meq_per_l: float, ph: float) -> dict[str, Any]:
    """An acidity for /v1/stabilising-plans; nothing where the acids of a class might not have both it and the pH.

    Acid alone, without any potassium, is the lowest pH that an acidity can have: c·q(pH) ≥ [H⁺]. Careful bounds of both
    stand for the acids: three protons to titrate for each molecule, a first pK of 3.9, twice the hydrogen ions.
    """
    least_charge_meq_per_l = meq_per_l / _MOST_PROTONS / (1.0 + 10.0 ** (_HIGHEST_FIRST_PK - ph))
    if meq_per_l <= 0.0 or least_charge_meq_per_l < 2.0 * 10.0 ** (3.0 - ph):
        return {}
    return {"titratable_acidity": acidity_in(meq_per_l)}
