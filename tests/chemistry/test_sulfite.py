from __future__ import annotations

import itertools
from collections.abc import Callable
from math import inf, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.chemistry.sulfite import (
    BISULFITE_SO2_SHARE,
    DEFAULT_SO2_SHARE,
    METABISULFITE_POTASSIUM_SHARE,
    METABISULFITE_SO2_SHARE,
    PK_SOURCE_KEYS,
    SO2_PK_CONVENTION,
    PkBasis,
    free_so2_for_molecular_mg_per_l,
    metabisulfite_g,
    molecular_so2_mg_per_l,
    oiv_thermodynamic_pk,
    so2_mg_per_l_from_metabisulfite,
    so2_pk,
    total_addition_for_free,
)
from service.chemistry.sulfite_limits import (
    FROM_MEMORY,
    PUBLISHED,
    LegalClass,
    Market,
    WineColour,
    sulfite_limits,
)
from service.errors import InputError, OutOfRangeError

HYDROGEN, OXYGEN, SULFUR, POTASSIUM = 1.008, 15.999, 32.06, 39.0983  # IUPAC standard atomic weights
SULFUR_DIOXIDE = SULFUR + 2 * OXYGEN
AMOUNTS = st.floats(0.0, 500.0)
PHS = st.floats(2.0, 5.0)
PKS = st.floats(1.5, 2.5)


def test_yields_of_the_salts() -> None:
    """Formula arithmetic; the bisulfite against OIV COEI-1-POTBIS, 53.30 % SO2."""
    metabisulfite = 2 * POTASSIUM + 2 * SULFUR + 5 * OXYGEN
    assert pytest.approx(2 * SULFUR_DIOXIDE / metabisulfite, abs=5e-5) == METABISULFITE_SO2_SHARE
    assert pytest.approx(2 * POTASSIUM / metabisulfite, abs=5e-5) == METABISULFITE_POTASSIUM_SHARE
    bisulfite = POTASSIUM + HYDROGEN + SULFUR + 3 * OXYGEN
    assert pytest.approx(SULFUR_DIOXIDE / bisulfite, abs=2e-4) == BISULFITE_SO2_SHARE
    assert DEFAULT_SO2_SHARE < METABISULFITE_SO2_SHARE


def test_convention_holds_whatever_the_drink() -> None:
    """1.81 at any strength and temperature: common practice, no source."""
    assert so2_pk(PkBasis.CONVENTION, 80.0, 40.0) == so2_pk(PkBasis.CONVENTION, 10.0, 6.0) == 1.81


def test_the_convention_asks_for_about_two_fifths_more() -> None:
    """Against the corrected pK of a drink of 12 % vol at 20 °C (computed)."""
    corrected = free_so2_for_molecular_mg_per_l(0.8, 3.6, so2_pk(PkBasis.THERMO, 20.0, 12.0))
    assert free_so2_for_molecular_mg_per_l(0.8, 3.6, SO2_PK_CONVENTION) / corrected == pytest.approx(1.4, abs=0.02)


def test_in_a_weak_cold_drink_the_convention_asks_for_too_little() -> None:
    """5 % vol at 10 °C, pK 1.73 (computed): the convention is the careful side at the strength of wine only."""
    corrected = free_so2_for_molecular_mg_per_l(0.8, 3.6, so2_pk(PkBasis.THERMO, 10.0, 5.0))
    by_convention = free_so2_for_molecular_mg_per_l(0.8, 3.6, SO2_PK_CONVENTION)
    assert corrected / by_convention == pytest.approx(1.19, abs=0.01)


def test_half_is_molecular_where_ph_is_pk() -> None:
    assert molecular_so2_mg_per_l(30.0, 2.2, 2.2) == pytest.approx(15.0)


@given(free=st.floats(1.0, 300.0), ph=PHS, pk=PKS, step=st.floats(0.01, 0.5))
def test_molecular_falls_with_ph_and_rises_with_pk(free: float, ph: float, pk: float, step: float) -> None:
    here = molecular_so2_mg_per_l(free, ph, pk)
    assert 0.0 < here < free
    assert here < molecular_so2_mg_per_l(free, ph, pk + step)
    if ph + step <= 5.0:
        assert here > molecular_so2_mg_per_l(free, ph + step, pk)


@given(molecular=st.floats(0.0, 3.0), ph=PHS, pk=PKS)
def test_free_and_molecular_are_inverses(molecular: float, ph: float, pk: float) -> None:
    free = free_so2_for_molecular_mg_per_l(molecular, ph, pk)
    assert molecular_so2_mg_per_l(free, ph, pk) == pytest.approx(molecular, rel=1e-9, abs=1e-12)


@given(temperature=st.floats(0.0, 39.0), abv=st.floats(0.0, 19.0), ionic=st.floats(0.0, 0.2))
def test_the_thermo_pk_rises_with_warmth_and_ethanol_and_falls_with_salt(
    temperature: float, abv: float, ionic: float
) -> None:
    here = so2_pk(PkBasis.THERMO, temperature, abv, ionic)
    assert here < so2_pk(PkBasis.THERMO, temperature + 1.0, abv, ionic)
    assert here < so2_pk(PkBasis.THERMO, temperature, abv + 1.0, ionic)
    assert here > so2_pk(PkBasis.THERMO, temperature, abv, ionic + 0.01)


def test_between_the_points_of_the_oiv_table() -> None:
    """Halfway between 0 and 5 % vol, 20 and 25 °C: the mean of the four figures of OIV-MA-AS323-04C, table I."""
    assert oiv_thermodynamic_pk(22.5, 2.5) == pytest.approx((1.798 + 2.000 + 1.897 + 2.098) / 4)


@given(temperature=st.floats(20.0, 40.0), abv=st.floats(0.0, 15.0))
def test_the_oiv_pk_stays_within_its_table(temperature: float, abv: float) -> None:
    assert 1.798 <= oiv_thermodynamic_pk(temperature, abv) <= 2.728


@pytest.mark.parametrize(
    ("basis", "temperature", "abv", "ionic"),
    [
        (PkBasis.OIV, 19.9, 12.0, 0.038),
        (PkBasis.OIV, 40.1, 12.0, 0.038),
        (PkBasis.OIV, 20.0, 15.1, 0.038),
        (PkBasis.OIV, 20.0, -0.1, 0.038),
        (PkBasis.OIV, 20.0, 12.0, 0.6),
        (PkBasis.THERMO, -1.0, 12.0, 0.038),
        (PkBasis.THERMO, 41.0, 12.0, 0.038),
        (PkBasis.THERMO, 20.0, 21.0, 0.038),
        (PkBasis.THERMO, nan, 12.0, 0.038),
        (PkBasis.THERMO, 20.0, 12.0, -0.01),
    ],
)
def test_no_pk_is_extrapolated(basis: PkBasis, temperature: float, abv: float, ionic: float) -> None:
    with pytest.raises(OutOfRangeError):
        so2_pk(basis, temperature, abv, ionic)


def test_the_oiv_refusal_says_what_to_take_instead() -> None:
    with pytest.raises(OutOfRangeError, match="'thermo' or 'convention'"):
        so2_pk(PkBasis.OIV, 12.0, 12.0)


def test_every_basis_names_its_source() -> None:
    assert set(PK_SOURCE_KEYS) == set(PkBasis)


@pytest.mark.parametrize("ph", [1.9, 5.1, nan])
def test_ph_out_of_range(ph: float) -> None:
    with pytest.raises(OutOfRangeError):
        molecular_so2_mg_per_l(30.0, ph, 1.81)
    with pytest.raises(OutOfRangeError):
        free_so2_for_molecular_mg_per_l(0.8, ph, 1.81)


@given(so2=AMOUNTS, volume=st.floats(0.1, 1e4), share=st.floats(0.3, 0.576), times=st.floats(0.1, 10.0))
def test_the_salt_is_linear_in_volume_and_comes_back(so2: float, volume: float, share: float, times: float) -> None:
    mass = metabisulfite_g(so2, volume, share)
    assert metabisulfite_g(so2, volume * times, share) == pytest.approx(mass * times, rel=1e-12)
    assert so2_mg_per_l_from_metabisulfite(mass, volume, share) == pytest.approx(so2, rel=1e-9, abs=1e-12)


def test_older_salt_means_more_of_it() -> None:
    """50 % instead of 57 %: common practice, no source."""
    assert metabisulfite_g(50.0, 20.0, 0.50) / metabisulfite_g(50.0, 20.0, 0.57) == pytest.approx(1.14)


@pytest.mark.parametrize("share", [0.0, -0.5, 0.58, 1.0, 57.0, nan])
def test_a_yield_that_no_metabisulfite_has(share: float) -> None:
    with pytest.raises(InputError, match="not potassium metabisulfite"):
        metabisulfite_g(50.0, 20.0, share)
    with pytest.raises(InputError, match="not potassium metabisulfite"):
        so2_mg_per_l_from_metabisulfite(2.0, 20.0, share)


@pytest.mark.parametrize("amount", [-1.0, inf, nan])
def test_amounts_that_cannot_be(amount: float) -> None:
    refusals: tuple[Callable[[], object], ...] = (
        lambda: molecular_so2_mg_per_l(amount, 3.4, 1.81),
        lambda: free_so2_for_molecular_mg_per_l(amount, 3.4, 1.81),
        lambda: metabisulfite_g(amount, 20.0),
        lambda: metabisulfite_g(50.0, amount),
        lambda: so2_mg_per_l_from_metabisulfite(amount, 20.0),
        lambda: so2_mg_per_l_from_metabisulfite(2.0, amount),
        lambda: total_addition_for_free(amount, 0.0, 0.4),
        lambda: total_addition_for_free(40.0, amount, 0.4),
        lambda: sulfite_limits(Market.EU, LegalClass.GRAPE_WINE, amount),
    )
    for refused in refusals:
        with pytest.raises(InputError):
            refused()
    with pytest.raises(InputError):
        so2_mg_per_l_from_metabisulfite(2.0, 0.0)


@given(wanted=AMOUNTS, now=AMOUNTS, share=st.floats(0.0, 0.89))
def test_what_is_not_bound_arrives(wanted: float, now: float, share: float) -> None:
    added = total_addition_for_free(wanted, now, share)
    assert now + (1.0 - share) * added == pytest.approx(max(wanted, now))
    assert added >= 0.0


@pytest.mark.parametrize("share", [-0.01, 0.9, 1.0, nan])
def test_bound_share_out_of_range(share: float) -> None:
    with pytest.raises(OutOfRangeError, match="bound"):
        total_addition_for_free(40.0, 10.0, share)


@pytest.mark.parametrize("lot_class", LegalClass)
def test_us_limit_and_declaration(lot_class: LegalClass) -> None:
    """27 CFR 4.22(b)(1) and 4.32(e), 2015 annual edition: 350 ppm; declared at 10 ppm or more."""
    (limit,) = sulfite_limits(Market.US, lot_class)
    assert (limit.mg_per_l, limit.mark, limit.edition) == (350.0, PUBLISHED, "2015 annual edition")
    declaration = limit.declaration
    assert declaration.comparison == "at or above"
    assert [declaration.is_due(total) for total in (9.9, 10.0, 10.1)] == [False, True, True]


@pytest.mark.parametrize("lot_class", sorted(set(LegalClass) - {LegalClass.GRAPE_WINE}))
def test_eu_limit_of_other_drinks(lot_class: LegalClass) -> None:
    """Regulation (EC) No 1333/2008, Annex II, 14.2.3 to 14.2.5: 200 mg/L, from memory, unverified."""
    (limit,) = sulfite_limits(Market.EU, lot_class)
    assert (limit.mg_per_l, limit.mark) == (200.0, FROM_MEMORY)
    assert "1333/2008" in limit.regulation


@pytest.mark.parametrize("lot_class", LegalClass)
def test_eu_declaration_is_due_only_above(lot_class: LegalClass) -> None:
    """Regulation (EU) No 1169/2011, Annex II: more than 10 mg/L (weak secondary source)."""
    (limit,) = sulfite_limits(Market.EU, lot_class)
    assert limit.declaration.comparison == "above"
    assert [limit.declaration.is_due(total) for total in (10.0, 10.1)] == [False, True]


@pytest.mark.parametrize(
    ("colour", "sugar", "mg_per_l"),
    [
        (WineColour.RED, 4.9, 150.0),
        (WineColour.WHITE_OR_ROSE, 4.9, 200.0),
        (WineColour.RED, 5.0, 200.0),
        (WineColour.WHITE_OR_ROSE, 5.0, 250.0),
    ],
)
def test_eu_grape_wine(colour: WineColour, sugar: float, mg_per_l: float) -> None:
    """Regulation (EU) 2019/934, Annex I B."""
    (limit,) = sulfite_limits(Market.EU, LegalClass.GRAPE_WINE, sugar, colour)
    assert (limit.mg_per_l, limit.mark) == (mg_per_l, PUBLISHED)
    assert "for want of" not in limit.note


def test_eu_grape_wine_takes_the_lower_limit_for_what_is_not_known() -> None:
    """Regulation (EU) 2019/934, Annex I B: the lowest of its four figures is 150, of the sweet ones 200."""
    (nothing,) = sulfite_limits(Market.EU, LegalClass.GRAPE_WINE)
    (sweet,) = sulfite_limits(Market.EU, LegalClass.GRAPE_WINE, 60.0)
    (white,) = sulfite_limits(Market.EU, LegalClass.GRAPE_WINE, None, WineColour.WHITE_OR_ROSE)
    assert [limit.mg_per_l for limit in (nothing, sweet, white)] == [150.0, 200.0, 200.0]
    assert "for want of: colour, sugar." in nothing.note
    assert "for want of: colour." in sweet.note
    assert "for want of: sugar." in white.note


@pytest.mark.parametrize("lot_class", LegalClass)
def test_without_a_market_the_lowest_comes_first_as_a_caution(lot_class: LegalClass) -> None:
    limits = sulfite_limits(Market.NONE, lot_class)
    by_law = [*sulfite_limits(Market.US, lot_class), *sulfite_limits(Market.EU, lot_class)]
    assert limits[0].mg_per_l == min(limit.mg_per_l for limit in by_law)
    assert "not as law" in limits[0].note
    assert {limit.market for limit in limits} == {Market.NONE}
    assert all(limit.declaration.is_due(10.0) for limit in limits)
    assert all(low.mg_per_l <= high.mg_per_l for low, high in itertools.pairwise(limits))


def test_codex_figures() -> None:
    """Codex GSFA 14.2.3 grape wine 350 mg/kg (published), 14.2.5 mead 200 (from memory, unverified)."""
    codex = {
        lot_class: [x for x in sulfite_limits(Market.NONE, lot_class) if x.source_key == "codex_gsfa"]
        for lot_class in LegalClass
    }
    assert [(x.mg_per_l, x.mark) for x in codex[LegalClass.GRAPE_WINE]] == [(350.0, PUBLISHED)]
    assert [(x.mg_per_l, x.mark) for x in codex[LegalClass.MEAD]] == [(200.0, FROM_MEMORY)]
    assert codex[LegalClass.FRUIT_WINE] == codex[LegalClass.CIDER_PERRY] == []
