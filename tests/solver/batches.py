"""Seeded random batches split into drinks: the materials of `instances`, with stocks that a known point keeps to."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.physics.mixture import volume_and_gradient_ml
from service.solver.portions import Part
from service.solver.problem import Aim, Form, Problem, Ratio, Row
from service.solver.stack import Link
from service.solver.stages import Goal
from tests.solver.instances import WATER, _Material, _material

PREFERENCES = ("added", "cost", "citrus")


@dataclass(frozen=True)
class Batch:
    """Drinks with what they share, and amounts that meet all of it."""

    parts: tuple[Part, ...]
    links: tuple[Link, ...]
    inside: tuple[tuple[float, ...], ...]


def _base(rng: random.Random) -> tuple[tuple[float, ...], float, float]:
    """Volume sums of a litre of a dry ferment, its ethanol and its acid."""
    ethanol = rng.uniform(6, 13) * 7.8924e-3
    extract = rng.uniform(0.012, 0.03)
    water = 0.9982 - ethanol * 1.25 - extract * 0.62
    return (water, ethanol, extract, extract * 0.6, 0.66 * extract * 0.4, 0.0, 0.0), ethanol, rng.uniform(0.04, 0.1)


def _part(
    rng: random.Random, materials: Sequence[_Material], preference: str, lot: bool, exact_volume: float
) -> tuple[Part, tuple[float, ...]]:
    """One drink and a point inside it; with `lot` the ferment is the first column, else it is given."""
    base, ethanol, acid = _base(rng)
    upper = [rng.uniform(0.05, 0.5) if m.acid < 5 else rng.uniform(0.002, 0.01) for m in materials]
    share = min(1.0, 3.0 / len(materials))
    point = [rng.uniform(0.1, 0.9) * u * (rng.random() < share) for u in upper]
    columns = [m.sums() for m in materials]
    fixed, lead = base, 0
    if lot:
        fixed, lead = (0.0,) * 7, 1
        columns, upper, point = [base, *columns], [1.5, *upper], [rng.uniform(0.6, 1.0), *point]
    size = len(columns)

    def form(of_base: float, of_materials: Sequence[float], volume: float = 0.0) -> Form:
        if lot:
            return Form(0.0, (of_base, *of_materials), volume)
        return Form(of_base, tuple(of_materials), volume)

    none = (0.0,) * len(materials)
    mass = form(sum(base[:3]), [m.water + m.ethanol + m.solids for m in materials])
    volume = form(0.0, none, 1.0)
    alcohol = form(ethanol / 0.78924, [m.ethanol / 0.78924 for m in materials])
    titre = form(acid, [m.acid for m in materials])
    added = form(0.0, [1.0] * len(materials))
    aim = {
        "added": Ratio(added),
        "cost": Ratio(form(0.0, [m.price for m in materials])),
        "citrus": Ratio(form(0.0, [-m.citrus for m in materials]), volume),
    }[preference]
    tie = Form(0.0, tuple(1.0 + 0.3 * ((j * 0.618034) % 1.0) for j in range(size)))
    problem = Problem(
        (0.0,) * size,
        tuple(upper),
        fixed,
        tuple(columns),
        (Row("some drink", volume, lower=0.05),) if lot else (),
        (Aim((aim,)), Aim((Ratio(added),)), Aim((Ratio(tie),))),
    )
    v = volume_and_gradient_ml(problem.sums_at(point))[0]
    goals = []

    def around(name: str, ratio: Ratio, half: float, step: float, *, exact: float) -> None:
        middle = ratio.at(point, v)
        if rng.random() < exact:
            goals.append(Goal(name, ratio, middle, middle, middle, step))
        else:
            low = middle - half * rng.random()
            goals.append(Goal(name, ratio, low, low + half, None, step))

    around("gravity", Ratio(mass.scaled(1 / WATER), volume), 0.004, 0.001, exact=0.6)
    around("abv_percent", Ratio(alcohol.scaled(100.0), volume), 1.0, 0.1, exact=0.3)
    if rng.random() < 0.5:
        around("acidity", Ratio(titre, volume), 0.02, 0.005, exact=0.2)
    if lot or rng.random() < 0.5:
        around("volume", Ratio(volume), 0.2, 0.01, exact=exact_volume)
    assert len(columns) == size == lead + len(materials)
    return Part(problem, tuple(goals), (0.91, 0.06, 0.08, 0.08, 0.0, 0.0006, 0.0)), tuple(point)


def make_batch(
    seed: int,
    count: int,
    size: int,
    *,
    preference: str | None = None,
    room: float = 1.1,
    exact_volume: float = 0.7,
    lot: bool | None = None,
) -> Batch:
    """`count` drinks of the same `size` materials; every stock is up to `room` times what the known point takes."""
    rng = random.Random(f"{seed} {count} {size}")
    materials = [_material(rng) for _ in range(size)]
    chosen = preference or rng.choice(PREFERENCES)
    with_lot = rng.random() < 0.5 if lot is None else lot
    made = [_part(rng, materials, chosen, with_lot, exact_volume) for _ in range(count)]
    links = []
    litres = [rng.choice([1.0, 0.5, 2.0]) for _ in range(count)]
    for j in range(made[0][0].problem.size):
        taken = sum(v * point[j] for v, (_, point) in zip(litres, made, strict=True))
        most = taken * (1.0 + (room - 1.0) * rng.random()) + (0.02 * rng.random() if taken == 0.0 else 0.0)
        terms = tuple((k, j, v) for k, v in enumerate(litres))
        links.append(Link(f"stock {j}", terms, 0.0, most))
    return Batch(tuple(p for p, _ in made), tuple(links), tuple(x for _, x in made))


def loosened(batch: Batch) -> Batch:
    """The same drinks with stocks that never run out."""
    return replace(batch, links=tuple(replace(link, upper=1e3) for link in batch.links))
