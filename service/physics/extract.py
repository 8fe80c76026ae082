"""Dry extract of a drink from its gravity and strength, and the gravity of a litre of given contents.

Two rules for the same question. The OIV densimetric rule (Tabarié) is the legal one: extract is the sucrose that
gives the wine *without its alcohol* the same density, and it works at equal volume. The binary sum
(`service.physics.mixture`) works in masses. Up to 14 % vol and 100 g/L they agree within 0.15 kg/m³; above about
25 % vol they part, and the binary sum is then nearer to what Hackbarth (J. Am. Soc. Brew. Chem. 69 (2011) 39)
measured.

Extract is a signed number here. A dry drink can come out a little below zero because the hydrometer, the strength
or the acids are a little off; zero would hide that, so the caller sees the sign and decides.
"""

from __future__ import annotations

from service.errors import InconsistentError, OutOfRangeError
from service.physics.ethanol_water import (
    ETHANOL_DENSITY_20C_KG_M3,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.mixture import WATER_G_PER_ML, volume_and_gradient_ml
from service.physics.roots import root_between
from service.physics.solutes import Component
from service.physics.sucrose import (
    SUCROSE_MASS_FRACTION_MAX,
    brix_from_sg,
    sg_from_brix,
)
from service.physics.water import OIML_WATER_20C_KG_M3, icumsa_water_density_kg_m3

OIV_FACTOR_ML_G = 1.00180
"""1/0.9982, the rounded factor of OIV-MA-AS2-03B; prints with "1.0180" drop a zero."""

RESIDUAL_GRAVITY_MIN = 0.98
"""Lowest gravity of the drink without its alcohol that is still answered: about −51 g/L of extract."""

ABV_MAX_PERCENT = 60.0
"""Strongest drink whose extract is looked for; a spirit's gravity says next to nothing about its sugar."""

_SG_MAX = sg_from_brix(100.0 * SUCROSE_MASS_FRACTION_MAX)
_WATER_SUGAR_TABLE_KG_M3 = icumsa_water_density_kg_m3(20.0)


def sucrose_g_per_l_from_sg(specific_gravity: float) -> float:
    """Sucrose in a litre of the sugar solution that has this gravity.

    c = w·ρ(w), w the root of ICUMSA SPS-4

    Parameters: specific_gravity, SG 20/20, scalar [-].
    Returns: sucrose, scalar [g/L at 20 °C]; negative below SG 1.
    Raises: OutOfRangeError below SG 0.98 or above 85 °Bx.
    Source: ICUMSA SPS-4; the table in OIV-MA-AS2-03B (from memory) is lower by 0.1 g/L on average.

    Example: OIV-MA-AS2-03B, Table I, gives 51.7 g/L for 1.020 (from memory); ICUMSA is 0.1 higher.

    >>> round(sucrose_g_per_l_from_sg(1.020), 1)
    51.8
    """
    return brix_from_sg(specific_gravity) / 100.0 * specific_gravity * _WATER_SUGAR_TABLE_KG_M3


def sg_from_sucrose_g_per_l(sucrose_g_per_l: float) -> float:
    """Gravity of the sugar solution that holds this much sucrose in a litre: the inverse of the table.

    Parameters: sucrose_g_per_l, scalar [g/L at 20 °C]; may be negative, as the table read below SG 1.
    Returns: SG 20/20, scalar [-].
    Raises: OutOfRangeError below about −51 g/L (SG 0.98) or above 1229 g/L (85 °Bx).
    Source: ICUMSA SPS-4, inverted.

    Example: OIV-MA-AS2-03B, Table I, sets 103.7 g/L at 1.040 (from memory).

    >>> round(sg_from_sucrose_g_per_l(103.7), 4)
    1.0399
    """
    low, high = sucrose_g_per_l_from_sg(RESIDUAL_GRAVITY_MIN), _SUCROSE_MAX_G_PER_L
    if not low <= sucrose_g_per_l <= high:
        raise OutOfRangeError(
            f"A litre of sugar solution holds between {low:.0f} (read below SG 1) and {high:.0f} g of sucrose, "
            f"not {sucrose_g_per_l:g} g."
        )
    return root_between(
        lambda sg: sucrose_g_per_l_from_sg(sg) - sucrose_g_per_l, RESIDUAL_GRAVITY_MIN, _SG_MAX, tolerance=1e-14
    )


_SUCROSE_MAX_G_PER_L = sucrose_g_per_l_from_sg(_SG_MAX)


def _check_strength(abv_percent: float) -> None:
    if not 0.0 <= abv_percent <= ABV_MAX_PERCENT:
        raise OutOfRangeError(
            f"The extract of a drink is found from 0 to {ABV_MAX_PERCENT:g} % vol, not at {abv_percent:g} % vol."
        )


def _alcohol_density_kg_m3(abv_percent: float) -> float:
    _check_strength(abv_percent)
    return ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(abv_percent))


def residual_gravity(specific_gravity: float, abv_percent: float) -> float:
    """Gravity of a drink without its alcohol, made up to the volume with water (Tabarié).

    d_r = 1.00180 (ρ_v − ρ_a) + 1.000,  ρ in g/mL

    Parameters: specific_gravity, SG 20/20 of the drink, scalar [-]; abv_percent, scalar [% vol].
    Returns: d_r, SG 20/20, scalar [-].
    Raises: OutOfRangeError outside 0–60 % vol or above 85 °Bx; InconsistentError where d_r falls below 0.98: the
    drink is lighter than its strength allows.
    Source: OIV-MA-AS2-03B (R2012), total dry matter by densimetry. Both densities are taken on the water of
    OIML R 22, so that SG 1 without alcohol gives d_r = 1.

    Example: d = 0.9945 at 11.5 % vol (d_a = 0.98471) leaves 1.00979 (computed by the OIV formula).

    >>> round(residual_gravity(0.9945, 11.5), 5)
    1.00979
    """
    alcohol = _alcohol_density_kg_m3(abv_percent)
    gravity = OIV_FACTOR_ML_G * (specific_gravity * OIML_WATER_20C_KG_M3 - alcohol) / 1000.0 + 1.0
    if gravity < RESIDUAL_GRAVITY_MIN and abv_percent == 0.0:
        raise InconsistentError(
            f"No liquid without alcohol has a gravity of {specific_gravity:.4g}. Give its strength, if it can be given "
            "here; let a warm sample come to 20 °C; check the hydrometer in water."
        )
    if gravity < RESIDUAL_GRAVITY_MIN:
        raise InconsistentError(
            f"A gravity of {specific_gravity:.4g} is too low for {abv_percent:g} % vol: without any extract that "
            f"strength reads {alcohol / OIML_WATER_20C_KG_M3:.4f}. Check both readings, "
            "and whether the strength is in % vol."
        )
    if gravity > _SG_MAX:
        raise OutOfRangeError(
            f"A gravity of {specific_gravity:g} at {abv_percent:g} % vol means more sugar than the tables hold "
            "(85 °Bx). Was the reading typed in points?"
        )
    return gravity


def extract_g_per_l_from_sg_and_abv(specific_gravity: float, abv_percent: float) -> float:
    """Total dry extract by the OIV densimetric rule.

    The sucrose of the ICUMSA solution whose d20/20 is d_r (`residual_gravity`).

    Parameters: specific_gravity, SG 20/20, scalar [-]; abv_percent, scalar [% vol].
    Returns: extract, scalar [g/L]; negative where the drink is lighter than its strength without extract.
    Raises: OutOfRangeError and InconsistentError as `residual_gravity`; a negative extract is returned as it is
    down to d_r = 0.98, and the caller decides what a slightly negative one means.
    Validity: agrees with the binary sum within 0.15 kg/m³ (0.4 g/L) up to 14 % vol and 100 g/L.
    Source: OIV-MA-AS2-03B (R2012), with ICUMSA SPS-4 in place of the older sugar table (0.1 g/L higher).

    Example: the wine above; 25.36 g/L computed by the OIV formula with ICUMSA.

    >>> round(extract_g_per_l_from_sg_and_abv(0.9945, 11.5), 2)
    25.36
    """
    return sucrose_g_per_l_from_sg(residual_gravity(specific_gravity, abv_percent))


def sg_from_extract_and_abv(extract_g_per_l: float, abv_percent: float) -> float:
    """Gravity of a drink of given extract and strength by the OIV rule, read backwards.

    ρ_v = ρ_a + (d_r − 1)/1.00180

    Parameters: extract_g_per_l, scalar [g/L]; abv_percent, scalar [% vol].
    Returns: SG 20/20, scalar [-].
    Raises: OutOfRangeError as `sg_from_sucrose_g_per_l`, and outside 0–60 % vol.
    Source: OIV-MA-AS2-03B (R2012).

    >>> round(sg_from_extract_and_abv(25.36, 11.5), 4)
    0.9945
    """
    alcohol = _alcohol_density_kg_m3(abv_percent)
    excess = 1000.0 * (sg_from_sucrose_g_per_l(extract_g_per_l) - 1.0) / OIV_FACTOR_ML_G
    return (alcohol + excess) / OIML_WATER_20C_KG_M3


def litre_from_abv_and_extract(abv_percent: float, extract_g_per_l: float) -> dict[Component, float]:
    """What a litre at 20 °C holds, the extract counted as sucrose and the water found from the volume.

    Newton on V(water, ethanol, sucrose) = 1000 mL with the exact slope of the binary sum.

    Parameters: abv_percent, scalar [% vol]; extract_g_per_l, scalar [g/L], may be slightly negative.
    Returns: water, ethanol and sucrose [g].
    Raises: OutOfRangeError outside 0–60 % vol, below −60 g/L or where extract leaves too little water.
    Source: the binary sum of `service.physics.mixture`.

    Example: a litre of plain water at 20 °C weighs 998.20 g (OIML R 22).

    >>> {str(k): round(v, 2) for k, v in litre_from_abv_and_extract(0.0, 0.0).items()}
    {'water': 998.2, 'ethanol': 0.0, 'sucrose': 0.0}
    """
    _check_strength(abv_percent)
    if extract_g_per_l < -60.0:
        raise OutOfRangeError(f"An extract of {extract_g_per_l:g} g/L is no reading error any more.")
    ethanol = abv_percent / 100.0 * ETHANOL_DENSITY_20C_KG_M3
    water = 998.0 - 1.15 * ethanol - 0.63 * extract_g_per_l
    for _ in range(50):
        if water <= 0.0 or extract_g_per_l > SUCROSE_MASS_FRACTION_MAX * (water + extract_g_per_l):
            raise OutOfRangeError(
                f"{extract_g_per_l:g} g/L of extract at {abv_percent:g} % vol is more than the water can dissolve "
                "in the tables (85 % by mass)."
            )
        volume, gradient = volume_and_gradient_ml(_sums_with_sucrose(water, ethanol, extract_g_per_l))
        step = (volume - 1000.0) / gradient[0]
        water -= step
        if abs(step) < 1e-11:
            break
    return {Component.WATER: water, Component.ETHANOL: ethanol, Component.SUCROSE: extract_g_per_l}


def _sums_with_sucrose(water_g: float, ethanol_g: float, sucrose_g: float) -> tuple[float, ...]:
    """The volume sums of a mixture of these three."""
    return water_g, ethanol_g, sucrose_g, sucrose_g, 0.0, 0.0, 0.0


def litre_from_sg_and_abv(specific_gravity: float, abv_percent: float) -> dict[Component, float]:
    """What a litre at 20 °C holds by the binary sum, from the two readings a cellar has.

    The sucrose-like extract is that with which the mass SG·ρ_w takes a litre: Newton, from what the OIV rule says.

    Parameters: specific_gravity, SG 20/20, scalar [-]; abv_percent, scalar [% vol].
    Returns: water, ethanol and sucrose [g]; sucrose may be slightly negative, as in the OIV rule.
    Raises: OutOfRangeError and InconsistentError as `residual_gravity`.
    Source: the binary sum of `service.physics.mixture`.

    Example: d = 0.9945 at 11.5 % vol; the OIV rule gives 25.36 g/L and the binary sum 25.28 (computed).

    >>> round(litre_from_sg_and_abv(0.9945, 11.5)[Component.SUCROSE], 2)
    25.28
    """
    extract = extract_g_per_l_from_sg_and_abv(specific_gravity, abv_percent)
    ethanol = abv_percent / 100.0 * ETHANOL_DENSITY_20C_KG_M3
    rest = 1000.0 * specific_gravity * WATER_G_PER_ML - ethanol
    for _ in range(50):
        if extract >= rest:
            break  # no water is left: refused below
        volume, gradient = volume_and_gradient_ml(_sums_with_sucrose(rest - extract, ethanol, extract))
        # at constant mass, a gram more of sucrose stands in the place of a gram of water
        step = (volume - 1000.0) / (gradient[2] + gradient[3] - gradient[0])
        extract -= step
        if abs(step) < 1e-10:
            break
    return litre_from_abv_and_extract(abv_percent, extract)
