"""Intervals of predictions: first order against simulation, against readings taken anew, and what has to hold of both.

The simulation is checked by itself first: drink for drink against the whole model. What it is then an oracle for, and
how nearly, is said beside each check.
"""

from __future__ import annotations

import copy
import random
from collections.abc import Mapping
from dataclasses import replace
from math import inf, sqrt
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.errors import ServiceError
from service.model.contents import Contents
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import DRY_EXTRACT, TYPICAL_ACIDITY, LotClass
from service.model.properties import PROPERTIES, property_value
from service.model.unknowns import Unknown
from service.planner.asked import Instruments
from service.planner.beliefs import AMOUNT, composition_unknowns
from service.planner.draws import drawn_intervals, drawn_properties, drawn_unknowns, quantiles
from service.planner.intervals import Z_90, Interval, Spreads, spreads_of
from service.planner.least_known import TOLD, least_known
from service.planner.plain_words import in_plain_words
from service.planner.predict import foreseen
from tests.planner.interval_cases import Recipe, drawn_recipe, read, spreads, values_of

ADDED = ("added_mass", "added_volume", "cost")

# Cornish and Fisher.


@pytest.mark.parametrize("skewness", [0.0, 0.1, -0.4, 0.9])
def test_chances_and_quantiles_are_inverse(skewness: float) -> None:
    interval = Interval(5.0, 0.4, skewness, ())
    for z in np.linspace(-2.0, 2.0, 17):
        assert interval.chance_below(interval.quantile(float(z))) == pytest.approx(float(norm.cdf(z)), abs=1e-12)


def test_without_skewness_it_is_the_normal_law() -> None:
    interval = Interval(1.0, 0.02, 0.0, ())
    assert (interval.low, interval.high) == pytest.approx((1.0 - Z_90 * 0.02, 1.0 + Z_90 * 0.02))
    assert norm.cdf(Z_90) == pytest.approx(0.95, abs=2e-4)
    assert interval.chance_below(1.01) == pytest.approx(float(norm.cdf(0.5)), abs=1e-12)


@pytest.mark.parametrize(("shape", "within"), [(64.0, 0.004), (16.0, 0.014), (4.0, 0.06)])
def test_the_expansion_on_gamma_laws(shape: float, within: float) -> None:
    """Gamma laws of skewness 0.25, 0.5 and 1 (scipy.stats.gamma): the ends of 90 % in standard deviations."""
    from scipy.stats import gamma

    law = gamma(shape)
    interval = Interval(shape, sqrt(shape), 2.0 / sqrt(shape), ())
    for end, share in ((interval.low, 0.05), (interval.high, 0.95)):
        assert end == pytest.approx(float(law.ppf(share)), abs=within * sqrt(shape))


def test_nothing_is_below_nought() -> None:
    interval = Interval(1.0, 2.0, 0.0, (), 0.0)
    assert interval.low == 0.0
    assert interval.chance_below(-0.1) == 0.0


def test_what_is_known_is_no_interval() -> None:
    interval = Interval(3.0, 0.0, 0.0, ())
    assert (interval.low, interval.high) == (3.0, 3.0)
    assert (interval.chance_below(2.9), interval.chance_below(3.0)) == (0.0, 1.0)


# The simulation against the whole model, drink by drink.


class Bare(Spreads):
    """Spreads without what the model adds of its own, so that drinks can be looked at one by one."""

    def model_sd(self, name: str, value: float) -> list[tuple[str, float]]:  # noqa: ARG002
        return []


def test_drinks_of_the_simulation_one_by_one() -> None:
    """Twelve recipes, 25 drinks of each: every property but pH is that of the drink's own contents, without a tangent.

    Acidity is told with the charges of the blend itself: right to 2 % (the alcohol and ions of a drink move them).
    """
    for seed in range(12):
        _, (materials, masses, circumstances) = drawn_recipe(seed)
        here = spreads_of(materials, masses, circumstances)
        bare = Bare(here.materials, here.masses_g, here.circumstances, here.contents)
        values = {n: v for n, v in values_of((materials, masses, circumstances)).items() if n not in (*ADDED, "ph")}
        drawn = drawn_properties(bare, values, 1000, seed)
        z = drawn_unknowns(tuple((u.centre, u.low, u.high) for u in bare.unknowns), 1000, seed)
        shifts = np.array([u.shift for u in bare.unknowns])
        for number in range(0, 1000, 40):
            vector = np.array(here.contents.vector) + z[number] @ shifts
            vector[:-2], vector[-1] = np.maximum(vector[:-2], 0.0), max(vector[-1], 0.0)
            drink = Contents(tuple(map(float, vector)))
            for name in values:
                value = property_value(name, drink, drink.volume_ml / 1000.0)
                if value is None:
                    continue
                near = 0.02 if name in ("titratable_acidity", "sugar_acid_ratio") else 1e-6
                assert drawn[name][number] == pytest.approx(value, rel=near, abs=1e-4), (seed, number, name)


def test_the_model_adds_its_own() -> None:
    """±0.0003 SG at 90 %, 0.5 % of an acidity and 0.02 of a pH: on a drink of which all else is known."""
    known = _forecast([], [{"composition": _LIQUID, "amount": "5 kg"}], **_NO_ERRORS)
    here, values = spreads(known), values_of(known)
    for name, sd in (("gravity", 0.0003 / Z_90), ("titratable_acidity", 0.005 * values["titratable_acidity"])):
        interval = here.interval(name, values[name])
        assert interval.sd == pytest.approx(sd, rel=0.08), name
        assert (interval.parts[0].name, round(interval.parts[0].share, 3)) == ("the model", 1.0)
    drawn = drawn_properties(here, {"gravity": values["gravity"]}, 20_000, 1)["gravity"]
    assert float(drawn.std()) == pytest.approx(0.0003 / Z_90, rel=0.08)


_LIQUID = {
    "name": "own blend",
    "components_g_per_100g": {"water": 85.0, "fructose": 7.0, "glucose": 7.0, "citric_acid": 1.0},
    "ta_g_citric_per_100g": 1.0,
    "ph": 2.6,
}
_NO_ERRORS: dict[str, Any] = {
    "instruments": {
        "hydrometer": {"error": 0}, "ph_meter": {"error": 0}, "titration": {"error": "0 %"},
        "volume": {"error": "0 %"}, "strength": {"error": 0}, "refractometer": {"error": 0},
        "scale": {"step": "0.000001 g"},
    }
}  # fmt: skip


def _forecast(lots: list[dict[str, Any]], additions: list[dict[str, Any]], **more: Any) -> Recipe:
    return read({"recipes": [{"name": "one", "lots": lots, "additions": additions}], **more})


# First order against simulation.

WITHIN: dict[str, tuple[float, float, float]] = dict.fromkeys(PROPERTIES, (0.03, 0.05, 0.08)) | {
    **dict.fromkeys(("gravity", "extract_g_per_l", "brix"), (0.03, 0.05, 0.40)),
    **dict.fromkeys(("sugar_g_per_l", "fermentable_sugar_g_per_l", "sucrose_equivalent_g_per_l"), (0.03, 0.05, 0.15)),
    "volume": (0.03, 0.05, 0.15),
    "titratable_acidity": (0.03, 0.05, 0.30),
    "ph": (0.04, 0.12, 0.70),
    "sugar_acid_ratio": (0.04, 0.25, 1.40),
}
"""How near both ends of the first order are to those of 20,000 drinks, in half widths: half of the recipes, nine in
ten, all of them. Three standard errors of a simulated end are 0.03 of a half width.

The worst of gravity, extract and sugar are lots with next to no extract (see DRY), the worst of acidity has chestnut
honey, so nearly neutral that its acids would fall below nothing. The worst pH has almost no buffer. The juice trade's
ratio has acid below the stroke; where the acidity of a mead was not read it varies by half of itself, more than an
expansion to the third moment can follow."""


def _apart(seed: int, draws: int, *, dry: bool = False) -> dict[str, float]:
    """The larger of the distances of both ends, in half widths, by property."""
    _, recipe = drawn_recipe(seed, dry=dry)
    here, values = spreads(recipe), values_of(recipe)
    drawn = drawn_properties(here, values, draws, seed)
    found = {}
    for name, value in values.items():
        interval = here.interval(name, value)
        low, high = (end + (value if name in ADDED else 0.0) for end in quantiles(drawn[name]))
        if interval.sd > 0.0 and high > low:
            found[name] = max(abs(interval.low - low), abs(interval.high - high)) / (0.5 * (high - low))
    return found


def _first_order_against_draws(
    seeds: range, draws: int, limits: Mapping[str, tuple[float, float, float]], *, dry: bool
) -> None:
    seen: dict[str, list[float]] = {}
    for seed in seeds:
        for name, apart in _apart(seed, draws, dry=dry).items():
            seen.setdefault(name, []).append(apart)
    told = {name: np.quantile(apart, [0.5, 0.9, 1.0]) for name, apart in seen.items() if len(apart) > 10}
    assert len(told) > 10
    for name, (half, most, worst) in told.items():
        limit = limits[name]
        assert (half <= limit[0], most <= limit[1], worst <= limit[2]) == (True, True, True), (name, half, most, worst)


def test_first_order_against_simulation() -> None:
    _first_order_against_draws(range(40), 20_000, WITHIN, dry=False)


@pytest.mark.slow
def test_first_order_against_simulation_of_many() -> None:
    _first_order_against_draws(range(1000, 1400), 50_000, WITHIN, dry=False)


DRY = WITHIN | dict.fromkeys(
    ("sugar_g_per_l", "fermentable_sugar_g_per_l", "sucrose_equivalent_g_per_l"), (0.06, 0.12, 0.15)
) | dict.fromkeys(("gravity", "extract_g_per_l", "brix"), (0.10, 0.25, 0.40)) | dict.fromkeys(
    ("energy_kcal_per_100ml", "volume"), (0.03, 0.08, 0.15)
) | {"ph": (0.04, 0.25, 0.70), "sugar_acid_ratio": (0.15, 0.90, 1.60)}  # fmt: skip
"""The same of dry lots whose extract is below what is usual: only more sugar than none is possible there, a law of
skewness up to 1.5, and less extract than none is not. Cornish and Fisher miss the lower end of the sugar by a tenth of
a half width; the drinks drawn with less than no extract, which count as without any, lift the lower end of gravity."""


def test_first_order_of_dry_lots() -> None:
    _first_order_against_draws(range(30), 20_000, DRY, dry=True)


# Readings taken anew.


def _with_acids(litres: float, whole: Contents, ph: float, ta_g_per_l: float, abv: float) -> Contents | None:
    """A mead of the same masses whose acids are those of other readings."""
    meq = meq_per_l_from_acid_g_per_l(ta_g_per_l, Acid.TARTARIC)
    try:
        acids, _ = acids_of_lot(LotClass.MEAD, AcidReadings(ph, meq, 8.2, abv))
    except ServiceError:
        return None
    state = acids.state.scaled(litres)
    return Contents((*whole.vector[: -2 - len(state.acids_mmol)], *state.acids_mmol, state.sid_meq, state.ionic_mmol))


_READ: dict[str, dict[str, Any]] = {
    "pH and acidity": {"ph": 3.5, "titratable_acidity": "5 g/L tartaric"},
    "acidity alone": {"titratable_acidity": "5 g/L tartaric"},
}


@pytest.mark.parametrize("addition", ["none", "honey_acacia", "potassium_bicarbonate", "citric_acid_anhydrous"])
@pytest.mark.parametrize("was_read", _READ)
def test_what_was_not_read_read_anew(was_read: str, addition: str) -> None:
    """A mead inferred from 500 other readings each: the 90 % of pH and acidity within a fifth of a half width.

    The readings' own spread is that of the meter and of the titration, or of the class where there was no reading.
    """
    additions = [{"ingredient": addition, "amount": "800 g" if addition.startswith("honey") else "12 g"}]
    lot = {"name": "mead", "class": "mead", "volume": "10 L", "gravity": 1.0, "abv_percent": 9.0, **_READ[was_read]}
    recipe = _forecast(
        [lot],
        [] if addition == "none" else additions,
        **_NO_ERRORS | {"instruments": {"scale": {"step": "0.001 g"}, "volume": {"error": "0 %"}}},
    )
    materials, masses, _ = recipe
    at = next(i for i, m in enumerate(materials) if m.kind == "lot")
    mead = materials[at].per_g.scaled(masses[at])
    rest = Contents.of({})
    for i, (material, mass) in enumerate(zip(materials, masses, strict=True)):
        rest = rest if i == at else rest.plus(material.per_g.scaled(mass))
    typical = TYPICAL_ACIDITY[LotClass.MEAD]
    ph_sd = 0.05 if "ph" in lot else typical.ph_sd
    dice = np.random.default_rng(20_260_302)
    seen: list[tuple[float, float]] = []
    half = dice.standard_normal((250, 2))
    for z_ph, z_ta in np.concatenate((half, -half)):
        drink = _with_acids(10.0, mead, 3.5 + ph_sd * z_ph, 5.0 * (1.0 + 0.02 * z_ta), 9.0)
        if drink is None:
            continue
        drink = drink.plus(rest)
        ph, ta = (property_value(n, drink, drink.volume_ml / 1000.0) for n in ("ph", "titratable_acidity"))
        assert ph is not None
        assert ta is not None
        seen.append((ph + 0.02 * dice.standard_normal(), ta * (1.0 + 0.005 * dice.standard_normal())))
    assert len(seen) > 490
    ends = np.quantile(np.array(seen), [0.05, 0.95], axis=0)
    here, values = spreads(recipe), values_of(recipe)
    for k, name in enumerate(("ph", "titratable_acidity")):
        interval = here.interval(name, values[name])
        width = 0.5 * (ends[1, k] - ends[0, k])
        assert interval.low == pytest.approx(ends[0, k], abs=0.2 * width), (name, ends[:, k], interval.low)
        assert interval.high == pytest.approx(ends[1, k], abs=0.2 * width), (name, ends[:, k], interval.high)


def test_a_ratio_over_acid_bends() -> None:
    """Acid that varies by a fifth: the ends of 1/a for a normal a, to a sixth of the half width."""
    lot = {"name": "mead", "class": "mead", "volume": "10 L", "gravity": 1.0, "abv_percent": 9.0, "ph": 3.5}
    recipe = _forecast([lot], [{"ingredient": "citric_acid_anhydrous", "amount": "30 g"}])
    here, value = spreads(recipe), values_of(recipe)["sugar_acid_ratio"]
    acidity = here.interval("titratable_acidity", values_of(recipe)["titratable_acidity"])
    assert 0.15 < acidity.sd / acidity.mean < 0.3
    interval = here.interval("sugar_acid_ratio", value)
    low, high = drawn_intervals(here, {"sugar_acid_ratio": value}, 50_000, 1)["sugar_acid_ratio"]
    assert (interval.low, interval.high) == pytest.approx((low, high), abs=0.08 * (high - low))
    assert high - value > 1.4 * (value - low)


# What has to hold.


def _changed(body: Mapping[str, Any], **instruments: Any) -> dict[str, Any]:
    found: dict[str, Any] = copy.deepcopy(dict(body))
    found["instruments"] = {**found.get("instruments", {}), **instruments}
    return found


def _sds(recipe: Recipe) -> dict[str, float]:
    here = spreads(recipe)
    return {name: here.interval(name, value).sd for name, value in values_of(recipe).items()}


FINER: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "hydrometer": ({"error": 0.002}, {"error": 0.0005}),
    "ph_meter": ({"error": 0.1}, {"error": 0.02}),
    "titration": ({"error": "5 %"}, {"error": "1 %"}),
    "volume": ({"error": "4 %"}, {"error": "0.5 %"}),
    "strength": ({"error": 0.5}, {"error": 0.1}),
    "refractometer": ({"error": 0.5}, {"error": 0.1}),
    "scale": ({"step": "10 g"}, {"step": "0.1 g"}),
}
_FEW = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)


@given(st.integers(0, 400), st.sampled_from(sorted(FINER)))
@_FEW
def test_finer_instruments_never_widen(seed: int, instrument: str) -> None:
    body, _ = drawn_recipe(seed)
    coarse, fine = (_sds(read(_changed(body, **{instrument: told}))) for told in FINER[instrument])
    for name, sd in fine.items():
        # the skewness of cut laws shifts means, of which only a ratio over acid makes its spread
        assert sd <= coarse[name] * (1.0 + 1e-9), (name, instrument)


@given(st.integers(0, 400))
@_FEW
def test_a_smaller_stated_error_never_widens(seed: int) -> None:
    body, _ = drawn_recipe(seed)
    chance = random.Random(seed)
    stated, default = copy.deepcopy(body), copy.deepcopy(body)
    for lots, share in ((stated["recipes"][0]["lots"], 0.005), (default["recipes"][0]["lots"], None)):
        for lot in lots:
            if "volume" not in lot:
                continue
            litres = float(lot["volume"].split()[0])
            lot["volume"] = f"{litres} L" if share is None else f"{litres} L ± {share * litres} L"
    sure, usual = _sds(read(stated)), _sds(read(default))
    assert all(sd <= usual[name] * (1.0 + 1e-9) for name, sd in sure.items())
    name = chance.choice(sorted(sure))
    assert sure[name] >= 0.0


@given(st.integers(0, 400), st.booleans())
@_FEW
def test_the_value_lies_in_its_interval(seed: int, simulated: bool) -> None:
    _, (materials, masses, circumstances) = drawn_recipe(seed)
    if simulated:
        circumstances = replace(circumstances, draws=1000, seed=seed)
    predicted = foreseen(materials, masses, circumstances).predicted
    for name in PROPERTIES:
        told = getattr(predicted, name)
        if told is not None:
            assert told.low - 0.006 <= told.value <= told.high + 0.006, name  # rounded each on its own


@given(st.integers(0, 400), st.sampled_from([0.01, 3.0, 250.0]))
@_FEW
def test_a_batch_k_times_as_large_is_known_as_well(seed: int, factor: float) -> None:
    """With errors in proportion, intervals of concentrations are the same, and those of amounts k times as wide."""
    _, (materials, masses, circumstances) = drawn_recipe(seed)
    plenty = replace(
        circumstances,
        instruments=replace(circumstances.instruments, scale_step_g=factor * circumstances.instruments.scale_step_g),
    )
    larger = []
    for material in materials:
        source = material.source
        if material.kind == "addition" and source.amount_sd_g is not None:  # type: ignore[union-attr]
            source = replace(source, amount_sd_g=factor * source.amount_sd_g)  # type: ignore[union-attr, arg-type]
        larger.append(replace(material, source=source))
    once = _sds((materials, masses, circumstances))
    more = _sds((larger, [factor * m for m in masses], plenty))
    for name, sd in once.items():
        by = factor if name in ("volume", *ADDED) else 1.0
        assert more[name] == pytest.approx(by * sd, rel=1e-5, abs=1e-12), name


@given(st.integers(0, 400))
@_FEW
def test_the_order_of_a_request_does_not_matter(seed: int) -> None:
    body, recipe = drawn_recipe(seed)
    turned = copy.deepcopy(body)
    turned["recipes"][0]["lots"].reverse()
    turned["recipes"][0]["additions"].reverse()
    assert _sds(read(turned)) == pytest.approx(_sds(recipe), rel=1e-12)


@pytest.mark.parametrize("ingredient", ["honey_acacia", "lemon_juice_fresh", "cherry_tart_juice_concentrate_68"])
def test_two_halves_of_an_ingredient_are_one(ingredient: str) -> None:
    """Composition unknowns belong to the ingredient: what is too sweet in one jar of a lot is so in the next."""
    lot = {"name": "mead", "class": "mead", "volume": "10 L", "gravity": 1.0, "abv_percent": 9.0, "ph": 3.4}
    fine = {"instruments": {"scale": {"step": "0.0001 g"}}}
    whole = _sds(_forecast([lot], [{"ingredient": ingredient, "amount": "600 g"}], **fine))
    halves = _sds(_forecast([lot], [{"ingredient": ingredient, "amount": "300 g"}] * 2, **fine))
    for name, sd in whole.items():
        if name not in ADDED:
            assert halves[name] == pytest.approx(sd, rel=1e-6), name


@pytest.mark.parametrize(
    ("ingredient", "measured", "narrower"),
    [
        ("lemon_juice_fresh", {"titratable_acidity": "47 g/L citric"}, "titratable_acidity"),
        ("lemon_juice_fresh", {"titratable_acidity": "47 g/L citric", "brix": 8.2}, "sugar_g_per_l"),
        ("honey_acacia", {"moisture_percent": 17.0}, "sugar_g_per_l"),
        ("cherry_tart_juice_concentrate_68", {"brix": 68.0}, "sugar_g_per_l"),
        ("orange_juice_fresh", {"titratable_acidity": "8 g/L citric", "ph": 3.7}, "ph"),
        ("orange_juice_fresh", {"brix": 11.8}, "gravity"),
    ],
)
def test_a_measured_ingredient_is_known_better(ingredient: str, measured: dict[str, Any], narrower: str) -> None:
    lot = {
        "name": "mead", "class": "mead", "volume": "10 L ± 0.0001 L", "gravity": 1.0, "abv_percent": 9.0, "ph": 3.4,
        "titratable_acidity": "5 g/L tartaric", "residual_sugar": "4 g/L",
    }  # fmt: skip
    table, known = (
        _sds(_forecast([lot], [{"ingredient": ingredient, "amount": "2000 g", **more}]))
        for more in ({}, {"measured": measured})
    )
    assert known[narrower] < 0.95 * table[narrower]


def test_an_ingredient_that_the_caller_describes_has_no_spread() -> None:
    recipe = _forecast([], [{"composition": _LIQUID, "amount": "5 kg"}])
    assert composition_unknowns(recipe[0][0], Instruments()) == ()
    assert {u.what for u in spreads(recipe).unknowns} == {AMOUNT}


def test_nothing_unknown_leaves_only_the_model() -> None:
    recipe = _forecast([], [{"composition": _LIQUID, "amount": "5 kg"}], **_NO_ERRORS)
    here = spreads(recipe)
    for name, value in values_of(recipe).items():
        parts = here.interval(name, value).parts
        if name in ("gravity", "volume", "titratable_acidity", "ph"):
            assert parts[0].name == "the model"
            assert parts[0].share > 0.999
        else:
            assert here.interval(name, value).sd <= 1e-6 * max(value, 1.0), name


@given(st.integers(0, 400))
@_FEW
def test_parts_of_a_variance_add_up(seed: int) -> None:
    """Shares are of the whole, the largest first; what is least known tells the first of them."""
    _, recipe = drawn_recipe(seed)
    here = spreads(recipe)
    intervals = {name: here.interval(name, value) for name, value in values_of(recipe).items()}
    for name, interval in intervals.items():
        if interval.parts:
            shares = [p.share for p in interval.parts]
            assert sum(shares) == pytest.approx(1.0)
            assert shares == sorted(shares, reverse=True), name
    ids = "\n".join(part.name for interval in intervals.values() for part in interval.parts)
    said = dict(zip(ids.split("\n"), in_plain_words(ids).split("\n"), strict=True))
    assert len(set(said.values())) == len(said)
    for told in least_known(intervals):
        assert told.property in TOLD
        assert told.largest_share_from == intervals[told.property].parts[0].name
        assert said[told.largest_share_from] in told.text


def test_a_property_moves_by_slope_times_unknown() -> None:
    """A slope is what a hundredth of an unknown does to the property of the whole, times a hundred."""
    for seed in range(6):
        _, recipe = drawn_recipe(seed)
        here = spreads(recipe)
        for name, value in values_of(recipe).items():
            if name in ADDED:
                continue
            for unknown, slope in zip(here.unknowns, here.slopes(name, value), strict=True):
                ends = [_beside(here, unknown, z).get(name) for z in (0.01, -0.01)]
                if ends[0] is None or ends[1] is None:
                    continue
                scale = max(here.interval(name, value).sd, 1e-9)
                assert slope == pytest.approx((ends[0] - ends[1]) / 0.02, rel=1e-3, abs=2e-3 * scale), (
                    name,
                    unknown.name,
                )


def _beside(here: Spreads, unknown: Unknown, z: float) -> dict[str, float]:
    vector = tuple(c + z * s for c, s in zip(here.contents.vector, unknown.shift, strict=True))
    floor = tuple(max(v, 0.0) if k < len(vector) - 2 else v for k, v in enumerate(vector))
    if floor != vector:
        return {}
    drink = Contents(vector)
    found = {name: property_value(name, drink, drink.volume_ml / 1000.0) for name in PROPERTIES if name not in ADDED}
    return {name: value for name, value in found.items() if value is not None}


def test_what_a_class_leaves_open_is_its_own_spread() -> None:
    """A mead whose sugar was not tested: the standard deviation of its class, where there is sugar to spare."""
    lot = {"name": "mead", "class": "mead", "volume": "10 L ± 0.0001 L", "gravity": 1.02, "abv_percent": 9.0}
    recipe = _forecast([lot], [], instruments=_NO_ERRORS["instruments"])
    interval = spreads(recipe).interval("sugar_g_per_l", values_of(recipe)["sugar_g_per_l"])
    sd = DRY_EXTRACT[LotClass.MEAD].sd
    assert interval.high - interval.low < 2.0 * Z_90 * sd
    assert interval.sd == pytest.approx(sd, rel=0.2)
    assert interval.parts[0].name == "residual sugar of mead"
    assert interval.low > -inf
