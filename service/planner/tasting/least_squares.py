"""Fits of scores against doses with a level for each taster, and intervals of ratios of their coefficients.

A taster who always scores high says nothing about doses. Each has a level of their own in the fit: with all tasters at
all doses that is the removal of each one's mean, with gaps it is the joint least-squares solution (the levels are
partialled out, which is the same).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import fsum, sqrt
from typing import Final, Literal

Group = str | None

_DEPENDENT: Final = 1e-10
_EXACT: Final = 1e-20


@dataclass(frozen=True, slots=True)
class Fit:
    """y = level of the taster + slope·u + curvature·u², u = (x − centre)/half; without curvature a straight line.

    `var_*` are variances and covariances of the coefficients; `df` the residual degrees of freedom, in which the
    tasters' levels are counted; `scatter` the standard deviation of the residuals, 0 where the scores lie on the curve;
    `levels` by taster; `level` their mean; its variance and its covariance to the slope are those of a straight line.
    """

    centre: float
    half: float
    slope: float
    curvature: float | None
    df: int
    scatter: float
    var_slope: float
    var_curvature: float
    cov: float
    levels: Mapping[Group, float]
    level: float
    var_level: float
    cov_level_slope: float
    exact: bool

    def u(self, x: float) -> float:
        """The scaled place of a dose."""
        return (x - self.centre) / self.half

    def x(self, u: float) -> float:
        """The dose at a scaled place."""
        return self.centre + self.half * u

    def at(self, x: float) -> float:
        """The score expected of the tasters' mean."""
        u = self.u(x)
        return self.level + self.slope * u + (self.curvature or 0.0) * u * u


def fit_scores(groups: Sequence[Group], x: Sequence[float], y: Sequence[float], *, curved: bool) -> Fit | None:
    """Least squares of scores on a line or parabola with a level for each taster.

    Parameters: groups, who scored, shape (n); x, dose or its logarithm, shape (n); y, score, shape (n) [points];
    curved, whether a parabola is fitted.
    Returns: Fit; None where the tasters' doses do not determine the coefficients.
    Source: ordinary least squares; partialling out the levels by the theorem of Frisch, Waugh and Lovell.

    Example: five doses scored once (computed).

    >>> fit = fit_scores([None] * 5, [0, 10, 20, 30, 40], [4.0, 5.6, 6.6, 6.4, 5.2], curved=True)
    >>> fit.df, round(fit.scatter, 3)
    (2, 0.112)
    """
    n, low, high = len(x), min(x), max(x)
    centre, half = 0.5 * (low + high), 0.5 * (high - low)
    if half <= 0.0:
        return None
    u = [(value - centre) / half for value in x]
    members = {group: [k for k in range(n) if groups[k] == group] for group in dict.fromkeys(groups)}
    u_of, y_of = _means(u, members), _means(y, members)
    du = [u[k] - u_of[groups[k]] for k in range(n)]
    dy = [y[k] - y_of[groups[k]] for k in range(n)]
    s_uu, s_uy = fsum(a * a for a in du), fsum(a * b for a, b in zip(du, dy, strict=True))
    if s_uu <= _DEPENDENT * n:
        return None
    curvature: float | None = None
    ratio = s_rr = 0.0
    v_of: Mapping[Group, float] = dict.fromkeys(members, 0.0)
    slope = s_uy / s_uu
    if curved:
        v = [a * a for a in u]
        v_of = _means(v, members)
        dv = [v[k] - v_of[groups[k]] for k in range(n)]
        ratio = fsum(a * b for a, b in zip(du, dv, strict=True)) / s_uu
        rest = [b - ratio * a for a, b in zip(du, dv, strict=True)]
        s_rr = fsum(a * a for a in rest)
        if s_rr <= _DEPENDENT * n:
            return None
        curvature = fsum(a * b for a, b in zip(rest, dy, strict=True)) / s_rr
        slope -= curvature * ratio
    bend = curvature or 0.0
    levels = {g: y_of[g] - slope * u_of[g] - bend * v_of[g] for g in members}
    residuals = [y[k] - levels[groups[k]] - slope * u[k] - bend * u[k] ** 2 for k in range(n)]
    df = n - len(members) - (2 if curved else 1)
    squares = fsum(r * r for r in residuals)
    exact = squares <= _EXACT * n * max(1.0, max(abs(value) for value in y)) ** 2
    variance = 0.0 if df <= 0 or exact else squares / df
    count = len(members)
    mean_u = fsum(u_of.values()) / count
    var_curvature = variance / s_rr if curved else 0.0
    return Fit(
        centre=centre,
        half=half,
        slope=slope,
        curvature=curvature,
        df=df,
        scatter=sqrt(variance),
        var_slope=variance / s_uu + ratio * ratio * var_curvature,
        var_curvature=var_curvature,
        cov=-ratio * var_curvature,
        levels=levels,
        level=fsum(levels.values()) / count,
        var_level=variance * (fsum(1.0 / len(m) for m in members.values()) / count**2 + mean_u**2 / s_uu),
        cov_level_slope=-variance * mean_u / s_uu,
        exact=exact,
    )


def _means(values: Sequence[float], members: Mapping[Group, Sequence[int]]) -> dict[Group, float]:
    return {group: fsum(values[k] for k in places) / len(places) for group, places in members.items()}


@dataclass(frozen=True, slots=True)
class Ratio:
    """The set of θ = a/b that the data do not exclude: between two ends, everything outside them, or everything."""

    shape: Literal["between", "outside", "everything"]
    low: float = 0.0
    high: float = 0.0


def fieller(a: float, b: float, var_a: float, cov: float, var_b: float, t: float) -> Ratio:
    """The confidence set of the ratio of two estimates.

    {θ : (a − θ·b)² ≤ t²·(Var a − 2θ·Cov + θ²·Var b)}

    Parameters: a and b, estimates; var_a, cov, var_b, their variances and covariance; t, quantile.
    Returns: Ratio; "between" exactly where b differs from zero at the level of t.
    Validity: a and b jointly normal, their variances up to a common factor with the degrees of freedom of t.
    Source: Fieller (1954), from memory, unverified.

    Example: without error there is one ratio.

    >>> fieller(6.0, 3.0, 0.0, 0.0, 0.0, 2.0)
    Ratio(shape='between', low=2.0, high=2.0)
    """
    t2 = t * t
    qa, qb, qc = b * b - t2 * var_b, a * b - t2 * cov, a * a - t2 * var_a
    below = qb * qb - qa * qc
    if qa > 0.0:
        root = sqrt(max(0.0, below))
        far = qb + (root if qb >= 0.0 else -root)  # the end without cancellation; the other by the product of both
        if far == 0.0:
            return Ratio("between", 0.0, 0.0)
        first, second = far / qa, qc / far
        return Ratio("between", min(first, second), max(first, second))
    if qa < 0.0 and below > 0.0:
        root = sqrt(below)
        return Ratio("outside", *sorted(((qb + root) / qa, (qb - root) / qa)))
    return Ratio("everything")


def quantile_t(df: int, confidence: float = 0.95) -> float:
    """Two-sided quantile of Student's t.

    Parameters: df, degrees of freedom; confidence [-].
    Returns: t [-].

    Example: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2: 4.303 for 2 degrees of freedom, 97.5 %.

    >>> round(quantile_t(2), 3)
    4.303
    """
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.5 + 0.5 * confidence))
