"""Goals as rows and columns of a problem: held, missed least, or as near as can be.

Each stage of `service.solver.goals` is a problem of its own, built here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

from service.solver.local import is_liquid
from service.solver.problem import Aim, Form, Problem, Ratio, Row, ratio_rows, volume_at

_LIKELY = 0.2
"""A likely amount of anything, in the solver's units, to scale rows with."""

_MOST_ML_PER_G = 1.3
"""No component takes more room than this (ethanol, 1.267 mL/g): bounds a volume by its mass."""


@dataclass(frozen=True, slots=True)
class Goal:
    """A target in numbers: a ratio held in low…high, near `value` if there is one.

    `step` is the noticeable step in the ratio's unit; `priority` 1 rules over 2. A quantity that is a ratio of forms
    only beside some value of its own gives `at`: the ratio that is exact at a bound; `ratio` is then the one that
    distances are counted with. With `chance` the two bounds have ratios of their own, and may lie the wrong way round:
    then nothing is in the range.
    """

    name: str
    ratio: Ratio
    low: float
    high: float
    value: float | None
    step: float
    priority: int = 1
    at: Callable[[float], Ratio] | None = None
    chance: bool = False

    def ratio_at(self, bound: float) -> Ratio:
        """The ratio that is exact where the quantity has the value of a bound."""
        return self.ratio if self.at is None else self.at(bound)

    def size(self) -> float:
        """The magnitude its rows are scaled by."""
        ends = [abs(v) for v in (self.low, self.high) if abs(v) < inf]
        return max([self.step, *ends])


def typical_divisor(ratio: Ratio, problem: Problem, sums: Sequence[float]) -> float:
    """Size of a ratio's denominator at a likely state, to scale rows with."""
    if ratio.denominator is None:
        return 1.0
    point = [min(0.5 * (a + b), a + _LIKELY) for a, b in zip(problem.lower, problem.upper, strict=True)]
    state = problem.sums_at(point)
    volume = volume_at(problem, point) if is_liquid(state) else sum(sums[:3])
    return max(abs(ratio.denominator.at(point, volume)), 1e-6)


def range_rows(
    goals: Sequence[Goal], references: Sequence[float], *, at_value: bool, exact: bool = True
) -> tuple[Row, ...]:
    """The rows of the ranges, or of the values; not `exact` where they may be missed and distances count."""
    rows: list[Row] = []
    for goal, reference in zip(goals, references, strict=True):
        low, high = (goal.value, goal.value) if at_value and goal.value is not None else (goal.low, goal.high)
        scale = 1.0 / (reference * goal.size())
        if low > high and not exact:
            low = high = 0.5 * (low + high)
        if exact and goal.at is not None and (low < high or goal.chance):
            rows.extend(ratio_rows(goal.name, goal.ratio_at(low), low, inf, scale) if low > -inf else ())
            rows.extend(ratio_rows(goal.name, goal.ratio_at(high), -inf, high, scale) if high < inf else ())
        else:
            rows.extend(ratio_rows(goal.name, goal.ratio_at(low) if exact else goal.ratio, low, high, scale))
    return tuple(rows)


def _reach(problem: Problem, form: Form) -> float:
    """More than the size that a form can have anywhere in the box: the bound of a deviation or miss column."""
    amounts = [max(abs(a), abs(b)) for a, b in zip(problem.lower, problem.upper, strict=True)]
    mass = sum(problem.fixed_sums[:3]) + sum(x * sum(c[:3]) for x, c in zip(amounts, problem.columns, strict=True))
    linear = sum(abs(a) * x for a, x in zip(form.coefficients, amounts, strict=False))
    return 2.0 * (abs(form.constant) + linear + abs(form.volume) * _MOST_ML_PER_G * mass) + 1.0


def _column(form: Form, at: int, factor: float) -> Form:
    coefficients = list(form.coefficients)
    coefficients[at] += factor
    return replace(form, coefficients=tuple(coefficients))


def _distance(goal: Goal, reference: float, columns: Sequence[int], size: int) -> Ratio:
    """The sum of some deviation columns in noticeable steps of the goal."""
    weight = reference * goal.size() / goal.step
    coefficients = [0.0] * size
    for at in columns:
        coefficients[at] = weight
    denominator = goal.ratio.denominator
    return Ratio(
        Form(0.0, tuple(coefficients)),
        None if denominator is None else denominator.widened(size - len(denominator.coefficients)),
    )


def near_values(problem: Problem, goals: Sequence[Goal], references: Sequence[float], *, exact: bool = True) -> Problem:
    """Hard ranges, and as first aim the distance from the values."""
    aimed = [(g, r) for g, r in zip(goals, references, strict=True) if g.value is not None]
    wide = replace(problem, rows=(*range_rows(goals, references, at_value=False, exact=exact), *problem.rows))
    far = [
        _reach(problem, row.form)
        for row in range_rows([g for g, _ in aimed], [r for _, r in aimed], at_value=True, exact=False)
    ]
    wide = wide.with_columns([0.0] * (2 * len(aimed)), [reach for reach in far for _ in range(2)])
    rows = list(wide.rows)
    terms = []
    for k, (goal, reference) in enumerate(aimed):
        plus = problem.size + 2 * k
        assert goal.value is not None
        (row,) = ratio_rows(goal.name, goal.ratio, goal.value, goal.value, 1.0 / (reference * goal.size()))
        form = row.form.widened(2 * len(aimed))
        rows.append(replace(row, form=_column(_column(form, plus, -1.0), plus + 1, 1.0)))
        terms.append(_distance(goal, reference, (plus, plus + 1), wide.size))
    return replace(wide, rows=tuple(rows), aims=(Aim(tuple(terms)), *wide.aims))


def least_misses(problem: Problem, goals: Sequence[Goal], references: Sequence[float]) -> Problem:
    """Every range may be missed; the misses are the first aims, by priority, and nearness comes after them."""
    near = (
        near_values(problem, goals, references, exact=False)
        if any(g.value is not None for g in goals)
        else replace(problem, rows=(*range_rows(goals, references, at_value=False, exact=False), *problem.rows))
    )
    missable = range_rows(goals, references, at_value=False, exact=False)
    ranged, far = len(missable), [_reach(problem, row.form) for row in missable]
    wide = near.with_columns([0.0] * ranged, far)
    rows = list(wide.rows)
    by_name: dict[str, list[int]] = {}
    for i in range(ranged):
        at = near.size + i
        row = rows[i]
        if row.lower > -inf and row.upper < inf and row.lower != row.upper:
            wide, at_second = wide.with_columns([0.0], [far[i]]), wide.size
            rows = [replace(r, form=r.form.widened(1)) for r in rows]
            form = rows[i].form
            rows[i] = replace(row, form=_column(form, at, 1.0), upper=inf)
            rows.append(Row(row.target, _column(form, at_second, -1.0), upper=row.upper))
            by_name.setdefault(row.target, []).append(at_second)
        elif row.lower == row.upper:
            wide, at_second = wide.with_columns([0.0], [far[i]]), wide.size
            rows = [replace(r, form=r.form.widened(1)) for r in rows]
            rows[i] = replace(row, form=_column(_column(rows[i].form, at, 1.0), at_second, -1.0))
            by_name.setdefault(row.target, []).append(at_second)
        else:
            rows[i] = replace(row, form=_column(row.form, at, 1.0 if row.lower > -inf else -1.0))
        by_name.setdefault(row.target, []).append(at)
    aims = []
    for priority in sorted({g.priority for g in goals}):
        aims.append(
            Aim(
                tuple(
                    _distance(goal, reference, by_name[goal.name], wide.size)
                    for goal, reference in zip(goals, references, strict=True)
                    if goal.priority == priority
                )
            )
        )
    return replace(wide, rows=tuple(rows), aims=(*aims, *wide.aims))
