"""`energy-per-serving`, `drinks-per-container` and `juice-percent`: the numbers of a label."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import app

DRINK: dict[str, Any] = {
    "abv_percent": 5.5,
    "sugar_g_per_l": 88,
    "titratable_acidity": "5.5 g/L citric",
    "serving": "330mL",
}
ORANGE: dict[str, Any] = {"ingredient": "orange_concentrate", "amount": "2L", "volume": "30L", "brix": 41.8}


LEMON: dict[str, Any] = {"ingredient": "lemon_juice", "amount": "2L", "volume": "30L"}
ACID = "/ingredient_titratable_acidity"


def cell(question: str, **query: Any) -> float:
    response = app().get(f"/v1/cell/{question}", params=query)
    assert response.status_code == 200, response.text
    return float(response.text)


def sentence(question: str, **query: Any) -> str:
    response = app().get(f"/v1/cell/{question}", params={**query, "explain": 1})
    assert response.status_code == 200, response.text
    return response.text


def test_energy_of_the_worked_drink() -> None:
    """Factors of Regulation (EU) No 1169/2011, Annex XIV: 221.9 kcal and 932.7 kJ (computed)."""
    assert cell("energy-per-serving", **DRINK) == pytest.approx(221.9, abs=0.05)
    assert cell("energy-per-serving", **DRINK, unit="kJ") == pytest.approx(932.7, abs=0.05)
    # acid at 4 in place of 3 kcal/g (general factors, from memory, unverified)
    assert cell("energy-per-serving", **DRINK, factors="us") == pytest.approx(221.9 + 5.5 * 0.33, abs=0.05)
    twelve = cell("energy-per-serving", **{**DRINK, "serving": "12floz"})
    assert twelve == pytest.approx(221.9 * 354.88 / 330.0, abs=0.1)


def test_energy_without_acid_says_so() -> None:
    text = sentence("energy-per-serving", **{k: v for k, v in DRINK.items() if k != "titratable_acidity"})
    assert "Assumed: acid of the drink = none" in text
    assert "an estimate, not a lab analysis" in text
    assert "Assumed: acid" not in sentence("energy-per-serving", **DRINK)


def test_drinks_of_the_worked_container() -> None:
    """1.02 US drinks, 1.81 UK units, 1.43 Australian drinks in 330 mL of 5.5 % vol (computed)."""
    asked = {"abv_percent": 5.5, "container": "330mL"}
    assert cell("drinks-per-container", **asked) == pytest.approx(1.02, abs=0.0051)
    assert cell("drinks-per-container", **asked, size="uk") == pytest.approx(1.81, abs=0.0051)
    assert cell("drinks-per-container", **asked, size="au") == pytest.approx(1.43, abs=0.0051)
    assert cell("drinks-per-container", **asked, size="who") == cell("drinks-per-container", **asked, size="au")


def test_drinks_by_the_error_of_the_strength() -> None:
    asked = {"abv_percent": 5.5, "container": "330mL"}
    at = {bound: cell("drinks-per-container", **asked, bound=bound, strength_error=0.5) for bound in ("low", "high")}
    value = cell("drinks-per-container", **asked)
    half = value * 1.6448536 * 0.5 / 5.5  # 90 % of a normal law
    assert (at["low"], at["high"]) == pytest.approx((value - half, value + half), rel=1e-6)
    assert cell("drinks-per-container", **asked, bound="high", strength_error=0) == value
    assert "±0.25 % vol" in sentence("drinks-per-container", **asked)
    assert "±0.25 % vol" not in sentence("drinks-per-container", **asked, strength_error=0.1)


def test_no_alcohol_no_caution_about_it() -> None:
    asked = {"abv_percent": 0, "container": "330mL", "strength_error": 0}
    assert cell("drinks-per-container", **asked) == 0.0
    assert "adults of legal age" not in sentence("drinks-per-container", **asked)
    assert "adults of legal age" in sentence("drinks-per-container", **{**asked, "abv_percent": 5})


def test_percent_juice_of_worked_batches() -> None:
    """21 CFR 101.30: 26.8, 2.9 and 2.5 % of 30 L (computed); lemon concentrate by its own density is 2.85."""
    assert cell("juice-percent", **ORANGE) == pytest.approx(26.8, abs=0.05)
    lemon = {"ingredient": "lemon_concentrate", "amount": "0.10L", "volume": "30L"}
    assert cell("juice-percent", **lemon, ingredient_titratable_acidity="400 g/L citric") == pytest.approx(
        2.9, abs=0.06
    )
    assert cell("juice-percent", ingredient="lemon_juice", amount="0.75L", volume="30L") == pytest.approx(2.5, abs=1e-6)


def test_percent_juice_in_words() -> None:
    assert "declared as 26 percent juice" in sentence("juice-percent", **ORANGE)
    assert "declared as less than 1 percent juice" in sentence("juice-percent", **{**ORANGE, "amount": "50mL"})
    assert "composition =" not in sentence("juice-percent", **ORANGE)
    table = {name: value for name, value in ORANGE.items() if name != "brix"}
    assert "composition = typical of the table" in sentence("juice-percent", **table)


@pytest.mark.parametrize("name", ["honey", "citric_acid", "sugar_white"])
def test_what_is_no_juice_counts_nothing(name: str) -> None:
    """21 CFR 101.30: acid and sugar beside the juice do not count."""
    asked = {"ingredient": name, "amount": "500g", "volume": "30L"}
    assert cell("juice-percent", **asked) == 0.0
    assert "do not count" in sentence("juice-percent", **asked)


def test_a_drink_that_just_fits_is_answered() -> None:
    """Alcohol alone, 789.24 g/L (OIML R 22, 1975: 789.24 kg/m3 at 20 °C) at 7 kcal/g; and a syrup of sugar alone."""
    full = {"abv_percent": 100, "sugar_g_per_l": 0, "serving": "10mL"}
    assert cell("energy-per-serving", **full) == pytest.approx(0.01 * 7 * 789.24, rel=1e-4)
    syrup = {"abv_percent": 0, "sugar_g_per_l": 1000, "serving": "100mL"}
    assert cell("energy-per-serving", **syrup) == pytest.approx(400.0, rel=1e-6)


def test_no_more_drinks_than_of_pure_alcohol() -> None:
    asked = {"container": "330mL", "strength_error": 5, "bound": "high"}
    pure = cell("drinks-per-container", abv_percent=100, container="330mL", strength_error=0)
    assert cell("drinks-per-container", **asked, abv_percent=99) == pytest.approx(pure)
    assert cell("drinks-per-container", **asked, abv_percent=50) < pure


def test_an_acid_that_the_juice_can_have_is_taken() -> None:
    assert cell("juice-percent", **LEMON, ingredient_titratable_acidity="70 g/L citric") > 0.0


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("energy-per-serving", {**DRINK, "serving": "330"}, "/serving", "unit is missing"),
    ("energy-per-serving", {**DRINK, "serving": "0mL"}, "/serving", "above 0"),
    ("energy-per-serving", {**DRINK, "titratable_acidity": "5.5"}, "/titratable_acidity", "unit is missing"),
    ("energy-per-serving", {**DRINK, "serving": "9 mL"}, "/serving", "10 mL or more"),
    ("energy-per-serving", {**DRINK, "serving": "330mL ± 5 mL"}, "/serving", "±"),
    ("energy-per-serving", {**DRINK, "titratable_acidity": "5 ± 1 g/L citric"}, "/titratable_acidity", "±"),
    ("energy-per-serving", {**DRINK, "titratable_acidity": "500 g/L citric"}, "/titratable_acidity", "no drink"),
    ("energy-per-serving", {**DRINK, "abv_percent": 100, "sugar_g_per_l": 1000}, "/sugar_g_per_l", "not fit"),
    ("drinks-per-container", {"abv_percent": 5.5, "container": "330mL ± 5 mL"}, "/container", "±"),
    ("juice-percent", {**ORANGE, "amount": "2L ± 0.1 L"}, "/amount", "±"),
    ("juice-percent", {**ORANGE, "volume": "30L ± 1 L"}, "/volume", "±"),
    ("juice-percent", {**ORANGE, "brix": 99}, "/brix", "no liquid"),
    ("juice-percent", {**ORANGE, "brix": 99, "amount": "2kg"}, "/brix", "no liquid"),
    ("juice-percent", {**ORANGE, "brix": 90}, "/brix", "no liquid"),
    ("juice-percent", {**ORANGE, "brix": 2}, "/brix", "weaker than single strength"),
    ("juice-percent", {**LEMON, "ingredient_titratable_acidity": "400 g/L citric"}, ACID, "far from the 4 to 6 %"),
    ("juice-percent", {**LEMON, "ingredient_titratable_acidity": "5 g/L citric"}, ACID, "far from the 4 to 6 %"),
    ("juice-percent", {**LEMON, "ingredient_titratable_acidity": "50 ± 1 g/L citric"}, ACID, "±"),
    ("energy-per-serving", {**DRINK, "abv_percent": 101}, "/abv_percent", "100 or less"),
    ("energy-per-serving", {**DRINK, "factors": "us", "unit": "kJ"}, "/unit", "ask for kcal"),
    ("energy-per-serving", {**DRINK, "bound": "low"}, "/bound", "ask without bound"),
    ("drinks-per-container", {"abv_percent": 5.5, "container": "330mL", "size": "pub"}, "/size", "one of"),
    ("drinks-per-container", {"abv_percent": 5.5, "container": "330g"}, "/container", "volume"),
    ("drinks-per-container", {"container": "330mL"}, "/abv_percent", "needed"),
    ("juice-percent", {**ORANGE, "ingredient": "orangge"}, "/ingredient", "orange"),
    ("juice-percent", {**ORANGE, "volume": "1L"}, "/volume", "smaller than what goes into it"),
    ("juice-percent", {**ORANGE, "amount": "2"}, "/amount", "unit is missing"),
    (
        "juice-percent",
        {**ORANGE, "brix": None, "ingredient_titratable_acidity": "4"},
        "/ingredient_titratable_acidity",
        "unit is missing",
    ),
]


@pytest.mark.parametrize(("question", "query", "pointer", "words"), REFUSED)
def test_refusals_name_the_parameter(question: str, query: dict[str, Any], pointer: str, words: str) -> None:
    response = app().get(f"/v1/cell/{question}", params={k: v for k, v in query.items() if v is not None})
    assert response.status_code == 422, response.text
    (error,) = response.json()["errors"]
    assert error["pointer"] == pointer
    assert words in error["detail"]
