"""Blend plans with losses and with fruit, over HTTP: both volumes are told, and the fruit to buy."""

from __future__ import annotations

import copy
import csv
import io
from math import hypot
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.command import table
from service.api.later import NOT_ANSWERED_YET
from service.catalogue.juice_yield import juice_yields
from tests.api.real import PATHS, app, changed, forecast, plan, post, reports

BODY: dict[str, Any] = {
    "lots": [
        {
            "name": "dry base",
            "volume": "24 L",
            "gravity": 0.998,
            "abv_percent": 8.1,
            "titratable_acidity": "4.6 g/L tartaric",
            "ph": 3.42,
            "class": "mead",
            "use": {"max": "24 L"},
        }
    ],
    "additions": [
        {"ingredient": "honey_acacia", "max": "3 kg"},
        {"ingredient": "lemon_juice_fresh", "fruit": "3 kg", "treatment": "pasteurised"},
        {"ingredient": "orange_juice_concentrate_frozen", "max": "4 kg"},
        {"ingredient": "water_deionised"},
    ],
    "targets": {
        "gravity": 1.012,
        "titratable_acidity": "7.5 g/L tartaric",
        "citrus_percent": {"min": 15},
        "abv_percent": {"min": 5.5},
        "packaged_volume": "20 L",
    },
    "losses": {"settling": "20 %", "dead_volume": "0.3 L", "samples": "200 mL"},
}


def body(*path: str | int, to: Any = None) -> dict[str, Any]:
    return changed(*path, to=to, body=BODY)


def refused(request: Any, path: str = PATHS["solve_blend"]) -> dict[str, str]:
    return {error["pointer"]: error["detail"] for error in post(path, request, 422)["errors"]}


def test_a_volume_to_fill_takes_what_is_lost_besides() -> None:
    answer = plan(BODY)
    losses, report = answer["losses"], reports(answer)["packaged_volume"]
    assert answer["outcome"] == "targets_met"
    assert answer["proof"]["verdict"] == "proved_best"
    assert losses["packaged_l"] == pytest.approx(20.0, abs=1e-3)
    assert losses["blended_l"] == pytest.approx((20.0 + 0.5) / 0.8, abs=1e-3)  # arithmetic
    assert losses["blended_l"] == pytest.approx(answer["predicted"]["volume"]["value"], abs=1e-3)
    assert (report["asked"], report["reached"], report["unit"], report["met"]) == ("20 L", 20.0, "L", True)
    assert report["marginal"].startswith("of the blend, before losses:")
    assert "volume" not in reports(answer)
    assert [p["what"] for p in losses["parts"]] == ["settling", "dead_volume", "samples"]
    told = {a["what"]: a for a in answer["assumed"]}
    assert "losses: racking" in told
    assert "losses: lees" not in told


def test_it_is_the_plan_for_the_blended_volume() -> None:
    same = body("targets", "packaged_volume")
    same["targets"]["volume"] = {"value": "25.625 L", "tolerance": "0.125 L"}  # (20 ± 0.1 + 0.5) L / 0.8
    told, other = plan(BODY), plan(same)
    for a, b in zip(told["amounts"], other["amounts"], strict=True):
        assert a["mass_g"] == pytest.approx(b["mass_g"], abs=0.5)
    assert other["losses"]["packaged_l"] == pytest.approx(20.0, abs=1e-3)
    assert reports(other)["volume"]["reached"] == 25.625


@settings(max_examples=8, deadline=None)
@given(st.floats(5.0, 18.0), st.floats(0.0, 40.0), st.floats(0.0, 10.0), st.floats(0.0, 1.0), st.booleans())
def test_whatever_is_lost_the_rest_is_what_was_asked(
    litres: float, settling: float, racking: float, dead: float, at_least: bool
) -> None:
    request = copy.deepcopy(BODY)
    litres = round(0.6 * litres if settling > 25.0 else litres, 2)
    text = f"{litres} L"
    request["targets"]["packaged_volume"] = {"min": text} if at_least else text
    request["losses"] = {"settling": f"{settling:.2f} %", "racking": f"{racking:.2f} %", "dead_volume": f"{dead:.3f} L"}
    answer = plan(request)
    losses = answer["losses"]
    assert answer["outcome"] == "targets_met"
    assert losses["packaged_l"] == pytest.approx(litres, rel=1e-4)
    taken = sum(part["volume_l"] for part in losses["parts"])
    assert losses["packaged_l"] + taken == pytest.approx(losses["blended_l"], abs=1e-3)


def test_an_estimate_is_that_of_the_plans_own_juice() -> None:
    answer = plan(body("losses", "settling", to="estimate"))
    losses = answer["losses"]
    assert (losses["measured"], answer["outcome"]) == (False, "targets_met")
    assert answer["proof"]["verdict"] == "best_found"
    assert losses["packaged_l"] == pytest.approx(20.0, abs=2e-3)
    layer = losses["parts"][0]
    # spun pulp of 10 % of juice from concentrate and 17.5 % of pressed juice, settled 2.5 times as bulky
    citrus = answer["predicted"]["citrus_percent"]["value"]
    pressed = next(a for a in answer["amounts"] if a["name"] == "lemon_juice_fresh")
    pressed_percent = pressed["volume_ml"] / losses["blended_l"] / 10.0
    assert layer["share_percent"] == pytest.approx(0.25 * citrus + (0.4375 - 0.25) * pressed_percent, rel=0.02)
    assert layer["low"] < layer["volume_l"] < layer["high"]
    spread = losses["packaged_high"] - losses["packaged_low"]
    sides = (losses["blended_high"] - losses["blended_low"], layer["high"] - layer["low"])
    assert max(sides) * 0.8 < spread < 1.1 * hypot(*sides)
    assert answer["next_reading"][-1]["instrument"] == "straight jar and ruler"
    assert "pulp_product_sheets" in {s["key"] for s in answer["sources"]}
    assert "straight jar and ruler" not in {r["instrument"] for r in plan(BODY)["next_reading"]}
    assert "pulp_product_sheets" not in {s["key"] for s in plan(BODY)["sources"]}


def test_losses_are_told_without_a_volume_to_fill() -> None:
    request = changed("losses", to={"jar_test": {"layer": "35 mm", "height": "180 mm"}})
    losses = plan(request)["losses"]
    assert losses["measured"]
    assert losses["lost_percent"] == pytest.approx(100.0 * 35.0 / 180.0, abs=0.01)
    assert plan(changed("note", to="none lost"))["losses"] is None


def test_a_stated_share_is_no_measurement() -> None:
    """Whatever is only stated has no interval, and says whose figure it is; a jar test has both."""
    stated = plan(BODY)
    losses = stated["losses"]
    assert not losses["measured"]
    assert {part["source_id"] for part in losses["parts"]} == {"as_stated"}
    assert "as_stated" in {s["key"] for s in stated["sources"]}
    assert "as stated" in losses["text"]
    (line,) = [a for a in stated["assumed"] if a["what"] == "losses: settling"]
    assert (line["value"], "as stated by the caller" in line["source"]) == ("20 %", True)
    blended = losses["blended_high"] - losses["blended_low"]
    assert losses["packaged_high"] - losses["packaged_low"] == pytest.approx(0.8 * blended, rel=1e-3)  # arithmetic
    request = body("losses", "settling")
    request["losses"]["jar_test"] = {"layer": "36 mm", "height": "180 mm"}
    jar = plan(request)["losses"]
    assert jar["measured"]
    assert jar["parts"][0]["source_id"] == "reading"
    assert "as stated" not in jar["text"]
    assert jar["packaged_high"] - jar["packaged_low"] > 1.02 * 0.8 * blended


def test_one_object_of_losses_is_not_counted_twice() -> None:
    """Lees are the base's: a must plan takes them, what follows from it refuses them in words."""
    told = {"lees": "4 %", "settling": "6 %"}
    must = {
        "finished": {
            "additions": [{"ingredient": "honey_acacia"}],
            "targets": {"abv_percent": 6, "gravity": 1.01},
            "containers": [{"fill": "500 mL", "count": 20}],
            "losses": told,
        }
    }
    assert post(PATHS["plan_must"], must)["base"]["before_racking_l"] > 0.0
    for path, request in (
        (PATHS["solve_blend"], changed("losses", to=told)),
        (PATHS["plan_packaging"], {"drink": {"volume": "20 L", "abv_percent": 6, "gravity": 1.01}, "losses": told}),
    ):
        assert refused(request, path) == {"/losses/lees": NOT_ANSWERED_YET["lees"]}
        post(path, {**request, "losses": {"settling": "6 %"}})


def test_a_volume_to_fill_that_cannot_be_had_is_told_as_such() -> None:
    request = body("targets", "packaged_volume", to={"min": "40 L", "priority": 2})
    answer = plan(request)
    assert answer["outcome"] == "targets_clash"
    report = reports(answer)["packaged_volume"]
    assert not report["met"]
    assert report["miss"] == pytest.approx(40.0 - report["reached"], rel=1e-2)
    clash = answer["clash"]
    assert "packaged_volume" in clash["conflict"]
    assert "volume" not in clash["conflict"]
    (relaxed,) = [r for r in clash["relax"] if r["member"] == "packaged_volume"]
    assert relaxed["to"].endswith("to fill")
    assert relaxed["value"] < 40.0
    assert "before losses" in clash["text"]
    met = copy.deepcopy(request)
    met["targets"]["packaged_volume"] = {"min": f"{relaxed['value'] * 0.999} L"}
    assert plan(met)["outcome"] == "targets_met"


def test_an_estimate_proves_no_clash() -> None:
    request = body("losses", "settling", to="estimate")
    request["targets"]["packaged_volume"] = {"min": "60 L"}
    assert plan(request)["outcome"] == "no_plan_found"


def test_without_citrus_an_estimate_is_a_layer_of_nothing_and_clashes_are_proved() -> None:
    request = body("losses", "settling", to="estimate")
    del request["targets"]["citrus_percent"], request["targets"]["titratable_acidity"]
    request["additions"] = [BODY["additions"][0], BODY["additions"][3]]
    told = plan(request)
    assert told["outcome"] == "targets_met"
    assert told["losses"]["parts"][0]["text"].startswith("no citrus juice")
    assert told["losses"]["parts"][0]["share_percent"] == 0.0
    assert told["proof"]["verdict"] == plan({**request, "losses": {"samples": "0.5 L"}})["proof"]["verdict"]
    request["targets"]["packaged_volume"] = {"min": "60 L"}
    answer = plan(request)
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_clash", "proved_impossible")
    drink = {"volume": "20 L", "abv_percent": 6, "gravity": 1.01, "juice_percent": 0}
    packed = post(PATHS["plan_packaging"], {"drink": drink, "losses": {"settling": "estimate"}})["losses"]
    assert packed["parts"][0]["text"] == told["losses"]["parts"][0]["text"]


@pytest.mark.parametrize(
    ("path", "to", "pointer", "words"),
    [
        (("losses",), None, "/targets/packaged_volume", "needs the losses"),
        (("losses",), {}, "/losses", "Say what is lost"),
        (("losses",), {"racking": "99 %"}, "/losses/racking", "0 to 90 %"),
        (("losses",), {"lees": "4 %", "samples": "0.2 L"}, "/losses/lees", "before it is measured"),
        (("targets", "volume"), "25 L", "/targets/packaged_volume", "say the same"),
        (("targets", "packaged_volume"), 20, "/targets/packaged_volume", "with its unit"),
        (
            ("targets", "packaged_volume"),
            {"min": "20 L", "confidence": 0.9},
            "/targets/packaged_volume",
            "leave it out",
        ),
        (("targets", "packaged_volume"), {"from": "x", "steps": 1}, "/targets/packaged_volume", "no step"),
        (("losses", "dead_volume"), "80 L", "/losses", "take more than"),
    ],
)
def test_what_cannot_be_meant_is_refused(path: tuple[str, ...], to: Any, pointer: str, words: str) -> None:
    request = body(*path, to=to)
    if words == "take more than":
        del request["targets"]["packaged_volume"]
    found = refused(request)
    assert set(found) == {pointer}
    assert words in found[pointer]


def test_only_a_plan_for_one_drink_has_losses() -> None:
    split = body("portions", to=[{"name": "one", "volume": "10 L"}])
    assert set(refused(split)) == {"/losses", "/targets/packaged_volume"}
    without = body("losses")
    for operation in ("trade_off", "correct_blend"):
        measured = {"measured": {"gravity": 1.0}} if operation == "correct_blend" else {}
        assert "/targets/packaged_volume" in refused({**without, **measured}, PATHS[operation])
        assert "one drink" in refused({**BODY, **measured}, PATHS[operation])["/losses"]


# Fruit.


def test_the_fruit_of_a_plan_is_told() -> None:
    answer = plan(BODY)
    juice = next(a["mass_g"] for a in answer["amounts"] if a["name"] == "lemon_juice_fresh")
    (found,) = answer["fruit"]
    assert 0.0 < juice <= 1080.0  # 0.36 g/g of 3 kg, derived from USDA SR28 NDB 09152 and 09150
    assert found["fruit_mass_g"] == pytest.approx(juice / 0.36, rel=1e-4)
    assert found["fruit_count"] == pytest.approx(juice / 48.0, abs=0.06)  # USDA SR28 NDB 09152: 48 g a lemon
    assert found["low"] < found["fruit_mass_g"] < found["high"]
    assert {"usda_sr28:09150", "usda_sr28:09152"} <= {s["key"] for s in answer["sources"]}
    assert "lemon_juice_fresh: juice yield" in {a["what"] for a in answer["assumed"]}
    assert plan(changed("note", to="no juice"))["fruit"] == []


def test_too_little_fruit_is_a_stock_that_binds() -> None:
    request = body("additions", 1, "fruit", to="100 g")
    request["targets"]["titratable_acidity"] = {"min": "9 g/L tartaric"}
    request["additions"][2]["max"] = "100 g"
    del request["targets"]["citrus_percent"]
    answer = plan(request)
    assert answer["outcome"] == "targets_clash"
    assert "stock of lemon_juice_fresh" in answer["clash"]["conflict"]


def recipe(**lemon: Any) -> dict[str, Any]:
    lot = {**BODY["lots"][0], "use": "all"}
    return {"name": "r", "lots": [lot], "additions": [{"ingredient": "lemon_juice_fresh", **lemon}]}


def test_a_recipe_pours_all_the_juice_of_its_fruit() -> None:
    by_fruit, by_mass = (
        forecast({"recipes": [r]})["recipes"][0] for r in (recipe(fruit="3 kg"), recipe(amount="1080 g"))
    )
    assert [a["mass_g"] for a in by_fruit["amounts"]] == [a["mass_g"] for a in by_mass["amounts"]]
    assert by_fruit["amounts"][1]["amount_text"] == "1.08 kg, about 1.045 L"
    assert by_fruit["fruit"][0]["fruit_mass_g"] == 3000.0
    wide, narrow = (r["predicted"]["titratable_acidity"] for r in (by_fruit, by_mass))
    assert wide["value"] == narrow["value"]
    assert wide["high"] - wide["low"] > 1.5 * (narrow["high"] - narrow["low"])
    pressed = forecast({"recipes": [recipe(fruit="3 kg", pressed="1.1 L")]})["recipes"][0]
    assert pressed["amounts"][1]["volume_ml"] == pytest.approx(1100.0)


def test_a_scaled_recipe_takes_more_fruit() -> None:
    twice = {**recipe(fruit_count=10), "scale_to": "48.96 L"}
    found = forecast({"recipes": [twice]})["recipes"][0]
    assert found["fruit"][0]["fruit_count"] == pytest.approx(10.0 * found["scaled_by"], abs=0.06)


def test_what_went_in_may_be_told_by_its_fruit() -> None:
    request = {
        "lots": [{**BODY["lots"][0], "use": "all"}],
        "additions": [{"ingredient": "lemon_juice_fresh", "max": "2 kg"}, BODY["additions"][0]],
        "targets": {"gravity": 1.012},
        "added": [{"ingredient": "lemon_juice_fresh", "fruit": "3 kg"}],
        "measured": {"gravity": 0.9995},
    }
    answer = post(PATHS["correct_blend"], request)
    by_mass = copy.deepcopy(request)
    by_mass["added"] = [{"ingredient": "lemon_juice_fresh", "amount": "1080 g ± 146 g"}]  # 240 g / 1.645
    other = post(PATHS["correct_blend"], by_mass)
    told, same = ({a["name"]: a["mass_g"] for a in found["plan"]["amounts"]} for found in (answer, other))
    assert told == pytest.approx(same, rel=1e-3)
    assert "lemon_juice_fresh: juice yield" in str(answer["assumed"]) + str(answer["plan"]["assumed"])
    for added, pointer in (
        ({"ingredient": "lemon_juice_fresh"}, "/added/0/amount"),
        ({"lot": "dry base", "fruit": "1 kg"}, "/added/0/lot"),
        ({"lot": "dry base"}, "/added/0/amount"),
        ({"ingredient": "lemon_juice_fresh", "fruit": "1 kg", "amount": "1 kg"}, "/added/0/amount"),
        ({"ingredient": "lemon_juice_fresh", "pressed": "1 kg"}, "/added/0/pressed"),
    ):
        assert pointer in refused({**request, "added": [added]}, PATHS["correct_blend"])


EUROS = {"amount": 2.0, "per": "1 kg"}


@pytest.mark.parametrize(
    ("fruit", "fruit_kg"),
    [
        ({"fruit": "3 kg"}, 3.0),
        ({"fruit": "3 kg", "pressed": "900 g"}, 3.0),
        ({"fruit_count": 10}, 0.48 / 0.36),  # USDA SR28 NDB 09152: 48 g a lemon; 0.36 g/g derived from it and 09150
    ],
)
def test_a_price_by_mass_beside_fruit_is_that_of_the_fruit(fruit: dict[str, Any], fruit_kg: float) -> None:
    request = {"recipes": [recipe(**fruit, price=EUROS)], "currency": "EUR"}
    answer = forecast(request)
    (made,) = answer["recipes"]
    assert made["amounts"][1]["cost"] == pytest.approx(2.0 * fruit_kg, rel=1e-4)  # arithmetic
    assert made["fruit"][0]["fruit_mass_g"] == pytest.approx(1000.0 * fruit_kg, rel=1e-4)
    (line,) = [a for a in answer["assumed"] + made.get("assumed", []) if a["what"] == "lemon_juice_fresh: price"]
    assert line["value"].startswith("per mass of whole fruit")
    follows = (made.get("next") or answer["next"])["correct_blend"]["request"]["additions"][0]["price"]
    juice_kg = made["amounts"][1]["mass_g"] / 1000.0
    assert follows["per"] == "1 kg"
    assert follows["amount"] * juice_kg == pytest.approx(2.0 * fruit_kg, rel=1e-4)


def test_a_plan_pays_for_the_fruit_that_it_takes() -> None:
    answer = plan(body("additions", 1, "price", to=EUROS))
    cost = next(a["cost"] for a in answer["amounts"] if a["name"] == "lemon_juice_fresh")
    assert cost == pytest.approx(2.0 * answer["fruit"][0]["fruit_mass_g"] / 1000.0, rel=1e-3)  # arithmetic


def test_readings_of_a_recipe_by_its_fruit_hand_on_what_was_poured() -> None:
    told = recipe(fruit="3 kg", price=EUROS)
    request = {"hydrometer": 1.0, "expected": {"lots": told["lots"], "additions": told["additions"]}}
    follows = post(PATHS["interpret_readings"], request)["next"]["correct_blend"]
    (added,) = follows["request"]["added"]
    assert added == {"ingredient": "lemon_juice_fresh", "fruit": "3 kg"}
    (meant,) = follows["request"]["additions"]
    assert set(meant) == {"ingredient", "price"}
    assert meant["price"]["amount"] == pytest.approx(2.0 * 3.0 / 1.08, rel=1e-6)  # arithmetic
    post(follows["path"], {**follows["request"], "currency": "EUR"})


def test_other_prices_beside_fruit() -> None:
    def asked(**lemon: Any) -> dict[str, Any]:
        return {"recipes": [recipe(**lemon)], "currency": "EUR"}

    by_volume = forecast(asked(fruit="3 kg", price={"amount": 2.0, "per": "1 L"}))
    (made,) = by_volume["recipes"]
    assert made["amounts"][1]["cost"] == pytest.approx(2.0 * made["amounts"][1]["volume_ml"] / 1000.0, rel=1e-4)
    lines = by_volume["assumed"] + made.get("assumed", [])
    assert "per volume of juice" in {a["value"] for a in lines if a["what"] == "lemon_juice_fresh: price"}
    without = forecast(asked(amount="1080 g", price=EUROS))
    assert without["recipes"][0]["amounts"][1]["cost"] == pytest.approx(2.16, rel=1e-4)  # no fruit: of the juice
    assert "lemon_juice_fresh: price" not in {
        a["what"] for a in without["assumed"] + without["recipes"][0].get("assumed", [])
    }
    found = refused(asked(fruit="3 kg", price={"amount": 2.0, "per": "1 pack"}), PATHS["forecast_blend"])
    assert "per mass of fruit" in found["/recipes/0/additions/0/price/per"]
    orphan = asked(fruit_count=30, pressed="1 L", price=EUROS)
    orphan["recipes"][0]["additions"][0]["ingredient"] = "cherry_tart_juice"
    found = refused(orphan, PATHS["forecast_blend"])
    assert "weighs is not known" in found["/recipes/0/additions/0/price/per"]


def test_fruit_of_a_must_is_paid_for_and_sold_in_no_packs() -> None:
    orange = {"ingredient": "orange_juice_fresh", "fruit": "5 kg", "min": "1 kg", "price": EUROS}
    must: dict[str, Any] = {
        "sources": [{"ingredient": "honey_acacia"}, orange],
        "original_gravity": 1.06,
        "volume": "20 L",
        "volume_is": "final",
        "prefer": [{"maximise": "juice_percent"}],
        "currency": "EUR",
    }
    line = next(one for one in post(PATHS["plan_must"], must)["shopping"] if one["what"] == "orange_juice_fresh")
    each = 1.0 / juice_yields()["orange_juice_fresh"].per_whole
    assert line["cost"] == pytest.approx(2.0 * each * line["mass_g"] / 1000.0, abs=1e-3)  # arithmetic
    must["sources"][1]["sold_in"] = "1 kg"
    assert set(refused(must, PATHS["plan_must"])) == {"/sources/1/sold_in"}


# Other shapes of the same.


def rows(path: str, request: Any) -> list[dict[str, str]]:
    response = app().post(f"{path}.csv", json=request)
    assert response.status_code == 200, response.text
    return list(csv.DictReader(io.StringIO(response.text)))


def test_tables_have_columns_for_what_is_filled_and_for_fruit() -> None:
    answer = plan(BODY)
    (row,) = rows(PATHS["solve_blend"], BODY)
    assert float(row["packaged_l"]) == answer["losses"]["packaged_l"]
    assert float(row["packaged_l_low"]) == answer["losses"]["packaged_low"]
    assert float(row["lemon_juice_fresh_fruit_g"]) == answer["fruit"][0]["fruit_mass_g"]
    assert float(row["lemon_juice_fresh_fruit_count"]) == answer["fruit"][0]["fruit_count"]
    (plain,) = rows(PATHS["solve_blend"], changed("note", to="plain"))
    assert not {"packaged_l", "lemon_juice_fresh_fruit_g"} & plain.keys()
    (poured,) = rows(PATHS["forecast_blend"], {"recipes": [recipe(fruit="3 kg")]})
    assert float(poured["lemon_juice_fresh_fruit_g"]) == 3000.0


def test_the_command_line_shows_both() -> None:
    shown = table(plan(BODY))
    assert "are left to fill" in shown
    assert "Fruit to press:" in shown
    assert "Fruit to press:" not in table(plan(changed("note", to="plain")))


def test_what_follows_a_plan_with_losses_can_be_sent() -> None:
    calls = plan({**BODY, "losses": {"settling": "estimate"}})["next"]
    assert "correct_blend" in calls
    after = post(calls["correct_blend"]["path"], calls["correct_blend"]["request"])
    assert after["plan"]["losses"] is None
    poured = forecast({"recipes": [recipe(fruit="3 kg")]})["next"]
    assert post(poured["correct_blend"]["path"], poured["correct_blend"]["request"])["plan"]
