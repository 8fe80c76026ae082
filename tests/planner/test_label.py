"""Label facts: rules by strength and market, statements, juice, allergens, sulfite, and lines for a bottle."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.loader import sources
from service.catalogue.lookup import get_ingredient
from service.chemistry.label_rules import DRINK_SIZES
from service.chemistry.sulfite_limits import Market
from service.errors import InputError, OutOfRangeError, ServiceError
from service.model.lot_class import LotClass
from service.planner.asked import Circumstances
from service.planner.drink import Held, Span
from service.planner.label.allergens import allergens_found, not_vegetarian, unknown_agents
from service.planner.label.facts import label_facts
from tests.planner.label_cases import WORDS_MOST, codes, custom, facts, held, recipe, text, topics


def test_a_recipe_with_doubtful_juice_declares_the_lower_figure() -> None:
    found = label_facts(recipe(("orange_concentrate", 2000.0, None)), "us", 330.0, None, Circumstances())
    assert found.juice is not None
    assert found.juice.low < found.juice.percent < found.juice.high
    assert found.juice.declared_percent == int(found.juice.low)
    assert found.juice.declared_percent <= found.juice.low
    assert "juice_percent_may_be_less" in codes(found)
    assert f"{int(found.juice.low)} percent juice." in text(found)
    sure = label_facts(recipe(("honey", 500.0, None)), "us", 330.0, None, Circumstances())
    assert "juice_percent_may_be_less" not in codes(sure)
    assert sure.juice is not None
    assert sure.juice.text == "0 percent juice"


def test_fermented_fruit_and_added_acid_do_not_count() -> None:
    """21 CFR 101.30(k): juice changed past recognition; (h) to (j): acid beside juice."""
    drink = recipe(("citric_acid", 20.0, None), lot_class=LotClass.FRUIT_WINE)
    juice = label_facts(drink, "us", 330.0, None, Circumstances()).juice
    assert juice is not None
    assert juice.percent == 0.0
    assert [why.split(":")[0] for why in juice.not_counted] == ["base", "Citric acid, anhydrous"]
    mead = label_facts(recipe(("honey", 500.0, None)), "us", 330.0, None, Circumstances()).juice
    assert mead is not None
    assert mead.not_counted == ()


def test_the_whole_number_is_not_above_the_actual() -> None:
    """21 CFR 101.30: 26.96 % is no 27, though a prediction is told as 27.0."""
    plain = recipe(("orange_concentrate", 2000.0, None))
    assert plain.predicted is not None
    told = replace(plain.predicted.juice_percent, low=99.0, high=99.5)
    juice = label_facts(
        replace(plain, predicted=replace(plain.predicted, juice_percent=told)), "us", None, None, Circumstances()
    ).juice
    assert juice is not None
    assert juice.declared_percent is not None
    assert juice.declared_percent <= juice.percent < 99.0


def test_unknown_juice_is_not_declared() -> None:
    found = facts(juice_percent=None, citrus_percent=None)
    assert found.juice is None
    assert "percent juice" not in text(found)
    assert any(a.what == "juice in the drink" for a in found.assumed)


@pytest.mark.parametrize(
    ("abv", "words"),
    [
        (Span.exact(5.5), "Below 7 % vol food law"),
        (Span(6.8, 6.4, 7.2), "either side of 7"),
        (Span.exact(9.0), "From 7 to 24"),
        (Span.exact(15.0), "above 14 % vol"),
        (Span.exact(25.0), "knows no wine"),
    ],
)
def test_who_rules_the_label_in_the_us(abv: Span, words: str) -> None:
    """27 CFR 4.10 and FDA CPG Sec. 510.450."""
    (rule,) = (rule for rule in facts(abv_percent=abv).rules if rule.topic == "who rules the label")
    assert words in rule.text


def test_rules_by_market() -> None:
    """27 CFR 16.21, 24.75, 24.203; Regulation (EU) No 1169/2011."""
    assert topics(facts()) == {"who rules the label", "health warning", "standard honey wine", "home production"}
    assert topics(facts("eu")) == {"strength on the label", "ingredients and nutrition"}
    assert topics(facts("none")) == {"home production"}
    assert topics(facts("eu", abv_percent=Span.exact(1.0))) == set()
    assert topics(facts(abv_percent=Span.exact(0.4))) == {"home production", "standard honey wine"}
    assert topics(facts(holds=(held("citric_acid"),))) >= {"acid additions", "citric acid besides citrus"}
    assert "percent juice" in topics(facts(juice_percent=12.0))
    assert "standard honey wine" not in topics(
        label_facts(recipe(lot_class=LotClass.GRAPE_WINE), "us", None, None, Circumstances())
    )
    honey_wine = next(rule for rule in facts().rules if rule.topic == "standard honey wine")
    assert "13 °Bx" in honey_wine.text  # 27 CFR 24.203
    home = next(rule for rule in facts("none").rules if rule.topic == "home production")
    assert "100 gallons" in home.text  # 27 CFR 24.75
    assert "200" in home.text
    assert "never sold" in home.text


@pytest.mark.parametrize("market", ["us", "eu", "none"])
def test_every_statement_has_an_edition_and_a_source(market: str) -> None:
    found = facts(
        market,
        holds=(held("citric_acid"), held("lemon_juice", treatment="raw"), Held(custom("Almond milk"), 1.0, None)),
        juice_percent=3.0,
        colours=("yellow 5", "blue 1"),
        fining_agents=("egg white", "chitosan"),
        total_so2_mg_per_l=None,
    )
    assert found.juice is not None
    told: list[Any] = [
        *found.strength.tolerances,
        *found.lines,
        *found.allergens,
        *found.rules,
        found.sulfites,
        found.juice,
    ]
    for statement in told:
        assert statement.edition
        assert statement.mark
        assert statement.source_id in found.source_ids
    assert {line.source_id for line in found.label_text} <= set(found.source_ids)
    assert {c.source_id for c in found.cautions} <= set(found.source_ids)
    assert set(found.source_ids) <= set(sources())
    assert all("check the current" in s.edition for s in told if s.regulation.startswith(("27 CFR", "21 CFR")))


def test_nothing_is_called_safe_and_no_field_is_empty() -> None:
    found = facts("us", juice_percent=3.0, colours=("yellow 5",), fining_agents=("isinglass",))
    assert "safe" not in str(found).lower()
    assert all(line.text and line.because for line in found.label_text)
    assert [f.name for f in fields(found) if getattr(found, f.name) in (None, "")] == []


@pytest.mark.parametrize(
    ("name", "allergen"),
    [
        ("Whole milk", "milk"),
        ("Egg white", "egg"),
        ("Walnut liquor", "tree nuts"),
        ("Wheat malt", "wheat"),
        ("Peanut butter", "peanuts"),
        ("Double cream", "milk"),
        ("Almond milk", "tree nuts"),
        ("Coconut cream", None),
        ("Soy sauce", "soybeans"),
        ("Sesame syrup", "sesame"),
        ("Fish sauce", "fish"),
        ("Crab stock", "crustacean shellfish"),
        ("Nutmeg", None),
        ("Butternut squash", None),
        ("Eggplant", None),
    ],
)
def test_allergens_by_name(name: str, allergen: str | None) -> None:
    """27 CFR 4.32a, 2015 edition; sesame since 2023, from memory, unverified."""
    found = allergens_found((custom(name),), (), Market.US)
    assert (found[0].allergen if found else None) == allergen
    assert all((one.mark != "published") == (allergen == "sesame") for one in found)


def test_honey_of_a_flower_is_no_nut() -> None:
    honey = replace(get_ingredient("honey_acacia"), name="Honey, almond blossom")
    assert allergens_found((honey,), (), Market.US) == ()
    assert allergens_found((custom("Almond blossom"),), (), Market.US) != ()


def test_fining_agents() -> None:
    """27 CFR 4.32a: casein is of milk, albumen of egg, isinglass and fish gelatin of fish; gelatin of mammals none."""
    agents = ("potassium caseinate", "egg albumen", "isinglass", "fish gelatin", "gelatin", "fungal chitosan", "dust")
    found = allergens_found((), agents, Market.US)
    assert [(a.brought_by, a.allergen) for a in found] == [
        ("potassium caseinate", "milk"),
        ("egg albumen", "egg"),
        ("isinglass", "fish"),
        ("fish gelatin", "fish"),
    ]
    assert not_vegetarian(agents) == ("isinglass", "fish gelatin", "gelatin")
    assert unknown_agents(agents) == ("dust",)
    (chitosan,) = allergens_found((), ("chitosan",), Market.US)
    assert "unless" in chitosan.text


def test_sulfite_by_what_is_known() -> None:
    """27 CFR 4.32(e): 10 ppm of total sulfur dioxide; free sulfur dioxide is part of it."""
    unknown = facts(total_so2_mg_per_l=None, free_so2_mg_per_l=None)
    assert unknown.sulfites.due == "measure"
    assert "May contain sulfites (not measured)." in text(unknown)
    assert any("total SO2" in reading.do for reading in unknown.next_reading)
    assert facts(total_so2_mg_per_l=None, free_so2_mg_per_l=12.0).sulfites.due == "yes"
    assert facts(total_so2_mg_per_l=None, free_so2_mg_per_l=3.0).sulfites.due == "measure"
    assert facts(total_so2_mg_per_l=None, hurdles=("sulfite",)).sulfites.due == "yes"
    none = facts(total_so2_mg_per_l=2.0)
    assert none.sulfites.due == "no"
    assert "sulfites" not in text(none).replace("sulfites (preservative)", "")
    assert facts(abv_percent=Span.exact(5.5)).sulfites.regulation.startswith("21 CFR 101.100")
    assert facts(abv_percent=Span(6.9, 6.6, 7.2)).sulfites.regulation == "27 CFR 4.32(e)"


def test_bottled_lemon_juice_may_bring_sulfite() -> None:
    lemon = facts(holds=(held("lemon_juice", treatment="pasteurised"), held("lime_juice_concentrate_400")))
    assert lemon.sulfites.may_be_brought_by == ("Lemon juice, fresh", "Lime juice concentrate, 400 g/L acid")
    assert facts(holds=(held("lemon_juice", treatment="raw"),)).sulfites.may_be_brought_by == ()


def test_lines_for_a_bottle_that_is_given_away() -> None:
    drink = recipe(("honey_acacia", 900.0, None), ("lemon_juice", 150.0, "raw"))
    circumstances = Circumstances(system="us")
    found = label_facts(drink, "none", 355.0, 355.0, circumstances, fining_agents=("gelatin",))
    lines = [line.text for line in found.label_text]
    expected = ("Contains: honey ferment (mead); honey, false acacia (very light); lemon juice, fresh.", "Home-made")
    assert expected[0] in lines
    assert any(line.startswith(expected[1]) for line in lines)
    for words in (
        "% vol (",
        "US standard drink",
        "kcal",
        "less than 1 percent juice",
        "May contain sulfites",
        "gelatin: not vegetarian",
        "refrigerator",
        "over a sink, pointing away",
        "raw juice",
        "adults of legal age",
        "Not in pregnancy",
        "not a laboratory analysis",
        "Local law decides",
    ):
        assert words.lower() in text(found).lower(), words
    assert "GOVERNMENT WARNING" not in text(found)
    assert "GOVERNMENT WARNING" in text(facts("us"))
    assert "Home-made" not in text(facts("us"))


def test_a_heated_bottle_needs_no_refrigerator_but_care() -> None:
    assert "refrigerator" not in text(facts(hurdles=("pasteurised",)))
    assert "over a sink" in text(facts(hurdles=("pasteurised",)))
    assert "refrigerator" in text(facts(hurdles=("sulfite", "sorbate")))
    dry = facts(hurdles=(), sugar_g_per_l=Span.exact(1.0))
    assert "over a sink" not in text(dry)
    # the bad end counts: 1.5, perhaps 2.5 g/L
    assert "over a sink" in text(facts(hurdles=(), sugar_g_per_l=Span(1.5, 0.5, 2.5)))


def test_drinks_in_the_sizes_people_count_in() -> None:
    assert "US standard drink" in text(facts("us"))
    assert "WHO questionnaire" in text(facts("eu"))
    assert "UK unit" in text(facts("none", system="imperial"))
    assert "US standard drink" in text(facts("none", system="us"))
    assert {d.size for d in facts().drinks} == set(DRINK_SIZES)
    assert facts(abv_percent=Span.exact(0.0)).drinks == ()


def test_the_serving_is_the_container_where_none_is_named() -> None:
    found = facts(serving_ml=None, container_ml=500.0)
    assert found.serving_ml == 500.0
    assert any(a.what == "serving" for a in found.assumed)
    assert not any(a.what == "serving" for a in facts().assumed)
    bare = facts(serving_ml=None, container_ml=None)
    assert [a.per for a in bare.amounts] == ["100 mL"]
    assert bare.drinks == ()
    assert "In 100 mL" in text(bare)


@pytest.mark.parametrize(
    ("change", "error", "pointer"),
    [
        ({"market": "mars"}, InputError, "/market"),
        ({"serving_ml": 0.0}, OutOfRangeError, "/serving"),
        ({"serving_ml": float("nan")}, OutOfRangeError, "/serving"),
        ({"container_ml": -1.0}, OutOfRangeError, "/containers"),
        ({"colours": ("x",) * 51}, InputError, ""),
    ],
)
def test_refusals(change: dict[str, Any], error: type[ServiceError], pointer: str) -> None:
    with pytest.raises(error) as caught:
        facts(**change)
    assert caught.value.pointer == pointer


def test_a_recipe_tells_the_energy_that_was_predicted() -> None:
    drink = recipe(("honey", 900.0, None), ("lemon_juice", 300.0, "pasteurised"))
    assert drink.predicted is not None
    told = drink.predicted.energy_kcal_per_100ml
    hundred = label_facts(drink, "eu", None, None, Circumstances()).amounts[0]
    # predictions are told to 0.1 kcal
    assert hundred.energy_kcal == pytest.approx(told.value, abs=0.051)
    assert (hundred.energy_low_kcal, hundred.energy_high_kcal) == pytest.approx((told.low, told.high), abs=0.051)


def test_what_is_not_told_is_assumed_openly() -> None:
    whats = {a.what for a in facts("none", titratable_meq_per_l=None).assumed}
    assert whats >= {"acid of the drink", "energy of other solids", "what was fermented", "market"}
    whole = label_facts(recipe(("honey", 900.0, None)), "us", 330.0, 330.0, Circumstances())
    assert whole.assumed == ()


@settings(max_examples=40, deadline=None)
@given(
    abv=st.floats(0.0, 30.0),
    spread=st.floats(0.0, 1.5),
    sugar=st.floats(0.0, 250.0),
    volume=st.floats(30.0, 20000.0),
    market=st.sampled_from(["us", "eu", "none"]),
)
def test_any_drink(abv: float, spread: float, sugar: float, volume: float, market: str) -> None:
    """Figures go with the volume, lie inside their intervals, and the tolerance never reaches over a line."""
    span = Span(abv, max(abv - spread, 0.0), abv + spread)
    found = facts(market, abv_percent=span, sugar_g_per_l=Span.exact(sugar), serving_ml=volume, container_ml=volume)
    hundred, serving, container = found.amounts
    assert serving.energy_kcal == pytest.approx(hundred.energy_kcal * volume / 100.0, rel=1e-3, abs=0.01 * volume)
    assert (serving.energy_kcal, serving.sugar_g) == (container.energy_kcal, container.sugar_g)
    assert serving.energy_low_kcal <= serving.energy_kcal <= serving.energy_high_kcal
    assert serving.energy_us_kcal >= serving.energy_kcal - 0.02
    for rule in found.strength.tolerances:
        assert rule.low <= found.strength.abv_percent + 0.051
        assert rule.high >= found.strength.abv_percent - 0.051
        assert rule.high - rule.low <= 2.0 * rule.plus_minus_percent + 0.011
    for line in found.lines:
        if line.position == "below":
            assert span.high <= line.at_abv_percent
        if line.position == "above":
            assert span.low >= line.at_abv_percent - 1e-9
    for size in found.drinks:
        assert size.container_low is not None
        assert size.per_container is not None
        assert size.container_high is not None
        assert size.container_low <= size.per_container <= size.container_high
    assert all(len(c.text.split()) <= WORDS_MOST for c in found.cautions)
