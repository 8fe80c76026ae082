"""Water as the standards take it."""

from __future__ import annotations

import pytest

from service.errors import OutOfRangeError
from service.physics.ethanol_water import ethanol_water_density_kg_m3
from service.physics.water import icumsa_water_density_kg_m3, water_density_kg_m3
from tests.tables import Row, label, rows


@pytest.mark.parametrize("row", rows("water_density"), ids=label)
def test_water_density(row: Row) -> None:
    """M. Tanaka et al., Metrologia 38 (2001) 301; IAPWS-95; OIML R 22 with p = 0 (all computed).

    Tanaka to its last digit and within 0.001 kg/m³ of IAPWS-95; OIML lies 0.004 to 0.007 below, a 1975 scale.
    """
    temperature = float(row["temp_degC"])
    water = water_density_kg_m3(temperature)
    assert water == pytest.approx(float(row["density_tanaka_kg_m3"]), abs=6e-5)
    assert water == pytest.approx(float(row["density_iapws95_kg_m3"]), abs=0.001)
    oiml = ethanol_water_density_kg_m3(0.0, temperature)
    assert oiml == pytest.approx(float(row["density_oiml_kg_m3"]), abs=1e-4)
    assert 0.004 < water - oiml < 0.0075
    assert icumsa_water_density_kg_m3(temperature) == pytest.approx(water, abs=0.005)


@pytest.mark.parametrize("temperature", [-0.1, 40.1])
def test_water_outside_its_range_is_refused(temperature: float) -> None:
    with pytest.raises(OutOfRangeError, match="0 to 40"):
        water_density_kg_m3(temperature)
