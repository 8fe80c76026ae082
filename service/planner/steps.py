"""Just-noticeable steps: how many lie between two levels, what lies some steps away, and how unlike two drinks are.

A step is arithmetic on composition, not a tasting. Sweetness, acidity and juice go by shares of the level (Weber's
law),

    n = ln(b/a)/ln(1 + k),

down to the level of LEVEL_FLOORS, below which a step gets no finer: a share of next to nothing is nothing that anybody
could notice. Strength goes by a difference, and what is read rather than tasted by the steps of
`service.model.properties`. Every step may be replaced by the caller's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import exp, hypot, isfinite, log, log1p
from typing import Final

from service.chemistry.sugars import RELATIVE_SWEETNESS
from service.errors import InputError, OutOfRangeError
from service.model.properties import PROPERTIES, Property, sweetness_weights
from service.physics.solutes import Component

STEPS_ARE: Final = (
    "Steps are just-noticeable differences by published Weber fractions (after Schutz and Pilgrim 1957, from memory) "
    "and our defaults, replaceable by yours: arithmetic on composition, no measurement of flavour."
)
"""Goes with every figure in steps."""

_OWN_STEPS: Final = (
    "Steps of {} are the caller's own; the others are just-noticeable differences by published Weber fractions (from "
    "memory) and our defaults: arithmetic on composition, no measurement of flavour."
)

STEPS_SOURCE: Final = "schutz_pilgrim_1957"
"""Key of the bibliography for `STEPS_ARE`."""

_MOST_STEPS: Final = 100.0
_LARGEST_SHARE: Final = 10.0
_SWEETEST: Final = 10.0
_SWEETNESS: Final = "sucrose_equivalent_g_per_l"
_LEAST_STEP: Final = 1e-3
_DUST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Step:
    """A just-noticeable step: a share of the level [-] where `relative`, else a difference in the property's unit."""

    size: float
    relative: bool


DEFAULT_STEPS: Final[Mapping[str, Step]] = {
    name: Step(law.noticeable, law.sensed_as_share) for name, law in PROPERTIES.items()
}
"""Sugar 12 % lies in the 10 to 17 % of sucrose (0.17 Schutz and Pilgrim 1957; 0.10 to 0.17 McBride; both from memory,
unverified); acidity 20 % is 0.22 of citric acid (Schutz and Pilgrim 1957, from memory, unverified), rounded. Juice 25 %
and strength 1 % vol have no source: our defaults. The others are steps of instruments."""

LEVEL_FLOORS: Final[Mapping[str, float]] = {
    **dict.fromkeys(
        ("extract_g_per_l", "sugar_g_per_l", "fermentable_sugar_g_per_l", "sucrose_equivalent_g_per_l"), 8.0
    ),
    "brix": 0.8,
    "titratable_acidity": 0.5,
    "juice_percent": 4.0,
    "citrus_percent": 4.0,
}
"""Levels [the property's unit] below which a just-noticeable step is that at the level itself: by our shares it is then
never finer than about 1 g/L of sugar, 0.1 g/L of acid and 1 % of juice, near which people begin to notice any (our
default, no source)."""


@dataclass(frozen=True, slots=True)
class Senses:
    """The caller's own steps, by property, and relative sweetness, by sugar; every other is ours.

    Raises: InputError where a name is no property or no sugar, OutOfRangeError where a figure is none.

    >>> Senses((("sugar_g_per_l", Step(0.17, True)),)).step("sugar_g_per_l").size
    0.17
    """

    steps: tuple[tuple[str, Step], ...] = ()
    relative_sweetness: tuple[tuple[Component, float], ...] = ()

    def __post_init__(self) -> None:
        """Refuse what is no step, and what is no sweetness."""
        for sugar, sweetness in self.relative_sweetness:
            if sugar not in RELATIVE_SWEETNESS:
                known = ", ".join(sorted(c.value for c in RELATIVE_SWEETNESS))
                raise InputError(f"“{sugar.value}” is not sweet here: {known}.", f"/relative_sweetness/{sugar.value}")
            if sugar is Component.SUCROSE and sweetness != 1.0:
                raise InputError("The sweetness of sucrose is the unit: it is 1.", "/relative_sweetness/sucrose")
            if not 0.0 <= sweetness <= _SWEETEST:
                raise OutOfRangeError(
                    f"Relative sweetness lies between 0 and {_SWEETEST:g}, sucrose being 1; not at {sweetness:g}.",
                    f"/relative_sweetness/{sugar.value}",
                )
        for name, step in self.steps:
            if name not in PROPERTIES:
                raise InputError(
                    f"“{name}” is no property of a drink: {', '.join(sorted(PROPERTIES))}.", f"/steps/{name}"
                )
            most = _LARGEST_SHARE if step.relative else float("inf")
            if not (isfinite(step.size) and 0.0 < step.size <= most):
                raise OutOfRangeError(
                    f"A just-noticeable step of {name} is above zero"
                    + (f" and at most {100.0 * most:g} %" if step.relative else "")
                    + f"; not {step.size:g}.",
                    f"/steps/{name}",
                )

    @property
    def told(self) -> str:
        """What the figures in steps are, and are not."""
        if not self.steps:
            return STEPS_ARE
        from service.planner.plain_words import joined, plain_property  # it knows circumstances, which know senses

        return _OWN_STEPS.format(joined([plain_property(name) for name, _ in self.steps]))

    def noticeable(self, name: str, value: float) -> float:
        """The step of a property at a value, in its unit; never zero."""
        step = self.step(name)
        return max(step.size * abs(value), _LEAST_STEP) if step.relative else step.size

    def law(self, name: str) -> Property:
        """A property by the caller's relative sweetness, where that decides it."""
        law = PROPERTIES[name]
        if name != _SWEETNESS or not self.relative_sweetness:
            return law
        return replace(law, weights=sweetness_weights(dict(self.relative_sweetness)))

    def step(self, name: str) -> Step:
        """The step of a property: the caller's, else ours."""
        return dict(self.steps).get(name, DEFAULT_STEPS[name])


OURS: Final = Senses()
"""Our defaults alone."""


def steps_between(name: str, a: float, b: float, senses: Senses = OURS) -> float | None:
    """How many just-noticeable steps lead from one level to another.

    n = f(b) − f(a); f(x) = ln(x/L)/ln(1 + k) from the floor L of the property on, (x/L − 1)/ln(1 + k) below it, where
    it goes on as straight as it came; or (b − a)/step

    Parameters: name of the property; a and b, levels in its unit, scalars; senses.
    Returns: n, negative where b lies below a; None where a share of the level decides, the property has no floor and a
        level is not above zero (a share of nothing is nothing), unless both levels are the same.
    Validity: a count of what can be told apart at its finest, not a scale of how strong something tastes.
    Source: Weber's law; k as DEFAULT_STEPS says, L as LEVEL_FLOORS.

    Example: 100 to 110 g/L of sugar is 0.61 steps of 17 % (computed): a miss of 10 % is hardly noticed. A drop of lemon
    juice in a glass, 0.05 % of it, is none at all.

    >>> round(steps_between("sugar_g_per_l", 100.0, 110.0, Senses((("sugar_g_per_l", Step(0.17, True)),))), 2)
    0.61
    >>> round(steps_between("juice_percent", 0.0, 0.05), 2)
    0.06
    """
    step = senses.step(name)
    if a == b:
        return 0.0
    if not step.relative:
        return (b - a) / step.size
    floor = LEVEL_FLOORS.get(name, 0.0)
    if floor <= 0.0 and (a <= 0.0 or b <= 0.0):
        return None
    return (_place(b, floor) - _place(a, floor)) / log1p(step.size)


def _place(level: float, floor: float) -> float:
    """Where a level stands: its logarithm, continued straight below the floor."""
    return log(level) if level >= floor else log(floor) + level / floor - 1.0


def _told(step: Step) -> str:
    return f"{100.0 * step.size:g} %" if step.relative else f"{step.size:g}"


def _level(place: float, floor: float) -> float:
    """The inverse of `_place`."""
    if floor <= 0.0:
        return exp(place)
    return exp(place) if place >= log(floor) else floor * (1.0 + place - log(floor))


def value_after_steps(name: str, value: float, n: float, senses: Senses = OURS) -> float:
    """The level that lies some just-noticeable steps away, the inverse of `steps_between`.

    Parameters: name of the property; value, in its unit, scalar; n, steps, negative for less; senses.
    Returns: the level in the property's unit.
    Raises: InputError where a share of the level decides and there is none, or where the level would fall below zero;
        OutOfRangeError for more than 100 steps.
    Validity: as `steps_between`.
    Source: Weber's law.

    Example: a step less than 60 g/L of sugar.

    >>> round(value_after_steps("sugar_g_per_l", 60.0, -1.0), 1)
    53.6
    """
    step = senses.step(name)
    if not abs(n) <= _MOST_STEPS:
        raise OutOfRangeError(f"Give at most {_MOST_STEPS:g} steps up or down, not {n:g}.")
    if n == 0.0:
        return value
    floor = LEVEL_FLOORS.get(name, 0.0)
    if not step.relative:
        after = value + n * step.size
    elif floor <= 0.0 and value <= 0.0:
        raise InputError(f"A step of {name} is a share of what is there, and there is none: give the value itself.")
    else:
        after = _level(_place(value, floor) + n * log1p(step.size), floor)
    if -_DUST * floor < after < 0.0:
        return 0.0
    if after < 0.0:
        raise InputError(f"{n:g} steps of {_told(step)} lead from {value:g} below zero: give fewer steps of {name}.")
    return after


DIMENSIONS: Final = (
    (("sucrose_equivalent_g_per_l", "sugar_g_per_l"), 1.0),
    (("titratable_acidity",), 0.5),
    (("abv_percent",), 0.0),
    (("juice_percent", "citrus_percent"), 1.0),
)
"""What a perceptual distance is made of: sweetness, acidity, strength and juice, of each the first property that both
drinks name; and the smallest level that counts [its unit], below which there is no telling apart (our defaults)."""


def _apart(a: float, b: float, step: Step) -> float:
    """From one level to another by Weber's law alone; nothing where a share of nothing would have to be taken."""
    if not step.relative:
        return (b - a) / step.size
    return (log(b) - log(a)) / log1p(step.size) if a > 0.0 and b > 0.0 else 0.0


def perceptual_distance(values_a: Mapping[str, float], values_b: Mapping[str, float], senses: Senses = OURS) -> float:
    """How many just-noticeable steps two drinks are apart in all.

    D² = [Δln S/ln(1 + k_S)]² + [Δln TA/ln(1 + k_A)]² + [ΔABV/1.0]² + [Δln juice/ln(1 + k_J)]²

    Levels below the floors of DIMENSIONS (1 g/L sugar, 0.5 g/L acid, 1 % juice) count as the floor: a drink
    without juice and one with 1 % are no distance apart, one with 2 % is as far from both. Above them Weber's law holds
    alone, so that drinks with little juice or sugar are spaced more finely than `steps_between` counts.

    Parameters: values_a and values_b, property to level in its unit; senses.
    Returns: D [steps], zero or more.
    Raises: InputError where the two share none of the properties.
    Validity: for choosing and spacing blends of one kind; sweet and sour suppress each other, which no sum knows.
    Source: our default; steps as DEFAULT_STEPS says.

    Example: one step of strength and nothing else.

    >>> perceptual_distance({"abv_percent": 6.0}, {"abv_percent": 7.0})
    1.0
    """
    terms = []
    for names, floor in DIMENSIONS:
        for name in names:
            if name in values_a and name in values_b:
                a, b = max(values_a[name], floor), max(values_b[name], floor)
                terms.append(_apart(a, b, senses.step(name)))
                break
    if not terms:
        every = ", ".join(name for names, _ in DIMENSIONS for name in names)
        raise InputError(f"Two drinks are compared by at least one of {every}.")
    return hypot(*terms)
