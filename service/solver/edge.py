"""The optimum inside an edge, where the search would go to and fro between two vertices.

Where the rows leave one direction almost free, the slight curvature of the volume can put the optimum between two
vertices: each sends the search to the other. One amount then moves as a parameter along the edge, the others follow
by Newton on the common rows, and the optimum is where the reduced cost of that amount vanishes.
"""

from __future__ import annotations

from collections.abc import Sequence

from service.errors import SolverError
from service.physics.roots import root_between
from service.solver.local import (
    TOLERANCE,
    Basis,
    LocalResult,
    LocalStatus,
    Stop,
    newton_on_basis,
    signs_hold,
    solve_squares,
    worst_violation,
)
from service.solver.problem import Problem, Tangent

_FLAT = 1e-9


def stationary_on_edge(problem: Problem, first: Stop, second: Stop) -> LocalResult | None:
    """The stationary point between two vertices that differ by one exchange.

    Parameters: problem; first and second, bases with the points they gave, feasible ones.
    Returns: LocalResult whose basis holds the amount that moves along the edge as if it were at a bound; None if
    the two are no neighbours, or nothing vanishes between them.
    """
    rows = [
        (row, up)
        for row, up in zip(first.basis.rows, first.basis.upper, strict=True)
        if (row, up) in set(zip(second.basis.rows, second.basis.upper, strict=True))
    ]
    free = sorted(set(first.basis.free) | set(second.basis.free))
    if len(free) != len(rows) + 1:
        return None
    moving = max(free, key=lambda j: abs(first.x[j] - second.x[j]))
    basis = Basis(tuple(j for j in free if j != moving), tuple(row for row, _ in rows), tuple(up for _, up in rows))

    def at(share: float) -> list[float]:
        start = [a + share * (b - a) for a, b in zip(first.x, second.x, strict=True)]
        x = newton_on_basis(problem, basis, start)
        if x is None:
            raise SolverError("The edge between two vertices could not be followed.")
        return x

    def prices(x: Sequence[float]) -> tuple[list[list[float]], list[list[float]], list[list[float]]]:
        tangent = Tangent(problem, problem.sums_at(x))
        costs = [tangent.cost(aim, x, tangent.volume) for aim in problem.aims]
        lines = [tangent.row(problem.rows[i].form) for i in basis.rows]
        lambdas = solve_squares(
            [[line[j] for line in lines] for j in basis.free], [[cost[j] for j in basis.free] for cost in costs]
        )
        if lambdas is None:
            raise SolverError("The edge between two vertices is degenerate.")
        return costs, lines, lambdas

    def slope(share: float) -> float:
        costs, lines, lambdas = prices(at(share))
        return costs[0][moving] - sum(factor * line[moving] for factor, line in zip(lambdas[0], lines, strict=True))

    try:
        ends = slope(0.0), slope(1.0)
        if max(map(abs, ends)) < _FLAT or (ends[0] > 0.0) is (ends[1] > 0.0):
            return None
        x = at(root_between(slope, 0.0, 1.0, tolerance=1e-15))
        costs, lines, lambdas = prices(x)
    except SolverError:
        return None
    whole = Basis(tuple(free), basis.rows, basis.upper)
    volume = Tangent(problem, problem.sums_at(x)).volume
    if worst_violation(problem, x, volume) > TOLERANCE or not signs_hold(problem, whole, x, lines, costs, lambdas):
        return None
    return LocalResult(LocalStatus.STATIONARY, tuple(x), basis, tuple(map(tuple, lambdas)))
