"""Fining plans: verdicts for each wish, ranges for a volume, what clouds a drink and what drops its haze.

Doses: a training sheet on fining materials (weak secondary source) or memory; limits: 27 CFR 24.246, 2015 edition;
cloud of citrus: abstracts of Ellerbee, of Baker and Cameron, and of Galant et al. 2014.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.catalogue.fining import AgentName, HazeKind
from service.errors import InconsistentError, InputError
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import LotClass
from service.planner.asked import AdditionAsked, Circumstances, LotAsked
from service.planner.drink import Span, drink_from_recipe
from service.planner.fining.asked import Avoided, FiningAsked, Observations
from service.planner.fining.plan import plan_fining
from tests.planner.fining_cases import (
    CLEAR,
    CONCENTRATE,
    FINE,
    KEEP,
    PLAIN,
    RAW,
    agents,
    codes,
    drink,
    dropper,
    held,
    intended,
    proposed,
    source,
)

# Ranges.


@pytest.mark.parametrize(
    ("agent", "low_g", "high_g"), [("gelatin", 0.3, 2.9), ("bentonite", 4.8, 19.0), ("pvpp", 3.8, 11.4)]
)
def test_ranges_for_19_litres(agent: AgentName, low_g: float, high_g: float) -> None:
    # computed: the sheet's mg/L times 19 L (bentonite to 1 g/L from memory)
    dose = agents(plan_fining(CLEAR))[agent].dose
    assert dose.low_g == pytest.approx(low_g, abs=0.05)
    assert dose.high_g == pytest.approx(high_g, abs=0.05)


def test_a_fine_scale_weighs_and_a_coarse_one_measures_a_dispersion() -> None:
    fine = agents(plan_fining(CLEAR))["bentonite"].dose
    assert fine.amount_text == "4.75 to 19 g"
    coarse = agents(plan_fining(replace(CLEAR, circumstances=Circumstances())))["bentonite"].dose
    assert coarse.dispersion is not None
    assert coarse.amount_text == "48 to 190 mL of a 10 % dispersion"
    stirred = coarse.dispersion
    assert stirred.weigh_g is not None
    assert stirred.weigh_g >= 19.0
    # what is measured out holds the dose
    assert stirred.low_ml * stirred.strength_percent / 100.0 == pytest.approx(4.75, rel=1e-3)
    assert stirred.high_ml * stirred.strength_percent / 100.0 == pytest.approx(19.0, rel=1e-3)
    assert stirred.made_up_to_ml is not None
    assert stirred.weigh_g == pytest.approx(stirred.made_up_to_ml * stirred.strength_percent / 100.0)


def test_ounces_stand_beside_grams_outside_the_metric_system() -> None:
    us = replace(CLEAR, circumstances=replace(FINE, system="us"))
    assert agents(plan_fining(us))["bentonite"].dose.amount_text == "4.75 to 19 g (0.17 to 0.67 oz)"


def test_water_stays_below_one_percent_by_a_stronger_dispersion() -> None:
    # 27 CFR 24.246, 2015 edition: at most 1 % of water with all treatments
    for report in plan_fining(CLEAR).agents:
        stirred = report.dose.dispersion
        if stirred is not None:
            assert stirred.within_water_limit, report.agent
            assert stirred.water_percent <= 1.0 + 1e-9
    bentonite = agents(plan_fining(CLEAR))["bentonite"].dose.dispersion
    assert bentonite is not None
    assert bentonite.strength_percent == 10.0  # computed: 1 g/L in 10 mL is 10 %
    unsure = replace(CLEAR, drink=drink(volume_l=Span(19.0, 9.5, 28.5)))
    wide = agents(plan_fining(unsure))["bentonite"].dose.dispersion
    assert wide is not None
    assert not wide.within_water_limit


def test_a_limit_goes_by_the_small_end_of_the_volume() -> None:
    # 27 CFR 24.246, 2015 edition: 25 lb of carbon in 1000 gal, 2.99566 g/L
    unsure = replace(CLEAR, drink=drink(volume_l=Span(19.0, 18.0, 20.0)))
    carbon = agents(plan_fining(unsure))["activated_carbon"]
    assert carbon.dose.high_g == pytest.approx(2.99566 * 18.0, rel=1e-4)
    assert carbon.legal.limit_g == carbon.dose.high_g
    assert carbon.dose.low_g is None


def test_a_haze_takes_the_light_range() -> None:
    assert agents(plan_fining(KEEP))["gelatin"].dose.high_mg_per_l == 20.0  # from memory, unverified
    assert agents(plan_fining(CLEAR))["gelatin"].dose.high_mg_per_l == 150.0  # training sheet


# Verdicts.


@pytest.mark.parametrize(
    ("problem", "first"),
    [
        ("pectin", {"pectinase"}),
        ("protein", {"bentonite"}),
        ("pulp", {"gelatin", "silica_sol"}),
        ("tannin", {"pvpp"}),
        ("yeast", {"isinglass"}),
    ],
)
def test_what_clears_what(problem: HazeKind, first: set[str]) -> None:
    # common practice, no source: pectinase breaks pectin, bentonite takes protein, gelatin with silica sol takes pulp,
    # PVPP small phenols, isinglass fine particles
    assert set(proposed(plan_fining(replace(CLEAR, problem=problem)))) == first


def test_gelatin_leaves_pectin() -> None:
    # common practice, no source: gelatin takes pulp down and leaves the haze of pectin
    report = agents(plan_fining(replace(CLEAR, problem="pectin")))["gelatin"]
    assert report.verdict == "of_little_use"
    assert "pectin" in report.leaves


def test_a_haze_that_is_to_stay() -> None:
    plan = plan_fining(KEEP)
    verdicts = {report.agent: report.verdict for report in plan.agents}
    assert verdicts["pvpp"] == "suits"
    assert {verdicts["gelatin"], verdicts["silica_sol"], verdicts["isinglass"]} == {"needs_bench_test"}
    for agent in ("bentonite", "chitosan", "casein", "pectinase", "activated_carbon", "egg_white"):
        assert verdicts[agent] == "works_against_haze"
    assert proposed(plan) == []
    assert any("no fining agent" in step.do for step in plan.steps)
    pulpy = plan_fining(replace(KEEP, problem="pulp"))
    assert proposed(pulpy) == ["gelatin"]
    assert proposed(plan_fining(replace(KEEP, problem="pectin"))) == []


def test_ranks_run_from_the_best_and_only_over_what_may_be_tried() -> None:
    for asked in (CLEAR, KEEP, replace(CLEAR, problem="protein"), replace(CLEAR, avoid=("animal",))):
        plan = plan_fining(asked)
        ranks = [report.rank for report in plan.agents if report.rank is not None]
        assert ranks == list(range(1, len(ranks) + 1))
        for report in plan.agents:
            assert (report.rank is None) == (report.verdict in ("avoid", "not_allowed", "works_against_haze"))
            assert report.because


@pytest.mark.parametrize(
    ("avoid", "gone"),
    [
        ("egg", {"egg_white"}),
        ("milk", {"casein"}),
        ("fish", {"isinglass"}),
        ("animal", {"gelatin", "isinglass", "casein", "egg_white"}),
    ],
)
def test_what_is_avoided(avoid: Avoided, gone: set[str]) -> None:
    plan = plan_fining(replace(CLEAR, avoid=(avoid,), problem="tannin"))
    assert {report.agent for report in plan.agents if report.verdict == "avoid"} == gone
    assert not gone & set(proposed(plan))


def test_only_agents_that_are_allowed() -> None:
    plan = plan_fining(replace(CLEAR, agents=("gelatin",), problem="protein"))
    assert {report.agent for report in plan.agents if report.verdict != "not_allowed"} == {"gelatin"}
    assert proposed(plan) == []
    assert "No agent that is left" in plan.summary


def test_the_market_rules_out_what_its_list_lacks() -> None:
    # 27 CFR 24.246, 2015 edition, has no chitosan
    allowed: dict[str | None, str] = {}
    for market in ("us", "eu", "none", None):
        report = agents(plan_fining(replace(CLEAR, problem="yeast", market=market)))["chitosan"]
        allowed[market] = report.verdict
        assert report.legal.status == ("not_on_file" if market == "eu" else "absent")
    assert allowed == {"us": "not_allowed", "eu": "suits", "none": "suits", None: "suits"}


def test_a_pectinase_that_was_used_is_not_proposed_again() -> None:
    plan = plan_fining(replace(CLEAR, problem="pectin", pectinase_used=True))
    assert proposed(plan) == []
    assert source(plan, "pectin").present == "yes"


# What the haze is.


@pytest.mark.parametrize(
    ("seen", "kind", "first"),
    [
        (Observations(clears_when_warm=True), "protein", "bentonite"),
        (Observations(spirit_test_strings=True), "pectin", "pectinase"),
        (Observations(cloudy_with_yeast=True), "yeast", "isinglass"),
    ],
)
def test_a_test_of_a_glass_tells_the_haze(seen: Observations, kind: HazeKind, first: str) -> None:
    # common practice, no source: chill haze clears when warm, pectin makes strings in spirit
    plan = plan_fining(replace(CLEAR, observations=seen))
    assert plan.problems == (kind,)
    assert proposed(plan) == [first]
    assert source(plan, kind).present == "yes"


def test_a_negative_test_takes_a_suspect_off_the_list() -> None:
    tested = replace(CLEAR, observations=Observations(cloudy_with_yeast=False))
    assert source(plan_fining(tested), "yeast").present == "no"
    doubtful = source(plan_fining(replace(CLEAR, observations=Observations(spirit_test_strings=False))), "pectin")
    assert doubtful.present == "possible"
    assert "speaks against it" in doubtful.text


def test_a_problem_that_its_test_denies_is_refused() -> None:
    with pytest.raises(InconsistentError) as told:
        plan_fining(replace(CLEAR, problem="protein", observations=Observations(clears_when_warm=False)))
    assert told.value.pointer == "/observations/clears_when_warm"


def test_an_unknown_haze_is_tested_before_anything_goes_in() -> None:
    plan = plan_fining(CLEAR)
    assert plan.problems == ()
    assert [test.told for test in plan.diagnosis] == ["not_done"] * 3
    assert "Find out" in plan.summary
    assert any("spirit test" in step.do for step in plan.steps)
    # pulp and protein are the likeliest of a citrus drink; nothing goes into the whole before it is known
    assert set(proposed(plan)) == {"gelatin", "bentonite"}
    assert plan.steps[-1].do.startswith("Ask again")
    assert not any(step.amount_text for step in plan.steps)
    assert plan.after.value_l == pytest.approx(19.0)
    assert plan.water_percent == 0.0


def test_pectin_and_protein_come_from_the_composition() -> None:
    # 70 g/L of a concentrate with 0.18 % pectin and 2.4 % protein (the row of the catalogue, USDA SR28 09214 for the
    # protein, pectin from memory)
    plan = plan_fining(CLEAR)
    assert source(plan, "pectin").g_per_l == pytest.approx(70.0 * 0.0018, rel=1e-3)
    assert source(plan, "protein").g_per_l == pytest.approx(70.0 * 0.024, rel=1e-3)
    assert [part.name for part in source(plan, "pectin").parts] == ["orange_juice_concentrate_frozen"]
    plain = plan_fining(replace(CLEAR, drink=PLAIN))
    assert source(plain, "pectin").present == "no"
    unknown = plan_fining(replace(CLEAR, drink=drink()))
    assert source(unknown, "pectin").present == "unknown"
    some = plan_fining(replace(CLEAR, drink=drink(held("orange_juice_fresh"))))
    assert (source(some, "pectin").present, source(some, "pectin").g_per_l) == ("possible", None)


def test_spun_pulp_of_the_juice() -> None:
    # 8 to 12 % of single-strength juice made of concentrate (trade product sheets, weak secondary source); to 25 % of
    # pressed juice (common practice, no source): of 25 % and 4 % juice, computed
    assert "2.0 to 3.0 % of the volume" in source(plan_fining(CLEAR), "pulp").text
    assert "0.3 to 1.0 % of the volume" in source(plan_fining(replace(CLEAR, drink=RAW)), "pulp").text


def recipe(*additions: AdditionAsked) -> FiningAsked:
    lot = lot_from_readings("base", LotReadings(20.0, None, 0.998, 8.0, LotClass.MEAD, MEQ_BASE, None, 3.4, 8.2, None))
    made = drink_from_recipe([LotAsked(lot, 20.0, 20.0)], additions, FINE)
    return FiningAsked(made, "keep", circumstances=FINE)


MEQ_BASE = 60.0


def addition(name: str, mass_g: float, treatment: str | None = None) -> AdditionAsked:
    return AdditionAsked(held(name).ingredient, None, mass_g, mass_g, treatment=treatment)


def test_a_recipe_tells_the_same_as_its_figures() -> None:
    made = recipe(addition("orange_juice_concentrate_frozen", 1500.0))
    plan = plan_fining(made)
    volume = made.drink.volume_l
    assert volume is not None
    assert source(plan, "pectin").g_per_l == pytest.approx(1500.0 * 0.0018 / volume.value, abs=1e-4)
    assert dropper(plan, "own_enzyme_of_raw_citrus").present == "no"
    raw = plan_fining(recipe(addition("lemon_juice_fresh", 800.0, "raw")))
    assert dropper(raw, "own_enzyme_of_raw_citrus").present == "yes"
    orange = addition("orange_juice_concentrate_frozen", 1500.0)
    chalk = plan_fining(recipe(orange, addition("calcium_carbonate", 10.0)))
    assert dropper(chalk, "calcium").present == "yes"


# What drops it.


@pytest.mark.parametrize(
    ("name", "treatment", "present"),
    [
        ("lemon_juice_fresh", "raw", "yes"),
        ("lemon_juice_fresh", None, "possible"),
        # 60 to 70 °C does not stop the enzyme reliably, about 90 °C does (from memory, unverified)
        ("lemon_juice_fresh", "pasteurised", "possible"),
        ("orange_juice_concentrate_frozen", None, "no"),
        ("cherry_tart_juice", "raw", "no"),
    ],
)
def test_the_enzyme_of_raw_citrus(name: str, treatment: str | None, present: str) -> None:
    plan = plan_fining(replace(KEEP, drink=drink(held(name, 40.0, treatment))))
    assert dropper(plan, "own_enzyme_of_raw_citrus").present == present


def test_citrus_of_unknown_kind_leaves_the_enzyme_open() -> None:
    assert dropper(plan_fining(replace(KEEP, drink=drink())), "own_enzyme_of_raw_citrus").present == "unknown"
    some = drink(citrus_percent=10.0, juice_percent=10.0)
    assert dropper(plan_fining(replace(KEEP, drink=some)), "own_enzyme_of_raw_citrus").present == "unknown"
    assert dropper(plan_fining(replace(KEEP, drink=PLAIN)), "own_enzyme_of_raw_citrus").present == "no"


def test_calcium_and_the_enzyme() -> None:
    # Galant et al. 2014 (abstract, model system): pectin 25 % esterified flocculates at 100 mg/L of calcium
    soft = replace(KEEP, drink=RAW, water_calcium_mg_per_l=20.0)
    hard = replace(KEEP, drink=RAW, water_calcium_mg_per_l=150.0)
    assert dropper(plan_fining(soft), "calcium").present == "no"
    found = dropper(plan_fining(hard), "calcium")
    assert found.present == "possible"
    assert found.figure is not None
    assert found.figure > 150.0
    # pectin of heated concentrate is 74.7 % esterified (Galant et al. 2014): hard water alone does not drop it
    assert dropper(plan_fining(replace(KEEP, water_calcium_mg_per_l=150.0)), "calcium").present == "no"
    assert dropper(plan_fining(replace(KEEP, drink=drink())), "calcium").present == "unknown"


def test_the_ph_of_the_study() -> None:
    # Ellerbee (abstract): juice cleared at pH 4.0 unless its calcium was bound
    near = plan_fining(replace(KEEP, drink=drink(held("lemon_juice_fresh", 40.0, "raw"), ph=Span.exact(3.8))))
    assert "near the 4.0" in dropper(near, "own_enzyme_of_raw_citrus").text
    far = plan_fining(replace(KEEP, drink=drink(held("lemon_juice_fresh", 40.0, "raw"), ph=Span.exact(3.0))))
    assert "nothing on file says" in dropper(far, "own_enzyme_of_raw_citrus").text


def test_storage_filter_and_pectinase() -> None:
    for temperature, present in ((4.0, "no"), (22.0, "yes")):
        plan = plan_fining(intended(KEEP, storage_temperature_c=temperature))
        assert dropper(plan, "warm_stand").present == present
    assert dropper(plan_fining(intended(KEEP, hurdles=("sterile_filtered",))), "sterile_filtration").present == "yes"
    assert dropper(plan_fining(intended(KEEP, hurdles=("cold",))), "sterile_filtration").present == "no"
    for used, present in ((None, "unknown"), (True, "yes"), (False, "no")):
        assert dropper(plan_fining(replace(KEEP, pectinase_used=used)), "pectinase").present == present
    assert dropper(plan_fining(replace(CLEAR, problem="protein")), "bentonite").present == "yes"
    assert dropper(plan_fining(KEEP), "bentonite").present == "no"


# Work, lees and what follows.


def test_enzyme_before_clay_before_gelatin_and_stabilisers_last() -> None:
    # common practice, no source
    both = replace(CLEAR, problem="pulp", observations=Observations(clears_when_warm=True, spirit_test_strings=True))
    steps = [step.do for step in plan_fining(both).steps]
    order = [next(k for k, do in enumerate(steps) if do.startswith(name)) for name in ORDER]
    assert order == sorted(order)
    trial = next(k for k, do in enumerate(steps) if do.startswith("Bench trial"))
    assert trial < order[0]
    assert steps[-1].startswith("Stabilise now, not before")


ORDER = ("Pectinase", "Bentonite", "Silica sol", "Gelatin", "Rack off the lees", "Filter", "Stabilise")


def test_colour_goes_in_after_fining() -> None:
    steps = [step.do for step in plan_fining(replace(CLEAR, problem="pulp", colour_wanted=True)).steps]
    assert steps[-2].startswith("Colour now")
    assert steps[-1].startswith("Look at the colour again")
    assert not any("olour" in step.do for step in plan_fining(replace(CLEAR, problem="pulp")).steps)


def test_lees_are_taken_off_the_volume() -> None:
    # gelatin 1 to 3 % (common practice, no source), bentonite 3 to 10 % (from memory, unverified); computed
    pulp = plan_fining(replace(CLEAR, problem="pulp")).after
    assert (pulp.low_l, pulp.high_l) == pytest.approx((19.0 * 0.97, 19.0 * 0.99))
    protein = plan_fining(replace(CLEAR, problem="protein")).after
    assert (protein.low_l, protein.high_l) == pytest.approx((19.0 * 0.90, 19.0 * 0.97))
    assert plan_fining(KEEP).after.value_l == pytest.approx(19.0)
    unknown = plan_fining(replace(CLEAR, problem="tannin")).after
    assert "No share is on file for PVPP" in unknown.text


def test_the_days_follow_the_waits() -> None:
    dated = replace(CLEAR, problem="pulp", circumstances=replace(FINE, start_date="2026-03-14"))
    plan = plan_fining(dated)
    assert len(plan.schedule) == len(plan.steps)
    assert plan.schedule[0].date == "2026-03-14"
    hours = sum(step.wait_min_h for step in plan.steps)
    assert plan.schedule[-1].day == hours / 24.0 or plan.schedule[-1].day == int(hours // 24) + 1
    assert plan_fining(CLEAR).schedule == ()


def test_what_follows_is_filled_in() -> None:
    plan = plan_fining(replace(CLEAR, problem="pulp", sent={"drink": {"volume": "19 L"}}))
    assert set(plan.next) == {"scale_bench_trial", "plan_stabilising", "plan_packaging"}
    stocks = plan.next["scale_bench_trial"].request["glass"]["stocks"]
    assert [stock["name"] for stock in stocks] == ["silica_sol", "gelatin"]
    # the middle of 15 to 150 mg/L is 47.4 mg/L: 9.5 mg in 200 mL, 0.9 mL of 1 % (computed)
    gelatin = stocks[1]
    strength, amount = gelatin["solution"]["percent_w_v"], float(gelatin["amount"].removesuffix(" mL"))
    assert strength * amount * 10.0 == pytest.approx(9.49, rel=0.06)
    assert plan.next["plan_stabilising"].request["volume_at_dosing"] == "18.62 L"
    assert plan.next["plan_packaging"].request["losses"] == {"settling": "2 %"}
    without = plan_fining(replace(CLEAR, problem="pulp", drink=drink(gravity=None, ph=None)))
    assert set(without.next) == set()
    # 1.23 % vol in plain water has SG 0.9982 (OIML R 22): no drink of that strength reads 0.993
    with pytest.raises(InconsistentError, match="lighter than water"):
        drink(gravity=Span.exact(0.993), abv_percent=Span.exact(1.23))


def test_no_volume_no_plan() -> None:
    with pytest.raises(InputError) as told:
        plan_fining(replace(CLEAR, drink=replace(CONCENTRATE, volume_l=None)))
    assert told.value.pointer == "/drink/volume"


def test_a_low_dose_is_within_ten_divisions_or_a_dispersion() -> None:
    for report in plan_fining(replace(CLEAR, circumstances=Circumstances())).agents:
        if report.dose.low_g is not None and report.dose.low_g < 10.0:
            assert "dispersion" in report.dose.amount_text or "as sold" in report.dose.amount_text


def test_every_key_is_in_the_bibliography() -> None:
    plan = plan_fining(CLEAR)
    keys = {cited.key for cited in plan.sources}
    assert {c.source_id for c in plan.cautions} <= keys
    assert {report.dose.source_id for report in plan.agents} <= keys
    assert {found.source_id for found in plan.haze_sources} <= keys
    assert "estimate" in codes(plan)


def test_a_colour_is_not_forgotten_where_the_haze_is_not_known() -> None:
    # common practice, no source: colour goes in after fining
    unknown = replace(CLEAR, problem=None)
    assert plan_fining(unknown).problems == ()
    said = [step.do for step in plan_fining(replace(unknown, colour_wanted=True)).steps if "olour" in step.do]
    assert said == ["Leave the colour until the drink is fined and clear: it goes in after fining, before packaging."]
    assert not any("olour" in step.do for step in plan_fining(unknown).steps)
