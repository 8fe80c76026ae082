"""Cells about acidity and pH: there and back, units, carbonates, what cannot be, and equivalent weights."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import app, forecast

LOT: dict[str, Any] = {
    "volume": "9.5L",
    "gravity": 0.9985,
    "abv_percent": 7.2,
    "titratable_acidity": "4.8 g/L tartaric",
    "ph": 3.5,
    "class": "mead",
}


def ask(question: str, status: int = 200, **query: Any) -> Any:
    """The response of a cell."""
    response = app().get(f"/v1/cell/{question}", params={**LOT, **query})
    assert response.status_code == status, response.text
    return response


def number(question: str, **query: Any) -> float:
    return float(ask(question, **query).text)


def refused(question: str, **query: Any) -> dict[str, str]:
    response = app().get(f"/v1/cell/{question}", params={**LOT, **query})
    assert response.status_code == 422, response.text
    assert response.headers["content-type"] == "application/problem+json"
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


def predicted(ingredient: str, amount: str, **lot: Any) -> dict[str, Any]:
    """The forecast of the same addition."""
    given = {**LOT, **lot, "name": "lot", "volume": "9.5 L"}
    recipe = {"name": "cell", "lots": [given], "additions": [{"ingredient": ingredient, "amount": amount}]}
    told: dict[str, Any] = forecast({"recipes": [recipe]})["recipes"][0]["predicted"]
    return told


THERE_AND_BACK = [
    ("lemon_juice", 3.2),
    ("citric_acid_anhydrous", 3.1),
    ("tartaric_acid", 3.3),
    ("lactic_acid_88", 3.35),
    ("cherry_tart_juice_concentrate_68", 3.45),
    ("potassium_bicarbonate", 3.8),
    ("calcium_carbonate", 3.7),
    ("potassium_carbonate", 4.2),
    ("orange_juice_fresh", 3.55),
    ("water_tap", 3.52),
]


@pytest.mark.parametrize(("ingredient", "target"), THERE_AND_BACK)
def test_the_amount_for_a_ph_gives_that_ph(ingredient: str, target: float) -> None:
    grams = number("amount-for-ph", ingredient=ingredient, target=target)
    assert grams > 0.0
    after = number("ph-after", ingredient=ingredient, amount=f"{grams:.6f} g")
    assert after == pytest.approx(target, abs=1e-3)


@pytest.mark.parametrize(
    ("ingredient", "target"),
    [
        ("lemon_juice", 6.5),
        ("malic_acid", 6.0),
        ("potassium_bicarbonate", 4.0),
        ("water_deionised", 4.0),
        ("honey", 4.6),
    ],
)
def test_the_amount_for_an_acidity_gives_that_acidity(ingredient: str, target: float) -> None:
    grams = number("amount-for-acidity", ingredient=ingredient, target=f"{target} g/L tartaric")
    after = number("acidity-after", ingredient=ingredient, amount=f"{grams:.6f} g")
    assert after == pytest.approx(target, abs=1e-3)


@pytest.mark.parametrize(("ingredient", "amount"), [("lemon_juice", "300 mL"), ("potassium_bicarbonate", "10 g")])
def test_cells_are_forecasts(ingredient: str, amount: str) -> None:
    shown = predicted(ingredient, amount)
    assert number("ph-after", ingredient=ingredient, amount=amount) == shown["ph"]["value"]
    for acid in ("tartaric", "citric", "malic", "lactic", "sulfuric"):
        value = number("acidity-after", ingredient=ingredient, amount=amount, acid=acid)
        assert value == shown["titratable_acidity"][f"g_per_l_{acid}"], acid
    meq = number("acidity-after", ingredient=ingredient, amount=amount, acid="meq")
    assert meq == shown["titratable_acidity"]["meq_per_l"]


def test_an_amount_in_millilitres_is_the_mass_over_the_density() -> None:
    query = {"ingredient": "lemon_juice", "target": 3.2}
    grams = number("amount-for-ph", **query, unit="g")
    millilitres = number("amount-for-ph", **query, unit="mL")
    query_of_mass = {"ingredient": "lemon_juice", "volume": "1000mL", "unit": "kg"}
    density = float(app().get("/v1/cell/mass-from-volume", params=query_of_mass).text)
    assert grams / millilitres == pytest.approx(density, rel=1e-4)
    assert 1.02 < density < 1.04
    after = number("ph-after", ingredient="lemon_juice", amount=f"{millilitres:.6f} mL")
    assert after == pytest.approx(3.2, abs=1e-3)


def test_a_powder_has_no_millilitres() -> None:
    words = refused("amount-for-ph", ingredient="potassium_bicarbonate", target=3.8, unit="mL")
    assert list(words) == ["/unit"]


def test_a_gram_per_litre_of_bicarbonate_takes_three_quarters_of_a_gram_of_acid() -> None:
    """1000/100.115 meq/g over 1000/75.04: 0.7495 g/L as tartaric for each g/L, by formula mass."""
    before = number("acidity-after", ingredient="potassium_bicarbonate", amount="0 g")
    after = number("acidity-after", ingredient="potassium_bicarbonate", amount="9.5 g")
    assert before == pytest.approx(4.8, abs=1e-3)
    assert before - after == pytest.approx(75.04 / 100.115, rel=5e-3)
    raised = number("ph-after", ingredient="potassium_bicarbonate", amount="9.5 g")
    assert raised > 3.6


UNREACHABLE = [("honey", 2.5), ("lemon_juice", 2.0), ("lemon_juice", 4.5), ("water_deionised", 3.2)]


@pytest.mark.parametrize(("ingredient", "target"), UNREACHABLE)
def test_a_ph_out_of_reach_is_refused_with_words(ingredient: str, target: float) -> None:
    words = refused("amount-for-ph", ingredient=ingredient, target=target)
    assert list(words) == ["/target"]
    assert "nearest" in words["/target"] or "thousand" in words["/target"]


@pytest.mark.parametrize("target", [1.0, 10.5])
def test_a_ph_that_no_drink_has_is_refused(target: float) -> None:
    assert list(refused("amount-for-ph", ingredient="citric_acid_anhydrous", target=target)) == ["/target"]


def test_the_end_point_is_that_of_reading_and_answer() -> None:
    query = {"ingredient": "lemon_juice", "amount": "300 mL"}
    seven, eight = (number("acidity-after", **query, titration_end_point_ph=e) for e in (7.0, 8.2))
    shown = predicted("lemon_juice", "300 mL")["titratable_acidity"]["value"]
    assert eight == pytest.approx(shown, abs=1e-3)
    # the lot read 4.8 to either end point, so only the lemon's acid differs, by 2 to 5 % (computed)
    lot = 4.8 * 9.5 / 9.8
    assert 0.95 < (seven - lot) / (eight - lot) < 0.98
    words = refused("acidity-after", **query, titration_end_point_ph=5.0)
    assert list(words) == ["/titration_end_point_ph"]


def test_readings_that_cannot_be_are_refused_by_name() -> None:
    words = refused("ph-after", ingredient="honey", amount="100 g", ph=2.2, titratable_acidity="2 g/L tartaric")
    assert list(words) == ["/ph"]


def test_measured_juice_in_a_cell() -> None:
    query = {"ingredient": "lemon_juice", "amount": "300 mL"}
    plain = number("acidity-after", **query)
    sourer = number("acidity-after", **query, ingredient_titratable_acidity="55 g/L citric")
    assert sourer > plain
    less = number("ph-after", **query, ingredient_titratable_acidity="55 g/L citric", ingredient_ph=2.2)
    more = number("ph-after", **query, ingredient_titratable_acidity="55 g/L citric", ingredient_ph=2.5)
    assert less < more


EQUIVALENT_WEIGHTS = {
    "tartaric": 150.087 / 2,
    "citric": 192.124 / 3,
    "malic": 134.087 / 2,
    "lactic": 90.078,
    "sulfuric": 98.08 / 2,
    "meq": 1000.0,
}
"""Formula masses over the hydrogens titrated (IUPAC atomic masses); g/eq, for meq/L a thousand per g/L."""


@pytest.mark.parametrize("given_as", EQUIVALENT_WEIGHTS)
@pytest.mark.parametrize("wanted_as", EQUIVALENT_WEIGHTS)
def test_acid_from_acid_by_equivalent_weights(given_as: str, wanted_as: str) -> None:
    response = app().get("/v1/cell/acid-from-acid", params={"value": 6.5, "given_as": given_as, "wanted_as": wanted_as})
    expected = 6.5 * EQUIVALENT_WEIGHTS[wanted_as] / EQUIVALENT_WEIGHTS[given_as]
    if given_as == "meq":
        expected = 6.5 * EQUIVALENT_WEIGHTS[wanted_as] / 1000.0
    elif wanted_as == "meq":
        expected = 6.5 * 1000.0 / EQUIVALENT_WEIGHTS[given_as]
    assert float(response.text) == pytest.approx(6.5 if given_as == wanted_as else expected, rel=2e-4, abs=6e-5)
