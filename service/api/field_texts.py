"""Descriptions of the fields of answers: the text that stands below each field in the code.

They are read when the document is built, once for each file. The framework would read them each time it prepares to
write an answer, which made the service start three times as slowly.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Iterable, Iterator
from dataclasses import is_dataclass
from functools import cache
from typing import Any, get_args, get_type_hints

__all__ = ["describe_fields"]


def describe_fields(schemas: dict[str, Any], answers: Iterable[Any]) -> None:
    """Give the properties of schemas the descriptions that they lack.

    Parameters: schemas, of an OpenAPI document, by name; changed in place; answers, the types that are answered, whose
    fields lead to all others.
    """
    for found in _dataclasses_of(answers):
        properties = _schema_of(found, schemas).get("properties", {})
        for field, text in _texts(found.__module__).get(found.__qualname__, {}).items():
            if field in properties:
                properties[field].setdefault("description", text)


def _schema_of(found: type[Any], schemas: dict[str, Any]) -> dict[str, Any]:
    """The schema of a class; classes of the same name have that of their module in it."""
    with_module = f"{found.__module__}__{found.__qualname__}".replace(".", "__")
    schema: dict[str, Any] = schemas.get(with_module) or schemas.get(found.__name__, {})
    return schema


def _dataclasses_of(answers: Iterable[Any]) -> Iterator[type[Any]]:
    waiting, seen = list(answers), set()
    while waiting:
        here = waiting.pop()
        if is_dataclass(here) and isinstance(here, type):
            if here in seen:
                continue
            seen.add(here)
            yield here
            waiting.extend(get_type_hints(here).values())
        else:
            waiting.extend(get_args(here))


@cache
def _texts(module: str) -> dict[str, dict[str, str]]:
    """The texts below the fields of the classes in a module, by class and field."""
    tree = ast.parse(inspect.getsource(sys.modules[module]))
    return {node.name: dict(_texts_in(node)) for node in tree.body if isinstance(node, ast.ClassDef)}


def _texts_in(node: ast.ClassDef) -> Iterator[tuple[str, str]]:
    for field, below in zip(node.body, node.body[1:], strict=False):
        if (
            isinstance(field, ast.AnnAssign)
            and isinstance(field.target, ast.Name)
            and isinstance(below, ast.Expr)
            and isinstance(below.value, ast.Constant)
            and isinstance(below.value.value, str)
        ):
            yield field.target.id, inspect.cleandoc(below.value.value)
