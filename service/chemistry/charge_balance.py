"""pH and titratable acidity from the balance of charges.

    S + [H⁺] − [OH⁻] − Σ Cᵢ n̄ᵢ(pH) = 0

S is the strong ion difference, Cᵢ the amount of an acid and n̄ᵢ the mean number of hydrogens that it has lost. The left
side falls steadily with pH, so there is one root. Constants are *mixed*: pH is the activity of hydrogen ions, all else
a concentration, and ionic strength and ethanol move each pK (`service.chemistry.activity` and
`service.chemistry.weak_acids`).

At a *fixed* pH and fixed constants everything is linear in the amounts, which is what an optimiser wants:
`charges_at` gives the weights. A lower bound on pH is the linear row S + V·solvent − Σ C n̄(pH*) ≥ 0.

Accuracy: NBS buffers of known composition within 0.013 pH. Sugar's effect on activity, binding of citrate by calcium
and magnesium (to 0.07 in orange juice made up from analyses) and precipitation of salts are not modelled; an
inferred strong ion difference absorbs the binding.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from service.chemistry.acid_state import AcidState
from service.chemistry.activity import DAVIES_IONIC_MAX_MOL_PER_L
from service.chemistry.medium import (
    LN_10,
    STANDARD_TEMPERATURE_C,
    Medium,
    charge_ratios,
    medium_of,
    solvent,
)
from service.chemistry.weak_acids import ACIDS, DISSOCIATIONS, WeakAcid
from service.errors import OutOfRangeError, SolverError

TITRATION_END_POINTS = (6.0, 10.0)
"""A titration of a drink ends inside these; 7.0 (OIV), 8.1 (juice) and 8.2 (US wine) are in use."""

_LOWEST_PH, _HIGHEST_PH = -1.0, 15.0
_PH_TOLERANCE = 1e-10
_IONIC_TOLERANCE = 1e-10
_TOGETHER_STEPS = 25
_LONGEST_STEP = 1.0
_IONIC_ROUNDS = 60
_NEWTON_STEPS = 60
_TITRATION_ROUNDS = 30
CARBONIC_AT = ACIDS.index(WeakAcid.CARBONIC)
_ONES, _TWOS, _THREES = (
    tuple(k for k, acid in enumerate(ACIDS) if len(DISSOCIATIONS[acid].steps) == steps) for steps in (1, 2, 3)
)


@dataclass(slots=True)
class Liquid:
    """One state in one medium, in mol/L and eq/L, its acids by the number of their hydrogens; the inner loop."""

    medium: Medium
    ones: list[tuple[float, float]]
    twos: list[tuple[float, float, float]]
    threes: list[tuple[float, float, float, float]]
    sid: float
    strong: float

    @classmethod
    def of(cls, state: AcidState, medium: Medium, *, with_gas: bool = True) -> Liquid:
        """A state [mmol, meq per litre] in a medium; `with_gas` False leaves carbonic acid out."""
        amounts, products = state.acids_mmol, medium.products
        if amounts[CARBONIC_AT] and not with_gas:
            amounts = (*amounts[:CARBONIC_AT], 0.0, *amounts[CARBONIC_AT + 1 :])
        ones: list[Any] = [(1e-3 * amounts[k], *products[k]) for k in _ONES if amounts[k]]
        twos: list[Any] = [(1e-3 * amounts[k], *products[k]) for k in _TWOS if amounts[k]]
        threes: list[Any] = [(1e-3 * amounts[k], *products[k]) for k in _THREES if amounts[k]]
        return cls(medium, ones, twos, threes, 1e-3 * state.sid_meq, 1e-3 * state.ionic_mmol)

    def balance(self, factor: float, ph: float) -> tuple[float, float, float]:
        """Residual, its fall with pH, and Σ C·z² with the ions of water, all in mol/L."""
        h = 10.0**-ph
        hydrogen, hydroxide = h * factor, self.medium.water / h * factor
        buffer = ions = hydrogen + hydroxide
        charge = 0.0
        r1, r2, r3 = charge_ratios(factor, h)
        for c, k1 in self.ones:
            a = k1 * r1
            mean = a / (1.0 + a)
            charge += c * mean
            buffer += c * mean * (1.0 - mean)
            ions += c * mean
        for c, k1, k2 in self.twos:
            a, b = k1 * r1, k2 * r2
            whole = 1.0 + a + b
            mean, square = (a + 2.0 * b) / whole, (a + 4.0 * b) / whole
            charge += c * mean
            buffer += c * (square - mean * mean)
            ions += c * square
        for c, k1, k2, k3 in self.threes:
            a, b, d = k1 * r1, k2 * r2, k3 * r3
            whole = 1.0 + a + b + d
            mean, square = (a + 2.0 * b + 3.0 * d) / whole, (a + 4.0 * b + 9.0 * d) / whole
            charge += c * mean
            buffer += c * (square - mean * mean)
            ions += c * square
        return self.sid + (hydrogen - hydroxide) - charge, LN_10 * buffer, ions


def _root(liquid: Liquid, factor: float, start: float) -> tuple[float, float]:
    """pH at fixed constants by Newton inside a bracket, and Σ C·z² there."""
    low, high, ph = _LOWEST_PH, _HIGHEST_PH, start
    for _ in range(_NEWTON_STEPS):
        residual, slope, ions = liquid.balance(factor, ph)
        if residual > 0.0:
            low = ph
        else:
            high = ph
        new = ph + residual / slope if slope > 0.0 else low
        if not low < new < high:
            new = 0.5 * (low + high)
        if abs(new - ph) < _PH_TOLERANCE:
            return new, ions
        ph = new
    raise SolverError("The balance of charges did not settle.")


def ph_and_ionic_strength(liquid: Liquid, start: float = 3.5) -> tuple[float, float]:
    """pH with the ionic strength that belongs to it, and that ionic strength [mol/L]; no amounts below nought.

    Newton's step and the new ionic strength together settle nearly always; else pH is bracketed at each ionic strength.
    """
    medium, strong = liquid.medium, liquid.strong
    ph, ionic = start, strong
    for _ in range(_TOGETHER_STEPS):
        residual, slope, ions = liquid.balance(medium.ionic_factor(ionic), ph)
        if slope <= 0.0:
            break
        step = min(max(residual / slope, -_LONGEST_STEP), _LONGEST_STEP)
        new_ionic = strong + 0.5 * ions
        ph += step
        if abs(step) < _PH_TOLERANCE and abs(new_ionic - ionic) < _IONIC_TOLERANCE:
            return ph, new_ionic
        ionic = new_ionic
    return _solve_in_brackets(liquid, start)


def _solve_in_brackets(liquid: Liquid, start: float) -> tuple[float, float]:
    ph, ionic = start, liquid.strong
    for _ in range(_IONIC_ROUNDS):
        new, ions = _root(liquid, liquid.medium.ionic_factor(ionic), ph)
        settled = abs(new - ph) < _PH_TOLERANCE
        ph, ionic = new, liquid.strong + 0.5 * ions
        if settled or not liquid.medium.davies:
            return ph, ionic
    raise SolverError("The ionic strength did not settle.")


def refuse_negative_amounts(state: AcidState) -> None:
    """Refuse a state that is none (OutOfRangeError)."""
    if min(state.acids_mmol) < 0.0 or state.ionic_mmol < 0.0:
        raise OutOfRangeError("An acid cannot be present in a negative amount.")


def ph_of(
    state: AcidState,
    *,
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
    ideal: bool = False,
) -> float:
    """pH of a liquid.

    Parameters: state, per litre [mmol/L, meq/L]; abv_percent [% vol]; temperature_c [°C]; ideal, True to count every
    activity as one.
    Returns: pH [-].
    Raises: OutOfRangeError for negative amounts and outside `medium_of`.
    Validity: ionic strength to about 0.5 mol/L; about 0.01 pH for a known composition.
    Source: the balance of charges; constants of `service.chemistry.weak_acids`.

    Example: 0.05 mol/L potassium dihydrogen citrate has pH 3.776 (J. Res. NBS 73A:37); this model gives 3.769.

    >>> round(ph_of(AcidState.of({WeakAcid.CITRIC: 50.0}, 50.0), temperature_c=25.0), 2)
    3.77
    """
    refuse_negative_amounts(state)
    return ph_and_ionic_strength(Liquid.of(state, medium_of(abv_percent, temperature_c, ideal=ideal)))[0]


def ionic_strength_mol_per_l(
    state: AcidState,
    ph: float,
    *,
    medium: Medium,
    titrated: bool = False,
) -> float:
    """Ionic strength of a liquid that is brought to a pH.

    I = strong ions + ½([H⁺] + [OH⁻] + Σ C z̄²), and with `titrated` half the base added on top, whose amount depends on
    I in turn.

    Parameters: state, per litre; ph; medium; titrated, whether strong base brought it there.
    Returns: I [mol/L].
    Source: definition.

    >>> round(ionic_strength_mol_per_l(AcidState.of({}, 0.0), 7.0, medium=medium_of(), titrated=False), 6)
    0.0
    """
    return ionic_strength_of_liquid(Liquid.of(state, medium, with_gas=not titrated), ph, titrated=titrated)


def ionic_strength_of_liquid(liquid: Liquid, ph: float, *, titrated: bool = False, start: float | None = None) -> float:
    """`ionic_strength_mol_per_l` of a state in its medium, without its carbonic acid where it is `titrated`.

    `start` is a likely ionic strength, such as that at a pH close by [mol/L].
    """
    medium, ionic = liquid.medium, liquid.strong if start is None else start
    for _ in range(_TITRATION_ROUNDS):
        residual, _, ions = liquid.balance(medium.ionic_factor(ionic), ph)
        new = liquid.strong + 0.5 * ions + (0.5 * abs(residual) if titrated else 0.0)
        if abs(new - ionic) <= _IONIC_TOLERANCE or min(new, ionic) >= DAVIES_IONIC_MAX_MOL_PER_L:
            return new
        ionic = new
    return ionic


@dataclass(frozen=True, slots=True)
class Charges:
    """What every unit of a mixture carries at one pH and one ionic strength: the weights of linear rows.

    `charge` is n̄ of each acid [meq/mmol] and `buffer` its rise with pH [meq/mmol]; `solvent_meq` is [H⁺] − [OH⁻] and
    `solvent_buffer_meq` its fall with pH, both in a litre [meq/L].
    """

    ph: float
    charge: tuple[float, ...]
    buffer: tuple[float, ...]
    solvent_meq: float
    solvent_buffer_meq: float

    def residual_meq(self, state: AcidState, volume_l: float = 1.0) -> float:
        """Strong ion difference and free hydrogen less what the acids carry; above zero where pH lies higher."""
        carried = sum(c * n for c, n in zip(state.acids_mmol, self.charge, strict=True))
        return state.sid_meq + volume_l * self.solvent_meq - carried

    def buffer_meq(self, state: AcidState, volume_l: float = 1.0) -> float:
        """The strong base that raises pH by one, were the slope to stay."""
        return volume_l * self.solvent_buffer_meq + sum(
            c * n for c, n in zip(state.acids_mmol, self.buffer, strict=True)
        )


def charges_at(ph: float, ionic_mol_per_l: float, medium: Medium) -> Charges:
    """The charges of all acids at one pH.

    Parameters: ph; ionic_mol_per_l, scalar [mol/L]; medium.
    Returns: Charges.
    Source: mass action with mixed constants.

    Example: to pH 8.2 citric acid gives all three hydrogens, phosphoric 1.96 (computed, as titrated in juice).

    >>> at = charges_at(8.2, 0.1, medium_of())
    >>> [round(at.charge[ACIDS.index(acid)], 1) for acid in (WeakAcid.CITRIC, WeakAcid.PHOSPHORIC)]
    [3.0, 2.0]
    """
    return charges_with(ph, medium.ionic_factor(ionic_mol_per_l), medium)


def charges_with(ph: float, factor: float, medium: Medium) -> Charges:
    """`charges_at` with 10^(A f) given instead of the ionic strength.

    >>> charges_with(7.0, 1.0, medium_of()) == charges_at(7.0, 0.0, medium_of())
    True
    """
    r1, r2, r3 = charge_ratios(factor, 10.0**-ph)
    charge, buffer = [], []
    for products in medium.products:
        a = products[0] * r1
        b = products[1] * r2 if len(products) > 1 else 0.0
        d = products[2] * r3 if len(products) > 2 else 0.0
        whole = 1.0 + a + b + d
        mean = (a + 2.0 * b + 3.0 * d) / whole
        charge.append(mean)
        buffer.append(LN_10 * ((a + 4.0 * b + 9.0 * d) / whole - mean * mean))
    free, ions = solvent(medium, factor, ph)
    return Charges(ph, tuple(charge), tuple(buffer), 1e3 * free, 1e3 * LN_10 * ions)


def residual_meq_per_l(
    state: AcidState,
    ph: float,
    *,
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
    ideal: bool = False,
) -> float:
    """The balance of charges at a pH, with the ionic strength that the liquid would have there.

    Parameters: state, per litre; ph; abv_percent [% vol]; temperature_c [°C]; ideal.
    Returns: S + [H⁺] − [OH⁻] − Σ C n̄ [meq/L]; zero at the liquid's own pH, above zero below it.
    Source: the balance of charges.

    >>> water = AcidState.of({}, 0.0)
    >>> residual_meq_per_l(water, 5.0) > 0.0 > residual_meq_per_l(water, 9.0)
    True
    """
    medium = medium_of(abv_percent, temperature_c, ideal=ideal)
    return charges_at(ph, ionic_strength_mol_per_l(state, ph, medium=medium), medium).residual_meq(state)


def buffer_capacity_meq_per_l(
    state: AcidState,
    ph: float,
    *,
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
    ideal: bool = False,
) -> float:
    """Strong base that would raise the pH of a litre by one, were the slope to stay.

    β = ln 10·([H⁺] + [OH⁻] + Σ C (z̄² − n̄²)), at fixed ionic strength

    Parameters: state, per litre; ph; abv_percent [% vol]; temperature_c [°C]; ideal.
    Returns: β [meq/L per pH].
    Source: Van Slyke, J. Biol. Chem. 52 (1922) 525 (from memory).

    Example: an acid half neutralised buffers with ln 10/4 of its amount.

    >>> half = buffer_capacity_meq_per_l(AcidState.of({WeakAcid.ACETIC: 100.0}), 4.757, temperature_c=25.0, ideal=True)
    >>> round(half, 1)
    57.6
    """
    medium = medium_of(abv_percent, temperature_c, ideal=ideal)
    return charges_at(ph, ionic_strength_mol_per_l(state, ph, medium=medium), medium).buffer_meq(state)


def titratable_meq_per_l(
    state: AcidState,
    end_point_ph: float = 8.2,
    *,
    abv_percent: float = 0.0,
    temperature_c: float = STANDARD_TEMPERATURE_C,
    ideal: bool = False,
) -> float:
    """Strong base that brings a degassed litre to the end point of a titration.

    TA = Σ C n̄(pHₑ) − S + [OH⁻]ₑ − [H⁺]ₑ, carbonic acid left out

    Parameters: state, per litre; end_point_ph; abv_percent [% vol]; temperature_c [°C]; ideal.
    Returns: TA [meq/L]; negative for a liquid more alkaline than the end point.
    Raises: OutOfRangeError for negative amounts, and end points outside 6 to 10.
    Validity: sample undiluted; the base's own volume is not counted.
    Source: definition; end points: OIV-MA-AS313-01 (7.0), AOAC 942.15 (8.1) and AOAC 962.12 (8.2), the last two from
    memory.

    Example: 10 mmol/L citric acid in water take 30 meq/L to 8.2.

    >>> round(titratable_meq_per_l(AcidState.of({WeakAcid.CITRIC: 10.0})))
    30
    """
    refuse_negative_amounts(state)
    low, high = TITRATION_END_POINTS
    if not low <= end_point_ph <= high:
        raise OutOfRangeError(
            f"A titration ends between pH {low:g} and {high:g} (7.0, 8.1 and 8.2 are usual), not at {end_point_ph:g}.",
            "/titration_end_point_ph",
        )
    medium = medium_of(abv_percent, temperature_c, ideal=ideal)
    ionic = ionic_strength_mol_per_l(state, end_point_ph, medium=medium, titrated=True)
    return -titration_charges(end_point_ph, ionic, medium).residual_meq(state)


def titration_charges(end_point_ph: float, ionic_mol_per_l: float, medium: Medium) -> Charges:
    """`charges_at` an end point for a degassed sample: carbonic acid has no weight."""
    at = charges_at(end_point_ph, ionic_mol_per_l, medium)
    charge = list(at.charge)
    charge[CARBONIC_AT] = 0.0
    return Charges(at.ph, tuple(charge), at.buffer, at.solvent_meq, at.solvent_buffer_meq)
