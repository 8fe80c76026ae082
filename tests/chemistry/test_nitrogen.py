"""Nitrogen and yeast by numbers: formula shares, doses, limits, tolerance."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.chemistry.nitrogen import (
    DEMAND_MG_N_PER_G,
    DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE,
    G_PER_L_PER_LB_PER_1000_GAL,
    MEASURED_OPTIMUM_MG_N_PER_G,
    MONOAMMONIUM_PHOSPHATE_NITROGEN_SHARE,
    PHOSPHATE_CAP_G_PER_L,
    SALTS,
    US_PHOSPHATE_LIMIT_G_PER_L,
    US_THIAMINE_LIMIT_MG_PER_L,
    US_YEAST_WALLS_LIMIT_G_PER_L,
    is_no_food,
    nitrogen_needed_mg_per_l,
    nutrient_g,
    salt_called,
    sugar_break_gravity,
)
from service.chemistry.yeast import cells_to_pitch, sugar_until_tolerance_g_per_l, yeast_g
from service.errors import InconsistentError, OutOfRangeError


def test_shares_by_formula() -> None:
    """Atomic weights of IUPAC 2021: N 14.007, H 1.008, P 30.974, O 15.999; (NH4)2HPO4 and NH4H2PO4."""
    n, h, p, o = 14.007, 1.008, 30.974, 15.999
    assert pytest.approx(2 * n / (2 * n + 9 * h + p + 4 * o), rel=1e-4) == DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE
    assert pytest.approx(n / (n + 6 * h + p + 4 * o), rel=1e-4) == MONOAMMONIUM_PHOSPHATE_NITROGEN_SHARE
    assert round(100 * DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE, 1) == 21.2
    assert round(100 * MONOAMMONIUM_PHOSPHATE_NITROGEN_SHARE, 1) == 12.2


def test_doses() -> None:
    """Computed: 112 mg/L are 0.528 g/L and 10.0 g in 19 L; 156 mg/L 14.0 g; 4.5 % yeast 2.5 to 3.5 g/L."""
    dap = DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE
    assert nitrogen_needed_mg_per_l(0.9, 125.0) == pytest.approx(112.5)
    assert nutrient_g(112.0, 1.0, dap) == pytest.approx(0.528, abs=5e-4)
    assert nutrient_g(112.0, 19.0, dap) == pytest.approx(10.0, abs=0.05)
    assert nutrient_g(156.0, 1.0, dap) == pytest.approx(0.735, abs=6e-4)
    assert nutrient_g(156.0, 19.0, dap) == pytest.approx(14.0, abs=0.05)
    yeast = SALTS["autolysed yeast"].nitrogen_share
    assert nutrient_g(112.0, 1.0, yeast) == pytest.approx(2.5, abs=0.02)
    assert nutrient_g(156.0, 1.0, yeast) == pytest.approx(3.5, abs=0.04)


def test_limits_of_the_regulation() -> None:
    """27 CFR 24.246, 2015 edition: 8 lb, 3 lb and 0.005 lb in 1000 gal; NIST Handbook 44, Appendix C for the units."""
    assert pytest.approx(0.119826, abs=5e-7) == G_PER_L_PER_LB_PER_1000_GAL
    assert pytest.approx(0.96, abs=0.002) == US_PHOSPHATE_LIMIT_G_PER_L
    assert pytest.approx(0.36, abs=0.001) == US_YEAST_WALLS_LIMIT_G_PER_L
    assert pytest.approx(0.6, abs=0.001) == US_THIAMINE_LIMIT_MG_PER_L
    brings = 1000.0 * US_PHOSPHATE_LIMIT_G_PER_L * DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE
    assert brings == pytest.approx(204.0, abs=1.0)  # computed


def test_demand() -> None:
    """Classes from memory, unverified; the optimum measured by Taillandier et al. 2007 (abstract), 0.62 to 0.91."""
    assert dict(DEMAND_MG_N_PER_G) == {"low": 0.75, "medium": 0.90, "high": 1.25}
    assert MEASURED_OPTIMUM_MG_N_PER_G == (0.62, 0.91)
    assert nitrogen_needed_mg_per_l(0.75, 100.0, 90.0) == 0.0


def test_names() -> None:
    assert salt_called("Diammonium  Phosphate") == salt_called("dap") == SALTS["diammonium phosphate"]
    assert salt_called("MAP") == SALTS["monoammonium phosphate"]
    assert salt_called("something else") is None


@pytest.mark.parametrize(
    ("name", "no_food"),
    [
        ("garden fertiliser", True),
        ("Lawn-Fertilizer 46", True),
        ("garden_phosphate", True),
        ("UREA", True),
        ("ammonium nitrate", True),
        ("plant food", True),
        ("household ammonia", True),
        ("ammonium phosphate", False),
        ("DAP", False),
        ("autolysed yeast", False),
        ("bureau blend", False),
        ("nutrient without nitrogen fear", False),
    ],
)
def test_names_of_what_is_not_for_drinks(name: str, no_food: bool) -> None:
    """Food grade only, no fertiliser grades (common practice, no source)."""
    assert is_no_food(name) is no_food


def test_what_is_proposed_stays_below_both_limits() -> None:
    assert PHOSPHATE_CAP_G_PER_L <= US_PHOSPHATE_LIMIT_G_PER_L < PHOSPHATE_CAP_G_PER_L + 1e-4
    assert PHOSPHATE_CAP_G_PER_L <= 1.0  # EU and OIV, from memory, unverified


def test_sugar_break() -> None:
    """Computed: 1.048 to 0.997 is 1.031 when a third of the sugar is gone."""
    assert sugar_break_gravity(1.048, 0.997) == pytest.approx(1.031, abs=5e-5)
    assert sugar_break_gravity(1.048, 0.997, 0.0) == 1.048
    with pytest.raises(InconsistentError):
        sugar_break_gravity(1.0, 1.01)
    with pytest.raises(OutOfRangeError):
        sugar_break_gravity(1.048, 0.997, 1.5)


def test_cells() -> None:
    """Computed: 19 L × 12 °P × 0.75 = 171·10⁹ cells, 17 g at 10¹⁰ living cells per gram (rate from memory)."""
    assert cells_to_pitch(19.0, 12.0) == pytest.approx(171e9, rel=1e-12)
    assert yeast_g(cells_to_pitch(19.0, 12.0)) == pytest.approx(17.1)
    assert yeast_g(171e9, 5e9) == pytest.approx(34.2)


@pytest.mark.parametrize(("tolerance", "sugar"), [(8.0, 25.0), (10.0, 59.0), (12.0, 92.0), (14.0, 126.0)])
def test_sugar_that_a_tolerance_leaves_room_for(tolerance: float, sugar: float) -> None:
    """Computed: from 6.5 % vol, at 0.47 g/g."""
    assert sugar_until_tolerance_g_per_l(tolerance, 6.5) == pytest.approx(sugar, abs=0.5)
    assert sugar_until_tolerance_g_per_l(6.0, 6.5) == 0.0


def test_what_is_refused() -> None:
    for demand, sugar, there in ((3.1, 100.0, 0.0), (0.9, 601.0, 0.0), (0.9, 100.0, -1.0), (-0.1, 100.0, 0.0)):
        with pytest.raises(OutOfRangeError):
            nitrogen_needed_mg_per_l(demand, sugar, there)
    for share in (0.0, 1.1):
        with pytest.raises(OutOfRangeError):
            nutrient_g(100.0, 1.0, share)
    with pytest.raises(OutOfRangeError):
        yeast_g(1e9, 1e12)
    with pytest.raises(OutOfRangeError):
        cells_to_pitch(-1.0, 12.0)
    for tolerance, abv, yielded in ((26.0, 6.0, 0.47), (14.0, -1.0, 0.47), (14.0, 6.0, 0.9)):
        with pytest.raises(OutOfRangeError):
            sugar_until_tolerance_g_per_l(tolerance, abv, yielded)


@settings(max_examples=40)
@given(st.floats(0.3, 2.0), st.floats(10.0, 300.0), st.floats(0.0, 300.0), st.floats(0.5, 500.0))
def test_a_dose_brings_what_is_lacking(demand: float, sugar: float, there: float, litres: float) -> None:
    lacking = nitrogen_needed_mg_per_l(demand, sugar, there)
    mass = nutrient_g(lacking, litres, DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE)
    brings = mass * DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE * 1000.0 / litres
    assert there + brings == pytest.approx(max(demand * sugar, there))
