"""Must plans: forward and back, feeds, yeast, what the sugar becomes; against balances done on paper."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.lookup import get_ingredient
from service.chemistry.nitrogen import sugar_break_gravity
from service.errors import InconsistentError, OutOfRangeError
from service.physics.fermentation import fermented_out
from service.physics.mixture import density_g_ml
from service.planner.must.ferment import Share, ferment_of, original_gravity_for
from tests.planner.must_cases import ask, codes, grams, light

LIGHT = Share(0.899, 0.855, 0.943)


@settings(max_examples=25)
@given(st.floats(1.02, 1.12), st.floats(2.0, 400.0))
def test_what_is_planned_comes_out_when_it_is_poured(gravity: float, litres: float) -> None:
    plan = ask(original_gravity=round(gravity, 4), volume=f"{litres:.3f} L", volume_is="final")
    honey = grams(plan.amounts)["honey_average"]
    poured = ask(
        sources=[{"ingredient": "honey_average", "amount": f"{honey:.6f} g"}],
        volume=f"{litres:.3f} L",
        volume_is="final",
    )
    assert poured.outcome == "as_given"
    assert poured.original_gravity.value == pytest.approx(round(gravity, 4), abs=2e-5)
    assert poured.ferment.abv_percent.value == pytest.approx(plan.ferment.abv_percent.value, abs=2e-3)


@settings(max_examples=25)
@given(st.floats(1.02, 1.11), st.floats(0.05, 20.0))
def test_so_many_times_as_much_takes_so_many_times_as_much(gravity: float, times: float) -> None:
    one = ask(original_gravity=gravity, volume="10 L", volume_is="water_added")
    many = ask(original_gravity=gravity, volume=f"{10.0 * times:.6f} L", volume_is="water_added")
    for name, mass in grams(one.amounts).items():
        assert grams(many.amounts)[name] == pytest.approx(times * mass, rel=1e-4)
    assert many.nitrogen.doses[0].mass_g == pytest.approx(times * one.nitrogen.doses[0].mass_g, rel=1e-3)


def test_mass_and_volume_close() -> None:
    """The mixture's own density, from the row's composition, is that of the amounts."""
    plan = light()
    masses = grams(plan.amounts)
    row = get_ingredient("honey_average")
    total = {component: masses["honey_average"] * g / 100.0 for component, g in row.composition.items()}
    (water,) = (c for c in row.composition if c.value == "water")
    total[water] += masses["water_deionised"]
    density = density_g_ml(total)
    assert sum(masses.values()) / density / 1000.0 == pytest.approx(20.0, abs=1e-3)
    assert density / 0.998201 == pytest.approx(1.048, abs=2e-5)  # water at 20 °C, CRC Handbook


def test_both_meanings_of_a_volume() -> None:
    source = [{"ingredient": "honey_average", "amount": "3 kg"}]
    final = ask(sources=source, volume="18 L", volume_is="final")
    water = ask(sources=source, volume="18 L", volume_is="water_added")
    assert 1000.0 * (final.original_gravity.value - water.original_gravity.value) == pytest.approx(5.4, abs=0.3)
    assert final.predicted.volume.value == pytest.approx(18.0, abs=1e-3)
    assert water.predicted.volume.value > 20.0
    assert water.rule_of_thumb is not None
    assert final.rule_of_thumb is not None
    assert abs(water.rule_of_thumb.gap_points) < 2.0 < final.rule_of_thumb.gap_points
    assert water.rule_of_thumb.reason.startswith("Two errors cancel")


def test_a_strength_asked_for_is_the_strength_expected() -> None:
    plan = ask(potential_abv_percent=6.5, volume="20 L", volume_is="final")
    assert plan.ferment.abv_percent.value == pytest.approx(6.5, abs=1e-3)
    share = plan.ferment.fermentable_share.value
    out = fermented_out(plan.original_gravity.value, share)
    assert out.abv_percent == pytest.approx(6.5, abs=3e-3)
    with_juice = ask(
        potential_abv_percent=6.5,
        volume="20 L",
        volume_is="final",
        sources=[{"ingredient": "honey_average"}, {"ingredient": "apple_juice_bottled", "amount": "5 L"}],
    )
    assert with_juice.ferment.abv_percent.value == pytest.approx(6.5, abs=1e-3)
    assert grams(with_juice.amounts)["honey_average"] < grams(plan.amounts)["honey_average"] - 400.0
    assert with_juice.rule_of_thumb is None


def test_a_given_amount_decides_the_volume() -> None:
    plan = ask(sources=[{"ingredient": "honey_average", "amount": "3 kg"}], original_gravity=1.050)
    assert plan.outcome == "targets_met"
    assert [t.property for t in plan.targets] == ["gravity"]
    again = ask(original_gravity=1.050, volume=f"{plan.predicted.volume.value:.4f} L", volume_is="final")
    assert grams(again.amounts)["honey_average"] == pytest.approx(3000.0, abs=0.5)


def test_too_little_honey_is_an_outcome() -> None:
    sources = [{"ingredient": "honey_average", "max": "2 kg"}]
    plan = ask(sources=sources, original_gravity=1.050, volume="25 L", volume_is="final")
    assert plan.outcome == "targets_clash"
    assert plan.clash is not None
    assert "gravity" in plan.clash.conflict


def test_whole_packs_are_used_only_where_they_are_asked_for() -> None:
    packs = light(sources=[{"ingredient": "honey_average", "pack": "2 kg"}])
    assert packs.amounts[0].packs in (1.0, 2.0)
    assert packs.outcome == "nearest_measurable"
    sold = light(sources=[{"ingredient": "honey_average", "sold_in": "1 kg"}])
    assert sold.outcome == "targets_met"
    line = next(one for one in sold.shopping if one.what == "honey_average")
    assert line.packs == 4.0
    assert line.left_over_g == pytest.approx(4000.0 - grams(sold.amounts)["honey_average"], abs=0.1)


def test_rounding_to_the_scale() -> None:
    plan = light(rounding="scale", instruments={"scale": {"step": "50 g"}})
    assert grams(plan.amounts)["honey_average"] % 50.0 == pytest.approx(0.0, abs=1e-6)


def test_where_it_ends() -> None:
    ferment = light().ferment
    assert ferment.final_gravity.low < ferment.final_gravity.value < ferment.final_gravity.high
    assert ferment.abv_percent.low < ferment.abv_percent.value < ferment.abv_percent.high
    assert ferment.sugar_break_gravity == pytest.approx(
        sugar_break_gravity(1.048, ferment.final_gravity.value), abs=1e-4
    )
    assert ferment.volume_after_l == pytest.approx(20.0 * ferment.volume_ratio, abs=1e-3)
    assert "does not mean that no sugar is left" in ferment.text


@settings(max_examples=25)
@given(st.floats(0.5, 16.0), st.floats(0.5, 1.0))
def test_the_gravity_for_a_strength_is_the_inverse(abv: float, share: float) -> None:
    told = Share(share, share, share)
    gravity = original_gravity_for(abv, told)
    assert fermented_out(gravity, share).abv_percent == pytest.approx(abv, abs=1e-6)


def test_a_final_gravity_that_is_named() -> None:
    gravity = original_gravity_for(6.5, LIGHT, 1.004)
    ferment = ferment_of(gravity, LIGHT, 20.0, 1.004)
    assert ferment.abv_percent.value == pytest.approx(6.5, abs=1e-3)
    assert gravity > original_gravity_for(6.5, LIGHT)
    with pytest.raises(InconsistentError):
        ferment_of(1.048, LIGHT, 20.0, 0.985)


@pytest.mark.parametrize("abv", [0.0, -1.0, 35.0, 1e-3])
def test_strengths_that_no_must_has(abv: float) -> None:
    with pytest.raises(OutOfRangeError):
        original_gravity_for(abv, LIGHT)


def test_feeds_are_half_each_and_inside_the_first_third() -> None:
    plan = light(nitrogen={"demand": "high", "sources": [{"name": "DAP"}, {"name": "autolysed yeast"}]})
    need = 1.25 * plan.nitrogen.fermentable_sugar_g_per_l
    assert plan.nitrogen.need_mg_per_l == pytest.approx(need, abs=0.01)
    assert plan.nitrogen.added_mg_per_l == pytest.approx(need, abs=0.01)
    assert [f.stage for f in plan.feeds] == ["end of lag"] * 2 + ["before one third of the sugar is gone"] * 2
    first = {feed.source: feed.mass_g for feed in plan.feeds[:2]}
    for dose in plan.nitrogen.doses:
        assert dose.mass_g == pytest.approx(2.0 * first[dose.name], abs=1e-3)
        assert dose.nitrogen_mg_per_l == pytest.approx(need / 2.0, abs=0.01)
        assert dose.mass_g * dose.nitrogen_percent * 10.0 / 20.0 == pytest.approx(need / 2.0, rel=1e-3)
    assert all(feed.not_below_gravity == plan.ferment.sugar_break_gravity for feed in plan.feeds)
    feeds = [step for step in plan.steps if step.do.startswith("Feed")]
    assert [step.wait_min_h for step in feeds] == [12.0, 12.0]


def test_nitrogen_that_is_there_is_not_added() -> None:
    plan = light(nitrogen={"must_yan_mg_n_per_l": 120})
    assert plan.nitrogen.need_mg_per_l == 0.0
    assert plan.feeds == ()
    assert not any(step.do.startswith("Feed") for step in plan.steps)
    assert 15.0 < plan.nitrogen.excess_mg_per_l < 25.0
    assert "excess_nitrogen" not in codes(plan)


def test_juice_brings_nitrogen_of_its_row_and_honey_none() -> None:
    sources = [{"ingredient": "honey_average"}, {"ingredient": "grape_must_vinifera", "amount": "5 L"}]
    plan = light(sources=sources)
    row = get_ingredient("grape_must_vinifera")
    expected = grams(plan.amounts)["grape_must_vinifera"] / 1000.0 * (row.minerals.yan_mg_n_per_kg or 0.0) / 20.0
    assert plan.nitrogen.must_yan_mg_n_per_l == pytest.approx(expected, abs=0.01)
    assert expected > 0.0
    assert light().nitrogen.must_yan_mg_n_per_l == 0.0


def test_a_fixed_amount_and_the_rest_by_another() -> None:
    sources = [{"name": "autolysed yeast", "amount": "10 g"}, {"name": "diammonium phosphate"}]
    plan = light(nitrogen={"sources": sources})
    doses = {dose.name: dose for dose in plan.nitrogen.doses}
    assert doses["autolysed yeast"].mass_g == 10.0
    assert plan.nitrogen.added_mg_per_l == pytest.approx(plan.nitrogen.need_mg_per_l, abs=0.02)


def test_yeast_by_both_practices() -> None:
    """Rates from memory, unverified: 0.75 million cells per mL and °P; 0.2 to 0.25 g/L."""
    pitch = light().yeast
    assert pitch.cells == pytest.approx(0.75e6 * 20_000.0 * 11.933, rel=1e-3)
    assert pitch.brewing_g == pytest.approx(17.9, abs=0.02)
    assert (pitch.wine_low_g, pitch.wine_high_g) == (4.0, 5.0)
    assert (pitch.verdict, pitch.can_it_finish) == ("not_given", "unknown")
    weak = light(yeast={"grams": 9, "viable_cells_per_g": 2e9}).yeast
    assert weak.brewing_g == pytest.approx(5.0 * pitch.brewing_g, rel=1e-4)
    assert weak.million_per_ml_per_plato == pytest.approx(9.0 * 2e9 / (1e6 * 20_000.0 * 11.933), rel=1e-3)
    assert weak.verdict == "between_the_two"
    assert light(yeast={"grams": 20}).yeast.verdict == "as_both_or_more"


@pytest.mark.parametrize(
    ("tolerance", "said"),
    [(14.0, "yes_by_the_stated_tolerance"), (6.8, "in_doubt"), (5.0, "no_by_the_stated_tolerance")],
)
def test_tolerance_is_judged_by_the_bad_end_and_protects_nothing(tolerance: float, said: str) -> None:
    plan = light(yeast={"tolerance_abv_percent": tolerance})
    assert plan.yeast.can_it_finish == said
    assert "alcohol does not protect this batch" in plan.yeast.text
    assert ("may_stop_before_dry" in codes(plan)) is (said != "yes_by_the_stated_tolerance")


def test_steps_and_days() -> None:
    plan = light(start_date="2026-02-20")
    assert [a.step for a in plan.schedule] == list(range(1, len(plan.steps) + 1))
    assert plan.schedule[0].date == "2026-02-20"
    assert plan.schedule[-1].date == "2026-03-03"  # 12 + 12 + 168 + 72 h later
    assert light().schedule == ()
    assert {step.source_id for step in plan.steps} == {"common_practice"}
