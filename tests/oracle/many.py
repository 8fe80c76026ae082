"""The paper calculation for many drinks at once: volumes of `liquids.py` and charges of `charge.py` on arrays.

Nothing of the service is imported. The equations and the constants are those of the two files beside this one; here
every quantity is an array with one entry (or row) per drink, at 20 °C. `test_makers.py` holds both ways against each
other.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from tests.oracle import charge
from tests.oracle.liquids import (
    _ICUMSA_A,
    _OIML_A,
    _PHI_MATRIX,
    _SUCROSE_WATER_KG_M3,
    ETHANOL,
    ETHANOL_KG_M3,
    IS_SOLID,
    WATER,
    WATER_KG_M3,
)

Array = NDArray[np.float64]

ACID_NAMES = (
    "citric", "malic", "tartaric", "lactic", "gluconic", "succinic", "acetic", "phosphoric", "quinic",
)  # fmt: skip
"""Order of the acids in an array."""

_TEMPERATURE_C = 20.0
_NO_STEP = 60.0  # pK of a proton that an acid does not have
_PK = np.array([[*charge.pk(charge.ACIDS[name], _TEMPERATURE_C, 0.0), _NO_STEP, _NO_STEP][:3] for name in ACID_NAMES])
_PK_WATER = charge.pk(charge.WATER, _TEMPERATURE_C, 0.0)[0]
_STEPS = np.array([1.0, 3.0, 5.0])  # 1 + 2k
_LOST = np.array([0.0, 1.0, 2.0, 3.0])


def polynomial(coefficients: tuple[float, ...], x: Array) -> Array:
    """Polynomial with the constant first, at x."""
    total = np.zeros_like(x)
    for a in reversed(coefficients):
        total = total * x + a
    return total


def bisected(f: Callable[[Array], Array], low: Array, high: Array) -> Array:
    """Root of a rising f between low and high, one per drink."""
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = f(middle) > 0.0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return 0.5 * (low + high)


def ethanol_water_kg_m3(mass_fraction: Array) -> Array:
    """Density of ethanol and water, OIML R 22 (1975), 20 °C."""
    return polynomial(_OIML_A, mass_fraction)


def ethanol_water_of_strength_kg_m3(abv_percent: Array) -> Array:
    """Density of the ethanol-water of a strength."""
    p = bisected(
        lambda p: 100.0 * p * ethanol_water_kg_m3(p) / ETHANOL_KG_M3 - abv_percent,
        np.zeros_like(abv_percent),
        np.ones_like(abv_percent),
    )
    return ethanol_water_kg_m3(p)


def sucrose_kg_m3(mass_fraction: Array) -> Array:
    """Density of sucrose in water, ICUMSA SPS-4, 20 °C."""
    return _SUCROSE_WATER_KG_M3 + mass_fraction * polynomial(_ICUMSA_A, mass_fraction)


def extract_g_per_l(specific_gravity: Array, abv_percent: Array) -> Array:
    """Total dry extract by OIV-MA-AS2-03B (R2012), as sucrose."""
    residue = specific_gravity - ethanol_water_of_strength_kg_m3(abv_percent) / WATER_KG_M3 + 1.0
    w = bisected(
        lambda w: sucrose_kg_m3(w) / _SUCROSE_WATER_KG_M3 - residue, np.zeros_like(residue), np.full_like(residue, 0.85)
    )
    return w * sucrose_kg_m3(w)


def binary_volume_ml(grams: Array) -> Array:
    """Volume by the binary sum of masses [g] in the order of ``COMPONENTS``, the last axis."""
    water, ethanol, solids = grams[..., WATER], grams[..., ETHANOL], grams @ IS_SOLID
    solvent = water + ethanol
    w = solids / (solids + water)
    phi_sucrose = 1000.0 * (1.0 - polynomial(_ICUMSA_A, w) / sucrose_kg_m3(w)) / _SUCROSE_WATER_KG_M3
    phi = np.stack([phi_sucrose, np.ones_like(w), w, w * w], axis=-1) @ _PHI_MATRIX.T
    dissolved: Array = np.sum(grams * IS_SOLID * phi, axis=-1)
    return 1000.0 * solvent / ethanol_water_kg_m3(ethanol / solvent) + dissolved


def tabarie_volume_ml(mass_g: Array, ethanol_g: Array, extract_g: Array) -> Array:
    """Volume by the forward Tabarié rule, iterated: rho = rho_EW(strength) + rho_sucrose(extract) - rho_W."""
    litres = mass_g / WATER_KG_M3
    for _ in range(40):
        spirit = ethanol_water_of_strength_kg_m3(100.0 * ethanol_g / ETHANOL_KG_M3 / litres)
        c = extract_g / litres
        w = bisected(lambda w, c=c: w * sucrose_kg_m3(w) - c, np.zeros_like(c), np.full_like(c, 0.85))  # type: ignore[misc]
        following = mass_g / (spirit + WATER_KG_M3 * (sucrose_kg_m3(w) / _SUCROSE_WATER_KG_M3 - 1.0))
        settled = float(np.max(np.abs(following - litres) / litres)) < 1e-11
        litres = following
        if settled:
            break
    return 1000.0 * litres


def base_grams_per_l(specific_gravity: Array, abv_percent: Array) -> tuple[Array, Array, Array]:
    """Water, ethanol and sucrose-like solids [g/L] of a ferment that has this gravity and strength, binary sum."""
    mass, ethanol = 1000.0 * specific_gravity * WATER_KG_M3 / 1000.0, abv_percent * ETHANOL_KG_M3 / 100.0

    def lacking_ml(solids: Array) -> Array:
        grams = np.zeros((*solids.shape, len(IS_SOLID)))
        grams[..., WATER], grams[..., ETHANOL], grams[..., 1] = mass - ethanol - solids, ethanol, solids
        return 1000.0 - binary_volume_ml(grams)

    solids = bisected(lacking_ml, np.zeros_like(mass), 0.5 * (mass - ethanol))
    return mass - ethanol - solids, ethanol, solids


class Charges:
    """Weak acids [mol/L, one row per drink in the order of ``ACID_NAMES``] at a strength [% vol]."""

    def __init__(self, acids: Array, abv_percent: Array) -> None:
        self.acids = acids
        self.pk = _PK + charge.CARBOXYLIC_PER_PERCENT * abv_percent[:, None, None]
        self.pk_water = _PK_WATER + charge.WATER.per_percent_ethanol * abv_percent
        self.a = np.array([charge.debye_huckel_a(_TEMPERATURE_C, float(abv)) for abv in abv_percent])

    def at(self, ph: Array, strength: Array) -> tuple[Array, Array, Array, Array]:
        """[H+], [OH-]; mean number of protons lost, and of its square, by each acid."""
        i = np.minimum(strength, 0.7)
        af = self.a * (np.sqrt(i) / (1.0 + np.sqrt(i)) - 0.3 * i)
        steps = ph[:, None, None] - self.pk + _STEPS * af[:, None, None]
        weights = np.concatenate([np.ones((*steps.shape[:2], 1)), 10.0 ** np.cumsum(steps, axis=-1)], axis=-1)
        weights /= weights.sum(axis=-1, keepdims=True)
        return 10.0 ** (af - ph), 10.0 ** (af + ph - self.pk_water), weights @ _LOST, weights @ _LOST**2

    def ph(self, sid: Array, strong: Array) -> Array:
        """Where the charges add up to nothing: Newton's steps, the ionic strength following."""
        ph: Array = np.full_like(sid, 3.5)
        strength = strong + 0.02
        for _ in range(200):
            h, oh, lost, squared = self.at(ph, strength)
            excess = sid + h - oh - np.sum(self.acids * lost, axis=1)
            slope = np.log(10.0) * (h + oh + np.sum(self.acids * (squared - lost**2), axis=1))
            step = np.clip(excess / slope, -0.5, 0.5)
            following = strong + 0.5 * (h + oh + np.sum(self.acids * squared, axis=1))
            still = float(np.max(np.abs(step)) + np.max(np.abs(following - strength)))
            strength = following
            ph = ph + step
            if still < 1e-12:
                return ph
        raise ArithmeticError("the pH of some drink does not settle")

    def base(self, end_point_ph: float, sid: Array, strong: Array) -> Array:
        """Strong base that brings each drink to the end point [eq/L]."""
        ph = np.full_like(sid, end_point_ph)
        strength = strong + 0.05
        for _ in range(500):
            h, oh, lost, squared = self.at(ph, strength)
            base: Array = np.sum(self.acids * lost, axis=1) - sid + oh - h
            following = strong + 0.5 * (h + oh + base + np.sum(self.acids * squared, axis=1))
            still = float(np.max(np.abs(following - strength)))
            strength = following
            if still < 1e-14:
                return base
        raise ArithmeticError("the ionic strength of some titration does not settle")


def inferred(profile: Array, known: Array, abv_percent: Array, ph: Array, ta: Array) -> tuple[Array, Array]:
    """How many times its profile each drink holds, and its strong ion difference [eq/L], from pH and titration.

    With both ionic strengths held the two balances are linear in the two unknowns; the strengths follow. Where they do
    not settle no such drink is found, and the scale is not a number.
    """
    of = Charges(profile, abv_percent)
    end = np.full_like(ph, 8.2)
    here, there = np.full_like(ph, 0.03), np.full_like(ph, 0.05)
    scale = sid = np.zeros_like(ph)
    settled = np.zeros(ph.shape, dtype=np.bool_)
    for _ in range(300):
        h, oh, lost, squared = of.at(ph, here)
        h_end, oh_end, lost_end, squared_end = of.at(end, there)
        by_profile = np.sum(profile * (lost_end - lost), axis=1)
        by_known = np.sum(known * (lost_end - lost), axis=1)
        before = scale
        scale = (ta - by_known - (oh_end - oh) + (h_end - h)) / by_profile
        acids = scale[:, None] * profile + known
        sid = np.sum(acids * lost, axis=1) + oh - h
        strong = 0.5 * np.abs(sid)
        here = np.clip(strong + 0.5 * (h + oh + np.sum(acids * squared, axis=1)), 0.0, 0.7)
        there = np.clip(strong + 0.5 * (h_end + oh_end + ta + np.sum(acids * squared_end, axis=1)), 0.0, 0.7)
        settled = np.abs(scale - before) < 1e-12 * np.abs(scale)
        if settled.all():
            break
    return np.where(settled, scale, np.nan), sid
