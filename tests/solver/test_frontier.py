"""Trade-off curves against general-purpose optimisers, and what must hold along every curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import dist
from typing import Any

import numpy as np
import pytest

from service.errors import SolverError
from service.solver.breakpoints import Breakpoint, breakpoints_of
from service.solver.frontier import RESOLUTION, Curve, CurvePoint
from service.solver.local import is_liquid, worst_violation
from service.solver.problem import Aim, Amounts, Problem, Ratio, volume_at
from service.solver.proof import search
from service.solver.solve import Solution, Verdict, solve
from service.solver.spacing import knee_of, spaced
from tests.benchmarks.rivals import evolved, slsqp_multistart
from tests.solver.cases import allowance, value
from tests.solver.curves import KINDS, Drawn, draw
from tests.solver.instances import make

SIZES = (2, 3, 6, 12, 30)
SHARES = (0.07, 0.31, 0.58, 0.93)


def inside(curve: Curve, share: float) -> CurvePoint:
    """The point at a share of the range; the curves here have no gaps."""
    point = curve.at(curve.low.level + share * curve.range)
    assert point is not None
    return point


def meets_rows(drawn: Drawn, curve: Curve, point: CurvePoint) -> None:
    """The rows of the goals and of the level to 2e-9, and the value is the aim there."""
    problem = curve.problem_at(point.level)
    assert worst_violation(problem, point.x, volume_at(problem, point.x)) <= 2e-9
    assert drawn.ratio.at(point.x, volume_at(problem, point.x)) == pytest.approx(point.level, rel=1e-7, abs=1e-8)
    assert value(problem, point.x) == pytest.approx(point.value, rel=1e-12, abs=1e-12)


# ---------------------------------------------------------------- against other optimisers


def shortfalls(drawn: Drawn, shares: Sequence[float], starts: int, seed: int) -> tuple[int, list[float]]:
    """How often SLSQP had an answer, and by how much it was better, in allowances of 1e-6."""
    curve = drawn.curve()
    answered, better = 0, []
    for share in shares if curve.range else ():
        point = inside(curve, share)
        meets_rows(drawn, curve, point)
        rival = slsqp_multistart(curve.problem_at(point.level), starts, seed)
        if rival is not None:
            answered += 1
            better.append((point.value - rival.value) / allowance(rival.value))
    return answered, better


@pytest.mark.parametrize("size", SIZES)
def test_no_point_is_worse_than_slsqp(size: int) -> None:
    """50 curves, at four levels each but the largest."""
    answered = 0
    for seed in range(12 if size < 30 else 2):
        found, better = shortfalls(draw(seed, size), SHARES if size < 30 else SHARES[1:2], 3, seed)
        answered += found
        assert max(better, default=0.0) <= 1.0, seed
    assert answered >= (20 if size < 30 else 2)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("size", SIZES)
def test_no_point_of_many_curves_is_worse_than_slsqp(size: int, kind: str) -> None:
    """600 curves at six levels each."""
    for seed in range(20):
        _, better = shortfalls(draw(seed, size, kind), (0.01, *SHARES, 0.995), 5, seed)
        assert max(better, default=0.0) <= 1.0, seed


def test_with_strength_left_free_a_better_point_is_rarely_missed() -> None:
    """First-order points may be local there: 30 curves at four levels; measured: none missed."""
    missed = []
    for size in (3, 6, 12):
        for seed in range(10):
            _, better = shortfalls(draw(seed, size, strength_bounded=False), SHARES, 4, seed)
            missed += [(seed, size, by) for by in better if by > 1.0]
    assert len(missed) <= 2, missed


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "size"), [(0, 2), (1, 3), (2, 3), (3, 4), (4, 4), (5, 6)])
def test_no_point_is_worse_than_differential_evolution(seed: int, size: int) -> None:
    drawn = draw(seed, size)
    curve = drawn.curve()
    for share in SHARES:
        point = inside(curve, share)
        rival = evolved(curve.problem_at(point.level), seed, generations=200)
        assert rival is None or point.value <= rival.value + allowance(rival.value)


def check_ends(drawn: Drawn, seed: int) -> None:
    """SLSQP, asked for the least and the most X, gets no further."""
    curve = drawn.curve()
    for sign, end in ((1.0, curve.low), (-1.0, curve.high)):
        meets_rows(drawn, curve, end)
        aim = Aim((Ratio(drawn.ratio.numerator.scaled(sign), drawn.ratio.denominator),))
        rival = slsqp_multistart(replace(drawn.problem, aims=(aim,)), 3, seed)
        assert rival is None or sign * end.level <= rival.value + allowance(rival.value), seed


@pytest.mark.parametrize("size", SIZES[:-1])
def test_the_ends_are_the_least_and_the_most_that_slsqp_finds(size: int) -> None:
    """48 curves, both ends."""
    for seed in range(12):
        check_ends(draw(seed, size), seed)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("size", SIZES)
def test_the_ends_of_many_curves_are_the_least_and_the_most(size: int, kind: str) -> None:
    """240 curves, both ends."""
    for seed in range(8):
        check_ends(draw(seed, size, kind), seed)


def test_goals_that_cannot_be_met_have_no_curve() -> None:
    drawn = draw(3, 6)
    barren = replace(drawn.problem, upper=drawn.problem.lower)
    with pytest.raises(SolverError, match="whether the goals can be met"):
        Curve(barren, drawn.ratio, scale=drawn.scale, sums=drawn.instance.start)


@pytest.mark.parametrize("size", SIZES)
def test_the_value_at_an_end_is_where_the_curve_leads_to(size: int) -> None:
    for seed in range(12):
        curve = draw(seed, size).curve()
        if curve.range:
            for end, share in ((curve.low, 1e-7), (curve.high, 1.0 - 1e-7)):
                assert inside(curve, share).value == pytest.approx(end.value, rel=1e-4, abs=1e-4)


# ---------------------------------------------------------------- the shape of a curve


def check_shape(curve: Curve, hump: float = 0.0) -> None:
    """From the best point the value gets worse towards either end, but for a hump; nothing is better than the best."""
    points, best = curve.even(25), curve.best()
    assert not curve.gaps
    if not curve.range:
        assert points == [curve.low]
        return
    assert [points[0], points[-1]] == [curve.low, curve.high]
    for a, b in pairwise(points):
        assert a.level < b.level
        if b.level <= best.level:
            assert b.value <= a.value + 1e-9 + hump
        if a.level >= best.level:
            assert a.value <= b.value + 1e-9 + hump
    assert min(point.value for point in points) >= best.value - 1e-9


@pytest.mark.parametrize("kind", KINDS)
def test_curves_fall_to_the_best_point_and_rise_from_it(kind: str) -> None:
    """240 curves, strength bounded or free, 25 levels each."""
    for size in (2, 3, 6, 12):
        for seed in range(10):
            check_shape(draw(seed, size, kind, strength_bounded=seed % 2 == 0).curve())


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("size", SIZES)
def test_many_curves_fall_to_the_best_point_and_rise_from_it(size: int, kind: str) -> None:
    """1800 curves, 1640 with a range. One problem with strength free, seen through all six quantities, has a best
    level at either end: its single line of feasible blends is bent by the volume's curvature, a hump of 1e-4.
    """
    for seed in range(60):
        hump = 1e-4 if (seed, size) == (39, 2) else 0.0
        check_shape(draw(seed, size, kind, strength_bounded=seed % 2 == 0).curve(), hump)


@pytest.mark.parametrize("size", SIZES)
def test_following_a_basis_and_a_new_search_agree(size: int) -> None:
    """The same amounts to 1e-9 of the value and 1e-7 of the amounts, whatever the curve knew before."""
    compared = 0
    for seed in range(12):
        drawn = draw(seed, size)
        curve = drawn.curve()
        for point in curve.even(9)[1:-1] if curve.range else []:
            cold = solve(curve.problem_at(point.level), drawn.instance.start, prove=False)
            other = drawn.curve().at(point.level)
            assert other is not None
            assert value(drawn.problem, cold.x) == pytest.approx(point.value, rel=1e-9, abs=1e-9)
            assert other.value == pytest.approx(point.value, rel=1e-9, abs=1e-9)
            assert other.x == pytest.approx(cold.x, abs=1e-7)
            compared += 1
    assert compared >= 40


def test_following_is_what_happens(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the inner points of 40 curves fewer than one in twenty needs a search of its own."""
    searches: list[Problem] = []
    whole_search = Curve._solve

    def counted(self: Curve, problem: Problem, *arguments: Any, **options: Any) -> Solution:
        searches.append(problem)
        return whole_search(self, problem, *arguments, **options)

    monkeypatch.setattr(Curve, "_solve", counted)
    points = ends = 0
    for size in (3, 6, 12, 30):
        for seed in range(10):
            curve = draw(seed, size).curve()
            ends += 2
            points += max(len(curve.even(25)) - 2, 0)
    assert points >= 800
    assert len(searches) - ends <= 0.05 * points


def test_levels_outside_the_range_have_no_point() -> None:
    curve = draw(3, 6).curve()
    assert curve.at(curve.low.level - 0.01 * curve.range) is None
    assert curve.at(curve.high.level + 0.01 * curve.range) is None
    assert curve.at(curve.low.level) == curve.low
    assert curve.at(curve.high.level) == curve.high
    assert curve.gaps == []


def test_a_curve_that_the_goals_leave_no_room_is_one_point() -> None:
    """X held by a goal of its own: one level, no breakpoints, one point to show."""
    drawn = draw(0, 6, "volume")
    middle = drawn.curve()
    fixed = replace(drawn, problem=middle.problem_at(middle.low.level + 0.4 * middle.range))
    curve = fixed.curve()
    assert curve.range == 0.0
    assert curve.low is curve.high
    assert curve.even(25) == [curve.low]
    assert breakpoints_of(curve) == []
    assert spaced(curve, dist, most=9) == [curve.best()]


def test_optima_inside_an_edge_are_found() -> None:
    """With strength free some optima lie between two vertices; SLSQP finds nothing better there."""
    seen = 0
    for seed, size in ((35, 6), (37, 12)):
        drawn = draw(seed, size, "acids", strength_bounded=False)
        curve = drawn.curve()
        for point in curve.even(13)[1:-1]:
            if point.basis is not None and len(point.basis.free) > len(point.basis.rows):
                seen += 1
                meets_rows(drawn, curve, point)
                rival = slsqp_multistart(curve.problem_at(point.level), 4, seed)
                assert rival is None or point.value <= rival.value + allowance(rival.value)
        assert all(p.right.value == pytest.approx(p.left.value, abs=1e-3) for p in breakpoints_of(curve))
    assert seen >= 2


# ---------------------------------------------------------------- breakpoints


def check_breakpoints(curve: Curve, local: float = 1e-9) -> list[Breakpoint]:
    """Right beside each the basis differs and the values join; between two the basis is one and the same.

    `local` is by how much another local optimum may be better.
    """
    found = breakpoints_of(curve)
    width = RESOLUTION * curve.range
    for change in found:
        assert 0.0 < change.right.level - change.left.level <= 4.0 * width
        assert change.left.level <= change.level <= change.right.level
        assert (change.left.basis, change.left.x) != (change.right.basis, change.right.x)
        before, after = curve.at(change.left.level - width), curve.at(change.right.level + width)
        steep = abs(change.left.value - before.value) if before else 0.0
        steep += abs(change.right.value - after.value) if after else 0.0
        assert change.right.value == pytest.approx(change.left.value, abs=4.0 * steep + 1e-7)
    edges = [curve.low.level + width, *(p.level for p in found), curve.high.level - width]
    for a, b in pairwise(edges):
        if b - a > 20.0 * width:
            first = curve.at(a + 0.02 * (b - a))
            assert first is not None
            for share in (0.4, 0.98):
                point = curve.at(a + share * (b - a))
                assert point is not None
                kept = curve.follow(curve.problem_at(point.level), point.level, first, exchanges=0)
                assert point.basis == first.basis or (kept is not None and kept.value <= point.value + local)
    return found


@pytest.mark.parametrize("size", SIZES[1:])
def test_breakpoints_are_where_the_basis_changes(size: int) -> None:
    """48 curves."""
    total = 0
    for seed in range(12):
        curve = draw(seed, size).curve()
        total += len(check_breakpoints(curve)) if curve.range else 0
    assert total >= 3


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("strength_bounded", [True, False])
def test_breakpoints_of_many_curves(kind: str, strength_bounded: bool) -> None:
    """1200 curves. With strength free one of them follows a local optimum, worse by up to 5e-4."""
    for size in SIZES:
        for seed in range(20):
            curve = draw(seed, size, kind, strength_bounded=strength_bounded).curve()
            if curve.range:
                check_breakpoints(curve, 1e-9 if strength_bounded else 1e-3)


@pytest.mark.parametrize("size", [3, 6, 12])
def test_between_breakpoints_a_fine_scan_finds_no_other_basis(size: int) -> None:
    """A curve looked at afresh at 200 levels changes its basis exactly where the breakpoints are."""
    for seed in range(5):
        drawn = draw(seed, size)
        curve, scan = drawn.curve(), drawn.curve()
        if not curve.range:
            continue
        levels = [p.level for p in breakpoints_of(curve)]
        points = scan.even(201)[1:-1]
        for a, b in pairwise(points):
            between = sum(a.level < level < b.level for level in levels)
            assert (a.basis != b.basis) <= (between > 0)
            assert between == 0 or a.basis != b.basis or between > 1


def test_what_enters_and_leaves_at_a_breakpoint() -> None:
    """One exchange mostly: as many amounts and rows come as go, counted with what they replace."""
    single = total = 0
    for seed in range(12):
        for point in breakpoints_of(draw(seed, 6).curve()):
            total += 1
            assert point.left.basis is not None
            assert point.right.basis is not None
            free, rows = set(point.left.basis.free), set(point.left.basis.rows)
            assert (free | set(point.entering)) - set(point.leaving) == set(point.right.basis.free)
            assert (rows | set(point.rows_entering)) - set(point.rows_leaving) == set(point.right.basis.rows)
            changes = [*point.entering, *point.leaving, *point.rows_entering, *point.rows_leaving]
            single += len(changes) == 2
    assert total >= 10
    assert single >= 0.8 * total


# ---------------------------------------------------------------- proofs


@pytest.mark.parametrize("size", [2, 3, 6, 12])
def test_points_are_proved_on_demand(size: int) -> None:
    """40 curves: three inner points and both ends, all proved; strength is bounded or is itself what is held."""
    for seed in range(10):
        curve = draw(seed, size).curve()
        if not curve.range:
            continue
        points = [*(inside(curve, share) for share in (0.2, 0.5, 0.8)), curve.low, curve.high]
        proved = [curve.prove(point) for point in points]
        for before, after in zip(points, proved, strict=True):
            assert not before.proved
            assert after.proved, (seed, size)
            assert after.value == pytest.approx(before.value, rel=1e-6, abs=1e-8)
            assert curve.at(after.level) == after
            assert curve.prove(after) is after


def test_the_best_point_is_proved_over_all_levels() -> None:
    """As the plain problem is, without a row for X; where a search alone ends beside the best, the curve shows it."""
    for seed in range(12):
        drawn = draw(seed, 6)
        curve = drawn.curve()
        best = curve.prove(curve.best())
        plain = solve(drawn.problem, drawn.instance.start)
        assert best.proved
        assert curve.best() == best
        assert best.value == pytest.approx(value(drawn.problem, plain.x), rel=1e-6, abs=1e-8)
    for kind in KINDS:  # a preference with two local optima, and a search that ends at the worse of them
        drawn = draw(39, 2, kind, strength_bounded=False)
        alone = value(drawn.problem, solve(drawn.problem, drawn.instance.start, prove=False).x)
        curve = drawn.curve()
        curve.even(25)
        assert curve.best().value < alone - 1e-6
        assert draw(39, 2, kind, strength_bounded=False).curve().best().value < alone - 1e-6
        assert curve.prove(curve.best()).proved


def test_a_point_that_is_not_the_best_is_replaced_by_the_proof() -> None:
    """A worse point of the same level, offered as if it were the curve's: the proof comes back with the best."""
    curve = draw(3, 6).curve()
    best = inside(curve, 0.5)
    problem = curve.problem_at(best.level)
    worst = solve(replace(problem, aims=(Aim((Ratio(problem.aims[0].terms[0].numerator.scaled(-1.0)),)),)), [1.0] * 7)
    assert worst.found
    pretended = replace(best, x=worst.x, value=value(problem, worst.x))
    assert pretended.value > best.value + 1e-4
    assert not search(problem, problem.aims[0], pretended.x, pretended.value).closed
    settled = curve.prove(pretended)
    assert settled.proved
    assert settled.value == pytest.approx(best.value, rel=1e-6)


def test_the_deadline_ends_proofs_but_not_points() -> None:
    drawn = draw(1, 6)
    curve = Curve(drawn.problem, drawn.ratio, scale=drawn.scale, sums=drawn.instance.start, until=0.0)
    point = inside(curve, 0.4)
    meets_rows(drawn, curve, point)
    assert not curve.prove(point).proved


# ---------------------------------------------------------------- whole packs


def test_with_whole_packs_every_level_is_a_problem_of_its_own() -> None:
    """Materials in packs, the rest in any amount: each level against the counts tried one by one."""
    checked = 0
    for seed in range(12):
        drawn = draw(seed, 4, "added")
        pack = 0.25 * drawn.problem.upper[0]
        try:
            curve = drawn.curve(whole=(pack, 0.0, 0.0, 0.0))
        except SolverError:
            continue
        for share in (0.25, 0.5, 0.75):
            level = curve.low.level + share * curve.range
            point = curve.at(level)
            best = None
            for count in range(5):
                amount = count * pack
                lower, upper = (amount, *drawn.problem.lower[1:]), (amount, *drawn.problem.upper[1:])
                held = replace(drawn.curve().problem_at(level), lower=lower, upper=upper)
                solution = solve(held, drawn.instance.start)
                if solution.found:
                    reached = value(held, solution.x)
                    best = reached if best is None else min(best, reached)
            if point is None:
                assert best is None
            else:
                assert best is not None
                assert point.value <= best + allowance(best)
                assert point.x[0] / pack == pytest.approx(round(point.x[0] / pack), abs=1e-9)
                checked += 1
    assert checked >= 5


# ---------------------------------------------------------------- what to show


def weighed(x: Amounts, y: Amounts) -> float:
    """A distance in which the curves here are some steps long."""
    return 25.0 * dist(x, y)


@pytest.mark.parametrize("size", SIZES)
def test_spaced_points_are_about_one_apart(size: int) -> None:
    """Ends and best point always, no pair nearer than a half but those, none farther than 2.1 but over a jump."""
    for seed in range(10 if size < 30 else 4):
        curve = draw(seed, size).curve()
        points = spaced(curve, weighed, most=60)
        jumping = breakpoints_of(curve)
        fixed = {curve.low.level, curve.best().level, curve.high.level}
        assert fixed <= {p.level for p in points}
        for a, b in pairwise(points):
            assert a.level < b.level
            apart = weighed(a.x, b.x)
            assert apart >= 0.5 or {a.level, b.level} <= fixed
            if curve.range and len(points) < 50:
                jumps = sum(
                    weighed(j.left.x, j.right.x)
                    for j in jumping
                    if j.left.level <= b.level and a.level <= j.right.level
                )
                assert apart <= 2.1 + jumps, (seed, apart)


@pytest.mark.parametrize("most", [3, 4, 7, 12])
def test_at_most_so_many_points_evenly_spread(most: int) -> None:
    for seed in range(12):
        curve = draw(seed, 6).curve()
        points = spaced(curve, lambda x, y: 40.0 * weighed(x, y), most=most)
        assert len(points) <= most
        assert {curve.low.level, curve.best().level, curve.high.level} <= {p.level for p in points}
        if curve.range and most == 12 and curve.best() in (curve.low, curve.high):
            assert len(points) == most
            gaps = [weighed(a.x, b.x) for a, b in pairwise(points)]
            assert max(gaps) <= 1.8 * float(np.mean(gaps))


def test_a_short_curve_shows_its_ends_and_its_best_point_only() -> None:
    curve = draw(3, 6).curve()
    points = spaced(curve, lambda x, y: 1e-3 * weighed(x, y), most=20)
    expected = sorted({curve.low.level, curve.best().level, curve.high.level})
    assert [p.level for p in points] == expected


def line(values: Sequence[tuple[float, float]]) -> list[CurvePoint]:
    return [CurvePoint(x, y, (), None) for x, y in values]


def test_the_knee_lies_where_the_chord_is_far() -> None:
    """On y = x² the chord from 0 to 1 is x − x² above: within a fifth of its most, ¼, between 0.28 and 0.72."""
    square = line([(0.1 * k, (0.1 * k) ** 2) for k in range(11)])
    knee = knee_of(square)
    assert knee is not None
    assert 0.28 < knee.level < 0.72
    mirrored = knee_of(line([(1.0 - p.level, p.value) for p in reversed(square)]))
    assert mirrored is not None
    assert mirrored.level == pytest.approx(1.0 - knee.level)


def test_the_knee_is_the_corner_and_not_a_point_on_the_straight_beside_it() -> None:
    """From a corner at 1 the curve runs beside the chord: every point there is nearly as far from it."""
    corner = [(0.0, 0.0), (0.5, -2.5), (1.0, -5.0), (2.0, -6.0), (4.0, -8.1), (8.0, -12.4), (10.0, -14.5)]
    for values in (corner, [(10.0 - x, y) for x, y in reversed(corner)]):
        knee = knee_of(line(values))
        assert knee is not None
        assert knee.level == (1.0 if values is corner else 9.0)


@pytest.mark.parametrize("factor", [1e-3, 1.0, 700.0])
def test_the_knee_does_not_depend_on_units(factor: float) -> None:
    bent = line([(factor * x, 5.0 + factor * y) for x, y in ((0.0, 1.0), (1.0, 0.0), (6.0, 0.3), (7.0, 3.0))])
    knee = knee_of(bent)
    assert knee is not None
    assert knee.level == pytest.approx(6.0 * factor)


def test_no_knee_without_a_bend() -> None:
    """Straight, bent the other way, flat, barely bent, or too short."""
    assert knee_of([]) is None
    assert knee_of(line([(0.0, 1.0)])) is None
    assert knee_of(line([(0.0, 0.0), (1.0, 1.0)])) is None
    assert knee_of(line([(0.0, 0.0), (0.5, 0.5), (1.0, 1.0)])) is None
    assert knee_of(line([(0.0, 0.0), (0.2, 0.9), (1.0, 1.0)])) is None
    assert knee_of(line([(0.0, 2.0), (0.5, 2.0), (1.0, 2.0)])) is None
    assert knee_of(line([(0.0, 0.0), (0.5, 0.45), (1.0, 1.0)])) is None


def test_every_state_on_a_curve_is_a_liquid() -> None:
    curve = draw(2, 12).curve()
    assert all(is_liquid(curve.problem.sums_at(p.x)) for p in curve.even(25))
    assert solve(curve.problem, make(2, 12).start).verdict is Verdict.PROVED_BEST
