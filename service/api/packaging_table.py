"""A packaging plan as flat rows, one for each kind of container, and as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from service.api.tables import Row
from service.planner.packaging.answers import ContainerFill, PackagingPlan


def packaging_rows(plan: PackagingPlan) -> list[Row]:
    """One row for each kind of container: `stop` cautions, counts, litres, pressures, gas, heat, label figures."""
    return [_row(plan, fill) for fill in plan.fills]


def _row(plan: PackagingPlan, fill: ContainerFill) -> Row:
    stops = [c.text for c in plan.cautions if c.level == "stop" and c.about in (None, fill.name)]
    pressure, bottled = fill.pressure, fill.cold_filled
    keg = plan.keg if fill.kind == "keg" else None
    heat, label = plan.heat, plan.label
    bottle = None if label is None else next((a for a in label.amounts if a.per == "container"), None)
    return {
        "batch": plan.batch,
        "date": plan.date,
        "outcome": plan.outcome,
        "sealing": plan.sealing,
        "stop": " | ".join(dict.fromkeys(stops)),
        "container": fill.name,
        "kind": fill.kind,
        "fill_ml": fill.fill_ml,
        "count": fill.count,
        "count_low": fill.count_low,
        "count_high": fill.count_high,
        "wanted": fill.wanted,
        "part_filled_ml": fill.part_filled_ml,
        "filled_l": fill.volume_l,
        "blended_l": None if plan.drink.volume_l is None else plan.drink.volume_l.value,
        "packaged_l": None if plan.packaged_l is None else plan.packaged_l.value,
        "reserve_l": plan.reserve_l,
        "left_over_l": plan.left_over_l,
        "missing_l": plan.missing_l,
        "needed_blend_l": plan.needed_blend_l,
        "headspace_percent": round(100.0 * fill.headspace_share, 3),
        "warmest_c": fill.thermal_room.warmest_c,
        "pressure_of_gas_bar": None if pressure is None else pressure.baseline.pressure_bar,
        "pressure_worst_case_bar": None if pressure is None else pressure.worst.pressure_bar,
        "pressure_worst_case_high_bar": None if pressure is None else pressure.worst.high_bar,
        "pressure_level": None if pressure is None else pressure.worst.level,
        "pressure_if_all_ferments_bar": None if pressure is None else pressure.full.pressure_bar,
        "rated_bar": None if pressure is None else pressure.rating.rated_bar,
        "cold_filled_at_warmest_bar": None
        if bottled is None
        else max(p.pressure_bar for p in bottled.pressures if p.temperature_c == fill.thermal_room.warmest_c),
        "keg_gauge_bar": None if keg is None else keg.gauge_bar,
        "keg_gauge_psi": None if keg is None else keg.gauge_psi,
        "pasteurising_minutes": None if heat is None or fill.heated is None else heat.minutes,
        "pasteurising_missing_minutes": None if heat is None or fill.heated is None else heat.missing_minutes,
        "heated_gauge_bar": None if fill.heated is None else fill.heated.gauge_bar,
        "abv_percent": plan.drink.abv_percent.value,
        "label_energy_kcal": None if bottle is None else bottle.energy_kcal,
        "label_sugar_g": None if bottle is None else bottle.sugar_g,
        "label_text": None if label is None else " | ".join(line.text for line in plan.label_text),
        "cost": fill.cost,
        "currency": plan.currency,
    }


def containers_and_label(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a plan; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield from _counts(body)
    if body["sealing"] != "not_judged":
        yield ""
        yield f"Closing it up: {body['sealing'].replace('_', ' ')}"
    for fill in body["fills"]:
        yield from _pressures(fill)
    for part, title in (("keg", "Keg"), ("heat", "Pasteurising")):
        if body[part] is not None:
            yield ""
            yield f"{title}: {body[part]['text']}"
    if body["label_text"]:
        yield ""
        yield "For the label:"
        yield from (f"- {line['text']}" for line in body["label_text"])


def _counts(body: dict[str, Any]) -> Iterator[str]:
    if body["outcome"] == "not_counted":
        return
    yield ""
    if body["losses"] is not None:
        yield body["losses"]["text"]
    yield "Containers:"
    for fill in body["fills"]:
        yield f"- {fill['text']}"
    yield f"{body['left_over_l']:.3g} L left over, {body['reserve_l']:.3g} L in reserve"
    yield body["needed_text"]
    if body["cost"] is not None:
        yield f"Containers cost {body['cost']:g} {body['currency'] or ''}".rstrip()


def _pressures(fill: dict[str, Any]) -> Iterator[str]:
    pressure = fill["pressure"]
    yield ""
    yield f"{fill['name']}, headspace {100.0 * fill['headspace_share']:g} %: {fill['thermal_room']['text']}"
    if pressure is not None:
        yield pressure["text"]
        yield f"  {pressure['rating']['text']} {pressure['alcohol_text']}"
        for row in pressure["table"]:
            burned = row["sugar_burned_g_per_l"]
            yield (
                f"  {burned:g} g/L fermented, {row['temperature_c']:g} °C: {row['pressure_bar']:.2f} bar, "
                f"{row['pressure_psi']:.0f} psi, {row['level'].replace('_', ' ')}"
            )
    if fill["cold_filled"] is not None:
        yield fill["cold_filled"]["text"]
    if fill["heated"] is not None:
        yield fill["heated"]["text"]
