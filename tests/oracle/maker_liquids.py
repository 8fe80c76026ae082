"""What the liquids of invented makers truly hold: bases and lots of ingredients, drawn at random.

Nothing of the service is imported. What is drawn:

- the base is flat over what dry meads are: SG 0.992 to 1.014, 5 to 14 % vol, pH 3.0 to 3.9, 2.2 to 7.7 g/L as tartaric
  (ranges from memory and from a citation extract, unverified; the gravities judged). All are many times wider than the
  errors of instruments, so that a reading is hardly drawn towards a middle. A maker who does not read pH or acidity has
  one drawn around what is typical of the class instead: 3.5 ± 0.25, 3.0 ± 1.4 g/L (judged);
- of the extract that gravity and strength leave (binary sum), so much is not sugar: glycerol and a rest of 11.8 ± 5 g/L
  as sucrose (the class: 15 ± 5 with 3 g/L of acid, judged) and 1.05 times the acid, the rest at least nothing and at
  most what there is;
- the base's acids are in the mole ratios of the class, each times a factor of its own;
- a lot of an ingredient has Brix and acidity drawn independently around the typical ones, and the pH of its
  single-strength sample, all cut at the limits of the table below. All solids move with Brix; pH and acidity fix how
  much acid there is, more acid standing in the place of sugar. Lots that no acid could explain are drawn again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.oracle.charge import ACIDS, CITRIC_G_PER_EQ, PHOSPHORUS_G_MOL, TARTARIC_G_PER_EQ
from tests.oracle.liquids import AS_SUCROSE, COMPONENTS, ETHANOL, IS_SOLID, WATER
from tests.oracle.many import ACID_NAMES, Array, base_grams_per_l, binary_volume_ml, extract_g_per_l, inferred
from tests.oracle.pour import load_compositions

Truth = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Range:
    """How lots differ: typical figure and standard deviation between lots, and the limits of what is met."""

    typical: float
    sd: float
    low: float
    high: float


def limits(typical: float, low: float, high: float) -> Range:
    """A range without a standard deviation of its own: a quarter of its width (judged)."""
    return Range(typical, 0.25 * (high - low), low, high)


@dataclass(frozen=True, slots=True)
class Row:
    """An ingredient: °Brix, g/100 g as anhydrous citric acid, pH of a sample that holds `share` of it by mass, and
    phosphorus [mg/100 g]; `per_litre` is how much of it is usual in a litre of base [g]."""

    brix: Range
    acidity: Range
    ph: Range
    share: float
    phosphorus: float
    per_litre: tuple[float, float]


HONEYS: dict[str, Row] = {
    "honey_acacia": Row(
        Range(82.9, 1.5, 79.9, 85.4), limits(0.073, 0.036, 0.15), limits(3.9, 3.6, 4.3), 0.11783, 4.0, (15.0, 70.0)
    ),
    "honey_orange_blossom": Row(
        Range(83.5, 1.5, 80.5, 86.0), limits(0.11, 0.054, 0.225), limits(3.84, 3.54, 4.24), 0.11783, 4.0, (15.0, 70.0)
    ),
    "honey_white_clover": Row(
        Range(82.1, 1.5, 79.1, 84.6), limits(0.122, 0.06, 0.25), limits(3.77, 3.47, 4.17), 0.11783, 4.0, (15.0, 70.0)
    ),
}
"""White 1962, USDA Technical Bulletin 1261, floral averages (from memory, unverified); the sample is 10 g in 75 mL."""

JUICES: dict[str, Row] = {
    "lemon_juice_fresh": Row(
        Range(8.16, 0.6, 7.0, 9.5), Range(4.6, 0.4, 4.0, 6.0), limits(2.3, 2.0, 2.6), 1.0, 8.0, (3.0, 25.0)
    ),
    "orange_juice_concentrate_frozen": Row(
        Range(41.95, 0.4, 41.8, 47.0), Range(2.7, 0.3, 2.15, 3.5), limits(3.75, 3.4, 4.1), 0.28129, 65.0, (20.0, 100.0)
    ),
    "cherry_tart_juice_concentrate_68": Row(
        Range(68.0, 0.6, 65.0, 69.0), limits(5.64, 4.86, 7.78), limits(3.4, 3.0, 3.8), 0.20588, 80.3, (10.0, 60.0)
    ),
    "raspberry_juice": Row(
        Range(9.55, 1.3, 7.0, 15.0), Range(1.4, 0.3, 1.0, 2.2), limits(3.2, 3.0, 3.6), 1.0, 20.0, (20.0, 120.0)
    ),
    "apple_juice_concentrate_70": Row(
        Range(70.0, 0.4, 69.5, 71.0), limits(2.29, 1.2, 3.19), limits(3.7, 3.35, 4.0), 0.16429, 42.1, (10.0, 50.0)
    ),
}
"""Typical figures and limits around 21 CFR 101.30 and USDA SR28, lots' spreads judged; shares bring the concentrates to
single strength by 21 CFR 101.30(h)(1)."""

ROWS = {**HONEYS, **JUICES}

MEAD = {"gluconic": 3.0, "lactic": 3.0, "succinic": 3.0, "acetic": 3.0, "malic": 1.0}
"""Mole ratios of the base's acids (judged)."""
GLYCEROL_AND_REST, REST_SD, GLYCEROL = 0.58 * 5.0 + 8.9, 5.0, 0.58 * 5.0  # g/L as sucrose, judged
ACID_AS_SUCROSE = 1.05

_ACID_COLUMNS = {
    "citric_acid": "citric", "malic_acid": "malic", "tartaric_acid": "tartaric", "lactic_acid": "lactic",
    "quinic_acid": "quinic", "other_acids_as_gluconic": "gluconic",
}  # fmt: skip
IS_SUGAR = np.array([1.0 if name in COMPONENTS[1:6] else 0.0 for name in COMPONENTS])
_SUCROSE, _OTHER = COMPONENTS.index("sucrose"), COMPONENTS.index("other_solids")

# Contents of a liquid, along the last axis: masses [g], acids [mol], strong ions [eq], half of z² c of them [mol],
# the volume [mL] of the parts before they were mixed, the extract [g sucrose] that the Tabarié rule takes.
GRAMS_AT = slice(0, len(COMPONENTS))
ACIDS_AT = slice(GRAMS_AT.stop, GRAMS_AT.stop + len(ACID_NAMES))
SID_AT, STRONG_AT, OWN_ML_AT, EXTRACT_AT = range(ACIDS_AT.stop, ACIDS_AT.stop + 4)
SIZE = EXTRACT_AT + 1


def bases(
    chance: np.random.Generator,
    reads_ph: Truth,
    reads_acid: Truth,
    hidden_sugar_g_per_l: tuple[float, float],
    profile_spread: float,
) -> Array:
    """Contents of a litre of each base, and what sort of maker has it: one who reads pH, and acidity, or not."""
    count = len(reads_ph)

    def some() -> tuple[Array, Truth]:
        gravity, abv = chance.uniform(0.992, 1.014, count), chance.uniform(5.0, 14.0, count)
        ph = np.where(reads_ph, chance.uniform(3.0, 3.9, count), chance.normal(3.5, 0.25, count))
        acid = np.where(reads_acid, chance.uniform(2.2, 7.7, count), chance.normal(3.0, 1.4, count))
        acid_enough = acid > 0.5
        acid = np.maximum(acid, 0.5)
        water, ethanol, solids = base_grams_per_l(gravity, abv)
        at_least = GLYCEROL + ACID_AS_SUCROSE * acid
        other = _between(
            chance, GLYCEROL_AND_REST + ACID_AS_SUCROSE * acid, REST_SD, at_least, np.maximum(solids, at_least)
        )
        other = np.maximum(other - chance.uniform(*hidden_sugar_g_per_l, count), GLYCEROL)
        profile = np.array([MEAD.get(name, 0.0) for name in ACID_NAMES])
        profile = profile * np.exp(profile_spread * chance.standard_normal((count, len(ACID_NAMES))))
        profile /= 1000.0
        scale, sid = inferred(profile, np.zeros_like(profile), abv, ph, acid / TARTARIC_G_PER_EQ)
        contents = np.zeros((count, SIZE))
        contents[:, WATER], contents[:, ETHANOL] = water, ethanol
        contents[:, _SUCROSE], contents[:, _OTHER] = solids - other, other
        contents[:, ACIDS_AT] = scale[:, None] * profile
        contents[:, SID_AT], contents[:, STRONG_AT] = sid, 0.5 * np.abs(sid)
        contents[:, OWN_ML_AT] = 1000.0
        contents[:, EXTRACT_AT] = extract_g_per_l(gravity, abv)
        return contents, acid_enough & (scale > 0.0) & (sid >= 0.0) & (solids > at_least + 4.0)

    return _until_possible(some, count)


@dataclass(frozen=True, slots=True)
class Lots:
    """One lot of an ingredient per maker: contents of a gram, and what a maker could read."""

    per_g: Array
    brix: Array
    acidity_g_per_l: Array
    ph: Array


def lots(chance: np.random.Generator, count: int, name: str, skewed: bool) -> Lots:
    """A lot of an ingredient for each maker."""
    row, table = ROWS[name], load_compositions()[name]
    grams_typical = np.array(table.grams_per_100g)
    mmol_typical = np.zeros(len(ACID_NAMES))
    for column, acid in _ACID_COLUMNS.items():
        mmol_typical[ACID_NAMES.index(acid)] = 10.0 * grams_typical[COMPONENTS.index(column)] / ACIDS[acid].molar_mass
    is_acid = np.array([1.0 if c in _ACID_COLUMNS else 0.0 for c in COMPONENTS])
    is_sugar = IS_SUGAR

    def acids(f: Array, acidity: Array, ph: Array) -> tuple[Array, Array, Array, Array]:
        """Acids [mol/L] in a sample, how many times the row's own they are, strong ions, kg of ingredient a litre."""
        kg = _sample_kg_per_l(f, grams_typical, row.share)
        profile = f[:, None] * kg[:, None] * mmol_typical  # mol/L, since mmol per g is mol per kg
        known = np.zeros_like(profile)
        known[:, ACID_NAMES.index("phosphoric")] = f * row.phosphorus * 0.01 / PHOSPHORUS_G_MOL * kg
        scale, sid = inferred(profile, known, np.zeros_like(f), ph, 10.0 * acidity / CITRIC_G_PER_EQ * kg)
        return scale[:, None] * profile + known, scale, sid, kg

    usual = acids(np.ones(1), np.array([row.acidity.typical]), np.array([row.ph.typical]))[1][0]

    def some() -> tuple[Array, Truth]:
        brix, acidity, ph = (_lot_figures(chance, of, count, skewed) for of in (row.brix, row.acidity, row.ph))
        f = brix / row.brix.typical
        moles, scale, sid, kg = acids(f, acidity, ph)
        more = scale / usual  # acid beside what the solids alone would bring
        solids = f[:, None] * grams_typical * IS_SOLID
        gained = (more - 1.0) * (solids @ is_acid)
        fewer = 1.0 - gained / (solids @ is_sugar)
        grams = solids * np.where(is_acid > 0.0, more[:, None], np.where(is_sugar > 0.0, fewer[:, None], 1.0))
        grams[:, WATER] = 100.0 - grams.sum(axis=1)
        contents = np.zeros((count, SIZE))
        contents[:, GRAMS_AT] = grams / 100.0
        contents[:, ACIDS_AT] = moles / kg[:, None] / 1000.0
        contents[:, SID_AT] = sid / kg / 1000.0
        contents[:, STRONG_AT] = 0.5 * np.abs(contents[:, SID_AT])
        contents[:, OWN_ML_AT] = binary_volume_ml(grams) / 100.0
        contents[:, EXTRACT_AT] = contents[:, GRAMS_AT] @ AS_SUCROSE
        read = np.stack([brix, 10.0 * acidity / contents[:, OWN_ML_AT], ph], axis=1)
        possible = (scale > 0.0) & (scale < 3.0) & (sid >= 0.0) & (fewer > 0.0)
        return np.concatenate([contents, read], axis=1), possible

    found = _until_possible(some, count)
    return Lots(found[:, :SIZE], *found[:, SIZE:].T)


def _sample_kg_per_l(f: Array, grams_typical: Array, share: float) -> Array:
    """Kilograms of ingredient in a litre of its single-strength sample, the solids being f times the typical ones."""
    grams = share * f[:, None] * grams_typical * IS_SOLID
    grams[:, WATER] = 100.0 - grams.sum(axis=1)
    return 100.0 * share / binary_volume_ml(grams)


def _lot_figures(chance: np.random.Generator, of: Range, count: int, skewed: bool) -> Array:
    """A figure of each maker's lot, inside its limits."""
    if not skewed:
        return _between(chance, np.full(count, of.typical), of.sd, np.full(count, of.low), np.full(count, of.high))

    def some() -> tuple[Array, Truth]:
        drawn = of.typical + of.sd * (chance.gamma(2.0, 1.0, count) - 2.0) / np.sqrt(2.0)
        return drawn, (drawn >= of.low) & (drawn <= of.high)

    return _until_possible(some, count)


def _between(chance: np.random.Generator, mean: Array, sd: float, low: Array, high: Array) -> Array:
    """Normal figures, those outside their limits drawn again; limits far from the mean stand for the figure itself."""
    drawn = chance.normal(mean, sd)
    for _ in range(500):
        outside = (drawn < low) | (drawn > high)
        if not outside.any():
            break
        drawn = np.where(outside, chance.normal(mean, sd), drawn)
    return np.clip(drawn, low, high)


def _until_possible(some: Callable[[], tuple[Array, Truth]], count: int) -> Array:
    """The first `count` of what is drawn in turns of `count` that are possible, place by place."""
    drawn, possible = some()
    for _ in range(200):
        if possible.all():
            return drawn
        again, possible_now = some()
        fill = ~possible & possible_now
        drawn = np.where(fill.reshape(count, *(1,) * (drawn.ndim - 1)), again, drawn)
        possible = possible | fill
    raise ArithmeticError("some maker's liquid is never possible; widen the ranges that it is drawn from")
