"""An ingredient that the caller describes: a composition that adds up to 100 g, checked like a row of the table."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from math import isfinite
from types import MappingProxyType

from service.catalogue.loader import CLOSURE_TOLERANCE_G
from service.catalogue.records import Category, FruitFamily, Ingredient, JuiceBasis, Minerals, Provenance, Spread
from service.chemistry.acids import acid_equivalents_meq, citric_g_per_100g_from_meq_per_kg
from service.chemistry.energy import energy_kcal
from service.errors import InputError, OutOfRangeError
from service.physics.mixture import SOLIDS_FRACTION_MAX
from service.physics.solutes import Component

GIVEN = Provenance((), "given by the caller")
"""Provenance of a figure that came with the request."""

_FREE_ACIDS = Provenance((), "derived: the given acids, none of them taken as bound to a cation")


def ingredient_from_composition(
    name: str,
    composition_g_per_100g: Mapping[str, float],
    *,
    ta_g_citric_per_100g: float | None = None,
    ph: float | None = None,
    potassium_mg_per_100g: float | None = None,
    phosphorus_mg_per_100g: float | None = None,
    acid_profile: str = "generic",
    juice_share_percent: float = 0.0,
    fruit_family: FruitFamily = FruitFamily.NONE,
) -> Ingredient:
    """An ingredient from its composition.

    Parameters: name, text; composition_g_per_100g, names of `Component` to mass [g/100 g], where water may be left
        out and is then the rest; ta_g_citric_per_100g, titratable acidity to pH 8.2 as anhydrous citric acid
        [g/100 g], if None the given acids as if all of them were free; ph, of the undiluted ingredient;
        potassium_mg_per_100g and phosphorus_mg_per_100g [mg/100 g]; acid_profile, for the charge balance where no
        single acids are given; juice_share_percent, declared by the package for the ingredient as it is [%].
    Returns: a record of category `custom`; a dry solid (over 90 % solids) takes no volumes.
    Raises: InputError and OutOfRangeError for unknown names, negative masses and sums other than 100 g.
    Validity: as `service.physics.mixture`.
    Source: the caller's.

    >>> syrup = ingredient_from_composition("Simple syrup", {"sucrose": 50.0})
    >>> syrup.id, syrup.grams(Component.WATER), syrup.brix.typical
    ('custom_simple_syrup', 50.0, 50.0)
    """
    slug = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    if not slug:
        raise InputError("Give the ingredient a name with a letter or digit in it.", "/name")
    masses = _closed_composition(name, composition_g_per_100g)
    water, ethanol = masses.get(Component.WATER, 0.0), masses.get(Component.ETHANOL, 0.0)
    dry = 100.0 - water - ethanol
    for what, value in (("ta_g_citric_per_100g", ta_g_citric_per_100g), ("juice_share_percent", juice_share_percent)):
        if value is not None and not 0.0 <= value <= 100.0:
            raise OutOfRangeError(f"{what} lies between 0 and 100, not at {value:g}.", f"/{what}")
    if ph is not None and not 0.0 < ph < 14.0:
        raise OutOfRangeError(f"pH lies between 0 and 14, not at {ph:g}.", "/ph")
    acid = GIVEN
    if ta_g_citric_per_100g is None:
        free_meq = acid_equivalents_meq(masses)
        if free_meq > 0.0:
            ta_g_citric_per_100g, acid = citric_g_per_100g_from_meq_per_kg(10.0 * free_meq), _FREE_ACIDS
    solids = dry - masses.get(Component.FAT, 0.0)
    return Ingredient(
        id=f"custom_{slug}",
        name=name,
        category=Category.CUSTOM,
        composition=MappingProxyType(masses),
        ta_g_citric_per_100g=None if ta_g_citric_per_100g is None else Spread(ta_g_citric_per_100g),
        ph=None if ph is None else Spread(ph),
        brix=Spread(solids) if ethanol == 0.0 and solids > 0.0 else None,
        minerals=Minerals(potassium_mg_per_100g=potassium_mg_per_100g, phosphorus_mg_per_100g=phosphorus_mg_per_100g),
        energy_kcal_per_100g=energy_kcal(masses),
        juice_basis=JuiceBasis.DECLARED if juice_share_percent > 0.0 else JuiceBasis.NONE,
        juice_share_percent=juice_share_percent,
        fruit_family=fruit_family,
        acid_profile=acid_profile,
        ph_sample_mass_fraction=1.0,
        bulk_solid=dry > 100.0 * SOLIDS_FRACTION_MAX,
        provenance=MappingProxyType({"composition": GIVEN, "acid": acid}),
    )


def _closed_composition(name: str, given_g_per_100g: Mapping[str, float]) -> dict[Component, float]:
    known = [component.value for component in Component]
    masses: dict[Component, float] = {}
    for key, mass in given_g_per_100g.items():
        pointer = f"/composition/{key.replace('~', '~0').replace('/', '~1')}"
        if key not in known:
            close = difflib.get_close_matches(key, known, n=3, cutoff=0.5)
            hint = f"Close to it: {', '.join(close)}." if close else f"Known are: {', '.join(known)}."
            raise InputError(f"“{key}” is no component of a composition. {hint}", pointer)
        if not isfinite(mass) or mass < 0.0:
            raise OutOfRangeError(f"The mass of {key} in 100 g is not negative, but {mass:g} was given.", pointer)
        if mass > 0.0:
            masses[Component(key)] = mass
    total = sum(masses.values())
    if total > 100.0 + CLOSURE_TOLERANCE_G:
        raise InputError(
            f"The components of {name} add up to {total:.3f} g in 100 g: they cannot exceed 100.", "/composition"
        )
    if Component.WATER.value not in given_g_per_100g:
        rest = 100.0 - total
        if rest > CLOSURE_TOLERANCE_G:
            masses[Component.WATER] = rest
    elif total < 100.0 - CLOSURE_TOLERANCE_G:
        raise InputError(
            f"The components of {name} add up to {total:.3f} g in 100 g: name the missing {100.0 - total:.3f} g (as "
            f"{Component.OTHER_SOLIDS.value}, if nothing else is known), or leave water out to have it fill the rest.",
            "/composition",
        )
    return masses
