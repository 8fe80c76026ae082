"""Bodies of the next questions: what was said goes along, and what is read back is what was handed on."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

import pytest

from service.api.reading import Reader
from service.api.reading_blend import forecast_from, plan_from
from service.api.reading_circumstances import circumstances_from
from service.api.reading_drink import drink_from
from service.api.requests import Common
from service.api.requests_blend import BlendForecastRequest, BlendPlanRequest
from service.api.requests_drink import OfADrink
from service.catalogue.lookup import find_ingredients
from service.model.lot_class import LotClass
from service.planner.answers import Predicted
from service.planner.asked import Circumstances, Echo
from service.planner.blend_forecast import forecast_blend
from service.planner.blend_plan import solve_blend
from service.planner.drink import NORMAL_90, Drink, Span
from service.planner.hand_over import circumstances_body, lot_body, mass_in, volume_in
from service.planner.next_of_blend import level_body, target_body
from service.quantities import Kind, parse_quantity
from tests.api.real import BASE, PATHS, app, changed, example

TOLD: dict[str, Any] = {
    "batch": "orchard 7",
    "units": "us",
    "currency": "EUR",
    "instruments": {
        "hydrometer": {"error": 0.0005, "calibrated_at": "60 F"},
        "ph_meter": {"error": 0.02},
        "scale": {"step": "5 g"},
        "jug": {"step": "2 fl oz"},
        "volume": {"error": "1 %"},
        "titration": {"error": "3 %"},
        "refractometer": {"error": 0.1},
        "strength": {"error": 0.1},
    },
    "intended": {"container": "keg", "storage_temperature": "41 F", "hurdles": ["cold", "sulfite"], "vessel": "6 gal"},
}
IDS = [ingredient.id for ingredient in find_ingredients()]


def circumstances(body: dict[str, Any]) -> Circumstances:
    reader = Reader()
    _, build = circumstances_from(Common.model_validate(body), reader)
    reader.finish()
    return build()


def drink_of(body: dict[str, Any]) -> Drink:
    reader = Reader()
    given = OfADrink.model_validate({k: v for k, v in body.items() if k not in ("haze", "losses")})
    instruments, build = circumstances_from(given, reader)
    return drink_from(given, instruments, build(), reader, volume_needed=True)


def test_what_was_said_of_the_circumstances_goes_along() -> None:
    said = circumstances(TOLD)
    again = circumstances(circumstances_body(said, priced=True))
    for name in ("system", "currency", "echo"):
        assert getattr(again, name) == getattr(said, name), name
    assert again.instruments.given == said.instruments.given
    for tools in ("scale_step_g", "jug_step_ml", "hydrometer_error", "volume_error_percent", "ph_meter_error"):
        assert getattr(again.instruments, tools) == pytest.approx(getattr(said.instruments, tools), rel=1e-6), tools
    for tools in ("titration_error_percent", "refractometer_error_brix", "strength_error_percent"):
        assert getattr(again.instruments, tools) == pytest.approx(getattr(said.instruments, tools)), tools
    assert again.instruments.hydrometer_calibrated_at_c == pytest.approx(15.5556, abs=1e-4)  # 60 °F
    assert (again.intended.container, again.intended.hurdles) == ("keg", ("cold", "sulfite"))
    assert again.intended.storage_temperature_c == pytest.approx(5.0)
    assert again.intended.vessel_l == pytest.approx(6 * 3.785411784, rel=1e-5)  # NIST Handbook 44: gallon
    assert "currency" not in circumstances_body(said)


def test_what_was_not_said_does_not_go_along() -> None:
    assert circumstances_body(Circumstances()) == {"units": "metric"}
    echo = Circumstances(echo=Echo("a", "2026-03-14", "a note of that day"))
    assert circumstances_body(echo) == {"batch": "a", "units": "metric"}


@pytest.mark.parametrize(("litres", "mass_g"), [(20.0, 612.5), (0.25, 3.0), (1234.5, 75_000.0)])
@pytest.mark.parametrize("system", ["metric", "us", "imperial"])
def test_amounts_are_written_as_they_are_read(litres: float, mass_g: float, system: Any) -> None:
    volume = parse_quantity(volume_in(litres, system), {Kind.VOLUME}, liquid=True)
    assert volume.value_base == pytest.approx(1000.0 * litres, rel=1e-5)
    mass = parse_quantity(mass_in(mass_g, system), {Kind.MASS})
    assert mass.value_base == pytest.approx(mass_g, rel=1e-6)
    if system == "imperial":  # what is imperial has no other name
        assert volume.system == "imperial"


def test_a_drink_is_read_back_as_it_was_predicted() -> None:
    plan = solve_blend(plan_from(BlendPlanRequest.model_validate(example("solve_blend", "01")), 10.0))
    drink = drink_of(plan.next["plan_packaging"].request)
    told = plan.predicted
    for name in ("abv_percent", "sugar_g_per_l", "fermentable_sugar_g_per_l"):
        span, prediction = getattr(drink, name), getattr(told, name)
        assert span == Span(prediction.value, prediction.low, prediction.high), name
    assert drink.volume_l is not None
    assert drink.volume_l.value == pytest.approx(told.volume.value, rel=1e-5)
    assert drink.volume_l.high == pytest.approx(told.volume.high, rel=3e-3)
    assert told.ph is not None
    assert drink.ph == Span(told.ph.value, told.ph.low, told.ph.high)
    assert drink.titratable_meq_per_l == pytest.approx(told.titratable_acidity.meq_per_l, rel=1e-3)
    assert (drink.juice_percent, drink.citrus_percent) == (told.juice_percent.value, told.citrus_percent.value)
    assert {held.ingredient.id for held in drink.holds} == {
        a.name for a in plan.amounts if a.kind == "addition" and a.mass_g > 0.0
    }


def test_a_lot_is_read_back_as_the_drink_it_was() -> None:
    def predicted(body: dict[str, Any]) -> Predicted:
        return forecast_blend(forecast_from(BlendForecastRequest.model_validate(body))).recipes[0].predicted

    before = predicted(example("forecast_blend", "01"))
    lot = lot_body(before, Circumstances(), "drink", LotClass.MEAD)
    after = predicted({"recipes": [{"name": "again", "lots": [lot]}]})
    for name, most in (("gravity", 6e-5), ("abv_percent", 1e-3), ("titratable_acidity", 5e-3), ("volume", 1e-3)):
        assert getattr(after, name).value == pytest.approx(getattr(before, name).value, abs=most), name
    # three digits of an error read off one interval
    assert after.volume.high - after.volume.low == pytest.approx(before.volume.high - before.volume.low, rel=0.02)
    assert after.volume.high - after.volume.value == pytest.approx(
        NORMAL_90 * float(lot["volume"].split("±")[1].split()[0]), rel=0.02
    )


@pytest.mark.parametrize(
    ("name", "target"),
    [
        ("gravity", {"min": 1.01, "max": 1.014}),
        ("gravity", {"value": 1.012, "tolerance": 0.002}),
        ("titratable_acidity", {"value": "7 g/L tartaric", "tolerance": "0.3 g/L tartaric"}),
        ("titratable_acidity", {"max": "7 g/L tartaric", "priority": 2}),
        ("volume", {"min": "9 L"}),
        ("added_mass", {"max": "500 g"}),
        ("juice_percent", {"min": 2.0, "max": 4.0}),
    ],
)
def test_a_target_is_written_as_it_is_read(name: str, target: dict[str, Any]) -> None:
    asked = plan_from(BlendPlanRequest.model_validate(changed("targets", to={name: target})), 10.0)
    (found,) = asked.targets
    (again,) = plan_from(
        BlendPlanRequest.model_validate(changed("targets", to={name: target_body(found)})), 2.0
    ).targets
    assert again.low == pytest.approx(found.low)
    assert again.high == pytest.approx(found.high)
    assert (again.value, again.priority) == (found.value, found.priority)


def test_a_level_carries_its_unit_only_where_a_target_does() -> None:
    assert level_body("added_volume", 2.5) == "2.5 L"
    assert level_body("ph", 3.3) == 3.3


def test_a_cell_or_a_plan_without_its_request_hands_no_correction_on() -> None:
    asked = plan_from(BlendPlanRequest.model_validate(BASE), 10.0)
    assert "correct_blend" in solve_blend(asked).next
    assert set(solve_blend(replace(asked, sent={})).next) == {"plan_stabilising", "plan_fining", "plan_packaging"}


def drawn(rng: random.Random) -> dict[str, Any]:
    """A recipe of anything in the catalogue, from faint to syrup."""
    litres = 10.0 ** rng.uniform(-0.5, 3.0)
    classes = ["mead", "grape_wine", "fruit_wine", "cider_perry", "citrus_juice", "berry_juice"]
    lots = []
    for k in range(rng.choice([0, 1, 1, 2])):
        kind = rng.choice(classes)
        juice = kind.endswith("juice")
        lot = {
            "name": f"lot {k}",
            "volume": f"{litres:.5g} L",
            "gravity": round(rng.uniform(1.035, 1.055) if juice else rng.uniform(0.994, 1.03), 4),
            "abv_percent": 0.0 if juice else round(rng.uniform(3.0, 15.0), 2),
            "class": kind,
        }
        if rng.random() < 0.5:
            lot["titratable_acidity"] = f"{rng.uniform(3.0, 9.0):.2f} g/L tartaric"
        if rng.random() < 0.4:
            lot["use"] = {"min": f"{0.5 * litres:.5g} L", "max": f"{0.5 * litres:.5g} L"}
        lots.append(lot)
    names = rng.sample(IDS, rng.randint(1, 6))
    additions = [{"ingredient": n, "amount": f"{litres * 10.0 ** rng.uniform(-4.0, -0.3):.5g} kg"} for n in names]
    additions.append({"ingredient": "water_deionised", "amount": f"{litres * rng.uniform(0.05, 1.5):.5g} L"})
    body = {"recipes": [{"name": "any", "lots": lots, "additions": additions}], "batch": "drawn"}
    return body | rng.choice([{}, {"units": "us"}, {"titration_end_point_ph": 7.0}])


def answered(seeds: range) -> dict[str, int]:
    """How many recipes were forecast, and how many of the requests that follow them are answered."""
    seen = {"forecast": 0, "followed": 0}
    for seed in seeds:
        body = drawn(random.Random(seed))
        response = app().post(PATHS["forecast_blend"], json=body)
        assert response.status_code in (200, 422), (seed, response.text)
        if response.status_code == 422:
            continue
        seen["forecast"] += 1
        for operation, call in response.json()["next"].items():
            followed = app().post(call["path"], json=call["request"])
            assert followed.status_code == 200, (seed, operation, call["request"], followed.text)
            seen["followed"] += 1
    return seen


def test_what_follows_any_recipe_is_answered() -> None:
    seen = answered(range(8))
    assert seen["forecast"] >= 5
    assert seen["followed"] >= 3 * seen["forecast"]


@pytest.mark.slow
def test_what_follows_any_recipe_is_answered_at_length() -> None:
    assert answered(range(8, 400))["forecast"] >= 200
