"""What is not known about a portion, as independent shifts of its contents.

An unknown is a normal variable of unit standard deviation about `centre`, cut off at `low` and `high`, whose value 0
stands for the figures that a plan is made with. Its `shift` is what a unit of it adds to the contents. A cut-off is a
physical limit (no less than no sugar) or the plausible limit of a lot in the table; where the centre is not 0 the most
likely value lies at a limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import repeat
from math import erf, erfc, exp, inf, isinf, pi, sqrt
from operator import mul

FAR = 6.0
"""A centre further than this outside its limits counts as this far [standard deviations]."""

_NARROW = 1e-3
"""Between limits closer than this every value is as likely as any other [standard deviations]."""


PH = "pH"
"""Name of the unknown that is a pH misread or unread."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Mean, standard deviation and third central moment of an unknown, in its own units."""

    mean: float
    sd: float
    third: float


@dataclass(frozen=True, slots=True)
class Unknown:
    """One independent unknown of a portion.

    `what` names it, `of` the material, `shift` is the change of the contents per unit, `measure_by` says in words what
    reading would settle it; empty where none would.
    """

    what: str
    shift: tuple[float, ...]
    centre: float = 0.0
    low: float = -inf
    high: float = inf
    measure_by: str = ""
    of: str = ""

    @property
    def moments(self) -> Moments:
        """Of the cut normal law."""
        return cut_normal_moments(self.centre, self.low, self.high)

    @property
    def name(self) -> str:
        """What it is, with its material."""
        return f"{self.what} of {self.of}" if self.of else self.what

    def scaled(self, factor: float, of: str | None = None) -> Unknown:
        """The same of a multiple of the portion, of a named material."""
        shift = self.shift if factor == 1.0 else tuple(map(mul, repeat(factor), self.shift))
        return Unknown(
            self.what, shift, self.centre, self.low, self.high, self.measure_by, self.of if of is None else of
        )


@lru_cache(maxsize=1024)
def cut_normal_moments(centre: float, low: float, high: float) -> Moments:
    """Moments of a normal law of unit standard deviation about a centre, cut off at two limits.

    m_k = (k − 1) m_{k−2} − (β^{k−1} φ(β) − α^{k−1} φ(α))/(Φ(β) − Φ(α)),  α = low − centre,  β = high − centre

    Parameters: centre, low, high, scalars [-]; limits may be infinite.
    Returns: Moments.
    Validity: a centre more than six units outside the limits counts as six units outside; limits closer than 1e-3 hold
    an even law.
    Source: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate Distributions (1994), section 10.1 (from
    memory); checked against scipy.stats.truncnorm.

    Example: the half of a normal law above its centre has the mean √(2/π).

    >>> round(cut_normal_moments(0.0, 0.0, float("inf")).mean, 4)
    0.7979
    """
    if high <= low:
        return Moments(low, 0.0, 0.0)
    if isinf(low) and isinf(high):
        return Moments(centre, 1.0, 0.0)
    if high - low < _NARROW:
        return Moments(0.5 * (low + high), (high - low) / sqrt(12.0), 0.0)
    centre = min(max(centre, low - FAR), high + FAR)
    a, b = low - centre, high - centre
    whole = _above(a) - _above(b) if a > 0.0 else _above(-b) - _above(-a)

    def edge(x: float, power: int) -> float:
        return 0.0 if isinf(x) else x**power * exp(-0.5 * x * x) / sqrt(2.0 * pi)

    first = (edge(a, 0) - edge(b, 0)) / whole
    second = 1.0 + (edge(a, 1) - edge(b, 1)) / whole
    third = 2.0 * first + (edge(a, 2) - edge(b, 2)) / whole
    variance = max(second - first * first, 0.0)
    return Moments(centre + first, sqrt(variance), third - 3.0 * first * second + 2.0 * first**3)


def _above(x: float) -> float:
    """The share of a normal law above x; by the complement, so that tails keep their digits."""
    if isinf(x):
        return 0.0 if x > 0.0 else 1.0
    return 0.5 * erfc(x / sqrt(2.0))


def share_below(x: float) -> float:
    """The share of a standard normal law below x.

    >>> round(share_below(1.645), 3)
    0.95
    """
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))
