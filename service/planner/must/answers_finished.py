"""What a must plan answers about a finished drink: the base it needs, the blend, the shopping.

The text below a field is its description in the OpenAPI document.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from service.planner.answers import Amount, Predicted, Proof
from service.planner.answers_blend import TargetReport
from service.planner.answers_decisions import SHOWN, Clash


@dataclass(frozen=True, slots=True)
class BaseNeeded:
    """How strong the base of a finished drink has to be, and how much must it takes."""

    __pydantic_config__ = SHOWN

    name: str
    """Name of the base."""
    abv_percent: float
    """Strength that the blend needs [% vol]."""
    start_value_abv_percent: float
    """The strength by volumes alone, contraction and everything else left out [% vol]: where the search began."""
    final_gravity: float
    """Where it ends, as given or as expected."""
    original_gravity: float
    """The gravity that the must needs for it."""
    volume_l: float
    """What goes into the blend [L]."""
    before_racking_l: float
    """What has to have fermented for that, lees and rackings counted [L]."""
    must_l: float
    """Must for it [L]: fermenting takes a little of the volume."""
    text: str
    """The same in words."""


@dataclass(frozen=True, slots=True)
class FinishedDrink:
    """The blend that the base is for."""

    __pydantic_config__ = SHOWN

    outcome: Literal["targets_met", "nearest_measurable", "targets_clash", "no_plan_found"]
    """What became of its targets."""
    proof: Proof
    """What is proved about it."""
    summary: str
    """One sentence about it."""
    amounts: tuple[Amount, ...]
    """How much of the base and of each addition."""
    predicted: Predicted
    """The drink."""
    targets: tuple[TargetReport, ...]
    """What became of each target."""
    clash: Clash | None
    """Why they cannot all be met; null where they can."""
    blended_l: float
    """Volume of the blend [L]."""
    packaged_l: float
    """Volume that is left to fill after losses [L]."""
    packaged_low_l: float
    """The least of it, by what is not known of the losses [L]."""
    containers_l: float | None
    """Volume of the containers asked for [L]; null without any."""


@dataclass(frozen=True, slots=True)
class ShoppingLine:
    """One thing to buy."""

    __pydantic_config__ = SHOWN

    what: str
    """Ingredient, nutrient, yeast or container."""
    kind: Literal["ingredient", "nutrient", "yeast", "container"]
    """What kind of thing it is."""
    mass_g: float | None
    """Mass that is needed [g]; null for containers."""
    volume_ml: float | None
    """Volume at 20 °C [mL]; null for what is weighed."""
    for_must_g: float | None
    """Of it, for the must [g]."""
    for_blend_g: float | None
    """Of it, for the blend [g]."""
    amount_text: str
    """What to buy, whole packs where it is sold so."""
    packs: float | None
    """Packs, rounded up; null where it is not sold in packs."""
    left_over_g: float | None
    """What is left of the packs [g]; null where there are none."""
    cost: float | None
    """Price of what is bought, in `currency`; null without a price."""


@dataclass(frozen=True, slots=True)
class CostPerContainer:
    """What the contents of one container cost."""

    __pydantic_config__ = SHOWN

    fill_ml: float
    """Its fill [mL]."""
    count: int
    """How many."""
    cost: float
    """What the contents of one cost, by its share of the volume, in `currency`."""
