"""What the alcohol tables need beside the service: strengths at 60 °F, the temperature of the older tables."""

from __future__ import annotations

from scipy.optimize import brentq

from service.physics.ethanol_water import ethanol_water_density_kg_m3
from service.physics.scales import SIXTY_FAHRENHEIT_C


def mass_fraction_from_abv_at_60f(abv_percent_at_60f: float) -> float:
    """Both volumes at 60 °F, as in the United States and the USP."""
    pure = ethanol_water_density_kg_m3(1.0, SIXTY_FAHRENHEIT_C)
    if abv_percent_at_60f in (0.0, 100.0):
        return abv_percent_at_60f / 100.0
    root = brentq(
        lambda p: 100.0 * p * ethanol_water_density_kg_m3(p, SIXTY_FAHRENHEIT_C) / pure - abv_percent_at_60f,
        0.0,
        1.0,
        xtol=1e-15,
    )
    return float(root)


def sg_from_mass_fraction(ethanol_mass_fraction: float, temperature_c: float) -> float:
    """Gravity t/t in vacuo."""
    return ethanol_water_density_kg_m3(ethanol_mass_fraction, temperature_c) / ethanol_water_density_kg_m3(
        0.0, temperature_c
    )
