"""Proofs for the non-linear problem: that a point is the global best, or that no point exists.

Only two scalars carry the non-linearity of the volume: p = ethanol/(water + ethanol) and
w = solids/(solids + water). On a box of (p, w) the volume therefore lies between two *linear* functions of the
amounts. With L = water + ethanol, Q = water + solids, ψ(w) = w φ_s(w) and on_sucrose = (1 − t̄)·solids − T',
linear = b̄·solids + P':

    V = L v(p) + Q ψ(w) − T' φ_s(w) + b̄ Q w² + P' w + quadratic·w² + constant

Each term in p or w alone is its tangent at the middle of the box plus a remainder of second order, bounded by the
extreme curvature on the box; the small signed rests T', P' and `quadratic` are bounded to first order. The rows
and the aim, relaxed by these remainders, make an *outer* linear programme: if it is empty, so is the problem in
this box. One more row, "better than the incumbent by the tolerance", turns the proof of optimality into the same
question. The box is contracted by its own rows as long as that pays, because the remainders shrink with its
square, and then halved: branch and bound over two dimensions.

Verdicts hold for the model as stated, to the tolerance of the linear programmes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from operator import mul
from time import perf_counter

from service.physics.ethanol_water import specific_volume_ml_g
from service.physics.mixture import SOLIDS_FRACTION_MAX
from service.physics.solutes import FRUCTOSE_LAW, GLUCOSE_LAW
from service.physics.sucrose import apparent_specific_volume_ml_g
from service.solver.problem import Aim, Form, Problem, Row
from service.solver.simplex import LpResult, LpStatus, solve_lp

RELATIVE_GAP = 1e-6
"""A point is called the proved best when no other can better its first aim by more than this share."""

# Largest |v'''(p)| on 0…1 and |ψ'''(w)| on 0…0.9, from the formulas on grids of 20,000 points: 23.83 and 0.291.
_THIRD_V = 24.0
_THIRD_PSI = 0.30
_GRID = 9
_SMALLEST_BOX = 1e-7
_CONTRACTIONS = 6

# The split of the rests: nothing of the sucrose-based share, and the middle of the glucose and fructose slopes.
_LINEAR_SHARE = 0.5 * (GLUCOSE_LAW.linear + FRUCTOSE_LAW.linear)


@dataclass(frozen=True, slots=True)
class StateBox:
    """Bounds on the ethanol share p of the liquor and the solids share w of the syrup."""

    p_low: float
    p_high: float
    w_low: float
    w_high: float

    def halves(self, by_p: bool) -> tuple[StateBox, StateBox]:
        """The two halves along one of its sides."""
        if by_p:
            middle = 0.5 * (self.p_low + self.p_high)
            return StateBox(self.p_low, middle, self.w_low, self.w_high), StateBox(
                middle, self.p_high, self.w_low, self.w_high
            )
        middle = 0.5 * (self.w_low + self.w_high)
        return StateBox(self.p_low, self.p_high, self.w_low, middle), StateBox(
            self.p_low, self.p_high, middle, self.w_high
        )


@dataclass(frozen=True, slots=True)
class Envelope:
    """Volume = tangent + something between −below and +above; each is constant + coefficients·x."""

    tangent: tuple[float, list[float]]
    below: tuple[float, list[float]]
    above: tuple[float, list[float]]
    error_by_p: float
    error_by_w: float


def _curvature_range(second: Callable[[float], float], low: float, high: float, third: float) -> tuple[float, float]:
    """Rigorous range of a second derivative on an interval, from a grid and a bound on the third."""
    step = (high - low) / (_GRID - 1)
    values = [second(low + k * step) for k in range(_GRID)]
    slack = 0.5 * third * step
    return min(values) - slack, max(values) + slack


def _psi_second(w: float) -> float:
    _, slope, curve = apparent_specific_volume_ml_g(w)
    return 2.0 * slope + w * curve


def _parts(value: float) -> tuple[float, float]:
    return max(-value, 0.0), max(value, 0.0)


def envelope(problem: Problem, box: StateBox) -> Envelope:
    """Linear bounds of the volume for all amounts whose state lies in the box.

    Parameters: problem; box.
    Returns: Envelope.
    """
    p = 0.5 * (box.p_low + box.p_high)
    w = 0.5 * (box.w_low + box.w_high)
    dp = 0.5 * (box.p_high - box.p_low)
    dw = 0.5 * (box.w_high - box.w_low)
    v, v1, _ = specific_volume_ml_g(p)
    phi, phi1, _ = apparent_specific_volume_ml_g(w)
    psi, psi1 = w * phi, phi + w * phi1
    v2_low, v2_high = _curvature_range(lambda z: specific_volume_ml_g(z)[2], box.p_low, box.p_high, _THIRD_V)
    psi2_low, psi2_high = _curvature_range(_psi_second, box.w_low, box.w_high, _THIRD_PSI)
    phi_slope = max(apparent_specific_volume_ml_g(box.w_high)[1], apparent_specific_volume_ml_g(box.w_low)[1])
    half_p, half_w = 0.5 * dp * dp, 0.5 * dw * dw
    p_below, p_above = max(-v2_low * half_p, 0.0), max(v2_high * half_p, 0.0)
    w_below, w_above = max(-psi2_low * half_w, 0.0), max(psi2_high * half_w, 0.0)
    b_below, b_above = _parts(_LINEAR_SHARE * dw * dw)

    def split(c: tuple[float, ...]) -> tuple[float, float, float]:
        water, ethanol, solids, on_sucrose, constant, linear, quadratic = c
        liquor, syrup = water + ethanol, water + solids
        rest = solids - on_sucrose
        slope = linear - _LINEAR_SHARE * solids
        value = (
            liquor * v
            + v1 * (ethanol - p * liquor)
            + syrup * psi
            + psi1 * (solids - w * syrup)
            - rest * phi
            + _LINEAR_SHARE * w * (2.0 * solids - w * syrup)
            + slope * w
            + quadratic * w * w
            + constant
        )
        rough = (abs(rest) * phi_slope + abs(slope) + abs(quadratic) * (2.0 * w + dw)) * dw
        return (
            value,
            liquor * p_below + syrup * (w_below + b_below) + rough,
            liquor * p_above + syrup * (w_above + b_above) + rough,
        )

    value0, below0, above0 = split(problem.fixed_sums)
    columns = [split(c) for c in problem.columns]
    return Envelope(
        (value0, [c[0] for c in columns]),
        (below0, [c[1] for c in columns]),
        (above0, [c[2] for c in columns]),
        p_below + p_above,
        w_below + w_above + (phi_slope + 0.01) * dw * 0.02,
    )


def _bound(form: Form, hull: Envelope, upper: bool) -> tuple[float, list[float]]:
    """Linear upper (or lower) bound of a form over the box: constant and coefficients."""
    beta = form.volume
    if beta == 0.0:
        return form.constant, list(form.coefficients)
    error = hull.above if (beta > 0.0) is upper else hull.below
    size = abs(beta) if upper else -abs(beta)
    constant = form.constant + beta * hull.tangent[0] + size * error[0]
    return constant, [
        a + beta * t + size * e for a, t, e in zip(form.coefficients, hull.tangent[1], error[1], strict=True)
    ]


class OuterProgramme:
    """The outer linear programme of a problem on one box of states."""

    def __init__(self, problem: Problem, box: StateBox) -> None:
        self.problem = problem
        self.hull = envelope(problem, box)
        self.lines: list[list[float]] = []
        self.low: list[float] = []
        self.high: list[float] = []
        for row in problem.rows:
            self._add_row(row)
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

    def _add_row(self, row: Row) -> None:
        if row.lower > -inf:
            constant, line = _bound(row.form, self.hull, upper=True)
            self.lines.append(line)
            self.low.append(row.lower - constant)
            self.high.append(inf)
        if row.upper < inf:
            constant, line = _bound(row.form, self.hull, upper=False)
            self.lines.append(line)
            self.low.append(-inf)
            self.high.append(row.upper - constant)

    def minimise(self, cost: list[float]) -> LpResult:
        """Solve for one cost, with a generic second one against cycling."""
        tie = [1.0 + 0.618 * ((j * 0.754877) % 1.0) for j in range(len(cost))]
        return solve_lp([cost, tie], self.problem.lower, self.problem.upper, self.lines, self.low, self.high)

    def lower_bound(self, form: Form) -> tuple[float, LpResult]:
        """Lower bound of a form over the box, or inf with an empty programme, −inf with a stalled one."""
        constant, cost = _bound(form, self.hull, upper=False)
        lp = self.minimise(cost)
        if lp.status is LpStatus.INFEASIBLE:
            return inf, lp
        if lp.status is LpStatus.STALLED:
            return -inf, lp
        return constant + sum(map(mul, cost, lp.x)), lp


def _material_range(problem: Problem, top: int) -> tuple[float, float]:
    """Range of top/(water + top) over all materials: a mixture's own lies inside."""
    shares = []
    for column, upper in [*zip(problem.columns, problem.upper, strict=True), (problem.fixed_sums, 1.0)]:
        whole = column[0] + column[top]
        if upper > 0.0 and whole > 0.0:
            shares.append(column[top] / whole)
    low, high = (min(shares), max(shares)) if shares else (0.0, 0.0)
    return max(low, 0.0), high


def root_box(problem: Problem) -> StateBox:
    """All states that any amounts in the box can reach."""
    p_low, p_high = _material_range(problem, 1)
    w_low, w_high = _material_range(problem, 2)
    return StateBox(p_low, min(p_high, 1.0), min(w_low, SOLIDS_FRACTION_MAX), min(w_high, SOLIDS_FRACTION_MAX))


def _contracted(problem: Problem, box: StateBox) -> StateBox | None:
    """Shrink a box by its own rows as long as that pays; None if they leave nothing of it."""
    for _ in range(_CONTRACTIONS):
        smaller = _contracted_once(problem, box)
        if smaller is None:
            return None
        before = (box.p_high - box.p_low) * (box.w_high - box.w_low)
        after = (smaller.p_high - smaller.p_low) * (smaller.w_high - smaller.w_low)
        box = smaller
        if after > 0.5 * before:
            break
    return box


def _contracted_once(problem: Problem, box: StateBox) -> StateBox | None:
    sides = [box.p_low, box.p_high, box.w_low, box.w_high]
    for top, at in ((1, 0), (2, 2)):
        if sides[at] == sides[at + 1]:
            continue
        fixed = problem.fixed_sums[0] + problem.fixed_sums[top]
        wholes = [c[0] + c[top] for c in problem.columns]
        least = fixed + sum(map(mul, wholes, problem.lower))
        most = fixed + sum(map(mul, wholes, problem.upper))
        programme = OuterProgramme(problem, StateBox(*sides))
        middle = 0.5 * (sides[at] + sides[at + 1])
        offset = problem.fixed_sums[top] - middle * fixed
        cost = [c[top] - middle * whole for c, whole in zip(problem.columns, wholes, strict=True)]
        for sign in (1.0, -1.0):
            lp = programme.minimise([sign * c for c in cost])
            if lp.status is LpStatus.INFEASIBLE:
                return None
            if lp.status is LpStatus.STALLED or least <= 0.0:
                continue
            excess = sign * offset + sum(sign * c * x for c, x in zip(cost, lp.x, strict=True))
            shift = excess / (least if excess < 0.0 else most) - 1e-12
            if sign > 0.0:
                sides[at] = max(sides[at], middle + shift)
            else:
                sides[at + 1] = min(sides[at + 1], middle - shift)
        if sides[at] > sides[at + 1]:
            return None
    return StateBox(*sides)


@dataclass(frozen=True, slots=True)
class ProofResult:
    """What branch and bound established.

    `gap` is the share of the first aim by which an unseen point could still be better (0 when closed, inf when
    nothing is known); `hint` are amounts of a relaxed optimum that beats the incumbent, worth a local search.
    """

    closed: bool
    gap: float
    nodes: int
    hint: tuple[float, ...] | None = None


def search(
    problem: Problem, aim: Aim | None, best: float, scale: float, *, nodes: int = 400, until: float = inf
) -> ProofResult:
    """Branch and bound over the states of a problem.

    Parameters: problem; aim, the aim to bound (None: show that no point exists at all); best, the incumbent's
    value of it; scale, the size against which the gap is measured; nodes, how many boxes to look at; until,
    a `perf_counter` time [s] to stop at.
    Returns: ProofResult. With an aim of several ratios of unlike denominators no bound is attempted.
    """
    form = None if aim is None else bounding_form(aim, best)
    if aim is not None:
        if form is None:
            return ProofResult(False, inf, 0)
        better = Row("better than the incumbent", form.scaled(1.0 / scale), upper=-RELATIVE_GAP)
        problem = replace(problem, rows=(*problem.rows, better))
    open_boxes = [root_box(problem)]
    looked = 0
    while open_boxes:
        if looked >= nodes or perf_counter() > until:
            return _unfinished(problem, open_boxes, form, scale, looked)
        looked += 1
        box = _contracted(problem, open_boxes.pop())
        if box is None:
            continue
        if max(box.p_high - box.p_low, box.w_high - box.w_low) < _SMALLEST_BOX:
            return _unfinished(problem, [*open_boxes, box], form, scale, looked)
        hull = envelope(problem, box)
        open_boxes.extend(reversed(box.halves(hull.error_by_p >= hull.error_by_w)))
    return ProofResult(True, 0.0, looked)


def _unfinished(
    problem: Problem, open_boxes: list[StateBox], form: Form | None, scale: float, looked: int
) -> ProofResult:
    """The gap that the open boxes leave, and the relaxed optimum of the worst."""
    worst, hint = RELATIVE_GAP, None
    nothing = Form(0.0, (0.0,) * problem.size)
    for box in open_boxes:
        bound, lp = OuterProgramme(problem, box).lower_bound(form or nothing)
        gap = -bound / scale if form is not None else inf
        if bound < inf and gap >= worst:
            worst, hint = gap, tuple(lp.x) or None
    return ProofResult(False, worst if form is not None else inf, looked, hint)


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
