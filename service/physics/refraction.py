"""Refractive index of a drink, and what a refractometer with a sugar scale therefore shows of it.

The scale is made for sucrose in water, so everything else in the glass is read as if it were sugar. Two relations at
20 °C in sodium light are enough to say what it will show:

    n(w) = 1.33299 + 0.143338 w + 0.049615 w² + 0.028767 w³ − 0.008830 w⁴     sucrose in water, mass fraction w
    (n² − 1)/(n² + 2) = ρ Σ w_i r_i = (Σ m_i r_i)/V                           any mixture (Lorentz–Lorenz)

with ρ in g/mL, V the volume of the binary sum (`service.physics.mixture`) and r the specific refractions below. The
reading is 100 w where n(w) meets the index of the mixture. The polynomial is a least-squares fit to the 40 sucrose
rows from 0.5 to 84 % of the CRC Handbook of Chemistry and Physics, 102nd ed. (2021), "Concentrative properties of
aqueous solutions" (after Wolf 1966), residual up to 7.4e-5 in n, 0.04 °Bx (computed).

Alcohol bends light more than water and weighs less, so a hydrometer reads it as a lack of sugar and a refractometer
as an excess: two readings of one sample give both its extract and its strength. That is the only way back after
sweetening, when a gravity before fermentation no longer says anything. It is a check of a blend, not a laboratory's
strength: readings good to 0.001 and 0.2 °Bx leave ±0.48 % vol and ±0.16 % extract (computed). What a label may say
of strength is for local law and a licensed laboratory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt

from service.errors import InconsistentError, OutOfRangeError
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.mixture import WATER_G_PER_ML, density_g_ml, partial_volumes_ml_g, volume_sums
from service.physics.solutes import Component

_INDEX = (1.33299, 0.143338, 0.049615, 0.028767, -0.008830)
_INDEX_DESCENDING = tuple(reversed(_INDEX))

SCALE_MIN_BRIX = -1.0
"""A scale with a wrong zero still shows this; below it the reading is no sugar any more."""

SCALE_MAX_BRIX = 84.0
"""The last of the CRC Handbook's sucrose rows."""

_EXTRACT_ML_G = 0.2065
_ACID_ML_G = 0.196

SPECIFIC_REFRACTION_ML_G: Mapping[Component, float] = {
    Component.WATER: 0.20606,  # n 1.33299, ρ 0.99820 (OIML R 22)
    Component.ETHANOL: 0.2772,  # CRC row, 5 %
    Component.SUCROSE: _EXTRACT_ML_G,  # CRC row, 10 %
    Component.GLUCOSE: 0.2071,  # CRC row, 10 %
    Component.FRUCTOSE: 0.2046,  # CRC row, 10 %
    Component.DISACCHARIDES: _EXTRACT_ML_G,
    Component.HIGHER_SUGARS: _EXTRACT_ML_G,
    Component.POLYOLS: _EXTRACT_ML_G,
    Component.CITRIC: _ACID_ML_G,  # CRC row, 2 %
    Component.MALIC: _ACID_ML_G,
    Component.TARTARIC: _ACID_ML_G,
    Component.LACTIC: _ACID_ML_G,  # takes more room than citric: reads 0.42 °Bx per 1 %, likely low (judged)
    Component.QUINIC: _ACID_ML_G,
    Component.GLUCONIC: _ACID_ML_G,
    Component.FERMENT_ACIDS: _ACID_ML_G,
    Component.GLYCEROL: 0.2235,  # CRC rows
    Component.FERMENT_RESIDUE: _EXTRACT_ML_G,
    Component.PROTEIN: _EXTRACT_ML_G,
    Component.FAT: _EXTRACT_ML_G,  # not dissolved: 1 % lowers the reading by 0.22 °Bx (computed); juices hold less
    Component.ASH: _EXTRACT_ML_G,
    Component.PECTIN: _EXTRACT_ML_G,
    Component.OTHER_SOLIDS: _EXTRACT_ML_G,
}
"""Specific refraction r = (n² − 1)/((n² + 2) ρ) [mL/g], computed from published rows: CRC Handbook of Chemistry and
Physics, 102nd ed. (2021), "Concentrative properties of aqueous solutions", 20 °C, after Wolf (1966). Rows rounded to
1e-4 leave ±0.0004 on a sugar's. Where there is no row it is our default: acids count as citric, all other extract as
sucrose."""

EXTRACT_MAX_PERCENT = 20.0
"""Most extract that two readings are solved for [% by mass]; beyond it the rule drifts from the sugar scale."""

ETHANOL_MAX_PERCENT = 15.0
"""Most ethanol that two readings are solved for [% by mass]."""

ACID_MAX_G_PER_100G = 5.0
"""Most acid that two readings are solved for [g/100 g]."""

SHORTFALL_MAX_PERCENT = 1.0
"""How far below zero an extract or an ethanol may come out [% by mass] before the two readings contradict each other:
a little more than errors of 0.002 in gravity and 0.2 °Bx explain."""

FRUCTOSE_SHARE = 0.55
"""Fructose in the fructose and glucose that the extract of a honey ferment is taken to be (our default)."""

_SOLVED = (Component.FRUCTOSE, Component.GLUCOSE, Component.ETHANOL, Component.WATER)
_PLACE = {component: place for place, component in enumerate(Component)}
_REFRACTIONS = tuple(SPECIFIC_REFRACTION_ML_G[component] for component in Component)


def _index_and_slope(w: float) -> tuple[float, float]:
    index = slope = 0.0
    for a in _INDEX_DESCENDING:
        slope = slope * w + index
        index = index * w + a
    return index, slope


_INDEX_MIN = _index_and_slope(SCALE_MIN_BRIX / 100.0)[0]
_INDEX_MAX = _index_and_slope(SCALE_MAX_BRIX / 100.0)[0]


def refractive_index_from_brix(brix: float) -> float:
    """Refractive index of sucrose in water, 20 °C, sodium light.

    n = 1.33299 + 0.143338 w + 0.049615 w² + 0.028767 w³ − 0.008830 w⁴,  w = brix/100

    Parameters: brix, scalar [°Bx = g sucrose/100 g].
    Returns: refractive index, scalar [-].
    Raises: OutOfRangeError outside −1 to 84 °Bx.
    Validity: 0–84 °Bx, within 7.4e-5 of the rows (5.3e-5 up to 50 °Bx); 1e-4 in n is 0.07 °Bx at 0 and 0.044 at 60.
    Source: fit to the CRC Handbook of Chemistry and Physics, 102nd ed. (2021), "Concentrative properties of aqueous
    solutions", sucrose rows.

    Example: the CRC Handbook's row for 40 % reads 1.3999.

    >>> round(refractive_index_from_brix(40.0), 4)
    1.3999
    """
    if not SCALE_MIN_BRIX <= brix <= SCALE_MAX_BRIX:
        raise OutOfRangeError(
            f"The refractive index of sugar in water is known from 0 to {SCALE_MAX_BRIX:g} °Bx, not at {brix:g} °Bx."
        )
    return _index_and_slope(brix / 100.0)[0]


def _check_on_scale(refractive_index: float) -> None:
    if not _INDEX_MIN <= refractive_index <= _INDEX_MAX:
        raise OutOfRangeError(
            f"The sugar scale of a refractometer runs from n = {_INDEX[0]:.4f} (water) to {_INDEX_MAX:.4f} "
            f"({SCALE_MAX_BRIX:g} °Bx), not to {refractive_index:.4f}. Check the zero with water at 20 °C."
        )


def _brix_and_slope(refractive_index: float) -> tuple[float, float]:
    """Reading [°Bx] and its derivative by the index; unchecked."""
    w = (refractive_index - _INDEX[0]) / 0.18
    for _ in range(50):
        index, slope = _index_and_slope(w)
        step = (index - refractive_index) / slope
        w -= step
        if abs(step) < 1e-15:
            break
    return 100.0 * w, 100.0 / _index_and_slope(w)[1]


def brix_from_refractive_index(refractive_index: float) -> float:
    """Reading on the sugar scale that belongs to an index: the root of `refractive_index_from_brix`.

    Parameters: refractive_index at 20 °C, sodium light, scalar [-].
    Returns: reading, scalar [°Bx]; slightly negative just below the index of water.
    Raises: OutOfRangeError outside the index of −1 to 84 °Bx.
    Validity and source: as `refractive_index_from_brix`.

    Example: the CRC Handbook's row for 10 % sucrose reads 1.3478.

    >>> round(brix_from_refractive_index(1.3478), 1)
    10.0
    """
    _check_on_scale(refractive_index)
    return _brix_and_slope(refractive_index)[0]


def _refraction(masses_g: Mapping[Component, float]) -> float:
    """(n² − 1)/(n² + 2) of a mixture, checked by its density."""
    refracted = sum(mass * SPECIFIC_REFRACTION_ML_G[component] for component, mass in masses_g.items())
    return density_g_ml(masses_g) * refracted / sum(masses_g.values())


def _index_from_refraction(refraction: float) -> float:
    return sqrt((1.0 + 2.0 * refraction) / (1.0 - refraction))


def refractive_index_of(masses_g: Mapping[Component, float]) -> float:
    """Refractive index of a mixture, 20 °C, sodium light.

    (n² − 1)/(n² + 2) = ρ Σ w_i r_i,  over all components, water and acids included

    Parameters: masses_g, component to mass [g].
    Returns: refractive index, scalar [-].
    Raises: OutOfRangeError as `service.physics.mixture.volume_ml`.
    Validity: up to 20 % extract within 1.2e-4 of the CRC Handbook's rows for sucrose, glucose and fructose; too high
    by 1.8e-4 at 30 % sucrose, 5e-4 at 40 % and 1.8e-3 at 60 % (computed).
    Source: Lorentz–Lorenz; specific refractions from the CRC Handbook, 102nd ed. (2021).

    Example: the CRC Handbook's row for 10 % fructose reads 1.3476.

    >>> round(refractive_index_of({Component.WATER: 90.0, Component.FRUCTOSE: 10.0}), 4)
    1.3476
    """
    return _index_from_refraction(_refraction(masses_g))


def refractometer_brix(masses_g: Mapping[Component, float]) -> float:
    """What a refractometer with a sugar scale shows of a mixture at 20 °C.

    Parameters: masses_g, component to mass [g].
    Returns: reading, scalar [°Bx]. No correction for acid belongs on top: acid is a component here.
    Raises: OutOfRangeError as `refractive_index_of`, and where the mixture lies off the scale (−1 to 84 °Bx).
    Validity: up to 20 % extract; sucrose in water reads within 0.03 °Bx of itself there, +0.12 at 30 %, +0.27 at 40 %
    and +0.8 at 60 % (computed). Pulp and cloud are not in it.
    Source: as `refractive_index_of` and `refractive_index_from_brix`.

    Example: 5 % ethanol by mass in water reads as 2.1 °Bx (computed).

    >>> round(refractometer_brix({Component.WATER: 95.0, Component.ETHANOL: 5.0}), 1)
    2.1
    """
    return brix_from_refractive_index(refractive_index_of(masses_g))


def _reading(masses_g: Mapping[Component, float]) -> tuple[float, float, tuple[float, ...]]:
    """Index, reading [°Bx] and the reading's gradient [°Bx/g] of a mixture, wherever on the scale it lies."""
    s = _refraction(masses_g)
    index = _index_from_refraction(s)
    brix, by_index = _brix_and_slope(index)
    partial = partial_volumes_ml_g(volume_sums(masses_g))
    volume = sum(mass * partial[_PLACE[component]] for component, mass in masses_g.items())
    by_refraction = by_index * 1.5 / (index * (1.0 - s) ** 2) / volume
    return index, brix, tuple(by_refraction * (r - s * room) for r, room in zip(_REFRACTIONS, partial, strict=True))


def refractometer_brix_and_gradient(masses_g: Mapping[Component, float]) -> tuple[float, tuple[float, ...]]:
    """The reading of a mixture, and what one gram more of each component does to it.

    s = (Σ m r)/V,  n = √((1 + 2s)/(1 − s)),  n(B/100) = n, hence
    ∂B/∂m_j = 100/n′(w) · 3/(2 n (1 − s)²) · (r_j − s ∂V/∂m_j)/V

    Parameters: masses_g, component to mass [g]; components left out count as 0 and have a derivative too.
    Returns: reading [°Bx] and its derivatives in the order of Component, shape (22,) [°Bx/g]; a reading does not
    depend on how much there is of it, so Σ m_j ∂B/∂m_j = 0.
    Raises: as `refractometer_brix`.
    Validity and source: as `refractometer_brix`; the chain rule, with the exact partial volumes of the binary sum.

    Example: a gram of ethanol in 100 g of water raises the reading by 0.4 °Bx (computed).

    >>> brix, gradient = refractometer_brix_and_gradient({Component.WATER: 100.0})
    >>> round(gradient[tuple(Component).index(Component.ETHANOL)], 1)
    0.4
    """
    index, brix, gradient = _reading(masses_g)
    _check_on_scale(index)
    return brix, gradient


@dataclass(frozen=True, slots=True)
class ExtractAndAlcohol:
    """What a hydrometer and a refractometer say together of one sample."""

    extract_percent: float
    """Dissolved solids without the acid that was given [% by mass]; slightly negative where a reading is a little
    off."""
    ethanol_percent: float
    """Ethanol [% by mass]; slightly negative where a reading is a little off."""
    abv_percent: float
    """Alcoholic strength [% vol at 20 °C]."""


def _sample(extract: float, ethanol: float, acid: float) -> dict[Component, float]:
    return {
        Component.WATER: 100.0 - extract - ethanol - acid,
        Component.ETHANOL: ethanol,
        Component.FRUCTOSE: FRUCTOSE_SHARE * extract,
        Component.GLUCOSE: (1.0 - FRUCTOSE_SHARE) * extract,
        Component.CITRIC: acid,
    }


def _along(gradient: tuple[float, ...]) -> tuple[float, float]:
    """Derivatives by extract and by ethanol of 100 g of sample: each takes the place of water."""
    fructose, glucose, ethanol, water = (gradient[_PLACE[component]] for component in _SOLVED)
    return FRUCTOSE_SHARE * fructose + (1.0 - FRUCTOSE_SHARE) * glucose - water, ethanol - water


def _check_readings(sg_20_20: float, brix_read: float, acid_g_per_100g: float) -> None:
    if not 0.97 <= sg_20_20 <= 1.11:
        raise OutOfRangeError(
            f"Gravity and refractometer are solved together from SG 0.970 to 1.110, not at {sg_20_20:g}. "
            "Was it typed in points? A sweeter sample can be diluted with water by mass and read again."
        )
    if not SCALE_MIN_BRIX <= brix_read <= 35.0:
        raise OutOfRangeError(
            f"Gravity and refractometer are solved together up to 35 °Bx on the refractometer, not at {brix_read:g} "
            "°Bx. Dilute the sample with water by mass and read both again."
        )
    if not 0.0 <= acid_g_per_100g <= ACID_MAX_G_PER_100G:
        raise OutOfRangeError(
            f"Acid is taken from 0 to {ACID_MAX_G_PER_100G:g} g/100 g as citric, not {acid_g_per_100g:g}. "
            "Was it given per litre?"
        )


def _check_solution(extract: float, ethanol: float, sg_20_20: float, brix_read: float) -> None:
    if ethanol < -SHORTFALL_MAX_PERCENT:
        raise InconsistentError(
            f"A refractometer at {brix_read:g} °Bx and a gravity of {sg_20_20:g} contradict each other: the "
            "refractometer reads too low for that gravity even without alcohol. Take both from one degassed, clear "
            "sample at 20 °C and check the zero of each with water."
        )
    if extract < -SHORTFALL_MAX_PERCENT:
        raise InconsistentError(
            f"A gravity of {sg_20_20:g} and a refractometer at {brix_read:g} °Bx contradict each other: together they "
            "leave less than no extract. Check the zero of each instrument with water, and the acid that was given."
        )
    if extract > EXTRACT_MAX_PERCENT or ethanol > ETHANOL_MAX_PERCENT:
        raise OutOfRangeError(
            f"The two readings mean more than {EXTRACT_MAX_PERCENT:g} % extract or {ETHANOL_MAX_PERCENT:g} % ethanol "
            "by mass, beyond what they can be solved for. Dilute the sample with water by mass and read both again."
        )


def extract_and_abv_from_refractometer(
    sg_20_20: float, brix_read: float, acid_g_per_100g: float = 0.0
) -> ExtractAndAlcohol:
    """Extract and strength of a drink from its gravity and its refractometer reading.

    Newton on ρ(E, A) = SG·ρ_w and B(E, A) = reading, the sample being E % fructose and glucose (55 to 45), A % ethanol,
    the acid and water.

    Parameters: sg_20_20, gravity of the degassed sample at 20 °C, scalar [-]; brix_read, refractometer at 20 °C, as
    shown, scalar [°Bx]; acid_g_per_100g, known by titration, as citric, scalar [g/100 g]. It comes on top of the
    extract; left at 0, the extract contains it. A reading is never corrected for acid first.
    Returns: extract and ethanol [% by mass] and strength [% vol at 20 °C].
    Raises: OutOfRangeError outside SG 0.97–1.11, −1–35 °Bx or 0–5 g acid, or above 20 % extract or 15 % ethanol by
    mass; InconsistentError where either would fall below −1 %: the readings are not of one liquid.
    Validity: up to 20 % extract and about 15 % vol (the binary sum is compared with the OIV rule to 14 % vol). At
    9 % extract, 0.001 in gravity moves the strength by 0.37 % vol and the extract by 0.12 %, 0.2 °Bx moves them by
    0.31 and 0.10; together ±0.48 and ±0.16 (computed). No measured water, sugar and alcohol mixtures were available.
    Source: additivity of volume (OIML R 22, ICUMSA SPS-4) and of specific refraction (Lorentz–Lorenz; CRC Handbook,
    102nd ed., 2021). Extract near the mean of two sugar scales, alcohol with their difference: Collected works of Uman
    National University of Horticulture 86 (2014) 122.

    Example: 9 % sugar, 4.8 % ethanol and 0.5 % acid read 1.029 and 11.3 °Bx, rounded (computed; true 6.25 % vol).

    >>> round(extract_and_abv_from_refractometer(1.029, 11.3, 0.5).abv_percent, 2)
    6.28
    """
    _check_readings(sg_20_20, brix_read, acid_g_per_100g)
    extract = ethanol = 5.0
    for _ in range(50):
        masses = _sample(extract, ethanol, acid_g_per_100g)
        density = density_g_ml(masses)
        gravity_miss = density / WATER_G_PER_ML - sg_20_20
        # 100 g of sample: the density falls as the volume grows
        slope = -density * density / (100.0 * WATER_G_PER_ML)
        room_extract, room_ethanol = _along(partial_volumes_ml_g(volume_sums(masses)))
        sg_extract, sg_ethanol = slope * room_extract, slope * room_ethanol
        _, brix, gradient = _reading(masses)
        brix_miss = brix - brix_read
        brix_extract, brix_ethanol = _along(gradient)
        determinant = sg_extract * brix_ethanol - sg_ethanol * brix_extract
        step_extract = (gravity_miss * brix_ethanol - brix_miss * sg_ethanol) / determinant
        step_ethanol = (sg_extract * brix_miss - brix_extract * gravity_miss) / determinant
        # contradicting readings point far outside; held in a box, they stay where the density formulas are smooth
        extract = min(max(extract - step_extract, -3.0), 30.0)
        ethanol = min(max(ethanol - step_ethanol, -3.0), 25.0)
        if abs(step_extract) + abs(step_ethanol) < 1e-12:
            break
    _check_solution(extract, ethanol, sg_20_20, brix_read)
    density = density_g_ml(_sample(extract, ethanol, acid_g_per_100g))
    return ExtractAndAlcohol(extract, ethanol, 1000.0 * ethanol * density / ETHANOL_DENSITY_20C_KG_M3)
