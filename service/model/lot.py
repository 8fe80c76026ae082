"""From a maker's readings of a liquid to what is in it.

Gravity and strength leave two unknowns, water and dry extract, and the volume of a litre closes them. What share of
the extract is sugar that yeast can use, and what is glycerol, acid and the rest, a maker's instruments do not tell:
it is assumed by the class of the liquid (our default, with its spread), unless the residual sugar was measured.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from service.catalogue.acidity import acids_per_kg
from service.catalogue.lookup import get_ingredient
from service.catalogue.overrides import with_measured
from service.catalogue.records import Acids
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InconsistentError, InputError, OutOfRangeError, ServiceError
from service.model.acidity import DEFAULT_END_POINT_PH
from service.model.contents import Contents, contents_per_g
from service.model.lot_acidity import AcidReadings, acids_of_lot
from service.model.lot_class import DRY_EXTRACT, JUICE_ROW, Assumed, LotClass
from service.physics.ethanol_water import (
    ETHANOL_DENSITY_20C_KG_M3,
    ethanol_water_density_kg_m3,
    mass_fraction_from_abv_percent,
)
from service.physics.mixture import WATER_G_PER_ML, volume_ml
from service.physics.roots import root_between
from service.physics.slips import gravity_meant, strength_meant
from service.physics.solutes import Component

RESIDUAL_GLUCOSE_SHARE = 0.45
"""Share of glucose in the sugar that a ferment keeps; yeast prefers glucose, so fructose leads (judged)."""

ETHANOL_G_PER_L_PER_PERCENT = ETHANOL_DENSITY_20C_KG_M3 / 100.0
_ACID_SLACK_G_PER_L = 4.0
"""Acid by titration may outweigh the extract by this much: one and a half hydrometer divisions."""

STRONGEST_ABV_PERCENT = 99.0
_LEAST_L, _MOST_L = 1e-3, 1e7

FULLEST_SYRUP = 0.85
"""Share of solids in solids + water at which the sugar data end."""

READING_SLACK = 0.001
"""A gravity this much below that of its own alcohol is read as no extract at all: one hydrometer division."""


@dataclass(frozen=True, slots=True)
class LotReadings:
    """What the maker knows of a lot, in base units; None where it was not read."""

    volume_l: float | None
    mass_g: float | None
    gravity: float
    abv_percent: float
    lot_class: LotClass = LotClass.MEAD
    titratable_meq_per_l: float | None = None
    residual_sugar_g_per_l: float | None = None
    ph: float | None = None
    end_point_ph: float = DEFAULT_END_POINT_PH
    residual_sugar_error_g_per_l: float | None = None


@dataclass(frozen=True, slots=True)
class Lot:
    """A liquid as the model sees it: contents of the whole lot, its volume, and what was assumed.

    `acids` are those of a litre, with their spread. `residual_sugar_sd_g_per_l` is the spread of a residual sugar that
    was assumed, or measured with a stated error (`sugar_known`); else None. `titratable_sd_share` is the stated error
    of a titration. A strength reckoned from gravities has the spread of the reckoning, `strength_sd_percent`, and moves
    with the reading of the gravity by `strength_per_gravity` and with that of the original gravity by
    `strength_per_original`; one that was given has none of the three.
    """

    name: str
    lot_class: LotClass
    contents: Contents
    volume_l: float
    titratable_known: bool
    ph_known: bool
    acids: Acids
    assumed: tuple[Assumed, ...]
    residual_sugar_sd_g_per_l: float | None = None
    sugar_known: bool = False
    titratable_sd_share: float | None = None
    strength_sd_percent: float | None = None
    strength_per_gravity: float = 0.0
    strength_per_original: float = 0.0


@lru_cache(maxsize=128)
def lot_from_readings(name: str, readings: LotReadings) -> Lot:
    """Masses of water, ethanol and extract of a liquid known by volume (or mass), gravity and strength.

    The last few lots are kept: the next question mostly names the same ones.

    m_total = SG ρ_w V,  m_ethanol = q ρ_ethanol V,  V = V(water, ethanol, extract) by the binary sum

    Parameters: name, for messages; readings.
    Returns: Lot, whose own gravity, strength and volume are exactly those read (see `assumed` where they are not).
    Raises: InputError, InconsistentError, OutOfRangeError with what to change.
    Validity: 0–99 % vol, SG 0.78–1.45; above 25 % vol with much sugar the volume rule is not confirmed.
    Source: OIML R 22, ICUMSA SPS-4; the split of dry extract as in DRY_EXTRACT.

    Example: at SG 0.9945 and 11.5 % vol the OIV rule gives 25.4 g/L extract (computed), this one 25.3.

    >>> lot = lot_from_readings("wine", LotReadings(1.0, None, 0.9945, 11.5, LotClass.GRAPE_WINE))
    >>> round(lot.contents.volume_ml, 6)
    1000.0
    """
    gravity, abv = readings.gravity, readings.abv_percent
    if not 0.78 <= gravity <= 1.45:
        raise OutOfRangeError(
            f"A gravity of {gravity:g} is not a drink's: readings run from about 0.98 to 1.15.{gravity_meant(gravity)}",
            "/gravity",
        )
    if not 0.0 <= abv <= STRONGEST_ABV_PERCENT:
        raise OutOfRangeError(f"Strength lies between 0 and 99 % vol, not at {abv:g}.", "/abv_percent")
    if (readings.volume_l is None) == (readings.mass_g is None):
        raise InputError("Give the lot's volume or its mass, one of the two.")
    litre_g = 1000.0 * gravity * WATER_G_PER_ML
    volume_l = readings.volume_l if readings.volume_l is not None else (readings.mass_g or 0.0) / litre_g
    if not _LEAST_L <= volume_l <= _MOST_L:
        raise OutOfRangeError(f"A lot is between 1 mL and 10,000,000 L, not {volume_l:g} L.", "/volume")
    if readings.lot_class in JUICE_ROW:
        contents, acids, assumed = _juice_litre(readings)
    else:
        contents, acids, assumed = _liquid_litre(readings)
    return Lot(
        name,
        readings.lot_class,
        contents.scaled(volume_l),
        volume_l,
        readings.titratable_meq_per_l is not None,
        readings.ph is not None,
        acids,
        tuple(assumed),
        DRY_EXTRACT[readings.lot_class].sd
        if readings.residual_sugar_g_per_l is None and readings.lot_class in DRY_EXTRACT
        else readings.residual_sugar_error_g_per_l,
        readings.residual_sugar_g_per_l is not None,
    )


def _liquid_litre(readings: LotReadings) -> tuple[Contents, Acids, list[Assumed]]:
    """A litre of a ferment or spirit."""
    gravity, abv = readings.gravity, readings.abv_percent
    total_g = 1000.0 * gravity * WATER_G_PER_ML
    ethanol_g = abv * ETHANOL_G_PER_L_PER_PERCENT
    dry = DRY_EXTRACT.get(readings.lot_class)
    acids, assumed = acids_of_lot(
        readings.lot_class,
        AcidReadings(readings.ph, readings.titratable_meq_per_l, readings.end_point_ph, abv),
    )
    acids_g = dry.acids if dry else 0.0
    if readings.titratable_meq_per_l is not None:
        acids_g = acid_g_per_l_from_meq_per_l(readings.titratable_meq_per_l, Acid.TARTARIC)
    alcohol_only = ethanol_water_density_kg_m3(mass_fraction_from_abv_percent(abv)) / (1000.0 * WATER_G_PER_ML)
    if gravity < alcohol_only - READING_SLACK:
        raise InconsistentError(
            f"SG {gravity:.4g} is lighter than {abv:g} % vol in plain water ({alcohol_only:.4f}): no extract fits. "
            f"Check the strength, the sample's temperature, and that the reading is SG 20/20.{strength_meant(abv)}",
            "/gravity",
        )

    if gravity < alcohol_only:
        total_g = 1000.0 * alcohol_only * WATER_G_PER_ML
        assumed.append(
            Assumed(
                "gravity",
                f"{alcohol_only:.4f}",
                f"the reading is lighter than {abv:g} % vol in water, by less than a division: taken as no extract",
                "read again, degassed and at a known temperature",
            )
        )

    def litre(solids: dict[Component, float]) -> dict[Component, float]:
        water = total_g - ethanol_g - sum(solids.values())
        return {Component.WATER: water, Component.ETHANOL: ethanol_g, **solids}

    def spare_ml(solids: dict[Component, float]) -> float:
        """What a litre's mass with these solids takes beyond a litre; more solids take less room than water."""
        return volume_ml(litre(solids)) - 1000.0

    def room(solids: dict[Component, float]) -> float:
        """The most that can be dissolved beside these solids."""
        return FULLEST_SYRUP * (total_g - ethanol_g) - sum(solids.values())

    glycerol = dry.glycerol if dry else 0.0
    fixed = {Component.GLYCEROL: glycerol, Component.FERMENT_ACIDS: acids_g}
    measured = readings.residual_sugar_g_per_l
    if measured is not None:
        fixed |= _sugars(measured)
        if spare_ml(fixed) < 0.0:
            raise InconsistentError(
                f"{measured:g} g/L of sugar does not fit SG {gravity:.4g} at {abv:g} % vol: the liquid would be "
                "denser. Check the three readings.",
                "/residual_sugar",
            )
        rest = _root(lambda g: spare_ml({**fixed, Component.FERMENT_RESIDUE: g}), room(fixed))
        return _contents(litre({**fixed, Component.FERMENT_RESIDUE: rest}), acids, measured), acids, assumed
    rest = dry.rest if dry else 0.0
    known = {**fixed, Component.FERMENT_RESIDUE: rest}
    if spare_ml(known) > 0.0:
        sugar = _root(lambda g: spare_ml({**known, **_sugars(g)}), room(known))
        solids = {**known, **_sugars(sugar)}
    else:
        sugar = 0.0
        solids = _shrunk(fixed, rest, spare_ml, readings)
        if dry:
            assumed.append(
                Assumed(
                    "dry extract that is no sugar",
                    f"{sum(solids.values()):.1f} g/L",
                    f"all that the gravity leaves room for; {sum(known.values()):.1f} would be usual",
                    "read gravity and strength again",
                )
            )
    if dry:
        assumed.append(
            Assumed(
                "residual_sugar",
                f"{sugar:.1f} g/L",
                f"the extract less {dry.total + 1.05 * (acids_g - dry.acids):.1f} ± {dry.sd:g} g/L that is no sugar, "
                f"typical of "
                f"{readings.lot_class.value}: {dry.mark}",
                "a reducing-sugar test, or two equal gravities days apart",
            )
        )
    return _contents(litre(solids), acids, sugar), acids, assumed


def _shrunk(
    fixed: dict[Component, float],
    rest: float,
    spare_ml: Callable[[dict[Component, float]], float],
    readings: LotReadings,
) -> dict[Component, float]:
    """Less than the usual dry extract fits: take it from the rest first, then from glycerol, then from the acids."""
    acids, glycerol = fixed[Component.FERMENT_ACIDS], fixed[Component.GLYCEROL]
    if spare_ml(fixed) > 0.0:
        rest = _root(lambda g: spare_ml({**fixed, Component.FERMENT_RESIDUE: g}), rest)
        return {**fixed, Component.FERMENT_RESIDUE: rest}
    if spare_ml({Component.FERMENT_ACIDS: acids}) > 0.0:
        glycerol = _root(lambda g: spare_ml({Component.FERMENT_ACIDS: acids, Component.GLYCEROL: g}), glycerol)
        return {Component.FERMENT_ACIDS: acids, Component.GLYCEROL: glycerol}
    measured_g = acids
    acids = _root(lambda g: spare_ml({Component.FERMENT_ACIDS: g}), acids)
    if readings.titratable_meq_per_l is not None and measured_g - acids > _ACID_SLACK_G_PER_L:
        raise InconsistentError(
            f"An acidity of {measured_g:.1f} g/L as tartaric does not fit SG {readings.gravity:.4g} at "
            f"{readings.abv_percent:g} % vol: there is room for {acids:.1f} g/L of extract in all. Check the decimal "
            "point and the unit of the acidity, the gravity and the strength.",
            "/titratable_acidity",
        )
    return {Component.FERMENT_ACIDS: acids}


def _sugars(grams: float) -> dict[Component, float]:
    return {
        Component.GLUCOSE: RESIDUAL_GLUCOSE_SHARE * grams,
        Component.FRUCTOSE: (1.0 - RESIDUAL_GLUCOSE_SHARE) * grams,
    }


def _contents(masses_g: dict[Component, float], acids: Acids, sugar_g: float) -> Contents:
    return Contents.of(masses_g, acids=acids.state, fermentable_g=sugar_g)


def _root(spare_ml: Callable[[float], float], high: float) -> float:
    """The mass at which nothing is spare; spare volume falls with it."""
    if spare_ml(0.0) <= 0.0:
        return 0.0
    if spare_ml(high) > 0.0:
        raise InconsistentError(
            "Gravity and strength leave no room for water. Check both, and their decimal points.", "/gravity"
        )
    return root_between(spare_ml, 0.0, high)


def _juice_litre(readings: LotReadings) -> tuple[Contents, Acids, list[Assumed]]:
    """A litre of juice, made up like a catalogue row of its kind at this density."""
    if readings.abv_percent > 0.0:
        raise InconsistentError(
            "A juice has no alcohol: give abv_percent 0, or the class of the ferment that it is.", "/abv_percent"
        )
    row = get_ingredient(JUICE_ROW[readings.lot_class])
    try:
        measured = with_measured(
            row,
            density_g_ml=readings.gravity * WATER_G_PER_ML,
            titratable_acidity_meq_per_l=readings.titratable_meq_per_l,
            end_point_ph=readings.end_point_ph,
            ph=readings.ph,
        ).ingredient
    except ServiceError as error:
        if error.pointer == "/density":
            error.pointer = "/gravity"
        raise
    litre_g = 1000.0 * readings.gravity * WATER_G_PER_ML
    assumed = [
        Assumed(
            "composition",
            f"like {row.id}, at the lot's density",
            "catalogue row of the class",
            "enter it as an addition",
        )
    ]
    for what, reading, how in (
        ("titratable_acidity", readings.titratable_meq_per_l, "titrate it"),
        ("ph", readings.ph, "read it with a pH meter"),
    ):
        if reading is None:
            assumed.append(Assumed(what, f"as in {row.id}", f"catalogue row {row.id}", how))
    return contents_per_g(measured).scaled(litre_g), acids_per_kg(measured).scaled(litre_g / 1000.0), assumed
