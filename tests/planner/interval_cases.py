"""Recipes and plans drawn at random for the tests of intervals and chances; every figure in them is invented."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from functools import lru_cache
from statistics import NormalDist
from typing import Any

from service.api.reading_blend import forecast_from, plan_from
from service.api.requests_blend import BlendForecastRequest, BlendPlanRequest
from service.catalogue.loader import ingredients
from service.catalogue.records import Category
from service.errors import ServiceError
from service.model.properties import PROPERTIES
from service.planner.asked import Circumstances, PlanAsked
from service.planner.intervals import Spreads, spreads_of
from service.planner.materials import Material, materials_of
from service.planner.predict import value_of

Recipe = tuple[Sequence[Material], list[float], Circumstances]
"""Materials, their masses [g], circumstances."""

FERMENTS = ("mead", "grape_wine", "fruit_wine", "cider_perry")
OF_CONTENTS = tuple(name for name in PROPERTIES if name not in ("ph", "titratable_acidity", "sugar_acid_ratio"))
CLEAR = {"acid": 2.0, "salt": 0.5, "water": 100.0, "spirit": 60.0}
"""The most of an ingredient of a category [g for each litre of the lots]; of others, 80."""


@lru_cache(maxsize=1)
def pantry() -> dict[str, list[str]]:
    """The ids of the catalogue by category."""
    found: dict[str, list[str]] = {}
    for row in ingredients().values():
        found.setdefault(row.category.value, []).append(row.id)
    return {category: sorted(ids) for category, ids in found.items()}


def random_lot(chance: random.Random, name: str, *, dry: bool = False) -> dict[str, Any]:
    """A lot whose readings are complete or not; with `dry`, of little extract."""
    kind = "mead" if dry else chance.choice([*FERMENTS, *FERMENTS, "spirit", "citrus_juice", "berry_juice"])
    lot: dict[str, Any] = {"name": name, "class": kind}
    litres = chance.uniform(2.0, 25.0)
    if chance.random() < 0.8:
        lot["volume"] = f"{litres:.1f} L" + (f" ± {0.02 * litres:.2f} L" if chance.random() < 0.3 else "")
    else:
        lot["mass"] = f"{litres:.2f} kg"
    if kind in ("citrus_juice", "berry_juice"):
        lot |= {"gravity": round(chance.uniform(1.038, 1.055), 4), "abv_percent": 0.0}
    elif kind == "spirit":
        lot |= {"gravity": round(chance.uniform(0.97, 1.02), 4), "abv_percent": round(chance.uniform(20.0, 30.0), 1)}
    else:
        gravity = chance.uniform(0.992, 0.997) if dry else chance.uniform(0.996, 1.012)
        lot["gravity"] = round(gravity, 4)
        if chance.random() < 0.8:
            lot["abv_percent"] = round(chance.uniform(6.0, 9.0) if dry else chance.uniform(5.0, 13.0), 1)
        else:
            lot["original_gravity"] = round(gravity + chance.uniform(0.045, 0.08), 4)
    if kind != "spirit":
        sour = 2.0 if kind.endswith("juice") else 1.0
        if chance.random() < 0.7:
            lot["titratable_acidity"] = f"{sour * chance.uniform(3.5, 7.5):.1f} g/L tartaric"
            if chance.random() < 0.3:
                lot["titratable_acidity"] = lot["titratable_acidity"].replace(" g/L", " ± 0.3 g/L")
        if chance.random() < 0.7:
            lot["ph"] = round(chance.uniform(3.1, 3.9), 2)
    if kind in FERMENTS and not dry and lot["gravity"] > 1.004 and chance.random() < 0.3:
        lot["residual_sugar"] = f"{chance.uniform(2.0, 10.0):.1f} g/L" + (" ± 1 g/L" if chance.random() < 0.5 else "")
    return lot


def random_addition(chance: random.Random, litres: float, *, category: str | None = None) -> dict[str, Any]:
    """Some of any ingredient, measured or not."""
    kind = category or chance.choice(["honey", "honey", "juice", "juice", "concentrate", *pantry()])
    ingredient = chance.choice(pantry()[kind])
    row = ingredients()[ingredient]
    grams = litres * CLEAR.get(kind, 80.0) * chance.uniform(0.1, 1.0)
    addition: dict[str, Any] = {"ingredient": ingredient, "amount": f"{grams:.1f} g"}
    if chance.random() < 0.3:
        addition["amount"] += f" ± {0.02 * grams:.2f} g"
    measured: dict[str, Any] = {}
    if row.category is Category.HONEY and chance.random() < 0.4:
        measured["moisture_percent"] = round(chance.uniform(16.0, 19.0), 1)
    if row.category is Category.JUICE and chance.random() < 0.4 and row.brix is not None:
        measured["brix"] = round(row.brix.typical * chance.uniform(0.97, 1.05), 2)
    if row.category is Category.JUICE and chance.random() < 0.4 and row.ta_g_citric_per_100g is not None:
        measured["titratable_acidity"] = (
            f"{10.3 * row.ta_g_citric_per_100g.typical * chance.uniform(0.95, 1.1):.2f} g/L citric"
        )
    if measured:
        addition["measured"] = measured
    return addition


def random_recipe(seed: int, *, dry: bool = False) -> dict[str, Any]:
    """A forecast request for one recipe."""
    chance = random.Random(seed)
    lots = [random_lot(chance, f"lot {i}", dry=dry) for i in range(chance.randint(1, 2))]
    litres = sum(float((lot.get("volume") or lot["mass"]).split()[0]) for lot in lots)
    additions: dict[str, dict[str, Any]] = {}
    for _ in range(chance.randint(0, 1) if dry else chance.randint(1, 5)):
        addition = random_addition(chance, litres)
        additions.setdefault(addition["ingredient"], addition)
    return {"recipes": [{"name": "drawn", "lots": lots, "additions": list(additions.values())}]}


def read(body: Mapping[str, Any]) -> Recipe:
    """The first recipe of a forecast request, as the planner takes it."""
    asked = forecast_from(BlendForecastRequest.model_validate(body))
    recipe = asked.recipes[0]
    materials = materials_of(recipe.lots, recipe.additions)
    return materials, [m.least_g for m in materials], asked.circumstances


def drawn_recipe(seed: int, *, dry: bool = False) -> tuple[dict[str, Any], Recipe]:
    """The request of a seed and what it is read as; seeds whose readings cannot be true are passed over."""
    for again in range(100):
        body = random_recipe(1000 * seed + again, dry=dry)
        try:
            recipe = read(body)
            values_of(recipe)
        except ServiceError:
            continue
        return body, recipe
    raise AssertionError(seed)


def spreads(recipe: Recipe) -> Spreads:
    """The unknowns of a recipe."""
    return spreads_of(*recipe)


def values_of(recipe: Recipe) -> dict[str, float]:
    """The properties that a recipe has."""
    materials, masses, circumstances = recipe
    contents = spreads(recipe).contents
    found = {
        name: value_of(name, materials, masses, contents, circumstances.end_point_ph, circumstances.senses)
        for name in PROPERTIES
    }
    return {name: value for name, value in found.items() if value is not None}


def plan_of(body: Mapping[str, Any], deadline_s: float = 10.0) -> PlanAsked:
    """A plan request as the planner takes it, with time enough on a busy machine."""
    return plan_from(BlendPlanRequest.model_validate(body), deadline_s)


ASKED = ("abv_percent", "gravity", "titratable_acidity", "ph", "sugar_g_per_l", "juice_percent", "volume")
MOST_G_PER_L = {"acid": 3.0, "salt": 1.0, "water": 150.0, "spirit": 60.0, "honey": 100.0, "sugar": 80.0}
WISHED: tuple[dict[str, str], ...] = (
    {"minimise": "added_mass"},
    {"maximise": "sugar_g_per_l"},
    {"maximise": "juice_percent"},
    {"maximise": "abv_percent"},
    {"minimise": "titratable_acidity"},
    {"maximise": "sucrose_equivalent_g_per_l"},
)


def confident_request(seed: int, confidence: float | None = None, **more: Any) -> dict[str, Any]:
    """A plan request whose ranges hold at some drawn amounts with the confidence asked for, with little to spare."""
    for again in range(200):
        chance = random.Random(1000 * seed + again)
        try:
            return _confident_request(chance, confidence) | more
        except (ServiceError, LookupError):
            continue
    raise AssertionError(seed)


def _confident_request(chance: random.Random, confidence: float | None) -> dict[str, Any]:
    lots = []
    for i in range(chance.randint(1, 2)):
        lot = random_lot(chance, f"lot {i}")
        if lot["class"] not in FERMENTS:
            raise LookupError
        lots.append(lot)
    litres = sum(float((lot.get("volume") or lot["mass"]).split()[0]) for lot in lots)
    kinds = ["honey", chance.choice(["juice", "concentrate"]), *chance.sample(["juice", "water", "acid", "salt"], 2)]
    additions: dict[str, dict[str, Any]] = {}
    for kind in kinds[: chance.randint(2, 4)]:
        addition = random_addition(chance, litres, category=kind)
        del addition["amount"]
        addition["max"] = f"{litres * MOST_G_PER_L.get(kind, 120.0):.1f} g"
        additions.setdefault(addition["ingredient"], addition)
    body: dict[str, Any] = {
        "lots": lots,
        "additions": list(additions.values()),
        "targets": {"gravity": {"min": 0.9}},
        "prefer": [chance.choice(WISHED)],
    }
    asked = plan_of(body)
    materials = materials_of(asked.lots, asked.additions)
    masses = [
        m.least_g if m.fixed else m.least_g + chance.uniform(0.1, 0.7) * ((m.most_g or 0.0) - m.least_g)
        for m in materials
    ]
    values, here = (
        values_of((materials, masses, asked.circumstances)),
        spreads_of(materials, masses, asked.circumstances),
    )
    body["targets"] = {}
    names = [name for name in ASKED if name in values]
    for name in chance.sample(names, chance.randint(2, min(4, len(names)))):
        sure = confidence or chance.choice([0.6, 0.8, 0.9, 0.95, 0.99])
        interval = here.interval(name, values[name])
        kind = chance.choice(["min", "max", "both"])
        z = NormalDist().inv_cdf(0.5 * (1.0 + sure) if kind == "both" else sure)
        slack = chance.choice([0.05, 0.3, 1.0]) * interval.sd
        ends = {"min": interval.quantile(-z) - slack, "max": interval.quantile(z) + slack}
        if ends["min"] <= 0.0 or interval.sd <= 0.0:
            continue
        shown = {"titratable_acidity": "{:.6f} g/L tartaric", "volume": "{:.6f} L"}
        body["targets"][name] = {"confidence": sure} | {
            end: shown[name].format(value) if name in shown else round(value, 7)
            for end, value in ends.items()
            if kind in (end, "both")
        }
    if not body["targets"]:
        raise LookupError
    return body
