"""The optimiser against rivals that take ten to ten thousand times as long: what they cost and what they find.

scipy's trust-constr, its differential evolution with SLSQP after it, and successive linear programmes of cvxpy, on the
first of the solver's seeded instances. What an answer is worth is judged against the best of all that answered the same
instance, ours and SLSQP's among them; a point that misses a row by more than `FEASIBLE` is no answer. Only ours has a
gate: never worse than the best by more than 1e-6. cvxpy is fetched by the long run; a quick one uses it where it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import inf
from statistics import median
from subprocess import SubprocessError
from time import process_time

from service.solver.problem import Problem
from service.solver.solve import solve
from tests.benchmarks import rivals_cvxpy
from tests.benchmarks.rivals import Dense, evolved, trust_constr_from
from tests.benchmarks.solver import SIZES, best_of, by_slsqp, ours_of, told, value_of, worse
from tests.benchmarks.timing import Row
from tests.solver.cases import held
from tests.solver.instances import make

_OURS_EACH = 5
"""How often ours is timed beside a rival that takes a thousand times as long."""


def _trust_constr(problem: Problem) -> float:
    dense = Dense(problem)
    return value_of(trust_constr_from(dense, 0.5 * (dense.lower + dense.upper)))


def _evolved(problem: Problem) -> float:
    return value_of(evolved(problem, 1))


_SLOW: Mapping[str, Callable[[Problem], float]] = {
    "trust-constr": _trust_constr,
    "differential evolution + SLSQP": _evolved,
}


def slow_rivals(sizes: Mapping[int, Mapping[str, int]]) -> Iterator[Row]:
    """The rivals that take too long for rounds: each instance once, ours a few times beside it.

    Parameters: for each size, how many instances each rival gets.
    """
    for size, counts in sizes.items():
        drawn = [make(seed, size) for seed in range(max(counts.values()))]
        pairs = [(held(instance), instance) for instance in drawn]
        values = {"ours": [ours_of(p, i) for p, i in pairs], "SLSQP": [by_slsqp(p) for p, _ in pairs]}
        times: dict[str, float] = {}
        ratios: dict[str, float] = {}
        for name, count in counts.items():
            seconds, beside, found = [], [], []
            for problem, instance in pairs[:count]:
                begun = process_time()
                found.append(_SLOW[name](problem))
                seconds.append(process_time() - begun)
                for _ in range(_OURS_EACH):
                    begun = process_time()
                    solve(problem, instance.start, prove=False)
                    beside.append(process_time() - begun)
            values[name] = [*found, *[inf] * (len(pairs) - count)]
            times[name] = median(seconds)
            ratios[name] = median(seconds) / median(beside)
        best = best_of(values)
        for name, count in counts.items():
            shown = told(values[name][:count], best[:count])
            yield Row(
                f"   faster than {name}, n = {size}", f"{ratios[name]:.0f} ×  ({1e3 * times[name]:.0f} ms); {shown}"
            )
        behind = worse(values["ours"], best)
        yield Row(f"   worse than any of these, n = {size}", f"{behind} of {len(best)}", float(behind), at_most=True)


def cvxpy_rows(sizes: Sequence[int], instances_each: int, rounds: int, *, fetch: bool) -> Iterator[Row]:
    """Successive programmes of cvxpy in a process of their own, where cvxpy can be had; they only inform."""
    missing = rivals_cvxpy.at_hand(fetch=fetch)
    for size in () if missing else sizes:
        pairs = [(held(instance), instance) for instance in (make(seed, size) for seed in range(instances_each))]
        ours = [ours_of(p, i) for p, i in pairs]
        try:
            found = rivals_cvxpy.compare([(p, i.start) for p, i in pairs], rounds)
        except (OSError, SubprocessError, ValueError) as error:
            missing = f"did not work ({type(error).__name__})"
            break
        best = best_of({"ours": ours, **{one.solver: one.values for one in found}})
        for one in found:
            yield Row(
                f"   faster than cvxpy with {one.solver}, n = {size}",
                f"{one.theirs_s / one.ours_s:.0f} ×  ({1e3 * one.theirs_s:.1f} ms); {told(one.values, best)}",
            )
    if missing:
        yield Row("   faster than cvxpy", missing)


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    trust, evolution = _SLOW
    if quick:
        few = {3: {trust: 3, evolution: 2}, 6: {trust: 3, evolution: 1}}
        return [*slow_rivals(few), *cvxpy_rows((6,), 6, 2, fetch=False)]
    counts = {
        3: {trust: 24, evolution: 24},
        6: {trust: 24, evolution: 16},
        12: {trust: 18, evolution: 8},
        30: {trust: 12, evolution: 4},
    }
    return [*slow_rivals(counts), *cvxpy_rows(SIZES, 36, 3, fetch=True)]
