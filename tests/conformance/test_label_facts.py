"""Label facts against regulations, worked drinks and general factors."""

from __future__ import annotations

from typing import Any

import pytest

from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.chemistry.label_rules import DRINK_SIZES, STRENGTH_LINES, drinks_in, energy_us_kcal, strength_rules
from service.chemistry.sulfite_limits import Market
from service.errors import InputError
from service.physics.solutes import Component
from service.planner.asked import Circumstances
from service.planner.drink import DrinkRead, Span, drink_from_figures
from service.planner.label.answers import LabelFacts
from service.planner.label.facts import label_facts
from service.planner.label.figures import juice_words
from tests.tables import Row, rows

WORKED = rows("label_worked_examples", check="label")
JUICE = [row for row in rows("label_worked_examples") if row["juice_pct"]]


def facts(row: Row, market: str = "eu") -> LabelFacts:
    acid = meq_per_l_from_acid_g_per_l(float(row["acid_g_per_L"]), Acid.CITRIC)
    abv, sugar = Span.exact(float(row["abv_pct_vol"])), Span.exact(float(row["sugar_g_per_L"]))
    drink = drink_from_figures(DrinkRead(None, None, abv, sugar, titratable_meq_per_l=acid))
    serving_ml = float(row["serving_mL"])
    return label_facts(drink, market, serving_ml, serving_ml, Circumstances())


@pytest.mark.parametrize("row", WORKED, ids=lambda row: row["serving_mL"])
def test_worked_drinks_to_the_printed_digit(row: Row) -> None:
    """Invented drinks worked by the factors of Regulation (EU) No 1169/2011, Annex XIV (computed)."""
    found = facts(row)
    (serving,) = (amounts for amounts in found.amounts if amounts.per == "serving")
    assert serving.energy_kcal == pytest.approx(float(row["energy_kcal"]), abs=0.051)
    assert serving.energy_kj == pytest.approx(float(row["energy_kJ"]), abs=0.051)
    assert serving.sugar_g == pytest.approx(float(row["sugar_g"]), abs=0.0051)
    assert serving.ethanol_g == pytest.approx(float(row["ethanol_g"]), abs=0.0051)
    by_size: dict[str, float | None] = {drinks.size: drinks.per_serving for drinks in found.drinks}
    for size, column in (("us", "us_drinks"), ("uk", "uk_units"), ("au", "au_drinks")):
        assert by_size[size] == pytest.approx(float(row[column]), abs=0.0051), size
    assert by_size["who"] == by_size["au"]
    assert found.drinks[0].per_container == found.drinks[0].per_serving


@pytest.mark.parametrize(("row", "text"), [*zip(WORKED, ("933 kJ / 222 kcal", "1344 kJ / 321 kcal"), strict=True)])
def test_worked_drinks_as_written(row: Row, text: str) -> None:
    """Rounded to 1 kcal for the European Union, to 10 elsewhere (our default); 222 and 321 kcal (computed)."""
    assert facts(row).amounts[1].energy_text == text
    kcal = 10 * round(float(row["energy_kcal"]) / 10)
    assert facts(row, "none").amounts[1].energy_text == f"about {kcal} kcal"
    assert facts(row, "us").amounts[1].energy_text == f"about {kcal} kcal"


def test_acid_has_its_own_factor() -> None:
    """3 kcal/g for organic acid, Annex XIV; 2.4 is that of polyols: 1.815 g of acid would be 1.1 kcal less."""
    row = WORKED[0]
    without = facts({**row, "acid_g_per_L": "0"}).amounts[1].energy_kcal
    assert facts(row).amounts[1].energy_kcal - without == pytest.approx(3.0 * 5.5 * 0.33, abs=0.01)


US = {row["component"]: row for row in rows("energy_factors", jurisdiction="US")}


@pytest.mark.parametrize(
    ("component", "name"),
    [
        (Component.PROTEIN, "protein"),
        (Component.FAT, "fat"),
        (Component.ETHANOL, "alcohol (ethanol)"),
        (Component.FRUCTOSE, "carbohydrate"),
        (Component.MALIC, "carbohydrate"),
        (Component.HIGHER_SUGARS, "carbohydrate"),
    ],
)
def test_general_factors(component: Component, name: str) -> None:
    """4-4-9 and 7 kcal/g (from memory, unverified); acids are carbohydrate by difference."""
    assert energy_us_kcal({component: 2.0}) == 2.0 * float(US[name]["energy_kcal_per_g"])
    assert energy_us_kcal({Component.WATER: 100.0, Component.ASH: 1.0}) == 0.0


# 27 CFR 4.36 (2015): 1.5 up to 14 % vol, 1 above; 27 CFR 24.257(a)(3): 0.75 below 7. Class lines are not crossed.
AMERICAN = [
    (5.5, 0.75, 4.75, 6.25),
    (6.6, 0.75, 5.85, 7.0),
    (7.0, 1.5, 7.0, 8.5),
    (10.0, 1.5, 8.5, 11.5),
    (13.5, 1.5, 12.0, 14.0),
    (14.0, 1.5, 12.5, 14.0),
    (14.5, 1.0, 14.0, 15.5),
    (23.5, 1.0, 22.5, 24.0),
]


@pytest.mark.parametrize(("declared", "plus_minus", "low", "high"), AMERICAN)
def test_american_tolerances(declared: float, plus_minus: float, low: float, high: float) -> None:
    (rule,) = strength_rules(Market.US, declared)
    assert rule.plus_minus_percent == plus_minus
    assert rule.ends(declared) == pytest.approx((low, high))


def test_european_tolerances() -> None:
    """Regulation (EU) No 1169/2011, Annex XII: mead and fruit wine 1.0, other drinks above 1.2 % vol 0.3."""
    mead, other = strength_rules(Market.EU, 6.6)
    assert (mead.plus_minus_percent, other.plus_minus_percent) == (1.0, 0.3)
    assert other.ends(6.6) == pytest.approx((6.3, 6.9))
    assert other.ends(1.3)[0] == 1.2
    assert strength_rules(Market.EU, 1.2) == ()


def test_no_rule_where_none_is_on_file() -> None:
    """27 CFR 4.10: wine ends at 24 % vol; 27 CFR 16.10: a drink begins at 0.5 % vol."""
    assert strength_rules(Market.US, 24.5) == strength_rules(Market.US, 0.4) == strength_rules(Market.NONE, 6.6) == ()
    with pytest.raises(InputError, match="strength"):
        strength_rules(Market.US, -1.0)


@pytest.mark.parametrize(
    ("at", "below", "above"),
    [
        (0.5, 0.49, 0.5),  # 27 CFR 16.10: 0.5 % vol or more
        (7.0, 6.99, 7.0),  # 27 CFR 4.10: not less than 7
        (14.0, 14.0, 14.01),  # 27 CFR 4.36: 14 or less
        (24.0, 24.0, 24.01),  # 27 CFR 4.10: not in excess of 24
    ],
)
def test_american_lines(at: float, below: float, above: float) -> None:
    (line,) = (line for line in STRENGTH_LINES[Market.US] if line.at_abv_percent == at)
    assert line.position(below, below) == "below"
    assert line.position(above, above) == "above"
    assert line.position(below, above) == "straddled"


def test_sizes_of_a_drink() -> None:
    """14 g is 17.7 mL in the US, a UK unit is 10 mL or about 8 g (from memory, unverified), 10 g elsewhere."""
    assert DRINK_SIZES["us"].ethanol_ml == pytest.approx(17.7, abs=0.05)
    assert DRINK_SIZES["uk"].ethanol_ml * 0.789 == pytest.approx(8.0, abs=0.2)
    assert drinks_in(100.0, 100.0, "au") == pytest.approx(78.924 / 10.0)
    # 12 fl oz at 5 % is one US drink (from memory, unverified)
    assert drinks_in(354.9, 5.0) == pytest.approx(1.0, abs=0.01)
    with pytest.raises(InputError, match="us, uk, au, who"):
        drinks_in(330.0, 5.0, "pub")


@pytest.mark.parametrize(
    ("row", "text"), [*zip(JUICE, ("26 percent juice", "2 percent juice", "2 percent juice"), strict=True)]
)
def test_worked_shares_of_juice_as_declared(row: Row, text: str) -> None:
    """21 CFR 101.30: a whole number not above the actual: 26.8, 2.9 and 2.5 % (computed)."""
    assert juice_words(float(row["juice_pct"])) == text


@pytest.mark.parametrize(
    ("percent", "text"),
    [
        (0.0, "0 percent juice"),
        (0.999, "less than 1 percent juice"),
        (1.0, "1 percent juice"),
        (99.99, "99 percent juice"),
        (100.0, "100 percent juice"),
    ],
)
def test_edges_of_the_declaration(percent: float, text: str) -> None:
    assert juice_words(percent) == text


NAMED: list[tuple[dict[str, Any], str]] = [({"total_so2_mg_per_l": 10.0}, "us"), ({"total_so2_mg_per_l": 10.1}, "eu")]


@pytest.mark.parametrize(("so2", "market"), NAMED)
def test_sulfite_is_declared_from_ten(so2: dict[str, float], market: str) -> None:
    """27 CFR 4.32(e): at 10 ppm or more; Regulation (EU) No 1169/2011, Annex II: above 10 mg/L."""

    def due(total: float) -> str:
        read = DrinkRead(None, None, Span.exact(8.0), Span.exact(20.0), total_so2_mg_per_l=total)
        return label_facts(drink_from_figures(read), market, 330.0, None, Circumstances()).sulfites.due

    assert due(so2["total_so2_mg_per_l"]) == "yes"
    assert due(so2["total_so2_mg_per_l"] - 0.1) == "no"
