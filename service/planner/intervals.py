"""90 % intervals of what is predicted, first order, and what leaves them open.

Each unknown moves each property by its gradient; the unknowns are independent, so variances and third moments add up.
Ends of an interval follow from the two by the expansion of Cornish and Fisher:

    q = μ + σ (z + (z² − 1) γ/6)

A ratio over acid counts to second order. The model adds its own spread to gravity, volume, acidity and pH. Nothing is
below nought that cannot be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import compress
from math import inf, sqrt
from operator import itemgetter, mul
from typing import Any, Final, NamedTuple

from service.model.acidity import PH_MODEL_SD, Chemistry, chemistry_of
from service.model.contents import COMPONENTS, SIZE, Contents
from service.model.gradients import Gradient, litres_gradient, quotient_of
from service.model.kept import kept
from service.model.properties import OF_WHAT_IS_ADDED, Of, Per, Property
from service.model.unknowns import Unknown, share_below
from service.planner.asked import Circumstances
from service.planner.beliefs import AMOUNT, unknowns_of
from service.planner.materials import Material, poured

Z_90: Final = 1.645
"""Half width of a 90 % interval in standard deviations of a normal distribution."""

VOLUME_MODEL_SD: Final = 0.0003 / Z_90
"""Standard deviation of the volume rule, as a share: ±0.0003 SG at 90 % (computed from two mixing rules for meads; no
measured ternary table was available)."""

ACIDITY_MODEL_SD: Final = 0.005
"""The same of a titration, as a share: on blends of similar drinks acidity is linear in the amounts within 0.65 %
(computed)."""

_UNKNOWN_PH_SD, _SHARE_THAT_COUNTS = 0.3, 0.02
"""Standard deviation of a pH to which a material of unknown effect adds, from two per cent of the mass up (judged)."""

THE_MODEL: Final = "the model"
_PLACES: Final = range(SIZE)
_MAY_BE_NEGATIVE: Final = frozenset({"gravity", "ph", "titratable_acidity", "sugar_acid_ratio"})
_MOST_SKEW: Final = 1.5
"""A larger skewness than this is beyond the expansion's use and counts as this much."""


class Part(NamedTuple):
    """A share of the variance of a property, and the unknown behind it; None for the model's own."""

    name: str
    share: float
    unknown: Unknown | None


def _part(share: float, by: Unknown | str) -> Part:
    return Part(by, share, None) if isinstance(by, str) else Part(by.name, share, by)


@dataclass(frozen=True, slots=True)
class Interval:
    """What a property may be: mean, standard deviation, skewness, and what adds to its variance: so much by an unknown,
    or by what the model adds of that name."""

    mean: float
    sd: float
    skewness: float
    variances: Sequence[tuple[float, Unknown | str]]
    floor: float = -inf

    @property
    def parts(self) -> tuple[Part, ...]:
        """The shares of its variance, largest first."""
        whole = sum([own for own, _ in self.variances])
        found = [_part(own / whole, by) for own, by in self.variances if own]
        return tuple(sorted(found, key=lambda part: (-part.share, part.name)))

    @property
    def largest(self) -> Part:
        """The first of its parts, of which it has one where its standard deviation is not nought."""
        owns = [own for own, _ in self.variances]
        most, whole = max(owns), sum(owns)
        return min([_part(own / whole, by) for own, by in self.variances if own == most], key=lambda part: part.name)

    def quantile(self, z: float) -> float:
        """The value below which the property lies with the chance of a standard normal z."""
        return max(self.mean + self.sd * (z + (z * z - 1.0) * self.skewness / 6.0), self.floor)

    def chance_below(self, value: float) -> float:
        """The chance that the property lies below a value: the expansion inverted."""
        if self.sd <= 0.0:
            return 1.0 if value >= self.mean else 0.0
        if value < self.floor:
            return 0.0
        x, g = (value - self.mean) / self.sd, self.skewness / 6.0
        if abs(g) < 1e-9:
            return share_below(x)
        under = 1.0 + 4.0 * g * (g + x)
        if under <= 0.0:
            return 0.0 if x < 0.0 else 1.0
        return share_below((sqrt(under) - 1.0) / (2.0 * g))

    @property
    def low(self) -> float:
        """Lower end of the 90 % interval."""
        return self.quantile(-Z_90)

    @property
    def high(self) -> float:
        """Upper end."""
        return self.quantile(Z_90)


@dataclass(frozen=True)
class Spreads:
    """The unknowns of one blend, and what they do to its properties."""

    materials: Sequence[Material]
    masses_g: Sequence[float]
    circumstances: Circumstances
    contents: Contents

    @kept
    def unknowns(self) -> tuple[Unknown, ...]:
        """Everything that is not known of this blend."""
        return unknowns_of(self.materials, self.masses_g, self.circumstances.instruments)

    @kept
    def chemistry(self) -> Chemistry:
        """The acids of the blend."""
        return chemistry_of(self.contents, self.circumstances.end_point_ph)

    @kept
    def _litres(self) -> Gradient:
        return litres_gradient(self.contents)

    @kept
    def _laws(self) -> tuple[tuple[float, ...], ...]:
        """Standard deviation, mean and third moment of each unknown."""
        laws = [unknown.moments for unknown in self.unknowns]
        return tuple([m.sd for m in laws]), tuple([m.mean for m in laws]), tuple([m.third for m in laws])

    @kept
    def _shifts(self) -> list[tuple[itemgetter[Any], tuple[float, ...]]]:
        """Of each unknown what takes the places where it shifts anything out of a form, and its shifts there."""
        found = []
        for unknown in self.unknowns:
            at = [*compress(_PLACES, unknown.shift)]
            if len(at) < 2:  # of one place alone nothing iterable would be taken
                at = [*at, *(k for k in (0, 1) if k not in at)]
            taken = itemgetter(*at)
            found.append((taken, taken(unknown.shift)))
        return found

    @kept
    def _known_moves(self) -> dict[Gradient, list[float]]:
        return {}

    def _moves(self, form: Gradient) -> list[float]:
        """What a unit of each unknown does to a form of the contents; several properties share most forms."""
        found = self._known_moves.get(form)
        if found is None:
            found = [sum(map(mul, taken(form), shift)) for taken, shift in self._shifts]
            self._known_moves[form] = found
        return found

    def slopes(self, name: str, value: float) -> list[float]:
        """The change of a property for a unit of each unknown; `value` is the property's own."""
        law = self.circumstances.senses.law(name)
        if law.of in OF_WHAT_IS_ADDED:
            return self._of_what_is_added(law)
        top, factor, bottom, share, divisor = quotient_of(law, self.contents, self.chemistry, value, self._litres)
        factor, share = factor / divisor, value * share / divisor
        if bottom is None:
            return [factor * t for t in self._moves(top)]
        return [factor * t - share * b for t, b in zip(self._moves(top), self._moves(bottom), strict=True)]

    def _of_what_is_added(self, law: Property) -> list[float]:
        """Only how much there is of an addition moves what is added, and not what it is made of."""
        per_g = {m.name: _per_g(m, law) for m in self.materials if m.kind == "addition"}
        return [
            sum(unknown.shift[: len(COMPONENTS)]) * per_g.get(unknown.of, 0.0) if unknown.what == AMOUNT else 0.0
            for unknown in self.unknowns
        ]

    def model_sd(self, name: str, value: float) -> list[tuple[str, float]]:
        """What the model adds of its own [unit of the property]."""
        if name == "gravity" or name == "volume":
            return [(THE_MODEL, VOLUME_MODEL_SD * value)]
        if name == "titratable_acidity":
            return [(THE_MODEL, ACIDITY_MODEL_SD * abs(value))]
        if name != "ph":
            return []
        found = [(THE_MODEL, PH_MODEL_SD)]
        for material, mass in zip(self.materials, self.masses_g, strict=True):
            if mass and not material.acids_per_g.ph_known:
                share = min(1.0, mass / self.contents.mass_g / _SHARE_THAT_COUNTS)
                found.append((f"the acids of {material.name}", share * _UNKNOWN_PH_SD))
        return found

    def _bend(self, slopes: Sequence[float], value: float) -> float:
        """How a ratio over acid bends: less its covariance, as a share, with the acid.

        Of r (1 + b)/(1 + a) ≈ r (1 + L − a L), L = b − a, the mean is r (1 + c) and the third moment 6 c r³ Var L, with
        c = −Cov(a, L).
        """
        titratable = self.chemistry.titratable
        acid = sum(map(mul, titratable, self.contents.vector))
        covariances = zip(self._moves(titratable), slopes, self._laws[0], strict=True)
        total: float = -sum([moved / acid * slope / value * sd**2 for moved, slope, sd in covariances])
        return total

    def interval(self, name: str, value: float) -> Interval:
        """What a property may be, given that the plan's own figures put it at `value`."""
        slopes = self.slopes(name, value)
        sds, means, thirds = self._laws
        variances: list[tuple[float, Unknown | str]] = [
            ((slope * sd) ** 2, unknown) for slope, sd, unknown in zip(slopes, sds, self.unknowns, strict=True)
        ]
        variances += [(sd * sd, what) for what, sd in self.model_sd(name, value)]
        mean = sum(map(mul, slopes, means), value)
        variance = sum([own for own, _ in variances])
        third = sum([slope**3 * moment for slope, moment in zip(slopes, thirds, strict=True) if moment])
        floor = -inf if name in _MAY_BE_NEGATIVE else 0.0
        if variance <= 0.0:
            return Interval(mean, 0.0, 0.0, (), floor)
        if self.circumstances.senses.law(name).per is Per.ACID and value != 0.0:
            bend = self._bend(slopes, value)
            mean += value * bend
            third += 6.0 * bend * value * variance
        skewness = min(max(third / variance**1.5, -_MOST_SKEW), _MOST_SKEW)
        return Interval(mean, sqrt(variance), skewness, variances, floor)


def _per_g(material: Material, law: Property) -> float:
    """What a gram of an addition counts for: mass, own volume, or price."""
    if law.of is Of.ADDED_MASS:
        return 1.0
    if law.of is Of.COST:
        return material.price_per_g or 0.0
    return 0.0 if material.density_g_ml is None else 1e-3 / material.density_g_ml


def spreads_of(materials: Sequence[Material], masses_g: Sequence[float], circumstances: Circumstances) -> Spreads:
    """The unknowns of a blend.

    Parameters: materials; masses_g of each [g]; circumstances, with the instruments.
    Returns: Spreads.
    """
    return Spreads(materials, masses_g, circumstances, poured(materials, masses_g))
