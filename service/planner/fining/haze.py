"""What clouds a drink: pectin and protein from its composition, pulp and yeast from what it is made of, and the tests.

A test that was told goes before what a composition makes likely, and what the maker knows before both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from service.catalogue.fining import HazeKind
from service.catalogue.records import Category, FruitFamily, Ingredient
from service.errors import InconsistentError
from service.model.lot_class import LotClass
from service.physics.solutes import Component
from service.planner.answers import PRACTICE
from service.planner.asked import AdditionAsked
from service.planner.drink import Drink, fermented
from service.planner.fining.answers import Diagnosis, HazePart, HazeSource, Presence, TestName
from service.planner.fining.asked import FiningAsked, Observations
from service.planner.plain_words import in_plain_words

TESTED_BY: Final[dict[HazeKind, str]] = {
    "protein": "clears_when_warm",
    "pectin": "spirit_test_strings",
    "yeast": "cloudy_with_yeast",
}
"""The observation that shows a kind of haze."""

SPUN_PULP: Final = (0.08, 0.12)
"""Pulp spun out of single-strength juice made of orange concentrate, by volume (trade product sheets, a weak secondary
source); 0.10 to 0.25 of hand-pressed juice (common practice, no source)."""

_PRESSED_PULP: Final = (0.10, 0.25)
_JUICY: Final = (Category.JUICE, Category.CONCENTRATE, Category.CUSTOM)
_NO_TANNIN: Final = (FruitFamily.CITRUS, FruitFamily.NONE)
_TANNIC_LOTS: Final = (LotClass.GRAPE_WINE, LotClass.FRUIT_WINE, LotClass.CIDER_PERRY, LotClass.BERRY_JUICE)
_TRACE_G_PER_L: Final = 5e-4


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that a drink is made of, as far as its haze cares; masses None where its amount is not known.

    `name` is its id or the name of the lot, `said` what it is called in a sentence.
    """

    name: str
    said: str
    ingredient: Ingredient | None
    lot_class: LotClass | None
    g_per_l: float | None
    pectin_g_per_l: float | None
    protein_g_per_l: float | None
    treatment: str | None

    @property
    def citrus(self) -> bool:
        """Whether it is citrus juice, fresh or concentrated."""
        if self.ingredient is None:
            return self.lot_class is LotClass.CITRUS_JUICE
        return self.ingredient.fruit_family is FruitFamily.CITRUS

    @property
    def fresh(self) -> bool:
        """Whether it is juice and no concentrate."""
        return self.ingredient is None or self.ingredient.category in (Category.JUICE, Category.CUSTOM)

    @property
    def juicy(self) -> bool:
        """Whether it is juice, concentrate or something of the caller's."""
        return self.lot_class in (LotClass.CITRUS_JUICE, LotClass.BERRY_JUICE) or (
            self.ingredient is not None and self.ingredient.category in _JUICY
        )

    @property
    def tannic(self) -> bool:
        """Whether it may bring tannin."""
        if self.ingredient is None:
            return self.lot_class in _TANNIC_LOTS
        return self.ingredient.fruit_family not in _NO_TANNIN


def parts_of(drink: Drink) -> tuple[Part, ...]:
    """What a drink is made of: its recipe, or what its figures say that it holds.

    Parameters: drink.
    Returns: parts in the order of the recipe; none for figures alone.
    """
    if not drink.materials:
        return tuple(
            Part(
                held.ingredient.id,
                in_plain_words(held.ingredient.id),
                held.ingredient,
                None,
                held.g_per_l,
                _brings(held.ingredient, Component.PECTIN, held.g_per_l),
                _brings(held.ingredient, Component.PROTEIN, held.g_per_l),
                held.treatment,
            )
            for held in drink.holds
        )
    assert drink.volume_l is not None
    found = []
    for material in drink.materials:
        if material.least_g <= 0.0:
            continue
        g_per_l, masses, source = material.least_g / drink.volume_l.value, material.per_g.masses_g, material.source
        addition = source if isinstance(source, AdditionAsked) else None
        found.append(
            Part(
                material.name,
                material.said,
                None if addition is None else addition.ingredient,
                None if isinstance(source, AdditionAsked) else source.lot.lot_class,
                g_per_l,
                g_per_l * masses.get(Component.PECTIN, 0.0),
                g_per_l * masses.get(Component.PROTEIN, 0.0),
                None if addition is None else addition.treatment,
            )
        )
    return tuple(found)


def _brings(ingredient: Ingredient, component: Component, g_per_l: float | None) -> float | None:
    share = ingredient.grams(component) / 100.0
    if share == 0.0:
        return 0.0
    return None if g_per_l is None else share * g_per_l


def problems_of(asked: FiningAsked) -> tuple[HazeKind, ...]:
    """What the haze is, as the maker knows it or as a test showed.

    Parameters: asked.
    Returns: kinds of haze, none where it is not known.
    Raises: InconsistentError where a test speaks against what is said to be the problem.

    >>> from service.planner.drink import DrinkRead, Span, drink_from_figures
    >>> one = Span.exact
    >>> drink = drink_from_figures(DrinkRead(one(19.0), None, one(6.5), one(60.0)))
    >>> problems_of(FiningAsked(drink, "clear", observations=Observations(clears_when_warm=True)))
    ('protein',)
    """
    found: list[HazeKind] = [] if asked.problem is None else [asked.problem]
    for kind, test in TESTED_BY.items():
        seen = getattr(asked.observations, test)
        if seen is False and asked.problem == kind:
            raise InconsistentError(
                f"The problem is said to be {kind}, and the test that would show it was negative: change one of them.",
                f"/observations/{test}",
            )
        if seen and kind not in found:
            found.append(kind)
    return tuple(found)


def suspects_of(sources: Sequence[HazeSource]) -> tuple[HazeKind, ...]:
    """Kinds of haze that nothing speaks against, where none is known."""
    return tuple(source.what for source in sources if source.present != "no")


def haze_sources(asked: FiningAsked, parts: Sequence[Part], problems: Sequence[HazeKind]) -> tuple[HazeSource, ...]:
    """What clouds the drink, or could.

    Parameters: asked; parts of the drink; problems, what is known of its haze.
    Returns: one record for each kind of haze.
    """
    return tuple(_sources(asked, parts, problems))


def _sources(asked: FiningAsked, parts: Sequence[Part], problems: Sequence[HazeKind]) -> Iterator[HazeSource]:
    seen = asked.observations
    yield _of_substance(asked, parts, "pectin", problems, seen.spirit_test_strings)
    yield _of_substance(asked, parts, "protein", problems, seen.clears_when_warm)
    yield _pulp(asked.drink, parts, problems)
    alive = fermented(asked.drink)
    told: Presence = "possible" if alive else "no"
    if seen.cloudy_with_yeast is not None:
        told = "yes" if seen.cloudy_with_yeast else "no"
    yield HazeSource(
        "yeast",
        "yes" if "yeast" in problems else told,
        None,
        (),
        "A ferment holds yeast until it has settled; cold helps, and gas that still rises keeps it up."
        if alive
        else "No ferment is in this drink.",
        PRACTICE,
    )
    tannic = tuple(HazePart(part.name, None) for part in parts if part.tannic)
    yield HazeSource(
        "tannin",
        "yes" if "tannin" in problems else "possible" if tannic else "unknown" if not parts else "no",
        None,
        tannic,
        "Phenols of dark and stone fruit, apples and grapes brown, pucker, and make half of a chill haze; no "
        "figure is on file."
        if tannic
        else "Nothing in it is known for tannin.",
        PRACTICE,
    )


_TELLS: Final = {
    "pectin": (
        "Pectin carries the haze of citrus, with protein, hesperidin, fragments of cellulose and oil; warming does not "
        "clear it.",
        "baker_cameron",
    ),
    "protein": (
        "Protein is part of the cloud, and with small phenols it makes a chill haze that comes with cold and goes with "
        "warmth.",
        PRACTICE,
    ),
}


def _of_substance(
    asked: FiningAsked, parts: Sequence[Part], what: HazeKind, problems: Sequence[HazeKind], test: bool | None
) -> HazeSource:
    """Pectin or protein: what the composition says, and what the test says to that."""
    drink = asked.drink
    total = drink.pectin_g_per_l if what == "pectin" else drink.protein_g_per_l
    each = [(part.name, part.pectin_g_per_l if what == "pectin" else part.protein_g_per_l) for part in parts]
    brings = [(name, g) for name, g in each if g is None or g > _TRACE_G_PER_L]
    known = sum(g for _, g in brings if g is not None)
    text, source = _TELLS[what]
    if total is None and known > 0.0:
        total = known
        text += " The figure is what the ingredients of known amount bring, at least."
    present: Presence = "unknown"
    if total is not None:
        present = "yes" if total > _TRACE_G_PER_L else "no"
    elif brings:
        present = "possible"
    if what in problems:
        present = "yes"
    elif test is False and present in ("yes", "possible"):
        present = "possible"
        text += " The test told speaks against it as what clouds the glass."
    if what == "pectin" and asked.pectinase_used and present == "yes" and "pectin" not in problems:
        present = "possible"
        text += " A pectinase was used, and may have broken it down."
    ordered = sorted(brings, key=lambda pair: -(pair[1] or 0.0))
    return HazeSource(
        what,
        present,
        None if total is None else round(total, 4),
        tuple(HazePart(name, None if g is None else round(g, 4)) for name, g in ordered),
        text,
        source,
    )


def _pulp(drink: Drink, parts: Sequence[Part], problems: Sequence[HazeKind]) -> HazeSource:
    juicy = tuple(HazePart(part.name, None) for part in parts if part.juicy)
    text = "No juice is known to be in it."
    source, citrus = PRACTICE, drink.citrus_percent or 0.0
    if citrus > 0.0:
        pressed = any(part.citrus and part.fresh for part in parts)
        low, high = SPUN_PULP[0], (_PRESSED_PULP if pressed else SPUN_PULP)[1]
        text = (
            f"{citrus:.0f} % citrus juice brings spun pulp of about {citrus * low:.1f} to {citrus * high:.1f} % of the "
            f"volume ({100 * low:.0f} to {100 * high:.0f} % of the juice; weak secondary source"
            f"{', the upper end common practice for pressed juice' if pressed else ''}); settled by itself it takes "
            "two to three times as much."
        )
    elif juicy:
        text = "Fruit brings pulp unless it was filtered; it settles by itself in the cold."
    elif not parts and drink.citrus_percent is None:
        text = "Not known: nothing says what fruit is in it."
    present: Presence = "possible" if juicy or citrus > 0.0 else "no"
    if not parts and drink.citrus_percent is None:
        present = "unknown"
    return HazeSource("pulp", "yes" if "pulp" in problems else present, None, juicy, text, source)


def diagnoses(seen: Observations) -> tuple[Diagnosis, ...]:
    """Three tests of a glass, with what was told of them."""
    return tuple(
        Diagnosis(
            test,
            how,
            if_yes,
            if_no,
            "not_done" if (told := getattr(seen, test)) is None else "yes" if told else "no",
            PRACTICE,
        )
        for test, how, if_yes, if_no in _TESTS
    )


_TESTS: Final[tuple[tuple[TestName, str, str, str], ...]] = (
    (
        "clears_when_warm",
        "Stand a glass in the refrigerator overnight, look, then warm it to 30 °C in a water bath and look again.",
        "A chill haze, of protein and small phenols: it shows only when cold, so judge clearing in the cold.",
        "No chill haze: pectin, pulp or yeast.",
    ),
    (
        "spirit_test_strings",
        "Pour one part of the drink into three to four parts of 95 % spirit, away from any flame; wait, and do not "
        "drink it.",
        "Jelly strands or strings: pectin, which gelatin leaves and a pectinase breaks down for good.",
        "No strings: little pectin, or one that is broken down already.",
    ),
    (
        "cloudy_with_yeast",
        "Stand a tall glass in the cold for two days and look at the bottom: a creamy, even layer that swirls up is "
        "yeast.",
        "Yeast: let the ferment end, stand it cold and rack; fine only what is left.",
        "No yeast layer: pulp is coarse and coloured, pectin and protein hardly settle.",
    ),
)
