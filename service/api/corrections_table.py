"""A correction as lines of text: readings, what they changed, what cannot be undone."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from typing import Any


def readings_and_beliefs(body: dict[str, Any], width: int) -> list[str]:
    """What stands above the amounts in the table: readings, what they changed, what cannot be undone.

    Parameters: body, the JSON of a correction; width of a line [characters].
    Returns: lines.
    """
    return [part for line in _lines(body) for part in textwrap.wrap(line, width, subsequent_indent="  ") or [""]]


def _lines(body: dict[str, Any]) -> Iterator[str]:
    yield ""
    yield "Read in the vessel:"
    for reading in (*body["earlier_readings"], *body["readings"]):
        unit = f" {reading['unit']}" if reading["unit"] else ""
        when = f" at measuring {reading['stage']}" if body["earlier_readings"] else ""
        yield (
            f"- {reading['property']}{when}: {reading['measured']:g}{unit} ± {reading['error']:g}, expected "
            f"{reading['expected']:g} ({reading['expected_low']:g} to {reading['expected_high']:g}), now taken as "
            f"{reading['now']:g}"
        )
    yield f"{body['consistency']['verdict']}: {body['consistency']['text']}"
    yield from (f"- {culprit['text']}" for culprit in body["consistency"]["culprits"][1:])
    if body["updated"]:
        yield ""
        yield "What the readings say of what was poured:"
        yield from (f"- {found['text']}" for found in body["updated"])
    for head, passed in (("Cannot be undone:", True), ("Out of reach:", False)):
        texts = [found["text"] for found in body["cannot_be_undone"] if found["passed"] is passed]
        if texts:
            yield ""
            yield head
            yield from (f"- {text}" for text in texts)
    yield ""
    yield f"What to add now: {body['plan']['summary']}"
