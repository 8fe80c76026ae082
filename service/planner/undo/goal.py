"""What is aimed at: the target that speaks of the fault, or a noticeable step where none does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isinf
from typing import Final

from service.errors import InconsistentError, InputError
from service.model.lot_class import Assumed
from service.model.properties import PROPERTIES
from service.planner.asked import TargetAsked
from service.planner.plain_words import plain_property, value_in_words
from service.planner.steps import value_after_steps
from service.planner.undo.asked import Fault
from service.planner.undo.mixing import Vessel

LOWER_SWEETNESS: Final = (
    "gravity",
    "sugar_g_per_l",
    "sucrose_equivalent_g_per_l",
    "fermentable_sugar_g_per_l",
    "brix",
    "extract_g_per_l",
)

SPEAKS_OF: Final[Mapping[Fault, tuple[str, ...]]] = {
    "too_sweet": LOWER_SWEETNESS,
    "too_sour": ("titratable_acidity", "ph"),
    "too_strong": ("abv_percent",),
    "too_weak": ("abv_percent",),
    "haze_lost": ("citrus_percent", "juice_percent"),
}
"""Properties that a target for a fault can be on, the first being that of the default step where `_BY` has none."""

_BY: Final[Mapping[Fault, tuple[str, float]]] = {
    "too_sweet": ("sucrose_equivalent_g_per_l", -1.0),
    "too_sour": ("titratable_acidity", -1.0),
    "too_strong": ("abv_percent", -1.0),
    "too_weak": ("abv_percent", 1.0),
}
"""Where no target speaks of the fault: a property and the noticeable steps that it moves by."""

_UPWARDS: Final = frozenset({"too_weak", "haze_lost"})
_LEAST_JUICE_PERCENT: Final = 5.0
_WORD: Final[Mapping[Fault, str]] = {
    "too_sweet": "too sweet",
    "too_sour": "too sour",
    "too_strong": "too strong",
    "too_weak": "too weak",
    "haze_lost": "short of cloudy juice",
}


@dataclass(frozen=True, slots=True)
class Goal:
    """A property, the value to bring it to and the one it has; `target` the same as a target, `others` the rest."""

    name: str
    aim: float
    now: float
    target: TargetAsked
    others: tuple[TargetAsked, ...]
    assumed: tuple[Assumed, ...] = ()

    @property
    def targets(self) -> tuple[TargetAsked, ...]:
        """All targets, the goal first."""
        return (self.target, *self.others)

    @property
    def text(self) -> str:
        """What is aimed at, in words."""
        return value_in_words(self.name, self.aim)


def goal_of(vessel: Vessel, fault: Fault) -> Goal:
    """The goal for a drink with a fault.

    Parameters: vessel; fault, one that a property speaks of.
    Returns: Goal.
    Raises: InputError where a target leaves the needed side open or the drink has not the property, InconsistentError
        where the drink is on the wanted side of it already.
    """
    targets = vessel.asked.targets
    names = SPEAKS_OF[fault]
    mine = sorted((t for t in targets if t.name in names), key=lambda t: (t.priority, names.index(t.name)))
    if not mine:
        return _by_default(vessel, fault, targets)
    target = mine[0]
    pointer = f"/targets/{target.name}"
    now = vessel.value(target.name)
    if now is None:
        text = f"{plain_property(target.name)} is not defined for this drink: it holds no acid. Choose another target."
        raise InputError(text[0].upper() + text[1:], pointer)
    upwards = fault in _UPWARDS or target.name == "ph"
    aim = target.value if target.value is not None else target.low if upwards else target.high
    if isinf(aim):
        side = "min" if upwards else "max"
        raise InputError(f"A drink that is {_WORD[fault]} needs a value or a {side} here.", pointer)
    if (aim <= now) if upwards else (aim >= now):
        shown = value_in_words(target.name, now, vessel.circumstances)
        wanted = value_in_words(target.name, aim, vessel.circumstances)
        raise InconsistentError(
            f"The drink has {shown} and {wanted} is asked for: by that it is not {_WORD[fault]}. Check both figures, "
            "or name another fault.",
            pointer,
        )
    others = tuple(t for t in targets if t is not target)
    return Goal(target.name, aim, now, replace(target, priority=1), others)


def _by_default(vessel: Vessel, fault: Fault, targets: tuple[TargetAsked, ...]) -> Goal:
    if fault == "haze_lost":
        return _more_juice(vessel, targets)
    name, steps = _BY[fault]
    now = vessel.value(name)
    if now is None or now <= 0.0:
        text = f"The drink has no {plain_property(name)} to speak of: it is not {_WORD[fault]}. Check its readings."
        raise InconsistentError(text, "/fault")
    senses = vessel.circumstances.senses
    least = senses.step(name)
    if not least.relative and now + steps * least.size < 0.0:
        text = f"The drink has {value_in_words(name, now)}: a noticeable step less is below nothing. Name a target."
        raise InputError(text, "/targets")
    aim = round(value_after_steps(name, now, steps, senses), PROPERTIES[name].decimals)
    how = f"one noticeable step {'more' if steps > 0.0 else 'less'} ({value_in_words(name, aim, vessel.circumstances)})"
    return _goal(vessel, name, now, aim, how, targets)


def _more_juice(vessel: Vessel, targets: tuple[TargetAsked, ...]) -> Goal:
    """A noticeable step more juice, of citrus where there is any, and not less than a drink needs to look cloudy."""
    citrus, juice = vessel.value("citrus_percent") or 0.0, vessel.value("juice_percent") or 0.0
    name, now = ("citrus_percent", citrus) if citrus > 0.0 or juice <= 0.0 else ("juice_percent", juice)
    step = vessel.circumstances.senses.step(name)
    more = now * (1.0 + step.size) if step.relative else now + step.size
    aim = round(max(more, now + _LEAST_JUICE_PERCENT), PROPERTIES[name].decimals)
    how = f"{value_in_words(name, aim, vessel.circumstances)}, a noticeable step more and 5 % at least"
    return _goal(vessel, name, now, aim, how, targets)


def _goal(vessel: Vessel, name: str, now: float, aim: float, how: str, targets: tuple[TargetAsked, ...]) -> Goal:
    assumed = Assumed("what is aimed at", how, "our default: no target speaks of the fault", f"a target on {name}")
    target = TargetAsked(name, aim, aim, aim, value_in_words(name, aim, vessel.circumstances))
    same = tuple(t for t in targets if t.name != name)
    return Goal(name, aim, now, target, same, (assumed,))


def held(vessel: Vessel, names: tuple[str, ...], goal: Goal) -> tuple[TargetAsked, ...]:
    """Targets that keep some properties where they are, unless a target of the caller's speaks of them."""
    told = {t.name for t in goal.targets}
    found = []
    for name in names:
        now = vessel.value(name)
        if name in told or now is None or now <= 0.0:
            continue
        words = f"as it is ({value_in_words(name, now, vessel.circumstances)})"
        found.append(TargetAsked(name, now, now, now, words, priority=2))
    return tuple(found)
