"""How much of what: the main question, from lots, additions and targets to a plan that can be poured."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, inf

from service.errors import InputError
from service.model.lot_class import Assumed
from service.model.properties import depends_on_acids
from service.planner.answers import BlendPlan, Caution
from service.planner.asked import PlanAsked
from service.planner.cautions import cautions_for, sorted_once
from service.planner.evidence import MODEL_VERSION, assumed_in, data_version, next_readings, sources_of
from service.planner.materials import Material, materials_of, poured
from service.planner.plan_report import Solved
from service.planner.predict import amounts_of, cross_check, predict
from service.planner.solving import answer

_DUST = 1e-12


def solve_blend(asked: PlanAsked) -> BlendPlan:
    """The plan for a request.

    Parameters: asked, in base units.
    Returns: BlendPlan. Impossible targets are an outcome with the nearest plan, never an error.
    Raises: InputError where the request cannot be understood as a blend at all.
    """
    materials = materials_of(asked.lots, asked.additions)
    if not materials:
        raise InputError("Name at least one lot or one addition.")
    answered = answer(asked, materials)
    numbers, result = answered.numbers, answered.result
    if not result.solution.found:
        raise InputError(
            "Nothing within these limits makes a drink at all. Look at the limits of the lots and additions, and "
            "whether they bring any water.",
            "/additions",
        )
    solved = Solved(asked, numbers, result, answered.settled)
    masses, unrounded = _rounded(materials, _clean(numbers.masses_g(result.x)), asked)
    predicted = predict(materials, masses, asked.circumstances.end_point_ph)
    contents = poured(materials, masses)
    reports = solved.reports(masses, contents)
    outcome, proof = solved.outcome(reports), solved.proof()
    cautions = sorted_once(
        [
            *cautions_for(
                materials,
                masses,
                contents,
                predicted,
                asked.circumstances,
                acidity_asked=any(depends_on_acids(t.name) for t in asked.targets),
            ),
            *solved.edge_cautions(),
            *unrounded,
        ]
    )
    checked = cross_check(predicted)
    echo = asked.circumstances.echo
    return BlendPlan(
        outcome=outcome,
        proof=proof,
        summary=solved.summary(outcome, proof, reports, predicted.ph),
        amounts=amounts_of(materials, masses, contents.volume_ml / 1000.0, asked.circumstances),
        predicted=predicted,
        targets=reports,
        cross_check=checked,
        currency=asked.circumstances.currency,
        units=asked.circumstances.system,
        assumed=(*_scale_assumed(asked), *solved.searched(), *assumed_in(materials, asked.circumstances)),
        cautions=cautions,
        next_reading=next_readings(materials, masses, predicted),
        sources=sources_of(materials, cautions, ("oiv_as2_03b",) if checked else ()),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=echo.batch,
        date=echo.date,
        note=echo.note,
    )


def _clean(masses_g: Sequence[float]) -> list[float]:
    """Masses without the solver's dust."""
    total = sum(masses_g)
    return [0.0 if abs(m) < 1e-10 * total else m for m in masses_g]


def _scale_assumed(asked: PlanAsked) -> list[Assumed]:
    if asked.rounding == "none" or asked.circumstances.instruments.scale_given:
        return []
    step = asked.circumstances.instruments.scale_step_g
    return [Assumed("scale step", f"{step:g} g", "common practice, no source", "name it under instruments")]


def _rounded(
    materials: Sequence[Material], masses_g: Sequence[float], asked: PlanAsked
) -> tuple[list[float], list[Caution]]:
    """Each mass that was chosen, to the scale's step and inside its limits; a given one stays as given.

    Where no multiple of the step lies inside the limits the mass stays unrounded, with a caution.
    """
    if asked.rounding == "none":
        return list(masses_g), []
    step = asked.circumstances.instruments.scale_step_g
    result: list[float] = []
    cautions: list[Caution] = []
    for material, mass in zip(materials, masses_g, strict=True):
        lowest = ceil(material.least_g / step * (1.0 - _DUST))
        highest = inf if material.most_g is None else floor(material.most_g / step * (1.0 + _DUST))
        if material.fixed:
            result.append(mass)
        elif lowest > highest:
            result.append(mass)
            cautions.append(
                Caution(
                    "no_step_within_limits",
                    "warning",
                    f"No multiple of the scale's step ({step:g} g) lies within the limits of {material.name}: "
                    "its amount is not rounded.",
                    "arithmetic",
                )
            )
        else:
            result.append(min(max(round(mass / step), lowest), highest) * step)
    return result, cautions
