"""The same intervals by simulation: many drinks, each with its own materials, and the quantiles of what they are.

Random numbers come from one seeded generator and are kept: drinks of the same unknowns are drawn alike, so that plans
beside each other differ by what is in them. Volumes and pH are those of each drink, not of a tangent. Masses that
would fall below nothing are nothing. numpy is imported when it is needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from service.chemistry.charge_balance import Charges
from service.chemistry.many_states import ph_of_many
from service.model.contents import COMPONENTS, SIZE, TALLIES
from service.model.properties import CITRIC_G_PER_MEQ, TARTARIC_G_PER_MEQ, TOTAL_MASS, Of, Per
from service.model.unknowns import FAR, PH
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.mixture import VOLUME_SUMS, volume_and_gradient_ml, volume_sums
from service.physics.solutes import Component
from service.planner.intervals import Spreads

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Values = NDArray[np.float64]
else:
    Values = object

_ETHANOL_G_PER_L_PER_PERCENT: Final = ETHANOL_DENSITY_20C_KG_M3 / 100.0
_ACIDS_AT: Final = len(COMPONENTS) + len(TALLIES)
_ETHANOL: Final = COMPONENTS.index(Component.ETHANOL)
_LOW, _HIGH = 0.05, 0.95
_IONS: Final = (SIZE - 2, SIZE - 1)
"""Strong ions, which may be below nothing, and ionic strength."""

_FAR_SD: Final = 4.0
_NEVER_SD: Final = 8.0
"""Limits further away than this cut off nothing."""

_NEUTRAL_PH: Final = 7.0
_OF_WHAT_IS_ADDED: Final = (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST)

Law = tuple[float, float, float]
"""Centre and both limits of an unknown."""


@lru_cache(maxsize=32)
def drawn_unknowns(laws: tuple[Law, ...], draws: int, seed: int) -> Values:
    """Values of cut normal unknowns; each draw has its mirror image among the others.

    Parameters: laws, centre and limits of each; draws; seed.
    Returns: values, shape (draws, number of laws), in the unknowns' own units; kept, and not to be written to.
    Validity: a centre far outside the limits counts as `FAR` outside, as in `service.model.unknowns`.
    Source: inverse of the cut normal distribution.

    >>> above = drawn_unknowns(((0.0, 0.0, float("inf")),), 10_000, 1)
    >>> round(float(above.mean()), 1), bool(above.min() >= 0.0)  # √(2/π)
    (0.8, True)
    """
    import numpy as np
    from scipy.special import ndtr, ndtri

    dice, half = np.random.default_rng(seed), (draws + 1) // 2
    values: Values = np.empty((len(laws), draws))
    for k, (centre, low, high) in enumerate(laws):
        centre = min(max(centre, low - FAR), high + FAR)
        if low - centre < -_NEVER_SD and high - centre > _NEVER_SD:
            normal = dice.standard_normal(half)
            values[k, :half], values[k, half:] = centre + normal, centre - normal[: draws - half]
            continue
        sign = -1.0 if low > centre else 1.0  # from the thin end of the law, where shares keep their digits
        least, most = sorted((sign * (low - centre), sign * (high - centre)))
        below, above = ndtr(least), ndtr(most)
        share = dice.random(half)
        shares = np.concatenate((share, 1.0 - share[: draws - half]))
        values[k] = np.clip(centre + sign * ndtri(below + shares * (above - below)), low, high)
    values.setflags(write=False)
    return values.T


def drawn_properties(spreads: Spreads, names: Iterable[str], draws: int, seed: int) -> dict[str, Values]:
    """Properties of many drinks.

    Parameters: spreads of a blend; names of properties that are defined for it; draws; seed.
    Returns: values of each, shape (draws,); of what is added only the deviation from the plan.
    Validity: shifts of compositions are linear in the readings behind them, as in `service.planner.intervals`;
    acidity is that of each drink with the charges that acids carry at the end point in the blend itself.
    """
    import numpy as np

    laws = {name: spreads.circumstances.senses.law(name) for name in names}
    unknowns = spreads.unknowns
    z = drawn_unknowns(tuple((u.centre, u.low, u.high) for u in unknowns), draws, seed)
    shifts = np.array([u.shift for u in unknowns]) if unknowns else np.zeros((0, SIZE))
    base = np.array(spreads.contents.vector)
    forms = [list(column) for column in zip(*(volume_sums({c: 1.0}) for c in COMPONENTS), strict=True)]
    forms = [[*form, *[0.0] * (SIZE - len(COMPONENTS))] for form in forms]
    at: dict[str, int] = {}
    for name, law in laws.items():
        if law.of is Of.CONTENTS:
            at[name] = len(forms)
            forms.append(list(law.weights))
    mass, acid = len(forms), len(forms) + 1
    forms += [list(TOTAL_MASS), _titration_form(spreads.chemistry.titration)]
    by_form = np.array(forms).T
    sums = (base @ by_form)[:, None] + (shifts @ by_form).T @ z.T
    for k in _may_run_out(base, shifts):
        missing = np.minimum(base[k] + z @ shifts[:, k], 0.0)
        for sum_, weight in zip(sums, by_form[k], strict=True):
            if weight:
                sum_ -= weight * missing
    litres: Values = np.asarray(volume_and_gradient_ml([*sums[: len(VOLUME_SUMS)]])[0]) / 1000.0
    meq = sums[acid] - spreads.chemistry.titration.solvent_meq * litres
    noise = np.random.default_rng(seed + 1)
    found: dict[str, Values] = {}
    for name, law in laws.items():
        if law.of in _OF_WHAT_IS_ADDED:
            value = z @ np.array(spreads.slopes(name, 0.0))
        elif law.of is Of.VOLUME:
            value = litres
        elif law.of is Of.PH:
            value = _ph(spreads, z, shifts, litres)
        elif law.of is Of.TITRATION:
            value = TARTARIC_G_PER_MEQ * meq / litres
        elif law.per is Per.ACID:
            value = sums[at[name]] / (CITRIC_G_PER_MEQ * meq)
        else:
            value = sums[at[name]] / (litres if law.per is Per.VOLUME else sums[mass])
        if law.of not in _OF_WHAT_IS_ADDED:
            for _, sd in spreads.model_sd(name, float(value[0])):
                value = value + sd * noise.standard_normal(draws)
        found[name] = value
    return found


def _titration_form(titration: Charges) -> list[float]:
    """Base that a titration takes, but for the water's own ions [meq for each unit of the contents]."""
    return [*[0.0] * _ACIDS_AT, *titration.charge, -1.0, 0.0]


def _may_run_out(base: Values, shifts: Values) -> list[int]:
    """The places of masses, tallies and acids that could fall below nothing."""
    import numpy as np

    far = _FAR_SD * np.sqrt((shifts * shifts).sum(axis=0))
    return [int(k) for k in np.flatnonzero((far > 0.0) & (base < far)) if k not in _IONS]


def _floor() -> Values:
    """Nothing is below nought but strong ions, which may be."""
    import numpy as np

    floor = np.zeros(SIZE)
    floor[-2] = -np.inf
    return floor


def _ph(spreads: Spreads, z: Values, shifts: Values, litres: Values) -> Values:
    """pH of each drink; what the pH of a material is off by moves that of the drink in proportion.

    A pH half a unit off changes acids and ions far from in proportion, and what it does to a drink's pH nearly so.
    """
    import numpy as np

    of_ph = np.array([unknown.what == PH for unknown in spreads.unknowns], dtype=bool)
    contents = np.maximum(np.array(spreads.contents.vector) + z[:, ~of_ph] @ shifts[~of_ph], _floor())
    state = contents[:, _ACIDS_AT:] / litres[:, None]
    abv = contents[:, _ETHANOL] / (_ETHANOL_G_PER_L_PER_PERCENT * litres)
    value = ph_of_many(state[:, :-2], state[:, -2], state[:, -1], abv)
    if not of_ph.any():
        return value
    slopes = np.array(spreads.slopes("ph", spreads.chemistry.ph or _NEUTRAL_PH))
    moved: Values = value + z[:, of_ph] @ slopes[of_ph]
    return moved


def quantiles(values: Values) -> tuple[float, float]:
    """Both ends of the 90 % interval of some draws: the values at 5 and 95 % of them, without interpolation.

    >>> import numpy as np
    >>> quantiles(np.arange(1000.0))
    (50.0, 949.0)
    """
    import numpy as np

    low, high = round(_LOW * len(values)), round(_HIGH * len(values)) - 1
    # one at a time: with two places at once numpy takes another way that is many times slower
    return float(np.partition(values, low)[low]), float(np.partition(values, high)[high])


def drawn_intervals(
    spreads: Spreads, values: Mapping[str, float], draws: int, seed: int
) -> dict[str, tuple[float, float]]:
    """90 % intervals of some properties by simulation.

    Parameters: spreads; values of the plan's own figures, by property; draws; seed.
    Returns: low and high end of each.
    """
    return {name: quantiles(drawn) for name, drawn in drinks(spreads, values, draws, seed).items()}


def drinks(spreads: Spreads, values: Mapping[str, float], draws: int, seed: int) -> dict[str, Values]:
    """`drawn_properties`, of what is added too as figures instead of deviations.

    Parameters and returns: as there; values of the plan's own figures, by property.
    """
    drawn = drawn_properties(spreads, values, draws, seed)
    for name in drawn:
        if spreads.circumstances.senses.law(name).of in _OF_WHAT_IS_ADDED:
            drawn[name] = drawn[name] + values[name]
    return drawn


def share_between(values: Values, low: float, high: float) -> float:
    """The share of some draws between two values.

    >>> import numpy as np
    >>> share_between(np.arange(10.0), 2.0, 5.0)
    0.4
    """
    return float(((values >= low) & (values <= high)).mean())
