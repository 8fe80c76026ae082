"""What readings say about independent unknowns, where all are normal and the readings linear in the unknowns.

Readings y = H z + e of unknowns with the means m and the diagonal covariance D, e with the diagonal covariance R, move

    S = H D Hᵀ + R,  mean m + D Hᵀ S⁻¹ (y − H m),  covariance D − D Hᵀ S⁻¹ H D

There are few readings and may be hundreds of unknowns: nothing as large as a covariance is written down unless asked
for. Plain lists.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from math import erfc, exp, gamma, log, pi, sqrt
from operator import mul

Vector = tuple[float, ...]
Matrix = tuple[Vector, ...]

_NOTHING_LEFT = 1e-12
"""A variance below this share of the largest is dust of the arithmetic."""

_INSIDE = 1e-12


@dataclass(frozen=True, slots=True)
class LinearReading:
    """A reading `value` of slopes·z, shape (K,), with the variance of its own error."""

    slopes: Vector
    value: float
    variance: float


@dataclass(frozen=True, slots=True)
class Independent:
    """The normal law of independent unknowns: means and standard deviations, shape (K,)."""

    mean: Vector
    sds: Vector

    def sd(self, k: int) -> float:
        """Standard deviation of one unknown."""
        return self.sds[k]

    @property
    def covariance(self) -> Matrix:
        """Its covariance, shape (K, K)."""
        size = len(self.sds)
        return tuple(tuple([sd * sd if j == k else 0.0 for j in range(size)]) for k, sd in enumerate(self.sds))


@dataclass(frozen=True, slots=True)
class Fit:
    """How well misses fit their covariance, and what of them each reading answers for."""

    chi_square: float
    log_density: float
    weighted: Vector
    """The inverse covariance times the misses."""


@dataclass(frozen=True)
class Narrowed:
    """A law of independent unknowns once some readings are known: its `mean`, and how well the readings `fit`.

    Its covariance is written with a square root A = D^½ (I − γ₁ p₁ p₁ᵀ)(I − γ₂ p₂ p₂ᵀ)…, one factor for each reading;
    column k of A is what an independent variable of unit spread that stands for unknown k adds to all of them.

    Source of the root: J. E. Potter's update, in G. J. Bierman, Factorization Methods for Discrete Sequential
    Estimation (1977), chapter II (from memory); checked against the matrix formula.
    """

    mean: Vector
    before: Independent
    readings: tuple[LinearReading, ...]
    fit: Fit

    @cached_property
    def _factors(self) -> tuple[tuple[float, Vector], ...]:
        found: list[tuple[float, Vector]] = []
        for reading in self.readings:
            p = self._through(found, [h * sd for h, sd in zip(reading.slopes, self.before.sds, strict=True)])
            spread = _dot(p, p) + reading.variance
            if spread > 0.0:
                found.append((1.0 / (spread + sqrt(reading.variance * spread)), tuple(p)))
        return tuple(found)

    @staticmethod
    def _through(factors: Sequence[tuple[float, Vector]], row: list[float]) -> list[float]:
        for gain, p in factors:
            share = gain * _dot(row, p)
            if share:
                row = [a - share * b for a, b in zip(row, p, strict=True)]
        return row

    def shared(self, row: Sequence[float]) -> list[float]:
        """What row·z owes to each independent variable: rowᵀ A, shape (K,). Covariances are products of such rows."""
        return self._through(self._factors, [a * sd for a, sd in zip(row, self.before.sds, strict=True)])

    def _shared_of(self, k: int) -> list[float]:
        row = [0.0] * len(self.before.sds)
        row[k] = self.before.sds[k]
        return self._through(self._factors, row)

    @cached_property
    def sds(self) -> Vector:
        """Standard deviations, shape (K,)."""
        _, lower, scaled = _spread(self.before, self.readings)
        if not scaled:
            return self.before.sds
        left = (1.0 - _dot(x, x) for x in (_forward(lower, column) for column in zip(*scaled, strict=True)))
        return tuple([sd * sqrt(max(share, 0.0)) for sd, share in zip(self.before.sds, left, strict=True)])

    def sd(self, k: int) -> float:
        """Standard deviation of one unknown."""
        return self.sds[k]

    @cached_property
    def covariance(self) -> Matrix:
        """The whole covariance, shape (K, K)."""
        rows = [self._shared_of(k) for k in range(len(self.before.sds))]
        return tuple(tuple([_dot(a, b) for b in rows]) for a in rows)


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    total: float = sum(map(mul, a, b))
    return total


def _spread(
    before: Independent, readings: Sequence[LinearReading]
) -> tuple[list[list[float]], list[list[float]], list[list[float]]]:
    """What readings scatter by, H D Hᵀ + R; its Cholesky factor; and their slopes times the standard deviations."""
    scaled = [[h * sd for h, sd in zip(r.slopes, before.sds, strict=True)] for r in readings]
    spread = [[0.0] * len(readings) for _ in readings]
    for i, reading in enumerate(readings):
        for j in range(i + 1):
            spread[i][j] = spread[j][i] = _dot(scaled[i], scaled[j])
        spread[i][i] += reading.variance
    return spread, _cholesky(spread), scaled


def _fitted(before: Independent, readings: Sequence[LinearReading]) -> tuple[Vector, Fit]:
    """The mean once readings are known, and how they fit."""
    spread, _, scaled = _spread(before, readings)
    fit = fit_of([r.value - _dot(r.slopes, before.mean) for r in readings], spread)
    if not readings:
        return before.mean, fit
    columns = zip(*scaled, strict=True)
    mean = [m + sd * _dot(c, fit.weighted) for m, sd, c in zip(before.mean, before.sds, columns, strict=True)]
    return tuple(mean), fit


def narrowed(before: Independent, readings: Sequence[LinearReading]) -> Narrowed:
    """The law of independent unknowns once the readings are known.

    Parameters: before; readings, each with a variance above nought or unknowns that move it.
    Returns: Narrowed. No variance grows, and the order of the readings does not matter but for rounding.
    Source: conditional law of a joint normal law; A. Gelb (ed.), Applied Optimal Estimation (1974), section 4.2 (from
    memory); checked against the matrix formula.

    Example: two equally good figures of one length meet in the middle, √½ as wide.

    >>> one = narrowed(Independent((0.0,), (1.0,)), [LinearReading((1.0,), 1.0, 1.0)])
    >>> round(one.mean[0], 9), round(one.sd(0), 4), round(one.fit.chi_square, 9)
    (0.5, 0.7071, 0.5)
    """
    mean, fit = _fitted(before, readings)
    return Narrowed(mean, before, tuple(readings), fit)


def mean_within(law: Narrowed, low: Sequence[float], high: Sequence[float]) -> tuple[Vector, tuple[int, ...]]:
    """The mean of a law whose unknowns have limits: what lies outside goes to its limit, and takes the others along.

    The unknown furthest outside, in its own standard deviations, is held at its limit and the rest conditioned on that,
    until none is outside.

    Parameters: law; low and high, shape (K,), which may be infinite.
    Returns: the mean, and the unknowns that are held.
    Source: projection of an estimate on its constraints: D. Simon, IET Control Theory & Applications 4 (2010) 1303
    (from memory). The covariance is left as it is.

    >>> wide = narrowed(Independent((0.0, 0.0), (1.0, 1.0)), [LinearReading((1.0, 1.0), 3.0, 1.0)])
    >>> mean, held = mean_within(wide, (-9.0, -9.0), (0.5, 9.0))
    >>> [round(m, 6) for m in mean], held
    ([0.5, 1.25], (0,))
    """
    mean = list(law.mean)
    size = len(mean)
    held: dict[int, float] = {}
    readings = list(law.readings)
    while True:
        worst, furthest = -1, _INSIDE
        for k, value in enumerate(mean):
            if k in held or low[k] <= value <= high[k] or law.before.sds[k] == 0.0 or law.sd(k) == 0.0:
                continue
            outside = max(low[k] - value, value - high[k]) / law.sd(k)
            if outside > furthest:
                worst, furthest = k, outside
        if worst < 0:
            return tuple([held.get(k, m) for k, m in enumerate(mean)]), tuple(sorted(held))
        limit = low[worst] if mean[worst] < low[worst] else high[worst]
        exact = LinearReading(tuple([1.0 if k == worst else 0.0 for k in range(size)]), limit, 0.0)
        left = Narrowed(law.mean, law.before, tuple(readings), law.fit)._shared_of(worst)
        if _dot(left, left) > _NOTHING_LEFT * law.sd(worst) ** 2:
            readings.append(exact)
            mean = list(_fitted(law.before, readings)[0])
        held[worst] = limit


def _cholesky(covariance: Sequence[Sequence[float]]) -> list[list[float]]:
    lower: list[list[float]] = []
    for i, known in enumerate(covariance):
        row: list[float] = []
        for j in range(i):
            row.append((known[j] - _dot(row, lower[j])) / lower[j][j])
        row.append(sqrt(max(known[i] - _dot(row, row), _NOTHING_LEFT * known[i])))
        lower.append(row)
    return lower


def _forward(lower: Sequence[Sequence[float]], values: Sequence[float]) -> list[float]:
    found: list[float] = []
    for row, value in zip(lower, values, strict=True):
        found.append((value - _dot(row, found)) / row[-1])
    return found


def fit_of(misses: Sequence[float], covariance: Sequence[Sequence[float]]) -> Fit:
    """Density of some misses under a normal law about nought, with what leads to it.

    Parameters: misses, shape (m,); covariance, shape (m, m), positive.
    Returns: Fit.
    Source: normal density by Cholesky's factor; checked against scipy.stats.multivariate_normal.

    >>> round(fit_of([0.0], [[1.0]]).log_density, 4)  # −½ ln 2π
    -0.9189
    """
    size = len(misses)
    lower = _cholesky(covariance)
    forward = _forward(lower, misses)
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
