"""Several blending problems side by side, tied together by linear rows over their amounts.

Every drink keeps its own box, volume and rows; a *link* holds a sum over all drinks, Σ factor·x, between two bounds:
a lot or a stock that they share. The k-th aim of the stack is the sum of the k-th aims of its drinks. The search is
that of `service.solver.local` on the whole stack: linearise each volume at its own state, solve one linear programme,
meet its active rows exactly by Newton, check feasibility, multipliers and reduced costs there, repeat.

A sum of ratios, citrus per litre in each of two drinks, can have its optimum inside an edge or a face, where that
search finds no vertex to rest at. Steps of the linear programme inside a shrinking box then follow the aim down; what
it reached in each drink is held by rows, and the later aims decide the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from operator import mul
from time import perf_counter

from service.physics.mixture import VOLUME_SUMS
from service.solver.local import (
    TOLERANCE,
    Basis,
    LocalStatus,
    basis_of,
    between,
    is_liquid,
    signs_hold,
    solve_square,
    solve_squares,
)
from service.solver.problem import Aim, Amounts, Form, Problem, Row, Tangent, volume_at
from service.solver.proof import SMALLEST_AIM, bounding_form, generic_cost
from service.solver.simplex import LpResult, LpStatus, solve_lp

_ROUNDS = 12
_NEWTON_STEPS = 8
_LAST_STEP = 1e-7
"""As in `service.solver.local`."""

_FIRST_RADIUS, _LAST_RADIUS = 0.05, 1e-8
"""The box of the first and the last step of a descent, in the solver's units of amounts."""

_MOST_STEPS = 150
_FLAT = 1e-12
"""A promised gain below this share of an aim is none."""

_HELD = 1e-9
"""By how much, as a share, an aim may give way to the later ones."""

_FAVOUR = 30.0
"""What the aims of a favoured drink count in the first programme of a search; any large number will do."""


@dataclass(frozen=True, slots=True)
class Link:
    """A sum over drinks and columns, held between two bounds; each term is (part, column, factor)."""

    name: str
    terms: tuple[tuple[int, int, float], ...]
    lower: float
    upper: float

    def at(self, xs: Sequence[Amounts]) -> float:
        """Value at the amounts of all drinks."""
        return sum(factor * xs[part][column] for part, column, factor in self.terms)


@dataclass(frozen=True, slots=True)
class Stack:
    """Problems side by side: `flat` has the columns and rows of all, links last; `owner` is the drink of each row.

    A row of `flat` is to be taken with the volume of its owner; links have none (−1). `flat` has no aims of its own.
    """

    parts: tuple[Problem, ...]
    first: tuple[int, ...]
    flat: Problem
    owner: tuple[int, ...]

    @property
    def aims(self) -> int:
        """How many aims every drink has."""
        return len(self.parts[0].aims)

    def split(self, x: Amounts) -> list[list[float]]:
        """The amounts of each drink."""
        return [list(x[at : at + p.size]) for at, p in zip(self.first, self.parts, strict=True)]

    def states(self, x: Amounts) -> list[list[float]]:
        """The volume sums of each drink."""
        return [p.sums_at(x[at : at + p.size]) for at, p in zip(self.first, self.parts, strict=True)]

    def aim(self, k: int, x: Amounts) -> float:
        """The sum of the k-th aims at some amounts."""
        return sum(p.aims[k].at(own, volume_at(p, own)) for p, own in zip(self.parts, self.split(x), strict=True))

    def is_linear(self, k: int) -> bool:
        """Whether no term of the k-th aim has a denominator."""
        return all(term.denominator is None for p in self.parts for term in p.aims[k].terms)

    def with_rows(self, rows: Sequence[tuple[int, Row]]) -> Stack:
        """The same stack with more rows, each with its owner."""
        flat = replace(self.flat, rows=(*self.flat.rows, *(row for _, row in rows)))
        return replace(self, flat=flat, owner=(*self.owner, *(k for k, _ in rows)))

    def spread(self, k: int, form: Form) -> Form:
        """A form of one drink over the columns of all."""
        before = (0.0,) * self.first[k]
        after = (0.0,) * (self.flat.size - self.first[k] - len(form.coefficients))
        return Form(form.constant, before + form.coefficients + after, form.volume)

    def worst_violation(self, x: Amounts) -> float:
        """The largest miss over all bounds and rows at the true volumes, in their scaled units."""
        worst = 0.0
        for value, low, high in zip(x, self.flat.lower, self.flat.upper, strict=True):
            worst = max(worst, low - value, value - high)
        volumes = [volume_at(p, own) for p, own in zip(self.parts, self.split(x), strict=True)]
        for row, k in zip(self.flat.rows, self.owner, strict=True):
            value = row.form.at(x, volumes[k] if k >= 0 else 0.0)
            worst = max(worst, row.lower - value, value - row.upper)
        return worst

    def improves(self, new: Amounts, old: Amounts, *, share: float = _HELD) -> bool:
        """Whether one feasible point is lexicographically better than another by more than rounding."""
        for k in range(self.aims):
            a, b = self.aim(k, new), self.aim(k, old)
            if abs(a - b) > share * max(abs(b), SMALLEST_AIM):
                return a < b
        return False


def stacked(parts: Sequence[Problem], links: Sequence[Link]) -> Stack:
    """Problems with as many aims each, side by side, and their links scaled to order one.

    >>> one = Problem((0.0,), (1.0,), (1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0), ((1.0,) + (0.0,) * 6,), (), ())
    >>> stacked([one, one], [Link("water", ((0, 0, 2.0), (1, 0, 4.0)), 0.0, 3.0)]).flat.rows[-1].form.coefficients
    (0.5, 1.0)
    """
    first, size = [], 0
    for part in parts:
        first.append(size)
        size += part.size
    flat = Problem(
        tuple(v for p in parts for v in p.lower),
        tuple(v for p in parts for v in p.upper),
        (0.0,) * len(VOLUME_SUMS),
        tuple(c for p in parts for c in p.columns),
        (),
        (),
    )
    stack = Stack(tuple(parts), tuple(first), flat, ())
    rows = [(k, replace(r, form=stack.spread(k, r.form))) for k, p in enumerate(parts) for r in p.rows]
    for link in links:
        line = [0.0] * size
        for k, column, factor in link.terms:
            line[first[k] + column] += factor
        scale = 1.0 / (max(map(abs, line), default=0.0) or 1.0)
        form = Form(0.0, tuple(a * scale for a in line))
        rows.append((-1, Row(link.name, form, link.lower * scale, link.upper * scale, scale)))
    return stack.with_rows(rows)


class Here:
    """Volumes and gradients of a stack at one state of each drink."""

    def __init__(self, stack: Stack, states: Sequence[Sequence[float]]) -> None:
        self.stack = stack
        self.tangents = [Tangent(p, state) for p, state in zip(stack.parts, states, strict=True)]

    def row(self, i: int) -> list[float]:
        """Gradient of a row."""
        k, form = self.stack.owner[i], self.stack.flat.rows[i].form
        line = list(form.coefficients)
        if form.volume and k >= 0:
            for j, v in enumerate(self.tangents[k].partial, self.stack.first[k]):
                line[j] += form.volume * v
        return line

    def offset(self, i: int) -> float:
        """What a row's tangent has at x = 0."""
        k, form = self.stack.owner[i], self.stack.flat.rows[i].form
        return form.constant + form.volume * self.tangents[k].constant if k >= 0 else form.constant

    def costs(self, x: Amounts, weights: Sequence[float] | None = None) -> list[list[float]]:
        """Gradients of all aims at some amounts, and last a generic one: drinks alike in all else tie."""
        costs: list[list[float]] = [[] for _ in range(self.stack.aims)]
        triples = zip(self.stack.parts, self.stack.split(x), self.tangents, strict=True)
        for k, (part, own, tangent) in enumerate(triples):
            volume = tangent.constant + sum(map(mul, tangent.partial, own))
            weight = 1.0 if weights is None else weights[k]
            for cost, aim in zip(costs, part.aims, strict=True):
                cost.extend(weight * c for c in tangent.cost(aim, own, volume))
        return [*costs, generic_cost(self.stack.flat.size)]


def _programme(stack: Stack, here: Here, costs: list[list[float]], lower: Amounts, upper: Amounts) -> LpResult:
    count = range(len(stack.flat.rows))
    offsets = [here.offset(i) for i in count]
    return solve_lp(
        costs,
        lower,
        upper,
        [here.row(i) for i in count],
        [row.lower - o for row, o in zip(stack.flat.rows, offsets, strict=True)],
        [row.upper - o for row, o in zip(stack.flat.rows, offsets, strict=True)],
    )


def _newton(stack: Stack, basis: Basis, x: list[float]) -> list[float] | None:
    """Move the free amounts until the active rows hold exactly with the true volumes; None if that does not settle."""
    rows = stack.flat.rows
    bounds = [rows[i].upper if up else rows[i].lower for i, up in zip(basis.rows, basis.upper, strict=True)]
    size = 1.0 + max(map(abs, bounds), default=0.0)
    for _ in range(_NEWTON_STEPS):
        states = stack.states(x)
        if not all(map(is_liquid, states)):
            return None
        here = Here(stack, states)
        misses = []
        for i, bound in zip(basis.rows, bounds, strict=True):
            volume = here.tangents[stack.owner[i]].volume if stack.owner[i] >= 0 else 0.0
            misses.append(bound - rows[i].form.at(x, volume))
        lines = [here.row(i) for i in basis.rows]
        change = solve_square([[line[j] for j in basis.free] for line in lines], misses)
        if change is None:
            return None
        for j, shift in zip(basis.free, change, strict=True):
            x[j] += shift
        if max(map(abs, misses), default=0.0) <= _LAST_STEP * size:
            return x if all(map(is_liquid, stack.states(x))) else None
    return None


@dataclass(frozen=True, slots=True)
class Settled:
    """How a search ended: at a stationary point, or lost with the best feasible point that it passed."""

    status: LocalStatus
    x: tuple[float, ...] = ()


def stationary(
    stack: Stack, states: Sequence[Sequence[float]], x: Amounts, weights: Sequence[float] | None = None
) -> Settled:
    """Search a stationary point of the stack from one state of each drink.

    Parameters: stack; states, volume sums to linearise at first, shape (parts, 7); x, amounts to take the aims'
    gradients at first; weights, what the aims of each drink count in the first programme (default: as much).
    Returns: Settled; INFEASIBLE_HERE proves nothing, because it speaks of a linearisation only.
    """
    seen: set[Basis] = set()
    point: Amounts = x
    at: list[Sequence[float]] = list(states)
    best: tuple[float, ...] = ()
    for _ in range(_ROUNDS):
        here = Here(stack, at)
        lp = _programme(stack, here, here.costs(point, weights), stack.flat.lower, stack.flat.upper)
        weights = None
        if lp.status is LpStatus.INFEASIBLE:
            return Settled(LocalStatus.LOST if best else LocalStatus.INFEASIBLE_HERE, best)
        if lp.status is LpStatus.STALLED:
            return Settled(LocalStatus.LOST, best)
        basis = basis_of(stack.flat, lp)
        moved = _newton(stack, basis, list(lp.x))
        if moved is None:
            at = [between(old, new) or old for old, new in zip(at, stack.states(lp.x), strict=True)]
            point = lp.x
            continue
        feasible = stack.worst_violation(moved) <= TOLERANCE
        if feasible and _is_optimal(stack, basis, moved):
            return Settled(LocalStatus.STATIONARY, tuple(moved))
        if feasible and (not best or stack.improves(moved, best)):
            best = tuple(moved)
        new = stack.states(moved)
        if basis in seen:
            if feasible:
                return Settled(LocalStatus.LOST, best)
            at = [between(old, state) or old for old, state in zip(at, new, strict=True)]
        else:
            at = list(new)
        seen.add(basis)
        point = moved
    return Settled(LocalStatus.LOST, best)


def _is_optimal(stack: Stack, basis: Basis, x: list[float]) -> bool:
    here = Here(stack, stack.states(x))
    costs = here.costs(x)
    lines = [here.row(i) for i in basis.rows]
    lambdas = solve_squares(
        [[line[j] for line in lines] for j in basis.free], [[cost[j] for j in basis.free] for cost in costs]
    )
    return lambdas is not None and signs_hold(stack.flat, basis, x, lines, costs, lambdas)


def _descended(stack: Stack, x: Amounts, k: int, until: float) -> Amounts:
    """Follow the k-th aim down from a feasible point, by linear programmes inside a box that shrinks around it."""
    radius, value = _FIRST_RADIUS, stack.aim(k, x)
    massive = [any(column) for column in stack.flat.columns]
    for _ in range(_MOST_STEPS):
        if radius < _LAST_RADIUS or perf_counter() > until:
            break
        here = Here(stack, stack.states(x))
        costs = here.costs(x)
        box = zip(x, stack.flat.lower, stack.flat.upper, massive, strict=True)
        sides = [(max(a, v - radius), min(b, v + radius)) if moves else (a, b) for v, a, b, moves in box]
        lp = _programme(stack, here, [costs[k], costs[-1]], [a for a, _ in sides], [b for _, b in sides])
        if lp.status is not LpStatus.OPTIMAL:
            radius *= 0.5
            continue
        promised = sum(c * (a - b) for c, a, b in zip(costs[k], x, lp.x, strict=True))
        if promised <= _FLAT * max(abs(value), SMALLEST_AIM):
            break
        moved = _newton(stack, basis_of(stack.flat, lp), list(lp.x))
        if moved is None or stack.worst_violation(moved) > TOLERANCE:
            radius *= 0.5
            continue
        reached = stack.aim(k, moved)
        if value - reached < 0.25 * promised:
            radius *= 0.5
        elif value - reached > 0.75 * promised:
            radius *= 2.0
        if reached < value:
            x, value = moved, reached
    return x


def _holding(stack: Stack, k: int, x: Amounts) -> Stack:
    """The stack with rows that keep its k-th aim: the sum where that is linear, else what each drink has."""
    aims = [p.aims[k] for p in stack.parts]
    forms = [bounding_form(aim, 0.0) or Form(0.0, ()) for aim in aims] if stack.is_linear(k) else []
    if forms and not any(form.volume for form in forms):
        total = Form(0.0, (0.0,) * stack.flat.size)
        for i, form in enumerate(forms):
            if form.coefficients:
                total = total.minus(-1.0, stack.spread(i, form))
        most = total.at(x, 0.0)
        return stack.with_rows([(-1, Row("held", total, upper=most + _HELD * max(abs(most), SMALLEST_AIM)))])
    rows = []
    for i, (part, own) in enumerate(zip(stack.parts, stack.split(x), strict=True)):
        volume = volume_at(part, own)
        alike = len({term.denominator for term in aims[i].terms}) == 1
        for aim in [aims[i]] if alike else [Aim((term,)) for term in aims[i].terms]:
            most = aim.at(own, volume)
            held = bounding_form(aim, most + _HELD * max(abs(most), SMALLEST_AIM))
            if held is not None:
                size = 1.0 / max(1.0, *map(abs, held.coefficients), abs(held.volume))
                rows.append((i, Row("held", stack.spread(i, held).scaled(size), upper=0.0)))
    return stack.with_rows(rows)


def _settled_inside(stack: Stack, x: Amounts, until: float) -> Amounts:
    """The aims one after the other, each followed down and then held, until the rest has a vertex."""
    for k in range(stack.aims):
        x = _descended(stack, x, k, until)
        stack = _holding(stack, k, x)
        again = stationary(stack, stack.states(x), x)
        if again.status is LocalStatus.STATIONARY:
            return again.x
    return x


def search(
    stack: Stack,
    states: Sequence[Sequence[float]],
    x: Amounts,
    weights: Sequence[float] | None = None,
    *,
    until: float = inf,
) -> Settled:
    """A stationary point of the stack, at a vertex or between vertices.

    Parameters: as for `stationary`; until, a `perf_counter` time [s] at which a descent stops with what it has.
    Returns: Settled; LOST with a point where none of the two ways ended.
    """
    found = stationary(stack, states, x, weights)
    if found.status is LocalStatus.LOST and found.x:
        inside = _settled_inside(stack, found.x, until)
        if stack.worst_violation(inside) <= TOLERANCE and stack.improves(inside, found.x):
            return Settled(LocalStatus.LOST, tuple(inside))
    return found


def search_favouring_each(stack: Stack, x: Amounts, *, until: float = inf) -> tuple[float, ...]:
    """The best of searches that start by giving each drink in turn the first, or the last, call on what they share.

    A sum of ratios can have several optima, which differ in who gets the most.
    """
    best, count = tuple(x), len(stack.parts)
    for favour in (_FAVOUR, 1.0 / _FAVOUR)[: count - 1]:  # of two drinks, one is first where the other is last
        for k in range(count):
            if perf_counter() > until:
                return best
            weights = [favour if i == k else 1.0 for i in range(count)]
            found = search(stack, stack.states(x), x, weights, until=until)
            if found.x and stack.improves(found.x, best):
                best = found.x
    return best
