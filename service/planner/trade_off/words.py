"""A trade-off in words: where another mix takes over, what holds the ends, and what to make of the whole."""

from __future__ import annotations

from collections.abc import Sequence

from service.model.properties import PROPERTIES
from service.planner.asked import TradeAsked
from service.planner.clash_words import in_words, joined, target_in_words
from service.planner.numbers import Numbers
from service.planner.trade_off.answers import Axis, TradePoint
from service.quantities import number_text
from service.solver.breakpoints import Breakpoint
from service.solver.frontier import CurvePoint

NOT_A_TASTE = (
    "Levels are composition, not taste: sweetness by published relative sweetness, fruit by single-strength juice "
    "equivalent. Taste a glass before the batch."
)
_SAME = 1e-7


def axis_of(name: str, wish: str) -> Axis:
    """A property as an axis."""
    law = PROPERTIES[name]
    return Axis(name, "" if law.unit in ("SG", "pH") else law.unit, law.meaning, wish)  # type: ignore[arg-type]


def _names(numbers: Numbers, columns: Sequence[int]) -> list[str]:
    return [numbers.materials[numbers.free[j]].name for j in columns if j < len(numbers.free)]


def _targets(numbers: Numbers, rows: Sequence[int], problem_rows: Sequence[str]) -> list[str]:
    """Targets in words that some rows belong to; the row of the level is none."""
    by_name = {t.name: t for t in numbers.targets}
    return [
        target_in_words(by_name[problem_rows[i]]) for i in rows if i < len(problem_rows) and problem_rows[i] in by_name
    ]


def breakpoint_text(numbers: Numbers, found: Breakpoint, rows: Sequence[str]) -> str:
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
    came, went = _names(numbers, coming), _names(numbers, dropped)
    words = []
    if came and went:
        words.append(f"{joined(came)} {'replaces' if len(came) == 1 else 'replace'} {joined(went)}")
    elif came:
        words.append(f"{joined(came)} {'comes' if len(came) == 1 else 'come'} in")
    elif went:
        words.append(f"no {joined(went, 'or')} any more")
    if used_up:
        words.append(f"all the {joined(_names(numbers, used_up))} is used")
    if spare:
        words.append(f"some {joined(_names(numbers, spare))} is left over")
    held = _targets(numbers, found.rows_entering, rows)
    freed = _targets(numbers, found.rows_leaving, rows)
    if held:
        words.append(f"{joined(held)} holds it back")
    if freed:
        words.append(f"{joined(freed)} no longer holds it back")
    return f"From here {'; '.join(words)}." if words else "From here the mix changes."


def end_text(numbers: Numbers, point: CurvePoint, rows: Sequence[str], *, low: bool) -> str:
    """What keeps a curve from going on."""
    lower, upper = numbers.problem.lower, numbers.problem.upper
    reasons = []
    if point.basis is not None:
        reasons += _targets(numbers, point.basis.rows, rows)
        free = set(point.basis.free)
        fixed = [j for j in range(len(numbers.free)) if j not in free]
        for name in _names(numbers, [j for j in fixed if abs(point.x[j] - upper[j]) <= _SAME < upper[j]]):
            reasons.append(f"all the {name}")
        for name in _names(numbers, [j for j in fixed if abs(point.x[j] - lower[j]) <= _SAME and lower[j] > 0.0]):
            reasons.append(f"the least of {name}")
    way = "lower" if low else "higher"
    return f"No {way}: held by {joined(reasons)}." if reasons else f"No {way} with these ingredients."


def shown(name: str, value: float) -> str:
    """A value of a property with its unit, short."""
    law = PROPERTIES[name]
    unit = "" if law.unit in ("SG", "pH", "") else f" {law.unit}"
    return f"{number_text(value, 10.0**-law.decimals)}{unit}"


def summary(asked: TradeAsked, points: Sequence[TradePoint], best: int, knee: int | None, breaks: int) -> str:
    """The curve in a few sentences."""
    x, y = asked.x, asked.y.name
    first, last, top = points[0], points[-1], points[best]
    much = "most" if asked.y.maximise else "least"
    text = (
        f"From {in_words(x, first.x)} to {in_words(x, last.x)}, the {much} {_plain(y)} goes from "
        f"{shown(y, first.y)} to {shown(y, last.y)}"
    )
    if 0 < best < len(points) - 1:
        text += f", with {shown(y, top.y)} at {shown(x, top.x)} (point {best + 1})"
    text += "."
    if knee is not None:
        point = points[knee]
        text += f" It bends most at point {knee + 1}: {shown(y, point.y)} at {shown(x, point.x)}."
    if breaks:
        text += f" The mix changes {breaks} {'time' if breaks == 1 else 'times'} on the way."
    return text


def _plain(name: str) -> str:
    return {
        "citrus_percent": "citrus juice",
        "juice_percent": "juice",
        "sucrose_equivalent_g_per_l": "sweetness",
        "abv_percent": "strength",
        "titratable_acidity": "acidity",
        "ph": "pH",
        "added_mass": "mass to add",
        "added_volume": "volume to add",
        "sugar_acid_ratio": "sugar–acid ratio",
    }.get(name, name.removesuffix("_g_per_l").replace("_", " "))
