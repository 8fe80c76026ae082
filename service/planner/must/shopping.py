"""Everything to buy for a must, and for the drink that it becomes: one line for each thing, in whole packs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from service.catalogue.records import Category
from service.errors import OutOfRangeError
from service.planner.answers import Amount
from service.planner.asked import AdditionAsked, Circumstances
from service.planner.materials import Material, materials_of
from service.planner.must.answers import NutrientDose, Pitch
from service.planner.must.answers_finished import CostPerContainer, ShoppingLine
from service.planner.must.asked import ContainerAsked, FinishedAsked, MustAsked, NitrogenSource, SourceAsked
from service.planner.must.feeds import weighed
from service.quantities import mass_text, volume_text

_DUST: Final = 1e-6

MOST_PACKS: Final = 10_000
"""More packs than that are a slip of the unit (our default)."""

_FINE_STEP_ML: Final = 5.0


@dataclass(frozen=True, slots=True)
class Bill:
    """What to buy, what it costs, and what has no price."""

    lines: tuple[ShoppingLine, ...]
    cost: float | None
    without: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Wanted:
    """One ingredient, the same on both sides where it is asked for alike."""

    material: Material
    source: SourceAsked
    must_g: float
    blend_g: float
    pointer: str


def bill_of(
    asked: MustAsked,
    must: Sequence[Amount],
    blend: Sequence[Amount],
    doses: Sequence[NutrientDose],
    yeast: Pitch,
) -> Bill:
    """The shopping list of a must, and of the blend that it is for.

    An ingredient of both is one line where id, reading and price are the same. The water of the must has no line.

    Parameters: asked; must and blend, their amounts; doses of nutrients that are fed; yeast.
    Returns: Bill.
    Raises: OutOfRangeError where more packs would be bought than anybody does.
    """
    circumstances = asked.circumstances
    lines = [_ingredient(wanted, circumstances) for wanted in _wanted(asked, must, blend)]
    sources = {source.name: source for source in asked.nitrogen.sources}
    lines += [_nutrient(dose, sources.get(dose.name), circumstances) for dose in doses]
    grams = yeast.wine_high_g if yeast.given_g is None else yeast.given_g
    lines.append(
        ShoppingLine(
            "yeast",
            "yeast",
            round(grams, 3),
            None,
            round(grams, 3),
            None,
            yeast.amount_text,
            None,
            None,
            None,
        )
    )
    containers = () if asked.finished is None else asked.finished.containers
    lines += [_container(one, circumstances) for one in containers]
    known = [line.cost for line in lines if line.cost is not None]
    return Bill(
        tuple(lines),
        round(sum(known), 2) if known else None,
        tuple(line.what for line in lines if line.cost is None) if known else (),
    )


def cost_per_container(bill: Bill, finished: FinishedAsked | None) -> tuple[CostPerContainer, ...]:
    """What the contents of each container cost, by its share of all that is filled."""
    if finished is None or bill.cost is None or not finished.containers:
        return ()
    litres = sum(one.count * one.fill_l for one in finished.containers)
    return tuple(
        CostPerContainer(round(1000.0 * one.fill_l, 3), one.count, round(bill.cost * one.fill_l / litres, 4))
        for one in finished.containers
    )


def _wanted(asked: MustAsked, must: Sequence[Amount], blend: Sequence[Amount]) -> Iterator[_Wanted]:
    sides = [(asked.sources, must, "/sources")]
    if asked.finished is not None:
        sides.append((asked.finished.additions, blend, "/finished/additions"))
    found: dict[tuple[object, ...], _Wanted] = {}
    for sources, amounts, pointer in sides:
        is_must = pointer == "/sources"
        masses = {a.name: a.mass_g for a in amounts if a.kind == "addition"}
        by_addition = {id(source.addition): (k, source) for k, source in enumerate(sources)}
        for material in materials_of((), [source.addition for source in sources]):
            mass = masses.get(material.name, 0.0)
            addition = material.source
            assert isinstance(addition, AdditionAsked)
            free_water = addition.ingredient.category is Category.WATER and addition.price_per_g is None
            if mass <= 0.0 or free_water:
                continue
            k, source = by_addition[id(addition)]
            key = (material.per_g.vector, addition.ingredient.id, addition.price_per_g, _pack_g(source))
            before = found.get(key)
            found[key] = _Wanted(
                material if before is None else before.material,
                source,
                (0.0 if before is None else before.must_g) + (mass if is_must else 0.0),
                (0.0 if before is None else before.blend_g) + (0.0 if is_must else mass),
                f"{pointer}/{k}",
            )
    yield from found.values()


def _pack_g(source: SourceAsked) -> float | None:
    return source.sold_in_g if source.sold_in_g is not None else source.addition.pack_g


def _ingredient(wanted: _Wanted, circumstances: Circumstances) -> ShoppingLine:
    mass = wanted.must_g + wanted.blend_g
    pack = _pack_g(wanted.source)
    packs = None if pack is None else float(ceil(mass / pack * (1.0 - _DUST)))
    if packs is not None and packs > MOST_PACKS:
        raise OutOfRangeError(
            f"{packs:.0f} packs of {wanted.material.said} would have to be bought, more than {MOST_PACKS}: check what "
            "one pack holds, and its unit.",
            f"{wanted.pointer}/{'pack' if wanted.source.sold_in_g is None else 'sold_in'}",
        )
    bought = mass if packs is None or pack is None else packs * pack
    instruments, system = circumstances.instruments, circumstances.system
    words = mass_text(mass, system, instruments.scale_step_g)
    density = wanted.material.density_g_ml
    if density is not None:
        words += f", about {volume_text(mass / density, system, min(instruments.jug_step_ml, _FINE_STEP_ML))}"
    if packs is not None and pack is not None:
        each = wanted.source.sold_as or mass_text(pack, system, instruments.scale_step_g)
        words = f"{packs:g} {'pack' if packs == 1.0 else 'packs'} of {each}, for {words}"
    price = wanted.material.price_per_g
    return ShoppingLine(
        wanted.material.name,
        "ingredient",
        round(mass, 3),
        None if density is None else round(mass / density, 2),
        round(wanted.must_g, 3),
        round(wanted.blend_g, 3),
        words,
        packs,
        None if packs is None else round(bought - mass, 3),
        None if price is None else round(bought * price, 4),
    )


def _nutrient(dose: NutrientDose, source: NitrogenSource | None, circumstances: Circumstances) -> ShoppingLine:
    price = None if source is None else source.price_per_g
    return ShoppingLine(
        dose.name,
        "nutrient",
        round(dose.mass_g, 3),
        None,
        round(dose.mass_g, 3),
        None,
        weighed(dose.mass_g, circumstances, at_most=dose.at_limit),
        None,
        None,
        None if price is None else round(dose.mass_g * price, 4),
    )


def _container(one: ContainerAsked, circumstances: Circumstances) -> ShoppingLine:
    fill = volume_text(1000.0 * one.fill_l, circumstances.system, 1.0)
    many = one.kind if one.count == 1 else f"{one.kind}s"
    return ShoppingLine(
        f"{one.kind} of {fill}", "container", None, None, None, None, f"{one.count} {many} of {fill}", None, None, None
    )
