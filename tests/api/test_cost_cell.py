"""`cost`: what an amount of an ingredient costs."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.api.real import app, forecast

HONEY: dict[str, Any] = {"ingredient": "honey", "amount": "2.2 kg", "price": 6.5, "per": "1 kg"}
LOT = {"name": "lot", "volume": "20 L", "gravity": 0.999, "abv_percent": 8.0}


def ask(**change: Any) -> float:
    response = app().get("/v1/cell/cost", params={**HONEY, **change})
    assert response.status_code == 200, response.text
    return float(response.text)


def told(**change: Any) -> str:
    return app().get("/v1/cell/cost", params={**HONEY, **change, "explain": 1}).text


PRICES: list[tuple[dict[str, Any], float]] = [
    ({}, 2.2 * 6.5),
    ({"per": "500 g"}, 2.2 * 13.0),
    ({"amount": "3 lb", "per": "1 lb"}, 3.0 * 6.5),
    ({"amount": "8 oz", "ingredient": "sugar_white", "per": "1 lb"}, 0.5 * 6.5),
    ({"amount": "2 gal", "ingredient": "orange_concentrate", "per": "1 qt"}, 8.0 * 6.5),
    ({"per": "1 pack", "pack": "1.1 kg"}, 2.0 * 6.5),
    ({"per": "12 packs", "pack": "100 g"}, 22.0 / 12.0 * 6.5),
    ({"amount": "3 packs", "per": "1 pack", "pack": "12 oz wt"}, 3.0 * 6.5),
    ({"amount": "3 packs", "per": "1 kg", "pack": "500 g"}, 1.5 * 6.5),
    ({"amount": "0 g"}, 0.0),
    ({"price": 0}, 0.0),
]


@pytest.mark.parametrize(("change", "expected"), PRICES)
def test_a_price_times_how_often_it_is_paid(change: dict[str, Any], expected: float) -> None:
    """16 oz are a pound and 4 qt a gallon: NIST Handbook 44, Appendix C."""
    assert ask(**change) == pytest.approx(expected, rel=1e-6)


def test_a_mass_at_a_price_by_volume_goes_by_the_density() -> None:
    response = app().get("/v1/cell/mass-from-volume", params={"ingredient": "honey", "volume": "1 L", "unit": "kg"})
    assert ask(per="1 L") == pytest.approx(2.2 * 6.5 / float(response.text), rel=1e-6)
    # thinner honey is lighter, so the same mass is more of it
    assert ask(per="1 L", moisture_percent=20) > ask(per="1 L", moisture_percent=16)


@pytest.mark.parametrize(
    ("addition", "query"),
    [
        ({"ingredient": "honey", "amount": "2.2 kg"}, {"per": "1 kg"}),
        ({"ingredient": "lemon_juice", "amount": "750 mL"}, {"per": "1 L"}),
        (
            {"ingredient": "orange_concentrate", "amount": "3 lb", "measured": {"brix": 42.0}},
            {"per": "12 fl oz", "brix": 42.0},
        ),
    ],
)
def test_it_is_the_cost_of_the_forecast(addition: dict[str, Any], query: dict[str, Any]) -> None:
    priced = {**addition, "price": {"amount": 6.5, "per": query["per"]}}
    answer = forecast({"recipes": [{"name": "r", "lots": [LOT], "additions": [priced]}]})["recipes"][0]
    found = ask(ingredient=addition["ingredient"], amount=addition["amount"], **query)
    (amount,) = (a for a in answer["amounts"] if a["kind"] == "addition")
    assert found == pytest.approx(amount["cost"], abs=1e-4)
    assert found == pytest.approx(answer["predicted"]["cost"]["value"], abs=6e-3)


@settings(max_examples=25, deadline=None)
@given(st.integers(1, 50_000), st.integers(1, 5_000), st.integers(0, 100_000))
def test_parts_cost_what_the_whole_costs(grams: int, pack_g: int, price: int) -> None:
    query = {"price": price / 100.0, "per": "1 pack", "pack": f"{pack_g} g"}
    whole = ask(**query, amount=f"{grams} g")
    assert ask(**query, amount=f"{2 * grams} g") == pytest.approx(2.0 * whole, rel=1e-6)
    assert whole == pytest.approx(grams / pack_g * price / 100.0, rel=1e-6)


def test_what_has_to_be_bought_is_told() -> None:
    query = {"per": "1 pack", "pack": "1 kg", "currency": "EUR"}
    assert told(**query).startswith(
        "14.3 EUR for 2.2 kg of Honey, US average, at 6.5 EUR for 1 pack. Bought whole: 3 packs of 1 kg, 19.5 EUR."
    )
    assert "Bought whole: 1 pack of 2.2 kg, 6.5." in told(per="1 pack", pack="2.2 kg")
    assert "Bought" not in told()


@pytest.mark.parametrize(("currency", "unit"), [({"currency": "EUR"}, "EUR"), ({}, "1")])
def test_the_currency_is_only_told(currency: dict[str, str], unit: str) -> None:
    assert ask(**currency) == ask()
    assert f"<unit>{unit}</unit>" in app().get("/v1/cell/cost.xml", params={**HONEY, **currency}).text


REFUSED: list[tuple[dict[str, Any], str, str]] = [
    ({"per": "1 pack"}, "/per", "Say what a pack holds"),
    ({"amount": "3 packs"}, "/pack", "Say what a pack holds"),
    ({"pack": "0 kg"}, "/pack", "more than nothing"),
    ({"per": "0 kg"}, "/per", "more than nothing"),
    ({"per": "kg"}, "/per", "begin with a number"),
    ({"amount": "2.2"}, "/amount", "unit is missing"),
    ({"amount": "2.2 kg ± 0.1 kg"}, "/amount", "an error (±)"),
    ({"amount": "8 oz"}, "/amount", "fl oz, or oz by weight?"),
    ({"ingredient": "sugar_white", "per": "1 cup"}, "/per", "weigh it"),
    ({"ingredient": "sugar_white", "amount": "1 cup"}, "/amount", "weigh it"),
    ({"ingredient": "hony"}, "/ingredient", "honey_average"),
    ({"price": "6,5"}, "/price", "Use a decimal point: 6.5."),
    ({"price": -1}, "/price", "0 or more"),
    ({"price": "EUR 6"}, "/price", "a number"),
    ({"moisture_percent": 60}, "/moisture_percent", "60"),
    ({"bound": "low"}, "/bound", "no interval"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "pointer", "words"), REFUSED)
def test_what_has_no_cost_is_refused_in_words(change: dict[str, Any], pointer: str, words: str) -> None:
    response = app().get("/v1/cell/cost", params={**HONEY, **change})
    assert response.status_code == 422, response.text
    ((found, detail),) = {e["pointer"]: e["detail"] for e in response.json()["errors"]}.items()
    assert (found, words in detail) == (pointer, True), (found, detail)
