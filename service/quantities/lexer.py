"""Characters and numbers of a written quantity: what is tolerated, what is refused, and how it is quoted back."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import Final

from service.errors import QuantityError

__all__ = [
    "MAXIMUM_TEXT_CHARACTERS",
    "clean",
    "plain_digits",
    "quoted",
    "read_number",
    "sound_error",
    "split_error",
]

MAXIMUM_TEXT_CHARACTERS: Final = 200
"""Longest text read as a quantity."""

_QUOTED_CHARACTERS: Final = 40

# Spellings of the same thing: spaces, true minus, slashes of fractions, ready-made fractions, degree letters.
_SAME: Final = str.maketrans(
    {
        "\t": " ",
        "\u00a0": " ",
        "\u2007": " ",
        "\u2009": " ",
        "\u202f": " ",
        "\u2212": "-",
        "\u2044": "/",
        "\u00bc": " 1/4",
        "\u00bd": " 1/2",
        "\u00be": " 3/4",
        "\u2153": " 1/3",
        "\u2154": " 2/3",
        "\u215b": " 1/8",
        "\u215c": " 3/8",
        "\u215d": " 5/8",
        "\u215e": " 7/8",
        "\u2103": "°C",
        "\u2109": "°F",
        "\u00ba": "°",
        "\u2113": "L",
    }
)
_NUMBER: Final = re.compile(
    r"\s*(?P<sign>[+-]?)\s*(?:"
    r"(?:(?P<whole>\d+)(?:\s+|-))?(?P<over>\d+)\s*/\s*(?P<under>\d+)"
    r"|(?P<decimal>(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
    r")\s*",
    re.ASCII,
)
_ERROR_SIGN: Final = re.compile(r"±|\+\s*/\s*-|\+-")
_COMMA_NUMBER: Final = re.compile(r"(\d+),(\d+)", re.ASCII)
_NOT_FINITE: Final = re.compile(r"\s*[+-]?\s*(nan|inf)", re.IGNORECASE)


def quoted(text: str) -> str:
    """Quote a caller's text in a message: short, and without characters that no screen or JSON text can hold.

    >>> quoted("5 \\ud800 kg")
    '"5 \ufffd kg"'
    """
    short = text if len(text) <= _QUOTED_CHARACTERS else text[:_QUOTED_CHARACTERS] + "…"
    return '"' + "".join(c if c.isprintable() else "\ufffd" for c in short) + '"'


def plain_digits(text: str) -> str:
    """The text with the digits 0 to 9 for those of other scripts and widths, and a point for a full-width one.

    >>> plain_digits("\uff11\uff0e\uff15 kg")
    '1.5 kg'
    """
    if text.isascii():
        return text
    return "".join(str(unicodedata.decimal(c, c)) for c in text.replace("\uff0e", ".").replace("\uff0c", ","))


def clean(text: str, pointer: str, example: str) -> str:
    """Bring a text to plain spaces, signs and fractions.

    Parameters: text; pointer, where it stands; example, what to write instead.
    Returns: the text, stripped.
    Raises: QuantityError for an empty or over-long text, for characters that cannot be printed, for digits other than
        0 to 9, and for a decimal comma.
    """
    if len(text) > MAXIMUM_TEXT_CHARACTERS:
        raise QuantityError(
            f"This text has {len(text)} characters; write a quantity in at most {MAXIMUM_TEXT_CHARACTERS}, "
            f"for example {example}.",
            pointer,
        )
    same = text.translate(_SAME).strip()
    if not same:
        raise QuantityError(f"This text is empty. Write a number and a unit, for example {example}.", pointer)
    if not same.isprintable():
        raise QuantityError(
            f"{quoted(text)} holds a character that cannot be printed. Write a number and a unit, "
            f"for example {example}.",
            pointer,
        )
    plain = plain_digits(same)
    if plain != same:
        raise QuantityError(f"{quoted(text)}: write it in the digits 0 to 9: {quoted(plain)}.", pointer)
    comma = _COMMA_NUMBER.search(same)
    if comma:
        better = f"{comma[1]}.{comma[2]}"
        thousands = f", or {comma[1]}{comma[2]} for thousands" if len(comma[2]) == 3 else ""
        raise QuantityError(
            f"{quoted(text)} has a comma inside a number. Use a decimal point: {quoted(better)}{thousands}.", pointer
        )
    return same


def read_number(text: str, pointer: str, example: str, start: int = 0) -> tuple[float, int] | None:
    """Read a number at a place: `2.5`, `.5`, `1e3`, `1/2`, `1 1/2` or `1-1/2`.

    Parameters: text, already clean; pointer; example; start, the place.
    Returns: the number and the place after it and its spaces, or None where no number stands.
    Raises: QuantityError for a number too large, and for a fraction that is none.

    >>> read_number("1 1/2 cup", "", "")
    (1.5, 6)
    """
    found = _NUMBER.match(text, start)
    if found is None:
        if _NOT_FINITE.match(text, start):
            raise QuantityError(
                f"{quoted(text)} is not a finite number. Write a number and a unit, for example {example}.", pointer
            )
        return None
    if found["decimal"] is not None:
        value = float(found["decimal"])
    else:
        over, under = int(found["over"]), int(found["under"])
        if under == 0 or (found["whole"] is not None and over >= under):
            raise QuantityError(
                f'{quoted(text)} holds a fraction that cannot be read. Write it like "1/2" or "1 1/2", '
                "or with a decimal point.",
                pointer,
            )
        value = int(found["whole"] or 0) + over / under
    if not math.isfinite(value):
        raise QuantityError(f"{quoted(text)} is too large. Write an amount such as {example}.", pointer)
    return (-value if found["sign"] == "-" else value), found.end()


def split_error(text: str, pointer: str) -> tuple[str, str | None]:
    """Split a text at `±`, `+/-` or `+-`.

    Returns: what stands before the sign, and what stands after it or None.
    Raises: QuantityError for more than one sign.
    """
    parts = _ERROR_SIGN.split(text)
    if len(parts) > 2:
        raise QuantityError(f'{quoted(text)} has more than one "±". Write one value and one error.', pointer)
    return parts[0].strip(), parts[1].strip() if len(parts) == 2 else None


_LARGEST_SHARE: Final = 0.5


def sound_error(value: float, error: float | None, text: str, pointer: str, *, at_most: float = 0.0) -> None:
    """Refuse a stated error that says nothing: none at all, or half of the value and more.

    Parameters: value and error, in one unit, the error None where none was stated; text, as written; pointer;
        at_most, an error that is let pass in any case, of what is read from zero on [the same unit].
    Raises: QuantityError, saying what to write instead.

    >>> sound_error(10.0, 0.2, "10 L ± 0.2 L", "")
    """
    if error is None:
        return
    if error <= 0.0:
        raise QuantityError(
            f'{quoted(text)}: no reading is exact. Write an error above zero after "±", or leave it out.', pointer
        )
    if error >= _LARGEST_SHARE * abs(value) and error > at_most:
        raise QuantityError(
            f"{quoted(text)}: an error of half the value or more leaves nothing known. Check both figures and their "
            "units, or measure again.",
            pointer,
        )
