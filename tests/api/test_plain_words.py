"""What reaches a maker is said in the words of the trade: catalogue names, the US unit first, what can be reached."""

from __future__ import annotations

from typing import Any, Final

import pytest

from service.catalogue.loader import ingredients
from service.catalogue.lookup import resolve_id
from service.errors import UnknownIngredientError
from service.planner.answers import Caution
from service.planner.asked import AdditionAsked
from service.planner.materials import materials_of
from service.planner.plain_words import in_plain_words
from service.planner.trade_off.heeded import heeded
from tests.api.real import post

MOST_WORDS: Final = 30
CARBOY: Final = {"name": "carboy", "volume": "24 gal", "gravity": 0.998, "abv_percent": 6.5}
SWEET: Final = {
    "note": "Invented.",
    "lots": [{**CARBOY, "volume": "5 gal"}],
    "additions": [{"ingredient": "honey_average"}],
    "targets": {"gravity": 1.012},
}


def plan(**changes: Any) -> dict[str, Any]:
    """The answer to a small question with some of it changed."""
    return post("/v1/blend-plans", {**SWEET, **changes})


def test_pounds_stand_before_what_a_scale_in_grams_shows() -> None:
    (honey,) = (a for a in plan(rounding="scale")["amounts"] if a["kind"] == "addition")
    grams = honey["mass_g"]
    assert grams == pytest.approx(round(grams))
    # NIST Handbook 44, Appendix C: the avoirdupois pound is 453.59237 g, the ounce a sixteenth of it
    pounds, ounces = divmod(grams / 28.349523125, 16.0)
    assert honey["amount_text"].startswith(f"{pounds:.0f} lb {ounces:.1f}".removesuffix(".0") + " oz (")
    assert f" oz ({grams:.0f} g)" in honey["amount_text"] or f" oz ({grams / 1000.0:g} kg)" in honey["amount_text"]


def test_an_only_target_out_of_reach_is_told_by_what_can_be_reached() -> None:
    answer = plan(lots=[CARBOY], additions=[{"ingredient": "orange_concentrate", "max": "3 kg"}], targets={"ph": 3.3})
    text = answer["clash"]["text"]
    assert answer["outcome"] == "targets_clash"
    assert text.startswith("No amount of orange concentrate that may be used brings it to a pH of 3.3 (proved).")
    assert "accept a pH of 3.5" in text
    assert "which few" not in text
    assert answer["summary"].startswith(text)
    assert not any(helpful["ingredient"] in text for helpful in answer["clash"]["helpful_ingredients"])


@pytest.mark.parametrize("container", [None, "bottle", "keg"])
@pytest.mark.parametrize("hurdles", [[], ["sulfite"], ["sulfite", "sorbate"], ["pasteurised", "sorbate", "sulfite"]])
def test_what_holds_yeast_is_introduced_and_joined(container: str | None, hurdles: list[str]) -> None:
    intended = {"hurdles": hurdles} | ({} if container is None else {"container": container})
    cautions = plan(intended=intended)["cautions"]
    (sugar,) = (c for c in cautions if c["code"].startswith(("refermentable_sugar", "hurdle_")))
    assert len(sugar["text"].split()) <= MOST_WORDS
    expected = {
        0: "nothing named that holds yeast (no hurdle)",
        1: "behind sulfite only",
        2: "rests on sorbate and sulfite,",
        3: "rests on pasteurising, sorbate and others,",
    }
    assert expected[len(hurdles)] in sugar["text"]


def test_along_a_curve_the_worst_of_an_interval_is_told() -> None:
    def sugar(least: int, most: int) -> list[Caution]:
        return [Caution("c", "stop", f"{least} g/L of fermentable sugar (perhaps {most}), if ever sealed.", "s")]

    (told,) = heeded([sugar(25, 32), sugar(60, 68), sugar(114, 123)])
    assert told.text == "25 to 114 g/L of fermentable sugar (at worst 123), if ever sealed."
    weak = [[Caution("c", "warning", f"it has {a}, perhaps only {b}.", "s")] for a, b in ((9.8, 9.4), (9.1, 8.7))]
    assert heeded(weak)[0].text == "it has 9.1 to 9.8, at worst 8.7."
    ph = [[Caution("c", "note", f"pH {low} to {high}.", "s")] for low, high in ((3.1, 3.9), (2.9, 3.8))]
    assert heeded(ph)[0].text == "pH 2.9 to 3.9."


def test_no_two_ingredients_of_a_question_are_called_alike() -> None:
    materials = materials_of((), [AdditionAsked(ingredient) for ingredient in ingredients().values()])
    said = [material.said for material in materials]
    assert len(set(said)) == len(said)
    assert not any("_" in words for words in said)


def test_ids_in_a_sentence_become_names_and_the_rest_stays() -> None:
    assert in_plain_words("pH of lemon_juice_fresh, not of my_base") == "pH of lemon juice, not of my_base"
    two = in_plain_words("lemon_juice_concentrate_400 or lemon_juice_fresh")
    assert two == "lemon concentrate or lemon juice"


def test_what_is_close_to_a_name_can_be_typed_as_it_is_told() -> None:
    with pytest.raises(UnknownIngredientError) as error:
        resolve_id("hony")
    offered = error.value.detail.partition("Close to it: ")[2].rstrip(".").split(", ")
    assert offered
    assert {resolve_id(name) for name in offered} <= ingredients().keys()


def test_an_ingredient_without_a_price_is_named_in_words() -> None:
    body = {**SWEET, "prefer": [{"minimise": "cost"}]}
    answer = post("/v1/blend-plans", body, status=422)
    assert "Average honey has no price" in str(answer)
    assert "honey_average" not in str([error["detail"] for error in answer["errors"]])
