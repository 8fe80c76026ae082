"""What can be asked after a blend: whether it came out, and what the questions after it take of the drink."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from service.model.properties import PROPERTIES
from service.planner.answers import Predicted
from service.planner.asked import AdditionAsked, Circumstances, ForecastAsked, LotAsked, PlanAsked, TargetAsked
from service.planner.fruit import price_body
from service.planner.hand_over import OF_AN_INGREDIENT, Blended, call, canonical, expected_readings, mass_in
from service.planner.next_of_drink import drink_calls
from service.planner.work import NextCall
from service.quantities import System

_NOT_OF_A_CORRECTION: Final = frozenset({"portions", "start_date", "losses"})
_SAME: Final = 1e-9
_IN_KILOGRAMS_G: Final = 1e6

_ONCE_POURED: Final = "What now, once this was poured: put in what was read, and what really went in."


def plan_next(asked: PlanAsked, first: Blended, whole: Blended) -> dict[str, NextCall]:
    """Requests that can follow a plan.

    Parameters: asked, with the body that was sent; first, what is poured before measuring; whole, all of the plan.
    Returns: calls by operation; none to correct a plan whose request is not known.
    """
    found = drink_calls(whole)
    if "losses" in asked.sent and "plan_packaging" in found:
        packaging = found["plan_packaging"]
        request = {**packaging.request, "losses": asked.sent["losses"]}
        found["plan_packaging"] = replace(packaging, request=request)
    return {"correct_blend": _correction(asked, first), **found} if asked.sent else found


def _correction(asked: PlanAsked, blended: Blended) -> NextCall:
    body = {name: value for name, value in asked.sent.items() if name not in _NOT_OF_A_CORRECTION}
    if "losses" in asked.sent:
        body["targets"] = _after_losses(asked)
    added = []
    for material, mass_g in blended.poured:
        source = material.source
        if isinstance(source, LotAsked):
            litres = mass_g * material.per_g.volume_ml / 1000.0
            if source.least_l < source.lot.volume_l * (1.0 - _SAME):  # one used whole is in the vessel anyway
                added.append({"lot": material.name, "amount": f"{litres:.7g} L"})
        else:
            added.append({**_which(asked, source), "amount": amount_body(mass_g, blended.circumstances.system)})
    measured = expected_readings(blended.predicted, blended.circumstances)
    body |= {"added": added, "measured": measured}
    body = canonical(body, blended.circumstances.system)
    return call("correct_blend", body, [f"/measured/{name}" for name in measured], _ONCE_POURED)


def _which(asked: PlanAsked, source: AdditionAsked) -> dict[str, Any]:
    """Which addition of the request it is, in its own words."""
    place = next((k for k, a in enumerate(asked.additions) if a is source), None)
    sent = asked.sent.get("additions", ())
    told: Mapping[str, Any] = sent[place] if place is not None and place < len(sent) else {}
    return {name: told[name] for name in OF_AN_INGREDIENT if name in told} or {"ingredient": source.ingredient.id}


def _after_losses(asked: PlanAsked) -> dict[str, Any]:
    """The targets of a plan with losses as a correction takes them: on the volume in the vessel."""
    targets = {name: target for name, target in asked.sent.get("targets", {}).items() if name != "packaged_volume"}
    volume = next((t for t in asked.targets if t.name == "volume"), None)
    if volume is not None:
        targets["volume"] = target_body(volume)
    return targets


def range_body(target: TargetAsked) -> dict[str, Any]:
    """A target as a range of a request, in its property's unit."""
    ends = {"min": target.low, "max": target.high}
    return {name: level_body(target.name, end) for name, end in ends.items() if abs(end) < float("inf")} | (
        {"priority": target.priority} if target.priority != 1 else {}
    )


def target_body(target: TargetAsked) -> dict[str, Any]:
    """A target as a request writes it, without its confidence.

    >>> target_body(TargetAsked("gravity", 1.01, 1.014, 1.012, ""))
    {'value': 1.012, 'tolerance': 0.002}
    """
    if target.value is None:
        return range_body(target)
    half = float(f"{target.high - target.value:.6g}")
    body = {"value": level_body(target.name, target.value), "tolerance": level_body(target.name, half)}
    return body | ({"priority": target.priority} if target.priority != 1 else {})


def level_body(name: str, value: float) -> float | str:
    """A value of a property as a target writes it.

    >>> level_body("gravity", 1.012), level_body("titratable_acidity", 7.0), level_body("cost", 3.5)
    (1.012, '7 g/L tartaric', 3.5)
    """
    unit = PROPERTIES[name].unit
    written = name in ("titratable_acidity", "volume", "added_mass", "added_volume")
    return f"{value:.7g} {unit}" if written else value


def amount_body(mass_g: float, system: System) -> str:
    """A mass as an amount of a request, tonnes of it without an exponent.

    >>> amount_body(612.5, "us"), amount_body(2.5e7, "metric"), amount_body(283.49523125, "imperial")
    ('612.5 g', '25000 kg', '10 oz')
    """
    if mass_g >= _IN_KILOGRAMS_G and system != "imperial":
        return f"{mass_g / 1000.0:.7g} kg"
    return mass_in(mass_g, system)


def poured_recipe(
    lots: Sequence[Mapping[str, Any]],
    added: Sequence[Mapping[str, Any]],
    predicted: Predicted,
    circumstances: Circumstances,
    common: Mapping[str, Any],
) -> NextCall:
    """A recipe with its amounts as a body of /v1/corrections: it aims at what the recipe was to be.

    Parameters: lots and added as requests name them, added with their amounts; predicted, of the recipe;
        circumstances; common, what else the body says.
    Returns: NextCall, whose targets are gravity and acidity within a just-noticeable step.
    """
    senses, acidity = circumstances.senses, predicted.titratable_acidity.value
    gravity = predicted.gravity.value
    targets: dict[str, Any] = {"gravity": {"value": gravity, "tolerance": senses.noticeable("gravity", gravity)}}
    if acidity > 0.0:
        targets["titratable_acidity"] = {
            "value": f"{acidity:.3f} g/L tartaric",
            "tolerance": f"{senses.noticeable('titratable_acidity', acidity):.3f} g/L tartaric",
        }
    measured = expected_readings(predicted, circumstances)
    body = {
        **common,
        "lots": [dict(lot) for lot in lots],
        "additions": [{name: value for name, value in a.items() if name != "amount"} for a in added],
        "targets": targets,
        "added": [
            *({"lot": lot["name"], "amount": lot["use"]["min"]} for lot in lots if isinstance(lot.get("use"), Mapping)),
            *({name: a[name] for name in (*OF_AN_INGREDIENT, "amount") if name in a} for a in added),
        ],
        "measured": measured,
    }
    body = canonical(body, circumstances.system)
    return call("correct_blend", body, [f"/measured/{name}" for name in measured], _ONCE_POURED)


def forecast_next(asked: ForecastAsked, recipe: int, blended: Blended, *, scaled: bool) -> dict[str, NextCall]:
    """Requests that can follow a forecast.

    Parameters: asked, with the body that was sent; recipe, its place; blended, what it makes; scaled, whether its
        amounts are others than the lots that were named hold.
    Returns: calls by operation.
    """
    found = {}
    sent = asked.sent.get("recipes", ())
    if sent and not scaled:
        told = sent[recipe]
        found["correct_blend"] = poured_recipe(
            told.get("lots", ()),
            _added(asked.recipes[recipe].additions, blended, told),
            blended.predicted,
            blended.circumstances,
            {k: v for k, v in asked.sent.items() if k not in ("recipes", "start_date")},
        )
    name = asked.recipes[recipe].name
    return {**found, **drink_calls(blended, f"“{name}”" if len(asked.recipes) > 1 else "the drink")}


def _added(additions: Sequence[AdditionAsked], blended: Blended, told: Mapping[str, Any]) -> list[dict[str, Any]]:
    masses = {id(m.source): g for m, g in blended.poured}
    return [
        {
            **{k: sent[k] for k in OF_AN_INGREDIENT if k in sent},
            **price_body(asked, sent),
            "amount": amount_body(masses[id(asked)], blended.circumstances.system),
        }
        for asked, sent in zip(additions, told.get("additions", ()), strict=True)
        if id(asked) in masses
    ]
