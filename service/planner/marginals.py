"""What a small change costs: amounts and properties as they move when a target or limit does, to first order.

A target that binds, or the limit of an amount that does, is moved by a very small share of a step; the free amounts
follow by Newton on the optimal basis, and the change is scaled up to the step. That is the dual solution written out:
which amounts pay for the step, and with what side effects.

At a kink, where something else stops the amounts within a hundredth of the step, that basis speaks of the other side
only: the problem is solved again a little way off, and the rate taken from there. A change upwards is priced where
there is one, else the change downwards, and the step told is then negative.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from math import floor, inf, log10
from operator import mul

from service.model.properties import PROPERTIES
from service.planner.answers_decisions import Marginal
from service.planner.asked import Circumstances
from service.planner.marginal_words import Shift, marginal_in_words
from service.planner.materials import Material, poured
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.solver.goals import GoalResult
from service.solver.local import TOLERANCE, Basis, LocalStatus, is_liquid, newton_on_basis, worst_violation
from service.solver.problem import Problem, Row, Tangent, volume_at
from service.solver.solve import find
from service.solver.stages import Goal

_INSTRUMENT_STEPS = {"gravity": 0.001, "ph": 0.01, "volume": 0.1}
"""The change that is priced where no sense decides, in the property's unit; a hundredth of the value for the others."""

_SENSED = {
    "abv_percent",
    "titratable_acidity",
    "sugar_g_per_l",
    "fermentable_sugar_g_per_l",
    "extract_g_per_l",
    "sucrose_equivalent_g_per_l",
    "juice_percent",
    "citrus_percent",
}
"""Properties that are priced by the just-noticeable step."""

_SIDE_EFFECTS = ("gravity", "abv_percent", "titratable_acidity", "ph", "cost")
_NEAR = (1e-2, 1e-4)
"""A basis that ends within this share of a step is not the one to price it with; the second where no side goes on."""

_FRACTION = 1e-5
"""Rates are taken over this share of a step."""

_STOCK_SHARE = 0.1
_PRICE = 1e-7
"""A limit whose reduced cost is below this share of its aim's largest gradient does not bind."""

_NO_GAIN = 1e-4
"""Beside a kink, an aim whose parts cancel to this share of them does not move."""

_NO_MOVE = 1e-8
"""Amounts that move by less for a step stand still, in the solver's units."""


def _leans(result: GoalResult, at: int) -> bool:
    """Whether a row of the basis is held by the amounts, and not by a distance from the value asked for."""
    basis, problem = result.solution.basis, result.problem
    size = len(result.x)
    coefficients = problem.rows[at].form.coefficients
    return basis is not None and not any(j >= size and coefficients[j] for j in basis.free)


def binding_targets(result: GoalResult) -> set[str]:
    """Names of the targets that hold the optimum where it is: moved a little, they move the amounts."""
    basis = result.solution.basis
    return set() if basis is None else {result.problem.rows[i].target for i in basis.rows if _leans(result, i)}


@dataclass(frozen=True, slots=True)
class _Move:
    """One bound to move: that of a target's rows, or of one column.

    `shifted` is the problem when it moves by a share of the step; `priced` says whether it binds, None where only
    moving it tells; `own` is the material whose limit it is.
    """

    of: str
    step: float
    unit: str
    shifted: Callable[[float], Problem]
    priced: bool | None
    own: Material | None = None


@dataclass(frozen=True, slots=True)
class _Rate:
    """Change of every column for a step, from the point where it was taken; `holds` for so many steps about."""

    start: tuple[float, ...]
    change: tuple[float, ...]
    holds: float


def step_of(name: str, value: float, circumstances: Circumstances) -> float:
    """The step of a property that is priced at a value: noticeable, or what an instrument shows; never zero."""
    if name in _SENSED:
        step = circumstances.senses.step(name)
        size = step.size * abs(value) if step.relative else step.size
    else:
        size = _INSTRUMENT_STEPS.get(name, 0.01 * abs(value))
    return size or float(10.0 ** -PROPERTIES[name].decimals)


def _moved(row: Row, goal: Goal, delta: float, size: int) -> Row:
    """The row of a target whose bound moves by `delta`, in the property's unit; `size` amounts, then other columns."""
    bound = goal.value if row.lower == row.upper and goal.value is not None else goal.high
    if row.lower > -inf and (row.upper == inf or goal.value is None):
        bound = goal.low
    before, after = goal.ratio_at(bound), goal.ratio_at(bound + delta)
    if before.denominator is None or after.denominator is None:
        return replace(row, lower=row.lower + delta * row.scale, upper=row.upper + delta * row.scale)
    # the difference only: a distance from a pH may be counted beside another pH
    held = before.numerator.minus(bound, before.denominator)
    change = after.numerator.minus(bound + delta, after.denominator).minus(1.0, held)
    return replace(row, form=row.form.minus(-row.scale, change.widened(len(row.form.coefficients) - size)))


def _target_move(result: GoalResult, numbers: Numbers, name: str, step: float) -> _Move | None:
    """The move of a target, if one of its rows is at its bound."""
    problem, x = result.problem, result.solution.x
    goal = next(g for g in numbers.goals if g.name == name)
    rows = {i for i, row in enumerate(problem.rows) if row.target == name}
    volume = volume_at(problem, x)
    held = [i for i in rows if _is_at(problem.rows[i], problem.rows[i].form.at(x, volume))]
    basis = result.solution.basis
    if basis is None or not held:
        return None

    def shifted(share: float) -> Problem:
        size = len(result.x)
        moved = (_moved(r, goal, step * share, size) if i in rows else r for i, r in enumerate(problem.rows))
        return replace(problem, rows=tuple(moved))

    own = [i for i in held if i in basis.rows]
    if own and not any(_leans(result, i) for i in own):
        return None  # a value that is missed: the distance gives way, not the amounts
    return _Move(name, step, PROPERTIES[name].unit, shifted, True if own else None)


def _is_at(row: Row, value: float) -> bool:
    return abs(value - row.lower) <= TOLERANCE or abs(value - row.upper) <= TOLERANCE


def _limit_moves(result: GoalResult, numbers: Numbers) -> list[_Move]:
    """The limits that amounts have reached, with what their reduced costs say."""
    basis, problem, x = result.solution.basis, result.problem, result.solution.x
    if basis is None or not result.solution.multipliers:
        return []
    prices = _reduced_costs(result, basis)
    found = []
    for j, i in enumerate(numbers.free):
        material = numbers.materials[i]
        low, high = problem.lower[j], problem.upper[j]
        if material.whole_g or low == high:
            continue
        at_top = high - x[j] <= TOLERANCE and j not in numbers.boundless
        at_bottom = x[j] - low <= TOLERANCE and low > 0.0
        if not (at_top or at_bottom):
            continue
        # the unit is a litre of a lot, which is poured, and a gram of what is weighed
        per_unit = 1.0 / (1000.0 * numbers.litres)
        if material.kind == "lot":
            per_unit *= 1000.0 * (material.density_g_ml or 1.0)
        step = 10.0 ** floor(log10(_STOCK_SHARE * (high if at_top else low) / per_unit))
        kind = "use" if material.kind == "lot" else "stock" if at_top else "least"
        found.append(
            _Move(
                f"{kind} of {material.name}",
                step,
                "L" if material.kind == "lot" else "g",
                partial(_with_limit, problem, j, at_top, step * per_unit),
                None if j in basis.free else prices[j],
                material,
            )
        )
    return found


def _with_limit(problem: Problem, column: int, top: bool, step: float, share: float) -> Problem:
    """The problem with a share of a step more of one limit."""
    bounds = list(problem.upper if top else problem.lower)
    bounds[column] += step * share
    return replace(problem, upper=tuple(bounds)) if top else replace(problem, lower=tuple(bounds))


def _priced_aims(problem: Problem) -> int:
    """How many aims price anything; the last decides between equals."""
    return max(len(problem.aims) - 1, 1)


def _reduced_costs(result: GoalResult, basis: Basis) -> list[bool]:
    """Of every column, whether it has a reduced cost in an aim that prices."""
    problem, solution = result.problem, result.solution
    tangent = Tangent(problem, problem.sums_at(solution.x))
    lines = [tangent.row(problem.rows[i].form) for i in basis.rows]
    found = [False] * problem.size
    for aim, prices in zip(problem.aims[: _priced_aims(problem)], solution.multipliers, strict=False):
        cost = tangent.cost(aim, solution.x, tangent.volume)
        least = _PRICE * max(map(abs, cost))
        for j in range(problem.size):
            found[j] |= abs(cost[j] - sum(y * line[j] for y, line in zip(prices, lines, strict=True))) > least
    return found


def _carried(before: Problem, after: Problem, x: Sequence[float]) -> list[float]:
    """Amounts that move along with the bound they are at."""
    return [
        new_high if v == high else new_low if v == low else v
        for v, low, high, new_low, new_high in zip(x, before.lower, before.upper, after.lower, after.upper, strict=True)
    ]


def _feasible(problem: Problem, x: Sequence[float] | None) -> bool:
    if x is None or not is_liquid(problem.sums_at(x)):
        return False
    return worst_violation(problem, x, volume_at(problem, x)) <= TOLERANCE


def _rate(move: _Move, result: GoalResult, sign: float, near: float) -> _Rate | None:
    """How the amounts move with a bound towards one side; None where it cannot be moved there."""
    basis, here, x = result.solution.basis, result.problem, result.solution.x
    assert basis is not None
    there = move.shifted(sign * near)
    if any(low > high for low, high in zip(there.lower, there.upper, strict=True)):
        return None
    inside = any(
        low < v < high and not whole and j not in basis.free
        for j, (low, v, high, whole) in enumerate(
            zip(here.lower, x, here.upper, here.whole or [0.0] * here.size, strict=True)
        )
    )
    start = tuple(x)
    if inside or not _feasible(there, newton_on_basis(there, basis, _carried(here, there, x))):
        held = {j for j, pack in enumerate(here.whole) if pack}
        lower = tuple(x[j] if j in held else low for j, low in enumerate(there.lower))
        upper = tuple(x[j] if j in held else high for j, high in enumerate(there.upper))
        local = find(replace(there, lower=lower, upper=upper), here.sums_at(x))
        if local.status is not LocalStatus.STATIONARY:
            return None
        if inside:
            change = tuple((b - a) / (sign * near) for a, b in zip(x, local.x, strict=True))
            return _Rate(start, change, inf)
        here, basis, start = there, local.basis, local.x
        there = move.shifted(sign * (near + _FRACTION))
    else:
        there = move.shifted(sign * _FRACTION)
    end = newton_on_basis(there, basis, _carried(here, there, start))
    if end is None:
        return None
    change = tuple((b - a) / (sign * _FRACTION) for a, b in zip(start, end, strict=True))
    return _Rate(start, change, _holds(here, there, basis, start, end) * _FRACTION)


def _holds(here: Problem, there: Problem, basis: Basis, x: Sequence[float], end: Sequence[float]) -> float:
    """For how many such changes nothing new stops the amounts, as far as straight lines tell."""
    most = inf
    for j in basis.free:
        most = min(most, _steps_to(x[j], end[j], here.lower[j], here.upper[j]))
    before, after = volume_at(here, x), volume_at(there, end)
    for i, (row, moved) in enumerate(zip(here.rows, there.rows, strict=True)):
        if i not in basis.rows:
            most = min(most, _steps_to(row.form.at(x, before), moved.form.at(end, after), row.lower, row.upper))
    return most


def _steps_to(value: float, moved: float, low: float, high: float) -> float:
    change = moved - value
    if abs(change) <= _NO_MOVE * _FRACTION:
        return inf
    return max(high - value, 0.0) / change if change > 0.0 else max(value - low, 0.0) / -change


def _matters(rate: _Rate, problem: Problem) -> bool:
    """Whether amounts that move so change an aim that prices."""
    if not is_liquid(problem.sums_at(rate.start)):
        return False
    tangent = Tangent(problem, problem.sums_at(rate.start))
    for aim in problem.aims[: _priced_aims(problem)]:
        parts = list(map(mul, tangent.cost(aim, rate.start, tangent.volume), rate.change))
        if abs(sum(parts)) > _NO_GAIN * sum(map(abs, parts)) + _NO_MOVE:
            return True
    return False


def _chosen(move: _Move, result: GoalResult) -> tuple[float, _Rate] | None:
    """The side that is priced, and the rate there; None where the bound does not bind after all."""
    if move.priced is False:
        return None
    size = len(result.x)
    for near in _NEAR:
        for sign in (1.0, -1.0):
            rate = _rate(move, result, sign, near)
            if rate is None or max(map(abs, rate.change[:size]), default=0.0) <= _NO_MOVE:
                continue
            if rate.holds < near and near > _NEAR[-1]:
                continue  # one kink upon another: the rate at the plan itself says more
            if move.priced or _matters(rate, result.problem):
                return sign, rate
    return None


def marginals_of(
    result: GoalResult,
    numbers: Numbers,
    values: dict[str, float],
    circumstances: Circumstances,
    prefer: Sequence[str] = (),
) -> tuple[Marginal, ...]:
    """The price of a small step of every binding target and limit.

    Parameters: result with a basis; numbers, as solved; values, what each target reached; circumstances; prefer, the
    preferred properties, whose change is told besides.
    Returns: one Marginal each, targets first; none where the point rests on no basis, or there is nothing to choose.
    """
    if result.solution.basis is None or not numbers.problem.size:
        return ()
    targets = [
        _target_move(result, numbers, name, step_of(name, value, circumstances))
        for name, value in sorted(values.items())
    ]
    names = tuple(dict.fromkeys((*_SIDE_EFFECTS, *prefer)))
    reached = cache(partial(_reached, numbers, names, circumstances))  # most moves start at the plan itself
    found = []
    for move in (*targets, *_limit_moves(result, numbers)):
        chosen = None if move is None else _chosen(move, result)
        if move is not None and chosen is not None:
            sign, rate = chosen
            found.append(_marginal(move, sign, rate, numbers, reached, frozenset(prefer), circumstances))
    return tuple(found)


_Reached = tuple[list[float], dict[str, float | None]]
"""Masses [g] and properties."""


def _reached(numbers: Numbers, names: Sequence[str], circumstances: Circumstances, x: tuple[float, ...]) -> _Reached:
    """The masses of a point of the solver, and the properties that they make."""
    materials = numbers.materials
    # a hair below nothing, where an amount rests at its bound
    masses = [max(m, 0.0) for m in numbers.masses_g(x)]
    contents = poured(materials, masses)
    end_point_ph, senses = circumstances.end_point_ph, circumstances.senses
    return masses, {name: value_of(name, materials, masses, contents, end_point_ph, senses) for name in names}


def _marginal(
    move: _Move,
    sign: float,
    rate: _Rate,
    numbers: Numbers,
    reached: Callable[[tuple[float, ...]], _Reached],
    preferred: frozenset[str],
    circumstances: Circumstances,
) -> Marginal:
    """The rate in grams and properties, and in words."""
    size = numbers.problem.size
    end = tuple([a + sign * _FRACTION * c for a, c in zip(rate.start, rate.change, strict=True)])
    (before, old_values), (after, new_values) = reached(rate.start[:size]), reached(end[:size])
    effects = {}
    for name, old in old_values.items():
        new = new_values[name]
        if name != move.of and old is not None and new is not None:
            effects[name] = (old, (new - old) / _FRACTION)
    return marginal_in_words(
        Shift(
            move.of,
            sign * move.step,
            move.unit,
            move.own,
            tuple((b - a) / _FRACTION for a, b in zip(before, after, strict=True)),
            effects,
            rate.holds,
        ),
        numbers.materials,
        preferred,
        circumstances,
    )
