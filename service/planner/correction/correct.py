"""What now: from what was poured and read to what to add, and what cannot be undone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES, Of
from service.planner.answers import Caution, SourceCited
from service.planner.answers_blend import BlendPlan
from service.planner.blend_plan import solve_blend
from service.planner.correction.answers import Correction, NotUndone
from service.planner.correction.asked import VESSEL, CorrectionAsked
from service.planner.correction.belief import Belief, believed
from service.planner.correction.cautions import cautions_of
from service.planner.correction.culprit import judged
from service.planner.correction.rest import Rest
from service.planner.correction.told import Told
from service.planner.correction.undone import not_undone
from service.planner.evidence import assumed_in, sources_of
from service.planner.materials import materials_of
from service.planner.plain_words import joined, plain_names
from service.planner.predict import Foreseen, foreseen, predict

_NOTHING_G: Final = 1e-6


def correct_blend(asked: CorrectionAsked) -> Correction:
    """The correction for a request.

    Parameters: asked, in base units.
    Returns: Correction. Readings that contradict each other, and targets out of reach, are answers and never errors.
    Raises: InputError where a reading has no counterpart in what was poured.
    """
    belief = believed(asked)
    told = Told(belief)
    consistency = told.consistency(judged(belief))
    rest = Rest(asked, belief)
    plan = solve_blend(rest.plan())
    now = _in_the_vessel(rest)
    undone = not_undone(rest, plan)
    cautions = cautions_of(asked, belief, told, consistency, now.predicted, plan)
    nothing = _adds_nothing(plan) and plan.outcome == "targets_met"
    echo = asked.plan.circumstances.echo
    return Correction(
        outcome="nothing_to_add" if nothing else plan.outcome,
        summary=_summary(consistency.text, plan, undone, nothing=nothing),
        consistency=consistency,
        readings=told.readings(),
        updated=told.updated(),
        drink=now.predicted,
        least_known=now.least_known,
        cannot_be_undone=undone,
        plan=plan,
        currency=plan.currency,
        units=plan.units,
        assumed=_assumed(belief, plan),
        cautions=cautions,
        next_reading=plan.next_reading,
        sources=_sources(belief, plan, cautions),
        next=_next(asked.request, rest, plan),
        model_version=plan.model_version,
        data_version=plan.data_version,
        batch=echo.batch,
        date=echo.date,
        note=echo.note,
    )


def _in_the_vessel(rest: Rest) -> Foreseen:
    """The drink as it is, with what was added to it so far."""
    belief = rest.belief
    (vessel,) = materials_of((rest.vessel,), ())
    told = foreseen((vessel,), (vessel.least_g,), belief.circumstances)
    planned = predict(belief.materials, belief.masses_g, belief.circumstances)
    added = {name: getattr(planned, name) for name, law in PROPERTIES.items() if law.of in _OF_WHAT_IS_ADDED}
    return replace(told, predicted=replace(told.predicted, **added))


_OF_WHAT_IS_ADDED: Final = (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST)


def _adds_nothing(plan: BlendPlan) -> bool:
    return all(a.name == VESSEL or a.mass_g <= _NOTHING_G for a in plan.amounts)


def _summary(fits: str, plan: BlendPlan, undone: tuple[NotUndone, ...], *, nothing: bool) -> str:
    if nothing:
        return f"{fits} Every target is met as it is: nothing has to be added."
    plain = plain_names([a.name for a in plan.amounts])
    added = [f"{a.amount_text} of {plain[a.name]}" for a in plan.amounts if a.name != VESSEL and a.mass_g > _NOTHING_G]
    what = f"Add {joined(added)}." if added else "Nothing that may be added brings it nearer."
    lost = [found for found in undone if not found.settled]
    if plan.outcome == "targets_met":
        return f"{fits} {what} {plan.summary}"
    told = f" Cannot be undone: {lost[0].text}" if lost else ""
    return f"{fits} {what} {plan.summary}{told}"


def _assumed(belief: Belief, plan: BlendPlan) -> tuple[Assumed, ...]:
    present = [m for m, g in zip(belief.materials, belief.masses_g, strict=True) if g > 0.0]
    return tuple(dict.fromkeys([*plan.assumed, *assumed_in(present, belief.circumstances)]))


def _sources(belief: Belief, plan: BlendPlan, cautions: tuple[Caution, ...]) -> tuple[SourceCited, ...]:
    present = [m for m, g in zip(belief.materials, belief.masses_g, strict=True) if g > 0.0]
    by_key = {s.key: s for s in (*plan.sources, *sources_of(present, cautions))}
    return tuple(by_key[key] for key in sorted(by_key))


def _next(request: Mapping[str, Any], rest: Rest, plan: BlendPlan) -> dict[str, Any]:
    """The same request once the plan has been poured, without its readings."""
    body = {key: value for key, value in request.items() if key not in ("measured", "errors")}
    added = list(body.get("added", []))
    masses = {a.name: a.mass_g for a in plan.amounts}
    for material in materials_of(rest.lots, rest.additions):
        mass_g = masses.get(material.name, 0.0)
        if material.source is rest.vessel or mass_g <= _NOTHING_G:
            continue
        place = next((k for k, a in enumerate(rest.additions) if a is material.source), None)
        if place is None:
            litres = mass_g * material.per_g.volume_ml / 1000.0
            added.append({"lot": material.name, "amount": f"{litres:.6f} L"})
            continue
        asked = body["additions"][place]
        which = {key: asked[key] for key in ("ingredient", "composition", "measured", "treatment") if key in asked}
        added.append({**which, "amount": f"{mass_g:.4f}".rstrip("0").rstrip(".") + " g"})
    return {**body, "added": added}
