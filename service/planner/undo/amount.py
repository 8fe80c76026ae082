"""A wrong amount: make everything else up to it, add what is missing, come near with what is at hand, or accept it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from service.errors import InconsistentError, InputError
from service.planner.asked import AdditionAsked, LotAsked, TargetAsked
from service.planner.materials import Material, poured
from service.planner.plain_words import in_plain_words, joined, plain_names, value_in_words
from service.planner.predict import Foreseen, foreseen, value_of
from service.planner.undo.answers import Irreversible
from service.planner.undo.asked import Mistake
from service.planner.undo.mixing import Vessel, lots_at_hand, unlimited
from service.planner.undo.options import Way
from service.planner.undo.thinning import ARITHMETIC
from service.quantities import number_text

MOST_TIMES: Final = 100.0
_SAME: Final = 1e-9
_MATCHED: Final = ("sucrose_equivalent_g_per_l", "titratable_acidity", "abv_percent")
_ALL: Final = ("gravity", *_MATCHED)

SCALE_UP: Final = Way(
    "make_everything_up",
    "Add of everything else {} times what went in already: then it is the recipe as meant, and more of it.",
    "Exact, as far as there is enough of everything, and room.",
    ARITHMETIC,
    "yes",
    exact=True,
)

ADD_THE_REST: Final = Way(
    "add_what_is_missing",
    "Add what is missing of it.",
    "Exact: nothing has to be undone.",
    ARITHMETIC,
    "yes",
    exact=True,
)

NEAR: Final = Way(
    "come_near_with_what_is_at_hand",
    "Come near to what was meant with what is at hand.",
    "It aims at the sweetness, acidity and strength that were meant, and what else was in the recipe is thinned.",
    ARITHMETIC,
    "yes",
)

ACCEPT: Final = Way(
    "accept_it",
    "Leave it as it is.",
    "Differences below one noticeable step are hardly noticed.",
    "schutz_pilgrim_1957",
    "partly",
)

IRREVERSIBLE: Final = (
    Irreversible("What is in cannot be taken out again: only more of everything else, or time, follows.", ARITHMETIC),
)


@dataclass(frozen=True, slots=True)
class Wrong:
    """A mistake in its drink: the material, times too much of it, and the drink as it was meant."""

    mistake: Mistake
    source: LotAsked | AdditionAsked
    name: str
    times: float
    meant: Foreseen
    masses_g: tuple[float, ...]


def wrong_of(vessel: Vessel) -> Wrong:
    """The mistake among what is in the vessel.

    Parameters: vessel, with a mistake.
    Returns: Wrong.
    Raises: InputError where it is of nothing in the vessel, or nothing was meant; InconsistentError where the amount
        added is not the one in the vessel, or is the one meant.
    """
    mistake = vessel.asked.mistake
    assert mistake is not None
    material, mass_g = _found(vessel, mistake)
    if mistake.added_g <= 0.0:
        raise InputError("Say how much of it went in: an amount above zero.", mistake.place("added"))
    if mistake.meant_g <= 0.0:
        raise InputError(
            "Nothing of it was meant: name the fault that it makes, such as too_sweet or too_sour.",
            mistake.place("meant"),
        )
    if abs(mistake.added_g - mass_g) > 1e-4 * mass_g:
        raise InconsistentError(
            f"{mass_g:.5g} g of {material.said} are in the vessel and {mistake.added_g:.5g} g are said to be: give the "
            "same amount in both places.",
            mistake.place("added"),
        )
    times = mistake.added_g / mistake.meant_g
    if abs(times - 1.0) <= _SAME:
        raise InconsistentError(
            "Meant and added are the same amount: nothing is wrong with it.", mistake.place("meant")
        )
    if not 1.0 / MOST_TIMES <= times <= MOST_TIMES:
        raise InputError(f"{times:.3g} times what was meant: check the units of both amounts.", mistake.place("meant"))
    pairs = zip(vessel.mix.materials, vessel.mix.base_g, strict=True)
    masses = [mistake.meant_g if m is material else g for m, g in pairs]
    meant = foreseen(vessel.mix.materials, masses, vessel.circumstances)
    name = plain_names([m.name for m in vessel.mix.materials])[material.name]
    return Wrong(mistake, material.source, name, times, meant, tuple(masses))


def _found(vessel: Vessel, mistake: Mistake) -> tuple[Material, float]:
    found = [
        (m, g)
        for m, g in zip(vessel.mix.materials, vessel.mix.base_g, strict=True)
        if (m.source.lot.name if isinstance(m.source, LotAsked) else m.source.ingredient.id) == mistake.name
    ]
    if not found:
        known = ", ".join(m.said for m in vessel.mix.materials)
        raise InputError(f"“{mistake.name}” is not among what is in the vessel ({known}).", mistake.place("ingredient"))
    if len(found) > 1:
        raise InputError(
            f"Several additions are of {in_plain_words(mistake.name)}: add them up to one.", mistake.place("ingredient")
        )
    return found[0]


def ways(vessel: Vessel | None, wrong: Wrong | None) -> Iterator[Way]:
    """Every way for a wrong amount."""
    if vessel is None or wrong is None:
        yield replace(SCALE_UP, do=SCALE_UP.do.format("(added − meant)/meant"))
        yield ADD_THE_REST
        yield replace(NEAR, possible="partly")
        yield ACCEPT
        return
    yield _made_up(vessel, wrong) if wrong.times > 1.0 else _rest(vessel, wrong)
    yield from _near(vessel, wrong)
    yield _accepted(vessel, wrong)


def _reported(vessel: Vessel, wrong: Wrong) -> tuple[TargetAsked, ...]:
    """What was meant, and the caller's own targets on anything else."""
    meant = as_meant(vessel, wrong, _ALL)
    names = {t.name for t in meant}
    return (*meant, *(t for t in vessel.asked.targets if t.name not in names))


def as_meant(vessel: Vessel, wrong: Wrong, names: tuple[str, ...]) -> tuple[TargetAsked, ...]:
    """The figures that were meant, as targets."""
    contents = poured(vessel.mix.materials, wrong.masses_g)
    circumstances = vessel.circumstances
    found = []
    for name in names:
        value = value_of(
            name,
            vessel.mix.materials,
            wrong.masses_g,
            contents,
            circumstances.end_point_ph,
            circumstances.senses,
        )
        if value is None or value <= 0.0:
            continue
        words = f"as meant ({value_in_words(name, value, circumstances)})"
        found.append(TargetAsked(name, value, value, value, words))
    return tuple(found)


def _made_up(vessel: Vessel, wrong: Wrong) -> Way:
    places, added, short = [], [], []
    for place, (material, mass_g) in enumerate(zip(vessel.mix.materials, vessel.mix.base_g, strict=True)):
        if material.source is wrong.source or mass_g <= 0.0:
            continue
        more = (wrong.times - 1.0) * mass_g
        places.append(place)
        added.append(more)
        if isinstance(material.source, LotAsked):
            lot = material.source
            litres = more * material.per_g.volume_ml / 1000.0
            if lot.lot.volume_l - lot.most_l < litres * (1.0 - _SAME):
                short.append(lot.lot.name)
    do = SCALE_UP.do.format(number_text(wrong.times - 1.0, 0.001))
    targets = _reported(vessel, wrong)
    if not places:
        return replace(SCALE_UP, do=do, possible="no", limit="Nothing else is in the vessel.")
    limit = SCALE_UP.limit
    if short:
        limit = f"Less is left of {joined(short)} by the request than it takes: have or make more of the same. {limit}"
    return replace(
        SCALE_UP,
        do=do,
        possible="partly" if short else "yes",
        limit=limit,
        needs=("more of everything else", "room in the vessel"),
        mix=replace(vessel.mix, places=tuple(places)),
        added_g=tuple(added),
        targets=targets,
        judged=len(targets),
    )


def _rest(vessel: Vessel, wrong: Wrong) -> Way:
    place = next(k for k, m in enumerate(vessel.mix.materials) if m.source is wrong.source)
    targets = _reported(vessel, wrong)
    return replace(
        ADD_THE_REST,
        do=f"Add what is missing of {wrong.name}.",
        needs=(wrong.name,),
        mix=replace(vessel.mix, places=(place,)),
        added_g=(wrong.mistake.meant_g - wrong.mistake.added_g,),
        targets=targets,
        judged=len(targets),
    )


def _near(vessel: Vessel, wrong: Wrong) -> Iterator[Way]:
    additions = [unlimited(a) for a in vessel.asked.additions if a.most_g is None or a.most_g > 0.0]
    lots = lots_at_hand(vessel.asked.lots)
    if not additions and not lots:
        return
    targets = vessel.asked.targets or as_meant(vessel, wrong, _MATCHED)
    found = vessel.solved([*lots, *additions], targets)
    if found is None or not any(mass > 0.0 for mass in found[1]):
        yield replace(NEAR, possible="no", limit="Nothing at hand brings it nearer to what was meant.")
        return
    mix, added, met = found
    yield replace(
        NEAR, possible="yes" if met else "partly", mix=mix, added_g=tuple(added), targets=targets, judged=len(targets)
    )


def _accepted(vessel: Vessel, wrong: Wrong) -> Way:
    return replace(ACCEPT, mix=vessel.mix, targets=_reported(vessel, wrong), judged=0)
