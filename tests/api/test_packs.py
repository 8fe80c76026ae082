"""Whole and half packs, prices of packs, cans known by their labels, and kitchen measures beside packs."""

from __future__ import annotations

import itertools
from typing import Any

import pytest

from tests.api.real import PATHS, amounts, codes, forecast, plan, post, reports
from tests.oracle.pour import Part, as_measured, density_g_per_ml, single_strength_litres
from tests.planner.paper import agrees, labelled, poured_on_paper

PATH = PATHS["solve_blend"]
LOT = {
    "name": "base",
    "volume": "20 L",
    "gravity": 0.998,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.4,
}
LABEL = {"serving": "250 mL", "sugar_g": 26, "juice_percent": 100, "diluted": "1+3"}
CAN = {"ingredient": "orange_juice_concentrate_frozen", "measured": {"label": LABEL}}
SUGAR = {"ingredient": "sugar_white"}
WATER = {"ingredient": "water_deionised", "max": "6 L"}


def body(*additions: dict[str, Any], **changes: Any) -> dict[str, Any]:
    """A request with these additions."""
    return {"lots": [LOT], "additions": list(additions), "targets": {"gravity": {"min": 1.008, "max": 1.02}}, **changes}


def packs(answer: dict[str, Any], name: str) -> float:
    """How many packs, and that the mass is that many."""
    (amount,) = (a for a in answer["amounts"] if a["name"] == name)
    assert amount["packs"] is not None
    return float(amount["packs"])


def errors(request: dict[str, Any]) -> dict[str, str]:
    """Faults by pointer."""
    return {e["pointer"]: e["detail"] for e in post(PATH, request, 422)["errors"]}


def test_packs_are_whole_and_their_mass_is_that_of_so_many() -> None:
    """The least addition is the fewest packs; 8 g/L of sucrose raise a gravity by about 0.003, so 20 L need 500 g."""
    answer = plan(body({**SUGAR, "pack": "300 g", "max_packs": 9}))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    count = packs(answer, "sugar_white")
    assert count == int(count)
    assert amounts(answer)["sugar_white"] == pytest.approx(300.0 * count, abs=1e-3)
    one_less = forecast(
        {"recipes": [{"name": "r", "lots": [LOT], "additions": [{**SUGAR, "amount": f"{300 * (count - 1)} g"}]}]}
    )
    assert one_less["recipes"][0]["predicted"]["gravity"]["value"] < 1.008
    agrees(answer["predicted"], poured_on_paper(body(SUGAR), answer))


def test_half_packs_may_be_asked_for() -> None:
    whole = plan(body({**SUGAR, "pack": "400 g"}))
    half = plan(body({**SUGAR, "pack": "400 g", "half_packs": True}))
    assert packs(whole, "sugar_white") % 1.0 == 0.0
    assert packs(half, "sugar_white") % 0.5 == 0.0
    assert packs(half, "sugar_white") == packs(whole, "sugar_white") - 0.5


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ({"pack": "500 g", "amount": "2 packs"}, 1000.0),
        ({"pack": "500 g", "amount": "1.5 packs", "half_packs": True}, 750.0),
        ({"pack": "500 g", "amount": "1 kg"}, 1000.0),
        ({"pack": "0.5 kg", "min": "2 packs", "max": "2 packs"}, 1000.0),
        ({"pack": "500 g", "min": "0.8 kg", "max": "2.2 packs"}, 1000.0),
        ({"pack": "500 g", "min": "2 packs", "max_packs": 2}, 1000.0),
    ],
)
def test_limits_and_amounts_may_be_counted_in_packs(given: dict[str, Any], expected: float) -> None:
    answer = plan(body({**SUGAR, **given}))
    assert amounts(answer)["sugar_white"] == pytest.approx(expected, abs=1e-3)
    assert packs(answer, "sugar_white") == pytest.approx(expected / 500.0)


def test_no_more_packs_than_there_are() -> None:
    answer = plan(body({**SUGAR, "pack": "100 g", "max_packs": 3}))
    assert answer["outcome"] == "targets_clash"
    assert packs(answer, "sugar_white") == 3.0
    none = plan(body({**SUGAR, "pack": "100 g", "max_packs": 0}, {"ingredient": "honey_acacia"}))
    assert (none["outcome"], packs(none, "sugar_white")) == ("targets_met", 0.0)


def test_what_only_opened_packs_would_reach_is_said() -> None:
    narrow = {"gravity": {"min": 1.0119, "max": 1.0121}}
    answer = plan(body({**SUGAR, "pack": "1 kg"}, targets=narrow))
    assert answer["outcome"] == "nearest_measurable"
    assert "opened packs" in answer["summary"]
    assert packs(answer, "sugar_white") % 1.0 == 0.0
    assert not reports(answer)["gravity"]["met"]
    with_water = plan(body({**SUGAR, "pack": "1 kg"}, {**WATER, "max": "20 L"}, targets=narrow))
    assert with_water["outcome"] == "targets_met"  # water thins what a whole pack sweetens too much


def test_a_price_of_a_pack_is_that_of_what_it_holds() -> None:
    by_pack = {**SUGAR, "pack": "400 g", "price": {"amount": 2.0, "per": "1 pack"}}
    answer = plan(body(by_pack, prefer=[{"minimise": "cost"}], currency="EUR"))
    count = packs(answer, "sugar_white")
    assert answer["predicted"]["cost"]["value"] == pytest.approx(2.0 * count, abs=1e-3)
    by_two = {**SUGAR, "pack": "400 g", "price": {"amount": 4.0, "per": "2 packs"}}
    assert plan(body(by_two))["predicted"]["cost"] == plan(body(by_pack))["predicted"]["cost"]
    by_mass = {**SUGAR, "pack": "400 g", "price": {"amount": 5.0, "per": "1 kg"}}
    assert plan(body(by_mass))["predicted"]["cost"] == plan(body(by_pack))["predicted"]["cost"]


def test_the_cheapest_of_all_counts_is_chosen() -> None:
    """Every count of two kinds of packs is forecast by itself; the least cost that keeps the range is that proved."""
    small = {**SUGAR, "pack": "150 g", "max_packs": 6, "price": {"amount": 1.0, "per": "1 pack"}}
    large = {"ingredient": "honey_acacia", "pack": "350 g", "max_packs": 3, "price": {"amount": 2.1, "per": "1 pack"}}
    answer = plan(body(small, large, prefer=[{"minimise": "cost"}], targets={"gravity": {"min": 1.011, "max": 1.0125}}))
    assert (answer["outcome"], answer["proof"]["verdict"]) == ("targets_met", "proved_best")
    recipes = [
        {
            "name": f"{a} {b}",
            "lots": [LOT],
            "additions": [
                {**SUGAR, "amount": f"{150 * a} g"},
                {"ingredient": "honey_acacia", "amount": f"{350 * b} g"},
            ],
        }
        for a, b in itertools.product(range(7), range(4))
    ]
    costs = []
    for start in range(0, len(recipes), 10):
        for recipe in forecast({"recipes": recipes[start : start + 10]})["recipes"]:
            if 1.011 <= recipe["predicted"]["gravity"]["value"] <= 1.0125:
                a, b = map(int, recipe["name"].split())
                costs.append((a + 2.1 * b, a, b))
    assert answer["predicted"]["cost"]["value"] == pytest.approx(min(costs)[0], abs=1e-3)
    assert (packs(answer, "sugar_white"), packs(answer, "honey_acacia")) == min(costs)[1:]


def test_kitchen_measures_leave_packs_whole() -> None:
    answer = plan(
        body(
            {**CAN, "pack": "355 mL", "max_packs": 5},
            {"ingredient": "honey_acacia", "max": "2 kg"},
            WATER,
            rounding="kitchen",
            targets={"gravity": 1.012, "citrus_percent": {"min": 8.0}},
        )
    )
    assert answer["outcome"] in ("targets_met", "nearest_measurable")
    assert packs(answer, "orange_juice_concentrate_frozen") % 1.0 == 0.0
    (honey,) = (a for a in answer["amounts"] if a["name"] == "honey_acacia")
    assert honey["packs"] is None
    assert honey["mass_g"] == round(honey["mass_g"])  # what a scale of 1 g shows
    request = body(CAN, {"ingredient": "honey_acacia"}, WATER)
    agrees(answer["predicted"], poured_on_paper(request, answer))


# A can by its label.


def test_a_can_by_its_label_brings_the_labels_sugar() -> None:
    """On paper: one part of can and three of water, by volume, hold 26 g of sugar in 250 mL, and all of it is juice."""
    can = labelled("orange_juice_concentrate_frozen", LABEL)
    recipe = {
        "name": "as the label says",
        "lots": [],
        "additions": [{**CAN, "amount": "250 mL"}, {"ingredient": "water_deionised", "amount": "750 mL"}],
    }
    (drink,) = forecast({"recipes": [recipe]})["recipes"]
    predicted = drink["predicted"]
    assert predicted["sugar_g_per_l"]["value"] == pytest.approx(26.0 / 0.25, abs=0.02)
    assert predicted["juice_percent"]["value"] == pytest.approx(100.0, abs=0.02)
    assert predicted["citrus_percent"]["value"] == pytest.approx(100.0, abs=0.02)
    assert amounts(drink)["orange_juice_concentrate_frozen"] == pytest.approx(250.0 * density_g_per_ml(can), rel=1e-3)
    assert single_strength_litres(can, 250.0 * density_g_per_ml(can)) == pytest.approx(
        predicted["volume"]["value"], rel=1e-3
    )
    brix = as_measured(Part(can, 1.0)).brix
    assert brix is not None
    assert 41.8 < brix < 47.0  # trade range of 3-plus-1 concentrate (common practice, no source)


def test_what_a_label_leaves_open_is_assumed() -> None:
    answer = plan(body({**CAN, "max": "2 kg"}))
    told = {a["what"]: a["value"] for a in answer["assumed"]}
    assert told["orange_juice_concentrate_frozen: sugar of the label"] == "label sugar is rounded to 1 g: ± 2 %"
    assert "orange_juice_concentrate_frozen: composition" not in told
    coarse = {**CAN, "measured": {"label": {**LABEL, "serving": "30 mL", "sugar_g": 3}}, "max": "2 kg"}
    assert codes(plan(body(coarse)))["label_sugar_coarse"] == "warning"


def test_acidity_and_ph_of_a_can_may_be_measured_besides() -> None:
    measured = {"label": LABEL, "titratable_acidity": "30 g/L citric", "titration_end_point_ph": 8.2, "ph": 3.6}
    can = {**CAN, "measured": measured, "amount": "250 mL"}
    recipes = [
        {"name": "can", "lots": [], "additions": [can]},
        {"name": "juice", "lots": [], "additions": [can, {"ingredient": "water_deionised", "amount": "750 mL"}]},
    ]
    as_sold, diluted = forecast({"recipes": recipes})["recipes"]
    assert as_sold["predicted"]["titratable_acidity"]["g_per_l_citric"] == pytest.approx(30.0, abs=0.05)
    assert diluted["predicted"]["ph"]["value"] == pytest.approx(3.6, abs=0.02)  # a concentrate is read diluted


@pytest.mark.parametrize(
    ("measured", "pointer", "words"),
    [
        ({"label": LABEL, "brix": 42}, "/brix", "both speak of the solids"),
        ({"label": LABEL, "density": "1.19 g/mL"}, "/density", "both speak of the solids"),
        ({"label": LABEL, "brix_is_refractometer_reading": True}, "/brix_is_refractometer_reading", "both speak"),
        ({"label": LABEL, "titration_end_point_ph": 8.1}, "/titration_end_point_ph", "give the acidity too"),
        ({"label": LABEL, "refractive_index_temperature": "20 C"}, "/refractive_index_temperature", "without a"),
        ({"label": {"serving": "250 mL"}}, "/label/sugar_g", "needed"),
        ({"label": {**LABEL, "serving": "250"}}, "/label/serving", "the unit is missing"),
        ({"label": {**LABEL, "serving": "250 g"}}, "/label/serving", "a volume is needed"),
        ({"label": {**LABEL, "serving": "0 mL"}}, "/label/serving", "more than nothing"),
        ({"label": {**LABEL, "sugar_g": 0}}, "/label/sugar_g", "greater than"),
        ({"label": {**LABEL, "sugar_g": 260}}, "/label/sugar_g", "more than any syrup"),
        ({"label": {**LABEL, "diluted": "1:3"}}, "/label/diluted", "like 1+3"),
        ({"label": {**LABEL, "diluted": "0+3"}}, "/label/diluted", "above 0"),
        ({"label": {"serving": "250 mL", "sugar_g": 26}}, "/label/diluted", "give the dilution"),
        ({"label": {**LABEL, "juice_percent": 101}}, "/label/juice_percent", "100 or less"),
        ({"label": {**LABEL, "sugars": 3}}, "/label/sugars", 'Did you mean "sugar_g"?'),
    ],
)
def test_labels_that_cannot_be_read_are_refused_in_words(measured: Any, pointer: str, words: str) -> None:
    ((told, detail),) = errors(body({**CAN, "measured": measured})).items()
    assert (told, words in detail) == (f"/additions/0/measured{pointer}", True), (told, detail)


@pytest.mark.parametrize(
    ("given", "pointer", "words"),
    [
        ({"max_packs": 2}, "/pack", "Say what a pack holds"),
        ({"half_packs": True}, "/pack", "Say what a pack holds"),
        ({"max": "2 packs"}, "/max", "Say what a pack holds"),
        ({"min": "1 pack"}, "/min", "Say what a pack holds"),
        ({"amount": "2 packs"}, "/amount", "Say what a pack holds"),
        ({"price": {"amount": 2, "per": "1 pack"}}, "/price/per", "Say what a pack holds"),
        ({"pack": "300 g", "price": {"amount": 2, "per": "0 packs"}}, "/price/per", "more than nothing"),
        ({"pack": "0 g"}, "/pack", "more than nothing"),
        ({"pack": "2 packs"}, "/pack", "a number of packs"),
        ({"pack": "300"}, "/pack", "the unit is missing"),
        ({"pack": "1 cup"}, "/pack", "weigh it"),
        ({"pack": "1e11 kg"}, "/pack", "100,000 t"),
        ({"pack": "1e9 kg", "max": "1000000 packs"}, "/pack", "100,000 t"),
        ({"pack": "99999 kg", "max": "1000000 packs"}, "/max", "100,000 t"),
        ({"pack": "300 g", "max": "3 kg", "max_packs": 3}, "/max_packs", "not both"),
        ({"pack": "300 g", "amount": "1 pack", "max_packs": 3}, "/amount", "not both"),
        ({"pack": "300 g", "min": "350 g", "max": "550 g"}, "/min", "No whole number of packs"),
        ({"pack": "300 g", "min": "3 packs", "max_packs": 2}, "/min", "No whole number of packs"),
        ({"pack": "300 g", "max": "-1 packs"}, "/max", "cannot be negative"),
        ({"pack": "300 g", "max_packs": -1}, "/max_packs", "0 or more"),
        ({"pack": "300 g", "max_packs": 1.5}, "/max_packs", "whole number"),
        ({"pack": "300 g", "max_packs": 100_001}, "/max_packs", "100000 or less"),
        ({"pack": "300 g", "half_packs": "yes"}, "/half_packs", "true or false"),
        ({"max": "12 pints"}, "/max", "weigh it"),
    ],
)
def test_packs_that_cannot_be_counted_are_refused_in_words(given: Any, pointer: str, words: str) -> None:
    ((told, detail),) = errors(body({**SUGAR, **given})).items()
    assert (told, words in detail) == (f"/additions/0{pointer}", True), (told, detail)


def test_a_recipe_pours_masses_and_volumes_not_packs() -> None:
    recipe = {"name": "r", "lots": [LOT], "additions": [{**SUGAR, "amount": "2 packs"}]}
    ((pointer, detail),) = {
        e["pointer"]: e["detail"] for e in post(PATHS["forecast_blend"], {"recipes": [recipe]}, 422)["errors"]
    }.items()
    assert (pointer, "a mass or a volume is needed" in detail) == ("/recipes/0/additions/0/amount", True)


def test_a_given_amount_of_packs_is_whole() -> None:
    for given, status in (({}, 422), ({"half_packs": True}, 200)):
        addition = {"ingredient": "honey_acacia", "pack": "500 g", "amount": "1.5 packs", **given}
        body = {
            "lots": [{"name": "base", "volume": "20 L", "gravity": 0.998, "abv_percent": 8.0}],
            "additions": [addition],
            "targets": {"gravity": {"min": 1.0}},
        }
        answer = post(PATHS["solve_blend"], body, status)
        if status == 422:
            assert [e["pointer"] for e in answer["errors"]] == ["/additions/0/amount"]
