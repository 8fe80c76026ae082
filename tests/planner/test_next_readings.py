"""What to expect of the next readings: the prediction's interval, widened by what the instrument itself errs by."""

from __future__ import annotations

from math import hypot
from typing import Any

import pytest

from service.api.command import table
from tests.api.real import forecast, plan

Z_90 = 1.645
"""Half width of the central 90 % of a normal law in standard deviations (any table of the normal distribution)."""

LOT = {
    "name": "base",
    "volume": "10 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.4,
}
RECIPE = {"name": "r", "lots": [LOT], "additions": [{"ingredient": "honey", "amount": "500 g"}]}
WORDS = {
    "gravity": "read the gravity",
    "volume": "read the volume",
    "titratable_acidity": "titrate a",
    "ph": "read the pH",
}


def told(answer: dict[str, Any]) -> dict[str, dict[str, Any]]:
    """The readings of a blend that are foretold, by property."""
    found = [r for r in answer["next_reading"] if r["expect"] is not None]
    return {name: next(r for r in found if words in r["do"]) for name, words in WORDS.items()}


def half_widths(answer: dict[str, Any], name: str) -> tuple[float, float]:
    predicted = answer["recipes"][0]["predicted"][name]
    return predicted["value"] - predicted["low"], predicted["high"] - predicted["value"]


@pytest.mark.parametrize(
    ("name", "error", "step"),
    [("gravity", 0.001, 1e-4), ("volume", 0.2068, 0.01), ("titratable_acidity", 0.0968, 0.01), ("ph", 0.05, 0.01)],
)
def test_half_widths_of_the_drink_and_of_the_instrument_add_up_as_squares(name: str, error: float, step: float) -> None:
    """Errors of the default instruments (common practice, no source): 0.001 SG, 2 % of 10.34 L, 2 % of 4.84 g/L, 0.05
    pH."""
    answer = forecast({"recipes": [RECIPE]})
    reading = told(answer)[name]
    below, above = half_widths(answer, name)
    assert reading["expect"] - reading["low"] == pytest.approx(hypot(below, Z_90 * error), abs=1.6 * step)
    assert reading["high"] - reading["expect"] == pytest.approx(hypot(above, Z_90 * error), abs=1.6 * step)
    assert reading["expect"] == pytest.approx(answer["recipes"][0]["predicted"][name]["value"], abs=step)


def test_a_reading_at_its_ends_is_within_the_interval_and_beyond_them_is_not() -> None:
    low, high = (told(forecast({"recipes": [RECIPE]}))["gravity"][end] for end in ("low", "high"))
    for gravity, within in ((low + 1e-4, True), (high - 1e-4, True), (low - 1e-4, False), (high + 1e-4, False)):
        answer = forecast({"recipes": [{**RECIPE, "measured": {"gravity": gravity}}]})
        (against,) = answer["recipes"][0]["against_readings"]
        assert against["within_interval"] is within, gravity


def test_a_poor_hydrometer_reads_wider() -> None:
    poor = told(forecast({"recipes": [RECIPE], "instruments": {"hydrometer": {"error": 0.005}}}))["gravity"]
    good = told(forecast({"recipes": [RECIPE], "instruments": {"hydrometer": {"error": 0.0005}}}))["gravity"]
    assert poor["high"] - poor["low"] > 4.0 * (good["high"] - good["low"])
    assert poor["expect"] == good["expect"]


def test_several_recipes_and_portions_tell_what_each_may_read() -> None:
    many = forecast({"recipes": [RECIPE, {**RECIPE, "name": "s", "additions": []}]})
    for reading, recipe in zip(many["next_reading"], many["recipes"], strict=True):
        assert reading["do"].startswith(f"{recipe['name']}: ")
        assert reading["low"] < recipe["predicted"]["gravity"]["low"] < reading["expect"]
        assert reading["expect"] < recipe["predicted"]["gravity"]["high"] < reading["high"]
    portions = [
        {"name": name, "volume": "3 L", "targets": {"gravity": g}} for name, g in (("dry", 1.002), ("sweet", 1.012))
    ]
    lot = {**LOT, "use": {"max": "10 L"}}
    split = plan({"lots": [lot], "additions": [{"ingredient": "honey"}], "portions": portions})
    after = [r for r in split["next_reading"] if r["expect"] is not None]
    assert [r["expect"] for r in after] == [1.002, 1.012]
    assert all(r["low"] < r["expect"] < r["high"] for r in after)
    assert "1.012 SG 20/20 (" in " ".join(table(split).split())


def test_a_plan_and_a_forecast_of_it_expect_the_same() -> None:
    by_plan = told(plan({"lots": [LOT], "additions": RECIPE["additions"], "targets": {"gravity": {"min": 0.9}}}))
    assert by_plan == told(forecast({"recipes": [RECIPE]}))
