"""How much of what: the main question, from lots, additions and targets to a plan that can be poured."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor, inf, isinf

from service.errors import InputError
from service.model.properties import PROPERTIES
from service.planner.answers import BlendPlan, Caution, CrossCheck, Predicted, Proof, TargetReport
from service.planner.asked import PlanAsked
from service.planner.cautions import cautions_for, sorted_once
from service.planner.evidence import MODEL_VERSION, assumed_in, data_version, next_readings, sources_of
from service.planner.marginals import binding_targets, marginal_text
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import Numbers, numbers_from
from service.planner.predict import amounts_of, cross_check, predict, rounded, value_of
from service.quantities import number_text
from service.solver.goals import GoalResult, Outcome, solve_goals
from service.solver.solve import Verdict

_ROUNDING_SHARE = 0.1
"""A rounded plan still meets a target when it misses it by no more than this share of what counts as exact."""


def solve_blend(asked: PlanAsked) -> BlendPlan:
    """The plan for a request.

    Parameters: asked, in base units.
    Returns: BlendPlan. Impossible targets are an outcome with the nearest plan, never an error.
    Raises: InputError where the request cannot be understood as a blend at all.
    """
    materials = materials_of(asked.lots, asked.additions)
    if not materials:
        raise InputError("Name at least one lot or one addition.")
    numbers = numbers_from(materials, asked.targets, asked.prefer)
    result = solve_goals(numbers.problem, numbers.goals, numbers.start, deadline_s=asked.deadline_s)
    if not result.solution.found:
        return _nothing(asked, materials, result)
    exact = _clean(numbers.masses_g(result.x))
    masses = _rounded(materials, exact, asked)
    predicted = predict(materials, masses)
    contents = poured(materials, masses)
    reports = _reports(asked, numbers, result, masses)
    outcome = result.outcome.value
    if result.outcome is Outcome.MET and not all(r.met for r in reports):
        outcome = "nearest_measurable"
    cautions = sorted_once(
        [
            *cautions_for(materials, masses, contents, asked.circumstances),
            *_boundless(numbers, result),
        ]
    )
    checked = cross_check(predicted)
    return BlendPlan(
        outcome=outcome,  # type: ignore[arg-type]
        proof=_proof(result),
        summary=_summary(outcome, result, reports, asked, near=len(result.problem.aims) > len(numbers.problem.aims)),
        amounts=amounts_of(materials, masses, contents.volume_ml / 1000.0, asked.circumstances),
        predicted=predicted,
        targets=reports,
        cross_check=checked,
        currency=asked.circumstances.currency,
        assumed=assumed_in(materials, asked.circumstances),
        cautions=cautions,
        next_reading=next_readings(materials, masses, predicted),
        sources=sources_of(materials, cautions, ("oiv_as2_03b",) if checked else ()),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=asked.circumstances.echo.batch,
        date=asked.circumstances.echo.date,
        note=asked.circumstances.echo.note,
    )


def _clean(masses_g: Sequence[float]) -> list[float]:
    """Masses without the solver's dust: less than a microgram in a batch is nothing."""
    total = sum(masses_g)
    return [0.0 if abs(m) < 1e-10 * total else m for m in masses_g]


def _rounded(materials: Sequence[Material], masses_g: Sequence[float], asked: PlanAsked) -> list[float]:
    """Each mass that was chosen, to the scale's step and inside its limits; a given one stays as given."""
    if asked.rounding == "none":
        return list(masses_g)
    step = asked.circumstances.instruments.scale_step_g
    result = []
    for material, mass in zip(materials, masses_g, strict=True):
        if material.fixed:
            result.append(mass)
            continue
        steps = round(mass / step)
        if material.most_g is not None and steps * step > material.most_g:
            steps = floor(material.most_g / step)
        if steps * step < material.least_g:
            steps += 1
        result.append(steps * step)
    return result


def _reports(
    asked: PlanAsked, numbers: Numbers, result: GoalResult, masses_g: Sequence[float]
) -> tuple[TargetReport, ...]:
    contents = poured(numbers.materials, masses_g)
    binding = binding_targets(result)
    reports = []
    for target in asked.targets:
        law = PROPERTIES[target.name]
        reached = value_of(target.name, numbers.materials, masses_g, contents)
        miss = inf if reached is None else max(target.low - reached, reached - target.high, 0.0)
        size = abs(reached) if reached is not None else 0.0
        slack = 1e-9 * max(1.0, size) if asked.rounding == "none" else _ROUNDING_SHARE * law.tolerance(size)
        met = miss <= slack
        held = target.name in binding
        reports.append(
            TargetReport(
                property=target.name,
                asked=target.asked,
                reached=None if reached is None else rounded(target.name, reached),
                unit=law.unit,
                miss=0.0 if met else _shown_miss(miss),
                met=met,
                binding=held,
                marginal=marginal_text(result, numbers, target.name, reached or 0.0, asked.circumstances)
                if held and result.outcome is Outcome.MET
                else None,
            )
        )
    return tuple(reports)


def _shown_miss(miss: float) -> float:
    """A miss with three figures, so that a small one is not rounded away."""
    return 0.0 if isinf(miss) else float(f"{miss:.3g}")


def _proof(result: GoalResult) -> Proof:
    gap = result.gap if result.verdict is not Verdict.PROVED_IMPOSSIBLE else None
    return Proof(
        verdict=result.verdict.value,
        gap=None if gap is None or isinf(gap) else float(f"{gap:.3g}"),
        milliseconds=round(result.milliseconds, 3),
    )


def _proved_what(asked: PlanAsked, near: bool) -> str:
    """What a proof of optimality speaks of: the first aim only."""
    if near:
        return "no other amounts come nearer to the values asked for"
    if asked.prefer:
        first = asked.prefer[0]
        return f"no other amounts give {'more' if first.maximise else 'less'} {first.name}"
    return "no smaller addition meets them"


def _summary(outcome: str, result: GoalResult, reports: Sequence[TargetReport], asked: PlanAsked, *, near: bool) -> str:
    missed = [r for r in reports if not r.met]
    words = "; ".join(
        f"{r.property} reaches {number_text(r.reached, 10.0 ** -PROPERTIES[r.property].decimals)}"
        f"{' ' + r.unit if r.unit and r.unit != 'SG' else ''} of {r.asked}"
        if r.reached is not None
        else f"{r.property} is not defined for this blend"
        for r in missed
    )
    if outcome == "targets_met":
        if result.verdict is Verdict.PROVED_BEST:
            return f"All targets are met, and {_proved_what(asked, near)} (proved)."
        return "All targets are met; better amounts may exist."
    if outcome == "nearest_measurable":
        return f"The targets can be met, but not with amounts of this scale's step: {words}."
    if outcome == "targets_clash":
        return f"No amounts within the limits meet all targets (proved). The nearest plan: {words}."
    return f"No plan was found and none is proved impossible. The nearest found: {words}."


def _boundless(numbers: Numbers, result: GoalResult) -> list[Caution]:
    """Additions without a limit that ended at the edge of the search."""
    return [
        Caution(
            "amount_without_limit",
            "warning",
            f"{numbers.materials[numbers.free[j]].name} has no limit and ended at the edge of the search: "
            "name a max, or a target for the volume.",
            "arithmetic",
        )
        for j in numbers.boundless
        if result.x[j] >= 0.999 * numbers.problem.upper[j]
    ]


def _nothing(asked: PlanAsked, materials: Sequence[Material], result: GoalResult) -> BlendPlan:
    """The answer where not even a nearest plan was found."""
    predicted: Predicted | None = None
    checked: CrossCheck | None = None
    return BlendPlan(
        outcome="targets_clash" if result.outcome is Outcome.CLASH else "no_plan_found",
        proof=_proof(result),
        summary="No amounts within the limits make a drink that comes near the targets.",
        amounts=(),
        predicted=predicted,
        targets=tuple(
            TargetReport(t.name, t.asked, None, PROPERTIES[t.name].unit, 0.0, False, False, None) for t in asked.targets
        ),
        cross_check=checked,
        currency=asked.circumstances.currency,
        assumed=assumed_in(materials, asked.circumstances),
        cautions=(),
        next_reading=(),
        sources=sources_of(materials, ()),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=asked.circumstances.echo.batch,
        date=asked.circumstances.echo.date,
        note=asked.circumstances.echo.note,
    )
