"""The paper calculation of the whole job against published rows and worked figures, so that it may judge the service.

The tables are those of `tests/data`; the source and the mark of every row stand in it. What stands here as a number is
computed, unless said otherwise.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.oracle.instruments import hydrometer_shows, refracto_density, solids_of, titrated_g_per_l_citric
from tests.oracle.liquids import bisect, sucrose_density_kg_m3
from tests.oracle.pour import Part, density_g_per_ml, load_compositions
from tests.oracle.whole_job import (
    ATM_BAR,
    CO2_PER_SUCROSE,
    DAP_NITROGEN_SHARE,
    PHOSPHATE_LIMIT_G_PER_L,
    Losses,
    Size,
    abv_by_real_extract,
    abv_of_two_gravities,
    bottle_bar,
    co2_after_g_per_l,
    ferment,
    fills,
    juice_litres,
    keg_gauge_bar,
    label_portion,
    least_and_most_units,
    must,
    pasteurising_minutes,
    solubility_g_per_l_bar,
    squeezed_air_bar,
    sucrose_must,
    swelling_share,
    third_of_sugar,
)

DATA = Path(__file__).parents[1] / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_honey_and_water_to_a_gravity() -> None:
    # Sucrose stands for honey in these rows (ICUMSA inversion), so 0.0002 is left for the kind of sugar.
    found = [r for r in rows("must_planning") if r["check"] == "honey and water for a target"]
    assert len(found) == 5
    for row in found:
        honey = Part("honey_average", 1000.0 * float(row["honey_kg"]))
        of = must([honey, Part("water_deionised", 998.2 * float(row["water_added_L"]))])
        assert of.gravity == pytest.approx(float(row["og_sg20_20"]), abs=2e-4)
        assert of.volume_l == pytest.approx(float(row["final_volume_L"]), rel=2e-3)
        assert of.plato == pytest.approx(float(row["degBx"]), abs=0.02)
    assert must([Part("honey_average", 1.0)]).share == pytest.approx((38.2 + 31.3 + 1.3 + 0.5 * 7.3) / 82.8)


def test_expected_end_of_a_ferment() -> None:
    found = [r for r in rows("must_planning") if r["fg_sg20_20"]]
    assert len(found) == 12
    for row in found:
        end = ferment(sucrose_must(float(row["og_sg20_20"]), float(row["fermentable_share"])))
        assert end.gravity == pytest.approx(float(row["fg_sg20_20"]), abs=6e-5)
        assert end.abv_percent == pytest.approx(float(row["abv_pct_vol"]), abs=6e-3)
    assert third_of_sugar(1.048, 0.997) == pytest.approx(1.031)
    assert pytest.approx(0.212, abs=5e-4) == DAP_NITROGEN_SHARE
    assert pytest.approx(0.96, abs=5e-3) == PHOSPHATE_LIMIT_G_PER_L


def test_strength_of_two_gravities() -> None:
    for row in rows("og_fg_abv"):
        original, final = float(row["og_sg20_20"]), float(row["fg_sg20_20"])
        if row["method"].startswith("mass balance"):
            end = abv_of_two_gravities(original, final)
            assert end.abv_percent == pytest.approx(float(row["abv20_pct_vol"]), abs=1e-4)
            assert end.volume_l == pytest.approx(float(row["volume_ratio_end_start"]), abs=6e-5)
        elif row["method"].startswith("RE"):
            told = float(row["abv_via_0_1808_rule_pct_vol"])
            assert abv_by_real_extract(original, final) == pytest.approx(told, abs=6e-3)


def test_carbon_dioxide() -> None:
    seen = 0
    for row in rows("co2_checks"):
        t, abv, sugar, c0, h, burned = (
            float(row[name] or 0.0)
            for name in ("temp_degC", "abv_pct_vol", "sugar_g_per_L", "c0_co2_g_per_L", "headspace_fraction",
                         "hexose_burned_g_per_L")
        )  # fmt: skip
        if row["check"] in ("solubility", "solubility, water"):
            assert solubility_g_per_l_bar(t, abv, sugar) == pytest.approx(float(row["k_g_per_L_bar"]), rel=2e-4)
        elif row["check"] in ("bottle pressure after refermentation", "sugar needed to reach a pressure"):
            bar = bottle_bar(co2_after_g_per_l(c0, burned), t, abv, sugar, h)
            assert bar == pytest.approx(float(row["pressure_bar"]), rel=3e-4)
        elif row["check"] == "keg, gauge pressure":
            gauge = keg_gauge_bar(float(row["co2_volumes"]), t, abv, sugar)
            assert gauge + ATM_BAR == pytest.approx(float(row["pressure_bar"]) + ATM_BAR, rel=2e-4)
        else:
            continue
        seen += 1
    assert seen > 60
    # 24 g/L sucrose, 12.5 % vol, 4 % headspace, 10 °C: about 6 bar, a rule of sparkling wine, from memory, unverified.
    held = co2_after_g_per_l(0.5, 24.0, CO2_PER_SUCROSE)
    assert bottle_bar(held, 10.0, 12.5, 0.0, 0.04) == pytest.approx(6.0, rel=0.07)


def test_heat_and_the_room_above_the_drink() -> None:
    for row in rows("pasteurisation_units"):
        minutes = pasteurising_minutes(float(row["pasteurisation_units_PU"]), float(row["temp_degC"]))
        assert minutes == pytest.approx(float(row["time_min"]), rel=0.03)
    # Water alone, without the seventh more for alcohol: 4 to 40 °C 0.78 %, 20 to 65 °C 1.80 %, 20 to 70 °C 2.09 %.
    for t1, t2, percent in ((4.0, 40.0, 0.78), (20.0, 65.0, 1.80), (20.0, 70.0, 2.09)):
        assert 100.0 * swelling_share(t1, t2) / 1.15 == pytest.approx(percent, abs=6e-3)
    assert squeezed_air_bar(20.0, 70.0, 0.024) == float("inf")
    assert squeezed_air_bar(20.0, 20.0, 0.05) == pytest.approx(ATM_BAR)
    assert least_and_most_units([(0.0, 60.0), (20.0, 60.0)]) == pytest.approx((20.0, 20.0))
    assert least_and_most_units([(0.0, 60.0), (10.0, 65.0), (20.0, 65.0)]) == pytest.approx((62.4, 104.9), abs=0.1)


def test_label() -> None:
    found = [row for row in rows("label_worked_examples") if row["check"] == "label"]
    assert len(found) == 2
    for row in found:
        held = label_portion(
            *(float(row[name]) for name in ("serving_mL", "abv_pct_vol", "sugar_g_per_L", "acid_g_per_L"))
        )
        told = [float(row[name]) for name in ("energy_kcal", "energy_kJ", "sugar_g", "ethanol_g")]
        assert [held.kcal, held.kj, held.sugar_g, held.ethanol_g] == pytest.approx(told, abs=0.051)
        drinks = [float(row[name]) for name in ("us_drinks", "uk_units", "au_drinks")]
        assert [held.drinks[size] for size in ("us", "uk", "au")] == pytest.approx(drinks, abs=6e-3)


def test_single_strength_juice() -> None:
    # 21 CFR 101.30 (2015): 2.0 L of orange concentrate of 41.8 °Bx are 8.03 L; 40 g citric acid of lemon concentrate
    # are 40/(45 g/kg x 1.03 kg/L) = 0.86 L; pressed lemon counts by its volume (computed).
    two_litres_g = 2000.0 * sucrose_density_kg_m3(0.418) / 1000.0
    assert juice_litres(Part("orange_juice_concentrate_frozen", two_litres_g, brix=41.8)) == pytest.approx(
        8.03, abs=6e-3
    )
    lemon = load_compositions()["lemon_juice_concentrate_400"]
    forty_grams = Part(lemon, 4000.0 / lemon.ta_g_citric_per_100g)
    assert juice_litres(forty_grams) == pytest.approx(0.863, abs=1e-3)
    pressed = 750.0 * density_g_per_ml(load_compositions()["lemon_juice_fresh"])
    assert juice_litres(Part("lemon_juice_fresh", pressed)) == pytest.approx(0.75)


# Grams per litre of sugar and % vol behind the liquids of the table of hydrometer readings.
LIQUIDS = {"12 % vol, 20 g/L": (12.0, 20.0), "14 % vol, 120 g/L": (14.0, 120.0)}


def _more_solids_than(sugar_g_per_l: float, abv_percent: float) -> Callable[[float], float]:
    return lambda gravity: solids_of(gravity, abv_percent)[2] - sugar_g_per_l


def test_hydrometer_at_another_temperature() -> None:
    seen = 0
    for row in rows("hydrometer_temperature"):
        if row["check"] != "SG hydrometer 20/20":
            continue
        abv, sugar = LIQUIDS.get(row["liquid"], (0.0, 0.0))
        known = {"water": 1.0, "must SG 1.100": 1.1}.get(row["liquid"])
        gravity = known or bisect(_more_solids_than(sugar, abv), 0.99, 1.1, "gravity")
        correction = gravity - hydrometer_shows(gravity, abv, float(row["temp_degC"]))
        told = row["correction_to_add_sg"]
        assert correction == pytest.approx(float(told), abs=6e-5), row
        seen += 1
    assert seen == 28


def test_refractometer_in_a_drink_with_alcohol() -> None:
    for row in rows("refracto_density"):
        sugar, ethanol, acid = (float(row[f"{n}_mass_pct"]) for n in ("sugar", "ethanol", "citric_acid"))
        gravity, brix = refracto_density(sugar, ethanol, acid)
        assert gravity == pytest.approx(float(row["sg20_20"]), abs=6e-5)
        assert brix == pytest.approx(float(row["refractometer_degBx"]), abs=6e-3)


def test_titration() -> None:
    assert titrated_g_per_l_citric(10.0, 0.1, 10.0) == pytest.approx(6.40, abs=0.005)


def test_losses_and_their_inverse() -> None:
    losses = Losses(0.04, 0.01, 0.2, 0.3, 0.2)
    assert losses.packaged(25.0) == pytest.approx(25.0 * 0.96 * 0.99 * 0.8 - 0.5)
    assert losses.blend(losses.packaged(25.0)) == pytest.approx(25.0)


@pytest.mark.parametrize(
    ("litres", "fill_ml", "count"),
    [
        (25, 330, 75), (25, 500, 50), (25, 750, 33), (20, 330, 60), (12, 750, 16), (4.5, 330, 13), (4.5, 750, 6),
    ],
)  # fmt: skip
def test_counts_of_one_size(litres: float, fill_ml: float, count: int) -> None:
    assert fills([Size(fill_ml)], 1000.0 * litres) == (count,)


def test_counts_of_several_sizes() -> None:
    assert fills([Size(10_000.0, count=1), Size(330.0)], 19_500.0) == (1, 28)
    assert fills([Size(500.0), Size(750.0)], 4_396.7) == (1, 5)  # 4.25 L in 6, not in 8
    assert fills([Size(250.0, most=2), Size(750.0)], 27_751.0) == (0, 37)
    assert fills([Size(1000.0, count=5)], 4_999.0) is None
