"""The records of the ingredient catalogue: an ingredient, the source of a fact, the standard strength of a juice.

Compositions are masses per 100 g of ingredient and add up to 100 g. Fruit acids stand as free acid in all their
forms (free and bound); titratable acidity is therefore less than their sum, because potassium and the other cations
have neutralised part of them already. Honey is the exception: its acid column is the titratable total acid.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from service.chemistry.acid_state import AcidState
from service.physics.solutes import Component


class Category(StrEnum):
    """What kind of ingredient a row describes."""

    HONEY = "honey"
    SUGAR = "sugar"
    JUICE = "juice"
    CONCENTRATE = "concentrate"
    ACID = "acid"
    SALT = "salt"
    WATER = "water"
    SPIRIT = "spirit"
    CUSTOM = "custom"


class JuiceBasis(StrEnum):
    """What the percentage of juice is reckoned from (21 CFR 101.30)."""

    BRIX = "brix"
    CITRIC_PERCENT = "citric_percent"
    DECLARED = "declared"
    NONE = "none"


class FruitFamily(StrEnum):
    """Fruits whose juice shares may be added up as one intensity."""

    CITRUS = "citrus"
    POME = "pome"
    GRAPE = "grape"
    BERRY = "berry"
    STONE = "stone"
    TROPICAL = "tropical"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Spread:
    """A typical value, the plausible limits of a lot (not quantiles) and its lot-to-lot standard deviation."""

    typical: float
    low: float | None = None
    high: float | None = None
    sd: float | None = None

    def __contains__(self, value: float) -> bool:
        """Whether `value` lies inside the limits; a missing limit excludes nothing."""
        return (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def scaled(self, factor: float) -> Spread:
        """Every number multiplied by one factor."""

        def times(value: float | None) -> float | None:
            return None if value is None else factor * value

        return Spread(factor * self.typical, times(self.low), times(self.high), times(self.sd))

    def deviation(self) -> float:
        """The standard deviation: as given, else a quarter of the limits (our default), else 0."""
        if self.sd is not None:
            return self.sd
        if self.low is None or self.high is None:
            return 0.0
        return (self.high - self.low) / 4.0


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a group of figures comes from: keys of the source table, and how the figure was come by."""

    sources: tuple[str, ...]
    mark: str


@dataclass(frozen=True, slots=True)
class Minerals:
    """Minerals, vitamin C and yeast nutrition of an ingredient; None where nothing was reported."""

    potassium_mg_per_100g: float | None = None
    sodium_mg_per_100g: float | None = None
    calcium_mg_per_100g: float | None = None
    magnesium_mg_per_100g: float | None = None
    phosphorus_mg_per_100g: float | None = None
    vitamin_c_mg_per_100g: float | None = None
    yan_mg_n_per_kg: float | None = None
    sid_minerals_meq_per_kg: float | None = None

    def scaled(self, factor: float) -> Minerals:
        """Every reported figure multiplied by one factor."""

        def times(value: float | None) -> float | None:
            return None if value is None else factor * value

        return Minerals(
            times(self.potassium_mg_per_100g),
            times(self.sodium_mg_per_100g),
            times(self.calcium_mg_per_100g),
            times(self.magnesium_mg_per_100g),
            times(self.phosphorus_mg_per_100g),
            times(self.vitamin_c_mg_per_100g),
            times(self.yan_mg_n_per_kg),
            times(self.sid_minerals_meq_per_kg),
        )


@dataclass(frozen=True, slots=True)
class Acids:
    """The acids and strong ions of a kilogram of ingredient or a litre of a lot, and how they were come by.

    `spread` holds independent shifts of the state, each one standard deviation of one reading, with that reading's
    name. `profile` names the kinds of acid; `ph_known` is False where nothing says what the liquid does to pH.
    """

    state: AcidState
    profile: str
    spread: tuple[tuple[str, AcidState], ...] = ()
    ph_known: bool = True

    def scaled(self, factor: float) -> Acids:
        """The same for a multiple of the portion."""
        return Acids(
            self.state.scaled(factor),
            self.profile,
            tuple((what, shift.scaled(factor)) for what, shift in self.spread),
            self.ph_known,
        )


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One thing that can be added to a drink, per 100 g.

    `composition` holds only the components that are present [g/100 g] and adds up to 100. `ta_g_citric_per_100g` is
    titratable acidity to pH 8.2 as anhydrous citric acid; None where the table has none. `brix` is true soluble
    solids, corrected for acid (100 − water − fat), not a refractometer reading. `ph` holds for a sample in which
    `ph_sample_mass_fraction` of the mass is the ingredient and the rest pure water. `provenance` is keyed by
    group: composition, acid, ph, range, mineral, energy, yan, juice_share, alkalinity. `acids` are those of a measured
    lot; None where they follow from the row itself (`service.catalogue.acidity`).
    """

    id: str
    name: str
    category: Category
    composition: Mapping[Component, float]
    ta_g_citric_per_100g: Spread | None = None
    ph: Spread | None = None
    brix: Spread | None = None
    minerals: Minerals = Minerals()
    energy_kcal_per_100g: float | None = None
    juice_standard: str | None = None
    juice_basis: JuiceBasis = JuiceBasis.NONE
    juice_share_percent: float = 0.0
    fruit_family: FruitFamily = FruitFamily.NONE
    acid_profile: str | None = None
    ph_sample_mass_fraction: float | None = None
    alkalinity_meq_per_l: Spread | None = None
    co2_released_g_per_g: float = 0.0
    bulk_solid: bool = False
    usda_ndb: str | None = None
    provenance: Mapping[str, Provenance] = field(default_factory=dict)
    notes: str = ""
    acids: Acids | None = None

    def grams(self, component: Component) -> float:
        """Mass of one component in 100 g of the ingredient [g]."""
        return self.composition.get(component, 0.0)

    @property
    def is_citrus(self) -> bool:
        """Whether its juice counts as citrus."""
        return self.fruit_family is FruitFamily.CITRUS


_SHOWN: Final = {"use_attribute_docstrings": True}
"""Makes the text below each field its description in the published document."""


@dataclass(frozen=True, slots=True)
class Source:
    """A document that a fact was taken from; `mark` says whether it was read, remembered or judged."""

    __pydantic_config__ = _SHOWN

    key: str
    """What answers name it by, as `source_id`."""
    title: str
    """Title of the document."""
    authors_or_body: str
    """Who wrote or issued it."""
    year: int | None
    """Year of the edition that was used; null where none is stated."""
    identifier: str
    """DOI, number of the standard, section of the law, or number in a data set."""
    locator: str
    """Where in the document: table, page, section."""
    official_url: str
    """Where its issuer publishes it; empty where nothing is known."""
    kind: str
    """What it is: dataset, paper, regulation, standard, handbook, specification, book or memory."""
    mark: str
    """How its figures were come by: published, derived, judged, from memory."""
    note: str
    """What else to know of it."""


@dataclass(frozen=True, slots=True)
class JuiceStandard:
    """Single-strength figures of one fruit juice.

    `us_min_brix` and `us_min_citric_percent` are minima of 21 CFR 101.30(h)(1); `us_customs_average_brix` is the
    trade average of 19 CFR 151.91; the two EU columns are minima of Directive 2001/112/EC, Annex V, now and in
    the 2009 text; `codex_min_brix` is Codex CXS 247-2005, from memory.
    """

    fruit: str
    us_min_brix: float | None
    us_min_citric_percent: float | None
    us_customs_average_brix: float | None
    eu_min_brix: float | None
    eu_2009_min_brix: float | None
    codex_min_brix: float | None
    note: str
