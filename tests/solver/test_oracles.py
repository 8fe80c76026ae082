"""Whole solves against general-purpose optimisers: never worse than the best of them, never without an answer."""

from __future__ import annotations

import pytest

from service.solver.fallback import slsqp
from service.solver.local import worst_violation
from service.solver.problem import Problem, volume_at
from service.solver.solve import Solution, Verdict, solve
from tests.benchmarks.rivals import Answer, evolved, slsqp_multistart
from tests.solver.cases import allowance, held, value
from tests.solver.instances import make

SIZES = (2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 30)


def check(problem: Problem, solution: Solution, rival: Answer | None, *, proved: bool = True) -> bool:
    """Whether the solution is feasible and no worse than the rival's, and its proof true; asserts the first."""
    assert solution.found
    assert worst_violation(problem, solution.x, volume_at(problem, solution.x)) <= 1e-8
    if proved:
        assert solution.verdict is Verdict.PROVED_BEST
    ours = value(problem, solution.x)
    return rival is None or ours <= rival.value + allowance(rival.value)


LARGE = 16
"""SLSQP takes a second for each problem of more amounts than this: the short run has fewer of them."""


@pytest.mark.parametrize(
    ("size", "seeds"),
    [
        *((size, range(25 if size <= LARGE else 6)) for size in SIZES),
        *(pytest.param(size, range(6, 25), marks=pytest.mark.slow) for size in SIZES if size > LARGE),
    ],
)
def test_never_worse_than_slsqp_from_five_starts(size: int, seeds: range) -> None:
    """25 problems of each size, 300 in all, gravity and strength bounded."""
    answered = 0
    for seed in seeds:
        instance = make(seed, size)
        problem = held(instance)
        rival = slsqp_multistart(problem, 5, seed)
        answered += rival is not None
        assert check(problem, solve(problem, instance.start, prove=False), rival, proved=False), (seed, size)
    assert answered >= 0.8 * len(seeds)


@pytest.mark.parametrize("size", [2, 5, 12])
def test_never_worse_than_the_fallback(size: int) -> None:
    """`service.solver.fallback.slsqp`, which also agrees with the faster formulation of the tests."""
    for seed in range(100, 108):
        instance = make(seed, size)
        problem = held(instance)
        x = slsqp(problem, [[0.5 * u for u in problem.upper], problem.lower])
        if x is None:
            continue
        theirs = value(problem, x)
        ours = value(problem, solve(problem, instance.start, prove=False).x)
        assert ours <= theirs + allowance(theirs)
        again = slsqp_multistart(problem, 2, seed)
        assert again is not None
        assert abs(again.value - theirs) <= allowance(theirs)


def test_the_fallback_says_when_it_finds_nothing() -> None:
    instance = make(0, 3)
    problem = held(instance)
    none = Problem(
        problem.lower, problem.lower, problem.fixed_sums, problem.columns, problem.rows, problem.aims
    )  # nothing may be added, and the base alone misses the targets
    assert slsqp(none, [problem.lower]) is None


@pytest.mark.parametrize(("seed", "size"), [(0, 2), (1, 3), (2, 3), (3, 4)])
def test_never_worse_than_differential_evolution(seed: int, size: int) -> None:
    instance = make(seed, size)
    problem = held(instance)
    rival = evolved(problem, seed, generations=60)
    assert check(problem, solve(problem, instance.start), rival)


@pytest.mark.slow
@pytest.mark.parametrize("strength_bounded", [True, False])
@pytest.mark.parametrize("size", [2, 3, 4, 6])
def test_never_worse_than_differential_evolution_on_many(size: int, strength_bounded: bool) -> None:
    """40 small problems with bounded strength and 40 without."""
    for seed in range(10):
        instance = make(seed, size, strength_bounded=strength_bounded)
        problem = held(instance)
        rival = evolved(problem, seed, generations=300)
        assert check(problem, solve(problem, instance.start), rival, proved=strength_bounded), (seed, size)


def test_with_strength_left_free_a_better_point_is_rarely_missed() -> None:
    """Strength left free makes true local optima (spirit, or none) and optima inside an edge: 300 problems.

    What is *proved* best is never beaten; measured: 300 proved, none missed. The basis search alone, asked for no
    proof, missed 1 of 300, by 1.5e-4. The bounds leave little room above that, and the message names the problems.
    """
    missed, missed_unproved, unproved = [], [], []
    for size in (2, 3, 6, 12, 30):
        for seed in range(60):
            instance = make(seed, size, strength_bounded=False)
            problem = held(instance)
            rival = slsqp_multistart(problem, 5, seed)
            quick = solve(problem, instance.start, prove=False)
            if not check(problem, quick, rival, proved=False):
                missed_unproved.append((seed, size))
            solution = solve(problem, instance.start, nodes=100)
            better = check(problem, solution, rival, proved=False)
            if solution.verdict is Verdict.PROVED_BEST:
                assert better, (seed, size)
            else:
                unproved.append((seed, size, solution.gap))
            if not better:
                missed.append((seed, size))
    report = f"not proved: {unproved}; missed with proof: {missed}; missed without: {missed_unproved}"
    assert not missed, report
    assert len(missed_unproved) <= 3, report
    assert len(unproved) <= 3, report


@pytest.mark.slow
def test_with_strength_left_free_and_no_proof_the_misses_are_counted() -> None:
    """The basis search alone, against five starts of SLSQP, on 500 problems."""
    missed = 0
    for size in (2, 3, 6, 12, 30):
        for seed in range(100):
            instance = make(seed, size, strength_bounded=False)
            problem = held(instance)
            rival = slsqp_multistart(problem, 5, seed)
            missed += not check(problem, solve(problem, instance.start, prove=False), rival, proved=False)
    assert missed <= 5, f"{missed} of 500"
