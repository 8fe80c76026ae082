"""What is in a portion of drink or ingredient, as one vector that adds up.

Component masses, a few tallies that are linear in the amounts (what yeast can ferment, single-strength juice), and the
acids and strong ions that decide pH and titratable acidity. Everything else about a mixture follows from the sums.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from operator import add

from service.catalogue.acidity import acids_per_kg
from service.catalogue.derived import fermentable_g_per_100g, gas_lost_g_per_g, juice_equivalent_l_per_kg
from service.catalogue.loader import ingredients
from service.catalogue.records import Ingredient
from service.chemistry.acid_state import NO_ACID, AcidState
from service.chemistry.weak_acids import ACIDS
from service.model.kept import kept
from service.physics.mixture import partial_volumes_ml_g, row_sums, volume_of_sums_ml
from service.physics.solutes import Component

COMPONENTS = tuple(Component)
TALLIES = ("fermentable_g", "juice_ml", "citrus_juice_ml")
_ACIDS_AT = len(COMPONENTS) + len(TALLIES)
_IONS_AT = _ACIDS_AT + len(ACIDS)
SIZE = _IONS_AT + 2

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


def acid_weights(per_mmol: Sequence[float], *, sid: float, ions: float = 0.0) -> tuple[float, ...]:
    """A linear form over `Contents.vector`: so much for each mmol of an acid, meq of strong ions, mmol of ½Σz²c.

    >>> acid_weights([1.0] * len(ACIDS), sid=-1.0)[-2:]
    (-1.0, 0.0)
    """
    return (*(0.0,) * _ACIDS_AT, *per_mmol, sid, ions)


def acid_sum(row: Sequence[float], state: AcidState) -> float:
    """What the acids and strong ions of a state add to such a form.

    >>> acid_sum(acid_weights([0.0] * len(ACIDS), sid=2.0), AcidState.of({}, 3.0))
    6.0
    """
    acids = sum(w * c for w, c in zip(row[_ACIDS_AT:_IONS_AT], state.acids_mmol, strict=True))
    return acids + row[_IONS_AT] * state.sid_meq + row[_IONS_AT + 1] * state.ionic_mmol


@dataclass(frozen=True)
class Contents:
    """Masses [g] of every component, the tallies, the acids [mmol], strong ion difference [meq] and ions [mmol]."""

    vector: tuple[float, ...]

    @classmethod
    def of(
        cls,
        masses_g: Mapping[Component, float],
        *,
        acids: AcidState = NO_ACID,
        fermentable_g: float = 0.0,
        juice_ml: float = 0.0,
        citrus_juice_ml: float = 0.0,
    ) -> Contents:
        """Contents from component masses, acids and tallies."""
        tallies = {"fermentable_g": fermentable_g, "juice_ml": juice_ml, "citrus_juice_ml": citrus_juice_ml}
        row = weights(masses_g, tallies)
        return cls((*row[:_ACIDS_AT], *acids.acids_mmol, acids.sid_meq, acids.ionic_mmol))

    @property
    def masses_g(self) -> dict[Component, float]:
        """The components that are present."""
        return {c: m for c, m in zip(COMPONENTS, self.vector, strict=False) if m}

    @kept
    def mass_g(self) -> float:
        """Total mass [g]."""
        return sum(self.vector[: len(COMPONENTS)])

    @kept
    def volume_ml(self) -> float:
        """Volume at 20 °C by the binary sum [mL]."""
        return volume_of_sums_ml(self.sums)

    @kept
    def sums(self) -> tuple[float, ...]:
        """The seven volume sums of `service.physics.mixture`."""
        return row_sums(self.vector)

    @kept
    def litres_per_g(self) -> tuple[float, ...]:
        """What a gram more of each component adds to the volume [L/g]."""
        return tuple([v / 1000.0 for v in partial_volumes_ml_g(self.sums)])

    @kept
    def acids(self) -> AcidState:
        """The acids and strong ions of the portion."""
        return AcidState(self.vector[_ACIDS_AT:_IONS_AT], self.vector[_IONS_AT], self.vector[_IONS_AT + 1])

    def tally(self, name: str) -> float:
        """One of the TALLIES."""
        return self.vector[_TALLY_AT[name]]

    def scaled(self, factor: float) -> Contents:
        """A multiple of this portion."""
        return Contents(tuple([factor * v for v in self.vector]))

    def plus(self, other: Contents) -> Contents:
        """This portion and another together."""
        return Contents(tuple(map(add, self.vector, other.vector)))


NOTHING = Contents((0.0,) * SIZE)


def together(portions: Sequence[Contents], amounts: Sequence[float]) -> Contents:
    """The sum of portions, each so many times.

    >>> salt = Contents.of({COMPONENTS[0]: 1.0})
    >>> together([salt, salt], [2.0, 3.0]).mass_g
    5.0
    """
    total: list[float] | None = None
    for portion, amount in zip(portions, amounts, strict=True):
        if amount:
            part = [amount * v for v in portion.vector]
            total = part if total is None else list(map(add, total, part))
    return NOTHING if total is None else Contents(tuple(total))


def contents_per_g(ingredient: Ingredient) -> Contents:
    """What a gram of an ingredient brings to a drink.

    Carbonates bring what stays after their carbon dioxide has left, counted as ash.

    Parameters: ingredient of the catalogue, or as measured.
    Returns: Contents of one gram [g, mL, mmol, meq].
    Source: the catalogue's composition and juice share (`service.catalogue.derived`) and acids
    (`service.catalogue.acidity`).

    Example: 4.6 g of citric acid in 100 g of lemon juice are 0.24 mmol/g.

    >>> from service.catalogue.lookup import get_ingredient
    >>> round(contents_per_g(get_ingredient("lemon_juice_fresh")).acids.acids_mmol[0], 2)
    0.24
    """
    if ingredients().get(ingredient.id) is ingredient:
        return _of_row(ingredient.id)
    return _from_composition(ingredient)


@cache
def _of_row(ingredient_id: str) -> Contents:
    return _from_composition(ingredients()[ingredient_id])


def _from_composition(ingredient: Ingredient) -> Contents:
    gas = gas_lost_g_per_g(ingredient)
    masses = {c: g / 100.0 for c, g in ingredient.composition.items()}
    if gas:
        masses[Component.ASH] = masses.get(Component.ASH, 0.0) - gas
    juice_ml = juice_equivalent_l_per_kg(ingredient)
    return Contents.of(
        masses,
        acids=acids_per_kg(ingredient).state.scaled(1e-3),
        fermentable_g=fermentable_g_per_100g(ingredient).typical / 100.0,
        juice_ml=juice_ml,
        citrus_juice_ml=juice_ml if ingredient.is_citrus else 0.0,
    )
