"""Stabilising plans: what forbids a dose, limits, hurdles, and what is refused."""

from __future__ import annotations

import dataclasses
from dataclasses import replace
from typing import Any

import pytest

from service.catalogue.loader import sources
from service.chemistry.sulfite import PkBasis
from service.chemistry.sulfite_limits import Market, WineColour
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.lot_class import LotClass
from service.planner.asked import Intended
from service.planner.stabilising.answers import StabilisingPlan
from service.planner.stabilising.asked import DrinkRead, GravityOfDay, Sorbate, StabilisingAsked, Sulfite
from service.planner.stabilising.blocks import rest_fault
from service.planner.stabilising.plan import plan_stabilising
from tests.planner.stabilising_cases import DRINK, MEQ_PER_G_TARTARIC, SWEET, codes, day, drink, grams, texts

# What forbids a dose.


@pytest.mark.parametrize(
    ("readings", "code"),
    [
        ([day(1, 1.004), day(8, 1.001)], "gravity_falling_in_hold_test"),
        ([day(1, 1.001), day(8, 1.000)], "gravity_falling_in_hold_test"),
        ([day(8, 1.001), day(1, 1.004)], "gravity_falling_in_hold_test"),
        ([day(1, 1.004), day(2, 1.004)], "stabilisers_on_a_moving_ferment"),
        ([day(1, 1.004), day(2, 1.000)], "gravity_falling_in_hold_test"),
        ([day(1, 1.004), day(8, 1.007)], "readings_of_gravity_disagree"),
        ([day(1, 1.000), day(4, 1.000)], None),
        ([day(1, 1.010), day(5, 1.000), day(8, 1.000)], "gravity_falling_in_hold_test"),
        ([day(1, 1.010), day(15, 1.000), day(18, 1.000), day(29, 1.000)], None),
        # 0.0008 in four days, three times over
        ([day(1, 1.016), day(5, 1.0152), day(9, 1.0144), day(13, 1.0136)], "gravity_falling_in_hold_test"),
        # outside two weeks: only a series in which every reading is lower says so
        ([day(1, 1.0016), day(16, 1.0008), day(31, 1.0002)], "gravity_falling_in_hold_test"),
        ([day(1, 1.0016), day(16, 1.0002), day(31, 1.0002)], None),
        ([day(1, 1.000), day(8, 0.9996)], None),
        ([], None),
    ],
)
def test_two_gravities_days_apart(readings: list[GravityOfDay], code: str | None) -> None:
    found = rest_fault(readings, 0.001)
    assert (None if found is None else found.caution.code) == code


def test_a_finer_hydrometer_sees_a_smaller_fall() -> None:
    readings = [day(1, 1.0006), day(8, 1.0)]
    assert rest_fault(readings, 0.001) is None
    assert rest_fault(readings, 0.0005) is not None


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"fermentation_finished": None}, "stabilisers_on_a_moving_ferment"),
        ({"fermentation_finished": False}, "yeast_still_active"),
        ({"readings": (day(1, 1.004), day(8, 1.001))}, "gravity_falling_in_hold_test"),
        ({"raw_juice_after": True}, "raw_juice_after_stabilising"),
        ({"dosing": replace(DRINK, ph=4.7, titratable_meq_per_l=None)}, "ph_above_4_6"),
    ],
)
def test_nothing_is_dosed(change: dict[str, Any], code: str) -> None:
    plan = plan_stabilising(replace(SWEET, **change))
    assert plan.doses == ()
    assert plan.verdict == "do_not_dose"
    assert plan.cautions[0].level == "stop"
    assert code in codes(plan, "stop")
    assert plan.steps
    assert all(not step.amount_text for step in plan.steps)
    assert "plan_packaging" not in plan.next
    assert plan.so2.added_mg_per_l == 0.0


def test_readings_at_rest_need_no_word() -> None:
    asked = replace(SWEET, fermentation_finished=None, readings=(day(1, 1.012), day(8, 1.012)))
    assert plan_stabilising(asked).verdict == "dose_and_verify"


def test_malolactic_bacteria_forbid_sorbate_only() -> None:
    plan = plan_stabilising(replace(SWEET, malolactic_possible=True))
    assert set(grams(plan)) == {"potassium_metabisulfite"}
    assert "malolactic_blocks_sorbate" in codes(plan, "stop")
    assert plan.ph_after_sorbate == plan.ph_before


def test_sorbate_alone_is_stopped() -> None:
    plan = plan_stabilising(replace(SWEET, hurdles=("sorbate",)))
    assert plan.doses == ()
    assert "sorbate_without_sulfite" in codes(plan, "stop")


def test_the_less_acid_of_both_moments_forbids_a_dose() -> None:
    # 21 CFR 114.3: 4.6
    plain = replace(drink(ph=4.8, titratable_meq_per_l=None), hurdles=("sulfite",), market=Market.US)
    asked = replace(plain, packaging=DrinkRead(volume_l=24.0, ph=4.2), sulfite=Sulfite(30.0))
    later = replace(drink(ph=4.2, titratable_meq_per_l=None), hurdles=("sulfite",), market=Market.US)
    for case in (asked, replace(later, packaging=DrinkRead(volume_l=24.0, ph=4.8), sulfite=Sulfite(30.0))):
        plan = plan_stabilising(case)
        assert "ph_above_4_6" in codes(plan, "stop")
        assert plan.doses == ()


def test_a_salt_that_would_lift_the_ph_too_far_stays_out() -> None:
    weak = drink(ph=4.55, abv_percent=10.0, titratable_meq_per_l=0.9 * MEQ_PER_G_TARTARIC)
    plan = plan_stabilising(replace(weak, sorbate=Sorbate(200.0), market=Market.US))
    assert "ph_above_4_6" in codes(plan, "stop")
    assert plan.doses == ()


@pytest.mark.parametrize(
    ("ph", "found"),
    [
        (3.4, set()),
        (3.6, {"weak_hurdles_at_this_ph"}),
        (3.9, {"weak_hurdles_at_this_ph", "acid_first"}),
        (4.1, {"weak_hurdles_at_this_ph", "acid_first", "ph_high"}),
    ],
)
def test_the_less_acid_the_weaker(ph: float, found: set[str]) -> None:
    plan = plan_stabilising(replace(drink(ph=ph), hurdles=("sulfite",), market=Market.US))
    assert codes(plan) & {"weak_hurdles_at_this_ph", "acid_first", "ph_high"} == found


# Limits.


def over_limit(**change: Any) -> StabilisingPlan:
    return plan_stabilising(
        replace(SWEET, hurdles=("sulfite",), sulfite=Sulfite(free_target_mg_per_l=220.0, bound_share=0.0), **change)
    )


@pytest.mark.parametrize(
    ("change", "limit"),
    [
        ({"market": Market.US}, 350.0),  # 27 CFR 4.22(b)(1)
        ({"market": Market.EU, "lot_class": LotClass.MEAD}, 200.0),  # from memory, unverified
        # Delegated Regulation (EU) 2019/934, Annex I B
        ({"market": Market.EU, "lot_class": LotClass.GRAPE_WINE, "colour": WineColour.WHITE_OR_ROSE}, 250.0),
        ({"market": Market.EU, "lot_class": LotClass.GRAPE_WINE, "colour": WineColour.RED}, 200.0),
    ],
)
def test_a_limit_forbids_what_passes_it(change: dict[str, Any], limit: float) -> None:
    plan = over_limit(**change)
    (report,) = (x for x in plan.limits if x.what == "total_so2")
    assert report.limit_mg_per_l == limit
    assert report.exceeded is (limit < 220.0)
    assert ("total_so2_over_limit" in codes(plan, "stop")) is report.exceeded
    assert bool(plan.doses) is not report.exceeded
    if report.exceeded:
        assert report.ours_mg_per_l == 220.0
        (stop,) = (c for c in plan.cautions if c.code == "total_so2_over_limit")
        assert "the target cannot be met" in stop.text


def test_dry_grape_wine_has_the_lower_limits() -> None:
    # Delegated Regulation (EU) 2019/934, Annex I B: 150 red and 200 white below 5 g/L
    for colour, limit in ((WineColour.RED, 150.0), (WineColour.WHITE_OR_ROSE, 200.0)):
        plan = plan_stabilising(
            replace(SWEET, sugar_g_per_l=1.0, market=Market.EU, lot_class=LotClass.GRAPE_WINE, colour=colour)
        )
        assert next(x for x in plan.limits if x.what == "total_so2").limit_mg_per_l == limit


@pytest.mark.parametrize(
    ("market", "total", "due"),
    [
        (Market.US, 10.0, True),  # 27 CFR 4.32(e): 10 ppm or more
        (Market.US, 9.99, False),
        (Market.EU, 10.0, False),  # Regulation (EU) 1169/2011, Annex II: more than 10 mg/L
        (Market.EU, 10.01, True),
    ],
)
def test_the_edge_of_the_declaration(market: Market, total: float, due: bool) -> None:
    asked = replace(
        SWEET,
        market=market,
        hurdles=("sulfite",),
        sulfite=Sulfite(free_target_mg_per_l=total, bound_share=0.0),
    )
    (report,) = (x for x in plan_stabilising(asked).limits if x.what == "declaration_contains_sulfites")
    assert report.limit_mg_per_l == 10.0
    assert report.exceeded is due
    assert report.comparison == ("at or above" if market is Market.US else "above")


def test_below_7_percent_us_food_law_is_named() -> None:
    plan = plan_stabilising(replace(drink(abv_percent=6.5), market=Market.US))
    (report,) = (x for x in plan.limits if x.what == "declaration_contains_sulfites")
    assert report.source_id == "cfr21_101_100"
    assert "from memory" in report.mark


def test_a_limit_within_the_error_of_the_volume_is_said() -> None:
    asked = replace(
        SWEET, hurdles=("sulfite",), market=Market.US, sulfite=Sulfite(free_target_mg_per_l=345.0, bound_share=0.0)
    )
    assert "limit_within_volume_error" in codes(plan_stabilising(asked), "warning")
    assert "limit_within_volume_error" not in codes(plan_stabilising(replace(asked, volume_error_percent=0.5)))


def test_too_much_is_only_diluted() -> None:
    now = Sulfite(free_target_mg_per_l=30.0, free_now_mg_per_l=45.0, total_now_mg_per_l=90.0)
    plan = plan_stabilising(replace(SWEET, hurdles=("sulfite",), sulfite=now))
    assert plan.verdict == "nothing_to_dose"
    assert plan.doses == ()
    assert plan.dilute_with_l == pytest.approx(10.0)  # 45 to 30 mg/L takes half as much again
    assert "free_so2_above_target" in codes(plan, "note")
    over = plan_stabilising(replace(SWEET, market=Market.EU, sulfite=replace(now, total_now_mg_per_l=300.0)))
    assert over.verdict == "do_not_dose"
    assert "total_so2_over_limit" in codes(over, "stop")
    assert "over_sulfited" in codes(over, "warning")
    assert over.dilute_with_l == pytest.approx(10.0)  # 300 to 200 mg/L
    assert not any("peroxide" in text.lower() for text in texts(dataclasses.asdict(over)))


def test_the_irritating_level_is_said() -> None:
    # Waterhouse, Sacks and Jeffery 2016, table 17.1: 2 mg/L molecular
    asked = replace(SWEET, sulfite=Sulfite(molecular_target_mg_per_l=2.1))
    assert "molecular_so2_irritates" in codes(plan_stabilising(asked))
    assert "molecular_so2_irritates" not in codes(plan_stabilising(SWEET))


# Hurdles, steps, what comes next.


def test_heat_minutes() -> None:
    # t·1.393^(T − 60): 60 units are 60 min at 60, 11.4 at 65 °C (computed after Del Vecchio et al. 1951)
    heat = {
        (h.temperature_c, h.units): h.minutes
        for report in plan_stabilising(SWEET).hurdles
        if report.hurdle == "pasteurised"
        for h in report.heat
    }
    assert heat[60.0, 60.0] == 60.0
    assert heat[65.0, 60.0] == 11.4
    assert heat[63.0, 60.0] == pytest.approx(22.0, abs=0.3)
    assert heat[70.0, 60.0] == 2.2
    assert {t for t, _ in heat} == {60.0, 63.0, 65.0, 68.0, 70.0}
    assert {u for _, u in heat} == {60.0, 100.0}


def test_verdicts_of_the_hurdles() -> None:
    verdicts = {r.hurdle: r.verdict for r in plan_stabilising(SWEET).hurdles}
    assert verdicts == {
        "sulfite": "no_blocker_found",
        "sorbate": "no_blocker_found",
        "pasteurised": "may_hold_if_done_right",
        "sterile_filtered": "may_hold_if_done_right",
        "cold": "slows_only",
    }


def sealed(asked: StabilisingAsked, **change: Any) -> StabilisingPlan:
    circumstances = replace(asked.circumstances, intended=Intended(container="bottle"))
    return plan_stabilising(replace(asked, circumstances=circumstances, **change))


def test_sugar_behind_what_does_not_hold_is_not_to_be_sealed() -> None:
    plan = sealed(drink(abv_percent=7.0))
    assert "hurdle_does_not_hold" in codes(plan, "stop")
    assert plan.verdict == "dose_but_do_not_seal"
    assert "do not seal" in plan.summary
    assert plan.doses  # the sulfite still goes in
    assert "refermentable_sugar_no_hurdle" in codes(sealed(SWEET, hurdles=()), "stop")
    assert "hurdle_does_not_hold" in codes(sealed(SWEET, hurdles=("cold",)), "stop")
    assert "hurdle_is_not_proof" in codes(sealed(SWEET), "warning")
    assert "hurdle_is_not_proof" in codes(sealed(SWEET, hurdles=("pasteurised",)), "warning")
    dry = sealed(drink(abv_percent=7.0), sugar_g_per_l=1.0)
    assert not codes(dry) & {"hurdle_does_not_hold", "hurdle_is_not_proof", "refermentable_sugar_no_hurdle"}


def test_without_salts_nothing_is_dosed_and_nothing_forbidden() -> None:
    plan = plan_stabilising(replace(SWEET, hurdles=("pasteurised",), fermentation_finished=None))
    assert plan.verdict == "nothing_to_dose"
    assert not codes(plan, "stop")
    assert not codes(plan) & {"sulfite_fumes", "sorbate_taste"}


@pytest.mark.parametrize("hurdles", [("pasteurised",), ("cold",), ()])
def test_what_endangers_the_drink_is_said_without_a_salt_too(hurdles: tuple[str, ...]) -> None:
    asked = replace(SWEET, hurdles=hurdles)
    assert not codes(plan_stabilising(asked)) & {"ph_above_4_6", "ph_high", "raw_juice_after_stabilising"}
    little_acid = replace(asked, dosing=replace(DRINK, ph=4.7, titratable_meq_per_l=None))
    assert "ph_above_4_6" in codes(plan_stabilising(little_acid), "stop")
    assert "ph_high" in codes(plan_stabilising(little_acid), "warning")
    raw = plan_stabilising(replace(asked, raw_juice_after=True))
    assert "raw_juice_after_stabilising" in codes(raw, "stop")
    falling = plan_stabilising(replace(asked, readings=(day(1, 1.004), day(8, 1.001))))
    assert "gravity_falling_in_hold_test" in codes(falling, "stop")
    assert "Gravity fell" in falling.summary
    assert "yeast_still_active" in codes(sealed(asked, fermentation_finished=False), "stop")
    assert "stabilisers_on_a_moving_ferment" in codes(sealed(asked, fermentation_finished=None), "stop")


def test_a_filter_needs_a_finished_ferment() -> None:
    asked = replace(SWEET, hurdles=("sterile_filtered",))
    assert "yeast_still_active" in codes(plan_stabilising(replace(asked, fermentation_finished=False)), "stop")
    assert not codes(plan_stabilising(asked), "stop")


@pytest.mark.parametrize("hurdles", [("sulfite", "sorbate"), ("sulfite",)])
def test_more_than_the_target_already_is_said_first(hurdles: tuple[str, ...]) -> None:
    now = Sulfite(free_now_mg_per_l=100.0, total_now_mg_per_l=120.0)
    plan = plan_stabilising(replace(drink(ph=3.4), hurdles=hurdles, sulfite=now))
    assert plan.dilute_with_l is not None
    assert "holds 100 mg/L free SO2, more than its target" in plan.summary
    assert "nothing takes it out at home" in plan.summary
    assert f"{plan.dilute_with_l:.3g} L of drink without sulfite" in plan.summary
    assert "Doses for the targets asked for" not in plan.summary
    assert ("sorbate" in hurdles) is ("Only sorbate goes in" in plan.summary)


@pytest.mark.parametrize(("volume_l", "words"), [(20.0, "in a cup of"), (500.0, "in 1 L of")])
def test_a_large_batch_takes_more_than_a_cup(volume_l: float, words: str) -> None:
    # 4 mL/L of 30 g/L (T. Underhill, Making Better Wines) are 60 g of sorbate in 500 L
    step = next(s for s in plan_stabilising(drink(volume_l=volume_l)).steps if "potassium sorbate" in s.do)
    assert words in step.do


def test_the_order_of_the_steps() -> None:
    steps = plan_stabilising(SWEET).steps
    words = [step.do for step in steps]
    assert "sorbate" in words[1]
    assert "metabisulfite" in words[2]
    assert steps[3].wait_min_h == 48.0  # common practice, no source
    assert all(step.source_id in sources() for step in steps)


def test_free_so2_is_measured_again() -> None:
    plan = plan_stabilising(SWEET)
    (reading,) = (r for r in plan.next_reading if "free SO2, one to three days" in r.do)
    assert reading.expect == pytest.approx(plan.so2.at_dosing.free_mg_per_l, abs=0.06)
    assert reading.expect is not None
    assert reading.low is not None
    assert reading.high is not None
    assert reading.low < reading.expect < reading.high
    assert reading.wait_min_h == 24.0
    drink = plan.next["plan_packaging"].request["drink"]
    assert float(drink["free_so2"].split()[0]) == pytest.approx(plan.so2.at_packaging.free_mg_per_l, rel=1e-3)


def test_other_ways_above_ph_3_8() -> None:
    plan = plan_stabilising(replace(drink(ph=3.95), hurdles=("sulfite",), market=Market.US))
    assert plan.alternatives[0].do.startswith("Bring the pH to 3.8")
    assert all(other.source_id in sources() for other in plan.alternatives)


# Refusals.


@pytest.mark.parametrize(
    ("asked", "kind", "pointer"),
    [
        (drink(volume_l=None), InputError, "/volume_at_dosing"),
        (drink(volume_l=0.0), InputError, "/volume_at_dosing"),
        (drink(ph=None), InputError, "/ph"),
        (drink(abv_percent=None), InputError, "/abv_percent"),
        (drink(ph=5.5), OutOfRangeError, "/ph"),
        (drink(abv_percent=21.0), OutOfRangeError, "/abv_percent"),
        (replace(SWEET, packaging=DrinkRead(volume_l=25.0, ph=1.5)), OutOfRangeError, "/ph_at_packaging"),
        (replace(SWEET, packaging=DrinkRead(volume_l=100.0)), InconsistentError, "/volume_at_packaging"),
        (replace(SWEET, temperature_c=45.0), OutOfRangeError, "/temperature"),
        (
            replace(SWEET, temperature_c=10.0, sulfite=Sulfite(pk_basis=PkBasis.OIV)),
            OutOfRangeError,
            "/pk_basis",
        ),
        (replace(SWEET, sulfite=Sulfite(30.0, 0.8)), InconsistentError, "/molecular_so2_target"),
        (replace(SWEET, hurdles=("cold",), sulfite=Sulfite(30.0)), InconsistentError, "/free_so2_target"),
        (
            replace(SWEET, hurdles=("cold",), sulfite=Sulfite(molecular_target_mg_per_l=0.8)),
            InconsistentError,
            "/molecular_so2_target",
        ),
        (replace(SWEET, hurdles=("sulfite",), sorbate=Sorbate(100.0)), InconsistentError, "/sorbic_acid_target"),
        (
            replace(SWEET, sulfite=Sulfite(free_now_mg_per_l=20.0, total_now_mg_per_l=10.0)),
            InconsistentError,
            "/total_so2_now",
        ),
        (drink(ph=2.1, titratable_meq_per_l=10.0), InconsistentError, "/ph"),
    ],
)
def test_what_cannot_be_answered_is_refused(asked: StabilisingAsked, kind: type[Exception], pointer: str) -> None:
    with pytest.raises(kind) as found:
        plan_stabilising(asked)
    assert getattr(found.value, "pointer", None) == pointer
