"""How sweet the sugars are, and how much of them yeast can use.

Relative sweetness depends on concentration, temperature (fructose is sweeter cold) and on the method of tasting;
published figures differ by a factor of 1.7 for fructose. A sweetness computed here is a figure with a band.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.physics.solutes import Component


@dataclass(frozen=True, slots=True)
class Band:
    """A central value with the lowest and the highest published or judged one."""

    central: float
    low: float
    high: float


PUBLISHED_RELATIVE_SWEETNESS: Mapping[str, Mapping[str, float]] = MappingProxyType(
    {
        "Biester and Wood": MappingProxyType({"fructose": 1.73, "glucose": 0.743, "maltose": 0.325}),
        "Sale and Skinner": MappingProxyType({"fructose": 1.50, "glucose": 0.50, "maltose": 0.50}),
        "Paul": MappingProxyType({"fructose": 1.03, "glucose": 0.52}),
    }
)
"""Sweetness by mass, sucrose = 1, as B. Lowe, Experimental Cookery, section on sweetness, quotes three authors."""

RELATIVE_SWEETNESS: Mapping[Component, Band] = MappingProxyType(
    {
        Component.SUCROSE: Band(1.0, 1.0, 1.0),  # the unit
        Component.FRUCTOSE: Band(1.20, 1.03, 1.73),  # limits published (Lowe); central value judged
        Component.GLUCOSE: Band(0.70, 0.50, 0.743),  # limits published (Lowe); central value judged
        Component.DISACCHARIDES: Band(0.40, 0.325, 0.50),  # as maltose: limits published (Lowe), central judged
        Component.HIGHER_SUGARS: Band(0.0, 0.0, 0.0),  # our default
        Component.POLYOLS: Band(0.60, 0.50, 0.70),  # judged; sorbitol 0.5–0.7, from memory
    }
)
"""Sweetness by mass, sucrose = 1. Substances that are not here count as not sweet (glycerol of a ferment too)."""

HONEY_DISACCHARIDES_FERMENTABLE_SHARE = Band(0.5, 0.0, 1.0)
"""Share of a honey's reducing disaccharides that yeast ferments: only part of maltose, isomaltose, turanose … is
fermentable. Judged; no published mean was found."""

DISACCHARIDES_FERMENTABLE_SHARE = Band(1.0, 1.0, 1.0)
"""In juices, cane products and invert syrup the column is ordinary maltose, which yeast ferments whole."""


def sucrose_equivalent_g(masses_g: Mapping[Component, float]) -> Band:
    """Sweetness of a mixture as the mass of sucrose that would be as sweet.

    S = Σ r_i m_i

    Parameters: masses_g, component to mass [g], or to concentration [g/L], then S is in g/L.
    Returns: central, low and high [unit of the masses].
    Validity: reported figure only; acid lowers perceived sweetness and no sum of r_i knows it.
    Source: limits of r published in B. Lowe, Experimental Cookery; central values judged.

    Example: by Paul's figures invert sugar is 0.78 of sucrose, by Biester and Wood's 1.24; the centre is 0.95.

    >>> round(sucrose_equivalent_g({Component.GLUCOSE: 50.0, Component.FRUCTOSE: 50.0}).central, 1)
    95.0
    """
    central = low = high = 0.0
    for component, sweetness in RELATIVE_SWEETNESS.items():
        mass = masses_g.get(component, 0.0)
        central += sweetness.central * mass
        low += sweetness.low * mass
        high += sweetness.high * mass
    return Band(central, low, high)
