"""What a small change of a target costs: amounts and properties as they move along the optimal basis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from service.model.properties import PROPERTIES
from service.planner.asked import Circumstances
from service.planner.materials import poured
from service.planner.numbers import Numbers
from service.planner.predict import value_of
from service.quantities import mass_text
from service.solver.goals import GoalResult
from service.solver.local import newton_on_basis
from service.solver.problem import Row

STEPS = {"gravity": 0.001, "abv_percent": 0.1, "titratable_acidity": 0.1, "ph": 0.01, "volume": 0.1}
"""The change that is priced, in the property's unit; one per cent of the value for the others."""

_SIDE_EFFECTS = ("gravity", "abv_percent", "titratable_acidity", "ph")
_MOST_CHANGES = 4
_FRACTION = 1e-2


def binding_targets(result: GoalResult) -> set[str]:
    """Names of the targets that hold the optimum where it is."""
    basis = result.solution.basis
    return set() if basis is None else {result.problem.rows[i].target for i in basis.rows}


def _moved(row: Row, numbers: Numbers, delta: float) -> Row:
    """The row of a target whose bound moves by `delta`, in the property's unit."""
    goal = next(g for g in numbers.goals if g.name == row.target)
    bound = goal.value if goal.value is not None else goal.low if row.lower == 0.0 else goal.high
    denominator = goal.ratio_at(bound).denominator
    if denominator is None:
        return replace(row, lower=row.lower + delta * row.scale, upper=row.upper + delta * row.scale)
    wide = denominator.widened(len(row.form.coefficients) - len(denominator.coefficients))
    return replace(row, form=row.form.minus(delta * row.scale, wide))


def changes_per_step(
    result: GoalResult, numbers: Numbers, target: str, step: float, end_point_ph: float
) -> tuple[list[float], dict[str, float]] | None:
    """How the masses [g] and the main properties move when a binding target moves by a step.

    Parameters: result with a basis; numbers; target, a binding one; step, in the property's unit; end_point_ph.
    Returns: change of every material's mass and of gravity, strength and acidity, to first order (the secant of a
    hundredth of the step, scaled up); None where the basis does not allow it.
    """
    basis, problem = result.solution.basis, result.problem
    if basis is None:
        return None
    at = {i for i in basis.rows if problem.rows[i].target == target}
    rows = tuple(_moved(r, numbers, step * _FRACTION) if i in at else r for i, r in enumerate(problem.rows))
    x = newton_on_basis(replace(problem, rows=rows), basis, list(result.solution.x))
    if x is None:
        return None
    size = numbers.problem.size
    before, after = numbers.masses_g(result.x), numbers.masses_g(x[:size])
    masses = [(b - a) / _FRACTION for a, b in zip(before, after, strict=True)]
    effects = {}
    contents = poured(numbers.materials, before), poured(numbers.materials, after)
    for name in _SIDE_EFFECTS:
        old = value_of(name, numbers.materials, before, contents[0], end_point_ph)
        new = value_of(name, numbers.materials, after, contents[1], end_point_ph)
        if name != target and old is not None and new is not None:
            effects[name] = (new - old) / _FRACTION
    return masses, effects


def marginal_text(
    result: GoalResult, numbers: Numbers, target: str, value: float, circumstances: Circumstances
) -> str | None:
    """The price of a small step of a binding target in words: `+0.001 takes +31 g honey_acacia; −0.02 % vol`."""
    law = PROPERTIES[target]
    step = STEPS.get(target, 0.01 * abs(value))
    if step <= 0.0:
        return None
    change = changes_per_step(result, numbers, target, step, circumstances.end_point_ph)
    if change is None:
        return None
    masses, effects = change
    words = _mass_words(numbers, masses, circumstances)
    if not words:
        return None
    for name, shift in effects.items():
        decimals = PROPERTIES[name].decimals
        if abs(shift) >= 0.5 * 10.0**-decimals:
            words.append(f"{shift:+.{decimals}f} {PROPERTIES[name].unit}".replace("-", "−"))
    unit = f" {law.unit}" if law.unit and law.unit not in ("SG", "pH") else ""
    return f"{step:+.4g}{unit} takes {', '.join(words)}"


def _mass_words(numbers: Numbers, masses: Sequence[float], circumstances: Circumstances) -> list[str]:
    ranked = sorted(zip(masses, numbers.materials, strict=True), key=lambda pair: (-abs(pair[0]), pair[1].name))
    smallest = 0.05 * circumstances.instruments.scale_step_g
    fine = min(circumstances.instruments.scale_step_g, 1.0) / 10.0
    return [
        f"{'+' if mass > 0.0 else '−'}{mass_text(abs(mass), circumstances.system, fine)} {material.name}"
        for mass, material in ranked[:_MOST_CHANGES]
        if abs(mass) >= smallest
    ]
