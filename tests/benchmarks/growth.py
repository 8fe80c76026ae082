"""How the time of an answer grows: with ingredients, targets, packs, simulated drinks and points of a curve.

Every ladder is timed interleaved, all its rungs in one run. Ingredients: the seeded blends of the solver's table.
Targets: one blend of twelve additions, its first target alone, its first two, and so on to eight, all of which one
plan meets. Packs: one blend of ten additions of which the first k come in whole packs, with goals around a plan in
whole packs, and `scipy.optimize.milp` on successive linearisations beside it. Simulated drinks: a whole plan, pH
among its properties, with random numbers drawn anew. Points: a trade-off with the search for its ends.

The exponent is the slope of a line through the logarithms, by least squares; a rung of nothing is left out. Trees grow
by a factor: that of packs is the slope of the logarithm along their number. The gates stand where growth is what the
algorithm promises: additions and targets add columns and rows to small programmes, drinks and points cost no more than
in proportion. What whole packs take is a matter of luck with the tree, and is told only.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import exp, log

from service.planner.asked import PlanAsked
from service.planner.draws import drawn_unknowns
from service.solver.packs import solve_whole
from service.solver.problem import Form, Problem, Ratio, volume_at
from service.solver.solve import Verdict, solve
from service.solver.stages import Goal
from tests.benchmarks.acidity import kin, solved_afresh
from tests.benchmarks.timing import Job, Row, interleaved
from tests.solver.cases import held
from tests.solver.curves import Drawn, draw
from tests.solver.instances import WATER, Instance, make
from tests.solver.packed import packed, successive_milp

SIZES = (2, 3, 5, 8, 12, 20, 30, 40)
TARGETS = tuple(range(1, 9))
PACKS = tuple(range(9))
DRAWS = (0, 1_000, 10_000, 50_000)
POINTS = (5, 10, 25, 60)
FEW_SIZES, FEW_TARGETS, FEW_PACKS, FEW_POINTS = (3, 12, 40), (1, 4, 8), (0, 2, 4, 8), (5, 60)
"""The rungs of a quick run."""

MORE_ADDITIONS, MORE_ADDITIONS_PROVED = 4.5, 10.0
MORE_TARGETS, MORE_TARGETS_PROVED = 6.0, 6.0
"""Gates on the last rung against an early one, half as much again as is measured or more, for few are a quick run's."""

MORE_DRINKS, MORE_POINTS = 7.0, 12.0
"""Gates at growth in proportion; for drinks 40 % more, because their arrays leave the caches."""

Rungs = Mapping[int, Sequence[Job]]


@dataclass(frozen=True, slots=True)
class Limit:
    """That one rung of a contender takes at most so many times as long as another."""

    who: str
    rung: int
    of: int
    most: float


def _slope(points: Sequence[tuple[float, float]]) -> float:
    """Of a straight line through points, by least squares."""
    x_mean = sum(x for x, _ in points) / len(points)
    y_mean = sum(y for _, y in points) / len(points)
    return sum((x - x_mean) * (y - y_mean) for x, y in points) / sum((x - x_mean) ** 2 for x, _ in points)


def exponent(seconds: Mapping[int, float]) -> float:
    """The e of seconds ∝ k^e; nothing of k = 0."""
    return _slope([(log(k), log(s)) for k, s in seconds.items() if k])


def factor(seconds: Mapping[int, float]) -> float:
    """The f of seconds ∝ f^k."""
    return exp(_slope([(k, log(s)) for k, s in seconds.items()]))


def _shown(seconds: float) -> str:
    return f"{1e6 * seconds:.0f} µs" if seconds < 1e-3 else f"{1e3 * seconds:.{1 if seconds < 0.1 else 0}f} ms"


def ladder(
    what: str, contenders: Mapping[str, Rungs], rounds: int, limits: Sequence[Limit] = (), *, by_factor: bool = False
) -> Iterator[Row]:
    """A line for each rung with the contenders' times, each also in units of its first, and one for each limit."""
    times = interleaved({f"{who}|{k}": jobs for who, rungs in contenders.items() for k, jobs in rungs.items()}, rounds)
    seconds = {who: {k: times[f"{who}|{k}"] for k in rungs} for who, rungs in contenders.items()}
    first = {who: next(iter(of.values())) for who, of in seconds.items()}
    for k in next(iter(seconds.values())):
        cells = [f"{who} {_shown(of[k]):>7} {of[k] / first[who]:5.1f} ×" for who, of in seconds.items()]
        yield Row(f"   {what}: {k}", ", ".join(cells))
    fit, text = (factor, "factor for one more") if by_factor else (exponent, "exponent")
    yield Row(f"   {what}: {text}", ", ".join(f"{who} {fit(of):.2f}" for who, of in seconds.items()))
    for limit in limits:
        ratio = seconds[limit.who][limit.rung] / seconds[limit.who][limit.of]
        yield Row(
            f"Growth: {what}, {limit.who}, {limit.rung} of {limit.of}",
            f"{ratio:.1f} ×",
            ratio,
            limit.most,
            limit.most,
            " ×",
            at_most=True,
        )


def _each(counts: Mapping[int, object]) -> str:
    return ", ".join(f"{k}: {count}" for k, count in counts.items())


# Ingredients.


def ingredients(sizes: Sequence[int], instances_each: int, rounds: int) -> Iterator[Row]:
    """Two to forty additions."""
    drawn = {n: [(held(i), i.start) for i in (make(seed, n) for seed in range(instances_each))] for n in sizes}
    yield from ladder(
        "additions",
        {
            who: {n: [partial(solve, p, start, prove=prove) for p, start in of] for n, of in drawn.items()}
            for who, prove in (("no proof", False), ("proved", True))
        },
        rounds,
        [Limit("no proof", 40, 3, MORE_ADDITIONS), Limit("proved", 40, 3, MORE_ADDITIONS_PROVED)],
    )


# Targets.


def many_targets(seed: int, size: int = 12) -> Instance:
    """The seeded blend with eight goals around one plan, the first two, if any, with a value to meet."""
    instance = make(seed, size)
    problem, dice = instance.problem, random.Random(20_261_000 + seed)
    point = [dice.random() * upper * (dice.random() < 0.4) for upper in problem.upper]
    volume = Form(0.0, (0.0,) * size, 1.0)

    def sums(*at: int, factor: float = 1.0) -> Form:
        return Form(
            factor * sum(problem.fixed_sums[k] for k in at),
            tuple(factor * sum(column[k] for k in at) for column in problem.columns),
        )

    def tally() -> Form:
        return Form(dice.uniform(0.0, 0.1), tuple(dice.choice((0.0, dice.uniform(0.05, 1.0))) for _ in range(size)))

    mass = sums(0, 1, 2)
    ratios = {
        "gravity": (Ratio(mass.scaled(1.0 / WATER), volume), 0.004, 0.001),
        "abv_percent": (Ratio(sums(1, factor=100.0 / 0.78924), volume), 1.0, 0.1),
        "volume": (Ratio(volume), 0.2, 0.01),
        "brix": (Ratio(sums(2, factor=100.0), mass), 1.0, 0.2),
        "first tally": (Ratio(tally(), volume), 0.02, 0.005),
        "second tally": (Ratio(tally(), volume), 0.02, 0.005),
        "third tally": (Ratio(tally(), volume), 0.02, 0.005),
        "fourth tally": (Ratio(tally(), mass), 0.02, 0.005),
    }
    there, goals = volume_at(problem, point), []
    for at, (name, (ratio, width, step)) in enumerate(ratios.items()):
        middle = ratio.at(point, there)
        if at < 2 and dice.random() < 0.5:
            goals.append(Goal(name, ratio, middle, middle, middle, step))
        else:
            low = middle - width * dice.random()
            goals.append(Goal(name, ratio, low, low + width, None, step))
    return Instance(problem, tuple(goals), instance.start)


def targets(counts: Sequence[int], instances_each: int, rounds: int) -> Iterator[Row]:
    """One to eight targets on the same blends."""
    drawn = [many_targets(seed) for seed in range(instances_each)]
    asked = {k: [(held(i, i.goals[:k]), i.start) for i in drawn] for k in counts}
    yield from ladder(
        "targets",
        {
            who: {k: [partial(solve, p, start, prove=prove) for p, start in of] for k, of in asked.items()}
            for who, prove in (("no proof", False), ("proved", True))
        },
        rounds,
        [Limit("no proof", 8, 1, MORE_TARGETS), Limit("proved", 8, 1, MORE_TARGETS_PROVED)],
    )
    proved = {k: sum(solve(p, start).verdict is Verdict.PROVED_BEST for p, start in of) for k, of in asked.items()}
    yield Row(f"   targets: proved, of {instances_each}", _each(proved))


# Packs.


def _with_packs(instance: Instance, count: int) -> Problem:
    """The problem with only the first so many of its packs, the rest in any amount."""
    problem = held(instance)
    chosen = [j for j, pack in enumerate(problem.whole) if pack][:count]
    return replace(problem, whole=tuple(pack if j in chosen else 0.0 for j, pack in enumerate(problem.whole)))


def _milp(problem: Problem) -> object:
    return successive_milp(problem, [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)])


def packs(counts: Sequence[int], instances_each: int, rounds: int) -> Iterator[Row]:
    """None to eight of ten additions in whole packs."""
    drawn = [packed(seed, PACKS[-1], 10 - PACKS[-1], combinations=1_000_000) for seed in range(instances_each)]
    asked = {k: [(_with_packs(i, k), i.start) for i in drawn] for k in counts}
    ask: Mapping[str, Callable[[Problem, tuple[float, ...]], Job]] = {
        "no proof": lambda p, start: partial(solve_whole, p, start, prove=False),
        "proved": lambda p, start: partial(solve_whole, p, start),
        "milp": lambda p, _: partial(_milp, p),
    }
    yield from ladder(
        "packs",
        {who: {k: [job(p, start) for p, start in of] for k, of in asked.items()} for who, job in ask.items()},
        rounds,
        by_factor=True,
    )
    found = {k: [solve_whole(p, start) for p, start in of] for k, of in asked.items()}
    proved = {k: sum(s.verdict is Verdict.PROVED_BEST for s in of) for k, of in found.items()}
    yield Row(f"   packs: proved, of {instances_each}", _each(proved))


# Simulated drinks.


def _simulated(asked: PlanAsked) -> object:
    drawn_unknowns.cache_clear()
    return solved_afresh(asked)


def drinks(plans: int, rounds: int) -> Iterator[Row]:
    """A whole plan with first-order intervals, and with up to fifty thousand simulated drinks."""
    asked = [batch.plain for batch in kin(plans, acidity=True)]

    def job(one: PlanAsked, draws: int) -> Job:
        return partial(_simulated, replace(one, circumstances=replace(one.circumstances, draws=draws or None)))

    rungs = {draws: [job(one, draws) for one in asked] for draws in DRAWS}
    yield from ladder("simulated drinks", {"plan": rungs}, rounds, [Limit("plan", 50_000, 10_000, MORE_DRINKS)])


# Points of a curve.


def points(sizes: Sequence[int], counts: Sequence[int], curves: int, rounds: int) -> Iterator[Row]:
    """Five to sixty points of a trade-off, the search for its ends included."""
    contenders: dict[str, Rungs] = {}
    for size in sizes:
        drawn = [one for one in (draw(seed, size) for seed in range(2 * curves)) if one.curve().range][:curves]
        contenders[f"{size} additions"] = {k: [partial(_followed, one, k) for one in drawn] for k in counts}
    limits = [Limit(who, counts[-1], counts[0], MORE_POINTS) for who in contenders]
    yield from ladder("points of a curve", contenders, rounds, limits)


def _followed(drawn: Drawn, count: int) -> object:
    return drawn.curve().even(count)


def rows(*, quick: bool) -> list[Row]:
    """All lines of this module."""
    if quick:
        return [
            *ingredients(FEW_SIZES, 16, 3),
            *targets(FEW_TARGETS, 12, 3),
            *packs(FEW_PACKS, 4, 1),
            *drinks(1, 3),
            *points((6,), FEW_POINTS, 9, 3),
        ]
    return [
        *ingredients(SIZES, 60, 5),
        *targets(TARGETS, 40, 5),
        *packs(PACKS, 20, 3),
        *drinks(5, 3),
        *points((6, 30), POINTS, 20, 3),
    ]
