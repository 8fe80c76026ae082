"""Outside the range of a formula the physics refuses; it neither clips nor extrapolates."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from service.errors import OutOfRangeError
from service.physics.ethanol_water import ethanol_water_density_kg_m3, mass_fraction_from_abv_percent
from service.physics.mixture import volume_ml
from service.physics.solutes import CITRIC_LAW, SOLUTE_LAWS, Component
from service.physics.sucrose import apparent_specific_volume_ml_g, brix_from_sg, sucrose_density_kg_m3
from service.physics.water import icumsa_water_density_kg_m3

BEYOND: dict[str, Callable[[], float]] = {
    "more ethanol than all": lambda: ethanol_water_density_kg_m3(1.01),
    "ethanol in boiling water": lambda: ethanol_water_density_kg_m3(0.1, 60.0),
    "110 % vol": lambda: mass_fraction_from_abv_percent(110.0),
    "crystals": lambda: sucrose_density_kg_m3(0.9),
    "hot syrup": lambda: sucrose_density_kg_m3(0.5, 60.0),
    "points for a gravity": lambda: brix_from_sg(48.0),
    "steam": lambda: icumsa_water_density_kg_m3(101.0),
    "dry sugar": lambda: volume_ml({Component.SUCROSE: 1.0}),
    "nothing": lambda: volume_ml({}),
    "sugar paste": lambda: volume_ml({Component.WATER: 5.0, Component.SUCROSE: 95.0}),
}


@pytest.mark.parametrize("case", BEYOND)
def test_outside_the_range_is_refused(case: str) -> None:
    with pytest.raises(OutOfRangeError):
        BEYOND[case]()


@pytest.mark.parametrize("component", sorted(SOLUTE_LAWS))
def test_each_law_is_the_room_its_solute_takes(component: Component) -> None:
    """V = V_water + m·φ(w) for one solute alone, at 15 % by mass."""
    room = volume_ml({Component.WATER: 85.0, component: 15.0}) - volume_ml({Component.WATER: 85.0})
    assert room == pytest.approx(15.0 * SOLUTE_LAWS[component].value_ml_g(0.15), rel=1e-12)


def test_acid_takes_less_room_than_sugar() -> None:
    assert CITRIC_LAW.value_ml_g(0.02) < apparent_specific_volume_ml_g(0.02)[0]
