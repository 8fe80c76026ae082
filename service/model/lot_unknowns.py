"""How far a lot may lie from what its readings say: the instruments' errors, and what was assumed by its class.

Per litre, a gravity read too low by h hides extract, a strength read too low by s hides ethanol:

    dw + dx = 1000 ρ_w h,  v_w dw + v_x dx = 0        dw + dx + de = 0,  v_w dw + v_x dx + v_e de = 0

with the partial volumes v of water, extract and ethanol: the other reading and the litre stay as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from math import inf

from service.catalogue.acidity import PH_SD, TA_RELATIVE_SD
from service.chemistry.acid_state import AcidState
from service.model.contents import COMPONENTS, Contents
from service.model.lot import RESIDUAL_GLUCOSE_SHARE, Lot
from service.model.lot_class import DRY_EXTRACT, JUICE_ROW
from service.model.unknowns import Unknown
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.mixture import WATER_G_PER_ML, partial_volumes_ml_g
from service.physics.solutes import Component

_ETHANOL_G_PER_L_PER_PERCENT = ETHANOL_DENSITY_20C_KG_M3 / 100.0
_SUCROSE_PER_G = {Component.GLYCEROL: 0.58, Component.FERMENT_ACIDS: 1.05, Component.FERMENT_RESIDUE: 1.0}
"""Grams of sucrose that make a liquid as dense as a gram of these (see DRY_EXTRACT)."""

_NO_SUGAR_G_PER_L = 1e-6
_EXTRACT_G_PER_L_PER_SG, _ENOUGH_ERRORS = 2600.0, 2.0
_FAR = 4.0
"""What a reading hides by more than so many of its errors does not count."""

_SOLIDS_AT = tuple(k for k, c in enumerate(COMPONENTS) if c not in (Component.WATER, Component.ETHANOL))
_WATER, _ETHANOL = COMPONENTS.index(Component.WATER), COMPONENTS.index(Component.ETHANOL)


@dataclass(frozen=True, slots=True)
class ReadingErrors:
    """Standard deviations of the instruments that lots are read with.

    gravity [SG], strength_percent [% vol] where it was given, ph, acidity_share [-] of a titration.
    """

    gravity: float
    strength_percent: float
    ph: float
    acidity_share: float


@lru_cache(maxsize=128)
def unknowns_per_litre(lot: Lot, errors: ReadingErrors) -> tuple[Unknown, ...]:
    """The unknowns of a litre of a lot, but for how many litres there are; those of the last few lots are kept.

    Parameters: lot; errors of its readings.
    Returns: unknowns, independent of each other.
    Validity: as `service.model.lot`; first order in the errors.
    Source: the module's text; spreads of DRY_EXTRACT and TYPICAL_ACIDITY.

    Example: ±0.001 SG is ±2.6 g/L of extract (0.385 per thousand, Balling's tables).

    >>> from service.model.lot import LotReadings, lot_from_readings
    >>> lot = lot_from_readings("base", LotReadings(1.0, None, 1.010, 8.0))
    >>> gravity = unknowns_per_litre(lot, ReadingErrors(0.001, 0.25, 0.05, 0.02))[0]
    >>> gravity.what, round(-gravity.shift[0] + 0.998, 1)
    ('gravity', 2.6)
    """
    return tuple(_unknowns(lot, lot.contents.scaled(1.0 / lot.volume_l), errors))


def _unknowns(lot: Lot, litre: Contents, errors: ReadingErrors) -> Iterator[Unknown]:
    volumes = partial_volumes_ml_g(litre.sums)
    shares = _what_gravity_tells(lot, litre, errors.gravity)
    most_less = _solids_g(litre.vector)
    extract_ml = sum(share * volumes[COMPONENTS.index(c)] for c, share in shares.items())
    water_ml, ethanol_ml = volumes[_WATER], volumes[_ETHANOL]

    def shift(gravity: float, strength_percent: float) -> tuple[float, ...]:
        """A litre with these two readings higher."""
        more = 1000.0 * WATER_G_PER_ML * gravity
        ethanol = _ETHANOL_G_PER_L_PER_PERCENT * strength_percent
        extract = (more * water_ml + ethanol * (ethanol_ml - water_ml)) / (water_ml - extract_ml)
        masses = {c: extract * share for c, share in shares.items()}
        water = more - ethanol - extract
        sugar = sum(masses.get(c, 0.0) for c in (Component.GLUCOSE, Component.FRUCTOSE, Component.SUCROSE))
        masses[Component.WATER] = masses.get(Component.WATER, 0.0) + water
        masses[Component.ETHANOL] = ethanol
        return Contents.of(masses, fermentable_g=sugar).vector

    def unknown(what: str, row: tuple[float, ...], measure_by: str = "") -> Unknown:
        """One that leaves no less than no extract."""
        extract = _solids_g(row)
        least = -most_less / extract if extract > 0.0 else -inf
        return Unknown(what, row, 0.0, least if least > -_FAR else -inf, inf, measure_by)

    if errors.gravity > 0.0:
        more = shift(errors.gravity, lot.strength_per_gravity * errors.gravity)
        yield unknown("gravity", more, "read its gravity again")
    fermented = litre.vector[_ETHANOL] > 0.0
    strength = errors.strength_percent if lot.strength_sd_percent is None else lot.strength_sd_percent
    if fermented and strength > 0.0:
        yield unknown("strength", shift(0.0, strength), "measure its strength")
    if fermented and lot.strength_per_original and errors.gravity > 0.0:
        yield unknown("original gravity", shift(0.0, lot.strength_per_original * errors.gravity))
    yield from _residual_sugar(lot, litre)
    acidity_share = errors.acidity_share if lot.titratable_sd_share is None else lot.titratable_sd_share
    for what, acids in lot.acids.spread:
        read, usual, now = {
            "pH": (lot.ph_known, PH_SD, errors.ph),
            "acidity": (lot.titratable_known, TA_RELATIVE_SD, acidity_share),
        }.get(what, (False, 1.0, 1.0))
        factor = now / usual if read else 1.0
        if factor > 0.0:
            yield Unknown(
                what, _acids_alone(acids.scaled(factor)), measure_by="titrate it" if what != "pH" else "read it"
            )


def _solids_g(row: tuple[float, ...]) -> float:
    """All that is neither water nor alcohol [g]."""
    return sum([row[k] for k in _SOLIDS_AT])


def _acids_alone(state: AcidState) -> tuple[float, ...]:
    return Contents.of({}, acids=state).vector


def _what_gravity_tells(lot: Lot, litre: Contents, gravity_error: float) -> dict[Component, float]:
    """What takes the extract that a gravity hid: the sugar, or where that is known or gone the rest [g/g].

    Where there is too little of the rest to err by, all that is no sugar takes it.
    """
    masses = litre.masses_g
    if lot.lot_class in JUICE_ROW:
        solids = {c: m for c, m in masses.items() if c not in (Component.WATER, Component.ETHANOL)}
        whole = sum(solids.values())
        return {c: m / whole for c, m in solids.items()} if whole > 0.0 else {Component.SUCROSE: 1.0}
    no_sugar_left = not lot.sugar_known and lot.lot_class in DRY_EXTRACT and _sugar_g_per_l(litre) <= _NO_SUGAR_G_PER_L
    if no_sugar_left or lot.sugar_known:
        others = {c: masses[c] for c in _SUCROSE_PER_G if masses.get(c, 0.0) > 0.0}
        enough = _ENOUGH_ERRORS * _EXTRACT_G_PER_L_PER_SG * gravity_error
        if not others or others.get(Component.FERMENT_RESIDUE, 0.0) >= enough:
            return {Component.FERMENT_RESIDUE: 1.0}
        return {c: mass / sum(others.values()) for c, mass in others.items()}
    return {Component.GLUCOSE: RESIDUAL_GLUCOSE_SHARE, Component.FRUCTOSE: 1.0 - RESIDUAL_GLUCOSE_SHARE}


def _sugar_g_per_l(litre: Contents) -> float:
    masses = litre.masses_g
    return masses.get(Component.GLUCOSE, 0.0) + masses.get(Component.FRUCTOSE, 0.0)


def _residual_sugar(lot: Lot, litre: Contents) -> Iterator[Unknown]:
    """Sugar in the place of the dry extract that is no sugar, or the other way round; no less than none of either.

    Where less extract was found than usual, all of it counts as no sugar, and more sugar is the only way to err.
    """
    dry = DRY_EXTRACT.get(lot.lot_class)
    sd = lot.residual_sugar_sd_g_per_l
    if dry is None or sd is None or sd <= 0.0:
        return
    masses = litre.masses_g
    sugar, rest = _sugar_g_per_l(litre), masses.get(Component.FERMENT_RESIDUE, 0.0)
    if rest <= 0.0:
        return
    centre = 0.0
    if sugar <= _NO_SUGAR_G_PER_L and not lot.sugar_known:
        acids = max(masses.get(Component.FERMENT_ACIDS, 0.0), dry.acids)
        usual = {Component.GLYCEROL: dry.glycerol, Component.FERMENT_ACIDS: acids, Component.FERMENT_RESIDUE: dry.rest}
        missing = sum(w * (usual[c] - masses.get(c, 0.0)) for c, w in _SUCROSE_PER_G.items())
        centre = -max(missing, 0.0) / sd
    shift = Contents.of(
        {
            Component.GLUCOSE: RESIDUAL_GLUCOSE_SHARE * sd,
            Component.FRUCTOSE: (1.0 - RESIDUAL_GLUCOSE_SHARE) * sd,
            Component.FERMENT_RESIDUE: -sd,
        },
        fermentable_g=sd,
    )
    yield Unknown(
        "residual sugar",
        shift.vector,
        centre,
        -sugar / sd if sugar > 0.0 else 0.0,
        rest / sd if rest > 0.0 else inf,
        "test it for reducing sugar",
    )
