from __future__ import annotations

from collections.abc import Callable
from math import inf, log10, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.chemistry.sorbate import (
    POTASSIUM_SORBATE_POTASSIUM_SHARE,
    POTASSIUM_SORBATE_SORBIC_SHARE,
    REMEMBERED_SORBIC_MG_PER_L,
    TABLE_ML_PER_L,
    TABLE_PH,
    potassium_sorbate_g,
    sorbic_dose,
    sorbic_limit,
    sorbic_mg_per_l_from_potassium_sorbate,
    undissociated_sorbic_fraction,
)
from service.chemistry.sulfite_limits import FROM_MEMORY, PUBLISHED, Market
from service.chemistry.tabulated import linear
from service.errors import InputError, OutOfRangeError

# T. Underhill, Making Better Wines (weak secondary source, an extract): its mL/L of a 30 g/L solution as mg/L sorbic
# acid, at pH 3.1 and 3.5 (computed with 74.64 % of OIV COEI-1-POTSOR).
UNDERHILL_MG_PER_L = {10: (123, 201.5), 11: (101, 168), 12: (72, 112), 13: (58, 90), 14: (45, 67)}
INSIDE_ABV = st.floats(10.0, 14.0)
INSIDE_PH = st.floats(3.1, 3.5)


def dose_of(abv_percent: float, ph: float) -> float:
    dose = sorbic_dose(abv_percent, ph).dose_mg_per_l
    assert dose is not None
    return dose


def test_yields_of_the_salt() -> None:
    """OIV COEI-1-POTSOR: 74.64 % sorbic acid and 26.03 % potassium."""
    assert pytest.approx(0.7464, abs=5e-5) == POTASSIUM_SORBATE_SORBIC_SHARE
    assert pytest.approx(0.2603, abs=5e-5) == POTASSIUM_SORBATE_POTASSIUM_SHARE


@pytest.mark.parametrize(
    ("ph", "percent"), [(3.0, 98), (3.2, 97), (3.4, 96), (3.6, 94), (3.8, 90), (4.0, 85), (4.2, 78)]
)
def test_undissociated_share_in_water(ph: float, percent: float) -> None:
    """Computed, pK 4.76 (from memory, unverified), no ionic strength; ethanol of 12 % vol adds 1 to 6 points."""
    share = undissociated_sorbic_fraction(ph, ionic_mol_per_l=0.0)
    assert 100.0 * share == pytest.approx(percent, abs=0.51)
    gain = 100.0 * (undissociated_sorbic_fraction(ph, 12.0, ionic_mol_per_l=0.0) - share)
    assert 0.5 < gain < 6.5


def test_ionic_strength_lowers_the_pk_of_sorbic_acid() -> None:
    """IUPAC data set, serjeant2850b: 4.51 at 0.1 mol/L and 25 °C, which is 4.62 at none (computed)."""
    at_none, at_tenth = (undissociated_sorbic_fraction(4.0, 0.0, 25.0, ionic) for ionic in (0.0, 0.1))
    shift = log10(at_none / (1.0 - at_none)) - log10(at_tenth / (1.0 - at_tenth))
    assert shift == pytest.approx(4.62 - 4.51, abs=0.005)


@given(ph=st.floats(2.5, 5.0), abv=st.floats(0.0, 19.0), temperature=st.floats(0.0, 40.0))
def test_undissociated_share_falls_with_ph_and_rises_with_ethanol(ph: float, abv: float, temperature: float) -> None:
    here = undissociated_sorbic_fraction(ph, abv, temperature)
    assert 0.0 < here < 1.0
    assert here > undissociated_sorbic_fraction(ph + 0.1, abv, temperature)
    assert here < undissociated_sorbic_fraction(ph, abv + 1.0, temperature)


@pytest.mark.parametrize(
    ("ph", "abv", "temperature", "ionic"),
    [(-1.0, 0.0, 20.0, 0.0), (3.4, 21.0, 20.0, 0.0), (3.4, 0.0, 60.0, 0.0), (3.4, 0.0, 20.0, 1.0), (nan, 0, 20, 0)],
)
def test_undissociated_share_out_of_range(ph: float, abv: float, temperature: float, ionic: float) -> None:
    with pytest.raises(OutOfRangeError):
        undissociated_sorbic_fraction(ph, abv, temperature, ionic)


@pytest.mark.parametrize("abv", UNDERHILL_MG_PER_L)
def test_the_printed_doses(abv: int) -> None:
    for ph, expected in zip((3.1, 3.5), UNDERHILL_MG_PER_L[abv], strict=True):
        answer = sorbic_dose(abv, ph)
        assert answer.dose_mg_per_l == pytest.approx(expected, abs=0.51)
        assert answer.inside_table
        assert not answer.is_upper_bound
        assert "weak secondary source" in answer.mark


def test_every_figure_of_the_table_is_met_exactly() -> None:
    for abv, row in TABLE_ML_PER_L.items():
        for ph, ml_per_l in zip(TABLE_PH, row, strict=True):
            assert dose_of(abv, ph) == pytest.approx(ml_per_l * 30.0 * POTASSIUM_SORBATE_SORBIC_SHARE, rel=1e-12)


@given(abv=INSIDE_ABV, ph=INSIDE_PH, step=st.floats(0.001, 0.4))
def test_weaker_and_less_acid_drinks_need_more(abv: float, ph: float, step: float) -> None:
    here = dose_of(abv, ph)
    if ph + step <= 3.5:
        assert dose_of(abv, ph + step) > here
    if abv + step <= 14.0:
        assert dose_of(abv + step, ph) < here


@given(abv=INSIDE_ABV, ph=INSIDE_PH)
def test_a_dose_lies_between_the_figures_around_it(abv: float, ph: float) -> None:
    weaker, stronger = float(int(abv)), min(14.0, int(abv) + 1.0)
    assert dose_of(stronger, 3.1) - 1e-9 <= dose_of(abv, ph) <= dose_of(weaker, 3.5) + 1e-9


@pytest.mark.parametrize("abv", REMEMBERED_SORBIC_MG_PER_L)
def test_the_remembered_table_lies_within_the_printed_one(abv: float) -> None:
    """Dose by strength alone (from memory, unverified) against Underhill's span from pH 3.1 to 3.5."""
    assert dose_of(abv, 3.1) < REMEMBERED_SORBIC_MG_PER_L[abv] < dose_of(abv, 3.5)


@given(abv=st.floats(14.001, 25.0), ph=INSIDE_PH)
def test_above_14_per_cent_the_last_row_is_an_upper_bound(abv: float, ph: float) -> None:
    answer = sorbic_dose(abv, ph)
    assert answer.dose_mg_per_l == dose_of(14.0, ph)
    assert answer.is_upper_bound
    assert not answer.inside_table
    assert "14 % vol is an upper bound" in answer.reason


@given(abv=INSIDE_ABV, ph=st.floats(2.5, 3.0999))
def test_below_ph_3_1_the_first_column_is_an_upper_bound(abv: float, ph: float) -> None:
    answer = sorbic_dose(abv, ph)
    assert answer.dose_mg_per_l == dose_of(abv, 3.1)
    assert answer.is_upper_bound
    assert not answer.inside_table
    assert "pH 3.1 is an upper bound" in answer.reason


@pytest.mark.parametrize(
    ("abv", "ph", "reasons"),
    [
        (9.99, 3.3, ["starts at 10 % vol"]),
        (5.5, 2.9, ["starts at 10 % vol"]),
        (12.0, 3.51, ["ends at pH 3.5"]),
        (18.0, 3.8, ["ends at pH 3.5"]),
        (6.0, 3.9, ["starts at 10 % vol", "ends at pH 3.5"]),
    ],
)
def test_no_dose_where_more_is_needed_than_is_printed(abv: float, ph: float, reasons: list[str]) -> None:
    answer = sorbic_dose(abv, ph)
    assert answer.dose_mg_per_l is None
    assert not answer.inside_table
    assert not answer.is_upper_bound
    assert answer.reason.startswith("outside the published table: it ")
    for reason in reasons:
        assert reason in answer.reason


@pytest.mark.parametrize(("abv", "ph"), [(-1.0, 3.3), (101.0, 3.3), (12.0, 15.0), (nan, 3.3), (12.0, nan)])
def test_what_is_no_drink_is_refused(abv: float, ph: float) -> None:
    with pytest.raises(OutOfRangeError):
        sorbic_dose(abv, ph)


def test_limits() -> None:
    """27 CFR 24.246, 2015: 300 mg/L; OIV II.3.4.5: 200; European Union: 200 (from memory, unverified)."""
    us, eu, none = (sorbic_limit(market) for market in (Market.US, Market.EU, Market.NONE))
    assert (us.mg_per_l, us.mark, us.edition) == (300.0, PUBLISHED, "2015 annual edition")
    assert (eu.mg_per_l, eu.mark) == (200.0, FROM_MEMORY)
    assert (none.mg_per_l, none.mark) == (200.0, PUBLISHED)
    assert "not as law" in none.note


@pytest.mark.parametrize(("sorbic", "salt"), [(300.0, 402.0), (200.0, 268.0)])
def test_limits_as_salt(sorbic: float, salt: float) -> None:
    """27 CFR 24.246 (2015) and OIV II.3.4.5 as milligrams of potassium sorbate (computed)."""
    assert 1000.0 * potassium_sorbate_g(sorbic, 1.0) == pytest.approx(salt, abs=0.5)


@given(sorbic=st.floats(0.0, 500.0), volume=st.floats(0.1, 1e4), purity=st.floats(0.5, 1.0), times=st.floats(0.1, 10.0))
def test_the_salt_is_linear_in_volume_and_comes_back(sorbic: float, volume: float, purity: float, times: float) -> None:
    mass = potassium_sorbate_g(sorbic, volume, purity)
    assert potassium_sorbate_g(sorbic, volume * times, purity) == pytest.approx(mass * times, rel=1e-12)
    back = sorbic_mg_per_l_from_potassium_sorbate(mass, volume, purity)
    assert back == pytest.approx(sorbic, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("bad", [-1.0, inf, nan])
def test_amounts_that_cannot_be(bad: float) -> None:
    refusals: tuple[Callable[[], object], ...] = (
        lambda: potassium_sorbate_g(bad, 20.0),
        lambda: potassium_sorbate_g(200.0, bad),
        lambda: potassium_sorbate_g(200.0, 20.0, bad),
        lambda: sorbic_mg_per_l_from_potassium_sorbate(bad, 20.0),
        lambda: sorbic_mg_per_l_from_potassium_sorbate(5.0, bad),
        lambda: sorbic_mg_per_l_from_potassium_sorbate(5.0, 20.0, bad),
    )
    for refused in refusals:
        with pytest.raises(InputError):
            refused()
    for purity in (0.0, 1.01, 99.0):
        with pytest.raises(InputError, match="purity"):
            potassium_sorbate_g(200.0, 20.0, purity)


@pytest.mark.parametrize("x", [-0.1, 1.1, nan])
def test_a_line_ends_with_its_points(x: float) -> None:
    with pytest.raises(OutOfRangeError):
        linear([(0.0, 1.0), (1.0, 2.0)], x)
