"""The must itself as a plan of the general solver: sugar sources and water, brought to a gravity and a volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.properties import PROPERTIES
from service.physics.fermentation import ORIGINAL_GRAVITY_MAX
from service.physics.slips import gravity_meant
from service.physics.solutes import Component
from service.planner.answers_blend import BlendPlan
from service.planner.asked import AdditionAsked, Circumstances, PlanAsked, TargetAsked
from service.planner.blend_plan import solve_blend
from service.planner.materials import Material, materials_of
from service.planner.must.asked import MustAsked
from service.planner.must.ferment import LEAST_ORIGINAL_GRAVITY, Share, share_of
from service.planner.plain_words import plain_figure

_SG_PER_G_PER_ML: Final = 0.386
"""About what a gram of sugar in a millilitre adds to the gravity: only how far a search looks depends on it."""

_WIDE: Final = 4.0
"""How much beyond what is likely a volume that nobody named is sought."""


@dataclass(frozen=True, slots=True)
class Mixed:
    """A must that was solved: the plan, its materials with their masses [g], and what of it ferments."""

    plan: BlendPlan
    materials: tuple[Material, ...]
    masses_g: tuple[float, ...]
    share: Share

    @property
    def gravity(self) -> float:
        """Gravity of the must, SG 20/20."""
        return self.plan.predicted.gravity.value

    @property
    def volume_l(self) -> float:
        """Volume of the must [L]."""
        return self.plan.predicted.volume.value


def exactly(name: str, value: float, words: str) -> TargetAsked:
    """A target that counts as met within half an instrument step, the value itself being aimed at."""
    half = PROPERTIES[name].tolerance(value)
    return TargetAsked(name, value - half, value + half, value, words)


def must_plan(
    asked: MustAsked, original_gravity: float | None, volume_l: float | None, circumstances: Circumstances
) -> Mixed:
    """The sources and the water that make a must.

    Parameters: asked; original_gravity, or None where all amounts are given; volume_l, of the must or of the water as
        `asked.volume_is` says [L], or None where a given amount of a source decides it; circumstances.
    Returns: Mixed. What cannot be reached is an outcome with the nearest must.
    Raises: InputError where the sources make no must.
    """
    additions = [source.addition for source in asked.sources]
    targets, water = [], asked.water
    if water.price_per_g is None and by_cost(asked):
        water = replace(water, price_per_g=0.0)
    if original_gravity is not None:
        if not LEAST_ORIGINAL_GRAVITY <= original_gravity <= ORIGINAL_GRAVITY_MAX:
            raise OutOfRangeError(
                f"A must lies between {LEAST_ORIGINAL_GRAVITY:.4f} and {ORIGINAL_GRAVITY_MAX:.3f}, not at "
                f"{original_gravity:g}.{gravity_meant(original_gravity) or ' A heavier one does not ferment through.'}",
                "/original_gravity",
            )
        targets.append(exactly("gravity", original_gravity, f"{original_gravity:.4f}"))
    sought = True
    if volume_l is not None and asked.volume_is != "water_added":
        targets.append(exactly("volume", volume_l, f"{plain_figure(volume_l, 5)} L"))
        sought = False
    elif volume_l is not None:
        (poured,) = materials_of((), (water,))
        mass = 1000.0 * volume_l * (poured.density_g_ml or 1.0)
        water = replace(water, least_g=mass, most_g=mass)
    if sought:
        likely = _likely_l(additions, original_gravity, volume_l)
        targets.append(TargetAsked("volume", likely / (_WIDE * _WIDE), _WIDE * likely, None, "whatever it makes"))
    plan_asked = PlanAsked(
        (),
        (*additions, water),
        tuple(targets),
        asked.prefer,
        asked.rounding,
        circumstances,
        asked.deadline_s,
    )
    try:
        plan = solve_blend(plan_asked)
    except InputError as error:
        error.pointer = error.pointer.replace("/additions", "/sources").replace("/targets/volume", "/volume")
        raise
    materials = materials_of((), (*additions, water))
    masses = tuple(amount.mass_g for amount in plan.amounts)
    if plan.predicted.gravity.value > ORIGINAL_GRAVITY_MAX:
        raise OutOfRangeError(
            f"These amounts make a must of {plan.predicted.gravity.value:.3f}; up to {ORIGINAL_GRAVITY_MAX:.3f} can be "
            "reckoned with, and a heavier one does not ferment through. Take less, or more water.",
            "/sources",
        )
    if plan.predicted.gravity.value < LEAST_ORIGINAL_GRAVITY:
        raise InconsistentError(
            f"These amounts make a must of {plan.predicted.gravity.value:.4f}: hardly anything in it ferments. Check "
            "the amounts and their units.",
            "/sources",
        )
    if sought:  # the volume was sought, not asked for
        plan = replace(plan, targets=tuple(t for t in plan.targets if t.property != "volume"))
    return Mixed(plan, materials, masses, share_of(materials, masses))


def by_cost(asked: MustAsked) -> bool:
    """Whether the must is chosen by what it costs: then its water, which has no price, costs nothing."""
    return any(preference.name == "cost" for preference in asked.prefer)


def _likely_l(additions: Sequence[AdditionAsked], original_gravity: float | None, water_l: float | None) -> float:
    """About what volume comes of it [L]."""
    materials = materials_of((), additions)
    fixed_l = sum(m.least_g / (m.density_g_ml or 1.5) for m in materials) / 1000.0
    if water_l is not None:
        return fixed_l + 1.2 * water_l
    dry_g = sum(m.least_g * (1.0 - m.per_g.masses_g.get(Component.WATER, 0.0)) for m in materials)
    if dry_g <= 0.0 or original_gravity is None:
        raise InputError(
            "Say how much must to make, as a volume with volume_is, or how much there is of a source: its amount.",
            "/volume",
        )
    return max(_SG_PER_G_PER_ML * dry_g / (1000.0 * (original_gravity - 1.0)), fixed_l)


def without_searched(plan: BlendPlan) -> BlendPlan:
    """The plan without the lines on limits that nobody would name for honey and water."""
    return replace(plan, assumed=tuple(a for a in plan.assumed if not a.what.endswith(": max")))
