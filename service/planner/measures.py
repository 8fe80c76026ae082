"""What a caller can measure: the amounts that a scale, a jug and spoons show, and the words for each.

The steps are common practice, no source: a kitchen scale shows 1 g or a twentieth of an ounce, small spoons are a
quarter of a 5 mL spoon or of a teaspoon, a jug has marks every 50 mL and is topped up with spoons. Each band of steps
begins where the next coarser one is a small share of the amount. Powders are always weighed: how much of one fills a
spoon is not known.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from math import ceil, floor, inf, isclose
from typing import Literal

from service.model.lot_class import Assumed
from service.planner.asked import Circumstances
from service.planner.materials import Material
from service.quantities import Kind, System, Unit, mass_text, number_text
from service.quantities.units import (
    GRAMS_PER_OUNCE,
    ML_PER_IMPERIAL_FLUID_OUNCE,
    ML_PER_US_TEASPOON,
    UNIT_BY_SPELLING,
)

_DUST = 1e-12
_BESIDE = 1e-6
"""A neighbour on the grid lies further away than this share of a step."""

_THICK = 0.30
"""Share of solids from which a liquid is weighed, because it clings to spoons and jugs (judged)."""

_UNSOURCED = "common practice, no source"

_FEW_MARKS, _MANY_MARKS, _VERY_MANY_MARKS = 10, 40, 2000
"""Marks of a metric jug from which two spoons, none, and ten marks are the step."""


@dataclass(frozen=True, slots=True)
class Measure:
    """The amounts of one material that can be measured.

    `bands` are pairs (from, step) in grams or millilitres, from 0 on; `g_per_unit` is 1 or the density [g/mL];
    `instrument` and `steps` say what was measured with, `assumed` whether its steps are our own default.
    """

    bands: tuple[tuple[float, float], ...]
    g_per_unit: float
    write: Callable[[float], str]
    kind: Literal[Kind.MASS, Kind.VOLUME]
    instrument: str
    steps: str
    assumed: bool

    def _band(self, units: float) -> int:
        at = 0
        while at + 1 < len(self.bands) and self.bands[at + 1][0] <= units * (1.0 + _DUST):
            at += 1
        return at

    def step_g(self, mass_g: float) -> float:
        """The step at an amount [g]."""
        return self.bands[self._band(mass_g / self.g_per_unit)][1] * self.g_per_unit

    def below(self, mass_g: float) -> float:
        """The largest measurable amount up to this one [g].

        >>> scale_measure(5.0, given=True).below(612.0)
        610.0
        """
        units = mass_g / self.g_per_unit
        begins, step = self.bands[self._band(units)]
        return max(floor(units / step * (1.0 + _DUST)) * step, begins) * self.g_per_unit

    def above(self, mass_g: float) -> float:
        """The smallest measurable amount from this one on [g].

        >>> scale_measure(5.0, given=True).above(612.0)
        615.0
        """
        units = mass_g / self.g_per_unit
        at = self._band(units)
        begins, step = self.bands[at]
        ends = self.bands[at + 1][0] if at + 1 < len(self.bands) else inf
        return min(max(ceil(units / step * (1.0 - _DUST)) * step, begins), ends) * self.g_per_unit

    def next_below(self, mass_g: float) -> float:
        """The next smaller measurable amount [g]; 0 is its own."""
        return max(self.below(max(mass_g - _BESIDE * self.step_g(mass_g), 0.0)), 0.0)

    def next_above(self, mass_g: float) -> float:
        """The next larger measurable amount [g]."""
        return self.above(mass_g + _BESIDE * self.step_g(mass_g))

    def nearest(self, mass_g: float) -> float:
        """The measurable amount nearest to this one [g], the smaller of two."""
        low, high = self.below(mass_g), self.above(mass_g)
        return low if mass_g - low <= high - mass_g else high

    def words(self, mass_g: float) -> str:
        """What a measurable amount is called: it reads back to the same amount.

        Parameters: mass_g, an amount of the grid [g].
        Returns: one or more numbers with their units.

        >>> measure_us = _volume_measure(1.0, "us", "cup", 50.0)
        >>> [measure_us.words(k * ML_PER_US_TEASPOON) for k in (0.75, 4.5, 57.0, 108.0)]
        ['3/4 tsp', '1 1/2 tbsp', '1 cup + 3 tbsp', '2 1/4 cups']
        """
        return self.write(mass_g / self.g_per_unit)


def _is_ounces(step_g: float) -> bool:
    """Whether a step is a short decimal of ounces, that is, was written in ounces or pounds."""
    thousandths = step_g / GRAMS_PER_OUNCE * 1e5
    return thousandths > 0.5 and isclose(thousandths, round(thousandths), rel_tol=1e-9)


def scale_measure(step_g: float, *, given: bool) -> Measure:
    """Multiples of a scale's step, in the units that the scale shows.

    Parameters: step_g [g]; given, whether the caller named the step.
    Returns: Measure. A step in grams is shown in grams whatever the caller's system.

    >>> scale_measure(0.1 * 28.349523125, given=True).words(612.349699500)
    '1 lb 5.6 oz'
    """
    shown: System = "us" if _is_ounces(step_g) else "metric"
    return Measure(
        ((0.0, step_g),),
        1.0,
        partial(mass_text, system=shown, step_g=step_g),
        Kind.MASS,
        "scale step",
        mass_text(step_g, shown, step_g),
        not given,
    )


_FINE_OZ, _COARSE_OZ, _FINE_BELOW_OZ = 0.05, 0.25, 2.0


def _ounce_measure() -> Measure:
    """A kitchen scale that shows ounces: twentieths below two, quarters above."""
    return Measure(
        ((0.0, _FINE_OZ * GRAMS_PER_OUNCE), (_FINE_BELOW_OZ * GRAMS_PER_OUNCE, _COARSE_OZ * GRAMS_PER_OUNCE)),
        1.0,
        partial(mass_text, system="us", step_g=_FINE_OZ * GRAMS_PER_OUNCE),
        Kind.MASS,
        "scale step",
        "0.05 oz, and 1/4 oz from 2 oz on",
        True,
    )


@dataclass(frozen=True, slots=True)
class _Rung:
    """A unit of a family, in the smallest parts of the family; shown in `parts` of itself, from so many on."""

    symbol: str
    plural: str
    size: int
    parts: int
    from_: int = 1


@dataclass(frozen=True, slots=True)
class _Family:
    """Spoons, cups and gallons of one system: bands (from, step) and units, both in smallest parts of `part_ml`."""

    part_ml: float
    bands: tuple[tuple[int, int], ...]
    rungs: tuple[_Rung, ...]
    steps: str


_GALLON = 3072
_CUPS = _Family(
    ML_PER_US_TEASPOON / 4.0,
    ((0, 1), (12, 6), (48, 12), (768, 48), (10 * _GALLON, 192), (100 * _GALLON, 768)),
    (
        _Rung("gal", "gal", _GALLON, 1),
        _Rung("qt", "qt", 768, 1),
        _Rung("cup", "cups", 192, 4),
        _Rung("tbsp", "tbsp", 12, 2, 12),
        _Rung("tsp", "tsp", 4, 4),
    ),
    "1/4 tsp, 1/2 tbsp from 1 tbsp on, 1 tbsp from 1/4 cup, 1/4 cup from 1 qt",
)
_FLUID_OUNCES = _Family(
    ML_PER_US_TEASPOON / 4.0,
    ((0, 1), (12, 6), (48, 12), (768, 24), (_GALLON, 48), (10 * _GALLON, 192), (100 * _GALLON, 768)),
    (_Rung("gal", "gal", _GALLON, 1), _Rung("fl oz", "fl oz", 24, 4, 12), _Rung("tsp", "tsp", 4, 4)),
    "1/4 tsp, 1/4 fl oz from 1/2 fl oz on, 1/2 fl oz from 2 fl oz, 1 fl oz from 1 qt",
)
_IMPERIAL = _Family(
    ML_PER_IMPERIAL_FLUID_OUNCE / 8.0,
    ((0, 1), (8, 2), (40, 4), (160, 8), (1280, 40), (12800, 160)),
    (_Rung("imp gal", "imp gal", 1280, 1), _Rung("imp pt", "imp pt", 160, 1), _Rung("imp fl oz", "imp fl oz", 8, 8)),
    "1/8 imp fl oz, 1/4 from 1 imp fl oz on, 1/2 from 5, 1 from 1 imp pt",
)


def _number(value: Fraction) -> str:
    whole, rest = divmod(value, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)


def _spoken(units_ml: float, family: _Family) -> str:
    """A volume of a family in its units, the largest first, joined by a plus sign."""
    left = round(units_ml / family.part_ml)
    terms = []
    for rung in family.rungs:
        share = rung.size // rung.parts
        if left >= max(share, rung.from_):
            count, left = divmod(left, share)
            value = Fraction(count, rung.parts)
            terms.append(f"{_number(value)} {rung.plural if value > 1 else rung.symbol}")
    return " + ".join(terms) or f"0 {family.rungs[-1].symbol}"


def _metric_words(units_ml: float) -> str:
    if units_ml < 1000.0:
        return f"{number_text(units_ml, 1e-4)} mL"
    return f"{number_text(units_ml / 1000.0, 1e-6)} L"


_SMALL_SPOON_ML, _SPOON_ML, _TWO_SPOONS_ML, _LARGE_SPOON_ML = 1.25, 5.0, 10.0, 15.0


def _metric_bands(jug_ml: float) -> tuple[tuple[float, float], ...]:
    """Spoons, then a jug topped up with them, then the jug alone."""
    bands = [
        (0.0, min(_SMALL_SPOON_ML, jug_ml)),
        (_LARGE_SPOON_ML, min(_SPOON_ML, jug_ml)),
        (_FEW_MARKS * jug_ml, min(_TWO_SPOONS_ML, jug_ml)),
        (_MANY_MARKS * jug_ml, jug_ml),
        (_VERY_MANY_MARKS * jug_ml, _FEW_MARKS * jug_ml),
    ]
    kept = bands[:1]
    for begins, step in bands[1:]:
        if begins > kept[-1][0] and step > kept[-1][1]:
            kept.append((begins, step))
    return tuple(kept)


def _volume_measure(density_g_ml: float, system: System, unit: str | None, jug_ml: float) -> Measure:
    """Jug and spoons of a system."""
    if system == "metric":
        bands = _metric_bands(jug_ml)
        steps = ", ".join(
            f"{number_text(step, 1e-3)} mL" + (f" from {_metric_words(begins)} on" if begins else "")
            for begins, step in bands[:4]
        )
        return Measure(bands, density_g_ml, _metric_words, Kind.VOLUME, "jug and spoons", steps, True)
    family = _IMPERIAL if system == "imperial" else _FLUID_OUNCES if unit == "fl oz" else _CUPS
    parts = [(float(begins), float(step)) for begins, step in family.bands]
    jug = jug_ml / family.part_ml
    spoon = family.bands[2][1]
    if isclose(jug, spoon * round(jug / spoon), rel_tol=1e-9):
        jug = float(round(jug))
        fine = [(begins, step) for begins, step in parts if begins < _FEW_MARKS * jug or step > jug]
        parts = sorted([*fine, (_FEW_MARKS * jug, max(jug, max(s for b, s in fine if b <= _FEW_MARKS * jug)))])
    return Measure(
        tuple((begins * family.part_ml, step * family.part_ml) for begins, step in parts),
        density_g_ml,
        partial(_spoken, family=family),
        Kind.VOLUME,
        "jug and spoons",
        family.steps,
        True,
    )


def _named(unit: str | None) -> Unit | None:
    return None if unit is None else UNIT_BY_SPELLING.get(" ".join(unit.lower().replace(".", " ").split()))


def measure_for(material: Material, circumstances: Circumstances, rounding: str, unit: str | None = None) -> Measure:
    """What a material is measured with.

    By the scale: everything when rounding to the scale, else solids and thick liquids, and what the caller named in a
    unit of mass. By jug and spoons: thin liquids, and what the caller named in a unit of volume.

    Parameters: material; circumstances, whose instruments and system are used; rounding, "scale" or "kitchen"; unit,
    as the caller spelled it for this material, if at all.
    Returns: Measure.
    Source of the units: NIST Handbook 44, Appendix C. Of the steps: common practice, no source.
    """
    instruments = circumstances.instruments
    by_step = scale_measure(instruments.scale_step_g, given=instruments.scale_given)
    if rounding == "scale":
        return by_step
    named = _named(unit)
    system = circumstances.system if named is None or named.system is None else named.system
    density = material.density_g_ml
    if named is not None:
        by_volume = named.kind is Kind.VOLUME
    else:
        by_volume = material.kind == "lot" or material.per_g.sums[2] < _THICK
    if density is not None and by_volume:
        return _volume_measure(density, system, None if named is None else named.symbol, instruments.jug_step_ml)
    return by_step if system == "metric" or instruments.scale_given else _ounce_measure()


def measures_for(
    materials: Sequence[Material],
    circumstances: Circumstances,
    rounding: str,
    units: Sequence[str | None] | None = None,
) -> tuple[Measure, ...]:
    """`measure_for` each of some materials."""
    spelled = [None] * len(materials) if units is None else units
    return tuple(measure_for(m, circumstances, rounding, u) for m, u in zip(materials, spelled, strict=True))


def assumed_steps(measures: Iterable[Measure]) -> list[Assumed]:
    """The steps that nobody named, each once."""
    found = {(m.instrument, m.steps): None for m in measures if m.assumed}
    return [Assumed(what, steps, _UNSOURCED, "what your own shows") for what, steps in sorted(found)]
