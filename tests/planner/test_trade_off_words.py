"""What a trade-off says in words holds for its points. The drink is invented; the limits are those of the request."""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from service.planner.plain_words import plain_names
from tests.api.real import patient, post

LOT = {
    "name": "dry base",
    "volume": "24 L",
    "gravity": 0.998,
    "abv_percent": 8.1,
    "titratable_acidity": "4.6 g/L tartaric",
    "ph": 3.42,
}
REQUEST: dict[str, Any] = {
    "lots": [LOT],
    "additions": [
        {"ingredient": "orange_juice_concentrate_frozen", "max": "4 kg"},
        {"ingredient": "lemon_juice_fresh", "max": "1.5 L", "treatment": "pasteurised"},
        {"ingredient": "cherry_tart_juice_concentrate_68", "max": "2 kg"},
        {"ingredient": "honey_acacia", "max": "3 kg"},
        {"ingredient": "water_deionised", "max": "5 L"},
    ],
    "targets": {
        "abv_percent": {"min": 6.2, "max": 7.2},
        "titratable_acidity": {"max": "9 g/L tartaric"},
        "volume": {"max": "32 L"},
    },
    "x": "sucrose_equivalent_g_per_l",
    "y": "citrus_percent",
}


@cache
def answer() -> dict[str, Any]:
    return post("/v1/trade-offs", REQUEST, client=patient())


def level(words: str) -> float:
    """The level of the one breakpoint that says so."""
    (found,) = [change["x"] for change in answer()["breakpoints"] if words in change["text"]]
    return float(found)


def along(low: float, high: float) -> list[dict[str, Any]]:
    points = [point for point in answer()["points"] if low < point["x"] < high]
    assert points
    return points


def grams(point: dict[str, Any], name: str) -> float:
    return float(next(amount["mass_g"] for amount in point["amounts"] if amount["name"] == name))


def test_a_limit_holds_from_where_it_is_reached_until_it_no_longer_does() -> None:
    reached = level("the lower strength limit (6.2 % vol) is reached.")
    left = level("the lower strength limit (6.2 % vol) no longer holds it back.")
    for point in along(reached, left):
        assert point["predicted"]["abv_percent"]["value"] == pytest.approx(6.2, abs=0.005)
    for point in (*along(0.0, reached), *along(left + 0.1, 999.0)):
        assert point["predicted"]["abv_percent"]["value"] > 6.2
    sour = level("the upper acidity limit (9 g/L tartaric) is reached.")
    for point in answer()["points"]:
        at_limit = abs(point["predicted"]["titratable_acidity"]["value"] - 9.0) < 0.01
        assert at_limit == (point["x"] > sour)


def test_what_is_used_up_is_used_up_until_it_is_cut_back() -> None:
    used, cut = (
        level("all the lemon juice is used, and orange concentrate comes in"),
        level("the lemon juice is cut back"),
    )
    most = max(grams(point, "lemon_juice_fresh") for point in answer()["points"])
    for point in answer()["points"]:
        full = grams(point, "lemon_juice_fresh") == pytest.approx(most, abs=1.0)
        assert full == (used < point["x"] < cut)
        assert (grams(point, "orange_juice_concentrate_frozen") > 0.0) == (point["x"] > used)


def test_what_is_replaced_is_gone() -> None:
    here = level("From here acacia honey replaces water.")
    for point in answer()["points"]:
        if abs(point["x"] - here) > 0.1:
            assert (grams(point, "honey_acacia") > 0.0) == (point["x"] > here)
            assert (grams(point, "water_deionised") > 0.0) == (point["x"] < here)


def test_the_ends_and_the_summary_say_what_the_points_are() -> None:
    points, high = answer()["points"], answer()["ends"][1]["text"]
    assert high.startswith("No higher: all the acacia honey and all the orange concentrate are used, and the upper")
    assert grams(points[-1], "honey_acacia") == pytest.approx(3000.0, abs=1.0)
    assert grams(points[-1], "orange_juice_concentrate_frozen") == pytest.approx(4000.0, abs=1.0)
    best = max(points, key=lambda point: point["y"])
    told = answer()["summary"]
    assert told.startswith("As sweetness rises from ")
    assert f"to {best['y']:.1f} % at {best['x']:.1f} g/L (point {points.index(best) + 1}), then falls to " in told


@pytest.mark.parametrize(
    ("names", "plain"),
    [
        (("honey_orange_blossom", "sugar_raw_cane"), ("orange blossom honey", "raw cane sugar")),
        (("cherry_sweet_juice", "grape_must_vinifera"), ("sweet cherry juice", "grape must")),
        (("cranberry_cocktail_concentrate_frozen", "molasses"), ("cranberry cocktail concentrate", "molasses")),
        (("honey_acacia", "honey_acacia 2", "acacia honey"), ("honey acacia", "acacia honey 2", "acacia honey")),
        (("Müller_blend", "my water_tap"), ("Müller blend", "my water tap")),
    ],
)
def test_names_are_those_of_the_cellar(names: tuple[str, ...], plain: tuple[str, ...]) -> None:
    assert tuple(plain_names(names).values()) == plain
