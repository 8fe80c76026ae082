"""Carbon dioxide in a drink: how much a pressure dissolves, and what pressure a content makes in a closed container.

    ln(H/MPa) = −6.8346 + 1.2817·10⁴/T − 3.7668·10⁶/T² + 2.997·10⁸/T³          Carroll, Slupsky and Mather 1991
    k_w = (0.1/H)·(ρ_w/18.015)·44.0095                                         g/L per bar, in water
    k   = k_w·(0.86 − 0.01·A)/0.86·(1 − 0.00144·S)                             in a drink of A % vol and S g/L sugar
    P   = C/(k + h·44.0095/(R·T))                                              closed, headspace h litres to a litre

The correction for strength and sugar is that of the European method for sparkling wine, made at 20 °C; that it holds
at other temperatures is our default. Two published figures, for champagne and lager, lie within 7 % of it, which is
the error that goes with every pressure (`SHARE_OF_ERROR`). P is the partial pressure of carbon dioxide; vapour of
water is not taken off a total pressure, which overstates what dissolves by 2.3 % at 20 °C and 0.8 % at 4 °C
(computed). Air shut in with it adds about 1 bar absolute, so that a gauge shows about P.

The law is good to 10 bar: above, gas takes less room than an ideal one and less of it dissolves than a straight line
says, so that figures there are orders of magnitude. Long before, an ordinary container has burst: glass then flies.

Source: J. J. Carroll, J. D. Slupsky and A. E. Mather, J. Phys. Chem. Ref. Data 20 (1991) 1201; Regulation (EEC)
No 2676/90, Annex, chapter 37 (read in an extract in which a minus sign was lost, restored by physics).
"""

from __future__ import annotations

import math
from typing import Final

from service.errors import OutOfRangeError
from service.physics.water import kell_water_density_kg_m3

CO2_MOLAR_MASS_G_PER_MOL: Final = 44.0095
"""Formula mass of CO2, IUPAC standard atomic weights."""

WATER_MOLAR_MASS_G_PER_MOL: Final = 18.015
"""Formula mass of water, IUPAC standard atomic weights."""

GAS_CONSTANT_L_BAR_PER_MOL_K: Final = 0.08314
"""R = 8.314 J/(mol·K), CODATA, to four digits."""

ATMOSPHERE_BAR: Final = 1.01325
"""Standard atmosphere [bar], exact by definition."""

KELVIN_AT_0C: Final = 273.15

BAR_PER_PSI: Final = 0.06894757293168361
"""Pound-force per square inch [bar]. NIST SP 811, Appendix B."""

G_PER_L_PER_VOLUME: Final = 1.9768
"""Carbon dioxide in one volume of gas at 0 °C and 1 atm [g/L] (real gas; from memory, unverified; ideal 1.9635)."""

SHARE_OF_ERROR: Final = 0.07
"""How far the law may be off, as a share: its distance from the published solubilities in champagne and lager.
Liger-Belair and Cilindre, ACS Omega 6 (2021) 9672, table 1 (the strengths and sugars of both are assumed)."""

HIGHEST_BAR: Final = 10.0
"""Pressure to which the law was made: 1 MPa. Carroll, Slupsky and Mather 1991."""

CO2_PER_HEXOSE_G_PER_G: Final = 0.4886
CO2_PER_SUCROSE_G_PER_G: Final = 0.5143
"""Carbon dioxide from a gram of sugar by C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂ (formula masses)."""

FERMENTED_SHARE: Final = 0.95
"""Share of the sugar's carbon that does not go into yeast and glycerol (our default)."""

TOLERANCE_G_PER_ABV: Final = 7.8924 / 0.47
"""Sugar that a yeast burns for one more % vol [g/L]: 7.8924 g ethanol to a litre, 0.47 g of it from a gram (our
default of the yield; theory gives 0.511)."""

STILL_BAR_20C: Final = 0.5
"""Overpressure at 20 °C below which a wine counts as still [bar]. OIV-MA-AS314-01."""

US_STILL_G_PER_L: Final = 3.92
"""Most carbon dioxide in a still wine in the US [g/L]: 0.392 g in 100 mL. 27 CFR 24.257, 2015 edition."""

SOURCE_KEY: Final = "carroll_1991"
WINE_SOURCE_KEY: Final = "eec_2676_90"
ERROR_SOURCE_KEY: Final = "liger_belair_2021"

_HIGHEST_ABV_PERCENT: Final = 20.0
_HIGHEST_SUGAR_G_PER_L: Final = 300.0
_WINE_G_PER_L_BAR: Final = 1.951


def _check_temperature(temperature_c: float) -> None:
    if not 0.0 <= temperature_c <= 100.0:
        raise OutOfRangeError(
            f"How carbon dioxide dissolves is computed from 0 to 100 °C, not at {temperature_c:g} °C. Choose a "
            "temperature between; ice drives the gas out."
        )


def _check_drink(abv_percent: float, sugar_g_per_l: float) -> None:
    if not 0.0 <= abv_percent <= _HIGHEST_ABV_PERCENT:
        raise OutOfRangeError(
            f"How carbon dioxide dissolves is known up to {_HIGHEST_ABV_PERCENT:g} % vol, not at {abv_percent:g} % "
            "vol: nothing is computed for a stronger drink.",
            "/abv_percent",
        )
    if not 0.0 <= sugar_g_per_l <= _HIGHEST_SUGAR_G_PER_L:
        raise OutOfRangeError(
            f"How carbon dioxide dissolves is computed up to {_HIGHEST_SUGAR_G_PER_L:g} g/L sugar, not at "
            f"{sugar_g_per_l:g} g/L: check the sugar.",
            "/sugar_g_per_l",
        )


def _check_content(value: float, what: str) -> None:
    if not 0.0 <= value < math.inf:
        raise OutOfRangeError(f"{what} has to be zero or more, not {value:g}.")


def co2_solubility_in_water_g_per_l_bar(temperature_c: float) -> float:
    """Carbon dioxide that water dissolves under 1 bar of it.

    ln(H/MPa) = −6.8346 + 1.2817·10⁴/T − 3.7668·10⁶/T² + 2.997·10⁸/T³,  k_w = (0.1/H)·(ρ/18.015)·44.0095

    Parameters: temperature_c, scalar [°C]; T is temperature_c + 273.15.
    Returns: solubility, scalar [g/(L·bar)].
    Raises: OutOfRangeError outside 0–100 °C.
    Validity: 0–160 °C and up to 10 bar by its authors; here 0–100 °C. Weiss 1974 is 1.6 % lower at 20 °C (computed).
    Source: Carroll, Slupsky and Mather, J. Phys. Chem. Ref. Data 20 (1991) 1201; density of water after Kell 1975.

    Example: 1.725 g/L at 20 °C (computed).

    >>> round(co2_solubility_in_water_g_per_l_bar(20.0), 3)
    1.725
    """
    _check_temperature(temperature_c)
    kelvin = temperature_c + KELVIN_AT_0C
    henry_mpa = math.exp(-6.8346 + 1.2817e4 / kelvin - 3.7668e6 / kelvin**2 + 2.997e8 / kelvin**3)
    moles_per_l = kell_water_density_kg_m3(temperature_c) / WATER_MOLAR_MASS_G_PER_MOL
    return 0.1 / henry_mpa * moles_per_l * CO2_MOLAR_MASS_G_PER_MOL


def co2_solubility_g_per_l_bar(temperature_c: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """Carbon dioxide that a drink dissolves under 1 bar of it.

    k = k_w(T)·(0.86 − 0.01·A)/0.86·(1 − 0.00144·S)

    Parameters: temperature_c T, scalar [°C]; abv_percent A, scalar [% vol]; sugar_g_per_l S, scalar [g/L].
    Returns: solubility, scalar [g/(L·bar)], within 7 %.
    Raises: OutOfRangeError outside 0–100 °C, 0–20 % vol, 0–300 g/L.
    Validity: the correction was made for sparkling wine at 20 °C; the product with the law of water is our default.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37.

    Example: a lager at 6 °C, taken as 5 % vol and 35 g/L extract; published about 2.4 (Liger-Belair and Cilindre
    2021, table 1).

    >>> round(co2_solubility_g_per_l_bar(6.0, 5.0, 35.0), 1)
    2.4
    """
    _check_drink(abv_percent, sugar_g_per_l)
    water = co2_solubility_in_water_g_per_l_bar(temperature_c)
    return water * (0.86 - 0.01 * abv_percent) / 0.86 * (1.0 - 0.00144 * sugar_g_per_l)


def wine_co2_g_per_l_at_20c(absolute_bar: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """Carbon dioxide in a sparkling wine from its absolute pressure at 20 °C, by the European method.

    C = 1.951·10⁻⁵·P(Pa)·(0.86 − 0.01·A)·(1 − 0.00144·S)

    Parameters: absolute_bar P, scalar [bar absolute]; abv_percent A, scalar [% vol]; sugar_g_per_l S, scalar [g/L].
    Returns: carbon dioxide, scalar [g/L].
    Raises: OutOfRangeError outside 0–20 % vol, 0–300 g/L, or for a negative pressure.
    Validity: 20 °C. Lies 2.7 % below `co2_solubility_g_per_l_bar` at 20 °C, whatever the drink (computed).
    Source: Regulation (EEC) No 2676/90, Annex, ch. 37.

    Example: 7 bar absolute, 12 % vol, dry (computed).

    >>> round(wine_co2_g_per_l_at_20c(7.0, 12.0, 0.0), 1)
    10.1
    """
    _check_drink(abv_percent, sugar_g_per_l)
    _check_content(absolute_bar, "A pressure")
    return _WINE_G_PER_L_BAR * absolute_bar * (0.86 - 0.01 * abv_percent) * (1.0 - 0.00144 * sugar_g_per_l)


def co2_volumes_from_g_per_l(co2_g_per_l: float) -> float:
    """Volumes of gas, at 0 °C and 1 atm, to a volume of drink.

    v = C/1.9768

    Parameters: co2_g_per_l C, scalar [g/L].
    Returns: volumes, scalar [L/L].
    Raises: OutOfRangeError for a negative content.
    Validity: any content.
    Source: density of carbon dioxide gas (from memory, unverified).

    Example: the US limit of still wine, 0.392 g in 100 mL, is 1.98 volumes (27 CFR 24.257; volumes computed).

    >>> round(co2_volumes_from_g_per_l(3.92), 2)
    1.98
    """
    _check_content(co2_g_per_l, "A content of carbon dioxide")
    return co2_g_per_l / G_PER_L_PER_VOLUME


def co2_g_per_l_from_volumes(volumes: float) -> float:
    """Grams to a litre of so many volumes of gas: the inverse of `co2_volumes_from_g_per_l`.

    C = 1.9768·v

    Parameters: volumes v, scalar [L/L].
    Returns: carbon dioxide, scalar [g/L].
    Raises: OutOfRangeError for a negative number of volumes.
    Validity: any content.
    Source: density of carbon dioxide gas (from memory, unverified).

    >>> round(co2_g_per_l_from_volumes(2.0), 3)
    3.954
    """
    _check_content(volumes, "A number of volumes")
    return volumes * G_PER_L_PER_VOLUME


def gauge_bar_for_co2(co2_g_per_l: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """Gauge pressure of pure carbon dioxide over a drink that is to hold so much of it: a keg.

    P = C/k(T, A, S) − 1.01325

    Parameters: co2_g_per_l C, scalar [g/L]; temperature_c, scalar [°C]; abv_percent, scalar [% vol]; sugar_g_per_l,
    scalar [g/L].
    Returns: gauge pressure, scalar [bar]; below zero where air pressure alone would dissolve more.
    Raises: OutOfRangeError outside the ranges of the solubility.
    Validity: at equilibrium, no air in the keg; within 7 % of the absolute pressure.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37.

    Example: 2.0 volumes at 4 °C, 6.5 % vol, 90 g/L (computed).

    >>> round(gauge_bar_for_co2(co2_g_per_l_from_volumes(2.0), 4.0, 6.5, 90.0), 2)
    0.71
    """
    _check_content(co2_g_per_l, "A content of carbon dioxide")
    return co2_g_per_l / co2_solubility_g_per_l_bar(temperature_c, abv_percent, sugar_g_per_l) - ATMOSPHERE_BAR


def co2_g_per_l_at_gauge(gauge_bar: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """Carbon dioxide that a drink takes up in the end under pure carbon dioxide at a gauge pressure.

    C = (P + 1.01325)·k(T, A, S)

    Parameters: gauge_bar P, scalar [bar above air pressure]; temperature_c, scalar [°C]; abv_percent, scalar [% vol];
    sugar_g_per_l, scalar [g/L].
    Returns: carbon dioxide, scalar [g/L].
    Raises: OutOfRangeError for less than a vacuum, or outside the ranges of the solubility.
    Validity: at equilibrium, after days; vapour of water not taken off.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37.

    Example: a keg left at 0.3 bar and 4 °C, 6.5 % vol, 90 g/L (computed).

    >>> round(co2_g_per_l_at_gauge(0.3, 4.0, 6.5, 90.0), 2)
    3.01
    """
    _check_content(gauge_bar + ATMOSPHERE_BAR, "An absolute pressure")
    solubility = co2_solubility_g_per_l_bar(temperature_c, abv_percent, sugar_g_per_l)
    return (gauge_bar + ATMOSPHERE_BAR) * solubility


def _capacity(temperature_c: float, abv_percent: float, sugar_g_per_l: float, headspace_share: float) -> float:
    """Carbon dioxide in liquid and headspace of a closed container under 1 bar of it [g per litre of drink]."""
    _check_content(headspace_share, "A headspace")
    gas = CO2_MOLAR_MASS_G_PER_MOL / (GAS_CONSTANT_L_BAR_PER_MOL_K * (temperature_c + KELVIN_AT_0C))
    return co2_solubility_g_per_l_bar(temperature_c, abv_percent, sugar_g_per_l) + headspace_share * gas


def closed_pressure_bar(
    co2_g_per_l: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float, headspace_share: float
) -> float:
    """Partial pressure of carbon dioxide in a closed container: about what a gauge shows, air being shut in too.

    P = C/[k(T, A, S) + h·44.0095/(R·T)]

    Parameters: co2_g_per_l C in liquid and headspace to a litre of drink, scalar [g/L]; temperature_c, scalar [°C];
    abv_percent, scalar [% vol]; sugar_g_per_l, scalar [g/L]; headspace_share h, litres of headspace to a litre of
    drink, scalar [L/L].
    Returns: partial pressure, scalar [bar].
    Raises: OutOfRangeError outside the ranges of the solubility, or for negative amounts.
    Validity: at equilibrium; to 10 bar, beyond it only an order of magnitude. Within 7 %.
    Source: Carroll, Slupsky and Mather 1991; Regulation (EEC) No 2676/90, Annex, ch. 37; ideal gas.

    Example: 24 g/L sucrose in a sparkling wine of 12.5 % vol is said to give 6 bar at 10 °C (from memory,
    unverified).

    >>> round(closed_pressure_bar(co2_from_sugar_g_per_l(0.0, 24.0), 10.0, 12.5, 0.0, 0.04), 1)
    5.7
    """
    _check_content(co2_g_per_l, "A content of carbon dioxide")
    return co2_g_per_l / _capacity(temperature_c, abv_percent, sugar_g_per_l, headspace_share)


def closed_co2_g_per_l(
    pressure_bar: float, temperature_c: float, abv_percent: float, sugar_g_per_l: float, headspace_share: float
) -> float:
    """Carbon dioxide in a closed container from its partial pressure: the inverse of `closed_pressure_bar`.

    C = P·[k(T, A, S) + h·44.0095/(R·T)]

    Parameters: pressure_bar P, scalar [bar]; the others as there.
    Returns: carbon dioxide in liquid and headspace, scalar [g per litre of drink].
    Raises: OutOfRangeError outside the ranges of the solubility, or for negative amounts.
    Validity: as there.
    Source: as there.

    Example: what 3 bar at 20 °C take, 6.5 % vol, 100 g/L, headspace 4 % (computed).

    >>> round(closed_co2_g_per_l(3.0, 20.0, 6.5, 100.0, 0.04), 2)
    4.31
    """
    _check_content(pressure_bar, "A pressure")
    return pressure_bar * _capacity(temperature_c, abv_percent, sugar_g_per_l, headspace_share)


def co2_from_sugar_g_per_l(hexose_g_per_l: float, sucrose_g_per_l: float = 0.0) -> float:
    """Carbon dioxide that sugar gives when it ferments in a closed container.

    C = 0.95·(0.4886·hexose + 0.5143·sucrose)

    Parameters: hexose_g_per_l, glucose and fructose that ferment, scalar [g/L]; sucrose_g_per_l, scalar [g/L].
    Returns: carbon dioxide, scalar [g/L].
    Raises: OutOfRangeError for negative amounts.
    Validity: alcoholic fermentation; 0.95 is our default for what goes into yeast and glycerol.
    Source: formula masses, C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂.

    Example: 4.05 g/L of sucrose make one volume (computed).

    >>> round(co2_volumes_from_g_per_l(co2_from_sugar_g_per_l(0.0, 4.05)), 2)
    1.0
    """
    _check_content(hexose_g_per_l, "Sugar")
    _check_content(sucrose_g_per_l, "Sugar")
    return FERMENTED_SHARE * (CO2_PER_HEXOSE_G_PER_G * hexose_g_per_l + CO2_PER_SUCROSE_G_PER_G * sucrose_g_per_l)


def sugar_within_tolerance_g_per_l(tolerance_abv_percent: float, abv_percent: float) -> float:
    """Sugar that a yeast could still burn before the strength that it is said to stand.

    S = (tolerance − A)·7.8924/0.47, no less than nothing

    Parameters: tolerance_abv_percent, scalar [% vol]; abv_percent A, scalar [% vol].
    Returns: sugar, scalar [g/L].
    Raises: OutOfRangeError for negative strengths.
    Validity: a printed tolerance is a claim, not a limit; other yeasts get in. Never lean on it.
    Source: mass balance with our default yield of 0.47 g ethanol from 1 g sugar.

    Example: from 6.5 % vol to 10 % vol (computed).

    >>> round(sugar_within_tolerance_g_per_l(10.0, 6.5))
    59
    """
    _check_content(tolerance_abv_percent, "A tolerance")
    _check_content(abv_percent, "A strength")
    return max(tolerance_abv_percent - abv_percent, 0.0) * TOLERANCE_G_PER_ABV


def psi_from_bar(bar: float) -> float:
    """Pounds-force per square inch of a pressure in bar.

    Parameters: bar, scalar [bar].
    Returns: scalar [psi].
    Raises: nothing.
    Validity: any pressure.
    Source: NIST SP 811, Appendix B.

    >>> round(psi_from_bar(1.0), 4)
    14.5038
    """
    return bar / BAR_PER_PSI
