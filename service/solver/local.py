"""A point that satisfies the first-order conditions of a blending problem, from one starting state.

Linearise the volume at a state; the linear programme there gives a basis; Newton on that basis with the true
volume (`service.solver.vertex`) gives a point that meets the active rows exactly; feasibility, multipliers and reduced
costs are then checked *at that point*. If they hold, the point satisfies the Karush–Kuhn–Tucker conditions of the
non-linear problem and its multipliers are shadow prices; if not, the next programme is linearised there.

Only the direction of the rows changes between linearisations, by the curvature of the volume, so one programme
is enough in most problems.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum
from operator import mul

from service.physics.mixture import volume_and_gradient_ml
from service.solver.problem import Amounts, Gradients, Problem, Tangent
from service.solver.simplex import LpResult, LpStatus, solve_lp
from service.solver.vertex import (
    LAST_STEP,
    NEWTON_STEPS,
    SIGN_TOLERANCE,
    TOLERANCE,
    Basis,
    basis_of,
    is_liquid,
    solve_square,
    solve_squares,
    vertex_of,
)

_ROUNDS = 12


class LocalStatus(Enum):
    """How the search from one state ended."""

    STATIONARY = "stationary"
    INFEASIBLE_HERE = "infeasible where it was linearised"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class Stop:
    """A basis with the feasible point that it gave."""

    basis: Basis
    x: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LocalResult:
    """A stationary point with its basis and the multipliers of its active rows for each aim.

    A search that goes to and fro is LOST and leaves its last two `stops`: the optimum may lie between them.
    """

    status: LocalStatus
    x: tuple[float, ...] = ()
    basis: Basis = field(default_factory=lambda: Basis((), (), ()))
    multipliers: tuple[tuple[float, ...], ...] = ()
    programmes: int = 0
    stops: tuple[Stop, ...] = ()


def _programme(problem: Problem, tangent: Tangent, x: Amounts, volume: float) -> LpResult:
    lines, low, high = tangent.sides(problem.rows)
    costs = Gradients(tangent, problem.aims, x, volume)
    return solve_lp(costs, problem.lower, problem.upper, lines, low, high)


def newton_on_basis(problem: Problem, basis: Basis, x: list[float]) -> list[float] | None:
    """Move the free amounts until the active rows hold exactly with the true volume.

    Parameters: problem; basis, with as many free amounts as active rows; x, the start, changed in place.
    Returns: x, or None if the system is singular or does not settle.
    """
    active = [
        (problem.rows[i].form, problem.rows[i].upper if up else problem.rows[i].lower)
        for i, up in zip(basis.rows, basis.upper, strict=True)
    ]
    free = basis.free
    columns = [problem.columns[j] for j in free]
    lines = [[form.coefficients[j] for j in free] for form, _ in active]
    size = 1.0 + max((abs(bound) for _, bound in active), default=0.0)
    for _ in range(NEWTON_STEPS):
        sums = problem.sums_at(x)
        if not is_liquid(sums):
            return None
        volume, gradient = volume_and_gradient_ml(sums)
        misses = [bound - form.at(x, volume) for form, bound in active]
        partial = [sum(map(mul, gradient, column)) for column in columns]
        jacobian = [
            [a + form.volume * v for a, v in zip(line, partial, strict=True)]
            for line, (form, _) in zip(lines, active, strict=True)
        ]
        change = solve_square(jacobian, misses)
        if change is None:
            return None
        for j, shift in zip(free, change, strict=True):
            x[j] += shift
        if max(map(abs, misses), default=0.0) <= LAST_STEP * size:
            return x
    return None


def worst_violation(problem: Problem, x: Amounts, volume: float) -> float:
    """The largest miss over all bounds and rows, in their own scaled units."""
    worst = 0.0
    for value, low, high in zip(x, problem.lower, problem.upper, strict=True):
        if value < low - worst:
            worst = low - value
        elif value > high + worst:
            worst = value - high
    for row in problem.rows:
        value = row.form.at(x, volume)
        worst = max(worst, row.lower - value, value - row.upper)
    return worst


def signs_hold(
    problem: Problem,
    basis: Basis,
    x: Amounts,
    lines: list[list[float]],
    costs: list[list[float]],
    lambdas: list[list[float]],
) -> bool:
    """Whether every multiplier and reduced cost has its sign, lexicographically over the aims."""
    scales = [SIGN_TOLERANCE * max(map(abs, cost), default=1.0) for cost in costs]
    for i, (at, upper) in enumerate(zip(basis.rows, basis.upper, strict=True)):
        if problem.rows[at].lower == problem.rows[at].upper:
            continue
        for lam, scale in zip(lambdas, scales, strict=True):
            if abs(lam[i]) > scale:
                if (lam[i] > 0.0) is upper:
                    return False
                break
    free = set(basis.free)
    undecided: Sequence[int] = range(len(x))
    for cost, lam, scale in zip(costs, lambdas, scales, strict=True):
        if not undecided:
            break
        reduced = cost
        for factor, line in zip(lam, lines, strict=True):
            if factor:
                reduced = [d - factor * a for d, a in zip(reduced, line, strict=True)]
        ties = []
        for j in undecided:
            d = reduced[j]
            if j in free or problem.lower[j] == problem.upper[j]:
                continue
            if -scale <= d <= scale:
                ties.append(j)
            elif (d > 0.0) is (x[j] >= problem.upper[j]):
                return False
        undecided = ties
    return True


def stationary_from(problem: Problem, sums: Sequence[float], x: Amounts | None = None) -> LocalResult:
    """Search a stationary point from one state of the blend.

    Parameters: problem; sums, the seven volume sums of the state to linearise at first; x, amounts to take the
    aims' gradients at first (default: the middle of the box).
    Returns: LocalResult; INFEASIBLE_HERE proves nothing, because it speaks of a linearisation only.
    """
    point = list(x) if x is not None else [0.5 * (a + b) for a, b in zip(problem.lower, problem.upper, strict=True)]
    stops: dict[Basis, Stop] = {}
    state: Sequence[float] | None = sums
    for programmes in range(1, _ROUNDS + 1):
        if state is None:
            return LocalResult(LocalStatus.LOST, programmes=programmes)
        tangent = Tangent(problem, state)
        volume = tangent.constant + sum(map(mul, tangent.partial, point))
        lp = _programme(problem, tangent, point, volume)
        if lp.status is LpStatus.INFEASIBLE:
            return LocalResult(LocalStatus.INFEASIBLE_HERE, programmes=programmes)
        if lp.status is LpStatus.STALLED:
            return LocalResult(LocalStatus.LOST, programmes=programmes)
        vertex = vertex_of(problem, lp, tangent)
        if vertex is None:
            state = between(state, problem.sums_at(lp.x))
            point = lp.x
            continue
        point, basis, feasible = vertex.x, vertex.basis, vertex.is_feasible()
        if feasible and vertex.is_optimal():
            prices = tuple([tuple(vertex.prices(k)) for k in range(len(problem.aims))])
            return LocalResult(LocalStatus.STATIONARY, tuple(point), basis, prices, programmes)
        if feasible and basis in stops and len(stops) > 1:
            other = [stop for known, stop in stops.items() if known != basis][-1]
            return LocalResult(LocalStatus.LOST, programmes=programmes, stops=(other, stops[basis]))
        state = between(state, problem.sums_at(lp.x)) if basis in stops else problem.sums_at(point)
        if feasible:
            stops[basis] = Stop(basis, tuple(point))
    return LocalResult(LocalStatus.LOST, programmes=_ROUNDS, stops=tuple(stops.values())[-2:])


def between(old: Sequence[float], new: Sequence[float]) -> list[float] | None:
    """A state half way between two, or None if neither side describes a liquid."""
    if not is_liquid(new):
        return None
    scale_old = old[0] + old[1] + old[2]
    scale_new = new[0] + new[1] + new[2]
    return [a / scale_old + b / scale_new for a, b in zip(old, new, strict=True)]


__all__ = [
    "TOLERANCE",
    "Basis",
    "LocalResult",
    "LocalStatus",
    "Stop",
    "basis_of",
    "between",
    "is_liquid",
    "newton_on_basis",
    "signs_hold",
    "solve_square",
    "solve_squares",
    "stationary_from",
    "worst_violation",
]
