"""Dyes: absorbance against figures worked by hand, ratios of unlisted colours, laws, and what is said about haze."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.chemistry.dyes import (
    DYES,
    Absorptivity,
    absorbance,
    concentration_mg_per_l_from_absorbance,
    dye_mg_from_stock_ml,
    dye_named,
)
from service.errors import InputError
from tests.planner.bench_cases import BLUE, DROPS, LEMON, LOT, YELLOW, trial

TARTRAZINE, BLUE_1 = DYES["tartrazine"], DYES["brilliant_blue_fcf"]


@pytest.mark.parametrize(
    ("dye", "wavelength_nm", "per_mg_per_l", "half_mg_per_l"),
    # 530 and 1630 for 1 g/100 mL (JECFA, Regulation (EU) No 231/2012, from memory); mg/L for 0.5 is computed
    [(TARTRAZINE, 426.0, 0.053, 9.4), (BLUE_1, 630.0, 0.163, 3.1)],
)
def test_absorbance_of_a_milligram_in_a_litre(
    dye: object, wavelength_nm: float, per_mg_per_l: float, half_mg_per_l: float
) -> None:
    (at,) = dye.absorptivities  # type: ignore[attr-defined]
    assert at.wavelength_nm == wavelength_nm
    assert absorbance(1.0, at) == pytest.approx(per_mg_per_l, rel=1e-9)
    assert concentration_mg_per_l_from_absorbance(0.5, at) == pytest.approx(half_mg_per_l, abs=0.05)


@given(st.floats(0.0, 500.0), st.floats(0.1, 20.0), st.floats(1.0, 5000.0))
def test_absorbance_and_back(c: float, depth: float, e: float) -> None:
    at = Absorptivity(500.0, e)
    assert concentration_mg_per_l_from_absorbance(absorbance(c, at, depth), at, depth) == pytest.approx(c, abs=1e-9)
    assert absorbance(c, at, 2.0 * depth) == pytest.approx(2.0 * absorbance(c, at, depth))


def test_least_colour_of_the_powder_for_sale() -> None:
    # 21 CFR 74.705 and 74.101, 2015 annual edition
    assert (TARTRAZINE.least_total_colour_percent, BLUE_1.least_total_colour_percent) == (87.0, 85.0)
    assert dye_mg_from_stock_ml(1.0, 1.0, 87.0) == pytest.approx(8.7)


@pytest.mark.parametrize("name", ["Tartrazine", "FD&C Yellow No. 5", "yellow 5", "E 102", "E102"])
def test_names_of_tartrazine(name: str) -> None:
    assert dye_named(name) is TARTRAZINE


@pytest.mark.parametrize("name", ["yellow", "turmeric", "", "E 1020", "Yellow 6"])
def test_other_colours_are_not_on_file(name: str) -> None:
    assert dye_named(name) is None


def test_figures_below_nothing_are_refused() -> None:
    with pytest.raises(InputError):
        absorbance(-1.0, TARTRAZINE.absorptivities[0])
    with pytest.raises(InputError, match="larger than zero"):
        concentration_mg_per_l_from_absorbance(1.0, TARTRAZINE.absorptivities[0], 0.0)


def test_two_dyes_in_a_clear_drink() -> None:
    # 0.2 mL of 1 % is 2 mg and 0.5 mL of 0.1 % is 0.5 mg in 200.7 mL
    answer = trial(YELLOW, BLUE, base="200 mL", glass={"depth_cm": 6.0})
    yellow, blue = answer.colour
    assert yellow.glass_mg_per_l == pytest.approx(2.0 / 0.2007, rel=1e-4)
    assert blue.glass_mg_per_l == pytest.approx(0.5 / 0.2007, abs=1e-3)
    assert yellow.batch_mg_per_l == pytest.approx(yellow.glass_mg_per_l, rel=1e-6)
    at_426, at_630 = answer.absorbance
    assert at_426.per_cm == pytest.approx(0.053 * 2.0 / 0.2007, abs=1e-4)
    assert at_630.per_cm == pytest.approx(0.163 * 0.5 / 0.2007, abs=1e-4)
    assert at_426.at_depth == pytest.approx(6.0 * at_426.per_cm, abs=4e-4)
    assert (at_426.counted, at_426.not_counted) == (("yellow",), ("blue",))


def test_the_interval_is_that_of_the_drops() -> None:
    # one drop of four is a quarter; 90 % is 1.645 of it to either side
    (yellow,) = trial(YELLOW, base="200 mL").colour
    assert yellow.glass_mg_per_l is not None
    assert yellow.low_mg_per_l == pytest.approx(yellow.glass_mg_per_l * (1.0 - 1.645 / 4.0), rel=1e-3)
    assert yellow.high_mg_per_l == pytest.approx(yellow.glass_mg_per_l * (1.0 + 1.645 / 4.0), rel=1e-3)


def test_dyes_of_known_absorptivity_add_up_at_one_wavelength() -> None:
    own = [{"wavelength_nm": 426, "e_1_percent_1_cm": 100}, {"wavelength_nm": 500, "e_1_percent_1_cm": 900}]
    red = {"name": "red", "dye": {"name": "ours", "percent_w_v": 1, "absorptivity": own}, "amount": "0.2 mL"}
    answer = trial(YELLOW, red, base="200 mL")
    at_426, at_500 = answer.absorbance
    mg_per_l = 2.0 / 0.2004
    assert at_426.per_cm == pytest.approx((0.053 + 0.010) * mg_per_l, abs=1e-4)
    assert at_500.per_cm == pytest.approx(0.090 * mg_per_l, abs=1e-4)
    assert at_426.counted == ("yellow", "red")
    assert at_500.not_counted == ("yellow",)


def test_a_weaker_powder_colours_less() -> None:
    weak = {**YELLOW, "dye": {"name": "tartrazine", "percent_w_v": 1, "total_colour_percent": 87}}
    (full,), (less,) = trial(YELLOW).colour, trial(weak).colour
    assert less.glass_mg_per_l == pytest.approx(0.87 * (full.glass_mg_per_l or 0.0), rel=1e-4)
    assert "total colour" in " ".join(a.what for a in trial(YELLOW).assumed)
    assert "total colour" not in " ".join(a.what for a in trial(weak).assumed)


def test_of_an_unlisted_colour_only_the_ratio_is_scaled() -> None:
    answer = trial(DROPS, base="200 mL")
    (green,) = answer.colour
    assert green.batch_ml == pytest.approx(25.0, abs=1e-3)
    assert green.glass_mg_per_l is None
    assert green.batch_mg_per_l is None
    assert answer.absorbance == ()
    assert "only the ratio" in green.text
    assert green.limits == ()
    codes = {c.code for c in answer.cautions}
    assert {"natural_colours_fade", "colour_last", "absorbance_of_the_dye_alone"} <= codes
    assert "tartrazine_is_declared" not in codes


def test_a_hazy_drink_is_matched_by_eye() -> None:
    clear = trial(YELLOW)
    assert clear.absorbance
    for hazy in (trial(YELLOW, glass={"haze": True}), trial(YELLOW, LEMON)):
        assert hazy.absorbance == ()
        (caution,) = [c for c in hazy.cautions if c.code == "haze_scatters_light"]
        assert "same glass and depth" in caution.text
    assert trial(YELLOW, LEMON, glass={"haze": False}).absorbance
    assert "haze_scatters_light" in {c.code for c in trial(LEMON).cautions}
    assert "haze_scatters_light" not in {c.code for c in clear.cautions}


def test_laws_come_with_their_edition_and_mark() -> None:
    (yellow,) = trial(YELLOW).colour
    us, eu = yellow.limits
    assert us.regulation == "21 CFR 74.705, 2015 annual edition"
    assert us.limit_mg_per_l is None
    assert us.mark == "published"
    assert "declared" in us.text
    assert (eu.limit_mg_per_l, eu.mark, eu.exceeded) == (200.0, "memory", False)
    assert "From memory" in eu.text
    (soft,) = trial(YELLOW, lot={**LOT, "gravity": 1.02, "abv_percent": 0.5}).colour
    assert soft.limits[1].limit_mg_per_l == 100.0


def test_all_dyes_on_file_count_together_against_the_limit() -> None:
    much = [{**d, "dye": {**d["dye"], "percent_w_v": 3}, "amount": "0.4 mL"} for d in (YELLOW, BLUE)]
    answer = trial(*much)  # 120 mg/L of each
    yellow, blue = answer.colour
    assert yellow.batch_mg_per_l is not None
    assert yellow.batch_mg_per_l < 200.0 < (yellow.limits[1].ours_mg_per_l or 0.0)
    assert yellow.limits[1].exceeded
    assert blue.limits[1].exceeded
    assert "colour_above_remembered_limit" in {c.code for c in answer.cautions}
    assert "colour_above_remembered_limit" not in {c.code for c in trial(YELLOW).cautions}


def test_a_dye_changes_nothing_but_colour_and_its_water() -> None:
    with_dye, without = trial(YELLOW, base="200 mL"), trial(base="200 mL")
    # 0.2 mL of water in 200
    assert with_dye.glass.predicted.abv_percent.value == pytest.approx(
        without.glass.predicted.abv_percent.value * 200.0 / 200.2, abs=2e-3
    )
