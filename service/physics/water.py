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


def kell_water_density_kg_m3(temperature_c: float) -> float:
    """Density of air-free water at 1 atm up to boiling, for what swells when it is heated.

    ρ = (999.83952 + 16.945176 t − 7.9870401·10⁻³ t² − 46.170461·10⁻⁶ t³ + 105.56302·10⁻⁹ t⁴ − 280.54253·10⁻¹² t⁵)
        / (1 + 16.879850·10⁻³ t)

    Parameters: temperature_c t, scalar [°C].
    Returns: density, scalar [kg/m³].
    Raises: OutOfRangeError outside 0–100 °C.
    Validity: 0–100 °C here; the formula was made for 0–150 °C, under pressure above boiling.
    Source: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97; coefficients from memory, unverified, within 0.003 kg/m³ of
    Tanaka et al. 2001 at 0–40 °C.

    Example: 998.2 kg/m³ at 20 °C.

    >>> round(kell_water_density_kg_m3(20.0), 1)
    998.2
    """
    if not 0.0 <= temperature_c <= 100.0:
        raise OutOfRangeError(f"How water swells is known from 0 to 100 °C, not at {temperature_c:g} °C.")
    t = temperature_c
    top = 999.83952 + t * (
        16.945176 + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - 280.54253e-12 * t)))
    )
    return top / (1.0 + 16.879850e-3 * t)
