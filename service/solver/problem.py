"""The blending problem in numbers.

Choose amounts x in a box, lower ≤ x ≤ upper (all finite). The volume sums of the blend (see
`service.physics.mixture`) are linear, σ(x) = σ₀ + Σ_j x_j σ_j, and its volume V(x) = V(σ(x)) is homogeneous of
degree one in the sums and mildly non-linear in x. Every quantity of interest is a *form*

    F(x) = constant + coefficients·x + volume·V(x)

because component masses, moles, money and juice are linear in the amounts. Every target is a ratio of two forms
(gravity = mass/V, strength = ethanol/V, Brix = solids/mass …), which a positive denominator turns into rows:

    low ≤ N/D ≤ high   ⇔   N − low·D ≥ 0  and  N − high·D ≤ 0

An aim is the smallest value of a sum of ratios of forms; aims are lexicographic, the first first.

Units are the caller's business; the solver expects amounts, volumes and form values of order one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import inf
from operator import mul

from service.physics.mixture import VOLUME_SUMS, volume_and_gradient_ml

Amounts = Sequence[float]

_LEAST_DIVISOR = 1e-12


@dataclass(frozen=True, slots=True)
class Form:
    """F(x) = constant + coefficients·x + volume·V(x)."""

    constant: float
    coefficients: tuple[float, ...]
    volume: float = 0.0

    def at(self, x: Amounts, volume: float) -> float:
        """Value at the amounts x, whose blend has this volume."""
        total: float = self.constant + sum(map(mul, self.coefficients, x)) + self.volume * volume
        return total

    def minus(self, factor: float, other: Form) -> Form:
        """This form less a multiple of another one."""
        return Form(
            self.constant - factor * other.constant,
            tuple([a - factor * b for a, b in zip(self.coefficients, other.coefficients, strict=True)]),
            self.volume - factor * other.volume,
        )

    def scaled(self, factor: float) -> Form:
        """A multiple of this form."""
        return Form(self.constant * factor, tuple([a * factor for a in self.coefficients]), self.volume * factor)

    def widened(self, columns: int) -> Form:
        """The same form over more variables, which do not enter it."""
        return Form(self.constant, self.coefficients + (0.0,) * columns, self.volume)


@dataclass(frozen=True, slots=True)
class Row:
    """A named constraint lower ≤ form(x) ≤ upper; `target` names the target that it is a side of.

    `scale` is the factor that brought the form to order one.
    """

    target: str
    form: Form
    lower: float = -inf
    upper: float = inf
    scale: float = 1.0


@dataclass(frozen=True, slots=True)
class Ratio:
    """A quotient of forms; `denominator` None means one."""

    numerator: Form
    denominator: Form | None = None

    def divisor(self, x: Amounts, volume: float) -> float:
        """Value of the denominator, never nought: a search may pass through points that the rows exclude."""
        if self.denominator is None:
            return 1.0
        value = self.denominator.at(x, volume)
        return value if abs(value) > _LEAST_DIVISOR else _LEAST_DIVISOR

    def at(self, x: Amounts, volume: float) -> float:
        """Value at the amounts x, whose blend has this volume."""
        return self.numerator.at(x, volume) / self.divisor(x, volume)


@dataclass(frozen=True, slots=True)
class Aim:
    """Minimise the sum of these ratios."""

    terms: tuple[Ratio, ...]

    def at(self, x: Amounts, volume: float) -> float:
        """Value at the amounts x, whose blend has this volume."""
        return sum(term.at(x, volume) for term in self.terms)


@dataclass(frozen=True, slots=True)
class Problem:
    """Box, volume sums, rows and lexicographic aims; see the module's text.

    `fixed_sums` is σ₀, shape (7,); `columns` the σ_j, shape (n, 7). The last aim must be generic (no two amounts
    with the same cost), so that ties end somewhere. `whole` is the size of one pack of each amount that comes in
    whole packs only, nought where any amount will do; empty when nothing comes in packs.
    """

    lower: tuple[float, ...]
    upper: tuple[float, ...]
    fixed_sums: tuple[float, ...]
    columns: tuple[tuple[float, ...], ...]
    rows: tuple[Row, ...]
    aims: tuple[Aim, ...]
    whole: tuple[float, ...] = ()

    @property
    def size(self) -> int:
        """How many amounts there are to choose."""
        return len(self.lower)

    def sums_at(self, x: Amounts) -> list[float]:
        """The seven volume sums of the blend at x."""
        s0, s1, s2, s3, s4, s5, s6 = self.fixed_sums
        for amount, column in zip(x, self.columns, strict=True):
            if amount:
                c0, c1, c2, c3, c4, c5, c6 = column
                s0 += amount * c0
                s1 += amount * c1
                s2 += amount * c2
                s3 += amount * c3
                s4 += amount * c4
                s5 += amount * c5
                s6 += amount * c6
        return [s0, s1, s2, s3, s4, s5, s6]

    def with_columns(self, lower: Sequence[float], upper: Sequence[float]) -> Problem:
        """The same problem with more variables that have no mass: slacks and deviations."""
        extra = len(lower)
        nothing = (0.0,) * len(VOLUME_SUMS)
        return replace(
            self,
            lower=self.lower + tuple(lower),
            upper=self.upper + tuple(upper),
            columns=self.columns + (nothing,) * extra,
            whole=self.whole + (0.0,) * extra if self.whole else (),
            rows=tuple(replace(row, form=row.form.widened(extra)) for row in self.rows),
            aims=tuple(
                Aim(
                    tuple(
                        Ratio(
                            t.numerator.widened(extra),
                            None if t.denominator is None else t.denominator.widened(extra),
                        )
                        for t in aim.terms
                    )
                )
                for aim in self.aims
            ),
        )


def ratio_rows(target: str, ratio: Ratio, low: float, high: float, scale: float = 1.0) -> tuple[Row, ...]:
    """The rows that hold a ratio between two bounds.

    Parameters: target, the name the rows carry; ratio, with a denominator that is positive wherever it is used;
    low, high, bounds in the ratio's unit (either may be infinite); scale, a factor that brings the rows to order
    one.
    Returns: one row for an equality, an open side or a denominator of one; else two.

    >>> whole = Form(0.0, (1.0, 1.0))
    >>> [row.lower for row in ratio_rows("share", Ratio(Form(0.0, (1.0, 0.0)), whole), 0.2, 0.4)]
    [0.0, -inf]
    """
    if ratio.denominator is None:
        return (Row(target, ratio.numerator.scaled(scale), low * scale, high * scale, scale),)
    if low == high:
        return (Row(target, ratio.numerator.minus(low, ratio.denominator).scaled(scale), 0.0, 0.0, scale),)
    rows = []
    if low > -inf:
        form = ratio.numerator.minus(low, ratio.denominator).scaled(scale)
        rows.append(Row(target, form, lower=0.0, scale=scale))
    if high < inf:
        form = ratio.numerator.minus(high, ratio.denominator).scaled(scale)
        rows.append(Row(target, form, upper=0.0, scale=scale))
    return tuple(rows)


class Tangent:
    """The volume near a state: V ≈ constant + partial·x, exact at the state and of second order beside it.

    `volume` is that of the state itself, `gradient` its derivatives by the volume sums.
    """

    __slots__ = ("constant", "gradient", "partial", "volume")

    def __init__(
        self, problem: Problem, sums: Sequence[float], known: tuple[float, tuple[float, ...]] | None = None
    ) -> None:
        """`known` is `volume_and_gradient_ml` of these sums, where they were evaluated before."""
        self.volume, self.gradient = known or volume_and_gradient_ml(sums)
        self.constant = sum(map(mul, self.gradient, problem.fixed_sums))
        g0, g1, g2, g3, g4, g5, g6 = self.gradient
        self.partial = [
            g0 * c0 + g1 * c1 + g2 * c2 + g3 * c3 + g4 * c4 + g5 * c5 + g6 * c6
            for c0, c1, c2, c3, c4, c5, c6 in problem.columns
        ]

    def row(self, form: Form) -> list[float]:
        """Gradient of a form at the state."""
        if not form.volume:
            return list(form.coefficients)
        share = form.volume
        return [a + share * v for a, v in zip(form.coefficients, self.partial)]  # noqa: B905

    def sides(self, rows: Sequence[Row]) -> tuple[list[list[float]], list[float], list[float]]:
        """Gradients of rows at the state, and the bounds that are left to them at x = 0."""
        lines, low, high = [], [], []
        for row in rows:
            form = row.form
            share, offset = form.volume, form.constant
            line = list(form.coefficients)
            if share:
                offset += share * self.constant
                line = [a + share * v for a, v in zip(line, self.partial)]  # noqa: B905
            lines.append(line)
            low.append(row.lower - offset)
            high.append(row.upper - offset)
        return lines, low, high

    def offset(self, form: Form) -> float:
        """What a form's tangent has at x = 0."""
        total: float = form.constant + form.volume * self.constant
        return total

    def cost(self, aim: Aim, x: Amounts, volume: float) -> list[float]:
        """Gradient of an aim at the amounts x."""
        total: list[float] = []
        for term in aim.terms:
            slope = self.row(term.numerator)
            if term.denominator is not None:
                bottom = term.divisor(x, volume)
                ratio = term.numerator.at(x, volume) / bottom
                slope = [(t - ratio * s) / bottom for t, s in zip(slope, self.row(term.denominator))]  # noqa: B905
            total = [a + b for a, b in zip(total, slope)] if total else slope  # noqa: B905
        return total or [0.0] * len(self.partial)


class Gradients:
    """The gradients of the aims at some amounts, each computed when it is first asked for."""

    __slots__ = ("_aims", "_found", "_tangent", "_volume", "_x")

    def __init__(self, tangent: Tangent, aims: Sequence[Aim], x: Amounts, volume: float) -> None:
        self._tangent, self._aims, self._x, self._volume = tangent, aims, x, volume
        self._found: list[list[float]] = []

    def __len__(self) -> int:
        """How many aims there are."""
        return len(self._aims)

    def __getitem__(self, k: int, /) -> list[float]:
        """Gradient of aim k."""
        while len(self._found) <= k:
            self._found.append(self._tangent.cost(self._aims[len(self._found)], self._x, self._volume))
        return self._found[k]


def volume_at(problem: Problem, x: Amounts) -> float:
    """Volume of the blend at the amounts x, in the unit of the volume sums."""
    return float(volume_and_gradient_ml(problem.sums_at(x))[0])
