"""Turns pydantic's errors into a maker's words with JSON Pointers into the request as it was sent."""

from __future__ import annotations

import difflib
import typing
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from pydantic import BaseModel

from service.api.later import NOT_ANSWERED_YET
from service.errors import Fault

__all__ = ["faults_from_validation", "json_pointer"]

_SCALAR_ERRORS: Final = frozenset(
    {"float_type", "int_type", "int_from_float", "string_type", "bool_type", "finite_number", "literal_error"}
)
_OBJECT_ERRORS: Final = frozenset({"model_type", "model_attributes_type", "dict_type", "dataclass_type"})
_NAMED_LAST: Final = frozenset({"missing", "extra_forbidden"})

_WORDS: Final[Mapping[str, str]] = {
    "missing": "This is needed and was not given.",
    "float_type": "Write a number without quotes, for example 1.012; true and false are not numbers.",
    "int_type": "Write a whole number without quotes, for example 4.",
    "int_from_float": "Write a whole number, for example 4.",
    "int_parsing": "Write a whole number, for example 4.",
    "float_parsing": "Write a number with a decimal point, for example 1.012.",
    "finite_number": "Write a finite number; NaN and Infinity are not numbers of JSON.",
    "string_type": 'Write a text in quotes; a quantity stands in quotes with its unit, for example "2.5 kg".',
    "string_unicode": "This text holds half of a character (a lone surrogate). Send valid Unicode.",
    "bool_type": "Write true or false, without quotes.",
    "list_type": "Write a list in square brackets.",
    "model_type": "Write an object in braces.",
    "model_attributes_type": "Write an object in braces.",
    "dict_type": "Write an object in braces.",
    "union_tag_not_found": "This object lacks the field that says its kind.",
}
_WORDS_WITH_CONTEXT: Final[Mapping[str, str]] = {
    "greater_than": "Write a number greater than {gt}.",
    "greater_than_equal": "Write a number of {ge} or more.",
    "less_than": "Write a number less than {lt}.",
    "less_than_equal": "Write a number of {le} or less.",
    "string_too_long": "Write at most {max_length} characters.",
    "string_too_short": "Write at least {min_length} characters.",
    "too_long": "Give at most {max_length} items.",
    "too_short": "Give at least {min_length} item(s).",
    "literal_error": "Write one of: {expected}.",
    "enum": "Write one of: {expected}.",
    "union_tag_invalid": "Write one of: {expected_tags}.",
}


def json_pointer(parts: Sequence[str | int]) -> str:
    """Write a JSON Pointer, RFC 6901.

    >>> json_pointer(["a/b", 0, "m~n"])  # RFC 6901, §5
    '/a~1b/0/m~0n'
    """
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def faults_from_validation(
    errors: Sequence[Any], body: Any, endpoint: Callable[..., Any] | None
) -> tuple[bool, list[Fault]]:
    """Turn the errors of a request's validation into faults.

    Parameters: errors, as of RequestValidationError.errors(); body, as it was sent; endpoint, whose annotations tell
        the fields that exist (for "did you mean").
    Returns: whether the body was not JSON at all, and the faults without duplicates.
    """
    faults: list[tuple[str, str, str]] = []
    for error in errors:
        kind, location = str(error["type"]), tuple(error["loc"])
        if kind == "json_invalid":
            return True, [Fault("", _unreadable(error, body, location))]
        where, path = str(location[0]), location[1:]
        place = _place(path, body if where == "body" else None, named_last=kind in _NAMED_LAST)
        detail = _detail(error, kind, where, path, endpoint)
        if (json_pointer(place), kind, detail) not in faults:
            faults.append((json_pointer(place), kind, detail))
    return False, _without_other_branches(faults)


def _place(path: Sequence[str | int], body: Any, *, named_last: bool) -> list[str | int]:
    """Drop from a location what is no part of the body: pydantic names the branch of a union there."""
    if body is None:
        return list(path[:1])
    place: list[str | int] = []
    here = body
    for index, part in enumerate(path):
        is_item = isinstance(here, list) and isinstance(part, int) and 0 <= part < len(here)
        if is_item or (isinstance(here, Mapping) and part in here):
            here = here[part]
            place.append(part)
        elif named_last and index == len(path) - 1:
            place.append(part)
    return place


def _without_other_branches(faults: list[tuple[str, str, str]]) -> list[Fault]:
    """Where a union fails in every branch, keep what fits the shape that was sent: its inside, or its scalar kind."""
    kept = []
    for pointer, kind, detail in faults:
        inside = any(other.startswith(pointer + "/") for other, _, _ in faults)
        beside = any(other == pointer and of not in _OBJECT_ERRORS for other, of, _ in faults)
        if (kind in _SCALAR_ERRORS and inside) or (kind in _OBJECT_ERRORS and beside):
            continue
        kept.append(Fault(pointer, detail))
    return kept


def _unreadable(error: Mapping[str, Any], body: Any, location: Sequence[str | int]) -> str:
    reason = str(error.get("ctx", {}).get("error", "it cannot be parsed"))
    position = location[1] if len(location) > 1 else None
    if isinstance(body, str) and isinstance(position, int):
        before = body[:position]
        line, column = before.count("\n") + 1, position - before.rfind("\n")
        return f"The body is not readable JSON at line {line}, column {column}: {reason}."
    return f"The body is not readable JSON: {reason}."


def _detail(
    error: Mapping[str, Any],
    kind: str,
    where: str,
    path: Sequence[str | int],
    endpoint: Callable[..., Any] | None,
) -> str:
    if kind == "extra_forbidden":
        return _unknown_name(str(path[-1]) if path else "", where, path, endpoint)
    if kind == "missing" and not path and where == "body":
        return "This request needs a JSON body."
    if kind in _WORDS:
        return _WORDS[kind]
    context = error.get("ctx") or {}
    if kind in _WORDS_WITH_CONTEXT:
        words = _WORDS_WITH_CONTEXT[kind].format_map({**context})
        return _closest(path, context) + words if kind == "literal_error" else words
    if kind == "value_error" and "error" in context:
        return str(context["error"])
    message = str(error.get("msg", "This cannot be read"))
    return message if message.endswith((".", "?")) else message + "."


def _closest(path: Sequence[str | int], context: Mapping[str, Any]) -> str:
    """For a misspelt key of a dictionary: what it resembles. pydantic marks a key's fault with `[key]`."""
    if len(path) < 2 or path[-1] != "[key]":
        return ""
    known = [name.strip("'") for name in str(context.get("expected", "")).replace(" or ", ", ").split(", ")]
    close = difflib.get_close_matches(str(path[-2])[:80], known, n=1)
    return f'Did you mean "{close[0]}"? ' if close else ""


def _unknown_name(name: str, where: str, path: Sequence[str | int], endpoint: Callable[..., Any] | None) -> str:
    if where == "body" and name in NOT_ANSWERED_YET:
        return NOT_ANSWERED_YET[name]
    what = "query parameter" if where == "query" else "field"
    shown = name if len(name) <= 40 else name[:40] + "…"
    known = sorted(_names_at(endpoint, path[:-1]))
    close = difflib.get_close_matches(name[:80], known, n=1)
    if close:
        return f'There is no {what} "{shown}" here. Did you mean "{close[0]}"?'
    if known:
        return f'There is no {what} "{shown}" here. Known: {", ".join(known)}.'
    return f'There is no {what} "{shown}" here. Leave it out.'


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in typing.get_args(annotation) for model in _models_in(inner)]


def _names_at(endpoint: Callable[..., Any] | None, path: Sequence[str | int]) -> set[str]:
    """The names of fields that exist at a location, read from the annotations of the endpoint's parameters."""
    if endpoint is None:
        return set()
    try:
        hints = typing.get_type_hints(endpoint, include_extras=True)
    except (NameError, TypeError):  # a callable without annotations that can be read: no suggestion then
        return set()
    models = [model for name, hint in hints.items() if name != "return" for model in _models_in(hint)]
    for part in path:
        deeper = [
            inner
            for model in models
            for name, field in model.model_fields.items()
            if part in (name, field.alias)
            for inner in _models_in(field.annotation)
        ]
        named = [model for model in models if model.__name__ == part]
        models = deeper or named or models
    return {field.alias or name for model in models for name, field in model.model_fields.items()}
