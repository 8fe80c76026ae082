"""pH and titratable acidity of a blend as they are answered: with the interval that readings and tables leave.

First order: each reading behind each material shifts the blend by its own standard deviation, independently, and the
model adds its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.model.acidity import PH_MODEL_SD, chemistry_of
from service.model.contents import Contents
from service.planner.answers import AcidityPrediction, PhPrediction
from service.planner.materials import Material

Z_90 = 1.645
"""Half width of a 90 % interval in standard deviations of a normal distribution."""

_UNKNOWN_PH_SD, _SHARE_THAT_COUNTS = 0.3, 0.02
"""Standard deviation of a pH to which a material of unknown effect adds, from two per cent of the mass up (judged)."""


def acidity_of(
    materials: Sequence[Material], masses_g: Sequence[float], contents: Contents, end_point_ph: float
) -> AcidityPrediction:
    """Titratable acidity in the units that the trade uses."""
    volume_l = contents.volume_ml / 1000.0
    chemistry = chemistry_of(contents, end_point_ph)
    meq_per_l = chemistry.titratable_meq_per_l
    shifts = [
        mass / volume_l * chemistry.titration.residual_meq(shift, volume_l=0.0)
        for material, mass in zip(materials, masses_g, strict=True)
        for _, shift in material.acids_per_g.spread
    ]
    half = Z_90 * sqrt(sum(s * s for s in shifts))

    def as_acid(acid: Acid) -> float:
        return round(acid_g_per_l_from_meq_per_l(meq_per_l, acid), 3)

    return AcidityPrediction(
        value=as_acid(Acid.TARTARIC),
        unit="g/L tartaric",
        low=round(acid_g_per_l_from_meq_per_l(meq_per_l - half), 2),
        high=round(acid_g_per_l_from_meq_per_l(meq_per_l + half), 2),
        g_per_l_tartaric=as_acid(Acid.TARTARIC),
        g_per_l_citric=as_acid(Acid.CITRIC),
        g_per_l_malic=as_acid(Acid.MALIC),
        g_per_l_lactic=as_acid(Acid.LACTIC),
        g_per_l_sulfuric=as_acid(Acid.SULFURIC),
        meq_per_l=round(meq_per_l, 2),
        end_point_ph=end_point_ph,
    )


def ph_prediction(
    materials: Sequence[Material], masses_g: Sequence[float], contents: Contents, end_point_ph: float
) -> PhPrediction | None:
    """pH with its 90 % interval and the reading that would narrow it most; None without acid, or with more base."""
    volume_l = contents.volume_ml / 1000.0
    chemistry = chemistry_of(contents, end_point_ph)
    if chemistry.ph is None or chemistry.titratable_meq_per_l < 0.0:
        return None
    at = chemistry.charges(chemistry.ph)
    buffer = at.buffer_meq(chemistry.state)
    shifts = [("the model", PH_MODEL_SD)]
    for material, mass in zip(materials, masses_g, strict=True):
        if not mass:
            continue
        for what, shift in material.acids_per_g.spread:
            moved = mass / volume_l * at.residual_meq(shift, volume_l=0.0)
            shifts.append((f"{what} of {material.name}", moved / buffer))
        if not material.acids_per_g.ph_known:
            share = min(1.0, mass / contents.mass_g / _SHARE_THAT_COUNTS)
            shifts.append((f"the acids of {material.name}", share * _UNKNOWN_PH_SD))
    sd = sqrt(sum(s * s for _, s in shifts))
    worst = max(shifts, key=lambda pair: abs(pair[1]))
    return PhPrediction(
        value=round(chemistry.ph, 3),
        unit="pH",
        low=round(chemistry.ph - Z_90 * sd, 2),
        high=round(chemistry.ph + Z_90 * sd, 2),
        buffer_capacity_meq_per_l=round(buffer, 1),
        largest_share_from=worst[0],
        largest_share=round((worst[1] / sd) ** 2, 2),
    )
