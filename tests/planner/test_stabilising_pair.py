"""Sorbate only beside enough sulfite, and a verdict on the pair only where both are enough."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.chemistry.sulfite import PkBasis
from service.planner.stabilising.asked import Sorbate, Sulfite
from service.planner.stabilising.choice import choose
from service.planner.stabilising.hurdles import sorbate_holds
from service.planner.stabilising.plan import plan_stabilising
from service.planner.stabilising.situation import situation_of
from tests.planner.stabilising_cases import SWEET, codes, drink, grams


@pytest.mark.parametrize("sulfite", [Sulfite(0.0), Sulfite(molecular_target_mg_per_l=0.01), Sulfite(None, 0.49)])
def test_sorbate_beside_too_little_sulfite_is_stopped(sulfite: Sulfite) -> None:
    # 0.5 mg/L molecular, the usual target of a dry drink: common practice, no source
    plan = plan_stabilising(replace(drink(ph=3.4), sulfite=sulfite))
    assert "potassium_sorbate" not in grams(plan)
    assert "sorbate_without_sulfite" in codes(plan, "stop")
    verdicts = {r.hurdle: r.verdict for r in plan.hurdles}
    assert (verdicts["sulfite"], verdicts["sorbate"]) == ("does_not_hold", "does_not_hold")
    assert "hurdle_is_not_proof" not in codes(plan)


@pytest.mark.parametrize(
    "sulfite", [Sulfite(molecular_target_mg_per_l=0.5), Sulfite(0.0, free_now_mg_per_l=40.0, total_now_mg_per_l=60.0)]
)
def test_enough_sulfite_wanted_or_there_already_lets_sorbate_in(sulfite: Sulfite) -> None:
    plan = plan_stabilising(replace(drink(ph=3.4), sulfite=sulfite))
    assert "potassium_sorbate" in grams(plan)
    assert "sorbate_without_sulfite" not in codes(plan)


@pytest.mark.parametrize("basis", [PkBasis.THERMO, PkBasis.OIV])
def test_sulfite_beside_sorbate_is_judged_by_the_lowest_pk(basis: PkBasis) -> None:
    # 0.6 mg/L by a pK of about 1.95 are 0.43 by the trade's 1.81 (mass action)
    sulfite = Sulfite(molecular_target_mg_per_l=0.6, pk_basis=basis)
    plan = plan_stabilising(replace(drink(ph=3.4), sulfite=sulfite))
    assert {o.basis: o.molecular_at_packaging_mg_per_l for o in plan.so2.other_pk}["convention"] < 0.5
    assert "sorbate_without_sulfite" in codes(plan, "stop")
    assert "pk_asks_for_less" in codes(plan, "warning")
    by_convention = plan_stabilising(replace(drink(ph=3.4), sulfite=replace(sulfite, pk_basis=None)))
    assert "potassium_sorbate" in grams(by_convention)


def test_sorbate_holds_only_as_printed_and_beside_enough_sulfite() -> None:
    here = situation_of(SWEET)
    choice = choose(here)
    assert sorbate_holds(here, choice)
    assert not sorbate_holds(here, replace(choice, sorbic=0.9 * choice.sorbic))
    assert not sorbate_holds(here, replace(choice, careful_molecular=0.49))
    printed = plan_stabilising(SWEET).sorbic.published_mg_per_l
    assert printed is not None
    less = plan_stabilising(replace(SWEET, sorbate=Sorbate(0.9 * printed)))
    assert {r.hurdle: r.verdict for r in less.hurdles}["sorbate"] == "not_shown_to_hold"
    assert "hurdle_does_not_hold" in codes(less)
