"""Alcohol from two gravities, by Balling's mass balance and the density of the mixture.

The weight of the must goes four ways: alcohol, carbon dioxide that leaves, yeast that settles, and the extract that
stays. Balling (Die Gährungschemie) found 2.0665 g of extract for 1 g of alcohol, 0.9565 g of carbon dioxide and
0.11 g of dry yeast. The unknown alcohol is the root at which the mixture of water, alcohol and remaining extract
(counted as sucrose) has the final gravity. The widely used factor of 131.25·(OG − FG) agrees with this at OG 1.050
and is 0.3 % vol low at 1.100, 0.8 % vol low at 1.140.

Two gravities know nothing of what was added in between: honey, juice or spirit after the first reading makes the
answer wrong, and a sweetened drink's gravities cannot give its strength.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache, partial

from service.errors import InconsistentError, OutOfRangeError
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.extract import litre_from_sg_and_abv
from service.physics.mixture import WATER_G_PER_ML, volume_ml
from service.physics.roots import root_between
from service.physics.slips import gravity_meant
from service.physics.solutes import Component

BALLING_EXTRACT_G_PER_G = 2.0665
"""Extract used up for 1 g of ethanol. Balling, Die Gährungschemie."""

BALLING_CO2_G_PER_G = 0.9565
"""Carbon dioxide for 1 g of ethanol. Balling, Die Gährungschemie."""

BALLING_YEAST_G_PER_G = 0.11
"""Dry yeast for 1 g of ethanol. Balling, Die Gährungschemie."""

THEORETICAL_YIELD_G_PER_G = 0.5114
"""Ethanol from 1 g of hexose: C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂ (molar masses)."""

ORIGINAL_GRAVITY_MAX = 1.20
_NO_GRAVITY = 1.6
_ETHANOL_G_PER_ML = ETHANOL_DENSITY_20C_KG_M3 / 1000.0


@dataclass(frozen=True, slots=True)
class FermentationRecipe:
    """Where 1/yield grams of extract go for each gram of ethanol; what leaves is carbon dioxide and yeast."""

    name: str
    ethanol_yield_g_per_g: float
    co2_g_per_g: float
    yeast_g_per_g: float

    @property
    def extract_g_per_g(self) -> float:
        """Extract used up for 1 g of ethanol [g/g]."""
        return 1.0 / self.ethanol_yield_g_per_g

    @property
    def by_products_g_per_g(self) -> float:
        """What was formed and stays dissolved for 1 g of ethanol; counts as sucrose in density [g/g]."""
        return self.extract_g_per_g - 1.0 - self.co2_g_per_g - self.yeast_g_per_g


BALLING = FermentationRecipe("Balling", 1.0 / BALLING_EXTRACT_G_PER_G, BALLING_CO2_G_PER_G, BALLING_YEAST_G_PER_G)
RECIPES = (
    BALLING,
    FermentationRecipe("little yeast", 0.480, BALLING_CO2_G_PER_G, 0.04),
    FermentationRecipe("theory", THEORETICAL_YIELD_G_PER_G, 0.9554, 0.0),
)
"""The three assumptions whose spread goes with every strength found from two gravities (our choice)."""


@dataclass(frozen=True, slots=True)
class Fermentation:
    """A fermentation read from two gravities: the strength by Balling's factors, and how sure it is."""

    abv_percent: float
    abv_low_percent: float
    abv_high_percent: float
    original_extract_percent: float
    real_extract_percent: float
    ethanol_mass_percent: float
    volume_ratio: float


@dataclass(frozen=True, slots=True)
class FermentedOut:
    """Where a must ends."""

    final_gravity: float
    abv_percent: float
    volume_ratio: float


@dataclass(frozen=True, slots=True)
class _Young:
    """What 100 g of must has become."""

    mass_g: float
    volume_ml: float
    ethanol_g: float
    extract_g: float

    @property
    def gravity(self) -> float:
        return self.mass_g / self.volume_ml / WATER_G_PER_ML

    @property
    def abv_percent(self) -> float:
        return 100.0 * self.ethanol_g / _ETHANOL_G_PER_ML / self.volume_ml


def _young(original_extract_percent: float, ethanol_g: float, recipe: FermentationRecipe) -> _Young:
    extract = original_extract_percent - ethanol_g * (recipe.extract_g_per_g - recipe.by_products_g_per_g)
    masses = {
        Component.WATER: 100.0 - original_extract_percent,
        Component.ETHANOL: ethanol_g,
        Component.SUCROSE: extract,
    }
    return _Young(sum(masses.values()), volume_ml(masses), ethanol_g, extract)


def ethanol_mass_percent_from_extracts(original_extract_percent: float, real_extract_percent: float) -> float:
    """Alcohol by weight from original and real extract: Balling's formula.

    A = 100 (p − n)/(206.65 − 1.0665 p)

    Parameters: original_extract_percent p, scalar [% by mass]; real_extract_percent n, scalar [% by mass].
    Returns: ethanol in the fermented drink, scalar [% by mass].
    Raises: OutOfRangeError outside 0–60 %; InconsistentError where the real extract exceeds the original one.
    Source: C. J. N. Balling, Die Gährungschemie.

    Example: Balling's own, p = 12 and n = 0 give 6.190 %.

    >>> round(ethanol_mass_percent_from_extracts(12.0, 0.0), 3)
    6.19
    """
    p, n = original_extract_percent, real_extract_percent
    if not 0.0 <= p <= 60.0 or n < 0.0:
        raise OutOfRangeError(f"Balling's formula takes extracts from 0 to 60 % by mass, not {p:g} and {n:g} %.")
    if n > p:
        raise InconsistentError(
            f"The real extract ({n:g} %) is above the original one ({p:g} %): extract does not grow in fermentation."
        )
    return 100.0 * (p - n) / (206.65 - 1.0665 * p)


def _original_extract_percent(original_gravity: float) -> float:
    if not 1.0 <= original_gravity <= ORIGINAL_GRAVITY_MAX:
        if original_gravity < 1.0:
            hint = " It is that of the must before it fermented: was it exchanged with the final one?"
        else:
            hint = gravity_meant(original_gravity) or " A heavier must does not ferment through."
        raise OutOfRangeError(
            f"An original gravity lies between 1.000 and {ORIGINAL_GRAVITY_MAX:.3f}, not at {original_gravity:g}.{hint}"
        )
    litre = litre_from_sg_and_abv(original_gravity, 0.0)
    return 100.0 * litre[Component.SUCROSE] / sum(litre.values())


def _gravity_miss(original: float, recipe: FermentationRecipe, final_gravity: float, ethanol: float) -> float:
    return _young(original, ethanol, recipe).gravity - final_gravity


def _solutions(original: float, final_gravity: float) -> Iterator[tuple[FermentationRecipe, _Young]]:
    """Each recipe's drink of that final gravity, where its extract suffices to come down so far."""
    for recipe in RECIPES:
        start = _young(original, 0.0, recipe)
        if start.gravity <= final_gravity:  # nothing fermented, to rounding
            yield recipe, start
            continue
        most = original * recipe.ethanol_yield_g_per_g
        if _young(original, most, recipe).gravity > final_gravity:
            continue
        ethanol = root_between(partial(_gravity_miss, original, recipe, final_gravity), 0.0, most)
        yield recipe, _young(original, ethanol, recipe)


@lru_cache(maxsize=256)
def abv_from_gravities(original_gravity: float, final_gravity: float) -> Fermentation:
    """Strength of a fermented must from its original and final gravity.

    The root A of SG(water, A, p − 2.0665 A) = FG in 100 g of must; ABV = (A/0.78924)/V. The low and high strengths
    are the least and the most of three recipes: Balling's (0.4839 g of ethanol per g of extract), 0.480 g/g with
    0.04 g of yeast per g of ethanol and by-products that stay dissolved, and theory (0.5114 g/g, nothing else
    formed). A recipe whose extract cannot reach the final gravity takes no part.

    Parameters: original_gravity and final_gravity, SG 20/20 corrected for temperature, scalar [-].
    Returns: a `Fermentation`; extracts and ethanol in % by mass, strengths in % vol, volume_ratio end/start.
    Raises: OutOfRangeError for an original gravity outside 1.000–1.200 or a final one that is none; InconsistentError
    where the final gravity is above the original one, or below what complete fermentation reaches.
    Validity: nothing added in between; the rest counts as sucrose. Without glycerol and acids in the balance, the
    strength may be off by 0.2 % vol either way (judged), the hydrometer by ±0.001 adds ±0.19 % vol.
    Source: C. J. N. Balling, Die Gährungschemie; density by OIML R 22 and ICUMSA SPS-4.

    Example: OG 1.100 to FG 1.000 is 13.43 % vol by Balling's factors, 13.98 by theory (computed).

    >>> result = abv_from_gravities(1.100, 1.000)
    >>> round(result.abv_percent, 2), round(result.abv_high_percent, 2)
    (13.43, 13.98)
    """
    original = _original_extract_percent(original_gravity)
    if final_gravity > _NO_GRAVITY:
        raise OutOfRangeError(
            f"A final gravity of {final_gravity:g} is not a drink's.{gravity_meant(final_gravity)}", "/final_gravity"
        )
    if final_gravity > original_gravity:
        raise InconsistentError(
            f"The final gravity {final_gravity:g} is above the original gravity {original_gravity:g}. Were the two "
            "swapped? The strength of a sweetened drink cannot be had from its gravities: give the readings taken "
            "before the sugar went in, or the strength itself."
        )
    solutions = list(_solutions(original, final_gravity))
    if not solutions or solutions[0][0] is not BALLING:
        lowest = _young(original, original * BALLING.ethanol_yield_g_per_g, BALLING).gravity
        raise InconsistentError(
            f"A must of {original_gravity:g} cannot ferment below {lowest:.4f}, and the final gravity is "
            f"{final_gravity:g}. Check the hydrometer in water, or whether sugar or spirit was added in between."
        )
    balling = solutions[0][1]
    strengths = [young.abv_percent for _, young in solutions]
    start_ml = 100.0 / original_gravity / WATER_G_PER_ML
    return Fermentation(
        abv_percent=balling.abv_percent,
        abv_low_percent=min(strengths),
        abv_high_percent=max(strengths),
        original_extract_percent=original,
        real_extract_percent=100.0 * balling.extract_g / balling.mass_g,
        ethanol_mass_percent=100.0 * balling.ethanol_g / balling.mass_g,
        volume_ratio=balling.volume_ml / start_ml,
    )


def fermented_out(
    original_gravity: float,
    fermentable_share: float,
    ethanol_yield_g_per_g: float = BALLING.ethanol_yield_g_per_g,
) -> FermentedOut:
    """Where a must ends when everything fermentable has gone.

    Ethanol = extract·share·yield; for each gram of it 0.9565 g of carbon dioxide and up to 0.11 g of yeast leave
    (Balling), less where the yield leaves less over; anything else formed stays and counts as sucrose.

    Parameters: original_gravity, SG 20/20, scalar [-]; fermentable_share of the extract, scalar [g/g];
    ethanol_yield_g_per_g of fermented extract, scalar [g/g].
    Returns: final gravity SG 20/20 [-], strength [% vol], volume end/start [-].
    Raises: OutOfRangeError for an original gravity outside 1.000–1.200, a share outside 0–1 or a yield outside
    0.30–0.5114 g/g.
    Source: C. J. N. Balling, Die Gährungschemie; yields of practice 0.46–0.48 (common practice, no source).

    Example: a honey must of OG 1.050, of whose extract 89 % ferments, ends at 0.996 (computed).

    >>> round(fermented_out(1.050, 0.89).final_gravity, 3)
    0.996
    """
    original = _original_extract_percent(original_gravity)
    if not 0.0 <= fermentable_share <= 1.0:
        raise OutOfRangeError(f"The fermentable share lies between 0 and 1, not at {fermentable_share:g}.")
    if not 0.30 <= ethanol_yield_g_per_g <= THEORETICAL_YIELD_G_PER_G:
        raise OutOfRangeError(
            f"Yeast makes 0.30 to {THEORETICAL_YIELD_G_PER_G} g of alcohol from a gram of sugar, "
            f"not {ethanol_yield_g_per_g:g} g."
        )
    left = 1.0 / ethanol_yield_g_per_g - 1.0
    co2 = min(BALLING_CO2_G_PER_G, left)
    recipe = FermentationRecipe("given yield", ethanol_yield_g_per_g, co2, min(BALLING_YEAST_G_PER_G, left - co2))
    young = _young(original, original * fermentable_share * ethanol_yield_g_per_g, recipe)
    start_ml = 100.0 / original_gravity / WATER_G_PER_ML
    return FermentedOut(young.gravity, young.abv_percent, young.volume_ml / start_ml)
