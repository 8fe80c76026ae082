"""The arrays of `many.py` against the one-by-one calculation, and the invented makers against what they are said to be.

Both ways of calculating are ours; what is outside the project is what `test_pour.py` and the acid-base checks hold the
one-by-one calculation against.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.oracle import charge
from tests.oracle.charge import Drink as Acids
from tests.oracle.liquids import COMPONENTS, ETHANOL_KG_M3
from tests.oracle.maker_liquids import ACIDS_AT, GRAMS_AT, JUICES, OWN_ML_AT, ROWS, SID_AT, STRONG_AT
from tests.oracle.makers import USUAL, WRONG, Instruments, Maker, World, makers, planned
from tests.oracle.many import ACID_NAMES
from tests.oracle.pour import Lot, Part, composition, density_g_per_ml, load_compositions, pour


@pytest.fixture(scope="module")
def crowd() -> list[Maker]:
    return makers(400, seed=3)


def test_a_base_alone_is_what_pouring_it_says(crowd: list[Maker]) -> None:
    for maker in crowd[:10]:
        base = maker.base
        poured = pour([Lot(base["volume"], base["gravity"], base["abv_percent"])], [])
        grams = dict(zip(COMPONENTS, base.contents[GRAMS_AT], strict=True))
        assert poured.mass_g == pytest.approx(sum(grams.values()), rel=1e-9)
        assert poured.solids_g_per_l * base["volume"] == pytest.approx(
            grams["sucrose"] + grams["other_solids"], rel=1e-6
        )
        assert grams["ethanol"] == pytest.approx(base["abv_percent"] * base["volume"] * ETHANOL_KG_M3 / 100.0, rel=1e-9)


@pytest.mark.parametrize("world", [USUAL, WRONG["volumes by the Tabarié rule"]], ids=["binary sum", "Tabarié"])
def test_a_blend_is_what_pouring_it_one_by_one_says(world: World) -> None:
    crowd = makers(10, seed=4, world=world)
    for maker in crowd:
        true = {name: maker.weigh({name: amount})[name] for name, amount in maker.plan.items()}
        exact = replace(maker, by_jug=frozenset(), world=replace(maker.world, instruments=_no_errors(maker)))
        drink = exact.pour(true)
        parts = []
        for name, mass_g in true.items():
            grams = dict(zip(COMPONENTS, 100.0 * maker.per_g[name][GRAMS_AT], strict=True))
            parts.append(Part(composition(name, **grams), mass_g))
        base = maker.base
        poured = pour([Lot(base["volume"], base["gravity"], base["abv_percent"])], parts)
        usual = maker.world.mixing == "binary"
        gravity = poured.specific_gravity_20_20 if usual else poured.specific_gravity_t_20_20
        assert drink["gravity"] == pytest.approx(gravity, abs=2e-7)
        assert drink["abv_percent"] == pytest.approx(poured.abv_percent if usual else poured.abv_t_percent, rel=1e-6)
        assert drink["volume"] == pytest.approx(poured.volume_l if usual else poured.volume_t_l, rel=1e-6)


def _no_errors(maker: Maker) -> Instruments:
    return replace(maker.world.instruments, scale_g=0.0)


def test_acids_of_a_blend_are_what_the_charge_balance_says_of_one(crowd: list[Maker]) -> None:
    for maker, drink in zip(crowd[:6], planned(crowd[:6]), strict=True):
        litres = drink["volume"]
        one = Acids(
            {n: 1000.0 * c / litres for n, c in zip(ACID_NAMES, drink.contents[ACIDS_AT], strict=True)},
            1000.0 * drink.contents[SID_AT] / litres,
            1000.0 * drink.contents[STRONG_AT] / litres,
            drink["abv_percent"],
        )
        assert drink["ph"] == pytest.approx(charge.ph(one), abs=1e-8), maker.number
        assert drink["titratable_acidity"] == pytest.approx(
            charge.ta_meq(one) * charge.TARTARIC_G_PER_EQ / 1000.0, rel=1e-8
        )


def test_ingredients_scatter_as_the_table_says(crowd: list[Maker]) -> None:
    """Brix of lemon juice, cut at ± 2 sd, has its mean and 0.88 of its sd; a lot's grams add up; limits hold."""
    row = JUICES["lemon_juice_fresh"]
    for name, of in ROWS.items():
        grams = np.array([m.per_g[name][GRAMS_AT] for m in crowd])
        assert grams.sum(axis=1) == pytest.approx(1.0, abs=1e-12)
        assert (grams >= 0.0).all()
        brix = 100.0 * (1.0 - grams[:, COMPONENTS.index("water")] - grams[:, COMPONENTS.index("fat")])
        assert of.brix.low - 0.01 <= brix.min() <= brix.max() <= of.brix.high + 0.01  # rows close to 0.006
        if of is row:
            assert np.mean(brix) == pytest.approx(row.brix.typical, abs=0.15 * row.brix.sd)
            assert np.std(brix) == pytest.approx(0.88 * row.brix.sd, rel=0.15)


def test_a_typical_lot_is_the_row_of_the_table(crowd: list[Maker]) -> None:
    """The mean volume of a gram of honey lots against the density of the row, which moves 0.2 % per °Brix."""
    for name in ROWS:
        ml_per_g = np.mean([m.per_g[name][OWN_ML_AT] for m in crowd])
        assert ml_per_g == pytest.approx(1.0 / density_g_per_ml(load_compositions()[name]), rel=0.003)


def test_the_same_seed_gives_the_same_makers() -> None:
    one, other = makers(5, seed=8), makers(5, seed=8)
    assert [m.recipe() for m in one] == [m.recipe() for m in other]
    assert [d.properties for d in planned(one)] == [d.properties for d in planned(other)]
    assert makers(5, seed=9)[0].recipe() != one[0].recipe()


def test_what_is_poured_in_two_steps_is_what_is_poured_at_once(crowd: list[Maker]) -> None:
    maker = replace(crowd[0], by_jug=frozenset(), world=replace(USUAL, instruments=_no_errors(crowd[0])))
    half = {name: amount / 2.0 for name, amount in maker.plan.items()}
    twice = maker.pour(half, into=maker.pour(half))
    once = maker.pour(maker.plan)
    for name, value in once.properties.items():
        assert twice[name] == pytest.approx(value, rel=1e-9), name


def test_a_reading_errs_as_its_instrument_does(crowd: list[Maker]) -> None:
    misses = np.array([m.measure(m.base, ["gravity"])["gravity"] - m.base["gravity"] for m in crowd])
    assert np.std(misses) == pytest.approx(0.001, rel=0.1)
    assert abs(np.mean(misses)) < 3.0 * 0.001 / np.sqrt(len(crowd))
    with pytest.raises(ValueError, match="nobody measures"):
        crowd[0].measure(crowd[0].base, ["sugar_g_per_l"])


def test_hidden_sugar_stands_in_the_place_of_other_extract() -> None:
    usual, wrong = makers(200, seed=5), makers(200, seed=5, world=WRONG["hidden sugar"])
    more = np.mean([w.base["sugar_g_per_l"] for w in wrong]) - np.mean([u.base["sugar_g_per_l"] for u in usual])
    assert 4.0 < more < 6.0
