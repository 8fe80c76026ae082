"""The optimum inside an edge: found where it is one, refused where another amount would better it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from service.api.reading_blend import plan_from
from service.api.requests_blend import BlendPlanRequest
from service.model.acidity import chemistry_of
from service.planner.asked import PlanAsked
from service.planner.materials import materials_of
from service.planner.numbers import Numbers, likely_blend, numbers_from
from service.solver import stages
from service.solver.edge import stationary_on_edge
from service.solver.local import LocalStatus, stationary_from
from service.solver.problem import Problem, volume_at

# concentrate and water are tied by the gravity; only the curvature of the volume puts the most citrus between them
INSIDE: dict[str, Any] = {
    "lots": [
        {
            "name": "base",
            "volume": "3 L",
            "gravity": 0.9996,
            "abv_percent": 6.0,
            "titratable_acidity": "4 g/L tartaric",
        }
    ],
    "additions": [
        {"ingredient": "orange_juice_concentrate_frozen", "max": "2 kg"},
        {"ingredient": "water_deionised", "max": "5 L"},
        {"ingredient": "lemon_juice_concentrate_400", "max": "200 g"},
    ],
    "targets": {"gravity": 1.0156, "titratable_acidity": {"min": "6 g/L tartaric"}},
    "prefer": [{"maximise": "citrus_percent"}],
}
LEMON = 0  # the columns stand by name


def _numbers(asked: PlanAsked) -> Numbers:
    materials = materials_of(asked.lots, asked.additions)
    near = chemistry_of(likely_blend(materials, asked.targets))
    return numbers_from(materials, asked.targets, asked.prefer, near)


@pytest.fixture(name="problems")
def _problems() -> tuple[Problem, Problem, tuple[float, ...]]:
    """Without the lemon, with it, and a likely state."""
    asked = plan_from(BlendPlanRequest.model_validate(INSIDE), 10.0)
    numbers = _numbers(asked)
    assert numbers.materials[numbers.free[LEMON]].name == "lemon_juice_concentrate_400"
    references = [stages.typical_divisor(g.ratio, numbers.problem, numbers.start) for g in numbers.goals]
    rows = stages.range_rows(numbers.goals, references, at_value=True)
    with_lemon = replace(numbers.problem, rows=(*rows, *numbers.problem.rows))
    upper = tuple(0.0 if j == LEMON else u for j, u in enumerate(with_lemon.upper))
    return replace(with_lemon, upper=upper), with_lemon, numbers.start


def test_between_two_vertices_lies_something_better_than_both(
    problems: tuple[Problem, Problem, tuple[float, ...]],
) -> None:
    without, _, start = problems
    lost = stationary_from(without, start)
    assert lost.status is LocalStatus.LOST
    first, second = lost.stops
    inside = stationary_on_edge(without, first, second)
    assert inside is not None
    aim = without.aims[0]
    best = aim.at(inside.x, volume_at(without, inside.x))
    for stop in (first, second):
        assert best < aim.at(stop.x, volume_at(without, stop.x))


def test_an_edge_beside_something_better_is_no_optimum(problems: tuple[Problem, Problem, tuple[float, ...]]) -> None:
    without, with_lemon, start = problems
    first, second = stationary_from(without, start).stops
    assert stationary_on_edge(with_lemon, first, second) is None
