"""Seeded random blends for the solver's tests and benchmarks: invented compositions, reachable by construction.

A base of water, ethanol and a little extract; 2 to 30 additions that look like honeys, concentrates, juices,
water, acids and spirit; targets on gravity, strength, acidity, Brix and volume drawn around a random feasible
blend; aims of least addition, least cost or most citrus.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from service.physics.mixture import volume_and_gradient_ml
from service.solver.problem import Aim, Form, Problem, Ratio
from service.solver.stages import Goal

WATER = 0.9982012


@dataclass(frozen=True)
class Instance:
    """One seeded problem: goals over a problem without rows, and a state to start from."""

    problem: Problem
    goals: tuple[Goal, ...]
    start: tuple[float, ...]


@dataclass(frozen=True)
class _Material:
    water: float
    ethanol: float
    solids: float
    glucose_share: float
    acid: float  # eq/kg
    citrus: float  # litres of single strength per kg
    price: float

    def sums(self) -> tuple[float, ...]:
        acid_mass = 0.064 * self.acid
        sugars = max(self.solids - acid_mass, 0.0)
        acid_mass = self.solids - sugars
        glucose, fructose = sugars * self.glucose_share, sugars * (1 - self.glucose_share)
        return (
            self.water,
            self.ethanol,
            self.solids,
            sugars,
            0.004308 * glucose - 0.004766 * fructose + 0.594287 * acid_mass,
            0.007754 * glucose + 0.010251 * fructose + 0.019065 * acid_mass,
            0.0,
        )


def _material(rng: random.Random) -> _Material:
    kind = rng.choice(["honey", "honey", "concentrate", "concentrate", "juice", "juice", "water", "acid", "spirit"])
    if kind == "honey":
        w = rng.uniform(0.16, 0.20)
        return _Material(w, 0, 1 - w, rng.uniform(0.4, 0.5), rng.uniform(0.01, 0.04), 0, rng.uniform(5, 14))
    if kind == "concentrate":
        s = rng.uniform(0.38, 0.70)
        citrus = rng.choice([0, s * 8])
        return _Material(1 - s, 0, s, rng.uniform(0.4, 0.55), rng.uniform(0.3, 1.6), citrus, rng.uniform(3, 9))
    if kind == "juice":
        s = rng.uniform(0.08, 0.16)
        citrus = rng.choice([0, 0.95])
        return _Material(1 - s, 0, s, rng.uniform(0.4, 0.55), rng.uniform(0.05, 0.8), citrus, rng.uniform(1, 5))
    if kind == "water":
        return _Material(1, 0, 0, 0, 0, 0, rng.uniform(0.0, 0.01))
    if kind == "acid":
        return _Material(0, 0, 1, 0, 15.6, 0, rng.uniform(5, 9))
    e = rng.choice([0.333, 0.924])
    return _Material(1 - e, e, 0, 0, 0, 0, rng.uniform(15, 40))


def make(seed: int, size: int, *, strength_bounded: bool = True) -> Instance:
    """The instance of a seed with `size` additions."""
    rng = random.Random(seed * 1000 + size)
    materials = [_material(rng) for _ in range(size)]
    abv = rng.uniform(6, 13)
    ethanol = abv * 7.8924e-3
    extract = rng.uniform(0.012, 0.03)
    acid = rng.uniform(0.04, 0.1)
    base_water = 0.9982 - ethanol * 1.25 - extract * 0.62
    fixed = (base_water, ethanol, extract, extract * 0.6, 0.66 * extract * 0.4, 0.0, 0.0)
    upper = tuple(rng.uniform(0.05, 0.6) if m.acid < 5 else rng.uniform(0.002, 0.01) for m in materials)
    share = min(1.0, 3.0 / size)
    point = [rng.random() * u * (1.0 if rng.random() < share else 0.0) for u in upper]
    columns = tuple(m.sums() for m in materials)
    mass = Form(base_water + ethanol + extract, tuple(m.water + m.ethanol + m.solids for m in materials))
    volume = Form(0.0, (0.0,) * size, 1.0)
    alcohol = Form(ethanol / 0.78924, tuple(m.ethanol / 0.78924 for m in materials))
    titre = Form(acid, tuple(m.acid for m in materials))
    citrus = Form(0.0, tuple(m.citrus for m in materials))
    solids = Form(extract, tuple(m.solids for m in materials))
    added = Form(0.0, (1.0,) * size)
    cost = Form(0.0, tuple(m.price for m in materials))
    tie = Form(0.0, tuple(1.0 + 0.3 * ((j * 0.618034) % 1.0) for j in range(size)))
    aim = {
        "added": Aim((Ratio(added),)),
        "cost": Aim((Ratio(cost),)),
        "citrus": Aim((Ratio(citrus.scaled(-1.0), volume),)),
    }[rng.choice(["added", "cost", "citrus"])]
    problem = Problem((0.0,) * size, upper, fixed, columns, (), (aim, Aim((Ratio(added),)), Aim((Ratio(tie),))))
    sums = problem.sums_at(point)
    v = volume_and_gradient_ml(sums)[0]
    gravity = Ratio(mass.scaled(1 / WATER), volume)
    strength = Ratio(alcohol.scaled(100.0), volume)
    goals = []

    def around(name: str, ratio: Ratio, half: float, step: float, *, exact: float) -> None:
        middle = ratio.at(point, v)
        if rng.random() < exact:
            goals.append(Goal(name, ratio, middle, middle, middle, step))
        else:
            low = middle - half * rng.random()
            goals.append(Goal(name, ratio, low, low + half, None, step))

    around("gravity", gravity, 0.004, 0.001, exact=0.7)
    if strength_bounded:
        around("abv_percent", strength, 1.0, 0.1, exact=0.4)
    if rng.random() < 0.5:
        around("acidity", Ratio(titre, volume), 0.02, 0.005, exact=0.3)
    if rng.random() < 0.3:
        around("brix", Ratio(solids.scaled(100.0), mass), 1.0, 0.2, exact=0.0)
    if rng.random() < 0.5:
        around("volume", Ratio(volume), 0.2, 0.01, exact=0.0)
    start = (0.91, 0.06, 0.08, 0.08, 0.0, 0.0006, 0.0)
    return Instance(problem, tuple(goals), start)
