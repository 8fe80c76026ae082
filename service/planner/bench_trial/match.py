"""From the glass to the batch: the same ingredients litre for litre, the stocks by plain scaling, or other ingredients.

What is matched is what a litre of the finished drink was dosed with, c = m/V of the glass for each ingredient. The
batch takes x = c·V' of each, where its finished volume V' is that of the lot and of the ingredients themselves; with
b litres of lot in a litre of drink,

    V(b·lot + Σ c·ingredient) = 1 L,   V' = V_lot/b

The water that stocks were made with is no ingredient: it is only copied where water may go into the batch, and then all
amounts are those of the glass times V_lot/v_base.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.model.contents import together
from service.model.properties import PROPERTIES
from service.physics.roots import root_between
from service.planner.answers import Predicted
from service.planner.answers_blend import BlendPlan
from service.planner.asked import AdditionAsked, PlanAsked, TargetAsked
from service.planner.bench_trial.asked import BenchAsked
from service.planner.bench_trial.glass import Glass, Stock, dye_addition
from service.planner.blend_plan import solve_blend
from service.planner.materials import Material

_MATCHED = (
    "sucrose_equivalent_g_per_l",
    "titratable_acidity",
    "juice_percent",
    "abv_percent",
)
"""What other ingredients are chosen to match, where the glass has it: what is tasted."""

_MOST = {
    "abv_percent": 100.0,
    "sucrose_equivalent_g_per_l": 5000.0,
    "titratable_acidity": 1000.0,
    "juice_percent": 2000.0,
}
_LEAST_ACIDITY_G_PER_L = -1000.0
_ROUNDS_WITH_DYE = 3
_MOST_SHARE = 1.5
"""No dose leaves more room than this for the lot [L/L]."""

_POUR_STEPS = 0.25
_MARKS = 20.0
_LEAST_MARK_ML = 0.1
"""A volume for the batch is poured by a jug read to half a step, a small one by a measure with marks at a twentieth of
it (judged)."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Materials and masses [g] of one way to make the batch."""

    materials: tuple[Material, ...]
    masses_g: tuple[float, ...]


def factor_of(glass: Glass) -> float:
    """How many glasses the batch is."""
    return glass.pure[0].least_g / glass.base.least_g


def poured_sd_ml(volume_ml: float, jug_step_ml: float) -> float:
    """Standard deviation of a volume poured into the batch [mL].

    >>> poured_sd_ml(25.0, 50.0)
    0.3125
    """
    return _POUR_STEPS * min(jug_step_ml, max(volume_ml / _MARKS, _LEAST_MARK_ML))


def plain_scaling(glass: Glass, jug_step_ml: float) -> Batch:
    """The stocks themselves, each as many times as the batch is the glass's base."""
    k = factor_of(glass)
    return Batch(
        (glass.pure[0], *(poured_stock(s, k * s.mass_g, jug_step_ml) for s in glass.stocks)),
        (glass.pure[0].least_g, *(k * s.mass_g for s in glass.stocks)),
    )


def poured_stock(stock: Stock, mass_g: float, jug_step_ml: float) -> Material:
    """So much of a stock for the batch."""
    volume = None if stock.density_g_ml is None else mass_g / stock.density_g_ml
    sd_share = 0.0 if volume is None else poured_sd_ml(volume, jug_step_ml) / volume
    return stock.poured(mass_g, sd_share, None)


def without_stock_water(glass: Glass) -> Batch:
    """The ingredients alone, each as many times as the batch is the glass's base: the water's litres are missing."""
    k = factor_of(glass)
    return kept(glass, [glass.pure[0].least_g, *(k * g for g in glass.dosed_g[1:])])


def same_ingredients_g(glass: Glass, *, water_allowed: bool) -> list[float]:
    """The ingredients of the stocks, undiluted, so that a litre of batch holds what a litre of glass was dosed with.

    Parameters: glass; water_allowed, whether the water of the stocks is copied too.
    Returns: the mass of each pure material of the glass in the batch [g].
    """
    k = factor_of(glass)
    lot = glass.pure[0]
    if glass.water_g == 0.0 or water_allowed:
        masses = [k * (dosed + water) for dosed, water in zip(glass.dosed_g, glass.stock_water_g, strict=True)]
        return [lot.least_g, *masses[1:]]
    per_litre = [g / glass.volume_l for g in glass.dosed_g[1:]]
    dose = together([m.per_g for m in glass.pure[1:]], per_litre)
    lot_per_l = lot.per_g.scaled(1000.0 * (lot.density_g_ml or 1.0))
    least = glass.base.least_g / (glass.base.density_g_ml or 1.0) / (1000.0 * glass.volume_l)
    share = root_between(lambda b: lot_per_l.scaled(b).plus(dose).volume_ml - 1000.0, least, _MOST_SHARE)
    litres = lot.least_g / (1000.0 * (lot.density_g_ml or 1.0)) / share
    return [lot.least_g, *(c * litres for c in per_litre)]


def kept(glass: Glass, masses_g: Sequence[float]) -> Batch:
    """Without what is not poured at all."""
    pairs = [(m, g) for k, (m, g) in enumerate(zip(glass.pure, masses_g, strict=True)) if g > 0.0 or k == 0]
    return Batch(tuple(m for m, _ in pairs), tuple(g for _, g in pairs))


def targets_from(glass: Predicted) -> tuple[TargetAsked, ...]:
    """What the glass is, as values to be near to: sweetness, acidity, juice and strength."""
    found = []
    for name in sorted(_MATCHED):
        value = getattr(glass, name).value
        if name == "juice_percent" and value <= 0.0:
            continue
        low = _LEAST_ACIDITY_G_PER_L if name == "titratable_acidity" else 0.0
        words = f"{value:.{PROPERTIES[name].decimals}f} {PROPERTIES[name].unit} as in the glass"
        found.append(TargetAsked(name, low, _MOST[name], value, words))
    return tuple(found)


def other_ingredients(asked: BenchAsked, glass: Glass, predicted: Predicted) -> BlendPlan:
    """The plan that comes nearest to the glass with the ingredients that the request names, dyes beside them.

    Parameters: asked; glass; predicted, of the glass.
    Returns: BlendPlan, whose distances are counted in noticeable steps.
    Raises: InputError as `service.planner.blend_plan.solve_blend`.
    """
    dyes = [s for s in glass.stocks if s.asked.dye is not None]
    litres, plan = asked.batch.least_l, None
    for _ in range(_ROUNDS_WITH_DYE if dyes else 1):
        plan = solve_blend(
            PlanAsked(
                (asked.batch,),
                (*asked.additions, *(_dye(s, litres / glass.volume_l, asked) for s in dyes)),
                targets_from(predicted),
                circumstances=asked.circumstances,
                deadline_s=asked.deadline_s,
            )
        )
        litres = plan.predicted.volume.value
    assert plan is not None
    return plan


def _dye(stock: Stock, times: float, asked: BenchAsked) -> AdditionAsked:
    """A dye stock in a given amount."""
    assert stock.asked.dye is not None
    assert stock.density_g_ml is not None
    mass_g = times * stock.mass_g
    sd_ml = poured_sd_ml(mass_g / stock.density_g_ml, asked.circumstances.instruments.jug_step_ml)
    addition = dye_addition(stock.asked.name, stock.asked.dye)
    return replace(addition, least_g=mass_g, most_g=mass_g, amount_sd_g=sd_ml * stock.density_g_ml)
