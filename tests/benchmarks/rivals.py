"""The same blending problems for scipy's optimisers, written as fast as scipy allows.

SLSQP gets all equalities in one vector function with one Jacobian, all inequalities in another, and the volume with
its gradient once for each point. The tests use these functions as independent oracles; the benchmarks time them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import Any
from unittest.mock import patch
from warnings import catch_warnings, simplefilter

import numpy as np
import numpy.typing as npt
from scipy.optimize import BFGS, Bounds, NonlinearConstraint, differential_evolution, linprog, minimize

from service.physics.mixture import volume_and_gradient_ml
from service.solver import local
from service.solver.local import is_liquid
from service.solver.problem import Aim, Form, Problem, Ratio
from service.solver.simplex import LpResult, LpStatus, Vector

Floats = npt.NDArray[np.float64]

Programme = Callable[..., Any]
"""A linear programme with the arguments and the result (`status`, `x`) of `linprog_once`."""

_PURE_WATER = np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])


@dataclass(frozen=True, slots=True)
class Answer:
    """A point, the value of its first aim and the largest miss of a row or bound."""

    x: Floats
    value: float
    violation: float


class Dense:
    """A problem as arrays, with the volume of the last point remembered."""

    def __init__(self, problem: Problem) -> None:
        self.lower = np.array(problem.lower)
        self.upper = np.array(problem.upper)
        self.fixed = np.array(problem.fixed_sums)
        self.columns = np.array(problem.columns).reshape(problem.size, len(problem.fixed_sums))
        self.constant = np.array([row.form.constant for row in problem.rows])
        self.matrix = np.array([row.form.coefficients for row in problem.rows]).reshape(len(problem.rows), problem.size)
        self.share = np.array([row.form.volume for row in problem.rows])
        self.low = np.array([row.lower for row in problem.rows])
        self.high = np.array([row.upper for row in problem.rows])
        self.terms = [self._ratio(term) for term in problem.aims[0].terms]
        self.equal = self.low == self.high
        self.from_low = (self.low > -inf) & ~self.equal
        self.from_high = (self.high < inf) & ~self.equal
        self._key = b""
        self._volume = 0.0
        self._partial = np.zeros(problem.size)

    @staticmethod
    def _ratio(term: Ratio) -> tuple[tuple[float, Floats, float], tuple[float, Floats, float] | None]:
        def parts(form: Form) -> tuple[float, Floats, float]:
            return form.constant, np.array(form.coefficients), form.volume

        return parts(term.numerator), None if term.denominator is None else parts(term.denominator)

    def _at(self, x: Floats) -> tuple[float, Floats]:
        key = x.tobytes()
        if key != self._key:
            sums = self.fixed + x @ self.columns
            if not is_liquid(sums.tolist()):
                sums = self.fixed if is_liquid(self.fixed.tolist()) else _PURE_WATER
            volume, gradient = volume_and_gradient_ml(sums.tolist())
            self._key, self._volume, self._partial = key, volume, self.columns @ np.array(gradient)
        return self._volume, self._partial

    def rows(self, x: Floats) -> Floats:
        """Values of all rows."""
        return self.constant + self.matrix @ x + self.share * self._at(x)[0]

    def jacobian(self, x: Floats) -> Floats:
        """Gradients of all rows."""
        return self.matrix + np.outer(self.share, self._at(x)[1])

    def objective(self, x: Floats) -> tuple[float, Floats]:
        """The first aim with its gradient."""
        volume, partial = self._at(x)
        value, slope = 0.0, np.zeros(len(x))
        for (c, a, v), bottom in self.terms:
            top = c + float(a @ x) + v * volume
            top_slope = a + v * partial
            if bottom is None:
                value += top
                slope = slope + top_slope
            else:
                below = bottom[0] + float(bottom[1] @ x) + bottom[2] * volume
                value += top / below
                slope = slope + (top_slope - top / below * (bottom[1] + bottom[2] * partial)) / below
        return value, slope

    def sides(self, x: Floats) -> Floats:
        """The inequalities, all as something that may not be negative."""
        values = self.rows(x)
        return np.concatenate([(values - self.low)[self.from_low], (self.high - values)[self.from_high]])

    def sides_jacobian(self, x: Floats) -> Floats:
        """Gradients of `sides`."""
        slopes = self.jacobian(x)
        return np.concatenate([slopes[self.from_low], -slopes[self.from_high]])

    def violation(self, x: Floats) -> float:
        """The largest miss of a row or bound."""
        values = self.rows(x)
        parts = [self.low - values, values - self.high, self.lower - x, x - self.upper]
        return max(0.0, max((float(part.max()) for part in parts if len(part)), default=0.0))

    def constraints(self) -> list[dict[str, Any]]:
        """The constraints in the form `scipy.optimize.minimize` takes."""
        found: list[dict[str, Any]] = []
        if self.equal.any():
            found.append(
                {
                    "type": "eq",
                    "fun": lambda x: (self.rows(x) - self.low)[self.equal],
                    "jac": lambda x: self.jacobian(x)[self.equal],
                }
            )
        if self.from_low.any() or self.from_high.any():
            found.append({"type": "ineq", "fun": self.sides, "jac": self.sides_jacobian})
        return found

    def constraints_one_by_one(self) -> list[dict[str, Any]]:
        """The same with a function and a gradient for each side of each row, as scipy's guide writes them."""

        def side(i: int, sign: float, bound: float, kind: str) -> dict[str, Any]:
            row, share = self.matrix[i], self.share[i]
            return {
                "type": kind,
                "fun": lambda x: sign * (self.constant[i] + row @ x + share * self._at(x)[0] - bound),
                "jac": lambda x: sign * (row + share * self._at(x)[1]),
            }

        found = [side(int(i), 1.0, self.low[i], "eq") for i in np.flatnonzero(self.equal)]
        found += [side(int(i), 1.0, self.low[i], "ineq") for i in np.flatnonzero(self.from_low)]
        return found + [side(int(i), -1.0, self.high[i], "ineq") for i in np.flatnonzero(self.from_high)]


def slsqp_from(dense: Dense, start: Floats, *, tolerance: float = 1e-14, one_by_one: bool = False) -> Answer:
    """SLSQP with analytic gradients from one start."""
    result = minimize(
        dense.objective,
        start,
        jac=True,
        method="SLSQP",
        bounds=Bounds(dense.lower, dense.upper),
        constraints=dense.constraints_one_by_one() if one_by_one else dense.constraints(),
        options={"ftol": tolerance, "maxiter": 300},
    )
    x = np.clip(result.x, dense.lower, dense.upper)
    return Answer(x, dense.objective(x)[0], dense.violation(x))


def trust_constr_from(dense: Dense, start: Floats, *, iterations: int = 1000) -> Answer:
    """trust-constr with analytic gradients and BFGS for the curvature, from one start.

    It goes on to 1e-10, because at its default of 1e-8 it stops further from the optimum. Bounds may be left on the
    way: held to them at every step (`keep_feasible`) it mostly ends without a feasible point.
    """
    rows = NonlinearConstraint(dense.rows, dense.low, dense.high, jac=dense.jacobian, hess=BFGS())
    with catch_warnings():
        simplefilter("ignore", UserWarning)  # a step on which a linear function does not bend
        result = minimize(
            dense.objective,
            start,
            jac=True,
            hess=BFGS(),
            method="trust-constr",
            bounds=Bounds(dense.lower, dense.upper),
            constraints=[rows] if len(dense.low) else [],
            options={"gtol": 1e-10, "xtol": 1e-12, "barrier_tol": 1e-10, "maxiter": iterations},
        )
    x = np.clip(result.x, dense.lower, dense.upper)
    return Answer(x, dense.objective(x)[0], dense.violation(x))


def slsqp_multistart(problem: Problem, starts: int, seed: int, *, feasible: float = 1e-9) -> Answer | None:
    """The best feasible point of several starts: the middle, the lower corner, then random points of the box."""
    dense = Dense(problem)
    rng = np.random.default_rng(seed)
    points = [0.5 * (dense.lower + dense.upper), dense.lower.copy()]
    while len(points) < starts:
        points.append(dense.lower + rng.random(problem.size) * (dense.upper - dense.lower))
    best: Answer | None = None
    for start in points[:starts]:
        answer = slsqp_from(dense, start)
        if answer.violation <= feasible and (best is None or answer.value < best.value):
            best = answer
    return best


def evolved(problem: Problem, seed: int, *, generations: int = 150, feasible: float = 1e-9) -> Answer | None:
    """Differential evolution on the aim with penalties, then SLSQP from its best point."""
    dense = Dense(problem)

    def penalised(x: Floats) -> float:
        values = dense.rows(x)
        misses = np.maximum(dense.low - values, 0.0) + np.maximum(values - dense.high, 0.0)
        return dense.objective(x)[0] + 100.0 * float(misses.sum())

    result = differential_evolution(
        penalised,
        Bounds(dense.lower, dense.upper),
        rng=np.random.default_rng(seed),
        maxiter=generations,
        popsize=12,
        tol=1e-10,
        polish=False,
    )
    answer = slsqp_from(dense, np.clip(result.x, dense.lower, dense.upper))
    return answer if answer.violation <= feasible else None


def linprog_once(
    cost: Vector | Floats,
    lower: Vector | Floats,
    upper: Vector | Floats,
    rows: Sequence[Vector] | Floats,
    row_lower: Vector | Floats,
    row_upper: Vector | Floats,
) -> Any:
    """One boxed linear programme through `scipy.optimize.linprog`; status 0 optimal, 2 infeasible."""
    matrix = np.array(rows).reshape(len(rows), len(cost))
    low, high = np.array(row_lower, dtype=float), np.array(row_upper, dtype=float)
    equal = low == high
    from_low, from_high = (low > -inf) & ~equal, (high < inf) & ~equal
    return linprog(
        np.array(cost),
        A_ub=np.concatenate([-matrix[from_low], matrix[from_high]]),
        b_ub=np.concatenate([-low[from_low], high[from_high]]),
        A_eq=matrix[equal],
        b_eq=low[equal],
        bounds=np.column_stack([lower, upper]),
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )


def successive_linprog(
    problem: Problem,
    sums: Sequence[float],
    *,
    rounds: int = 20,
    programme: Programme = linprog_once,
    stands_still: float = 1e-9,
) -> Answer | None:
    """Linearise, `linprog` (or another `programme`), and again at its optimum until the amounts stand still."""
    dense = Dense(problem)
    gradient = np.array(volume_and_gradient_ml(sums)[1])
    x = 0.5 * (dense.lower + dense.upper)
    offset, partial = float(gradient @ dense.fixed), dense.columns @ gradient
    for _ in range(rounds):
        volume = offset + float(partial @ x)
        cost = np.zeros(len(x))
        for (c, a, v), bottom in dense.terms:
            slope = a + v * partial
            if bottom is not None:
                below = bottom[0] + float(bottom[1] @ x) + bottom[2] * volume
                ratio = (c + float(a @ x) + v * volume) / below
                slope = (slope - ratio * (bottom[1] + bottom[2] * partial)) / below
            cost += slope
        constant = dense.constant + dense.share * offset
        result = programme(
            cost,
            dense.lower,
            dense.upper,
            dense.matrix + np.outer(dense.share, partial),
            dense.low - constant,
            dense.high - constant,
        )
        if result.status != 0:
            return None
        still = float(np.abs(result.x - x).max()) <= stands_still
        x = result.x
        if still:
            return Answer(x, dense.objective(x)[0], dense.violation(x))
        gradient = np.array(volume_and_gradient_ml((dense.fixed + x @ dense.columns).tolist())[1])
        offset, partial = float(gradient @ dense.fixed), dense.columns @ gradient
    return None


def _solve_with_linprog(
    costs: Sequence[Vector],
    lower: Vector,
    upper: Vector,
    rows: Sequence[Vector],
    row_lower: Vector,
    row_upper: Vector,
) -> LpResult:
    """The interface of `solve_lp` for its first cost, with the basis read off the optimum."""
    n, m = len(lower), len(rows)
    result = linprog_once(costs[0], lower, upper, rows, row_lower, row_upper)
    if result.status != 0:
        status = LpStatus.INFEASIBLE if result.status == 2 else LpStatus.STALLED
        return LpResult(status, [], [], [], [], 0, {}, [])
    x = [float(v) for v in result.x]
    free = [j for j in range(n) if lower[j] + 1e-9 < x[j] < upper[j] - 1e-9]
    values = [sum(a * b for a, b in zip(row, x, strict=True)) for row in rows]
    at_low = [abs(v - b) <= 1e-8 for v, b in zip(values, row_lower, strict=True)]
    at_high = [abs(v - b) <= 1e-8 for v, b in zip(values, row_upper, strict=True)]
    active = [i for i in range(m) if at_low[i] or at_high[i]][: len(free)]
    nonbasic = [j for j in range(n) if j not in free] + [n + i for i in active]
    basic = free + [n + i for i in range(m) if i not in active]
    upside = [x[j] >= upper[j] - 1e-9 for j in range(n) if j not in free] + [at_high[i] for i in active]
    return LpResult(LpStatus.OPTIMAL, x, basic, nonbasic, upside, 0, {}, [])


@contextmanager
def linprog_inside() -> Iterator[None]:
    """While this holds, the basis search takes its linear programmes (one aim only) from `linprog`."""
    with patch.object(local, "solve_lp", _solve_with_linprog):
        yield


def elastic(problem: Problem) -> Problem:
    """The least sum of row misses: every row may be missed by a column of its own on either side."""
    m = len(problem.rows)
    wide = problem.with_columns([0.0] * (2 * m), [10.0] * (2 * m))
    rows = []
    for i, row in enumerate(wide.rows):
        coefficients = list(row.form.coefficients)
        coefficients[problem.size + 2 * i] = 1.0
        coefficients[problem.size + 2 * i + 1] = -1.0
        rows.append(
            type(row)(
                row.target,
                Form(row.form.constant, tuple(coefficients), row.form.volume),
                row.lower,
                row.upper,
                row.scale,
            )
        )
    misses = Form(0.0, (0.0,) * problem.size + (1.0,) * (2 * m))
    return Problem(
        wide.lower, wide.upper, wide.fixed_sums, wide.columns, tuple(rows), (Aim((Ratio(misses),)), *wide.aims)
    )
