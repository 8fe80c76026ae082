"""From a liquid's own readings to its acids: the scale of an acid profile and the strong ion difference.

A maker reads two numbers, pH and titratable acidity. With the *kinds* of acid known, if only roughly, they fix two
unknowns: how much acid there is and how much of it strong ions have neutralised. The model then returns exactly the
two readings, and blends of such liquids come out within 0.02 pH of a reference model that counts calcium and
magnesium complexes (computed, ten blends), 0.08 where 5 % lemon juice goes into a weakly buffered mead whose acids are
not quite those of its class. Averaging hydrogen ions misses by up to 0.3, averaging pH by up to 0.9 (computed).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from service.chemistry.acid_state import NO_ACID, AcidState
from service.chemistry.charge_balance import Liquid
from service.chemistry.medium import STANDARD_TEMPERATURE_C, medium_of, solvent
from service.chemistry.weak_acids import WeakAcid
from service.errors import InconsistentError

PROFILES: Mapping[str, Mapping[WeakAcid, float]] = MappingProxyType(
    {
        "mead": {
            WeakAcid.GLUCONIC: 3.0,
            WeakAcid.LACTIC: 3.0,
            WeakAcid.SUCCINIC: 3.0,
            WeakAcid.ACETIC: 3.0,
            WeakAcid.MALIC: 1.0,
        },
        "grape_wine": {
            WeakAcid.MALIC: 18.0,
            WeakAcid.TARTARIC: 12.0,
            WeakAcid.SUCCINIC: 8.0,
            WeakAcid.LACTIC: 7.0,
            WeakAcid.ACETIC: 7.0,
            WeakAcid.CITRIC: 4.0,
        },
        "fruit_wine": {
            WeakAcid.CITRIC: 4.0,
            WeakAcid.MALIC: 4.0,
            WeakAcid.SUCCINIC: 1.0,
            WeakAcid.LACTIC: 1.0,
            WeakAcid.ACETIC: 1.0,
        },
        "cider_perry": {
            WeakAcid.MALIC: 6.0,
            WeakAcid.LACTIC: 3.0,
            WeakAcid.SUCCINIC: 1.0,
            WeakAcid.ACETIC: 1.0,
            WeakAcid.QUINIC: 1.0,
        },
        "citrus_juice": {WeakAcid.CITRIC: 49.0, WeakAcid.MALIC: 13.0, WeakAcid.PHOSPHORIC: 5.0},
        "berry_juice": {WeakAcid.CITRIC: 4.0, WeakAcid.MALIC: 1.0},
        "grape_juice": {WeakAcid.TARTARIC: 1.0, WeakAcid.MALIC: 1.0},
        "apple_pear_juice": {WeakAcid.MALIC: 72.0, WeakAcid.QUINIC: 3.0, WeakAcid.CITRIC: 1.0},
        "stone_fruit_juice": {WeakAcid.MALIC: 8.0, WeakAcid.CITRIC: 1.0},
        "honey": {WeakAcid.GLUCONIC: 1.0},
        "generic": {WeakAcid.GENERIC: 1.0},
    }
)
"""Mole ratios of the acids by kind of liquid; only ratios matter.

mead judged (17 Czech meads in Kružík 2022, Czech J. Food Sci. 40:42, average lactic 11 : acetic 7 : gluconic 3 and give
no succinic or malic); grape_wine computed from one white wine of Prenesti et al. 2012, table 1; citrus_juice computed
from an orange juice of citric 9.1 and malic 1.7 g/L and 169 mg/L phosphorus; apple_pear_juice computed from the bottled
apple row of the catalogue; honey mostly gluconic (White 1962); the others judged. generic is our default."""

PROFILE_MARKS: Mapping[str, str] = MappingProxyType(
    {
        "mead": "judged",
        "grape_wine": "computed from one published white wine",
        "fruit_wine": "judged",
        "cider_perry": "judged",
        "citrus_juice": "computed from published orange juice",
        "berry_juice": "judged",
        "grape_juice": "judged",
        "apple_pear_juice": "computed from the apple row",
        "stone_fruit_juice": "judged",
        "honey": "published",
        "generic": "our default",
    }
)
"""How each profile was come by."""

_LEAST_SPAN = 1.0
"""A pH has to lie this far below the end of its titration, or the two are one reading."""

_ROUNDS = 60
_TOLERANCE = 1e-12


@dataclass(frozen=True, slots=True)
class Inferred:
    """The acid scale (amount of profile, mmol per unit of ratio), the strong ion difference [meq/L], and the state."""

    scale: float
    sid_meq: float
    state: AcidState


def infer_state(
    profile: Mapping[WeakAcid, float],
    ph: float,
    titratable_meq_per_l: float,
    *,
    end_point_ph: float = 8.2,
    known: Mapping[WeakAcid, float] = MappingProxyType({}),
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
) -> Inferred:
    """The acids and the strong ion difference that give a liquid its pH and its titratable acidity.

    With P = Σ n̄ of the profile and K = Σ C n̄ of acids in known amount, at the pH measured (m) and the end point (e):

        A = [TA − ([H⁺]ₘ − [OH⁻]ₘ) + ([H⁺]ₑ − [OH⁻]ₑ) − (Kₑ − Kₘ)]/(Pₑ − Pₘ),  S = A Pₘ + Kₘ + [OH⁻]ₘ − [H⁺]ₘ

    repeated until the two ionic strengths settle.

    Parameters: profile, acid to mole ratio; ph; titratable_meq_per_l TA, degassed [meq/L]; end_point_ph of the
    titration; known, acids in known amount [mmol/L]; abv_percent and temperature_c of the liquid.
    Returns: Inferred.
    Raises: InconsistentError where no positive amount of acid, or a negative strong ion difference, would be needed.
    Validity: as `charge_balance`; in a blend the kinds of acid matter by up to 0.16 pH, 0.4 if wholly unknown, where
    much acid goes into a weakly buffered liquid (computed), and by a few hundredths elsewhere.
    Source: the balance of charges at two points of the same titration.

    Example: mead of pH 3.81 that takes 26.7 meq/L holds about 26 mmol/L of mixed acids (computed).

    >>> found = infer_state(PROFILES["mead"], 3.81, 26.7, abv_percent=12.0)
    >>> round(sum(found.state.acids_mmol)), round(found.sid_meq)
    (27, 8)
    """
    if ph > end_point_ph - _LEAST_SPAN:
        raise InconsistentError(
            f"pH {ph:.2f} lies at or beyond the end of the titration, pH {end_point_ph:g}: no sour drink does. Check "
            "the meter with fresh buffers of pH 4.01 and 7.00, and the end point.",
            "/ph",
        )
    medium = medium_of(abv_percent, temperature_c)
    shape, held = AcidState.of(profile), AcidState.of(known)
    basis, fixed = Liquid.of(shape, medium), Liquid.of(held, medium)
    titrated = Liquid.of(shape, medium, with_gas=False), Liquid.of(held, medium, with_gas=False)
    titratable, ionic_m, ionic_e = 1e-3 * titratable_meq_per_l, 0.02, 0.05
    scale, sid, settled = 0.0, 0.0, False
    for _ in range(_ROUNDS):
        factor_m, factor_e = medium.ionic_factor(ionic_m), medium.ionic_factor(ionic_e)
        free_m, water_m = solvent(medium, factor_m, ph)
        free_e, water_e = solvent(medium, factor_e, end_point_ph)
        residual_m, _, ions_m = basis.balance(factor_m, ph)
        residual_e, _, ions_e = titrated[0].balance(factor_e, end_point_ph)
        fixed_m, fixed_ions_m, fixed_e, fixed_ions_e = free_m, water_m, free_e, water_e
        if known:
            fixed_m, _, fixed_ions_m = fixed.balance(factor_m, ph)
            fixed_e, _, fixed_ions_e = titrated[1].balance(factor_e, end_point_ph)
        # what a unit of the profile carries is the free hydrogen less the residual
        carried_m, carried_e = free_m - residual_m, free_e - residual_e
        scale = (titratable - fixed_m + fixed_e) / (carried_e - carried_m)
        sid = scale * carried_m - fixed_m
        new_m = 0.5 * (abs(sid) + scale * (ions_m - water_m) + fixed_ions_m)
        new_e = 0.5 * (abs(sid) + scale * (ions_e - water_e) + fixed_ions_e + abs(titratable))
        settled = abs(new_m - ionic_m) + abs(new_e - ionic_e) < _TOLERANCE * (1.0 + ionic_m + ionic_e)
        ionic_m, ionic_e = max(new_m, 0.0), max(new_e, 0.0)
        if settled:
            break
    if sid < 0.0 < scale:
        raise _strong_acid_needed(ph, titratable_meq_per_l)
    if not settled and scale > 0.0:
        raise InconsistentError(
            f"pH {ph:.2f} and {titratable_meq_per_l:.1f} meq/L fit no drink. Check both readings and their units.",
            "/ph",
        )
    state = _checked(profile, known, scale, 1e3 * sid, ph, titratable_meq_per_l)
    return Inferred(scale, 1e3 * sid, state)


def state_from_one_reading(
    profile: Mapping[WeakAcid, float],
    *,
    ph: float | None = None,
    titratable_meq_per_l: float | None = None,
    sid_meq: float = 0.0,
    known: Mapping[WeakAcid, float] = MappingProxyType({}),
    end_point_ph: float = 8.2,
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
) -> AcidState:
    """The acids that give a liquid one reading, with its strong ion difference given.

    A = (TA + S + [H⁺]ₑ − [OH⁻]ₑ − Kₑ)/Pₑ  or, from a pH,  A = (S + [H⁺]ₘ − [OH⁻]ₘ − Kₘ)/Pₘ

    Parameters: profile, acid to mole ratio; ph or titratable_meq_per_l [meq/L], one of the two; sid_meq S, scalar
    [meq/L]; known, acids in known amount [mmol/L]; end_point_ph; abv_percent and temperature_c of the liquid.
    Returns: AcidState per litre.
    Raises: InconsistentError where no acid, or less than none, would do.
    Validity and source: as `infer_state`.

    Example: a titration of 30 meq/L without strong ions is 10 mmol/L of citric acid.

    >>> state = state_from_one_reading({WeakAcid.CITRIC: 1.0}, titratable_meq_per_l=30.0)
    >>> round(state.mmol(WeakAcid.CITRIC), 1)
    10.0
    """
    medium = medium_of(abv_percent, temperature_c)
    titrated = titratable_meq_per_l is not None
    point = end_point_ph if titrated or ph is None else ph
    basis = Liquid.of(AcidState.of(profile), medium, with_gas=not titrated)
    fixed = Liquid.of(AcidState.of(known, sid_meq), medium, with_gas=not titrated)
    base = 1e-3 * (titratable_meq_per_l or 0.0)
    ionic, scale, settled = 0.02, 0.0, False
    for _ in range(_ROUNDS):
        factor = medium.ionic_factor(ionic)
        free, water = solvent(medium, factor, point)
        residual, _, ions = basis.balance(factor, point)
        fixed_residual, _, fixed_ions = fixed.balance(factor, point)
        scale = (base + fixed_residual) / (free - residual)
        new = max(0.5 * (1e-3 * abs(sid_meq) + scale * (ions - water) + fixed_ions + base), 0.0)
        settled = abs(new - ionic) < _TOLERANCE * (1.0 + ionic)
        ionic = new
        if settled:
            break
    if not settled and scale > 0.0:
        raise InconsistentError(f"A reading of {point:.2f} fits no drink: check it and its unit.", "/ph")
    return _checked(profile, known, scale, sid_meq, point, titratable_meq_per_l)


def change_per_unit(
    state_at: Callable[[float, float], AcidState], step_ph: float, step_ta: float, here: AcidState | None = None
) -> AcidState:
    """How an inferred state moves with its readings: for a unit of pH, or of acidity as a share of itself.

    Parameters: state_at, the state with pH shifted by so much and acidity by such a share; step_ph and step_ta, the
    step to take, one of them 0; here, the state with nothing shifted, if at hand.
    Returns: change of the state per unit, from a step to the side that fits; nothing where neither does.
    Source: finite difference.

    >>> line = lambda ph, ta: AcidState.of({WeakAcid.CITRIC: 10.0 * (1.0 + ta)}, 2.0)
    >>> round(change_per_unit(line, 0.0, 0.02).mmol(WeakAcid.CITRIC), 6)
    10.0
    """
    here = state_at(0.0, 0.0) if here is None else here
    for sign in (1.0, -1.0):
        try:
            there = state_at(sign * step_ph, sign * step_ta)
        except InconsistentError:
            continue
        return there.plus(here.scaled(-1.0)).scaled(sign / (step_ph + step_ta))
    return NO_ACID


def _checked(
    profile: Mapping[WeakAcid, float],
    known: Mapping[WeakAcid, float],
    scale: float,
    sid: float,
    ph: float,
    titratable_meq_per_l: float | None,
) -> AcidState:
    if scale <= 0.0:
        if titratable_meq_per_l is None:
            raise InconsistentError(
                f"No weak acid has pH {ph:.2f}: check the meter with fresh buffers of pH 4.01 and 7.00.", "/ph"
            )
        raise InconsistentError(
            f"{titratable_meq_per_l:.1f} meq/L to pH {ph:g} leave no weak acid. Check the acidity's unit (g/L or "
            "g/100 mL), what it is expressed as, its end point, and the pH.",
            "/titratable_acidity",
        )
    amounts = dict(known)
    for acid, ratio in profile.items():
        amounts[acid] = amounts.get(acid, 0.0) + scale * ratio
    return AcidState.of(amounts, sid)


def _strong_acid_needed(ph: float, titratable_meq_per_l: float) -> InconsistentError:
    return InconsistentError(
        f"pH {ph:.2f} is too low for {titratable_meq_per_l:.1f} meq/L of weak acids: a strong acid would be needed. "
        "Check pH meter and buffers, the acidity's unit and end point, and whether the sample was degassed.",
        "/ph",
    )
