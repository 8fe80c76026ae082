"""What the label of a packaging plan says: by the container, by the hurdles that counted, one rule on raw juice."""

from __future__ import annotations

from typing import Any

from tests.api.real import PATHS, post

DRINK: dict[str, Any] = {"volume": "20 L", "gravity": 1.022, "abv_percent": 9, "sugar_g_per_l": 60, "ph": 3.2}
BOTTLES = [{"kind": "beer_bottle", "fill": "330 mL"}]
RAW = [{"ingredient": "orange_juice", "g_per_l": 20, "treatment": "raw"}]


def plan(**change: Any) -> dict[str, Any]:
    asked = {"drink": DRINK, "containers": BOTTLES, "refermentation": {"fermentation_finished": True}, **change}
    return post(PATHS["plan_packaging"], asked)


def labelled(answer: dict[str, Any]) -> str:
    return " ".join(line["text"] for line in answer["label_text"])


def test_a_keg_is_told_by_the_glass_and_a_bottle_by_itself() -> None:
    """330 mL at 9 % vol are 29.7 mL of alcohol, 1.7 US drinks of 17.7 mL (computed)."""

    def hidden(containers: list[dict[str, Any]], **change: Any) -> str:
        cautions = plan(containers=containers, **change)["cautions"]
        return " ".join(c["text"] for c in cautions if c["code"] == "strength_hidden_by_sweetness")

    assert "drinks in one serving" in hidden([{"kind": "keg", "fill": "19 L"}])
    assert "drinks in one serving" in hidden([{"kind": "keg", "fill": "1 L"}])
    assert "drinks in it" in hidden(BOTTLES)
    assert hidden([{"kind": "keg", "fill": "19 L"}], serving="100 mL") == ""


def test_raw_juice_is_one_rule_for_closing_and_label() -> None:
    """21 CFR 120.24: heat that was enough ends it, heat that was not does not."""
    raw = {**DRINK, "holds": RAW}
    for target, told in ((1, True), (60, False)):
        answer = plan(drink=raw, intended={"hurdles": ["pasteurised"]}, heat={"target_units": target})
        assert [c["code"] for c in answer["cautions"] if c["code"].startswith("raw_juice")] == ["raw_juice"] * told
        assert ("Holds raw juice" in labelled(answer)) == told
        assert ("Keep in the refrigerator" in labelled(answer)) == told
    salted = plan(drink=raw, intended={"hurdles": ["sulfite", "sorbate"]})
    stops = [c["code"] for c in salted["cautions"] if c["code"].startswith("raw_juice")]
    assert stops == ["raw_juice_after_stabilising"]
    assert salted["sealing"] == "do_not_seal"
    # that a salt does not count as a hurdle does not take it out of the bottle
    assert labelled(plan(intended={"hurdles": ["sulfite"]})).count("sulfites") == 1
