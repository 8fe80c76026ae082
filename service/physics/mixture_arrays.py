"""The volume of many mixtures at once: `service.physics.mixture` on arrays, for sweeps.

The same formulas in the same order of terms as the scalar functions, without derivatives, and with every polynomial
evaluated in place: a pass over an array that makes no new array takes a third of the time of one that does. numpy is
imported when a function is called, because a single question does without it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from service.physics.ethanol_water import OIML_TERMS_DESCENDING as _OIML
from service.physics.mixture import SOLIDS_FRACTION_MAX
from service.physics.sucrose import ICUMSA_TERMS_DESCENDING as _ICUMSA
from service.physics.sucrose import ICUMSA_WATER_20C_KG_M3 as _ICUMSA_WATER

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Rows = NDArray[np.float64]
    Mask = NDArray[np.bool_]

_SCALE = 1000.0 / _ICUMSA_WATER


def _horner(descending: Sequence[float], x: Rows) -> Rows:
    """A polynomial of degree one or more, its highest coefficient first."""
    import numpy as np

    value: Rows = x * descending[0]
    for coefficient in descending[1:-1]:
        np.add(value, coefficient, out=value)
        np.multiply(value, x, out=value)
    np.add(value, descending[-1], out=value)
    return value


def volume_of_many_ml(
    liquor: Rows,
    ethanol: Rows | float,
    syrup: Rows,
    solids: Rows | float,
    on_sucrose: Rows | float,
    constant: Rows | float,
    linear: Rows | float,
    quadratic: Rows | float,
) -> Rows:
    """Volume at 20 °C of many mixtures from their volume sums; unchecked inner loop.

    V = liquor·v(p) + on_sucrose·φ_s(w) + constant + linear·w + quadratic·w²,  p = ethanol/liquor,  w = solids/syrup

    Parameters: liquor = water + ethanol and syrup = water + solids, shape (N,) [g]; the other volume sums of
        `service.physics.mixture`, shape (N,) or scalar [g, mL].
    Returns: V, shape (N,) [mL]. Where all are scalars but for liquor and syrup, p and w still have their shape.
    Validity: liquor > 0, syrup > 0, w ≤ 0.90; `is_liquid_of_many` tells.
    Source: OIML R 22 (1975); ICUMSA SPS-4; apparent volumes of `service.physics.solutes`.

    Example: 10 g sucrose and 90 g water take 100/1.0381 mL, 20 g and 80 g 100/1.0810 mL (CRC Handbook).

    >>> import numpy as np
    >>> sucrose = np.array([10.0, 20.0])
    >>> volume = volume_of_many_ml(100.0 - sucrose, 0.0, np.full(2, 100.0), sucrose, sucrose, 0.0, 0.0, 0.0)
    >>> [round(float(density), 4) for density in 100.0 / volume]
    [1.0381, 1.081]
    """
    import numpy as np

    volume = _horner(_OIML, ethanol / liquor)  # the density of water and alcohol [kg/m³], for now
    np.divide(liquor, volume, out=volume)
    np.multiply(volume, 1000.0, out=volume)
    w: Rows = solids / syrup
    r = _horner(_ICUMSA, w)
    bottom: Rows = w * r
    np.add(bottom, _ICUMSA_WATER, out=bottom)
    phi = np.subtract(bottom, r, out=r)  # ρ_w − (1 − w) r
    np.divide(phi, bottom, out=phi)
    np.multiply(phi, on_sucrose, out=phi)
    np.multiply(phi, _SCALE, out=phi)
    np.add(volume, phi, out=volume)
    shift = np.multiply(w, quadratic, out=bottom)
    np.add(shift, linear, out=shift)
    np.multiply(shift, w, out=shift)
    np.add(shift, constant, out=shift)
    return np.add(volume, shift, out=volume)


def density_of_many_g_ml(sums: Sequence[Rows]) -> Rows:
    """Density at 20 °C of many mixtures.

    Parameters: sums, the seven volume sums of `service.physics.mixture.volume_sums`, each of shape (N,) [g, mL].
    Returns: density, shape (N,) [g/mL]; NaN where `is_liquid_of_many` is False.
    Validity and source: as `volume_of_many_ml`.

    Example: the CRC Handbook's row for 20 % citric acid reads 1.0858 g/mL.

    >>> import numpy as np
    >>> from service.physics.mixture import volume_sums
    >>> from service.physics.solutes import Component
    >>> sums = volume_sums({Component.WATER: 80.0, Component.CITRIC: 20.0})
    >>> round(float(density_of_many_g_ml([np.array([value]) for value in sums])[0]), 3)
    1.086
    """
    import numpy as np

    water, ethanol, solids, *rest = sums
    liquid = is_liquid_of_many(water, ethanol, solids)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        volume = volume_of_many_ml(water + ethanol, ethanol, water + solids, solids, *rest)
        density: Rows = (water + ethanol + solids) / volume
    density[~liquid] = np.nan
    return density


def is_liquid_of_many(water: Rows, ethanol: Rows | float, solids: Rows | float) -> Mask:
    """Where the volume rule describes a mixture: some water or alcohol, and no more than 90 % solids beside the water.

    Parameters: masses [g], shape (N,) or scalar.
    Returns: mask, shape (N,); False where a mass is not a number.

    >>> import numpy as np
    >>> is_liquid_of_many(np.array([10.0, 9.0, 0.0, np.nan]), 0.0, np.array([90.0, 91.0, 0.0, 1.0])).tolist()
    [True, False, False, False]
    """
    syrup = water + solids
    fits: Mask = (solids <= SOLIDS_FRACTION_MAX * syrup) & (syrup > 0.0) & (water + ethanol > 0.0) & (water >= 0.0)
    return fits
