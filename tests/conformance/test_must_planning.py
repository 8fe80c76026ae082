"""Honey, water and what becomes of them against a table computed by mass balance with published densities.

The table takes honey of 17.2 % water for sucrose of 82.8 °Bx (ICUMSA SPS-4): the same is asked here with such an
ingredient, to the table's last digit; honey by its own composition may differ by 0.15 %.
"""

from __future__ import annotations

from typing import Any

import pytest

from service.api.reading_must import must_from
from service.api.requests_must import MustPlanRequest
from service.physics.fermentation import fermented_out
from service.planner.must.answers import MustPlan
from service.planner.must.plan import plan_must
from service.planner.must.rule import POINTS_L_PER_KG
from tests.tables import Row, label, rows

AS_SUCROSE = {
    "composition": {"name": "honey as sucrose", "components_g_per_100g": {"sucrose": 82.8, "water": 17.2}},
}
HONEY = {"ingredient": "honey_average"}
GIVEN = [r for r in rows("must_planning", mark="computed") if r["honey_g_per_L"]]
TARGETS = rows("must_planning", check="honey and water for a target")
POTENTIAL = rows("must_planning", check="ABV potential per litre of must")
ENDS = rows("must_planning", check="expected final gravity and ABV, Balling factors")
RULE = [r for r in rows("must_planning", mark="common practice, no source") if r["og_sg20_20"]]


def ask(**body: Any) -> MustPlan:
    return plan_must(must_from(MustPlanRequest.model_validate(body), 5.0))


@pytest.mark.parametrize("row", GIVEN, ids=label)
@pytest.mark.parametrize("honey", [AS_SUCROSE, HONEY], ids=["as sucrose", "honey"])
def test_honey_by_litre_of_water_or_of_must(row: Row, honey: dict[str, Any]) -> None:
    """Computed: 169 g in a litre of water read 1.0483, in a litre of must 1.0538; 144 g in a litre of must 1.0459."""
    source = {**honey, "amount": f"{row['honey_g_per_L']} g"}
    plan = ask(sources=[source], volume="1 L", volume_is=row["volume_is"])
    assert plan.outcome == "as_given"
    assert plan.original_gravity.value == pytest.approx(float(row["og_sg20_20"]), abs=1e-4)
    assert plan.brix.value == pytest.approx(float(row["degBx"]), abs=0.0051)
    assert plan.predicted.volume.value == pytest.approx(float(row["final_volume_L"]), abs=1.1e-4)
    if row["extract_g_per_L"]:
        assert plan.predicted.extract_g_per_l.value == pytest.approx(float(row["extract_g_per_L"]), abs=0.06)


@pytest.mark.parametrize("row", TARGETS, ids=label)
def test_honey_and_water_for_a_gravity(row: Row) -> None:
    """Computed: 3.013 kg and 17.94 L make 20 L of 1.048, and so on."""
    body = {"original_gravity": float(row["og_sg20_20"]), "volume": f"{row['final_volume_L']} L", "volume_is": "final"}
    as_sucrose, honey = ask(sources=[AS_SUCROSE], **body), ask(sources=[HONEY], **body)
    kilograms = {a.name: a.mass_g / 1000.0 for a in as_sucrose.amounts}
    litres = {a.name: (a.volume_ml or 0.0) / 1000.0 for a in as_sucrose.amounts}
    (name,) = kilograms.keys() - {"water_deionised"}
    assert kilograms[name] == pytest.approx(float(row["honey_kg"]), abs=0.00051)
    assert kilograms[name] / 0.45359237 == pytest.approx(float(row["honey_lb"]), abs=0.0051)
    assert litres["water_deionised"] == pytest.approx(float(row["water_added_L"]), abs=0.0051)
    assert as_sucrose.brix.value == pytest.approx(float(row["degBx"]), abs=0.0051)
    assert honey.amounts[0].mass_g / 1000.0 == pytest.approx(float(row["honey_kg"]), rel=1.5e-3)


@pytest.mark.parametrize("row", POTENTIAL, ids=label)
def test_potential_strength_by_litre_of_must(row: Row) -> None:
    """Computed: extract times fermentable share times yield over the density of alcohol, shares 0.85, 0.89, 0.94."""
    for share, column in ((0.85, "abv_low_pct_vol"), (0.89, "abv_pct_vol"), (0.94, "abv_high_pct_vol")):
        out = fermented_out(float(row["og_sg20_20"]), share, float(row["ethanol_yield_g_per_g"]))
        assert out.abv_percent * out.volume_ratio == pytest.approx(float(row[column]), abs=0.0101)


@pytest.mark.parametrize("row", ENDS, ids=label)
def test_where_a_must_ends(row: Row) -> None:
    """Computed: Balling's factors, the rest counted as sucrose; by volume of the finished drink."""
    out = fermented_out(float(row["og_sg20_20"]), float(row["fermentable_share"]))
    assert out.final_gravity == pytest.approx(float(row["fg_sg20_20"]), abs=6e-5)
    assert out.abv_percent == pytest.approx(float(row["abv_pct_vol"]), abs=0.0051)


@pytest.mark.parametrize("row", RULE, ids=label)
def test_the_rule_of_thumb(row: Row) -> None:
    """Common practice, no source: 35 points for a pound in a US gallon; honey gives 38 (computed)."""
    source = {**HONEY, "amount": f"{row['honey_g_per_L']} g"}
    plan = ask(sources=[source], volume="1 L", volume_is="final")
    assert plan.rule_of_thumb is not None
    assert plan.rule_of_thumb.gravity == pytest.approx(float(row["og_sg20_20"]), abs=6e-5)
    assert plan.rule_of_thumb.gap_points > 2.0
    assert plan.rule_of_thumb.reason.startswith("Honey of 17.2 % water gives about 38 points")


def test_points_of_honey_and_of_sugar() -> None:
    """Computed: 292 points L/kg by the rule; honey of 17.2, 18.6 and 20 % water 38.2, 37.6 and 36.9 points lb/gal."""
    assert pytest.approx(292.1, abs=0.05) == POINTS_L_PER_KG
    for moisture, points in ((17.2, 38.2), (18.6, 37.6), (20.0, 36.9)):
        honey = {**HONEY, "measured": {"moisture_percent": moisture}, "amount": "1 lb"}
        plan = ask(sources=[honey], volume="1 gal", volume_is="final")
        assert 1000.0 * (plan.original_gravity.value - 1.0) == pytest.approx(points, abs=0.15)
    sugar = ask(sources=[{"ingredient": "sugar_white", "amount": "1 lb"}], volume="1 gal", volume_is="final")
    assert 1000.0 * (sugar.original_gravity.value - 1.0) == pytest.approx(46.2, abs=0.15)
    assert sugar.rule_of_thumb is None


def test_moisture_of_honey_at_1050() -> None:
    """Computed: 1 % more water in the honey takes 0.6 points off at 1.050."""
    plan = ask(original_gravity=1.050, volume="20 L", volume_is="final")
    assert plan.moisture is not None
    assert 1000.0 * (plan.original_gravity.value - plan.moisture.gravity_if_one_more) == pytest.approx(0.6, abs=0.05)
    assert 1000.0 * (plan.moisture.gravity_if_one_less - plan.original_gravity.value) == pytest.approx(0.6, abs=0.05)


def test_the_share_that_ferments_comes_from_the_row() -> None:
    """Computed from the row, White 1962: (38.2 + 31.3 + 1.3 + 0.5·7.3)/82.8 = 0.90, 0.855 to 0.943."""
    share = ask(original_gravity=1.048, volume="20 L", volume_is="final").ferment.fermentable_share
    assert [round(v, 3) for v in (share.value, share.low, share.high)] == [0.899, 0.855, 0.943]


def test_strength_of_144_g_in_a_litre_of_must() -> None:
    """Computed: 5.9 to 6.9 % vol, by where it finishes."""
    plan = ask(sources=[{**HONEY, "amount": "144 g"}], volume="1 L", volume_is="final")
    strength = plan.ferment.abv_per_litre_of_must
    assert [round(v, 1) for v in (strength.low, strength.high)] == [5.9, 6.9]
    assert strength.low < strength.value < strength.high
    assert 0.994 <= plan.ferment.volume_ratio <= 0.9951  # computed: carbon dioxide out, alcohol in


def test_the_standard_of_honey_wine_in_gravity() -> None:
    """27 CFR 24.203, 2015 edition: 13 °Bx, which is 1.0526 (ICUMSA SPS-4)."""
    below = ask(original_gravity=1.0450, volume="20 L", volume_is="final")
    above = ask(original_gravity=1.0560, volume="20 L", volume_is="final")
    assert "below_honey_wine_standard" in {c.code for c in below.cautions}
    assert "below_honey_wine_standard" not in {c.code for c in above.cautions}
    at = ask(original_gravity=1.0526, volume="20 L", volume_is="final")
    assert at.brix.value == pytest.approx(13.0, abs=0.05)
