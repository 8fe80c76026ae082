"""A trade-off in words: where another mix takes over, what holds the ends, and what to make of the whole."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

from service.model.properties import PROPERTIES
from service.planner.asked import Circumstances, TargetAsked, TradeAsked
from service.planner.numbers import Numbers
from service.planner.plain_words import METRIC, figure_in_words, joined, plain_names, plain_property
from service.planner.trade_off.answers import Axis, TradePoint, Wish
from service.quantities import number_text
from service.solver.breakpoints import Breakpoint
from service.solver.frontier import CurvePoint
from service.solver.problem import volume_at

NOT_A_TASTE = (
    "Levels are composition, not taste: sweetness by published relative sweetness, fruit by single-strength juice "
    "equivalent. Taste a glass before the batch."
)
MIX_CHANGES = "From here the mix changes."
"""Where no ingredient comes in or goes and no limit is reached: nothing to tell."""
_SAME = 1e-7


def axis_of(name: str, wish: Wish) -> Axis:
    """A property as an axis."""
    law = PROPERTIES[name]
    return Axis(name, "" if law.unit in ("SG", "pH") else law.unit, law.meaning, wish)


class _Names:
    """Ingredients and limits of one curve, as one says them."""

    def __init__(self, numbers: Numbers, rows: Sequence[str], circumstances: Circumstances) -> None:
        self.numbers, self.rows, self.circumstances = numbers, rows, circumstances
        self.plain = plain_names([material.name for material in numbers.materials])
        self.targets = {target.name: target for target in numbers.targets}

    def of(self, columns: Sequence[int]) -> list[str]:
        materials, free = self.numbers.materials, self.numbers.free
        return [self.plain[materials[free[j]].name] for j in columns if j < len(free)]

    def limits(self, rows: Sequence[int], point: CurvePoint) -> list[str]:
        """The limits that some rows belong to, as they hold at a point; the row of the level is none."""
        held = dict.fromkeys(self.rows[i] for i in rows if i < len(self.rows) and self.rows[i] in self.targets)
        return [self._limit(self.targets[name], point) for name in held]

    def _limit(self, target: TargetAsked, point: CurvePoint) -> str:
        """`the upper acidity limit (9 g/L tartaric)`."""
        plain = plain_property(target.name)
        if target.value is not None or target.low == target.high:
            bound, which = target.low if target.value is None else target.value, f"the {plain} wanted"
        elif self._is_low(target, point):
            bound, which = target.low, f"the lower {plain} limit"
        else:
            bound, which = target.high, f"the upper {plain} limit"
        return f"{which} ({figure_in_words(target.name, bound, self.circumstances)})"

    def _is_low(self, target: TargetAsked, point: CurvePoint) -> bool:
        """Whether it is the lower end of a range that a point stands at."""
        if inf in (-target.low, target.high):
            return target.high == inf
        problem, x = self.numbers.problem, point.x
        value = next(goal.ratio for goal in self.numbers.goals if goal.name == target.name).at(x, volume_at(problem, x))
        return abs(value - target.low) < abs(value - target.high)


def _is(names: Sequence[str]) -> str:
    return "is" if len(names) == 1 else "are"


def _all_used(names: Sequence[str]) -> str:
    return f"{joined([f'all the {name}' for name in names])} {_is(names)} used"


def breakpoint_text(
    numbers: Numbers, found: Breakpoint, rows: Sequence[str], circumstances: Circumstances = METRIC
) -> str:
    """What changes at a breakpoint, towards more of the first property: `from here lemon replaces cherry`."""
    lower, upper = numbers.problem.lower, numbers.problem.upper
    used_up: list[int] = []
    dropped: list[int] = []
    coming: list[int] = []
    spare: list[int] = []
    for j in found.leaving:
        (used_up if abs(found.right.x[j] - upper[j]) <= _SAME else dropped).append(j)
    for j in found.entering:
        (spare if abs(found.left.x[j] - upper[j]) <= _SAME and upper[j] > lower[j] else coming).append(j)
    names = _Names(numbers, rows, circumstances)
    came, went, full, cut = names.of(coming), names.of(dropped), names.of(used_up), names.of(spare)
    mix = [_all_used(full)] if full else []
    if came and went:
        mix.append(f"{joined(came)} {'replaces' if len(came) == 1 else 'replace'} {joined(went)}")
    elif came:
        mix.append(f"{joined(came)} {'comes' if len(came) == 1 else 'come'} in")
    elif went:
        mix.append(f"no more {joined(went, 'or')} goes in")
    if cut:
        mix.append(f"{joined([f'the {name}' for name in cut])} {_is(cut)} cut back")
    words = [", and ".join(mix)] if mix else []
    held, freed = names.limits(found.rows_entering, found.right), names.limits(found.rows_leaving, found.left)
    if held:
        words.append(f"{joined(held)} {_is(held)} reached")
    if freed:
        words.append(f"{joined(freed)} no longer {'holds' if len(freed) == 1 else 'hold'} it back")
    return f"From here {'; '.join(words)}." if words else MIX_CHANGES


def end_text(
    numbers: Numbers, point: CurvePoint, rows: Sequence[str], circumstances: Circumstances = METRIC, *, low: bool
) -> str:
    """What keeps a curve from going on."""
    lower, upper = numbers.problem.lower, numbers.problem.upper
    reasons = []
    if point.basis is not None:
        names = _Names(numbers, rows, circumstances)
        fixed = [j for j in range(len(numbers.free)) if j not in point.basis.free]
        full = names.of([j for j in fixed if abs(point.x[j] - upper[j]) <= _SAME < upper[j]])
        least = names.of([j for j in fixed if abs(point.x[j] - lower[j]) <= _SAME and lower[j] > 0.0])
        held = names.limits(point.basis.rows, point)
        if full:
            reasons.append(_all_used(full))
        if least:
            reasons.append(f"{joined(least)} {_is(least)} at the least that has to go in")
        if held:
            reasons.append(f"{joined(held)} {_is(held)} reached")
    way = "lower" if low else "higher"
    return f"No {way}: {', and '.join(reasons)}." if reasons else f"No {way} with these ingredients."


def shown(name: str, value: float) -> str:
    """A value of a property with its unit, short."""
    law = PROPERTIES[name]
    unit = "" if law.unit in ("SG", "pH", "") else f" {law.unit}"
    return f"{number_text(value, 10.0**-law.decimals)}{unit}"


def _course(name: str, first: float, last: float) -> str:
    """`rises from 4.1 % to 5.2 %`."""
    one, other = shown(name, first), shown(name, last)
    return f"stays at {one}" if one == other else f"{'rises' if first < last else 'falls'} from {one} to {other}"


def summary(asked: TradeAsked, points: Sequence[TradePoint], best: int, knee: int | None, breaks: int) -> str:
    """The curve in a few sentences."""
    x, y = asked.x, asked.y.name
    first, last, top = points[0], points[-1], points[best]
    much = "most" if asked.y.maximise else "least"
    text = (
        f"As {plain_property(x)} rises from {shown(x, first.x)} to {shown(x, last.x)}, the {much} {plain_property(y)} "
    )
    if 0 < best < len(points) - 1:
        text += f"{_course(y, first.y, top.y)} at {shown(x, top.x)} (point {best + 1}), "
        back = _course(y, top.y, last.y)
        text += "and stays there" if back.startswith("stays") else f"then {back.split(' ')[0]} to {shown(y, last.y)}"
    else:
        text += _course(y, first.y, last.y)
    text += "."
    if knee is not None:
        point = points[knee]
        where = f"{shown(y, point.y)} at {shown(x, point.x)}"
        after = "each step brings less" if knee < best else "each step costs more"
        text += f" It bends at point {knee + 1} ({where}): from there on {after}."
    if breaks:
        text += f" The mix changes {breaks} {'time' if breaks == 1 else 'times'} on the way."
    return text
