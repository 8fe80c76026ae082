"""pH and titratable acidity of a blend as they are answered: in the trade's units, with their intervals."""

from __future__ import annotations

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.planner.answers import AcidityPrediction, PhPrediction
from service.planner.intervals import Interval, Spreads


def acidity_prediction(spreads: Spreads, low: float, high: float) -> AcidityPrediction:
    """Titratable acidity in the units that the trade uses; low and high end of its interval [g/L tartaric]."""
    chemistry = spreads.chemistry
    meq_per_l = chemistry.titratable_meq_per_l

    def as_acid(acid: Acid) -> float:
        return round(acid_g_per_l_from_meq_per_l(meq_per_l, acid), 3)

    return AcidityPrediction(
        value=as_acid(Acid.TARTARIC),
        unit="g/L tartaric",
        low=round(low, 2),
        high=round(high, 2),
        g_per_l_tartaric=as_acid(Acid.TARTARIC),
        g_per_l_citric=as_acid(Acid.CITRIC),
        g_per_l_malic=as_acid(Acid.MALIC),
        g_per_l_lactic=as_acid(Acid.LACTIC),
        g_per_l_sulfuric=as_acid(Acid.SULFURIC),
        meq_per_l=round(meq_per_l, 2),
        end_point_ph=chemistry.end_point_ph,
    )


def ph_prediction(spreads: Spreads, ph: float, interval: Interval, low: float, high: float) -> PhPrediction:
    """pH with its interval and the reading that would narrow it most."""
    chemistry = spreads.chemistry
    worst = interval.largest
    return PhPrediction(
        value=round(ph, 3),
        unit="pH",
        low=round(low, 2),
        high=round(high, 2),
        buffer_capacity_meq_per_l=round(chemistry.charges(ph).buffer_meq(chemistry.state), 1),
        largest_share_from=worst.name,
        largest_share=round(worst.share, 2),
    )
