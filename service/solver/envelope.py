"""Linear bounds of the volume on a box of states.

Only two scalars carry the non-linearity of the volume: p = ethanol/(water + ethanol) and
w = solids/(solids + water). On a box of (p, w) the volume therefore lies between two *linear* functions of the
amounts. With L = water + ethanol, Q = water + solids, ψ(w) = w φ_s(w) and on_sucrose = solids − T' and
linear = b̄·solids + P':

    V = L v(p) + Q ψ(w) − T' φ_s(w) + b̄ Q w² + P' w + quadratic·w² + constant

Each term in p or w alone is its tangent at the middle of the box plus a remainder of second order, bounded by the
extreme curvature on the box; the small signed rests T', P' and `quadratic` are bounded to first order.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from service.physics.ethanol_water import specific_volume_ml_g
from service.physics.mixture import SOLIDS_FRACTION_MAX
from service.physics.solutes import FRUCTOSE_LAW, GLUCOSE_LAW
from service.physics.sucrose import apparent_specific_volume_ml_g
from service.solver.problem import Form, Problem

# Largest |v'''(p)| on 0…1 and |ψ'''(w)| on 0…0.9, from the formulas on grids of 20,000 points: 23.83 and 0.291.
_THIRD_V = 24.0
_THIRD_PSI = 0.30
_HALVINGS = 10
_CELLS = 8
"""No more cells of the curvature's table than these and one cover an interval, and no fewer than half of them where it
is longer than eight of the smallest."""

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


class _Curvature:
    """A second derivative from nought to an end: its rigorous ranges on cells, halved again and again."""

    def __init__(self, second: Callable[[float], float], end: float, third: float) -> None:
        """`third` bounds the third derivative, which is all that can happen between two points of a grid."""
        count = 2**_HALVINGS
        self.end, slack = end, 0.5 * third * end / count
        values = [second(end * k / count) for k in range(count + 1)]
        lows = [min(pair) - slack for pair in pairwise(values)]
        highs = [max(pair) + slack for pair in pairwise(values)]
        self.levels = [(lows, highs)]
        while len(lows) > 1:
            lows = [min(pair) for pair in zip(lows[::2], lows[1::2], strict=True)]
            highs = [max(pair) for pair in zip(highs[::2], highs[1::2], strict=True)]
            self.levels.append((lows, highs))

    def range(self, low: float, high: float) -> tuple[float, float]:
        """Rigorous range on an interval."""
        wide = (high - low) / self.end * 2**_HALVINGS / _CELLS
        lows, highs = self.levels[min(max(int(wide), 0).bit_length(), _HALVINGS)]
        last = len(lows) - 1
        first, beyond = min(int(low / self.end * len(lows)), last), min(int(high / self.end * len(lows)), last) + 1
        return min(lows[first:beyond]), max(highs[first:beyond])


@cache
def _curvatures() -> tuple[_Curvature, _Curvature]:
    """Those of v(p) and of ψ(w)."""
    return (
        _Curvature(lambda p: specific_volume_ml_g(p)[2], 1.0, _THIRD_V),
        _Curvature(_psi_second, SOLIDS_FRACTION_MAX, _THIRD_PSI),
    )


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
    of_v, of_psi = _curvatures()
    v2_low, v2_high = of_v.range(box.p_low, box.p_high)
    psi2_low, psi2_high = of_psi.range(box.w_low, box.w_high)
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


def linear_bound(form: Form, hull: Envelope, upper: bool) -> tuple[float, list[float]]:
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
