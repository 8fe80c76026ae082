"""What is in the vessel once it has been read: the unknowns of everything poured, conditioned on all readings.

Readings that were taken earlier speak of what was in the vessel then (`service.planner.correction.stages`), so that
what they told is kept. Unknowns are taken as normal with the moments of their laws, readings as linear at the mean,
and again at the mean that follows, until it no longer moves (iterated update, which is Gauss and Newton's method for
the most likely drink). A mean that leaves the limits of its unknown is held at the limit and takes the others along.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from operator import mul
from typing import Final

from service.errors import InputError, ServiceError
from service.model.contents import COMPONENTS, SIZE, Contents
from service.model.gradients import property_gradient
from service.model.linear_gaussian import Independent, LinearReading, Narrowed, mean_within, narrowed
from service.model.properties import property_value
from service.model.unknowns import Unknown
from service.physics.refraction import refractometer_brix_and_gradient
from service.planner.asked import Circumstances
from service.planner.beliefs import composition_unknowns, shared_names
from service.planner.correction.asked import READ, REFRACTOMETER, CorrectionAsked, ReadingAsked
from service.planner.correction.stages import Pour, Poured, poured_by_stage
from service.planner.intervals import Spreads
from service.planner.materials import Material
from service.planner.plain_words import plain_property

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
    """A reading, and what was and is expected of it; `expected_sd` with the reading's own error, `surprise` in it.

    What was expected follows from everything poured and from the readings of earlier stages.
    """

    name: str
    value: float
    error: float
    stage: int
    expected: float
    expected_sd: float
    now: float
    surprise: float


@dataclass(frozen=True, slots=True)
class Belief:
    """Everything poured, before and after the readings.

    `materials` are all of the request, with their own names, of which `masses_g` went in and `left_g` still are in the
    vessel. `unknowns` have their shifts of the whole, `pours` say which pour one is the amount of; `before` and `after`
    are their laws, `held` those whose mean is held at a limit. `planned` is the vessel as the figures of the request
    have it. `linear` are the readings as lines through the mean; `if_lost` is for each stage what they would change by
    if everything then in the vessel had been lost, `litres` how much that was.
    """

    materials: tuple[Material, ...]
    masses_g: tuple[float, ...]
    left_g: tuple[float, ...]
    circumstances: Circumstances
    unknowns: tuple[Unknown, ...]
    pours: tuple[Pour | None, ...]
    before: Independent
    after: Narrowed
    held: tuple[int, ...]
    planned: Contents
    linear: tuple[LinearReading, ...]
    if_lost: tuple[tuple[float, ...], ...]
    litres: tuple[float, ...]
    chi_square: float
    readings: tuple[ReadingSeen, ...]
    clipped: bool

    @property
    def contents(self) -> Contents:
        """Contents of the vessel at the mean of what is known now."""
        return bounded(moved(self.planned, self.unknowns, self.after.mean))

    def places(self, material: Material) -> list[tuple[Unknown, int]]:
        """The unknowns of a gram of a material, each with its place among `unknowns`; those not poured are left out.

        Two materials of one ingredient have the same ones.
        """
        at = {(u.what, u.of): k for k, u in enumerate(self.unknowns)}
        names = dict(zip((m.name for m in self.materials), shared_names(self.materials), strict=True))
        own = [u.scaled(1.0, names[u.of]) for u in composition_unknowns(material, self.circumstances.instruments)]
        return [(u, at[u.what, u.of]) for u in own if (u.what, u.of) in at]


def moved(contents: Contents, unknowns: Sequence[Unknown], values: Sequence[float]) -> Contents:
    """Contents with each unknown at a value."""
    return _moved(contents, [u.shift for u in unknowns], values)


def _moved(contents: Contents, shifts: Sequence[Sequence[float]], values: Sequence[float]) -> Contents:
    known = [(shift, value) for shift, value in zip(shifts, values, strict=True) if value]
    if not known:
        return contents
    factors = [value for _, value in known]
    columns = zip(*(shift for shift, _ in known), strict=True)
    return Contents(
        tuple([v + sum(map(mul, column, factors)) for v, column in zip(contents.vector, columns, strict=True)])
    )


def bounded(contents: Contents) -> Contents:
    """Contents without a mass or acid below nothing; strong ions may be."""
    if all(v >= 0.0 for k, v in enumerate(contents.vector) if k != _IONS_AT):
        return contents
    return Contents(tuple(v if k == _IONS_AT else max(v, 0.0) for k, v in enumerate(contents.vector)))


def believed(asked: CorrectionAsked) -> Belief:
    """Condition everything poured on the readings.

    Parameters: asked.
    Returns: Belief.
    Raises: InputError where a reading has no counterpart, as a pH without acid, or the vessel holds no liquid;
        InconsistentError where more was lost than there was.
    """
    poured = poured_by_stage(asked)
    look = _Look(poured, asked.plan.circumstances)
    moments = [u.moments for u in poured.unknowns]
    low = [max(u.low, m.mean - _FAR * m.sd) for u, m in zip(poured.unknowns, moments, strict=True)]
    high = [min(u.high, m.mean + _FAR * m.sd) for u, m in zip(poured.unknowns, moments, strict=True)]
    before = Independent(tuple([m.mean for m in moments]), tuple([m.sd for m in moments]))
    readings = sorted(asked.readings, key=lambda r: (r.stage, READ.index(r.name)))
    law, mean, held = narrowed(before, ()), before.mean, tuple[int, ...]()
    prior: list[_Line] = []
    lines: list[_Line] = []
    spreads: list[float] = []
    for stage in sorted({r.stage for r in readings}):
        new = look.lines([r for r in readings if r.stage == stage], mean)
        prior += new
        spreads += [sqrt(sum(a * a for a in law.shared(x.reading.slopes)) + x.reading.variance) for x in new]
        so_far = [r for r in readings if r.stage <= stage]
        lines = [*lines, *new]
        law = narrowed(before, [line.reading for line in lines])
        for _ in range(_ROUNDS):
            last = mean
            mean, held = mean_within(law, low, high)
            lines = look.lines(so_far, mean)
            law = narrowed(before, [line.reading for line in lines])
            if max((abs(a - b) for a, b in zip(mean, last, strict=True)), default=0.0) < _SETTLED:
                break
        mean, held = mean_within(law, low, high)
    vessel = poured.stages[-1]
    whole = _moved(vessel.contents, vessel.shifts, mean)
    return Belief(
        poured.materials,
        poured.masses_g,
        vessel.left_g,
        asked.plan.circumstances,
        poured.unknowns,
        poured.pours,
        before,
        Narrowed(mean, before, law.readings, law.fit),
        held,
        vessel.contents,
        law.readings,
        tuple(zip(*(line.if_lost for line in lines), strict=True)),
        tuple([stage.contents.volume_ml / 1000.0 for stage in poured.stages]),
        law.fit.chi_square,
        tuple(
            ReadingSeen(r.name, r.value, r.error, r.stage, p.value, sd, n.value, (r.value - p.value) / sd)
            for r, p, sd, n in zip(readings, prior, spreads, lines, strict=True)
        ),
        any(v < -_DUST * whole.mass_g for k, v in enumerate(whole.vector) if k != _IONS_AT),
    )


@dataclass(frozen=True, slots=True)
class _Line:
    """A reading as a line through the drink of some values of the unknowns, and what it would be of that drink.

    `if_lost` is what it would change by if everything in the vessel had been lost, at each stage.
    """

    reading: LinearReading
    value: float
    if_lost: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class _Look:
    """What readings would be of the drink of some values of the unknowns, at each stage."""

    poured: Poured
    circumstances: Circumstances

    def lines(self, readings: Sequence[ReadingAsked], values: Sequence[float]) -> list[_Line]:
        """The readings as lines at some values of the unknowns: h(z) + H (z′ − z), as readings of H z′."""
        found: list[_Line] = []
        for stage in sorted({r.stage for r in readings}):
            found += self._lines(stage, [r for r in readings if r.stage == stage], values)
        return found

    def _lines(self, stage: int, readings: Sequence[ReadingAsked], values: Sequence[float]) -> Iterator[_Line]:
        vessel = self.poured.stages[stage]
        contents = bounded(_moved(vessel.contents, vessel.shifts, values))
        here = Spreads(self.poured.materials, vessel.left_g, self.circumstances, contents)
        stages = len(self.poured.stages)
        for asked in readings:
            try:
                value, gradient = _looked_at(asked.name, here)
            except ServiceError as error:
                place = "" if stage == stages - 1 else f"/earlier/{stage}"
                raise error.below(f"{place}/measured/{asked.name}") from error
            slopes = tuple([sum(map(mul, gradient, shift)) for shift in vessel.shifts])
            variance = _error(asked) ** 2 + sum(sd * sd for sd in _model_sds(asked.name, here, value))
            offset = sum(map(mul, slopes, values))
            if_lost = [sum(map(mul, gradient, shift)) for shift in vessel.if_lost]
            if_lost += [0.0] * (stages - len(if_lost))
            yield _Line(LinearReading(slopes, asked.value - value + offset, variance), value, tuple(if_lost))


def least_error(name: str, value: float) -> float:
    """The least error that a reading counts with, in its unit."""
    return LEAST_ERROR[name] * (value if name == "volume" else 1.0)


def _error(asked: ReadingAsked) -> float:
    return max(asked.error, least_error(asked.name, asked.value))


def _model_sds(name: str, here: Spreads, value: float) -> list[float]:
    if name == REFRACTOMETER:
        return [REFRACTOMETER_MODEL_SD_BRIX]
    return [sd for _, sd in here.model_sd(name, value)]


def _looked_at(name: str, here: Spreads) -> tuple[float, tuple[float, ...]]:
    """What a reading of a drink would be, and its change for each unit of the contents."""
    if name == REFRACTOMETER:
        brix, gradient = refractometer_brix_and_gradient(here.contents.masses_g)
        return brix, (*gradient, *(0.0,) * (SIZE - len(COMPONENTS)))
    circumstances = here.circumstances
    law = circumstances.senses.law(name)
    value = property_value(law, here.contents, here.contents.volume_ml / 1000.0, circumstances.end_point_ph)
    if value is None:
        raise InputError(f"No {plain_property(name)} can be told of what was poured: leave its reading out.")
    return value, property_gradient(law, here.contents, here.chemistry, value)
