"""Seeded blends some of whose additions come in whole packs, and two oracles for them.

The oracles share nothing with the solver's branch and bound: all counts of packs one after the other, each with the
ordinary solve, and `scipy.optimize.milp` on successive linearisations.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil, floor

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from service.solver.local import worst_violation
from service.solver.problem import Aim, Amounts, Form, Problem, Ratio, volume_at
from service.solver.solve import Solution, Verdict, solve
from tests.benchmarks.rivals import Answer, Dense, successive_linprog
from tests.solver.cases import value
from tests.solver.instances import Instance, make


def packed(
    seed: int, packs: int, others: int, *, most: int = 4, combinations: int = 60, reached: bool = True
) -> Instance:
    """The instance of a seed with `packs` additions in packs and `others` in any amount.

    Each addition in packs has room for 0 to `most` of them, and all together for no more than that many
    `combinations`; its upper bound is no multiple of its pack. `reached` moves the goals around a plan with whole
    packs; otherwise they stay around one with any amounts, which whole packs often miss.
    """
    rng = random.Random(1_000_003 * seed + 101 * packs + others)
    instance = make(seed, packs + others)
    base, size = instance.problem, packs + others
    chosen = sorted(rng.sample(range(size), packs))
    room = {j: rng.randint(0, most) for j in chosen}
    while np.prod([k + 1 for k in room.values()]) > combinations:
        room[max(room, key=lambda j: room[j])] -= 1
    whole = [0.0] * size
    for j, k in room.items():
        whole[j] = base.upper[j] / (k + rng.uniform(0.2, 0.9))
    problem = replace(base, whole=tuple(whole))
    if not reached:
        return replace(instance, problem=problem)
    point = [
        rng.randint(0, room[j]) * whole[j] if j in room else rng.random() * base.upper[j] * (rng.random() < 0.5)
        for j in range(size)
    ]
    volume = volume_at(base, point)
    goals = []
    for goal in instance.goals:
        shift = goal.ratio.at(point, volume) - (goal.value if goal.value is not None else 0.5 * (goal.low + goal.high))
        moved = None if goal.value is None else goal.value + shift
        goals.append(replace(goal, low=goal.low + shift, high=goal.high + shift, value=moved))
    return Instance(problem, tuple(goals), instance.start)


def each_count(problem: Problem) -> Iterator[Problem]:
    """The problem with every possible count of packs held, one after the other, as one without packs."""
    ranges = [
        range(ceil(low / pack - 1e-9), floor(high / pack + 1e-9) + 1) if pack else (None,)
        for low, high, pack in zip(problem.lower, problem.upper, problem.whole, strict=True)
    ]
    for counts in product(*ranges):
        held = [None if k is None else k * pack for k, pack in zip(counts, problem.whole, strict=True)]
        yield replace(
            problem,
            whole=(),
            lower=tuple(a if h is None else h for a, h in zip(problem.lower, held, strict=True)),
            upper=tuple(b if h is None else h for b, h in zip(problem.upper, held, strict=True)),
        )


@dataclass(frozen=True)
class Enumerated:
    """The best of all counts of packs: its aims in their order, empty if no count has a plan."""

    aims: tuple[float, ...]
    impossible: bool


def enumerated(problem: Problem, sums: Sequence[float]) -> Enumerated:
    """Every count of packs with the ordinary solve; impossible if that is proved of all of them."""
    found: list[tuple[float, ...]] = []
    verdicts = set()
    for held in each_count(problem):
        solution: Solution = solve(held, sums, prove=False)
        verdicts.add(solution.verdict)
        if solution.found:
            found.append(tuple(value(problem, solution.x, k) for k in range(len(problem.aims))))
    return Enumerated(min(found, default=()), verdicts <= {Verdict.PROVED_IMPOSSIBLE})


def milp_at(dense: Dense, whole: Sequence[float], x: np.ndarray) -> np.ndarray | None:
    """One call of `milp` on the linearisation at some amounts, for the first aim; None if it finds nothing."""
    slope, jacobian = dense.objective(x)[1], dense.jacobian(x)
    offset = dense.rows(x) - jacobian @ x
    unit = np.array([pack or 1.0 for pack in whole])
    result = milp(
        slope * unit,
        integrality=[1 if pack else 0 for pack in whole],
        bounds=Bounds(dense.lower / unit, dense.upper / unit),
        constraints=LinearConstraint(jacobian * unit, dense.low - offset, dense.high - offset),
        options={"mip_rel_gap": 1e-9},
    )
    if result.x is None:
        return None
    counts = np.where(np.array(whole) > 0.0, np.round(result.x), result.x)
    return np.asarray(counts * unit)


def successive_milp(problem: Problem, x: Sequence[float], *, rounds: int = 12) -> Answer | None:
    """Linearise, `milp`, and again at its optimum until the amounts stand still; None if they do not."""
    dense = Dense(problem)
    here = np.array(x)
    for _ in range(rounds):
        there = milp_at(dense, problem.whole, here)
        if there is None:
            return None
        still = float(np.abs(there - here).max(initial=0.0)) <= 1e-7
        here = there
        if still:
            violation = dense.violation(here)
            return Answer(here, dense.objective(here)[0], violation) if violation <= 1e-6 else None
    return None


def polished(problem: Problem, answer: Answer) -> Answer | None:
    """The amounts in no packs once more, by linear programmes of closer tolerance than `milp` has (1e-7)."""
    at = list(map(float, answer.x))
    lower = tuple(v if pack else a for v, a, pack in zip(at, problem.lower, problem.whole, strict=True))
    upper = tuple(v if pack else b for v, b, pack in zip(at, problem.upper, problem.whole, strict=True))
    return successive_linprog(replace(problem, lower=lower, upper=upper, whole=()), problem.sums_at(at))


def relaxed_start(problem: Problem, sums: Sequence[float]) -> list[float]:
    """Amounts to linearise at: the best with packs opened in part, or else the middle of the box."""
    solution = solve(replace(problem, whole=()), sums, prove=False)
    middle = [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    return list(solution.x) if solution.found else middle


def assert_whole(problem: Problem, x: Amounts) -> None:
    """Every pack is whole to the last digit, and everything is kept."""
    for amount, pack in zip(x, problem.whole, strict=True):
        if pack:
            assert amount == round(amount / pack) * pack
    assert worst_violation(problem, x, volume_at(problem, x)) <= 1e-8


def box(lower: Sequence[float], upper: Sequence[float], whole: Sequence[float]) -> Problem:
    """A base with some syrup in packs, the less the better."""
    size = len(lower)
    added = Aim((Ratio(Form(0.0, tuple(1.0 + 0.1 * j for j in range(size)))),))
    syrup = (0.3, 0.0, 0.7, 0.7, 0.0, 0.0, 0.0)
    base = (0.9, 0.05, 0.02, 0.02, 0.0, 0.0, 0.0)
    return Problem(tuple(lower), tuple(upper), base, (syrup,) * size, (), (added,), tuple(whole))
