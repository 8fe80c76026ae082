"""What now: from what was poured and read to what to add, and what cannot be undone."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES, Of
from service.planner.answers import Amount, Caution, SourceCited
from service.planner.answers_blend import BlendPlan
from service.planner.blend_plan import solve_blend
from service.planner.correction.answers import Consistency, Correction, NotUndone
from service.planner.correction.asked import VESSEL, CorrectionAsked
from service.planner.correction.belief import Belief, believed
from service.planner.correction.cautions import cautions_of
from service.planner.correction.culprit import judged
from service.planner.correction.handed_on import following, poured_next, steps_of
from service.planner.correction.plan_shown import shown
from service.planner.correction.rest import Rest
from service.planner.correction.told import Told, names_in_words
from service.planner.correction.undone import not_undone
from service.planner.evidence import assumed_in, sources_of
from service.planner.materials import materials_of
from service.planner.plain_words import joined
from service.planner.predict import Foreseen, foreseen, predict
from service.planner.work import schedule_of

_NOTHING: Final = 1e-6
"""An addition of no more than this share of the vessel is the solver's dust (our default)."""

_NONE_SHOWN: Final = ("0 g", "0 oz")


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
    plan = shown(replace(solve_blend(rest.plan()), steps=(), schedule=(), next={}), consistency.verdict)
    now = _in_the_vessel(rest)
    undone = not_undone(rest, plan)
    cautions = cautions_of(asked, belief, told, consistency, now.predicted, plan)
    nothing = _adds_nothing(plan) and plan.outcome == "targets_met"
    next_in = poured_next(rest, plan, _added_g(plan))
    steps = steps_of(plan, next_in, cautions, consistency, nothing=nothing)
    echo = asked.plan.circumstances.echo
    return Correction(
        outcome="nothing_to_add" if nothing else plan.outcome,
        summary=_summary(consistency, rest, plan, undone, nothing=nothing),
        consistency=consistency,
        readings=told.readings(),
        earlier_readings=told.readings(earlier=True),
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
        steps=steps,
        schedule=schedule_of(steps, asked.plan.circumstances.start_date),
        next=following(asked.request, rest, plan, next_in, fits=consistency.verdict != "inconsistent"),
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


def _now(plan: BlendPlan) -> tuple[Amount, ...]:
    """The amounts to pour before the next reading: all of the plan, unless some is held back."""
    return plan.amounts if plan.first_addition is None else plan.first_addition.amounts


def _adds_nothing(plan: BlendPlan) -> bool:
    return not _added_g(plan)


def _added_g(plan: BlendPlan) -> dict[str, float]:
    """What is added to the vessel now [g], but for what neither scale nor jug would show."""
    now = _now(plan)
    vessel_g = sum(a.mass_g for a in now if a.name == VESSEL)
    return {
        a.name: a.mass_g
        for a in now
        if a.name != VESSEL and a.mass_g > _NOTHING * vessel_g and not a.amount_text.startswith(_NONE_SHOWN)
    }


def _summary(
    consistency: Consistency, rest: Rest, plan: BlendPlan, undone: tuple[NotUndone, ...], *, nothing: bool
) -> str:
    fits = consistency.text
    plain = names_in_words(materials_of(rest.lots, rest.additions))
    poured = _added_g(plan)
    added = [f"{a.amount_text} of {plain[a.name]}" for a in _now(plan) if a.name in poured]
    if consistency.verdict == "inconsistent":
        if not added:
            what = "nothing would have to be added" if nothing else "nothing that may be added would bring it nearer"
        else:
            what = f"{joined(added)} would follow"
        return f"Do not add yet: {_small(fits)} Only if every reading were true, {what}."
    if nothing:
        return f"{fits} Every target is met as it is: nothing has to be added."
    first = " first" if plan.first_addition is not None and plan.first_addition.held_back else ""
    what = f"Add {joined(added)}{first}." if added else "Nothing that may be added brings it nearer."
    lost = [found for found in undone if not found.settled]
    if plan.outcome == "targets_met" or not lost:
        return f"{fits} {what} {plan.summary}"
    head = "Cannot be undone" if lost[0].passed else "Out of reach"
    return f"{fits} {what} {plan.summary} {head}: {lost[0].text}"


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _assumed(belief: Belief, plan: BlendPlan) -> tuple[Assumed, ...]:
    present = [m for m, g in zip(belief.materials, belief.masses_g, strict=True) if g > 0.0]
    return tuple(dict.fromkeys([*plan.assumed, *assumed_in(present, belief.circumstances)]))


def _sources(belief: Belief, plan: BlendPlan, cautions: tuple[Caution, ...]) -> tuple[SourceCited, ...]:
    present = [m for m, g in zip(belief.materials, belief.masses_g, strict=True) if g > 0.0]
    by_key = {s.key: s for s in (*plan.sources, *sources_of(present, cautions))}
    return tuple(by_key[key] for key in sorted(by_key))
