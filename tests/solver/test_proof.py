"""Proofs: envelopes that hold, boxes that lose nothing, best answers that are best, and honest impossibility."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise
from math import inf

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.physics.ethanol_water import specific_volume_ml_g
from service.physics.mixture import volume_and_gradient_ml
from service.physics.sucrose import apparent_specific_volume_ml_g
from service.solver import envelope as envelopes
from service.solver import proof
from service.solver.envelope import StateBox, envelope, root_box
from service.solver.local import is_liquid, worst_violation
from service.solver.problem import Aim, Problem, Ratio, Row, ratio_rows, volume_at
from service.solver.proof import RELATIVE_GAP, bounding_form, search
from service.solver.solve import Verdict, solve
from tests.benchmarks.rivals import elastic, slsqp_multistart
from tests.solver.cases import SMALLEST, allowance, held, row_scale, states, value
from tests.solver.instances import Instance, make

SIZES = (2, 3, 6, 12, 30)


def dot(pair: tuple[float, list[float]], x: list[float]) -> float:
    return pair[0] + sum(a * b for a, b in zip(pair[1], x, strict=True))


# ---------------------------------------------------------------- envelopes


def test_the_third_derivatives_stay_below_their_bounds() -> None:
    """The two constants on which the curvature ranges rest, on a grid of differences of the second derivative."""
    for second, top, bound in (
        (lambda p: specific_volume_ml_g(p)[2], 1.0, envelopes._THIRD_V),
        (envelopes._psi_second, 0.9, envelopes._THIRD_PSI),
    ):
        steps = 20000
        values = [second(top * k / steps) for k in range(steps + 1)]
        steepest = max(abs(b - a) for a, b in pairwise(values)) * steps / top
        assert 0.9 * bound <= steepest <= bound


def test_the_slope_of_the_apparent_volume_grows_with_the_solids() -> None:
    """φ′ is positive and largest at the end of a box: the envelope takes its bound there."""
    slopes = [apparent_specific_volume_ml_g(0.9 * k / 3000)[1] for k in range(3001)]
    assert min(slopes) > 0.0
    inside = 0.0
    for low in range(0, 3001, 100):
        for high in range(low, 3001, 100):
            inside = max(inside, max(slopes[low : high + 1]) / max(slopes[low], slopes[high]))
    assert inside <= 1.0 + 1e-12


@settings(max_examples=400, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    size=st.sampled_from([1, 2, 4, 9]),
    slack=st.floats(0.0, 1.0),
    width=st.sampled_from([1e-4, 1e-2, 0.1, 1.0]),
)
def test_the_envelope_holds_the_volume(seed: int, size: int, slack: float, width: float) -> None:
    """Random amounts, and a random box of states around theirs: tangent − below ≤ V ≤ tangent + above."""
    rng = random.Random(seed)
    problem = make(seed % 500, size).problem
    x = [rng.choice([0.0, rng.random(), 3.0 * rng.random()]) * u for u in problem.upper]
    if not is_liquid(problem.sums_at(x)):
        return
    p, w = states(problem, x)
    box = StateBox(
        max(p - width * slack * rng.random(), 0.0),
        min(p + width * rng.random(), 1.0),
        max(w - width * slack * rng.random(), 0.0),
        min(w + width * rng.random(), 0.9),
    )
    hull = envelope(problem, box)
    volume = volume_at(problem, x)
    assert dot(hull.tangent, x) - dot(hull.below, x) <= volume + 1e-13
    assert dot(hull.tangent, x) + dot(hull.above, x) >= volume - 1e-13


def test_the_envelope_closes_with_the_square_of_the_box() -> None:
    """Halving a box quarters the second-order part of its error."""
    problem = make(5, 6).problem
    x = [0.3 * u for u in problem.upper]
    p, w = states(problem, x)

    def spread(width: float) -> float:
        hull = envelope(problem, StateBox(p - width, p + width, w, w))
        return dot(hull.below, x) + dot(hull.above, x)

    assert spread(0.01) / spread(0.005) == pytest.approx(4.0, rel=0.2)
    assert spread(1e-4) < 1e-7


@pytest.mark.parametrize("size", SIZES)
def test_no_reachable_state_lies_outside_the_first_box(size: int) -> None:
    rng = random.Random(size)
    for seed in range(60):
        problem = make(seed, size).problem
        box = root_box(problem)
        x = [rng.choice([0.0, u, u * rng.random()]) for u in problem.upper]
        p, w = states(problem, x)
        assert box.p_low - 1e-15 <= p <= box.p_high + 1e-15
        assert box.w_low - 1e-15 <= w <= box.w_high + 1e-15


@pytest.mark.parametrize("size", SIZES)
def test_contraction_keeps_every_feasible_point(size: int) -> None:
    """Rows widened around random amounts: their state stays in the contracted box, which does get smaller."""
    rng = random.Random(size)
    smaller = 0
    for seed in range(25):
        instance = make(seed, size)
        base = instance.problem
        box = root_box(base)
        x = [rng.random() * u * rng.choice([0.0, 1.0]) for u in base.upper]
        volume = volume_at(base, x)
        rows: list[Row] = []
        for goal in instance.goals:
            at = goal.ratio.at(x, volume)
            half = rng.choice([0.0, 1e-9, 1e-3]) * goal.size()
            rows.extend(ratio_rows(goal.name, goal.ratio, at - half, at + half, row_scale(goal, base)))
        problem = replace(base, rows=tuple(rows))
        contracted = proof.contracted(problem, box, [])
        assert contracted is not None
        p, w = states(problem, x)
        assert contracted.p_low <= p <= contracted.p_high
        assert contracted.w_low <= w <= contracted.w_high
        before = (box.p_high - box.p_low) * (box.w_high - box.w_low)
        after = (contracted.p_high - contracted.p_low) * (contracted.w_high - contracted.w_low)
        smaller += after < 0.1 * before
    assert smaller >= 5


@pytest.mark.parametrize("size", [2, 6, 12])
def test_cuts_and_programmes_bound_every_feasible_point(size: int) -> None:
    """Cuts of the incumbent and of programmes, and a programme's bounds, hold at points that meet the rows."""
    rng = random.Random(size)
    checked = 0
    for seed in range(30):
        instance = make(seed, size)
        base = instance.problem
        x = [rng.random() * u for u in base.upper]
        volume = volume_at(base, x)
        rows: list[Row] = []
        for goal in instance.goals:
            at = goal.ratio.at(x, volume)
            low = at - rng.choice([0.0, 0.01, 0.2]) * goal.size()
            rows.extend(ratio_rows(goal.name, goal.ratio, low, at + 0.01 * goal.size(), row_scale(goal, base)))
        # a last row that x also meets stands for "better than the incumbent"
        aim = Aim((base.aims[0].terms[0],))
        form = bounding_form(aim, value(base, x))
        assert form is not None
        problem = replace(base, rows=(*rows, Row("better", form, upper=0.0)))
        incumbent = solve(replace(base, rows=tuple(rows)), instance.start, prove=False)
        box = root_box(problem)
        cuts = proof.cuts_at(problem, incumbent.x)
        contracted = proof.contracted(problem, box, cuts)
        assert contracted is not None
        sums = problem.sums_at(x)
        for cut in cuts:
            top = 1 if cut.at == 0 else 2
            quantity = cut.sign * (sums[top] - cut.reference * (sums[0] + sums[top])) if cut.at >= 0 else 0.0
            assert cut.form.at(x, volume) + cut.floor <= quantity + 1e-10
            checked += 1
        programme = proof.OuterProgramme(problem, contracted)
        for row in problem.rows:
            assert programme.bound(row.form).value <= row.form.at(x, volume) + 1e-12
    assert checked >= 100


# ---------------------------------------------------------------- the best is the best


@pytest.mark.parametrize("size", SIZES)
def test_gravity_and_strength_bounded_are_always_proved(size: int) -> None:
    """Every seeded instance closes with the default number of boxes, to a gap of 1e-6."""
    most = 0
    for seed in range(40):
        instance = make(seed, size)
        solution = solve(held(instance), instance.start)
        assert solution.verdict is Verdict.PROVED_BEST, (seed, size, solution.gap)
        assert solution.gap <= RELATIVE_GAP
        most = max(most, solution.boxes)
    assert most <= 30


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_gravity_and_strength_bounded_are_always_proved_on_many_more(size: int) -> None:
    for seed in range(40, 440):
        instance = make(seed, size)
        solution = solve(held(instance), instance.start)
        assert solution.verdict is Verdict.PROVED_BEST, (seed, size, solution.gap)


@pytest.mark.parametrize("size", [3, 6, 12])
def test_a_worse_point_is_never_proved_the_best(size: int) -> None:
    """Claims made too good by a little: the search refuses them, and its hint leads to something better."""
    refused = 0
    for seed in range(25):
        instance = make(seed, size)
        problem = held(instance)
        x = solve(problem, instance.start).x
        best = value(problem, x)
        result = search(problem, problem.aims[0], x, best + 1e-5 * max(abs(best), SMALLEST))
        assert not result.closed
        refused += result.hint is not None
    assert refused >= 20


def test_the_gap_that_stays_open_is_told() -> None:
    """With one box only, most instances stay open: the gap is then positive and the true best lies inside it."""
    still_open = 0
    for seed in range(60):
        instance = make(seed, 12, strength_bounded=False)
        problem = held(instance)
        short = solve(problem, instance.start, nodes=1)
        if short.verdict is Verdict.PROVED_BEST:
            continue
        still_open += 1
        long = solve(problem, instance.start)
        assert short.verdict is Verdict.BEST_FOUND
        assert short.gap > RELATIVE_GAP
        best = value(problem, long.x)
        assert value(problem, short.x) - best <= short.gap * max(abs(value(problem, short.x)), SMALLEST) * (1 + 1e-6)
    assert still_open >= 5


def test_an_aim_of_unlike_denominators_is_not_bounded() -> None:
    instance = make(3, 6)
    gravity = next(g.ratio for g in instance.goals if g.name == "gravity")
    added = instance.problem.aims[1].terms[0]
    assert bounding_form(Aim((gravity, added)), 1.0) is None
    both = bounding_form(Aim((gravity, gravity)), 2.0)
    assert both is not None
    x = [0.1 * u for u in instance.problem.upper]
    volume = volume_at(instance.problem, x)
    assert gravity.denominator is not None
    expected = (2.0 * gravity.at(x, volume) - 2.0) * gravity.denominator.at(x, volume)
    assert both.at(x, volume) == pytest.approx(expected, rel=1e-12)
    problem = replace(held(instance), aims=(Aim((gravity, added)), *instance.problem.aims))
    solution = solve(problem, instance.start)
    assert solution.verdict is Verdict.BEST_FOUND
    assert solution.gap == inf


# ---------------------------------------------------------------- impossible


def extreme(instance: Instance, sign: float) -> tuple[Problem, Ratio, float] | None:
    """The other rows, the gravity ratio, and the largest (or smallest) gravity that they leave."""
    gravity = next(g for g in instance.goals if g.name == "gravity")
    others = held(instance, [g for g in instance.goals if g is not gravity])
    far = Aim((Ratio(gravity.ratio.numerator.scaled(-sign), gravity.ratio.denominator),))
    solution = solve(replace(others, aims=(far, *others.aims)), instance.start)
    if solution.verdict is not Verdict.PROVED_BEST:
        return None
    return others, gravity.ratio, gravity.ratio.at(solution.x, volume_at(others, solution.x))


def with_gravity(others: Problem, ratio: Ratio, target: float) -> Problem:
    return replace(others, rows=(*others.rows, *ratio_rows("gravity", ratio, target, target)))


@pytest.mark.parametrize("beyond", [1e-5, 1e-3, 0.1])
@pytest.mark.parametrize("size", [2, 3, 6, 12])
def test_what_is_out_of_reach_is_proved_impossible(size: int, beyond: float) -> None:
    """Gravity shifted past the best that the other targets leave; SLSQP's least violation agrees."""
    proved = total = 0
    for seed in range(10):
        sign = 1.0 if seed % 2 else -1.0
        instance = make(seed, size)
        reach = extreme(instance, sign)
        assert reach is not None
        others, ratio, edge = reach
        problem = with_gravity(others, ratio, edge + sign * beyond)
        solution = solve(problem, instance.start)
        assert not solution.found
        proved += solution.verdict is Verdict.PROVED_IMPOSSIBLE
        total += 1
        if beyond >= 1e-3:
            loose = slsqp_multistart(elastic(problem), 3, seed)
            assert loose is not None
            assert loose.value > 1e-6
    assert proved == total


@pytest.mark.parametrize("size", SIZES)
def test_what_is_feasible_by_a_hair_is_never_called_impossible(size: int) -> None:
    """Gravity at the very edge of the reach, or inside it by 1e-9 to 1e-6."""
    found = 0
    margins = (0.0, 1e-9, 1e-8, 1e-6)
    for seed in range(8):
        sign = 1.0 if seed % 2 else -1.0
        instance = make(seed, size)
        reach = extreme(instance, sign)
        assert reach is not None
        others, ratio, edge = reach
        for margin in margins:
            problem = with_gravity(others, ratio, edge - sign * margin)
            solution = solve(problem, instance.start)
            assert solution.verdict is not Verdict.PROVED_IMPOSSIBLE, (seed, size, margin)
            if solution.found:
                found += 1
                assert worst_violation(problem, solution.x, volume_at(problem, solution.x)) <= 1e-8
    assert found >= 0.9 * 8 * len(margins)


@pytest.mark.parametrize("size", SIZES)
def test_targets_drawn_from_a_real_blend_are_never_called_impossible(size: int) -> None:
    """All goals exact, at the values of one random blend: as tight as a feasible problem can be."""
    rng = random.Random(size)
    for seed in range(25):
        instance = make(seed, size)
        base = instance.problem
        x = [rng.random() * u * rng.choice([0.0, 1.0]) for u in base.upper]
        volume = volume_at(base, x)
        rows: list[Row] = []
        for goal in instance.goals:
            at = goal.ratio.at(x, volume)
            rows.extend(ratio_rows(goal.name, goal.ratio, at, at, row_scale(goal, base)))
        problem = replace(base, rows=tuple(rows))
        solution = solve(problem, instance.start)
        assert solution.verdict is not Verdict.PROVED_IMPOSSIBLE
        assert solution.found
        assert value(problem, solution.x) <= value(problem, x) + allowance(value(problem, x))


def test_an_empty_box_of_states_is_an_immediate_proof() -> None:
    """Strength asked for, and nothing has any alcohol."""
    instance = make(1, 2)
    volume, alcohol = instance.goals[0].ratio.denominator, instance.problem
    assert volume is not None
    dry = replace(
        alcohol,
        fixed_sums=(0.98, 0.0, 0.02, 0.012, 0.0053, 0.0, 0.0),
        columns=tuple((c[0] + c[1], 0.0, *c[2:]) for c in alcohol.columns),
    )
    assert root_box(dry).p_high == 0.0
    spirit = Ratio(replace(volume, volume=0.0), volume)
    problem = replace(dry, rows=ratio_rows("abv_percent", spirit, 0.05, 0.06))
    solution = solve(problem, instance.start)
    assert solution.verdict is Verdict.PROVED_IMPOSSIBLE
    assert solution.boxes == 1


def test_a_proof_stops_at_its_time() -> None:
    instance = make(1, 30, strength_bounded=False)
    problem = held(instance)
    solution = solve(problem, instance.start, until=0.0)
    assert solution.verdict is Verdict.BEST_FOUND
    assert solution.gap > 0.0
    assert volume_and_gradient_ml(problem.sums_at(solution.x))[0] > 0.0
