"""Cells that count packs: the number that comes nearest, what it reaches, and a caution where it misses."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.api.real import app, plan

LOT: dict[str, Any] = {
    "volume": "20L",
    "gravity": 0.999,
    "abv_percent": 8.0,
    "titratable_acidity": "5 g/L tartaric",
    "ph": 3.4,
}
NEAREST = "Packs miss the target"


def ask(question: str, **query: Any) -> float:
    response = app().get(f"/v1/cell/{question}", params={**LOT, **query})
    assert response.status_code == 200, response.text
    return float(response.text)


def told(question: str, **query: Any) -> str:
    response = app().get(f"/v1/cell/{question}", params={**LOT, **query, "explain": 1})
    assert response.status_code == 200, response.text
    return response.text


def refused(question: str, **query: Any) -> dict[str, str]:
    response = app().get(f"/v1/cell/{question}", params={**LOT, **query})
    assert response.status_code == 422, response.text
    return {error["pointer"]: error["detail"] for error in response.json()["errors"]}


CASES: list[tuple[str, str, str, float | str, str, bool]] = [
    ("gravity", "gravity", "honey", 1.014, "340 g", False),
    ("gravity", "gravity", "orange_concentrate", 1.014, "12 fl oz", False),
    ("gravity", "gravity", "sugar_white", 1.014, "1 kg", True),
    ("gravity", "gravity", "honey", 1.0005, "1 kg", False),
    ("abv", "abv_percent", "neutral_spirit_40", 9.3, "0.7 L", False),
    ("abv", "abv_percent", "water", 7.1, "5 L", True),
    ("acidity", "titratable_acidity", "lemon_juice", "6.2 g/L tartaric", "250 mL", False),
    ("acidity", "titratable_acidity", "citric_acid", "6.2 g/L tartaric", "50 g", True),
    ("citrus", "citrus_percent", "orange_concentrate", 12.0, "12 fl oz", False),
    ("citrus", "citrus_percent", "lemon_juice", 2.0, "100 mL", False),
]


@pytest.mark.parametrize(("question", "name", "ingredient", "target", "pack", "half"), CASES)
def test_the_number_is_that_of_the_plan(
    question: str, name: str, ingredient: str, target: float | str, pack: str, half: bool
) -> None:
    addition = {"ingredient": ingredient, "pack": pack, "half_packs": half}
    answer = plan({"lots": [{"name": "lot", **LOT}], "additions": [addition], "targets": {name: target}})
    assert answer["outcome"] in ("targets_met", "nearest_measurable")
    (amount,) = (a for a in answer["amounts"] if a["kind"] == "addition")
    query = {"ingredient": ingredient, "target": target, "pack": pack, "half_packs": int(half)}
    assert ask(f"amount-for-{question}", **query) == amount["packs"]
    sentence = told(f"amount-for-{question}", **query)
    assert (NEAREST in sentence) is (answer["outcome"] == "nearest_measurable")
    assert f"({pack} each) of " in sentence


AFTER = {
    "gravity": ("honey", (1.002, 1.05), ("250 g", "1 kg", "3 lb")),
    "abv": ("neutral_spirit_40", (8.2, 14.0), ("0.7 L", "1 L")),
    "ph": ("lemon_juice", (3.0, 3.38), ("100 mL", "250 mL")),
    "citrus": ("orange_concentrate", (1.0, 40.0), ("12 fl oz", "1 L")),
}


def _how_near(name: str, ingredient: str, target: float, pack: str, half: bool) -> list[tuple[float, float]]:
    """Each count beside the one answered, and how far it misses."""
    query = {"ingredient": ingredient, "target": target, "pack": pack, "half_packs": int(half)}
    count, part = ask(f"amount-for-{name}", **query), 0.5 if half else 1.0
    assert count % part == 0.0
    number, _, unit = pack.partition(" ")
    found = []
    for other in (count, count - part, count + part):
        if other >= 0.0:
            after = ask(f"{name}-after", ingredient=ingredient, amount=f"{other * float(number):.6f} {unit}")
            found.append((other, abs(after - target)))
    return found


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_no_other_number_comes_nearer(data: st.DataObject) -> None:
    """One pack more and one less, poured by the other question, are never nearer to the target."""
    name = data.draw(st.sampled_from(sorted(AFTER)))
    ingredient, (low, high), packs = AFTER[name]
    target = round(data.draw(st.floats(low, high)), 4)
    (_, miss), *others = _how_near(
        name, ingredient, target, data.draw(st.sampled_from(packs)), data.draw(st.booleans())
    )
    shown = {"gravity": 1e-5, "abv": 1e-3, "ph": 1e-3, "citrus": 1e-2}[name]
    assert all(miss <= other + shown for _, other in others)


@pytest.mark.parametrize("target", [3.1, 3.15, 3.2, 3.25, 3.3, 3.35, 3.38])
@pytest.mark.parametrize("pack", ["100 mL", "200 mL", "300 mL"])
def test_a_ph_gets_the_nearest_number_too(target: float, pack: str) -> None:
    """There a plan proves nothing, and may call it no plan; the number is the nearest all the same."""
    (_, miss), *others = _how_near("ph", "lemon_juice", target, pack, half=False)
    assert all(miss <= other + 1e-3 for _, other in others)


def test_packs_that_fit_are_met_without_a_caution() -> None:
    grams = ask("amount-for-gravity", ingredient="honey", target=1.014)
    query = {"ingredient": "honey", "target": 1.014, "pack": f"{grams / 3.0:.4f} g"}
    assert ask("amount-for-gravity", **query) == 3.0
    sentence = told("amount-for-gravity", **query)
    assert sentence.startswith("3 packs (")
    assert "brings 20 L to SG 1.0140" in sentence
    assert NEAREST not in sentence


def test_a_miss_is_told_with_what_it_reaches() -> None:
    query: dict[str, Any] = {"ingredient": "honey", "target": 1.013, "pack": "1 kg"}
    count = ask("amount-for-gravity", **query)
    reached = ask("gravity-after", ingredient="honey", amount=f"{count} kg")
    words = app().get("/v1/cell/caution/amount-for-gravity", params={**LOT, **query}).text
    assert f"WARNING: {NEAREST}: {reached:.4f} with 1 pack, not 1.013." in words
    assert "1 pack (1 kg each) of Honey, US average, 1 kg, about 705 mL: brings" in told("amount-for-gravity", **query)


def test_halves_come_nearer() -> None:
    query = {"ingredient": "honey", "target": 1.0075, "pack": "1 kg"}
    whole, half = ask("amount-for-gravity", **query), ask("amount-for-gravity", **query, half_packs=1)
    assert (whole % 1.0, half) == (0.0, 0.5)
    assert told("amount-for-gravity", **query, half_packs=1).startswith("0.5 pack (1 kg each)")
    assert ask("amount-for-gravity", **query, half_packs=0) == whole


def test_no_pack_may_be_the_nearest() -> None:
    query = {"ingredient": "honey", "target": 1.001, "pack": "1 kg"}
    assert ask("amount-for-gravity", **query) == 0.0
    assert NEAREST in told("amount-for-gravity", **query)
    assert "0 packs (1 kg each)" in told("amount-for-gravity", **query)


def test_only_what_was_asked_for_is_warned_of() -> None:
    """A plan that misses proposes other ingredients with their cautions; a cell does not."""
    words = told("amount-for-acidity", ingredient="citric_acid", target="6.2 g/L tartaric", pack="50 g")
    assert NEAREST in words
    warned = words.split("Assumed:")[0]
    assert "No titration is known for" not in warned


def test_the_unit_of_packs_is_packs() -> None:
    query = {**LOT, "ingredient": "honey", "target": 1.014, "pack": "1 kg"}
    assert "<unit>packs</unit>" in app().get("/v1/cell/amount-for-gravity.xml", params=query).text


REFUSED: list[tuple[str, dict[str, Any], str, str]] = [
    ("gravity", {"pack": "1 kg", "unit": "kg"}, "/unit", "Packs are counted: leave unit out"),
    ("gravity", {"pack": "1 kg", "bound": "low"}, "/bound", "Packs are counted, so no interval"),
    ("gravity", {"pack": "0 kg"}, "/pack", "more than nothing"),
    ("gravity", {"pack": "1"}, "/pack", "unit is missing"),
    ("gravity", {"pack": "12 oz", "ingredient": "lemon_juice"}, "/pack", "fl oz"),
    ("gravity", {"pack": "1 L", "ingredient": "sugar_white"}, "/pack", "weigh it"),
    ("gravity", {"half_packs": 1}, "/pack", "Say what a pack holds"),
    ("gravity", {"pack": "1 kg", "half_packs": 2}, "/half_packs", "1 or less"),
    ("gravity", {"pack": "1 kg", "target": 0.99}, "/target", "a gravity of 0.99: the nearest is 0.999"),
    ("gravity", {"pack": "1 kg", "target": 1.5}, "/target", "a thousand times the lot"),
    ("gravity", {"pack": "1 kg", "ingredient": "honny"}, "/ingredient", "honey_average"),
    ("citrus", {"pack": "1 kg", "target": 5}, "/ingredient", "holds no citrus juice"),
    ("ph", {"pack": "10 g", "ingredient": "lemon_juice", "target": 3.6}, "/target", "to a pH of 3.6: the nearest"),
]  # fmt: skip


@pytest.mark.parametrize(("question", "change", "pointer", "words"), REFUSED)
def test_packs_that_cannot_be_counted_are_refused(
    question: str, change: dict[str, Any], pointer: str, words: str
) -> None:
    query = {"ingredient": "honey", "target": 1.014, **change}
    ((found, detail),) = refused(f"amount-for-{question}", **query).items()
    assert (found, words in detail) == (pointer, True), (found, detail)
