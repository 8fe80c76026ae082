"""Density of sucrose solutions: the ICUMSA SPS-4 polynomial, and the scales built on it.

Degrees Brix are the mass per cent of sucrose; degrees Plato are the same thing on another author's table. The
inverse is a root of the polynomial itself, never one of the cubic fits in circulation.
"""

from __future__ import annotations

from service.errors import OutOfRangeError
from service.physics.water import icumsa_water_density_kg_m3

# ICUMSA SPS-4 (Bettin, Emmerich, Spieweck, Toth; names from memory); Bubník et al., Sugar Technologists Manual
# (1995), p. 164. Row i holds the coefficients a_ik of τ^i, τ = (t − 20)/100; k = 1 … 6. Two transcriptions differ
# in a_04 by 3e-4, which moves no density by 1e-4 kg/m³.
_A = (
    (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890),
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
ICUMSA_TERMS_DESCENDING = tuple(reversed(_A[0]))

SUCROSE_MASS_FRACTION_MAX = 0.85
"""Above this the published density data end; the range comes from a transcription's comment."""

ICUMSA_WATER_20C_KG_M3 = icumsa_water_density_kg_m3(20.0)


def sucrose_density_kg_m3(sucrose_mass_fraction: float, temperature_c: float = 20.0) -> float:
    """Density of a sucrose solution in vacuo.

    ρ = ρ_w(t) + Σ_i Σ_k a_ik w^k τ^i,  τ = (t − 20)/100

    Parameters: sucrose_mass_fraction w, scalar [kg/kg]; temperature_c, scalar [°C].
    Returns: density, scalar [kg/m³].
    Raises: OutOfRangeError outside w 0–0.85 or 0–40 °C.
    Source: ICUMSA SPS-4; Bubník et al., Sugar Technologists Manual (1995), p. 164.

    Example: the CRC Handbook row for 20 % reads 1.0810 g/mL.

    >>> round(sucrose_density_kg_m3(0.20) / 1000, 4)
    1.081
    """
    w = sucrose_mass_fraction
    if not 0.0 <= w <= SUCROSE_MASS_FRACTION_MAX:
        raise OutOfRangeError(f"Sugar solutions are tabulated from 0 to 85 % by mass, not at {100 * w:.4g} %.")
    if not 0.0 <= temperature_c <= 40.0:
        raise OutOfRangeError(f"Sugar solutions are tabulated from 0 to 40 °C, not at {temperature_c:g} °C.")
    tau = (temperature_c - 20.0) / 100.0
    density = icumsa_water_density_kg_m3(temperature_c)
    power = 1.0
    for row in _A:
        value = 0.0
        for a in reversed(row):
            value = (value + a) * w
        density += power * value
        power *= tau
    return density


def apparent_specific_volume_ml_g(sucrose_mass_fraction: float) -> tuple[float, float, float]:
    """Apparent specific volume φ(w) of dissolved sucrose at 20 °C, with two derivatives; unchecked inner loop.

    V = m_water/ρ_w + m_sucrose·φ;  φ = (ρ_w − (1 − w) r)/(ρ ρ_w)  with  ρ = ρ_w + w r(w)

    Parameters: sucrose_mass_fraction w = solute/(solute + water), scalar [kg/kg].
    Returns: φ, dφ/dw, d²φ/dw² [mL/g].
    Validity: w 0–0.90; above 0.85 the polynomial runs past the published data and the model flags it.
    Source: ICUMSA SPS-4, rearranged; no root and no division by w, so that w = 0 is regular.

    Example: 20 % sucrose is 1.0810 g/mL in the CRC Handbook, so φ = (1/1.0810 − 0.8/0.99820)/0.2 = 0.618.

    >>> round(apparent_specific_volume_ml_g(0.20)[0], 3)
    0.618
    """
    w = sucrose_mass_fraction
    r = slope = curve = 0.0
    for a in ICUMSA_TERMS_DESCENDING:
        curve = curve * w + slope
        slope = slope * w + r
        r = r * w + a
    curve *= 2.0
    rest = 1.0 - w
    top = ICUMSA_WATER_20C_KG_M3 - rest * r
    top1 = r - rest * slope
    top2 = 2.0 * slope - rest * curve
    bottom = ICUMSA_WATER_20C_KG_M3 + w * r
    bottom1 = r + w * slope
    bottom2 = 2.0 * slope + w * curve
    phi = top / bottom
    phi1 = (top1 - phi * bottom1) / bottom
    phi2 = (top2 - 2.0 * phi1 * bottom1 - phi * bottom2) / bottom
    scale = 1000.0 / ICUMSA_WATER_20C_KG_M3
    return phi * scale, phi1 * scale, phi2 * scale


def apparent_volume_and_slope_ml_g(sucrose_mass_fraction: float) -> tuple[float, float]:
    """`apparent_specific_volume_ml_g` without the second derivative, for those who need none of it.

    Parameters, validity and source: as `apparent_specific_volume_ml_g`.
    Returns: φ and dφ/dw [mL/g].

    >>> apparent_volume_and_slope_ml_g(0.2) == apparent_specific_volume_ml_g(0.2)[:2]
    True
    """
    w = sucrose_mass_fraction
    r = slope = 0.0
    for a in ICUMSA_TERMS_DESCENDING:
        slope = slope * w + r
        r = r * w + a
    rest = 1.0 - w
    bottom = ICUMSA_WATER_20C_KG_M3 + w * r
    phi = (ICUMSA_WATER_20C_KG_M3 - rest * r) / bottom
    phi1 = (r - rest * slope - phi * (r + w * slope)) / bottom
    scale = 1000.0 / ICUMSA_WATER_20C_KG_M3
    return phi * scale, phi1 * scale


def sg_from_brix(brix: float) -> float:
    """Specific gravity 20 °C/20 °C of a sucrose solution, by its own standard's water.

    Parameters: brix, scalar [°Bx = g/100 g].
    Returns: SG 20/20, scalar [-].
    Raises: OutOfRangeError outside 0–85 °Bx.
    Source: ICUMSA SPS-4. The NBS C440 table (from memory) gives d20/4 = 1.08096 at 20 °Bx, SG 1.0829.

    >>> round(sg_from_brix(20.0), 4)
    1.0829
    """
    return sucrose_density_kg_m3(brix / 100.0) / ICUMSA_WATER_20C_KG_M3


def brix_from_sg(specific_gravity: float) -> float:
    """Degrees Brix (= Plato) of the sucrose solution that has this gravity: the root of ICUMSA SPS-4.

    Parameters: specific_gravity, SG 20/20, scalar [-].
    Returns: Brix, scalar [°Bx]; negative for a gravity below 1, down to SG 0.98, as on the brewers' scale.
    Raises: OutOfRangeError below 0.98 or above 85 °Bx (SG 1.45).
    Source: ICUMSA SPS-4, inverted.

    >>> round(brix_from_sg(sg_from_brix(11.8)), 6)
    11.8
    """
    top = sg_from_brix(100.0 * SUCROSE_MASS_FRACTION_MAX)
    if not 0.98 <= specific_gravity <= top:
        raise OutOfRangeError(
            f"The sugar scale runs from SG 0.980 to {top:.3f}, not to {specific_gravity:g}. "
            "Was the reading typed in points?"
        )
    target = (specific_gravity - 1.0) * ICUMSA_WATER_20C_KG_M3
    w = target / _A[0][0]
    for _ in range(50):
        value = slope = 0.0
        for a in ICUMSA_TERMS_DESCENDING:
            slope = slope * w + value
            value = value * w + a
        step = (w * value - target) / (value + w * slope)
        w -= step
        if abs(step) < 1e-15:
            break
    return 100.0 * w
