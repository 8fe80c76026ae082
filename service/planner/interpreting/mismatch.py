"""Readings beside what the drink should be: do they fit, and if not, what is likeliest to be off.

A recipe goes through the same update as a correction: everything poured has its spread, readings have theirs, and what
would have to be different to make them likely is named. Of figures without a recipe only the readings and the figures
themselves can be off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Final

from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import ServiceError
from service.model.linear_gaussian import Fit, chance_of_more, fit_of
from service.model.properties import PROPERTIES
from service.physics.extract import litre_from_sg_and_abv
from service.physics.refraction import refractometer_brix
from service.planner.asked import PlanAsked
from service.planner.correction.answers import Consistency, Culprit, ReadingReport
from service.planner.correction.asked import (
    REFRACTOMETER,
    CorrectionAsked,
    PourAsked,
    ReadingAsked,
    StageAsked,
)
from service.planner.correction.belief import REFRACTOMETER_MODEL_SD_BRIX, believed
from service.planner.correction.culprit import DOUBTFUL_BELOW, INCONSISTENT_BELOW, Verdict, judged
from service.planner.correction.told import Told
from service.planner.drink import DrinkRead
from service.planner.interpreting.answers import Mismatch
from service.planner.interpreting.asked import ReadingsAsked
from service.planner.interpreting.strength import gravity_now
from service.planner.span import NORMAL_90, Span

_VARIANCE_TIMES: Final = 100.0
_LEAST_GAIN: Final = log(3.0)
_MOST_GAIN: Final = log(1e6)
_STEP_SG, _STEP_ABV = 1e-4, 0.01


def mismatch_of(asked: ReadingsAsked, abv_percent: float) -> Mismatch | None:
    """Whether the readings fit the recipe or figures that were expected.

    Parameters: asked; abv_percent, for the temperature correction of the gravity.
    Returns: Mismatch; None without something expected, or without a reading that can be held against it.
    Raises: InputError where a reading has no counterpart in what was poured.
    """
    if asked.expected is None:
        return None
    readings = readings_of(asked, abv_percent)
    if asked.expected.figures is not None:
        return _beside_figures(asked.expected.figures, readings)
    return _beside_recipe(asked, readings) if readings else None


def readings_of(asked: ReadingsAsked, abv_percent: float) -> tuple[ReadingAsked, ...]:
    """The readings as a correction takes them: as read, none reckoned from others."""
    tools = asked.circumstances.instruments
    found: list[ReadingAsked] = []
    now = gravity_now(asked)
    if now is not None:
        found.append(ReadingAsked("gravity", now.at_20c(abv_percent), tools.hydrometer_error))
    if asked.abv_percent is not None:
        found.append(ReadingAsked("abv_percent", asked.abv_percent, tools.strength_error_percent))
    if asked.acidity is not None:
        value, sd = (
            acid_g_per_l_from_meq_per_l(v, Acid.TARTARIC) for v in (asked.acidity.meq_per_l, asked.acidity.sd_meq_per_l)
        )
        found.append(ReadingAsked("titratable_acidity", value, sd))
    if asked.ph is not None:
        found.append(ReadingAsked("ph", asked.ph, tools.ph_meter_error))
    if asked.volume_l is not None:
        volume = asked.volume_l
        found.append(ReadingAsked("volume", volume.value, (volume.high - volume.value) / NORMAL_90))
    if asked.refractometer is not None:
        read = asked.refractometer
        error = tools.refractometer_error_brix if read.error_brix is None else read.error_brix
        found.append(ReadingAsked(REFRACTOMETER, read.at_20c, error))
    return tuple(found)


def _beside_recipe(asked: ReadingsAsked, readings: tuple[ReadingAsked, ...]) -> Mismatch:
    expected = asked.expected
    assert expected is not None
    circumstances = asked.circumstances
    lots, additions = expected.lots, expected.additions
    stage = StageAsked(
        tuple(PourAsked(lot.least_l, _sd(lot.volume_sd_share, lot.least_l)) for lot in lots),
        tuple(PourAsked(a.least_g, a.amount_sd_g) for a in additions),
        (),
    )
    plan = PlanAsked(lots, additions, (), circumstances=circumstances)
    try:
        belief = believed(CorrectionAsked(plan, lots, additions, (), (stage,), readings, {}))
    except ServiceError as error:
        error.pointer = _POINTERS.get(error.pointer, "/expected")
        raise
    told = Told(belief)
    return Mismatch(told.consistency(judged(belief)), told.readings())


def _sd(share: float | None, litres: float) -> float | None:
    return None if share is None else share * litres


_POINTERS: Final[Mapping[str, str]] = {
    "/measured/gravity": "/hydrometer",
    "/measured/ph": "/ph",
    "/measured/titratable_acidity": "/titratable_acidity",
    "/measured/abv_percent": "/abv_percent",
    "/measured/volume": "/volume",
    "/measured/refractometer": "/refractometer",
}


@dataclass(frozen=True, slots=True)
class _Beside:
    """A reading and what the figures make it, with how that moves with gravity and strength of the figures."""

    reading: ReadingAsked
    expected: float
    slopes: tuple[float, float]
    own_sd: float


def _beside_figures(figures: DrinkRead, readings: Sequence[ReadingAsked]) -> Mismatch | None:
    """Readings against the expected figures of a drink; gravity and strength move a refractometer too."""
    beside = [one for one in (_expected(figures, reading) for reading in readings) if one is not None]
    if not beside:
        return None
    sds = (_sd_of(figures.gravity), _sd_of(figures.abv_percent))
    size = len(beside)
    misses = [one.reading.value - one.expected for one in beside]
    spread = [
        [
            sum(a * b * sd * sd for a, b, sd in zip(beside[i].slopes, beside[j].slopes, sds, strict=True))
            + ((beside[i].reading.error ** 2 + beside[i].own_sd ** 2) if i == j else 0.0)
            for j in range(size)
        ]
        for i in range(size)
    ]
    for k in range(size):
        spread[k][k] = max(spread[k][k], 1e-12)
    fit = fit_of(misses, spread)
    chance = chance_of_more(fit.chi_square, size)
    verdict: Verdict = (
        "consistent" if chance >= DOUBTFUL_BELOW else "doubtful" if chance >= INCONSISTENT_BELOW else "inconsistent"
    )
    culprits = () if verdict == "consistent" else _culprits(beside, misses, spread, fit)
    shown = f"{100.0 * chance:.0f} %" if chance >= 0.001 else "below 0.1 %"
    fits = {"consistent": "fit", "doubtful": "hardly fit", "inconsistent": "do not fit"}[verdict]
    text = f"The readings {fits} the expected figures (chance {shown})."
    if culprits:
        text += f" Likeliest: {culprits[0].text}"
    elif verdict != "consistent":
        text += " No single figure explains it: give the recipe with what really went in."
    return Mismatch(
        Consistency(verdict, float(f"{chance:.3g}"), culprits, text),
        tuple(_report(one, sqrt(spread[k][k])) for k, one in enumerate(beside)),
    )


def _sd_of(span: Span | None) -> float:
    return 0.0 if span is None else (span.high - span.low) / (2.0 * NORMAL_90)


def _expected(figures: DrinkRead, reading: ReadingAsked) -> _Beside | None:
    """What the figures make of a reading; None where they do not tell."""
    name = reading.name
    gravity, abv = figures.gravity, figures.abv_percent
    if name == "gravity":
        return None if gravity is None else _Beside(reading, gravity.value, (1.0, 0.0), 0.0)
    if name == "abv_percent":
        return None if abv is None else _Beside(reading, abv.value, (0.0, 1.0), 0.0)
    if name == "titratable_acidity":
        meq = figures.titratable_meq_per_l
        if meq is None:
            return None
        return _Beside(reading, acid_g_per_l_from_meq_per_l(meq, Acid.TARTARIC), (0.0, 0.0), 0.0)
    if name == REFRACTOMETER:
        if gravity is None or abv is None:
            return None
        at = _brix(gravity.value, abv.value)
        slopes = (
            (_brix(gravity.value + _STEP_SG, abv.value) - at) / _STEP_SG,
            (_brix(gravity.value, abv.value + _STEP_ABV) - at) / _STEP_ABV,
        )
        return _Beside(reading, at, slopes, REFRACTOMETER_MODEL_SD_BRIX)
    span = figures.ph if name == "ph" else figures.volume_l
    return None if span is None else _Beside(reading, span.value, (0.0, 0.0), _sd_of(span))


def _brix(gravity: float, abv_percent: float) -> float:
    try:
        return refractometer_brix(litre_from_sg_and_abv(gravity, abv_percent))
    except ServiceError as error:
        raise error.below("/expected/drink/gravity") from error


def _culprits(
    beside: Sequence[_Beside], misses: Sequence[float], spread: Sequence[Sequence[float]], usual: Fit
) -> tuple[Culprit, ...]:
    """Which single reading or figure, were it off, would explain the rest; the likeliest first."""
    found = []
    for k, one in enumerate(beside):
        variance = one.reading.error**2 + one.own_sd**2
        wider = [list(row) for row in spread]
        wider[k][k] += (_VARIANCE_TIMES - 1.0) * variance
        fit = fit_of(misses, wider)
        off = _VARIANCE_TIMES * variance * fit.weighted[k]
        left = [miss - (off if j == k else 0.0) for j, miss in enumerate(misses)]
        chance = chance_of_more(fit_of(left, spread).chi_square, len(misses))
        gain = fit.log_density - usual.log_density
        if gain >= _LEAST_GAIN and chance >= DOUBTFUL_BELOW:
            found.append((gain, one, off))
    found.sort(key=lambda f: -f[0])
    return tuple(_culprit(one, off, gain) for gain, one, off in found)


def _culprit(one: _Beside, off: float, gain: float) -> Culprit:
    unit, decimals = _unit(one.reading.name)
    way = "high" if off > 0.0 else "low"
    name = one.reading.name.replace("_", " ").removesuffix(" percent")
    return Culprit(
        "reading",
        one.reading.name,
        "reading",
        unit,
        round(one.reading.value, decimals + 1),
        round(one.reading.value - off, decimals + 1),
        float(f"{exp(min(gain, _MOST_GAIN)):.2g}"),
        f"the {name} as read is {abs(off):.{decimals}f}{' ' + unit if unit else ''} too {way}, or its expected figure "
        "is off.",
    )


def _unit(name: str) -> tuple[str, int]:
    if name == REFRACTOMETER:
        return "°Bx", 1
    law = PROPERTIES[name]
    return {"SG": "", "pH": ""}.get(law.unit, law.unit), 2 if name == "volume" else law.decimals


def _report(one: _Beside, sd: float) -> ReadingReport:
    unit, decimals = _unit(one.reading.name)
    digits = decimals + 1
    return ReadingReport(
        one.reading.name,
        1,
        unit,
        round(one.reading.value, digits + 1),
        float(f"{one.reading.error:.3g}"),
        round(one.expected, digits),
        round(one.expected - NORMAL_90 * sd, digits),
        round(one.expected + NORMAL_90 * sd, digits),
        round(one.reading.value, digits),
        round((one.reading.value - one.expected) / sd, 2) + 0.0,
    )
