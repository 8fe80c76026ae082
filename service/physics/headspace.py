"""The headspace of a closed container that is heated: the drink swells into it, and squeezes the air.

Water swells by ρ(t₁)/ρ(t₂) − 1; alcohol adds roughly a tenth, so that a drink is taken to swell 1.15 times as much
(our default, the careful side). Where the drink swells by as much as the headspace it fills the container: a liquid
does not give way, and glass breaks. Leave 3 % or more, 4 to 5 % where the container is heated (common practice, no
source), and heat no container that is not made for the pressure.

Source: density of water after G. S. Kell, J. Chem. Eng. Data 20 (1975) 97; ideal gas for the air.
"""

from __future__ import annotations

from typing import Final

from service.errors import OutOfRangeError
from service.physics.carbon_dioxide import ATMOSPHERE_BAR, KELVIN_AT_0C
from service.physics.water import kell_water_density_kg_m3

DRINK_FACTOR: Final = 1.15
"""How much more than water a drink with alcohol is taken to swell (our default; ethanol adds roughly a tenth)."""

LEAST_HEADSPACE_SHARE: Final = 0.03
LEAST_HEATED_SHARE: Final = 0.04
"""Least headspace as a share of the volume of the drink, stored and heated (our default)."""

SOURCE_KEY: Final = "kell_1975"


def water_swelling_share(from_c: float, to_c: float) -> float:
    """By how much water swells between two temperatures.

    ΔV/V = ρ(t₁)/ρ(t₂) − 1

    Parameters: from_c t₁, scalar [°C]; to_c t₂, scalar [°C].
    Returns: share of its volume, scalar [L/L]; below zero where it shrinks.
    Raises: OutOfRangeError outside 0–100 °C.
    Validity: water; the container's own expansion is left out, the careful side.
    Source: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97.

    Example: 20 to 70 °C (computed).

    >>> round(100.0 * water_swelling_share(20.0, 70.0), 2)
    2.09
    """
    return kell_water_density_kg_m3(from_c) / kell_water_density_kg_m3(to_c) - 1.0


def drink_swelling_share(from_c: float, to_c: float) -> float:
    """By how much a drink with alcohol is taken to swell between two temperatures.

    ΔV/V = 1.15·[ρ(t₁)/ρ(t₂) − 1]

    Parameters: from_c t₁, scalar [°C]; to_c t₂, scalar [°C].
    Returns: share of its volume, scalar [L/L].
    Raises: OutOfRangeError outside 0–100 °C.
    Validity: weak drinks, to about 15 % vol; the factor is our default.
    Source: G. S. Kell, J. Chem. Eng. Data 20 (1975) 97, for water.

    Example: 4 to 40 °C, water alone 0.78 % (computed).

    >>> round(100.0 * drink_swelling_share(4.0, 40.0), 1)
    0.9
    """
    return DRINK_FACTOR * water_swelling_share(from_c, to_c)


def squeezed_air_bar(headspace_share: float, swelling_share: float, from_c: float, to_c: float) -> float | None:
    """Absolute pressure of the air in a headspace that the liquid swells into.

    P = 1.01325·(T₂/T₁)·h/(h − ΔV)

    Parameters: headspace_share h and swelling_share ΔV, both to the volume of the liquid, scalar [L/L]; from_c and
    to_c, of closing and of heating, scalar [°C].
    Returns: absolute pressure, scalar [bar]; None where the liquid fills the container: nothing gives way then.
    Raises: OutOfRangeError for a negative headspace or temperatures outside 0–100 °C.
    Validity: air closed in at 1 atm; what dissolves of it is left out, the careful side.
    Source: ideal gas law.

    Example: headspace 4 %, water from 20 to 70 °C (computed).

    >>> round(squeezed_air_bar(0.04, water_swelling_share(20.0, 70.0), 20.0, 70.0) or 0.0, 1)
    2.5
    """
    if not 0.0 <= headspace_share <= 10.0:
        raise OutOfRangeError(f"A headspace of {100.0 * headspace_share:g} % is none: give 0 or more.")
    for temperature_c in (from_c, to_c):
        if not 0.0 <= temperature_c <= 100.0:
            raise OutOfRangeError(
                f"How a headspace is squeezed is known from 0 to 100 °C, not at {temperature_c:g} °C."
            )
    if headspace_share <= swelling_share:
        return None
    warmed = (to_c + KELVIN_AT_0C) / (from_c + KELVIN_AT_0C)
    return ATMOSPHERE_BAR * warmed * headspace_share / (headspace_share - swelling_share)


def vapour_bar(temperature_c: float, abv_percent: float) -> float:
    """Pressure of the vapour over a drink: what a closed, heated headspace holds besides gas.

    log₁₀ P = 4.6543 − 1435.264/(T − 64.848), times (1 + 0.04·A)

    Parameters: temperature_c, scalar [°C]; T is temperature_c + 273.15; abv_percent A, scalar [% vol].
    Returns: pressure, scalar [bar].
    Raises: OutOfRangeError outside 0–100 °C or 0–20 % vol.
    Validity: water within 1.6 % of steam tables at 0–100 °C; what alcohol adds is rough, judged at 6 % vol and 70 °C.
    Source: Antoine equation of water after Stull, Ind. Eng. Chem. 39 (1947) 517 (from memory, unverified); the part
    of alcohol is our default.

    Example: water at 70 °C, 0.31 bar in steam tables.

    >>> round(vapour_bar(70.0, 0.0), 2)
    0.31
    """
    if not 0.0 <= temperature_c <= 100.0:
        raise OutOfRangeError(f"Vapour pressure is computed from 0 to 100 °C, not at {temperature_c:g} °C.")
    if not 0.0 <= abv_percent <= 20.0:
        raise OutOfRangeError(f"Vapour pressure is computed up to 20 % vol, not at {abv_percent:g} % vol.")
    water: float = 10.0 ** (4.6543 - 1435.264 / (temperature_c + KELVIN_AT_0C - 64.848))
    return water * (1.0 + 0.04 * abv_percent)
