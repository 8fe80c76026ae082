"""Whether the sugar told of a drink fits its gravity, its strength and what it holds."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.catalogue.lookup import get_ingredient
from service.errors import InconsistentError
from service.physics.extract import extract_g_per_l_from_sg_and_abv, sg_from_sucrose_g_per_l
from service.planner.drink import (
    EXTRACT_BESIDES_SUGAR_G_PER_L,
    EXTRACT_SPARED_G_PER_L,
    HELD_SHARE_SPARED,
    DrinkRead,
    Held,
    Span,
    drink_from_figures,
    held_sugars_g_per_l,
    too_much_held,
)

READ = DrinkRead(Span.exact(20.0), Span.exact(1.010), Span.exact(6.5), Span.exact(40.0))


def honey(g_per_l: float | None) -> tuple[Held, ...]:
    return (Held(get_ingredient("honey"), g_per_l, None),)


SWEET: dict[str, Any] = {"gravity": None, "sugar_g_per_l": Span.exact(100.0), "holds": honey(90.0)}
CONFLICTS: list[tuple[dict[str, Any], dict[str, Any], str]] = [
    # what is refused, a like drink that is not, and where it points
    (
        {"gravity": Span.exact(1.030), "sugar_g_per_l": Span.exact(1.0)},
        {"sugar_g_per_l": Span.exact(40.0)},
        "/sugar_g_per_l",
    ),
    (
        {"gravity": Span.exact(1.030), "sugar_g_per_l": None, "fermentable_sugar_g_per_l": Span.exact(0.0)},
        {"gravity": Span.exact(0.998), "sugar_g_per_l": None, "fermentable_sugar_g_per_l": Span.exact(0.0)},
        "/fermentable_sugar_g_per_l",
    ),
    # about 72 g/L of sugar in 90 g/L of honey
    (
        {"gravity": None, "sugar_g_per_l": Span.exact(1.0), "holds": honey(90.0)},
        {"gravity": None, "sugar_g_per_l": Span.exact(72.0), "holds": honey(90.0)},
        "/sugar_g_per_l",
    ),
    (
        {"gravity": None, "sugar_g_per_l": Span.exact(1.0), "holds": honey(90.0)},
        {"gravity": None, "sugar_g_per_l": Span.exact(1.0), "holds": honey(None)},
        "/sugar_g_per_l",
    ),
    # the upper end of an interval may hold it
    (
        {"gravity": None, "sugar_g_per_l": Span(40.0, 30.0, 50.0), "holds": honey(90.0)},
        {"gravity": None, "sugar_g_per_l": Span(40.0, 10.0, 70.0), "holds": honey(90.0)},
        "/sugar_g_per_l",
    ),
    (
        {"gravity": Span.exact(0.998), "sugar_g_per_l": None, "holds": honey(90.0)},
        {"gravity": Span.exact(1.018), "sugar_g_per_l": None, "holds": honey(90.0)},
        "/gravity",
    ),
    (
        {**SWEET, "fermentable_sugar_g_per_l": Span.exact(0.0)},
        {**SWEET, "fermentable_sugar_g_per_l": Span.exact(70.0)},
        "/fermentable_sugar_g_per_l",
    ),
]


@pytest.mark.parametrize(("change", "like", "pointer"), CONFLICTS)
def test_too_little_sugar_is_refused_and_the_like_is_not(
    change: dict[str, Any], like: dict[str, Any], pointer: str
) -> None:
    with pytest.raises(InconsistentError) as caught:
        drink_from_figures(replace(READ, **change))
    assert caught.value.pointer == pointer
    drink_from_figures(replace(READ, **like))


def test_forty_grams_of_extract_may_be_no_sugar() -> None:
    """Without alcohol a gravity is that of its sucrose alone, ICUMSA SPS-4: 39 g/L is let pass, 42 is not."""
    for extract, fits in ((39.0, True), (42.0, False)):
        gravity = Span.exact(sg_from_sucrose_g_per_l(extract + 10.0))
        read = replace(READ, gravity=gravity, abv_percent=Span.exact(0.0), sugar_g_per_l=Span.exact(10.0))
        if fits:
            assert drink_from_figures(read).sugar_g_per_l.value == 10.0
        else:
            with pytest.raises(InconsistentError, match=r"leave the sugar out \(sugar_g_per_l\)"):
                drink_from_figures(read)
            # the doubt of the reading counts for the caller: ±0.002 is about ±5 g/L (ICUMSA SPS-4)
            doubtful = Span(gravity.value, gravity.value - 0.002, gravity.value + 0.002)
            drink_from_figures(replace(read, gravity=doubtful))


def test_acid_and_solids_that_are_known_are_no_sugar() -> None:
    """64.04 g of anhydrous citric acid are one equivalent (formula mass 192.12, three protons)."""
    syrup = replace(READ, gravity=Span.exact(1.035), abv_percent=Span.exact(0.0), sugar_g_per_l=Span.exact(30.0))
    with pytest.raises(InconsistentError):
        drink_from_figures(syrup)
    drink_from_figures(replace(syrup, titratable_meq_per_l=30.0 / 0.06404))
    drink_from_figures(replace(syrup, holds=(Held(get_ingredient("citric_acid"), 30.0, None),)))
    # the acid of a titration is the acid of the ingredients, and is not counted twice
    twice = replace(
        syrup, titratable_meq_per_l=12.0 / 0.06404, holds=(Held(get_ingredient("citric_acid"), 12.0, None),)
    )
    with pytest.raises(InconsistentError):
        drink_from_figures(twice)


def test_more_sugar_than_the_gravity_tells_is_the_careful_side() -> None:
    assert drink_from_figures(replace(READ, sugar_g_per_l=Span.exact(120.0))).sugar_g_per_l.value == 120.0
    # no extract can be told of a spirit, nor of a gravity below that of its alcohol
    for gravity, abv in ((0.95, 65.0), (0.90, 5.0)):
        odd = replace(READ, gravity=Span.exact(gravity), abv_percent=Span.exact(abv))
        assert drink_from_figures(odd).sugar_g_per_l.value == 40.0


def test_sugar_that_yeast_is_said_to_leave_is_assumed_openly() -> None:
    def told(**change: Any) -> list[str]:
        found = drink_from_figures(replace(READ, gravity=None, **change)).assumed
        return [a.value for a in found if a.what == "fermentable sugar of the drink"]

    (words,) = told(sugar_g_per_l=Span.exact(100.0), fermentable_sugar_g_per_l=Span.exact(0.0))
    assert "0 of 100 g/L" in words
    assert told(sugar_g_per_l=Span.exact(100.0), fermentable_sugar_g_per_l=Span.exact(95.0)) == []


def test_sugars_by_the_rows() -> None:
    """White sugar is sucrose; of honey's disaccharides half counts as fermentable (judged)."""
    sugar, fermentable = held_sugars_g_per_l([Held(get_ingredient("sugar_white"), 50.0, None), *honey(None)])
    assert sugar == pytest.approx(50.0, rel=0.01)
    assert fermentable == pytest.approx(sugar)
    of_honey = held_sugars_g_per_l(honey(100.0))
    assert of_honey[1] < of_honey[0]
    # by more than a tenth and 5 g/L (our default)
    assert not too_much_held(114.9, Span(90.0, 80.0, 100.0))
    assert too_much_held(115.1, Span(90.0, 80.0, 100.0))


BESIDES = EXTRACT_BESIDES_SUGAR_G_PER_L


@settings(max_examples=40, deadline=None)
@given(
    gravity=st.floats(0.995, 1.120),
    abv=st.floats(0.0, 18.0),
    sugar=st.floats(0.0, 300.0),
)
def test_any_drink_is_refused_by_its_extract_alone(gravity: float, abv: float, sugar: float) -> None:
    """Against the densimetric rule, OIV-MA-AS2-03B: it and the mixture differ by less than 1 g/L there (measured)."""
    read = replace(READ, gravity=Span.exact(gravity), abv_percent=Span.exact(abv), sugar_g_per_l=Span.exact(sugar))
    beyond = extract_g_per_l_from_sg_and_abv(gravity, abv) - sugar - EXTRACT_BESIDES_SUGAR_G_PER_L
    excess = sugar - EXTRACT_SPARED_G_PER_L - (1.0 + HELD_SHARE_SPARED) * max(beyond + sugar + BESIDES, 0.0)
    if beyond + sugar + BESIDES < -1.0 or excess > 1.5:  # lighter than alcohol and water, or no room for so much
        with pytest.raises(InconsistentError):
            drink_from_figures(read)
    elif min(abs(excess), abs(beyond + sugar + BESIDES)) <= 1.5:
        return  # nearer than the two rules are to each other
    elif beyond > 1.0:
        with pytest.raises(InconsistentError):
            drink_from_figures(read)
    elif beyond < -1.0:
        drink_from_figures(read)
