"""Gravity scales and hydrometers: from any reading to SG 20 °C/20 °C and back.

A specific gravity t₁/t₂ is the density of the sample at t₁ over that of water at t₂. Turning one scale into
another needs more than water: the *sample* shrinks or swells between the two temperatures, and a sweet drink does
so more than water does. The liquid is therefore rebuilt from what is known of it (its strength, and the
sucrose-like extract that makes the reading come out), and its density is asked for at the other temperature:

    V(t) = (m_w + m_e)/ρ_OIML(p, t) + (m_w + m_s)/ρ_ICUMSA(w, t) − m_w/ρ_ICUMSA(0, t)

which is the binary sum of `service.physics.mixture` at another temperature: the last two terms are m_s·φ(w, t), the
apparent volume of the sucrose. Water and ethanol follow OIML R 22, sucrose ICUMSA SPS-4. A reading a little below
what the strength alone would read gives a negative extract; it takes away what the same mass would add.

A hydrometer displaces its own weight, and its glass swells too:

    R(t) = ρ(t)·[1 + β (t − t_cal)]/ρ_w(t_cal),  β = 25e-6/°C, soda-lime glass

Source of β: OIML R 22 (1975), tables VIII and IX, ρ_t = ρ′·[1 − 25e-6 (t − 20)].
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from service.errors import OutOfRangeError
from service.physics.ethanol_water import ethanol_water_density_kg_m3
from service.physics.extract import litre_from_sg_and_abv
from service.physics.slips import gravity_meant
from service.physics.solutes import Component
from service.physics.sucrose import sucrose_density_kg_m3

GLASS_EXPANSION_PER_C = 25e-6
"""Cubic expansion of a hydrometer's soda-lime glass. OIML R 22 (1975), tables VIII and IX."""

AIR_DENSITY_KG_M3 = 1.2
"""Air around a weighing (usual convention)."""

SIXTY_FAHRENHEIT_C = 140.0 / 9.0
"""60 °F = 15.5556 °C."""


class SgScale(StrEnum):
    """A gravity scale: temperature of the sample/temperature of the water, in vacuo unless it says in air."""

    SG_20_20 = "20/20"
    SG_20_4 = "20/4"
    SG_15_15 = "15/15"
    SG_60F_60F = "60F/60F"
    SG_20_20_IN_AIR = "20/20 in air"


def _check_temperature(temperature_c: float, what: str) -> None:
    if not 0.0 <= temperature_c <= 40.0:
        then = "Let the sample come to room temperature and read again."
        if what.startswith("calibration"):
            then = "It stands on the hydrometer's stem, usually 20 °C or 60 °F."
        raise OutOfRangeError(
            f"A {what} of {temperature_c:.3g} °C is outside 0–40 °C, where the expansion of a drink is known. {then}"
        )


def _check_gravity(reading: float) -> None:
    if not 0.85 <= reading <= 1.45:
        raise OutOfRangeError(
            f"A gravity reading lies between 0.850 and 1.450, not at {reading:g}.{gravity_meant(reading)}"
        )


def _water_kg_m3(temperature_c: float) -> float:
    return ethanol_water_density_kg_m3(0.0, temperature_c)


def sg_in_air_from_in_vacuo(specific_gravity: float, reference_temperature_c: float = 20.0) -> float:
    """Apparent gravity, both weighings in air of 1.2 kg/m³ and nothing corrected for buoyancy.

    SG_air = (SG·ρ_w − 1.2)/(ρ_w − 1.2)

    Parameters: specific_gravity in vacuo, scalar [-]; reference_temperature_c of the water, scalar [°C].
    Returns: gravity in air, scalar [-].
    Raises: OutOfRangeError outside 0–40 °C.
    Source: definition of apparent mass. USP 29–NF 24 (alcoholometric table) and brewers' tables are in air.

    Example: 10 % sucrose, 1.03998 in vacuo, is 1.04003 in air (computed).

    >>> round(sg_in_air_from_in_vacuo(1.03998), 5)
    1.04003
    """
    _check_temperature(reference_temperature_c, "reference temperature")
    water = _water_kg_m3(reference_temperature_c)
    return (specific_gravity * water - AIR_DENSITY_KG_M3) / (water - AIR_DENSITY_KG_M3)


def sg_in_vacuo_from_in_air(specific_gravity: float, reference_temperature_c: float = 20.0) -> float:
    """Gravity in vacuo from one weighed in air: the inverse of `sg_in_air_from_in_vacuo`.

    Parameters: specific_gravity in air, scalar [-]; reference_temperature_c of the water, scalar [°C].
    Returns: gravity in vacuo, scalar [-].
    Raises: OutOfRangeError outside 0–40 °C.
    Source: definition of apparent mass.

    >>> round(sg_in_vacuo_from_in_air(1.04003), 5)  # 10 % sucrose is 1.03998 by ICUMSA SPS-4
    1.03998
    """
    _check_temperature(reference_temperature_c, "reference temperature")
    water = _water_kg_m3(reference_temperature_c)
    return (specific_gravity * (water - AIR_DENSITY_KG_M3) + AIR_DENSITY_KG_M3) / water


def _sucrose_room_ml(water_g: float, sucrose_g: float, temperature_c: float) -> float:
    """m_s·φ(w, t), odd in m_s."""
    if sucrose_g < 0.0:
        return -_sucrose_room_ml(water_g, -sucrose_g, temperature_c)
    syrup = water_g + sucrose_g
    solution = sucrose_density_kg_m3(sucrose_g / syrup, temperature_c)
    return 1000.0 * (syrup / solution - water_g / sucrose_density_kg_m3(0.0, temperature_c))


def _volume_ml(masses_g: Mapping[Component, float], temperature_c: float) -> float:
    water, ethanol = masses_g[Component.WATER], masses_g[Component.ETHANOL]
    liquor = water + ethanol
    room = _sucrose_room_ml(water, masses_g[Component.SUCROSE], temperature_c)
    return 1000.0 * liquor / ethanol_water_density_kg_m3(ethanol / liquor, temperature_c) + room


def density_at_temperature_kg_m3(specific_gravity: float, abv_percent: float, temperature_c: float) -> float:
    """Density at any temperature of a drink of known gravity 20/20 and strength.

    ρ(t) = m/(V(20) + [V(t) − V(20)]); the litre's masses by the binary sum, V(t) as in the module's text.

    Parameters: specific_gravity, SG 20/20, scalar [-]; abv_percent, scalar [% vol at 20 °C]; temperature_c [°C].
    Returns: density in vacuo, scalar [kg/m³].
    Raises: OutOfRangeError outside 0–40 °C, 0–60 % vol or the sugar tables; InconsistentError where the gravity is
    far below what the strength reads without any extract.
    Source: OIML R 22 (1975); ICUMSA SPS-4.

    Example: OIML R 22 gives 999.0957 for water at 15 °C.

    >>> round(density_at_temperature_kg_m3(1.0, 0.0, 15.0), 3)
    999.096
    """
    _check_temperature(temperature_c, "sample temperature")
    masses = litre_from_sg_and_abv(specific_gravity, abv_percent)
    swelling = _volume_ml(masses, temperature_c) - _volume_ml(masses, 20.0)
    return 1000.0 * sum(masses.values()) / (1000.0 + swelling)


def sg_20_20_from_hydrometer(
    reading: float, sample_temperature_c: float, calibrated_at_c: float = 20.0, abv_percent: float = 0.0
) -> float:
    """Gravity 20/20 from what a hydrometer reads in a sample at some other temperature.

    The extract is the root of R = ρ(t)·[1 + β (t − t_cal)]/ρ_w(t_cal); the answer is ρ(20)/ρ_w(20) of that liquid.

    Parameters: reading on a scale t_cal/t_cal, scalar [-]; sample_temperature_c, scalar [°C]; calibrated_at_c, the
    temperature printed on the hydrometer (15.5556 for 60 °F), scalar [°C]; abv_percent of the sample, scalar [% vol].
    Returns: SG 20/20, scalar [-].
    Raises: OutOfRangeError outside 0–40 °C, 0–60 % vol or readings 0.85–1.45; InconsistentError for a reading far
    below what the strength reads without any extract.
    Validity: extract expands like sucrose. A strength left at 0 for a drink of 12 % vol corrects too little, by
    0.0003 at 15 °C and 0.0007 at 10 °C.
    Source: OIML R 22 (1975), ICUMSA SPS-4. Against the saccharometer corrections of NBS Circular C440 (from memory)
    the largest difference is 0.015 °Bx.

    Example: a must of SG 1.100 at 20 °C reads 0.0033 too low in a sample at 30 °C (computed).

    >>> round(sg_20_20_from_hydrometer(1.0967, 30.0), 4)
    1.1
    """
    _check_temperature(sample_temperature_c, "sample temperature")
    _check_temperature(calibrated_at_c, "calibration temperature")
    _check_gravity(reading)
    glass = 1.0 + GLASS_EXPANSION_PER_C * (sample_temperature_c - calibrated_at_c)
    target = reading * _water_kg_m3(calibrated_at_c) / glass
    gravity = target / _water_kg_m3(sample_temperature_c)
    for _ in range(50):
        # the density at t moves almost exactly with that at 20 °C, so the miss itself is the step
        step = (target - density_at_temperature_kg_m3(gravity, abv_percent, sample_temperature_c)) / target
        gravity += step
        if abs(step) < 1e-14:
            break
    return gravity


def hydrometer_from_sg_20_20(
    specific_gravity: float, sample_temperature_c: float, calibrated_at_c: float = 20.0, abv_percent: float = 0.0
) -> float:
    """What a hydrometer will read in a sample of known gravity 20/20: the inverse of the correction.

    Parameters: specific_gravity, SG 20/20, scalar [-]; the others as in `sg_20_20_from_hydrometer`.
    Returns: reading on the scale t_cal/t_cal, scalar [-].
    Raises: as `sg_20_20_from_hydrometer`.
    Source: OIML R 22 (1975), ICUMSA SPS-4.

    Example: water at 25 °C reads 0.9990 on a 20 °C hydrometer (computed).

    >>> round(hydrometer_from_sg_20_20(1.0, 25.0), 4)
    0.999
    """
    _check_temperature(calibrated_at_c, "calibration temperature")
    _check_gravity(specific_gravity)
    glass = 1.0 + GLASS_EXPANSION_PER_C * (sample_temperature_c - calibrated_at_c)
    density = density_at_temperature_kg_m3(specific_gravity, abv_percent, sample_temperature_c)
    return density * glass / _water_kg_m3(calibrated_at_c)


_OWN_TEMPERATURE_C = {SgScale.SG_15_15: 15.0, SgScale.SG_60F_60F: SIXTY_FAHRENHEIT_C}
_WATER_RATIO_20_4 = _water_kg_m3(20.0) / _water_kg_m3(4.0)


def sg_20_20_from_scale(reading: float, scale: SgScale, abv_percent: float = 0.0) -> float:
    """Gravity 20/20 in vacuo from a gravity on another scale.

    20/4: SG·ρ_w(4)/ρ_w(20).  15/15 and 60 °F/60 °F: the density of the same liquid at 20 °C.  In air: buoyancy.

    Parameters: reading, scalar [-]; scale; abv_percent of the liquid, which only 15/15 and 60 °F need [% vol].
    Returns: SG 20/20, scalar [-].
    Raises: as `sg_20_20_from_hydrometer`.
    Source: OIML R 22 (1975), ICUMSA SPS-4.

    Example: NBS Circular C440 gives d20/4 = 1.08096 for 20 % sucrose (from memory); SG 20/20 is 1.0829.

    >>> round(sg_20_20_from_scale(1.08096, SgScale.SG_20_4), 4)
    1.0829
    """
    _check_gravity(reading)
    if scale in _OWN_TEMPERATURE_C:
        own = _OWN_TEMPERATURE_C[scale]
        return sg_20_20_from_hydrometer(reading, own, own, abv_percent)
    if scale is SgScale.SG_20_4:
        return reading / _WATER_RATIO_20_4
    if scale is SgScale.SG_20_20_IN_AIR:
        return sg_in_vacuo_from_in_air(reading)
    return reading


def scale_from_sg_20_20(specific_gravity: float, scale: SgScale, abv_percent: float = 0.0) -> float:
    """The gravity another scale gives to a liquid of known SG 20/20: the inverse of `sg_20_20_from_scale`.

    Parameters: specific_gravity, SG 20/20, scalar [-]; scale; abv_percent, scalar [% vol].
    Returns: gravity on the scale, scalar [-].
    Raises: as `sg_20_20_from_hydrometer`.
    Source: OIML R 22 (1975), ICUMSA SPS-4.

    Example: a sugar solution of SG 20/20 1.1000 is 1.10045 at 60 °F/60 °F (computed).

    >>> round(scale_from_sg_20_20(1.1, SgScale.SG_60F_60F), 5)
    1.10045
    """
    _check_gravity(specific_gravity)
    if scale in _OWN_TEMPERATURE_C:
        own = _OWN_TEMPERATURE_C[scale]
        return hydrometer_from_sg_20_20(specific_gravity, own, own, abv_percent)
    if scale is SgScale.SG_20_4:
        return specific_gravity * _WATER_RATIO_20_4
    if scale is SgScale.SG_20_20_IN_AIR:
        return sg_in_air_from_in_vacuo(specific_gravity)
    return specific_gravity
