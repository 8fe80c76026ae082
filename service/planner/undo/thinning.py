"""Thinning a drink: water, something at hand that has less of what is too much, and what keeps the rest in place."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category
from service.model.lot_class import Assumed
from service.planner.answers import PRACTICE
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.plain_words import joined, plain_names, plain_property
from service.planner.undo.goal import Goal, held
from service.planner.undo.mixing import Vessel, at_hand, lots_at_hand, own_value, unlimited
from service.planner.undo.options import Way, of_stock

ARITHMETIC: Final = "arithmetic"
_LIQUIDS: Final = (Category.WATER, Category.JUICE, Category.CONCENTRATE, Category.CUSTOM)

WATER: Final = Way(
    "water",
    "Thin it with water: boiled and cooled, or otherwise without air and chlorine.",
    "Water thins everything alike: sweetness, acidity, strength and juice fall together, and the balance of sweet and "
    "sour stays as it is.",
    ARITHMETIC,
    "yes",
    ("water", "room in the vessel"),
)

NO_WATER: Final = "No amount of water that would still leave a drink reaches it."


def category_or(
    vessel: Vessel, categories: Sequence[Category], default: str
) -> tuple[AdditionAsked, tuple[Assumed, ...]]:
    """What is at hand of some categories, else a row of the catalogue, which is then assumed."""
    own = at_hand(vessel.asked.additions, categories)
    if own:
        return unlimited(own[0]), ()
    row = get_ingredient(default)
    why = Assumed(f"{categories[0].value} used", row.id, "our default: none is at hand", "name yours as an addition")
    return AdditionAsked(row), (why,)


def water(vessel: Vessel | None, goal: Goal | None) -> Way:
    """Thinning with water alone."""
    if vessel is None or goal is None:
        return WATER
    source, assumed = category_or(vessel, (Category.WATER,), "water")
    found = of_stock(vessel, source, goal.name, goal.aim, WATER, NO_WATER)
    return replace(found, targets=goal.targets, judged=len(goal.targets), assumed=assumed)


def thinner_at_hand(vessel: Vessel, goal: Goal, which: Way) -> Iterator[Way]:
    """Everything liquid at hand whose own figure lies beyond the aim, water aside; `which` in words for each."""
    down = goal.aim < goal.now
    sources: list[LotAsked | AdditionAsked] = [*lots_at_hand(vessel.asked.lots)]
    sources += [unlimited(a) for a in at_hand(vessel.asked.additions, _LIQUIDS[1:])]
    names = [s.lot.name if isinstance(s, LotAsked) else s.ingredient.id for s in sources]
    plain = plain_names(sorted(set(names)))
    for source, name in zip(sources, names, strict=True):
        own = own_value(vessel, source, goal.name)
        if own is None or ((own >= goal.aim) if down else (own <= goal.aim)):
            continue
        said = f"“{name}”" if isinstance(source, LotAsked) else plain[name]
        told = replace(which, name=f"{which.name}: {plain[name]}", do=which.do.format(said), needs=(said,))
        found = of_stock(vessel, source, goal.name, goal.aim, told, "No amount of it reaches what is wanted.")
        yield replace(found, targets=goal.targets, judged=len(goal.targets))


def holding(
    vessel: Vessel,
    goal: Goal,
    which: Way,
    parts: Sequence[tuple[AdditionAsked, tuple[Assumed, ...]]],
    keep: tuple[str, ...],
) -> Iterator[Way]:
    """A way that reaches the aim with some parts and keeps other properties where they are, as far as they go."""
    kept = held(vessel, keep, goal)
    if not kept:
        return
    targets = (*goal.targets, *kept)
    found = vessel.solved([part for part, _ in parts], targets)
    if found is None:
        return
    mix, added, met = found
    if not any(mass > 0.0 for mass in added):
        return
    yield replace(
        which,
        possible="yes" if met else "partly",
        mix=mix,
        added_g=tuple(added),
        targets=targets,
        judged=len(targets),
        assumed=tuple(a for _, told in parts for a in told),
    )


def everything_at_hand(vessel: Vessel | None, goal: Goal | None, keep: tuple[str, ...]) -> Iterator[Way]:
    """All that is at hand at once, where there are two things at least."""
    if vessel is None or goal is None:
        return
    additions = [unlimited(a) for a in vessel.asked.additions if a.most_g is None or a.most_g > 0.0]
    lots = lots_at_hand(vessel.asked.lots)
    if len(additions) + len(lots) < 2:
        return
    targets = (*goal.targets, *held(vessel, keep, goal))
    found = vessel.solved([*lots, *additions], targets)
    if found is None:
        return
    mix, added, _ = found
    if not any(mass > 0.0 for mass in added):
        return
    kept = [plain_property(t.name) for t in targets if t.priority > 1 and t.asked.startswith("as it is")]
    also = f", {joined(kept)} kept where that goes" if kept else ""
    yield Way(
        "everything_at_hand",
        "Use what is at hand together.",
        f"The smallest addition of what was named that comes nearest to every target{also}.",
        ARITHMETIC,
        "yes",
        mix=mix,
        added_g=tuple(added),
        targets=targets,
        judged=len(goal.targets),
    )


def juice_in_general(do: str, limit: str) -> Way:
    """Juice where none is at hand: words alone."""
    return Way("juice", do, limit, PRACTICE, "partly", ("juice, pasteurised", "its Brix and acidity"))
