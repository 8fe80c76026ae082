"""Invented makers and the service: what it predicts for them, and how often their truth lies inside."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scipy.stats import binom

from tests.api.real import forecast
from tests.oracle.makers import Drink, Maker

PROPERTIES = ("gravity", "abv_percent", "titratable_acidity", "ph", "volume", "sugar_g_per_l")
LEAST, MOST = 0.87, 0.93
"""What a 90 % interval should cover at the least and at the most."""

_RECIPES_AT_ONCE = 10


def forecasts(crowd: Sequence[Maker], recipes: Sequence[Mapping[str, Any]] | None = None) -> list[dict[str, Any]]:
    """What is predicted for each maker's recipe."""
    asked = [maker.recipe() for maker in crowd] if recipes is None else recipes
    found = []
    for at in range(0, len(asked), _RECIPES_AT_ONCE):
        found += forecast({"recipes": list(asked[at : at + _RECIPES_AT_ONCE])})["recipes"]
    return [recipe["predicted"] for recipe in found]


def inside(predicted: Sequence[Mapping[str, Any]], true: Sequence[Drink]) -> dict[str, int]:
    """Of how many makers each property lies in its interval."""
    return {
        name: sum(p[name]["low"] <= drink[name] <= p[name]["high"] for p, drink in zip(predicted, true, strict=True))
        for name in PROPERTIES
    }


def by_chance(count: int, least: float = LEAST, most: float = MOST) -> tuple[int, int]:
    """Counts that a coverage between two shares gives to so many makers, but for one time in a thousand either way."""
    return int(binom.ppf(0.001, count, least)), int(binom.ppf(0.999, count, most))
