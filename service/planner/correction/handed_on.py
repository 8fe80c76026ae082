"""The work after a correction, and what can be asked next: the same once it was poured, or what follows a blend."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from service.planner.answers import Amount, Caution
from service.planner.answers_blend import BlendPlan
from service.planner.blend_steps import after, pouring, step, stops
from service.planner.correction.answers import Consistency
from service.planner.correction.asked import VESSEL
from service.planner.correction.belief import Belief
from service.planner.correction.rest import Rest
from service.planner.hand_over import OF_AN_INGREDIENT, Blended, call, canonical, expected_readings, mass_in
from service.planner.materials import materials_of, poured
from service.planner.next_of_drink import drink_calls
from service.planner.work import NextCall, WorkStep

_OF_A_STAGE: Final = ("added", "measured", "errors", "lost")
"""What a request says of what went in and was read since the stage before."""

_NOT_AGAIN: Final = (*_OF_A_STAGE, "start_date")
_AS_IT_IS: Final = ("targets_met", "nearest_measurable")


def steps_of(
    plan: BlendPlan, now: Blended, cautions: Sequence[Caution], consistency: Consistency, *, nothing: bool
) -> tuple[WorkStep, ...]:
    """What to do, in order.

    Parameters: plan for the rest; now, what of it goes in before the next reading; cautions of the correction;
        consistency of the readings; nothing, whether nothing is to be added.
    Returns: steps.
    """
    return tuple(_steps(plan, now, cautions, consistency, nothing=nothing))


def _steps(
    plan: BlendPlan, now: Blended, cautions: Sequence[Caution], consistency: Consistency, *, nothing: bool
) -> Iterator[WorkStep]:
    if consistency.verdict == "inconsistent":
        likeliest = consistency.culprits[0].text if consistency.culprits else consistency.text
        yield step("Add nothing yet: find out which amount or reading is off.", check=likeliest)
        yield step(
            "Stir, degas a sample, read it again, and ask again with what you found.",
            check="The readings fit what was poured.",
        )
        return
    if nothing:
        yield step("Leave it as it is: every target is met.", check="The cautions are heeded.")
        return
    yield from stops(cautions)
    if plan.outcome not in _AS_IT_IS:
        yield step(
            "Decide first whether the nearest drink will do: not every target can be met from here.", check=plan.summary
        )
    amounts = plan.amounts if plan.first_addition is None else plan.first_addition.amounts
    yield from pouring(now, amounts, there=frozenset({VESSEL}))
    yield from after(now, plan.next_reading, plan.first_addition)


def following(
    request: Mapping[str, Any], rest: Rest, plan: BlendPlan, now: Blended, *, fits: bool
) -> dict[str, NextCall]:
    """Requests that can follow: the correction of what is poured next, and where the readings fit, what the finished
    drink is asked.

    Parameters: request as it was sent; rest; plan for the rest; now, what of it goes in before the next reading; fits,
        whether the readings fit what was poured.
    Returns: calls by operation.
    """
    found = {"correct_blend": _again(request, rest, now)}
    return {**found, **drink_calls(finished(rest, plan))} if fits else found


def finished(rest: Rest, plan: BlendPlan) -> Blended:
    """The drink when all of the plan is poured, with what was in the vessel already."""
    by_name = {a.name: a.mass_g for a in plan.amounts}
    return _blended(rest, by_name, plan)


def poured_next(rest: Rest, plan: BlendPlan, masses_g: Mapping[str, float]) -> Blended:
    """What is in the vessel at the next reading; `masses_g` are those that are worth measuring out."""
    now: Sequence[Amount] = plan.amounts if plan.first_addition is None else plan.first_addition.amounts
    by_name = {a.name: masses_g.get(a.name, a.mass_g if a.name == VESSEL else 0.0) for a in now}
    return _blended(rest, by_name, plan if plan.first_addition is None else plan.first_addition)


def _blended(rest: Rest, by_name: Mapping[str, float], told: Any) -> Blended:
    materials = materials_of(rest.lots, rest.additions)
    masses = [by_name.get(m.name, 0.0) for m in materials]
    belief: Belief = rest.belief
    already = [(m, g) for m, g in zip(belief.materials, belief.left_g, strict=True) if g > 0.0]
    contents = poured(materials, masses)
    return Blended(materials, masses, contents, told.predicted, belief.circumstances, already)


def _again(request: Mapping[str, Any], rest: Rest, now: Blended) -> NextCall:
    """The same request once the plan has been poured: what was told this time is one more earlier stage."""
    stage = {key: request[key] for key in _OF_A_STAGE if key in request}
    body = {key: value for key, value in request.items() if key not in _NOT_AGAIN}
    added: list[dict[str, Any]] = []
    for material, mass_g in now.poured:
        if material.name == VESSEL:
            continue
        place = next((k for k, a in enumerate(rest.additions) if a is material.source), None)
        if place is None:
            litres = mass_g * material.per_g.volume_ml / 1000.0
            added.append({"lot": material.name, "amount": f"{litres:.6f} L"})
            continue
        asked = body["additions"][place]
        which = {key: asked[key] for key in OF_AN_INGREDIENT if key in asked}
        grams = f"{mass_g:.4f}".rstrip("0").rstrip(".") + " g"
        imperial = now.circumstances.system == "imperial"
        added.append({**which, "amount": mass_in(mass_g, "imperial") if imperial else grams})
    measured = expected_readings(now.predicted, now.circumstances)
    body |= {"earlier": [*request.get("earlier", []), stage], "added": added, "measured": measured}
    return call(
        "correct_blend",
        canonical(body, now.circumstances.system),
        [f"/measured/{name}" for name in measured],
        "What now, once this was poured: put in what was read, and what really went in.",
    )
