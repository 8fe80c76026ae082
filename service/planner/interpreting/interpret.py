"""From what a maker read to what it means, and what to do."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from service import MODEL_VERSION
from service.catalogue.loader import data_version, sources
from service.catalogue.readings import BRIX_PER_CITRIC_PERCENT
from service.chemistry.acids import Acid, acid_g_per_l_from_meq_per_l
from service.errors import InputError, OutOfRangeError, ServiceError
from service.model.lot_class import Assumed
from service.physics.sucrose import brix_from_sg
from service.planner.answers import Caution, Predicted, SourceCited
from service.planner.correction.answers import Figure
from service.planner.drink import drink_from_recipe
from service.planner.evidence import assumed_in
from service.planner.interpreting.acidity import acidity_of
from service.planner.interpreting.answers import (
    AcidityReport,
    GravityReport,
    Interpretation,
    Mismatch,
    PhReport,
    RefractometerReport,
)
from service.planner.interpreting.asked import HydrometerRead, ReadingsAsked, acid_of
from service.planner.interpreting.cautions import cautions_of
from service.planner.interpreting.handed_on import Known, calls_of
from service.planner.interpreting.mismatch import mismatch_of
from service.planner.interpreting.steps import readings_to_take, steps_of
from service.planner.interpreting.strength import ByMethod, Strengths, gravity_now, strengths_of
from service.planner.interpreting.sugar import SugarFound, sugar_of
from service.planner.interpreting.trend import SWEET_DROP, Rest, check_series, rest_of
from service.planner.materials import materials_of
from service.planner.span import NORMAL_90, Span
from service.planner.stabilising.blocks import LEAST_DAYS, SLOW_DAYS
from service.planner.work import schedule_of

_ALWAYS = ("oiml_r22", "icumsa_sps4", "common_practice", "our_default")


def interpret_readings(asked: ReadingsAsked) -> Interpretation:
    """True gravity, strength by each method, sugar, acidity, whether the ferment rests, and what does not fit.

    Parameters: asked, in base units, one reading at least.
    Returns: Interpretation.
    Raises: InputError, OutOfRangeError, InconsistentError for readings that cannot be, with the place of each.

    Example: a must of OG 1.100 that stands at 1.000 has 13.43 % vol by Balling's factors (computed).

    >>> found = interpret_readings(ReadingsAsked(HydrometerRead(1.000), HydrometerRead(1.100)))
    >>> round(found.abv_percent.value, 2), found.fermentation
    (13.43, 'unknown')
    """
    assumed: list[Assumed] = [*asked.circumstances.assumed, *asked.assumed]
    predicted = _by_recipe(asked, assumed)
    strengths = strengths_of(asked, _strength_expected(asked, predicted))
    if "two_gravities" not in strengths.impossible:
        check_series(asked)
    used = strengths.used
    now = gravity_now(asked)
    sugar = sugar_of(asked, used) if used is not None and now is not None else None
    abv = 0.0 if used is None else max(used.found.abv_percent, 0.0)
    if asked.residual_sugar_g_per_l is not None and sugar is None:
        raise InputError(
            "A sugar test is held against gravity and strength: give the hydrometer's reading, and what tells the "
            "strength.",
            "/residual_sugar",
        )
    rest = rest_of(asked, abv, None if sugar is None else sugar.drop)
    acidity = acidity_of(asked, None if used is None else abv, None if sugar is None else sugar.sugar.value)
    ph = _ph(asked, predicted)
    mismatch = mismatch_of(asked, abv)
    if asked.expected is not None and mismatch is None:
        raise InputError(
            "Give a reading that can be held against what was expected: gravity, refractometer, acidity, pH or volume.",
            "/expected",
        )
    assumed += _assumed(asked, strengths, sugar)
    steps = steps_of(asked, rest)
    if asked.circumstances.start_date is not None and not steps:
        raise InputError(
            "Nothing here has steps: leave start_date out, or give the gravity of a ferment.", "/start_date"
        )
    cautions = cautions_of(asked, strengths, sugar, rest, acidity, ph, mismatch)
    circumstances = asked.circumstances
    gravity = None if now is None else _gravity(asked, now, abv, used)
    action = _action(asked, rest, sugar, gravity)
    return Interpretation(
        summary=_summary(asked, strengths, sugar, acidity, rest, mismatch, action),
        fermentation=rest.fermentation,
        action=action,
        wait_days=rest.wait_days,
        gravity=gravity,
        original_gravity=None if asked.original is None else _gravity(asked, asked.original, 0.0, None),
        refractometer=_refractometer(asked, used),
        alcohol=strengths.reports,
        abv_percent=None if used is None else _figure(used.strength, 3),
        sugar=None if sugar is None else sugar.report,
        acidity=acidity,
        ph=ph,
        trend=rest.trend,
        mismatch=mismatch,
        steps=steps,
        schedule=schedule_of(steps, circumstances.start_date),
        next=calls_of(Known(asked, used, sugar, rest, _expected_figures(asked, predicted), bool(strengths.impossible))),
        units=circumstances.system,
        assumed=tuple(dict.fromkeys(assumed)),
        cautions=cautions,
        next_reading=readings_to_take(asked, strengths, sugar, rest, mismatch),
        sources=_sources(asked, strengths, cautions, (step.source_id for step in steps)),
        model_version=MODEL_VERSION,
        data_version=data_version(),
        batch=circumstances.echo.batch,
        date=circumstances.echo.date,
        note=circumstances.echo.note,
    )


def _by_recipe(asked: ReadingsAsked, assumed: list[Assumed]) -> Predicted | None:
    """What the expected recipe makes; None without one. Its assumptions are added to those of the answer."""
    expected = asked.expected
    if expected is None or expected.figures is not None:
        return None
    try:
        drink = drink_from_recipe(expected.lots, expected.additions, asked.circumstances)
    except ServiceError as error:
        raise error.below("/expected") from error
    told = assumed_in(materials_of(expected.lots, expected.additions), asked.circumstances)
    assumed += [Assumed(f"expected: {a.what}", a.value, a.source, a.measure_by) for a in told]
    return drink.predicted


def _strength_expected(asked: ReadingsAsked, predicted: Predicted | None) -> Span | None:
    if predicted is not None:
        told = predicted.abv_percent
        return Span(told.value, told.low, told.high)
    figures = None if asked.expected is None else asked.expected.figures
    return None if figures is None else figures.abv_percent


def _expected_figures(asked: ReadingsAsked, predicted: Predicted | None) -> Mapping[str, float]:
    """Figures of the recipe that stand in for readings in a request that follows."""
    if predicted is not None:
        found = {"volume": predicted.volume.value, "gravity": predicted.gravity.value}
        return found if predicted.ph is None else {**found, "ph": predicted.ph.value}
    figures = None if asked.expected is None else asked.expected.figures
    if figures is None:
        return {}
    told = {"volume": figures.volume_l, "ph": figures.ph, "gravity": figures.gravity}
    return {name: span.value for name, span in told.items() if span is not None}


def _ph(asked: ReadingsAsked, predicted: Predicted | None) -> PhReport | None:
    if asked.ph is not None:
        half = NORMAL_90 * asked.circumstances.instruments.ph_meter_error
        return PhReport(asked.ph, round(asked.ph - half, 3), round(asked.ph + half, 3), "read")
    if predicted is not None and predicted.ph is not None:
        ph = predicted.ph
        return PhReport(ph.value, ph.low, ph.high, "by_the_recipe")
    return None


def _gravity(asked: ReadingsAsked, read: HydrometerRead, abv_percent: float, used: ByMethod | None) -> GravityReport:
    value = read.at_20c(abv_percent) if used is None else used.found.gravity
    half = NORMAL_90 * asked.circumstances.instruments.hydrometer_error
    try:
        brix: float | None = round(brix_from_sg(value), 2) + 0.0
    except OutOfRangeError:
        brix = None
    correction = value - read.shown
    text = f"SG {value:.4f} at 20 °C ({value - half:.4f} to {value + half:.4f})"
    if read.sample_c is not None:
        text += f": {read.shown:.4f} shown at {read.sample_c:.1f} °C, {correction:+.4f} for temperature"
    return GravityReport(
        round(value, 5),
        round(value - half, 5),
        round(value + half, 5),
        round(read.shown, 5),
        round(correction, 5) + 0.0,
        brix,
        f"{text}.",
    )


def _refractometer(asked: ReadingsAsked, used: ByMethod | None) -> RefractometerReport | None:
    read = asked.refractometer
    if read is None:
        return None
    value = read.at_20c
    if asked.juice:
        true = value + BRIX_PER_CITRIC_PERCENT * acid_g_per_l_from_meq_per_l(acid_of(asked), Acid.CITRIC) / 10.0
        return RefractometerReport(
            read.shown_brix,
            round(value, 2),
            round(true, 2),
            None,
            f"{value:.1f} °Bx at 20 °C; of juice that is dissolved solids, 0.2 more for each % of acid: {true:.1f}.",
        )
    if used is None or gravity_now(asked) is None:
        return RefractometerReport(
            read.shown_brix,
            round(value, 2),
            None,
            None,
            f"{value:.1f} °Bx as shown is no sugar: alcohol bends light too. The gravity of the same sample is needed.",
        )
    true = used.found.extract_percent
    return RefractometerReport(
        read.shown_brix,
        round(value, 2),
        round(true, 2),
        round(value - true, 2),
        f"{value:.1f} °Bx as shown, of which {value - true:.1f} is no extract but mostly alcohol: {true:.1f} % by mass "
        "are dissolved.",
    )


def _action(asked: ReadingsAsked, rest: Rest, sugar: SugarFound | None, gravity: GravityReport | None) -> str:
    """What to do now, in a sentence or two."""
    if asked.juice:
        return "Use these readings for the juice; it ferments if yeast gets to it: keep it cold, or heat-treat it."
    if gravity is None:
        return "Read the gravity too: whether the ferment rests, and what sugar is left, only that shows."
    if rest.fermentation == "falling":
        return (
            f"It still ferments: wait about {rest.wait_days} days, then read twice, {LEAST_DAYS} days apart. Neither "
            "seal, stabilise nor sweeten before."
        )
    if rest.fermentation == "unknown":
        return (
            f"Whether it rests is not known: read again after {rest.wait_days} days; only two equal readings "
            f"{LEAST_DAYS} days apart show it."
        )
    if rest.fell_lately:
        return (
            f"It seems to rest since a few days: read again after {rest.wait_days} days, and stabilise or seal only "
            f"when {SLOW_DAYS} days show no fall."
        )
    if sugar is not None and sugar.drop.low >= SWEET_DROP:
        return (
            "It rests with sugar left: stuck, cold, or sweetened, not finished. If it was to be dry, warm it, stir up "
            f"the yeast, and go on reading until {SLOW_DAYS} days show no fall."
        )
    if rest.wait_days:
        return (
            f"It rests, and may hold a little sugar: go on reading until {SLOW_DAYS} days show no fall, then rack, and "
            "decide what holds it."
        )
    return "No fall was seen: rack it, then decide what holds any sugar that you add."


def _summary(
    asked: ReadingsAsked,
    strengths: Strengths,
    sugar: SugarFound | None,
    acidity: AcidityReport | None,
    rest: Rest,
    mismatch: Mismatch | None,
    action: str,
) -> str:
    parts: list[str] = []
    used = strengths.used
    if used is not None and not asked.juice:
        told = used.strength
        parts.append(
            f"{told.value:.1f} % vol ({told.low:.1f} to {told.high:.1f}) by {_BY[used.method]}"
            + ("." if sugar is None else f", with about {sugar.sugar.value:.0f} g/L of sugar.")
        )
    elif not asked.juice and gravity_now(asked) is not None:
        parts.append("These readings do not tell the strength, nor therefore the sugar.")
    elif asked.juice and sugar is not None:
        parts.append(f"About {sugar.sugar.value:.0f} g/L of sugar.")
    if acidity is not None:
        parts.append(
            f"Acidity {acidity.g_per_l_citric.value:.1f} g/L as citric, {acidity.g_per_l_tartaric.value:.1f} as "
            f"tartaric, to pH {acidity.end_point_ph:g}."
        )
    if mismatch is not None:
        parts.append(mismatch.consistency.text)
    if rest.trend is not None and rest.fermentation != "falling":
        parts.append(rest.trend.text)
    parts.append(action)
    return " ".join(parts)


_BY: Mapping[str, str] = {
    "given": "the strength as given",
    "two_gravities": "original gravity and gravity",
    "hydrometer_and_refractometer": "hydrometer and refractometer together",
    "recipe": "the recipe, not by measurement",
}


def _assumed(asked: ReadingsAsked, strengths: Strengths, sugar: SugarFound | None) -> list[Assumed]:
    found: list[Assumed] = []
    tools = asked.circumstances.instruments
    used = strengths.used
    if asked.lot_class is None:
        found.append(Assumed("class", "mead", "our default", "say what kind of drink it is"))
    if asked.original is not None and asked.sweetened is None and not asked.juice:
        told = "yes" if asked.changed else "no"
        why = "the expected recipe has additions" if asked.changed else "nothing was said of it"
        found.append(Assumed("sweetened", told, why, "say whether anything went in after the original gravity"))
    errors = []
    if gravity_now(asked) is not None:
        errors.append(("hydrometer", f"hydrometer ±{tools.hydrometer_error:g} SG"))
    if asked.refractometer is not None and asked.refractometer.error_brix is None:
        errors.append(("refractometer", f"refractometer ±{tools.refractometer_error_brix:g} °Bx"))
    if asked.ph is not None:
        errors.append(("ph_meter", f"pH meter ±{tools.ph_meter_error:g}"))
    if asked.abv_percent is not None:
        errors.append(("strength", f"strength ±{tools.strength_error_percent:g} % vol"))
    if asked.acidity is not None:
        errors.append(("titration", f"titration ±{tools.titration_error_percent:g} %"))
    told_errors = [text for name, text in errors if name not in tools.given]
    if told_errors:
        found.append(
            Assumed(
                "errors of readings, each a standard deviation",
                ", ".join(told_errors),
                "common practice, no source; strength judged",
                "what your own instruments err by",
            )
        )
    if used is None and gravity_now(asked) is not None:
        read = gravity_now(asked)
        if read is not None and read.sample_c is not None:
            found.append(
                Assumed(
                    "strength for the temperature correction",
                    "0 % vol",
                    "none is known; with alcohol the correction is a little larger",
                    "the original gravity, or a refractometer in the same sample",
                )
            )
    if asked.steady_days is not None:
        found.append(
            Assumed(
                "gravity unchanged", f"for {asked.steady_days:g} days", "the caller's word", "two gravities by date"
            )
        )
    if asked.acidity is not None and asked.acidity.degassed is None:
        found.append(Assumed("sample titrated", "degassed", "our default", "say whether it was"))
    if sugar is not None:
        found += [Assumed(a.what, a.value, a.source, a.measure_by) for a in sugar.lot.assumed]
    return found


def _figure(span: Span, digits: int) -> Figure:
    return Figure(*(round(value, digits) + 0.0 for value in (span.value, span.low, span.high)))


def _sources(
    asked: ReadingsAsked, strengths: Strengths, cautions: Iterable[Caution], more: Iterable[str]
) -> tuple[SourceCited, ...]:
    keys = {*_ALWAYS, *(c.source_id for c in cautions), *more, *(r.source_id for r in strengths.reports)}
    if asked.refractometer is not None:
        keys |= {"crc_2021", "uman_2014"}
        if asked.refractometer.sample_c is not None and not asked.refractometer.compensates:
            keys.add("oiv_as2_02")
    if asked.acidity is not None:
        keys |= {"oiv_as313_01", "minteq_v4", "iupac_pka"}
    if any(r.method == "real_extract_rule" for r in strengths.reports):
        keys.add("cutaia_2009")
    table = sources()
    return tuple(SourceCited(key, table[key].title, table[key].mark) for key in sorted(keys))
