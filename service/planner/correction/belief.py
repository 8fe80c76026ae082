"""What is in the vessel once it has been read: the unknowns of everything poured, conditioned on the readings.

Unknowns are taken as normal with the moments of their laws, readings as linear at the mean, and again at the mean that
follows, until it no longer moves (iterated update, which is Gauss and Newton's method for the most likely drink). A
mean that leaves the limits of its unknown is held at the limit and takes the others along.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from operator import mul
from typing import Final

from service.errors import InputError, ServiceError
from service.model.contents import COMPONENTS, SIZE, Contents, together
from service.model.linear_gaussian import LinearReading, Normal, conditioned, independent, within
from service.model.properties import property_value
from service.model.unknowns import Unknown
from service.physics.refraction import refractometer_brix_and_gradient
from service.planner.asked import Circumstances
from service.planner.beliefs import composition_unknowns
from service.planner.correction.asked import READ, REFRACTOMETER, CorrectionAsked, ReadingAsked
from service.planner.intervals import Spreads
from service.planner.materials import Material, materials_of, poured

REFRACTOMETER_MODEL_SD_BRIX: Final = 0.1
"""Standard deviation that the model adds to a refractometer's reading: pulp, and no measured mixtures (judged)."""

LEAST_ERROR: Final = {
    "gravity": 1e-5,
    "abv_percent": 0.01,
    "titratable_acidity": 0.005,
    "ph": 0.002,
    "volume": 1e-5,
    REFRACTOMETER: 0.01,
}
"""No reading counts as better than this in its unit, a volume as a share of itself: one without an error would overrule
everything else (our default)."""

_ROUNDS, _SETTLED = 40, 1e-9
_FAR: Final = 30.0
"""Nothing is believed to lie further off than so many of its standard deviations (our default)."""

_IONS_AT: Final = SIZE - 2
_DUST: Final = 1e-9


@dataclass(frozen=True, slots=True)
class ReadingSeen:
    """A reading, and what was and is expected of it; `expected_sd` with the reading's own error, `surprise` in it."""

    name: str
    value: float
    error: float
    expected: float
    expected_sd: float
    now: float
    surprise: float


@dataclass(frozen=True, slots=True)
class Belief:
    """Everything poured, before and after the readings.

    `materials` are all of the request, with their own names, of which `masses_g` are in the vessel. `unknowns` have
    their shifts of the whole, `before` and `after` are their laws, `held` those whose mean is held at a limit.
    `linear` are the readings as lines through the mean.
    """

    materials: tuple[Material, ...]
    masses_g: tuple[float, ...]
    circumstances: Circumstances
    unknowns: tuple[Unknown, ...]
    before: Normal
    after: Normal
    held: tuple[int, ...]
    linear: tuple[LinearReading, ...]
    chi_square: float
    readings: tuple[ReadingSeen, ...]
    clipped: bool

    @property
    def planned(self) -> Contents:
        """Contents of the vessel as the figures of the request have it."""
        return poured(self.materials, self.masses_g)

    @property
    def contents(self) -> Contents:
        """Contents of the vessel at the mean of what is known now."""
        return bounded(moved(self.planned, self.unknowns, self.after.mean))

    def places(self, material: Material) -> list[tuple[Unknown, int]]:
        """The unknowns of a gram of a material, each with its place among `unknowns`; those not poured are left out."""
        at = {(u.what, u.of): k for k, u in enumerate(self.unknowns)}
        own = composition_unknowns(material, self.circumstances.instruments)
        return [(u, at[u.what, u.of]) for u in own if (u.what, u.of) in at]


def moved(contents: Contents, unknowns: Sequence[Unknown], values: Sequence[float]) -> Contents:
    """Contents with each unknown at a value."""
    portions = [contents, *(Contents(u.shift) for u in unknowns)]
    return together(portions, [1.0, *values])


def bounded(contents: Contents) -> Contents:
    """Contents without a mass or acid below nothing; strong ions may be."""
    if all(v >= 0.0 for k, v in enumerate(contents.vector) if k != _IONS_AT):
        return contents
    return Contents(tuple(v if k == _IONS_AT else max(v, 0.0) for k, v in enumerate(contents.vector)))


def believed(asked: CorrectionAsked) -> Belief:
    """Condition everything poured on the readings.

    Parameters: asked.
    Returns: Belief.
    Raises: InputError where a reading has no counterpart, as a pH without acid, or the vessel holds no liquid.
    """
    circumstances = asked.plan.circumstances
    materials = materials_of(asked.poured_lots, (*asked.poured_additions, *asked.poured_besides))
    masses = tuple(m.least_g for m in materials)
    base = Spreads(materials, masses, circumstances, poured(materials, masses))
    unknowns = base.unknowns
    moments = [u.moments for u in unknowns]
    low = [max(u.low, m.mean - _FAR * m.sd) for u, m in zip(unknowns, moments, strict=True)]
    high = [min(u.high, m.mean + _FAR * m.sd) for u, m in zip(unknowns, moments, strict=True)]
    before = independent([m.mean for m in moments], [m.sd for m in moments])
    readings = sorted(asked.readings, key=lambda r: READ.index(r.name))
    prior = _lines(readings, base, before.mean)
    lines, mean, held = prior, before.mean, tuple[int, ...]()
    found = conditioned(before, [line.reading for line in lines])
    for _ in range(_ROUNDS):
        last = mean
        mean, held = within(found.after, low, high)
        lines = _lines(readings, base, mean)
        found = conditioned(before, [line.reading for line in lines])
        if max((abs(a - b) for a, b in zip(mean, last, strict=True)), default=0.0) < _SETTLED:
            break
    mean, held = within(found.after, low, high)
    whole = moved(base.contents, unknowns, mean)
    clipped = any(v < -_DUST * whole.mass_g for k, v in enumerate(whole.vector) if k != _IONS_AT)
    return Belief(
        materials,
        masses,
        circumstances,
        unknowns,
        before,
        Normal(mean, found.after.covariance),
        held,
        tuple(line.reading for line in lines),
        found.chi_square,
        tuple(_seen(r, a, b, before) for r, a, b in zip(readings, prior, lines, strict=True)),
        clipped,
    )


def _seen(asked: ReadingAsked, prior: _Line, now: _Line, before: Normal) -> ReadingSeen:
    variance = sum((h * before.sd(k)) ** 2 for k, h in enumerate(prior.reading.slopes))
    sd = sqrt(variance + prior.reading.variance)
    surprise = (asked.value - prior.value) / sd
    return ReadingSeen(asked.name, asked.value, asked.error, prior.value, sd, now.value, surprise)


@dataclass(frozen=True, slots=True)
class _Line:
    """A reading as a line through the drink of some values of the unknowns, and what it would be of that drink."""

    reading: LinearReading
    value: float


def _lines(readings: Sequence[ReadingAsked], base: Spreads, values: Sequence[float]) -> list[_Line]:
    """The readings as lines at some values of the unknowns: h(z) + H (z′ − z), as readings of H z′."""
    contents = bounded(moved(base.contents, base.unknowns, values))
    here = Spreads(base.materials, base.masses_g, base.circumstances, contents)
    found = []
    for asked in readings:
        try:
            value, slopes = _looked_at(asked.name, here, base.unknowns)
        except ServiceError as error:
            raise error.below(f"/measured/{asked.name}") from error
        variance = _error(asked) ** 2 + sum(sd * sd for sd in _model_sds(asked.name, here, value))
        offset = sum(map(mul, slopes, values))
        found.append(_Line(LinearReading(tuple(slopes), asked.value - value + offset, variance), value))
    return found


def _error(asked: ReadingAsked) -> float:
    least = LEAST_ERROR[asked.name]
    return max(asked.error, least * asked.value if asked.name == "volume" else least)


def _model_sds(name: str, here: Spreads, value: float) -> list[float]:
    if name == REFRACTOMETER:
        return [REFRACTOMETER_MODEL_SD_BRIX]
    return [sd for _, sd in here.model_sd(name, value)]


def _looked_at(name: str, here: Spreads, unknowns: Sequence[Unknown]) -> tuple[float, list[float]]:
    """What a reading of a drink would be, and its change for a unit of each unknown."""
    if name == REFRACTOMETER:
        brix, gradient = refractometer_brix_and_gradient(here.contents.masses_g)
        return brix, [sum(map(mul, gradient, u.shift[: len(COMPONENTS)])) for u in unknowns]
    circumstances = here.circumstances
    law = circumstances.senses.law(name)
    value = property_value(law, here.contents, here.contents.volume_ml / 1000.0, circumstances.end_point_ph)
    if value is None:
        raise InputError(f"No {name} can be told of what was poured: leave its reading out.")
    return value, here.slopes(name, value)
