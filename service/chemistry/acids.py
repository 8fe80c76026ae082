"""Titratable acidity in the units that makers, wineries and juice houses use: all of them are equivalents.

Acidity is titrated with base; what is measured is milliequivalents. "g/L as tartaric" is that number times the
weight of one equivalent of tartaric acid, whatever acids the drink really holds.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from service.errors import InputError
from service.physics.solutes import Component


class Acid(StrEnum):
    """An acid that an acidity can be expressed as."""

    TARTARIC = "tartaric"
    CITRIC = "citric"
    CITRIC_MONOHYDRATE = "citric_monohydrate"
    MALIC = "malic"
    LACTIC = "lactic"
    ACETIC = "acetic"
    SUCCINIC = "succinic"
    SULFURIC = "sulfuric"
    GLUCONIC = "gluconic"
    QUINIC = "quinic"


EQUIVALENT_WEIGHT_G_PER_EQ: Mapping[Acid, float] = MappingProxyType(
    {
        Acid.TARTARIC: 75.04,
        Acid.CITRIC: 64.04,
        Acid.CITRIC_MONOHYDRATE: 70.05,
        Acid.MALIC: 67.04,
        Acid.LACTIC: 90.08,
        Acid.ACETIC: 60.05,
        Acid.SUCCINIC: 59.04,
        Acid.SULFURIC: 49.04,
        Acid.GLUCONIC: 196.16,
        Acid.QUINIC: 192.17,
    }
)
"""Formula mass over the number of acid hydrogens [g/eq]. Formula arithmetic on the IUPAC standard atomic weights."""

ACID_OF_COMPONENT: Mapping[Component, Acid] = MappingProxyType(
    {
        Component.CITRIC: Acid.CITRIC,
        Component.MALIC: Acid.MALIC,
        Component.TARTARIC: Acid.TARTARIC,
        Component.LACTIC: Acid.LACTIC,
        Component.QUINIC: Acid.QUINIC,
        Component.GLUCONIC: Acid.GLUCONIC,
    }
)
"""The single acids of a composition. The acids of a ferment are known by titration only and are not here."""

TABLE_END_POINT_PH = 8.2
"""End point to which the titratable acidities of the catalogue hold. At pH 7.0 (OIV-MA-AS313-01) a drink rich in
citrate or phosphate reads 3 to 4 % lower (computed)."""


def meq_per_l_from_acid_g_per_l(acid_g_per_l: float, acid: Acid = Acid.TARTARIC) -> float:
    """Milliequivalents of an acidity that is expressed as some acid.

    c = 1000·γ/E

    Parameters: acid_g_per_l γ, scalar [g/L]; acid, what it is expressed as (E in g/eq).
    Returns: acidity, scalar [meq/L]; the same formula turns g/kg into meq/kg.
    Validity: any acidity.
    Source: formula masses, IUPAC standard atomic weights.

    Example: 1 g/L as tartaric is 13.33 meq/L (the factor of the OIV methods, from memory).

    >>> round(meq_per_l_from_acid_g_per_l(1.0, Acid.TARTARIC), 2)
    13.33
    """
    return 1000.0 * acid_g_per_l / EQUIVALENT_WEIGHT_G_PER_EQ[acid]


def acid_g_per_l_from_meq_per_l(acidity_meq_per_l: float, acid: Acid = Acid.TARTARIC) -> float:
    """An acidity expressed as grams of one acid per litre.

    γ = c·E/1000

    Parameters: acidity_meq_per_l c, scalar [meq/L]; acid, what to express it as.
    Returns: acidity, scalar [g/L].
    Validity: any acidity.
    Source: formula masses, IUPAC standard atomic weights.

    >>> round(acid_g_per_l_from_meq_per_l(100.0, Acid.CITRIC), 3)
    6.404
    """
    return acidity_meq_per_l * EQUIVALENT_WEIGHT_G_PER_EQ[acid] / 1000.0


def acid_from_acid(value: float, given_as: Acid, wanted_as: Acid) -> float:
    """The same acidity, expressed as another acid, in whatever unit it came.

    Parameters: value, scalar [g/L, g/kg or g/100 g]; given_as and wanted_as, acids.
    Returns: acidity, scalar [unit of `value`].
    Validity: any acidity; the end point stays what it was.
    Source: formula masses, IUPAC standard atomic weights.

    Example: tartaric × 0.653 is the sulfuric acid of French practice (from memory).

    >>> round(acid_from_acid(1.0, Acid.TARTARIC, Acid.SULFURIC), 2)
    0.65
    """
    return value * EQUIVALENT_WEIGHT_G_PER_EQ[wanted_as] / EQUIVALENT_WEIGHT_G_PER_EQ[given_as]


def meq_per_kg_from_citric_g_per_100g(citric_g_per_100g: float) -> float:
    """Milliequivalents per kilogram of an acidity in g of anhydrous citric acid per 100 g, the catalogue's unit.

    Parameters: citric_g_per_100g, scalar [g/100 g]; negative for a base.
    Returns: acidity, scalar [meq/kg].
    Validity: any acidity.
    Source: formula masses, IUPAC standard atomic weights; 1 g/100 g is 10 000/64.04 meq/kg.

    >>> round(meq_per_kg_from_citric_g_per_100g(1.0), 2)
    156.15
    """
    return 10_000.0 * citric_g_per_100g / EQUIVALENT_WEIGHT_G_PER_EQ[Acid.CITRIC]


def citric_g_per_100g_from_meq_per_kg(acidity_meq_per_kg: float) -> float:
    """Anhydrous citric acid that has an acidity, the inverse of `meq_per_kg_from_citric_g_per_100g`.

    Parameters: acidity_meq_per_kg, scalar [meq/kg].
    Returns: acidity as citric, scalar [g/100 g].
    Validity: any acidity.
    Source: formula masses, IUPAC standard atomic weights.

    Example: US honey holds 29.12 meq/kg of acid (White et al. 1962, n = 490).

    >>> round(citric_g_per_100g_from_meq_per_kg(29.12), 3)
    0.186
    """
    return acidity_meq_per_kg * EQUIVALENT_WEIGHT_G_PER_EQ[Acid.CITRIC] / 10_000.0


def acid_equivalents_meq(masses_g: Mapping[Component, float]) -> float:
    """Equivalents of the single acids of a composition, were none of them bound to a cation.

    Parameters: masses_g, component to mass [g].
    Returns: equivalents [meq]; an upper bound of titratable acidity, since cations have neutralised part of it.
    Raises: InputError where acids of a ferment are present: they are known by titration, not by weight.
    Source: formula masses, IUPAC standard atomic weights.

    >>> round(acid_equivalents_meq({Component.CITRIC: 1.0}), 2)
    15.62
    """
    if masses_g.get(Component.FERMENT_ACIDS, 0.0) > 0.0:
        raise InputError("The acids of a ferment are known by titration only: give its titratable acidity.")
    return sum(
        1000.0 * masses_g.get(component, 0.0) / EQUIVALENT_WEIGHT_G_PER_EQ[acid]
        for component, acid in ACID_OF_COMPONENT.items()
    )
