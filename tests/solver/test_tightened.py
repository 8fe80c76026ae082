"""Bounds of amounts that a single row moves in: whatever meets the row stays inside them, or a proof would be false.

No published source: amounts are drawn, half of them in what was cut off, and the row itself is the judge.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from service.physics.mixture import volume_ml, volume_sums
from service.physics.solutes import Component
from service.solver import proof
from service.solver.local import is_liquid
from service.solver.problem import Problem, volume_at
from service.solver.proof import tightened
from tests.solver.cases import held
from tests.solver.instances import make


def drawn(problem: Problem, closer: Problem, rng: random.Random) -> list[float]:
    """Amounts within the first bounds, at times at one of them, at times just beyond what was moved in."""
    share = 10.0 ** rng.uniform(-4.0, 0.0)
    pairs = list(zip(problem.lower, problem.upper, strict=True))
    x = [a + (b - a) * rng.choice((0.0, 0.0, 1.0, rng.random() * share, rng.random())) for a, b in pairs]
    j = rng.randrange(len(pairs))
    if closer.upper[j] < problem.upper[j] and rng.random() < 0.5:
        x[j] = closer.upper[j] + (problem.upper[j] - closer.upper[j]) * 10.0 ** rng.uniform(-9.0, 0.0)
    if closer.lower[j] > problem.lower[j] and rng.random() < 0.5:
        x[j] = closer.lower[j] - (closer.lower[j] - problem.lower[j]) * 10.0 ** rng.uniform(-9.0, 0.0)
    return x


@pytest.mark.parametrize("size", [2, 3, 6])
def test_what_meets_a_row_is_not_cut_off(size: int) -> None:
    rng = random.Random(size)
    met = moved = 0
    for seed in range(12):
        problem = held(make(seed, size))
        problem = replace(problem, upper=tuple(8.0 * u for u in problem.upper))
        for row in problem.rows:
            alone = replace(problem, rows=(row,))
            closer = tightened(alone)
            moved += (closer.lower, closer.upper) != (alone.lower, alone.upper)
            for _ in range(60):
                x = drawn(alone, closer, rng)
                if not is_liquid(problem.sums_at(x)):
                    continue
                if row.lower <= row.form.at(x, volume_at(problem, x)) <= row.upper:
                    met += 1
                    inside = all(a <= v <= b for a, v, b in zip(closer.lower, x, closer.upper, strict=True))
                    assert inside, (seed, row, x)
    assert met > 200
    assert moved > 10


def test_all_rows_together_move_bounds_at_least_as_far_as_each() -> None:
    for seed in range(10):
        problem = held(make(seed, 6))
        together = tightened(problem)
        for row in problem.rows:
            alone = tightened(replace(problem, rows=(row,)))
            assert all(t <= a for t, a in zip(together.upper, alone.upper, strict=True))
            assert all(t >= a for t, a in zip(together.lower, alone.lower, strict=True))


@pytest.mark.parametrize("component", list(Component))
@pytest.mark.parametrize("share", [0.02, 0.2, 0.5, 0.9])
def test_a_gram_takes_between_the_least_and_the_most_room(component: Component, share: float) -> None:
    """With water and with a strong spirit: what a bound on the volume says of the masses in it."""
    for rest in ({Component.WATER: 1.0}, {Component.WATER: 0.2, Component.ETHANOL: 0.8}):
        mixture = {name: (1.0 - share) * mass for name, mass in rest.items()}
        mixture[component] = mixture.get(component, 0.0) + share
        if not is_liquid(volume_sums(mixture)):
            continue
        assert proof._LEAST_ML_PER_G <= volume_ml(mixture) <= proof._MOST_ML_PER_G
