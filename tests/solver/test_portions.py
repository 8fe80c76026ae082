"""Several drinks that share lots and stocks: against a general optimiser, against each by itself, and honest proofs.

The oracle is SLSQP (D. Kraft, DFVLR-FB 88-28, 1988, through scipy) on ratios as they stand, from several points; it
shares with the solver only the volume of a mixture.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import inf

import numpy as np
import numpy.typing as npt
import pytest
from scipy.optimize import Bounds, minimize

from service.errors import InputError, SolverError
from service.physics.mixture import volume_and_gradient_ml
from service.solver import portions, stack, stack_proof
from service.solver.goals import GoalResult, Outcome, solve_goals
from service.solver.local import LocalStatus, is_liquid
from service.solver.portions import Found, Part, PortionsResult, solve_portions, solve_together
from service.solver.problem import Aim, Form, Problem, Ratio, Row, volume_at
from service.solver.solve import Verdict, solve
from service.solver.stack import Link, Settled
from service.solver.stack_proof import prove_stack
from service.solver.stages import Goal
from tests.solver.batches import Batch, loosened, make_batch
from tests.solver.cases import SMALLEST, allowance, held
from tests.solver.instances import Instance, make

Floats = npt.NDArray[np.float64]
Amounts = Sequence[Sequence[float]]

SHAPES = ((2, 2), (2, 4), (3, 3), (3, 6), (4, 4))
SMALL = ((2, 2), (2, 3), (2, 4), (3, 2), (3, 3))

_SHRUNK = 1e-2
"""Brings an oracle's aim in noticeable steps to order one."""


def at(part: Part, ratio: Ratio, x: Sequence[float]) -> float:
    return ratio.at(x, volume_at(part.problem, x))


def first_aim(parts: Sequence[Part], xs: Amounts) -> float:
    return sum(p.problem.aims[0].at(x, volume_at(p.problem, x)) for p, x in zip(parts, xs, strict=True))


def misses(parts: Sequence[Part], xs: Amounts, priority: int | None = None) -> float:
    """The sum of misses of the ranges in noticeable steps."""
    total = 0.0
    for part, x in zip(parts, xs, strict=True):
        for goal in part.goals:
            value = at(part, goal.ratio, x)
            if priority is None or goal.priority == priority:
                total += max(goal.low - value, value - goal.high, 0.0) / goal.step
    return total


def distance(parts: Sequence[Part], xs: Amounts) -> float:
    """The sum of distances from the values in noticeable steps."""
    return sum(
        abs(at(part, goal.ratio, x) - goal.value) / goal.step
        for part, x in zip(parts, xs, strict=True)
        for goal in part.goals
        if goal.value is not None
    )


def worst_of_links(links: Sequence[Link], xs: Amounts) -> float:
    """The largest miss of a link, per unit of its largest factor."""
    worst = 0.0
    for link in links:
        value = sum(factor * xs[k][j] for k, j, factor in link.terms)
        size = max(abs(factor) for *_, factor in link.terms)
        worst = max(worst, (link.lower - value) / size, (value - link.upper) / size)
    return worst


def worst_of_boxes(parts: Sequence[Part], xs: Amounts) -> float:
    return max(
        max(low - v, v - high)
        for part, x in zip(parts, xs, strict=True)
        for v, low, high in zip(x, part.problem.lower, part.problem.upper, strict=True)
    )


def assert_met(batch: Batch, result: PortionsResult | Found, parts: Sequence[Part] | None = None) -> None:
    """Ranges, links and boxes hold at the true volumes."""
    assert result.outcome is Outcome.MET
    assert worst_of_links(batch.links, result.xs) <= 1e-9
    assert worst_of_boxes(batch.parts, result.xs) <= 1e-9
    for part, x in zip(parts or batch.parts, result.xs, strict=True):
        for goal in part.goals:
            assert goal.low - 3e-9 * goal.size() <= at(part, goal.ratio, x) <= goal.high + 3e-9 * goal.size()


def singly(parts: Sequence[Part]) -> list[GoalResult]:
    return [solve_goals(p.problem, p.goals, p.sums, deadline_s=20.0, prove=False) for p in parts]


def stacked_answer(parts: Sequence[Part], links: Sequence[Link], *, prove: bool = True) -> Found:
    """The answer of the stack even where the drinks by themselves would do."""
    return solve_together(parts, links, singly(parts), prove=prove)


# ---------------------------------------------------------------- the oracle


class Oracle:
    """SLSQP on the drinks side by side, with columns for misses or distances where those are the aim."""

    def __init__(self, parts: Sequence[Part], links: Sequence[Link], aim: str) -> None:
        self.parts, self.links, self.aim = parts, links, aim
        sizes = [p.problem.size for p in parts]
        self.first = [sum(sizes[:k]) for k in range(len(sizes))]
        self.amounts = sum(sizes)
        self.columns = [np.array(p.problem.columns).reshape(p.problem.size, 7) for p in parts]
        self.seen: list[tuple[bytes, float, Floats]] = [(b"", 0.0, np.zeros(0))] * len(parts)
        self.sides: list[tuple[int, Ratio, float, float, float]] = []  # part, ratio, bound, sign (0: equal), step
        self.extra: list[tuple[int, int]] = []  # the columns of a side
        self.weights: list[float] = []
        for k, part in enumerate(parts):
            for goal in part.goals:
                self._add(k, goal)
        self.size = self.amounts + len(self.weights)

    def _add(self, k: int, goal: Goal) -> None:
        if self.aim == "preference" and goal.value is not None:
            self._side(k, goal, goal.value, 0.0, 0)
            return
        columns = 1 if self.aim == "misses" else 0
        if goal.low > -inf:
            self._side(k, goal, goal.low, 1.0, columns)
        if goal.high < inf:
            self._side(k, goal, goal.high, -1.0, columns)
        if self.aim == "distance" and goal.value is not None:
            self._side(k, goal, goal.value, 0.0, 2)

    def _side(self, k: int, goal: Goal, bound: float, sign: float, columns: int) -> None:
        self.sides.append((k, goal.ratio, bound, sign, goal.step))
        start = self.amounts + len(self.weights)
        self.extra.append((start, columns))
        self.weights.extend([_SHRUNK] * columns)

    def own(self, z: Floats) -> list[Floats]:
        return [z[f : f + p.problem.size] for f, p in zip(self.first, self.parts, strict=True)]

    def _volume(self, k: int, x: Floats) -> tuple[float, Floats]:
        key = x.tobytes()
        if key != self.seen[k][0]:
            sums = np.array(self.parts[k].problem.fixed_sums) + x @ self.columns[k]
            if not is_liquid(sums.tolist()):
                sums = np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
            volume, slope = volume_and_gradient_ml(sums.tolist())
            self.seen[k] = (key, volume, self.columns[k] @ np.array(slope))
        return self.seen[k][1:]

    def _ratio(self, k: int, ratio: Ratio, z: Floats) -> tuple[float, Floats]:
        part, x = self.parts[k], self.own(z)[k]
        volume, partial = self._volume(k, x)

        def form(f: Form) -> tuple[float, Floats]:
            line = np.array(f.coefficients)
            return f.constant + float(line @ x) + f.volume * volume, line + f.volume * partial

        value, line = form(ratio.numerator)
        if ratio.denominator is not None:
            bottom, below = form(ratio.denominator)
            bottom = bottom if abs(bottom) > 1e-9 else 1e-9
            value, line = value / bottom, (line - value / bottom * below) / bottom
        whole = np.zeros(self.size)
        whole[self.first[k] : self.first[k] + part.problem.size] = line
        return value, whole

    def objective(self, z: Floats) -> tuple[float, Floats]:
        total, line = 0.0, np.zeros(self.size)
        if self.aim == "preference":
            for k, part in enumerate(self.parts):
                for term in part.problem.aims[0].terms:
                    value, own = self._ratio(k, term, z)
                    total, line = total + value, line + own
            return total, line
        line[self.amounts :] = self.weights
        return float(line @ z), line

    def constraints(self, *, equal: bool) -> tuple[Callable[[Floats], Floats], Callable[[Floats], Floats]]:
        """Values and gradients; in noticeable steps for goals."""

        last: tuple[bytes, tuple[Floats, Floats]] | None = None

        def both(z: Floats) -> tuple[Floats, Floats]:
            nonlocal last
            key = z.tobytes()
            if last is not None and last[0] == key:
                return last[1]
            values, lines = [], []
            for (k, ratio, bound, sign, step), (start, columns) in zip(self.sides, self.extra, strict=True):
                if (sign == 0.0) is not equal:
                    continue
                value, line = self._ratio(k, ratio, z)
                value, line = (value - bound) / step, line / step
                if sign:
                    value, line = sign * value, sign * line
                    if columns:
                        value, line[start] = value + z[start], 1.0
                elif columns:
                    value += z[start] - z[start + 1]
                    line[start], line[start + 1] = 1.0, -1.0
                values.append(value)
                lines.append(line)
            for link in self.links:
                if (link.lower == link.upper) is not equal:
                    continue
                line = np.zeros(self.size)
                for k, j, factor in link.terms:
                    line[self.first[k] + j] += factor
                if link.upper < inf:
                    values.append(link.upper - float(line @ z))
                    lines.append(-line)
                if link.lower > -inf and not equal:
                    values.append(float(line @ z) - link.lower)
                    lines.append(line)
            last = (key, (np.array(values), np.array(lines).reshape(-1, self.size)))
            return last[1]

        return lambda z: both(z)[0], lambda z: both(z)[1]

    def best(self, starts: Sequence[Amounts], *, feasible: float = 1e-7) -> float | None:
        """The least value that a feasible end of SLSQP has, in the aim's own unit."""
        lower = [v for p in self.parts for v in p.problem.lower] + [0.0] * len(self.weights)
        upper = [v for p in self.parts for v in p.problem.upper] + [1e4] * len(self.weights)
        constraints = []
        for kind, equal in (("eq", True), ("ineq", False)):
            values, lines = self.constraints(equal=equal)
            if values(np.array(lower)).size:
                constraints.append({"type": kind, "fun": values, "jac": lines})
        best = None
        for start in starts:
            z = np.array([v for x in start for v in x] + [0.0] * len(self.weights))
            result = minimize(
                self.objective,
                z,
                jac=True,
                method="SLSQP",
                bounds=Bounds(np.array(lower), np.array(upper)),
                constraints=constraints,
                options={"ftol": 1e-13, "maxiter": 200},
            )
            z = np.clip(result.x, lower, upper)
            worst = 0.0
            for constraint in constraints:
                values = constraint["fun"](z)  # type: ignore[operator]
                worst = max(worst, float(np.max(np.abs(values) if constraint["type"] == "eq" else -values)))
            value = self.objective(z)[0] / (1.0 if self.aim == "preference" else _SHRUNK)
            if worst <= feasible and (best is None or value < best):
                best = value
        return best


def starts_of(batch: Batch, count: int, seed: int) -> list[list[list[float]]]:
    """The known point and random ones."""
    rng = random.Random(seed)
    some = [[[u * rng.random() for u in p.problem.upper] for p in batch.parts] for _ in range(count - 1)]
    return [[list(x) for x in batch.inside], *some]


def aimed_apart(batch: Batch, seed: int, *, steps: float, wide: float) -> list[Part]:
    """The drinks with gravities moved by some steps and ranges `wide` steps around them."""
    rng = random.Random(seed)
    parts = []
    for part in batch.parts:
        goals = []
        for goal in part.goals:
            if goal.name == "gravity":
                middle = 0.5 * (goal.low + goal.high) + rng.uniform(0.3, 1.0) * steps * goal.step
                half = wide * goal.step
                goals.append(replace(goal, low=middle - half, high=middle + half, value=middle if wide else None))
            else:
                goals.append(replace(goal, value=None))
        parts.append(replace(part, goals=tuple(goals)))
    return parts


# ---------------------------------------------------------------- a general optimiser finds nothing better


def compare_preference(seeds: range, shapes: Sequence[tuple[int, int]], starts: int) -> tuple[int, int]:
    """How many answers a general optimiser could reach, and how many of these needed the stack."""
    reached = coupled = 0
    for seed in seeds:
        for count, size in shapes:
            batch = make_batch(seed, count, size)
            result = solve_portions(batch.parts, batch.links, prove=False)
            assert_met(batch, result)
            coupled += worst_of_links(batch.links, [r.x for r in singly(batch.parts)]) > 1e-6
            ours = first_aim(batch.parts, result.xs)
            assert ours <= first_aim(batch.parts, batch.inside) + 1e-8
            rival = Oracle(batch.parts, batch.links, "preference").best(starts_of(batch, starts, seed))
            if rival is not None:
                reached += 1
                assert ours <= rival + allowance(rival, 3e-6)
    return reached, coupled


def test_slsqp_finds_no_better_preference() -> None:
    reached, coupled = compare_preference(range(13), SMALL, 2)
    assert reached >= 60
    assert coupled >= 25


@pytest.mark.slow
def test_slsqp_finds_no_better_preference_long() -> None:
    reached, _ = compare_preference(range(100, 160), (*SHAPES, (3, 10), (4, 6)), 4)
    assert reached >= 400


def compare_distance(seeds: range, shapes: Sequence[tuple[int, int]], starts: int) -> int:
    """How many answers kept to ranges but not to all values, and are as near as SLSQP's."""
    near = 0
    for seed in seeds:
        for count, size in shapes:
            batch = make_batch(seed, count, size, room=1.0)
            parts = aimed_apart(batch, seed, steps=4.0, wide=6.0)
            result = solve_portions(parts, batch.links, prove=False)
            assert_met(batch, result, parts)
            ours = distance(parts, result.xs)
            near += ours > 1e-3
            rival = Oracle(parts, batch.links, "distance").best(starts_of(batch, starts, seed))
            assert rival is not None
            assert ours <= rival + 1e-4 * max(1.0, rival)
    return near


def test_slsqp_comes_no_nearer_to_the_values() -> None:
    assert compare_distance(range(14), [(2, 3)], 1) >= 8


@pytest.mark.slow
def test_slsqp_comes_no_nearer_to_the_values_long() -> None:
    assert compare_distance(range(100, 200), [(2, 3), (3, 4)], 2) >= 75


def compare_misses(seeds: range, shapes: Sequence[tuple[int, int]], starts: int) -> int:
    """How many clashes there were; their misses are SLSQP's."""
    clashes = 0
    for seed in seeds:
        for count, size in shapes:
            batch = make_batch(seed, count, size, room=1.0)
            parts = aimed_apart(batch, seed, steps=12.0, wide=0.0)
            result = solve_portions(parts, batch.links, deadline_s=20.0)
            ours = misses(parts, result.xs)
            rival = Oracle(parts, batch.links, "misses").best(starts_of(batch, starts, seed))
            assert rival is not None
            assert ours <= rival + 1e-4 * max(1.0, rival)
            assert worst_of_links(batch.links, result.xs) <= 1e-9
            assert (result.outcome is Outcome.MET) is (ours <= 1e-5)
            if result.outcome is not Outcome.MET:
                clashes += 1
                assert result.outcome is Outcome.CLASH
                assert result.verdict is Verdict.PROVED_IMPOSSIBLE
    return clashes


def test_slsqp_misses_no_less_where_goals_clash() -> None:
    assert compare_misses(range(5), [(2, 2)], 1) >= 4


@pytest.mark.slow
def test_slsqp_misses_no_less_where_goals_clash_long() -> None:
    assert compare_misses(range(100, 160), [(2, 3), (3, 4)], 2) >= 60


def test_an_optimum_between_vertices_is_found() -> None:
    """Two like drinks of open volume share a citrus stock: by concavity each gets half, at no vertex of the amounts.

    Citrus per litre of c·x/(V₀ + v·x) falls off in x, so equal shares are the most of the sum.
    """
    batch = _twins()
    result = solve_portions(batch.parts, batch.links, deadline_s=20.0)
    assert result.outcome is Outcome.MET
    assert result.verdict is Verdict.BEST_FOUND
    assert result.xs[0][0] == pytest.approx(0.1, abs=1e-5)
    assert result.xs[1][0] == pytest.approx(0.1, abs=1e-5)
    # the first has the stock for itself at 0.2 in each drink: the bound of the drinks by themselves
    alone = 2.0 * singly(batch.parts)[0].problem.aims[0].at(
        (0.2, 0.0, 0.0), volume_at(batch.parts[0].problem, (0.2, 0.0, 0.0))
    )
    value = first_aim(batch.parts, result.xs)
    assert result.gap == pytest.approx((value - alone) / abs(value), rel=1e-6)


def _twins() -> Batch:
    """Two drinks of one ferment; a juice (stock 0.2), water and another juice without citrus, which nobody needs."""
    juice = (0.9, 0.0, 0.1, 0.1, 0.0, 0.0009, 0.0)
    water = (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    base = (0.9, 0.07, 0.02, 0.02, 0.0, 0.0, 0.0)
    citrus = Ratio(Form(0.0, (-1.0, 0.0, 0.0)), Form(0.0, (0.0, 0.0, 0.0), 1.0))
    added = Aim((Ratio(Form(0.0, (1.0, 1.0, 1.0))),))
    tie = Aim((Ratio(Form(0.0, (1.0, 1.2, 1.37))),))
    problem = Problem((0.0,) * 3, (0.2, 0.3, 0.3), base, (juice, water, juice), (), (Aim((citrus,)), added, tie))
    part = Part(problem, (), base)
    link = Link("juice", ((0, 0, 1.0), (1, 0, 1.0)), 0.0, 0.2)
    return Batch((part, part), (link,), ((0.0,) * 3, (0.0,) * 3))


# ---------------------------------------------------------------- one drink, and drinks that share nothing


def as_part(instance: Instance) -> Part:
    return Part(instance.problem, instance.goals, instance.start)


def test_one_drink_is_the_answer_of_its_goals() -> None:
    """Exactly; and the stack of one drink gives the same amounts."""
    for seed in range(25):
        for size in (2, 3, 6, 12):
            instance = make(seed, size)
            part = as_part(instance)
            alone = solve_goals(part.problem, part.goals, part.sums)
            result = solve_portions([part], [])
            assert (result.outcome, result.verdict, result.gap) == (alone.outcome, alone.verdict, alone.gap)
            assert result.xs == (alone.x,)
            stacked = stacked_answer([part], [], prove=False)
            assert stacked.outcome is alone.outcome
            assert stacked.xs[0] == pytest.approx(alone.x, abs=1e-7)


def test_one_drink_with_links_is_a_drink_with_rows() -> None:
    """A stock as a link or as a row of the problem: the same amounts, the same verdict."""
    compared = bound = 0
    for seed in range(25):
        for size in (2, 4, 6, 12):
            instance = make(seed, size)
            part = as_part(instance)
            free = solve_goals(part.problem, part.goals, part.sums)
            rng = random.Random(seed)
            line = [rng.choice([0.0, 1.0, 2.0]) for _ in range(size)]
            most = sum(a * v for a, v in zip(line, free.x, strict=True)) * rng.uniform(0.9, 1.0)
            row = Row("stock", Form(0.0, tuple(0.5 * a for a in line)), upper=0.5 * most)
            single = solve_goals(replace(part.problem, rows=(row,)), part.goals, part.sums, deadline_s=20.0)
            terms = tuple((0, j, a) for j, a in enumerate(line) if a)
            result = solve_portions([part], [Link("stock", terms, -inf, most)], deadline_s=20.0)
            assert result.outcome is single.outcome
            if single.outcome is Outcome.MET:
                assert result.verdict is single.verdict is Verdict.PROVED_BEST
                assert result.xs[0] == pytest.approx(single.x, abs=1e-6)
            else:
                ours, theirs = misses([part], result.xs), misses([part], [single.x])
                assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-6)
            compared += 1
            bound += max(abs(a - b) for a, b in zip(free.x, result.xs[0], strict=True)) > 1e-6
    assert compared >= 100
    assert bound >= 30


@pytest.mark.parametrize(("count", "size"), SHAPES)
def test_drinks_that_share_nothing_scarce_are_solved_as_each_by_itself(count: int, size: int) -> None:
    """Stocks that never run out: both ways round the stack give the amounts of each drink alone."""
    for seed in range(14):
        batch = loosened(make_batch(seed, count, size))
        alone = [solve_goals(p.problem, p.goals, p.sums) for p in batch.parts]
        result = solve_portions(batch.parts, batch.links, deadline_s=20.0)
        assert result.outcome is Outcome.MET
        assert result.verdict is Verdict.PROVED_BEST
        stacked = stacked_answer(batch.parts, batch.links, prove=False)
        assert_met(batch, stacked)
        for k, single in enumerate(alone):
            assert result.xs[k] == pytest.approx(single.x, abs=1e-8)
            assert stacked.xs[k] == pytest.approx(single.x, abs=1e-6)


def test_drinks_that_miss_their_goals_do_so_as_each_by_itself() -> None:
    """One in reach, one near its value, one that clashes: the stack has the sums of misses of each alone."""
    for seed in range(12):
        batch = loosened(make_batch(seed, 3, 4))
        near = aimed_apart(batch, seed, steps=30.0, wide=45.0)
        clash = aimed_apart(batch, seed, steps=200.0, wide=0.0)
        parts = [batch.parts[0], near[1], clash[2]]
        alone = singly(parts)
        result = solve_portions(parts, batch.links, deadline_s=20.0)
        stacked = stacked_answer(parts, batch.links)
        assert result.outcome is stacked.outcome is Outcome.CLASH
        assert result.verdict is stacked.verdict is Verdict.PROVED_IMPOSSIBLE
        for part, x, single in zip(parts, stacked.xs, alone, strict=True):
            assert misses([part], [x]) == pytest.approx(misses([part], [single.x]), rel=1e-6, abs=1e-6)


def test_priority_one_rules_over_priority_two_of_any_drink() -> None:
    """A stock for one of two like drinks goes to the one with priority 1; swapped priorities swap the drinks."""
    honey = (0.18, 0.0, 0.82, 0.82, 0.0, 0.0, 0.0)
    base = (0.9, 0.07, 0.02, 0.02, 0.0, 0.0, 0.0)
    added = Aim((Ratio(Form(0.0, (1.0,))),))
    problem = Problem((0.0,), (0.5,), base, (honey,), (), (added,))
    density = Ratio(Form(0.99, (1.0,)), Form(0.0, (0.0,), 1.0))
    wanted = at(Part(problem, (), base), density, (0.1,))
    parts = [
        Part(problem, (Goal("gravity", density, wanted, wanted, wanted, 0.001, priority),), base) for priority in (1, 2)
    ]
    link = Link("honey", ((0, 0, 1.0), (1, 0, 1.0)), 0.0, 0.13)
    for order in (parts, parts[::-1]):
        result = solve_portions(order, [link])
        assert result.outcome is Outcome.CLASH
        first = 0 if order[0].goals[0].priority == 1 else 1
        assert result.xs[first][0] == pytest.approx(0.1, abs=1e-8)
        assert result.xs[1 - first][0] == pytest.approx(0.03, abs=1e-8)


# ---------------------------------------------------------------- proofs


def never_impossible(seeds: range, shapes: Sequence[tuple[int, int]], nodes: int) -> int:
    checked = 0
    for seed in seeds:
        for count, size in shapes:
            batch = make_batch(seed, count, size, room=1.0)
            together = portions._Together(batch.parts, batch.links)
            proof = prove_stack(together.ranged(), nodes=nodes)
            assert not proof.closed
            checked += 1
    return checked


def test_what_a_known_point_meets_is_never_proved_impossible() -> None:
    """Every stock is exactly what the known point takes, and goals are exact or drawn around it."""
    assert never_impossible(range(100), SMALL[:3], 1) >= 300


@pytest.mark.slow
def test_what_a_known_point_meets_is_never_proved_impossible_long() -> None:
    assert never_impossible(range(1000, 1400), SHAPES, 12) >= 2000


def least_need(part: Part, j: int) -> float | None:
    """The least of one column that a drink's goals allow, proved."""
    line = [0.0] * part.problem.size
    line[j] = 1.0
    problem = held(
        Instance(
            replace(part.problem, aims=(Aim((Ratio(Form(0.0, tuple(line))),)), *part.problem.aims)),
            part.goals,
            part.sums,
        )
    )
    solution = solve(problem, part.sums, until=inf)
    return solution.x[j] if solution.verdict is Verdict.PROVED_BEST else None


def test_a_stock_below_the_need_is_proved_too_small() -> None:
    """Half of what the drinks need at the least, and a ten-thousandth less: proved. A ten-thousandth more: met."""
    proved = 0
    for seed in range(9):
        for count, size in ((2, 3), (3, 2)):
            batch = make_batch(seed, count, size)
            for j in range(batch.parts[0].problem.size):
                needs = [least_need(p, j) for p in batch.parts]
                factors = [factor for *_, factor in batch.links[j].terms]
                need = sum(f * (v or 0.0) for f, v in zip(factors, needs, strict=True))
                if None in needs or need < 0.02:
                    continue
                for share in (0.5, 1.0 - 1e-4):
                    scarce = [replace(batch.links[j], upper=share * need)]
                    result = solve_portions(batch.parts, scarce, deadline_s=20.0)
                    assert result.outcome is Outcome.CLASH
                    assert result.verdict is Verdict.PROVED_IMPOSSIBLE
                    assert misses(batch.parts, result.xs) > 0.0
                enough = [replace(batch.links[j], upper=(1.0 + 1e-4) * need)]
                met = solve_portions(batch.parts, enough, prove=False)
                assert_met(replace(batch, links=tuple(enough)), met)
                proved += 1
                break
    assert proved >= 8


def test_proved_best_is_not_bettered_and_bounds_hold() -> None:
    """SLSQP from several points stays above value − gap, and where volumes are given answers are proved."""
    proved = 0
    for seed in range(12):
        batch = make_batch(seed, 2, 3, exact_volume=1.0, lot=True)
        result = solve_portions(batch.parts, batch.links, deadline_s=20.0)
        proved += result.verdict is Verdict.PROVED_BEST
        ours = first_aim(batch.parts, result.xs)
        rival = Oracle(batch.parts, batch.links, "preference").best(starts_of(batch, 2, seed))
        if rival is not None:
            assert rival >= ours - (result.gap + 3e-6) * max(abs(ours), SMALLEST)
    assert proved == 12


def test_a_point_that_is_not_the_best_is_never_proved_best() -> None:
    """The known point against the best one: what is proved leaves at least the difference between them open."""
    kept = 0
    for seed in range(20):
        batch = make_batch(seed, 2, 3, preference="cost")
        result = solve_portions(batch.parts, batch.links, prove=False)
        whole = portions._Together(batch.parts, batch.links).stage(0)
        inside = [v for x in batch.inside for v in x]
        worse = first_aim(batch.parts, batch.inside)
        better = first_aim(batch.parts, result.xs)
        if worse <= better * 1.0001:
            continue
        proof = prove_stack(whole, inside, nodes=10)
        assert not proof.closed
        assert proof.gap >= (worse - better) / max(abs(worse), SMALLEST) - 1e-9
        kept += 1
    assert kept >= 5


# ---------------------------------------------------------------- what must not matter


def grown(batch: Batch, k: float) -> Batch:
    """Ferments, limits and stocks times k; what is asked per litre stays."""

    def form(f: Form) -> Form:
        return Form(f.constant * k, f.coefficients, f.volume)

    def ratio(r: Ratio) -> Ratio:
        return Ratio(form(r.numerator), None if r.denominator is None else form(r.denominator))

    parts = []
    for part in batch.parts:
        problem = replace(
            part.problem,
            upper=tuple(u * k for u in part.problem.upper),
            fixed_sums=tuple(s * k for s in part.problem.fixed_sums),
            aims=tuple(Aim(tuple(map(ratio, aim.terms))) for aim in part.problem.aims),
        )
        goals = []
        for goal in part.goals:
            f = k if goal.ratio.denominator is None else 1.0
            value = None if goal.value is None else goal.value * f
            goals.append(
                replace(
                    goal,
                    ratio=ratio(goal.ratio),
                    low=goal.low * f,
                    high=goal.high * f,
                    value=value,
                    step=goal.step * f,
                )
            )
        parts.append(Part(problem, tuple(goals), part.sums))
    links = tuple(replace(link, lower=link.lower * k, upper=link.upper * k) for link in batch.links)
    inside = tuple(tuple(v * k for v in x) for x in batch.inside)
    return Batch(tuple(parts), links, inside)


@pytest.mark.parametrize("k", [0.1, 0.5, 3.0, 20.0])
def test_k_times_the_batch_is_k_times_the_amounts(k: float) -> None:
    for seed in range(8):
        batch = make_batch(seed, 3, 4)
        plain = solve_portions(batch.parts, batch.links, prove=False)
        large = solve_portions(grown(batch, k).parts, grown(batch, k).links, prove=False)
        assert large.outcome is plain.outcome
        a, b = first_aim(batch.parts, plain.xs), first_aim(batch.parts, [[v / k for v in x] for x in large.xs])
        assert b == pytest.approx(a, rel=1e-6, abs=1e-8)
        for x, y in zip(plain.xs, large.xs, strict=True):
            assert [v / k for v in y] == pytest.approx(x, rel=1e-4, abs=1e-5)


def test_the_order_of_drinks_and_links_does_not_matter() -> None:
    for seed in range(12):
        batch = make_batch(seed, 4, 4)
        order = list(range(4))
        random.Random(seed).shuffle(order)
        place = {k: new for new, k in enumerate(order)}
        links = [
            replace(link, terms=tuple((place[k], j, f) for k, j, f in reversed(link.terms)))
            for link in reversed(batch.links)
        ]
        a = solve_portions(batch.parts, batch.links, prove=False)
        b = solve_portions([batch.parts[k] for k in order], links, prove=False)
        assert b.xs == tuple(a.xs[k] for k in order)


def test_how_a_link_is_written_does_not_matter() -> None:
    """Another unit for the stock, or a term in two halves."""
    for seed in range(8):
        batch = make_batch(seed, 3, 4)
        other = tuple(
            Link(
                link.name,
                tuple((k, j, 125.0 * f) for k, j, f in (*link.terms, *link.terms)),
                250.0 * link.lower,
                250.0 * link.upper,
            )
            for link in batch.links
        )
        a = solve_portions(batch.parts, batch.links, prove=False)
        b = solve_portions(batch.parts, other, prove=False)
        for x, y in zip(a.xs, b.xs, strict=True):
            assert y == pytest.approx(x, abs=1e-6)


def test_a_lot_that_must_be_used_up_is() -> None:
    """The links of a shared ferment as equalities: all of it goes into the drinks."""
    met = 0
    for seed in range(12):
        batch = make_batch(seed, 2, 4, lot=True, room=1.0)
        taken = sum(f * batch.inside[k][j] for k, j, f in batch.links[0].terms)
        links = (replace(batch.links[0], lower=taken, upper=taken), *batch.links[1:])
        result = solve_portions(batch.parts, links, prove=False)
        assert_met(replace(batch, links=links), result)
        assert sum(f * result.xs[k][j] for k, j, f in links[0].terms) == pytest.approx(taken, abs=1e-9)
        met += 1
    assert met == 12


# ---------------------------------------------------------------- what is refused, and what ends early


def test_packs_and_misfits_are_refused() -> None:
    batch = make_batch(1, 2, 3)
    packed = replace(batch.parts[0], problem=replace(batch.parts[0].problem, whole=(1.0, 0.0, 0.0, 0.0)))
    with pytest.raises(InputError, match="packs"):
        solve_portions([packed, batch.parts[1]], batch.links)
    with pytest.raises(InputError, match="at least one drink"):
        solve_portions([], [])
    with pytest.raises(SolverError, match="does not exist"):
        solve_portions(batch.parts, [Link("honey", ((2, 0, 1.0),), 0.0, 1.0)])
    with pytest.raises(SolverError, match="does not exist"):
        solve_portions(batch.parts, [Link("honey", ((0, 9, 1.0),), 0.0, 1.0)])
    fewer = replace(batch.parts[0], problem=replace(batch.parts[0].problem, aims=batch.parts[0].problem.aims[:1]))
    with pytest.raises(SolverError, match="the same aims"):
        solve_portions([fewer, batch.parts[1]], batch.links)


def test_links_that_no_amounts_keep_to_are_a_clash_without_amounts() -> None:
    batch = make_batch(1, 2, 3)
    more = sum(p.problem.upper[0] for p in batch.parts) + 1.0
    result = solve_portions(batch.parts, [Link("all of it", ((0, 0, 1.0), (1, 0, 1.0)), more, inf)])
    assert (result.outcome, result.verdict) == (Outcome.CLASH, Verdict.PROVED_IMPOSSIBLE)
    assert result.xs == ()


def test_the_deadline_ends_proofs_but_not_the_answer() -> None:
    batch = make_batch(1, 4, 6)
    result = solve_portions(batch.parts, batch.links, deadline_s=0.0)
    assert_met(batch, result)
    assert result.verdict is Verdict.BEST_FOUND
    assert result.milliseconds < 2000.0


def test_without_a_proof_there_is_no_clash(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stock too small by half, and proofs that never close: no plan found, never a clash."""
    batch = make_batch(3, 2, 3, room=1.0)
    links = [replace(link, upper=0.2 * link.upper) for link in batch.links]
    assert solve_portions(batch.parts, links).outcome is Outcome.CLASH
    monkeypatch.setattr(portions, "prove_stack", lambda *_, **__: stack_proof.StackProof(False, inf, 1))
    result = solve_portions(batch.parts, links)
    assert result.outcome is Outcome.NOT_FOUND
    assert result.verdict is Verdict.BEST_FOUND


def test_a_search_that_finds_no_vertex_still_ends_at_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first searches pretend to be lost at the known point: the descent reaches the same preference."""
    real, lost = stack.stationary, [True]

    def pretend(whole: stack.Stack, *arguments: object, **options: object) -> Settled:
        if lost[0] and len(whole.flat.rows) == rows:
            lost[0] = False
            return Settled(LocalStatus.LOST, inside)
        return real(whole, *arguments, **options)  # type: ignore[arg-type]

    tried = 0
    for seed in range(12):
        batch = make_batch(seed, 2, 4, room=1.02)
        alone = singly(batch.parts)
        plain = solve_together(batch.parts, batch.links, alone, prove=False)
        rows = len(portions._Together(batch.parts, batch.links).stage(0).flat.rows)
        inside = tuple(v for x in batch.inside for v in x)
        lost[0] = True
        with monkeypatch.context() as patched:
            patched.setattr(stack, "stationary", pretend)
            patched.setattr(portions, "search_favouring_each", lambda _, x, **__: tuple(x))
            again = solve_together(batch.parts, batch.links, alone, prove=False)
        tried += not lost[0]
        assert_met(batch, again)
        a, b = first_aim(batch.parts, plain.xs), first_aim(batch.parts, again.xs)
        assert b <= a + allowance(a, 2e-6)
    assert tried == 12
