"""Irreducible sets of goals and limits that clash, each taken apart again by other means."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import inf
from time import perf_counter, process_time
from unittest.mock import patch

import numpy as np
import pytest

from service.solver import conflict as conflict_module
from service.solver.conflict import Limit, Member, irreducible_conflict
from service.solver.local import is_liquid
from service.solver.problem import Aim, Amounts, Form, Problem, Ratio, Row, volume_at
from service.solver.solve import Verdict, solve
from service.solver.stages import Goal
from tests.benchmarks.rivals import Dense, elastic, slsqp_from
from tests.solver.clashes import Clash, clashes, standing

SIZES = (2, 3, 6, 12)


def conflict_of(case: Clash, *, verify: bool = True) -> tuple[Member, ...] | None:
    return irreducible_conflict(case.problem, case.goals, case.limits, case.start, verify=verify)


def names_of(members: Iterable[Member] | None) -> list[str]:
    return [] if members is None else [member.name for member in members]


def keeps_to(problem: Problem, goals: Sequence[Goal], x: Amounts, tolerance: float = 5e-9) -> bool:
    """Every bound and every range, by the values themselves and not by rows."""
    if not all(a - tolerance <= v <= b + tolerance for a, v, b in zip(problem.lower, x, problem.upper, strict=True)):
        return False
    volume = volume_at(problem, x)

    def form(f: Form) -> float:
        return f.constant + sum(a * v for a, v in zip(f.coefficients, x, strict=True)) + f.volume * volume

    for goal in goals:
        bottom = goal.ratio.denominator
        reached = form(goal.ratio.numerator) / (form(bottom) if bottom is not None else 1.0)
        if not goal.low - tolerance * goal.size() <= reached <= goal.high + tolerance * goal.size():
            return False
    return True


def slsqp_point(problem: Problem, goals: Sequence[Goal], seed: int) -> bool:
    """Whether SLSQP finds a point of a system from several starts, for a flat aim."""
    flat = replace(problem, aims=(Aim((Ratio(Form(0.0, (1e-3,) * problem.size)),)),))
    dense, rng = Dense(flat), np.random.default_rng(seed)
    starts = [0.5 * (dense.lower + dense.upper), dense.lower.copy(), dense.upper.copy()]
    starts += [dense.lower + rng.random(problem.size) ** 3 * (dense.upper - dense.lower) for _ in range(5)]
    return any(keeps_to(problem, goals, slsqp_from(dense, start).x.tolist(), 1e-7) for start in starts)


def least_violation(problem: Problem) -> float:
    """The least sum of misses that SLSQP finds."""
    dense = Dense(elastic(problem))
    starts = [0.5 * (dense.lower + dense.upper), dense.lower.copy()]
    return min((a.value for a in (slsqp_from(dense, s) for s in starts) if a.violation <= 1e-9), default=inf)


def check_irreducible(case: Clash, names: set[str]) -> None:
    """The set alone is proved empty, and every member is needed."""
    alone, _ = standing(case, names)
    assert solve(alone, case.start, prove=False).verdict is Verdict.PROVED_IMPOSSIBLE
    for name in sorted(names):
        rest, goals = standing(case, names - {name})
        solution = solve(rest, case.start, prove=False)
        assert solution.found, name
        assert keeps_to(rest, goals, solution.x), name


# ---------------------------------------------------------------- sets of seeded clashes


@pytest.mark.parametrize("size", SIZES)
def test_the_set_is_empty_and_every_member_of_it_is_needed(size: int) -> None:
    """Written out anew from the names: impossible together, possible without any one, by values and bounds."""
    cases = clashes(size, 55)
    several = 0
    for case in cases:
        members = conflict_of(case)
        assert members is not None
        check_irreducible(case, set(names_of(members)))
        several += len(members) > 1
    assert several >= 35


@pytest.mark.slow
@pytest.mark.parametrize("size", [*SIZES, 20])
def test_many_more_sets_are_irreducible(size: int) -> None:
    for case in clashes(size, 400, first=1000):
        members = conflict_of(case)
        assert members is not None
        check_irreducible(case, set(names_of(members)))


@pytest.mark.parametrize("size", [2, 6])
def test_slsqp_agrees(size: int) -> None:
    """scipy finds no point of a set, and in nearly all cases one as soon as a member is dropped."""
    met = asked = 0
    for number, case in enumerate(clashes(size, 11)):
        names = set(names_of(conflict_of(case)))
        alone, goals = standing(case, names)
        assert not slsqp_point(alone, goals, number)
        assert least_violation(alone) > 1e-8
        for name in sorted(names):
            rest, goals = standing(case, names - {name})
            met += slsqp_point(rest, goals, number)
            asked += 1
    assert met >= 0.9 * asked
    assert asked >= 20


@pytest.mark.parametrize("size", [2, 6])
def test_the_filter_on_complete_solves_finds_irreducible_sets_too(size: int) -> None:
    """What is left to where no tangent helps."""
    with patch.object(conflict_module, "_by_programmes", lambda *_: None):
        for case in clashes(size, 12):
            names = set(names_of(conflict_of(case)))
            assert names
            check_irreducible(case, names)


def test_a_set_of_wrong_tangents_is_found_out() -> None:
    """Linearised where nothing ever is (three quarters spirit), sets are still right; unverified, some are not."""
    far = (0.25, 0.75, 0.4, 0.4, 0.0, 0.003, 0.0)
    wrong = 0
    for case in clashes(3, 25):
        guess = irreducible_conflict(case.problem, case.goals, case.limits, far, verify=False)
        members = irreducible_conflict(case.problem, case.goals, case.limits, far)
        assert members is not None
        check_irreducible(case, set(names_of(members)))
        wrong += names_of(guess) != names_of(members)
    assert wrong >= 1


def test_a_guess_is_nearly_always_the_proved_set() -> None:
    same = total = 0
    for size in SIZES:
        for case in clashes(size, 30):
            same += names_of(conflict_of(case, verify=False)) == names_of(conflict_of(case))
            total += 1
    assert same >= 0.9 * total


@pytest.mark.parametrize("size", [3, 12])
def test_the_order_of_goals_and_limits_does_not_matter(size: int) -> None:
    for number, case in enumerate(clashes(size, 15)):
        rng = random.Random(number)
        goals, limits = list(case.goals), list(case.limits)
        rng.shuffle(goals)
        rng.shuffle(limits)
        other = irreducible_conflict(case.problem, goals, limits, case.start)
        assert names_of(other) == names_of(conflict_of(case))


# ---------------------------------------------------------------- known answers

# A litre of a ferment of 12 % vol, invented; honey of 82 % solids; water; spirit of 40 % vol. Kilograms and litres.
FERMENT = (0.885, 0.0947, 0.015, 0.009, 0.0016, 0.0001, 0.0)
HONEY = (0.18, 0.0, 0.82, 0.8, 0.0, 0.007, 0.0)
WATER = (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
START = (0.885, 0.0947, 0.06, 0.055, 0.0, 0.0005, 0.0)
MOST = 20.0


def blend(stocks: Sequence[tuple[tuple[float, ...], float]], guards: tuple[Row, ...] = ()) -> Problem:
    """Amounts of some materials [kg] up to their stocks, the least of all of them together."""
    columns = tuple(sums for sums, _ in stocks)
    cost = Aim((Ratio(Form(0.0, tuple(1.0 + 0.1 * j for j in range(len(columns))))),))
    return Problem((0.0,) * len(columns), tuple(most for _, most in stocks), (0.0,) * 7, columns, guards, (cost,))


def some_volume(size: int) -> Row:
    return Row("some drink", Form(0.0, (0.0,) * size, 1.0), lower=0.01)


def stock(problem: Problem, *names: str) -> list[Limit]:
    return [Limit(f"stock of {name}", j, problem.lower[j], MOST) for j, name in enumerate(names)]


def over(problem: Problem, weights: Sequence[float], factor: float = 1.0) -> Ratio:
    """Σ weight·component (water, ethanol, solids) per volume."""
    line = tuple(factor * sum(w * c for w, c in zip(weights, column[:3], strict=True)) for column in problem.columns)
    return Ratio(Form(0.0, line), Form(0.0, (0.0,) * problem.size, 1.0))


def gravity(problem: Problem, low: float, high: float = inf, priority: int = 1) -> Goal:
    return Goal("gravity", over(problem, (1.0, 1.0, 1.0), 1.0 / 0.9982012), low, high, None, 0.001, priority)


def strength(problem: Problem, low: float, high: float = inf, priority: int = 1) -> Goal:
    return Goal("abv_percent", over(problem, (0.0, 1.0, 0.0), 100.0 / 0.78924), low, high, None, 0.1, priority)


def extract(problem: Problem, low: float, priority: int = 1) -> Goal:
    return Goal("extract", over(problem, (0.0, 0.0, 1.0)), low, inf, None, 0.001, priority)


def volume(problem: Problem, low: float, high: float = inf, priority: int = 1) -> Goal:
    return Goal("volume", Ratio(Form(0.0, (0.0,) * problem.size, 1.0)), low, high, None, 0.01, priority)


def test_strength_volume_and_the_stock_of_the_base() -> None:
    """Ten litres of 10 % vol out of five litres of 12: any two of strength, volume and stock go together."""
    problem = blend([(FERMENT, 5.0), (HONEY, 3.0), (WATER, 15.0)], (some_volume(3),))
    goals = [gravity(problem, 1.0, 1.02), strength(problem, 10.0), volume(problem, 10.0, 10.5)]
    limits = stock(problem, "base", "honey", "water")
    assert names_of(irreducible_conflict(problem, goals, limits, START)) == ["abv_percent", "volume", "stock of base"]


def test_a_gravity_above_what_the_honey_gives() -> None:
    """100 g of honey for four to five kilograms of a dry base; the base may not be left out."""
    problem = blend([(FERMENT, 5.0), (HONEY, 0.1), (WATER, 3.0)])
    problem = replace(problem, lower=(4.0, 0.0, 0.0))
    goals = [gravity(problem, 1.01, 1.012), strength(problem, 8.0, 13.0)]
    limits = [*stock(problem, "base", "honey", "water"), Limit("least of base", 0, 0.0, 5.0)]
    found = irreducible_conflict(problem, goals, limits, START)
    assert names_of(found) == ["gravity", "least of base", "stock of honey"]
    fixed = limits[:3]  # now nothing lets the base go
    assert names_of(irreducible_conflict(problem, goals, fixed, START)) == ["gravity", "stock of honey"]


def test_one_impossible_goal_alone() -> None:
    """20 % vol where nothing has more than 12: the stocks have no part in it."""
    problem = blend([(FERMENT, 5.0), (HONEY, 1.0), (WATER, 3.0)], (some_volume(3),))
    goals = [gravity(problem, 1.0, 1.02), strength(problem, 20.0, 21.0), volume(problem, 3.0, 4.0)]
    found = irreducible_conflict(problem, goals, stock(problem, "base", "honey", "water"), START)
    assert found is not None
    assert names_of(found) == ["abv_percent"]
    assert found[0].goal is goals[1]
    assert found[0].limits == ()


@pytest.mark.parametrize(
    ("priorities", "kept"),
    [((1, 3, 2), "gravity"), ((2, 1, 2), "extract"), ((2, 3, 1), "gravity"), ((3, 2, 1), "extract")],
)
def test_of_two_goals_with_the_same_trouble_the_important_one_is_told(
    priorities: tuple[int, int, int], kept: str
) -> None:
    """Gravity and extract both ask for more honey than there is; the set holds the one that rules."""
    problem = replace(blend([(FERMENT, 5.0), (HONEY, 0.1)]), lower=(4.0, 0.0))
    of_gravity, of_extract, of_strength = priorities
    goals = [
        gravity(problem, 1.02, priority=of_gravity),
        extract(problem, 0.08, priority=of_extract),
        strength(problem, 5.0, priority=of_strength),
    ]
    found = irreducible_conflict(problem, goals, stock(problem, "base", "honey"), START)
    assert names_of(found) == [kept, "stock of honey"]


def test_of_two_limits_the_one_that_would_have_to_move_less_is_told() -> None:
    """Two stocks that can each grow by a little, and only together by enough: 100 g to 115 g is the lesser share."""
    problem = replace(blend([(FERMENT, 4.0), (HONEY, 0.1), (HONEY, 0.05)]), lower=(4.0, 0.0, 0.0))
    needed = (4.0 * FERMENT[2] + 0.165 * HONEY[2]) / volume_at(problem, (4.0, 0.1, 0.065))
    limits = [Limit("a large stock", 1, 0.0, 0.11), Limit("a small stock", 2, 0.0, 0.06)]
    found = irreducible_conflict(problem, [extract(problem, needed)], limits, START)
    assert names_of(found) == ["extract", "a large stock"]
    renamed = [replace(limits[0], name="the large stock"), limits[1]]
    found = irreducible_conflict(problem, [extract(problem, needed)], renamed, START)
    assert names_of(found) == ["extract", "the large stock"]


def test_a_clash_of_goals_alone_is_told_before_one_with_a_stock() -> None:
    """A gravity that the strength excludes, and more volume than the stocks give: both are true."""
    problem = blend([(FERMENT, 1.0), (HONEY, 0.5)], (some_volume(2),))
    goals = [gravity(problem, 1.06), strength(problem, 11.0), volume(problem, 3.0)]
    found = irreducible_conflict(problem, goals, stock(problem, "base", "honey"), START)
    assert names_of(found) == ["abv_percent", "gravity"]
    unimportant = [goals[0], replace(goals[1], priority=2), goals[2]]
    found = irreducible_conflict(problem, unimportant, stock(problem, "base", "honey"), START)
    assert "abv_percent" not in names_of(found)
    assert "volume" in names_of(found)


def test_limits_of_one_name_are_given_up_together() -> None:
    """Two lots of one honey: either stock alone would do, so neither is needed alone, but their name is."""
    problem = replace(blend([(FERMENT, 5.0), (HONEY, 0.05), (HONEY, 0.05)]), lower=(4.0, 0.0, 0.0))
    goals = [gravity(problem, 1.01, 1.02)]
    apart = stock(problem, "base", "honey one", "honey two")
    found = irreducible_conflict(problem, goals, apart, START)
    assert names_of(found) == ["gravity", "stock of honey one", "stock of honey two"]
    together = [replace(limit, name="honey") if limit.column else limit for limit in apart]
    found = irreducible_conflict(problem, goals, together, START)
    assert names_of(found) == ["gravity", "honey"]
    assert found is not None
    assert [limit.column for limit in found[1].limits] == [1, 2]


def test_a_limit_can_be_given_up_on_one_side_only() -> None:
    """The most of an amount, when its least is what is in the way, is no member of a clash."""
    problem = replace(blend([(FERMENT, 5.0), (WATER, 3.0)]), lower=(1.0, 1.0))
    goals = [strength(problem, 11.0)]
    most = [Limit("most of water", 1, 1.0, MOST), Limit("stock of base", 0, 1.0, 1.5)]
    assert irreducible_conflict(replace(problem, upper=(1.5, 3.0)), goals, most[:1], START) is not None
    found = irreducible_conflict(
        replace(problem, upper=(1.5, 3.0)), goals, [*most, Limit("least of water", 1, 0.0, 3.0)], START
    )
    assert names_of(found) == ["abv_percent", "least of water"]


def test_whole_packs_in_the_way_of_a_narrow_range() -> None:
    """Honey in packs of half a kilogram, nothing else to sweeten with: one pack is too little and two too much."""
    problem = replace(blend([(FERMENT, 5.0), (HONEY, 3.0)], (some_volume(2),)), lower=(5.0, 0.0), whole=(0.0, 0.5))
    goals = [gravity(problem, 1.035, 1.045), strength(problem, 5.0)]
    base, honey = stock(problem, "base", "honey")
    packs = Limit("packs of honey", 1, 0.0, 3.0, whole=False)
    found = irreducible_conflict(problem, goals, [honey, packs], START)
    assert names_of(found) == ["gravity", "packs of honey"]
    # two packs would do in more of the base, one in less
    found = irreducible_conflict(problem, goals, [base, honey, packs, Limit("least of base", 0, 2.0, 5.0)], START)
    assert names_of(found) == ["gravity", "least of base", "packs of honey", "stock of base"]
    # without a limit to give up packs always stand, and the stock has no part in it however short it is
    assert names_of(irreducible_conflict(problem, goals, [honey], START)) == ["gravity"]
    short = replace(problem, upper=(5.0, 0.3))
    assert names_of(irreducible_conflict(short, goals, [honey], START)) == ["gravity"]


def test_a_quantity_that_is_a_ratio_beside_its_own_value_only() -> None:
    """The logarithm of the strength: the rows are exact at the bounds, whatever the ratio to count with says."""
    problem = blend([(FERMENT, 5.0), (WATER, 3.0)], (some_volume(2),))
    whole = strength(problem, 0.0).ratio
    assert whole.denominator is not None

    def beside(value: float) -> Ratio:
        # ln q ≈ value + (q − e^value)/e^value
        assert whole.denominator is not None
        top = whole.numerator.scaled(float(np.exp(-value))).minus(1.0 - value, whole.denominator)
        return Ratio(top, whole.denominator)

    most = 100.0 * FERMENT[1] / 0.78924 / volume_at(problem, (1.0, 0.0))
    for margin, clashes_there in ((1e-6, True), (-1e-6, False)):
        low = float(np.log(most)) + margin
        goal = Goal("log strength", beside(1.0), low, low + 0.5, None, 0.01, at=beside)
        found = irreducible_conflict(problem, [goal, volume(problem, 1.0)], stock(problem, "base", "water"), START)
        assert names_of(found) == (["log strength"] if clashes_there else [])


# ---------------------------------------------------------------- nothing to say


def test_no_clash_is_no_set() -> None:
    problem = blend([(FERMENT, 5.0), (HONEY, 1.0)], (some_volume(2),))
    goals = [gravity(problem, 1.01, 1.02), strength(problem, 9.0)]
    assert irreducible_conflict(problem, goals, stock(problem, "base", "honey"), START) is None
    assert irreducible_conflict(problem, [], [], START) is None


def test_rows_that_always_stand_may_be_empty_by_themselves() -> None:
    """With a guard that nothing meets, dropping members helps nothing."""
    guard = Row("never", Form(0.0, (1.0, 1.0)), lower=100.0)
    problem = blend([(FERMENT, 5.0), (HONEY, 1.0)], (some_volume(2), guard))
    goals = [gravity(problem, 1.01, 1.02), strength(problem, 20.0)]
    assert irreducible_conflict(problem, goals, stock(problem, "base", "honey"), START) is None


def test_guards_stand_in_every_system() -> None:
    """Twelve kilograms asked for by a row that always stands: stocks clash with it, without any goal."""
    guard = Row("twelve", Form(0.0, (1.0, 1.0)), lower=12.0)
    problem = blend([(FERMENT, 5.0), (HONEY, 1.0)], (some_volume(2), guard))
    goals = [gravity(problem, 1.0, 1.3)]
    found = irreducible_conflict(problem, goals, stock(problem, "base", "honey"), START)
    assert names_of(found) == ["stock of base", "stock of honey"]


def test_after_its_time_there_is_nothing_but_what_one_programme_proves() -> None:
    cases = clashes(3, 55)
    before = [names_of(conflict_of(case)) for case in cases]
    begun, passed = process_time(), perf_counter() - 1.0
    late = [irreducible_conflict(c.problem, c.goals, c.limits, c.start, until=passed) for c in cases]
    assert process_time() - begun < 1.0
    assert all(members is None or names_of(members) == names for members, names in zip(late, before, strict=True))
    assert sum(members is None for members in late) >= 3


def test_limits_and_states_of_the_seeded_clashes_are_what_they_say() -> None:
    """The cases themselves: bounds that widen, liquids at the start, and siblings without a clash."""
    for case in clashes(6, 10):
        for limit in case.limits:
            assert limit.lower <= case.problem.lower[limit.column] <= case.problem.upper[limit.column] <= limit.upper
        assert is_liquid(case.start)
        assert {g.name for g in case.goals} >= {"gravity"}
