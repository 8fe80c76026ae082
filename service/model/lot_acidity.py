"""The acids of a lot from what was read of it: pH, titratable acidity, both, or neither.

Both readings fix both unknowns (`service.chemistry.inference`). What was not read is taken as typical of the class,
with its spread, and named; the spread goes into the interval of every pH and acidity that the lot takes part in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from service.catalogue.acidity import PH_SD, TA_RELATIVE_SD
from service.catalogue.records import Acids
from service.chemistry.acid_state import NO_ACID, AcidState
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l, meq_per_l_from_acid_g_per_l
from service.chemistry.charge_balance import ph_of, titratable_meq_per_l
from service.chemistry.inference import PROFILE_MARKS, PROFILES, change_per_unit, infer_state, state_from_one_reading
from service.chemistry.weak_acids import WeakAcid
from service.errors import InconsistentError
from service.model.lot_class import DRY_EXTRACT, TYPICAL_ACIDITY, Assumed, LotClass

_STEP_PH, _STEP_TA = 0.02, 0.02
_SAME_PH, _SAME_MEQ = 1e-3, 1e-2
_MOST_MEQ_PER_L = 800.0
"""A little more than lemon juice, the sourest thing that is drunk, titrates to (4.6 % as citric; judged)."""

_WITHOUT_IONS = "what the other reading allows without any potassium; the typical value does not fit it"
_WHY = {name: (mark, "name the class of the lot") for name, mark in PROFILE_MARKS.items()}


@dataclass(frozen=True, slots=True)
class AcidReadings:
    """What was read of a lot's acidity; None where it was not. `end_point_ph` is that of the titration."""

    ph: float | None
    titratable_meq_per_l: float | None
    end_point_ph: float
    abv_percent: float


def acids_of_lot(
    lot_class: LotClass, readings: AcidReadings, *, with_spread: bool = True
) -> tuple[Acids, list[Assumed]]:
    """Acids and strong ions of a litre of a lot, and what was assumed for them.

    Parameters: lot_class; readings; with_spread, False where nobody asks how well they are known.
    Returns: Acids per litre; the assumptions.
    Raises: InconsistentError where pH and acidity were both read and no weak acids can have both.
    Validity: as `service.chemistry.inference`.

    Example: a lot keeps the two readings that it came with.

    >>> from service.chemistry.charge_balance import ph_of
    >>> acids, assumed = acids_of_lot(LotClass.MEAD, AcidReadings(3.42, 61.3, 8.2, 8.1))
    >>> round(ph_of(acids.state, abv_percent=8.1), 6), [a.what for a in assumed]
    (3.42, ['kinds of acid'])
    """
    typical, dry = TYPICAL_ACIDITY.get(lot_class), DRY_EXTRACT.get(lot_class)
    ph, titratable = readings.ph, readings.titratable_meq_per_l
    if titratable is not None and titratable <= 0.0 and ph is not None:
        raise InconsistentError(
            "No acidity at all has no pH of its own: leave the pH out, or titrate again.", "/titratable_acidity"
        )
    if titratable == 0.0 or (typical is None and ph is None and titratable is None):
        return Acids(NO_ACID, "none"), []  # as read; or a spirit, which holds no acid that counts
    name = lot_class.value if lot_class.value in PROFILES else "generic"
    used_ph = ph if ph is not None else typical.ph if typical else None
    used_ta = titratable
    if used_ta is None and dry:
        used_ta = meq_per_l_from_acid_g_per_l(dry.acids, Acid.TARTARIC)
    state, both = _state(PROFILES[name], readings, used_ph, used_ta)
    if titratable is None:
        _refuse_undrinkable(state, readings)
    assumed = _stand_ins(lot_class, readings, state, used_ph if both else None)
    assumed.append(Assumed("kinds of acid", name, *_WHY[name]))

    if not with_spread:
        return Acids(state, name), assumed

    def fit(shift_ph: float, shift_ta: float) -> AcidState:
        return _state(
            PROFILES[name],
            readings,
            None if used_ph is None else used_ph + shift_ph,
            None if used_ta is None else used_ta * (1.0 + shift_ta),
        )[0]

    ph_sd = PH_SD if ph is not None or typical is None else typical.ph_sd
    ta_sd = typical.acids_sd_g_per_l / dry.acids if titratable is None and typical and dry else TA_RELATIVE_SD
    spread = (
        ("pH", change_per_unit(fit, _STEP_PH, 0.0, state).scaled(ph_sd)),
        ("acidity", change_per_unit(fit, 0.0, _STEP_TA, state).scaled(ta_sd)),
    )
    return Acids(state, name, tuple(s for s in spread if any(s[1].acids_mmol) or s[1].sid_meq)), assumed


def _refuse_undrinkable(state: AcidState, readings: AcidReadings) -> None:
    """A pH alone that no drink has: the acid it would take is more than lemon juice holds."""
    meq = titratable_meq_per_l(state, readings.end_point_ph, abv_percent=readings.abv_percent)
    if meq > _MOST_MEQ_PER_L:
        raise InconsistentError(
            f"pH {readings.ph:.2f} would take {acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC):.0f} g/L of acid: check "
            "the meter with fresh buffers, or give the titratable acidity too.",
            "/ph",
        )


def _stand_ins(lot_class: LotClass, readings: AcidReadings, state: AcidState, ph: float | None) -> list[Assumed]:
    """What stands for a reading that was not taken: typical of the class, or all that the other reading allows.

    `ph` is that of the state, where it is known.
    """
    found = []
    typical, dry = TYPICAL_ACIDITY.get(lot_class), DRY_EXTRACT.get(lot_class)
    if readings.titratable_meq_per_l is None:
        meq = titratable_meq_per_l(state, readings.end_point_ph, abv_percent=readings.abv_percent)
        usual = dry is not None and abs(meq - meq_per_l_from_acid_g_per_l(dry.acids, Acid.TARTARIC)) < _SAME_MEQ
        found.append(
            Assumed(
                "titratable_acidity",
                f"{acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC):.3g} g/L tartaric",
                f"typical of {lot_class.value}: {dry.mark}" if usual and dry else _WITHOUT_IONS,
                "titrate a degassed sample",
            )
        )
    if readings.ph is None:
        ph = ph_of(state, abv_percent=readings.abv_percent) if ph is None else ph
        usual = typical is not None and abs(ph - typical.ph) < _SAME_PH
        found.append(
            Assumed(
                "ph",
                f"{ph:.2f}",
                f"typical of {lot_class.value}: {typical.mark}" if usual and typical else _WITHOUT_IONS,
                "read it with a pH meter",
            )
        )
    return found


def _state(
    profile: Mapping[WeakAcid, float], readings: AcidReadings, ph: float | None, titratable: float | None
) -> tuple[AcidState, bool]:
    """Both readings as they are; one alone with the other typical of the class, or else without strong ions.

    Returns: the state, and whether it has both the pH and the acidity.
    """
    abv, end_point = readings.abv_percent, readings.end_point_ph
    if ph is not None and titratable is not None:
        try:
            return infer_state(profile, ph, titratable, end_point_ph=end_point, abv_percent=abv).state, True
        except InconsistentError:
            if readings.ph is not None and readings.titratable_meq_per_l is not None:
                raise
    if readings.titratable_meq_per_l is not None:
        state = state_from_one_reading(
            profile, titratable_meq_per_l=titratable, end_point_ph=end_point, abv_percent=abv
        )
    else:
        state = state_from_one_reading(profile, ph=ph, abv_percent=abv)
    return state, False
