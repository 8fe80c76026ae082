from __future__ import annotations

import pytest

from service.chemistry.sugars import (
    HONEY_DISACCHARIDES_FERMENTABLE_SHARE,
    PUBLISHED_RELATIVE_SWEETNESS,
    RELATIVE_SWEETNESS,
    sucrose_equivalent_g,
)
from service.physics.solutes import Component

HONEY = {
    Component.SUCROSE: 1.3,
    Component.GLUCOSE: 31.3,
    Component.FRUCTOSE: 38.2,
    Component.DISACCHARIDES: 7.3,
    Component.HIGHER_SUGARS: 1.5,
}


def test_limits_are_those_of_the_published_sets() -> None:
    for component, name in (
        (Component.FRUCTOSE, "fructose"),
        (Component.GLUCOSE, "glucose"),
        (Component.DISACCHARIDES, "maltose"),
    ):
        published = [s[name] for s in PUBLISHED_RELATIVE_SWEETNESS.values() if name in s]
        band = RELATIVE_SWEETNESS[component]
        assert (band.low, band.high) == (min(published), max(published))
        assert band.low <= band.central <= band.high


def test_sucrose_is_the_unit() -> None:
    band = sucrose_equivalent_g({Component.SUCROSE: 80.0, Component.WATER: 900.0, Component.GLYCEROL: 5.0})
    assert (band.low, band.central, band.high) == (80.0, 80.0, 80.0)


def test_honey_sugars_are_about_nine_tenths_of_sucrose() -> None:
    """0.93 of sucrose by weight, 0.77 to 1.20 over the published sets (higher sugars left out)."""
    simple = sum(mass for component, mass in HONEY.items() if component is not Component.HIGHER_SUGARS)
    band = sucrose_equivalent_g(HONEY)
    assert band.central / simple == pytest.approx(0.93, abs=0.01)
    assert band.low / simple == pytest.approx(0.77, abs=0.02)
    assert band.high / simple == pytest.approx(1.20, abs=0.02)


def test_honey_disaccharides_ferment_by_half() -> None:
    share = HONEY_DISACCHARIDES_FERMENTABLE_SHARE
    assert (share.low, share.central, share.high) == (0.0, 0.5, 1.0)
