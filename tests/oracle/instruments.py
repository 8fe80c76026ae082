"""Readings on paper: a hydrometer at any temperature, a refractometer in a drink with alcohol, a titration.

Nothing of the service is imported. What an instrument shows is reckoned forwards from what the drink is; a test
that asks for the drink knows it beforehand. Marks of the constants: P published, C computed.
"""

from __future__ import annotations

import math

from tests.oracle.liquids import (
    _ICUMSA_A,
    _OIML_A,
    COMPONENTS,
    WATER_KG_M3,
    binary_sum_volume_ml,
    bisect,
    horner,
)
from tests.oracle.whole_job import ETHANOL_G_PER_L_PERCENT, mixed_volume_l

GLASS_PER_C = 25e-6  # P, OIML R 22 (1975), tables VIII and IX
# OIML R 22 (1975), general formula, B_1..B_6 and C_i,1..m_i (P): powers of (t - 20), and of p for each of them.
_OIML_B = (-2.0618513e-1, -5.2682542e-3, 3.6130013e-5, -3.8957702e-7, 7.1693540e-9, -9.9739231e-11)
_OIML_C = (
    (1.693443461530087e-1, -1.046914743455169e1, 7.196353469546523e1, -7.047478054272792e2, 3.924090430035045e3,
     -1.210164659068747e4, 2.248646550400788e4, -2.605562982188164e4, 1.852373922069467e4, -7.420201433430137e3,
     1.285617841998974e3),
    (-1.193013005057010e-2, 2.517399633803461e-1, -2.170575700536993, 1.353034988843029e1, -5.029988758547014e1,
     1.096355666577570e2, -1.422753946421155e2, 1.080435942856230e2, -4.414153236817392e1, 7.442971530188783),
    (-6.802995733503803e-4, 1.876837790289664e-2, -2.002561813734156e-1, 1.022992966719220, -2.895696483903638,
     4.810060584300675, -4.672147440794683, 2.458043105903461, -5.411227621436812e-1),
    (4.075376675622027e-6, -8.763058573471110e-6, 6.515031360099368e-6, -1.515784836987210e-6),
    (-2.788074354782409e-8, 1.345612883493354e-8),
)  # fmt: skip
# ICUMSA SPS-4, rows tau^1..tau^4, tau = (t - 20)/100 (P).
_ICUMSA_TAU = (
    (-46.2720, -7.1720, 1.1597, 5.1126, 17.5254),
    (59.7712, 7.2491, 12.3630, -35.4791),
    (-47.2207, -21.6977, 27.6301),
    (18.3184, 12.3081),
)
_ICUMSA_WATER = (999.83952, 16.952577, -7.9905127e-3, -46.241757e-6, 105.84601e-9, -281.03006e-12)


def ethanol_water_at_kg_m3(ethanol_mass_fraction: float, temperature_c: float) -> float:
    """Density of ethanol and water at a temperature, OIML R 22 (1975)."""
    p, d = ethanol_mass_fraction, temperature_c - 20.0
    by_temperature = sum(b * d ** (k + 1) for k, b in enumerate(_OIML_B))
    crossed = sum(c * p ** (k + 1) * d ** (i + 1) for i, row in enumerate(_OIML_C) for k, c in enumerate(row))
    return horner(_OIML_A, p) + by_temperature + crossed


def sucrose_at_kg_m3(sucrose_mass_fraction: float, temperature_c: float) -> float:
    """Density of sucrose in water at a temperature, ICUMSA SPS-4."""
    w, tau = sucrose_mass_fraction, (temperature_c - 20.0) / 100.0
    water = horner(_ICUMSA_WATER, temperature_c) / (1.0 + 16.887236e-3 * temperature_c)
    rows = (_ICUMSA_A, *_ICUMSA_TAU)
    return water + sum(w * horner(row, w) * tau**i for i, row in enumerate(rows))


def mixture_at_kg_m3(water_g: float, ethanol_g: float, sucrose_g: float, temperature_c: float) -> float:
    """Density at a temperature by the binary sum of both formulas."""
    solvent = water_g + ethanol_g
    volume_l = solvent / ethanol_water_at_kg_m3(ethanol_g / solvent, temperature_c)
    if sucrose_g > 0.0:
        w = sucrose_g / (sucrose_g + water_g)
        both = sucrose_at_kg_m3(w, temperature_c)
        volume_l += sucrose_g * (1.0 / both - (1.0 - w) / sucrose_at_kg_m3(0.0, temperature_c)) / w
    return (solvent + sucrose_g) / volume_l


def solids_of(gravity: float, abv_percent: float) -> tuple[float, float, float]:
    """Water, ethanol and sucrose of a litre at 20 °C that has this gravity and strength, by the binary sum [g]."""
    mass, ethanol = gravity * WATER_KG_M3, abv_percent * ETHANOL_G_PER_L_PERCENT
    solids = bisect(
        lambda s: mixed_volume_l(mass - ethanol - s, ethanol, s) - 1.0, 0.0, 0.8 * (mass - ethanol), "solids"
    )
    return mass - ethanol - solids, ethanol, solids


def hydrometer_shows(gravity: float, abv_percent: float, temperature_c: float, calibrated_c: float = 20.0) -> float:
    """What a glass hydrometer shows in a drink of that gravity at 20 °C, when the sample has another temperature."""
    density = mixture_at_kg_m3(*solids_of(gravity, abv_percent), temperature_c)
    glass = 1.0 + GLASS_PER_C * (temperature_c - calibrated_c)
    return density * glass / ethanol_water_at_kg_m3(0.0, calibrated_c)


# Specific refraction [mL/g] and index of sucrose in water at 20 °C, fitted to the CRC Handbook, 102nd ed. (2021), (C).
_REFRACTION = {"water": 0.20606, "glucose": 0.2071, "fructose": 0.2046, "ethanol": 0.2772, "citric_acid": 0.196}
_INDEX = (1.33299, 0.143338, 0.049615, 0.028767, -0.008830)


def refracto_density(sugar_percent: float, ethanol_percent: float, citric_percent: float) -> tuple[float, float]:
    """SG20/20 and the reading of a refractometer [°Bx] of a drink by mass per cent; sugars 55 fructose to 45 glucose.

    Volume by the binary sum, index by Lorentz and Lorenz over all components, °Bx from that of sucrose in water.
    """
    shares = {
        "water": 100.0 - sugar_percent - ethanol_percent - citric_percent, "glucose": 0.45 * sugar_percent,
        "fructose": 0.55 * sugar_percent, "ethanol": ethanol_percent, "citric_acid": citric_percent,
    }  # fmt: skip
    grams = [shares.get(name, 0.0) for name in COMPONENTS]
    density = 100.0 / binary_sum_volume_ml(grams)
    y = density * sum(shares[name] / 100.0 * r for name, r in _REFRACTION.items())
    index = math.sqrt((1.0 + 2.0 * y) / (1.0 - y))
    brix = 100.0 * bisect(lambda w: horner(_INDEX, w) - index, -0.01, 0.85, "sugar scale")
    return 1000.0 * density / WATER_KG_M3, brix


def titrated_g_per_l_citric(naoh_ml: float, naoh_mol_per_l: float, sample_ml: float) -> float:
    """Titratable acidity as anhydrous citric acid, 64.04 g for each equivalent."""
    return naoh_ml * naoh_mol_per_l * 64.04 / sample_ml
