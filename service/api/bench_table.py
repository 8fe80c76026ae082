"""A bench trial as lines of text: glass, batch, the two side by side, what a graduation does, colour."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Iterator
from typing import Any

Columns = Callable[[list[tuple[str, ...]], Iterable[int]], list[str]]
Amounts = Callable[[list[dict[str, Any]]], list[str]]


def glass_and_batch(body: dict[str, Any], width: int, amounts: Amounts, columns: Columns) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a bench trial; width of a line [characters]; amounts and columns, which write those.
    Returns: lines.
    """
    lines = ["", *_wrapped(_glass(body), width)]
    for key, title in (
        ("batch_plan", "Batch"),
        ("plain_scaling", "Plain scaling"),
        ("without_stock_water", "Without the stocks' water"),
    ):
        if body[key] is not None:
            lines += ["", *_wrapped([f"{title}: {body[key]['text']}"], width), *amounts(body[key]["amounts"])]
    lines += ["", *columns(_beside(body), (1, 2, 3, 4, 5)), *_wrapped([body["steps_are"]], width)]
    if body["per_graduation"]:
        lines += ["", "One graduation:", *_wrapped((f"- {e['text']}" for e in body["per_graduation"]), width)]
    if body["advice"]:
        lines += ["", "For the next glass:", *_wrapped((f"- {a['text']}" for a in body["advice"]), width)]
    if body["colour"]:
        lines += ["", "Colour:", *_wrapped(_colour(body), width)]
    return lines


def _wrapped(lines: Iterable[str], width: int) -> list[str]:
    return [part for line in lines for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _glass(body: dict[str, Any]) -> Iterator[str]:
    glass = body["glass"]
    yield f"Glass: {glass['base_ml']:g} mL of base, {glass['volume_ml']:.5g} mL in all"
    for stock in glass["stocks"]:
        holds = ", ".join(
            f"{held['mass_g']:.4g} g {held['ingredient']} ({held['g_per_l']:.4g} g/L)"
            for held in stock["holds"]
            if not held["stock_water"]
        )
        yield f"- {stock['amount']} of {stock['name']}: {holds}"


def _beside(body: dict[str, Any]) -> list[tuple[str, ...]]:
    """Property by property; steps are those of batch minus glass."""
    rows: list[tuple[str, ...]] = [("Property", "glass", "batch", "steps", "plain", "without water", "")]
    for line in body["differences"]:
        figures = (line["glass"], line["matched"])
        if not any(figures):
            continue
        steps = "" if line["matched_steps"] is None else f"{line['matched_steps']:+.2f}"
        rows.append(
            (
                line["property"],
                *("" if f is None else f"{f:g}" for f in figures),
                steps,
                "" if line["plain"] is None else f"{line['plain']:g}",
                "" if line["without_water"] is None else f"{line['without_water']:g}",
                line["unit"],
            )
        )
    return rows


def _colour(body: dict[str, Any]) -> Iterator[str]:
    for colour in body["colour"]:
        yield f"- {colour['stock']}: {colour['text']}"
        for limit in colour["limits"]:
            figure = "" if limit["limit_mg_per_l"] is None else f" at most {limit['limit_mg_per_l']:g} mg/L;"
            yield f"  {limit['market'].upper()}, {limit['regulation']} ({limit['mark']}):{figure} {limit['text']}"
    for found in body["absorbance"]:
        depth = "" if found["at_depth"] is None else f", {found['at_depth']:.3g} in {found['depth_cm']:g} cm"
        yield (
            f"- Absorbance at {found['wavelength_nm']:g} nm: {found['per_cm']:.3g} in 1 cm ({found['low']:.3g} to "
            f"{found['high']:.3g}){depth}, of {', '.join(found['counted'])}"
        )
