"""How a reading of a lot — Brix, moisture, refractive index, density, assay — scales the solids of its row."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

from service.catalogue.records import Category, Ingredient
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.physics import mixture
from service.physics.honey import moisture_percent_from_refractive_index, moisture_percent_from_sugar_scale
from service.physics.roots import root_between
from service.physics.solutes import Component

BRIX_SD = 0.2
"""Standard deviation of a maker's refractometer or hydrometer [°Bx], judged."""

HONEY_MOISTURE_SD_PERCENT = 0.3
"""Standard deviation of a honey refractometer [% water], judged."""

BRIX_PER_CITRIC_PERCENT = 0.2
"""A refractometer reads this much low per 1 % citric acid. Kimball, Citrus Processing (1991), Appendix A."""

_SOLIDS_MAX_G_PER_100G = 100.0 * mixture.SOLIDS_FRACTION_MAX

_LEAST_BRIX = 1.0
"""No juice is thinner; a figure below was told as a fraction (our own bound, judged)."""
HONEY_MOISTURE_PERCENT = (10.0, 30.0)
"""Beyond what honeys hold; moisture tables run from 13 to 25 % (the limits are judged)."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading that fixes the solids: what was read, the number, and how it was taken."""

    what: str
    value: float
    by_refractometer: bool = False
    temperature_c: float = 20.0

    @property
    def pointer(self) -> str:
        """Where in the lot's `measured` block the reading stands."""
        return f"/{self.what}"


@dataclass(frozen=True, slots=True)
class SolidsFactor:
    """Factor on the solids of the row, the standard deviation in °Bx that comes with it, and cautions."""

    factor: float
    brix_sd: float
    cautions: tuple[tuple[str, str], ...] = ()


def solids_factor(
    ingredient: Ingredient, reading: Reading, measured_ta_g_citric_per_100g: float | None
) -> SolidsFactor:
    """The factor f by which a reading scales everything but water.

    f = B′/B by Brix, (100 − W′)/(100 − W) by water, or the root of ρ(f) = ρ′ by density

    Parameters: ingredient; reading, of brix, moisture_percent, refractive_index, density or assay_percent;
        measured_ta_g_citric_per_100g, for the acid correction of a refractometer, else the row's is scaled [g/100 g].
    Returns: f [-], standard deviation [°Bx], cautions.
    Raises: InputError and OutOfRangeError where such an ingredient has no such reading.
    Validity: lots of the same kind, whose solids have the row's make-up.
    Source: mass balance. Acid correction of a refractometer +0.20 °Bx per 1 % citric: Kimball, Citrus Processing
        (1991), Appendix A (published 5 % → 0.97).

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(solids_factor(get_ingredient("orange_juice"), Reading("brix", 12.6), None).factor, 5)  # 12.6/11.5
    1.09565
    """
    what, value, pointer = reading.what, reading.value, reading.pointer
    if not isfinite(value) or value <= 0.0:
        raise OutOfRangeError(f"A reading of {what} is a number above 0, not {value}.", pointer)
    if what == "brix" and value < _LEAST_BRIX:
        raise OutOfRangeError(
            f"{value:.3g} °Bx is no juice and no syrup; a Brix is told in percent. Read it again.", pointer
        )
    if what == "brix" and ingredient.category is Category.HONEY and not reading.by_refractometer:
        _check_honey_brix(value, pointer)
    if ingredient.category in (Category.SPIRIT, Category.WATER):
        raise InputError(f"{ingredient.name} has no solids to measure; a spirit is described by its % vol.", pointer)
    solids_g = 100.0 - ingredient.grams(Component.WATER)
    honey = ingredient.category is Category.HONEY
    if what == "assay_percent":
        if ingredient.category not in (Category.ACID, Category.SALT):
            raise InputError("An assay belongs to an acid or a salt; for juices and syrups give Brix.", pointer)
        return SolidsFactor(_percent(value, reading) / solids_g, 0.0)
    if what == "refractive_index":
        if not honey:
            raise InputError("A refractive index is read as the moisture of honey; for the rest give Brix.", pointer)
        moisture = moisture_percent_from_refractive_index(value, reading.temperature_c)
        return SolidsFactor((100.0 - moisture) / solids_g, HONEY_MOISTURE_SD_PERCENT)
    if what == "brix" and reading.by_refractometer and honey:
        return SolidsFactor((100.0 - moisture_percent_from_sugar_scale(value)) / solids_g, HONEY_MOISTURE_SD_PERCENT)
    if what == "moisture_percent":
        if honey:
            _check_moisture(value, pointer)
        return SolidsFactor((100.0 - _percent(value, reading)) / solids_g, HONEY_MOISTURE_SD_PERCENT)
    if what == "density":
        return SolidsFactor(_factor_from_density(ingredient, reading), BRIX_SD)
    if ingredient.brix is None:
        raise InputError(f"{ingredient.name} has no Brix.", pointer)
    correction = _acid_correction_brix(ingredient, reading, measured_ta_g_citric_per_100g)
    cautions: tuple[tuple[str, str], ...] = ()
    if correction and not ingredient.is_citrus:
        text = (
            f"The reading was raised by {correction:.2f} °Bx for acid; that correction was published for citrus "
            "juice only."
        )
        cautions = (("acid_correction_from_citrus", text),)
    return SolidsFactor(_percent(value + correction, reading) / ingredient.brix.typical, BRIX_SD, cautions)


def _check_moisture(percent: float, pointer: str) -> None:
    """Refuse a moisture that no honey has; a Brix or a share was then meant."""
    low, high = HONEY_MOISTURE_PERCENT
    if low <= percent <= high:
        return
    hint = ""
    if 65.0 <= percent <= 90.0:
        hint = f" Is {percent:g} its Brix? Then give that as brix, and leave the moisture out."
    elif low <= 100.0 * percent <= high:
        hint = f" It is told in percent: did you mean {100.0 * percent:g}?"
    raise OutOfRangeError(f"No honey has {percent:g} % moisture; {low:g} to {high:g} % is read here.{hint}", pointer)


def _check_honey_brix(brix: float, pointer: str) -> None:
    """Refuse a Brix that leaves a honey more or less water than any has."""
    low, high = HONEY_MOISTURE_PERCENT
    if not low <= 100.0 - brix <= high:
        raise OutOfRangeError(
            f"No honey has {brix:g} °Bx; {100.0 - high:g} to {100.0 - low:g} is read here. If it is the moisture, give "
            "it as that.",
            pointer,
        )


def scaled_solids(composition: Mapping[Component, float], factor: float, pointer: str = "") -> dict[Component, float]:
    """A composition with everything but water multiplied by a factor, water making up the 100 g.

    W′ = 100 − f (100 − W)

    Parameters: composition [g/100 g]; factor f [-]; pointer, where the reading stands.
    Returns: composition [g/100 g].
    Raises: InconsistentError where no room is left for water.
    Source: mass balance.

    >>> scaled_solids({Component.WATER: 90.0, Component.SUCROSE: 10.0}, 2.0)
    {<Component.WATER: 'water'>: 80.0, <Component.SUCROSE: 'sucrose'>: 20.0}
    """
    water_g = 100.0 - factor * (100.0 - composition.get(Component.WATER, 0.0))
    if water_g < -1e-9:
        raise InconsistentError(
            f"This reading leaves {water_g:.1f} g of water in 100 g. Was the reading taken on another scale, "
            "or is this another ingredient?",
            pointer,
        )
    masses = {component: factor * mass for component, mass in composition.items()}
    masses[Component.WATER] = max(water_g, 0.0)
    return masses


def _percent(value: float, reading: Reading) -> float:
    if not 0.0 <= value <= 100.0:
        raise OutOfRangeError(
            f"A reading of {reading.what} lies between 0 and 100 %, not at {value:g}.", reading.pointer
        )
    return value


def _acid_correction_brix(ingredient: Ingredient, reading: Reading, measured_ta: float | None) -> float:
    if not reading.by_refractometer or ingredient.brix is None or ingredient.ta_g_citric_per_100g is None:
        return 0.0
    if measured_ta is not None:
        return BRIX_PER_CITRIC_PERCENT * measured_ta
    # the acid follows the solids: f B = reading + 0.2 f TA
    share = BRIX_PER_CITRIC_PERCENT * ingredient.ta_g_citric_per_100g.typical / ingredient.brix.typical
    return reading.value * share / (1.0 - share)


def _factor_from_density(ingredient: Ingredient, reading: Reading) -> float:
    if ingredient.bulk_solid:
        raise InputError(f"{ingredient.name} is a dry solid: no density of a solution describes it.", reading.pointer)
    top = _SOLIDS_MAX_G_PER_100G / (100.0 - ingredient.grams(Component.WATER))

    def density_g_ml(factor: float) -> float:
        return mixture.density_g_ml(scaled_solids(ingredient.composition, factor, reading.pointer))

    lightest, densest = density_g_ml(0.0), density_g_ml(top)
    if not lightest < reading.value < densest:
        raise OutOfRangeError(
            f"{ingredient.name} can be {lightest:.4f} to {densest:.3f} g/mL dense, not {reading.value:g}. "
            "Was it degassed, and is the density in g/mL?",
            reading.pointer,
        )
    return root_between(lambda factor: density_g_ml(factor) - reading.value, 0.0, top, tolerance=1e-14)
