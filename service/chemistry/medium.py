"""Water with some ethanol at some temperature: what the constants of acids become in it.

Temperature moves each pK by van 't Hoff's equation, ethanol by a slope for each % vol, ionic strength by Davies'
equation. Mixed constants: hydrogen ions as activity, everything else as concentration.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import accumulate
from math import log
from operator import mul

from service.chemistry.activity import davies_a, davies_f, pk_at
from service.chemistry.weak_acids import ACIDS, DISSOCIATIONS, WATER, Dissociation
from service.errors import OutOfRangeError

LN_10 = log(10.0)

STANDARD_TEMPERATURE_C = 20.0

Products = tuple[float, ...]

_COLDEST_C, _WARMEST_C = 0.0, 50.0
_STRONGEST_ABV_PERCENT = 100.0


@lru_cache(maxsize=256)
def _thermodynamic(temperature_c: float) -> tuple[tuple[Products, ...], float]:
    """Products K₁, K₁K₂, K₁K₂K₃ of every acid and the ionic product of water, at no ionic strength."""
    if not _COLDEST_C <= temperature_c <= _WARMEST_C:
        raise OutOfRangeError(
            f"Dissociation constants are known from {_COLDEST_C:g} to {_WARMEST_C:g} °C, not at {temperature_c:g} °C."
        )

    def products(acid: Dissociation) -> Products:
        pks = (pk_at(temperature_c, s.pk_25c, s.enthalpy_kj_per_mol, s.heat_capacity_j_per_mol_k) for s in acid.steps)
        return tuple(10.0**-total for total in accumulate(pks))

    return tuple(products(DISSOCIATIONS[acid]) for acid in ACIDS), products(WATER)[0]


@dataclass(frozen=True, slots=True)
class Medium:
    """Water with some ethanol at some temperature: constants before ionic strength is counted.

    `products` are K₁, K₁K₂ and K₁K₂K₃ of each acid [mol/L and its powers]; `davies` is A of Davies' equation, 0 for
    ideal ions.
    """

    products: tuple[Products, ...]
    water: float
    davies: float

    def ionic_factor(self, ionic_mol_per_l: float) -> float:
        """10^(A f): the inverse of a monovalent ion's activity coefficient."""
        return float(10.0 ** (self.davies * davies_f(ionic_mol_per_l))) if self.davies else 1.0


@lru_cache(maxsize=512)
def medium_of(
    abv_percent: float = 0.0, temperature_c: float = STANDARD_TEMPERATURE_C, *, ideal: bool = False
) -> Medium:
    """The medium of a given strength and temperature.

    Parameters: abv_percent, scalar [% vol]; temperature_c, scalar [°C]; ideal, True to count every activity as one.
    Returns: Medium.
    Raises: OutOfRangeError outside 0–50 °C and 0–100 % vol.
    Validity: slopes with ethanol are known to 12 % vol (acids) and 15 % vol (sulfurous acid).
    Source: `service.chemistry.weak_acids`.

    Example: 12 % vol raise the pK of lactic acid by 0.17 (Prenesti et al. 2012, table 4: 0.17 at 0.05 mol/L).

    >>> from service.chemistry.weak_acids import WeakAcid
    >>> lactic = ACIDS.index(WeakAcid.LACTIC)
    >>> dry, wine = medium_of(0.0, 25.0), medium_of(12.0, 25.0)
    >>> round(log(dry.products[lactic][0] / wine.products[lactic][0]) / LN_10, 2)
    0.17
    """
    if not 0.0 <= abv_percent <= _STRONGEST_ABV_PERCENT:
        raise OutOfRangeError(f"Strength lies between 0 and 100 % vol, not at {abv_percent:g}.")
    products, water = _thermodynamic(temperature_c)
    davies = 0.0 if ideal else davies_a(temperature_c, abv_percent)
    if not abv_percent:
        return Medium(products, water, davies)
    powers = {}
    for slope in _SLOPES:
        f = 10.0 ** (-slope * abv_percent)
        powers[slope] = f, f**2, f**3
    moved = [tuple(map(mul, acid, powers[slope])) for acid, slope in zip(products, _SLOPE_OF, strict=True)]
    return Medium(tuple(moved), water * 10.0 ** (-WATER.pk_per_abv_percent * abv_percent), davies)


_SLOPE_OF = tuple(DISSOCIATIONS[acid].pk_per_abv_percent for acid in ACIDS)
_SLOPES = frozenset(_SLOPE_OF)


def charge_ratios(factor: float, h: float) -> tuple[float, float, float]:
    """What the products of the constants are multiplied by to give [Hₘ₋ₙAⁿ⁻]/[HₘA] for n = 1, 2, 3.

    An ion of charge n is n² times as far from ideal as one of charge 1, so the factor 10^(A f) stands to the n².

    Parameters: factor, 10^(A f); h, activity of hydrogen ions [mol/L].
    Returns: factor/h, factor⁴/h², factor⁹/h³.
    Source: Davies' equation, log γ = −A z² f.

    >>> charge_ratios(1.0, 0.5)
    (2.0, 4.0, 8.0)
    """
    one = factor / h
    square = factor * factor
    two = one * one * square
    return one, two, two * one * square * square


def solvent(medium: Medium, factor: float, ph: float) -> tuple[float, float]:
    """[H⁺] − [OH⁻] and [H⁺] + [OH⁻] at a pH [mol/L], with 10^(A f) as `factor`."""
    h = 10.0**-ph
    hydrogen, hydroxide = h * factor, medium.water / h * factor
    return hydrogen - hydroxide, hydrogen + hydroxide
