"""The worked requests of `openapi_examples/`, shown in the document and executed by the tests.

A file holds `summary`, `description`, `request` and the `response` that it gets: `status`, `body`, and `rel_tol` within
which its numbers hold. Each is an invented scenario. Installed, they lie inside the package; in a working copy, at its
root.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

_PLACES = (Path(__file__).with_name("openapi_examples"), Path(__file__).parents[2] / "openapi_examples")
_PARTS = {"summary", "description", "request", "response"}


def examples_folder() -> Path | None:
    """Where the examples lie, or None if neither place has them."""
    return next((place for place in _PLACES if place.is_dir()), None)


@cache
def examples_of(operation_id: str) -> dict[str, Any]:
    """The examples of an operation, by file name, as OpenAPI writes them."""
    folder = examples_folder()
    if folder is None:
        return {}
    found = {}
    for path in sorted((folder / operation_id).glob("*.json")):
        example = json.loads(path.read_text(encoding="utf-8"))
        found[path.stem] = {
            "summary": example["summary"],
            "description": example["description"],
            "value": example["request"],
        }
    return found


def request_in(content: Any) -> Any:
    """The request that a file holds: itself, or that of a worked example."""
    return content["request"] if isinstance(content, dict) and content.keys() == _PARTS else content
