"""Sulfite: how much of it is free and molecular, and how much salt gives it.

Sulfur dioxide in a drink is bound (to acetaldehyde, sugars, keto acids) or free, and the free part splits by pH:

    SO2·H2O ⇌ H⁺ + HSO3⁻,    molecular = free/(1 + 10^(pH − pK))

It is above all the molecular form that stops microbes. The pK is a choice that moves a dose by 40 %, so it is named
with every answer (`PkBasis`): the trade's 1.81, with which its 0.5 and 0.8 mg/L were made (from memory, unverified),
is the default of a dose; the corrected ones show what the drink at its own strength and temperature would say. At
the strength of wine 1.81 asks for more than they do; in a weak or cold drink it asks for less (the corrected pK is
1.73 at 5 % vol and 10 °C, which needs a fifth more): whoever wants the careful side takes the lower pK.

Some people, those with asthma above all, react to sulfite, a few of them severely; its fumes hurt eyes and lungs,
more so from an acid drink. Weigh it, ventilate, declare it, and follow local law and licensed practice. A dose is an
estimate: part of it gets bound, by how much is not known beforehand, so measure free SO2 after one to three days.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

from service.chemistry.activity import davies_a, davies_f, pk_at
from service.chemistry.checks import check_not_negative, check_range, check_volume
from service.chemistry.tabulated import bilinear
from service.chemistry.weak_acids import DISSOCIATIONS, WeakAcid
from service.errors import InputError, OutOfRangeError

SO2_MOLAR_MASS_G_PER_MOL = 64.06
"""Formula mass of SO2, IUPAC standard atomic weights."""

METABISULFITE_MOLAR_MASS_G_PER_MOL = 222.32
"""Formula mass of K2S2O5, IUPAC standard atomic weights."""

METABISULFITE_SO2_SHARE = 2.0 * SO2_MOLAR_MASS_G_PER_MOL / METABISULFITE_MOLAR_MASS_G_PER_MOL
"""SO2 that pure potassium metabisulfite yields, 0.576 [g/g]: formula arithmetic."""

METABISULFITE_POTASSIUM_SHARE = 2.0 * 39.098 / METABISULFITE_MOLAR_MASS_G_PER_MOL
"""Potassium that it brings along, 0.352 [g/g]: formula arithmetic."""

BISULFITE_SO2_SHARE = 0.5330
"""SO2 of potassium bisulfite KHSO3 [g/g], counted on the salt in a solution. OIV COEI-1-POTBIS."""

DEFAULT_SO2_SHARE = 0.57
"""SO2 yield taken for a salt whose age is not known (our default; it falls from 0.57 to 0.50 as the salt ages:
common practice, no source). An old or open bag yields less: measure free SO2."""

SO2_PK_CONVENTION = 1.81
"""pK of the trade's tables, whatever the strength and temperature (common practice, no source)."""

MOLECULAR_TARGET_DRY_MG_PER_L = 0.5
MOLECULAR_TARGET_SWEET_MG_PER_L = 0.8
"""Molecular SO2 aimed at in a dry and in a sweet drink (common practice, no source; usually credited to Beech 1979,
from memory, unverified). Published beside it: 0.6–0.8 mg/L (Waterhouse, Sacks and Jeffery 2016, table 17.1)."""

MOLECULAR_IRRITATION_MG_PER_L = 2.0
"""Molecular SO2 at which the nose is irritated. Waterhouse, Sacks and Jeffery 2016, ch. 17, table 17.1."""

WINE_IONIC_STRENGTH_MOL_PER_L = 0.038
"""Ionic strength taken for wine. OIV-MA-AS323-04C. Honey ferments have 0.007 to 0.015 (computed), which raises the
pK by 0.02 to 0.04."""

OIV_TABLE_I_TEMPERATURES_C = (20.0, 25.0, 30.0, 35.0, 40.0)
OIV_TABLE_I_PK: Mapping[float, tuple[float, ...]] = MappingProxyType(
    {
        0.0: (1.798, 2.000, 2.219, 2.334, 2.493),
        5.0: (1.897, 2.098, 2.299, 2.397, 2.527),
        10.0: (1.997, 2.198, 2.394, 2.488, 2.606),
        15.0: (2.099, 2.301, 2.503, 2.607, 2.728),
    }
)
"""Thermodynamic pK by strength [% vol] and temperature [°C]. OIV-MA-AS323-04C, table I, rows to 15 % vol."""


class PkBasis(StrEnum):
    """Where the pK of a molecular SO2 comes from."""

    CONVENTION = "convention"
    THERMO = "thermo"
    OIV = "oiv"


PK_SOURCE_KEYS: Mapping[PkBasis, str] = MappingProxyType(
    {PkBasis.CONVENTION: "common_practice", PkBasis.THERMO: "goldberg_parker_1985", PkBasis.OIV: "oiv_as323_04c"}
)
"""Bibliography key of each basis."""


def _check_ph(ph: float) -> None:
    check_range(ph, 2.0, 5.0, "A pH", "Above it sulfite ions count too; was the meter calibrated?")


def oiv_thermodynamic_pk(temperature_c: float, abv_percent: float) -> float:
    """Thermodynamic pK of SO2 in the published table, between its points by straight lines.

    Parameters: temperature_c, scalar [°C]; abv_percent, scalar [% vol].
    Returns: pK at no ionic strength, scalar [-].
    Raises: OutOfRangeError outside 20–40 °C and 0–15 % vol; nothing is extrapolated.
    Validity: the table. From 20 to 25 °C it rises by 0.20 where the accepted enthalpy gives 0.05, so that warm it
    predicts more molecular SO2 and asks for a smaller dose: the less careful side.
    Source: OIV-MA-AS323-04C, table I.

    >>> oiv_thermodynamic_pk(20.0, 10.0)
    1.997
    """
    advice = "The OIV table ends there: take the basis 'thermo' or 'convention'."
    check_range(temperature_c, 20.0, 40.0, "A temperature in °C", advice)
    check_range(abv_percent, 0.0, 15.0, "A strength in % vol", advice)
    return bilinear(OIV_TABLE_I_PK, OIV_TABLE_I_TEMPERATURES_C, abv_percent, temperature_c)


def so2_pk(
    basis: PkBasis,
    temperature_c: float,
    abv_percent: float,
    ionic_mol_per_l: float = WINE_IONIC_STRENGTH_MOL_PER_L,
) -> float:
    """The pK to use with a measured pH: mixed, of the activity of H⁺ and the concentrations of the two SO2 forms.

    convention: 1.81; otherwise pK = pK_T − A(t, abv)·f(I), with A and f of Davies and pK_T of the basis:

    thermo: 1.857 at 25 °C, with ΔH −17.8 kJ/mol and ΔC −272 J/mol/K (`pk_at`), and 0.020 more per % vol;
    oiv: the published table I. OIV corrects its thermodynamic pK for the ionic strength too, with coefficients that
    were not read. What is subtracted here is that of Davies: HSO3⁻ is the one dissolved species of the step whose
    activity a pH meter does not already take into account. At ionic strength 0 the table itself comes back.

    Parameters: basis; temperature_c t, scalar [°C]; abv_percent, scalar [% vol]; ionic_mol_per_l I, scalar [mol/L].
    Returns: mixed pK, scalar [-].
    Raises: OutOfRangeError outside the ranges below.
    Validity: thermo 0–40 °C, 0–20 % vol; oiv 20–40 °C, 0–15 % vol; ionic strength 0–0.5 mol/L. Convention: anywhere.
    Source: Goldberg and Parker 1985; OIV-MA-AS323-04C, table I; Davies equation (its constants from memory).

    Example: 1.96 at 12 % vol and 20 °C (computed), where the trade takes 1.81.

    >>> round(so2_pk(PkBasis.THERMO, 20.0, 12.0), 2)
    1.96
    """
    if basis is PkBasis.CONVENTION:
        return SO2_PK_CONVENTION
    check_range(ionic_mol_per_l, 0.0, 0.5, "An ionic strength in mol/L", "The Davies equation ends there.")
    if basis is PkBasis.OIV:
        thermodynamic = oiv_thermodynamic_pk(temperature_c, abv_percent)
    else:
        check_range(temperature_c, 0.0, 40.0, "A temperature in °C", "Let the drink come to cellar temperature.")
        check_range(abv_percent, 0.0, 20.0, "A strength in % vol", "Take the basis 'convention' for spirits.")
        sulfurous = DISSOCIATIONS[WeakAcid.SULFUROUS]
        step = sulfurous.steps[0]
        at_no_ethanol = pk_at(temperature_c, step.pk_25c, step.enthalpy_kj_per_mol, step.heat_capacity_j_per_mol_k)
        thermodynamic = at_no_ethanol + sulfurous.pk_per_abv_percent * abv_percent
    return thermodynamic - davies_a(temperature_c, abv_percent) * davies_f(ionic_mol_per_l)


def molecular_so2_mg_per_l(free_so2_mg_per_l: float, ph: float, pk: float) -> float:
    """Molecular SO2 of a drink from its free SO2.

    molecular = free/(1 + 10^(pH − pK))

    Parameters: free_so2_mg_per_l, scalar [mg/L]; ph, scalar [-]; pk of `so2_pk`, scalar [-].
    Returns: molecular SO2, scalar [mg/L].
    Raises: InputError for a negative amount; OutOfRangeError outside pH 2–5.
    Validity: pH 2–5; above, the second step (pK 7.2) takes more than about 1 % of the free SO2.
    Source: mass action of SO2·H2O ⇌ H⁺ + HSO3⁻.

    Example: 31.9 mg/L free hold 0.8 mg/L at pH 3.4 by the convention (computed).

    >>> round(molecular_so2_mg_per_l(31.9, 3.4, SO2_PK_CONVENTION), 2)
    0.8
    """
    check_not_negative(free_so2_mg_per_l, "Free SO2")
    _check_ph(ph)
    share: float = 1.0 / (1.0 + 10.0 ** (ph - pk))
    return free_so2_mg_per_l * share


def free_so2_for_molecular_mg_per_l(molecular_mg_per_l: float, ph: float, pk: float) -> float:
    """Free SO2 that holds a molecular target: the inverse of `molecular_so2_mg_per_l`.

    free = molecular·(1 + 10^(pH − pK))

    Parameters: molecular_mg_per_l, scalar [mg/L]; ph after all other additions, potassium sorbate among them,
    scalar [-]; pk of `so2_pk`, scalar [-].
    Returns: free SO2, scalar [mg/L].
    Raises: InputError for a negative amount; OutOfRangeError outside pH 2–5.
    Validity: pH 2–5. Above about pH 3.8 the doses grow large: bring the pH down first.
    Source: mass action of SO2·H2O ⇌ H⁺ + HSO3⁻.

    >>> round(free_so2_for_molecular_mg_per_l(0.8, 3.4, SO2_PK_CONVENTION), 1)  # computed
    31.9
    """
    check_not_negative(molecular_mg_per_l, "Molecular SO2")
    _check_ph(ph)
    times: float = 1.0 + 10.0 ** (ph - pk)
    return molecular_mg_per_l * times


def _check_so2_share(so2_share: float) -> None:
    if not 0.0 < so2_share <= METABISULFITE_SO2_SHARE + 1e-9:
        raise InputError(
            f"A salt that yields {so2_share:g} of its mass as SO2 is not potassium metabisulfite: pure salt yields "
            f"{METABISULFITE_SO2_SHARE:.3f}. Give the share as a number between 0 and that."
        )


def metabisulfite_g(so2_mg_per_l: float, volume_l: float, so2_share: float = DEFAULT_SO2_SHARE) -> float:
    """Potassium metabisulfite that adds so much SO2, free and bound together.

    m = c·V/(1000·w)

    Parameters: so2_mg_per_l c to add, scalar [mg/L]; volume_l V, scalar [L]; so2_share w, SO2 yield of the salt [g/g].
    Returns: salt, scalar [g].
    Raises: InputError for negative amounts or a yield above the pure salt's.
    Validity: fresh, dry salt yields 0.57; salt that has stood open yields less (see `DEFAULT_SO2_SHARE`).
    Source: formula masses, IUPAC standard atomic weights.

    Example: 57.6 mg/L of SO2 need 0.1 g/L of pure salt (formula arithmetic).

    >>> round(metabisulfite_g(57.63, 20.0, METABISULFITE_SO2_SHARE), 3)
    2.0
    """
    check_not_negative(so2_mg_per_l, "The SO2 to add")
    check_not_negative(volume_l, "The volume")
    _check_so2_share(so2_share)
    return so2_mg_per_l * volume_l / (1000.0 * so2_share)


def so2_mg_per_l_from_metabisulfite(mass_g: float, volume_l: float, so2_share: float = DEFAULT_SO2_SHARE) -> float:
    """SO2 that a mass of potassium metabisulfite adds: the inverse of `metabisulfite_g`.

    c = 1000·w·m/V

    Parameters: mass_g m, scalar [g]; volume_l V, scalar [L]; so2_share w [g/g].
    Returns: SO2 added, free and bound together, scalar [mg/L].
    Raises: InputError for a negative mass, no volume, or a yield above the pure salt's.
    Validity: as `metabisulfite_g`.
    Source: formula masses, IUPAC standard atomic weights.

    >>> round(so2_mg_per_l_from_metabisulfite(2.0, 20.0, METABISULFITE_SO2_SHARE), 1)  # formula arithmetic
    57.6
    """
    check_not_negative(mass_g, "The mass of salt")
    check_volume(volume_l)
    _check_so2_share(so2_share)
    return 1000.0 * so2_share * mass_g / volume_l


def total_addition_for_free(free_wanted_mg_per_l: float, free_now_mg_per_l: float, bound_share: float) -> float:
    """SO2 to add so that the free part arrives where it is wanted, when a share of the addition is bound.

    a = max(0, wanted − now)/(1 − b)

    Parameters: free_wanted_mg_per_l and free_now_mg_per_l, scalars [mg/L]; bound_share b of the addition [-].
    Returns: SO2 to add, scalar [mg/L]; it all counts in total SO2. Zero where there is enough already.
    Raises: InputError for negative amounts; OutOfRangeError for a share outside 0–0.9.
    Validity: 0.3–0.5 is common practice, no source. The share is a guess: measure free SO2 after one to three days.
    Source: balance of the addition. Acetaldehyde alone binds 1.45 mg of SO2 per mg (formula arithmetic, 1:1 by mole).

    >>> total_addition_for_free(40.0, 10.0, 0.4)
    50.0
    """
    check_not_negative(free_wanted_mg_per_l, "The free SO2 wanted")
    check_not_negative(free_now_mg_per_l, "The free SO2 already there")
    if not 0.0 <= bound_share < 0.9:
        raise OutOfRangeError(
            f"A bound share of {bound_share:g} lies outside 0–0.9. Give the part of the addition that gets bound; if "
            "nearly all of it is, look for what binds it before adding more."
        )
    return max(0.0, free_wanted_mg_per_l - free_now_mg_per_l) / (1.0 - bound_share)
