"""Texts that are nearly quantities: read as exact arithmetic says, or refused in words, and nothing else."""

from __future__ import annotations

import math
from collections.abc import Callable
from fractions import Fraction
from typing import Any, Final

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from service.errors import QuantityError, ServiceError
from service.quantities import (
    Kind,
    parse_acidity,
    parse_percent,
    parse_quantity,
    parse_sugar_concentration,
    parse_sugar_scale,
    parse_trace,
)
from service.quantities.units import UNIT_BY_SPELLING, UNITS, Unit

EVERY_KIND: Final = frozenset(Kind)
SPACES: Final = ("", " ", "  ", "\t", "\u00a0", "\u2007", "\u2009", "\u202f")
READY_MADE: Final = {
    "\u00bc": Fraction(1, 4),
    "\u00bd": Fraction(1, 2),
    "\u00be": Fraction(3, 4),
    "\u215e": Fraction(7, 8),
}
"""Fractions that are one character (Unicode, Latin-1 Supplement and Number Forms)."""
OTHER_DIGITS: Final = ("\u0660", "\u06f0", "\u0966", "\uff10", "\U0001d7ce")
"""The noughts of Arabic, Persian, Devanagari, full-width and bold mathematical digits (Unicode, category Nd)."""

READERS: Final[dict[str, Callable[[str], Any]]] = {
    "every kind": lambda text: parse_quantity(text, EVERY_KIND),
    "liquid": lambda text: parse_quantity(text, {Kind.MASS, Kind.VOLUME}, liquid=True),
    "temperature": lambda text: parse_quantity(text, {Kind.TEMPERATURE}),
    "acidity": parse_acidity,
    "sugar": parse_sugar_concentration,
    "scale": parse_sugar_scale,
    "percent": parse_percent,
    "trace": parse_trace,
}

spaces = st.sampled_from(SPACES)
wholes = st.integers(0, 10**6)


@st.composite
def written_numbers(draw: st.DrawFn) -> tuple[str, Fraction]:
    """A number as people write it, and what it is."""
    form = draw(st.sampled_from(["whole", "decimal", "point", "power", "fraction", "mixed", "joined", "ready-made"]))
    whole, under = draw(wholes), draw(st.integers(2, 999))
    over = draw(st.integers(1, under - 1))
    digits = draw(st.text("0123456789", min_size=1, max_size=8))
    if form == "whole":
        return str(whole), Fraction(whole)
    if form == "decimal":
        return f"{whole}.{digits}", Fraction(f"{whole}.{digits}")
    if form == "point":
        return f".{digits}", Fraction(f"0.{digits}")
    if form == "power":
        power = draw(st.integers(-12, 12))
        return f"{whole}.{digits}{draw(st.sampled_from('eE'))}{power:+d}", Fraction(f"{whole}.{digits}e{power}")
    if form == "ready-made":
        character = draw(st.sampled_from(list(READY_MADE)))
        return f"{whole}{character}", whole + READY_MADE[character]
    slash = draw(st.sampled_from(["/", " / ", "\u2044"]))
    if form == "fraction":
        return f"{over}{slash}{under}", Fraction(over, under)
    return f"{whole}{' ' if form == 'mixed' else '-'}{over}{slash}{under}", whole + Fraction(over, under)


@settings(max_examples=50)
@given(written_numbers(), st.sampled_from([unit for unit in UNITS if unit.offset == 0.0]), spaces, spaces)
def test_any_number_is_what_exact_arithmetic_says(
    number: tuple[str, Fraction], unit: Unit, before: str, between: str
) -> None:
    text, exact = number
    read = parse_quantity(f"{before}{text}{between or ' '}{unit.symbol}", {unit.kind})
    assert read.value_base == pytest.approx(float(exact) * unit.factor, rel=1e-12, abs=1e-300)
    assert read.error_base is None


@settings(max_examples=50)
@given(written_numbers(), written_numbers(), st.sampled_from(["±", " ± ", "+/-", "+-", " + / - "]))
def test_the_error_is_read_by_the_same_arithmetic_or_refused(
    number: tuple[str, Fraction], error: tuple[str, Fraction], sign: str
) -> None:
    text = f"{number[0]} L{sign}{error[0]} mL"
    if 0 < error[1] < 500 * number[1] * Fraction(999_999, 1_000_000):  # less than half
        read = parse_quantity(text, {Kind.VOLUME})
        assert read.error_base == pytest.approx(float(error[1]), rel=1e-12)
    elif error[1] == 0 or error[1] > 500 * number[1] * Fraction(1_000_001, 1_000_000):
        with pytest.raises(QuantityError):
            parse_quantity(text, {Kind.VOLUME})


@settings(max_examples=25)
@given(st.sampled_from(OTHER_DIGITS), st.text("0123456789", min_size=1, max_size=6), st.sampled_from(["kg", "L", "C"]))
def test_digits_of_other_scripts_are_refused_with_those_to_write(nought: str, digits: str, unit: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_quantity("".join(chr(ord(nought) + int(digit)) for digit in digits) + f" {unit}", EVERY_KIND)
    assert f"{digits} {unit}" in refused.value.detail


@settings(max_examples=25)
@given(st.integers(309, 10**6), st.sampled_from(["kg", "L", "bar", "h", "packs"]), st.sampled_from(["", "1."]))
def test_what_no_float_can_hold_is_refused(power: int, unit: str, head: str) -> None:
    with pytest.raises(QuantityError):
        parse_quantity(f"{head}9e{power} {unit}", EVERY_KIND)
    assert parse_quantity(f"{head}9e-{power + 100} {unit}", EVERY_KIND).value_base == 0.0


PIECES: Final = (
    *"0123456789.,eE+-/± %°", "1/2", "\u00bd", "1e309", "1e-330", "9" * 60, "-0", "--", "\u2212", "inf", "nan",
    "\u0663", "\uff11", "\u00a0", "\u200b", "\u202e", "\u0000", "\ud800", "\U0001f36f", "and", "to", "per", "as",
    "acid", "g/L",
    "meq/L", "mg/L", "ppm", "% w/w", "Bx", "°P", "tartaric", "citric", "sulphuric", "imp", "UK", "US", "fl oz", "oz",
    "deg", "degrees", "G", "T", "#", "packs", "+/-",
)  # fmt: skip
jumbled = st.lists(st.sampled_from([*PIECES, *UNIT_BY_SPELLING]), max_size=12).map("".join)
near = st.builds(
    lambda sign, number, space, unit, rest: f"{sign}{number[0]}{space}{unit}{rest}",
    st.sampled_from(["", "", "-", "+", "\u2212", "~"]),
    written_numbers(),
    spaces,
    st.sampled_from([*UNIT_BY_SPELLING, "g/L tartaric", "meq/L", "% citric", "Bx", "%", "mg/L", "kgs", "Liter", ""]),
    st.sampled_from(
        ["", "", " ± 2 %", "±1", " and", " 8 oz", ",5", " 1/0", " ± 1e308 kg", "\u00bd", "e5", ".", "..", "?"]
    ),
)


def _numbers_of(read: Any) -> list[float]:
    if isinstance(read, float):
        return [read]
    fields = (getattr(read, name) for name in read.__dataclass_fields__)
    return [value for value in fields if isinstance(value, float)]


def _refusal(reader: Callable[[str], Any], text: str) -> str | list[float]:
    """The words of a refusal, or the numbers that were read."""
    try:
        return _numbers_of(reader(text))
    except ServiceError as refused:
        return refused.detail


def _read_or_refused(text: str) -> None:
    for name, reader in READERS.items():
        found = _refusal(reader, text)
        if isinstance(found, str):
            assert found.endswith((".", "?")), (name, text)
            assert found.encode("utf-8"), (name, text)
        else:
            assert found, (name, text)
            assert all(map(math.isfinite, found)), (name, text)


@given(jumbled | near)
def test_nearly_a_quantity_is_read_or_refused_in_words(text: str) -> None:
    _read_or_refused(text)


@pytest.mark.slow
@settings(max_examples=20_000)
@given(jumbled | near | st.text(max_size=210))
def test_a_great_many_texts_are_read_or_refused_in_words(text: str) -> None:
    _read_or_refused(text)
