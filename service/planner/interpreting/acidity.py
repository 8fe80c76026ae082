"""Titratable acidity in the units of kits and of laboratories, at the end point that was used and at the other one."""

from __future__ import annotations

from typing import Final

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.chemistry.charge_balance import charges_at, titratable_meq_per_l
from service.chemistry.medium import medium_of
from service.chemistry.weak_acids import ACIDS, WeakAcid
from service.errors import ServiceError
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.physics.carbon_dioxide import ATMOSPHERE_BAR, CO2_MOLAR_MASS_G_PER_MOL, co2_solubility_g_per_l_bar
from service.planner.correction.answers import Figure
from service.planner.interpreting.answers import AcidityAt, AcidityReport
from service.planner.interpreting.asked import AcidityRead, ReadingsAsked
from service.planner.span import NORMAL_90

USUAL_END_POINTS: Final = (8.2, 7.0)
"""The two in use: OIV-MA-AS313-01 ends at 7.0, kits with phenolphthalein near 8.2 (the latter from memory)."""

_SAME_PH: Final = 0.005
_IONIC: Final = 0.1
"""About what a titrated drink has [mol/L] (judged)."""

_AT_C: Final = 20.0
_MOST_ABV_PERCENT, _MOST_SUGAR_G_PER_L = 20.0, 300.0


def citric_per_g_co2(end_point_ph: float) -> float:
    """Acidity as citric that a gram of carbon dioxide in a sample shows.

    z̄(pHₑ)/44.01·64.04, z̄ the charge that carbonic acid has at the end point

    Parameters: end_point_ph of the titration, scalar [-].
    Returns: acidity, scalar [g/L as citric for each g/L of carbon dioxide].
    Source: mass action with the constants of `service.chemistry.weak_acids`.

    Example: 1.46 to pH 8.2 (computed).

    >>> round(citric_per_g_co2(8.2), 2)
    1.46
    """
    charge = charges_at(end_point_ph, _IONIC, medium_of()).charge[ACIDS.index(WeakAcid.CARBONIC)]
    return acid_g_per_l_from_meq_per_l(1000.0 * charge / CO2_MOLAR_MASS_G_PER_MOL, Acid.CITRIC)


def acidity_of(asked: ReadingsAsked, abv_percent: float | None, sugar_g_per_l: float | None) -> AcidityReport | None:
    """The acidity that was read.

    Parameters: asked; abv_percent and sugar_g_per_l of the drink, None where they are not known.
    Returns: AcidityReport, or None where none was read.
    Raises: InconsistentError where pH and acidity cannot both be true.
    """
    read = asked.acidity
    if read is None:
        return None
    strength = 0.0 if abv_percent is None else abv_percent
    could_add = co2_could_add(read.end_point_ph, strength, sugar_g_per_l or 0.0)
    others = _elsewhere(asked, read, strength)
    half = NORMAL_90 * read.sd_meq_per_l
    gas = 1000.0 * could_add / 64.04 if read.degassed is False else 0.0
    ends = (read.meq_per_l, max(read.meq_per_l - half - gas, 0.0), read.meq_per_l + half)

    def figure(acid: Acid | None, digits: int) -> Figure:
        return Figure(*(round(v if acid is None else acid_g_per_l_from_meq_per_l(v, acid), digits) for v in ends))

    citric, tartaric = figure(Acid.CITRIC, 2), figure(Acid.TARTARIC, 2)
    return AcidityReport(
        citric,
        tartaric,
        round(acid_g_per_l_from_meq_per_l(read.meq_per_l, Acid.MALIC), 2),
        figure(None, 1),
        read.end_point_ph,
        others,
        round(could_add, 2),
        _text(read, citric, tartaric, others, could_add),
    )


def co2_could_add(end_point_ph: float, abv_percent: float, sugar_g_per_l: float) -> float:
    """What a sample full of carbon dioxide, without pressure at 20 °C, shows too much [g/L citric]."""
    k = co2_solubility_g_per_l_bar(
        _AT_C, min(abv_percent, _MOST_ABV_PERCENT), min(max(sugar_g_per_l, 0.0), _MOST_SUGAR_G_PER_L)
    )
    return citric_per_g_co2(end_point_ph) * k * ATMOSPHERE_BAR


def _elsewhere(asked: ReadingsAsked, read: AcidityRead, abv_percent: float) -> tuple[AcidityAt, ...]:
    """The same drink titrated to the other end point, by the kinds of acid of its class."""
    try:
        readings = AcidReadings(asked.ph, read.meq_per_l, read.end_point_ph, abv_percent)
        acids, _ = acids_of_lot(asked.kind, readings, with_spread=False)
    except ServiceError as error:
        if error.pointer == "/titratable_acidity" and read.titrated_here:
            error.pointer = "/titration"
        raise
    found = []
    for end_point in USUAL_END_POINTS:
        if abs(end_point - read.end_point_ph) < _SAME_PH:
            continue
        meq = titratable_meq_per_l(acids.state, end_point, abv_percent=abv_percent)
        found.append(
            AcidityAt(
                end_point,
                round(meq, 1),
                round(acid_g_per_l_from_meq_per_l(meq, Acid.CITRIC), 2),
                round(acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC), 2),
            )
        )
    return tuple(found)


def _text(read: AcidityRead, citric: Figure, tartaric: Figure, others: tuple[AcidityAt, ...], could_add: float) -> str:
    parts = [
        f"{read.text}: {citric.value:.2f} g/L as citric ({citric.low:.2f} to {citric.high:.2f}), "
        f"{tartaric.value:.2f} g/L as tartaric, to pH {read.end_point_ph:g}."
    ]
    for other in others:
        parts.append(
            f"To pH {other.end_point_ph:g} it would be about {other.g_per_l_citric:.2f} as citric, by the acids usual "
            "in such a drink; one soured with citric acid shows 2 to 6 % less at 7.0 than at 8.2 (computed)."
        )
    if read.degassed is not True:
        parts.append(
            f"Carbon dioxide counts as acid: a sample that was not degassed may show up to {could_add:.1f} g/L as "
            "citric too much."
        )
    return " ".join(parts)
