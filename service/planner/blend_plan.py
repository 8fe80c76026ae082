"""How much of what: the main question, from lots, additions and targets to a plan that can be poured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from time import perf_counter

from service.catalogue.loader import ingredients
from service.errors import InputError
from service.model.properties import depends_on_acids
from service.planner.acidity_cautions import of_an_ingredient
from service.planner.answers import PRACTICE, Caution, Predicted
from service.planner.answers_blend import BlendPlan, Compared, FirstAddition
from service.planner.answers_decisions import Clash
from service.planner.asked import Circumstances, PlanAsked, RecipeAsked
from service.planner.blend_steps import blend_steps
from service.planner.caution_price import caution_price
from service.planner.cautions import cautions_for, sorted_once
from service.planner.chances import narrowed, too_unsure, with_margins_told
from service.planner.clash import explain_clash
from service.planner.compare import differences
from service.planner.evidence import MODEL_VERSION, assumed_beside, assumed_in, data_version, next_readings, sources_of
from service.planner.fruit import FruitNeeded, fruit_needed, fruit_sources
from service.planner.hand_over import Blended
from service.planner.hold_back import first_addition, first_masses_g
from service.planner.losses import Losses, LossReport
from service.planner.materials import Material, materials_of, poured
from service.planner.next_of_blend import plan_next
from service.planner.packaged import answer_before_losses, losses_told, with_losses_told, with_packaged_told
from service.planner.plain_words import in_plain_words
from service.planner.plan_report import ROUNDING_SHARE, SOLVER_SHARE, Solved
from service.planner.predict import Foreseen, amounts_of, cross_check, foreseen, predict
from service.planner.pulp import PULP_SOURCE, jar_test_to_read
from service.planner.reading_units import in_system
from service.planner.rounding import rounded_masses
from service.planner.span import Span
from service.planner.work import schedule_of


def solve_blend(asked: PlanAsked) -> BlendPlan:
    """The plan for a request.

    Parameters: asked, in base units.
    Returns: BlendPlan. Impossible targets are an outcome with the nearest plan, never an error.
    Raises: InputError where the request cannot be understood as a blend at all.
    """
    materials = materials_of(asked.lots, asked.additions)
    if not materials:
        raise InputError("Name at least one lot or one addition.")
    until = perf_counter() + asked.deadline_s
    asked, answered = answer_before_losses(asked, materials)
    numbers, result = answered.numbers, answered.result
    if not result.solution.found:
        raise InputError(
            "Nothing within these limits makes a drink at all. Look at the limits of the lots and additions, and "
            "whether they bring any water.",
            "/additions",
        )
    solved = Solved(asked, numbers, result, answered.settled)
    unrounded = _clean(numbers.masses_g(result.x))
    firm = narrowed(asked.targets, numbers.margins)
    rounded = rounded_masses(
        materials,
        unrounded,
        firm,
        asked.prefer,
        asked.circumstances,
        asked.rounding,
    )
    masses = rounded.masses_g
    marginals = solved.marginals()
    told = foreseen(materials, masses, asked.circumstances)
    predicted = told.predicted
    contents = poured(materials, masses)
    volume = Span(contents.volume_ml / 1000.0, predicted.volume.low, predicted.volume.high)
    losses, lost = losses_told(asked.losses, materials, masses, volume, asked.circumstances)
    share = SOLVER_SHARE if asked.rounding == "none" else ROUNDING_SHARE
    reports = with_packaged_told(solved.reports(masses, contents, marginals, told), asked, losses, volume, share)
    outcome = solved.outcome(reports)
    proof = solved.proof(outcome)
    clash = with_losses_told(_clash(asked, solved, outcome, told, materials, unrounded, until), asked, losses)
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
            *rounded.cautions,
            *(Caution("remembered_drink", "note", text, PRACTICE) for text in asked.remembered),
            *_of_what_would_help(clash),
        ]
    )
    checked = cross_check(predicted)
    first = None
    if asked.hold_back is not None:
        first = first_addition(asked, materials, masses)
    amounts = amounts_of(materials, masses, contents.volume_ml / 1000.0, asked.circumstances, rounded.texts)
    whole = Blended(materials, masses, contents, predicted, asked.circumstances)
    now = whole if first is None else _first_of(whole, first)
    readings = in_system(
        (
            *next_readings(materials, now.masses_g, now.predicted, asked.circumstances.instruments),
            *(() if losses is None else jar_test_to_read(losses)),
        ),
        asked.circumstances.system,
    )
    fruit = fruit_needed(materials, masses, asked.circumstances)
    settled = outcome in ("targets_met", "nearest_measurable")
    poured_now = amounts if first is None else first.amounts
    steps = blend_steps(now, poured_now, cautions, readings, first, settled=settled)
    echo = asked.circumstances.echo
    return BlendPlan(
        outcome=outcome,
        proof=proof,
        summary=solved.summary(outcome, proof, reports, predicted.ph, clash),
        amounts=amounts,
        predicted=predicted,
        least_known=told.least_known,
        targets=reports,
        marginals=marginals,
        clash=clash,
        caution_price=caution_price(asked, materials, unrounded) if outcome == "targets_met" else None,
        first_addition=first,
        compared=tuple(compared_with(recipe, predicted, asked.circumstances) for recipe in asked.beside),
        cross_check=checked,
        losses=lost,
        fruit=fruit,
        steps=steps,
        schedule=schedule_of(steps, asked.circumstances.start_date),
        next=plan_next(asked, now, whole) if settled else {},
        currency=asked.circumstances.currency,
        units=asked.circumstances.system,
        assumed=(
            *rounded.assumed,
            *solved.searched(),
            *assumed_in(materials, asked.circumstances),
            *assumed_beside(asked.beside, materials),
            *(() if losses is None else losses.assumed),
        ),
        cautions=cautions,
        next_reading=readings,
        sources=sources_of(materials, cautions, _sources(checked is not None, lost, losses, fruit)),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=echo.batch,
        date=echo.date,
        note=echo.note,
    )


def _sources(
    checked: bool, lost: LossReport | None, losses: Losses | None, fruit: Sequence[FruitNeeded]
) -> tuple[str, ...]:
    """Keys of the documents behind what stands beside the blend."""
    keys = [PRACTICE, *fruit_sources(fruit), *(() if lost is None else (part.source_id for part in lost.parts))]
    if checked:
        keys.append("oiv_as2_03b")
    if losses is not None and losses.estimate:
        keys.append(PULP_SOURCE)
    return tuple(keys)


def _first_of(whole: Blended, first: FirstAddition) -> Blended:
    """What is poured before the first reading."""
    masses = first_masses_g(first, whole.materials)
    return Blended(whole.materials, masses, poured(whole.materials, masses), first.predicted, whole.circumstances)


def _clash(
    asked: PlanAsked,
    solved: Solved,
    outcome: str,
    told: Foreseen,
    materials: Sequence[Material],
    unrounded_g: Sequence[float],
    until: float,
) -> Clash | None:
    """Why the targets cannot all be met: because they clash, or because nothing could be so sure."""
    margins = solved.numbers.margins
    if margins and outcome in ("targets_clash", "no_plan_found"):
        unsure = too_unsure(asked.targets, margins, told.intervals)
        if unsure is not None:
            return unsure
    if outcome != "targets_clash" and not (solved.result.packs_only and outcome == "nearest_measurable"):
        return None
    firm = narrowed(asked.targets, margins)
    clash = explain_clash(replace(asked, targets=firm), materials, unrounded_g, until=until)
    if not margins or clash is None:
        return clash
    return with_margins_told(clash, asked.targets, margins, asked.circumstances)


def _of_what_would_help(clash: Clash | None) -> Iterator[Caution]:
    """What to heed with the ingredients that a clash proposes."""
    for helpful in clash.helpful_ingredients if clash is not None else ():
        yield from of_an_ingredient(in_plain_words(helpful.ingredient), ingredients()[helpful.ingredient])


def compared_with(recipe: RecipeAsked, plan: Predicted, circumstances: Circumstances) -> Compared:
    """How the plan's drink differs from that of a recipe."""
    materials = materials_of(recipe.lots, recipe.additions)
    known = predict(materials, [m.least_g for m in materials], circumstances)
    senses = circumstances.senses
    return Compared(recipe.name, known, differences(known, plan, circumstances.instruments, senses), senses.told)


def _clean(masses_g: Sequence[float]) -> list[float]:
    """Masses without the solver's dust."""
    total = sum(masses_g)
    return [0.0 if abs(m) < 1e-10 * total else m for m in masses_g]
