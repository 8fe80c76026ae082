"""The trade's rule for honey beside the balance of masses, and what the water in the honey does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from service.catalogue.overrides import with_measured
from service.catalogue.records import Category
from service.errors import ServiceError
from service.physics.solutes import Component
from service.planner.asked import AdditionAsked
from service.planner.materials import Material, materials_of, poured
from service.planner.must.answers import MoistureEffect, RuleOfThumb
from service.planner.must.asked import VolumeIs
from service.planner.must.words import litres_words
from service.planner.predict import value_of
from service.quantities import System

POINTS_L_PER_KG: Final = 35.0 * 3.785411784 / 0.45359237
"""35 points for a pound in a US gallon [points·L/kg]: 292 (common practice, no source)."""

WORTH_EXPLAINING: Final = 2.0
"""Points between the rule and the balance that are explained (our default)."""


def _honeys(materials: Sequence[Material], masses_g: Sequence[float]) -> tuple[list[tuple[Material, float]], bool]:
    """The honeys that go in, and whether they are all the sugar there is."""
    honeys, alone = [], True
    for material, mass in zip(materials, masses_g, strict=True):
        if mass <= 0.0:
            continue
        assert isinstance(material.source, AdditionAsked)
        category = material.source.ingredient.category
        if category is Category.HONEY:
            honeys.append((material, mass))
        elif category is not Category.WATER:
            alone = False
    return honeys, alone and bool(honeys)


def honey_alone(materials: Sequence[Material], masses_g: Sequence[float]) -> bool:
    """Whether the must is honey and water and nothing else."""
    return _honeys(materials, masses_g)[1]


def rule_of_thumb(
    materials: Sequence[Material],
    masses_g: Sequence[float],
    volume_l: float,
    volume_is: VolumeIs | None,
    named_l: float | None,
    system: System = "metric",
) -> RuleOfThumb | None:
    """35 points per pound in a US gallon, of the volume that the caller named, beside the plan's own gravity.

    Parameters: materials and masses_g [g]; volume_l of the must [L]; volume_is, what the caller's volume means;
        named_l, that volume [L], if one was named; system, in which it is told.
    Returns: RuleOfThumb; None where the sugar is not honey alone.

    Example: 169 g in a litre of must are 49.4 points by the rule and 53.8 by the balance (computed).
    """
    honeys, alone = _honeys(materials, masses_g)
    if not alone:
        return None
    kilograms = sum(mass for _, mass in honeys) / 1000.0
    litres = volume_l if named_l is None else named_l
    points = POINTS_L_PER_KG * kilograms / litres
    contents = poured(materials, masses_g)
    gravity = value_of("gravity", materials, masses_g, contents)
    assert gravity is not None
    gap = 1000.0 * (gravity - 1.0) - points
    water = sum(mass * m.per_g.masses_g.get(Component.WATER, 0.0) for m, mass in honeys) / (10.0 * kilograms)
    meant = "of water added" if volume_is == "water_added" else "of must"
    reason = ""
    if abs(gap) > WORTH_EXPLAINING:
        why = (
            "Here the volume is that of the water, and the must is larger: the more honey, the further the rule is off."
            if volume_is == "water_added"
            else "The rule agrees only where the volume is that of the water, in a light must."
        )
        reason = (
            f"Honey of {water:.1f} % water gives about {38.2 * (100.0 - water) / 82.8:.0f} points for a pound in a "
            f"gallon of must, not 35. {why} A reading away from both: wetter honey, the other volume, honey not "
            "dissolved on the bottom, or a warm sample."
        )
    elif volume_is == "water_added":
        reason = "Two errors cancel: the rule is low for honey, and the must is larger than its water."
    return RuleOfThumb(
        f"35 points for a pound in a US gallon (292 for a kilogram in a litre), on {litres_words(litres, system)} "
        f"{meant}; common practice, no source: a cross-check only.",
        round(points, 2),
        round(1.0 + points / 1000.0, 5),
        round(gap, 2),
        reason,
    )


def moisture_effect(materials: Sequence[Material], masses_g: Sequence[float]) -> MoistureEffect | None:
    """The gravity of the same amounts with 1 % more and 1 % less water in the honey of which there is most.

    Parameters: materials and masses_g [g].
    Returns: MoistureEffect; None without honey, or where a wetter or drier one is beyond what honey can be.
    """
    honeys, _ = _honeys(materials, masses_g)
    if not honeys:
        return None
    honey = max(honeys, key=lambda pair: pair[1])[0]
    assert isinstance(honey.source, AdditionAsked)
    moisture = 100.0 * honey.per_g.masses_g.get(Component.WATER, 0.0)

    def gravity(percent: float) -> float:
        assert isinstance(honey.source, AdditionAsked)
        wetter = with_measured(honey.source.ingredient, moisture_percent=percent).ingredient
        (changed,) = materials_of((), (replace(honey.source, ingredient=wetter),))
        others = [changed if m is honey else m for m in materials]
        value = value_of("gravity", others, masses_g, poured(others, masses_g))
        assert value is not None
        return value

    try:
        more, less = gravity(moisture + 1.0), gravity(moisture - 1.0)
    except ServiceError:
        return None
    return MoistureEffect(
        honey.name,
        round(moisture, 2),
        round(more, 5),
        round(less, 5),
        f"1 % more water in the honey takes {1000.0 * (less - more) / 2.0:.1f} points off, 1 % less adds them. Weigh "
        "honey, never measure its volume; a honey refractometer tells the water.",
    )
