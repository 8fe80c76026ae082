"""The acids of a row of the catalogue are inferred once in a process, not once for each request."""

from __future__ import annotations

from typing import Any

import pytest

from service.api.reading_blend import plan_from
from service.api.requests_blend import BlendPlanRequest
from service.catalogue import acidity
from service.catalogue.loader import ingredients
from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Acids, Ingredient
from service.model import contents
from service.planner.blend_plan import solve_blend
from tests.api.real import example

ROWS = ["honey_acacia", "cherry_tart_juice_concentrate_68", "lemon_juice_fresh", "water_deionised"]


@pytest.fixture
def inferred(monkeypatch: pytest.MonkeyPatch) -> list[Ingredient]:
    """The ingredients whose acids are inferred while a test runs, from a process that knows none of them yet."""
    seen: list[Ingredient] = []
    infer = acidity.acids_from_figures

    def counted(ingredient: Ingredient) -> Acids:
        seen.append(ingredient)
        return infer(ingredient)

    acidity._of_row.cache_clear()
    contents._of_row.cache_clear()
    monkeypatch.setattr(acidity, "acids_from_figures", counted)
    return seen


def _plan(request: Any) -> Any:
    return solve_blend(plan_from(BlendPlanRequest.model_validate(request), 2.0))


def test_identical_plans_infer_each_row_once(inferred: list[Ingredient]) -> None:
    request = example("solve_blend", "01")
    request["targets"]["ph"] = {"min": 3.0, "max": 3.6}
    assert [addition["ingredient"] for addition in request["additions"]] == ROWS
    first = _plan(request)
    rows = ingredients()
    assert sorted(row.id for row in inferred if rows[row.id] is row) == sorted(ROWS)
    inferred.clear()
    assert _plan(request).amounts == first.amounts
    assert [row.id for row in inferred if rows[row.id] is row] == []


def test_a_row_keeps_its_acids(inferred: list[Ingredient]) -> None:
    row = get_ingredient("orange_juice_fresh")
    assert acidity.acids_per_kg(row) is acidity.acids_per_kg(get_ingredient("orange_juice_fresh"))
    assert inferred == [row]
