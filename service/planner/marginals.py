"""What a small change costs: amounts and properties as they move along the optimal basis.

A binding target, or the limit of an amount that holds the optimum where it is, is moved by a hundredth of a step; the
free amounts follow by Newton on the basis, and the secant is scaled up. That is the dual solution written out: which
amounts pay for the step, and with what side effects.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import floor, log10

from service.model.properties import PROPERTIES
from service.planner.answers_decisions import AmountChange, Marginal, PropertyChange
from service.planner.asked import Circumstances
from service.planner.materials import poured
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.planner.steps import steps_between
from service.quantities import mass_text
from service.solver.goals import GoalResult
from service.solver.local import newton_on_basis
from service.solver.problem import Problem, Row, Tangent

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
_MOST_CHANGES = 4
_FRACTION = 1e-2
_STOCK_SHARE = 0.1
_PRICE = 1e-7
"""A limit whose reduced cost is below this share of its aim's largest gradient does not bind."""


def binding_targets(result: GoalResult) -> set[str]:
    """Names of the targets that hold the optimum where it is."""
    basis = result.solution.basis
    return set() if basis is None else {result.problem.rows[i].target for i in basis.rows}


@dataclass(frozen=True, slots=True)
class _Move:
    """One bound to move: that of a target's rows, or of one column.

    `shifted` gives the problem and the amounts to start from when it moves by a share of the step.
    """

    of: str
    step: float
    unit: str
    shifted: Callable[[float], tuple[Problem, tuple[float, ...]]]


def _moved(row: Row, numbers: Numbers, delta: float) -> Row:
    """The row of a target whose bound moves by `delta`, in the property's unit."""
    goal = next(g for g in numbers.goals if g.name == row.target)
    bound = goal.value if goal.value is not None else goal.low if row.lower == 0.0 else goal.high
    denominator = goal.ratio_at(bound).denominator
    if denominator is None:
        return replace(row, lower=row.lower + delta * row.scale, upper=row.upper + delta * row.scale)
    wide = denominator.widened(len(row.form.coefficients) - len(denominator.coefficients))
    return replace(row, form=row.form.minus(delta * row.scale, wide))


def step_of(name: str, value: float, circumstances: Circumstances) -> float:
    """The step of a property that is priced at a value: noticeable, or what an instrument shows; 0 if there is none."""
    if name in _SENSED:
        step = circumstances.senses.step(name)
        return step.size * abs(value) if step.relative else step.size
    return _INSTRUMENT_STEPS.get(name, 0.01 * abs(value))


def _target_move(result: GoalResult, numbers: Numbers, target: str, step: float) -> _Move | None:
    basis, problem = result.solution.basis, result.problem
    if basis is None or step <= 0.0:
        return None
    at = {i for i in basis.rows if problem.rows[i].target == target}

    def shifted(share: float) -> tuple[Problem, tuple[float, ...]]:
        rows = tuple(_moved(r, numbers, step * share) if i in at else r for i, r in enumerate(problem.rows))
        return replace(problem, rows=rows), result.solution.x

    return _Move(target, step, PROPERTIES[target].unit, shifted)


def _stock_moves(result: GoalResult, numbers: Numbers) -> list[_Move]:
    """The limits of amounts that bind: at a bound, with a reduced cost in some aim."""
    basis, problem, solution = result.solution.basis, result.problem, result.solution
    if basis is None or not solution.multipliers:
        return []
    tangent = Tangent(problem, problem.sums_at(solution.x))
    lines = [tangent.row(problem.rows[i].form) for i in basis.rows]
    costs = [tangent.cost(aim, solution.x, tangent.volume) for aim in problem.aims[: len(solution.multipliers)]]
    # the tie-breakers decide between equals, they do not price anything
    priced = max(len(problem.aims) - 1, 1)
    found = []
    for j, i in enumerate(numbers.free):
        material = numbers.materials[i]
        low, high, x = numbers.problem.lower[j], numbers.problem.upper[j], solution.x[j]
        if j in basis.free or material.whole_g or low == high or j in numbers.boundless:
            continue
        at_top, at_bottom = x == high, x == low and low > 0.0
        if not (at_top or at_bottom):
            continue
        if not any(
            abs(cost[j] - sum(y * line[j] for y, line in zip(prices, lines, strict=True)))
            > _PRICE * max(map(abs, cost))
            for cost, prices in zip(costs[:priced], solution.multipliers, strict=False)
        ):
            continue
        bound_g = (high if at_top else low) * 1000.0 * numbers.litres
        step_g = 10.0 ** floor(log10(_STOCK_SHARE * bound_g)) if bound_g > 0.0 else 0.0
        if step_g <= 0.0:
            continue
        kind = "use" if material.kind == "lot" else "stock" if at_top else "least"
        found.append(
            _Move(
                f"{kind} of {material.name}",
                step_g,
                "g",
                partial(_with_more, problem, solution.x, j, step_g / (1000.0 * numbers.litres)),
            )
        )
    return found


def _with_more(
    problem: Problem, x: Sequence[float], column: int, step: float, share: float
) -> tuple[Problem, tuple[float, ...]]:
    """The amounts with a share of a step more of one of them, whose bound moves along."""
    moved = list(x)
    moved[column] += step * share
    return problem, tuple(moved)


def _changes(
    move: _Move, result: GoalResult, numbers: Numbers, names: Sequence[str], end_point_ph: float
) -> tuple[list[float], dict[str, tuple[float, float]]] | None:
    """Change of every mass [g] for a step, and of some properties, each with its value before."""
    basis = result.solution.basis
    if basis is None:
        return None
    before = numbers.masses_g(result.x)
    for share in (_FRACTION, -_FRACTION):
        problem, start = move.shifted(share)
        x = newton_on_basis(problem, basis, list(start))
        if x is None:
            continue
        after = numbers.masses_g(x[: numbers.problem.size])
        if min(after) < 0.0:  # an amount at nought would have to become less: only the other way is open
            continue
        masses = [(b - a) / share for a, b in zip(before, after, strict=True)]
        contents = poured(numbers.materials, before), poured(numbers.materials, after)
        effects = {}
        for name in names:
            old = value_of(name, numbers.materials, before, contents[0], end_point_ph)
            new = value_of(name, numbers.materials, after, contents[1], end_point_ph)
            if name != move.of and old is not None and new is not None:
                effects[name] = (old, (new - old) / share)
        return masses, effects
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
    Returns: one Marginal each, targets first; none where the point rests on no basis.
    """
    binding = binding_targets(result)
    moves = [
        _target_move(result, numbers, name, step_of(name, value, circumstances))
        for name, value in sorted(values.items())
        if name in binding
    ]
    names = tuple(dict.fromkeys((*_SIDE_EFFECTS, *prefer)))
    found = []
    for move in (*moves, *_stock_moves(result, numbers)):
        change = None if move is None else _changes(move, result, numbers, names, circumstances.end_point_ph)
        if move is not None and change is not None:
            marginal = _marginal(move, *change, numbers, circumstances)
            if marginal is not None:
                found.append(marginal)
    return tuple(found)


def _marginal(
    move: _Move,
    masses: Sequence[float],
    effects: dict[str, tuple[float, float]],
    numbers: Numbers,
    circumstances: Circumstances,
) -> Marginal | None:
    ranked = sorted(zip(masses, numbers.materials, strict=True), key=lambda pair: (-abs(pair[0]), pair[1].name))
    smallest = 0.05 * min(circumstances.instruments.scale_step_g, 1.0)
    amounts = [(mass, material) for mass, material in ranked if abs(mass) >= smallest]
    if not amounts:
        return None
    fine = min(circumstances.instruments.scale_step_g, 1.0) / 10.0
    words = [
        f"{'+' if mass > 0.0 else '−'}{mass_text(abs(mass), circumstances.system, fine)} {material.name}"
        for mass, material in amounts[:_MOST_CHANGES]
        if move.of.partition(" of ")[2] != material.name
    ]
    changes = []
    for name, (old, shift) in effects.items():
        law = PROPERTIES[name]
        if abs(shift) < 0.5 * 10.0**-law.decimals:
            continue
        unit = circumstances.currency or "" if name == "cost" else law.unit
        words.append(f"{shift:+.{law.decimals}f} {unit or name}".replace("-", "−"))
        changes.append(
            PropertyChange(
                name,
                float(f"{shift:.3g}"),
                unit,
                None
                if (steps := steps_between(name, old, old + shift, circumstances.senses)) is None
                else round(steps, 2),
            )
        )
    if not words:
        return None
    head = f"{move.step:+.3g}"
    if move.unit and move.unit not in ("SG", "pH"):
        head += f" {move.unit}"
    return Marginal(
        move.of,
        float(f"{move.step:.4g}"),
        move.unit,
        tuple(AmountChange(material.name, float(f"{mass:.4g}")) for mass, material in amounts),
        tuple(changes),
        f"{head} takes {', '.join(words)}",
    )
