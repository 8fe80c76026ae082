"""A stabilising plan as lines of text: doses, what comes of them, limits, hurdles."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any


def doses_and_hurdles(body: dict[str, Any], width: int) -> list[str]:
    """The middle of the table; cautions stand around it.

    Parameters: body, the JSON of a plan; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield f"{body['verdict']}: {body['summary']}"
    yield ""
    yield "Doses, in this order:" if body["doses"] else "(no doses)"
    for dose in body["doses"]:
        yield f"- {dose['salt'].replace('_', ' ')}: {dose['amount_text']} ({dose['mass_g']:.2f} g)"
        if dose["stock"]:
            yield f"  {dose['stock']['text']}"
        if dose["tablets_text"]:
            yield f"  {dose['tablets_text']}"
    so2, sorbic = body["so2"], body["sorbic"]
    yield ""
    wanted = f"{so2['free_wanted_mg_per_l']:.0f} mg/L free"
    yield f"Sulfite target: {so2['target']}, pK {so2['pk']:g} ({so2['pk_basis']}): {wanted}"
    for other in so2["other_pk"]:
        yield f"  by {other['basis']}, pK {other['pk']:g}: {other['free_wanted_mg_per_l']:.0f} mg/L free"
    for when in ("at_dosing", "at_packaging"):
        state = so2[when]
        yield (
            f"SO2 {when.replace('_', ' ')}, {state['volume_l']:g} L, pH {state['ph']:.2f}: free "
            f"{state['free_mg_per_l']:.0f}, molecular {state['molecular_mg_per_l']:.2f}, bound "
            f"{state['bound_mg_per_l']:.0f}, total {state['total_mg_per_l']:.0f} mg/L"
        )
    yield f"Sorbic acid at packaging: {sorbic['at_packaging_mg_per_l']:.0f} mg/L; {sorbic['reason']}"
    yield f"pH {body['ph_before']:.2f}, after sorbate {body['ph_after_sorbate']:.2f}"
    yield ""
    yield "Limits (check the current text):"
    for limit in body["limits"]:
        state = "exceeded" if limit["exceeded"] else "not exceeded"
        if limit["what"].startswith("declaration"):
            state = "to be declared" if limit["exceeded"] else "no declaration due at this figure"
        yield (
            f"- {limit['what'].replace('_', ' ')} {limit['comparison']} {limit['limit_mg_per_l']:g} mg/L: ours "
            f"{limit['ours_mg_per_l']:.0f}, {state} ({limit['regulation']}; {limit['mark']})"
        )
    yield ""
    yield "Hurdles:"
    for hurdle in body["hurdles"]:
        planned = "planned" if hurdle["planned"] else "not planned"
        verdict = hurdle["verdict"].replace("_", " ")
        yield f"- {hurdle['hurdle'].replace('_', ' ')} ({planned}), {verdict}: {hurdle['text']}"
    if body["alternatives"]:
        yield ""
        yield "Other ways:"
        yield from (f"- {other['do']} {other['because']}" for other in body["alternatives"])
