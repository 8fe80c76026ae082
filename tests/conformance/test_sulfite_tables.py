"""The pK of sulfur dioxide against OIV-MA-AS323-04C and Goldberg and Parker 1985, and doses computed with it."""

from __future__ import annotations

import pytest

from service.chemistry.sulfite import (
    SO2_PK_CONVENTION,
    PkBasis,
    free_so2_for_molecular_mg_per_l,
    molecular_so2_mg_per_l,
    so2_pk,
)
from tests.tables import Row, label, rows

OIV = rows("oiv_so2_pk", mark="published")
MIXED = rows("oiv_so2_pk", mark="computed")
DOSES = rows("so2_free_for_molecular")


def pk_of_dose(row: Row) -> float:
    if row["pk_basis"] == "pK 1.81 (convention)":
        return SO2_PK_CONVENTION
    assert row["pk_basis"] == "12 % vol, 20 C, corrected pK"
    return so2_pk(PkBasis.THERMO, 20.0, 12.0)


@pytest.mark.parametrize("row", OIV, ids=label)
def test_the_oiv_basis_without_ionic_strength_is_table_i(row: Row) -> None:
    pk = so2_pk(PkBasis.OIV, float(row["temp_degC"]), float(row["ethanol_vol_pct"]), 0.0)
    assert pk == pytest.approx(float(row["so2_pk1"]), abs=1e-12)


@pytest.mark.parametrize("row", rows("oiv_so2_pk", mark="published", temp_degC="20"), ids=label)
def test_both_corrected_bases_agree_at_20_degrees(row: Row) -> None:
    """Goldberg and Parker's enthalpy with 0.020 per % vol against OIV table I: within 0.01 at 20 °C."""
    pk = so2_pk(PkBasis.THERMO, 20.0, float(row["ethanol_vol_pct"]), 0.0)
    assert pk == pytest.approx(float(row["so2_pk1"]), abs=0.01)


def test_the_bases_part_when_warm_and_oiv_is_the_less_careful() -> None:
    """OIV table I rises by 0.202 from 20 to 25 °C (published), van 't Hoff by 0.05 (computed)."""
    oiv = so2_pk(PkBasis.OIV, 25.0, 0.0) - so2_pk(PkBasis.OIV, 20.0, 0.0)
    thermo = so2_pk(PkBasis.THERMO, 25.0, 0.0) - so2_pk(PkBasis.THERMO, 20.0, 0.0)
    assert oiv == pytest.approx(0.202, abs=0.002)
    assert thermo == pytest.approx(0.05, abs=0.002)


def test_thermodynamic_pk_at_25_degrees() -> None:
    """Goldberg and Parker 1985, as in the ThermoChimie database (log β 9.03 − 7.17 = 1.86)."""
    assert so2_pk(PkBasis.THERMO, 25.0, 0.0, 0.0) == pytest.approx(9.03 - 7.17, abs=0.005)


@pytest.mark.parametrize("row", MIXED, ids=label)
def test_mixed_pk(row: Row) -> None:
    """Computed values of two decimals; one of them, 15 % vol at 10 °C, was rounded twice (1.9249, 1.925, 1.93)."""
    pk = so2_pk(
        PkBasis.THERMO,
        float(row["temp_degC"]),
        float(row["ethanol_vol_pct"]),
        float(row["ionic_strength_mol_per_L"]),
    )
    assert pk == pytest.approx(float(row["so2_pk1"]), abs=0.0052)


@pytest.mark.parametrize("row", DOSES, ids=label)
def test_free_so2_for_a_molecular_target(row: Row) -> None:
    """Computed values, to their last digit."""
    ph, molecular = float(row["ph"]), float(row["molecular_so2_mg_L"])
    pk = pk_of_dose(row)
    free = free_so2_for_molecular_mg_per_l(molecular, ph, pk)
    assert free == pytest.approx(float(row["free_so2_mg_L"]), abs=0.051)
    assert molecular_so2_mg_per_l(free, ph, pk) == pytest.approx(molecular, rel=1e-12)
