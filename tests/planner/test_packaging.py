"""A packaging plan in base units: room to swell, where the test bottle comes from, what is told of whom."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import InconsistentError
from service.planner.asked import Circumstances, Intended
from service.planner.drink import Drink, DrinkRead, Span, drink_from_figures
from service.planner.losses import Losses
from service.planner.packaging.answers import PackagingPlan
from service.planner.packaging.asked import (
    ContainerAsked,
    FromKeg,
    GasAsked,
    HeatAsked,
    PackagingAsked,
)
from service.planner.packaging.plan import plan_packaging
from service.planner.pressure.asked import Rest

exact = Span.exact


def drink(litres: float = 25.0, sugar: float = 1.0, abv: float = 6.5) -> Drink:
    gravity = 0.997 if sugar <= 40.0 else None  # which would not leave room for so much
    return drink_from_figures(
        DrinkRead(exact(litres), None if gravity is None else exact(gravity), exact(abv), exact(sugar), ph=exact(3.3))
    )


BOTTLE = ContainerAsked("beer_bottle", 330.0)
DRY = PackagingAsked(drink(), (BOTTLE,), rest=Rest(finished=True))


def stored(asked: PackagingAsked, celsius: float, hurdles: tuple[str, ...] = ()) -> PackagingAsked:
    return replace(asked, circumstances=Circumstances(intended=Intended(None, celsius, hurdles)))


def doing(plan: PackagingPlan, start: str) -> str:
    (found,) = (step.amount_text for step in plan.steps if step.do.startswith(start))
    return found


def test_room_to_swell() -> None:
    """Water grows by 0.78 % from 4 to 40 °C (density after Kell 1975; computed), a drink is taken to grow 1.15 times as
    much: 330 mL by 2.97 mL of its 13.2 mL of headspace."""
    room = plan_packaging(stored(DRY, 40.0)).fills[0].thermal_room
    assert room.swells_ml == pytest.approx(330.0 * 0.0078 * 1.15, rel=0.01)
    assert room.headspace_ml == pytest.approx(13.2)
    assert room.left_ml == pytest.approx(13.2 - room.swells_ml, abs=0.01)


def test_a_container_filled_cold_to_the_brim_bursts_warm() -> None:
    full = replace(DRY, containers=(replace(BOTTLE, headspace_share=0.005),))
    assert "container_full_when_warm" in {c.code for c in plan_packaging(stored(full, 40.0)).cautions}
    # filled warm it has swollen before
    warm = replace(full, heat=HeatAsked(filled_at_c=20.0), parts=frozenset({"fills", "pressure"}))
    assert "container_full_when_warm" not in {c.code for c in plan_packaging(stored(warm, 25.0)).cautions}


def test_where_the_test_bottle_comes_from() -> None:
    """One plastic bottle of each batch as a pressure sentinel (common practice, no source)."""
    start = "Fill one plastic bottle"
    assert "250 mL" in doing(plan_packaging(replace(DRY, reserve_ml=250.0)), start)
    assert doing(plan_packaging(DRY), start) == "from the 250 mL left over"
    assert doing(plan_packaging(replace(DRY, containers=(ContainerAsked("beer_bottle", 500.0),))), start).startswith(
        "instead of one"
    )
    plastic = replace(DRY, containers=(ContainerAsked("plastic_bottle", 500.0),))
    assert doing(plan_packaging(plastic), start) == "one of the plastic bottles"


def test_steps_begin_with_the_counts_asked_for() -> None:
    asked = replace(DRY, containers=(BOTTLE, ContainerAsked("keg", 10_000.0, count=1)))
    filled = [step.do for step in plan_packaging(asked).steps if step.do.startswith("Fill and close")]
    assert filled == ["Fill and close: 10 L keg.", "Fill and close: 330 mL beer-type bottle."]
    assert doing(plan_packaging(asked), "Clean").startswith("45 × 330 mL")


def test_where_nothing_is_filled_there_is_nothing_to_do() -> None:
    plan = plan_packaging(replace(DRY, drink=drink(0.2)))
    assert plan.outcome == "nothing_filled"
    assert plan.steps == ()
    assert plan.needed_text == "Nothing is filled."
    assert plan.left_over_l == pytest.approx(0.2)


def test_what_holds_for_one_kind_names_it() -> None:
    sweet = replace(DRY, drink=drink(sugar=60.0))
    both = replace(sweet, containers=(BOTTLE, ContainerAsked("still_bottle", 750.0)))
    found = plan_packaging(stored(both, 30.0, ("pasteurised",))).cautions
    about = {c.about for c in found if c.code == "container_without_rating"}
    assert about == {"750 mL still-wine bottle"}
    alone = plan_packaging(stored(sweet, 30.0, ("pasteurised",))).cautions
    assert {c.about for c in alone} == {None}


def test_bottles_filled_from_a_keg_hold_its_gas() -> None:
    """0.7 bar of CO2 over a drink of 6.5 % vol and 90 g/L at 4 °C dissolve 3.93 g/L (computed)."""
    asked = replace(DRY, drink=drink(sugar=90.0), gas=GasAsked(from_keg=FromKeg(4.0, gauge_bar=0.7)))
    (fill,) = plan_packaging(asked).fills
    assert fill.cold_filled is not None
    assert fill.pressure is not None
    assert fill.cold_filled.co2_g_per_l == pytest.approx(3.93, abs=0.01)
    assert fill.pressure.co2_before_g_per_l == fill.cold_filled.co2_g_per_l
    assert fill.thermal_room.filled_at_c == 4.0


def test_heat_is_told_for_the_container_that_stands_it_least() -> None:
    tight, roomy = replace(BOTTLE, headspace_share=0.04), ContainerAsked("beer_bottle", 500.0, headspace_share=0.08)
    plan = plan_packaging(replace(DRY, containers=(roomy, tight), heat=HeatAsked(65.0)))
    assert plan.heat is not None
    assert plan.heat.headspace == plan.fills[1].heated
    assert plan.fills[0].heated is not None
    assert (plan.fills[0].heated.gauge_bar or 0.0) < (plan.heat.headspace.gauge_bar or 0.0)


def test_a_reserve_that_is_not_there_is_refused() -> None:
    with pytest.raises(InconsistentError, match="keep back less") as refusal:
        plan_packaging(replace(DRY, reserve_ml=26_000.0))
    assert refusal.value.pointer == "/reserve"


@settings(max_examples=30, deadline=None)
@given(
    st.floats(2.0, 60.0),
    st.floats(0.0, 0.1),
    st.floats(0.0, 0.3),
    st.floats(0.0, 0.5),
    st.sampled_from([250.0, 330.0, 355.0, 500.0, 750.0]),
)
def test_more_losses_never_fill_more(litres: float, off: float, settling: float, dead: float, fill_ml: float) -> None:
    span = Span(litres, litres * (1.0 - off), litres * (1.0 + off))
    some = replace(drink(), volume_l=span)
    asked = replace(DRY, drink=some, containers=(ContainerAsked("beer_bottle", fill_ml),), parts=frozenset({"fills"}))
    free = plan_packaging(asked).fills[0]
    lossy = plan_packaging(replace(asked, losses=Losses(settling=exact(settling), dead_volume_l=dead))).fills[0]
    for name in ("count", "count_low", "count_high"):
        assert getattr(lossy, name) <= getattr(free, name)
    assert (lossy.volume_l or 0.0) <= litres * (1.0 - settling) - dead + 1e-6
    assert free.count_low is not None
    assert free.count_low * fill_ml <= 1000.0 * span.low + 1e-6


@settings(max_examples=20, deadline=None)
@given(st.floats(0.5, 120.0), st.floats(10.0, 45.0))
def test_sugar_without_a_hurdle_is_never_to_be_sealed(sugar: float, celsius: float) -> None:
    plan = plan_packaging(stored(replace(DRY, drink=drink(sugar=sugar)), celsius))
    assert (plan.sealing == "do_not_seal") or sugar <= 2.0
    assert (plan.sealing == "do_not_seal") is any(c.level == "stop" for c in plan.cautions)
    assert "safe" not in plan.summary.lower()
