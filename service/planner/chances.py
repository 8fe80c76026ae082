"""Targets that are to hold with a stated chance: the margin that a bound has to keep, as a row of the solver.

To be sure with the chance Φ(z), a property p has to keep clear of its bound by

    margin = Σ_k μ_k S_k + z √(Σ_k σ_k² S_k² + σ_model²),   S_k = Σ_i x_i d_ik

with d_ik what a unit of the unknown k of the material i does to p for a unit of the amount x_i. The root is convex in
the amounts, so its tangent at a blend never asks for more than the root does, and asks for the same there: rows made of
it are right where a search ends that they send nowhere else (`service.planner.solving` takes them anew until then).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from operator import mul
from statistics import NormalDist

from service.model.gradients import property_gradient
from service.model.properties import PROPERTIES, Of
from service.model.unknowns import Moments
from service.planner.answers_decisions import Clash, Relaxed
from service.planner.asked import Circumstances, LotAsked, TargetAsked
from service.planner.beliefs import amount_unknown, composition_unknowns, shared_names
from service.planner.intervals import Interval, spreads_of
from service.planner.least_known import share_in_words
from service.planner.materials import Material
from service.planner.plain_words import figure_in_words, in_plain_words, plain_property
from service.planner.predict import value_of
from service.solver.problem import Form, Ratio

_SETTLED_SHARE, _SETTLED_SHARE_OF_NEAREST = 1e-5, 1e-3
"""A margin that a tangent misses by less than this share of it is right; for a nearest plan, which misses it anyway."""


@dataclass(frozen=True, slots=True)
class Margin:
    """What a bound has to keep: at some blend `size` = constant + own + columns·x, all in the property's unit.

    `own` is the model's part, which goes with what the property is divided by.
    """

    size: float
    columns: tuple[float, ...]
    constant: float
    own: float

    def at(self, x: Sequence[float]) -> float:
        """The tangent at other amounts."""
        total: float = self.constant + self.own + sum(map(mul, self.columns, x))
        return total

    def scaled(self, factor: float) -> Margin:
        """A multiple of the margin."""
        return Margin(
            factor * self.size, tuple(factor * c for c in self.columns), factor * self.constant, factor * self.own
        )

    def kept_by(self, ratio: Ratio, divisor: float, *, above: bool) -> Ratio:
        """The property with its margin, less the size of it: bounded where the property with its margin is.

        Parameters: ratio of the property; divisor, what it is divided by at the blend; above, whether the margin is
        kept from an upper bound.
        """
        sign = 1.0 if above else -1.0
        top = ratio.numerator
        rest = Form(divisor * self.constant, tuple(divisor * c for c in self.columns))
        if ratio.denominator is None:
            rest = Form(rest.constant + self.own - self.size, rest.coefficients)
        else:
            rest = rest.minus(self.size - self.own, ratio.denominator)
        return Ratio(top.minus(-sign, rest), ratio.denominator)


@dataclass(frozen=True, slots=True)
class Margins:
    """The margins of a target's two bounds."""

    low: Margin
    high: Margin

    def scaled(self, factor: float) -> Margins:
        """A multiple of both."""
        return Margins(self.low.scaled(factor), self.high.scaled(factor))


def confident(targets: Sequence[TargetAsked]) -> list[TargetAsked]:
    """The targets that are to hold with a stated chance."""
    return [t for t in targets if t.confidence is not None]


@dataclass(frozen=True, slots=True)
class Clearance:
    """How far the mean of a property has to stay from the lower and the upper bound [unit of the property]."""

    low: float
    high: float


def clearance_of(target: TargetAsked, interval: Interval, *, least: bool = False) -> Clearance:
    """How far from its bounds a property has to lie on average to be in the range as surely as asked.

    Of one bound, and of each of two with `least`, it is the quantile of the whole doubt. Of two bounds the mean may
    come as near to either as leaves the chance of both together. Where the range is hardly wider than that, each bound
    keeps half of the doubt: where exactly the chance runs out there changes too fast with the width to be followed.

    Parameters: target with a confidence; interval, whose width counts; least, for what no range can do with less of.
    Returns: Clearance.

    >>> one = TargetAsked("abv_percent", -inf, 6.9, None, "", confidence=0.95)
    >>> round(clearance_of(one, Interval(6.5, 0.2, 0.0, ())).high, 3)  # 1.645 standard deviations
    0.329
    """
    assert target.confidence is not None
    both = target.low > -inf and target.high < inf and not least
    doubt = 1.0 - target.confidence
    mean = interval.mean

    def clear(of: float) -> Clearance:
        return Clearance(mean - interval.quantile(_NORMAL.inv_cdf(of)), interval.quantile(-_NORMAL.inv_cdf(of)) - mean)

    if not both:
        return clear(doubt)

    def sure(shift: float) -> bool:
        above = interval.chance_below(target.high - shift)
        return above - interval.chance_below(target.low - shift) >= 1.0 - doubt

    middle = 0.5 * (target.low + target.high) - mean
    width = target.high - target.low
    halves = clear(0.5 * doubt)
    if width - halves.low - halves.high < _ROOM_SD * interval.sd or not sure(middle):
        return halves
    up, down = _furthest(sure, middle, middle + width), _furthest(sure, middle, middle - width)
    return Clearance(mean + down - target.low, target.high - (mean + up))


def _furthest(sure: Callable[[float], bool], inside: float, outside: float) -> float:
    """The last place on the way from inside to outside that is still sure, by halving."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (inside + outside)
        if sure(middle):
            inside = middle
        else:
            outside = middle
    return inside


_HALVINGS = 40
_ROOM_SD = 1.0
"""Room for the mean in standard deviations, half of the doubt kept on either side, below which a range is narrow."""

_NORMAL = NormalDist()


def margins_of(
    target: TargetAsked,
    materials: Sequence[Material],
    free: Sequence[int],
    litres: float,
    masses_g: Sequence[float],
    circumstances: Circumstances,
    *,
    least: bool = False,
) -> Margins | None:
    """The margins of a target at one blend; None where the property is not defined there.

    Parameters: target with a confidence; materials; free, the material of each column; litres, what amounts are
    divided by; masses_g of all materials at the blend; circumstances; least, True for what each bound needs by itself.
    Returns: Margins over the columns, in kilograms per litre of `litres`.
    """
    spreads = spreads_of(materials, masses_g, circumstances)
    name = target.name
    value = value_of(name, materials, masses_g, spreads.contents, circumstances.end_point_ph, circumstances.senses)
    if value is None:
        return None
    interval = spreads.interval(name, value)
    clear = clearance_of(target, interval, least=least)
    sizes = clear.high + interval.mean - value, clear.low + value - interval.mean
    law = circumstances.senses.law(name)
    none = (0.0,) * len(free)
    if law.of in (Of.ADDED_MASS, Of.ADDED_VOLUME, Of.COST) or interval.sd <= 0.0:
        high, low = (Margin(size, none, size, 0.0) for size in sizes)
        return Margins(low, high)
    factors = clear.high / interval.sd, clear.low / interval.sd
    gradient = property_gradient(law, spreads.contents, spreads.chemistry, value)
    total = {(u.what, u.of): slope for u, slope in zip(spreads.unknowns, spreads.slopes(name, value), strict=True)}
    own = sum(sd * sd for _, sd in spreads.model_sd(name, value)) / interval.sd
    columns: tuple[list[float], list[float]] = ([], [])
    per_unit = 1000.0 * litres
    names = shared_names(materials)
    for i in free:
        sums = [0.0, 0.0]
        for key, moments, slope_per_g in _slopes_per_g(materials[i], names[i], gradient, circumstances):
            towards = moments.sd**2 * total.get(key, 0.0) / interval.sd
            for side, (sign, factor) in enumerate(zip((1.0, -1.0), factors, strict=True)):
                sums[side] += slope_per_g * per_unit * (sign * moments.mean + factor * towards)
        columns[0].append(sums[0])
        columns[1].append(sums[1])
    x = [masses_g[i] / per_unit for i in free]
    made = []
    for size, column, factor in zip(sizes, columns, factors, strict=True):
        mine = factor * own
        made.append(Margin(size, tuple(column), size - mine - sum(map(mul, column, x)), mine))
    return Margins(made[1], made[0])


def _slopes_per_g(
    material: Material, name: str, gradient: Sequence[float], circumstances: Circumstances
) -> list[tuple[tuple[str, str], Moments, float]]:
    """What a gram of a material does to a property for a unit of each of its unknowns that grow with its amount."""
    unknowns = [*composition_unknowns(material, circumstances.instruments, 1.0, name)]
    if isinstance(material.source, LotAsked):
        volume = amount_unknown(material, 1.0, circumstances.instruments)
        unknowns += [volume] if volume is not None else []
    return [((u.what, u.of), u.moments, sum(map(mul, gradient, u.shift))) for u in unknowns]


def settled(
    before: Mapping[str, Margins], after: Mapping[str, Margins], x: Sequence[float], *, met: bool = True
) -> bool:
    """Whether margins taken at another blend are right at the amounts x, where `after` was taken; `met` or missed."""
    share = _SETTLED_SHARE if met else _SETTLED_SHARE_OF_NEAREST
    if before.keys() != after.keys():
        return False
    return all(
        abs(old.at(x) - new.size) <= share * abs(new.size)
        for name, margins in after.items()
        for old, new in ((before[name].low, margins.low), (before[name].high, margins.high))
    )


def narrowed(targets: Sequence[TargetAsked], margins: Mapping[str, Margins]) -> tuple[TargetAsked, ...]:
    """The targets with the margins taken off their ranges, for what knows nothing of chances."""
    found = []
    for target in targets:
        if target.name not in margins:
            found.append(target)
            continue
        low = target.low + margins[target.name].low.size
        high = target.high - margins[target.name].high.size
        if low > high:
            low = high = 0.5 * (low + high)
        found.append(replace(target, low=low, high=high, confidence=None))
    return tuple(found)


def told_margins(targets: Sequence[TargetAsked], margins: Mapping[str, Margins], circumstances: Circumstances) -> str:
    """What being sure makes of the ranges, for what is said about them by the plan's own figures."""
    told = []
    for before, after in zip(targets, narrowed(targets, margins), strict=True):
        if before.confidence is None or before.name not in margins:
            continue
        ends = [end for end in (after.low, after.high) if abs(end) < inf]
        words = " to ".join(figure_in_words(after.name, end, circumstances) for end in ends)
        told.append(f"{before.asked} takes {words} for {plain_property(after.name)} by the plan's own figures")
    return "; ".join(told)


def with_margins_told(
    clash: Clash, targets: Sequence[TargetAsked], margins: Mapping[str, Margins], circumstances: Circumstances
) -> Clash:
    """A clash of narrowed ranges as the caller sees it: what to accept is what to write, and no longer proved.

    Parameters: clash, of `narrowed` targets; targets as asked; margins; circumstances.
    """
    asked = {t.name: (before, t) for before, t in zip(targets, narrowed(targets, margins), strict=True)}
    relax, text = [], clash.text
    for relaxed in clash.relax:
        before, firm = asked.get(relaxed.member, (None, None))
        if before is None or firm is None or before.name not in margins:
            relax.append(relaxed)
            continue
        own = margins[before.name]
        value = relaxed.value - own.low.size if relaxed.value < firm.low else relaxed.value + own.high.size
        words = figure_in_words(before.name, value, circumstances)
        text = text.replace(f"accept {relaxed.to}", f"accept {words} to be as sure of it")
        relax.append(replace(relaxed, to=words, value=float(f"{value:.7g}"), proved=False))
    words = told_margins(targets, margins, circumstances)
    return replace(clash, relax=tuple(relax), text=f"{text} ({words[0].upper()}{words[1:]}.)")


def too_unsure(
    targets: Sequence[TargetAsked], margins: Mapping[str, Margins], intervals: Mapping[str, Interval]
) -> Clash | None:
    """Why a range cannot be met as surely as asked, where its margins leave nothing of it; else None."""
    names = [
        t.name
        for t in confident(targets)
        if t.name in margins and t.low + margins[t.name].low.size > t.high - margins[t.name].high.size
    ]
    if not names:
        return None
    relax, texts = [], []
    for target in (t for t in targets if t.name in names):
        interval = intervals[target.name]
        best = chance_of(target, interval)
        clear = clearance_of(target, interval)
        needed = clear.low + clear.high
        unit = PROPERTIES[target.name].unit
        part = interval.largest
        relax.append(Relaxed(target.name, f"{100.0 * best:.0f} % sure", round(best, 3), "chance", proved=False))
        known = f"{needed:.2g}" + ("" if unit in ("SG", "pH") else f" {unit}")
        how = f" ({part.unknown.measure_by})" if part.unknown is not None and part.unknown.measure_by else ""
        texts.append(
            f"{plain_property(target.name)} {target.asked} cannot be promised with the nearest amounts: what is known "
            f"of it leaves {known} open, more than the range. Widen the range, accept about {100.0 * best:.0f} %, or "
            f"know more: {share_in_words(part.share)} of the spread is the {in_plain_words(part.name)}{how}"
        )
    text = "; ".join(texts)
    return Clash(tuple(names), tuple(relax), (), text[0].upper() + text[1:] + ".")


def chance_of(target: TargetAsked, interval: Interval) -> float:
    """The chance that a property lies in the range of its target."""
    above = interval.chance_below(target.high) if target.high < inf else 1.0
    below = interval.chance_below(target.low) if target.low > -inf else 0.0
    return max(above - below, 0.0)


_KEPT_CHANCE = 1e-4
"""A chance that lacks no more than this is the one asked for."""


def shortfall(target: TargetAsked, interval: Interval) -> float:
    """How far a bound is from where it would be met with the confidence asked for [unit of the property]."""
    assert target.confidence is not None
    if chance_of(target, interval) >= target.confidence - _KEPT_CHANCE:
        return 0.0
    clear = clearance_of(target, interval)
    return max(interval.mean + clear.high - target.high, target.low - interval.mean + clear.low, 0.0)
