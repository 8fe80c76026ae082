"""Densities of the paper calculation at 20 °C, typed in from the published coefficient tables.

Ethanol-water by OIML R 22 (1975), sucrose-water by ICUMSA SPS-4, total dry extract by OIV-MA-AS2-03B (R2012), and the
volume of a mixture by the binary sum. Only the 20 °C part of each formula is here. Inversions are by bisection.
"""

from collections.abc import Callable, Sequence

import numpy as np

ETHANOL_KG_M3 = 789.24  # OIML R 22 (1975): rho(1, 20 °C), the legal ethanol of "% vol"

# OIML R 22 (1975), general formula, A_1..A_12 (the 20 °C part).
_OIML_A = (
    9.982012300e2, -1.929769495e2, 3.891238958e2, -1.668103923e3, 1.352215441e4, -8.829278388e4,
    3.062874042e5, -6.138381234e5, 7.470172998e5, -5.478461354e5, 2.234460334e5, -3.903285426e4,
)  # fmt: skip
# ICUMSA SPS-4 (Bubník et al., Sugar Technologists Manual, 1995, p. 164), row tau^0: kg/m³ per power of w.
_ICUMSA_A = (385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890)

COMPONENTS = (
    "water", "sucrose", "glucose", "fructose", "maltose_and_other_disaccharides", "other_sugars", "polyols",
    "citric_acid", "malic_acid", "tartaric_acid", "lactic_acid", "quinic_acid", "other_acids_as_gluconic",
    "ethanol", "protein", "fat", "ash", "pectin", "other_solids",
)  # fmt: skip
# Apparent specific volume phi [mL/g] = s phi_sucrose(w) + c0 + c1 w + c2 w²: (s, c0, c1, c2). Fits to the CRC Handbook,
# 102nd ed. (2021), "Concentrative properties of aqueous solutions"; everything not named here is taken as sucrose
# (judged), malic, tartaric and quinic acid as citric (judged), fat as 1.09 mL/g (from memory).
_CITRIC_PHI = (0.0, 0.594287, 0.019065, 0.0)
_PHI = {
    "glucose": (1.0, 0.004308, 0.007754, 0.0),
    "fructose": (1.0, -0.004766, 0.010251, 0.0),
    "citric_acid": _CITRIC_PHI,
    "malic_acid": _CITRIC_PHI,
    "tartaric_acid": _CITRIC_PHI,
    "quinic_acid": _CITRIC_PHI,
    "lactic_acid": (0.0, 0.787077, -0.022028, 0.059597),
    "fat": (0.0, 1.09, 0.0, 0.0),
}
_PHI_MATRIX = np.array([_PHI.get(name, (1.0, 0.0, 0.0, 0.0)) for name in COMPONENTS], dtype=np.float64)

# Grams of sucrose that raise the density of a dilute solution as one gram does: ratio of the slopes d rho/dc at
# infinite dilution, kg/m³ per g/L, computed from the same CRC rows (sucrose 0.386); fat from 1 - 1.09 mL/g x 0.9982.
_SLOPES = {
    "glucose": 0.382, "fructose": 0.391, "citric_acid": 0.407, "malic_acid": 0.407, "tartaric_acid": 0.407,
    "quinic_acid": 0.407, "lactic_acid": 0.214, "fat": -0.088, "water": 0.0, "ethanol": 0.0,
}  # fmt: skip
AS_SUCROSE = np.array([_SLOPES.get(name, 0.386) / 0.386 for name in COMPONENTS], dtype=np.float64)
IS_SOLID = np.array([name not in ("water", "ethanol") for name in COMPONENTS], dtype=np.float64)
WATER, ETHANOL, FAT = (COMPONENTS.index(name) for name in ("water", "ethanol", "fat"))  # positions


def horner(coefficients: Sequence[float], x: float) -> float:
    """Polynomial with the constant first, at x."""
    total = 0.0
    for a in reversed(coefficients):
        total = total * x + a
    return total


def bisect(f: Callable[[float], float], low: float, high: float, what: str) -> float:
    """Root of a monotone f between low and high; a root outside them is refused."""
    f_low, f_high = f(low), f(high)
    if abs(f_low) < 1e-9:  # a zero blurred by rounding: water and spirit alone hold no extract
        return low
    if f_low * f_high > 0.0:
        raise ValueError(
            f"{what} lies outside {low:g} to {high:g}; check the density and the strength it was read from"
        )
    for _ in range(80):
        middle = 0.5 * (low + high)
        if (f(middle) > 0.0) == (f_low > 0.0):
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def ethanol_water_density_kg_m3(ethanol_mass_fraction: float) -> float:
    """Density at 20 °C of ethanol and water [kg/m³], OIML R 22 (1975); mass fraction 0 to 1.

    >>> round(ethanol_water_density_kg_m3(1.0), 2)
    789.24
    """
    return horner(_OIML_A, ethanol_mass_fraction)


WATER_KG_M3 = ethanol_water_density_kg_m3(0.0)  # the water that every SG20/20 of this module is divided by


def ethanol_mass_fraction_from_abv_percent(abv_percent: float) -> float:
    """Ethanol mass fraction of ethanol-water of that strength at 20 °C, q = p rho(p)/rho(1), by bisection.

    >>> round(100 * ethanol_mass_fraction_from_abv_percent(12.44), 2)
    10.0
    """
    return bisect(
        lambda p: 100.0 * p * ethanol_water_density_kg_m3(p) / ETHANOL_KG_M3 - abv_percent, 0.0, 1.0, "ethanol fraction"
    )


# rho_w(20 °C) of the water formula that goes with ICUMSA SPS-4 (same source): a polynomial in t over 1 + b t.
_SUCROSE_WATER_KG_M3 = horner(
    (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12), 20.0
) / (1.0 + 16.887236e-3 * 20.0)


def sucrose_density_kg_m3(sucrose_mass_fraction: float) -> float:
    """Density at 20 °C of sucrose in water [kg/m³], ICUMSA SPS-4; mass fraction 0 to 0.85.

    >>> round(sucrose_density_kg_m3(0.10), 3)
    1038.115
    """
    return _SUCROSE_WATER_KG_M3 + sucrose_mass_fraction * horner(_ICUMSA_A, sucrose_mass_fraction)


def sucrose_sg_from_g_per_l(sucrose_g_per_l: float) -> float:
    """SG20/20 of sucrose-water holding that many g/L, ICUMSA SPS-4, by bisection on the mass fraction."""
    w = bisect(lambda w: w * sucrose_density_kg_m3(w) - sucrose_g_per_l, 0.0, 0.85, "sucrose fraction")
    return sucrose_density_kg_m3(w) / _SUCROSE_WATER_KG_M3


def dry_extract_g_per_l(specific_gravity_20_20: float, abv_percent: float) -> float:
    """Total dry extract [g/L sucrose] by OIV-MA-AS2-03B (R2012): d_r = d_v - d_a + 1, read on ICUMSA SPS-4.

    >>> round(dry_extract_g_per_l(1.05, 0.0), 1)
    129.9
    """
    d_a = ethanol_water_density_kg_m3(ethanol_mass_fraction_from_abv_percent(abv_percent)) / WATER_KG_M3
    d_r = specific_gravity_20_20 - d_a + 1.0
    w = bisect(lambda w: sucrose_density_kg_m3(w) / _SUCROSE_WATER_KG_M3 - d_r, 0.0, 0.85, "dry extract fraction")
    return w * sucrose_density_kg_m3(w)


def tabarie_sg(abv_percent: float, extract_g_per_l: float) -> float:
    """SG20/20 by the forward Tabarié rule at equal volume: d = d_EW(abv) + d_sucrose(extract) - 1."""
    d_a = ethanol_water_density_kg_m3(ethanol_mass_fraction_from_abv_percent(abv_percent)) / WATER_KG_M3
    return d_a + sucrose_sg_from_g_per_l(extract_g_per_l) - 1.0


def binary_sum_volume_ml(grams: Sequence[float]) -> float:
    """Volume at 20 °C [mL] of the masses [g] given in the order of ``COMPONENTS``, by the binary sum (route B)."""
    g = np.asarray(grams, dtype=np.float64)
    solids_g = float(g @ IS_SOLID)
    water_g, ethanol_g = float(g[WATER]), float(g[ETHANOL])
    solvent_g = water_g + ethanol_g
    volume_ml = 1000.0 * solvent_g / ethanol_water_density_kg_m3(ethanol_g / solvent_g) if solvent_g > 0.0 else 0.0
    if solids_g == 0.0:
        return volume_ml
    w = solids_g / (solids_g + water_g)
    # 1/rho = (1 - w)/rho_w + w phi, solved for phi without dividing by a vanishing w.
    phi_sucrose = 1000.0 * (1.0 - horner(_ICUMSA_A, w) / sucrose_density_kg_m3(w)) / _SUCROSE_WATER_KG_M3
    phi = _PHI_MATRIX @ np.array([phi_sucrose, 1.0, w, w * w])
    return volume_ml + float((g * IS_SOLID) @ phi)
