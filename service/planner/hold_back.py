"""A first addition that will hardly be too much: the rest is added after measuring.

What is added cannot be taken out. Of each target an end of its range can be overshot where what everything is added to
lies on the inner side of it: beyond the other end it is still to be reached. The chance of being beyond an end, by the
intervals of what is known before anything is measured, is kept to an equal part of the chance allowed for all such ends
together: together they then have at most that chance (Boole's inequality). Where what everything is added to may be
beyond an end already with a larger chance than that, it may hardly become likelier.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from math import floor, inf
from typing import Final

from service.errors import ServiceError
from service.model.properties import PROPERTIES
from service.planner.answers_blend import FirstAddition, Overshoot, Poured
from service.planner.answers_decisions import AmountChange
from service.planner.asked import AdditionAsked, LotAsked, PlanAsked, TargetAsked
from service.planner.intervals import Interval, spreads_of
from service.planner.materials import Material, poured
from service.planner.plain_words import amount_in_words, joined, plain_property
from service.planner.predict import amounts_of, predict, rounded, value_of

_HALVINGS: Final = 12
_MORE: Final = 0.1
"""What may be beyond an end already may become likelier by this part of the chance allowed (our default)."""

_LESS: Final = (1.0, 0.99, 0.98, 0.95, 0.9, 0.8, 0.5, 0.0)
"""Shares of a first addition that are tried until what the scale shows of it is not too much."""

_DUST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class _Risk:
    """A target, an end of its range, and whether that is the upper one."""

    target: TargetAsked
    bound: float
    above: bool

    def chance(self, interval: Interval) -> float:
        below = interval.chance_below(self.bound)
        return 1.0 - below if self.above else below


class _Vessel:
    """The chances of overshooting with some masses in the vessel."""

    def __init__(self, asked: PlanAsked, materials: Sequence[Material]) -> None:
        self.asked, self.materials = asked, materials

    def value(self, name: str, masses_g: Sequence[float]) -> float | None:
        circumstances = self.asked.circumstances
        try:
            contents = poured(self.materials, masses_g)
            return value_of(name, self.materials, masses_g, contents, circumstances.end_point_ph, circumstances.senses)
        except ServiceError:  # nothing liquid in it yet
            return None

    def chances(self, risks: Sequence[_Risk], masses_g: Sequence[float]) -> list[float]:
        spreads = spreads_of(self.materials, masses_g, self.asked.circumstances)
        found = []
        for risk in risks:
            value = self.value(risk.target.name, masses_g)
            found.append(0.0 if value is None else risk.chance(spreads.interval(risk.target.name, value)))
        return found

    def steps_from(self, masses_g: Sequence[float], plan_g: Sequence[float]) -> float:
        """How far the targets' properties are from those of the plan, in noticeable steps together."""
        total = 0.0
        for target in self.asked.targets:
            here, there = self.value(target.name, masses_g), self.value(target.name, plan_g)
            if here is not None and there is not None:
                total += abs(here - there) / PROPERTIES[target.name].step(there)
        return total


def _risks(vessel: _Vessel, before_g: Sequence[float]) -> list[_Risk]:
    """The ends that can be overshot: those on whose inner side lies what everything is added to."""
    found = []
    for target in vessel.asked.targets:
        before = vessel.value(target.name, before_g)
        if before is None:
            continue
        if before <= target.high < inf:
            found.append(_Risk(target, target.high, True))
        if before >= target.low > -inf:
            found.append(_Risk(target, target.low, False))
    return found


def _what_it_is_added_to(materials: Sequence[Material], masses_g: Sequence[float]) -> list[float] | None:
    """Masses of what is in the vessel before anything is added: the given lots, else the most of one lot or liquid."""
    given = [m.kind == "lot" and m.fixed and g > 0.0 for m, g in zip(materials, masses_g, strict=True)]
    if not any(given):
        liquids = [i for i, m in enumerate(materials) if m.density_g_ml is not None and masses_g[i] > 0.0]
        lots = [i for i in liquids if materials[i].kind == "lot"]
        most = max(lots or liquids, key=lambda i: (masses_g[i], materials[i].name), default=None)
        if most is None:
            return None
        given[most] = True
    return [g if first else 0.0 for g, first in zip(masses_g, given, strict=True)]


def first_addition(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> FirstAddition | None:
    """What to add first.

    Parameters: asked, with the chance of overshooting allowed; materials; masses_g of the plan [g].
    Returns: FirstAddition; None where nothing liquid is there to add anything to. All of a plan that overshoots nothing
    is added.
    Source: intervals of `service.planner.intervals`.
    """
    assert asked.hold_back is not None
    start_g = _what_it_is_added_to(materials, masses_g)
    if start_g is None:
        return None
    vessel = _Vessel(asked, materials)
    risks = _risks(vessel, start_g)
    at_once, already = vessel.chances(risks, masses_g), vessel.chances(risks, start_g)
    allowed = asked.hold_back / max(len(risks), 1)
    limits = [allowed if before <= allowed else before + _MORE * allowed for before in already]

    def bold(masses: Sequence[float]) -> bool:
        return any(chance > limit for chance, limit in zip(vessel.chances(risks, masses), limits, strict=True))

    masses = list(masses_g)
    if bold(masses):
        masses = _largest(partial(_between, start_g, masses_g), bold)
        masses = _one_by_one(vessel, risks, masses, masses_g, bold)
    exact = masses
    for share in _LESS:  # rounding down may take more of an acid than of its carbonate
        shown = _between(start_g, exact, share)
        masses = [
            _measurable(m, first, whole, before, asked)
            for m, first, whole, before in zip(materials, shown, masses_g, start_g, strict=True)
        ]
        if not bold(masses):
            break
    overshoot = tuple(
        Overshoot(
            risk.target.name,
            rounded(risk.target.name, risk.bound),
            "upper" if risk.above else "lower",
            PROPERTIES[risk.target.name].unit,
            round(before, 4),
            round(chance, 4),
            round(once, 4),
        )
        for risk, before, chance, once in zip(risks, already, vessel.chances(risks, masses), at_once, strict=True)
    )
    held = [
        AmountChange(m.name, float(f"{whole - first:.4g}"))
        for m, first, whole in zip(materials, masses, masses_g, strict=True)
        if whole - first > _DUST * max(whole, 1.0)
    ]
    held.sort(key=lambda change: (-change.mass_g, change.name))
    volume_l = poured(materials, masses).volume_ml / 1000.0
    return FirstAddition(
        asked.hold_back,
        amounts_of(materials, masses, volume_l, asked.circumstances),
        tuple(held),
        predict(materials, masses, asked.circumstances),
        overshoot,
        _as_added(materials, masses),
        _text(asked, materials, held, overshoot, allowed, any(g > s for g, s in zip(masses, start_g, strict=True))),
    )


def first_masses_g(first: FirstAddition, materials: Sequence[Material]) -> list[float]:
    """The masses of a first addition, in the order of the materials [g]."""
    by_name = {amount.name: amount.mass_g for amount in first.amounts}
    return [by_name[m.name] for m in materials]


def _between(low: Sequence[float], high: Sequence[float], share: float) -> list[float]:
    return [a + share * (b - a) for a, b in zip(low, high, strict=True)]


def _largest(at: Callable[[float], list[float]], bold: Callable[[Sequence[float]], bool]) -> list[float]:
    """The largest share that is not too bold, by halving."""
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if bold(at(middle)):
            high = middle
        else:
            low = middle
    return at(low)


def _one_by_one(
    vessel: _Vessel,
    risks: Sequence[_Risk],
    masses: Sequence[float],
    most: Sequence[float],
    bold: Callable[[Sequence[float]], bool],
) -> list[float]:
    """More of each addition as far as that goes and brings the drink nearer, those first that bring the least risk.

    An acid without its carbonate, or the other way round, would lead away from the plan: they stay in proportion.
    """
    now = list(masses)

    def with_all_of(i: int) -> list[float]:
        return [*now[:i], most[i], *now[i + 1 :]]

    open_ = [i for i, (a, b) in enumerate(zip(now, most, strict=True)) if b - a > _DUST * b]
    worst = {i: max(vessel.chances(risks, with_all_of(i)), default=0.0) for i in open_}
    for i in sorted(open_, key=lambda i: (worst[i], vessel.materials[i].name)):
        here, there = list(now), with_all_of(i)
        if bold(there):
            there = _largest(partial(_between, here, there), bold)
        if vessel.steps_from(there, most) < vessel.steps_from(here, most):
            now = there
    return now


def _measurable(material: Material, first_g: float, whole_g: float, before_g: float, asked: PlanAsked) -> float:
    """What the scale shows, never more; packs are opened whole, and what is in the vessel stays."""
    if before_g > 0.0 or first_g >= whole_g * (1.0 - _DUST):
        return whole_g
    step = asked.circumstances.instruments.scale_step_g
    if isinstance(material.source, AdditionAsked) and material.whole_g:
        step = material.whole_g
    return floor(first_g / step + _DUST) * step


def _as_added(materials: Sequence[Material], masses_g: Sequence[float]) -> tuple[Poured, ...]:
    """The first addition as `added` of a correction takes it; lots that are used whole need not be told."""
    found = []
    for material, mass_g in zip(materials, masses_g, strict=True):
        source = material.source
        if isinstance(source, LotAsked):
            if source.least_l < source.lot.volume_l * (1.0 - _DUST):
                litres = mass_g / (1000.0 * (material.density_g_ml or 1.0))
                found.append(Poured(None, material.name, f"{litres:.6g} L"))
        elif mass_g > 0.0:
            found.append(Poured(source.ingredient.id, None, f"{mass_g:.6g} g"))
    return tuple(found)


def _text(
    asked: PlanAsked,
    materials: Sequence[Material],
    held: Sequence[AmountChange],
    overshoot: Sequence[Overshoot],
    allowed: float,
    some: bool,
) -> str:
    if not overshoot:
        return "No end of a range can be overshot: nothing has to be held back."
    doubtful = [o for o in overshoot if o.chance_before > allowed]
    sure = [o for o in overshoot if o.chance_before <= allowed]
    doubt = "".join(
        f" The {plain_property(o.property)} may be beyond its {o.end} end before anything is added, with a "
        f"chance of {100.0 * o.chance_before:.2g} %: measure it first, no first addition mends that."
        for o in doubtful
    )
    names = joined(list(dict.fromkeys(plain_property(o.property) for o in sure))) if sure else ""
    chance = 100.0 * (asked.hold_back or 0.0)
    if not held:
        most = 100.0 * sum(o.chance for o in sure)
        would = f": {names} would be overshot with a chance of {most:.2g} % at most" if sure else ""
        return f"All of the plan may be added at once{would}.{doubt}"
    of = {m.name: m for m in materials}
    rest = joined(
        [
            f"{amount_in_words(c.mass_g, asked.circumstances, liquid=of[c.name].density_g_ml is not None)} of "
            f"{of[c.name].said}"
            for c in held
        ]
    )
    promise = f": the chance of overshooting {names} is then at most {chance:g} % in all" if sure else ""
    first = f"Add these amounts first{promise}. Stir, degas a sample" if some else "Add nothing yet. Degas a sample"
    watched = joined(list(dict.fromkeys(plain_property(o.property) for o in overshoot)))
    return (
        f"{first}, measure {watched}, and have it corrected: what is still to be added; by the plan it would be "
        f"{rest}.{doubt}"
    )
