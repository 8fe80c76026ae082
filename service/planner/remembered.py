"""A remembered drink, from its label or a reading of a flat sample without alcohol, as targets.

The targets are sugar, titratable acidity and juice, never gravity: alcohol lowers that, so that a drink of the same
sweetness and sourness has another. A label gives its sugar directly. In a read sample everything dissolved but the
acid is taken as sugar: with Brix B, or the gravity, and the acid a

    sugar = B/100 · m − a            m the mass of a litre of water, sucrose and citric acid that has this B or gravity

by the binary sum of `service.physics.mixture`. A plain percent of acid is grams in 100 mL, as everywhere in this
service; "% w/w" and g/kg go through the mass of the remembered drink's litre.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite
from typing import Final

from service.catalogue.label import label_step_g
from service.catalogue.readings import BRIX_PER_CITRIC_PERCENT, BRIX_SD
from service.chemistry.acid_state import AcidState
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l, meq_per_l_from_acid_g_per_l
from service.chemistry.charge_balance import ph_of
from service.chemistry.weak_acids import WeakAcid
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.mixture import WATER_G_PER_ML, volume_and_gradient_ml, volume_sums
from service.physics.roots import root_between
from service.physics.solutes import Component
from service.physics.sucrose import SUCROSE_MASS_FRACTION_MAX
from service.planner.asked import Instruments, TargetAsked
from service.quantities import Acidity, AcidityBasis

BRIX_ERROR: Final = BRIX_SD
"""Error of a refractometer or a sugar-scale hydrometer [°Bx]; common practice, no source."""

ALCOHOL_AND_TASTE: Final = (
    "Alcohol itself changes how sweet, sour and full a drink tastes: equal sugar and acid do not make an equal taste. "
    "Sip a glass before the batch."
)
"""Where the remembered drink had no alcohol (common practice, no source)."""

HOLD_BOTH: Final = (
    "Acid takes away sweetness and sugar takes away sourness (Schifferstein and Frijters 1990, from memory): hold "
    "sugar and acid together, not one of them."
)
"""Where only one of the pair is known."""

PH_IS_NO_TARGET: Final = (
    "The pH of the remembered drink is no target: your own lots set theirs. Match its acidity, or add a target on ph."
)
"""Where a pH was given."""

PH_BELOW_ITS_ACID: Final = (
    "The pH of the remembered drink is lower than so much citric acid alone would give: it holds a stronger acid, such "
    "as phosphoric, or the sample was not flat."
)
"""Where pH and acidity do not go together; cations only raise a pH."""

_MOST_SUGAR_G_PER_L: Final = 1000.0
_MOST_BRIX: Final = 70.0
_MOST_GRAVITY: Final = 1.35
_MOST_ACID_G_PER_L: Final = 100.0
_MOST_ABV_PERCENT: Final = 60.0
_PH_SLACK: Final = 0.1
REMEMBERED_ACID_G_PER_L = 0.2
"""How near an acidity without a stated error is to be met, as tartaric acid [g/L]; our default (2 to 5 % of 4 to
10 g/L, computed)."""

_JUICE_STEP_PERCENT: Final = 1.0
_PASSES: Final = 60
_CLOSE_G: Final = 1e-10
_BY_MASS: Final = (AcidityBasis.G_PER_KG, AcidityBasis.MEQ_PER_KG)
_PLAIN_PERCENT: Final = re.compile(r"(%|percent)(?!\s*w)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Remembered:
    """What is known of the drink: a label (`serving_ml` with `sugar_g`) or one reading of a flat sample.

    `serving_ml` [mL]; `sugar_g` in a serving [g]; `juice_percent` as declared [%]; `acid` as read by `parse_acidity`;
    `brix` of a sample [°Bx], with `brix_is_refractometer_reading` what the instrument showed; `gravity` SG 20/20; `ph`.
    `abv_percent` of the remembered drink counts only where its acid is given by mass; a read sample has none.
    """

    serving_ml: float | None = None
    sugar_g: float | None = None
    juice_percent: float | None = None
    acid: Acidity | None = None
    brix: float | None = None
    brix_is_refractometer_reading: bool = False
    gravity: float | None = None
    ph: float | None = None
    abv_percent: float = 0.0


@dataclass(frozen=True, slots=True)
class Matched:
    """The targets that stand for a remembered drink, what was assumed, warnings in words, and the drink's own figures.

    `gravity`, `brix` and `litre_g` describe the remembered drink; they are no targets. None without sugar.
    """

    targets: tuple[TargetAsked, ...]
    assumed: tuple[Assumed, ...]
    warnings: tuple[str, ...]
    sugar_g_per_l: float | None
    acid_meq_per_l: float | None
    gravity: float | None
    brix: float | None
    litre_g: dict[Component, float] | None


def match_of(drink: Remembered, instruments: Instruments) -> Matched:
    """Targets on sugar, titratable acidity and juice from what is remembered of a drink.

    Parameters: drink; instruments of the request, whose hydrometer error is the tolerance of a gravity.
    Returns: Matched; each target's range is the rounding of the label or the error of the instrument.
    Raises: InputError where nothing or two things fix the sugar; OutOfRangeError and InconsistentError where no such
        drink exists. Pointers are those of the fields: /serving, /sugar_g, /juice_percent, /acid, /brix, /gravity, /ph.
    Validity: a clear drink whose acid is known; in a read sample what else is dissolved counts as sugar.
    Source: mass balance; sugars on a label to the nearest gram, 21 CFR 101.9(c) (from memory, unverified); percent
        juice as a whole number not above the actual one, 21 CFR 101.30.

    Example: 29 g in 330 mL are 87.9 g/L.

    >>> found = match_of(Remembered(330.0, 29.0), Instruments())
    >>> [(t.name, round(t.low, 1), round(t.value, 1), round(t.high, 1)) for t in found.targets]
    [('sugar_g_per_l', 86.4, 87.9, 89.4)]
    """
    _check(drink)
    litre = _litre_of(drink)
    targets = []
    sugar = acid_meq = mass = brix = None
    if litre is not None:
        sugar, mass = litre[Component.SUCROSE], sum(litre.values())
        brix = 100.0 * (sugar + litre[Component.CITRIC]) / mass
        half, words = _sugar_range(drink, sugar, instruments)
        targets.append(TargetAsked("sugar_g_per_l", max(sugar - half, 0.0), sugar + half, sugar, words))
    if drink.acid is not None:
        acid_meq = _meq_per_l(drink.acid, drink.acid.value, mass)
        value = acid_g_per_l_from_meq_per_l(acid_meq, Acid.TARTARIC)
        half = REMEMBERED_ACID_G_PER_L
        if drink.acid.error is not None:
            half = acid_g_per_l_from_meq_per_l(_meq_per_l(drink.acid, drink.acid.error, mass), Acid.TARTARIC)
        targets.append(TargetAsked("titratable_acidity", max(value - half, 0.0), value + half, value, drink.acid.text))
    if drink.juice_percent is not None:  # a whole number not above the actual one
        juice = drink.juice_percent
        low = juice - PROPERTIES["juice_percent"].tolerance(juice)
        targets.append(TargetAsked("juice_percent", low, juice + _JUICE_STEP_PERCENT, juice, f"{juice:g} % juice"))
    gravity = None if mass is None else mass / (1000.0 * WATER_G_PER_ML)
    return Matched(tuple(targets), _assumed(drink), _warnings(drink, acid_meq), sugar, acid_meq, gravity, brix, litre)


def _check(drink: Remembered) -> None:
    if (drink.serving_ml is None) != (drink.sugar_g is None):
        missing = "/serving" if drink.serving_ml is None else "/sugar_g"
        raise InputError("A label needs both its serving and the grams of sugar in it.", missing)
    fixing = [p for p in ("sugar_g", "brix", "gravity") if getattr(drink, p) is not None]
    if len(fixing) > 1:
        raise InputError(f"{' and '.join(fixing)} each fix the sugar of the drink: give one of them.", f"/{fixing[1]}")
    if not fixing and drink.acid is None and drink.juice_percent is None:
        raise InputError(
            "Say what is remembered: the grams of sugar in a serving, or Brix or gravity of a flat sample; its acid."
            + (" A pH alone fits many drinks." if drink.ph is not None else ""),
            "/ph" if drink.ph is not None else "",
        )
    _within(drink.serving_ml, 0.0, 1e6, "A serving", "mL", "/serving", above=True)
    _within(drink.sugar_g, 0.0, 1e6, "Sugar in a serving", "g", "/sugar_g")
    _within(drink.juice_percent, 0.0, 100.0, "Juice", "%", "/juice_percent")
    _within(drink.brix, 0.0, _MOST_BRIX, "The Brix of a sample", "°Bx", "/brix")
    _within(drink.gravity, 1.0, _MOST_GRAVITY, "The gravity of a drink without alcohol", "SG", "/gravity")
    _within(drink.ph, 0.0, 14.0, "pH", "", "/ph", above=True)
    _within(drink.abv_percent, 0.0, _MOST_ABV_PERCENT, "Strength", "% vol", "/abv_percent")
    if drink.abv_percent > 0.0 and (drink.brix is not None or drink.gravity is not None):
        raise InputError(
            "Alcohol moves both Brix and gravity: give the label's grams of sugar, or read a drink without alcohol.",
            "/brix" if drink.brix is not None else "/gravity",
        )
    if drink.acid is not None and not fixing and drink.acid.basis in _BY_MASS:
        raise InputError(
            "An acidity by mass needs the drink's sugar, Brix or gravity besides: or give it per litre.", "/acid"
        )


def _within(
    value: float | None, low: float, high: float, what: str, unit: str, pointer: str, *, above: bool = False
) -> None:
    if value is None:
        return
    if not (isfinite(value) and low <= value <= high) or (above and value == low):
        start = "above " if above else ""
        raise OutOfRangeError(f"{what} lies between {start}{low:g} and {high:g} {unit}, not at {value:g}.", pointer)


def _meq_per_l(acid: Acidity, value: float, mass_g_per_l: float | None) -> float:
    """An acidity of this basis per litre; by mass it needs the mass of a litre."""
    if acid.basis in _BY_MASS:
        assert mass_g_per_l is not None
        value *= mass_g_per_l / 1000.0
    if acid.acid is None:
        return value
    return meq_per_l_from_acid_g_per_l(value, Acid(acid.acid))


def _filled(sugar_g: float, drink: Remembered) -> dict[Component, float]:
    """A litre with this much sugar and the drink's acid and alcohol, the rest water [g]."""
    ethanol = drink.abv_percent / 100.0 * ETHANOL_DENSITY_20C_KG_M3
    mass, water = 1000.0, 1000.0
    citric = 0.0
    for _ in range(_PASSES):
        if drink.acid is not None:
            citric = acid_g_per_l_from_meq_per_l(_meq_per_l(drink.acid, drink.acid.value, mass), Acid.CITRIC)
        if not citric <= _MOST_ACID_G_PER_L:
            raise OutOfRangeError(
                f"{citric:.0f} g/L of acid is more than a drink has: check the unit (% is grams in 100 mL).", "/acid"
            )
        masses = {
            Component.WATER: water,
            Component.ETHANOL: ethanol,
            Component.SUCROSE: sugar_g,
            Component.CITRIC: citric,
        }
        volume, gradient = volume_and_gradient_ml(volume_sums(masses))
        step = (volume - 1000.0) / gradient[0]
        before, water = mass, water - step
        if sugar_g + citric > SUCROSE_MASS_FRACTION_MAX * (sugar_g + citric + water):
            raise OutOfRangeError(
                f"{sugar_g:.0f} g/L of sugar is more than a drink dissolves: check the serving and the sugar.",
                "/sugar_g",
            )
        mass = water + ethanol + sugar_g + citric
        if abs(step) < _CLOSE_G and abs(mass - before) < _CLOSE_G:
            break
    return {**masses, Component.WATER: water}


def _litre_of(drink: Remembered) -> dict[Component, float] | None:
    """The remembered drink's litre, all its sugar counted as sucrose; None where nothing says how sweet it was."""
    if drink.sugar_g is not None and drink.serving_ml is not None:
        return _filled(1000.0 * drink.sugar_g / drink.serving_ml, drink)
    if drink.brix is not None:
        return _litre_from_brix(drink, drink.brix)
    if drink.gravity is not None:
        return _litre_from_gravity(drink, drink.gravity)
    return None


def _litre_from_brix(drink: Remembered, brix: float) -> dict[Component, float]:
    sugar = 10.0 * brix
    for _ in range(_PASSES):
        litre = _filled(sugar, drink)
        mass, citric = sum(litre.values()), litre[Component.CITRIC]
        true = brix
        if drink.brix_is_refractometer_reading:
            true += BRIX_PER_CITRIC_PERCENT * 100.0 * citric / mass
        before, sugar = sugar, true / 100.0 * mass - citric
        if sugar < 0.0:
            raise InconsistentError(
                f"{brix:g} °Bx is less than the acid alone. Check the unit of the acid (% is grams in 100 mL).", "/acid"
            )
        if abs(sugar - before) < _CLOSE_G:
            break
    return _filled(sugar, drink)


def _litre_from_gravity(drink: Remembered, gravity: float) -> dict[Component, float]:
    wanted = 1000.0 * gravity * WATER_G_PER_ML

    def excess(sugar: float) -> float:
        return sum(_filled(sugar, drink).values()) - wanted

    if excess(0.0) > _CLOSE_G:
        raise InconsistentError(
            f"A gravity of {gravity:g} is less than the acid alone would read. Check the unit of the acid (% is grams "
            "in 100 mL), and whether the sample held no alcohol.",
            "/gravity",
        )
    return _filled(root_between(excess, 0.0, _MOST_SUGAR_G_PER_L) if excess(0.0) < 0.0 else 0.0, drink)


def _sugar_range(drink: Remembered, sugar: float, instruments: Instruments) -> tuple[float, str]:
    """Half the range of the target on sugar [g/L], and the target in the caller's words."""
    if drink.sugar_g is not None and drink.serving_ml is not None:
        half = 500.0 * label_step_g(drink.sugar_g) / drink.serving_ml
        return half, f"{drink.sugar_g:g} g sugar in {drink.serving_ml:.4g} mL"
    if drink.brix is not None:
        more = _litre_from_brix(drink, drink.brix + BRIX_ERROR)
        return more[Component.SUCROSE] - sugar, f"{drink.brix:g} °Bx of a flat sample"
    assert drink.gravity is not None
    more = _litre_from_gravity(drink, drink.gravity + instruments.hydrometer_error)
    return more[Component.SUCROSE] - sugar, f"gravity {drink.gravity:g} of a flat sample"


def _assumed(drink: Remembered) -> tuple[Assumed, ...]:
    found = []
    by_sample = drink.brix is not None or drink.gravity is not None
    if drink.sugar_g is not None:
        found.append(
            Assumed(
                "match: sugar of the label",
                f"rounded to {label_step_g(drink.sugar_g):g} g in a serving",
                "21 CFR 101.9(c) and guidance to Regulation (EU) No 1169/2011, from memory",
                "Brix or gravity of a flat sample without alcohol",
            )
        )
    if by_sample:
        acid = "the acid given" if drink.acid is not None else "none, its acid included"
        found.append(
            Assumed(
                "match: dissolved solids",
                f"all sugar but {acid}",
                "our default: salts, colour and thickeners are not counted",
                "the label's grams of sugar" + ("" if drink.acid is not None else ", and a titration"),
            )
        )
    if drink.brix is not None and drink.brix_is_refractometer_reading and drink.acid is not None:
        found.append(
            Assumed(
                "match: refractometer",
                "reads 0.2 °Bx low for each 1 % of citric acid",
                "Kimball, Citrus Processing (1991), Appendix A: citrus juice",
                "gravity of a flat sample",
            )
        )
    if drink.sugar_g is not None or by_sample:
        found.append(
            Assumed(
                "match: kinds of sugar",
                "gram for gram, whatever their sweetness",
                "our default",
                "the label's list of ingredients; or name the sweetness itself as a target",
            )
        )
    if drink.abv_percent == 0.0:
        found.append(Assumed("match: alcohol", "the remembered drink held none", "our default", "its label"))
    if drink.acid is not None:
        found.append(
            Assumed("match: end point of the acid", "pH 8.2", "our default", "a titration of a flat sample to pH 8.2")
        )
        if drink.acid.basis is AcidityBasis.G_PER_L and _PLAIN_PERCENT.search(drink.acid.text):
            found.append(
                Assumed(
                    "match: percent of acid",
                    "grams in 100 mL of drink",
                    "common practice, no source",
                    "write % w/w or g/L",
                )
            )
    if drink.juice_percent is not None:
        found.append(
            Assumed(
                "match: juice of the label",
                "a whole number not above the actual one, so up to 1 % more",
                "21 CFR 101.30",
                "the maker",
            )
        )
    return tuple(found)


def _warnings(drink: Remembered, acid_meq_per_l: float | None) -> tuple[str, ...]:
    found = []
    if drink.abv_percent == 0.0:
        found.append(ALCOHOL_AND_TASTE)
    sweet = drink.sugar_g is not None or drink.brix is not None or drink.gravity is not None
    if sweet != (drink.acid is not None):
        found.append(HOLD_BOTH)
    if drink.ph is not None:
        found.append(PH_IS_NO_TARGET)
        if acid_meq_per_l:
            citric = AcidState.of({WeakAcid.CITRIC: acid_meq_per_l / 3.0})
            if drink.ph < ph_of(citric, abv_percent=drink.abv_percent) - _PH_SLACK:
                found.append(PH_BELOW_ITS_ACID)
    return tuple(found)
