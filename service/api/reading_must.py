"""From a must request's texts to the planner's terms, with the place of each fault."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from typing import Any, Final

from service.api.numbers import MOST_MONEY
from service.api.reading import VOLUME, Reader, gravity_from, meq_per_l
from service.api.reading_additions import addition_from, mass_from
from service.api.reading_circumstances import circumstances_from
from service.api.reading_losses import losses_from
from service.api.reading_nutrients import nitrogen_from
from service.api.reading_targets import match_from, preference_from, target_from
from service.api.requests import AdditionIn, GravityIn
from service.api.requests_must import (
    BaseIn,
    BottlesWantedIn,
    FinishedIn,
    MustPlanRequest,
    SourceIn,
)
from service.catalogue.lookup import get_ingredient
from service.catalogue.records import Category
from service.errors import InputError, ServiceError
from service.planner.asked import AdditionAsked, Instruments, Preference, TargetAsked
from service.planner.losses import Losses
from service.planner.must.asked import (
    BaseAsked,
    ContainerAsked,
    FinishedAsked,
    MustAsked,
    SourceAsked,
    YeastAsked,
)
from service.planner.plain_words import capital, in_plain_words
from service.quantities import Kind, parse_acidity, parse_quantity

_MOST_L: Final = 1e7
LEAST_PACK_G: Final = 1.0
"""Honey, sugar and juice are sold in no smaller packs [g] (our default)."""

_DRY_ABV_PERCENT: Final = 7.0
"""Strength that a hydrometer's reading of a base yet to be made is corrected with."""

_HONEY: Final = SourceIn(ingredient="honey_average")


def must_from(given: MustPlanRequest, deadline_s: float) -> MustAsked:
    """A must request as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    reader = Reader()
    instruments, circumstances = circumstances_from(given, reader)
    sources = _sources(given.sources or [_HONEY], instruments, reader, "/sources")
    _of_a_must(sources, given, reader)
    water = reader.attempt("/water", lambda: _water(given.water))
    gravity = None
    if given.original_gravity is not None:
        told = given.original_gravity
        gravity = reader.attempt("/original_gravity", lambda: _gravity(told, 0.0, instruments, reader))
    volume = None
    if given.volume is not None:
        text = given.volume
        volume = reader.attempt("/volume", lambda: _litres(text, reader))
    _one_way(given, reader)
    nitrogen = nitrogen_from(given.nitrogen, reader)
    finished = None if given.finished is None else _finished(given.finished, instruments, reader)
    prefer = _preferences(given.prefer, reader, "/prefer")
    reader.finish()
    assert water is not None
    return MustAsked(
        sources,
        water,
        gravity,
        given.potential_abv_percent,
        finished,
        volume,
        given.volume_is,
        prefer,
        given.rounding,
        nitrogen,
        YeastAsked(given.yeast.grams, given.yeast.viable_cells_per_g, given.yeast.tolerance_abv_percent),
        circumstances(),
        deadline_s,
        water_given=given.water is not None,
        sources_given=bool(given.sources),
    )


def _one_way(given: MustPlanRequest, reader: Reader) -> None:
    """One question at a time, and a volume whose meaning is said."""
    aims = [n for n in ("original_gravity", "potential_abv_percent", "finished") if getattr(given, n) is not None]
    if len(aims) > 1:
        reader.faults.append(InputError(f"Give one of {' and '.join(aims)}: each decides the must.", f"/{aims[1]}"))
    amounts = [source.amount is not None for source in given.sources]
    if given.finished is not None:
        for name in ("volume", "volume_is"):
            if getattr(given, name) is not None:
                detail = "The finished drink decides how much must: leave it out; its own volume stands in its targets."
                reader.faults.append(InputError(detail, f"/{name}"))
        return
    if given.volume is not None and given.volume_is is None:
        reader.faults.append(
            InputError(
                "Say what this volume is: “final”, the must's own, or “water_added”, the water that the honey goes "
                "into. The two are 5 points of gravity apart.",
                "/volume_is",
            )
        )
    if given.volume is None and given.volume_is is not None:
        reader.faults.append(InputError("A meaning without a volume: give volume.", "/volume"))
    if not aims and not (amounts and all(amounts)):
        reader.faults.append(
            InputError(
                "Say what the must is to be: its gravity (original_gravity), the strength it can reach "
                "(potential_abv_percent) or the drink it becomes (finished); or give every source its amount, to be "
                "told what they make.",
                "/original_gravity",
            )
        )
    elif given.volume is None and not any(amounts):
        reader.faults.append(
            InputError("Say how much: a volume and what it is (volume_is), or the amount of a source.", "/volume")
        )
    elif not aims and given.volume is None:
        reader.faults.append(
            InputError("Say how much water, or how much must: a volume and what it is (volume_is).", "/volume")
        )


def _of_a_must(sources: tuple[SourceAsked, ...], given: MustPlanRequest, reader: Reader) -> None:
    """What may go into a must, and that its amounts are decided."""
    for k, source in enumerate(sources):
        category = source.addition.ingredient.category
        if category is Category.WATER:
            reader.faults.append(InputError("Water is no source of sugar: name it in water.", f"/sources/{k}"))
        elif category is Category.SPIRIT:
            reader.faults.append(
                InputError("A must holds no alcohol yet: spirit belongs to the finished drink.", f"/sources/{k}")
            )
    free = [k for k, s in enumerate(sources) if s.addition.least_g != s.addition.most_g]
    if len(free) > 1 and not given.prefer:
        reader.faults.append(
            InputError(
                "More than one source is free, so that many musts would do: give all but one their amount, or say what "
                "you prefer.",
                f"/sources/{free[1]}",
            )
        )


def _sources(given: list[SourceIn], instruments: Instruments, reader: Reader, pointer: str) -> tuple[SourceAsked, ...]:
    found = [
        reader.attempt(f"{pointer}/{k}", partial(_source, one, instruments, reader)) for k, one in enumerate(given)
    ]
    return tuple(source for source in found if source is not None)


def _source(given: SourceIn, instruments: Instruments, reader: Reader) -> SourceAsked:
    if given.sold_in is not None and given.pack is not None:
        raise InputError("Give pack, of which only whole ones are used, or sold_in, for shopping.", "/sold_in")
    if given.sold_in is not None and (given.fruit is not None or given.fruit_count is not None):
        raise InputError("Fruit is bought by its mass, in no packs of juice: leave sold_in out.", "/sold_in")
    addition = addition_from(priced_by_mass(given), reader, instruments.jug_step_ml)
    sold = None
    if given.sold_in is not None:
        sold = mass_from(given.sold_in, addition.ingredient, reader, "/sold_in")
        if sold <= 0.0:
            raise InputError("A pack holds more than nothing. Write what one holds, such as “1 kg”.", "/sold_in")
        if sold < LEAST_PACK_G:
            raise InputError(
                f"Nothing is sold in packs below {LEAST_PACK_G:g} g: check the number and the unit of sold_in.",
                "/sold_in",
            )
    return SourceAsked(_flagged(addition, given), sold, given.pack if given.sold_in is None else given.sold_in)


def _flagged(addition: AdditionAsked, given: SourceIn) -> AdditionAsked:
    """The addition, with a caution where honey was measured by its volume."""
    if addition.ingredient.category is not Category.HONEY or given.amount is None:
        return addition
    if parse_quantity(given.amount, frozenset({Kind.MASS, Kind.VOLUME, Kind.PACKS})).kind is not Kind.VOLUME:
        return addition
    honey = capital(in_plain_words(addition.ingredient.id))
    words = f"{honey} by volume is a guess: it sticks to the measure and holds air. Weigh it."
    return replace(addition, cautions=(*addition.cautions, ("honey_by_volume", words)))


def priced_by_mass(given: SourceIn) -> AdditionIn:
    """The addition with a price for a pack that it is only sold in told by what the pack holds."""
    fields = given.model_dump(exclude_unset=True, by_alias=True)
    sold = fields.pop("sold_in", None)
    if sold is not None and given.price is not None:
        packs = parse_quantity(given.price.per, frozenset({Kind.MASS, Kind.VOLUME, Kind.PACKS}), pointer="/price/per")
        if packs.kind is Kind.PACKS:
            if packs.value_base <= 0.0:
                raise InputError("A price is for more than nothing.", "/price/per")
            amount = given.price.amount / packs.value_base
            if amount > MOST_MONEY:
                raise InputError("One pack costs too much by this: check the price and its packs.", "/price/per")
            fields["price"] = {"amount": amount, "per": sold}
    return AdditionIn.model_validate(fields)


def _water(name: str | None) -> AdditionAsked:
    ingredient = get_ingredient("water_deionised" if name is None else name)
    if ingredient.category is not Category.WATER:
        named = capital(in_plain_words(ingredient.id))
        raise InputError(f"{named} is no water: name tap water or deionised water; the rest are sources.")
    return AdditionAsked(ingredient)


def _gravity(given: GravityIn, abv_percent: float, instruments: Instruments, reader: Reader) -> float:
    return gravity_from(given, abv_percent, instruments.hydrometer_calibrated_at_c, reader, fermented=abv_percent > 0.0)


def _litres(text: str, reader: Reader) -> float:
    litres = reader.quantity(text, VOLUME, liquid=True).value_base / 1000.0
    if litres <= 0.0:
        raise InputError("A volume is larger than zero.")
    if litres > _MOST_L:
        raise InputError(f"At most {_MOST_L:.0f} L can be reckoned with: check the unit.")
    return litres


def _preferences(given: list[Any], reader: Reader, pointer: str) -> tuple[Preference, ...]:
    found = [reader.attempt(f"{pointer}/{k}", partial(preference_from, one)) for k, one in enumerate(given)]
    return tuple(one for one in found if one is not None)


def _finished(given: FinishedIn, instruments: Instruments, reader: Reader) -> FinishedAsked | None:
    at = "/finished"
    before = len(reader.faults)
    additions = _sources(given.additions, instruments, reader, f"{at}/additions")
    names = {source.addition.ingredient.id for source in additions}
    if given.base.name in names:
        reader.faults.append(
            InputError(f"“{given.base.name}” is the id of an ingredient too: rename the base.", f"{at}/base/name")
        )
    base = reader.attempt(f"{at}/base", lambda: _base(given.base, instruments, reader))
    targets, remembered = _targets(given, instruments, reader)
    containers = [
        reader.attempt(f"{at}/containers/{k}", partial(_container, one, reader))
        for k, one in enumerate(given.containers)
    ]
    losses = None
    if given.losses is not None:
        told = given.losses
        losses = reader.attempt(f"{at}/losses", lambda: losses_from(told, reader))
    prefer = _preferences(given.prefer, reader, f"{at}/prefer")
    body = {}
    if len(reader.faults) == before:
        body = _body(given)
    return FinishedAsked(
        base or BaseAsked(),
        additions,
        targets,
        prefer,
        tuple(one for one in containers if one is not None),
        losses or Losses(),
        given.losses is not None,
        remembered,
        body,
    )


def _body(given: FinishedIn) -> dict[str, Any]:
    """Additions and targets as a blend request takes them."""
    body: dict[str, Any] = {
        "additions": [
            priced_by_mass(one).model_dump(mode="json", exclude_unset=True, by_alias=True) for one in given.additions
        ],
        "targets": {
            name: target
            if isinstance(target, str | int | float)
            else target.model_dump(mode="json", exclude_unset=True, by_alias=True)
            for name, target in given.targets.items()
        },
    }
    if given.match is not None:
        body["match"] = given.match.model_dump(mode="json", exclude_unset=True, by_alias=True)
    if given.prefer:
        body["prefer"] = [one.model_dump(mode="json", exclude_unset=True) for one in given.prefer]
    return body


def _base(given: BaseIn, instruments: Instruments, reader: Reader) -> BaseAsked:
    gravity = acidity = None
    if given.final_gravity is not None:
        try:
            gravity = _gravity(given.final_gravity, _DRY_ABV_PERCENT, instruments, reader)
        except ServiceError as error:
            raise error.below("/final_gravity") from error
        if not 0.97 <= gravity <= 1.1:
            raise InputError(f"SG {gravity:g} is no end of a ferment. Did you mean 0.99… or 1.0…?", "/final_gravity")
    if given.titratable_acidity is not None:
        read = parse_acidity(given.titratable_acidity, pointer="/titratable_acidity")
        acidity = meq_per_l(read, 1.0 if gravity is None else gravity)
    return BaseAsked(given.name, gravity, acidity, given.ph)


def _targets(
    given: FinishedIn, instruments: Instruments, reader: Reader
) -> tuple[tuple[TargetAsked, ...], tuple[str, ...]]:
    at = "/finished/targets"
    found = [
        reader.attempt(f"{at}/{name}", partial(target_from, name, target, reader))
        for name, target in sorted(given.targets.items())
    ]
    targets = [target for target in found if target is not None]
    remembered: tuple[str, ...] = ()
    if given.match is not None:
        match, celsius = given.match, instruments.hydrometer_calibrated_at_c
        like = reader.attempt("/finished/match", lambda: match_from(match, celsius, instruments, reader))
        if like is not None:
            remembered = like.warnings
            for target in like.targets:
                if target.name in given.targets:
                    reader.faults.append(
                        InputError(f"{target.name} is a target already: leave it out.", "/finished/match")
                    )
                targets.append(target)
    for target in targets:
        if target.confidence is not None:
            reader.faults.append(
                InputError(
                    "A confidence is not solved for backwards: leave it out, and narrow the range by your margin.",
                    f"{at}/{target.name}/confidence",
                )
            )
    if "abv_percent" not in given.targets:
        reader.faults.append(
            InputError(
                "Say how strong the drink is to be (abv_percent among its targets): its base follows from that.",
                at if "targets" in given.model_fields_set else "/finished",
            )
        )
    if given.containers and "volume" in given.targets:
        reader.faults.append(InputError("The containers say how much: leave the volume out.", f"{at}/volume"))
    elif not given.containers and "volume" not in given.targets:
        reader.faults.append(
            InputError("Say how much of the drink: containers, or a volume among its targets.", "/finished/containers")
        )
    for target in targets:
        if target.name == "volume" and target.high == float("inf"):
            reader.faults.append(InputError("Name a largest volume too.", f"{at}/volume"))
    return tuple(sorted(targets, key=lambda target: target.name)), remembered


def _container(given: BottlesWantedIn, reader: Reader) -> ContainerAsked:
    litres = reader.quantity(given.fill, VOLUME, "/fill", liquid=True).value_base / 1000.0
    if litres <= 0.0:
        raise InputError("A container holds more than nothing.", "/fill")
    if litres * given.count > _MOST_L:
        raise InputError(f"At most {_MOST_L:.0f} L can be reckoned with: check fill and count.", "/count")
    return ContainerAsked(given.kind, litres, given.count)
