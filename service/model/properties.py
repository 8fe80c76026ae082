"""The properties of a drink, one dictionary for targets, preferences and predictions.

Every property is a ratio of two linear forms of the contents and the volume, so a target on it is a pair of linear
rows (see `service.solver.problem`); for pH and titratable acidity that holds with the constants of acids frozen at one
blend (`service.model.acidity`). Each entry also carries the step that a person just notices or an instrument just
shows, and the half width within which an exact target counts as met.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from operator import mul

from service.chemistry.acids import EQUIVALENT_WEIGHT_G_PER_EQ, Acid
from service.chemistry.energy import ENERGY_KCAL_AND_KJ_PER_G
from service.chemistry.sugars import RELATIVE_SWEETNESS
from service.model.acidity import DEFAULT_END_POINT_PH, chemistry_of
from service.model.contents import SIZE, Contents, weights
from service.physics.ethanol_water import ETHANOL_DENSITY_20C_KG_M3
from service.physics.mixture import WATER_G_PER_ML
from service.physics.solutes import SUGARS, Component


class Per(Enum):
    """What a property's amount is divided by."""

    VOLUME = "litre of drink"
    MASS = "gram of drink"
    ACID = "gram of acid as citric"
    ONE = "nothing"


class Of(Enum):
    """What a property's amount is taken from."""

    CONTENTS = "the contents"
    TITRATION = "the base that a titration takes"
    PH = "the balance of charges"
    VOLUME = "the volume of the drink"
    ADDED_MASS = "the mass of what is added"
    ADDED_VOLUME = "the volume of what is added, each part on its own"
    COST = "the price of what is added"


OF_WHAT_IS_ADDED = frozenset({Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST})
"""Amounts that the contents of a drink do not tell."""


@dataclass(frozen=True, slots=True)
class Property:
    """One property: amount (weights·contents, or another sum) over a divisor.

    `exact_within` is half the step of the usual instrument, absolute, or a share where `relative` is true; `noticeable`
    is the step that distances are counted in, absolute, or a share where `sensed_as_share` is true.
    """

    name: str
    meaning: str
    unit: str
    of: Of
    per: Per
    weights: tuple[float, ...]
    exact_within: float
    noticeable: float
    relative: bool = False
    decimals: int = 2
    sensed_as_share: bool = False

    def tolerance(self, value: float) -> float:
        """How far an exact target of this value may be missed and still count as met."""
        return self.exact_within * abs(value) if self.relative else self.exact_within

    def step(self, value: float) -> float:
        """The noticeable step at this value; never zero."""
        return max(self.noticeable * abs(value), 1e-3) if self.sensed_as_share else self.noticeable


_NONE = (0.0,) * SIZE
_EVERYTHING = weights(dict.fromkeys(Component, 1.0))
_DRY = weights({c: 1.0 for c in Component if c not in (Component.WATER, Component.ETHANOL)})
TARTARIC_G_PER_MEQ = EQUIVALENT_WEIGHT_G_PER_EQ[Acid.TARTARIC] / 1000.0
CITRIC_G_PER_MEQ = EQUIVALENT_WEIGHT_G_PER_EQ[Acid.CITRIC] / 1000.0
"""Grams of tartaric or of anhydrous citric acid that a milliequivalent of a titration stands for."""

_ETHANOL_ML_PER_G = 1000.0 / ETHANOL_DENSITY_20C_KG_M3


def _sweetness(which: str) -> tuple[float, ...]:
    return weights({c: getattr(band, which) for c, band in RELATIVE_SWEETNESS.items()})


SWEETNESS_LOW, SWEETNESS_HIGH = _sweetness("low"), _sweetness("high")


def sweetness_weights(own: Mapping[Component, float]) -> tuple[float, ...]:
    """Sweetness as sucrose with some relative sweetnesses in place of the central ones of the table."""
    return weights({c: own.get(c, band.central) for c, band in RELATIVE_SWEETNESS.items()})


PROPERTIES: dict[str, Property] = {
    p.name: p
    for p in (
        Property(
            "gravity",
            "specific gravity 20 °C/20 °C",
            "SG",
            Of.CONTENTS,
            Per.VOLUME,
            tuple(w / (1000.0 * WATER_G_PER_ML) for w in _EVERYTHING),
            exact_within=0.0005,
            noticeable=0.002,
            decimals=4,
        ),
        Property(
            "abv_percent",
            "alcoholic strength by volume at 20 °C",
            "% vol",
            Of.CONTENTS,
            Per.VOLUME,
            weights({Component.ETHANOL: _ETHANOL_ML_PER_G / 10.0}),
            exact_within=0.05,
            noticeable=1.0,
        ),
        Property(
            "titratable_acidity",
            "titratable acidity to the end point of the request (pH 8.2), as tartaric acid",
            "g/L tartaric",
            Of.TITRATION,
            Per.VOLUME,
            _NONE,
            exact_within=0.1,
            noticeable=0.2,
            sensed_as_share=True,
        ),
        Property(
            "ph",
            "pH at 20 °C from the balance of charges",
            "pH",
            Of.PH,
            Per.VOLUME,
            _NONE,
            exact_within=0.03,
            noticeable=0.1,
        ),
        Property(
            "volume",
            "volume at 20 °C, contraction included",
            "L",
            Of.VOLUME,
            Per.ONE,
            _NONE,
            exact_within=0.005,
            noticeable=0.01,
            relative=True,
            sensed_as_share=True,
            decimals=3,
        ),
        Property(
            "extract_g_per_l",
            "total dry extract, by mass",
            "g/L",
            Of.CONTENTS,
            Per.VOLUME,
            _DRY,
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "sugar_g_per_l",
            "all sugars",
            "g/L",
            Of.CONTENTS,
            Per.VOLUME,
            weights(dict.fromkeys(SUGARS, 1.0)),
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "fermentable_sugar_g_per_l",
            "sugar that yeast can use",
            "g/L",
            Of.CONTENTS,
            Per.VOLUME,
            weights(None, {"fermentable_g": 1.0}),
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "sucrose_equivalent_g_per_l",
            "sweetness as sucrose, by published relative sweetness",
            "g/L",
            Of.CONTENTS,
            Per.VOLUME,
            _sweetness("central"),
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "brix",
            "mass per cent of the true dry extract; not a refractometer reading",
            "°Bx",
            Of.CONTENTS,
            Per.MASS,
            tuple(100.0 * w for w in _DRY),
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
        ),
        Property(
            "sugar_acid_ratio",
            "true extract in °Bx over % acid as citric, the juice trade's ratio",
            "",
            Of.CONTENTS,
            Per.ACID,
            _DRY,
            exact_within=0.01,
            noticeable=0.12,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "juice_percent",
            "single-strength juice equivalent of all fruit, 21 CFR 101.30",
            "%",
            Of.CONTENTS,
            Per.VOLUME,
            weights(None, {"juice_ml": 0.1}),
            exact_within=0.01,
            noticeable=0.25,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "citrus_percent",
            "single-strength juice equivalent of the citrus fruit, 21 CFR 101.30",
            "%",
            Of.CONTENTS,
            Per.VOLUME,
            weights(None, {"citrus_juice_ml": 0.1}),
            exact_within=0.01,
            noticeable=0.25,
            relative=True,
            sensed_as_share=True,
            decimals=1,
        ),
        Property(
            "added_mass",
            "mass of everything added",
            "g",
            Of.ADDED_MASS,
            Per.ONE,
            _NONE,
            exact_within=0.01,
            noticeable=0.05,
            relative=True,
            sensed_as_share=True,
            decimals=0,
        ),
        Property(
            "added_volume",
            "volume of everything added, each on its own",
            "L",
            Of.ADDED_VOLUME,
            Per.ONE,
            _NONE,
            exact_within=0.01,
            noticeable=0.05,
            relative=True,
            sensed_as_share=True,
            decimals=3,
        ),
        Property(
            "cost",
            "price of everything added, in the currency of the request",
            "",
            Of.COST,
            Per.ONE,
            _NONE,
            exact_within=0.01,
            noticeable=0.05,
            relative=True,
            sensed_as_share=True,
        ),
        Property(
            "energy_kcal_per_100ml",
            "food energy from the components, EU label factors",
            "kcal/100 mL",
            Of.CONTENTS,
            Per.VOLUME,
            weights({c: kcal / 10.0 for c, (kcal, _) in ENERGY_KCAL_AND_KJ_PER_G.items()}),
            exact_within=0.01,
            noticeable=0.05,
            relative=True,
            sensed_as_share=True,
            decimals=0,
        ),
    )
}
"""Noticeable steps: sugar 12 %, strength 1 % vol, acidity about 20 %, juice 25 % (Weber fractions after Schutz and
Pilgrim 1957, from memory; the strength has no source). Gravity 0.002 is what a triple-scale hydrometer shows; pH 0.1 is
our default."""

TOTAL_MASS = _EVERYTHING


def dot(row: tuple[float, ...], contents: Contents) -> float:
    """A linear form of some contents."""
    total: float = sum(map(mul, row, contents.vector))
    return total


def depends_on_acids(name: str) -> bool:
    """Whether a property is pH, acidity or a ratio to it.

    >>> [depends_on_acids(name) for name in ("ph", "titratable_acidity", "sugar_acid_ratio", "gravity")]
    [True, True, True, False]
    """
    law = PROPERTIES[name]
    return law.of in (Of.PH, Of.TITRATION) or law.per is Per.ACID


def property_value(
    law: Property | str, contents: Contents, volume_l: float, end_point_ph: float = DEFAULT_END_POINT_PH
) -> float | None:
    """A property of a mixture from its contents.

    Parameters: law, one of PROPERTIES or its name, that is taken from the contents or the volume; contents;
    volume_l [L]; end_point_ph of titrations.
    Returns: the value in the property's unit; None where a ratio to acid, or a pH, has no acid or more base than acid:
    then the carbon dioxide that is reckoned as lost stays.

    >>> from service.catalogue.lookup import get_ingredient
    >>> from service.model.contents import contents_per_g
    >>> litre = contents_per_g(get_ingredient("neutral_spirit_40")).scaled(948.05)
    >>> round(property_value("abv_percent", litre, litre.volume_ml / 1000), 1)
    40.0
    """
    law = PROPERTIES[law] if isinstance(law, str) else law
    if law.of is Of.PH:
        chemistry = chemistry_of(contents, end_point_ph)
        return chemistry.ph if chemistry.titratable_meq_per_l >= 0.0 else None
    if law.of is Of.TITRATION:
        return TARTARIC_G_PER_MEQ * chemistry_of(contents, end_point_ph).titratable_meq_per_l
    amount = volume_l if law.of is Of.VOLUME else dot(law.weights, contents)
    if law.per is Per.VOLUME:
        return amount / volume_l
    if law.per is Per.MASS:
        return amount / contents.mass_g
    if law.per is Per.ACID:
        acid_g = CITRIC_G_PER_MEQ * chemistry_of(contents, end_point_ph).titratable_meq_per_l * volume_l
        return amount / acid_g if acid_g > 0.0 else None
    return amount
