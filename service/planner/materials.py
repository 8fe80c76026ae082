"""Lots and additions as the materials of a blend: a name, contents per gram, and the limits of its mass."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Literal

from service.catalogue.acidity import acids_per_kg
from service.catalogue.derived import density_g_ml
from service.catalogue.loader import ingredients
from service.catalogue.records import Acids, Ingredient
from service.model.contents import Contents, contents_per_g, together
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.plain_words import plain_names


@dataclass(frozen=True, slots=True)
class Material:
    """One thing to pour or weigh, between two masses [g]; `most_g` None where nothing limits it.

    `acids_per_g` are in `per_g` already; they say here how well they are known. `whole_g`: it comes in multiples of
    this only. `name` is the id or the lot's name, for scripts; `plain` what an addition is called in the cellar.
    """

    name: str
    kind: Literal["lot", "addition"]
    per_g: Contents
    density_g_ml: float | None
    least_g: float
    most_g: float | None
    price_per_g: float | None
    source: LotAsked | AdditionAsked
    acids_per_g: Acids
    whole_g: float | None = None
    plain: str = ""

    @property
    def said(self) -> str:
        """What it is called in a sentence: no two materials of a question alike."""
        return self.plain or self.name

    @property
    def fixed(self) -> bool:
        """Whether its mass is given."""
        return self.least_g == self.most_g


def materials_of(lots: Sequence[LotAsked], additions: Sequence[AdditionAsked]) -> tuple[Material, ...]:
    """All materials, lots first, each by name, so that the order of a request does not matter.

    Two additions of one ingredient are numbered in an order of their own contents and limits.
    """
    found = []
    for asked in sorted(lots, key=lambda a: (a.lot.name, a.most_l, a.lot.contents.vector)):
        density = asked.lot.contents.mass_g / (1000.0 * asked.lot.volume_l)
        per_l = asked.lot.contents.mass_g / asked.lot.volume_l
        found.append(
            Material(
                asked.lot.name,
                "lot",
                asked.lot.contents.scaled(1.0 / asked.lot.contents.mass_g),
                density,
                asked.least_l * per_l,
                asked.most_l * per_l,
                None,
                asked,
                asked.lot.acids.scaled(1.0 / per_l),
            )
        )
    seen: Counter[str] = Counter()
    for addition in sorted(additions, key=lambda a: (a.ingredient.id, a.order)):
        ingredient = addition.ingredient
        seen[ingredient.id] += 1
        number = f" {seen[ingredient.id]}" if seen[ingredient.id] > 1 else ""
        found.append(
            Material(
                ingredient.id + number,
                "addition",
                contents_per_g(ingredient) if addition.per_g is None else addition.per_g,
                _density_g_ml(addition),
                addition.least_g,
                addition.most_g,
                addition.price_per_g,
                addition,
                _acids_per_g(ingredient),
                addition.whole_g,
            )
        )
    return _called(found)


def _called(found: Sequence[Material]) -> tuple[Material, ...]:
    """Each addition with its plain name; a lot keeps the name that its maker gave it."""
    plain = _plain(tuple(dict.fromkeys(m.name for m in found)))
    return tuple(m if m.kind == "lot" else replace(m, plain=plain[m.name]) for m in found)


@lru_cache(maxsize=256)
def _plain(names: tuple[str, ...]) -> dict[str, str]:
    """What materials are called; a batch of requests names the same ones again and again."""
    return plain_names(names)


def _density_g_ml(asked: AdditionAsked) -> float | None:
    """Density of an addition as it is known now; None for a dry solid."""
    if asked.ingredient.bulk_solid:
        return None
    if asked.per_g is not None:
        return asked.per_g.mass_g / asked.per_g.volume_ml
    return liquid_density_g_ml(asked.ingredient)


def liquid_density_g_ml(ingredient: Ingredient) -> float:
    """`density_g_ml` of a liquid ingredient; that of a row of the catalogue is kept.

    Raises: as `density_g_ml`.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(liquid_density_g_ml(get_ingredient("honey")), 2)
    1.42
    """
    if ingredients().get(ingredient.id) is ingredient:
        return _density_of_row(ingredient.id)
    return density_g_ml(ingredient)


@cache
def _density_of_row(ingredient_id: str) -> float:
    return density_g_ml(ingredients()[ingredient_id])


def _acids_per_g(ingredient: Ingredient) -> Acids:
    if ingredients().get(ingredient.id) is ingredient:
        return _acids_of_row(ingredient.id)
    return acids_per_kg(ingredient).scaled(1e-3)


@cache
def _acids_of_row(ingredient_id: str) -> Acids:
    return acids_per_kg(ingredients()[ingredient_id]).scaled(1e-3)


def poured(materials: Sequence[Material], masses_g: Sequence[float]) -> Contents:
    """Contents of the blend of these masses."""
    return together([m.per_g for m in materials], masses_g)
