"""How much weaker ions act than their concentration says, and how temperature moves a dissociation constant.

Davies' equation with the permittivity of water and ethanol. Molar and molal concentrations are not told apart: below
0.01 pH at the strengths of a drink, more in an undiluted concentrate.
"""

from __future__ import annotations

from functools import lru_cache
from math import log, sqrt

R_J_PER_MOL_K = 8.314462618
"""Molar gas constant (CODATA 2018)."""

KELVIN_AT_0C = 273.15
_REFERENCE_K = 298.15

_DEBYE_HUCKEL_WATER_25C = 0.509
_PERMITTIVITY_WATER_25C = 78.30
_PERMITTIVITY_PER_ABV_PERCENT = 0.48
"""Fall of the relative permittivity for each % vol of ethanol (approximation from memory, unverified)."""

DAVIES_IONIC_MAX_MOL_PER_L = 0.7
"""Davies' equation is used up to here; beyond it the activity stays at its value there."""


def relative_permittivity(temperature_c: float, abv_percent: float = 0.0) -> float:
    """Relative permittivity of water with some ethanol.

    ε = 87.740 − 0.40008 t + 9.398e-4 t² − 1.410e-6 t³ − 0.48 q

    Parameters: temperature_c t, scalar [°C]; abv_percent q, scalar [% vol].
    Returns: ε [-].
    Validity: 0–50 °C, 0–25 % vol.
    Source: polynomial of Malmberg and Maryott (J. Res. NBS 56 (1956) 1); both it and the ethanol term from memory.

    Example: water at 25 °C has 78.30.

    >>> round(relative_permittivity(25.0), 2)
    78.3
    """
    t = temperature_c
    return 87.740 - 0.40008 * t + 9.398e-4 * t * t - 1.410e-6 * t**3 - _PERMITTIVITY_PER_ABV_PERCENT * abv_percent


def davies_a(temperature_c: float, abv_percent: float = 0.0) -> float:
    """The factor A of the Debye–Hückel and Davies equations, log₁₀ form.

    A = 0.509 (78.30·298.15/(ε T))^1.5

    Parameters: temperature_c [°C]; abv_percent [% vol].
    Returns: A [(L/mol)^½].
    Validity: as `relative_permittivity`.
    Source: Debye and Hückel, as in C. W. Davies, Ion Association (1962); 0.509 at 25 °C is the handbook figure.

    >>> round(davies_a(25.0), 3)
    0.509
    """
    kelvin = temperature_c + KELVIN_AT_0C
    ratio = _PERMITTIVITY_WATER_25C * _REFERENCE_K / (relative_permittivity(temperature_c, abv_percent) * kelvin)
    return _DEBYE_HUCKEL_WATER_25C * ratio * sqrt(ratio)


def davies_f(ionic_mol_per_l: float) -> float:
    """The function of ionic strength in Davies' equation, log γ = −A z² f.

    f = √I/(1 + √I) − 0.3 I

    Parameters: ionic_mol_per_l I, scalar, not negative [mol/L].
    Returns: f [-]; that of 0.7 mol/L above 0.7.
    Validity: to about 0.5 mol/L; drinks have 0.01 to 0.08.
    Source: C. W. Davies, Ion Association (1962).

    Example: a monovalent ion at 0.1 mol/L has γ = 0.78 (handbook, from memory).

    >>> round(10 ** (-0.509 * davies_f(0.1)), 2)
    0.78
    """
    ionic = min(ionic_mol_per_l, DAVIES_IONIC_MAX_MOL_PER_L)
    root = sqrt(ionic)
    return root / (1.0 + root) - 0.3 * ionic


DAVIES_F_MAX = 0.2675
"""No ionic strength gives a larger f (0.26743 is the greatest on a grid of 1e-5 mol/L)."""


@lru_cache(maxsize=1024)
def pk_at(temperature_c: float, pk_25c: float, enthalpy_kj_per_mol: float, heat_capacity_j_per_mol_k: float) -> float:
    """A dissociation constant at another temperature.

    pK(T) = pK₀ + ΔH/(R ln 10)·(1/T − 1/T₀) − ΔC/(R ln 10)·(T₀/T − 1 + ln(T/T₀)),  T₀ = 298.15 K

    Parameters: temperature_c [°C]; pk_25c pK₀ [-]; enthalpy_kj_per_mol ΔH and heat_capacity_j_per_mol_k ΔC of the
    dissociation.
    Returns: pK at the temperature [-].
    Validity: 0–50 °C.
    Source: van 't Hoff's equation with constant ΔC.

    Example: the second constant of malic acid has its least pK near 20 °C and 5.149 at 50 °C (IUPAC Dissociation
    Constants data set, entry serjeant2318).

    >>> round(pk_at(50.0, 5.097, -1.21, -215.0), 2)
    5.15
    """
    kelvin = temperature_c + KELVIN_AT_0C
    scale = R_J_PER_MOL_K * log(10.0)
    by_enthalpy = 1000.0 * enthalpy_kj_per_mol / scale * (1.0 / kelvin - 1.0 / _REFERENCE_K)
    ratio = kelvin / _REFERENCE_K
    return pk_25c + by_enthalpy - heat_capacity_j_per_mol_k / scale * (1.0 / ratio - 1.0 + log(ratio))
