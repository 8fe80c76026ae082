"""Plans to be rounded, drawn at random, and what rounding them is worth by a plain reckoning of its own."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from math import ceil, floor, inf
from typing import Any

from service.catalogue.lookup import get_ingredient
from service.chemistry.acids import Acid, meq_per_l_from_acid_g_per_l
from service.errors import ServiceError
from service.model.lot import LotReadings, lot_from_readings
from service.model.properties import PROPERTIES
from service.planner.asked import AdditionAsked, Circumstances, Instruments, LotAsked, Preference, TargetAsked
from service.planner.materials import Material, materials_of, poured
from service.planner.measures import measures_for
from service.planner.predict import value_of
from service.quantities import System

ADDITIONS = (
    "honey_acacia",
    "sugar_white",
    "lemon_juice_fresh",
    "apple_juice_concentrate_70",
    "water_deionised",
    "citric_acid_anhydrous",
    "potassium_bicarbonate",
    "neutral_spirit_40",
)
SMALL = {"citric_acid_anhydrous": 30.0, "potassium_bicarbonate": 20.0}
WITHOUT_ACIDS = ("gravity", "abv_percent", "volume", "sugar_g_per_l", "citrus_percent")
OF_ACIDS = ("titratable_acidity", "ph")


def lot(name: str, litres: float, least_l: float | None = None, **readings: float) -> LotAsked:
    """A dry lot by its readings, all of it or from a least volume on."""
    taken: dict[str, Any] = {"gravity": 0.998, "abv_percent": 8.0, "tartaric_g_per_l": 5.0, "ph": 3.4, **readings}
    acidity = meq_per_l_from_acid_g_per_l(taken["tartaric_g_per_l"], Acid.TARTARIC)
    known = lot_from_readings(
        name,
        LotReadings(
            litres,
            None,
            taken["gravity"],
            taken["abv_percent"],
            titratable_meq_per_l=acidity,
            ph=taken["ph"],
        ),
    )
    return LotAsked(known, litres if least_l is None else least_l, litres)


def exact(name: str, value: float, priority: int = 1) -> TargetAsked:
    """A target met exactly, within half an instrument step."""
    half = PROPERTIES[name].tolerance(value)
    return TargetAsked(name, value - half, value + half, value, f"{value:g}", priority)


@dataclass(frozen=True)
class Case:
    """A plan before rounding, and what is asked of it."""

    materials: tuple[Material, ...]
    masses_g: tuple[float, ...]
    targets: tuple[TargetAsked, ...]
    prefer: tuple[Preference, ...]
    circumstances: Circumstances
    rounding: str

    def values(self, masses_g: Sequence[float], names: Sequence[str]) -> list[float | None]:
        """Properties of a blend by the whole model."""
        contents = poured(self.materials, masses_g)
        try:
            return [value_of(name, self.materials, masses_g, contents) for name in names]
        except ServiceError:
            return [None] * len(names)

    def worth(self, masses_g: Sequence[float]) -> list[float]:
        """Misses of ranges by priority beyond what counts as met, and distance from values, in noticeable steps."""
        priorities = sorted({t.priority for t in self.targets})
        misses, distance = [0.0] * len(priorities), 0.0
        for target, value in zip(self.targets, self.values(masses_g, [t.name for t in self.targets]), strict=True):
            if value is None:
                misses[priorities.index(target.priority)] += 1e9
                continue
            law = PROPERTIES[target.name]
            ends = [abs(e) for e in (target.low, target.high) if abs(e) < inf]
            step = law.step(abs(target.value) if target.value is not None else max(ends))
            outside = max(target.low - value, value - target.high, 0.0) - 0.1 * law.tolerance(abs(value))
            misses[priorities.index(target.priority)] += max(outside - 1e-12 * abs(value), 0.0) / step
            if target.value is not None:
                distance += abs(value - target.value) / step
        return [*misses, distance]

    def neighbours(self) -> list[tuple[float, ...]]:
        """What may be measured beside each mass, inside its limits; the mass itself where it has to stay."""
        measures = measures_for(self.materials, self.circumstances, self.rounding)
        step = self.circumstances.instruments.scale_step_g
        found: list[tuple[float, ...]] = []
        for material, mass, measure in zip(self.materials, self.masses_g, measures, strict=True):
            if material.fixed or mass == 0.0:
                found.append((mass,))
                continue
            if self.rounding == "scale":
                pair = (floor(mass / step) * step, ceil(mass / step) * step)
            else:
                pair = (measure.below(mass), measure.above(mass))
            least, most = material.least_g * (1 - 1e-12), inf if material.most_g is None else material.most_g
            inside = tuple(g for g in sorted(set(pair)) if least <= g <= most * (1 + 1e-12))
            found.append(inside or (mass,))
        return found

    def combinations(self) -> Iterator[tuple[float, ...]]:
        """Every rounding of the amounts down or up."""
        return product(*self.neighbours())

    def each_alone(self) -> tuple[float, ...]:
        """Each amount rounded to the nearest on its own."""
        pairs = zip(self.masses_g, self.neighbours(), strict=True)
        return tuple(min(near, key=lambda g, mass=mass: abs(g - mass)) for mass, near in pairs)  # type: ignore[misc]


def no_better(worth: Sequence[float], other: Sequence[float], within: float = 1e-9) -> bool:
    """Whether another worth is not lexicographically better than this one, by more than noise."""
    for mine, theirs in zip(worth, other, strict=True):
        if mine < theirs - within:
            return True
        if mine > theirs + within:
            return False
    return True


def _target(name: str, value: float, draw: random.Random) -> TargetAsked:
    step = PROPERTIES[name].step(abs(value))
    priority = draw.choice((1, 1, 1, 2))
    kind = draw.choice(("exact", "exact", "at least", "between", "near", "missed"))
    if kind == "at least":
        return TargetAsked(name, value, inf, None, "", priority)
    if kind == "between":
        return TargetAsked(name, value - draw.uniform(0.0, 0.1) * step, value, None, "", priority)
    if kind == "near":
        near, half = value + draw.uniform(-0.2, 0.2) * step, draw.uniform(0.25, 0.5) * step
        return TargetAsked(name, near - half, near + half, near, "", priority)
    return exact(name, value if kind == "exact" else value + draw.uniform(-0.5, 0.5) * step, priority)


def drawn(seed: int, *, acids: bool) -> Case:
    """A plan of random amounts whose targets it meets exactly, holds at their ends, or misses a little."""
    draw = random.Random(f"rounding {seed} {acids}")
    lots = [lot("base", round(draw.uniform(2.0, 20.0), 1), gravity=draw.uniform(0.994, 1.004))]
    if draw.random() < 0.4:
        lots.append(lot("other", round(draw.uniform(3.0, 9.0), 1), 0.0, abv_percent=draw.uniform(5.0, 11.0)))
    names = draw.sample(ADDITIONS, draw.randint(2, 5 if not acids else 4))
    additions = []
    for name in names:
        top = SMALL.get(name, 1200.0)
        least = draw.choice((0.0, 0.0, draw.uniform(0.0, 0.3) * top))
        most = draw.choice((None, least + draw.uniform(0.4, 1.0) * top))
        additions.append(AdditionAsked(get_ingredient(name), None, least, most, price_per_g=draw.uniform(1e-3, 1e-2)))
    materials = materials_of(lots, additions)
    masses = []
    for material in materials:
        room = 1.3 * SMALL.get(material.name, 900.0) if material.most_g is None else material.most_g - material.least_g
        masses.append(
            material.least_g + (0.0 if material.fixed else draw.choice((0.0, 1.0, 1.0, 1.0))) * draw.random() * room
        )
    systems: tuple[System, ...] = ("metric", "us")
    system = draw.choice(systems)
    step = draw.choice((0.1, 1.0, 5.0, 10.0, 50.0))
    given = draw.random() < 0.5
    case = Case(
        materials,
        tuple(masses),
        (),
        tuple(draw.sample((Preference("cost", False), Preference("citrus_percent", True)), draw.randint(0, 2))),
        Circumstances(system, Instruments(step if given else 1.0, given=frozenset({"scale"} if given else ()))),
        draw.choice(("scale", "kitchen")),
    )
    asked = draw.sample(WITHOUT_ACIDS, draw.randint(1, 3))
    if acids:
        asked = [*draw.sample(OF_ACIDS, draw.randint(1, 2)), *asked[:2]]
    values = zip(asked, case.values(masses, asked), strict=True)
    targets = tuple(_target(name, value, draw) for name, value in sorted(values) if value is not None)
    return replace(case, targets=targets)
