"""Food dyes in a glass: absorbance by the law of Beer and Lambert, and the published facts about two dyes.

    A(λ) = Σ E(λ)·c·l,   E for 1 g/100 mL and 1 cm, so that 1 mg/L counts 1e-4·E per cm

Only the wavelength of each dye's own maximum is on file: what another dye adds there is not counted, and neither is
the drink's own colour. No colour coordinates follow from a single wavelength.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.chemistry.checks import check_not_negative
from service.errors import InputError

G_PER_100ML_PER_MG_PER_L: Final = 1e-4
"""One milligram a litre is 0.0001 g in 100 mL."""

_MG_PER_ML_PER_PERCENT: Final = 10.0
"""One per cent weight in volume is 1 g in 100 mL, 10 mg/mL."""


@dataclass(frozen=True, slots=True)
class Absorptivity:
    """Absorbance of 1 g/100 mL in 1 cm at one wavelength [nm]."""

    wavelength_nm: float
    e_1_percent_1_cm: float


@dataclass(frozen=True, slots=True)
class Dye:
    """A dye with its absorptivities in water, its United States name and rule, and what is remembered of its intake.

    `least_total_colour_percent` is what the United States rule asks of the powder for sale.
    """

    id: str
    name: str
    e_number: str
    us_name: str
    absorptivities: tuple[Absorptivity, ...]
    least_total_colour_percent: float
    us_regulation: str
    us_source_id: str
    us_declared_by_name: bool
    intake_text: str


ABSORPTIVITY_SOURCE: Final = "eu_231_2012"
"""Of the two absorptivities: specifications of Regulation (EU) No 231/2012 and of JECFA, from memory, unverified."""

DYES: Final[Mapping[str, Dye]] = MappingProxyType(
    {
        dye.id: dye
        for dye in (
            Dye(
                "tartrazine",
                "Tartrazine",
                "E 102",
                "FD&C Yellow No. 5",
                (Absorptivity(426.0, 530.0),),
                87.0,
                "21 CFR 74.705",
                "cfr21_74_705",
                True,
                "acceptable daily intake 10 (JECFA) or 7.5 mg per kg of body weight (EFSA)",
            ),
            Dye(
                "brilliant_blue_fcf",
                "Brilliant Blue FCF",
                "E 133",
                "FD&C Blue No. 1",
                (Absorptivity(630.0, 1630.0),),
                85.0,
                "21 CFR 74.101",
                "cfr21_74_101",
                False,
                "acceptable daily intake 6 mg per kg of body weight",
            ),
        )
    }
)
"""Absorptivities and intakes from memory, unverified; total colour and declaration published: 21 CFR 74.705 and 74.101,
2015 annual edition."""

_OTHER_NAMES: Final = {
    "tartrazine": "tartrazine",
    "yellow5": "tartrazine",
    "fdcyellow5": "tartrazine",
    "fdcyellowno5": "tartrazine",
    "e102": "tartrazine",
    "brilliantbluefcf": "brilliant_blue_fcf",
    "brilliantblue": "brilliant_blue_fcf",
    "blue1": "brilliant_blue_fcf",
    "fdcblue1": "brilliant_blue_fcf",
    "fdcblueno1": "brilliant_blue_fcf",
    "e133": "brilliant_blue_fcf",
}

EU_GROUP_III_ALCOHOLIC_MG_PER_L: Final = 200.0
EU_GROUP_III_SOFT_MG_PER_L: Final = 100.0
"""Most of all colours of group III together: Regulation (EC) No 1333/2008, Annex II (from memory, unverified)."""


def dye_named(text: str) -> Dye | None:
    """The dye that a name stands for; None for any other colour.

    Parameters: text, as written by the caller.
    Returns: Dye or None.

    >>> dye_named("FD&C Yellow 5").id, dye_named("green drops")
    ('tartrazine', None)
    """
    key = _OTHER_NAMES.get(re.sub(r"[^a-z0-9]", "", text.lower()))
    return None if key is None else DYES[key]


def dye_mg_from_stock_ml(volume_ml: float, percent_w_v: float, total_colour_percent: float = 100.0) -> float:
    """Mass of dye in a volume of stock.

    m = 10 p V t/100

    Parameters: volume_ml [mL]; percent_w_v of the stock [g/100 mL]; total_colour_percent of the powder it was made
        from [g/100 g].
    Returns: mass of the dye itself [mg].
    Raises: InputError for negative figures.
    Source: definition of per cent weight in volume.

    Example: 0.2 mL of a stock of 1 % is 2 mg.

    >>> dye_mg_from_stock_ml(0.2, 1.0)
    2.0
    """
    check_not_negative(volume_ml, "The volume of a dye stock")
    check_not_negative(percent_w_v, "The strength of a dye stock")
    return _MG_PER_ML_PER_PERCENT * percent_w_v * volume_ml * total_colour_percent / 100.0


def absorbance(concentration_mg_per_l: float, absorptivity: Absorptivity, depth_cm: float = 1.0) -> float:
    """Absorbance of a dye in a clear drink.

    A = E·c·l

    Parameters: concentration_mg_per_l of the dye [mg/L]; absorptivity; depth_cm of drink [cm].
    Returns: absorbance, decadic [-].
    Raises: InputError for negative figures.
    Validity: clear drinks; haze scatters light. A dye in acid and alcohol may differ from the same in water.
    Source: law of Beer and Lambert; E as in DYES.

    Example: 9.4 mg/L of tartrazine in 1 cm (computed).

    >>> round(absorbance(9.4, DYES["tartrazine"].absorptivities[0]), 2)
    0.5
    """
    check_not_negative(concentration_mg_per_l, "A concentration of dye")
    check_not_negative(depth_cm, "A depth")
    return absorptivity.e_1_percent_1_cm * G_PER_100ML_PER_MG_PER_L * concentration_mg_per_l * depth_cm


def concentration_mg_per_l_from_absorbance(value: float, absorptivity: Absorptivity, depth_cm: float = 1.0) -> float:
    """The concentration that has an absorbance, the inverse of `absorbance`.

    c = A/(E·l)

    Parameters: value, absorbance [-]; absorptivity; depth_cm of drink [cm].
    Returns: concentration [mg/L].
    Raises: InputError for a negative absorbance, or no depth.
    Validity and source: as `absorbance`.

    Example: half an absorbance of Brilliant Blue FCF (computed).

    >>> round(concentration_mg_per_l_from_absorbance(0.5, DYES["brilliant_blue_fcf"].absorptivities[0]), 1)
    3.1
    """
    check_not_negative(value, "An absorbance")
    if depth_cm <= 0.0:
        raise InputError("A depth is larger than zero.")
    return value / (absorptivity.e_1_percent_1_cm * G_PER_100ML_PER_MG_PER_L * depth_cm)
