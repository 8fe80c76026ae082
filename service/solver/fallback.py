"""A general-purpose optimiser for the rare problem on which the basis search does not settle.

scipy's SLSQP with analytic gradients, started from several points. scipy is imported only here and only when
needed, because its import alone takes longer than thousands of solves.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf
from time import perf_counter

from service.physics.mixture import volume_and_gradient_ml
from service.solver.local import is_liquid, worst_violation
from service.solver.problem import Amounts, Problem, Tangent


class _OutOfTimeError(Exception):
    """Raised inside scipy to leave it."""


def slsqp(
    problem: Problem, starts: Sequence[Amounts], *, tolerance: float = 1e-9, until: float = inf
) -> list[float] | None:
    """The best feasible point that SLSQP finds for the first aim, with the later aims as a slight tilt.

    Parameters: problem; starts, amounts to begin at; tolerance, the violation that still counts as feasible; until,
    a `perf_counter` time [s] at which to stop with what there is.
    Returns: amounts, or None if no start ends feasible.
    Source: D. Kraft, DFVLR-FB 88-28 (1988), through `scipy.optimize.minimize`.
    """
    from scipy.optimize import Bounds, minimize

    weights = [1.0] + [1e-6 / 10**k for k in range(len(problem.aims) - 1)]

    last: tuple[tuple[float, ...], Tangent] | None = None

    def tangent_at(given: Amounts) -> tuple[Tangent, float]:
        nonlocal last
        x = tuple(map(float, given))
        if last is not None and last[0] == x:
            return last[1], last[1].volume
        if perf_counter() > until:
            raise _OutOfTimeError
        sums = problem.sums_at(x)
        if not is_liquid(sums):
            sums = list(problem.fixed_sums) if is_liquid(problem.fixed_sums) else [1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0]
        tangent = Tangent(problem, sums)
        last = (x, tangent)
        return tangent, tangent.volume

    def objective(given: Amounts) -> tuple[float, list[float]]:
        x = tuple(map(float, given))
        tangent, volume = tangent_at(x)
        value, slope = 0.0, [0.0] * problem.size
        for weight, aim in zip(weights, problem.aims, strict=True):
            value += weight * aim.at(x, volume)
            slope = [a + weight * b for a, b in zip(slope, tangent.cost(aim, x, volume), strict=True)]
        return value, slope

    def side(index: int, sign: float, bound: float, kind: str) -> dict[str, object]:
        form = problem.rows[index].form
        return {
            "type": kind,
            "fun": lambda x: sign * (form.at(list(map(float, x)), tangent_at(x)[1]) - bound),
            "jac": lambda x: [sign * a for a in tangent_at(x)[0].row(form)],
        }

    constraints = []
    for i, row in enumerate(problem.rows):
        if row.lower == row.upper:
            constraints.append(side(i, 1.0, row.lower, "eq"))
            continue
        if row.lower > -inf:
            constraints.append(side(i, 1.0, row.lower, "ineq"))
        if row.upper < inf:
            constraints.append(side(i, -1.0, row.upper, "ineq"))
    best: list[float] | None = None
    best_value = inf
    for start in starts:
        try:
            result = minimize(
                objective,
                list(start),
                jac=True,
                method="SLSQP",
                bounds=Bounds(list(problem.lower), list(problem.upper)),
                constraints=constraints,
                options={"ftol": 1e-14, "maxiter": 300},
            )
        except _OutOfTimeError:
            break
        x = [min(max(float(v), a), b) for v, a, b in zip(result.x, problem.lower, problem.upper, strict=True)]
        sums = problem.sums_at(x)
        if not is_liquid(sums):
            continue
        volume = volume_and_gradient_ml(sums)[0]
        if worst_violation(problem, x, volume) <= tolerance and problem.aims[0].at(x, volume) < best_value:
            best, best_value = x, problem.aims[0].at(x, volume)
    return best
