"""Makers who do not exist: what their liquids truly are, what they read of them, and what they truly pour.

A prediction's interval says how often the truth lies inside. Nobody can open a bottle to see, but the truth of an
invented maker is known: it is drawn first (`maker_liquids.py`), the readings are the truth with the errors of
instruments, and the drink is poured on paper from the true materials by the independent calculation beside this file.
Nothing of the service is imported.

A base is 5 to 40 L, flat in the logarithm. Every weighing and every reading of a maker draws a new error from the
maker's own stream of random numbers: the same seed and the same order of calls give the same figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tests.oracle.charge import TARTARIC_G_PER_EQ
from tests.oracle.liquids import ETHANOL, ETHANOL_KG_M3, WATER_KG_M3
from tests.oracle.maker_liquids import (
    ACIDS_AT,
    EXTRACT_AT,
    GRAMS_AT,
    HONEYS,
    IS_SUGAR,
    JUICES,
    OWN_ML_AT,
    ROWS,
    SID_AT,
    STRONG_AT,
    Lots,
    bases,
    lots,
)
from tests.oracle.many import Array, Charges, binary_volume_ml, tabarie_volume_ml


@dataclass(frozen=True, slots=True)
class Instruments:
    """Standard deviations of readings; a weighing is half a step of the scale off, a jug a share of what it pours."""

    hydrometer: float = 0.001
    strength_percent: float = 0.25
    acidity_share: float = 0.02
    ph: float = 0.05
    volume_share: float = 0.02
    brix: float = 0.2
    scale_g: float = 0.5
    jug_share: float = 0.04


@dataclass(frozen=True, slots=True)
class World:
    """How makers' liquids come about and mix.

    `mixing` is binary (the rule of the paper calculation), tabarie (OIV-MA-AS2-03B forwards) or ideal (volumes add).
    `skewed` lots have a gamma's tail of skewness 1.4 to the dear side at the same mean and standard deviation.
    `hidden_sugar_g_per_l` is more sugar in the base, in place of other extract, between two figures. `misread` is the
    share by which volumes read too high. `profile_spread` is the standard deviation of the logarithm of each acid's
    share in the base.
    """

    mixing: str = "binary"
    skewed: bool = False
    hidden_sugar_g_per_l: tuple[float, float] = (0.0, 0.0)
    misread: float = 0.0
    profile_spread: float = 0.5
    instruments: Instruments = Instruments()


USUAL = World()
WRONG = {
    "volumes by the Tabarié rule": replace(USUAL, mixing="tabarie"),
    "volumes that add": replace(USUAL, mixing="ideal"),
    "skewed lots": replace(USUAL, skewed=True),
    "hidden sugar": replace(USUAL, hidden_sugar_g_per_l=(3.0, 8.0)),
    "volume misread": replace(USUAL, misread=0.03),
}
"""One thing each that no service can know."""


@dataclass(frozen=True, slots=True)
class Drink:
    """A drink as it truly is: its contents, and its properties by name."""

    contents: Array
    properties: Mapping[str, float]

    def __getitem__(self, name: str) -> float:
        return self.properties[name]


@dataclass(frozen=True, slots=True)
class Maker:
    """One maker: true base and ingredients, and the readings that were taken of them, as parts of a request."""

    number: int
    world: World
    base: Drink
    per_g: Mapping[str, Array] = field(repr=False)
    plan: Mapping[str, float]
    read_base: Mapping[str, Any]
    read_additions: Mapping[str, Mapping[str, Any]]
    by_jug: frozenset[str]
    chance: np.random.Generator = field(repr=False)

    def readings(self) -> dict[str, Any]:
        """The base as a lot of a request."""
        return dict(self.read_base)

    def addition(self, ingredient: str, amount_g: float | None = None) -> dict[str, Any]:
        """An ingredient as an addition of a request, with what was read of it, and an amount where one is given."""
        found: dict[str, Any] = {"ingredient": ingredient}
        if self.read_additions[ingredient]:
            found["measured"] = dict(self.read_additions[ingredient])
        if amount_g is not None:
            found["amount"] = f"{amount_g:.6g} g"
            if ingredient in self.by_jug:
                found["amount"] += f" ± {self.world.instruments.jug_share * amount_g:.6g} g"
        return found

    def recipe(self, amounts_g: Mapping[str, float] | None = None) -> dict[str, Any]:
        """A recipe of a forecast: all of the base, and these amounts, or those planned."""
        amounts = self.plan if amounts_g is None else amounts_g
        return {
            "name": f"maker {self.number}",
            "lots": [self.readings()],
            "additions": [self.addition(name, amount) for name, amount in amounts.items()],
        }

    def weigh(self, amounts_g: Mapping[str, float]) -> dict[str, float]:
        """What is truly taken when these amounts are meant."""
        with_jug, with_scale = self.world.instruments.jug_share, self.world.instruments.scale_g
        return {
            name: max(
                0.0,
                amount * (1.0 + with_jug * self.chance.standard_normal())
                if name in self.by_jug
                else amount + with_scale * self.chance.standard_normal(),
            )
            if amount > 0.0
            else 0.0
            for name, amount in amounts_g.items()
        }

    def pour(self, amounts_g: Mapping[str, float], into: Drink | None = None) -> Drink:
        """The true drink of these amounts, weighed by the maker, in the whole base or in what is there already."""
        return pour_all([self], [amounts_g], None if into is None else [into])[0]

    def measure(self, drink: Drink, what: Sequence[str]) -> dict[str, Any]:
        """Readings of a drink as a request takes them: gravity, abv_percent, titratable_acidity, ph, volume."""
        tools, normal = self.world.instruments, self.chance.standard_normal
        found: dict[str, Any] = {}
        for name in what:
            true = drink[name]
            if name == "gravity":
                found[name] = round(true + tools.hydrometer * normal(), 5)
            elif name == "abv_percent":
                found[name] = round(max(true + tools.strength_percent * normal(), 0.0), 4)
            elif name == "ph":
                found[name] = round(true + tools.ph * normal(), 4)
            elif name == "titratable_acidity":
                found[name] = f"{true * (1.0 + tools.acidity_share * normal()):.4f} g/L tartaric"
            elif name == "volume":
                found[name] = f"{true * (1.0 + self.world.misread) * (1.0 + tools.volume_share * normal()):.5f} L"
            else:
                raise ValueError(f"nobody measures {name} here")
        return found


def makers(count: int, seed: int, world: World = USUAL) -> list[Maker]:
    """So many makers of a world, the same for the same seed."""
    chance = np.random.default_rng(seed)
    reads_ph, reads_acid = chance.random(count) < 0.8, chance.random(count) < 0.85
    base = bases(chance, reads_ph, reads_acid, world.hidden_sugar_g_per_l, world.profile_spread)
    litres = np.exp(chance.uniform(np.log(5.0), np.log(40.0), count))
    drinks = _drinks(base * litres[:, None], world)
    lots_of = {name: lots(chance, count, name, world.skewed) for name in ROWS}
    result = []
    for i in range(count):
        own = np.random.default_rng([seed, i])
        plan = _plan(own, float(litres[i]))
        what = ["volume", "gravity", "abv_percent"]
        what += ["titratable_acidity"] * bool(reads_acid[i]) + ["ph"] * bool(reads_ph[i])
        maker = Maker(
            number=i,
            world=world,
            base=drinks[i],
            per_g={name: lots_of[name].per_g[i] for name in ROWS},
            plan=plan,
            read_base={},
            read_additions={name: _read(own, lots_of[name], i, world.instruments) for name in ROWS},
            by_jug=frozenset(name for name in JUICES if own.random() < 0.3),
            chance=own,
        )
        result.append(replace(maker, read_base={"name": "base", **maker.measure(drinks[i], what)}))
    return result


def _plan(chance: np.random.Generator, litres: float) -> dict[str, float]:
    """Amounts [g] that a maker means to add: honey, one or two juices, or both."""
    names: list[str] = []
    if chance.random() < 0.8:
        names.append(str(chance.choice(list(HONEYS))))
    names += [str(n) for n in chance.choice(list(JUICES), size=1 + int(chance.random() < 0.5), replace=False)]
    return {name: round(litres * chance.uniform(*ROWS[name].per_litre), 1) for name in names}


def _read(chance: np.random.Generator, lot: Lots, i: int, tools: Instruments) -> dict[str, Any]:
    """What a maker read of a lot of an ingredient: mostly nothing, or Brix, or Brix and acidity, or pH too."""
    diligence, normal = chance.random(), chance.standard_normal(3)
    found: dict[str, Any] = {}
    if diligence > 0.6:
        found["brix"] = round(float(lot.brix[i]) + tools.brix * normal[0], 4)
    if diligence > 0.75:
        acidity = lot.acidity_g_per_l[i] * (1.0 + tools.acidity_share * normal[1])
        found["titratable_acidity"] = f"{acidity:.5f} g/L citric"
    if diligence > 0.85:
        found["ph"] = round(float(lot.ph[i]) + tools.ph * normal[2], 4)
    return found


def pour_all(
    crowd: Sequence[Maker], amounts_g: Sequence[Mapping[str, float]], into: Sequence[Drink] | None = None
) -> list[Drink]:
    """The true drinks of these amounts [g], each weighed by its maker, in their bases or in what is there already."""
    whole = np.array([(maker.base if into is None else into[i]).contents for i, maker in enumerate(crowd)])
    for i, (maker, amounts) in enumerate(zip(crowd, amounts_g, strict=True)):
        for name, amount in maker.weigh(amounts).items():
            whole[i] += amount * maker.per_g[name]
    (world,) = {maker.world for maker in crowd}
    return _drinks(whole, world)


def planned(crowd: Sequence[Maker]) -> list[Drink]:
    """The true drinks of the amounts that the makers planned."""
    return pour_all(crowd, [maker.plan for maker in crowd])


def _drinks(whole: Array, world: World) -> list[Drink]:
    """Drinks and their properties from contents, one row each."""
    grams = whole[:, GRAMS_AT]
    mass, ethanol = grams.sum(axis=1), grams[:, ETHANOL]
    if world.mixing == "binary":
        ml = binary_volume_ml(grams)
    elif world.mixing == "tabarie":
        ml = tabarie_volume_ml(mass, ethanol, whole[:, EXTRACT_AT])
    else:
        ml = whole[:, OWN_ML_AT]
    litres = ml / 1000.0
    abv = 100.0 * ethanol / ETHANOL_KG_M3 / litres
    charges = Charges(whole[:, ACIDS_AT] / litres[:, None], abv)
    sid, strong = whole[:, SID_AT] / litres, whole[:, STRONG_AT] / litres
    columns = {
        "gravity": mass / litres / WATER_KG_M3,
        "abv_percent": abv,
        "titratable_acidity": TARTARIC_G_PER_EQ * charges.base(8.2, sid, strong),
        "ph": charges.ph(sid, strong),
        "volume": litres,
        "sugar_g_per_l": grams @ IS_SUGAR / litres,
    }
    return [
        Drink(contents, {name: float(column[i]) for name, column in columns.items()})
        for i, contents in enumerate(whole)
    ]
