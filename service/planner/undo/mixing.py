"""What is in the vessel with what may go in: properties along one addition, and the amount that reaches a value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Final

from service.catalogue.records import Category
from service.errors import InputError
from service.model.contents import Contents
from service.physics.roots import root_between
from service.planner.asked import AdditionAsked, Circumstances, LotAsked, PlanAsked, TargetAsked
from service.planner.cautions import cautions_for
from service.planner.materials import Material, materials_of, poured
from service.planner.predict import Foreseen, foreseen, value_of
from service.planner.solving import answer
from service.planner.undo.asked import UndoAsked
from service.solver.goals import Outcome

MOST_TIMES: Final = 10.0
"""More than so many times the drink of a liquid is no correction of it (our default)."""

MOST_POWDER_G_PER_L: Final = 20.0
"""The same of an acid or a carbonate [g/L of drink] (our default)."""

_LEAST_SHARE: Final = 1e-6
_TOLERANCE: Final = 1e-13
_DUST: Final = 1e-10
_SEARCH_S: Final = 1.0


@dataclass(frozen=True, slots=True)
class Mix:
    """A drink in the vessel, `base_g` of each material, and the `places` of what may be added to it."""

    materials: tuple[Material, ...]
    base_g: tuple[float, ...]
    places: tuple[int, ...]
    circumstances: Circumstances

    def masses_g(self, added_g: Sequence[float]) -> list[float]:
        """Mass of every material with so much of each addition."""
        masses = list(self.base_g)
        for place, mass_g in zip(self.places, added_g, strict=True):
            masses[place] += mass_g
        return masses

    def contents(self, added_g: Sequence[float]) -> Contents:
        """Contents of the whole with so much of each addition."""
        return poured(self.materials, self.masses_g(added_g))

    def value(self, name: str, added_g: Sequence[float]) -> float | None:
        """A property with so much of each addition; None where it is not defined."""
        masses = self.masses_g(added_g)
        contents = poured(self.materials, masses)
        return value_of(
            name, self.materials, masses, contents, self.circumstances.end_point_ph, self.circumstances.senses
        )

    def foreseen(self, added_g: Sequence[float]) -> Foreseen:
        """Everything that is predicted with so much of each addition."""
        return foreseen(self.materials, self.masses_g(added_g), self.circumstances)

    def stock_g(self, which: int = 0) -> float:
        """The most that may go in of an addition: its stock, or where it would be no correction any more."""
        material = self.materials[self.places[which]]
        asked = material.source
        whole_g = sum(self.base_g)
        most = MOST_TIMES * whole_g
        if isinstance(asked, AdditionAsked) and asked.ingredient.category in (Category.ACID, Category.SALT):
            most = MOST_POWDER_G_PER_L * self.contents([0.0] * len(self.places)).volume_ml / 1000.0
        return most if material.most_g is None else min(most, material.most_g)

    def limited(self, which: int = 0) -> bool:
        """Whether it is a stock that ends an addition."""
        most_g = self.materials[self.places[which]].most_g
        return most_g is not None and most_g <= self.stock_g(which)

    def amount_to(self, name: str, aim: float, most_g: float) -> float | None:
        """The least of the one addition that brings a property to a value [g]; None where none up to `most_g` does.

        Parameters: name of the property; aim in its unit; most_g, where the search ends [g].
        Returns: mass [g], 0 where the drink is there already.
        """
        start = self.value(name, [0.0])
        if start is None:
            return None
        if start == aim:
            return 0.0
        sign = 1.0 if start > aim else -1.0

        def beyond(mass_g: float) -> float | None:
            value = self.value(name, [mass_g])
            return None if value is None else sign * (value - aim)

        def surely_beyond(mass_g: float) -> float:
            found = beyond(mass_g)
            return -inf if found is None else found

        low, high = 0.0, min(_LEAST_SHARE * sum(self.base_g), most_g)
        while high > 0.0:
            found = beyond(high)
            if found is None:
                return None
            if found <= 0.0:
                return root_between(surely_beyond, low, high, tolerance=_TOLERANCE)
            if high >= most_g:
                return None
            low, high = high, min(2.0 * high, most_g)
        return None

    def until(self, name: str, bound: float, most_g: float, *, falling: bool) -> float:
        """The most of the one addition before a property passes a bound [g], `most_g` where it never does."""
        start = self.value(name, [0.0])
        if start is None:
            return most_g
        if (start <= bound) if falling else (start >= bound):
            return 0.0
        found = self.amount_to(name, bound, most_g)
        return most_g if found is None else found


class Vessel:
    """The drink as it is."""

    def __init__(self, asked: UndoAsked) -> None:
        self.asked, self.circumstances = asked, asked.circumstances
        self.mix = self.with_(())
        self.now = self.mix.foreseen([])
        self.contents = self.mix.contents([])
        self.litres = self.contents.volume_ml / 1000.0
        self.cautions = cautions_for(
            self.mix.materials, self.mix.base_g, self.contents, self.now.predicted, asked.circumstances
        )

    def with_(self, more: Sequence[LotAsked | AdditionAsked]) -> Mix:
        """The vessel and what may go in, in the order given."""
        lots = [m for m in more if isinstance(m, LotAsked)]
        additions = [m for m in more if isinstance(m, AdditionAsked)]
        materials = materials_of((*self.asked.in_vessel, *lots), (*self.asked.added, *additions))
        places = tuple(next(k for k, m in enumerate(materials) if m.source is one) for one in more)
        base = tuple(0.0 if k in places else m.least_g for k, m in enumerate(materials))
        return Mix(materials, base, places, self.circumstances)

    def value(self, name: str) -> float | None:
        """A property of the drink as it is."""
        return self.mix.value(name, [])

    def solved(
        self, more: Sequence[LotAsked | AdditionAsked], targets: Sequence[TargetAsked]
    ) -> tuple[Mix, list[float], bool] | None:
        """Amounts of several things at once that meet targets by their priority, with the least that is added.

        Parameters: more, within their limits; targets.
        Returns: the mix, the mass of each [g], and whether all targets are met; None where nothing was found.
        """
        mix = self.with_(more)
        lots = [m for m in more if isinstance(m, LotAsked)]
        additions = [m for m in more if isinstance(m, AdditionAsked)]
        question = PlanAsked(
            (*self.asked.in_vessel, *lots),
            (*self.asked.added, *additions),
            tuple(targets),
            circumstances=self.circumstances,
            deadline_s=_SEARCH_S,
        )
        try:
            found = answer(question, mix.materials)
        except InputError:
            return None
        if not found.result.solution.found:
            return None
        masses = found.numbers.masses_g(found.result.x)
        dust = _DUST * sum(masses)
        added = [masses[place] if masses[place] > dust else 0.0 for place in mix.places]
        return mix, added, found.result.outcome is Outcome.MET


def at_hand(additions: Sequence[AdditionAsked], categories: Sequence[Category]) -> tuple[AdditionAsked, ...]:
    """The additions of some categories that may be used, by the order of the categories and their ids."""
    found = [a for a in additions if a.ingredient.category in categories and (a.most_g is None or a.most_g > 0.0)]
    return tuple(sorted(found, key=lambda a: (list(categories).index(a.ingredient.category), a.ingredient.id, a.order)))


def lots_at_hand(lots: Sequence[LotAsked]) -> tuple[LotAsked, ...]:
    """The lots of which there is any, none of which has to be used, by their names."""
    found = [replace(lot, least_l=0.0) for lot in lots if lot.most_l > 0.0]
    return tuple(sorted(found, key=lambda lot: (lot.lot.name, lot.most_l)))


def own_value(vessel: Vessel, source: LotAsked | AdditionAsked, name: str) -> float | None:
    """A property of something at hand on its own, a litre of it; None where it is not defined, as of a dry solid."""
    (material,) = materials_of((source,), ()) if isinstance(source, LotAsked) else materials_of((), (source,))
    if material.density_g_ml is None:
        return None
    masses = (1000.0 * material.density_g_ml,)
    circumstances = vessel.circumstances
    contents = poured((material,), masses)
    return value_of(name, (material,), masses, contents, circumstances.end_point_ph, circumstances.senses)


def unlimited(addition: AdditionAsked) -> AdditionAsked:
    """An addition of which nothing has to be used, and packs may be opened."""
    return replace(addition, least_g=0.0, given=None, whole_g=None)
