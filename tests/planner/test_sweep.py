"""Sweeps of one unknown: the same amounts as one question at a time, and as an independent reckoning of the volume."""

from __future__ import annotations

import random
from functools import lru_cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import brentq

from service.catalogue.lookup import get_ingredient
from service.errors import InputError, ServiceError, UnknownIngredientError
from service.model.contents import contents_per_g
from service.model.lot import Lot, LotReadings, lot_from_readings
from service.model.lot_class import DRY_EXTRACT, LotClass
from service.model.lot_rows import LotState, litres_from_readings
from service.physics.mixture import density_g_ml, volume_sums
from service.physics.mixture_arrays import density_of_many_g_ml, is_liquid_of_many
from service.physics.root_rows import roots_between, roots_near_or_between
from service.physics.solutes import SOLUTE_LAWS, Component
from service.planner import sweep
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, TargetAsked
from service.planner.plan_report import SOLVER_SHARE
from service.planner.single import amount_for
from service.planner.sweep import REASONS, SWEPT, LotRows, RowState, amounts_for, drinks_after, joined

# OIML R 22 (1975), general formula, coefficients A_1 … A_12 at 20 °C (also Council Directive 76/766/EEC, Annex, §4)
OIML_A = (
    998.20123, -192.9769495, 389.1238958, -1668.103923, 13522.15441, -88292.78388, 306287.4042, -613838.1234,
    747017.2998, -547846.1354, 223446.0334, -39032.85426,
)  # fmt: skip
# ICUMSA SPS-4; Bubník et al., Sugar Technologists Manual (1995), p. 164: a_01 … a_06, water of the same at 20 °C
ICUMSA_A = (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890)
ICUMSA_WATER = np.polynomial.polynomial.polyval(
    20.0, (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)
) / (1.0 + 16.887236e-3 * 20.0)
ETHANOL_KG_M3 = 789.24  # OIML R 22 (1975), pure ethanol at 20 °C


def volume_on_paper_ml(water: float, ethanol: float, solids: dict[Component, float]) -> float:
    """The binary sum by the published formulas themselves, with numpy's polynomials."""
    p = ethanol / (water + ethanol)
    liquor_ml = 1000.0 * (water + ethanol) / float(np.polynomial.polynomial.polyval(p, OIML_A))
    dry = sum(solids.values())
    w = dry / (water + dry)
    syrup = ICUMSA_WATER + float(np.polynomial.polynomial.polyval(w, (0.0, *ICUMSA_A)))
    # sucrose in solution: what its volume adds to that of the water, for each gram
    sucrose_ml = 0.0 if w == 0.0 else float(1000.0 / syrup - (1.0 - w) * 1000.0 / ICUMSA_WATER) / w
    total: float = liquor_ml
    for component, mass in solids.items():
        law = SOLUTE_LAWS[component]
        total += mass * (law.on_sucrose * sucrose_ml + law.constant + law.linear * w + law.quadratic * w * w)
    return total


@lru_cache(maxsize=2000)
def lot_of(volume_l: float, gravity: float, abv_percent: float, lot_class: LotClass = LotClass.MEAD) -> Lot:
    return lot_from_readings("lot", LotReadings(volume_l, None, gravity, abv_percent, lot_class))


def one_by_one(name: str, target: float, lot: Lot, ingredient: str) -> float:
    """The amount by the planner, whose figure is rounded to a tenth of a milligram."""
    asked = TargetAsked(name, target, target, target, f"{target:g}")
    addition = AdditionAsked(get_ingredient(ingredient))
    return amount_for(asked, LotAsked(lot, lot.volume_l, lot.volume_l), addition, Circumstances())[0]


def drawn_lots(count: int, seed: int) -> LotRows:
    """Large lots, so that a tenth of a milligram is less than 1e-10 of what is added."""
    dice = np.random.default_rng(seed)
    abv = dice.uniform(0.0, 18.0, count)
    gravity = 1.0 - 0.0012 * abv + dice.uniform(0.0, 0.06, count)
    return LotRows(10.0 ** dice.uniform(4.5, 6.5, count), gravity, abv)


CASES = [
    ("gravity", "honey_average", 0.001, 0.06),
    ("gravity", "sugar_white", 0.001, 0.10),
    ("gravity", "apple_juice_concentrate_70", 0.001, 0.04),
    ("gravity", "citric_acid_anhydrous", 0.001, 0.01),
    ("gravity", "water_tap", -0.02, 0.0),
    ("gravity", "neutral_spirit_40", -0.03, -0.001),
    ("abv_percent", "neutral_spirit_96", 0.1, 10.0),
    ("abv_percent", "water_tap", -9.0, -0.1),
    ("abv_percent", "orange_juice_fresh", -9.0, -0.1),
    ("extract_g_per_l", "honey_acacia", 30.0, 120.0),
    ("sugar_g_per_l", "honey_acacia", 1.0, 120.0),
    ("fermentable_sugar_g_per_l", "agave_syrup", 1.0, 120.0),
    ("sucrose_equivalent_g_per_l", "fructose_crystalline", 1.0, 120.0),
    ("juice_percent", "orange_juice_concentrate_65", -39.0, 20.0),
    ("citrus_percent", "lemon_juice_concentrate_400", -39.0, -10.0),
    ("energy_kcal_per_100ml", "sugar_white", 50.0, 90.0),
]  # fmt: skip


@pytest.mark.parametrize(("name", "ingredient", "least", "most"), CASES)
def test_a_sweep_gives_the_amounts_of_single_questions(name: str, ingredient: str, least: float, most: float) -> None:
    lots = drawn_lots(24, seed=len(ingredient))
    start = drinks_after(0.0, lots, ingredient)
    target = getattr(start, name, np.full(24, 40.0)) + np.random.default_rng(7).uniform(least, most, 24)
    found = amounts_for(name, target, lots, ingredient)
    compared = 0
    for row in np.flatnonzero(found.reached):
        lot = lot_of(*(float(np.asarray(column)[row]) for column in (lots.volume_l, lots.gravity, lots.abv_percent)))
        mass_g = one_by_one(name, float(target[row]), lot, ingredient)
        assert found.mass_g[row] == pytest.approx(mass_g, rel=1e-9, abs=1e-4)
        compared += 1
    assert compared >= 8


def mixed_on_paper(litre: dict[Component, float], per_g: dict[Component, float], mass_g: float) -> tuple[float, float]:
    """Volume and alcohol of a litre with some grams in it [mL, g]."""
    whole = {c: litre.get(c, 0.0) + mass_g * per_g.get(c, 0.0) for c in Component}
    water, ethanol = whole.pop(Component.WATER), whole.pop(Component.ETHANOL)
    return volume_on_paper_ml(water, ethanol, whole), ethanol


def test_amounts_by_the_published_formulas() -> None:
    """Root of the density formulas themselves by Brent's method (scipy): 1e-10 of the amount, rows of every kind."""
    dice = np.random.default_rng(11)
    for ingredient in ("honey_average", "sugar_brown", "lemon_juice_fresh", "neutral_spirit_40", "lactic_acid_88"):
        per_g = {c: mass / 100.0 for c, mass in get_ingredient(ingredient).composition.items()}
        gravity = dice.uniform(0.999, 1.015, 30)
        target = gravity + (-0.004 if ingredient == "neutral_spirit_40" else 0.004)
        found = amounts_for("gravity", target, LotRows(1.0, gravity, 9.0), ingredient)
        assert found.reached.all()
        for row, (reading, aim) in enumerate(zip(gravity.tolist(), target.tolist(), strict=True)):
            litre = lot_of(1.0, reading, 9.0).contents.masses_g

            def too_large_ml(
                mass_g: float,
                litre: dict[Component, float] = litre,
                per_g: dict[Component, float] = per_g,
                density_g_ml: float = aim * OIML_A[0] / 1000.0,
            ) -> float:
                mass = sum(litre.values()) + mass_g * sum(per_g.values())
                return mixed_on_paper(litre, per_g, mass_g)[0] - mass / density_g_ml

            exact = brentq(too_large_ml, 0.0, 5000.0, xtol=1e-12, rtol=1e-14)
            assert found.mass_g[row] == pytest.approx(exact, rel=1e-10, abs=1e-9)
            volume_ml, ethanol_g = mixed_on_paper(litre, per_g, exact)
            assert found.volume_l[row] == pytest.approx(volume_ml / 1000.0, rel=1e-12)
            assert found.abv_percent[row] == pytest.approx(1e5 * ethanol_g / ETHANOL_KG_M3 / volume_ml, rel=1e-11)


@pytest.mark.parametrize("name", ["gravity", "abv_percent"])
def test_what_an_amount_gives_asks_for_that_amount(name: str) -> None:
    lots = drawn_lots(200, seed=3)
    added = 10.0 ** np.random.default_rng(4).uniform(0.0, 2.3, 200) * np.asarray(lots.volume_l)
    after = drinks_after(added, lots, "orange_juice_concentrate_65")
    found = amounts_for(name, getattr(after, name), lots, "orange_juice_concentrate_65")
    kept = np.asarray(lots.abv_percent) > 1.0  # less alcohol hardly tells how much it was thinned
    np.testing.assert_allclose(found.mass_g[kept], added[kept], rtol=1e-9)
    np.testing.assert_allclose(found.volume_l[kept], after.volume_l[kept], rtol=1e-12)


@pytest.mark.parametrize("lot_class", [LotClass.MEAD, LotClass.GRAPE_WINE, LotClass.CIDER_PERRY, LotClass.SPIRIT])
def test_litres_of_any_readings(lot_class: LotClass) -> None:
    """Readings that fit and readings that do not: each row as the scalar function has it, or a refusal."""
    dice = np.random.default_rng(9)
    gravity = np.concatenate([dice.uniform(0.97, 1.15, 120), dice.uniform(0.77, 1.46, 60), [np.nan, 1.0, 0.9982, 1.5]])
    abv = np.concatenate([dice.uniform(0.0, 25.0, 120), dice.uniform(-1.0, 101.0, 60), [5.0, 0.0, 1.5, 5.0]])
    rows = litres_from_readings(gravity, abv, lot_class)
    seen = set()
    for k, state in enumerate(map(LotState, rows.state.tolist())):
        seen.add(state)
        if state is not LotState.KNOWN:
            assert np.isnan(rows.water_g[k])
            with pytest.raises(ServiceError):
                lot_of(1.0, float(gravity[k]), float(abv[k]), lot_class)
            continue
        expected = lot_of(1.0, float(gravity[k]), float(abv[k]), lot_class).contents.masses_g
        parts = {
            Component.WATER: rows.water_g[k],
            Component.ETHANOL: rows.ethanol_g[k],
            Component.GLUCOSE: 0.45 * rows.sugar_g[k],
            Component.FRUCTOSE: 0.55 * rows.sugar_g[k],
        }
        dry = (Component.GLYCEROL, Component.FERMENT_ACIDS, Component.FERMENT_RESIDUE)
        parts |= {c: np.broadcast_to(mass, gravity.shape)[k] for c, mass in zip(dry, rows.dry_g, strict=True)}
        for component, mass in parts.items():
            assert mass == pytest.approx(expected.get(component, 0.0), rel=1e-9, abs=2e-9)
    assert seen == set(LotState)
    if lot_class in DRY_EXTRACT:
        assert np.any(np.broadcast_to(rows.dry_g[2], gravity.shape) < DRY_EXTRACT[lot_class].rest)


def test_the_density_of_many_is_that_of_each() -> None:
    dice = random.Random(2)
    masses = [{c: dice.choice([0.0, dice.random()]) for c in Component} | {Component.WATER: 4.0} for _ in range(100)]
    sums = [np.array(column) for column in zip(*map(volume_sums, masses), strict=True)]
    assert density_of_many_g_ml(sums) == pytest.approx([density_g_ml(one) for one in masses], rel=1e-14)


def test_no_liquid_has_no_density() -> None:
    water, solids = np.array([0.0, 1.0, 1.0, 1.0]), np.array([0.0, 9.01, 8.99, np.nan])
    zero = np.zeros(4)
    density = density_of_many_g_ml([water, zero, solids, solids, zero, zero, zero])
    assert np.isnan(density).tolist() == [True, True, False, True]
    assert is_liquid_of_many(water, zero, solids).tolist() == [False, False, True, False]


def test_every_refused_row_says_why_and_no_other_is_hurt() -> None:
    lots = LotRows(
        np.array([20.0, np.nan, 20.0, 20.0, 20.0, 20.0, 20000000.0, 20.0]),
        np.array([1.0, 1.0, 1.5, 1.0, 0.95, 0.9, 1.0, 1.0]),
        np.array([8.0, 8.0, 8.0, 101.0, 8.0, 98.0, 8.0, 8.0]),
    )
    found = amounts_for("gravity", np.array([1.01] * 7 + [0.99]), lots, "honey")
    assert [RowState(s).name for s in found.state.tolist()] == [
        "REACHED",
        "NOT_A_NUMBER",
        "GRAVITY_OUT_OF_RANGE",
        "STRENGTH_OUT_OF_RANGE",
        "LIGHTER_THAN_ITS_ALCOHOL",
        "NO_ROOM_FOR_WATER",
        "VOLUME_OUT_OF_RANGE",
        "OUT_OF_REACH",
    ]
    for column in (found.mass_g, found.volume_l, found.gravity, found.abv_percent):
        assert np.isnan(column).tolist() == [False] + [True] * 7
    alone = amounts_for("gravity", 1.01, LotRows(20.0, 1.0, 8.0), "honey")
    assert float(alone.mass_g) == float(found.mass_g[0])
    assert sum(found.reasons().values()) == 7
    given = drinks_after(np.array([-1.0, 0.0, 1e9, np.inf]), LotRows(20.0, 1.0, 8.0), "sugar_white")
    assert [RowState(s).name for s in given.state.tolist()] == [
        "NEGATIVE_AMOUNT",
        "REACHED",
        "NO_LIQUID",
        "NOT_A_NUMBER",
    ]
    assert set(REASONS) == set(RowState)


def test_what_a_single_question_cannot_reach_a_sweep_cannot() -> None:
    """Both ways of asking refuse: lighter by honey, denser than a concentrate, stronger by honey, none by water."""
    for name, target, ingredient in (
        ("gravity", 1.0, "honey"),
        ("gravity", 1.40, "apple_juice_concentrate_70"),
        ("abv_percent", 12.0, "honey"),
        ("abv_percent", 0.0, "water_tap"),
    ):
        found = amounts_for(name, target, LotRows(20.0, 1.01, 8.0), ingredient)
        assert int(found.state) == RowState.OUT_OF_REACH
        with pytest.raises(InputError):
            one_by_one(name, target, lot_of(20.0, 1.01, 8.0), ingredient)


def test_a_lot_that_is_there_already_takes_nothing() -> None:
    found = amounts_for("gravity", np.array([1.01, 1.0100001]), LotRows(20.0, 1.01, 8.0), "honey")
    assert found.mass_g[0] == 0.0
    assert 0.0 < found.mass_g[1] < 0.02
    thinner = amounts_for("gravity", 1.01 - 1e-8, LotRows(20.0, 1.01, 8.0), "honey")
    assert float(thinner.mass_g) == 0.0 == one_by_one("gravity", 1.01 - 1e-8, lot_of(20.0, 1.01, 8.0), "honey")
    assert sweep._THERE == SOLVER_SHARE
    assert {name for name, *_ in CASES} == set(SWEPT)


def test_the_smallest_of_several_amounts() -> None:
    """Water makes a strong sweet liquid first lighter or heavier and then turns: no smaller amount does it either."""
    dice = np.random.default_rng(21)
    abv = dice.uniform(10.0, 40.0, 60)
    gravity, share = dice.uniform(0.996, 1.004, 60), dice.uniform(0.02, 0.9, 60)
    lots = LotRows(1.0, gravity, abv, LotClass.SPIRIT)
    aimed = drinks_after(1000.0 * share, lots, "water_deionised")
    found = amounts_for("gravity", aimed.gravity, lots, "water_deionised")
    assert aimed.reached.sum() > 40
    assert found.reached[aimed.reached].all()
    below = np.linspace(0.0, 0.999, 400)[:, None] * found.mass_g
    before = drinks_after(below, lots, "water_deionised").gravity - aimed.gravity
    crossed = (np.sign(before) != np.sign(before[0])).any(axis=0) & aimed.reached & (found.mass_g > 1.0)
    assert not crossed.any()
    assert (found.mass_g[aimed.reached] < 1000.0 * share[aimed.reached] * (1.0 - 1e-3)).sum() >= 1  # some do turn


def test_shapes_broadcast_and_parts_join() -> None:
    gravity, target = np.linspace(0.996, 1.01, 7)[:, None], np.linspace(1.0, 1.05, 5)
    lots = LotRows(20.0, gravity, 10.0)
    whole = amounts_for("gravity", target, lots, "honey")
    assert whole.mass_g.shape == whole.state.shape == (7, 5)
    parts = [amounts_for("gravity", target, LotRows(20.0, part, 10.0), "honey") for part in (gravity[:3], gravity[3:])]
    together = joined(parts)
    assert together.mass_g.tobytes() == whole.mass_g.tobytes()
    assert together.state.tobytes() == whole.state.tobytes()
    assert amounts_for("gravity", target[:0], lots, "honey").mass_g.shape == (7, 0)


def test_chunks_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    lots, target = drawn_lots(100, seed=1), np.linspace(0.99, 1.08, 100)
    whole = amounts_for("gravity", target, lots, "honey")
    monkeypatch.setattr(sweep, "_CHUNK", 7)
    parts = amounts_for("gravity", target, lots, "honey")
    assert parts.state.tobytes() == whole.state.tobytes()
    assert parts.mass_g.tobytes() == whole.mass_g.tobytes()


def test_what_a_sweep_does_not_take() -> None:
    lots = LotRows(20.0, 1.0, 8.0)
    with pytest.raises(InputError, match="aims at one of gravity"):
        amounts_for("ph", 3.4, lots, "honey")
    with pytest.raises(InputError, match="name the juice as the ingredient"):
        amounts_for("gravity", 1.04, LotRows(20.0, 1.04, 0.0, LotClass.BERRY_JUICE), "honey")
    with pytest.raises(UnknownIngredientError):
        drinks_after(1.0, lots, "no such thing")
    measured = get_ingredient("honey_average")
    assert contents_per_g(measured).mass_g == pytest.approx(1.0)
    assert float(drinks_after(100.0, lots, measured).volume_l) == float(
        drinks_after(100.0, lots, "honey_average").volume_l
    )


def test_roots_where_no_start_leads() -> None:
    """Against Brent's method of scipy, with starts so far off that only the bracket finds them."""
    steep = np.array([1.0, 5.0, 40.0])

    def rise(at: NDArray[np.intp], x: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.tanh(steep[at] * (x - 0.3)) + 0.1)

    zero, one = np.zeros(3), np.ones(3)
    every = np.arange(3)
    exact = [brentq(lambda x, k=k: float(np.tanh(k * (x - 0.3)) + 0.1), 0.0, 1.0, xtol=1e-14) for k in steep]
    found = roots_near_or_between(rise, (one, rise(every, one), 0.9 * one), zero, one, 1e-9)
    assert found == pytest.approx(exact, abs=1e-10)
    assert roots_between(lambda x: rise(every, x), zero, one) == pytest.approx(exact, abs=1e-11)
    assert roots_between(lambda x: x - np.array([0.0, 1.0, 0.5]), zero, one).tolist() == [0.0, 1.0, 0.5]
