"""The weak acids of a drink: their dissociation constants, each with its source.

pK at 25 °C and no ionic strength, enthalpy ΔH [kJ/mol] and heat capacity ΔC [J/mol/K] of each dissociation. ΔC other
than malic acid's are from memory (after Goldberg, Kishore and Lennen, J. Phys. Chem. Ref. Data 31 (2002) 231): they
move pK by less than 0.01 between 5 and 35 °C. Ethanol raises every carboxylic pK by about 0.0142 for each % vol
(lactic and succinic acid in Prenesti et al. 2012, table 4; taken over for the others) and sulfurous acid's by 0.020
(OIV-MA-AS323-04C, table I).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType


class WeakAcid(StrEnum):
    """A weak acid that takes part in the balance of charges."""

    CITRIC = "citric"
    MALIC = "malic"
    TARTARIC = "tartaric"
    LACTIC = "lactic"
    GLUCONIC = "gluconic"
    SUCCINIC = "succinic"
    ACETIC = "acetic"
    PHOSPHORIC = "phosphoric"
    CARBONIC = "carbonic"
    SORBIC = "sorbic"
    SULFUROUS = "sulfurous"
    ASCORBIC = "ascorbic"
    QUINIC = "quinic"
    GENERIC = "generic"
    PHTHALIC = "phthalic"


@dataclass(frozen=True, slots=True)
class Step:
    """One dissociation: pK at 25 °C, ΔH [kJ/mol], ΔC [J/mol/K]."""

    pk_25c: float
    enthalpy_kj_per_mol: float = 0.0
    heat_capacity_j_per_mol_k: float = 0.0


@dataclass(frozen=True, slots=True)
class Dissociation:
    """An acid that loses its hydrogens one after the other."""

    molar_mass_g_per_mol: float
    steps: tuple[Step, ...]
    pk_per_abv_percent: float
    source: str
    mark: str


CARBOXYLIC_PK_PER_ABV_PERCENT = 0.0142
"""0.17 in 12 % vol, from lactate and succinate (Prenesti, Berto, Toso, Daniele, Sci. World J. 2012, 249041, table 4).
Published for those two, whose columns were read by their footnotes; plausible 0.009 to 0.015; judged for the rest."""

SULFUROUS_PK_PER_ABV_PERCENT = 0.020
"""OIV-MA-AS323-04C, table I: 0.100 in 5 % vol at 20 °C (published)."""

_NO_ALCOHOL_DATA = 0.0

DISSOCIATIONS: Mapping[WeakAcid, Dissociation] = MappingProxyType(
    {
        WeakAcid.CITRIC: Dissociation(
            192.124,
            (Step(3.128, 4.06, -131.0), Step(4.761, 2.05, -178.0), Step(6.396, -3.35, -254.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "minteq_v4",
            "published",
        ),
        WeakAcid.MALIC: Dissociation(
            134.087,
            (Step(3.459, 2.93, -155.0), Step(5.097, -1.21, -215.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "iupac_pka",
            "published; ΔH and ΔC fitted to its values from 0 to 50 °C within 0.004",
        ),
        WeakAcid.TARTARIC: Dissociation(
            150.087,
            (Step(3.036, 2.93, -147.0), Step(4.366, 0.75, -218.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "minteq_v4",
            "published",
        ),
        WeakAcid.LACTIC: Dissociation(
            90.078,
            (Step(3.86, -0.33, -150.0),),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "prenesti_2012",
            "from memory; Prenesti's 3.70 and 3.66 at 0.05 and 0.1 mol/L extrapolate to 3.87",
        ),
        WeakAcid.GLUCONIC: Dissociation(
            196.155,
            (Step(3.86),),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "thermochimie",
            "from memory, ± 0.1; published 3.90 at 25 °C, and 3.76 at 17 °C in the IUPAC set",
        ),
        WeakAcid.SUCCINIC: Dissociation(
            118.088,
            (Step(4.206, 3.0, -121.0), Step(5.639, -0.5, -217.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "iupac_pka",
            "published; ΔH from memory",
        ),
        WeakAcid.ACETIC: Dissociation(
            60.052, (Step(4.757, -0.41, -142.0),), CARBOXYLIC_PK_PER_ABV_PERCENT, "minteq_v4", "published"
        ),
        WeakAcid.PHOSPHORIC: Dissociation(
            97.995,
            (Step(2.148, -7.9, -141.0), Step(7.198, 3.0, -230.0), Step(12.375, 15.0, -242.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "minteq_v4",
            "published; the ethanol slope is the carboxylic one (judged)",
        ),
        WeakAcid.CARBONIC: Dissociation(
            44.009,
            (Step(6.352, 9.16, -371.0), Step(10.329, 14.6, -249.0)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "minteq_v4",
            "published; all dissolved CO2; the ethanol slope is the carboxylic one (judged)",
        ),
        WeakAcid.SORBIC: Dissociation(
            112.127,
            (Step(4.76),),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "memory_handbook",
            "from memory; the IUPAC set's 4.51 at 0.1 mol/L is 4.62 at none; real spread 4.62 to 4.77",
        ),
        WeakAcid.SULFUROUS: Dissociation(
            64.064,
            (Step(1.857, -17.8, -272.0), Step(7.172, -3.67, -262.0)),
            SULFUROUS_PK_PER_ABV_PERCENT,
            "thermochimie",
            "published (Goldberg and Parker 1985)",
        ),
        WeakAcid.ASCORBIC: Dissociation(
            176.124,
            (Step(4.2), Step(11.6)),
            CARBOXYLIC_PK_PER_ABV_PERCENT,
            "iupac_pka",
            "published 4.04 at 0.1 mol/L, which is 4.25 at none, ± 0.1; the second from memory",
        ),
        WeakAcid.QUINIC: Dissociation(
            192.17, (Step(3.46),), CARBOXYLIC_PK_PER_ABV_PERCENT, "memory_handbook", "from memory, 3.4 to 3.6"
        ),
        WeakAcid.GENERIC: Dissociation(
            100.0, (Step(4.2),), CARBOXYLIC_PK_PER_ABV_PERCENT, "our_default", "stands for acids of unknown kind"
        ),
        WeakAcid.PHTHALIC: Dissociation(
            166.13,
            (Step(2.950, -2.7, -91.0), Step(5.408, -2.2, -295.0)),
            _NO_ALCOHOL_DATA,
            "minteq_v4",
            "published; in no drink: the standard that pH meters are checked with",
        ),
    }
)
"""minteq_v4 is the database of that name, which cites NIST 46; thermochimie the ThermoChimie database v12a."""

WATER = Dissociation(18.015, (Step(13.997, 55.81, -224.0),), 0.01, "minteq_v4", "published; ethanol slope from memory")
"""pKw, the ionic product of water."""

ACIDS: tuple[WeakAcid, ...] = tuple(WeakAcid)
"""The order in which vectors of acids stand."""
