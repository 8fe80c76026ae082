"""Whole packs: every count of packs one by one, and a general mixed-integer solver, as oracles."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from math import inf
from typing import Any

import pytest

from service.solver import packs as packs_module
from service.solver import solve as solve_module
from service.solver.local import LocalResult, LocalStatus, newton_on_basis, stationary_from
from service.solver.packs import rounded_inward, solve_whole
from service.solver.problem import Aim, Amounts, Form, Problem, Ratio, Row
from service.solver.proof import ProofResult, search
from service.solver.solve import Solution, Verdict, solve
from service.solver.stages import least_misses, near_values, typical_divisor
from tests.solver.cases import SMALLEST, allowance, held, value
from tests.solver.instances import Instance, make
from tests.solver.packed import (
    Enumerated,
    assert_whole,
    box,
    enumerated,
    packed,
    polished,
    relaxed_start,
    successive_milp,
)

KINDS = ((1, 2), (1, 5), (2, 3), (2, 6), (3, 2), (3, 4), (4, 2), (4, 5))
"""Additions in packs, and in any amount."""


def aims(problem: Problem, x: Amounts) -> tuple[float, ...]:
    return tuple(value(problem, x, k) for k in range(len(problem.aims)))


def assert_as_good(problem: Problem, solution: Solution, oracle: Enumerated) -> None:
    """The same first aim within 1e-6, and the same later aims as long as the earlier ones are the same."""
    assert solution.found is bool(oracle.aims)
    if not solution.found:
        assert solution.verdict is Verdict.PROVED_IMPOSSIBLE
        assert oracle.impossible
        return
    assert_whole(problem, solution.x)
    ours = aims(problem, solution.x)
    assert abs(ours[0] - oracle.aims[0]) <= allowance(oracle.aims[0])
    for a, b in zip(ours, oracle.aims, strict=True):
        assert a <= b + 1e-5 * max(abs(b), SMALLEST)
        if a < b - 1e-7 * max(abs(b), SMALLEST):
            break


def against_every_count(kind: tuple[int, int], seeds: range, combinations: int) -> Counter[Verdict]:
    seen: Counter[Verdict] = Counter()
    for seed in seeds:
        instance = packed(seed, *kind, combinations=combinations, reached=seed % 4 != 0)
        problem = held(instance)
        oracle = enumerated(problem, instance.start)
        proved = solve_whole(problem, instance.start)
        assert_as_good(problem, proved, oracle)
        assert_as_good(problem, solve_whole(problem, instance.start, prove=False), oracle)
        if proved.found:
            assert proved.verdict is Verdict.PROVED_BEST
            assert proved.gap == 0.0
        seen[proved.verdict] += 1
    return seen


# ---------------------------------------------------------------- against all counts of packs


def test_no_count_of_packs_is_better() -> None:
    """208 problems of one to four additions in packs, some of which whole packs cannot meet."""
    seen: Counter[Verdict] = Counter()
    for kind in KINDS:
        seen += against_every_count(kind, range(26), 20)
    assert seen[Verdict.PROVED_IMPOSSIBLE] >= 8
    assert seen[Verdict.PROVED_BEST] >= 180


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_no_count_of_many_packs_is_better(kind: tuple[int, int]) -> None:
    """Up to 625 counts each, 320 problems in all."""
    against_every_count(kind, range(100, 140), 625)


def stages_of(instance: Instance) -> list[Problem]:
    """Nearness to the values in ranges around them, and least misses of goals that are moved apart."""
    base = instance.problem
    references = [typical_divisor(g.ratio, base, instance.start) for g in instance.goals]
    wide = [
        replace(g, low=g.low - 3 * g.step, high=g.high + 3 * g.step) if g.value is not None else g
        for g in instance.goals
    ]
    apart = [replace(g, low=g.low + g.step, high=g.high + g.step, value=None) for g in instance.goals]
    near = [near_values(base, wide, references)] if any(g.value is not None for g in wide) else []
    return [*near, least_misses(base, apart, references)]


def test_the_stages_of_the_goals_keep_packs_whole() -> None:
    """Deviation and miss columns beside packs: no count of packs is nearer, or misses less."""
    seen: Counter[Verdict] = Counter()
    for kind in ((1, 3), (2, 3), (3, 3)):
        for seed in range(16):
            instance = packed(seed, *kind, combinations=12, reached=seed % 2 == 0)
            for stage in stages_of(instance):
                assert len(stage.whole) == stage.size
                solution = solve_whole(stage, instance.start)
                assert_as_good(stage, solution, enumerated(stage, instance.start))
                seen[solution.verdict] += 1
    assert seen[Verdict.PROVED_BEST] >= 40
    # misses of goals with unlike denominators have no bound, with packs or without
    assert seen[Verdict.BEST_FOUND] + seen[Verdict.PROVED_BEST] >= 80


def test_nothing_but_packs() -> None:
    """No addition that comes in any amount: every leaf is a single point."""
    found = 0
    for seed in range(20):
        instance = packed(seed, 3, 0, combinations=40)
        wide = [
            replace(
                g, low=g.low - (2 * g.step if g.value is None else 5 * g.step), high=g.high + 5 * g.step, value=None
            )
            for g in instance.goals
        ]
        problem = held(instance, wide)
        solution = solve_whole(problem, instance.start)
        assert_as_good(problem, solution, enumerated(problem, instance.start))
        found += solution.found
    assert found == 20


# ---------------------------------------------------------------- against a mixed-integer solver


def test_the_same_first_aim_as_milp() -> None:
    """`scipy.optimize.milp` on successive linearisations, wherever it comes to rest."""
    settled = 0
    for kind in KINDS:
        for seed in range(200, 210):
            instance = packed(seed, *kind, combinations=625)
            problem = held(instance)
            answer = successive_milp(problem, relaxed_start(problem, instance.start))
            rival = None if answer is None else polished(problem, answer)
            if rival is None:
                continue
            settled += 1
            solution = solve_whole(problem, instance.start)
            assert solution.verdict is Verdict.PROVED_BEST
            assert abs(value(problem, solution.x) - rival.value) <= allowance(rival.value)
    assert settled >= 60


# ---------------------------------------------------------------- bounds, halves, nothing in packs


def test_without_packs_it_is_the_ordinary_solve() -> None:
    for seed in range(10):
        instance = make(seed, 6)
        problem = held(instance)
        for prove in (True, False):
            plain = solve(problem, instance.start, prove=prove)
            assert solve_whole(problem, instance.start, prove=prove) == plain
            unpacked = replace(problem, whole=(0.0,) * 6)
            assert solve_whole(unpacked, instance.start, prove=prove) == plain


@pytest.mark.parametrize(
    ("lower", "upper", "pack", "rounded"),
    [
        (0.3, 1.6, 0.5, (0.5, 1.5)),
        (0.5, 1.5, 0.5, (0.5, 1.5)),
        (0.1 + 0.2, 0.3, 0.1, (3 * 0.1, 3 * 0.1)),  # 0.30000000000000004 and 0.3 are both three packs
        (0.7 * (1 + 5e-10), 0.7 * (1 - 5e-10), 0.1, (7 * 0.1, 7 * 0.1)),
        (0.7 * (1 + 5e-9), 0.8, 0.1, (8 * 0.1, 8 * 0.1)),
        (0.0, 0.4, 0.5, (0.0, 0.0)),
        (1e-12, 0.4, 0.5, (0.0, 0.0)),
        (-0.7, 0.7, 0.5, (-0.5, 0.5)),
    ],
)
def test_bounds_are_rounded_inward(lower: float, upper: float, pack: float, rounded: tuple[float, float]) -> None:
    inside = rounded_inward(box((lower, 0.1), (upper, 0.2), (pack, 0.0)))
    assert inside is not None
    assert (inside.lower[0], inside.upper[0]) == rounded
    assert (inside.lower[1], inside.upper[1]) == (0.1, 0.2)


def test_a_range_without_a_whole_pack_is_impossible() -> None:
    problem = box((0.6, 0.0), (0.9, 1.0), (0.5, 0.0))
    assert rounded_inward(problem) is None
    for prove in (True, False):
        solution = solve_whole(problem, problem.fixed_sums, prove=prove)
        assert (solution.verdict, solution.gap, solution.x) == (Verdict.PROVED_IMPOSSIBLE, 0.0, ())


def test_half_packs_are_packs_of_half_the_size() -> None:
    """At least 1.2 of it: two packs of one, or one and a half."""
    for pack, amount in ((1.0, 2.0), (0.5, 1.5), (0.0, 1.2)):
        problem = box((1.2,), (3.0,), (pack,))
        assert solve_whole(problem, problem.fixed_sums).x == pytest.approx((amount,), abs=1e-12)


def test_fixed_amounts_are_packs_or_impossible() -> None:
    """An amount held at two packs stays there; one held at two and a half cannot be."""
    two = solve_whole(box((1.0, 0.3), (1.0, 2.0), (0.5, 0.25)), (1.0,) + (0.0,) * 6)
    assert two.verdict is Verdict.PROVED_BEST
    assert two.x == (1.0, 0.5)
    half = solve_whole(box((1.25, 0.3), (1.25, 2.0), (0.5, 0.25)), (1.0,) + (0.0,) * 6)
    assert half.verdict is Verdict.PROVED_IMPOSSIBLE


def test_the_next_aim_decides_among_packs() -> None:
    """Two syrups alike to the first aim and a third dearer to it: the second aim chooses the pack."""
    for cheap in (0, 1):
        problem = box((0.0,) * 3, (1.0,) * 3, (0.5, 0.5, 0.5))
        first = Aim((Ratio(Form(0.0, (1.0, 1.0, 1.2))),))
        second = Aim((Ratio(Form(0.0, tuple(2.0 - (j == cheap) for j in range(3)))),))
        needed = Row("sugar", Form(0.0, (1.0, 1.0, 1.0)), lower=0.4)
        both = replace(problem, rows=(needed,), aims=(first, second))
        solution = solve_whole(both, problem.fixed_sums)
        assert solution.verdict is Verdict.PROVED_BEST
        assert solution.x == tuple(0.5 if j == cheap else 0.0 for j in range(3))


# ---------------------------------------------------------------- the basis of a plan


def test_prices_hold_while_the_packs_stay_as_they_are() -> None:
    """No pack is free in the basis; along it the first aim moves by the multiplier, and no pack moves."""
    priced = 0
    for seed in range(20):
        instance = packed(seed, 2, 4)
        problem = held(instance)
        solution = solve_whole(problem, instance.start)
        if solution.basis is None or not solution.basis.rows:
            continue
        assert all(not problem.whole[j] for j in solution.basis.free)
        for k, i in enumerate(solution.basis.rows):
            step, row = 1e-6, problem.rows[i]
            moved = replace(row, lower=row.lower + step, upper=row.upper + step)
            other = replace(problem, rows=(*problem.rows[:i], moved, *problem.rows[i + 1 :]))
            x = newton_on_basis(other, solution.basis, list(solution.x))
            assert x is not None
            for j, pack in enumerate(problem.whole):
                if pack:
                    assert x[j] == solution.x[j]
            slope = (value(problem, x) - value(problem, solution.x)) / step
            price = solution.multipliers[0][k]
            assert slope == pytest.approx(price, rel=1e-3, abs=1e-4)
            priced += 1
    assert priced >= 20


# ---------------------------------------------------------------- ends of the search


@pytest.mark.parametrize("cap", [1, 3])
def test_a_large_tree_hands_over(monkeypatch: pytest.MonkeyPatch, cap: int) -> None:
    """After a few nodes `milp` goes on: as good as the best of all counts, or within the gap that is reported."""
    monkeypatch.setattr(packs_module, "_MOST_NODES", cap)
    handed, calls, real = 0, 0, packs_module._handed_over

    def counted(tree: Any) -> float:
        nonlocal calls
        calls += 1
        return real(tree)

    monkeypatch.setattr(packs_module, "_handed_over", counted)
    for seed in range(14):
        instance = packed(seed, 3, 3, combinations=18)
        problem = held(instance)
        before = calls
        solution = solve_whole(problem, instance.start)
        if calls == before:
            continue
        handed += 1
        oracle = enumerated(problem, instance.start)
        assert solution.found
        assert_whole(problem, solution.x)
        behind = (value(problem, solution.x) - oracle.aims[0]) / max(abs(oracle.aims[0]), SMALLEST)
        assert -1e-6 <= behind <= solution.gap + 1e-6
        assert behind <= 1e-6  # measured: none of 74 handed over was behind
        assert solve_whole(problem, instance.start, prove=False).gap == inf
    assert handed >= 3


def knapsack(seed: int) -> Problem:
    """No volume in rows or aim: twelve packs that have to fill a sum without overshooting it, at least cost."""
    rng = random.Random(seed)
    size = 12
    sizes = [rng.uniform(0.05, 0.15) for _ in range(size)]
    cost = Aim((Ratio(Form(0.0, tuple(rng.uniform(0.9, 1.1) for _ in range(size)))),))
    base = box((0.0,) * size, [3.5 * s for s in sizes], sizes)
    total = Row("total", Form(0.0, (1.0,) * size), lower=1.7, upper=1.7005)
    return replace(base, rows=(total,), aims=(cost, *base.aims))


def test_without_a_volume_the_gap_of_milp_is_reported(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the linearisation is the problem itself, its bound is one of the problem."""
    whole = [solve_whole(knapsack(seed), (1.0,) + (0.0,) * 6) for seed in range(2)]
    monkeypatch.setattr(packs_module, "_MOST_NODES", 5)
    for seed, best in enumerate(whole):
        problem = knapsack(seed)
        solution = solve_whole(problem, problem.fixed_sums)
        assert_whole(problem, solution.x)
        assert solution.verdict is Verdict.BEST_FOUND
        assert solution.gap <= 1e-5
        assert value(problem, solution.x) <= value(problem, best.x) + 1e-5


def test_a_handover_that_finds_nothing_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """The tree is cut before it has proved that no count of packs will do: neither a plan nor a proof."""
    problem = box((0.0, 0.0), (1.0, 1.0), (0.2, 0.2))
    between = replace(problem, rows=(Row("sum", Form(0.0, (1.0, 1.0)), lower=0.45, upper=0.55),))
    assert solve_whole(between, problem.fixed_sums).verdict is Verdict.PROVED_IMPOSSIBLE
    monkeypatch.setattr(packs_module, "_MOST_NODES", 1)
    solution = solve_whole(between, problem.fixed_sums)
    assert (solution.verdict, solution.gap) == (Verdict.NOTHING_FOUND, inf)


def test_a_deadline_in_the_past_leaves_a_plan_and_its_gap() -> None:
    """The first plan is still found, and what is open at most is said: all counts are within it."""
    open_gaps = 0
    for seed in range(20):
        instance = packed(seed, 3, 3, combinations=18)
        problem = held(instance)
        solution = solve_whole(problem, instance.start, until=0.0)
        assert solution.found
        assert_whole(problem, solution.x)
        best = enumerated(problem, instance.start).aims[0]
        behind = (value(problem, solution.x) - best) / max(abs(value(problem, solution.x)), SMALLEST)
        assert -1e-6 <= behind <= solution.gap + 1e-6
        if solution.verdict is Verdict.BEST_FOUND:
            open_gaps += 0.0 < solution.gap < inf
        quick = solve_whole(problem, instance.start, until=0.0, prove=False)
        assert (quick.verdict, quick.gap, quick.x) == (Verdict.BEST_FOUND, inf, solution.x)
    assert open_gaps >= 5


def test_proofs_without_boxes_prove_nothing() -> None:
    """With no box to look at, what one bound does not show stays open, and is reported as a gap."""
    unproved = 0
    for seed in range(20):
        instance = packed(seed, 2, 3)
        solution = solve_whole(held(instance), instance.start, nodes=0)
        assert solution.found
        assert (solution.verdict is Verdict.PROVED_BEST) is (solution.gap == 0.0)
        unproved += solution.gap > 0.0
    assert unproved >= 5


def test_impossible_needs_every_part_proved_empty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without proofs of its own the tree goes down to single counts, which are proved one by one; or else none is."""
    problem = box((0.0, 0.0), (1.0, 1.0), (0.2, 0.2))
    between = replace(problem, rows=(Row("sum", Form(0.0, (1.0, 1.0)), lower=0.45, upper=0.55),))

    def fails(*_: Any, **__: Any) -> ProofResult:
        return ProofResult(False, inf, 0)

    monkeypatch.setattr(packs_module, "search", fails)
    assert solve_whole(between, problem.fixed_sums).verdict is Verdict.PROVED_IMPOSSIBLE
    for seed in range(0, 12, 4):
        instance = packed(seed, 2, 3, combinations=9, reached=False)
        assert_as_good(
            held(instance), solve_whole(held(instance), instance.start), enumerated(held(instance), instance.start)
        )
    monkeypatch.setattr(solve_module, "search", fails)
    assert solve_whole(between, problem.fixed_sums).verdict is Verdict.NOTHING_FOUND


def test_a_proof_that_fails_grows_the_tree_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search is led to the worst plan instead of the best: the proof finds the better one, and all counts agree."""
    grown = 0
    for seed in range(12):
        instance = packed(seed, 2, 3)
        problem = held(instance)
        (term,) = problem.aims[0].terms
        upward = Aim((Ratio(term.numerator.scaled(-1.0), term.denominator),))
        worst = solve_whole(replace(problem, aims=(upward, *problem.aims[1:])), instance.start)
        right = solve_whole(problem, instance.start)
        if worst.basis is None or value(problem, worst.x) <= value(problem, right.x) + 1e-3:
            continue
        misled = [LocalResult(LocalStatus.STATIONARY, worst.x, worst.basis, worst.multipliers, 1)]

        def pretend(
            *arguments: Any, misled: list[LocalResult] = misled, real: Any = stationary_from, **options: Any
        ) -> LocalResult:
            return misled.pop() if misled else real(*arguments, **options)

        monkeypatch.setattr(packs_module, "stationary_from", pretend)
        solution = solve_whole(problem, instance.start)
        assert not misled
        assert solution.verdict is Verdict.PROVED_BEST
        assert value(problem, solution.x) == pytest.approx(value(problem, right.x), rel=1e-6, abs=1e-8)
        asked = 0

        def only_first(*arguments: Any, real: Any = search, **options: Any) -> ProofResult:
            nonlocal asked
            asked += len(arguments) > 1
            return real(*arguments, **options) if asked < 2 else ProofResult(False, 0.5, 0)

        misled.append(LocalResult(LocalStatus.STATIONARY, worst.x, worst.basis, worst.multipliers, 1))
        with monkeypatch.context() as patched:
            patched.setattr(packs_module, "search", only_first)
            unproved = solve_whole(problem, instance.start)
        assert asked >= 2  # what the tree grew on to is proved in its turn
        assert (unproved.verdict, unproved.gap) == (Verdict.BEST_FOUND, 0.5)
        monkeypatch.setattr(packs_module, "stationary_from", stationary_from)
        grown += 1
    assert grown >= 5


def test_the_same_question_has_the_same_answer() -> None:
    for seed in range(8):
        instance = packed(seed, 3, 3)
        problem = held(instance)
        assert solve_whole(problem, instance.start) == solve_whole(problem, instance.start)
