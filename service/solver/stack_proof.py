"""Proofs for several drinks at once: that no amounts meet all their rows and links, or none better the first aim.

Each drink has its own box of states, contracted by its own rows as in `service.solver.proof`. The outer linear
programmes of all, one under the other, and the links make one programme: empty where the stack is. What it leaves
open is contracted by the whole stack, then halved along the state of the drink whose volume is known worst.

As with one drink, every bound comes anew from multipliers by weak duality, and the multipliers of every programme are
kept as a cut, which is tried first because it costs a small part of a programme.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from time import perf_counter

from service.solver.envelope import Envelope, StateBox, envelope, linear_bound, root_box
from service.solver.local import TOLERANCE
from service.solver.problem import Amounts, Form, Problem, volume_at
from service.solver.proof import (
    NEAR,
    RELATIVE_GAP,
    ROUNDING,
    SMALLEST_AIM,
    Cut,
    OuterProgramme,
    bounding_form,
    contracted,
    generic_cost,
    least_over_box,
    narrowed,
    state_form,
)
from service.solver.simplex import LpResult, LpStatus, solve_lp
from service.solver.stack import Here, Stack

_SMALLEST_BOX = 1e-7
_NODES = 400
_CONTRACTIONS = 20
_RECENT = 8
"""How many cuts of programmes are kept for each drink."""


@dataclass(frozen=True, slots=True)
class Total:
    """A form over all drinks: constant + coefficients·x + Σ volumes[k]·V_k."""

    constant: float
    coefficients: tuple[float, ...]
    volumes: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Side:
    """The outer programme of one drink on a box of its states."""

    box: StateBox
    hull: Envelope
    outer: OuterProgramme

    @property
    def error(self) -> float:
        """How far its bounds of the volume lie apart, per unit of mass."""
        return self.hull.error_by_p + self.hull.error_by_w


def _side(problem: Problem, box: StateBox) -> _Side:
    hull = envelope(problem, box)
    return _Side(box, hull, OuterProgramme(problem, box, hull))


@dataclass(frozen=True, slots=True)
class _Question:
    """A stack and, where its first aim is to be bettered, a form that is below `most` exactly where it is."""

    stack: Stack
    aim: Total
    most: float

    @property
    def nothing(self) -> Total:
        """The form that is nought everywhere."""
        return Total(0.0, (0.0,) * self.stack.flat.size, (0.0,) * len(self.stack.parts))

    def total(self, k: int, form: Form) -> Total:
        """A form of one drink as one over all."""
        volumes = [0.0] * len(self.stack.parts)
        volumes[k] = form.volume
        return Total(form.constant, self.stack.spread(k, form).coefficients, tuple(volumes))

    def least_of(self, form: Total, hulls: Sequence[Envelope]) -> tuple[float, list[float]]:
        """Linear lower bound of a form: constant and coefficients."""
        constant, line = form.constant, []
        for at, part, share, hull in zip(self.stack.first, self.stack.parts, form.volumes, hulls, strict=True):
            own = Form(0.0, form.coefficients[at : at + part.size], share)
            shift, coefficients = linear_bound(own, hull, upper=False)
            constant += shift
            line.extend(coefficients)
        return constant, line


@dataclass(frozen=True, slots=True)
class _StackCut:
    """`form` + floor bounds from below the quantity that `cut` is about, of the drink `part`; with −1, nought."""

    part: int
    cut: Cut
    form: Total


_EMPTY = Cut(-1, 1.0, 0.0, Form(0.0, ()), 0.0)


def _stack_cut(question: _Question, y: Sequence[float], part: int, cut: Cut) -> _StackCut:
    """The cut of some multipliers of all rows, the links and, last, of the row that betters the aim."""
    stack = question.stack
    start = question.nothing if part < 0 else question.total(part, cut.form)
    constant, coefficients, volumes = start.constant, list(start.coefficients), list(start.volumes)
    for factor, row, owner in zip(y, stack.flat.rows, stack.owner, strict=False):
        bound = row.lower if factor > 0.0 else row.upper
        if factor and abs(bound) < inf:
            constant += factor * (bound - row.form.constant) - abs(factor) * ROUNDING
            coefficients = [a - factor * b for a, b in zip(coefficients, row.form.coefficients, strict=True)]
            if owner >= 0:
                volumes[owner] -= factor * row.form.volume
    factor = y[-1]
    if factor < 0.0 and question.most < inf:
        aim = question.aim
        constant += factor * (question.most - aim.constant) + factor * ROUNDING
        coefficients = [a - factor * b for a, b in zip(coefficients, aim.coefficients, strict=True)]
        volumes = [a - factor * b for a, b in zip(volumes, aim.volumes, strict=True)]
    return _StackCut(part, cut, Total(constant, tuple(coefficients), tuple(volumes)))


class _Outer:
    """The outer linear programme of a stack on one box of states for each drink."""

    def __init__(self, question: _Question, sides: Sequence[_Side]) -> None:
        self.question, self.hulls = question, [side.hull for side in sides]
        self.lines: list[list[float]] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.sources: list[int] = []
        stack, rows = question.stack, 0
        size = stack.flat.size
        for at, part, side in zip(stack.first, stack.parts, sides, strict=True):
            before, after = [0.0] * at, [0.0] * (size - at - part.size)
            self.lines.extend(before + line + after for line in side.outer.lines)
            self.low.extend(side.outer.low)
            self.high.extend(side.outer.high)
            self.sources.extend(rows + i for i in side.outer.sources)
            self.sources.extend([-1] * (len(self.lines) - len(self.sources)))
            rows += len(part.rows)
        for i, row in enumerate(stack.flat.rows[rows:], rows):
            self.lines.append(list(row.form.coefficients))
            self.low.append(row.lower - row.form.constant)
            self.high.append(row.upper - row.form.constant)
            self.sources.append(i)

    def limit(self) -> None:
        """One more row: the aim is bettered."""
        constant, line = self.question.least_of(self.question.aim, self.hulls)
        self.lines.append(line)
        self.low.append(-inf)
        self.high.append(self.question.most - constant)
        self.sources.append(len(self.question.stack.flat.rows))

    def bound(self, form: Total) -> tuple[float, list[float]]:
        """Lower bound of a form over the boxes, inf if nothing is in them and −inf if unknown, with multipliers."""
        flat = self.question.stack.flat
        constant, cost = self.question.least_of(form, self.hulls)
        lp = solve_lp([cost, generic_cost(flat.size)], flat.lower, flat.upper, self.lines, self.low, self.high)
        y = [0.0] * (len(flat.rows) + 1)
        if lp.status is LpStatus.STALLED:
            return -inf, y
        empty = lp.status is LpStatus.INFEASIBLE
        least, reduced = (0.0, [0.0] * flat.size) if empty else (constant, cost)
        for i, factor in _multipliers(lp, flat.size).items():
            side = self.low[i] if factor > 0.0 else self.high[i]
            if abs(side) < inf:
                reduced = [d - factor * a for d, a in zip(reduced, self.lines[i], strict=True)]
                least += factor * side - abs(factor) * ROUNDING
                if self.sources[i] >= 0:
                    y[self.sources[i]] += factor
        least += least_over_box(reduced, flat)
        if empty:
            least = inf if least > 0.0 else -inf
        return least, y


def _multipliers(lp: LpResult, size: int) -> dict[int, float]:
    pairs = lp.ray.items() if lp.status is LpStatus.INFEASIBLE else zip(lp.nonbasic, lp.reduced, strict=True)
    return {k - size: factor for k, factor in pairs if k >= size and factor}


def _cuts_at(question: _Question, x: Amounts) -> list[_StackCut]:
    """Cuts from the multipliers of a stationary point: of its aim, and of the states near it."""
    stack = question.stack
    flat, here = stack.flat, Here(stack, stack.states(x))
    count = range(len(flat.rows))
    aim, constant = list(question.aim.coefficients), question.aim.constant
    for at, share, tangent in zip(stack.first, question.aim.volumes, here.tangents, strict=True):
        constant += share * tangent.constant
        for j, v in enumerate(tangent.partial, at):
            aim[j] += share * v
    lines = [*(here.row(i) for i in count), aim]
    low = [*(row.lower - here.offset(i) for i, row in zip(count, flat.rows, strict=True)), -inf]
    high = [row.upper - here.offset(i) for i, row in zip(count, flat.rows, strict=True)]
    cuts = []

    def add(cost: Sequence[float], part: int, cut: Cut) -> None:
        m = len(high)
        lp = solve_lp([cost, generic_cost(flat.size)], flat.lower, flat.upper, lines[:m], low[:m], high)
        if lp.status is LpStatus.OPTIMAL:
            y = [0.0] * len(lines)
            for i, factor in _multipliers(lp, flat.size).items():
                y[i] = factor
            if part < 0:
                y[-1] = -1.0
            cuts.append(_stack_cut(question, y, part, cut))

    add(aim, -1, _EMPTY)
    high.append(question.most + NEAR - constant)
    for k, (part, sums) in enumerate(zip(stack.parts, stack.states(x), strict=True)):
        for at, top in ((0, 1), (2, 2)):
            reference = sums[top] / (sums[0] + sums[top])
            for sign in (1.0, -1.0):
                form = state_form(part, at, sign, reference)
                add(stack.spread(k, form).coefficients, k, Cut(at, sign, reference, form, 0.0))
    return cuts


@dataclass(frozen=True, slots=True)
class StackProof:
    """What branch and bound established; `gap` is the share of the first aim still open (inf: nothing known)."""

    closed: bool
    gap: float
    nodes: int


def prove_stack(stack: Stack, x: Amounts | None = None, *, until: float = inf, nodes: int = _NODES) -> StackProof:
    """Branch and bound over the states of all drinks.

    Parameters: stack; x, the amounts whose first aim is to be bettered (None: show that no amounts meet rows and
    links even to within `TOLERANCE`); until, a `perf_counter` time [s] to stop at; nodes, how many sets of boxes to
    look at.
    Returns: StackProof. With a first aim of ratios of unlike denominators no bound is attempted.
    """
    if x is None:
        loose = _loosened(stack)
        question = _Question(loose, Total(0.0, (0.0,) * loose.flat.size, (0.0,) * len(loose.parts)), inf)
    else:
        better = _better(stack, x)
        if better is None:
            return StackProof(False, inf, 0)
        question = _Question(stack, better, 0.0)
    sides = []
    for part in question.stack.parts:
        box = contracted(part, root_box(part), [])
        if box is None:
            return StackProof(True, 0.0, 0)
        sides.append(_side(part, box))
    open_, unfinished, looked = [sides], [], 0
    cuts = [] if x is None else _cuts_at(question, x)
    while open_ and looked < nodes and perf_counter() <= until:
        looked += 1
        left = _by_cuts(question, open_.pop(), cuts)
        if left is None:
            continue
        outer = _Outer(question, left)
        if outer.bound(question.aim)[0] >= question.most:
            continue
        if x is not None:
            outer.limit()
        at = max(range(len(left)), key=lambda k: left[k].error)
        part, before, after = question.stack.parts[at], left[:at], left[at + 1 :]
        box = _by_programmes(outer, left[at].box, at, cuts)
        if box is None:
            continue
        new = _side(part, box)
        if new.error <= 0.5 * left[at].error:
            open_.append([*before, new, *after])
        elif max(box.p_high - box.p_low, box.w_high - box.w_low) < _SMALLEST_BOX:
            unfinished.append([*before, new, *after])
        else:
            for half in reversed(box.halves(new.hull.error_by_p >= new.hull.error_by_w)):
                open_.append([*before, _side(part, half), *after])
        del cuts[1 + 4 * len(sides) + _RECENT * len(sides) :]
    left_open = [*open_, *unfinished]
    if left_open and (x is None or not stack.is_linear(0)):
        return StackProof(False, inf, looked)
    least = min((_Outer(question, sides).bound(question.aim)[0] for sides in left_open), default=inf)
    closed = least >= question.most
    return StackProof(closed, 0.0 if closed else RELATIVE_GAP - least, looked)


def _better(stack: Stack, x: Amounts) -> Total | None:
    """A form that is negative exactly where the first aim is better than at x; None where denominators differ."""
    best = stack.aim(0, x)
    scale = max(abs(best), SMALLEST_AIM)
    target = best - RELATIVE_GAP * scale
    nothing = [Form(0.0, (0.0,) * part.size) for part in stack.parts]
    aims = [part.aims[0] for part in stack.parts]
    if stack.is_linear(0):
        forms = [bounding_form(aim, 0.0) or none for aim, none in zip(aims, nothing, strict=True)]
        constant, per = -target, 1.0
    else:
        counting = [k for k, aim in enumerate(aims) if aim.terms]
        form = bounding_form(aims[counting[0]], target) if len(counting) == 1 else None
        if form is None:
            return None
        part, own = stack.parts[counting[0]], stack.split(x)[counting[0]]
        forms, constant = nothing, 0.0
        forms[counting[0]] = form
        per = aims[counting[0]].terms[0].divisor(own, volume_at(part, own))
    factor = 1.0 / (scale * per)
    return Total(
        factor * (constant + sum(form.constant for form in forms)),
        tuple(factor * a for form in forms for a in form.coefficients),
        tuple(factor * form.volume for form in forms),
    )


def _loosened(stack: Stack) -> Stack:
    """Rows and links met to within `TOLERANCE` count as met."""

    def loose(problem: Problem) -> Problem:
        rows = (replace(r, lower=r.lower - TOLERANCE, upper=r.upper + TOLERANCE) for r in problem.rows)
        return replace(problem, rows=tuple(rows))

    return replace(stack, parts=tuple(map(loose, stack.parts)), flat=loose(stack.flat))


def _by_cuts(question: _Question, sides: list[_Side], cuts: Sequence[_StackCut]) -> list[_Side] | None:
    """Shrink all boxes by cuts as long as that halves the sum of their errors; None if nothing is left."""
    if not cuts:
        return sides
    last = inf
    boxes, hulls = [side.box for side in sides], [side.hull for side in sides]
    for _ in range(_CONTRACTIONS):
        error = sum(hull.error_by_p + hull.error_by_w for hull in hulls)
        if error > 0.5 * last:
            break
        last = error
        ends = [[box.p_low, box.p_high, box.w_low, box.w_high] for box in boxes]
        for cut in cuts:
            constant, line = question.least_of(cut.form, hulls)
            least = constant + least_over_box(line, question.stack.flat)
            if cut.part < 0:
                if least > 0.0:
                    return None
            elif not narrowed(question.stack.parts[cut.part], ends[cut.part], cut.cut, least):
                return None
        boxes = [StateBox(*end) for end in ends]
        hulls = [envelope(p, box) for p, box in zip(question.stack.parts, boxes, strict=True)]
    return [
        side if box == side.box else _Side(box, hull, OuterProgramme(p, box, hull))
        for p, side, box, hull in zip(question.stack.parts, sides, boxes, hulls, strict=True)
    ]


def _by_programmes(outer: _Outer, box: StateBox, k: int, cuts: list[_StackCut]) -> StateBox | None:
    """Shrink the box of one drink by the rows and links of all; None if they leave nothing of it."""
    question = outer.question
    part = question.stack.parts[k]
    ends = [box.p_low, box.p_high, box.w_low, box.w_high]
    keep = 1 + 4 * len(question.stack.parts) if question.most < inf else 0
    for at in (0, 2):
        if ends[at] == ends[at + 1]:
            continue
        reference = 0.5 * (ends[at] + ends[at + 1])
        for sign in (1.0, -1.0):
            cut = Cut(at, sign, reference, state_form(part, at, sign, reference), 0.0)
            least, y = outer.bound(question.total(k, cut.form))
            if least == -inf:
                continue
            empty = least == inf
            cuts.insert(keep, _stack_cut(question, y, -1 if empty else k, _EMPTY if empty else cut))
            if empty or not narrowed(part, ends, cut, least):
                return None
    return StateBox(*ends)


__all__ = ["StackProof", "prove_stack"]
