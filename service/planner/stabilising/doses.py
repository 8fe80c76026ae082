"""From a mass of salt to what a maker can measure: grams, tablets, or millilitres of a stock solution.

No spoons: what a spoon holds depends on how the powder lies in it, and twice the sulfite hurts.
"""

from __future__ import annotations

from math import ceil, floor, inf
from typing import Final, Literal

from service.planner.asked import Circumstances
from service.planner.stabilising.answers import SaltDose, StockSolution
from service.quantities import mass_text, number_text
from service.quantities.units import GRAMS_PER_OUNCE

Salt = Literal["potassium_metabisulfite", "potassium_sorbate"]

_DIVISIONS: Final = 10.0
"""A mass of fewer divisions of the scale than this is measured as a solution: 5 % of error at most (our default)."""

_STRONG, _WEAK, _FAINT = 0.10, 0.01, 0.001
_LEAST_STRONG_ML: Final = 5.0
_LEAST_WEAK_ML: Final = 1.0
_BATCH_ML: Final = 100.0
_FINEST_ML, _FINE_ML, _COARSE_ML = 0.01, 0.1, 1.0
_FINE_BELOW_ML: Final = 20.0
_ROUNDED_BY: Final = 0.05
_HALF_TABLET: Final = 0.5


def salt_dose(
    salt: Salt,
    mass_g: float,
    adds_mg_per_l: float,
    most_g: float,
    circumstances: Circumstances,
    tablet_g: float | None = None,
) -> SaltDose:
    """A dose as the caller's scale shows it.

    Rounding goes to the nearest division, but down where the nearest would pass a limit. Below ten divisions the
    salt is measured from a solution of 10 or 1 % w/v, or thinned to 0.1 % where less than 1 mL of that would do.

    Parameters: salt; mass_g of the product, scalar [g]; adds_mg_per_l, what it adds [mg/L]; most_g, the mass at which
    a limit is reached, scalar [g]; circumstances; tablet_g, mass of a tablet [g].
    Returns: SaltDose.

    Example: 2.1 g on a scale that shows 1 g.

    >>> salt_dose("potassium_metabisulfite", 2.1, 50.0, 10.0, Circumstances()).amount_text
    '21 mL of a 10 % stock solution'
    """
    step = circumstances.instruments.scale_step_g
    stock = _stock(mass_g, most_g, step) if mass_g < _DIVISIONS * step else None
    if stock is not None:
        amount = f"{stock.add_ml:g} mL of a {stock.strength_percent:g} % stock solution"
    else:
        shown = _rounded(mass_g, step, most_g)
        amount = mass_text(shown, "metric", step)
        if circumstances.system != "metric":
            amount += f" ({number_text(shown / GRAMS_PER_OUNCE, 0.01)} oz)"
    tablets = None if tablet_g is None else mass_g / tablet_g
    return SaltDose(
        salt=salt,
        mass_g=round(mass_g, 4),
        amount_text=amount,
        adds_mg_per_l=round(adds_mg_per_l, 2),
        tablets=None if tablets is None else round(tablets, 2),
        tablets_text=None if tablets is None or tablet_g is None else _tablets(tablets, tablet_g, most_g),
        stock=stock,
    )


def _rounded(value: float, step: float, most: float) -> float:
    nearest = round(value / step) * step
    return nearest if nearest <= most else floor(value / step + 1e-9) * step


def _stock(mass_g: float, most_g: float, step_g: float) -> StockSolution:
    strength = _STRONG if mass_g / _STRONG >= _LEAST_STRONG_ML else _WEAK
    if mass_g / strength < _LEAST_WEAK_ML:
        strength = _FAINT
    weighed = max(strength, _WEAK)
    exact = mass_g / strength
    mark = _FINEST_ML if exact < _LEAST_WEAK_ML else _FINE_ML if exact < _FINE_BELOW_ML else _COARSE_ML
    add = round(_rounded(exact, mark, most_g / strength if most_g < inf else inf), 2)
    made_up = _BATCH_ML * max(1, ceil(max(mass_g, _DIVISIONS * step_g) / weighed / _BATCH_ML - 1e-9))
    salt = round(made_up * weighed, 4)
    thinned = "" if strength == weighed else f" make {_BATCH_ML / 10.0:g} mL of it up to {_BATCH_ML:g} mL with water,"
    return StockSolution(
        strength_percent=100.0 * strength,
        salt_g=salt,
        made_up_to_ml=made_up,
        add_ml=add,
        text=(
            f"Dissolve {salt:g} g in water, make up to {made_up:g} mL,{thinned} use it the same day: {add:g} mL, by "
            f"syringe or pipette, hold {_share(add, exact)}. Discard the rest."
        ),
    )


def _share(add_ml: float, exact_ml: float) -> str:
    if abs(add_ml - exact_ml) <= _ROUNDED_BY * exact_ml:
        return "the dose"
    return f"{100.0 * add_ml / exact_ml:.0f} % of the dose: a larger volume can be dosed better"


def _tablets(tablets: float, tablet_g: float, most_g: float) -> str:
    whole = _rounded(tablets, _HALF_TABLET, most_g / tablet_g)
    if whole <= 0.0:
        return "less than half a tablet: weigh or dissolve instead"
    word = "tablet" if whole <= 1.0 else "tablets"
    return f"{whole:g} {word} of {tablet_g:g} g, crushed and dissolved: {100.0 * whole / tablets:.0f} % of the dose"
