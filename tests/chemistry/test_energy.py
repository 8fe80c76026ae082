from __future__ import annotations

import pytest

from service.chemistry.energy import ENERGY_KCAL_AND_KJ_PER_G, energy_kcal, energy_kj
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.solutes import Component
from tests.tables import Row, rows

COMPONENT_OF_LABEL = {
    "carbohydrate": Component.SUCROSE,
    "polyols": Component.POLYOLS,
    "alcohol (ethanol)": Component.ETHANOL,
    "organic acid": Component.MALIC,
    "fibre": Component.PECTIN,
}


def test_every_component_has_factors() -> None:
    assert set(ENERGY_KCAL_AND_KJ_PER_G) == set(Component)


@pytest.mark.parametrize("row", rows("energy_factors", jurisdiction="EU"))
def test_factors_of_annex_xiv(row: Row) -> None:
    kcal, kj = ENERGY_KCAL_AND_KJ_PER_G[COMPONENT_OF_LABEL[row["component"]]]
    assert (kcal, kj) == (float(row["energy_kcal_per_g"]), float(row["energy_kJ_per_g"]))


@pytest.mark.parametrize("row", rows("label_worked_examples", check="label"))
def test_worked_labels(row: Row) -> None:
    litres = float(row["serving_mL"]) / 1000.0
    ethanol_g = litres * 10.0 * float(row["abv_pct_vol"]) * ETHANOL_DENSITY_20C_KG_M3 / 1000.0
    masses = {
        Component.ETHANOL: ethanol_g,
        Component.SUCROSE: litres * float(row["sugar_g_per_L"]),
        Component.CITRIC: litres * float(row["acid_g_per_L"]),
    }
    assert ethanol_g == pytest.approx(float(row["ethanol_g"]), abs=0.006)
    assert energy_kcal(masses) == pytest.approx(float(row["energy_kcal"]), abs=0.06)
    assert energy_kj(masses) == pytest.approx(float(row["energy_kJ"]), abs=0.06)
