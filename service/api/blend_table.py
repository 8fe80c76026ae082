"""Blends as lines of text: amounts, what to expect and how surely, targets, comparisons, the points of a trade-off."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from typing import Any

WIDTH = 100
"""Characters of a line."""

_SHOWN = (
    ("gravity", "SG 20/20", 4),
    ("abv_percent", "% vol", 2),
    ("titratable_acidity", "g/L tartaric", 2),
    ("ph", "", 2),
    ("volume", "L", 2),
    ("sugar_g_per_l", "g/L", 1),
    ("fermentable_sugar_g_per_l", "g/L", 1),
    ("sucrose_equivalent_g_per_l", "g/L", 1),
    ("brix", "°Bx", 2),
    ("sugar_acid_ratio", "", 1),
    ("juice_percent", "%", 1),
    ("citrus_percent", "%", 1),
    ("energy_kcal_per_100ml", "kcal/100 mL", 0),
    ("cost", "", 2),
)


_ONLY_WITH_FRUIT = ("juice_percent", "citrus_percent")


def wrapped(text: str, indent: str = "") -> list[str]:
    """A text as lines, all but the first indented."""
    return textwrap.wrap(text, WIDTH, subsequent_indent=indent)


def columns(rows: list[tuple[str, ...]], right: Iterable[int] = ()) -> list[str]:
    """Rows as lines whose cells stand below each other, those of the columns `right` at their right edge."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    right = set(right)
    return [
        "  ".join(
            c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def amounts(poured: list[dict[str, Any]]) -> list[str]:
    """How much of each part: as the caller measures, in grams, of the volume, and what it costs."""
    if not poured:
        return ["(no amounts)"]
    priced = any(amount["cost"] for amount in poured)
    rows: list[tuple[str, ...]] = [("Pour or weigh", "amount", "mass, g", "% of volume", *(["cost"] if priced else []))]
    for amount in poured:
        share = amount["share_of_volume_percent"]
        rows.append(
            (
                amount["name"],
                amount["amount_text"],
                f"{amount['mass_g']:.1f}",
                "" if share is None else f"{share:.2f}",
                *(["" if amount["cost"] is None else f"{amount['cost']:.2f}"] if priced else []),
            )
        )
    return columns(rows, (2, 3, 4))


def _predicted(predicted: dict[str, Any], units: str, title: str, only: Iterable[str] | None = None) -> list[str]:
    """A line for each property: its value, its 90 % interval in brackets, its unit."""
    shown = []
    for name, unit, decimals in _SHOWN:
        prediction = predicted[name]
        if prediction is None or (name in _ONLY_WITH_FRUIT and not prediction["value"]):
            continue
        if only is not None and name not in only:
            continue
        value, low, high = (f"{prediction[key]:.{decimals}f}" for key in ("value", "low", "high"))
        shown.append((name, value, "" if low == high else f"({low} to {high})", unit))
        if name == "volume" and units == "us":
            shown.append(("", f"{prediction['us_gallons']:.2f}", "", "US gal"))
    wide = max((len(value) for _, value, _, _ in shown), default=0)
    rows: list[tuple[str, ...]] = [(title, f"{'':{wide}} (90 % interval)", "")]
    rows += [(name, f"{value:>{wide}} {interval}", unit) for name, value, interval, unit in shown]
    return columns(rows)


def _targets(targets: list[dict[str, Any]]) -> list[str]:
    rows: list[tuple[str, ...]] = [("Target", "asked", "reached", "met", "chance")]
    for target in targets:
        unit = "" if target["unit"] in ("", "SG", "pH") else f" {target['unit']}"
        reached = "" if target["reached"] is None else f"{target['reached']:g}{unit}"
        met = "yes" if target["met"] else f"off by {target['miss']:g}"
        chance = "" if target["chance"] is None else f"{100.0 * target['chance']:.0f} %"
        rows.append((target["property"], target["asked"], reached, met, chance))
    lines = columns(rows, (2, 4))
    if any(target["chance"] is not None for target in targets):
        lines += wrapped("Chance: that the real drink is in the range, or half an instrument step from an exact value.")
    priced = [target for target in targets if target["marginal"]]
    if priced:
        lines += ["", "What a small change costs:"]
        for target in priced:
            lines += wrapped(f"- {target['property']} {target['marginal']}", "  ")
    return lines


def drink(found: dict[str, Any], units: str) -> list[str]:
    """One drink: what goes in first where some is held back, all amounts, what to expect, what became of the targets.

    Parameters: found, the JSON of a plan, portion or recipe; units, the caller's system.
    Returns: lines.
    """
    lines = [""]
    if first := found.get("first_addition"):
        lines += [*_first(first, found, units), "", "In all"]
    lines += [*amounts(found["amounts"]), "", *_predicted(found["predicted"], units, "Expect")]
    if lost := found.get("losses"):
        lines += [
            "",
            *wrapped(lost["text"]),
            *(line for p in lost["parts"] for line in wrapped(f"- {p['text']}", "  ")),
        ]
    if fruit := found.get("fruit"):
        lines += ["", "Fruit to press:"]
        lines += [line for f in fruit for line in wrapped(f"- {f['ingredient']}: {f['text']}", "  ")]
    if least_known := found.get("least_known"):
        lines += ["", "What is least known:"]
        lines += [line for text in dict.fromkeys(k["text"] for k in least_known) for line in wrapped(f"- {text}", "  ")]
    if found.get("targets"):
        lines += ["", *_targets(found["targets"])]
    if price := found.get("caution_price"):
        lines += ["", "What it costs to be so sure:", *wrapped(price["text"])]
    return lines


def _first(first: dict[str, Any], found: dict[str, Any], units: str) -> list[str]:
    """What to add before measuring, and what the drink then is in what was asked for."""
    asked = {"gravity", "volume", *(target["property"] for target in found.get("targets", ()))}
    lines = ["Add first, and measure before the rest", *amounts(first["amounts"]), *wrapped(first["text"])]
    return [*lines, "", *_predicted(first["predicted"], units, "After the first addition expect", asked)]


def differences(apart: list[dict[str, Any]]) -> list[str]:
    """Only what differs; steps are those of the senses."""
    rows: list[tuple[str, ...]] = [("Property", "difference", "", "steps", "told apart by instruments")]
    for found in apart:
        if found["difference"]:
            steps = "" if found["steps"] is None else f"{found['steps']:+.2f}"
            told = {True: "yes", False: "no", None: ""}[found["exceeds_instruments"]]
            rows.append((found["property"], f"{found['difference']:+g}", found["unit"], steps, told))
    return columns(rows, (1, 3)) if len(rows) > 1 else ["(no difference)"]


def readings(read: list[dict[str, Any]]) -> list[str]:
    """Readings beside what was predicted."""
    rows: list[tuple[str, ...]] = [("Reading", "predicted", "read", "", "off by", "instrument", "")]
    for found in read:
        numbers = (f"{found['predicted']:g}", f"{found['measured']:g}")
        apart = "more than it errs" if found["exceeds_instruments"] else "within its error"
        error = f"± {found['instrument_error']:g}"
        rows.append((found["property"], *numbers, found["unit"], f"{found['difference']:+g}", error, apart))
    return columns(rows, (1, 2, 4, 5))


def points(body: dict[str, Any]) -> list[str]:
    """The points of a trade-off: a line for each with its levels and their 90 % intervals, then one with its amounts
    in grams."""
    if not body["points"]:
        return []
    axes = [(body[key]["property"], key) for key in ("x", "y", "also") if body[key] is not None]
    levels: list[tuple[str, ...]] = [("", *(name for name, _ in axes), "")]
    names = [amount["name"] for amount in body["points"][0]["amounts"]]
    grams: list[tuple[str, ...]] = [("", *names)]
    for number, point in enumerate(body["points"], start=1):
        cells = [_with_interval(point[key], point[f"{key}_low"], point[f"{key}_high"]) for _, key in axes]
        levels.append((str(number), *cells, " ".join(point["marks"])))
        grams.append((str(number), *(f"{amount['mass_g']:.0f}" for amount in point["amounts"])))
    lines = ["", f"Least to most {body['x']['property']}, with 90 % intervals", *columns(levels, (0,))]
    lines += ["", "Grams of each part", *columns(grams, range(len(grams[0])))]
    for told in sorted((*body["ends"], *body["breakpoints"]), key=lambda told: told["x"]):
        lines += wrapped(f"- at {told['x']:g}: {told['text']}", "  ")
    return lines


def _with_interval(value: float | None, low: float | None, high: float | None) -> str:
    if value is None:
        return ""
    return f"{value:g}" if low is None or high is None or low == high else f"{value:g} ({low:g} to {high:g})"
