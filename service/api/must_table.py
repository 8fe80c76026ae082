"""A must plan as one flat row, and as lines of text: amounts, where it ends, feeds, the drink, shopping."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from service.api.tables import Row
from service.planner.must.answers import MustPlan


def must_rows(plan: MustPlan) -> list[Row]:
    """One row: outcome, `stop` cautions, grams of each source and nutrient, gravity, where it ends, base and cost."""
    stop = " | ".join(caution.text for caution in plan.cautions if caution.level == "stop")
    row: Row = {"batch": plan.batch, "date": plan.date, "outcome": plan.outcome, "stop": stop}
    row |= {f"{amount.name}_mass_g": amount.mass_g for amount in plan.amounts}
    for prefix, told in (("original_gravity", plan.original_gravity), ("brix", plan.brix)):
        row |= {prefix: told.value, f"{prefix}_low": told.low, f"{prefix}_high": told.high}
    volume = plan.predicted.volume
    row |= {"volume_l": volume.value, "volume_l_low": volume.low, "volume_l_high": volume.high}
    for name, expected in (("final_gravity", plan.ferment.final_gravity), ("abv_percent", plan.ferment.abv_percent)):
        row |= {f"{name}": expected.value, f"{name}_least": expected.low, f"{name}_most": expected.high}
    row |= {
        "sugar_break_gravity": plan.ferment.sugar_break_gravity,
        "nitrogen_need_mg_per_l": plan.nitrogen.need_mg_per_l,
        "nitrogen_added_mg_per_l": plan.nitrogen.added_mg_per_l,
    }
    row |= {f"{dose.name}_mass_g": dose.mass_g for dose in plan.nitrogen.doses}
    row |= {
        "limits_exceeded": " | ".join(limit.regulation for limit in plan.nitrogen.limits if limit.exceeded),
        "yeast_amount": plan.yeast.amount_text,
    }
    if plan.base is not None and plan.finished is not None:
        row |= {
            "base_abv_percent": plan.base.abv_percent,
            "base_volume_l": plan.base.volume_l,
            "finished_outcome": plan.finished.outcome,
            **{f"finished_{amount.name}_mass_g": amount.mass_g for amount in plan.finished.amounts},
            "blended_l": plan.finished.blended_l,
            "packaged_l": plan.finished.packaged_l,
        }
    return [{**row, "total_cost": plan.cost}]


def must_lines(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a plan; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield "Must:"
    for amount in body["amounts"]:
        yield f"- {amount['name']}: {amount['amount_text']}"
    gravity, ferment = body["original_gravity"], body["ferment"]
    yield (
        f"Original gravity {gravity['value']:.4f} ({gravity['low']:.4f} to {gravity['high']:.4f}), "
        f"{body['brix']['value']:.1f} °Bx, {_litres(body['predicted']['volume']['value'])}"
    )
    yield ferment["text"]
    rule = body["rule_of_thumb"]
    if rule is not None:
        yield f"Rule of thumb: {rule['gravity']:.4f} ({rule['gap_points']:+.1f} points to ours). {rule['reason']}"
    if body["moisture"] is not None:
        yield body["moisture"]["text"]
    yield ""
    yield f"Nitrogen: {body['nitrogen']['text']}"
    for feed in body["feeds"]:
        yield f"- {feed['stage']}, above {feed['not_below_gravity']:.3f}: {feed['amount_text']} of {feed['source']}"
    for limit in body["nitrogen"]["limits"]:
        state = "exceeded" if limit["exceeded"] else "not exceeded"
        yield (
            f"- limit {limit['limit_g_per_l']:.2f} g/L: ours {limit['ours_g_per_l']:.2f}, {state} "
            f"({limit['regulation']}; {limit['edition']})"
        )
    yield f"Yeast: {body['yeast']['amount_text']}. {body['yeast']['text']}"
    if body["base"] is not None:
        yield from _finished(body)
    yield ""
    yield "To buy:"
    for line in body["shopping"]:
        cost = "" if line["cost"] is None else f", {line['cost']:.2f} {body['currency'] or ''}".rstrip()
        yield f"- {line['what']}: {line['amount_text']}{cost}"
    if body["cost"] is not None:
        yield f"Cost {body['cost']:.2f} {body['currency'] or ''}".rstrip() + (
            f", without {', '.join(body['cost_without'])}" if body["cost_without"] else ""
        )
        for one in body["cost_per_container"]:
            yield f"- {one['fill_ml']:g} mL: {one['cost']:.2f} for each of {one['count']}"


def _finished(body: dict[str, Any]) -> Iterator[str]:
    drink = body["finished"]
    yield ""
    yield f"Base: {body['base']['text']}"
    yield f"Finished drink, {drink['outcome']}: {drink['summary']}"
    for amount in drink["amounts"]:
        yield f"- {amount['name']}: {amount['amount_text']}"
    yield f"{_litres(drink['blended_l'])} blended, {_litres(drink['packaged_l'])} to fill"


def _litres(volume_l: float) -> str:
    """Four digits, and never a power of ten."""
    return f"{volume_l:.0f} L" if volume_l >= 1000.0 else f"{volume_l:.4g} L"
