"""Several drinks from the same lots and stocks, solved together.

Every portion may take of every lot and addition; what they take together keeps to the limits of the request. Rows on pH
and acidity are tangents at one blend for each portion, renewed until they no longer move.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from math import inf
from time import perf_counter
from typing import Final, Literal, TypeVar

from service.errors import InputError, ServiceError
from service.model.acidity import Chemistry, chemistry_of
from service.model.properties import depends_on_acids
from service.planner.answers import PRACTICE, Caution, NextReading, Proof
from service.planner.answers_blend import PortionedPlan, PortionPlan
from service.planner.asked import Circumstances, PlanAsked, PortionAsked, PortionsAsked
from service.planner.blend_forecast import in_other_amounts
from service.planner.blend_plan import compared_with
from service.planner.blend_steps import portions_steps
from service.planner.cautions import cautions_for, sorted_once
from service.planner.clash import explain_clash
from service.planner.evidence import (
    MODEL_VERSION,
    assumed_beside,
    assumed_in,
    data_version,
    gravity_to_read,
    next_readings,
    sources_of,
)
from service.planner.hand_over import Blended
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import Numbers, likely_blend, numbers_from, reference_litres
from service.planner.plan_report import SOLVER_SHARE, miss_words, report_of
from service.planner.predict import amounts_of, cross_check, foreseen, value_of
from service.planner.reading_units import in_system
from service.planner.solving import answer
from service.planner.work import schedule_of
from service.solver.goals import Outcome
from service.solver.portions import Part, PortionsResult, solve_portions
from service.solver.solve import Verdict
from service.solver.stack import Link

_OutcomeName = Literal["targets_met", "targets_clash", "no_plan_found"]
_OUTCOMES: Final[dict[Outcome, _OutcomeName]] = {
    Outcome.MET: "targets_met",
    Outcome.CLASH: "targets_clash",
    Outcome.NOT_FOUND: "no_plan_found",
}
_ROUNDS = 12
_DUST_G = 5e-5
"""Less than this of anything is none."""
_SETTLED_PH, _SETTLED_MEQ_PER_L = 2e-6, 1e-4
"""Rows wrong by less than this are right."""

T = TypeVar("T")


def solve_blend_portions(asked: PortionsAsked) -> PortionedPlan:
    """The plan for a batch that is split into several drinks.

    Parameters: asked, in base units.
    Returns: PortionedPlan. Impossible targets are an outcome with the nearest plan, never an error.
    Raises: InputError where the request cannot be understood as blends at all, or asks for whole packs.
    """
    plan = asked.plan
    until = perf_counter() + plan.deadline_s
    whole = materials_of(plan.lots, plan.additions)
    for k, addition in enumerate(plan.additions):
        if addition.whole_g is not None:
            raise InputError(
                "Whole packs are not split over portions: leave pack out, and share what is opened.",
                f"/additions/{k}/pack",
            )
    free = tuple(replace(in_other_amounts(m), least_g=0.0) for m in whole)
    numbers, result, settled = _settled(plan, asked.portions, free, whole)
    if not all(result.xs) or len(result.xs) != len(numbers):
        raise InputError(
            "Nothing within these limits makes these drinks at all. Look at the limits and volumes.", "/portions"
        )
    return _written(asked, whole, numbers, result, settled, until)


def _settled(
    plan: PlanAsked, portions: Sequence[PortionAsked], free: Sequence[Material], whole: Sequence[Material]
) -> tuple[list[Numbers], PortionsResult, bool]:
    """Solve with the chemistry of each portion's own blend, until that no longer moves."""
    until = perf_counter() + plan.deadline_s
    end_point = plan.circumstances.end_point_ph
    litres = _placed(plan, portions, 0, lambda p: reference_litres(free, p.targets))  # one for all: their aims add up
    chemistry = [
        _placed(plan, portions, i, lambda p: chemistry_of(likely_blend(free, p.targets), end_point))
        for i in range(len(portions))
    ]

    def in_numbers(portion: PortionAsked, chemistry: Chemistry) -> Numbers:
        return numbers_from(
            free, portion.targets, plan.prefer, chemistry, senses=plan.circumstances.senses, litres=litres
        )

    numbers = [_placed(plan, portions, i, partial(in_numbers, chemistry=c)) for i, c in enumerate(chemistry)]
    names = {*(t.name for p in portions for t in p.targets), *(p.name for p in plan.prefer)}
    by_acids = any(map(depends_on_acids, names))
    links = _links(whole, numbers)
    milliseconds = 0.0
    kept: tuple[list[Numbers], PortionsResult] | None = None
    for round_ in range(_ROUNDS):
        parts = [Part(n.problem, n.goals, _start(n)) for n in numbers]
        left = max(until - perf_counter(), 0.0)
        share = 0.5 if by_acids and round_ == 0 else 1.0  # the first chemistry is a guess: leave time for the next
        result = _within_bounds(parts, solve_portions(parts, links, deadline_s=share * left, prove=not by_acids))
        milliseconds += result.milliseconds
        if not by_acids:
            return numbers, replace(result, milliseconds=milliseconds), True
        if not all(result.xs):  # at the deadline perhaps: what was found before is an answer still
            numbers, result = kept or (numbers, result)
            break
        after = [chemistry_of(poured(free, n.masses_g(x)), end_point) for n, x in zip(numbers, result.xs, strict=True)]
        if round_ > 0 and all(_same(a, b) for a, b in zip(chemistry, after, strict=True)):
            return numbers, replace(result, milliseconds=milliseconds), True
        if perf_counter() > until:
            break
        chemistry, kept = after, (numbers, result)
        numbers = [n.with_chemistry(c) for n, c in zip(numbers, chemistry, strict=True)]
    return numbers, replace(result, milliseconds=milliseconds), False


def _within_bounds(parts: Sequence[Part], result: PortionsResult) -> PortionsResult:
    """Amounts without the dust of arithmetic that would make one of them negative."""
    bounds = [(part.problem.lower, part.problem.upper) for part in parts]
    xs = tuple(
        tuple(min(max(value, low), high) for value, low, high in zip(x, lower, upper, strict=True))
        for x, (lower, upper) in zip(result.xs, bounds, strict=False)
    )
    return replace(result, xs=xs)


def _placed(plan: PlanAsked, portions: Sequence[PortionAsked], i: int, read: Callable[[PortionAsked], T]) -> T:
    """What is made of a portion; a fault in one of its own targets points there."""
    portion = portions[i]
    try:
        return read(portion)
    except ServiceError as error:
        named = error.pointer.removeprefix("/targets/")
        own = [t.name for t in portion.targets if not any(t is shared for shared in plan.targets)]
        if error.pointer.startswith("/targets/") and named in own:
            error.pointer = f"/portions/{i}" + ("/volume" if named == "volume" else f"/targets/{named}")
        raise


def _same(before: Chemistry, after: Chemistry) -> bool:
    return after.ph_error_of(before) < _SETTLED_PH and after.titration_error_of(before) < _SETTLED_MEQ_PER_L


def _start(numbers: Numbers) -> tuple[float, ...]:
    return tuple(numbers.start)


def _links(whole: Sequence[Material], numbers: Sequence[Numbers]) -> list[Link]:
    """What all portions may take together of each material."""
    links = []
    for i, material in enumerate(whole):
        columns = [n.free.index(i) if i in n.free else -1 for n in numbers]
        if all(c < 0 for c in columns):
            continue
        per = 1000.0 * numbers[0].litres
        upper = inf if material.most_g is None else material.most_g / per
        if material.least_g > 0.0 or upper < inf:
            terms = tuple((p, c, 1.0) for p, c in enumerate(columns))
            links.append(Link(material.name, terms, material.least_g / per, upper))
    return links


def _written(
    asked: PortionsAsked,
    whole: Sequence[Material],
    numbers: Sequence[Numbers],
    result: PortionsResult,
    settled: bool,
    until: float,
) -> PortionedPlan:
    circumstances = asked.plan.circumstances
    portions: list[PortionPlan] = []
    drinks: list[Blended] = []
    cautions = [Caution("remembered_drink", "note", text, PRACTICE) for text in asked.plan.remembered]
    readings: list[NextReading] = []
    before: dict[NextReading, None] = {}
    totals = [0.0] * len(whole)
    volume_l = 0.0
    for portion, n, x in zip(asked.portions, numbers, result.xs, strict=True):
        masses = [0.0 if abs(m) < _DUST_G else m for m in n.masses_g(x)]
        contents = poured(n.materials, masses)
        told = foreseen(n.materials, masses, circumstances)
        predicted = told.predicted
        totals = [a + b for a, b in zip(totals, masses, strict=True)]
        volume_l += contents.volume_ml / 1000.0
        reports = tuple(
            report_of(
                t,
                value_of(t.name, n.materials, masses, contents, circumstances.end_point_ph, circumstances.senses),
                SOLVER_SHARE,
                told,
            )
            for t in portion.targets
        )
        checked = cross_check(predicted)
        drinks.append(Blended(n.materials, masses, contents, predicted, circumstances))
        portions.append(
            PortionPlan(
                portion.name,
                amounts_of(n.materials, masses, contents.volume_ml / 1000.0, circumstances),
                predicted,
                told.least_known,
                reports,
                tuple(compared_with(recipe, predicted, circumstances) for recipe in asked.plan.beside),
                checked,
            )
        )
        found = cautions_for(
            n.materials,
            masses,
            contents,
            predicted,
            circumstances,
            acidity_asked=any(depends_on_acids(t.name) for t in portion.targets),
        )
        cautions += [replace(c, about=portion.name) if any(ch.isdigit() for ch in c.text) else c for c in found]
        before.update(dict.fromkeys(r for r in next_readings(n.materials, masses, predicted) if r.expect is None))
        readings.append(gravity_to_read(predicted, circumstances.instruments, portion.name))
    outcome, proof = _verdict(result, portions, settled)
    hopeless: list[str] = []
    if outcome != "targets_met":
        hopeless = _hopeless_alone(asked, numbers, until)
        if hopeless:
            outcome = "targets_clash"
            proof = Proof(Verdict.PROVED_IMPOSSIBLE.value, None, proof.milliseconds)
    kept = sorted_once(cautions)
    after = in_system(readings, circumstances.system)
    each = [(p.name, drink, p.amounts) for p, drink in zip(portions, drinks, strict=True)]
    steps = portions_steps(each, kept, after, settled=outcome == "targets_met")
    echo = circumstances.echo
    return PortionedPlan(
        outcome=outcome,
        proof=proof,
        summary=" ".join([_summary(outcome, proof, portions, circumstances), *hopeless]),
        portions=tuple(portions),
        totals=amounts_of(whole, totals, volume_l, circumstances),
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next={},
        currency=circumstances.currency,
        units=circumstances.system,
        assumed=(*assumed_in(whole, circumstances), *assumed_beside(asked.plan.beside, whole)),
        cautions=kept,
        next_reading=(*before, *after),
        sources=sources_of(whole, kept, ("oiv_as2_03b", PRACTICE)),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=echo.batch,
        date=echo.date,
        note=echo.note,
    )


def _hopeless_alone(asked: PortionsAsked, numbers: Sequence[Numbers], until: float) -> list[str]:
    """The portions that could not be had even with everything there is for them alone, and why, in words."""
    told = []
    for portion, n in zip(asked.portions, numbers, strict=True):
        left = until - perf_counter()
        if left <= 0.0:
            break
        alone = replace(asked.plan, targets=portion.targets, prefer=(), deadline_s=left)
        answered = answer(alone, n.materials)
        if answered.settled and answered.result.outcome is Outcome.CLASH and answered.result.solution.found:
            clash = explain_clash(alone, n.materials, answered.numbers.masses_g(answered.result.x), until=until)
            if clash is not None:
                told.append(f"{portion.name}: {clash.text}")
    return told


def _verdict(result: PortionsResult, portions: Sequence[PortionPlan], settled: bool) -> tuple[_OutcomeName, Proof]:
    """Outcome and proof; nothing about pH or acidity is proved here, whose rows are tangents."""
    verdict, gap = result.verdict, result.gap
    outcome = _OUTCOMES[result.outcome]
    acids = any(depends_on_acids(r.property) for p in portions for r in p.targets)
    if outcome == "targets_met" and not all(r.met for p in portions for r in p.targets):
        outcome = "no_plan_found"
    if outcome == "targets_clash" and acids:
        outcome = "no_plan_found"
    if (not settled or acids) and verdict in (Verdict.PROVED_BEST, Verdict.PROVED_IMPOSSIBLE):
        verdict, gap = Verdict.BEST_FOUND, inf
    unknown = verdict is Verdict.PROVED_IMPOSSIBLE or gap > 1.0
    return outcome, Proof(verdict.value, None if unknown else float(f"{gap:.3g}"), round(result.milliseconds, 3))


def _summary(outcome: str, proof: Proof, portions: Sequence[PortionPlan], circumstances: Circumstances) -> str:
    count = len(portions)
    if outcome == "targets_met":
        best = "; no better plan exists (proved)" if proof.verdict == "proved_best" else "; better amounts may exist"
        of = {1: "the portion", 2: "both portions"}.get(count, f"all {count} portions")
        return f"All targets of {of} are met from the same lots and stocks{best}."
    words = "; ".join(f"{p.name}: {miss_words(r, circumstances)}" for p in portions for r in p.targets if not r.met)
    if outcome == "targets_clash":
        return f"The lots and stocks do not serve all portions at once (proved). The nearest plan: {words}."
    return (
        "No plan for all portions was found, and it is not proved that there is none. "
        f"The nearest found: {words or 'its figures are not settled; ask again'}."
    )
