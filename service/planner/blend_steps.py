"""The work of a blend in order: the ferment at rest, racked and degassed; then what goes in, and what is read after it.

Waits and ways are common practice, no source: they are the least, and the check decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from service.catalogue.records import Category, Ingredient
from service.model.lot_class import JUICE_ROW
from service.planner.answers import PRACTICE, Amount, Caution, NextReading
from service.planner.answers_blend import FirstAddition
from service.planner.answers_decisions import AmountChange
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.hand_over import Blended
from service.planner.materials import Material
from service.planner.plain_words import amount_in_words, joined
from service.planner.stabilising.blocks import LEAST_DAYS
from service.planner.stabilising.steps import SETTLE_H
from service.planner.work import WorkStep

MIXED_H: Final = 24.0
"""Hours before pH and acidity are read after anything went in (common practice, no source)."""

HAZE_H: Final = 48.0
"""Hours in the cold in which the pulp of juice settles, up to half as long again (common practice, no source)."""

_LAST_H: Final = 72.0

_ORDER: Final[Mapping[Category, int]] = {
    Category.WATER: 0,
    Category.SPIRIT: 1,
    Category.CUSTOM: 2,
    Category.JUICE: 3,
    Category.CONCENTRATE: 4,
    Category.SUGAR: 5,
    Category.HONEY: 6,
    Category.ACID: 7,
    Category.SALT: 8,
}
"""What goes in before what: thin before thick, acids and carbonates last."""

_HEATED: Final = ("pasteurised", "sterile_filtered")
_SALTS: Final = frozenset({"sulfite", "sorbate"})


def blend_steps(
    blended: Blended,
    amounts: Sequence[Amount],
    cautions: Sequence[Caution],
    readings: Sequence[NextReading],
    first: FirstAddition | None = None,
    *,
    settled: bool = True,
) -> tuple[WorkStep, ...]:
    """The steps of a plan for one drink.

    Parameters: blended, what is poured before the reading; amounts of all of it, with the words of scale and jug;
        cautions of the plan; readings that are to follow, in the caller's units; first, what of it goes in before
        measuring where some is held back; settled, whether the plan is one to pour.
    Returns: steps in order.
    """
    if not settled:
        return (_NOT_YET,)
    return (*stops(cautions), *_rest(blended), *pouring(blended, amounts), *after(blended, readings, first))


def portions_steps(
    drinks: Sequence[tuple[str, Blended, Sequence[Amount]]],
    cautions: Sequence[Caution],
    readings: Sequence[NextReading],
    *,
    settled: bool,
) -> tuple[WorkStep, ...]:
    """The steps of a batch that is split: the ferment once, then each drink in its own vessel.

    Parameters: drinks, each with its name and amounts; cautions; readings that are to follow; settled.
    Returns: steps in order.
    """
    if not settled:
        return (_NOT_YET,)
    found = [*stops(cautions), *_rest(_together([blended for _, blended, _ in drinks]))]
    for k, (name, blended, amounts) in enumerate(drinks):
        found += [replace(one, do=f"{name}: {one.do}") for one in pouring(blended, amounts, waited=k > 0)]
    found.append(step("Let all of them stand, closed and cool.", wait_h=MIXED_H, check="Nothing lies on the bottom."))
    expected = [r for r in readings if r.expect is not None]
    if expected:
        found.append(step("Stir, degas a sample of each and read it.", check=expectations(expected, named=True)))
    return tuple(found)


def step(do: str, amount_text: str = "", wait_h: float = 0.0, check: str = "") -> WorkStep:
    """A step of common practice."""
    return WorkStep(do, amount_text, wait_h, check, PRACTICE)


_NOT_YET: Final = step(
    "Pour nothing yet: settle first what keeps the targets from being met.",
    check="A target is relaxed, or an ingredient added; then ask again.",
)


def _together(drinks: Sequence[Blended]) -> Blended:
    """What several drinks take of the same materials; only that counts here."""
    masses = [sum(parts) for parts in zip(*(drink.masses_g for drink in drinks), strict=True)]
    return replace(drinks[0], masses_g=masses)


def stops(cautions: Sequence[Caution]) -> Iterator[WorkStep]:
    """What comes before everything else."""
    if any(c.level == "stop" for c in cautions):
        yield step(
            "First settle what is marked stop in the cautions.", check="Nothing is marked stop when you ask again."
        )


def _rest(blended: Blended) -> Iterator[WorkStep]:
    """The ferment at rest and, where salts are planned, stabilised."""
    ferments = blended.ferments
    if not ferments:
        return
    names = joined([m.name for m, _, _ in ferments])
    yield step(f"Read the gravity of {names}, from a degassed sample.", check="Write it down with the day.")
    yield step(
        f"Read the gravity of {names} again.",
        wait_h=24.0 * LEAST_DAYS,
        check="Equal to the first: the ferment rests. If it fell, wait and read again.",
    )
    on_lees = [m.name for m, lot, _ in ferments if lot.on_lees is not False]
    if on_lees:
        yield step(
            f"Rack {joined(on_lees)} off the lees into a clean vessel, without splashing.",
            check="Clear of the sediment; read the volume again.",
        )
    if _salted(blended):
        yield step(
            "Stabilise the ferment before anything sweet goes in; a stabilising plan reckons the doses.",
            check="Free SO2 and pH measured.",
        )


def _salted(blended: Blended) -> bool:
    return bool(blended.ferments) and not _SALTS.isdisjoint(blended.circumstances.intended.hurdles)


def _lots(blended: Blended, amounts: Sequence[Amount], there: frozenset[str]) -> Iterator[WorkStep]:
    """The lots, but for those that are there already."""
    text = {a.name: a.amount_text for a in amounts}
    lots = [(m, m.source, g) for m, g in blended.poured if isinstance(m.source, LotAsked)]
    lots.sort(key=lambda lot: (lot[1].lot.lot_class in JUICE_ROW, -lot[2], lot[0].name))
    empty = not any(material.name in there for material, _, _ in lots)
    for material, asked, _ in lots:
        if material.name in there:
            continue
        juice = asked.lot.lot_class in JUICE_ROW
        name, first = material.name, empty
        empty = False
        yield step(
            f"Pour {name} into the mixing vessel." if first else f"Run in {name} below the surface.",
            text[material.name],
            check="Heat-treated, unless it is meant to be raw." if juice else "The volume agrees with the amount.",
        )
    if lots and any(asked.degassed is not True for _, asked, _ in lots):
        yield step(
            "Degas it: stir gently, again and again, until it is flat.",
            check="A pinch of sugar in a glass of it does not foam; a tenth of the vessel is empty.",
        )


def pouring(
    blended: Blended,
    amounts: Sequence[Amount],
    *,
    there: frozenset[str] = frozenset(),
    waited: bool = False,
) -> Iterator[WorkStep]:
    """What goes in: lots, then what is added, thin before thick, acids and carbonates last.

    Parameters: blended; amounts, with the words of scale and jug; there, the names of lots that are in the vessel;
        waited, whether the salts have had their time already.
    Returns: steps.
    """
    yield from _lots(blended, amounts, there)
    text = {a.name: a.amount_text for a in amounts}
    added = [(m, m.source) for m, _ in blended.poured if isinstance(m.source, AdditionAsked)]
    added.sort(key=lambda a: (_ORDER[a[1].ingredient.category], a[0].name))
    wait_h = SETTLE_H if _salted(blended) and not there and not waited else 0.0
    for material, asked in added:
        do, check = _how(material, asked, material.said)
        yield step(do, text[material.name], wait_h, check)
        wait_h = 0.0
    if added:
        yield step(
            "Stir slowly from the bottom, without drawing in air, and close the vessel.",
            check="The same colour and no streaks from top to bottom.",
        )


def _how(material: Material, asked: AdditionAsked, name: str) -> tuple[str, str]:
    """How one ingredient goes in, and what to look at."""
    kind = asked.ingredient.category
    if kind is Category.WATER:
        return f"Add {name}, boiled and cooled unless it comes clean.", "As warm as the drink."
    if kind is Category.SPIRIT:
        return f"Stir in {name}; keep flames away.", "No streaks."
    if kind is Category.HONEY:
        return (
            f"Weigh {name}, thin it with some of the drink, warmed in a water bath to 40 °C (104 °F) at most and never "
            "boiled; stir it in.",
            "No honey lies on the bottom.",
        )
    if kind is Category.SUGAR:
        return f"Dissolve {name} in some of the drink and stir it in.", "No grain lies on the bottom."
    if kind is Category.CONCENTRATE:
        return (
            f"Thaw {name}, shake it, weigh it, thin it with some of the drink and stir it in.",
            "Nothing thick is left in its container.",
        )
    if kind is Category.ACID:
        return (
            f"Last, dissolve {name} in some of the drink and stir it in; protect the eyes.",
            "Clear before it goes in.",
        )
    if kind is Category.SALT:
        return (
            f"Last, stir {name} with some of the drink and add it in small portions, waiting for the foam to fall; "
            "protect the eyes.",
            "No more foam rises; most of the gas is gone.",
        )
    if kind is Category.JUICE or asked.ingredient.juice_share_percent > 0.0:
        if asked.treatment in _HEATED:
            treated = asked.treatment.replace("_", " ")
            return f"Run in {name}, {treated} and cooled.", "Its seal was whole, its smell clean."
        return (
            f"Heat-treat {name} and let it cool, closed; then run it in.",
            "Washed and sound fruit only; as raw juice it carries germs.",
        )
    return f"Stir in {name}.", "Nothing lies on the bottom." if material.density_g_ml is None else "No streaks."


def _hazy(blended: Blended) -> bool:
    """Whether pulp can settle: juice or concentrate is in it."""
    return any(
        m.source.lot.lot_class in JUICE_ROW if isinstance(m.source, LotAsked) else _pulpy(m.source.ingredient)
        for m, _ in (*blended.already, *blended.poured)
    )


def _pulpy(ingredient: Ingredient) -> bool:
    return ingredient.juice_share_percent > 0.0 or ingredient.category in (Category.JUICE, Category.CONCENTRATE)


def after(blended: Blended, readings: Sequence[NextReading], first: FirstAddition | None) -> Iterator[WorkStep]:
    """Reading, correcting, settling.

    Parameters: blended, what is in the vessel then; readings that follow; first, where some is held back.
    Returns: steps.
    """
    mixed = len(blended.poured) > 1
    if not mixed and first is None:
        return
    expected = [r for r in readings if r.expect is not None]
    yield step(
        "Let it stand, closed and cool; then stir, degas a sample and read it.",
        wait_h=MIXED_H,
        check=expectations(expected),
    )
    if first is not None and first.held_back:
        rest = joined([_in_words(blended, change) for change in first.held_back])
        yield step(
            "Have it corrected with what was read: how much of the rest goes in. Add that.",
            check=f"By the plan it is about {rest}.",
        )
    else:
        yield step(
            "If a reading lies outside, read it again, then have it corrected; if all agree, leave it.",
            check="Every reading lies in what is expected.",
        )
    if _hazy(blended):
        yield step(
            f"Keep it cold and still, {HAZE_H:g} to {_LAST_H:g} h, for pulp to settle; then draw it off.",
            wait_h=HAZE_H,
            check="The layer at the bottom no longer grows: its height is what settling loses.",
        )


def _in_words(blended: Blended, change: AmountChange) -> str:
    of = next(m for m in blended.materials if m.name == change.name)
    words = amount_in_words(change.mass_g, blended.circumstances, liquid=of.density_g_ml is not None)
    return f"{words} of {of.said}"


def expectations(readings: Iterable[NextReading], *, named: bool = False) -> str:
    """What readings are expected to be, in words.

    >>> expectations([NextReading("read the gravity", "hydrometer", 1.012, "SG 20/20", low=1.01, high=1.014)])
    'Expect 1.012 SG 20/20 (1.01 to 1.014).'
    """
    told = []
    for reading in readings:
        ends = "" if reading.low is None or reading.high is None else f" ({reading.low:g} to {reading.high:g})"
        name = f"{reading.do.partition(':')[0]} " if named and ":" in reading.do else ""
        told.append(f"{name}{reading.expect:g} {reading.unit}".rstrip() + ends)
    return f"Expect {'; '.join(told)}." if told else ""
