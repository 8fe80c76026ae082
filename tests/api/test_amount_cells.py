"""Cells that ask for an amount and for what it makes: strength, citrus juice, volume, sugar; there and back."""

from __future__ import annotations

from typing import Any
from urllib.parse import parse_qsl

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.api.cell_questions import QUESTIONS
from service.api.question import Question
from tests.api.real import app, forecast, plan
from tests.tables import rows

LOT: dict[str, Any] = {
    "volume": "20L",
    "gravity": 1.004,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.4,
    "residual_sugar": "4 g/L",
}
WATER_KG_L = 0.998201
"""Of water at 20 °C: OIML R 22 (1975)."""


def ask(question: str, **query: Any) -> float:
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 200, response.text
    return float(response.text)


def told(question: str, **query: Any) -> str:
    response = app().get(f"/v1/cell/{question}", params={**query, "explain": 1})
    assert response.status_code == 200, response.text
    return response.text


def refused(question: str, **query: Any) -> dict[str, str]:
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 422, response.text
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


def lot_in_json(**change: Any) -> dict[str, Any]:
    """The same lot in a request."""
    return {"name": "lot", **LOT, "volume": "20 L", **change}


# Every answer says its unit.


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.name)
def test_every_answer_has_its_unit(question: Question) -> None:
    query = question.query.model_validate(dict(parse_qsl(question.example)))
    asked_in = getattr(query, "unit", None)
    answer = question.answered(query)
    assert answer.unit
    assert asked_in in (None, answer.unit)
    if question.name.endswith("-after") and asked_in is None and question.name != "ph-after":
        assert f" {answer.unit.split()[0]} " in answer.sentence


# Spirit and water, on paper.


def density_kg_l(abv_percent: int) -> float:
    """Of ethanol and water at 20 °C: OIML R 22 (1975), Table IVa (from memory, unverified)."""
    if abv_percent == 0:
        return WATER_KG_L
    (row,) = rows("oiml_r22_checks", given="ethanol_vol_pct_20C", temp_degC="20", ethanol_vol_pct_20C=str(abv_percent))
    return float(row["density_kg_m3"]) / 1000.0


def spirit(abv_percent: int, litres: float = 1.0) -> dict[str, Any]:
    """A lot of nothing but ethanol and water."""
    gravity = density_kg_l(abv_percent) / WATER_KG_L
    return {"volume": f"{litres} L", "gravity": f"{gravity:.6f}", "abv_percent": abv_percent, "class": "spirit"}


@pytest.mark.parametrize(("strong", "weak"), [(96, 40), (96, 50), (95, 70), (90, 20), (50, 10), (40, 30), (20, 10)])
def test_water_for_a_strength_is_that_of_the_table(strong: int, weak: int) -> None:
    """The alcohol stays, so one litre becomes strong/weak litres; the table's densities say what they weigh."""
    grams = ask("amount-for-abv", **spirit(strong), ingredient="water_deionised", target=weak)
    on_paper = 1000.0 * (strong / weak * density_kg_l(weak) - density_kg_l(strong))
    assert grams == pytest.approx(on_paper, rel=2e-4, abs=0.05)
    litres = ask("volume-after", **spirit(strong), ingredient="water_deionised", amount=f"{grams} g")
    assert litres == pytest.approx(strong / weak, rel=2e-4)


def test_the_square_of_a_blender_forgets_the_contraction() -> None:
    """Pearson's square: 40 parts of 96 % vol spirit with 56 parts of water (common practice, no source)."""
    litres = ask("amount-for-abv", **spirit(96), ingredient="water_deionised", target=40, unit="L")
    assert litres > 56.0 / 40.0
    shrunk = 1.0 + litres - 96.0 / 40.0
    on_paper = density_kg_l(96) / WATER_KG_L - 2.4 * density_kg_l(40) / WATER_KG_L + 2.4 - 1.0
    assert shrunk == pytest.approx(-on_paper, rel=5e-3)
    assert 0.065 < shrunk < 0.075


@pytest.mark.parametrize(("strong", "weak"), [(30, 20), (30, 10), (20, 10)])
def test_water_for_a_strength_by_a_pharmacopoeia(strong: int, weak: int) -> None:
    """USP 29-NF 24, Alcoholometric Table: mass per cent of each strength, at 60 °F where ours hold at 20 °C."""
    before, after = (
        float(rows("usp29_alcoholometric", ethanol_vol_pct_at_60F=str(strength))[0]["ethanol_mass_pct"])
        for strength in (strong, weak)
    )
    grams = ask("amount-for-abv", **spirit(strong), ingredient="water_deionised", target=weak)
    assert grams / (1000.0 * density_kg_l(strong)) == pytest.approx(before / after - 1.0, rel=4e-3)


@pytest.mark.parametrize(
    ("lot", "name", "added", "target"), [(10, "neutral_spirit_96", 96, 20), (0, "neutral_spirit_40", 40, 10)]
)
def test_spirit_for_a_strength_is_that_of_the_table(lot: int, name: str, added: int, target: int) -> None:
    """x litres to one litre: lot + added·x = target·V, where V is all the mass over the density of the target."""
    mixed = density_kg_l(target)
    litres = (target * density_kg_l(lot) / mixed - lot) / (added - target * density_kg_l(added) / mixed)
    found = ask("amount-for-abv", **spirit(lot), ingredient=name, target=target, unit="L")
    assert found == pytest.approx(litres, rel=3e-4)


@pytest.mark.parametrize(
    ("name", "target", "rises"), [("neutral_spirit_40", 9.0, True), ("honey", 7.7, False), ("water", 7.0, False)]
)
def test_the_bounds_of_a_strength_enclose_the_amount(name: str, target: float, rises: bool) -> None:
    query = {**LOT, "ingredient": name, "target": target}
    low, usual, high = (ask("amount-for-abv", **query, **b) for b in ({"bound": "low"}, {}, {"bound": "high"}))
    assert 0.0 <= low < usual < high
    after = {**LOT, "ingredient": name}
    behind = ask("abv-after", **after, amount=f"{high} g", bound="low" if rises else "high")
    assert behind == pytest.approx(target, abs=6e-3)


# Citrus juice by 21 CFR 101.30.


def single_strength_kg_l(brix: float) -> float:
    """Density of a sugar solution at 20 °C: ICUMSA SPS-4, of which `sg-from-brix` is checked against its table."""
    return ask("sg-from-brix", brix=brix) * WATER_KG_L


@pytest.mark.parametrize(
    ("ingredient", "juice", "brix"),
    [
        ("orange_concentrate", "orange", 41.8),
        ("orange_concentrate", "orange", 65.0),
        ("grapefruit_concentrate", "grapefruit", 40.0),
    ],
)
@pytest.mark.parametrize("target", [5.0, 12.5])
def test_citrus_of_a_concentrate_goes_by_its_brix(ingredient: str, juice: str, brix: float, target: float) -> None:
    """21 CFR 101.30 (h): so much solids at so many degrees Brix are a litre of single strength."""
    (row,) = rows("percent_juice_brix", juice=juice)
    standard = float(row["single_strength_min_degBx"])
    query = {**LOT, "ingredient": ingredient, "brix": brix}
    kilograms = ask("amount-for-citrus", **query, target=target, unit="kg")
    litres = kilograms * brix / standard / single_strength_kg_l(standard)
    volume = ask("volume-after", **query, amount=f"{kilograms} kg")
    assert 100.0 * litres / volume == pytest.approx(target, rel=1e-3)
    assert ask("citrus-after", **query, amount=f"{kilograms} kg") == pytest.approx(target, abs=0.006)


@pytest.mark.parametrize("ingredient", ["lemon_juice", "orange_juice_fresh", "grapefruit_juice"])
def test_pressed_juice_goes_by_its_volume(ingredient: str) -> None:
    """21 CFR 101.30 (i): of directly expressed juice so much counts as was added."""
    query = {**LOT, "ingredient": ingredient}
    litres = ask("amount-for-citrus", **query, target=8, unit="L")
    volume = ask("volume-after", **query, amount=f"{litres} L")
    assert 100.0 * litres / volume == pytest.approx(8.0, rel=1e-3)
    assert volume == pytest.approx(20.0 + litres, rel=2e-3)


def test_lemon_concentrate_goes_by_its_acid() -> None:
    """21 CFR 101.30: 4.5 % anhydrous citric acid by mass is single strength, of about 1.030 g/mL (computed)."""
    (row,) = rows("percent_juice_brix", juice="lemon")
    standard = float(row["single_strength_min_citric_anhydrous_mass_pct"])
    query = {**LOT, "ingredient": "lemon_concentrate"}
    for percent in (27.0, 33.0):
        acid = {"ingredient_titratable_acidity": f"{10.0 * percent} g/kg citric"}
        kilograms = ask("amount-for-citrus", **query, **acid, target=4, unit="kg")
        volume = ask("volume-after", **query, **acid, amount=f"{kilograms} kg")
        assert 100.0 * kilograms * percent / standard / 1.030 / volume == pytest.approx(4.0, rel=5e-3)


@pytest.mark.parametrize("name", ["honey", "cherry_tart_juice_concentrate_68", "citric_acid", "water"])
def test_what_holds_no_citrus_is_refused_by_name(name: str) -> None:
    ((pointer, words),) = refused("amount-for-citrus", **LOT, ingredient=name, target=5).items()
    assert pointer == "/ingredient"
    assert "holds no citrus juice" in words
    assert "from 0 to 5.0 %" in words


def test_citrus_juice_may_be_thinned() -> None:
    """40 % of a drink is juice when it has been filled up to two and a half times: water adds to its volume."""
    juice = {"volume": "10L", "gravity": 1.045, "abv_percent": 0, "class": "citrus_juice"}
    litres = ask("amount-for-citrus", **juice, ingredient="water_deionised", target=40, unit="L")
    assert litres == pytest.approx(15.0, rel=5e-3)
    assert "no citrus juice" in refused("amount-for-citrus", **juice, ingredient="water", target=120)["/ingredient"]


# The same as over JSON.


TARGETS: list[tuple[str, str, dict[str, Any], float | str]] = [
    ("amount-for-abv", "abv_percent", {"ingredient": "neutral_spirit_40"}, 9.5),
    ("amount-for-abv", "abv_percent", {"ingredient": "honey"}, 7.5),
    ("amount-for-abv", "abv_percent", {"ingredient": "water_deionised"}, 6.0),
    ("amount-for-citrus", "citrus_percent", {"ingredient": "lemon_juice"}, 3.0),
    ("amount-for-citrus", "citrus_percent", {"ingredient": "orange_concentrate", "measured": {"brix": 42.0}}, 20.0),
]


@pytest.mark.parametrize(("question", "name", "addition", "target"), TARGETS)
def test_the_amount_is_that_of_the_plan(question: str, name: str, addition: dict[str, Any], target: float) -> None:
    answer = plan({"lots": [lot_in_json()], "additions": [addition], "targets": {name: target}})
    (mass_g,) = (a["mass_g"] for a in answer["amounts"] if a["kind"] == "addition")
    query = {"ingredient": addition["ingredient"], **addition.get("measured", {})}
    assert ask(question, **LOT, **query, target=target) == pytest.approx(mass_g, rel=2e-6)
    shown = told(question, **LOT, **query, target=target)
    assert all(caution["text"] in shown for caution in answer["cautions"])


AFTER: list[tuple[str, str, dict[str, Any]]] = [
    ("volume-after", "volume", {}),
    ("sugar-after", "sugar_g_per_l", {}),
    ("sugar-after", "fermentable_sugar_g_per_l", {"sugar": "fermentable"}),
    ("sweetness-after", "sucrose_equivalent_g_per_l", {}),
    ("citrus-after", "citrus_percent", {}),
]


@pytest.mark.parametrize(("question", "name", "more"), AFTER)
@pytest.mark.parametrize("ingredient", ["honey", "orange_juice_concentrate_frozen", "lemon_juice"])
def test_the_drink_is_that_of_the_forecast(question: str, name: str, more: dict[str, Any], ingredient: str) -> None:
    recipe = {"name": "r", "lots": [lot_in_json()], "additions": [{"ingredient": ingredient, "amount": "500 g"}]}
    answer = forecast({"recipes": [recipe]})
    predicted = answer["recipes"][0]["predicted"][name]
    query = {**LOT, "ingredient": ingredient, "amount": "500 g", **more}
    assert ask(question, **query) == predicted["value"]
    assert ask(question, **query, bound="low") == predicted["low"]
    assert ask(question, **query, bound="high") == predicted["high"]
    shown = told(question, **query)
    assert all(caution["text"] in shown for caution in answer["cautions"])


def test_volumes_in_other_units() -> None:
    """NIST Handbook 44, Appendix C: a US gallon holds 3.785 411 784 L, a fluid ounce a 128th of it."""
    query = {**LOT, "ingredient": "honey", "amount": "1 kg"}
    litres = ask("volume-after", **query)
    assert ask("volume-after", **query, unit="gal") == pytest.approx(litres / 3.785411784, rel=1e-6)
    assert ask("volume-after", **query, unit="fl oz") == pytest.approx(litres * 128.0 / 3.785411784, rel=1e-6)
    low, high = (ask("volume-after", **query, unit="gal", bound=b) for b in ("low", "high"))
    assert low < litres / 3.785411784 < high


def test_sugar_adds_up() -> None:
    """A kilogram of sucrose in what becomes the drink, and the 4 g/L that were left in 20 L."""
    query = {**LOT, "ingredient": "sugar_white", "amount": "1 kg"}
    litres = ask("volume-after", **query)
    assert ask("sugar-after", **query) == pytest.approx((1000.0 + 80.0) / litres, rel=2e-3)
    assert 20.0 < litres < 20.7  # sucrose takes 0.62 mL/g (apparent specific volume, computed)
    # sucrose is the scale of sweetness itself, so only what is left of the lot's own sugar differs
    assert ask("sweetness-after", **query) == pytest.approx(ask("sugar-after", **query), rel=0.03)
    assert "acid hides some of it" in told("sweetness-after", **query)


def test_what_yeast_can_use_is_less_than_all_sugar() -> None:
    query = {**LOT, "ingredient": "honey", "amount": "1 kg"}
    left, all_of_it = ask("sugar-after", **query, sugar="fermentable"), ask("sugar-after", **query)
    assert 0.9 * all_of_it < left < all_of_it
    assert "yeast can use" in told("sugar-after", **query, sugar="fermentable")


@pytest.mark.parametrize(
    "target", ["5 g/L citric", "92 meq/L", "0.55 % citric", "7.12345 g/L tartaric", "4.1 g/L sulfuric"]
)
def test_an_acidity_may_be_asked_for_as_any_acid(target: str) -> None:
    """As tartaric acid that is a number with many digits, which is reached all the same."""
    query = {**LOT, "ingredient": "lemon_juice"}
    grams = ask("amount-for-acidity", **query, target=target)
    asked = {"additions": [{"ingredient": "lemon_juice"}], "targets": {"titratable_acidity": target}}
    amounts = plan({"lots": [lot_in_json()], **asked})["amounts"]
    assert grams == pytest.approx(next(a["mass_g"] for a in amounts if a["kind"] == "addition"), rel=2e-6)


# There and back.


THERE: dict[str, tuple[str, tuple[str, ...], tuple[float, float], float]] = {
    "gravity": (
        "amount-for-gravity",
        ("honey", "sugar_white", "cherry_tart_juice_concentrate_68"),
        (1.006, 1.06),
        2e-5,
    ),
    "abv": ("amount-for-abv", ("honey", "water", "orange_juice_fresh"), (4.0, 7.9), 6e-3),
    "citrus": ("amount-for-citrus", ("lemon_juice", "orange_concentrate", "grapefruit_juice"), (0.5, 60.0), 0.06),
    "ph": ("amount-for-ph", ("lemon_juice", "citric_acid", "potassium_bicarbonate"), (3.0, 3.8), 6e-3),
}


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_there_and_back(data: st.DataObject) -> None:
    """What is asked for comes out again, or nothing does: an amount for a target, then the drink with that amount."""
    name = data.draw(st.sampled_from(sorted(THERE)))
    question, ingredients, (low, high), within = THERE[name]
    ingredient = data.draw(st.sampled_from(ingredients))
    target = round(data.draw(st.floats(low, high)), 4)
    response = app().get(f"/v1/cell/{question}", params={**LOT, "ingredient": ingredient, "target": target})
    if response.status_code != 200:
        (error,) = response.json()["errors"]
        assert name == "ph", error  # which one of acid and carbonate moves only one way; all others can be reached
        assert error["pointer"] == "/target"
        assert (ingredient == "potassium_bicarbonate") is (target < LOT["ph"])
        return
    after = ask(f"{name}-after", **LOT, ingredient=ingredient, amount=f"{response.text} g")
    assert after == pytest.approx(target, abs=within)


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("amount-for-abv", {"ingredient": "honey", "target": 9}, "/target", "to 9 % vol: the nearest is 8"),
    ("amount-for-abv", {"ingredient": "neutral_spirit_40", "target": 45}, "/target", "a thousand times the lot"),
    ("amount-for-abv", {"ingredient": "honey", "target": 101}, "/target", "between 0 and 100"),
    ("amount-for-abv", {"ingredient": "vodca", "target": 9}, "/ingredient", "There is no ingredient"),
    ("amount-for-abv", {"ingredient": "honey", "target": "7,5"}, "/target", "Use a decimal point: 7.5."),
    ("amount-for-citrus", {"ingredient": "lemmon", "target": 5}, "/ingredient", "lemon_juice_fresh"),
    ("amount-for-citrus", {"ingredient": "lemon_juice", "target": 150}, "/target", "a thousand times the lot"),
    ("amount-for-citrus", {"ingredient": "lemon_juice"}, "/target", "needed"),
    ("volume-after", {"ingredient": "honey", "amount": "1 kg", "unit": "kg"}, "/unit", "gal"),
    ("sugar-after", {"ingredient": "honey", "amount": "1 kg", "sugar": "some"}, "/sugar", "fermentable"),
    ("citrus-after", {"ingredient": "lemon_juice", "amount": "300"}, "/amount", "unit is missing"),
]  # fmt: skip


@pytest.mark.parametrize(("question", "query", "pointer", "words"), REFUSED)
def test_what_is_no_number_is_refused_in_words(question: str, query: dict[str, Any], pointer: str, words: str) -> None:
    ((found, detail),) = refused(question, **LOT, **query).items()
    assert (found, words in detail) == (pointer, True), (found, detail)
