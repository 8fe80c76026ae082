"""What one property costs in another: the main question asked along a whole curve."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise
from time import perf_counter
from typing import Any

from service.errors import InputError, SolverError
from service.model.acidity import chemistry_of
from service.model.properties import PROPERTIES, Per, depends_on_acids
from service.planner.answers import PRACTICE, Caution, NextReading, Predicted, Proof
from service.planner.answers_decisions import Clash
from service.planner.asked import TradeAsked
from service.planner.cautions import cautions_for, sorted_once
from service.planner.clash import explain_clash
from service.planner.evidence import MODEL_VERSION, assumed_in, data_version, next_readings, sources_of
from service.planner.materials import Material, materials_of, poured
from service.planner.numbers import likely_blend, scale_is_free
from service.planner.plain_words import joined
from service.planner.predict import amounts_of, predict, rounded, value_of
from service.planner.progress import Counted, Progress
from service.planner.solving import Answered, answer
from service.planner.trade_off.acids import settled
from service.planner.trade_off.answers import Breakpoint, End, Mark, TradeOff, TradePoint
from service.planner.trade_off.curve import Held, OutOfTimeError, Spot, Traced, Tracer, question_of
from service.planner.trade_off.handed_on import next_calls
from service.planner.trade_off.heeded import heeded
from service.planner.trade_off.stepwise import stepwise
from service.planner.trade_off.words import MIX_CHANGES, NOT_A_TASTE, axis_of, breakpoint_text, end_text, summary
from service.solver.frontier import CurvePoint
from service.solver.goals import Outcome
from service.solver.spacing import knee_of

IN_STEPS = (
    "With whole packs the curve goes in steps: below the best point each plan is the best with at most its level, "
    "above it with at least its level."
)
CUT_SHORT = "Not all of the curve could be looked at: some points or changes of mix may be missing."

_MOST_DIGITS = 9
_ANY_PH = 3.5

_WIDE_STEPS = 3.0
"""Neighbours that are further apart than this, and than twice what so many points make, have a gap between them."""


def trade_off(asked: TradeAsked, progress: Progress | None = None) -> TradeOff:
    """The best of one property for each level of another.

    Parameters: asked, in base units; progress, told from where the question is understood how many of the points
    asked for are found, and at last all of them, though a curve may have fewer. What it raises ends the work.
    Returns: TradeOff, whose points are full plans about one just-noticeable step apart. Targets that cannot be met are
    an outcome with its reasons, never an error.
    Raises: InputError where the request cannot be understood as a blend, or a property needs what a material lacks.
    """
    counted = Counted(progress, asked.points)
    answered = _answered(asked, counted)
    counted.finish()
    return answered


def _answered(asked: TradeAsked, counted: Counted) -> TradeOff:
    """The trade-off, its points counted."""
    until = perf_counter() + asked.plan.deadline_s
    materials = materials_of(asked.plan.lots, asked.plan.additions)
    if not materials:
        raise InputError("Name at least one lot or one addition.")
    _refuse_endless(asked, materials)
    question = question_of(asked)
    try:
        answered = answer(question, materials)
    except InputError as error:
        if error.pointer.startswith("/prefer/0"):
            error.pointer = "/y"
        raise
    result = answered.result
    _refuse_without_levels(asked, materials, answered)
    if not result.solution.found:
        raise InputError(
            "Nothing within these limits makes a drink at all. Look at the limits of the lots and additions.",
            "/additions",
        )
    counted.at(0)
    if result.outcome is not Outcome.MET or not answered.settled:
        masses = answered.numbers.masses_g(result.x)
        if result.outcome is Outcome.CLASH:
            clash = explain_clash(question, materials, masses, until=until)
            text = clash.text if clash else "The targets cannot all be met (proved)."
            return _without_points(asked, materials, "targets_clash", text, clash)
        text = "No plan that meets the targets was found, and it is not proved that there is none."
        return _without_points(asked, materials, "no_plan_found", text, None)
    tracer = Tracer(asked, materials, answered, until, counted)
    try:
        traced = _traced(tracer, answered)
    except SolverError:
        traced = None
    if traced is not None and len(traced.spots) == 1 and None in traced.ends:
        text = f"A plan was found, but no end of the curve: give a target for {asked.x}, and ask again."
        return _without_points(asked, materials, "no_plan_found", text, None)
    if traced is None or not traced.spots:
        text = "The targets can be met, but the curve could not be followed: widen a range, and ask again."
        return _without_points(asked, materials, "no_plan_found", text, None)
    return _written(asked, materials, traced, tracer)


def _refuse_endless(asked: TradeAsked, materials: Sequence[Material]) -> None:
    """Least of what is added to nothing is nothing, and most of it has no end."""
    if PROPERTIES[asked.x].per is Per.ONE and scale_is_free(materials, asked.plan.targets):
        raise InputError(
            f"Levels of {asked.x} mean nothing while nothing says how much to make: give a target for the volume.",
            "/targets/volume",
        )


def _refuse_without_levels(asked: TradeAsked, materials: Sequence[Material], answered: Answered) -> None:
    """A property that these materials do not have, for want of acid, of a price, of a volume."""
    blend = likely_blend(materials, asked.plan.targets)
    chemistry = chemistry_of(blend, asked.plan.circumstances.end_point_ph)
    answered.numbers.ratios.ratio(PROPERTIES[asked.x], "/x", chemistry, _ANY_PH)


def _traced(tracer: Tracer, answered: Answered) -> Traced | None:
    """The curve, in the way that the question allows."""
    names = {tracer.asked.x, tracer.asked.y.name, *(t.name for t in tracer.asked.plan.targets)}
    if any(answered.numbers.problem.whole):
        return stepwise(tracer, answered)
    if not any(map(depends_on_acids, names)):
        with suppress(OutOfTimeError):
            return tracer.smooth()
    return settled(tracer)


def _notes(traced: Traced) -> tuple[str, ...]:
    """What the figures of a curve are not."""
    return (*((IN_STEPS,) if any(traced.numbers.problem.whole) else ()), *(() if traced.complete else (CUT_SHORT,)))


def _shared(
    asked: TradeAsked, materials: Sequence[Material], cautions: Sequence[Caution], notes: Sequence[str] = ()
) -> dict[str, Any]:
    circumstances = asked.plan.circumstances
    echo = circumstances.echo
    return {
        "x": axis_of(asked.x, "each_level"),
        "y": axis_of(asked.y.name, "most" if asked.y.maximise else "least"),
        "also": None if asked.also is None else axis_of(asked.also, "shown"),
        "notes": (*notes, NOT_A_TASTE, circumstances.senses.told),
        "currency": circumstances.currency,
        "units": circumstances.system,
        "assumed": assumed_in(materials, circumstances),
        "cautions": tuple(cautions),
        "sources": sources_of(materials, cautions),
        "model_version": MODEL_VERSION,
        "data_version": data_version(),
        "batch": echo.batch,
        "date": echo.date,
        "note": echo.note,
    }


def _without_points(
    asked: TradeAsked, materials: Sequence[Material], outcome: Any, text: str, clash: Clash | None
) -> TradeOff:
    return TradeOff(
        outcome=outcome,
        summary=text,
        points=(),
        breakpoints=(),
        knee=None,
        best=None,
        ends=(),
        clash=clash,
        next={},
        next_reading=(),
        **_shared(asked, materials, ()),
    )


def _written(asked: TradeAsked, materials: Sequence[Material], traced: Traced, tracer: Tracer) -> TradeOff:
    spots = traced.spots
    knee = _knee(asked, spots)
    marks: list[list[Mark]] = [[] for _ in spots]
    if len(spots) > 1:
        marks[0].append("low_end")
        marks[-1].append("high_end")
    marks[traced.best].append("best")
    if knee is not None:
        marks[knee].append("knee")
    circumstances = asked.plan.circumstances
    drinks = [_predicted(materials, s, tracer) for s in spots]
    by_point = _cautions(asked, materials, spots, drinks)
    points: list[TradePoint] = []
    before: Spot | None = None
    for k, (spot, level, special) in enumerate(zip(spots, _levels(asked.x, spots), marks, strict=True)):
        stops = tuple(c.text for c in by_point[k] if c.level == "stop")
        points.append(_point(asked, materials, spot, level, before, tracer, tuple(special), drinks[k], stops))
        before = spot
    breaks = tuple(
        Breakpoint(
            rounded(asked.x, c.x),
            rounded(asked.y.name, c.y),
            breakpoint_text(c.numbers, c.found, c.rows, circumstances),
        )
        for c in traced.changes
    )
    breaks = tuple(b for b in breaks if b.text != MIX_CHANGES)
    ends: tuple[End, ...] = ()
    if len(points) > 1:
        low, high = traced.ends
        ends = (
            End("low", points[0].x, points[0].y, _end_text(traced, low, tracer, low=True)),
            End("high", points[-1].x, points[-1].y, _end_text(traced, high, tracer, low=False)),
        )
    remembered = [Caution("remembered_drink", "note", text, PRACTICE) for text in asked.plan.remembered]
    cautions = sorted_once([*heeded(by_point), *remembered])
    return TradeOff(
        outcome="curve" if len(points) > 1 else "one_point",
        summary=summary(asked, points, traced.best, knee, len(breaks))
        if len(points) > 1
        else "The targets leave no choice between the two: this is the only point.",
        points=tuple(points),
        breakpoints=breaks,
        knee=knee,
        best=traced.best,
        ends=ends,
        clash=None,
        next=next_calls(asked, points[traced.best if knee is None else knee], bends=knee is not None),
        next_reading=_before_choosing(materials, spots[traced.best], points[traced.best]),
        **_shared(asked, materials, cautions, (*_notes(traced), *_gaps(asked, points))),
    )


def _predicted(materials: Sequence[Material], spot: Spot, tracer: Tracer) -> Predicted:
    tracer.counted.still()
    return predict(materials, spot.masses_g, tracer.asked.plan.circumstances)


def _levels(name: str, spots: Sequence[Spot]) -> list[float]:
    """The levels of some spots with one digit more than is shown, or as many as it takes to tell neighbours apart."""
    exact = [spot.x for spot in spots]
    for more in range(1, _MOST_DIGITS):
        levels = [round(x, PROPERTIES[name].decimals + more) for x in exact]
        if all(a < b for a, b in pairwise(levels)):
            return levels
    return exact


def _end_text(traced: Traced, held: Held | None, tracer: Tracer, *, low: bool) -> str:
    """What keeps the curve from going on."""
    way = "lower" if low else "higher"
    if held is None:
        return f"Perhaps not the end: no plan was found for a {way} level. A target for it may help."
    numbers = traced.numbers
    endless = [j for j in numbers.boundless if tracer.is_at_edge(held.point.x, j)]
    if endless:
        names = " and ".join(numbers.materials[numbers.free[j]].name for j in endless)
        return f"The search went no {way}: {names} has no limit. Give a max."
    return end_text(numbers, held.point, held.rows, tracer.asked.plan.circumstances, low=low)


def _knee(asked: TradeAsked, spots: Sequence[Spot]) -> int | None:
    sign = -1.0 if asked.y.maximise else 1.0
    points = [CurvePoint(s.x, sign * s.y, (), None) for s in spots]
    knee = knee_of(points)
    return None if knee is None else points.index(knee)


def _point(
    asked: TradeAsked,
    materials: Sequence[Material],
    spot: Spot,
    level: float,
    before: Spot | None,
    tracer: Tracer,
    marks: tuple[Mark, ...],
    predicted: Predicted,
    stops: tuple[str, ...],
) -> TradePoint:
    circumstances = asked.plan.circumstances
    masses = spot.masses_g
    contents = poured(materials, masses)
    also = None
    if asked.also is not None:
        value = value_of(asked.also, materials, masses, contents, circumstances.end_point_ph, circumstances.senses)
        also = None if value is None else rounded(asked.also, value)
    steps = None if before is None else round(tracer.tastes.apart(before.masses_g, spot.masses_g), 2)
    y = rounded(asked.y.name, spot.y)
    x_low, x_high = _interval(predicted, asked.x, level)
    y_low, y_high = _interval(predicted, asked.y.name, y)
    also_low, also_high = (None, None) if asked.also is None else _interval(predicted, asked.also, also)
    return TradePoint(
        x=level,
        x_low=x_low,
        x_high=x_high,
        y=y,
        y_low=y_low,
        y_high=y_high,
        also=also,
        also_low=also_low,
        also_high=also_high,
        steps_from_previous=steps,
        marks=marks,
        proof=Proof("proved_best" if spot.proved else "best_found", 0.0 if spot.proved else None, 0.0),
        stops=stops,
        amounts=amounts_of(materials, masses, contents.volume_ml / 1000.0, circumstances),
        predicted=predicted,
    )


def _interval(predicted: Predicted, name: str, value: float | None) -> tuple[float | None, float | None]:
    """The 90 % interval of a property, never without the value that is told of it."""
    prediction = getattr(predicted, name)
    if prediction is None or value is None:
        return None, None
    return min(prediction.low, value), max(prediction.high, value)


def _gaps(asked: TradeAsked, points: Sequence[TradePoint]) -> tuple[str, ...]:
    """That the curve was not found everywhere, where neighbours are further apart than so many points have to be."""
    steps = [0.0 if p.steps_from_previous is None else p.steps_from_previous for p in points]
    usual = max(_WIDE_STEPS, 2.0 * sum(steps) / max(asked.points - 1, 1))
    wide = [f"{k} and {k + 1}" for k, step in enumerate(steps) if step > usual]
    if not wide:
        return ()
    return (f"Nothing was found between points {joined(wide)}: the curve may run otherwise there than a line.",)


def _cautions(
    asked: TradeAsked, materials: Sequence[Material], spots: Sequence[Spot], points: Sequence[Predicted]
) -> list[tuple[Caution, ...]]:
    """What to heed at each point."""
    circumstances = asked.plan.circumstances
    acids = any(depends_on_acids(name) for name in (asked.x, asked.y.name, *(t.name for t in asked.plan.targets)))
    return [
        tuple(
            cautions_for(
                materials,
                spot.masses_g,
                poured(materials, spot.masses_g),
                predicted,
                circumstances,
                acidity_asked=acids,
            )
        )
        for spot, predicted in zip(spots, points, strict=True)
    ]


def _before_choosing(materials: Sequence[Material], spot: Spot, point: TradePoint) -> tuple[NextReading, ...]:
    """What to measure before any of it is poured: the readings that expect nothing yet."""
    return tuple(r for r in next_readings(materials, spot.masses_g, point.predicted) if r.expect is None)
