"""What the OpenAPI document says of cells besides what their routes tell: worked examples, and no more than is true."""

from __future__ import annotations

from typing import Any, Final
from urllib.parse import parse_qsl

from service.api.cell_questions import QUESTIONS

__all__ = ["complete_cells"]

_TWINS: Final = ("/v1/cell/{question}.csv", "/v1/cell/{question}.xml", "/v1/cell/caution/{question}")
_SHOWN: Final = QUESTIONS[0]
"""The question whose example the twins show."""


def complete_cells(document: dict[str, Any]) -> None:
    """Give every cell question the parameters of its worked example, to try out as they are.

    Parameters: document, an OpenAPI document; changed in place. Where `bound` is always refused it is left out; the
        words beside a cell are no refusal.
    """
    paths = document.get("paths", {})
    for question in QUESTIONS:
        operation = paths.get(f"/v1/cell/{question.name}", {}).get("get")
        if operation is None:
            continue
        example = dict(parse_qsl(question.example))
        kept = [parameter for parameter in operation["parameters"] if parameter["name"] in question.parameters]
        for parameter in kept:
            if parameter["name"] in example:
                parameter["example"] = _typed(example[parameter["name"]], parameter["schema"])
        operation["parameters"] = kept
    for path in _TWINS:
        operation = paths.get(path, {}).get("get")
        if operation is None:
            continue
        for parameter in operation["parameters"]:
            whole = parameter["name"] == "parameters"
            parameter["example"] = dict(parse_qsl(_SHOWN.example)) if whole else _SHOWN.name
    words = paths.get(_TWINS[-1], {}).get("get")
    if words is not None:
        words["responses"].pop("422", None)


def _typed(text: str, schema: dict[str, Any]) -> str | float | int:
    """An example as its schema has it: a number where only numbers are taken."""
    kinds = {part.get("type") for part in (schema, *schema.get("anyOf", ()))}
    if "integer" in kinds:
        return int(text)
    return float(text) if "number" in kinds else text
