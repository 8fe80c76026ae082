"""Label facts: rules by strength and market, statements, juice, allergens, sulfite, and lines for a bottle."""

from __future__ import annotations

import re
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
from service.planner.drink import DrinkRead, Held, Span, drink_from_figures
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


@pytest.mark.parametrize(
    ("market", "abv", "declared", "tolerance"),
    [
        ("us", 6.97, 6.9, 0.75),  # 27 CFR 24.257(a)(3): below 7 % vol
        ("us", 7.0, 7.0, 1.5),  # 27 CFR 4.36: up to 14 % vol
        ("us", 14.0, 14.0, 1.5),
        ("us", 14.04, 14.1, 1.0),  # above 14 % vol
        ("us", 23.97, 24.0, 1.0),
        ("us", 0.47, 0.4, None),  # 27 CFR 16.10: 0.5 % vol or more
        ("eu", 1.24, 1.3, 1.0),  # Regulation (EU) No 1169/2011, Annex XII: above 1.2 % vol
        ("eu", 1.16, 1.2, None),
        ("none", 6.97, 7.0, None),
    ],
)
def test_no_strength_is_rounded_over_a_line(market: str, abv: float, declared: float, tolerance: float | None) -> None:
    found = facts(market, abv_percent=Span.exact(abv)).strength
    assert found.abv_percent == declared
    assert (found.tolerances[0].plus_minus_percent if found.tolerances else None) == tolerance
    assert {rule.declared_percent for rule in found.tolerances} <= {declared}


def test_an_interval_on_a_line_has_both_tolerances() -> None:
    """27 CFR 24.257(a)(3) and 4.36: 0.75 below 7 % vol, 1.5 from there, 1 above 14."""
    found = facts(abv_percent=Span(6.97, 6.6, 7.4))
    told = [(rule.plus_minus_percent, rule.declared_percent) for rule in found.strength.tolerances]
    assert told == [(0.75, 6.9), (1.5, 7.0)]
    assert [(rule.low, rule.high) for rule in found.strength.tolerances] == [(6.15, 7.0), (7.0, 8.5)]
    for words in ("±0.75 % vol as wine below 7 % vol", "±1.5 % vol as wine of 7 to 14 % vol"):
        assert words in text(found)
    upper = facts(abv_percent=Span(13.9, 13.7, 14.1)).strength.tolerances
    assert [(rule.plus_minus_percent, rule.declared_percent) for rule in upper] == [(1.5, 13.9), (1.0, 14.1)]
    touching = facts(abv_percent=Span(13.8, 13.6, 14.0)).strength.tolerances
    assert [rule.plus_minus_percent for rule in touching] == [1.5]
    # what may be below 1.2 % vol and what may be above, Regulation (EU) No 1169/2011, Annex XII
    weak = facts("eu", abv_percent=Span(1.1, 0.9, 1.3)).strength.tolerances
    assert [(rule.plus_minus_percent, rule.declared_percent) for rule in weak] == [(1.0, 1.3), (0.3, 1.3)]


def test_interval_and_tolerance_have_lines_and_sources_of_their_own() -> None:
    """27 CFR 24.257(a)(3); FDA CPG Sec. 510.450 for what lies below 7 % vol."""
    lines = {line.text: line for line in facts(abv_percent=Span(5.5, 5.1, 5.9)).label_text}
    interval = lines["Alcohol about 5.5 % vol (5.1 to 5.9)."]
    assert interval.source_id == "our_default"
    assert "90 % interval" in interval.because
    (tolerance,) = (line for words, line in lines.items() if "±0.75 % vol" in words)
    assert tolerance.source_id == "cfr27_24_257"
    assert "27 CFR 24.257(a)(3)" in tolerance.because
    (side,) = (line for words, line in lines.items() if words.startswith("Below 7 % vol"))
    assert side.source_id == "fda_cpg_510_450"
    assert "7 % vol or more" in text(facts(abv_percent=Span.exact(7.0)))
    assert "Below or above 7 % vol" in text(facts(abv_percent=Span(6.8, 6.4, 7.2)))
    assert "7 % vol" not in text(facts("none"))
    assert "±" not in text(facts("none"))


@pytest.mark.parametrize(
    ("market", "source"), [("us", "cfr27_16_21"), ("eu", "common_practice"), ("none", "common_practice")]
)
def test_for_adults_by_the_law_of_the_market(market: str, source: str) -> None:
    (line,) = (line for line in facts(market).label_text if "adults of legal age" in line.text)
    assert line.source_id == source
    assert ("16.21" in line.because) == (market == "us")


def test_sulfites_are_named_once() -> None:
    """27 CFR 4.32(e): 10 ppm; below, planned salts are among the ingredients."""

    def named(**change: Any) -> list[str]:
        return [line.text for line in facts(**change).label_text if "sulfites" in line.text]

    assert named(total_so2_mg_per_l=30.0) == ["Contains sulfites."]
    assert named(total_so2_mg_per_l=None, hurdles=("sulfite", "sorbate")) == ["Contains sulfites."]
    assert named(total_so2_mg_per_l=None, free_so2_mg_per_l=4.0) == ["Contains sulfites (total not measured)."]
    (below,) = named(total_so2_mg_per_l=9.0)
    assert below.startswith("Contains: ")
    # sulfite alone holds no yeast, and is in the drink all the same
    assert named(total_so2_mg_per_l=None, hurdles=("sulfite",)) == ["Contains sulfites."]


def test_only_a_hurdle_that_held_spares_the_refrigerator() -> None:
    """Pathogens of raw juice: 21 CFR 120.24."""
    raw = (held("orange_juice", treatment="raw"),)
    short = text(facts(hurdles=(), holds=raw))
    assert "refrigerator" in short
    assert "Holds raw juice" in short
    killed = text(facts(hurdles=("pasteurised",), holds=raw))
    assert "refrigerator" not in killed
    assert "Holds raw juice" not in killed


def test_a_keg_is_poured_by_the_glass() -> None:
    keg = facts(serving_ml=None, container_ml=19000.0, sugar_g_per_l=Span.exact(60.0), abv_percent=Span.exact(9.0))
    assert keg.serving_ml == 330.0
    assert any(a.what == "serving" and "glass" in a.value for a in keg.assumed)
    (hidden,) = (c.text for c in keg.cautions if c.code == "strength_hidden_by_sweetness")
    # 330 mL at 9 % vol are 29.7 mL of alcohol, 1.67 US drinks of 17.7 mL (computed)
    assert "up to 1.7 US standard drinks in one serving" in hidden
    bottle = facts(serving_ml=None, container_ml=750.0, sugar_g_per_l=Span.exact(60.0))
    (hidden,) = (c.text for c in bottle.cautions if c.code == "strength_hidden_by_sweetness")
    assert "US standard drinks in it" in hidden
    assert bottle.serving_ml == 750.0
    assert facts(serving_ml=None, container_ml=19000.0, system="us").serving_ml == 355.0
    assert facts(serving_ml=None, container_ml=200.0, from_keg=True).serving_ml == 200.0


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
    assert found.strength.abv_percent == pytest.approx(abv, abs=0.1001)
    for rule in found.strength.tolerances:
        assert rule.low <= rule.declared_percent <= rule.high
        assert rule.declared_percent == pytest.approx(round(rule.declared_percent, 1), abs=1e-12)
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


@pytest.mark.parametrize("market", ["none", "us", "eu"])
@pytest.mark.parametrize("serving_ml", [10.0, 13.0, 20.0, 47.0, 330.0, 337.0])
def test_the_energy_of_a_label_lies_between_its_ends(market: str, serving_ml: float) -> None:
    """Value and ends are rounded alike: to 1 kcal below 10 and on European labels, else to 10 (our default)."""
    for sugar in (Span.exact(2.0), Span(30.0, 29.0, 31.0), Span(88.0, 80.0, 96.0)):
        read = DrinkRead(None, None, Span(5.5, 5.1, 5.9), sugar, sugar)
        told = label_facts(drink_from_figures(read), market, serving_ml, None, Circumstances())
        (line,) = (one.text for one in told.label_text if " kcal (" in one.text)
        found = re.search(r"(\d+) kcal \((\d+) to (\d+) kcal\)", line)
        assert found is not None, line
        value, low, high = map(int, found.groups())
        assert low <= value <= high, line
        assert value > 0, line
