"""Density of pure water as each standard takes it.

Relative densities are only right when a solution is divided by the water of *its own* standard:
OIML R 22 water at 20 °C is 998.2012 kg/m³, that of ICUMSA SPS-4 is 998.2034, and the present-day
metrological value (Tanaka et al. 2001) is 998.2067.
"""

from __future__ import annotations

from service.errors import OutOfRangeError

OIML_WATER_20C_KG_M3 = 998.2012300
"""Water at 20 °C in the OIML R 22 (1975) general formula: its first coefficient."""


def water_density_kg_m3(temperature_c: float) -> float:
    """Density of air-free water at 101.325 kPa.

    ρ = 999.974950 · [1 − (t − 3.983035)² (t + 301.797) / (522528.9 (t + 69.34881))]

    Parameters: temperature_c, scalar [°C].
    Returns: density, scalar [kg/m³].
    Raises: OutOfRangeError outside 0–40 °C.
    Source: M. Tanaka et al., Metrologia 38 (2001) 301; coefficients from memory, checked against
    IAPWS-95 (20 °C: 998.2072) to 0.001 kg/m³.

    >>> round(water_density_kg_m3(20.0), 4)
    998.2067
    """
    if not 0.0 <= temperature_c <= 40.0:
        raise OutOfRangeError(f"Water density is known from 0 to 40 °C, not at {temperature_c:g} °C.")
    t = temperature_c
    return 999.974950 * (1.0 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def icumsa_water_density_kg_m3(temperature_c: float) -> float:
    """Density of water as the ICUMSA sucrose polynomial takes it.

    Parameters: temperature_c, scalar [°C].
    Returns: density, scalar [kg/m³].
    Raises: OutOfRangeError outside 0–100 °C.
    Source: ICUMSA SPS-4; Bubník et al., Sugar Technologists Manual (1995), p. 164.

    >>> round(icumsa_water_density_kg_m3(20.0), 3)
    998.203
    """
    if not 0.0 <= temperature_c <= 100.0:
        raise OutOfRangeError(f"The sugar tables' water runs from 0 to 100 °C, not to {temperature_c:g} °C.")
    t = temperature_c
    top = 999.83952 + t * (
        16.952577 + t * (-7.9905127e-3 + t * (-46.241757e-6 + t * (105.84601e-9 - 281.03006e-12 * t)))
    )
    return top / (1.0 + 16.887236e-3 * t)
