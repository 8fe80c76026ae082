"""Volume of a water–ethanol–solids mixture from its masses: the binary sum, with exact derivatives.

V = V_OIML(water + ethanol) + Σ m_i φ_i(w),  w = solids/(solids + water)

The volume of water and ethanol follows OIML R 22, each solid adds its apparent specific volume
(`service.physics.solutes`). Up to 14 % vol and 100 g/L the rule agrees with the OIV densimetric rule (Tabarié)
within 0.15 kg/m³; above about 25 % vol the two part and this one has the sign that Hackbarth (J. Am. Soc. Brew.
Chem. 69 (2011) 39) measured. No measured ternary table was available; stated model uncertainty ±0.0003 in SG.

V is homogeneous of degree one in the masses, so V = Σ (∂V/∂m_j) m_j exactly. It depends on the masses only
through seven sums that are linear in them — the *volume sums*:

    water, ethanol, solids, on_sucrose = Σ m of the sucrose-based laws,
    constant = Σ m·a,  linear = Σ m·b,  quadratic = Σ m·c        with φ = [φ_s] + a + b w + c w²

so that V = (water + ethanol)·v(p) + on_sucrose·φ_s(w) + constant + linear·w + quadratic·w².
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import itemgetter, mul

from service.errors import OutOfRangeError
from service.physics.ethanol_water import specific_volume_and_slope_ml_g
from service.physics.solutes import SOLUTE_LAWS, Component
from service.physics.sucrose import apparent_volume_and_slope_ml_g
from service.physics.water import OIML_WATER_20C_KG_M3

WATER_G_PER_ML = OIML_WATER_20C_KG_M3 / 1000.0
"""The water that a mixture's specific gravity 20/20 is divided by."""

SOLIDS_FRACTION_MAX = 0.90
"""Beyond this share of solids in solids + water no liquid is described; above 0.85 the data have ended."""

VOLUME_SUMS = ("water", "ethanol", "solids", "on_sucrose", "constant", "linear", "quadratic")

_UNITS: Mapping[Component, tuple[float, ...]] = {
    Component.WATER: (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
    Component.ETHANOL: (0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0),
} | {
    component: (0.0, 0.0, 1.0, float(law.on_sucrose), law.constant, law.linear, law.quadratic)
    for component, law in SOLUTE_LAWS.items()
}


_ENTERS = {c: tuple((k, share) for k, share in enumerate(row) if share) for c, row in _UNITS.items()}
_ROWS = tuple(_UNITS[component] for component in Component)
_COLUMNS = tuple(
    (itemgetter(*places), tuple(column[k] for k in places))
    for column in tuple(zip(*_ROWS, strict=True))[2:]
    for places in [[k for k, share in enumerate(column) if share]]
)
"""For each volume sum of the solids what takes its components out of a row, and their shares."""

_UNLIKE_ROWS = tuple(dict.fromkeys(_ROWS))
_TO_COMPONENTS = itemgetter(*[_UNLIKE_ROWS.index(row) for row in _ROWS])
"""The rows of the components that take part in the sums in unlike ways, and what gives each component its own."""


def row_sums(masses_g: Sequence[float]) -> tuple[float, ...]:
    """The seven sums of a row of masses in the order of Component, whatever follows them.

    Parameters: masses_g, shape (22,) or longer [g].
    Returns and source: as `volume_sums`.

    >>> row_sums([90.0, 0.0, 10.0, *(0.0,) * 19]) == volume_sums({Component.WATER: 90.0, Component.SUCROSE: 10.0})
    True
    """
    water, ethanol = masses_g[0], masses_g[1]
    return (water, ethanol, *[sum(map(mul, shares, taken(masses_g))) for taken, shares in _COLUMNS])


def volume_sums(masses_g: Mapping[Component, float]) -> tuple[float, ...]:
    """The seven sums on which the volume depends.

    Parameters: masses_g, component to mass [g].
    Returns: water, ethanol, solids, on_sucrose [g], constant, linear, quadratic [mL].
    Source: rearrangement of the binary sum; see the module's text.

    >>> volume_sums({Component.WATER: 90.0, Component.SUCROSE: 10.0})
    (90.0, 0.0, 10.0, 10.0, 0.0, 0.0, 0.0)
    """
    totals = [0.0] * len(VOLUME_SUMS)
    for component, mass in masses_g.items():
        for k, share in _ENTERS[component]:
            totals[k] += mass * share
    return tuple(totals)


def volume_and_gradient_ml(sums: Sequence[float]) -> tuple[float, tuple[float, ...]]:
    """Volume at 20 °C and its derivative with respect to each volume sum; unchecked inner loop.

    Parameters: sums, the seven volume sums, shape (7,) [g, mL].
    Returns: V [mL] and ∂V/∂sum_k, shape (7,); Σ gradient·sums = V (Euler).
    Validity: water > 0, w ≤ 0.90; `density_g_ml` guards it.
    Source: OIML R 22 (1975); ICUMSA SPS-4; apparent volumes of `service.physics.solutes`.

    Example: 10 g sucrose and 90 g water take 100/1.0381 mL (CRC Handbook).

    >>> round(100 / volume_and_gradient_ml((90.0, 0.0, 10.0, 10.0, 0.0, 0.0, 0.0))[0], 4)
    1.0381
    """
    water, ethanol, solids, on_sucrose, constant, linear, quadratic = sums
    liquor = water + ethanol
    p = ethanol / liquor
    v, dv = specific_volume_and_slope_ml_g(p)
    syrup = water + solids
    w = solids / syrup
    phi, dphi = apparent_volume_and_slope_ml_g(w)
    volume = liquor * v + on_sucrose * phi + constant + w * (linear + w * quadratic)
    by_w = (on_sucrose * dphi + linear + 2.0 * quadratic * w) / syrup
    return volume, (
        v - dv * p - by_w * w,
        v + dv * (1.0 - p),
        by_w * (1.0 - w),
        phi,
        1.0,
        w,
        w * w,
    )


def partial_volumes_ml_g(sums: Sequence[float]) -> tuple[float, ...]:
    """What a gram more of each component adds to the volume of a mixture; unchecked like `volume_and_gradient_ml`.

    Parameters: sums, the seven volume sums of the mixture, shape (7,) [g, mL].
    Returns: ∂V/∂m in the order of Component [mL/g]; Σ m ∂V/∂m = V (Euler).
    Validity and source: as `volume_and_gradient_ml`.

    Example: a gram of ethanol in water takes less than its own 1.267 mL.

    >>> dilute = partial_volumes_ml_g((95.0, 5.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    >>> 1.1 < dilute[tuple(Component).index(Component.ETHANOL)] < 1.267
    True
    """
    gradient = volume_and_gradient_ml(sums)[1]
    found: tuple[float, ...] = _TO_COMPONENTS([sum(map(mul, gradient, row)) for row in _UNLIKE_ROWS])
    return found


def volume_ml(masses_g: Mapping[Component, float]) -> float:
    """Volume of a mixture at 20 °C.

    Parameters: masses_g, component to mass [g].
    Returns: volume [mL].
    Raises: OutOfRangeError where there is no water, or more than 90 % solids in solids + water.
    Validity: 0–100 % ethanol; the sugar data end at 85 % solids.
    Source: the binary sum of the module's text.

    Example: the CRC Handbook's row for 10 % fructose reads 1.0385 g/mL, so 100 g take 96.3 mL.

    >>> round(volume_ml({Component.WATER: 90.0, Component.FRUCTOSE: 10.0}), 1)
    96.3
    """
    return volume_of_sums_ml(volume_sums(masses_g))


def volume_of_sums_ml(sums: Sequence[float]) -> float:
    """`volume_ml` of a mixture known by its volume sums.

    Parameters: sums, the seven volume sums, shape (7,) [g, mL].
    Returns, raises, validity and source: as `volume_ml`.

    >>> volume_of_sums_ml(volume_sums({Component.WATER: 90.0, Component.FRUCTOSE: 10.0})) == volume_ml(
    ...     {Component.WATER: 90.0, Component.FRUCTOSE: 10.0}
    ... )
    True
    """
    water, ethanol, solids = sums[:3]
    if water + ethanol <= 0.0 or water + solids <= 0.0:
        raise OutOfRangeError("A mixture without water or alcohol has no volume by this rule.")
    if solids > SOLIDS_FRACTION_MAX * (water + solids):
        raise OutOfRangeError(
            f"{100 * solids / (water + solids):.1f} % solids is no liquid: volumes are known up to 90 %."
        )
    return volume_and_gradient_ml(sums)[0]


def density_g_ml(masses_g: Mapping[Component, float]) -> float:
    """Density of a mixture at 20 °C, mass over the volume of the binary sum.

    Parameters: masses_g, component to mass [g].
    Returns: density [g/mL].
    Raises: OutOfRangeError as `volume_ml`.
    Source: as `volume_ml`.

    Example: the CRC Handbook's row for 20 % citric acid reads 1.0858 g/mL.

    >>> round(density_g_ml({Component.WATER: 80.0, Component.CITRIC: 20.0}), 3)
    1.086
    """
    return sum(masses_g.values()) / volume_ml(masses_g)
