"""Any fining request: k times in is k times out, no dose beyond a limit, nothing is promised."""

from __future__ import annotations

import dataclasses
import re
from dataclasses import replace
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.fining import AgentName, HazeKind, fining_agents
from service.catalogue.loader import sources
from service.planner.asked import Intended
from service.planner.drink import Span
from service.planner.fining.asked import Avoided, FiningAsked, Haze, MarketName, Observations
from service.planner.fining.plan import plan_fining
from tests.planner.fining_cases import FINE, agents, drink, held
from tests.planner.stabilising_cases import texts

HELD = ["orange_juice_fresh", "orange_juice_concentrate_frozen", "lemon_juice_fresh", "apple_juice_bottled", "honey"]
TREATED = st.sampled_from([None, "raw", "pasteurised", "sterile_filtered"])
TOLD = st.sampled_from([None, None, True])


@st.composite
def requests(draw: st.DrawFn) -> FiningAsked:
    litres = draw(st.floats(0.5, 500.0))
    share = draw(st.floats(0.0, 0.2))
    names = draw(st.lists(st.sampled_from(HELD), unique=True, max_size=3))
    gravity = draw(st.one_of(st.none(), st.floats(1.0, 1.08).map(Span.exact)))
    sugar = Span.exact(draw(st.floats(0.0, 200.0))) if gravity is None else None  # else gravity and strength tell it
    most_held = 2.0 if sugar is None else 2.0 + sugar.value / 4.0  # no more than that sugar can come from
    holds = [held(name, draw(st.one_of(st.none(), st.floats(0.0, most_held))), draw(TREATED)) for name in names]
    made = drink(
        *holds,
        volume_l=Span(litres, litres * (1.0 - share), litres * (1.0 + share)),
        abv_percent=Span.exact(draw(st.floats(0.0, 18.0))),
        sugar_g_per_l=sugar,
        ph=draw(st.one_of(st.none(), st.floats(2.5, 5.0).map(Span.exact))),
        gravity=gravity,
        citrus_percent=draw(st.one_of(st.none(), st.floats(0.0, 60.0))),
    )
    problem = draw(st.sampled_from([None, *get_args(HazeKind)]))
    return FiningAsked(
        made,
        draw(st.sampled_from(get_args(Haze))),
        draw(st.one_of(st.none(), st.lists(st.sampled_from(get_args(AgentName)), min_size=1).map(tuple))),
        tuple(draw(st.lists(st.sampled_from(get_args(Avoided)), unique=True))),
        draw(st.sampled_from([None, *get_args(MarketName)])),
        problem,
        Observations(draw(TOLD), draw(TOLD), draw(TOLD)),
        draw(st.one_of(st.none(), st.floats(0.0, 400.0))),
        draw(st.sampled_from([None, True, False])),
        circumstances=replace(
            FINE,
            system=draw(st.sampled_from(["metric", "us"])),
            start_date="2026-03-14",
            intended=Intended(
                draw(st.sampled_from([None, "bottle", "keg", "open"])), draw(st.sampled_from([None, 4.0, 25.0]))
            ),
        ),
    )


@given(requests())
@settings(max_examples=50, deadline=None)
def test_any_plan_keeps_its_promises(asked: FiningAsked) -> None:
    plan = plan_fining(asked)
    assert {report.agent for report in plan.agents} == set(fining_agents())
    assert asked.drink.volume_l is not None
    for report in plan.agents:
        dose, limit = report.dose, report.legal.limit_g
        if dose.low_g is not None:
            assert dose.high_g is not None
            assert 0.0 < dose.low_g <= dose.high_g
        if limit is not None and dose.high_g is not None:
            assert dose.high_g <= limit * (1.0 + 1e-9)
        if report.proposed:
            assert report.verdict in ("suits", "needs_bench_test")
            assert asked.agents is None or report.agent in asked.agents
            assert asked.haze == "clear" or report.keeps_pectin_cloud != "lost"
        for avoided in asked.avoid:
            assert not (report.proposed and (report.allergen == avoided or avoided == "animal" == report.origin))
    assert 0.0 < plan.after.low_l <= plan.after.value_l <= plan.after.high_l
    assert plan.after.high_l <= asked.drink.volume_l.high + 1e-4
    assert len(plan.schedule) == len(plan.steps)
    words = texts(dataclasses.asdict(plan))
    assert not any(re.search(r"\bsafe(ly|ty)?\b", text, re.IGNORECASE) for text in words)
    for caution in plan.cautions:
        assert len(caution.text.split()) <= 30, caution
        assert caution.source_id in sources()
    levels = [("stop", "warning", "note").index(c.level) for c in plan.cautions]
    assert levels == sorted(levels)
    assert len(set(plan.cautions)) == len(plan.cautions)


@given(requests(), st.floats(0.1, 20.0))
@settings(max_examples=25, deadline=None)
def test_k_times_in_is_k_times_out(asked: FiningAsked, k: float) -> None:
    volume = asked.drink.volume_l
    assert volume is not None
    larger = replace(asked.drink, volume_l=Span(k * volume.value, k * volume.low, k * volume.high))
    one, many = agents(plan_fining(asked)), agents(plan_fining(replace(asked, drink=larger)))
    for agent, report in one.items():
        other: Any = many[agent]
        assert (other.verdict, other.rank, other.proposed) == (report.verdict, report.rank, report.proposed)
        for name in ("low_g", "high_g"):
            mass = getattr(report.dose, name)
            if mass is not None:
                assert getattr(other.dose, name) == pytest.approx(k * mass, rel=1e-6, abs=1e-4 * (1 + k))


@given(requests())
@settings(max_examples=25, deadline=None)
def test_what_is_avoided_or_not_allowed_is_never_proposed(asked: FiningAsked) -> None:
    strict = plan_fining(replace(asked, avoid=("animal", "egg", "milk", "fish", "shellfish"), market="us"))
    assert not [
        r.agent for r in strict.agents if r.proposed and (r.origin in ("animal", "fish") or r.agent == "chitosan")
    ]
