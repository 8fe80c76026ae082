"""Any stabilising request: no dose beyond a limit or a stop, k times in is k times out, nothing is promised."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.loader import sources
from service.chemistry.sulfite_limits import Market
from service.model.lot_class import LotClass
from service.planner.asked import Intended
from service.planner.stabilising.asked import DrinkRead, Sorbate, StabilisingAsked, Sulfite
from service.planner.stabilising.plan import plan_stabilising
from tests.planner.stabilising_cases import FINE, codes, grams, texts

MARKETS = st.sampled_from(list(Market))
CLASSES = st.sampled_from([LotClass.MEAD, LotClass.GRAPE_WINE, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY])


@st.composite
def requests(draw: st.DrawFn) -> StabilisingAsked:
    volume = draw(st.floats(0.5, 500.0))
    free = draw(st.one_of(st.none(), st.floats(0.0, 60.0)))
    hurdles = draw(
        st.one_of(
            st.none(),
            st.lists(st.sampled_from(["sulfite", "sorbate", "pasteurised", "sterile_filtered", "cold"]), unique=True),
        )
    )
    sulfite_planned = hurdles is None or "sulfite" in hurdles
    sorbate_planned = hurdles is None or "sorbate" in hurdles
    target = draw(st.one_of(st.none(), st.floats(0.0, 300.0))) if sulfite_planned else None
    return StabilisingAsked(
        dosing=DrinkRead(volume, draw(st.floats(2.8, 4.9)), draw(st.floats(0.0, 20.0))),
        packaging=DrinkRead(draw(st.one_of(st.none(), st.floats(0.7, 2.5).map(lambda k: k * volume)))),
        lot_class=draw(CLASSES),
        sugar_g_per_l=draw(st.one_of(st.none(), st.floats(0.0, 200.0))),
        temperature_c=draw(st.floats(0.0, 40.0)),
        fermentation_finished=draw(st.sampled_from([True, True, True, False, None])),
        sulfite=Sulfite(
            free_now_mg_per_l=free,
            total_now_mg_per_l=None if free is None else free + draw(st.floats(0.0, 250.0)),
            bound_share=draw(st.floats(0.0, 0.8)),
            free_target_mg_per_l=target,
        ),
        sorbate=Sorbate(draw(st.one_of(st.none(), st.floats(0.0, 350.0))) if sorbate_planned else None),
        market=draw(MARKETS),
        hurdles=None if hurdles is None else tuple(hurdles),
        raw_juice_after=draw(st.sampled_from([None, None, False, True])),
        malolactic_possible=draw(st.sampled_from([None, False, True])),
        circumstances=replace(
            FINE, intended=Intended(container=draw(st.sampled_from([None, "bottle", "keg", "open"])))
        ),
    )


@given(requests())
@settings(max_examples=150, deadline=None)
def test_any_plan_keeps_its_promises(asked: StabilisingAsked) -> None:
    plan = plan_stabilising(asked)
    stops = codes(plan, "stop")
    total = min(x.limit_mg_per_l for x in plan.limits if x.what == "total_so2")
    sorbic = next(x.limit_mg_per_l for x in plan.limits if x.what == "sorbic_acid")
    if not stops:
        assert plan.so2.at_packaging.total_mg_per_l <= total * (1 + 1e-6)
    assert plan.sorbic.at_packaging_mg_per_l <= sorbic * (1 + 1e-6)
    if plan.so2.added_mg_per_l:
        assert plan.so2.at_packaging.total_mg_per_l <= total * (1 + 1e-6)
    assert {dose.salt for dose in plan.doses} <= {"potassium_sorbate", "potassium_metabisulfite"}
    ferment = {"yeast_still_active", "stabilisers_on_a_moving_ferment", "raw_juice_after_stabilising", "ph_above_4_6"}
    if stops & ferment:
        assert plan.doses == ()
        assert plan.verdict == "do_not_dose"
    blocking = {"malolactic_blocks_sorbate", "total_so2_over_limit", "sorbic_acid_over_limit"}
    if stops & blocking or "sorbate_without_sulfite" in stops:
        assert "potassium_sorbate" not in grams(plan)
    # a sorbate dose is printed or was asked for
    if plan.sorbic.target_mg_per_l is not None and asked.sorbate.target_mg_per_l is None:
        assert plan.sorbic.published_mg_per_l == plan.sorbic.target_mg_per_l
    words = texts(dataclasses.asdict(plan))
    assert not any(re.search(r"\bsafe(ly|ty)?\b", text, re.IGNORECASE) for text in words)
    assert not any(re.search(r"\b(tea|table)?spoons?\b|\btsp\b", text) for text in words)
    for caution in plan.cautions:
        assert len(caution.text.split()) <= 30, caution
        assert caution.source_id in sources()
    levels = [("stop", "warning", "note").index(c.level) for c in plan.cautions]
    assert levels == sorted(levels)
    assert {"estimate"} <= codes(plan)
    assert len({c.code for c in plan.cautions}) == len(plan.cautions) or "limit_within_volume_error" in codes(plan)


@given(requests(), st.floats(0.1, 20.0))
@settings(max_examples=80, deadline=None)
def test_k_times_in_is_k_times_out(asked: StabilisingAsked, k: float) -> None:
    def times(read: DrinkRead) -> DrinkRead:
        return replace(read, volume_l=None if read.volume_l is None else k * read.volume_l)

    one = plan_stabilising(asked)
    many = plan_stabilising(replace(asked, dosing=times(asked.dosing), packaging=times(asked.packaging)))
    assert many.verdict == one.verdict
    assert set(grams(many)) == set(grams(one))
    for salt, mass in grams(one).items():
        assert grams(many)[salt] == pytest.approx(k * mass, rel=1e-6, abs=6e-5 * (1 + k))
