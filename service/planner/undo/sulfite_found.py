"""How much sulfite there is in a drink, and what it may be thinned to: read, or reckoned from what went in.

Everything is judged by the pK that sees more of the free SO2 as molecular: where there is too much, that is the careful
side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from service.chemistry.sulfite import (
    DEFAULT_SO2_SHARE,
    MOLECULAR_IRRITATION_MG_PER_L,
    MOLECULAR_TARGET_DRY_MG_PER_L,
    MOLECULAR_TARGET_SWEET_MG_PER_L,
    SO2_PK_CONVENTION,
    PkBasis,
    molecular_so2_mg_per_l,
    so2_mg_per_l_from_metabisulfite,
    so2_pk,
)
from service.chemistry.sulfite_limits import LegalClass, Market, SulfiteLimit, sulfite_limits
from service.errors import InconsistentError, InputError, OutOfRangeError
from service.model.lot_class import Assumed
from service.planner.answers import PRACTICE
from service.planner.stabilising.answers import SulfurDioxide
from service.planner.stabilising.asked import DEFAULT_BOUND_SHARE
from service.planner.stabilising.situation import SWEET_FROM_G_PER_L
from service.planner.undo.asked import TEMPERATURE_C
from service.planner.undo.mixing import Vessel

LEAST_PH: Final = 2.0
MOST_PH: Final = 5.0
"""Where molecular SO2 is reckoned."""

STRONGEST_ABV_PERCENT: Final = 20.0
SLACK: Final = 1e-9
"""What the rounding of arithmetic may be off by, as a share."""


@dataclass(frozen=True, slots=True)
class Level:
    """Molecular SO2 to thin to [mg/L], in words, as part of a name, and where the figure comes from."""

    molecular: float
    text: str
    name: str
    source_id: str


@dataclass(frozen=True, slots=True)
class Sulfited:
    """The sulfite of a drink: free and total now [mg/L], the pK, levels to thin it to, and the limits."""

    free: float
    total: float
    ph: float
    pk: float
    basis: PkBasis
    pk_other: float
    levels: tuple[Level, ...]
    limits: tuple[SulfiteLimit, ...]
    assumed: tuple[Assumed, ...]

    @property
    def lowest_limit(self) -> float:
        """The limit of total SO2 that binds first [mg/L]."""
        return self.limits[0].mg_per_l

    def at(self, litres: float, times: float, ph: float) -> SulfurDioxide:
        """Sulfur dioxide in the drink thinned to so many times its volume, at a pH."""
        free, total = self.free / times, self.total / times
        return SulfurDioxide(
            volume_l=round(litres, 3),
            ph=round(ph, 2),
            free_mg_per_l=round(free, 2),
            molecular_mg_per_l=round(molecular_so2_mg_per_l(free, ph, self.pk), 3),
            bound_mg_per_l=round(total - free, 2),
            total_mg_per_l=round(total, 2),
        )

    def excess(self, level: Level, times: float, ph: float) -> float:
        """How far the drink thinned so is above a level or the limit, as a share; zero or less where it is not."""
        molecular = molecular_so2_mg_per_l(self.free / times, ph, self.pk)
        return max(molecular / level.molecular, self.total / times / self.lowest_limit) - 1.0

    def times(self, level: Level) -> float:
        """Volume afterwards over volume now, with drink of the same pH."""
        return max(1.0, 1.0 + self.excess(level, 1.0, self.ph))


def sulfited(vessel: Vessel) -> Sulfited | None:
    """The sulfite of the drink, with what was not said filled in and named.

    Parameters: vessel.
    Returns: Sulfited; None where nothing was read and nothing is known of what went in.
    Raises: InconsistentError for more free than total SO2, or two targets; OutOfRangeError outside pH 2 to 5, 20 % vol,
        0 to 40 °C; InputError for a drink without acid.
    """
    said = vessel.asked.sulfite
    assumed: list[Assumed] = []
    free, total = said.free_mg_per_l, said.total_mg_per_l
    bound = DEFAULT_BOUND_SHARE if said.bound_share is None else said.bound_share
    if total is None and said.salt_g is not None:
        share = DEFAULT_SO2_SHARE if said.salt_share is None else said.salt_share
        total = so2_mg_per_l_from_metabisulfite(said.salt_g, vessel.litres, share)
        why = f"{said.salt_g:g} g of potassium metabisulfite at {100.0 * share:g} %, none lost"
        assumed.append(Assumed("total SO2", f"{total:.0f} mg/L", why, "a test of total SO2"))
    if free is None and total is not None:
        free = (1.0 - bound) * total
        why = f"a bound share of {bound:g}: common practice 0.3 to 0.5, no source"
        assumed.append(Assumed("free SO2", f"{free:.0f} mg/L", why, "a test of free SO2"))
    if free is None:
        return None
    if total is None:
        total = free / (1.0 - bound)
        why = f"a bound share of {bound:g}: common practice 0.3 to 0.5, no source"
        assumed.append(Assumed("total SO2", f"{total:.0f} mg/L", why, "a test of total SO2"))
    if free > total * (1.0 + SLACK):
        raise InconsistentError(
            f"{free:g} mg/L free SO2 is more than the {total:g} mg/L in all: check both tests.", "/free_so2_now"
        )
    predicted = vessel.now.predicted
    if predicted.ph is None:
        raise InputError("Molecular SO2 rests on the pH, and this drink has no acid: read its pH.", "/lots")
    ph, abv = predicted.ph.value, predicted.abv_percent.value
    if not LEAST_PH <= ph <= MOST_PH:
        raise OutOfRangeError(f"Molecular SO2 is reckoned from pH 2 to 5, not at {ph:.2f}: read the pH again.", "/lots")
    if abv > STRONGEST_ABV_PERCENT:
        raise OutOfRangeError(f"The constants end at 20 % vol; {abv:.1f} % vol lies beyond.", "/lots")
    warmth = said.temperature_c
    if warmth is None:
        warmth = TEMPERATURE_C
        assumed.append(Assumed("temperature", f"{warmth:g} °C", "our default", "a thermometer"))
    elif not 0.0 <= warmth <= 40.0:
        raise OutOfRangeError(f"The pK of SO2 is known from 0 to 40 °C, not at {warmth:g} °C.", "/temperature")
    thermo = so2_pk(PkBasis.THERMO, warmth, abv)
    careful = PkBasis.THERMO if thermo > SO2_PK_CONVENTION else PkBasis.CONVENTION
    pk, other = max(thermo, SO2_PK_CONVENTION), min(thermo, SO2_PK_CONVENTION)
    levels = _levels(vessel, ph, pk, assumed)
    limits = _limits(vessel, assumed)
    return Sulfited(free, total, ph, pk, careful, other, levels, limits, tuple(assumed))


def _levels(vessel: Vessel, ph: float, pk: float, assumed: list[Assumed]) -> tuple[Level, ...]:
    """What was asked for; else where it no longer stings, and where it is as usual."""
    said = vessel.asked.sulfite
    free, molecular = said.free_wanted_mg_per_l, said.molecular_wanted_mg_per_l
    if free is not None and molecular is not None:
        text = "Free and molecular SO2 cannot both be aimed at: leave one out."
        raise InconsistentError(text, "/molecular_so2_target")
    for value, pointer in ((free, "/free_so2_target"), (molecular, "/molecular_so2_target")):
        if value is not None and value <= 0.0:
            raise InputError("Thinning never takes all of it: aim above zero.", pointer)
    if molecular is not None:
        return (Level(molecular, f"{molecular:g} mg/L molecular SO2", "as_asked", "reading"),)
    if free is not None:
        level = molecular_so2_mg_per_l(free, ph, pk)
        return (Level(level, f"{free:g} mg/L free SO2", "as_asked", "reading"),)
    sweet = vessel.now.predicted.fermentable_sugar_g_per_l.value > SWEET_FROM_G_PER_L
    usual = MOLECULAR_TARGET_SWEET_MG_PER_L if sweet else MOLECULAR_TARGET_DRY_MG_PER_L
    kind = "sweet" if sweet else "dry"
    stings = MOLECULAR_IRRITATION_MG_PER_L
    assumed.append(
        Assumed(
            "molecular_so2_target",
            f"{stings:g} mg/L, where it begins to sting; and {usual:g} mg/L",
            f"published; and common practice for a {kind} drink, no source",
            "a choice",
        )
    )
    return (
        Level(stings, f"{stings:g} mg/L molecular SO2, where it begins to sting", "no_sting", "waterhouse_2016"),
        Level(usual, f"{usual:g} mg/L molecular SO2, the usual of a {kind} drink", "as_usual", PRACTICE),
    )


_LEGAL: Final = frozenset(c.value for c in LegalClass)


def legal_class_of(vessel: Vessel) -> LegalClass:
    """The class of the largest lot that law has a limit for; mead where there is none."""
    lots = sorted(vessel.asked.in_vessel, key=lambda a: (-a.most_l, a.lot.name))
    found = next((a.lot.lot_class.value for a in lots if a.lot.lot_class.value in _LEGAL), None)
    return LegalClass.MEAD if found is None else LegalClass(found)


def _limits(vessel: Vessel, assumed: list[Assumed]) -> tuple[SulfiteLimit, ...]:
    market = vessel.asked.market
    if market is None:
        assumed.append(Assumed("market", "none", "our default: the lowest limits known", "say where it is to be sold"))
    assumed.append(
        Assumed("class before the law", legal_class_of(vessel).value, "that of the largest lot", "its class")
    )
    sugar = vessel.now.predicted.fermentable_sugar_g_per_l.value
    return sulfite_limits(market or Market.NONE, legal_class_of(vessel), sugar, vessel.asked.colour)
