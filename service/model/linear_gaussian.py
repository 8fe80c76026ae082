"""What readings say about unknowns, where both are normal and the readings linear in the unknowns.

A reading y = h·z + e with the variance r of e moves the mean m and the covariance P of z by

    s = h·P h + r,  g = P h,  m + g (y − h·m)/s,  P − g gᵀ/s

one reading after the other, in any order. Problems are small and dense: plain lists.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import erfc, exp, gamma, log, pi, sqrt
from operator import mul

Vector = tuple[float, ...]
Matrix = tuple[Vector, ...]

_NOTHING_LEFT = 1e-12
"""A variance below this share of the largest is dust of the arithmetic."""

_INSIDE = 1e-12


@dataclass(frozen=True, slots=True)
class Normal:
    """A joint normal law: mean, shape (K,), and covariance, shape (K, K)."""

    mean: Vector
    covariance: Matrix

    def sd(self, k: int) -> float:
        """Standard deviation of one unknown."""
        return sqrt(max(self.covariance[k][k], 0.0))


@dataclass(frozen=True, slots=True)
class LinearReading:
    """A reading `value` of slopes·z, shape (K,), with the variance of its own error."""

    slopes: Vector
    value: float
    variance: float


@dataclass(frozen=True, slots=True)
class Conditioned:
    """A law after some readings; `chi_square` of what was read against what was expected of it."""

    after: Normal
    chi_square: float


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    total: float = sum(map(mul, a, b))
    return total


def independent(means: Sequence[float], sds: Sequence[float]) -> Normal:
    """The law of independent unknowns."""
    size = len(means)
    rows = (tuple([sd * sd if j == k else 0.0 for j in range(size)]) for k, sd in enumerate(sds))
    return Normal(tuple(means), tuple(rows))


def conditioned(before: Normal, readings: Sequence[LinearReading]) -> Conditioned:
    """The law of the unknowns once the readings are known.

    Parameters: before; readings, each with a variance above nought or unknowns that move it.
    Returns: Conditioned. No variance grows, and the order of the readings does not matter but for rounding.
    Source: conditional law of a joint normal law, one reading at a time; A. Gelb (ed.), Applied Optimal Estimation
    (1974), section 4.2 (from memory); checked against the matrix formula.

    Example: two equally good figures of one length meet in the middle, √½ as wide.

    >>> one = conditioned(independent([0.0], [1.0]), [LinearReading((1.0,), 1.0, 1.0)])
    >>> one.after.mean, round(one.after.sd(0), 4), one.chi_square
    ((0.5,), 0.7071, 0.5)
    """
    mean = list(before.mean)
    covariance = [list(row) for row in before.covariance]
    chi_square = 0.0
    for reading in readings:
        gain = [_dot(row, reading.slopes) for row in covariance]
        spread = _dot(gain, reading.slopes) + reading.variance
        miss = reading.value - _dot(mean, reading.slopes)
        chi_square += miss * miss / spread
        for k, g in enumerate(gain):
            if g == 0.0:
                continue
            share = g / spread
            mean[k] += share * miss
            row = covariance[k]
            for j, other in enumerate(gain):
                row[j] -= share * other
    return Conditioned(Normal(tuple(mean), tuple(tuple(row) for row in covariance)), chi_square)


def within(law: Normal, low: Sequence[float], high: Sequence[float]) -> tuple[Vector, tuple[int, ...]]:
    """The mean of a law whose unknowns have limits: what lies outside goes to its limit, and takes the others along.

    The unknown furthest outside, in its own standard deviations, is held at its limit and the rest conditioned on that,
    until none is outside.

    Parameters: law; low and high, shape (K,), which may be infinite.
    Returns: the mean, and the unknowns that are held.
    Source: projection of an estimate on its constraints: D. Simon, IET Control Theory & Applications 4 (2010) 1303
    (from memory). The covariance is left as it is.

    >>> within(Normal((2.0, 1.0), ((1.0, 0.5), (0.5, 1.0))), (-9.0, -9.0), (1.0, 9.0))
    ((1.0, 0.5), (0,))
    """
    mean = list(law.mean)
    covariance = [list(row) for row in law.covariance]
    held: dict[int, float] = {}
    while True:
        worst, furthest = -1, _INSIDE
        for k, value in enumerate(mean):
            sd = sqrt(max(law.covariance[k][k], 0.0))
            if k in held or sd == 0.0:
                continue
            outside = max(low[k] - value, value - high[k]) / sd
            if outside > furthest:
                worst, furthest = k, outside
        if worst < 0:
            return tuple([held.get(k, m) for k, m in enumerate(mean)]), tuple(sorted(held))
        limit = low[worst] if mean[worst] < low[worst] else high[worst]
        column = [row[worst] for row in covariance]
        variance = column[worst]
        if variance > _NOTHING_LEFT * law.covariance[worst][worst]:
            share = (limit - mean[worst]) / variance
            mean = [m + share * c for m, c in zip(mean, column, strict=True)]
            for row, c in zip(covariance, column, strict=True):
                for j, other in enumerate(column):
                    row[j] -= c * other / variance
        held[worst] = limit


@dataclass(frozen=True, slots=True)
class Column:
    """What one independent unit normal variable adds to all unknowns: shape (K,); `of` is the unknown it stands for."""

    of: int
    shifts: Vector


def columns_of(covariance: Sequence[Sequence[float]]) -> tuple[Column, ...]:
    """Independent unit normal variables with which unknowns of this covariance can be written: P = Σ c cᵀ.

    Parameters: covariance, shape (K, K), symmetric and not negative.
    Returns: columns, each of the unknown whose own rest it is; unknowns without one are left out.
    Source: Cholesky's factor without its empty columns.

    >>> [(c.of, c.shifts) for c in columns_of(((4.0, 2.0), (2.0, 1.0)))]
    [(0, (2.0, 1.0))]
    """
    rest = [list(row) for row in covariance]
    size = len(rest)
    found = []
    for k in range(size):
        pivot = rest[k][k]
        if pivot <= _NOTHING_LEFT * covariance[k][k] or pivot <= 0.0:
            continue
        root = sqrt(pivot)
        shifts = [0.0] * k + [rest[j][k] / root for j in range(k, size)]
        found.append(Column(k, tuple(shifts)))
        for i in range(k, size):
            if shifts[i]:
                row, factor = rest[i], shifts[i]
                for j in range(k, size):
                    row[j] -= factor * shifts[j]
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Fit:
    """How well misses fit their covariance, and what of them each reading answers for."""

    chi_square: float
    log_density: float
    weighted: Vector
    """The inverse covariance times the misses."""


def fit_of(misses: Sequence[float], covariance: Sequence[Sequence[float]]) -> Fit:
    """Density of some misses under a normal law about nought, with what leads to it.

    Parameters: misses, shape (m,); covariance, shape (m, m), positive.
    Returns: Fit.
    Source: normal density by Cholesky's factor; checked against scipy.stats.multivariate_normal.

    >>> round(fit_of([0.0], [[1.0]]).log_density, 4)  # −½ ln 2π
    -0.9189
    """
    size = len(misses)
    lower: list[list[float]] = []
    for i in range(size):
        row: list[float] = []
        for j in range(i):
            row.append((covariance[i][j] - _dot(row, lower[j])) / lower[j][j])
        row.append(sqrt(max(covariance[i][i] - _dot(row, row), _NOTHING_LEFT * covariance[i][i])))
        lower.append(row)
    forward: list[float] = []
    for i in range(size):
        forward.append((misses[i] - _dot(lower[i], forward)) / lower[i][i])
    weighted = [0.0] * size
    for i in reversed(range(size)):
        below = sum(lower[k][i] * weighted[k] for k in range(i + 1, size))
        weighted[i] = (forward[i] - below) / lower[i][i]
    chi_square = _dot(forward, forward)
    log_root = sum(log(lower[i][i]) for i in range(size))
    return Fit(chi_square, -0.5 * chi_square - log_root - 0.5 * size * log(2.0 * pi), tuple(weighted))


def chance_of_more(chi_square: float, degrees: int) -> float:
    """The chance that a chi-square variable exceeds a value.

    x = χ²/2,  Q = e^{−x} Σ_{i<n} x^i/i!  (2n degrees),  Q = erfc √x + e^{−x} Σ_{i<n} x^{i+½}/Γ(i + 3/2)  (2n + 1)

    Parameters: chi_square, scalar [-]; degrees of freedom, 1 or more.
    Returns: the chance [-].
    Source: M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), 26.4.4 and 26.4.5 (from memory);
    checked against scipy.stats.chi2.

    Example: 3.841 is exceeded by one in twenty with one degree of freedom (common tables).

    >>> round(chance_of_more(3.841, 1), 4)
    0.05
    """
    x = 0.5 * max(chi_square, 0.0)
    n, odd = divmod(degrees, 2)
    start = 1.5 if odd else 1.0
    terms = sum(x ** (i + start - 1.0) / gamma(i + start) for i in range(n)) if x < _CERTAIN else 0.0
    return min(1.0, (erfc(sqrt(x)) if odd else 0.0) + exp(-x) * terms)


_CERTAIN = 700.0
"""Beyond this e^{−x} is no longer a number of its own."""
