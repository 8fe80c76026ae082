"""Nitrogen that yeast can take up: what a must needs, what salts bring, and what regulations allow.

A must of honey holds next to nothing that yeast can build itself from. What it needs goes by the sugar that is to be
fermented; what ammonium phosphates bring follows from their formulas. The demand of a strain is the weak figure: the
three trade classes have no primary source that was found, the measured optimum below is of four strains in one medium.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from service.errors import InconsistentError, OutOfRangeError

NITROGEN_G_PER_MOL: Final = 14.007
DIAMMONIUM_PHOSPHATE_G_PER_MOL: Final = 132.06
MONOAMMONIUM_PHOSPHATE_G_PER_MOL: Final = 115.03
"""Molar masses of (NH₄)₂HPO₄ and NH₄H₂PO₄, IUPAC standard atomic weights."""

DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE: Final = 2.0 * NITROGEN_G_PER_MOL / DIAMMONIUM_PHOSPHATE_G_PER_MOL
MONOAMMONIUM_PHOSPHATE_NITROGEN_SHARE: Final = NITROGEN_G_PER_MOL / MONOAMMONIUM_PHOSPHATE_G_PER_MOL
AUTOLYSED_YEAST_NITROGEN_SHARE: Final = 0.045
"""Nitrogen that yeast can take up from autolysed yeast [g/g]; 4 to 5 % from memory, unverified."""

DEMAND_MG_N_PER_G: Final[Mapping[str, float]] = MappingProxyType({"low": 0.75, "medium": 0.90, "high": 1.25})
"""Nitrogen per gram of fermentable sugar by the class of the strain [mg/g]: from memory, unverified; the classes after
Julien, Roustan, Dulau and Sablayrolles, Am. J. Enol. Vitic. 51 (2000) 215."""

MEASURED_OPTIMUM_MG_N_PER_G: Final = (0.62, 0.91)
"""Measured optimum of four wine strains in a synthetic must of much sugar [mg/g]: Taillandier et al., Food
Microbiology 24 (2007), abstract."""

HONEY_MUST_YAN_MG_N_PER_L: Final = (0.0, 15.0)
"""Nitrogen that yeast can take up in a must of honey and water [mg/L] (our default): proline, most of honey's amino
acids, is not used without air (from memory, unverified)."""

EXCESS_MG_N_PER_L: Final = 50.0
"""More than the need by so much is worth a warning [mg/L] (our default)."""

G_PER_L_PER_LB_PER_1000_GAL: Final = 453.59237 / 3785.411784
"""1 lb in 1000 US gal [g/L]: 0.119826 (NIST Handbook 44, Appendix C)."""

US_PHOSPHATE_LIMIT_G_PER_L: Final = 8.0 * G_PER_L_PER_LB_PER_1000_GAL
"""Mono- and diammonium phosphate together, 27 CFR 24.246, 2015 edition: 8 lb in 1000 gal. Check the current text."""

US_THIAMINE_LIMIT_MG_PER_L: Final = 0.005 * G_PER_L_PER_LB_PER_1000_GAL * 1000.0
"""Thiamine hydrochloride, 27 CFR 24.246, 2015 edition: 0.005 lb in 1000 gal, as printed."""

US_YEAST_WALLS_LIMIT_G_PER_L: Final = 3.0 * G_PER_L_PER_LB_PER_1000_GAL
"""Yeast cell walls, 27 CFR 24.246, 2015 edition: 3 lb in 1000 gal."""

EU_DIAMMONIUM_PHOSPHATE_LIMIT_G_PER_L: Final = 1.0
"""Diammonium phosphate in the EU and the OIV [g/L]: from memory, unverified."""

PHOSPHATE_CAP_G_PER_L: Final = 1e-4 * int(1e4 * min(US_PHOSPHATE_LIMIT_G_PER_L, EU_DIAMMONIUM_PHOSPHATE_LIMIT_G_PER_L))
"""The lower of the two limits, rounded down to 0.1 mg/L: what is proposed goes no further [g/L]."""

MOST_NITROGEN_SHARE: Final = 0.213
"""No food-grade ammonium phosphate holds more nitrogen than 21.2 % by the formula of the diammonium salt [g/g]."""

LEAST_NITROGEN_SHARE: Final = 0.005
"""What holds less is no source of nitrogen [g/g] (our default)."""

_NO_FOOD: Final = re.compile(
    r"\b(?:fertili[sz]\w*|lawns?|gardens?|gardening|plant foods?|urea\w*|ammonia|\w*nitrates?|saltpet(?:er|re))\b"
)
"""Words of things that are sold for plants or for cleaning, and of nitrogen that no drink is fed with."""

_MOST_DEMAND_MG_PER_G = 3.0
_MOST_SUGAR_G_PER_L = 600.0


@dataclass(frozen=True, slots=True)
class Salt:
    """A source of nitrogen known by its formula or its kind: nitrogen share [g/g], and whether it is a phosphate."""

    name: str
    nitrogen_share: float
    phosphate: bool
    mark: str


SALTS: Final[Mapping[str, Salt]] = MappingProxyType(
    {
        "diammonium phosphate": Salt(
            "diammonium phosphate", DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE, True, "computed from (NH4)2HPO4"
        ),
        "monoammonium phosphate": Salt(
            "monoammonium phosphate", MONOAMMONIUM_PHOSPHATE_NITROGEN_SHARE, True, "computed from NH4H2PO4"
        ),
        "autolysed yeast": Salt(
            "autolysed yeast", AUTOLYSED_YEAST_NITROGEN_SHARE, False, "4 to 5 % from memory, unverified"
        ),
    }
)
"""What a name alone tells."""

_SHORT: Final = {
    "dap": "diammonium phosphate",
    "diammonium hydrogen phosphate": "diammonium phosphate",
    "map": "monoammonium phosphate",
    "monoammonium dihydrogen phosphate": "monoammonium phosphate",
    "autolyzed yeast": "autolysed yeast",
    "yeast autolysate": "autolysed yeast",
}


def salt_called(name: str) -> Salt | None:
    """The source of nitrogen that goes by a name; None for a name that says nothing of what is in it.

    >>> salt_called("DAP").name, salt_called("meadow mix") is None
    ('diammonium phosphate', True)
    """
    key = " ".join(name.casefold().replace("-", " ").split())
    return SALTS.get(_SHORT.get(key, key))


def is_no_food(name: str) -> bool:
    """Whether a name says that a source of nitrogen is not for drinks: fertiliser, urea, nitrate, ammonia.

    >>> is_no_food("garden fertiliser"), is_no_food("Lawn-Food 46"), is_no_food("yeast nutrient")
    (True, True, False)
    """
    return _NO_FOOD.search(" ".join(re.split(r"[\W_]+", name.casefold()))) is not None


def nitrogen_needed_mg_per_l(
    demand_mg_n_per_g: float, fermentable_sugar_g_per_l: float, must_yan_mg_n_per_l: float = 0.0
) -> float:
    """Nitrogen that a must lacks.

    N = max(d·S − N₀, 0)

    Parameters: demand_mg_n_per_g of the strain, scalar [mg N per g of sugar]; fermentable_sugar_g_per_l, scalar [g/L];
        must_yan_mg_n_per_l that is there already, scalar [mg N/L].
    Returns: nitrogen to add, scalar [mg/L].
    Raises: OutOfRangeError for a demand above 3 mg/g, sugar above 600 g/L, or anything below 0.
    Validity: the demand is the weak figure; a ferment that lacks nitrogen slows, and more of it promises no end.
    Source: trade practice; classes of demand from memory (Julien et al. 2000).

    Example: 0.9 mg/g and 125 g/L ask for 112 mg/L (computed).

    >>> round(nitrogen_needed_mg_per_l(0.9, 125.0), 1)
    112.5
    """
    if not 0.0 <= demand_mg_n_per_g <= _MOST_DEMAND_MG_PER_G:
        raise OutOfRangeError(
            f"Yeast asks for 0.5 to 1.5 mg of nitrogen per gram of sugar, not for {demand_mg_n_per_g:g}: check it."
        )
    if not 0.0 <= fermentable_sugar_g_per_l <= _MOST_SUGAR_G_PER_L:
        raise OutOfRangeError(f"A must holds 0 to 600 g/L of sugar, not {fermentable_sugar_g_per_l:g}.")
    if must_yan_mg_n_per_l < 0.0:
        raise OutOfRangeError(f"Nitrogen in a must is 0 or more, not {must_yan_mg_n_per_l:g} mg/L.")
    return max(demand_mg_n_per_g * fermentable_sugar_g_per_l - must_yan_mg_n_per_l, 0.0)


def nutrient_g(nitrogen_mg_per_l: float, volume_l: float, nitrogen_share: float) -> float:
    """How much of a source brings so much nitrogen to a volume.

    m = N·V/(1000 x)

    Parameters: nitrogen_mg_per_l, scalar [mg/L]; volume_l, scalar [L]; nitrogen_share x of the source, scalar [g/g].
    Returns: mass, scalar [g].
    Raises: OutOfRangeError unless 0 < x ≤ 1.
    Source: arithmetic; 28.014/132.06 for diammonium phosphate.

    Example: 112 mg/L in 19 L take 10.0 g of diammonium phosphate (computed).

    >>> round(nutrient_g(112.0, 19.0, DIAMMONIUM_PHOSPHATE_NITROGEN_SHARE), 1)
    10.0
    """
    if not 0.0 < nitrogen_share <= 1.0:
        raise OutOfRangeError(f"A source holds more than 0 and at most 100 % nitrogen, not {100.0 * nitrogen_share:g}.")
    return nitrogen_mg_per_l * volume_l / (1000.0 * nitrogen_share)


def sugar_break_gravity(original_gravity: float, final_gravity: float, share: float = 1.0 / 3.0) -> float:
    """The gravity at which a share of the sugar is gone.

    SG = OG − x (OG − FG)

    Parameters: original_gravity and final_gravity, SG 20/20, scalar [-]; share x of the sugar, scalar [-].
    Returns: SG 20/20, scalar [-].
    Raises: OutOfRangeError unless 0 ≤ x ≤ 1; InconsistentError where the final gravity is above the original one.
    Validity: gravity falls nearly in step with the sugar: within 0.0005 (computed by Balling's balance to 1.100).
    Source: common practice, no source.

    Example: 1.048 to 0.997 is 1.031 when a third is gone (computed).

    >>> round(sugar_break_gravity(1.048, 0.997), 3)
    1.031
    """
    if not 0.0 <= share <= 1.0:
        raise OutOfRangeError(f"A share lies between 0 and 1, not at {share:g}.")
    if final_gravity > original_gravity:
        raise InconsistentError(
            f"The final gravity {final_gravity:g} is above the original gravity {original_gravity:g}: were they "
            "exchanged?"
        )
    return original_gravity - share * (original_gravity - final_gravity)
