"""Density of ethanol–water mixtures: the general formula of OIML R 22 (1975).

The same formula stands in the Annex of Council Directive 76/766/EEC, §4 (repealed, but still the reference
in practice: OIV-MA-AS312-02 uses it). Valid from −20 to +40 °C, from pure water to pure ethanol. Alcoholic
strength by volume is q = p·ρ(p, 20 °C)/ρ(1, 20 °C): both volumes at 20 °C.
"""

from __future__ import annotations

from service.errors import OutOfRangeError
from service.physics.water import OIML_WATER_20C_KG_M3

ETHANOL_DENSITY_20C_KG_M3 = 789.24
"""Pure ethanol at 20 °C, the divisor of alcoholic strength by volume. OIML R 22 (1975)."""

# OIML R 22 (1975), coefficients A_k, B_k, C_ik; p is a mass fraction, t in °C (IPTS-68), ρ in kg/m³.
_A = (
    OIML_WATER_20C_KG_M3,
    -1.929769495e2,
    3.891238958e2,
    -1.668103923e3,
    1.352215441e4,
    -8.829278388e4,
    3.062874042e5,
    -6.138381234e5,
    7.470172998e5,
    -5.478461354e5,
    2.234460334e5,
    -3.903285426e4,
)
_B = (-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11)
_C = (
    (
        1.693443461530087e-1,
        -1.046914743455169e1,
        7.196353469546523e1,
        -7.047478054272792e2,
        3.924090430035045e3,
        -1.210164659068747e4,
        2.248646550400788e4,
        -2.605562982188164e4,
        1.852373922069467e4,
        -7.420201433430137e3,
        1.285617841998974e3,
    ),
    (
        -1.193013005057010e-2,
        2.517399633803461e-1,
        -2.170575700536993,
        1.353034988843029e1,
        -5.029988758547014e1,
        1.096355666577570e2,
        -1.422753946421155e2,
        1.080435942856230e2,
        -4.414153236817392e1,
        7.442971530188783,
    ),
    (
        -6.802995733503803e-4,
        1.876837790289664e-2,
        -2.002561813734156e-1,
        1.022992966719220,
        -2.895696483903638,
        4.810060584300675,
        -4.672147440794683,
        2.458043105903461,
        -5.411227621436812e-1,
    ),
    (4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6),
    (-2.788074354782409e-8, 1.345612883493354e-8),
)


def _polynomial(coefficients: tuple[float, ...], x: float) -> float:
    value = 0.0
    for c in reversed(coefficients):
        value = value * x + c
    return value


def ethanol_water_density_kg_m3(ethanol_mass_fraction: float, temperature_c: float = 20.0) -> float:
    """Density of a mixture of ethanol and water.

    ρ(p, t) = A₁ + Σ A_k p^(k−1) + Σ B_k (t−20)^k + Σ Σ C_ik p^k (t−20)^i

    Parameters: ethanol_mass_fraction, scalar [kg/kg]; temperature_c, scalar [°C].
    Returns: density in vacuo, scalar [kg/m³].
    Raises: OutOfRangeError outside 0…1 or outside −20…+40 °C.
    Source: OIML R 22 (1975); Council Directive 76/766/EEC, Annex, §4.

    Example: Table IVa gives 973.56 for 20 % vol (p = 0.16207; table value from memory).

    >>> round(ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(20.0)), 2)
    973.56
    """
    p = ethanol_mass_fraction
    if not 0.0 <= p <= 1.0:
        raise OutOfRangeError(f"An ethanol mass fraction lies between 0 and 1, not at {p:g}.")
    if not -20.0 <= temperature_c <= 40.0:
        raise OutOfRangeError(f"OIML R 22 holds from −20 to +40 °C, not at {temperature_c:g} °C.")
    density = _polynomial(_A, p)
    if temperature_c != 20.0:
        dt = temperature_c - 20.0
        density += dt * _polynomial(_B, dt)
        power = 1.0
        for row in _C:
            power *= dt
            density += power * p * _polynomial(row, p)
    return density


def specific_volume_ml_g(ethanol_mass_fraction: float) -> tuple[float, float, float]:
    """Specific volume v(p) at 20 °C with its first two derivatives, unchecked: the optimiser's inner loop.

    v = 1000/ρ(p);  v' = −v ρ'/ρ;  v'' = −v ρ''/ρ + 2 v (ρ'/ρ)²

    Parameters: ethanol_mass_fraction p, scalar [kg/kg].
    Returns: v, dv/dp and d²v/dp² [mL/g].
    Validity: p from 0 to 1; the caller guards it.
    Source: OIML R 22 (1975).

    >>> round(specific_volume_ml_g(1.0)[0], 4)  # 1 / 0.78924
    1.267
    """
    p = ethanol_mass_fraction
    density = slope = curve = 0.0
    for a in OIML_TERMS_DESCENDING:
        curve = curve * p + slope
        slope = slope * p + density
        density = density * p + a
    curve *= 2.0
    v = 1000.0 / density
    relative = slope / density
    return v, -v * relative, v * (2.0 * relative * relative - curve / density)


OIML_TERMS_DESCENDING = tuple(reversed(_A))


def specific_volume_and_slope_ml_g(ethanol_mass_fraction: float) -> tuple[float, float]:
    """`specific_volume_ml_g` without the second derivative, for those who need none of it.

    Parameters, validity and source: as `specific_volume_ml_g`.
    Returns: v and dv/dp [mL/g].

    >>> specific_volume_and_slope_ml_g(0.1) == specific_volume_ml_g(0.1)[:2]
    True
    """
    p = ethanol_mass_fraction
    density = slope = 0.0
    for a in OIML_TERMS_DESCENDING:
        slope = slope * p + density
        density = density * p + a
    v = 1000.0 / density
    return v, -v * (slope / density)


def abv_percent_from_mass_fraction(ethanol_mass_fraction: float) -> float:
    """Alcoholic strength by volume of an ethanol–water mixture, both volumes at 20 °C.

    Parameters: ethanol_mass_fraction, scalar [kg/kg].
    Returns: strength, scalar [% vol].
    Raises: OutOfRangeError outside 0…1.
    Source: Council Directive 76/766/EEC, Annex, §1; OIML R 22 (1975).

    Example: 40 % by mass is 47.39 % vol (computed from the formula).

    >>> round(abv_percent_from_mass_fraction(0.40), 2)
    47.39
    """
    density = ethanol_water_density_kg_m3(ethanol_mass_fraction)
    return 100.0 * ethanol_mass_fraction * density / ETHANOL_DENSITY_20C_KG_M3


def mass_fraction_from_abv_percent(abv_percent: float) -> float:
    """Ethanol mass fraction of an ethanol–water mixture of a given strength (Newton on the definition).

    Parameters: abv_percent, scalar [% vol at 20 °C].
    Returns: mass fraction, scalar [kg/kg].
    Raises: OutOfRangeError outside 0…100 % vol.
    Source: OIML R 22 (1975).

    >>> round(100 * mass_fraction_from_abv_percent(95.0), 2)  # 27 CFR 30.64: 190 US proof is 92.4 % by weight
    92.41
    """
    if not 0.0 <= abv_percent <= 100.0:
        raise OutOfRangeError(f"Alcoholic strength lies between 0 and 100 % vol, not at {abv_percent:g}.")
    q = abv_percent / 100.0
    p = q * ETHANOL_DENSITY_20C_KG_M3 / (OIML_WATER_20C_KG_M3 - 208.961 * q)
    for _ in range(50):
        v, dv = specific_volume_and_slope_ml_g(p)
        concentration = 1000.0 / v
        # q(p) = p·ρ(p)/ρ(1): the ethanol of a litre of mixture over that of a litre of pure ethanol
        miss = p * concentration / ETHANOL_DENSITY_20C_KG_M3 - q
        slope = (concentration - p * concentration * dv / v) / ETHANOL_DENSITY_20C_KG_M3
        step = miss / slope
        p -= step
        if abs(step) < 1e-15:
            break
    return min(max(p, 0.0), 1.0)
