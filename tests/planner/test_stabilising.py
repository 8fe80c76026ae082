"""Stabilising plans: doses, what they come to, and how a maker measures them."""

from __future__ import annotations

from dataclasses import replace
from math import log10

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.chemistry.sulfite import PkBasis
from service.chemistry.sulfite_limits import Market
from service.errors import InconsistentError
from service.model.lot_class import LotClass
from service.planner.asked import Circumstances, Instruments
from service.planner.stabilising.asked import DrinkRead, Sorbate, Sulfite
from service.planner.stabilising.doses import salt_dose
from service.planner.stabilising.plan import plan_stabilising
from tests.planner.stabilising_cases import DRINK, FINE, MEQ_PER_G_TARTARIC, SWEET, codes, drink, grams

# The arithmetic of the doses, against formula masses (IUPAC standard atomic weights).


def test_the_doses_are_formula_arithmetic() -> None:
    asked = replace(
        SWEET,
        sulfite=Sulfite(free_target_mg_per_l=30.0, bound_share=0.4, so2_share=2 * 64.06 / 222.32),
        sorbate=Sorbate(target_mg_per_l=120.0),
    )
    plan = plan_stabilising(asked)
    # 30/(1 − 0.4) = 50 mg/L of SO2 in 20 L; K2S2O5 222.32 yields two SO2 of 64.06; sorbate 150.22 one acid of 112.13
    assert grams(plan)["potassium_metabisulfite"] == pytest.approx(50.0 * 20.0 / 1000.0 * 222.32 / 128.12, abs=1e-4)
    assert grams(plan)["potassium_sorbate"] == pytest.approx(120.0 * 20.0 / 1000.0 * 150.22 / 112.13, abs=1e-4)
    assert [dose.salt for dose in plan.doses] == ["potassium_sorbate", "potassium_metabisulfite"]
    state = plan.so2.at_packaging
    assert (state.free_mg_per_l, state.bound_mg_per_l, state.total_mg_per_l) == (30.0, 20.0, 50.0)
    assert plan.verdict == "dose_and_verify"


def test_what_is_in_the_drink_already_counts() -> None:
    asked = replace(
        SWEET,
        sulfite=Sulfite(free_target_mg_per_l=30.0, free_now_mg_per_l=12.0, total_now_mg_per_l=40.0, bound_share=0.4),
    )
    plan = plan_stabilising(asked)
    assert plan.so2.added_mg_per_l == pytest.approx(30.0)
    assert plan.so2.at_dosing.total_mg_per_l == pytest.approx(70.0)
    assert "total_so2_now" not in {a.what for a in plan.assumed}


@pytest.mark.parametrize(("ph", "free"), [(3.0, 13.2), (3.2, 20.4), (3.4, 31.9), (3.6, 50.1)])
def test_free_so2_of_the_usual_target(ph: float, free: float) -> None:
    # mass action with pK 1.81; the trade's table of free SO2 for 0.8 mg/L (computed)
    plan = plan_stabilising(replace(drink(ph=ph), hurdles=("sulfite",)))
    assert plan.so2.free_wanted_mg_per_l == pytest.approx(free, abs=0.06)
    assert plan.so2.free_wanted_mg_per_l == pytest.approx(0.8 * (1 + 10 ** (ph - 1.81)), abs=0.01)
    assert plan.so2.at_packaging.molecular_mg_per_l == pytest.approx(0.8, abs=1e-4)


@pytest.mark.parametrize(("sugar", "target"), [(0.0, 0.5), (2.0, 0.5), (3.0, 0.8), (None, 0.8)])
def test_the_usual_target_depends_on_sugar(sugar: float | None, target: float) -> None:
    # 0.5 dry, 0.8 sweet: common practice, no source
    plan = plan_stabilising(replace(SWEET, sugar_g_per_l=sugar))
    assert plan.so2.target == f"{target:g} mg/L molecular SO2"


def test_the_error_of_the_ph_meter_makes_a_band() -> None:
    circumstances = replace(FINE, instruments=replace(FINE.instruments, ph_meter_error=0.1))
    so2 = plan_stabilising(replace(SWEET, hurdles=("sulfite",), circumstances=circumstances)).so2
    assert so2.low_mg_per_l == pytest.approx(0.8 * (1 + 10 ** (3.2 - 1.81)), abs=0.01)
    assert so2.high_mg_per_l == pytest.approx(0.8 * (1 + 10 ** (3.4 - 1.81)), abs=0.01)


# Sorbate first: it lifts the pH, and with it the sulfite.


@pytest.mark.parametrize(("ph", "acidity_g_per_l", "abv", "rise"), [(3.81, 2.01, 12.0, 0.12), (4.22, 0.87, 10.0, 0.19)])
def test_200_mg_per_l_lift_the_ph_of_weakly_buffered_mead(
    ph: float, acidity_g_per_l: float, abv: float, rise: float
) -> None:
    # two honey wines of known make-up: +0.12 and +0.19 (computed); with the acids inferred from pH and titration, 0.025
    # of it
    asked = replace(
        drink(ph=ph, abv_percent=abv, titratable_meq_per_l=acidity_g_per_l * MEQ_PER_G_TARTARIC),
        sorbate=Sorbate(200.0),
        sulfite=Sulfite(molecular_target_mg_per_l=0.5, bound_share=0.0),
        market=Market.US,
    )
    plan = plan_stabilising(asked)
    assert plan.ph_after_sorbate - plan.ph_before == pytest.approx(rise, abs=0.025)


def test_the_sulfite_is_computed_at_the_ph_that_sorbate_leads_to() -> None:
    # 0.8 mg/L molecular takes 80 mg/L free at pH 3.81 and 106 at 3.93, pK 1.81 (computed)
    weak = drink(ph=3.81, titratable_meq_per_l=2.01 * MEQ_PER_G_TARTARIC)
    before = plan_stabilising(replace(weak, hurdles=("sulfite",), market=Market.US))
    after = plan_stabilising(replace(weak, sorbate=Sorbate(200.0), market=Market.US))
    assert before.so2.free_wanted_mg_per_l == pytest.approx(80.8, abs=0.1)
    assert after.ph_after_sorbate == pytest.approx(3.93, abs=0.01)
    assert after.so2.free_wanted_mg_per_l == pytest.approx(106.0, abs=2.0)
    assert after.so2.pk == 1.81


def test_metabisulfite_hardly_moves_the_ph() -> None:
    # potassium and SO2 go in one to one: below 0.002 for 100 mg/L (computed)
    plan = plan_stabilising(
        replace(SWEET, hurdles=("sulfite",), sulfite=Sulfite(free_target_mg_per_l=60.0, bound_share=0.4))
    )
    assert plan.so2.added_mg_per_l == pytest.approx(100.0)
    assert abs(plan.ph_after_all - plan.ph_before) < 0.002


@given(st.floats(5.0, 200.0), st.floats(3.0, 4.2), st.floats(1.5, 9.0))
@settings(max_examples=60, deadline=None)
def test_sorbate_raises_the_ph(mg_per_l: float, ph: float, acidity: float) -> None:
    asked = replace(
        drink(ph=ph, titratable_meq_per_l=acidity * MEQ_PER_G_TARTARIC), sorbate=Sorbate(mg_per_l), market=Market.US
    )
    try:
        plan = plan_stabilising(asked)
    except InconsistentError:
        return  # no weak acid has both readings
    if plan.sorbic.target_mg_per_l is not None:
        assert plan.ph_after_sorbate >= plan.ph_before
        assert plan.ph_after_sorbate - plan.ph_before < 0.5


# The printed table, and nothing beyond it.


@pytest.mark.parametrize(
    ("abv", "row"),
    [
        (10.0, (5.5, 6.0, 7.0, 8.0, 9.0)),
        (11.0, (4.5, 5.0, 6.0, 7.0, 7.5)),
        (12.0, (3.2, 3.5, 4.0, 4.5, 5.0)),
        (13.0, (2.6, 3.0, 3.2, 3.5, 4.0)),
        (14.0, (2.0, 2.2, 2.4, 2.7, 3.0)),
    ],
)
def test_the_published_table(abv: float, row: tuple[float, ...]) -> None:
    # T. Underhill, Making Better Wines: mL of a 30 g/L solution of potassium sorbate per litre
    for ph, ml_per_l in zip((3.1, 3.2, 3.3, 3.4, 3.5), row, strict=True):
        plan = plan_stabilising(replace(drink(ph=ph, abv_percent=abv), market=Market.US))
        assert plan.sorbic.inside_table
        assert plan.sorbic.published_mg_per_l == pytest.approx(ml_per_l * 30.0 * 112.13 / 150.22, abs=0.01)
        assert grams(plan)["potassium_sorbate"] == pytest.approx(ml_per_l * 0.030 * 20.0, abs=2e-4)


@pytest.mark.parametrize(
    ("abv", "ph", "words"), [(6.0, 3.3, "starts at 10 % vol"), (9.9, 3.1, "starts at 10"), (12.0, 3.6, "pH 3.5")]
)
def test_outside_the_table_there_is_no_dose(abv: float, ph: float, words: str) -> None:
    plan = plan_stabilising(drink(abv_percent=abv, ph=ph))
    assert plan.sorbic.published_mg_per_l is None
    assert not plan.sorbic.inside_table
    assert words in plan.sorbic.reason
    assert "no dose is published, and the legal maximum may not hold it" in plan.sorbic.reason
    assert set(grams(plan)) == {"potassium_metabisulfite"}
    assert plan.verdict == "dose_sulfite_only"
    assert "sorbate_outside_published_table" in codes(plan, "warning")
    assert plan.next["plan_packaging"].request["intended"]["hurdles"] == ["sulfite"]
    assert {r.hurdle: r.verdict for r in plan.hurdles}["sorbate"] == "not_shown_to_hold"


def test_a_stated_dose_outside_the_table_is_held_to_the_limit_and_not_called_enough() -> None:
    asked = replace(drink(abv_percent=6.0), sorbate=Sorbate(180.0), market=Market.EU, lot_class=LotClass.MEAD)
    plan = plan_stabilising(asked)
    assert plan.sorbic.target_mg_per_l == 180.0
    assert {r.hurdle: r.verdict for r in plan.hurdles}["sorbate"] == "not_shown_to_hold"
    assert "nothing printed says that this sorbate holds" in plan.summary
    over = plan_stabilising(replace(asked, sorbate=Sorbate(201.0)))
    assert "sorbic_acid_over_limit" in codes(over, "stop")
    assert "potassium_sorbate" not in grams(over)
    (limit,) = (x for x in over.limits if x.what == "sorbic_acid")
    assert (limit.exceeded, limit.ours_mg_per_l, limit.mark) == (True, 201.0, "from memory, unverified")


def test_the_highest_printed_dose_passes_the_lower_limit() -> None:
    # 10 % vol, pH 3.5: 9 mL/L of 30 g/L are 201.5 mg/L, over the 200 of the OIV and within the 300 of 27 CFR 24.246
    asked = drink(ph=3.5, abv_percent=10.0)
    assert "sorbic_acid_over_limit" in codes(plan_stabilising(asked), "stop")
    assert "sorbic_acid_over_limit" not in codes(plan_stabilising(replace(asked, market=Market.US)))


def test_less_than_printed_is_said() -> None:
    plan = plan_stabilising(replace(SWEET, sorbate=Sorbate(40.0)))
    assert "sorbate_below_published_dose" in codes(plan, "warning")
    assert {r.hurdle: r.verdict for r in plan.hurdles}["sorbate"] == "not_shown_to_hold"


def test_the_salt_can_leave_its_own_table() -> None:
    plan = plan_stabilising(drink(ph=3.5, titratable_meq_per_l=3.0 * MEQ_PER_G_TARTARIC))
    assert plan.ph_after_sorbate > 3.5
    assert plan.sorbic.published_at_final_ph_mg_per_l is None
    assert "sorbate_raises_ph" in codes(plan, "warning")


# Volumes.


def test_a_volume_that_grows_thins_both_salts() -> None:
    grown = replace(SWEET, packaging=DrinkRead(volume_l=24.0, abv_percent=12.0, ph=3.3), sorbate=Sorbate(90.0))
    plan, same = plan_stabilising(grown), plan_stabilising(replace(grown, packaging=DrinkRead()))
    assert plan.sorbic.at_packaging_mg_per_l == 90.0
    assert plan.sorbic.at_dosing_mg_per_l == pytest.approx(108.0)
    assert plan.so2.at_packaging.molecular_mg_per_l == pytest.approx(0.8, abs=1e-4)
    assert plan.ph_after_sorbate > plan.ph_at_packaging > plan.ph_before  # 108 mg/L at first, 90 in the end
    assert plan.so2.at_dosing.free_mg_per_l == pytest.approx(1.2 * plan.so2.at_packaging.free_mg_per_l, rel=1e-4)
    for salt, mass in grams(plan).items():
        assert mass == pytest.approx(1.2 * grams(same)[salt], rel=2e-3)


def test_a_loss_concentrates_nothing() -> None:
    lost = plan_stabilising(replace(SWEET, packaging=DrinkRead(volume_l=18.0)))
    assert grams(lost) == grams(plan_stabilising(SWEET))
    assert "volume lost after dosing" in {a.what for a in lost.assumed}


def test_strength_thins_with_the_volume_unless_given() -> None:
    plan = plan_stabilising(replace(SWEET, packaging=DrinkRead(volume_l=24.0)))
    assert plan.next["plan_packaging"].request["drink"]["abv_percent"] == pytest.approx(10.0)
    assert "abv_percent_at_packaging" in {a.what for a in plan.assumed}


def test_one_volume_stands_for_both() -> None:
    asked = replace(SWEET, dosing=replace(DRINK, volume_l=None), packaging=DrinkRead(volume_l=20.0))
    plan = plan_stabilising(asked)
    assert grams(plan) == grams(plan_stabilising(SWEET))
    assert "volume_at_dosing" in {a.what for a in plan.assumed}


# pK.


def test_the_lower_pk_is_taken_in_a_weak_cold_drink() -> None:
    # 1.73 at 5 % vol and 10 °C (computed after Goldberg and Parker 1985), where the trade takes 1.81
    cold = plan_stabilising(replace(drink(abv_percent=5.0), temperature_c=10.0, hurdles=("sulfite",)))
    assert cold.so2.pk == pytest.approx(1.73, abs=0.01)
    assert cold.so2.pk_basis == "thermo"
    assert {o.basis: o.pk for o in cold.so2.other_pk}["convention"] == 1.81
    assert "convention_asks_for_less" in codes(cold)
    wine = plan_stabilising(SWEET)
    assert (wine.so2.pk, wine.so2.pk_basis) == (1.81, "convention")
    # OIV-MA-AS323-04C, table I, at 20 °C: 1.997 at 10 % vol and 2.099 at 15 % vol before ionic strength
    others = {o.basis: o.pk for o in wine.so2.other_pk}
    assert others["thermo"] == pytest.approx(1.96, abs=0.01)
    assert others["oiv"] == pytest.approx(1.997 + 0.4 * 0.102 - 0.09, abs=0.02)


def test_a_basis_asked_for_is_used_and_what_it_spares_is_said() -> None:
    thermo = plan_stabilising(replace(SWEET, hurdles=("sulfite",), sulfite=Sulfite(pk_basis=PkBasis.THERMO)))
    assert thermo.so2.pk_basis == "thermo"
    assert thermo.so2.free_wanted_mg_per_l < plan_stabilising(replace(SWEET, hurdles=("sulfite",))).so2.low_mg_per_l
    assert "pk_asks_for_less" in codes(thermo)
    assert log10(thermo.so2.free_wanted_mg_per_l / 0.8 - 1) == pytest.approx(3.3 - thermo.so2.pk, abs=2e-3)


# What a maker can measure.


def test_a_coarse_scale_takes_a_solution() -> None:
    coarse = replace(
        SWEET, circumstances=Circumstances(instruments=Instruments(scale_step_g=1.0, given=frozenset({"scale"})))
    )
    plan = plan_stabilising(coarse)
    for dose in plan.doses:
        assert dose.stock is not None
        stock = dose.stock
        assert stock.strength_percent == pytest.approx(100.0 * stock.salt_g / stock.made_up_to_ml)
        assert stock.salt_g >= 10.0  # ten divisions of the scale
        assert stock.add_ml * stock.strength_percent / 100.0 == pytest.approx(dose.mass_g, rel=0.05)
        assert stock.add_ml <= stock.made_up_to_ml
        assert "stock solution" in dose.amount_text
    assert all(dose.stock is None for dose in plan_stabilising(SWEET).doses)


def test_a_jug_gets_a_weak_solution() -> None:
    plan = plan_stabilising(drink(volume_l=1.0))
    stocks = [dose.stock for dose in plan.doses if dose.stock is not None]
    assert [stock.strength_percent for stock in stocks] == [1.0] * len(stocks)
    assert all(stock.add_ml >= 1.0 for stock in stocks)


def test_tablets_are_counted() -> None:
    plan = plan_stabilising(replace(SWEET, sulfite=Sulfite(tablet_g=0.44)))
    dose = plan.doses[-1]
    assert dose.tablets == pytest.approx(dose.mass_g / 0.44, abs=0.01)
    assert dose.tablets_text is not None
    assert "of 0.44 g" in dose.tablets_text
    few = plan_stabilising(replace(drink(volume_l=0.5), sulfite=Sulfite(tablet_g=0.44)))
    assert few.doses[-1].tablets_text == "less than half a tablet: weigh or dissolve instead"


def test_rounding_does_not_pass_a_limit() -> None:
    asked = replace(
        drink(volume_l=27.0),
        market=Market.EU,
        lot_class=LotClass.MEAD,
        hurdles=("sulfite",),
        sulfite=Sulfite(free_target_mg_per_l=200.0, bound_share=0.0),
        circumstances=Circumstances(instruments=Instruments(scale_step_g=0.7, given=frozenset({"scale"}))),
    )
    (dose,) = plan_stabilising(asked).doses
    assert dose.mass_g == pytest.approx(9.4737, abs=1e-3)  # 13.53 steps of 0.7 g
    assert float(dose.amount_text.removesuffix(" g")) == pytest.approx(9.1)


def test_what_is_in_the_drink_leaves_less_room_for_rounding() -> None:
    # 50 mg/L there and 150 wanted reach 200 mg/L: 7.368 g in 28 L are 10.53 steps of 0.7 g, and 11 would pass it
    asked = replace(
        drink(volume_l=28.0),
        market=Market.EU,
        lot_class=LotClass.MEAD,
        hurdles=("sulfite",),
        sulfite=Sulfite(free_target_mg_per_l=150.0, total_now_mg_per_l=50.0, bound_share=0.0),
        circumstances=Circumstances(instruments=Instruments(scale_step_g=0.7, given=frozenset({"scale"}))),
    )
    (dose,) = plan_stabilising(asked).doses
    assert dose.mass_g == pytest.approx(150.0 * 28.0 / 570.0, abs=1e-3)
    assert float(dose.amount_text.removesuffix(" g")) == pytest.approx(7.0)


def test_a_tiny_volume_takes_a_thinner_solution() -> None:
    asked = replace(drink(volume_l=0.01), hurdles=("sulfite",))
    (dose,) = plan_stabilising(asked).doses
    assert dose.stock is not None
    assert dose.stock.strength_percent == 0.1
    # what it adds, in 10 mL, of a salt that yields 57 %
    exact_g = dose.adds_mg_per_l * 0.01 / 570.0
    assert dose.stock.add_ml * 0.001 == pytest.approx(exact_g, rel=0.02)
    # ten divisions of 0.01 g in 100 mL are 1 %, thinned tenfold
    assert (dose.stock.salt_g, dose.stock.made_up_to_ml) == (1.0, 100.0)
    assert "make 10 mL of it up to 100 mL" in dose.stock.text


def test_a_solution_that_does_not_hold_the_dose_says_so() -> None:
    # 0.01 mL of 1 mg/mL are 71 % of 0.014 mg
    stock = salt_dose("potassium_metabisulfite", 0.000014, 50.0, 1.0, FINE).stock
    assert stock is not None
    assert "0.01 mL, by syringe or pipette, hold 71 % of the dose" in stock.text
    whole = salt_dose("potassium_metabisulfite", 0.0014, 50.0, 1.0, FINE).stock
    assert whole is not None
    assert "hold the dose." in whole.text
