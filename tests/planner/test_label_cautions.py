"""Each caution of a label, and the like drink without it: lines are judged by the bad end of the interval."""

from __future__ import annotations

from typing import Any

import pytest

from service.catalogue.loader import sources
from service.planner.drink import Span
from tests.planner.label_cases import WORDS_MOST, codes, facts, held

SURE = {"estimate", "alcohol"}


def test_a_plain_drink_has_the_usual_cautions_only() -> None:
    assert codes(facts()) == SURE
    assert codes(facts(abv_percent=Span.exact(0.0))) == {"estimate"}


# code, what raises it, a like drink that does not; the line or limit stands in the regulation named
CAUTIONS: list[tuple[str, dict[str, Any], dict[str, Any]]] = [
    # 27 CFR 4.10: wine begins at 7 % vol; 6.6 ± 0.4 straddles it
    ("near_seven_percent_line", {"abv_percent": Span(6.6, 6.2, 7.0)}, {"abv_percent": Span(6.6, 6.3, 6.9)}),
    (
        "near_seven_percent_line",
        {"abv_percent": Span(6.6, 6.2, 7.0)},
        {"abv_percent": Span(6.6, 6.2, 7.0), "market": "none"},
    ),
    # 27 CFR 4.36: another class above 14 % vol
    ("near_fourteen_percent_line", {"abv_percent": Span(13.9, 13.7, 14.1)}, {"abv_percent": Span(13.8, 13.6, 14.0)}),
    # 27 CFR 4.10: wine ends at 24 % vol
    ("near_twenty_four_percent_line", {"abv_percent": Span(24.0, 23.8, 24.2)}, {"abv_percent": Span.exact(24.0)}),
    # 27 CFR 16.10: from 0.5 % vol
    ("near_half_percent_line", {"abv_percent": Span(0.5, 0.4, 0.6)}, {"abv_percent": Span(0.6, 0.5, 0.7)}),
    # Regulation (EU) No 1169/2011, Annex XII: above 1.2 % vol
    (
        "near_one_point_two_percent_line",
        {"abv_percent": Span(1.2, 1.1, 1.3), "market": "eu"},
        {"abv_percent": Span(1.1, 1.0, 1.2), "market": "eu"},
    ),
    # 27 CFR 24.257(a)(3): ± 0.75 below 7 % vol
    (
        "strength_less_sure_than_its_tolerance",
        {"abv_percent": Span(5.5, 4.7, 6.3)},
        {"abv_percent": Span(5.5, 4.8, 6.2)},
    ),
    # Annex XII: ± 0.3 for other drinks
    (
        "strength_less_sure_than_its_tolerance",
        {"abv_percent": Span(5.5, 5.1, 5.9), "market": "eu"},
        {"abv_percent": Span(5.5, 5.3, 5.7), "market": "eu"},
    ),
    ("sulfites_not_measured", {"total_so2_mg_per_l": None}, {"total_so2_mg_per_l": 9.9}),
    ("sulfites_not_measured", {"total_so2_mg_per_l": None}, {"total_so2_mg_per_l": None, "hurdles": ("sulfite",)}),
    ("sulfite_sensitivity", {"total_so2_mg_per_l": 10.0}, {"total_so2_mg_per_l": 9.9}),
    # 27 CFR 4.22: 350 mg/L
    ("total_so2_over_limit", {"total_so2_mg_per_l": 351.0}, {"total_so2_mg_per_l": 350.0}),
    # OIV II.3.4.5: 200 mg/L; 27 CFR 24.246: 300
    (
        "sorbic_acid_over_limit",
        {"sorbic_acid_mg_per_l": 201.0, "market": "none"},
        {"sorbic_acid_mg_per_l": 201.0},
    ),
    ("allergen", {"fining_agents": ("isinglass",)}, {"fining_agents": ("bentonite",)}),
    ("not_vegetarian", {"fining_agents": ("gelatin",)}, {"fining_agents": ("casein",)}),
    ("fining_agent_not_on_file", {"fining_agents": ("moon dust",)}, {"fining_agents": ("PVPP", "silica sol")}),
    # 21 CFR 74.705: FD&C Yellow No. 5 is named
    ("colour_must_be_named", {"colours": ("FD&C Yellow 5",)}, {"colours": ("FD&C Blue 1",)}),
    ("colour_not_on_file", {"colours": ("green drops",)}, {"colours": ("tartrazine",)}),
    # 27 CFR 24.182(c): 9 g/L, 11 from 8 g of solids in 100 mL
    (
        "acid_over_us_limit",
        {"titratable_meq_per_l": 130.0, "holds": (held("tartaric_acid"),)},
        {"titratable_meq_per_l": 130.0, "holds": (held("tartaric_acid"),), "sugar_g_per_l": Span.exact(80.0)},
    ),
    (
        "acid_over_us_limit",
        {"titratable_meq_per_l": 130.0, "holds": (held("tartaric_acid"),)},
        {"titratable_meq_per_l": 130.0},
    ),
    # 27 CFR 24.246: citric acid 0.7 g/L besides citrus
    (
        "citric_acid_besides_citrus",
        {"holds": (held("citric_acid", 0.71),)},
        {"holds": (held("citric_acid", 0.70),)},
    ),
    (
        "citric_acid_besides_citrus",
        {"holds": (held("citric_acid", 2.0),)},
        {"holds": (held("citric_acid", 2.0), held("lemon_juice"))},
    ),
    (
        "strength_hidden_by_sweetness",
        {"sugar_g_per_l": Span(34.0, 32.0, 36.0), "container_ml": 750.0},
        {"sugar_g_per_l": Span(34.0, 33.5, 34.5), "container_ml": 750.0},
    ),
    (
        "strength_hidden_by_sweetness",
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 750.0},
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 330.0},
    ),
    # 5.5 % vol: 1.02 US drinks in 330 mL and 1.55 in 500 mL; a keg is not drunk at once
    (
        "strength_hidden_by_sweetness",
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 20000.0, "serving_ml": 500.0},
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 20000.0, "serving_ml": None},
    ),
    (
        "strength_hidden_by_sweetness",
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 1000.0, "serving_ml": None},
        {"sugar_g_per_l": Span.exact(60.0), "container_ml": 1000.0, "serving_ml": None, "from_keg": True},
    ),
    # the bad end of the strength counts in a serving too: 1.5 US drinks are 26.6 mL of alcohol
    (
        "strength_hidden_by_sweetness",
        {"sugar_g_per_l": Span.exact(60.0), "abv_percent": Span(7.9, 7.6, 8.2), "container_ml": 20000.0},
        {"sugar_g_per_l": Span.exact(60.0), "abv_percent": Span(7.9, 7.8, 8.0), "container_ml": 20000.0},
    ),
    ("grapefruit_and_medicines", {"holds": (held("grapefruit_juice"),)}, {"holds": (held("orange_juice"),)}),
    (
        "raw_juice",
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ()},
        {"holds": (held("orange_juice"),), "hurdles": ()},
    ),
    # heat of the whole that held kills what raw juice can carry; heat that fell short, a filter or cold do not
    (
        "raw_juice",
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ()},
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ("pasteurised",)},
    ),
    (
        "raw_juice",
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ("sterile_filtered", "cold")},
        {"holds": (held("orange_juice", treatment="raw"),)},
    ),
    (
        "raw_juice_after_stabilising",
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ("sulfite",)},
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ("pasteurised", "sulfite")},
    ),
    (
        "raw_juice_after_stabilising",
        {"holds": (held("orange_juice", treatment="raw"),), "hurdles": ("sulfite", "sorbate")},
        {"holds": (held("orange_juice", treatment="raw"),)},
    ),
    ("spirit_rules", {"holds": (held("neutral_spirit_40", treatment=None),)}, {"holds": (held("orange_juice"),)}),
]


@pytest.mark.parametrize(("code", "raises", "like"), CAUTIONS)
def test_each_caution_and_the_like_without(code: str, raises: dict[str, Any], like: dict[str, Any]) -> None:
    found, other = facts(**raises), facts(**like)
    assert code in codes(found)
    assert code not in codes(other)
    for caution in (*found.cautions, *other.cautions):
        assert len(caution.text.split()) <= WORDS_MOST, caution
        assert caution.source_id in sources()
    levels = [("stop", "warning", "note").index(c.level) for c in found.cautions]
    assert levels == sorted(levels)
