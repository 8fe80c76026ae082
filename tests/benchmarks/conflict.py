"""Why goals clash, in solves: an irreducible set of goals and limits, guessed and proved.

Target: an irreducible set within one and a half solves. A solve is one of the sibling problem that the clash was made
from, without a proof. The guess takes its programmes at the likely state alone; the proved set also has a point on the
true volume for every member that is dropped, and branch and bound over the states for the set itself.

The unit became 0.74 of what it was: gates for the guess of 2.0, 2.1, 2.3 and 2.8 of the former units are 2.7, 2.8, 3.1
and 3.8 of these. Those below allow a sixth less time than that, and those for the proof a quarter less than they did.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from statistics import median

from service.solver.conflict import irreducible_conflict
from service.solver.solve import solve
from tests.benchmarks.timing import Row, interleaved
from tests.solver.cases import held
from tests.solver.clashes import clashes

SIZES = (2, 3, 6, 12)
MOST_SOLVES = 1.5
GATE_GUESSED = {2: 2.25, 3: 2.3, 6: 2.5, 12: 3.0}
GATE_PROVED = {2: 4.0, 3: 4.6, 6: 5.2, 12: 8.5}


def sets(each: int, rounds: int) -> Iterator[Row]:
    """P6: the cost of a set in solves, and how often the guess is what is proved."""
    for size in SIZES:
        cases = clashes(size, each)
        ask = [partial(irreducible_conflict, c.problem, c.goals, c.limits, c.start) for c in cases]
        times = interleaved(
            {
                "solve": [partial(solve, held(c.sibling), c.start, prove=False) for c in cases],
                "guessed": [partial(a, verify=False) for a in ask],
                "proved": ask,
            },
            rounds,
        )
        one = times["solve"]
        guesses, proved = [a(verify=False) for a in ask], [a() for a in ask]
        members = median(len(p or ()) for p in proved)
        for name, gate in (("guessed", GATE_GUESSED[size]), ("proved", GATE_PROVED[size])):
            solves = times[name] / one
            yield Row(
                f"P6 clash set, {name}, n = {size}",
                f"{solves:.2f} solves  ({1e6 * times[name]:.0f} against {1e6 * one:.0f} µs, {members:g} members)",
                solves,
                MOST_SOLVES,
                gate,
                " solves",
                at_most=True,
            )
        same = sum(a == b for a, b in zip(guesses, proved, strict=True))
        yield Row(
            f"   sets that are proved, n = {size}",
            f"{sum(p is not None for p in proved)} of {each}  ({same} as guessed)",
        )


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    each, count = (30, 5) if quick else (80, 9)
    return list(sets(each, count))
