"""Honey: density against water content, and water content from the refractometer."""

from __future__ import annotations

import pytest

from service.errors import OutOfRangeError
from service.physics.honey import (
    moisture_percent_from_refractive_index,
    moisture_percent_from_sugar_scale,
    refractive_index_from_moisture_percent,
)
from service.physics.mixture import density_g_ml
from service.physics.solutes import Component
from tests.tables import Row, label, rows

CHATAWAY = rows("honey_refractive_index")
TABLE = rows("honey_density", kind="table")
MODEL = rows("honey_density", kind="model")


def honey_g(mass_g: float, moisture_percent: float) -> dict[Component, float]:
    """White's average honey solids (from memory): 46.1 % fructose, 37.8 % glucose, the rest disaccharides."""
    solids = mass_g * (1.0 - moisture_percent / 100.0)
    return {
        Component.WATER: mass_g - solids,
        Component.FRUCTOSE: 0.461 * solids,
        Component.GLUCOSE: 0.378 * solids,
        Component.DISACCHARIDES: 0.161 * solids,
    }


@pytest.mark.parametrize("row", TABLE, ids=label)
def test_honey_density_against_its_table(row: Row) -> None:
    """Bogdanov, The Book of Honey, ch. 4; White 1975; FAO Agricultural Services Bulletin 124 (from memory).

    Read as kg/L: 0.0015 from 15 to 20 % water, 0.003 at the ends.
    """
    moisture = float(row["water_mass_pct"])
    tolerance = 0.0015 if 15.0 <= moisture <= 20.0 else 0.003
    assert density_g_ml(honey_g(1000.0, moisture)) == pytest.approx(float(row["density20_kg_per_L"]), abs=tolerance)


@pytest.mark.parametrize("row", MODEL, ids=label)
def test_honey_density_as_computed_before(row: Row) -> None:
    """The binary sum over White's composition, worked out once and written down (computed)."""
    moisture = float(row["water_mass_pct"])
    assert density_g_ml(honey_g(1.0, moisture)) == pytest.approx(float(row["density20_kg_per_L"]), abs=6e-5)


@pytest.mark.parametrize("row", rows("honey_density", kind="mean") + rows("honey_density", kind="trade"), ids=label)
def test_single_honey_figures(row: Row) -> None:
    """White and Chataway's mean, 1.4225 at 17.2 % water, and two trade figures (weak secondary sources)."""
    moisture = float(row["water_mass_pct"])
    assert density_g_ml(honey_g(1.0, moisture)) == pytest.approx(float(row["density20_kg_per_L"]), abs=0.0015)


@pytest.mark.parametrize("row", CHATAWAY, ids=label)
def test_wedmore_meets_the_printed_chataway_table(row: Row) -> None:
    """Chataway's table in Bogdanov, The Book of Honey, ch. 4, by Wedmore's formula (1955): 0.03 % water."""
    moisture = moisture_percent_from_refractive_index(float(row["refractive_index_20C"]))
    assert moisture == pytest.approx(float(row["water_mass_pct"]), abs=0.03)
    assert moisture == pytest.approx(float(row["water_mass_pct_wedmore_computed"]), abs=0.006)


def test_a_warm_prism_reads_too_low_an_index() -> None:
    """Bogdanov, The Book of Honey, ch. 4: 0.00023 per °C, added above 20 °C and taken off below."""
    assert moisture_percent_from_refractive_index(1.4940 - 0.00115, 25.0) == pytest.approx(
        moisture_percent_from_refractive_index(1.4940), abs=1e-9
    )
    assert refractive_index_from_moisture_percent(17.0, 15.0) > refractive_index_from_moisture_percent(17.0)


def test_a_sugar_scale_on_honey() -> None:
    """Moisture is 98.5 less the reading (from memory): 80 °Bx is 18.5 % water."""
    assert moisture_percent_from_sugar_scale(80.0) == pytest.approx(18.5)


@pytest.mark.parametrize("index", [1.33299, 1.4700, 1.5100])
def test_what_is_not_honey_is_refused(index: float) -> None:
    with pytest.raises(OutOfRangeError, match="Honey is tabulated"):
        moisture_percent_from_refractive_index(index)
    with pytest.raises(OutOfRangeError, match="between 10 and 40"):
        moisture_percent_from_refractive_index(1.49, 55.0)
    with pytest.raises(OutOfRangeError, match="sugar scale"):
        moisture_percent_from_sugar_scale(65.0)
