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
from operator import mul

from service.solver.local import TOLERANCE, Basis, is_liquid, solve_square, solve_squares
from service.solver.problem import Amounts, Problem, Tangent

_PIVOT = 1e-9
_TIE = 1e-10
_SIGN_TOLERANCE = 1e-8
"""A multiplier below this share of its aim's largest gradient counts as zero, and the next aim decides."""

_NEWTON_STEPS = 8
_LAST_STEP = 1e-7
"""A miss from which one more step leaves its square: nothing that counts, neither for the amounts nor for the signs."""
_ROUGH = 1e-3
"""A miss from which one more step is near enough to see that a bound is missed by more than this."""


@dataclass(frozen=True, slots=True)
class Followed:
    """A basis with the point that it gives, and the volume of the blend there.

    `moves` says how the free amounts move with the bound of the last active row.
    """

    basis: Basis
    x: tuple[float, ...]
    volume: float
    moves: tuple[float, ...]


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


class _Vertex:
    """The point of a basis, with the tangent there and the inverse of the active rows over the free amounts.

    `inverse` has a list for each active row: how the free amounts move with its bound. `exact` is False where the
    last step was too long to leave nothing that counts.
    """

    def __init__(
        self, problem: Problem, basis: Basis, x: list[float], tangent: Tangent, inverse: list[list[float]], exact: bool
    ) -> None:
        self.problem, self.basis, self.x, self.tangent = problem, basis, x, tangent
        self.inverse, self.exact = inverse, exact
        self.volume = tangent.constant + sum(map(mul, tangent.partial, x))

    def multipliers(self, line: Sequence[float]) -> list[float]:
        """What a function of the amounts gains by each active row's bound."""
        part = [line[j] for j in self.basis.free]
        return [sum(map(mul, part, column)) for column in self.inverse]

    def reduced(self, line: Sequence[float], multipliers: Sequence[float]) -> list[float]:
        """What it gains by each amount that is not free, the free ones following."""
        result, share = list(line), 0.0
        for factor, i in zip(multipliers, self.basis.rows, strict=True):
            if factor:
                form = self.problem.rows[i].form
                share += factor * form.volume
                result = [a - factor * b for a, b in zip(result, form.coefficients, strict=True)]
        if share:
            result = [a - share * v for a, v in zip(result, self.tangent.partial, strict=True)]
        return result

    def priced(self, k: int) -> tuple[list[float], list[float]]:
        """Aim k brought to a largest gradient of one: its reduced costs and the multipliers of the active rows."""
        cost = self.tangent.cost(self.problem.aims[k], self.x, self.tangent.volume)
        size = max(map(abs, cost), default=0.0) or 1.0
        cost = [c / size for c in cost]
        multipliers = self.multipliers(cost)
        return self.reduced(cost, multipliers), multipliers

    def miss(self) -> _Miss | None:
        """The largest miss of a bound."""
        problem, by, worst = self.problem, TOLERANCE, None
        for j in self.basis.free:
            value = self.x[j]
            if problem.lower[j] - value > by:
                by = problem.lower[j] - value
                worst = _Miss(j, problem.lower[j], True, by)
            elif value - problem.upper[j] > by:
                by = value - problem.upper[j]
                worst = _Miss(j, problem.upper[j], False, by)
        for i, row in enumerate(problem.rows):
            if i in self.basis.rows:
                continue
            value = row.form.at(self.x, self.volume)
            if row.lower - value > by:
                by = row.lower - value
                worst = _Miss(problem.size + i, row.lower, True, by)
            elif value - row.upper > by:
                by = value - row.upper
                worst = _Miss(problem.size + i, row.upper, False, by)
        return worst

    def is_optimal(self) -> bool:
        """Whether every multiplier and reduced cost has its sign, lexicographically over the aims."""
        problem, basis, x = self.problem, self.basis, self.x
        free = set(basis.free)
        columns = [j for j in range(problem.size) if j not in free and problem.lower[j] != problem.upper[j]]
        rows = [i for i, at in enumerate(basis.rows) if problem.rows[at].lower != problem.rows[at].upper]
        for k in range(len(problem.aims)):
            reduced, multipliers = self.priced(k)
            tied = []
            for i in rows:
                if -_SIGN_TOLERANCE <= multipliers[i] <= _SIGN_TOLERANCE:
                    tied.append(i)
                elif (multipliers[i] > 0.0) is basis.upper[i]:
                    return False
            rows, tied = tied, []
            for j in columns:
                d = reduced[j]
                if -_SIGN_TOLERANCE <= d <= _SIGN_TOLERANCE:
                    tied.append(j)
                elif (d > 0.0) is (x[j] >= problem.upper[j]):
                    return False
            columns = tied
            if not rows and not columns:
                break
        return True

    def exchanged(self, miss: _Miss) -> Basis | None:
        """One exchange of the dual simplex method on the tangent; x moves along, an amount that leaves to its bound."""
        problem, basis, x, n = self.problem, self.basis, self.x, self.problem.size
        if miss.at >= n:
            line = self.tangent.row(problem.rows[miss.at - n].form)
            weights = self.multipliers(line)
        else:
            line, k = [0.0] * n, basis.free.index(miss.at)
            weights = [column[k] for column in self.inverse]
        alphas = self.reduced(line, weights)
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
            reduced, multipliers = self.priced(k)
            ratios = {at: (reduced[at] if at < n else multipliers[at - n]) / signed[at] for at in tied}
            least = min(ratios.values())
            tied = [at for at in tied if ratios[at] <= least + _TIE]
        enter, rows = tied[0], dict(zip(basis.rows, basis.upper, strict=True))
        step = (miss.by if miss.rising else -miss.by) / (alphas[enter] if enter < n else weights[enter - n])
        if enter >= n:
            del rows[basis.rows[enter - n]]
            shifts = [step * move for move in self.inverse[enter - n]]
        else:
            free.add(enter)
            x[enter] += step
            shifts = [0.0] * len(basis.free)
            for i, column in zip(basis.rows, self.inverse, strict=True):
                form = problem.rows[i].form
                by = step * (form.coefficients[enter] + form.volume * self.tangent.partial[enter])
                shifts = [shift - by * move for shift, move in zip(shifts, column, strict=True)]
        for j, shift in zip(basis.free, shifts, strict=True):
            x[j] += shift
        if miss.at >= n:
            row = problem.rows[miss.at - n]
            rows[miss.at - n] = not miss.rising and row.lower != row.upper
        else:
            free.discard(miss.at)
            x[miss.at] = miss.bound
        ordered = sorted(rows.items())
        return Basis(tuple(sorted(free)), tuple(i for i, _ in ordered), tuple(up for _, up in ordered))


def _settled(problem: Problem, basis: Basis, x: list[float], near: float = _LAST_STEP) -> _Vertex | None:
    """Newton on a basis from x, which is moved, until a step is this short; None if it does not settle."""
    active = [
        (problem.rows[i].form, problem.rows[i].upper if up else problem.rows[i].lower)
        for i, up in zip(basis.rows, basis.upper, strict=True)
    ]
    free, count = basis.free, len(active)
    lines = [[form.coefficients[j] for j in free] for form, _ in active]
    size = 1.0 + max((abs(bound) for _, bound in active), default=0.0)
    for _ in range(_NEWTON_STEPS):
        sums = problem.sums_at(x)
        if not is_liquid(sums):
            return None
        tangent = Tangent(problem, sums)
        misses = [bound - form.at(x, tangent.volume) for form, bound in active]
        partial = [tangent.partial[j] for j in free]
        jacobian = [
            [a + form.volume * v for a, v in zip(line, partial, strict=True)] if form.volume else line
            for line, (form, _) in zip(lines, active, strict=True)
        ]
        largest = max(map(abs, misses), default=0.0)
        if largest <= near * size:
            inverse = solve_squares(jacobian, [[float(i == k) for i in range(count)] for k in range(count)])
            if inverse is None:
                return None
            for miss, column in zip(misses, inverse, strict=True):
                for j, shift in zip(free, column, strict=True):
                    x[j] += miss * shift
            return _Vertex(problem, basis, x, tangent, inverse, largest <= _LAST_STEP * size)
        change = solve_square(jacobian, misses)
        if change is None:
            return None
        for j, shift in zip(free, change, strict=True):
            x[j] += shift
    return None


def followed(problem: Problem, basis: Basis, start: Amounts, *, exchanges: int = 0) -> Followed | None:
    """The stationary point that a basis, mended by at most so many exchanges, gives.

    Parameters: problem; basis, with as many free amounts as active rows, of a problem whose first rows are these;
    start, amounts of which those that are not free stand at a bound; exchanges, how many to try.
    Returns: Followed; None if the basis or what becomes of it is not optimal here.
    """
    x = list(start)
    for left in range(exchanges, -1, -1):
        vertex = _settled(problem, basis, x, _ROUGH)
        miss = vertex.miss() if vertex is not None else None
        if vertex is not None and not vertex.exact and (miss is None or miss.by <= _ROUGH):
            vertex = _settled(problem, basis, x)
            miss = vertex.miss() if vertex is not None else None
        if vertex is None:
            return None
        if miss is None:
            if not vertex.is_optimal():
                return None
            return Followed(basis, tuple(x), vertex.volume, tuple(vertex.inverse[-1]) if basis.rows else ())
        mended = vertex.exchanged(miss) if left else None
        if mended is None:
            return None
        basis = mended
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


def margins(problem: Problem, basis: Basis, start: Amounts) -> Margins | None:
    """What is left to a basis; None if it gives no point.

    Parameters: as for `followed`.
    """
    vertex = _settled(problem, basis, list(start))
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
    reduced, multipliers = vertex.priced(0)
    sign = inf
    for j in range(n):
        if j not in basis.free and problem.lower[j] != problem.upper[j]:
            sign = min(sign, -reduced[j] if x[j] >= problem.upper[j] else reduced[j])
    for i, (at, up) in enumerate(zip(basis.rows, basis.upper, strict=True)):
        if problem.rows[at].lower != problem.rows[at].upper:
            sign = min(sign, -multipliers[i] if up else multipliers[i])
    return Margins(rise, sign + _SIGN_TOLERANCE)
