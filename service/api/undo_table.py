"""The undo table as lines of text: each way out with what it takes, how far it goes and what it costs."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator
from typing import Any


def ways_out(body: dict[str, Any], width: int, amounts: Callable[[list[dict[str, Any]]], list[str]]) -> list[str]:
    """The ways out of an answer for people.

    Parameters: body, the JSON of the undo table; width of a line [characters]; amounts, which writes what goes in.
    Returns: lines.
    """

    def wrapped(text: str, indent: str = "  ") -> list[str]:
        return textwrap.wrap(text, width, subsequent_indent=indent) or [""]

    def lines() -> Iterator[str]:
        yield from wrapped(f"{body['fault']}: {body['summary']}")
        if body["sulfite"] is not None:
            so2 = body["sulfite"]["so2"]
            yield from wrapped(
                f"Free {so2['free_mg_per_l']:g}, molecular {so2['molecular_mg_per_l']:g}, in all "
                f"{so2['total_mg_per_l']:g} mg/L SO2 at pH {so2['ph']:g}."
            )
        for option in body["options"]:
            yield ""
            far = "" if option["distance"] is None else f", {option['distance']:.1f} noticeable steps"
            yield from wrapped(f"{option['name']} ({option['possible']}{far}): {option['do']}")
            yield from wrapped(f"  {option['limit']}")
            if option["amounts"]:
                yield from amounts(option["amounts"])
            if option["costs"]:
                yield from wrapped(f"  Costs: {option['costs']}")
        yield ""
        yield "Cannot be undone:"
        for lost in body["cannot_be_undone"]:
            yield from wrapped(f"- {lost['text']}")

    return list(lines())
