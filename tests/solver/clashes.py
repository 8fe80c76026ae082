"""Seeded goals that clash, over the blends of `tests.solver.instances`, with limits that may be given up."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from functools import cache

from service.solver.conflict import Limit
from service.solver.problem import Form, Problem, Ratio, Row, volume_at
from service.solver.solve import Verdict, solve
from service.solver.stages import Goal
from tests.solver.cases import row_scale
from tests.solver.instances import Instance, make

PLENTY = 4.0
"""The most of an amount whose limit is given up."""


@dataclass(frozen=True)
class Clash:
    """Goals proved to clash, and a sibling that does not: the instance they were made from."""

    sibling: Instance
    problem: Problem
    goals: tuple[Goal, ...]
    limits: tuple[Limit, ...]

    @property
    def start(self) -> tuple[float, ...]:
        return self.sibling.start


def rows_of(problem: Problem, goals: tuple[Goal, ...]) -> tuple[Row, ...]:
    """Both sides of every range, written out."""
    rows = []
    for goal in goals:
        scale = row_scale(goal, problem)
        top, bottom = goal.ratio.numerator, goal.ratio.denominator or Form(1.0, (0.0,) * problem.size)
        rows.append(Row(goal.name, top.minus(goal.low, bottom).scaled(scale), lower=0.0))
        rows.append(Row(goal.name, top.minus(goal.high, bottom).scaled(scale), upper=0.0))
    return tuple(rows)


def standing(clash: Clash, names: set[str]) -> tuple[Problem, tuple[Goal, ...]]:
    """The problem with the members of these names only, all else given up."""
    lower, upper = list(clash.problem.lower), list(clash.problem.upper)
    for limit in clash.limits:
        if limit.name not in names:
            lower[limit.column] = min(lower[limit.column], limit.lower)
            upper[limit.column] = max(upper[limit.column], limit.upper)
    goals = tuple(goal for goal in clash.goals if goal.name in names)
    loose = replace(clash.problem, lower=tuple(lower), upper=tuple(upper))
    return replace(loose, rows=(*rows_of(clash.problem, goals), *clash.problem.rows)), goals


def clash(seed: int, size: int, *, priorities: bool = False) -> Clash | None:
    """The clash of a seed, if the changes it draws make one."""
    rng = random.Random(7919 * seed + size)
    sibling = make(seed, size)
    base = sibling.problem
    goals = list(sibling.goals)
    lower, upper = list(base.lower), list(base.upper)
    for _ in range(rng.choice([1, 1, 2, 3])):
        kind = rng.choice(["shift", "shift", "stock", "least", "narrow"])
        if kind == "shift":
            k = rng.randrange(len(goals))
            by = rng.choice([-1.0, 1.0]) * goals[k].size() * rng.choice([0.005, 0.03, 0.3])
            goals[k] = replace(goals[k], low=goals[k].low + by, high=goals[k].high + by, value=None)
        elif kind == "stock":
            upper = [u * rng.choice([1.0, 0.3, 0.02, 0.0]) for u in upper]
            lower = [min(a, b) for a, b in zip(lower, upper, strict=True)]
        elif kind == "least":
            j = rng.randrange(size)
            lower[j] = upper[j] * rng.uniform(0.3, 1.0)
        else:
            volume = Ratio(Form(0.0, (0.0,) * size, 1.0))
            low = volume_at(base, base.lower) + rng.uniform(-0.1, 1.5)
            goals = [g for g in goals if g.name != "volume"]
            goals.append(Goal("volume", volume, low, low + rng.choice([0.01, 0.3]), None, 0.01))
    if priorities:
        goals = [replace(g, priority=rng.choice([1, 2, 3])) for g in goals]
    limits = []
    for j in range(size):
        limits.append(Limit(f"most of {j:02d}", j, lower[j], PLENTY))
        if lower[j] > 0.0:
            limits.append(Limit(f"least of {j:02d}", j, 0.0, upper[j]))
    problem = replace(base, lower=tuple(lower), upper=tuple(upper))
    ranged = replace(problem, rows=rows_of(problem, tuple(goals)))
    if solve(ranged, sibling.start, prove=False).verdict is not Verdict.PROVED_IMPOSSIBLE:
        return None
    return Clash(sibling, problem, tuple(goals), tuple(limits))


@cache
def clashes(size: int, count: int, first: int = 0) -> tuple[Clash, ...]:
    """The first clashes of a size, every other one with priorities."""
    found: list[Clash] = []
    seed = first
    while len(found) < count:
        one = clash(seed, size, priorities=seed % 2 == 0)
        if one is not None:
            found.append(one)
        seed += 1
    return tuple(found)
