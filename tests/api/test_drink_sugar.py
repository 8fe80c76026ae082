"""A drink whose sugar does not fit is refused at its place; what answers hand on always fits."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.api.real import PATHS, app, patient, post

DRINK: dict[str, Any] = {"volume": "20 L", "gravity": 1.010, "abv_percent": 6.5, "sugar_g_per_l": 40, "ph": 3.2}
BESIDES: dict[str, dict[str, Any]] = {
    "plan_packaging": {"containers": [{"kind": "beer_bottle", "fill": "330 mL"}]},
    "plan_fining": {"haze": "clear"},
}


@pytest.mark.parametrize("operation", sorted(BESIDES))
@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"gravity": 1.030, "sugar_g_per_l": 1}, "/drink/sugar_g_per_l"),
        ({"sugar_g_per_l": 100, "fermentable_sugar_g_per_l": 0}, "/drink/fermentable_sugar_g_per_l"),
        ({"sugar_g_per_l": 1, "gravity": 0.998}, "/drink/sugar_g_per_l"),
    ],
)
def test_refusals_point_at_the_sugar(operation: str, change: dict[str, Any], pointer: str) -> None:
    drink = {**DRINK, **change, "holds": [{"ingredient": "honey", "g_per_l": 90}]}
    if change.get("gravity") == 1.030:
        del drink["holds"]
    response = app().post(PATHS[operation], json={"drink": drink, **BESIDES[operation]})
    assert response.status_code == 422
    (error,) = response.json()["errors"]
    assert error["pointer"] == pointer
    assert "correct" in error["detail"] or "Check" in error["detail"]
    post(PATHS[operation], {"drink": DRINK, **BESIDES[operation]})


def _blend(**addition: Any) -> dict[str, Any]:
    lot = {"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8, "class": "mead"}
    return post(
        PATHS["solve_blend"],
        {"lots": [lot], "additions": [addition], "targets": {"abv_percent": {"min": 3, "max": 8}}},
        client=patient(),
    )


@pytest.mark.parametrize("operation", ["plan_fining", "plan_packaging"])
def test_an_ingredient_unlike_its_row_goes_on_without_its_amount(operation: str) -> None:
    """A concentrate of 22 °Bx holds half the sugar of its row: the row's amount would contradict the drink's sugar."""
    thin = _blend(ingredient="orange_concentrate", amount="6 kg", measured={"brix": 22})
    call = thin["next"][operation]
    assert call["request"]["drink"]["holds"] == [{"ingredient": "orange_juice_concentrate_frozen"}]
    post(call["path"], copy.deepcopy(call["request"]), client=patient())
    usual = _blend(ingredient="orange_concentrate", amount="6 kg", measured={"brix": 42})
    assert "g_per_l" in usual["next"][operation]["request"]["drink"]["holds"][0]


def test_solids_that_no_row_tells_leave_the_gravity_behind() -> None:
    """An ingredient of the caller's own, all polyols: 125 g/L that are no sugar, in a drink of no sugar."""
    solids = {"name": "sweetener", "components_g_per_100g": {"polyols": 100}}
    sweet = _blend(composition=solids, amount="2.5 kg")
    call = sweet["next"]["plan_packaging"]
    assert "gravity" not in call["request"]["drink"]
    assert "/drink/gravity" not in call["replace"]
    post(call["path"], copy.deepcopy(call["request"]), client=patient())
    little = _blend(composition=solids, amount="200 g")
    assert "gravity" in little["next"]["plan_packaging"]["request"]["drink"]


def test_a_gravity_that_belies_the_sugar_is_handed_on_alone() -> None:
    asked = {
        "volume_at_dosing": "20 L",
        "ph": 3.3,
        "abv_percent": 8,
        "class": "mead",
        "readings": [{"gravity": 1.030, "date": "2026-03-01"}, {"gravity": 1.030, "date": "2026-03-12"}],
    }
    for sugar, told in ((1, False), (95, True)):
        call = post(PATHS["plan_stabilising"], {**asked, "sugar_g_per_l": sugar})["next"]["plan_packaging"]
        assert ("fermentable_sugar_g_per_l" in call["request"]["drink"]) == told
        assert call["request"]["drink"]["gravity"] == 1.030
        post(call["path"], copy.deepcopy(call["request"]))
