"""Solve a blending problem: search, then prove.

Order of attempts: a stationary point from the given state; from states across the reachable range of strength;
from relaxed optima that branch and bound proposes; SLSQP. "Impossible" is only said with a proof.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from math import inf
from time import perf_counter

from service.solver.edge import stationary_on_edge
from service.solver.envelope import root_box
from service.solver.fallback import slsqp
from service.solver.local import Basis, LocalResult, LocalStatus, Stop, is_liquid, stationary_from
from service.solver.problem import Amounts, Problem, volume_at
from service.solver.proof import RELATIVE_GAP, SMALLEST_AIM, search

_LOOSE = 1e-5
"""SLSQP leaves this much of an aim; against its point a turn of the search is only better by more."""


class Verdict(Enum):
    """What is proved about an answer."""

    PROVED_BEST = "proved_best"
    BEST_FOUND = "best_found"
    PROVED_IMPOSSIBLE = "proved_impossible"
    NOTHING_FOUND = "nothing_found"


@dataclass(frozen=True, slots=True)
class Solution:
    """The answer to one problem.

    `x` is empty unless a point was found; `basis` and `multipliers` (one tuple for each aim) are those of the
    point, empty where SLSQP found it; `gap` is the share of the first aim still open.
    """

    verdict: Verdict
    gap: float
    x: tuple[float, ...] = ()
    basis: Basis | None = None
    multipliers: tuple[tuple[float, ...], ...] = ()
    programmes: int = 0
    boxes: int = 0

    @property
    def found(self) -> bool:
        """Whether there is a point; with nothing to choose it is empty."""
        return self.verdict in (Verdict.PROVED_BEST, Verdict.BEST_FOUND)


def states_across(problem: Problem, count: int = 5) -> list[list[float]]:
    """States from the weakest to the strongest blend that the materials allow, at a drink's solids; starts only."""
    box = root_box(problem)
    states = []
    for k in range(count):
        p = box.p_low + (box.p_high - box.p_low) * k / (count - 1)
        w = min(max(0.08, box.w_low), box.w_high)
        water = 1.0 - p
        solids = w / (1.0 - w) * water
        state = [water, p, solids, solids, 0.0, 0.003 * solids, 0.0]
        if is_liquid(state):
            states.append(state)
    return states


def _improves(problem: Problem, new: Sequence[float], old: Sequence[float] | None, *, share: float = 1e-9) -> bool:
    """Whether one feasible point is lexicographically better than another by more than rounding, a share of an aim."""
    if old is None:
        return True
    volumes = volume_at(problem, new), volume_at(problem, old)
    for aim in problem.aims:
        a, b = aim.at(new, volumes[0]), aim.at(old, volumes[1])
        margin = share * max(abs(b), SMALLEST_AIM)
        if abs(a - b) > margin:
            return a < b
    return False


def find(problem: Problem, sums: Sequence[float]) -> LocalResult:
    """A stationary point from the given state or, failing that, the best from states across the range."""
    result = _from(problem, sums)
    if result.status is LocalStatus.STATIONARY:
        return result
    return _best_of(problem, states_across(problem), result)


def _from(problem: Problem, sums: Sequence[float]) -> LocalResult:
    """A stationary point from one state: a vertex, or between the two vertices that send the search to each other."""
    result = stationary_from(problem, sums)
    if len(result.stops) == 2:
        first, second = result.stops
        inside = stationary_on_edge(problem, first, second)
        if inside is not None:
            return replace(inside, programmes=result.programmes)
    return result


def _best_of(problem: Problem, states: Sequence[Sequence[float]], result: LocalResult) -> LocalResult:
    best = result if result.status is LocalStatus.STATIONARY else None
    tried, stops = result.programmes, result.stops
    for state in states:
        other = _from(problem, state)
        tried += other.programmes
        stops = stops or other.stops
        if other.status is LocalStatus.STATIONARY and _improves(problem, other.x, best.x if best else None):
            best = other
    chosen = best or result
    return LocalResult(chosen.status, chosen.x, chosen.basis, chosen.multipliers, tried, stops)


def solve(
    problem: Problem, sums: Sequence[float], *, until: float = inf, nodes: int = 400, prove: bool = True
) -> Solution:
    """Find the best amounts and say what is proved about them.

    Parameters: problem, scaled to order one; sums, a likely state of the blend, shape (7,); until, a
    `perf_counter` time [s] after which no new proof step starts; nodes, boxes of one proof; prove, False to stop
    at the stationary point.
    Returns: Solution: PROVED_BEST within `RELATIVE_GAP` of its first aim, BEST_FOUND with the gap still open,
    PROVED_IMPOSSIBLE, or NOTHING_FOUND (neither a point nor a proof).
    """
    local = find(problem, sums)
    if local.status is not LocalStatus.STATIONARY:
        return _without_a_point(problem, local, until, nodes)
    if not prove:
        return Solution(Verdict.BEST_FOUND, inf, local.x, local.basis, local.multipliers, local.programmes)
    return _proved(problem, local, until, nodes)


def _proved(problem: Problem, local: LocalResult, until: float, nodes: int) -> Solution:
    programmes, boxes = local.programmes, 0
    for attempt in range(4):
        aim = problem.aims[0]
        best = aim.at(local.x, volume_at(problem, local.x))
        proof = search(problem, aim, local.x, best, nodes=nodes, until=until)
        boxes += proof.nodes
        if proof.closed:
            return Solution(Verdict.PROVED_BEST, proof.gap, local.x, local.basis, local.multipliers, programmes, boxes)
        states = [problem.sums_at(proof.hint)] if proof.hint else []
        if attempt == 0:
            states += states_across(problem)
        better = _best_of(problem, [s for s in states if is_liquid(s)], local)
        programmes += better.programmes
        if better.x == local.x or not _improves(problem, better.x, local.x) or perf_counter() > until:
            break
        local = better
    return Solution(Verdict.BEST_FOUND, proof.gap, local.x, local.basis, local.multipliers, programmes, boxes)


def _without_a_point(problem: Problem, local: LocalResult, until: float, nodes: int) -> Solution:
    proof = search(problem, nodes=nodes, until=until)
    if proof.closed:
        return Solution(Verdict.PROVED_IMPOSSIBLE, 0.0, programmes=local.programmes, boxes=proof.nodes)
    if proof.hint and is_liquid(problem.sums_at(proof.hint)):
        again = stationary_from(problem, problem.sums_at(proof.hint), proof.hint)
        if again.status is LocalStatus.STATIONARY:
            return _proved(problem, again, until, nodes)
    middle = [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    starts: list[Amounts] = [*(stop.x for stop in local.stops), *([proof.hint] if proof.hint else []), middle]
    x = slsqp(problem, [*starts, problem.lower], until=until)
    if x is not None:
        again = stationary_from(problem, problem.sums_at(x), x)
        if again.status is LocalStatus.STATIONARY and not _improves(problem, x, again.x):
            return _proved(problem, again, until, nodes)
    stop = _best_stop(problem, local.stops)
    if stop is not None and (x is None or _improves(problem, stop.x, x, share=_LOOSE)):
        return Solution(Verdict.BEST_FOUND, inf, stop.x, stop.basis, (), local.programmes, proof.nodes)
    if x is None:
        return Solution(Verdict.NOTHING_FOUND, inf, programmes=local.programmes, boxes=proof.nodes)
    return Solution(Verdict.BEST_FOUND, inf, tuple(x), None, (), local.programmes, proof.nodes)


def _best_stop(problem: Problem, stops: Sequence[Stop]) -> Stop | None:
    """The better of the feasible points at which a lost search turned."""
    best: Stop | None = None
    for stop in stops:
        if _improves(problem, stop.x, best.x if best else None):
            best = stop
    return best


__all__ = ["RELATIVE_GAP", "Solution", "Verdict", "find", "solve", "states_across"]
