"""A tasting as flat rows, and as lines of text."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any

from service.api.tables import Row
from service.planner.tasting.answers import BestDose, DifferenceReport, Tasting
from service.planner.tasting.words import p_text


def tasting_rows(answer: Tasting) -> list[Row]:
    """One row for each tested dose, the best one beside it; one row for a difference test."""
    head: Row = {
        "batch": answer.batch,
        "date": answer.date,
        "outcome": answer.outcome,
        "cautions": " | ".join(c.text for c in answer.cautions if c.level != "note"),
    }
    if answer.difference is not None:
        return [{**head, **_test(answer.difference)}]
    best = _best(answer.best)
    return [
        {
            **head,
            **best,
            "dose": tested.dose,
            "scores": tested.scores,
            "mean": tested.mean,
            "adjusted_mean": tested.adjusted_mean,
            "expected": tested.expected,
        }
        for tested in answer.tested
    ]


def _best(best: BestDose | None) -> Row:
    names = ("dose", "unit", "low", "high", "half_step", "standard_error", "score", "flat_low", "flat_high")
    row: Row = {f"best_{name}": None if best is None else getattr(best, name) for name in names}
    scaled = None if best is None else best.in_batch
    row["batch_amount"] = None if scaled is None else scaled.amount
    row["batch_amount_unit"] = None if scaled is None else scaled.unit
    return row


def _test(found: DifferenceReport) -> Row:
    plan = found.next_panels[0]
    return {
        "kind": found.kind,
        "n": found.n,
        "correct": found.correct,
        "sides": found.sides,
        "alpha": found.alpha,
        "p": found.p,
        "critical_count": found.critical_count,
        "power": found.power,
        "power_wanted": found.power_wanted,
        "next_n_first": plan.first,
        "next_n_from_then_on": plan.from_then_on,
        "discriminators": found.discriminators.value,
        "discriminators_low": found.discriminators.low,
        "discriminators_high": found.discriminators.high,
        "d_prime": found.d_prime.value,
        "d_prime_low": found.d_prime.low,
        "d_prime_high": found.d_prime.high,
    }


def doses_and_tests(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a tasting; width of a line [characters].
    Returns: lines.
    """
    lines = _difference(body) if body["difference"] else _doses(body)
    return [part for line in lines for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _doses(body: dict[str, Any]) -> Iterator[str]:
    best = body["best"]
    if best:
        yield ""
        yield f"Best dose: {best['text']}"
        if best["low"] is not None:
            high = "no upper end" if best["high"] is None else f"{best['high']:g}"
            yield f"- 95 % interval by Fieller {best['low']:g} to {high} {best['unit']}".rstrip()
        if best["standard_error"] is not None:
            yield (
                f"- standard error {best['standard_error']:.2g}; by the delta method {best['delta_low']:g} to "
                f"{best['delta_high']:g}"
            )
        if best["flat_low"] is not None:
            flat = f"{best['flat_low']:g} to {best['flat_high']:g}"
            yield f"- within {best['flat_within']:g} point from {flat} {best['unit']}".rstrip()
        yield f"- half a just-noticeable step {best['half_step']:.2g} {best['unit']}".rstrip()
        for name in ("glass", "batch"):
            scaled = best[f"in_{name}"]
            if scaled:
                ends = ""
                if scaled["low_text"] and scaled["high_text"]:
                    ends = f" ({scaled['low_text']} to {scaled['high_text']})"
                yield f"- for the {name} of {scaled['volume_l']:g} L: {scaled['amount_text']}{ends}"
    yield ""
    yield "Dose: scores, mean, freed of who tasted it, by the curve"
    for tested in body["tested"]:
        curve = "" if tested["expected"] is None else f", {tested['expected']:.2f}"
        yield f"- {tested['dose']:g}: {tested['scores']}, {tested['mean']:.2f}, {tested['adjusted_mean']:.2f}{curve}"
    if body["fit"]:
        fit = body["fit"]
        yield f"Scatter of a score {fit['scatter']:.2g} points, {fit['degrees_of_freedom']} degrees of freedom."
    if body["tasters"]:
        yield ""
        yield "Taster: scores, mean, level beside the others, best dose of those tasted"
        for taster in body["tasters"]:
            level = "" if taster["level"] is None else f", {taster['level']:+.2f}"
            yield f"- {taster['taster']}: {taster['scores']}, {taster['mean']:.2f}{level}, {taster['best_dose']:g}"
    if body["try_next"]:
        yield ""
        yield f"Try next: {body['try_next']['text']}"


def _difference(body: dict[str, Any]) -> Iterator[str]:
    found = body["difference"]
    yield ""
    count = "none would do" if found["critical_count"] is None else str(found["critical_count"])
    yield f"{found['kind']}, {found['sides']}-sided: {found['correct']} of {found['n']}, {p_text(found['p'])}"
    yield f"- needed at {found['alpha']:g}: {count}"
    shares = found["discriminators"]
    bounds = "each 95 % sure, both 90 %" if found["sides"] == "one" else "95 % interval"
    yield (
        f"- people who tell them apart: {100 * shares['value']:.0f} % ({100 * shares['low']:.0f} to "
        f"{100 * shares['high']:.0f} %, {bounds})"
    )
    distance = found["d_prime"]
    value, high = (
        "beyond reach" if figure is None else f"{figure:.2f}" for figure in (distance["value"], distance["high"])
    )
    yield f"- d′ {value} ({distance['low']:.2f} to {high})"
    yield f"- power of this test {100 * found['power']:.0f} %, wanted {100 * found['power_wanted']:g} %"
    for plan in found["next_panels"]:
        first = "more than 10,000" if plan["first"] is None else str(plan["first"])
        later = "more than 10,000" if plan["from_then_on"] is None else str(plan["from_then_on"])
        yield f"- {plan['kind']}: {first} answers reach it, from {later} on every number does"
