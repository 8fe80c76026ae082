"""Whole packs against `scipy.optimize.milp`: speed with and without a proof, and who finds the better plan.

Target: ten times faster than `milp` with up to four additions in packs. The rival is `milp` on the same problem,
linearised in the middle of the box and again at each optimum until the amounts stand still, its arrays made anew as a
service would have to; one single call of it on one linearisation, which leaves the targets missed by what the volume
bends, is timed too. It solves for the first aim only; ours settles two tie-breakers as well.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from math import inf
from statistics import median

import numpy as np

from service.solver.packs import solve_whole
from service.solver.problem import Problem
from service.solver.solve import Verdict
from tests.benchmarks.rivals import Dense
from tests.benchmarks.timing import Row, interleaved
from tests.solver.cases import allowance, held, value
from tests.solver.instances import Instance
from tests.solver.packed import milp_at, packed, successive_milp

KINDS = ((1, 3), (2, 4), (3, 4), (4, 6))
"""Additions in packs, and in any amount."""

FASTER = 10.0
GATE = 7.0


def _middle(problem: Problem) -> list[float]:
    return [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]


def _successive(problem: Problem) -> float:
    answer = successive_milp(problem, _middle(problem))
    return inf if answer is None else answer.value


def _single(problem: Problem) -> object:
    return milp_at(Dense(problem), problem.whole, np.array(_middle(problem)))


def _drawn(packs: int, others: int, count: int) -> list[tuple[Problem, Instance]]:
    """Problems that have a plan, with room for two packs or more."""
    drawn: list[tuple[Problem, Instance]] = []
    seed = 0
    while len(drawn) < count:
        instance = packed(seed, packs, others, combinations=625)
        problem, seed = held(instance), seed + 1
        room = sum(int(b / p) for b, p in zip(problem.upper, problem.whole, strict=True) if p)
        if room >= 2 and solve_whole(problem, instance.start, prove=False).found:
            drawn.append((problem, instance))
    return drawn


def speed(instances_each: int, rounds: int) -> Iterator[Row]:
    """Ratios for each kind, and who was worse than the best known."""
    for packs, others in KINDS:
        drawn = _drawn(packs, others, instances_each)
        times = interleaved(
            {
                "ours": [partial(solve_whole, p, i.start, prove=False) for p, i in drawn],
                "proved": [partial(solve_whole, p, i.start) for p, i in drawn],
                "successive": [partial(_successive, p) for p, _ in drawn],
                "single": [partial(_single, p) for p, _ in drawn],
            },
            rounds,
        )
        ours, kind = times["ours"], f"{packs} in packs, {others} others"
        yield Row(
            f"Packs: faster than successive milp, {kind}",
            f"{times['successive'] / ours:.1f} ×  ({1e6 * ours:.0f} against {1e6 * times['successive']:.0f} µs)",
            times["successive"] / ours,
            FASTER,
            GATE,
            " ×",
        )
        yield Row(
            f"   faster than one call of milp, {kind}",
            f"{times['single'] / ours:.1f} ×  ({1e6 * times['single']:.0f} µs)",
        )
        yield Row(
            f"   with the proof, {kind}",
            f"{times['proved'] / ours:.1f} solves  ({1e6 * times['proved']:.0f} µs, "
            f"{times['successive'] / times['proved']:.1f} and {times['single'] / times['proved']:.1f} × faster)",
        )
        solutions = [solve_whole(p, i.start) for p, i in drawn]
        found = [value(p, s.x) for (p, _), s in zip(drawn, solutions, strict=True)]
        rival = [_successive(p) for p, _ in drawn]
        best = [min(pair) for pair in zip(found, rival, strict=True)]

        def worse(values: list[float], best: list[float] = best) -> int:
            return sum(v > b + allowance(b) for v, b in zip(values, best, strict=True))

        yield Row(
            f"Packs: worse than the best by > 1e-6, {kind}",
            f"{worse(found)} of {len(found)}  (milp {worse(rival)}, of which {rival.count(inf)} without an answer)",
            float(worse(found)),
            at_most=True,
        )
        proved = 100.0 * sum(s.verdict is Verdict.PROVED_BEST for s in solutions) / len(solutions)
        boxes = [s.boxes for s in solutions]
        yield Row(
            f"Packs: proved, {kind}",
            f"{proved:.0f} %  (boxes: median {median(boxes):g}, most {max(boxes)})",
            proved,
            100.0,
            100.0,
            " %",
        )


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    each, rounds = (15, 5) if quick else (40, 7)
    return list(speed(each, rounds))
