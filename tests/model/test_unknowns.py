"""Unknowns: cut normal laws against scipy.stats, and the shifts of lots and ingredients against readings taken anew.

`scipy.stats.truncnorm` and `norm` are general libraries. A shift is what `lot_from_readings` or `with_measured` answer
for a reading a little higher, less what they answer for one a little lower.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from math import inf, sqrt
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm, truncnorm

from service.catalogue.loader import ingredients
from service.catalogue.overrides import with_measured
from service.catalogue.records import Category, Ingredient
from service.chemistry.acids import meq_per_kg_from_citric_g_per_100g
from service.errors import ServiceError
from service.model.contents import Contents, contents_per_g
from service.model.ingredient_unknowns import unknowns_per_g
from service.model.lot import LotReadings, lot_from_readings
from service.model.lot_class import JUICE_ROW, LotClass
from service.model.lot_unknowns import ReadingErrors, unknowns_per_litre
from service.model.properties import property_value
from service.model.unknowns import FAR, Unknown, cut_normal_moments, share_below
from service.planner.draws import drawn_unknowns

# Cut normal laws.

CENTRES = (-7.0, -6.0, -4.0, -2.0, -0.5, 0.0, 0.3, 1.0, 3.0, 5.9, 6.0, 8.0)
LOWS = (-inf, -8.0, -4.0, -2.0, -1.0, -0.1, 0.0, 0.5, 2.0)
HIGHS = (inf, 8.0, 4.0, 2.0, 1.0, 0.2, 0.0, -1.0)


def test_moments_against_scipy() -> None:
    """Mean, standard deviation and third moment; a centre far outside counts as `FAR` outside, as documented."""
    seen = 0
    for centre in CENTRES:
        for low in LOWS:
            for high in (h for h in HIGHS if h > low):
                counted = min(max(centre, low - FAR), high + FAR)
                mean, variance, skew = truncnorm(low - counted, high - counted, loc=counted).stats("mvs")
                found = cut_normal_moments(centre, low, high)
                where = f"{centre} in {low} to {high}"
                assert found.mean == pytest.approx(float(mean), abs=1e-10), where
                assert found.sd == pytest.approx(sqrt(float(variance)), abs=1e-9), where
                assert found.third == pytest.approx(float(skew) * float(variance) ** 1.5, abs=1e-9), where
                seen += 1
    assert seen > 500


@pytest.mark.parametrize("centre", [0.0, 0.7, -3.0])
def test_a_law_without_limits_is_normal(centre: float) -> None:
    found = cut_normal_moments(centre, -inf, inf)
    assert (found.mean, found.sd, found.third) == (centre, 1.0, 0.0)


@pytest.mark.parametrize("width", [1e-17, 1e-12, 1e-9, 1e-6, 9e-4, 1.1e-3])
@pytest.mark.parametrize("centre", [-6.0, 0.0, 3.0])
def test_close_limits_leave_an_even_law(width: float, centre: float) -> None:
    """Between close limits a law is even: its mean is in the middle, its standard deviation width/√12."""
    found = cut_normal_moments(centre, 0.0, width)
    assert found.mean == pytest.approx(0.5 * width, rel=3e-3, abs=1e-18)
    assert found.sd == pytest.approx(width / sqrt(12.0), rel=3e-3)
    assert abs(found.third) <= 1e-9


def test_share_below_against_scipy() -> None:
    for x in np.linspace(-8.0, 8.0, 161):
        assert share_below(float(x)) == pytest.approx(float(norm.cdf(x)), abs=1e-15)


LAWS = (
    (0.0, -inf, inf),
    (0.4, -inf, inf),
    (0.0, -1.5, 3.2),
    (0.0, 0.0, 4.0),
    (-2.5, 0.0, inf),
    (-5.0, 0.0, 1.0),
    (-30.0, 0.0, 2.0),
    (9.0, -1.0, 0.5),
    (0.0, -50.0, inf),
)


def test_quantiles_of_draws_against_scipy() -> None:
    """20,000 draws of each law at eleven quantiles, within four standard errors of a quantile."""
    draws = 20_000
    found = drawn_unknowns(LAWS, draws, 7)
    assert found.shape == (draws, len(LAWS))
    for k, (centre, low, high) in enumerate(LAWS):
        counted = min(max(centre, low - FAR), high + FAR)
        law = truncnorm(low - counted, high - counted, loc=counted)
        assert low <= found[:, k].min() <= found[:, k].max() <= high
        for share in np.linspace(0.025, 0.975, 11):
            value = float(law.ppf(share))
            error = 4.0 * sqrt(share * (1.0 - share) / draws) / float(law.pdf(value))
            assert float(np.quantile(found[:, k], share)) == pytest.approx(value, abs=error), (LAWS[k], share)


def test_draws_agree_with_moments() -> None:
    """What is drawn has the mean and the spread that the first order reckons with."""
    found = drawn_unknowns(LAWS, 50_000, 11)
    for k, law in enumerate(LAWS):
        moments = cut_normal_moments(*law)
        assert float(found[:, k].mean()) == pytest.approx(moments.mean, abs=0.02 * moments.sd)
        assert float(found[:, k].std()) == pytest.approx(moments.sd, rel=0.02)


def test_a_seed_fixes_the_draws() -> None:
    first = drawn_unknowns(LAWS, 2_000, 3).copy()
    drawn_unknowns.cache_clear()
    again, other = drawn_unknowns(LAWS, 2_000, 3), drawn_unknowns(LAWS, 2_000, 4)
    assert np.array_equal(first, again)
    assert not np.any(np.isclose(first[:, 0], other[:, 0], rtol=1e-9, atol=0.0))
    with pytest.raises(ValueError, match="read-only"):
        again[0, 0] = 1.0


def test_unlike_unknowns_are_drawn_independently() -> None:
    draws = drawn_unknowns(((0.0, -inf, inf),) * 6, 20_000, 5)
    off = np.corrcoef(draws.T) - np.eye(6)
    assert np.abs(off).max() < 4.0 / sqrt(20_000)


# Lots read anew.

OF_A_LOT = ("gravity", "abv_percent", "titratable_acidity", "ph", "extract_g_per_l", "sugar_g_per_l")
ERRORS = ReadingErrors(gravity=0.001, strength_percent=0.25, ph=0.05, acidity_share=0.02)
_SMALL = 0.02
"""Readings are moved by this part of their errors."""

READ_ANEW: dict[str, Callable[[LotReadings, float], LotReadings]] = {
    "gravity": lambda r, z: replace(r, gravity=r.gravity + z * ERRORS.gravity),
    "strength": lambda r, z: replace(r, abv_percent=r.abv_percent + z * ERRORS.strength_percent),
    "pH": lambda r, z: replace(r, ph=None if r.ph is None else r.ph + z * ERRORS.ph),
    "acidity": lambda r, z: replace(
        r,
        titratable_meq_per_l=None
        if r.titratable_meq_per_l is None
        else r.titratable_meq_per_l * (1.0 + z * ERRORS.acidity_share),
    ),
}

WITHIN: dict[str, tuple[float, ...]] = {
    "gravity": (1e-7, 1e-5, 1e-6, 1e-6, 1e-4, 1e-5),
    "strength": (1e-7, 1e-5, 0.01, 0.004, 2e-3, 1e-5),
    "pH": (1e-9, 1e-9, 0.02, 0.003, 1e-9, 1e-9),
    "acidity": (1e-7, 1e-9, 1e-4, 1e-3, 0.12, 0.2),
}
"""How far the change of each of OF_A_LOT for a whole error may be from that of readings taken anew.

Extract by gravity and strength holds where there is sugar or rest enough to err by; with less of it all that is no
sugar takes the error, where the reading's own rule would take glycerol first, which is lighter (up to 1.9 g/L of 4.4
for a gravity). Sugar: an acidity read 2 % higher is 0.1 to 0.17 g/L less sugar of the same gravity, a tenth of a
hydrometer division, which is not counted. pH: one that was read does not move with the strength, by 0.003 it does.
"""


def _random_readings(seed: int) -> Iterator[LotReadings]:
    chance = random.Random(seed)
    while True:
        kind = chance.choice([c for c in LotClass if c not in JUICE_ROW])
        yield LotReadings(
            1.0,
            None,
            round(chance.uniform(0.994, 1.02), 4),
            round(chance.uniform(5.0, 13.0), 1),
            kind,
            chance.choice([None, chance.uniform(50.0, 110.0)]),
            chance.choice([None, None, chance.uniform(0.5, 8.0)]),
            chance.choice([None, chance.uniform(3.1, 3.8)]),
        )


def _sugar_and_rest_g(contents: Contents) -> float:
    kept = ("glucose", "fructose", "ferment_residue")
    return sum(m for c, m in contents.masses_g.items() if c.value in kept)


def _of(contents: Contents, names: tuple[str, ...]) -> list[float]:
    found = [property_value(name, contents, contents.volume_ml / 1000.0) for name in names]
    return [0.0 if value is None else value for value in found]


def _shifted(contents: Contents, unknown: Unknown, units: float) -> Contents:
    return Contents(tuple(c + units * s for c, s in zip(contents.vector, unknown.shift, strict=True)))


def test_lots_read_anew() -> None:
    """240 drawn lots: what an unknown does to a litre is what the reading a little higher or lower does."""
    seen = dict.fromkeys(READ_ANEW, 0)
    readings = _random_readings(20_260_301)
    while min(seen.values()) < 80:
        read = next(readings)
        try:
            lot = lot_from_readings("lot", read)
            unknowns = {u.what: u for u in unknowns_per_litre(lot, ERRORS)}
            moved = {
                what: tuple(lot_from_readings("lot", again(read, z)).contents for z in (_SMALL, -_SMALL))
                for what, again in READ_ANEW.items()
            }
        except ServiceError:
            continue
        for what, (up, down) in moved.items():
            not_read = (what == "pH" and read.ph is None) or (what == "acidity" and read.titratable_meq_per_l is None)
            if what not in unknowns or not_read:
                continue
            seen[what] += 1
            true = [(a - b) / (2.0 * _SMALL) for a, b in zip(_of(up, OF_A_LOT), _of(down, OF_A_LOT), strict=True)]
            ends = [_of(_shifted(lot.contents, unknowns[what], z), OF_A_LOT) for z in (_SMALL, -_SMALL)]
            told = [(a - b) / (2.0 * _SMALL) for a, b in zip(*ends, strict=True)]
            little = _sugar_and_rest_g(lot.contents) < 6.0 or (read.residual_sugar_g_per_l or 0.0) > 0.0
            for name, a, b, within in zip(OF_A_LOT, told, true, WITHIN[what], strict=True):
                by_density = little and what in ("gravity", "strength") and name == "extract_g_per_l"
                assert a == pytest.approx(b, abs=2.0 if by_density else within), (what, name, read)


def test_a_lot_of_juice_read_anew() -> None:
    """A gravity moves all solids; an acidity that was not read stays, though the reading's own rule scales it too."""
    names = ("gravity", "extract_g_per_l", "sugar_g_per_l", "titratable_acidity")
    for kind in JUICE_ROW:
        read = LotReadings(1.0, None, 1.046, 0.0, kind, 90.0, None, 3.4)
        lot = lot_from_readings("juice", read)
        (gravity,) = (u for u in unknowns_per_litre(lot, ERRORS) if u.what == "gravity")
        ends = [_of(_shifted(lot.contents, gravity, z), names) for z in (_SMALL, -_SMALL)]
        anew = [
            _of(lot_from_readings("juice", READ_ANEW["gravity"](read, z)).contents, names) for z in (_SMALL, -_SMALL)
        ]
        told, true = ([(a - b) / (2.0 * _SMALL) for a, b in zip(*pair, strict=True)] for pair in (ends, anew))
        assert told == pytest.approx(true, abs=0.2)
        assert told[0] == pytest.approx(ERRORS.gravity, rel=1e-4)
        assert told[1] == pytest.approx(true[1], rel=0.005)


def test_no_extract_no_lower_gravity() -> None:
    """A lot as light as its own alcohol: readings may only have been too low, which the cut says."""
    lot = lot_from_readings("base", LotReadings(1.0, None, 0.9895, 7.7))
    extract = sum(m for c, m in lot.contents.masses_g.items() if c.value not in ("water", "ethanol"))
    assert extract < 2.0
    (gravity,) = (u for u in unknowns_per_litre(lot, ERRORS) if u.what == "gravity")
    least = _shifted(lot.contents, gravity, gravity.low)
    assert all(mass >= -1e-9 for mass in least.masses_g.values())
    assert _of(least, ("extract_g_per_l",))[0] == pytest.approx(0.0, abs=1e-6)


def test_sugar_tested_as_none_may_only_be_more() -> None:
    """0 ± 0.5 g/L of sugar by a test: half of a normal law above nothing, whatever extract is usual."""
    read = LotReadings(1.0, None, 0.994, 9.0, residual_sugar_g_per_l=0.0, residual_sugar_error_g_per_l=0.5)
    lot = lot_from_readings("base", read)
    (sugar,) = (u for u in unknowns_per_litre(lot, ERRORS) if u.what == "residual sugar")
    assert (sugar.centre, sugar.low) == (0.0, 0.0)
    assert sugar.moments.mean == pytest.approx(sqrt(2.0 / np.pi), rel=1e-3)


def test_a_sugar_that_is_known_is_not_moved_by_the_gravity() -> None:
    for kind in (LotClass.MEAD, LotClass.SPIRIT):
        lot = lot_from_readings("lot", LotReadings(1.0, None, 1.01, 20.0, kind, residual_sugar_g_per_l=20.0))
        gravity = unknowns_per_litre(lot, ERRORS)[0]
        assert gravity.what == "gravity"
        more = _of(_shifted(lot.contents, gravity, 1.0), ("sugar_g_per_l",))[0]
        assert more == pytest.approx(20.0, abs=1e-3)


# Ingredients measured anew.

OF_A_DRINK = (
    "gravity", "brix", "extract_g_per_l", "sugar_g_per_l", "fermentable_sugar_g_per_l", "sucrose_equivalent_g_per_l",
    "energy_kcal_per_100ml", "titratable_acidity", "ph",
)  # fmt: skip
INGREDIENT_G = 150.0


def _measured_anew(row: Ingredient, what: str, z: float) -> Mapping[str, Any]:
    """All readings of a row at its typical figures, one of them z standard deviations higher."""
    read: dict[str, float] = {}
    if row.brix is not None:
        read["brix"] = row.brix.typical + (z * row.brix.deviation() if what == "solids" else 0.0)
    if row.ta_g_citric_per_100g is not None and row.category is not Category.WATER:
        ta = row.ta_g_citric_per_100g
        citric = ta.typical + (z * ta.deviation() if what == "acidity" else 0.0)
        read["titratable_acidity_meq_per_kg"] = meq_per_kg_from_citric_g_per_100g(citric)
        if row.ph is not None:
            read["ph"] = row.ph.typical + (z * row.ph.deviation() if what == "pH" else 0.0)
    return read


def test_ingredients_measured_anew() -> None:
    """Every row of the catalogue, 150 g in a litre of dry base, with its Brix, acidity or pH a tenth of its standard
    deviation higher and lower.

    Sugars, extract and energy agree to 4 % of the change; solids scale acids nowhere and sugars a little more.
    Acidity agrees to 4 %; pH within 0.01, or 0.003 where it is not the reading itself.
    """
    base = lot_from_readings("base", LotReadings(1.0, None, 1.0, 8.0, titratable_meq_per_l=70.0, ph=3.4)).contents
    seen = dict.fromkeys(("solids", "acidity", "pH"), 0)
    z = 0.1

    def drink(of: Contents) -> list[float]:
        return _of(base.plus(of.scaled(INGREDIENT_G)), OF_A_DRINK)

    for row in ingredients().values():
        here = contents_per_g(row)
        for unknown in unknowns_per_g(row):
            if unknown.what not in seen:
                continue
            try:
                anew = [
                    drink(contents_per_g(with_measured(row, **_measured_anew(row, unknown.what, end)).ingredient))
                    for end in (z, -z)
                ]
            except ServiceError:
                assert row.category in (Category.ACID, Category.SALT, Category.WATER, Category.SUGAR), row.id
                continue
            seen[unknown.what] += 1
            ends = [drink(_shifted(here, unknown, end)) for end in (z, -z)]
            told, true = ([(a - b) / (2.0 * z) for a, b in zip(*pair, strict=True)] for pair in (ends, anew))
            near = {
                "gravity": 2e-6, "brix": 1e-6, "extract_g_per_l": 1e-3, "sugar_g_per_l": 0.06,
                "fermentable_sugar_g_per_l": 0.06, "sucrose_equivalent_g_per_l": 0.06, "energy_kcal_per_100ml": 0.007,
                "titratable_acidity": 2e-4, "ph": 0.01 if unknown.what == "pH" else 0.003,
            }  # fmt: skip
            for name, a, b in zip(OF_A_DRINK, told, true, strict=True):
                assert a == pytest.approx(b, rel=0.04, abs=near[name]), (row.id, unknown.what, name)
    assert min(seen.values()) > 50


def test_honeys_sugars_differ_as_published() -> None:
    """J. W. White Jr, J. Assoc. Off. Anal. Chem. 63 (1980) 11: glucose 30.31 ± 3.04 g/100 g; fructose gives way."""
    (split,) = (u for u in unknowns_per_g(ingredients()["honey_average"]) if u.what == "split of the sugars")
    moved = _shifted(Contents.of({}), split, 1.0).masses_g
    assert sorted(round(100.0 * m, 2) for m in moved.values()) == [-3.04, 3.04]


def test_pure_acids_and_salts_titrate_as_their_assay() -> None:
    """An assay a standard deviation higher is as much more acid, or base, as it says."""
    for name in ("citric_acid_monohydrate", "lactic_acid_88", "tartaric_acid", "potassium_bicarbonate"):
        row = ingredients()[name]
        assert row.ta_g_citric_per_100g is not None
        (assay,) = (u for u in unknowns_per_g(row) if u.what == "acidity")
        water = Contents.of({}).plus(contents_per_g(ingredients()["water_deionised"])).scaled(1000.0)
        here = contents_per_g(row)
        with_some = [water.plus(_shifted(here, assay, units).scaled(5.0)) for units in (0.0, 1.0)]
        before, after = (_of(c, ("titratable_acidity",))[0] * c.volume_ml for c in with_some)
        share = row.ta_g_citric_per_100g.deviation() / row.ta_g_citric_per_100g.typical
        assert after / before - 1.0 == pytest.approx(share, rel=0.05), name
