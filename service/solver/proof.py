"""Proofs for the non-linear problem: that a point is the global best, or that no point exists.

On a box of the two states p and w the volume lies between two linear functions of the amounts (see
`service.solver.envelope`). The rows and the aim, relaxed by that much, make an *outer* linear programme: if it is
empty, so is the problem in this box. One more row, "better than the incumbent by the tolerance", turns the proof of
optimality into the same question. The box is contracted by its own rows as long as that pays, because the
remainders shrink with its square, and then halved: branch and bound over two dimensions.

The multipliers of every programme are kept as a *cut*: one form, bounded from below on a box by its coefficients
alone, that limits a side of the box or empties it (weak duality holds with any multipliers). Cuts are a tenth of
a programme's work and are tried first; the multipliers of the incumbent itself give the first five.

Verdicts hold for the model as stated: every bound is computed anew from multipliers by weak duality, so nothing
rests on the tolerances of a linear programme.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

from service.solver.envelope import Envelope, StateBox, envelope, linear_bound, root_box
from service.solver.local import TOLERANCE
from service.solver.problem import Aim, Amounts, Form, Problem, Row, Tangent
from service.solver.simplex import LpStatus, solve_lp

RELATIVE_GAP = 1e-6
"""A point is called the proved best when no other can better its first aim by more than this share."""

SMALLEST_AIM = 1e-2
"""Aims smaller than this (per unit of volume) are compared absolutely."""

_SMALLEST_BOX = 1e-7
_CONTRACTIONS = 6
ROUNDING = 1e-13
"""What a sum of numbers of order one may be off by, per unit of multiplier."""
_LEAST_ML_PER_G, _MOST_ML_PER_G = 0.57, 1.3
"""No component takes less room than the first in a mixture (citric acid, 0.594 mL/g) or more than the second (ethanol,
1.267 mL/g)."""
_SURELY = 1e-12
"""By this share of a sum's parts it is taken to be wrong, where a bound is moved by it."""
_MOST_CUTS = 13
NEAR = 1e-4
"""How much worse than the incumbent, as a share, the region is whose multipliers give the first cuts."""


@dataclass(frozen=True, slots=True)
class Bound:
    """A lower bound, the relaxed optimum where it is reached, and the multiplier of each row of the problem."""

    value: float
    x: list[float]
    multipliers: list[float]


def generic_cost(size: int) -> list[float]:
    """A second cost against cycling."""
    return [1.0 + 0.618 * ((j * 0.754877) % 1.0) for j in range(size)]


def least_over_box(line: Sequence[float], problem: Problem) -> float:
    """Least value of a linear function over the box of amounts."""
    bounds = zip(line, problem.lower, problem.upper, strict=True)
    return sum([c * low if c > 0.0 else c * high for c, low, high in bounds])


class OuterProgramme:
    """The outer linear programme of a problem on one box of states."""

    def __init__(self, problem: Problem, box: StateBox, hull: Envelope | None = None) -> None:
        self.problem = problem
        self.hull = hull or envelope(problem, box)
        self.lines: list[list[float]] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.sources: list[int] = []
        for i, row in enumerate(problem.rows):
            self._add_row(i, row)
        fixed, columns = problem.fixed_sums, problem.columns
        for bound, side, top in (
            (box.p_low, 1, 1),
            (box.p_high, -1, 1),
            (box.w_low, 1, 2),
            (box.w_high, -1, 2),
        ):
            # sign·(top − bound·(water + top)) ≥ 0, with top = ethanol or solids
            self.lines.append([side * (c[top] - bound * (c[0] + c[top])) for c in columns])
            self.low.append(-side * (fixed[top] - bound * (fixed[0] + fixed[top])))
            self.high.append(inf)

    def _add_row(self, i: int, row: Row) -> None:
        for bound, upper in ((row.lower, True), (row.upper, False)):
            if abs(bound) < inf:
                constant, line = linear_bound(row.form, self.hull, upper=upper)
                self.lines.append(line)
                self.low.append(bound - constant if upper else -inf)
                self.high.append(inf if upper else bound - constant)
                self.sources.append(i)

    def bound(self, form: Form) -> Bound:
        """Lower bound of a form over the box: inf if nothing is in it, −inf if the programme stalled."""
        problem, n = self.problem, self.problem.size
        constant, cost = linear_bound(form, self.hull, upper=False)
        lp = solve_lp([cost, generic_cost(n)], problem.lower, problem.upper, self.lines, self.low, self.high)
        empty = lp.status is LpStatus.INFEASIBLE
        least, reduced = (0.0, [0.0] * n) if empty else (constant, cost)
        multipliers = [0.0] * len(problem.rows)
        if lp.status is LpStatus.STALLED:
            return Bound(-inf, [], multipliers)
        for k, y in lp.ray.items() if empty else zip(lp.nonbasic, lp.reduced, strict=True):
            if k < n or not y:
                continue
            i = k - n
            side = self.low[i] if y > 0.0 else self.high[i]
            if abs(side) < inf:
                reduced = [d - y * a for d, a in zip(reduced, self.lines[i], strict=True)]
                least += y * side - abs(y) * ROUNDING
                if i < len(self.sources):
                    multipliers[self.sources[i]] += y
        least += least_over_box(reduced, problem)
        if empty:
            least = inf if least > 0.0 else -inf
        return Bound(least, lp.x, multipliers)


@dataclass(frozen=True, slots=True)
class Cut:
    """Something that every feasible point bounds: form(x) + floor ≤ quantity.

    The quantity is sign·(top − reference·(water + top)) with top = ethanol (`at` 0) or solids (`at` 2), or zero
    (`at` −1), when a positive bound empties the box.
    """

    at: int
    sign: float
    reference: float
    form: Form
    floor: float


def state_form(problem: Problem, at: int, sign: float, reference: float) -> Form:
    """sign·(top − reference·(water + top)) as a form of the amounts, with top = ethanol (`at` 0) or solids."""
    top = 1 if at == 0 else 2
    return Form(
        sign * (problem.fixed_sums[top] - reference * (problem.fixed_sums[0] + problem.fixed_sums[top])),
        tuple(sign * (c[top] - reference * (c[0] + c[top])) for c in problem.columns),
    )


def _cut(problem: Problem, multipliers: Sequence[float], at: int, sign: float, reference: float) -> Cut:
    """The cut of some multipliers, any multipliers: quantity − Σ yᵢ·rowᵢ(x) + Σ yᵢ·boundᵢ."""
    form = state_form(problem, at, sign, reference) if at >= 0 else Form(0.0, (0.0,) * problem.size)
    floor = 0.0
    for y, row in zip(multipliers, problem.rows, strict=True):
        bound = row.lower if y > 0.0 else row.upper
        if y and abs(bound) < inf:
            form = form.minus(y, row.form)
            floor += y * bound - abs(y) * ROUNDING
    return Cut(at, sign, reference, form, floor)


def cuts_at(problem: Problem, x: Amounts) -> list[Cut]:
    """Cuts from the multipliers of a stationary point: of its aim, and of the states near it.

    Parameters: problem, whose last row says "better than this point"; x, the point.
    Returns: up to five cuts.
    """
    sums = problem.sums_at(x)
    tangent = Tangent(problem, sums)
    *rows, better = problem.rows
    lines = [tangent.row(row.form) for row in problem.rows]
    offsets = [tangent.offset(row.form) for row in problem.rows]
    low = [row.lower - offset for row, offset in zip(problem.rows, offsets, strict=True)]
    high = [row.upper - offset for row, offset in zip(rows, offsets[:-1], strict=True)]
    n, m, cuts = problem.size, len(problem.rows), []

    def add(cost: Sequence[float], high: list[float], at: int, sign: float, reference: float) -> None:
        count = len(high)
        lp = solve_lp([cost, generic_cost(n)], problem.lower, problem.upper, lines[:count], low[:count], high)
        if lp.status is LpStatus.OPTIMAL:
            y = [0.0] * m
            for k, d in zip(lp.nonbasic, lp.reduced, strict=True):
                if k >= n:
                    y[k - n] = d
            if at < 0:
                y[-1] = -1.0
            cuts.append(_cut(problem, y, at, sign, reference))

    add(lines[-1], high, -1, 1.0, 0.0)
    high.append(better.upper + NEAR - offsets[-1])
    for at, top in ((0, 1), (2, 2)):
        reference = sums[top] / (sums[0] + sums[top])
        for sign in (1.0, -1.0):
            add(state_form(problem, at, sign, reference).coefficients, high, at, sign, reference)
    return cuts


def tightened(problem: Problem) -> Problem:
    """The problem without the amounts that a single row rules out.

    Of a·x ≤ b with every other amount where it serves the row best, what is left for x_j; a volume counts with the
    least, or the most, that its mass can take. An amount without any limit is else searched far beyond where rows such
    as "no more is added than by the incumbent" or a volume end, and boxes shrink slowly.

    Parameters: problem.
    Returns: the problem, its bounds closer; a row that nothing meets moves none.

    >>> nothing = (0.0,) * 7
    >>> at_most = Row("mass", Form(0.0, (1.0, 2.0)), upper=3.0)
    >>> [round(u, 6) for u in tightened(Problem((1.0, 0.0), (9.0, 9.0), nothing, (nothing,) * 2, (at_most,), ())).upper]
    [3.0, 1.0]
    """
    lower, upper = list(problem.lower), list(problem.upper)
    fixed_g, masses_g = sum(problem.fixed_sums[:3]), [sum(c[:3]) for c in problem.columns]
    for row in problem.rows:
        form = row.form
        for sign, bound in ((1.0, row.upper), (-1.0, -row.lower)):
            if bound == inf:
                continue
            taken = sign * form.volume * (_LEAST_ML_PER_G if sign * form.volume > 0.0 else _MOST_ML_PER_G)
            line = [sign * c + taken * mass for c, mass in zip(form.coefficients, masses_g, strict=True)]
            spare = bound - sign * form.constant - taken * fixed_g - least_over_box(line, problem)
            if spare < 0.0:
                continue
            size = abs(bound) + sum(abs(c) * max(-a, b) for c, a, b in zip(line, lower, upper, strict=True))
            spare += _SURELY * size
            for j, c in enumerate(line):
                if c > 0.0:
                    upper[j] = min(upper[j], problem.lower[j] + spare / c)
                elif c < 0.0:
                    lower[j] = max(lower[j], problem.upper[j] + spare / c)
    return replace(problem, lower=tuple(lower), upper=tuple(upper))


def contracted(problem: Problem, box: StateBox, cuts: list[Cut]) -> StateBox | None:
    """Shrink a box by its own rows as long as that halves its error; None if they leave nothing of it."""
    last, by_programmes, hull = inf, False, envelope(problem, box)
    for _ in range(_CONTRACTIONS):
        error = hull.error_by_p + hull.error_by_w
        if error <= 0.5 * last:
            by_programmes = not cuts
        elif by_programmes:
            break
        else:
            by_programmes = True
        last = error
        smaller = (_by_programmes if by_programmes else _by_cuts)(problem, box, hull, cuts)
        if smaller is None:
            return None
        if smaller != box:
            box, hull = smaller, envelope(problem, smaller)
    return box


def narrowed(problem: Problem, sides: list[float], cut: Cut, least: float) -> bool:
    """Move a side of a box to where a cut's least value puts it; False if nothing is left."""
    at, top = cut.at, 1 if cut.at == 0 else 2
    whole = problem.fixed_sums[0] + problem.fixed_sums[top]
    amounts = problem.lower if least < 0.0 else problem.upper
    whole += sum((c[0] + c[top]) * x for c, x in zip(problem.columns, amounts, strict=True))
    if whole <= 0.0:
        return True
    shift = least / whole - 1e-12
    if cut.sign > 0.0:
        sides[at] = max(sides[at], cut.reference + shift)
    else:
        sides[at + 1] = min(sides[at + 1], cut.reference - shift)
    return sides[at] <= sides[at + 1]


def _by_cuts(problem: Problem, box: StateBox, hull: Envelope, cuts: list[Cut]) -> StateBox | None:
    sides = [box.p_low, box.p_high, box.w_low, box.w_high]
    for cut in cuts:
        constant, line = linear_bound(cut.form, hull, upper=False)
        least = constant + cut.floor + least_over_box(line, problem)
        if cut.at < 0:
            if least > 0.0:
                return None
        elif not narrowed(problem, sides, cut, least):
            return None
    return StateBox(*sides)


def _by_programmes(problem: Problem, box: StateBox, hull: Envelope, cuts: list[Cut]) -> StateBox | None:
    sides = [box.p_low, box.p_high, box.w_low, box.w_high]
    programme = OuterProgramme(problem, box, hull)
    for at in (0, 2):
        if sides[at] == sides[at + 1]:
            continue
        reference = 0.5 * (sides[at] + sides[at + 1])
        for sign in (1.0, -1.0):
            form = state_form(problem, at, sign, reference)
            bound = programme.bound(form)
            if bound.value > -inf:
                empty = bound.value == inf
                cuts.append(_cut(problem, bound.multipliers, -1 if empty else at, sign, reference))
                if empty or not narrowed(problem, sides, cuts[-1], bound.value):
                    return None
    return StateBox(*sides)


@dataclass(frozen=True, slots=True)
class ProofResult:
    """What branch and bound established.

    `gap` is the share of the aim by which an unseen point could still be better (0 when closed, inf when nothing is
    known); `hint` are amounts of a relaxed optimum that beats the incumbent, worth a local search.
    """

    closed: bool
    gap: float
    nodes: int
    hint: tuple[float, ...] | None = None


def search(
    problem: Problem,
    aim: Aim | None = None,
    x: Amounts = (),
    best: float = 0.0,
    *,
    nodes: int = 400,
    until: float = inf,
    against: Sequence[float] = (),
) -> ProofResult:
    """Branch and bound over the states of a problem.

    Parameters: problem; aim, the aim to bound (None: show that no point meets the rows even to within `TOLERANCE`);
    x, the incumbent; best, its value, to be bettered; nodes, how many boxes to look at; until, a `perf_counter` time
    [s] to stop at; against, multipliers of the rows that may show them to clash, tried first where there is no aim.
    Returns: ProofResult. With an aim of several ratios of unlike denominators no bound is attempted.
    """
    cuts: list[Cut] = []
    if aim is not None:
        form = bounding_form(aim, best - RELATIVE_GAP * max(abs(best), SMALLEST_AIM))
        if form is None:
            return ProofResult(False, inf, 0)
        denominator = aim.terms[0].denominator
        per = 1.0 if denominator is None else denominator.at(x, Tangent(problem, problem.sums_at(x)).volume)
        better = Row("better", form.scaled(1.0 / (max(abs(best), SMALLEST_AIM) * per)), upper=0.0)
        problem = replace(problem, rows=(*problem.rows, better))
        cuts = cuts_at(problem, x)
        problem = tightened(problem)
    else:
        rows = (replace(r, lower=r.lower - TOLERANCE, upper=r.upper + TOLERANCE) for r in problem.rows)
        problem = replace(problem, rows=tuple(rows))
        if against:
            cuts = [_cut(problem, against, -1, 1.0, 0.0)]
    open_boxes = [root_box(problem)]
    looked = 0
    while open_boxes:
        if looked >= nodes or perf_counter() > until:
            return _unfinished(problem, aim, best, open_boxes, looked)
        looked += 1
        del cuts[_MOST_CUTS:]
        box = contracted(problem, open_boxes.pop(), cuts)
        if box is None:
            continue
        if max(box.p_high - box.p_low, box.w_high - box.w_low) < _SMALLEST_BOX:
            rest = _unfinished(problem, aim, best, [box], looked)
            if rest.closed:
                continue
            return _unfinished(problem, aim, best, [*open_boxes, box], looked)
        hull = envelope(problem, box)
        open_boxes.extend(reversed(box.halves(hull.error_by_p >= hull.error_by_w)))
    return ProofResult(True, 0.0, looked)


def _unfinished(problem: Problem, aim: Aim | None, best: float, open_boxes: list[StateBox], looked: int) -> ProofResult:
    """The gap that the open boxes leave, and the relaxed optimum of the worst; closed if they are all empty."""
    worst, hint, closed = 0.0, None, True
    nothing = Form(0.0, (0.0,) * problem.size)
    form = None if aim is None else bounding_form(aim, best)
    denominator = None if aim is None else aim.terms[0].denominator
    for box in open_boxes:
        programme = OuterProgramme(problem, box)
        bound = programme.bound(form or nothing)
        if bound.value == inf:
            continue
        closed = False
        per = 1.0 if denominator is None else programme.bound(denominator).value
        gap = -bound.value / (per * max(abs(best), SMALLEST_AIM)) if form is not None and per > 0.0 else inf
        if gap >= worst:
            worst, hint = gap, tuple(bound.x) or None
    return ProofResult(True, 0.0, looked) if closed else ProofResult(False, max(worst, RELATIVE_GAP), looked, hint)


def bounding_form(aim: Aim, best: float) -> Form | None:
    """The form N − best·D that is negative exactly where an aim is better than `best`; None if there is none."""
    if len({term.denominator for term in aim.terms}) != 1:
        return None
    denominator = aim.terms[0].denominator
    total = aim.terms[0].numerator
    for term in aim.terms[1:]:
        total = total.minus(-1.0, term.numerator)
    if denominator is None:
        return Form(total.constant - best, total.coefficients, total.volume)
    return total.minus(best, denominator)
