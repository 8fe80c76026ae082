"""The point of a basis on the true volume, and whether it is optimal there.

A basis says which amounts are free and which rows hold with equality. All that is not linear in these rows is the one
volume, so however many there are, the point has a single unknown: e, by how much the true volume differs from a
tangent of it. With W the inverse of the active rows' tangents over the free amounts, and u what the rows take of the
volume, the rows hold at

    x(e) = x(0) − e·W u        where        V(x(e)) − tangent(x(e)) = e

and between two tangents, δ apart over the free amounts, W changes by one product (Sherman and Morrison):

    W' = W − (W u)(δᵀ W) / (1 + δᵀ W u)

A linear programme ends with W in its table and with x(0), so its vertex takes no factorisation.
"""

# ruff: noqa: B905
# `strict=True` takes a quarter of the time of a loop over few numbers; what is paired here is of one length by
# construction.

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

from service.physics.mixture import SOLIDS_FRACTION_MAX, volume_and_gradient_ml
from service.solver.problem import Form, Gradients, Problem, Tangent
from service.solver.simplex import LpResult

TOLERANCE = 1e-9
"""Rows and bounds are met to within this; problems come scaled to about one."""

SIGN_TOLERANCE = 1e-8
"""A multiplier below this share of its aim's largest gradient counts as zero, and the next aim decides."""

NEWTON_STEPS = 8
LAST_STEP = 1e-7
"""A miss from which one more step leaves its square: nothing that counts."""

_SINGULAR = 1e-13
_TRUSTED = 1e-12
"""Active rows are missed by less if the table that W was taken from is sound; what is left is then mended."""
_ROUNDING = 1e-15
UNSAFE = 0.1
"""An inverse that a change would make ten times as large is taken anew instead; so it is after so many changes:"""
_MOST_CHANGES = 8
_SOUND = 1e-10
"""A changed inverse gives each free amount less reduced cost than this share of the largest gradient."""


@dataclass(frozen=True, slots=True)
class Basis:
    """Which amounts are free and which rows hold with equality: `rows[i]` at its upper side if `upper[i]`."""

    free: tuple[int, ...]
    rows: tuple[int, ...]
    upper: tuple[bool, ...]


def solve_square(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float] | None:
    """Gaussian elimination with partial pivoting on a small dense system; None if it is singular.

    >>> solve_square([[2.0, 1.0], [1.0, 3.0]], [3.0, 5.0])
    [0.8, 1.4]
    """
    solutions = solve_squares(matrix, [right])
    return None if solutions is None else solutions[0]


def solve_squares(matrix: Sequence[Sequence[float]], rights: Sequence[Sequence[float]]) -> list[list[float]] | None:
    """The same for several right sides, eliminated once.

    >>> solve_squares([[2.0, 1.0], [1.0, 3.0]], [[3.0, 5.0], [2.0, 1.0]])
    [[0.8, 1.4], [1.0, 0.0]]
    """
    size = len(matrix)
    work = [[*row, *(right[i] for right in rights)] for i, row in enumerate(matrix)]
    width = size + len(rights)
    for k in range(size):
        best, largest = k, 0.0
        for i in range(k, size):
            if (magnitude := abs(work[i][k])) > largest:
                best, largest = i, magnitude
        if largest < _SINGULAR:
            return None
        pivot = work[best]
        work[best], work[k] = work[k], pivot
        for i in range(k + 1, size):
            row = work[i]
            factor = row[k] / pivot[k]
            if factor:
                for j in range(k + 1, width):
                    row[j] -= factor * pivot[j]
    solutions = []
    for at in range(size, width):
        x = [0.0] * size
        for k in range(size - 1, -1, -1):
            row = work[k]
            total = row[at]
            for j in range(k + 1, size):
                total -= row[j] * x[j]
            x[k] = total / row[k]
        solutions.append(x)
    return solutions


def is_liquid(sums: Sequence[float]) -> bool:
    """Whether the volume rule describes a mixture with these sums at all."""
    water, ethanol, solids = sums[0], sums[1], sums[2]
    return (
        water + ethanol > 0.0
        and water + solids > 0.0
        and water >= 0.0
        and ethanol >= 0.0
        and 0.0 <= solids <= SOLIDS_FRACTION_MAX * (water + solids)
    )


class Vertex:
    """The point of a basis, with the tangent there and the inverse of the active rows over the free amounts.

    `inverse` has a list for each active row: how the free amounts move with its bound; `changes` counts how often it
    was changed since it was computed, or taken from a table. `exact` is False where the last step was too long to leave
    nothing that counts.
    """

    __slots__ = ("_gradients", "_prices", "basis", "changes", "exact", "inverse", "problem", "tangent", "volume", "x")

    def __init__(
        self,
        problem: Problem,
        basis: Basis,
        x: list[float],
        tangent: Tangent,
        inverse: list[list[float]],
        *,
        exact: bool = True,
        changes: int = 0,
    ) -> None:
        self.problem, self.basis, self.x, self.tangent = problem, basis, x, tangent
        self.inverse, self.exact, self.changes = inverse, exact, changes
        self.volume = tangent.constant + sum(map(mul, tangent.partial, x))
        self._gradients = Gradients(tangent, problem.aims, x, self.volume)
        self._prices: list[list[float]] = []

    def multipliers(self, line: Sequence[float]) -> list[float]:
        """What a function of the amounts gains by each active row's bound."""
        part = [line[j] for j in self.basis.free]
        return [sum(map(mul, part, column)) for column in self.inverse]

    def reduced(self, line: Sequence[float], multipliers: Sequence[float]) -> list[float]:
        """What it gains by each amount that is not free, the free ones following."""
        result, share = line, 0.0
        for factor, i in zip(multipliers, self.basis.rows):
            if factor:
                form = self.problem.rows[i].form
                share += factor * form.volume
                result = [a - factor * b for a, b in zip(result, form.coefficients)]
        if share:
            result = [a - share * v for a, v in zip(result, self.tangent.partial)]
        return list(result)

    def prices(self, k: int) -> list[float]:
        """What aim k gains by each active row's bound: shadow prices."""
        while len(self._prices) <= k:
            self._prices.append(self.multipliers(self._gradients[len(self._prices)]))
        return self._prices[k]

    def priced(self, k: int) -> tuple[list[float], list[float], float]:
        """Reduced costs of aim k, the multipliers of the active rows, and its largest gradient."""
        cost, multipliers = self._gradients[k], self.prices(k)
        return self.reduced(cost, multipliers), multipliers, max(map(abs, cost), default=0.0) or 1.0

    def inverse_at(self, problem: Problem, tangent: Tangent) -> list[list[float]] | None:
        """The inverse at another tangent, where the last active row may be another too; None where that is not safe.

        Parameters: problem, whose rows are the same but for the last active one; tangent, of that problem.
        """
        inverse: list[list[float]] | None = self.inverse
        if not inverse or self.changes >= _MOST_CHANGES:
            return None
        free, rows = self.basis.free, self.basis.rows
        old, new = self.problem.rows[rows[-1]].form, problem.rows[rows[-1]].form
        if old is not new:
            share, partial = new.volume - old.volume, self.tangent.partial
            by = [new.coefficients[j] - old.coefficients[j] + share * partial[j] for j in free]
            inverse = _changed(inverse, inverse[-1], by)
        if inverse is None:
            return None
        by_volume = [0.0] * len(free)
        for i, moves in zip(rows, inverse):
            if share := problem.rows[i].form.volume:
                by_volume = [by + share * move for by, move in zip(by_volume, moves)]
        return _changed(inverse, by_volume, [tangent.partial[j] - self.tangent.partial[j] for j in free])

    def is_feasible(self) -> bool:
        """Whether no bound and no row that does not hold with equality is missed."""
        problem, x = self.problem, self.x
        for j in self.basis.free:
            if not problem.lower[j] - TOLERANCE <= x[j] <= problem.upper[j] + TOLERANCE:
                return False
        active = self.basis.rows
        for i, row in enumerate(problem.rows):
            if i not in active and not row.lower - TOLERANCE <= row.form.at(x, self.volume) <= row.upper + TOLERANCE:
                return False
        return True

    def is_optimal(self) -> bool:
        """Whether every multiplier and reduced cost has its sign, lexicographically over the aims."""
        problem, basis, x = self.problem, self.basis, self.x
        free = basis.free
        columns = [j for j in range(problem.size) if j not in free and problem.lower[j] != problem.upper[j]]
        rows = [i for i, at in enumerate(basis.rows) if problem.rows[at].lower != problem.rows[at].upper]
        for k in range(len(problem.aims)):
            reduced, multipliers, size = self.priced(k)
            zero, tied = SIGN_TOLERANCE * size, []
            # by multipliers of a sound inverse the free amounts have no reduced cost
            if self.changes and max([abs(reduced[j]) for j in free], default=0.0) > _SOUND * size:
                return self._is_renewed() and self.is_optimal()
            for i in rows:
                if -zero <= multipliers[i] <= zero:
                    tied.append(i)
                elif (multipliers[i] > 0.0) is basis.upper[i]:
                    return False
            rows, tied = tied, []
            for j in columns:
                d = reduced[j]
                if -zero <= d <= zero:
                    tied.append(j)
                elif (d > 0.0) is (x[j] >= problem.upper[j]):
                    return False
            columns = tied
            if not rows and not columns:
                break
        return True

    def _is_renewed(self) -> bool:
        """Take the inverse anew; False if the active rows are singular."""
        forms = [self.problem.rows[i].form for i in self.basis.rows]
        inverse = inverse_of(forms, self.basis.free, self.tangent)
        if inverse is None:
            return False
        self.inverse, self.changes, self._prices = inverse, 0, []
        return True


def _changed(
    inverse: Sequence[Sequence[float]], along: Sequence[float], by: Sequence[float]
) -> list[list[float]] | None:
    """The inverse after the rows have changed by a product, `along` being the inverse times its left factor."""
    rate = 1.0 + sum(map(mul, by, along))
    if abs(rate) < UNSAFE:
        return None
    changed = []
    for moves in inverse:
        factor = sum(map(mul, by, moves)) / rate
        changed.append([move - factor * a for move, a in zip(moves, along)])
    return changed


def basis_of(problem: Problem, lp: LpResult) -> Basis:
    """The free amounts and the rows that hold at the optimum of a programme."""
    n = problem.size
    active = sorted([(k - n, lp.at_upper[j]) for j, k in enumerate(lp.nonbasic) if k >= n])
    return Basis(
        tuple(sorted([k for k in lp.basic if k < n])), tuple([i for i, _ in active]), tuple([up for _, up in active])
    )


def vertex_of(problem: Problem, lp: LpResult, tangent: Tangent) -> Vertex | None:
    """The vertex of a programme, moved onto the true volume.

    Parameters: problem; lp, the optimum of its programme; tangent, what that was linearised with.
    Returns: Vertex; None if Newton does not settle.
    """
    if not lp.table:
        return _settled_twice(problem, basis_of(problem, lp), list(lp.x))
    n, table = problem.size, lp.table
    places = sorted([(k, i) for i, k in enumerate(lp.basic) if k < n])
    active = sorted([(k - n, c) for c, k in enumerate(lp.nonbasic) if k >= n])
    free, rows = tuple([j for j, _ in places]), [problem.rows[i] for i, _ in active]
    inverse = [[table[i][c] for _, i in places] for _, c in active]
    basis = Basis(free, tuple([i for i, _ in active]), tuple([lp.at_upper[c] for _, c in active]))
    x, sums = list(lp.x), problem.sums_at(lp.x)
    if not is_liquid(sums):
        return None
    known = volume_and_gradient_ml(sums)
    by_volume = [0.0] * len(free)
    for row, moves in zip(rows, inverse):
        if share := row.form.volume:
            by_volume = [by + share * move for by, move in zip(by_volume, moves)]
    if any(by_volume):
        by_sums = [0.0] * len(sums)
        for j, by in zip(free, by_volume):
            by_sums = [s + by * c for s, c in zip(by_sums, problem.columns[j])]
        found = _off_the_tangent(tangent, sums, by_sums, known)
        if found is None:
            return None
        e, sums, known = found
        for j, by in zip(free, by_volume):
            x[j] -= e * by
    there = Tangent(problem, sums, known)
    changed = _changed(inverse, by_volume, [there.partial[j] - tangent.partial[j] for j in free])
    if changed is None:
        return _settled_twice(problem, basis, list(lp.x))
    misses = []
    for row, up in zip(rows, basis.upper):
        bound = row.upper if up else row.lower
        miss = bound - row.form.at(x, there.volume)
        if not abs(miss) <= _TRUSTED * (1.0 + abs(bound)):
            return _settled_twice(problem, basis, list(lp.x))
        misses.append(miss)
    for miss, moves in zip(misses, changed):
        if abs(miss) > _ROUNDING:
            for j, move in zip(free, moves):
                x[j] += miss * move
    return Vertex(problem, basis, x, there, changed, changes=1)


def _off_the_tangent(
    tangent: Tangent, sums: list[float], by_sums: list[float], known: tuple[float, tuple[float, ...]]
) -> tuple[float, list[float], tuple[float, tuple[float, ...]]] | None:
    """Newton for e, with the sums that it leads to and what `volume_and_gradient_ml` says of them.

    Parameters: tangent; sums at e = 0; by_sums, what they lose by a unit of e; known, the volume and gradient there.
    """
    e, first = 0.0, sum(map(mul, tangent.gradient, by_sums))
    for _ in range(NEWTON_STEPS):
        volume, gradient = known
        rate = 1.0 + sum(map(mul, gradient, by_sums)) - first
        if abs(rate) < _SINGULAR:
            return None
        step = (volume - sum(map(mul, tangent.gradient, sums)) - e) / rate
        e += step
        sums = [s - step * by for s, by in zip(sums, by_sums)]
        if not is_liquid(sums):
            return None
        known = volume_and_gradient_ml(sums)
        if abs(step) <= LAST_STEP * volume:
            return e, sums, known
    return None


def settled(
    problem: Problem, basis: Basis, x: list[float], near: float = LAST_STEP, kept: Vertex | None = None
) -> Vertex | None:
    """Newton on a basis from x, which is moved, until a step is this short; None if it does not settle.

    Parameters: problem; basis; x; near, a miss of the rows; kept, a vertex of the same basis whose inverse serves (see
    `Vertex.inverse_at`).
    """
    free, active = basis.free, [problem.rows[i] for i in basis.rows]
    forms, bounds = [row.form for row in active], []
    for row, up in zip(active, basis.upper):
        bounds.append(row.upper if up else row.lower)
    size = 1.0 + max(map(abs, bounds), default=0.0)
    for _ in range(NEWTON_STEPS):
        sums = problem.sums_at(x)
        if not is_liquid(sums):
            return None
        tangent = Tangent(problem, sums)
        misses = [bound - form.at(x, tangent.volume) for form, bound in zip(forms, bounds)]
        largest = max(map(abs, misses), default=0.0)
        changed = kept.inverse_at(problem, tangent) if kept is not None else None
        inverse = inverse_of(forms, free, tangent) if changed is None else changed
        if inverse is None:
            return None
        for miss, moves in zip(misses, inverse):
            for j, move in zip(free, moves):
                x[j] += miss * move
        if largest <= near * size:
            changes = 0 if kept is None or changed is None else kept.changes + 1
            exact = largest <= LAST_STEP * size
            return Vertex(problem, basis, x, tangent, inverse, exact=exact, changes=changes)
    return None


def inverse_of(forms: Sequence[Form], free: Sequence[int], tangent: Tangent) -> list[list[float]] | None:
    """The inverse of some rows over the free amounts; None if there are not as many, or it is singular."""
    if len(free) != len(forms):
        return None
    partial, count = [tangent.partial[j] for j in free], len(forms)
    rows = [[form.coefficients[j] + form.volume * v for j, v in zip(free, partial)] for form in forms]
    return solve_squares(rows, [[float(i == k) for i in range(count)] for k in range(count)])


def _settled_twice(problem: Problem, basis: Basis, x: list[float]) -> Vertex | None:
    """Newton from x, and the tangent and inverse of the very point where it ends."""
    return settled(problem, basis, x) and settled(problem, basis, x)
