"""Difference tests by the exact binomial: chances, critical counts, power, panels, and how many really tell apart.

Triangle (ISO 4120), paired comparison or 2-AFC (ISO 5495) and duo-trio (ISO 10399) are one question: how often do n
answers hold k right ones if all were guessed with p0 = 1/3, 1/2 and 1/2? Everything here is computed, no table is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import inf, sqrt
from typing import Final

from service.errors import OutOfRangeError
from service.planner.tasting.asked import Kind, Sides

GUESS: Final[Mapping[Kind, float]] = {"triangle": 1.0 / 3.0, "two_afc": 0.5, "duo_trio": 0.5}
"""Chance p0 of a right answer by guessing."""

STANDARD: Final[Mapping[Kind, str]] = {"triangle": "iso_4120", "two_afc": "iso_5495", "duo_trio": "iso_10399"}
"""Key of the bibliography for each kind of test."""

MOST_ANSWERS: Final = 10_000
"""Most answers that are judged or planned for (our default)."""

MOST_D_PRIME: Final = 10.0
"""Beyond it every test is answered right by everyone."""

_TIE: Final = 1e-12
_SCANNED: Final = 13_000


def chance_of_at_least(k: int, n: int, p: float) -> float:
    """Chance of k or more right answers among n.

    P(X ≥ k) = Σ_{i=k}^{n} C(n, i) pⁱ (1 − p)ⁿ⁻ⁱ

    Parameters: k and n, whole numbers; p, chance of one right answer [-].
    Returns: probability [-].

    Example: five right of five triangles by guessing, 3⁻⁵.

    >>> round(chance_of_at_least(5, 5, 1 / 3) * 3**5, 9)
    1.0
    """
    from scipy.special import bdtrc

    return 1.0 if k <= 0 else 0.0 if k > n else float(bdtrc(k - 1, n, p))


def p_value(kind: Kind, n: int, correct: int, sides: Sides = "one") -> float:
    """Chance of so many right answers, or more, if everyone guessed; two-sided counts both directions.

    Parameters: kind; n, answers; correct, right ones (two-sided: those for one of the samples); sides.
    Returns: p [-].
    Validity: independent answers. Two-sided only for 2-AFC, whose p0 of 1/2 is symmetric.
    Source: ISO 4120:2007, ISO 5495:2005 (scopes), ISO 10399 (from memory); exact binomial.

    Example: nine of ten pairs, (10 + 1)/1024.

    >>> round(p_value("two_afc", 10, 9) * 1024, 6)
    11.0
    """
    if sides == "two":
        return min(1.0, 2.0 * chance_of_at_least(max(correct, n - correct), n, 0.5))
    return chance_of_at_least(correct, n, GUESS[kind])


def critical_count(kind: Kind, n: int, alpha: float, sides: Sides = "one") -> int | None:
    """The least number of right answers that is significant.

    smallest k with P(X ≥ k | n, p0) ≤ α, or 2·P(X ≥ k | n, 1/2) ≤ α two-sided

    Parameters: kind; n, answers; alpha [-]; sides.
    Returns: k; None where not even n right answers would be.
    Source: exact binomial; it reproduces the triangle table of FAO Fisheries Technical Paper 348, Appendix A.

    Example: 5 of 7 triangles at 5 % (FAO Fisheries Technical Paper 348, Appendix A).

    >>> critical_count("triangle", 7, 0.05), critical_count("two_afc", 5, 0.05, "two")
    (5, None)
    """
    low, high = 0, n + 1  # the count lies in (low, high]; n + 1 stands for none
    while high - low > 1:
        middle = (low + high) // 2
        if _significant(kind, n, middle, alpha, sides):
            high = middle
        else:
            low = middle
    return high if high <= n else None


def _significant(kind: Kind, n: int, k: int, alpha: float, sides: Sides) -> bool:
    times = 2.0 if sides == "two" else 1.0
    return times * chance_of_at_least(k, n, GUESS[kind]) <= alpha * (1.0 + _TIE)


def power(kind: Kind, n: int, alpha: float, p_right: float, sides: Sides = "one") -> float:
    """Chance that a panel finds a difference that is there.

    1 − β = P(X ≥ k_critical | n, p_right), two-sided plus P(X ≤ n − k_critical)

    Parameters: kind; n, answers; alpha [-]; p_right, chance of a right answer with the difference [-]; sides.
    Returns: power [-], 0 where nothing could be significant.
    Source: exact binomial.

    Example: six triangles where half truly tell the samples apart: 35 % (computed).

    >>> round(power("triangle", 6, 0.05, right_from_discriminators("triangle", 0.5)), 2)
    0.35
    """
    return _power_with(critical_count(kind, n, alpha, sides), n, p_right, sides)


def _power_with(critical: int | None, n: int, p_right: float, sides: Sides) -> float:
    if critical is None:
        return 0.0
    found = chance_of_at_least(critical, n, p_right)
    return found + chance_of_at_least(critical, n, 1.0 - p_right) if sides == "two" else found


def panel_sizes(
    kind: Kind, alpha: float, p_right: float, power_wanted: float, sides: Sides = "one"
) -> tuple[int | None, int | None]:
    """How many answers a wanted power takes: the first number that reaches it, and that from which all larger do.

    Power saws with n, because the critical count jumps: a panel of one more can see less.

    Parameters: kind; alpha [-]; p_right, chance of a right answer with the difference [-]; power_wanted [-]; sides.
    Returns: both numbers; None for what lies beyond 10,000.
    Source: exact binomial.

    Example: d′ = 1 at 80 %, by pairs and by triangles (computed).

    >>> panel_sizes("two_afc", 0.05, right_from_d_prime("two_afc", 1.0), 0.8)
    (23, 26)
    >>> panel_sizes("triangle", 0.05, right_from_d_prime("triangle", 1.0), 0.8)
    (202, 220)
    """
    first: int | None = None
    fails, critical = 0, 1
    for n in range(1, _SCANNED + 1):
        while critical <= n and not _significant(kind, n, critical, alpha, sides):
            critical += 1
        if _power_with(critical if critical <= n else None, n, p_right, sides) < power_wanted:
            fails = n
        elif first is None:
            first = n
        # the teeth of the saw get ever smaller: past a fifth more than the last failure none reaches down again
        if first is not None and n >= fails + fails // 5 + 50:
            break
        if first is None and n > MOST_ANSWERS:
            return None, None
    if first is None or first > MOST_ANSWERS:
        return None, None
    return first, fails + 1 if fails < MOST_ANSWERS else None


def right_from_discriminators(kind: Kind, share: float) -> float:
    """Chance of a right answer where a share of people truly tell the samples apart and the rest guess.

    pc = p0 + (1 − p0)·pd

    Parameters: kind; share pd [-], 0 to 1.
    Returns: pc [-].
    Source: Abbott (1925), from memory, unverified.

    >>> round(right_from_discriminators("triangle", 0.5), 4)
    0.6667
    """
    return GUESS[kind] + (1.0 - GUESS[kind]) * share


def discriminators_from_right(kind: Kind, p_right: float) -> float:
    """Share of people who truly tell the samples apart, the inverse of `right_from_discriminators`; never below 0.

    >>> round(discriminators_from_right("two_afc", 0.75), 4)
    0.5
    """
    return max(0.0, (p_right - GUESS[kind]) / (1.0 - GUESS[kind]))


def bounds_of_share(n: int, correct: int, confidence: float) -> tuple[float, float]:
    """One-sided exact bounds of the chance of a right answer.

    lower: B(1 − c; k, n − k + 1), upper: B(c; k + 1, n − k), quantiles of the beta distribution

    Parameters: n, answers; correct, right ones; confidence c of each bound [-].
    Returns: lower and upper bound [-].
    Source: Clopper and Pearson (1934), from memory, unverified.

    Example: none of ten right, upper bound 1 − 0.05^(1/10).

    >>> round(bounds_of_share(10, 0, 0.95)[1], 4), round(1 - 0.05**0.1, 4)
    (0.2589, 0.2589)
    """
    from scipy.special import betaincinv

    low = 0.0 if correct == 0 else float(betaincinv(correct, n - correct + 1, 1.0 - confidence))
    high = 1.0 if correct == n else float(betaincinv(correct + 1, n - correct, confidence))
    return low, high


def right_from_d_prime(kind: Kind, d_prime: float) -> float:
    """Chance of a right answer for a distance d′ between two samples, in standard deviations of what is perceived.

    2-AFC: pc = Φ(d/√2)
    duo-trio: pc = 1 − Φ(d/√2) − Φ(d/√6) + 2·Φ(d/√2)·Φ(d/√6)
    triangle: pc = 2·∫₀^∞ [Φ(−z√3 + d√(2/3)) + Φ(−z√3 − d√(2/3))]·φ(z) dz

    Parameters: kind; d_prime [-], 0 to 10.
    Returns: pc [-].
    Raises: OutOfRangeError outside 0 to 10.
    Validity: equal variances, independent tasters who do not tire.
    Source: Thurstonian formulas as in Ennis (1993), from memory, unverified.

    Example: d′ 0.954 is one just-noticeable difference: 0.75 right in pairs, 0.41 in triangles (computed).

    >>> [round(right_from_d_prime(kind, 0.954), 2) for kind in ("two_afc", "triangle")]
    [0.75, 0.41]
    """
    if not 0.0 <= d_prime <= MOST_D_PRIME:
        raise OutOfRangeError(f"d′ lies between 0 and {MOST_D_PRIME:g}, not at {d_prime:g}.", "/d_prime")
    from scipy.special import ncfdtr, ndtr

    if kind == "triangle":  # the integral is the upper tail of a non-central F with 1 and 1 degrees of freedom
        return 1.0 - float(ncfdtr(1.0, 1.0, 2.0 * d_prime**2 / 3.0, 3.0))
    by_pair = float(ndtr(d_prime / sqrt(2.0)))
    if kind == "two_afc":
        return by_pair
    by_three = float(ndtr(d_prime / sqrt(6.0)))
    return 1.0 - by_pair - by_three + 2.0 * by_pair * by_three


def d_prime_from_right(kind: Kind, p_right: float) -> float:
    """The distance d′ at which so many answers are right, the inverse of `right_from_d_prime`.

    Parameters: kind; p_right [-].
    Returns: d′ [-]; 0 at or below guessing, infinite where no d′ up to 10 explains it.
    Source: as `right_from_d_prime`.

    >>> round(d_prime_from_right("triangle", right_from_d_prime("triangle", 1.5)), 6)
    1.5
    """
    if p_right <= GUESS[kind]:
        return 0.0
    low, high = 0.0, MOST_D_PRIME
    if p_right >= right_from_d_prime(kind, high):
        return inf
    for _ in range(60):
        middle = 0.5 * (low + high)
        if right_from_d_prime(kind, middle) < p_right:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
