"""`dose-of-sulfite` and `dose-of-sorbate`: one number, and a refusal wherever the plan would not dose."""

from __future__ import annotations

from typing import Any

import pytest

from tests.api.real import app, stabilise

DRINK: dict[str, Any] = {"volume": "20L", "ph": 3.3, "abv_percent": 12, "fermentation_finished": 1}
BODY: dict[str, Any] = {"volume_at_dosing": "20 L", "ph": 3.3, "abv_percent": 12, "fermentation_finished": True}


def query(**change: Any) -> dict[str, Any]:
    return {name: value for name, value in {**DRINK, **change}.items() if value is not None}


def cell(question: str, **change: Any) -> float:
    response = app().get(f"/v1/cell/{question}", params=query(**change))
    assert response.status_code == 200, response.text
    return float(response.text)


def refused(question: str, **change: Any) -> tuple[str, str]:
    response = app().get(f"/v1/cell/{question}", params=query(**change))
    assert response.status_code == 422, response.text
    (error,) = response.json()["errors"]
    return error["pointer"], error["detail"]


def grams(body: dict[str, Any], salt: str) -> float:
    (mass,) = (dose["mass_g"] for dose in stabilise(body)["doses"] if dose["salt"] == salt)
    return float(mass)


def test_sulfite_by_formula_masses() -> None:
    # 30/(1 − 0.4) = 50 mg/L in 20 L is 1 g of SO2; a salt of 57 % takes 1.754 g
    assert cell("dose-of-sulfite", free="30mg/L") == pytest.approx(1.0 / 0.57, abs=1e-4)
    assert cell("dose-of-sulfite", free="30ppm", bound_share=0) == pytest.approx(0.6 / 0.57, abs=1e-4)
    assert cell("dose-of-sulfite", free="30mg/L", so2_share_percent=50) == pytest.approx(2.0, abs=1e-4)
    assert cell("dose-of-sulfite", free="30mg/L", unit="oz") == pytest.approx(1.0 / 0.57 / 28.349523125, abs=1e-5)


def test_sorbate_by_the_published_table() -> None:
    # T. Underhill, Making Better Wines: 4 mL/L of 30 g/L at 12 % vol and pH 3.3
    assert cell("dose-of-sorbate") == pytest.approx(4.0 * 0.030 * 20.0, abs=1e-4)
    assert cell("dose-of-sorbate", purity_percent=80) == pytest.approx(3.0, abs=1e-4)


def test_the_numbers_are_those_of_the_plan() -> None:
    sulfite = {**BODY, "hurdles": ["sulfite"], "molecular_so2_target": "0.5 mg/L", "free_so2_now": "5 mg/L"}
    assert cell("dose-of-sulfite", molecular="0.5mg/L", free_now="5mg/L") == grams(sulfite, "potassium_metabisulfite")
    both = {**BODY, "sorbic_acid_target": "120 mg/L", "volume_at_packaging": "24 L", "market": "us"}
    more = {"sorbic": "120mg/L", "volume_at_packaging": "24L", "market": "us"}
    assert cell("dose-of-sulfite", **more) == grams(both, "potassium_metabisulfite")
    assert cell("dose-of-sorbate", **more) == grams(both, "potassium_sorbate")


def test_sorbate_in_the_drink_takes_more_sulfite() -> None:
    assert cell("dose-of-sulfite", sorbic="150mg/L") > cell("dose-of-sulfite")


def test_enough_already_is_nought() -> None:
    assert cell("dose-of-sulfite", free="30mg/L", free_now="40mg/L") == 0.0


@pytest.mark.parametrize("question", ["dose-of-sulfite", "dose-of-sorbate"])
def test_a_moving_ferment_is_refused(question: str) -> None:
    pointer, detail = refused(question, fermentation_finished=None)
    assert pointer == "/fermentation_finished"
    assert "Nothing shows that the ferment has ended" in detail
    assert "has not ended" in refused(question, fermentation_finished=0)[1]


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("dose-of-sorbate", {"abv_percent": 6}, "/abv_percent", "it starts at 10 % vol"),
    ("dose-of-sorbate", {"ph": 3.7}, "/ph", "it ends at pH 3.5"),
    ("dose-of-sorbate", {"malolactic_possible": 1}, "/malolactic_possible", "geranium"),
    ("dose-of-sorbate", {"sorbic": "250mg/L"}, "/sorbic", "over 200 mg/L"),
    ("dose-of-sorbate", {"sorbic": "250"}, "/sorbic", "unit is missing"),
    ("dose-of-sulfite", {"sorbic": "120mg/L", "free": "0mg/L"}, "/sorbic", "too little beside sorbate"),
    ("dose-of-sulfite", {"raw_juice_after": 1}, "/raw_juice_after", "yeast and bacteria back"),
    ("dose-of-sulfite", {"free": "190mg/L", "market": "eu"}, "/free", "the target cannot be met"),
    ("dose-of-sulfite", {"free": "190mg"}, "/free", "not known"),
    ("dose-of-sulfite", {"free": "30mg/L", "molecular": "1mg/L"}, "/molecular", "leave one out"),
    ("dose-of-sulfite", {"ph": 4.8}, "/ph", "above 4.6"),
    ("dose-of-sulfite", {"so2_share_percent": 0.57}, "/so2_share_percent", "did you mean 57?"),
    ("dose-of-sulfite", {"so2_share_percent": 1e-320}, "/so2_share_percent", "too little SO2 from metabisulfite"),
    ("dose-of-sulfite", {"so2_share_percent": 5.7}, "/so2_share_percent", "57 fresh, about 50 as it ages"),
    ("dose-of-sorbate", {"purity_percent": 0.99}, "/purity_percent", "did you mean 99?"),
    ("dose-of-sulfite", {"volume": "20"}, "/volume", "unit is missing"),
    ("dose-of-sulfite", {"volume_at_packaging": "90L"}, "/volume_at_packaging", "Blend first"),
    ("dose-of-sulfite", {"unit": "mL"}, "/unit", ""),
    ("dose-of-sulfite", {"pk_basis": "oiv", "temperature": "50F"}, "/pk_basis", "OIV table"),
]


@pytest.mark.parametrize(("question", "change", "pointer", "words"), REFUSED)
def test_what_the_plan_would_not_dose_is_refused(
    question: str, change: dict[str, Any], pointer: str, words: str
) -> None:
    place, detail = refused(question, **change)
    assert place == pointer
    assert words in detail


def test_the_honest_reason_at_6_percent() -> None:
    _, detail = refused("dose-of-sorbate", abv_percent=6)
    assert "no dose is published, and the legal maximum may not hold it" in detail


@pytest.mark.parametrize("question", ["dose-of-sulfite", "dose-of-sorbate"])
def test_explained_the_cautions_come_along(question: str) -> None:
    response = app().get(f"/v1/cell/{question}", params=query(explain=1))
    assert "WARNING: Neither salt kills yeast" in response.text
    assert "follow local law and licensed practice." in response.text
    assert "safe" not in response.text.lower()


@pytest.mark.parametrize("question", ["dose-of-sulfite", "dose-of-sorbate"])
def test_every_parameter_is_described(question: str) -> None:
    paths = app().get("/v1/openapi.json").json()["paths"]
    parameters = paths[f"/v1/cell/{question}"]["get"]["parameters"]
    assert len(parameters) > 10
    assert not [p["name"] for p in parameters if not p.get("description")]
