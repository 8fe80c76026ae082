"""Backwards from the finished drink: base, must, blend and shopping close with one another."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.reading_blend import forecast_from
from service.api.requests_blend import BlendForecastRequest
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.planner.blend_forecast import forecast_blend
from service.planner.must.answers import MustPlan
from service.planner.must.answers_finished import BaseNeeded, FinishedDrink
from tests.planner.must_cases import DRINK, backwards, codes, grams


def both(plan: MustPlan) -> tuple[BaseNeeded, FinishedDrink]:
    assert plan.base is not None
    assert plan.finished is not None
    return plan.base, plan.finished


def test_the_start_value_by_volumes_alone() -> None:
    """Computed: 6.0 % wanted of 24 L with 4 L of additions, 7.20 % by volumes alone."""
    four = [{"ingredient": "apple_juice_bottled", "amount": "4 L", "treatment": "pasteurised"}]
    plan = backwards({"additions": four, "targets": {"abv_percent": 6.0, "volume": "24 L"}, "containers": []})
    base, drink = both(plan)
    assert base.start_value_abv_percent == pytest.approx(7.20, abs=0.01)
    assert base.abv_percent == pytest.approx(7.20, abs=0.02)
    assert base.volume_l == pytest.approx(20.0, abs=0.02)
    assert drink.predicted.abv_percent.value == pytest.approx(6.0, abs=1e-3)
    assert drink.predicted.volume.value == pytest.approx(24.0, abs=1e-3)


def test_all_targets_are_met_and_the_bottles_filled() -> None:
    losses = {"lees": "4 %", "racking": "1 %", "settling": "6 %", "dead_volume": "0.3 L", "samples": "0.2 L"}
    plan = backwards({"losses": losses})
    base, drink = both(plan)
    assert (plan.outcome, drink.outcome) == ("targets_met", "targets_met")
    reached = {t.property: t.reached for t in drink.targets}
    assert reached["abv_percent"] == pytest.approx(6.2, abs=1e-3)
    assert reached["gravity"] == pytest.approx(1.012, abs=1e-4)
    assert reached["titratable_acidity"] == pytest.approx(7.0, abs=1e-2)
    assert drink.blended_l == pytest.approx((60 * 0.33 + 0.5) / 0.94, abs=2e-3)
    assert drink.packaged_l == pytest.approx(60 * 0.33, abs=2e-3)
    assert drink.packaged_low_l < drink.packaged_l
    assert base.before_racking_l == pytest.approx(base.volume_l / (0.96 * 0.99), rel=1e-4)
    assert base.must_l == pytest.approx(base.before_racking_l / plan.ferment.volume_ratio, rel=1e-4)
    assert plan.predicted.volume.value == pytest.approx(base.must_l, rel=1e-4)
    assert plan.original_gravity.value == pytest.approx(base.original_gravity, abs=2e-5)
    assert plan.ferment.abv_percent.value == pytest.approx(base.abv_percent, abs=3e-3)
    assert plan.ferment.final_gravity.value == pytest.approx(base.final_gravity, abs=3e-5)


def test_a_forecast_of_the_answer_is_the_drink() -> None:
    """The blend, poured by the general forecast with the base's own readings, is what was asked for."""
    base, drink = both(backwards())
    amounts = grams(drink.amounts)
    body: dict[str, Any] = {
        "recipes": [
            {
                "name": "poured",
                "lots": [
                    {
                        "name": "base",
                        "volume": f"{base.volume_l:.6f} L",
                        "gravity": base.final_gravity,
                        "abv_percent": base.abv_percent,
                    }
                ],
                "additions": [
                    {"ingredient": name, "amount": f"{mass:.6f} g"} for name, mass in amounts.items() if name != "base"
                ],
            }
        ]
    }
    (recipe,) = forecast_blend(forecast_from(BlendForecastRequest.model_validate(body))).recipes
    assert recipe.predicted.abv_percent.value == pytest.approx(6.2, abs=5e-3)
    assert recipe.predicted.gravity.value == pytest.approx(1.012, abs=5e-5)
    assert recipe.predicted.volume.value == pytest.approx(60 * 0.33, abs=5e-3)


@settings(max_examples=12, deadline=None)
@given(st.floats(3.0, 9.0), st.floats(5.0, 60.0), st.floats(0.0, 0.25))
def test_any_strength_volume_and_loss_close(abv: float, litres: float, layer: float) -> None:
    drink_asked = {
        "additions": [{"ingredient": "honey_average"}, {"ingredient": "orange_juice_fresh", "amount": "0.5 L"}],
        "targets": {"abv_percent": round(abv, 3), "gravity": 1.010},
        "containers": [{"fill": f"{litres:.3f} L", "count": 1}],
        "losses": {"settling": f"{100.0 * layer:.2f} %"},
    }
    plan = backwards(drink_asked)
    base, drink = both(plan)
    assert drink.outcome == "targets_met"
    assert drink.predicted.abv_percent.value == pytest.approx(round(abv, 3), abs=2e-3)
    assert drink.packaged_l == pytest.approx(round(litres, 3), rel=2e-4)
    assert base.abv_percent > abv
    assert plan.ferment.abv_percent.value == pytest.approx(base.abv_percent, abs=5e-3)


def test_a_bath_of_twice_the_size_takes_twice_as_much() -> None:
    twice = {**DRINK, "containers": [{"fill": "330 mL", "count": 120}]}
    twice["additions"] = [*DRINK["additions"][:2], {**DRINK["additions"][2], "amount": "1400 g"}]
    twice["additions"][1] = {**DRINK["additions"][1], "max": "6 L"}
    one, two = backwards(), backwards(twice)
    for name, mass in grams(one.amounts).items():
        assert grams(two.amounts)[name] == pytest.approx(2.0 * mass, rel=2e-4)
    assert both(two)[0].abv_percent == pytest.approx(both(one)[0].abv_percent, abs=2e-3)


def test_a_base_that_is_to_stop_sweeter_starts_heavier() -> None:
    dry, sweet = backwards(), backwards({"base": {"final_gravity": 1.003}})
    assert both(sweet)[0].final_gravity == 1.003
    assert both(sweet)[0].original_gravity > both(dry)[0].original_gravity + 0.005
    assert grams(both(sweet)[1].amounts)["honey_acacia"] < grams(both(dry)[1].amounts)["honey_acacia"]
    assert both(sweet)[1].predicted.abv_percent.value == pytest.approx(6.2, abs=2e-3)


def test_a_range_of_strengths_is_aimed_at_inside() -> None:
    for asked, aim in (({"min": 5.8, "max": 6.6}, 6.2), ({"min": 5.8}, 5.9), ({"max": 6.6}, 6.5)):
        plan = backwards({"targets": {**DRINK["targets"], "abv_percent": asked}})
        assert both(plan)[1].predicted.abv_percent.value == pytest.approx(aim, abs=3e-3)
        assert "strength aimed at" in {a.what for a in plan.assumed}


def test_an_estimated_layer_follows_the_juice() -> None:
    juice = [{"ingredient": "honey_acacia"}, {"ingredient": "orange_juice_fresh", "amount": "3 L", "treatment": "raw"}]
    targets = {"abv_percent": 5.5, "gravity": 1.012}
    plan = backwards({"additions": juice, "targets": targets, "losses": {"settling": "estimate"}})
    _, drink = both(plan)
    assert drink.packaged_l == pytest.approx(60 * 0.33, rel=1e-4)
    assert drink.blended_l > 1.04 * drink.packaged_l
    assert any("straight jar" in a.measure_by for a in plan.assumed)
    assert any("straight jar" in r.instrument for r in plan.next_reading)


def test_targets_that_clash_are_an_outcome_of_the_whole() -> None:
    drink = {**DRINK, "additions": [{"ingredient": "honey_acacia", "max": "100 g"}]}
    plan = backwards({**drink, "targets": {"abv_percent": 6.2, "gravity": 1.02}})
    assert plan.outcome == "targets_clash"
    assert both(plan)[1].outcome == "targets_clash"


def test_the_drink_s_cautions_are_told_as_the_drink_s() -> None:
    raw = [{"ingredient": "honey_acacia"}, {"ingredient": "lemon_juice_fresh", "treatment": "raw"}]
    plan = backwards({"additions": raw}, intended={"container": "bottle"})
    stop = [c for c in plan.cautions if c.level == "stop"]
    assert [(c.code, c.about) for c in stop] == [("refermentable_sugar_no_hurdle", "finished drink")]
    assert any(c.code == "raw_juice" and c.about == "finished drink" for c in plan.cautions)
    assert plan.cautions[0].level == "stop"


def test_honey_of_both_is_bought_at_once() -> None:
    price = {"amount": 12.0, "per": "1 pack"}
    honey = {"ingredient": "honey_acacia", "sold_in": "1 kg", "price": price}
    others = [{**one, "price": {"amount": 5.0, "per": "1 kg"}} for one in DRINK["additions"][1:]]
    plan = backwards({"additions": [honey, *others]}, sources=[honey], currency="EUR")
    _, drink = both(plan)
    line = next(one for one in plan.shopping if one.what == "honey_acacia")
    must, blend = grams(plan.amounts)["honey_acacia"], grams(drink.amounts)["honey_acacia"]
    assert line.for_must_g == pytest.approx(must, abs=0.01)
    assert line.for_blend_g == pytest.approx(blend, abs=0.01)
    assert line.mass_g == pytest.approx(must + blend, abs=0.02)
    assert line.packs == -(-(must + blend) // 1000.0)
    assert line.cost == pytest.approx(12.0 * (line.packs or 0.0))
    rest = sum(grams(drink.amounts)[n] for n in ("lemon_juice_fresh", "cherry_tart_juice_concentrate_68"))
    assert plan.cost == pytest.approx((line.cost or 0.0) + rest * 0.005, abs=0.01)
    assert plan.cost_without == ("diammonium phosphate", "yeast", "bottle of 330 mL")
    (each,) = plan.cost_per_container
    assert each.cost * each.count == pytest.approx(plan.cost, rel=1e-3)
    kinds = {one.what: one.kind for one in plan.shopping}
    assert kinds["bottle of 330 mL"] == "container"
    assert "water_deionised" not in kinds


def test_unlike_honeys_have_a_line_each() -> None:
    plan = backwards(sources=[{"ingredient": "honey_buckwheat"}])
    honeys = {one.what for one in plan.shopping if one.what.startswith("honey")}
    assert honeys == {"honey_buckwheat", "honey_acacia"}
    assert plan.cost is None
    assert plan.cost_per_container == ()


def test_losses_that_nobody_named_are_told() -> None:
    assert "losses" in {a.what for a in backwards().assumed}
    told = {a.what for a in backwards({"losses": {"lees": "5 %"}}).assumed}
    assert "losses" not in told
    assert "losses: settling" in told


@pytest.mark.parametrize(
    ("drink", "error", "pointer"),
    [
        ({"targets": {**DRINK["targets"], "abv_percent": 40}}, OutOfRangeError, "/finished/targets/abv_percent"),
        ({"base": {"final_gravity": 0.98}}, InconsistentError, "/finished/base/final_gravity"),
        (
            {"additions": [{"ingredient": "honey"}, {"ingredient": "neutral_spirit_40", "amount": "10 L"}]},
            OutOfRangeError,
            "/finished/targets/abv_percent",
        ),
    ],
)
def test_drinks_that_no_base_makes(drink: dict[str, Any], error: type[InputError], pointer: str) -> None:
    with pytest.raises(error) as refused:
        backwards(drink)
    assert refused.value.pointer == pointer


def test_what_follows_is_complete() -> None:
    plan = backwards({"base": {"name": "dry", "ph": 3.4, "titratable_acidity": "4.6 g/L tartaric"}})
    assert set(plan.next) == {"interpret_readings", "plan_stabilising", "solve_blend"}
    blend = plan.next["solve_blend"].request
    assert blend["lots"][0]["name"] == "dry"
    assert blend["targets"]["volume"].endswith(" L")
    assert [a["ingredient"] for a in blend["additions"]] == [a["ingredient"] for a in DRINK["additions"]]
    assert plan.next["plan_stabilising"].request["titratable_acidity"] == "4.6 g/L tartaric"
    assert "ferment_must_have_ended" in codes(plan)
