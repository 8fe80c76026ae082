"""From one solved problem to its neighbour: the optimal basis kept, and mended where it must be.

When one row of a problem moves a little, its optimal basis mostly stays: Newton brings the amounts back to the active
rows with the true volume, and feasibility and signs are checked there, as everywhere in this solver. When a free
amount or another row then misses a bound, that is what the dual simplex method starts from: one exchange on the
tangent mends the basis, the new row or amount chosen by the ratios of the costs, later costs deciding ties. No linear
programme is built, and the inverse of the small active matrix serves for all of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from service.solver.problem import Amounts, Problem
from service.solver.vertex import SIGN_TOLERANCE, TOLERANCE, UNSAFE, Basis, Vertex, inverse_of, settled

_PIVOT = 1e-9
_TIE = 1e-10
_ROUGH = 1e-3
"""A miss from which one more step is near enough to see that a bound is missed by more than this."""


def named(problem: Problem, basis: Basis) -> Basis:
    """The same basis with one name: an equality has no upper side."""
    sides = zip(basis.rows, basis.upper, strict=True)
    return Basis(
        basis.free,
        basis.rows,
        tuple(up and problem.rows[i].lower != problem.rows[i].upper for i, up in sides),
    )


@dataclass(frozen=True, slots=True)
class _Miss:
    """The bound that a point misses most: of an amount (`at` < n) or of row at − n, missed from below if `rising`."""

    at: int
    bound: float
    rising: bool
    by: float


def _missed(vertex: Vertex) -> _Miss | None:
    """The largest miss of a bound."""
    problem, by, worst = vertex.problem, TOLERANCE, None
    for j in vertex.basis.free:
        value = vertex.x[j]
        if problem.lower[j] - value > by:
            by = problem.lower[j] - value
            worst = _Miss(j, problem.lower[j], True, by)
        elif value - problem.upper[j] > by:
            by = value - problem.upper[j]
            worst = _Miss(j, problem.upper[j], False, by)
    for i, row in enumerate(problem.rows):
        if i in vertex.basis.rows:
            continue
        value = row.form.at(vertex.x, vertex.volume)
        if row.lower - value > by:
            by = row.lower - value
            worst = _Miss(problem.size + i, row.lower, True, by)
        elif value - row.upper > by:
            by = value - row.upper
            worst = _Miss(problem.size + i, row.upper, False, by)
    return worst


def _exchanged(vertex: Vertex, miss: _Miss) -> Vertex | None:
    """One exchange of the dual simplex method on the tangent; x moves along, an amount that leaves to its bound."""
    problem, basis, x, n = vertex.problem, vertex.basis, vertex.x, vertex.problem.size
    if miss.at >= n:
        line = vertex.tangent.row(problem.rows[miss.at - n].form)
        weights = vertex.multipliers(line)
    else:
        line, k = [0.0] * n, basis.free.index(miss.at)
        weights = [column[k] for column in vertex.inverse]
    alphas = vertex.reduced(line, weights)
    free = set(basis.free)
    signed: dict[int, float] = {}
    for j, alpha in enumerate(alphas):
        if -_PIVOT < alpha < _PIVOT or j in free or problem.lower[j] == problem.upper[j]:
            continue
        up = x[j] >= problem.upper[j]
        if (alpha > 0.0) is not (miss.rising is up):
            signed[j] = -abs(alpha) if up else abs(alpha)
    for i, alpha in enumerate(weights):
        row = problem.rows[basis.rows[i]]
        if -_PIVOT < alpha < _PIVOT or row.lower == row.upper:
            continue
        if (alpha > 0.0) is not (miss.rising is basis.upper[i]):
            signed[n + i] = -abs(alpha) if basis.upper[i] else abs(alpha)
    if not signed:
        return None
    tied = list(signed)
    for k in range(len(problem.aims)):
        if len(tied) == 1:
            break
        reduced, multipliers, size = vertex.priced(k)
        ratios = {at: (reduced[at] if at < n else multipliers[at - n]) / signed[at] for at in tied}
        least = min(ratios.values())
        tied = [at for at in tied if ratios[at] <= least + _TIE * size]
    entering = tied[0] if tied[0] < n else n + basis.rows[tied[0] - n]
    return _pivoted(vertex, miss, entering, weights, alphas)


def _pivoted(
    vertex: Vertex, miss: _Miss, entering: int, weights: Sequence[float], alphas: Sequence[float]
) -> Vertex | None:
    """The exchange of what misses a bound for `entering`, an amount or n + a row, in basis, inverse and amounts.

    `weights` and `alphas` are what the missed quantity gains by active rows and by amounts that are not free.
    """
    problem, basis, x, n = vertex.problem, vertex.basis, vertex.x, vertex.problem.size
    # how the free amounts, and the row that is missed, move with each active row and with the amount that enters
    table = {n + i: list(moves) for i, moves in zip(basis.rows, vertex.inverse, strict=True)}
    if entering < n:
        along = [0.0] * len(basis.free)
        for i, moves in zip(basis.rows, vertex.inverse, strict=True):
            form = problem.rows[i].form
            by = form.coefficients[entering] + form.volume * vertex.tangent.partial[entering]
            along = [a - by * move for a, move in zip(along, moves, strict=True)]
        table[entering] = along
    names = list(basis.free)
    if miss.at >= n:
        names.append(miss.at)
        for i, weight in zip(basis.rows, weights, strict=True):
            table[n + i].append(weight)
        if entering < n:
            table[entering].append(alphas[entering])
    moving, at = table.pop(entering), names.index(miss.at)
    pivot = moving[at]
    step = (miss.by if miss.rising else -miss.by) / pivot
    for k, j in enumerate(basis.free):
        x[j] += step * moving[k]
    if entering < n:
        x[entering] += step
    if miss.at < n:
        x[miss.at] = miss.bound
    for name, moves in table.items():
        share = moves[at] / pivot
        table[name] = [a - share * b for a, b in zip(moves, moving, strict=True)]
        table[name][at] = -share
    table[miss.at] = [move / pivot for move in moving]
    table[miss.at][at] = 1.0 / pivot
    names[at] = entering
    upper = dict(zip(basis.rows, basis.upper, strict=True))
    if miss.at >= n:
        row = problem.rows[miss.at - n]
        upper[miss.at - n] = not miss.rising and row.lower != row.upper
    places = sorted([(name, k) for k, name in enumerate(names) if name < n])
    rows = tuple(sorted([name - n for name in table if name >= n]))
    mended = Basis(tuple([j for j, _ in places]), rows, tuple([upper[i] for i in rows]))
    inverse: list[list[float]] | None = [[table[n + i][k] for _, k in places] for i in rows]
    changes = vertex.changes + 1
    if abs(pivot) < UNSAFE * max(map(abs, moving)):
        inverse, changes = inverse_of([problem.rows[i].form for i in rows], mended.free, vertex.tangent), 0
    if inverse is None:
        return None
    return Vertex(problem, mended, x, vertex.tangent, inverse, exact=False, changes=changes)


def followed(
    problem: Problem, basis: Basis, start: Amounts, *, exchanges: int = 0, kept: Vertex | None = None
) -> Vertex | None:
    """The stationary point that a basis, mended by at most so many exchanges, gives.

    Parameters: problem; basis, with as many free amounts as active rows, of a problem whose first rows are these;
    start, amounts of which those that are not free stand at a bound; exchanges, how many to try; kept, a vertex of
    this basis where all rows but the last are these.
    Returns: Vertex; None if the basis or what becomes of it is not optimal here.
    """
    x = list(start)
    for left in range(exchanges, -1, -1):
        vertex = settled(problem, basis, x, _ROUGH, kept)
        miss = _missed(vertex) if vertex is not None else None
        if vertex is not None and not vertex.exact and (miss is None or miss.by <= _ROUGH):
            vertex = settled(problem, basis, x, kept=vertex)
            miss = _missed(vertex) if vertex is not None else None
        if vertex is None:
            return None
        if miss is None:
            return vertex if vertex.is_optimal() else None
        kept = _exchanged(vertex, miss) if left else None
        if kept is None:
            return None
        basis = kept.basis
    return None


@dataclass(frozen=True, slots=True)
class Margins:
    """How far the point of a basis is from losing it.

    `rise` is by how much the bound of the last active row may rise, on the tangent, until an amount or a row reaches
    a bound (negative: by how much it has risen too far); `sign` the least that a reduced cost or multiplier of the
    first aim has left to zero, as a share of the largest gradient.
    """

    rise: float
    sign: float


def margins(problem: Problem, basis: Basis, start: Amounts, kept: Vertex | None = None) -> Margins | None:
    """What is left to a basis; None if it gives no point.

    Parameters: as for `followed`.
    """
    vertex = settled(problem, basis, list(start), kept=kept)
    if vertex is None:
        return None
    rise, x, n = inf, vertex.x, problem.size
    rates = [(x[j], problem.lower[j], problem.upper[j], r) for j, r in zip(basis.free, vertex.inverse[-1], strict=True)]
    for i, row in enumerate(problem.rows):
        if i not in basis.rows:
            rate = vertex.multipliers(vertex.tangent.row(row.form))[-1]
            rates.append((row.form.at(x, vertex.volume), row.lower, row.upper, rate))
    for value, lower, upper, rate in rates:
        if abs(rate) > _PIVOT:
            rise = min(rise, ((upper if rate > 0.0 else lower) - value) / rate)
    reduced, multipliers, size = vertex.priced(0)
    sign = inf
    for j in range(n):
        if j not in basis.free and problem.lower[j] != problem.upper[j]:
            sign = min(sign, -reduced[j] if x[j] >= problem.upper[j] else reduced[j])
    for i, (at, up) in enumerate(zip(basis.rows, basis.upper, strict=True)):
        if problem.rows[at].lower != problem.rows[at].upper:
            sign = min(sign, -multipliers[i] if up else multipliers[i])
    return Margins(rise, sign / size + SIGN_TOLERANCE)
