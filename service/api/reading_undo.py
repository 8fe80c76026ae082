"""Reads corrections that name a fault: what is in the vessel, what is at hand, and what only the fault needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from service.api.reading import MASS, MASS_OR_VOLUME, TEMPERATURE, Reader
from service.api.reading_circumstances import circumstances_from
from service.api.reading_correction import correction_from, readings_of_nothing
from service.api.reading_salts import so2_share_from
from service.api.requests import LotIn, TargetRange, UseRange
from service.api.requests_correction import AddedIn, CorrectionRequest
from service.api.requests_undo import MistakeIn
from service.catalogue.derived import density_g_ml
from service.catalogue.lookup import resolve_id
from service.chemistry.sulfite_limits import Market, WineColour
from service.errors import InputError, ServiceError
from service.planner.asked import AdditionAsked, LotAsked
from service.planner.correction.asked import CorrectionAsked
from service.planner.undo.asked import Fault, Mistake, SulfiteFound, UndoAsked
from service.planner.undo.from_correction import mistake_of, undo_asked
from service.quantities import Kind, parse_trace

_SULFITE: Final = (
    "free_so2_now",
    "total_so2_now",
    "free_so2_target",
    "molecular_so2_target",
    "metabisulfite_added",
    "bound_share",
    "temperature",
    "colour",
)
_MOST_MG_PER_L: Final = 1e4


def undo_from(given: CorrectionRequest, deadline_s: float) -> UndoAsked:
    """A correction that names a fault, as the planner takes it.

    Raises: ServiceError with every fault of the request.
    """
    assert given.fault is not None
    reader = Reader()
    _only_what_is_heeded(given, given.fault, reader)
    sulfite = _sulfite(given, reader)
    correction, asked = None, UndoAsked(given.fault)
    named = given.lots or given.additions or given.added or given.earlier
    if named or given.measured is not None or given.match is not None:
        whole = _with_the_recipe_added(given)
        correction = reader.attempt("", lambda: correction_from(whole, deadline_s))
        if correction is not None and not reader.faults:
            asked = undo_asked(correction, given.fault)
    else:
        if given.targets:
            text = "Name the drink itself, a lot with its volume, gravity and strength, or only the fault."
            reader.faults.append(InputError(text, "/lots"))
        readings_of_nothing(given, reader)
        _, circumstances = circumstances_from(given, reader)
        if not reader.faults:
            asked = replace(asked, circumstances=circumstances())
    mistake = None
    if given.fault == "wrong_amount" and correction is not None and not reader.faults:
        of = correction
        mistake = reader.attempt("", lambda: _mistake(given.mistake, of, reader))
    elif given.fault == "wrong_amount" and given.mistake is not None and correction is None and not reader.faults:
        reader.faults.append(InputError("Name the recipe that the wrong amount is of.", "/lots"))
    reader.finish()
    return replace(
        asked,
        market=None if given.market is None else Market(given.market),
        colour=None if given.colour is None else WineColour(given.colour),
        sulfite=sulfite,
        mistake=mistake,
    )


def no_fault_no_fields(given: CorrectionRequest) -> None:
    """Refuse what belongs to a fault where none is named.

    Raises: ServiceError with every such field.
    """
    reader = Reader()
    for name in ("mistake", "market", *_SULFITE):
        if getattr(given, name) is not None:
            reader.faults.append(
                InputError("This belongs to a fault: name the fault too, or leave it out.", f"/{name}")
            )
    reader.finish()


def _only_what_is_heeded(given: CorrectionRequest, fault: Fault, reader: Reader) -> None:
    if given.hold_back is not None:
        text = "With a fault every way out is told whole: leave hold_back out, and try it in a glass first."
        reader.faults.append(InputError(text, "/hold_back"))
    if given.prefer:
        text = "With a fault the ways out stand by how little they change the drink: leave prefer out."
        reader.faults.append(InputError(text, "/prefer"))
    if given.allow:
        text = "With a fault every usual way is told, with its cautions: leave allow out."
        reader.faults.append(InputError(text, "/allow"))
    for target_name, target in sorted(given.targets.items()):
        if isinstance(target, TargetRange) and target.confidence is not None:
            text = (
                "With a fault every way aims at the bound itself, and its chance is told: leave confidence out, and "
                "narrow the range by your margin."
            )
            reader.faults.append(InputError(text, f"/targets/{target_name}/confidence"))
    if fault != "over_sulfited":
        for name in _SULFITE:
            if getattr(given, name) is not None:
                text = "This belongs to the fault over_sulfited: leave it out, or name that."
                reader.faults.append(InputError(text, f"/{name}"))
    if fault != "wrong_amount" and given.mistake is not None:
        text = "A mistake belongs to the fault wrong_amount: leave it out, or name that."
        reader.faults.append(InputError(text, "/mistake"))


def _sulfite(given: CorrectionRequest, reader: Reader) -> SulfiteFound:
    def trace(name: str) -> float | None:
        text = getattr(given, name)
        return None if text is None else reader.attempt(f"/{name}", _trace(text))

    salt, share = None, None
    if given.metabisulfite_added is not None:
        told = given.metabisulfite_added
        salt = reader.attempt("/metabisulfite_added", lambda: _salt(told.amount, reader))
        share = reader.attempt(
            "/metabisulfite_added", lambda: so2_share_from(told.so2_share_percent, "/so2_share_percent")
        )
        if given.total_so2_now is not None:
            text = "Total SO2 was read: leave out what went in, or the reading."
            reader.faults.append(InputError(text, "/metabisulfite_added"))
    warmth = None
    if given.temperature is not None:
        text_of = given.temperature
        warmth = reader.attempt("/temperature", lambda: reader.quantity(text_of, TEMPERATURE).value_base)
    return SulfiteFound(
        free_mg_per_l=trace("free_so2_now"),
        total_mg_per_l=trace("total_so2_now"),
        free_wanted_mg_per_l=trace("free_so2_target"),
        molecular_wanted_mg_per_l=trace("molecular_so2_target"),
        salt_g=salt,
        salt_share=share,
        bound_share=given.bound_share,
        temperature_c=warmth,
    )


def _trace(text: str) -> Callable[[], float]:
    def read() -> float:
        value = parse_trace(text).mg_per_l
        if value > _MOST_MG_PER_L:
            raise InputError(f"{value:g} mg/L is no trace: at most {_MOST_MG_PER_L:g}. Check the unit.")
        return value

    return read


def _salt(text: str, reader: Reader) -> float:
    mass_g = reader.quantity(text, MASS, "/amount").value_base
    if mass_g <= 0.0:
        raise InputError("Say how much of it went in: a mass above zero.", "/amount")
    return mass_g


def _with_the_recipe_added(given: CorrectionRequest) -> CorrectionRequest:
    """A request about a wrong amount that does not say what went in: the recipe did, but for the mistake."""
    if given.fault != "wrong_amount" or given.added:
        return given
    told = given.mistake or MistakeIn()
    added = [
        AddedIn(lot=lot.name, amount=text) for lot in given.lots if (text := _amount_of_lot(lot, told)) is not None
    ]
    for addition in given.additions:
        wrong = told.ingredient is not None and addition.ingredient is not None
        wrong = wrong and _same(addition.ingredient or "", told.ingredient or "")
        amount = told.added if wrong and told.added is not None else addition.amount
        if amount is None:
            continue
        added.append(
            AddedIn(
                ingredient=addition.ingredient,
                composition=addition.composition,
                measured=addition.measured,
                treatment=addition.treatment,
                amount=amount,
            )
        )
    return given.model_copy(update={"added": added})


def _amount_of_lot(lot: LotIn, told: MistakeIn) -> str | None:
    """How much of a lot went in: as the mistake says, else the one amount of the recipe; None where that is all of it,
    which needs no saying, or none of it."""
    if told.lot == lot.name and told.added is not None:
        return told.added
    if isinstance(lot.use, UseRange) and lot.use.min is not None and lot.use.min == lot.use.max:
        return lot.use.min
    return None


def _same(one: str, other: str) -> bool:
    try:
        return resolve_id(one) == resolve_id(other)
    except ServiceError:
        return False


def _mistake(given: MistakeIn | None, correction: CorrectionAsked, reader: Reader) -> Mistake:
    """The wrong amount: as told, or the one amount of the recipe that differs from what went in."""
    if given is None:
        return mistake_of(correction)
    if (given.ingredient is None) == (given.lot is None):
        raise InputError("Name an ingredient or a lot, one of the two.", "/mistake/ingredient")
    if given.lot is not None:
        return _of_lot(given, given.lot, correction, reader)
    assert given.ingredient is not None
    poured = [a for a in (*correction.poured_additions, *correction.poured_besides) if a.least_g > 0.0]
    id_ = given.ingredient
    if all(a.ingredient.id != id_ for a in poured):
        try:
            id_ = resolve_id(id_)
        except ServiceError as error:
            raise error.below("/mistake/ingredient") from error
    used = next((a for a in poured if a.ingredient.id == id_), None)
    if used is None:
        raise InputError(f"None of {id_} is in the vessel: say in added how much went in.", "/mistake/ingredient")
    added = used.least_g if given.added is None else _grams(given.added, used, reader, "/mistake/added")
    if given.meant is not None:
        return Mistake(id_, _grams(given.meant, used, reader, "/mistake/meant"), added)
    recipe = [a for a in correction.plan.additions if a.ingredient.id == id_ and a.least_g == a.most_g]
    if len(recipe) != 1:
        raise InputError("Say how much of it was meant: the recipe names no one amount of it.", "/mistake/meant")
    return Mistake(id_, recipe[0].least_g, added)


def _grams(text: str, asked: AdditionAsked, reader: Reader, pointer: str) -> float:
    """An amount of something in the vessel [g]."""
    solid = asked.ingredient.bulk_solid
    quantity = reader.quantity(text, MASS if solid else MASS_OR_VOLUME, pointer, liquid=not solid)
    if quantity.kind is Kind.MASS:
        return quantity.value_base
    return quantity.value_base * density_g_ml(asked.ingredient)


def _of_lot(given: MistakeIn, name: str, correction: CorrectionAsked, reader: Reader) -> Mistake:
    lot = next((lot for lot in correction.poured_lots if lot.lot.name == name and lot.most_l > 0.0), None)
    if lot is None:
        raise InputError(f"“{name}” is not among the lots in the vessel.", "/mistake/lot")
    litre_g = lot.lot.contents.mass_g / lot.lot.volume_l
    recipe = next(m for m in correction.plan.lots if m.lot.name == name)
    if given.meant is not None:
        meant = _litres(given.meant, lot, reader, "/mistake/meant")
    elif given.added is not None and recipe.fixed and recipe.least_l > 0.0:
        meant = recipe.least_l
    else:
        raise InputError("Say how much of the lot was meant.", "/mistake/meant")
    added = lot.most_l if given.added is None else _litres(given.added, lot, reader, "/mistake/added")
    return Mistake(name, meant * litre_g, added * litre_g)


def _litres(text: str, lot: LotAsked, reader: Reader, pointer: str) -> float:
    quantity = reader.quantity(text, MASS_OR_VOLUME, pointer, liquid=True)
    if quantity.kind is Kind.MASS:
        return quantity.value_base * lot.lot.volume_l / lot.lot.contents.mass_g
    return quantity.value_base / 1000.0
