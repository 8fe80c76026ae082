"""Where a must ends: strength, gravity and volume when everything that yeast can use has gone.

Balling's balance of masses with the fermentable share of what goes in. The share of a honey's reducing disaccharides
that ferments, and what yeast makes besides alcohol, are not known beforehand: both ends are told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from service.catalogue.derived import fermentable_g_per_100g
from service.chemistry.nitrogen import sugar_break_gravity
from service.errors import InconsistentError, OutOfRangeError, ServiceError
from service.physics.fermentation import (
    BALLING,
    ORIGINAL_GRAVITY_MAX,
    FermentedOut,
    abv_from_gravities,
    fermented_out,
)
from service.physics.roots import root_between
from service.physics.solutes import Component
from service.planner.asked import AdditionAsked
from service.planner.materials import Material, poured
from service.planner.must.answers import Expected, Ferment

LEAST_YIELD_G_PER_G: Final = 0.46
"""Least alcohol from a gram of sugar in practice (common practice, no source)."""

GLYCEROL_GRAVITY: Final = 0.002
"""What glycerol and acids that stay dissolved add to the final gravity, at the most (judged: about 5 g/L)."""

LEAST_ORIGINAL_GRAVITY: Final = 1.0005
_LEAST_SHARE = 0.05
_AS_READ = 0.0015
"""A final gravity this much beyond what can be is put down to the hydrometer."""


@dataclass(frozen=True, slots=True)
class Share:
    """Fermentable part of the dry extract [g/g]: by the rows' typical composition, and its ends."""

    value: float
    low: float
    high: float


def share_of(materials: Sequence[Material], masses_g: Sequence[float]) -> Share:
    """The part of a must's dry extract that yeast can use, from the rows of what goes in.

    Parameters: materials, all of them additions; masses_g of each [g].
    Returns: Share.
    Raises: InconsistentError where there is no extract, or next to none that ferments.
    """
    contents = poured(materials, masses_g)
    dry = sum(g for c, g in contents.masses_g.items() if c not in (Component.WATER, Component.ETHANOL))
    if dry <= 0.0:
        raise InconsistentError("This must holds nothing but water: give a source of sugar.", "/sources")
    low = value = high = 0.0
    for material, mass in zip(materials, masses_g, strict=True):
        assert isinstance(material.source, AdditionAsked)
        spread = fermentable_g_per_100g(material.source.ingredient)
        assert spread.low is not None
        assert spread.high is not None
        low += mass * spread.low / 100.0
        value += mass * spread.typical / 100.0
        high += mass * spread.high / 100.0
    if value < _LEAST_SHARE * dry:
        raise InconsistentError("Hardly anything in this must ferments: give a source of sugar.", "/sources")
    return Share(min(value / dry, 1.0), min(low / dry, 1.0), min(high / dry, 1.0))  # all sugar, to rounding


def ferment_of(original_gravity: float, share: Share, volume_l: float, final_gravity: float | None = None) -> Ferment:
    """Where a must ends.

    Parameters: original_gravity, SG 20/20; share that ferments; volume_l of the must [L]; final_gravity, where the
        caller says where it will end: else all that can ferment does.
    Returns: Ferment.
    Raises: OutOfRangeError above an original gravity of 1.200; InconsistentError where the final gravity cannot be.
    Source: C. J. N. Balling, Die Gährungschemie; yields of practice, common practice, no source.
    """
    most: float = BALLING.ethanol_yield_g_per_g
    out = fermented_out(original_gravity, share.value)
    weakest = fermented_out(original_gravity, share.low, LEAST_YIELD_G_PER_G)
    driest = fermented_out(original_gravity, share.high, most)
    lowest, highest = driest.final_gravity, fermented_out(original_gravity, share.low).final_gravity + GLYCEROL_GRAVITY
    ends = (weakest.abv_percent, driest.abv_percent)
    by_itself = final_gravity is None or final_gravity <= highest + _AS_READ
    if final_gravity is not None:
        out = ended_at(original_gravity, final_gravity, share)
        read = abv_from_gravities(original_gravity, out.final_gravity)
        lowest = highest = final_gravity
        ends = (read.abv_low_percent, read.abv_high_percent)
    ratios = (
        (weakest.volume_ratio, driest.volume_ratio) if final_gravity is None else (out.volume_ratio, out.volume_ratio)
    )
    strength = f"{out.abv_percent:.1f} % vol ({ends[0]:.1f} to {ends[1]:.1f})"
    return Ferment(
        fermentable_share=_expected(share.value, "g/g", share.low, share.high, 4),
        ethanol_yield_g_per_g=_expected(most, "g/g", LEAST_YIELD_G_PER_G, most, 4),
        abv_percent=_expected(out.abv_percent, "% vol", *ends, 3),
        abv_per_litre_of_must=_expected(
            out.abv_percent * out.volume_ratio, "% vol", ends[0] * ratios[0], ends[1] * ratios[1], 3
        ),
        final_gravity=_expected(out.final_gravity, "SG", lowest, highest, 5),
        volume_ratio=round(out.volume_ratio, 5),
        volume_after_l=round(volume_l * out.volume_ratio, 4),
        ends_by_itself=by_itself,
        sugar_break_gravity=round(sugar_break_gravity(original_gravity, min(out.final_gravity, original_gravity)), 4),
        text=f"{original_gravity:.3f} ends near {out.final_gravity:.3f} with {strength}. What leaves it open is how "
        "much of the rarer sugars ferments and what yeast makes besides alcohol, not the arithmetic. A final gravity "
        "of 1.000 does not mean that no sugar is left.",
    )


def _expected(value: float, unit: str, low: float, high: float, digits: int) -> Expected:
    return Expected(round(value, digits), unit, round(min(low, value), digits), round(max(high, value), digits))


def ended_at(original_gravity: float, final_gravity: float, share: Share) -> FermentedOut:
    """A must that ends at a gravity that the caller names.

    Raises: InconsistentError where not even the most that can ferment leads so far down.
    """
    lowest = fermented_out(original_gravity, share.high).final_gravity
    if final_gravity < lowest - _AS_READ:
        raise InconsistentError(
            f"A must of {original_gravity:.4f} ends no lower than {lowest:.4f} even if all its sugar ferments, and "
            f"{final_gravity:g} was given. Raise it, or leave it out.",
            "/final_gravity",
        )
    try:
        found = abv_from_gravities(original_gravity, final_gravity)
    except ServiceError as error:
        error.pointer = "/final_gravity"
        raise
    return FermentedOut(final_gravity, found.abv_percent, found.volume_ratio)


def strongest(share: Share) -> float:
    """The strength of a must of the greatest gravity that is reckoned with [% vol]."""
    return fermented_out(ORIGINAL_GRAVITY_MAX, share.value).abv_percent


def original_gravity_for(abv_percent: float, share: Share, final_gravity: float | None = None) -> float:
    """The gravity of the must that ends with a strength.

    Parameters: abv_percent of the drink as it ends [% vol]; share that ferments; final_gravity, where it is to end;
        else all that can ferment does.
    Returns: original gravity, SG 20/20.
    Raises: OutOfRangeError where no must up to 1.200 does.

    Example: 6.84 % vol of a honey of which 89 % ferments come from 1.048 (computed).

    >>> round(original_gravity_for(6.84, Share(0.89, 0.85, 0.94)), 3)
    1.048
    """
    if abv_percent <= 0.0:
        raise OutOfRangeError(f"A ferment has a strength above 0, not {abv_percent:g} % vol.")

    def miss(gravity: float) -> float:
        if final_gravity is None:
            return fermented_out(gravity, share.value).abv_percent - abv_percent
        try:
            return abv_from_gravities(gravity, final_gravity).abv_percent - abv_percent
        except InconsistentError:  # too little extract to come down so far: too weak
            return -abv_percent

    if miss(ORIGINAL_GRAVITY_MAX) < 0.0:
        raise OutOfRangeError(
            f"No must up to {ORIGINAL_GRAVITY_MAX:.3f} becomes {abv_percent:.1f} % vol; a heavier one does not ferment "
            "through. Ask for less strength."
        )
    low = LEAST_ORIGINAL_GRAVITY if final_gravity is None else max(LEAST_ORIGINAL_GRAVITY, final_gravity)
    if miss(low) >= 0.0:
        raise OutOfRangeError(f"{abv_percent:.2g} % vol is too little for a ferment to be planned: ask for more.")
    return root_between(miss, low, ORIGINAL_GRAVITY_MAX, tolerance=1e-10)
