"""Dry extract against the German wine-extract table and the table of the OIV."""

from __future__ import annotations

import pytest

from service.errors import InconsistentError, OutOfRangeError
from service.physics.extract import (
    extract_g_per_l_from_sg_and_abv,
    litre_from_abv_and_extract,
    litre_from_sg_and_abv,
    sg_from_extract_and_abv,
    sg_from_sucrose_g_per_l,
    sucrose_g_per_l_from_sg,
)
from service.physics.scales import SgScale, sg_20_20_from_scale
from service.physics.solutes import Component
from service.physics.sucrose import brix_from_sg, sg_from_brix, sucrose_density_kg_m3
from tests.tables import Row, label, rows

GERMAN = rows("total_dry_extract", scale_degC_degC="15/15")
OIV = rows("total_dry_extract", source="OIV-MA-AS2-03B, Table I")
COMPUTED = rows("total_dry_extract", source="ICUMSA SPS-4: g/L sucrose of the same SG")


@pytest.mark.parametrize("row", GERMAN, ids=label)
def test_german_table_xix(row: Row) -> None:
    """Tabelle XIX (Kaiserliche Normal-Eichungs-Kommission): SG 15/15 to g/100 mL, within 0.02 g/100 mL.

    The volume of that table is taken at 15 °C too.
    """
    gravity = sg_20_20_from_scale(float(row["relative_density_sg"]), SgScale.SG_15_15)
    share = brix_from_sg(gravity) / 100.0
    extract = share * sucrose_density_kg_m3(share, 15.0) / 10.0
    assert extract == pytest.approx(float(row["extract_g_per_100mL"]), abs=0.02)


@pytest.mark.parametrize("row", OIV, ids=label)
def test_oiv_table(row: Row) -> None:
    """OIV-MA-AS2-03B, Table I (from memory): ICUMSA is higher, on average by 0.106 g/L and nowhere above 0.16."""
    higher = sucrose_g_per_l_from_sg(float(row["relative_density_sg"])) - float(row["extract_g_per_L"])
    assert -0.05 <= higher <= 0.165


def test_oiv_table_on_average() -> None:
    """The difference is that of two sugar tables, Plato's and ICUMSA's: 0.106 g/L (computed)."""
    higher = [sucrose_g_per_l_from_sg(float(row["relative_density_sg"])) - float(row["extract_g_per_L"]) for row in OIV]
    assert sum(higher) / len(higher) == pytest.approx(0.106, abs=0.002)


@pytest.mark.parametrize("row", COMPUTED, ids=label)
def test_sucrose_in_a_litre(row: Row) -> None:
    """ICUMSA SPS-4 (computed), to the last digit of the row."""
    gravity, sucrose = float(row["relative_density_sg"]), float(row["extract_g_per_L"])
    assert sucrose_g_per_l_from_sg(gravity) == pytest.approx(sucrose, abs=0.051)
    assert sg_from_sucrose_g_per_l(sucrose) == pytest.approx(gravity, abs=2e-5)


def test_a_dry_wine_by_both_rules() -> None:
    """d = 0.9945, 11.5 % vol (computed): 25.36 g/L by OIV-MA-AS2-03B, 25.28 by the binary sum."""
    assert extract_g_per_l_from_sg_and_abv(0.9945, 11.5) == pytest.approx(25.36, abs=0.006)
    assert litre_from_sg_and_abv(0.9945, 11.5)[Component.SUCROSE] == pytest.approx(25.28, abs=0.006)


def test_a_slightly_negative_extract_keeps_its_sign() -> None:
    """0.9830 at 12 % vol is lighter than 12 % vol of alcohol and water (0.98413): the caller sees −3 g/L."""
    assert -3.2 < extract_g_per_l_from_sg_and_abv(0.9830, 12.0) < -2.6
    assert -3.2 < litre_from_sg_and_abv(0.9830, 12.0)[Component.SUCROSE] < -2.6


def test_impossible_pairs_are_refused() -> None:
    with pytest.raises(InconsistentError, match="too low for 5 % vol"):
        extract_g_per_l_from_sg_and_abv(0.960, 5.0)
    with pytest.raises(OutOfRangeError, match="points"):
        extract_g_per_l_from_sg_and_abv(50.0, 5.0)
    with pytest.raises(OutOfRangeError, match="% vol"):
        extract_g_per_l_from_sg_and_abv(1.0, 96.0)
    with pytest.raises(OutOfRangeError, match="sucrose"):
        sg_from_sucrose_g_per_l(2000.0)
    with pytest.raises(OutOfRangeError, match="sucrose"):
        sg_from_extract_and_abv(-80.0, 10.0)
    with pytest.raises(OutOfRangeError, match="dissolve"):
        litre_from_abv_and_extract(40.0, 1100.0)
    with pytest.raises(OutOfRangeError, match="reading error"):
        litre_from_abv_and_extract(10.0, -100.0)


def test_the_ends_of_the_sugar_table_are_met() -> None:
    """ICUMSA SPS-4 from SG 0.98 (read below water) to 85 °Bx."""
    lowest = sucrose_g_per_l_from_sg(0.98)
    assert sg_from_sucrose_g_per_l(lowest) == 0.98
    densest = sucrose_g_per_l_from_sg(sg_from_brix(85.0))
    assert densest == pytest.approx(0.85 * sucrose_density_kg_m3(0.85))
    assert brix_from_sg(sg_from_sucrose_g_per_l(densest)) == pytest.approx(85.0)
