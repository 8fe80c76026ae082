"""What the solver's tests do with an instance: its rows, its values, its reach."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from service.solver.local import is_liquid
from service.solver.problem import Amounts, Problem, Row, ratio_rows, volume_at
from service.solver.stages import Goal
from tests.solver.instances import Instance

SMALLEST = 1e-2
"""Values below this are compared absolutely."""


def row_scale(goal: Goal, problem: Problem) -> float:
    """The factor that brings a goal's rows to order one."""
    middle = [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    volume = volume_at(problem, middle) if is_liquid(problem.sums_at(middle)) else 1.0
    denominator = 1.0 if goal.ratio.denominator is None else goal.ratio.denominator.at(middle, volume)
    return 1.0 / (denominator * goal.size())


def held(instance: Instance, goals: Iterable[Goal] | None = None) -> Problem:
    """The problem with every goal as a hard row, values with equality."""
    rows: list[Row] = []
    for goal in instance.goals if goals is None else goals:
        low, high = (goal.value, goal.value) if goal.value is not None else (goal.low, goal.high)
        rows.extend(ratio_rows(goal.name, goal.ratio, low, high, row_scale(goal, instance.problem)))
    return replace(instance.problem, rows=tuple(rows))


def value(problem: Problem, x: Amounts, k: int = 0) -> float:
    """The k-th aim at some amounts."""
    return problem.aims[k].at(x, volume_at(problem, x))


def allowance(best: float, relative: float = 1e-6) -> float:
    """How far a value may lie from another and still count as the same."""
    return relative * max(abs(best), SMALLEST)


def states(problem: Problem, x: Amounts) -> tuple[float, float]:
    """Ethanol share of the liquor and solids share of the syrup."""
    water, ethanol, solids = problem.sums_at(x)[:3]
    return ethanol / (water + ethanol), solids / (water + solids)
