"""What is filled into which containers, what each of them has to hold, and what a label could say: one answer."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.model.lot_class import Assumed
from service.planner.answers import ALCOHOL, OUR_DEFAULT, PRACTICE, Caution, SourceCited
from service.planner.cautions import sorted_once
from service.planner.drink import Drink
from service.planner.label.answers import LabelFacts
from service.planner.label.cautions import ESTIMATE
from service.planner.label.facts import label_facts
from service.planner.packaging.answers import ContainerFill, FilledFigure, PackagedDrink, PackagingPlan
from service.planner.packaging.asked import DEFAULT_KEG_C, ContainerAsked, PackagingAsked
from service.planner.packaging.closed import (
    CLOSING_NOT_JUDGED,
    Held,
    held_by,
    keg_disagrees,
    keg_gas,
    worst_heat,
)
from service.planner.packaging.counted import Counted, counted, fill_words, held_l, name_of, volume_words
from service.planner.packaging.handed_on import next_calls
from service.planner.packaging.rested import whose_rest
from service.planner.packaging.steps import steps_of
from service.planner.plain_words import plain_figure, small
from service.planner.pressure.answers import HeatReport, KegGas
from service.planner.pulp import PULP_SOURCE, jar_test_to_read
from service.planner.raw_juice import RAW_JUICE
from service.planner.refermentation import FERMENTABLE_LIMIT_G_PER_L
from service.planner.span import Span
from service.planner.work import readings_in_order, schedule_of

_ALWAYS: Final = ("arithmetic", OUR_DEFAULT, PRACTICE, "kell_1975")
_OF_GAS: Final = ("carroll_1991", "eec_2676_90")
_VESSEL_ROOM: Final = 1e-9


def plan_packaging(asked: PackagingAsked) -> PackagingPlan:
    """Counts after losses, what each kind of container has to hold, gas, heat and label facts.

    Parameters: asked, in base units.
    Returns: PackagingPlan. Its `sealing` is at best that this check found no blocker.
    Raises: InputError, OutOfRangeError, InconsistentError with the place in the request.
    Validity: that of its parts (`service.planner.packaging.fill`, `service.planner.pressure`, `service.planner.label`,
        `service.planner.losses`).
    """
    circumstances = asked.circumstances
    rested = whose_rest(asked) if "pressure" in asked.parts else None
    count = counted(asked) if "fills" in asked.parts else None
    held = held_by(asked)
    fills = _fills(asked, count, held)
    in_kegs = sum(f.volume_l or 0.0 for f in fills if f.kind == "keg")
    keg, heat, label = keg_gas(asked, in_kegs), worst_heat(held), _label(asked, fills, held)
    about_closing = _about_closing(asked, fills, held, keg)
    about_label = [] if label is None else _about_label(asked, about_closing, label)
    stops = [c for c in (*about_closing, *about_label) if c.level == "stop"]
    always = [*([ALCOHOL] if asked.drink.abv_percent.high > 0.0 else []), ESTIMATE]
    cautions = sorted_once([*about_closing, *about_label, *always])
    steps = steps_of(asked, fills, count, keg, held, heat, stops)
    judged = "pressure" in asked.parts or bool(stops)
    readings = [r for one in held for r in one.next_reading] + ([] if label is None else list(label.next_reading))
    jar = () if asked.losses is None else jar_test_to_read(asked.losses)
    keys = {*_ALWAYS, *(_OF_GAS if asked.parts & {"pressure", "gas", "heat"} else ())}
    keys |= {c.source_id for c in cautions} | {s.source_id for s in steps}
    keys |= {part.source_id for part in (count.losses.parts if count is not None and count.losses is not None else ())}
    keys |= set(_keys(held)) | ({PULP_SOURCE} if jar else set())
    keys |= set(label.source_ids) if label is not None else set()
    costs = [f.cost for f in fills if f.cost is not None]
    return PackagingPlan(
        outcome="not_counted" if count is None else count.outcome,
        sealing="not_judged" if not judged else "do_not_seal" if stops else "no_blocker_found",
        summary=_summary(asked, count, fills, held, keg, heat, stops),
        drink=_drink(asked.drink),
        losses=None if count is None else count.losses,
        packaged_l=None if count is None else _figure(count.packaged_l),
        reserve_l=round(asked.reserve_ml / 1000.0, 6),
        fills=fills,
        filled_l=None if count is None else round(count.filled_l, 6),
        left_over_l=None if count is None else round(count.filling.left_ml / 1000.0, 6),
        missing_l=None if count is None else round(count.filling.missing_ml / 1000.0, 6),
        needed_blend_l=None if count is None else round(count.needed_blend_l, 6),
        needed_text="" if count is None else count.needed_text,
        cost=round(sum(costs), 4) if costs else None,
        currency=circumstances.currency,
        keg=keg,
        heat=heat,
        label=label,
        label_text=() if label is None else label.label_text,
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=next_calls(asked, {c.code for c in stops}),
        units=circumstances.system,
        assumed=tuple(dict.fromkeys(_assumed(asked, fills, held, keg, label, rested))),
        cautions=cautions,
        next_reading=readings_in_order([*jar, *readings]),
        sources=_sources(keys),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _fills(asked: PackagingAsked, count: Counted | None, held: Sequence[Held]) -> tuple[ContainerFill, ...]:
    litres = () if count is None else held_l(asked, count.filling)
    return tuple(
        _fill(asked, place, container, count, litres[place] if litres else None, one)
        for place, (container, one) in enumerate(zip(asked.containers, held, strict=True))
    )


def _fill(
    asked: PackagingAsked,
    place: int,
    container: ContainerAsked,
    count: Counted | None,
    litres: float | None,
    held: Held,
) -> ContainerFill:
    system = asked.circumstances.system
    number = None if count is None else count.filling.counts[place]
    part = count.filling.part_ml if count is not None and count.filling.part_of == place else None
    price = container.price_each
    return ContainerFill(
        name=name_of(container, system),
        kind=container.kind,
        fill_ml=round(container.fill_ml, 6),
        fill_text=fill_words(container.fill_ml, system),
        count=number,
        count_low=None if count is None else count.least[place],
        count_high=None if count is None else count.most[place],
        wanted=container.count,
        part_filled_ml=None if part is None else round(part, 3),
        volume_l=None if litres is None else round(litres, 6),
        headspace_share=held.closed.headspace,
        headspace_ml=held.thermal.headspace_ml,
        cost=None if price is None or number is None else round(price * number, 4),
        thermal_room=held.thermal,
        pressure=held.pressure,
        cold_filled=held.cold_filled,
        heated=None if held.heat is None else held.heat.headspace,
        text=_count_text(asked, place, container, count),
    )


def _count_text(asked: PackagingAsked, place: int, container: ContainerAsked, count: Counted | None) -> str:
    name = name_of(container, asked.circumstances.system)
    if count is None:
        return f"{name}: not counted."
    number, least, most = count.filling.counts[place], count.least[place], count.most[place]
    text = f"{number} × {name}" if least == number else f"At least {least}, expect {number} × {name}"
    if most > number:
        text += f"; have {most} ready"
    if place == count.filling.part_of and count.filling.part_ml is not None:
        held = volume_words(count.filling.part_ml / 1000.0, asked.circumstances.system)
        text += f"; the last holds only {held}"
    if container.count is not None and number < container.count:
        text += f"; {container.count} were asked for"
    elif container.count is None and most == 0 and container.fill_ml <= 1000.0 * count.filled_l:
        text += "; less is left over without it: state its count where it is to be filled"
    return f"{text}."


def _label(asked: PackagingAsked, fills: Sequence[ContainerFill], held: Sequence[Held]) -> LabelFacts | None:
    """Label facts of the first container that is no keg, else of the first."""
    if "label" not in asked.parts:
        return None
    told = asked.label
    bottle = next((k for k, f in enumerate(fills) if f.kind != "keg" and f.count != 0), 0)
    lasting = held[bottle].lasting(asked.hurdles_of(asked.containers[bottle]))
    intended = replace(asked.circumstances.intended, hurdles=lasting)
    where = replace(asked.circumstances, intended=intended)
    return label_facts(
        asked.drink,
        told.market,
        told.serving_ml,
        fills[bottle].fill_ml,
        where,
        colours=told.colours,
        fining_agents=told.fining_agents,
        from_keg=fills[bottle].kind == "keg",
    )


def _about_closing(
    asked: PackagingAsked, fills: Sequence[ContainerFill], held: Sequence[Held], keg: KegGas | None
) -> list[Caution]:
    """Cautions of what is filled and closed; one that is not true of all containers names the one it speaks of."""
    used = [k for k, fill in enumerate(fills) if fill.count_high is None or fill.count_high > 0]
    used = used or list(range(len(fills)))
    told = {k: list(dict.fromkeys(held[k].cautions)) for k in used}
    found: list[Caution] = []
    for k in used:
        for caution in told[k]:
            everywhere = all(caution in other for other in told.values())
            found.append(caution if everywhere else replace(caution, about=fills[k].name))
    if keg is not None:
        found += keg.cautions
    two_kegs = keg_disagrees(asked)
    if two_kegs is not None:
        found.append(two_kegs)
    sweet = asked.drink.fermentable_sugar_g_per_l.high > FERMENTABLE_LIMIT_G_PER_L
    if sweet and "pressure" not in asked.parts and asked.parts & {"fills", "gas", "heat"}:
        found.append(CLOSING_NOT_JUDGED)
    return [*found, *_vessel(asked), *_part_filled(asked, fills)]


def _about_label(asked: PackagingAsked, told: Sequence[Caution], label: LabelFacts) -> list[Caution]:
    """Cautions of the label but for what closing it up tells of the same: one rule on raw juice, one limit."""
    codes = {caution.code for caution in told if caution.level == "stop"}
    if "pressure" in asked.parts:
        codes |= RAW_JUICE
    return [caution for caution in label.cautions if caution.code not in codes]


def _vessel(asked: PackagingAsked) -> Iterator[Caution]:
    vessel, volume = asked.circumstances.intended.vessel_l, asked.drink.volume_l
    if vessel is None or volume is None:
        return
    if volume.value > vessel * (1.0 + _VESSEL_ROOM):
        yield Caution(
            "vessel_too_small",
            "stop",
            f"{plain_figure(volume.value)} L do not fit the vessel of {plain_figure(vessel)} L: it would "
            "overflow. Split it.",
            "arithmetic",
        )
    elif volume.high > vessel * (1.0 + _VESSEL_ROOM):
        yield Caution(
            "vessel_may_be_too_small",
            "warning",
            f"{plain_figure(volume.value)} L, perhaps {plain_figure(volume.high)} by the error of the volume, in a "
            f"vessel of {plain_figure(vessel)} L: it may overflow.",
            "arithmetic",
        )


def _part_filled(asked: PackagingAsked, fills: Sequence[ContainerFill]) -> Iterator[Caution]:
    system = asked.circumstances.system
    for fill in fills:
        if fill.part_filled_ml is not None:
            yield Caution(
                "part_filled_container",
                "note",
                f"The last {fill.name} holds only {volume_words(fill.part_filled_ml / 1000.0, system)}: "
                "drive the air above it out with gas, and drink it first.",
                PRACTICE,
            )


def _assumed(
    asked: PackagingAsked,
    fills: Sequence[ContainerFill],
    held: Sequence[Held],
    keg: KegGas | None,
    label: LabelFacts | None,
    rested: Assumed | None,
) -> Iterator[Assumed]:
    yield from asked.drink.assumed
    yield from asked.circumstances.assumed
    if "fills" in asked.parts:
        if asked.losses is None:
            yield Assumed(
                "losses",
                "none between the drink and its containers",
                "our default",
                "racking, settled layer, what stays in pipes, samples",
            )
        else:
            yield from asked.losses.assumed
        if any(fill.part_filled_ml is not None for fill in fills):
            yield Assumed("least part of a fill", "10 %", "our default", "say how little is worth a container")
    for one in held:
        yield from one.assumed
        yield _closed_at(asked, one)
    if asked.gas.still and keg is None:
        yield Assumed(
            "drink",
            "stays still, as stated",
            "without a keg that changes no figure: the gas in it is reckoned all the same",
            "a carbonation tester",
        )
    if rested is not None:
        yield rested
    if keg is not None:
        yield from keg.assumed
        if asked.gas.temperature_c is None:
            yield Assumed("temperature of the keg", f"{DEFAULT_KEG_C:g} °C", "our default", "a thermometer")
        if asked.gas.volumes is None and asked.gas.gauge_bar is None:
            yield Assumed("drink in the keg", "stays still", "our default", "ask for volumes of gas")
    if asked.heat is not None and "pasteurised" not in asked.circumstances.intended.hurdles:
        yield Assumed("hurdle", "pasteurised, by the heat that was stated", "the request", "a log of the coldest spot")
    if label is not None:
        yield from label.assumed


def _closed_at(asked: PackagingAsked, one: Held) -> Assumed:
    """At which temperature a container is taken to be closed, and who says so."""
    what, at_c = "temperature when it is closed", f"{one.closed.closed_at_c:g} °C"
    if one.closed.filled_at_c is None:
        return Assumed(what, at_c, "our default, the careful side for swelling", "a thermometer")
    stated = asked.heat is not None and asked.heat.filled_at_c is not None
    return Assumed(what, at_c, "as stated" if stated else "that of the keg it is filled from", "a thermometer")


def _keys(held: Iterable[Held]) -> Iterator[str]:
    for one in held:
        if one.pressure is not None:
            yield one.pressure.rating.source_id
            yield from (h.source_id for h in one.pressure.hurdles)
        if one.cold_filled is not None:
            yield one.cold_filled.rating.source_id


def _summary(
    asked: PackagingAsked,
    count: Counted | None,
    fills: Sequence[ContainerFill],
    held: Sequence[Held],
    keg: KegGas | None,
    heat: HeatReport | None,
    stops: Sequence[Caution],
) -> str:
    system = asked.circumstances.system
    said = []
    if stops:
        said.append(f"Do not close it up ({', '.join(dict.fromkeys(c.code.replace('_', ' ') for c in stops))}).")
    if count is not None:
        each = [fill.text.rstrip(".") for fill in fills if fill.count]
        told = "; ".join([*each[:1], *(small(text) for text in each[1:])]) or "No container is filled"
        left = count.filling.left_ml
        rest = f"{volume_words(left / 1000.0, system)} left over" if left else "nothing left over"
        said.append(f"{told}; {rest}.")
        if count.filling.missing_ml > 0.0:
            said.append(count.needed_text)
    worst = [one.pressure for one in held if one.pressure is not None]
    if worst and not stops:
        said.append(max(worst, key=lambda p: p.worst.high_bar).text)
    if keg is not None and not stops:
        said.append(keg.text)
    if heat is not None:
        said.append(heat.text)
    return " ".join(said) or "Label facts only: nothing was asked about closing it up."


def _drink(drink: Drink) -> PackagedDrink:
    return PackagedDrink(
        None if drink.volume_l is None else _figure(drink.volume_l),
        None if drink.gravity is None else _figure(drink.gravity),
        _figure(drink.abv_percent),
        _figure(drink.sugar_g_per_l),
        _figure(drink.fermentable_sugar_g_per_l),
        None if drink.ph is None else _figure(drink.ph),
    )


def _figure(span: Span) -> FilledFigure:
    return FilledFigure(round(span.value, 5), round(span.low, 5), round(span.high, 5))


def _sources(keys: Iterable[str]) -> tuple[SourceCited, ...]:
    table = sources()
    return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(set(keys)))
