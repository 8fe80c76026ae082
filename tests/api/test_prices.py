"""Prices beyond all money: their squares would overflow, so they are refused where they stand."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from tests.api import real


def pointers(operation: str, body: Any) -> list[str]:
    refused = real.post(real.PATHS[operation], body, 422)
    return [fault["pointer"] for fault in refused["errors"]]


def priced(amount: float, per: str) -> dict[str, Any]:
    addition = {**real.BASE["additions"][0], "price": {"amount": amount, "per": per}}
    return {**real.BASE, "additions": [addition], "currency": "EUR"}


@pytest.mark.parametrize("per", ["1e-300 kg", "1e-300 mL", "0.5 mg", "0 g"])
def test_a_price_of_next_to_nothing_is_refused(per: str) -> None:
    assert pointers("solve_blend", priced(4.0, per)) == ["/additions/0/price/per"]


def test_a_price_beyond_all_money_is_refused() -> None:
    assert pointers("solve_blend", priced(1.7976931348623157e308, "1 kg")) == ["/additions/0/price/amount"]


def test_the_dearest_price_that_is_read_is_reckoned_with() -> None:
    answer = real.plan(priced(1e12, "1 mg"))
    assert answer["predicted"]["cost"]["value"] == pytest.approx(1e15 * real.amounts(answer)["honey_acacia"], rel=1e-6)


def must(amount: float, per: str) -> Any:
    body = copy.deepcopy(real.example("plan_must", "01"))
    body["sources"][0] |= {"sold_in": "1 kg", "price": {"amount": amount, "per": per}}
    return body


def test_a_price_of_next_to_no_pack_is_refused() -> None:
    assert pointers("plan_must", must(4.0, "1e-300 packs")) == ["/sources/0/price/per"]
    assert pointers("plan_must", must(1e12, "0.5 packs")) == ["/sources/0/price/per"]


def test_a_nutrient_dearer_than_all_money_is_refused() -> None:
    body = real.example("plan_must", "20")
    source = {"name": "yeast hulls", "nitrogen_percent": 5, "organic": True, "price": {"amount": 4, "per": "1e-300 g"}}
    body["nitrogen"]["sources"] = [source]
    assert pointers("plan_must", body) == ["/nitrogen/sources/0/price/per"]


def test_containers_dearer_than_all_money_are_refused() -> None:
    body = copy.deepcopy(real.example("plan_packaging", "01"))
    body["containers"][0]["price"] = {"amount": 1e300}
    assert pointers("plan_packaging", body) == ["/containers/0/price/amount"]
