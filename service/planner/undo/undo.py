"""The undo table: from a fault to what can be done, how far, and at what cost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.errors import InputError
from service.model.lot_class import Assumed
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution, NextReading, Predicted, SourceCited
from service.planner.cautions import sorted_once
from service.planner.correction.answers import Consistency
from service.planner.evidence import assumed_in, next_readings, sources_of
from service.planner.plain_words import plain_names
from service.planner.reading_units import in_system
from service.planner.undo import acidity, amount, haze, strength, sulfite, sweetness
from service.planner.undo.answers import Irreversible, Option, SulfiteNow, Undo
from service.planner.undo.asked import Fault, UndoAsked
from service.planner.undo.goal import SPEAKS_OF, Goal, goal_of
from service.planner.undo.handed_on import next_calls, steps_of
from service.planner.undo.mixing import Vessel
from service.planner.undo.options import Reckoned, Way, in_order, reckoned
from service.planner.undo.sulfite_found import sulfited
from service.planner.work import schedule_of

_IRREVERSIBLE: Final[dict[Fault, tuple[Irreversible, ...]]] = {
    "too_sweet": sweetness.IRREVERSIBLE,
    "too_sour": acidity.IRREVERSIBLE,
    "too_strong": strength.STRONG,
    "too_weak": strength.WEAK,
    "over_sulfited": sulfite.IRREVERSIBLE,
    "haze_lost": haze.IRREVERSIBLE,
    "wrong_amount": amount.IRREVERSIBLE,
}
_PLAIN: Final[dict[Fault, str]] = {
    "too_sweet": "too sweet",
    "too_sour": "too sour",
    "too_strong": "too strong",
    "too_weak": "too weak",
    "over_sulfited": "over-sulfited",
    "haze_lost": "clear where it was to be hazy",
    "wrong_amount": "made with a wrong amount",
}
_ESTIMATE: Final = Caution(
    "estimate",
    "note",
    "Estimates from composition tables: verify by measurement; follow local law and licensed practice.",
    OUR_DEFAULT,
)
_TRY_FIRST: Final = Caution(
    "try_it_in_a_glass",
    "note",
    "Try it in a glass of the drink first, in the same proportion, and taste it the day after: what is in the vessel "
    "stays in.",
    "common_practice",
)


@dataclass(frozen=True, slots=True)
class _Found:
    """What a fault comes to: its ways, the goal in words, and what goes with them."""

    ways: tuple[Way, ...]
    goal: str | None = None
    beside: Predicted | None = None
    sulfite: SulfiteNow | None = None
    cautions: tuple[Caution, ...] = ()
    assumed: tuple[Assumed, ...] = ()


def undo(asked: UndoAsked) -> Undo:
    """What can be done about a fault.

    Parameters: asked, in base units.
    Returns: Undo; without a drink it is told in words.
    Raises: InputError, InconsistentError, OutOfRangeError where the fault lacks what it needs or the drink has not that
        fault by its own figures.

    >>> [option.name for option in undo(UndoAsked("haze_lost")).options]
    ['stir_up', 'cloudy_juice', 'thicken']
    """
    _what_belongs(asked)
    vessel = Vessel(asked) if asked.in_vessel or asked.added else None
    found = _found(asked, vessel)
    options = in_order(reckoned(way, vessel, found.beside) for way in found.ways)
    cautions = _cautions(asked, vessel, found, options)
    told = [o.option for o in options]
    circumstances = asked.circumstances
    readings = in_system(_readings(asked, vessel, found, told), circumstances.system)
    steps = steps_of(asked, told[0], cautions, readings)
    return Undo(
        fault=asked.fault,
        summary=_summary(asked.fault, vessel, found, told),
        goal=found.goal,
        now=None if vessel is None else vessel.now.predicted,
        consistency=asked.consistency,
        least_known=() if vessel is None else vessel.now.least_known,
        meant=found.beside,
        sulfite=found.sulfite,
        options=tuple(told),
        cannot_be_undone=_IRREVERSIBLE[asked.fault],
        steps_are=circumstances.senses.told,
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_calls(asked, told[0], options[0].blended),
        currency=circumstances.currency,
        units=circumstances.system,
        assumed=_assumed(vessel, found, options, circumstances.assumed),
        cautions=cautions,
        next_reading=readings,
        sources=_sources(vessel, found, options, cautions, _IRREVERSIBLE[asked.fault]),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _what_belongs(asked: UndoAsked) -> None:
    """Refuse what the fault has no use for, instead of passing it over."""
    said = asked.sulfite
    if asked.fault != "over_sulfited" and any(
        value is not None
        for value in (
            said.free_mg_per_l,
            said.total_mg_per_l,
            said.free_wanted_mg_per_l,
            said.molecular_wanted_mg_per_l,
            said.salt_g,
        )
    ):
        raise InputError("Readings of SO2 belong to the fault over_sulfited: leave them out, or name that.", "/fault")
    if asked.fault != "wrong_amount" and asked.mistake is not None:
        raise InputError("A mistake belongs to the fault wrong_amount: leave it out, or name that.", "/mistake")
    drink = asked.in_vessel or asked.added
    if drink and asked.fault == "wrong_amount" and asked.mistake is None:
        raise InputError("Say which amount was wrong: ingredient or lot, meant, and added.", "/mistake")
    if not drink and (asked.targets or asked.lots or asked.additions):
        text = "Name the drink itself, a lot with its volume, gravity and strength, or only the fault for words alone."
        raise InputError(text, "/lots")
    if not drink and asked.mistake is not None:
        raise InputError("Name the recipe that the wrong amount is of.", "/lots")


def _found(asked: UndoAsked, vessel: Vessel | None) -> _Found:
    if asked.fault == "over_sulfited":
        here = None if vessel is None else sulfited(vessel)
        now = None if vessel is None or here is None else sulfite.report(vessel, here)
        goal = None
        if here is not None:
            goal = f"{here.levels[0].text}, and at most {here.lowest_limit:g} mg/L in all"
        return _Found(
            tuple(sulfite.ways(vessel, here)),
            goal,
            sulfite=now,
            cautions=tuple(sulfite.cautions(here)),
            assumed=() if here is None else here.assumed,
        )
    if asked.fault == "wrong_amount":
        wrong = None if vessel is None else amount.wrong_of(vessel)
        return _Found(
            tuple(amount.ways(vessel, wrong)),
            None if wrong is None else "the drink as it was meant",
            None if wrong is None else wrong.meant.predicted,
        )
    goal_found = None if vessel is None else goal_of(vessel, asked.fault)
    return _Found(
        tuple(_ways(asked.fault, vessel, goal_found)),
        None if goal_found is None else goal_found.text,
        cautions=haze.AVOID if asked.fault == "haze_lost" else (),
        assumed=() if goal_found is None else goal_found.assumed,
    )


def _ways(fault: Fault, vessel: Vessel | None, goal: Goal | None) -> Iterator[Way]:
    assert fault in SPEAKS_OF
    if fault == "too_sweet":
        yield from sweetness.ways(vessel, goal)
    elif fault == "too_sour":
        yield from acidity.ways(vessel, goal)
    elif fault == "too_strong":
        yield from strength.too_strong(vessel, goal)
    elif fault == "too_weak":
        yield from strength.too_weak(vessel, goal)
    else:
        yield from haze.ways(vessel, goal)


def _cautions(
    asked: UndoAsked, vessel: Vessel | None, found: _Found, options: Sequence[Reckoned]
) -> tuple[Caution, ...]:
    """All cautions: of the drink and the fault as they are, of an option with its name."""
    everywhere = [*_of_readings(asked.consistency), *found.cautions, _TRY_FIRST]
    everywhere += (_ESTIMATE, ALCOHOL) if vessel is None else vessel.cautions
    if vessel is not None:
        drinks = [vessel.now.predicted, *(o.option.predicted for o in options if o.option.predicted is not None)]
        if asked.fault in ("too_strong", "too_weak"):
            everywhere += [c for drink in drinks for c in strength.line_caution(drink, asked.market)]
    known = {(c.code, c.level) for c in everywhere}
    about: dict[Caution, list[str]] = {}
    for o in options:
        for caution in o.option.cautions:
            if (caution.code, caution.level) not in known:
                about.setdefault(caution, []).append(o.option.name)
    of_options = [replace(c, about=names[0]) if len(names) == 1 else c for c, names in about.items()]
    return sorted_once([*everywhere, *of_options])


def _of_readings(consistency: Consistency | None) -> Iterator[Caution]:
    if consistency is not None and consistency.verdict == "inconsistent":
        yield Caution(
            "readings_do_not_fit",
            "stop",
            "The readings do not fit what was poured: find out what is off and read again before adding anything.",
            OUR_DEFAULT,
        )
    elif consistency is not None and consistency.verdict == "doubtful":
        yield Caution(
            "readings_hardly_fit",
            "warning",
            "The readings hardly fit what was poured: read again before adding, and add in parts.",
            OUR_DEFAULT,
        )


def _summary(fault: Fault, vessel: Vessel | None, found: _Found, options: Sequence[Option]) -> str:
    if vessel is None:
        return (
            f"What can be done about a drink that is {_PLAIN[fault]}, in words; name the drink with its readings, and "
            "amounts are reckoned."
        )
    best = options[0]
    if found.sulfite is not None and all(level.dilute_times <= 1.0 for level in found.sulfite.levels):
        return "By these readings there is no more sulfite than is wanted: nothing has to be thinned."
    head = f"Aimed at: {found.goal}. " if found.goal is not None else ""
    if best.possible != "yes":
        return f"{head}Nothing here does it whole as things stand. The nearest: {best.do} {best.limit}"
    plain = plain_names([a.name for a in best.amounts])
    poured = "; ".join(f"{a.amount_text} of {plain[a.name]}" for a in best.amounts)
    told = f" ({poured})" if poured else ""
    costs = f" It costs {best.costs[0].lower()}{best.costs[1:]}" if best.costs else ""
    return f"{head}The least change that does it: {best.do}{told}{costs}"


def _readings(
    asked: UndoAsked, vessel: Vessel | None, found: _Found, options: Sequence[Option]
) -> Iterator[NextReading]:
    if asked.fault == "over_sulfited":
        if found.sulfite is None:
            yield NextReading("read free and total SO2, and the pH", "sulfite test kit and pH meter")
        else:
            after = next((o.so2 for o in options if o.so2 is not None), None)
            free = None if after is None else after.free_mg_per_l
            yield NextReading("read free SO2 a day after each step", "sulfite test kit", free, "mg/L", wait_min_h=24.0)
    if vessel is None:
        if asked.fault not in ("over_sulfited", "haze_lost"):
            yield NextReading("read gravity, strength, acidity and pH of the drink", "hydrometer, acid kit, pH meter")
        return
    best = options[0]
    if best.predicted is None or not best.amounts:
        return
    mix = vessel.mix
    yield from next_readings(mix.materials, mix.base_g, best.predicted, asked.circumstances.instruments)


def _assumed(
    vessel: Vessel | None, found: _Found, options: Iterable[Reckoned], circumstances: tuple[Assumed, ...]
) -> tuple[Assumed, ...]:
    more = [a for o in options for a in o.assumed]
    if vessel is None:
        return tuple(dict.fromkeys([*circumstances, *found.assumed, *more]))
    materials = [*vessel.mix.materials, *(m for o in options for m in o.materials)]
    return tuple(dict.fromkeys([*assumed_in(materials, vessel.circumstances), *found.assumed, *more]))


def _sources(
    vessel: Vessel | None,
    found: _Found,
    options: Sequence[Reckoned],
    cautions: Sequence[Caution],
    lost: Sequence[Irreversible],
) -> tuple[SourceCited, ...]:
    keys = {PRACTICE, *(o.option.source_id for o in options), *(i.source_id for i in lost)}
    if found.sulfite is not None:
        keys |= {limit.source_id for limit in found.sulfite.limits}
        keys |= {level.source_id for level in found.sulfite.levels}
        keys |= {"waterhouse_2016", "goldberg_parker_1985"}
    if vessel is None:
        keys |= {c.source_id for c in cautions}
        table = sources()
        return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(keys))
    materials = [*vessel.mix.materials, *(m for o in options for m in o.materials)]
    return sources_of(materials, cautions, tuple(sorted(keys)))
