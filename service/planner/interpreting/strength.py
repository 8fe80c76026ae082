"""The strength of a drink by every method that its readings allow, and the extract that goes with it.

Errors are carried to first order: each reading is moved by a small step, and what the figure then moves by is scaled
to the reading's standard deviation. The spread of a method itself, such as the three yields of the mass balance,
comes on top.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import hypot
from typing import Final

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InputError, ServiceError
from service.physics.extract import litre_from_sg_and_abv
from service.physics.fermentation import Fermentation, abv_from_gravities
from service.physics.mixture import WATER_G_PER_ML
from service.physics.refraction import extract_and_abv_from_refractometer
from service.physics.solutes import Component
from service.planner.correction.belief import REFRACTOMETER_MODEL_SD_BRIX
from service.planner.interpreting.answers import AlcoholReport, Method
from service.planner.interpreting.asked import HydrometerRead, ReadingsAsked, acid_of
from service.planner.interpreting.strength_told import no_strength, report_of, rules_of
from service.planner.span import NORMAL_90, Span

Shifts = Mapping[str, float]
"""By how much each reading is moved, by its name: gravity, original, refractometer, strength."""

_STEPS: Final = {"gravity": 1e-4, "original": 1e-4, "refractometer": 0.01, "strength": 0.01}
_STILL: Final[Shifts] = {}
_ROUNDS: Final = 3
"""Passes in which a gravity's correction for temperature and the strength settle."""

DISAGREE: Final = NORMAL_90
"""Two strengths that differ by more of their standard deviations than this do not fit (our default)."""


@dataclass(frozen=True, slots=True)
class Found:
    """A gravity, strength and extract that go together."""

    gravity: float
    abv_percent: float
    extract_g_per_l: float
    extract_percent: float


@dataclass(frozen=True, slots=True)
class ByMethod:
    """What one method makes of the readings, with first-order standard deviations by the instruments.

    `least` and `most` are the strengths that other assumptions of the method give to the same readings. `slopes` say
    what strength and extract move by for each unit of each reading.
    """

    method: Method
    found: Found
    slopes: Mapping[str, tuple[float, float]]
    sds: Mapping[str, float]
    least: float
    most: float
    extra_sds: Mapping[str, float]

    @property
    def error(self) -> float:
        """Standard deviation of the strength by the instruments alone [% vol]."""
        return hypot(*(self.slopes[name][0] * sd for name, sd in self.sds.items() if name in self.slopes))

    def _whole(self, which: int) -> float:
        own = [self.slopes[name][which] * self.sds.get(name, 0.0) for name in self.slopes]
        more = [self.slopes[name][which] * sd for name, sd in self.extra_sds.items() if name in self.slopes]
        return NORMAL_90 * hypot(*own, *more)

    @property
    def strength(self) -> Span:
        """The strength with its 90 % interval, not below nothing."""
        value, half = self.found.abv_percent, self._whole(0)
        low = value - hypot(value - self.least, half)
        return Span(value, min(max(low, 0.0), value), value + hypot(self.most - value, half))

    @property
    def extract(self) -> Span:
        """The extract with its 90 % interval [g/L]; it may lie a little below nothing."""
        value, half = self.found.extract_g_per_l, self._whole(1)
        # more strength from the same gravity means more extract: about 3.8 g/L for each % vol (computed)
        per_percent = _extract_per_percent(self.found)
        low = value - hypot((self.found.abv_percent - self.least) * per_percent, half)
        return Span(value, low, value + hypot((self.most - self.found.abv_percent) * per_percent, half))


def _extract_per_percent(found: Found) -> float:
    more = litre_from_sg_and_abv(found.gravity, found.abv_percent + 0.1)[Component.SUCROSE]
    return (more - litre_from_sg_and_abv(found.gravity, found.abv_percent)[Component.SUCROSE]) / 0.1


@dataclass(frozen=True, slots=True)
class Strengths:
    """The methods that gave a strength, the one used first; all methods in words; and those whose readings are
    impossible."""

    methods: tuple[ByMethod, ...]
    reports: tuple[AlcoholReport, ...]
    impossible: tuple[Method, ...]

    @property
    def used(self) -> ByMethod | None:
        """The method that the rest of the answer is reckoned with."""
        return self.methods[0] if self.methods else None

    def apart(self) -> tuple[ByMethod, ByMethod, float] | None:
        """The two measured strengths, where they differ beyond their errors, and how many % vol they do."""
        measured = {m.method: m for m in self.methods}
        first = measured.get("given") or measured.get("two_gravities")
        second = measured.get("hydrometer_and_refractometer")
        if second is None and first is not None and first.method == "given":
            second = measured.get("two_gravities")
        if first is None or second is None:
            return None
        names = {*first.slopes, *second.slopes}
        sds = {**second.sds, **first.sds}
        zero = (0.0, 0.0)
        by = [(first.slopes.get(n, zero)[0] - second.slopes.get(n, zero)[0]) * sds[n] for n in names]
        spread = (first.most - first.least) / 4.0
        sd = hypot(*by, spread, *(second.slopes[n][0] * e for n, e in second.extra_sds.items()))
        gap = second.found.abv_percent - first.found.abv_percent
        return (first, second, gap) if abs(gap) > DISAGREE * sd else None


def gravity_now(asked: ReadingsAsked) -> HydrometerRead | None:
    """The drink's gravity now: as read, else the last of the series."""
    if asked.hydrometer is not None or not asked.series:
        return asked.hydrometer
    return sorted(asked.series, key=lambda one: one.day)[-1].read


def strengths_of(asked: ReadingsAsked, by_recipe: Span | None) -> Strengths:
    """The strength by every method.

    Parameters: asked; by_recipe, the strength that the expected recipe has, used where nothing was measured.
    Returns: Strengths.
    Raises: ServiceError where a method that nothing stands in for finds its readings impossible.
    """
    now = gravity_now(asked)
    found: list[ByMethod] = []
    reports: list[AlcoholReport] = []
    faults: dict[Method, ServiceError] = {}
    for method, attempt in _METHODS.items():
        try:
            one = attempt(asked, now)
        except ServiceError as error:
            faults[method] = error
            reports.append(no_strength(method, error.detail))
            continue
        if isinstance(one, str):
            reports.append(no_strength(method, one))
        elif one is not None:
            found.append(one)
    if not found and faults and by_recipe is None:
        raise next(iter(faults.values()))
    if not found and by_recipe is not None and now is not None:
        found.append(_by_recipe(asked, now, by_recipe))
    used = found[0] if found else None
    known = acid_of(asked) > 0.0
    told = [
        report_of(one.method, one.strength, one.error, (one.least, one.most), used=one is used, acid_known=known)
        for one in found
    ]
    rules: list[AlcoholReport] = []
    two = next((one for one in found if one.method == "two_gravities"), None)
    if two is not None and asked.original is not None and now is not None:
        rules = rules_of(asked.original.at_20c(0.0), two.found.gravity)
    return Strengths(tuple(found), (*told, *rules, *reports), tuple(faults))


def _given(asked: ReadingsAsked, now: HydrometerRead | None) -> ByMethod | None:
    """A strength that is known."""
    if asked.abv_percent is None:
        return None
    strength, sd = asked.abv_percent, asked.circumstances.instruments.strength_error_percent

    def look(shift: Shifts) -> Found:
        abv = max(strength + shift.get("strength", 0.0), 0.0)
        assert now is not None
        return _at(now.at_20c(abv) + shift.get("gravity", 0.0), abv)

    return _method("given", look, now, strength, {"strength": sd}, asked)


def _juice(asked: ReadingsAsked, now: HydrometerRead | None) -> ByMethod | None:
    """A juice holds no alcohol."""
    if not asked.juice or asked.abv_percent is not None or now is None:
        return None
    return _method(
        "no_alcohol_in_juice",
        lambda shift: _at(now.at_20c(0.0) + shift.get("gravity", 0.0), 0.0),
        now,
        0.0,
        {},
        asked,
    )


def _two_gravities(asked: ReadingsAsked, now: HydrometerRead | None) -> ByMethod | str | None:
    """Balling's mass balance, for a must to which nothing was added."""
    original = asked.original
    if original is None or asked.juice:
        return None
    if asked.changed:
        return (
            "Says nothing here: something went in after the original gravity was read, so that gravity no longer tells "
            "what was fermented."
        )
    if now is None:
        return "Needs the gravity of the drink now."

    def fermented(shift: Shifts) -> tuple[float, Fermentation]:
        first = original.at_20c(0.0) + shift.get("original", 0.0)
        abv = 0.0
        for _ in range(_ROUNDS):
            gravity = now.at_20c(abv) + shift.get("gravity", 0.0)
            result = abv_from_gravities(first, gravity)
            abv = result.abv_percent
        return gravity, result

    def look(shift: Shifts) -> Found:
        gravity, result = fermented(shift)
        return _at(gravity, result.abv_percent)

    try:
        _, result = fermented(_STILL)
    except ServiceError as error:
        raise error.below("/original_gravity") from error
    sd = asked.circumstances.instruments.hydrometer_error
    one = _method("two_gravities", look, now, result.abv_percent, {"original": sd}, asked)
    return replace(one, least=result.abv_low_percent, most=result.abv_high_percent)


def _two_instruments(asked: ReadingsAsked, now: HydrometerRead | None) -> ByMethod | str | None:
    """Hydrometer and refractometer together: two equations for extract and alcohol."""
    read = asked.refractometer
    if read is None or asked.juice:
        return None
    if now is None:
        return (
            "A refractometer alone tells neither sugar nor strength of a drink with alcohol: read the hydrometer too."
        )
    brix, acid = read.at_20c, acid_of(asked)

    def look(shift: Shifts) -> Found:
        abv = 0.0
        for _ in range(_ROUNDS):
            gravity = now.at_20c(max(abv, 0.0)) + shift.get("gravity", 0.0)
            density = gravity * WATER_G_PER_ML
            acid_percent = acid_g_per_l_from_meq_per_l(acid, Acid.CITRIC) / (10.0 * density)
            both = extract_and_abv_from_refractometer(gravity, brix + shift.get("refractometer", 0.0), acid_percent)
            abv = both.abv_percent
        whole = both.extract_percent + acid_percent
        return Found(gravity, abv, 10.0 * density * whole, whole)

    tools = asked.circumstances.instruments
    sd = tools.refractometer_error_brix if read.error_brix is None else read.error_brix
    try:
        strength = look(_STILL).abv_percent
    except ServiceError as error:
        raise error.below("/refractometer") from error
    one = _method("hydrometer_and_refractometer", look, now, strength, {"refractometer": sd}, asked)
    if strength < 0.0:  # within the errors of both readings: a drink has no less than none
        one = replace(one, found=_at(one.found.gravity, 0.0), least=0.0, most=0.0)
    return replace(one, extra_sds={"refractometer": REFRACTOMETER_MODEL_SD_BRIX})


_METHODS: Final[Mapping[Method, Callable[[ReadingsAsked, HydrometerRead | None], ByMethod | str | None]]] = {
    "given": _given,
    "no_alcohol_in_juice": _juice,
    "two_gravities": _two_gravities,
    "hydrometer_and_refractometer": _two_instruments,
}


def _by_recipe(asked: ReadingsAsked, now: HydrometerRead, strength: Span) -> ByMethod:
    def look(shift: Shifts) -> Found:
        abv = max(strength.value + shift.get("strength", 0.0), 0.0)
        return _at(now.at_20c(abv) + shift.get("gravity", 0.0), abv)

    sd = (strength.high - strength.low) / (2.0 * NORMAL_90)
    return _method("recipe", look, now, strength.value, {"strength": sd}, asked)


def _at(gravity: float, abv_percent: float) -> Found:
    """The extract that gravity and strength leave."""
    try:
        litre = litre_from_sg_and_abv(gravity, abv_percent)
    except ServiceError as error:
        raise error.below("/hydrometer") from error
    extract = litre[Component.SUCROSE]
    return Found(gravity, abv_percent, extract, 100.0 * extract / sum(litre.values()))


def _method(
    method: Method,
    look: Callable[[Shifts], Found],
    now: HydrometerRead | None,
    strength: float,
    sds: Mapping[str, float],
    asked: ReadingsAsked,
) -> ByMethod:
    """A method with its slopes; without a gravity there is a strength and nothing else."""
    if now is None:
        nothing = Found(float("nan"), strength, float("nan"), float("nan"))
        return ByMethod(method, nothing, {"strength": (1.0, 0.0)}, dict(sds), strength, strength, {})
    found = look(_STILL)
    all_sds = {"gravity": asked.circumstances.instruments.hydrometer_error, **sds}
    slopes = {name: _slope(look, name) for name in all_sds}
    return ByMethod(method, found, slopes, all_sds, found.abv_percent, found.abv_percent, {})


def _slope(look: Callable[[Shifts], Found], name: str) -> tuple[float, float]:
    """What strength and extract move by for each unit of a reading; one-sided at the edge of a formula."""
    step = _STEPS[name]
    ends: list[tuple[float, Found]] = []
    for shift in (step, -step):
        try:
            ends.append((shift, look({name: shift})))
        except ServiceError:
            ends.append((0.0, look(_STILL)))
    (up, above), (down, below) = ends
    if up == down:
        raise InputError("These readings lie at the edge of what can be reckoned: read them again.")
    span = up - down
    return (
        (above.abv_percent - below.abv_percent) / span,
        (above.extract_g_per_l - below.extract_g_per_l) / span,
    )
