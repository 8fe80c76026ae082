"""Figures and readings that cannot all be true are refused or told, each beside the like of it that is taken."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import PATHS, app, codes, post

DRINK: dict[str, Any] = {"volume": "20 L", "gravity": 1.012, "abv_percent": 6.5, "sugar_g_per_l": 50, "ph": 3.2}


@pytest.mark.parametrize("operation", ["plan_packaging", "plan_fining"])
@pytest.mark.parametrize(
    ("told", "pointer", "taken"),
    [
        ({"abv_percent": {"value": 6.5, "low": 6.4, "high": 200}}, "/drink/abv_percent", {"abv_percent": 6.6}),
        ({"ph": {"value": 3.2, "high": 1e308}}, "/drink/ph", {"ph": {"value": 3.2, "high": 3.4}}),
        (
            {"fermentable_sugar_g_per_l": {"value": 50, "low": 5, "high": 200}},
            "/drink/fermentable_sugar_g_per_l",
            {"fermentable_sugar_g_per_l": {"value": 48, "low": 40, "high": 52}},
        ),
        ({"sugar_g_per_l": 290}, "/drink/sugar_g_per_l", {"sugar_g_per_l": 56}),
        ({"gravity": 0.98, "sugar_g_per_l": 1}, "/drink/gravity", {"gravity": 0.995, "sugar_g_per_l": 1}),
    ],
)
def test_figures_of_a_drink_fit(operation: str, told: Any, pointer: str, taken: Any) -> None:
    refused = post(
        PATHS[operation],
        {"drink": {**DRINK, **told}, "haze": "keep"} if operation == "plan_fining" else {"drink": {**DRINK, **told}},
        422,
    )
    assert [error["pointer"] for error in refused["errors"]] == [pointer]
    body: dict[str, Any] = {"drink": {**DRINK, **taken}}
    post(PATHS[operation], {**body, "haze": "keep"} if operation == "plan_fining" else body)


def test_a_tanker_is_counted_beyond_sixty_four_bits() -> None:
    """930,000 L in units of 1e-10 mL are 9.3e18; the larger size fills it but for less than one of the smaller."""
    asked = {
        "drink": {**DRINK, "volume": "930000 L"},
        "containers": [{"kind": "bottle", "fill": "12 fl oz"}, {"kind": "bottle", "fill": "330 mL"}],
        "only": ["fills"],
    }
    found = post(PATHS["plan_packaging"], asked)
    assert 930e3 - 0.33 < found["filled_l"] <= 930e3 * (1.0 + 2e-9)


def test_a_stated_strength_is_held_against_two_gravities() -> None:
    read = {"hydrometer": 1.0, "original_gravity": 1.05}
    assert "strengths_disagree" in codes(post(PATHS["interpret_readings"], {**read, "abv_percent": 15}))
    assert "strengths_disagree" not in codes(post(PATHS["interpret_readings"], {**read, "abv_percent": 6.6}))


def test_one_day_has_one_gravity() -> None:
    def series(second: float) -> dict[str, Any]:
        return {"series": [{"date": "2026-02-21", "gravity": 0.998}, {"date": "2026-02-21", "gravity": second}]}

    refused = post(PATHS["interpret_readings"], series(1.05), 422)
    assert [error["pointer"] for error in refused["errors"]] == ["/series/1"]
    post(PATHS["interpret_readings"], series(0.9985))


def test_a_syrup_is_fined_and_not_handed_to_the_bottling() -> None:
    def handed(honey: str) -> set[str]:
        lot = {"name": "base", "volume": "10 L", "gravity": 0.998, "abv_percent": 8.0}
        additions = [{"ingredient": "honey_acacia", "amount": honey}]
        return set(post(PATHS["plan_fining"], {"haze": "keep", "lots": [lot], "additions": additions})["next"])

    assert "plan_packaging" in handed("1 kg")
    assert "plan_packaging" not in handed("9 kg")


@pytest.mark.parametrize(
    ("question", "told", "pointer"),
    [
        ("keg-pressure?volumes=2&abv_percent=6.5&sugar_g_per_l=60&temperature=", "4 C", "/temperature"),
        ("mass-from-volume?ingredient=honey&unit=g&volume=", "1 L", "/volume"),
        ("volume-from-mass?ingredient=honey&unit=mL&mass=", "1 kg", "/mass"),
        ("gravity-from-reading?reading=1.012&sample_temperature=", "25 C", "/sample_temperature"),
    ],
)
def test_a_cell_ignores_no_error(question: str, told: str, pointer: str) -> None:
    address = f"/v1/cell/{question}{told.replace(' ', '+')}"
    assert app().get(address).status_code == 200
    refused = app().get(f"{address}+%C2%B1+{told.split()[0]}+{told.split()[1]}")
    assert refused.status_code == 422
    assert pointer in refused.text


def test_a_size_that_is_left_empty_says_how_to_have_it_filled() -> None:
    """6 gal are 64 bottles of 12 fl oz exactly; with one keg of 5 gal 8 fl oz would be left (arithmetic)."""
    keg, bottle = {"kind": "keg", "fill": "5 gal"}, {"kind": "beer_bottle", "fill": "12 fl oz"}
    asked = {"drink": {**DRINK, "volume": "6 gal"}, "only": ["fills"]}
    left = post(PATHS["plan_packaging"], {**asked, "containers": [keg, bottle]})["fills"]
    assert [one["count"] for one in left] == [0, 64]
    assert "state its count" in left[0]["text"]
    filled = post(PATHS["plan_packaging"], {**asked, "containers": [{**keg, "count": 1}, bottle]})["fills"]
    assert [one["count"] for one in filled] == [1, 10]
    assert "state its count" not in filled[0]["text"]
