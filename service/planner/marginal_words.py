"""What a small change costs, in words: `+0.001 takes about +31 g honey_acacia; side effects: strength −0.02 % vol`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import floor, log10

from service.model.properties import PROPERTIES
from service.planner.answers_decisions import AmountChange, Marginal, PropertyChange
from service.planner.asked import Circumstances
from service.planner.materials import Material
from service.planner.plain_words import plain_property
from service.planner.steps import steps_between
from service.quantities import mass_text, number_text, volume_text

_WITHOUT_UNIT = ("SG", "pH", "")

_MOST_CHANGES = 4
_LEAST_SHARE = 1e-3
"""Amounts that move by less than this share of the largest are not told."""

_FINEST_G = 1e-4
_HOLDS_ALL = 0.95


@dataclass(frozen=True, slots=True)
class Shift:
    """What a step of a target or limit does, at the rate of the plan.

    `step` is negative for a change downwards; `own` the material whose limit moves; `masses_g` the change of every
    material; `effects` the value of other properties and their change; `holds` for how many such steps the rate holds.
    """

    of: str
    step: float
    unit: str
    own: Material | None
    masses_g: tuple[float, ...]
    effects: Mapping[str, tuple[float, float]]
    holds: float


def _signed(text: str, positive: bool) -> str:
    return ("+" if positive else "−") + text


def signed_in_unit(value: float, unit: str, step: float) -> str:
    """A signed change of a property in words.

    >>> signed_in_unit(-0.02, "% vol", 0.01)
    '−0.02 % vol'
    """
    return _signed(number_text(abs(value), step), value > 0.0) + ("" if unit in _WITHOUT_UNIT else f" {unit}")


def _two_digits(value: float) -> float:
    """The decimal step that shows two digits of a number."""
    return float(10.0 ** (floor(log10(abs(value))) - 1))


def _amount(mass_g: float, material: Material, circumstances: Circumstances, fine_g: float) -> str:
    """A mass without its sign: a lot by volume, because it is poured."""
    if material.kind == "lot" and material.density_g_ml:
        return volume_text(abs(mass_g) / material.density_g_ml, circumstances.system, fine_g)
    return mass_text(abs(mass_g), circumstances.system, fine_g)


def marginal_in_words(
    shift: Shift, materials: Sequence[Material], preferred: frozenset[str], circumstances: Circumstances
) -> Marginal:
    """A step, what it takes, and its side effects.

    Parameters: shift; materials, sorted as its masses; preferred, properties whose change is told however small;
    circumstances.
    Returns: Marginal.
    """
    # words speak of no more than the rate holds for; figures of the whole step
    share = shift.holds if 0.0 < shift.holds < _HOLDS_ALL else 1.0
    told = shift if share == 1.0 else replace(shift, step=float(f"{share * shift.step:.2g}"))
    ranked = sorted(zip(shift.masses_g, materials, strict=True), key=lambda pair: (-abs(pair[0]), pair[1].name))
    largest = abs(ranked[0][0])
    amounts = [(mass, material) for mass, material in ranked if abs(mass) > _LEAST_SHARE * largest]
    others = [(mass, material) for mass, material in amounts if material is not shift.own]
    fine_g = max(_FINEST_G, 0.1 * _two_digits(share * others[0][0])) if others else 1.0
    moved = [
        f"{_signed(_amount(share * mass, material, circumstances, fine_g), mass > 0.0)} {material.said}"
        for mass, material in others[:_MOST_CHANGES]
        if abs(share * mass) >= 0.5 * fine_g
    ]
    more = len(others) - _MOST_CHANGES
    if more > 0:
        moved.append(f"and {more} smaller change{'s' if more > 1 else ''}")
    changes, side = [], []
    for name, (old, change) in shift.effects.items():
        law = PROPERTIES[name]
        step = 10.0**-law.decimals
        wished = name in preferred and abs(change) > _LEAST_SHARE * _LEAST_SHARE * step
        if abs(change) < 0.5 * step and not wished:
            continue
        unit = circumstances.currency or "" if name == "cost" else law.unit
        steps = steps_between(name, old, old + change, circumstances.senses)
        changes.append(PropertyChange(name, float(f"{change:.3g}"), unit, None if steps is None else round(steps, 2)))
        part = share * change
        if abs(part) >= 0.5 * step or wished:
            fine = min(step, _two_digits(part)) if wished else step
            side.append(f"{plain_property(name)} {signed_in_unit(part, unit, fine)}")
    return Marginal(
        shift.of,
        float(f"{shift.step:.4g}"),
        shift.unit,
        tuple(AmountChange(material.name, float(f"{mass:.4g}")) for mass, material in amounts),
        tuple(changes),
        f"{_head(told, circumstances)} {_body(moved, side, target=shift.own is None)}{_until(shift, circumstances)}",
    )


def _body(moved: Sequence[str], side: Sequence[str], *, target: bool) -> str:
    effects = f"{'side effects: ' if moved else ''}{', '.join(side)}" if side else ""
    if not moved:
        return effects or "nothing else that shows"
    return f"{'about ' if target else ''}{', '.join(moved)}" + (f"; {effects}" if effects else "")


def _size(step: float, shift: Shift, circumstances: Circumstances) -> str:
    """A step of a limit without its sign."""
    if shift.own is None:
        return ""
    if shift.unit == "L":
        return volume_text(1000.0 * abs(step), circumstances.system, 1000.0 * _two_digits(step))
    return mass_text(abs(step), circumstances.system, _two_digits(step))


def _head(shift: Shift, circumstances: Circumstances) -> str:
    if shift.own is None:
        return f"{signed_in_unit(shift.step, shift.unit, 0.1 * _two_digits(shift.step))} takes"
    kind, name = shift.of.partition(" of ")[0], shift.own.said
    size = _size(shift.step, shift, circumstances)
    if kind == "least":
        return f"With a minimum of {name} {size} {'higher' if shift.step > 0.0 else 'lower'}:"
    return f"With {size} {'more' if shift.step > 0.0 else 'less'} of {name} to use:"


def _until(shift: Shift, circumstances: Circumstances) -> str:
    """How far the rate holds, where that is less than the step."""
    if shift.holds >= _HOLDS_ALL:
        return ""
    end = shift.holds * shift.step
    if shift.own is None:
        return f"; this rate holds to about {signed_in_unit(end, shift.unit, _two_digits(end))} only" if end else ""
    return f"; this rate holds for about {_size(end, shift, circumstances)} only" if end else ""
