"""What is in a portion of drink or ingredient, as one vector that adds up.

Component masses and a few tallies that are linear in the amounts: titratable acidity (linear to 0.01 % at its end
point), what yeast can ferment, and single-strength juice. Everything else about a mixture follows from the sums.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from operator import add

from service.catalogue.derived import (
    fermentable_g_per_100g,
    gas_lost_g_per_g,
    juice_equivalent_l_per_kg,
    titratable_meq_per_kg,
)
from service.catalogue.records import Ingredient
from service.physics.mixture import volume_ml, volume_sums
from service.physics.solutes import Component

COMPONENTS = tuple(Component)
TALLIES = ("titratable_meq", "fermentable_g", "juice_ml", "citrus_juice_ml")
SIZE = len(COMPONENTS) + len(TALLIES)

_AT = {component: k for k, component in enumerate(COMPONENTS)}
_TALLY_AT = {tally: len(COMPONENTS) + k for k, tally in enumerate(TALLIES)}


def weights(
    masses: Mapping[Component, float] | None = None, tallies: Mapping[str, float] | None = None
) -> tuple[float, ...]:
    """A linear form over `Contents.vector`: so much for each gram of a component, so much for each unit of a tally.

    >>> weights({Component.WATER: 2.0})[:2]
    (2.0, 0.0)
    """
    row = [0.0] * SIZE
    for component, weight in (masses or {}).items():
        row[_AT[component]] = weight
    for tally, weight in (tallies or {}).items():
        row[_TALLY_AT[tally]] = weight
    return tuple(row)


@dataclass(frozen=True, slots=True)
class Contents:
    """Masses [g] of every component, then the tallies, in the order of COMPONENTS and TALLIES."""

    vector: tuple[float, ...]

    @classmethod
    def of(
        cls,
        masses_g: Mapping[Component, float],
        *,
        titratable_meq: float = 0.0,
        fermentable_g: float = 0.0,
        juice_ml: float = 0.0,
        citrus_juice_ml: float = 0.0,
    ) -> Contents:
        """Contents from component masses and tallies."""
        return cls(
            weights(
                masses_g,
                {
                    "titratable_meq": titratable_meq,
                    "fermentable_g": fermentable_g,
                    "juice_ml": juice_ml,
                    "citrus_juice_ml": citrus_juice_ml,
                },
            )
        )

    @property
    def masses_g(self) -> dict[Component, float]:
        """The components that are present."""
        return {c: m for c, m in zip(COMPONENTS, self.vector, strict=False) if m}

    @property
    def mass_g(self) -> float:
        """Total mass [g]."""
        return sum(self.vector[: len(COMPONENTS)])

    @property
    def volume_ml(self) -> float:
        """Volume at 20 °C by the binary sum [mL]."""
        return volume_ml(self.masses_g)

    @property
    def sums(self) -> tuple[float, ...]:
        """The seven volume sums of `service.physics.mixture`."""
        return volume_sums(self.masses_g)

    def tally(self, name: str) -> float:
        """One of the TALLIES."""
        return self.vector[_TALLY_AT[name]]

    def scaled(self, factor: float) -> Contents:
        """A multiple of this portion."""
        return Contents(tuple(factor * v for v in self.vector))

    def plus(self, other: Contents) -> Contents:
        """This portion and another together."""
        return Contents(tuple(map(add, self.vector, other.vector)))


NOTHING = Contents((0.0,) * SIZE)


def together(portions: Iterable[Contents]) -> Contents:
    """The sum of portions."""
    total = NOTHING
    for portion in portions:
        total = total.plus(portion)
    return total


def contents_per_g(ingredient: Ingredient) -> Contents:
    """What a gram of an ingredient brings to a drink.

    Carbonates bring what stays after their carbon dioxide has left, counted as ash.

    Parameters: ingredient of the catalogue, or as measured.
    Returns: Contents of one gram [g, meq, mL].
    Source: the catalogue's composition, acidity and juice share; see `service.catalogue.derived`.

    Example: 4.6 g of citric acid in 100 g of lemon juice are 718 meq/kg.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(contents_per_g(get_ingredient("lemon_juice_fresh")).tally("titratable_meq"), 3)
    0.718
    """
    gas = gas_lost_g_per_g(ingredient)
    masses = {c: g / 100.0 for c, g in ingredient.composition.items()}
    if gas:
        masses[Component.ASH] = masses.get(Component.ASH, 0.0) - gas
    juice_ml = juice_equivalent_l_per_kg(ingredient)
    return Contents.of(
        masses,
        titratable_meq=titratable_meq_per_kg(ingredient) / 1000.0,
        fermentable_g=fermentable_g_per_100g(ingredient).typical / 100.0,
        juice_ml=juice_ml,
        citrus_juice_ml=juice_ml if ingredient.is_citrus else 0.0,
    )
