"""The least that one member of a clash has to give, against SLSQP and against balances by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf, log

import pytest

from service.physics.roots import root_between
from service.solver.conflict import Limit, Member, irreducible_conflict, members_of
from service.solver.problem import Aim, Form, Problem, Ratio, Row, volume_at
from service.solver.relaxation import Relaxation, least_relaxation
from service.solver.solve import Verdict, solve
from service.solver.stages import Goal
from tests.benchmarks.rivals import slsqp_multistart
from tests.solver.cases import row_scale
from tests.solver.clashes import Clash, clashes, rows_of
from tests.solver.test_conflict import (
    FERMENT,
    HONEY,
    MOST,
    START,
    WATER,
    blend,
    extract,
    gravity,
    keeps_to,
    some_volume,
    stock,
    strength,
    volume,
)

STARTS = 2


def relaxed(case: Clash, member: Member) -> Relaxation | None:
    return least_relaxation(case.problem, case.goals, member, case.start)


def _best(problem: Problem, aim: Ratio, rows: Sequence[Row], seed: int) -> float:
    """The least value that SLSQP finds, inf without a point."""
    answer = slsqp_multistart(replace(problem, rows=tuple(rows), aims=(Aim((aim,)),)), STARTS, seed)
    return inf if answer is None else answer.value


def slsqp_gives(case: Clash, member: Member, seed: int) -> float:
    """The least miss of a goal or excess over a limit that SLSQP finds; inf if it finds no point."""
    problem, goal = case.problem, member.goal
    others = rows_of(problem, tuple(g for g in case.goals if g is not goal))
    if goal is not None:
        scale = row_scale(goal, problem)
        top, bottom = goal.ratio.numerator, goal.ratio.denominator or Form(1.0, (0.0,) * problem.size)
        below = Row("side", top.minus(goal.low, bottom).scaled(scale), upper=0.0)
        above = Row("side", top.minus(goal.high, bottom).scaled(scale), lower=0.0)
        largest = _best(problem, Ratio(top.scaled(-1.0), goal.ratio.denominator), (below, *others), seed)
        smallest = _best(problem, goal.ratio, (above, *others), seed)
        return min(goal.low + largest, smallest - goal.high)
    (limit,) = member.limits
    j, lower, upper = limit.column, list(problem.lower), list(problem.upper)
    up = limit.upper > upper[j]
    lower[j], upper[j] = (upper[j], limit.upper) if up else (limit.lower, lower[j])
    amount = Form(0.0, tuple((1.0 if up else -1.0) if i == j else 0.0 for i in range(problem.size)))
    moved = replace(problem, lower=tuple(lower), upper=tuple(upper))
    reached = _best(moved, Ratio(amount), others, seed)
    return reached - lower[j] if up else upper[j] + reached


def ours(case: Clash, member: Member, found: Relaxation) -> float:
    """What a member gives: the miss of its range, or the excess over its bounds."""
    if member.goal is not None:
        return max(member.goal.low - found.to, found.to - member.goal.high)
    j = member.limits[0].column
    assert found.column == j
    return max(case.problem.lower[j] - found.to, found.to - case.problem.upper[j])


@pytest.mark.parametrize(("size", "count", "least"), [(2, 20, 20), (3, 18, 15), (6, 12, 12), (12, 5, 15)])
def test_nothing_that_slsqp_finds_gives_less(size: int, count: int, least: int) -> None:
    """Each member of each set: what it gives is the least, it does give it, and all the rest is met."""
    proved = found_some = compared = 0
    for number, case in enumerate(clashes(size, count)):
        members = irreducible_conflict(case.problem, case.goals, case.limits, case.start)
        assert members is not None
        for member in members:
            rival = slsqp_gives(case, member, number)
            found = relaxed(case, member)
            if found is None:
                assert rival == inf
                continue
            found_some += 1
            compared += rival < inf
            gives = ours(case, member, found)
            assert gives > 0.0
            unit = member.goal.size() if member.goal is not None else 1.0
            assert gives <= rival + 3e-6 * unit
            lower, upper = list(case.problem.lower), list(case.problem.upper)
            goals = [g for g in case.goals if g is not member.goal]
            if member.goal is None:
                assert found.column is not None
                assert found.to == found.x[found.column]
                lower[found.column] = min(lower[found.column], found.to)
                upper[found.column] = max(upper[found.column], found.to)
            else:
                assert found.column is None
                reached = member.goal.ratio.at(found.x, volume_at(case.problem, found.x))
                assert found.to == pytest.approx(reached, abs=1e-12)
            assert keeps_to(replace(case.problem, lower=tuple(lower), upper=tuple(upper)), goals, found.x)
            proved += found.proved
    assert compared >= least
    assert proved >= 0.95 * found_some


@pytest.mark.parametrize("size", [2, 6])
def test_what_a_goal_gives_is_a_bound_by_proof(size: int) -> None:
    """A range moved to what was reached can be met; moved by nearly as much it is proved to clash still."""
    tried = 0
    for case in clashes(size, 30):
        for member in members_of(case.goals, []):
            found = relaxed(case, member)
            if found is None or not found.proved:
                continue
            goal = member.goal
            assert goal is not None
            low, high = min(goal.low, found.to), max(goal.high, found.to)
            others = tuple(g for g in case.goals if g is not goal)

            def verdict(
                low: float, high: float, case: Clash = case, goal: Goal = goal, others: tuple[Goal, ...] = others
            ) -> Verdict:
                rows = rows_of(case.problem, (*others, replace(goal, low=low, high=high)))
                return solve(replace(case.problem, rows=rows), case.start, prove=False).verdict

            slack = 1e-8 * goal.size()
            assert verdict(low - slack, high + slack) in (Verdict.BEST_FOUND, Verdict.PROVED_BEST)
            less = 3e-6 * goal.size()
            if ours(case, member, found) > 2.0 * less:
                low, high = (low + less, high) if found.to < goal.low else (low, high - less)
                assert verdict(low, high) is Verdict.PROVED_IMPOSSIBLE
                tried += 1
    assert tried >= 15


# ---------------------------------------------------------------- balances by hand


def member_named(name: str, goals: Sequence[Goal], limits: Sequence[Limit]) -> Member:
    return next(m for m in members_of(goals, limits) if m.name == name)


def test_strength_volume_and_stock_each_on_its_own() -> None:
    """Ten litres of 10 % vol from at most five litres of ferment, filled up with water: three ways out."""
    litre = volume_at(blend([(FERMENT, 1.0)]), (1.0,))
    problem = blend([(FERMENT, 5.0), (WATER, 15.0)], (some_volume(2),))
    goals = [strength(problem, 10.0), volume(problem, 10.0, 10.5)]
    limits = stock(problem, "base", "water")
    ethanol = 100.0 * FERMENT[1] / 0.78924  # cL in a kilogram of ferment

    def filled(base: float) -> float:
        return root_between(lambda water: volume_at(problem, (base, water)) - 10.0, 0.0, 15.0, tolerance=1e-14)

    found = least_relaxation(problem, goals, member_named("abv_percent", goals, limits), START)
    assert found is not None
    assert found.to == pytest.approx(5.0 * ethanol / 10.0, rel=1e-7)
    assert found.x == pytest.approx((5.0, filled(5.0)), rel=1e-7)
    assert found.proved
    found = least_relaxation(problem, goals, member_named("stock of base", goals, limits), START)
    assert found is not None
    assert found.column == 0
    assert found.to == pytest.approx(10.0 * 10.0 / ethanol, rel=1e-7)
    assert found.proved
    found = least_relaxation(problem, goals, member_named("volume", goals, limits), START)
    assert found is not None
    assert found.to == pytest.approx(5.0 * ethanol / 10.0, rel=1e-7)  # all of the base, thinned to 10 % vol
    assert found.to < 10.0
    assert found.to > 5.0 * litre
    # more water is no way out
    assert least_relaxation(problem, goals, member_named("stock of water", goals, limits), START) is None


def test_the_honey_that_a_gravity_takes() -> None:
    """The stock of honey at which four kilograms of ferment reach the gravity, by bisection on the honey."""
    problem = replace(blend([(FERMENT, 4.0), (HONEY, 0.1)]), lower=(4.0, 0.0))
    goals = [gravity(problem, 1.02, 1.03)]
    found = least_relaxation(
        problem, goals, member_named("stock of honey", goals, stock(problem, "base", "honey")), START
    )

    def reached(honey: float) -> float:
        mass = 4.0 * sum(FERMENT[:3]) + honey * sum(HONEY[:3])
        return mass / volume_at(problem, (4.0, honey)) / 0.9982012

    needed = root_between(lambda honey: reached(honey) - 1.02, 0.0, 2.0, tolerance=1e-14)
    assert found is not None
    assert found.column == 1
    assert found.to == pytest.approx(needed, rel=1e-6)
    found = least_relaxation(problem, goals, Member("gravity", goals[0]), START)
    assert found is not None
    assert found.to == pytest.approx(reached(0.1), rel=1e-9)


def test_a_least_amount_gives_way_downwards() -> None:
    problem = replace(blend([(FERMENT, 2.0), (WATER, 3.0)]), lower=(0.0, 1.0))
    goals = [strength(problem, 9.0)]
    member = Member("least of water", limits=(Limit("least of water", 1, 0.0, 3.0),))
    found = least_relaxation(problem, goals, member, START)
    most = root_between(
        lambda water: 200.0 * FERMENT[1] / 0.78924 / volume_at(problem, (2.0, water)) - 9.0, 0.0, 3.0, tolerance=1e-14
    )
    assert found is not None
    assert found.to == pytest.approx(most, rel=1e-6)
    assert most < 1.0


def test_several_limits_of_one_name_give_the_least_sum() -> None:
    """A thin honey and a thick one, with one name: the thick one alone gives way."""
    thin = (0.6, 0.0, 0.4, 0.39, 0.0, 0.0035, 0.0)
    problem = replace(blend([(FERMENT, 4.0), (thin, 0.1), (HONEY, 0.1)]), lower=(4.0, 0.0, 0.0))
    goals = [extract(problem, 0.06)]
    both = Member("honey", limits=(Limit("honey", 1, 0.0, MOST), Limit("honey", 2, 0.0, MOST)))
    found = least_relaxation(problem, goals, both, START)
    assert found is not None
    needed = root_between(
        lambda m: (4.0 * 0.015 + 0.04 + 0.82 * m) / volume_at(problem, (4.0, 0.1, m)) - 0.06, 0.0, 2.0, tolerance=1e-14
    )
    assert found.column == 2
    assert found.to == pytest.approx(needed, rel=1e-6)
    assert found.x[1] == pytest.approx(0.1, abs=1e-9)


def test_two_clashes_at_once_have_no_single_way_out() -> None:
    problem = blend([(FERMENT, 5.0), (HONEY, 0.5)], (some_volume(2),))
    goals = [strength(problem, 20.0), volume(problem, 30.0)]
    limits = stock(problem, "base", "honey")
    for member in members_of(goals, limits):
        assert least_relaxation(problem, goals, member, START) is None


def test_packs_leave_a_gap_on_either_side() -> None:
    """One pack of honey or two: the gravity goes to the nearer, and stock and packs give way by whole packs or none."""
    problem = replace(blend([(FERMENT, 5.0), (HONEY, 3.0)], (some_volume(2),)), lower=(5.0, 0.0), whole=(0.0, 0.5))

    def reached(honey: float) -> float:
        return (5.0 * sum(FERMENT[:3]) + honey) / volume_at(problem, (5.0, honey)) / 0.9982012

    one, two = reached(0.5), reached(1.0)
    for share, packs, expected in ((0.3, 1, one), (0.7, 2, two)):
        middle = one + share * (two - one)
        goals = [gravity(problem, middle - 0.001, middle + 0.001)]
        found = least_relaxation(problem, goals, Member("gravity", goals[0]), START)
        assert found is not None
        assert found.to == pytest.approx(expected, rel=1e-9)
        assert found.x[1] == pytest.approx(0.5 * packs, abs=1e-12)
        assert found.proved
        opened = Member("packs of honey", limits=(Limit("packs of honey", 1, 0.0, 3.0, whole=False),))
        found = least_relaxation(problem, goals, opened, START)
        assert found is not None
        assert found.column == 1
        assert middle - 0.0010001 <= reached(found.to) <= middle + 0.0010001
    short = replace(problem, upper=(5.0, 0.5))
    goals = [gravity(short, two - 0.002, two + 0.002)]
    found = least_relaxation(short, goals, member_named("stock of honey", goals, stock(short, "base", "honey")), START)
    assert found is not None
    assert found.to == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("asked", [2.6, 4.0, 9.0])
def test_a_quantity_that_is_a_ratio_beside_its_own_value_only(asked: float) -> None:
    """The logarithm of the strength, asked for far above and below what there is: its nearest value is exact."""
    problem = replace(blend([(FERMENT, 5.0), (WATER, 3.0)], (some_volume(2),)), lower=(1.0, 0.5))
    ratio = strength(problem, 0.0).ratio

    def beside(value: float) -> Ratio:
        assert ratio.denominator is not None
        scale = 2.718281828459045**-value
        return Ratio(ratio.numerator.scaled(scale).minus(1.0 - value, ratio.denominator), ratio.denominator)

    def strongest(base: float, water: float) -> float:
        return log(100.0 * base * FERMENT[1] / 0.78924 / volume_at(problem, (base, water)))

    goal = Goal("log strength", beside(1.0), asked, asked + 0.3, None, 0.05, at=beside)
    found = least_relaxation(problem, [goal], Member("log strength", goal), START)
    assert found is not None
    assert found.to == pytest.approx(strongest(5.0, 0.5), abs=1e-9)
    assert found.proved
    goal = Goal("log strength", beside(1.0), -asked - 0.3, -asked, None, 0.05, at=beside)
    found = least_relaxation(problem, [goal], Member("log strength", goal), START)
    assert found is not None
    assert found.to == pytest.approx(strongest(1.0, 3.0), abs=1e-9)
