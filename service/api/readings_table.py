"""What readings mean, as lines of text and as one flat row."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any, Final

from service.api.tables import Row
from service.planner.interpreting.answers import Interpretation

_METHODS: Final = (
    "given",
    "two_gravities",
    "factor_131_25",
    "real_extract_rule",
    "hydrometer_and_refractometer",
    "recipe",
)


def readings_rows(found: Interpretation) -> list[Row]:
    """One row: verdict and action, `stop` cautions, every figure with its interval, and what does not fit.

    Parameters: found.
    Returns: rows, all with the same columns whatever was read.
    """
    sugar, acidity, trend = found.sugar, found.acidity, found.trend
    row: Row = {
        "batch": found.batch,
        "date": found.date,
        "stop": " | ".join(c.text for c in found.cautions if c.level == "stop"),
        "fermentation": found.fermentation,
        "wait_days": float(found.wait_days),
        "action": found.action,
    }
    for name, gravity in (("gravity", found.gravity), ("original_gravity", found.original_gravity)):
        row |= _ends(name, gravity)
    row |= _ends("abv_percent", found.abv_percent)
    by_method = {report.method: report.abv_percent for report in found.alcohol}
    row |= {f"abv_percent_by_{name}": by_method.get(name) for name in _METHODS}
    row["refractometer_brix_at_20c"] = None if found.refractometer is None else found.refractometer.value_brix
    row |= _ends("extract_g_per_l", None if sugar is None else sugar.extract_g_per_l)
    row |= _ends("sugar_g_per_l", None if sugar is None else sugar.sugar_g_per_l)
    row |= _ends("possible_drop", None if sugar is None else sugar.possible_drop)
    row |= _ends("g_per_l_citric", None if acidity is None else acidity.g_per_l_citric)
    row |= _ends("g_per_l_tartaric", None if acidity is None else acidity.g_per_l_tartaric)
    row["end_point_ph"] = None if acidity is None else acidity.end_point_ph
    row |= _ends("ph", found.ph)
    row["fall"] = None if trend is None else trend.fall
    row["days"] = None if trend is None else trend.days
    fits = None if found.mismatch is None else found.mismatch.consistency
    row["readings_fit"] = None if fits is None else fits.verdict
    row["probability"] = None if fits is None else fits.probability
    row["likeliest_culprit"] = fits.culprits[0].text if fits is not None and fits.culprits else None
    return [row]


def _ends(name: str, figure: Any) -> Row:
    if figure is None:
        return {name: None, f"{name}_low": None, f"{name}_high": None}
    return {name: figure.value, f"{name}_low": figure.low, f"{name}_high": figure.high}


def what_they_mean(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of an interpretation; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield f"{body['fermentation']}: {body['summary']}"
    yield ""
    for title, name in (("Gravity", "gravity"), ("Original gravity", "original_gravity"), ("", "refractometer")):
        if body[name] is not None:
            yield f"{title}: {body[name]['text']}" if title else f"Refractometer: {body[name]['text']}"
    if body["alcohol"]:
        yield "Strength:"
        for report in body["alcohol"]:
            mark = "*" if report["used"] else "-"
            yield f"{mark} {report['method'].replace('_', ' ')}: {report['text']} Holds if {report['assumption']}."
    for name, title in (("sugar", "Sugar"), ("acidity", "Acidity"), ("trend", "Series")):
        if body[name] is not None:
            yield f"{title}: {body[name]['text']}"
    ph = body["ph"]
    if ph is not None:
        yield f"pH {ph['value']:.2f} ({ph['low']:.2f} to {ph['high']:.2f}), {ph['how'].replace('_', ' ')}"
    if body["mismatch"] is not None:
        yield ""
        yield f"Beside what was expected: {body['mismatch']['consistency']['text']}"
        for reading in body["mismatch"]["readings"]:
            yield (
                f"- {reading['property'].replace('_', ' ')}: read {reading['measured']:g}, expected "
                f"{reading['expected']:g} ({reading['expected_low']:g} to {reading['expected_high']:g}) "
                f"{reading['unit']}"
            ).rstrip()
        for culprit in body["mismatch"]["consistency"]["culprits"]:
            yield f"- {culprit['text']} ({culprit['times_likelier']:g} times as likely)"
