"""Turns pydantic's errors into a maker's words with JSON Pointers into the request as it was sent."""

from __future__ import annotations

import difflib
import re
import typing
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from service.api.later import NOT_ANSWERED_YET
from service.api.numbers import number_meant
from service.errors import Fault
from service.quantities.units import UNIT_BY_SPELLING

__all__ = ["close_word", "faults_from_validation", "json_pointer"]

_NO_QUANTITIES: Final = frozenset({"name", "note", "batch", "date", "ingredient", "currency", "from", "about"})
"""Texts that have no unit."""

_ALIKE: Final = 0.75
"""How alike two words have to be for one to be proposed for the other; less proposes what was not meant."""

_SCALAR_ERRORS: Final = frozenset(
    {"float_type", "int_type", "int_from_float", "string_type", "bool_type", "finite_number", "literal_error"}
)
_OBJECT_ERRORS: Final = frozenset({"model_type", "model_attributes_type", "dict_type", "dataclass_type"})
_NAMED_LAST: Final = frozenset({"missing", "extra_forbidden"})

_NUMBER_ERRORS: Final = frozenset({"float_type", "int_type"})

_WORDS: Final[Mapping[str, str]] = {
    "missing": "This is needed and was not given.",
    "int_from_float": "Write a whole number, for example 4.",
    "int_parsing": "Write a whole number, for example 4.",
    "float_parsing": "Write a number with a decimal point, for example 1.012.",
    "finite_number": "Write a finite number; NaN and Infinity are not numbers of JSON.",
    "string_unicode": "This text holds half of a character (a lone surrogate). Send valid Unicode.",
    "bool_type": "Write true or false, without quotes.",
    "list_type": "Write a list in square brackets.",
    "model_type": "Write names and values in braces.",
    "model_attributes_type": "Write names and values in braces.",
    "dict_type": "Write names and values in braces.",
    "union_tag_not_found": "Here the name is missing that says which form this has.",
}
_WORDS_WITH_CONTEXT: Final[Mapping[str, str]] = {
    "string_too_long": "Write at most {max_length} characters.",
    "string_too_short": "Write at least {min_length} characters.",
    "too_long": "Give at most {max_length} items.",
    "too_short": "Give at least {min_length} item(s).",
}
_ALTERNATIVES: Final[Mapping[str, str]] = {
    "literal_error": "expected",
    "enum": "expected",
    "union_tag_invalid": "expected_tags",
}
_LIMITS: Final[Mapping[str, tuple[str, str, bool]]] = {
    "greater_than": ("gt", "greater than {}", False),
    "greater_than_equal": ("ge", "of {} or more", False),
    "less_than": ("lt", "less than {}", True),
    "less_than_equal": ("le", "of {} or less", True),
}
"""By the kind of error: where its limit stands, the limit in words, and whether it is the most."""

_JSON_REASONS: Final = (
    (re.compile(r"\d,$"), re.compile(r"\d"), "a number has a comma in it: use a decimal point"),
    (re.compile(r",\s*$"), re.compile(r"[}\]]"), "a comma stands before the closing bracket: take it out"),
    (re.compile(r""), re.compile(r"'"), 'names and texts stand in double quotes ("), not in single ones'),
    (re.compile(r""), re.compile("[“”„«»]"), 'names and texts stand in straight quotes ("), not in curly ones'),
    (re.compile(r""), re.compile(r"[.+]\d"), "a number begins with a digit or a minus sign: 0.5, not .5"),
    (re.compile(r"\d\s*$"), re.compile(r"[A-Za-z%°]"), 'a quantity stands in quotes with its unit, as in "24 L"'),
    (re.compile(r"\d$"), re.compile(r"\.|/"), "a number has digits and one decimal point, and stands in no fraction"),
)
"""What stands before and at the place where JSON cannot be read on, and what to do about it."""

_MANY_POINTS: Final = 10.0


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
    return False, _without_other_branches(_one_of_number_and_text(faults))


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


def _one_of_number_and_text(faults: list[tuple[str, str, str]]) -> list[tuple[str, str, str]]:
    """Where a place takes a number or a text and holds neither, one fault says so."""
    texts = {pointer for pointer, kind, _ in faults if kind == "string_type"}
    both = {pointer for pointer, kind, _ in faults if kind in _NUMBER_ERRORS and pointer in texts}
    words = "Write a number, or a text in quotes."
    one = [(pointer, kind, words if pointer in both else detail) for pointer, kind, detail in faults]
    return [fault for fault in one if not (fault[0] in both and fault[1] == "string_type")]


def _unreadable(error: Mapping[str, Any], body: Any, location: Sequence[str | int]) -> str:
    reason = str(error.get("ctx", {}).get("error", "it cannot be parsed"))
    position = location[1] if len(location) > 1 else None
    if isinstance(body, str) and isinstance(position, int):
        before, after = body[:position], body[position:].lstrip()
        line, column = before.count("\n") + 1, position - before.rfind("\n")
        known = (words for at_end, at_start, words in _JSON_REASONS if at_end.search(before) and at_start.match(after))
        return f"The body is not readable JSON at line {line}, column {column}: {next(known, reason)}."
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
    context, given = error.get("ctx") or {}, error.get("input")
    if kind in _NUMBER_ERRORS:
        return _not_a_number(given, whole=kind == "int_type")
    if kind == "string_type":
        return _not_a_text(given, path, endpoint)
    if kind in _LIMITS:
        return _beyond(kind, given, context)
    if kind in _ALTERNATIVES:
        return _one_of(given, path, str(context.get(_ALTERNATIVES[kind], "")), quoted=where == "body")
    if kind == "string_too_short" and not given:
        return "This text is empty. Write one."
    if kind in _WORDS_WITH_CONTEXT:
        return _WORDS_WITH_CONTEXT[kind].format_map({**context})
    if kind == "value_error" and "error" in context:
        return str(context["error"])
    message = str(error.get("msg", "This cannot be read"))
    return message if message.endswith((".", "?")) else message + "."


def _not_a_number(given: Any, *, whole: bool) -> str:
    """What to write where a number was asked for."""
    what, example = ("a whole number", "4") if whole else ("a number", "1.012")
    if isinstance(given, bool):
        return f"Write {what}, for example {example}; true and false are not numbers."
    if not isinstance(given, str):
        return f"Write {what}, for example {example}."
    meant = number_meant(given)
    if meant is None:
        return f"Write {what} without quotes, for example {example}."
    if "," in given:
        return f"Write {meant}, with a decimal point and without quotes."
    if given.rstrip().endswith("%"):
        return f"Write {meant}, without quotes and without a percent sign."
    return f"Write {meant} without quotes."


def _not_a_text(given: Any, path: Sequence[str | int], endpoint: Callable[..., Any] | None) -> str:
    """What to write where a text was asked for: of a number its quotes, and the unit that belongs there."""
    examples = _examples_at(endpoint, path)
    unit = re.fullmatch(r"[\d.]+ ?(\S.*)", examples[0]) if examples else None
    if isinstance(given, bool) or not isinstance(given, int | float):
        return f'Write a text in quotes, for example "{examples[0]}".' if examples else "Write a text in quotes."
    try:
        figure = f"{given:g}"
    except OverflowError:  # a whole number may have thousands of digits
        figure = "12"
    if unit is not None:
        return f'The unit is missing. Write it in quotes with its unit, for example "{figure} {unit[1]}".'
    if path and path[-1] in _NO_QUANTITIES:
        return f'Write it in quotes: "{figure}".'
    return f'Write it in quotes: "{figure}". A quantity needs its unit too, for example "2.5 kg".'


def _beyond(kind: str, given: Any, context: Mapping[str, Any]) -> str:
    """What to write in place of a number that is too small or too large."""
    name, words, most = _LIMITS[kind]
    limit = float(context[name])
    how = f"rite a number {words.format(f'{limit:.12g}')}."
    try:
        value = float(given)
    except (TypeError, ValueError, OverflowError):  # a whole number may have thousands of digits
        return f"W{how}"
    if not most:
        return f"{value:g} is {'negative' if value < 0.0 == limit else 'too small'}: w{how}"
    slipped = limit >= _MANY_POINTS and 2.0 * limit <= value <= 100.0 * limit
    return f"{value:g} is too much: w{how}{' Is its decimal point in its place?' if slipped else ''}"


def _one_of(given: Any, path: Sequence[str | int], expected: str, *, quoted: bool) -> str:
    """The words that are known at a place, and which of them a misspelt one resembles.

    pydantic marks the fault of a dictionary's key with `[key]`, and names the words in apostrophes.
    """
    known = re.findall(r"'([^']*)'", expected)
    if not known:
        return f"Write one of: {expected}."
    shown = [f'"{name}"' if quoted else name for name in known]
    words = shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} or {shown[-1]}"
    if len(path) > 1 and path[-1] == "[key]":
        given = path[-2]
    close = _closest(str(given), known) if isinstance(given, str) and given.strip() else None
    meant = "" if close is None else f'Did you mean "{close}"? '
    return f"{meant}Write one of: {words}."


def _closest(written: str, known: Sequence[str]) -> str | None:
    """Which of some words a misspelt one resembles: a unit by any of its spellings, else by its letters."""
    folded = {name.casefold().replace("_", " "): name for name in known}
    text = " ".join(written[:80].casefold().replace("_", " ").split())
    if text in folded:
        return folded[text]
    unit = UNIT_BY_SPELLING.get(text)
    if unit is not None and unit.symbol in known:
        return unit.symbol
    close = close_word(text, list(folded))
    return folded[close] if close else None


def close_word(written: str, known: Sequence[str]) -> str | None:
    """Which of some words a misspelt or shortened one probably is; none where it may as well be another.

    >>> close_word("volum", ["volume", "gravity"]), close_word("abv", ["abv_percent", "ph"])
    ('volume', 'abv_percent')
    >>> close_word("wine_bottle", ["bottle", "beer_bottle", "can"]) is None  # a bottle of another strength
    True
    """
    begun = sorted((n for n in known if n.startswith((f"{written}_", f"{written}-", f"{written} "))), key=len)
    if begun and all(name.startswith(begun[0]) for name in begun):
        return begun[0]
    close = difflib.get_close_matches(written[:80], known, n=1, cutoff=_ALIKE)
    return close[0] if close else None


def _unknown_name(name: str, where: str, path: Sequence[str | int], endpoint: Callable[..., Any] | None) -> str:
    if where == "body" and name in NOT_ANSWERED_YET:
        return NOT_ANSWERED_YET[name]
    what = "query parameter" if where == "query" else "field"
    shown = name if len(name) <= 40 else name[:40] + "…"
    known = sorted(_names_at(endpoint, path[:-1]))
    close = close_word(name, known)
    if close:
        return f'There is no {what} "{shown}" here. Did you mean "{close}"?'
    if known:
        return f'There is no {what} "{shown}" here. Known: {", ".join(known)}.'
    return f'There is no {what} "{shown}" here. Leave it out.'


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in typing.get_args(annotation) for model in _models_in(inner)]


def _names_at(endpoint: Callable[..., Any] | None, path: Sequence[str | int]) -> set[str]:
    """The names of fields that exist at a location."""
    return {field.alias or name for model in _models_at(endpoint, path) for name, field in model.model_fields.items()}


def _examples_at(endpoint: Callable[..., Any] | None, path: Sequence[str | int]) -> list[str]:
    """The examples of the field at a location, in which the unit stands that belongs there."""
    names = [part for part in path if isinstance(part, str) and part not in ("number", "text")]
    if not names:
        return []
    fields = [
        field
        for model in _models_at(endpoint, names[:-1])
        for name, field in model.model_fields.items()
        if names[-1] in (name, field.alias)
    ]
    found = [example for field in fields for example in (*(field.examples or ()), *_examples_in(field.annotation))]
    return [example for example in found if isinstance(example, str)]


def _examples_in(annotation: Any) -> list[Any]:
    own = [
        e
        for data in getattr(annotation, "__metadata__", ())
        if isinstance(data, FieldInfo)
        for e in data.examples or ()
    ]
    return own + [example for inner in typing.get_args(annotation) for example in _examples_in(inner)]


def _models_at(endpoint: Callable[..., Any] | None, path: Sequence[str | int]) -> list[type[BaseModel]]:
    """The models that a location may hold, read from the annotations of the endpoint's parameters."""
    if endpoint is None:
        return []
    try:
        hints = typing.get_type_hints(endpoint, include_extras=True)
    except (NameError, TypeError):  # a callable without annotations that can be read: no suggestion then
        return []
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
    return models
