"""A first addition that will hardly be too much: the rest is added after measuring.

What is added cannot be taken out, so of each target only the end of its range counts that additions carry the drink
towards. The chance of being beyond it, by the intervals of what is known before anything is measured, is kept to an
equal part of the chance allowed for all such targets together: together they then have at most that chance (Boole's
inequality). What the lots alone overshoot with a larger chance may hardly become likelier.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf
from typing import Final

from service.errors import ServiceError
from service.model.properties import PROPERTIES
from service.planner.answers_blend import FirstAddition, Overshoot
from service.planner.answers_decisions import AmountChange
from service.planner.asked import AdditionAsked, PlanAsked, TargetAsked
from service.planner.intervals import Interval, spreads_of
from service.planner.materials import Material, poured
from service.planner.plain_words import plain_property
from service.planner.predict import amounts_of, predict, rounded, value_of

_HALVINGS: Final = 12
_MOVED_STEPS: Final = 0.02
"""A property that all additions together move by less than this part of a noticeable step is not carried anywhere."""

_MORE: Final = 0.1
"""What the lots alone overshoot with a larger chance than is allowed may become likelier by this part of it."""

_DUST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class _Risk:
    """A target, the end of its range that additions carry it towards, and whether that is the upper one."""

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


def _risks(vessel: _Vessel, before_g: Sequence[float], after_g: Sequence[float]) -> list[_Risk]:
    """The targets that additions could carry too far, each with the end of its range that lies in that direction."""
    found = []
    for target in vessel.asked.targets:
        before, after = vessel.value(target.name, before_g), vessel.value(target.name, after_g)
        if before is None or after is None:
            continue
        law = PROPERTIES[target.name]
        if abs(after - before) < _MOVED_STEPS * law.step(after):
            continue
        above = after > before
        bound = target.high if above else target.low
        if abs(bound) < inf:
            found.append(_Risk(target, bound, above))
    return found


def first_addition(asked: PlanAsked, materials: Sequence[Material], masses_g: Sequence[float]) -> FirstAddition | None:
    """What to add first.

    Parameters: asked, with the chance of overshooting allowed; materials; masses_g of the plan [g].
    Returns: FirstAddition; None without a lot to add anything to. All of a plan that overshoots nothing is added.
    Source: intervals of `service.planner.intervals`.
    """
    assert asked.hold_back is not None
    lots_g = [g if m.kind == "lot" else 0.0 for m, g in zip(materials, masses_g, strict=True)]
    if not any(lots_g):
        return None
    vessel = _Vessel(asked, materials)
    risks = _risks(vessel, lots_g, masses_g)
    at_once = vessel.chances(risks, masses_g)
    allowed = asked.hold_back / max(len(risks), 1)
    already = vessel.chances(risks, lots_g)
    limits = [allowed if before <= allowed else before + _MORE * allowed for before in already]

    def bold(masses: Sequence[float]) -> bool:
        return any(chance > limit for chance, limit in zip(vessel.chances(risks, masses), limits, strict=True))

    masses = list(masses_g)
    if bold(masses):
        masses = _largest(lambda share: _between(lots_g, masses_g, share), bold)
        masses = _one_by_one(vessel, risks, masses, masses_g, bold)
    masses = [_measurable(m, first, whole, asked) for m, first, whole in zip(materials, masses, masses_g, strict=True)]
    volume_l = poured(materials, masses).volume_ml / 1000.0
    after = vessel.chances(risks, masses)
    overshoot = tuple(
        Overshoot(
            risk.target.name,
            rounded(risk.target.name, risk.bound),
            PROPERTIES[risk.target.name].unit,
            round(chance, 4),
            round(once, 4),
        )
        for risk, chance, once in zip(risks, after, at_once, strict=True)
    )
    held = [
        AmountChange(m.name, float(f"{whole - first:.4g}"))
        for m, first, whole in zip(materials, masses, masses_g, strict=True)
        if whole - first > _DUST * max(whole, 1.0)
    ]
    held.sort(key=lambda change: (-change.mass_g, change.name))
    return FirstAddition(
        asked.hold_back,
        amounts_of(materials, masses, volume_l, asked.circumstances),
        tuple(held),
        predict(materials, masses, asked.circumstances),
        overshoot,
        _text(asked.hold_back, held, overshoot, _beyond_already(risks, already, allowed)),
    )


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
    """More of each addition as far as that goes, those first that bring the least risk."""
    now = list(masses)

    def with_all_of(i: int) -> list[float]:
        return [*now[:i], most[i], *now[i + 1 :]]

    open_ = [i for i, (a, b) in enumerate(zip(now, most, strict=True)) if b - a > _DUST * b]
    worst = {i: max(vessel.chances(risks, with_all_of(i)), default=0.0) for i in open_}
    for i in sorted(open_, key=lambda i: (worst[i], vessel.materials[i].name)):
        if not bold(with_all_of(i)):
            now = with_all_of(i)
            continue
        here, there = list(now), with_all_of(i)
        now = _largest(lambda share, a=here, b=there: _between(a, b, share), bold)  # type: ignore[misc]
    return now


def _measurable(material: Material, first_g: float, whole_g: float, asked: PlanAsked) -> float:
    """What the scale shows, never more; packs are opened whole."""
    if material.kind == "lot" or first_g >= whole_g * (1.0 - _DUST):
        return whole_g
    source = material.source
    step = asked.circumstances.instruments.scale_step_g
    if isinstance(source, AdditionAsked) and material.whole_g:
        step = material.whole_g
    return floor(first_g / step + _DUST) * step


def _beyond_already(risks: Sequence[_Risk], already: Sequence[float], allowed: float) -> dict[str, float]:
    """The chances of what the lots alone overshoot with more than is allowed, by property."""
    return {risk.target.name: before for risk, before in zip(risks, already, strict=True) if before > allowed}


def _text(
    chance: float, held: Sequence[AmountChange], overshoot: Sequence[Overshoot], beyond: Mapping[str, float]
) -> str:
    if not overshoot:
        return "Additions carry no target towards an end of its range: nothing has to be held back."
    first = "".join(
        f"The lots alone are beyond the range of {plain_property(name)} with a chance of {100.0 * before:.2g} %: "
        "no first addition mends that, measure it before adding anything. "
        for name, before in beyond.items()
    )
    counted = [o for o in overshoot if o.property not in beyond]
    watched = ", ".join(plain_property(o.property) for o in overshoot)
    decided = ", ".join(plain_property(o.property) for o in counted)
    if not held:
        most = 100.0 * sum(o.chance for o in counted)
        would = f": {decided} would be overshot with a chance of {most:.2g} % at most." if counted else "."
        return f"{first}All of the plan may be added at once{would}"
    rest = ", ".join(f"{change.mass_g:.4g} g {change.name}" for change in held)
    then = f": the chance of overshooting any of {decided} is then at most {100.0 * chance:g} %." if counted else "."
    return (
        f"{first}Add these amounts first{then} Stir, degas a sample, measure {watched}, and ask /v1/corrections what "
        f"is still to be added; by the plan it would be {rest}."
    )
