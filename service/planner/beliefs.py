"""Everything that is not known about what is poured: the composition of each material, and how much of it there is.

One unknown belongs to one reading or one assumption, so that two amounts of one material share it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import inf

from service.catalogue.acidity import PH_SD, TA_RELATIVE_SD
from service.catalogue.readings import BRIX_SD
from service.model.ingredient_unknowns import unknowns_per_g
from service.model.lot_unknowns import ReadingErrors, unknowns_per_litre
from service.model.unknowns import Unknown
from service.planner.asked import AdditionAsked, Instruments, LotAsked
from service.planner.materials import Material

SCALE_SD_STEPS = 0.5
"""Standard deviation of a weighing in steps of the scale: it is read twice, empty and full (judged)."""

AMOUNT = "amount"
"""Name of the unknown that is how much of an addition was weighed or poured."""


def composition_unknowns(
    material: Material, instruments: Instruments, mass_g: float = 1.0, name: str | None = None
) -> tuple[Unknown, ...]:
    """The unknowns of some of a material, but for how much of it there is.

    Parameters: material; instruments of the request; mass_g of it [g]; name, whose composition it has, if not its own.
    Returns: unknowns with the name.
    Source: `service.model.lot_unknowns` and `service.model.ingredient_unknowns`.

    >>> from service.catalogue.lookup import get_ingredient
    >>> from service.planner.materials import materials_of
    >>> lemon = materials_of((), (AdditionAsked(get_ingredient("lemon_juice")),))[0]
    >>> [unknown.what for unknown in composition_unknowns(lemon, Instruments())]
    ['solids', 'acidity', 'pH']
    """
    asked = material.source
    called = material.name if name is None else name
    # a lot's are those of a litre
    factor = mass_g / (1000.0 * (material.density_g_ml or 1.0)) if isinstance(asked, LotAsked) else mass_g
    if asked.unknowns is not None:
        return tuple([u.scaled(factor, called if u.of == material.name else None) for u in asked.unknowns])
    if isinstance(asked, LotAsked):
        return tuple([u.scaled(factor, called) for u in unknowns_per_litre(asked.lot, _errors(instruments))])
    found = unknowns_per_g(asked.ingredient)
    return tuple([_as_read(u, asked, instruments).scaled(factor, called) for u in found])


_SOLIDS_READ = frozenset({"moisture_percent", "refractive_index", "density", "label"})


def _errors(instruments: Instruments) -> ReadingErrors:
    return ReadingErrors(
        instruments.hydrometer_error,
        instruments.strength_error_percent,
        instruments.ph_meter_error,
        instruments.titration_error_percent / 100.0,
    )


def _as_read(unknown: Unknown, asked: AdditionAsked, instruments: Instruments) -> Unknown:
    """An unknown that was measured, with the error of the caller's own instrument."""
    if unknown.what == "acidity" and "titratable_acidity" in asked.measured:
        share = asked.acidity_sd_share
        factor = (instruments.titration_error_percent / 100.0 if share is None else share) / TA_RELATIVE_SD
    elif unknown.what == "pH" and "ph" in asked.measured:
        factor = instruments.ph_meter_error / PH_SD
    elif unknown.what == "solids" and "brix" in asked.measured:
        factor = instruments.refractometer_error_brix / BRIX_SD
    elif unknown.what == "solids" and not _SOLIDS_READ.isdisjoint(asked.measured):
        factor = 1.0
    else:
        return unknown
    return replace(unknown.scaled(factor), low=-inf, high=inf)


def amount_unknown(material: Material, mass_g: float, instruments: Instruments) -> Unknown | None:
    """How much there is of a material besides what was weighed or read; None where that is known.

    Parameters: material; mass_g of it [g]; instruments of the request.
    Returns: an unknown of the whole amount.
    """
    asked = material.source
    if isinstance(asked, LotAsked):
        if asked.unknowns is not None:
            return None
        share = asked.volume_sd_share
        share = instruments.volume_error_percent / 100.0 if share is None else share
        what, how = "volume", "read its volume again, or weigh it"
    else:
        sd_g = asked.amount_sd_g if asked.amount_sd_g is not None else SCALE_SD_STEPS * instruments.scale_step_g
        share = sd_g / mass_g
        what, how = AMOUNT, "use a finer scale" if asked.fruit is None else "press the fruit and measure the juice"
    if share <= 0.0:
        return None
    shift = material.per_g.scaled(mass_g * share).vector
    return Unknown(what, shift, 0.0, -1.0 / share, inf, how, material.name)


def unknowns_of(
    materials: Sequence[Material], masses_g: Sequence[float], instruments: Instruments
) -> tuple[Unknown, ...]:
    """All unknowns of a blend, each with its shift of the contents of the whole.

    Parameters: materials; masses_g of each [g]; instruments.
    Returns: unknowns; those of one name are one.
    """
    found: dict[tuple[str, str], Unknown] = {}
    for unknown in _each(materials, masses_g, instruments):
        key = (unknown.what, unknown.of)
        if key in found:
            both = tuple([a + b for a, b in zip(found[key].shift, unknown.shift, strict=True)])
            found[key] = replace(unknown, shift=both)
        else:
            found[key] = unknown
    return tuple(found.values())


def shared_names(materials: Sequence[Material]) -> list[str]:
    """Whose composition each material has: its own name, or that of an earlier one of the same ingredient, as measured.

    Parameters: materials.
    Returns: names, in the order of the materials.
    """
    names: list[str] = []
    first: dict[str, list[Material]] = {}
    for material in materials:
        asked = material.source
        if isinstance(asked, LotAsked) or asked.unknowns is not None:
            names.append(material.name)
            continue
        alike = first.setdefault(asked.ingredient.id, [])
        same = next((m for m in alike if _same_ingredient(m, asked)), None)
        if same is None:
            alike.append(material)
        names.append(material.name if same is None else same.name)
    return names


def _same_ingredient(material: Material, asked: AdditionAsked) -> bool:
    other = material.source
    return (
        isinstance(other, AdditionAsked)
        and other.ingredient == asked.ingredient
        and (other.measured, other.acidity_sd_share) == (asked.measured, asked.acidity_sd_share)
    )


def _each(materials: Sequence[Material], masses_g: Sequence[float], instruments: Instruments) -> Iterator[Unknown]:
    for material, name, mass_g in zip(materials, shared_names(materials), masses_g, strict=True):
        if mass_g <= 0.0:
            continue
        yield from composition_unknowns(material, instruments, mass_g, name)
        amount = amount_unknown(material, mass_g, instruments)
        if amount is not None:
            yield amount
